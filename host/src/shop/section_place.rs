//! Which place a section is: what sheets and comparisons count as one section.

use super::{Id, Session};
use crate::name;

/// The place of a section: its number on a panel of a vehicle, in all recordings of that panel. Where no vehicle or no panel is
/// named, each session's sections are its own.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SectionPlace {
    /// On a panel that is named.
    OnPanel {
        /// The vehicle's row.
        vehicle: Id,
        /// The panel, however it was typed.
        panel: String,
        /// The section's number.
        number: u32,
    },
    /// Somewhere that only its session knows.
    OfSession {
        /// The session's row.
        session: Id,
        /// The section's number.
        number: u32,
    },
}

impl SectionPlace {
    /// Of a session's section, by its number.
    pub fn of(session: &Session, number: u32) -> Self {
        match session.vehicle.filter(|_| !session.panel.is_empty()) {
            Some(vehicle) => Self::OnPanel { vehicle, panel: name::key(&session.panel), number },
            None => Self::OfSession { session: session.id, number },
        }
    }
}
