//! From the brightness temperature an infrared thermometer gives to the temperature of the paint.
//!
//! A grey surface radiates its own share `e` and reflects the rest from its surroundings. With the law of the fourth power
//! (kelvin; `a` apparent, `o` object, `r` reflected):
//!
//! ```text
//! a⁴ = e·o⁴ + (1-e)·r⁴
//! ```
//!
//! The reflected temperature is taken from the chip's own, which sits in the air of the shop. Against integrated Planck
//! curves of real bands (8-14 µm, 5.5-14 µm) the law is good to 0.02 K at 50 °C and emissivity 0.95, and to 0.2 K at 80 °C
//! and 0.90. Under an open cold sky what is reflected is colder than the chip, and readings come out low.

use steadypass_protocol::units::ZERO_CELSIUS_K;

/// Temperature of a surface, °C, that looks like `apparent_c` among surroundings of `reflected_c`.
///
/// `None` when no temperature above absolute zero explains the reading, for a reading or surroundings below it, or for an
/// emissivity outside 0 < e <= 1.
/// The inverse of [`apparent_c`] to within rounding (1e-9 K).
pub(super) fn object_c(apparent_c: f64, reflected_c: f64, emissivity: f64) -> Option<f64> {
    // The fourth power hides the sign: below absolute zero a reading would pass for a warm one.
    let below_zero = [apparent_c, reflected_c].iter().any(|c| *c < -ZERO_CELSIUS_K);
    if below_zero || !(emissivity > 0.0 && emissivity <= 1.0) {
        return None;
    }
    let own = fourth(apparent_c) - (1.0 - emissivity) * fourth(reflected_c);
    let object_k = (own / emissivity).sqrt().sqrt();
    (own > 0.0 && object_k.is_finite()).then_some(object_k - ZERO_CELSIUS_K)
}

/// What a thermometer set to emissivity 1 shows, °C, for a surface of `object_c` among surroundings of `reflected_c`.
///
/// A fit may try emissivities above 1; one that leaves no radiation at all gives absolute zero.
pub(crate) fn apparent_c(object_c: f64, reflected_c: f64, emissivity: f64) -> f64 {
    let both = emissivity * fourth(object_c) + (1.0 - emissivity) * fourth(reflected_c);
    both.max(0.0).sqrt().sqrt() - ZERO_CELSIUS_K
}

fn fourth(c: f64) -> f64 {
    (c + ZERO_CELSIUS_K).powi(4)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Grey-body balance, recomputed independently; printed to four decimals.
    const TABLE: &str = include_str!("../../../data/reference/ir_correction.csv");
    /// Published emissivities with their sources in the last column.
    const EMISSIVITIES: &str = include_str!("../../../data/reference/emissivity.csv");

    fn table(text: &str) -> csv::Reader<&[u8]> {
        csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes())
    }

    #[test]
    fn meets_the_reference_table() {
        let mut rows = 0;
        for row in table(TABLE).deserialize() {
            let (object, reflected, emissivity, apparent): (f64, f64, f64, f64) = row.unwrap();
            // Half of the last printed digit.
            assert!((apparent_c(object, reflected, emissivity) - apparent).abs() <= 0.5e-4, "{object} {emissivity}");
            let back = object_c(apparent, reflected, emissivity).unwrap();
            assert!((back - object).abs() <= 0.6e-4 / emissivity, "{back} {object}");
            rows += 1;
        }
        assert_eq!(rows, 7);
    }

    #[test]
    fn the_default_emissivity_lies_in_the_published_range_of_lacquers() {
        let mut seen = false;
        for row in table(EMISSIVITIES).deserialize() {
            let (surface, band, _, low, high, _): (String, String, String, f64, f64, String) = row.unwrap();
            if surface.starts_with("lacquer, 3 colours") && band == "8-14 um" {
                let default = crate::analysis::Setup::default().emissivity;
                assert!((low..=high).contains(&default));
                seen = true;
            }
        }
        assert!(seen);
    }

    #[test]
    fn a_hundredth_of_emissivity_is_a_fifth_of_a_kelvin() {
        // 0.225 K per 0.01 at 50 °C among 25 °C: recomputed from the same balance by finite differences.
        let change = apparent_c(50.0, 25.0, 0.955) - apparent_c(50.0, 25.0, 0.945);
        assert!((change - 0.225).abs() < 0.001, "{change}");
    }

    #[test]
    fn what_no_surface_explains_is_not_known() {
        assert_eq!(object_c(-100.0, 80.0, 0.3), None);
        assert_eq!(object_c(-600.0, 20.0, 0.93), None);
        assert_eq!(object_c(40.0, -600.0, 0.93), None);
        assert_eq!(object_c(f64::NAN, 20.0, 0.9), None);
        assert_eq!(object_c(20.0, 20.0, 0.0), None);
        assert_eq!(object_c(20.0, 20.0, f64::NAN), None);
        assert!((object_c(20.0, 20.0, 0.3).unwrap() - 20.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn the_inverse_is_exact(object in -40.0..200.0f64, reflected in -20.0..60.0f64, emissivity in 0.3..=1.0f64) {
            let back = object_c(apparent_c(object, reflected, emissivity), reflected, emissivity).unwrap();
            prop_assert!((back - object).abs() < 1e-9, "{} {}", back, object);
        }
    }
}
