//! Film thickness: readings, removal with its uncertainty, and when to stop.
//!
//! `FilmReading`s (before, after, by panel and point) become a [`Panel`] each; what its removal cost per metre rubbed is
//! [`super::ledger`]'s.
//!
//! # Caution
//!
//! There is no built-in safe thickness. A gauge reads the whole build, not the clear coat alone; how much may be removed is for
//! the makers of gauge and paint, local practice and the owner to decide. The program warns at the limit the shop set itself.

mod gauge;
mod odd;
mod removal;

pub use gauge::Gauge;
pub use odd::FACTORY_UM;
pub use removal::{RUBBING_RELATIVE_SD, Um, ratio};

use std::collections::BTreeMap;

use gauge::rounding_sd_um;
use removal::removal;

use super::{FilmReading, Id, Phase, Place};
use crate::name;

/// Readings of one point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Point {
    /// Readings before, µm.
    pub before: Vec<f64>,
    /// Readings after, µm.
    pub after: Vec<f64>,
    /// Where on a section its readings were taken, of those that tell.
    pub places: Vec<Place>,
    /// What is odd about it, in words.
    pub odd: Option<String>,
}

/// One panel of one vehicle.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Panel {
    /// The vehicle's row.
    pub vehicle: Id,
    /// The panel.
    pub name: String,
    /// Its points, each by its name as it was typed first.
    pub points: BTreeMap<String, Point>,
    /// Mean removal over points read before and after, with the gauge's and the points' spread. Negative when the film reads
    /// thicker than before.
    pub removal: Option<Um>,
    /// Points that the removal rests on.
    pub pairs: usize,
    /// Standard deviation of the rounding of its readings, µm.
    pub rounding_um: f64,
    /// Lowest reading after the work; at points that were not read since, before it.
    pub thinnest_um: Option<f64>,
    /// What the user must know.
    pub cautions: Vec<String>,
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Sorts readings into panels, judges each, newest rules last.
///
/// * `floor_um`: the shop's own limit for the whole build, µm; no limit when it set none.
pub fn panels(readings: &[FilmReading], gauge: Option<Gauge>, floor_um: Option<f64>) -> Vec<Panel> {
    let mut panels: BTreeMap<(Id, String), Panel> = BTreeMap::new();
    for r in readings {
        let panel = panels.entry((r.vehicle, name::key(&r.panel))).or_insert_with(|| Panel {
            vehicle: r.vehicle,
            name: r.panel.clone(),
            ..Panel::default()
        });
        // As it was typed first.
        let called = panel.points.keys().find(|known| name::same(known, &r.point)).unwrap_or(&r.point).clone();
        let point = panel.points.entry(called).or_default();
        point.places.extend(r.place);
        match r.phase {
            Phase::Before => point.before.push(r.film_um),
            Phase::After => point.after.push(r.film_um),
        }
    }
    panels.into_values().map(|panel| panel.judged(gauge, floor_um)).collect()
}

impl Panel {
    /// Mean film over points before and after, µm: over the points read at both times, where there are any. Else of one time
    /// only, for means of different points say nothing of what was taken off.
    pub fn film_um(&self) -> (Option<f64>, Option<f64>) {
        let over = |means: Vec<f64>| (!means.is_empty()).then(|| mean(&means));
        let (before, after): (Vec<f64>, Vec<f64>) = self.paired().map(|p| (mean(&p.before), mean(&p.after))).unzip();
        if !before.is_empty() {
            return (over(before), over(after));
        }
        let read = |of: fn(&Point) -> &Vec<f64>| {
            over(self.points.values().map(of).filter(|values| !values.is_empty()).map(|values| mean(values)).collect())
        };
        match read(|p| &p.before) {
            None => (None, read(|p| &p.after)),
            before => (before, None),
        }
    }

    /// Points read before and after.
    fn paired(&self) -> impl Iterator<Item = &Point> {
        self.points.values().filter(|p| !p.before.is_empty() && !p.after.is_empty())
    }

    fn judged(mut self, gauge: Option<Gauge>, floor_um: Option<f64>) -> Self {
        self.rounding_um = rounding_sd_um(self.points.values().flat_map(|p| p.before.iter().chain(&p.after)).copied());
        self.mark_odd();
        let pairs: Vec<(f64, f64)> = self
            .paired()
            .map(|p| {
                let gauge_part = 1.0 / p.before.len() as f64 + 1.0 / p.after.len() as f64;
                (mean(&p.before) - mean(&p.after), gauge_part)
            })
            .collect();
        self.pairs = pairs.len();
        self.removal = removal(&pairs, gauge, self.rounding_um);
        let now = |p: &Point| if p.after.is_empty() { p.before.clone() } else { p.after.clone() };
        self.thinnest_um = self.points.values().flat_map(now).min_by(f64::total_cmp);
        self.caution(gauge, floor_um);
        self
    }

    fn caution(&mut self, gauge: Option<Gauge>, floor_um: Option<f64>) {
        let mut cautions = Vec::new();
        if let (Some(floor), Some(thinnest)) = (floor_um, self.thinnest_um) {
            if thinnest < floor {
                cautions.push(format!(
                    "{thinnest} µm is its thinnest reading, below the {floor} µm this shop set itself: stop and decide with the makers' advice."
                ));
            } else if let Some(gauge) = gauge.filter(|g| thinnest - 2.0 * g.sd_um < floor) {
                cautions.push(format!(
                    "{thinnest} µm, its thinnest reading, is within the gauge's spread ({:.1} µm) of the limit of {floor} µm.",
                    gauge.sd_um
                ));
            }
        }
        if let Some(removal) = self.removal.filter(Um::grew) {
            cautions.push(format!(
                "Reads {:.1} µm thicker than before: other points, filler residue or a gauge not zeroed. Clean the panel, zero the gauge, read again.",
                -removal.value
            ));
        }
        self.cautions = cautions;
    }
}

/// A reading of a point of one panel.
#[cfg(test)]
fn reading(point: &str, phase: Phase, film_um: f64) -> FilmReading {
    FilmReading {
        vehicle: 1,
        panel: "left door".into(),
        point: point.into(),
        phase,
        day: "2026-03-02".into(),
        film_um,
        place: None,
        note: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_before_and_after_are_of_the_same_points_each_counting_once() {
        let readings =
            |of: &[(&str, Phase, f64)]| of.iter().map(|(p, at, um)| reading(p, *at, *um)).collect::<Vec<_>>();
        let film_um = |of: &[(&str, Phase, f64)]| panels(&readings(of), None, None)[0].film_um();
        let (b, a) = (Phase::Before, Phase::After);
        let repeats =
            [("1", b, 100.0), ("1", b, 100.0), ("1", b, 100.0), ("1", a, 98.0), ("2", b, 140.0), ("2", a, 138.0)];
        assert_eq!(film_um(&repeats), (Some(120.0), Some(118.0)));
        assert_eq!(film_um(&[("1", b, 100.0), ("2", b, 140.0), ("1", a, 98.0)]), (Some(100.0), Some(98.0)));
        assert_eq!(film_um(&[("1", b, 100.0), ("2", a, 138.0)]), (Some(100.0), None), "of different points");
        assert_eq!(film_um(&[("2", a, 138.0)]), (None, Some(138.0)));
    }

    #[test]
    fn the_thinnest_reading_is_told_not_a_mean() {
        let readings = [reading("1", Phase::Before, 95.0), reading("1", Phase::Before, 96.0)];
        let panel = &panels(&readings, None, Some(100.0))[0];
        assert!(panel.cautions[0].starts_with("95 µm is its thinnest reading"), "{:?}", panel.cautions);
    }
}
