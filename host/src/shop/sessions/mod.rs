//! Sessions with their sections, passes and prints: filed whole, replaced whole, read back for comparing.
//!
//! ```text
//! NewSession ─► filing (which session it is again: parts) ─► store ─► reading ─► Session, PassFigures, Print
//! ```

mod filing;
mod parts;
mod reading;

pub(super) use parts::RECORDING;
pub use reading::PrintsOf;

use super::{Id, NewNote, SectionMap};

/// A session to be filed.
#[derive(Clone, Debug, PartialEq)]
pub struct NewSession {
    /// Size and checksum of the recording's bytes.
    pub fingerprint: String,
    /// Where the recording lies; `None` for figures that have none.
    pub recording: Option<String>,
    /// Start, RFC 3339 with the shop's zone.
    pub started: String,
    /// The shop's day of the start, `YYYY-MM-DD`.
    pub day: String,
    /// Who worked.
    pub technician: Id,
    /// With which machine.
    pub machine: Option<Id>,
    /// On which vehicle.
    pub vehicle: Option<Id>,
    /// With which pad.
    pub pad: Option<Id>,
    /// With which liquid.
    pub liquid: Option<Id>,
    /// On which panel.
    pub panel: String,
    /// Whether this is the trainer's, to be shown beside others.
    pub trainer: bool,
    /// `sensor`, `table`, `simulation` or `generated`.
    pub source: &'static str,
    /// The sensor's id.
    pub sensor: String,
    /// Version of the program that computed the figures.
    pub program: String,
    /// The plan the figures were computed by, TOML, complete in itself; empty when there was none to keep.
    pub plan: String,
    /// Which technician's part of the recording, in order of appearance, from 1.
    pub part: u32,
    /// Length, s.
    pub seconds: f64,
    /// Time the motor ran, s.
    pub running_s: f64,
    /// What is missing from the recording, in words; empty when nothing is.
    pub lost: String,
    /// Arm speed the plan asked for, m/s.
    pub pace_mps: (f64, f64),
    /// Largest rise the plan allowed, K.
    pub heat_limit_k: f64,
    /// What was worked.
    pub sections: Vec<NewSection>,
    /// What was marked while it was recorded.
    pub notes: Vec<NewNote>,
}

/// One section.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewSection {
    /// Number in the session, from 1.
    pub number: u32,
    /// Mean rubbing distance over the worked area, all passes, m.
    pub rubbing_mean_m: Option<f64>,
    /// Its coefficient of variation.
    pub rubbing_cv: Option<f64>,
    /// Rubbing distance over it, where its size is known.
    pub map: Option<SectionMap>,
    /// Its passes.
    pub passes: Vec<NewPass>,
}

/// One pass.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewPass {
    /// Number in the session, from 1.
    pub number: u32,
    /// Start and end, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Strokes.
    pub strokes: u32,
    /// Mean arm speed, m/s.
    pub arm_speed_mps: Option<f64>,
    /// Its 90 % interval, m/s.
    pub arm_speed_90_mps: Option<(f64, f64)>,
    /// Coefficient of variation of the strokes' speeds.
    pub arm_speed_cv: Option<f64>,
    /// Share of stroke time in the plan's band.
    pub in_band_share: Option<f64>,
    /// Orbit rate under load, per minute.
    pub orbit_median_opm: Option<f64>,
    /// Orbit rate running free, per minute.
    pub orbit_free_opm: Option<f64>,
    /// Mean pad speed, m/s.
    pub pad_speed_mps: Option<f64>,
    /// Panel at the section's start, °C.
    pub surface_start_c: Option<f64>,
    /// Hottest spot, °C.
    pub surface_peak_c: Option<f64>,
    /// Largest rise, K.
    pub surface_rise_k: Option<f64>,
    /// Time over the plan's limit, s.
    pub seconds_over_limit: Option<f64>,
    /// Mean rubbing distance over the worked area, m.
    pub rubbing_mean_m: Option<f64>,
    /// Its coefficient of variation.
    pub rubbing_cv: Option<f64>,
    /// Time the machine ran without travelling, s.
    pub pause_s: Option<f64>,
    /// Vibration, m/s² rms, unweighted.
    pub vibration_mps2: Option<f64>,
    /// Warnings that began in it.
    pub warnings: u32,
    /// What the technique print is drawn from.
    pub print: Print,
}

/// Cells of a print's rubbing map each way.
pub const PRINT_CELLS: usize = 12;

/// What the technique print is drawn from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Print {
    /// Speed of each stroke, m/s, those that are known.
    pub stroke_mps: Vec<f64>,
    /// Surface rise at evenly spaced moments of the pass, K; `None` where not known.
    pub rise_k: Vec<Option<f64>>,
    /// Rubbing over the worked area, [`PRINT_CELLS`] each way, row by row from below, 255 = the pass's largest.
    pub rubbing: Option<Vec<u8>>,
}

/// A print as it is filed, with what its session's plan asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FiledPrint {
    /// Row of its pass.
    pub pass: Id,
    /// What it is drawn from.
    pub print: Print,
    /// The plan's band, m/s.
    pub pace_mps: (f64, f64),
    /// The plan's limit, K.
    pub heat_limit_k: f64,
}

/// A filed session, without its passes.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Its row.
    pub id: Id,
    /// Where its recording lies.
    pub recording: Option<String>,
    /// Start.
    pub started: String,
    /// Day of the start.
    pub day: String,
    /// Who.
    pub technician: Id,
    /// With which machine.
    pub machine: Option<Id>,
    /// On which vehicle.
    pub vehicle: Option<Id>,
    /// With which pad.
    pub pad: Option<Id>,
    /// With which liquid.
    pub liquid: Option<Id>,
    /// On which panel.
    pub panel: String,
    /// Whether it is the trainer's.
    pub trainer: bool,
    /// Where the data came from.
    pub source: String,
    /// Length, s.
    pub seconds: f64,
    /// Time the motor ran, s.
    pub running_s: f64,
    /// What is missing.
    pub lost: String,
    /// The plan's band, m/s.
    pub pace_mps: (f64, f64),
    /// The plan's limit, K.
    pub heat_limit_k: f64,
    /// Which technician's part of its recording, from 1.
    pub part: u32,
}

/// The figures of one pass, for comparing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PassFigures {
    /// Its row.
    pub id: Id,
    /// Row of its section.
    pub section: Id,
    /// Number of its section in the session.
    pub section_number: u32,
    /// Row of its session.
    pub session: Id,
    /// When it began, s since its recording's start.
    pub start_s: f64,
    /// Length, s.
    pub duration_s: f64,
    /// Mean arm speed, m/s.
    pub arm_speed_mps: Option<f64>,
    /// Its 90 % interval, m/s.
    pub arm_speed_90_mps: Option<(f64, f64)>,
    /// Coefficient of variation of the strokes' speeds.
    pub arm_speed_cv: Option<f64>,
    /// Share of stroke time in the band.
    pub in_band_share: Option<f64>,
    /// Share of the free orbit rate that load takes away.
    pub orbit_droop: Option<f64>,
    /// Largest rise, K.
    pub surface_rise_k: Option<f64>,
    /// Coefficient of variation of the rubbing distance.
    pub rubbing_cv: Option<f64>,
    /// Time the machine ran without travelling, s.
    pub pause_s: Option<f64>,
    /// Hottest spot, °C.
    pub surface_peak_c: Option<f64>,
    /// Mean rubbing distance, m.
    pub rubbing_mean_m: Option<f64>,
    /// Strokes.
    pub strokes: u32,
    /// Warnings.
    pub warnings: u32,
    /// Time over the limit, s.
    pub seconds_over_limit: Option<f64>,
}

/// Whether filing made a new session or replaced the figures of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Filed {
    /// New.
    New(Id),
    /// The same recording was filed before: its figures were replaced, what was typed about it was kept unless typed anew.
    Again(Id),
}

impl Filed {
    /// The session's row.
    pub fn id(self) -> Id {
        match self {
            Self::New(id) | Self::Again(id) => id,
        }
    }
}
