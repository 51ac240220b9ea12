//! A recording played through the analysis once more: the one way from a file to a session's events, for whoever
//! reviews a recording or computes again what was filed of it. Vibration exposure and calibration need no session: they read
//! entries for themselves.
//!
//! ```text
//! recording ─► Reader ─► entries ─► Session (plan, calibration in force) ─► events
//! ```

use std::path::{Path, PathBuf};

use crate::{
    analysis::SurfaceCounts,
    calibration::{Calibration, CalibrationError},
    guidance::{Plan, PlanError, plan::Source as PlanSource},
    recording::{self, Damage, Facts, Losses, Reader},
    session::{Event, Rates, Session},
};

/// Why a recording could not be played.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReplayError {
    /// The file.
    #[error(transparent)]
    Recording(#[from] recording::Error),
    /// The calibration in it: without it readings would silently be others than those that were shown live.
    #[error("calibration inside {}: {source}", path.display())]
    Calibration {
        /// The recording.
        path: PathBuf,
        /// What is wrong with it.
        source: CalibrationError,
    },
}

/// A recording, open and not yet played.
pub struct Replay {
    path: PathBuf,
    reader: Reader,
    calibration: Option<Calibration>,
}

/// What is missing from a recording that was played to its end.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ended {
    /// On the way from the sensor.
    pub losses: Losses,
    /// In the file.
    pub damage: Damage,
    /// What became of the thermometer's looks.
    pub looks: SurfaceCounts,
    /// Whether there are turn rates in it at all.
    pub has_gyro: bool,
    /// Samples a second.
    pub rates: Rates,
}

impl Replay {
    /// Opens a recording.
    ///
    /// # Errors
    /// When it is none, or carries a calibration that cannot be read.
    pub fn open(path: &Path) -> Result<Self, ReplayError> {
        let reader = Reader::open(path)?;
        let calibration = reader
            .facts()
            .sensor_calibration()
            .map_err(|source| ReplayError::Calibration { path: path.to_owned(), source })?;
        Ok(Self { path: path.to_owned(), reader, calibration })
    }

    /// What the recording says about itself.
    pub fn facts(&self) -> &Facts {
        self.reader.facts()
    }

    /// What its closing says of the table it was imported from, a sentence or two each; known once it has been played.
    pub fn remarks(&self) -> Vec<String> {
        self.reader.closing().map_or(Vec::new(), |closing| closing.remarks())
    }

    /// The same before it has been played; nothing where the end of the file cannot be read ahead.
    pub fn remarks_ahead(&self) -> Vec<String> {
        self.reader.closing_ahead().map_or(Vec::new(), |closing| closing.remarks())
    }

    /// Bytes to play.
    pub fn size(&self) -> u64 {
        self.reader.progress().1
    }

    /// The plan inside the recording; common practice where it holds none.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn plan(&self) -> Result<Plan, PlanError> {
        if self.facts().plan.is_empty() {
            return Ok(Plan::default());
        }
        let name = format!("plan inside {}", self.path.display());
        Plan::from_toml(&PlanSource::new(&name, &self.facts().plan))
    }

    /// Plays it to its end under a plan, begun by `technician` (empty: as the plan says); `progress` hears of the bytes done.
    ///
    /// # Errors
    /// When the file cannot be read on, or holds no sensor data.
    pub fn run(
        &mut self,
        plan: Plan,
        technician: &str,
        mut progress: impl FnMut(u64),
        mut sink: impl FnMut(Event),
    ) -> Result<Ended, ReplayError> {
        let mut session = Session::new(plan);
        session.calibrate(self.calibration.take());
        session.begin_with(technician);
        while self.reader.next_chunk(|entry| session.push(&entry, &mut sink))? {
            progress(self.reader.progress().0);
        }
        session.finish(&mut sink);
        let damage = self.reader.damage();
        if !session.has_data() {
            return Err(recording::Error::Empty { path: self.path.clone(), damage }.into());
        }
        let (losses, looks, rates) = (session.losses(), session.surface_counts(), session.rates());
        Ok(Ended { losses, damage, looks, has_gyro: session.has_gyro(), rates })
    }
}

impl Ended {
    /// What is missing, in words; `None` when nothing is.
    pub fn lost(&self) -> Option<String> {
        describe_losses(&self.losses, &self.damage)
    }
}

/// What is missing, in words; `None` when nothing is.
pub fn describe_losses(losses: &Losses, damage: &Damage) -> Option<String> {
    let mut parts = Vec::new();
    if losses.any() {
        parts.push(losses.describe());
    }
    if damage.lost_data() {
        parts.push(damage.describe());
    }
    if damage.cut {
        parts.push("the end of the recording, which was not closed (at most a second where the program or the machine stopped, everything after \
             what is here where the file was copied in part)"
                .to_owned());
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}
