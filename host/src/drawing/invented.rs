//! What marks figures that nobody measured: one word and one look on every picture and page.

use super::canvas::{Canvas, Fill, Frame, Hatching, Line, Type};
use super::theme::{self, size};

/// The mark on a picture.
pub const MARK: &str = "Invented data";

/// The same on a page, where there is room to say what it means; a paragraph of the class `invented`.
pub const PARAGRAPH: &str = "<p class=\"invented\">Invented data: computed from a model, not measured</p>\n";

const HEIGHT: f64 = 46.0;
const PADDING: f64 = 18.0;

/// Width of the mark, px.
pub(crate) fn width() -> f64 {
    lettering().width(MARK) + 2.0 * PADDING
}

/// Draws the mark with its upper right corner at a place.
pub(crate) fn mark(canvas: &mut Canvas, right: f64, top: f64) {
    let frame = Frame { x: right - width(), y: top, w: width(), h: HEIGHT };
    canvas.rect(frame, Fill::Hatch(Hatching::Unknown), Some(Line::of(theme::INK, 2.0)));
    canvas.text(right - PADDING, top + 32.0, MARK, lettering().end().halo());
}

fn lettering() -> Type {
    Type::of(size::HEAD).bold()
}
