//! Removal against rubbing, point by point: gauge readings with a place on a section, set against the rubbing distance at that
//! very place.
//!
//! ```text
//! FilmReading with Place ─► removal at the point ─┐
//! SectionMap at the place, summed over sessions ──┴─► Spot ─► regression through the origin ─► Slope, µm per metre rubbed
//! ```
//!
//! # Model
//!
//! Preston (The theory and design of plate glass polishing machines, J. Soc. Glass Technol. 11 (1927) 214-256): what goes is
//! proportional to the rubbing distance, so removal = slope · distance with no constant. Pressure is **not measured**: the
//! slope is Preston's constant times the pressure these hands used. Least squares with a point's weight from how often it was
//! read; the scatter about the line, if larger than the gauge's own, decides how certain the slope is, so that errors of the
//! way the pad took and of the gauge's place are counted in. Its degrees of freedom are the points' in either case: too wide rather than
//! too narrow where the gauge's own spread is the larger. What all points share, the scale of the rubbing distance, is not in
//! the scatter and is added ([`RUBBING_RELATIVE_SD`]).
//!
//! A constant that is there all the same (a gauge zeroed anew, wax on the paint before) is looked for and told, not fitted away.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::film::{Gauge, Panel, Point, RUBBING_RELATIVE_SD, Um, ratio};
use super::{Id, MAP_CELLS, Place, Result, SectionMap, Shop};

/// Fewest points that give a slope of their own: below it the section's mean is taken.
pub const FEWEST: usize = 3;
/// Fewest points that a constant is looked for in.
const FEWEST_FOR_CONSTANT: usize = 5;
/// A constant is told when chance alone gives one as large once in a hundred times.
const CONSTANT_LEVEL: f64 = 0.995;
/// Readings of one point whose places differ by more were taken at different places, m.
const SAME_PLACE_M: f64 = 0.005;

/// A point of the gauge, and what was rubbed there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Film before less film after, µm.
    pub removal_um: f64,
    /// Variance of the removal in units of the gauge's variance on one spot.
    pub gauge_part: f64,
    /// Rubbing distance there, m.
    pub rubbed_m: f64,
}

/// Removal per metre rubbed, over the points of a panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// µm per m.
    pub um_per_m: f64,
    /// Its 90 % interval, µm per m.
    pub interval: (f64, f64),
    /// Points it rests on.
    pub points: usize,
    /// Mean removal of the points, with one standard deviation from the scatter about the line, µm.
    pub removal: Um,
    /// Mean rubbing distance of the points, m.
    pub rubbed_m: f64,
    /// Removal where nothing was rubbed, µm, where the points show one that chance does not explain.
    pub constant_um: Option<f64>,
}

/// The line through the origin; `None` for fewer than [`FEWEST`] points, or where nothing was rubbed.
pub fn slope(spots: &[Spot], gauge: Option<Gauge>) -> Option<Slope> {
    let n = spots.len();
    if n < FEWEST || spots.iter().any(|s| !(s.gauge_part > 0.0 && s.removal_um.is_finite() && s.rubbed_m >= 0.0)) {
        return None;
    }
    let sum = |of: &dyn Fn(&Spot) -> f64| spots.iter().map(|s| of(s) / s.gauge_part).sum::<f64>();
    let squares = sum(&|s| s.rubbed_m * s.rubbed_m);
    if !(squares > 0.0 && squares.is_finite()) {
        return None;
    }
    let um_per_m = sum(&|s| s.rubbed_m * s.removal_um) / squares;
    let df = (n - 1) as f64;
    let scatter = sum(&|s| (s.removal_um - um_per_m * s.rubbed_m).powi(2)) / df;
    let variance = scatter.max(gauge.map_or(0.0, |g| g.sd_um * g.sd_um));
    let by_points = Um { value: um_per_m, sd: (variance / squares).sqrt(), df };
    let (_, interval) = ratio(by_points, 1.0, RUBBING_RELATIVE_SD)?;
    let mean = |of: &dyn Fn(&Spot) -> f64| spots.iter().map(of).sum::<f64>() / n as f64;
    let parts = mean(&|s| s.gauge_part);
    Some(Slope {
        um_per_m,
        interval,
        points: n,
        removal: Um { value: mean(&|s| s.removal_um), sd: (variance * parts / n as f64).sqrt(), df },
        rubbed_m: mean(&|s| s.rubbed_m),
        constant_um: constant(spots),
    })
}

/// The constant of a line with one, where it is beyond chance.
fn constant(spots: &[Spot]) -> Option<f64> {
    let n = spots.len();
    if n < FEWEST_FOR_CONSTANT {
        return None;
    }
    let sum = |of: &dyn Fn(&Spot) -> f64| spots.iter().map(|s| of(s) / s.gauge_part).sum::<f64>();
    let weight = sum(&|_| 1.0);
    let (x, y) = (sum(&|s| s.rubbed_m) / weight, sum(&|s| s.removal_um) / weight);
    let spread = sum(&|s| (s.rubbed_m - x).powi(2));
    // Points rubbed alike cannot tell a constant from a slope.
    if spread / weight < (0.05 * x).powi(2) {
        return None;
    }
    let b = sum(&|s| (s.rubbed_m - x) * (s.removal_um - y)) / spread;
    let a = y - b * x;
    let df = (n - 2) as f64;
    let variance = sum(&|s| (s.removal_um - a - b * s.rubbed_m).powi(2)) / df;
    let error = (variance * (1.0 / weight + x * x / spread)).sqrt();
    let beyond = a.abs() > error * StudentsT::new(0.0, 1.0, df).ok()?.inverse_cdf(CONSTANT_LEVEL);
    // A scatter of nothing is rounding; so is a constant of it.
    (beyond && a.abs() > 1e-6 * y.abs()).then_some(a)
}

/// Sections of filed sessions, with their maps where they have one.
#[derive(Clone, Debug, Default)]
pub struct Maps(BTreeMap<(Id, u32), Option<SectionMap>>);

impl Maps {
    /// Rubbing distance at a place, m, summed over the sessions that worked its section; sections of one number in several
    /// recordings of a panel are taken for one place. `None` where none did, or where any of them left no map.
    pub fn at(&self, sessions: &[Id], place: Place) -> Option<f64> {
        let mut sum = None;
        for &session in sessions {
            let Some(map) = self.0.get(&(session, place.section)) else { continue };
            let rubbed_m = map.as_ref()?.at(place.along_m, place.across_m)?;
            *sum.get_or_insert(0.0) += rubbed_m;
        }
        sum
    }

    /// The points of a panel that were read before and after at a place that `sessions` rubbed.
    pub fn spots(&self, panel: &Panel, sessions: &[Id]) -> Vec<Spot> {
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let read = panel.points.values().filter(|p| !p.before.is_empty() && !p.after.is_empty());
        read.filter_map(|p| {
            Some(Spot {
                removal_um: mean(&p.before) - mean(&p.after),
                gauge_part: 1.0 / p.before.len() as f64 + 1.0 / p.after.len() as f64,
                rubbed_m: self.at(sessions, p.place()?)?,
            })
        })
        .collect()
    }
}

impl Point {
    /// Where it lies, where its readings agree about it.
    pub fn place(&self) -> Option<Place> {
        let first = *self.places.first()?;
        let near = |p: &Place| {
            p.section == first.section && (p.along_m - first.along_m).hypot(p.across_m - first.across_m) <= SAME_PLACE_M
        };
        self.places.iter().all(near).then_some(first)
    }
}

impl Shop {
    /// Maps of all sections on vehicles that have gauge readings with a place.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn section_maps(&self) -> Result<Maps> {
        let rows = self.rows(
            "SELECT s.session_id, s.number, s.map_along_m, s.map_across_m, s.map_most_m, s.map
             FROM sections s JOIN sessions e ON e.id = s.session_id
             WHERE e.vehicle_id IN (SELECT vehicle_id FROM film_readings WHERE section IS NOT NULL)",
            |row| {
                let size: (Option<f64>, Option<f64>, Option<f64>) = (row.get(2)?, row.get(3)?, row.get(4)?);
                let cells = row.get::<_, Option<Vec<u8>>>(5)?.filter(|cells| cells.len() == MAP_CELLS * MAP_CELLS);
                let map = size.0.zip(size.1).zip(size.2).zip(cells);
                let map =
                    map.map(|(((along_m, across_m), most_m), cells)| SectionMap { along_m, across_m, most_m, cells });
                Ok(((row.get(0)?, row.get(1)?), map))
            },
        )?;
        Ok(Maps(rows.into_iter().collect()))
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_distr::Distribution as _;

    use super::*;
    use crate::analysis::{
        TrackPoint,
        rubbing::{RubbingMap, RubbingSetup},
    };

    fn spot(removal_um: f64, rubbed_m: f64) -> Spot {
        Spot { removal_um, gauge_part: 1.0, rubbed_m }
    }

    #[test]
    fn the_line_through_the_origin_is_the_closed_form() {
        let spots = [spot(1.0, 10.0), spot(2.5, 20.0), spot(2.8, 30.0)];
        let found = slope(&spots, None).expect("three points");
        // Closed form: sum xy / sum x² = 144 / 1400; s² = sum (y - bx)² / 2.
        let b: f64 = 144.0 / 1400.0;
        let s2 = [(1.0, 10.0), (2.5, 20.0), (2.8, 30.0)].iter().map(|(y, x)| (y - b * x).powi(2)).sum::<f64>() / 2.0;
        // t quantile 0.95 with two degrees of freedom, SciPy 1.17.1: 2.919985580353726.
        let t = 2.919_985_580_353_726_f64;
        let g = (t * RUBBING_RELATIVE_SD).powi(2);
        let half = t * (s2 / 1400.0 * (1.0 - g) + (b * RUBBING_RELATIVE_SD).powi(2)).sqrt();
        assert!((found.um_per_m - b).abs() < 1e-12);
        assert!((found.interval.0 - (b - half) / (1.0 - g)).abs() < 1e-9, "{found:?}");
        assert!((found.interval.1 - (b + half) / (1.0 - g)).abs() < 1e-9, "{found:?}");
        // A point read four times before and after counts four times.
        let often = slope(&[Spot { gauge_part: 0.25, ..spots[1] }, spots[0], spots[2]], None).expect("known");
        assert!((often.um_per_m - (10.0 + 4.0 * 50.0 + 84.0) / (100.0 + 4.0 * 400.0 + 900.0)).abs() < 1e-12);
        assert_eq!(slope(&spots[..2], None), None);
        assert_eq!(slope(&[spot(1.0, 0.0); 4], None), None, "nothing was rubbed");
        assert_eq!(slope(&[spot(f64::NAN, 1.0); 4], None), None);
    }

    /// From strokes to the slope: what is put in over closed-form rubbing distances comes out of the kept map.
    #[test]
    fn a_known_wear_is_found_through_the_map() {
        let lines = [-0.15, -0.07, 0.01, 0.12];
        let mut track = Vec::new();
        for (i, &y_m) in lines.iter().enumerate() {
            track.extend((0..=240).map(|k| {
                let t = f64::from(k) * 0.1;
                TrackPoint { t_s: i as f64 * 100.0 + t, x_m: 0.025 * t - 0.3, y_m, pad_speed_mps: Some(3.0) }
            }));
        }
        let setup = RubbingSetup { pad_radius_m: 0.0625, section_m: Some((0.5, 0.4)) };
        let map = RubbingMap::of(&[&track], &setup).as_ref().and_then(SectionMap::of);
        let maps = Maps([((7, 1), map.clone()), ((8, 1), map), ((8, 2), None)].into());
        let closed = |across: f64| -> f64 {
            let chord = |line: f64| 2.0 * (0.0625f64.powi(2) - (across - 0.2 - line).powi(2)).max(0.0).sqrt();
            lines.iter().map(|&line| chord(line) / 0.025 * 3.0).sum()
        };
        let spots: Vec<Spot> = [0.03, 0.06, 0.09, 0.15, 0.2, 0.25, 0.3, 0.34]
            .iter()
            .map(|&across_m| {
                let place = Place { section: 1, along_m: 0.2, across_m };
                // Worked in two sessions: twice the distance.
                let rubbed_m = maps.at(&[7, 8, 9], place).expect("rubbed");
                Spot { removal_um: 0.2 * 2.0 * closed(across_m), gauge_part: 1.0, rubbed_m }
            })
            .collect();
        let found = slope(&spots, None).expect("enough");
        println!("{found:?}");
        // Cells of 12.5 mm against chords with steep edges: 0.07 % measured.
        assert!((found.um_per_m / 0.2 - 1.0).abs() < 0.01, "{found:?}");
        assert!(found.interval.0 < 0.2 && 0.2 < found.interval.1);
        let place = |section| Place { section, along_m: 0.2, across_m: 0.2 };
        assert_eq!(maps.at(&[8], place(2)), None, "a section without a map");
        assert_eq!(maps.at(&[9], place(1)), None, "nobody worked there");
    }

    /// The interval holds the true wear as often as it says (seeded draws): gauge errors, and a rubbing scale that is off.
    #[test]
    fn the_interval_holds() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(11);
        let normal = rand_distr::StandardNormal;
        let runs = 4000;
        for gauge in [None, Some(Gauge { sd_um: 0.8, df: f64::INFINITY, left_out: 0 })] {
            let held = (0..runs)
                .filter(|_| {
                    let off: f64 = normal.sample(&mut rng);
                    let scale = 1.0 + RUBBING_RELATIVE_SD * off;
                    let spots: Vec<Spot> = (1..=8)
                        .map(|i| {
                            let error: f64 = normal.sample(&mut rng);
                            let true_m = 3.0 * f64::from(i);
                            Spot { removal_um: 0.25 * true_m + 0.8 * error, gauge_part: 1.0, rubbed_m: true_m * scale }
                        })
                        .collect();
                    let interval = slope(&spots, gauge).expect("enough").interval;
                    (interval.0..=interval.1).contains(&0.25)
                })
                .count();
            let share = held as f64 / f64::from(runs);
            println!("{share:.3}");
            // Student's quantile on an error that is mostly normal, and the larger of two scatters, make it a little wide.
            assert!((0.886..=0.96).contains(&share), "{share}");
        }
    }

    #[test]
    fn a_constant_that_rubbing_does_not_explain_is_told() {
        let line = |a: f64| -> Vec<Spot> {
            (1..=8).map(|i| spot(a + 0.25 * f64::from(i) + 0.05 * f64::from(i % 3 - 1), f64::from(i))).collect()
        };
        assert_eq!(slope(&line(0.0), None).expect("enough").constant_um, None);
        let told = slope(&line(3.0), None).expect("enough").constant_um.expect("a constant");
        assert!((told - 3.0).abs() < 0.2, "{told}");
        assert_eq!(slope(&[spot(5.0, 10.0); 8], None).expect("enough").constant_um, None, "all rubbed alike");
    }

    #[test]
    fn readings_that_disagree_about_their_place_have_none() {
        let at = |along_m| Place { section: 1, along_m, across_m: 0.1 };
        let point = |places: &[Place]| Point { places: places.to_vec(), ..Point::default() };
        assert_eq!(point(&[at(0.1), at(0.104)]).place(), Some(at(0.1)));
        assert_eq!(point(&[at(0.1), at(0.12)]).place(), None);
        assert_eq!(point(&[]).place(), None);
    }
}
