//! The strokes as a table: what the right side shows when the pad's way over the section is not known.

use super::super::SheetInput;
use super::super::canvas::{Canvas, Frame, Line, Type};
use super::super::lettering::{self, Weight, wrap};
use super::super::theme::{self, size};
use super::super::units::number;
use super::facts::{Facts, Pace};

const ROW: f64 = 34.0;
const MOST_ROWS: usize = 10;
const COLUMNS: usize = 5;
/// Room between two columns at least, px.
const LEAST_GAP: f64 = 14.0;

/// Draws the table; returns the baseline for what follows.
pub(super) fn draw(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, side: Frame) -> f64 {
    let u = input.scale();
    canvas.text(side.x, side.y + 25.0, "Where the pad went is not known", Type::of(size::HEAD).bold());
    let why = if facts.strokes.is_empty() {
        "No strokes could be told apart, so there is no picture of the section and no rubbing distance.".to_owned()
    } else if let Some(off) = input.pass.sideways_m().filter(|_| input.rubbing.is_some()) {
        format!(
            "Sideways the strokes are true to ±{}\u{a0}{} only, as much as the pad is wide or more: no picture of the section, no \
             rubbing distance. After each rest it is a guess where the work goes on.",
            u.length_number(off),
            u.length_unit()
        )
    } else if input.pass.direction_deg.is_none() {
        "Data are missing since the section was begun, so it is not known how this pass lies to those before: no picture of the \
         section, no rubbing distance. A mark begins a new section."
            .to_owned()
    } else {
        "The strokes could not be laid on the section, so there is no picture of it and no rubbing distance.".to_owned()
    };
    let lines = wrap(&why, size::BODY, Weight::Regular, side.w);
    let mut y = canvas.lines(side.x, side.y + 61.0, &lines, Type::of(size::BODY).fill(theme::SOFT), 30.0) + 18.0;
    if facts.strokes.is_empty() {
        return y + 10.0;
    }
    let soft = Type::of(size::NOTE).fill(theme::SOFT).end();
    let mut table: Vec<[(String, Type); COLUMNS]> = vec![[
        ("stroke".to_owned(), soft),
        (format!("arm, {}", u.arm_speed_unit()), soft),
        ("(90 %)".to_owned(), soft),
        (input.rate_words().1.to_owned(), soft),
        (format!("spot, {}", u.temperature_unit()), soft),
    ]];
    for (stroke, pace) in facts.strokes.iter().take(MOST_ROWS) {
        let set = Type::of(size::LABEL).tabular().end();
        let strong = if pace.is_outside() { set.bold().fill(theme::ACCENT_INK) } else { set };
        let (speed, interval) = stroke.traverse_mps.map_or(("–".to_owned(), String::new()), |s| {
            let how = match pace {
                Pace::Fast => "fast ",
                Pace::Slow => "slow ",
                _ => "",
            };
            let (speed, interval) = u.arm_speed_and_interval(s, input.bands.pace_mps);
            (format!("{how}{speed}"), format!("({interval})"))
        });
        let orbit = stroke.orbit_opm.map_or("–".to_owned(), |v| number(v, 0));
        let spot = stroke.surface_c.map_or("–".to_owned(), |c| number(u.temperature(c), 1));
        table.push([
            (stroke.stroke.to_string(), set),
            (speed, strong),
            (interval, set.fill(theme::SOFT)),
            (orbit, set),
            (spot, set),
        ]);
    }
    let (ends, widths) = columns(&table, side);
    for (i, row) in table.iter().enumerate() {
        for ((text, set), (end, room)) in row.iter().zip(ends.iter().zip(widths)) {
            canvas.text(*end, y, &lettering::fit(text, set.size, set.weight, room + 0.5), *set);
        }
        if i == 0 {
            canvas.polyline(&[(side.x, y + 10.0), (side.right(), y + 10.0)], Line::of(theme::HAIR, 1.5));
            y += 4.0;
        }
        y += ROW;
    }
    let more = facts.strokes.len().saturating_sub(MOST_ROWS);
    if more > 0 {
        canvas.text(side.x, y, &format!("and {more} more in strokes.csv"), Type::of(size::NOTE).fill(theme::SOFT));
        y += ROW;
    }
    y + 14.0
}

/// Right ends of the columns and how wide they are: each as wide as what it holds, the rest shared between them. Where all of it
/// has no room the widest give way, so that none runs into the next.
fn columns(table: &[[(String, Type); COLUMNS]], side: Frame) -> ([f64; COLUMNS], [f64; COLUMNS]) {
    let mut widths = [0.0_f64; COLUMNS];
    for row in table {
        for (width, (text, set)) in widths.iter_mut().zip(row) {
            // Tabular digits may be wider or narrower than the others, by which a cut is measured.
            *width = width.max(set.width(text)).max(lettering::width(text, set.size, set.weight));
        }
    }
    let room = side.w - LEAST_GAP * (COLUMNS - 1) as f64;
    let mut widest = room;
    while widths.iter().map(|w| w.min(widest)).sum::<f64>() > room && widest > 1.0 {
        widest *= 0.98;
    }
    widths = widths.map(|w| w.min(widest));
    let gap = (side.w - widths.iter().sum::<f64>()) / (COLUMNS - 1) as f64;
    let mut right = side.x - gap;
    let ends = widths.map(|width| {
        right += gap + width;
        right
    });
    (ends, widths)
}
