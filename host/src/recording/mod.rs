//! Recordings: what came over the wire, kept as it came, in an open container (MCAP) that other tools read.
//!
//! # Data flow
//!
//! ```text
//! link, import ─► RecordingWriter ─► NAME.mcap.part ─(finished)─► NAME.mcap
//!                                                                   │
//!                            Reader (entries, damage counted) ◄─────┘
//!                              └─► Timeline ─► analysis::Reading
//! ```
//!
//! * Raw data is stored before anything is derived from it: a frame is written with the checksum the sensor gave it.
//! * A killed process loses what came after the last flush (one every [`FLUSH_EVERY`]), a second at most; a cut file opens and
//!   says so.
//! * A damaged byte loses the chunk it hits and no other; the reader finds the next one, and says what is missing.
//! * Memory does not depend on the length of a recording, in either direction.
//!
//! # Channels
//!
//! | topic | message |
//! | --- | --- |
//! | `sensor` | one wire frame without its zeros (see `steadypass-protocol`), `log_time` is the host's clock |
//! | `table` | one [`TableEntry`] in postcard form, from an imported table |
//! | `link` | one [`LinkNote`] in JSON: what happened on the cable |
//! | `note` | one [`UserNote`] in JSON: what the user did or wrote |
//!
//! Session facts ([`Facts`]) are a metadata record at the start; a [`Closing`] one stands at the end of a finished file. The sensor's
//! first introduction, without which its counts cannot be read, is also a metadata record (its frame, hexadecimal), so that the
//! loss of the chunk that holds it costs no more than that chunk.

mod ahead;
mod entry;
mod error;
mod facts;
mod read;
mod remarks;
mod start;
mod table;
#[cfg(test)]
mod tests;
mod timeline;
mod write;

pub use entry::{Body, Entry, LinkNote, TableEntry, TableRun, UserNote};
pub use error::describe_io;
pub use error::{Error, Result};
pub use facts::{Closing, Facts, Source};
pub use read::{Damage, Reader};
pub use start::{moment_at, start_of, start_text};
pub use table::{ImportSummary, Largest, import_table};
pub use timeline::{Losses, Timeline};
pub use write::{FLUSH_EVERY, RecordingWriter, part_path};

/// What the container calls files of ours.
const PROFILE: &str = "steadypass";
const TOPIC_SENSOR: &str = "sensor";
const TOPIC_TABLE: &str = "table";
const TOPIC_LINK: &str = "link";
const TOPIC_NOTE: &str = "note";
const METADATA_SESSION: &str = "steadypass.session";
const METADATA_INTRODUCTION: &str = "steadypass.introduction";
const METADATA_CLOSING: &str = "steadypass.closing";
/// What the introduction's record calls the frame.
const INTRODUCTION_FRAME: &str = "frame";
