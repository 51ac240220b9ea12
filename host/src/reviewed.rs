//! Which recording a review is of: one row beside its tables, so that another recording's review in the same folder is known for one.

use std::{fs::File, path::Path};

use serde::{Deserialize, Serialize};

use crate::{
    recording::Facts,
    results::ORIGIN,
    tables::{guarded, unguarded},
};

/// Its columns, in order.
pub const COLUMNS: [&str; 4] = ["recording", "started", "sensor", "fingerprint"];

/// The row of `reviewed.csv`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reviewed {
    /// Name of its file, without folders.
    pub recording: String,
    /// When it was begun, RFC 3339; empty where not known.
    pub started: String,
    /// The sensor's id; empty for a table.
    pub sensor: String,
    /// Size and checksum of its bytes.
    pub fingerprint: String,
}

impl Reviewed {
    /// Of a recording with these facts and this fingerprint.
    pub fn new(recording: &Path, facts: &Facts, fingerprint: String) -> Self {
        let name = recording.file_name().unwrap_or_default().to_string_lossy();
        Self {
            recording: guarded(&name),
            started: guarded(&facts.started),
            sensor: guarded(&facts.sensor),
            fingerprint,
        }
    }

    /// Of the review in a folder; `None` where there is none, or none that says.
    pub fn in_folder(folder: &Path) -> Option<Self> {
        let file = File::open(folder.join(ORIGIN)).ok()?;
        csv::Reader::from_reader(file).deserialize().next()?.ok()
    }

    /// Whether the other is of the same recording: the same bytes, or the same sensor and start, for one that was reviewed
    /// unfinished (`.part`) has other bytes when finished.
    pub fn is_same(&self, other: &Self) -> bool {
        let told = !self.sensor.is_empty() && !self.started.is_empty();
        self.fingerprint == other.fingerprint
            || (told && (&self.sensor, &self.started) == (&other.sensor, &other.started))
    }

    /// The recording in words.
    pub fn words(&self) -> String {
        let name = unguarded(&self.recording);
        if self.started.is_empty() { name.to_owned() } else { format!("{name}, begun {}", unguarded(&self.started)) }
    }

    /// The table.
    ///
    /// # Errors
    /// Never in practice: it is written into memory.
    pub fn csv(&self) -> csv::Result<Vec<u8>> {
        let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        csv.serialize(self)?;
        csv.into_inner().map_err(|e| e.into_error().into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recording_is_known_by_its_bytes_or_by_sensor_and_start() {
        let of = |started: &str, sensor: &str, print: &str| {
            let facts = Facts { started: started.into(), sensor: sensor.into(), ..Facts::default() };
            Reviewed::new(Path::new("a/door.mcap"), &facts, print.into())
        };
        let nine = of("2026-03-02T09:00:00+01:00", "5eed", "12-ab");
        for (other, same) in [
            (of("2026-03-02T09:00:00+01:00", "5eed", "99-cd"), true),
            (of("", "", "12-ab"), true),
            (of("2026-03-02T10:00:00+01:00", "5eed", "99-cd"), false),
            (of("2026-03-02T09:00:00+01:00", "", "99-cd"), false),
        ] {
            assert_eq!(nine.is_same(&other), same, "{other:?}");
        }
        assert!(!of("", "", "1-a").is_same(&of("", "", "2-b")), "two tables are two");
        assert_eq!(nine.words(), "door.mcap, begun 2026-03-02T09:00:00+01:00");
    }

    #[test]
    fn what_a_folder_says_is_what_was_written() {
        let folder = tempfile::tempdir().expect("a folder");
        assert_eq!(Reviewed::in_folder(folder.path()), None);
        let facts = Facts { sensor: "5eed".into(), ..Facts::default() };
        let odd = Reviewed::new(Path::new("=1,\"2\".mcap"), &facts, "1-a".into());
        std::fs::write(folder.path().join(ORIGIN), odd.csv().expect("written")).expect("written");
        assert_eq!(Reviewed::in_folder(folder.path()), Some(odd.clone()));
        let table = String::from_utf8(odd.csv().expect("written")).expect("text");
        assert_eq!(table.lines().next(), Some(COLUMNS.join(",").as_str()));
        assert_eq!(odd.words(), "=1,\"2\".mcap");
        std::fs::write(folder.path().join(ORIGIN), "my own\n1\n").expect("written");
        assert_eq!(Reviewed::in_folder(folder.path()), None);
    }
}
