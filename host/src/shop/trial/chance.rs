//! The chance that a combination reaches the finish, from few tries, with help from similar paints.
//!
//! # Model
//!
//! Paints come in classes. In class k the combination reaches the finish with chance p_k, and over classes
//!
//! ```text
//! y_k ~ Binomial(n_k, p_k),    p_k ~ Beta(μ·M, (1 − μ)·M)
//! ```
//!
//! μ is the chance on paint at large and M how alike the classes are (in tries' worth). Both are unknown and integrated over a
//! grid: μ evenly on (0, 1), ln M evenly from ½ to 64. Other classes speak through their Beta-binomial likelihood to the power
//! of their likeness (a power prior: Ibrahim and Chen, Statistical Science 15 (2000) 46-60); the class itself is updated in
//! closed form, p | μ, M ~ Beta(μM + y, (1 − μ)M + n − y). With no data at all p is the mixture's own spread: about anything.

use statrs::distribution::{Beta, ContinuousCDF};
use statrs::function::gamma::ln_gamma;

/// Tries in one class of paint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Tries.
    pub tries: u32,
    /// Those that reached the finish.
    pub reached: u32,
    /// How much they say about the class asked for, 0 to 1.
    pub weight: f64,
}

/// A chance with its 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chance {
    /// Mean.
    pub mean: f64,
    /// 5 % quantile.
    pub lo: f64,
    /// 95 % quantile.
    pub hi: f64,
}

const MU_STEPS: usize = 40;
const M_STEPS: usize = 15;
const M_RANGE: (f64, f64) = (0.5, 64.0);

/// ln of the Beta-binomial probability of `y` in `n`, without the binomial coefficient: ln B(a + y, b + n − y) − ln B(a, b).
pub(super) fn ln_beta_binomial(y: f64, n: f64, a: f64, b: f64) -> f64 {
    let ln_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
    ln_beta(a + y, b + n - y) - ln_beta(a, b)
}

/// Chance in the class asked for.
///
/// * `here`: tries and successes in that class.
/// * `others`: other classes.
pub fn chance(here: (u32, u32), others: &[Cell]) -> Chance {
    let (n, y) = (f64::from(here.0), f64::from(here.1.min(here.0)));
    let mut parts = Vec::with_capacity(MU_STEPS * M_STEPS);
    for i in 0..MU_STEPS {
        let mu = (i as f64 + 0.5) / MU_STEPS as f64;
        for j in 0..M_STEPS {
            let share = j as f64 / (M_STEPS - 1) as f64;
            let m = M_RANGE.0 * (M_RANGE.1 / M_RANGE.0).powf(share);
            let (a, b) = (mu * m, (1.0 - mu) * m);
            let of =
                |c: &Cell| c.weight * ln_beta_binomial(f64::from(c.reached.min(c.tries)), f64::from(c.tries), a, b);
            // The trapezoidal rule over ln M: the ends count half.
            let end: f64 = if j == 0 || j == M_STEPS - 1 { 0.5 } else { 1.0 };
            let ln_weight = end.ln() + ln_beta_binomial(y, n, a, b) + others.iter().map(of).sum::<f64>();
            parts.push((ln_weight, a + y, b + n - y));
        }
    }
    let most = parts.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = parts.iter().map(|p| (p.0 - most).exp()).sum();
    // Parts that carry less than a millionth together change nothing that is shown.
    let parts: Vec<(f64, f64, f64)> =
        parts.into_iter().map(|(w, a, b)| ((w - most).exp() / total, a, b)).filter(|p| p.0 > 1e-9).collect();
    let mean = parts.iter().map(|(w, a, b)| w * a / (a + b)).sum();
    let mixture: Vec<(f64, Beta)> = parts.iter().filter_map(|(w, a, b)| Some((*w, Beta::new(*a, *b).ok()?))).collect();
    let quantile = |share: f64| {
        let (mut lo, mut hi) = (0.0, 1.0);
        // A thousandth is finer than anything that is shown.
        for _ in 0..11 {
            let middle = (lo + hi) / 2.0;
            let below: f64 = mixture.iter().map(|(w, beta)| w * beta.cdf(middle)).sum();
            if below < share { lo = middle } else { hi = middle }
        }
        (lo + hi) / 2.0
    };
    Chance { mean, lo: quantile(0.05), hi: quantile(0.95) }
}
