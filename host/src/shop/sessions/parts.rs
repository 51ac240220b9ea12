//! Which sessions are filed of a recording: one for each technician who held the machine.

use std::collections::BTreeMap;

use rusqlite::{OptionalExtension as _, params};

use super::reading::{SESSION_COLUMNS, session_of};
use super::{NewSession, Session};
use crate::shop::{Id, Result, Shop};

/// The fingerprint of the recording that a session is of: its own, without the number of a later part.
pub(in crate::shop) const RECORDING: &str =
    "CASE part WHEN 1 THEN fingerprint ELSE substr(fingerprint, 1, length(fingerprint) - 1 - length(part)) END";

impl Shop {
    /// Start and length, s, of the whole recording that each session is of: where the machine changed hands, a session knows its
    /// own share only.
    pub(in crate::shop) fn recordings(&self) -> Result<BTreeMap<Id, (String, f64)>> {
        let rows = self.rows(
            &format!(
                "WITH named AS (SELECT id, part, started, seconds, {RECORDING} AS recording FROM sessions),
                 whole AS (SELECT recording, max(iif(part = 1, started, NULL)) AS started, sum(seconds) AS seconds
                     FROM named GROUP BY recording)
                 SELECT n.id, w.started, w.seconds FROM named n JOIN whole w ON w.recording = n.recording
                 WHERE w.started IS NOT NULL"
            ),
            |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))),
        )?;
        Ok(rows.into_iter().collect())
    }

    /// The session filed of a part of a recording, if any.
    pub(in crate::shop) fn session_of_recording(
        &self,
        fingerprint: &str,
        sensor: &str,
        started: &str,
        part: u32,
    ) -> Result<Option<Session>> {
        let parts = self.parts_of_recording(fingerprint, sensor, started)?;
        Ok(parts.into_iter().find(|session| session.part == part))
    }

    /// The sessions filed of a recording, by part; none where it is not filed. It is known by its bytes, or by sensor and
    /// start, for a recording filed while unfinished (`.part`) has other bytes when finished.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn parts_of_recording(&self, fingerprint: &str, sensor: &str, started: &str) -> Result<Vec<Session>> {
        let sql = format!(
            "WITH first AS (SELECT fingerprint FROM sessions WHERE part = 1 AND (fingerprint = ?1
             OR (sensor <> '' AND sensor = ?2 AND started = ?3)) LIMIT 1)
             SELECT {SESSION_COLUMNS} FROM sessions WHERE fingerprint = (SELECT fingerprint FROM first)
             OR fingerprint LIKE (SELECT fingerprint FROM first) || '/%' ORDER BY part"
        );
        let mut query = self.db.prepare_cached(&sql)?;
        let sessions = query.query_map(params![fingerprint, sensor, started], session_of)?;
        Ok(sessions.collect::<rusqlite::Result<_>>()?)
    }

    /// The session that a new filing replaces.
    pub(super) fn same_session(&self, new: &NewSession) -> Result<Option<Id>> {
        let mut query = self.db.prepare_cached(
            "SELECT id FROM sessions WHERE fingerprint = ?1
             OR (part = 1 AND ?4 = 1 AND sensor <> '' AND sensor = ?2 AND started = ?3) LIMIT 1",
        )?;
        let same = query.query_row(params![new.fingerprint, new.sensor, new.started, new.part], |row| row.get(0));
        Ok(same.optional()?)
    }

    /// A recording that was filed while unfinished has other bytes now: all its parts go by the new ones.
    pub(in crate::shop) fn rename_parts(&self, first: Id, fingerprint: &str) -> Result<()> {
        let old: String =
            self.db.query_row("SELECT fingerprint FROM sessions WHERE id = ?1", [first], |row| row.get(0))?;
        self.db.execute(
            "UPDATE sessions SET fingerprint = ?2 || substr(fingerprint, length(?1) + 1)
             WHERE fingerprint = ?1 OR fingerprint LIKE ?1 || '/%'",
            params![old, fingerprint],
        )?;
        Ok(())
    }

    /// Takes away the parts of a recording after the first `kept`, when a new filing finds fewer hands; what was typed about them
    /// goes to the first.
    pub(in crate::shop) fn drop_parts_after(&self, first: Id, fingerprint: &str, kept: u32) -> Result<()> {
        let gone = "SELECT id FROM sessions WHERE part > ?2 AND fingerprint LIKE ?1 || '/%'";
        for (table, which) in [("notes", "recorded = 0 AND"), ("trials", "")] {
            self.db.execute(
                &format!("UPDATE {table} SET session_id = ?3 WHERE {which} session_id IN ({gone})"),
                params![fingerprint, kept, first],
            )?;
        }
        self.db.execute(&format!("DELETE FROM sessions WHERE id IN ({gone})"), params![fingerprint, kept])?;
        Ok(())
    }

    /// The plan a session's figures were computed by, TOML; empty where none was kept.
    pub(in crate::shop) fn plan_of(&self, session: Id) -> Result<String> {
        let mut query = self.db.prepare_cached("SELECT plan FROM sessions WHERE id = ?1")?;
        Ok(query.query_row([session], |row| row.get(0))?)
    }
}
