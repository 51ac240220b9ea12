//! Why a calibration could not be made, read or kept, said so that the reader knows what to do.

use std::path::PathBuf;

use super::faces::describe_turned;
use crate::recording::describe_io;

/// Why a calibration could not be made, read or kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrationError {
    /// The operating system refused.
    #[error("cannot {what} {}: {}", path.display(), describe_io(source))]
    Io {
        /// What was tried, a verb.
        what: &'static str,
        /// On which file.
        path: PathBuf,
        /// What it said.
        source: std::io::Error,
    },
    /// Not a calibration.
    #[error("this is no calibration: {problem}")]
    Unreadable {
        /// What is wrong, with its place.
        problem: String,
    },
    /// A file that is not a calibration.
    #[error("{}: {problem}; correct it, or move it away and calibrate anew", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: Box<CalibrationError>,
    },
    /// A figure no working sensor can have.
    #[error(
        "{what} comes out as {value:.3} {unit}, a working sensor stays within ±{limit:.2} {unit}; nothing is kept. \
             Check how it was measured, and the sensor"
    )]
    Implausible {
        /// Which figure.
        what: &'static str,
        /// What came out.
        value: f64,
        /// What is believed.
        limit: f64,
        /// Unit of both.
        unit: &'static str,
    },
    /// The sensor did not rest long enough.
    #[error(
        "the sensor rested for {found_s:.1} s at most, expected {wanted_s:.0} s; lay it on a table, hands off, motor off. In hands it \
         trembles and never rests, though a review calls a machine still whose motor is off"
    )]
    NotStill {
        /// Longest rest, s.
        found_s: f64,
        /// What is needed, s.
        wanted_s: f64,
    },
    /// The sensor did not rest all the time.
    #[error(
        "the sensor moved for {moved_s:.0} of {seconds:.0} s; noise can be told of rest only. Record it lying on a table, hands \
         off, motor off, all the time"
    )]
    Moved {
        /// How long it moved, s.
        moved_s: f64,
        /// Length of the recording, s.
        seconds: f64,
    },
    /// Faces are missing.
    #[error("no pose was found with {} up; each of x, y and z must point up once and down once, at rest for {wanted_s:.0} s \
             (found {found})", missing.join(", "))]
    MissingFaces {
        /// Which.
        missing: Vec<&'static str>,
        /// How many poses there were, in words.
        found: String,
        /// How long each must rest, s.
        wanted_s: f64,
    },
    /// What was up cannot be held against what was told.
    #[error(
        "the faces up were {found}, told {told}: no way of mounting the chip makes these the same. Show each face once, at rest, in the \
             order told, or tell the order in which they were shown; nothing is kept"
    )]
    Order {
        /// The arrows told, in order.
        told: String,
        /// The faces found, in order.
        found: String,
    },
    /// The chip does not sit as its readings are taken to mean.
    #[error("{}", describe_turned(*reads))]
    Turned {
        /// Signed axis, 1 to 3, that the arrows x, y, z read as.
        reads: [i8; 3],
    },
    /// The poses do not determine the figures.
    #[error("the poses contradict each other; repeat them against a square block, at rest for some seconds each")]
    NoFit,
    /// Thermometer looks cannot be used.
    #[error("{0}")]
    Looks(String),
    /// A sheet of field results cannot be read.
    #[error("{0}")]
    Sheet(String),
    /// The place for calibrations is not known.
    #[error("there is no home folder to keep calibrations in; name a folder with --calibration DIR")]
    NoHome,
    /// An id that cannot name a file.
    #[error("`{0}` is no sensor id: expected letters and digits; the recording does not say which sensor it is from")]
    NoSensor(String),
}

impl PartialEq for CalibrationError {
    /// By what they say.
    fn eq(&self, other: &Self) -> bool {
        self.to_string() == other.to_string()
    }
}
