//! Noise of a resting sensor: the Allan deviation, which tells noise that averages away from a bias that wanders.
//!
//! Overlapping Allan deviation as in W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), section 5.2.2.
//! A white noise of density D (unit/√Hz, one-sided) gives D / √(2 τ); the lowest point over 0.664 is called bias instability
//! (names of IEEE 952, from memory).

use crate::analysis::{Reading, Run};

/// Samples averaged before they are kept, for streams faster than [`FAST_HZ`]: averaging times longer than the average are
/// not changed by it.
const AVERAGED: usize = 8;
/// Streams faster than this are averaged first, Hz.
const FAST_HZ: f64 = 800.0;
/// Samples kept at most: four hours at 208 Hz.
const MOST: usize = 3_000_000;
/// Averages that must stand side by side for a point, so that it says something.
const FEWEST_AVERAGES: usize = 6;
/// Flicker floor of the Allan deviation of flicker noise of unit instability: sqrt(2 ln 2 / π).
const FLICKER: f64 = 0.664_282_6;

/// Overlapping Allan deviation of values evenly spaced in time, for averages over `m` of them. `None` when there are fewer
/// than `2 m + 1` phase points.
pub fn overlapping_deviation(values: &[f64], m: usize) -> Option<f64> {
    deviation_of_phase(&phase(values), m)
}

/// Running sum from zero, taken from the mean so that it does not outgrow its digits.
fn phase(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let mut sum = 0.0;
    let after_each = values.iter().map(|v| {
        sum += v - mean;
        sum
    });
    std::iter::once(0.0).chain(after_each).collect()
}

fn deviation_of_phase(phase: &[f64], m: usize) -> Option<f64> {
    if m == 0 || phase.len() < 2 * m + 1 {
        return None;
    }
    let terms = phase.len() - 2 * m;
    let squares: f64 = (0..terms).map(|i| (phase[i + 2 * m] - 2.0 * phase[i + m] + phase[i]).powi(2)).sum();
    Some((squares / (2.0 * terms as f64)).sqrt() / m as f64)
}

/// Noise of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    /// Averaging time, s, and Allan deviation, in the stream's unit; octaves.
    pub curve: Vec<(f64, f64)>,
    /// White noise density, unit/√Hz, from the curve at one second; `None` for a rest too short.
    pub density: Option<f64>,
    /// Bias instability, unit: the lowest point over 0.664; `None` where the curve was still falling at its end.
    pub bias_instability: Option<f64>,
}

/// Collects the longest unbroken stretch of one motion stream.
#[derive(Clone, Debug)]
pub struct NoiseRecorder {
    gyro: bool,
    spacing_s: f64,
    /// Sum and count of the average being formed.
    forming: ([f64; 3], usize),
    now: [Vec<f64>; 3],
    best: [Vec<f64>; 3],
    best_spacing_s: f64,
}

impl NoiseRecorder {
    /// Of the gyro, or of the accelerometer.
    pub fn new(gyro: bool) -> Self {
        Self {
            gyro,
            spacing_s: 0.0,
            forming: ([0.0; 3], 0),
            now: Default::default(),
            best: Default::default(),
            best_spacing_s: 0.0,
        }
    }

    /// Takes a reading.
    pub fn push(&mut self, reading: &Reading<'_>) {
        match reading {
            Reading::Accel(run) if !self.gyro => self.run(run),
            Reading::Gyro(run) if self.gyro => self.run(run),
            Reading::Break { .. } => self.cut(),
            _ => {}
        }
    }

    /// Noise per axis, and how long the stretch was, s.
    pub fn finish(mut self) -> ([Noise; 3], f64) {
        self.cut();
        let spacing_s = self.best_spacing_s;
        let seconds = self.best[0].len() as f64 * spacing_s;
        (self.best.map(|values| noise(&values, spacing_s)), seconds)
    }

    fn run(&mut self, run: &Run<'_>) {
        if run.lost_before > 0 {
            self.cut();
        }
        let averaged = if run.spacing_us < 1e6 / FAST_HZ { AVERAGED } else { 1 };
        let spacing_s = run.spacing_us / 1e6 * averaged as f64;
        if self.spacing_s > 0.0 && (spacing_s / self.spacing_s - 1.0).abs() > 0.05 {
            self.cut();
        }
        if self.spacing_s == 0.0 {
            self.spacing_s = spacing_s;
        }
        for sample in run.samples {
            if self.now[0].len() >= MOST {
                return;
            }
            for (sum, v) in self.forming.0.iter_mut().zip(sample) {
                *sum += f64::from(*v);
            }
            self.forming.1 += 1;
            if self.forming.1 >= averaged {
                let (sums, n) = std::mem::take(&mut self.forming);
                for (axis, sum) in self.now.iter_mut().zip(sums) {
                    axis.push(sum / n as f64);
                }
            }
        }
    }

    fn cut(&mut self) {
        if self.now[0].len() > self.best[0].len() {
            (self.best, self.best_spacing_s) = (std::mem::take(&mut self.now), self.spacing_s);
        }
        (self.now, self.forming, self.spacing_s) = (Default::default(), Default::default(), 0.0);
    }
}

fn noise(values: &[f64], spacing_s: f64) -> Noise {
    let phase = phase(values);
    let curve: Vec<(f64, f64)> = (0..)
        .map(|octave| 1_usize << octave)
        .take_while(|m| values.len() >= FEWEST_AVERAGES * m)
        .filter_map(|m| Some((m as f64 * spacing_s, deviation_of_phase(&phase, m)?)))
        .collect();
    // Where noise is white, deviation · √τ is the same everywhere; taken nearest to one second.
    let density = curve
        .iter()
        .min_by(|a, b| a.0.ln().abs().total_cmp(&b.0.ln().abs()))
        .filter(|(tau_s, _)| (0.5..2.0).contains(tau_s))
        .map(|(tau_s, deviation)| deviation * (2.0 * tau_s).sqrt());
    let lowest = curve.iter().enumerate().min_by(|a, b| a.1.1.total_cmp(&b.1.1));
    let bias_instability = lowest.filter(|(i, _)| i + 1 < curve.len()).map(|(_, (_, deviation))| deviation / FLICKER);
    Noise { curve, density, bias_instability }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    use super::*;

    fn reference(text: &str) -> Vec<csv::StringRecord> {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        reader.records().map(Result::unwrap).collect()
    }

    /// The 1000-point set of NIST SP 1065, p. 108.
    fn thousand() -> Vec<f64> {
        let mut n: u64 = 1_234_567_890;
        let mut numbers = Vec::new();
        for _ in 0..1000 {
            numbers.push(n);
            n = n * 16_807 % 2_147_483_647;
        }
        for row in reference(include_str!("../../../data/reference/allan_nbs_generator_check.csv")) {
            assert_eq!(numbers[row[0].parse::<usize>().unwrap()], row[1].parse::<u64>().unwrap());
        }
        numbers.iter().map(|n| *n as f64 / 2_147_483_647.0).collect()
    }

    #[test]
    fn it_gives_the_printed_values_of_the_handbook() {
        // data/reference/allan_nbs.csv: NIST SP 1065, p. 107-108; relative tolerance 1e-6, half of the last printed digit.
        let nine: Vec<f64> = reference(include_str!("../../../data/reference/allan_nbs_9point_frequency.csv"))
            .iter()
            .map(|row| row[1].parse().unwrap())
            .collect();
        let thousand = thousand();
        let mut rows = 0;
        for row in reference(include_str!("../../../data/reference/allan_nbs.csv")) {
            if &row[1] != "oadev" {
                continue;
            }
            let values = if &row[0] == "nbs14_9" { &nine } else { &thousand };
            let got = overlapping_deviation(values, row[2].parse().unwrap()).unwrap();
            let printed: f64 = row[3].parse().unwrap();
            assert!((got / printed - 1.0).abs() < 1e-6, "{row:?}: {got:.7e}");
            rows += 1;
        }
        assert_eq!(rows, 5);
    }

    #[test]
    fn too_few_values_say_nothing() {
        assert_eq!(overlapping_deviation(&[], 1), None);
        assert_eq!(overlapping_deviation(&[1.0, 2.0, 3.0], 2), None);
        assert_eq!(overlapping_deviation(&[1.0, 2.0], 0), None);
    }

    #[test]
    fn white_noise_shows_its_density() {
        // 3.8 mdps/√Hz, a gyro's; sample rms = D √(rate / 2).
        let (density, rate_hz) = (6.6e-5, 208.0);
        let normal = Normal::new(0.0, density * f64::sqrt(rate_hz / 2.0)).unwrap();
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let mut recorder = NoiseRecorder::new(true);
        for block in 0..6_000 {
            let samples: Vec<[f32; 3]> = (0..18).map(|_| [0.01, normal.sample(&mut rng) as f32, 0.0]).collect();
            let run = Run {
                first_us: f64::from(block) * 18e6 / rate_hz,
                spacing_us: 1e6 / rate_hz,
                lost_before: u32::from(block == 500),
                clipped: 0,
                samples: &samples,
            };
            recorder.push(&Reading::Gyro(run));
        }
        let ([x, y, _], seconds) = recorder.finish();
        assert!((seconds - 5_500.0 * 18.0 / rate_hz).abs() < 1.0, "{seconds}");
        // 500 averages side by side: 3 % of uncertainty; four of them.
        assert!((y.density.unwrap() / density - 1.0).abs() < 0.15, "{:?}", y.density);
        assert!(x.curve.iter().all(|(_, d)| *d < 1e-8), "{:?}", x.curve);
    }
}
