//! The orbit rate of a machine that runs free, just before its pad takes load.
//!
//! Load slows the motor within half a second, by a few per cent: a step down among rates that else only wander. So the largest
//! step between the work before a pass and its first moments is looked for. Where none stands out of what the rate does within
//! the pass, the pad was not seen to take load: it may have stayed on the paint, or the machine may hold its rate.

use super::statistics::quantile;

/// How long it must have run free, and for how long the load must show, s.
const PLATEAU_S: f64 = 0.8;
/// From either to the step, s: the rate is told over half a second, and the motor slows in as much.
const AROUND_S: f64 = 0.4;
/// Rates that must be known in either stretch, of eight.
const ENOUGH: usize = 6;
/// A step must be this many times as large as those within the pass are (one standard deviation).
const CLEAR: f64 = 3.0;
/// Steps within the pass are looked at this far apart, in rates.
const EVERY: usize = 5;
/// And must be so many, or nobody knows what the rate does.
const STEPS: usize = 8;

/// The rate of running free, in the unit of the rates. These are `(time in s, rate)`, ten a second and in order; the pad took load
/// before `worked.0` at the latest, and the pass goes on until `worked.1`, s.
pub(super) fn free_rate(rates: &[(f64, Option<f64>)], worked: (f64, f64)) -> Option<f64> {
    let latest = rates.partition_point(|(t_s, _)| *t_s < worked.0);
    let end = rates.partition_point(|(t_s, _)| *t_s < worked.1);
    let mut within: Vec<f64> =
        (latest..end).step_by(EVERY).filter_map(|i| Some(Step::at(rates, i)?.down.abs())).collect();
    if within.len() < STEPS {
        return None;
    }
    // Of normal steps half are smaller than 0.6745 standard deviations. Lifts within the pass are few.
    let sd = quantile(&mut within, 0.5)? / 0.6745;
    let steps = (0..latest).filter_map(|i| Step::at(rates, i)).filter(|step| step.spread < step.down);
    let largest = steps.max_by(|a, b| a.down.total_cmp(&b.down))?;
    (largest.down > CLEAR * sd).then_some(largest.before)
}

/// What the rate does at a moment.
struct Step {
    /// Rate before it.
    before: f64,
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
        Some(Self { before, spread, down: before / after - 1.0 })
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
