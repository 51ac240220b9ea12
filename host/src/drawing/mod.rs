//! Pictures on paper: one sheet per section pass, in our own hand.
//!
//! ```text
//! SheetInput (facts, pass, strokes, rows, warnings, rubbing map)
//!     ─► section_pass (arranges and words) ─► Canvas (layers of SVG) ─► PNG
//! ```
//!
//! Lines, bands and axes are drawn by plotters on its SVG backend, at four times the sheet's size because that backend rounds
//! to whole units; lettering, hatching and the map are laid between as SVG of our own; resvg makes the PNG. Fonts are built in,
//! so a sheet looks the same on every machine.
//!
//! Pure: from figures to bytes, no file, no clock. Meaning is never carried by colour alone.

pub mod canvas;
pub mod exposure_day;
pub mod input;
pub mod invented;
pub mod lettering;
pub mod section_pass;
pub mod theme;
pub mod units;

pub use canvas::DrawingError;
pub use exposure_day::{ExposureSheet, exposure_day_png};
pub use input::{PlanBands, SessionFacts, SheetInput, rubbing_setup};
pub use section_pass::{SHEET_HEIGHT, SHEET_WIDTH, finding, section_pass_png, section_pass_svg};
pub use units::Scale;
