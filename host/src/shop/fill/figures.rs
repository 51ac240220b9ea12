//! Figures of a recording, taken up event by event, apart for each technician who held the machine.

use std::sync::Arc;

use super::print;
use crate::analysis::rubbing::RubbingMap;
use crate::analysis::{LONGEST_TURN_S, ROW_S, SeriesRow, State, TrackPoint};
use crate::drawing::rubbing_setup;
use crate::guidance::Plan;
use crate::name;
use crate::session::{Event, Hands, JudgedPass};
use crate::shop::{NewNote, NewPass, NewSection, SectionMap};

/// Takes up what a review hands out, apart for each technician who held the machine.
#[derive(Clone, Debug)]
pub struct Figures {
    pub(super) plan: Plan,
    hands: Hands,
    /// In order of appearance; the first is whoever began, told or not.
    pub(super) parts: Vec<Part>,
    notes: Vec<(f64, String)>,
    pub(super) end_s: f64,
}

/// What one technician did in a recording.
#[derive(Clone, Debug, Default)]
pub(super) struct Part {
    /// As typed at the hand-over; `None` for whoever began.
    pub(super) technician: Option<Arc<str>>,
    pub(super) from_s: f64,
    pub(super) held_s: f64,
    pub(super) running_s: f64,
    pub(super) sections: Vec<NewSection>,
    /// Passes of the section that is still open: the way of the pad, and its map.
    open: Vec<(Vec<TrackPoint>, Option<RubbingMap>)>,
}

impl Figures {
    /// Under the plan of the review, begun by `technician` (empty: not told).
    pub fn new(plan: Plan, technician: &str) -> Self {
        let first =
            if technician.trim().is_empty() { plan.technician.clone().unwrap_or_default() } else { technician.into() };
        Self { plan, hands: Hands::new(&first), parts: vec![Part::default()], notes: Vec::new(), end_s: 0.0 }
    }

    /// Takes the next event; with a pass comes its rubbing map, [`rubbing`], where it has one.
    pub fn event(&mut self, event: &Event, map: Option<RubbingMap>) {
        match event {
            Event::Row(row) => {
                self.end_s = row.t_s;
                let holder = self.hands.at(row.t_s).cloned();
                let part = self.part(holder);
                let part = &mut self.parts[part];
                part.held_s += ROW_S;
                part.running_s += if row.state == State::Still { 0.0 } else { ROW_S };
            }
            Event::Pass(judged) => {
                let part = self.part(judged.technician.clone());
                self.parts[part].pass(judged, map, &self.plan);
            }
            Event::HandedTo { t_s, technician } => {
                self.hands.pass_to(*t_s, technician);
                let holder = self.hands.at(*t_s).cloned();
                let part = self.part(holder);
                // Known from here on, unless they had it before.
                if part + 1 == self.parts.len() && part > 0 && self.parts[part].held_s == 0.0 {
                    self.parts[part].from_s = *t_s;
                }
            }
            Event::Note { t_s, text } => self.notes.push((*t_s, text.to_string())),
            _ => {}
        }
    }

    /// Number of a technician's part, from 1, as it is filed.
    pub fn number_of(&mut self, technician: Option<&Arc<str>>) -> u32 {
        self.part(technician.cloned()) as u32 + 1
    }

    /// Index of a technician's part; made when they appear for the first time.
    fn part(&mut self, technician: Option<Arc<str>>) -> usize {
        let Some(name) = technician else { return 0 };
        if self.hands.at(f64::NEG_INFINITY).is_some_and(|first| name::same(first, &name)) {
            return 0;
        }
        let known = |p: &Part| p.technician.as_ref().is_some_and(|n| name::same(n, &name));
        self.parts.iter().position(known).unwrap_or_else(|| {
            self.parts.push(Part { technician: Some(name), ..Part::default() });
            self.parts.len() - 1
        })
    }

    /// Notes of a part, each with the section that was begun last before it.
    pub(super) fn notes_of(&self, part: usize) -> Vec<NewNote> {
        let first = self.hands.at(f64::NEG_INFINITY);
        let mine = |t_s: f64| match (self.hands.at(t_s), &self.parts[part].technician) {
            (holder, None) => holder == first,
            (holder, name) => holder == name.as_ref(),
        };
        let begun = |t_s: f64| {
            let sections = self.parts[part].sections.iter();
            sections.rev().find(|s| s.passes.first().is_some_and(|p| p.start_s <= t_s)).map(|s| s.number)
        };
        let notes = self.notes.iter().filter(|(t_s, _)| mine(*t_s));
        notes.map(|(t_s, text)| NewNote { t_s: *t_s, section: begun(*t_s), text: text.clone() }).collect()
    }
}

impl Part {
    fn pass(&mut self, judged: &JudgedPass, map: Option<RubbingMap>, plan: &Plan) {
        let pass = &judged.pass;
        // What no sheet shows is no figure to compare by.
        let map = map.filter(|map| map.is_known_for(pass));
        if self.sections.last().is_none_or(|s| s.number != pass.section) {
            self.close_section(plan);
            self.sections.push(NewSection { number: pass.section, ..NewSection::default() });
        }
        let known = |v: Option<f64>| v.filter(|v| v.is_finite());
        let new = NewPass {
            number: pass.pass,
            start_s: pass.start_s,
            end_s: pass.end_s,
            strokes: pass.strokes,
            arm_speed_mps: known(pass.traverse_mean_mps.map(|i| i.value)),
            arm_speed_90_mps: pass
                .traverse_mean_mps
                .map(|i| (i.lo, i.hi))
                .filter(|i| i.0.is_finite() && i.1.is_finite()),
            arm_speed_cv: known(pass.traverse_cv),
            in_band_share: known(judged.in_pace_share),
            orbit_median_opm: known(pass.orbit_median_opm),
            orbit_free_opm: known(pass.orbit_free_opm),
            pad_speed_mps: known(pass.pad_speed_mean_mps),
            surface_start_c: known(pass.surface_start_c),
            surface_peak_c: known(pass.surface_peak_c),
            surface_rise_k: known(judged.told_rise_k()),
            seconds_over_limit: known(judged.seconds_over_limit).filter(|_| judged.told_rise_k().is_some()),
            rubbing_mean_m: map.as_ref().and_then(mean_rubbing),
            rubbing_cv: map.as_ref().filter(|m| m.distance_m.is_some()).and_then(RubbingMap::unevenness),
            pause_s: standing_s(&judged.rows),
            vibration_mps2: known(pass.vibration_mps2),
            warnings: judged.warnings.len() as u32,
            print: print::of(judged, map.as_ref()),
        };
        self.open.push((pass.track.clone(), map));
        if let Some(section) = self.sections.last_mut() {
            section.passes.push(new);
        }
    }

    /// Rubbing of a section: all its passes laid on top of each other.
    pub(super) fn close_section(&mut self, plan: &Plan) {
        let open = std::mem::take(&mut self.open);
        let Some(section) = self.sections.last_mut() else { return };
        // A pass whose way is not known would be missing from the sum.
        let maps: Option<Vec<&RubbingMap>> = open.iter().map(|(_, map)| map.as_ref()).collect();
        let Some(maps) = maps.filter(|maps| !maps.is_empty()) else { return };
        let stacked = RubbingMap::stack(&maps).or_else(|| {
            let tracks: Vec<&[TrackPoint]> = open.iter().map(|(track, _)| track.as_slice()).collect();
            RubbingMap::of(&tracks, &rubbing_setup(plan))
        });
        if let Some(map) = stacked {
            section.rubbing_mean_m = mean_rubbing(&map);
            section.rubbing_cv = if map.distance_m.is_some() { map.unevenness() } else { None };
            section.map = SectionMap::of(&map);
        }
    }
}

/// Rubbing map of a pass under a plan, for whoever draws or files it; `None` for other events.
pub fn rubbing(event: &Event, plan: &Plan) -> Option<RubbingMap> {
    let Event::Pass(judged) = event else { return None };
    RubbingMap::of(&[&judged.pass.track], &rubbing_setup(plan))
}

/// How long within a pass the motor ran and the machine stood or was lifted off, s; `None` where it is not known whether it ran. What
/// lies between two strokes and takes longer than a turn can is counted whole.
fn standing_s(rows: &[SeriesRow]) -> Option<f64> {
    let runs = |row: &&SeriesRow| row.orbit_opm.is_some();
    rows.iter().find(runs)?;
    let in_stroke = |row: &SeriesRow| row.traverse_mps.is_some();
    let rests = rows
        .chunk_by(|a, b| in_stroke(a) == in_stroke(b))
        .filter(|rows| !in_stroke(&rows[0]) && rows.len() as f64 * ROW_S > LONGEST_TURN_S);
    Some(rests.flatten().filter(runs).count() as f64 * ROW_S)
}

fn mean_rubbing(map: &RubbingMap) -> Option<f64> {
    map.distance_m.as_ref()?;
    map.mean().filter(|m| m.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Measured, Pass};

    /// A pass along one stroke, filed; its pad's way across the stroke known to `sd_m`.
    fn filed(sd_m: f64) -> NewSection {
        let plan = Plan { section_m: Some([0.4, 0.3]), ..Plan::default() };
        let point = |i: u32| {
            let t_s = f64::from(i) / 10.0;
            TrackPoint { t_s, x_m: 0.03 * t_s - 0.15, y_m: 0.0, pad_speed_mps: Some(2.0) }
        };
        let pass = Pass { track: (0..=100).map(point).collect(), track_sd_m: Some(sd_m), ..Pass::untold() };
        let event = Event::Pass(JudgedPass::of(pass).into());
        let mut figures = Figures::new(plan.clone(), "Technician A");
        figures.event(&event, rubbing(&event, &plan));
        figures.parts[0].close_section(&plan);
        figures.parts[0].sections[0].clone()
    }

    #[test]
    fn what_takes_longer_than_a_turn_is_standing() {
        // Two strokes of 10 s with a turn of 2 s between, then 5 s of rest with the motor off in the last, and a stroke.
        let rows: Vec<SeriesRow> = (0..370)
            .map(|i| {
                let strokes = [0..100, 120..220, 270..370];
                let measured = Measured { value: 0.02, sd: 0.001 };
                SeriesRow {
                    t_s: f64::from(i) * ROW_S,
                    traverse_mps: strokes.iter().any(|stroke| stroke.contains(&i)).then_some(measured),
                    orbit_opm: (!(260..270).contains(&i)).then_some(Measured { value: 4500.0, sd: 1.0 }),
                    ..SeriesRow::default()
                }
            })
            .collect();
        assert!((standing_s(&rows).expect("it ran") - 4.0).abs() < 1e-9);
        assert!(standing_s(&rows[..220]).is_some_and(|s| s == 0.0));
        let unknown: Vec<SeriesRow> = rows.iter().map(|row| SeriesRow { orbit_opm: None, ..*row }).collect();
        assert_eq!(standing_s(&unknown), None);
    }

    #[test]
    fn rubbing_of_which_no_sheet_shows_a_map_is_not_filed() {
        let pad_m = Plan::default().machine.pad_diameter_mm * 1e-3;
        for (off_m, known) in [(0.9 * pad_m, true), (1.1 * pad_m, false)] {
            let section = filed(off_m / crate::analysis::Z90);
            let pass = &section.passes[0];
            let figures = [pass.rubbing_mean_m, pass.rubbing_cv, section.rubbing_mean_m, section.rubbing_cv];
            assert!(figures.iter().all(|figure| figure.is_some() == known), "{off_m} m: {figures:?}");
            assert_eq!((pass.print.rubbing.is_some(), section.map.is_some()), (known, known));
        }
    }

    #[test]
    fn a_note_belongs_to_whoever_came_back_in_other_letters() {
        let mut figures = Figures::new(Plan::default(), "Technician A");
        for (t_s, name) in [(10.0, "Technician B"), (20.0, " technician a")] {
            figures.event(&Event::HandedTo { t_s, technician: name.into() }, None);
        }
        figures.event(&Event::Note { t_s: 25.0, text: "haze left of the handle".into() }, None);
        assert_eq!(figures.parts.len(), 2);
        assert_eq!(
            figures.notes_of(0).iter().map(|n| n.text.as_str()).collect::<Vec<_>>(),
            ["haze left of the handle"]
        );
        assert!(figures.notes_of(1).is_empty());
    }
}
