//! Which strokes form one pass: by rests, by the direction of their turns, by what cuts.

use super::{RawStroke, Refined, sum, turn_sum};

/// Longest rest inside a pass, s.
pub(super) const PAUSE_S: f64 = 6.0;

/// A vector as an axis: to and fro count the same. The angle is doubled, the length kept.
fn axis_of(v: [f64; 2]) -> [f64; 2] {
    let n = v[0].hypot(v[1]).max(1e-9);
    [(v[0] * v[0] - v[1] * v[1]) / n, 2.0 * v[0] * v[1] / n]
}

/// Strokes that are thought to form one pass, and their common axis (see [`axis_of`]): the longer, the more certain.
type Members = (Vec<usize>, [f64; 2]);

pub(super) fn group(strokes: &[RawStroke], refined: &[Refined], cuts_s: &[f64]) -> Vec<Members> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for (i, stroke) in strokes.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if stroke.joined => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    let runs = runs.into_iter().flat_map(|run| split_across(run, strokes, refined));
    let passes = runs.map(|run| {
        let axis = axis_of_run(&run, strokes, refined);
        (run, axis)
    });
    // Whether the work may go on from one stroke to the next in the same pass.
    let goes_on = |last: usize, first: usize| {
        let (end_s, start_s) = (refined[last].times_s[1], refined[first].times_s[0]);
        start_s - end_s < PAUSE_S && !cuts_s.iter().any(|c| (end_s..=start_s).contains(c))
    };
    let passes = join_parallel(passes, goes_on);
    join_parallel(take_in_single_ones(passes, goes_on), goes_on)
}

/// Where the arm begins to work across without a rest, as its turns before and after say.
fn split_across(run: Vec<usize>, strokes: &[RawStroke], refined: &[Refined]) -> Vec<Vec<usize>> {
    /// Turns that must agree on either side.
    const TURNS: usize = 2;
    /// Share of all that the turns say of the axis which one axis for all of them would have to give up.
    const CLEAR: f64 = 0.5;

    let axes: Vec<[f64; 2]> = run[1..].iter().map(|&i| axis_of(turn_sum(i, strokes, refined))).collect();
    let size = |v: [f64; 2]| v[0].hypot(v[1]);
    let total = |axes: &[[f64; 2]]| axes.iter().fold([0.0; 2], |s, a| sum(s, *a));
    let given_up = |k: usize| {
        let (left, right) = (total(&axes[..k - 1]), total(&axes[k..]));
        size(left) + size(right) - size(sum(left, right))
    };
    let best = (TURNS + 1..(axes.len() + 1).saturating_sub(TURNS)).max_by(|a, b| given_up(*a).total_cmp(&given_up(*b)));
    match best.filter(|k| given_up(*k) > CLEAR * axes.iter().map(|a| size(*a)).sum::<f64>()) {
        Some(k) => {
            let (before, after) = run.split_at(k);
            [before.to_vec(), after.to_vec()].into_iter().flat_map(|run| split_across(run, strokes, refined)).collect()
        }
        None => vec![run],
    }
}

fn join_parallel(passes: impl IntoIterator<Item = Members>, goes_on: impl Fn(usize, usize) -> bool) -> Vec<Members> {
    let mut out: Vec<Members> = Vec::new();
    for (run, axis) in passes {
        if let Some((members, before)) = out.last_mut()
            && alike(axis, *before) > 0.0
            && goes_on(members[members.len() - 1], run[0])
        {
            members.extend(run);
            *before = sum(*before, axis);
        } else {
            out.push((run, axis));
        }
    }
    out
}

/// Nobody leaves a pass for a single stroke within seconds, and after a rest the bursts of one stroke can say anything of
/// its direction: single strokes belong to the pass beside them that is more nearly parallel.
fn take_in_single_ones(passes: Vec<Members>, goes_on: impl Fn(usize, usize) -> bool) -> Vec<Members> {
    let mut out: Vec<Members> = Vec::new();
    let mut rest = passes.into_iter().peekable();
    while let Some((run, axis)) = rest.next() {
        let single = run.len() == 1;
        let before = out.last().filter(|b| b.0.len() > 1 && goes_on(b.0[b.0.len() - 1], run[0]));
        let after = rest.peek().filter(|a| a.0.len() > 1 && goes_on(run[0], a.0[0]));
        let likeness = |pass: Option<&Members>| pass.map(|p| alike(axis, p.1));
        match (likeness(before), likeness(after)) {
            (Some(before), after) if single && after.is_none_or(|after| before >= after) => {
                if let Some(before) = out.last_mut() {
                    before.0.extend(run);
                }
            }
            (_, Some(_)) if single => {
                if let Some((members, _)) = rest.peek_mut() {
                    members.splice(0..0, run);
                }
            }
            _ => out.push((run, axis)),
        }
    }
    out
}

/// Cosine of twice the angle between two axes.
fn alike(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] * b[0] + a[1] * b[1]) / (a[0].hypot(a[1]) * b[0].hypot(b[1])).max(1e-12)
}

fn axis_of_run(run: &[usize], strokes: &[RawStroke], refined: &[Refined]) -> [f64; 2] {
    let turns = run[1..].iter().map(|&i| axis_of(turn_sum(i, strokes, refined)).map(|v| 2.0 * v));
    let mut axis = turns.fold([0.0; 2], sum);
    let share = if run.len() == 1 { 1.0 } else { 0.5 };
    for (i, end) in [(run[0], 0), (run[run.len() - 1], 1)] {
        if strokes[i].says_nothing(end) {
            continue;
        }
        let share = if refined[i].askew { 0.02 } else { share };
        axis = sum(axis, axis_of(refined[i].steps[end]).map(|v| share * v));
    }
    axis
}
