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
        let mut rng = stream(scenario.seed, Subject::Pace);
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

#[cfg(test)]
mod tests {
    use super::super::drawn::{Kind, Ranges, random};
    use super::*;

    fn samples(scenario: &Scenario, count: usize) -> Vec<Sample> {
        let mut world = World::new(scenario).unwrap();
        (0..count).map(|_| world.sample()).collect()
    }

    #[test]
    fn equal_scenarios_give_equal_samples_and_other_seeds_others() {
        let scenario = random(8, &Ranges::of(Kind::Shaky));
        let once = samples(&scenario, 20_000);
        assert_eq!(once, samples(&scenario, 20_000));
        assert_ne!(once, samples(&Scenario { seed: scenario.seed + 1, ..scenario }, 20_000));
    }

    #[test]
    fn looking_often_or_never_changes_no_other_sensor() {
        let mut world = World::new(&Scenario::default()).unwrap();
        let looked: Vec<Sample> = (0..5000)
            .map(|_| {
                world.look();
                world.sample()
            })
            .collect();
        assert_eq!(looked, samples(&Scenario::default(), 5000));
    }

    #[test]
    fn both_streams_run_on_one_clock_that_is_off_as_told() {
        let mut scenario = Scenario::default();
        (scenario.chip.rate_error, scenario.chip.rate_drift_per_h) = (-0.02, 0.0);
        let all = samples(&scenario, 16_001);
        assert_eq!(all[0].t_s, 0.0);
        assert!((all[16_000].t_s - 16_000.0 / (1667.0 * 0.98)).abs() < 1e-9);
        assert!(all.iter().enumerate().all(|(i, s)| s.gyro.is_some() == (i % 8 == 0)));
    }

    #[test]
    fn the_truth_is_what_was_planned_and_what_the_sensors_saw() {
        let scenario = Scenario::default();
        let mut world = World::new(&scenario).unwrap();
        let (accel, _) = world.scales();
        // Vibration in the half seconds before the motor's start, in the middle, and at the end.
        let mut power = Vec::new();
        while !world.is_over() {
            let sample = world.sample();
            let plane = in_units(sample.accel, accel).xy();
            power.push((sample.t_s, plane.norm()));
        }
        let truth = world.into_truth();
        assert_eq!((truth.strokes.len(), truth.passes.len(), truth.marks_s.len()), (10, 2, 1));
        for s in &truth.strokes {
            assert!((s.length_m - 0.4).abs() < 0.05, "{s:?}");
            assert!((s.traverse_mps / 0.03 - 1.0).abs() < 0.35, "{s:?}");
            assert!((s.length_m / (s.end_s - s.start_s) - s.traverse_mps).abs() < 1e-12);
        }
        for p in &truth.passes {
            let own: Vec<_> = truth.strokes.iter().filter(|s| s.pass_index == p.index).collect();
            assert_eq!((own[0].start_s, own[4].end_s, own.len()), (p.start_s, p.end_s, 5));
            assert!(own.iter().all(|s| s.axis == p.axis));
        }
        let (on_s, off_s) = (truth.motor_s[0].0, truth.motor_s[0].1.unwrap());
        let spread = |from: f64, to: f64| {
            let x: Vec<f64> = power.iter().filter(|(t, _)| (from..to).contains(t)).map(|(_, p)| *p).collect();
            let mean = x.iter().sum::<f64>() / x.len() as f64;
            (x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
        };
        assert!(spread(on_s - 0.5, on_s) < 0.3 && spread(on_s + 2.0, on_s + 2.5) > 2.0, "{}", spread(on_s - 0.5, on_s));
        assert!(spread(off_s + 2.5, off_s + 3.0) < 0.3);
        // The place's change is the integral of the speed; speeds are those of the strokes.
        let middle =
            truth.moments.iter().filter(|m| (truth.strokes[0].start_s..truth.strokes[0].end_s).contains(&m.t_s));
        let (sum, n) = middle.fold((0.0, 0), |(sum, n), m| (sum + m.velocity_mps[0].abs(), n + 1));
        assert!((sum / f64::from(n) / truth.strokes[0].traverse_mps - 1.0).abs() < 0.02);
    }

    #[test]
    fn the_spot_trails_one_way_and_leads_the_other() {
        let mut scenario = Scenario::default();
        scenario.arm.pass_axes = vec![0];
        let mut world = World::new(&scenario).unwrap();
        while !world.is_over() {
            world.sample();
        }
        let truth = world.into_truth();
        // The spot lies ahead in +u: strokes towards +u lead, those back trail, and see paint just worked.
        let warm = |i: usize| {
            let s = &truth.strokes[i];
            let seen = truth.moments.iter().filter(|m| (0.5 * (s.start_s + s.end_s)..s.end_s).contains(&m.t_s));
            let (sum, n) = seen.fold((0.0, 0), |(sum, n), m| (sum + m.spot_c, n + 1));
            sum / f64::from(n)
        };
        assert!(warm(1) > warm(0) + 3.0 && warm(1) > warm(2) + 2.0, "{} {} {}", warm(0), warm(1), warm(2));
    }

    #[test]
    fn a_new_section_is_cold_and_the_work_goes_on() {
        let mut scenario = Scenario::default();
        (scenario.arm.sections, scenario.arm.strokes_per_pass, scenario.arm.break_s) = (3, 2, 8.0);
        let mut world = World::new(&scenario).unwrap();
        while !world.is_over() {
            world.sample();
        }
        let truth = world.into_truth();
        assert_eq!((truth.marks_s.len(), truth.passes.len(), truth.motor_s.len()), (3, 6, 3));
        assert_eq!(truth.passes.iter().map(|p| p.section).collect::<Vec<_>>(), [0, 0, 1, 1, 2, 2]);
        for mark_s in &truth.marks_s[1..] {
            let at = truth.moments.iter().rfind(|m| m.t_s < *mark_s).unwrap();
            assert!(at.hottest_c - scenario.heat.panel_start_c < 0.1, "{at:?}");
        }
    }

    /// `cargo test --release -p steadypass --lib an_hour -- --ignored --nocapture`
    #[test]
    #[ignore = "measures how long it takes: by hand, in release, with the command above"]
    fn an_hour_of_work_is_made_in_well_under_a_minute() {
        let begin = std::time::Instant::now();
        let mut world = World::new(&Scenario::hour()).unwrap();
        let mut samples = 0u32;
        while !world.is_over() {
            world.sample();
            samples += 1;
        }
        let (simulated, took) = (world.next_s(), begin.elapsed().as_secs_f64());
        assert!((3500.0..3800.0).contains(&simulated), "{simulated}");
        assert!(took < 40.0, "{simulated:.0} s, {samples} samples in {took:.1} s");
    }
}
