//! What is said of a thermometer that failed to read.

use crate::analysis::SurfaceCounts;
use crate::drawing::units::number;

/// A share of unusable looks that is not worth a word: the bus of any sensor fails now and then.
const USUAL: f64 = 0.02;

/// One sentence where more looks failed than is usual; that there were none at all is said by the sheets.
#[must_use]
pub fn unusable_looks(counts: &SurfaceCounts) -> Option<String> {
    let unusable = (counts.failed + counts.outliers) as f64;
    let looks = counts.looks as f64;
    (unusable > USUAL * looks).then(|| {
        format!(
            "The thermometer gave no usable reading in {} of {} looks ({:.0} %): heat may have been missed meanwhile.",
            number(unusable, 0),
            number(looks, 0),
            100.0 * unusable / looks,
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_failed_looks_are_said_and_a_few_are_not() {
        let counts = |failed, outliers| SurfaceCounts { looks: 2000, failed, outliers, ..SurfaceCounts::default() };
        assert_eq!(unusable_looks(&counts(30, 10)), None);
        let said = unusable_looks(&counts(290, 30)).expect("many");
        assert!(said.contains("320 of 2\u{202f}000 looks (16 %)"), "{said}");
        assert_eq!(unusable_looks(&SurfaceCounts::default()), None);
    }
}
