//! What to do next, from a session beside the trainer's and the plan of the session shown: most pressing first, heat, then pace,
//! then evenness. The plan is the aim; the trainer's session is one that was measured, and where it was outside the plan that is said.

use super::Figure;
use super::reference::ReferenceSection;
use crate::guidance::units::duration;
use crate::guidance::{Band, Units};

/// What the plan of the session shown asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    /// Arm speed, m/s.
    pub pace_mps: Band,
    /// Limit of the surface rise, K.
    pub heat_limit_k: f64,
}

/// More than this is no lesson for one day.
const MOST: usize = 2;
/// Less stroke time than this in the band is worth a sentence even where the mean is in it. This program's choice.
const KEPT: f64 = 0.8;
/// With less stroke time than this in the band a reference is none for the pace.
const HALF: f64 = 0.5;

/// How a section's arm speed lies to the band; only in doubt where its interval reaches into it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Slow,
    Fast,
}

impl Target {
    /// On which side of the band an arm speed is, and whether its whole interval is.
    fn side(&self, section: &ReferenceSection) -> Option<(Side, bool)> {
        let speed = section.means[Figure::ArmSpeed.index()]?;
        let (lo, hi) = section.arm_speed_90_mps.unwrap_or((speed, speed));
        let Band { lo: slowest, hi: fastest } = self.pace_mps;
        if speed > fastest {
            Some((Side::Fast, lo > fastest))
        } else if speed < slowest {
            Some((Side::Slow, hi < slowest))
        } else {
            None
        }
    }

    fn is_over(&self, section: &ReferenceSection) -> bool {
        match section.highest_rise_k {
            Some(k) => k > self.heat_limit_k,
            None => section.over_limit_s.is_some_and(|s| s > 0.0),
        }
    }

    /// "+44.3 K, 52 s over the limit" of a section.
    fn heat_words(&self, section: &ReferenceSection, units: Units) -> String {
        let (peak, over) = self.heat(section, units);
        [peak, over.map(|s| format!("{s} over the limit"))].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// How warm a section got, and for how long it was over the limit.
    fn heat(&self, section: &ReferenceSection, units: Units) -> (Option<String>, Option<String>) {
        let peak = section.highest_rise_k.map(|k| units.rise_beside(k, self.heat_limit_k));
        // What is not nothing is no less than a second.
        (peak, section.over_limit_s.filter(|s| *s > 0.0).map(|s| duration(s.max(1.0))))
    }
}

fn mean_of(sections: &[ReferenceSection], figure: Figure) -> Option<f64> {
    let values: Vec<f64> = sections.iter().filter_map(|s| s.means[figure.index()]).collect();
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// The section with the most of something, and its number.
fn most(sections: &[ReferenceSection], of: impl Fn(&ReferenceSection) -> f64) -> Option<(usize, &ReferenceSection)> {
    let numbered = sections.iter().enumerate().map(|(i, s)| (i + 1, s));
    numbered.max_by(|(_, a), (_, b)| of(a).total_cmp(&of(b)))
}

/// What a session teaches.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lesson {
    /// What to do next, most pressing first.
    pub next: Vec<String>,
    /// Where the reference itself was outside the plan, that it was.
    pub of_reference: Option<String>,
}

impl Lesson {
    /// All of it, as it is read.
    pub fn lines(&self) -> impl Iterator<Item = &String> {
        self.next.iter().chain(&self.of_reference)
    }
}

/// One or two sentences of what to do next, and one about the reference where that was outside the plan itself.
pub fn lesson(reference: &[ReferenceSection], shown: &[ReferenceSection], target: Target, units: Units) -> Lesson {
    let mut next: Vec<String> = Vec::new();
    let place = |number: usize| if shown.len() > 1 { format!("section {number} ") } else { "the panel ".to_owned() };
    let peak = |s: &ReferenceSection| s.highest_rise_k.unwrap_or(0.0);
    let too_hot: Vec<_> = shown.iter().enumerate().filter(|(_, s)| target.is_over(s)).collect();
    let hottest = too_hot.iter().copied().max_by(|(_, a), (_, b)| peak(a).total_cmp(&peak(b)));
    if let Some((i, section)) = hottest {
        let others = match too_hot.len() {
            1 => String::new(),
            n => format!("; {n} of {} sections were over it", shown.len()),
        };
        next.push(format!(
            "Let the panel cool before each pass and lift sooner: {}came to {}{others}.",
            place(i + 1),
            target.heat_words(section, units)
        ));
    }
    next.extend(pace(shown, target, hottest.is_some(), units));
    let uneven = [
        (Figure::Evenness, "Keep one pace from stroke to stroke", "arm speed varies by"),
        (Figure::RubbingEvenness, "Space the strokes evenly", "rubbing varies by"),
    ];
    for (figure, what, varies) in uneven {
        let (Some(theirs), Some(ours)) = (mean_of(reference, figure), mean_of(shown, figure)) else { continue };
        if ours > theirs + figure.usual_scatter() {
            let words = |v: f64| figure.words(v, units);
            next.push(format!("{what}: {varies} {}, the reference's by {}.", words(ours), words(theirs)));
        }
    }
    next.truncate(MOST);
    if next.is_empty() {
        next.extend(kept(shown));
    }
    Lesson { next, of_reference: of_reference(reference, shown, target, units) }
}

/// What to do about the arm speed: the section furthest off the band, else time that many strokes spent beside it.
fn pace(shown: &[ReferenceSection], target: Target, is_hot: bool, units: Units) -> Option<String> {
    let band = units.arm_speed_band(target.pace_mps);
    let off = |s: &ReferenceSection| {
        let speed = s.means[Figure::ArmSpeed.index()].unwrap_or(target.pace_mps.lo);
        (speed - target.pace_mps.hi).max(target.pace_mps.lo - speed)
    };
    let (number, furthest) = most(shown, off)?;
    if let Some((side, clear)) = target.side(furthest) {
        let speed = furthest.means[Figure::ArmSpeed.index()]?;
        // A slower arm makes hotter paint.
        let what = match (side, is_hot) {
            (Side::Fast, true) => "Once the panel has cooled, slow the arm",
            (Side::Fast, false) => "Slow the arm",
            (Side::Slow, _) => "Move the arm faster",
        };
        let doubt = if clear { "" } else { ", perhaps: its interval reaches the band" };
        let where_ = if shown.len() > 1 { format!(" in section {number}") } else { String::new() };
        let speed = units.arm_speed_beside(speed, target.pace_mps);
        return Some(format!("{what}: {speed}{where_}, the plan asks for {band}{doubt}."));
    }
    let share = mean_of(shown, Figure::InBand).filter(|share| *share < KEPT)?;
    let share = Figure::InBand.words(share, units);
    Some(format!("Hold each stroke within {band}: {share} of the stroke time was, though the mean is in it."))
}

/// That all is well, of what is known.
fn kept(shown: &[ReferenceSection]) -> Option<String> {
    let any = |known: &dyn Fn(&ReferenceSection) -> bool| shown.iter().any(known);
    let heat = any(&|s| s.highest_rise_k.is_some());
    let pace = any(&|s| s.means[Figure::ArmSpeed.index()].is_some());
    Some(match (pace, heat) {
        (true, true) => "Go on like that: pace and warmth are inside the plan, as far as the spot saw.".into(),
        (true, false) => "Go on like that: the pace is inside the plan; how warm the panel got is not known.".into(),
        (false, true) => "The warmth is inside the plan, as far as the spot saw; the pace is not known.".into(),
        (false, false) => return None,
    })
}

/// Whether any section was over the heat limit, and whether any was beside the band or most of the time was.
fn outside(sections: &[ReferenceSection], target: Target) -> (bool, bool) {
    let is_beside = sections.iter().any(|s| target.side(s).is_some());
    let is_seldom_in = mean_of(sections, Figure::InBand).is_some_and(|share| share < HALF);
    (sections.iter().any(|s| target.is_over(s)), is_beside || is_seldom_in)
}

/// Where the reference itself was outside the plan that is taught.
fn of_reference(
    reference: &[ReferenceSection],
    shown: &[ReferenceSection],
    target: Target,
    units: Units,
) -> Option<String> {
    let (is_hot, is_off) = outside(reference, target);
    let (hot_too, off_too) = outside(shown, target);
    let mut told: Vec<String> = Vec::new();
    let too = |also: bool| if also { ", too" } else { "" };
    if is_hot {
        let (_, hottest) = most(reference, |s| s.highest_rise_k.unwrap_or(0.0))?;
        let (peak, over) = target.heat(hottest, units);
        let figures: Vec<String> = peak.into_iter().chain(over.map(|s| format!("for {s}"))).collect();
        told.push(format!("over the heat limit{} ({})", too(hot_too), figures.join(", ")));
    }
    if is_off {
        let speed = mean_of(reference, Figure::ArmSpeed).map(|mps| units.arm_speed_beside(mps, target.pace_mps));
        let in_band = mean_of(reference, Figure::InBand);
        let share = in_band.map(|share| format!("in its band for {} of the time", Figure::InBand.words(share, units)));
        let figures: Vec<String> = speed.into_iter().chain(share).collect();
        told.push(format!("outside the arm speed band{} ({})", too(off_too), figures.join(", ")));
    }
    (!told.is_empty())
        .then(|| format!("The one compared with was {}: the plan is the aim, not its figures.", told.join(" and ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::FIGURES;

    const TARGET: Target = Target { pace_mps: Band { lo: 0.0127, hi: 0.0254 }, heat_limit_k: 100.0 / 9.0 };

    /// In the band, cool and even.
    fn good() -> ReferenceSection {
        let mut means = [None; FIGURES];
        for (figure, value) in [
            (Figure::ArmSpeed, 0.02),
            (Figure::InBand, 0.95),
            (Figure::Evenness, 0.08),
            (Figure::RubbingEvenness, 0.15),
        ] {
            means[figure.index()] = Some(value);
        }
        ReferenceSection {
            means,
            arm_speed_90_mps: Some((0.018, 0.022)),
            highest_rise_k: Some(8.0),
            over_limit_s: Some(0.0),
        }
    }

    fn with(figure: Figure, value: f64) -> ReferenceSection {
        let mut section = good();
        section.means[figure.index()] = Some(value);
        section
    }

    fn said(reference: &ReferenceSection, shown: &ReferenceSection) -> Vec<String> {
        let told = lesson(std::slice::from_ref(reference), std::slice::from_ref(shown), TARGET, Units::Si);
        told.lines().cloned().collect()
    }

    #[test]
    fn heat_comes_before_pace_and_a_hot_panel_cools_before_the_arm_slows() {
        let fast = ReferenceSection { arm_speed_90_mps: Some((0.028, 0.032)), ..with(Figure::ArmSpeed, 0.03) };
        let hot = ReferenceSection { highest_rise_k: Some(44.3), over_limit_s: Some(52.0), ..fast.clone() };
        let told = said(&good(), &hot);
        assert_eq!(
            told,
            [
                "Let the panel cool before each pass and lift sooner: the panel came to +44.3 K, 52 s over the limit.",
                "Once the panel has cooled, slow the arm: 30 mm/s, the plan asks for 12.7 to 25.4 mm/s.",
            ]
        );
        assert_eq!(said(&good(), &fast), ["Slow the arm: 30 mm/s, the plan asks for 12.7 to 25.4 mm/s."]);
        let us = lesson(&[good()], &[fast.clone(), hot], TARGET, Units::Us).next;
        assert!(us[0].contains("section 2 came to +79.7 °F, 52 s over the limit"), "{us:?}");
        assert!(us[1].ends_with("1.18 in/s in section 2, the plan asks for 0.50 to 1.00 in/s."), "{us:?}");
    }

    #[test]
    fn what_an_interval_leaves_open_is_not_claimed() {
        let perhaps = ReferenceSection { arm_speed_90_mps: Some((0.023, 0.03)), ..with(Figure::ArmSpeed, 0.026) };
        assert!(said(&good(), &perhaps)[0].ends_with(", perhaps: its interval reaches the band."));
        let mixed = with(Figure::InBand, 0.53);
        assert!(said(&good(), &mixed)[0].starts_with("Hold each stroke within 12.7 to 25.4 mm/s: 53.0 %"));
    }

    #[test]
    fn a_reference_outside_the_plan_is_no_aim() {
        let reference =
            ReferenceSection { highest_rise_k: Some(13.4), over_limit_s: Some(42.0), ..with(Figure::ArmSpeed, 0.0288) };
        assert_eq!(
            said(&reference, &good()),
            [
                "Go on like that: pace and warmth are inside the plan, as far as the spot saw.",
                "The one compared with was over the heat limit (+13.4 K, for 42 s) and outside the arm speed band \
                 (29 mm/s, in its band for 95.0 % of the time): the plan is the aim, not its figures.",
            ]
        );
        let hot = ReferenceSection { highest_rise_k: Some(12.0), over_limit_s: Some(9.0), ..good() };
        assert!(
            said(&hot, &hot)[1].contains("was over the heat limit, too (+12.0 K, for 9 s): "),
            "{:?}",
            said(&hot, &hot)
        );
    }

    #[test]
    fn evenness_is_last_and_two_are_enough() {
        let uneven = with(Figure::Evenness, 0.2);
        let told = said(&good(), &uneven);
        assert_eq!(
            told,
            ["Keep one pace from stroke to stroke: arm speed varies by 20.0 %, the reference's by 8.0 %."]
        );
        let mut all = ReferenceSection { highest_rise_k: Some(20.0), ..uneven };
        all.means[Figure::ArmSpeed.index()] = Some(0.03);
        all.means[Figure::RubbingEvenness.index()] = Some(0.5);
        assert_eq!(said(&good(), &all).len(), MOST);
    }

    #[test]
    fn what_is_not_known_is_not_called_good() {
        let blind = ReferenceSection { highest_rise_k: None, over_limit_s: None, ..good() };
        assert!(said(&good(), &blind)[0].ends_with("how warm the panel got is not known."));
        let nothing = ReferenceSection::default();
        assert_eq!(said(&nothing, &nothing), [] as [String; 0]);
    }
}
