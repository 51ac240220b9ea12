//! The arm's path over the panel: strokes, turns with their sideways step, crosshatch passes, pauses, lifts, moves.
//!
//! The path is a row of pieces. In every piece each coordinate moves with the least jerk between the positions and speeds
//! of its ends ([`super::minimum_jerk`]): from rest to rest that is the reach of the textbooks, through a turn the smooth
//! reversal, and along a stroke, from a speed to the same speed, a straight and even line.
//!
//! Pieces are drawn one section at a time, so an hour of work takes no more memory than its longest section. Their times
//! are the hand's; [`super::world`] stretches them by the unevenness of speed.
//!
//! Terms: `u` and `v` are metres on the panel from the middle of the first section; *along* and *across* refer to the
//! strokes of the pass; *contact* is the share of the working pressure on the pad.

use std::collections::VecDeque;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::minimum_jerk::MinimumJerk;
use super::scenario::Scenario;
use super::unsteady::{Subject, stream};

/// What the arm does during a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Doing {
    /// Motor off.
    Still,
    /// Motor on, not in a stroke.
    Between,
    /// A stroke, with the number of its pass over the whole scenario (from 0), its axis, and its number in the scenario.
    Stroke { pass: u32, axis: u8, stroke: u32, last: bool },
}

#[derive(Clone, Copy, Debug)]
struct Piece {
    start_s: f64,
    duration_s: f64,
    u: MinimumJerk,
    v: MinimumJerk,
    height: MinimumJerk,
    contact: MinimumJerk,
    /// At the start and at the end.
    power: [f64; 2],
    doing: Doing,
    section: u32,
    /// A new section starts with this piece.
    mark: bool,
}

/// Where the pad is, at one moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub(super) u_m: f64,
    pub(super) v_m: f64,
    pub(super) height_m: f64,
    pub(super) contact: f64,
    /// Factor on the pad's heat.
    pub(super) power: f64,
    pub(super) doing: Doing,
    pub(super) section: u32,
    /// Middle of the section.
    pub(super) centre_m: [f64; 2],
    /// Sections whose start has been reached.
    pub(super) marks: u32,
}

/// The path of one scenario, read forwards.
#[derive(Clone, Debug)]
pub(super) struct Path {
    scenario: Scenario,
    rng: ChaCha8Rng,
    pieces: VecDeque<Piece>,
    next_start_s: f64,
    sections_drawn: u32,
    passes: u32,
    strokes: u32,
    at: [f64; 2],
    marks: u32,
}

/// Contact while the motor runs before and between strokes: the pad rests on its own weight.
const LIGHT: f64 = 0.3;
/// Height of a lift within a pass, and of a move between sections, m.
const LIFT_M: f64 = 0.03;
const MOVE_M: f64 = 0.12;

impl Path {
    pub(super) fn new(scenario: &Scenario) -> Self {
        let mut path = Self {
            scenario: scenario.clone(),
            rng: stream(scenario.seed, Subject::Path),
            pieces: VecDeque::new(),
            next_start_s: 0.0,
            sections_drawn: 0,
            passes: 0,
            strokes: 0,
            at: [0.0; 2],
            marks: 0,
        };
        path.draw_section();
        path
    }

    /// Where the pad is at hand time `t_s`, and whether the path is over. Times must not go back by more than a piece.
    pub(super) fn at(&mut self, t_s: f64) -> (Spot, bool) {
        while self.pieces.len() > 1 && t_s >= self.pieces[1].start_s {
            self.pieces.pop_front();
            self.marks += u32::from(self.pieces[0].mark);
            if self.pieces.len() < 2 && self.sections_drawn < self.scenario.arm.sections {
                self.draw_section();
            }
        }
        let piece = self.pieces[0];
        let tau = ((t_s - piece.start_s) / piece.duration_s).clamp(0.0, 1.0);
        let over = self.pieces.len() == 1 && t_s >= piece.start_s + piece.duration_s;
        let spot = Spot {
            u_m: piece.u.at(tau),
            v_m: piece.v.at(tau),
            height_m: piece.height.at(tau),
            contact: piece.contact.at(tau).clamp(0.0, 1.0),
            power: piece.power[0] + tau * (piece.power[1] - piece.power[0]),
            doing: piece.doing,
            section: piece.section,
            centre_m: self.centre(piece.section),
            marks: self.marks,
        };
        (spot, over)
    }

    /// Sections go round four places, so that a long scenario stays on its panel; a place has long cooled by then.
    fn centre(&self, section: u32) -> [f64; 2] {
        let arm = &self.scenario.arm;
        let pitch = arm.stroke_m.max(self.scenario.width_m()) + 0.1;
        let [i, j] = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]][section as usize % 4];
        [i * pitch, j * pitch]
    }

    fn normal(&mut self) -> f64 {
        let x: f64 = StandardNormal.sample(&mut self.rng);
        // Nobody's stroke is four times as long as meant: people correct themselves.
        x.clamp(-2.5, 2.5)
    }

    fn push(
        &mut self,
        duration_s: f64,
        to: [f64; 2],
        speed: [[f64; 2]; 2],
        lift: [f64; 2],
        contact: [f64; 2],
        doing: Doing,
    ) {
        let section = self.sections_drawn;
        let power = match doing {
            Doing::Stroke { stroke, .. } => {
                let factor = |i: usize| self.scenario.heat.power.get(i).copied();
                factor(stroke as usize).map(|from| [from, factor(stroke as usize + 1).unwrap_or(from)])
            }
            // The turn after a stroke is worked as the stroke ended.
            _ => self.pieces.back().filter(|piece| piece.section == section).map(|piece| [piece.power[1]; 2]),
        };
        self.pieces.push_back(Piece {
            start_s: self.next_start_s,
            duration_s,
            u: MinimumJerk::between(self.at[0], speed[0][0], to[0], speed[1][0], duration_s),
            v: MinimumJerk::between(self.at[1], speed[0][1], to[1], speed[1][1], duration_s),
            height: MinimumJerk::between(lift[0], 0.0, lift[1], 0.0, duration_s),
            contact: MinimumJerk::between(contact[0], 0.0, contact[1], 0.0, duration_s),
            power: power.unwrap_or([1.0; 2]),
            doing,
            section,
            mark: false,
        });
        self.next_start_s += duration_s;
        self.at = to;
    }

    fn stand(&mut self, duration_s: f64, contact: [f64; 2], doing: Doing) {
        self.push(duration_s, self.at, [[0.0; 2]; 2], [0.0; 2], contact, doing);
    }

    fn draw_section(&mut self) {
        let arm = self.scenario.arm.clone();
        let centre = self.centre(self.sections_drawn);
        let plans: Vec<Vec<Lane>> = {
            // Start in the corner that is nearest to where the pad is; a new section starts at its lower left.
            let mut corner = [-1.0, -1.0];
            arm.pass_axes.iter().map(|&axis| self.draw_pass(usize::from(axis), centre, &mut corner)).collect()
        };
        let first = plans[0][0].lead_in();
        if self.sections_drawn == 0 {
            self.at = first;
            self.stand(arm.lead_in_s, [LIGHT; 2], Doing::Still);
        } else {
            let (away, aside) = (1.5, (arm.break_s - 3.0).max(1.0));
            self.push(away, self.at, [[0.0; 2]; 2], [0.0, MOVE_M], [0.0; 2], Doing::Still);
            self.push(aside, first, [[0.0; 2]; 2], [MOVE_M; 2], [0.0; 2], Doing::Still);
            self.push(away, first, [[0.0; 2]; 2], [MOVE_M, 0.0], [0.0, LIGHT], Doing::Still);
        }
        self.stand(arm.motor_before_s, [LIGHT; 2], Doing::Between);
        if let Some(piece) = self.pieces.back_mut() {
            piece.mark = true;
        }
        for (k, lanes) in plans.iter().enumerate() {
            if k > 0 {
                let to = lanes[0].lead_in();
                let distance = (to[0] - self.at[0]).hypot(to[1] - self.at[1]);
                self.push((distance / 0.12).max(0.6), to, [[0.0; 2]; 2], [0.0; 2], [LIGHT; 2], Doing::Between);
                self.stand(arm.between_passes_s, [LIGHT; 2], Doing::Between);
            }
            self.push_pass(arm.pass_axes[k], lanes);
        }
        self.stand(arm.motor_after_s, [LIGHT, 0.0], Doing::Between);
        if self.sections_drawn + 1 == arm.sections {
            self.stand(arm.lead_out_s, [0.0; 2], Doing::Still);
        }
        self.sections_drawn += 1;
    }

    /// Draws the lanes of one pass from `corner` on, and leaves `corner` where it ends.
    fn draw_pass(&mut self, axis: usize, centre: [f64; 2], corner: &mut [f64; 2]) -> Vec<Lane> {
        let arm = self.scenario.arm.clone();
        let (n, across) = (arm.strokes_per_pass, 1 - axis);
        let half_width = self.scenario.width_m() / 2.0;
        let (mut side, cross_sign) = (corner[axis], corner[across]);
        let lanes = (0..n)
            .map(|j| {
                let wander = arm.stroke_length_sd_m / 2f64.sqrt();
                let ends = [side, -side].map(|sign| sign * arm.stroke_m / 2.0 + wander * self.normal());
                let pace = arm.pace.get((self.strokes + j) as usize).copied().unwrap_or(1.0);
                let speed = arm.traverse_mps * pace * (1.0 + arm.stroke_speed_cv * self.normal()).max(0.3);
                let cross = cross_sign * (half_width - f64::from(j) * arm.step_m);
                let point = |along: f64| {
                    let mut point = centre;
                    point[axis] += along;
                    point[across] += cross;
                    point
                };
                let mut velocity = [0.0; 2];
                velocity[axis] = -side * speed;
                side = -side;
                Lane { from: point(ends[0]), to: point(ends[1]), velocity, speed, half_turn_s: arm.turn_s / 2.0 }
            })
            .collect();
        self.strokes += n;
        corner[axis] = side;
        if n > 1 {
            corner[across] = -cross_sign;
        }
        lanes
    }

    fn push_pass(&mut self, axis: u8, lanes: &[Lane]) {
        let arm = self.scenario.arm.clone();
        let (pass, first) = (self.passes, self.passes * arm.strokes_per_pass);
        self.passes += 1;
        for (j, lane) in lanes.iter().enumerate() {
            if j == 0 {
                self.push(
                    arm.turn_s / 2.0,
                    lane.from,
                    [[0.0; 2], lane.velocity],
                    [0.0; 2],
                    [LIGHT, 1.0],
                    Doing::Between,
                );
            }
            let last = j + 1 == lanes.len();
            let doing = Doing::Stroke { pass, axis, stroke: first + j as u32, last };
            let duration_s = (lane.to[0] - lane.from[0]).hypot(lane.to[1] - lane.from[1]) / lane.speed;
            self.push(duration_s, lane.to, [lane.velocity; 2], [0.0; 2], [1.0; 2], doing);
            let Some(next) = lanes.get(j + 1) else {
                self.push(
                    arm.turn_s / 2.0,
                    lane.lead_out(),
                    [lane.velocity, [0.0; 2]],
                    [0.0; 2],
                    [1.0, LIGHT],
                    Doing::Between,
                );
                continue;
            };
            let turn_s = arm.turn_s * (1.0 + 0.15 * self.normal());
            let chance: f64 = self.rng.random();
            let stop_s = self.rng.random_range(1.0..3.0);
            if chance >= arm.pause_chance + arm.lift_chance {
                self.push(turn_s, next.from, [lane.velocity, next.velocity], [0.0; 2], [1.0; 2], Doing::Between);
                continue;
            }
            let lifted = chance < arm.lift_chance;
            let contact = if lifted { LIGHT } else { 1.0 };
            self.push(
                turn_s / 2.0,
                lane.lead_out(),
                [lane.velocity, [0.0; 2]],
                [0.0; 2],
                [1.0, contact],
                Doing::Between,
            );
            if lifted {
                self.push(0.5, self.at, [[0.0; 2]; 2], [0.0, LIFT_M], [contact, 0.0], Doing::Between);
                self.push(stop_s, next.lead_in(), [[0.0; 2]; 2], [LIFT_M; 2], [0.0; 2], Doing::Between);
                self.push(0.5, next.lead_in(), [[0.0; 2]; 2], [LIFT_M, 0.0], [0.0, contact], Doing::Between);
            } else {
                self.stand(stop_s * 4.0 / 3.0, [contact; 2], Doing::Between);
                self.push(1.0, next.lead_in(), [[0.0; 2]; 2], [0.0; 2], [contact; 2], Doing::Between);
            }
            self.push(turn_s / 2.0, next.from, [[0.0; 2], next.velocity], [0.0; 2], [contact, 1.0], Doing::Between);
        }
    }
}

/// One stroke as planned.
#[derive(Clone, Copy, Debug)]
struct Lane {
    from: [f64; 2],
    to: [f64; 2],
    velocity: [f64; 2],
    speed: f64,
    half_turn_s: f64,
}

impl Lane {
    /// From where a start at rest reaches the stroke at its speed: half the speed on average over half a turn.
    fn lead_in(&self) -> [f64; 2] {
        [0, 1].map(|i| self.from[i] - 0.5 * self.velocity[i] * self.half_turn_s)
    }

    fn lead_out(&self) -> [f64; 2] {
        [0, 1].map(|i| self.to[i] + 0.5 * self.velocity[i] * self.half_turn_s)
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawn::{Kind, Ranges, random};
    use super::*;

    /// The whole path of a scenario at 200 Hz.
    fn walk(scenario: &Scenario) -> Vec<(f64, Spot)> {
        let (mut path, mut spots) = (Path::new(scenario), Vec::new());
        for i in 0..400_000 {
            let t_s = f64::from(i) * 0.005;
            let (spot, over) = path.at(t_s);
            assert!(path.pieces.len() < 200, "one section at a time");
            spots.push((t_s, spot));
            if over {
                return spots;
            }
        }
        panic!("the path never ends")
    }

    #[test]
    fn it_never_jumps_and_never_jerks() {
        for kind in [Kind::Level, Kind::Interrupted, Kind::Fast] {
            let mut scenario = random(11, &Ranges::of(kind));
            scenario.arm.sections = 2;
            let spots = walk(&scenario);
            let coordinate: [fn(&Spot) -> f64; 3] = [|s| s.u_m, |s| s.v_m, |s| s.height_m];
            for f in coordinate {
                let x: Vec<f64> = spots.iter().map(|(_, spot)| f(spot)).collect();
                let speed: Vec<f64> = x.windows(2).map(|w| (w[1] - w[0]) / 0.005).collect();
                let accel: Vec<f64> = speed.windows(2).map(|w| (w[1] - w[0]) / 0.005).collect();
                assert!(speed.iter().all(|v| v.abs() < 0.6), "moves between sections are the fastest");
                assert!(accel.iter().all(|a| a.abs() < 2.5));
                // Acceleration has no steps: a jerk of 30 m/s³ is a lift's, 60 D/T³ with D = 30 mm in 0.5 s is 14.
                assert!(accel.windows(2).all(|w| (w[1] - w[0]).abs() < 30.0 * 0.005));
            }
        }
    }

    #[test]
    fn passes_cross_and_strokes_alternate_with_the_sideways_step() {
        let scenario = Scenario::default();
        let mut strokes: Vec<(Doing, [f64; 2], [f64; 2])> = Vec::new();
        for (_, spot) in walk(&scenario) {
            let at = [spot.u_m, spot.v_m];
            match strokes.last_mut() {
                Some((doing, _, end)) if *doing == spot.doing => *end = at,
                _ => strokes.push((spot.doing, at, at)),
            }
        }
        strokes.retain(|(doing, ..)| matches!(doing, Doing::Stroke { .. }));
        assert_eq!(strokes.len(), 10);
        for (i, pair) in strokes.windows(2).enumerate() {
            let (Doing::Stroke { pass, axis, stroke, last }, from, to) = pair[0] else { unreachable!() };
            assert_eq!((pass as usize, usize::from(axis), stroke as usize, last), (i / 5, i / 5, i, i % 5 == 4));
            let along = usize::from(axis);
            assert!(((to[along] - from[along]).abs() - 0.4).abs() < 0.06);
            assert!((to[1 - along] - from[1 - along]).abs() < 1e-9);
            if !last {
                let next = pair[1].2[along] - pair[1].1[along];
                assert!(next * (to[along] - from[along]) < 0.0, "the next stroke comes back");
                assert!(((pair[1].1[1 - along] - to[1 - along]).abs() - 0.06).abs() < 2e-3);
            }
        }
    }

    #[test]
    fn pauses_stand_and_lifts_leave_the_panel() {
        let mut scenario = random(4, &Ranges::of(Kind::Interrupted));
        scenario.arm.pause_chance = 0.5;
        scenario.arm.lift_chance = 0.5;
        let spots = walk(&scenario);
        let lifted = spots.iter().filter(|(_, s)| s.height_m > 0.02).count();
        let stood = spots
            .windows(2)
            .filter(|w| w[0].1.contact > 0.99 && w[0].1.u_m == w[1].1.u_m && w[0].1.v_m == w[1].1.v_m)
            .count();
        assert!(lifted > 200 && stood > 200, "{lifted} {stood}");
        assert!(
            spots.iter().filter(|(_, s)| s.height_m > 0.001).all(|(_, s)| s.contact < 0.35),
            "nothing pressed in the air"
        );
    }
}
