//! The cable: finding the sensor's port, making its acquaintance, keeping it streaming, surviving its being unplugged.
//!
//! # Data flow
//!
//! ```text
//! serial port ─► FrameReader ─► LinkEvent ─► (recorder first, then analysis)
//!      ▲                            commands (indicator patterns, stop)
//!      └── pings twice a second ◄────────┘
//! ```
//!
//! A frame is handed on as it came, checksum and all; nothing is interpreted here but what the link itself needs:
//! introductions, pongs and replies. An unplugged sensor does not end a recording: the same sensor resumes it with a gap,
//! another one is refused. `command` sets and restarts a sensor that is not streaming.

mod clock;
mod command;
mod error;
mod event;
mod heard;
mod introduction;
mod ports;
mod round_trips;
mod session;
#[cfg(test)]
mod tests;
mod waiting;

pub use clock::{moment_of, now_ns};
pub use command::accel_range_g;
pub use error::LinkError;
pub use event::{LinkEvent, LinkReport};
pub use introduction::BAUD;
pub use ports::{Port, find_port, list_ports};
pub use session::Link;
