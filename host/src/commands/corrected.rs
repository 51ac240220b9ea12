//! The names that a shop has on file in the place of those recorded: what was put right there goes before what a recording says.

use std::sync::Arc;

use steadypass::{
    name, recording,
    shop::{Id, Shop},
};

use super::{Failure, store};

/// The names on file in the place of those recorded, and what is said of it.
#[derive(Default)]
pub(super) struct Corrected {
    /// By part.
    on_file: Vec<(u32, String)>,
    pub(super) remarks: Vec<String>,
}

impl Corrected {
    /// Who a recording's sessions are filed under where the shop knows them already.
    ///
    /// * `fingerprint`: the recording's.
    /// * `told_now`: whoever began was named on the command line, which goes before what is on file.
    pub(super) fn on_file(
        store: &Shop,
        fingerprint: &str,
        facts: &recording::Facts,
        told_now: bool,
    ) -> Result<Self, Failure> {
        let failed = store::of(store.folder());
        let parts = store.parts_of_recording(fingerprint, &facts.sensor, &facts.started).map_err(&failed)?;
        let names = store.technicians().map_err(&failed)?;
        let told_now = |part: u32| part == 1 && told_now;
        let name = |id: Id| names.iter().find(|t| t.id == id).map(|t| t.entry.name.clone());
        let on_file = parts.iter().filter(|s| !told_now(s.part));
        let on_file = on_file.filter_map(|s| Some((s.part, name(s.technician)?))).collect();
        Ok(Self { on_file, remarks: Vec::new() })
    }

    /// Whoever began.
    pub(super) fn began(&mut self, recorded: &str) -> String {
        self.of(1, recorded).map_or_else(|| recorded.to_owned(), str::to_owned)
    }

    /// Whoever worked a pass of a part.
    pub(super) fn name(&mut self, part: u32, technician: &mut Option<Arc<str>>) {
        if let Some(filed) = self.of(part, technician.as_deref().unwrap_or_default()) {
            *technician = Some(filed.into());
        }
    }

    /// The name on file, where it is another than the recorded one.
    fn of(&mut self, part: u32, recorded: &str) -> Option<&str> {
        let (_, filed) = self.on_file.iter().find(|(number, name)| *number == part && !name::same(name, recorded))?;
        let remark =
            format!("The recording names {recorded}; the shop has this work on file as {filed}'s, and so it is shown.");
        if !recorded.is_empty() && !self.remarks.contains(&remark) {
            self.remarks.push(remark);
        }
        Some(filed)
    }
}
