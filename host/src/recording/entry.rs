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
    /// A section was marked.
    Mark {
        /// When, µs.
        t_us: f64,
    },
}

impl TableEntry {
    /// Reads what [`postcard::to_allocvec`] and its kin wrote. Runs are most of a recording, and read number by number they
    /// would take longer than some of the analysis: here their samples are taken in one go.
    ///
    /// # Errors
    /// When the bytes are not those of an entry.
    pub(super) fn read(data: &[u8]) -> postcard::Result<Self> {
        // The variant's number, then the run's fields; the samples stand behind their count, 12 bytes each.
        let make = match data.first() {
            Some(0) => Self::Accel,
            Some(1) => Self::Gyro,
            _ => return postcard::from_bytes(data),
        };
        let ((first_us, spacing_us, lost_before, count), rest): ((f64, f64, u32, usize), _) =
            postcard::take_from_bytes(&data[1..])?;
        let (samples, _) = rest.as_chunks::<12>();
        let samples = samples.get(..count).ok_or(postcard::Error::DeserializeUnexpectedEnd)?;
        let sample = |bytes: &[u8; 12]| {
            let (numbers, _) = bytes.as_chunks::<4>();
            [0, 1, 2].map(|axis| f32::from_le_bytes(numbers[axis]))
        };
        Ok(make(TableRun { first_us, spacing_us, lost_before, samples: samples.iter().map(sample).collect() }))
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run() -> impl Strategy<Value = TableRun> {
        let samples = prop::collection::vec(any::<[f32; 3]>(), 0..300);
        (any::<f64>(), any::<f64>(), any::<u32>(), samples).prop_map(|(first_us, spacing_us, lost_before, samples)| {
            TableRun { first_us, spacing_us, lost_before, samples }
        })
    }

    fn entry() -> impl Strategy<Value = TableEntry> {
        let surface = (any::<f64>(), any::<Option<f32>>(), any::<Option<f32>>())
            .prop_map(|(t_us, surface_c, ambient_c)| TableEntry::Surface { t_us, surface_c, ambient_c });
        prop_oneof![
            run().prop_map(TableEntry::Accel),
            run().prop_map(TableEntry::Gyro),
            surface,
            any::<f64>().prop_map(|t_us| TableEntry::Mark { t_us })
        ]
    }

    /// As text, so that what is not a number equals itself.
    fn said(entry: postcard::Result<TableEntry>) -> String {
        entry.map_or_else(|_| "unreadable".to_owned(), |entry| format!("{entry:?}"))
    }

    proptest! {
        #[test]
        fn entries_read_as_the_library_reads_them(entry in entry(), cut in any::<prop::sample::Index>()) {
            let bytes = postcard::to_stdvec(&entry).expect("written");
            prop_assert_eq!(said(TableEntry::read(&bytes)), format!("{entry:?}"));
            let short = &bytes[..cut.index(bytes.len())];
            prop_assert_eq!(said(TableEntry::read(short)), said(postcard::from_bytes(short)));
        }

        #[test]
        fn other_bytes_read_as_the_library_reads_them(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            prop_assert_eq!(said(TableEntry::read(&bytes)), said(postcard::from_bytes(&bytes)));
        }
    }
}
