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
/// A peak must be the largest within this many grid points to either side.
const LONE: usize = 12;
/// Grid points by which the detector lags behind the stream.
pub(super) const DETECT_LAG: usize = HALF + LONE;
/// The fit reaches this far beyond the outermost event, s.
pub(super) const REACH_S: f64 = 1.6;
/// Usual width (standard deviation) of a burst, s, and its bounds.
pub(super) const USUAL_WIDTH_S: f64 = 0.1;
const WIDTHS_S: (f64, f64) = (0.05, 0.22);
/// Weakest peak considered, m/s², and relative to the running median of the detector's output.
const LEAST_PEAK: f64 = 0.012;
const OVER_MEDIAN: f64 = 2.2;

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
}

/// Finds candidate events in the acceleration in the panel's plane.
#[derive(Clone, Debug)]
pub(super) struct Detector {
    kernel: [f64; HALF + 1],
    ring: VecDeque<[f64; 2]>,
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
            ring: VecDeque::with_capacity(2 * HALF + 2),
            size: VecDeque::with_capacity(2 * LONE + 2),
            median: 0.012,
            next: start,
        }
    }

    /// Takes the acceleration at the next grid point; gives the index of an event [`DETECT_LAG`] points back, if there is one.
    pub(super) fn push(&mut self, acceleration: [f64; 2]) -> Option<(i64, f64)> {
        self.ring.push_back(acceleration);
        self.next += 1;
        if self.ring.len() < 2 * HALF + 1 {
            return None;
        }
        if self.ring.len() > 2 * HALF + 1 {
            self.ring.pop_front();
        }
        let (a, b) = self.ring.as_slices();
        let at = |i: usize| if i < a.len() { a[i] } else { b[i - a.len()] };
        let mid = at(HALF);
        let (mut x, mut y) = (self.kernel[0] * mid[0], self.kernel[0] * mid[1]);
        for k in 1..=HALF {
            let (l, r) = (at(HALF - k), at(HALF + k));
            x += self.kernel[k] * (l[0] + r[0]);
            y += self.kernel[k] * (l[1] + r[1]);
        }
        let size = x.hypot(y);
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
        let is_peak = peak > LEAST_PEAK.max(OVER_MEDIAN * self.median)
            && self.size.iter().enumerate().all(|(i, v)| if i < LONE { *v < peak } else { *v <= peak });
        is_peak.then(|| (self.next - 1 - DETECT_LAG as i64, peak))
    }
}

/// What a fit of a few neighbouring events gave.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Times, s.
    pub(super) times_s: Vec<f64>,
    /// Steps in the heading frame, m/s.
    pub(super) steps: Vec<[f64; 2]>,
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
    /// Fits events near `times_s` (sorted, at most a few) with gyro bias `bias`, reaching [`REACH_S`] beyond the outermost.
    pub(super) fn fit(
        &self,
        times_s: &[f64],
        bias: Vec3,
        width_s: f64,
        free_width: bool,
        rounds: usize,
    ) -> Option<Fit> {
        let (head, tail) = (*times_s.first()?, *times_s.last()?);
        self.fit_between(times_s, (head, tail), bias, width_s, free_width, rounds)
    }

    /// Fits the event at `own_s` with its neighbours, reaching [`REACH_S`] to either side of it: quick, for the live view.
    pub(super) fn fit_around(&self, times_s: &[f64], own_s: f64, bias: Vec3, width_s: f64) -> Option<Fit> {
        self.fit_between(times_s, (own_s, own_s), bias, width_s, false, 2)
    }

    fn fit_between(
        &self,
        times_s: &[f64],
        (head, tail): (f64, f64),
        bias: Vec3,
        width_s: f64,
        free_width: bool,
        rounds: usize,
    ) -> Option<Fit> {
        let index = |t: f64| ((t / STEP_S).round() as i64 - self.first).clamp(0, self.points.len() as i64 - 1) as usize;
        if self.points.is_empty() {
            return None;
        }
        let (from, to, mid) = (index(head - REACH_S), index(tail + REACH_S), index(0.5 * (head + tail)));
        if to - from < 30 {
            return None;
        }
        let residual = self.residual(from, to, mid, bias);
        let mid_s = (self.first + mid as i64) as f64 * STEP_S;
        let from_s = (self.first + from as i64) as f64 * STEP_S - mid_s;
        let mut times: Vec<f64> = times_s.iter().map(|t| t - mid_s).collect();
        let mut width = width_s;
        let mut weight = 0.0;
        for _ in 0..rounds {
            let small = Small::new(&residual, from_s, &times, width);
            let (moves, widen, firm) = small.improve(free_width)?;
            for (t, m) in times.iter_mut().zip(&moves) {
                *t += m.clamp(-0.06, 0.06);
            }
            if free_width {
                width = (width + widen.clamp(-0.02, 0.02)).clamp(WIDTHS_S.0, WIDTHS_S.1);
                weight = firm;
            }
        }
        let steps = Small::new(&residual, from_s, &times, width).amplitudes()?;
        let (s, c) = f64::from(self.points[mid].heading).sin_cos();
        Some(Fit {
            times_s: times.iter().map(|t| t + mid_s).collect(),
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

/// The normal equations of one fit: everything is decided by inner products of a few functions.
struct Small {
    /// Number of events.
    k: usize,
    /// Inner products of the functions [1, t, bursts, their time derivatives, their width derivatives].
    gram: DMatrix<f64>,
    /// Inner products with the two components of the data.
    data: DMatrix<f64>,
}

impl Small {
    fn new(residual: &[[f64; 2]], from_s: f64, times: &[f64], width: f64) -> Self {
        let k = times.len();
        let m = 2 + 3 * k;
        let mut gram = DMatrix::zeros(m, m);
        let mut data = DMatrix::zeros(m, 2);
        let mut f = vec![0.0; m];
        // Far from a burst its three functions vanish; only what is at work is summed.
        let mut at_work = Vec::with_capacity(m);
        let scale = 1.0 / (width * (2.0 * core::f64::consts::PI).sqrt());
        for (i, r) in residual.iter().enumerate() {
            let t = from_s + i as f64 * STEP_S;
            f[0] = 1.0;
            f[1] = t;
            at_work.clear();
            at_work.extend([0, 1]);
            for (j, at) in times.iter().enumerate() {
                let z = (t - at) / width;
                if z.abs() > 5.0 {
                    continue;
                }
                let e = scale * (-0.5 * z * z).exp();
                f[2 + j] = e;
                f[2 + k + j] = e * z / width;
                f[2 + 2 * k + j] = e * (z * z - 1.0) / width;
                at_work.extend([2 + j, 2 + k + j, 2 + 2 * k + j]);
            }
            for (n, &a) in at_work.iter().enumerate() {
                for &b in &at_work[..=n] {
                    gram[(a.max(b), a.min(b))] += f[a] * f[b];
                }
                data[(a, 0)] += f[a] * r[0];
                data[(a, 1)] += f[a] * r[1];
            }
        }
        gram.fill_upper_triangle_with_lower_triangle();
        Self { k, gram, data }
    }

    fn linear(&self) -> Option<(nalgebra::Cholesky<f64, nalgebra::Dyn>, DMatrix<f64>)> {
        let p = 2 + self.k;
        let solver = self.gram.view((0, 0), (p, p)).into_owned().cholesky()?;
        let amplitudes = solver.solve(&self.data.rows(0, p).into_owned());
        Some((solver, amplitudes))
    }

    fn amplitudes(&self) -> Option<Vec<[f64; 2]>> {
        let (_, c) = self.linear()?;
        Some((0..self.k).map(|j| [c[(2 + j, 0)], c[(2 + j, 1)]]).collect())
    }

    /// One Gauss-Newton move: of each time, of the width, and the curvature in the width.
    fn improve(&self, free_width: bool) -> Option<(Vec<f64>, f64, f64)> {
        let (k, p) = (self.k, 2 + self.k);
        let (solver, c) = self.linear()?;
        let q = 2 * k;
        let coupling = self.gram.view((p, 0), (q, p)).into_owned();
        let projected = self.gram.view((p, p), (q, q)) - &coupling * solver.solve(&coupling.transpose());
        let left = self.data.rows(p, q) - &coupling * &c;
        let n = if free_width { k + 1 } else { k };
        let dot = |i: usize, j: usize| c[(2 + i, 0)] * c[(2 + j, 0)] + c[(2 + i, 1)] * c[(2 + j, 1)];
        let mut normal = DMatrix::zeros(n, n);
        let mut rhs = DVector::zeros(n);
        for i in 0..k {
            rhs[i] = c[(2 + i, 0)] * left[(i, 0)] + c[(2 + i, 1)] * left[(i, 1)];
            for j in 0..k {
                normal[(i, j)] = dot(i, j) * projected[(i, j)];
            }
            if free_width {
                rhs[k] += c[(2 + i, 0)] * left[(k + i, 0)] + c[(2 + i, 1)] * left[(k + i, 1)];
                for j in 0..k {
                    normal[(k, k)] += dot(i, j) * projected[(k + i, k + j)];
                    normal[(i, k)] += dot(i, j) * projected[(i, k + j)];
                }
                normal[(k, i)] = normal[(i, k)];
            }
        }
        let firm = if free_width { normal[(k, k)] } else { 0.0 };
        for i in 0..n {
            // Keeps a burst without substance where it is.
            normal[(i, i)] += 4e-4;
        }
        let x = normal.cholesky()?.solve(&rhs);
        Some((x.iter().take(k).copied().collect(), if free_width { x[k] } else { 0.0 }, firm))
    }
}
