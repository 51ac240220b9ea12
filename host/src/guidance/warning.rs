//! The ten warnings and what each of them says; when they begin and end is `watch`'s.

use super::plan::Band;
use super::units::{Units, duration};

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WarningKind {
    /// The panel will be too warm within ten seconds, or in the stroke to come.
    HeatSoon,
    /// The panel is too warm.
    HeatOver,
    /// The thermometer gives nothing any more: how warm the panel gets is not known.
    HeatBlind,
    /// The arm is too fast.
    PaceFast,
    /// The arm is too slow.
    PaceSlow,
    /// The pad orbits (rotary: turns) too slowly.
    OrbitLow,
    /// The pad orbits (rotary: turns) too fast.
    OrbitHigh,
    /// The pad does not spin any more.
    SpinLost,
    /// The gyro gives nothing any more: arm speed, strokes and directions are not known.
    TurnsBlind,
    /// The sensor is not heard.
    SignalLost,
}

impl WarningKind {
    /// All of them, the most urgent first.
    pub const ALL: [Self; 10] = [
        Self::SignalLost,
        Self::HeatOver,
        Self::HeatBlind,
        Self::HeatSoon,
        Self::SpinLost,
        Self::PaceFast,
        Self::PaceSlow,
        Self::OrbitLow,
        Self::OrbitHigh,
        // Last, for it may last: what is still watched is told meanwhile.
        Self::TurnsBlind,
    ];

    /// Whether it speaks of the arm's speed.
    pub fn is_of_pace(self) -> bool {
        matches!(self, Self::PaceFast | Self::PaceSlow)
    }

    /// The word in `warnings.csv`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::HeatSoon => "heat-soon",
            Self::HeatOver => "heat-over",
            Self::HeatBlind => "heat-blind",
            Self::PaceFast => "pace-fast",
            Self::PaceSlow => "pace-slow",
            Self::OrbitLow => "orbit-low",
            Self::OrbitHigh => "orbit-high",
            Self::SpinLost => "spin-lost",
            Self::TurnsBlind => "turns-blind",
            Self::SignalLost => "signal-lost",
        }
    }
}

/// A warning, as it began. Figures are SI: K, m/s, per minute, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warning {
    /// When, s since the first sample.
    pub t_s: f64,
    /// What is wrong.
    pub kind: WarningKind,
    /// The figure at fault; `heat-soon`: what is expected.
    pub value: Option<f64>,
    /// The limit it passed.
    pub limit: Option<f64>,
}

impl Warning {
    /// One line for a person: what to do first, then why. `rate_unit` is the plan's ([`super::Plan::rate_unit`]).
    pub fn text(&self, units: Units, rate_unit: &str) -> String {
        let act = self.kind.action();
        let figure = |value: f64| match self.kind {
            WarningKind::HeatSoon | WarningKind::HeatOver => units.rise(value),
            WarningKind::PaceFast | WarningKind::PaceSlow => units.arm_speed_limit(value),
            WarningKind::OrbitLow | WarningKind::OrbitHigh => format!("{value:.0} {rate_unit}"),
            WarningKind::SpinLost | WarningKind::SignalLost | WarningKind::HeatBlind | WarningKind::TurnsBlind => {
                format!("{value:.1} s")
            }
        };
        let one_sided = |limit: f64| match self.kind {
            WarningKind::PaceSlow => Band { lo: limit, hi: f64::INFINITY },
            _ => Band { lo: f64::NEG_INFINITY, hi: limit },
        };
        let against = |value: f64, limit: f64| match self.kind {
            WarningKind::HeatOver => units.rise_beside(value, limit),
            WarningKind::PaceFast | WarningKind::PaceSlow => units.arm_speed_beside(value, one_sided(limit)),
            _ => figure(value),
        };
        match (self.kind, self.value, self.limit) {
            (WarningKind::HeatSoon, _, Some(limit)) => {
                // How far beyond the limit is a guess from a second or two of warming; the table has it, a person need not.
                format!("{act}: it may soon pass the limit of {}", figure(limit))
            }
            (WarningKind::SignalLost, Some(value), _) if value >= 60.0 => {
                format!("{act}: nothing heard for {}", duration(value))
            }
            (WarningKind::SignalLost, Some(value), _) => format!("{act}: nothing heard for {}", figure(value)),
            (WarningKind::HeatBlind, Some(value), _) => format!("{act} (no usable reading for {})", figure(value)),
            (WarningKind::TurnsBlind, Some(value), _) => {
                format!("{act} (no turn rates for {}: no arm speed, strokes, directions)", figure(value))
            }
            (_, Some(value), Some(limit)) => format!("{act}: {}, limit {}", against(value, limit), figure(limit)),
            _ => act.to_owned(),
        }
    }

    /// The same for a table of another logger, whose holes nobody could mend at the time: it had no lead and no thermometer of ours.
    pub fn text_of_table(&self, units: Units, rate_unit: &str) -> String {
        match (self.kind, self.value) {
            (WarningKind::SignalLost, Some(seconds)) => format!("The table has a hole here of {seconds:.1} s or more"),
            (WarningKind::SignalLost, None) => "The table has a hole here".to_owned(),
            (WarningKind::HeatBlind, Some(seconds)) => format!(
                "The table has had no usable surface temperature for {seconds:.1} s here, with the motor on: heat is not known"
            ),
            (WarningKind::HeatBlind, None) => {
                "The table has no usable surface temperature here: heat is not known".to_owned()
            }
            (WarningKind::TurnsBlind, _) => {
                "The table has no turn rates here: arm speed, strokes and directions are not known".to_owned()
            }
            _ => self.text(units, rate_unit),
        }
    }
}

impl WarningKind {
    /// What to do about it, verb first.
    pub(crate) fn action(self) -> &'static str {
        match self {
            Self::HeatSoon => "Lift soon or move on",
            Self::HeatOver => "Lift and let it cool",
            Self::HeatBlind => "Lift, then check the thermometer: heat is not watched",
            Self::PaceFast => "Slow the arm",
            Self::PaceSlow => "Move the arm faster",
            Self::OrbitLow => "Press less or turn the dial up",
            Self::OrbitHigh => "Turn the dial down",
            Self::SpinLost => "Hold the pad flat and press less",
            Self::TurnsBlind => "Switch off, replug the sensor: arm is not watched",
            // Nobody shall reach for the sensor while the pad turns.
            Self::SignalLost => "Switch the machine off, then check the sensor's lead",
        }
    }
}
