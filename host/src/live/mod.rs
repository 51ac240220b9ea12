//! Guidance while working, for someone with both hands on the machine and the eyes on the paint.
//!
//! # Data flow
//!
//! ```text
//! session events, link notes, user notes ─► Model ─► View ─┬─► terminal (levels, sentence, section)
//!                                                          ├─► page    (the same, in a browser)
//!                                                          └─► Cue     ─► sound
//! keys, page's buttons ─► Ask ─► the recorder, which stores it and feeds it back as a note
//! ```
//!
//! The model is pure: it knows neither clock nor screen. What is shown is stamped with the moment it was heard, so that every
//! viewer can tell how old it is ([`Shown::age`]); old figures are marked as such, never shown as if they were now.
//!
//! # Terms
//!
//! *level*: a bubble between two marks, see [`level`]; *sentence*: the one thing to do now; *cue*: a tone; *beat*: a quiet tick
//! for each unit of travel at the pace to keep.

mod board;
pub mod cover;
pub mod drill;
pub mod earlier;
pub mod level;
pub mod model;
pub mod page;
pub mod sound;
pub mod terminal;
pub mod view;

pub use board::{Ask, Board, Link, Shown};
pub use level::{Bubble, Level, Levels, Quantity, Zone};
pub use model::Model;
pub use view::{Cue, PassRow, Urgency, View};
