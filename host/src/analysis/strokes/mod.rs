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

mod hindsight;
mod pair;
#[cfg(test)]
mod tests;

use super::findings::Measured;
use super::traverse::UNEVEN;
use super::turns::Event;
use pair::{Pair, goes_anywhere};
pub(super) use pair::{across, along};
use std::sync::Arc;

/// Accounts carried along.
const KEPT: usize = 40;
/// Accounts with the same end kept at most: so many that each reading of one pair of bursts (turn, way to elsewhere, stroke
/// across) may live on until the next turn tells them apart.
const SAME_END: usize = 12;
/// Accounts this far (in natural log likelihood) behind the best are dropped.
const BEHIND: f64 = 20.0;
/// What calling a burst real costs, natural log.
const REAL_COST: f64 = 3.0;
/// What a stroke in the same direction as the one before costs, natural log.
const SAME_WAY_COST: f64 = 5.0;
/// What a new direction costs, across the strokes before and at most aslant to them, natural log.
const ACROSS_COST: f64 = 1.0;
const ASLANT_COST: f64 = 4.0;
/// What going elsewhere without a stop at the stroke's end costs, natural log.
const NO_STOP_COST: f64 = 2.5;
/// What setting off across at once, without a rest, costs, natural log.
const AT_ONCE_COST: f64 = 5.0;
/// What a stroke whose start was not seen costs, natural log; besides, that it goes back, or to one side across.
const UNSEEN_COST: f64 = 4.0;
const UNSEEN_BACK_COST: f64 = 0.7;
const UNSEEN_ACROSS_COST: f64 = 1.4;
/// What each second of rest costs, natural log, and a long rest at most: with the motor running nobody stands still for long.
/// Common practice, no published source.
const REST_COST_PER_S: f64 = 0.2;
const LONG_REST_COST: f64 = 5.0;
/// Velocity steps of noise bursts, and of the measurement, m/s, one standard deviation per axis.
const NOISE_MPS: f64 = 0.007;
const STEP_MPS: f64 = 0.005;
/// How well a stroke's direction is known at first, rad.
const ASKEW: f64 = 0.15;
/// How much the times of a person's strokes scatter, relative; the time of anybody's, s, and its scatter.
pub(super) const STROKE_SCATTER: f64 = 0.22;
const USUAL_S: f64 = 8.0;
const USUAL_SCATTER: f64 = 0.8;
/// A stroke begins this long after the burst before, at least, s.
const STARTS_AFTER_S: f64 = 0.3;
/// Shortest stroke, s.
const MIN_STROKE_S: f64 = 1.3;
/// Shortest and longest sideways step between two strokes, s.
const SIDESTEP_S: (f64, f64) = (0.15, 3.2);
/// How far a sideways step leaks into the sum of a turn's two bursts, relative.
const SUM_ASKEW: f64 = 0.06;
/// Widest sideways step, m: about two pads.
const WIDEST_M: f64 = 0.25;
/// How far the ends of neighbouring strokes lie from square, one standard deviation, m.
const UNSQUARE_M: f64 = 0.02;
/// Speed of an arm's quick movements, m/s, one standard deviation per axis.
const QUICK_MPS: f64 = 0.12;
/// Shortest and longest quick move between two rests, s; what calling one so costs, natural log; its usual speed, m/s.
const MOVE_S: (f64, f64) = (0.2, 2.0);
const MOVE_COST: f64 = 3.0;
const MOVE_MPS: f64 = 0.2;
/// What calling a strong burst at rest no work at all costs, natural log: the machine is set down, or turned over.
const HANDLED_COST: f64 = 6.0;
/// What ending a stroke by lifting the machine off costs, natural log.
const LIFTED_COST: f64 = 4.0;
/// How far the speed of one stroke may lie from that of the ones before, one standard deviation, relative.
const HURRY: f64 = 0.5;
/// A start quicker than this is not told as a stroke's speed, m/s: nobody corrects paint that fast, but steps aside are quicker.
/// Common practice, no published source.
const QUICKEST_TOLD_MPS: f64 = 0.1;
/// Share of the speed's old value that a well measured burst replaces.
const LEARN: f64 = 0.3;
/// Speeds a stroke can have, m/s.
pub(super) const SPEEDS_MPS: (f64, f64) = (0.008, 0.35);

/// What a burst was taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Start,
    /// Start of a stroke across the ones before, straight from the way there.
    StartAcross,
    /// End of a stroke, followed by a sideways step.
    EndTurning,
    /// The same where the stroke's start was not noticed.
    EndUnnoticed,
    /// End of a stroke, followed by rest.
    EndResting,
    /// The same as the machine was lifted off, or its motor ran down: a burst of any size and direction.
    EndLifted,
    /// End of one stroke and start of the next.
    Reversal,
    /// Start or end of a quick move to another place, no stroke.
    Move,
    /// End of a quick move to another place, where a stroke began soon, too gently to be seen.
    MoveThenStart,
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
    /// Speed of the current stroke by itself, m/s.
    current: Option<Measured>,
    /// Size of the sideways steps, m.
    sidestep_m: Option<f64>,
    stroke_s: Option<f64>,
    since_s: f64,
    strokes: u32,
    past: Option<Arc<Past>>,
    /// What the first burst of a pair was given for now; the pair is judged together when its second burst comes.
    lent: f64,
    /// At rest: the burst called noise last, and what that cost. It may yet turn out to have been half of a turn.
    passed_over: Option<(Event, f64)>,
}

/// A stroke as the events tell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawStroke {
    pub(super) start: Event,
    pub(super) end: Event,
    /// Whether the step at its start, its end says nothing of its speed: of the start because it is the end of the quick move that
    /// led there, of the end because the machine was lifted off or its motor ran down.
    pub(super) masked: [bool; 2],
    /// Whether its start, its end are only supposed, for nothing showed them: the stroke is taken to have lasted as long as the
    /// others. The turn at its other end says that it was there.
    pub(super) supposed: [bool; 2],
    /// It began with the sideways step (or reversal) that ended the stroke before.
    pub(super) joined: bool,
    /// It ended with a quick move to elsewhere, whose second burst this is: the two together took its speed away.
    pub(super) moved: Option<Event>,
}

impl RawStroke {
    /// Whether the burst at its start (0) or end (1) says nothing of its speed.
    pub(super) fn says_nothing(&self, end: usize) -> bool {
        self.supposed[end] || self.masked[end]
    }
}

/// What the best account says now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Now {
    pub(super) mode: Mode,
    /// Since when, s.
    pub(super) since_s: f64,
    /// Speed of the current stroke as far as its start tells, m/s.
    pub(super) speed_mps: Option<Measured>,
    /// Finished strokes.
    pub(super) strokes: u32,
}

/// A stretch of work as the settled account has it.
#[derive(Debug)]
pub(super) struct Settled {
    pub(super) strokes: Vec<RawStroke>,
    /// Times of the bursts taken for quick moves, s.
    pub(super) moves_s: Vec<f64>,
}

/// Follows the arm.
#[derive(Debug)]
pub(super) struct StrokeTracker {
    accounts: Vec<Account>,
    /// All bursts so far, for what only hindsight can tell.
    heard: Vec<Event>,
}

/// Natural log of a normal density, without its constant.
fn fits(error: f64, sd: f64) -> f64 {
    -0.5 * (error / sd) * (error / sd) - sd.ln()
}

/// How likely a stroke lasts so long where they usually last `usual_s`, natural log; anyone may stop half way for once.
fn lasting(time_s: f64, usual_s: f64) -> f64 {
    (-0.5 * ((time_s / usual_s).ln() / STROKE_SCATTER).powi(2)).max(-5.0)
}

/// What so many seconds of rest cost, natural log.
fn rest_cost(seconds: f64) -> f64 {
    (REST_COST_PER_S * seconds).clamp(0.0, LONG_REST_COST)
}

/// How likely a burst is noise: natural log of a density in the plane of velocities.
fn is_noise(event: Event) -> f64 {
    let sd = NOISE_MPS.hypot(event.blur);
    fits(event.step[0], sd) + fits(event.step[1], sd) + 0.3
}

impl StrokeTracker {
    pub(super) fn new() -> Self {
        Self {
            accounts: vec![Account {
                score: 0.0,
                mode: Mode::Rest,
                direction: None,
                speed: None,
                current: None,
                sidestep_m: None,
                stroke_s: None,
                since_s: f64::NEG_INFINITY,
                strokes: 0,
                past: None,
                lent: 0.0,
                passed_over: None,
            }],
            heard: Vec::new(),
        }
    }

    /// Takes the next candidate burst (times rise).
    pub(super) fn push(&mut self, event: Event) {
        let size = event.step[0].hypot(event.step[1]);
        if !size.is_finite() || !event.t_s.is_finite() {
            return;
        }
        self.heard.push(event);
        let mut next = Vec::with_capacity(4 * self.accounts.len());
        for a in &self.accounts {
            let mut noise = is_noise(event);
            if a.mode == Mode::Rest {
                noise = noise.max(goes_anywhere(event.step) - HANDLED_COST);
            }
            let passed_over = (a.mode == Mode::Rest).then_some((event, noise));
            next.push(Account { score: a.score + noise, passed_over, ..a.clone() });
            match a.mode {
                Mode::Rest => {
                    next.extend(a.starts(event, size));
                    next.extend(a.turned_unseen(event));
                    next.extend(a.moves_off(event, size));
                }
                Mode::Stroke => a.ends(event, &mut next),
                Mode::Sidestep => a.turns(event, &mut next),
                Mode::Move => a.arrives(event, &mut next),
            }
        }
        next.retain(|a| !a.has_lapsed(event.t_s));
        next.sort_by(|a, b| b.score.total_cmp(&a.score));
        let best = next.first().map_or(f64::NAN, |a| a.score);
        if !best.is_finite() {
            return;
        }
        let rest = next.iter().position(|a| a.mode == Mode::Rest);
        self.accounts.clear();
        for (n, a) in next.into_iter().enumerate() {
            let same = self.accounts.iter().filter(|b| b.mode == a.mode && b.since_s == a.since_s).count();
            let likely = a.score >= best - BEHIND && self.accounts.len() < KEPT && same < SAME_END;
            // From rest all can begin anew, however unlikely it seems now.
            if likely || rest == Some(n) {
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
        Now { mode: best.mode, since_s: best.since_s, speed_mps: best.current, strokes: best.strokes }
    }

    /// Strokes finished in the best account.
    pub(super) fn strokes(&self) -> Vec<RawStroke> {
        self.accounts[0].told(&self.heard)
    }

    /// What is thought of the work so far, now that it has paused; the motor ran until `until_s`.
    pub(super) fn settled(&self, until_s: f64) -> Settled {
        let (account, last) = self.paused(until_s);
        let mut strokes = account.told(&self.heard);
        if let Some(last) = last {
            strokes.pop_if(|s| s.start == last.start);
            strokes.push(last);
        }
        let moves = account.bursts().into_iter().filter(|(role, _)| *role == Role::Move);
        Settled { strokes, moves_s: moves.map(|(_, e)| e.t_s).collect() }
    }

    /// The best account now that work has paused: one at rest, or one whose last stroke ended unnoticed, with that stroke.
    fn paused(&self, until_s: f64) -> (&Account, Option<RawStroke>) {
        let score = |a: &Account| a.score - a.rest_cost(until_s);
        let resting = self.accounts.iter().filter(|a| a.mode == Mode::Rest);
        let resting = resting.max_by(|a, b| score(a).total_cmp(&score(b))).unwrap_or(&self.accounts[0]);
        let open = self.accounts.iter().filter_map(|a| {
            let last = a.ended_unnoticed(until_s)?;
            Some((a, last, a.score - UNSEEN_COST - rest_cost(until_s - last.end.t_s)))
        });
        match open.max_by(|a, b| a.2.total_cmp(&b.2)) {
            Some((account, last, open)) if open > score(resting) => (account, Some(last)),
            _ => (resting, None),
        }
    }
}

impl Account {
    /// What each real burst was taken for, in order.
    fn bursts(&self) -> Vec<(Role, Event)> {
        let mut bursts = Vec::new();
        let mut at = self.past.as_ref();
        while let Some(p) = at {
            bursts.push((p.role, p.event));
            at = p.before.as_ref();
        }
        bursts.reverse();
        bursts
    }

    fn after(&self, score: f64, mode: Mode, role: Role, event: Event) -> Self {
        let past = Some(Arc::new(Past { role, event, before: self.past.clone() }));
        Self { score: self.score + score, mode, since_s: event.t_s, past, passed_over: None, ..self.clone() }
    }

    /// The two last bursts were a turn of a stroke whose start was too gentle to be seen. Their sum is twice the new
    /// stroke's velocity, their difference twice the sideways speed; only that the two stand at right angles can be checked.
    fn turned_unseen(&self, event: Event) -> Option<Self> {
        let (first, refund) = self.passed_over?;
        let time_s = event.t_s - first.t_s;
        // It began after the last burst that was one.
        let longest_s = first.t_s - self.since_s - STARTS_AFTER_S;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 || longest_s < MIN_STROKE_S {
            return None;
        }
        let sum: [f64; 2] = [0, 1].map(|i| 0.5 * (first.step[i] + event.step[i]));
        let speed: f64 = sum[0].hypot(sum[1]);
        if speed < SPEEDS_MPS.0 || speed > SPEEDS_MPS.1 {
            return None;
        }
        let d = sum.map(|v| v / speed);
        let pair = Pair::of(first, event, d);
        let sd = STEP_MPS.hypot(SUM_ASKEW * pair.size());
        let (begins, usual_s) = self.begins(sum.map(|v| -v), sd);
        let hurried = usual_s.map_or(0.0, |usual| lasting(longest_s.min(usual), usual));
        let score = begins + hurried + pair.steps_aside(None, speed) - 2.0 * REAL_COST - UNSEEN_COST - refund;
        let score = score - self.rest_cost(event.t_s);
        let before = self.after(0.0, Mode::Sidestep, Role::EndUnnoticed, first);
        let mut next = before.after(score, Mode::Stroke, Role::Start, event);
        next.direction = Some(d);
        next.speed = Some(speed);
        next.current = self.by_itself(speed, sd);
        next.sidestep_m = Some(pair.aside_m());
        next.stroke_s = None;
        Some(next)
    }

    /// A quick move to where the work goes on, between two rests; one after a stroke's end, or the turns of slow strokes with a
    /// quick sideways step would all pass for moves.
    fn moves_off(&self, event: Event, size: f64) -> Option<Self> {
        // Slower than the strokes it would be no quick move, and a stroke too gentle at its end would be taken for one.
        let slow = 0.7 * self.speed?;
        let after_stroke = self.past.as_ref().is_some_and(|p| p.role == Role::EndResting);
        if !after_stroke || event.t_s - self.since_s < 0.2 || size < slow {
            return None;
        }
        let score = goes_anywhere(event.step) - REAL_COST - MOVE_COST - self.rest_cost(event.t_s);
        Some(self.after(score, Mode::Move, Role::Move, event))
    }

    fn arrives(&self, event: Event, out: &mut Vec<Self>) {
        let Some(past) = &self.past else { return };
        let first = past.event;
        let time_s = event.t_s - self.since_s;
        if time_s < MOVE_S.0 || time_s > MOVE_S.1 {
            return;
        }
        let sd = STEP_MPS.hypot(ASKEW * first.step[0].hypot(first.step[1]));
        let score = fits(event.step[0] + first.step[0], sd) + fits(event.step[1] + first.step[1], sd);
        let arrived = self.after(score - REAL_COST, Mode::Rest, Role::Move, event);
        arrived.sets_off_unseen(event, out);
        out.push(arrived);
    }

    /// Having just arrived somewhere, a stroke may begin so soon or so gently that the move's far stronger burst hides it: back
    /// along the strokes before, or across them. When it ends, its time and the speed taken away tell whether there was one.
    fn sets_off_unseen(&self, event: Event, out: &mut Vec<Self>) {
        let Some(d) = self.direction else { return };
        for (direction, cost, back) in [
            ([-d[0], -d[1]], UNSEEN_BACK_COST, true),
            ([-d[1], d[0]], UNSEEN_ACROSS_COST, false),
            ([d[1], -d[0]], UNSEEN_ACROSS_COST, false),
        ] {
            out.push(Self {
                score: self.score - UNSEEN_COST - cost,
                mode: Mode::Stroke,
                direction: Some(direction),
                current: None,
                stroke_s: self.stroke_s.filter(|_| back),
                past: self
                    .past
                    .as_ref()
                    .map(|p| Arc::new(Past { role: Role::MoveThenStart, event, before: p.before.clone() })),
                ..self.clone()
            });
        }
    }

    /// Whether the second burst of a pair has not come in time: the account can never go on.
    fn has_lapsed(&self, t_s: f64) -> bool {
        let longest_s = match self.mode {
            Mode::Sidestep => SIDESTEP_S.1,
            Mode::Move => MOVE_S.1,
            Mode::Rest | Mode::Stroke => return false,
        };
        t_s - self.since_s > longest_s
    }

    /// What resting until `t_s` costs, natural log.
    fn rest_cost(&self, t_s: f64) -> f64 {
        if self.past.is_none() {
            // Before the first stroke nobody knows when the work began.
            return 0.0;
        }
        rest_cost(t_s - self.since_s)
    }

    /// The speed after a burst said `said`, m/s, with standard deviation `sd`: the less it says, the less is learned.
    fn learned(speed: f64, said: f64, sd: f64) -> f64 {
        let usual = STEP_MPS.hypot(0.15 * speed);
        let gain = LEARN * (usual / sd).powi(2).min(1.0);
        (1.0 - gain) * speed + gain * said.max(0.3 * speed)
    }

    /// How likely a stroke begins with velocity `v`, measured to `sd`: natural log of a density in the plane of velocities; and
    /// the usual time of a stroke, where it still counts.
    fn begins(&self, v: [f64; 2], sd: f64) -> (f64, Option<f64>) {
        let size = v[0].hypot(v[1]);
        let direction = v.map(|v| v / size);
        // Any direction, any usual speed; a density in the plane of velocity steps.
        let anyhow = -(0.08_f64).ln() - (core::f64::consts::TAU * size).ln();
        let mut score = anyhow;
        if let Some(speed) = self.speed {
            let like_before = fits(size - speed, sd.hypot(0.2 * speed)) - (core::f64::consts::TAU * size).ln();
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
        (score, stroke_s)
    }

    /// Speed of a stroke whose start said `said`, m/s, with standard deviation `sd`: mostly as the ones before, but anyone may
    /// hurry for once. Nothing where that is as quick as steps aside are: the stroke's end will tell which it was.
    fn by_itself(&self, said: f64, sd: f64) -> Option<Measured> {
        let sd = sd.hypot(UNEVEN * said.max(0.0));
        let said = Measured { value: said, sd };
        let speed = self.speed.map_or(said, |usual| {
            let (own, before) = (sd.powi(-2), (HURRY * usual).powi(-2));
            Measured { value: (own * said.value + before * usual) / (own + before), sd: (own + before).powf(-0.5) }
        });
        (speed.value < QUICKEST_TOLD_MPS).then_some(speed)
    }

    /// The same over a turn that changed the speed by `both`, m/s: what the stroke before had is taken off.
    fn after_turn(&self, both: f64, sd: f64) -> Option<Measured> {
        let Some(before) = self.current else {
            return self.by_itself(0.5 * both, 0.5 * sd.hypot(HURRY * both));
        };
        self.by_itself(both - before.value, sd.hypot(before.sd))
    }

    fn starts(&self, event: Event, size: f64) -> Option<Self> {
        if event.t_s - self.since_s < STARTS_AFTER_S || size < SPEEDS_MPS.0 || size > SPEEDS_MPS.1 {
            return None;
        }
        let direction = [event.step[0] / size, event.step[1] / size];
        let (score, stroke_s) = self.begins(event.step, STEP_MPS.hypot(event.blur));
        let score = score - REAL_COST - 1.0 - self.rest_cost(event.t_s);
        let mut next = self.after(score, Mode::Stroke, Role::Start, event);
        next.direction = Some(direction);
        next.speed = Some(self.speed.map_or(size, |v| 0.5 * (v + size)));
        next.current = self.by_itself(size, STEP_MPS.hypot(event.blur));
        next.stroke_s = stroke_s;
        Some(next)
    }

    fn ends(&self, event: Event, out: &mut Vec<Self>) {
        let (Some(d), Some(speed)) = (self.direction, self.speed) else { return };
        let time_s = event.t_s - self.since_s;
        if time_s < MIN_STROKE_S {
            return;
        }
        let (taken, side) = (-along(d, event.step), across(d, event.step));
        let blurred = STEP_MPS.hypot(event.blur);
        let sd = blurred.hypot(0.15 * speed).hypot(ASKEW * side.abs());
        let lasts = match self.stroke_s {
            Some(usual) => lasting(time_s, usual),
            None => -0.5 * ((time_s / USUAL_S).ln() / USUAL_SCATTER).powi(2),
        };
        let ended = |mut next: Self| {
            next.stroke_s = Some(self.stroke_s.map_or(time_s, |u| 0.6 * u + 0.4 * time_s));
            next.strokes += 1;
            next
        };
        let put = |next: Self| Self { speed: Some(Self::learned(speed, taken, sd)), ..ended(next) };
        let stopping = fits(taken - speed, sd);
        let score = stopping + fits(side, blurred.hypot(0.2 * speed)) + lasts - REAL_COST - 1.0;
        out.push(put(self.after(score, Mode::Rest, Role::EndResting, event)));

        // Lifted off, or the motor running down: when it ended is told, and no more. One whose start was not seen either would be
        // a stroke that nothing shows.
        let seen = self.past.as_ref().is_some_and(|p| p.role != Role::MoveThenStart);
        let score = goes_anywhere(event.step) + lasts - REAL_COST - LIFTED_COST;
        if seen {
            out.push(ended(self.after(score, Mode::Rest, Role::EndLifted, event)));
        }

        // Half of a turn says little by itself: what it leaks along the stroke may exceed the stroke's own speed.
        let lent = fits(event.step[0], QUICK_MPS) + fits(event.step[1], QUICK_MPS);
        let next = self.after(lent + lasts - REAL_COST, Mode::Sidestep, Role::EndTurning, event);
        out.push(Self { lent, ..ended(next) });

        let score = fits(taken - 2.0 * speed, 2.0 * sd) + fits(side, (2.0 * blurred).hypot(0.25 * speed)) + lasts;
        let mut next = put(self.after(score - REAL_COST - 3.0, Mode::Stroke, Role::Reversal, event));
        next.speed = Some(Self::learned(speed, 0.5 * taken, sd));
        next.current = self.after_turn(taken, blurred);
        next.direction = Some([-d[0], -d[1]]);
        out.push(next);
    }

    /// The second burst of a pair that began at a stroke's end: a turn with a sideways step, or the way to another place,
    /// where a stroke across begins at once or the arm rests.
    fn turns(&self, event: Event, out: &mut Vec<Self>) {
        let (Some(d), Some(speed), Some(past)) = (self.direction, self.speed, &self.past) else { return };
        let time_s = event.t_s - self.since_s;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 {
            return;
        }
        let pair = Pair::of(past.event, event, d);
        let sd = STEP_MPS.hypot(SUM_ASKEW * pair.size());
        // A turn takes away the speed and gives it anew, the other way.
        let turn_sd = sd.hypot(0.15 * speed);
        let score = fits(pair.along + 2.0 * speed, 2.0 * turn_sd)
            + fits(pair.across, (2.0 * sd).hypot(0.2 * speed))
            + pair.steps_aside(self.sidestep_m, speed);
        let mut next = self.after(score - self.lent - REAL_COST, Mode::Stroke, Role::Start, event);
        next.speed = Some(Self::learned(speed, -0.5 * pair.along, turn_sd));
        next.current = self.after_turn(-pair.along, 2.0 * sd);
        let aside = pair.aside_m();
        next.sidestep_m = Some(self.sidestep_m.map_or(aside, |m| 0.6 * m + 0.4 * aside));
        // Over the turn the sideways parts cancel: the sum of its two steps says where the new stroke goes.
        next.direction = Some(pair.turned(d, speed));
        out.push(next);

        let anywhere = pair.goes_anywhere() - self.lent - REAL_COST - MOVE_COST - NO_STOP_COST;
        // Or it takes the speed away and no more.
        let score = fits(pair.along + speed, turn_sd.hypot(sd)) + fits(pair.across, sd.hypot(0.2 * speed));
        let mut next = self.after(score + anywhere, Mode::Rest, Role::Move, event);
        next.speed = Some(Self::learned(speed, -pair.along, 2.0 * turn_sd));
        next.sets_off_unseen(event, out);
        out.push(next);

        // Or a stroke across begins at once.
        let way = 1.0_f64.copysign(pair.across);
        let score = fits(pair.along + speed, turn_sd.hypot(sd)) + fits(pair.across - way * speed, turn_sd.hypot(sd));
        let mut next =
            self.after(score + anywhere - AT_ONCE_COST - (2.0_f64).ln(), Mode::Stroke, Role::StartAcross, event);
        next.direction = Some([-way * d[1], way * d[0]]);
        next.current = self.by_itself(pair.across.abs(), sd);
        next.stroke_s = None;
        out.push(next);
    }
}
