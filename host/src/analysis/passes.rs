//! From settled strokes to section passes: refined turn times and steps, common direction, lengths and speeds.
//!
//! # Terms
//!
//! Strokes that follow each other by sideways steps belong to one pass. Runs of strokes separated by a rest belong to one
//! pass if they are parallel and the rest is short ([`PAUSE_S`]); at an angle (a crosshatch) they are two. A pass lasts
//! from the start of its first stroke to the end of its last. Passes belong to one section until the mark button is
//! pressed or more than [`SECTION_PAUSE_S`] go by without work.

use super::attitude::Vec3;
use super::findings::Interval;
use super::strokes::RawStroke;
use super::traverse::{self, Timed, Traverse};
use super::turns::Stretch;

/// Longest rest inside a pass, s.
const PAUSE_S: f64 = 6.0;
/// Longest time without work inside a section, s.
pub(super) const SECTION_PAUSE_S: f64 = 60.0;
/// Bursts closer than this are fitted together, s.
const TOGETHER_S: f64 = 1.9;
/// At most so many bursts in one fit.
const FIT_AT_MOST: usize = 4;

/// One stroke with all that hindsight gives.
#[derive(Clone, Copy, Debug)]
pub(super) struct SettledStroke {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// Unit vector of travel in the heading frame.
    pub(super) direction: [f64; 2],
    pub(super) traverse: Traverse,
    /// Sideways speed of the step that led here, m/s along the pass's across axis; 0 for the first.
    pub(super) sideways_mps: f64,
}

/// One pass.
#[derive(Clone, Debug)]
pub(super) struct SettledPass {
    pub(super) strokes: Vec<SettledStroke>,
    pub(super) mean_mps: Interval,
    /// Unit vector of the first stroke, heading frame.
    pub(super) axis: [f64; 2],
}

/// Bursts refined with hindsight.
struct Refined {
    times_s: [f64; 2],
    steps: [[f64; 2]; 2],
}

/// Settles the strokes of one stretch of work.
///
/// * `width_s`: width of a burst as far as known; given back as found here.
/// * `bias_at`: the gyro bias to use around a time, rad/s.
/// * `cuts_s`: times that end a pass whatever the arm did: mark button, motor off.
/// * `told_length_m`: travel of one stroke, where it is known.
pub(super) fn settle(
    stretch: Stretch<'_>,
    strokes: &[RawStroke],
    width_s: f64,
    bias_at: impl Fn(f64) -> Vec3,
    cuts_s: &[f64],
    told_length_m: Option<f64>,
) -> (Vec<SettledPass>, f64) {
    let (refined, width_s) = refine(stretch, strokes, width_s, bias_at);
    (passes_of(strokes, &refined, cuts_s, told_length_m), width_s)
}

/// The same from the events as they were first measured: for the live view.
pub(super) fn preview(strokes: &[RawStroke], cuts_s: &[f64], told_length_m: Option<f64>) -> Vec<SettledPass> {
    passes_of(strokes, &as_measured(strokes), cuts_s, told_length_m)
}

fn passes_of(
    strokes: &[RawStroke],
    refined: &[Refined],
    cuts_s: &[f64],
    told_length_m: Option<f64>,
) -> Vec<SettledPass> {
    group(strokes, refined, cuts_s)
        .into_iter()
        .filter_map(|(members, doubled)| assemble(&members, doubled, strokes, refined, told_length_m))
        .collect()
}

fn as_measured(strokes: &[RawStroke]) -> Vec<Refined> {
    strokes.iter().map(|s| Refined { times_s: [s.start.t_s, s.end.t_s], steps: [s.start.step, s.end.step] }).collect()
}

fn refine(
    stretch: Stretch<'_>,
    strokes: &[RawStroke],
    width_s: f64,
    bias_at: impl Fn(f64) -> Vec3,
) -> (Vec<Refined>, f64) {
    let mut out = as_measured(strokes);
    let mut clusters: Vec<Vec<(usize, usize)>> = Vec::new();
    let mut last_s = f64::NEG_INFINITY;
    for i in 0..strokes.len() {
        for end in 0..2 {
            let t = out[i].times_s[end];
            // A reversal ends one stroke and starts the next with one burst.
            let shared = end == 0 && i > 0 && t == out[i - 1].times_s[1];
            match clusters.last_mut() {
                _ if shared => {}
                Some(c) if t - last_s <= TOGETHER_S && c.len() < FIT_AT_MOST => c.push((i, end)),
                _ => clusters.push(vec![(i, end)]),
            }
            last_s = t;
        }
    }
    let times = |c: &[(usize, usize)], out: &[Refined]| c.iter().map(|&(i, e)| out[i].times_s[e]).collect::<Vec<_>>();
    // The width of a burst belongs to the person: take the middle one over the whole stretch.
    let mut widths: Vec<(f64, f64)> = clusters
        .iter()
        .filter_map(|c| {
            let t = times(c, &out);
            let fit = stretch.fit(&t, bias_at(t[0]), width_s, true, 6)?;
            Some((fit.width_s, fit.width_weight))
        })
        .collect();
    let width = weighted_median(&mut widths).unwrap_or(width_s);
    for c in &clusters {
        let t = times(c, &out);
        let Some(fit) = stretch.fit(&t, bias_at(t[0]), width, false, 5) else { continue };
        for (j, &(i, e)) in c.iter().enumerate() {
            out[i].times_s[e] = fit.times_s[j];
            out[i].steps[e] = fit.steps[j];
        }
    }
    for i in 1..strokes.len() {
        if strokes[i].start.t_s == strokes[i - 1].end.t_s {
            out[i].times_s[0] = out[i - 1].times_s[1];
            out[i].steps[0] = out[i - 1].steps[1];
        }
    }
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

/// A vector as an axis: to and fro count the same. The angle is doubled, the length kept.
fn axis_of(v: [f64; 2]) -> [f64; 2] {
    let n = v[0].hypot(v[1]).max(1e-9);
    [(v[0] * v[0] - v[1] * v[1]) / n, 2.0 * v[0] * v[1] / n]
}

fn sum(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] + b[0], a[1] + b[1]]
}

fn group(strokes: &[RawStroke], refined: &[Refined], cuts_s: &[f64]) -> Vec<(Vec<usize>, [f64; 2])> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for (i, stroke) in strokes.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if stroke.joined => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    let mut passes: Vec<(Vec<usize>, [f64; 2])> = Vec::new();
    for run in runs {
        let (first, last) = (run[0], run[run.len() - 1]);
        // Over a turn the sideways parts of the two bursts cancel: their sum lies along the strokes.
        let mut axis = [0.0; 2];
        for &i in &run[1..] {
            let turn = if strokes[i].start == strokes[i - 1].end {
                refined[i].steps[0]
            } else {
                sum(refined[i - 1].steps[1], refined[i].steps[0])
            };
            axis = sum(axis, axis_of(turn).map(|v| 2.0 * v));
        }
        let share = if run.len() == 1 { 1.0 } else { 0.5 };
        axis = sum(axis, axis_of(refined[first].steps[0]).map(|v| share * v));
        axis = sum(axis, axis_of(refined[last].steps[1]).map(|v| share * v));
        if let Some((members, before)) = passes.last_mut() {
            let rest_s = refined[first].times_s[0] - refined[members[members.len() - 1]].times_s[1];
            let parallel = axis[0] * before[0] + axis[1] * before[1] > 0.0;
            let (end_s, start_s) = (refined[members[members.len() - 1]].times_s[1], refined[first].times_s[0]);
            let cut = cuts_s.iter().any(|c| (end_s..=start_s).contains(c));
            if parallel && rest_s < PAUSE_S && !cut {
                members.extend(run);
                *before = sum(*before, axis);
                continue;
            }
        }
        passes.push((run, axis));
    }
    passes
}

fn assemble(
    members: &[usize],
    doubled: [f64; 2],
    strokes: &[RawStroke],
    refined: &[Refined],
    told_length_m: Option<f64>,
) -> Option<SettledPass> {
    let half = 0.5 * doubled[1].atan2(doubled[0]);
    // Of the two ways along the axis, the first stroke's.
    let lead = &refined[members[0]].steps;
    let ahead = (lead[0][0] - lead[1][0]) * half.cos() + (lead[0][1] - lead[1][1]) * half.sin();
    let axis = [half.cos() * ahead.signum(), half.sin() * ahead.signum()];
    let dot = |v: [f64; 2]| v[0] * axis[0] + v[1] * axis[1];
    let across = |v: [f64; 2]| v[1] * axis[0] - v[0] * axis[1];
    let mut timed = Vec::new();
    let mut signs = Vec::new();
    for &i in members {
        let r = &refined[i];
        let sign = (dot(r.steps[0]) - dot(r.steps[1])).signum();
        let halved = |other: Option<usize>, e: usize| {
            // The one burst of a reversal holds two speeds.
            let shared = other.is_some_and(|o| {
                if e == 0 { strokes[o].end == strokes[i].start } else { strokes[o].start == strokes[i].end }
            });
            if shared { 0.5 } else { 1.0 }
        };
        let ends = [
            Some(sign * dot(r.steps[0]) * halved(i.checked_sub(1), 0)),
            Some(-sign * dot(r.steps[1]) * halved((i + 1 < strokes.len()).then_some(i + 1), 1)),
        ];
        timed.push(Timed { time_s: r.times_s[1] - r.times_s[0], ends_mps: ends });
        signs.push(sign);
    }
    let (traverses, mean_mps) = traverse::estimate(&timed, told_length_m)?;
    let mut settled = Vec::new();
    for (n, (&i, traverse)) in members.iter().zip(traverses).enumerate() {
        let r = &refined[i];
        let sideways = if n > 0 && strokes[i].joined && strokes[i].start != strokes[i - 1].end {
            0.5 * (across(refined[i - 1].steps[1]) - across(r.steps[0]))
        } else {
            0.0
        };
        settled.push(SettledStroke {
            start_s: r.times_s[0],
            end_s: r.times_s[1],
            direction: axis.map(|a| a * signs[n]),
            traverse,
            sideways_mps: sideways,
        });
    }
    Some(SettledPass { strokes: settled, mean_mps, axis })
}
