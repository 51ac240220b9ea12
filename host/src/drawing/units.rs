//! Figures as a person reads them, in SI or US customary units. Only for display: everything else stays SI.
//!
//! A temperature and a temperature difference are converted by different functions; a rise of 10 K is 18 °F, never 50.

use crate::analysis::Interval;
pub use crate::guidance::units::duration;
use crate::guidance::units::{
    BELOW_ALL, K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH, decimals_beside, decimals_of_limit, rounded_together,
};
use crate::guidance::{Band, Units};

/// Metres in a foot (exact by definition).
const M_PER_FOOT: f64 = 0.3048;

/// A choice of units, with numbers and unit names apart, as axes and tables need them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Scale(pub Units);

impl Scale {
    /// Arm speed from m/s.
    #[must_use]
    pub fn arm_speed(self, mps: f64) -> f64 {
        self.length(mps)
    }

    /// mm or in from m.
    #[must_use]
    pub fn length(self, m: f64) -> f64 {
        match self.0 {
            Units::Si => m * 1000.0,
            Units::Us => m * 1000.0 / MM_PER_INCH,
        }
    }

    /// Pad speed and rubbing distance: m or ft (per second) from m (per second).
    #[must_use]
    pub fn long_length(self, m: f64) -> f64 {
        match self.0 {
            Units::Si => m,
            Units::Us => m / M_PER_FOOT,
        }
    }

    /// A temperature difference from K.
    #[must_use]
    pub fn rise(self, k: f64) -> f64 {
        match self.0 {
            Units::Si => k,
            Units::Us => k / K_PER_FAHRENHEIT_DEGREE,
        }
    }

    /// A temperature from °C.
    #[must_use]
    pub fn temperature(self, c: f64) -> f64 {
        match self.0 {
            Units::Si => c,
            Units::Us => c / K_PER_FAHRENHEIT_DEGREE + 32.0,
        }
    }

    /// Digits after the point of an arm speed: whole mm/s, hundredths of in/s.
    fn arm_speed_decimals(self) -> usize {
        if self.0 == Units::Us { 2 } else { 0 }
    }

    /// A limit of the arm speed as a number: a digit more than usual where it has one.
    #[must_use]
    pub fn arm_speed_limit_number(self, mps: f64) -> String {
        let limit = self.arm_speed(mps);
        number(limit, decimals_of_limit(limit, self.arm_speed_decimals()))
    }

    /// An arm speed as a number and its interval, to stand in brackets behind it, with one count of digits: "24" and "23–25", or
    /// "23.2" and "23.1–23.3" where the ends would be one and the same. None of them prints on the wrong side of an end of the band it
    /// is held against.
    #[must_use]
    pub fn arm_speed_and_interval(self, mps: Interval, band_mps: Option<Band>) -> (String, String) {
        let figures = [mps.lo, mps.value, mps.hi].map(|v| self.arm_speed(v));
        let ends = band_mps.map(|band| self.0.arm_speed_ends(band));
        let ([lo, value, hi], decimals) = rounded_together(figures, ends, self.arm_speed_decimals());
        (number(value, decimals), format!("{}–{}", number(lo, decimals), number(hi, decimals)))
    }

    /// A rise as a number with one decimal (whole °F).
    #[must_use]
    pub fn rise_number(self, k: f64) -> String {
        number(self.rise(k), if self.0 == Units::Us { 0 } else { 1 })
    }

    /// The same beside the limit it is held against, K: more digits where it would print on the wrong side of it.
    #[must_use]
    pub fn rise_number_beside(self, k: f64, limit_k: Option<f64>) -> String {
        let usual = if self.0 == Units::Us { 0 } else { 1 };
        let end = |limit_k: f64| (self.rise(limit_k), self.rise_limit_decimals(limit_k));
        let decimals = limit_k.map_or(usual, |limit_k| decimals_beside(self.rise(k), [BELOW_ALL, end(limit_k)], usual));
        number(self.rise(k), decimals)
    }

    /// A limit of the rise as a number with one decimal (°F: where it is not whole).
    #[must_use]
    pub fn rise_limit_number(self, k: f64) -> String {
        number(self.rise(k), self.rise_limit_decimals(k))
    }

    fn rise_limit_decimals(self, k: f64) -> usize {
        if self.0 == Units::Us { decimals_of_limit(self.rise(k), 0) } else { 1 }
    }

    /// A length as a number: whole mm, tenths of an inch.
    #[must_use]
    pub fn length_number(self, m: f64) -> String {
        number(self.length(m), if self.0 == Units::Us { 1 } else { 0 })
    }

    /// Unit of arm speed.
    #[must_use]
    pub fn arm_speed_unit(self) -> &'static str {
        if self.0 == Units::Us { "in/s" } else { "mm/s" }
    }

    /// Unit of a length on the section.
    #[must_use]
    pub fn length_unit(self) -> &'static str {
        if self.0 == Units::Us { "in" } else { "mm" }
    }

    /// Unit of rubbing distance.
    #[must_use]
    pub fn long_length_unit(self) -> &'static str {
        if self.0 == Units::Us { "ft" } else { "m" }
    }

    /// Unit of rubbing distance, in words.
    #[must_use]
    pub fn long_length_word(self) -> &'static str {
        if self.0 == Units::Us { "feet" } else { "metres" }
    }

    /// Unit of pad speed.
    #[must_use]
    pub fn pad_speed_unit(self) -> &'static str {
        if self.0 == Units::Us { "ft/s" } else { "m/s" }
    }

    /// Unit of a temperature difference.
    #[must_use]
    pub fn rise_unit(self) -> &'static str {
        if self.0 == Units::Us { "°F" } else { "K" }
    }

    /// Unit of a temperature.
    #[must_use]
    pub fn temperature_unit(self) -> &'static str {
        if self.0 == Units::Us { "°F" } else { "°C" }
    }
}

/// A number with a fixed count of decimals, a true minus sign, narrow spaces between thousands, and no "-0".
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    let plain = format!("{:.decimals$}", value.abs());
    let (whole, part) = plain.split_once('.').map_or((plain.as_str(), ""), |(w, p)| (w, p));
    let mut out = String::new();
    if value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        out.push('\u{2212}');
    }
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i) % 3 == 0 {
            // Narrow, and no place to break a line.
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    if !part.is_empty() {
        out.push('.');
        out.push_str(part);
    }
    out
}

/// A moment as minutes and seconds, and hours where there are any: "0:24", "1:12:05".
#[must_use]
pub fn clock(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "?".to_owned();
    }
    let whole = seconds.max(0.0).round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rise_has_no_zero_point() {
        // Exact by definition: 1 K is 1.8 °F of difference; 0 °C is 32 °F.
        const US: Scale = Scale(Units::Us);
        assert_eq!(US.rise(10.0), 18.0);
        assert_eq!(US.rise_number(100.0 / 9.0), "20");
        assert_eq!(US.temperature(60.0), 140.0);
        let told = |units, lo, value, hi| Scale(units).arm_speed_and_interval(Interval { lo, value, hi }, None);
        assert_eq!(told(Units::Si, 0.0127, 0.02, 0.0254), ("20".into(), "13–25".into()));
        assert_eq!(told(Units::Si, 0.02308, 0.0232, 0.02332), ("23.2".into(), "23.1–23.3".into()));
        assert_eq!(told(Units::Us, 0.0127, 0.02, 0.0254), ("0.79".into(), "0.50–1.00".into()));
        assert_eq!(told(Units::Us, 0.02541, 0.02542, 0.02544), ("1.001".into(), "1.000–1.002".into()));
        assert!((US.long_length(0.3048) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn no_figure_contradicts_the_band_beside_it() {
        const US: Scale = Scale(Units::Us);
        const SI: Scale = Scale(Units::Si);
        let band = Some(Band { lo: 0.0127, hi: 0.0254 });
        assert_eq!(
            (SI.arm_speed_limit_number(0.0254), US.arm_speed_limit_number(0.0254)),
            ("25.4".into(), "1.00".into())
        );
        let clear = Interval { lo: 0.02542, value: 0.027, hi: 0.029 };
        assert_eq!(SI.arm_speed_and_interval(clear, band), ("27.0".into(), "25.5–29.0".into()));
        assert_eq!(SI.arm_speed_and_interval(clear, None), ("27".into(), "25–29".into()));
        let limit_k = 100.0 / 9.0;
        assert_eq!(
            (US.rise_limit_number(limit_k), US.rise_number_beside(11.3, Some(limit_k))),
            ("20".into(), "20.3".into())
        );
        assert_eq!(
            (US.rise_limit_number(11.0), US.rise_number_beside(11.05, Some(11.0))),
            ("19.8".into(), "20".into())
        );
        assert_eq!(
            (SI.rise_limit_number(limit_k), SI.rise_number_beside(11.13, Some(limit_k))),
            ("11.1".into(), "11.13".into())
        );
    }

    #[test]
    fn numbers_read_well() {
        assert_eq!(number(4260.4, 0), "4\u{202f}260");
        assert_eq!(number(1_234_567.0, 1), "1\u{202f}234\u{202f}567.0");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-2.5, 1), "\u{2212}2.5");
        assert_eq!(number(f64::NAN, 1), "?");
        assert_eq!(duration(124.4), "2 min 04 s");
        assert_eq!(duration(3720.0), "1 h 02 min");
        assert_eq!(clock(59.7), "1:00");
    }
}
