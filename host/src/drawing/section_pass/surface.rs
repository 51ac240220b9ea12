//! The surface strip. The thermometer looks at one side of the pad: in one stroke direction its spot trails and sees the paint
//! just worked, in the other it leads and sees paint not yet touched, so neighbouring strokes can differ by 10 K. The strip
//! draws the two differently and names them, so that nobody takes the swing down for a panel that has cooled.

use plotters::element::PathElement;

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type, path_data};
use super::super::theme::{self, size};
use super::facts::{Came, Facts, LOOK_AHEAD_S};
use super::furniture::{Tick, beyond, first_that_fits, flags, furniture, head, ribbon, runs, stroke, thin, ticks};
use crate::guidance::WarningKind;

pub(super) fn draw(
    canvas: &mut Canvas,
    input: &SheetInput<'_>,
    facts: &Facts,
    plot: Frame,
    with_ribbon: bool,
) -> Result<(), DrawingError> {
    let u = input.scale();
    let limit = input.bands.rise_limit_k.filter(|k| k.is_finite());
    let rises = || facts.rows.iter().filter_map(|r| r.surface_rise_k).filter(|k| k.is_finite());
    let top = rises().fold(limit.unwrap_or(2.0), f64::max).max(2.0);
    let bottom = rises().fold(0.0, f64::min);
    let room = top - bottom;
    let axes = Axes { frame: plot, x: facts.span_s, y: (bottom - 0.06 * room, top + 0.16 * room) };
    let convert = u.rise(1.0);
    let mut marks: Vec<Tick> = ticks(&axes, &limit.map_or(vec![], |k| vec![k]), convert, 0);
    if let (Some(k), Some(mark)) = (limit, marks.first_mut()) {
        mark.label = u.rise_number(k);
    }
    furniture(canvas, facts, &axes, None, &marks)?;
    let hint = if with_ribbon {
        "thick: spot trails the pad, sees worked paint · thin: it leads, sees paint not yet touched"
    } else {
        "which side of the pad the spot looks at is not known: a swing down need not be cooling"
    };
    head(canvas, plot, "Surface rise", u.rise_unit(), hint);
    if let Some(k) = limit {
        let y = axes.py(k);
        canvas.polyline(&[(plot.x, y), (plot.right(), y)], Line::of(theme::INK, 2.4).dashed(12.0, 6.0));
        canvas.text(plot.right() + 12.0, y + 7.0, "limit", Type::of(size::LABEL).bold());
    }
    let runs: Vec<_> =
        runs(facts, |r| r.surface_rise_k.filter(|k| k.is_finite())).iter().map(|r| thin(r, &axes)).collect();
    if let Some(k) = limit {
        runs.iter().for_each(|run| beyond(canvas, &axes, run, k, true));
    }
    // Cut where the spot's side changes; neighbouring pieces share a point, so the line stays whole.
    let side =
        |t: f64| facts.strokes.iter().find(|(s, _)| t >= s.start_s && t <= s.end_s).and_then(|(s, _)| s.spot_trails);
    canvas.chart(&axes, 0.0, |area| {
        for run in &runs {
            let mut from = 0;
            for i in 1..=run.len() {
                if i == run.len() || side(run[i].0) != side(run[from].0) {
                    let style = match side(run[from].0) {
                        Some(true) => stroke(theme::DATA, 5.0),
                        Some(false) => stroke(theme::DATA, 1.8),
                        None if facts.side_known() => stroke("#7d8790", 1.8),
                        None => stroke(theme::DATA, 3.0),
                    };
                    let piece = run[from..(i + 1).min(run.len())].to_vec();
                    if piece.len() > 1 {
                        area.draw(&PathElement::new(piece, style))?;
                    }
                    from = i;
                }
            }
        }
        Ok(())
    })?;
    if with_ribbon {
        ribbon(canvas, facts, &axes, |s, room| {
            let set = Type::of(size::NOTE);
            let fits = |long: &str, short: &str| first_that_fits(&[long.to_owned(), short.to_owned()], set, room);
            match s.spot_trails {
                Some(true) => (fits("spot trails", "trails"), Fill::Plain("#d9dee2"), theme::INK),
                Some(false) => (fits("spot leads", "leads"), Fill::Plain(theme::PAPER), theme::SOFT),
                None => (fits("side not known", "?"), Fill::Plain(theme::PAPER), theme::SOFT),
            }
        });
    }
    warnings(canvas, facts, &axes, limit);
    Ok(())
}

/// Room that a label's height needs beside a line.
const LINE_ROOM: f64 = 24.0;

fn warnings(canvas: &mut Canvas, facts: &Facts, axes: &Axes, limit: Option<f64>) {
    let f = axes.frame;
    let rise_at = |t: f64| {
        let near = facts.rows.iter().filter(|r| r.surface_rise_k.is_some());
        near.min_by(|a, b| (a.t_s - t).abs().total_cmp(&(b.t_s - t).abs())).and_then(|r| r.surface_rise_k)
    };
    flags(canvas, facts, axes, &[WarningKind::HeatBlind]);
    let set = Type::of(size::LABEL).bold().halo().fill(theme::ACCENT_INK);
    // Marks of one kind look alike: the first one's words stand for all, but what became of each is its own. Nothing is written
    // over another.
    let mut named: Vec<WarningKind> = Vec::new();
    let mut taken: Vec<Frame> = Vec::new();
    for w in facts.warned(&[WarningKind::HeatSoon, WarningKind::HeatOver]) {
        let Some(rise) = rise_at(w.t_s) else { continue };
        let (x, y) = (axes.px(w.t_s), axes.py(rise));
        let first = !named.contains(&w.kind);
        let label = if w.kind == WarningKind::HeatSoon {
            // What the warning expected ten seconds on; where it gave no figure, the limit itself.
            if let Some(k) = w.value.or(limit) {
                let end = (axes.px(w.t_s + LOOK_AHEAD_S), axes.py(k));
                canvas.clipped(f, |canvas| {
                    canvas.polyline(&[(x, y), end], Line::of(theme::ACCENT, 2.4).dashed(2.5, 6.0))
                });
            }
            mark(canvas, &[(x - 11.0, y + 9.0), (x + 11.0, y + 9.0), (x, y - 11.0)]);
            let words = match (first, facts.came(w).map(Came::words)) {
                (true, Some(came)) => format!("heat soon: {came}"),
                (true, None) => "heat soon".to_owned(),
                (false, Some(came)) => came,
                (false, None) => continue,
            };
            // Not on the limit's own line.
            let line = limit.map(|k| axes.py(k)).filter(|line| (y - line).abs() < LINE_ROOM);
            let at = (x - 17.0, line.map_or(y + 2.0, |line| line + LINE_ROOM));
            Some((at, words))
        } else {
            mark(canvas, &[(x - 9.0, y - 9.0), (x + 9.0, y - 9.0), (x + 9.0, y + 9.0), (x - 9.0, y + 9.0)]);
            first.then(|| ((x - 15.0, y - 14.0), "over the limit".to_owned()))
        };
        let room = label.and_then(|(at, words)| place(canvas, f, at, &words, set, &taken));
        if let Some(room) = room {
            taken.push(room);
            named.push(w.kind);
        }
    }
}

fn mark(canvas: &mut Canvas, points: &[(f64, f64)]) {
    canvas.path(&path_data(points, true), Fill::Plain(theme::ACCENT), Some(Line::of(theme::PAPER, 2.0)));
}

/// A label left of a mark, or right of it where there is no room; not where one of `taken` is. Gives the room it took.
fn place(canvas: &mut Canvas, frame: Frame, at: (f64, f64), text: &str, set: Type, taken: &[Frame]) -> Option<Frame> {
    let y = at.1.clamp(frame.y + 18.0, frame.bottom() - 6.0);
    let width = set.width(text);
    let apart = |room: &Frame, other: &Frame| {
        room.right() < other.x || other.right() < room.x || room.bottom() < other.y || other.bottom() < room.y
    };
    let room = [at.0 - width, at.0 + 34.0]
        .map(|x| Frame { x, y: y - set.size, w: width, h: 1.3 * set.size })
        .into_iter()
        .filter(|room| room.x > frame.x && room.right() < frame.right())
        .find(|room| taken.iter().all(|other| apart(room, other)))?;
    canvas.text(room.x, y, text, set);
    Some(room)
}
