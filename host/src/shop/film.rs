//! Film thickness: readings, removal with its uncertainty, and when to stop.
//!
//! `FilmReading`s (before, after, by panel and point) become a [`Panel`] each; what its removal cost per metre rubbed is
//! [`super::ledger`]'s.
//!
//! # Caution
//!
//! There is no built-in safe thickness. A gauge reads the whole build, not the clear coat alone; how much may be removed is for
//! the makers of gauge and paint, local practice and the owner to decide. The program warns at the limit the shop set itself.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::{FilmReading, Id, Phase, Place};
use crate::name;

/// Total build that factories put on, µm: public trade pages and a public car FAQ, as listed in `data/reference`.
pub const FACTORY_UM: (f64, f64) = (100.0, 180.0);
/// A reading this many robust standard deviations off its panel's median is odd: the usual cut of Iglewicz and Hoaglin (How to
/// detect and handle outliers, 1993).
const ODD: f64 = 3.5;
/// The smallest spread on a panel that oddness is judged by, µm: below it every gauge step would be odd.
const LEAST_SPREAD_UM: f64 = 3.0;
/// Less than the thinnest single coat that `data/reference` knows of, µm: nobody's paint, but what a build reads in mil.
const NO_FILM_UM: f64 = 10.0;

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

/// A figure and one standard deviation, µm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Um {
    /// Best estimate.
    pub value: f64,
    /// One standard deviation.
    pub sd: f64,
    /// Degrees of freedom that the standard deviation was estimated with; infinite where it was told. They stay where rounding made
    /// it larger than was estimated: too wide rather than too narrow.
    pub df: f64,
}

impl Um {
    /// Half the width of the 90 % interval.
    pub fn half_width(&self) -> f64 {
        self.quantile(0.95) * self.sd
    }

    /// The film reads thicker than before, beyond what chance does once in forty times.
    pub fn grew(&self) -> bool {
        self.value < -self.quantile(0.975) * self.sd
    }

    /// Standard deviations up to a quantile of the error.
    fn quantile(&self, level: f64) -> f64 {
        if self.df.is_finite() {
            StudentsT::new(0.0, 1.0, self.df).map_or(f64::INFINITY, |t| t.inverse_cdf(level))
        } else {
            Normal::standard().inverse_cdf(level)
        }
    }
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

/// The gauge's standard deviation on one spot: set by the shop, or from points read more than once (pooled, ISO 5725-2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// µm.
    pub sd_um: f64,
    /// Degrees of freedom; infinite when the shop set it.
    pub df: f64,
}

impl Gauge {
    /// `set` wins; else at least five repeated readings are needed.
    pub fn of(set: Option<f64>, readings: &[FilmReading]) -> Option<Self> {
        if let Some(sd_um) = set {
            return Some(Self { sd_um, df: f64::INFINITY });
        }
        let mut spots: BTreeMap<(Id, String, String, Phase, &str), Vec<f64>> = BTreeMap::new();
        for r in readings {
            let spot = (r.vehicle, name::key(&r.panel), name::key(&r.point), r.phase, r.day.as_str());
            spots.entry(spot).or_default().push(r.film_um);
        }
        let (mut squares, mut df) = (0.0, 0.0);
        for values in spots.values().filter(|v| v.len() > 1) {
            let mean = mean(values);
            squares += values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            df += (values.len() - 1) as f64;
        }
        // Five equal readings of a gauge that tells whole micrometres do not make a perfect one.
        (df >= 5.0)
            .then(|| Self { sd_um: (squares / df).sqrt().max(rounding_sd_um(readings.iter().map(|r| r.film_um))), df })
    }
}

/// Standard deviation of rounding, µm, to the step that all these readings are told in (JCGM 100:2008, F.2.2.1: a step over √12):
/// whole micrometres, tenths of a mil, tenths, or hundredths.
fn rounding_sd_um(readings: impl Iterator<Item = f64> + Clone) -> f64 {
    let whole = |step: f64| readings.clone().all(|um| (um / step - (um / step).round()).abs() < 1e-6);
    let step = [1.0, 2.54, 0.1].into_iter().find(|step| whole(*step)).unwrap_or(0.01);
    step / 12f64.sqrt()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 {
        return None;
    }
    Some((values[(n - 1) / 2] + values[n / 2]) / 2.0)
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

    /// Readings that cannot be, or do not fit the others of their point; points far off the rest of the panel, or thicker or
    /// thinner than what factories put on.
    fn mark_odd(&mut self) {
        let means: Vec<f64> =
            self.points.values().map(|p| mean(if p.before.is_empty() { &p.after } else { &p.before })).collect();
        let middle = median(&mut means.clone()).unwrap_or(0.0);
        let mut off: Vec<f64> = means.iter().map(|m| (m - middle).abs()).collect();
        // 1.4826: from the median absolute deviation to a standard deviation, for a normal distribution.
        let spread = median(&mut off).map_or(LEAST_SPREAD_UM, |m| (1.4826 * m).max(LEAST_SPREAD_UM));
        // Fewer than four points are no group to be odd in.
        let group = off.len() >= 4;
        for (point, value) in self.points.values_mut().zip(means) {
            let (low, high) = FACTORY_UM;
            point.odd = if let Some(slip) = point.slip() {
                Some(slip)
            } else if value > middle + ODD * spread && group {
                Some(format!("{value:.0} µm against {middle:.0} µm on the panel: filler or a local respray?"))
            } else if value < middle - ODD * spread && group {
                Some(format!("{value:.0} µm against {middle:.0} µm on the panel: an edge, or polished through before?"))
            } else if value > high {
                Some(format!("{value:.0} µm is more than the {low:.0} to {high:.0} µm factories put on: resprayed?"))
            } else if value < low {
                Some(format!(
                    "{value:.0} µm is less than the {low:.0} to {high:.0} µm factories put on: an edge, or thinned before?"
                ))
            } else {
                None
            };
        }
    }
}

impl Point {
    /// What was more likely mistyped or misread than is true of the paint, in words.
    fn slip(&self) -> Option<String> {
        let readings = || self.before.iter().chain(&self.after).copied();
        if let Some(um) = readings().find(|um| *um < NO_FILM_UM) {
            let mil = um * 25.4;
            let unit = if (FACTORY_UM.0 / 2.0..=FACTORY_UM.1 * 2.0).contains(&mil) {
                format!(": in mil? That would be {mil:.0} µm")
            } else {
                String::new()
            };
            return Some(format!("{um} µm is less than any coat{unit}"));
        }
        for values in [&self.before, &self.after] {
            let middle = median(&mut values.clone()).unwrap_or(0.0);
            let mut off: Vec<f64> = values.iter().map(|um| (um - middle).abs()).collect();
            // Of two readings nobody can tell which is the odd one: both are as far off.
            let spread = if values.len() > 2 { median(&mut off).map_or(0.0, |m| 1.4826 * m) } else { 0.0 };
            let most = ODD * spread.max(LEAST_SPREAD_UM);
            if let [one, other] = values[..]
                && (one - other).abs() > most
            {
                return Some(format!("{one} and {other} µm do not fit together: a slip?"));
            }
            if let Some(um) = values.iter().find(|um| (*um - middle).abs() > most) {
                return Some(format!("{um} µm against {middle:.0} µm of the same point: a slip?"));
            }
        }
        if self.before.is_empty() || self.after.is_empty() {
            return None;
        }
        let (before, after) = (mean(&self.before), mean(&self.after));
        (after < before / 2.0 || after > before * 2.0)
            .then(|| format!("{after:.0} µm after {before:.0} µm before: a slip?"))
    }
}

/// Mean of the points' removals. Its standard deviation is the larger of what the gauge alone gives and what the points show, never
/// less than what the rounding of the readings does: equal readings of one point are all rounded by the same.
fn removal(pairs: &[(f64, f64)], gauge: Option<Gauge>, rounding_um: f64) -> Option<Um> {
    let n = pairs.len() as f64;
    if pairs.is_empty() {
        return None;
    }
    let value = pairs.iter().map(|p| p.0).sum::<f64>() / n;
    let spread = pairs.iter().map(|p| p.1).sum::<f64>().sqrt() / n;
    let by_gauge = gauge.map(|g| Um { value, sd: g.sd_um * spread, df: g.df });
    let by_points = (pairs.len() >= 3).then(|| {
        let squares: f64 = pairs.iter().map(|p| (p.0 - value).powi(2)).sum();
        Um { value, sd: (squares / (n - 1.0) / n).sqrt(), df: n - 1.0 }
    });
    let rounded_um = rounding_um * (2.0 / n).sqrt();
    let larger = by_gauge.into_iter().chain(by_points).reduce(|a, b| if b.sd > a.sd { b } else { a });
    larger.map(|um| Um { sd: um.sd.max(rounded_um), ..um })
}

/// Relative standard deviation of a section's mean rubbing distance: a pad speed good to 2 %, an area good to 5 % each way where
/// it is not taped; this program's estimate, not measured on a machine.
pub const RUBBING_RELATIVE_SD: f64 = 0.08;

/// Ratio of two uncertain figures with its 90 % interval after Fieller (Supplement to the J. Royal Statistical Society 7 (1940)
/// 1-64), errors independent and normal; the divisor's is taken to be known no better than `top`'s. `None` when the divisor may
/// be zero.
pub fn ratio(top: Um, bottom: f64, bottom_sd: f64) -> Option<(f64, (f64, f64))> {
    let quantile = top.quantile(0.95);
    let g = (quantile * bottom_sd / bottom).powi(2);
    if !(bottom > 0.0 && g < 1.0) {
        return None;
    }
    let value = top.value / bottom;
    let half = quantile / bottom * (top.sd.powi(2) * (1.0 - g) + (value * bottom_sd).powi(2)).sqrt();
    Some((value, ((value - half) / (1.0 - g), (value + half) / (1.0 - g))))
}

#[cfg(test)]
mod tests {
    use super::*;

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

    /// Reads `data/reference/paint_layers_um.csv`, source in each row.
    #[test]
    fn the_factory_build_is_the_published_one_and_agrees_with_its_layers() {
        let text = include_str!("../../../data/reference/paint_layers_um.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        let mut by_layer = BTreeMap::<String, (f64, f64)>::new();
        for row in rows.deserialize() {
            let (layer, low, high, _source): (String, f64, f64, String) = row.unwrap();
            let range = by_layer.entry(layer).or_insert((low, high));
            *range = (range.0.min(low), range.1.max(high));
        }
        assert_eq!(by_layer["total, factory"], FACTORY_UM);
        // The build cannot be less than its thinnest layers together, nor more than its thickest.
        let layers = ["clear coat", "base coat", "primer surfacer", "electrocoat"].map(|layer| by_layer[layer]);
        assert!(layers.iter().map(|layer| layer.0).sum::<f64>() <= FACTORY_UM.0);
        assert!(layers.iter().map(|layer| layer.1).sum::<f64>() >= FACTORY_UM.1);
    }

    #[test]
    fn removal_carries_the_gauge_s_repeatability() {
        let gauge = Gauge::of(Some(1.0), &[]);
        let readings = [reading("1", Phase::Before, 120.0), reading("1", Phase::After, 117.0)];
        let panel = &panels(&readings, gauge, None)[0];
        // Closed form: one reading each, sd = sqrt(2) gauge sd.
        let removal = panel.removal.expect("both read");
        assert!((removal.value - 3.0).abs() < 1e-12 && (removal.sd - 2f64.sqrt()).abs() < 1e-12, "{removal:?}");
        assert_eq!(panels(&readings, None, None)[0].removal, None, "no spread known, no figure with an interval");
    }

    /// t quantiles: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2 (upper critical values), α = 0.05 and 0.025.
    #[test]
    fn a_spread_known_from_few_readings_gives_a_wider_interval() {
        let um = |value, df| Um { value, sd: 1.0, df };
        for (df, t95, t975) in [(2.0, 2.920, 4.303), (6.0, 1.943, 2.447), (30.0, 1.697, 2.042)] {
            assert!((um(0.0, df).half_width() - t95).abs() < 5e-4);
            assert!(um(-t975 - 1e-3, df).grew() && !um(-t975 + 1e-3, df).grew());
        }
        // All points the same, told in whole micrometres: the rounding is left, sqrt(2 / 12 / 3) µm.
        let readings: Vec<FilmReading> = ["1", "2", "3"]
            .iter()
            .flat_map(|point| [reading(point, Phase::Before, 120.0), reading(point, Phase::After, 117.0)])
            .collect();
        let removal = panels(&readings, None, None)[0].removal.expect("three pairs");
        assert!((removal.sd - (2.0_f64 / 36.0).sqrt()).abs() < 1e-12, "{removal:?}");
        // Three points without a known gauge: their own scatter, two degrees of freedom.
        let readings: Vec<FilmReading> = [(120.0, 117.0), (120.0, 118.0), (120.0, 116.0)]
            .iter()
            .zip(["1", "2", "3"])
            .flat_map(|((b, a), point)| [reading(point, Phase::Before, *b), reading(point, Phase::After, *a)])
            .collect();
        let removal = panels(&readings, None, None)[0].removal.expect("three pairs");
        assert_eq!((removal.value, removal.df), (3.0, 2.0));
        assert!((removal.half_width() - 2.920 / 3f64.sqrt()).abs() < 1e-3);
    }

    /// The 90 % interval of a removal holds the truth as often as it says, from the points' scatter alone, from the gauge
    /// alone (its spread told, or learnt from repeats), and from both (seeded draws).
    #[test]
    fn the_removal_s_interval_holds() {
        use rand::SeedableRng as _;
        use rand_distr::Distribution as _;
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(11);
        let mut draw = || -> f64 { rand_distr::StandardNormal.sample(&mut rng) };
        let runs = 2000;
        for (points, repeats, told) in [(3, 1, false), (4, 1, true), (2, 4, false), (6, 2, false)] {
            let mut held = 0;
            for _ in 0..runs {
                let mut readings = Vec::new();
                for point in 0..points {
                    for (phase, film) in [(Phase::Before, 120.0), (Phase::After, 117.0)] {
                        readings.extend((0..repeats).map(|_| reading(&point.to_string(), phase, film + draw())));
                    }
                }
                let gauge = Gauge::of(told.then_some(1.0), &readings);
                let removal = panels(&readings, gauge, None)[0].removal.expect("known");
                held += u32::from((removal.value - 3.0).abs() <= removal.half_width());
            }
            let share = f64::from(held) / f64::from(runs);
            println!("{points} points read {repeats} times, told {told}: {share:.3}");
            // Three standard errors of 0.9 in 2000 are 0.020; taking the larger of two spreads may only widen.
            assert!((0.88..=0.97).contains(&share), "{points} points, {repeats} times, told {told}: {share}");
        }
    }

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
    fn a_panel_typed_in_other_letters_is_the_same_to_the_gauge() {
        let typed = |panel: &str, v: f64| FilmReading { panel: panel.into(), ..reading("1", Phase::Before, v) };
        let readings: Vec<FilmReading> =
            (0..6).map(|i| typed(if i % 2 == 0 { "Bonnet" } else { "bonnet" }, 100.0 + f64::from(i))).collect();
        assert_eq!(Gauge::of(None, &readings).expect("six readings of one spot").df, 5.0);
    }

    #[test]
    fn the_gauge_s_spread_comes_from_repeated_readings() {
        // Six spots read twice, 2 apart: each has variance 2 with one degree of freedom.
        let readings: Vec<FilmReading> =
            (0..6).flat_map(|i| [100.0, 102.0].map(|v| reading(&i.to_string(), Phase::Before, v))).collect();
        let gauge = Gauge::of(None, &readings).expect("enough");
        assert!((gauge.sd_um - 2f64.sqrt()).abs() < 1e-12);
        assert_eq!(gauge.df, 6.0);
        assert_eq!(Gauge::of(None, &readings[..8]), None);
        // Equal readings leave what rounding hides: a step over the root of twelve.
        let equal = |um: f64| -> Vec<FilmReading> { (0..6).map(|_| reading("1", Phase::Before, um)).collect() };
        let sd_um = |um: f64| Gauge::of(None, &equal(um)).expect("six readings of one spot").sd_um;
        for (um, step) in [(121.0, 1.0), (121.3, 0.1), (121.92, 2.54), (121.93, 0.01)] {
            assert!((sd_um(um) - step / 12f64.sqrt()).abs() < 1e-12, "{um}");
        }
    }

    #[test]
    fn odd_readings_and_the_shop_s_own_limit_are_said() {
        let mut readings: Vec<FilmReading> = [118.0, 120.0, 121.0, 119.0, 240.0, 60.0]
            .iter()
            .enumerate()
            .map(|(i, v)| reading(&i.to_string(), Phase::Before, *v))
            .collect();
        readings.push(reading("0", Phase::After, 95.0));
        let panel = &panels(&readings, Gauge::of(Some(1.0), &[]), Some(100.0))[0];
        assert!(panel.points["4"].odd.as_deref().is_some_and(|w| w.contains("filler")));
        assert!(panel.points["5"].odd.as_deref().is_some_and(|w| w.contains("edge")));
        assert_eq!(panel.points["1"].odd, None);
        assert!(panel.cautions[0].starts_with("60 µm is its thinnest reading, below the 100 µm this shop set"));
        assert!(panels(&readings, None, None)[0].cautions.is_empty(), "there is no built-in limit");
        let near = [reading("1", Phase::Before, 101.5)];
        assert!(
            panels(&near, Gauge::of(Some(1.0), &[]), Some(100.0))[0].cautions[0].contains("within the gauge's spread")
        );
        let thick = [reading("1", Phase::Before, 300.0)];
        assert!(panels(&thick, None, None)[0].points["1"].odd.as_deref().is_some_and(|w| w.contains("resprayed")));
    }

    #[test]
    fn readings_that_are_too_small_are_odd_as_those_that_are_too_large() {
        let odd = |before: &[f64], after: &[f64]| {
            let of = |phase, values: &[f64]| values.iter().map(|um| reading("1", phase, *um)).collect::<Vec<_>>();
            let readings = [of(Phase::Before, before), of(Phase::After, after)].concat();
            panels(&readings, None, None)[0].points["1"].odd.clone().unwrap_or_default()
        };
        assert_eq!(odd(&[121.0, 122.0, 4.8], &[]), "4.8 µm is less than any coat: in mil? That would be 122 µm");
        assert_eq!(odd(&[121.0], &[4.7]), "4.7 µm is less than any coat: in mil? That would be 119 µm");
        assert_eq!(odd(&[0.5], &[]), "0.5 µm is less than any coat");
        assert_eq!(odd(&[121.0, 122.0, 12.1], &[]), "12.1 µm against 121 µm of the same point: a slip?");
        assert_eq!(odd(&[121.0, 122.0, 1210.0], &[]), "1210 µm against 122 µm of the same point: a slip?");
        assert_eq!(odd(&[121.0, 12.2], &[]), "121 and 12.2 µm do not fit together: a slip?");
        assert_eq!(odd(&[121.0], &[11.8]), "12 µm after 121 µm before: a slip?");
        assert_eq!(odd(&[121.0], &[1180.0]), "1180 µm after 121 µm before: a slip?");
        assert!(odd(&[80.0], &[]).starts_with("80 µm is less than the 100 to 180 µm"));
        assert_eq!(
            odd(&[121.0, 124.0, 119.0], &[101.0, 99.0]),
            "",
            "a gauge's spread and much polishing are nothing odd"
        );
    }

    #[test]
    fn the_thinnest_reading_is_told_not_a_mean() {
        let readings = [reading("1", Phase::Before, 95.0), reading("1", Phase::Before, 96.0)];
        let panel = &panels(&readings, None, Some(100.0))[0];
        assert!(panel.cautions[0].starts_with("95 µm is its thinnest reading"), "{:?}", panel.cautions);
    }

    #[test]
    fn a_ratio_without_error_below_is_the_plain_interval_and_one_with_it_is_wider() {
        let top = Um { value: 3.0, sd: 0.5, df: f64::INFINITY };
        let (value, (lo, hi)) = ratio(top, 10.0, 0.0).expect("known");
        // Closed form: (3 ± 1.644854 · 0.5) / 10.
        assert!((value - 0.3).abs() < 1e-12 && (lo - 0.217_757_3).abs() < 1e-6 && (hi - 0.382_242_7).abs() < 1e-6);
        let (_, (lo2, hi2)) = ratio(top, 10.0, 0.8).expect("known");
        assert!(lo2 < lo && hi2 > hi);
        assert_eq!(ratio(top, 10.0, 9.0), None, "a divisor that may be zero");
    }

    /// The interval holds the true ratio as often as it says (seeded draws).
    #[test]
    fn the_ratio_s_interval_holds() {
        use rand::SeedableRng as _;
        use rand_distr::Distribution as _;
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let normal = rand_distr::StandardNormal;
        let runs = 4000;
        let held = (0..runs)
            .filter(|_| {
                let (e, f): (f64, f64) = (normal.sample(&mut rng), normal.sample(&mut rng));
                let rubbed = 12.0 * (1.0 + RUBBING_RELATIVE_SD * f);
                let taken = Um { value: 3.0 + 0.8 * e, sd: 0.8, df: f64::INFINITY };
                let (_, (lo, hi)) = ratio(taken, rubbed, 12.0 * RUBBING_RELATIVE_SD).expect("known");
                lo <= 0.25 && 0.25 <= hi
            })
            .count();
        let share = held as f64 / f64::from(runs);
        println!("{share:.3}");
        // Three standard errors of 0.9 in 4000 are 0.014.
        assert!((0.886..=0.914).contains(&share), "{share}");
    }
}
