//! Vibration as it counts for hands: weighted by ISO 5349-1, per axis and as the sum over the axes (a_hv).
//!
//! What is handed out is energy over time, not rms: energies add up to a stroke, a pass, a day, whatever was lost between.
//! A figure near the machine's housing says little about the grip; see the `exposure` module for what may be said.
//!
//! # Holes
//!
//! The filter starts anew after lost samples and after an interruption, and what it says in its first
//! [`SETTLING_S`] is left out: less is known, nothing is invented. A clipped sample is kept (the true peak was larger) and
//! counted.

use super::{
    reading::Run,
    weighting::{MAX_RATE_HZ, MIN_RATE_HZ, WhFilter},
};

/// Time that one output covers, s.
pub const TICK_S: f64 = 0.1;
/// What is left out after a start. The filter's slowest pole pair (6.3 Hz) has then fallen to exp(-7), a thousandth.
pub const SETTLING_S: f64 = 0.25;
/// The filter follows the measured rate when it is off by more than this share; an error of the rate is one of the factor.
const RETUNE: f64 = 5e-4;
/// A rate that changes by more than this is another stream.
const ANOTHER_STREAM: f64 = 0.05;

/// Energy of weighted vibration over the time in which it was measured. Adds up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WeightedEnergy {
    /// Integral of the squared weighted acceleration, x, y, z, m²/s³.
    pub square_integral: [f64; 3],
    /// Time it was measured over, s.
    pub seconds: f64,
    /// Samples at the chip's full scale: where there are any, the truth is larger.
    pub clipped: u64,
}

impl WeightedEnergy {
    /// Weighted rms on x, y, z, m/s²; `None` when nothing was measured.
    pub fn axes_mps2(&self) -> Option<[f64; 3]> {
        (self.seconds > 0.0).then(|| self.square_integral.map(|e| (e / self.seconds).sqrt()))
    }

    /// The vibration total value a_hv, m/s²: root of the sum of the squares over the axes (ISO 5349-1).
    pub fn total_mps2(&self) -> Option<f64> {
        (self.seconds > 0.0).then(|| (self.square_integral.iter().sum::<f64>() / self.seconds).sqrt())
    }
}

impl std::ops::AddAssign for WeightedEnergy {
    fn add_assign(&mut self, other: Self) {
        for (sum, e) in self.square_integral.iter_mut().zip(other.square_integral) {
            *sum += e;
        }
        self.seconds += other.seconds;
        self.clipped += other.clipped;
    }
}

impl std::iter::Sum for WeightedEnergy {
    fn sum<I: Iterator<Item = Self>>(energies: I) -> Self {
        energies.fold(Self::default(), |mut sum, e| {
            sum += e;
            sum
        })
    }
}

/// What a tenth of a second brought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeightedTick {
    /// It covers the time from `index` to `index + 1` tenths of a second.
    pub index: u64,
    /// What was measured in it.
    pub energy: WeightedEnergy,
}

/// Accelerometer runs in, a [`WeightedTick`] per tenth of a second out; tenths without any sample are left out. Constant
/// memory, and the same figures however the samples are cut into runs (only clipped ones are counted where their run began).
#[derive(Clone, Debug, Default)]
pub struct WeightedVibration {
    filter: Option<WhFilter>,
    /// Samples still to be left out.
    settling: u32,
    tick: Option<WeightedTick>,
}

impl WeightedVibration {
    /// Before the first sample.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a run of accelerometer samples.
    pub fn push(&mut self, run: &Run<'_>, sink: &mut impl FnMut(WeightedTick)) {
        let tuned = self.tune(1e6 / run.spacing_us, run.lost_before > 0);
        let mut clipped = u64::from(run.clipped);
        let time_us = |i: usize| run.first_us + i as f64 * run.spacing_us;
        let mut from = 0;
        while from < run.samples.len() {
            // A stretch ends with its tenth of a second.
            let index = tick_index(time_us(from));
            let mut to = from + 1;
            while to < run.samples.len() && tick_index(time_us(to)) <= index {
                to += 1;
            }
            let mut tick = match self.tick.take() {
                // Time never runs back here; if it did, it would count to the present.
                Some(tick) if tick.index >= index => tick,
                earlier => {
                    if let Some(earlier) = earlier {
                        sink(earlier);
                    }
                    WeightedTick { index, energy: WeightedEnergy::default() }
                }
            };
            tick.energy.clipped += std::mem::take(&mut clipped);
            if tuned {
                self.weigh(&run.samples[from..to], run.spacing_us / 1e6, &mut tick.energy);
            }
            self.tick = Some(tick);
            from = to;
        }
    }

    fn weigh(&mut self, samples: &[[f32; 3]], spacing_s: f64, energy: &mut WeightedEnergy) {
        let mut rest = samples;
        while !rest.is_empty() {
            let good = rest.iter().position(|s| s.iter().any(|v| !v.is_finite())).unwrap_or(rest.len());
            if let Some(filter) = &mut self.filter {
                let settling = &mut self.settling;
                filter.push(&rest[..good], |y| {
                    if *settling > 0 {
                        *settling -= 1;
                        return;
                    }
                    for (sum, v) in energy.square_integral.iter_mut().zip(y) {
                        *sum += v * v * spacing_s;
                    }
                    energy.seconds += spacing_s;
                });
            }
            if good < rest.len() {
                self.restart();
            }
            rest = &rest[(good + 1).min(rest.len())..];
        }
    }

    /// The stream was interrupted; nothing before continues.
    pub fn interrupt(&mut self) {
        self.restart();
    }

    /// Hands out the last tenth of a second.
    pub fn finish(&mut self, sink: &mut impl FnMut(WeightedTick)) {
        if let Some(tick) = self.tick.take() {
            sink(tick);
        }
    }

    /// Fits the filter to a run; `false` when nothing can be said at its rate.
    fn tune(&mut self, rate_hz: f64, lost: bool) -> bool {
        if !(MIN_RATE_HZ..=MAX_RATE_HZ).contains(&rate_hz) {
            self.filter = None;
            return false;
        }
        match &mut self.filter {
            Some(filter) if (rate_hz / filter.rate_hz() - 1.0).abs() <= ANOTHER_STREAM => {
                if (rate_hz / filter.rate_hz() - 1.0).abs() > RETUNE {
                    filter.retune(rate_hz);
                }
                if lost {
                    self.restart();
                }
            }
            _ => {
                self.filter = WhFilter::new(rate_hz);
                self.restart();
            }
        }
        true
    }

    fn restart(&mut self) {
        if let Some(filter) = &mut self.filter {
            filter.restart();
            self.settling = (SETTLING_S * filter.rate_hz()) as u32;
        }
    }
}

/// The tenth of a second that holds `t_us`.
fn tick_index(t_us: f64) -> u64 {
    (t_us / (TICK_S * 1e6)).max(0.0) as u64
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{SQRT_2, TAU};

    use proptest::prelude::*;

    use super::*;
    use crate::analysis::weighting::wh;

    fn collect(runs: &[(Run<'_>, bool)]) -> Vec<WeightedTick> {
        let mut vibration = WeightedVibration::new();
        let mut ticks = Vec::new();
        for (run, interrupted) in runs {
            if *interrupted {
                vibration.interrupt();
            }
            vibration.push(run, &mut |tick| ticks.push(tick));
        }
        vibration.finish(&mut |tick| ticks.push(tick));
        ticks
    }

    fn run(rate_hz: f64, from: usize, samples: &[[f32; 3]]) -> Run<'_> {
        let spacing_us = 1e6 / rate_hz;
        Run { first_us: from as f64 * spacing_us, spacing_us, lost_before: 0, clipped: 0, samples }
    }

    fn total(ticks: &[WeightedTick]) -> WeightedEnergy {
        ticks.iter().map(|t| t.energy).sum()
    }

    /// An orbit of the housing in x and y under gravity: amplitude `a`, m/s², at `hz`.
    fn orbit(rate_hz: f64, seconds: f64, hz: f64, a: f64) -> Vec<[f32; 3]> {
        (0..(rate_hz * seconds) as usize)
            .map(|i| {
                let (sin, cos) = (TAU * hz * i as f64 / rate_hz).sin_cos();
                [(a * cos) as f32, (a * sin) as f32, 9.81]
            })
            .collect()
    }

    #[test]
    fn an_orbit_gives_its_amplitude_times_the_weighting() {
        // A/sqrt2 x Wh(f) on each of two axes, so the total is A x Wh(f); tolerance 0.5 %.
        for (per_min, a) in [(3_000.0, 20.0), (4_500.0, 30.0), (6_800.0, 12.0)] {
            let hz = per_min / 60.0;
            let samples = orbit(1_667.0, 20.0, hz, a);
            let energy = total(&collect(&[(run(1_667.0, 0, &samples), false)]));
            let axes = energy.axes_mps2().unwrap();
            for axis in &axes[..2] {
                assert!((axis / (a / SQRT_2 * wh(hz)) - 1.0).abs() < 0.005, "{axis} at {hz} Hz");
            }
            assert!(axes[2] < 1e-9, "{axes:?}");
            assert!((energy.total_mps2().unwrap() / (a * wh(hz)) - 1.0).abs() < 0.005);
            assert!((energy.seconds - (20.0 - SETTLING_S)).abs() < 0.01, "{}", energy.seconds);
        }
    }

    #[test]
    fn a_drifting_rate_is_followed() {
        // The chip's rate wanders by 2 %: with a filter that stayed at the first rate, the figure would be 1 % off.
        let (hz, a) = (75.0, 20.0);
        let mut vibration = WeightedVibration::new();
        let (mut t_s, mut energy) = (0.0, WeightedEnergy::default());
        for block in 0..2_000 {
            let rate_hz = 1_650.0 * (1.0 + 0.02 * f64::from(block) / 2_000.0);
            let samples: Vec<[f32; 3]> =
                (0..72).map(|i| [(a * (TAU * hz * (t_s + f64::from(i) / rate_hz)).sin()) as f32, 0.0, 0.0]).collect();
            let run =
                Run { first_us: t_s * 1e6, spacing_us: 1e6 / rate_hz, lost_before: 0, clipped: 0, samples: &samples };
            vibration.push(&run, &mut |tick| energy += tick.energy);
            t_s += 72.0 / rate_hz;
        }
        assert!((energy.total_mps2().unwrap() / (a / SQRT_2 * wh(hz)) - 1.0).abs() < 0.002);
    }

    #[test]
    fn holes_cost_time_but_not_truth() {
        let rate_hz = 1_667.0;
        let samples = orbit(rate_hz, 30.0, 75.0, 20.0);
        let runs: Vec<(Run<'_>, bool)> = samples
            .chunks(72)
            .enumerate()
            .filter(|(i, _)| i % 20 != 7)
            .map(|(i, chunk)| {
                let lost = if i % 20 == 8 { 72 } else { 0 };
                (Run { lost_before: lost, ..run(rate_hz, i * 72, chunk) }, i == 300)
            })
            .collect();
        let energy = total(&collect(&runs));
        assert!((energy.total_mps2().unwrap() / (20.0 * wh(75.0)) - 1.0).abs() < 0.005, "{energy:?}");
        assert!(energy.seconds > 15.0 && energy.seconds < 25.0, "{}", energy.seconds);
    }

    #[test]
    fn samples_that_are_no_numbers_cost_time_too() {
        let mut samples = orbit(1_667.0, 10.0, 75.0, 20.0);
        samples[5_000][1] = f32::NAN;
        samples[9_000][0] = f32::INFINITY;
        let energy = total(&collect(&[(run(1_667.0, 0, &samples), false)]));
        assert!((energy.total_mps2().unwrap() / (20.0 * wh(75.0)) - 1.0).abs() < 0.005);
        assert!((energy.seconds - (10.0 - 3.0 * SETTLING_S)).abs() < 0.01);
    }

    #[test]
    fn a_stream_too_slow_to_see_it_says_nothing() {
        let samples = orbit(50.0, 10.0, 5.0, 20.0);
        let energy = total(&collect(&[(run(50.0, 0, &samples), false)]));
        assert_eq!((energy.total_mps2(), energy.axes_mps2(), energy.seconds), (None, None, 0.0));
    }

    #[test]
    fn clipped_samples_are_counted() {
        let samples = orbit(1_667.0, 1.0, 75.0, 20.0);
        let clipped = Run { clipped: 11, ..run(1_667.0, 0, &samples) };
        assert_eq!(total(&collect(&[(clipped, false)])).clipped, 11);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn slicing_changes_nothing(cuts in proptest::collection::vec(1usize..400, 1..60), hz in 20.0f64..200.0) {
            let samples = orbit(1_667.0, 3.0, hz, 20.0);
            // The same times to the bit: a run's own first time is on the same grid.
            let whole = collect(&[(run(1_667.0, 0, &samples), false)]);
            let mut runs = Vec::new();
            let mut from = 0;
            for cut in cuts.iter().cycle() {
                let to = (from + cut).min(samples.len());
                runs.push((run(1_667.0, from, &samples[from..to]), false));
                from = to;
                if from == samples.len() {
                    break;
                }
            }
            let sliced = collect(&runs);
            prop_assert_eq!(whole.len(), sliced.len());
            for (a, b) in whole.iter().zip(&sliced) {
                prop_assert_eq!(a.index, b.index);
                prop_assert_eq!(a.energy.square_integral, b.energy.square_integral);
            }
        }

        #[test]
        fn twice_the_vibration_is_twice_the_figure(scale in 0.1f32..10.0) {
            let samples = orbit(1_667.0, 2.0, 75.0, 10.0);
            let scaled: Vec<[f32; 3]> = samples.iter().map(|s| s.map(|v| v * scale)).collect();
            let figure = |s: &[[f32; 3]]| total(&collect(&[(run(1_667.0, 0, s), false)])).total_mps2().unwrap();
            let ratio = figure(&scaled) / figure(&samples);
            prop_assert!((ratio / f64::from(scale) - 1.0).abs() < 1e-4, "{}", ratio);
        }
    }
}
