//! One technician's day: what was recorded and what was typed in, together.

use std::collections::BTreeMap;

use jiff::{ZonedDateTime, civil::Date};

use super::{
    collect::Running,
    dose::{Basis, Contribution, Dose, Hand, Range},
};
use crate::{analysis::WeightedEnergy, name};

/// The day of one technician.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Day {
    /// Who; empty when not told.
    pub technician: String,
    /// Which day, where it is known.
    pub date: Option<Date>,
    /// What was recorded, in order of time.
    pub stretches: Vec<Running>,
    /// What was typed in.
    pub declared: Vec<Contribution>,
}

/// Overlaps up to this long are none: starts are kept to the second, s.
const OVERLAP_S: f64 = 2.0;

/// What one tool brought.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// The tool.
    pub tool: String,
    /// Which hand.
    pub hand: Hand,
    /// Where the magnitude is from.
    pub basis: Basis,
    /// How long it ran, s.
    pub running_s: f64,
    /// How much of that the sensor could measure, s; equal to `running_s` for declared ones.
    pub measured_s: f64,
    /// Samples at the chip's full scale.
    pub clipped: u64,
    /// Whether its logger cut peaks off: the magnitude is the least that it can have been, and has no upper bound.
    pub is_cut_off: bool,
    /// Magnitude and time; `None` when nothing of it was measured.
    pub contribution: Option<Contribution>,
}

impl Source {
    /// Its magnitude, m/s², and its points, in words.
    pub fn words(&self) -> (String, String) {
        let Some(own) = &self.contribution else { return ("not measured".to_owned(), "-".to_owned()) };
        let Range { value, .. } = own.a_hv_mps2;
        let a_hv = if self.is_cut_off { format!("at least {value:.1}") } else { own.a_hv_mps2.words(1, "") };
        (a_hv, format!("{:.1}", own.points().value))
    }
}

/// A stretch and the running total of points at its two ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Step<'a> {
    /// The stretch.
    pub stretch: &'a Running,
    /// Points before it.
    pub before: Range,
    /// Points after it; equal to `before` when nothing about its vibration is known.
    pub after: Range,
}

/// Sorts stretches into days, by technician and then by date.
pub fn days(stretches: impl IntoIterator<Item = Running>) -> Vec<Day> {
    // However their name was typed, one person has one day, and is called as in the first recording.
    let mut days: BTreeMap<(String, Option<Date>), Day> = BTreeMap::new();
    let mut called: BTreeMap<String, String> = BTreeMap::new();
    for stretch in stretches {
        let date = stretch.start.as_ref().map(|s| s.date());
        let key = name::key(&stretch.technician);
        let technician = called.entry(key.clone()).or_insert_with(|| stretch.technician.trim().to_owned()).clone();
        let day = days.entry((key, date)).or_insert_with(|| Day { technician, date, ..Day::default() });
        day.stretches.push(stretch);
    }
    let mut days: Vec<Day> = days.into_values().collect();
    for day in &mut days {
        day.stretches.sort_by_key(|s| s.start.as_ref().map(|s| s.timestamp()));
    }
    days
}

impl Day {
    /// What each tool brought, recorded ones first.
    pub fn sources(&self) -> Vec<Source> {
        let mut tools: Vec<&str> = Vec::new();
        for stretch in &self.stretches {
            if !tools.contains(&stretch.tool.as_str()) {
                tools.push(&stretch.tool);
            }
        }
        let recorded = tools.into_iter().map(|tool| self.recorded(tool));
        let declared = self.declared.iter().map(|c| Source {
            tool: c.tool.clone(),
            hand: c.hand,
            basis: c.basis,
            running_s: c.hours * 3600.0,
            measured_s: c.hours * 3600.0,
            clipped: 0,
            is_cut_off: false,
            contribution: Some(c.clone()),
        });
        recorded.chain(declared).collect()
    }

    /// The exposure of the day, as far as it is known.
    pub fn dose(&self) -> Dose {
        let contributions: Vec<Contribution> = self.sources().into_iter().filter_map(|s| s.contribution).collect();
        Dose::of(contributions.iter())
    }

    /// Points typed in for the hand that got more; their time of day is not known.
    pub fn declared_points(&self) -> Range {
        let dose = self.dose();
        let other = if dose.left_points.value > dose.right_points.value { Hand::Right } else { Hand::Left };
        self.declared.iter().filter(|c| c.hand != other).map(Contribution::points).sum()
    }

    /// The running total over the day, on top of what was typed in.
    pub fn steps(&self) -> Vec<Step<'_>> {
        let mut total = self.declared_points();
        self.stretches
            .iter()
            .map(|stretch| {
                let before = total;
                if let Some(a) = self.magnitude(stretch) {
                    let own = Contribution::measured(&stretch.tool, a, stretch.running_s / 3600.0).points();
                    total = [total, own].into_iter().sum();
                }
                Step { stretch, before, after: total }
            })
            .collect()
    }

    /// How long more than one stretch goes on at once by the clock, s.
    pub fn overlap_s(&self) -> f64 {
        let known = self.stretches.iter().filter_map(|s| Some((s.start.as_ref()?, s.span_s)));
        let mut until: Option<(&ZonedDateTime, f64)> = None;
        let mut overlap_s = 0.0;
        for (start, span_s) in known {
            let ahead_s = until.map_or(0.0, |(at, span_s)| span_s - start.duration_since(at).as_secs_f64());
            let shared_s = ahead_s.min(span_s);
            if shared_s > OVERLAP_S {
                overlap_s += shared_s;
            }
            if span_s >= ahead_s {
                until = Some((start, span_s));
            }
        }
        overlap_s
    }

    /// What to know about stretches that overlap; `None` where none do.
    pub fn overlap_caution(&self) -> Option<String> {
        let long = match self.overlap_s() {
            none if none <= 0.0 => return None,
            short if short < 90.0 => format!("{short:.0} s"),
            long => format!("{:.0} min", long / 60.0),
        };
        Some(format!(
            "Stretches of this day overlap by {long} and may count twice: nobody holds two machines at once. Give recordings of \
             the same work only once; a table's time of day is that of its import, unless --started told it."
        ))
    }

    /// a_hv of a stretch, m/s², or of its tool's day where too little of it was measured.
    pub fn magnitude(&self, stretch: &Running) -> Option<f64> {
        if stretch.is_measured() {
            return stretch.energy.total_mps2();
        }
        let same = self.stretches.iter().filter(|s| s.tool == stretch.tool);
        same.map(|s| s.energy).sum::<WeightedEnergy>().total_mps2()
    }

    fn recorded(&self, tool: &str) -> Source {
        let mine = || self.stretches.iter().filter(|s| s.tool == tool);
        let energy: WeightedEnergy = mine().map(|s| s.energy).sum();
        let running_s: f64 = mine().map(|s| s.running_s).sum();
        // Weighted with the time each stretch ran, so that the stretches' points add up to the tool's.
        let squares: Option<f64> = mine().map(|s| Some(self.magnitude(s)?.powi(2) * s.running_s)).sum();
        let contribution = squares
            .filter(|_| running_s > 0.0)
            .map(|sum| Contribution::measured(tool, (sum / running_s).sqrt(), running_s / 3600.0));
        Source {
            tool: tool.to_owned(),
            hand: Hand::Both,
            basis: Basis::Measured,
            running_s,
            measured_s: energy.seconds.min(running_s),
            clipped: energy.clipped,
            is_cut_off: mine().any(|s| s.is_cut_off),
            contribution,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exposure::Declared;

    fn stretch(technician: &str, tool: &str, start: &str, minutes: f64, a: Option<f64>) -> Running {
        let seconds = minutes * 60.0;
        let measured_s = if a.is_some() { seconds * 0.9 } else { 0.0 };
        Running {
            technician: technician.into(),
            turn: 0,
            tool: tool.into(),
            start: crate::recording::start_of(start),
            span_s: seconds,
            running_s: seconds,
            energy: WeightedEnergy {
                square_integral: [0.0, 0.0, a.unwrap_or(0.0).powi(2) * measured_s],
                seconds: measured_s,
                clipped: 0,
            },
            is_cut_off: false,
        }
    }

    fn two_tools() -> Day {
        let mut days = days([
            stretch("Robin", "b", "2026-03-02T14:00:00+01:00", 90.0, Some(3.5)),
            stretch("Robin", "a", "2026-03-02T08:00:00+01:00", 15.0, Some(2.0)),
            stretch("Robin", "b", "2026-03-02T10:00:00+01:00", 30.0, Some(6.0)),
        ]);
        assert_eq!(days.len(), 1);
        days.remove(0)
    }

    #[test]
    fn a_day_adds_up_like_the_published_example() {
        // 2, 6, 3.5 m/s² for 15, 30, 90 min: 2.2 m/s², 75 points (guide of the UK health and safety executive, earlier version).
        let day = two_tools();
        assert_eq!(format!("{:.1}", day.dose().a8_mps2().value), "2.2");
        assert_eq!(format!("{:.0}", day.dose().points().value), "75");
        let steps = day.steps();
        assert_eq!(steps[0].stretch.tool, "a");
        assert!((steps[2].after.value - day.dose().points().value).abs() < 1e-9);
        assert_eq!(day.sources().len(), 2);
    }

    #[test]
    fn a_person_typed_in_other_letters_has_one_day() {
        let days = days([
            stretch("Sam", "a", "2026-03-02T08:00:00+01:00", 15.0, Some(2.0)),
            stretch(" sam ", "a", "2026-03-02T10:00:00+01:00", 15.0, Some(2.0)),
        ]);
        assert_eq!(days.iter().map(|d| (d.technician.as_str(), d.stretches.len())).collect::<Vec<_>>(), [("Sam", 2)]);
    }

    #[test]
    fn days_and_people_are_kept_apart() {
        let days = days([
            stretch("Sam", "a", "2026-03-02T08:00:00+01:00", 15.0, Some(2.0)),
            // Midnight of the shop's clock counts, not that of Greenwich.
            stretch("Robin", "a", "2026-03-02T00:10:00+01:00", 15.0, Some(2.0)),
            stretch("Robin", "a", "2026-03-01T23:50:00+01:00", 15.0, Some(2.0)),
        ]);
        let keys: Vec<(&str, String)> =
            days.iter().map(|d| (d.technician.as_str(), d.date.unwrap().to_string())).collect();
        assert_eq!(
            keys,
            [("Robin", "2026-03-01".to_owned()), ("Robin", "2026-03-02".to_owned()), ("Sam", "2026-03-02".to_owned())]
        );
    }

    #[test]
    fn a_stretch_without_measurement_takes_the_tools_figure_or_stays_unknown() {
        let day = &days([
            stretch("Robin", "a", "2026-03-02T08:00:00+01:00", 60.0, Some(2.0)),
            stretch("Robin", "a", "2026-03-02T10:00:00+01:00", 60.0, None),
            stretch("Robin", "b", "2026-03-02T12:00:00+01:00", 60.0, None),
        ])[0];
        let sources = day.sources();
        assert!((sources[0].contribution.as_ref().unwrap().points().value - 16.0).abs() < 1e-9);
        assert!(sources[0].measured_s < sources[0].running_s);
        assert_eq!(sources[1].contribution, None);
        assert!((day.dose().points().value - 16.0).abs() < 1e-9);
    }

    #[test]
    fn declared_values_stand_beside_measured_ones() {
        let mut day = two_tools();
        let Declared(left) = "grinder@left=5:60".parse().unwrap();
        day.declared.push(left);
        assert!((day.dose().points().value - (74.75 + 50.0)).abs() < 1e-9);
        assert!((day.declared_points().value - 50.0).abs() < 1e-9);
        assert!((day.steps()[2].after.value - day.dose().points().value).abs() < 1e-9);
        assert_eq!(day.sources()[2].basis, Basis::Declared);
    }

    #[test]
    fn stretches_that_overlap_are_said_to() {
        let at = |start: &str, minutes: f64| stretch("Robin", "a", start, minutes, Some(2.0));
        let day = |stretches: Vec<Running>| days(stretches).remove(0);
        // Given in any order; one within another, one across its end, one after all.
        let overlapping = day(vec![
            at("2026-03-02T08:50:00+01:00", 20.0),
            at("2026-03-02T08:10:00+01:00", 5.0),
            at("2026-03-02T08:00:00+01:00", 60.0),
            at("2026-03-02T09:10:01+01:00", 20.0),
        ]);
        assert!((overlapping.overlap_s() - 15.0 * 60.0).abs() < 1e-6, "{}", overlapping.overlap_s());
        let said = overlapping.overlap_caution().unwrap_or_default();
        assert!(said.contains("overlap by 15 min and may count twice"), "{said}");
        // Starts that are kept to the second only.
        let touching = day(vec![at("2026-03-02T08:00:00+01:00", 60.0), at("2026-03-02T08:59:59+01:00", 5.0)]);
        assert_eq!(touching.overlap_caution(), None);
    }
}
