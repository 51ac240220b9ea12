//! The whole analysis: readings in, live ticks and settled findings out.
//!
//! # Data flow
//!
//! ```text
//! accel ─┬─► orbit ────────────────────────► orbit ticks ──┐
//!        └─► interpolator ─► 50 Hz grid ─┐                 ├─► LiveTick (when both streams have passed the tick)
//! gyro ────► interpolator ─► 50 Hz grid ─┴► motion, cadence┤
//!                                          (turns, strokes)├─► rows wait ─► settled with the passes ─► Finding
//! looks ───────────────────────────────────► surface ──────┘
//! ```
//!
//! Everything is driven by the times of the samples, never by when or in what portions they arrived.
//!
//! Rows of the series wait until the stretch of work they belong to is settled: when the motor has been off, or the arm
//! at rest, for a while, at the mark button, at an interruption, or after [`super::motion::LONGEST_S`] at the latest.

mod free;
mod live;
mod motor;
mod rows;
mod settling;
mod statistics;
#[cfg(test)]
mod tests;

use super::cadence::Cadence;
use super::findings::{Finding, LiveTick, Measured, State, StrokePlace};
use super::grid::{Gridder, STEP_US};
use super::interpolator::Interpolator;
use super::motion::Motion;
use super::orbit::{Orbit, OrbitTick, TICK_US};
use super::passes::SettledStroke;
use super::reading::{Reading, Run};
use super::setup::Setup;
use super::surface::{Surface, SurfaceCounts};
use motor::MotorLog;
use rows::Rows;
use std::collections::VecDeque;

/// From the pad's centre to the chip, m, machine axes: a clip on the housing sits some 0.1 m above the face.
const LEVER_M: [f64; 3] = [0.0, 0.0, 0.1];
/// A gyro that has been silent for this long is not waited for, µs.
const GYRO_PATIENCE_US: f64 = 1e6;
/// Slow streams of other loggers come in longer runs than that: then the gyro is waited for as long as a run of each stream, at
/// most so long, µs.
const RUN_PATIENCE_US: f64 = 60e6;

/// The analysis of one recording or one live session.
pub struct Pipeline {
    setup: Setup,
    orbit: Orbit,
    interpolators: [Interpolator; 2],
    accel_grid: Gridder,
    gyro_grid: Gridder,
    motion: Motion,
    cadence: Cadence,
    motor: MotorLog,
    surface: Surface,
    next_grid: i64,
    /// Length of the latest run of accelerometer and gyro, µs.
    run_us: [f64; 2],
    first_accel_us: Option<f64>,
    marks_us: VecDeque<f64>,
    live: VecDeque<LiveTick>,
    findings: VecDeque<Finding>,
    ticks: VecDeque<OrbitTick>,
    rows: Rows,
    /// Ticks at which hindsight found a rate, not yet in the motor log.
    rates_seen: VecDeque<i64>,
    /// The last stroke so far, as first measured, and where it lay.
    last_stroke: Option<SettledStroke>,
    /// When the motor was last switched on, s.
    running_since_s: Option<f64>,
    last_place: Option<StrokePlace>,
    /// What the strokes of the pass are known to have had for each m/s that their bursts told.
    per_burst: f64,
    /// End of the last stroke told of, s.
    stroke_told_s: f64,
    strokes_in_pass: u32,
    strokes_seen: u32,
    /// Strokes and passes that are not settled yet.
    strokes_open: u32,
    passes_open: u32,
    /// When the section began, s.
    section_begun_s: f64,
    /// When the machine was last at work, s; `None` before a section's first stroke.
    worked_s: Option<f64>,
    /// Settled strokes and passes.
    stroke_count: u32,
    pass_count: u32,
    section: u32,
    /// Heading of the section's first pass, rad; `None` before that, and once the stream has broken: headings of before and after
    /// cannot be compared.
    section_heading: Option<f64>,
    last_work_s: f64,
    last_sample_us: f64,
    settle_at_s: Option<f64>,
    /// Begins of sections that no pass has been counted to yet, s.
    sections_begun_s: Vec<f64>,
    /// Begins of sections in all.
    sections_begun: u32,
}

impl Pipeline {
    /// Starts an analysis.
    pub fn new(setup: Setup) -> Self {
        Self {
            setup,
            orbit: Orbit::new(setup.machine.kind),
            interpolators: Default::default(),
            accel_grid: Gridder::new(),
            gyro_grid: Gridder::new(),
            motion: Motion::new(LEVER_M),
            cadence: Cadence::default(),
            motor: MotorLog::default(),
            surface: Surface::new(&setup),
            next_grid: 0,
            run_us: [0.0; 2],
            first_accel_us: None,
            marks_us: VecDeque::new(),
            live: VecDeque::new(),
            findings: VecDeque::new(),
            ticks: VecDeque::new(),
            rows: Rows::default(),
            rates_seen: VecDeque::new(),
            last_stroke: None,
            running_since_s: None,
            last_place: None,
            per_burst: 1.0,
            stroke_told_s: f64::NEG_INFINITY,
            strokes_in_pass: 0,
            strokes_seen: 0,
            strokes_open: 0,
            passes_open: 0,
            section_begun_s: f64::NEG_INFINITY,
            worked_s: None,
            stroke_count: 0,
            pass_count: 0,
            section: 0,
            section_heading: None,
            last_work_s: f64::NEG_INFINITY,
            last_sample_us: f64::NEG_INFINITY,
            settle_at_s: None,
            sections_begun_s: Vec::new(),
            sections_begun: 0,
        }
    }

    /// Next live tick, oldest first.
    pub fn pop_live(&mut self) -> Option<LiveTick> {
        self.live.pop_front()
    }

    /// Next settled finding.
    pub fn pop_finding(&mut self) -> Option<Finding> {
        self.findings.pop_front()
    }

    /// Takes one reading. Samples that go back in time, or whose time is no number, are left out.
    pub fn push(&mut self, reading: Reading<'_>) {
        match reading {
            Reading::Accel(run) => self.push_accel(run),
            Reading::Gyro(run) => self.push_gyro(run),
            Reading::Surface(look) => {
                if look.t_us.is_finite() {
                    self.surface.look(&look);
                }
            }
            Reading::Mark { t_us } => {
                if t_us.is_finite() {
                    self.marks_us.push_back(t_us);
                }
            }
            Reading::Break { from_us: _, to_us } => {
                self.interrupt_samples();
                self.advance(f64::INFINITY);
                self.settle(true);
                self.orbit.interrupt(if to_us.is_finite() { to_us } else { 0.0 });
                self.release(f64::INFINITY);
                self.restart_motion();
                self.surface.interrupted();
                if to_us.is_finite() {
                    let index = (to_us / STEP_US).ceil() as i64 + 1;
                    self.next_grid = self.next_grid.max(index);
                    self.accel_grid.restart(self.next_grid);
                    self.gyro_grid.restart(self.next_grid);
                }
            }
        }
        self.advance(self.watermark_us());
    }

    /// What became of the thermometer's looks.
    pub fn surface_counts(&self) -> SurfaceCounts {
        self.surface.counts()
    }

    /// Nothing more comes: settles everything.
    pub fn finish(&mut self) {
        self.interrupt_samples();
        self.advance(f64::INFINITY);
        self.settle(true);
        self.orbit.flush();
        self.release(f64::INFINITY);
    }

    fn push_accel(&mut self, run: Run<'_>) {
        if !run.has_usable_times() {
            return;
        }
        self.run_us[0] = run.samples.len() as f64 * run.spacing_us;
        self.first_accel_us.get_or_insert(run.first_us);
        self.last_sample_us = self.last_sample_us.max(run.end_us() - run.spacing_us);
        let Self { interpolators: [interpolator, _], orbit, accel_grid, .. } = self;
        interpolator.push(run, |first_us, spacing_us, samples| {
            orbit.push(first_us, spacing_us, samples);
            accel_grid.push(first_us, spacing_us, samples);
        });
    }

    fn push_gyro(&mut self, run: Run<'_>) {
        if !run.has_usable_times() {
            return;
        }
        self.run_us[1] = run.samples.len() as f64 * run.spacing_us;
        let Self { interpolators: [_, interpolator], gyro_grid, .. } = self;
        interpolator.push(run, |first_us, spacing_us, samples| gyro_grid.push(first_us, spacing_us, samples));
    }

    /// Nothing comes that continues what waits.
    fn interrupt_samples(&mut self) {
        let Self { interpolators: [accel, gyro], orbit, accel_grid, gyro_grid, .. } = self;
        accel.interrupt(|first_us, spacing_us, samples| {
            orbit.push(first_us, spacing_us, samples);
            accel_grid.push(first_us, spacing_us, samples);
        });
        gyro.interrupt(|first_us, spacing_us, samples| gyro_grid.push(first_us, spacing_us, samples));
    }

    /// Time up to which all streams have been heard, µs.
    fn watermark_us(&self) -> f64 {
        let (accel, gyro) = (self.accel_grid.last_us(), self.gyro_grid.last_us());
        let since = gyro.max(self.first_accel_us.unwrap_or(f64::NEG_INFINITY));
        let patience_us = (self.run_us[0] + self.run_us[1]).clamp(GYRO_PATIENCE_US, RUN_PATIENCE_US);
        if accel - since > patience_us { accel } else { accel.min(gyro) }
    }

    /// Works through all ticks up to a time.
    fn advance(&mut self, limit_us: f64) {
        while let Some(tick) = self.orbit.pop_live() {
            self.ticks.push_back(tick);
        }
        while let Some(tick) = self.orbit.pop_settled() {
            if tick.rate_hz.is_some() {
                self.rates_seen.push_back(tick.index);
            }
            self.rows.push_orbit(tick);
        }
        while let Some(&tick) = self.ticks.front() {
            let tick_us = tick.index as f64 * TICK_US;
            if tick_us > limit_us {
                break;
            }
            self.ticks.pop_front();
            self.step_motion(tick_us);
            self.tick(tick);
        }
    }

    fn step_motion(&mut self, limit_us: f64) {
        // A silence too long to be bridged is not walked through point by point.
        let behind = (limit_us / STEP_US) as i64 - self.next_grid;
        if behind > 3000 {
            self.restart_motion();
            self.next_grid = (limit_us / STEP_US) as i64 - 100;
        }
        while (self.next_grid + 2) as f64 * STEP_US <= limit_us {
            let k = self.next_grid;
            self.next_grid += 1;
            let (accel, gyro) = (self.accel_grid.take(k), self.gyro_grid.take(k));
            let motor = &self.motor;
            self.cadence.step(k, accel, gyro, &|t| motor.ran_at(t));
            let ended = self.motion.step(k, accel, gyro, &|t| motor.ran_at(t));
            if ended {
                self.settle(true);
                self.restart_motion();
            }
        }
    }

    fn restart_motion(&mut self) {
        self.motion.interrupt();
        let motor = &self.motor;
        self.cadence.end(&|t| motor.ran_at(t));
        self.begin_stretch();
        self.section_heading = None;
    }

    /// Strokes are counted from nothing again.
    fn begin_stretch(&mut self) {
        self.strokes_seen = 0;
        self.strokes_in_pass = 0;
        (self.strokes_open, self.passes_open) = (0, 0);
    }

    /// Another panel, or the same one after it has been left alone.
    fn begin_section(&mut self, t_s: f64) {
        self.section_begun_s = t_s;
        self.sections_begun_s.push(t_s);
        self.sections_begun += 1;
        self.surface.new_section();
        self.worked_s = None;
    }
}

fn state_of(motor_on: Option<bool>, working: bool) -> State {
    match (working, motor_on) {
        (true, _) => State::Working,
        (false, Some(true)) => State::Running,
        (false, _) => State::Still,
    }
}

fn per_minute(hz: Measured) -> Measured {
    Measured { value: hz.value * 60.0, sd: hz.sd * 60.0 }
}

/// Degrees from -180 to 180.
fn degrees(radians: f64) -> f64 {
    let d = radians.to_degrees().rem_euclid(360.0);
    if d > 180.0 { d - 360.0 } else { d }
}
