//! The host side of Steadypass: everything between a sensor's byte stream and what a technician sees and keeps.
//!
//! ```text
//! link ──► recording (raw messages, first, always) ──► analysis ──► guidance ──► tables, drawing, report
//! ```
//!
//! Nothing in this library prints or exits; the binary's `commands` do. `analysis` and `guidance` are pure: no clock, no
//! port, no file. Live and review feed them the same messages, so they cannot disagree.

pub mod analysis;
pub mod calibration;
pub mod compare;
mod csv_lines;
pub mod drawing;
pub mod exposure;
pub mod guidance;
pub mod link;
pub mod live;
pub mod name;
pub mod recording;
pub mod replaced;
pub mod replay;
pub mod report;
pub mod results;
pub mod reviewed;
mod sensor_clock;
pub mod session;
pub mod shop;
pub mod simulation;
pub mod tables;
pub mod unfinished;
