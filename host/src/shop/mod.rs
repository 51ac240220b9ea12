//! The shop's memory: who, what with, on what paint, what came of it. A shop that writes down what worked on which paint never
//! starts from ten pads again.
//!
//! # Data flow
//!
//! ```text
//! recordings ─► review ─► fill ─┐                        ┌─► compare, trial, thickness, report, day
//! hand-typed names, trials, film ┴─► Shop (one SQLite file) ┴─► export (CSV, JSON), backup
//! ```
//!
//! # Terms
//!
//! * *session*: one recording as filed here; *section* and *pass* as in the analysis.
//! * *vehicle*: a description of paint (kind, year, colour, hardness so far). An owner's name is optional and never exported.
//! * *product*: a pad or a liquid, with the shop's own order of aggressiveness, 1 = mildest.
//!
//! Raw data stays in the recordings. Everything derived from them can be computed again (`shop rebuild`); only what somebody
//! typed exists nowhere else, and that is what backups are for.

mod as_filed;
mod checked;
pub mod demo;
mod error;
mod exchange;
pub mod fill;
pub mod film;
pub mod ledger;
mod listed;
mod map;
mod names;
mod notes;
mod panels;
pub mod papers;
pub mod points;
mod remove;
mod rename;
mod section_place;
mod sessions;
mod store;
mod tables;
#[cfg(test)]
mod tests;
pub mod trial;
mod work;

pub use checked::day_of;
pub use error::{Result, ShopError};
pub use listed::Listed;
pub use map::{MAP_CELLS, SectionMap};
pub use names::{Id, Known, MachineEntry, Product, ProductKind, Technician, Vehicle};
pub use notes::{NewNote, Note};
pub use remove::TriesOf;
pub use rename::{NO_VEHICLE, Uses};
pub use section_place::SectionPlace;
pub use sessions::{
    Filed, FiledPrint, NewPass, NewSection, NewSession, PRINT_CELLS, PassFigures, Print, PrintsOf, Session,
};
pub use store::{Health, STORE, Setting, Shop};
pub use tables::Imported;
pub use work::{FilmReading, Phase, Place, Trial};
