//! Scenarios drawn from ranges, for accuracy tables.

use rand::RngExt;

use super::scenario::{Arm, ChipSpec, Hand, Heat, Motor, Panel, Scenario, ThermometerSpec};
use super::unsteady::{Subject, stream};
use crate::analysis::MachineKind;

/// Kinds of work that [`Ranges::of`] knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Level to gently sloped, gently curved.
    Level,
    /// Radii of 1.5 to 4 m.
    Curved,
    /// Doors: 65 to 90 degrees.
    Upright,
    /// A rotary.
    Rotary,
    /// Strong tremor, wobble and tilt.
    Shaky,
    /// About 18 mm/s.
    Slow,
    /// About 75 mm/s.
    Fast,
    /// Much power, slow arm: the panel passes its limit.
    Hot,
    /// Uneven lengths and speeds.
    Uneven,
    /// Pauses, lifts and stalls of the pad's spin.
    Interrupted,
    /// The spot lies beside the strokes of the first pass, and trails or leads in the second; from usual to much power.
    Beside,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 11] = [
        Self::Level,
        Self::Curved,
        Self::Upright,
        Self::Rotary,
        Self::Shaky,
        Self::Slow,
        Self::Fast,
        Self::Hot,
        Self::Uneven,
        Self::Interrupted,
        Self::Beside,
    ];

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Level => "level",
            Self::Curved => "curved",
            Self::Upright => "upright",
            Self::Rotary => "rotary",
            Self::Shaky => "shaky",
            Self::Slow => "slow",
            Self::Fast => "fast",
            Self::Hot => "hot",
            Self::Uneven => "uneven",
            Self::Interrupted => "interrupted",
            Self::Beside => "beside",
        }
    }
}

/// Lowest and highest value of a uniform draw.
pub type Span = [f64; 2];

/// From where to where each parameter is drawn, evenly, by [`random`]. Units as in [`Scenario`].
#[derive(Clone, Debug, PartialEq)]
#[expect(missing_docs, reason = "the fields are those of the scenario, with the same names and units")]
pub struct Ranges {
    pub name: &'static str,
    pub traverse_mps: Span,
    pub stroke_m: Span,
    pub strokes_per_pass: [u32; 2],
    pub step_m: Span,
    pub turn_s: Span,
    pub stroke_speed_cv: Span,
    pub stroke_length_sd_m: Span,
    pub speed_wander_cv: Span,
    pub pause_chance: f64,
    pub lift_chance: f64,
    pub wobble_mps: Span,
    pub tremor_m: Span,
    pub hand_tilt_deg: Span,
    pub yaw_wander_deg: Span,
    pub panel_tilt_deg: Span,
    pub heading_deg: Span,
    pub radius_m: Span,
    pub rotary: bool,
    pub rate_hz: Span,
    pub vibration_mps2: Span,
    pub spin_stalls: bool,
    pub pad_power_w: Span,
    pub panel_start_c: Span,
    /// By how much the spot's place is turned about the spindle, either way.
    pub spot_turned_deg: Span,
    pub gyro_scale: f64,
    pub accel_bias_mg: f64,
}

impl Ranges {
    /// The ranges of one kind.
    pub fn of(kind: Kind) -> Self {
        let base = Self {
            name: kind.as_str(),
            traverse_mps: [0.02, 0.045],
            stroke_m: [0.28, 0.55],
            strokes_per_pass: [4, 7],
            step_m: [0.04, 0.08],
            turn_s: [0.7, 1.3],
            stroke_speed_cv: [0.04, 0.1],
            stroke_length_sd_m: [0.006, 0.015],
            speed_wander_cv: [0.04, 0.1],
            pause_chance: 0.0,
            lift_chance: 0.0,
            wobble_mps: [0.001, 0.003],
            tremor_m: [1e-5, 6e-5],
            hand_tilt_deg: [0.3, 0.9],
            yaw_wander_deg: [0.8, 2.5],
            panel_tilt_deg: [0.0, 12.0],
            heading_deg: [-90.0, 90.0],
            radius_m: [4.0, 12.0],
            rotary: false,
            rate_hz: [35.0, 110.0],
            vibration_mps2: [8.0, 25.0],
            spin_stalls: false,
            pad_power_w: [25.0, 50.0],
            panel_start_c: [14.0, 30.0],
            spot_turned_deg: [0.0; 2],
            gyro_scale: 0.01,
            accel_bias_mg: 25.0,
        };
        match kind {
            Kind::Level => base,
            Kind::Curved => Self { radius_m: [1.5, 4.0], panel_tilt_deg: [0.0, 30.0], ..base },
            Kind::Upright => {
                Self { panel_tilt_deg: [65.0, 90.0], heading_deg: [-15.0, 15.0], radius_m: [3.0, 8.0], ..base }
            }
            Kind::Rotary => Self {
                rotary: true,
                rate_hz: [12.0, 38.0],
                vibration_mps2: [3.0, 9.0],
                traverse_mps: [0.03, 0.075],
                ..base
            },
            Kind::Shaky => Self {
                tremor_m: [6e-5, 1.2e-4],
                wobble_mps: [0.003, 0.005],
                hand_tilt_deg: [1.0, 1.8],
                yaw_wander_deg: [2.0, 4.0],
                ..base
            },
            Kind::Slow => Self { traverse_mps: [0.016, 0.02], stroke_m: [0.25, 0.4], ..base },
            Kind::Fast => Self { traverse_mps: [0.065, 0.08], strokes_per_pass: [6, 9], ..base },
            Kind::Hot => {
                Self { pad_power_w: [65.0, 110.0], traverse_mps: [0.016, 0.028], stroke_m: [0.25, 0.4], ..base }
            }
            Kind::Uneven => Self { stroke_speed_cv: [0.12, 0.2], stroke_length_sd_m: [0.02, 0.035], ..base },
            Kind::Interrupted => Self { pause_chance: 0.2, lift_chance: 0.2, spin_stalls: true, ..base },
            Kind::Beside => {
                Self { spot_turned_deg: [60.0, 120.0], pad_power_w: [25.0, 90.0], traverse_mps: [0.016, 0.04], ..base }
            }
        }
    }
}

/// A scenario with every parameter drawn from `ranges`. The same seed and ranges give the same scenario; the same seed
/// gives unlike scenarios for ranges of another name.
pub fn random(seed: u64, ranges: &Ranges) -> Scenario {
    let number = seed;
    // FNV-1a over the name (public domain; G. Fowler, L. C. Noll, K.-P. Vo).
    let seed = ranges
        .name
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325 ^ seed, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
    let mut rng = stream(seed, Subject::Scenario);
    let mut draw = |span: Span| span[0] + (span[1] - span[0]) * rng.random::<f64>();
    let base = Scenario::default();
    let mut either = |limit: f64| draw([-limit, limit]);
    let hand = Hand {
        lever_m: [either(0.07), either(0.05), 0.1 + either(0.04)],
        misalignment_deg: [either(4.0), either(4.0), either(5.0)],
        yaw_rad_per_m: either(0.4),
        ..base.hand
    };
    let chip = ChipSpec {
        rate_error: either(0.02),
        rate_drift_per_h: either(0.003),
        accel_bias_mg: [0; 3].map(|_| either(ranges.accel_bias_mg)),
        accel_scale: [0; 3].map(|_| either(0.01)),
        rectification_mg_per_g2: [0; 3].map(|_| either(1.2)),
        gyro_bias_dps: [0; 3].map(|_| either(1.0)),
        gyro_scale: [0; 3].map(|_| either(ranges.gyro_scale)),
        accel_noise_ug: 100.0 + either(20.0),
        gyro_noise_mdps: 4.5 + either(1.0),
        gyro_bias_wander_dph: 6.0 + either(4.0),
        gyro_g_sensitivity_dps_per_g: 0.06 + either(0.05),
        ..base.chip
    };
    let rate_hz = draw(ranges.rate_hz);
    let spin = if ranges.rotary { [0.0; 2] } else { [2.5, 8.0] };
    let motor = Motor {
        kind: if ranges.rotary { MachineKind::Rotary } else { MachineKind::Orbital },
        throw_m: if ranges.rotary { 0.0 } else { 0.015 },
        rate_hz,
        load_droop: draw([0.02, 0.12]),
        wander: draw([0.004, 0.014]),
        pad_spin_hz: draw(spin),
        spin_depth: if ranges.rotary { 0.0 } else { draw([0.06, 0.2]) },
        vibration_mps2: draw(ranges.vibration_mps2),
        ellipticity: draw([0.5, 1.0]),
        axial: draw([0.1, 0.4]),
        // The second harmonic may exceed the fundamental.
        harmonics: [draw([0.2, 1.3]), draw([0.05, 0.5]), draw([0.02, 0.2])],
        gear_tone: draw([0.03, 0.25]),
        gear_ratio: draw([3.3, 7.7]),
        broadband: draw([0.06, 0.18]),
        turning_radps_per_mps2: draw([0.002, 0.009]),
        ..base.motor
    };
    let panel_start_c = draw(ranges.panel_start_c);
    let ambient_c = panel_start_c + draw([-4.0, 2.0]);
    let heat = Heat {
        panel_start_c,
        ambient_c,
        pad_power_w: draw(ranges.pad_power_w),
        pressure_wander: draw([0.03, 0.12]),
        capacity_j_m2k: draw([2400.0, 3100.0]),
        diffusivity_m2ps: draw([1.2e-5, 1.8e-5]),
        loss_w_m2k: draw([14.0, 22.0]),
        ..base.heat
    };
    let thermometer = ThermometerSpec {
        offset_m: [draw([0.08, 0.1]), draw([-0.01, 0.01])],
        emissivity: draw([0.92, 0.95]),
        reflected_c: ambient_c + draw([-3.0, 1.0]),
        lag_s: draw([0.1, 0.3]),
        noise_k: draw([0.06, 0.15]),
        self_warming_k: draw([0.2, 1.5]),
        ..base.thermometer
    };
    let strokes = draw([f64::from(ranges.strokes_per_pass[0]), f64::from(ranges.strokes_per_pass[1]) + 1.0 - 1e-9]);
    let mut scenario = Scenario {
        name: format!("{}-{number}", ranges.name),
        seed,
        arm: Arm {
            traverse_mps: draw(ranges.traverse_mps),
            stroke_m: draw(ranges.stroke_m),
            strokes_per_pass: strokes as u32,
            step_m: draw(ranges.step_m),
            turn_s: draw(ranges.turn_s),
            between_passes_s: draw([0.5, 4.0]),
            stroke_speed_cv: draw(ranges.stroke_speed_cv),
            stroke_length_sd_m: draw(ranges.stroke_length_sd_m),
            speed_wander_cv: draw(ranges.speed_wander_cv),
            pause_chance: ranges.pause_chance,
            lift_chance: ranges.lift_chance,
            lead_in_s: draw([3.0, 6.0]),
            motor_before_s: draw([1.5, 4.0]),
            ..base.arm
        },
        hand: Hand {
            wobble_mps: draw(ranges.wobble_mps),
            tremor_m: draw(ranges.tremor_m),
            tilt_deg: draw(ranges.hand_tilt_deg),
            yaw_wander_deg: draw(ranges.yaw_wander_deg),
            ..hand
        },
        panel: Panel {
            tilt_deg: draw(ranges.panel_tilt_deg),
            heading_deg: draw(ranges.heading_deg),
            radius_m: [draw(ranges.radius_m), draw(ranges.radius_m)],
        },
        motor,
        heat,
        thermometer,
        chip,
    };
    if ranges.spin_stalls {
        let start = draw([15.0, 35.0]);
        scenario.motor.spin_stalls_s = vec![[start, start + draw([4.0, 12.0])]];
    }
    let turned = draw(ranges.spot_turned_deg).to_radians() * draw([-1.0, 1.0]).signum();
    let [x, y] = scenario.thermometer.offset_m;
    let (sin, cos) = turned.sin_cos();
    scenario.thermometer.offset_m = [x * cos - y * sin, x * sin + y * cos];
    scenario
}

#[cfg(test)]
mod tests {
    use super::super::write_table;
    use super::*;

    #[test]
    fn every_kind_of_every_seed_is_within_its_ranges_and_can_be_repeated() {
        for kind in Kind::ALL {
            let ranges = Ranges::of(kind);
            for seed in 0..50 {
                let scenario = random(seed, &ranges);
                scenario.check().unwrap();
                assert_eq!(scenario, random(seed, &ranges));
                assert!(scenario.name == format!("{}-{seed}", kind.as_str()));
                assert!((ranges.traverse_mps[0]..=ranges.traverse_mps[1]).contains(&scenario.arm.traverse_mps));
                assert!((ranges.rate_hz[0]..=ranges.rate_hz[1]).contains(&scenario.motor.rate_hz));
                let n = scenario.arm.strokes_per_pass;
                assert!((ranges.strokes_per_pass[0]..=ranges.strokes_per_pass[1]).contains(&n));
            }
        }
        let arm = |kind| random(1, &Ranges::of(kind)).arm.stroke_m;
        assert_ne!(arm(Kind::Level), arm(Kind::Shaky), "kinds do not share their draws");
        Scenario::hour().check().unwrap();
    }

    #[test]
    fn out_of_range_is_refused_by_name() {
        let mut scenario = Scenario::default();
        scenario.motor.rate_hz = f64::NAN;
        assert_eq!(scenario.check().unwrap_err().field, "motor.rate_hz");
        scenario.motor.rate_hz = 500.0;
        let text = scenario.check().unwrap_err().to_string();
        assert_eq!(text, "scenario level: motor.rate_hz is 500, allowed is 5 to 130");
        assert!(write_table(&scenario, Vec::new()).is_err());
    }
}
