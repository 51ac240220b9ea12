//! What a viewer needs, as plain values: the state of everything, the tone to sound, the list of passes.

use std::sync::Arc;

use serde::Serialize;

use super::{cover::Cells, level::Level};
use crate::{drawing::units::Scale, guidance::Units, session::JudgedPass};

/// How urgent the sentence is; decides its look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Urgency {
    /// Nothing to do.
    #[default]
    None,
    /// Something to know, no fault.
    Wait,
    /// The arm or the pad is off the band.
    Pace,
    /// The panel gets or is too warm.
    Heat,
    /// The sensor is not heard.
    Signal,
}

/// A tone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cue {
    /// One short low tone: slow down.
    SlowDown,
    /// A rising pair: heat.
    Heat,
}

/// A pass in the list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PassRow {
    /// Its section.
    pub section: u32,
    /// Its number, over the recording.
    pub pass: u32,
    /// When it began, s since the first sample; `None` for one of an earlier recording.
    pub start_s: Option<f64>,
    /// How long it took.
    pub took: String,
    /// Strokes.
    pub strokes: u32,
    /// Mean arm speed.
    pub arm: String,
    /// Its 90 % interval, in the same unit; `None` where it is not at hand.
    pub arm_90: Option<String>,
    /// Share of the time in the pace band.
    pub in_band: String,
    /// Highest rise.
    pub warmest: String,
    /// Warnings in it.
    pub warnings: u32,
}

/// Everything a viewer needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Time of the figures, s since the first sample.
    pub t_s: f64,
    /// The same for people.
    pub elapsed: String,
    /// What the machine is doing, in words.
    pub doing: &'static str,
    /// The machine runs.
    pub running: bool,
    /// Guidance is quiet.
    pub paused: bool,
    /// The link has said that the sensor is gone.
    pub lost: bool,
    /// The one thing to do now.
    pub sentence: Option<String>,
    /// How urgent it is.
    pub urgency: Urgency,
    /// Arm speed, orbit rate, surface rise.
    pub levels: [Level; 3],
    /// Section being worked, from 1.
    pub section: u32,
    /// Pass being worked or worked last, as the settled ones are numbered: over the recording, from 1. `None` before the section's
    /// first stroke.
    pub pass: Option<u32>,
    /// Strokes of that pass that have ended, as far as can be told now.
    pub strokes: u32,
    /// Strokes of all passes, as far as can be told now.
    pub strokes_done: u32,
    /// Strokes aimed at, in a drill.
    pub strokes_aim: Option<u32>,
    /// Share of the section reached, 0 to 1.
    pub covered: f64,
    /// How often each cell has been gone over, row by row from the top; sent apart.
    #[serde(skip)]
    pub cells: Cells,
    /// Who works.
    pub technician: String,
    /// What was last done, for a few seconds.
    pub notice: Option<String>,
    /// The tone sounded last, and how many there were: a new number is a new tone.
    pub cue: Option<Cue>,
    /// See `cue`.
    pub cues: u32,
    /// Time between two beats at the pace to keep, s.
    pub beat_s: f64,
    /// Passes so far, newest last; sent apart.
    #[serde(skip)]
    pub passes: Arc<Vec<PassRow>>,
    /// Settled passes of this recording.
    pub settled: u32,
}

impl PassRow {
    /// A row of a settled pass.
    pub fn of(judged: &JudgedPass, units: Units) -> Self {
        let pass = &judged.pass;
        let scale = Scale(units);
        let (arm, arm_90) = pass.traverse_mean_mps.map(|mps| scale.arm_speed_and_interval(mps, None)).unzip();
        Self {
            section: pass.section,
            pass: pass.pass,
            start_s: Some(pass.start_s),
            took: clock(pass.end_s - pass.start_s),
            strokes: pass.strokes,
            arm: arm.map_or_else(unknown, |arm| format!("{arm} {}", scale.arm_speed_unit())),
            arm_90,
            in_band: Self::in_band(judged.in_pace_share),
            warmest: Self::warmest(judged.told_rise_k(), units),
            warnings: u32::try_from(judged.warnings.len()).unwrap_or(u32::MAX),
        }
    }

    pub(super) fn arm(mps: Option<f64>, units: Units) -> String {
        mps.map_or_else(unknown, |v| units.arm_speed(v))
    }

    pub(super) fn in_band(share: Option<f64>) -> String {
        share.map_or_else(unknown, |share| format!("{:.0} %", share * 100.0))
    }

    pub(super) fn warmest(rise_k: Option<f64>, units: Units) -> String {
        rise_k.map_or_else(unknown, |rise| units.rise(rise))
    }
}

fn unknown() -> String {
    "not known".to_owned()
}

/// `3:24`, `1:02:09`.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_as_on_a_clock() {
        for (seconds, says) in [(0.0, "0:00"), (59.9, "0:59"), (204.0, "3:24"), (3729.0, "1:02:09"), (-1.0, "0:00")] {
            assert_eq!(clock(seconds), says);
        }
    }
}
