//! The motor: its rate, the pad's free spin, and what both shake.
//!
//! Rate `f`: follows `f₀ (1 - droop · contact) (1 + wander)` with a first-order lag, and runs down exponentially. Phase
//! `φ = 2π ∫ f dt`; spin phase `θ = 2π ∫ s dt`. The vibration is a vector that rotates in the pad's plane,
//!
//! ```text
//! x = A cos φ + A Σ c_k cos(k φ + α_k) + gear        A = A₀ (f/f₀)² (1 + m cos θ · s/s₀)
//! y = e A sin φ + …                                   (unbalance grows with the rate squared; θ gives the lines f ± s)
//! ```
//!
//! turned by a fixed angle, with a share along the spindle, a gear tone and broadband noise. The noise falls off below
//! [`HELD_HZ`] with the frequency squared: a mass that is held by hands and pad follows their movement there. The housing also turns to and
//! fro, which the gyro sees. Tones near the end of a chip's band are weakened as its filter would (see [`band`]).

use std::f64::consts::TAU;

use nalgebra::{Rotation2, Vector2, Vector3};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::scenario::{Motor as MotorSpec, Scenario};
use super::unsteady::{Subject, Unsteady, stream};

/// What the chip feels of the motor in one sample, machine axes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shake {
    /// m/s².
    pub(super) accel_mps2: Vector3<f64>,
    /// rad/s, already within the gyro's band.
    pub(super) gyro_radps: Vector3<f64>,
}

/// Where a machine of some kilograms between hands and a soft pad stops to float free, Hz (a judgement).
const HELD_HZ: f64 = 25.0;

/// Two first-order high-pass stages in a row on three axes: `y = k y₋ + (1 + k)/2 (x - x₋)`, gain 1 far above the corner.
#[derive(Clone, Copy, Debug)]
struct HighPass {
    keep: f64,
    last: [Vector3<f64>; 2],
    out: [Vector3<f64>; 2],
}

impl HighPass {
    fn new(corner_hz: f64, rate_hz: f64) -> Self {
        Self { keep: (-TAU * corner_hz / rate_hz).exp(), last: [Vector3::zeros(); 2], out: [Vector3::zeros(); 2] }
    }

    fn next(&mut self, mut x: Vector3<f64>) -> Vector3<f64> {
        for (last, out) in self.last.iter_mut().zip(&mut self.out) {
            *out = *out * self.keep + (x - *last) * (0.5 * (1.0 + self.keep));
            *last = x;
            x = *out;
        }
        x
    }
}

/// The running motor.
#[derive(Clone, Debug)]
pub(super) struct Machine {
    spec: MotorSpec,
    wander: Unsteady,
    spin_wander: Unsteady,
    noise: ChaCha8Rng,
    rumble: HighPass,
    ellipse: Rotation2<f64>,
    angles: [f64; 10],
    accel_band_hz: f64,
    gyro_band_hz: f64,
    /// Present rate, Hz.
    pub(super) rate_hz: f64,
    /// Present spin of the pad, Hz.
    pub(super) spin_hz: f64,
    phase: f64,
    gear_phase: f64,
    spin_phase: f64,
}

/// Gain at `f_hz` of a chip's own filter with corner `corner_hz`: a four-pole Butterworth, `1/√(1 + (f/f_c)⁸)`.
pub(super) fn band(f_hz: f64, corner_hz: f64) -> f64 {
    1.0 / (1.0 + (f_hz / corner_hz).powi(8)).sqrt()
}

impl Machine {
    pub(super) fn new(scenario: &Scenario) -> Self {
        let spec = scenario.motor.clone();
        let mut rng = stream(scenario.seed, Subject::Motor);
        Self {
            wander: Unsteady::new(&mut rng, spec.wander, 0.03, 0.7, 5),
            spin_wander: Unsteady::new(&mut rng, 0.08, 0.05, 0.5, 4),
            noise: stream(scenario.seed, Subject::MotorNoise),
            rumble: HighPass::new(HELD_HZ, scenario.chip.rate_hz),
            ellipse: Rotation2::new(TAU * rng.random::<f64>()),
            angles: [0; 10].map(|_| TAU * rng.random::<f64>()),
            accel_band_hz: 0.45 * scenario.chip.rate_hz,
            gyro_band_hz: GYRO_BAND * scenario.chip.rate_hz / 8.0,
            rate_hz: 0.0,
            spin_hz: 0.0,
            phase: 0.0,
            gear_phase: 0.0,
            spin_phase: 0.0,
            spec,
        }
    }

    /// Moves on by `dt_s` to `t_s`.
    pub(super) fn advance(&mut self, t_s: f64, dt_s: f64, on: bool, contact: f64) {
        let spec = &self.spec;
        let before_hz = self.rate_hz;
        let loaded = spec.rate_hz * (1.0 - spec.load_droop * contact) * (1.0 + self.wander.at(t_s));
        let (target, lag_s) = if on { (loaded, spec.spin_up_s) } else { (0.0, spec.run_down_s) };
        self.rate_hz += (target - self.rate_hz) * (dt_s / lag_s).min(1.0);
        if !on && self.rate_hz < 0.3 {
            self.rate_hz = 0.0; // dry friction ends what the exponential would draw out
        }
        let stalled = spec.spin_stalls_s.iter().any(|[from, to]| (*from..*to).contains(&t_s));
        // Off the panel nothing holds the pad back: the bearing drags it along, up to a few times its spin under load.
        let free = spec.pad_spin_hz * (1.0 + 1.5 * (1.0 - contact)) * (1.0 + self.spin_wander.at(t_s));
        let spin = if on && !stalled { free * (self.rate_hz / spec.rate_hz) } else { 0.0 };
        self.spin_hz += (spin - self.spin_hz) * (dt_s / 0.4).min(1.0);
        let mean_hz = 0.5 * (before_hz + self.rate_hz);
        self.phase = (self.phase + TAU * mean_hz * dt_s) % TAU;
        self.gear_phase = (self.gear_phase + TAU * spec.gear_ratio * mean_hz * dt_s) % TAU;
        self.spin_phase = (self.spin_phase + TAU * self.spin_hz * dt_s) % TAU;
    }

    /// What it shakes now. Draws noise: call once per sample.
    pub(super) fn shake(&mut self) -> Shake {
        let spec = &self.spec;
        let mut normal = || -> f64 { StandardNormal.sample(&mut self.noise) };
        let noise = self.rumble.next(Vector3::new(normal(), normal(), normal()));
        if self.rate_hz == 0.0 {
            return Shake { accel_mps2: Vector3::zeros(), gyro_radps: Vector3::zeros() };
        }
        let spin_share = if spec.pad_spin_hz > 0.0 { (self.spin_hz / spec.pad_spin_hz).min(1.0) } else { 0.0 };
        let steady = spec.vibration_mps2 * (self.rate_hz / spec.rate_hz).powi(2);
        let amplitude = steady * (1.0 + spec.spin_depth * spin_share * self.spin_phase.cos());
        let (sin, cos) = self.phase.sin_cos();
        let gain = |order: f64| band(order * self.rate_hz, self.accel_band_hz);
        let mut plane = Vector2::new(cos, spec.ellipticity * sin) * gain(1.0);
        let mut along = spec.axial * (self.phase + self.angles[9]).cos() * gain(1.0);
        for (k, share) in spec.harmonics.iter().enumerate() {
            let order = k as f64 + 2.0;
            let (a, b) = (order * self.phase + self.angles[2 * k], order * self.phase + self.angles[2 * k + 1]);
            plane += Vector2::new(a.cos(), b.cos()) * (share * gain(order));
            along += spec.axial * share * a.sin() * gain(order);
        }
        let gear = spec.gear_tone * gain(spec.gear_ratio);
        plane +=
            Vector2::new((self.gear_phase + self.angles[6]).cos(), (self.gear_phase + self.angles[7]).cos()) * gear;
        along += gear * (self.gear_phase + self.angles[8]).cos();
        let plane = self.ellipse * plane * amplitude;
        let turning = spec.turning_radps_per_mps2 * amplitude * band(self.rate_hz, self.gyro_band_hz);
        let tilt = self.ellipse * Vector2::new(-spec.ellipticity * sin, cos) * turning;
        Shake {
            accel_mps2: Vector3::new(plane.x, plane.y, along * amplitude) + noise * (spec.broadband * steady),
            gyro_radps: Vector3::new(tilt.x, tilt.y, 0.5 * turning * cos),
        }
    }
}

/// Corner of the gyro's filter over its rate: 66.8 Hz at 208 Hz (LSM6DSO family, from memory).
pub(super) const GYRO_BAND: f64 = 66.8 / 208.0;

#[cfg(test)]
mod tests {
    use super::super::drawn::{Kind, Ranges, random};
    use super::*;

    const DT: f64 = 6e-4;

    /// A motor that only rotates: no harmonics, no gear, no noise, no wander.
    fn pure() -> Scenario {
        let mut scenario = Scenario::default();
        let motor = &mut scenario.motor;
        (motor.harmonics, motor.gear_tone, motor.broadband, motor.wander) = ([0.0; 3], 0.0, 0.0, 0.0);
        (motor.axial, motor.ellipticity, motor.spin_depth) = (0.0, 1.0, 0.0);
        scenario
    }

    fn run(machine: &mut Machine, from_s: f64, seconds: f64, on: bool, contact: f64) -> Vec<Shake> {
        (1..=(seconds / DT) as u32)
            .map(|i| {
                machine.advance(from_s + f64::from(i) * DT, DT, on, contact);
                machine.shake()
            })
            .collect()
    }

    /// Amplitude of the line at `hz`: the defining sum under a Hann window, so that neighbours do not leak into it.
    fn line(x: &[f64], hz: f64) -> f64 {
        let x_len = x.len() as f64;
        let (re, im) = x.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, x)| {
            let angle = TAU * hz * DT * i as f64;
            let x = x * (1.0 - (TAU * i as f64 / x_len).cos());
            (re + x * angle.cos(), im + x * angle.sin())
        });
        2.0 * re.hypot(im) / x.len() as f64
    }

    #[test]
    fn an_even_rotation_has_the_amplitude_and_rate_it_was_told() {
        let mut machine = Machine::new(&pure());
        run(&mut machine, 0.0, 5.0, true, 0.0);
        let shakes = run(&mut machine, 5.0, 5.0, true, 0.0);
        assert!((machine.rate_hz - 70.0).abs() < 1e-4);
        let due = 18.0 * band(70.0, machine.accel_band_hz);
        assert!(shakes.iter().all(|s| (s.accel_mps2.norm() - due).abs() < 1e-3));
        let x: Vec<f64> = shakes.iter().map(|s| s.accel_mps2.x).collect();
        assert!((line(&x, 70.0) / due - 1.0).abs() < 1e-3);
        assert!(shakes.iter().all(|s| s.accel_mps2.z == 0.0));
    }

    #[test]
    fn load_droops_unbalance_grows_with_the_square_and_lags_are_the_told_ones() {
        let scenario = pure();
        let mut machine = Machine::new(&scenario);
        run(&mut machine, 0.0, scenario.motor.spin_up_s, true, 0.0);
        assert!((machine.rate_hz / 70.0 - 0.632).abs() < 0.002, "one time constant: {}", machine.rate_hz);
        run(&mut machine, 1.0, 5.0, true, 1.0);
        assert!((machine.rate_hz / 70.0 - 0.94).abs() < 1e-6);
        let loaded = machine.shake().accel_mps2.norm();
        assert!((loaded / 18.0 - 0.94f64.powi(2)).abs() < 1e-4, "{loaded}");
        run(&mut machine, 6.0, scenario.motor.run_down_s, false, 0.0);
        assert!((machine.rate_hz / (70.0 * 0.94) - 0.368).abs() < 0.002);
        run(&mut machine, 7.0, 5.0, false, 0.0);
        assert_eq!((machine.rate_hz, machine.shake().accel_mps2), (0.0, Vector3::zeros()));
    }

    #[test]
    fn the_spinning_pad_puts_lines_beside_the_rate_and_a_stall_takes_them_away() {
        let mut scenario = pure();
        scenario.motor.spin_depth = 0.2;
        scenario.motor.spin_stalls_s = vec![[40.0, 60.0]];
        let mut machine = Machine::new(&scenario);
        machine.spin_wander = Unsteady::new(&mut stream(1, Subject::Motor), 0.0, 0.1, 1.0, 1);
        run(&mut machine, 0.0, 8.0, true, 1.0);
        assert!((machine.spin_hz - 4.0 * 0.94).abs() < 1e-3);
        let centre = machine.rate_hz;
        let x: Vec<f64> = run(&mut machine, 8.0, 10.0, true, 1.0).iter().map(|s| s.accel_mps2.x).collect();
        let carrier = line(&x, centre);
        // An amplitude modulation of depth m·s/s₀ has lines of half that depth at f ± s.
        let due = 0.5 * 0.2 * 0.94;
        for side in [-1.0, 1.0] {
            let share = line(&x, centre + side * machine.spin_hz) / carrier;
            assert!((share - due).abs() < 0.003, "{share}");
        }
        run(&mut machine, 40.0, 4.0, true, 1.0);
        assert!(machine.spin_hz < 0.01);
        let x: Vec<f64> = run(&mut machine, 44.0, 10.0, true, 1.0).iter().map(|s| s.accel_mps2.x).collect();
        assert!(line(&x, centre + 4.0 * 0.94) / line(&x, centre) < 0.003);
    }

    #[test]
    fn harmonics_and_gear_tone_stand_where_they_belong() {
        let mut scenario = pure();
        (scenario.motor.harmonics, scenario.motor.gear_tone) = ([1.2, 0.4, 0.1], 0.2);
        let mut machine = Machine::new(&scenario);
        run(&mut machine, 0.0, 8.0, true, 0.0);
        let shakes = run(&mut machine, 8.0, 10.0, true, 0.0);
        // Turned back into the ellipse's own axes.
        let x: Vec<f64> = shakes.iter().map(|s| (machine.ellipse.inverse() * s.accel_mps2.xy()).x).collect();
        for (order, share) in [(1.0, 1.0), (2.0, 1.2), (3.0, 0.4), (4.0, 0.1), (5.57, 0.2)] {
            let got = line(&x, order * 70.0) / 18.0;
            assert!((got / (share * band(order * 70.0, machine.accel_band_hz)) - 1.0).abs() < 0.02, "{order}: {got}");
        }
    }

    #[test]
    fn the_broadband_part_has_its_rms_and_none_of_it_where_arms_move() {
        let mut scenario = pure();
        (scenario.motor.vibration_mps2, scenario.motor.broadband) = (20.0, 0.1);
        let mut machine = Machine::new(&scenario);
        run(&mut machine, 0.0, 5.0, true, 0.0);
        let z: Vec<f64> = run(&mut machine, 5.0, 60.0, true, 0.0).iter().map(|s| s.accel_mps2.z).collect();
        let rms = |x: &[f64]| (x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64).sqrt();
        // The filter takes a few per cent of 2 m/s².
        assert!((rms(&z) / 2.0 - 0.95).abs() < 0.05, "{}", rms(&z));
        // Means over T of white noise of one-sided density S behind two such stages vary by S/(8π T² f_c), from
        // ∫ S f⁴/(f² + f_c²)² · sin²(πfT)/(πfT)² df with sin² taken as its mean 1/2; without the stages by S/2T, 0.1 m/s².
        let means: Vec<f64> = z.chunks_exact(416).map(|c| c.iter().sum::<f64>() / 416.0).collect();
        let (density, span_s) = (4.0 * 2.0 * DT, 416.0 * DT);
        let due = (density / (8.0 * std::f64::consts::PI * span_s * span_s * HELD_HZ)).sqrt();
        assert!((rms(&means) / due - 1.0).abs() < 0.15, "{} {due}", rms(&means));
    }

    #[test]
    fn a_rotary_has_no_spin() {
        let mut machine = Machine::new(&random(2, &Ranges::of(Kind::Rotary)));
        run(&mut machine, 0.0, 5.0, true, 1.0);
        assert!(machine.rate_hz > 10.0 && machine.rate_hz < 40.0);
        assert_eq!(machine.spin_hz, 0.0);
    }
}
