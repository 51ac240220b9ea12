//! Sessions and their figures out of the store, and what is said about one that is filed.

use rusqlite::params;

use super::{FiledPrint, PRINT_CELLS, PassFigures, Print, Session};
use crate::shop::{Id, Result, Shop};

pub(super) const SESSION_COLUMNS: &str = "id, recording, started, day, technician_id, machine_id, vehicle_id, pad_id, liquid_id, panel, \
     trainer, source, seconds, running_s, lost, pace_lo_mps, pace_hi_mps, heat_limit_k, part";

/// What [`pass_of`] reads, and from where.
const PASS_COLUMNS: &str =
    "p.id, p.section_id, s.number, s.session_id, p.end_s - p.start_s, p.arm_speed_mps, p.arm_speed_cv,
     p.in_band_share, 1.0 - p.orbit_median_opm / nullif(p.orbit_free_opm, 0.0), p.surface_rise_k, p.rubbing_cv,
     p.pause_s, p.surface_peak_c, p.rubbing_mean_m, p.strokes, p.warnings, p.seconds_over_limit, p.start_s,
     p.arm_speed_lo_mps, p.arm_speed_hi_mps
     FROM passes p JOIN sections s ON s.id = p.section_id";

fn pass_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<PassFigures> {
    Ok(PassFigures {
        id: row.get(0)?,
        section: row.get(1)?,
        section_number: row.get(2)?,
        session: row.get(3)?,
        duration_s: row.get(4)?,
        arm_speed_mps: row.get(5)?,
        arm_speed_90_mps: row.get::<_, Option<f64>>(18)?.zip(row.get(19)?),
        arm_speed_cv: row.get(6)?,
        in_band_share: row.get(7)?,
        orbit_droop: row.get(8)?,
        surface_rise_k: row.get(9)?,
        rubbing_cv: row.get(10)?,
        pause_s: row.get(11)?,
        surface_peak_c: row.get(12)?,
        rubbing_mean_m: row.get(13)?,
        strokes: row.get(14)?,
        warnings: row.get(15)?,
        seconds_over_limit: row.get(16)?,
        start_s: row.get(17)?,
    })
}

pub(super) fn session_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Session> {
    Ok(Session {
        id: row.get(0)?,
        recording: row.get(1)?,
        started: row.get(2)?,
        day: row.get(3)?,
        technician: row.get(4)?,
        machine: row.get(5)?,
        vehicle: row.get(6)?,
        pad: row.get(7)?,
        liquid: row.get(8)?,
        panel: row.get(9)?,
        trainer: row.get(10)?,
        source: row.get(11)?,
        seconds: row.get(12)?,
        running_s: row.get(13)?,
        lost: row.get(14)?,
        pace_mps: (row.get(15)?, row.get(16)?),
        heat_limit_k: row.get(17)?,
        part: row.get(18)?,
    })
}

impl Shop {
    /// Gives a session to another technician, for good: later filings of its recording keep it so.
    ///
    /// # Errors
    /// When there is no such session.
    pub fn assign(&self, session: Id, technician: Id) -> Result<()> {
        self.checked_session(session, None)?;
        self.db.execute("UPDATE sessions SET technician_id = ?2 WHERE id = ?1", params![session, technician])?;
        Ok(())
    }

    /// Marks a session as the trainer's, or not.
    ///
    /// # Errors
    /// When there is no such session.
    pub fn set_trainer(&self, session: Id, trainer: bool) -> Result<()> {
        self.checked_session(session, None)?;
        self.db.execute("UPDATE sessions SET trainer = ?2 WHERE id = ?1", params![session, trainer])?;
        Ok(())
    }

    /// All sessions, by start.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn sessions(&self) -> Result<Vec<Session>> {
        self.rows(&format!("SELECT {SESSION_COLUMNS} FROM sessions ORDER BY unixepoch(started), id"), session_of)
    }

    /// The figures of all passes, in order of session, section and pass.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn pass_figures(&self) -> Result<Vec<PassFigures>> {
        self.rows(&format!("SELECT {PASS_COLUMNS} ORDER BY p.id"), pass_of)
    }

    /// The figures of a session's passes, in order of work.
    pub(in crate::shop) fn pass_figures_of_session(&self, session: Id) -> Result<Vec<PassFigures>> {
        let mut query =
            self.db.prepare_cached(&format!("SELECT {PASS_COLUMNS} WHERE s.session_id = ?1 ORDER BY p.id"))?;
        let rows = query.query_map([session], pass_of)?;
        Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
    }

    /// The figures of a day's passes, in order of work.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn pass_figures_of_day(&self, day: &str) -> Result<Vec<PassFigures>> {
        let mut query = self.db.prepare_cached(&format!(
            "SELECT {PASS_COLUMNS} JOIN sessions e ON e.id = s.session_id WHERE e.day = ?1 ORDER BY unixepoch(e.started), e.id, p.id"
        ))?;
        let rows = query.query_map([day], pass_of)?;
        Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
    }

    /// The prints of a session's passes (`session`), or of a technician's newest `most` passes.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn prints(&self, of: PrintsOf, most: usize) -> Result<Vec<FiledPrint>> {
        let (column, id) = match of {
            PrintsOf::Session(id) => ("e.id", id),
            PrintsOf::Technician(id) => ("e.technician_id", id),
        };
        let sql = format!(
            "SELECT p.id, t.stroke_mps, t.rise_k, t.rubbing, e.pace_lo_mps, e.pace_hi_mps, e.heat_limit_k FROM prints t JOIN passes p ON p.id = t.pass_id
             JOIN sections s ON s.id = p.section_id JOIN sessions e ON e.id = s.session_id
             WHERE {column} = ?1 ORDER BY unixepoch(e.started) DESC, p.id DESC LIMIT ?2"
        );
        let mut query = self.db.prepare_cached(&sql)?;
        let rows = query.query_map(params![id, most as i64], |row| {
            let (strokes, rise): (String, String) = (row.get(1)?, row.get(2)?);
            // Our own JSON; what cannot be read is shown as not known.
            let print = Print {
                stroke_mps: serde_json::from_str(&strokes).unwrap_or_default(),
                rise_k: serde_json::from_str(&rise).unwrap_or_default(),
                rubbing: row.get::<_, Option<Vec<u8>>>(3)?.filter(|cells| cells.len() == PRINT_CELLS * PRINT_CELLS),
            };
            Ok(FiledPrint { pass: row.get(0)?, print, pace_mps: (row.get(4)?, row.get(5)?), heat_limit_k: row.get(6)? })
        })?;
        let mut prints = rows.collect::<rusqlite::Result<Vec<_>>>()?;
        prints.reverse();
        Ok(prints)
    }
}

/// Whose prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PrintsOf {
    /// One session's.
    Session(Id),
    /// All of a technician's.
    Technician(Id),
}
