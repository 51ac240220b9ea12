//! What was typed wrongly, taken away again: found by what it says, as whoever typed it remembers it. What came from recordings
//! stays; every filing computes it anew. A session that should not have been filed goes whole, by its number.

use rusqlite::{Row, params};

use super::film::as_known;
use super::work::TRIALS;
use super::{Id, Phase, Result, Shop, ShopError, Trial, Uses};
use crate::name;

/// Two readings nearer to each other than this are one number, µm: of one typed in mil what lies below a nanometre is not kept.
const SAME_UM: f64 = 1e-3;

/// Which tries to take away.
#[derive(Clone, Copy, Debug)]
pub struct TriesOf<'a> {
    /// On which vehicle.
    pub vehicle: Id,
    /// With which pad.
    pub pad: Id,
    /// With which liquid.
    pub liquid: Id,
    /// Only on this part of it.
    pub panel: Option<&'a str>,
    /// Only of this day, `YYYY-MM-DD`.
    pub day: Option<&'a str>,
}

impl Shop {
    /// Takes the gauge's readings of a point away, of one day or of all; returns them, µm, as they were typed.
    ///
    /// * `only`: those that go, µm, each once, of equal ones the newest; all of them where it is empty.
    ///
    /// # Errors
    /// [`ShopError::Value`] when there is none, or not each of `only`; nothing is changed then.
    pub fn remove_film_readings(
        &self,
        vehicle: Id,
        [panel, point]: [&str; 2],
        phase: Phase,
        day: Option<&str>,
        only: &[f64],
    ) -> Result<Vec<f64>> {
        let read = |row: &Row<'_>| {
            let (id, on): (Id, Id) = (row.get(0)?, row.get(1)?);
            let names: [String; 4] = [row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?];
            Ok((id, (on, names, row.get::<_, f64>(6)?)))
        };
        self.whole(|| {
            let mut wanted = only.to_vec();
            let mut is_wanted = |film_um: f64| {
                let at = wanted.iter().position(|um| [film_um, as_known(film_um)].iter().any(|is| (um - is).abs() < SAME_UM));
                at.map(|at| wanted.remove(at)).is_some() || only.is_empty()
            };
            let found = self.take_away(
                "film_readings",
                "SELECT id, vehicle_id, panel, point, phase, day, film_um FROM film_readings ORDER BY id DESC",
                read,
                |(on, [its_panel, its_point, its_phase, its_day], film_um)| {
                    *on == vehicle
                        && name::same(its_panel, panel)
                        && name::same(its_point, point)
                        && its_phase == phase.as_str()
                        && day.is_none_or(|day| its_day == day)
                        && is_wanted(*film_um)
                },
            )?;
            let what = match wanted.first() {
                Some(um) => format!("no reading of {um} µm"),
                None if found.is_empty() => "no reading".to_owned(),
                None => return Ok(found.into_iter().rev().map(|(_, _, film_um)| film_um).collect()),
            };
            Err(ShopError::Value(format!(
                "{what} {} the work of point {point} on {panel} is written down; `steadypass thickness show` lists them",
                phase.as_str()
            )))
        })
    }

    /// Takes tries away; returns them.
    ///
    /// # Errors
    /// [`ShopError::Value`] when there is none; nothing is changed then.
    pub fn remove_trials(&self, of: TriesOf<'_>) -> Result<Vec<Trial>> {
        let found = self.take_away(
            "trials",
            TRIALS,
            |row| Ok((row.get("id")?, Trial::read(row)?)),
            |t| {
                (t.vehicle, t.pad, t.liquid) == (of.vehicle, of.pad, of.liquid)
                    && of.panel.is_none_or(|panel| name::same(&t.panel, panel))
                    && of.day.is_none_or(|day| t.day == day)
            },
        )?;
        if found.is_empty() {
            return Err(ShopError::Value(
                "no such try is written down; `steadypass trial verdict` lists a vehicle's".to_owned(),
            ));
        }
        Ok(found)
    }

    /// Takes a session away with its sections, passes and recorded notes, and the other parts of its recording with it; returns
    /// their numbers. The recording is not touched: reviewed again, it is filed anew.
    ///
    /// # Errors
    /// [`ShopError::Value`] when there is no such session, or with the tries and typed notes that are on one of them; nothing is
    /// changed then.
    pub fn remove_session(&self, session: Id) -> Result<Vec<Id>> {
        self.whole(|| {
            self.checked_session(session, None)?;
            // Without its first part a recording would be filed anew beside those that are left.
            let mut query = self.db.prepare_cached(
                "WITH first AS (SELECT iif(part > 1 AND fingerprint LIKE '%/' || part,
                 substr(fingerprint, 1, length(fingerprint) - length('/' || part)), fingerprint) AS print
                 FROM sessions WHERE id = ?1)
                 SELECT id, machine_id FROM sessions, first WHERE fingerprint = print
                 OR (part > 1 AND fingerprint = print || '/' || part) ORDER BY part",
            )?;
            let parts = query.query_map([session], |row| Ok((row.get(0)?, row.get(1)?)))?;
            let parts = parts.collect::<rusqlite::Result<Vec<(Id, Option<Id>)>>>()?;
            let all: Vec<Id> = parts.iter().map(|part| part.0).collect();
            let mut used = Vec::new();
            for &id in &all {
                let on = |sql| self.db.query_row(sql, [id], |row| row.get::<_, i64>(0)).map(|n| n as usize);
                let uses = Uses {
                    tries: on("SELECT count(*) FROM trials WHERE session_id = ?1")?,
                    notes: on("SELECT count(*) FROM notes WHERE recorded = 0 AND session_id = ?1")?,
                    ..Uses::default()
                };
                if uses != Uses::default() {
                    used.push(format!("session {id} is used by {}", uses.words()));
                }
            }
            if !used.is_empty() {
                return Err(ShopError::Value(format!(
                    "{}; nothing was changed. Take those away first, with `steadypass trial remove` and `steadypass note remove \
                     --session N`, and put down again for another session what is to stay",
                    used.join(", ")
                )));
            }
            for (id, machine) in parts {
                self.db.execute("DELETE FROM sessions WHERE id = ?1", [id])?;
                if let Some(machine) = machine {
                    self.drop_pad_sizes(machine)?;
                }
            }
            Ok(all)
        })
    }

    /// Takes a typed note away; those of recordings stay.
    ///
    /// # Errors
    /// When the store cannot be written to.
    pub fn remove_note(&self, id: Id) -> Result<()> {
        self.db.execute("DELETE FROM notes WHERE id = ?1 AND recorded = 0", params![id])?;
        Ok(())
    }

    /// Deletes the rows of `table` that `select` gives and `fits` wants, all or none.
    fn take_away<T>(
        &self,
        table: &'static str,
        select: &str,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<(Id, T)>,
        mut fits: impl FnMut(&T) -> bool,
    ) -> Result<Vec<T>> {
        self.whole(|| {
            let found: Vec<(Id, T)> = self.rows(select, read)?.into_iter().filter(|(_, it)| fits(it)).collect();
            for (id, _) in &found {
                self.db.execute(&format!("DELETE FROM {table} WHERE id = ?1"), params![id])?;
            }
            Ok(found.into_iter().map(|(_, it)| it).collect())
        })
    }
}
