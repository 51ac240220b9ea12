//! The scenario as a sensor table, for accuracy work and for trying out other programs.

use std::io::Write;

use super::scenario::{Scenario, ScenarioError};
use super::thermometer::{celsius_of, surface_c};
use super::truth::Truth;
use super::world::{World, in_units};

/// Why a table could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// A parameter is outside its range.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The destination refused.
    #[error("writing the sensor table failed")]
    Write(#[from] std::io::Error),
}

/// Header of the table.
pub const HEADER: &str =
    "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c";

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
    writeln!(out, "{HEADER}")?;
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
            writeln!(out, "{:.2},{ambient_c:.2}", surface_c(celsius_of(object), ambient_c, emissivity))?;
        } else {
            writeln!(out, ",")?;
        }
    }
    out.flush()?;
    Ok(world.into_truth())
}
