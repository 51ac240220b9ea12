//! What the strips have in common: heads, axes, bands, ribbons, flags.

use plotters::element::{PathElement, Rectangle};
use plotters::style::{RGBColor, ShapeStyle};

use super::super::canvas::{Axes, Canvas, DrawingError, FINE, Fill, Frame, Hatching, Line, Type, path_data};
use super::super::theme::{self, size};
use super::super::units::number;
use super::drawn::Drawn;
use super::facts::Facts;
use crate::analysis::{SeriesRow, Stroke};
use crate::guidance::{Band, WarningKind};

/// Height of a ribbon.
pub(super) const RIBBON: f64 = 30.0;

pub(super) fn head(canvas: &mut Canvas, plot: Frame, name: &str, unit: &str, hint: &str) {
    let set = Type::of(size::HEAD).bold();
    let y = plot.y - 13.0;
    canvas.text(super::LEFT, y, name, set);
    if !unit.is_empty() {
        let x = super::LEFT + set.width(name) + 9.0;
        canvas.text(x, y, unit, Type::of(size::HEAD).fill(theme::SOFT));
    }
    canvas.text(plot.right(), y, hint, Type::of(size::NOTE).fill(theme::SOFT).end());
}

/// A band that can be drawn.
pub(super) fn is_usable(band: &Band) -> bool {
    band.lo.is_finite() && band.hi.is_finite() && band.hi > band.lo
}

/// With a capital first letter.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// A horizontal mark on a value axis: a value, its label, and whether it is a target's edge or a limit.
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) label: String,
    pub(super) strong: bool,
}

/// Round ticks between those that matter, all in display units of `convert`.
pub(super) fn ticks(axes: &Axes, strong: &[f64], convert: f64, decimals: usize) -> Vec<Tick> {
    let label = |v: f64| number(v * convert, decimals);
    let mut out: Vec<Tick> = strong.iter().map(|v| Tick { at: *v, label: label(*v), strong: true }).collect();
    let (lo, hi) = (axes.y.0 * convert, axes.y.1 * convert);
    let step = nice_step((hi - lo) / (axes.frame.h / 46.0));
    let least = 10f64.powi(-(decimals as i32));
    // One mark alone is no scale: then the next finer step.
    let marks = |step: f64| (hi / step).floor() - (lo / step).ceil() + 1.0;
    let step = if strong.is_empty() && marks(step) < 2.0 { nice_step(0.4 * step) } else { step };
    let step = step.max(least);
    let mut k = (lo / step).ceil();
    while k * step <= hi + step * 1e-9 && out.len() < 40 {
        let at = k * step / convert;
        if strong.iter().all(|s| (axes.py(*s) - axes.py(at)).abs() > 25.0) {
            out.push(Tick { at, label: label(at), strong: false });
        }
        k += 1.0;
    }
    out
}

/// 1, 2 or 5 times a power of ten, not below `least`.
pub(super) fn nice_step(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= least * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

pub(super) fn rgb(hex: &str) -> RGBColor {
    let part = |i: usize| hex.get(i..i + 2).and_then(|h| u8::from_str_radix(h, 16).ok()).unwrap_or(0);
    RGBColor(part(1), part(3), part(5))
}

pub(super) fn stroke(colour: &str, px: f64) -> ShapeStyle {
    ShapeStyle { color: rgb(colour).into(), filled: false, stroke_width: (px * FINE).round() as u32 }
}

pub(super) fn fill(colour: &str) -> ShapeStyle {
    ShapeStyle { color: rgb(colour).into(), filled: true, stroke_width: 0 }
}

/// Paper, holes, band, grid and value axis of a strip.
pub(super) fn furniture(
    canvas: &mut Canvas,
    facts: &Facts,
    axes: &Axes,
    band: Option<Band>,
    ticks: &[Tick],
) -> Result<(), DrawingError> {
    canvas.chart(axes, 1.0, |area| {
        if let Some(Band { lo, hi }) = band {
            area.draw(&Rectangle::new([(axes.x.0, lo), (axes.x.1, hi)], fill(theme::BAND)))?;
        }
        for (s, _) in &facts.strokes {
            area.draw(&PathElement::new(vec![(s.start_s, axes.y.0), (s.start_s, axes.y.1)], stroke("#e6e9eb", 1.0)))?;
        }
        for tick in ticks {
            let line =
                if tick.strong && band.is_some() { stroke(theme::BAND_EDGE, 1.5) } else { stroke("#e6e9eb", 1.0) };
            area.draw(&PathElement::new(vec![(axes.x.0, tick.at), (axes.x.1, tick.at)], line))?;
        }
        Ok(())
    })?;
    for (from, to) in &facts.holes {
        let (a, b) = (axes.px(*from), axes.px(*to));
        let hole = Frame { x: a, y: axes.frame.y, w: (b - a).max(2.0), h: axes.frame.h };
        canvas.rect(hole, Fill::Plain(theme::PAPER), None);
        canvas.rect(hole, Fill::Hatch(Hatching::Unknown), None);
    }
    let f = axes.frame;
    canvas.polyline(&[(f.x, f.y), (f.x, f.bottom()), (f.right(), f.bottom())], Line::of(theme::INK, 1.6));
    // The two edges of a narrow band keep their labels apart.
    let strong: Vec<f64> = ticks.iter().filter(|t| t.strong).map(|t| axes.py(t.at)).collect();
    let apart = match strong[..] {
        [low, high] => ((22.0 - (low - high)) / 2.0).max(0.0),
        _ => 0.0,
    };
    for (i, tick) in ticks.iter().enumerate() {
        let y = axes.py(tick.at);
        canvas.polyline(&[(f.x - 6.0, y), (f.x, y)], Line::of(theme::INK, 1.6));
        let y = y + if tick.strong && i == 0 {
            apart
        } else if tick.strong {
            -apart
        } else {
            0.0
        };
        let set = Type::of(size::LABEL).end();
        let set = if tick.strong { set.bold() } else { set.fill(theme::SOFT) };
        canvas.text(f.x - 11.0, y + 7.5, &tick.label, set);
    }
    Ok(())
}

/// The word that names a band, beside its right end, with a bracket.
pub(super) fn bracket(canvas: &mut Canvas, axes: &Axes, lo: f64, hi: f64, word: &str) {
    let f = axes.frame;
    let (top, bottom) = (axes.py(hi).max(f.y), axes.py(lo).min(f.bottom()));
    let x = f.right() + 6.0;
    canvas.polyline(&[(x, top), (x + 8.0, top), (x + 8.0, bottom), (x, bottom)], Line::of(theme::BAND_EDGE, 2.0));
    canvas.text(x + 17.0, (top + bottom) / 2.0 + 7.0, word, Type::of(size::LABEL));
}

/// Cells under a strip, one per stroke.
pub(super) fn ribbon(
    canvas: &mut Canvas,
    facts: &Facts,
    axes: &Axes,
    mut cell: impl FnMut(&Stroke, f64) -> (String, Fill, &'static str),
) {
    let y = axes.frame.bottom() + 3.0;
    for (s, _) in &facts.strokes {
        let (a, b) = (axes.px(s.start_s), axes.px(s.end_s));
        let (text, fill, ink) = cell(s, b - a - 6.0);
        canvas.rect(Frame { x: a, y, w: b - a, h: RIBBON - 6.0 }, fill, Some(Line::of(theme::HAIR, 1.2)));
        canvas.text((a + b) / 2.0, y + 18.5, &text, Type::of(size::NOTE).middle().fill(ink));
    }
}

/// The longest of some wordings that fits.
pub(super) fn first_that_fits(wordings: &[String], set: Type, room: f64) -> String {
    wordings.iter().find(|w| set.width(w) <= room).cloned().unwrap_or_default()
}

/// Names the stretches without data, where there is room for it; the last thing a strip writes.
pub(super) fn name_holes(canvas: &mut Canvas, facts: &Facts, axes: &Axes, drawn: &mut Drawn) {
    let set = Type::of(size::NOTE).halo();
    let f = axes.frame;
    for (from, to) in &facts.holes {
        let (a, b) = (axes.px(*from), axes.px(*to));
        let hole = Frame { x: a + 4.0, w: b - a - 8.0, ..f };
        let heights = [0.5, 0.25, 0.75].map(|share| f.y + share * f.h + 7.0);
        let spots = |w: f64| heights.map(|y| ((a + b - w) / 2.0, y)).to_vec();
        drawn.label(canvas, hole, &["no data".to_owned()], set, spots);
    }
}

/// Small flags at a strip's foot where a warning was given.
pub(super) fn flags(canvas: &mut Canvas, facts: &Facts, axes: &Axes, kinds: &[WarningKind], drawn: &mut Drawn) {
    let f = axes.frame;
    let foot = f.bottom() - 1.0;
    let given: Vec<_> = facts.warned(kinds).collect();
    for w in &given {
        let x = axes.px(w.t_s);
        let flag = [(x - 8.0, foot), (x + 8.0, foot), (x, foot - 14.0)];
        canvas.path(&path_data(&flag, true), Fill::Plain(theme::INK), Some(Line::of(theme::PAPER, 1.5)));
        drawn.add(Frame { x: x - 8.0, y: foot - 14.0, w: 16.0, h: 14.0 });
    }
    for w in &given {
        let x = axes.px(w.t_s);
        let words = match w.kind {
            WarningKind::SignalLost => vec!["signal lost"],
            WarningKind::SpinLost => vec!["pad spin lost"],
            WarningKind::HeatBlind => vec!["no reading"],
            WarningKind::TurnsBlind => vec!["no turn rates"],
            kind if kind.is_of_pace() && facts.is_length_doubted => vec!["warned, by the length told?", "warned?"],
            _ => vec!["warned"],
        };
        let words: Vec<String> = words.into_iter().map(str::to_owned).collect();
        // Left of its flag only where no other flag could be meant.
        let alone = given.len() == 1;
        let spots = |w: f64| {
            let left = alone.then_some((x - 12.0 - w, foot - 4.0));
            core::iter::once((x + 12.0, foot - 4.0)).chain(left).collect()
        };
        drawn.label(canvas, f, &words, Type::of(size::NOTE).halo(), spots);
    }
}

/// Narrower than this, a hatching has too few lines to be seen as one: a single stroke of it reads like a letter, px.
const HATCHED_PX: f64 = 36.0;

/// Hatches what lies beyond a level, between the level and the line.
pub(super) fn beyond(
    canvas: &mut Canvas,
    axes: &Axes,
    line: &[(f64, f64)],
    level: f64,
    above: bool,
    drawn: &mut Drawn,
) {
    let is_beyond = |v: f64| if above { v > level } else { v < level };
    let mut area: Vec<(f64, f64)> = Vec::new();
    let cross = |a: (f64, f64), b: (f64, f64)| a.0 + (level - a.1) / (b.1 - a.1) * (b.0 - a.0);
    let mut flush = |area: &mut Vec<(f64, f64)>| {
        if area.len() > 1 {
            let mut points: Vec<_> = area.iter().map(|(t, v)| (axes.px(*t), axes.py(*v))).collect();
            let edge = axes.py(level);
            for pair in points.windows(2) {
                let (top, bottom) = (edge.min(pair[0].1).min(pair[1].1), edge.max(pair[0].1).max(pair[1].1));
                drawn.add(Frame { x: pair[0].0, y: top, w: pair[1].0 - pair[0].0, h: bottom - top });
            }
            let (first, last) = (area[0].0, area[area.len() - 1].0);
            points.push((axes.px(last), axes.py(level)));
            points.push((axes.px(first), axes.py(level)));
            let data = path_data(&points, true);
            canvas.clipped(axes.frame, |canvas| {
                canvas.path(&data, Fill::Plain(theme::ACCENT_INTERVAL), None);
                if axes.px(last) - axes.px(first) >= HATCHED_PX {
                    canvas.path(&data, Fill::Hatch(Hatching::Outside), None);
                }
            });
        }
        area.clear();
    };
    for pair in line.windows(2) {
        match (is_beyond(pair[0].1), is_beyond(pair[1].1)) {
            (false, true) => {
                area.push((cross(pair[0], pair[1]), level));
                area.push(pair[1]);
            }
            (true, true) => {
                if area.is_empty() {
                    area.push(pair[0]);
                }
                area.push(pair[1]);
            }
            (true, false) => {
                area.push((cross(pair[0], pair[1]), level));
                flush(&mut area);
            }
            (false, false) => {}
        }
    }
    flush(&mut area);
}

/// Unbroken stretches of a column of the series.
pub(super) fn runs<V: Copy>(facts: &Facts, column: impl Fn(&SeriesRow) -> Option<V>) -> Vec<Vec<(f64, V)>> {
    let mut out: Vec<Vec<(f64, V)>> = Vec::new();
    let mut last_s = f64::NEG_INFINITY;
    for row in &facts.rows {
        let Some(v) = column(row) else { continue };
        if row.t_s - last_s > 0.25 || out.is_empty() {
            out.push(Vec::new());
        }
        if let Some(run) = out.last_mut() {
            run.push((row.t_s, v));
        }
        last_s = row.t_s;
    }
    out
}

/// What a value is compared by when a run is thinned.
pub(super) trait Height {
    fn height(&self) -> f64;
}

impl Height for f64 {
    fn height(&self) -> f64 {
        *self
    }
}

impl Height for (f64, f64) {
    fn height(&self) -> f64 {
        self.0
    }
}

/// At most the first, lowest, highest and last of each px column: short events stay, thousands of points do not.
pub(super) fn thin<V: Copy + Height>(run: &[(f64, V)], axes: &Axes) -> Vec<(f64, V)> {
    let column = |t: f64| axes.px(t).floor() as i64;
    run.chunk_by(|a, b| column(a.0) == column(b.0))
        .flat_map(|chunk| {
            let by = |a: &usize, b: &usize| chunk[*a].1.height().total_cmp(&chunk[*b].1.height());
            let low = (0..chunk.len()).min_by(by).unwrap_or(0);
            let high = (0..chunk.len()).max_by(by).unwrap_or(0);
            let mut keep = [0, low, high, chunk.len() - 1].to_vec();
            keep.sort_unstable();
            keep.dedup();
            keep.into_iter().map(|i| chunk[i]).collect::<Vec<_>>()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axes() -> Axes {
        Axes { frame: Frame { x: 0.0, y: 0.0, w: 100.0, h: 100.0 }, x: (0.0, 100.0), y: (0.0, 10.0) }
    }

    #[test]
    fn thinning_keeps_a_single_spike() {
        let mut run: Vec<(f64, f64)> = (0..100_000).map(|i| (f64::from(i) / 1000.0, 1.0)).collect();
        run[43_210].1 = 9.0;
        let thinned = thin(&run, &axes());
        assert!(thinned.len() <= 400, "{}", thinned.len());
        assert!(thinned.contains(&(43.21, 9.0)));
        assert!(thinned.windows(2).all(|w| w[0].0 < w[1].0));
    }

    #[test]
    fn ticks_make_way_for_the_band() {
        let marks = ticks(&axes(), &[3.3, 6.0], 1.0, 1);
        let strong: Vec<_> = marks.iter().filter(|t| t.strong).map(|t| t.label.as_str()).collect();
        assert_eq!(strong, ["3.3", "6.0"]);
        for a in marks.iter().filter(|t| !t.strong) {
            assert!((a.at - 3.3).abs() > 2.4 && (a.at - 6.0).abs() > 2.4, "{}", a.label);
        }
    }

    #[test]
    fn one_mark_alone_is_no_scale() {
        let low = Axes { frame: Frame { x: 0.0, y: 0.0, w: 100.0, h: 100.0 }, x: (0.0, 100.0), y: (5510.0, 6190.0) };
        let labels: Vec<f64> = ticks(&low, &[], 1.0, 0).iter().map(|t| t.at).collect();
        assert_eq!(labels, [5600.0, 5800.0, 6000.0]);
    }

    #[test]
    fn steps_are_round() {
        assert_eq!(nice_step(0.3), 0.5);
        assert_eq!(nice_step(2.0), 2.0);
        assert_eq!(nice_step(61.0), 100.0);
        assert_eq!(nice_step(f64::NAN), 1.0);
    }
}
