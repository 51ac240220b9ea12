//! Passes that were worked earlier today, from the shop's memory: they head the list of passes.

use super::{PassRow, view::clock};
use crate::{
    guidance::Units,
    shop::{Result, Shop},
};

/// What the shop has of a day's passes, in order.
///
/// # Errors
/// When the store cannot be read.
pub fn passes_of(shop: &Shop, day: jiff::civil::Date, units: Units) -> Result<Vec<PassRow>> {
    let figures = shop.pass_figures_of_day(&day.to_string())?;
    let of_a_session = figures.chunk_by(|a, b| a.session == b.session);
    // Numbered within each session, as its recording numbered them.
    let numbered = of_a_session.flat_map(|passes| (1..).zip(passes));
    Ok(numbered
        .map(|(number, pass)| PassRow {
            section: pass.section_number,
            pass: number,
            start_s: None,
            took: clock(pass.duration_s),
            strokes: pass.strokes,
            arm: PassRow::arm(pass.arm_speed_mps, units),
            arm_90: None,
            in_band: PassRow::in_band(pass.in_band_share),
            warmest: PassRow::warmest(pass.surface_rise_k, units),
            warnings: pass.warnings,
        })
        .collect())
}
