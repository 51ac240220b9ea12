//! The hardness ledger: what a metre of rubbing took off each paint.
//!
//! # Data flow
//!
//! ```text
//! Panel (film::panels) with its removal ───────────────┐
//! rubbing distance of the sessions on that panel ──────┴─► Wear, µm per metre rubbed ─► ledger
//! ```
//!
//! Where enough points were read at known places of a section, each is set against what was rubbed at its own place
//! ([`super::points`]); else the panel's mean removal against the sections' mean rubbing distance ([`Rubbed`]).
//!
//! # Model
//!
//! Preston (The theory and design of plate glass polishing machines, J. Soc. Glass Technol. 11 (1927) 214-256): removal =
//! k · pressure · rubbing distance. Pressure is **not measured**, so what is given, µm per m, is k times the pressure these
//! hands used; it compares paints, pads and liquids as this shop works, not materials as such.

use std::collections::{BTreeMap, BTreeSet};
use std::iter::Sum;

use super::film::{Gauge, Panel, RUBBING_RELATIVE_SD, Um, film, ratio};
use super::points::{FEWEST, Maps, slope};
use super::sessions::RECORDING;
use super::{Id, Result, Session, Shop};
use crate::guidance::Units;
use crate::name;

/// What a pad and liquid take off a paint per metre rubbed.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// The vehicle's row.
    pub vehicle: Id,
    /// Panel.
    pub panel: String,
    /// Pad and liquid.
    pub used: Used,
    /// Removal, µm.
    pub removal: Um,
    /// Rubbing distance, all sessions on the panel, m: mean of the points, or over the worked area.
    pub rubbed_m: f64,
    /// µm per m.
    pub wear: f64,
    /// Its 90 % interval, µm per m.
    pub interval: (f64, f64),
    /// What it was worked out from.
    pub basis: Basis,
    /// What the user must know.
    pub caution: Option<Doubt>,
    /// Days of the sessions.
    pub days: Vec<String>,
}

/// With what the sessions on a panel were worked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Used {
    /// All with this pad and liquid, their rows.
    One(Id, Id),
    /// With several pads or liquids.
    Several,
    /// None of them tells both.
    NotTold,
    /// Some of them do not tell both.
    PartlyTold,
}

impl Used {
    fn of(sessions: &[&Session]) -> Self {
        let told: BTreeSet<(Id, Id)> = sessions.iter().filter_map(|s| s.pad.zip(s.liquid)).collect();
        let all = sessions.iter().all(|s| s.pad.is_some() && s.liquid.is_some());
        match (told.first(), told.len(), all) {
            (None, ..) => Self::NotTold,
            (_, 2.., _) => Self::Several,
            (Some(_), _, false) => Self::PartlyTold,
            (Some(&(pad, liquid)), ..) => Self::One(pad, liquid),
        }
    }
}

/// What casts doubt on a wear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// The points read so far apart where nothing was rubbed, µm.
    Constant(f64),
    /// The places of the readings could not be used.
    NoPlaces,
}

impl Wear {
    /// What the user must know, in words.
    pub fn caution_words(&self, units: Units) -> Option<String> {
        let panel = &self.panel;
        Some(match self.caution? {
            Doubt::Constant(um) => format!(
                "{panel}: the points read {} apart where nothing was rubbed. Rubbing does not explain that: a gauge zeroed anew, \
                 wax or residue, or other places. The figure cannot be trusted.",
                film(um, 1, units)
            ),
            Doubt::NoPlaces => format!(
                "{panel}: the places of the readings could not be used; they need readings before and after, a recording of that \
                 section, and the section's size in its plan (section_m)."
            ),
        })
    }
}

/// What a section was rubbed on average, m, at a place that is not known: the bounds.
///
/// Where a pass lay upon the others is known no better than its way was measured. Laid as measured, all passes together cover more than
/// each of them, and the mean over all of that is the least; laid exactly upon each other, every place got the sum of the passes' own
/// means, which is the most.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rubbed {
    /// Passes laid as measured, m.
    pub least_m: f64,
    /// Passes laid exactly upon each other, m.
    pub most_m: f64,
}

impl Rubbed {
    /// The middle between the bounds, m.
    pub fn middle_m(self) -> f64 {
        (self.least_m + self.most_m) / 2.0
    }

    /// One standard deviation, m: anywhere between the bounds (JCGM 100:2008, 4.3.7), and the scale.
    pub fn sd_m(self) -> f64 {
        let between = (self.most_m - self.least_m) / 12f64.sqrt();
        between.hypot(self.middle_m() * RUBBING_RELATIVE_SD)
    }
}

impl Sum for Rubbed {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::default(), |a, b| Self { least_m: a.least_m + b.least_m, most_m: a.most_m + b.most_m })
    }
}

/// What a wear was worked out from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// So many points, each against the rubbing distance at its own place.
    Points(usize),
    /// Mean removal of so many points against the sections' mean rubbing distance.
    Means(usize),
}

impl Basis {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Points(n) => format!("{n} points, each at its own place"),
            Self::Means(1) => "1 point, against section means".into(),
            Self::Means(n) => format!("{n} points, against section means"),
        }
    }
}

/// The ledger: every panel with a removal and a known rubbing distance.
///
/// * `rubbed`: mean rubbing distance of each session, m; `maps`: where on their sections.
pub fn ledger(
    panels: &[Panel],
    gauge: Option<Gauge>,
    sessions: &[Session],
    rubbed: &BTreeMap<Id, Rubbed>,
    maps: &Maps,
) -> Vec<Wear> {
    let mut ledger = Vec::new();
    for panel in panels {
        // What was taken there is not known, at its places no better than as a whole.
        if panel.has_misfit() {
            continue;
        }
        let on: Vec<&Session> = on(panel, sessions).collect();
        let Some(found) = by_points(panel, gauge, &on, maps).or_else(|| by_means(panel, &on, rubbed, maps)) else {
            continue;
        };
        ledger.push(Wear { used: Used::of(&on), days: on.iter().map(|s| s.day.clone()).collect(), ..found });
    }
    ledger.sort_by(|a, b| b.wear.total_cmp(&a.wear));
    ledger
}

/// A panel that was read and worked and is not in the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// The vehicle's row.
    pub vehicle: Id,
    /// Panel.
    pub panel: String,
    /// What it lacks.
    pub why: Lack,
}

/// Why a panel that was read and worked is not in the ledger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lack {
    /// No point was read before and after.
    Pairs,
    /// Readings of one point that fit together.
    Misfit,
    /// The spread of the gauge.
    Spread,
    /// It reads thicker than before.
    Grew,
    /// The rubbing distance of a session on it.
    Rubbed,
}

impl Lack {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Pairs => "no point of it was read before and after the work",
            Self::Misfit => {
                "readings of one of its points do not fit together, so nobody can say what was taken; `thickness show` tells which. Measure \
                 there again, and take the slip away"
            }
            Self::Spread => "the gauge's spread is not known, so nobody can say what was taken",
            Self::Grew => "it reads thicker than before",
            Self::Rubbed => "the rubbing distance of a session on it is not known",
        }
    }
}

/// Panels with readings and sessions that [`ledger`] has no figure of.
pub fn left_out(panels: &[Panel], ledger: &[Wear], sessions: &[Session]) -> Vec<LeftOut> {
    let is_in = |panel: &Panel| ledger.iter().any(|w| w.vehicle == panel.vehicle && w.panel == panel.name);
    let mut out = Vec::new();
    for panel in panels.iter().filter(|panel| !is_in(panel)) {
        if on(panel, sessions).next().is_none() {
            continue;
        }
        let why = match panel.removal {
            None if panel.pairs == 0 => Lack::Pairs,
            None if panel.has_misfit() => Lack::Misfit,
            None => Lack::Spread,
            Some(removal) if removal.grew() => Lack::Grew,
            Some(_) => Lack::Rubbed,
        };
        out.push(LeftOut { vehicle: panel.vehicle, panel: panel.name.clone(), why });
    }
    out
}

/// The sessions on a panel.
fn on<'a>(panel: &Panel, sessions: &'a [Session]) -> impl Iterator<Item = &'a Session> {
    sessions.iter().filter(|s| s.vehicle == Some(panel.vehicle) && name::same(&s.panel, &panel.name))
}

fn by_points(panel: &Panel, gauge: Option<Gauge>, on: &[&Session], maps: &Maps) -> Option<Wear> {
    let ids: Vec<Id> = on.iter().map(|s| s.id).collect();
    // Whatever the gauge, its readings are known no better than they are written.
    let rounding = Gauge { sd_um: panel.rounding_um, df: f64::INFINITY, left_out: 0 };
    let gauge = gauge.filter(|g| g.sd_um > rounding.sd_um).unwrap_or(rounding);
    let found = slope(&maps.spots(panel, &ids), Some(gauge))?;
    // Film that grew as a whole is no wear, whatever a line through it says.
    (!found.removal.grew()).then(|| Wear {
        vehicle: panel.vehicle,
        panel: panel.name.clone(),
        used: Used::NotTold,
        removal: found.removal,
        rubbed_m: found.rubbed_m,
        wear: found.um_per_m,
        interval: found.interval,
        basis: Basis::Points(found.points),
        caution: found.constant_um.map(Doubt::Constant),
        days: Vec::new(),
    })
}

fn by_means(panel: &Panel, on: &[&Session], rubbed: &BTreeMap<Id, Rubbed>, maps: &Maps) -> Option<Wear> {
    let removal = panel.removal.filter(|r| !r.grew())?;
    // One session without a rubbing distance, and the sum would be too small.
    let distances: Option<Vec<Rubbed>> = on.iter().map(|s| rubbed.get(&s.id).copied()).collect();
    let rubbed: Rubbed = distances.filter(|d| !d.is_empty())?.into_iter().sum();
    let rubbed_m = rubbed.middle_m();
    let (wear, interval) = ratio(removal, rubbed_m, rubbed.sd_m())?;
    let ids: Vec<Id> = on.iter().map(|s| s.id).collect();
    let placed = panel.points.values().filter(|p| p.place().is_some()).count();
    let unused = placed >= FEWEST && maps.spots(panel, &ids).len() < FEWEST;
    Some(Wear {
        vehicle: panel.vehicle,
        panel: panel.name.clone(),
        used: Used::NotTold,
        removal,
        rubbed_m,
        wear,
        interval,
        basis: Basis::Means(panel.pairs),
        caution: unused.then_some(Doubt::NoPlaces),
        days: Vec::new(),
    })
}

impl Shop {
    /// Each session's share of the mean rubbing distance over the sections of its recording, m, so that the parts of a recording
    /// in which the machine changed hands add up to the whole; sessions with a section that has none are left out.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rubbed_m(&self) -> Result<BTreeMap<Id, Rubbed>> {
        let rows = self.rows(
            &format!(
                "WITH named AS (SELECT id, {RECORDING} AS recording FROM sessions),
             worked AS (SELECT n.recording, count(DISTINCT s.number) AS sections
                 FROM named n JOIN sections s ON s.session_id = n.id GROUP BY n.recording),
             passed AS (SELECT section_id, sum(rubbing_mean_m) AS rubbed_m FROM passes
                 GROUP BY section_id HAVING count(*) = count(rubbing_mean_m))
             SELECT n.id, sum(s.rubbing_mean_m) / w.sections,
                 sum(max(s.rubbing_mean_m, coalesce(p.rubbed_m, 0))) / w.sections
             FROM named n JOIN sections s ON s.session_id = n.id LEFT JOIN passed p ON p.section_id = s.id
             JOIN worked w ON w.recording = n.recording GROUP BY n.id HAVING count(*) = count(s.rubbing_mean_m)"
            ),
            |row| Ok((row.get(0)?, Rubbed { least_m: row.get(1)?, most_m: row.get(2)? })),
        )?;
        Ok(rows.into_iter().collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::{FilmReading, Phase, film::panels};

    fn session() -> Session {
        Session {
            id: 1,
            recording: None,
            started: "2026-03-02T08:00:00+01:00".into(),
            day: "2026-03-02".into(),
            technician: 1,
            machine: None,
            vehicle: Some(1),
            pad: Some(2),
            liquid: Some(3),
            panel: "Left Door".into(),
            trainer: false,
            source: "invented".into(),
            seconds: 600.0,
            running_s: 500.0,
            lost: String::new(),
            pace_mps: (0.0127, 0.0254),
            heat_limit_k: 11.1,
            part: 1,
        }
    }

    fn reading(phase: Phase, film_um: f64) -> FilmReading {
        FilmReading {
            vehicle: 1,
            panel: "left door".into(),
            point: "1".into(),
            phase,
            day: "2026-03-02".into(),
            film_um,
            place: None,
            note: String::new(),
        }
    }

    fn after_reading(after_um: f64) -> Vec<Panel> {
        panels(&[reading(Phase::Before, 110.0), reading(Phase::After, after_um)], Gauge::of(Some(1.0), &[]), None)
    }

    #[test]
    fn wear_is_removal_over_what_was_rubbed_and_film_that_grew_gives_none() {
        let rubbed = BTreeMap::from([(1, Rubbed { least_m: 20.0, most_m: 20.0 })]);
        let ledger = |panels: &[Panel]| ledger(panels, None, &[session()], &rubbed, &Maps::default());
        let [wear] = &ledger(&after_reading(106.0))[..] else { panic!("one panel, one session") };
        // (110 - 106) µm / 20 m; Fieller's interval is tested where it is worked out.
        assert!((wear.wear - 0.2).abs() < 1e-12, "{wear:?}");
        assert_eq!((wear.used, wear.basis), (Used::One(2, 3), Basis::Means(1)));
        let grown = after_reading(130.0);
        assert!(grown[0].cautions[0].words(crate::guidance::Units::Si).contains("thicker than before"));
        assert!(ledger(&grown).is_empty());
    }

    #[test]
    fn several_pads_and_liquids_are_not_taken_for_untold_ones() {
        let with = |pad, liquid| Session { pad, liquid, ..session() };
        let used = |sessions: &[Session]| Used::of(&sessions.iter().collect::<Vec<_>>());
        let (one, other, half) = (with(Some(2), Some(3)), with(Some(2), Some(4)), with(Some(2), None));
        assert_eq!(used(&[one.clone(), one.clone()]), Used::One(2, 3));
        assert_eq!(used(&[one.clone(), other, half.clone()]), Used::Several);
        assert_eq!(used(&[half.clone(), half.clone()]), Used::NotTold);
        assert_eq!(used(&[one, half]), Used::PartlyTold);
    }

    #[test]
    fn a_panel_that_was_read_and_worked_is_left_out_with_its_reason() {
        let rubbed = BTreeMap::from([(1, Rubbed { least_m: 20.0, most_m: 20.0 })]);
        let why = |panels: &[Panel], sessions: &[Session], rubbed: &BTreeMap<Id, Rubbed>| {
            let ledger = ledger(panels, None, sessions, rubbed, &Maps::default());
            left_out(panels, &ledger, sessions).into_iter().map(|l| l.why).collect::<Vec<_>>()
        };
        let (read, here) = (after_reading(106.0), [session()]);
        assert_eq!(why(&read, &here, &rubbed), []);
        assert_eq!(why(&read, &[], &BTreeMap::new()), [], "nobody worked there");
        assert_eq!(why(&read, &here, &BTreeMap::new()), [Lack::Rubbed]);
        assert_eq!(why(&after_reading(130.0), &here, &rubbed), [Lack::Grew]);
        let without = |change: fn(&mut Panel)| {
            let mut panels = after_reading(106.0);
            change(&mut panels[0]);
            why(&panels, &here, &rubbed)
        };
        assert_eq!(without(|panel| panel.removal = None), [Lack::Spread]);
        let [before, one, other] =
            [(Phase::Before, 110.0), (Phase::After, 85.0), (Phase::After, 40.0)].map(|(at, um)| reading(at, um));
        let two = panels(&[before, one, other], Gauge::of(Some(1.0), &[]), None);
        assert_eq!(why(&two, &here, &rubbed), [Lack::Misfit]);
        assert_eq!(without(|panel| (panel.removal, panel.pairs) = (None, 0)), [Lack::Pairs]);
    }

    /// Where the passes of a section lie upon each other is not known: what they rubbed together lies between two bounds.
    #[test]
    fn the_middle_between_the_bounds_is_divided_by_and_their_distance_is_in_the_interval() {
        let wear = |least_m, most_m| {
            let rubbed = BTreeMap::from([(1, Rubbed { least_m, most_m })]);
            ledger(&after_reading(106.0), None, &[session()], &rubbed, &Maps::default()).remove(0)
        };
        let (sure, open) = (wear(20.0, 20.0), wear(15.0, 25.0));
        assert_eq!((sure.rubbed_m, open.rubbed_m), (20.0, 20.0));
        assert!((sure.wear - open.wear).abs() < 1e-12);
        assert!(open.interval.1 > sure.interval.1, "{open:?} {sure:?}");
        // Closed form: 10 / √12 m between the bounds, 8 % of 20 m for the scale.
        let sd_m = Rubbed { least_m: 15.0, most_m: 25.0 }.sd_m();
        assert!((sd_m - (100.0f64 / 12.0 + 1.6 * 1.6).sqrt()).abs() < 1e-12, "{sd_m}");
    }
}
