//! From a recording's entries to readings in SI units on one unbroken time axis.
//!
//! Zero is the first accelerometer sample, as in an imported table: what all figures are made of begins there. What came in front
//! of its block (a look of the thermometer, a press of the button) is placed around it.
//!
//! The sensor's clock starts again at zero when the sensor restarts, and its chip sits in the machine at some angle; both
//! are dealt with here, so that the analysis sees one clock and machine axes. Live and review share this code, and use
//! the host times stored in the recording, so they agree to the bit.

use std::collections::VecDeque;

use steadypass_protocol::{
    Block, DecodeError, Hello, MAX_FRAME, Mounting, Scale, Surface, ToHost, decode_frame, units::ZERO_CELSIUS_K,
};

use super::{Body, Entry, LinkNote, TableEntry, TableRun, UserNote};
use crate::{
    analysis::{Reading, Run, SurfaceLook},
    calibration::Calibration,
    sensor_clock::{Life, Queue, SensorClock},
};

/// A hole longer than this is an interruption: nothing before continues across it. Shorter ones are lost samples.
const BREAK_US: f64 = 500_000.0;
/// Sensor time may run ahead of host time by this much (a host clock that was set back) before it is not believed.
const RUNAWAY_US: f64 = 60_000_000.0;
/// More samples than this are never lost in one go; the counter has started anew.
const MOST_LOST: u32 = 10_000_000;

/// Frames that may come before the first accelerometer block, a few hundred ms of them at most; of more the newest are kept.
const MOST_EARLY: usize = 64;

/// What is missing from a recording, as far as the stream itself tells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Losses {
    /// Accelerometer samples that never came.
    pub accel_samples: u64,
    /// Gyro samples that never came.
    pub gyro_samples: u64,
    /// Thermometer looks that never came.
    pub surface_looks: u64,
    /// Thermometer looks that came marked as failed.
    pub surface_failed: u64,
    /// Accelerometer samples at full scale: the vibration's peak was larger than the chip can tell.
    pub clipped: u64,
    /// Times the sensor restarted.
    pub restarts: u64,
    /// Times the stream was interrupted for more than half a second.
    pub interruptions: u64,
    /// Frames that came damaged.
    pub bad_frames: u64,
    /// Frames of a kind that only a newer program knows.
    pub unknown_frames: u64,
    /// Frames with a good checksum that still made no sense, or came before the sensor had introduced itself.
    pub unusable_frames: u64,
}

impl Losses {
    /// Whether data that the sensor had taken is missing.
    pub fn any(&self) -> bool {
        let Self {
            accel_samples,
            gyro_samples,
            surface_looks,
            restarts,
            interruptions,
            bad_frames,
            unusable_frames,
            ..
        } = *self;
        [accel_samples, gyro_samples, surface_looks, restarts, interruptions, bad_frames, unusable_frames] != [0; 7]
    }

    /// What is missing, in words; empty when nothing is.
    pub fn describe(&self) -> String {
        let parts: Vec<String> = self.parts().map(|(n, words)| format!("{n} {words}")).collect();
        parts.join(", ")
    }

    /// How many of what are missing, and what that is called; only what is.
    pub fn parts(&self) -> impl Iterator<Item = (u64, &'static str)> {
        let parts = [
            (self.accel_samples, "accelerometer sample lost", "accelerometer samples lost"),
            (self.gyro_samples, "gyro sample lost", "gyro samples lost"),
            (self.surface_looks, "temperature reading lost", "temperature readings lost"),
            (self.restarts, "sensor restart", "sensor restarts"),
            (self.interruptions, "interruption", "interruptions"),
            (self.bad_frames, "damaged frame", "damaged frames"),
            (self.unusable_frames, "unusable frame", "unusable frames"),
        ];
        parts.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, many)| (n, if n == 1 { one } else { many }))
    }
}

/// Where one stream stands.
#[derive(Clone, Copy, Debug, Default)]
struct Stream {
    expected_index: Option<u32>,
    /// When the next sample is due, µs of recording time.
    due_us: Option<f64>,
    /// The last block was placed by counting from the one before, not by its stamp.
    by_count: bool,
}

/// How to read the counts of the sensor that introduced itself.
#[derive(Clone, Copy, Debug)]
struct Introduction {
    accel: Scale,
    gyro: Scale,
    mounting: Mounting,
}

/// Sensor clock against recording time.
#[derive(Clone, Copy, Debug)]
struct Clock {
    /// Recording time = sensor time + this, µs.
    offset_us: f64,
    sensor: SensorClock,
    /// The host time that its latest time came with, ns.
    latest_log_ns: u64,
}

impl Clock {
    /// Recording time of the latest sensor time seen, µs.
    fn now_us(&self) -> f64 {
        self.sensor.latest_us() as f64 + self.offset_us
    }
}

/// A frame that waits for the first accelerometer sample.
#[derive(Clone, Debug)]
struct Early {
    log_ns: u64,
    sensor_us: u64,
    raw: Vec<u8>,
}

/// Turns entries into readings.
#[derive(Debug, Default)]
pub struct Timeline {
    introduction: Option<Introduction>,
    clock: Option<Clock>,
    /// What came before there was a clock.
    early: VecDeque<Early>,
    accel: Stream,
    gyro: Stream,
    /// The last measured spacing of accelerometer and gyro, ns. It is the chip's own, and outlives a restart of the sensor.
    measured_ns: [Option<u32>; 2],
    surface_index: Option<u8>,
    losses: Losses,
    samples: Vec<[f32; 3]>,
    calibration: Option<Calibration>,
}

impl Timeline {
    /// At the start of a recording.
    pub fn new() -> Self {
        Self::default()
    }

    /// At the start of a recording of a calibrated sensor; tables of other loggers are taken as they are.
    pub fn calibrated(calibration: Option<Calibration>) -> Self {
        Self { calibration, ..Self::default() }
    }

    /// What is missing so far.
    pub fn losses(&self) -> Losses {
        self.losses
    }

    /// Takes the next entry and hands on what it says.
    pub fn push(&mut self, entry: &Entry<'_>, sink: &mut impl FnMut(Reading<'_>)) {
        match &entry.body {
            Body::Frame(raw) => self.frame(raw, entry.log_ns, sink),
            Body::Table(piece) => self.table(piece, sink),
            Body::Link(LinkNote::BadFrames { count }) => {
                self.losses.bad_frames = self.losses.bad_frames.saturating_add(*count);
            }
            Body::Link(_) => {}
            Body::Note(UserNote::NewSection) => {
                if let Some(t_us) = self.now_us() {
                    sink(Reading::Mark { t_us });
                }
            }
            Body::Note(_) => {}
        }
    }

    /// Latest moment of recording time, µs; `None` before the first reading. What people do is placed there.
    pub fn now_us(&self) -> Option<f64> {
        self.clock.map(|c| c.now_us()).or(self.accel.due_us)
    }

    fn frame(&mut self, raw: &[u8], log_ns: u64, sink: &mut impl FnMut(Reading<'_>)) {
        let mut scratch = [0; MAX_FRAME];
        let Ok(frame) = decode_frame(raw, &mut scratch) else {
            self.losses.bad_frames = self.losses.bad_frames.saturating_add(1);
            return;
        };
        let message = ToHost::decode(frame.payload);
        let early_us = match &message {
            Ok(ToHost::Gyro(block)) => Some(block.first_us),
            Ok(ToHost::Surface(look)) => Some(look.t_us),
            Ok(ToHost::Mark(mark)) => Some(mark.t_us),
            _ => None,
        };
        if let Some(sensor_us) = early_us.filter(|_| self.clock.is_none()) {
            if self.early.len() == MOST_EARLY {
                self.early.pop_front();
            }
            self.early.push_back(Early { log_ns, sensor_us, raw: raw.to_vec() });
            return;
        }
        match message {
            Ok(ToHost::Hello(hello)) => self.hello(&hello, log_ns, sink),
            Ok(ToHost::Accel(block)) => {
                self.block(&block, false, log_ns, sink);
                if self.clock.is_some() {
                    for early in std::mem::take(&mut self.early) {
                        self.frame(&early.raw, early.log_ns, sink);
                    }
                }
            }
            Ok(ToHost::Gyro(block)) => self.block(&block, true, log_ns, sink),
            Ok(ToHost::Surface(look)) => self.surface(&look, log_ns, sink),
            Ok(ToHost::Mark(mark)) => {
                let t_us = self.place(mark.t_us, Queue::First, Life::Unknown, log_ns, sink);
                sink(Reading::Mark { t_us });
            }
            Ok(ToHost::Health(_) | ToHost::Pong(_) | ToHost::Reply(_)) => {}
            Err(DecodeError::UnknownKind(_)) => self.losses.unknown_frames += 1,
            Err(_) => self.losses.unusable_frames += 1,
        }
    }

    fn hello(&mut self, hello: &Hello, log_ns: u64, sink: &mut impl FnMut(Reading<'_>)) {
        let mounting = if hello.mounting.is_rotation() { hello.mounting } else { Mounting::STRAIGHT };
        self.introduction = Some(Introduction { accel: hello.accel, gyro: hello.gyro, mounting });
        // Recording time starts with the first sample, not with the introduction; later ones tell of a restart.
        if self.clock.is_some() {
            self.place(hello.uptime_us, Queue::First, Life::Unknown, log_ns, sink);
        }
        // What is stamped later than the sensor's present belongs to its life before a restart.
        self.early.retain(|early| early.sensor_us <= hello.uptime_us);
    }

    fn block(&mut self, block: &Block<'_>, is_gyro: bool, log_ns: u64, sink: &mut impl FnMut(Reading<'_>)) {
        let Some(introduction) = self.introduction else {
            self.losses.unusable_frames += 1;
            return;
        };
        if block.samples.is_empty() || block.spacing_ns == 0 {
            self.losses.unusable_frames += 1;
            return;
        }
        let expected_index = if is_gyro { &self.gyro } else { &self.accel }.expected_index;
        let life = if expected_index == Some(block.first_index) { Life::Same } else { Life::Unknown };
        let mut first_us = self.place(block.first_us, Queue::Data, life, log_ns, sink);
        let count = block.samples.len();
        let is_measured = block.flags & Block::NOMINAL_SPACING == 0;
        let known_ns = &mut self.measured_ns[usize::from(is_gyro)];
        if is_measured {
            *known_ns = Some(block.spacing_ns);
        }
        let spacing_us = f64::from(known_ns.unwrap_or(block.spacing_ns)) / 1000.0;
        let (stream, scale, lost) = if is_gyro {
            (&mut self.gyro, introduction.gyro, &mut self.losses.gyro_samples)
        } else {
            (&mut self.accel, introduction.accel, &mut self.losses.accel_samples)
        };
        // A sensor that has just restarted believes its chip's nominal rate, a few percent off, and its stamps wander by that: while
        // we know better, an unbroken row of samples is placed by count. Once the sensor knows, too, what is left between both is
        // less than a restart's place on host time is good for: the clock moves, not the samples.
        let by_count = !is_measured && known_ns.is_some();
        if let (Life::Same, Some(due_us)) = (life, stream.due_us)
            && (by_count || (stream.by_count && !is_gyro))
        {
            if let (false, Some(clock)) = (by_count, &mut self.clock) {
                clock.offset_us += due_us - first_us;
            }
            first_us = due_us;
        }
        stream.by_count = by_count;
        let lost_before = stream.expected_index.map_or(0, |e| block.first_index.wrapping_sub(e));
        let lost_before = if lost_before > MOST_LOST { 0 } else { lost_before };
        *lost += u64::from(lost_before);
        stream.expected_index = Some(block.first_index.wrapping_add(count as u32));
        let gap = stream.due_us.replace(first_us + spacing_us * count as f64).filter(|due| first_us - due > BREAK_US);

        let unit = f64::from(scale.nano_per_count) * 1e-9;
        let calibrated = |reading: [f32; 3]| match &self.calibration {
            Some(calibration) if is_gyro => calibration.gyro_radps(reading),
            Some(calibration) => calibration.accel_mps2(reading),
            None => reading,
        };
        self.samples.clear();
        self.samples.extend(
            block
                .samples
                .iter()
                .map(|s| calibrated(introduction.mounting.apply(s.map(|count| (f64::from(count) * unit) as f32)))),
        );
        let limit = scale.full_scale.saturating_abs();
        let clipped = block.samples.iter().filter(|s| s.iter().any(|c| c.saturating_abs() >= limit)).count() as u32;
        let run = Run { first_us, spacing_us, lost_before, clipped, samples: &self.samples };
        if is_gyro {
            sink(Reading::Gyro(run));
        } else {
            self.losses.clipped += u64::from(clipped);
            if let Some(from_us) = gap {
                self.losses.interruptions += 1;
                sink(Reading::Break { from_us, to_us: first_us });
            }
            sink(Reading::Accel(run));
        }
    }

    fn surface(&mut self, look: &Surface, log_ns: u64, sink: &mut impl FnMut(Reading<'_>)) {
        let t_us = self.place(look.t_us, Queue::Data, Life::Unknown, log_ns, sink);
        if let Some(before) = self.surface_index.replace(look.index) {
            self.losses.surface_looks += u64::from(look.index.wrapping_sub(before).wrapping_sub(1));
        }
        let good = look.flags == 0;
        self.losses.surface_failed += u64::from(!good);
        // 0.02 K per count, absolute: maker application note 390119061402, page 14.
        let celsius = |raw: u16| good.then(|| (f64::from(raw) * 0.02 - ZERO_CELSIUS_K) as f32);
        let apparent_c = celsius(look.object_raw);
        sink(Reading::Surface(SurfaceLook {
            t_us,
            apparent_c: apparent_c.map(|c| self.calibration.as_ref().map_or(c, |known| known.apparent_c(c))),
            ambient_c: celsius(look.ambient_raw),
            corrected: false,
        }));
    }

    /// Recording time of a sensor time, noticing restarts.
    fn place(
        &mut self,
        sensor_us: u64,
        queue: Queue,
        life: Life,
        log_ns: u64,
        sink: &mut impl FnMut(Reading<'_>),
    ) -> f64 {
        let start = |now_us: f64| Clock {
            offset_us: now_us - sensor_us as f64,
            sensor: SensorClock::begun(sensor_us, queue),
            latest_log_ns: log_ns,
        };
        let Some(clock) = &mut self.clock else {
            self.clock = Some(start(0.0));
            return 0.0;
        };
        let before = *clock;
        let step_us = sensor_us as f64 - before.sensor.latest_us() as f64;
        let host_us = log_ns.saturating_sub(before.latest_log_ns) as f64 / 1000.0;
        if clock.sensor.went_back(sensor_us, queue, life) || step_us > host_us + RUNAWAY_US {
            let from_us = before.now_us();
            let to_us = from_us + host_us;
            *clock = start(to_us);
            self.losses.restarts += 1;
            (self.accel, self.gyro, self.surface_index) = (Stream::default(), Stream::default(), None);
            sink(Reading::Break { from_us, to_us });
        } else if step_us > 0.0 {
            clock.latest_log_ns = log_ns;
        }
        sensor_us as f64 + clock.offset_us
    }

    fn table(&mut self, piece: &TableEntry, sink: &mut impl FnMut(Reading<'_>)) {
        match piece {
            TableEntry::Accel(r) => {
                let Some(run) = self.table_run(r) else { return };
                self.losses.accel_samples += u64::from(r.lost_before);
                // Time begins at the table's first row. Slow, uneven rows may come half a step late with none missing.
                let due_us = self.accel.due_us.replace(run.end_us());
                let (is_first, from_us) = (due_us.is_none(), due_us.unwrap_or(0.0));
                let gap_us = run.first_us - from_us;
                if gap_us > BREAK_US && (r.lost_before > 0 || gap_us > r.spacing_us) {
                    self.losses.interruptions += u64::from(!is_first);
                    sink(Reading::Break { from_us, to_us: run.first_us });
                }
                sink(Reading::Accel(run));
            }
            TableEntry::Gyro(r) => {
                let Some(run) = self.table_run(r) else { return };
                self.losses.gyro_samples += u64::from(r.lost_before);
                sink(Reading::Gyro(run));
            }
            TableEntry::Surface { t_us, surface_c, ambient_c } => sink(Reading::Surface(SurfaceLook {
                t_us: *t_us,
                apparent_c: *surface_c,
                ambient_c: *ambient_c,
                corrected: true,
            })),
            TableEntry::Mark { t_us } => sink(Reading::Mark { t_us: *t_us }),
        }
    }

    /// A run of an imported table; `None`, and counted, for one whose times are none.
    fn table_run<'a>(&mut self, run: &'a TableRun) -> Option<Run<'a>> {
        let TableRun { first_us, spacing_us, lost_before, ref samples } = *run;
        let run = Run { first_us, spacing_us, lost_before, clipped: 0, samples };
        let is_usable = run.has_usable_times();
        self.losses.unusable_frames += u64::from(!is_usable);
        is_usable.then_some(run)
    }
}
