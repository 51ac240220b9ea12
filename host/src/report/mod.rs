//! The review as one page: what a technician opens, prints, or sends to a phone.
//!
//! ```text
//! pass by pass: SheetInput, PNG ─► PassSheets (words and figures only)
//! ReviewPage (recordings with their sheets, warnings, losses, remarks) ─► index_html ─► one file, no scripts, no outside requests
//! ```
//!
//! Sheets are carried inside the page while all of them together stay under [`EMBED_LIMIT_BYTES`]; beyond that the page links
//! the PNG files beside it. Text from users is escaped. Light and dark follow the reader's choice; the sheets stay paper.

mod foreign;
mod long_day;
mod page;
mod passes;
mod quick_work;
mod slow_looks;
mod told_length;
mod unusable_looks;

pub use page::index_html;
pub use passes::PassSheets;
pub use quick_work::quick_work;
pub use slow_looks::{fell_silent, slow_looks};
pub use told_length::told_length;
pub use unusable_looks::unusable_looks;

use std::sync::Arc;

use crate::drawing::SessionFacts;
use crate::guidance::Warning;
use crate::recording::{Damage, Losses};
use crate::session::Rates;

/// Largest sum of PNG sizes that is carried inside the page. A sheet is about 0.2 MB, so this is some sixty passes; a page of
/// 16 MB still opens at once on a phone.
pub const EMBED_LIMIT_BYTES: usize = 12_000_000;

/// One recording of the review.
#[derive(Clone, Debug)]
pub struct RecordingPart<'a> {
    /// Its file name.
    pub name: &'a str,
    /// Who, with what, when.
    pub session: &'a SessionFacts,
    /// Length, s.
    pub seconds: f64,
    /// Its passes, in order.
    pub passes: &'a PassSheets,
    /// Every warning, also outside the passes.
    pub warnings: &'a [Warning],
    /// What was written down while recording: when, s since the first sample, and what.
    pub notes: &'a [(f64, Arc<str>)],
    /// What the stream says is missing.
    pub losses: Losses,
    /// Samples a second.
    pub rates: Rates,
    /// What was wrong with the file.
    pub damage: Damage,
    /// Whether it holds turn rates; without them there are no passes.
    pub has_gyro: bool,
    /// Whether it was imported from a table of another logger.
    pub is_table: bool,
    /// What else the reader must know: missing columns, quantities that could not be estimated.
    pub remarks: &'a [String],
}

/// A whole review.
#[derive(Clone, Debug)]
pub struct ReviewPage<'a> {
    /// The recordings.
    pub recordings: &'a [RecordingPart<'a>],
    /// Names of the tables written beside the page.
    pub files: &'a [&'a str],
    /// Version of this program.
    pub version: &'a str,
}
