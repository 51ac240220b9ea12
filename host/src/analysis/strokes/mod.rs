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

mod account;
mod hindsight;
mod pair;
mod stops;
#[cfg(test)]
mod tests;

use super::findings::Measured;
use super::turns::Event;
use pair::goes_anywhere;
pub(super) use pair::{across, along, quick_between};
use std::sync::Arc;

/// Accounts carried along.
const KEPT: usize = 40;
/// Accounts with the same end kept at most: so many that each reading of one pair of bursts (turn, way to elsewhere, stroke
/// across) may live on until the next turn tells them apart.
const SAME_END: usize = 12;
/// Accounts this far (in natural log likelihood) behind the best are dropped.
const BEHIND: f64 = 20.0;
/// What a stroke whose start was not seen costs, natural log; besides, that it goes back, or to one side across.
const UNSEEN_COST: f64 = 4.0;
const UNSEEN_BACK_COST: f64 = 0.7;
const UNSEEN_ACROSS_COST: f64 = 1.4;
/// What each second of rest costs, natural log, and a long rest at most: with the motor running nobody stands still for long.
/// Common practice, no published source. With more for a long rest, drawn recordings with rests of 15 to 58 s show strokes there
/// that were none.
const REST_COST_PER_S: f64 = 0.3;
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
/// A stroke that stops half way lasts at least this share of the usual time.
const SHORTEST_SHARE: f64 = 0.25;
/// A stroke begins this long after the burst before, at least, s.
const STARTS_AFTER_S: f64 = 0.3;
/// Shortest stroke, s.
pub(super) const MIN_STROKE_S: f64 = 1.3;
/// Longest turn with a step aside from the end of one stroke to the start of the next, s.
pub(crate) const LONGEST_TURN_S: f64 = 3.2;
/// How far a sideways step leaks into the sum of a turn's two bursts, relative.
const SUM_ASKEW: f64 = 0.06;
/// Widest sideways step, m: about two pads.
const WIDEST_M: f64 = 0.25;
/// How far the ends of neighbouring strokes lie from square, one standard deviation, m.
const UNSQUARE_M: f64 = 0.02;
/// Shortest and longest quick move between two rests, s; what calling one so costs, natural log; its usual speed, m/s.
const MOVE_S: (f64, f64) = (0.2, 2.0);
const MOVE_COST: f64 = 3.0;
const MOVE_MPS: f64 = 0.2;
/// What calling a strong burst at rest no work at all costs, natural log: the machine is set down, or turned over.
const HANDLED_COST: f64 = 6.0;
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
    /// How many of those came before the first along the axis of now; `None` while all lie along one.
    axis_from: Option<u32>,
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
    /// Whether its start is when the pad took load, its end when it was relieved; no burst there tells how fast it went.
    pub(super) by_load: [bool; 2],
    /// It began with the sideways step (or reversal) that ended the stroke before.
    pub(super) joined: bool,
    /// The two bursts of that turn's step aside, where the arm stood still before it or after it. Then the end before or the start
    /// after is a burst of its own; the other one lies within the step aside and says nothing.
    pub(super) aside: Option<[Event; 2]>,
    /// It ended with a quick move to elsewhere, whose second burst this is: the two together took its speed away.
    pub(super) moved: Option<Event>,
    /// It ended with a turn into a stroke that is not told, because nobody saw it end; this is that one's start, the same burst
    /// after a reversal. The two together took this one's speed away and gave it anew, the other way.
    pub(super) turned: Option<Event>,
}

impl RawStroke {
    /// Whether the burst at its start (0) or end (1) says nothing of its speed.
    pub(super) fn says_nothing(&self, end: usize) -> bool {
        self.supposed[end] || self.masked[end] || self.by_load[end]
    }

    /// The bursts of the step aside that led here that are no end of a stroke.
    fn bursts_aside(&self) -> impl Iterator<Item = Event> {
        let masked = self.masked[0];
        self.aside.into_iter().flat_map(move |[first, second]| [Some(first), (!masked).then_some(second)]).flatten()
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
    /// Speed of the strokes so far as their bursts tell it, m/s.
    pub(super) usual_mps: Option<f64>,
    /// Finished strokes.
    pub(super) strokes: u32,
    /// How many of those the current stroke is parallel to, counted back from the last; `None` while all lie along one axis.
    pub(super) strokes_across: Option<u32>,
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

/// How likely a stroke lasts so long where they usually last `usual_s`, natural log; anyone may stop half way for once, but not at
/// once, nor go on for several times as long.
fn lasting(time_s: f64, usual_s: f64) -> f64 {
    let share = time_s / usual_s;
    let least = if (SHORTEST_SHARE..1.0).contains(&share) { -5.0 } else { -15.0 };
    (-0.5 * (share.ln() / STROKE_SCATTER).powi(2)).max(least)
}

/// What so many seconds of rest cost, natural log.
fn rest_cost(seconds: f64) -> f64 {
    (REST_COST_PER_S * seconds).clamp(0.0, LONG_REST_COST)
}

/// How likely a burst is noise: natural log of a density in the plane of velocities.
fn is_noise(event: Event) -> f64 {
    is_noise_of(event, NOISE_MPS)
}

/// The same where the steps of noise bursts are known to have this standard deviation per axis, m/s.
fn is_noise_of(event: Event, noise_mps: f64) -> f64 {
    let sd = noise_mps.hypot(event.blur);
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
                axis_from: None,
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
        Now {
            mode: best.mode,
            since_s: best.since_s,
            speed_mps: best.current,
            usual_mps: best.speed,
            strokes: best.strokes,
            strokes_across: best.axis_from.map(|from| best.strokes - from),
        }
    }

    /// Strokes finished in the best account.
    pub(super) fn strokes(&self) -> Vec<RawStroke> {
        stops::with_stops(self.accounts[0].told(&self.heard), &self.heard)
    }

    /// What is thought of the work so far, now that it has paused; the motor ran until `until_s`. Where the recording was `cut` while
    /// it ran, the stroke under way is none yet.
    pub(super) fn settled(&self, until_s: f64, cut: bool) -> Settled {
        let (account, last) = self.paused(until_s, cut);
        let mut strokes = account.told(&self.heard);
        if let Some(last) = last {
            strokes.pop_if(|s| s.start == last.start);
            // The turn led into this one, which is told.
            strokes.iter_mut().for_each(|s| s.turned = None);
            strokes.push(last);
        }
        let strokes = stops::with_stops(strokes, &self.heard);
        let moves = account.bursts().into_iter().filter(|(role, _)| *role == Role::Move).map(|(_, e)| e);
        let asides = strokes.iter().flat_map(RawStroke::bursts_aside);
        let turned = strokes.iter().filter_map(|s| s.turned.filter(|start| *start != s.end));
        Settled { moves_s: moves.chain(asides).chain(turned).map(|e| e.t_s).collect(), strokes }
    }

    /// The best account now that work has paused: one at rest, one whose last stroke ended unnoticed, with that stroke, or one that
    /// had just turned into a stroke when the motor stopped. Cut off while the motor ran, any that is in a stroke will do.
    fn paused(&self, until_s: f64, cut: bool) -> (&Account, Option<RawStroke>) {
        let score = |a: &Account| a.score - a.rest_cost(until_s);
        let resting = self.accounts.iter().filter(|a| a.mode == Mode::Rest);
        let resting = resting.max_by(|a, b| score(a).total_cmp(&score(b))).unwrap_or(&self.accounts[0]);
        let open = self.accounts.iter().filter_map(|a| {
            if cut && a.is_under_way(until_s) {
                return Some((a, None, a.score - UNSEEN_COST));
            }
            let last = a.ended_unnoticed(until_s);
            let rested_s = last.map_or(0.0, |last| until_s - last.end.t_s);
            (last.is_some() || a.had_just_turned(until_s))
                .then(|| (a, last, a.score - UNSEEN_COST - rest_cost(rested_s)))
        });
        match open.max_by(|a, b| a.2.total_cmp(&b.2)) {
            Some((account, last, open)) if open > score(resting) => (account, last),
            _ => (resting, None),
        }
    }
}
