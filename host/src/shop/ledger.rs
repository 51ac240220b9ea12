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
//! ([`super::points`]); else the panel's mean removal against the sections' mean rubbing distance.
//!
//! # Model
//!
//! Preston (The theory and design of plate glass polishing machines, J. Soc. Glass Technol. 11 (1927) 214-256): removal =
//! k · pressure · rubbing distance. Pressure is **not measured**, so what is given, µm per m, is k times the pressure these
//! hands used; it compares paints, pads and liquids as this shop works, not materials as such.

use std::collections::{BTreeMap, BTreeSet};

use super::film::{Gauge, Panel, RUBBING_RELATIVE_SD, Um, ratio};
use super::points::{FEWEST, Maps, slope};
use super::sessions::RECORDING;
use super::{Id, Result, Session, Shop};
use crate::name;

/// What a pad and liquid take off a paint per metre rubbed.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// The vehicle's row.
    pub vehicle: Id,
    /// Panel.
    pub panel: String,
    /// The pad's and liquid's rows; `None` where sessions on the panel used several or did not say.
    pub product: Option<(Id, Id)>,
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
    pub caution: Option<String>,
    /// Days of the sessions.
    pub days: Vec<String>,
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
    rubbed: &BTreeMap<Id, f64>,
    maps: &Maps,
) -> Vec<Wear> {
    let mut ledger = Vec::new();
    for panel in panels {
        let on: Vec<&Session> =
            sessions.iter().filter(|s| s.vehicle == Some(panel.vehicle) && name::same(&s.panel, &panel.name)).collect();
        let products: BTreeSet<Option<(Id, Id)>> = on.iter().map(|s| s.pad.zip(s.liquid)).collect();
        let Some(found) = by_points(panel, gauge, &on, maps).or_else(|| by_means(panel, &on, rubbed, maps)) else {
            continue;
        };
        ledger.push(Wear {
            product: products.iter().next().copied().flatten().filter(|_| products.len() == 1),
            days: on.iter().map(|s| s.day.clone()).collect(),
            ..found
        });
    }
    ledger.sort_by(|a, b| b.wear.total_cmp(&a.wear));
    ledger
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
        product: None,
        removal: found.removal,
        rubbed_m: found.rubbed_m,
        wear: found.um_per_m,
        interval: found.interval,
        basis: Basis::Points(found.points),
        caution: found.constant_um.map(|c| {
            format!(
                "{}: the points read {c:.1} µm apart where nothing was rubbed. Rubbing does not explain that: a gauge zeroed anew, \
                 wax or residue, or other places. The figure cannot be trusted.",
                panel.name
            )
        }),
        days: Vec::new(),
    })
}

fn by_means(panel: &Panel, on: &[&Session], rubbed: &BTreeMap<Id, f64>, maps: &Maps) -> Option<Wear> {
    let removal = panel.removal.filter(|r| !r.grew())?;
    // One session without a rubbing distance, and the sum would be too small.
    let distances: Option<Vec<f64>> = on.iter().map(|s| rubbed.get(&s.id).copied()).collect();
    let rubbed_m = distances.filter(|d| !d.is_empty()).map(|d| d.iter().sum::<f64>())?;
    let (wear, interval) = ratio(removal, rubbed_m, rubbed_m * RUBBING_RELATIVE_SD)?;
    let ids: Vec<Id> = on.iter().map(|s| s.id).collect();
    let placed = panel.points.values().filter(|p| p.place().is_some()).count();
    let unused = placed >= FEWEST && maps.spots(panel, &ids).len() < FEWEST;
    Some(Wear {
        vehicle: panel.vehicle,
        panel: panel.name.clone(),
        product: None,
        removal,
        rubbed_m,
        wear,
        interval,
        basis: Basis::Means(panel.pairs),
        caution: unused.then(|| {
            format!(
                "{}: the places of the readings could not be used; they need readings before and after, a recording of that \
                 section, and the section's size in its plan (section_m).",
                panel.name
            )
        }),
        days: Vec::new(),
    })
}

impl Shop {
    /// Each session's share of the mean rubbing distance over the sections of its recording, m, so that the parts of a recording
    /// in which the machine changed hands add up to the whole; sessions with a section that has none are left out.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rubbed_m(&self) -> Result<BTreeMap<Id, f64>> {
        let rows = self.rows(
            &format!(
                "WITH named AS (SELECT id, {RECORDING} AS recording FROM sessions),
             worked AS (SELECT n.recording, count(DISTINCT s.number) AS sections
                 FROM named n JOIN sections s ON s.session_id = n.id GROUP BY n.recording)
             SELECT n.id, sum(s.rubbing_mean_m) / w.sections FROM named n JOIN sections s ON s.session_id = n.id
             JOIN worked w ON w.recording = n.recording GROUP BY n.id HAVING count(*) = count(s.rubbing_mean_m)"
            ),
            |row| Ok((row.get(0)?, row.get(1)?)),
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

    fn after_reading(after_um: f64) -> Vec<Panel> {
        let reading = |phase, film_um| FilmReading {
            vehicle: 1,
            panel: "left door".into(),
            point: "1".into(),
            phase,
            day: "2026-03-02".into(),
            film_um,
            place: None,
            note: String::new(),
        };
        panels(&[reading(Phase::Before, 110.0), reading(Phase::After, after_um)], Gauge::of(Some(1.0), &[]), None)
    }

    #[test]
    fn wear_is_removal_over_what_was_rubbed_and_film_that_grew_gives_none() {
        let rubbed = BTreeMap::from([(1, 20.0)]);
        let ledger = |panels: &[Panel]| ledger(panels, None, &[session()], &rubbed, &Maps::default());
        let [wear] = &ledger(&after_reading(106.0))[..] else { panic!("one panel, one session") };
        // (110 - 106) µm / 20 m; Fieller's interval is tested where it is worked out.
        assert!((wear.wear - 0.2).abs() < 1e-12, "{wear:?}");
        assert_eq!((wear.product, wear.basis), (Some((2, 3)), Basis::Means(1)));
        let grown = after_reading(130.0);
        assert!(grown[0].cautions[0].words(crate::guidance::Units::Si).contains("thicker than before"));
        assert!(ledger(&grown).is_empty());
    }
}
