//! Where in a recording the sensor rested, and what it read there.
//!
//! Half-second windows in which nothing moves are joined into poses while the mean acceleration stays put. A tool in hands is
//! never still by this measure, which is the point: a bias taken from a hand-held tool is wrong by more than it mends.

use std::collections::BTreeMap;

use super::{CalibrationError, Gyro};
use crate::analysis::{Reading, Run};

/// Length of a window, s.
const WINDOW_S: f64 = 0.5;
/// Largest rms about its mean, m/s² per axis, of an accelerometer at rest. The chip's own noise is 0.02 to 0.08.
const STILL_MPS2: f64 = 0.15;
/// Largest rms about its mean, rad/s per axis, of a gyro at rest. The chip's own noise is below 0.002; a tremor is 0.02 up.
const STILL_RADPS: f64 = 0.008;
/// Largest mean turn rate of a gyro at rest, rad/s: above any believable bias.
const TURNING_RADPS: f64 = 0.26;
/// A window whose mean is further off than this, m/s², begins another pose (0.3° of tilt).
const SAME_POSE_MPS2: f64 = 0.05;
/// Windows cut off at either end of a pose: the hand that let go, the hand that came.
const TRIMMED: usize = 1;
/// Shortest pose that is handed out, s.
pub(super) const SHORTEST_S: f64 = 2.0;
/// Shortest rest for a gyro bias, s.
const GYRO_REST_S: f64 = 10.0;
/// Least part of a recording of noise that the sensor rests.
const AT_REST: f64 = 0.9;
/// Recordings are looked at up to this long, so that memory has a bound: six hours.
const MOST_WINDOWS: u64 = (6.0 * 3600.0 / WINDOW_S) as u64;

/// Count, mean and sum of squares about the mean (Welford), three axes.
#[derive(Clone, Copy, Debug, Default)]
struct Moments {
    n: f64,
    mean: [f64; 3],
    squares: [f64; 3],
}

impl Moments {
    fn add(&mut self, sample: [f32; 3]) {
        self.n += 1.0;
        for ((mean, squares), value) in self.mean.iter_mut().zip(&mut self.squares).zip(sample.map(f64::from)) {
            let step = value - *mean;
            *mean += step / self.n;
            *squares += step * (value - *mean);
        }
    }

    fn rms(&self) -> [f64; 3] {
        self.squares.map(|s| if self.n > 1.0 { (s / (self.n - 1.0)).sqrt() } else { f64::INFINITY })
    }
}

#[derive(Clone, Copy, Debug, Default)]
struct Window {
    accel: Moments,
    gyro: Moments,
}

impl Window {
    fn is_still(&self) -> bool {
        let accel = self.accel.n > 1.0 && self.accel.rms().iter().all(|r| *r < STILL_MPS2);
        let gyro = self.gyro.n == 0.0
            || self.gyro.rms().iter().all(|r| *r < STILL_RADPS)
                && self.gyro.mean.iter().all(|m| m.abs() < TURNING_RADPS);
        accel && gyro
    }
}

/// A stretch of rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Start, s since the first sample.
    pub start_s: f64,
    /// Length, s.
    pub seconds: f64,
    /// Mean specific force, m/s².
    pub accel_mps2: [f64; 3],
    /// One standard deviation of that mean, from the scatter of the windows, m/s².
    pub accel_sd_mps2: [f64; 3],
    /// rms about the mean, m/s²: noise of the chip and of the table.
    pub accel_noise_mps2: [f64; 3],
    /// Mean turn rate, rad/s, where there is a gyro.
    pub gyro_radps: Option<[f64; 3]>,
    /// One standard deviation of that mean, rad/s.
    pub gyro_sd_radps: [f64; 3],
    /// rms about the mean, rad/s.
    pub gyro_noise_radps: [f64; 3],
}

/// Looks for rest in a stream of readings.
#[derive(Clone, Debug, Default)]
pub struct Stillness {
    windows: BTreeMap<u64, Window>,
}

impl Stillness {
    /// Before the first reading.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a reading.
    pub fn push(&mut self, reading: &Reading<'_>) {
        match reading {
            Reading::Accel(run) => self.each(run, |window, sample| window.accel.add(sample)),
            Reading::Gyro(run) => self.each(run, |window, sample| window.gyro.add(sample)),
            Reading::Surface(_) | Reading::Mark { .. } | Reading::Break { .. } => {}
        }
    }

    /// Time with acceleration in it, s; of a longer recording the first six hours.
    fn seconds(&self) -> f64 {
        self.windows.values().filter(|window| window.accel.n > 0.0).count() as f64 * WINDOW_S
    }

    /// Checks that a recording is one of a resting sensor all through, but for hands at its ends: what it scatters is the chip's
    /// noise then.
    ///
    /// # Errors
    /// [`CalibrationError::NotStill`] when there is no rest of ten seconds, [`CalibrationError::Moved`] when it moved for more
    /// than a tenth of the time.
    pub fn rests_throughout(&self) -> Result<(), CalibrationError> {
        let poses = self.poses();
        check(&poses, "")?;
        // What is cut off either end of a pose is rest, too.
        let ends_s = 2.0 * TRIMMED as f64 * WINDOW_S;
        let rest_s: f64 = poses.iter().map(|pose| pose.seconds + ends_s).sum();
        let seconds = self.seconds();
        if rest_s < AT_REST * seconds {
            return Err(CalibrationError::Moved { moved_s: seconds - rest_s, seconds });
        }
        Ok(())
    }

    /// All poses, in order of time.
    pub fn poses(&self) -> Vec<Pose> {
        let mut poses = Vec::new();
        let mut open: Vec<(u64, &Window)> = Vec::new();
        for (&index, window) in self.windows.iter().filter(|(_, w)| w.is_still()) {
            let goes_on = open.last().is_some_and(|(last, _)| last + 1 == index)
                && (0..3).all(|i| (window.accel.mean[i] - mean_of(&open, i)).abs() < SAME_POSE_MPS2);
            if !goes_on {
                poses.extend(pose(&open));
                open.clear();
            }
            open.push((index, window));
        }
        poses.extend(pose(&open));
        poses
    }

    fn each(&mut self, run: &Run<'_>, add: impl Fn(&mut Window, [f32; 3])) {
        for (i, &sample) in run.samples.iter().enumerate() {
            let index = ((run.first_us + i as f64 * run.spacing_us) / (WINDOW_S * 1e6)).max(0.0) as u64;
            if index < MOST_WINDOWS && sample.iter().all(|v| v.is_finite()) {
                add(self.windows.entry(index).or_default(), sample);
            }
        }
    }
}

fn mean_of(windows: &[(u64, &Window)], axis: usize) -> f64 {
    windows.iter().map(|(_, w)| w.accel.mean[axis]).sum::<f64>() / windows.len() as f64
}

fn pose(windows: &[(u64, &Window)]) -> Option<Pose> {
    let kept = windows.get(TRIMMED..windows.len().saturating_sub(TRIMMED))?;
    let seconds = kept.len() as f64 * WINDOW_S;
    let first = kept.first().filter(|_| seconds >= SHORTEST_S)?.0;
    let accel: Vec<Moments> = kept.iter().map(|(_, w)| w.accel).collect();
    let gyro: Vec<Moments> = kept.iter().map(|(_, w)| w.gyro).filter(|g| g.n > 1.0).collect();
    let (accel_mps2, accel_sd_mps2, accel_noise_mps2) = pooled(&accel);
    let (rate, gyro_sd_radps, gyro_noise_radps) = pooled(&gyro);
    Some(Pose {
        start_s: first as f64 * WINDOW_S,
        seconds,
        accel_mps2,
        accel_sd_mps2,
        accel_noise_mps2,
        gyro_radps: (!gyro.is_empty()).then_some(rate),
        gyro_sd_radps,
        gyro_noise_radps,
    })
}

/// Mean of the windows' means, its standard deviation by their scatter, and the rms inside windows.
fn pooled(windows: &[Moments]) -> ([f64; 3], [f64; 3], [f64; 3]) {
    let n = windows.len() as f64;
    let mut out = ([0.0; 3], [0.0; 3], [0.0; 3]);
    if windows.is_empty() {
        return out;
    }
    for i in 0..3 {
        let mean = windows.iter().map(|w| w.mean[i]).sum::<f64>() / n;
        let scatter = windows.iter().map(|w| (w.mean[i] - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        let inside = windows.iter().map(|w| w.rms()[i].powi(2)).sum::<f64>() / n;
        (out.0[i], out.1[i], out.2[i]) = (mean, (scatter / n).sqrt(), inside.sqrt());
    }
    out
}

/// What a resting sensor says about itself.
#[derive(Clone, Debug, PartialEq)]
pub struct StillCheck {
    /// The longest rest.
    pub pose: Pose,
    /// The gyro's bias, where there is a gyro.
    pub gyro: Option<Gyro>,
    /// Angle between the spindle axis and upright, degrees: the level check, when the machine stands face down on a level.
    pub tilt_deg: f64,
    /// Size of the specific force, m/s²; local gravity when all is well.
    pub size_mps2: f64,
}

/// Gyro bias and level from the longest rest. `when`: the recording's start, RFC 3339.
///
/// # Errors
/// [`CalibrationError::NotStill`] when there is no rest of ten seconds.
pub fn check(poses: &[Pose], when: &str) -> Result<StillCheck, CalibrationError> {
    let longest = poses.iter().max_by(|a, b| a.seconds.total_cmp(&b.seconds));
    let found_s = longest.map_or(0.0, |p| p.seconds);
    let pose = longest
        .filter(|p| p.seconds >= GYRO_REST_S)
        .ok_or(CalibrationError::NotStill { found_s, wanted_s: GYRO_REST_S })?;
    let [x, y, z] = pose.accel_mps2;
    Ok(StillCheck {
        pose: *pose,
        gyro: pose.gyro_radps.map(|bias_radps| Gyro {
            when: when.to_owned(),
            bias_radps,
            sd_radps: pose.gyro_sd_radps,
            seconds: pose.seconds,
        }),
        tilt_deg: x.hypot(y).atan2(z).to_degrees(),
        size_mps2: (x * x + y * y + z * z).sqrt(),
    })
}

#[cfg(test)]
pub(super) mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    use super::*;

    /// A recording: stretches of (seconds, specific force, turn rate, shake), with the chip's own noise on top.
    pub(in super::super) fn record(stretches: &[(f64, [f64; 3], [f64; 3], f64)]) -> Stillness {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let noise = |sd: f64| Normal::new(0.0, sd).unwrap();
        let mut still = Stillness::new();
        for (rate_hz, is_gyro) in [(1_667.0, false), (208.0, true)] {
            let mut n = 0_u64;
            let mut until_s = 0.0;
            for &(seconds, force, turn, shake) in stretches {
                until_s += seconds;
                let mut samples = Vec::new();
                let first = n;
                while (n as f64) < until_s * rate_hz {
                    let (mean, sd) = if is_gyro { (turn, 0.0008) } else { (force, 0.025) };
                    samples.push(mean.map(|m| (m + noise(sd + shake).sample(&mut rng)) as f32));
                    n += 1;
                }
                let run = Run {
                    first_us: first as f64 / rate_hz * 1e6,
                    spacing_us: 1e6 / rate_hz,
                    lost_before: 0,
                    clipped: 0,
                    samples: &samples,
                };
                still.push(&if is_gyro { Reading::Gyro(run) } else { Reading::Accel(run) });
            }
        }
        still
    }

    const UP: [f64; 3] = [0.0, 0.0, 9.81];
    const BIAS: [f64; 3] = [0.012, -0.007, 0.003];

    #[test]
    fn the_bias_is_found_within_its_own_uncertainty() {
        let poses = record(&[(5.0, UP, [0.3, 0.1, 0.0], 0.5), (60.0, UP, BIAS, 0.0), (5.0, UP, BIAS, 0.5)]).poses();
        let check = check(&poses, "2026-03-02T09:00:00+01:00").unwrap();
        let gyro = check.gyro.unwrap();
        for (i, bias) in BIAS.into_iter().enumerate() {
            // 0.0008 rad/s over sqrt(208 · 59) samples is 7e-6.
            assert!((gyro.bias_radps[i] - bias).abs() < 4.0 * gyro.sd_radps[i], "{gyro:?}");
            assert!((3e-6..2e-5).contains(&gyro.sd_radps[i]), "{gyro:?}");
        }
        assert!((check.pose.start_s - 5.5).abs() < 0.6, "{}", check.pose.start_s);
        assert!(check.tilt_deg < 0.05 && (check.size_mps2 - 9.81).abs() < 0.001);
        assert!((check.pose.accel_noise_mps2[0] - 0.025).abs() < 0.001);
    }

    #[test]
    fn a_tilted_table_shows() {
        let tilt = 2.0_f64.to_radians();
        let force = [9.81 * tilt.sin(), 0.0, 9.81 * tilt.cos()];
        let poses = record(&[(20.0, force, BIAS, 0.0)]).poses();
        assert!((check(&poses, "").unwrap().tilt_deg - 2.0).abs() < 0.02);
    }

    #[test]
    fn noise_is_told_of_rest_only() {
        let moved = (UP, [0.3, 0.1, 0.0], 0.5);
        let at = |rest_s: f64, moved_s: f64| {
            record(&[(rest_s, UP, BIAS, 0.0), (moved_s, moved.0, moved.1, moved.2)]).rests_throughout()
        };
        assert_eq!(at(60.0, 5.0), Ok(()), "a hand that comes");
        assert_eq!(at(0.0, 30.0), Err(CalibrationError::NotStill { found_s: 0.0, wanted_s: 10.0 }));
        let message = at(20.0, 40.0).unwrap_err().to_string();
        assert!(message.contains("moved for 40 of 60 s"), "{message}");
    }

    #[test]
    fn a_held_tool_is_not_still() {
        // Tremor of 0.05 rad/s and 0.3 m/s², as hands have.
        let poses = record(&[(60.0, UP, BIAS, 0.3)]).poses();
        assert_eq!(check(&poses, ""), Err(CalibrationError::NotStill { found_s: 0.0, wanted_s: 10.0 }));
        let short = record(&[(6.0, UP, BIAS, 0.0)]).poses();
        let message = check(&short, "").unwrap_err().to_string();
        assert!(message.contains("rested for 5.0 s at most, expected 10 s"), "{message}");
    }
}
