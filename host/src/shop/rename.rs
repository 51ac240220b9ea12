//! A name typed wrongly, put right: renamed, put together with the one that was meant, or taken away where nothing uses it.
//!
//! Whatever refers to technicians, machines, pads, liquids and vehicles does so by row, so a new name is everywhere at once.
//! Panels have no rows of their own; theirs is changed wherever it stands. Recordings are never touched: they say for ever what
//! was typed then, and a filing goes by what the shop has made of it since.

use std::collections::BTreeSet;

use rusqlite::params;
use serde::Serialize;

use super::checked::checked_name;
use super::{Id, Listed, Result, Shop, ShopError};
use crate::guidance::units::count;
use crate::name;

/// Numbers of sessions that are told one by one.
const MOST_TOLD: usize = 5;

/// Every table in which panels stand, and which of its rows are a vehicle's, ?1.
pub(super) const PANELS: [(&str, &str); 4] = [
    ("sessions", "vehicle_id IS ?1"),
    ("trials", "vehicle_id IS ?1"),
    ("film_readings", "vehicle_id IS ?1"),
    // A note on a session is on that session's vehicle, unless it names its own.
    ("notes", "coalesce(vehicle_id, (SELECT vehicle_id FROM sessions WHERE sessions.id = session_id)) IS ?1"),
];

impl Listed {
    /// Every column in which a row of this kind is referred to.
    fn references(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Self::Technician => &[("sessions", "technician_id"), ("trials", "technician_id")],
            Self::Machine => &[("sessions", "machine_id"), ("trials", "machine_id")],
            Self::Pad => &[("sessions", "pad_id"), ("trials", "pad_id")],
            Self::Liquid => &[("sessions", "liquid_id"), ("trials", "liquid_id")],
            Self::Vehicle => &[
                ("sessions", "vehicle_id"),
                ("trials", "vehicle_id"),
                ("film_readings", "vehicle_id"),
                ("notes", "vehicle_id"),
            ],
        }
    }
}

/// What refers to a name.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Uses {
    /// Sessions, by number.
    pub sessions: Vec<Id>,
    /// Tries on test spots.
    pub tries: usize,
    /// Readings of the film gauge.
    pub readings: usize,
    /// Notes.
    pub notes: usize,
}

impl Uses {
    /// In words; empty when nothing does.
    pub fn words(&self) -> String {
        let told: Vec<String> = self.sessions.iter().take(MOST_TOLD).map(Id::to_string).collect();
        let more = if self.sessions.len() > MOST_TOLD { ", ..." } else { "" };
        let sessions = format!("{} ({}{more})", count(self.sessions.len(), "session", "sessions"), told.join(", "));
        let rest =
            [(self.tries, "try", "tries"), (self.readings, "reading", "readings"), (self.notes, "note", "notes")];
        let rest = rest.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, many)| count(n, one, many));
        Some(sessions).filter(|_| !told.is_empty()).into_iter().chain(rest).collect::<Vec<_>>().join(", ")
    }

    fn take(&mut self, table: &str, rows: Vec<Id>) {
        match table {
            "sessions" => self.sessions = rows,
            "trials" => self.tries = rows.len(),
            "film_readings" => self.readings = rows.len(),
            _ => self.notes = rows.len(),
        }
    }
}

impl Shop {
    /// Gives a row another name, everywhere.
    ///
    /// # Errors
    /// [`ShopError::Unknown`]; [`ShopError::Value`] when the new name is none, or another row's: two are put together by
    /// [`Shop::merge`] only, for nobody can take them apart again.
    pub fn rename(&self, what: Listed, from: &str, to: &str) -> Result<()> {
        let to = checked_name(what.as_str(), to)?;
        self.whole(|| {
            let id = self.find(what, from)?;
            self.free(what, &to, Some(id)).map_err(|error| match error {
                ShopError::NameTaken { what, name } => would_merge(&format!("a {what} called"), &name),
                other => other,
            })?;
            let (table, column) = what.place();
            self.db.execute(&format!("UPDATE {table} SET {column} = ?2 WHERE id = ?1"), params![id, to])?;
            Ok(())
        })
    }

    /// Puts the row `from` together with the row `into`, which keeps its name and what is known about it; returns what is
    /// `into`'s now. For good.
    ///
    /// # Errors
    /// [`ShopError::Unknown`]; [`ShopError::Value`] when both are one row already.
    pub fn merge(&self, what: Listed, from: &str, into: &str) -> Result<Uses> {
        self.whole(|| {
            let (gone, stays) = (self.find(what, from)?, self.find(what, into)?);
            if gone == stays {
                return Err(ShopError::Value(format!(
                    "{from:?} and {into:?} are one {} already; without --merge its spelling is changed",
                    what.as_str()
                )));
            }
            let moved = self.uses(what, gone)?;
            for (table, column) in what.references() {
                let sql = format!("UPDATE {table} SET {column} = ?2 WHERE {column} = ?1");
                self.db.execute(&sql, params![gone, stays])?;
            }
            match what {
                Listed::Machine => self.db.execute(
                    // What was typed of either stays, whatever sessions have it.
                    "INSERT INTO machine_pads SELECT ?2, pad_diameter_mm, filed FROM machine_pads WHERE machine_id = ?1
                     ON CONFLICT DO UPDATE SET filed = min(filed, excluded.filed)",
                    params![gone, stays],
                )?,
                Listed::Vehicle => self.db.execute(
                    "UPDATE vehicles SET owner = coalesce(owner, (SELECT owner FROM vehicles WHERE id = ?1)) WHERE id = ?2",
                    params![gone, stays],
                )?,
                Listed::Technician | Listed::Pad | Listed::Liquid => 0,
            };
            let (table, _) = what.place();
            // What somebody typed about it stands nowhere else.
            self.db.execute(
                &format!(
                    "UPDATE {table} SET note = trim(note || char(10) || (SELECT note FROM {table} WHERE id = ?1), char(10))
                     WHERE id = ?2"
                ),
                params![gone, stays],
            )?;
            self.db.execute(&format!("DELETE FROM {table} WHERE id = ?1"), [gone])?;
            Ok(moved)
        })
    }

    /// Takes a name away that nothing uses.
    ///
    /// # Errors
    /// [`ShopError::Unknown`]; [`ShopError::Value`] with what uses it.
    pub fn remove_name(&self, what: Listed, name: &str) -> Result<()> {
        self.whole(|| {
            let id = self.find(what, name)?;
            let uses = self.uses(what, id)?.words();
            if !uses.is_empty() {
                let (what, name) = (what.as_str(), name.trim());
                return Err(ShopError::Value(format!(
                    "{what} {name:?} is used by {uses}; nothing was changed. If another name was meant, put the two together: \
                     steadypass shop rename --merge --shop DIR {what} {} NAME",
                    name::quoted(name)
                )));
            }
            let (table, _) = what.place();
            self.db.execute(&format!("DELETE FROM {table} WHERE id = ?1"), [id])?;
            Ok(())
        })
    }

    /// Renames a panel wherever it stands: sessions, tries, readings, notes; returns where it stood.
    ///
    /// * `vehicle`: whose panel it is; `None` for that of work of which no vehicle was told.
    /// * `merge`: also where the vehicle has a panel of the new name; both are one then, for good.
    ///
    /// # Errors
    /// [`ShopError::OutOfRange`] when the new name is none; [`ShopError::Value`] when the vehicle has no such panel, or has another of
    /// the new name without `merge`.
    pub fn rename_panel(&self, vehicle: Option<&str>, from: &str, to: &str, merge: bool) -> Result<Uses> {
        let to = checked_name("panel", to)?;
        self.whole(|| {
            let on = vehicle.map(|label| self.vehicle(label)).transpose()?;
            let whose = vehicle.map_or(NO_VEHICLE, str::trim);
            let (mut uses, mut others) = (Uses::default(), BTreeSet::new());
            for (table, of_vehicle) in PANELS {
                let sql = format!("SELECT id, panel FROM {table} WHERE panel <> '' AND {of_vehicle} ORDER BY id");
                let mut query = self.db.prepare_cached(&sql)?;
                let rows = query.query_map([on], |row| Ok((row.get::<_, Id>(0)?, row.get::<_, String>(1)?)))?;
                let rows = rows.collect::<rusqlite::Result<Vec<_>>>()?;
                let (these, rest): (Vec<_>, Vec<_>) = rows.into_iter().partition(|(_, its)| name::same(its, from));
                for (id, _) in &these {
                    self.db.execute(&format!("UPDATE {table} SET panel = ?2 WHERE id = ?1"), params![id, to])?;
                }
                uses.take(table, these.into_iter().map(|(id, _)| id).collect());
                others.extend(rest.into_iter().map(|(_, its)| its));
            }
            if uses == Uses::default() {
                let mut known = if others.is_empty() {
                    "no panel of it is named yet".to_owned()
                } else {
                    format!("it has {}", others.into_iter().collect::<Vec<_>>().join(", "))
                };
                if vehicle.is_none() {
                    known.push_str("; for a panel of a vehicle add --vehicle LABEL");
                }
                return Err(ShopError::Value(format!("{whose} has no panel called {from:?}; {known}")));
            }
            match others.iter().find(|its| name::same(its, &to)) {
                Some(other) if !merge => Err(would_merge(&format!("a panel of {whose} called"), other)),
                None if merge => Err(ShopError::Value(format!(
                    "{whose} has no panel called {to:?} to put it together with; without --merge it is renamed"
                ))),
                _ => Ok(uses),
            }
        })
    }

    fn uses(&self, what: Listed, id: Id) -> Result<Uses> {
        let mut uses = Uses::default();
        for (table, column) in what.references() {
            let mut query =
                self.db.prepare_cached(&format!("SELECT id FROM {table} WHERE {column} = ?1 ORDER BY id"))?;
            let rows = query.query_map([id], |row| row.get(0))?;
            uses.take(table, rows.collect::<rusqlite::Result<Vec<_>>>()?);
        }
        Ok(uses)
    }
}

/// Whose a panel is of which no vehicle was told.
pub const NO_VEHICLE: &str = "work without a vehicle";

fn would_merge(already: &str, name: &str) -> ShopError {
    ShopError::Value(format!(
        "there is already {already} {name:?}; nothing was changed. If both are one, put them together with --merge, which cannot be \
         taken back"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::{FilmReading, MachineEntry, Note, Phase, Technician, Vehicle};

    const ALL: [Listed; 5] = [Listed::Technician, Listed::Machine, Listed::Pad, Listed::Liquid, Listed::Vehicle];

    /// Three technicians' two days, sessions 1 to 6, with a reading and a note on "saloon A".
    fn shop() -> Shop {
        let shop = Shop::in_memory();
        generate(&shop, &STYLES, Extent { days: 2, sections: 1 }, 3).expect("generated");
        let vehicle = shop.vehicle("saloon A").expect("known");
        let reading = FilmReading {
            vehicle,
            panel: "bonet".into(),
            point: "1".into(),
            phase: Phase::Before,
            day: "2026-03-02".into(),
            film_um: 120.0,
            place: None,
            note: String::new(),
        };
        shop.add_film_reading(&reading).expect("added");
        let note = Note { day: "2026-03-02".into(), text: "Haze.".into(), panel: "Bonet".into(), ..Note::default() };
        shop.add_note(&Note { vehicle: Some(vehicle), ..note.clone() }).expect("added");
        let on = shop.sessions().expect("read").into_iter().find(|s| s.vehicle == Some(vehicle)).map(|s| s.id);
        shop.add_note(&Note { session: on, ..note }).expect("added");
        shop
    }

    fn refused<T: std::fmt::Debug>(result: Result<T>, words: &[&str]) {
        let said = result.expect_err("refused").to_string();
        assert!(words.iter().all(|w| said.contains(w)), "{words:?} in {said}");
    }

    /// A table that a later schema adds must not be forgotten here.
    #[test]
    fn every_reference_of_the_store_is_known() {
        let shop = Shop::in_memory();
        let found = shop
            .rows(
                "SELECT m.name, f.\"from\", f.\"table\" FROM sqlite_schema m, pragma_foreign_key_list(m.name) f
                 WHERE m.type = 'table' AND f.\"table\" IN ('technicians', 'machines', 'products', 'vehicles')
                 AND m.name <> 'machine_pads'",
                |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, String>(2)?)),
            )
            .expect("read");
        let known = ALL.iter().flat_map(|what| what.references().iter().map(|r| (r.0, r.1, what.place().0)));
        let (found, known): (BTreeSet<_>, BTreeSet<_>) =
            (found.into_iter().collect(), known.map(|(a, b, c)| (a.to_owned(), b.to_owned(), c.to_owned())).collect());
        assert_eq!(found, known);
    }

    #[test]
    fn a_new_name_is_a_name_and_nobody_elses() {
        let shop = shop();
        shop.rename(Listed::Technician, "ASH", "J\u{f6}rg").expect("renamed");
        assert_eq!(shop.technician("J\u{d6}RG").expect("known"), 1);
        refused(shop.technician("Ash"), &["no technician called \"Ash\""]);
        shop.rename(Listed::Technician, "j\u{f6}rg", "J\u{d6}RG").expect("its own name in other letters");
        assert_eq!(shop.technicians().expect("read")[2].entry.name, "J\u{d6}RG");
        refused(shop.rename(Listed::Technician, "Birch", "j\u{f6}rg"), &["already a technician", "--merge"]);
        refused(shop.rename(Listed::Technician, "Birch", " "), &["1 to 80 characters"]);
        refused(shop.rename(Listed::Pad, "finishing", "x"), &["no pad called"]);
        shop.rename(Listed::Pad, "soft foam", "finishing").expect("a pad may be called as a liquid is");
    }

    #[test]
    fn what_was_one_ones_is_the_others_after_a_merge() {
        let shop = shop();
        let sessions = |of: fn(&crate::shop::Session) -> Option<Id>, id| -> Vec<Id> {
            shop.sessions().expect("read").iter().filter(|s| of(s) == Some(id)).map(|s| s.id).collect()
        };
        let (ash, birch) = (shop.technician("Ash").expect("known"), shop.technician("Birch").expect("known"));
        let both = [sessions(|s| Some(s.technician), ash), sessions(|s| Some(s.technician), birch)];
        let moved = shop.merge(Listed::Technician, "Ash", "birch").expect("merged");
        assert_eq!((moved.sessions.clone(), moved.tries), (both[0].clone(), 0));
        assert_eq!(sessions(|s| Some(s.technician), birch).len(), both.concat().len());
        assert_eq!(shop.technicians().expect("read").len(), 2);
        let birch = shop.technicians().expect("read").into_iter().find(|t| t.id == birch).expect("there");
        assert_eq!(birch.entry.note, "invented\ninvented", "what was typed of both");
        refused(shop.merge(Listed::Technician, "Birch", "BIRCH"), &["are one technician already"]);
        refused(shop.merge(Listed::Technician, "Birch", "Alder"), &["no technician called \"Alder\""]);

        shop.add_machine(&MachineEntry {
            name: "orbital 51".into(),
            kind: "orbital".into(),
            throw_mm: None,
            pad_diameters_mm: vec![75.0, 125.0],
            note: String::new(),
        })
        .expect("added");
        shop.merge(Listed::Machine, "orbital 51", "orbital 15").expect("merged");
        let machines = shop.machines().expect("read");
        assert_eq!((machines.len(), machines[0].entry.note.as_str()), (1, "invented"));
        assert_eq!(machines[0].entry.pad_diameters_mm, [75.0, 125.0]);

        let label = "salon A";
        let unknown = || "unknown".to_owned();
        let (paint, colour, hardness) = (unknown(), unknown(), unknown());
        let owner = Some("Somebody Private".to_owned());
        let note = String::new();
        shop.add_vehicle(&Vehicle { label: label.into(), paint, paint_year: None, colour, hardness, owner, note })
            .expect("added");
        let moved = shop.merge(Listed::Vehicle, "saloon A", label).expect("merged");
        assert_eq!((moved.readings, moved.notes), (1, 1));
        assert!(shop.film_readings().expect("read").iter().all(|r| r.vehicle == shop.vehicle(label).expect("known")));
        shop.merge(Listed::Vehicle, label, "van B").expect("merged");
        let van = shop.vehicles().expect("read").into_iter().find(|v| v.entry.label == "van B").expect("there");
        assert_eq!((van.entry.owner.as_deref(), van.entry.hardness.as_str()), (Some("Somebody Private"), "hard"));
        for [from, into] in [["soft foam", "medium foam"], ["medium foam", "short wool"]] {
            shop.merge(Listed::Pad, from, into).expect("merged");
        }
        assert!(shop.sessions().expect("read").iter().all(|s| s.pad == shop.find(Listed::Pad, "short wool").ok()));
        assert_eq!(shop.health().expect("checked").faults, Vec::<String>::new());
    }

    #[test]
    fn a_pad_that_was_typed_of_either_machine_is_typed_of_both() {
        let shop = shop();
        let filed = |name: &str| -> Vec<(f64, i64)> {
            let id = shop.machine(name).expect("known");
            let mut query = shop
                .db
                .prepare("SELECT pad_diameter_mm, filed FROM machine_pads WHERE machine_id = ?1 ORDER BY 1")
                .expect("a query");
            let rows = query.query_map([id], |row| Ok((row.get(0)?, row.get(1)?))).expect("read");
            rows.collect::<rusqlite::Result<_>>().expect("read")
        };
        let add = |name: &str, typed: &[f64], of_plans: &[f64]| {
            let entry = MachineEntry {
                name: name.into(),
                kind: "orbital".into(),
                throw_mm: None,
                pad_diameters_mm: typed.to_vec(),
                note: String::new(),
            };
            let id = shop.add_machine(&entry).expect("added");
            of_plans.iter().for_each(|&mm| shop.add_pad_size(id, mm).expect("kept"));
        };
        add("first", &[100.0, 125.0], &[75.0, 150.0]);
        add("second", &[75.0, 125.0], &[100.0, 150.0]);
        shop.merge(Listed::Machine, "first", "second").expect("merged");
        assert_eq!(filed("second"), [(75.0, 0), (100.0, 0), (125.0, 0), (150.0, 1)]);
    }

    #[test]
    fn only_a_name_that_nothing_uses_goes() {
        let shop = shop();
        for (what, used, by) in [
            (Listed::Technician, "ash", "used by 2 sessions (1, 2)"),
            (Listed::Machine, "orbital 15", "used by 6 sessions (1, 2, 3, 4, 5, ...)"),
            (Listed::Pad, "medium foam", "6 sessions"),
            (Listed::Liquid, "one-step", "6 sessions"),
            (Listed::Vehicle, "saloon A", "1 session (1), 1 reading, 1 note"),
        ] {
            refused(shop.remove_name(what, used), &[by, "nothing was changed", "rename --merge"]);
        }
        shop.add_technician(&Technician { name: "Robni".into(), note: String::new() }).expect("added");
        shop.remove_name(Listed::Technician, " ROBNI ").expect("removed");
        shop.remove_name(Listed::Pad, "soft foam").expect("removed");
        refused(shop.technician("Robni"), &["no technician"]);
        refused(shop.remove_name(Listed::Pad, "finishing"), &["no pad called"]);
        shop.find(Listed::Liquid, "finishing").expect("the liquid is another");
    }

    #[test]
    fn a_panel_has_its_new_name_wherever_it_stood_on_its_vehicle_only() {
        let shop = shop();
        let panels = |label: &str| -> Vec<String> {
            let id = shop.vehicle(label).expect("known");
            let of_sessions = shop.sessions().expect("read").into_iter().filter(|s| s.vehicle == Some(id));
            of_sessions.map(|s| s.panel).collect()
        };
        // One session of the car is on its bonnet, another car's too.
        assert_eq!(
            (panels("saloon A"), panels("van B")),
            (vec!["bonnet".to_owned()], vec!["bonnet".into(), "left door".into()])
        );
        let uses = shop.rename_panel(Some("saloon a"), "BONET", "front lid", false).expect("renamed");
        assert_eq!(uses, Uses { readings: 1, notes: 2, ..Uses::default() });
        assert!(shop.notes().expect("read").iter().all(|n| n.panel == "front lid"));
        refused(
            shop.rename_panel(Some("saloon A"), "front lid", "Bonnet", false),
            &["already a panel of saloon A called \"bonnet\"", "nothing was changed", "--merge"],
        );
        assert_eq!(shop.film_readings().expect("read")[0].panel, "front lid", "nothing was changed");
        shop.rename_panel(Some("saloon A"), "front lid", "bonnet", true).expect("merged");
        assert_eq!(shop.film_readings().expect("read")[0].panel, "bonnet");
        shop.rename_panel(Some("saloon A"), "bonnet", "hood", false).expect("renamed");
        assert_eq!(
            (panels("saloon A"), panels("van B")),
            (vec!["hood".to_owned()], vec!["bonnet".into(), "left door".into()])
        );
        refused(
            shop.rename_panel(Some("saloon A"), "roof", "x", false),
            &["saloon A has no panel called \"roof\"; it has hood"],
        );
        refused(
            shop.rename_panel(Some("saloon A"), "hood", "roof", true),
            &["no panel called \"roof\"", "without --merge"],
        );
        refused(shop.rename_panel(Some("saloon A"), "hood", "\u{7}", false), &["1 to 80 characters"]);
    }

    #[test]
    fn a_panel_of_work_without_a_vehicle_is_renamed_on_no_vehicle() {
        let shop = shop();
        refused(
            shop.rename_panel(None, "bonnet", "hood", false),
            &["work without a vehicle has no panel called \"bonnet\"", "add --vehicle LABEL"],
        );
        let on = shop.sessions().expect("read").into_iter().find(|s| s.panel == "bonnet").expect("one").id;
        shop.db.execute("UPDATE sessions SET vehicle_id = NULL WHERE id = ?1", [on]).expect("untold");
        let uses = shop.rename_panel(None, "Bonnet", "hood", false).expect("renamed");
        assert_eq!(uses.words(), format!("1 session ({on})"));
        let (hoods, rest): (Vec<_>, Vec<_>) =
            shop.sessions().expect("read").into_iter().partition(|s| s.panel == "hood");
        assert_eq!(hoods.len(), 1);
        assert!(rest.iter().any(|s| s.panel == "bonnet"), "a vehicle's keeps its name");
    }
}
