//! The temperature of the thermometer's spot, freed from the chip's noise and lag.
//!
//! A Kalman filter with two states, temperature and its rate of change, whose rate wanders. The chip shows the temperature
//! as it was: a first-order lag is, to first order, `reading = temperature - lag·rate`, so the filter sees both at once and
//! its estimate is not late. [`Spot::now`] uses what has been read so far; [`Spot::settled`] also what was read in the
//! second after (Rauch-Tung-Striebel smoothing over the kept steps).

use std::collections::VecDeque;

use nalgebra::{Matrix2, RowVector2, Vector2};

/// Standard deviation of one reading, K. The MLX90614 shows 0.1 to 0.15 K at the rates used here (from memory).
pub(crate) const READING_SD_K: f64 = 0.13;

/// Lag of the thermometer, s: its filter at the setting the firmware uses settles within half a second (from memory).
pub(crate) const LAG_S: f64 = 0.15;

/// How freely the rate of change wanders, K²/s³. The spot runs over edges of worked paint at up to 20 K/s; from 3 to 30 the
/// error over simulated passes changes by a tenth.
const RATE_WANDER: f64 = 10.0;

/// Rate of change that a fresh start allows for, K/s.
const START_RATE_SD_K_S: f64 = 1.0;

/// A single reading this far from what is expected is held back until the next one agrees, K. Edges at 20 K/s move 2 K
/// between readings.
const SUSPECT_K: f64 = 8.0;

/// Without readings for this long the filter starts anew, s.
const RESTART_S: f64 = 1.0;

/// Steps older than this are dropped, s: twice what settling needs.
const KEEP_S: f64 = 2.5;

/// How old the last reading may be for [`Spot::now`] to answer, s.
const FRESH_S: f64 = 0.6;

/// One reading's step through the filter.
#[derive(Clone, Copy, Debug)]
struct Step {
    t_s: f64,
    /// First step after a start: nothing before it belongs to it.
    first: bool,
    /// Transition from the step before.
    transition: Matrix2<f64>,
    predicted: Vector2<f64>,
    predicted_cov: Matrix2<f64>,
    state: Vector2<f64>,
    cov: Matrix2<f64>,
}

/// The filter.
#[derive(Clone, Debug, Default)]
pub(crate) struct Spot {
    steps: VecDeque<Step>,
    /// A reading held back as an outlier, °C.
    suspect: Option<f64>,
}

impl Spot {
    /// Takes a reading of the surface, already corrected for emissivity. Times must not go back; one that does is ignored.
    /// False when the reading was held back as an outlier.
    pub(crate) fn read(&mut self, t_s: f64, reading_c: f64) -> bool {
        let Some(last) = self.steps.back().copied().filter(|last| t_s - last.t_s <= RESTART_S) else {
            self.start(t_s, reading_c);
            return true;
        };
        let dt = t_s - last.t_s;
        if dt <= 0.0 {
            return false;
        }
        let transition = Matrix2::new(1.0, dt, 0.0, 1.0);
        let wander = RATE_WANDER * Matrix2::new(dt.powi(3) / 3.0, dt * dt / 2.0, dt * dt / 2.0, dt);
        let predicted = transition * last.state;
        let predicted_cov = transition * last.cov * transition.transpose() + wander;
        let look = RowVector2::new(1.0, -LAG_S);
        let surprise = reading_c - (look * predicted)[0];
        if surprise.abs() > SUSPECT_K {
            // Two readings that agree with each other are a place of another temperature, not a fault.
            let agrees = self.suspect.is_some_and(|other| (other - reading_c).abs() < SUSPECT_K);
            if agrees {
                self.start(t_s, reading_c);
            } else {
                self.suspect = Some(reading_c);
            }
            return agrees;
        }
        self.suspect = None;
        let variance = (look * predicted_cov * look.transpose())[0] + READING_SD_K * READING_SD_K;
        let gain = predicted_cov * look.transpose() / variance;
        let state = predicted + gain * surprise;
        // Joseph form: stays symmetric and positive whatever the rounding.
        let keep = Matrix2::identity() - gain * look;
        let cov = keep * predicted_cov * keep.transpose() + gain * gain.transpose() * (READING_SD_K * READING_SD_K);
        self.push(Step { t_s, first: false, transition, predicted, predicted_cov, state, cov });
        true
    }

    fn start(&mut self, t_s: f64, reading_c: f64) {
        self.suspect = None;
        let state = Vector2::new(reading_c, 0.0);
        let cov = Matrix2::new(READING_SD_K * READING_SD_K, 0.0, 0.0, START_RATE_SD_K_S * START_RATE_SD_K_S);
        let transition = Matrix2::identity();
        self.push(Step { t_s, first: true, transition, predicted: state, predicted_cov: cov, state, cov });
    }

    fn push(&mut self, step: Step) {
        self.steps.push_back(step);
        while self.steps.front().is_some_and(|old| step.t_s - old.t_s > KEEP_S) {
            self.steps.pop_front();
        }
    }

    /// Forgets everything: what comes next has nothing to do with it.
    pub(crate) fn reset(&mut self) {
        self.steps.clear();
        self.suspect = None;
    }

    /// Temperature at `t_s`, °C, from the readings so far; `None` when the last is too old.
    pub(crate) fn now(&self, t_s: f64) -> Option<f64> {
        let last = self.steps.back()?;
        let ahead = t_s - last.t_s;
        (ahead <= FRESH_S).then(|| last.state[0] + last.state[1] * ahead)
    }

    /// Temperature at `t_s`, °C, with the hindsight of all readings kept; `None` where there are none near.
    pub(crate) fn settled(&self, t_s: f64) -> Option<f64> {
        let after = self.steps.partition_point(|step| step.t_s <= t_s);
        let before = after.checked_sub(1)?;
        let earlier = self.steps.get(before)?;
        match self.steps.get(after) {
            Some(later) if !later.first => {
                let (early, late) = self.smoothed(before);
                Some(hermite(earlier.t_s, early, later.t_s, late, t_s))
            }
            // Nothing after it in the same run: as far as it reaches.
            _ if t_s - earlier.t_s <= FRESH_S => Some(earlier.state[0] + earlier.state[1] * (t_s - earlier.t_s)),
            _ => None,
        }
    }

    /// Smoothed states of the steps `at` and `at + 1`, which belong to one run.
    fn smoothed(&self, at: usize) -> (Vector2<f64>, Vector2<f64>) {
        let mut last = at + 1;
        while self.steps.get(last + 1).is_some_and(|step| !step.first) {
            last += 1;
        }
        let mut later = self.steps[last].state;
        for i in (at + 1..last).rev() {
            later = self.back(i, later);
        }
        (self.back(at, later), later)
    }

    /// One step back: the smoothed state of step `i` from that of the next.
    fn back(&self, i: usize, later: Vector2<f64>) -> Vector2<f64> {
        let (step, next) = (&self.steps[i], &self.steps[i + 1]);
        match next.predicted_cov.try_inverse() {
            Some(inverse) => step.state + step.cov * next.transition.transpose() * inverse * (later - next.predicted),
            None => step.state,
        }
    }
}

/// Between two states (value, rate), the cubic that meets both.
fn hermite(t0: f64, a: Vector2<f64>, t1: f64, b: Vector2<f64>, t: f64) -> f64 {
    let dt = t1 - t0;
    let u = (t - t0) / dt;
    let (u2, u3) = (u * u, u * u * u);
    (2.0 * u3 - 3.0 * u2 + 1.0) * a[0]
        + (u3 - 2.0 * u2 + u) * dt * a[1]
        + (3.0 * u2 - 2.0 * u3) * b[0]
        + (u3 - u2) * dt * b[1]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A chip with lag in front of a temperature that steps, ramps and rests; no noise.
    fn ramp(t: f64) -> f64 {
        if t < 2.0 { 20.0 } else { 20.0 + 2.0 * (t - 2.0) }
    }

    #[test]
    fn a_ramp_is_followed_without_delay() {
        let mut spot = Spot::default();
        let (mut lagged, mut worst) = (20.0, 0.0f64);
        for i in 0..80 {
            let t = f64::from(i) * 0.1;
            for k in 0..100 {
                lagged += (ramp(t - 0.1 + f64::from(k) * 1e-3) - lagged) * (1.0 - (-1e-3 / LAG_S).exp());
            }
            assert!(spot.read(t, lagged));
            if t > 4.0 {
                worst = worst.max((spot.now(t).unwrap() - ramp(t)).abs());
            }
        }
        // The plain reading is 0.3 K late on this ramp.
        assert!(worst < 0.02, "{worst}");
    }

    #[test]
    fn one_wild_reading_is_held_back_and_two_are_believed() {
        let mut spot = Spot::default();
        for i in 0..20 {
            spot.read(f64::from(i) * 0.1, 20.0);
        }
        assert!(!spot.read(2.0, 60.0));
        assert!(spot.read(2.1, 20.0));
        assert!((spot.now(2.1).unwrap() - 20.0).abs() < 0.1);
        assert!(!spot.read(2.2, 60.0));
        assert!(spot.read(2.3, 60.5));
        assert!((spot.now(2.3).unwrap() - 60.5).abs() < 0.1);
        // The step is a step, not a slope.
        assert!((spot.settled(2.1).unwrap() - 20.0).abs() < 0.1);
    }

    #[test]
    fn silence_and_time_running_back_give_nothing() {
        let mut spot = Spot::default();
        assert_eq!(spot.now(0.0), None);
        spot.read(1.0, 20.0);
        assert!(!spot.read(1.0, 30.0) && !spot.read(0.5, 30.0));
        assert_eq!(spot.now(1.5), Some(20.0));
        assert_eq!(spot.now(1.7), None);
        assert_eq!(spot.settled(0.9), None);
        spot.read(5.0, 25.0);
        assert_eq!(spot.settled(3.0), None);
        assert_eq!(spot.now(5.0), Some(25.0));
    }

    #[test]
    fn memory_does_not_grow() {
        let mut spot = Spot::default();
        for i in 0..10_000 {
            spot.read(f64::from(i) * 0.05, 20.0);
        }
        assert!(spot.steps.len() <= (KEEP_S / 0.05) as usize + 2);
    }
}
