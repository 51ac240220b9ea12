//! The section seen from above: rubbing distance in contour steps, the strokes over it, and what was not reached.

use super::super::SheetInput;
use super::super::canvas::{Canvas, Fill, Frame, Hatching, Line, Type, path_data};
use super::super::lettering::wrap;
use super::super::theme::{self, size};
use super::super::units::Scale;
use super::super::units::number;
use super::drawn::{Drawn, lettered};
use super::facts::{Facts, Pace};
use super::furniture::nice_step;
use super::words;
use crate::analysis::TrackPoint;
use crate::analysis::rubbing::RubbingMap;
use contour::ContourBuilder;

/// Islands smaller than this are ripple of the picture, not of the work.
const SPECK_PX2: f64 = 260.0;
const MOST_HEIGHT: f64 = 460.0;

/// From section coordinates to px.
#[derive(Clone, Copy, Debug)]
struct View {
    frame: Frame,
    middle_m: (f64, f64),
    px_per_m: f64,
}

impl View {
    fn px(&self, x_m: f64, y_m: f64) -> (f64, f64) {
        (
            self.frame.x + self.frame.w / 2.0 + (x_m - self.middle_m.0) * self.px_per_m,
            self.frame.y + self.frame.h / 2.0 - (y_m - self.middle_m.1) * self.px_per_m,
        )
    }
}

/// Draws the map; returns the baseline for what follows.
pub(super) fn draw(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, map: &RubbingMap, side: Frame) -> f64 {
    let u = input.scale();
    let (title, unit) = if map.distance_m.is_some() {
        ("Rubbing distance", format!("{} of pad over each point", u.long_length_word()))
    } else {
        ("Dwell", "seconds (pad speed not known)".to_owned())
    };
    let set = Type::of(size::HEAD).bold();
    canvas.text(side.x, side.y + 25.0, title, set);
    canvas.text(side.x + set.width(title) + 10.0, side.y + 25.0, &unit, Type::of(size::LABEL).fill(theme::SOFT));

    // Room on the left and below for the section's size.
    let lo = map.origin_m;
    let hi = (lo.0 + (map.nx as f64 - 1.0) * map.cell_m, lo.1 + (map.ny as f64 - 1.0) * map.cell_m);
    let (w_m, h_m) = (hi.0 - lo.0, hi.1 - lo.1);
    let px_per_m = ((side.w - 44.0) / w_m).min(MOST_HEIGHT / h_m);
    let frame = Frame { x: side.x + 38.0, y: side.y + 44.0, w: side.w - 44.0, h: h_m * px_per_m };
    let view = View { frame, middle_m: ((lo.0 + hi.0) / 2.0, (lo.1 + hi.1) / 2.0), px_per_m };

    let section = map.worked_is_section.then(|| {
        let (x0, y1) = view.px(map.worked.x0_m, map.worked.y0_m);
        let (x1, y0) = view.px(map.worked.x1_m, map.worked.y1_m);
        Frame { x: x0, y: y0, w: x1 - x0, h: y1 - y0 }
    });
    if let Some(section) = section {
        canvas.rect(section, Fill::Hatch(Hatching::Unknown), None);
    }
    let levels = fill_steps(canvas, map, &view, u);
    if let Some(section) = section {
        canvas.rect(section, Fill::None, Some(Line::of(theme::INK, 2.0).dashed(9.0, 6.0)));
    }
    let mut drawn = Drawn::default();
    if let Some(s) = section {
        // Labels keep off the dashed edge.
        drawn.add_line(&[(s.x, s.y), (s.right(), s.y), (s.right(), s.bottom()), (s.x, s.bottom()), (s.x, s.y)]);
    }
    strokes(canvas, facts, &input.pass.track, &view, &mut drawn);
    unreached(canvas, map, &view, &mut drawn);
    let labelled = label_steps(canvas, &levels, &view, &mut drawn);
    below(canvas, input, map, &view, side, if labelled < levels.len() { &levels } else { &[] })
}

struct Level {
    value: f64,
    label: String,
    rings: Vec<Vec<(f64, f64)>>,
}

/// Fills the contour steps, light to dark, and hands out their lines.
fn fill_steps(canvas: &mut Canvas, map: &RubbingMap, view: &View, u: Scale) -> Vec<Level> {
    // What the pad's face reached: an exact distance, so the edge is as smooth as the way itself.
    let edge_cap = map.pad_radius_m + 2.0 * map.cell_m;
    let depth: Vec<f64> = map.nearest_m.iter().map(|d| -d.min(edge_cap)).collect();
    if let Some(reach) = rings(map, view, &depth, &[-map.pad_radius_m]).pop() {
        let data: String = reach.iter().map(|ring| path_data(ring, true)).collect();
        canvas.path(&data, Fill::Plain(theme::MAP_STEPS[0]), None);
    }
    let convert = if map.distance_m.is_some() { u.long_length(1.0) } else { 1.0 };
    let values = map.shown();
    let most = values.iter().copied().fold(0.0, f64::max) * convert;
    let step = nice_step(most / (theme::MAP_STEPS.len() as f64 - 0.4));
    let shown: Vec<f64> = (1..theme::MAP_STEPS.len()).map(|i| i as f64 * step).filter(|v| *v < most).collect();
    let thresholds: Vec<f64> = shown.iter().map(|v| v / convert).collect();
    let decimals = usize::from(step < 1.0);
    let all = rings(map, view, values, &thresholds);
    let levels: Vec<Level> = shown
        .iter()
        .zip(all)
        .map(|(v, rings)| Level { value: *v, label: number(*v, decimals), rings })
        .filter(|level| !level.rings.is_empty())
        .collect();
    for (i, level) in levels.iter().enumerate() {
        let data: String = level.rings.iter().map(|ring| path_data(ring, true)).collect();
        canvas.path(&data, Fill::Plain(theme::MAP_STEPS[i + 1]), Some(Line::of("#ffffff", 0.7)));
    }
    levels
}

/// Closed lines of a field at some thresholds, px.
fn rings(map: &RubbingMap, view: &View, field: &[f64], thresholds: &[f64]) -> Vec<Vec<Vec<(f64, f64)>>> {
    // The library counts from a cell's corner; values stand at cells' middles.
    let to_px =
        |x: f64, y: f64| view.px(map.origin_m.0 + (x - 0.5) * map.cell_m, map.origin_m.1 + (y - 0.5) * map.cell_m);
    let builder = ContourBuilder::new(map.nx, map.ny, true);
    let Ok(contours) = builder.contours(field, thresholds) else { return Vec::new() };
    contours
        .iter()
        .map(|contour| {
            let polygons = contour.geometry().0.iter();
            polygons
                .flat_map(|p| core::iter::once(p.exterior()).chain(p.interiors()))
                .map(|ring| ring.0.iter().map(|c| to_px(c.x, c.y)).collect::<Vec<_>>())
                .filter(|ring| area(ring) > SPECK_PX2)
                .collect()
        })
        .collect()
}

/// Area inside a closed line (shoelace formula).
fn area(ring: &[(f64, f64)]) -> f64 {
    let twice: f64 = ring.windows(2).map(|w| w[0].0 * w[1].1 - w[1].0 * w[0].1).sum();
    twice.abs() / 2.0
}

fn strokes(canvas: &mut Canvas, facts: &Facts, track: &[TrackPoint], view: &View, drawn: &mut Drawn) {
    let good = |p: &&TrackPoint| p.t_s.is_finite() && p.x_m.is_finite() && p.y_m.is_finite();
    let points: Vec<&TrackPoint> = track.iter().filter(good).collect();
    let way = |from: f64, to: f64| {
        spaced(points.iter().filter(|p| p.t_s >= from - 1e-6 && p.t_s <= to + 1e-6).map(|p| view.px(p.x_m, p.y_m)))
    };
    // The whole way, broken where points are missing, then the strokes outside the band over it.
    for run in points.chunk_by(|a, b| b.t_s - a.t_s <= 0.5) {
        let line = spaced(run.iter().map(|p| view.px(p.x_m, p.y_m)));
        drawn.add_line(&coarse(&line));
        canvas.polyline(&line, Line::of(theme::PAPER, 6.5));
        canvas.polyline(&line, Line::of(theme::INK, 2.4));
    }
    for (s, pace) in &facts.strokes {
        let line = way(s.start_s, s.end_s);
        if pace.is_outside() {
            canvas.polyline(&line, Line::of(theme::PAPER, 9.5));
            canvas.polyline(&line, Line::of(theme::ACCENT, 6.0).dashed(14.0, 5.0));
        }
        arrow_on(canvas, &line, if pace.is_outside() { theme::ACCENT } else { theme::INK });
    }
    let lines: Vec<Vec<(f64, f64)>> = facts.strokes.iter().map(|(s, _)| way(s.start_s, s.end_s)).collect();
    let mut tags = Drawn::default();
    for (i, ((s, pace), line)) in facts.strokes.iter().zip(&lines).enumerate() {
        let number = s.stroke.to_string();
        let full = match pace {
            Pace::Fast => format!("{number} fast"),
            Pace::Slow => format!("{number} slow"),
            _ => number.clone(),
        };
        let ink = if pace.is_outside() { theme::ACCENT_INK } else { theme::INK };
        let set = Type::of(size::NOTE).bold().middle().fill(ink);
        // The word must not hide a neighbour's way; a number may, for lanes can be narrower than it.
        let mut clear = tags.clone();
        lines.iter().enumerate().filter(|(j, _)| *j != i).for_each(|(_, other)| clear.add_line(&coarse(other)));
        let tag = |text: &str| tag_spots(line, (set.width(text) / 2.0 + 7.0).max(14.0));
        let place = tag(&full).into_iter().find(|f| clear.is_free(f)).map(|f| (f, &full));
        let place = place.or_else(|| tag(&number).into_iter().find(|f| tags.is_free(f)).map(|f| (f, &number)));
        let Some((frame, text)) = place else { continue };
        canvas.path(&pill(frame), Fill::Plain(theme::PAPER), Some(Line::of(set.fill, 1.8)));
        canvas.text(frame.x + frame.w / 2.0, frame.y + 21.0, text, set);
        tags.add(frame);
        drawn.add(frame);
    }
}

/// Where a tag so wide can sit on a stroke: on its beginning, grown inward, off the turn, or further along its first half.
fn tag_spots(line: &[(f64, f64)], half: f64) -> Vec<Frame> {
    let (Some(first), Some(last)) = (line.first(), line.last()) else { return Vec::new() };
    let (dx, dy) = (last.0 - first.0, last.1 - first.1);
    let length = dx.hypot(dy).max(1.0);
    let inward = dx / length * (half - 14.0);
    let steps = (0..).map(|i| 10.0 * f64::from(i)).take_while(|along| *along <= 0.4 * length);
    let at = steps.map(|along| (first.0 + dx * along / length + inward, first.1 + dy * along / length));
    at.map(|(x, y)| Frame { x: x - half, y: y - 14.0, w: 2.0 * half, h: 28.0 }).collect()
}

/// Every sixth point of a line and its last: enough to keep labels off it.
fn coarse(line: &[(f64, f64)]) -> Vec<(f64, f64)> {
    line.iter().step_by(6).chain(line.last()).copied().collect()
}

/// Points at least a px and a half apart; the last one always.
fn spaced(points: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    let mut last = None;
    for p in points {
        last = Some(p);
        if out.last().is_none_or(|q| (p.0 - q.0).hypot(p.1 - q.1) >= 1.5) {
            out.push(p);
        }
    }
    if let Some(p) = last
        && out.last() != Some(&p)
    {
        out.push(p);
    }
    out
}

fn pill(f: Frame) -> String {
    let r = f.h / 2.0;
    format!(
        "M{:.2} {:.2}h{:.2}a{r} {r} 0 0 1 0 {:.2}h{:.2}a{r} {r} 0 0 1 0 {:.2}z",
        f.x + r,
        f.y,
        f.w - f.h,
        f.h,
        f.h - f.w,
        -f.h
    )
}

/// An arrow head in the middle of a line.
fn arrow_on(canvas: &mut Canvas, line: &[(f64, f64)], colour: &'static str) {
    let middle = line.len() / 2;
    let (Some(&at), Some(&from)) = (line.get(middle), line.get(middle.saturating_sub(3))) else { return };
    let (dx, dy) = (at.0 - from.0, at.1 - from.1);
    let length = dx.hypot(dy);
    if length < 1e-6 {
        return;
    }
    let (ux, uy) = (dx / length, dy / length);
    let tip = (at.0 + 11.0 * ux, at.1 + 11.0 * uy);
    let wing = |side: f64| (at.0 - 7.0 * ux + side * 8.5 * uy, at.1 - 7.0 * uy - side * 8.5 * ux);
    canvas.path(
        &path_data(&[tip, wing(1.0), wing(-1.0)], true),
        Fill::Plain(colour),
        Some(Line::of(theme::PAPER, 1.5)),
    );
}

/// Names the largest part of the section that the pad did not reach.
fn unreached(canvas: &mut Canvas, map: &RubbingMap, view: &View, drawn: &mut Drawn) {
    if map.covered_share().is_none_or(|share| share > 0.95) {
        return;
    }
    // Sums per ninth of the section; the corner with the most bare cells gets the words.
    let (w, h) = (map.worked.x1_m - map.worked.x0_m, map.worked.y1_m - map.worked.y0_m);
    let mut sums = [(0.0, 0.0, 0u32); 9];
    for cell in 0..map.nx * map.ny {
        let x = map.origin_m.0 + (cell % map.nx) as f64 * map.cell_m;
        let y = map.origin_m.1 + (cell / map.nx) as f64 * map.cell_m;
        let (fx, fy) = ((x - map.worked.x0_m) / w, (y - map.worked.y0_m) / h);
        if (0.0..1.0).contains(&fx) && (0.0..1.0).contains(&fy) && map.nearest_m[cell] > map.pad_radius_m {
            let slot = &mut sums[(fy * 3.0) as usize * 3 + (fx * 3.0) as usize];
            *slot = (slot.0 + x, slot.1 + y, slot.2 + 1);
        }
    }
    let most = sums.iter().max_by_key(|s| s.2).filter(|s| s.2 > 0);
    if let Some((x, y, n)) = most {
        let (x, y) = view.px(x / f64::from(*n), y / f64::from(*n));
        // Kept inside the dashed edge.
        let (x0, y0) = view.px(map.worked.x0_m, map.worked.y1_m);
        let (x1, y1) = view.px(map.worked.x1_m, map.worked.y0_m);
        let (x, y) = (x.clamp(x0 + 64.0, (x1 - 64.0).max(x0 + 64.0)), y.clamp(y0 + 18.0, (y1 - 18.0).max(y0 + 18.0)));
        let set = Type::of(size::NOTE).bold().halo();
        let page = Frame { x: x0, y: y0, w: x1 - x0, h: y1 - y0 };
        let spots = |w: f64| {
            let heights = [0.0, -14.0, 14.0, -28.0, 28.0];
            heights.iter().flat_map(|dy| [0.5, 0.9, 0.1].map(|share| (x - share * w, y + 7.0 + dy))).collect()
        };
        drawn.label(canvas, page, &["not reached".to_owned()], set, spots);
    }
}

/// Writes each step's figure on its own line, where nothing else is; returns how many found a place.
fn label_steps(canvas: &mut Canvas, levels: &[Level], view: &View, drawn: &mut Drawn) -> usize {
    let mut labelled = 0;
    let set = Type::of(size::NOTE).middle().halo();
    let f = view.frame;
    for level in levels.iter().rev() {
        debug_assert!(level.value > 0.0);
        let spots = level.rings.iter().filter(|ring| ring.len() > 24).flat_map(|ring| ring.iter().step_by(3).copied());
        let inside = spots.filter(|p| p.0 > f.x + 16.0 && p.0 < f.right() - 16.0);
        let framed = inside.map(|(x, y)| ((x, y + 7.0), lettered((x, y + 7.0), &level.label, &set)));
        let best = framed.map(|(at, frame)| (drawn.room(&frame), at, frame)).max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((room, (x, y), frame)) = best
            && room > 5.0
        {
            canvas.text(x, y, &level.label, set);
            drawn.add(frame);
            labelled += 1;
        }
    }
    labelled
}

/// Sizes and explanations under the map; returns the next baseline.
fn below(
    canvas: &mut Canvas,
    input: &SheetInput<'_>,
    map: &RubbingMap,
    view: &View,
    side: Frame,
    scale: &[Level],
) -> f64 {
    let u = input.scale();
    let set = Type::of(size::NOTE).fill(theme::SOFT);
    let y = view.frame.bottom() + 28.0;
    let mut x = side.x;
    if map.worked_is_section {
        canvas.polyline(&[(x, y - 6.0), (x + 40.0, y - 6.0)], Line::of(theme::INK, 2.0).dashed(9.0, 6.0));
        let (w, h) = (map.worked.x1_m - map.worked.x0_m, map.worked.y1_m - map.worked.y0_m);
        let text = format!("section {} × {} {}", u.length_number(w), u.length_number(h), u.length_unit());
        canvas.text(x + 50.0, y, &text, set);
        x += 50.0 + set.width(&text) + 36.0;
    }
    // A bar as long as the pad is wide: the picture's scale in the thing that did the work.
    let bar = 2.0 * map.pad_radius_m * view.px_per_m;
    canvas.polyline(&[(x, y - 6.0), (x + bar, y - 6.0)], Line::of(theme::INK, 4.0));
    let pad = format!("pad {} {}", u.length_number(2.0 * map.pad_radius_m), u.length_unit());
    canvas.text(x + bar + 10.0, y, &pad, set);
    let mut y = y;
    if !scale.is_empty() {
        // Not every step could be labelled where it is: the steps in a row.
        y += 32.0;
        let unit = if map.distance_m.is_some() { u.long_length_unit() } else { "s" };
        let bounds: Vec<&str> = core::iter::once("0").chain(scale.iter().map(|l| l.label.as_str())).collect();
        let half = bounds.iter().map(|b| 0.5 * set.width(b) + 5.0).fold(15.0, f64::max);
        let w = 28.0 + 2.0 * half;
        for (i, bound) in bounds.into_iter().enumerate() {
            let x = side.x + 10.0 + i as f64 * w;
            canvas.text(x, y, bound, set.fill(theme::INK).middle());
            let step = Frame { x: x + half, y: y - 17.0, w: w - 2.0 * half, h: 20.0 };
            canvas.rect(step, Fill::Plain(theme::MAP_STEPS[i]), Some(Line::of(theme::SOFT, 1.0)));
        }
        canvas.text(
            side.x + 10.0 + scale.len() as f64 * w + w - 8.0,
            y,
            &format!("more, {unit}"),
            set.fill(theme::INK),
        );
    }
    let lines = wrap(&words::caption(input, map), set.size, set.weight, side.w);
    canvas.lines(side.x, y + 30.0, &lines, set, 25.0) + 22.0
}
