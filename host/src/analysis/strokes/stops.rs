//! Turns of somebody who stops before the step aside, or after it.
//!
//! Who turns without a stop takes away a stroke's speed and gives the next one's within the two bursts of the step aside: their
//! sum is twice that speed. Who stops ends the stroke by a burst of its own, or starts the next by one. Such a burst is as gentle
//! as noise is, the step aside many times stronger, and one turn alone cannot be told from that of much slower strokes. All turns
//! of a pass together can, for they share one speed. So with hindsight the velocity is sought under which all turns, each taken
//! for what it then most likely was, fit best: alternately, what each turn was, and the velocity by least squares (from memory,
//! the hard form of expectation-maximisation, Dempster, Laird and Rubin 1977), from several first guesses.

use super::pair::{Pair, along};
use super::{Event, MIN_STROKE_S, NOISE_MPS, RawStroke, SPEEDS_MPS, STEP_MPS, SUM_ASKEW, is_noise_of, rest_cost};
use crate::analysis::traverse::UNEVEN;

/// Longest stop before or after a step aside, s.
const LONGEST_S: f64 = 6.0;
/// A burst closer to the step aside is part of that, s.
const APART_S: f64 = 0.3;
/// What a turn with a stop costs, natural log, and a stop on its other side besides. From drawn recordings of all kinds; one more
/// or less makes no difference.
const STOP_COST: f64 = 4.0;
const OTHER_COST: f64 = 1.0;
/// First guesses at the speed, each so many times the one before, and the rounds of the fit from each.
const GUESS_RATIO: f64 = 1.4;
const FASTEST_GUESS_MPS: f64 = 0.17;
const ROUNDS: usize = 6;
/// Cosine of the angle between two steps aside of the same pass, at least.
const ALIKE: f64 = 0.7;

/// One turn with a step aside.
struct Turn<'a> {
    first: Event,
    second: Event,
    /// Which bursts could be a stop before it, a start after it.
    stops: Vec<&'a Event>,
    starts: Vec<&'a Event>,
    /// Steps of noise bursts, one standard deviation per axis, m/s.
    noise_mps: f64,
}

/// What a turn is taken for: its stop and its start, where they are bursts of their own.
type Taken<'a> = [Option<&'a Event>; 2];

/// A change of velocity that is `share` of the strokes' velocity.
struct Said {
    share: f64,
    change: [f64; 2],
    /// One standard deviation per axis, m/s, besides the unevenness of strokes.
    sd: f64,
}

impl Said {
    fn by(event: &Event, share: f64) -> Self {
        Self { share, change: event.step, sd: STEP_MPS.hypot(event.blur) }
    }

    /// Plain roots here and below: `hypot` guards against overflow that speeds cannot reach, and this is asked thousands of times.
    fn sd(&self, speed: f64) -> f64 {
        (self.sd.powi(2) + (UNEVEN * self.share * speed).powi(2)).sqrt()
    }

    /// How likely it is with strokes of velocity `u`, natural log: [`super::fits`] of both axes, whose spread is the same.
    fn fits(&self, u: [f64; 2]) -> f64 {
        let sd = self.sd((u[0] * u[0] + u[1] * u[1]).sqrt());
        let off: f64 = (0..2).map(|k| ((self.change[k] - self.share * u[k]) / sd).powi(2)).sum();
        -0.5 * off - 2.0 * sd.ln()
    }
}

/// The strokes, with the stops that turns began or ended with. `heard` are all bursts.
pub(super) fn with_stops(mut strokes: Vec<RawStroke>, heard: &[Event]) -> Vec<RawStroke> {
    let noise_mps = noise_within(&strokes, heard);
    let mut from = 0;
    while from < strokes.len() {
        let to = (from + 1..strokes.len()).find(|&i| !turns_alike(&strokes, from, i)).unwrap_or(strokes.len());
        find_stops(&mut strokes[from..to], heard, noise_mps);
        from = to;
    }
    strokes
}

/// Steps of the bursts within strokes, one standard deviation per axis, m/s: those of shaky hands are larger than usual.
fn noise_within(strokes: &[RawStroke], heard: &[Event]) -> f64 {
    /// Median of a Rayleigh distribution in standard deviations of its components: the root of 2 ln 2.
    const MEDIAN: f64 = 1.1774;
    let inside = |e: &&Event| strokes.iter().any(|s| s.start.t_s < e.t_s && e.t_s < s.end.t_s);
    let mut sizes: Vec<f64> = heard.iter().filter(inside).map(|e| e.step[0].hypot(e.step[1])).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).map_or(NOISE_MPS, |m| (m / MEDIAN).max(NOISE_MPS))
}

/// Whether stroke `i` came out of the one before by a step aside that was seen, along the same axis as the first after `from`.
fn turns_alike(strokes: &[RawStroke], from: usize, i: usize) -> bool {
    let pair = |i: usize| Pair::of(strokes[i - 1].end, strokes[i].start, [1.0, 0.0]).quick();
    let stepped = strokes[i].start != strokes[i - 1].end && !strokes[i - 1].supposed[1] && !strokes[i].supposed[0];
    let (a, b) = (pair(from + 1), pair(i));
    strokes[i].joined && stepped && along(a, b).abs() > ALIKE * a[0].hypot(a[1]) * b[0].hypot(b[1])
}

/// Finds the stops in the turns of strokes that all came out of each other.
fn find_stops(strokes: &mut [RawStroke], heard: &[Event], noise_mps: f64) {
    let turns: Vec<Turn<'_>> = strokes.windows(2).map(|pair| Turn::between(pair, heard, noise_mps)).collect();
    let ends = ends(strokes);
    let fits = first_guesses(&turns).into_iter().filter_map(|u| fitted(&turns, &ends, u));
    let Some((_, taken)) = fits.max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
    for (i, (turn, taken)) in turns.iter().zip(taken).enumerate() {
        let [stop, start] = taken;
        if stop.or(start).is_some() {
            strokes[i + 1].aside = Some([turn.first, turn.second]);
            strokes[i].end = stop.copied().unwrap_or(turn.first);
            strokes[i].masked[1] |= stop.is_none();
            strokes[i + 1].start = start.copied().unwrap_or(turn.second);
            strokes[i + 1].masked[0] |= start.is_none();
        }
    }
}

/// Which way stroke `i` of a chain goes.
fn way(i: usize) -> f64 {
    if i.is_multiple_of(2) { 1.0 } else { -1.0 }
}

/// What the first start and the last end of a chain say, where they say something.
fn ends(strokes: &[RawStroke]) -> Vec<Said> {
    let last = strokes.len() - 1;
    let start = (!strokes[0].says_nothing(0) && !strokes[0].joined).then(|| Said::by(&strokes[0].start, 1.0));
    let quiet = strokes[last].says_nothing(1) || strokes[last].moved.or(strokes[last].turned).is_some();
    let end = (!quiet).then(|| Said::by(&strokes[last].end, -way(last)));
    start.into_iter().chain(end).collect()
}

impl<'a> Turn<'a> {
    fn between(pair: &[RawStroke], heard: &'a [Event], noise_mps: f64) -> Self {
        let (before, after) = (&pair[0], &pair[1]);
        let (first, second) = (before.end, after.start);
        let near = |gap_s: f64| (APART_S..LONGEST_S).contains(&gap_s);
        let stop = |e: &&Event| e.t_s > before.start.t_s + MIN_STROKE_S && near(first.t_s - e.t_s);
        let start = |e: &&Event| e.t_s < after.end.t_s - MIN_STROKE_S && near(e.t_s - second.t_s);
        let [stops, starts] = [heard.iter().filter(stop).collect(), heard.iter().filter(start).collect()];
        Self { first, second, stops, starts, noise_mps }
    }

    /// What it most likely was, with strokes of velocity `u` before it, and how likely that is, natural log.
    fn taken(&self, u: [f64; 2]) -> (f64, Taken<'a>) {
        let own = |e: &Event| Said::by(e, -1.0).fits(u) - is_noise_of(*e, self.noise_mps);
        let likeliest = |events: &[&'a Event], aside: Event| {
            let each = events.iter().map(|e| (own(e) - rest_cost((aside.t_s - e.t_s).abs()), *e));
            each.max_by(|a, b| a.0.total_cmp(&b.0))
        };
        let (stop, start) = (likeliest(&self.stops, self.first), likeliest(&self.starts, self.second));
        let mut best = (self.within(2.0).fits(u), [None, None]);
        let mut consider = |score: f64, taken: Taken<'a>| {
            if score > best.0 {
                best = (score, taken);
            }
        };
        let one = self.within(1.0).fits(u) - STOP_COST;
        if let Some((score, stop)) = stop {
            consider(score + one, [Some(stop), None]);
        }
        if let Some((score, start)) = start {
            consider(score + one, [None, Some(start)]);
        }
        if let (Some((a, stop)), Some((b, start))) = (stop, start) {
            consider(a + b + self.within(0.0).fits(u) - STOP_COST - OTHER_COST, [Some(stop), Some(start)]);
        }
        best
    }

    /// What the bursts of its step aside say, with `share` of the turning within them.
    fn within(&self, share: f64) -> Said {
        let pair = Pair::of(self.first, self.second, [1.0, 0.0]);
        let sd = (core::f64::consts::SQRT_2 * STEP_MPS).hypot(SUM_ASKEW * pair.size());
        Said { share: -share, change: [pair.along, pair.across], sd }
    }

    /// All that it says, taken for that.
    fn said(&self, taken: Taken<'a>) -> impl Iterator<Item = Said> {
        let own = taken.into_iter().flatten();
        own.clone().map(|e| Said::by(e, -1.0)).chain([self.within(2.0 - own.count() as f64)])
    }
}

/// Velocities to begin with: square to the steps aside, of all speeds that strokes can have.
fn first_guesses(turns: &[Turn<'_>]) -> Vec<[f64; 2]> {
    let quick = |t: &Turn<'_>| Pair::of(t.first, t.second, [1.0, 0.0]).quick();
    // Those to either side count the same.
    let Some(one) = turns.first().map(quick) else { return Vec::new() };
    let sum = turns.iter().map(quick).fold([0.0; 2], |sum, v| {
        let side = 1.0_f64.copysign(along(one, v));
        [0, 1].map(|k| sum[k] + side * v[k])
    });
    let size = sum[0].hypot(sum[1]);
    let speeds =
        core::iter::successors(Some(SPEEDS_MPS.0), |v| Some(GUESS_RATIO * v)).take_while(|v| *v < FASTEST_GUESS_MPS);
    speeds.flat_map(|v| [v, -v]).map(|v| [-v * sum[1] / size, v * sum[0] / size]).collect()
}

/// The fit that is reached from `u`, the velocity of the chain's first stroke: how likely all is then, natural log, and what each
/// turn is taken for.
fn fitted<'a>(turns: &[Turn<'a>], ends: &[Said], mut u: [f64; 2]) -> Option<(f64, Vec<Taken<'a>>)> {
    let each = |u: [f64; 2]| turns.iter().enumerate().map(move |(i, turn)| turn.taken(u.map(|v| v * way(i))));
    for _ in 0..ROUNDS {
        let speed = u[0].hypot(u[1]);
        let by_turns = turns.iter().zip(each(u)).enumerate().flat_map(|(i, (turn, (_, taken)))| {
            turn.said(taken).map(move |said| Said { share: way(i) * said.share, ..said })
        });
        let (mut weight, mut sum) = (0.0, [0.0; 2]);
        let mut add = |said: &Said| {
            let w = said.share / said.sd(speed).powi(2);
            weight += w * said.share;
            sum = [0, 1].map(|k| sum[k] + w * said.change[k]);
        };
        by_turns.for_each(|said| add(&said));
        ends.iter().for_each(add);
        u = sum.map(|s| s / weight);
    }
    let likely = |speed: f64| (SPEEDS_MPS.0..SPEEDS_MPS.1).contains(&speed);
    likely(u[0].hypot(u[1])).then(|| {
        let (scores, taken): (Vec<f64>, Vec<Taken<'a>>) = each(u).unzip();
        (scores.iter().sum::<f64>() + ends.iter().map(|e| e.fits(u)).sum::<f64>(), taken)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// When the arm stops before a step aside and sets off after it, s before and after; `None`: within its bursts.
    type Stops = [Option<f64>; 2];

    /// Six strokes of 15 s, at `speed` m/s, taken as if no turn stopped; all bursts, with noise among them; and when each stroke
    /// truly started and ended, s.
    fn chain(rng: &mut ChaCha8Rng, speed: f64, turns: Stops) -> (Vec<RawStroke>, Vec<Event>, Vec<[f64; 2]>) {
        let mut gauss = || -> f64 { StandardNormal.sample(rng) };
        let mut burst = |t_s: f64, step: [f64; 2]| Event { t_s, step: step.map(|v| v + 0.004 * gauss()), blur: 0.0 };
        let (mut strokes, mut heard, mut truth): (Vec<RawStroke>, Vec<Event>, Vec<[f64; 2]>) = Default::default();
        let mut start = burst(1.0, [speed, 0.0]);
        let mut started_s = start.t_s;
        heard.push(start);
        for i in 0..6 {
            let v = way(i) * speed;
            heard.extend([4.0, 7.5, 11.0].map(|at_s| burst(started_s + at_s, [0.0, 0.006])));
            let ended_s = started_s + 15.0;
            let [stop, off] = turns.map(|stop| if i < 5 { stop } else { None });
            let last = i == 5;
            let mut aside = [0.0, if last { 0.0 } else { 0.15 }];
            match stop {
                Some(_) => heard.push(burst(ended_s, [-v, 0.0])),
                None => aside[0] -= v,
            }
            let end = burst(ended_s + stop.unwrap_or(0.0), aside);
            heard.push(end);
            strokes.push(RawStroke {
                start,
                end,
                masked: [false; 2],
                supposed: [false; 2],
                by_load: [false; 2],
                joined: i > 0,
                aside: None,
                moved: None,
                turned: None,
            });
            truth.push([started_s, ended_s]);
            if last {
                break;
            }
            let back = if off.is_none() { [-v, -0.15] } else { [0.0, -0.15] };
            start = burst(end.t_s + 0.5, back);
            heard.push(start);
            started_s = start.t_s + off.unwrap_or(0.0);
            if off.is_some() {
                heard.push(burst(started_s, [-v, 0.0]));
            }
        }
        (strokes, heard, truth)
    }

    #[test]
    fn turns_with_stops_are_told_from_those_of_slower_strokes() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for turns in [[Some(1.2), Some(0.8)], [Some(2.5), None], [None, Some(2.0)]] {
            let (mut right, mut all) = (0, 0);
            for _ in 0..50 {
                let (taken, heard, truth) = chain(&mut rng, 0.03, turns);
                let found = with_stops(taken.clone(), &heard);
                for (n, (stroke, [start_s, end_s])) in found.iter().zip(&truth).enumerate() {
                    let off_s = (stroke.start.t_s - start_s).abs().max((stroke.end.t_s - end_s).abs());
                    right += u32::from(off_s < 0.1);
                    all += 1;
                    assert_eq!(stroke.joined, n > 0);
                    if let Some([_, second]) = stroke.aside {
                        assert_eq!(
                            stroke.masked[0],
                            stroke.start == second,
                            "a start within the step aside says nothing"
                        );
                    }
                }
                assert!(
                    taken.iter().zip(&truth).any(|(s, t)| s.start.t_s != t[0] || s.end.t_s != t[1]),
                    "nothing to find"
                );
            }
            println!("{turns:?}: {right} of {all}");
            assert!(20 * right >= 19 * all, "{turns:?}: {right} of {all}");
        }
    }

    #[test]
    fn turns_without_a_stop_are_left_as_they_are() {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let changed = (0..100).filter(|n| {
            let (taken, heard, _) = chain(&mut rng, 0.01 + 0.0005 * f64::from(*n), [None, None]);
            with_stops(taken.clone(), &heard) != taken
        });
        assert_eq!(changed.count(), 0);
    }
}
