//! What is said of a told stroke length that the turns contradict.

use crate::{analysis::Interval, guidance::Units};

/// One sentence where the told length does not fit; another one for passes whose strokes were on the other side of it.
///
/// * `by_turns_m`: of every pass [`crate::analysis::Pass::length_by_turns_m`].
#[must_use]
pub fn told_length(told_m: Option<f64>, by_turns_m: &[Option<Interval>], units: Units) -> Vec<String> {
    let Some(told_m) = told_m else { return Vec::new() };
    let all = by_turns_m.len();
    let said = |longer: bool| {
        let doubts = by_turns_m.iter().flatten().filter(move |by_turns| (by_turns.value > told_m) == longer);
        // What the turns of one pass are off by, those of the next are, too: nothing is averaged away.
        let (n, lo, hi) =
            doubts.fold((0, f64::INFINITY, 0.0_f64), |(n, lo, hi), d| (n + 1, f64::min(lo, d.lo), hi.max(d.hi)));
        let passes = match (n, all) {
            (0, _) => return None,
            (1, 1) => "the pass: its".to_owned(),
            (n, all) if n == all => format!("any of the {all} passes: their"),
            (1, all) => format!("one of {all} passes: its"),
            (n, all) => format!("{n} of {all} passes: their"),
        };
        Some(format!(
            "The stroke length told, {}, does not fit {passes} turns say {}. The figures go by the length told; where that is wrong, \
             review again with --stroke-length-m.",
            units.length(told_m),
            units.length_range(lo, hi),
        ))
    };
    [false, true].into_iter().filter_map(said).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_that_does_not_fit_is_told_once_for_all_passes() {
        let doubt = |value: f64| Some(Interval { lo: 0.9 * value, value, hi: 1.1 * value });
        let said = |passes: &[Option<Interval>]| told_length(Some(0.6), passes, Units::Si);
        assert_eq!(told_length(None, &[doubt(0.4)], Units::Si), Vec::<String>::new());
        assert_eq!(said(&[None, None]), Vec::<String>::new());
        let one = said(&[doubt(0.4)]);
        assert_eq!(
            one,
            [
                "The stroke length told, 0.60 m, does not fit the pass: its turns say 0.36 to 0.44 m. The figures go by the length \
              told; where that is wrong, review again with --stroke-length-m."
            ]
        );
        assert!(
            said(&[doubt(0.4), doubt(0.3)])[0].contains("fit any of the 2 passes: their turns say 0.27 to 0.44 m.")
        );
        let both = said(&[doubt(0.4), None, doubt(0.9), doubt(0.3)]);
        assert!(both[0].contains("fit 2 of 4 passes: their turns say 0.27 to 0.44 m."), "{both:?}");
        assert!(both[1].contains("fit one of 4 passes: its turns say 0.81 to 0.99 m."), "{both:?}");
        assert!(
            told_length(Some(0.6), &[doubt(0.4)], Units::Us)[0]
                .contains("told, 23.6 in, does not fit the pass: its turns say 14.2 to 17.3 in.")
        );
    }
}
