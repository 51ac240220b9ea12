//! The plan: what a technician intends, in one small TOML file. Limits and targets for the warnings, what no sensor can see
//! (machine, emissivity, stroke length), and how figures are shown.
//!
//! `data/plans/example.toml` shows every key. Unknown keys are refused, every number has a range, and an error names file,
//! line, key, value and what is allowed. [`Plan::to_toml`] writes the plan in force, with the machine's profile resolved, so
//! that a recording carries all that is needed to review it again.
//!
//! Numbers are kept in the unit of their key, so that writing and reading a plan gives back the same bits.

mod error;
mod file;
mod keys;
mod parse;
mod profiles;
mod render;
mod table;
#[cfg(test)]
mod tests;

pub use error::{Place, PlanError, Problem, Source};
pub use parse::ProfileLookup;
pub use profiles::names as profile_names;

use crate::analysis::{ArmParts, Machine, MachineKind, Setup};

use super::units::{K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH, Units};

/// A target band; `lo` is less than `hi`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Lower end.
    pub lo: f64,
    /// Upper end.
    pub hi: f64,
}

impl Band {
    /// Both ends times a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { lo: self.lo * factor, hi: self.hi * factor }
    }

    /// Whether a value lies in the band, ends included.
    pub fn contains(self, value: f64) -> bool {
        (self.lo..=self.hi).contains(&value)
    }
}

/// The machine, as far as the job needs to know it.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineProfile {
    /// What the shop calls it.
    pub name: Option<String>,
    /// How it moves its pad.
    pub kind: MachineKind,
    /// Diameter of the orbit, mm; `None` for a rotary.
    pub throw_mm: Option<f64>,
    /// Diameter of the pad's face, mm.
    pub pad_diameter_mm: f64,
}

/// The plan in force.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Who works.
    pub technician: Option<String>,
    /// What is worked on.
    pub panel: Option<String>,
    /// Units for display.
    pub units: Units,
    /// Arm speed to keep, mm/s.
    pub pace_mm_s: Band,
    /// Orbit rate (rotary: speed) to keep, per minute; no warnings about it when `None`.
    pub orbit_per_min: Option<Band>,
    /// Largest rise over the section's start, K.
    pub heat_rise_k: f64,
    /// Travel of one stroke, m, where it is known (a taped section).
    pub stroke_length_m: Option<f64>,
    /// Width and height of a section, m, where they are known.
    pub section_m: Option<[f64; 2]>,
    /// Emissivity of the paint in the thermometer's band.
    pub emissivity: f64,
    /// The machine.
    pub machine: MachineProfile,
    /// Whether the plan tells the machine; else the one above is assumed. One that was written by [`Plan::to_toml`] tells it.
    pub machine_told: bool,
}

/// Arm speed of half an inch to one inch a second at mid machine speed: common practice, no published source.
const DEFAULT_PACE_MM_S: Band = Band { lo: 0.5 * MM_PER_INCH, hi: MM_PER_INCH };

/// 20 °F over the section's start: common practice, no published source.
const DEFAULT_HEAT_RISE_K: f64 = 20.0 * K_PER_FAHRENHEIT_DEGREE;

impl Default for Plan {
    /// Common practice on clear-coated paint with a generic 15 mm orbital and a 125 mm pad. No band for the orbit rate:
    /// it depends on the machine.
    fn default() -> Self {
        let setup = Setup::default();
        Self {
            technician: None,
            panel: None,
            units: Units::Si,
            pace_mm_s: DEFAULT_PACE_MM_S,
            orbit_per_min: None,
            heat_rise_k: DEFAULT_HEAT_RISE_K,
            stroke_length_m: None,
            section_m: None,
            emissivity: setup.emissivity,
            machine: MachineProfile {
                name: None,
                kind: MachineKind::Orbital,
                throw_mm: Some(15.0),
                pad_diameter_mm: 125.0,
            },
            machine_told: false,
        }
    }
}

impl Plan {
    /// What the analysis must be told.
    pub fn setup(&self) -> Setup {
        Setup {
            machine: Machine {
                kind: self.machine.kind,
                throw_m: self.machine.throw_mm.unwrap_or(0.0) / 1e3,
                pad_diameter_m: self.machine.pad_diameter_mm / 1e3,
            },
            stroke_length_m: self.stroke_length_m,
            emissivity: self.emissivity,
            arm_parts: ArmParts::All,
        }
    }

    /// Arm speed to keep, m/s.
    pub fn pace_mps(&self) -> Band {
        self.pace_mm_s.times(1e-3)
    }

    /// What the rate of this machine is counted in.
    pub fn rate_unit(&self) -> &'static str {
        match self.machine.kind {
            MachineKind::Orbital => "OPM",
            MachineKind::Rotary => "RPM",
        }
    }
}

impl From<&Plan> for Setup {
    fn from(plan: &Plan) -> Self {
        plan.setup()
    }
}
