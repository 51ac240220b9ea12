//! Pad speed: how fast the pad's face moves against the paint, from the orbit rate and the machine's geometry.
//!
//! * Rotary: every point at distance r from the spindle moves with 2πfr; the mean over the area of a face of radius R is
//!   2πf · (2/3)R.
//! * Orbital: every point of the face follows the orbit with the same speed πdf (d the orbit's diameter, the throw) in a
//!   direction that turns f times a second; the pad's spin s adds 2πsr across the radius. Between the two vectors stands
//!   every angle equally often, so the mean over a face of radius R is
//!
//!   mean over r, α of √(a² + b² + 2ab·cos α), a = πdf, b = 2πsr, with r weighted by area.
//!
//!   Without spin that is πdf. The formula is ours (plane kinematics); a published closed form was not found.

use super::setup::{Machine, MachineKind};
use core::f64::consts::{PI, TAU};

/// Mean speed of the pad's face against the paint, m/s.
///
/// * `rate_hz`: orbits (orbital) or revolutions (rotary) per second.
/// * `spin_hz`: the pad's free rotation; taken as zero where it is not known, which is low by less than 1 % at usual spins.
///
/// `None` when the geometry or the rate is not a usable number.
pub fn pad_speed_mps(machine: &Machine, rate_hz: f64, spin_hz: Option<f64>) -> Option<f64> {
    let radius_m = 0.5 * machine.pad_diameter_m;
    let speed = match machine.kind {
        MachineKind::Rotary => TAU * rate_hz * (2.0 / 3.0) * radius_m,
        MachineKind::Orbital => {
            let orbit = PI * machine.throw_m * rate_hz;
            match spin_hz {
                None => orbit,
                Some(spin) => mean_of_sum(orbit, TAU * spin.abs() * radius_m),
            }
        }
    };
    (speed.is_finite() && speed >= 0.0).then_some(speed)
}

/// Mean length of a vector `a` plus one of length `rim·√q` at every angle, q even over 0 to 1 (area of a disc).
fn mean_of_sum(a: f64, rim: f64) -> f64 {
    // Three-point Gauss-Legendre over the area, eight angles over the half circle: better than 0.3 % even where a pad
    // spins as fast as it orbits, far better at usual spins.
    const AREAS: [(f64, f64); 3] = [(0.112_701_665, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_335, 5.0 / 18.0)];
    let mut sum = 0.0;
    for (q, weight) in AREAS {
        let b = rim * f64::sqrt(q);
        for cosine in COSINES {
            sum += weight * (a * a + b * b + 2.0 * a * b * cosine).max(0.0).sqrt();
        }
    }
    sum / COSINES.len() as f64
}

/// Cosines of the middles of eight equal parts of a half circle.
const COSINES: [f64; 8] = [
    0.980_785_280_4,
    0.831_469_612_3,
    0.555_570_233_0,
    0.195_090_322_0,
    -0.195_090_322_0,
    -0.555_570_233_0,
    -0.831_469_612_3,
    -0.980_785_280_4,
];

#[cfg(test)]
mod tests {
    use super::*;

    fn machine(kind: MachineKind) -> Machine {
        Machine { kind, throw_m: 0.015, pad_diameter_m: 0.150 }
    }

    #[test]
    fn orbit_speed_is_pi_throw_rate() {
        // 15 mm at 4500 per minute: 3.534 m/s at the pad's centre (plane kinematics, recomputed).
        let v = pad_speed_mps(&machine(MachineKind::Orbital), 75.0, None).unwrap();
        assert!((v - 3.534_29).abs() < 1e-4, "{v}");
    }

    #[test]
    fn a_rotary_is_averaged_over_its_face() {
        // Defining integral: mean of 2πfr over the disc.
        let (f, r) = (20.0, 0.075);
        let n = 100_000;
        let mean = (0..n).map(|i| TAU * f * r * ((i as f64 + 0.5) / n as f64).sqrt()).sum::<f64>() / n as f64;
        let v = pad_speed_mps(&machine(MachineKind::Rotary), f, None).unwrap();
        assert!((v / mean - 1.0).abs() < 1e-5, "{v} against {mean}");
    }

    #[test]
    fn spin_adds_as_the_defining_integral_says() {
        let (f, s, r) = (70.0, 6.0, 0.075);
        let (a, n) = (PI * 0.015 * f, 400);
        let mut sum = 0.0;
        for i in 0..n {
            let b = TAU * s * r * ((f64::from(i) + 0.5) / f64::from(n)).sqrt();
            for k in 0..n {
                let (y, x) = (TAU * (f64::from(k) + 0.5) / f64::from(n)).sin_cos();
                sum += (a + b * x).hypot(b * y);
            }
        }
        let mean = sum / f64::from(n * n);
        let v = pad_speed_mps(&machine(MachineKind::Orbital), f, Some(s)).unwrap();
        assert!((v / mean - 1.0).abs() < 1e-3, "{v} against {mean}");
        // A pad that only spins moves like a rotary's.
        let only_spin = mean_of_sum(0.0, 1.0);
        assert!((only_spin - 2.0 / 3.0).abs() < 5e-3, "{only_spin}");
    }

    #[test]
    fn nonsense_gives_nothing() {
        assert_eq!(pad_speed_mps(&machine(MachineKind::Orbital), f64::NAN, None), None);
        let bad = Machine { throw_m: f64::INFINITY, ..machine(MachineKind::Orbital) };
        assert_eq!(pad_speed_mps(&bad, 50.0, None), None);
    }
}
