//! The end of a stretch of work: its passes and strokes with all that hindsight gives.

use super::Pipeline;
use super::degrees;
use super::free::{Loads, free_rate};
use super::rows::Waiting;
use super::statistics::{mean_of, quantile, variation};
use crate::analysis::findings::{Finding, Measured, Pass, ROW_S, State, Stroke};
use crate::analysis::motion::Work;
use crate::analysis::orbit::{HINDSIGHT_S, TICK_US};
use crate::analysis::passes::SettledPass;
use crate::analysis::strokes::Mode;
use crate::analysis::surface::SETTLE_S;
use crate::analysis::trailing::trailing;
use crate::analysis::traverse::WANDER;
use crate::analysis::{motion, track};

/// Arm at rest for this long with the motor running: the strokes before are settled, s.
const REST_S: f64 = 45.0;
/// With the motor running and nothing going on, motion this old is let go, s.
const IDLE_S: f64 = 120.0;
/// Rows are not handed out before their figures have settled, s.
const ROW_HINDSIGHT_S: f64 = if HINDSIGHT_S > SETTLE_S { HINDSIGHT_S } else { SETTLE_S } + 0.1;

/// Running free is looked for so long before a pass's first stroke, and until so long after its begin: a start is told to a
/// second or two, and one that was too gentle is missed with its stroke, s.
const FREE_BEFORE_S: f64 = 40.0;
const FREE_AFTER_S: f64 = 4.0;

impl Pipeline {
    /// Settles the stretch of work when it has come to an end.
    pub(super) fn decide(&mut self, t_s: f64, mode: Mode, since_s: f64, strokes: u32) {
        let off_s = self.motor.off_ticks as f64 * TICK_US * 1e-6;
        let off = off_s >= motion::MEASURED_S;
        let just_off = off && off_s < motion::MEASURED_S + TICK_US * 1e-6;
        let marked = self.settle_at_s.is_some_and(|at| t_s >= at);
        let rested = mode == Mode::Rest && strokes > 0 && t_s - since_s > REST_S;
        let too_long = self.motion.kept_s() >= motion::LONGEST_S;
        if just_off || marked || rested || too_long {
            self.settle(false);
            self.motion.begin_anew();
            self.under_way.begin_anew();
            self.settle_at_s = None;
            self.release(t_s - ROW_HINDSIGHT_S);
        } else if off || self.motion.kept_s() == 0.0 {
            if self.motion.kept_s() > 10.0 {
                self.motion.begin_anew();
            }
            self.release(t_s - ROW_HINDSIGHT_S);
        } else if mode == Mode::Rest && strokes == 0 && self.motion.kept_s() > IDLE_S {
            self.motion.begin_anew();
            self.release(t_s - ROW_HINDSIGHT_S);
        }
    }

    /// Works out the passes of the current stretch and hands them out.
    pub(super) fn settle(&mut self, at_end: bool) {
        if at_end {
            self.orbit.flush();
            while let Some(tick) = self.orbit.pop_settled() {
                self.rows.push_orbit(tick);
            }
            while let Some(settled) = self.surface.settle() {
                self.rows.fill_surface(settled);
            }
        }
        self.fill_orbit();
        let motor = &self.motor;
        if at_end {
            self.cadence.end(&|t| motor.ran_at(t));
        }
        let loads = Loads::new(rates(self.rows.between(f64::NEG_INFINITY, f64::INFINITY)));
        let load_s =
            |stroke: (f64, f64), work: (f64, f64)| [loads.taken_s(stroke, work), loads.relieved_s(stroke, work)];
        let work = Work { cuts_s: &motor.cuts_s, motor_on: &|t| motor.ran_at(t), load_s: &load_s };
        let passes = self.motion.settle(&work, (&self.setup).into(), at_end);
        for pass in passes {
            let times: Vec<(f64, f64)> = pass.strokes.iter().map(|s| (s.start_s, s.end_s)).collect();
            if !self.cadence.mistaken(&times) {
                self.hand_out(&pass);
            }
        }
        self.motor.cuts_s.clear();
    }

    fn hand_out(&mut self, pass: &SettledPass) {
        let (Some(first), Some(last)) = (pass.strokes.first(), pass.strokes.last()) else { return };
        let (start_s, end_s) = (first.start_s, last.end_s);
        let heading = pass.axis[1].atan2(pass.axis[0]);
        let before_s = self.sections.count_pass((start_s, end_s), heading);
        self.pass_count += 1;
        self.stroke_count += pass.strokes.len() as u32;
        let section_heading = self.sections.heading();
        let rises: Vec<Option<f64>> = pass
            .strokes
            .iter()
            .map(|s| {
                mean_of(&self.rows.between(s.start_s, s.end_s).filter_map(|w| w.row.surface_rise_k).collect::<Vec<_>>())
            })
            .collect();
        let trails = trailing(&rises);
        for (n, s) in pass.strokes.iter().enumerate() {
            self.cadence.stroke(s.start_s, s.end_s);
            let (interval, [down, up]) = (s.traverse.interval(), s.traverse.spread);
            let measured = Measured { value: interval.value, sd: interval.value * down.max(up).hypot(WANDER) };
            let (mut orbit, mut surface) = (Vec::new(), Vec::new());
            for w in self.rows.between(s.start_s, s.end_s) {
                w.row.traverse_mps = Some(measured);
                orbit.extend(w.row.orbit_opm.map(|m| m.value));
                surface.extend(w.row.surface_c);
            }
            let mid_s = 0.5 * (s.start_s + s.end_s);
            let travel = s.direction[1].atan2(s.direction[0]);
            self.findings.push_back(Finding::Stroke(Stroke {
                pass: self.pass_count,
                stroke: n as u32 + 1,
                start_s: s.start_s,
                end_s: s.end_s,
                direction_deg: section_heading.map(|first| degrees(travel - first)),
                machine_deg: self.motion.heading_at(mid_s).map(|h| degrees(travel - h)),
                length_m: Some(s.traverse.length_m),
                traverse_mps: Some(interval),
                orbit_opm: quantile(&mut orbit, 0.5),
                surface_c: mean_of(&surface),
                spot_trails: trails.get(n).copied().flatten(),
                supposed: s.supposed,
            }));
        }
        let (mut orbit, mut pad, mut rise, mut surface, mut start, mut power) =
            (vec![], vec![], vec![], vec![], None, vec![]);
        for w in self.rows.between(start_s, end_s) {
            w.row.state = State::Working;
            orbit.extend(w.row.orbit_opm.map(|m| m.value));
            pad.extend(w.row.pad_speed_mps);
            rise.extend(w.row.surface_rise_k);
            surface.extend(w.row.surface_c);
            start = start.or(w.start_c);
            power.extend(w.row.vibration_mps2.map(|v| v * v));
        }
        let rates = rates(self.rows.between(before_s.max(start_s - FREE_BEFORE_S), end_s));
        let loaded_s = first.end_s.min(start_s + FREE_AFTER_S);
        let way = section_heading.map(|first| track::lay(pass, track::likely_angle(heading - first)));
        let (mut points, track_sd_m) = way.map_or((Vec::new(), None), |(points, sd_m)| (points, Some(sd_m)));
        for p in &mut points {
            p.pad_speed_mps = self.rows.at(p.t_s).and_then(|r| r.pad_speed_mps);
        }
        let speeds: Vec<f64> = pass.strokes.iter().map(|s| s.traverse.speed_mps).collect();
        let peak = |v: &[f64]| v.iter().copied().reduce(f64::max);
        self.findings.push_back(Finding::Pass(Box::new(Pass {
            pass: self.pass_count,
            section: self.sections.number(),
            start_s,
            end_s,
            direction_deg: section_heading.map(|first| degrees(heading - first)),
            strokes: pass.strokes.len() as u32,
            traverse_mean_mps: Some(pass.mean_mps),
            length_doubt: pass.length_doubt,
            traverse_cv: variation(&speeds),
            orbit_median_opm: quantile(&mut orbit, 0.5),
            orbit_p05_opm: quantile(&mut orbit, 0.05),
            orbit_p95_opm: quantile(&mut orbit, 0.95),
            orbit_free_opm: free_rate(&rates, (loaded_s, end_s)),
            pad_speed_mean_mps: mean_of(&pad),
            surface_start_c: start,
            surface_peak_c: peak(&surface),
            surface_rise_k: peak(&rise),
            surface_seen_share: (rise.len() as f64 * ROW_S / (end_s - start_s)).min(1.0),
            vibration_mps2: mean_of(&power).map(f64::sqrt),
            track: points,
            track_sd_m,
        })));
    }

    /// Hands out the rows before a time, and what is known of the arm where there were no strokes.
    pub(super) fn release(&mut self, before_s: f64) {
        self.fill_orbit();
        while let Some(row) = self.rows.pop_before(before_s) {
            self.findings.push_back(Finding::Row(row));
        }
        while let Some(stretch) = self.cadence.pop_before(before_s) {
            self.findings.push_back(Finding::ToAndFro(stretch));
        }
    }

    fn fill_orbit(&mut self) {
        self.rows.fill_orbit(&self.setup.machine, self.orbit.is_measurable().unwrap_or(false));
    }
}

/// Time, s, and orbit rate of rows.
fn rates<'a>(rows: impl Iterator<Item = &'a mut Waiting>) -> Vec<(f64, Option<f64>)> {
    rows.map(|w| (w.row.t_s, w.row.orbit_opm.map(|m| m.value))).collect()
}
