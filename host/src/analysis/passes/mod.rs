//! From settled strokes to section passes: refined turn times and steps, common direction, lengths and speeds.
//!
//! # Terms
//!
//! Strokes along one axis that follow each other by sideways steps, or by short rests ([`group::PAUSE_S`]), belong to one pass; at
//! an angle (a crosshatch) they are two. A pass lasts from the start of its first stroke to the end of its last. Passes belong to
//! one section until the mark button is pressed or the motor has stood for a minute; that is the pipeline's to say.

mod group;
#[cfg(test)]
mod tests;

use super::attitude::Vec3;
use super::findings::{Interval, LengthDoubt, Z90};
use super::strokes::{RawStroke, SPEEDS_MPS, STROKE_SCATTER, across, along, quick_between};
use super::traverse::{self, Doubt, Known, STEP_SD_MPS, Timed, Traverse, UNEVEN};
use super::turns::{self, Event, Stretch};
use core::ops::Range;
use group::group;

/// How far a sideways step leaks into the speed along the strokes, relative: in one burst, in the sum of a turn's two.
const ASKEW: f64 = 0.15;
const SUM_ASKEW: f64 = 0.05;
/// Largest spread of a pass's speeds from the shape of its turns, relative; half of it is reached where sideways steps are this
/// many times as quick as the strokes. From drawn recordings of all kinds that the published table does not use
/// (`tests/accuracy/run 211 12`): with 0.12 the intervals hold 96.6 % of the truths, with 0.06 95.4 %, with 0.04 95.2 %: what
/// they miss then are strokes gone wrong as a whole, which no such spread can hold.
const SHAPE_SPREAD: f64 = 0.06;
const SHAPE_RATIO: f64 = 3.0;
/// From the pad taking load to the arm moving, and from the arm resting to the pad relieved, one standard deviation, s. Common practice, no published source.
const LOADED_S: f64 = 0.4;
/// ln of the odds that a stroke after a rest goes back, before its bursts are looked at.
const TO_AND_FRO: f64 = 5.0;

/// One stroke with all that hindsight gives.
#[derive(Clone, Copy, Debug)]
pub(super) struct SettledStroke {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// Unit vector of travel in the heading frame.
    pub(super) direction: [f64; 2],
    pub(super) traverse: Traverse,
    /// Sideways speed of the step that led here, m/s along the pass's across axis; 0 for the first, not known after a rest.
    pub(super) sideways_mps: Option<f64>,
    /// Whether its start, its end are only supposed.
    pub(super) supposed: [bool; 2],
}

/// One pass.
#[derive(Clone, Debug)]
pub(super) struct SettledPass {
    pub(super) strokes: Vec<SettledStroke>,
    pub(super) mean_mps: Interval,
    /// Where a stroke length was told that does not agree with the turns.
    pub(super) length_doubt: Option<LengthDoubt>,
    /// Unit vector of the first stroke, heading frame.
    pub(super) axis: [f64; 2],
}

impl SettledPass {
    fn mean_length_m(&self) -> Interval {
        let mean_s = self.strokes.iter().map(|s| s.end_s - s.start_s).sum::<f64>() / self.strokes.len() as f64;
        let Interval { lo, value, hi } = self.mean_mps;
        Interval { lo: lo * mean_s, value: value * mean_s, hi: hi * mean_s }
    }

    /// Widens the intervals of its speeds so that they take in those of the same pass worked out otherwise.
    fn reach(&mut self, other: &Self) {
        for (stroke, same) in self.strokes.iter_mut().zip(&other.strokes) {
            stroke.traverse.reach(same.traverse.interval());
        }
        self.mean_mps = self.mean_mps.reaching(other.mean_mps);
    }
}

/// Bursts refined with hindsight.
struct Refined {
    times_s: [f64; 2],
    steps: [[f64; 2]; 2],
    /// One of its ends is shared with a stroke across: that step lies along neither.
    askew: bool,
}

/// What the stretch of work is thought to consist of.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found<'a> {
    pub(super) strokes: &'a [RawStroke],
    /// Times of the bursts of quick moves between them, s.
    pub(super) moves_s: &'a [f64],
    /// Width of a burst as far as known, s.
    pub(super) width_s: f64,
    /// Whether the work is over; cut off, it may have gone on.
    pub(super) ended: bool,
}

/// Settles the strokes of one stretch of work; gives the passes, and the width of a burst as found here.
///
/// * `bias_at`: the gyro bias to use around a time, rad/s.
/// * `motor_on`: whether the motor ran around a time, s.
/// * `cuts_s`: times that end a pass whatever the arm did: mark button, motor off.
/// * `known`: travel of one stroke, where it is known.
pub(super) fn settle(
    stretch: Stretch<'_>,
    found: Found<'_>,
    bias_at: impl Fn(f64) -> Vec3,
    motor_on: &dyn Fn(f64) -> bool,
    cuts_s: &[f64],
    known: Known,
) -> (Vec<SettledPass>, f64) {
    let (refined, width_s) = refine(stretch, found, bias_at, motor_on);
    (passes_of(found.strokes, &refined, cuts_s, known, found.ended), width_s)
}

/// The same from the events as they were first measured, for the live view: work goes on.
pub(super) fn preview(strokes: &[RawStroke], cuts_s: &[f64], known: Known) -> Vec<SettledPass> {
    passes_of(strokes, &as_measured(strokes), cuts_s, known, false)
}

/// Where the turns of any pass clearly contradict the told length, all go by the turns, as though none had been told; where it hardly
/// fits one, the intervals of all take in what the turns say: what is wrong for one pass of a stretch of work is not to be relied on
/// for those beside it.
fn passes_of(
    strokes: &[RawStroke],
    refined: &[Refined],
    cuts_s: &[f64],
    known: Known,
    ended: bool,
) -> Vec<SettledPass> {
    let groups = group(strokes, refined, cuts_s, ended);
    let by = |(pass, doubled): &(Range<usize>, [f64; 2]), known: Known| {
        assemble(*doubled, &strokes[pass.clone()], &refined[pass.clone()], known)
    };
    let Some(told_m) = known.told_length_m else { return groups.iter().filter_map(|g| by(g, known)).collect() };
    let untold = Known { told_length_m: None, ..known };
    let by_turns: Vec<Option<SettledPass>> = groups.iter().map(|g| by(g, untold)).collect();
    let doubts = by_turns.iter().flatten().filter_map(|pass| traverse::doubt(pass.mean_length_m(), told_m));
    let Some(doubt) = doubts.max() else { return groups.iter().filter_map(|g| by(g, known)).collect() };
    let clear = doubt == Doubt::Clear;
    let each = groups.iter().zip(by_turns).map(|(g, by_turns)| {
        let Some(by_turns) = by_turns else { return by(g, known).filter(|_| !clear) };
        let length_doubt = Some(LengthDoubt { by_turns_m: by_turns.mean_length_m(), clear });
        if clear {
            return Some(SettledPass { length_doubt, ..by_turns });
        }
        let mut pass = SettledPass { length_doubt, ..by(g, known)? };
        pass.reach(&by_turns);
        Some(pass)
    });
    each.flatten().collect()
}

fn as_measured(strokes: &[RawStroke]) -> Vec<Refined> {
    let mut out = single_bursts(strokes);
    take_pairs(strokes, |e| e.step, &mut out);
    out
}

/// Each burst by itself.
fn single_bursts(strokes: &[RawStroke]) -> Vec<Refined> {
    let single =
        |s: &RawStroke| Refined { times_s: [s.start.t_s, s.end.t_s], steps: [s.start.step, s.end.step], askew: false };
    strokes.iter().map(single).collect()
}

/// What only two bursts together say of a stroke's speed; `step_at` is the best known step of a burst.
fn take_pairs(strokes: &[RawStroke], step_at: impl Fn(Event) -> [f64; 2], out: &mut [Refined]) {
    take_moves(strokes, &step_at, out);
    take_asides(strokes, &step_at, out);
    take_last_turns(strokes, &step_at, out);
}

/// Where a stroke ended in a quick move to elsewhere, only the sum of the move's two bursts says what became of its speed. If
/// the next stroke began with the second one, across, the sum says what speed it got, too.
fn take_moves(strokes: &[RawStroke], step_at: impl Fn(Event) -> [f64; 2], out: &mut [Refined]) {
    for i in 0..strokes.len() {
        let Some(event) = strokes[i].moved else { continue };
        let both = sum(out[i].steps[1], step_at(event));
        out[i].steps[1] = both;
        if strokes.get(i + 1).is_some_and(|s| s.start == event && !s.masked[0]) {
            out[i].askew = true;
            out[i + 1].steps[0] = both;
            out[i + 1].askew = true;
        }
    }
}

/// A stroke that turned into one that is not told: the turn changed the speed twice over, and its sum tells it by half.
fn take_last_turns(strokes: &[RawStroke], step_at: impl Fn(Event) -> [f64; 2], out: &mut [Refined]) {
    for (stroke, refined) in strokes.iter().zip(out) {
        let Some(start) = stroke.turned else { continue };
        let both = if start == stroke.end { refined.steps[1] } else { sum(refined.steps[1], step_at(start)) };
        refined.steps[1] = both.map(|v| 0.5 * v);
    }
}

/// A stroke's end or start that lies within the step aside of a turn shows in the sum of that step's two bursts.
fn take_asides(strokes: &[RawStroke], step_at: impl Fn(Event) -> [f64; 2], out: &mut [Refined]) {
    for i in 1..strokes.len() {
        let Some([first, second]) = strokes[i].aside else { continue };
        if strokes[i - 1].end == first {
            out[i - 1].steps[1] = sum(step_at(first), step_at(second));
        } else if strokes[i].start == second {
            out[i].steps[0] = sum(step_at(first), step_at(second));
        }
    }
}

/// One burst of a stretch: an end of a stroke (its number, start 0 or end 1), or of a quick move.
#[derive(Clone, Copy, Debug)]
struct Burst {
    t_s: f64,
    of: Option<(usize, usize)>,
}

fn refine(
    stretch: Stretch<'_>,
    found: Found<'_>,
    bias_at: impl Fn(f64) -> Vec3,
    motor_on: &dyn Fn(f64) -> bool,
) -> (Vec<Refined>, f64) {
    let strokes = found.strokes;
    let mut out = single_bursts(strokes);
    // A reversal ends one stroke and starts the next with one burst.
    let shared = |i: usize| i > 0 && strokes[i].start.t_s == strokes[i - 1].end.t_s;
    let mut bursts: Vec<Burst> = found.moves_s.iter().map(|t| Burst { t_s: *t, of: None }).collect();
    for (i, s) in strokes.iter().enumerate() {
        if !shared(i) && !s.supposed[0] && !s.by_load[0] {
            bursts.push(Burst { t_s: s.start.t_s, of: Some((i, 0)) });
        }
        if !s.supposed[1] && !s.by_load[1] {
            bursts.push(Burst { t_s: s.end.t_s, of: Some((i, 1)) });
        }
    }
    bursts.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let times: Vec<f64> = bursts.iter().map(|b| b.t_s).collect();
    let groups = turns::groups(&times, motor_on);
    let fit = |(r, over_s): &(core::ops::Range<usize>, (f64, f64)), width_s: f64| {
        stretch.fit(&times[r.clone()], *over_s, bias_at(times[r.start]), width_s)
    };
    // The width of a burst belongs to the person: single ones are held to the middle one of the whole stretch.
    let mut widths: Vec<(f64, f64)> =
        groups.iter().filter_map(|g| fit(g, found.width_s).map(|f| (f.width_s, f.width_weight))).collect();
    let width = weighted_median(&mut widths).unwrap_or(found.width_s);
    let mut measured: Vec<(f64, [f64; 2])> = Vec::with_capacity(bursts.len());
    for g in &groups {
        let Some(fit) = fit(g, width) else { continue };
        for (j, b) in bursts[g.0.clone()].iter().enumerate() {
            measured.push((b.t_s, fit.steps[j]));
            if let Some((i, end)) = b.of {
                out[i].times_s[end] = fit.times_s[j];
                out[i].steps[end] = fit.steps[j];
            }
        }
    }
    for i in (1..strokes.len()).filter(|i| shared(*i)) {
        out[i].times_s[0] = out[i - 1].times_s[1];
        out[i].steps[0] = out[i - 1].steps[1];
    }
    let step_at = |e: Event| measured.iter().find(|m| m.0 == e.t_s).map_or(e.step, |m| m.1);
    take_pairs(strokes, step_at, &mut out);
    (out, width)
}

fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * values.iter().map(|v| v.1).sum::<f64>();
    let mut sum = 0.0;
    values
        .iter()
        .find(|v| {
            sum += v.1;
            sum >= half
        })
        .map(|v| v.0)
}

fn sum(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] + b[0], a[1] + b[1]]
}

/// What a turn says of the strokes it joins: over both of its bursts the sideways parts cancel, their sum lies along the strokes.
fn turn_sum(i: usize, strokes: &[RawStroke], refined: &[Refined]) -> [f64; 2] {
    if strokes[i].start == strokes[i - 1].end {
        refined[i].steps[0]
    } else {
        sum(refined[i - 1].steps[1], refined[i].steps[0])
    }
}

/// How one stroke came out of the one before, if it did without a rest.
enum Turn {
    None,
    /// Two bursts with a sideways step between them: their sum, and the speed along the across axis, m/s.
    Sidestep([f64; 2], f64),
    /// One burst.
    Reversal([f64; 2]),
    /// A stop or a start of its own beside a sideways step: what they add up to, one standard deviation of that per axis, m/s, and
    /// the mean speed over the turn along the across axis, m/s.
    Stopped([f64; 2], f64, f64),
}

fn turn_into(axis: [f64; 2], i: usize, strokes: &[RawStroke], refined: &[Refined]) -> Turn {
    if i == 0 || !strokes[i].joined {
        return Turn::None;
    }
    let both = turn_sum(i, strokes, refined);
    if strokes[i].start == strokes[i - 1].end {
        return Turn::Reversal(both);
    }
    if let Some([first, second]) = strokes[i].aside {
        let quick = quick_between(first.step, second.step);
        let within = strokes[i - 1].masked[1] || strokes[i].masked[0];
        let leak = if within { SUM_ASKEW * quick[0].hypot(quick[1]) } else { 0.0 };
        let (aside_s, turn_s) = (second.t_s - first.t_s, refined[i].times_s[0] - refined[i - 1].times_s[1]);
        let sd = (core::f64::consts::SQRT_2 * STEP_SD_MPS).hypot(leak);
        return Turn::Stopped(both, sd, across(axis, quick) * aside_s / turn_s);
    }
    Turn::Sidestep(both, across(axis, quick_between(refined[i - 1].steps[1], refined[i].steps[0])))
}

/// The runs of a pass's strokes that all turned into each other.
fn chains(strokes: &[RawStroke]) -> impl Iterator<Item = Range<usize>> {
    let mut from = 0;
    strokes.chunk_by(|_, later| later.joined).map(move |chain| {
        let to = from + chain.len();
        std::mem::replace(&mut from, to)..to
    })
}

/// Which way along the axis each stroke went, +1 or -1.
///
/// Where strokes turn into each other they go to and fro: that is what a turn is. So one question is left for each chain of
/// them, and all its bursts answer together. A turn is asked for the sum of its two bursts only: a sideways step several
/// times as fast as the strokes spoils each, by its direction and its shape, but the two spoils cancel. After a rest, to
/// and fro is what to expect, unless the bursts speak against it.
fn ways_along(axis: [f64; 2], strokes: &[RawStroke], refined: &[Refined]) -> Vec<f64> {
    let mut ways: Vec<f64> = Vec::with_capacity(strokes.len());
    for chain in chains(strokes) {
        let (first, last) = (chain.start, chain.end - 1);
        // What the speed along the chain's first way would be, as each burst has it, and the variance of that.
        let mut said: Vec<(f64, f64)> = Vec::new();
        let mut way = 1.0;
        let alone = |v: [f64; 2], way: f64| {
            let sd = STEP_SD_MPS.hypot(ASKEW * across(axis, v));
            (way * along(axis, v), sd * sd)
        };
        for i in chain.clone() {
            if i > first {
                way = -way;
            } else if strokes[i].says_nothing(0) {
                continue;
            }
            said.push(match turn_into(axis, i, strokes, refined) {
                Turn::None => alone(refined[i].steps[0], way),
                Turn::Sidestep(v, side) => {
                    let sd = STEP_SD_MPS.hypot(SUM_ASKEW * side);
                    (0.5 * way * along(axis, v), 0.5 * sd * sd)
                }
                Turn::Reversal(v) => (0.5 * way * along(axis, v), 0.25 * STEP_SD_MPS * STEP_SD_MPS),
                Turn::Stopped(v, sd, _) => (0.5 * way * along(axis, v), 0.25 * sd * sd),
            });
        }
        if !strokes[last].says_nothing(1) {
            said.push(alone(refined[last].steps[1], -way));
        }
        let weight: f64 = said.iter().map(|s| 1.0 / s.1).sum();
        let speed = said.iter().map(|s| s.0 / s.1).sum::<f64>() / weight;
        // ln of the odds of this way against the other, given a speed of that size.
        let mut odds = if said.is_empty() { 0.0 } else { 2.0 * speed * speed.abs() * weight };
        if let Some(before) = ways.last() {
            odds -= before * TO_AND_FRO;
        }
        let mut way = if odds < 0.0 { -1.0 } else { 1.0 };
        for _ in chain {
            ways.push(way);
            way = -way;
        }
    }
    ways
}

/// Times of the strokes and the speeds at their ends. The sum of a turn's bursts is shared out as its bursts have it where
/// the sideways step is slow, and as strokes of one length would have it where that step drowns the difference.
fn timed_along(axis: [f64; 2], ways: &[f64], strokes: &[RawStroke], refined: &[Refined]) -> Vec<Timed> {
    let mut timed: Vec<Timed> = Vec::with_capacity(strokes.len());
    for (i, r) in refined.iter().enumerate() {
        let time_s = r.times_s[1] - r.times_s[0];
        let mut start = ways[i] * along(axis, r.steps[0]);
        let end = -ways[i] * along(axis, r.steps[1]);
        let turn = turn_into(axis, i, strokes, refined);
        if let (Turn::Sidestep(v, _) | Turn::Reversal(v), Some(before)) = (&turn, timed.last_mut()) {
            let both = ways[i] * along(axis, *v);
            let share = both * before.time_s / (before.time_s + time_s);
            let trust = match turn {
                Turn::Sidestep(_, side) => {
                    let uneven = UNEVEN * 0.5 * both;
                    uneven * uneven / (uneven * uneven + (ASKEW * side).powi(2)).max(1e-12)
                }
                _ => 0.0,
            };
            start = trust * start + (1.0 - trust) * share;
            before.ends_mps[1] = Some(both - start);
        }
        let heard = |end: usize, v: f64| (!strokes[i].says_nothing(end)).then_some(v);
        let by_load = strokes[i].by_load.iter().filter(|by_load| **by_load).count() as f64;
        let supposed = strokes[i].supposed.contains(&true);
        let time_spread = if supposed { STROKE_SCATTER } else { by_load.sqrt() * LOADED_S / time_s };
        timed.push(Timed { time_s, time_spread, ends_mps: [heard(0, start), heard(1, end)] });
    }
    timed
}

/// What all speeds of a pass may be off by because the sideways steps are quicker than the strokes, relative: then the two
/// bursts of a turn are shaped by the step, and the turning of the stroke itself lies between and beyond them.
fn shape_spread(axis: [f64; 2], speed_mps: f64, strokes: &[RawStroke], refined: &[Refined]) -> f64 {
    let mut sides: Vec<f64> = (0..strokes.len())
        .filter_map(|i| match turn_into(axis, i, strokes, refined) {
            Turn::Sidestep(_, side) => Some(side.abs() / speed_mps.max(1e-4)),
            _ => None,
        })
        .collect();
    sides.sort_by(f64::total_cmp);
    let ratio = sides.get(sides.len() / 2).map_or(0.0, |r| r * r);
    SHAPE_SPREAD * ratio / (ratio + SHAPE_RATIO * SHAPE_RATIO)
}

/// A pass of these strokes along an axis (see [`group()`]); `None` where no arm could have done it.
fn assemble(doubled: [f64; 2], strokes: &[RawStroke], refined: &[Refined], known: Known) -> Option<SettledPass> {
    let half = 0.5 * doubled[1].atan2(doubled[0]);
    let mut axis = [half.cos(), half.sin()];
    let mut ways = ways_along(axis, strokes, refined);
    if ways.first().is_some_and(|w| *w < 0.0) {
        // Of the two ways along the axis, the first stroke's.
        axis = axis.map(|a| -a);
        ways.iter_mut().for_each(|w| *w = -*w);
    }
    let timed = timed_along(axis, &ways, strokes, refined);
    let (mut traverses, mut mean_mps) = traverse::estimate(&timed, known)?;
    if known.told_length_m.is_none() {
        let blur = shape_spread(axis, mean_mps.value, strokes, refined);
        traverses.iter_mut().for_each(|t| t.blur(blur));
        let k = (Z90.recip() * (mean_mps.hi / mean_mps.value).ln()).hypot(blur);
        let k = (Z90 * k).exp();
        mean_mps = Interval { lo: mean_mps.value / k, value: mean_mps.value, hi: mean_mps.value * k };
    }
    if mean_mps.lo > SPEEDS_MPS.1 {
        // No arm polishes so fast: something else swings, and nothing is known of it.
        return None;
    }
    let mut settled = Vec::new();
    for (i, (r, traverse)) in refined.iter().zip(traverses).enumerate() {
        let sideways = match turn_into(axis, i, strokes, refined) {
            _ if i == 0 => Some(0.0),
            Turn::Sidestep(_, side) | Turn::Stopped(_, _, side) => Some(side),
            Turn::Reversal(_) => Some(0.0),
            Turn::None => None,
        };
        settled.push(SettledStroke {
            start_s: r.times_s[0],
            end_s: r.times_s[1],
            direction: axis.map(|a| a * ways[i]),
            traverse,
            sideways_mps: sideways,
            supposed: strokes[i].supposed,
        });
    }
    Some(SettledPass { strokes: settled, mean_mps, length_doubt: None, axis })
}
