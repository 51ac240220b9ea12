//! How the hand holds the machine on the curved panel: from the pad's place to the pose of the chip.
//!
//! With `ρ = (-v/R₂, u/R₁, 0)` the turn that lays the spindle along the surface's normal, `ψ` the turn about the spindle
//! and `h` the hand's small tilt, the machine's attitude is
//!
//! ```text
//! R = R_x(tilt) · R_z(heading) · exp[ρ] · R_z(ψ) · exp[h]        (machine to world, world z up)
//! chip = R_x(tilt) · R_z(heading) · (u, v, -u²/2R₁ - v²/2R₂ + height) + R · lever
//! ```
//!
//! Speeds and accelerations are taken from three neighbouring poses ([`motion`]), not from formulas, so no derivative can
//! have been forgotten: `a = (p₊ - 2p + p₋)/Δ²` and `ω = log(R₋ᵀ R₊)/2Δ`. At 1.67 kHz the error is `(2π f Δ)²/12`, under
//! 2e-4 of a 12 Hz tremor.

use nalgebra::{UnitQuaternion, Vector3};

use super::path::Spot;
use super::scenario::Scenario;
use super::unsteady::{Subject, Unsteady, stream};

/// Standard gravity, m/s² (CGPM 1901, exact).
pub(super) const GRAVITY_MPS2: f64 = 9.80665;

/// A trembling hand also rocks the machine, as if about a point this far above the pad, m (a judgement: the pad is pressed
/// flat, so it rocks less than the forearm).
const TREMOR_PIVOT_M: f64 = 0.5;

/// Where the chip is and how the machine is turned.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pose {
    /// World, m.
    pub(super) chip_m: Vector3<f64>,
    /// Machine to world.
    pub(super) attitude: UnitQuaternion<f64>,
    /// The pad's middle without tremor, m on the panel.
    pub(super) pad_m: [f64; 2],
    /// Turn about the spindle, rad.
    pub(super) yaw_rad: f64,
}

/// The hand and the panel under it.
#[derive(Clone, Debug)]
pub(super) struct Hold {
    panel: UnitQuaternion<f64>,
    radius_m: [f64; 2],
    lever_m: Vector3<f64>,
    yaw_rad_per_m: f64,
    wobble_mps: [Unsteady; 2],
    tremor_m: [Unsteady; 3],
    tilt_rad: [Unsteady; 2],
    yaw_rad: Unsteady,
}

impl Hold {
    pub(super) fn new(scenario: &Scenario) -> Self {
        let (hand, panel) = (&scenario.hand, &scenario.panel);
        let mut rng = stream(scenario.seed, Subject::Hand);
        let tilt = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), panel.tilt_deg.to_radians());
        let heading = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), panel.heading_deg.to_radians());
        Self {
            panel: tilt * heading,
            radius_m: panel.radius_m,
            lever_m: Vector3::from(hand.lever_m),
            yaw_rad_per_m: hand.yaw_rad_per_m,
            wobble_mps: [0; 2].map(|_| Unsteady::new(&mut rng, hand.wobble_mps, 0.2, 1.5, 6)),
            // The pad is pressed on the panel: it trembles less across the surface than along it.
            tremor_m: [1.0, 1.0, 0.3].map(|k| Unsteady::new(&mut rng, k * hand.tremor_m, 8.0, 12.0, 4)),
            tilt_rad: [0; 2].map(|_| Unsteady::new(&mut rng, hand.tilt_deg.to_radians(), 0.05, 0.5, 5)),
            yaw_rad: Unsteady::new(&mut rng, hand.yaw_wander_deg.to_radians(), 0.04, 0.3, 5),
        }
    }

    /// The pose at `t_s`, with the pad at `spot`.
    pub(super) fn pose(&self, t_s: f64, spot: &Spot) -> Pose {
        let [du, dv] = [0, 1].map(|i| self.wobble_mps[i].integral(t_s));
        let (pad_u, pad_v) = (spot.u_m + du, spot.v_m + dv);
        let tremor = [0, 1, 2].map(|i| self.tremor_m[i].at(t_s));
        let (u, v) = (pad_u + tremor[0], pad_v + tremor[1]);
        let [r1, r2] = self.radius_m;
        let surface = Vector3::new(u, v, -u * u / (2.0 * r1) - v * v / (2.0 * r2) + spot.height_m + tremor[2]);
        let normal = UnitQuaternion::from_scaled_axis(Vector3::new(-v / r2, u / r1, 0.0));
        let yaw = self.yaw_rad_per_m * (pad_u - spot.centre_m[0]) + self.yaw_rad.at(t_s);
        let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), yaw);
        let [tilt_x, tilt_y] = [0, 1].map(|i| self.tilt_rad[i].at(t_s));
        let rocked = Vector3::new(tilt_x - tremor[1] / TREMOR_PIVOT_M, tilt_y + tremor[0] / TREMOR_PIVOT_M, 0.0);
        let tilt = UnitQuaternion::from_scaled_axis(rocked);
        let attitude = self.panel * normal * turn * tilt;
        Pose { chip_m: self.panel * surface + attitude * self.lever_m, attitude, pad_m: [pad_u, pad_v], yaw_rad: yaw }
    }
}

/// Specific force (m/s²) and turn rate (rad/s) in machine axes at the middle of three poses `spacing_s` apart.
pub(super) fn motion(poses: &[Pose; 3], spacing_s: f64) -> (Vector3<f64>, Vector3<f64>) {
    let [before, now, after] = poses;
    let acceleration = (after.chip_m - now.chip_m * 2.0 + before.chip_m) / (spacing_s * spacing_s);
    let force = now.attitude.inverse() * (acceleration + Vector3::new(0.0, 0.0, GRAVITY_MPS2));
    let turned = before.attitude.inverse() * after.attitude;
    // Twice the vector part: the angle is far below a milliradian, and the error is its cube / 24.
    let rate = turned.imag() * (2.0 * turned.w.signum()) / (2.0 * spacing_s);
    (force, rate)
}

#[cfg(test)]
mod tests {
    use super::super::path::Doing;
    use super::*;

    fn spot(u_m: f64, v_m: f64) -> Spot {
        let doing = Doing::Between;
        Spot { u_m, v_m, height_m: 0.0, contact: 1.0, power: 1.0, doing, section: 0, centre_m: [0.0; 2], marks: 0 }
    }

    /// A hand as steady as a vice on a flat panel.
    fn vice() -> Scenario {
        let mut scenario = Scenario::default();
        scenario.hand.wobble_mps = 0.0;
        scenario.hand.tremor_m = 0.0;
        scenario.hand.tilt_deg = 0.0;
        scenario.hand.yaw_wander_deg = 0.0;
        scenario.hand.yaw_rad_per_m = 0.0;
        scenario.panel.radius_m = [1e6; 2];
        scenario.panel.tilt_deg = 0.0;
        scenario
    }

    const DT: f64 = 6e-4;

    fn motion_at(hold: &Hold, t_s: f64, place: impl Fn(f64) -> [f64; 2]) -> (Vector3<f64>, Vector3<f64>) {
        let pose = |t: f64| hold.pose(t, &spot(place(t)[0], place(t)[1]));
        motion(&[pose(t_s - DT), pose(t_s), pose(t_s + DT)], DT)
    }

    #[test]
    fn at_rest_it_feels_gravity_where_the_panel_says() {
        for tilt in [0.0f64, 30.0, 90.0] {
            let mut scenario = vice();
            scenario.panel.tilt_deg = tilt;
            let (force, rate) = motion_at(&Hold::new(&scenario), 5.0, |_| [0.1, 0.2]);
            // Tilted about the horizontal u axis: gravity leans into +v, "uphill" feels heavier.
            let due = Vector3::new(0.0, tilt.to_radians().sin(), tilt.to_radians().cos()) * GRAVITY_MPS2;
            // A radius of 1000 km is not quite flat: 0.2 m out it leans by 0.2 µrad.
            assert!((force - due).norm() < 3e-6, "{tilt}: {force}");
            assert!(rate.norm() < 1e-12);
        }
    }

    #[test]
    fn along_a_curved_panel_the_spindle_turns_by_way_over_radius() {
        let mut scenario = vice();
        scenario.panel.radius_m = [2.0, 1e6];
        let hold = Hold::new(&scenario);
        let (force, rate) = motion_at(&hold, 5.0, |t| [0.05 * (t - 5.0), 0.0]);
        assert!((rate - Vector3::new(0.0, 0.05 / 2.0, 0.0)).norm() < 1e-9, "{rate}");
        // Centripetal acceleration towards the middle of the curve (down): v²/R at the paint, v²/R (1 + l/R) at the chip.
        let due = GRAVITY_MPS2 - 0.05 * 0.05 / 2.0 * (1.0 + 0.1 / 2.0);
        assert!((force.z - due).abs() < 1e-6, "{}", force.z - due);
        // 0.1 m further the spindle leans by 50 mrad and gravity shows along the stroke.
        let (force, _) = motion_at(&hold, 5.0, |_| [0.1, 0.0]);
        assert!((force.x + GRAVITY_MPS2 * 0.05f64.sin()).abs() < 1e-9, "{}", force.x);
    }

    #[test]
    fn turning_about_the_spindle_swings_the_chip_on_its_lever() {
        let (omega, lever) = (2.0, Vector3::new(0.05, 0.01, 0.1));
        let pose = |t: f64| {
            let attitude = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), omega * t);
            Pose { chip_m: attitude * lever, attitude, pad_m: [0.0; 2], yaw_rad: 0.0 }
        };
        let (force, rate) = motion(&[pose(-DT), pose(0.0), pose(DT)], DT);
        let due = Vector3::new(-omega * omega * 0.05, -omega * omega * 0.01, GRAVITY_MPS2);
        assert!((force - due).norm() < 1e-6, "{force}");
        assert!((rate - Vector3::new(0.0, 0.0, omega)).norm() < 1e-6, "{rate}");
    }

    #[test]
    fn integrating_what_is_felt_gives_the_way_back() {
        // Gyro and force of a shaky hand on a curved, sloped panel, integrated by the textbook, must lead to where the chip is.
        let mut scenario = Scenario::default();
        scenario.panel.tilt_deg = 70.0;
        scenario.panel.radius_m = [2.0, 3.0];
        let hold = Hold::new(&scenario);
        let place = |t: f64| [0.1 * (0.9 * t).sin(), 0.08 * (0.7 * t).cos()];
        let pose = |t: f64| hold.pose(t, &spot(place(t)[0], place(t)[1]));
        let mut attitude = pose(0.5 * DT).attitude;
        let mut velocity = (pose(DT).chip_m - pose(0.0).chip_m) / DT;
        let mut chip = pose(DT).chip_m;
        for step in 1..5000 {
            let t = f64::from(step) * DT;
            let (force, rate) = motion_at(&hold, t, place);
            let middle = attitude * UnitQuaternion::from_scaled_axis(rate * (0.5 * DT));
            velocity += (middle * force - Vector3::new(0.0, 0.0, GRAVITY_MPS2)) * DT;
            attitude *= UnitQuaternion::from_scaled_axis(rate * DT);
            chip += velocity * DT;
        }
        let end = pose(5000.0 * DT);
        let angle = attitude.angle_to(&pose(4999.5 * DT).attitude);
        assert!(angle < 2e-5, "{angle}");
        assert!((chip - end.chip_m).norm() < 3e-4, "{}", (chip - end.chip_m).norm());
    }
}
