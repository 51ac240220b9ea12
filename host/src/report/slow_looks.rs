//! What is said of a thermometer that looks too seldom for what is made of its looks.

use crate::analysis::surface::{FORESEEN_FROM_HZ, JUDGED_FROM_HZ, SurfaceCounts};

/// One sentence where the looks in so many seconds were too few; that there were none is said elsewhere.
#[must_use]
pub fn slow_looks(counts: &SurfaceCounts, seconds: f64) -> Option<String> {
    /// Shorter recordings hold too few looks to tell how often they come, s.
    const SHORT_S: f64 = 5.0;
    // A hundredth less is the clock's, or the recording's ends.
    let too_few = |hz: f64, of: f64| hz < 0.99 * of;
    let hz = counts.looks as f64 / seconds;
    let what = match (counts.looks, seconds >= SHORT_S) {
        (1.., true) if too_few(hz, JUDGED_FROM_HZ) => "heat is judged in part or not at all",
        (1.., true) if too_few(hz, FORESEEN_FROM_HZ) => "heat is not foreseen",
        _ => return None,
    };
    Some(format!(
        "The thermometer looked only {hz:.1} times a second: {what}. The panel's rise takes {JUDGED_FROM_HZ} looks a second, a \
         warning in advance {FORESEEN_FROM_HZ}."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_too_seldom_are_said() {
        let said = |looks| slow_looks(&SurfaceCounts { looks, ..SurfaceCounts::default() }, 100.0);
        assert!(said(200).expect("slow").contains("only 2.0 times a second: heat is judged in part or not at all"));
        assert!(said(400).expect("slow").contains("only 4.0 times a second: heat is not foreseen"));
        assert_eq!([0, 499, 1560].map(said), [const { None }; 3]);
        assert_eq!(slow_looks(&SurfaceCounts { looks: 1, ..SurfaceCounts::default() }, 0.5), None);
    }
}
