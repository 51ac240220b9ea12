//! From a recording to a filed session: the figures of a review, with what the user adds.
//!
//! ```text
//! Event (from live or review) ─► figures, print ─► Figures ─┐
//! Facts, About (who, what with, on what) ─► told ───────────┴─► filing: NewSession ─► Shop::file
//!                                            the session before and after, where it was filed already ─► again: Replaced
//!                                            another recording's session at the same time ─► overlap: a caution
//! recordings of the sessions that are filed already ─► rebuild ─► the same once more
//! ```

mod again;
mod figures;
mod filing;
mod overlap;
mod print;
mod rebuild;
mod told;

pub use again::Replaced;
pub use figures::{Figures, rubbing};
pub use filing::{Filing, fingerprint};
pub use rebuild::Rebuilt;

/// What the user adds to what the recording says. `None` leaves what the recording, or an earlier filing, says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Who worked.
    pub technician: Option<String>,
    /// With which machine.
    pub machine: Option<String>,
    /// On which vehicle.
    pub vehicle: Option<String>,
    /// With which pad.
    pub pad: Option<String>,
    /// With which liquid.
    pub liquid: Option<String>,
    /// On which panel.
    pub panel: Option<String>,
    /// Whether this is the trainer's session.
    pub trainer: bool,
}
