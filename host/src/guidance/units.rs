//! How figures are shown. Inside the program and in every file they stay SI; only words for people follow the user's choice.

use std::fmt;
use std::str::FromStr;

use super::plan::Band;
use crate::analysis::Interval;

/// Units for display.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// mm/s, m, °C, K.
    #[default]
    Si,
    /// in/s, in, °F, Fahrenheit degrees.
    Us,
}

/// Millimetres in an inch (exact by definition).
pub const MM_PER_INCH: f64 = 25.4;

/// Kelvin in a Fahrenheit degree (exact by definition). For differences; there is no offset.
pub const K_PER_FAHRENHEIT_DEGREE: f64 = 5.0 / 9.0;

impl Units {
    /// The word in a plan and on the command line.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Us => "us",
        }
    }

    /// A point on the temperature scale; `c` in °C.
    pub fn temperature(self, c: f64) -> String {
        match self {
            Self::Si => format!("{c:.1} °C"),
            Self::Us => format!("{:.1} °F", c / K_PER_FAHRENHEIT_DEGREE + 32.0),
        }
    }

    /// A temperature difference with its sign; `k` in K.
    pub fn rise(self, k: f64) -> String {
        match self {
            Self::Si => format!("{k:+.1} K"),
            Self::Us => format!("{:+.1} °F", k / K_PER_FAHRENHEIT_DEGREE),
        }
    }

    /// The same beside the limit it is held against, K: more digits where it would print on the wrong side of it.
    pub fn rise_beside(self, k: f64, limit_k: f64) -> String {
        let (value, limit, unit) = match self {
            Self::Si => (k, limit_k, "K"),
            Self::Us => (k / K_PER_FAHRENHEIT_DEGREE, limit_k / K_PER_FAHRENHEIT_DEGREE, "°F"),
        };
        let decimals = decimals_beside(value, [BELOW_ALL, (limit, 1)], 1);
        format!("{value:+.decimals$} {unit}")
    }

    /// Arm speed; `mps` in m/s.
    pub fn arm_speed(self, mps: f64) -> String {
        let (number, unit) = self.of_arm_speed(mps);
        format!("{number} {unit}")
    }

    /// A limit of the arm speed, m/s: a digit more than usual where it has one, "25.4 mm/s".
    pub fn arm_speed_limit(self, mps: f64) -> String {
        let (number, unit) = self.of_arm_speed_limit(mps);
        format!("{number} {unit}")
    }

    /// A band of arm speeds, m/s: "12.7 to 25.4 mm/s".
    pub fn arm_speed_band(self, mps: Band) -> String {
        format!("{} to {}", self.of_arm_speed_limit(mps.lo).0, self.arm_speed_limit(mps.hi))
    }

    fn of_arm_speed_limit(self, mps: f64) -> (String, &'static str) {
        let (value, usual, unit) = self.in_its_unit(mps);
        let decimals = decimals_of_limit(value, usual);
        (format!("{value:.decimals$}"), unit)
    }

    /// Arm speed beside the band it is held against, m/s: more digits where it would print on the wrong side of an end.
    pub fn arm_speed_beside(self, mps: f64, band_mps: Band) -> String {
        let (value, usual, unit) = self.in_its_unit(mps);
        let decimals = decimals_beside(value, self.arm_speed_ends(band_mps), usual);
        format!("{value:.decimals$} {unit}")
    }

    /// The same, rounded to what its interval supports: "20 mm/s" of 12.8 to 25 around 19.
    pub fn arm_speed_told(self, mps: Interval, band_mps: Band) -> String {
        let [lo, value, hi] = [mps.lo, mps.value, mps.hi].map(|v| self.in_its_unit(v).0);
        let (_, usual, unit) = self.in_its_unit(mps.value);
        match rounded_to_interval([lo, value, hi], Some(self.arm_speed_ends(band_mps)), usual) {
            Some((rounded, decimals)) => format!("{rounded:.decimals$} {unit}"),
            None => {
                let ends = Some(self.arm_speed_ends(band_mps));
                let ([_, value, _], decimals) = rounded_together([lo, value, hi], ends, usual);
                format!("{value:.decimals$} {unit}")
            }
        }
    }

    /// Both ends of a band of arm speeds, m/s, in the unit shown, and the digits they are shown with: for [`decimals_beside`].
    pub(crate) fn arm_speed_ends(self, mps: Band) -> [(f64, usize); 2] {
        [mps.lo, mps.hi].map(|end| {
            let (value, usual, _) = self.in_its_unit(end);
            (value, decimals_of_limit(value, usual))
        })
    }

    /// Arm speed, the digits it usually has after the point, and its unit.
    fn in_its_unit(self, mps: f64) -> (f64, usize, &'static str) {
        match self {
            Self::Si => (mps * 1e3, 0, "mm/s"),
            Self::Us => (mps * 1e3 / MM_PER_INCH, 2, "in/s"),
        }
    }

    /// Arm speed and how far off it something may be, m/s: "20 ± 3 mm/s".
    pub fn arm_speed_within(self, mps: f64, within_mps: f64) -> String {
        format!("{} ± {}", self.of_arm_speed(mps).0, self.arm_speed(within_mps))
    }

    fn of_arm_speed(self, mps: f64) -> (String, &'static str) {
        let (value, decimals, unit) = self.in_its_unit(mps);
        (format!("{value:.decimals$}"), unit)
    }

    /// A length on the panel; `m` in m.
    pub fn length(self, m: f64) -> String {
        let (number, unit) = self.of_length(m);
        format!("{number} {unit}")
    }

    /// Between two lengths on the panel, m: "0.35 to 0.45 m".
    pub fn length_range(self, lo_m: f64, hi_m: f64) -> String {
        format!("{} to {}", self.of_length(lo_m).0, self.length(hi_m))
    }

    fn of_length(self, m: f64) -> (String, &'static str) {
        match self {
            Self::Si => (format!("{m:.2}"), "m"),
            Self::Us => (format!("{:.1}", m * 1e3 / MM_PER_INCH), "in"),
        }
    }
}

impl fmt::Display for Units {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A duration in words: "48 s", "2 min 04 s", "1 h 02 min".
#[must_use]
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return "?".to_owned();
    }
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, s) => format!("{m} min {s:02} s"),
        (h, m, _) => format!("{h} h {m:02} min"),
    }
}

/// The word was neither `si` nor `us`.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("units are `si` or `us`, not `{0}`")]
pub struct UnknownUnits(pub String);

impl FromStr for Units {
    type Err = UnknownUnits;

    fn from_str(word: &str) -> Result<Self, Self::Err> {
        match word {
            "si" => Ok(Self::Si),
            "us" => Ok(Self::Us),
            other => Err(UnknownUnits(other.to_owned())),
        }
    }
}

/// "1 pass", "2 passes".
pub fn count<N: fmt::Display + PartialEq + From<u8>>(n: N, one: &str, many: &str) -> String {
    format!("{n} {}", if n == N::from(1) { one } else { many })
}

/// Most digits that [`decimals_of_interval`] adds: an interval of less than a thousandth of the usual last digit is none.
const MOST_MORE_DECIMALS: usize = 3;

/// Digits after the point at which an interval's two ends print apart: the usual ones, and more where it would otherwise be
/// shown as nothing, as if the figure were known exactly.
pub fn decimals_of_interval(lo: f64, hi: f64, usual: usize) -> usize {
    let apart = |decimals: &usize| {
        let steps = 10_f64.powi(*decimals as i32);
        // A nought is one with either sign.
        (lo * steps).round() != (hi * steps).round()
    };
    (usual..=usual + MOST_MORE_DECIMALS).find(apart).unwrap_or(usual)
}

/// Digits after the point that an interval supports: the usual ones; fewer while even the coarser last digit stays within a tenth of
/// the interval; more where its ends would print alike. An uncertainty so has one or two significant digits (GUM, JCGM 100:2008,
/// 7.2.6).
pub fn decimals_supported(lo: f64, hi: f64, usual: usize) -> usize {
    let fits = |decimals: usize| 10_f64.powi(-(decimals as i32)) <= (hi - lo).abs() / 10.0;
    let mut decimals = usual;
    while decimals > 0 && fits(decimals - 1) {
        decimals -= 1;
    }
    decimals_of_interval(lo, hi, decimals)
}

/// A figure and the ends of its interval, `[lo, value, hi]`, rounded to one count of digits: that which the interval supports, and
/// no more than it needs to print each of them on the side of `ends` (see [`decimals_beside`]) that it lies on. Where the nearest
/// digit is on the other side the next one is taken, if that is no farther off than an eighth of the interval.
///
/// Figures that are not finite stay as they are.
pub(crate) fn rounded_together(figures: [f64; 3], ends: Option<[(f64, usize); 2]>, usual: usize) -> ([f64; 3], usize) {
    let [lo, _, hi] = figures;
    let least = decimals_supported(lo, hi, usual);
    let beside = |value: f64, decimals: usize| {
        let step = 10_f64.powi(-(decimals as i32));
        let nearest = (value / step).round();
        let Some(ends) = ends else { return Some(nearest * step) };
        let [known, shown] = [ends.map(|end| end.0), ends.map(|end| printed(end.0, end.1))];
        let near = [nearest, nearest - 1.0, nearest + 1.0].map(|n| printed(n * step, decimals));
        let fits = |rounded: &f64| {
            let off = (rounded - value).abs();
            side(*rounded, shown) == side(value, known) && (off <= step / 2.0 + 1e-9 || off <= (hi - lo) / 8.0)
        };
        near.into_iter().find(fits)
    };
    let rounded = |decimals: usize| {
        let [Some(low), Some(value), Some(high)] = figures.map(|v| beside(v, decimals)) else { return None };
        let is_told_apart = lo >= hi || printed(low, decimals) < printed(high, decimals);
        is_told_apart.then_some(([low, value, high], decimals))
    };
    (least..=usual + MOST_MORE_DECIMALS).find_map(rounded).unwrap_or((figures, least))
}

/// A figure rounded to what its interval supports, and its digits after the point: to fives and tens (fifties, …) of its usual last
/// digit that fit between it and the nearer end. `None` where that is its usual digit or a finer one, or where it would come to lie on
/// the other side of one of `ends` (see [`decimals_beside`]).
pub(crate) fn rounded_to_interval(
    [lo, value, hi]: [f64; 3],
    ends: Option<[(f64, usize); 2]>,
    usual: usize,
) -> Option<(f64, usize)> {
    let room = if lo.is_finite() && hi.is_finite() { (value - lo).min(hi - value) } else { 0.0 };
    let side = |v: f64| ends.map(|[lo, hi]| i8::from(v > hi.0) - i8::from(v < lo.0));
    let coarser = (0..=MOST_FEWER_DIGITS).flat_map(|tens| [(tens, 5.0), (tens + 1, 1.0)]);
    coarser
        .map(|(tens, fives)| (fives * 10_f64.powi(tens - usual as i32), usual.saturating_sub(tens as usize)))
        .take_while(|(step, _)| *step <= room)
        .map(|(step, decimals)| ((value / step).round() * step, decimals))
        .filter(|(rounded, _)| side(*rounded) == side(value))
        .last()
}

/// Digits that a wide interval may take from a figure.
const MOST_FEWER_DIGITS: i32 = 3;

/// Digits after the point for a limit: the usual ones, and one more where it is not as round as that.
pub fn decimals_of_limit(limit: f64, usual: usize) -> usize {
    let steps = limit * 10_f64.powi(usual as i32);
    usual + usize::from((steps - steps.round()).abs() > 1e-6)
}

/// The lower end of a band that has none.
pub(crate) const BELOW_ALL: (f64, usize) = (f64::NEG_INFINITY, 0);

/// Digits after the point at which a figure prints on the side of its band that it lies on: the usual ones, and more where it is so
/// near an end that "25, too fast" would stand beside "up to 25". Ends count as inside.
///
/// * `ends`: lower and upper end, and the digits that each is shown with.
pub fn decimals_beside(value: f64, ends: [(f64, usize); 2], usual: usize) -> usize {
    let (known, shown) = (ends.map(|end| end.0), ends.map(|end| printed(end.0, end.1)));
    let agrees = |decimals: &usize| side(printed(value, *decimals), shown) == side(value, known);
    (usual..=usual + MOST_MORE_DECIMALS).find(agrees).unwrap_or(usual)
}

/// A figure as it is read back from so many digits.
fn printed(value: f64, decimals: usize) -> f64 {
    format!("{value:.decimals$}").parse().unwrap_or(f64::NAN)
}

/// Above a band, in it or below it; its ends are inside.
fn side(value: f64, [lo, hi]: [f64; 2]) -> i8 {
    i8::from(value > hi) - i8::from(value < lo)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_prints_on_the_side_of_its_limit_that_it_lies_on() {
        let band = Band { lo: 0.0127, hi: 0.0254 };
        let beside = |units: Units, mm_s: f64| units.arm_speed_beside(mm_s * 1e-3, band);
        assert_eq!(Units::Si.arm_speed_band(band), "12.7 to 25.4 mm/s");
        assert_eq!(Units::Us.arm_speed_band(band), "0.50 to 1.00 in/s");
        assert_eq!(Units::Si.arm_speed_limit(0.02), "20 mm/s");
        for (mm_s, said) in [(24.9, "25"), (25.2, "25"), (25.43, "25.43"), (25.6, "26"), (12.6, "12.6"), (12.8, "13")] {
            assert_eq!(beside(Units::Si, mm_s), format!("{said} mm/s"));
        }
        for (mm_s, said) in [(25.35, "1.00"), (25.48, "1.003"), (12.68, "0.499"), (25.6, "1.01")] {
            assert_eq!(beside(Units::Us, mm_s), format!("{said} in/s"));
        }
        // Between two ends that are no round numbers.
        let whole = Band { lo: 0.02, hi: 0.025 };
        assert_eq!(Units::Si.arm_speed_beside(0.0252, whole), "25.2 mm/s");
        assert_eq!(Units::Si.arm_speed_beside(0.0248, whole), "25 mm/s");
        let limit_k = 20.0 * K_PER_FAHRENHEIT_DEGREE;
        assert_eq!(Units::Si.rise_beside(11.13, limit_k), "+11.13 K");
        assert_eq!(Units::Si.rise_beside(11.09, limit_k), "+11.1 K");
        assert_eq!(Units::Us.rise_beside(limit_k + 0.01, limit_k), "+20.02 °F");
        assert_eq!(beside(Units::Si, f64::NAN), "NaN mm/s");
    }

    #[test]
    fn a_figure_has_no_digit_that_its_interval_does_not_support() {
        let band = Band { lo: 0.0127, hi: 0.0254 };
        let told = |units: Units, lo: f64, value: f64, hi: f64| {
            units.arm_speed_told(Interval { lo: lo * 1e-3, value: value * 1e-3, hi: hi * 1e-3 }, band)
        };
        for (lo, value, hi, said) in [
            (18.0, 19.0, 20.0, "19"),
            (14.1, 19.0, 24.0, "19"),
            (12.7, 19.0, 25.4, "20"),
            (8.0, 18.4, 41.0, "20"),
            // Over the band's end by too little to be told so by fives.
            (19.0, 26.0, 33.0, "26"),
            // On the side it lies on, and without digits that so wide an interval does not support.
            (22.4, 25.41, 28.4, "26"),
            (9.6, 12.65, 15.6, "12"),
            (18.0, 33.0, 60.0, "30"),
            // Never to nothing.
            (0.5, 2.0, 12.0, "2"),
        ] {
            assert_eq!(told(Units::Si, lo, value, hi), format!("{said} mm/s"), "{lo} {value} {hi}");
        }
        assert_eq!(told(Units::Us, 12.7, 19.0, 25.4), "0.7 in/s");
        assert_eq!(told(Units::Us, 18.0, 19.0, 20.0), "0.75 in/s");
        assert_eq!(told(Units::Si, f64::NAN, 19.0, 25.0), "19 mm/s");
    }

    #[test]
    fn a_figure_and_its_interval_have_one_count_of_digits() {
        let band = Some([(12.7, 1), (25.4, 1)]);
        for (figures, ends, usual, told) in [
            ([3.63, 4.30, 5.10], None, 2, "3.6 4.3 5.1"),
            ([25.7, 31.2, 37.6], None, 0, "26 31 38"),
            ([23.08, 23.2, 23.32], None, 0, "23.1 23.2 23.3"),
            ([22.4, 25.41, 28.4], band, 0, "22 26 28"),
            ([9.6, 12.65, 15.6], band, 0, "10 12 16"),
            // Half a digit would be much of so narrow an interval.
            ([25.42, 27.0, 29.0], band, 0, "25.5 27.0 29.0"),
            ([1.004, 1.22, 1.478], Some([(0.5, 2), (1.0, 2)]), 2, "1.01 1.22 1.48"),
            ([25.41, 25.42, 25.43], band, 0, "25.41 25.42 25.43"),
            ([20.0, 20.0, 20.0], band, 0, "20 20 20"),
        ] {
            let (rounded, decimals) = rounded_together(figures, ends, usual);
            assert_eq!(rounded.map(|v| format!("{v:.decimals$}")).join(" "), told);
        }
        let (odd, _) = rounded_together([f64::NAN, 19.0, f64::INFINITY], band, 0);
        assert!(odd[0].is_nan() && odd[1] == 19.0);
    }

    #[test]
    fn an_interval_never_rounds_to_nothing() {
        assert_eq!(decimals_of_interval(0.084, 0.121, 1), 2, "not 0.1 to 0.1");
        assert_eq!(decimals_of_interval(2.0, 2.6, 1), 1);
        assert_eq!(decimals_of_interval(0.02, 0.04, 1), 2);
        assert_eq!(decimals_of_interval(0.3, 0.3, 1), 1, "one that is nothing stays nothing");
        assert_eq!(decimals_of_interval(f64::NAN, f64::NAN, 1), 1);
        assert_eq!(decimals_of_interval(-0.04, 0.04, 1), 2);
    }

    #[test]
    fn a_difference_has_no_offset() {
        // 1 °F difference = 5/9 K, 140 °F = 60 °C, 1 in/s = 25.4 mm/s: definitions of the units.
        assert_eq!(Units::Us.rise(10.0), "+18.0 °F");
        assert_eq!(Units::Us.rise(20.0 * K_PER_FAHRENHEIT_DEGREE), "+20.0 °F");
        assert_eq!(Units::Si.rise(20.0 * K_PER_FAHRENHEIT_DEGREE), "+11.1 K");
        assert_eq!(Units::Si.rise(-0.4), "-0.4 K");
        assert_eq!(Units::Us.temperature(60.0), "140.0 °F");
        assert_eq!(Units::Us.arm_speed(0.0254), "1.00 in/s");
        assert_eq!(Units::Si.arm_speed(0.0254), "25 mm/s");
        assert_eq!(Units::Si.arm_speed_within(0.020, 0.003), "20 ± 3 mm/s");
        assert_eq!(Units::Us.arm_speed_within(0.0254, 0.00254), "1.00 ± 0.10 in/s");
        assert_eq!(Units::Us.length(0.508), "20.0 in");
    }

    #[test]
    fn words_come_back() {
        for units in [Units::Si, Units::Us] {
            assert_eq!(units.as_str().parse(), Ok(units));
        }
        assert_eq!("SI".parse::<Units>().unwrap_err().to_string(), "units are `si` or `us`, not `SI`");
    }
}
