//! The hardness ledger: what a metre of rubbing took off which paint, with which pad and liquid.

use super::{MARGIN, WIDTH, dot, head, range, x_axis};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::drawing::units::{Scale, number};
use crate::guidance::Units;
use crate::shop::film;

/// Feet that wear is told for where film is told in mil: per single foot it would begin with noughts.
const FEET: f64 = 100.0;

/// What wear is told in: the factor from µm per metre, and its name.
pub fn wear_unit(units: Units) -> (f64, &'static str) {
    match units {
        Units::Si => (1.0, "µm per metre rubbed"),
        Units::Us => (FEET / film::UM_PER_MIL / Scale(units).long_length(1.0), "mil per 100 ft rubbed"),
    }
}

/// One row of the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct LedgerRow {
    /// The paint, in words.
    pub paint: String,
    /// Panel.
    pub panel: String,
    /// Pad and liquid, in words.
    pub product: String,
    /// Removal, µm.
    pub removal_um: f64,
    /// One standard deviation, µm.
    pub removal_sd_um: f64,
    /// Rubbing distance, m.
    pub rubbed_m: f64,
    /// Removal per metre rubbed, µm/m.
    pub wear_um_per_m: f64,
    /// Its 90 % interval, µm/m.
    pub interval: (f64, f64),
    /// What it was worked out from, in words.
    pub basis: String,
}

const ROW: f64 = 62.0;
const NAMES: f64 = 640.0;
const NUMBERS: f64 = 330.0;
/// Most rows a sheet shows.
const MOST: usize = 40;

/// The ledger as PNG, rows in the order given.
///
/// # Errors
/// When the picture cannot be made.
pub fn ledger_png(rows: &[LedgerRow], invented: bool, units: Units) -> Result<Vec<u8>, DrawingError> {
    let shown = &rows[..rows.len().min(MOST)];
    let mut canvas = Canvas::new(WIDTH as u32, (330.0 + ROW * shown.len().max(1) as f64) as u32);
    let (per_um_per_m, unit) = wear_unit(units);
    let mut under = "Film taken by the length of rubbing, with its 90 % interval. Pressure is not measured: the figures compare paints, \
                     pads and liquids as this shop works (Preston 1927)."
        .to_owned();
    if rows.len() > shown.len() {
        under.push_str(&format!(" The first {} of {} are shown.", shown.len(), rows.len()));
    }
    let top = head(&mut canvas, "Hardness ledger", &under, invented) + 30.0;
    let values =
        shown.iter().flat_map(|r| [r.interval.0, r.interval.1, r.wear_um_per_m, 0.0].map(|wear| wear * per_um_per_m));
    let Some(x_range) = range(values) else { return canvas.png() };
    let frame =
        Frame { x: MARGIN + NAMES, y: top, w: WIDTH - 2.0 * MARGIN - NAMES - NUMBERS, h: ROW * shown.len() as f64 };
    let axes = Axes { frame, x: x_range, y: (0.0, 1.0) };
    x_axis(&mut canvas, &axes, 5.0);
    canvas.text(frame.x, frame.bottom() + 58.0, unit, Type::of(size::NOTE).fill(theme::SOFT));
    for (i, row) in shown.iter().enumerate() {
        let y = top + ROW * (i as f64 + 0.5);
        let first = lettering::fit(&lettering::safe(&row.product, 90), size::LABEL, Weight::SemiBold, NAMES - 24.0);
        let second = format!("{}, {}", row.paint, row.panel);
        let second = lettering::fit(&lettering::safe(&second, 120), size::NOTE, Weight::Regular, NAMES - 24.0);
        canvas.text(MARGIN, y - 4.0, &first, Type::of(size::LABEL).bold());
        canvas.text(MARGIN, y + 20.0, &second, Type::of(size::NOTE).fill(theme::SOFT));
        let (a, b) = (axes.px(row.interval.0 * per_um_per_m), axes.px(row.interval.1 * per_um_per_m));
        canvas.rect(Frame { x: a, y: y - 9.0, w: b - a, h: 18.0 }, Fill::Plain(theme::DATA_INTERVAL), None);
        dot(
            &mut canvas,
            axes.px(row.wear_um_per_m * per_um_per_m),
            y,
            8.5,
            Fill::Plain(theme::DATA),
            Some(Line::of(theme::PAPER, 2.5)),
        );
        let (unit_um, digits, film) = film::unit(units);
        let rubbed = Scale(units).long_length(row.rubbed_m);
        let (length, decimals) = if units == Units::Us { ("ft", 0) } else { ("m", 1) };
        let removal = number(row.removal_um / unit_um, digits);
        let text = format!("{removal} {film} over {} {length}", number(rubbed, decimals));
        canvas.text(frame.right() + 24.0, y - 4.0, &text, Type::of(size::NOTE).tabular());
        canvas.text(frame.right() + 24.0, y + 20.0, &row.basis, Type::of(size::NOTE).fill(theme::SOFT));
    }
    canvas.png()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wear_is_told_in_mil_where_film_is() {
        // 1 mil = 25.4 µm, 100 ft = 30.48 m, by definition.
        let (factor, name) = wear_unit(Units::Us);
        assert!((factor - 30.48 / 25.4).abs() < 1e-12, "{factor}");
        assert_eq!((name, wear_unit(Units::Si).0), ("mil per 100 ft rubbed", 1.0));
    }
}
