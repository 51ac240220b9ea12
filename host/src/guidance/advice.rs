//! What to say now: one sentence, and a pattern for the sensor's light.

use steadypass_protocol::Pattern;

use crate::analysis::{Interval, LiveTick, State};

use super::limits::READY_RISE_K;
use super::warning::{Warning, WarningKind};
use super::watch::Watch;
use super::{Plan, Units};

/// The one thing to do now.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Advice {
    /// All is well: say nothing.
    #[default]
    Nothing,
    /// Put the fault right.
    Fault {
        /// Which; the most urgent one that is on.
        kind: WarningKind,
        /// For heat: seconds until the panel is ready again, where that can be told.
        ready_in_s: Option<f64>,
    },
    /// Work has stopped and the panel is still warm.
    LetItCool {
        /// Seconds until it is within 2 K of its start.
        ready_in_s: f64,
    },
}

impl Advice {
    /// The sentence; `None` when there is nothing to say.
    pub fn sentence(&self) -> Option<String> {
        match *self {
            Self::Nothing => None,
            Self::Fault { kind, ready_in_s } => Some(match ready_in_s {
                Some(seconds) => format!("{}, {}", kind.action(), ready(seconds)),
                None => kind.action().to_owned(),
            }),
            Self::LetItCool { ready_in_s } => Some(format!("Let it cool, {}", ready(ready_in_s))),
        }
    }

    /// What the sensor's light and buzzer show with it.
    pub fn pattern(&self, state: State) -> Pattern {
        match self {
            Self::Fault { kind, .. } => match kind {
                WarningKind::HeatOver | WarningKind::HeatSoon => Pattern::TooHot,
                WarningKind::PaceFast => Pattern::SlowDown,
                // "The arm or the pad is too slow".
                WarningKind::PaceSlow | WarningKind::OrbitLow | WarningKind::SpinLost => Pattern::SpeedUp,
                // No pattern speaks of a pad too fast, and one about the arm would mislead.
                WarningKind::OrbitHigh => Pattern::Steady,
                // One way or the other nobody watches; a light that says "all is well" would be wrong.
                WarningKind::SignalLost | WarningKind::HeatBlind | WarningKind::TurnsBlind => Pattern::LostHost,
            },
            Self::LetItCool { .. } | Self::Nothing => match state {
                State::Still => Pattern::Off,
                State::Running | State::Working => Pattern::Steady,
            },
        }
    }
}

/// Nobody waits to the second: steps of 5 s below a minute, of 10 s above, never less than 5.
fn ready(seconds: f64) -> String {
    let step = if seconds < 60.0 { 5.0 } else { 10.0 };
    format!("ready in {:.0} s", ((seconds / step).ceil() * step).max(5.0))
}

/// Guidance for one recording: feed it every tick, in order.
#[derive(Clone, Debug)]
pub struct Guidance {
    watch: Watch,
    units: Units,
    rate_unit: &'static str,
    advice: Advice,
    pattern: Pattern,
}

impl Guidance {
    /// Guides by a plan.
    pub fn new(plan: &Plan) -> Self {
        Self {
            watch: Watch::new(plan),
            units: plan.units,
            rate_unit: plan.rate_unit(),
            advice: Advice::Nothing,
            pattern: Pattern::Off,
        }
    }

    /// Turn rates are there up to this time, s since the first sample; without a word of them they are not missed.
    pub fn turns_until(&mut self, t_s: f64) {
        self.watch.turns_until(t_s);
    }

    /// Takes one tick and hands out the warnings that begin with it, the most urgent first.
    pub fn tick(&mut self, tick: &LiveTick, warn: impl FnMut(Warning)) {
        self.watch.tick(tick, warn);
        self.advice = self.advise(tick);
        self.pattern = self.advice.pattern(tick.state);
    }

    /// What to say now.
    pub fn advice(&self) -> Advice {
        self.advice
    }

    /// The arm speed that the last tick was judged by; what is shown beside the advice must be the same.
    pub fn pace(&self) -> Option<Interval> {
        self.watch.pace()
    }

    /// What the sensor shows now.
    pub fn pattern(&self) -> Pattern {
        self.pattern
    }

    /// A warning in words, in the plan's units.
    pub fn text(&self, warning: &Warning) -> String {
        warning.text(self.units, self.rate_unit)
    }

    fn advise(&self, tick: &LiveTick) -> Advice {
        if let Some(kind) = WarningKind::ALL.into_iter().find(|kind| self.watch.is_spoken_of(*kind)) {
            let ready_in_s = if kind == WarningKind::HeatOver { tick.cool_in_s } else { None };
            return Advice::Fault { kind, ready_in_s };
        }
        match (tick.state, tick.hot_side_rise_k, tick.cool_in_s) {
            (State::Still, Some(rise), Some(ready_in_s)) if rise > READY_RISE_K && ready_in_s > 0.0 => {
                Advice::LetItCool { ready_in_s }
            }
            _ => Advice::Nothing,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tick(t_s: f64, state: State, rise: f64) -> LiveTick {
        LiveTick {
            t_s,
            state,
            surface_rise_k: Some(rise),
            hot_side_rise_k: Some(rise),
            cool_in_s: Some(38.2),
            ..LiveTick::default()
        }
    }

    #[test]
    fn heat_comes_before_pace_and_says_when_the_panel_is_ready() {
        let mut guidance = Guidance::new(&Plan::default());
        for i in 0..20 {
            let mut tick = tick(f64::from(i) * 0.1, State::Working, 12.0);
            let pace = Interval { lo: 0.05, value: 0.06, hi: 0.07 };
            tick.traverse_mps = Some(pace);
            guidance.tick(&tick, |_| ());
        }
        assert!(guidance.watch.is_active(WarningKind::PaceFast));
        assert_eq!(guidance.advice().sentence().unwrap(), "Lift and let it cool, ready in 40 s");
        assert_eq!(guidance.pattern(), Pattern::TooHot);
    }

    #[test]
    fn after_work_it_says_how_long_to_wait_and_nothing_when_cool() {
        let mut guidance = Guidance::new(&Plan::default());
        guidance.tick(&tick(0.0, State::Still, 5.0), |_| ());
        assert_eq!(guidance.advice().sentence().unwrap(), "Let it cool, ready in 40 s");
        assert_eq!(guidance.pattern(), Pattern::Off);
        guidance.tick(&tick(0.1, State::Still, 1.5), |_| ());
        assert_eq!(guidance.advice().sentence(), None);
        guidance.tick(&tick(0.2, State::Working, 5.0), |_| ());
        assert_eq!((guidance.advice(), guidance.pattern()), (Advice::Nothing, Pattern::Steady));
    }

    #[test]
    fn waiting_times_are_round() {
        for (seconds, says) in [(0.2, "ready in 5 s"), (38.2, "ready in 40 s"), (61.0, "ready in 70 s")] {
            assert_eq!(ready(seconds), says);
        }
    }
}
