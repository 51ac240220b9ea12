//! From filed sessions to groups of working days.

use std::collections::{BTreeMap, HashMap};

use super::model::Day;
use super::{By, FIGURES, Figure};
use crate::guidance::units::count;
use crate::shop::{Id, PassFigures, SectionPlace, Session, Shop, Vehicle};

/// What is asked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Question {
    /// What makes a group.
    pub by: By,
    /// Only this technician's sessions.
    pub technician: Option<Id>,
    /// Only sessions with this machine.
    pub machine: Option<Id>,
    /// Only sessions with this pad.
    pub pad: Option<Id>,
    /// Only sessions with this liquid.
    pub liquid: Option<Id>,
    /// Only sessions on or after this day, `YYYY-MM-DD`.
    pub from: Option<String>,
    /// Only sessions on or before this day.
    pub to: Option<String>,
}

impl Question {
    fn takes(&self, session: &Session) -> bool {
        let is = |asked: Option<Id>, has: Option<Id>| asked.is_none() || asked == has;
        is(self.technician, Some(session.technician))
            && is(self.machine, session.machine)
            && is(self.pad, session.pad)
            && is(self.liquid, session.liquid)
            && self.from.as_ref().is_none_or(|day| session.day >= *day)
            && self.to.as_ref().is_none_or(|day| session.day <= *day)
    }
}

/// One technician's day, and what it gave on one figure.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkingDay {
    /// `YYYY-MM-DD`.
    pub date: String,
    /// Who worked.
    pub technician: String,
    /// What it gave.
    pub gave: Day,
}

/// Who or what one group is, and what it did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GroupDays {
    /// Row of the technician or machine; for pad and liquid the pad's.
    pub id: Id,
    /// Its name.
    pub name: String,
    /// Sessions in it.
    pub sessions: usize,
    /// Passes in it.
    pub passes: usize,
    /// Sessions of which no machine was told.
    pub without_machine: usize,
    /// Names of the machines used, with the number of passes; an empty name means "not told".
    pub machines: BTreeMap<String, usize>,
    /// Names of the technicians, with the number of passes.
    pub technicians: BTreeMap<String, usize>,
    /// Pads with liquids, with the number of passes; an empty name means "not told".
    pub products: BTreeMap<String, usize>,
    /// Paints in words, with the number of passes; an empty name means "not told". One that is not known is named by its vehicle,
    /// for it may be like no other.
    pub paints: BTreeMap<String, usize>,
    /// Plans' bands in force, mm/s rounded to a tenth, with the number of passes.
    pub bands: BTreeMap<(i64, i64), usize>,
    /// Per figure, in order of days. A technician's day and another's are two.
    pub days: [Vec<WorkingDay>; FIGURES],
    /// Sessions whose figures come from a virtual sensor or a generator.
    pub invented: usize,
}

impl GroupDays {
    /// Working days with any figure.
    pub fn day_count(&self) -> usize {
        self.days.iter().map(Vec::len).max().unwrap_or(0)
    }

    /// First and last day.
    pub fn span(&self) -> Option<(&str, &str)> {
        let days = self.days.iter().max_by_key(|d| d.len())?;
        Some((&days.first()?.date, &days.last()?.date))
    }

    /// How many working days, in words; where several technicians worked, that the days are theirs together.
    pub fn days_words(&self) -> String {
        let days = count(self.day_count(), "working day", "working days");
        match self.technicians.len() {
            0 | 1 => days,
            n => format!("{days} (of {n} technicians)"),
        }
    }
}

/// Reads the shop and sorts its passes into groups and days, by name of group.
///
/// # Errors
/// When the store cannot be read.
pub fn gather(shop: &Shop, question: &Question) -> crate::shop::Result<Vec<GroupDays>> {
    let names = Names::of(shop)?;
    let sessions = shop.sessions()?;
    let taken: HashMap<Id, &Session> = sessions.iter().filter(|s| question.takes(s)).map(|s| (s.id, s)).collect();
    let passes = shop.pass_figures()?;
    let mut passes_of: HashMap<Id, usize> = HashMap::new();
    passes.iter().for_each(|pass| *passes_of.entry(pass.session).or_default() += 1);
    let mut groups: BTreeMap<(Id, Id), GroupDays> = BTreeMap::new();
    let mut keys: HashMap<Id, (Id, Id)> = HashMap::new();
    for session in sessions.iter().filter(|s| taken.contains_key(&s.id)) {
        let Some((key, name)) = names.group(question.by, session) else { continue };
        keys.insert(session.id, key);
        let group = groups.entry(key).or_insert_with(|| GroupDays { id: key.0, name, ..GroupDays::default() });
        group.sessions += 1;
        group.invented += usize::from(matches!(session.source.as_str(), "simulation" | "generated"));
        group.without_machine += usize::from(session.machine.is_none());
        let passes = passes_of.get(&session.id).copied().unwrap_or_default();
        *group.machines.entry(session.machine.map_or(String::new(), |m| names.machine(m))).or_default() += passes;
        *group.technicians.entry(names.technician(session.technician)).or_default() += passes;
        *group.products.entry(names.product(session).unwrap_or_default()).or_default() += passes;
        *group.paints.entry(names.paint(session)).or_default() += passes;
        let tenth = |mps: f64| (mps * 1e4).round() as i64;
        *group.bands.entry((tenth(session.pace_mps.0), tenth(session.pace_mps.1))).or_default() += passes;
    }
    // Figures of a group's day, the day being one technician's.
    type Cell<'a> = ((Id, Id), (&'a str, Id));
    let mut cells: BTreeMap<Cell<'_>, [Vec<f64>; FIGURES]> = BTreeMap::new();
    // Passes on each place in the day, whatever sessions they are of.
    let mut places: BTreeMap<(Cell<'_>, SectionPlace), usize> = BTreeMap::new();
    for section in passes.chunk_by(|a, b| a.section == b.section) {
        let Some(&key) = keys.get(&section[0].session) else { continue };
        let session = taken[&section[0].session];
        let of: Cell<'_> = (key, (&session.day, session.technician));
        let cell = cells.entry(of).or_default();
        for pass in section {
            add(cell, pass);
        }
        *places.entry((of, SectionPlace::of(session, section[0].section_number))).or_default() += section.len();
        if let Some(group) = groups.get_mut(&key) {
            group.passes += section.len();
        }
    }
    for ((of, _), passes) in places {
        cells.entry(of).or_default()[Figure::PassesPerSection.index()].push(passes as f64);
    }
    for ((key, (date, technician)), values) in cells {
        let Some(group) = groups.get_mut(&key) else { continue };
        let technician = names.technician(technician);
        for (days, values) in group.days.iter_mut().zip(&values) {
            days.extend(Day::of(values).map(|gave| WorkingDay {
                date: date.to_owned(),
                technician: technician.clone(),
                gave,
            }));
        }
    }
    let mut groups: Vec<GroupDays> = groups.into_values().collect();
    groups.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(groups)
}

/// What rise and droop depend on of a paint, its hardness and kind, as in "hard clear-coat".
fn paint_words(vehicle: &Vehicle) -> String {
    match [&vehicle.hardness, &vehicle.paint].map(String::as_str) {
        [hardness, paint] if hardness == "unknown" || paint == "unknown" => {
            format!("that of {}, not all known", vehicle.label)
        }
        [hardness, paint] => format!("{hardness} {paint}"),
    }
}

fn add(cell: &mut [Vec<f64>; FIGURES], pass: &PassFigures) {
    for figure in Figure::ALL {
        cell[figure.index()].extend(figure.of(pass));
    }
}

pub(super) struct Names {
    technicians: HashMap<Id, String>,
    machines: HashMap<Id, String>,
    products: HashMap<Id, String>,
    paints: HashMap<Id, String>,
}

impl Names {
    pub(super) fn of(shop: &Shop) -> crate::shop::Result<Self> {
        Ok(Self {
            technicians: shop.technicians()?.into_iter().map(|k| (k.id, k.entry.name)).collect(),
            machines: shop.machines()?.into_iter().map(|k| (k.id, k.entry.name)).collect(),
            products: shop.products()?.into_iter().map(|k| (k.id, k.entry.name)).collect(),
            paints: shop.vehicles()?.into_iter().map(|k| (k.id, paint_words(&k.entry))).collect(),
        })
    }

    fn technician(&self, id: Id) -> String {
        self.technicians.get(&id).cloned().unwrap_or_default()
    }

    pub(super) fn machine(&self, id: Id) -> String {
        self.machines.get(&id).cloned().unwrap_or_default()
    }

    /// Pad and liquid; `None` where either was not told.
    pub(super) fn product(&self, session: &Session) -> Option<String> {
        Some(format!("{} with {}", self.products.get(&session.pad?)?, self.products.get(&session.liquid?)?))
    }

    pub(super) fn paint(&self, session: &Session) -> String {
        session.vehicle.and_then(|id| self.paints.get(&id)).cloned().unwrap_or_default()
    }

    /// Key and name of a session's group; `None` where what makes the group was not told.
    fn group(&self, by: By, session: &Session) -> Option<((Id, Id), String)> {
        match by {
            By::Technician => Some(((session.technician, 0), self.technician(session.technician))),
            By::Machine => session.machine.map(|m| ((m, 0), self.machine(m))),
            By::PadAndLiquid => {
                let name = self.product(session)?;
                Some(((session.pad?, session.liquid?), name))
            }
        }
    }
}
