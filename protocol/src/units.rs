//! Units that cross the wire or the chip drivers as types, so that a reading and a difference cannot be mixed up.

use core::ops::{Add, Sub};

/// 0 °C in kelvin (exact).
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// A point on the Celsius scale, °C.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Celsius(pub f32);

/// A temperature *difference*, K. It has no zero point, so it is never shown as a reading.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct KelvinRise(pub f32);

impl Sub for Celsius {
    type Output = KelvinRise;
    fn sub(self, baseline: Self) -> KelvinRise {
        KelvinRise(self.0 - baseline.0)
    }
}

impl Add<KelvinRise> for Celsius {
    type Output = Celsius;
    fn add(self, rise: KelvinRise) -> Celsius {
        Celsius(self.0 + rise.0)
    }
}

impl Celsius {
    /// The same temperature on the Fahrenheit scale, °F.
    pub fn fahrenheit(self) -> f32 {
        self.0 * 1.8 + 32.0
    }
}

impl KelvinRise {
    /// The same difference in Fahrenheit degrees. No offset: a rise of 10 K is a rise of 18 °F.
    pub fn fahrenheit_degrees(self) -> f32 {
        self.0 * 1.8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rise_has_no_offset() {
        // 1 °F difference = 5/9 K exactly (definition of the Fahrenheit degree): 18 °F are 10 K, never -7.8 °C.
        let rise = Celsius(30.0) - Celsius(20.0);
        assert_eq!(rise, KelvinRise(10.0));
        assert!((rise.fahrenheit_degrees() - 18.0).abs() < 1e-5);
        assert!((Celsius(60.0).fahrenheit() - 140.0).abs() < 1e-4);
        assert_eq!(Celsius(20.0) + KelvinRise(11.5), Celsius(31.5));
    }
}
