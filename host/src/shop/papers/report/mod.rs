//! The owner's report on a vehicle: what was found, what was done, how warm it got, what film is left.
//!
//! ```text
//! shop ─► gather ─► OwnerReport ─► page ─► one HTML file
//! ```

mod film;
mod gather;
mod heat;
mod page;
mod spots;

pub use gather::owner_report;
pub use page::report_html;
pub use spots::TestSpot;

use super::Known;
use crate::shop::film::{Caution, Um};
use heat::Warm;

/// The part of work that names none.
const NOT_NAMED: &str = "not named";

/// A picture the user adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What it shows.
    pub caption: String,
    /// PNG or JPEG.
    pub bytes: Vec<u8>,
}

/// What was done on one panel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PanelWork {
    /// Panel.
    pub name: String,
    /// Days worked.
    pub days: Vec<String>,
    /// Sections, each once, on however many days it was worked.
    pub sections: usize,
    /// Passes.
    pub passes: usize,
    /// Minutes with the motor running.
    pub minutes: f64,
    /// Pads and liquids.
    pub products: Vec<String>,
    /// Largest surface rise; `None` where none is known.
    pub warmest: Option<Warm>,
    /// Passes whose rise is known.
    pub passes_with_rise: usize,
    /// The rise that went farthest above its own limit, where any did: not always the largest, for sessions have their own limits.
    pub above: Option<Warm>,
    /// Mean film before and after, µm: of the points read at both times, if there are any.
    pub film_um: (Option<f64>, Option<f64>),
    /// What was taken off, where the gauge's spread is known or three points tell it.
    pub removal: Option<Um>,
    /// Readings that no coat can give: in no figure, and nothing that the owner need know of.
    pub left_out: usize,
    /// What must be known about its film.
    pub cautions: Vec<Caution>,
    /// The thickest point that reads more than factories put on, µm.
    pub thick_um: Option<f64>,
}

impl PanelWork {
    /// Of how many passes the rise is known.
    fn rise_known(&self) -> Known {
        Known { with: self.passes_with_rise, passes: self.passes }
    }
}

/// Everything on the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnerReport {
    /// The shop's name.
    pub shop: String,
    /// Its logo.
    pub logo: Option<Vec<u8>>,
    /// The vehicle, in words.
    pub vehicle: String,
    /// Its paint, in words.
    pub paint: String,
    /// What was found, typed by the shop.
    pub found: String,
    /// The test spots.
    pub spots: Vec<TestSpot>,
    /// The panels.
    pub panels: Vec<PanelWork>,
    /// Care advice, typed by the shop.
    pub care: String,
    /// Pictures.
    pub pictures: Vec<Picture>,
    /// Whether any figure is invented.
    pub invented: bool,
}
