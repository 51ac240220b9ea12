//! What is said of work that was too quick for strokes.

use crate::{analysis::ToAndFro, drawing::units::clock, guidance::units::decimals_supported};

/// Stretches told one by one; the others of a long day are told together.
const MOST: usize = 12;

/// One sentence for each stretch, in order; what is beyond the first dozen in one more.
#[must_use]
pub fn quick_work(stretches: &[ToAndFro]) -> Vec<String> {
    let (told, others) = stretches.split_at(stretches.len().min(MOST));
    let mut sentences: Vec<String> = told
        .iter()
        .map(|s| {
            let rate = s.rate_hz;
            let decimals = decimals_supported(rate.lo, rate.hi, 2);
            format!(
                "From {} to {} the arm went to and fro about {:.0} times, {:.decimals$} a second ({:.decimals$} to {:.decimals$}): too quick for \
                 single strokes to be told.",
                clock(s.start_s),
                clock(s.end_s),
                s.cycles,
                rate.value,
                rate.lo,
                rate.hi,
            )
        })
        .collect();
    if !others.is_empty() {
        let cycles: f64 = others.iter().map(|s| s.cycles).sum();
        sentences.push(format!("So it did in {} more stretches, about {cycles:.0} times together.", others.len()));
    }
    sentences
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Interval;

    #[test]
    fn a_long_day_is_told_in_few_sentences() {
        let one = ToAndFro {
            start_s: 12.0,
            end_s: 100.4,
            cycles: 54.8,
            rate_hz: Interval { lo: 0.58, value: 0.62, hi: 0.66 },
        };
        assert_eq!(quick_work(&[]), Vec::<String>::new());
        let said = quick_work(&[one; 15]);
        assert_eq!(
            said[0],
            "From 0:12 to 1:40 the arm went to and fro about 55 times, 0.62 a second (0.58 to 0.66): too quick for single \
             strokes to be told."
        );
        assert_eq!(said.len(), 13);
        assert_eq!(said[12], "So it did in 3 more stretches, about 164 times together.");
    }
}
