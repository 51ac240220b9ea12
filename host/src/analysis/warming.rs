//! The first moments of a warming run: how fast, and since when.
//!
//! A trailing spot that comes onto worked paint sees a known shape. Nothing until its edge touches the strip; a slope that
//! grows while the rest of it follows; then a straight climb at the pad's heating rate `g`, for as long as the pad takes to
//! pass a point. Near the turn there is a bump on it, for the moment the pad dwelt there. What is not known is `g`, the moment of first touch, and the level before. Readings of the last four seconds
//! are fitted with that shape for every moment of first touch on a grid; each fit counts by its likelihood, and the spread
//! over the grid is part of the uncertainty. Within a second of the first touch this says more than any slope could.
//!
//! An expectation of `g` steadies the fit while there is little to see: a weak one from what usually goes into paint under a
//! polisher, a better one once runs of this recording have been seen.

use super::spot::{LAG_S, READING_SD_K};

/// Readings that are fitted, s.
pub(crate) const FIT_S: f64 = 4.0;

/// First touch between these many seconds ago, in steps of a tenth: later, and there is nothing to see yet; earlier, and
/// the run is old enough for a plain line.
const TOUCH_TENTHS: std::ops::RangeInclusive<u32> = 4..=30;

/// Diameter of the spot on the paint, m: 35° of view from about 55 mm.
const SPOT_M: f64 = 0.036;

/// Longest time the spot takes over the edge, s: beyond it the arm stands.
const LONGEST_EDGE_S: f64 = 2.0;

/// How long the pad dwells on the paint near a turn, s: a turn takes about a second, and the pad moves sideways in it.
const DWELL_S: f64 = 0.5;

/// Over how many times its own width the spot comes into the dwell's bump, and from which share of the run on it leaves.
const DWELL_EDGE: f64 = 1.3;
const DWELL_LEAVES: f64 = 0.6;

/// Heat into the panel that is expected, W, and its relative standard deviation. Estimates run from 30 to 150 W.
const POWER_W: f64 = 55.0;
const POWER_REL_SD: f64 = 0.7;

/// Heat capacity of painted sheet, J/m²K: 0.8 mm of steel (7854 kg/m³, 434 J/kgK), and 8 % for the paint.
const SHEET_J_M2K: f64 = 0.8e-3 * 7854.0 * 434.0 * 1.08;

/// By how much a run must explain the readings better than a level does, in units of chi²: six standard deviations, since
/// thirty moments are tried at every tick.
const CLEAR_CHI2: f64 = 36.0;

/// A heating rate that is expected before a run is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Expected {
    /// K/s.
    pub(crate) rate_k_s: f64,
    /// Standard deviation, K/s.
    pub(crate) sd_k_s: f64,
}

impl Expected {
    /// What is usual under a pad of this size.
    pub(crate) fn usual(pad_diameter_m: f64) -> Self {
        let pad_m2 = std::f64::consts::PI * (pad_diameter_m / 2.0).powi(2);
        let rate_k_s = POWER_W / (pad_m2 * SHEET_J_M2K);
        Self { rate_k_s, sd_k_s: POWER_REL_SD * rate_k_s }
    }
}

/// What the fit says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Warming {
    /// Heating rate, K/s, and its standard deviation.
    pub(crate) rate_k_s: f64,
    pub(crate) rate_sd_k_s: f64,
    /// Seconds since the first touch.
    pub(crate) age_s: f64,
    /// Level before it, in the unit of the readings.
    pub(crate) from: f64,
}

/// Fits the readings (seconds, K or °C) up to `t_s`; `None` unless a run is clearly there.
///
/// `pad_diameter_m` and `arm_mps` (both positive) give the time scale of the shape.
pub(crate) fn fit(
    readings: impl Iterator<Item = (f64, f64)> + Clone,
    t_s: f64,
    pad_diameter_m: f64,
    arm_mps: f64,
    expected: Expected,
) -> Option<Warming> {
    const ENOUGH: usize = 8;
    let readings = readings.filter(move |(t, _)| t_s - t <= FIT_S);
    let n = readings.clone().count();
    if n < ENOUGH {
        return None;
    }
    let count = n as f64;
    let mean = readings.clone().map(|(_, y)| y).sum::<f64>() / count;
    let level_square: f64 = readings.clone().map(|(_, y)| (y - mean).powi(2)).sum();
    let shape = Shape::new(pad_diameter_m, arm_mps);
    let variance = READING_SD_K * READING_SD_K;
    let Expected { rate_k_s: expected, sd_k_s } = expected;
    let trust = sd_k_s.powi(-2);

    let fits = TOUCH_TENTHS.map(|tenths| {
        let age_s = f64::from(tenths) * 0.1;
        let (mut sum, mut square, mut product) = (0.0, 0.0, 0.0);
        for (t, y) in readings.clone() {
            let f = shape.at(t - LAG_S - t_s + age_s);
            sum += f;
            square += f * f;
            product += f * (y - mean);
        }
        let shape_mean = sum / count;
        let shape_square = square - sum * shape_mean;
        // Least squares for rate and level, with the expectation as one more observation of the rate.
        let information = shape_square / variance + trust;
        let rate = (product / variance + trust * expected) / information;
        let residual = level_square - 2.0 * rate * product + rate * rate * shape_square;
        let chi2 = residual / variance + trust * (rate - expected).powi(2);
        Touch { age_s, rate, information, chi2, level: mean - rate * shape_mean }
    });
    let fits: Vec<Touch> = fits.collect();
    let is_clear = |touch: &Touch| level_square / variance - touch.chi2 > CLEAR_CHI2;
    if !fits.iter().any(is_clear) {
        return None;
    }

    let cost = |touch: &Touch| touch.chi2 + touch.information.ln();
    let best = fits.iter().min_by(|a, b| cost(a).total_cmp(&cost(b)))?;
    let (mut weights, mut rates, mut rate_squares, mut ages, mut levels) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for touch in &fits {
        let weight = (0.5 * (cost(best) - cost(touch))).exp();
        weights += weight;
        rates += weight * touch.rate;
        rate_squares += weight * (touch.rate * touch.rate + 1.0 / touch.information);
        ages += weight * touch.age_s;
        levels += weight * touch.level;
    }
    let rate_k_s = rates / weights;
    (is_clear(best) && rate_k_s > 0.0).then(|| Warming {
        rate_k_s,
        rate_sd_k_s: (rate_squares / weights - rate_k_s * rate_k_s).max(0.0).sqrt(),
        age_s: ages / weights,
        from: levels / weights,
    })
}

/// The fit for one moment of first touch.
struct Touch {
    age_s: f64,
    /// Heating rate, K/s, and the inverse of its variance.
    rate: f64,
    information: f64,
    chi2: f64,
    /// Before the touch.
    level: f64,
}

/// Rise over time since first touch, per unit of heating rate.
#[derive(Clone, Copy)]
struct Shape {
    edge_s: f64,
    run_s: f64,
}

impl Shape {
    fn new(pad_diameter_m: f64, arm_mps: f64) -> Self {
        Self { edge_s: (SPOT_M / arm_mps).min(LONGEST_EDGE_S), run_s: pad_diameter_m / arm_mps }
    }

    fn at(self, since_s: f64) -> f64 {
        if since_s <= 0.0 {
            return 0.0;
        }
        let risen = match since_s {
            s if s < self.edge_s => 0.5 * s * s / self.edge_s,
            s => s - 0.5 * self.edge_s,
        };
        let into = (since_s / (DWELL_EDGE * self.edge_s)).clamp(0.0, 1.0);
        let leaving = ((self.run_s - since_s) / ((1.0 - DWELL_LEAVES) * self.run_s)).clamp(0.0, 1.0);
        risen.min(self.run_s) + DWELL_S * into * into * (3.0 - 2.0 * into) * leaving
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_distr::{Distribution as _, StandardNormal};

    use super::*;

    const PAD_M: f64 = 0.13;
    const ARM_MPS: f64 = 0.02;

    /// Readings at 10 Hz for four seconds, the last at t = 0; a run of `rate` touched `age_s` ago.
    fn readings(rate: f64, age_s: f64, seed: u64) -> Vec<(f64, f64)> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let shape = Shape::new(PAD_M, ARM_MPS);
        (0..=40)
            .map(|i| {
                let t = -4.0 + f64::from(i) * 0.1;
                let noise: f64 = StandardNormal.sample(&mut random);
                (t, 18.0 + rate * shape.at(t - LAG_S + age_s) + READING_SD_K * noise)
            })
            .collect()
    }

    #[test]
    fn rate_and_age_come_out_within_their_spread() {
        let (mut inside, mut age_error) = (0, 0.0);
        for seed in 0..100 {
            let run = readings(2.2, 2.0, seed);
            let fit = fit(run.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M))
                .expect("a run of 2.2 K/s shows after 2 s");
            inside += i32::from((fit.rate_k_s - 2.2).abs() < 2.0 * fit.rate_sd_k_s);
            age_error += (fit.age_s - 2.0) / 100.0;
            assert!((fit.from - 18.0).abs() < 0.15, "{fit:?}");
            assert!(fit.rate_sd_k_s < 0.8, "{fit:?}");
        }
        assert!(inside >= 90, "{inside} of 100");
        assert!(age_error.abs() < 0.1, "{age_error}");
    }

    #[test]
    fn noise_and_cooling_are_no_run() {
        let mut seen = 0;
        for seed in 0..200 {
            let level = readings(0.0, 2.0, seed);
            seen += i32::from(fit(level.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)).is_some());
            let cooling = readings(-1.0, 2.0, seed);
            assert_eq!(fit(cooling.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)), None);
        }
        assert!(seen <= 4, "{seen} of 200");
        assert_eq!(fit(std::iter::empty(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)), None);
    }
}
