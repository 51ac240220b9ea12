//! Arm speed: how long a pass's strokes were and how fast they went, with honest intervals.
//!
//! # Model
//!
//! The turns give each stroke's time T to a few hundredths of a second. The velocity steps at its two ends each say how
//! fast the arm went there, v, which differs from the stroke's mean by about [`UNEVEN`] (people speed up and slow down) and
//! by [`STEP_SD_MPS`] of measurement. And the strokes of one pass share nearly one length: ln L of a stroke scatters by
//! [`LENGTH_SPREAD`] around the pass's. Everything together is one small least-squares problem in the logarithms of the
//! lengths, solved in closed form (the pass's length couples the strokes, nothing else does). A known stroke length enters
//! as what is known beforehand about the pass's length; where the turns clearly contradict it, the pass is worked out as though none
//! had been told.
//!
//! A step that does not fit is weighted down (Huber's weights), not believed.
//!
//! # Inside a stroke
//!
//! No trace is claimed. Between turns the arm's acceleration is of the size of what a tilt of a twentieth of a degree fakes;
//! a smoother over a stroke follows its speed no better than the mean does, even when it is told the stroke's times, direction,
//! mean and speeds at both ends (`tests/accuracy/inside_strokes.py`; figures in `tests/accuracy/RESULTS.md`). So a moment's speed
//! is the stroke's mean, and its standard deviation carries [`WANDER`] besides.

use super::findings::{Interval, Z90};
use super::setup::{ArmParts, Setup};

/// Speed next to a turn against the stroke's mean, one standard deviation, relative.
pub(super) const UNEVEN: f64 = 0.15;
/// Measurement of one step, one standard deviation, m/s.
pub(super) const STEP_SD_MPS: f64 = 0.005;
/// Scatter of the strokes' lengths within a pass, one standard deviation, relative.
pub(super) const LENGTH_SPREAD: f64 = 0.065;
/// A burst is not quite a Gaussian on a straight line; over many seeded simulations fitted steps came out this much high.
const STEP_SCALE: f64 = 1.02;
/// A length that was told is right to about this, relative.
const TOLD_SPREAD: f64 = 0.02;
/// Before anything is measured: sections are worked in strokes of some 0.45 m, within a factor of about two.
const USUAL_LENGTH_M: f64 = 0.45;
const USUAL_SPREAD: f64 = 0.6;
/// Speed at a moment against the stroke's mean, one standard deviation, relative: less than next to the turns ([`UNEVEN`]).
/// Common practice, no published source.
pub(super) const WANDER: f64 = 0.1;
/// A told length is doubted only where the turns know the pass's own to this, one standard deviation, relative: less would be the
/// usual length speaking, not the turns. A length more than two of [`USUAL_SPREAD`] from the usual one is a stroke gone wrong as a whole.
const DOUBT_SPREAD: f64 = 0.2;
/// How many standard deviations apart the two are worth a remark and wider intervals, and from where the turns are believed: were
/// one told length in twenty wrong, by up to a factor of two, that is where this one is as likely to be wrong as not.
const DOUBT_SDS: f64 = 1.5 * Z90;
const CLEAR_SDS: f64 = 2.0 * Z90;
/// What all steps of a pass share (scale of the chip, shape of the bursts), relative.
const COMMON_SPREAD: f64 = 0.05;
/// Timing of a stroke's ends, one standard deviation of the difference, s.
const TIMING_S: f64 = 0.05;
/// Residuals beyond this many standard deviations lose weight.
const HUBER: f64 = 2.0;

/// What is known about one stroke from its turns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Timed {
    /// Time from start to end, s.
    pub(super) time_s: f64,
    /// How far it may be off beyond the timing of turns, one standard deviation, relative: where an end was not seen.
    pub(super) time_spread: f64,
    /// Speed along the stroke at its start and end, m/s, where it was measured.
    pub(super) ends_mps: [Option<f64>; 2],
}

/// One stroke's length and speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Traverse {
    pub(super) length_m: f64,
    pub(super) speed_mps: f64,
    /// One standard deviation, relative, downwards and upwards.
    pub(super) spread: [f64; 2],
}

impl Traverse {
    /// 90 % interval of the speed, m/s.
    pub(super) fn interval(&self) -> Interval {
        let [down, up] = self.spread.map(|spread| (Z90 * spread).exp());
        Interval { lo: self.speed_mps / down, value: self.speed_mps, hi: self.speed_mps * up }
    }

    /// Widens the interval so that it takes in another.
    pub(super) fn reach(&mut self, other: Interval) {
        let needed = [self.speed_mps / other.lo, other.hi / self.speed_mps].map(|ratio| ratio.ln() / Z90);
        self.spread = [0, 1].map(|side| self.spread[side].max(needed[side]));
    }

    /// Takes in what else it may be off by, one standard deviation, relative.
    pub(super) fn blur(&mut self, by: f64) {
        self.spread = self.spread.map(|spread| spread.hypot(by));
    }
}

/// What is known before a pass is looked at, and what may be used of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Known {
    /// Travel of one stroke, m, where it is known.
    pub(super) told_length_m: Option<f64>,
    pub(super) parts: ArmParts,
}

impl From<&Setup> for Known {
    fn from(setup: &Setup) -> Self {
        let told = setup.stroke_length_m.filter(|l| l.is_finite() && *l > 0.0);
        Self { told_length_m: told, parts: setup.arm_parts }
    }
}

/// A pass's strokes, estimated together; also the mean speed over the pass.
pub(super) fn estimate(strokes: &[Timed], known: Known) -> Option<(Vec<Traverse>, Interval)> {
    match known.parts {
        ArmParts::All => joint(strokes, known.told_length_m),
        ArmParts::Steps => apart(strokes, known.told_length_m),
        ArmParts::Timing => {
            let blind: Vec<Timed> = strokes.iter().map(|s| Timed { ends_mps: [None, None], ..*s }).collect();
            apart(&blind, known.told_length_m)
        }
    }
}

/// Every stroke by itself. The pass's mean then carries their mean spread: what they share is not known to be less.
fn apart(strokes: &[Timed], told: Option<f64>) -> Option<(Vec<Traverse>, Interval)> {
    let each: Vec<Traverse> =
        strokes.iter().map(|s| Some(joint(core::slice::from_ref(s), told)?.0[0])).collect::<Option<_>>()?;
    let speed_mps = each.iter().map(|t| t.length_m).sum::<f64>() / strokes.iter().map(|s| s.time_s).sum::<f64>();
    let spread = each.iter().map(|t| t.spread[0]).sum::<f64>() / each.len() as f64;
    speed_mps.is_finite().then(|| {
        let mean = Traverse { length_m: f64::NAN, speed_mps, spread: [spread; 2] }.interval();
        (each, mean)
    })
}

/// How much a told length is in doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Doubt {
    Slight,
    Clear,
}

/// What is to be thought of a told length where the turns by themselves give a pass's strokes this mean length, m.
pub(super) fn doubt(by_turns_m: Interval, told_m: f64) -> Option<Doubt> {
    let sd = (by_turns_m.hi / by_turns_m.value).ln() / Z90;
    let apart = |other_m: f64| (other_m / by_turns_m.value).ln().abs();
    let sds = apart(told_m) / sd.hypot(TOLD_SPREAD);
    let sure = sd < DOUBT_SPREAD && apart(USUAL_LENGTH_M) < 2.0 * USUAL_SPREAD;
    (sure && sds > DOUBT_SDS).then_some(if sds > CLEAR_SDS { Doubt::Clear } else { Doubt::Slight })
}

fn joint(strokes: &[Timed], told: Option<f64>) -> Option<(Vec<Traverse>, Interval)> {
    let usable = |v: &f64| v.is_finite();
    if strokes.is_empty() || strokes.iter().any(|s| s.time_s.is_nan() || s.time_s <= 0.0) {
        return None;
    }
    let (prior, prior_spread) = match told {
        Some(l) => (l.ln(), TOLD_SPREAD),
        None => (USUAL_LENGTH_M.ln(), USUAL_SPREAD),
    };
    // Start from the middle one of the lengths the steps suggest.
    let mut mu = prior;
    if told.is_none() {
        let mut lengths: Vec<f64> = strokes
            .iter()
            .flat_map(|s| s.ends_mps.iter().flatten().filter(|v| usable(v)).map(|v| v / STEP_SCALE * s.time_s))
            .collect();
        lengths.sort_by(f64::total_cmp);
        if let Some(l) = lengths.get(lengths.len() / 2) {
            mu = l.max(0.05).ln();
        }
    }
    let n = strokes.len() as f64;
    let tie = 1.0 / (LENGTH_SPREAD * LENGTH_SPREAD);
    let hold = 1.0 / (prior_spread * prior_spread);
    let mut x = vec![mu; strokes.len()];
    let mut own = vec![0.0; strokes.len()];
    let mut common = hold;
    for _ in 0..12 {
        let (mut a_mu, mut b_mu) = (n * tie + hold, (prior - mu) * hold);
        let mut rhs = vec![0.0; strokes.len()];
        for (i, s) in strokes.iter().enumerate() {
            let v = x[i].exp() / s.time_s;
            let variance = STEP_SD_MPS * STEP_SD_MPS + UNEVEN * UNEVEN * v * v;
            let (mut h, mut g) = (0.0, 0.0);
            for o in s.ends_mps.iter().flatten().filter(|v| usable(v)) {
                let o = o / STEP_SCALE;
                let z = (o - v) / variance.sqrt();
                let w = (HUBER / z.abs()).min(1.0) / variance;
                h += w * v * v;
                g += w * v * (o - v);
            }
            let pull = (mu - x[i]) * tie;
            own[i] = h + tie;
            rhs[i] = g + pull;
            a_mu -= tie * tie / own[i];
            b_mu += -pull + tie * rhs[i] / own[i];
        }
        common = a_mu;
        let d_mu = (b_mu / a_mu).clamp(-0.5, 0.5);
        mu += d_mu;
        for (i, x) in x.iter_mut().enumerate() {
            *x += ((rhs[i] + tie * d_mu) / own[i]).clamp(-0.5, 0.5);
        }
    }
    // A told length corrects what all steps share; without it that stays.
    let shared = if told.is_some() { 0.0 } else { COMMON_SPREAD * COMMON_SPREAD };
    let each: Vec<Traverse> = strokes
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let variance = 1.0 / own[i]
                + tie * tie / (own[i] * own[i] * common)
                + (TIMING_S / s.time_s).powi(2)
                + s.time_spread.powi(2)
                + shared;
            Traverse { length_m: x[i].exp(), speed_mps: x[i].exp() / s.time_s, spread: [variance.sqrt(); 2] }
        })
        .collect();
    let time: f64 = strokes.iter().map(|s| s.time_s).sum();
    let length: f64 = each.iter().map(|t| t.length_m).sum();
    let single = own.iter().map(|o| 1.0 / o).sum::<f64>() / (n * n);
    let lean = own.iter().map(|o| tie / o).sum::<f64>() / n;
    let k = (Z90 * (single + lean * lean / common + shared).sqrt()).exp();
    let mean = length / time;
    mean.is_finite().then_some((each, Interval { lo: mean / k, value: mean, hi: mean * k }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Strokes as the model has them; gives what was measured and the true speeds.
    fn pass(rng: &mut ChaCha8Rng, strokes: usize, length_m: f64, speed_mps: f64) -> (Vec<Timed>, Vec<f64>) {
        let mut gauss = || -> f64 { StandardNormal.sample(rng) };
        (0..strokes)
            .map(|_| {
                let length = length_m * (LENGTH_SPREAD * gauss()).exp();
                let v = speed_mps * (0.08 * gauss()).exp();
                let end = |g: [f64; 2]| STEP_SCALE * v * (1.0 + UNEVEN * g[0]) + STEP_SD_MPS * g[1];
                let ends = [Some(end([gauss(), gauss()])), Some(end([gauss(), gauss()]))];
                (Timed { time_s: length / v, time_spread: 0.0, ends_mps: ends }, v)
            })
            .unzip()
    }

    #[test]
    fn intervals_hold_what_they_promise_and_targets_are_met() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        for told in [true, false] {
            let (mut held, mut errors) = (0, Vec::new());
            for n in 0..400 {
                let (length, speed) = (0.3 + 0.001 * f64::from(n % 250), 0.018 + 0.000_14 * f64::from(n));
                let (timed, truth) = pass(&mut rng, 3 + n as usize % 5, length, speed);
                let (each, _) = joint(&timed, told.then_some(length)).unwrap();
                for (t, v) in each.iter().zip(&truth) {
                    let i = t.interval();
                    held += u32::from((i.lo..=i.hi).contains(v));
                    errors.push((t.speed_mps / v - 1.0).abs());
                }
            }
            errors.sort_by(f64::total_cmp);
            let (median, p90) = (errors[errors.len() / 2], errors[errors.len() * 9 / 10]);
            let share = f64::from(held) / errors.len() as f64;
            println!("told {told}: median {median:.3}, 90 % {p90:.3}, held {share:.3}");
            let (most, most_p90) = if told { (0.05, 0.12) } else { (0.15, 0.35) };
            assert!(median < most && p90 < most_p90, "told {told}: {median} {p90}");
            assert!((0.85..=0.97).contains(&share), "told {told}: {share}");
        }
    }

    #[test]
    fn one_wild_step_does_not_carry_the_pass_away() {
        let good = Timed { time_s: 10.0, time_spread: 0.0, ends_mps: [Some(0.0408), Some(0.0408)] };
        let mut strokes = vec![good; 6];
        let (before, _) = joint(&strokes, None).unwrap();
        strokes[2].ends_mps[0] = Some(0.30);
        let (after, _) = joint(&strokes, None).unwrap();
        for (i, (a, b)) in after.iter().zip(&before).enumerate() {
            let limit = if i == 2 { 0.12 } else { 0.06 };
            assert!(
                (a.speed_mps / b.speed_mps - 1.0).abs() < limit,
                "stroke {i}: {} from {}",
                a.speed_mps,
                b.speed_mps
            );
        }
    }

    #[test]
    fn a_told_length_over_time_is_the_answer_when_steps_are_missing() {
        let strokes = [
            Timed { time_s: 8.0, time_spread: 0.0, ends_mps: [None, None] },
            Timed { time_s: 10.0, time_spread: 0.0, ends_mps: [None, None] },
        ];
        let (each, mean) = joint(&strokes, Some(0.4)).unwrap();
        assert!((each[0].speed_mps - 0.05).abs() < 1e-9 && (each[1].speed_mps - 0.04).abs() < 1e-9);
        assert!((mean.value - 0.8 / 18.0).abs() < 1e-9);
    }

    #[test]
    fn a_told_length_is_doubted_where_the_turns_are_sure_of_another() {
        let by_turns_m = |sd: f64| Interval { lo: 0.4 * (-Z90 * sd).exp(), value: 0.4, hi: 0.4 * (Z90 * sd).exp() };
        assert_eq!([0.6, 0.27].map(|told_m| doubt(by_turns_m(0.1), told_m)), [Some(Doubt::Clear); 2]);
        assert_eq!(
            [0.52, 0.305].map(|told_m| doubt(by_turns_m(0.1), told_m)),
            [Some(Doubt::Slight); 2],
            "well beyond the interval"
        );
        assert_eq!(doubt(by_turns_m(0.1), 0.49), None, "a little beyond the interval");
        assert_eq!(doubt(by_turns_m(0.3), 1.5), None, "they hardly say anything");
        assert_eq!(doubt(by_turns_m(f64::NAN), 0.6), None);
        assert_eq!(doubt(Interval { lo: 1.9, value: 2.4, hi: 2.9 }, 0.4), None, "no arm goes so far");
    }

    #[test]
    fn a_length_that_is_no_number_was_not_told() {
        let told = |l: f64| Known::from(&Setup { stroke_length_m: Some(l), ..Setup::default() }).told_length_m;
        assert_eq!((told(f64::NAN), told(-0.4), told(0.4)), (None, None, Some(0.4)));
    }

    #[test]
    fn with_fewer_parts_less_is_taken_in() {
        // Two strokes of 0.4 m; the second one's steps say half as much.
        let ends = |v: f64| [Some(STEP_SCALE * v); 2];
        let strokes = [
            Timed { time_s: 10.0, time_spread: 0.0, ends_mps: ends(0.04) },
            Timed { time_s: 10.0, time_spread: 0.0, ends_mps: ends(0.02) },
        ];
        let lengths = |parts| {
            let (each, mean) = estimate(&strokes, Known { told_length_m: None, parts }).unwrap();
            assert!(mean.lo < mean.value && mean.value < mean.hi);
            [each[0].length_m, each[1].length_m]
        };
        let (timing, steps, all) = (lengths(ArmParts::Timing), lengths(ArmParts::Steps), lengths(ArmParts::All));
        assert!(timing.iter().all(|l| (l - USUAL_LENGTH_M).abs() < 1e-9), "{timing:?}");
        assert!((steps[0] / steps[1]).ln() > 0.6, "apart, each goes by its own steps: {steps:?}");
        assert!((all[0] / all[1]).ln() < 0.2, "together, one length is looked for: {all:?}");
    }

    #[test]
    fn nonsense_gives_nothing_or_wide_intervals() {
        assert!(joint(&[], None).is_none());
        assert!(joint(&[Timed { time_s: 0.0, time_spread: 0.0, ends_mps: [None, None] }], None).is_none());
        assert!(joint(&[Timed { time_s: f64::NAN, time_spread: 0.0, ends_mps: [None, None] }], None).is_none());
        let odd = Timed { time_s: 9.0, time_spread: 0.0, ends_mps: [Some(f64::NAN), Some(-0.5)] };
        let (each, _) = joint(&[odd], None).unwrap();
        let i = each[0].interval();
        assert!(each[0].speed_mps.is_finite() && i.hi / i.lo > 1.5, "{i:?}");
    }
}
