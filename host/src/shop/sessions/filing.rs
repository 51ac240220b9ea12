//! A session into the store: new, or in the place of what its recording gave before.

use rusqlite::params;

use super::{Filed, NewPass, NewSection, NewSession};
use crate::shop::{Id, Result, Shop};

impl Shop {
    /// Files a session with all that belongs to it, as one change. The same recording again replaces its figures.
    ///
    /// # Errors
    /// When the store cannot be written; nothing of the session is in it then.
    pub fn file(&self, new: &NewSession) -> Result<Filed> {
        self.whole(|| {
            let same = self.same_session(new)?;
            let id = match same {
                Some(id) => {
                    self.replace_head(id, new)?;
                    id
                }
                None => self.insert_head(new)?,
            };
            for section in &new.sections {
                self.insert_section(id, section)?;
            }
            self.replace_recorded_notes(id, new)?;
            Ok(if same.is_some() { Filed::Again(id) } else { Filed::New(id) })
        })
    }

    fn insert_head(&self, new: &NewSession) -> Result<Id> {
        self.db
            .prepare_cached(
                "INSERT INTO sessions (fingerprint, recording, started, day, technician_id, machine_id, vehicle_id, pad_id,
                 liquid_id, panel, trainer, source, sensor, program, seconds, running_s, lost, pace_lo_mps, pace_hi_mps,
                 heat_limit_k, plan, part)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22)",
            )?
            .execute(params![
                new.fingerprint,
                new.recording,
                new.started,
                new.day,
                new.technician,
                new.machine,
                new.vehicle,
                new.pad,
                new.liquid,
                new.panel,
                new.trainer,
                new.source,
                new.sensor,
                new.program,
                new.seconds,
                new.running_s,
                new.lost,
                new.pace_mps.0,
                new.pace_mps.1,
                new.heat_limit_k,
                new.plan,
                new.part
            ])?;
        Ok(self.db.last_insert_rowid())
    }

    fn replace_head(&self, id: Id, new: &NewSession) -> Result<()> {
        self.db.execute("DELETE FROM sections WHERE session_id = ?1", [id])?;
        self.db.execute(
            "UPDATE sessions SET fingerprint = ?2, recording = ?3, started = ?4, day = ?5, technician_id = ?6,
             machine_id = coalesce(?7, machine_id), vehicle_id = coalesce(?8, vehicle_id), pad_id = coalesce(?9, pad_id),
             liquid_id = coalesce(?10, liquid_id), panel = CASE ?11 WHEN '' THEN panel ELSE ?11 END,
             trainer = max(trainer, ?12), program = ?13, seconds = ?14, running_s = ?15, lost = ?16, pace_lo_mps = ?17,
             pace_hi_mps = ?18, heat_limit_k = ?19, plan = ?20 WHERE id = ?1",
            params![
                id,
                new.fingerprint,
                new.recording,
                new.started,
                new.day,
                new.technician,
                new.machine,
                new.vehicle,
                new.pad,
                new.liquid,
                new.panel,
                new.trainer,
                new.program,
                new.seconds,
                new.running_s,
                new.lost,
                new.pace_mps.0,
                new.pace_mps.1,
                new.heat_limit_k,
                new.plan
            ],
        )?;
        Ok(())
    }

    fn insert_section(&self, session: Id, section: &NewSection) -> Result<()> {
        self.db
            .prepare_cached(
                "INSERT INTO sections (session_id, number, passes, rubbing_mean_m, rubbing_cv, map_along_m, map_across_m,
                 map_most_m, map) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )?
            .execute(params![
                session,
                section.number,
                section.passes.len() as i64,
                section.rubbing_mean_m,
                section.rubbing_cv,
                section.map.as_ref().map(|m| m.along_m),
                section.map.as_ref().map(|m| m.across_m),
                section.map.as_ref().map(|m| m.most_m),
                section.map.as_ref().map(|m| &m.cells)
            ])?;
        let id = self.db.last_insert_rowid();
        for pass in &section.passes {
            self.insert_pass(id, pass)?;
        }
        Ok(())
    }

    fn insert_pass(&self, section: Id, pass: &NewPass) -> Result<()> {
        self.db
            .prepare_cached(
                "INSERT INTO passes (section_id, number, start_s, end_s, strokes, arm_speed_mps, arm_speed_lo_mps,
                 arm_speed_hi_mps, arm_speed_cv, in_band_share, orbit_median_opm, orbit_free_opm, pad_speed_mps,
                 surface_start_c, surface_peak_c, surface_rise_k, seconds_over_limit, rubbing_mean_m, rubbing_cv, pause_s,
                 vibration_mps2, warnings)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22)",
            )?
            .execute(params![
                section,
                pass.number,
                pass.start_s,
                pass.end_s,
                pass.strokes,
                pass.arm_speed_mps,
                pass.arm_speed_90_mps.map(|i| i.0),
                pass.arm_speed_90_mps.map(|i| i.1),
                pass.arm_speed_cv,
                pass.in_band_share,
                pass.orbit_median_opm,
                pass.orbit_free_opm,
                pass.pad_speed_mps,
                pass.surface_start_c,
                pass.surface_peak_c,
                pass.surface_rise_k,
                pass.seconds_over_limit,
                pass.rubbing_mean_m,
                pass.rubbing_cv,
                pass.pause_s,
                pass.vibration_mps2,
                pass.warnings
            ])?;
        let id = self.db.last_insert_rowid();
        let known = pass.print.stroke_mps.iter().copied().filter(|v| v.is_finite()).map(Some);
        self.db
            .prepare_cached("INSERT INTO prints (pass_id, stroke_mps, rise_k, rubbing) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![id, json(known, 4), json(pass.print.rise_k.iter().copied(), 2), pass.print.rubbing])?;
        Ok(())
    }
}

/// JSON of short numbers: a tenth of a millimetre a second and a hundredth of a kelvin are far below what is known.
fn json(values: impl Iterator<Item = Option<f64>>, decimals: usize) -> String {
    let word = |v: Option<f64>| v.filter(|v| v.is_finite()).map_or("null".to_owned(), |v| format!("{v:.decimals$}"));
    format!("[{}]", values.map(word).collect::<Vec<_>>().join(","))
}
