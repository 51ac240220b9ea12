//! Which way is down, seen from the machine, and how far the machine has turned about its spindle.
//!
//! # How
//!
//! The gravity vector is carried along with the gyro and pulled gently towards the accelerometer; what the pull keeps
//! having to correct is the gyro's bias (a proportional-integral observer on the sphere, the idea of Mahony, Hamel and
//! Pflimlin, IEEE Trans. Automat. Contr. 53 (2008) 1203; from memory). The pull starts at 3 s and slows to 12 s, far
//! slower than a turn of the arm. A hand-held tool is never still, so the bias is learned while working, never from
//! "still" seconds.
//!
//! About the spindle nothing holds a heading. What a technician does is hold the tool's heading for minutes: the mean of
//! the turn rate about the spindle is taken as that axis' bias, fast rotations (taking the tool round by hand) left out.

use super::grid::STEP_S;

/// Gravity, m/s²; standard value, local gravity differs by at most 0.3 % and goes into the accelerometer's scale.
pub(super) const GRAVITY: f64 = 9.806_65;

const FAST_S: f64 = 3.0;
const SLOW_S: f64 = 12.0;
/// Turning faster than this about the spindle is taking the tool round, not bias, rad/s (10 °/s).
const TAKEN_ROUND: f64 = 0.175;
/// The spindle axis' bias follows with this time constant at the end, s.
const HEADING_S: f64 = 60.0;

pub(crate) type Vec3 = [f64; 3];

pub(crate) fn cross(a: Vec3, b: Vec3) -> Vec3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub(super) fn norm(a: Vec3) -> f64 {
    (a[0] * a[0] + a[1] * a[1] + a[2] * a[2]).sqrt()
}

/// Carries a vector that is fixed in space over one grid step in a frame that turns with `rate` (rad/s): second order.
pub(super) fn carried(v: Vec3, rate: Vec3, step_s: f64) -> Vec3 {
    let d = cross(rate, v);
    let mid = [v[0] - 0.5 * step_s * d[0], v[1] - 0.5 * step_s * d[1], v[2] - 0.5 * step_s * d[2]];
    let d = cross(rate, mid);
    [v[0] - step_s * d[0], v[1] - step_s * d[1], v[2] - step_s * d[2]]
}

/// Acceleration of a point at `lever` (m, in machine axes) that comes from turning about the pad's centre alone.
pub(super) fn lever_acceleration(lever: Vec3, rate: Vec3, rate_change: Vec3) -> Vec3 {
    let (a, b) = (cross(rate_change, lever), cross(rate, cross(rate, lever)));
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// Causal gravity and heading.
#[derive(Clone, Debug)]
pub(super) struct Attitude {
    /// Specific force of gravity in machine axes, m/s² (up is positive: at rest equal to what the accelerometer reads).
    gravity: Vec3,
    bias: Vec3,
    heading: f64,
    /// Since gravity was taken from the accelerometer alone, s.
    age_s: f64,
    /// For how long the bias has been learned, s.
    learned_s: f64,
    rate: Vec3,
}

/// What one grid step gave.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    /// Acceleration of the pad's centre in machine axes, gravity and lever arm taken off, m/s².
    pub(super) acceleration: Vec3,
}

impl Attitude {
    pub(super) fn new() -> Self {
        Self { gravity: [0.0, 0.0, GRAVITY], bias: [0.0; 3], heading: 0.0, age_s: 0.0, learned_s: 0.0, rate: [0.0; 3] }
    }

    /// The same chip after a time in which nothing was heard: only its bias is still known.
    pub(super) fn interrupted(&self) -> Self {
        Self { bias: self.bias, learned_s: self.learned_s, ..Self::new() }
    }

    /// Gyro bias, rad/s, as believed now.
    pub(super) fn bias(&self) -> Vec3 {
        self.bias
    }

    /// Turn about the spindle since the start, rad.
    pub(super) fn heading(&self) -> f64 {
        self.heading
    }

    /// Takes one grid point.
    pub(super) fn step(&mut self, accel: Vec3, gyro: Vec3, lever: Vec3) -> Step {
        if self.age_s == 0.0 {
            let n = norm(accel);
            if n > 1.0 {
                self.gravity = accel.map(|a| a * GRAVITY / n);
            }
        }
        self.age_s += STEP_S;
        self.learned_s += STEP_S;
        let swing = gyro[2] - self.bias[2];
        if self.learned_s < 2.0 || swing.abs() < TAKEN_ROUND {
            self.bias[2] += STEP_S / self.learned_s.min(HEADING_S) * swing;
        }
        let rate = [gyro[0] - self.bias[0], gyro[1] - self.bias[1], gyro[2] - self.bias[2]];
        let change = [0, 1, 2].map(|i| if self.age_s > 1.5 * STEP_S { (rate[i] - self.rate[i]) / STEP_S } else { 0.0 });
        self.rate = rate;
        self.heading += rate[2] * STEP_S;
        self.gravity = carried(self.gravity, rate, STEP_S);
        let off = cross(self.gravity, accel).map(|e| e / (GRAVITY * GRAVITY));
        let tau_s = |age_s: f64| (FAST_S + age_s / 4.0).min(SLOW_S);
        let pull = 1.4 / tau_s(self.age_s) * STEP_S;
        let turn = cross(off, self.gravity);
        let pulled = [0, 1, 2].map(|i| self.gravity[i] + pull * turn[i]);
        let n = norm(pulled);
        self.gravity = if n > 1.0 { pulled.map(|g| g * GRAVITY / n) } else { [0.0, 0.0, GRAVITY] };
        let learn = STEP_S / tau_s(self.learned_s).powi(2);
        // The spindle's own component is learned above; on an upright panel gravity shows part of it, too, but less well.
        for (i, e) in off.into_iter().enumerate().take(2) {
            self.bias[i] += learn * e;
        }
        let swung = lever_acceleration(lever, rate, change);
        Step { acceleration: [0, 1, 2].map(|i| accel[i] - self.gravity[i] - swung[i]) }
    }
}
