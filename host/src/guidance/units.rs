//! How figures are shown. Inside the program and in every file they stay SI; only words for people follow the user's choice.

use std::fmt;
use std::str::FromStr;

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

    /// Arm speed; `mps` in m/s.
    pub fn arm_speed(self, mps: f64) -> String {
        let (number, unit) = self.of_arm_speed(mps);
        format!("{number} {unit}")
    }

    /// Arm speed and how far off it something may be, m/s: "20 ± 3 mm/s".
    pub fn arm_speed_within(self, mps: f64, within_mps: f64) -> String {
        format!("{} ± {}", self.of_arm_speed(mps).0, self.arm_speed(within_mps))
    }

    fn of_arm_speed(self, mps: f64) -> (String, &'static str) {
        match self {
            Self::Si => (format!("{:.0}", mps * 1e3), "mm/s"),
            Self::Us => (format!("{:.2}", mps * 1e3 / MM_PER_INCH), "in/s"),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

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
