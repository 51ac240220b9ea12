//! Scenarios with a name.

use super::scenario::{Arm, ChipSpec, Hand, Heat, Motor, Panel, Scenario, ThermometerSpec};
use crate::analysis::MachineKind;

/// How fast the demo plays: with it the demo's two passes take about 45 s at the screen.
pub const DEMO_SPEED: f64 = 5.0;

impl Default for Scenario {
    /// One crosshatched section on a nearly level, slightly curved panel with a 15 mm orbital.
    fn default() -> Self {
        Self {
            name: "level".into(),
            seed: 1,
            arm: Arm {
                lead_in_s: 4.0,
                motor_before_s: 2.0,
                motor_after_s: 1.0,
                lead_out_s: 3.0,
                sections: 1,
                break_s: 40.0,
                pass_axes: vec![0, 1],
                strokes_per_pass: 5,
                traverse_mps: 0.03,
                stroke_m: 0.4,
                step_m: 0.06,
                turn_s: 1.0,
                between_passes_s: 1.0,
                stroke_speed_cv: 0.08,
                stroke_length_sd_m: 0.012,
                speed_wander_cv: 0.08,
                pace: vec![],
                pause_chance: 0.0,
                lift_chance: 0.0,
            },
            hand: Hand {
                wobble_mps: 0.002,
                tremor_m: 4e-5,
                tilt_deg: 0.6,
                yaw_wander_deg: 1.5,
                yaw_rad_per_m: 0.25,
                lever_m: [0.05, 0.01, 0.1],
                misalignment_deg: [2.0, -3.0, 3.0],
            },
            panel: Panel { tilt_deg: 4.0, heading_deg: 0.0, radius_m: [6.0, 9.0] },
            motor: Motor {
                kind: MachineKind::Orbital,
                throw_m: 0.015,
                rate_hz: 70.0,
                load_droop: 0.06,
                wander: 0.01,
                spin_up_s: 0.3,
                run_down_s: 0.4,
                pad_spin_hz: 4.0,
                spin_depth: 0.12,
                spin_stalls_s: vec![],
                vibration_mps2: 18.0,
                ellipticity: 0.8,
                axial: 0.25,
                harmonics: [0.35, 0.18, 0.08],
                gear_tone: 0.1,
                gear_ratio: 5.57,
                broadband: 0.12,
                turning_radps_per_mps2: 0.006,
            },
            heat: Heat {
                panel_start_c: 19.0,
                ambient_c: 20.0,
                pad_power_w: 40.0,
                power: vec![],
                pressure_wander: 0.08,
                pad_radius_m: 0.0625,
                // Steel of 0.8 mm (7854 kg/m3, 434 J/kgK: Incropera table A.1, from memory) and some 8 % for the paint.
                capacity_j_m2k: 2950.0,
                // k = 60.5 W/mK in the steel, spread over the capacity of steel and paint together.
                diffusivity_m2ps: 1.64e-5,
                // Both sides, convection and radiation: 9 to 11 each.
                loss_w_m2k: 18.0,
            },
            thermometer: ThermometerSpec {
                offset_m: [0.09, 0.0],
                spot_radius_m: 0.018,
                emissivity: 0.93,
                reflected_c: 20.0,
                lag_s: 0.15,
                noise_k: 0.1,
                self_warming_k: 0.8,
            },
            chip: ChipSpec {
                rate_hz: 1667.0,
                rate_error: 0.012,
                rate_drift_per_h: 0.001,
                accel_noise_ug: 110.0,
                accel_bias_mg: [12.0, -18.0, 20.0],
                accel_scale: [0.006, -0.008, 0.004],
                rectification_mg_per_g2: [0.6, -0.4, 1.0],
                gyro_noise_mdps: 4.5,
                gyro_bias_dps: [0.6, -0.9, 0.3],
                gyro_bias_wander_dph: 6.0,
                gyro_scale: [0.007, -0.005, 0.009],
                gyro_g_sensitivity_dps_per_g: 0.08,
            },
        }
    }
}

impl Scenario {
    /// The demo: a section of half a metre on an invented car's bonnet, crosshatched with a pad of 125 mm (the machine's
    /// centre travels 0.4 m between turns). The third stroke is hurried; in the second pass the pressure goes up and the
    /// panel's rise passes 11.1 K (20 °F). Three and a half minutes of work: play it at [`DEMO_SPEED`].
    pub fn demo() -> Self {
        let mut demo = Self { name: "demo".into(), seed: 20, ..Self::default() };
        demo.arm = Arm {
            lead_in_s: 4.0,
            motor_before_s: 2.5,
            between_passes_s: 2.0,
            // The thermometer sits to the left: it sees the lane before in the first pass, the pad's own trail in every
            // other stroke of the second.
            pass_axes: vec![1, 0],
            strokes_per_pass: 5,
            traverse_mps: 0.022,
            stroke_m: 0.4,
            step_m: 0.09,
            stroke_speed_cv: 0.05,
            stroke_length_sd_m: 0.008,
            speed_wander_cv: 0.06,
            pace: vec![1.0, 1.0, 2.4, 1.0, 1.0, 1.0, 1.0, 1.0, 0.85, 0.9],
            ..demo.arm
        };
        demo.panel = Panel { tilt_deg: 6.0, heading_deg: 0.0, radius_m: [5.0, 3.0] };
        demo.heat.pad_power_w = 30.0;
        demo.heat.power = vec![1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.1, 1.2, 2.2, 1.2];
        demo.thermometer.offset_m = [-0.09, 0.0];
        demo
    }

    /// An hour of work with a mark, a wipe and a move between sections, for measuring speed and memory.
    pub fn hour() -> Self {
        let mut hour = Self { name: "hour".into(), seed: 60, ..Self::default() };
        hour.arm = Arm { sections: 19, pause_chance: 0.05, lift_chance: 0.05, ..hour.arm };
        hour
    }
}

#[cfg(test)]
mod tests {
    use super::super::write_table;
    use super::*;

    #[test]
    fn the_demo_shows_what_it_should() {
        let demo = Scenario::demo();
        demo.check().unwrap();
        let truth = write_table(&demo, std::io::sink()).unwrap();
        let seconds = truth.moments.last().unwrap().t_s / DEMO_SPEED;
        assert!((33.0..=46.0).contains(&seconds), "{seconds} s at the screen");
        assert_eq!((truth.passes.len(), truth.strokes.len(), truth.marks_s.len()), (2, 10, 1));
        // One stroke far above an inch per second (common practice), all others clearly within.
        let hurried: Vec<usize> = (0..10).filter(|i| truth.strokes[*i].traverse_mps > 0.0254).collect();
        assert_eq!(hurried, [2]);
        assert!(truth.strokes[2].traverse_mps > 0.045);
        assert!(truth.strokes.iter().all(|s| s.traverse_mps > 0.0135));
        // The first pass stays clear of 20 °F, the second goes over it, after warming towards it for some seconds.
        let (start_c, limit_k) = (demo.heat.panel_start_c, 20.0 * 5.0 / 9.0);
        let over_s = truth.first_over_s(start_c, limit_k).expect("it gets too hot");
        assert!(over_s > truth.passes[1].start_s && over_s < truth.passes[1].end_s);
        let rise = |t_s: f64| truth.moments.iter().rfind(|m| m.t_s <= t_s).unwrap().spot_c - start_c;
        assert!((0..100).all(|i| rise(f64::from(i) * 0.01 * truth.passes[0].end_s) < 0.75 * limit_k));
        assert!(
            rise(over_s - 4.0) < 0.95 * limit_k && rise(over_s - 8.0) < rise(over_s - 4.0),
            "{}",
            rise(over_s - 4.0)
        );
    }
}
