//! Who worked, with which machine and on which panel: which counts of what is said now, at an earlier filing, in the
//! recording and in its plan.

use super::About;
use crate::guidance::{Plan, plan::Source as PlanSource};
use crate::name;
use crate::recording::Facts;
use crate::shop::names::kind_word;
use crate::shop::{Id, MachineEntry, Result, Session, Shop, ShopError, Technician};

impl Shop {
    /// A technician as typed at a hand-over. Nobody can type it again, so what is nearly a known name is taken for it, and said.
    pub(super) fn technician_handed_to(&self, name: &str, remarks: &mut Vec<String>) -> Result<Id> {
        let name = name.trim();
        match self.technician(name) {
            Err(ShopError::Unknown { close: Some(close), .. }) => {
                remarks.push(format!(
                    "{name}, as typed at the hand-over, is taken for {close}; if that is somebody else, add {name} with \
                     `steadypass shop add technician NAME --shop DIR` and give them the session with `steadypass shop assign`."
                ));
                self.technician(&close)
            }
            Err(ShopError::Unknown { close: None, .. }) => self.add_newcomer(name, remarks),
            known => known,
        }
    }

    fn add_newcomer(&self, name: &str, remarks: &mut Vec<String>) -> Result<Id> {
        remarks.push(format!("{name} is new to this shop and was added."));
        self.add_technician(&Technician { name: name.to_owned(), note: String::new() })
    }

    pub(super) fn technician_of(
        &self,
        facts: &Facts,
        about: &About,
        earlier: Option<&Session>,
        remarks: &mut Vec<String>,
    ) -> Result<Id> {
        let name = match (about.technician.as_deref(), earlier) {
            (None, Some(earlier)) => return Ok(earlier.technician),
            (told, _) => told.unwrap_or(&facts.technician).trim(),
        };
        if name.is_empty() {
            return Err(ShopError::Value(
                "nobody says who worked; give --technician NAME. The recording itself is whole".to_owned(),
            ));
        }
        match self.technician(name) {
            // Only a name unlike all others is taken for a new one: a slip must not make a second person.
            Err(ShopError::Unknown { close: None, .. }) => self.add_newcomer(name, remarks),
            known => known,
        }
    }

    /// Sheets go by what is said now and by the recording: where an earlier filing says something else, that is told.
    pub(super) fn panel_of(
        &self,
        facts: &Facts,
        about: &About,
        earlier: Option<&Session>,
        remarks: &mut Vec<String>,
    ) -> String {
        let told = |panel: &&str| !panel.is_empty();
        if let Some(now) = about.panel.as_deref().filter(told) {
            return now.to_owned();
        }
        let Some(filed) = earlier.map(|e| e.panel.as_str()).filter(told) else { return facts.panel.clone() };
        if !name::same(filed, &facts.panel) {
            let named = if facts.panel.is_empty() { "names no panel" } else { &format!("names {}", facts.panel) };
            remarks.push(format!(
                "The recording {named}; this session stays filed under {filed}, as told earlier. With --panel NAME sheets and shop \
                 say the same."
            ));
        }
        filed.to_owned()
    }

    /// Takes away what earlier filings told of a machine's pads, where none of its sessions has them any more.
    pub(in crate::shop) fn drop_pad_sizes(&self, machine: Id) -> Result<()> {
        let mut query = self.db.prepare_cached("SELECT DISTINCT plan FROM sessions WHERE machine_id = ?1")?;
        let plans = query.query_map([machine], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
        let pad_mm = |plan: &String| {
            let plan = Plan::from_toml(&PlanSource::new("plan of a filed session", plan)).ok()?;
            Some(plan.machine.pad_diameter_mm)
        };
        // Of a session whose plan is not known any pad may be.
        let known = plans.iter().map(|plan| pad_mm(plan).filter(|_| !plan.is_empty())).collect::<Option<Vec<f64>>>();
        let Some(known) = known else { return Ok(()) };
        let sql = "SELECT pad_diameter_mm FROM machine_pads WHERE filed = 1 AND machine_id = ?1";
        let mut query = self.db.prepare_cached(sql)?;
        let filed = query.query_map([machine], |row| row.get::<_, f64>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
        for gone in filed.into_iter().filter(|mm| !known.contains(mm)) {
            let sql = "DELETE FROM machine_pads WHERE machine_id = ?1 AND pad_diameter_mm = ?2";
            self.db.execute(sql, rusqlite::params![machine, gone])?;
        }
        Ok(())
    }

    /// The machine that work is filed under by what is said now, or by an earlier filing of its recording; the plan is not asked.
    ///
    /// * `recording`: its fingerprint and facts.
    ///
    /// # Errors
    /// When the shop knows none of that name, when the store cannot be read.
    pub fn machine_for(&self, about: &About, recording: Option<(&str, &Facts)>) -> Result<Option<MachineEntry>> {
        let id = match (&about.machine, recording) {
            (Some(name), _) => Some(self.machine(name)?),
            (None, Some((fingerprint, facts))) => {
                let earlier = self.session_of_recording(fingerprint, &facts.sensor, &facts.started, 1)?;
                earlier.and_then(|e| e.machine)
            }
            (None, None) => None,
        };
        let Some(id) = id else { return Ok(None) };
        Ok(self.machines()?.into_iter().find(|m| m.id == id).map(|m| m.entry))
    }

    pub(super) fn machine_of(
        &self,
        plan: &Plan,
        about: &About,
        earlier: Option<&Session>,
        remarks: &mut Vec<String>,
    ) -> Result<Option<Id>> {
        let profile = &plan.machine;
        let earlier = earlier.and_then(|e| e.machine);
        let id = match (&about.machine, earlier, &profile.name) {
            (Some(name), _, planned) => {
                if let Some(planned) = planned.as_ref().filter(|p| !name::same(p, name)) {
                    remarks.push(format!(
                        "The recording's plan names {planned}; this session is filed under {name}, as told."
                    ));
                }
                self.machine(name)?
            }
            (None, Some(id), _) => id,
            (None, None, None) => {
                remarks.push(
                    "Nobody says which machine it was, so this session cannot be compared by machine; give --machine NAME, or \
                     `name` under [machine] in the plan."
                        .to_owned(),
                );
                return Ok(None);
            }
            (None, None, Some(name)) => match self.machine(name) {
                Err(ShopError::Unknown { close: None, .. }) => {
                    remarks.push(format!("{name} is new to this shop and was added."));
                    self.add_machine(&MachineEntry {
                        name: name.clone(),
                        kind: kind_word(profile.kind).to_owned(),
                        throw_mm: profile.throw_mm,
                        pad_diameters_mm: Vec::new(),
                        note: String::new(),
                    })?
                }
                known => known?,
            },
        };
        let machines = self.machines()?;
        let known = machines.iter().find(|m| m.id == id).map(|m| &m.entry);
        let other = |known: &MachineEntry| {
            known.kind != kind_word(profile.kind) || known.throw_mm.zip(profile.throw_mm).is_some_and(|(a, b)| a != b)
        };
        let named_other =
            profile.name.as_ref().is_some_and(|planned| known.is_some_and(|m| !name::same(planned, &m.name)));
        let pads = known.map_or(&[][..], |m| &m.pad_diameters_mm);
        let pad_mm = profile.pad_diameter_mm;
        if named_other || known.is_some_and(other) {
            // The pad of another machine's plan is not this one's.
            if !pads.is_empty() && !pads.contains(&pad_mm) {
                let own: Vec<String> = pads.iter().map(|mm| format!("{mm} mm")).collect();
                remarks.push(format!(
                    "The plan has a pad of {pad_mm} mm, the shop knows {} with {}: rubbing and pad speeds follow the plan. With the \
                     plan of the machine that it was, review again with --plan.",
                    known.map_or("it", |m| &m.name),
                    own.join(" and ")
                ));
            }
        } else if plan.machine_told {
            match self.add_pad_size(id, pad_mm) {
                // A plan may have a pad of another size than a shop keeps.
                Err(ShopError::OutOfRange(why)) => remarks.push(format!("The machine's pad is not kept: {why}.")),
                kept => kept?,
            }
        }
        if let Some(known) = known.filter(|known| other(known)) {
            let throw = |mm: Option<f64>| mm.map_or("no throw told".to_owned(), |t| format!("{t} mm throw"));
            remarks.push(format!(
                "The plan says {} with {}, the shop knows {} as {} with {}: pad speeds follow the plan.",
                kind_word(profile.kind),
                throw(profile.throw_mm),
                known.name,
                known.kind,
                throw(known.throw_mm)
            ));
        }
        Ok(Some(id))
    }
}
