//! The orbit rate of a machine that runs free, just before its pad takes load.
//!
//! Load slows the motor within half a second, by a few per cent: a step down among rates that else only wander. So the largest
//! step between the work before a pass and its first moments is looked for. Where none stands out of what the rate does within
//! the pass, the pad was not seen to take load: it may have stayed on the paint, or the machine may hold its rate.
//!
//! The same step tells a stroke's begin where its first burst was that of carrying the machine there, and a step up its end: nothing
//! is polished by a pad without load.

use super::statistics::quantile;
use crate::analysis::strokes::MIN_STROKE_S;
use core::ops::Range;

/// How long it must have run free, and for how long the load must show, s.
const PLATEAU_S: f64 = 0.8;
/// From either to the step, s: the rate is told over half a second, and the motor slows in as much.
const AROUND_S: f64 = 0.4;
/// Rates that must be known in either stretch, of eight.
const ENOUGH: usize = 6;
/// A step must be this many times as large as those within the pass are (one standard deviation).
const CLEAR: f64 = 3.0;
/// And so many to move a stroke's end, which may well be right.
const CLEAR_BEGIN: f64 = 4.0;
/// Steps within the pass are looked at this far apart, in rates.
const EVERY: usize = 5;
/// And must be so many, or nobody knows what the rate does.
const STEPS: usize = 8;

/// A stroke that began with carrying the machine there, or ended with carrying it away, is told this much too long at most, s, and
/// less than that is within what its ends are told to; more than [`AROUND_S`].
const LATE_S: f64 = 8.0;
const EARLY_S: f64 = 0.8;

/// The rate of running free, in the unit of the rates. These are `(time in s, rate)`, ten a second and in order; the pad took load
/// before `worked.0` at the latest, and the pass goes on until `worked.1`, s.
pub(super) fn free_rate(rates: &[(f64, Option<f64>)], worked: (f64, f64)) -> Option<f64> {
    let at = |t_s: f64| rates.partition_point(|r| r.0 < t_s);
    Some(largest_step(rates, 0..at(worked.0), at(worked.0)..at(worked.1), CLEAR)?.before)
}

/// When the pad took load and was relieved of it, among the rates of a stretch of work.
pub(super) struct Loads {
    rates: Vec<(f64, Option<f64>)>,
    /// The same with time running backwards: there the pad takes load where it was relieved of it.
    backwards: Vec<(f64, Option<f64>)>,
}

impl Loads {
    /// `rates` as for [`free_rate`].
    pub(super) fn new(rates: Vec<(f64, Option<f64>)>) -> Self {
        let backwards = rates.iter().rev().map(|(t_s, rate)| (-t_s, *rate)).collect();
        Self { rates, backwards }
    }

    /// When the pad took load, s, if it ran free for the first seconds of a stroke of these times, s, while the work went on from
    /// one to the other of those.
    pub(super) fn taken_s(&self, stroke: (f64, f64), work: (f64, f64)) -> Option<f64> {
        taken_s(&self.rates, stroke, work.1)
    }

    /// The same of the last seconds of the stroke: when the pad was relieved, s.
    pub(super) fn relieved_s(&self, stroke: (f64, f64), work: (f64, f64)) -> Option<f64> {
        taken_s(&self.backwards, (-stroke.1, -stroke.0), -work.0).map(|t_s| -t_s)
    }
}

fn taken_s(rates: &[(f64, Option<f64>)], stroke: (f64, f64), work_end_s: f64) -> Option<f64> {
    let at = |t_s: f64| rates.partition_point(|r| r.0 < t_s);
    let latest_s = (stroke.0 + LATE_S).min(stroke.1 - MIN_STROKE_S);
    let step = largest_step(rates, at(stroke.0)..at(latest_s), at(latest_s)..at(work_end_s), CLEAR_BEGIN)
        .filter(|step| step.t_s > stroke.0 + EARLY_S)?;
    let known = |from_s: f64, to_s: f64| rates[at(from_s)..at(to_s)].iter().filter_map(|r| r.1);
    let half = 0.5 * (step.before + step.after);
    // It ran free since the stroke's supposed start, not only just before the step: there the rate may have wandered up.
    let mut so_far: Vec<f64> = known(stroke.0, step.t_s - AROUND_S).collect();
    if quantile(&mut so_far, 0.25)? < half {
        return None;
    }
    // The two stretches say that there is a step; where it is half done says when.
    let (from_s, to_s) = (step.t_s - AROUND_S - PLATEAU_S, step.t_s + AROUND_S + PLATEAU_S);
    let above = known(from_s, to_s).filter(|rate| *rate > half).count() as f64;
    let half_done_s = from_s + (to_s - from_s) * above / known(from_s, to_s).count() as f64;
    (half_done_s > stroke.0 + EARLY_S).then_some(half_done_s)
}

/// The largest step down among `places`, where it is `clear` standard deviations of what the rate does in the loaded work of `loaded`.
fn largest_step(rates: &[(f64, Option<f64>)], places: Range<usize>, loaded: Range<usize>, clear: f64) -> Option<Step> {
    let mut within: Vec<f64> = loaded.step_by(EVERY).filter_map(|i| Some(Step::at(rates, i)?.down.abs())).collect();
    if within.len() < STEPS {
        return None;
    }
    // Of normal steps half are smaller than 0.6745 standard deviations. Lifts within the pass are few.
    let sd = quantile(&mut within, 0.5)? / 0.6745;
    let steps = places.filter_map(|i| Step::at(rates, i)).filter(|step| step.spread < step.down);
    steps.max_by(|a, b| a.down.total_cmp(&b.down)).filter(|largest| largest.down > clear * sd)
}

/// What the rate does at a moment.
struct Step {
    t_s: f64,
    /// Rates before it and after it.
    before: f64,
    after: f64,
    /// How far it was from steady then, relative: a motor that gathers speed is not.
    spread: f64,
    /// How far it steps down, relative.
    down: f64,
}

impl Step {
    fn at(rates: &[(f64, Option<f64>)], at: usize) -> Option<Self> {
        let t_s = rates.get(at)?.0;
        let mut before = known(rates, t_s - AROUND_S - PLATEAU_S)?;
        let mut after = known(rates, t_s + AROUND_S)?;
        let spread = quantile(&mut before, 1.0)? / quantile(&mut before, 0.0)? - 1.0;
        let (before, after) = (quantile(&mut before, 0.5)?, quantile(&mut after, 0.5)?);
        Some(Self { t_s, before, after, spread, down: before / after - 1.0 })
    }
}

/// The rates of one stretch, if enough are known.
fn known(rates: &[(f64, Option<f64>)], from_s: f64) -> Option<Vec<f64>> {
    let from = rates.partition_point(|(t_s, _)| *t_s < from_s);
    let within = rates[from..].iter().take_while(|(t_s, _)| *t_s < from_s + PLATEAU_S);
    let known: Vec<f64> = within.filter_map(|(_, rate)| *rate).collect();
    (known.len() >= ENOUGH).then_some(known)
}

#[cfg(test)]
mod tests {
    use rand::{RngExt as _, SeedableRng as _};

    use super::*;

    /// Ten rates a second for forty seconds: standing until 2 s, up to 4500 in one, free until `loaded_s`, then a share slower; on
    /// top a wander of half a per cent.
    fn rates(loaded_s: f64, droop: f64, seed: u64) -> Vec<(f64, Option<f64>)> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut wander = 0.0;
        (0..400)
            .map(|i| {
                let t_s = f64::from(i) * 0.1;
                wander += -0.05 * wander + 0.0015 * (random.random::<f64>() - 0.5) * 12.0_f64.sqrt();
                let gathered = ((t_s - 2.0) / 1.0).clamp(0.0, 1.0);
                let load = 1.0 - droop * ((t_s - loaded_s) / 0.5).clamp(0.0, 1.0);
                (t_s, (gathered > 0.1).then_some(4500.0 * gathered * load * (1.0 + wander)))
            })
            .collect()
    }

    #[test]
    fn the_rate_before_the_pad_takes_load_is_found_wherever_the_first_stroke_was_noticed() {
        for seed in 0..20 {
            let rates = rates(6.0, 0.05, seed);
            for noticed_s in [7.5, 10.0, 25.0] {
                let free = free_rate(&rates, (noticed_s, 40.0)).expect("a step of 5 % stands out");
                assert!((free / 4500.0 - 1.0).abs() < 0.015, "seed {seed}, {noticed_s} s: {free}");
            }
        }
    }

    #[test]
    fn a_stroke_lasts_from_taking_load_to_being_relieved_of_it() {
        let work = (8.0, 40.0);
        for seed in 0..20 {
            let rates = rates(8.0, 0.05, seed);
            let loads = Loads::new(rates.clone());
            let taken = loads.taken_s((4.5, 18.0), work).expect("a step of 5 % stands out");
            // The load comes on over half a second from 8.0 s.
            assert!((taken - 8.25).abs() < 0.5, "seed {seed}: {taken} s");
            // It had load from the start, or soon after.
            assert_eq!(loads.taken_s((9.5, 18.0), work), None, "seed {seed}");
            assert_eq!(loads.taken_s((7.8, 18.0), work), None, "seed {seed}");
            // The same work the other way round, from 40 s to 0.
            let loads = Loads::new(rates.iter().rev().map(|(t_s, rate)| (40.0 - t_s, *rate)).collect());
            let relieved = loads.relieved_s((22.0, 35.5), (0.0, 32.0)).expect("a step of 5 % stands out");
            assert!((relieved - 31.75).abs() < 0.5, "seed {seed}: {relieved} s");
            assert_eq!(loads.taken_s((22.0, 35.5), (0.0, 32.0)), None, "seed {seed}");
        }
        let steady = |seed| Loads::new(rates(8.0, 0.0, seed));
        let moved = (0..50).filter(|seed| steady(*seed).taken_s((4.5, 18.0), work).is_some()).count();
        assert!(moved <= 2, "{moved} of 50 starts of machines that hold their rate");
    }

    #[test]
    fn where_no_step_is_seen_nothing_is_claimed() {
        let claimed = (0..50).filter(|seed| free_rate(&rates(6.0, 0.0, *seed), (10.0, 40.0)).is_some()).count();
        assert!(claimed <= 2, "{claimed} of 50 machines that hold their rate");
        // The pad was on the paint all the time; the rates of before the pass are those of another.
        let rates = rates(6.0, 0.05, 1);
        let on_it: Vec<_> = rates.iter().copied().filter(|(t_s, _)| *t_s > 8.0).collect();
        assert_eq!(free_rate(&on_it, (12.0, 40.0)), None);
        // Gathering speed is no load, nor is switching off.
        assert_eq!(free_rate(&rates, (5.0, 40.0)), None);
        assert_eq!(free_rate(&[], (5.0, 40.0)), None);
    }
}
