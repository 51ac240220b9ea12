//! How far a gauge's readings of one spot lie apart.

use std::collections::BTreeMap;

use super::{mean, odd::is_film};
use crate::name;
use crate::shop::{FilmReading, Id, Phase};

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
        let readings: Vec<&FilmReading> = readings.iter().filter(|r| is_film(r.film_um)).collect();
        let mut spots: BTreeMap<(Id, String, String, Phase, &str), Vec<f64>> = BTreeMap::new();
        for r in &readings {
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
}
