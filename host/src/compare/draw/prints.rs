//! The technique print: how somebody works, in three small pictures side by side, the same scales for everybody.

use super::{MARGIN, WIDTH, head, name, one_size, x_axis};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type, path_data};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;
use crate::guidance::units::{K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH};
use crate::shop::{FiledPrint, PRINT_CELLS};

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
    /// The passes, each with what its own plan asked for.
    pub prints: &'a [FiledPrint],
    /// The band that is drawn, m/s: the newest plan's.
    pub pace_mps: (f64, f64),
    /// The limit that is drawn, K: the newest plan's.
    pub heat_limit_k: f64,
}

impl TechniquePrint<'_> {
    /// The line under the name, and what of the passes was worked under another plan than the one that is drawn.
    fn remark_words(&self) -> String {
        let other = |is_other: &dyn Fn(&FiledPrint) -> bool| self.prints.iter().filter(|p| is_other(p)).count();
        let (bands, limits) =
            (other(&|p| p.pace_mps != self.pace_mps), other(&|p| p.heat_limit_k != self.heat_limit_k));
        let what = match (bands, limits) {
            (0, 0) => return self.remark.clone(),
            (n, 0) => format!("{n} under another band"),
            (0, n) => format!("{n} under another limit"),
            (bands, limits) => format!("{bands} under another band, {limits} under another limit"),
        };
        format!("{}; {what} than the newest plan's, which is drawn", self.remark)
    }
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
        "Stroke speed: how often each arm speed was seen; the green band is the newest plan's, strokes outside that of their own plan \
         are pale. Surface rise: the highest so far in a pass, of means over a twentieth of it; half of the passes have come no higher \
         than the line, eight of ten lie in the shade; dashed is the newest plan's limit. Coverage: all passes laid over each other, \
         darker is rubbed more; the unevenness is of that sum, not of a single pass.",
        invented,
    );
    let fast = prints
        .iter()
        .flat_map(|p| p.prints.iter().flat_map(|q| q.print.stroke_mps.iter().copied()).chain([p.pace_mps.1]))
        .fold(0.0, f64::max);
    let counted: Vec<Vec<Bin>> = prints.iter().map(|p| bins(judged(p.prints), p.pace_mps, fast)).collect();
    // As far as the last bar reaches, so that none is cut.
    let fast = counted.iter().flatten().map(|bin| bin.to_mps).fold(fast, f64::max);
    let hot = prints
        .iter()
        .flat_map(|p| p.prints.iter().flat_map(|q| q.print.rise_k.iter().filter_map(|r| *r)).chain([p.heat_limit_k]))
        .fold(0.0, f64::max);
    let room = (WIDTH - 2.0 * MARGIN - NAMES - MAP - 150.0) / 2.0;
    let usual = one_size(prints.iter().map(|p| p.name), size::FIGURE, NAMES - 30.0);
    for (row, (print, bins)) in prints.iter().zip(&counted).enumerate() {
        let y = top + row as f64 * ROW;
        name(&mut canvas, (MARGIN, y + 60.0), print.name, usual, NAMES - 30.0);
        let remark = lettering::wrap(&print.remark_words(), size::NOTE, Weight::Regular, NAMES - 40.0);
        canvas.lines(MARGIN, y + 96.0, &remark, Type::of(size::NOTE).fill(theme::SOFT), 26.0);
        let frame = |x: f64| Frame { x, y: y + 48.0, w: room, h: MAP };
        let left = MARGIN + NAMES;
        speeds(&mut canvas, print.pace_mps, bins, frame(left), fast, units);
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

/// * `pace_mps`: the band that is drawn; `fast`: where the axis ends, m/s.
fn speeds(canvas: &mut Canvas, pace_mps: (f64, f64), bins: &[Bin], frame: Frame, fast: f64, units: Units) {
    let (factor, unit) = match units {
        Units::Si => (1e3, "mm/s"),
        Units::Us => (1e3 / MM_PER_INCH, "in/s"),
    };
    caption(canvas, frame, &format!("Stroke speed, {unit}"));
    let most = bins.iter().map(|bin| bin.inside + bin.outside).max().unwrap_or(0);
    if most == 0 {
        return nothing(canvas, frame);
    }
    let axes = Axes { frame, x: (0.0, fast * factor), y: (0.0, most as f64 * 1.08) };
    let (lo, hi) = (axes.px(pace_mps.0 * factor), axes.px(pace_mps.1 * factor));
    canvas.rect(Frame { x: lo, w: hi - lo, ..frame }, Fill::Plain(theme::BAND), None);
    x_axis(canvas, &axes, 5.0);
    for bin in bins {
        let [a, b] = [bin.from_mps.max(0.0), bin.to_mps].map(|mps| axes.px(mps * factor));
        let bar = |from: usize, to: usize| {
            let y = axes.py(to as f64);
            Frame { x: a + 1.0, y, w: (b - a - 2.0).max(1.0), h: axes.py(from as f64) - y }
        };
        if bin.inside > 0 {
            canvas.rect(bar(0, bin.inside), Fill::Plain(theme::DATA), None);
        }
        if bin.outside > 0 {
            // Out of the band by an outline as well as by a lighter fill.
            let bar = bar(bin.inside, bin.inside + bin.outside);
            canvas.rect(bar, Fill::Plain(theme::DATA_INTERVAL), Some(Line::of(theme::DATA, 1.2)));
        }
    }
    for x in [lo, hi] {
        canvas.polyline(&[(x, frame.y), (x, frame.bottom())], Line::of(theme::BAND_EDGE, 2.0).dashed(8.0, 5.0));
    }
}

/// Strokes of nearly one speed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Bin {
    from_mps: f64,
    to_mps: f64,
    /// Strokes in the band of their plan.
    inside: usize,
    /// Strokes out of it.
    outside: usize,
}

/// About how many bins the axis of speeds is cut into.
const BINS: f64 = 30.0;

/// Every stroke's speed, m/s, and whether it is in the band of its own plan.
fn judged(prints: &[FiledPrint]) -> impl Iterator<Item = (f64, bool)> {
    prints.iter().flat_map(|p| {
        let (lo, hi) = p.pace_mps;
        p.print.stroke_mps.iter().map(move |speed| (*speed, (lo..=hi).contains(speed)))
    })
}

/// Strokes from rest to `fast`, counted in bins of one width. An edge lies on either end of the band, so that no bin is in and
/// out of it; only a band narrower than half a bin shares one with what is beside it.
fn bins(speeds: impl Iterator<Item = (f64, bool)>, (lo, hi): (f64, f64), fast: f64) -> Vec<Bin> {
    let usual = fast / BINS;
    let across = ((hi - lo) / usual).round();
    let width = if across >= 1.0 { (hi - lo) / across } else { usual };
    if !(lo.is_finite() && width.is_finite() && width > 0.0) {
        return Vec::new();
    }
    let below = (lo / width).ceil();
    let start = lo - below * width;
    // What is left of rounding is no bin of its own.
    let count = ((fast - start) / width - 1e-9).ceil().max(1.0) as usize;
    let edge = |i: usize| start + i as f64 * width;
    let mut bins: Vec<Bin> =
        (0..count).map(|i| Bin { from_mps: edge(i), to_mps: edge(i + 1), ..Bin::default() }).collect();
    let (first, last) = (below as usize, (below + across.max(1.0)) as usize - 1);
    for (speed, is_in_own) in speeds.filter(|(speed, _)| (0.0..=fast).contains(speed)) {
        let at = ((speed - start) / width) as usize;
        let is_inside = (lo..=hi).contains(&speed);
        // On the side of an edge that the stroke is on, wherever rounding puts it.
        let at = match (is_inside, across >= 1.0) {
            (true, _) => at.clamp(first, last),
            (false, true) if speed < lo => at.min(first.saturating_sub(1)),
            (false, true) => at.max(last + 1),
            (false, false) => at,
        };
        let bin = &mut bins[at.min(count - 1)];
        *(if is_in_own { &mut bin.inside } else { &mut bin.outside }) += 1;
    }
    bins
}

/// The highest rise so far, from the first known one on: the spot sees worked paint in every other stroke only, and what it saw
/// there holds while it looks at other paint.
fn highest_so_far(rise_k: &[Option<f64>]) -> Vec<Option<f64>> {
    let rises = rise_k.iter().map(|rise| rise.filter(|r| r.is_finite()));
    let highest = rises.scan(None, |highest: &mut Option<f64>, rise| {
        *highest = match (*highest, rise) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (one, other) => one.or(other),
        };
        Some(*highest)
    });
    highest.collect()
}

fn heat(canvas: &mut Canvas, print: &TechniquePrint<'_>, frame: Frame, hot: f64, units: Units) {
    let (factor, unit) = match units {
        Units::Si => (1.0, "K"),
        Units::Us => (1.0 / K_PER_FAHRENHEIT_DEGREE, "°F"),
    };
    caption(canvas, frame, &format!("Highest surface rise so far, {unit}"));
    const POINTS: usize = 21;
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); POINTS];
    for rise in print.prints.iter().map(|p| highest_so_far(&p.print.rise_k)).filter(|r| r.len() > 1) {
        for (i, column) in columns.iter_mut().enumerate() {
            let at = (i * (rise.len() - 1) + (POINTS - 1) / 2) / (POINTS - 1);
            column.extend(rise[at]);
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
    let maps: Vec<&Vec<u8>> = print.prints.iter().filter_map(|p| p.print.rubbing.as_ref()).collect();
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

#[cfg(test)]
mod tests {
    use super::*;

    fn by_band(speeds: &[f64], (lo, hi): (f64, f64)) -> impl Iterator<Item = (f64, bool)> {
        speeds.iter().map(move |speed| (*speed, (lo..=hi).contains(speed)))
    }

    #[test]
    fn each_stroke_is_judged_by_its_own_plan_and_the_others_are_told() {
        let of = |pace_mps, stroke_mps: &[f64]| FiledPrint {
            print: crate::shop::Print { stroke_mps: stroke_mps.to_vec(), ..Default::default() },
            pace_mps,
            heat_limit_k: 11.1,
            ..FiledPrint::default()
        };
        let (old, new) = ((0.03, 0.05), (0.0127, 0.0254));
        let prints = [of(old, &[0.02, 0.04]), of(new, &[0.02, 0.04])];
        let bins = bins(judged(&prints), new, 0.04);
        let counts = |speed: f64| {
            let bin = bins.iter().find(|bin| (bin.from_mps..bin.to_mps + 1e-9).contains(&speed)).expect("a bin");
            (bin.inside, bin.outside)
        };
        assert_eq!((counts(0.02), counts(0.04)), ((1, 1), (1, 1)));
        let print = TechniquePrint {
            name: "Robin",
            remark: "2 passes".into(),
            prints: &prints,
            pace_mps: new,
            heat_limit_k: 11.1,
        };
        assert_eq!(print.remark_words(), "2 passes; 1 under another band than the newest plan's, which is drawn");
        assert_eq!(TechniquePrint { prints: &prints[1..], ..print.clone() }.remark_words(), "2 passes");
        assert!(bins.last().expect("one").to_mps > 0.04, "the axis ends where the last bar does");
    }

    #[test]
    fn no_bin_is_in_and_out_of_the_band() {
        let band = (0.0127, 0.0254);
        for fast in [0.0254, 0.031, 0.0437, 0.09] {
            let speeds: Vec<f64> = (0..=200).map(|i| fast * f64::from(i) / 200.0).chain([band.0, band.1]).collect();
            let bins = bins(by_band(&speeds, band), band, fast);
            assert!((20..60).contains(&bins.len()), "{} bins", bins.len());
            for bin in &bins {
                assert!(bin.inside == 0 || bin.outside == 0, "{bin:?} of {fast}");
                let middle = (bin.from_mps + bin.to_mps) / 2.0;
                assert_eq!(bin.inside > 0, (band.0..=band.1).contains(&middle), "{bin:?} of {fast}");
            }
            let inside = speeds.iter().filter(|s| (band.0..=band.1).contains(*s)).count();
            assert_eq!(bins.iter().map(|b| b.inside).sum::<usize>(), inside);
            assert_eq!(bins.iter().map(|b| b.outside).sum::<usize>(), speeds.len() - inside);
        }
    }

    #[test]
    fn a_band_narrower_than_a_bin_keeps_its_strokes_apart_and_costs_no_thousands_of_bins() {
        let narrow = (0.02, 0.02001);
        let found = bins(by_band(&[0.0199, 0.02, 0.0201, 0.03], narrow), narrow, 0.3);
        assert!(found.len() <= 31, "{} bins", found.len());
        let sum = found.iter().fold((0, 0), |sum, bin| (sum.0 + bin.inside, sum.1 + bin.outside));
        assert_eq!(sum, (1, 3));
        assert_eq!(bins([(0.02, false)].into_iter(), (0.0, 0.0), 0.0), []);
        assert_eq!(bins([(0.02, false)].into_iter(), (f64::INFINITY, f64::INFINITY), 0.03), []);
        assert_eq!(
            bins(by_band(&[f64::NAN, -1.0, 9.0], (0.01, 0.02)), (0.01, 0.02), 0.03)
                .iter()
                .map(|b| b.outside)
                .sum::<usize>(),
            0
        );
    }

    #[test]
    fn what_the_spot_saw_holds_while_it_leads() {
        let rise = [None, Some(2.0), Some(8.0), Some(1.0), None, Some(9.5), Some(f64::NAN), Some(3.0)];
        let want = [None, Some(2.0), Some(8.0), Some(8.0), Some(8.0), Some(9.5), Some(9.5), Some(9.5)];
        assert_eq!(highest_so_far(&rise), want);
    }
}
