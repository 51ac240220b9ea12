//! What is watched: when each of the ten warnings begins, and when it is over.
//!
//! | kind | at fault when | over when |
//! | --- | --- | --- |
//! | `heat-over` | the rise is over the limit; said again when the spot crosses it anew, with every further half of the limit, and after half a minute; what only hovers there is not said with every crossing | even the hot side is 1 K under it |
//! | `heat-soon` | the rise expected in 10 s or in the stroke to come is likelier over the limit than not | that is 1 K under it, or the panel is over the limit already |
//! | `pace-fast`, `pace-slow` | the arm's interval is clear of the band | its best value is in the band, or the stroke is over |
//! | `orbit-low`, `orbit-high` | the rate is clear of the band while working | it is in the band, or work stops |
//! | `spin-lost` | the pad no longer spins in a pass in which it did | it spins, or work stops |
//! | `heat-blind` | the motor runs and no usable surface reading has come for three seconds, though some did before | one comes, or the motor stops |
//! | `turns-blind` | the motor runs and no turn rates have come for a second, though the accelerometer goes on | they come, or the motor stops |
//! | `signal-lost` | no good sample of the accelerometer for a second | samples come without gaps |
//!
//! Every kind has a latch: one warning per fault, but for heat as said above, and never two within its hold time. A pace at fault
//! that nothing speaks for any more is not spoken of, either, until something does again. Thresholds are in `limits.rs`.

#[cfg(test)]
mod tests;

use crate::analysis::{Interval, LiveTick, Measured, State};

use super::latch::{Evidence, Latch, Timing};
use super::limits;
use super::plan::{Band, Plan};
use super::warning::{Warning, WarningKind};

/// Time between two ticks, s.
const TICK_S: f64 = 0.1;

/// How long a fault must last before it is spoken of, and the waits after.
fn timing(kind: WarningKind) -> Timing {
    match kind {
        WarningKind::HeatSoon => limits::HEAT_SOON,
        WarningKind::HeatOver => limits::HEAT_OVER,
        WarningKind::HeatBlind => limits::HEAT_BLIND,
        WarningKind::TurnsBlind => limits::TURNS_BLIND,
        WarningKind::PaceFast | WarningKind::PaceSlow => limits::PACE,
        WarningKind::OrbitLow | WarningKind::OrbitHigh => limits::ORBIT,
        WarningKind::SpinLost => limits::SPIN,
        WarningKind::SignalLost => limits::SIGNAL,
    }
}

/// Watches the ticks.
#[derive(Clone, Debug)]
pub struct Watch {
    heat_limit_k: f64,
    pace_mps: Band,
    orbit_per_min: Option<Band>,
    latches: [Latch; 10],
    /// While the panel is too warm: how far it was over when that was said last, and the most since it began, K.
    heat_told_k: f64,
    heat_most_k: f64,
    /// When the last stroke was told of, s.
    stroke_told_s: Option<f64>,
    pace: Option<Interval>,
    last_s: Option<f64>,
    /// When the surface was read last, s; `None` while it never was.
    surface_s: Option<f64>,
    /// When turn rates came last, s; `None` while there are none to be expected.
    turns_s: Option<f64>,
    /// Seconds without a good sample of the accelerometer: as the tick says, or as the gap between two ticks shows.
    silent_s: f64,
}

impl Watch {
    /// Watches for what the plan asks.
    pub fn new(plan: &Plan) -> Self {
        Self {
            heat_limit_k: plan.heat_rise_k,
            pace_mps: plan.pace_mps(),
            orbit_per_min: plan.orbit_per_min,
            latches: WarningKind::ALL.map(|kind| Latch::new(timing(kind))),
            heat_told_k: f64::NEG_INFINITY,
            heat_most_k: f64::NEG_INFINITY,
            stroke_told_s: None,
            pace: None,
            last_s: None,
            surface_s: None,
            turns_s: None,
            silent_s: 0.0,
        }
    }

    /// Whether a fault is on.
    pub fn is_active(&self, kind: WarningKind) -> bool {
        self.latch(kind).is_some_and(Latch::active)
    }

    /// Whether a fault is on and still worth a word: something spoke for it not long ago.
    pub fn is_spoken_of(&self, kind: WarningKind) -> bool {
        self.latch(kind).zip(self.last_s).is_some_and(|(latch, t_s)| latch.speaks(t_s))
    }

    /// The pace to judge, as of the last tick: that of a stroke just finished, which is known best, else the running estimate.
    pub fn pace(&self) -> Option<Interval> {
        self.pace
    }

    fn latch(&self, kind: WarningKind) -> Option<&Latch> {
        WarningKind::ALL.iter().zip(&self.latches).find_map(|(known, latch)| (*known == kind).then_some(latch))
    }

    /// Turn rates are there up to this time, s since the first sample; without a word of them they are not missed.
    pub fn turns_until(&mut self, t_s: f64) {
        self.turns_s = Some(t_s);
    }

    /// Takes one tick and hands out the warnings that begin with it, the most urgent first.
    pub fn tick(&mut self, tick: &LiveTick, mut warn: impl FnMut(Warning)) {
        self.pace = self.pace_of(tick);
        let gap_s = self.last_s.map_or(0.0, |last| tick.t_s - last - TICK_S);
        self.silent_s = tick.silent_s.max(gap_s);
        self.last_s = Some(tick.t_s);
        if tick.surface_c.is_some() {
            self.surface_s = Some(tick.t_s);
        }
        let rise = tick.surface_rise_k.unwrap_or(f64::NEG_INFINITY);
        let was_over = self.is_active(WarningKind::HeatOver);
        self.heat_most_k = if was_over { self.heat_most_k.max(rise) } else { rise };
        for (i, kind) in WarningKind::ALL.into_iter().enumerate() {
            let (evidence, value, limit) = self.look(kind, tick);
            if self.latches[i].step(tick.t_s, evidence) {
                if kind == WarningKind::HeatOver {
                    self.heat_told_k = if was_over { self.heat_told_k.max(rise) } else { rise };
                }
                warn(Warning { t_s: tick.t_s, kind, value, limit });
            }
        }
    }

    /// What a tick says about one kind: evidence, the figure, its limit.
    fn look(&self, kind: WarningKind, tick: &LiveTick) -> (Evidence, Option<f64>, Option<f64>) {
        let working = tick.state == State::Working;
        match kind {
            WarningKind::HeatOver => (self.heat_over(tick), tick.surface_rise_k, Some(self.heat_limit_k)),
            WarningKind::HeatSoon => {
                (self.heat_soon(tick), tick.rise_in_10s_k.map(|rise| rise.value), Some(self.heat_limit_k))
            }
            WarningKind::HeatBlind => {
                let blind_s = self.surface_s.map(|seen| tick.t_s - seen);
                let limit_s = limits::HEAT_BLIND_S;
                let blind = tick.state != State::Still && blind_s.is_some_and(|s| s >= limit_s);
                (if blind { Evidence::Outside } else { Evidence::Inside }, blind_s, Some(limit_s))
            }
            WarningKind::TurnsBlind => {
                let blind_s = self.turns_s.map(|heard| tick.t_s - heard);
                let limit_s = limits::TURNS_BLIND_S;
                // Where nothing comes at all the lost signal says so.
                let heard = self.silent_s < limits::SIGNAL_LOST_S;
                let blind = heard && tick.state != State::Still && blind_s.is_some_and(|s| s >= limit_s);
                (if blind { Evidence::Outside } else { Evidence::Inside }, blind_s, Some(limit_s))
            }
            WarningKind::PaceFast => {
                let pace = self.pace;
                let evidence = beyond(working, pace, |pace| pace.lo > self.pace_mps.hi, |v| v <= self.pace_mps.hi);
                (evidence, pace.map(|pace| pace.value), Some(self.pace_mps.hi))
            }
            WarningKind::PaceSlow => {
                let pace = self.pace;
                let evidence = beyond(working, pace, |pace| pace.hi < self.pace_mps.lo, |v| v >= self.pace_mps.lo);
                (evidence, pace.map(|pace| pace.value), Some(self.pace_mps.lo))
            }
            WarningKind::OrbitLow => {
                let limit = self.orbit_per_min.map(|band| band.lo);
                self.orbit(working, tick.orbit_opm, limit, -1.0)
            }
            WarningKind::OrbitHigh => {
                let limit = self.orbit_per_min.map(|band| band.hi);
                self.orbit(working, tick.orbit_opm, limit, 1.0)
            }
            WarningKind::SpinLost => {
                let evidence = if working && tick.spin_lost { Evidence::Outside } else { Evidence::Inside };
                (evidence, None, None)
            }
            WarningKind::SignalLost => {
                let evidence = match self.silent_s {
                    silent if silent >= limits::SIGNAL_LOST_S => Evidence::Outside,
                    silent if silent < limits::SIGNAL_BACK_S => Evidence::Inside,
                    _ => Evidence::Between,
                };
                (evidence, Some(self.silent_s), Some(limits::SIGNAL_LOST_S))
            }
        }
    }

    fn heat_over(&self, tick: &LiveTick) -> Evidence {
        // Without a reading the hot side that was seen last still cools.
        let Some(hot_side) = tick.hot_side_rise_k.or(tick.surface_rise_k) else { return Evidence::Between };
        if let Some(rise_k) = tick.surface_rise_k.filter(|rise| *rise > self.heat_limit_k) {
            let by = |share: f64, from_k: f64, k: f64| k > from_k + share * self.heat_limit_k;
            let told = self.is_active(WarningKind::HeatOver);
            if told && tick.state == State::Still {
                // Lifted and switched off, all is done that can be done: no second word.
                Evidence::Between
            } else if told && by(limits::HEAT_MORE, self.heat_told_k, rise_k) {
                Evidence::Grown
            } else if by(limits::HEAT_HOVERS, self.heat_limit_k, self.heat_most_k) {
                Evidence::Outside
            } else {
                Evidence::Barely
            }
        } else if hot_side < self.heat_limit_k - limits::HEAT_CLEAR_K {
            Evidence::Inside
        } else {
            Evidence::Between
        }
    }

    fn heat_soon(&self, tick: &LiveTick) -> Evidence {
        // Over the limit there is nothing left to expect, and with the motor off nothing heats.
        if tick.state == State::Still || self.is_active(WarningKind::HeatOver) {
            return Evidence::Inside;
        }
        let Some(expected) = tick.rise_in_10s_k else { return Evidence::Between };
        if expected.value - limits::HEAT_SOON_SDS * expected.sd > self.heat_limit_k {
            Evidence::Outside
        } else if expected.value < self.heat_limit_k - limits::HEAT_CLEAR_K {
            Evidence::Inside
        } else {
            Evidence::Between
        }
    }

    fn pace_of(&mut self, tick: &LiveTick) -> Option<Interval> {
        if tick.stroke_ended {
            self.stroke_told_s = Some(tick.t_s);
        }
        let fresh = self.stroke_told_s.is_some_and(|told| tick.t_s - told <= limits::STROKE_FRESH_S);
        tick.last_stroke_mps.filter(|_| fresh).or(tick.traverse_mps)
    }

    /// `side` is -1 for the lower end, 1 for the upper.
    fn orbit(
        &self,
        working: bool,
        rate: Option<Measured>,
        limit: Option<f64>,
        side: f64,
    ) -> (Evidence, Option<f64>, Option<f64>) {
        let Some(limit_opm) = limit else { return (Evidence::Inside, None, None) };
        let Some(rate) = rate.filter(|_| working) else { return (Evidence::Inside, None, limit) };
        let evidence = if rate_is_clear(rate, limit_opm, side) {
            Evidence::Outside
        } else if (rate.value - limit_opm) * side <= 0.0 {
            Evidence::Inside
        } else {
            Evidence::Between
        };
        (evidence, Some(rate.value), limit)
    }
}

/// Whether a rate is clearly beyond an end of its band: below the lower one (`side` -1), or above the upper one (1).
pub(crate) fn rate_is_clear(rate: Measured, limit_opm: f64, side: f64) -> bool {
    (rate.value - limit_opm) * side > limits::ORBIT_SDS * rate.sd + limits::ORBIT_MARGIN * limit_opm
}

/// How long a rate must be clear of its band before it is spoken of, s.
pub(crate) const RATE_LASTS_S: f64 = limits::ORBIT.raise_s;

/// Evidence about the pace. Work that has stopped is not at fault; a pace not known says nothing.
fn beyond(
    working: bool,
    pace: Option<Interval>,
    clear_of_band: impl Fn(Interval) -> bool,
    well: impl Fn(f64) -> bool,
) -> Evidence {
    match pace {
        _ if !working => Evidence::Inside,
        Some(pace) if clear_of_band(pace) => Evidence::Outside,
        Some(pace) if well(pace.value) => Evidence::Inside,
        _ => Evidence::Between,
    }
}
