//! The whole sensor as one plain value: the board program says what happened and when, and carries the frames away.

use crate::design::{self, RESTART_DELAY_US};
use crate::indicator::{Look, adjusted, look};
use crate::motion::{Motion, Restart, Sample};
use crate::outbox::Outbox;
use crate::session::{Answer, Effect, Session};
use steadypass_protocol::{
    Frame, FrameError, Health, Hello, MAX_FRAME, Mark, Mounting, PROTOCOL_VERSION, Pattern, ResetCause, RestartInto,
    Scale, Settings, Surface, ToHost,
};

/// What the board knows about itself when it starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Unique id of the board.
    pub unique_id: [u8; 8],
    /// Why it started.
    pub reset: ResetCause,
    /// Watchdog resets since power came on.
    pub watchdog_resets: u16,
    /// How the motion chip sits in the machine.
    pub mounting: Mounting,
    /// How to read gyro counts.
    pub gyro: Scale,
}

/// A way to the host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Link {
    /// USB serial, the normal one.
    Usb,
    /// UART, the second one.
    Uart,
}

/// Sensitivity of an accelerometer range in g, thousandths of standard gravity per count.
pub type AccelSensitivity = fn(range_g: u8) -> f64;

/// A fault on the thermometer's side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IrFault {
    /// No answer, or not in time.
    NoAnswer,
    /// An answer with a wrong checksum.
    BadChecksum,
    /// The chip marked its word as invalid.
    ChipError,
}

/// Object and ambient word of one look.
pub type IrWords = (u16, u16);

/// All state of the sensor that is not hardware.
#[derive(Clone, Debug)]
pub struct Station {
    identity: Identity,
    sensitivity: AccelSensitivity,
    session: Session,
    motion: Motion,
    outbox: Outbox,
    /// Where the outbox goes.
    link: Link,
    health: Health,
    imu_answers: bool,
    /// It was asked and did not answer; false while it has not been asked yet, just after the start.
    imu_failed: bool,
    ir_answers: bool,
    look_index: u8,
    marks: u16,
    last_health_us: u64,
    /// The motion chip must be set up for another range, and nobody has seen to it yet.
    range_changed: bool,
    /// What the motion chip takes is not of the range that the host has been told of.
    range_awaited: bool,
    restart: Option<(u64, RestartInto)>,
}

impl Station {
    /// A sensor that has just started.
    pub fn new(identity: Identity, sensitivity: AccelSensitivity) -> Self {
        Self {
            identity,
            sensitivity,
            session: Session::new(),
            motion: Motion::new(),
            outbox: Outbox::new(),
            link: Link::Usb,
            health: Health { watchdog_resets: identity.watchdog_resets, ..Health::default() },
            imu_answers: false,
            imu_failed: false,
            ir_answers: false,
            look_index: 0,
            marks: 0,
            last_health_us: 0,
            range_changed: false,
            range_awaited: false,
            restart: None,
        }
    }

    /// See [`Session::set_silence_us`].
    pub fn set_silence_us(&mut self, silence_us: u64) {
        self.session.set_silence_us(silence_us);
    }

    // ---- from the transport ----

    /// What came between two zeros over `link`. The sensor answers, and streams, to whoever spoke last.
    pub fn received(&mut self, link: Link, event: Result<Frame<'_>, FrameError>, now_us: u64) {
        let Ok(frame) = event else {
            bump(&mut self.health.bad_commands);
            return;
        };
        if link != self.link {
            self.turn_to(link);
        }
        let handled = self.session.handle(frame.payload, now_us, !self.imu_failed);
        if handled.bad {
            bump(&mut self.health.bad_commands);
        }
        match handled.effect {
            Some(Effect::Started | Effect::Stopped) => self.motion.discard(),
            Some(Effect::RangeChanged) => (self.range_changed, self.range_awaited) = (true, true),
            Some(Effect::Restart(into)) => self.restart = Some((now_us + RESTART_DELAY_US, into)),
            None => {}
        }
        match handled.answer {
            Some(Answer::Hello) => self.send_hello(now_us),
            Some(Answer::Pong(pong)) => self.outbox.send(&ToHost::Pong(pong)),
            Some(Answer::Reply(reply)) => self.outbox.send(&ToHost::Reply(reply)),
            None => {}
        }
    }

    /// A host has opened the port of `link`: it is told who speaks.
    pub fn opened(&mut self, link: Link, now_us: u64) {
        self.turn_to(link);
        self.send_hello(now_us);
    }

    /// The next frame to send over `link`, if that is the one in use.
    pub fn next_frame<'b>(&mut self, link: Link, into: &'b mut [u8; MAX_FRAME]) -> Option<&'b [u8]> {
        if link == self.link { self.outbox.next(into) } else { None }
    }

    /// The link in use.
    pub fn link(&self) -> Link {
        self.link
    }

    /// Whether there is something to send.
    pub fn has_frames(&self) -> bool {
        !self.outbox.is_empty()
    }

    // ---- from the motion chip ----

    /// The motion chip was set up, at start, after a fault or for a changed setting.
    pub fn imu_started(&mut self, why: Restart) {
        (self.imu_answers, self.imu_failed) = (true, false);
        // Not the range that is wanted by now, when it was changed once more while the chip was being set up.
        self.range_awaited = self.range_changed;
        self.motion.restarted(why);
    }

    /// A transfer to the motion chip failed. Until [`Station::imu_back`] or [`Station::imu_started`] it counts as gone.
    pub fn imu_fault(&mut self) {
        bump(&mut self.health.imu_bus_faults);
        (self.imu_answers, self.imu_failed) = (false, true);
        self.motion.unsure();
    }

    /// The motion chip answers again and has run on meanwhile.
    pub fn imu_back(&mut self) {
        (self.imu_answers, self.imu_failed) = (true, false);
    }

    /// A poll found `words` words and perhaps an overrun. What it brings counts for nothing while the chip is still to be set
    /// up for another range.
    pub fn poll(&mut self, t_us: u64, words: u16, overrun: bool) {
        if self.range_awaited {
            return;
        }
        let Self { motion, outbox, session, .. } = self;
        motion.begin_poll(t_us, words, overrun, &mut |block| forward(outbox, session, &block));
    }

    /// One sample of that poll, in the chip's order.
    pub fn sample(&mut self, sample: Sample) {
        if self.range_awaited {
            return;
        }
        let Self { motion, outbox, session, .. } = self;
        motion.push(sample, &mut |block| forward(outbox, session, &block));
    }

    /// All words of that poll were read.
    pub fn poll_done(&mut self) {
        if !self.range_awaited {
            self.motion.end_poll();
        }
    }

    /// Temperature of the motion chip, 0.01 °C.
    pub fn imu_temperature(&mut self, centi_c: i16) {
        self.health.imu_centi_c = Some(centi_c);
    }

    /// Whether the chip must be set up for another range; says so once.
    pub fn take_range_change(&mut self) -> bool {
        core::mem::take(&mut self.range_changed)
    }

    // ---- from the rest of the board ----

    /// A look of the thermometer.
    pub fn looked(&mut self, t_us: u64, result: Result<IrWords, IrFault>) {
        self.ir_answers = result != Err(IrFault::NoAnswer);
        let (flags, counter) = match result {
            Ok(_) => (0, None),
            Err(IrFault::NoAnswer) => (Surface::NO_ANSWER, Some(&mut self.health.ir_bus_faults)),
            Err(IrFault::BadChecksum) => (Surface::BAD_CHECKSUM, Some(&mut self.health.ir_checksum_errors)),
            Err(IrFault::ChipError) => (Surface::CHIP_ERROR, Some(&mut self.health.ir_chip_errors)),
        };
        if let Some(counter) = counter {
            bump(counter);
        }
        let (object_raw, ambient_raw) = result.unwrap_or((0, 0));
        let surface = Surface { index: self.look_index, t_us, object_raw, ambient_raw, flags };
        if self.session.is_streaming() {
            self.look_index = self.look_index.wrapping_add(1);
            self.outbox.send(&ToHost::Surface(surface));
        }
    }

    /// The mark button was pressed.
    pub fn marked(&mut self, t_us: u64) {
        self.marks = self.marks.saturating_add(1);
        if self.session.has_host() {
            self.outbox.send(&ToHost::Mark(Mark { t_us, index: self.marks }));
        }
    }

    /// Time has passed; call at least every 100 ms. `idle_permille` is the share of the last second the processor slept.
    pub fn tick(&mut self, now_us: u64, idle_permille: u16) {
        if self.session.tick(now_us) == Some(Effect::Stopped) {
            self.motion.discard();
        }
        let Self { motion, outbox, session, .. } = self;
        motion.tick(now_us, &mut |block| forward(outbox, session, &block));
        if now_us.saturating_sub(self.last_health_us) >= 1_000_000 {
            self.last_health_us = now_us - now_us % 1_000_000;
            if self.session.has_host() {
                let health = self.health(now_us, idle_permille);
                self.outbox.send(&ToHost::Health(health));
            }
        }
    }

    /// Where to restart into, once it is time.
    pub fn due_restart(&self, now_us: u64) -> Option<RestartInto> {
        self.restart.filter(|&(at_us, _)| now_us >= at_us).map(|(_, into)| into)
    }

    /// What light and buzzer show now.
    pub fn look(&self, now_us: u64) -> Look {
        let (pattern, since_ms) = self.session.pattern(now_us);
        let settings = self.session.settings();
        adjusted(look(pattern, since_ms), settings.light_percent, settings.buzzer)
    }

    /// Pattern that light and buzzer show.
    pub fn pattern(&self) -> Pattern {
        self.session.pattern(0).0
    }

    /// Settings in force.
    pub fn settings(&self) -> Settings {
        self.session.settings()
    }

    /// Whether samples go to the host.
    pub fn is_streaming(&self) -> bool {
        self.session.is_streaming()
    }

    /// All counters as of now.
    pub fn health(&self, now_us: u64, idle_permille: u16) -> Health {
        Health {
            uptime_us: now_us,
            frames_dropped: self.outbox.dropped(),
            samples_lost: self.motion.samples_lost(),
            fifo_overruns: self.motion.overruns(),
            idle_permille,
            ..self.health
        }
    }

    /// There is another host now: what waits is not for it.
    fn turn_to(&mut self, link: Link) {
        self.link = link;
        self.outbox.clear();
    }

    fn send_hello(&mut self, now_us: u64) {
        let settings = self.session.settings();
        let chip = |answers, bit| if answers { bit } else { 0 };
        let hello = Hello {
            protocol: PROTOCOL_VERSION,
            firmware: design::FIRMWARE,
            unique_id: self.identity.unique_id,
            chips: chip(self.imu_answers, Hello::CHIP_IMU) | chip(self.ir_answers, Hello::CHIP_IR),
            reset: self.identity.reset,
            uptime_us: now_us,
            accel: design::accel_scale((self.sensitivity)(settings.accel_range_g)),
            gyro: self.identity.gyro,
            surface_period_ms: settings.surface_period_ms,
            mounting: self.identity.mounting,
            streaming: self.session.is_streaming(),
        };
        self.outbox.send(&ToHost::Hello(hello));
    }
}

/// Blocks are built all the time, so that numbers and times are ready at once, and sent while streaming.
fn forward(outbox: &mut Outbox, session: &Session, block: &ToHost<'_>) {
    if session.is_streaming() {
        outbox.send(block);
    }
}

/// Counts one more, up to the largest number the counter holds.
fn bump(counter: &mut u16) {
    *counter = counter.saturating_add(1);
}

#[cfg(test)]
mod tests;
