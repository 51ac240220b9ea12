//! The arm speed strip: one bar per stroke, its interval around it, against the target band.

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Hatching, Line, Type};
use super::super::theme::{self, size};
use super::drawn::Drawn;
use super::facts::{Facts, Pace};
use super::furniture::{bracket, first_that_fits, flags, furniture, head, is_usable, name_holes, ribbon, ticks};
use crate::analysis::{Interval, Stroke};
use crate::guidance::{Band, WarningKind};

pub(super) fn draw(
    canvas: &mut Canvas,
    input: &SheetInput<'_>,
    facts: &Facts,
    plot: Frame,
) -> Result<(), DrawingError> {
    let u = input.scale();
    let band = input.bands.pace_mps.filter(is_usable);
    let known = || facts.strokes.iter().filter_map(|(s, _)| s.traverse_mps).filter(|i| i.value.is_finite());
    let fastest = known().map(|i| i.value).fold(band.map_or(0.0, |b| b.hi), f64::max);
    // A very wide interval may leave the frame; the values decide the scale.
    let top = known().map(|i| i.hi).fold(fastest, f64::max).min(1.7 * fastest);
    // Room for a figure over the highest bar, and for a mark over the figure where bars are narrow.
    let px_per_s = plot.w / (facts.span_s.1 - facts.span_s.0);
    let stacked = facts.strokes.iter().any(|(s, p)| *p == Pace::Fast && (s.end_s - s.start_s) * px_per_s < 70.0);
    let headroom = 1.0 / (1.0 - if stacked { 52.0 } else { 34.0 } / plot.h);
    let axes = Axes { frame: plot, x: facts.span_s, y: (0.0, (top * headroom).max(1e-6)) };
    let strong = band.map_or(vec![], |b| vec![b.lo, b.hi]);
    let decimals = if u.arm_speed(axes.y.1) < 4.0 { 2 } else { 0 };
    let mut marks = ticks(&axes, &strong, u.arm_speed(1.0), decimals);
    for (mark, end) in marks.iter_mut().zip(&strong) {
        mark.label = u.arm_speed_limit_number(*end);
    }
    furniture(canvas, facts, &axes, band, &marks)?;
    let means = if input.goes_by_turns() {
        "by the turns, length told in doubt · box: 90 % interval"
    } else {
        "line: stroke length over its time · box: 90 % interval"
    };
    head(canvas, plot, "Arm speed", u.arm_speed_unit(), means);
    if let Some(Band { lo, hi }) = band {
        bracket(canvas, &axes, lo, hi, "target");
    }
    // All boxes before any figure, so that none is written under the next stroke's box.
    let mut drawn = Drawn::default();
    let boxes: Vec<(Frame, Pace, Interval)> =
        facts.strokes.iter().filter_map(|(s, pace)| stroke_box(canvas, &axes, s, *pace, &mut drawn)).collect();
    for (bar, pace, speed) in boxes {
        figure(canvas, plot, &bar, pace, &u.arm_speed_and_interval(speed, band).0, &mut drawn);
    }
    ribbon(canvas, facts, &axes, |s, room| {
        let set = Type::of(size::NOTE);
        let way = arrow(s.direction_deg);
        let wordings = [format!("stroke {} {way}", s.stroke), format!("{} {way}", s.stroke), s.stroke.to_string()];
        (first_that_fits(&wordings, set, room), Fill::Plain(theme::PAPER), theme::INK)
    });
    let kinds = [WarningKind::PaceFast, WarningKind::PaceSlow, WarningKind::SignalLost, WarningKind::TurnsBlind];
    flags(canvas, facts, &axes, &kinds, &mut drawn);
    name_holes(canvas, facts, &axes, &mut drawn);
    Ok(())
}

/// A stroke's interval as a box with its speed as a line in it; gives the box and the speed, where it is known.
fn stroke_box(
    canvas: &mut Canvas,
    axes: &Axes,
    stroke: &Stroke,
    pace: Pace,
    drawn: &mut Drawn,
) -> Option<(Frame, Pace, Interval)> {
    let plot = axes.frame;
    let (a, b) = (axes.px(stroke.start_s), axes.px(stroke.end_s));
    let is_finite = |i: &Interval| i.value.is_finite() && i.lo.is_finite() && i.hi.is_finite();
    let Some(speed) = stroke.traverse_mps.filter(is_finite) else {
        let set = Type::of(size::LABEL).fill(theme::SOFT);
        let spots = |w: f64| vec![((a + b - w) / 2.0, plot.bottom() - 10.0)];
        drawn.label(canvas, plot, &["?".to_owned()], set, spots);
        return None;
    };
    let outside = pace.is_outside();
    let clip = Frame { x: plot.x - 2.0, w: plot.w + 4.0, ..plot };
    let (y_lo, y_hi, y) = (axes.py(speed.lo), axes.py(speed.hi).max(plot.y), axes.py(speed.value));
    let bar = Frame { x: a, y: y_hi, w: b - a, h: y_lo - y_hi };
    canvas.clipped(clip, |canvas| {
        canvas.rect(bar, Fill::Plain(if outside { theme::ACCENT_INTERVAL } else { theme::DATA_INTERVAL }), None);
        if outside {
            canvas.rect(bar, Fill::Hatch(Hatching::Outside), Some(Line::of(theme::ACCENT, 1.2)));
        }
        canvas.polyline(&[(a, y), (b, y)], Line::of(if outside { theme::ACCENT } else { theme::DATA }, 5.0));
    });
    drawn.add(bar);
    Some((bar, pace, speed))
}

/// A stroke's speed over its box, with the verdict in words where there is room.
fn figure(canvas: &mut Canvas, plot: Frame, bar: &Frame, pace: Pace, figure: &str, drawn: &mut Drawn) {
    let (mark, words) = match pace {
        Pace::Fast => ("▲", "too fast"),
        Pace::Slow => ("▼", "too slow"),
        Pace::PerhapsFast => ("", "fast?"),
        Pace::PerhapsSlow => ("", "slow?"),
        _ => ("", ""),
    };
    let outside = pace.is_outside();
    let narrow = bar.w < 44.0;
    let ink = if outside { theme::ACCENT_INK } else { theme::INK };
    let set = Type::of(if narrow { size::NOTE } else { size::BODY }).bold().halo().fill(ink);
    // A question mark without its word would seem to doubt the figure.
    let wordings = [format!("{mark} {figure} {words}"), format!("{mark} {figure}"), figure.to_owned()]
        .map(|wording| wording.trim().to_owned());
    let wordings = if narrow { &wordings[2..] } else { &wordings };
    let within = Frame { x: bar.x - 10.0, w: bar.w + 20.0, y: plot.y - 4.0, h: plot.h };
    // Where a box leaves the frame, its figure stands in it.
    let y = (bar.y - 8.0).max(plot.y + 18.0);
    if y > bar.y {
        drawn.remove(bar);
    }
    let middle = bar.x + bar.w / 2.0;
    let at = |rise: f64| move |w: f64| vec![(middle - w / 2.0, (y - rise).max(plot.y + 18.0))];
    let said = drawn.label(canvas, within, wordings, set, at(0.0));
    let marked = said.is_some_and(|i| wordings[i].contains(mark));
    if said.is_none() {
        drawn.label(canvas, within, &wordings[wordings.len() - 1..], set, at(24.0));
    }
    if outside && !marked {
        let mark_set = Type { size: size::NOTE, ..set };
        let spots = |w: f64| [22.0, 44.0].map(|rise| (middle - w / 2.0, y - rise)).to_vec();
        drawn.label(canvas, within, &[mark.to_owned()], mark_set, spots);
    }
}

/// An arrow for a direction of travel seen looking at the panel.
fn arrow(direction_deg: Option<f64>) -> &'static str {
    match direction_deg.filter(|d| d.is_finite()).map(|d| (d.rem_euclid(360.0) / 45.0).round() as i32 % 8) {
        Some(0) => "→",
        Some(1) => "↗",
        Some(2) => "↑",
        Some(3) => "↖",
        Some(4) => "←",
        Some(5) => "↙",
        Some(6) => "↓",
        Some(7) => "↘",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arrows_follow_the_direction() {
        assert_eq!(arrow(Some(0.0)), "→");
        assert_eq!(arrow(Some(-178.0)), "←");
        assert_eq!(arrow(Some(91.0)), "↑");
        assert_eq!(arrow(None), "");
    }
}
