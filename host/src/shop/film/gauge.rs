//! How far a gauge's readings of one spot lie apart.

use std::collections::BTreeMap;

use super::mean;
use super::odd::{fitting, is_film};
use crate::name;
use crate::shop::{FilmReading, Id, Phase};

/// The gauge's standard deviation on one spot: set by the shop, or from points read more than once (pooled, ISO 5725-2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// µm.
    pub sd_um: f64,
    /// Degrees of freedom; infinite when the shop set it.
    pub df: f64,
    /// Repeated readings that do not fit the others of their spot, and are no part of it.
    pub left_out: usize,
}

impl Gauge {
    /// `set` wins; else at least five repeated readings are needed. Readings that do not fit the others of their spot are called odd
    /// where they are shown, and are no part of the spread: one slip on one vehicle would spoil the removals of all.
    pub fn of(set: Option<f64>, readings: &[FilmReading]) -> Option<Self> {
        if let Some(sd_um) = set {
            return Some(Self { sd_um, df: f64::INFINITY, left_out: 0 });
        }
        let readings: Vec<&FilmReading> = readings.iter().filter(|r| is_film(r.film_um)).collect();
        let mut spots: BTreeMap<(Id, String, String, Phase, &str), Vec<f64>> = BTreeMap::new();
        for r in &readings {
            let spot = (r.vehicle, name::key(&r.panel), name::key(&r.point), r.phase, r.day.as_str());
            spots.entry(spot).or_default().push(r.film_um);
        }
        let (mut squares, mut df, mut left_out) = (0.0, 0.0, 0);
        for values in spots.values().filter(|v| v.len() > 1) {
            let fit = fitting(values);
            left_out += values.len() - fit.len();
            if fit.len() > 1 {
                let mean = mean(&fit);
                squares += fit.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
                df += (fit.len() - 1) as f64;
            }
        }
        // Five equal readings of a gauge that tells whole micrometres do not make a perfect one.
        (df >= 5.0).then(|| Self {
            sd_um: (squares / df).sqrt().max(rounding_sd_um(readings.iter().map(|r| r.film_um))),
            df,
            left_out,
        })
    }
}

/// Standard deviation of rounding, µm, to the step that all these readings are told in (JCGM 100:2008, F.2.2.1: a step over √12):
/// whole micrometres, tenths of a mil, tenths, or hundredths.
pub(super) fn rounding_sd_um(readings: impl Iterator<Item = f64> + Clone) -> f64 {
    let whole = |step: f64| readings.clone().all(|um| (um / step - (um / step).round()).abs() < 1e-6);
    let step = [1.0, 2.54, 0.1].into_iter().find(|step| whole(*step)).unwrap_or(0.01);
    step / 12f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::film::reading;

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

    /// One mistyped reading anywhere in the shop must not hide what was taken off elsewhere.
    #[test]
    fn readings_that_do_not_fit_together_are_no_part_of_the_spread() {
        let spot = |point: &str, phase: Phase, films: &[f64]| -> Vec<FilmReading> {
            films.iter().map(|um| reading(point, phase, *um)).collect()
        };
        let good = [
            spot("1", Phase::Before, &[121.0, 122.0, 120.0]),
            spot("1", Phase::After, &[117.0, 118.0, 116.0]),
            spot("2", Phase::Before, &[118.0, 117.0, 119.0]),
        ]
        .concat();
        let gauge = |extra: &[FilmReading]| Gauge::of(None, &[&good[..], extra].concat()).expect("six repeats");
        let alone = gauge(&[]);
        assert_eq!((alone.sd_um, alone.df, alone.left_out), (1.0, 6.0, 0));
        let two = gauge(&spot("9", Phase::Before, &[240.0, 260.0]));
        assert_eq!((two.sd_um, two.df, two.left_out), (1.0, 6.0, 2));
        // Of three it is known which one: the other two count, each by 1 / 2 of a µm².
        let three = gauge(&spot("9", Phase::Before, &[121.0, 122.0, 211.0]));
        assert_eq!((three.sd_um, three.df, three.left_out), ((6.5f64 / 7.0).sqrt(), 7.0, 1));
        // A gauge that scatters is not made to look steady.
        let rough = gauge(&spot("9", Phase::Before, &[110.0, 114.0, 118.0, 122.0, 126.0, 130.0]));
        assert_eq!((rough.df, rough.left_out), (11.0, 0));
    }
}
