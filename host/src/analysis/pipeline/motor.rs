//! What the motor did, tick by tick: off, gathering speed, at speed. Strokes are believed, and passes cut, by it.

use crate::analysis::motion;
use crate::analysis::orbit::TICK_US;
use std::collections::VecDeque;

/// Vibration that only a motor makes, m/s² rms over three axes.
pub(super) const MOTOR_VIBRATION: f64 = 1.0;
/// Motor off for this long ends a pass, s.
const OFF_CUT_S: f64 = 0.5;
/// A motor gathering speed shakes slowly enough to look like a push of the arm: while it shakes without a rate, nothing is
/// believed so soon after it started, s.
const SPIN_UP_S: f64 = 0.8;
/// A rate alone comes sooner: so long after it was switched on the motor has gathered speed, and so long before it stands it
/// runs down, s.
const GATHERS_S: f64 = 0.6;
const RUNS_DOWN_S: f64 = 0.4;

/// Shaking without a rate for less than this is the machine being handled, s.
const HANDLED_S: f64 = 2.0;

/// What the motor did at a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Motor {
    Off,
    /// Vibration, but no rate: gathering speed, running down.
    Shaking,
    AtSpeed,
}

/// What the motor did, tick by tick; nothing where the stream is too slow to tell.
#[derive(Debug, Default)]
pub(super) struct MotorLog {
    /// Tick of the front.
    first: i64,
    on: VecDeque<Option<Motor>>,
    /// Ticks since it last ran.
    pub(super) off_ticks: i64,
    /// Ticks since it last stood.
    on_ticks: i64,
    /// Times that end a pass, s.
    pub(super) cuts_s: Vec<f64>,
}

impl MotorLog {
    pub(super) fn push(&mut self, index: i64, on: Option<Motor>) {
        if self.on.is_empty() || index != self.first + self.on.len() as i64 {
            self.on.clear();
            self.first = index;
        }
        self.on.push_back(on);
        if on == Some(Motor::Off) {
            self.off_ticks += 1;
            self.on_ticks = 0;
            if self.off_ticks as f64 * TICK_US == OFF_CUT_S * 1e6 {
                self.cuts_s.push(index as f64 * TICK_US * 1e-6 - OFF_CUT_S);
            }
        } else {
            self.off_ticks = 0;
            self.on_ticks += i64::from(on.is_some());
        }
        let longest = ((motion::LONGEST_S + 60.0) * 1e6 / TICK_US) as usize;
        if self.on.len() > longest {
            self.on.pop_front();
            self.first += 1;
        }
    }

    /// Whether it runs now: at speed, or shaking for longer than setting the machine down does.
    pub(super) fn runs(&self) -> bool {
        self.on.back() == Some(&Some(Motor::AtSpeed)) || self.on_ticks as f64 * TICK_US >= HANDLED_S * 1e6
    }

    /// Notes that a rate was found at a tick, with hindsight.
    pub(super) fn note_rate(&mut self, index: i64) {
        if let Some(on) = usize::try_from(index - self.first).ok().and_then(|i| self.on.get_mut(i)) {
            *on = Some(Motor::AtSpeed);
        }
    }

    /// Whether it ran, and had gathered speed, at a time; a stream too slow to tell counts as running.
    pub(super) fn ran_at(&self, t_s: f64) -> bool {
        let at = |t: f64| {
            let at = (t * 1e6 / TICK_US).round() as i64 - self.first;
            usize::try_from(at).ok().and_then(|i| self.on.get(i)).copied()
        };
        let off = |t: f64| matches!(at(t), Some(Some(Motor::Off)));
        match at(t_s) {
            Some(None) => true,
            // While it gathers speed or runs down its vibration shifts what the chip reads, as movement would.
            Some(Some(Motor::AtSpeed)) => !off(t_s - GATHERS_S) && !off(t_s + RUNS_DOWN_S),
            Some(Some(Motor::Shaking)) => !matches!(at(t_s - SPIN_UP_S), Some(Some(Motor::Off)) | None),
            Some(Some(Motor::Off)) | None => false,
        }
    }
}
