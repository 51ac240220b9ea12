//! What the motion chip makes of the motion: noise, offsets, scale errors, vibration's effects, counts.
//!
//! ```text
//! accel = (1 + s) f + b + r · g² + noise,   noise sd = D √(rate/2)      (r: rectification, g²: mean square vibration)
//! gyro  = (1 + s) ω + b(t) + k f + noise,   noise sd = D √(band)        (k: g-sensitivity)
//! ```
//!
//! Counts are rounded and stop at ±32 767. Full scales and counts per unit: LSM6DSOX data sheet (0.122/0.244/0.488 mg at
//! 4/8/16 g, 17.5 m°/s at 500 °/s; from memory; of the family's data sheet DS12140 0.061 mg at 2 g and 70 m°/s at
//! 2000 °/s were read, and the others are in proportion).

use std::f64::consts::{FRAC_PI_2, PI};

use nalgebra::{UnitQuaternion, Vector3};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use steadypass_protocol::Scale;

use super::hold::GRAVITY_MPS2;
use super::motor::GYRO_BAND;
use super::scenario::{ChipSpec, Scenario};
use super::unsteady::{Subject, Unsteady, stream};

const MILLI_G: f64 = 1e-3 * GRAVITY_MPS2;
const FULL_SCALE: i16 = i16::MAX;
/// Gyro counts at ±500 °/s: 17.5 m°/s.
const GYRO_RADPS_PER_COUNT: f64 = 17.5e-3 * PI / 180.0;

/// The chip.
#[derive(Clone, Debug)]
pub(super) struct Imu {
    spec: ChipSpec,
    crooked: UnitQuaternion<f64>,
    bias_wander: [Unsteady; 3],
    noise: ChaCha8Rng,
    mean_square_g2: f64,
    range_g: u8,
}

impl Imu {
    pub(super) fn new(scenario: &Scenario) -> Self {
        let spec = scenario.chip.clone();
        let mut rng = stream(scenario.seed, Subject::Chip);
        let [x, y, z] = scenario.hand.misalignment_deg.map(f64::to_radians);
        let wander = (spec.gyro_bias_wander_dph / 3600.0).to_radians();
        Self {
            crooked: UnitQuaternion::from_scaled_axis(Vector3::new(x, y, z)).inverse(),
            bias_wander: [0; 3].map(|_| Unsteady::new(&mut rng, wander, 1.0 / 400.0, 1.0 / 20.0, 4)),
            noise: stream(scenario.seed, Subject::ChipNoise),
            mean_square_g2: 0.0,
            range_g: 16,
            spec,
        }
    }

    /// True rate at `t_s`, Hz.
    pub(super) fn rate_hz(&self, t_s: f64) -> f64 {
        self.spec.rate_hz * (1.0 + self.spec.rate_error + self.spec.rate_drift_per_h * t_s / 3600.0)
    }

    pub(super) fn set_range_g(&mut self, range_g: u8) {
        self.range_g = range_g;
    }

    fn accel_mps2_per_count(&self) -> f64 {
        0.0305 * f64::from(self.range_g) * MILLI_G
    }

    /// How to read its counts.
    pub(super) fn scales(&self) -> (Scale, Scale) {
        let scale = |rate_hz: f64, unit: f64| Scale {
            nominal_mhz: (rate_hz * 1e3).round() as u32,
            nano_per_count: (unit * 1e9).round() as u32,
            full_scale: FULL_SCALE,
        };
        (scale(self.spec.rate_hz, self.accel_mps2_per_count()), scale(self.spec.rate_hz / 8.0, GYRO_RADPS_PER_COUNT))
    }

    fn normals(&mut self) -> Vector3<f64> {
        Vector3::from_fn(|_, _| StandardNormal.sample(&mut self.noise))
    }

    /// Accelerometer counts for specific force `force` without vibration and `shake`, m/s² in machine axes.
    pub(super) fn accel(&mut self, force: Vector3<f64>, shake: Vector3<f64>, dt_s: f64) -> [i16; 3] {
        // The die follows a change of vibration within some 50 ms.
        let square = shake.norm_squared() / (GRAVITY_MPS2 * GRAVITY_MPS2);
        self.mean_square_g2 += (square - self.mean_square_g2) * (dt_s / 0.05).min(1.0);
        // Noise densities at 4, 8, 16 g: 75, 80, 110 µg/√Hz (from memory).
        let density = self.spec.accel_noise_ug
            * match self.range_g {
                4 => 75.0 / 110.0,
                8 => 80.0 / 110.0,
                _ => 1.0,
            };
        let noise = self.normals() * (density * 1e-3 * MILLI_G * (self.spec.rate_hz / 2.0).sqrt());
        let felt = self.crooked * (force + shake);
        let unit = self.accel_mps2_per_count();
        [0, 1, 2].map(|i| {
            let bias = self.spec.accel_bias_mg[i] + self.spec.rectification_mg_per_g2[i] * self.mean_square_g2;
            counts((felt[i] * (1.0 + self.spec.accel_scale[i]) + bias * MILLI_G + noise[i]) / unit)
        })
    }

    /// Gyro counts for turn rate `rate` (rad/s) under specific force `force` (m/s², vibration included), machine axes.
    pub(super) fn gyro(&mut self, t_s: f64, rate: Vector3<f64>, force: Vector3<f64>) -> [i16; 3] {
        // The noise bandwidth of a four-pole filter is 1.026 times its corner: π/8 / sin(π/8).
        let corner_hz = GYRO_BAND * self.spec.rate_hz / 8.0;
        let bandwidth_hz = corner_hz * (FRAC_PI_2 / 4.0) / (FRAC_PI_2 / 4.0).sin();
        let noise = self.normals() * (self.spec.gyro_noise_mdps * 1e-3).to_radians() * bandwidth_hz.sqrt();
        let (felt, force) = (self.crooked * rate, self.crooked * force / GRAVITY_MPS2);
        let sensitivity = self.spec.gyro_g_sensitivity_dps_per_g.to_radians();
        [0, 1, 2].map(|i| {
            let bias = self.spec.gyro_bias_dps[i].to_radians() + self.bias_wander[i].at(t_s) + sensitivity * force[i];
            counts((felt[i] * (1.0 + self.spec.gyro_scale[i]) + bias + noise[i]) / GYRO_RADPS_PER_COUNT)
        })
    }
}

fn counts(value: f64) -> i16 {
    // The cast is safe: clamped to what the chip can say.
    value.round().clamp(-f64::from(FULL_SCALE), f64::from(FULL_SCALE)) as i16
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A chip without any fault.
    fn faultless() -> Scenario {
        let mut scenario = Scenario::default();
        scenario.hand.misalignment_deg = [0.0; 3];
        let rate_hz = scenario.chip.rate_hz;
        scenario.chip = ChipSpec {
            rate_hz,
            rate_error: 0.0,
            rate_drift_per_h: 0.0,
            accel_noise_ug: 0.0,
            accel_bias_mg: [0.0; 3],
            accel_scale: [0.0; 3],
            rectification_mg_per_g2: [0.0; 3],
            gyro_noise_mdps: 0.0,
            gyro_bias_dps: [0.0; 3],
            gyro_bias_wander_dph: 0.0,
            gyro_scale: [0.0; 3],
            gyro_g_sensitivity_dps_per_g: 0.0,
        };
        scenario
    }

    const DOWN: Vector3<f64> = Vector3::new(0.0, 0.0, GRAVITY_MPS2);
    const DT: f64 = 6e-4;

    #[test]
    fn one_g_has_the_data_sheets_counts_in_every_range_and_too_much_stops_at_full_scale() {
        for (range_g, counts) in [(16, 2049), (8, 4098), (4, 8197)] {
            let mut imu = Imu::new(&faultless());
            imu.set_range_g(range_g);
            assert_eq!(imu.accel(DOWN, Vector3::zeros(), DT), [0, 0, counts]);
            let big = Vector3::new(300.0, -300.0, 0.0);
            assert_eq!(imu.accel(big, Vector3::zeros(), DT), [32_767, -32_767, 0]);
        }
        let mut imu = Imu::new(&faultless());
        // 10 °/s at 17.5 m°/s per count.
        assert_eq!(imu.gyro(0.0, Vector3::new(10f64.to_radians(), 0.0, 0.0), DOWN), [571, 0, 0]);
        let (accel, gyro) = imu.scales();
        assert_eq!((accel.nano_per_count, gyro.nano_per_count), (4_785_645, 305_433));
        assert_eq!((accel.nominal_mhz, gyro.nominal_mhz), (1_667_000, 208_375));
    }

    #[test]
    fn noise_offsets_and_scale_errors_are_the_told_ones() {
        let mut scenario = faultless();
        scenario.chip.accel_noise_ug = 110.0;
        scenario.chip.accel_bias_mg = [10.0, 0.0, -20.0];
        scenario.chip.accel_scale = [0.0, 0.0, 0.01];
        scenario.chip.gyro_noise_mdps = 5.0;
        scenario.chip.gyro_bias_dps = [1.0, 0.0, 0.0];
        scenario.chip.gyro_g_sensitivity_dps_per_g = 0.1;
        let mut imu = Imu::new(&scenario);
        let n = 50_000;
        let accel: Vec<[i16; 3]> = (0..n).map(|_| imu.accel(DOWN, Vector3::zeros(), DT)).collect();
        let gyro: Vec<[i16; 3]> = (0..n).map(|_| imu.gyro(0.0, Vector3::zeros(), DOWN)).collect();
        let stats = |x: &[[i16; 3]], axis: usize, unit: f64| {
            let mean = x.iter().map(|s| f64::from(s[axis])).sum::<f64>() / x.len() as f64;
            let square = x.iter().map(|s| (f64::from(s[axis]) - mean).powi(2)).sum::<f64>() / x.len() as f64;
            (mean * unit, square.sqrt() * unit)
        };
        // In mg: sd = 0.110 √(1667/2) = 3.176, and the rounding adds 0.488/√12.
        let due = 0.110 * (1667f64 / 2.0).sqrt();
        let (x, sd) = stats(&accel, 0, 0.488);
        assert!((x - 10.0).abs() < 0.06 && (sd / due.hypot(0.488 / 12f64.sqrt()) - 1.0).abs() < 0.02, "{x} {sd}");
        assert!((stats(&accel, 2, 0.488).0 - (1010.0 - 20.0)).abs() < 0.06);
        // In m°/s: 5 √(1.026 · 66.9 Hz).
        let (x, sd) = stats(&gyro, 0, 17.5);
        assert!((x - 1000.0).abs() < 0.8 && (sd / (5.0 * (1.026f64 * 66.92).sqrt()) - 1.0).abs() < 0.02, "{x} {sd}");
        assert!((stats(&gyro, 2, 17.5).0 - 100.0).abs() < 0.8, "1 g along z");
    }

    #[test]
    fn vibration_shifts_the_offset_with_its_mean_square() {
        let mut scenario = faultless();
        scenario.chip.rectification_mg_per_g2 = [5.0, 0.0, 0.0];
        let mut imu = Imu::new(&scenario);
        // A vector of 3 g that rotates: mean square 9 g², shift 45 mg.
        let n = 40_000;
        let sum: f64 = (0..2 * n)
            .map(|i| {
                let (sin, cos) = (f64::from(i) * 0.7).sin_cos();
                let shake = Vector3::new(cos, sin, 0.0) * (3.0 * GRAVITY_MPS2);
                let x = imu.accel(DOWN, shake, DT)[0];
                if i < n { 0.0 } else { f64::from(x) * 0.488 }
            })
            .sum();
        assert!((sum / f64::from(n) - 45.0).abs() < 0.5, "{}", sum / f64::from(n));
    }

    #[test]
    fn a_crooked_chip_sees_gravity_askew() {
        let mut scenario = faultless();
        scenario.hand.misalignment_deg = [3.0, 0.0, 0.0];
        let felt = Imu::new(&scenario).accel(DOWN, Vector3::zeros(), DT);
        // Turned by +3° about x, its y axis leans towards the old z: y reads g sin 3°.
        assert!((f64::from(felt[1]) * 0.488e-3 - 3f64.to_radians().sin()).abs() < 5e-4, "{felt:?}");
    }
}
