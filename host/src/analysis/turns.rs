//! Where the arm starts, stops and turns: short bursts of acceleration in the panel's plane, each with its change of velocity.
//!
//! # Terms
//!
//! *Event*: one burst, the start or the end of a straight run. A turn with a sideways step is two events: the stroke's end
//! and, a moment later, the next one's start. *Step*: the change of velocity over an event, m/s, in a frame that lies in
//! the panel's plane and does not turn with the machine.
//!
//! # How
//!
//! A burst of an arm lasts some 0.2-0.4 s; everything slower is tilt, everything faster tremor and orbit. A difference of
//! two Gaussians (0.1 s minus 0.5 s) passes just that and ignores constants and ramps. Its peaks are candidates; which of
//! them are real is decided in `strokes`. The size of a step comes from a fit over ±[`REACH_S`]: gravity is carried
//! through the window by the gyro alone, and what is left is explained by a straight line (tilt, bias and their drift) plus
//! one Gaussian burst per event, whose area is the step. Times and the common width of the bursts are refined by
//! Gauss-Newton with the linear part projected out (variable projection, Golub and Pereyra 1973; from memory).

use super::attitude::{Vec3, carried, lever_acceleration, norm};
use super::grid::STEP_S;
use nalgebra::{DMatrix, DVector};
use std::collections::VecDeque;

/// Half length of the detector, grid points.
const HALF: usize = 75;
/// Its whole length, and into how many sums it is taken, which divides the half.
const SPAN: usize = 2 * HALF + 1;
const SUMS: usize = 5;
const _: () = assert!(HALF.is_multiple_of(SUMS));
/// A peak must be the largest within this many grid points to either side.
const LONE: usize = 12;
/// Grid points by which the detector lags behind the stream.
pub(super) const DETECT_LAG: usize = HALF + LONE;
/// The fit reaches this far beyond the outermost event, s.
pub(super) const REACH_S: f64 = 1.6;
/// Usual width (standard deviation) of a burst, s, and its bounds.
pub(super) const USUAL_WIDTH_S: f64 = 0.1;
const WIDTHS_S: (f64, f64) = (0.05, 0.22);
/// How far one turn's width may lie from the usual one, one standard deviation, s.
const WIDTH_SPREAD_S: f64 = 0.04;
/// What the bursts leave unexplained, one standard deviation of a grid point, m/s².
const UNEXPLAINED: f64 = 0.02;
/// Two bursts this close in time, s, may be one movement that speeds up between them, too.
const BRIDGED_S: (f64, f64) = (0.2, 1.1);
/// Cosine of the angle between two bursts below which they oppose each other.
const OPPOSED: f64 = -0.3;
/// Least time between two events of a fit, s.
const APART_S: f64 = 0.18;
/// Share of a burst that its shape may leave in a smaller one beside it, and how close that is, s.
const BLUR: f64 = 0.1;
const BESIDE_S: f64 = 0.9;
/// Of two opposed bursts this close, s, the weaker may be no more than the flank of the stronger, wider than usual, if it has at
/// most this share of its strength; then as much of it as this says nothing, of either.
const FLANK_S: f64 = 0.3;
const FLANK_AT_MOST: f64 = 0.6;
const FLANK: f64 = 0.7;
/// What is looked at ends this long before the next event that is not in the fit, s.
const CLEAR_S: f64 = 0.35;
/// Gauss-Newton moves of one fit.
const ROUNDS: usize = 5;
/// Events in one fit, at most.
const FIT_AT_MOST: usize = 8;
/// Width of a bridge, in gaps.
const BRIDGE_WIDTH: f64 = 0.28;
/// Weakest peak considered, m/s², and relative to the running median of the detector's output.
const LEAST_PEAK: f64 = 0.012;
const OVER_MEDIAN: f64 = 2.2;
/// The same where no clear peak is near: the gentle start or end of slow work, beside a rest.
const LEAST_FAINT: f64 = 0.008;
const FAINT_OVER_MEDIAN: f64 = 1.8;
/// What a faint peak's step may owe to tremor, one standard deviation, m/s for each m/s² of the running median. From noise peaks
/// of seeded simulations with quiet and shaky hands: 0.65 to 0.8.
const FAINT_BLUR: f64 = 0.6;

/// One grid point of the motion chain, kept for fits.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct MotionPoint {
    pub(super) accel: [f32; 3],
    pub(super) gyro: [f32; 3],
    /// Turn about the spindle, rad.
    pub(super) heading: f32,
}

/// A candidate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Event {
    /// Time, s.
    pub(super) t_s: f64,
    /// Change of velocity, m/s.
    pub(super) step: [f64; 2],
    /// What bursts close by may have left in it, one standard deviation, m/s.
    pub(super) blur: f64,
}

/// A peak of the detector's output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Peak {
    /// Grid index.
    pub(super) at: i64,
    /// What its step may owe to tremor if it is so faint that it counts only by itself, one standard deviation, m/s.
    pub(super) faint: Option<f64>,
}

/// Finds candidate events in the acceleration in the panel's plane.
#[derive(Clone, Debug)]
pub(super) struct Detector {
    kernel: [f64; HALF + 1],
    /// The last [`SPAN`] inputs, each kept twice, that far apart: so they always lie in one piece, oldest first, from `head` on.
    ring: Vec<[f64; 2]>,
    head: usize,
    filled: usize,
    size: VecDeque<f64>,
    median: f64,
    /// Grid index of the next input.
    next: i64,
}

impl Detector {
    /// The first point fed will be grid point `start`.
    pub(super) fn new(start: i64) -> Self {
        let gauss = |s: f64| {
            let g = |k: usize| (-0.5 * (k as f64 * STEP_S / s).powi(2)).exp();
            let sum = g(0) + 2.0 * (1..=HALF).map(g).sum::<f64>();
            core::array::from_fn::<f64, { HALF + 1 }, _>(|k| g(k) / sum)
        };
        let (short, long) = (gauss(0.1), gauss(0.5));
        Self {
            kernel: core::array::from_fn(|k| short[k] - long[k]),
            ring: vec![[0.0; 2]; 2 * SPAN],
            head: 0,
            filled: 0,
            size: VecDeque::with_capacity(2 * LONE + 2),
            median: 0.012,
            next: start,
        }
    }

    /// The kernel, which is even, over the last inputs.
    fn filtered(&self) -> [f64; 2] {
        let window = &self.ring[self.head..self.head + SPAN];
        let mid = window[HALF].map(|v| self.kernel[0] * v);
        // Several sums side by side: one alone would wait for each addition.
        let mut sums = [[0.0; 2]; SUMS];
        for first in (1..=HALF).step_by(SUMS) {
            for (j, sum) in sums.iter_mut().enumerate() {
                let k = first + j;
                let (l, r) = (window[HALF - k], window[HALF + k]);
                for i in 0..2 {
                    sum[i] += self.kernel[k] * (l[i] + r[i]);
                }
            }
        }
        sums.iter().fold(mid, |a, b| [a[0] + b[0], a[1] + b[1]])
    }

    /// Takes the acceleration at the next grid point; gives the peak [`DETECT_LAG`] points back, if there is one.
    pub(super) fn push(&mut self, acceleration: [f64; 2]) -> Option<Peak> {
        self.ring[self.head] = acceleration;
        self.ring[self.head + SPAN] = acceleration;
        self.head = (self.head + 1) % SPAN;
        self.filled = (self.filled + 1).min(SPAN);
        self.next += 1;
        if self.filled < SPAN {
            return None;
        }
        let [x, y] = self.filtered();
        let size = (x * x + y * y).sqrt();
        // Follows the median: equal pulls up and down balance where half of the values lie on either side.
        let pull = if size < self.median { -1.0 } else { 1.0 };
        self.median = (self.median * (1.0 + pull * STEP_S / 8.0)).clamp(0.006, 0.04);
        self.size.push_back(size);
        if self.size.len() < 2 * LONE + 1 {
            return None;
        }
        if self.size.len() > 2 * LONE + 1 {
            self.size.pop_front();
        }
        let peak = self.size[LONE];
        let is_peak = peak > LEAST_FAINT.max(FAINT_OVER_MEDIAN * self.median)
            && self.size.iter().enumerate().all(|(i, v)| if i < LONE { *v < peak } else { *v <= peak });
        let clear = peak > LEAST_PEAK.max(OVER_MEDIAN * self.median);
        is_peak.then(|| Peak {
            at: self.next - 1 - DETECT_LAG as i64,
            faint: (!clear).then_some(FAINT_BLUR * self.median),
        })
    }
}

/// What a fit of a few neighbouring events gave.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Times, s.
    pub(super) times_s: Vec<f64>,
    /// Steps in the heading frame, m/s.
    pub(super) steps: Vec<[f64; 2]>,
    /// What bursts close by may have left in each, one standard deviation, m/s.
    pub(super) blurs: Vec<f64>,
    /// Width of the bursts, s, and how firmly it is known (larger is firmer).
    pub(super) width_s: f64,
    pub(super) width_weight: f64,
}

/// A stretch of kept motion.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch<'a> {
    /// Grid index of the first point.
    pub(super) first: i64,
    pub(super) points: &'a [MotionPoint],
    pub(super) lever: Vec3,
}

impl Stretch<'_> {
    /// Fits events near `times_s` (sorted, at most a few) with gyro bias `bias` over the time `over_s`.
    pub(super) fn fit(&self, times_s: &[f64], over_s: (f64, f64), bias: Vec3, usual_width_s: f64) -> Option<Fit> {
        let index = |t: f64| ((t / STEP_S).round() as i64 - self.first).clamp(0, self.points.len() as i64 - 1) as usize;
        if self.points.is_empty() {
            return None;
        }
        let mid_s = 0.5 * (times_s.first()? + times_s.last()?);
        let (from, to, mid) = (index(over_s.0), index(over_s.1), index(mid_s));
        if to < from + 30 || !(from..=to).contains(&mid) {
            return None;
        }
        let residual = self.residual(from, to, mid, bias);
        let mid_s = (self.first + mid as i64) as f64 * STEP_S;
        let from_s = (self.first + from as i64) as f64 * STEP_S - mid_s;
        let mut times: Vec<f64> = times_s.iter().map(|t| t - mid_s).collect();
        let mut width = usual_width_s;
        let mut weight = 0.0;
        let mut bridged = Vec::new();
        for round in 0..ROUNDS {
            let small = Small::new(&residual, from_s, &times, width, &bridged);
            if round == 1 {
                bridged = bridges(&times, &small.steps()?, width);
            }
            let (moves, widen, firm) = small.improve(usual_width_s - width)?;
            for (t, m) in times.iter_mut().zip(&moves) {
                *t += m.clamp(-0.06, 0.06);
            }
            keep_apart(&mut times);
            width = (width + widen.clamp(-0.02, 0.02)).clamp(WIDTHS_S.0, WIDTHS_S.1);
            weight = firm;
        }
        let steps = Small::new(&residual, from_s, &times, width, &bridged).steps()?;
        let (s, c) = f64::from(self.points[mid].heading).sin_cos();
        Some(Fit {
            times_s: times.iter().map(|t| t + mid_s).collect(),
            blurs: blurs(&times, &steps),
            steps: steps.iter().map(|d| [c * d[0] - s * d[1], s * d[0] + c * d[1]]).collect(),
            width_s: width,
            width_weight: weight,
        })
    }

    /// Acceleration in the panel's plane from point `from` to `to`, m/s², in the heading of point `mid`; gravity is carried
    /// from there by the gyro alone.
    fn residual(&self, from: usize, to: usize, mid: usize, bias: Vec3) -> Vec<[f64; 2]> {
        let wide = |v: [f32; 3]| v.map(f64::from);
        let rate = |i: usize| {
            let g = wide(self.points[i].gyro);
            [g[0] - bias[0], g[1] - bias[1], g[2] - bias[2]]
        };
        let (l, r) = (mid.saturating_sub(25).max(from), (mid + 25).min(to));
        let mut mean = [0.0; 3];
        for p in &self.points[l..=r] {
            for (m, a) in mean.iter_mut().zip(wide(p.accel)) {
                *m += a;
            }
        }
        let n = norm(mean).max(1e-9);
        let start = mean.map(|m| m * super::attitude::GRAVITY / n);
        let mut out = vec![[0.0; 2]; to - from + 1];
        let mut put = |i: usize, gravity: Vec3, turn: f64| {
            let (before, after) = (i.saturating_sub(1).max(from), (i + 1).min(to));
            let (wb, wa) = (rate(before), rate(after));
            let dt = (after - before) as f64 * STEP_S;
            let change = [0, 1, 2].map(|k| (wa[k] - wb[k]) / dt);
            let swung = lever_acceleration(self.lever, rate(i), change);
            let a = wide(self.points[i].accel);
            let (x, y) = (a[0] - gravity[0] - swung[0], a[1] - gravity[1] - swung[1]);
            let (s, c) = turn.sin_cos();
            out[i - from] = [c * x - s * y, s * x + c * y];
        };
        put(mid, start, 0.0);
        let (mut g, mut turn) = (start, 0.0);
        for i in mid + 1..=to {
            let w = rate(i);
            g = carried(g, w, STEP_S);
            turn += w[2] * STEP_S;
            put(i, g, turn);
        }
        let (mut g, mut turn) = (start, 0.0);
        for i in (from..mid).rev() {
            let w = rate(i + 1);
            g = carried(g, w, -STEP_S);
            turn -= w[2] * STEP_S;
            put(i, g, turn);
        }
        out
    }
}

/// Two bursts on top of each other could have any steps that cancel.
fn keep_apart(times: &mut [f64]) {
    for j in 1..times.len() {
        let lacking = APART_S - (times[j] - times[j - 1]);
        if lacking > 0.0 {
            times[j - 1] -= 0.5 * lacking;
            times[j] += 0.5 * lacking;
        }
    }
}

fn blurs(times: &[f64], steps: &[[f64; 2]]) -> Vec<f64> {
    let size = |v: &[f64; 2]| v[0].hypot(v[1]);
    let opposed = |a: &[f64; 2], b: &[f64; 2]| a[0] * b[0] + a[1] * b[1] < 0.0;
    let blur = |j: usize| {
        let (mut beside, mut shared) = (0.0_f64, 0.0_f64);
        for i in (0..times.len()).filter(|i| *i != j) {
            let (apart_s, own, other) = ((times[i] - times[j]).abs(), size(&steps[j]), size(&steps[i]));
            if apart_s < BESIDE_S {
                beside = beside.max(other - own);
            }
            // The two bursts of a step aside are about as strong as each other.
            let flank = own.min(other);
            if apart_s < FLANK_S && flank < FLANK_AT_MOST * own.max(other) && opposed(&steps[i], &steps[j]) {
                shared = shared.max(flank);
            }
        }
        (BLUR * beside).hypot(FLANK * shared)
    };
    (0..times.len()).map(blur).collect()
}

/// Which pairs of neighbouring bursts are one movement to and fro, that may go on between them.
fn bridges(times: &[f64], steps: &[[f64; 2]], width: f64) -> Vec<usize> {
    // Closer than its width a bridge could not be told from the two bursts beside it.
    let least = BRIDGED_S.0.max(2.2 * width);
    let opposed =
        |a: [f64; 2], b: [f64; 2]| a[0] * b[0] + a[1] * b[1] < OPPOSED * (a[0].hypot(a[1]) * b[0].hypot(b[1]));
    (1..times.len())
        .filter(|&j| (least..=BRIDGED_S.1).contains(&(times[j] - times[j - 1])) && opposed(steps[j - 1], steps[j]))
        .map(|j| j - 1)
        .collect()
}

/// Sorts times of events, s, into groups that are measured together, and says over which time each is: [`REACH_S`] beyond its
/// outermost events, but not into the next group, and not where the motor does not run: its vibration shifts what the chip
/// reads, and the shift would be taken for movement.
pub(super) fn groups(times_s: &[f64], motor_on: &dyn Fn(f64) -> bool) -> Vec<(core::ops::Range<usize>, (f64, f64))> {
    let mut ranges: Vec<core::ops::Range<usize>> = Vec::new();
    for (i, t) in times_s.iter().enumerate() {
        match ranges.last_mut() {
            Some(r) if t - times_s[i - 1] <= REACH_S && r.len() < FIT_AT_MOST => r.end = i + 1,
            _ => ranges.push(i..i + 1),
        }
    }
    ranges
        .into_iter()
        .map(|r| {
            let (head, tail) = (times_s[r.start], times_s[r.end - 1]);
            let before = r.start.checked_sub(1).map_or(f64::NEG_INFINITY, |i| times_s[i] + CLEAR_S);
            let after = times_s.get(r.end).map_or(f64::INFINITY, |t| t - CLEAR_S);
            let over = (run_to(head, -1.0, motor_on).max(before), run_to(tail, 1.0, motor_on).min(after));
            (r, over)
        })
        .collect()
}

/// How far the motor runs on, at most [`REACH_S`] from `t_s`.
fn run_to(t_s: f64, way: f64, motor_on: &dyn Fn(f64) -> bool) -> f64 {
    const LOOK_S: f64 = 0.1;
    let looks = (REACH_S / LOOK_S) as u32;
    let stops = (1..=looks).find(|k| !motor_on(t_s + way * f64::from(*k) * LOOK_S));
    t_s + way * stops.map_or(REACH_S, |k| f64::from(k - 1) * LOOK_S)
}

/// The normal equations of one fit: everything is decided by inner products of a few functions.
struct Small {
    /// Number of events.
    k: usize,
    /// First events of the pairs that are bridged.
    bridged: Vec<usize>,
    /// Inner products of the functions [1, t, bursts, bridges, time derivatives of the bursts, their width derivatives].
    gram: DMatrix<f64>,
    /// Inner products with the two components of the data.
    data: DMatrix<f64>,
}

impl Small {
    fn new(residual: &[[f64; 2]], from_s: f64, times: &[f64], width: f64, bridged: &[usize]) -> Self {
        let k = times.len();
        let p = 2 + k + bridged.len();
        let m = p + 2 * k;
        let mut gram = DMatrix::zeros(m, m);
        let mut data = DMatrix::zeros(m, 2);
        let mut f = vec![0.0; m];
        // Level and slope are everywhere, and summed by themselves. Far from a burst its three functions vanish; only what is at
        // work is summed.
        let mut at_work = Vec::with_capacity(m);
        let [mut t_sum, mut t_square] = [0.0; 2];
        let [mut r_sum, mut r_moment] = [[0.0; 2]; 2];
        let bell = |t: f64, width: f64| (-0.5 * (t / width).powi(2)).exp() / (width * core::f64::consts::TAU.sqrt());
        for (i, r) in residual.iter().enumerate() {
            let t = from_s + i as f64 * STEP_S;
            t_sum += t;
            t_square += t * t;
            for axis in 0..2 {
                r_sum[axis] += r[axis];
                r_moment[axis] += t * r[axis];
            }
            at_work.clear();
            for (j, at) in times.iter().enumerate() {
                let z = (t - at) / width;
                if z.abs() > 5.0 {
                    continue;
                }
                let e = bell(t - at, width);
                f[2 + j] = e;
                f[p + j] = e * z / width;
                f[p + k + j] = e * (z * z - 1.0) / width;
                at_work.extend([2 + j, p + j, p + k + j]);
            }
            for (n, &j) in bridged.iter().enumerate() {
                let (gap, middle) = (times[j + 1] - times[j], 0.5 * (times[j + 1] + times[j]));
                let width = width.max(BRIDGE_WIDTH * gap);
                if (t - middle).abs() <= 5.0 * width {
                    f[2 + k + n] = bell(t - middle, width);
                    at_work.push(2 + k + n);
                }
            }
            for (n, &a) in at_work.iter().enumerate() {
                gram[(a, 0)] += f[a];
                gram[(a, 1)] += f[a] * t;
                for &b in &at_work[..=n] {
                    gram[(a.max(b), a.min(b))] += f[a] * f[b];
                }
                data[(a, 0)] += f[a] * r[0];
                data[(a, 1)] += f[a] * r[1];
            }
        }
        (gram[(0, 0)], gram[(1, 0)], gram[(1, 1)]) = (residual.len() as f64, t_sum, t_square);
        for axis in 0..2 {
            (data[(0, axis)], data[(1, axis)]) = (r_sum[axis], r_moment[axis]);
        }
        gram.fill_upper_triangle_with_lower_triangle();
        Self { k, bridged: bridged.to_vec(), gram, data }
    }

    fn linear(&self) -> Option<(nalgebra::Cholesky<f64, nalgebra::Dyn>, DMatrix<f64>)> {
        let p = 2 + self.k + self.bridged.len();
        let solver = self.gram.view((0, 0), (p, p)).into_owned().cholesky()?;
        let amplitudes = solver.solve(&self.data.rows(0, p).into_owned());
        Some((solver, amplitudes))
    }

    /// The events' steps; what a bridge adds belongs half to either side.
    fn steps(&self) -> Option<Vec<[f64; 2]>> {
        let (_, c) = self.linear()?;
        let mut steps: Vec<[f64; 2]> = (0..self.k).map(|j| [c[(2 + j, 0)], c[(2 + j, 1)]]).collect();
        for (n, &j) in self.bridged.iter().enumerate() {
            for side in [j, j + 1] {
                steps[side][0] += 0.5 * c[(2 + self.k + n, 0)];
                steps[side][1] += 0.5 * c[(2 + self.k + n, 1)];
            }
        }
        Some(steps)
    }

    /// One Gauss-Newton move: of each time, of the width, and the curvature in the width. The width is held where it usually
    /// is, `narrower` away, as firmly as widths of turns are alike.
    fn improve(&self, narrower: f64) -> Option<(Vec<f64>, f64, f64)> {
        let (k, p) = (self.k, 2 + self.k + self.bridged.len());
        let (solver, c) = self.linear()?;
        let q = 2 * k;
        let coupling = self.gram.view((p, 0), (q, p)).into_owned();
        let projected = self.gram.view((p, p), (q, q)) - &coupling * solver.solve(&coupling.transpose());
        let left = self.data.rows(p, q) - &coupling * &c;
        let n = k + 1;
        let dot = |i: usize, j: usize| c[(2 + i, 0)] * c[(2 + j, 0)] + c[(2 + i, 1)] * c[(2 + j, 1)];
        let mut normal = DMatrix::zeros(n, n);
        let mut rhs = DVector::zeros(n);
        for i in 0..k {
            rhs[i] = c[(2 + i, 0)] * left[(i, 0)] + c[(2 + i, 1)] * left[(i, 1)];
            rhs[k] += c[(2 + i, 0)] * left[(k + i, 0)] + c[(2 + i, 1)] * left[(k + i, 1)];
            for j in 0..k {
                normal[(i, j)] = dot(i, j) * projected[(i, j)];
                normal[(k, k)] += dot(i, j) * projected[(k + i, k + j)];
                normal[(i, k)] += dot(i, j) * projected[(i, k + j)];
            }
            normal[(k, i)] = normal[(i, k)];
        }
        let firm = normal[(k, k)];
        let hold = (UNEXPLAINED / WIDTH_SPREAD_S).powi(2);
        normal[(k, k)] += hold;
        rhs[k] += hold * narrower;
        for i in 0..n {
            // Keeps a burst without substance where it is.
            normal[(i, i)] += UNEXPLAINED * UNEXPLAINED;
        }
        let x = normal.cholesky()?.solve(&rhs);
        Some((x.iter().take(k).copied().collect(), x[k], firm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Peaks of a burst that changes the velocity by `step`, m/s, amid steady tremor of 9 Hz.
    fn peaks(step: f64) -> Vec<Peak> {
        let mut detector = Detector::new(0);
        (0..1500)
            .filter_map(|i| {
                let t = f64::from(i) * STEP_S - 15.0;
                let burst = step * (-0.5 * (t / 0.1).powi(2)).exp() / (0.1 * core::f64::consts::TAU.sqrt());
                detector.push([burst, 0.02 * (core::f64::consts::TAU * 9.0 * t).sin()])
            })
            .filter(|p| (p.at - 750).abs() <= 5)
            .collect()
    }

    #[test]
    fn the_flank_of_a_strong_burst_is_doubted_and_a_step_aside_is_not() {
        let doubt = |times: [f64; 2], first: f64, second: f64| blurs(&times, &[[first, 0.0], [second, 0.0]]);
        // 0.04 m/s against 0.11 m/s a quarter second later: what is left of the weaker one is within its doubt, and the same
        // is doubted of the stronger one.
        let flank = doubt([0.0, 0.25], -0.04, 0.11);
        assert!(flank[0] > 0.027 && (flank[1] - 0.028).abs() < 1e-12, "{flank:?}");
        for (what, steady) in [
            ("as strong as each other", doubt([0.0, 0.25], -0.1, 0.11)),
            ("far apart", doubt([0.0, 0.5], -0.04, 0.11)),
            ("the same way", doubt([0.0, 0.25], 0.04, 0.11)),
        ] {
            assert!(steady[0] <= 0.008 && steady[1] == 0.0, "{what}: {steady:?}");
        }
    }

    #[test]
    fn a_burst_near_the_threshold_is_found_but_called_faint() {
        let blur = |step: f64| peaks(step).first().map(|p| p.faint);
        assert_eq!(blur(0.03), Some(None), "clear");
        assert!(blur(0.0055).expect("found").expect("faint") > 0.002);
        assert_eq!(blur(0.002), None, "nothing");
    }
}
