//! Which of the detected bursts are real, and what they mean: strokes, turns with a sideways step, reversals, rests.
//!
//! # How
//!
//! Several accounts of what happened are carried along at once (multiple-hypothesis tracking, Reid, IEEE Trans. Automat.
//! Contr. 24 (1979) 843; from memory). An account says for every burst: noise, or start or end of a stroke, and it
//! remembers the current direction, speed, sideways step and stroke time. A burst scores by how well its velocity step
//! fits: ending a stroke takes away the speed that starting it gave; a turn's second burst mirrors its first; strokes of
//! one pass last about equally long and run to and fro. The best [`KEPT`] accounts go on.
//!
//! The current best account serves the live view; the one that stands when work pauses is settled.

use super::turns::Event;
use std::sync::Arc;

/// Accounts carried along.
const KEPT: usize = 40;
/// Accounts with the same end kept at most.
const SAME_END: usize = 3;
/// Accounts this far (in natural log likelihood) behind the best are dropped.
const BEHIND: f64 = 40.0;
/// What calling a burst real costs, natural log.
const REAL_COST: f64 = 3.0;
/// What a stroke in the same direction as the one before costs, natural log.
const SAME_WAY_COST: f64 = 5.0;
/// What a new direction costs, across the strokes before and at most aslant to them, natural log.
const ACROSS_COST: f64 = 1.0;
const ASLANT_COST: f64 = 4.0;
/// What a stroke whose start was not seen costs, natural log.
const UNSEEN_COST: f64 = 4.0;
/// Velocity steps of noise bursts, and of the measurement, m/s, one standard deviation per axis.
const NOISE_MPS: f64 = 0.007;
const STEP_MPS: f64 = 0.005;
/// How well a stroke's direction is known at first, rad.
const ASKEW: f64 = 0.15;
/// Shortest stroke, s.
const MIN_STROKE_S: f64 = 1.3;
/// Shortest and longest sideways step between two strokes, s.
const SIDESTEP_S: (f64, f64) = (0.35, 3.2);
/// Shortest and longest quick move between two rests, s; what calling one so costs, natural log; its usual speed, m/s.
const MOVE_S: (f64, f64) = (0.2, 2.0);
const MOVE_COST: f64 = 3.0;
const MOVE_MPS: f64 = 0.2;
/// Share of the speed's old value that a well measured burst replaces.
const LEARN: f64 = 0.3;
/// Quickest sideways step, m/s: a pad's width in three quarters of a second, at its peak.
const QUICKEST_STEP_MPS: f64 = 0.4;
/// Speeds a stroke can have, m/s.
const SPEEDS_MPS: (f64, f64) = (0.008, 0.35);

/// What a burst was taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Start,
    /// End of a stroke, followed by a sideways step.
    EndTurning,
    /// End of a stroke, followed by rest.
    EndResting,
    /// End of one stroke and start of the next.
    Reversal,
    /// Start or end of a quick move to another place, no stroke.
    Move,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mode {
    Rest,
    Stroke,
    Sidestep,
    /// On the way to another place, after a rest.
    Move,
}

/// An account's past, shared between accounts.
#[derive(Debug)]
struct Past {
    role: Role,
    event: Event,
    before: Option<Arc<Past>>,
}

#[derive(Clone, Debug)]
struct Account {
    score: f64,
    mode: Mode,
    direction: Option<[f64; 2]>,
    speed: Option<f64>,
    /// Sideways speed in a turn, m/s, signed to the left of travel.
    sideways: Option<f64>,
    stroke_s: Option<f64>,
    since_s: f64,
    strokes: u32,
    past: Option<Arc<Past>>,
    /// At rest: the burst called noise last, and what that cost. It may yet turn out to have been half of a turn.
    passed_over: Option<(Event, f64)>,
}

/// A stroke as the events tell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawStroke {
    pub(super) start: Event,
    pub(super) end: Event,
    /// It began with the sideways step (or reversal) that ended the stroke before.
    pub(super) joined: bool,
}

/// What the best account says now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Now {
    pub(super) mode: Mode,
    /// Since when, s.
    pub(super) since_s: f64,
    /// Speed of the current or coming stroke as far as known, m/s.
    pub(super) speed_mps: Option<f64>,
    /// Finished strokes.
    pub(super) strokes: u32,
}

/// Follows the arm.
#[derive(Debug)]
pub(super) struct StrokeTracker {
    accounts: Vec<Account>,
}

/// Natural log of a normal density, without its constant.
fn fits(error: f64, sd: f64) -> f64 {
    -0.5 * (error / sd) * (error / sd) - sd.ln()
}

impl StrokeTracker {
    pub(super) fn new() -> Self {
        Self {
            accounts: vec![Account {
                score: 0.0,
                mode: Mode::Rest,
                direction: None,
                speed: None,
                sideways: None,
                stroke_s: None,
                since_s: f64::NEG_INFINITY,
                strokes: 0,
                past: None,
                passed_over: None,
            }],
        }
    }

    /// Takes the next candidate burst (times rise).
    pub(super) fn push(&mut self, event: Event) {
        let size = event.step[0].hypot(event.step[1]);
        if !size.is_finite() || !event.t_s.is_finite() {
            return;
        }
        let mut next = Vec::with_capacity(4 * self.accounts.len());
        for a in &self.accounts {
            let noise = fits(event.step[0], NOISE_MPS) + fits(event.step[1], NOISE_MPS) + 0.3;
            let passed_over = (a.mode == Mode::Rest).then_some((event, noise));
            next.push(Account { score: a.score + noise, passed_over, ..a.clone() });
            match a.mode {
                Mode::Rest => {
                    next.extend(a.starts(event, size));
                    next.extend(a.turned_unseen(event));
                    next.extend(a.moves_off(event, size));
                }
                Mode::Stroke => a.ends(event, &mut next),
                Mode::Sidestep => next.extend(a.turns_back(event)),
                Mode::Move => next.extend(a.arrives(event)),
            }
        }
        next.sort_by(|a, b| b.score.total_cmp(&a.score));
        let best = next.first().map_or(0.0, |a| a.score);
        self.accounts.clear();
        for a in next {
            if a.score < best - BEHIND || self.accounts.len() >= KEPT {
                break;
            }
            let same = self.accounts.iter().filter(|b| b.mode == a.mode && b.since_s == a.since_s).count();
            if same < SAME_END {
                self.accounts.push(a);
            }
        }
        // Only differences count.
        for a in &mut self.accounts {
            a.score -= best;
        }
    }

    /// The best account.
    pub(super) fn now(&self) -> Now {
        let best = &self.accounts[0];
        Now { mode: best.mode, since_s: best.since_s, speed_mps: best.speed, strokes: best.strokes }
    }

    /// Strokes finished in the best account.
    pub(super) fn strokes(&self) -> Vec<RawStroke> {
        self.accounts[0].told()
    }

    /// Strokes of the best account that ends at rest, now that work has paused.
    pub(super) fn settled(&self) -> Vec<RawStroke> {
        let at_rest = self.accounts.iter().find(|a| a.mode == Mode::Rest);
        at_rest.unwrap_or(&self.accounts[0]).told()
    }
}

impl Account {
    fn after(&self, score: f64, mode: Mode, role: Role, event: Event) -> Self {
        let past = Some(Arc::new(Past { role, event, before: self.past.clone() }));
        Self { score: self.score + score, mode, since_s: event.t_s, past, passed_over: None, ..self.clone() }
    }

    /// The two last bursts were a turn of a stroke whose start was too gentle to be seen. Their sum is twice the new
    /// stroke's velocity, their difference twice the sideways speed; only that the two stand at right angles can be checked.
    fn turned_unseen(&self, event: Event) -> Option<Self> {
        let (first, refund) = self.passed_over?;
        let time_s = event.t_s - first.t_s;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 {
            return None;
        }
        let sum: [f64; 2] = [0, 1].map(|i| 0.5 * (first.step[i] + event.step[i]));
        let speed: f64 = sum[0].hypot(sum[1]);
        if speed < SPEEDS_MPS.0 || speed > SPEEDS_MPS.1 {
            return None;
        }
        let d = sum.map(|v| v / speed);
        let half: [f64; 2] = [0, 1].map(|i| 0.5 * (first.step[i] - event.step[i]));
        // Signed to the left of the stroke that ended, which ran against the new one.
        let side = half[0] * d[1] - half[1] * d[0];
        let askew = half[0] * d[0] + half[1] * d[1];
        let anyhow = -(0.08_f64).ln() - (core::f64::consts::TAU * speed).ln() - (0.24_f64).ln();
        let score = anyhow + fits(askew, STEP_MPS.hypot(0.15 * side.abs())) - 2.0 * REAL_COST - UNSEEN_COST - refund;
        let mut next = self.after(score, Mode::Stroke, Role::Start, event);
        next.direction = Some(d);
        next.speed = Some(speed);
        next.sideways = Some(side);
        next.stroke_s = None;
        Some(next)
    }

    /// A quick move to where the work goes on, between two rests; one after a stroke's end, or the turns of slow strokes with a
    /// quick sideways step would all pass for moves.
    fn moves_off(&self, event: Event, size: f64) -> Option<Self> {
        // Slower than the strokes it would be no quick move, and a stroke too gentle at its end would be taken for one.
        let slow = 1.5 * self.speed?;
        let after_stroke = self.past.as_ref().is_some_and(|p| p.role == Role::EndResting);
        if !after_stroke || event.t_s - self.since_s < 0.3 || size < slow {
            return None;
        }
        let anyhow = fits(event.step[0], MOVE_MPS) + fits(event.step[1], MOVE_MPS);
        Some(self.after(anyhow - REAL_COST - MOVE_COST, Mode::Move, Role::Move, event))
    }

    fn arrives(&self, event: Event) -> Option<Self> {
        let first = self.past.as_ref()?.event;
        let time_s = event.t_s - self.since_s;
        if time_s < MOVE_S.0 || time_s > MOVE_S.1 {
            return None;
        }
        let sd = STEP_MPS.hypot(ASKEW * first.step[0].hypot(first.step[1]));
        let score = fits(event.step[0] + first.step[0], sd) + fits(event.step[1] + first.step[1], sd);
        Some(self.after(score - REAL_COST, Mode::Rest, Role::Move, event))
    }

    /// The speed after a burst said `said`, m/s, with standard deviation `sd`: the less it says, the less is learned.
    fn learned(speed: f64, said: f64, sd: f64) -> f64 {
        let usual = STEP_MPS.hypot(0.15 * speed);
        let gain = LEARN * (usual / sd).powi(2).min(1.0);
        (1.0 - gain) * speed + gain * said.max(0.3 * speed)
    }

    fn starts(&self, event: Event, size: f64) -> Option<Self> {
        if event.t_s - self.since_s < 0.3 || size < SPEEDS_MPS.0 || size > SPEEDS_MPS.1 {
            return None;
        }
        let direction = [event.step[0] / size, event.step[1] / size];
        // Any direction, any usual speed; a density in the plane of velocity steps.
        let anyhow = -(0.08_f64).ln() - (core::f64::consts::TAU * size).ln();
        let mut score = anyhow;
        if let Some(speed) = self.speed {
            let like_before = fits(size - speed, STEP_MPS.hypot(0.2 * speed)) - (core::f64::consts::TAU * size).ln();
            score = like_before.max(anyhow - 2.5);
        }
        let mut stroke_s = self.stroke_s;
        if let Some(d) = self.direction {
            // Along the strokes before, or across them, more likely than aslant.
            let along = direction[0] * d[0] + direction[1] * d[1];
            let across = direction[0] * d[1] - direction[1] * d[0];
            let quarter = core::f64::consts::FRAC_PI_2;
            let off = (across.atan2(along) + 0.5 * quarter).rem_euclid(quarter) - 0.5 * quarter;
            score += (-0.5 * (off / 0.2).powi(2)).max(-ASLANT_COST) + 0.7;
            if along.abs() < 0.7 {
                stroke_s = None;
                score -= ACROSS_COST;
            } else if along > 0.0 {
                // Strokes run to and fro; one more the same way needs a way back that was not seen.
                score -= SAME_WAY_COST;
            }
        }
        let mut next = self.after(score - REAL_COST - 1.0, Mode::Stroke, Role::Start, event);
        next.direction = Some(direction);
        next.speed = Some(self.speed.map_or(size, |v| 0.5 * (v + size)));
        next.stroke_s = stroke_s;
        Some(next)
    }

    fn ends(&self, event: Event, out: &mut Vec<Self>) {
        let (Some(d), Some(speed)) = (self.direction, self.speed) else { return };
        let time_s = event.t_s - self.since_s;
        if time_s < MIN_STROKE_S {
            return;
        }
        let taken = -(event.step[0] * d[0] + event.step[1] * d[1]);
        let side = event.step[1] * d[0] - event.step[0] * d[1];
        let sd = STEP_MPS.hypot(0.15 * speed).hypot(ASKEW * side.abs());
        let lasting = match self.stroke_s {
            Some(usual) => (-0.5 * ((time_s / usual).ln() / 0.22).powi(2)).max(-5.0),
            None => -0.5 * ((time_s / 8.0).ln() / 0.8).powi(2),
        };
        let put = |mut next: Self| {
            next.speed = Some(Self::learned(speed, taken, sd));
            next.stroke_s = Some(self.stroke_s.map_or(time_s, |u| 0.6 * u + 0.4 * time_s));
            next.strokes += 1;
            next
        };
        let stopping = fits(taken - speed, sd);
        let score = stopping + fits(side, STEP_MPS.hypot(0.2 * speed)) + lasting - REAL_COST - 1.0;
        out.push(put(self.after(score, Mode::Rest, Role::EndResting, event)));

        let sidestep = match self.sideways {
            Some(c) => (fits(side.abs() - c.abs(), STEP_MPS.hypot(0.2 * c.abs())) - 0.7).max(-(0.15_f64).ln() - 4.0),
            None if side.abs() < 0.15 => -(0.24_f64).ln(),
            // The quicker it is, the rarer.
            None if side.abs() < QUICKEST_STEP_MPS => -(0.24_f64).ln() - 2.0,
            None => -9.0,
        };
        let mut next =
            put(self.after(stopping + sidestep + lasting - REAL_COST, Mode::Sidestep, Role::EndTurning, event));
        next.sideways = Some(self.sideways.map_or(side, |c| (0.6 * c.abs() + 0.4 * side.abs()).copysign(side)));
        out.push(next);

        let score = fits(taken - 2.0 * speed, 2.0 * sd) + fits(side, (2.0 * STEP_MPS).hypot(0.25 * speed)) + lasting;
        let mut next = put(self.after(score - REAL_COST - 3.0, Mode::Stroke, Role::Reversal, event));
        next.speed = Some(Self::learned(speed, 0.5 * taken, sd));
        next.direction = Some([-d[0], -d[1]]);
        out.push(next);
    }

    fn turns_back(&self, event: Event) -> Option<Self> {
        let (d, speed, c) = (self.direction?, self.speed?, self.sideways?);
        let time_s = event.t_s - self.since_s;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 {
            return None;
        }
        let given = -(event.step[0] * d[0] + event.step[1] * d[1]);
        let side = event.step[0] * d[1] - event.step[1] * d[0];
        let sd = STEP_MPS.hypot(0.2 * speed).hypot(ASKEW * side.abs());
        let score = fits(given - speed, sd) + fits(side - c, STEP_MPS.hypot(0.2 * c.abs()));
        let mut next = self.after(score - REAL_COST, Mode::Stroke, Role::Start, event);
        next.speed = Some(Self::learned(speed, given, sd));
        // Over the turn the sideways parts cancel: the sum of its two steps says where the new stroke goes.
        let mut back = [-d[0], -d[1]];
        if let Some(past) = &self.past {
            let sum = [past.event.step[0] + event.step[0], past.event.step[1] + event.step[1]];
            let size = sum[0].hypot(sum[1]);
            if size > speed && given > 0.3 * speed {
                back = [back[0] + sum[0] / size, back[1] + sum[1] / size];
                let n = back[0].hypot(back[1]);
                back = [back[0] / n, back[1] / n];
            }
        }
        next.direction = Some(back);
        Some(next)
    }

    fn told(&self) -> Vec<RawStroke> {
        let mut steps = Vec::new();
        let mut at = self.past.as_ref();
        while let Some(p) = at {
            steps.push((p.role, p.event));
            at = p.before.as_ref();
        }
        let (mut out, mut open, mut joined) = (Vec::new(), None, false);
        for (role, event) in steps.into_iter().rev() {
            if role != Role::Start
                && let Some(start) = open.take()
            {
                out.push(RawStroke { start, end: event, joined });
                joined = role != Role::EndResting;
            }
            if matches!(role, Role::Start | Role::Reversal) {
                open = Some(event);
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Two passes at right angles, four strokes each, with a quick move between them; gives the bursts and the strokes' times.
    fn day(rng: &mut ChaCha8Rng, speed: f64, side: f64) -> (Vec<Event>, Vec<(f64, f64)>) {
        let mut gauss = |sd: f64| -> f64 {
            let g: f64 = StandardNormal.sample(rng);
            sd * g
        };
        let (mut events, mut times, mut t) = (Vec::new(), Vec::new(), 5.0);
        for pass in 0..2 {
            let mut put = |t_s: f64, x: f64, y: f64| {
                let (x, y) = (x + gauss(0.003), y + gauss(0.003));
                events.push(Event { t_s, step: if pass == 0 { [x, y] } else { [y, x] } });
            };
            for n in 0..4 {
                let way = if n % 2 == 0 { 1.0 } else { -1.0 };
                put(t, way * speed, if n == 0 { 0.0 } else { -side });
                put(t + 9.0, -way * speed, if n == 3 { 0.0 } else { side });
                times.push((t, t + 9.0));
                t += if n == 3 { 9.0 } else { 9.6 };
            }
            put(t + 1.2, 0.13, -0.1);
            put(t + 1.7, -0.13, 0.1);
            t += 4.0;
        }
        (events, times)
    }

    #[test]
    fn every_stroke_is_told_and_a_quick_move_is_none() {
        let mut rng = ChaCha8Rng::seed_from_u64(21);
        for (speed, side) in [(0.03, 0.03), (0.045, 0.06), (0.025, 0.2)] {
            for _ in 0..40 {
                let (events, times) = day(&mut rng, speed, side);
                let mut tracker = StrokeTracker::new();
                events.into_iter().for_each(|e| tracker.push(e));
                let told: Vec<(f64, f64)> = tracker.settled().iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
                assert_eq!(told, times, "speed {speed}, sideways {side}");
            }
        }
    }

    #[test]
    fn a_badly_measured_burst_teaches_little() {
        let well = Account::learned(0.03, 0.05, 0.005);
        let badly = Account::learned(0.03, 0.05, 0.05);
        assert!(well > 0.035 && badly < 0.0305 && badly > 0.03, "{well} {badly}");
    }
}
