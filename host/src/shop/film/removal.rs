//! What was taken off, and what it cost per metre rubbed, each with its uncertainty.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::{Gauge, Point, mean};

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
        self.grew_among(1)
    }

    /// The same where this is the one of so many that grew most.
    pub(super) fn grew_among(&self, many: usize) -> bool {
        self.value < -self.quantile(1.0 - 0.025 / many as f64) * self.sd
    }

    /// The film reads thinner than before, by no less than its 90 % interval.
    pub fn measurable(&self) -> bool {
        self.value > 0.0 && self.value >= self.half_width()
    }

    /// Its 90 % interval.
    pub fn interval(&self) -> (f64, f64) {
        (self.value - self.half_width(), self.value + self.half_width())
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

impl Um {
    /// This, or what these few data show themselves where that is the larger. What it is larger by rests on their few degrees of
    /// freedom, the rest on those that were there before (Satterthwaite, Biometrics Bulletin 2 (1946) 110-114): so a scatter just above
    /// the spread known widens the interval a little, and one far above it as much as the data alone would.
    fn or_own(self, own: Self) -> Self {
        let (known, shown) = (self.sd.powi(2), own.sd.powi(2));
        if shown <= known {
            return self;
        }
        let parts = known.powi(2) / self.df + (shown - known).powi(2) / own.df;
        Self { value: own.value, sd: own.sd, df: shown.powi(2) / parts }
    }
}

/// Scatter of the readings of each point of a panel about their means, µm², and its degrees of freedom; `None` where no point was read
/// twice.
pub(super) fn repeatability<'a>(points: impl Iterator<Item = &'a Point>) -> Option<(f64, f64)> {
    let (mut squares, mut df) = (0.0, 0.0);
    for values in points.flat_map(|p| [&p.before, &p.after]).filter(|values| values.len() > 1) {
        let middle = mean(values);
        squares += values.iter().map(|um| (um - middle).powi(2)).sum::<f64>();
        df += (values.len() - 1) as f64;
    }
    (df > 0.0).then(|| (squares / df, df))
}

/// Mean of the points' removals. Its standard deviation is the largest of what the gauge gives, what the panel's own repeats give
/// where they lie further apart than the gauge's do, and what the points show; never less than what the rounding of the readings does:
/// equal readings of one point are all rounded by the same.
///
/// Three points and more are judged by their own scatter, where it is the larger. Of two, the one degree of freedom would make every
/// interval six times as wide: only what they lie apart beyond the gauge's spread counts for it ([`Um::or_own`]).
pub(super) fn removal(
    pairs: &[(f64, f64)],
    gauge: Option<Gauge>,
    own: Option<(f64, f64)>,
    rounding_um: f64,
) -> Option<Um> {
    let n = pairs.len() as f64;
    if pairs.is_empty() {
        return None;
    }
    let value = pairs.iter().map(|p| p.0).sum::<f64>() / n;
    let spread = pairs.iter().map(|p| p.1).sum::<f64>().sqrt() / n;
    let by_gauge = gauge.map(|g| {
        let known = Um { value, sd: g.sd_um * spread, df: g.df };
        own.map_or(known, |(variance, df)| known.or_own(Um { value, sd: variance.sqrt() * spread, df }))
    });
    let by_points = (pairs.len() >= 2).then(|| {
        let squares: f64 = pairs.iter().map(|p| (p.0 - value).powi(2)).sum();
        Um { value, sd: (squares / (n - 1.0) / n).sqrt(), df: n - 1.0 }
    });
    let found = match (by_gauge, by_points) {
        (Some(gauge), Some(points)) if pairs.len() == 2 => Some(gauge.or_own(points)),
        (Some(gauge), Some(points)) => Some(if points.sd > gauge.sd { points } else { gauge }),
        (None, Some(points)) => Some(points).filter(|_| pairs.len() >= 3),
        (gauge, None) => gauge,
    };
    let rounded_um = rounding_um * (2.0 / n).sqrt();
    found.map(|um| Um { sd: um.sd.max(rounded_um), ..um })
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
    use crate::shop::film::{panels, reading};
    use crate::shop::{FilmReading, Phase};

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

    /// One point lost 2 µm, the other 40: a gauge good to a micrometre does not explain that, and no mean of theirs is known.
    #[test]
    fn two_points_that_contradict_each_other_give_no_removal() {
        let taken = |first: f64, second: f64| {
            let readings: Vec<FilmReading> = [("1", first), ("2", second)]
                .iter()
                .flat_map(|(point, um)| {
                    [reading(point, Phase::Before, 120.0), reading(point, Phase::After, 120.0 - um)]
                })
                .collect();
            panels(&readings, Gauge::of(Some(1.0), &[]), None)[0].removal.expect("known")
        };
        let apart = taken(2.0, 40.0);
        // One degree of freedom: t = 6.314 at 95 % (NIST/SEMATECH e-Handbook, 1.3.6.7.2), 19 µm one standard deviation of the mean; of
        // its 361 µm² the gauge explains one, which leaves 1.006 degrees.
        assert!(!apart.measurable() && (0.98..1.0).contains(&(apart.half_width() / (6.314 * 19.0))), "{apart:?}");
        // Closed form: two points read once each, sd = gauge sd, and no further apart than that explains.
        let near = taken(2.0, 4.0);
        assert!(near.measurable() && (near.half_width() - 1.645).abs() < 1e-3, "{near:?}");
        // 1.5 µm against 1: 2.25 µm² on 2.25² / 1.25² = 3.24 degrees, of which 3 give t = 2.353 (same table).
        let between = taken(2.0, 5.0);
        assert!((between.df - 3.24).abs() < 1e-9 && (between.sd - 1.5).abs() < 1e-9, "{between:?}");
        assert!(between.half_width() < 2.353 * 1.5, "{between:?}");
    }

    /// Whatever the gauge did on other panels, two points that lie apart say so: a little more or less known of it changes a little.
    #[test]
    fn readings_of_another_panel_do_not_hide_that_two_points_lie_apart() {
        let of = |panel: &str, point: &str, phase, films: &[f64]| -> Vec<FilmReading> {
            films.iter().map(|um| FilmReading { panel: panel.into(), ..reading(point, phase, *um) }).collect()
        };
        let bonnet = [
            of("bonnet", "1", Phase::Before, &[98.0, 99.0, 97.0]),
            of("bonnet", "1", Phase::After, &[96.0, 96.0, 95.0]),
            of("bonnet", "2", Phase::Before, &[104.0, 105.0]),
            of("bonnet", "2", Phase::After, &[105.0, 106.0]),
        ]
        .concat();
        let half_um = |extra: &[FilmReading]| {
            let readings = [&bonnet[..], extra].concat();
            let panel = panels(&readings, Gauge::of(None, &readings), None).remove(0);
            panel.removal.expect("enough repeats").half_width()
        };
        let mut others = of("wing", "1", Phase::Before, &[240.0, 238.0]);
        let alone = half_um(&[]);
        for film in [237.0, 236.0, 109.0, 106.0] {
            others.extend(of(if film > 200.0 { "wing" } else { "door" }, "1", Phase::After, &[film]));
            let half = half_um(&others);
            assert!((0.6..1.0).contains(&(half / alone)), "{half} beside {alone} µm with {film}");
        }
    }

    /// A gauge told to be good to 1 µm, and readings of one point that lie 8 µm apart: the panel's own repeats are what is known.
    #[test]
    fn repeats_that_lie_further_apart_than_the_gauge_s_widen_the_interval() {
        let half_um = |after: &[f64]| {
            let after = after.iter().map(|um| reading("1", Phase::After, *um));
            let readings: Vec<_> =
                [120.0, 120.0].map(|um| reading("1", Phase::Before, um)).into_iter().chain(after).collect();
            panels(&readings, Gauge::of(Some(1.0), &[]), None)[0].removal.expect("known").half_width()
        };
        // Closed form: sd = gauge sd, by two readings each.
        assert!((half_um(&[117.0, 118.0]) - 1.645).abs() < 1e-3);
        // (0 + 32) µm² on two degrees: 16 µm², of which the gauge explains one, on 16² / (15² / 2) = 2.28 degrees; t = 2.920 with two and
        // 2.353 with three (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
        let wide = half_um(&[113.0, 121.0]);
        assert!((2.353 * 4.0..2.920 * 4.0).contains(&wide), "{wide}");
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
