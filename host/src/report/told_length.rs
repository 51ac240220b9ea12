//! What is said of a told stroke length that does not agree with the turns.

use crate::{analysis::LengthDoubt, guidance::Units};

/// What the turns say where they do not agree with a told length, and which figures go by it all the same; nothing where all do.
///
/// * `doubts`: of every pass [`crate::analysis::Pass::length_doubt`].
#[must_use]
pub fn told_length(told_m: Option<f64>, doubts: &[Option<LengthDoubt>], units: Units) -> Option<String> {
    let told_m = told_m?;
    let all = doubts.len();
    let clear: Vec<&LengthDoubt> = doubts.iter().flatten().filter(|doubt| doubt.clear).collect();
    if clear.is_empty() {
        let slight: Vec<&LengthDoubt> = doubts.iter().flatten().collect();
        let beside = beside(told_m, &slight, all, "hardly fits", units);
        return (!slight.is_empty()).then(|| {
            format!(
                "{beside} Arm speeds go by the length told all the same, their intervals take in what the turns say. Measure it again; \
                 with the right one, review again: --stroke-length."
            )
        });
    }
    let mut said = beside(told_m, &clear, all, "does not fit", units);
    let whose = match clear.len() {
        n if n == all => String::new(),
        1 => format!(" of one of {all} passes"),
        n => format!(" of {n} of {all} passes"),
    };
    said += &format!(" Arm speeds{whose} go by the turns, as though no length had been told.");
    if clear.len() < all {
        said += " The others go by the length told, and are off where that is wrong.";
    }
    Some(said + " With the right one, review again: --stroke-length.")
}

/// What is said behind a warning of the pace that may have gone by a told length, given before its pass was known.
pub(super) fn of_warning(doubt: LengthDoubt) -> &'static str {
    if doubt.clear {
        "It may have gone by the stroke length told, which the turns of this pass contradict."
    } else {
        "It may have gone by the stroke length told, which hardly fits the turns of this pass."
    }
}

/// One sentence for the passes whose turns say shorter strokes than told, one for those that say longer.
fn beside(told_m: f64, doubts: &[&LengthDoubt], all: usize, how: &str, units: Units) -> String {
    let said = |off: fn(&LengthDoubt, f64) -> bool| {
        let doubts = doubts.iter().filter(|doubt| off(doubt, told_m)).map(|doubt| doubt.by_turns_m);
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
            "The stroke length told, {}, {how} {passes} turns say {}.",
            units.length(told_m),
            units.length_range(lo, hi),
        ))
    };
    let sentences = [said(|d, told_m| d.by_turns_m.hi < told_m), said(|d, told_m| d.by_turns_m.lo > told_m)];
    sentences.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Interval;

    #[test]
    fn a_length_that_does_not_fit_is_told_once_for_all_passes() {
        let with = |value: f64, clear: bool| {
            let by_turns_m = Interval { lo: 0.9 * value, value, hi: 1.1 * value };
            Some(LengthDoubt { by_turns_m, clear })
        };
        let doubt = |value: f64| with(value, true);
        let said = |passes: &[Option<LengthDoubt>]| told_length(Some(0.6), passes, Units::Si);
        assert_eq!(told_length(None, &[doubt(0.4)], Units::Si), None);
        assert_eq!(said(&[None, None]), None);
        assert_eq!(
            said(&[doubt(0.4)]).unwrap(),
            "The stroke length told, 0.60 m, does not fit the pass: its turns say 0.36 to 0.44 m. Arm speeds go by the turns, as \
             though no length had been told. With the right one, review again: --stroke-length."
        );
        let all = said(&[doubt(0.4), doubt(0.3)]).unwrap();
        assert!(all.contains("fit any of the 2 passes: their turns say 0.27 to 0.44 m. Arm speeds go by"), "{all}");
        let both = said(&[doubt(0.4), None, doubt(0.9), doubt(0.3)]).unwrap();
        assert!(both.contains("fit 2 of 4 passes: their turns say 0.27 to 0.44 m. The stroke length told"), "{both}");
        assert!(
            both.contains("fit one of 4 passes: its turns say 0.81 to 0.99 m. Arm speeds of 3 of 4 passes"),
            "{both}"
        );
        assert!(both.contains("The others go by the length told, and are off where that is wrong."), "{both}");
        // Worked in one go with one that it does not fit.
        let beside = said(&[doubt(0.4), doubt(0.57)]).unwrap();
        assert!(beside.contains("fit one of 2 passes: its turns say 0.36 to 0.44 m. Arm speeds go by the"), "{beside}");
        let slight = said(&[with(0.5, false), None, None]).unwrap();
        assert_eq!(
            slight,
            "The stroke length told, 0.60 m, hardly fits one of 3 passes: its turns say 0.45 to 0.55 m. Arm speeds go by the length told \
             all the same, their intervals take in what the turns say. Measure it again; with the right one, review again: \
             --stroke-length."
        );
        let both = said(&[with(0.5, false), doubt(0.4), None]).unwrap();
        assert!(
            both.contains("does not fit one of 3 passes: its turns say 0.36 to 0.44 m. Arm speeds of one of"),
            "{both}"
        );
        let us = told_length(Some(0.6), &[doubt(0.4)], Units::Us).unwrap();
        assert!(us.contains("told, 23.6 in, does not fit the pass: its turns say 14.2 to 17.3 in."), "{us}");
    }
}
