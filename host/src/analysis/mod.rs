//! From readings in physical units to what the job is judged by. One quantity per file.
//!
//! # Data flow
//!
//! ```text
//! Reading ─► Pipeline ─┬─► LiveTick, 10 per second, causal: what guidance and the live view use
//!                      └─► Finding, when settled: series rows, strokes, passes with all that hindsight gives; quick to and fro
//! ```
//!
//! Pure and push-based: no clock, no port, no file. The result does not depend on how the readings were sliced, so live
//! and review give identical figures. Memory does not grow with the length of a recording: windows and the current pass
//! are kept, finished results are handed out.

mod attitude;
mod cadence;
#[cfg(test)]
mod chance;
mod comb;
mod crests;
mod emissivity;
pub mod findings;
mod grid;
mod heat;
mod interpolator;
mod looks;
mod motion;
mod opening;
mod orbit;
mod pad_speed;
mod panel;
mod passes;
mod pipeline;
pub mod reading;
pub mod rubbing;
pub mod setup;
mod spin;
mod spot;
mod start;
mod strokes;
pub(crate) mod surface;
pub mod thin;
mod track;
mod trailing;
mod traverse;
mod turns;
mod warming;
pub mod weighted_vibration;
mod weighting;
#[cfg(test)]
pub(crate) mod worked_panel;

pub(crate) use attitude::{Vec3, cross};
pub(crate) use emissivity::apparent_c;
pub use findings::{
    Finding, Interval, LengthDoubt, LiveTick, Measured, Pass, SeriesRow, State, Stroke, StrokePlace, ToAndFro,
    TrackPoint, Warmth,
};
pub(crate) use findings::{ROW_S, Z90};
pub(crate) use motion::MEASURED_S;
pub use orbit::LEAST_STREAM_HZ;
pub use pad_speed::pad_speed_mps;
pub use pipeline::Pipeline;
pub use reading::{Reading, Run, SurfaceLook};
pub use setup::{ArmParts, Machine, MachineKind, Setup};
pub(crate) use strokes::LONGEST_TURN_S;
pub use surface::SurfaceCounts;
pub use weighted_vibration::{WeightedEnergy, WeightedTick, WeightedVibration};
