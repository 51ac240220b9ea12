//! The warmest that the spot was in each stroke of a section, and what that says of the stroke to come.
//!
//! A spot beside the pad's way sees a crosshatch's second pass come nearer: in the first stroke it lies on paint of the pass
//! before alone, in the second its edge is on the strip just worked, and by the third it lies wholly on paint worked twice.
//! What that adds is told by what the strokes of the pass before left, less what the spot was over already in the first
//! stroke. So the third stroke's crest is foreseen as soon as the spot has left the second's: several seconds before it comes
//! round the turn onto the warmer strip, within a second or two of which it is over the limit where it goes over at all. No
//! slope could say so in time.
//!
//! Within the first pass neighbouring strokes see nearly the same warmest paint, a trailing one at its end and the leading one
//! after it at the same turn; from the third stroke of the second pass on, too, each crest is much like the one before. So while
//! the spot climbs in a trailing stroke of the first pass, the last trailing stroke tells how far it will.
//!
//! Where the spot lies beside the first pass's strokes instead, it sees the lanes before, or no worked paint at all. On the worked
//! side it jumps onto one lane as the second stroke begins and lies on two from the third on, whose crest is foreseen from that.

use std::collections::VecDeque;

use super::Measured;
use super::strokes::MIN_STROKE_S;

/// How late the end of a stroke is known at most, s.
const KNOWN_AFTER_S: f64 = 6.0;

/// The spot has left a crest when it is this much below it, K: about eight standard deviations of the filtered readings.
const LEFT_K: f64 = 1.0;

/// Crests that the third stroke's is told from: the second's, the first's, and the last of the pass before.
const TOLD_FROM: usize = 3;

/// What the third stroke's crest adds to the second's: a share of the last crest of the pass before, less a share of the first
/// stroke's own. Least squares over the second passes whose second crest was [`STEP_K`] above the first, in drawn recordings of
/// all kinds that no published table uses (seeds 300, 340 and 700, 24 of each kind).
const SHARE_OF_PASS: f64 = 0.72;
const SHARE_OF_FIRST: f64 = 0.35;

/// Standard deviation of a crest so foreseen, relative, in the same recordings: 9 to 15 %, in weak heat as in strong.
const CREST_REL_SD: f64 = 0.12;

/// A second crest that is not this much above the first is no step: the spot is on the other side of the pad's way, K.
const STEP_K: f64 = 1.0;

/// A crest this much above where its stroke began was climbed to: the spot trailed, K.
const CLIMBED_K: f64 = 2.0;

/// Crest of the first pass's fourth or sixth stroke over that of the last stroke the same way, where that one was climbed to and
/// above 6 K, and its standard deviation: 1.034 ± 0.100 in 204 fourth strokes, 1.012 ± 0.087 in 112 sixth ones of drawn recordings
/// of all kinds that no published table uses.
const SAME_WAY: f64 = 1.03;
const SAME_WAY_SD: f64 = 0.1;

/// A leading stroke begins at the turn where the trailing one before had its crest, and is as warm by at least this share: 0.60 to 1.1
/// in 213 pairs of drawn recordings of the other kinds (seeds 300 to 311). A hurried stroke beside the lanes is not.
const SAME_TURN: f64 = 0.55;

/// After so many strokes a spot that trails in every other one has shown it.
const SHOWN_AFTER: u32 = 3;

/// Crest of a first pass's third stroke over that of the second where the spot had jumped onto the lane beside, and its standard
/// deviation: 1.46 ± 0.20 in 22 drawn recordings with the spot beside that no published table uses (seeds 300 to 363). Lanes half as
/// far apart as the pad is wide lie two upon each other there, of which the older one has cooled by about half.
pub(super) const OVER_JUMP: f64 = 1.46;
pub(super) const OVER_JUMP_SD: f64 = 0.2;

/// A jump this close to the end of a stroke belongs to the turn there, s.
const AT_TURN_S: f64 = 1.5;

/// The warmest of one stroke.
#[derive(Clone, Copy, Debug)]
struct Crest {
    top_k: f64,
    /// Whether the spot climbed to it.
    climbed: bool,
}

/// Crests of one section.
#[derive(Clone, Debug, Default)]
pub(super) struct Crests {
    /// Of the strokes whose end is known; the last few only.
    done: VecDeque<Crest>,
    /// How many of those there were.
    strokes: u32,
    /// When the last of them ended, s.
    ended_s: Option<f64>,
    /// Times (s) and rises (K) since then, of the last seconds; the highest of what came earlier.
    lately: VecDeque<(f64, f64)>,
    earlier_k: Option<f64>,
    /// The first rise since then, K.
    first_k: Option<f64>,
    /// Whether the spot climbed in any stroke, and in the first pass in one and not in the one after: there it trails and leads.
    climbed: bool,
    in_line: bool,
}

impl Crests {
    /// Strokes that have ended, as far as is known.
    pub(super) fn strokes(&self) -> u32 {
        self.strokes
    }

    /// Whether the spot lies beside the first pass's strokes, as far as they tell: then it trails or leads in the second pass.
    pub(super) fn is_beside(&self) -> bool {
        self.strokes >= SHOWN_AFTER && !self.in_line
    }

    /// The same, on the side that no stroke has come to yet.
    pub(super) fn sees_untouched(&self) -> bool {
        self.is_beside() && !self.climbed
    }

    /// The spot's rise now. `stroke_end_s` is the end of the last stroke known; it may be told again and again, and a little anew.
    /// `across` tells whether it is followed by strokes of a second pass.
    pub(super) fn see(&mut self, t_s: f64, rise_k: f64, stroke_end_s: Option<f64>, across: bool) {
        if let Some(end_s) = stroke_end_s
            && self.ended_s.is_none_or(|before| end_s > before + MIN_STROKE_S)
        {
            self.end_stroke(end_s, across);
        }
        self.first_k.get_or_insert(rise_k);
        self.lately.push_back((t_s, rise_k));
        while let Some((_, old_k)) = self.lately.pop_front_if(|(old_s, _)| t_s - *old_s > KNOWN_AFTER_S) {
            self.earlier_k = Some(self.earlier_k.map_or(old_k, |earlier_k| earlier_k.max(old_k)));
        }
    }

    /// The readings of before an interruption are those of another place.
    pub(super) fn interrupted(&mut self) {
        self.lately.clear();
        (self.earlier_k, self.first_k) = (None, None);
    }

    fn end_stroke(&mut self, end_s: f64, across: bool) {
        let within = self.lately.iter().take_while(|(t_s, _)| *t_s <= end_s).count();
        let rises = self.earlier_k.take().into_iter().chain(self.lately.drain(..within).map(|(_, rise)| rise));
        let first_k = self.first_k.unwrap_or(f64::INFINITY);
        if let Some(top_k) = rises.reduce(f64::max) {
            let crest = Crest { top_k, climbed: top_k - first_k > CLIMBED_K };
            let at_its_turn = |before: &Crest| before.climbed && top_k > SAME_TURN * before.top_k;
            self.in_line |= !across && !crest.climbed && self.done.back().is_some_and(at_its_turn);
            self.climbed |= crest.climbed;
            self.done.push_back(crest);
        }
        self.first_k = self.lately.front().map(|(_, rise_k)| *rise_k);
        if self.done.len() > TOLD_FROM {
            self.done.pop_front();
        }
        self.ended_s = Some(end_s);
        self.strokes += 1;
    }

    /// The crest to which a stroke of the first pass climbs that goes the same way as one the spot trailed in, K.
    pub(super) fn same_way(&self) -> Option<Measured> {
        let before = self.done.iter().rev().nth(1).filter(|before| before.climbed)?;
        Some(Measured { value: SAME_WAY * before.top_k, sd: SAME_WAY_SD * before.top_k })
    }

    /// The highest rise since the last stroke known, K.
    fn top_k(&self, rise_k: f64) -> f64 {
        self.lately.iter().map(|(_, rise)| *rise).fold(self.earlier_k.unwrap_or(rise_k), f64::max)
    }

    /// The crest of a first pass's third stroke, K, where it is foreseen: the spot jumped onto the lane beside as the second one
    /// began, at `jump_s`, and has left the crest there. Two lanes have then been under the pad that it will see together.
    pub(super) fn over_jump(&self, jump_s: f64, rise_k: f64) -> Option<Measured> {
        let at_turn = match self.ended_s {
            None => true,
            Some(ended_s) => self.strokes == 1 && (jump_s - ended_s).abs() < AT_TURN_S,
        };
        let top_k = self.top_k(rise_k);
        let foreseen = Measured { value: OVER_JUMP * top_k, sd: OVER_JUMP_SD * top_k };
        (at_turn && top_k - rise_k > LEFT_K).then_some(foreseen)
    }

    /// The crest of a second pass's third stroke, K, where it is foreseen. The spot's rise is `rise_k` now; `strokes_across` is the
    /// number of strokes that have ended in the second pass.
    pub(super) fn next(&self, rise_k: f64, strokes_across: Option<u32>) -> Option<Measured> {
        let top_k = self.top_k(rise_k);
        let has_left = top_k - rise_k > LEFT_K;
        let mut last = self.done.iter().map(|crest| crest.top_k).rev();
        let second = match strokes_across? {
            // The second goes on, and its crest is past.
            1 if has_left => top_k,
            // The third has begun and has not yet brought what is foreseen of it.
            2 if !has_left => last.next().filter(|second| top_k <= *second)?,
            _ => return None,
        };
        let (first, pass) = (last.next()?, last.next()?);
        let value = second + SHARE_OF_PASS * pass - SHARE_OF_FIRST * first;
        (self.in_line && second > first + STEP_K).then_some(Measured { value, sd: CREST_REL_SD * value })
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

    /// What was foreseen at every tick of strokes with these lows and crests, the end of each known three seconds late; those from
    /// number `across` on lie across the ones before.
    fn foreseen(crests: &[(f64, f64)], across: usize) -> Vec<(f64, f64)> {
        let (mut out, mut seen, mut end, mut strokes_across) = (Vec::new(), Crests::default(), None, None);
        for i in 0..(crests.len() as f64 * STROKE_S * 10.0) as usize {
            let t = i as f64 * 0.1;
            let n = (t / STROKE_S) as usize;
            let into = t - n as f64 * STROKE_S;
            if n > 0 && into > 3.0 {
                end = Some(n as f64 * STROKE_S - 1.0);
                strokes_across = n.checked_sub(across).map(|n| n as u32);
            }
            let rise = stroke_k(into, crests[n].0, crests[n].1);
            seen.see(t, rise, end, strokes_across.is_some());
            if let Some(next) = seen.next(rise, strokes_across) {
                assert_eq!(next.sd, CREST_REL_SD * next.value);
                out.push((t, next.value));
            }
        }
        assert_eq!(seen.strokes() as usize, crests.len() - 1);
        out
    }

    /// The spot leads in the first and the third, which begins on what the second warmed.
    const PASS: [(f64, f64); 5] = [(0.0, 0.3), (0.0, 8.0), (6.0, 1.5), (0.0, 8.0), (4.0, 7.5)];

    #[test]
    fn the_third_crest_of_a_second_pass_is_foreseen() {
        let second_pass = [(0.0, 4.0), (1.0, 8.0), (4.0, 12.0), (5.0, 12.2), (5.0, 12.1)];
        let told = foreseen(&[PASS, second_pass].concat(), PASS.len());
        // From the moment the spot is a kelvin off the second stroke's crest (54 s and 4.6 s) until it has climbed beyond that in the
        // third (63 s and 2 s); the second's end is known with the third three seconds old.
        let (from_s, until_s) = (told[0].0, told[told.len() - 1].0);
        assert!((58.5..59.0).contains(&from_s), "{from_s}");
        assert!((64.0..66.0).contains(&until_s), "{until_s}");
        for (t, next) in told {
            // 8 K, and of 7.5 K the one share less of 4 K the other.
            assert!((next - 12.0).abs() < 0.1, "{t}: {next}");
        }
    }

    #[test]
    fn nothing_is_foreseen_on_the_far_side_or_within_a_pass() {
        // On the far side of the pad's way the spot sees the pass before alone, and less of it as that cools.
        let far_side = [(0.0, 7.0), (1.0, 6.9), (1.0, 6.8), (1.0, 6.7), (0.0, 6.6)];
        assert_eq!(foreseen(&[PASS, far_side].concat(), PASS.len()), []);
        // Along one axis, whatever the crests.
        let rising = [(0.0, 0.3), (0.0, 4.0), (4.0, 6.0), (0.0, 8.4), (4.0, 9.9), (0.0, 12.0)];
        assert_eq!(foreseen(&rising, rising.len()), []);
        // A section that begins across the one before has no pass before in it.
        assert_eq!(foreseen(&rising, 0), []);
    }

    #[test]
    fn a_stroke_gets_about_as_warm_as_the_last_trailing_one() {
        // Strokes of eight seconds that climb to their end, and others that fall from where the one before ended.
        let mut crests = Crests::default();
        let mut seen = Vec::new();
        for n in 0..4 {
            let trails = n % 2 == 1;
            for i in 0..80 {
                let (t_s, share) = (f64::from(n * 9) + f64::from(i) * 0.1, f64::from(i) / 79.0);
                crests.see(t_s, 8.0 * if trails { share } else { 1.0 - share }, None, false);
            }
            seen.push(crests.same_way());
            let end_s = f64::from(n * 9) + 8.5;
            crests.see(end_s, if trails { 8.0 } else { 0.0 }, Some(end_s), false);
        }
        let told = Measured { value: SAME_WAY * 8.0, sd: SAME_WAY_SD * 8.0 };
        assert_eq!(seen, [None, None, None, Some(told)]);
    }

    #[test]
    fn a_cool_stroke_beside_the_lanes_is_not_one_that_leads() {
        // What the spot saw as each stroke began and at its warmest.
        let beside = |strokes: [(f64, f64); 4]| {
            let mut crests = Crests::default();
            for (n, (first_k, top_k)) in (0..).zip(strokes) {
                let from_s = STROKE_S * f64::from(n);
                crests.see(from_s, first_k, (n > 0).then_some(from_s - 0.5), false);
                crests.see(from_s + 4.0, top_k, None, false);
            }
            crests.see(4.0 * STROKE_S, 0.0, Some(4.0 * STROKE_S - 0.5), false);
            crests.is_beside()
        };
        // A lane beside; two of them; the one of a hurried stroke, half as warm; two again.
        assert!(beside([(0.0, 0.1), (0.1, 4.0), (2.0, 5.0), (2.4, 2.6)]));
        assert!(!beside([(0.0, 0.1), (0.1, 4.0), (3.5, 0.1), (0.0, 5.0)]), "what follows begins on the crest");
    }

    #[test]
    fn what_an_interruption_hid_is_no_crest() {
        let mut crests = Crests::default();
        crests.see(0.0, 9.0, None, false);
        crests.interrupted();
        crests.see(20.0, 1.0, Some(10.0), false);
        assert_eq!((crests.strokes(), crests.done.len()), (1, 0));
    }
}
