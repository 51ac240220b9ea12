//! What is simulated: a plain description, every parameter with its unit and the range it may have.
//!
//! The ranges are what [`Scenario::check`] allows. They are wider than what the named scenarios and
//! [`random`](super::random) draw from. Where no source is named, a range is a judgement of what hands, panels, machines
//! and chips of this size do; chip figures are the data sheet's typical values, from memory (LSM6DSOX, MLX90614).

use serde::Serialize;

use crate::analysis::MachineKind;

/// One scenario. Deterministic: equal scenarios give equal bytes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Scenario {
    /// Short name, used in file names.
    pub name: String,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// What the arm does.
    pub arm: Arm,
    /// How the hand holds the machine.
    pub hand: Hand,
    /// The panel's shape and attitude.
    pub panel: Panel,
    /// The machine's motor and what it shakes.
    pub motor: Motor,
    /// How the panel warms.
    pub heat: Heat,
    /// The infrared thermometer.
    pub thermometer: ThermometerSpec,
    /// The motion chip.
    pub chip: ChipSpec,
}

/// What the arm does. Times are the hand's own and stretch with [`Arm::speed_wander_cv`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Arm {
    /// Rest on the panel with the motor off before the first section, s: 1 to 60.
    pub lead_in_s: f64,
    /// Motor on, not travelling, before the first stroke of a section, s: 0.5 to 30.
    pub motor_before_s: f64,
    /// Motor on, not travelling, after the last stroke, s: 0.2 to 30.
    pub motor_after_s: f64,
    /// Motor off at the end, s: 1 to 120.
    pub lead_out_s: f64,
    /// Sections worked one after the other: 1 to 1000.
    pub sections: u32,
    /// Motor off between two sections (wipe, look, move on), s: 5 to 600.
    pub break_s: f64,
    /// Axis of each pass of a section: 0 along the section's u, 1 along its v. `[0, 1]` is a crosshatch.
    pub pass_axes: Vec<u8>,
    /// Strokes per pass: 1 to 40.
    pub strokes_per_pass: u32,
    /// Nominal arm speed, m/s: 0.005 to 0.3.
    pub traverse_mps: f64,
    /// Travel of one stroke between its turns, m: 0.1 to 2.
    pub stroke_m: f64,
    /// Sideways step at each turn, m: 0 to 0.2.
    pub step_m: f64,
    /// Time of one turn, s: 0.3 to 4.
    pub turn_s: f64,
    /// Stands still between two passes, motor on, s: 0.2 to 60.
    pub between_passes_s: f64,
    /// Standard deviation of the strokes' speeds over their mean: 0 to 0.3.
    pub stroke_speed_cv: f64,
    /// Standard deviation of the strokes' lengths, m: 0 to 0.1.
    pub stroke_length_sd_m: f64,
    /// Unevenness of speed inside strokes, rms over mean (0.05 to 1 Hz): 0 to 0.2.
    pub speed_wander_cv: f64,
    /// Factors on the speed of single strokes, in order over the whole scenario; missing ones are 1: each 0.2 to 5.
    pub pace: Vec<f64>,
    /// Chance that a turn becomes a pause of 1 to 4 s with the motor on: 0 to 1.
    pub pause_chance: f64,
    /// Chance that a turn becomes a lift of 1 to 3 s: 0 to 1.
    pub lift_chance: f64,
}

/// How the hand holds the machine.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hand {
    /// Aimless drift of the path, rms m/s in each direction (0.2 to 1.5 Hz): 0 to 0.02.
    pub wobble_mps: f64,
    /// Tremor, rms displacement in m (8 to 12 Hz): 0 to 5e-4. Normal hands show 0.0015 to 0.035 g at the main frequency
    /// (Arch Neurol 39, 1982, 358): 4e-6 to 9e-5 m peak at 10 Hz.
    pub tremor_m: f64,
    /// Tilt against the panel, rms degrees about each axis (0.05 to 0.5 Hz): 0 to 5.
    pub tilt_deg: f64,
    /// Turning about the spindle, rms degrees (0.04 to 0.3 Hz): 0 to 10.
    pub yaw_wander_deg: f64,
    /// Turning about the spindle along the stroke, as an arm swings about an elbow, rad per m: -2 to 2.
    pub yaw_rad_per_m: f64,
    /// Where the chip sits from the middle of the pad's face, m, machine axes: each -0.3 to 0.3.
    pub lever_m: [f64; 3],
    /// How crooked the chip sits, degrees about the machine's x, y, z: each -15 to 15.
    pub misalignment_deg: [f64; 3],
}

/// The panel's shape and attitude. The surface is `z = -u²/2R₁ - v²/2R₂` about the first section's middle.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Panel {
    /// Angle between the panel's middle and the horizontal, degrees: 0 (a roof) to 110 (a sill leaning over).
    pub tilt_deg: f64,
    /// How the section's u axis is turned from the horizontal line of the panel, degrees: -180 to 180.
    pub heading_deg: f64,
    /// Radii of curvature along u and v, m: each 0.8 to 1e6.
    pub radius_m: [f64; 2],
}

/// The machine's motor and what it shakes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Motor {
    /// Orbital or rotary.
    #[serde(serialize_with = "kind_word")]
    pub kind: MachineKind,
    /// Diameter of the orbit, m; only told to the analysis, 0 for a rotary: 0 to 0.03.
    pub throw_m: f64,
    /// Rate without load, Hz: 5 to 130.
    pub rate_hz: f64,
    /// Share of the rate lost under the pad's full load: 0 to 0.4.
    pub load_droop: f64,
    /// Unevenness of the rate, rms over mean (0.03 to 0.7 Hz): 0 to 0.05.
    pub wander: f64,
    /// Time constant of spin-up, s: 0.05 to 3.
    pub spin_up_s: f64,
    /// Time constant of run-down, s: 0.05 to 5.
    pub run_down_s: f64,
    /// Free rotation of an orbital machine's pad under load, Hz; 0 for a rotary: 0 to 20.
    pub pad_spin_hz: f64,
    /// Depth of the amplitude modulation by the spinning pad: 0 to 0.6.
    pub spin_depth: f64,
    /// Times at which the spin stalls and comes back, s of the scenario.
    pub spin_stalls_s: Vec<[f64; 2]>,
    /// Amplitude of the rotating vibration at the rate without load, m/s²: 0 to 100. It grows with the rate squared.
    pub vibration_mps2: f64,
    /// Short axis of the rotating vector over its long axis: 0 to 1.
    pub ellipticity: f64,
    /// Share of it along the spindle: 0 to 1.
    pub axial: f64,
    /// Amplitudes of the 2nd, 3rd and 4th harmonic over the fundamental: each 0 to 2.
    pub harmonics: [f64; 3],
    /// Amplitude of the gear tone over the fundamental: 0 to 1.
    pub gear_tone: f64,
    /// Gear tone's frequency over the rate: 1.5 to 12.
    pub gear_ratio: f64,
    /// Rms of the broadband part (above some 25 Hz) on each axis over the fundamental's amplitude: 0 to 1.
    pub broadband: f64,
    /// Turning vibration of the housing per rotating vibration, rad/s per m/s²: 0 to 0.05.
    pub turning_radps_per_mps2: f64,
}

/// How the panel warms.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Heat {
    /// Panel before the work, °C: -20 to 90.
    pub panel_start_c: f64,
    /// Air and surroundings, °C: -20 to 60. The panel loses heat to its own starting temperature, which is taken as in
    /// balance with its surroundings (sun included).
    pub ambient_c: f64,
    /// Heat the pad puts into the sheet under full load at the rate without load, W: 0 to 300.
    pub pad_power_w: f64,
    /// Factors on that at the start of single strokes, in order, changing evenly to the next stroke's (a hand that presses
    /// harder and harder); missing ones are 1: each 0 to 5.
    pub power: Vec<f64>,
    /// Unevenness of the pressure and with it the power, rms over mean (0.05 to 0.6 Hz): 0 to 0.3.
    pub pressure_wander: f64,
    /// Radius of the pad's face, m: 0.02 to 0.15.
    pub pad_radius_m: f64,
    /// Heat capacity of the sheet with its paint, J/(m² K): 500 to 10 000.
    pub capacity_j_m2k: f64,
    /// Thermal diffusivity of the sheet, m²/s: 1e-7 (plastic) to 1e-4 (aluminium).
    pub diffusivity_m2ps: f64,
    /// Heat lost to the air and by radiation, both sides together, W/(m² K): 0 to 60.
    pub loss_w_m2k: f64,
}

/// The infrared thermometer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ThermometerSpec {
    /// Middle of its spot from the middle of the pad, m, along the machine's x and y: each -0.3 to 0.3.
    pub offset_m: [f64; 2],
    /// Radius of the spot, m: 0.003 to 0.05.
    pub spot_radius_m: f64,
    /// Emissivity of the paint: 0.5 to 1.
    pub emissivity: f64,
    /// Temperature of what the paint mirrors, °C: -30 to 60.
    pub reflected_c: f64,
    /// Time constant, s: 0 to 2.
    pub lag_s: f64,
    /// Standard deviation of one look, K: 0 to 1.
    pub noise_k: f64,
    /// The chip's own warming above the air once it has run for long, K: 0 to 10.
    pub self_warming_k: f64,
}

/// The motion chip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChipSpec {
    /// Nominal accelerometer rate, Hz: 400 to 4000. The gyro gives one sample for every eight.
    pub rate_hz: f64,
    /// Error of the rate: -0.05 to 0.05.
    pub rate_error: f64,
    /// Change of that error per hour: -0.01 to 0.01.
    pub rate_drift_per_h: f64,
    /// Accelerometer noise density at 16 g, µg/√Hz: 0 to 1000.
    pub accel_noise_ug: f64,
    /// Accelerometer offset, mg: each -100 to 100.
    pub accel_bias_mg: [f64; 3],
    /// Accelerometer scale error: each -0.05 to 0.05.
    pub accel_scale: [f64; 3],
    /// Offset under vibration, mg per g² of mean square vibration: each -10 to 10.
    pub rectification_mg_per_g2: [f64; 3],
    /// Gyro noise density, m°/s/√Hz: 0 to 100.
    pub gyro_noise_mdps: f64,
    /// Gyro offset, °/s: each -10 to 10.
    pub gyro_bias_dps: [f64; 3],
    /// Slow wander of the gyro offset, rms °/h (1/400 to 1/20 Hz): 0 to 100.
    pub gyro_bias_wander_dph: f64,
    /// Gyro scale error: each -0.05 to 0.05.
    pub gyro_scale: [f64; 3],
    /// Gyro offset per specific force, °/s per g: 0 to 1.
    pub gyro_g_sensitivity_dps_per_g: f64,
}

fn kind_word<S: serde::Serializer>(kind: &MachineKind, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(match kind {
        MachineKind::Orbital => "orbital",
        MachineKind::Rotary => "rotary",
    })
}

/// A parameter outside its range.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("scenario {scenario}: {field} is {value}, allowed is {lo} to {hi}")]
#[non_exhaustive]
pub struct ScenarioError {
    /// Name of the scenario.
    pub scenario: String,
    /// The parameter.
    pub field: &'static str,
    /// What it is.
    pub value: f64,
    /// Smallest allowed.
    pub lo: f64,
    /// Largest allowed.
    pub hi: f64,
}

impl Scenario {
    /// Checks every parameter against its range.
    ///
    /// # Errors
    /// The first parameter outside its range (NaN is outside every range).
    pub fn check(&self) -> Result<(), ScenarioError> {
        let test = |field: &'static str, values: &[f64], lo: f64, hi: f64| match values
            .iter()
            .find(|value| !(lo..=hi).contains(*value))
        {
            Some(&value) => Err(ScenarioError { scenario: self.name.clone(), field, value, lo, hi }),
            None => Ok(()),
        };
        let (a, h, p, m) = (&self.arm, &self.hand, &self.panel, &self.motor);
        test("arm.lead_in_s", &[a.lead_in_s], 1.0, 60.0)?;
        test("arm.motor_before_s", &[a.motor_before_s], 0.5, 30.0)?;
        test("arm.motor_after_s", &[a.motor_after_s], 0.2, 30.0)?;
        test("arm.lead_out_s", &[a.lead_out_s], 1.0, 120.0)?;
        test("arm.sections", &[f64::from(a.sections)], 1.0, 1000.0)?;
        test("arm.break_s", &[a.break_s], 5.0, 600.0)?;
        test("number of arm.pass_axes", &[a.pass_axes.len() as f64], 1.0, 20.0)?;
        test("arm.pass_axes", &a.pass_axes.iter().map(|&axis| f64::from(axis)).collect::<Vec<_>>(), 0.0, 1.0)?;
        test("arm.strokes_per_pass", &[f64::from(a.strokes_per_pass)], 1.0, 40.0)?;
        test("arm.traverse_mps", &[a.traverse_mps], 0.005, 0.3)?;
        test("arm.stroke_m", &[a.stroke_m], 0.1, 2.0)?;
        test("arm.step_m", &[a.step_m], 0.0, 0.2)?;
        test("arm.turn_s", &[a.turn_s], 0.3, 4.0)?;
        test("arm.between_passes_s", &[a.between_passes_s], 0.2, 60.0)?;
        test("arm.stroke_speed_cv", &[a.stroke_speed_cv], 0.0, 0.3)?;
        test("arm.stroke_length_sd_m", &[a.stroke_length_sd_m], 0.0, 0.1)?;
        test("arm.speed_wander_cv", &[a.speed_wander_cv], 0.0, 0.2)?;
        test("arm.pace", &a.pace, 0.2, 5.0)?;
        test("arm.pause_chance", &[a.pause_chance], 0.0, 1.0)?;
        test("arm.lift_chance", &[a.lift_chance], 0.0, 1.0)?;
        test("hand.wobble_mps", &[h.wobble_mps], 0.0, 0.02)?;
        test("hand.tremor_m", &[h.tremor_m], 0.0, 5e-4)?;
        test("hand.tilt_deg", &[h.tilt_deg], 0.0, 5.0)?;
        test("hand.yaw_wander_deg", &[h.yaw_wander_deg], 0.0, 10.0)?;
        test("hand.yaw_rad_per_m", &[h.yaw_rad_per_m], -2.0, 2.0)?;
        test("hand.lever_m", &h.lever_m, -0.3, 0.3)?;
        test("hand.misalignment_deg", &h.misalignment_deg, -15.0, 15.0)?;
        test("panel.tilt_deg", &[p.tilt_deg], 0.0, 110.0)?;
        test("panel.heading_deg", &[p.heading_deg], -180.0, 180.0)?;
        test("panel.radius_m", &p.radius_m, 0.8, 1e6)?;
        test("motor.throw_m", &[m.throw_m], 0.0, 0.03)?;
        test("motor.rate_hz", &[m.rate_hz], 5.0, 130.0)?;
        test("motor.load_droop", &[m.load_droop], 0.0, 0.4)?;
        test("motor.wander", &[m.wander], 0.0, 0.05)?;
        test("motor.spin_up_s", &[m.spin_up_s], 0.05, 3.0)?;
        test("motor.run_down_s", &[m.run_down_s], 0.05, 5.0)?;
        test("motor.pad_spin_hz", &[m.pad_spin_hz], 0.0, 20.0)?;
        test("motor.spin_depth", &[m.spin_depth], 0.0, 0.6)?;
        test("motor.vibration_mps2", &[m.vibration_mps2], 0.0, 100.0)?;
        test("motor.ellipticity", &[m.ellipticity], 0.0, 1.0)?;
        test("motor.axial", &[m.axial], 0.0, 1.0)?;
        test("motor.harmonics", &m.harmonics, 0.0, 2.0)?;
        test("motor.gear_tone", &[m.gear_tone], 0.0, 1.0)?;
        test("motor.gear_ratio", &[m.gear_ratio], 1.5, 12.0)?;
        test("motor.broadband", &[m.broadband], 0.0, 1.0)?;
        test("motor.turning_radps_per_mps2", &[m.turning_radps_per_mps2], 0.0, 0.05)?;
        self.check_sensor(test)
    }

    fn check_sensor(
        &self,
        test: impl Fn(&'static str, &[f64], f64, f64) -> Result<(), ScenarioError>,
    ) -> Result<(), ScenarioError> {
        let (e, t, c) = (&self.heat, &self.thermometer, &self.chip);
        test("heat.panel_start_c", &[e.panel_start_c], -20.0, 90.0)?;
        test("heat.ambient_c", &[e.ambient_c], -20.0, 60.0)?;
        test("heat.pad_power_w", &[e.pad_power_w], 0.0, 300.0)?;
        test("heat.power", &e.power, 0.0, 5.0)?;
        test("heat.pressure_wander", &[e.pressure_wander], 0.0, 0.3)?;
        test("heat.pad_radius_m", &[e.pad_radius_m], 0.02, 0.15)?;
        test("heat.capacity_j_m2k", &[e.capacity_j_m2k], 500.0, 10_000.0)?;
        test("heat.diffusivity_m2ps", &[e.diffusivity_m2ps], 1e-7, 1e-4)?;
        test("heat.loss_w_m2k", &[e.loss_w_m2k], 0.0, 60.0)?;
        test("thermometer.offset_m", &t.offset_m, -0.3, 0.3)?;
        test("thermometer.spot_radius_m", &[t.spot_radius_m], 0.003, 0.05)?;
        test("thermometer.emissivity", &[t.emissivity], 0.5, 1.0)?;
        test("thermometer.reflected_c", &[t.reflected_c], -30.0, 60.0)?;
        test("thermometer.lag_s", &[t.lag_s], 0.0, 2.0)?;
        test("thermometer.noise_k", &[t.noise_k], 0.0, 1.0)?;
        test("thermometer.self_warming_k", &[t.self_warming_k], 0.0, 10.0)?;
        test("chip.rate_hz", &[c.rate_hz], 400.0, 4000.0)?;
        test("chip.rate_error", &[c.rate_error], -0.05, 0.05)?;
        test("chip.rate_drift_per_h", &[c.rate_drift_per_h], -0.01, 0.01)?;
        test("chip.accel_noise_ug", &[c.accel_noise_ug], 0.0, 1000.0)?;
        test("chip.accel_bias_mg", &c.accel_bias_mg, -100.0, 100.0)?;
        test("chip.accel_scale", &c.accel_scale, -0.05, 0.05)?;
        test("chip.rectification_mg_per_g2", &c.rectification_mg_per_g2, -10.0, 10.0)?;
        test("chip.gyro_noise_mdps", &[c.gyro_noise_mdps], 0.0, 100.0)?;
        test("chip.gyro_bias_dps", &c.gyro_bias_dps, -10.0, 10.0)?;
        test("chip.gyro_bias_wander_dph", &[c.gyro_bias_wander_dph], 0.0, 100.0)?;
        test("chip.gyro_scale", &c.gyro_scale, -0.05, 0.05)?;
        test("chip.gyro_g_sensitivity_dps_per_g", &[c.gyro_g_sensitivity_dps_per_g], 0.0, 1.0)
    }

    /// Width of a section across its strokes, between the first and the last lane, m.
    pub fn width_m(&self) -> f64 {
        f64::from(self.arm.strokes_per_pass.saturating_sub(1)) * self.arm.step_m
    }
}
