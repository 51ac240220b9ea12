//! The infrared thermometer against known temperatures.
//!
//! A grey target among surroundings looks as [`apparent_c`] has it; the chip says that plus its offset. Warm and cold targets together tell the target's
//! emissivity from the offset; one alone, or several of nearly one temperature, give the offset only.

use super::{CalibrationError, Thermometer};
use crate::analysis::{Reading, SurfaceLook, apparent_c};

/// Emissivity taken where it cannot be told: matt black paint, table of an instrument maker.
pub(super) const MATT_BLACK: f64 = 0.97;
/// Spread of the targets' distance to the surroundings, K, from which on the emissivity is told: 0.5 K of error is then 0.03.
const ENOUGH_SPREAD_K: f64 = 15.0;
/// Readings needed at one temperature: some seconds.
const FEWEST: usize = 30;
/// Largest change over one look, K, from its first to its last third.
const STEADY_K: f64 = 0.5;
/// Looks kept at most (an hour at 16 per second), so that memory has a bound.
const MOST: usize = 60_000;

/// A look at one known temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// What the chip said, °C, as for emissivity 1.
    pub apparent_c: f64,
    /// The surroundings: the chip's own temperature, °C.
    pub surroundings_c: f64,
    /// What it really was, °C.
    pub truth_c: f64,
}

/// Collects the readings of one look.
#[derive(Clone, Debug, Default)]
pub struct LookRecorder {
    readings: Vec<(f64, f64)>,
    corrected: bool,
}

impl LookRecorder {
    /// Before the first reading.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a reading.
    pub fn push(&mut self, reading: &Reading<'_>) {
        let Reading::Surface(SurfaceLook { apparent_c: Some(apparent), ambient_c: Some(ambient), corrected, .. }) =
            reading
        else {
            return;
        };
        self.corrected |= corrected;
        if self.readings.len() < MOST && apparent.is_finite() && ambient.is_finite() {
            self.readings.push((f64::from(*apparent), f64::from(*ambient)));
        }
    }

    /// The look, at a temperature known to be `truth_c`, °C.
    ///
    /// # Errors
    /// Too few readings, readings that are not steady, readings that were already corrected.
    pub fn look(&self, truth_c: f64) -> Result<Look, CalibrationError> {
        let n = self.readings.len();
        if self.corrected {
            return Err(CalibrationError::Looks(
                "the temperatures come from a table and are already corrected; a check needs the sensor's own readings"
                    .into(),
            ));
        }
        if n < FEWEST {
            return Err(CalibrationError::Looks(format!(
                "{n} good temperature readings, expected at least {FEWEST}; record some ten seconds at each temperature"
            )));
        }
        let third = n / 3;
        let (begin, end) = (
            median(self.readings[..third].iter().map(|r| r.0)),
            median(self.readings[n - third..].iter().map(|r| r.0)),
        );
        if (end - begin).abs() > STEADY_K {
            return Err(CalibrationError::Looks(format!(
                "the temperature went from {begin:.1} to {end:.1} °C while looking at {truth_c:.1} °C, expected a change below \
                 {STEADY_K} K; wait until it is steady and stir"
            )));
        }
        Ok(Look {
            apparent_c: median(self.readings.iter().map(|r| r.0)),
            surroundings_c: median(self.readings.iter().map(|r| r.1)),
            truth_c,
        })
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 { f64::NAN } else { f64::midpoint(values[(n - 1) / 2], values[n / 2]) }
}

/// What a perfect thermometer would say, °C, of a target of that emissivity.
fn perfect_c(look: &Look, emissivity: f64) -> f64 {
    apparent_c(look.truth_c, look.surroundings_c, emissivity)
}

/// Offset, and the target's emissivity where the looks tell it. `emissivity`: of the target, where it is known; it is then
/// not looked for. `when`: the first recording's start, RFC 3339.
///
/// # Errors
/// [`CalibrationError::Looks`] when there is none, or the emissivity comes out where no surface has it.
pub fn fit(looks: &[Look], emissivity: Option<f64>, when: &str) -> Result<Thermometer, CalibrationError> {
    if looks.is_empty() {
        return Err(CalibrationError::Looks("no look at a known temperature".into()));
    }
    let n = looks.len() as f64;
    let residuals = |e: f64| looks.iter().map(|l| l.apparent_c - perfect_c(l, e)).collect::<Vec<f64>>();
    let found = match emissivity {
        Some(e) => e,
        None if !tell_emissivity(looks) => MATT_BLACK,
        None => {
            // Gauss-Newton in the emissivity alone: the best offset for it is the residuals' mean.
            let mut e = MATT_BLACK;
            for _ in 0..20 {
                let (now, step) = (residuals(e), 1e-4);
                let slopes: Vec<f64> =
                    looks.iter().map(|l| (perfect_c(l, e + step) - perfect_c(l, e - step)) / (2.0 * step)).collect();
                let (mean_r, mean_s) = (now.iter().sum::<f64>() / n, slopes.iter().sum::<f64>() / n);
                let up: f64 = now.iter().zip(&slopes).map(|(r, s)| (r - mean_r) * (s - mean_s)).sum();
                let down: f64 = slopes.iter().map(|s| (s - mean_s).powi(2)).sum();
                e = (e + up / down).clamp(0.05, 1.5);
            }
            e
        }
    };
    // A little over one is the noise of a very black target; more is a contradiction.
    if !(0.3..=1.03).contains(&found) {
        return Err(CalibrationError::Looks(format!(
            "the target's emissivity comes out as {found:.2}, expected 0.3 to 1.03; was the spot filled, the known temperature \
             that of the surface, the target matt?"
        )));
    }
    let left = residuals(found);
    let offset_k = left.iter().sum::<f64>() / n;
    Ok(Thermometer {
        when: when.to_owned(),
        offset_k,
        target_emissivity: found,
        points: looks.len() as u32,
        left_over_k: left.iter().map(|r| (r - offset_k).abs()).fold(0.0, f64::max),
    })
}

/// Whether the looks lie far enough apart to tell the target's emissivity, whose signal is the distance to the surroundings.
fn tell_emissivity(looks: &[Look]) -> bool {
    let distances = || looks.iter().map(|l| l.truth_c - l.surroundings_c);
    distances().fold(f64::MIN, f64::max) - distances().fold(f64::MAX, f64::min) >= ENOUGH_SPREAD_K
}

impl Thermometer {
    /// What the looks it was fitted to leave to check it by, in words; `emissivity` as it was told.
    pub fn check_words(&self, looks: &[Look], emissivity: Option<f64>) -> String {
        let is_found = emissivity.is_none() && tell_emissivity(looks);
        match looks.len() {
            1 => {
                let taken = if emissivity.is_some() { "told" } else { "taken for matt black" };
                format!(
                    "One temperature determines the offset alone and leaves nothing to check by: the emissivity was {taken}, and what the \
                     sensor is off by at other temperatures is not known. Show a second one, {ENOUGH_SPREAD_K:.0} K or more away."
                )
            }
            2 if is_found => {
                "Two temperatures determine two figures and leave nothing to check by; show a third for that."
                    .to_owned()
            }
            _ => format!("Left over: {:.2} K at most.", self.left_over_k),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(truth_c: f64, surroundings_c: f64, emissivity: f64, offset_k: f64) -> Look {
        let mut look = Look { apparent_c: 0.0, surroundings_c, truth_c };
        look.apparent_c = perfect_c(&look, emissivity) + offset_k;
        look
    }

    #[test]
    fn two_temperatures_give_offset_and_emissivity() {
        let looks = [look(0.5, 23.0, 0.93, 0.4), look(52.0, 24.5, 0.93, 0.4)];
        let found = fit(&looks, None, "").unwrap();
        assert!((found.offset_k - 0.4).abs() < 1e-6 && (found.target_emissivity - 0.93).abs() < 1e-6, "{found:?}");
        assert!(found.left_over_k < 1e-6);
        assert!(found.check_words(&looks, None).starts_with("Two temperatures determine two figures"));
        assert_eq!(found.check_words(&looks, Some(0.93)), "Left over: 0.00 K at most.");
    }

    #[test]
    fn one_temperature_gives_the_offset_at_the_emissivity_told() {
        let found = fit(&[look(45.0, 22.0, 0.95, -0.3)], Some(0.95), "").unwrap();
        assert!((found.offset_k + 0.3).abs() < 1e-9, "{found:?}");
        let one = [look(45.0, 22.0, 0.95, -0.3)];
        assert!(found.check_words(&one, Some(0.95)).contains("nothing to check by: the emissivity was told"));
        assert!(found.check_words(&one, None).contains("taken for matt black"));
        // Nearly one temperature tells no more than one.
        let near = [look(40.0, 22.0, 0.97, 0.2), look(44.0, 22.0, 0.97, 0.2)];
        let found = fit(&near, None, "").unwrap();
        assert!((found.offset_k - 0.2).abs() < 1e-9);
        assert_eq!(found.check_words(&near, None), "Left over: 0.00 K at most.");
    }

    #[test]
    fn a_shiny_or_wrong_target_is_refused() {
        let error = fit(&[look(5.0, 22.0, 0.2, 0.0), look(55.0, 22.0, 0.2, 0.0)], None, "").unwrap_err().to_string();
        assert!(error.contains("0.20"), "{error}");
    }

    fn recorder(readings: impl Iterator<Item = f32>) -> LookRecorder {
        let mut recorder = LookRecorder::new();
        for (i, c) in readings.enumerate() {
            recorder.push(&Reading::Surface(SurfaceLook {
                t_us: i as f64 * 64_000.0,
                apparent_c: Some(c),
                ambient_c: Some(23.0),
                corrected: false,
            }));
        }
        recorder
    }

    #[test]
    fn drifting_short_and_corrected_looks_are_refused() {
        let steady = recorder((0..200).map(|i| 40.0 + 0.02 * (i % 5) as f32)).look(40.3).unwrap();
        assert!((steady.apparent_c - 40.04).abs() < 1e-5);
        assert!(
            recorder((0..200).map(|i| 40.0 - 0.01 * i as f32))
                .look(40.0)
                .unwrap_err()
                .to_string()
                .contains("from 39.7 to 38.3")
        );
        assert!(recorder((0..9).map(|_| 40.0)).look(40.0).unwrap_err().to_string().starts_with("9 good"));
    }
}
