//! Finding a rotating machine in a stretch of vibration: which line of the spectrum is the rotation itself?
//!
//! # How
//!
//! Three axes are windowed (Hann), transformed and their powers added, so that it does not matter how the sensor is
//! turned. Every significant line inside the band of possible rates is a candidate. A candidate's score is the sum of the
//! amplitudes of all lines that stand at its whole multiples, so a strong second harmonic or a gear tone loses against the
//! rotation that explains it too. A half-rate ghost explains everything as well, but has no line of its own; a candidate
//! must carry at least [`OWN_SHARE`] of the strongest line it explains.

use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex};
use std::sync::Arc;

/// Lowest rotation looked for, Hz (a slow rotary under load).
pub(super) const MIN_HZ: f64 = 8.0;
/// Highest rotation looked for, Hz (above the fastest random orbital).
pub(super) const MAX_HZ: f64 = 128.0;

/// Harmonics a candidate is credited with.
const HARMONICS: usize = 8;
/// Least amplitude of a candidate relative to the strongest line it explains.
const OWN_SHARE: f32 = 0.16;
/// A line must stand this much over the median of the spectrum, in power.
const LINE_OVER_FLOOR: f32 = 25.0;
/// Weakest lines considered, in power relative to the strongest.
const LINE_OVER_PEAK: f32 = 0.001;
/// Least amplitude, m/s², of the strongest explained line: less is handling noise, not a motor.
const MIN_AMPLITUDE: f32 = 0.5;
/// Tremor of a hand lives at 6-12 Hz (J Physiol 2015 593:4411). A line down there must be this strong, m/s², which is
/// several times the tremor of a strained arm, or have harmonics of at least this share, an odd one among them, to be a
/// machine.
const TREMOR_TOP_HZ: f64 = 12.5;
const TREMOR_AMPLITUDE: f32 = 2.5;
const TREMOR_SHARE: f32 = 0.2;

/// A rotation found in the spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    /// Rate, Hz, good to a fraction of a bin.
    pub(super) hz: f64,
    /// Amplitude of the fundamental, m/s², root-sum-square over the axes.
    pub(super) amplitude: f32,
}

#[derive(Clone, Copy, Debug)]
struct Line {
    hz: f64,
    amplitude: f32,
}

/// Searches windows of a fixed length.
pub(super) struct CombSearch {
    rate_hz: f64,
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    power: Vec<f32>,
    sorted: Vec<f32>,
    lines: Vec<Line>,
}

impl CombSearch {
    /// For `rate_hz` samples per second; the window is the power of two nearest above 0.55 s.
    pub(super) fn new(rate_hz: f64) -> Self {
        let len = ((0.55 * rate_hz) as usize).next_power_of_two().clamp(64, 1 << 14);
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(len);
        let window =
            (0..len).map(|i| (0.5 - 0.5 * (core::f64::consts::TAU * i as f64 / len as f64).cos()) as f32).collect();
        Self {
            rate_hz,
            window,
            input: fft.make_input_vec(),
            spectrum: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            power: vec![0.0; len / 2 + 1],
            sorted: Vec::with_capacity(len / 2 + 1),
            lines: Vec::with_capacity(64),
            fft,
        }
    }

    /// The samples are `rate_hz` a second, it turns out; the window stays.
    pub(super) fn retune(&mut self, rate_hz: f64) {
        self.rate_hz = rate_hz;
    }

    /// Samples in a window.
    pub(super) fn len(&self) -> usize {
        self.window.len()
    }

    /// Looks for a rotation in `samples` (the latest [`len`](Self::len), oldest first, m/s², any constant part).
    pub(super) fn search(&mut self, samples: impl Iterator<Item = [f32; 3]> + Clone) -> Option<Found> {
        let n = self.len();
        self.power.fill(0.0);
        let mut sum = [0.0; 3];
        samples.clone().for_each(|sample| sum.iter_mut().zip(sample).for_each(|(sum, v)| *sum += v));
        for (axis, sum) in sum.into_iter().enumerate() {
            let mean = sum / n as f32;
            let windowed = self.input.iter_mut().zip(&self.window);
            samples.clone().zip(windowed).for_each(|(sample, (x, w))| *x = (sample[axis] - mean) * w);
            // The plan and the buffers were made for each other; lengths cannot differ.
            self.fft.process_with_scratch(&mut self.input, &mut self.spectrum, &mut self.scratch).ok()?;
            for (p, c) in self.power.iter_mut().zip(&self.spectrum) {
                *p += c.norm_sqr();
            }
        }
        self.pick_lines()?;
        self.pick_rotation()
    }

    fn pick_lines(&mut self) -> Option<()> {
        let n = self.len();
        let bin_hz = self.rate_hz / n as f64;
        let first = ((MIN_HZ / bin_hz) as usize).max(2);
        let last = ((MAX_HZ * HARMONICS as f64 / bin_hz) as usize).min(n / 2 - 2);
        if last <= first + 8 {
            return None;
        }
        let band = &self.power[first..=last];
        self.sorted.clear();
        self.sorted.extend_from_slice(band);
        let mid = self.sorted.len() / 2;
        let floor = *self.sorted.select_nth_unstable_by(mid, f32::total_cmp).1;
        let peak = band.iter().copied().fold(0.0, f32::max);
        if !peak.is_finite() {
            return None;
        }
        let least = (LINE_OVER_FLOOR * floor).max(LINE_OVER_PEAK * peak).max(f32::MIN_POSITIVE);
        self.lines.clear();
        for b in first..=last {
            let (l, p, r) = (self.power[b - 1], self.power[b], self.power[b + 1]);
            if p < least || p < l || p <= r {
                continue;
            }
            // Ratio of the two largest bins under a Hann window: exact for a lone line.
            let (side, sign) = if r > l { (r, 1.0) } else { (l, -1.0) };
            let ratio = f64::from((side / p).sqrt());
            let hz = (b as f64 + sign * (2.0 * ratio - 1.0) / (ratio + 1.0)) * bin_hz;
            // 4/N: two sides, mean of the window one half.
            self.lines.push(Line { hz, amplitude: 4.0 * p.sqrt() / n as f32 });
        }
        Some(())
    }

    fn pick_rotation(&self) -> Option<Found> {
        let bin_hz = self.rate_hz / self.len() as f64;
        let mut best: Option<(f32, Found)> = None;
        for own in self.lines.iter().filter(|l| (MIN_HZ..=MAX_HZ).contains(&l.hz)) {
            let (mut score, mut strongest, mut harmonics, mut odd) = (own.amplitude, own.amplitude, 0, 0.0_f32);
            for h in 2..=HARMONICS {
                let at = own.hz * h as f64;
                let tolerance = bin_hz * (0.3 + 0.18 * h as f64);
                let line = self
                    .lines
                    .iter()
                    .filter(|l| (l.hz - at).abs() < tolerance)
                    .map(|l| l.amplitude)
                    .fold(0.0_f32, f32::max);
                score += line;
                strongest = strongest.max(line);
                harmonics += u32::from(line > TREMOR_SHARE * own.amplitude);
                if h % 2 == 1 {
                    odd = odd.max(line);
                }
            }
            // Tremor at half the rate of a slow rotary would explain the even harmonics, but none of the odd ones.
            let like_tremor = own.hz < TREMOR_TOP_HZ
                && own.amplitude < TREMOR_AMPLITUDE
                && (harmonics < 2 || (own.amplitude < strongest && odd < TREMOR_SHARE * strongest));
            if own.amplitude < OWN_SHARE * strongest || strongest < MIN_AMPLITUDE || like_tremor {
                continue;
            }
            if best.is_none_or(|(s, _)| score > s) {
                best = Some((score, Found { hz: own.hz, amplitude: own.amplitude }));
            }
        }
        best.map(|(_, found)| found)
    }
}
