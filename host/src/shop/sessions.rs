//! Sessions with their sections, passes and prints: filed whole, replaced whole, read back for comparing.

use rusqlite::{OptionalExtension as _, params};

use super::{Id, NewNote, Result, SectionMap, Shop};

/// A session to be filed.
#[derive(Clone, Debug, PartialEq)]
pub struct NewSession {
    /// Size and checksum of the recording's bytes.
    pub fingerprint: String,
    /// Where the recording lies; `None` for figures that have none.
    pub recording: Option<String>,
    /// Start, RFC 3339 with the shop's zone.
    pub started: String,
    /// The shop's day of the start, `YYYY-MM-DD`.
    pub day: String,
    /// Who worked.
    pub technician: Id,
    /// With which machine.
    pub machine: Option<Id>,
    /// On which vehicle.
    pub vehicle: Option<Id>,
    /// With which pad.
    pub pad: Option<Id>,
    /// With which liquid.
    pub liquid: Option<Id>,
    /// On which panel.
    pub panel: String,
    /// Whether this is the trainer's, to be shown beside others.
    pub trainer: bool,
    /// `sensor`, `table`, `simulation` or `generated`.
    pub source: &'static str,
    /// The sensor's id.
    pub sensor: String,
    /// Version of the program that computed the figures.
    pub program: String,
    /// The plan the figures were computed by, TOML, complete in itself; empty when there was none to keep.
    pub plan: String,
    /// Which technician's part of the recording, in order of appearance, from 1.
    pub part: u32,
    /// Length, s.
    pub seconds: f64,
    /// Time the motor ran, s.
    pub running_s: f64,
    /// What is missing from the recording, in words; empty when nothing is.
    pub lost: String,
    /// Arm speed the plan asked for, m/s.
    pub pace_mps: (f64, f64),
    /// Largest rise the plan allowed, K.
    pub heat_limit_k: f64,
    /// What was worked.
    pub sections: Vec<NewSection>,
    /// What was marked while it was recorded.
    pub notes: Vec<NewNote>,
}

/// One section.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewSection {
    /// Number in the session, from 1.
    pub number: u32,
    /// Mean rubbing distance over the worked area, all passes, m.
    pub rubbing_mean_m: Option<f64>,
    /// Its coefficient of variation.
    pub rubbing_cv: Option<f64>,
    /// Rubbing distance over it, where its size is known.
    pub map: Option<SectionMap>,
    /// Its passes.
    pub passes: Vec<NewPass>,
}

/// One pass.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewPass {
    /// Number in the session, from 1.
    pub number: u32,
    /// Start and end, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Strokes.
    pub strokes: u32,
    /// Mean arm speed, m/s.
    pub arm_speed_mps: Option<f64>,
    /// Its 90 % interval, m/s.
    pub arm_speed_90_mps: Option<(f64, f64)>,
    /// Coefficient of variation of the strokes' speeds.
    pub arm_speed_cv: Option<f64>,
    /// Share of stroke time in the plan's band.
    pub in_band_share: Option<f64>,
    /// Orbit rate under load, per minute.
    pub orbit_median_opm: Option<f64>,
    /// Orbit rate running free, per minute.
    pub orbit_free_opm: Option<f64>,
    /// Mean pad speed, m/s.
    pub pad_speed_mps: Option<f64>,
    /// Panel at the section's start, °C.
    pub surface_start_c: Option<f64>,
    /// Hottest spot, °C.
    pub surface_peak_c: Option<f64>,
    /// Largest rise, K.
    pub surface_rise_k: Option<f64>,
    /// Time over the plan's limit, s.
    pub seconds_over_limit: Option<f64>,
    /// Mean rubbing distance over the worked area, m.
    pub rubbing_mean_m: Option<f64>,
    /// Its coefficient of variation.
    pub rubbing_cv: Option<f64>,
    /// Time the machine ran without travelling, s.
    pub pause_s: Option<f64>,
    /// Vibration, m/s² rms, unweighted.
    pub vibration_mps2: Option<f64>,
    /// Warnings that began in it.
    pub warnings: u32,
    /// What the technique print is drawn from.
    pub print: Print,
}

/// Cells of a print's rubbing map each way.
pub const PRINT_CELLS: usize = 12;

/// What the technique print is drawn from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Print {
    /// Speed of each stroke, m/s, those that are known.
    pub stroke_mps: Vec<f64>,
    /// Surface rise at evenly spaced moments of the pass, K; `None` where not known.
    pub rise_k: Vec<Option<f64>>,
    /// Rubbing over the worked area, [`PRINT_CELLS`] each way, row by row from below, 255 = the pass's largest.
    pub rubbing: Option<Vec<u8>>,
}

/// A filed session, without its passes.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Its row.
    pub id: Id,
    /// Where its recording lies.
    pub recording: Option<String>,
    /// Start.
    pub started: String,
    /// Day of the start.
    pub day: String,
    /// Who.
    pub technician: Id,
    /// With which machine.
    pub machine: Option<Id>,
    /// On which vehicle.
    pub vehicle: Option<Id>,
    /// With which pad.
    pub pad: Option<Id>,
    /// With which liquid.
    pub liquid: Option<Id>,
    /// On which panel.
    pub panel: String,
    /// Whether it is the trainer's.
    pub trainer: bool,
    /// Where the data came from.
    pub source: String,
    /// Length, s.
    pub seconds: f64,
    /// Time the motor ran, s.
    pub running_s: f64,
    /// What is missing.
    pub lost: String,
    /// The plan's band, m/s.
    pub pace_mps: (f64, f64),
    /// The plan's limit, K.
    pub heat_limit_k: f64,
    /// Which technician's part of its recording, from 1.
    pub part: u32,
}

/// The figures of one pass, for comparing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PassFigures {
    /// Its row.
    pub id: Id,
    /// Row of its section.
    pub section: Id,
    /// Number of its section in the session.
    pub section_number: u32,
    /// Row of its session.
    pub session: Id,
    /// Length, s.
    pub duration_s: f64,
    /// Mean arm speed, m/s.
    pub arm_speed_mps: Option<f64>,
    /// Coefficient of variation of the strokes' speeds.
    pub arm_speed_cv: Option<f64>,
    /// Share of stroke time in the band.
    pub in_band_share: Option<f64>,
    /// Share of the free orbit rate that load takes away.
    pub orbit_droop: Option<f64>,
    /// Largest rise, K.
    pub surface_rise_k: Option<f64>,
    /// Coefficient of variation of the rubbing distance.
    pub rubbing_cv: Option<f64>,
    /// Time the machine ran without travelling, s.
    pub pause_s: Option<f64>,
    /// Hottest spot, °C.
    pub surface_peak_c: Option<f64>,
    /// Mean rubbing distance, m.
    pub rubbing_mean_m: Option<f64>,
    /// Strokes.
    pub strokes: u32,
    /// Warnings.
    pub warnings: u32,
    /// Time over the limit, s.
    pub seconds_over_limit: Option<f64>,
}

/// Whether filing made a new session or replaced the figures of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Filed {
    /// New.
    New(Id),
    /// The same recording was filed before: its figures were replaced, what was typed about it was kept unless typed anew.
    Again(Id),
}

impl Filed {
    /// The session's row.
    pub fn id(self) -> Id {
        match self {
            Self::New(id) | Self::Again(id) => id,
        }
    }
}

const SESSION_COLUMNS: &str = "id, recording, started, day, technician_id, machine_id, vehicle_id, pad_id, liquid_id, panel, \
     trainer, source, seconds, running_s, lost, pace_lo_mps, pace_hi_mps, heat_limit_k, part";

/// What [`pass_of`] reads, and from where.
const PASS_COLUMNS: &str =
    "p.id, p.section_id, s.number, s.session_id, p.end_s - p.start_s, p.arm_speed_mps, p.arm_speed_cv,
     p.in_band_share, 1.0 - p.orbit_median_opm / nullif(p.orbit_free_opm, 0.0), p.surface_rise_k, p.rubbing_cv,
     p.pause_s, p.surface_peak_c, p.rubbing_mean_m, p.strokes, p.warnings, p.seconds_over_limit
     FROM passes p JOIN sections s ON s.id = p.section_id";

fn pass_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<PassFigures> {
    Ok(PassFigures {
        id: row.get(0)?,
        section: row.get(1)?,
        section_number: row.get(2)?,
        session: row.get(3)?,
        duration_s: row.get(4)?,
        arm_speed_mps: row.get(5)?,
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
    })
}

fn session_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Session> {
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

    /// The session filed of a part of a recording, if any: of the same bytes, or of the same sensor and start, for a recording
    /// filed while unfinished (`.part`) has other bytes when finished.
    pub(super) fn session_of_recording(
        &self,
        fingerprint: &str,
        sensor: &str,
        started: &str,
        part: u32,
    ) -> Result<Option<Session>> {
        // Of the part asked for, the recording being known by its first.
        let sql = format!(
            "WITH first AS (SELECT fingerprint FROM sessions WHERE part = 1 AND (fingerprint = ?1
             OR (sensor <> '' AND sensor = ?2 AND started = ?3)) LIMIT 1)
             SELECT {SESSION_COLUMNS} FROM sessions
             WHERE fingerprint = (SELECT fingerprint FROM first) || iif(?4 = 1, '', '/' || ?4)"
        );
        let mut query = self.db.prepare_cached(&sql)?;
        Ok(query.query_row(params![fingerprint, sensor, started, part], session_of).optional()?)
    }

    /// The sessions filed of a recording, by part; none where it is not filed. It is known as in `session_of_recording`.
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
    fn same_session(&self, new: &NewSession) -> Result<Option<Id>> {
        let mut query = self.db.prepare_cached(
            "SELECT id FROM sessions WHERE fingerprint = ?1
             OR (part = 1 AND ?4 = 1 AND sensor <> '' AND sensor = ?2 AND started = ?3) LIMIT 1",
        )?;
        let same = query.query_row(params![new.fingerprint, new.sensor, new.started, new.part], |row| row.get(0));
        Ok(same.optional()?)
    }

    /// A recording that was filed while unfinished has other bytes now: all its parts go by the new ones.
    pub(super) fn rename_parts(&self, first: Id, fingerprint: &str) -> Result<()> {
        let old: String =
            self.db.query_row("SELECT fingerprint FROM sessions WHERE id = ?1", [first], |row| row.get(0))?;
        self.db.execute(
            "UPDATE sessions SET fingerprint = ?2 || substr(fingerprint, length(?1) + 1)
             WHERE fingerprint = ?1 OR fingerprint LIKE ?1 || '/%'",
            params![old, fingerprint],
        )?;
        Ok(())
    }

    /// Gives a session to another technician, for good: later filings of its recording keep it so.
    ///
    /// # Errors
    /// When there is no such session.
    pub fn assign(&self, session: Id, technician: Id) -> Result<()> {
        self.checked_session(session, None)?;
        self.db.execute("UPDATE sessions SET technician_id = ?2 WHERE id = ?1", params![session, technician])?;
        Ok(())
    }

    /// Takes away the parts of a recording after the first `kept`, when a new filing finds fewer hands; what was typed about them
    /// goes to the first.
    pub(super) fn drop_parts_after(&self, first: Id, fingerprint: &str, kept: u32) -> Result<()> {
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
    pub(super) fn plan_of(&self, session: Id) -> Result<String> {
        let mut query = self.db.prepare_cached("SELECT plan FROM sessions WHERE id = ?1")?;
        Ok(query.query_row([session], |row| row.get(0))?)
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

    /// All sessions, by start.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn sessions(&self) -> Result<Vec<Session>> {
        self.rows(&format!("SELECT {SESSION_COLUMNS} FROM sessions ORDER BY unixepoch(started), id"), session_of)
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

    /// The figures of all passes, in order of session, section and pass.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn pass_figures(&self) -> Result<Vec<PassFigures>> {
        self.rows(&format!("SELECT {PASS_COLUMNS} ORDER BY p.id"), pass_of)
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
    pub fn prints(&self, of: PrintsOf, most: usize) -> Result<Vec<(Id, Print)>> {
        let (column, id) = match of {
            PrintsOf::Session(id) => ("e.id", id),
            PrintsOf::Technician(id) => ("e.technician_id", id),
        };
        let sql = format!(
            "SELECT p.id, t.stroke_mps, t.rise_k, t.rubbing FROM prints t JOIN passes p ON p.id = t.pass_id
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
            Ok((row.get(0)?, print))
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

/// JSON of short numbers: a tenth of a millimetre a second and a hundredth of a kelvin are far below what is known.
fn json(values: impl Iterator<Item = Option<f64>>, decimals: usize) -> String {
    let word = |v: Option<f64>| v.filter(|v| v.is_finite()).map_or("null".to_owned(), |v| format!("{v:.decimals$}"));
    format!("[{}]", values.map(word).collect::<Vec<_>>().join(","))
}
