//! A virtual polisher, panel and sensor: for the demo, for tests, for teaching, and for accuracy tables.
//!
//! # Data flow
//!
//! ```text
//! Scenario ─► World (arm, hand, panel, motor, heat, chips; one sample at a time)
//!               ├─► write_table ─► sensor table (CSV) + Truth (JSON)
//!               └─► VirtualSensor: frames out, commands in (no clock, no port)
//!                     └─► VirtualPort: the same on a pseudo-terminal, paced by the clock
//! ```
//!
//! The physics is stated at the top of each file, one subject per file: `path`, `hold`, `motor`, `sheet`, `thermometer`,
//! `chip`. It is a model: the estimators must not be tuned to it, and figures from it say so. Everything is seeded;
//! equal scenarios give equal bytes, however they are sliced, in constant memory (the truth keeps ten rows a second).

mod chip;
mod device;
mod drawn;
mod hold;
mod minimum_jerk;
mod motor;
mod named;
mod path;
#[cfg(unix)]
mod port;
mod scenario;
mod sheet;
mod table;
mod thermometer;
mod truth;
mod unsteady;
mod world;

pub use device::{Behaviour, SensorOptions, Trouble, VirtualSensor};
pub use drawn::{Kind, Ranges, Span, random};
pub use named::DEMO_SPEED;
#[cfg(unix)]
pub use port::{PortError, VirtualPort};
pub use scenario::{Arm, ChipSpec, Hand, Heat, Motor, Panel, Scenario, ScenarioError, ThermometerSpec};
pub use table::{HEADER, TableError, write_table};
pub use truth::{TrueMoment, TruePass, TrueStroke, Truth};

/// Rows of a table in `data/reference`, by column name.
#[cfg(test)]
fn reference(file: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../data/reference").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    // Source lines above the header start with a hash.
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.deserialize().collect::<Result<_, _>>().unwrap()
}
