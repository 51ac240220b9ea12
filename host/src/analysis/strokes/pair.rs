//! Two bursts that belong together: a turn with its step aside, or a way to another place.

use super::{ASKEW, Event, MOVE_MPS, STEP_MPS, UNSQUARE_M, WIDEST_M, fits};

/// Part of `v` along the unit vector `d`.
pub(in crate::analysis) fn along(d: [f64; 2], v: [f64; 2]) -> f64 {
    v[0] * d[0] + v[1] * d[1]
}

/// Part of `v` across the unit vector `d`, to its left.
pub(in crate::analysis) fn across(d: [f64; 2], v: [f64; 2]) -> f64 {
    v[1] * d[0] - v[0] * d[1]
}

/// The quick movement between two bursts that belong together, m/s: half the difference of their steps.
pub(in crate::analysis) fn quick_between(first: [f64; 2], second: [f64; 2]) -> [f64; 2] {
    [0, 1].map(|i| 0.5 * (first[i] - second[i]))
}

/// How likely a movement is a quick one to anywhere: natural log of a density in the plane of velocities.
pub(super) fn goes_anywhere(v: [f64; 2]) -> f64 {
    fits(v[0], MOVE_MPS) + fits(v[1], MOVE_MPS)
}

/// Two bursts that belong together, along and across the stroke they end, m/s.
pub(super) struct Pair {
    /// Sum of the two: the change of velocity over both.
    pub(super) along: f64,
    pub(super) across: f64,
    /// The quick movement between the two.
    quick: [f64; 2],
    time_s: f64,
}

impl Pair {
    pub(super) fn of(first: Event, second: Event, d: [f64; 2]) -> Self {
        let sum = [first.step[0] + second.step[0], first.step[1] + second.step[1]];
        let quick = quick_between(first.step, second.step);
        Self {
            along: along(d, sum),
            across: across(d, sum),
            quick: [along(d, quick), across(d, quick)],
            time_s: second.t_s - first.t_s,
        }
    }

    /// The quick movement between the two, m/s.
    pub(super) fn quick(&self) -> [f64; 2] {
        self.quick
    }

    pub(super) fn size(&self) -> f64 {
        self.quick[0].hypot(self.quick[1])
    }

    /// How far it moved aside, m.
    pub(super) fn aside_m(&self) -> f64 {
        self.quick[1].abs() * self.time_s
    }

    /// How likely the quick movement is a sideways step, natural log of a density in the plane of velocities; the steps of a
    /// pass are about as wide as each other.
    pub(super) fn steps_aside(&self, usual_m: Option<f64>, speed: f64) -> f64 {
        // `fits` leaves out this constant.
        let any = 0.5 * core::f64::consts::TAU.ln() - (2.0 * WIDEST_M).ln();
        let wide = match usual_m {
            Some(m) => {
                let sd = (STEP_MPS * self.time_s).hypot(0.25 * m);
                (fits(self.aside_m() - m, sd) - (2.0_f64).ln()).max(any - 3.0)
            }
            None => any,
        };
        let beyond = (self.aside_m() / WIDEST_M - 1.0).max(0.0);
        let unsquare = UNSQUARE_M / self.time_s;
        let straight = STEP_MPS.hypot(ASKEW * self.quick[1].abs()).hypot(0.3 * speed).hypot(unsquare);
        wide - 8.0 * beyond + self.time_s.ln() + fits(self.quick[0], straight)
    }

    /// The same for a movement to another place, whatever its direction.
    pub(super) fn goes_anywhere(&self) -> f64 {
        goes_anywhere(self.quick)
    }

    /// Where the stroke after it goes, given the direction of the one before.
    pub(super) fn turned(&self, d: [f64; 2], speed: f64) -> [f64; 2] {
        let size = self.along.hypot(self.across);
        if size < speed || self.along > -0.3 * speed {
            return [-d[0], -d[1]];
        }
        let (along, across) = (self.along / size - 1.0, self.across / size);
        let n = along.hypot(across);
        let (along, across) = (along / n, across / n);
        [along * d[0] - across * d[1], along * d[1] + across * d[0]]
    }
}
