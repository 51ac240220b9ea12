//! The virtual sensor: the wire protocol from the sensor's side, as a state machine without clock or port.
//!
//! # Data flow
//!
//! ```text
//! host bytes ─► feed ─► commands ─► replies ─┐
//! advance(to) ─► World ─► blocks, looks ─────┴─► queue ─► output / consume
//! ```
//!
//! The caller owns time: [`VirtualSensor::advance`] moves the sensor's clock on, [`VirtualSensor::feed`] happens at that
//! moment. Like the sensor, it streams only when asked, stops when the host has been silent, never waits for the host
//! (whole frames are dropped and counted when the queue is full), and refuses what is out of range. The scenario begins
//! with the first `Start` and then runs on, streamed or not, as the world does.

mod batch;
mod options;

use std::f64::consts::TAU;

use rand::{Rng, RngExt};
use rand_chacha::ChaCha8Rng;
use steadypass_protocol::{
    ACCEL_BLOCK, Block, DecodeError, FrameReader, GYRO_BLOCK, Health, Hello, MAX_FRAME, Mark, Mounting, Outcome,
    PROTOCOL_VERSION, Pattern, Pong, Refusal, Reply, ResetCause, RestartInto, Samples, Settings, Surface, ToHost,
    ToSensor, encode,
};

pub use options::{Behaviour, SensorOptions, Trouble};

use self::batch::Batch;
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
    reader: FrameReader,
    queue: Vec<u8>,
    rng: ChaCha8Rng,
    /// Caller's time, and what it was when the sensor started and when the scenario began, µs.
    now_us: u64,
    start_us: u64,
    scenario_us: Option<u64>,
    streaming: bool,
    streaming_since_us: u64,
    heard_us: u64,
    next_look_us: u64,
    next_health_us: u64,
    next_noise_us: u64,
    settings: Settings,
    pattern: Pattern,
    reset: ResetCause,
    health: Health,
    accel: Batch,
    gyro: Batch,
    lose_samples: u32,
    lose_flag: u8,
    failing_looks: (u8, u32),
    bit_error: bool,
    surface_index: u8,
    marks: u16,
}

/// The block's spacing is called nominal until the stream has run for this long.
const MEASURED_AFTER_US: u64 = 1_000_000;
/// Noise of [`Behaviour::Garbage`]: 120 bytes in each 10 ms.
const NOISE_EVERY_US: u64 = 10_000;
const NOISE_BYTES: usize = 120;

impl VirtualSensor {
    /// A sensor that has just been switched on, on a machine that will do as `scenario` says.
    ///
    /// # Errors
    /// When the scenario is outside its ranges.
    pub fn new(scenario: &Scenario, options: SensorOptions) -> Result<Self, ScenarioError> {
        Ok(Self {
            world: World::new(scenario)?,
            behaviour: Behaviour::Normal,
            reader: FrameReader::new(),
            queue: Vec::new(),
            rng: stream(scenario.seed, Subject::Wire),
            now_us: 0,
            start_us: 0,
            scenario_us: None,
            streaming: false,
            streaming_since_us: 0,
            heard_us: 0,
            next_look_us: 0,
            next_health_us: 0,
            next_noise_us: 0,
            settings: Settings::default(),
            pattern: Pattern::Off,
            reset: ResetCause::PowerOn,
            health: Health::default(),
            accel: Batch::default(),
            gyro: Batch::default(),
            lose_samples: 0,
            lose_flag: 0,
            failing_looks: (0, 0),
            bit_error: false,
            surface_index: 0,
            marks: 0,
            options,
        })
    }

    /// Moves time on to `to_us` (µs since the sensor was made; going back does nothing) and returns all bytes that wait
    /// for the host. Say with [`VirtualSensor::consume`] how many it took.
    pub fn advance(&mut self, to_us: u64) -> &[u8] {
        while let Some((at_us, event)) = self.next_event().filter(|(at_us, _)| *at_us <= to_us) {
            self.now_us = self.now_us.max(at_us);
            match event {
                Event::Sample => self.sample(),
                Event::Look => self.look(),
                Event::Health => self.report(),
                Event::Silence => self.stop(Pattern::LostHost),
                Event::Noise => self.noise(),
            }
        }
        self.now_us = self.now_us.max(to_us);
        &self.queue
    }

    /// Bytes that wait for the host.
    pub fn output(&self) -> &[u8] {
        &self.queue
    }

    /// The host has taken the first `count` waiting bytes.
    pub fn consume(&mut self, count: usize) {
        self.queue.drain(..count.min(self.queue.len()));
    }

    /// Moves time on to `to_us` with a host that reads everything at once, and appends what it read to `read`.
    pub fn play(&mut self, to_us: u64, read: &mut Vec<u8>) {
        while self.now_us < to_us {
            // Far shorter than the queue is long, so that nothing is dropped.
            read.extend_from_slice(self.advance(to_us.min(self.now_us + 20_000)));
            self.queue.clear();
        }
        read.append(&mut self.queue);
    }

    /// Takes bytes from the host, now.
    pub fn feed(&mut self, bytes: &[u8]) {
        if matches!(self.behaviour, Behaviour::Mute | Behaviour::Garbage) {
            return;
        }
        let mut reader = std::mem::take(&mut self.reader);
        reader.feed(bytes, |event| match event.map(|frame| ToSensor::decode(frame.payload)) {
            Ok(Ok(command)) => self.obey(command),
            Ok(Err(DecodeError::UnknownKind(kind))) => {
                self.heard_us = self.now_us;
                let command = u8::try_from(kind).unwrap_or(u8::MAX);
                self.send(&ToHost::Reply(Reply { command, outcome: Outcome::Refused(Refusal::UnknownCommand) }));
            }
            Ok(Err(_)) | Err(_) => self.health.bad_commands = self.health.bad_commands.saturating_add(1),
        });
        self.reader = reader;
    }

    /// The host has opened the port: the sensor introduces itself.
    pub fn opened(&mut self) {
        self.reader.reset();
        self.hello();
    }

    /// Changes how it behaves on the wire from now on.
    pub fn behave(&mut self, behaviour: Behaviour) {
        self.behaviour = behaviour;
        self.next_noise_us = self.now_us;
    }

    /// Something goes wrong now.
    pub fn suffer(&mut self, trouble: Trouble) {
        match trouble {
            Trouble::Restart(cause) => self.restart(cause),
            Trouble::Overrun { samples } => {
                self.health.fifo_overruns = self.health.fifo_overruns.saturating_add(1);
                self.lose(samples, Block::AFTER_OVERRUN);
            }
            Trouble::ImuRestart { samples } => {
                self.health.imu_bus_faults = self.health.imu_bus_faults.saturating_add(1);
                self.lose(samples, Block::AFTER_RESTART);
            }
            Trouble::Thermometer { flags, looks } => self.failing_looks = (flags, looks),
            Trouble::BitError => self.bit_error = true,
        }
    }

    /// Presses the mark button.
    pub fn press_mark(&mut self) {
        self.marks = self.marks.wrapping_add(1);
        if self.streaming {
            self.send(&ToHost::Mark(Mark { t_us: self.uptime_us(), index: self.marks }));
        }
    }

    /// Whether the scenario is over. The stream goes on, with the machine at rest.
    pub fn is_over(&self) -> bool {
        self.world.is_over()
    }

    /// Whether it streams.
    pub fn is_streaming(&self) -> bool {
        self.streaming
    }

    /// Time since it was made, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// What its light shows.
    pub fn pattern(&self) -> Pattern {
        self.pattern
    }

    /// Its counters.
    pub fn health(&self) -> Health {
        Health { uptime_us: self.uptime_us(), ..self.health }
    }

    /// What has really happened so far. Times count from the scenario's beginning, the first `Start`.
    pub fn truth(&self) -> &Truth {
        self.world.truth()
    }

    fn uptime_us(&self) -> u64 {
        self.now_us - self.start_us
    }

    fn next_event(&self) -> Option<(u64, Event)> {
        let sample = self.scenario_us.map(|from| (from + (self.world.next_s() * 1e6).ceil() as u64, Event::Sample));
        let look = self.streaming.then_some((self.next_look_us, Event::Look));
        let health = self.streaming.then_some((self.next_health_us, Event::Health));
        let silence = self.streaming.then_some((self.heard_us + self.options.silence_us, Event::Silence));
        let noise = (self.behaviour == Behaviour::Garbage).then_some((self.next_noise_us, Event::Noise));
        [sample, look, health, silence, noise].into_iter().flatten().min_by_key(|(at_us, _)| *at_us)
    }

    fn obey(&mut self, command: ToSensor) {
        self.heard_us = self.now_us;
        let outcome = match command {
            ToSensor::Identify => return self.hello(),
            ToSensor::Ping(ping) => {
                let sensor_us = self.uptime_us();
                return self.send(&ToHost::Pong(Pong { token: ping.token, host_us: ping.host_us, sensor_us }));
            }
            ToSensor::Start if self.options.chips & Hello::CHIP_IMU == 0 => Outcome::Refused(Refusal::NoImu),
            ToSensor::Start => {
                self.start();
                Outcome::Accepted
            }
            ToSensor::Stop => {
                self.stop(self.pattern);
                Outcome::Accepted
            }
            ToSensor::Configure(_) if self.streaming => Outcome::Refused(Refusal::Streaming),
            ToSensor::Configure(settings) => match settings.out_of_range() {
                Some(name) => Outcome::Refused(Refusal::OutOfRange(name)),
                None => {
                    self.settings = settings;
                    self.world.set_range_g(settings.accel_range_g);
                    Outcome::Accepted
                }
            },
            ToSensor::Indicate(pattern) => {
                self.pattern = pattern;
                Outcome::Accepted
            }
            ToSensor::Restart(_) => Outcome::Accepted,
        };
        self.send(&ToHost::Reply(Reply { command: command.kind(), outcome }));
        if let ToSensor::Restart(into) = command {
            self.restart(ResetCause::Commanded);
            if into == RestartInto::Loader {
                // In its loader it is a drive, not a sensor.
                self.behaviour = Behaviour::Mute;
            }
        }
    }

    fn start(&mut self) {
        if self.streaming {
            return;
        }
        self.streaming = true;
        self.streaming_since_us = self.now_us;
        self.next_look_us = self.now_us;
        self.next_health_us = self.now_us + 1_000_000;
        self.scenario_us.get_or_insert(self.now_us);
    }

    fn stop(&mut self, pattern: Pattern) {
        self.flush_accel();
        self.flush_gyro();
        self.streaming = false;
        self.pattern = pattern;
    }

    fn restart(&mut self, cause: ResetCause) {
        let watchdog_resets = self.health.watchdog_resets.saturating_add(u16::from(cause == ResetCause::Watchdog));
        self.health = Health { watchdog_resets, ..Health::default() };
        self.start_us = self.now_us;
        (self.streaming, self.reset, self.pattern) = (false, cause, Pattern::Off);
        self.settings = Settings::default();
        self.world.set_range_g(self.settings.accel_range_g);
        (self.accel, self.gyro) = (Batch::default(), Batch::default());
        (self.lose_samples, self.lose_flag, self.surface_index, self.marks) = (0, 0, 0, 0);
        self.opened();
    }

    fn hello(&mut self) {
        let (accel, gyro) = self.world.scales();
        let protocol = if let Behaviour::Version(version) = self.behaviour { version } else { PROTOCOL_VERSION };
        self.send(&ToHost::Hello(Hello {
            protocol,
            firmware: [0, 1, 0],
            unique_id: self.options.unique_id,
            chips: self.options.chips,
            reset: self.reset,
            uptime_us: self.uptime_us(),
            accel,
            gyro,
            surface_period_ms: self.settings.surface_period_ms,
            mounting: Mounting::STRAIGHT,
            streaming: self.streaming,
        }));
    }

    fn send(&mut self, message: &ToHost<'_>) {
        if matches!(self.behaviour, Behaviour::Mute | Behaviour::Garbage) {
            return;
        }
        let mut buffer = [0; MAX_FRAME];
        let frame = match encode(message, &mut buffer) {
            Ok(frame) if self.queue.len() + frame.len() <= self.options.queue_bytes => frame.len(),
            _ => {
                self.health.frames_dropped = self.health.frames_dropped.saturating_add(1);
                return;
            }
        };
        if std::mem::take(&mut self.bit_error) {
            buffer[frame / 2] ^= 0x10;
        }
        self.queue.extend_from_slice(&buffer[..frame]);
    }

    fn lose(&mut self, samples: u32, flag: u8) {
        self.flush_accel();
        self.flush_gyro();
        self.lose_samples = samples;
        self.lose_flag = flag;
    }

    fn sample(&mut self) {
        let from_us = self.scenario_us.unwrap_or(self.now_us);
        let sample = self.world.sample();
        if sample.mark && self.options.marks {
            self.press_mark();
        }
        if !self.streaming || self.options.chips & Hello::CHIP_IMU == 0 {
            return;
        }
        // Both streams lose in step: whole eights, so that their clocks still fit.
        if self.lose_samples > 0 || (self.lose_flag != 0 && sample.gyro.is_none()) {
            self.lose_samples = self.lose_samples.saturating_sub(1);
            self.health.samples_lost = self.health.samples_lost.saturating_add(1);
            self.accel.next_index = self.accel.next_index.wrapping_add(1);
            self.gyro.next_index = self.gyro.next_index.wrapping_add(u32::from(sample.gyro.is_some()));
            return;
        }
        if self.lose_flag != 0 {
            let flag = std::mem::take(&mut self.lose_flag);
            (self.accel.flags, self.gyro.flags) = (flag, flag);
        }
        // Stamps are taken in an interrupt: a few microseconds late now and then.
        let late_us = 3.0 * (0.5 + 0.5 * (TAU * self.rng.random::<f64>()).sin());
        let at_us = from_us as f64 - self.start_us as f64 + sample.t_s * 1e6 + late_us;
        self.accel.push(at_us, sample.accel);
        if self.accel.len() == ACCEL_BLOCK {
            self.flush_accel();
        }
        if let Some(gyro) = sample.gyro {
            self.gyro.push(at_us, gyro);
            if self.gyro.len() == GYRO_BLOCK {
                self.flush_gyro();
            }
        }
    }

    fn flush_accel(&mut self) {
        let batch = std::mem::take(&mut self.accel);
        self.accel.next_index = self.send_block(&batch, 1.0, ToHost::Accel);
        self.accel.flags = if batch.bytes.is_empty() { batch.flags } else { 0 };
    }

    fn flush_gyro(&mut self) {
        let batch = std::mem::take(&mut self.gyro);
        self.gyro.next_index = self.send_block(&batch, 8.0, ToHost::Gyro);
        self.gyro.flags = if batch.bytes.is_empty() { batch.flags } else { 0 };
    }

    /// Sends what is in `batch` and returns the number of the sample after it.
    fn send_block<'b>(&mut self, batch: &'b Batch, ratio: f64, wrap: impl FnOnce(Block<'b>) -> ToHost<'b>) -> u32 {
        let count = batch.len() as u32;
        if let Some(samples) = Samples::from_bytes(&batch.bytes).filter(|samples| !samples.is_empty()) {
            let nominal = self.now_us - self.streaming_since_us < MEASURED_AFTER_US;
            let (accel, _) = self.world.scales();
            let spacing_s = if nominal { 1e3 / f64::from(accel.nominal_mhz) } else { self.world.spacing_s() };
            let flags = batch.flags | if nominal { Block::NOMINAL_SPACING } else { 0 };
            let spacing_ns = (spacing_s * ratio * 1e9).round() as u32;
            let first_index = batch.next_index.wrapping_sub(count);
            self.send(&wrap(Block { first_index, first_us: batch.first_us, spacing_ns, flags, samples }));
        }
        batch.next_index
    }

    fn look(&mut self) {
        self.next_look_us += u64::from(self.settings.surface_period_ms) * 1000;
        let (object_raw, ambient_raw) = self.world.look();
        if self.options.chips & Hello::CHIP_IR == 0 {
            return;
        }
        let mut surface =
            Surface { index: self.surface_index, t_us: self.uptime_us(), object_raw, ambient_raw, flags: 0 };
        self.surface_index = self.surface_index.wrapping_add(1);
        if let (flags, looks @ 1..) = self.failing_looks {
            self.failing_looks.1 = looks - 1;
            surface = Surface { object_raw: 0, ambient_raw: 0, flags, ..surface };
            let counter = match flags {
                Surface::BAD_CHECKSUM => &mut self.health.ir_checksum_errors,
                Surface::CHIP_ERROR => &mut self.health.ir_chip_errors,
                _ => &mut self.health.ir_bus_faults,
            };
            *counter = counter.saturating_add(1);
        }
        self.send(&ToHost::Surface(surface));
    }

    fn report(&mut self) {
        self.next_health_us += 1_000_000;
        self.send(&ToHost::Health(Health { imu_centi_c: Some(2_600), idle_permille: 960, ..self.health() }));
    }

    fn noise(&mut self) {
        self.next_noise_us += NOISE_EVERY_US;
        let mut noise = [0; NOISE_BYTES];
        self.rng.fill_bytes(&mut noise);
        if self.queue.len() + NOISE_BYTES <= self.options.queue_bytes {
            self.queue.extend_from_slice(&noise);
        }
    }
}

#[derive(Clone, Copy, Debug)]
enum Event {
    Sample,
    Look,
    Health,
    Silence,
    Noise,
}

#[cfg(test)]
mod tests;
