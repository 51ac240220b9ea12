//! The surface strip. The thermometer looks at one side of the pad: in one stroke direction its spot trails and sees the paint
//! just worked, in the other it leads and sees paint that was not: worked a stroke or a pass ago, or not yet. So neighbouring
//! strokes can differ by 10 K. The strip draws the two differently and names them, so that nobody takes the swing down for a panel
//! that has cooled.

use plotters::element::PathElement;

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type, path_data};
use super::super::theme::{self, size};
use super::drawn::{Drawn, between};
use super::facts::{Came, Facts, LOOK_AHEAD_S};
use super::furniture::{
    Tick, beyond, first_that_fits, flags, furniture, head, name_holes, ribbon, runs, stroke, thin, ticks,
};
use crate::guidance::{Warning, WarningKind};

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
        mark.label = u.rise_limit_number(k);
    }
    furniture(canvas, facts, &axes, None, &marks)?;
    let hint = if with_ribbon {
        "thick: spot trails the pad, sees worked paint · thin: it leads, sees paint not just worked"
    } else {
        "which side of the pad the spot looks at is not known: a swing down need not be cooling"
    };
    head(canvas, plot, "Surface rise", u.rise_unit(), hint);
    let mut drawn = Drawn::default();
    if let Some(k) = limit {
        let y = axes.py(k);
        let line = [(plot.x, y), (plot.right(), y)];
        canvas.polyline(&line, Line::of(theme::INK, 2.4).dashed(12.0, 6.0));
        drawn.add_line(&line);
        canvas.text(plot.right() + 12.0, y + 7.0, "limit", Type::of(size::LABEL).bold());
    }
    let runs: Vec<_> =
        runs(facts, |r| r.surface_rise_k.filter(|k| k.is_finite())).iter().map(|r| thin(r, &axes)).collect();
    if let Some(k) = limit {
        runs.iter().for_each(|run| beyond(canvas, &axes, run, k, true, &mut drawn));
    }
    for run in &runs {
        drawn.add_line(&run.iter().map(|(t, k)| (axes.px(*t), axes.py(*k))).collect::<Vec<_>>());
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
    warnings(canvas, facts, &axes, limit, &mut drawn);
    name_holes(canvas, facts, &axes, &mut drawn);
    Ok(())
}

/// Marks where heat was warned of, and a label beside each of them where one can stand. Marks of one kind look alike: the first
/// one's words stand for all, but what became of each is its own.
fn warnings(canvas: &mut Canvas, facts: &Facts, axes: &Axes, limit: Option<f64>, drawn: &mut Drawn) {
    let f = axes.frame;
    let rise_at = |t: f64| {
        let near = facts.rows.iter().filter(|r| r.surface_rise_k.is_some());
        near.min_by(|a, b| (a.t_s - t).abs().total_cmp(&(b.t_s - t).abs())).and_then(|r| r.surface_rise_k)
    };
    let given: Vec<(&Warning, (f64, f64))> = facts
        .warned(&[WarningKind::HeatSoon, WarningKind::HeatOver])
        .filter_map(|w| Some((w, (axes.px(w.t_s), axes.py(rise_at(w.t_s)?)))))
        .collect();
    // All marks before any label.
    for (w, (x, y)) in &given {
        // What the warning expected ten seconds on; where it gave no figure, the limit itself.
        if let Some(k) = w.value.or(limit).filter(|_| w.kind == WarningKind::HeatSoon) {
            let line = [(*x, *y), (axes.px(w.t_s + LOOK_AHEAD_S), axes.py(k))];
            canvas.clipped(f, |canvas| canvas.polyline(&line, Line::of(theme::ACCENT, 2.4).dashed(2.5, 6.0)));
            drawn.add_line(&line);
        }
    }
    for (w, (x, y)) in &given {
        if w.kind == WarningKind::HeatSoon {
            mark(canvas, &[(x - 11.0, y + 9.0), (x + 11.0, y + 9.0), (*x, y - 11.0)]);
        } else {
            mark(canvas, &[(x - 9.0, y - 9.0), (x + 9.0, y - 9.0), (x + 9.0, y + 9.0), (x - 9.0, y + 9.0)]);
        }
        drawn.add(Frame { x: x - 11.0, y: y - 11.0, w: 22.0, h: 20.0 });
    }
    flags(canvas, facts, axes, &[WarningKind::HeatBlind], drawn);
    let set = Type::of(size::LABEL).bold().halo().fill(theme::ACCENT_INK);
    let mut named: Vec<WarningKind> = Vec::new();
    let marks: Vec<(f64, f64)> = given.iter().map(|(_, at)| *at).collect();
    for (w, at) in given {
        let first = !named.contains(&w.kind);
        let wordings = match (w.kind, facts.came(w).map(Came::words)) {
            (WarningKind::HeatSoon, Some(came)) if first => vec![format!("heat soon: {came}"), "heat soon".to_owned()],
            (WarningKind::HeatSoon, None) if first => vec!["heat soon".to_owned()],
            (WarningKind::HeatSoon, Some(came)) => vec![came],
            (WarningKind::HeatOver, _) if first => vec!["over the limit".to_owned()],
            _ => continue,
        };
        if drawn.label(canvas, f, &wordings, set, |w| beside(at, w, &marks)).is_some() {
            named.push(w.kind);
        }
    }
}

fn mark(canvas: &mut Canvas, points: &[(f64, f64)]) {
    canvas.path(&path_data(points, true), Fill::Plain(theme::ACCENT), Some(Line::of(theme::PAPER, 2.0)));
}

/// Where a label of a width can stand beside a mark: left or right of it, as near to its height as can be, then over and under it;
/// nowhere where it would seem to be another mark's.
fn beside((x, y): (f64, f64), w: f64, marks: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let heights = [0.0, -12.0, 12.0, -24.0, 24.0, -36.0, 36.0, -48.0, 48.0, -60.0, 60.0];
    let level = heights.iter().flat_map(|dy| [x - 18.0 - w, x + 18.0].map(|x| (x, y + 7.0 + dy)));
    let over = heights[3..].iter().flat_map(|dy| [0.5, 0.85, 0.15].map(|share| (x - share * w, y + 7.0 + dy)));
    let is_own = |at: &(f64, f64)| {
        let label = Frame { x: at.0, y: at.1 - 0.75 * size::LABEL, w, h: 0.95 * size::LABEL };
        let to = |(x, y): (f64, f64)| between(&label, &Frame { x, y, w: 0.0, h: 0.0 });
        marks.iter().all(|other| *other == (x, y) || to(*other) > to((x, y)))
    };
    level.chain(over).filter(is_own).collect()
}
