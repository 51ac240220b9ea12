//! Arithmetic of daily exposure: Directive 2002/44/EC, annex A, and ISO 5349-1.
//!
//! A(8) = sqrt(sum of a_hv² T over the tools / 8 h), for each hand; the larger of the two counts. Points are the same sum on
//! another scale, 100 (a_hv / 2.5)² T / 8 h = 2 a_hv² T, and have the virtue that they add.

use std::iter::Sum;

use crate::guidance::units::decimals_supported;

/// Reference duration of a day, h.
const DAY_H: f64 = 8.0;
/// Action value of Directive 2002/44/EC, A(8) in m/s²: 100 points by definition of the points.
const ACTION_MPS2: f64 = 2.5;
/// Limit value of Directive 2002/44/EC, A(8) in m/s².
const LIMIT_MPS2: f64 = 5.0;

/// Daily exposures at which something must be done. Defaults: Directive 2002/44/EC; other countries have others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Action value, A(8), m/s².
    pub action_mps2: f64,
    /// Limit value, A(8), m/s².
    pub limit_mps2: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { action_mps2: ACTION_MPS2, limit_mps2: LIMIT_MPS2 }
    }
}

/// A figure and the bounds within which it is believed. Bounds of exposures are taken as common to all contributions, so
/// they add like the figures: one device, one place, one habit of declaring.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Range {
    /// Lower bound.
    pub lo: f64,
    /// Best figure.
    pub value: f64,
    /// Upper bound.
    pub hi: f64,
}

impl Range {
    /// Each of the three through a rising function.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Self { lo: f(self.lo), value: f(self.value), hi: f(self.hi) }
    }

    /// "2.2 m/s² (1.8 to 2.6)": to as many digits after the point, fewer where the bounds lie far apart, more where they
    /// would print alike.
    ///
    /// * `unit`: what follows the figure, with its space.
    #[must_use]
    pub fn words(self, decimals: usize, unit: &str) -> String {
        let decimals = decimals_supported(self.lo, self.hi, decimals);
        format!("{:.decimals$}{unit} ({:.decimals$} to {:.decimals$})", self.value, self.lo, self.hi)
    }
}

impl Sum for Range {
    fn sum<I: Iterator<Item = Self>>(ranges: I) -> Self {
        ranges.fold(Self::default(), |a, b| Self { lo: a.lo + b.lo, value: a.value + b.value, hi: a.hi + b.hi })
    }
}

/// Where a magnitude is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Seen by the sensor.
    Measured,
    /// Typed in, from a manual or a label.
    Declared,
}

impl Basis {
    /// The word in tables.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Declared => "declared",
        }
    }
}

/// Which hand it reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Hand {
    /// Both alike, as far as is known.
    #[default]
    Both,
    /// The left one only.
    Left,
    /// The right one only.
    Right,
}

impl Hand {
    /// The word in tables.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Both => "both",
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// Relative range of a measured magnitude: the most by which devices differed on one task, UK health and safety executive.
const MEASURED_SPREAD: f64 = 0.2;

/// One tool, used for some time.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The tool, in the user's words.
    pub tool: String,
    /// Which hand.
    pub hand: Hand,
    /// Where the magnitude is from.
    pub basis: Basis,
    /// a_hv, m/s².
    pub a_hv_mps2: Range,
    /// How long, h.
    pub hours: f64,
}

impl Contribution {
    /// A measured one; `a_hv_mps2` as the sensor saw it.
    pub fn measured(tool: &str, a_hv_mps2: f64, hours: f64) -> Self {
        let a_hv_mps2 = Range {
            lo: a_hv_mps2 * (1.0 - MEASURED_SPREAD),
            value: a_hv_mps2,
            hi: a_hv_mps2 * (1.0 + MEASURED_SPREAD),
        };
        Self { tool: tool.to_owned(), hand: Hand::Both, basis: Basis::Measured, a_hv_mps2, hours }
    }

    /// Points of this one alone.
    pub fn points(&self) -> Range {
        self.a_hv_mps2.map(|a| points(a, self.hours))
    }
}

/// Points of a magnitude, m/s², kept up for some hours.
pub fn points(a_hv_mps2: f64, hours: f64) -> f64 {
    100.0 * (a_hv_mps2 / ACTION_MPS2).powi(2) * hours / DAY_H
}

/// The daily exposure A(8), m/s², that so many points are.
pub fn a8_of_points(points: f64) -> f64 {
    ACTION_MPS2 * (points / 100.0).sqrt()
}

/// Hours at a magnitude until a daily exposure is reached, both m/s². Infinite at no vibration.
pub fn hours_to(a8_mps2: f64, a_hv_mps2: f64) -> f64 {
    DAY_H * (a8_mps2 / a_hv_mps2).powi(2)
}

/// The exposure of one day.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dose {
    /// Points of the left hand.
    pub left_points: Range,
    /// Points of the right hand.
    pub right_points: Range,
}

impl Dose {
    /// Of everything that was used in a day, in any order.
    pub fn of<'a>(contributions: impl Iterator<Item = &'a Contribution> + Clone) -> Self {
        let but = |other: Hand| contributions.clone().filter(|c| c.hand != other).map(Contribution::points).sum();
        Self { left_points: but(Hand::Right), right_points: but(Hand::Left) }
    }

    /// Points of the hand that got more; the one that counts.
    pub fn points(&self) -> Range {
        if self.left_points.value > self.right_points.value { self.left_points } else { self.right_points }
    }

    /// Daily exposure A(8), m/s², of the hand that got more.
    pub fn a8_mps2(&self) -> Range {
        self.points().map(a8_of_points)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn used(a: f64, minutes: f64) -> Contribution {
        Contribution::measured("tool", a, minutes / 60.0)
    }

    fn dose(contributions: &[Contribution]) -> Dose {
        Dose::of(contributions.iter())
    }

    fn reference(text: &str) -> Vec<csv::StringRecord> {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        reader.records().map(Result::unwrap).collect()
    }

    /// `printed` says to how many decimals.
    fn rounds_to(value: f64, printed: &str) -> bool {
        let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
        format!("{value:.decimals$}") == printed
    }

    #[test]
    fn published_examples_come_out_to_the_printed_digit() {
        // data/reference/hav_worked_examples.csv, source in each row.
        let rows = reference(include_str!("../../../data/reference/hav_worked_examples.csv"));
        assert_eq!(rows.len(), 9);
        for row in rows {
            let used: Vec<Contribution> = row[1]
                .split(';')
                .map(|part| {
                    let (a, minutes) = part.strip_suffix("min").unwrap().split_once('x').unwrap();
                    used(a.parse().unwrap(), minutes.parse().unwrap())
                })
                .collect();
            let dose = dose(&used);
            assert!(rounds_to(dose.a8_mps2().value, &row[2]), "{}: {:?}", &row[0], dose.a8_mps2());
            assert!(rounds_to(dose.points().value, &row[3]), "{}: {:?}", &row[0], dose.points());
            if !row[4].is_empty() {
                assert!(rounds_to(dose.a8_mps2().value, &row[4]), "{}", &row[0]);
            }
            if !row[5].is_empty() {
                assert!(rounds_to(dose.points().value, &row[5]), "{}", &row[0]);
            }
        }
    }

    #[test]
    fn rates_and_hours_are_those_of_the_table() {
        // data/reference/hav_points_rates.csv.
        for row in reference(include_str!("../../../data/reference/hav_points_rates.csv")) {
            let a: f64 = row[0].parse().unwrap();
            let limits = Limits::default();
            assert!((points(a, 1.0) - row[1].parse::<f64>().unwrap()).abs() < 1e-9);
            // Tolerance: half of the last printed digit.
            assert!((hours_to(limits.action_mps2, a) - row[2].parse::<f64>().unwrap()).abs() < 5.1e-5);
            assert!((hours_to(limits.limit_mps2, a) - row[3].parse::<f64>().unwrap()).abs() < 5.1e-5);
        }
    }

    #[test]
    fn the_larger_hand_counts() {
        let left = Contribution { hand: Hand::Left, ..used(6.0, 60.0) };
        let right = Contribution { hand: Hand::Right, ..used(3.0, 60.0) };
        let both = used(2.0, 60.0);
        let dose = dose(&[left, right, both]);
        assert!((dose.left_points.value - (72.0 + 8.0)).abs() < 1e-9);
        assert!((dose.right_points.value - (18.0 + 8.0)).abs() < 1e-9);
        assert_eq!(dose.points(), dose.left_points);
    }

    #[test]
    fn nothing_used_is_nothing() {
        assert_eq!(dose(&[]).a8_mps2(), Range::default());
        assert_eq!(hours_to(2.5, 0.0), f64::INFINITY);
    }

    fn some() -> impl Strategy<Value = Contribution> {
        (0.0f64..40.0, 0.0f64..600.0).prop_map(|(a, minutes)| used(a, minutes))
    }

    proptest! {
        #[test]
        fn twice_the_time_is_twice_the_points(used in proptest::collection::vec(some(), 0..6)) {
            let twice: Vec<Contribution> =
                used.iter().map(|c| Contribution { hours: c.hours * 2.0, ..c.clone() }).collect();
            let (once, twice) = (dose(&used).points(), dose(&twice).points());
            prop_assert!((twice.value - 2.0 * once.value).abs() <= 1e-9 * twice.value);
            prop_assert!((twice.hi - 2.0 * once.hi).abs() <= 1e-9 * twice.hi);
        }

        #[test]
        fn order_does_not_matter(used in proptest::collection::vec(some(), 2..6), turn in 0usize..6) {
            let mut turned = used.clone();
            turned.rotate_left(turn % used.len());
            let (a, b) = (dose(&used).points().value, dose(&turned).points().value);
            prop_assert!((a - b).abs() <= 1e-12 * a);
        }

        #[test]
        fn exposure_and_points_are_one_thing(used in proptest::collection::vec(some(), 1..6)) {
            let dose = dose(&used);
            // The definition of A(8), directly.
            let a8 = (used.iter().map(|c| c.a_hv_mps2.value.powi(2) * c.hours).sum::<f64>() / 8.0).sqrt();
            prop_assert!((dose.a8_mps2().value - a8).abs() <= 1e-9 * a8.max(1e-9));
            prop_assert!((a8 - 2.5 * (dose.points().value / 100.0).sqrt()).abs() <= 1e-9 * a8.max(1e-9));
        }

        #[test]
        fn bounds_lie_on_either_side(used in proptest::collection::vec(some(), 1..6)) {
            let a8 = dose(&used).a8_mps2();
            prop_assert!(a8.lo <= a8.value && a8.value <= a8.hi);
        }
    }
}
