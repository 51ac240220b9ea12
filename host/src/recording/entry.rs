//! One message of a recording.

use serde::{Deserialize, Serialize};

/// One message, with the host's clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<'a> {
    /// When the host had it, ns since 1970 (UTC).
    pub log_ns: u64,
    /// What it is.
    pub body: Body<'a>,
}

/// What a message is.
#[derive(Clone, Debug, PartialEq)]
pub enum Body<'a> {
    /// A wire frame without its zeros.
    Frame(&'a [u8]),
    /// A piece of an imported table.
    Table(TableEntry),
    /// Something that happened on the cable.
    Link(LinkNote),
    /// Something the user did.
    Note(UserNote),
}

/// A piece of an imported table. Times are µs since the table's first row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum TableEntry {
    /// Specific force, m/s², machine axes.
    Accel(TableRun),
    /// Turn rate, rad/s, machine axes.
    Gyro(TableRun),
    /// One temperature reading; surface already corrected for emissivity.
    Surface {
        /// When, µs.
        t_us: f64,
        /// Surface, °C.
        surface_c: Option<f32>,
        /// Surroundings, °C.
        ambient_c: Option<f32>,
    },
}

/// A run of evenly spaced rows.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TableRun {
    /// Time of the first sample, µs.
    pub first_us: f64,
    /// Time between samples, µs.
    pub spacing_us: f64,
    /// Samples missing before this run, judged by the time step.
    pub lost_before: u32,
    /// x, y, z per sample.
    pub samples: Vec<[f32; 3]>,
}

/// What happened on the cable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum LinkNote {
    /// The port is open and the sensor has introduced itself.
    Connected {
        /// Port name.
        port: String,
        /// The sensor's id, hexadecimal.
        sensor: String,
    },
    /// The port went away or fell silent.
    Lost {
        /// Why, in words.
        reason: String,
    },
    /// The same sensor is back.
    Resumed {
        /// How long it was gone, s.
        gap_s: f64,
    },
    /// Frames that could not be used since the last such note.
    BadFrames {
        /// How many.
        count: u64,
    },
}

/// What the user did.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "did", rename_all = "kebab-case")]
pub enum UserNote {
    /// Started a new section by key or page.
    NewSection,
    /// Wrote something down.
    Text {
        /// What.
        text: String,
    },
    /// Handed the machine to someone else.
    Technician {
        /// To whom.
        name: String,
    },
    /// Asked guidance to be quiet; the recording goes on.
    Paused,
    /// Asked guidance to speak again.
    Resumed,
}
