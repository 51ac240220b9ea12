//! The two streams of the motion chip on their way in: what short holes lack is put in, the accelerometer's goes on to the orbit, and
//! both are laid on one grid of time.

use crate::analysis::attitude::Vec3;
use crate::analysis::grid::{Gridder, STEP_US};
use crate::analysis::interpolator::Interpolator;
use crate::analysis::orbit::Orbit;
use crate::analysis::reading::Run;

/// A gyro that has been silent for this long is not waited for, µs.
const GYRO_PATIENCE_US: f64 = 1e6;
/// Slow streams of other loggers come in longer runs than that: then the gyro is waited for as long as a run of each stream, at
/// most so long, µs.
const RUN_PATIENCE_US: f64 = 60e6;
/// A silence of more grid points than this is not walked through one by one; so many are left before what comes after it.
const SILENCE_POINTS: i64 = 3000;
const POINTS_LEFT: i64 = 100;

/// One stream.
#[derive(Default)]
struct Stream {
    interpolator: Interpolator,
    grid: Gridder,
    /// Length of the latest run, µs.
    run_us: f64,
}

/// Both streams.
pub(super) struct Intake {
    accel: Stream,
    gyro: Stream,
    first_accel_us: Option<f64>,
    last_accel_us: f64,
    next_point: i64,
}

/// A point of the grid: its index, acceleration, m/s², and turn rates, rad/s, where there are any.
pub(super) type GridPoint = (i64, Option<Vec3>, Option<Vec3>);

impl Intake {
    pub(super) fn new() -> Self {
        Self {
            accel: Stream::default(),
            gyro: Stream::default(),
            first_accel_us: None,
            last_accel_us: f64::NEG_INFINITY,
            next_point: 0,
        }
    }

    /// Takes a run of the accelerometer. Without usable times it is left out.
    pub(super) fn accel(&mut self, run: Run<'_>, orbit: &mut Orbit) {
        if !run.has_usable_times() {
            return;
        }
        self.first_accel_us.get_or_insert(run.first_us);
        self.last_accel_us = self.last_accel_us.max(run.end_us() - run.spacing_us);
        let Stream { interpolator, grid, run_us } = &mut self.accel;
        *run_us = run.samples.len() as f64 * run.spacing_us;
        interpolator.push(run, both(orbit, grid));
    }

    /// Takes a run of the gyro. Without usable times it is left out.
    pub(super) fn gyro(&mut self, run: Run<'_>) {
        if !run.has_usable_times() {
            return;
        }
        let Stream { interpolator, grid, run_us } = &mut self.gyro;
        *run_us = run.samples.len() as f64 * run.spacing_us;
        interpolator.push(run, |first_us, spacing_us, samples| grid.push(first_us, spacing_us, samples));
    }

    /// Nothing comes that continues what waits.
    pub(super) fn interrupt(&mut self, orbit: &mut Orbit) {
        let Self { accel, gyro, .. } = self;
        accel.interpolator.interrupt(both(orbit, &mut accel.grid));
        gyro.interpolator.interrupt(|first_us, spacing_us, samples| gyro.grid.push(first_us, spacing_us, samples));
    }

    /// The streams go on at `to_us`.
    pub(super) fn resume(&mut self, to_us: f64) {
        self.next_point = self.next_point.max((to_us / STEP_US).ceil() as i64 + 1);
        self.accel.grid.restart(self.next_point);
        self.gyro.grid.restart(self.next_point);
    }

    /// Last sample of the accelerometer, µs.
    pub(super) fn last_accel_us(&self) -> f64 {
        self.last_accel_us
    }

    /// Time up to which both streams have been heard, µs.
    pub(super) fn heard_us(&self) -> f64 {
        let (accel, gyro) = (self.accel.grid.last_us(), self.gyro.grid.last_us());
        let since = gyro.max(self.first_accel_us.unwrap_or(f64::NEG_INFINITY));
        let patience_us = (self.accel.run_us + self.gyro.run_us).clamp(GYRO_PATIENCE_US, RUN_PATIENCE_US);
        if accel - since > patience_us { accel } else { accel.min(gyro) }
    }

    /// Leaves out most of a silence before `limit_us` that is too long to be walked through; whether there was one.
    pub(super) fn skip_silence(&mut self, limit_us: f64) -> bool {
        let limit = (limit_us / STEP_US) as i64;
        let is_long = limit - self.next_point > SILENCE_POINTS;
        if is_long {
            self.next_point = limit - POINTS_LEFT;
        }
        is_long
    }

    /// Next point of the grid that all samples up to `limit_us` decide.
    pub(super) fn next_point(&mut self, limit_us: f64) -> Option<GridPoint> {
        let k = self.next_point;
        if (k + 2) as f64 * STEP_US > limit_us {
            return None;
        }
        self.next_point += 1;
        Some((k, self.accel.grid.take(k), self.gyro.grid.take(k)))
    }
}

/// Passes samples on to the orbit and to the grid.
fn both(orbit: &mut Orbit, grid: &mut Gridder) -> impl FnMut(f64, f64, &[[f32; 3]]) {
    |first_us, spacing_us, samples| {
        orbit.push(first_us, spacing_us, samples);
        grid.push(first_us, spacing_us, samples);
    }
}
