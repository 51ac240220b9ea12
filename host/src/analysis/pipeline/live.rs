//! What is known at a tick, from what has been seen so far: the live figures.

use super::Pipeline;
use super::motor::{MOTOR_VIBRATION, Motor};
use super::under_way::clearly_moving;
use super::{per_minute, state_of};
use crate::analysis::findings::Z90;
use crate::analysis::findings::{LiveTick, Measured, State};
use crate::analysis::heat;
use crate::analysis::motion;
use crate::analysis::orbit::{OrbitTick, TICK_US};
use crate::analysis::pad_speed::pad_speed_mps;
use crate::analysis::strokes::Mode;

impl Pipeline {
    /// One tenth of a second.
    pub(super) fn tick(&mut self, tick: OrbitTick) {
        let t_s = tick.index as f64 * TICK_US * 1e-6;
        let motor = self.orbit.is_measurable().unwrap_or(false).then_some(match tick {
            OrbitTick { rate_hz: Some(_), .. } => Motor::AtSpeed,
            OrbitTick { vibration_mps2: Some(v), .. } if v > MOTOR_VIBRATION => Motor::Shaking,
            _ => Motor::Off,
        });
        let on = motor.map(|m| m != Motor::Off);
        self.motor.push(tick.index, motor);
        while self.rates_seen.front().is_some_and(|i| *i <= tick.index) {
            self.rates_seen.pop_front().into_iter().for_each(|i| self.motor.note_rate(i));
        }
        while self.marks_us.front().is_some_and(|m| *m <= t_s * 1e6) {
            let Some(mark_us) = self.marks_us.pop_front() else { break };
            let mark_s = mark_us * 1e-6;
            self.motor.cuts_s.push(mark_s);
            self.settle_at_s = Some(mark_s + motion::MEASURED_S);
            self.begin_section(mark_s);
        }
        if let Some(last_s) = self.sections.left_alone_s(t_s) {
            self.begin_section(last_s);
        }
        let now = self.motion.now();
        if self.under_way.is_stale(now.strokes) {
            let motor = &self.motor;
            let passes = self.motion.preview(&motor.cuts_s, (&self.setup).into(), &|t| motor.ran_at(t));
            let first = passes.first().filter(|_| self.sections.number() == 0);
            let heading = self.sections.heading().or(first.map(|p| p.axis[1].atan2(p.axis[0])));
            self.under_way.update(&passes, heading, now.usual_mps);
        }
        let stroke_ended = self.under_way.stroke_ended();
        let working = now.mode != Mode::Rest && self.motor.off_ticks == 0;
        let state = state_of(on, working);
        self.sections.see(t_s, state, self.motor.runs());
        let arm_mps = self.arm_mps(t_s, state);
        // A stroke of before a mark may be known after it only.
        let last_stroke = self.under_way.last_stroke;
        let stroke_end_s = last_stroke.map(|stroke| stroke.end_s).filter(|end_s| *end_s > self.sections.begun_s());
        let known = heat::Motion { state, arm_mps, stroke_end_s, strokes_across: now.strokes_across };
        let (surface, settled) = self.surface.tick(t_s * 1e6, known);
        let spin = tick.spin_hz;
        let pad_speed = tick.rate_hz.and_then(|r| pad_speed_mps(&self.setup.machine, r.value, spin));
        self.live.push_back(LiveTick {
            t_s,
            state,
            orbit_opm: tick.rate_hz.map(per_minute),
            pad_speed_mps: pad_speed,
            pad_spin_hz: spin,
            spin_lost: tick.spin_lost,
            traverse_mps: now
                .speed_mps
                .filter(|_| state == State::Working)
                .and_then(|speed| self.under_way.running_estimate(speed)),
            last_stroke_mps: last_stroke.map(|stroke| stroke.traverse.interval()),
            last_stroke_place: self.under_way.last_place,
            stroke_ended,
            strokes: self.under_way.strokes_in_pass,
            strokes_in_all: self.stroke_count + self.under_way.strokes,
            passes: self.pass_count + self.under_way.passes,
            sections_begun: self.sections.begun(),
            surface_c: surface.surface_c,
            surface_rise_k: surface.rise_k,
            rise_in_10s_k: surface.rise_in_10s_k,
            hot_side_rise_k: surface.hot_side_rise_k,
            cool_in_s: surface.cool_in_s,
            ambient_c: surface.ambient_c,
            vibration_mps2: tick.vibration_mps2,
            silent_s: (t_s - self.intake.last_accel_us() * 1e-6).max(0.0),
        });
        self.rows.push(&tick);
        if let Some(settled) = settled {
            self.rows.fill_surface(settled);
        }
        self.decide(t_s, now.mode, now.since_s, now.strokes);
    }

    /// Arm speed, as well as it can be told now.
    ///
    /// A finished stroke says it best, but is known only seconds after its end. Until then there is the current stroke's start, and
    /// the time since the motor started: whoever comes to the end of the first stroke has taken that for it, less what it took to
    /// set off.
    fn arm_mps(&mut self, t_s: f64, state: State) -> Option<Measured> {
        /// From switching on to the first movement, and for the first turn, s.
        const SET_OFF_S: f64 = 3.0;
        /// A stroke shorter than this is not one, s.
        const SHORTEST_S: f64 = 4.0;
        /// Travel of one stroke across a usual section (0.4-0.6 m square, common practice) less the pad, m.
        const USUAL_STROKE_M: f64 = 0.35;
        self.running_since_s = match state {
            State::Still => None,
            State::Running | State::Working => self.running_since_s.or(Some(t_s)),
        };
        if let Some(stroke) = self.under_way.last_stroke.map(|stroke| stroke.traverse.interval()) {
            return Some(Measured { value: stroke.value, sd: (stroke.hi - stroke.lo) / (2.0 * Z90) });
        }
        let took_s = t_s - self.running_since_s? - SET_OFF_S;
        let (length_m, rel_sd) = match self.setup.stroke_length_m {
            Some(length) => (length, 0.2),
            None => (USUAL_STROKE_M, 0.35),
        };
        let arm_mps = length_m / took_s;
        let by_time = (took_s > SHORTEST_S).then_some(Measured { value: arm_mps, sd: rel_sd * arm_mps });
        let by_start = self.motion.now().speed_mps.filter(clearly_moving);
        match (by_time, by_start) {
            (Some(by_time), Some(by_start)) => Some(together(by_time, by_start)),
            (one, other) => one.or(other),
        }
    }
}

/// Two independent estimates of a positive figure, weighed by their relative spreads.
fn together(a: Measured, b: Measured) -> Measured {
    let weight = |m: Measured| (m.value / m.sd).powi(2);
    let (wa, wb) = (weight(a), weight(b));
    let value = ((wa * a.value.ln() + wb * b.value.ln()) / (wa + wb)).exp();
    Measured { value, sd: value / (wa + wb).sqrt() }
}
