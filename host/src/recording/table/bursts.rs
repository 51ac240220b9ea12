//! Times of reading taken for times of measuring: a chip's queue that is read in one go, or stamps too coarse for the rows, nudged
//! apart. Most rows then stand close together with holes between them that are none, and no sample is where its time says.

use std::collections::BTreeMap;

/// Steps longer than this are a hole of the table, not the pause between two readings of a queue, µs.
const PAUSE_US: f64 = 500_000.0;

/// Fewer steps than this say nothing.
const ENOUGH: u64 = 100;

/// Share of steps shorter than half the mean one from which times come in bursts: of a clock that trembles by a third of a step
/// far fewer are.
const SHARE: f64 = 0.25;

/// Bins of step lengths for each doubling.
const FINE: f64 = 4.0;

/// Counts steps by their length.
#[derive(Clone, Debug, Default)]
pub(super) struct Bursts {
    last_us: Option<f64>,
    steps: BTreeMap<i32, u64>,
    count: u64,
    sum_us: f64,
}

impl Bursts {
    /// Takes the time of a sample; times increase.
    pub(super) fn push(&mut self, t_us: f64) {
        let Some(step_us) = self.last_us.replace(t_us).map(|last| t_us - last).filter(|step| *step < PAUSE_US) else {
            return;
        };
        *self.steps.entry(bin(step_us)).or_default() += 1;
        self.count += 1;
        self.sum_us += step_us;
    }

    /// What is wrong with the times, and what to do; `None` where nothing is.
    pub(super) fn describe(&self) -> Option<String> {
        let mean_us = self.sum_us / self.count as f64;
        let close: u64 = self.steps.range(..bin(mean_us / 2.0)).map(|(_, n)| n).sum();
        (self.count >= ENOUGH && close as f64 > SHARE * self.count as f64).then(|| {
            let together = self.count as f64 / (self.count - close) as f64;
            format!(
                "come in bursts of about {together:.1} close together, as where a queue is read in one go or stamps were nudged apart: \
                 they are not those of measuring. Give evenly spaced times: number the rows, begin anew after a hole, and divide by \
                 the logger's rows a second (over all rows here {:.1})",
                1e6 / mean_us,
            )
        })
    }
}

/// Steps of a bin are at least as long as those of the bins before it.
fn bin(step_us: f64) -> i32 {
    (step_us.log2() * FINE).floor() as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(times_us: impl IntoIterator<Item = f64>) -> Option<String> {
        let mut bursts = Bursts::default();
        times_us.into_iter().for_each(|t_us| bursts.push(t_us));
        bursts.describe()
    }

    #[test]
    fn bursts_are_told_whatever_their_length() {
        for (length, within_us) in [(2, 1.0), (16, 1.0), (16, 170.0), (512, 20.0)] {
            let at = |i: u32| f64::from(i / length * length) * 600.0 + f64::from(i % length) * within_us;
            let said = said((0..20_000).map(at)).unwrap_or_else(|| panic!("bursts of {length}"));
            assert!(said.contains(&format!("bursts of about {length}.")), "{said}");
            assert!(said.contains("(over all rows here 16"), "{said}");
        }
        // Stamps of whole milliseconds at 1687 rows a second; where two are the same the second is nudged.
        let (mut last, mut times) = (-1.0, Vec::new());
        for i in 0..5000 {
            let t_us = (f64::from(i) / 1.687).round() * 1e3;
            last = if t_us <= last { last + 1.0 } else { t_us };
            times.push(last);
        }
        assert!(said(times).expect("nudged").contains("bursts of about 1.7"));
    }

    #[test]
    fn even_times_and_holes_are_no_bursts() {
        let even = |i: u32| f64::from(i) * 600.0;
        assert_eq!(said((0..5000).map(even)), None);
        // A seventh of all rows missing, in holes of every length.
        assert_eq!(said((0..5000).filter(|i| i % 700 > i / 50).map(even)), None);
        // Rounded to whole milliseconds, and trembling by a quarter of a step.
        assert_eq!(said((0..5000).map(|i| (f64::from(i) * 1.2).round() * 1e3)), None);
        assert_eq!(said((0..5000).map(|i| even(i) + [0.0, 150.0, -40.0, 110.0, -150.0][i as usize % 5])), None);
        // On for a second, off for nine.
        assert_eq!(said((0..20_000).map(|i| even(i) + f64::from(i / 1600) * 9e6)), None);
        assert_eq!(said([0.0, 1.0, 2.0, 1000.0]), None);
    }
}
