//! The arm speed strip: one bar per stroke, its interval around it, against the target band.

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Hatching, Line, Type};
use super::super::theme::{self, size};
use super::facts::{Facts, Pace};
use super::furniture::{bracket, first_that_fits, flags, furniture, head, is_usable, ribbon, ticks};
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
    furniture(canvas, facts, &axes, band, &ticks(&axes, &strong, u.arm_speed(1.0), decimals))?;
    let means = match input.doubted_length_m() {
        Some(_) => "by the turns, length told in doubt · box: 90 % interval",
        None => "line: stroke length over its time · box: 90 % interval",
    };
    head(canvas, plot, "Arm speed", u.arm_speed_unit(), means);
    if let Some(Band { lo, hi }) = band {
        bracket(canvas, &axes, lo, hi, "target");
    }
    let mut free_from = f64::NEG_INFINITY;
    for (s, verdict) in &facts.strokes {
        let (a, b) = (axes.px(s.start_s), axes.px(s.end_s));
        let Some(speed) = s.traverse_mps.filter(|i| i.value.is_finite() && i.lo.is_finite() && i.hi.is_finite()) else {
            let set = Type::of(size::LABEL).fill(theme::SOFT).middle();
            canvas.text((a + b) / 2.0, plot.bottom() - 10.0, "?", set);
            continue;
        };
        let outside = verdict.is_outside();
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
        let figure = u.arm_speed_number(speed.value);
        let (mark, words) = match verdict {
            Pace::Fast => ("▲ ", " too fast"),
            Pace::Slow => ("▼ ", " too slow"),
            Pace::PerhapsFast => ("", " fast?"),
            Pace::PerhapsSlow => ("", " slow?"),
            _ => ("", ""),
        };
        let narrow = b - a < 44.0;
        let set = Type::of(if narrow { size::NOTE } else { size::BODY }).bold().middle().halo().fill(if outside {
            theme::ACCENT_INK
        } else {
            theme::INK
        });
        let middle = (a + b) / 2.0;
        let room = 2.0 * (middle - free_from.max(a - 10.0)).min(b + 10.0 - middle);
        let y = (y_hi - 9.0).max(plot.y + 18.0);
        let doubt = if words.ends_with('?') { "?" } else { "" };
        let wordings = [format!("{mark}{figure}{words}"), format!("{mark}{figure}{doubt}"), format!("{figure}{doubt}")];
        let text = first_that_fits(if narrow { &wordings[2..] } else { &wordings }, set, room);
        free_from = middle + set.width(&text) / 2.0 + if narrow { 3.0 } else { 8.0 };
        canvas.text(middle, y, &text, set);
        if outside && !text.contains(mark.trim()) {
            canvas.text(middle, y - 21.0, mark.trim(), Type { size: size::NOTE, ..set });
        }
    }
    ribbon(canvas, facts, &axes, |s, room| {
        let set = Type::of(size::NOTE);
        let way = arrow(s.direction_deg);
        let wordings = [format!("stroke {} {way}", s.stroke), format!("{} {way}", s.stroke), s.stroke.to_string()];
        (first_that_fits(&wordings, set, room), Fill::Plain(theme::PAPER), theme::INK)
    });
    flags(canvas, facts, &axes, &[WarningKind::PaceFast, WarningKind::PaceSlow, WarningKind::SignalLost]);
    Ok(())
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
