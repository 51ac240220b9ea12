//! The warmest that the spot was in each stroke of a section, and what that says of the stroke to come.
//!
//! A spot beside the pad's way sees a crosshatch's second pass come nearer: in the first stroke it lies on paint of the pass
//! before alone, in the second its edge is on the strip just worked, and by the third it lies wholly on paint worked twice. Strips
//! are half a pad apart and the spot a hand's breadth away, so these are two even steps, and the second is foreseen from the
//! first as soon as the spot has left the second stroke's crest: several seconds before it comes round the turn onto the
//! warmer strip, within a second or two of which it is over the limit where it goes over at all. No slope could say so in time.
//!
//! Within the first pass neighbouring strokes see nearly the same warmest paint, a trailing one at its end and the leading one
//! after it at the same turn: their crests show no such step.

use std::collections::VecDeque;

use super::Measured;
use super::strokes::MIN_STROKE_S;

/// How late the end of a stroke is known at most, s.
const KNOWN_AFTER_S: f64 = 6.0;

/// The spot has left a crest when it is this much below it, K: about eight standard deviations of the filtered readings.
const LEFT_K: f64 = 1.0;

/// Crests that a step is told from: the stroke's own, the one before, and another to see that the steps begin here.
const TOLD_FROM: usize = 3;

/// Standard deviation of a crest foreseen, K. By how much second steps differed from first ones in drawn recordings of all kinds
/// that no published table uses (seeds 300, 340 and 700, 24 of each kind); the mean of the differences was -0.1 K.
const STEP_SD_K: f64 = 1.5;

/// Crests of one section.
#[derive(Clone, Debug, Default)]
pub(super) struct Crests {
    /// Of the strokes whose end is known; the last few only.
    done: VecDeque<f64>,
    /// How many of those there were.
    strokes: u32,
    /// When the last of them ended, s.
    ended_s: Option<f64>,
    /// Times (s) and rises (K) since then, of the last seconds; the highest of what came earlier.
    lately: VecDeque<(f64, f64)>,
    earlier_k: Option<f64>,
}

impl Crests {
    /// Strokes that have ended, as far as is known.
    pub(super) fn strokes(&self) -> u32 {
        self.strokes
    }

    /// The spot's rise now. `stroke_end_s` is the end of the last stroke known; it may be told again and again, and a little anew.
    pub(super) fn see(&mut self, t_s: f64, rise_k: f64, stroke_end_s: Option<f64>) {
        if let Some(end_s) = stroke_end_s
            && self.ended_s.is_none_or(|before| end_s > before + MIN_STROKE_S)
        {
            self.end_stroke(end_s);
        }
        self.lately.push_back((t_s, rise_k));
        while let Some((_, old_k)) = self.lately.pop_front_if(|(old_s, _)| t_s - *old_s > KNOWN_AFTER_S) {
            self.earlier_k = Some(self.earlier_k.map_or(old_k, |earlier_k| earlier_k.max(old_k)));
        }
    }

    /// The readings of before an interruption are those of another place.
    pub(super) fn interrupted(&mut self) {
        self.lately.clear();
        self.earlier_k = None;
    }

    fn end_stroke(&mut self, end_s: f64) {
        let within = self.lately.iter().take_while(|(t_s, _)| *t_s <= end_s).count();
        let rises = self.earlier_k.take().into_iter().chain(self.lately.drain(..within).map(|(_, rise)| rise));
        self.done.extend(rises.reduce(f64::max));
        if self.done.len() > TOLD_FROM {
            self.done.pop_front();
        }
        self.ended_s = Some(end_s);
        self.strokes += 1;
    }

    /// The crest of the stroke to come, K, where it is foreseen to be higher than the last; the spot's rise is `rise_k` now.
    pub(super) fn next(&self, rise_k: f64) -> Option<Measured> {
        let top_k = self.lately.iter().map(|(_, rise)| *rise).fold(self.earlier_k.unwrap_or(rise_k), f64::max);
        let mut last = self.done.iter().copied().rev();
        let crest = if top_k - rise_k > LEFT_K {
            // Of the stroke that goes on: its crest is past.
            top_k
        } else {
            // The next one has begun and has not yet brought what is foreseen of it.
            last.next().filter(|crest| top_k <= *crest)?
        };
        let (before, first) = (last.next()?, last.next()?);
        (crest > before && before <= first).then_some(Measured { value: 2.0 * crest - before, sd: STEP_SD_K })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One stroke of eight seconds as the spot sees it: from `low` over `crest` half way to `low`, then a second of turning.
    fn stroke_k(t_s: f64, low: f64, crest: f64) -> f64 {
        low + (crest - low) * (1.0 - (t_s.min(8.0) / 4.0 - 1.0).abs())
    }

    const STROKE_S: f64 = 9.0;

    /// What was foreseen at every tick of strokes with these crests, the end of each known three seconds late.
    fn foreseen(crests: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let (mut out, mut seen, mut end) = (Vec::new(), Crests::default(), None);
        for i in 0..(crests.len() as f64 * STROKE_S * 10.0) as usize {
            let t = i as f64 * 0.1;
            let n = (t / STROKE_S) as usize;
            let into = t - n as f64 * STROKE_S;
            if n > 0 && into > 3.0 {
                end = Some(n as f64 * STROKE_S - 1.0);
            }
            let rise = stroke_k(into, crests[n].0, crests[n].1);
            seen.see(t, rise, end);
            if let Some(next) = seen.next(rise) {
                assert_eq!(next.sd, STEP_SD_K);
                out.push((t, next.value));
            }
        }
        assert_eq!(seen.strokes() as usize, crests.len() - 1);
        out
    }

    #[test]
    fn the_second_step_of_a_crosshatch_is_foreseen_from_the_first() {
        let first_pass = [(0.0, 0.3), (0.0, 8.0), (4.0, 7.5), (0.0, 8.0), (4.0, 7.5)];
        let second_pass = [(0.0, 4.0), (1.0, 8.0), (4.0, 12.0), (5.0, 12.2), (5.0, 12.1)];
        let told = foreseen(&[first_pass, second_pass].concat());
        // Over a limit of eleven, say: smaller steps of the first pass stay far below.
        let told: Vec<(f64, f64)> = told.into_iter().filter(|(_, next)| *next > 9.5).collect();
        // From the moment the spot is a kelvin off the second stroke's crest (54 s and 4.6 s) until it has climbed to a kelvin below
        // it in the third (63 s and 1.5 s).
        let (from_s, until_s) = (told[0].0, told[told.len() - 1].0);
        assert!((58.5..59.0).contains(&from_s), "{from_s}");
        assert!((64.0..65.0).contains(&until_s), "{until_s}");
        for (t, next) in told {
            assert!((next - 12.0).abs() < 0.3, "{t}: {next}");
        }
    }

    #[test]
    fn strokes_of_one_pass_step_to_nowhere() {
        // Trailing, leading, trailing: the warmest of a leading stroke is what the turn before it left.
        let told = foreseen(&[(0.0, 0.3), (0.0, 8.0), (4.0, 7.5), (0.0, 8.4), (4.0, 7.9), (0.0, 8.6)]);
        assert!(told.iter().all(|(_, next)| *next < 9.5), "{told:?}");
        assert_eq!(foreseen(&[(0.0, 6.0), (1.0, 5.0), (1.0, 4.0), (1.0, 3.0)]), []);
    }

    #[test]
    fn what_an_interruption_hid_is_no_crest() {
        let mut crests = Crests::default();
        crests.see(0.0, 9.0, None);
        crests.interrupted();
        crests.see(20.0, 1.0, Some(10.0));
        assert_eq!((crests.strokes(), crests.done.len()), (1, 0));
    }
}
