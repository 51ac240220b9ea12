//! The three strips over one time axis: how they share the page. Each strip has its own file: [`super::pace`],
//! [`super::orbit`], [`super::surface`]; what they have in common is [`super::furniture`].

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use super::super::lettering::{Weight, wrap};
use super::super::theme::{self, size};
use super::super::units::clock;
use super::facts::Facts;
use super::furniture::{RIBBON, capital, head};
use super::{orbit, pace, surface};

const HEAD: f64 = 38.0;
const GAP: f64 = 26.0;
const TIME_AXIS: f64 = 60.0;
/// Height of a strip whose quantity is not known.
const BLANK: f64 = 62.0;

/// Draws all three.
pub(super) fn draw(
    canvas: &mut Canvas,
    input: &SheetInput<'_>,
    facts: &Facts,
    frame: Frame,
) -> Result<(), DrawingError> {
    let has_pace = facts.strokes.iter().any(|(s, _)| s.traverse_mps.is_some());
    let has_orbit = facts.rows.iter().any(|r| r.orbit_opm.is_some());
    let has_surface = facts.rows.iter().any(|r| r.surface_rise_k.is_some());
    let shares =
        [(has_pace, 1.0, true), (has_orbit, 0.66, false), (has_surface, 1.12, has_surface && facts.side_known())];
    let fixed: f64 = shares
        .iter()
        .map(|(known, _, ribbon)| HEAD + if *known { if *ribbon { RIBBON } else { 0.0 } } else { BLANK })
        .sum::<f64>()
        + 2.0 * GAP
        + TIME_AXIS;
    let weight: f64 = shares.iter().filter(|s| s.0).map(|s| s.1).sum();
    let mut y = frame.y;
    let mut lowest = frame.y;
    for (i, (known, share, ribbon)) in shares.into_iter().enumerate() {
        let h = if known { (frame.h - fixed) * share / weight } else { BLANK };
        let plot = Frame { x: frame.x, y: y + HEAD, w: frame.w, h };
        match i {
            0 if known => pace::draw(canvas, input, facts, plot)?,
            1 if known => orbit::draw(canvas, input, facts, plot)?,
            2 if known => surface::draw(canvas, input, facts, plot, ribbon)?,
            _ => blank(canvas, input, facts, i, plot),
        }
        lowest = plot.bottom() + if known && ribbon { RIBBON } else { 0.0 };
        y = lowest + GAP;
    }
    time_axis(canvas, input, facts, Frame { y: frame.y + HEAD, h: lowest - frame.y - HEAD, ..frame });
    Ok(())
}

/// A strip that has nothing to show says so.
fn blank(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, strip: usize, plot: Frame) {
    let (name, why) = match strip {
        0 if facts.strokes.is_empty() => (
            "Arm speed",
            "Not known: no stroke could be told apart in this pass. Turn rates (a gyro) are needed for that.",
        ),
        0 => (
            "Arm speed",
            "Not known: the strokes' length could not be found. Tape the section and give the stroke length.",
        ),
        1 => ("", "Not known: the vibration did not show it in this pass."),
        _ if input.session.no_looks => {
            ("Surface rise", "Not known: no temperature was recorded, as in a table without that column.")
        }
        _ if input.pass.surface_start_c.is_some() => {
            ("Surface rise", "Not known: no usable thermometer reading in this pass.")
        }
        _ if facts.rows.iter().any(|row| row.surface_c.is_some()) => {
            ("Surface rise", "Not known: the panel's temperature at the start was seen too seldom to judge heat.")
        }
        _ => ("Surface rise", "Not known: there is no usable surface temperature here; nothing is said about heat."),
    };
    let name = if name.is_empty() { capital(input.rate_words().0) } else { name.to_owned() };
    head(canvas, plot, &name, "", "");
    canvas.rect(Frame { h: BLANK - 8.0, ..plot }, Fill::Plain(theme::UNKNOWN), None);
    let lines = wrap(why, size::LABEL, Weight::Regular, plot.w - 32.0);
    canvas.lines(plot.x + 16.0, plot.y + 34.0, &lines, Type::of(size::LABEL), 26.0);
}

fn time_axis(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, frame: Frame) {
    let (start, end) = facts.span_s;
    let axes = Axes { frame, x: (0.0, end - start), y: (0.0, 1.0) };
    const STEPS: [f64; 13] = [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0];
    let step = STEPS.into_iter().find(|s| (end - start) / s <= 11.0).unwrap_or((end - start) / 6.0);
    let y = frame.bottom() + 6.0;
    let mut k = 0.0;
    while k * step <= end - start + 1e-9 {
        let x = axes.px(k * step);
        canvas.polyline(&[(x, y - 4.0), (x, y + 4.0)], Line::of(theme::INK, 1.6));
        canvas.text(x, y + 26.0, &clock(k * step), Type::of(size::LABEL).middle().fill(theme::SOFT));
        k += 1.0;
    }
    let title = format!("time into the pass, min:s  (it begins at {} of the recording)", clock(input.pass.start_s));
    canvas.text(frame.right(), y + 52.0, &title, Type::of(size::NOTE).fill(theme::SOFT).end());
}
