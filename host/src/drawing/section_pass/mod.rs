//! The section pass sheet: one pass over one section on one page, for the technician at the end of the day and for the one
//! who is being taught.
//!
//! ```text
//! ┌ title, who and with what, the finding in one sentence ───────────────┐
//! │ what the import found wrong with the table, where it did             │
//! │ arm speed, one bar per stroke     │ the section from above:          │
//! │ orbit rate                        │ strokes over rubbing distance    │
//! │ surface rise                      │ what to take from it, in words   │
//! │ what was noted, where anything was                                   │
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
mod unseen;
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
    let (top, bottom) = (doubts(&mut canvas, input), notes(&mut canvas, input, &facts));
    let strips = Frame { x: STRIP_X, y: top, w: STRIP_RIGHT - STRIP_X, h: bottom - top };
    strips::draw(&mut canvas, input, &facts, strips)?;
    let side = Frame { x: MAP_X, y: top, w: RIGHT - MAP_X, h: bottom - top };
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

/// Lines that go over the whole sheet: at most, and from one to the next, px.
const MOST_LINES: usize = 3;
const LINES_LEADING: f64 = 25.0;

/// What the import found wrong, under the headline and before any figure; gives where the body begins.
fn doubts(canvas: &mut Canvas, input: &SheetInput<'_>) -> f64 {
    let lines = words::doubts(input, MOST_LINES, RIGHT - LEFT - TEXT_IN);
    if lines.is_empty() {
        return BODY_TOP;
    }
    let y = BODY_TOP + 6.0;
    to_act(canvas, LEFT, y);
    canvas.lines(LEFT + TEXT_IN, y, &lines, Type::of(size::NOTE), LINES_LEADING);
    BODY_TOP + 6.0 + LINES_LEADING * lines.len() as f64
}

/// What was noted, over the key figures; gives where the body ends.
fn notes(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts) -> f64 {
    let lines = words::notes(input, facts, MOST_LINES, RIGHT - LEFT);
    if lines.is_empty() {
        return BODY_BOTTOM;
    }
    let y = BODY_BOTTOM + 12.0 - LINES_LEADING * (lines.len() as f64 - 1.0);
    canvas.lines(LEFT, y, &lines, Type::of(size::NOTE), LINES_LEADING);
    y - LINES_LEADING - 12.0
}

/// The mark of what to act upon, before a line of text.
fn to_act(canvas: &mut Canvas, x: f64, baseline: f64) {
    let (cx, cy) = (x + 9.0, baseline - 8.0);
    let d = format!("M{} {}L{} {}L{} {}Z", cx - 9.0, cy + 8.0, cx, cy - 9.0, cx + 9.0, cy + 8.0);
    canvas.path(&d, Fill::Plain(theme::ACCENT), None);
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
    let takings = words::takings(input, facts);
    let bottom = side.bottom() + 8.0;
    let text_w = side.w - TEXT_IN;
    // Smaller where that much is to be said; what has no room even then is counted.
    let [usual, small] = [(size::BODY, 29.0), (size::NOTE, 24.0)].map(|(size, leading)| Set { size, leading });
    let whole = |set: &Set| Some(set.laid(&takings, text_w, y, bottom)).filter(|laid| laid.len() == takings.len());
    let (set, laid) = match (whole(&usual), whole(&small)) {
        (Some(laid), _) => (usual, laid),
        (None, Some(laid)) => (small, laid),
        (None, None) => {
            let laid = small.laid(&takings, text_w, y, bottom - small.leading);
            (small, laid)
        }
    };
    let left_out = takings.len() - laid.len();
    let mut end = y;
    for (taking, Laid { head, y, lines }) in takings.iter().zip(&laid) {
        if let Some((head_y, head)) = head {
            canvas.text(side.x, *head_y, head, Type::of(size::HEAD).bold());
        }
        match taking.mark {
            words::Mark::Act => to_act(canvas, side.x, *y),
            words::Mark::Keep | words::Mark::Note => {
                canvas.polyline(&[(side.x + 2.0, y - 7.0), (side.x + 16.0, y - 7.0)], Line::of(theme::SOFT, 3.0));
            }
        }
        end = canvas.lines(side.x + TEXT_IN, *y, lines, Type::of(set.size), set.leading) + AFTER_TAKING;
    }
    if left_out > 0 {
        let more = format!("and {left_out} more, for which there is no room");
        canvas.text(side.x + TEXT_IN, end, &more, Type::of(size::NOTE).fill(theme::SOFT));
    }
}

/// How far a taking's text stands in from its mark, px.
const TEXT_IN: f64 = 30.0;
/// Room between two takings, px.
const AFTER_TAKING: f64 = 6.0;

/// How takings are set: px per em, and from line to line.
struct Set {
    size: f64,
    leading: f64,
}

/// Where a taking stands: its head where it begins a group, the baseline of its first line, its lines.
struct Laid {
    head: Option<(f64, &'static str)>,
    y: f64,
    lines: Vec<String>,
}

impl Set {
    /// As many of the takings as there is room for between two baselines.
    fn laid(&self, takings: &[words::Taking], width: f64, from: f64, to: f64) -> Vec<Laid> {
        let to_do = takings.iter().any(|t| t.mark == words::Mark::Act);
        let (mut y, mut under, mut out) = (from, None, Vec::new());
        for taking in takings {
            let lines = wrap(&taking.text, self.size, Weight::Regular, width);
            let head = match taking.mark {
                _ if to_do => "Next time",
                words::Mark::Keep => "To keep",
                _ => "To know",
            };
            let mut begins = None;
            if under != Some(head) {
                // A little more room over a second head.
                y += if under.is_some() { 8.0 } else { 0.0 };
                (begins, under) = (Some((y, head)), Some(head));
                y += self.leading + 5.0;
            }
            if y + (lines.len() as f64 - 1.0) * self.leading > to {
                break;
            }
            let next = y + lines.len() as f64 * self.leading + AFTER_TAKING;
            out.push(Laid { head: begins, y, lines });
            y = next;
        }
        out
    }
}

/// "0:24" into the pass, of a moment of the recording.
fn into_pass(input: &SheetInput<'_>, t_s: f64) -> String {
    units::clock(t_s - input.pass.start_s)
}
