//! Every figure of every group: the days as small dots, the estimate with its interval as a bar.

use super::{MARGIN, MOST_GROUPS, WIDTH, dot, head, range, x_axis};
use crate::compare::{By, Comparison, Figure, Group};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;

const COLUMNS: usize = 2;
const GUTTER: f64 = 90.0;
const ROW: f64 = 46.0;
const CELL_HEAD: f64 = 78.0;
const CELL_FOOT: f64 = 70.0;
const NAMES: f64 = 190.0;
const NUMBERS: f64 = 190.0;

/// The interval plot as PNG.
///
/// # Errors
/// When the picture cannot be made.
pub fn intervals_png(comparison: &Comparison, units: Units) -> Result<Vec<u8>, DrawingError> {
    let groups: Vec<&Group> = comparison.groups.iter().take(MOST_GROUPS).collect();
    let cell = CELL_HEAD + ROW * groups.len().max(1) as f64 + CELL_FOOT;
    let rows = Figure::ALL.len().div_ceil(COLUMNS);
    let mut canvas = Canvas::new(WIDTH as u32, (230.0 + cell * rows as f64) as u32);
    let what = match comparison.by {
        By::Technician => "Technicians",
        By::Machine => "Machines",
        By::PadAndLiquid => "Pads and liquids",
    };
    let dots = if comparison.days_of_several() {
        "Small dots are working days, each one technician's"
    } else {
        "Small dots are working days"
    };
    let pairs = if comparison.contrasts.is_empty() {
        "No two could be compared."
    } else {
        "Named pairs stand out; where none is named, none does."
    };
    let mut under = format!("{dots}; the bar is the 90 % interval of the mean, its dot the mean. {pairs}");
    if comparison.groups.len() > groups.len() {
        under.push_str(&format!(" The first {MOST_GROUPS} of {} are shown.", comparison.groups.len()));
    }
    let top = head(&mut canvas, &format!("{what} compared"), &under, comparison.invented());
    let width = (WIDTH - 2.0 * MARGIN - GUTTER * (COLUMNS - 1) as f64) / COLUMNS as f64;
    for (i, figure) in Figure::ALL.into_iter().enumerate() {
        let x = MARGIN + (i % COLUMNS) as f64 * (width + GUTTER);
        let y = top + (i / COLUMNS) as f64 * cell;
        draw_figure(&mut canvas, comparison, &groups, figure, units, Frame { x, y, w: width, h: cell });
    }
    canvas.png()
}

fn draw_figure(canvas: &mut Canvas, all: &Comparison, groups: &[&Group], figure: Figure, units: Units, cell: Frame) {
    let unit = figure.unit(units);
    let title = if unit.is_empty() { figure.title().to_owned() } else { format!("{}, {unit}", figure.title()) };
    canvas.text(cell.x, cell.y + 30.0, &title, Type::of(size::HEAD).bold());
    let pairs: Vec<String> = all
        .contrasts
        .iter()
        .filter(|c| c.figure == figure && c.stands_out && c.a < groups.len() && c.b < groups.len())
        .map(|c| format!("{} and {}", all.groups[c.a].data.name, all.groups[c.b].data.name))
        .collect();
    if !pairs.is_empty() {
        let text = format!("Differ: {}", pairs.join("; "));
        let text = lettering::fit(&lettering::safe(&text, 200), size::NOTE, Weight::Regular, cell.w);
        canvas.text(cell.x, cell.y + 58.0, &text, Type::of(size::NOTE).fill(theme::ACCENT_INK));
    }
    let i = figure.index();
    let shown = |v: f64| figure.shown(v, units);
    let values = groups.iter().flat_map(|g| {
        let days = g.data.days[i].iter().map(|d| d.gave.mean);
        // An interval of few days may be many times wider than what was measured; the days set the scale then.
        let ends = g.estimates[i].filter(|e| e.days >= 5).and_then(|e| e.interval());
        let ends = ends.map(|(lo, hi)| [figure.possible(lo), figure.possible(hi)]);
        days.chain(ends.into_iter().flatten())
    });
    let Some(x_range) = range(values.map(shown)) else {
        canvas.text(cell.x, cell.y + CELL_HEAD + 30.0, "not known", Type::of(size::BODY).fill(theme::SOFT));
        return;
    };
    let frame =
        Frame { x: cell.x + NAMES, y: cell.y + CELL_HEAD, w: cell.w - NAMES - NUMBERS, h: ROW * groups.len() as f64 };
    let axes = Axes { frame, x: x_range, y: (0.0, 1.0) };
    x_axis(canvas, &axes, 4.0);
    for (row, group) in groups.iter().enumerate() {
        let y = frame.y + ROW * (row as f64 + 0.5);
        draw_name(canvas, &group.data.name, cell.x, y);
        draw_group(canvas, &axes, group, figure, units, y);
    }
}

/// The name left of a row about `y`: two lines where one is too short. Names often begin alike ("white foam with ..."), so what
/// does not fit is cut in the middle.
fn draw_name(canvas: &mut Canvas, name: &str, x: f64, y: f64) {
    let (room, name) = (NAMES - 16.0, lettering::safe(name, 200));
    if lettering::width(&name, size::LABEL, Weight::Regular) <= room {
        canvas.text(x, y + 8.0, &name, Type::of(size::LABEL));
    } else {
        let lines = lettering::two_lines(&name, size::NOTE, Weight::Regular, room);
        canvas.lines(x, y - 3.0, &lines, Type::of(size::NOTE), 20.0);
    }
}

fn draw_group(canvas: &mut Canvas, axes: &Axes, group: &Group, figure: Figure, units: Units, y: f64) {
    let (i, frame) = (figure.index(), axes.frame);
    let shown = |v: f64| figure.shown(v, units);
    let Some(estimate) = &group.estimates[i] else {
        let text = Type::of(size::NOTE).fill(theme::SOFT);
        canvas.text(frame.right() + 16.0, y + 7.0, "not known", text);
        return;
    };
    let numbers = if let Some((lo, hi)) = estimate.interval() {
        let ends = (figure.possible(lo), figure.possible(hi));
        let (a, b) = (axes.px(shown(ends.0)).max(frame.x), axes.px(shown(ends.1)).min(frame.right()));
        canvas.rect(Frame { x: a, y: y - 10.0, w: b - a, h: 20.0 }, Fill::Plain(theme::DATA_INTERVAL), None);
        let [value, lo, hi] = figure.with_interval(estimate.mean, ends, units);
        format!("{value}  ({lo} to {hi})")
    } else {
        format!("{}  (few days)", figure.number(estimate.mean, units))
    };
    for (j, day) in group.data.days[i].iter().enumerate() {
        // Days are spread a little up and down so that equal ones stay apart.
        let off = ((j * 7) % 5) as f64 * 3.0 - 6.0;
        dot(canvas, axes.px(shown(day.gave.mean)), y + off, 3.6, Fill::Plain(theme::SOFT), None);
    }
    dot(canvas, axes.px(shown(estimate.mean)), y, 8.5, Fill::Plain(theme::DATA), Some(Line::of(theme::PAPER, 2.5)));
    let text = lettering::fit(&numbers, size::NOTE, Weight::Regular, NUMBERS - 12.0);
    canvas.text(frame.right() + 16.0, y + 7.0, &text, Type::of(size::NOTE).tabular());
}
