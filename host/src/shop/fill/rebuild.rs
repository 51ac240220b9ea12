//! The figures of the sessions that are filed, computed again from their recordings.

use std::fs::File;
use std::path::Path;

use super::{About, Figures, fingerprint, rubbing};
use crate::guidance::{Plan, plan::Source as PlanSource};
use crate::replay::{Replay, ReplayError};
use crate::session::Event;
use crate::shop::{Result, Session, Shop, ShopError};

/// What a rebuild did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rebuilt {
    /// Sessions computed again.
    pub done: usize,
    /// Sessions that never had a recording.
    pub without: usize,
    /// Sessions whose figures were kept as they are, and why.
    pub kept: Vec<String>,
}

impl Shop {
    /// Computes the figures of every session again, each from its recording under the plan it was reviewed by. What was typed
    /// stays; the figures of a session whose recording is gone or changed stay as they are, and that is said.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn rebuild(&self, mut progress: impl FnMut(usize, usize)) -> Result<Rebuilt> {
        let sessions = self.sessions()?;
        let mut rebuilt = Rebuilt::default();
        // The other parts of a recording come with its first.
        let sessions: Vec<&Session> = sessions.iter().filter(|s| s.part == 1).collect();
        for (i, session) in sessions.iter().enumerate() {
            progress(i, sessions.len());
            let Some(recording) = &session.recording else {
                rebuilt.without += 1;
                continue;
            };
            match self.rebuild_one(session, Path::new(recording)) {
                Ok(parts) => rebuilt.done += parts,
                Err(ShopError::Value(why) | ShopError::OutOfRange(why)) => {
                    rebuilt.kept.push(format!("{recording}: {why}"))
                }
                Err(ShopError::Io { path, source, .. }) => {
                    let why = crate::recording::describe_io(&source);
                    rebuilt.kept.push(format!("{}: {why}", path.display()));
                }
                Err(other) => return Err(other),
            }
        }
        Ok(rebuilt)
    }

    fn rebuild_one(&self, session: &Session, path: &Path) -> Result<usize> {
        let unreadable = |e: ReplayError| ShopError::Value(e.to_string());
        File::open(path).map_err(|e| ShopError::io("open", path, e))?;
        let replay = Replay::open(path).map_err(unreadable)?;
        let facts = replay.facts().clone();
        let fingerprint = fingerprint(path)?;
        let filed = self.parts_of_recording(&fingerprint, &facts.sensor, &facts.started)?;
        if !filed.iter().any(|part| part.id == session.id) {
            return Err(ShopError::Value("another recording stands at this place now".to_owned()));
        }
        // Sessions filed by a program that did not keep the plan were judged by the one inside, or by common practice.
        let mut plan = match self.plan_of(session.id)? {
            plan if plan.is_empty() => replay.plan().unwrap_or_default(),
            plan => Plan::from_toml(&PlanSource::new("plan of the filed session", &plan))
                .map_err(|e| ShopError::Value(e.to_string()))?,
        };
        plan.machine_told &= facts.machine_told();
        let names = self.technicians()?;
        let began = names.iter().find(|t| t.id == session.technician).map_or("", |t| t.entry.name.as_str());
        let (mut figures, mut lost) = figures_of(path, &plan, began).map_err(unreadable)?;
        // Renamed since, whoever began and came back would be somebody else by the name that the recording has.
        if figures.parts.len() != filed.len() {
            let as_recorded = figures_of(path, &plan, &facts.technician).map_err(unreadable)?;
            if as_recorded.0.parts.len() == filed.len() {
                (figures, lost) = as_recorded;
            }
        }
        Ok(self.file_review(path, &fingerprint, &facts, figures, &About::default(), &lost)?.filed.len())
    }
}

/// What a recording comes to under a plan, begun by `technician`, with what is missing from it.
fn figures_of(path: &Path, plan: &Plan, technician: &str) -> std::result::Result<(Figures, String), ReplayError> {
    let mut figures = Figures::new(plan.clone(), technician);
    let take = |event: Event| figures.event(&event, rubbing(&event, plan));
    let ended = Replay::open(path)?.run(plan.clone(), technician, |_| {}, take)?;
    Ok((figures, ended.lost().unwrap_or_default()))
}
