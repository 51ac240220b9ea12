//! How many times a second the arm goes to and fro, where it plainly does and too quickly for single strokes to be told.
//!
//! The stroke finder takes work apart at its turns and needs strokes of more than a second. Short, quick rubbing leaves it
//! with nothing. Then the rhythm can still be counted: once to and once fro is one cycle.
//!
//! # How
//!
//! ```text
//! 50 Hz grid ─► 12.5 Hz ─► the last 12 s, slow drift off ─► likeness of the motion to itself a while later ─► period
//! windows that overlap ─► one stretch: from, to, number of cycles, rate
//! ```
//!
//! All axes count together, as the machine lies in the hand: the likeness is `r(τ) = Σ x(t)·x(t+τ)`, six axes and all times
//! summed, over the root of the two energies; 1 says that everything comes again, 0 that nothing does. The period is
//! the shortest lag of a peak nearly as high as the highest: at twice the period all comes again, too, but at half of it only
//! when both halves are alike. A second harmonic stronger than the fundamental is therefore not taken for the rate, as long as
//! the fundamental has more than 8 % of the power (`r(T/2) = (P₂-P₁)/(P₂+P₁)`); with less, to is like fro, and the rate is double.
//!
//! Acceleration and turn rate are added on the scale on which a swing of the hand weighs as much as the change of gravity that
//! it makes at [`MIDDLE_HZ`]. Gravity is not taken off: its change is the arm's motion as much as anything.
//!
//! # When it is blank
//!
//! * Less than 60 % of the motion comes again after one period or after two. Two bursts a second apart, a turn of ordinary
//!   work, are alike once and not twice. In windows before and after a clear one, at its rate, 30 % do.
//! * The period lies outside [`PERIODS_S`]: slower work has strokes, quicker shaking is no travel.
//! * An arm going to and fro in a sine with so much acceleration would travel less than [`TRAVEL_M`]: a pad that wobbles as it
//!   spins, a hand that trembles.
//! * The motor stood (a stream too slow to tell counts as running, and so does an arm that shakes like one), a stream had a hole,
//!   or the stretch is shorter than a window.
//! * Strokes were found in half of the time or more, each as long as one way, or longer than any period. In quick work
//!   the stroke finder now and then takes whole cycles for strokes; those do not count, and a pass mostly made of them is none.
//!
//! The limits come from what arms and pads do, not from recordings. In noise between 0.3 and 2 Hz, strong enough to pass for
//! travel, along one axis only, which is the worst case, less than one window in a hundred is taken for a clear rhythm (measured in
//! the tests); on more axes or in a wider band it is far less.
//!
//! # Error
//!
//! All that is missing from likeness is taken for unevenness of the periods: a phase that wanders by `c` of a cycle in each leaves
//! `r = exp(-(2πc)²/2)`, and the mean of n periods has c/√n. Motion that is irregular without being uneven in time makes the
//! interval wider than it need be. Cost: nothing but the decimation where the arm moves gently.

use super::attitude::{GRAVITY, Vec3};
use super::findings::{Interval, ToAndFro, Z90};
use super::grid::STEP_S;
use core::f64::consts::{SQRT_2, TAU};
use core::ops::Range;
use std::collections::VecDeque;

/// Grid points from one sample to the next.
const EVERY: i64 = 4;
/// Time between samples, s.
const SAMPLE_S: f64 = EVERY as f64 * STEP_S;
/// Samples of a window, 12 s: four of the longest periods, so that two of them can still be compared with two others.
const SPAN: usize = 150;
/// Half of it, s.
const HALF_S: f64 = 0.5 * SPAN as f64 * SAMPLE_S;
/// Samples between two windows, 2 s.
const HOP: usize = 25;
/// Samples that wait until it is known whether the motor ran, 1 s.
const LAG: usize = 13;
/// Samples to either side whose mean is taken off as drift: together the longest period, of which nothing is lost so.
const DRIFT: usize = 19;
/// Shortest and longest period, s. An arm does not travel to and fro more often than twice a second (common practice, no
/// published source); two of the shortest strokes that the stroke finder knows, with the steps between, take three seconds.
const PERIODS_S: Range<f64> = 0.5..3.0;
/// Lags searched, samples: from half of the shortest period, so that quicker shaking is not read at half of its rate.
const LAGS: Range<usize> = 3..39;
/// Middle of the band between 1/3 and 2 Hz, Hz.
const MIDDLE_HZ: f64 = 0.8;
/// Weight of a turn rate, m/s² per rad/s.
const TURN_WEIGHT: f64 = GRAVITY / (TAU * MIDDLE_HZ);
/// Share of the motion that must come again for a clear rhythm: with less, noise would pass for one too often (see the tests).
const CLEAR: f64 = 0.6;
/// Half of that is enough next to a clear window, at a rate that differs by no more than [`STEADY`] from one window to the next.
const FAINT: f64 = 0.3;
const STEADY: f64 = 0.25;
/// A peak this high, relative to the highest, counts as being as high.
const AS_HIGH: f64 = 0.85;
/// Least travel, from end to end, m: less than the radius of a pad covers nothing.
const TRAVEL_M: f64 = 0.05;
/// Relative error of the place of a peak between samples.
const PEAK_ERROR: f64 = 0.005;
/// A stretch is handed out at this length, s: memory stays bounded.
const LONGEST_S: f64 = 900.0;
/// Longest share of a cycle that one way takes: half of it with its turn, and a tenth more for what is uneven.
const ONE_WAY: f64 = 0.55;
/// Strokes remembered: those of the longest stretch, at one in 1.3 s.
const STROKES: usize = 700;

type Sample = [f64; 6];

/// The rhythm of one window.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Rhythm {
    hz: f64,
    /// Likeness after one period, 0 to 1.
    likeness: f64,
    /// The lesser of it and of that after two periods.
    least: f64,
}

/// A stretch that may go on.
#[derive(Clone, Copy, Debug)]
struct Open {
    start_s: f64,
    /// Middle of the last window.
    middle_s: f64,
    /// Cycles up to then.
    cycles: f64,
    /// The rate there.
    hz: f64,
    /// Whether one of its windows was clear.
    clear: bool,
    /// Sum of the variances of a cycle, relative, and how many there are.
    variance: f64,
    windows: f64,
}

/// Counts to and fro.
#[derive(Debug, Default)]
pub(super) struct Cadence {
    /// First grid point after the last hole; `None` in one.
    since: Option<i64>,
    /// Sums of the sample that is complete at this group of grid points, and of the one after.
    sums: [Sample; 2],
    /// Samples that wait for the motor, with their times, s.
    waiting: VecDeque<(f64, Sample)>,
    window: VecDeque<Sample>,
    /// Samples since the last look.
    fresh: usize,
    window_end_s: f64,
    open: Option<Open>,
    closed: VecDeque<ToAndFro>,
    strokes: VecDeque<(f64, f64)>,
}

impl Cadence {
    /// Takes one grid point. `motor_on` tells whether the motor ran around a time, s, up to a second ago.
    pub(super) fn step(&mut self, index: i64, accel: Option<Vec3>, gyro: Option<Vec3>, motor_on: &dyn Fn(f64) -> bool) {
        let known = accel.zip(gyro).map(|([a, b, c], gyro)| {
            let [d, e, f] = gyro.map(|w| w * TURN_WEIGHT);
            [a, b, c, d, e, f]
        });
        let Some(point) = known else {
            if self.since.is_some() {
                self.end(motor_on);
            }
            return;
        };
        let since = *self.since.get_or_insert(index);
        // A triangle over seven points: orbit vibration near the new rate does not fold down.
        let place = index.rem_euclid(EVERY);
        let weights = [(EVERY - 1 - place) as f64, (place + 1) as f64];
        for (sum, weight) in self.sums.iter_mut().zip(weights) {
            for (sum, v) in sum.iter_mut().zip(point) {
                *sum += weight * v / (EVERY * EVERY) as f64;
            }
        }
        if place == EVERY - 1 {
            let [done, begun] = self.sums;
            self.sums = [begun, [0.0; 6]];
            if since <= index - 2 * EVERY + 1 {
                self.waiting.push_back(((index - EVERY) as f64 * STEP_S, done));
            }
            if self.waiting.len() > LAG {
                self.take(motor_on);
            }
        }
    }

    /// Notes a stroke that was found.
    pub(super) fn stroke(&mut self, start_s: f64, end_s: f64) {
        if self.strokes.len() == STROKES {
            self.strokes.pop_front();
        }
        self.strokes.push_back((start_s, end_s));
    }

    /// Whether most of these strokes (start and end, s) are none: whole cycles of quick work.
    pub(super) fn mistaken(&self, strokes: &[(f64, f64)]) -> bool {
        let open = self.open.and_then(Open::so_far);
        let mistaken = |&&(start_s, end_s): &&(f64, f64)| {
            let mut stretches = self.closed.iter().chain(&open);
            let middle_s = 0.5 * (start_s + end_s);
            let stretch = stretches.find(|stretch| (stretch.start_s..stretch.end_s).contains(&middle_s));
            stretch.is_some_and(|stretch| !told(end_s - start_s, stretch))
        };
        2 * strokes.iter().filter(mistaken).count() > strokes.len()
    }

    /// The motion is interrupted, or over.
    pub(super) fn end(&mut self, motor_on: &dyn Fn(f64) -> bool) {
        while !self.waiting.is_empty() {
            self.take(motor_on);
        }
        self.stop();
        self.since = None;
    }

    /// The next stretch that ended before a time by which all of its strokes are known.
    pub(super) fn pop_before(&mut self, before_s: f64) -> Option<ToAndFro> {
        loop {
            let stretch = self.closed.pop_front_if(|s| s.end_s < before_s)?;
            let strokes = self.strokes.iter().filter(|s| told(s.1 - s.0, &stretch));
            let stroked_s: f64 = strokes.map(|s| (s.1.min(stretch.end_s) - s.0.max(stretch.start_s)).max(0.0)).sum();
            if stroked_s < 0.5 * (stretch.end_s - stretch.start_s) {
                return Some(stretch);
            }
        }
    }

    fn take(&mut self, motor_on: &dyn Fn(f64) -> bool) {
        let Some((t_s, sample)) = self.waiting.pop_front() else { return };
        if !motor_on(t_s) || !sample.iter().all(|v| v.is_finite()) {
            self.stop();
            return;
        }
        if self.window.len() == SPAN {
            self.window.pop_front();
        }
        self.window.push_back(sample);
        self.window_end_s = t_s + 0.5 * SAMPLE_S;
        self.fresh += 1;
        if self.window.len() == SPAN && self.fresh >= HOP {
            self.look();
        }
    }

    /// No motion follows on what was: looks at its end once more.
    fn stop(&mut self) {
        if self.window.len() == SPAN && self.fresh > 0 {
            self.look();
        }
        self.window.clear();
        self.fresh = 0;
        self.close();
    }

    fn look(&mut self) {
        self.fresh = 0;
        let middle_s = self.window_end_s - HALF_S;
        // Windows that have nothing in common with the last clear one belong to no stretch of its.
        if self.open.is_some_and(|open| middle_s > open.middle_s + 2.0 * HALF_S) {
            self.close();
        }
        let Some(Rhythm { hz, likeness, least }) = rhythm(self.window.make_contiguous()) else { return };
        let clear = least >= CLEAR;
        if let Some(open) = self.open
            && (hz / open.hz).ln().abs() > STEADY
        {
            match (open.clear, clear) {
                // A faint rhythm beside another one is chance.
                (_, false) => return,
                (false, true) => self.open = None,
                // The pace may change.
                (true, true) => {}
            }
        }
        let open = self.open.get_or_insert(Open {
            start_s: middle_s - HALF_S,
            middle_s,
            cycles: HALF_S * hz,
            hz,
            clear,
            variance: 0.0,
            windows: 0.0,
        });
        open.cycles += (middle_s - open.middle_s) * 0.5 * (open.hz + hz);
        open.middle_s = middle_s;
        open.hz = hz;
        open.clear |= clear;
        open.variance -= 2.0 * likeness.ln() / (TAU * TAU);
        open.windows += 1.0;
        if middle_s - open.start_s >= LONGEST_S {
            self.window.clear();
            self.close();
        }
    }

    fn close(&mut self) {
        self.closed.extend(self.open.take().and_then(Open::so_far));
    }
}

impl Open {
    /// The stretch, if a window of it was clear.
    fn so_far(self) -> Option<ToAndFro> {
        let end_s = self.middle_s + HALF_S;
        let cycles = self.cycles + HALF_S * self.hz;
        let value = cycles / (end_s - self.start_s);
        let spread = Z90 * (self.variance / self.windows / cycles).sqrt().hypot(PEAK_ERROR);
        let rate_hz = Interval { lo: value * (-spread).exp(), value, hi: value * spread.exp() };
        self.clear.then_some(ToAndFro { start_s: self.start_s, end_s, cycles, rate_hz })
    }
}

/// Whether a stroke of `seconds` speaks against a stretch: it is one way of its to and fro, or of ordinary work. What lies between
/// is a whole cycle or more that was taken for a stroke.
fn told(seconds: f64, stretch: &ToAndFro) -> bool {
    seconds <= ONE_WAY / stretch.rate_hz.value || seconds > PERIODS_S.end
}

/// The rhythm of a window, at least a faint one.
fn rhythm(window: &[Sample]) -> Option<Rhythm> {
    let x = without_drift(window);
    let accel: f64 = x.iter().map(|s| s[0] * s[0] + s[1] * s[1] + s[2] * s[2]).sum();
    let accel = SQRT_2 * (accel / x.len() as f64).sqrt();
    let travel_m = |period_s: f64| 2.0 * accel * (period_s / TAU).powi(2);
    if travel_m(PERIODS_S.end) < TRAVEL_M {
        return None;
    }
    let x = Likeness::new(x);
    let r: Vec<f64> = (LAGS.start - 1..LAGS.end + 1).map(|lag| x.after(lag)).collect();
    let peaks: Vec<(f64, f64)> = r.windows(3).enumerate().filter_map(|(i, r)| peak(LAGS.start + i, r)).collect();
    let highest = peaks.iter().map(|p| p.1).fold(0.0, f64::max);
    let (once, height) = peaks.into_iter().find(|p| p.1 >= AS_HIGH * highest)?;
    // After two periods, which an uneven hand makes a little shorter or longer.
    let reach = once / 4.0;
    let (from, to) = ((2.0 * once - reach).floor() as usize, (2.0 * once + reach).ceil() as usize);
    let r: Vec<f64> = (from - 1..=to + 1).map(|lag| x.after(lag)).collect();
    let again = r.windows(3).enumerate().filter_map(|(i, r)| peak(from + i, r)).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let period_s = 0.5 * again.0 * SAMPLE_S;
    let least = height.min(again.1);
    let travels = PERIODS_S.contains(&period_s) && travel_m(period_s) >= TRAVEL_M;
    (least >= FAINT && travels).then_some(Rhythm { hz: 1.0 / period_s, likeness: height.min(1.0), least })
}

/// Each sample less the mean of those around it.
fn without_drift(window: &[Sample]) -> Vec<Sample> {
    let mut sums = vec![[0.0; 6]];
    for sample in window {
        let last = sums[sums.len() - 1];
        sums.push(core::array::from_fn(|i| last[i] + sample[i]));
    }
    let around = |k: usize| k.saturating_sub(DRIFT)..(k + DRIFT + 1).min(window.len());
    let mean = |r: Range<usize>, i: usize| (sums[r.end][i] - sums[r.start][i]) / r.len() as f64;
    window.iter().enumerate().map(|(k, s)| core::array::from_fn(|i| s[i] - mean(around(k), i))).collect()
}

/// A window without drift, with the energy up to each sample.
struct Likeness {
    x: Vec<Sample>,
    energy: Vec<f64>,
}

impl Likeness {
    fn new(x: Vec<Sample>) -> Self {
        let mut energy = vec![0.0];
        for sample in &x {
            energy.push(energy[energy.len() - 1] + dot(sample, sample));
        }
        Self { x, energy }
    }

    /// Likeness of the motion to itself `lag` samples later, -1 to 1.
    fn after(&self, lag: usize) -> f64 {
        let n = self.x.len();
        let product: f64 = self.x.iter().zip(&self.x[lag..]).map(|(a, b)| dot(a, b)).sum();
        let energy = (self.energy[n - lag] * (self.energy[n] - self.energy[lag])).sqrt();
        if energy > 0.0 { product / energy } else { 0.0 }
    }
}

fn dot(a: &Sample, b: &Sample) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Place and height of the parabola's top through the values at `lag - 1`, `lag` and `lag + 1`, where the middle one is highest.
fn peak(lag: usize, r: &[f64]) -> Option<(f64, f64)> {
    let &[a, b, c] = r else { return None };
    let bend = a - 2.0 * b + c;
    (b > a && b >= c && bend < 0.0).then(|| {
        let off = 0.5 * (a - c) / bend;
        (lag as f64 + off, b - 0.25 * (a - c) * off)
    })
}

#[cfg(test)]
#[path = "cadence_tests.rs"]
mod tests;
