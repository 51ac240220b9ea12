//! What is said of a told stroke length that the turns contradict.

use crate::{analysis::Interval, guidance::Units};

/// What the turns say where a told length is not gone by, and which figures go by it all the same; nothing where all do.
///
/// * `by_turns_m`: of every pass [`crate::analysis::Pass::length_by_turns_m`].
#[must_use]
pub fn told_length(told_m: Option<f64>, by_turns_m: &[Option<Interval>], units: Units) -> Option<String> {
    let told_m = told_m?;
    let (all, doubted) = (by_turns_m.len(), by_turns_m.iter().flatten().count());
    if doubted == 0 {
        return None;
    }
    let said = |off: fn(&Interval, f64) -> bool| {
        let doubts = by_turns_m.iter().flatten().filter(|by_turns| off(by_turns, told_m));
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
            "The stroke length told, {}, does not fit {passes} turns say {}.",
            units.length(told_m),
            units.length_range(lo, hi),
        ))
    };
    let mut sentences: Vec<String> =
        [said(|by_turns, told_m| by_turns.hi < told_m), said(|by_turns, told_m| by_turns.lo > told_m)]
            .into_iter()
            .flatten()
            .collect();
    let whose = match doubted {
        n if n == all => String::new(),
        1 => format!(" of one of {all} passes"),
        n => format!(" of {n} of {all} passes"),
    };
    sentences.push(format!("Arm speeds{whose} go by the turns, as though no length had been told."));
    if doubted < all {
        sentences.push("The others go by the length told, and are off where that is wrong.".to_owned());
    }
    sentences.push("With the right one, review again: --stroke-length-m.".to_owned());
    Some(sentences.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_that_does_not_fit_is_told_once_for_all_passes() {
        let doubt = |value: f64| Some(Interval { lo: 0.9 * value, value, hi: 1.1 * value });
        let said = |passes: &[Option<Interval>]| told_length(Some(0.6), passes, Units::Si);
        assert_eq!(told_length(None, &[doubt(0.4)], Units::Si), None);
        assert_eq!(said(&[None, None]), None);
        assert_eq!(
            said(&[doubt(0.4)]).unwrap(),
            "The stroke length told, 0.60 m, does not fit the pass: its turns say 0.36 to 0.44 m. Arm speeds go by the turns, as \
             though no length had been told. With the right one, review again: --stroke-length-m."
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
        let us = told_length(Some(0.6), &[doubt(0.4)], Units::Us).unwrap();
        assert!(us.contains("told, 23.6 in, does not fit the pass: its turns say 14.2 to 17.3 in."), "{us}");
    }
}
