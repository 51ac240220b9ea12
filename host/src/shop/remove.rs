//! What was typed wrongly, taken away again: found by what it says, as whoever typed it remembers it. What came from recordings
//! stays; every filing computes it anew.

use rusqlite::{Row, params};

use super::film::as_known;
use super::work::TRIALS;
use super::{Id, Phase, Result, Shop, ShopError, Trial};
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
