//! Trials and film readings: what was tried on which paint, what the gauge said.

use rusqlite::params;

use super::checked::{checked_day, checked_name, checked_panel};
use super::film::typed;
use super::{Id, Result, Shop, ShopError};
use crate::guidance::{Units, units::count};

/// One pad-and-liquid combination tried on a test spot, with its result.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// On which vehicle.
    pub vehicle: Id,
    /// Where on it.
    pub panel: String,
    /// When, `YYYY-MM-DD`.
    pub day: String,
    /// By whom.
    pub technician: Id,
    /// With which machine.
    pub machine: Option<Id>,
    /// Pad.
    pub pad: Id,
    /// Liquid.
    pub liquid: Id,
    /// The recording's session, where there is one.
    pub session: Option<Id>,
    /// Passes worked.
    pub passes: i64,
    /// Whether the finish that was wanted was reached.
    pub finish_reached: bool,
    /// 0 none, 1 slight, 2 plain, 3 heavy.
    pub haze: i64,
    /// 0 none, 1 slight, 2 plain, 3 heavy.
    pub holograms: i64,
    /// Film taken, µm, where it was measured.
    pub film_taken_um: Option<f64>,
    /// Anything else.
    pub note: String,
}

/// The grade of haze or holograms that is no finish, whatever else is said of it.
const HEAVY: i64 = 3;

impl Trial {
    /// Whether it counts as finished: what left heavy haze or holograms does not, whatever was ticked.
    pub fn finished(&self) -> bool {
        self.finish_reached && self.haze < HEAVY && self.holograms < HEAVY
    }

    /// What it left, in words: haze and holograms with their grades, those that there are.
    pub fn left(&self) -> Vec<String> {
        let graded = |grade: i64, what: &str| match grade {
            ..=0 => None,
            1 => Some(format!("slight {what}")),
            2 => Some(format!("plain {what}")),
            HEAVY.. => Some(format!("heavy {what}")),
        };
        [graded(self.haze, "haze"), graded(self.holograms, "holograms")].into_iter().flatten().collect()
    }

    /// What came of it, in words: passes, finish, what it left and what it took.
    pub fn outcome(&self, units: Units) -> String {
        let reached = match (self.finish_reached, self.finished()) {
            (_, true) => "reached the finish",
            (true, false) => "put down as reached, which it is not with what it left",
            (false, false) => "did not reach it",
        };
        let taken = self.film_taken_um.map(|um| format!("{} taken", typed(um, units)));
        let left = self.left().into_iter().map(|left| format!("{left} left"));
        let all = std::iter::once(reached.to_owned()).chain(left).chain(taken).collect::<Vec<_>>().join(", ");
        format!("{}: {all}", count(self.passes, "pass", "passes"))
    }
}

/// Before or after the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// Before.
    Before,
    /// After.
    After,
}

impl Phase {
    /// The word.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
        }
    }

    /// The phase of a word.
    pub fn of(word: &str) -> Option<Self> {
        [Self::Before, Self::After].into_iter().find(|p| p.as_str() == word)
    }
}

/// Where on a section the gauge stood: from the corner where the section's first stroke starts, at its right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Number of the section on the panel, as in the recording.
    pub section: u32,
    /// Along the first stroke, m.
    pub along_m: f64,
    /// Across it, m.
    pub across_m: f64,
}

/// Largest distance from a section's corner, m; no section is larger.
const MOST_M: f64 = 3.0;

/// One reading of the film gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct FilmReading {
    /// On which vehicle.
    pub vehicle: Id,
    /// Panel.
    pub panel: String,
    /// Point on the panel, as the shop names it.
    pub point: String,
    /// Before or after.
    pub phase: Phase,
    /// When, `YYYY-MM-DD`.
    pub day: String,
    /// The whole build, µm.
    pub film_um: f64,
    /// Where on a section, where it was told.
    pub place: Option<Place>,
    /// Anything else.
    pub note: String,
}

/// All tries, oldest first, for [`Trial::read`].
pub(super) const TRIALS: &str =
    "SELECT vehicle_id, panel, day, technician_id, machine_id, pad_id, liquid_id, session_id,
    passes, finish_reached, haze, holograms, film_taken_um, note, id FROM trials ORDER BY day, id";

impl Trial {
    /// From a row of [`TRIALS`].
    pub(super) fn read(row: &rusqlite::Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            vehicle: row.get(0)?,
            panel: row.get(1)?,
            day: row.get(2)?,
            technician: row.get(3)?,
            machine: row.get(4)?,
            pad: row.get(5)?,
            liquid: row.get(6)?,
            session: row.get(7)?,
            passes: row.get(8)?,
            finish_reached: row.get(9)?,
            haze: row.get(10)?,
            holograms: row.get(11)?,
            film_taken_um: row.get(12)?,
            note: row.get(13)?,
        })
    }
}

impl Shop {
    /// Writes a trial down.
    ///
    /// # Errors
    /// [`ShopError::OutOfRange`] for passes outside 1 to 50 and grades outside 0 to 3; [`ShopError::Value`] for a session that is
    /// another technician's.
    pub fn add_trial(&self, trial: &Trial) -> Result<Id> {
        if let Some(session) = trial.session {
            self.checked_session(session, None)?;
            self.checked_holder(session, trial.technician)?;
        }
        self.keep_trial(trial)
    }

    /// Refuses a session that is another technician's.
    fn checked_holder(&self, session: Id, technician: Id) -> Result<()> {
        let (holder, whose): (Id, String) = self.db.query_row(
            "SELECT t.id, t.name FROM sessions s JOIN technicians t ON t.id = s.technician_id WHERE s.id = ?1",
            [session],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        if holder == technician {
            return Ok(());
        }
        Err(ShopError::Value(format!(
            "session {session} is {whose}'s; give the session of whoever tried (`steadypass shop status --all` lists them), or none. \
             If it is filed under the wrong name, `steadypass shop assign {session} NAME --shop DIR` mends that first"
        )))
    }

    /// The same of a try from a table: one that was written down before its session was given to somebody else comes back as it
    /// was exported.
    pub(super) fn keep_trial(&self, trial: &Trial) -> Result<Id> {
        checked_day(&trial.day)?;
        for (what, grade) in [("haze", trial.haze), ("holograms", trial.holograms)] {
            if !(0..=3).contains(&grade) {
                return Err(ShopError::OutOfRange(format!("{what} {grade}: 0 none, 1 slight, 2 plain, 3 heavy")));
            }
        }
        if !(1..=50).contains(&trial.passes) {
            return Err(ShopError::OutOfRange(format!("passes {}: expected 1 to 50", trial.passes)));
        }
        if let Some(film) = trial.film_taken_um.filter(|f| !(-100.0..=1000.0).contains(f)) {
            return Err(ShopError::OutOfRange(format!("film taken {film} µm: expected -100 to 1000")));
        }
        let panel = checked_panel(&trial.panel)?;
        if let Some(session) = trial.session {
            self.checked_session(session, None)?;
        }
        self.db.execute(
            "INSERT INTO trials (vehicle_id, panel, day, technician_id, machine_id, pad_id, liquid_id, session_id, passes,
             finish_reached, haze, holograms, film_taken_um, note)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
            params![
                trial.vehicle,
                panel,
                trial.day,
                trial.technician,
                trial.machine,
                trial.pad,
                trial.liquid,
                trial.session,
                trial.passes,
                trial.finish_reached,
                trial.haze,
                trial.holograms,
                trial.film_taken_um,
                trial.note
            ],
        )?;
        Ok(self.db.last_insert_rowid())
    }

    /// All trials, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn trials(&self) -> Result<Vec<Trial>> {
        self.rows(TRIALS, Trial::read)
    }

    /// Writes a gauge reading down.
    ///
    /// # Errors
    /// [`ShopError::OutOfRange`] for a reading of nothing or above 5000 µm, or a name that is none.
    pub fn add_film_reading(&self, reading: &FilmReading) -> Result<Id> {
        checked_day(&reading.day)?;
        if !(reading.film_um > 0.0 && reading.film_um <= 5000.0) {
            return Err(ShopError::OutOfRange(format!(
                "film {} µm: expected more than 0, up to 5000",
                reading.film_um
            )));
        }
        let (panel, point) = (checked_name("panel", &reading.panel)?, checked_name("point", &reading.point)?);
        if let Some(place) = reading.place {
            if !(1..=9999).contains(&place.section) {
                return Err(ShopError::OutOfRange(format!("section {}: sections are numbered from 1", place.section)));
            }
            for (what, m) in [("along", place.along_m), ("across", place.across_m)] {
                if !(0.0..=MOST_M).contains(&m) {
                    return Err(ShopError::OutOfRange(format!(
                        "{m} m {what} the section: expected 0 to {MOST_M} m from its corner"
                    )));
                }
            }
        }
        self.db.execute(
            "INSERT INTO film_readings (vehicle_id, panel, point, phase, day, film_um, note, section, along_m, across_m)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            params![
                reading.vehicle,
                panel,
                point,
                reading.phase.as_str(),
                reading.day,
                reading.film_um,
                reading.note,
                reading.place.map(|p| p.section),
                reading.place.map(|p| p.along_m),
                reading.place.map(|p| p.across_m)
            ],
        )?;
        Ok(self.db.last_insert_rowid())
    }

    /// All gauge readings, in the order they were written down.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn film_readings(&self) -> Result<Vec<FilmReading>> {
        self.rows(
            "SELECT vehicle_id, panel, point, phase, day, film_um, note, section, along_m, across_m FROM film_readings
             ORDER BY id",
            |row| {
                let (section, along_m, across_m): (Option<u32>, Option<f64>, Option<f64>) =
                    (row.get(7)?, row.get(8)?, row.get(9)?);
                let place = section.zip(along_m).zip(across_m);
                Ok(FilmReading {
                    vehicle: row.get(0)?,
                    panel: row.get(1)?,
                    point: row.get(2)?,
                    phase: if row.get::<_, String>(3)? == "before" { Phase::Before } else { Phase::After },
                    day: row.get(4)?,
                    film_um: row.get(5)?,
                    place: place.map(|((section, along_m), across_m)| Place { section, along_m, across_m }),
                    note: row.get(6)?,
                })
            },
        )
    }
}
