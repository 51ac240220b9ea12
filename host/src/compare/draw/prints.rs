//! The technique print: how somebody works, in three small pictures side by side, the same scales for everybody.

use super::{MARGIN, WIDTH, head, name, x_axis};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type, path_data};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;
use crate::guidance::units::{K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH};
use crate::shop::{PRINT_CELLS, Print};

const ROW: f64 = 400.0;
const NAMES: f64 = 250.0;
const MAP: f64 = 260.0;

/// One technician's passes.
#[derive(Clone, Debug)]
pub struct TechniquePrint<'a> {
    /// Who.
    pub name: &'a str,
    /// A line under the name.
    pub remark: String,
    /// The passes.
    pub prints: &'a [Print],
    /// The plan's band, m/s.
    pub pace_mps: (f64, f64),
    /// The plan's limit, K.
    pub heat_limit_k: f64,
}

/// Technique prints as PNG, a row each.
///
/// # Errors
/// When the picture cannot be made.
pub fn prints_png(prints: &[TechniquePrint<'_>], invented: bool, units: Units) -> Result<Vec<u8>, DrawingError> {
    let mut canvas = Canvas::new(WIDTH as u32, (250.0 + ROW * prints.len().max(1) as f64) as u32);
    let top = head(
        &mut canvas,
        "Technique prints",
        "Stroke speed: how often each arm speed was seen; the green band is the plan's. Surface rise: half of all passes stay under \
         the line, eight of ten lie in the shade; dashed is the plan's limit. Coverage: all passes laid over each other, darker is \
         rubbed more; the unevenness is of that sum, not of a single pass.",
        invented,
    );
    let fast = prints
        .iter()
        .flat_map(|p| p.prints.iter().flat_map(|q| q.stroke_mps.iter().copied()).chain([p.pace_mps.1]))
        .fold(0.0, f64::max);
    let hot = prints
        .iter()
        .flat_map(|p| p.prints.iter().flat_map(|q| q.rise_k.iter().filter_map(|r| *r)).chain([p.heat_limit_k]))
        .fold(0.0, f64::max);
    let room = (WIDTH - 2.0 * MARGIN - NAMES - MAP - 150.0) / 2.0;
    for (row, print) in prints.iter().enumerate() {
        let y = top + row as f64 * ROW;
        name(&mut canvas, (MARGIN, y + 60.0), print.name, size::FIGURE, NAMES - 30.0);
        let remark = lettering::wrap(&print.remark, size::NOTE, Weight::Regular, NAMES - 40.0);
        canvas.lines(MARGIN, y + 96.0, &remark, Type::of(size::NOTE).fill(theme::SOFT), 26.0);
        let frame = |x: f64| Frame { x, y: y + 48.0, w: room, h: MAP };
        let left = MARGIN + NAMES;
        speeds(&mut canvas, print, frame(left), fast, units);
        heat(&mut canvas, print, frame(left + room + 90.0), hot, units);
        coverage(&mut canvas, print, Frame { x: WIDTH - MARGIN - MAP, y: y + 48.0, w: MAP, h: MAP });
    }
    canvas.png()
}

fn caption(canvas: &mut Canvas, frame: Frame, text: &str) {
    canvas.text(frame.x, frame.y - 14.0, text, Type::of(size::NOTE).bold());
}

fn nothing(canvas: &mut Canvas, frame: Frame) {
    canvas.rect(frame, Fill::Plain(theme::UNKNOWN), None);
    let set = Type::of(size::NOTE).fill(theme::SOFT).middle();
    canvas.text(frame.x + frame.w / 2.0, frame.y + frame.h / 2.0, "not known", set);
}

fn speeds(canvas: &mut Canvas, print: &TechniquePrint<'_>, frame: Frame, fast: f64, units: Units) {
    let (factor, unit) = match units {
        Units::Si => (1e3, "mm/s"),
        Units::Us => (1e3 / MM_PER_INCH, "in/s"),
    };
    caption(canvas, frame, &format!("Stroke speed, {unit}"));
    const BINS: usize = 30;
    let mut bins = [0usize; BINS];
    let speeds = print.prints.iter().flat_map(|p| &p.stroke_mps);
    for speed in speeds.filter(|s| **s >= 0.0 && **s <= fast) {
        bins[((speed / fast * BINS as f64) as usize).min(BINS - 1)] += 1;
    }
    let most = bins.iter().copied().max().unwrap_or(0);
    if most == 0 {
        return nothing(canvas, frame);
    }
    let axes = Axes { frame, x: (0.0, fast * factor), y: (0.0, most as f64 * 1.08) };
    let (lo, hi) = (axes.px(print.pace_mps.0 * factor), axes.px(print.pace_mps.1 * factor));
    canvas.rect(Frame { x: lo, w: hi - lo, ..frame }, Fill::Plain(theme::BAND), None);
    x_axis(canvas, &axes, 5.0);
    for (i, count) in bins.iter().enumerate().filter(|b| *b.1 > 0) {
        let a = fast * factor * i as f64 / BINS as f64;
        let b = fast * factor * (i + 1) as f64 / BINS as f64;
        let y = axes.py(*count as f64);
        let bar = Frame { x: axes.px(a) + 1.0, y, w: axes.px(b) - axes.px(a) - 2.0, h: frame.bottom() - y };
        let middle = (a + b) / 2.0 / factor;
        let inside = (print.pace_mps.0..=print.pace_mps.1).contains(&middle);
        canvas.rect(bar, Fill::Plain(if inside { theme::DATA } else { theme::DATA_INTERVAL }), None);
        if !inside {
            // Out of the band by an outline as well as by a lighter fill.
            canvas.rect(bar, Fill::None, Some(Line::of(theme::DATA, 1.2)));
        }
    }
    for x in [lo, hi] {
        canvas.polyline(&[(x, frame.y), (x, frame.bottom())], Line::of(theme::BAND_EDGE, 2.0).dashed(8.0, 5.0));
    }
}

fn heat(canvas: &mut Canvas, print: &TechniquePrint<'_>, frame: Frame, hot: f64, units: Units) {
    let (factor, unit) = match units {
        Units::Si => (1.0, "K"),
        Units::Us => (1.0 / K_PER_FAHRENHEIT_DEGREE, "°F"),
    };
    caption(canvas, frame, &format!("Surface rise over a pass, {unit}"));
    const POINTS: usize = 21;
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); POINTS];
    for rise in print.prints.iter().map(|p| &p.rise_k).filter(|r| r.len() > 1) {
        for (i, column) in columns.iter_mut().enumerate() {
            let at = (i * (rise.len() - 1) + (POINTS - 1) / 2) / (POINTS - 1);
            column.extend(rise[at].filter(|r| r.is_finite()));
        }
    }
    if columns.iter().all(Vec::is_empty) {
        return nothing(canvas, frame);
    }
    let axes = Axes { frame, x: (0.0, 1.0), y: (0.0, hot * factor * 1.05) };
    super::y_axis(canvas, &axes, 4.0);
    let quantile = |share: f64| -> Vec<(f64, f64)> {
        let at = |(i, column): (usize, &Vec<f64>)| {
            let mut sorted = column.clone();
            sorted.sort_by(f64::total_cmp);
            let value = sorted.get(((sorted.len().max(1) - 1) as f64 * share).round() as usize)?;
            Some((axes.px(i as f64 / (POINTS - 1) as f64), axes.py((value * factor).max(0.0))))
        };
        columns.iter().enumerate().filter_map(at).collect()
    };
    let (low, middle, high) = (quantile(0.1), quantile(0.5), quantile(0.9));
    let around: Vec<(f64, f64)> = high.into_iter().chain(low.into_iter().rev()).collect();
    canvas.path(&path_data(&around, true), Fill::Plain(theme::DATA_INTERVAL), None);
    canvas.polyline(&middle, Line::of(theme::DATA, 4.0));
    let limit = axes.py(print.heat_limit_k * factor);
    canvas.polyline(&[(frame.x, limit), (frame.right(), limit)], Line::of(theme::ACCENT, 2.5).dashed(12.0, 6.0));
    let set = Type::of(size::NOTE).fill(theme::SOFT);
    canvas.text(frame.x, frame.bottom() + 26.0, "start", set);
    canvas.text(frame.right(), frame.bottom() + 26.0, "end", set.end());
}

fn coverage(canvas: &mut Canvas, print: &TechniquePrint<'_>, frame: Frame) {
    caption(canvas, frame, "Coverage");
    let maps: Vec<&Vec<u8>> = print.prints.iter().filter_map(|p| p.rubbing.as_ref()).collect();
    if maps.is_empty() {
        return nothing(canvas, frame);
    }
    let mean: Vec<f64> = (0..PRINT_CELLS * PRINT_CELLS)
        .map(|i| maps.iter().map(|m| f64::from(m[i])).sum::<f64>() / maps.len() as f64)
        .collect();
    let most = mean.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let side = frame.w / PRINT_CELLS as f64;
    for (i, value) in mean.iter().enumerate() {
        // The scale starts at zero: half the rubbing looks like half, whoever worked.
        let steps = theme::MAP_STEPS.len();
        let step = ((value / most * steps as f64) as usize).min(steps - 1);
        let (column, row) = (i % PRINT_CELLS, i / PRINT_CELLS);
        let cell = Frame {
            x: frame.x + column as f64 * side,
            y: frame.bottom() - (row + 1) as f64 * side,
            w: side + 0.4,
            h: side + 0.4,
        };
        canvas.rect(cell, Fill::Plain(theme::MAP_STEPS[step]), None);
    }
    let n = mean.len() as f64;
    let average = mean.iter().sum::<f64>() / n;
    let cv = (mean.iter().map(|m| (m - average).powi(2)).sum::<f64>() / n).sqrt() / average.max(f64::MIN_POSITIVE);
    let text = format!("unevenness {:.0} %", cv * 100.0);
    canvas.text(frame.x, frame.bottom() + 26.0, &text, Type::of(size::NOTE).fill(theme::SOFT));
}
