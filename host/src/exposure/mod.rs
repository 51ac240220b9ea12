//! Hand-arm vibration of a technician's day: how much, against the action and limit values.
//!
//! # Data flow
//!
//! ```text
//! recordings ─► Collector (time the motor ran, weighted energy) ─┐
//! values typed in (--declared) ──────────────────────────────────┴─► Day ─► Dose ─► table, CSV, drawing
//! ```
//!
//! # Terms
//!
//! a_hv: vibration total value, m/s², root of the sum over three axes of the squared weighted rms. A(8): the steady a_hv that
//! would give the same in an eight-hour day. Points: 100 at the action value, 400 at the limit value; points add.
//!
//! # What these figures are
//!
//! A screening figure. The sensor sits on the housing, not where a hand grips; it is no instrument of ISO 8041-1, and is not
//! calibrated as one. Every output says so, and none says "safe". Local law, a competent person's measurement and medical
//! advice come first.

mod collect;
mod day;
mod declared;
mod dose;
mod finding;
mod recorded;

pub use collect::{Collector, Running};
pub use day::{Day, Source, Step, days};
pub use declared::{Declared, DeclaredError};
pub use dose::{Basis, Contribution, Dose, Hand, Limits, Range, a8_of_points, hours_to, points};

pub use recorded::Exposure;

/// The sentence on every output.
pub const NOTICE: &str = "Screening figure, not an ISO 8041-1 measurement";

/// What a reader must know before using the figures; one thought each.
pub const CAUTIONS: [&str; 5] = [
    "Only what was recorded or declared counts here: other work of that day, with this tool or another, comes on top.",
    "The sensor sits on the housing. What reaches the hand depends on grip and handle, and can be more or less.",
    "Different monitoring devices have been found to differ by up to 20 % on one task (UK health and safety executive); \
     measured values carry that range here, and it does not cover the place of the sensor.",
    "Declared values often understate use; without a stated uncertainty 40 % is added to their upper bound.",
    "Numbness, tingling or white fingers: stop and see a doctor, whatever the figure says. Local law and a competent \
     person's measurement come first.",
];
