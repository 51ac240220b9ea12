//! What is said of a thermometer that looks too seldom for what is made of its looks, no more, or is stuck.

use crate::analysis::surface::{FORESEEN_FROM_HZ, JUDGED_FROM_HZ, SurfaceCounts};
use crate::drawing::units::clock;

/// One sentence where the looks were too few, as long as they came; that there were none is said elsewhere.
#[must_use]
pub fn slow_looks(counts: &SurfaceCounts) -> Option<String> {
    /// A shorter time holds too few looks to tell how often they come, s.
    const SHORT_S: f64 = 5.0;
    /// A thermometer's own noise lets no reading stand for so long, on a display of whole degrees neither beside work, s.
    const STUCK_S: f64 = 20.0;
    // A hundredth less is the clock's, or the recording's ends.
    let too_few = |hz: f64, of: f64| hz < 0.99 * of;
    let (first_s, last_s) = counts.read_s?;
    let seconds = last_s - first_s;
    if seconds >= STUCK_S && counts.read_c.is_some_and(|(lo, hi)| lo == hi) {
        return Some(
            "The thermometer gave one and the same reading all the time: it is stuck or not connected. Heat is not known."
                .to_owned(),
        );
    }
    let hz = counts.looks.saturating_sub(1) as f64 / seconds;
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

/// One sentence where the readings end long before a recording of so many seconds does.
#[must_use]
pub fn fell_silent(counts: &SurfaceCounts, seconds: f64) -> Option<String> {
    /// The machine is set down and the recording stopped within this, s.
    const USUAL_S: f64 = 10.0;
    let (_, last_s) = counts.read_s?;
    (seconds - last_s > USUAL_S).then(|| {
        format!(
            "The thermometer's last reading came at {}, the recording goes on to {}: heat after that is not known. Check its lead.",
            clock(last_s),
            clock(seconds)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_too_seldom_are_said() {
        let counts = |looks, last_s| SurfaceCounts { looks, read_s: Some((0.0, last_s)), ..SurfaceCounts::default() };
        let said = |looks| slow_looks(&counts(looks, 100.0));
        assert!(said(200).expect("slow").contains("only 2.0 times a second: heat is judged in part or not at all"));
        assert!(said(400).expect("slow").contains("only 4.0 times a second: heat is not foreseen"));
        assert_eq!([501, 1560].map(said), [const { None }; 2]);
        assert_eq!(slow_looks(&counts(1, 0.0)), None);
        let stuck = SurfaceCounts { read_c: Some((0.0, 0.0)), ..counts(200, 100.0) };
        assert!(slow_looks(&stuck).expect("stuck").contains("one and the same reading"));
        assert_eq!(slow_looks(&counts(340, 22.0)), None, "as often as it should, while it looked");
    }

    #[test]
    fn a_thermometer_that_ends_before_the_recording_is_said() {
        let until = |last_s| SurfaceCounts { looks: 340, read_s: Some((0.0, last_s)), ..SurfaceCounts::default() };
        assert_eq!(fell_silent(&until(195.0), 200.0), None);
        let said = fell_silent(&until(22.0), 200.0).expect("long before");
        assert!(
            said.starts_with("The thermometer's last reading came at 0:22, the recording goes on to 3:20"),
            "{said}"
        );
        assert_eq!(fell_silent(&SurfaceCounts::default(), 200.0), None, "who has none knows it");
    }
}
