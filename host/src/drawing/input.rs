//! What a sheet is made from. Everything optional may be missing; the sheet then says what is not known.

use super::Units;
use crate::analysis::rubbing::RubbingMap;
use crate::analysis::{Pass, SeriesRow, Stroke};

/// Who, with what, when: as typed by the user, drawn safely.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SessionFacts {
    /// Name of the technician; empty when not told.
    pub technician: String,
    /// The machine, in words ("orbital 15 mm, 125 mm pad").
    pub machine: String,
    /// Name of the plan.
    pub plan: String,
    /// Day and time, as it shall be shown.
    pub date: String,
    /// The figures are from a virtual machine: said in large letters on every sheet.
    pub invented: bool,
}

/// What was aimed at.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlanBands {
    /// Arm speed from, to, m/s.
    pub pace_mps: Option<(f64, f64)>,
    /// Orbit rate from, to, per minute.
    pub orbit_opm: Option<(f64, f64)>,
    /// Largest rise over the section's start, K.
    pub rise_limit_k: Option<f64>,
    /// Travel of one stroke, m, where it was told.
    pub stroke_length_m: Option<f64>,
    /// Size of the section along and across its first stroke, m.
    pub section_m: Option<(f64, f64)>,
}

/// What a warning was about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WarningKind {
    /// The limit will be crossed soon.
    HeatSoon,
    /// The limit is crossed.
    HeatOver,
    /// Arm too fast.
    PaceFast,
    /// Arm too slow.
    PaceSlow,
    /// Orbit rate too low.
    OrbitLow,
    /// Orbit rate too high.
    OrbitHigh,
    /// The pad stopped spinning while the machine runs.
    SpinLost,
    /// Nothing comes from the sensor.
    SignalLost,
}

impl WarningKind {
    /// From the word in `warnings.csv`.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "heat-soon" => Self::HeatSoon,
            "heat-over" => Self::HeatOver,
            "pace-fast" => Self::PaceFast,
            "pace-slow" => Self::PaceSlow,
            "orbit-low" => Self::OrbitLow,
            "orbit-high" => Self::OrbitHigh,
            "spin-lost" => Self::SpinLost,
            "signal-lost" => Self::SignalLost,
            _ => return None,
        })
    }
}

/// A warning that was given.
#[derive(Clone, Debug, PartialEq)]
pub struct WarningMark {
    /// When, s since the first sample.
    pub t_s: f64,
    /// What about.
    pub kind: WarningKind,
    /// The figure that caused it, in the unit of its limit.
    pub value: f64,
    /// The limit, SI.
    pub limit: f64,
    /// The sentence given.
    pub text: String,
}

/// Everything one section pass sheet shows.
#[derive(Clone, Copy, Debug)]
pub struct SheetInput<'a> {
    /// Who, with what, when.
    pub session: &'a SessionFacts,
    /// The pass.
    pub pass: &'a Pass,
    /// Its strokes, in order.
    pub strokes: &'a [Stroke],
    /// The series rows inside it (rows around it are ignored).
    pub rows: &'a [SeriesRow],
    /// The warnings inside it (others are ignored).
    pub warnings: &'a [WarningMark],
    /// What was aimed at.
    pub bands: PlanBands,
    /// Where the pad rubbed; `None` where its way is not known.
    pub rubbing: Option<&'a RubbingMap>,
    /// Units to show.
    pub units: Units,
}
