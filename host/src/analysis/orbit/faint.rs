//! A faint but steady rotation, which the quick search leaves blank: one line that stands out of seconds of vibration.
//!
//! # How
//!
//! While something shakes and no rotation is followed, the last [`SPAN_S`] seconds are tapered (sine), transformed, and the
//! powers of the three axes added. In noise a bin's power over the local mean is exponentially distributed, so the largest of
//! a band of B Hz exceeds z with a probability of at most
//!
//! ```text
//! P = W √z (1 + z/M)^-M,   W = B √(4π var t)
//! ```
//!
//! W: Baluev, MNRAS 385 (2008) 1279, with var t the taper's mean square time; the power of M takes in that the floor is a
//! mean of M cells (cell averaging, Finn and Johnson, RCA Review 29 (1968) 414). Both from memory; the tests measure the rate at
//! probabilities of 0.001 and more, below it is the formula's.
//! Noise of several axes together has a lighter tail, and a floor raised by other lines only blanks: the bound holds. A line
//! counts at P = [`FALSE_ALARM`] a window: searched every [`PAUSE_S`], at most one false rate in two hours of unbroken shaking
//! without a machine. This is for noise whose spectrum is smooth over [`REACH_HZ`]; in the hump of a resonance 8 Hz wide one
//! window in a hundred may pass.
//!
//! # What stays blank
//!
//! Where the line lies in the band of a hand's tremor and its second harmonic's foot (under [`LOWEST_HZ`]); where a second
//! line that is no multiple stands out; where anything stands out at the odd multiples of a half or a third of the rate that
//! the machine could run at, too; where the line is much weaker than its multiples; where one half of the window has none of it.
//! A machine that shows its even multiples only is read at twice its rate: nothing in the vibration tells it apart.
//!
//! Multiples that stand out where the line says they must lie sharpen the rate. The standard deviation is that of the most
//! likely rate of a steady tone in noise of the measured strength; the rate is the mean over the window.

use super::super::findings::Measured;
use super::super::setup::MachineKind;
use realfft::{RealFftPlanner, RealToComplex, num_complex::Complex};
use std::collections::VecDeque;
use std::sync::Arc;

/// Length of a window, s: a line of a fifth of the vibration's rms stands out, and a person holds a machine steady for so long.
pub(super) const SPAN_S: f64 = 2.8;
/// Time between looks, s.
pub(super) const PAUSE_S: f64 = SPAN_S / 4.0;
/// Least vibration in every tenth of a second, m/s² rms over three axes, and over the whole window above [`LOWEST_HZ`]: less is
/// no machine.
pub(super) const SHAKING: f64 = 0.5;
/// Least amplitude of the line, m/s²: far above what a resting chip's noise can show.
const MIN_AMPLITUDE: f64 = 0.05;
/// Lowest line believed, Hz: tremor of a hand lives at 6-12 Hz (J Physiol 2015 593:4411).
const LOWEST_HZ: f64 = 15.0;
/// Probability that noise alone passes for a line in one window.
const FALSE_ALARM: f64 = 1e-4;
/// The same for a line that would make the rate ambiguous: blank is right there, so doubt comes early.
const FALSE_HINT: f64 = 0.01;
/// The same for a second line anywhere in the band, which stands out less because each raises the other's floor.
const FALSE_SECOND: f64 = 0.1;
/// Least amplitude relative to the strongest multiple, as in the quick search.
const OWN_SHARE: f64 = 0.16;
/// Each half of the window must show at least this share of the amplitude.
const HALF_SHARE: f64 = 0.5;
/// The floor is the mean this far to either side, Hz, or this near where it is higher there (a hump is no line), ...
const REACH_HZ: f64 = 10.0;
const NEAR_HZ: f64 = 3.0;
/// ... the line itself, so many resolutions to either side, left out.
const GUARD: f64 = 2.0;
/// Multiples looked at.
const MULTIPLES: usize = 8;

/// Looks for one machine's line.
pub(super) struct FaintSearch {
    rate_hz: f64,
    /// Slowest rotation of the machine, and the band in which its line is looked for, Hz.
    slowest_hz: f64,
    band_hz: (f64, f64),
    samples: VecDeque<[f32; 3]>,
    window: Vec<f32>,
    /// `(Σw)²/Σw²`, samples: a tone's power over that of noise of the same variance.
    gain: f64,
    /// Variance of the most likely rate times the statistic, Hz².
    rate_variance: f64,
    /// Independent looks per Hz.
    looks_per_hz: f64,
    cells: f64,
    least: f64,
    fft: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    power: Vec<f64>,
    /// Sums of `power` up to a bin.
    sums: Vec<f64>,
}

/// A line of the spectrum.
#[derive(Clone, Copy, Debug)]
struct Line {
    hz: f64,
    power: f64,
    /// Power over the floor.
    ratio: f64,
}

impl FaintSearch {
    /// For a stream of `rate_hz` samples per second.
    pub(super) fn new(kind: MachineKind, rate_hz: f64) -> Self {
        // Rates of machines of each kind: common practice, no published source.
        let (slowest_hz, fastest_hz): (f64, f64) = match kind {
            MachineKind::Orbital => (25.0, 118.0),
            MachineKind::Rotary => (10.0, 45.0),
        };
        let n = (SPAN_S * rate_hz) as usize;
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward((2 * n).next_power_of_two());
        let window: Vec<f64> = (0..n).map(|i| (core::f64::consts::PI * (i as f64 + 0.5) / n as f64).sin()).collect();
        let (mut w1, mut w2, mut t2w1, mut t2w2) = (0.0, 0.0, 0.0, 0.0);
        for (i, w) in window.iter().enumerate() {
            let t2 = ((i as f64 + 0.5 - 0.5 * n as f64) / rate_hz).powi(2);
            w1 += w;
            w2 += w * w;
            t2w1 += t2 * w;
            t2w2 += t2 * w * w;
        }
        let band_hz = (slowest_hz.max(LOWEST_HZ), fastest_hz);
        // Powers a resolution apart have a correlation of 1/4 under this taper, all others none.
        let cells = 2.0 * (REACH_HZ * SPAN_S - GUARD) / 1.5;
        let looks_per_hz = (4.0 * core::f64::consts::PI * t2w2 / w2).sqrt();
        Self {
            rate_hz,
            slowest_hz,
            band_hz,
            samples: VecDeque::with_capacity(n + 1),
            gain: w1 * w1 / w2,
            // Phase noise weighted by t² w: var ω = S ∫t²w² / (2 a² (∫t²w)²), a half the amplitude; 6/(R T²) for a flat window.
            rate_variance: 0.5 * w1 * w1 * t2w2 / (w2 * t2w1 * t2w1) / core::f64::consts::TAU.powi(2),
            looks_per_hz,
            cells,
            least: least_ratio(FALSE_ALARM, looks_per_hz * (band_hz.1 - band_hz.0), cells),
            window: window.iter().map(|w| (w / w2.sqrt()) as f32).collect(),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            power: Vec::new(),
            sums: Vec::new(),
            fft,
        }
    }

    /// The samples are `rate_hz` a second, it turns out; the window stays, and what follows from its length in seconds moves along.
    pub(super) fn retune(&mut self, rate_hz: f64) {
        let faster = rate_hz / self.rate_hz;
        self.rate_variance *= faster * faster;
        self.rate_hz = rate_hz;
    }

    /// Takes a sample, m/s², constant part taken off.
    #[inline]
    pub(super) fn push(&mut self, x: [f32; 3]) {
        self.samples.push_back(x);
        if self.samples.len() > self.window.len() {
            self.samples.pop_front();
        }
    }

    /// Forgets what it has heard.
    pub(super) fn clear(&mut self) {
        self.samples.clear();
    }

    /// Whether it has heard a window without a break.
    pub(super) fn is_full(&self) -> bool {
        self.samples.len() == self.window.len()
    }

    /// Mean rate over the last window, Hz, where one line stands out and means one rate only.
    pub(super) fn search(&mut self) -> Option<Measured> {
        if !self.is_full() {
            return None;
        }
        self.transform()?;
        let bin_hz = self.bin_hz();
        let loud: f64 = self.power[(LOWEST_HZ / bin_hz) as usize..].iter().sum();
        if (2.0 * loud / self.input.len() as f64) < SHAKING * SHAKING {
            return None;
        }
        let (from_hz, to_hz) = self.band_hz;
        let own = *self.lines(from_hz, to_hz, self.least).first()?;
        let hint = least_ratio(FALSE_SECOND, self.looks_per_hz * (to_hz - from_hz), self.cells);
        let lines = self.lines(from_hz, to_hz, hint);
        let multiple = |hz: f64| {
            let h = (hz / own.hz).round();
            (hz - h * own.hz).abs() < 0.5 * h / SPAN_S
        };
        let unambiguous = lines.iter().all(|l| multiple(l.hz)) && !self.may_be_slower(own.hz);
        if !unambiguous || self.amplitude(own) < MIN_AMPLITUDE || !self.is_steady(own) {
            return None;
        }
        let mut variance = self.rate_variance / own.ratio;
        let mut hz = own.hz;
        for h in 2..=MULTIPLES {
            let order = h as f64;
            let Some(line) = self.line_at(order * hz, 3.0 * order * variance.sqrt(), FALSE_ALARM) else { continue };
            if own.power < OWN_SHARE * OWN_SHARE * line.power {
                return None;
            }
            let its = self.rate_variance / line.ratio / (order * order);
            hz += variance / (variance + its) * (line.hz / order - hz);
            variance = variance * its / (variance + its);
        }
        Some(Measured { value: hz, sd: variance.sqrt() })
    }

    fn bin_hz(&self) -> f64 {
        self.rate_hz / self.input.len() as f64
    }

    /// The windowed samples' powers, such that noise gives its variance.
    fn transform(&mut self) -> Option<()> {
        self.power.clear();
        self.power.resize(self.output.len(), 0.0);
        for axis in 0..3 {
            if self.samples.iter().all(|s| s[axis] == 0.0) {
                continue;
            }
            self.input.fill(0.0);
            for ((x, w), s) in self.input.iter_mut().zip(&self.window).zip(&self.samples) {
                *x = s[axis] * w;
            }
            // The plan and the buffers were made for each other; lengths cannot differ.
            self.fft.process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch).ok()?;
            for (p, c) in self.power.iter_mut().zip(&self.output) {
                *p += f64::from(c.norm_sqr());
            }
        }
        self.sums.clear();
        self.sums.push(0.0);
        let mut sum = 0.0;
        for p in &self.power {
            sum += p;
            self.sums.push(sum);
        }
        sum.is_finite().then_some(())
    }

    /// Power of a bin over that of its surroundings.
    fn ratio(&self, bin: usize) -> f64 {
        let bin_hz = self.bin_hz();
        let guard = (GUARD / SPAN_S / bin_hz).ceil() as usize;
        let sum = |a: usize, b: usize| self.sums[b] - self.sums[a];
        let floor = |reach_hz: f64| {
            let reach = (reach_hz / bin_hz) as usize;
            let (a, b) = (bin.saturating_sub(reach), (bin + reach + 1).min(self.power.len()));
            let (c, d) = (bin.saturating_sub(guard), (bin + guard + 1).min(self.power.len()));
            (sum(a, b) - sum(c, d)) / ((b - a) - (d - c)).max(1) as f64
        };
        self.power[bin] / floor(REACH_HZ).max(floor(NEAR_HZ)).max(f64::MIN_POSITIVE)
    }

    /// Lines between two frequencies that stand out by `least`, slowest first.
    fn lines(&self, from_hz: f64, to_hz: f64, least: f64) -> Vec<Line> {
        let bin_hz = self.bin_hz();
        let (first, last) = ((from_hz / bin_hz).ceil().max(1.0) as usize, (to_hz / bin_hz) as usize);
        let mut lines = Vec::new();
        for bin in first..=last.min(self.power.len() - 2) {
            let (l, p, r) = (self.power[bin - 1], self.power[bin], self.power[bin + 1]);
            if p < l || p <= r || l <= 0.0 || r <= 0.0 {
                continue;
            }
            let ratio = self.ratio(bin);
            if ratio > least {
                // Parabola through the logarithms: a line is near enough a bell so close to its top.
                let (l, m, r) = (l.ln(), p.ln(), r.ln());
                let off = 0.5 * (l - r) / (l - 2.0 * m + r);
                lines.push(Line { hz: (bin as f64 + off) * bin_hz, power: p, ratio });
            }
        }
        lines
    }

    /// The strongest line no farther than `off` from `hz`, where one stands out so that noise does not with `probability`.
    fn line_at(&self, hz: f64, off: f64, probability: f64) -> Option<Line> {
        let least = least_ratio(probability, 1.0 + self.looks_per_hz * 2.0 * off, self.cells);
        self.lines(hz - off, hz + off, least).into_iter().max_by(|a, b| a.ratio.total_cmp(&b.ratio))
    }

    /// Whether the line may be a multiple of a slower rotation that this machine could have.
    fn may_be_slower(&self, hz: f64) -> bool {
        let slower = (2..).take_while(|k| hz / f64::from(*k) >= self.slowest_hz);
        slower.into_iter().any(|k| {
            let slow_hz = hz / f64::from(k);
            (1..4 * k)
                .filter(|m| m % k != 0)
                .any(|m| self.line_at(f64::from(m) * slow_hz, 0.5 / SPAN_S, FALSE_HINT).is_some())
        })
    }

    fn amplitude(&self, line: Line) -> f64 {
        2.0 * (line.power / self.gain).sqrt()
    }

    /// Whether both halves of the window show the line.
    fn is_steady(&self, line: Line) -> bool {
        let step = core::f64::consts::TAU * line.hz / self.rate_hz;
        let half = self.samples.len() / 2;
        let least = HALF_SHARE * self.amplitude(line);
        [0, half].into_iter().all(|from| {
            let mut sums = [(0.0, 0.0); 3];
            for (i, x) in self.samples.iter().skip(from).take(half).enumerate() {
                let (s, c) = (step * i as f64).sin_cos();
                for (sum, x) in sums.iter_mut().zip(x) {
                    sum.0 += f64::from(*x) * c;
                    sum.1 += f64::from(*x) * s;
                }
            }
            let square: f64 = sums.iter().map(|s| s.0 * s.0 + s.1 * s.1).sum();
            2.0 * square.sqrt() / half as f64 > least
        })
    }
}

/// What the largest of so many looks at noise exceeds with a probability of at most `probability`; see the module.
fn least_ratio(probability: f64, looks: f64, cells: f64) -> f64 {
    let (mut low, mut high) = (1.0, 200.0);
    for _ in 0..40 {
        let z = 0.5 * (low + high);
        if looks * f64::sqrt(z) * (1.0 + z / cells).powf(-cells) > probability { low = z } else { high = z }
    }
    high
}

#[cfg(test)]
#[path = "faint_tests.rs"]
mod tests;
