//! What a table looks like to somebody who knows sensors, polishers and panels: another unit, too few rows, a column that is missing.
//! Said when it is imported, and kept in the recording for whoever reviews it.

use super::{ImportSummary, Largest};
use crate::analysis::LEAST_STREAM_HZ;
use crate::guidance::units::{count, duration};

/// Share of gravity that one axis has when the others have hardly any: within 37 degrees of it.
const MOSTLY: f64 = 0.8;
/// What a table in thousandths of g averages to: the same range in them.
const GRAVITY_MILLI_G: std::ops::RangeInclusive<f64> = 867.0..=1173.0;
/// The same in g.
const GRAVITY_G: std::ops::RangeInclusive<f64> = 0.867..=1.173;

/// What a second's mean may be with gravity in it, m/s²: an uncalibrated chip is a few percent off, a cheap one more.
const GRAVITY_MPS2: std::ops::RangeInclusive<f64> = 8.5..=11.5;

/// Rows a second below which no machine's vibration can be read.
const FEWEST_HZ: f64 = 20.0;
/// Rows a second that the sensor itself gives, less its tolerance: with so many nothing that a polisher shakes at folds down.
const SENSOR_HZ: f64 = 1500.0;
/// What is said of it: the rate that the motion chip's data sheet names.
const SENSOR_SAID_HZ: u32 = 1660;
/// A hand turns a machine less than this on average, rad/s: 40 degrees a second.
const TURNING_RADPS: f64 = 0.7;
/// Panels are cooler than this when work begins, °C; in °F it is a cool day.
const START_C: f64 = 60.0;
/// From here on it is rather kelvin than degrees Fahrenheit, °C.
const KELVIN: std::ops::RangeInclusive<f64> = 250.0..=350.0;
/// Holes shorter than this are told by their number only, s.
const HOLE_S: f64 = 1.0;

impl ImportSummary {
    /// What whoever reviews the recording must know, a sentence or two each.
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        let mut out = Vec::new();
        out.extend(self.rate_hz.and_then(rate));
        if let Some(steady) = self.steady_mps2.filter(|size| !GRAVITY_MPS2.contains(size)) {
            let how = if GRAVITY_G.contains(&steady) {
                "If the table is in g, multiply by 9.80665 and import again; if its logger takes gravity out, arm speed stays blank \
                 or wrong."
            } else if GRAVITY_MILLI_G.contains(&steady) {
                "If the table is in thousandths of g (mg), multiply by 0.00980665 and import again; if it is in cm/s², by 0.01."
            } else if steady < *GRAVITY_MPS2.start() {
                "If its logger takes gravity out, arm speed stays blank or wrong: gravity must be in. Else check the unit and the \
                 accelerometer."
            } else {
                "Check the unit and the accelerometer: speeds and vibration are wrong by as much."
            };
            out.push(format!(
                "Over a second the acceleration averages {steady:.2} m/s², where gravity alone makes 9.8. {how}"
            ));
        }
        out.extend(self.gravity());
        if self.is_frozen {
            out.push("The acceleration is the same in every row: the accelerometer gave nothing new.".into());
        }
        if let Some(Largest { axis, value_mps2, samples }) = self.largest {
            out.push(format!(
                "{} stand at {value_mps2:.1} m/s² in `accel_{axis}_mps2` and hardly any near it: the vibration was stronger than the \
                 logger's range, and its peaks are cut off. Vibration and arm speed are too low or wrong; give the logger a wider \
                 range.",
                count(samples, "sample", "samples"),
            ));
        }
        if let Some(line) = self.left_out_line {
            out.push(format!(
                "The last row (line {line}) is empty or cut, as where a logger loses its power, and was left out."
            ));
        }
        if let Some(turning) = self.steady_radps.filter(|rate| *rate > TURNING_RADPS) {
            out.push(format!(
                "The machine turns by {turning:.1} rad/s on average, faster than hands do. If the table is in degrees a second, \
                 multiply by 0.0174533 and import again."
            ));
        } else if self.turns_astray {
            out.push(
                "Gravity does not turn in the accelerations as the turn rates say: an axis of these has the wrong sign or is another's, and \
                 arm speeds, strokes and passes are wrong. Turn rates are right-handed about the axes of the accelerations: change them \
                 and import again."
                    .into(),
            );
        }
        if let Some(start) = self.first_surface_c.filter(|c| *c > START_C) {
            let how =
                if KELVIN.contains(&start) { "in K, take 273.15 off" } else { "in °F, take 32 off, multiply by 5/9" };
            out.push(format!("The panel is at {start:.0} °C at the start. If the table is {how} and import again."));
        }
        if let Some((at_s, seconds)) = self.longest_hole.filter(|(_, seconds)| *seconds >= HOLE_S) {
            out.push(format!(
                "The longest hole in the table begins {} after its first row and lasts {}. If the logger's clock was set meanwhile, \
                 cut the table there and import the parts one by one.",
                duration(at_s),
                duration(seconds),
            ));
        }
        if let Some(grain_s) = self.hiding_s {
            out.push(format!(
                "The times are rounded to {} ms, too coarse to tell a single missing row from none: only two or more in a row are counted \
                 as lost. Give the times to the microsecond.",
                grain_s * 1e3,
            ));
        }
        if !self.has_gyro {
            out.push("No gyro readings: arm speed, strokes and section passes stay blank, which cannot be told without them.".into());
        }
        if !self.has_surface {
            out.push("No surface temperatures: heat stays blank.".into());
        }
        out
    }

    /// Where gravity lies mostly along another axis than a level panel's. On an upright panel it does so rightly.
    fn gravity(&self) -> Option<String> {
        let steady = self.steady_mps2.filter(|size| GRAVITY_MPS2.contains(size))?;
        let mean = self.mean_mps2?;
        let (axis, along) = ["x", "y", "z"].into_iter().zip(mean).find(|(_, v)| v.abs() > MOSTLY * steady)?;
        let axes = "z points along the spindle away from the pad, x and y lie in the pad's plane, turn rates are right-handed about \
                    them";
        match axis {
            "z" if along > 0.0 => None,
            "z" => Some(format!(
                "On average `accel_z_mps2` is {along:.1} m/s², where a machine face down on a level panel has +9.8. If the panel was \
                 level, z points the wrong way ({axes}): turn the axes, those of the turn rates, too, and import again."
            )),
            _ => Some(format!(
                "Gravity lies mostly along {axis}: `accel_{axis}_mps2` is {along:.1} m/s² on average. On an upright panel it does; if \
                 the panel was level, the axes are others than expected ({axes}): change them, those of the turn rates, too, and \
                 import again."
            )),
        }
    }
}

/// What is said of so many rows a second.
fn rate(hz: f64) -> Option<String> {
    if hz < FEWEST_HZ {
        return Some(format!(
            "Only {hz:.1} rows a second: too few for any rate. If the times are in ms, divide them by 1000 and import again."
        ));
    }
    let whole = "If rows were left out of a faster table with no low-pass filter before, its vibration is folded into slow movement: \
                 speeds, strokes and passes are then wrong. Import the table with all its rows, or filter it below half the rows a \
                 second that it keeps before leaving any out";
    if hz < LEAST_STREAM_HZ {
        return Some(format!(
            "{hz:.0} rows a second: too few to see the pad go round, which takes {LEAST_STREAM_HZ}. Orbit rate and pad speed stay \
             blank, and whether the motor ran is not known. {whole}."
        ));
    }
    (hz < SENSOR_HZ).then(|| format!("{hz:.0} rows a second, where the sensor gives {SENSOR_SAID_HZ}. {whole}."))
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: ImportSummary = ImportSummary {
        rows: 10_000,
        seconds: 6.0,
        lost: 0,
        hiding_s: None,
        rate_hz: Some(1660.0),
        longest_hole: None,
        steady_mps2: Some(9.8),
        mean_mps2: Some([0.3, -0.2, 9.7]),
        largest: None,
        is_frozen: false,
        left_out_line: None,
        steady_radps: Some(0.05),
        turns_astray: false,
        first_surface_c: Some(24.0),
        marks: 0,
        has_gyro: true,
        has_surface: true,
    };

    #[test]
    fn units_that_hands_and_panels_cannot_have_are_doubted() {
        let said = |summary: ImportSummary| summary.remarks().join(" ");
        assert_eq!(said(GOOD), "");
        for (summary, word) in [
            (ImportSummary { rate_hz: Some(1.0), ..GOOD }, "in ms"),
            (ImportSummary { steady_mps2: Some(1.0), ..GOOD }, "in g, multiply"),
            (ImportSummary { steady_mps2: Some(1024.66), ..GOOD }, "(mg), multiply by 0.00980665"),
            (ImportSummary { steady_mps2: Some(0.3), ..GOOD }, "gravity must be in"),
            (ImportSummary { steady_mps2: Some(14.0), ..GOOD }, "Check the unit and the accelerometer"),
            (ImportSummary { is_frozen: true, ..GOOD }, "the same in every row"),
            (ImportSummary { first_surface_c: Some(292.0), ..GOOD }, "in K, take 273.15 off and import"),
            (ImportSummary { steady_radps: Some(3.0), ..GOOD }, "degrees a second"),
            (ImportSummary { turns_astray: true, ..GOOD }, "Gravity does not turn"),
            (ImportSummary { first_surface_c: Some(79.5), ..GOOD }, "in °F"),
            (ImportSummary { has_gyro: false, ..GOOD }, "No gyro"),
            (ImportSummary { has_surface: false, ..GOOD }, "No surface"),
        ] {
            assert!(said(summary).contains(word), "{word}: {}", said(summary));
            assert_eq!(summary.remarks().len(), 1);
        }
    }

    #[test]
    fn gravity_that_a_level_panel_cannot_have_is_said_with_the_axes() {
        let said = |mean| ImportSummary { mean_mps2: Some(mean), ..GOOD }.remarks().join(" ");
        for upright in [[0.5, 9.6, 0.4], [-9.7, 0.1, 0.0]] {
            let said = said(upright);
            assert!(said.contains("On an upright panel it does; if the panel was level"), "{said}");
            assert!(said.contains("z points along the spindle away from the pad"), "{said}");
        }
        assert!(said([0.1, 0.2, -9.7]).contains("z points the wrong way"));
        // Several panels in one recording, and a sloping one.
        for mean in [[3.0, 4.0, 4.0], [5.0, 0.0, 8.4], [0.0, 0.0, 0.1]] {
            assert_eq!(said(mean), "");
        }
        // Of a wrong unit only that is said.
        let wrong = ImportSummary { steady_mps2: Some(1.0), mean_mps2: Some([1.0, 0.0, 0.0]), ..GOOD };
        assert_eq!(wrong.remarks().len(), 1);
    }

    #[test]
    fn a_range_too_small_and_a_row_left_out_are_said() {
        let largest = Some(Largest { axis: "y", value_mps2: -19.613, samples: 4711 });
        let said = ImportSummary { largest, left_out_line: Some(3001), ..GOOD }.remarks().join(" ");
        assert!(said.contains("4711 samples stand at -19.6 m/s² in `accel_y_mps2`"), "{said}");
        assert!(said.contains("(line 3001) is empty or cut"), "{said}");
    }

    #[test]
    fn fewer_rows_than_the_sensor_gives_are_said_with_what_a_table_must_be() {
        for hz in [25.0, 208.0, 410.0, 820.0] {
            let said = ImportSummary { rate_hz: Some(hz), ..GOOD }.remarks().join(" ");
            assert!(said.starts_with(&format!("{hz} rows a second")), "{said}");
            assert!(said.contains("low-pass filter") && said.contains("all its rows"), "{said}");
        }
        assert!(ImportSummary { rate_hz: Some(3330.0), ..GOOD }.remarks().is_empty());
    }

    #[test]
    fn a_long_hole_is_named_and_a_short_one_is_not() {
        let with = |seconds| ImportSummary { longest_hole: Some((30.1, seconds)), ..GOOD }.remarks();
        assert!(with(0.2).is_empty());
        let said = with(40_000.0).join(" ");
        assert!(said.contains("begins 30 s after its first row and lasts 11 h 06 min"), "{said}");
    }
}
