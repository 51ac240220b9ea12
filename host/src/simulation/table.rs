//! The scenario as a sensor table, for accuracy work and for trying out other programs.

use std::io::Write;

use super::scenario::{Scenario, ScenarioError};
use super::thermometer::{celsius_of, surface_c};
use super::truth::Truth;
use super::world::{World, in_units};
use crate::recording::describe_io;

/// Why a table could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// A parameter is outside its range.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The destination refused.
    #[error("cannot write the sensor table: {}", describe_io(.0))]
    Write(#[from] std::io::Error),
}

/// Header of the table. Where there are several sections a column `mark` follows: 1 where the button was pressed that begins one.
pub const HEADER: &str =
    "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c";

/// See [`HEADER`].
const MARK: &str = "mark";

/// Time between two looks of the thermometer, s.
const LOOK_S: f64 = 0.064;

/// Plays the whole scenario into a sensor table (one row per accelerometer sample, empty cells where a sensor has no new
/// reading) and returns the truth. `surface_c` is corrected for the scenario's own emissivity with the chip's ambient as
/// reflected temperature, as a logger that was told the emissivity would do.
///
/// Wrap `out` in a buffer: rows are written one by one. An hour is 6 million rows, some 400 MB.
///
/// # Errors
/// [`TableError::Scenario`] before anything is written; [`TableError::Write`] as `out` says.
pub fn write_table(scenario: &Scenario, mut out: impl Write) -> Result<Truth, TableError> {
    let mut world = World::new(scenario)?;
    let has_marks = scenario.arm.sections > 1;
    out.write_all(HEADER.as_bytes())?;
    if has_marks {
        write!(out, ",{MARK}")?;
    }
    writeln!(out)?;
    let (accel, gyro) = world.scales();
    let (emissivity, mut look_s) = (scenario.thermometer.emissivity, 0.0);
    while !world.is_over() {
        let sample = world.sample();
        let a = in_units(sample.accel, accel);
        write!(out, "{:.6},{:.4},{:.4},{:.4},", sample.t_s, a.x, a.y, a.z)?;
        match sample.gyro.map(|counts| in_units(counts, gyro)) {
            Some(g) => write!(out, "{:.6},{:.6},{:.6},", g.x, g.y, g.z)?,
            None => write!(out, ",,,")?,
        }
        if sample.t_s >= look_s {
            look_s += LOOK_S;
            let (object, ambient) = world.look();
            let ambient_c = celsius_of(ambient);
            write!(out, "{:.2},{ambient_c:.2}", surface_c(celsius_of(object), ambient_c, emissivity))?;
        } else {
            out.write_all(b",")?;
        }
        if has_marks {
            out.write_all(if sample.mark { b",1" } else { b"," })?;
        }
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(world.into_truth())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_is_called_that() {
        let said = TableError::from(std::io::Error::from(std::io::ErrorKind::StorageFull)).to_string();
        assert!(said.contains("cannot write the sensor table: the disk is full"), "{said}");
    }

    #[test]
    fn a_table_of_several_sections_has_their_marks() {
        let mut scenario = Scenario::default();
        (scenario.arm.pass_axes, scenario.arm.strokes_per_pass, scenario.arm.sections) = (vec![0], 2, 2);
        let mut bytes = Vec::new();
        let truth = write_table(&scenario, &mut bytes).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        assert_eq!(reader.headers().unwrap().get(9), Some(MARK));
        let marked = reader.records().map(Result::unwrap).filter(|row| &row[9] == "1");
        let marked_s: Vec<f64> = marked.map(|row| row[0].parse().unwrap()).collect();
        assert_eq!(marked_s.len(), 2);
        assert!(marked_s.iter().zip(&truth.marks_s).all(|(a, b)| (a - b).abs() < 1e-5), "{marked_s:?}");
    }

    #[test]
    fn the_table_and_the_truth_have_the_outside_form() {
        let mut scenario = Scenario::default();
        (scenario.arm.pass_axes, scenario.arm.strokes_per_pass) = (vec![0], 2);
        let mut bytes = Vec::new();
        let truth = write_table(&scenario, &mut bytes).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        assert_eq!(reader.headers().unwrap().iter().collect::<Vec<_>>().join(","), HEADER);
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let number = |row: &csv::StringRecord, i: usize| row[i].parse::<f64>().ok();
        assert_eq!(number(&rows[0], 0), Some(0.0));
        assert!(rows.windows(2).all(|w| number(&w[1], 0) > number(&w[0], 0)), "strictly increasing");
        assert!(rows.iter().all(|row| (1..4).all(|i| number(row, i).is_some())));
        assert!(rows.iter().enumerate().all(|(i, row)| (4..7).all(|c| number(row, c).is_some() == (i % 8 == 0))));
        let seconds = number(rows.last().unwrap(), 0).unwrap();
        let looks: Vec<_> = rows.iter().filter(|row| number(row, 7).is_some()).collect();
        assert!((looks.len() as f64 - seconds / 0.064).abs() < 2.0);
        // Corrected: before the work the spot reads the panel's own temperature, whatever is mirrored.
        let mean = looks[..40].iter().map(|row| number(row, 7).unwrap()).sum::<f64>() / 40.0;
        assert!((mean - scenario.heat.panel_start_c).abs() < 0.08, "{mean}");
        let (mut sum, mut n) = (0.0, 0.0);
        for row in rows.iter().take_while(|row| number(row, 0) < Some(3.5)) {
            (sum, n) = (sum + number(row, 3).unwrap(), n + 1.0);
        }
        assert!((sum / n - 9.8).abs() < 0.35, "at rest z reads about g: {}", sum / n);

        let mut json = Vec::new();
        truth.write_json(&scenario, &mut json).unwrap();
        let json: serde_json::Value = serde_json::from_slice(&json).unwrap();
        for key in [
            "cfg",
            "seed",
            "motor_on_s",
            "motor_off_s",
            "strokes",
            "passes",
            "orbit",
            "speed",
            "ir",
            "spin",
            "rise_true_c",
        ] {
            assert!(!json[key].is_null(), "{key}");
        }
        assert_eq!(json["cfg"]["panel_start_c"], scenario.heat.panel_start_c);
        let columns =
            [("orbit", "t"), ("orbit", "hz"), ("ir", "t"), ("ir", "true_c"), ("speed", "vx"), ("speed", "vy")];
        let lengths = columns.map(|(a, b)| json[a][b].as_array().unwrap().len());
        assert!(lengths[0] > 100 && lengths.iter().all(|l| *l == lengths[0]), "{lengths:?}");
        for key in ["start_s", "end_s", "traverse_mps", "length_m", "pass_index", "axis"] {
            assert!(json["strokes"][1][key].is_number(), "{key}");
        }
        assert!(json["passes"][0]["start_s"].as_f64() < json["passes"][0]["end_s"].as_f64());
    }
}
