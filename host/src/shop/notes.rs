//! Notes: what was typed about a vehicle, a session or a section, and what was marked in a recording while it was made.
//!
//! A recorded note belongs to its recording and comes again with every filing of it; a typed one exists nowhere else.

use rusqlite::params;

use super::checked::{checked_day, checked_panel};
use super::{Id, NewSession, Result, Shop, ShopError};

/// Longest note, characters.
const MOST_CHARS: usize = 4000;

/// A note that was marked in a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct NewNote {
    /// When, s since the recording's start.
    pub t_s: f64,
    /// Number of the section it fell into, where it fell into one.
    pub section: Option<u32>,
    /// What.
    pub text: String,
}

/// A note.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Note {
    /// When, `YYYY-MM-DD`.
    pub day: String,
    /// On which session.
    pub session: Option<Id>,
    /// On which of its sections, by number.
    pub section: Option<u32>,
    /// On which vehicle.
    pub vehicle: Option<Id>,
    /// Where on it.
    pub panel: String,
    /// What.
    pub text: String,
    /// Seconds since the recording's start, for one that was marked in it; `None` for a typed one.
    pub recorded_s: Option<f64>,
}

impl Shop {
    /// Writes a typed note down.
    ///
    /// # Errors
    /// [`ShopError::OutOfRange`] for an empty or endless text, or a section without a session; [`ShopError::Value`] for a session that
    /// is not there.
    pub fn add_note(&self, note: &Note) -> Result<Id> {
        checked_day(&note.day)?;
        let text = note.text.trim();
        let length = text.chars().count();
        if length == 0 || length > MOST_CHARS {
            return Err(ShopError::OutOfRange(format!("the note has {length} characters: expected 1 to {MOST_CHARS}")));
        }
        if text.contains(|c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
            return Err(ShopError::OutOfRange("the note holds control characters; write it as plain text".into()));
        }
        let panel = checked_panel(&note.panel)?;
        match (note.session, note.section) {
            (None, Some(section)) => {
                return Err(ShopError::OutOfRange(format!("section {section} of which session? Give its number too")));
            }
            (Some(session), section) => self.checked_session(session, section)?,
            (None, None) => {}
        }
        self.db.execute(
            "INSERT INTO notes (day, session_id, section, vehicle_id, panel, text) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![note.day, note.session, note.section, note.vehicle, panel, text],
        )?;
        Ok(self.db.last_insert_rowid())
    }

    /// Notes in the order of their days, those of a recording in its order.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn notes(&self) -> Result<Vec<Note>> {
        Ok(self.notes_where("true")?.into_iter().map(|(_, note)| note).collect())
    }

    /// Typed notes with their rows, in the order of their days.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn typed_notes(&self) -> Result<Vec<(Id, Note)>> {
        self.notes_where("recorded = 0")
    }

    fn notes_where(&self, condition: &str) -> Result<Vec<(Id, Note)>> {
        self.rows(
            &format!(
                "SELECT day, session_id, section, vehicle_id, panel, text, t_s, id FROM notes WHERE {condition}
                 ORDER BY day, session_id, t_s, id"
            ),
            |row| {
                let note = Note {
                    day: row.get(0)?,
                    session: row.get(1)?,
                    section: row.get(2)?,
                    vehicle: row.get(3)?,
                    panel: row.get(4)?,
                    text: row.get(5)?,
                    recorded_s: row.get(6)?,
                };
                Ok((row.get(7)?, note))
            },
        )
    }

    /// Puts the notes of a recording in the place of those of its last filing.
    pub(super) fn replace_recorded_notes(&self, session: Id, new: &NewSession) -> Result<()> {
        self.db.execute("DELETE FROM notes WHERE session_id = ?1 AND recorded = 1", [session])?;
        for note in &new.notes {
            let plain = |c: &char| !c.is_control() || matches!(c, '\n' | '\r' | '\t');
            let text: String = note.text.trim().chars().filter(plain).take(MOST_CHARS).collect();
            if text.is_empty() {
                continue;
            }
            // Vehicle and panel are the session's: told once, kept once.
            self.db
                .prepare_cached(
                    "INSERT INTO notes (day, session_id, section, text, t_s, recorded) VALUES (?1, ?2, ?3, ?4, ?5, 1)",
                )?
                .execute(params![new.day, session, note.section, text, note.t_s])?;
        }
        Ok(())
    }

    /// Refuses a session that is not filed, or a section that it does not have.
    pub(super) fn checked_session(&self, session: Id, section: Option<u32>) -> Result<()> {
        let there: i64 =
            self.db.query_row("SELECT count(*) FROM sessions WHERE id = ?1", [session], |row| row.get(0))?;
        if there == 0 {
            return Err(ShopError::Value(format!(
                "there is no session {session}; `steadypass shop status --all` lists them"
            )));
        }
        let Some(section) = section else { return Ok(()) };
        let (all, this): (i64, i64) = self.db.query_row(
            "SELECT count(*), count(*) FILTER (WHERE number = ?2) FROM sections WHERE session_id = ?1",
            params![session, section],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        if this == 0 {
            return Err(ShopError::Value(format!("session {session} has no section {section}; it has {all}")));
        }
        Ok(())
    }
}
