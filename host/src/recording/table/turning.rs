//! Whether the turn rates turn as gravity does in the accelerations. Turned by θ, a machine sees gravity g change by -θ × g; where an
//! axis of the turn rates has the wrong sign, or is another's, that change comes out with the wrong sign, or with none.

use super::steady::Sum;
use crate::analysis::{Vec3, cross};

/// Gravity is averaged over this, µs: long for the machine's vibration, short for how a hand tilts.
const WINDOW_US: f64 = 500_000.0;
/// Fewer accelerations or turn rates than these in a window average nothing.
const ENOUGH: [u32; 2] = [10, 5];
/// Fewer pairs of windows than this may be chance.
const PAIRS: u32 = 40;
/// Share of its change foretold by the turn rates below which an axis of gravity does not follow them, and how clearly, in standard
/// deviations. Right tables lie at 0.7 to 1.6 in drawn recordings, those with turned signs at the negative of that.
const FOLLOWS: f64 = 0.4;
const CLEAR_SDS: f64 = 3.0;

/// Sums for a regression of gravity's change along one axis on what the turn rates foretell. Their bias foretells a steady change: the
/// means are taken off.
#[derive(Clone, Copy, Debug, Default)]
struct Axis {
    foretold: f64,
    change: f64,
    foretold2: f64,
    product: f64,
    change2: f64,
}

impl Axis {
    fn push(&mut self, foretold: f64, change: f64) {
        self.foretold += foretold;
        self.change += change;
        self.foretold2 += foretold * foretold;
        self.product += foretold * change;
        self.change2 += change * change;
    }

    fn is_astray(&self, pairs: u32) -> bool {
        let n = f64::from(pairs);
        let foretold2 = self.foretold2 - self.foretold * self.foretold / n;
        let product = self.product - self.foretold * self.change / n;
        let change2 = self.change2 - self.change * self.change / n;
        let share = product / foretold2;
        let sd = ((change2 - share * product).max(0.0) / n / foretold2).sqrt();
        share < FOLLOWS - CLEAR_SDS * sd
    }
}

/// What turn rates and accelerations say of the machine's turning.
#[derive(Clone, Debug, Default)]
pub(super) struct Turning {
    window: i64,
    accel: Sum,
    gyro: Sum,
    /// Mean acceleration and turn rate of the window before.
    before: Option<(Vec3, Vec3)>,
    axes: [Axis; 3],
    pairs: u32,
}

impl Turning {
    /// A row; rows in the order of their times.
    ///
    /// * `t_us`: since the first row, µs.
    /// * `accel`: m/s²; in another unit the answer is the same.
    /// * `gyro`: rad/s.
    pub(super) fn push(&mut self, t_us: f64, accel: Option<[f32; 3]>, gyro: Option<[f32; 3]>) {
        let window = (t_us / WINDOW_US) as i64;
        if window != self.window {
            self.close();
            if window != self.window + 1 {
                self.before = None;
            }
            (self.window, self.accel, self.gyro) = (window, Sum::default(), Sum::default());
        }
        accel.into_iter().for_each(|sample| self.accel.push(sample));
        gyro.into_iter().for_each(|sample| self.gyro.push(sample));
    }

    fn close(&mut self) {
        let now = self.accel.mean(ENOUGH[0]).zip(self.gyro.mean(ENOUGH[1]));
        if let (Some((g0, w0)), Some((g1, w1))) = (self.before, now) {
            let turned = [0, 1, 2].map(|i| 0.5 * (w0[i] + w1[i]) * WINDOW_US * 1e-6);
            let gravity = [0, 1, 2].map(|i| 0.5 * (g0[i] + g1[i]));
            let foretold = cross(gravity, turned);
            for (i, axis) in self.axes.iter_mut().enumerate() {
                axis.push(foretold[i], g1[i] - g0[i]);
            }
            self.pairs += 1;
        }
        self.before = now;
    }

    /// Whether gravity clearly does not follow the turn rates along an axis. The window that is not over says nothing.
    pub(super) fn is_astray(&self) -> bool {
        self.pairs >= PAIRS && self.axes.iter().any(|axis| axis.is_astray(self.pairs))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hand that tilts a machine about x and y by a degree or two, for a minute; the turn rates are put together by `wired` and have
    /// a bias besides. Vibration and sideways pushes shake the accelerations.
    fn seen(tilt: f64, wired: impl Fn([f64; 3]) -> [f64; 3]) -> bool {
        let mut turning = Turning::default();
        for i in 0..30_000 {
            let t = 0.002 * f64::from(i);
            let angle = |hz: f64| tilt * (hz * t).sin();
            let rate = |hz: f64| tilt * hz * (hz * t).cos();
            // Turned by a about x and b about y, both small, a machine sees "up" lean the other way.
            let (a, b) = (angle(2.0), angle(1.3));
            let gravity = [-9.8 * b.sin(), 9.8 * a.sin(), 9.8 * a.cos() * b.cos()];
            let shaken = [15.0 * (439.0 * t).sin(), 15.0 * (439.0 * t).cos(), 0.1 * (0.8 * t).sin()];
            let accel = [0, 1, 2].map(|k| (gravity[k] + shaken[k]) as f32);
            let turns = wired([rate(2.0), rate(1.3), 0.0]);
            let gyro = (i % 8 == 0).then(|| [0, 1, 2].map(|k| (turns[k] + 0.02) as f32));
            turning.push(1e6 * t, Some(accel), gyro);
        }
        turning.is_astray()
    }

    #[test]
    fn turn_rates_that_turn_otherwise_than_gravity_are_noticed() {
        assert!(!seen(0.03, |turns| turns), "right");
        assert!(seen(0.03, |[x, y, z]| [-x, -y, -z]), "all turned round");
        assert!(seen(0.03, |[x, y, z]| [-x, y, z]) && seen(0.03, |[x, y, z]| [x, -y, z]), "one of them");
        assert!(seen(0.03, |[x, y, z]| [y, z, x]), "named otherwise");
        assert!(!seen(0.0, |turns| turns), "a bias alone turns nothing");
        assert!(!seen(0.03, |_| [0.0; 3]), "rates that are not there foretell nothing");
    }
}
