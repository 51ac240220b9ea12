//! The frequency weighting Wh of ISO 5349-1 for vibration that reaches hands, and a digital filter that keeps to it.
//!
//! Wh is a band limit (6.3 Hz to 1259 Hz) times a transition from acceleration to velocity at 15.9 Hz; from 16 Hz up it
//! falls like 1/f. At the sensor's 1.67 kHz the upper band limit lies above half the sample rate, and the bilinear transform
//! that textbooks use is 7.5 % low at 250 Hz and 90 % low at 800 Hz. So the filter is designed otherwise:
//!
//! 1. every pole of the analogue filter is carried over as `exp(pole / rate)`, the two zeros at standstill and the one of the
//!    transition likewise: exact where the curve bends, off by a smooth factor of 0.3 to 1 further up;
//! 2. that factor is made up for by a symmetric FIR of 11 taps, whose response is a polynomial in cos ω through the exact
//!    curve at six frequencies (Chebyshev nodes).
//!
//! Within 0.15 % of the curve from 4 Hz to 60 % of half the sample rate (500 Hz at 1.67 kHz), within 1 % to 80 %. Closer to
//! half the sample rate the filter is up to 7 % high at 1.67 kHz, where Wh is 0.02 and the chip's own filter takes more.

use std::f64::consts::{FRAC_1_SQRT_2, PI, TAU};

/// Lower band limit, Hz: 10^0.8. Exact parameters of ISO 8041, as quoted in a human-vibration meter's manual (table 3.1);
/// ISO 5349-1 prints rounded ones, which do not give its own factors.
const LOW_HZ: f64 = 6.309_573_444_801_933;
/// Upper band limit, Hz: 10^3.1. Same source.
const HIGH_HZ: f64 = 1_258.925_411_794_167_3;
/// Quality of both band limits. Same source.
const BAND_Q: f64 = FRAC_1_SQRT_2;
/// Where acceleration turns to velocity, Hz. Same source.
const TRANSITION_HZ: f64 = 100.0 / TAU;
/// Quality of the transition. Same source.
const TRANSITION_Q: f64 = 0.64;

/// Lowest sample rate, Hz, at which a weighted figure is given. Orbit and rotation rates reach 115 Hz, their harmonics carry
/// weighted energy to about 200 Hz; a slower stream has not seen them, or has folded them into wrong places.
pub(super) const MIN_RATE_HZ: f64 = 400.0;
/// Highest sample rate, Hz, for which the design has been checked.
pub(super) const MAX_RATE_HZ: f64 = 200_000.0;

/// Degree of the correcting polynomial in cos ω.
const DEGREE: usize = 5;
/// Axes, and one of padding.
const LANES: usize = 4;

/// The weighting factor at a frequency, Hz: ISO 5349-1 annex A with the exact parameters of ISO 8041. Zero at 0 Hz.
pub(super) fn wh(hz: f64) -> f64 {
    let second_order = |corner: f64, q: f64| (corner * corner - hz * hz).hypot(corner * hz / q);
    let (low, high) = (second_order(LOW_HZ, BAND_Q), second_order(HIGH_HZ, BAND_Q));
    let band = hz * hz * HIGH_HZ * HIGH_HZ / (low * high);
    let transition = hz.hypot(TRANSITION_HZ) * TRANSITION_HZ / second_order(TRANSITION_HZ, TRANSITION_Q);
    band * transition
}

/// Two poles and up to two zeros.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

impl Section {
    /// Poles of a second-order low- or high-pass (`q` > 1/2), carried over as `exp(pole / rate)`.
    fn poles(corner_hz: f64, q: f64, rate_hz: f64) -> [f64; 2] {
        let w = TAU * corner_hz / rate_hz;
        let radius = (-w / (2.0 * q)).exp();
        let angle = w * (1.0 - 1.0 / (4.0 * q * q)).sqrt();
        [-2.0 * radius * angle.cos(), radius * radius]
    }

    /// Size of the response at `w` radians per sample.
    fn gain(&self, w: f64) -> f64 {
        let size = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
            re.hypot(im)
        };
        size(self.b) / size([1.0, self.a[0], self.a[1]])
    }

    /// Filters in place, direct form II transposed. `Z` says how many of the zeros there are.
    #[inline]
    fn run<const Z: usize>(&self, [s1, s2]: &mut [Lanes; 2], samples: &mut [Lanes]) {
        let Self { b, a } = *self;
        let (mut u, mut v) = (*s1, *s2);
        for sample in samples {
            for l in 0..LANES {
                let x = sample[l];
                // The first coefficient is always one.
                let y = x + u[l];
                u[l] = v[l] - a[0] * y + if Z > 0 { b[1] * x } else { 0.0 };
                v[l] = if Z > 1 { b[2] * x } else { 0.0 } - a[1] * y;
                sample[l] = y;
            }
        }
        (*s1, *s2) = (u, v);
    }
}

/// One number per axis, and one lane of padding: four lanes are what vector units like.
type Lanes = [f64; LANES];

/// The filter's coefficients for one sample rate.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Design {
    low: Section,
    transition: Section,
    /// The upper band limit, where it can be realised: below half the sample rate. Otherwise the taps do it alone.
    high: Option<Section>,
    /// Taps at distance 0 to [`DEGREE`] from the middle one.
    taps: [f64; DEGREE + 1],
}

impl Design {
    fn new(rate_hz: f64) -> Self {
        let transition_zero = (-TAU * TRANSITION_HZ / rate_hz).exp();
        let low = Section { b: [1.0, -2.0, 1.0], a: Section::poles(LOW_HZ, BAND_Q, rate_hz) };
        let transition =
            Section { b: [1.0, -transition_zero, 0.0], a: Section::poles(TRANSITION_HZ, TRANSITION_Q, rate_hz) };
        let high = (rate_hz > 2.0 * HIGH_HZ)
            .then(|| Section { b: [1.0, 0.0, 0.0], a: Section::poles(HIGH_HZ, BAND_Q, rate_hz) });
        let poles = |w: f64| low.gain(w) * transition.gain(w) * high.map_or(1.0, |h| h.gain(w));
        // Interpolation at the Chebyshev nodes is a cosine sum. A cosine of the response is half a tap on either side, and
        // its coefficient is twice the mean: so all taps carry the same factor.
        let mut taps = [0.0; DEGREE + 1];
        for j in 0..=DEGREE {
            let w = PI * (j as f64 + 0.5) / (DEGREE + 1) as f64;
            let wanted = wh(w / TAU * rate_hz) / poles(w);
            for (k, tap) in taps.iter_mut().enumerate() {
                *tap += wanted * (k as f64 * w).cos() / (DEGREE + 1) as f64;
            }
        }
        Self { low, transition, high, taps }
    }
}

/// Samples worked through at a time.
const BLOCK: usize = 64;
/// Samples before the newest that the taps reach back to.
const REACH: usize = 2 * DEGREE;

/// Three axes through the weighting at once.
#[derive(Clone, Debug)]
pub(super) struct WhFilter {
    rate_hz: f64,
    design: Design,
    /// Two states for each section.
    states: [[Lanes; 2]; 3],
    /// The last samples out of the sections, oldest first, then room for a block of new ones.
    line: [Lanes; REACH + BLOCK],
    /// The first sample: what counts as zero, so that gravity does not ring through the filter.
    origin: Option<Lanes>,
}

impl WhFilter {
    /// At rest. `rate_hz` between [`MIN_RATE_HZ`] and [`MAX_RATE_HZ`], or `None`.
    pub(super) fn new(rate_hz: f64) -> Option<Self> {
        (MIN_RATE_HZ..=MAX_RATE_HZ).contains(&rate_hz).then(|| Self {
            rate_hz,
            design: Design::new(rate_hz),
            states: Default::default(),
            line: [Lanes::default(); REACH + BLOCK],
            origin: None,
        })
    }

    /// The rate it is made for, Hz.
    pub(super) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Follows a rate that has drifted a little, without forgetting. The same limits as [`WhFilter::new`] hold.
    pub(super) fn retune(&mut self, rate_hz: f64) {
        self.rate_hz = rate_hz;
        self.design = Design::new(rate_hz);
    }

    /// Forgets everything before.
    pub(super) fn restart(&mut self) {
        (self.states, self.origin) = (Default::default(), None);
        self.line.fill(Lanes::default());
    }

    /// Weights samples, m/s², and hands out one answer for each. The answers are [`DEGREE`] samples late, which no mean
    /// square minds.
    pub(super) fn push(&mut self, samples: &[[f32; 3]], mut sink: impl FnMut(&[f64; LANES])) {
        let Some(&first) = samples.first() else { return };
        let lanes = |s: [f32; 3]| [f64::from(s[0]), f64::from(s[1]), f64::from(s[2]), 0.0];
        let origin = *self.origin.get_or_insert(lanes(first));
        let Design { low, transition, high, taps } = self.design;
        for block in samples.chunks(BLOCK) {
            let fresh = &mut self.line[REACH..REACH + block.len()];
            for (slot, &sample) in fresh.iter_mut().zip(block) {
                let sample = lanes(sample);
                *slot = std::array::from_fn(|l| sample[l] - origin[l]);
            }
            low.run::<2>(&mut self.states[0], fresh);
            transition.run::<1>(&mut self.states[1], fresh);
            if let Some(high) = high {
                high.run::<0>(&mut self.states[2], fresh);
            }
            for window in self.line[..REACH + block.len()].windows(REACH + 1) {
                let Ok(window) = <&[Lanes; REACH + 1]>::try_from(window) else { continue };
                let mut y: Lanes = std::array::from_fn(|l| taps[0] * window[DEGREE][l]);
                for k in 1..=DEGREE {
                    for l in 0..LANES {
                        y[l] += taps[k] * (window[DEGREE - k][l] + window[DEGREE + k][l]);
                    }
                }
                sink(&y);
            }
            self.line.copy_within(block.len()..block.len() + REACH, 0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// rms of a steady tone's answer on each axis, as a share of the tone's own rms.
    fn gain(rate_hz: f64, hz: f64) -> f64 {
        let mut filter = WhFilter::new(rate_hz).unwrap();
        // Whole periods, enough of them that the beat between tone and sampling does not show.
        let settle = (rate_hz * 3.0) as usize;
        let count = (rate_hz * (200.0 / hz).max(4.0)).round() as usize;
        let tone: Vec<[f32; 3]> =
            (0..settle + count).map(|i| [(TAU * hz * i as f64 / rate_hz).sin() as f32, 0.0, 0.0]).collect();
        let mut weighted = Vec::new();
        filter.push(&tone, |y| weighted.push(y[0]));
        let own: f64 = tone[settle..].iter().map(|x| f64::from(x[0]).powi(2)).sum();
        let sum: f64 = weighted[settle..].iter().map(|y| y * y).sum();
        (sum / own).sqrt()
    }

    fn reference(text: &str) -> csv::Reader<&[u8]> {
        csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes())
    }

    #[test]
    fn the_curve_has_the_printed_factors() {
        // data/reference/wh_weights.csv: ISO 5349-1 table of factors as reproduced by a labour ministry's circular
        // (JIS B 7761-3); 4, 5, 1600, 2000 Hz as in two public programs.
        let text = include_str!("../../../data/reference/wh_weights.csv");
        let mut rows = 0;
        for row in reference(text).records() {
            let row = row.unwrap();
            let (exact_hz, printed): (f64, &str) = (row[2].parse().unwrap(), &row[3]);
            let decimals = printed.split_once('.').unwrap().1.len();
            assert_eq!(format!("{:.decimals$}", wh(exact_hz)), printed, "at {exact_hz} Hz");
            rows += 1;
        }
        assert_eq!(rows, 28);
    }

    #[test]
    fn the_curve_agrees_at_orbit_rates() {
        // data/reference/orbit_kinematics.csv, recomputed from the exact parameters with another program (SciPy).
        let text = include_str!("../../../data/reference/orbit_kinematics.csv");
        for row in reference(text).records() {
            let row = row.unwrap();
            let (hz, factor): (f64, f64) = (row[2].parse().unwrap(), row[5].parse().unwrap());
            assert!((wh(hz) - factor).abs() < 6e-6, "at {hz} Hz: {}", wh(hz));
        }
        // The reference point of ISO 8041, 500 rad/s: 0.20202 (recomputed).
        assert!((wh(500.0 / TAU) - 0.202_02).abs() < 5e-6);
        assert_eq!(wh(0.0), 0.0);
    }

    #[test]
    fn a_tone_is_weighted_within_half_a_percent_at_the_sensors_rate() {
        // Slow and fast specimens of the chip included.
        for rate_hz in [1_600.0, 1_667.0, 1_731.0] {
            let mut worst: f64 = 0.0;
            for hz in
                [8.0, 10.0, 12.5, 16.0, 25.0, 33.3, 50.0, 66.7, 75.0, 83.3, 113.3, 160.0, 250.0, 315.0, 400.0, 500.0]
            {
                worst = worst.max((gain(rate_hz, hz) / wh(hz) - 1.0).abs());
            }
            // Measured 0.0014.
            assert!(worst < 0.0028, "worst {worst:.4} at {rate_hz} Hz");
        }
    }

    #[test]
    fn other_rates_keep_to_the_curve_too() {
        // From the slowest that is accepted to a bearing rig's recorder.
        for (rate_hz, top) in
            [(400.0, 0.6), (833.0, 0.6), (3_332.0, 0.6), (6_664.0, 0.6), (48_828.0, 0.06), (97_656.0, 0.03)]
        {
            let mut worst: f64 = 0.0;
            for i in 0..12 {
                let hz = 8.0 * (top * rate_hz / 2.0 / 8.0_f64).powf(f64::from(i) / 11.0);
                worst = worst.max((gain(rate_hz, hz) / wh(hz) - 1.0).abs());
            }
            // Measured 0.0014.
            assert!(worst < 0.0028, "worst {worst:.4} at {rate_hz} Hz");
        }
    }

    #[test]
    fn near_half_the_rate_the_filter_is_a_little_high() {
        for (hz, most) in [(660.0, 0.011), (790.0, 0.036), (830.0, 0.15)] {
            let off = gain(1_667.0, hz) / wh(hz) - 1.0;
            assert!(off.abs() < most, "{off:+.4} at {hz} Hz");
        }
    }

    #[test]
    fn too_slow_and_senseless_rates_are_refused() {
        for rate_hz in [0.0, -5.0, 50.0, 399.0, 1e9, f64::NAN, f64::INFINITY] {
            assert!(WhFilter::new(rate_hz).is_none(), "{rate_hz}");
        }
    }

    #[test]
    fn gravity_alone_gives_nothing() {
        let mut filter = WhFilter::new(1_667.0).unwrap();
        filter.push(&[[1.0, -9.0, 3.0]; 5_000], |y| assert_eq!(y, &[0.0; 4]));
    }
}
