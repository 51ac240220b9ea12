//! What a sheet is made from. Everything optional may be missing; the sheet then says what is not known.

use std::sync::Arc;

use super::units::Scale;
use crate::analysis::rubbing::{RubbingMap, RubbingSetup};
use crate::analysis::{LengthDoubt, MachineKind, Pass, SeriesRow, Stroke};
use crate::guidance::{Band, Plan, Units, Warning};

/// Who, with what, when: as typed by the user, drawn safely.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SessionFacts {
    /// Name of the technician; empty when not told.
    pub technician: String,
    /// The machine, in words ("orbital 15 mm, 125 mm pad").
    pub machine: String,
    /// What was worked on.
    pub panel: String,
    /// Day and time, as it shall be shown.
    pub date: String,
    /// The figures are from a virtual machine: said in large letters on every sheet.
    pub invented: bool,
    /// No thermometer looked, as in a table without such a column.
    pub no_looks: bool,
    /// What was found wrong with the table it was imported from, a sentence or two each; the sheet shows the first.
    pub table_remarks: Vec<String>,
}

/// What was aimed at.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlanBands {
    /// Arm speed, m/s.
    pub pace_mps: Option<Band>,
    /// Orbit rate (rotary: speed), per minute.
    pub orbit_opm: Option<Band>,
    /// Largest rise over the section's start, K.
    pub rise_limit_k: Option<f64>,
    /// Travel of one stroke, m, where it was told.
    pub stroke_length_m: Option<f64>,
}

impl From<&Plan> for PlanBands {
    fn from(plan: &Plan) -> Self {
        Self {
            pace_mps: Some(plan.pace_mps()),
            orbit_opm: plan.orbit_per_min,
            rise_limit_k: Some(plan.heat_rise_k),
            stroke_length_m: plan.stroke_length_m,
        }
    }
}

/// What the rubbing map of a plan's machine and section needs. A plan's section has width and height; the map takes them as
/// along and across the first stroke.
#[must_use]
pub fn rubbing_setup(plan: &Plan) -> RubbingSetup {
    RubbingSetup {
        pad_radius_m: plan.machine.pad_diameter_mm / 2e3,
        section_m: plan.section_m.map(|[along, across]| (along, across)),
    }
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
    pub warnings: &'a [Warning],
    /// What was written down while recording: when, s, and what; notes outside the pass are ignored.
    pub notes: &'a [(f64, Arc<str>)],
    /// Seconds of the pass of which samples were lost.
    pub lost_s: f64,
    /// What was aimed at.
    pub bands: PlanBands,
    /// Where the pad rubbed; `None` where its way is not known.
    pub rubbing: Option<&'a RubbingMap>,
    /// How the machine moves its pad: decides the words for its rate.
    pub machine: MachineKind,
    /// Units to show.
    pub units: Units,
}

impl SheetInput<'_> {
    /// Numbers and unit names in the units to show.
    pub(crate) fn scale(&self) -> Scale {
        Scale(self.units)
    }

    /// The stroke length told, m, and what the turns say, where they do not agree with it.
    pub(crate) fn doubted_length_m(&self) -> Option<(f64, LengthDoubt)> {
        self.bands.stroke_length_m.zip(self.pass.length_doubt)
    }

    /// Whether a stroke length was told and the arm speeds do not go by it.
    pub(crate) fn goes_by_turns(&self) -> bool {
        self.doubted_length_m().is_some_and(|(_, doubt)| doubt.clear)
    }

    /// The rubbing map, where its places are known well enough.
    pub(crate) fn map(&self) -> Option<&RubbingMap> {
        self.rubbing.filter(|map| map.is_known_for(self.pass))
    }

    /// Name and unit of the machine's rate.
    pub(crate) fn rate_words(&self) -> (&'static str, &'static str) {
        match self.machine {
            MachineKind::Orbital => ("orbit rate", "OPM"),
            MachineKind::Rotary => ("machine speed", "RPM"),
        }
    }
}
