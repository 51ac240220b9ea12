//! Pad spin: the slow free rotation of an orbital machine's pad.
//!
//! A pad is never perfectly round or centred, so its spin beats in the amplitude of the orbit vibration (sidebands at the
//! orbit rate plus and minus the spin rate). The amplitudes of successive whole-revolution sums are laid on an even 40 Hz
//! grid; twice a second the last [`SPAN_S`] seconds are searched for one line that stands clear of the rest.
//!
//! Where no line stands clear the spin is not known: a stalled pad, a rotary (whose pad cannot spin freely) and a very
//! well balanced pad look alike. "Spin lost" is therefore only said when the beat was clear for [`SEEN_S`] seconds in this
//! run of the motor, has been missing for [`LOST_S`], and the whole band of beats has sunk below [`QUIET`] of what it was
//! (a spin that merely wanders smears its line, but keeps its power).
//!
//! Lifted off, a pad spins up beyond the band, and the motor runs faster for want of load. So nothing counts as missing while the
//! orbit rate is [`FREE`] above what it was with the beat, nor until the searched stretch is past that.
//!
//! # How often noise is taken for a spin, or a spin for lost
//!
//! The statistic is the power of the strongest bin over the mean of those more than two bins away. In Gaussian noise one bin
//! exceeds x times a mean of M independent ones with probability `(1 + x/M)^-M` (cell averaging, Finn and Johnson, RCA
//! Review 29 (1968) 414; from memory). Under a Hann window 36 bins are worth M = 36/1.94 = 18.6; x = [`CLEAR`] and 41 bins give
//! 0.4 % a search. A loss needs eight searches that saw the beat and six in a row that did not, with three quarters of
//! the band's power gone: while the pad spins on in a twentieth of noise it is said in fewer than 1 % of minutes.
//! The tests measure both; in real handling neither has been measured.

use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex};
use std::collections::VecDeque;
use std::sync::Arc;

const GRID_US: f64 = 25_000.0;
const POINTS: usize = 128;
/// Length of a search, s.
const SPAN_S: f64 = POINTS as f64 * GRID_US * 1e-6;
/// Time between searches, µs.
const PAUSE_US: f64 = 500_000.0;
/// Slowest and fastest spin looked for, Hz. Below, changes of load hide it; above, the grid ends.
const MIN_HZ: f64 = 1.2;
const MAX_HZ: f64 = 14.0;
/// A line must stand this much over the mean of the other bins, in power; see the module for how often noise does.
const CLEAR: f64 = 12.0;
/// A beat shallower than this share of the amplitude is not believed, and at the rates of a hand's tremor, which beats with
/// a slow machine, it must be deeper.
const MIN_DEPTH: f64 = 0.01;
const TREMOR_DEPTH: f64 = 0.04;
const TREMOR_FROM_HZ: f64 = 6.8;
/// Slower than this is no orbital machine but a rotary, whose pad cannot spin freely, Hz.
const SLOWEST_ORBIT_HZ: f64 = 22.0;
const SEEN_S: f64 = 4.0;
const LOST_S: f64 = 3.0;
const QUIET: f64 = 0.25;
const FREE: f64 = 1.015;

/// Share of independent searches of noise that see a spin, at most.
#[cfg(test)]
const FALSE_SPIN: f64 = 0.004;
/// Share of minutes of steady spin in which it is said to be lost, at most.
#[cfg(test)]
const FALSE_LOSS: f64 = 0.01;

pub(super) struct SpinWatch {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Amplitudes on the grid, oldest first.
    grid: VecDeque<f32>,
    next_grid_us: f64,
    before: Option<(f64, f64)>,
    next_search_us: f64,
    current: Option<f64>,
    seen_s: f64,
    missing_s: f64,
    /// Power of the band of beats, relative to the amplitude squared: now, and while the beat was seen.
    band: f64,
    seen_band: f64,
    /// Orbit rate while the beat was seen, Hz.
    seen_rate_hz: f64,
    /// Results by the middle of their span, for hindsight.
    history: VecDeque<(f64, Option<f64>)>,
}

impl SpinWatch {
    pub(super) fn new() -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(POINTS);
        Self {
            window: (0..POINTS)
                .map(|i| (0.5 - 0.5 * (core::f64::consts::TAU * i as f64 / POINTS as f64).cos()) as f32)
                .collect(),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
            grid: VecDeque::with_capacity(POINTS + 1),
            next_grid_us: 0.0,
            before: None,
            next_search_us: 0.0,
            current: None,
            seen_s: 0.0,
            missing_s: 0.0,
            band: 0.0,
            seen_band: 0.0,
            seen_rate_hz: 0.0,
            history: VecDeque::new(),
        }
    }

    /// The orbit was lost or changed: earlier amplitudes mean nothing now.
    pub(super) fn restart(&mut self) {
        self.grid.clear();
        self.before = None;
        self.current = None;
        self.seen_s = 0.0;
        self.missing_s = 0.0;
        self.seen_band = 0.0;
    }

    /// Takes the orbit's amplitude, m/s², at a time.
    pub(super) fn push(&mut self, t_us: f64, amplitude: f64) {
        if let Some((before_us, before)) = self.before {
            if self.grid.is_empty() {
                self.next_grid_us = before_us;
            }
            while self.next_grid_us <= t_us {
                let share = (self.next_grid_us - before_us) / (t_us - before_us);
                self.grid.push_back((before + share * (amplitude - before)) as f32);
                self.next_grid_us += GRID_US;
                if self.grid.len() > POINTS {
                    self.grid.pop_front();
                }
            }
        }
        self.before = Some((t_us, amplitude));
    }

    /// Called at every tick; searches when it is time to.
    pub(super) fn update(&mut self, t_us: f64, rate_hz: Option<f64>) {
        if t_us < self.next_search_us {
            return;
        }
        self.next_search_us = t_us + PAUSE_US;
        let rate_hz = rate_hz.filter(|hz| *hz > SLOWEST_ORBIT_HZ && self.grid.len() == POINTS);
        self.current = rate_hz.and_then(|_| self.search());
        if let Some(rate_hz) = rate_hz {
            if self.current.is_some() {
                self.seen_s += PAUSE_US * 1e-6;
                self.missing_s = 0.0;
                let gain = if self.seen_band == 0.0 { 1.0 } else { 0.1 };
                self.seen_band += gain * (self.band - self.seen_band);
                self.seen_rate_hz += gain * (rate_hz - self.seen_rate_hz);
            } else if rate_hz > FREE * self.seen_rate_hz {
                self.missing_s = -SPAN_S;
            } else {
                self.missing_s += PAUSE_US * 1e-6;
            }
            self.history.push_back((t_us - 0.5e6 * SPAN_S, self.current));
            while self.history.len() > 16 {
                self.history.pop_front();
            }
        }
    }

    /// Spin over the last seconds, Hz.
    pub(super) fn spin_hz(&self) -> Option<f64> {
        self.current
    }

    /// Spin around `t_us`, as far as it has been worked out by now, Hz.
    pub(super) fn settled_hz(&self, t_us: f64) -> Option<f64> {
        let near = |e: &&(f64, Option<f64>)| (e.0 - t_us).abs() <= 0.5e6 * SPAN_S + PAUSE_US;
        self.history.iter().filter(near).min_by(|a, b| (a.0 - t_us).abs().total_cmp(&(b.0 - t_us).abs()))?.1
    }

    pub(super) fn is_lost(&self) -> bool {
        self.seen_s >= SEEN_S && self.missing_s >= LOST_S && self.band < QUIET * self.seen_band
    }

    fn search(&mut self) -> Option<f64> {
        let n = POINTS as f32;
        // A straight line taken off keeps slow changes of load out of the low bins.
        let mean = self.grid.iter().sum::<f32>() / n;
        let (mut num, mut den) = (0.0_f32, 0.0_f32);
        for (i, v) in self.grid.iter().enumerate() {
            let x = i as f32 - (n - 1.0) / 2.0;
            num += x * (v - mean);
            den += x * x;
        }
        let slope = num / den;
        for (i, ((x, w), v)) in self.input.iter_mut().zip(&self.window).zip(&self.grid).enumerate() {
            *x = w * (v - mean - slope * (i as f32 - (n - 1.0) / 2.0));
        }
        self.fft.process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch).ok()?;
        let bin_hz = 1.0 / SPAN_S;
        let (first, last) = ((MIN_HZ / bin_hz).ceil() as usize, (MAX_HZ / bin_hz) as usize);
        let power: Vec<f64> = self.output.iter().map(|c| f64::from(c.norm_sqr())).collect();
        self.band = power[first..=last].iter().sum::<f64>() / f64::from(mean * mean).max(1e-12);
        let peak = (first..=last).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
        let others: Vec<f64> = (first..=last).filter(|b| b.abs_diff(peak) > 2).map(|b| power[b]).collect();
        let floor = others.iter().sum::<f64>() / others.len() as f64;
        let depth = 4.0 * power[peak].sqrt() / f64::from(n) / f64::from(mean);
        if power[peak] <= CLEAR * floor || depth < MIN_DEPTH || power[peak] < power[peak - 1] {
            return None;
        }
        let (side, sign) =
            if power[peak + 1] > power[peak - 1] { (power[peak + 1], 1.0) } else { (power[peak - 1], -1.0) };
        let ratio = (side / power[peak]).sqrt();
        let hz = (peak as f64 + sign * (2.0 * ratio - 1.0) / (ratio + 1.0)) * bin_hz;
        (hz < TREMOR_FROM_HZ || depth > TREMOR_DEPTH).then_some(hz)
    }
}

#[cfg(test)]
mod tests {
    use super::super::chance::too_many;
    use super::*;
    use core::f64::consts::TAU;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Runs a watch over amplitudes of 10 m/s² with `noise` (relative) and a beat of `depth_at(t)` at 5.3 Hz, at an orbit rate of
    /// `rate_at(t)`; calls `each` at every search.
    fn watch_at(
        seed: u64,
        seconds: f64,
        noise: f64,
        depth_at: impl Fn(f64) -> f64,
        rate_at: impl Fn(f64) -> f64,
        mut each: impl FnMut(f64, &SpinWatch),
    ) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut spin = SpinWatch::new();
        // Sums of whole revolutions are 22 ms and longer; one per grid point keeps their noise independent.
        for i in 0..(seconds / GRID_US * 1e6) as u32 {
            let t_us = f64::from(i) * GRID_US;
            let t = t_us * 1e-6;
            let gauss: f64 = StandardNormal.sample(&mut rng);
            spin.push(t_us, 10.0 * (1.0 + depth_at(t) * (TAU * 5.3 * t).cos() + noise * gauss));
            if t_us >= spin.next_search_us {
                spin.update(t_us, Some(rate_at(t)));
                each(t, &spin);
            }
        }
    }

    /// The same at a steady 70 Hz.
    fn watch(seed: u64, seconds: f64, noise: f64, depth_at: impl Fn(f64) -> f64, each: impl FnMut(f64, &SpinWatch)) {
        watch_at(seed, seconds, noise, depth_at, |_| 70.0, each);
    }

    #[test]
    fn noise_passes_for_a_spin_no_oftener_than_stated() {
        let (mut seen, mut searches, mut lost) = (0, 0, 0);
        let mut next_s = 0.0;
        watch(
            31,
            10_000.0,
            0.1,
            |_| 0.0,
            |t, spin| {
                lost += u64::from(spin.is_lost());
                // Searches that share no amplitudes are independent.
                if t >= next_s && spin.grid.len() == POINTS {
                    next_s = t + SPAN_S;
                    searches += 1;
                    seen += u64::from(spin.spin_hz().is_some());
                }
            },
        );
        println!("{seen} of {searches} searches of noise saw a spin; {lost} said it was lost");
        assert!(!too_many(seen, searches, FALSE_SPIN), "{seen} of {searches}");
        assert_eq!(lost, 0, "what was never there cannot be lost");
    }

    #[test]
    fn a_spin_that_goes_on_is_not_called_lost_and_a_stalled_one_is() {
        let (mut false_alarms, mut found) = (0, 0);
        let runs = 150;
        for seed in 0..runs {
            let mut said = false;
            watch(100 + seed, 60.0, 0.05, |_| 0.06, |_, spin| said |= spin.is_lost());
            false_alarms += u64::from(said);
            let mut said_s = None;
            watch(
                400 + seed,
                30.0,
                0.02,
                |t| if t < 15.0 { 0.08 } else { 0.0 },
                |t, spin| {
                    if spin.is_lost() {
                        said_s.get_or_insert(t);
                    }
                },
            );
            found += u64::from(said_s.is_some_and(|t| (15.0..25.0).contains(&t)));
        }
        println!(
            "{false_alarms} of {runs} minutes of spin had a false loss; {found} of {runs} losses found within 10 s"
        );
        assert!(!too_many(false_alarms, runs, FALSE_LOSS), "{false_alarms} of {runs}");
        assert!(!too_many(runs - found, runs, 0.05), "only {found} of {runs}");
    }

    #[test]
    fn a_pad_that_runs_free_has_not_lost_its_spin() {
        let lifted = |t: f64| (15.0..19.0).contains(&t);
        for seed in 0..50 {
            let depth = |t| if lifted(t) { 0.0 } else { 0.08 };
            let rate = |t| if lifted(t) { 72.0 } else { 70.0 };
            watch_at(800 + seed, 40.0, 0.02, depth, rate, |t, spin| assert!(!spin.is_lost(), "seed {seed}, {t} s"));
            // One that is set down again and stalls there has.
            let mut said_s = None;
            let depth = |t| if t < 15.0 { 0.08 } else { 0.0 };
            watch_at(800 + seed, 40.0, 0.02, depth, rate, |t, spin| {
                if spin.is_lost() {
                    said_s.get_or_insert(t);
                }
            });
            assert!(said_s.is_some_and(|t| (22.0..28.0).contains(&t)), "seed {seed}: {said_s:?}");
        }
    }
}
