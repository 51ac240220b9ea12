//! The rate strip: orbit rate of an orbital, speed of a rotary, with its interval, against the target band.

use plotters::element::{PathElement, Polygon};

use super::super::SheetInput;
use super::super::canvas::{Axes, Canvas, DrawingError, Frame, Line};
use super::super::theme;
use super::drawn::Drawn;
use super::facts::Facts;
use super::furniture::{
    beyond, bracket, capital, fill, flags, furniture, head, is_usable, name_holes, runs, stroke, thin, ticks,
};
use crate::analysis::Z90;
use crate::guidance::{Band, WarningKind};

pub(super) fn draw(
    canvas: &mut Canvas,
    input: &SheetInput<'_>,
    facts: &Facts,
    plot: Frame,
) -> Result<(), DrawingError> {
    let rates = || facts.rows.iter().filter_map(|r| r.orbit_opm).filter(|m| m.value.is_finite());
    let mut sorted: Vec<f64> = rates().map(|m| m.value).collect();
    sorted.sort_by(f64::total_cmp);
    let at = |q: f64| sorted[((sorted.len() - 1) as f64 * q).round() as usize];
    let band = input.bands.orbit_opm.filter(is_usable);
    let free = input.pass.orbit_free_opm.filter(|v| v.is_finite());
    // Single runaway values must not flatten the strip; they leave the frame instead.
    let mut lo = at(0.002).min(band.map_or(f64::INFINITY, |b| b.lo));
    let mut hi = at(0.998).max(band.map_or(f64::NEG_INFINITY, |b| b.hi)).max(free.unwrap_or(f64::NEG_INFINITY));
    let least = 0.04 * hi.abs().max(1.0);
    if hi - lo < least {
        (lo, hi) = ((lo + hi - least) / 2.0, (lo + hi + least) / 2.0);
    }
    let margin = 0.14 * (hi - lo);
    let axes = Axes { frame: plot, x: facts.span_s, y: (lo - margin, hi + margin) };
    let strong = band.map_or(vec![], |b| vec![b.lo, b.hi]);
    furniture(canvas, facts, &axes, band, &ticks(&axes, &strong, 1.0, 0))?;
    let hint = if free.is_some() { "dotted: running free just before the pad took load" } else { "" };
    let (name, unit) = input.rate_words();
    head(canvas, plot, &capital(name), unit, hint);
    if let Some(Band { lo, hi }) = band {
        bracket(canvas, &axes, lo, hi, "target");
    }
    let mut drawn = Drawn::default();
    if let Some(free) = free {
        let y = axes.py(free);
        let line = [(plot.x, y), (plot.right(), y)];
        canvas.polyline(&line, Line::of(theme::SOFT, 2.0).dashed(2.0, 6.0));
        drawn.add_line(&line);
    }
    let runs = runs(facts, |r| r.orbit_opm.map(|m| (m.value, m.sd)));
    let runs: Vec<_> = runs.iter().map(|run| thin(run, &axes)).collect();
    canvas.chart(&axes, 0.0, |area| {
        for run in &runs {
            let up = run.iter().map(|(t, (v, sd))| (*t, v + Z90 * sd.max(0.0)));
            let down = run.iter().rev().map(|(t, (v, sd))| (*t, v - Z90 * sd.max(0.0)));
            area.draw(&Polygon::new(up.chain(down).collect::<Vec<_>>(), fill(theme::DATA_INTERVAL)))?;
        }
        Ok(())
    })?;
    if let Some(Band { lo, hi }) = band {
        for run in &runs {
            let line: Vec<_> = run.iter().map(|(t, (v, _))| (*t, *v)).collect();
            beyond(canvas, &axes, &line, hi, true, &mut drawn);
            beyond(canvas, &axes, &line, lo, false, &mut drawn);
        }
    }
    canvas.chart(&axes, 0.0, |area| {
        for run in &runs {
            let line: Vec<_> = run.iter().map(|(t, (v, _))| (*t, *v)).collect();
            area.draw(&PathElement::new(line, stroke(theme::DATA, 2.6)))?;
        }
        Ok(())
    })?;
    for run in &runs {
        drawn.add_line(&run.iter().map(|(t, (v, _))| (axes.px(*t), axes.py(*v))).collect::<Vec<_>>());
    }
    let kinds = [WarningKind::OrbitLow, WarningKind::OrbitHigh, WarningKind::SpinLost];
    flags(canvas, facts, &axes, &kinds, &mut drawn);
    name_holes(canvas, facts, &axes, &mut drawn);
    Ok(())
}
