//! Whatever a hand, a motor or a chip does that is not steady, as a function of time alone.
//!
//! A sum of sines with drawn frequencies and phases. Unlike filtered noise it has no state, so the same time always gives
//! the same value however the simulation is sliced; it can be differentiated and integrated without error; and it is
//! bounded by `rms · √(2 · tones)`, so a speed that wavers never turns round by chance.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Each subject draws from its own stream of the same seed: changing one leaves the others as they were.
#[derive(Clone, Copy, Debug)]
pub(super) enum Subject {
    Path = 1,
    Hand,
    Motor,
    MotorNoise,
    Chip,
    ChipNoise,
    Thermometer,
    Wire,
    Scenario,
    Pace,
}

/// The random stream of one subject.
pub(super) fn stream(seed: u64, subject: Subject) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(subject as u64);
    rng
}

#[derive(Clone, Copy, Debug)]
struct Tone {
    omega: f64,
    phase: f64,
}

/// `x(t) = a · Σ sin(ω_k t + φ_k)`, with `a = rms · √(2 / tones)`.
#[derive(Clone, Debug)]
pub(super) struct Unsteady {
    amplitude: f64,
    tones: Vec<Tone>,
}

impl Unsteady {
    /// `tones` sines, one in each equal part of the band `lo_hz..hi_hz` (equal on a logarithmic scale).
    pub(super) fn new(rng: &mut ChaCha8Rng, rms: f64, lo_hz: f64, hi_hz: f64, tones: usize) -> Self {
        let ratio = hi_hz / lo_hz;
        let tones: Vec<Tone> = (0..tones)
            .map(|k| {
                let share = (k as f64 + rng.random::<f64>()) / tones as f64;
                Tone { omega: TAU * lo_hz * ratio.powf(share), phase: TAU * rng.random::<f64>() }
            })
            .collect();
        Self { amplitude: rms * (2.0 / tones.len().max(1) as f64).sqrt(), tones }
    }

    /// Value at `t_s`.
    pub(super) fn at(&self, t_s: f64) -> f64 {
        if self.amplitude == 0.0 {
            return 0.0;
        }
        self.amplitude * self.tones.iter().map(|k| (k.omega * t_s + k.phase).sin()).sum::<f64>()
    }

    /// Integral from 0 to `t_s`.
    pub(super) fn integral(&self, t_s: f64) -> f64 {
        if self.amplitude == 0.0 {
            return 0.0;
        }
        let sum: f64 = self.tones.iter().map(|k| (k.phase.cos() - (k.omega * t_s + k.phase).cos()) / k.omega).sum();
        self.amplitude * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_integral_is_the_integral_and_the_rms_is_the_rms() {
        let mut rng = stream(3, Subject::Hand);
        let x = Unsteady::new(&mut rng, 0.1, 0.05, 1.0, 6);
        let (n, dt) = (2_000_000, 0.001);
        let (mut sum, mut squares) = (0.0, 0.0);
        for i in 0..n {
            let value = x.at((f64::from(i) + 0.5) * dt);
            sum += value * dt;
            squares += value * value;
            assert!(value.abs() <= 0.1 * 12f64.sqrt());
        }
        assert!((sum - x.integral(f64::from(n) * dt)).abs() < 1e-6);
        let rms = (squares / f64::from(n)).sqrt();
        assert!((rms / 0.1 - 1.0).abs() < 0.02, "{rms}");
    }

    #[test]
    fn subjects_do_not_share_a_stream() {
        let draw = |subject| stream(7, subject).random::<u64>();
        assert_ne!(draw(Subject::Path), draw(Subject::Hand));
        assert_eq!(draw(Subject::Path), draw(Subject::Path));
        assert_ne!(stream(8, Subject::Path).random::<u64>(), draw(Subject::Path));
    }
}
