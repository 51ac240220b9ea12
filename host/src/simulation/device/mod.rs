//! The virtual sensor: the firmware's own decisions, fed by virtual chips instead of real ones, without clock or port.
//!
//! # Data flow
//!
//! ```text
//! host bytes ─► feed ─────────────────────────► Station ─► frames ─► output / consume
//! advance(to) ─► World ─► Fifo ─► polls, looks ───┘
//! ```
//!
//! [`Station`] is what the board runs: blocks, sample clock, commands, refusals, counters, dropping of what the host does
//! not read. This file is what the board's tasks are: it polls the motion chip's buffer every 10 ms, looks at the
//! thermometer, lets time pass. So what is recorded from a virtual sensor was cut into blocks and stamped by the code
//! that will do it on the machine.
//!
//! The caller owns time: [`VirtualSensor::advance`] moves the sensor's clock on, [`VirtualSensor::feed`] happens at that
//! moment. The scenario begins with the first `Start` and then runs on, streamed or not, as the world does.

mod fifo;
mod options;

use rand::{Rng, RngExt};
use rand_chacha::ChaCha8Rng;
use steadypass_firmware_core::design::{GYRO_RATE_MHZ, POLL_US, poll_time_us};
use steadypass_firmware_core::motion::Restart;
use steadypass_firmware_core::station::{Identity, IrFault, Link, Station};
use steadypass_protocol::{
    FrameReader, Health, Hello, MAX_FRAME, Mounting, Pattern, ResetCause, RestartInto, Scale, Surface, ToHost,
    decode_frame, encode,
};

pub use options::{Behaviour, SensorOptions, Trouble};

use self::fifo::Fifo;
use super::scenario::{Scenario, ScenarioError};
use super::truth::Truth;
use super::unsteady::{Subject, stream};
use super::world::World;

/// The virtual sensor.
#[derive(Clone, Debug)]
pub struct VirtualSensor {
    world: World,
    options: SensorOptions,
    behaviour: Behaviour,
    station: Station,
    fifo: Fifo,
    reader: FrameReader,
    /// What the transport holds: the rest of a frame that is under way, and a few more.
    wire: Vec<u8>,
    rng: ChaCha8Rng,
    /// Caller's time, and what it was when the sensor started and when the scenario began, µs.
    now_us: u64,
    start_us: u64,
    scenario_us: Option<u64>,
    /// Polls since `polls_from_us`.
    polls: u64,
    polls_from_us: u64,
    next_poll_us: u64,
    /// The motion chip will be set up anew once it has missed its samples.
    reviving: bool,
    next_look_us: u64,
    next_noise_us: u64,
    failing_looks: (u8, u32),
    bit_error: bool,
    watchdog_resets: u16,
}

/// Bytes that the transport takes at a time.
const TRANSPORT_BYTES: usize = 1024;
/// Noise of [`Behaviour::Garbage`]: 120 bytes in each 10 ms.
const NOISE_EVERY_US: u64 = 10_000;
const NOISE_BYTES: usize = 120;
/// A poll is up to this late: the processor had something else to finish, µs.
const LATE_US: u64 = 60;
/// Die temperature and idle share that it reports, 0.01 °C and thousandths.
const DIE_CENTI_C: i16 = 2_600;
const IDLE_PERMILLE: u16 = 960;

/// mg per count of an accelerometer range: 0.122, 0.244, 0.488 at 4, 8, 16 g.
fn accel_sensitivity(range_g: u8) -> f64 {
    0.0305 * f64::from(range_g)
}

fn station(options: &SensorOptions, gyro: Scale, reset: ResetCause, watchdog_resets: u16) -> Station {
    let unique_id = options.unique_id;
    let gyro = Scale { nominal_mhz: GYRO_RATE_MHZ, ..gyro };
    let identity = Identity { unique_id, reset, watchdog_resets, mounting: Mounting::STRAIGHT, gyro };
    let mut station = Station::new(identity, accel_sensitivity);
    station.set_silence_us(options.silence_us);
    if options.chips & Hello::CHIP_IMU != 0 {
        station.imu_started(Restart::OnCommand);
    } else {
        station.imu_fault();
    }
    let first = if options.chips & Hello::CHIP_IR == 0 { Err(IrFault::NoAnswer) } else { Ok((0, 0)) };
    station.looked(0, first);
    station
}

impl VirtualSensor {
    /// A sensor that has just been switched on, on a machine that will do as `scenario` says.
    ///
    /// # Errors
    /// When the scenario is outside its ranges.
    pub fn new(scenario: &Scenario, options: SensorOptions) -> Result<Self, ScenarioError> {
        let world = World::new(scenario)?;
        Ok(Self {
            station: station(&options, world.scales().1, ResetCause::PowerOn, 0),
            world,
            behaviour: Behaviour::Normal,
            fifo: Fifo::default(),
            reader: FrameReader::new(),
            wire: Vec::new(),
            rng: stream(scenario.seed, Subject::Wire),
            now_us: 0,
            start_us: 0,
            scenario_us: None,
            polls: 0,
            polls_from_us: 0,
            reviving: false,
            next_poll_us: POLL_US,
            next_look_us: 0,
            next_noise_us: 0,
            failing_looks: (0, 0),
            bit_error: false,
            watchdog_resets: 0,
            options,
        })
    }

    /// Moves time on to `to_us` (µs since the sensor was made; going back does nothing) and returns bytes that wait for the
    /// host, if any. Say with [`VirtualSensor::consume`] how many it took; more may wait behind them.
    pub fn advance(&mut self, to_us: u64) -> &[u8] {
        while let Some((at_us, event)) = self.next_event().filter(|(at_us, _)| *at_us <= to_us) {
            self.now_us = self.now_us.max(at_us);
            match event {
                Event::Sample => self.sample(),
                Event::Poll => self.poll(),
                Event::Look => self.look(),
                Event::Noise => self.noise(),
            }
        }
        self.now_us = self.now_us.max(to_us);
        self.refill();
        &self.wire
    }

    /// Bytes that wait for the host; empty only when nothing waits.
    pub fn output(&self) -> &[u8] {
        &self.wire
    }

    /// The host has taken the first `count` waiting bytes.
    pub fn consume(&mut self, count: usize) {
        self.wire.drain(..count.min(self.wire.len()));
        self.refill();
    }

    /// Throws away all that waits: nobody is there to take it.
    pub fn discard(&mut self) {
        while !self.wire.is_empty() {
            self.consume(usize::MAX);
        }
    }

    /// Moves time on to `to_us` with a host that reads everything at once, and appends what it read to `read`.
    pub fn play(&mut self, to_us: u64, read: &mut Vec<u8>) {
        loop {
            // Far less time than the sensor can hold, so that nothing is dropped.
            self.advance(to_us.min(self.now_us + 20_000));
            while !self.wire.is_empty() {
                read.append(&mut self.wire);
                self.refill();
            }
            if self.now_us >= to_us {
                return;
            }
        }
    }

    /// Takes bytes from the host, now.
    pub fn feed(&mut self, bytes: &[u8]) {
        if matches!(self.behaviour, Behaviour::Mute | Behaviour::Garbage) {
            return;
        }
        let now_us = self.uptime_us();
        self.reader.feed(bytes, |event| self.station.received(Link::Usb, event, now_us));
        self.see_to_range();
        if self.station.is_streaming() && self.scenario_us.is_none() {
            self.scenario_us = Some(self.now_us);
            // So that a scenario's bytes do not depend on how long the host took to ask for them.
            (self.polls, self.polls_from_us, self.next_look_us) = (0, self.now_us, self.now_us);
            self.next_poll_us = self.now_us + POLL_US;
        }
        self.refill();
    }

    /// The host has opened the port: the sensor introduces itself.
    pub fn opened(&mut self) {
        self.reader.reset();
        self.station.opened(Link::Usb, self.uptime_us());
        self.refill();
    }

    /// Changes how it behaves on the wire from now on.
    pub fn behave(&mut self, behaviour: Behaviour) {
        self.discard();
        self.behaviour = behaviour;
        self.next_noise_us = self.now_us;
    }

    /// Something goes wrong now.
    pub fn suffer(&mut self, trouble: Trouble) {
        match trouble {
            Trouble::Restart(cause) => self.restart(cause),
            Trouble::Overrun { samples } => self.fifo.overrun(samples),
            Trouble::ImuRestart { samples } => {
                self.station.imu_fault();
                self.fifo.renew(samples.max(1));
                self.reviving = true;
            }
            Trouble::ImuLead(on) => {
                let others = self.options.chips & !Hello::CHIP_IMU;
                self.options.chips = if on { others | Hello::CHIP_IMU } else { others };
                self.fifo.renew(0);
                self.reviving = false;
                if on { self.imu_revived() } else { self.station.imu_fault() }
            }
            Trouble::Thermometer { flags, looks } => self.failing_looks = (flags, looks),
            Trouble::BitError => self.bit_error = true,
        }
    }

    /// Presses the mark button.
    pub fn press_mark(&mut self) {
        self.station.marked(self.uptime_us());
        self.refill();
    }

    /// Whether the scenario is over. The stream goes on, with the machine at rest.
    pub fn is_over(&self) -> bool {
        self.world.is_over()
    }

    /// Whether it streams.
    pub fn is_streaming(&self) -> bool {
        self.station.is_streaming()
    }

    /// Time since it was made, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// What its light shows.
    pub fn pattern(&self) -> Pattern {
        self.station.pattern()
    }

    /// Its counters.
    pub fn health(&self) -> Health {
        self.station.health(self.uptime_us(), IDLE_PERMILLE)
    }

    /// What has really happened so far. Times count from the scenario's beginning, the first `Start`.
    pub fn truth(&self) -> &Truth {
        self.world.truth()
    }

    pub(crate) fn uptime_us(&self) -> u64 {
        self.now_us - self.start_us
    }

    fn next_event(&self) -> Option<(u64, Event)> {
        let sample = self.scenario_us.map(|from| (from + (self.world.next_s() * 1e6).ceil() as u64, Event::Sample));
        let poll = Some((self.next_poll_us, Event::Poll));
        let look = Some((self.next_look_us, Event::Look));
        let noise = (self.behaviour == Behaviour::Garbage).then_some((self.next_noise_us, Event::Noise));
        [sample, poll, look, noise].into_iter().flatten().min_by_key(|(at_us, _)| *at_us)
    }

    fn sample(&mut self) {
        let sample = self.world.sample();
        if sample.mark && self.options.marks {
            self.press_mark();
        }
        if self.options.chips & Hello::CHIP_IMU == 0 {
            return;
        }
        self.fifo.take(sample.accel, sample.gyro);
        if self.reviving && !self.fifo.is_losing() {
            self.reviving = false;
            self.imu_revived();
        }
    }

    /// The motion chip answers again: it is set up as it was, then as it is wanted by now.
    fn imu_revived(&mut self) {
        self.station.imu_started(Restart::AfterFault);
        self.see_to_range();
    }

    /// Sets the motion chip up for another range; one that does not answer waits for it until it does.
    fn see_to_range(&mut self) {
        if self.options.chips & Hello::CHIP_IMU == 0 || self.reviving || !self.station.take_range_change() {
            return;
        }
        self.world.set_range_g(self.station.settings().accel_range_g);
        self.fifo.renew(0);
        self.station.imu_started(Restart::OnCommand);
    }

    fn poll(&mut self) {
        let now_us = self.uptime_us();
        self.polls += 1;
        // The board is a little late now and then.
        let late_us = self.rng.random_range(0..LATE_US);
        self.next_poll_us = self.polls_from_us + POLL_US + poll_time_us(self.polls) + late_us;
        if let Some((words, overrun)) = self.fifo.poll() {
            self.station.poll(now_us, u16::try_from(words.len()).unwrap_or(u16::MAX), overrun);
            words.into_iter().for_each(|word| self.station.sample(word));
            self.station.poll_done();
        }
        self.station.imu_temperature(DIE_CENTI_C);
        self.station.tick(now_us, IDLE_PERMILLE);
        match self.station.due_restart(now_us) {
            Some(RestartInto::Firmware) => self.restart(ResetCause::Commanded),
            Some(RestartInto::Loader) => {
                self.restart(ResetCause::Commanded);
                // In its loader it is a drive, not a sensor.
                self.behave(Behaviour::Mute);
            }
            None => {}
        }
        self.refill();
    }

    fn look(&mut self) {
        self.next_look_us += u64::from(self.station.settings().surface_period_ms) * 1000;
        // Before the scenario begins nobody hears of it: its noise is kept for what will be heard.
        let mut result = if self.scenario_us.is_some() { Ok(self.world.look()) } else { Ok((0, 0)) };
        if self.options.chips & Hello::CHIP_IR == 0 {
            result = Err(IrFault::NoAnswer);
        } else if let (flags, looks @ 1..) = self.failing_looks {
            self.failing_looks.1 = looks - 1;
            result = Err(match flags {
                Surface::BAD_CHECKSUM => IrFault::BadChecksum,
                Surface::CHIP_ERROR => IrFault::ChipError,
                _ => IrFault::NoAnswer,
            });
        }
        self.station.looked(self.uptime_us(), result);
        self.refill();
    }

    fn restart(&mut self, cause: ResetCause) {
        self.watchdog_resets = self.watchdog_resets.saturating_add(u16::from(cause == ResetCause::Watchdog));
        self.station = station(&self.options, self.world.scales().1, cause, self.watchdog_resets);
        self.world.set_range_g(self.station.settings().accel_range_g);
        self.fifo.renew(0);
        self.reviving = false;
        self.start_us = self.now_us;
        self.wire.clear();
        self.opened();
    }

    fn noise(&mut self) {
        self.next_noise_us += NOISE_EVERY_US;
        let mut noise = [0; NOISE_BYTES];
        self.rng.fill_bytes(&mut noise);
        if self.wire.len() <= TRANSPORT_BYTES {
            self.wire.extend_from_slice(&noise);
        }
    }

    /// Hands frames to the transport while it has room.
    fn refill(&mut self) {
        let mut buffer = [0; MAX_FRAME];
        while self.wire.len() < TRANSPORT_BYTES {
            let Some(len) = self.station.next_frame(Link::Usb, &mut buffer).map(<[u8]>::len) else { return };
            match self.behaviour {
                Behaviour::Normal => {}
                Behaviour::Mute | Behaviour::Garbage => continue,
                Behaviour::Version(version) => Self::claim_version(&mut buffer[..len], version),
            }
            if std::mem::take(&mut self.bit_error) {
                buffer[len / 2] ^= 0x10;
            }
            self.wire.extend_from_slice(&buffer[..len]);
        }
    }

    /// Changes the version in a `Hello`.
    fn claim_version(frame: &mut [u8], protocol: u8) {
        let mut scratch = [0; MAX_FRAME];
        let Ok(inner) = decode_frame(&frame[1..frame.len() - 1], &mut scratch) else { return };
        if let Ok(ToHost::Hello(hello)) = ToHost::decode(inner.payload) {
            let mut buffer = [0; MAX_FRAME];
            // As long as the old one: the version is a single byte.
            match encode(&ToHost::Hello(Hello { protocol, ..hello }), &mut buffer) {
                Ok(claimed) if claimed.len() == frame.len() => frame.copy_from_slice(claimed),
                _ => {}
            }
        }
    }
}

#[derive(Clone, Copy, Debug)]
enum Event {
    Sample,
    Poll,
    Look,
    Noise,
}

#[cfg(test)]
mod tests;
