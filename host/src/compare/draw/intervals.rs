//! Every figure of every group: the days as small dots, the estimate with its interval as a bar.

use super::{LONGEST, MARGIN, MOST_GROUPS, Scale, WIDTH, dot, head, x_axis};
use crate::compare::{By, Comparison, Figure, Group};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type, path_data};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;

const COLUMNS: usize = 2;
const GUTTER: f64 = 90.0;
const ROW: f64 = 46.0;
const CELL_HEAD: f64 = 78.0;
const CELL_FOOT: f64 = 70.0;
/// The names' column: the usual width, and the most it takes where names are long, px.
const NAMES: [f64; 2] = [190.0, 310.0];
/// What it leaves free at its right, px.
const NAME_GAP: f64 = 16.0;
const NUMBERS: f64 = 206.0;
/// The pairs that stand out, under a figure's title: lines at most, and from one to the next, px.
const MOST_PAIR_LINES: usize = 3;
const PAIRS_LEADING: f64 = 23.0;
/// Length of the point of a bar that goes on beyond the frame, px.
const POINT: f64 = 13.0;

/// The interval plot as PNG.
///
/// # Errors
/// When the picture cannot be made.
pub fn intervals_png(comparison: &Comparison, units: Units) -> Result<Vec<u8>, DrawingError> {
    let groups: Vec<&Group> = comparison.groups.iter().take(MOST_GROUPS).collect();
    let width = (WIDTH - 2.0 * MARGIN - GUTTER * (COLUMNS - 1) as f64) / COLUMNS as f64;
    let pairs = Figure::ALL.map(|figure| pairs(comparison, groups.len(), figure, width));
    let head_h = CELL_HEAD + PAIRS_LEADING * pairs.iter().map(|p| p.len().saturating_sub(1)).max().unwrap_or(0) as f64;
    let cell = head_h + ROW * groups.len().max(1) as f64 + CELL_FOOT;
    let rows = Figure::ALL.len().div_ceil(COLUMNS);
    let names = names_width(groups.iter().map(|g| g.data.name.as_str()));
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
    let named = if comparison.contrasts.is_empty() {
        "No two could be compared."
    } else {
        "Named pairs stand out; where none is named, none does."
    };
    let mut under = format!("{dots}; the bar is the 90 % interval of the mean, its dot the mean. {named}");
    let any_cut = |figure: &Figure| {
        scale(&groups, *figure, units).is_some_and(|x| groups.iter().any(|g| is_cut(g, *figure, units, x.range)))
    };
    if Figure::ALL.iter().any(any_cut) {
        under.push_str(" A pointed bar goes on beyond the scale.");
    }
    if comparison.groups.len() > groups.len() {
        under.push_str(&format!(" The first {MOST_GROUPS} of {} are shown.", comparison.groups.len()));
    }
    let top = head(&mut canvas, &format!("{what} compared"), &under, comparison.invented());
    for (i, figure) in Figure::ALL.into_iter().enumerate() {
        let x = MARGIN + (i % COLUMNS) as f64 * (width + GUTTER);
        let y = top + (i / COLUMNS) as f64 * cell;
        let frame = Frame { x, y, w: width, h: cell };
        draw_figure(&mut canvas, &groups, (figure, &pairs[i]), units, frame, (head_h, names));
    }
    canvas.png()
}

/// The pairs that stand out on a figure, in lines: as many of them as there is room for, and how many more.
fn pairs(all: &Comparison, groups: usize, figure: Figure, room: f64) -> Vec<String> {
    let name = |group: usize| lettering::safe(&all.groups[group].data.name, LONGEST);
    let stand_out = all.contrasts.iter().filter(|c| c.figure == figure && c.stands_out && c.a < groups && c.b < groups);
    let pairs: Vec<String> = stand_out.map(|c| format!("{} and {}", name(c.a), name(c.b))).collect();
    let lines = |shown: usize| {
        let more = pairs.len() - shown;
        let more = if more > 0 { format!("; and {more} more") } else { String::new() };
        lettering::wrap(&format!("Differ: {}{more}", pairs[..shown].join("; ")), size::NOTE, Weight::Regular, room)
    };
    let whole = (1..=pairs.len()).rev().map(lines).find(|lines| lines.len() <= MOST_PAIR_LINES);
    // Not even the first pair has room: it is cut.
    let cut = || pairs.first().map(|_| lines(1).into_iter().take(MOST_PAIR_LINES).collect());
    whole.or_else(cut).unwrap_or_default()
}

/// What a figure's axis spans, in the units shown; `None` where nothing is known.
fn scale(groups: &[&Group], figure: Figure, units: Units) -> Option<Scale> {
    let i = figure.index();
    let all_days = groups.iter().flat_map(|g| g.data.days[i].iter().map(|d| d.gave.mean));
    let (lo, hi) = all_days.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let values = groups.iter().flat_map(|g| {
        let days = g.data.days[i].iter().map(|d| d.gave.mean);
        // An interval of few days may be many times wider than what was measured; the days set the scale then.
        let ends = g.estimates[i].and_then(|e| Some((e.days, e.interval()?)));
        let ends = ends.map(|(days, ends)| (days, [figure.possible(ends.0), figure.possible(ends.1)]));
        let ends = ends.filter(|(days, ends)| fits_scale(*days, ends[1] - ends[0], hi - lo)).map(|(_, ends)| ends);
        days.chain(ends.into_iter().flatten())
    });
    Scale::of(figure, values.map(|v| figure.shown(v, units)), 4.0)
}

/// Whether the axis is made to hold an interval: one of days enough, or of a few that does not dwarf what all days span.
fn fits_scale(days: usize, interval: f64, days_span: f64) -> bool {
    days >= 5 || interval <= 2.0 * days_span
}

/// Whether a group's interval goes on beyond the axis.
fn is_cut(group: &Group, figure: Figure, units: Units, axis: (f64, f64)) -> bool {
    let shown = |v: f64| figure.shown(figure.possible(v), units);
    let interval = group.estimates[figure.index()].and_then(|e| e.interval());
    interval.is_some_and(|(lo, hi)| shown(lo) < axis.0 || shown(hi) > axis.1)
}

fn draw_figure(
    canvas: &mut Canvas,
    groups: &[&Group],
    (figure, pairs): (Figure, &[String]),
    units: Units,
    cell: Frame,
    (head_h, names): (f64, f64),
) {
    let unit = figure.unit(units);
    let title = if unit.is_empty() { figure.title().to_owned() } else { format!("{}, {unit}", figure.title()) };
    canvas.text(cell.x, cell.y + 30.0, &title, Type::of(size::HEAD).bold());
    let set = Type::of(size::NOTE).fill(theme::ACCENT_INK);
    canvas.lines(cell.x, cell.y + 58.0, pairs, set, PAIRS_LEADING);
    let Some(scale) = scale(groups, figure, units) else {
        canvas.text(cell.x, cell.y + head_h + 30.0, "not known", Type::of(size::BODY).fill(theme::SOFT));
        return;
    };
    let frame =
        Frame { x: cell.x + names, y: cell.y + head_h, w: cell.w - names - NUMBERS, h: ROW * groups.len() as f64 };
    let axes = Axes { frame, x: scale.range, y: (0.0, 1.0) };
    x_axis(canvas, &axes, scale.marks);
    for (row, group) in groups.iter().enumerate() {
        let y = frame.y + ROW * (row as f64 + 0.5);
        draw_name(canvas, &group.data.name, (cell.x, y), names);
        draw_group(canvas, &axes, group, figure, units, y);
    }
}

/// How wide the names' column is: no wider than the longest name needs in two lines, and the plot beside it can spare.
fn names_width<'a>(names: impl Iterator<Item = &'a str>) -> f64 {
    let names: Vec<String> = names.map(|name| lettering::safe(name, LONGEST)).collect();
    let [usual, most] = NAMES;
    let mut steps = (0..).map(|i| usual + 10.0 * f64::from(i)).take_while(|width| *width < most);
    let whole = |width: &f64| {
        let lines = |name: &String| lettering::wrap(name, size::NOTE, Weight::Regular, width - NAME_GAP);
        names.iter().map(lines).all(|lines| lines.len() <= 2 && !lines.iter().any(|line| line.ends_with('…')))
    };
    steps.find(whole).unwrap_or(most)
}

/// The name left of a row about `y`: two lines where one is too short. Names often begin alike ("white foam with ..."), so what
/// does not fit is cut in the middle.
fn draw_name(canvas: &mut Canvas, name: &str, (x, y): (f64, f64), names: f64) {
    let (room, name) = (names - NAME_GAP, lettering::safe(name, LONGEST));
    if lettering::width(&name, size::LABEL, Weight::Regular) <= room {
        canvas.text(x, y + 8.0, &name, Type::of(size::LABEL));
    } else {
        let lines = lettering::two_lines(&name, size::NOTE, Weight::Regular, room);
        canvas.lines(x, y + 7.0 - 10.0 * (lines.len() as f64 - 1.0), &lines, Type::of(size::NOTE), 20.0);
    }
}

/// An interval's bar; where it goes on beyond the frame it is pointed instead of square, for that end is not the interval's.
fn bar(canvas: &mut Canvas, frame: Frame, (lo, hi): (f64, f64), y: f64) {
    let (a, b) = (lo.max(frame.x), hi.min(frame.right()));
    let (left, right) = (if lo < frame.x { POINT } else { 0.0 }, if hi > frame.right() { POINT } else { 0.0 });
    let (top, bottom) = (y - 10.0, y + 10.0);
    let outline = [(a + left, top), (b - right, top), (b, y), (b - right, bottom), (a + left, bottom), (a, y)];
    canvas.path(&path_data(&outline, true), Fill::Plain(theme::DATA_INTERVAL), None);
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
        bar(canvas, frame, (axes.px(shown(ends.0)), axes.px(shown(ends.1))), y);
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
    let text = lettering::fit(&numbers, size::NOTE, Weight::Regular, NUMBERS - 16.0);
    canvas.text(frame.right() + 16.0, y + 7.0, &text, Type::of(size::NOTE).tabular());
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four days from 3.3 to 7.6 with an interval of 3.6 to 8.4: pointed at the end of an axis that had room for it.
    #[test]
    fn a_narrow_interval_of_few_days_is_within_its_scale() {
        assert!(fits_scale(4, 8.4 - 3.6, 7.6 - 3.3));
        assert!(!fits_scale(4, 50.0, 7.6 - 3.3) && fits_scale(5, 50.0, 7.6 - 3.3));
        assert!(!fits_scale(3, 1.0, 0.0));
    }

    #[test]
    fn a_long_name_gets_room_before_it_is_cut() {
        assert_eq!(names_width(["Ash", "Birch"].into_iter()), NAMES[0]);
        let long = "machine 2 (orbital 15 mm, 125 mm pad)";
        let width = names_width(["Ash", long].into_iter());
        assert!(width > NAMES[0] && width < NAMES[1], "{width}");
        let lines = lettering::two_lines(long, size::NOTE, Weight::Regular, width - NAME_GAP);
        assert_eq!(lines.join(" "), long);
        assert_eq!(names_width([long.repeat(5).as_str()].into_iter()), NAMES[1], "the plot keeps its room");
    }
}
