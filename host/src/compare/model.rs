//! Means, trends and differences when the working day is the unit.
//!
//! # Why the day
//!
//! Passes of one day share the light, the paint, the fatigue and the pad of that day: a hundred strokes on one day say little
//! about the next day. Intervals that took strokes or passes as the unit would be far too narrow.
//!
//! # Model
//!
//! One-way random effects, for one group (a technician, a machine, ...) and one figure:
//!
//! ```text
//! y_ji = β·x_j + b_j + e_ji,   b_j ~ (0, τ²) between days,   e_ji ~ (0, σ²) between the n_j passes of day j
//! ```
//!
//! with `x_j = 1` for a mean and `x_j = (1, t_j)` for a trend. λ = τ²/σ² by restricted maximum likelihood (the criterion of
//! Patterson and Thompson, Biometrika 58 (1971) 545-554, profiled over σ²), then weighted least squares on the day means with
//! `w_j = 1/(λ + 1/n_j)`. Intervals after Hartung and Knapp (Statistics in Medicine 20 (2001) 3875-3889): the scatter of the
//! day means themselves gives the variance, Student's t with k − p degrees of freedom gives the width. With equally many
//! passes a day this is exactly the t-interval of the day means. Differences: Welch's t with Satterthwaite's degrees of freedom.
//!
//! Chosen over a bootstrap of days because with five to ten days a percentile bootstrap is too narrow (the tests measure how
//! much), and over large-sample intervals of the mixed model for the same reason.
//!
//! Assumed: days are independent of each other, and day means roughly normal. Two technicians who share a day are treated as
//! independent; a day that is warm for both makes the intervals of their difference too wide, not too narrow.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Fewest days with an interval: below it a spread between days cannot be told.
pub const FEWEST_DAYS: usize = 3;
/// Fewest days with a trend.
pub const FEWEST_TREND_DAYS: usize = 5;
/// Every interval here is a 90 % interval, as everywhere in the program.
pub const LEVEL: f64 = 0.90;

/// One day of one group: what its passes gave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Day {
    /// Passes (or sections) with the figure.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their sum of squared deviations from it.
    pub scatter: f64,
}

impl Day {
    /// From the figures of a day; what is not finite is left out. `None` when nothing is left.
    pub fn of(values: &[f64]) -> Option<Self> {
        let known: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
        if known.is_empty() {
            return None;
        }
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        Some(Self { n: known.len(), mean, scatter: known.iter().map(|v| (v - mean).powi(2)).sum() })
    }
}

/// A mean over days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub mean: f64,
    /// Its standard error and degrees of freedom; `None` with fewer than [`FEWEST_DAYS`] days.
    pub error: Option<StandardError>,
    /// Standard deviation between days.
    pub between_sd: Option<f64>,
    /// Standard deviation between passes of one day.
    pub within_sd: Option<f64>,
    /// Days.
    pub days: usize,
    /// Passes.
    pub passes: usize,
}

/// How far an estimate may be off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StandardError {
    /// Standard error.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
}

impl StandardError {
    /// Half the width of the interval of a level, 0 to 1.
    pub fn half_width(&self, level: f64) -> f64 {
        student(self.df).map_or(f64::INFINITY, |t| t.inverse_cdf(0.5 + level / 2.0)) * self.se
    }
}

impl Estimate {
    /// The 90 % interval.
    pub fn interval(&self) -> Option<(f64, f64)> {
        let half = self.error?.half_width(LEVEL);
        Some((self.mean - half, self.mean + half))
    }
}

/// A straight line through days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change per step of the times given.
    pub slope: f64,
    /// Its standard error.
    pub error: StandardError,
    /// The line at the first and at the last time.
    pub ends: (f64, f64),
    /// Days.
    pub days: usize,
}

/// A difference of two means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// First minus second.
    pub value: f64,
    /// Its standard error.
    pub error: StandardError,
}

impl Difference {
    /// `None` when either has no interval.
    pub fn of(a: &Estimate, b: &Estimate) -> Option<Self> {
        let (ea, eb) = (a.error?, b.error?);
        let (va, vb) = (ea.se.powi(2), eb.se.powi(2));
        let sum = va + vb;
        let df = if sum > 0.0 { sum.powi(2) / (va.powi(2) / ea.df + vb.powi(2) / eb.df) } else { ea.df + eb.df };
        Some(Self { value: a.mean - b.mean, error: StandardError { se: sum.sqrt(), df } })
    }

    /// The 90 % interval.
    pub fn interval(&self) -> (f64, f64) {
        let half = self.error.half_width(LEVEL);
        (self.value - half, self.value + half)
    }
}

/// Probability of a value at least this far from zero when the truth is zero. `None` where there is no scatter to judge by: a
/// figure that is the same on every day has shown no spread, so how far chance could move it is not known.
pub fn p_value(value: f64, error: &StandardError) -> Option<f64> {
    let judged = value.is_finite() && error.se > value.abs() * 1e-9;
    if !judged {
        return None;
    }
    Some(2.0 * student(error.df)?.cdf(-(value / error.se).abs()))
}

fn student(df: f64) -> Option<StudentsT> {
    StudentsT::new(0.0, 1.0, df).ok()
}

/// The mean of a group; `None` without any day.
pub fn estimate(days: &[Day]) -> Option<Estimate> {
    if days.is_empty() {
        return None;
    }
    let fit = Fit::of(days, &Design::Mean);
    let (k, passes) = (days.len(), days.iter().map(|d| d.n).sum());
    let error = (k >= FEWEST_DAYS).then(|| {
        let df = (k - 1) as f64;
        StandardError { se: (fit.scatter / df / fit.normal[0]).sqrt(), df }
    });
    Some(Estimate {
        mean: fit.beta[0],
        error,
        between_sd: fit.sigma2.filter(|_| k >= FEWEST_DAYS).map(|s2| (s2 * fit.lambda).sqrt()),
        within_sd: fit.sigma2.map(f64::sqrt),
        days: k,
        passes,
    })
}

/// The trend of a group over `times` (one for each day, in any unit, not all equal); `None` with fewer than
/// [`FEWEST_TREND_DAYS`] days.
pub fn trend(days: &[Day], times: &[f64]) -> Option<Trend> {
    let k = days.len();
    if k < FEWEST_TREND_DAYS || times.len() != k {
        return None;
    }
    let middle = times.iter().sum::<f64>() / k as f64;
    let centred: Vec<f64> = times.iter().map(|t| t - middle).collect();
    if !centred.iter().any(|t| t.abs() > 1e-12) {
        return None;
    }
    let (first, last) = (*centred.first()?, *centred.last()?);
    let fit = Fit::of(days, &Design::Line(centred));
    let df = (k - 2) as f64;
    let [s0, s1, s2] = fit.normal;
    let se = (fit.scatter / df * s0 / (s0 * s2 - s1 * s1)).sqrt();
    let at = |t: f64| fit.beta[0] + fit.beta[1] * t;
    Some(Trend { slope: fit.beta[1], error: StandardError { se, df }, ends: (at(first), at(last)), days: k })
}

enum Design {
    Mean,
    Line(Vec<f64>),
}

impl Design {
    fn parameters(&self) -> usize {
        match self {
            Self::Mean => 1,
            Self::Line(_) => 2,
        }
    }

    fn time(&self, j: usize) -> f64 {
        match self {
            Self::Mean => 0.0,
            Self::Line(times) => times[j],
        }
    }
}

/// Weighted least squares on day means at the restricted maximum likelihood ratio of variances.
struct Fit {
    lambda: f64,
    /// Variance between passes of a day; `None` when every day has one pass.
    sigma2: Option<f64>,
    beta: [f64; 2],
    /// Weighted sum of squares of the day means about the fit.
    scatter: f64,
    /// Σw, Σwt, Σwt².
    normal: [f64; 3],
}

impl Fit {
    fn of(days: &[Day], design: &Design) -> Self {
        let passes: usize = days.iter().map(|d| d.n).sum();
        let within: f64 = days.iter().map(|d| d.scatter).sum();
        // One pass a day, or passes of a day that never differ: only the days' own scatter is left, and all days weigh alike.
        if passes == days.len() || within <= 0.0 {
            let equal: Vec<Day> = days.iter().map(|d| Day { n: 1, ..*d }).collect();
            let sigma2 = (passes > days.len()).then_some(0.0);
            return Self { sigma2, ..Self::at(&equal, design, 0.0) };
        }
        let free = (passes - design.parameters()) as f64;
        let criterion = |lambda: f64| {
            let fit = Self::at(days, design, lambda);
            let spread: f64 = days.iter().map(|d| (1.0 + d.n as f64 * lambda).ln()).sum();
            let [s0, s1, s2] = fit.normal;
            let information = match design {
                Design::Mean => s0,
                Design::Line(_) => s0 * s2 - s1 * s1,
            };
            free * (within + fit.scatter).ln() + spread + information.ln()
        };
        let lambda = minimum(criterion, days.len() as f64 / passes as f64);
        let fit = Self::at(days, design, lambda);
        Self { sigma2: Some((within + fit.scatter) / free), ..fit }
    }

    fn at(days: &[Day], design: &Design, lambda: f64) -> Self {
        let weight = |d: &Day| 1.0 / (lambda + 1.0 / d.n as f64);
        let (mut s0, mut s1, mut s2, mut y0, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (j, day) in days.iter().enumerate() {
            let (w, t) = (weight(day), design.time(j));
            s0 += w;
            s1 += w * t;
            s2 += w * t * t;
            y0 += w * day.mean;
            y1 += w * t * day.mean;
        }
        let beta = match design {
            Design::Mean => [y0 / s0, 0.0],
            Design::Line(_) => {
                let det = s0 * s2 - s1 * s1;
                [(s2 * y0 - s1 * y1) / det, (s0 * y1 - s1 * y0) / det]
            }
        };
        let scatter = days
            .iter()
            .enumerate()
            .map(|(j, day)| weight(day) * (day.mean - beta[0] - beta[1] * design.time(j)).powi(2))
            .sum();
        Self { lambda, sigma2: None, beta, scatter, normal: [s0, s1, s2] }
    }
}

/// Where `criterion` of a ratio from zero to a thousand times `scale` and more is least: a grid, then the golden section.
fn minimum(criterion: impl Fn(f64) -> f64, scale: f64) -> f64 {
    const GRID: usize = 40;
    const LARGEST: f64 = 1.0 - 1e-7;
    let ratio = |u: f64| scale * u / (1.0 - u);
    let at = |i: usize| (i as f64 / GRID as f64) * LARGEST;
    let best = (0..=GRID).min_by(|&a, &b| criterion(ratio(at(a))).total_cmp(&criterion(ratio(at(b))))).unwrap_or(0);
    let (mut lo, mut hi) = (at(best.saturating_sub(1)), at((best + 1).min(GRID)));
    let golden = (5f64.sqrt() - 1.0) / 2.0;
    for _ in 0..60 {
        let (a, b) = (hi - golden * (hi - lo), lo + golden * (hi - lo));
        if criterion(ratio(a)) <= criterion(ratio(b)) {
            hi = b;
        } else {
            lo = a;
        }
    }
    let found = (lo + hi) / 2.0;
    // The edge itself is the commonest minimum of all: no spread between days beyond that of the passes.
    if criterion(0.0) <= criterion(ratio(found)) { 0.0 } else { ratio(found) }
}

/// Which of `p` stand out when at most a share `rate` of whole families without any difference may show one: Holm's step-down
/// procedure (Scandinavian Journal of Statistics 6 (1979) 65-70), valid however the figures hang together.
pub fn stand_out(p: &[f64], rate: f64) -> Vec<bool> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut out = vec![false; p.len()];
    for (rank, &i) in order.iter().enumerate() {
        let holds = p[i] <= rate / (p.len() - rank) as f64; // false for NaN
        if !holds {
            break;
        }
        out[i] = true;
    }
    out
}
