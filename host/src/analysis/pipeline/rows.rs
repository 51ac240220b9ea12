//! Rows of the series that wait until the stretch of work they belong to is settled.

use super::motor::MOTOR_VIBRATION;
use super::{per_minute, state_of};
use crate::analysis::findings::{SeriesRow, State};
use crate::analysis::orbit::{OrbitTick, TICK_US};
use crate::analysis::pad_speed::pad_speed_mps;
use crate::analysis::setup::Machine;
use crate::analysis::surface::SurfaceSettled;
use std::collections::VecDeque;

/// A row waiting to be settled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    index: i64,
    orbit: OrbitTick,
    pub(super) row: SeriesRow,
    /// Panel temperature at the section's start, °C.
    pub(super) start_c: Option<f64>,
}

/// The waiting rows, oldest first, and the settled orbit figures not yet put into them.
#[derive(Debug, Default)]
pub(super) struct Rows {
    waiting: VecDeque<Waiting>,
    settled_orbit: VecDeque<OrbitTick>,
}

impl Rows {
    /// A new row, of which only time and vibration are known.
    pub(super) fn push(&mut self, tick: &OrbitTick) {
        let t_s = tick.index as f64 * TICK_US * 1e-6;
        self.waiting.push_back(Waiting {
            index: tick.index,
            orbit: OrbitTick { index: tick.index, ..OrbitTick::default() },
            row: SeriesRow { t_s, vibration_mps2: tick.vibration_mps2, ..SeriesRow::default() },
            start_c: None,
        });
    }

    /// A settled orbit figure, to be put into its row by [`Rows::fill_orbit`].
    pub(super) fn push_orbit(&mut self, tick: OrbitTick) {
        self.settled_orbit.push_back(tick);
    }

    /// Takes the oldest row if it lies before a time.
    pub(super) fn pop_before(&mut self, before_s: f64) -> Option<SeriesRow> {
        self.waiting.pop_front_if(|w| w.row.t_s < before_s).map(|w| w.row)
    }

    /// Puts settled orbit figures into the waiting rows.
    pub(super) fn fill_orbit(&mut self, machine: &Machine, measurable: bool) {
        let Some(first) = self.waiting.front().map(|w| w.index) else { return };
        while let Some(&tick) = self.settled_orbit.front() {
            let at = usize::try_from(tick.index - first);
            if let Ok(at) = at {
                // Indices may skip after an interruption; look from the place it would have without.
                let from = at.min(self.waiting.len().saturating_sub(1));
                let Some(place) = (0..=from).rev().find(|i| self.waiting[*i].index <= tick.index) else { break };
                if tick.index > self.waiting[self.waiting.len() - 1].index {
                    break;
                }
                if self.waiting[place].index == tick.index {
                    self.waiting[place].orbit = tick;
                }
            }
            self.settled_orbit.pop_front();
        }
        for w in &mut self.waiting {
            let rate = w.orbit.rate_hz;
            let spin = w.orbit.spin_hz;
            w.row.orbit_opm = rate.map(per_minute);
            w.row.pad_spin_hz = spin;
            w.row.pad_speed_mps = rate.and_then(|r| pad_speed_mps(machine, r.value, spin));
            if w.row.state != State::Working {
                let on =
                    measurable.then(|| rate.is_some() || w.row.vibration_mps2.is_some_and(|v| v > MOTOR_VIBRATION));
                w.row.state = state_of(on, false);
            }
        }
    }

    /// Puts a settled surface figure into its waiting row.
    pub(super) fn fill_surface(&mut self, settled: SurfaceSettled) {
        let index = (settled.t_us / TICK_US).round() as i64;
        let at = self.waiting.partition_point(|w| w.index < index);
        if let Some(w) = self.waiting.get_mut(at).filter(|w| w.index == index) {
            w.row.surface_c = settled.surface_c;
            w.row.surface_rise_k = settled.rise_k;
            w.row.ambient_c = settled.ambient_c;
            w.start_c = settled.start_c;
        }
    }

    /// The rows from one time to another.
    pub(super) fn between(&mut self, from_s: f64, to_s: f64) -> impl Iterator<Item = &mut Waiting> {
        let (a, b) =
            (self.waiting.partition_point(|w| w.row.t_s < from_s), self.waiting.partition_point(|w| w.row.t_s <= to_s));
        self.waiting.range_mut(a..b.max(a))
    }

    /// The row at a time, or the next.
    pub(super) fn at(&self, t_s: f64) -> Option<SeriesRow> {
        let i = self.waiting.partition_point(|w| w.row.t_s + 0.5e-6 * TICK_US < t_s);
        self.waiting.get(i).map(|w| w.row)
    }
}
