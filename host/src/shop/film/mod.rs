//! Film thickness: readings, removal with its uncertainty, and when to stop.
//!
//! `FilmReading`s (before, after, by panel and point) become a [`Panel`] each; what its removal cost per metre rubbed is
//! [`super::ledger`]'s.
//!
//! # Caution
//!
//! There is no built-in safe thickness. A gauge reads the whole build, not the clear coat alone; how much may be removed is for
//! the makers of gauge and paint, local practice and the owner to decide. The program warns at the limit the shop set itself, and
//! where more is gone than public sources say a clear coat can give.

mod caution;
mod floor;
mod gauge;
mod odd;
mod removal;

pub use caution::Caution;
pub use floor::{Limits, ThinFilm};
pub use gauge::Gauge;
pub(super) use odd::REMOVAL_ALLOWED_UM;
pub use odd::{FACTORY_UM, Odd, doubt};
pub use removal::{RUBBING_RELATIVE_SD, Um, ratio};

use std::collections::BTreeMap;

use gauge::rounding_sd_um;
use odd::is_film;
use removal::{removal, repeatability};

use super::{FilmReading, Id, Phase, Place};
use crate::guidance::Units;
use crate::guidance::units::{MM_PER_INCH, decimals_of_interval};
use crate::name;

/// Micrometres in a mil, a thousandth of an inch (exact by definition).
pub const UM_PER_MIL: f64 = MM_PER_INCH;

/// What film is told in: its unit in µm, the most digits after the point that are shown of it, its name.
pub fn unit(units: Units) -> (f64, usize, &'static str) {
    match units {
        Units::Si => (1.0, 1, "µm"),
        Units::Us => (UM_PER_MIL, 2, "mil"),
    }
}

/// A figure of film with its unit; `digits` after the point are those in µm.
pub(super) fn film(um: f64, digits: usize, units: Units) -> String {
    match unit(units) {
        (_, _, name) if units == Units::Si => format!("{um:.digits$} {name}"),
        (unit_um, most, name) => format!("{:.most$} {name}", um / unit_um),
    }
}

/// A figure in µm rounded to what was typed of it: tenths of a mil are known to about 2.5 µm, hundredths to a quarter.
pub fn as_known(um: f64) -> f64 {
    let is_whole = |step: f64| (um / step - (um / step).round()).abs() < 1e-6;
    let steps = match [0.1, UM_PER_MIL / 10.0, UM_PER_MIL / 100.0].map(is_whole) {
        [false, true, _] => 1.0,
        [false, false, true] => 10.0,
        _ => 100.0,
    };
    (um * steps).round() / steps
}

/// The same with as many digits as were typed of it.
pub fn typed(um: f64, units: Units) -> String {
    match units {
        Units::Si => format!("{} µm", as_known(um)),
        Units::Us => film(um, 0, units),
    }
}

/// Two figures of which one is the smaller: with so many digits that it looks so.
fn typed_apart(low_um: f64, high_um: f64, units: Units) -> [String; 2] {
    match units {
        Units::Si if as_known(low_um) < as_known(high_um) => [low_um, high_um].map(|um| typed(um, units)),
        Units::Si => [low_um, high_um].map(|um| film(um, 2, units)),
        Units::Us => {
            let [low, high] = [low_um, high_um].map(|um| um / UM_PER_MIL);
            let digits = decimals_of_interval(low, high, 2);
            [low, high].map(|mil| format!("{mil:.digits$} mil"))
        }
    }
}

/// From one figure of film to another, as they are published in whole µm.
pub fn span((low_um, high_um): (f64, f64), units: Units) -> String {
    let (unit_um, most, name) = unit(units);
    let digits = if units == Units::Si { 0 } else { most };
    format!("{:.digits$} to {:.digits$} {name}", low_um / unit_um, high_um / unit_um)
}

/// Readings of one point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Point {
    /// Readings before, µm.
    pub before: Vec<f64>,
    /// Readings after, µm.
    pub after: Vec<f64>,
    /// Readings that no coat can give, µm: kept on record, in no figure.
    pub left_out: Vec<(Phase, f64)>,
    /// Where on a section its readings were taken, of those that tell.
    pub places: Vec<Place>,
    /// What is odd about it.
    pub odd: Option<Odd>,
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
    /// thicker than before; `None` also with [`Panel::has_misfit`].
    pub removal: Option<Um>,
    /// Points that the removal rests on.
    pub pairs: usize,
    /// Standard deviation of the rounding of its readings, µm.
    pub rounding_um: f64,
    /// Lowest reading after the work; at points that were not read since, before it.
    pub thinnest_um: Option<f64>,
    /// What the user must know.
    pub cautions: Vec<Caution>,
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
        if !is_film(r.film_um) {
            point.left_out.push((r.phase, r.film_um));
            continue;
        }
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
        self.points.values().filter(|p| p.pair().is_some())
    }

    fn judged(mut self, gauge: Option<Gauge>, floor_um: Option<f64>) -> Self {
        self.rounding_um = rounding_sd_um(self.points.values().flat_map(|p| p.before.iter().chain(&p.after)).copied());
        self.mark_odd();
        let pairs: Vec<(f64, f64)> = self.points.values().filter_map(Point::pair).collect();
        self.pairs = pairs.len();
        // Of readings that do not fit together nobody knows which is true: nothing is known of what was taken until one is measured again.
        self.removal = (!self.has_misfit())
            .then(|| removal(&pairs, gauge, repeatability(self.paired()), self.rounding_um))
            .flatten();
        let now = |p: &Point| if p.after.is_empty() { p.before.clone() } else { p.after.clone() };
        self.thinnest_um = self.points.values().flat_map(now).min_by(f64::total_cmp);
        self.cautions = self.judge(gauge, floor_um);
        self
    }

    /// The thickest of its points that read more than factories put on, µm.
    pub fn thick_um(&self) -> Option<f64> {
        let reads = |odd: Odd| match odd {
            Odd::OffFactory(um) | Odd::OffPanel(um, _) => Some(um).filter(|um| *um > FACTORY_UM.1),
            Odd::NoFilm(_) | Odd::Apart(..) | Odd::OffPoint(..) | Odd::Jumped { .. } => None,
        };
        self.points.values().filter_map(|p| reads(p.odd?)).max_by(f64::total_cmp)
    }

    /// Whether readings of one of the points read at both times lie further apart than any gauge does, so that no removal is given.
    pub fn has_misfit(&self) -> bool {
        self.paired().any(|p| !p.misfits().is_empty())
    }

    /// How many of its readings are in no figure.
    pub fn left_out(&self) -> usize {
        self.points.values().map(|p| p.left_out.len()).sum()
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
        assert!(
            panel.cautions[0].words(Units::Si).starts_with("95 µm is its thinnest reading"),
            "{:?}",
            panel.cautions
        );
    }

    /// 1 mil = 25.4 µm by definition.
    #[test]
    fn a_reading_typed_in_mil_has_no_digit_that_was_not_typed() {
        for (um, said) in
            [(121.92, "122 µm"), (100.076, "100.1 µm"), (121.0, "121 µm"), (121.5, "121.5 µm"), (121.33, "121.33 µm")]
        {
            assert_eq!(typed(um, Units::Si), said);
        }
        assert_eq!(typed_apart(121.92, 123.0, Units::Si), ["122 µm", "123 µm"]);
        assert_eq!(typed_apart(121.92, 122.0, Units::Si), ["121.92 µm", "122.00 µm"]);
    }

    #[test]
    fn a_reading_that_no_coat_gives_is_kept_and_in_no_figure() {
        let (b, a) = (Phase::Before, Phase::After);
        let good = [("1", b, 121.0), ("1", b, 122.0), ("1", a, 118.0), ("2", b, 120.0), ("2", a, 118.5)];
        let wrong = [("1", b, 4.8), ("3", b, 4.7), ("3", a, 116.0)];
        let readings: Vec<FilmReading> = good.iter().chain(&wrong).map(|(p, at, um)| reading(p, *at, *um)).collect();
        let (all, sound) = (panels(&readings, None, Some(100.0)), panels(&readings[..5], None, Some(100.0)));
        let gauge = Gauge::of(Some(1.0), &[]);
        assert_eq!(panels(&readings, gauge, None)[0].removal, panels(&readings[..5], gauge, None)[0].removal);
        assert_eq!(all[0].film_um(), sound[0].film_um());
        assert_eq!((all[0].thinnest_um, all[0].pairs, all[0].left_out()), (Some(116.0), 2, 2));
        assert_eq!(all[0].points["1"].left_out, [(b, 4.8)]);
        let said = all[0].caution_words(Units::Si).join(" ");
        assert!(said.starts_with("4.8 µm before at point 1, 4.7 µm before at point 3 are left out"), "{said}");
        // Nor does it make a gauge look unsteady.
        let repeats = |extra: &[f64]| -> Vec<FilmReading> {
            [120.0, 121.0, 120.0, 122.0, 121.0, 120.0].iter().chain(extra).map(|um| reading("1", b, *um)).collect()
        };
        assert_eq!(Gauge::of(None, &repeats(&[4.8])), Gauge::of(None, &repeats(&[])));
    }

    #[test]
    fn more_taken_than_a_clear_coat_gives_is_said_without_any_limit_set() {
        let said = |before: f64, after: f64| {
            let readings = [
                reading("1", Phase::Before, 120.0),
                reading("1", Phase::After, 118.0),
                reading("2", Phase::Before, before),
                reading("2", Phase::After, after),
            ];
            panels(&readings, None, None)[0].caution_words(Units::Si).join(" ")
        };
        assert_eq!(said(120.0, 109.0), "", "within what trade pages quote");
        let much = said(120.0, 105.0);
        assert!(much.starts_with("Point 2 reads 15 µm less than before, and trade pages quote"), "{much}");
        assert!(much.contains("7 to 12 µm"), "{much}");
        let more = said(160.0, 95.0);
        assert!(more.starts_with("Point 2 reads 65 µm less than before, more than the thickest clear coat"), "{more}");
    }

    #[test]
    fn a_point_that_grew_is_told_whatever_the_others_lost() {
        let cautions = |films: &[(f64, f64)]| {
            let readings: Vec<FilmReading> = films
                .iter()
                .enumerate()
                .flat_map(|(i, (before, after))| {
                    let point = (i + 1).to_string();
                    [reading(&point, Phase::Before, *before), reading(&point, Phase::After, *after)]
                })
                .collect();
            panels(&readings, Gauge::of(Some(1.0), &[]), None)[0].caution_words(Units::Si).join("\n")
        };
        let told = cautions(&[(121.0, 130.0), (121.0, 118.0), (121.0, 112.0)]);
        assert!(told.contains("Point 1 reads 9.0 µm thicker than before"), "{told}");
        // Within the gauge's spread, the more so with several points to choose from.
        let within = cautions(&[(120.0, 123.0), (120.0, 117.0), (120.0, 117.0), (120.0, 117.0)]);
        assert!(!within.contains("thicker"), "{within}");
    }
}
