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
mod intake;
mod live;
mod motor;
mod rows;
mod sections;
mod settling;
mod statistics;
#[cfg(test)]
mod tests;
mod under_way;

use super::cadence::Cadence;
use super::findings::{Finding, LiveTick, Measured, State};
use super::motion::Motion;
use super::orbit::{Orbit, OrbitTick, TICK_US};
use super::reading::Reading;
use super::setup::Setup;
use super::surface::{Surface, SurfaceCounts};
use intake::Intake;
use motor::MotorLog;
use rows::Rows;
use sections::Sections;
use std::collections::VecDeque;
use under_way::UnderWay;

/// From the pad's centre to the chip, m, machine axes: a clip on the housing sits some 0.1 m above the face.
const LEVER_M: [f64; 3] = [0.0, 0.0, 0.1];

/// The analysis of one recording or one live session.
pub struct Pipeline {
    setup: Setup,
    intake: Intake,
    orbit: Orbit,
    motion: Motion,
    cadence: Cadence,
    motor: MotorLog,
    surface: Surface,
    sections: Sections,
    under_way: UnderWay,
    rows: Rows,
    live: VecDeque<LiveTick>,
    findings: VecDeque<Finding>,
    /// The orbit's ticks, until the motion chip's streams have passed them.
    ticks: VecDeque<OrbitTick>,
    /// Ticks at which hindsight found a rate, not yet in the motor log.
    rates_seen: VecDeque<i64>,
    marks_us: VecDeque<f64>,
    /// When the motor was last switched on, s.
    running_since_s: Option<f64>,
    /// When the work before a mark is to be settled, s.
    settle_at_s: Option<f64>,
    /// Settled strokes and passes.
    stroke_count: u32,
    pass_count: u32,
}

impl Pipeline {
    /// Starts an analysis.
    pub fn new(setup: Setup) -> Self {
        Self {
            setup,
            intake: Intake::new(),
            orbit: Orbit::new(setup.machine.kind),
            motion: Motion::new(LEVER_M),
            cadence: Cadence::default(),
            motor: MotorLog::default(),
            surface: Surface::new(&setup),
            sections: Sections::default(),
            under_way: UnderWay::default(),
            rows: Rows::default(),
            live: VecDeque::new(),
            findings: VecDeque::new(),
            ticks: VecDeque::new(),
            rates_seen: VecDeque::new(),
            marks_us: VecDeque::new(),
            running_since_s: None,
            settle_at_s: None,
            stroke_count: 0,
            pass_count: 0,
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
            Reading::Accel(run) => self.intake.accel(run, &mut self.orbit),
            Reading::Gyro(run) => self.intake.gyro(run),
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
                self.intake.interrupt(&mut self.orbit);
                self.advance(f64::INFINITY);
                self.settle(true);
                self.orbit.interrupt(if to_us.is_finite() { to_us } else { 0.0 });
                self.release(f64::INFINITY);
                self.restart_motion();
                self.surface.interrupted();
                if to_us.is_finite() {
                    self.intake.resume(to_us);
                }
            }
        }
        self.advance(self.intake.heard_us());
    }

    /// What became of the thermometer's looks.
    pub fn surface_counts(&self) -> SurfaceCounts {
        self.surface.counts()
    }

    /// Nothing more comes: settles everything.
    pub fn finish(&mut self) {
        self.intake.interrupt(&mut self.orbit);
        self.advance(f64::INFINITY);
        self.settle(true);
        self.orbit.flush();
        self.release(f64::INFINITY);
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
        if self.intake.skip_silence(limit_us) {
            self.restart_motion();
        }
        while let Some((k, accel, gyro)) = self.intake.next_point(limit_us) {
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
        self.under_way.begin_anew();
        self.sections.forget_heading();
    }

    /// Another panel, or the same one after it has been left alone.
    fn begin_section(&mut self, t_s: f64) {
        self.sections.begin(t_s);
        self.surface.new_section();
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
