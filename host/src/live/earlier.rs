//! Passes that were worked earlier today, from the shop's memory: they head the list of passes.

use super::{PassRow, model::clock};
use crate::{
    guidance::Units,
    shop::{Result, Shop},
};

/// What the shop has of a day's passes, in order.
///
/// # Errors
/// When the store cannot be read.
pub fn passes_of(shop: &Shop, day: jiff::civil::Date, units: Units) -> Result<Vec<PassRow>> {
    let day = day.to_string();
    let sessions: Vec<_> = shop.sessions()?.into_iter().filter(|s| s.day == day).map(|s| s.id).collect();
    let figures = shop.pass_figures()?;
    let mut rows = Vec::new();
    for session in sessions {
        for (n, pass) in figures.iter().filter(|p| p.session == session).enumerate() {
            rows.push(PassRow {
                section: pass.section_number,
                pass: u32::try_from(n + 1).unwrap_or(u32::MAX),
                start_s: None,
                took: clock(pass.duration_s),
                strokes: pass.strokes,
                arm: PassRow::arm(pass.arm_speed_mps, units),
                in_band: PassRow::in_band(pass.in_band_share),
                warmest: PassRow::warmest(pass.surface_rise_k, units),
                warnings: pass.warnings,
            });
        }
    }
    Ok(rows)
}
