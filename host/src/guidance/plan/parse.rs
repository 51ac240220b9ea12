//! From TOML to a plan.

use std::io;

use toml::de::DeTable;

use crate::analysis::MachineKind;

use super::error::{Problem, Source, unread};
use super::keys::*;
use super::table::{Found, Table, wrong};
use super::{Band, MachineProfile, Plan, PlanError, profiles};
use crate::guidance::units::{K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH, Units};

/// Gives the text of a machine profile that a plan names by path.
pub type ProfileLookup<'a> = dyn Fn(&str) -> io::Result<String> + 'a;

const KINDS: &[(&str, MachineKind)] = &[("orbital", MachineKind::Orbital), ("rotary", MachineKind::Rotary)];
const UNITS: &[(&str, Units)] = &[("si", Units::Si), ("us", Units::Us)];

/// What a `[machine]` table or a profile says, before it is complete.
#[derive(Clone, Default)]
struct Draft {
    name: Option<String>,
    kind: Option<MachineKind>,
    throw_mm: Option<Found<f64>>,
    pad_diameter_mm: Option<f64>,
    /// Band with the kind of machine whose unit it was written in.
    rate: Option<(Found<Band>, MachineKind)>,
}

impl Plan {
    /// Reads a plan that is complete in itself, such as one from a recording.
    ///
    /// # Errors
    /// [`PlanError::Content`].
    pub fn from_toml(source: &Source) -> Result<Self, PlanError> {
        Self::read(source, &|_| Err(io::Error::other("this plan has no folder to look in")))
    }

    /// Reads a plan as it is typed; `lookup` gives the text of machine profiles named by path.
    ///
    /// # Errors
    /// [`PlanError::Content`], also for figures that contradict each other: those of recordings were taken once and must read.
    pub fn parse(source: &Source, lookup: &ProfileLookup<'_>) -> Result<Self, PlanError> {
        let plan = Self::read(source, lookup)?;
        match plan.contradiction() {
            Some((key, problem)) => Err(wrong(source.at(key_in(&source.text, key)), problem)),
            None => Ok(plan),
        }
    }

    /// Two figures that cannot both be meant, and the key of one.
    fn contradiction(&self) -> Option<(&'static str, Problem)> {
        let contradiction = |key, other, why| Some((key, Problem::Contradiction { key, other, why }));
        let MachineProfile { throw_mm, pad_diameter_mm, .. } = self.machine;
        if let Some(throw) = throw_mm.filter(|throw| *throw >= pad_diameter_mm) {
            let why = format!("an orbit of {throw} mm is as wide as the pad of {pad_diameter_mm} mm, or wider");
            return contradiction(THROW_MM.name, PAD_DIAMETER_MM.name, why);
        }
        if let (Some(stroke), Some([width, height])) = (self.stroke_length_m, self.section_m) {
            // From corner to corner, and over the edges by half a pad at either end.
            let longest = width.hypot(height) + pad_diameter_mm / 1e3;
            if stroke > longest {
                let why = format!(
                    "in a section of {width:.2} by {height:.2} m no stroke is {stroke:.2} m long, the longest has {longest:.2} m"
                );
                return contradiction(STROKE_LENGTH_M.name, SECTION_M.name, why);
            }
        }
        None
    }

    fn read(source: &Source, lookup: &ProfileLookup<'_>) -> Result<Self, PlanError> {
        let document = document(source)?;
        let top = Table::new(source, document.get_ref(), 0..0, PLAN_KEYS)?;
        let defaults = Self::default();

        let told = top.table("machine", MACHINE_KEYS)?;
        let machine_told = told.is_some();
        let (machine, profile_rate) = match told {
            Some(table) => machine(&table, lookup)?,
            None => (defaults.machine, None),
        };
        let orbit_per_min = match rate(&top)? {
            Some((band, unit)) if unit == machine.kind => Some(band.value),
            Some((band, unit)) => return Err(misfit_rate(band, unit)),
            None => profile_rate,
        };
        let metres = |inches: f64| inches * MM_PER_INCH / 1e3;
        let section = top.either((SECTION_M, SECTION_IN), Table::pair, |pair| pair.map(metres))?;
        Ok(Self {
            technician: top.text("technician")?.map(|found| found.value),
            panel: top.text("panel")?.map(|found| found.value),
            units: top.word("units", UNITS)?.map_or(defaults.units, |found| found.value),
            pace_mm_s: top
                .either((PACE_MM_S, PACE_IN_S), Table::band, |band| band.times(MM_PER_INCH))?
                .unwrap_or(defaults.pace_mm_s),
            orbit_per_min,
            // A rise is a difference: no offset.
            heat_rise_k: top
                .either((HEAT_RISE_K, HEAT_RISE_DEGF), Table::number, |degrees| degrees * K_PER_FAHRENHEIT_DEGREE)?
                .unwrap_or(defaults.heat_rise_k),
            stroke_length_m: top.either((STROKE_LENGTH_M, STROKE_LENGTH_IN), Table::number, metres)?,
            section_m: section,
            emissivity: top.number(EMISSIVITY)?.map_or(defaults.emissivity, |found| found.value),
            machine,
            machine_told,
        })
    }
}

/// Where a key stands in a plan's text, in whatever unit it is written; the beginning where a profile says it.
fn key_in(text: &str, key: &str) -> std::ops::Range<usize> {
    let stem = key.trim_end_matches("_mm").trim_end_matches("_m");
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let indent = line.len() - line.trim_start().len();
        if line.trim_start().starts_with(stem) {
            return at + indent..at + line.trim_end().len();
        }
        at += line.len();
    }
    0..0
}

fn document(source: &Source) -> Result<toml::Spanned<DeTable<'_>>, PlanError> {
    DeTable::parse(&source.text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        wrong(source.at(span), Problem::Syntax { message: error.message().to_owned() })
    })
}

/// The `[machine]` table: a profile, then what the table says itself on top of it.
fn machine(table: &Table<'_>, lookup: &ProfileLookup<'_>) -> Result<(MachineProfile, Option<Band>), PlanError> {
    let base = match table.text("profile")? {
        None => Draft::default(),
        Some(profile) => {
            let (name, text) = match profiles::text(&profile.value) {
                Some(text) => (format!("machine profile {}", profile.value), text.to_owned()),
                None if profile.value.ends_with(".toml") => match lookup(&profile.value) {
                    Ok(text) => (profile.value, text),
                    Err(error) => {
                        let problem = Problem::Profile { file: profile.value, message: unread(&error) };
                        return Err(wrong(profile.place, problem));
                    }
                },
                None => {
                    let known = profiles::names().collect();
                    return Err(wrong(
                        profile.place,
                        Problem::UnknownWord { key: "profile", value: profile.value, known },
                    ));
                }
            };
            let source = Source::new(&name, &text);
            let document = document(&source)?;
            let table = Table::new(&source, document.get_ref(), 0..0, PROFILE_KEYS)?;
            let mut draft = draft(&table)?;
            draft.rate = rate(&table)?;
            // A profile is complete in itself, whatever the plan adds.
            finish(&table, draft.clone())?;
            draft
        }
    };
    let own = draft(table)?;
    let (machine, rate) = finish(
        table,
        Draft {
            name: own.name.or(base.name),
            kind: own.kind.or(base.kind),
            throw_mm: own.throw_mm.or(if own.kind == Some(MachineKind::Rotary) { None } else { base.throw_mm }),
            pad_diameter_mm: own.pad_diameter_mm.or(base.pad_diameter_mm),
            rate: base.rate.filter(|(_, unit)| own.kind.is_none_or(|kind| kind == *unit)),
        },
    )?;
    Ok((machine, rate))
}

fn draft(table: &Table<'_>) -> Result<Draft, PlanError> {
    Ok(Draft {
        name: table.text("name")?.map(|found| found.value),
        kind: table.word("kind", KINDS)?.map(|found| found.value),
        throw_mm: table.number(THROW_MM)?,
        pad_diameter_mm: table
            .either((PAD_DIAMETER_MM, PAD_DIAMETER_IN), Table::number, |inches| inches * MM_PER_INCH)?,
        rate: None,
    })
}

fn finish(table: &Table<'_>, draft: Draft) -> Result<(MachineProfile, Option<Band>), PlanError> {
    let missing = |key| wrong(table.place(), Problem::Missing { key });
    let kind = draft.kind.ok_or_else(|| missing("kind"))?;
    let throw_mm = match (kind, draft.throw_mm) {
        (MachineKind::Orbital, Some(found)) => Some(found.value),
        (MachineKind::Orbital, None) => return Err(missing(THROW_MM.name)),
        (MachineKind::Rotary, None) => None,
        (MachineKind::Rotary, Some(found)) => {
            return Err(wrong(found.place, Problem::DoesNotFit { key: THROW_MM.name, why: "a rotary has no orbit" }));
        }
    };
    let pad_diameter_mm = draft.pad_diameter_mm.ok_or_else(|| missing(PAD_DIAMETER_MM.name))?;
    let rate = match draft.rate {
        Some((band, unit)) if unit != kind => return Err(misfit_rate(band, unit)),
        other => other.map(|(band, _)| band.value),
    };
    Ok((MachineProfile { name: draft.name, kind, throw_mm, pad_diameter_mm }, rate))
}

/// The band of the orbit rate or speed, with the kind of machine that is counted so.
fn rate(table: &Table<'_>) -> Result<Option<(Found<Band>, MachineKind)>, PlanError> {
    match (table.band(ORBIT_OPM)?, table.band(SPEED_RPM)?) {
        (Some(_), Some(rpm)) => Err(wrong(rpm.place, Problem::Twice { first: ORBIT_OPM.name, second: SPEED_RPM.name })),
        (Some(opm), None) => Ok(Some((opm, MachineKind::Orbital))),
        (None, Some(rpm)) => Ok(Some((rpm, MachineKind::Rotary))),
        (None, None) => Ok(None),
    }
}

fn misfit_rate(band: Found<Band>, unit: MachineKind) -> PlanError {
    let (key, why) = match unit {
        MachineKind::Orbital => (ORBIT_OPM.name, "the machine is a rotary; its key is `speed_rpm`"),
        MachineKind::Rotary => (SPEED_RPM.name, "the machine is an orbital; its key is `orbit_opm`"),
    };
    wrong(band.place, Problem::DoesNotFit { key, why })
}
