//! How near the orbit rate comes to what is possible: a steady rotation in white noise, against the Cramér-Rao bound.
//!
//! # The bound
//!
//! A rotation shows on the two axes of the pad's plane as `A cos(ωn + φ)` and `A sin(ωn + φ)`, each in white noise of variance
//! `σ²`: together one complex tone in noise of variance `2σ²`. Its rate cannot be told better from `N` samples than
//!
//! ```text
//! var(ω) ≥ 6 · 2σ² / (A² N (N² - 1))      (rad per sample)²
//! ```
//!
//! Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591; Kay, Fundamentals of Statistical Signal Processing (1993),
//! example 3.14 (both from memory). The signal-to-noise ratio here is `A²/2σ²`, that of one axis.
//!
//! `N` is what the settled estimate may look at: [`WINDOW_S`] around its moment, or seven of its revolution sums where those
//! take longer (they do not at the rates drawn here). Should the analysis one day look further, the ratio falls below one and
//! the test says so: no estimator beats the bound.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use steadypass::analysis::{Finding, Pipeline, Reading, Run, Setup};

/// Sample rate, Hz: the sensor's own.
const RATE_HZ: f64 = 1667.0;
/// The settled estimate's window, s (`WINDOW_S` in `analysis/orbit.rs`).
const WINDOW_S: f64 = 0.28;
/// Length of one trial, s.
const TRIAL_S: f64 = 8.0;
/// Estimates between these times of a trial are taken, every third: then their windows do not overlap.
const TAKEN_S: (f64, f64) = (2.5, 7.0);
const EVERY: usize = 3;
/// Amplitude, m/s².
const AMPLITUDE: f64 = 15.0;
/// Rates are drawn from here, Hz.
const RATES_HZ: (f64, f64) = (35.0, 110.0);
/// A run of samples, as the sensor sends them.
const RUN: usize = 72;

/// What many trials at one signal-to-noise ratio gave.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Efficiency {
    /// Signal-to-noise ratio of one axis, dB.
    pub(crate) snr_db: f64,
    /// Estimates.
    pub(crate) count: usize,
    /// Share of the moments looked at for which a rate was given.
    pub(crate) known: f64,
    /// Mean squared error over the bound.
    pub(crate) ratio: f64,
    /// Mean error over the bound's standard deviation.
    pub(crate) bias: f64,
    /// Standard deviation that the estimator states, over the true one (both rms).
    pub(crate) stated: f64,
}

impl Efficiency {
    /// The ratio in dB.
    pub(crate) fn ratio_db(&self) -> f64 {
        10.0 * self.ratio.log10()
    }
}

/// The bound on the rate's standard deviation, Hz.
pub(crate) fn bound_hz(snr_db: f64) -> f64 {
    let n = WINDOW_S * RATE_HZ;
    let snr = 10f64.powf(snr_db / 10.0);
    (6.0 / (snr * n * (n * n - 1.0))).sqrt() * RATE_HZ / std::f64::consts::TAU
}

/// `trials` rotations, each of another rate and direction, through the whole analysis.
pub(crate) fn efficiency(snr_db: f64, trials: u64, seed: u64) -> Efficiency {
    let bound = bound_hz(snr_db);
    let (mut square, mut sum, mut stated) = (0.0, 0.0, 0.0);
    let (mut count, mut moments) = (0, 0);
    for trial in 0..trials {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(trial);
        let hz = RATES_HZ.0 + (RATES_HZ.1 - RATES_HZ.0) * rng.random::<f64>();
        for (value, sd) in estimates(hz, snr_db, &mut rng) {
            moments += 1;
            let Some(error) = value.map(|v| v - hz) else { continue };
            count += 1;
            square += error * error;
            sum += error;
            stated += sd * sd;
        }
    }
    let n = count as f64;
    Efficiency {
        snr_db,
        count,
        known: n / moments as f64,
        ratio: square / n / (bound * bound),
        bias: sum / n / bound,
        stated: (stated / square).sqrt(),
    }
}

/// Settled estimates (Hz, with the stated standard deviation) of one rotation.
fn estimates(hz: f64, snr_db: f64, rng: &mut ChaCha8Rng) -> Vec<(Option<f64>, f64)> {
    let sigma = AMPLITUDE / (2.0 * 10f64.powf(snr_db / 10.0)).sqrt();
    let phase = std::f64::consts::TAU * rng.random::<f64>();
    let sense = if rng.random::<f64>() < 0.5 { 1.0 } else { -1.0 };
    let mut noise = || sigma * Distribution::<f64>::sample(&StandardNormal, rng);
    let samples: Vec<[f32; 3]> = (0..(TRIAL_S * RATE_HZ) as usize)
        .map(|i| {
            let (s, c) = (std::f64::consts::TAU * hz * i as f64 / RATE_HZ + phase).sin_cos();
            [AMPLITUDE * c + noise(), sense * AMPLITUDE * s + noise(), 9.81 + noise()].map(|v| v as f32)
        })
        .collect();
    let mut pipeline = Pipeline::new(Setup::default());
    let spacing_us = 1e6 / RATE_HZ;
    for (i, samples) in samples.chunks(RUN).enumerate() {
        let first_us = (i * RUN) as f64 * spacing_us;
        pipeline.push(Reading::Accel(Run { first_us, spacing_us, lost_before: 0, clipped: 0, samples }));
    }
    pipeline.finish();
    let rows = std::iter::from_fn(|| pipeline.pop_finding()).filter_map(|finding| match finding {
        Finding::Row(row) => Some(row),
        _ => None,
    });
    rows.filter(|row| (TAKEN_S.0..=TAKEN_S.1).contains(&row.t_s))
        .step_by(EVERY)
        .map(|row| (row.orbit_opm.map(|m| m.value / 60.0), row.orbit_opm.map_or(0.0, |m| m.sd / 60.0)))
        .collect()
}
