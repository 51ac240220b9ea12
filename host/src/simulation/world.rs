//! The whole virtual workplace, one accelerometer sample after the other, in constant memory.
//!
//! ```text
//! Path ─► Hold ─► three poses ─► specific force, turn rate ─┐
//!   └─► Machine (motor) ──► vibration ──────────────────────┴─► Imu ─► counts
//!   └─► Sheet (every 48 samples) ─► spot ─► Thermometer ─► words, when asked
//! ```
//!
//! Everything moves on the chip's own samples, so how a caller slices its asking cannot change a result.

use nalgebra::Vector3;
use steadypass_protocol::Scale;

use super::chip::Imu;
use super::hold::{Hold, Pose, motion};
use super::motor::Machine;
use super::path::{Doing, Path, Spot};
use super::scenario::{Scenario, ScenarioError};
use super::sheet::{Disc, Sheet};
use super::thermometer::Thermometer;
use super::truth::{TrueMoment, Truth};
use super::unsteady::{Subject, Unsteady, stream};

/// Samples between two steps of the sheet: 29 ms, in which a pad at 75 mm/s moves 2 mm.
const SHEET_EVERY: u64 = 48;
/// Samples between two moments of the truth: a tenth of a second.
const TRUTH_EVERY: u64 = 166;
/// Size of a cell of the sheet, m.
const CELL_M: f64 = 0.008;

/// One sample of the motion chip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sample {
    /// Time on the microcontroller's clock since the scenario began, s.
    pub(super) t_s: f64,
    pub(super) accel: [i16; 3],
    /// One in eight samples has a gyro reading.
    pub(super) gyro: Option<[i16; 3]>,
    /// The mark button was pressed since the sample before.
    pub(super) mark: bool,
}

/// The workplace.
#[derive(Clone, Debug)]
pub(super) struct World {
    scenario: Scenario,
    path: Path,
    pace: Unsteady,
    pressure: Unsteady,
    hold: Hold,
    motor: Machine,
    sheet: Sheet,
    section: u32,
    thermometer: Thermometer,
    imu: Imu,
    truth: Truth,
    index: u64,
    /// Times of the last, the present and the next sample, s.
    t_s: [f64; 3],
    poses: [Pose; 3],
    spots: [Spot; 3],
    over: [bool; 3],
    last_sheet_s: f64,
}

impl World {
    /// # Errors
    /// When the scenario is outside its ranges.
    pub(super) fn new(scenario: &Scenario) -> Result<Self, ScenarioError> {
        scenario.check()?;
        let mut rng = stream(scenario.seed, Subject::Scenario);
        let pace = Unsteady::new(&mut rng, scenario.arm.speed_wander_cv, 0.05, 1.0, 6);
        let pressure = Unsteady::new(&mut rng, scenario.heat.pressure_wander, 0.05, 0.6, 4);
        let (hold, imu, heat) = (Hold::new(scenario), Imu::new(scenario), &scenario.heat);
        let mut path = Path::new(scenario);
        // Wide enough for the pad, the spot beside it, and the heat that runs out into the panel.
        let reach = scenario.thermometer.offset_m.iter().fold(0.1, |m: f64, x| m.max(x.abs()));
        let size = scenario.arm.stroke_m.max(scenario.width_m()) + 2.0 * (heat.pad_radius_m + reach + 0.05);
        let sheet = Sheet::new([size; 2], CELL_M, heat.capacity_j_m2k, heat.diffusivity_m2ps, heat.loss_w_m2k);
        // The sample before the first lies before the scenario's start, where the path holds still.
        let spacing = 1.0 / imu.rate_hz(0.0);
        let t_s = [-spacing, 0.0, spacing];
        let spots = t_s.map(|t| path.at(t + pace.integral(t)));
        let poses = [0, 1, 2].map(|i| hold.pose(t_s[i], &spots[i].0));
        Ok(Self {
            path,
            pace,
            pressure,
            motor: Machine::new(scenario),
            sheet,
            section: 0,
            thermometer: Thermometer::new(scenario),
            truth: Truth::default(),
            index: 0,
            t_s,
            poses,
            spots: spots.map(|s| s.0),
            over: spots.map(|s| s.1),
            last_sheet_s: 0.0,
            scenario: scenario.clone(),
            hold,
            imu,
        })
    }

    /// Time of the sample that [`World::sample`] gives next, s.
    pub(super) fn next_s(&self) -> f64 {
        self.t_s[1]
    }

    /// Whether the scenario is over; samples go on after it, at rest.
    pub(super) fn is_over(&self) -> bool {
        self.over[1]
    }

    pub(super) fn truth(&self) -> &Truth {
        &self.truth
    }

    pub(super) fn into_truth(self) -> Truth {
        self.truth
    }

    pub(super) fn scales(&self) -> (Scale, Scale) {
        self.imu.scales()
    }

    pub(super) fn set_range_g(&mut self, range_g: u8) {
        self.imu.set_range_g(range_g);
    }

    /// Time between samples now, s.
    pub(super) fn spacing_s(&self) -> f64 {
        1.0 / self.imu.rate_hz(self.t_s[1])
    }

    /// One look of the thermometer: object word and ambient word.
    pub(super) fn look(&mut self) -> (u16, u16) {
        self.thermometer.look()
    }

    /// The next sample.
    pub(super) fn sample(&mut self) -> Sample {
        let [_, t_s, next_s] = self.t_s;
        let dt_s = next_s - t_s;
        let spot = self.spots[1];
        let mark = spot.marks > self.truth.marks_s.len() as u32;
        if mark {
            self.truth.marks_s.push(t_s);
        }
        if !self.over[1] {
            self.truth.note(t_s, spot.doing, self.poses[1].pad_m, spot.section);
        }
        self.motor.advance(t_s, dt_s, spot.doing != Doing::Still, spot.contact);
        if self.index.is_multiple_of(SHEET_EVERY) {
            self.warm(t_s);
        }
        if self.index.is_multiple_of(TRUTH_EVERY) && !self.over[1] {
            self.note_moment();
        }
        let (force, rate) = motion(&self.poses, dt_s);
        let shake = self.motor.shake();
        let accel = self.imu.accel(force, shake.accel_mps2, dt_s);
        let gyro =
            self.index.is_multiple_of(8).then(|| self.imu.gyro(t_s, rate + shake.gyro_radps, force + shake.accel_mps2));
        self.step();
        Sample { t_s, accel, gyro, mark }
    }

    fn step(&mut self) {
        self.index += 1;
        let next_s = self.t_s[2] + 1.0 / self.imu.rate_hz(self.t_s[2]);
        let (spot, over) = self.path.at(next_s + self.pace.integral(next_s));
        let pose = self.hold.pose(next_s, &spot);
        self.t_s = [self.t_s[1], self.t_s[2], next_s];
        self.poses = [self.poses[1], self.poses[2], pose];
        self.spots = [self.spots[1], self.spots[2], spot];
        self.over = [self.over[1], self.over[2], over];
    }

    /// Place of a point of the machine on the sheet of the present section.
    fn on_sheet(&self, offset_m: [f64; 2], radius_m: f64) -> Disc {
        let (pose, spot) = (&self.poses[1], &self.spots[1]);
        let (sin, cos) = pose.yaw_rad.sin_cos();
        let [ox, oy] = offset_m;
        Disc {
            x_m: pose.pad_m[0] + cos * ox - sin * oy - spot.centre_m[0],
            y_m: pose.pad_m[1] + sin * ox + cos * oy - spot.centre_m[1],
            radius_m,
        }
    }

    fn warm(&mut self, t_s: f64) {
        let (heat, spot) = (&self.scenario.heat, self.spots[1]);
        let rate = self.motor.rate_hz / self.scenario.motor.rate_hz;
        let power = heat.pad_power_w * spot.power * spot.contact * rate * (1.0 + self.pressure.at(t_s));
        let pad = self.on_sheet([0.0; 2], heat.pad_radius_m);
        if spot.section != self.section {
            self.section = spot.section;
            self.sheet.renew();
        }
        self.sheet.advance(t_s - self.last_sheet_s, pad, power);
        self.last_sheet_s = t_s;
        let spot_c = self.spot_c();
        self.thermometer.advance(t_s, spot_c);
    }

    fn spot_c(&self) -> f64 {
        let spec = &self.scenario.thermometer;
        self.scenario.heat.panel_start_c + self.sheet.mean_rise_k(self.on_sheet(spec.offset_m, spec.spot_radius_m))
    }

    fn note_moment(&mut self) {
        let span_s = self.t_s[2] - self.t_s[0];
        let (before, after) = (self.poses[0].pad_m, self.poses[2].pad_m);
        self.truth.moments.push(TrueMoment {
            t_s: self.t_s[1],
            rate_hz: self.motor.rate_hz,
            spin_hz: self.motor.spin_hz,
            velocity_mps: [0, 1].map(|i| (after[i] - before[i]) / span_s),
            place_m: self.poses[1].pad_m,
            spot_c: self.spot_c(),
            hottest_c: self.scenario.heat.panel_start_c + self.sheet.highest_rise_k(),
        });
    }
}

/// Counts in SI units.
pub(super) fn in_units(counts: [i16; 3], scale: Scale) -> Vector3<f64> {
    Vector3::from(counts.map(|c| f64::from(c) * f64::from(scale.nano_per_count) * 1e-9))
}
