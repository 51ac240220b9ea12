//! Which strokes form one pass: by rests, by the direction of their bursts and of the quick steps between them, by what cuts.
//!
//! A pass has one axis. The bursts of its strokes lie along it, and the quick steps from one stroke to the next lie square to it;
//! between two passes the arm may go anywhere. So those passes are sought, each with an axis, under which all this together is
//! likeliest: from stroke to stroke over a grid of axes (A. J. Viterbi, IEEE Trans. Inf. Theory 13 (1967) 260; from memory).
//! Costs are natural logarithms of how unlikely something is.

use super::{ASKEW, RawStroke, Refined, STEP_SD_MPS, SUM_ASKEW, across, along, chains, quick_between, sum, turn_sum};
use core::f64::consts::{FRAC_PI_2, FRAC_PI_4, PI, SQRT_2, TAU};
use core::ops::Range;

/// Longest rest inside a pass, s.
pub(super) const PAUSE_S: f64 = 6.0;
/// Axes of the grid, evenly over half a turn.
const AXES: usize = 36;
/// What another pass after a rest costs, and one that begins without a rest. From drawn recordings of all kinds: one less or more
/// is somewhat worse.
const NEXT_COST: f64 = 2.0;
const AT_ONCE_COST: f64 = 5.0;
/// How far a pass lies from square to the one before, one standard deviation, rad, and what a pass at any angle costs at most.
const UNSQUARE_RAD: f64 = 0.25;
const ASLANT_COST: f64 = 4.0;
/// What a pass of one stroke costs where the work goes on beside it: nobody leaves a pass for a single stroke.
const SINGLE_COST: f64 = 6.0;
/// How far a quick step lies from square to the strokes it joins, one standard deviation, rad.
const STEP_RAD: f64 = 0.25;
/// What one burst, turn or step can cost at most: each may be spoiled by what is close to it.
const AT_MOST: f64 = 3.0;

/// Strokes that are thought to form one pass, and their common axis (see [`axis_of`]): the longer, the more certain.
type Members = (Range<usize>, [f64; 2]);

/// `ended`: whether no stroke can follow any more; until then the last pass is not over, and a single stroke may be its beginning.
pub(super) fn group(strokes: &[RawStroke], refined: &[Refined], cuts_s: &[f64], ended: bool) -> Vec<Members> {
    let evidence = Evidence { strokes, refined };
    // Whether nothing says that a pass ended before stroke `i`.
    let goes_on = |i: usize| {
        let (end_s, start_s) = (refined[i - 1].times_s[1], refined[i].times_s[0]);
        strokes[i].joined || start_s - end_s < PAUSE_S && !cuts_s.iter().any(|c| (end_s..=start_s).contains(c))
    };
    let mut out = Vec::new();
    let mut from = 0;
    while from < strokes.len() {
        let to = (from + 1..strokes.len()).find(|&i| !goes_on(i)).unwrap_or(strokes.len());
        let over = ended || to < strokes.len();
        out.extend(evidence.passes(from..to, over).into_iter().map(|pass| (pass.clone(), evidence.axis(pass))));
        from = to;
    }
    out
}

/// A vector as an axis: to and fro count the same. The angle is doubled, the length kept.
fn axis_of(v: [f64; 2]) -> [f64; 2] {
    let n = v[0].hypot(v[1]).max(1e-9);
    [(v[0] * v[0] - v[1] * v[1]) / n, 2.0 * v[0] * v[1] / n]
}

/// What an error costs.
fn off(error: f64, sd: f64) -> f64 {
    (0.5 * (error / sd).powi(2)).min(AT_MOST)
}

/// What a pass costs that lies so many steps of the grid off the one before; one as good as parallel to it is the same pass.
fn turned() -> [Option<f64>; AXES] {
    core::array::from_fn(|apart| {
        let from_square = FRAC_PI_2 - PI * apart.min(AXES - apart) as f64 / AXES as f64;
        (from_square <= FRAC_PI_4).then(|| (0.5 * (from_square / UNSQUARE_RAD).powi(2)).min(ASLANT_COST))
    })
}

/// The likeliest way to a state, which is an axis of the grid and whether the pass has more than one stroke.
#[derive(Clone, Copy)]
struct Way {
    cost: f64,
    before: Option<(usize, bool)>,
}

impl Way {
    const NONE: Self = Self { cost: f64::INFINITY, before: None };

    fn likelier(self, other: Self) -> Self {
        if other.cost < self.cost { other } else { self }
    }

    /// What it costs that the pass is over; where nothing was before it, a single stroke is all there is.
    fn over(self, many: bool) -> f64 {
        self.cost + if many || self.before.is_none() { 0.0 } else { SINGLE_COST }
    }
}

/// What the strokes and their bursts say of axes.
struct Evidence<'a> {
    strokes: &'a [RawStroke],
    refined: &'a [Refined],
}

impl Evidence<'_> {
    /// The passes of some strokes between which nothing cuts; `over`: whether the last of them is.
    fn passes(&self, strokes: Range<usize>, over: bool) -> Vec<Range<usize>> {
        let ways = self.ways(strokes.clone());
        let Some(last) = ways.last() else { return Vec::new() };
        let cost = |(axis, many): (usize, bool)| last[axis][usize::from(many)].over(many || !over);
        let states = (0..AXES).flat_map(|axis| [(axis, false), (axis, true)]);
        let mut state = states.min_by(|a, b| cost(*a).total_cmp(&cost(*b)));
        let (mut passes, mut end) = (Vec::new(), strokes.end);
        for (i, ways) in strokes.zip(&ways).rev() {
            let Some((axis, many)) = state else { break };
            if !many {
                passes.push(i..end);
                end = i;
            }
            state = ways[axis][usize::from(many)].before;
        }
        passes.reverse();
        passes
    }

    /// For each stroke and axis the likeliest ways to it as a pass's first stroke, and as a later one.
    fn ways(&self, strokes: Range<usize>) -> Vec<[[Way; 2]; AXES]> {
        let unit: [[f64; 2]; AXES] = core::array::from_fn(|k| {
            let (s, c) = (PI * k as f64 / AXES as f64).sin_cos();
            [c, s]
        });
        let turned = turned();
        let mut ways: Vec<[[Way; 2]; AXES]> = Vec::with_capacity(strokes.len());
        for i in strokes {
            let Some(before) = ways.last() else {
                ways.push(unit.map(|d| [Way { cost: self.own(i, d), before: None }, Way::NONE]));
                continue;
            };
            let from = |axis: usize, cost: fn(Way, bool) -> f64| {
                let from = |many| Way { cost: cost(before[axis][usize::from(many)], many), before: Some((axis, many)) };
                from(false).likelier(from(true))
            };
            let over: [Way; AXES] = core::array::from_fn(|axis| from(axis, Way::over));
            let next_cost = self.next_cost(i);
            ways.push(core::array::from_fn(|axis| {
                let first = over.iter().enumerate().filter_map(|(old, way)| {
                    let turned = turned[old.abs_diff(axis)]?;
                    Some(Way { cost: way.cost + next_cost + turned, ..*way })
                });
                let first = first.fold(Way::NONE, Way::likelier);
                let later = from(axis, |way, _| way.cost);
                let (own, within) = (self.own(i, unit[axis]), self.within(i, unit[axis]));
                [Way { cost: first.cost + own, ..first }, Way { cost: later.cost + own + within, ..later }]
            }));
        }
        ways
    }

    /// Whether a turn led from stroke `i - 1` to `i`, so that only the sum of its bursts counts.
    fn turns_into(&self, i: usize) -> bool {
        self.strokes.get(i).is_some_and(|s| s.joined && s.aside.is_none())
    }

    /// What the bursts of stroke `i` that are no part of a turn cost, if it goes along `d`.
    fn own(&self, i: usize, d: [f64; 2]) -> f64 {
        let (stroke, refined) = (&self.strokes[i], &self.refined[i]);
        let in_turn = [self.turns_into(i), self.turns_into(i + 1)];
        let blurs = [stroke.start.blur, stroke.end.blur];
        let told = (0..2).filter(|&end| !in_turn[end] && !stroke.says_nothing(end) && !refined.askew);
        told.map(|end| {
            let v = refined.steps[end];
            off(across(d, v), STEP_SD_MPS.hypot(blurs[end]).hypot(ASKEW * along(d, v)))
        })
        .sum()
    }

    /// What it costs that stroke `i` follows the one before in a pass along `d`.
    fn within(&self, i: usize, d: [f64; 2]) -> f64 {
        let step = self.step_into(i);
        let aside = step.map_or(0.0, |v| {
            // Against a step in any direction alike.
            let any = (PI / TAU.sqrt() / STEP_RAD).ln();
            off(along(d, v).abs().atan2(across(d, v).abs()), STEP_RAD) - any
        });
        if !self.turns_into(i) {
            return aside;
        }
        let (both, quick) = (turn_sum(i, self.strokes, self.refined), step.map_or(0.0, |v| v[0].hypot(v[1])));
        let sd = (SQRT_2 * STEP_SD_MPS).hypot(SUM_ASKEW * quick).hypot(ASKEW * along(d, both));
        aside + off(across(d, both), sd)
    }

    /// What it costs that stroke `i` begins another pass.
    fn next_cost(&self, i: usize) -> f64 {
        if self.turns_into(i) { AT_ONCE_COST } else { NEXT_COST }
    }

    /// The quick step into stroke `i` from the one before, where it was seen, m/s, to or fro.
    fn step_into(&self, i: usize) -> Option<[f64; 2]> {
        let (before, stroke) = (&self.strokes[i - 1], &self.strokes[i]);
        let turn = stroke.joined && stroke.start != before.end;
        let pair = stroke.aside.or(before.moved.map(|second| [before.end, second]));
        match pair.or(turn.then_some([before.end, stroke.start])) {
            Some([first, second]) => Some(quick_between(first.step, second.step)),
            // A masked start is the burst that ended the quick step.
            None => stroke.masked[0].then_some(stroke.start.step),
        }
    }

    /// The common axis of a pass.
    fn axis(&self, pass: Range<usize>) -> [f64; 2] {
        let chains = chains(&self.strokes[pass.clone()]);
        chains.map(|chain| self.axis_of_chain(pass.start + chain.start..pass.start + chain.end)).fold([0.0; 2], sum)
    }

    /// The common axis of strokes that all turned into each other.
    fn axis_of_chain(&self, chain: Range<usize>) -> [f64; 2] {
        let (first, last) = (chain.start, chain.end - 1);
        let turns = (first + 1..=last).map(|i| axis_of(turn_sum(i, self.strokes, self.refined)).map(|v| 2.0 * v));
        let mut axis = turns.fold([0.0; 2], sum);
        let share = if first == last { 1.0 } else { 0.5 };
        for (i, end) in [(first, 0), (last, 1)] {
            if self.strokes[i].says_nothing(end) {
                continue;
            }
            let share = if self.refined[i].askew { 0.02 } else { share };
            axis = sum(axis, axis_of(self.refined[i].steps[end]).map(|v| share * v));
        }
        axis
    }
}
