//! The section pass sheet: one pass over one section on one page, for the technician at the end of the day and for the one
//! who is being taught.
//!
//! ```text
//! ┌ title, who and with what, the finding in one sentence ───────────────┐
//! │ arm speed, one bar per stroke     │ the section from above:          │
//! │ orbit rate                        │ strokes over rubbing distance    │
//! │ surface rise                      │ what to take from it, in words   │
//! ├ key figures with their intervals ────────────────────────────────────┤
//! ```
//!
//! The three strips share one time axis. A strip whose quantity is not known shrinks to a sentence that says so, and the others
//! take its room. Without a track the right side lists the strokes as a table.

mod drawn;
pub(crate) mod facts;
mod figures;
mod furniture;
mod map;
mod orbit;
mod pace;
mod strips;
mod surface;
mod table;
mod words;

use super::canvas::{Canvas, DrawingError, Fill, Frame, Line, Type};
use super::lettering::{self, Weight, fit, safe, wrap};
use super::theme::{self, size};
use super::{SheetInput, invented, units};
use facts::Facts;

/// Width of a sheet, px.
pub const SHEET_WIDTH: u32 = 1800;
/// Height of a sheet, px.
pub const SHEET_HEIGHT: u32 = 1200;

const LEFT: f64 = 56.0;
const RIGHT: f64 = 1744.0;
/// Left edge of the strips' plotting area: room for tick labels. Beside their right edge stands what a band or line means.
const STRIP_X: f64 = 134.0;
const STRIP_RIGHT: f64 = 1094.0;
const MAP_X: f64 = 1212.0;
const BODY_TOP: f64 = 204.0;
const BODY_BOTTOM: f64 = 1010.0;

/// The sheet as PNG, 1800 x 1200.
///
/// # Errors
/// [`DrawingError`] when the picture cannot be made; missing or odd figures are no errors, they are said on the sheet.
pub fn section_pass_png(input: &SheetInput<'_>) -> Result<Vec<u8>, DrawingError> {
    draw(input)?.png()
}

/// The sheet as SVG; its text needs the font Inter where it is shown.
///
/// # Errors
/// As [`section_pass_png`].
pub fn section_pass_svg(input: &SheetInput<'_>) -> Result<String, DrawingError> {
    Ok(draw(input)?.svg())
}

/// What the pass was like, in one sentence: the sheet's own heading.
#[must_use]
pub fn finding(input: &SheetInput<'_>) -> String {
    words::finding(input, &Facts::of(input))
}

/// "pass 2"; after the first section, where the number is no longer that of the section, "pass 2 of the recording".
#[must_use]
pub fn pass_words(section: u32, pass: u32) -> String {
    format!("pass {pass}{}", if section > 1 { " of the recording" } else { "" })
}

fn draw(input: &SheetInput<'_>) -> Result<Canvas, DrawingError> {
    let facts = Facts::of(input);
    let mut canvas = Canvas::new(SHEET_WIDTH, SHEET_HEIGHT);
    header(&mut canvas, input, &facts);
    let strips = Frame { x: STRIP_X, y: BODY_TOP, w: STRIP_RIGHT - STRIP_X, h: BODY_BOTTOM - BODY_TOP };
    strips::draw(&mut canvas, input, &facts, strips)?;
    let side = Frame { x: MAP_X, y: BODY_TOP, w: RIGHT - MAP_X, h: BODY_BOTTOM - BODY_TOP };
    let text_y = match input.map() {
        Some(rubbing) => map::draw(&mut canvas, input, &facts, rubbing, side),
        None => table::draw(&mut canvas, input, &facts, side),
    };
    takings(&mut canvas, input, &facts, side, text_y);
    figures::draw(&mut canvas, input, &facts, LEFT, RIGHT);
    Ok(canvas)
}

fn header(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts) {
    if input.session.invented {
        invented::mark(canvas, RIGHT, 38.0);
    }
    let title = format!("Section {} · {}", input.pass.section, pass_words(input.pass.section, input.pass.pass));
    canvas.text(LEFT, 76.0, &title, Type::of(size::TITLE).bold());
    let date = safe(&input.session.date, 40);
    let set = Type::of(size::HEAD).fill(theme::SOFT);
    let known = |text: &str, missing: &str| {
        let text = safe(text, 80);
        if text.is_empty() { missing.to_owned() } else { text }
    };
    let who = known(&input.session.technician, "technician not named");
    let with = known(&input.session.machine, "machine not named");
    let on = safe(&input.session.panel, 80);
    let parts: Vec<&str> =
        [&who, &with, &on, &date].into_iter().filter(|p| !p.is_empty()).map(|p| p.as_str()).collect();
    let room = RIGHT - LEFT - set.width("  ·  ") * (parts.len() as f64 - 1.0);
    let shown = share_room(&parts, &set, room);
    canvas.text(LEFT, 118.0, &shown.join("  ·  "), set);
    headline(canvas, &words::finding(input, facts));
}

/// The finding under the title: smaller where it is long, then in two lines, for its last words are often the ones that matter.
fn headline(canvas: &mut Canvas, finding: &str) {
    let room = RIGHT - LEFT;
    let fits = |size: &f64| lettering::width(finding, *size, Weight::SemiBold) <= room;
    if let Some(size) = [size::FINDING, size::FINDING - 3.0].into_iter().find(fits) {
        canvas.text(LEFT, 166.0, finding, Type::of(size).bold());
        return;
    }
    let in_two = |size: &f64| wrap(finding, *size, Weight::SemiBold, room).len() <= 2;
    let size = [size::HEAD, size::LABEL, size::NOTE].into_iter().find(in_two).unwrap_or(size::NOTE);
    let lines = lettering::two_lines(finding, size, Weight::SemiBold, room);
    canvas.lines(LEFT, 154.0, &lines, Type::of(size).bold(), 30.0);
}

/// Cuts the longest parts until all fit into `room`.
fn share_room(parts: &[&str], set: &Type, room: f64) -> Vec<String> {
    let mut widths: Vec<f64> = parts.iter().map(|p| set.width(p)).collect();
    // Lower a common ceiling on the widths: short parts stay whole, long ones share what is left.
    let mut ceiling = room;
    while widths.iter().map(|w| w.min(ceiling)).sum::<f64>() > room && ceiling > 60.0 {
        ceiling *= 0.97;
    }
    widths.iter_mut().for_each(|w| *w = w.min(ceiling + 0.5));
    parts.iter().zip(widths).map(|(p, w)| fit(p, set.size, set.weight, w + 0.5)).collect()
}

fn takings(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, side: Frame, y: f64) {
    let set = Type::of(size::BODY);
    let mut y = y;
    let takings = words::takings(input, facts);
    if takings.is_empty() {
        return;
    }
    let to_do = takings.iter().any(|t| t.mark == words::Mark::Act);
    let leading = 29.0;
    let mut under = None;
    for taking in takings {
        let lines = wrap(&taking.text, set.size, set.weight, side.w - 30.0);
        let head = match taking.mark {
            _ if to_do => "Next time",
            words::Mark::Keep => "To keep",
            _ => "To know",
        };
        let is_new = under != Some(head);
        let head_h = if is_new { 34.0 } else { 0.0 };
        if y + head_h + (lines.len() as f64 - 1.0) * leading > side.bottom() + 8.0 {
            break;
        }
        if is_new {
            // A little more room over a second head.
            y += if under.is_some() { 8.0 } else { 0.0 };
            canvas.text(side.x, y, head, Type::of(size::HEAD).bold());
            (y, under) = (y + head_h, Some(head));
        }
        match taking.mark {
            words::Mark::Act => {
                let (cx, cy) = (side.x + 9.0, y - 8.0);
                let d = format!("M{} {}L{} {}L{} {}Z", cx - 9.0, cy + 8.0, cx, cy - 9.0, cx + 9.0, cy + 8.0);
                canvas.path(&d, Fill::Plain(theme::ACCENT), None);
            }
            words::Mark::Keep | words::Mark::Note => {
                canvas.polyline(&[(side.x + 2.0, y - 7.0), (side.x + 16.0, y - 7.0)], Line::of(theme::SOFT, 3.0));
            }
        }
        y = canvas.lines(side.x + 30.0, y, &lines, set, leading) + 6.0;
    }
}

/// "0:24" into the pass, of a moment of the recording.
fn into_pass(input: &SheetInput<'_>, t_s: f64) -> String {
    units::clock(t_s - input.pass.start_s)
}
