//! What is odd about a reading: not of this paint, not of this panel, or a slip.

use super::{Panel, Point, UM_PER_MIL, as_known, film, mean, span, typed};
use crate::guidance::Units;
use crate::shop::Phase;

/// Total build that factories put on, µm: public trade pages and a public car FAQ, as listed in `data/reference`.
pub const FACTORY_UM: (f64, f64) = (100.0, 180.0);
/// The thickest clear coat that `data/reference` knows of, µm: a public car FAQ.
pub(super) const CLEAR_COAT_MOST_UM: f64 = 60.0;
/// Removal in all that car makers are quoted with before a warranty is in doubt, µm: trade pages, as listed in `data/reference`.
pub(in crate::shop) const REMOVAL_ALLOWED_UM: (f64, f64) = (7.0, 12.0);
/// A reading this many robust standard deviations off its panel's median is odd: the usual cut of Iglewicz and Hoaglin (How to
/// detect and handle outliers, 1993).
const ODD: f64 = 3.5;
/// The smallest spread on a panel that oddness is judged by, µm: below it every gauge step would be odd.
const LEAST_SPREAD_UM: f64 = 3.0;
/// Less than the thinnest single coat that `data/reference` knows of, µm: nobody's paint, but what a build reads in mil.
const NO_FILM_UM: f64 = 10.0;

/// What is odd about a point; all in µm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Odd {
    /// A reading that no coat can give.
    NoFilm(f64),
    /// Two readings that lie too far apart.
    Apart(f64, f64),
    /// A reading too far off the middle of its point's.
    OffPoint(f64, f64),
    /// Twice as much after the work as before it, or half.
    Jumped {
        /// Before.
        before: f64,
        /// After.
        after: f64,
    },
    /// A point too far off the middle of its panel's.
    OffPanel(f64, f64),
    /// Not within what factories put on.
    OffFactory(f64),
}

impl Odd {
    /// In words, with what it may come from.
    pub fn words(self, units: Units) -> String {
        let um = |um: f64| film(um, 0, units);
        match self {
            Self::NoFilm(read) => {
                let mil = read * UM_PER_MIL;
                let told = format!("{read} µm is less than any coat");
                if (FACTORY_UM.0 / 2.0..=FACTORY_UM.1 * 2.0).contains(&mil) {
                    // Whoever shows mil typed that number in mil.
                    let meant = if units == Units::Si { um(mil) } else { format!("{read} mil") };
                    return format!("{told}: in mil? That would be {meant}");
                }
                told
            }
            Self::Apart(one, other) if units == Units::Si => {
                format!("{} and {} µm do not fit together: a slip?", as_known(one), as_known(other))
            }
            Self::Apart(one, other) => format!("{} and {} do not fit together: a slip?", um(one), um(other)),
            Self::OffPoint(read, middle) => {
                format!("{} against {} of the same point: a slip?", typed(read, units), um(middle))
            }
            Self::Jumped { before, after } => format!("{} after {} before: a slip?", um(after), um(before)),
            Self::OffPanel(read, middle) => {
                let why =
                    if read > middle { "filler or a local respray" } else { "an edge, or polished through before" };
                format!("{} against {} on the panel: {why}?", um(read), um(middle))
            }
            Self::OffFactory(read) => {
                let (how, why) =
                    if read > FACTORY_UM.1 { ("more", "resprayed") } else { ("less", "an edge, or thinned before") };
                format!("{} is {how} than the {} factories put on: {why}?", um(read), span(FACTORY_UM, units))
            }
        }
    }
}

/// Whether any coat can read so.
pub(super) fn is_film(film_um: f64) -> bool {
    film_um >= NO_FILM_UM
}

/// What is odd about a figure that is no reading but stands beside them, as the shop's limit does; `None` where nothing is.
pub fn doubt(film_um: f64, units: Units) -> Option<String> {
    (!is_film(film_um)).then(|| Odd::NoFilm(film_um).words(units))
}

impl Panel {
    /// Readings that cannot be, or do not fit the others of their point; points far off the rest of the panel, or thicker or
    /// thinner than what factories put on.
    pub(super) fn mark_odd(&mut self) {
        let first = |p: &Point| if p.before.is_empty() { p.after.clone() } else { p.before.clone() };
        let read = |p: &Point| Some(first(p)).filter(|values| !values.is_empty()).map(|values| mean(&values));
        let means: Vec<f64> = self.points.values().filter_map(read).collect();
        let middle = median(&mut means.clone()).unwrap_or(0.0);
        let mut off: Vec<f64> = means.iter().map(|m| (m - middle).abs()).collect();
        // 1.4826: from the median absolute deviation to a standard deviation, for a normal distribution.
        let spread = median(&mut off).map_or(LEAST_SPREAD_UM, |m| (1.4826 * m).max(LEAST_SPREAD_UM));
        // Fewer than four points are no group to be odd in.
        let group = off.len() >= 4;
        for point in self.points.values_mut() {
            let slip = point.slip();
            let Some(value) = read(point).filter(|_| slip.is_none()) else {
                point.odd = slip;
                continue;
            };
            let off_panel = group && (value - middle).abs() > ODD * spread;
            let as_made = (FACTORY_UM.0..=FACTORY_UM.1).contains(&value);
            let off_factory = (!as_made).then_some(Odd::OffFactory(value));
            point.odd = if off_panel { Some(Odd::OffPanel(value, middle)) } else { off_factory };
        }
    }
}

impl Point {
    /// Readings that do not fit the others of their time. They stay in its means, for which of them is wrong nobody can tell but by
    /// reading again.
    pub(super) fn misfits(&self) -> Vec<(Phase, Odd)> {
        let of = |phase, values: &[f64]| misfits(values).into_iter().map(move |odd| (phase, odd));
        of(Phase::Before, &self.before).chain(of(Phase::After, &self.after)).collect()
    }

    /// What it lost, µm, and how many times the gauge's variance is in that; where it was read before and after.
    pub(super) fn pair(&self) -> Option<(f64, f64)> {
        let read = !self.before.is_empty() && !self.after.is_empty();
        let gauge_part = 1.0 / self.before.len() as f64 + 1.0 / self.after.len() as f64;
        read.then(|| (mean(&self.before) - mean(&self.after), gauge_part))
    }

    /// What was more likely mistyped or misread than is true of the paint.
    fn slip(&self) -> Option<Odd> {
        if let Some((_, um)) = self.left_out.first() {
            return Some(Odd::NoFilm(*um));
        }
        if let Some(odd) = [&self.before, &self.after].into_iter().find_map(|values| misfits(values).first().copied()) {
            return Some(odd);
        }
        if self.before.is_empty() || self.after.is_empty() {
            return None;
        }
        let (before, after) = (mean(&self.before), mean(&self.after));
        (after < before / 2.0 || after > before * 2.0).then_some(Odd::Jumped { before, after })
    }
}

/// The middle of readings of one point, and how far off it one of them may lie.
fn middle_and_most(values: &[f64]) -> (f64, f64) {
    let middle = median(&mut values.to_vec()).unwrap_or(0.0);
    let mut off: Vec<f64> = values.iter().map(|um| (um - middle).abs()).collect();
    let spread = if values.len() > 2 { median(&mut off).map_or(0.0, |m| 1.4826 * m) } else { 0.0 };
    (middle, ODD * spread.max(LEAST_SPREAD_UM))
}

/// What does not fit among readings of one point.
fn misfits(values: &[f64]) -> Vec<Odd> {
    let (middle, most) = middle_and_most(values);
    match values {
        // Of two readings nobody can tell which is the odd one: both are as far off.
        [one, other] if (one - other).abs() > most => vec![Odd::Apart(*one, *other)],
        [_, _] => Vec::new(),
        _ => values.iter().filter(|um| (*um - middle).abs() > most).map(|um| Odd::OffPoint(*um, middle)).collect(),
    }
}

/// Those readings of one point that fit together.
pub(super) fn fitting(values: &[f64]) -> Vec<f64> {
    match misfits(values).first() {
        None => values.to_vec(),
        Some(Odd::Apart(..)) => Vec::new(),
        Some(_) => {
            let (middle, most) = middle_and_most(values);
            values.iter().copied().filter(|um| (um - middle).abs() <= most).collect()
        }
    }
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 {
        return None;
    }
    Some((values[(n - 1) / 2] + values[n / 2]) / 2.0)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::shop::FilmReading;
    use crate::shop::film::{Gauge, panels, reading};

    /// Reads `data/reference/paint_layers_um.csv`, source in each row.
    #[test]
    fn the_factory_build_is_the_published_one_and_agrees_with_its_layers() {
        let text = include_str!("../../../../data/reference/paint_layers_um.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        let mut by_layer = BTreeMap::<String, (f64, f64)>::new();
        for row in rows.deserialize() {
            let (layer, low, high, _source): (String, f64, f64, String) = row.unwrap();
            let range = by_layer.entry(layer).or_insert((low, high));
            *range = (range.0.min(low), range.1.max(high));
        }
        assert_eq!(by_layer["total, factory"], FACTORY_UM);
        assert_eq!(by_layer["clear coat"].1, CLEAR_COAT_MOST_UM);
        assert_eq!(by_layer["removal allowed before warranty concern"], REMOVAL_ALLOWED_UM);
        // The build cannot be less than its thinnest layers together, nor more than its thickest.
        let layers = ["clear coat", "base coat", "primer surfacer", "electrocoat"].map(|layer| by_layer[layer]);
        assert!(layers.iter().map(|layer| layer.0).sum::<f64>() <= FACTORY_UM.0);
        assert!(layers.iter().map(|layer| layer.1).sum::<f64>() >= FACTORY_UM.1);
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
        assert!(panel.points["4"].odd.is_some_and(|odd| odd.words(Units::Si).contains("filler")));
        assert!(panel.points["5"].odd.is_some_and(|odd| odd.words(Units::Si).contains("edge")));
        assert_eq!(panel.points["1"].odd, None);
        assert!(
            panel.cautions[0]
                .words(Units::Si)
                .starts_with("60 µm is its thinnest reading, below the 100 µm this shop set")
        );
        let unset = &panels(&readings, None, None)[0].caution_words(Units::Si);
        assert!(!unset.iter().any(|c| c.contains("thinnest")), "there is no built-in limit: {unset:?}");
        let near = [reading("1", Phase::Before, 101.5)];
        assert!(
            panels(&near, Gauge::of(Some(1.0), &[]), Some(100.0))[0].cautions[0]
                .words(Units::Si)
                .contains("within the gauge's spread")
        );
        let thick = [reading("1", Phase::Before, 300.0)];
        assert!(
            panels(&thick, None, None)[0].points["1"].odd.is_some_and(|odd| odd.words(Units::Si).contains("resprayed"))
        );
    }

    #[test]
    fn readings_that_are_too_small_are_odd_as_those_that_are_too_large() {
        let odd_in = |units: Units, before: &[f64], after: &[f64]| {
            let of = |phase, values: &[f64]| values.iter().map(|um| reading("1", phase, *um)).collect::<Vec<_>>();
            let readings = [of(Phase::Before, before), of(Phase::After, after)].concat();
            panels(&readings, None, None)[0].points["1"].odd.map(|odd| odd.words(units)).unwrap_or_default()
        };
        let odd = |before: &[f64], after: &[f64]| odd_in(Units::Si, before, after);
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
        // 1 mil = 25.4 µm by definition.
        let mil = |before: &[f64], after: &[f64]| odd_in(Units::Us, before, after);
        assert_eq!(mil(&[4.8], &[]), "4.8 µm is less than any coat: in mil? That would be 4.8 mil");
        assert_eq!(mil(&[121.0, 12.7], &[]), "4.76 mil and 0.50 mil do not fit together: a slip?");
        assert_eq!(mil(&[127.0], &[12.7]), "0.50 mil after 5.00 mil before: a slip?");
        assert_eq!(
            mil(&[76.2], &[]),
            "3.00 mil is less than the 3.94 to 7.09 mil factories put on: an edge, or thinned before?"
        );
    }
}
