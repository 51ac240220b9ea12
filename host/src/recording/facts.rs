//! Session facts: who, what with, on what, under which plan. Kept inside the recording as a metadata record.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::calibration::{Calibration, CalibrationError};

/// Where the data came from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// A sensor on a serial port.
    #[default]
    Sensor,
    /// A table of another logger.
    Table,
    /// The virtual sensor: invented data.
    Simulation,
}

/// Facts known when a recording starts. Empty text means "not told".
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Facts {
    /// Who worked.
    pub technician: String,
    /// The machine, in the shop's words.
    pub machine: String,
    /// The panel or car part.
    pub panel: String,
    /// The plan in force, as TOML.
    pub plan: String,
    /// The sensor's calibration in force, as TOML; empty when there was none.
    pub calibration: String,
    /// Where the data came from.
    pub source: Source,
    /// Name of the file or port it came from.
    pub origin: String,
    /// The sensor's id, hexadecimal.
    pub sensor: String,
    /// The sensor's firmware version.
    pub firmware: String,
    /// Version of this program.
    pub program: String,
    /// Start, RFC 3339 with the zone of the shop.
    pub started: String,
}

impl Facts {
    /// How the machine's words end where they are not told but assumed: a plan is recorded complete and does not say so.
    pub const ASSUMED: &str = " assumed";

    /// Whether the machine was told; else what the plan says of it was only assumed.
    #[must_use]
    pub fn machine_told(&self) -> bool {
        !self.machine.trim_end_matches(')').ends_with(Self::ASSUMED)
    }

    /// Whether it came from a table, an invented one included, and not from a sensor, which always has an id.
    #[must_use]
    pub fn is_table(&self) -> bool {
        self.source == Source::Table || (self.source == Source::Simulation && self.sensor.is_empty())
    }

    /// The calibration that was in force, `None` when there was none.
    ///
    /// # Errors
    /// When it cannot be read: readings would silently be others than those that were shown live.
    pub fn sensor_calibration(&self) -> std::result::Result<Option<Calibration>, CalibrationError> {
        (!self.calibration.is_empty()).then(|| Calibration::from_toml(&self.calibration)).transpose()
    }
}

/// Facts known when a recording was closed properly.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Closing {
    /// Messages written.
    pub messages: u64,
    /// Frames that came damaged and were not stored.
    pub bad_frames: u64,
    /// Why it ended, in words.
    pub reason: String,
    /// What whoever reviews it must know of the table it came from, a sentence a line ([`ImportSummary::remarks`]).
    ///
    /// [`ImportSummary::remarks`]: super::ImportSummary::remarks
    pub remarks: String,
    /// Samples of the table that stand at the end of its logger's range: the vibration was stronger than they tell.
    pub cut_off_samples: u64,
}

impl Closing {
    /// The remarks, with nothing in them that a terminal would obey: a file comes from anywhere.
    pub fn remarks(&self) -> Vec<String> {
        const MOST: usize = 20;
        let plain = |c: char| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c };
        self.remarks.lines().take(MOST).map(|line| line.chars().map(plain).collect()).collect()
    }
}

/// Flat text map, the form that MCAP metadata has.
pub(super) fn to_map<T: Serialize>(facts: &T) -> BTreeMap<String, String> {
    let Ok(serde_json::Value::Object(fields)) = serde_json::to_value(facts) else { return BTreeMap::new() };
    fields
        .into_iter()
        .map(|(key, value)| match value {
            serde_json::Value::String(text) => (key, text),
            other => (key, other.to_string()),
        })
        .collect()
}

/// The reverse of [`to_map`]; what cannot be read keeps its default, unknown keys are ignored.
pub(super) fn from_map<T: Default + for<'de> Deserialize<'de> + Serialize>(map: &BTreeMap<String, String>) -> T {
    let mut known = T::default();
    let Ok(serde_json::Value::Object(mut fields)) = serde_json::to_value(&known) else { return known };
    let keys: Vec<String> = fields.keys().filter(|key| map.contains_key(*key)).cloned().collect();
    for key in keys {
        let (text, default) = (&map[&key], fields[&key].clone());
        let value = match (default.is_number(), text.parse::<u64>()) {
            (true, Ok(number)) => number.into(),
            (true, Err(_)) => continue,
            (false, _) => serde_json::Value::String(text.clone()),
        };
        fields.insert(key.clone(), value);
        // One word of a newer program must not take all else with it.
        match serde_json::from_value(serde_json::Value::Object(fields.clone())) {
            Ok(read) => known = read,
            Err(_) => drop(fields.insert(key, default)),
        }
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn facts_survive_the_metadata_map() {
        let facts = Facts {
            technician: "Robin \"R\" =1+1".into(),
            source: Source::Simulation,
            plan: "a = 1\n[b]\nc = \"ü\"".into(),
            ..Facts::default()
        };
        assert_eq!(from_map::<Facts>(&to_map(&facts)), facts);
        let closing = Closing {
            messages: 7,
            bad_frames: 2,
            reason: "stopped".into(),
            remarks: "One.\nTwo.".into(),
            cut_off_samples: 3,
        };
        assert_eq!(from_map::<Closing>(&to_map(&closing)), closing);
    }

    #[test]
    fn remarks_of_a_recording_are_plain_text() {
        let closing =
            Closing { remarks: format!("One.\n\u{1b}[31mTwo\u{7}{}", "\nx".repeat(100)), ..Closing::default() };
        assert_eq!(closing.remarks()[..3], ["One.", "\u{FFFD}[31mTwo\u{FFFD}", "x"]);
        assert_eq!(closing.remarks().len(), 20);
        assert!(Closing::default().remarks().is_empty());
    }

    #[test]
    fn foreign_or_damaged_values_fall_back() {
        let mut map = to_map(&Closing::default());
        map.insert("messages".into(), "many".into());
        map.insert("from_the_future".into(), "1".into());
        assert_eq!(from_map::<Closing>(&map), Closing::default());
        let facts = Facts { technician: "Robin".into(), calibration: "a = 1".into(), ..Facts::default() };
        let mut map = to_map(&facts);
        map.insert("source".into(), "a-kind-from-the-future".into());
        assert_eq!(from_map::<Facts>(&map), facts);
    }
}
