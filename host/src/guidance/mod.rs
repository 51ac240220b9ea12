//! What to tell the technician, from the plan and what the analysis has found.
//!
//! # Data flow
//!
//! ```text
//! plan (TOML) ─► Plan ─┬─► analysis::Setup
//!                      └─► Guidance ◄── LiveTick, 10 per second
//!                              ├─► Warning, when one begins: recorded, sounded, listed
//!                              └─► Advice: the one sentence for the live view, the pattern for the sensor's light
//! ```
//!
//! Pure: time comes with the ticks, so live and review give the same warnings for the same bytes. Only [`Plan::load`]
//! touches a file.
//!
//! # Caution
//!
//! These are aids for work with a rotating tool on hot paint, not safety instruments. No warning does not mean safe.

pub mod advice;
mod latch;
mod limits;
pub mod plan;
pub mod units;
pub mod warning;
pub mod watch;

pub use advice::{Advice, Guidance};
pub use plan::{Band, MachineProfile, Plan, PlanError};
pub use units::Units;
pub use warning::{Warning, WarningKind};
pub use watch::Watch;
