//! Pictures of a comparison, in the hand of the section pass sheet: no legend where a direct label fits, meaning never by
//! colour alone. Pure: from figures to PNG.

mod intervals;
mod ledger;
mod prints;
mod progress;
mod reference;

pub use intervals::intervals_png;
pub use ledger::{LedgerRow, ledger_png, wear_unit};
pub use prints::{TechniquePrint, prints_png};
pub use progress::progress_png;
pub use reference::{ReferenceSheet, reference_png};

use crate::compare::Figure;
use crate::drawing::canvas::{Axes, Canvas, Fill, Line, Type};
use crate::drawing::invented;
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};

/// Width of every sheet, px.
pub(super) const WIDTH: f64 = 1800.0;
/// Margin, px.
pub(super) const MARGIN: f64 = 60.0;

/// Most groups one sheet shows; more are told in the tables only.
pub const MOST_GROUPS: usize = 12;

/// Most letters of a name, or of names in a title.
const LONGEST: usize = 300;

/// A name from outside over a column or row whose usual baseline is `y`: smaller and in two lines where one is too short.
fn name(canvas: &mut Canvas, (x, y): (f64, f64), name: &str, usual: f64, room: f64) {
    let name = lettering::safe(name, LONGEST);
    if lettering::width(&name, usual, Weight::SemiBold) <= room {
        canvas.text(x, y, &name, Type::of(usual).bold());
    } else {
        let lines = lettering::two_lines(&name, size::LABEL, Weight::SemiBold, room);
        let leading = 24.0;
        canvas.lines(x, y - leading * (lines.len() as f64 - 1.0), &lines, Type::of(size::LABEL).bold(), leading);
    }
}

/// The size that all names of a drawing are set in: the usual one where every one of them fits into a line of that, else a smaller.
fn one_size<'a>(mut names: impl Iterator<Item = &'a str>, usual: f64, room: f64) -> f64 {
    let fits = |name: &str| lettering::width(&lettering::safe(name, LONGEST), usual, Weight::SemiBold) <= room;
    if names.all(fits) { usual } else { size::LABEL }
}

/// Title, the line under it, and a word in the corner when the figures are invented. Returns where the drawing begins.
pub(super) fn head(canvas: &mut Canvas, title: &str, under: &str, figures_invented: bool) -> f64 {
    let room = WIDTH - 2.0 * MARGIN - if figures_invented { invented::width() + 24.0 } else { 0.0 };
    let title = lettering::safe(title, LONGEST);
    let fits = |size: &f64| lettering::width(&title, *size, Weight::SemiBold) <= room;
    match [size::TITLE, size::FIGURE, size::FINDING].into_iter().find(fits) {
        Some(size) => canvas.text(MARGIN, 82.0, &title, Type::of(size).bold()),
        None => {
            let lines = lettering::two_lines(&title, size::FINDING, Weight::SemiBold, room);
            canvas.lines(MARGIN, 50.0, &lines, Type::of(size::FINDING).bold(), 36.0);
        }
    }
    if figures_invented {
        invented::mark(canvas, WIDTH - MARGIN, 42.0);
    }
    let lines = lettering::wrap(under, size::BODY, Weight::Regular, WIDTH - 2.0 * MARGIN);
    canvas.lines(MARGIN, 126.0, &lines, Type::of(size::BODY).fill(theme::SOFT), 31.0) + 14.0
}

/// A filled disc, px.
pub(super) fn dot(canvas: &mut Canvas, x: f64, y: f64, radius: f64, fill: Fill, edge: Option<Line>) {
    if !(x.is_finite() && y.is_finite()) {
        return;
    }
    let d = format!(
        "M{:.2} {y:.2}a{radius:.2} {radius:.2} 0 1 0 {:.2} 0a{radius:.2} {radius:.2} 0 1 0 {:.2} 0z",
        x - radius,
        2.0 * radius,
        -2.0 * radius
    );
    canvas.path(&d, fill, edge);
}

/// Round numbers inside a range: steps of 1, 2 or 5 times a power of ten, about `wanted` of them and at least two, because a
/// single one is no scale.
pub(super) fn ticks(lo: f64, hi: f64, wanted: f64) -> (Vec<f64>, usize) {
    let span = hi - lo;
    if !(span > 0.0 && span.is_finite()) {
        return (vec![lo], 1);
    }
    let rough = span / wanted;
    let power = 10f64.powf(rough.log10().floor());
    let inside = |step: f64| ((lo / step).ceil() as i64, (hi / step).floor() as i64);
    let steps = [0.2, 0.5, 1.0, 2.0, 5.0, 10.0].map(|m| m * power);
    let usual = steps.iter().position(|s| *s >= rough).unwrap_or(steps.len() - 1);
    let two = |step: &&f64| inside(**step).1 > inside(**step).0;
    let step = steps[..=usual].iter().rev().find(two).copied().unwrap_or(steps[0]);
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    let (first, last) = inside(step);
    ((first..=last).take(50).map(|i| i as f64 * step).collect(), decimals)
}

/// A range that holds all values with a little air; never below zero for figures that cannot be.
pub(super) fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let (lo, hi) =
        values.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if lo > hi {
        return None;
    }
    let air = ((hi - lo) * 0.08).max(hi.abs() * 0.02);
    // Where all is nought, any scale would do but one of millionths.
    let air = if air > 0.0 { air } else { 1.0 };
    Some((if lo >= 0.0 { (lo - air).max(0.0) } else { lo - air }, hi + air))
}

/// An axis of a figure: what it spans, and about how many marks it is to have.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Scale {
    range: (f64, f64),
    marks: f64,
}

impl Scale {
    /// Holds all values, with about so many marks. A figure that counts has its marks at whole numbers, and room for more than one
    /// of them even where all values are equal.
    fn of(figure: Figure, values: impl Iterator<Item = f64>, marks: f64) -> Option<Self> {
        if !figure.counts() {
            return range(values).map(|range| Self { range, marks });
        }
        let whole = |(lo, hi): (f64, f64), v: f64| (lo.min(v.floor()), hi.max(v.ceil()));
        let (lo, hi) = values.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), whole);
        let ends = if lo == hi { [(lo - 1.0).max(0.0), hi + 1.0] } else { [lo, hi] };
        let range = range(ends.into_iter())?;
        // Never more marks than whole numbers, so that no step is less than one.
        Some(Self { range, marks: marks.min(range.1 - range.0) })
    }
}

impl Scale {
    /// The same that spans no less than so much, about its middle; never below zero where it was not.
    fn at_least(self, span: f64) -> Self {
        let (lo, hi) = self.range;
        let more = (span - (hi - lo)).max(0.0);
        let down = if lo >= 0.0 { (more / 2.0).min(lo) } else { more / 2.0 };
        Self { range: (lo - down, hi + more - down), ..self }
    }
}

/// Vertical hairlines with numbers under the frame.
pub(super) fn x_axis(canvas: &mut Canvas, axes: &Axes, wanted: f64) {
    let (marks, decimals) = ticks(axes.x.0, axes.x.1, wanted);
    for mark in marks {
        let x = axes.px(mark);
        canvas.polyline(&[(x, axes.frame.y), (x, axes.frame.bottom())], Line::of(theme::HAIR, 1.5));
        let text = crate::drawing::units::number(mark, decimals);
        canvas.text(x, axes.frame.bottom() + 26.0, &text, Type::of(size::NOTE).fill(theme::SOFT).middle());
    }
}

/// Level hairlines with numbers left of the frame.
pub(super) fn y_axis(canvas: &mut Canvas, axes: &Axes, wanted: f64) {
    let (marks, decimals) = ticks(axes.y.0, axes.y.1, wanted);
    for mark in marks {
        let y = axes.py(mark);
        canvas.polyline(&[(axes.frame.x, y), (axes.frame.right(), y)], Line::of(theme::HAIR, 1.5));
        let text = crate::drawing::units::number(mark, decimals);
        canvas.text(axes.frame.x - 12.0, y + 7.0, &text, Type::of(size::NOTE).fill(theme::SOFT).end());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_names_of_a_drawing_are_set_in_one_size() {
        let room = lettering::width("Ann Ash", size::FIGURE, Weight::SemiBold) + 1.0;
        let of = |names: &[&str]| one_size(names.iter().copied(), size::FIGURE, room);
        assert!((of(&["Ann", "Ann Ash"]) - size::FIGURE).abs() < 1e-9);
        assert!((of(&["Ann", "Zoë O'Anyone"]) - size::LABEL).abs() < 1e-9);
    }

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks(17.0, 41.0, 4.0), (vec![20.0, 30.0, 40.0], 0));
        assert_eq!(ticks(0.0, 0.5, 5.0).1, 1);
        assert_eq!(ticks(23.0, 38.0, 3.0), (vec![25.0, 30.0, 35.0], 0), "a single number is no scale");
        assert_eq!(ticks(3.0, 3.0, 4.0).0, [3.0]);
        assert_eq!(ticks(f64::NAN, 3.0, 4.0).0.len(), 1);
    }

    #[test]
    fn what_counts_is_marked_with_whole_numbers() {
        let marks = |values: &[f64], wanted: f64| {
            let scale = Scale::of(Figure::PassesPerSection, values.iter().copied(), wanted).expect("values");
            assert!(values.iter().all(|v| (scale.range.0..=scale.range.1).contains(v)), "{scale:?}");
            ticks(scale.range.0, scale.range.1, scale.marks).0
        };
        for wanted in [3.0, 4.0] {
            assert_eq!(marks(&[2.0, 2.0], wanted), [1.0, 2.0, 3.0]);
            assert_eq!(marks(&[2.25, 2.5], wanted), [2.0, 3.0]);
            assert_eq!(marks(&[2.0, 2.75], wanted), [2.0, 3.0]);
            assert_eq!(marks(&[1.0, 1.0], wanted), [0.0, 1.0, 2.0]);
        }
        for many in [[2.0, 3.5], [1.0, 9.5], [0.0, 40.0]] {
            let marks = marks(&many, 4.0);
            assert!(marks.len() >= 2 && marks.iter().all(|mark| mark.fract() == 0.0), "{marks:?}");
        }
        // What does not count goes on as it did.
        let speed = Scale::of(Figure::ArmSpeed, [2.0, 2.0].into_iter(), 4.0).expect("values");
        assert_eq!((speed.range, speed.marks), ((1.96, 2.04), 4.0));
    }

    #[test]
    fn an_axis_spans_no_less_than_it_is_told_to() {
        let of = |lo, hi, span| Scale { range: (lo, hi), marks: 3.0 }.at_least(span).range;
        assert_eq!(of(20.0, 21.0, 5.0), (18.0, 23.0));
        assert_eq!(of(1.0, 2.0, 5.0), (0.0, 5.0), "no figure is below zero");
        assert_eq!(of(10.0, 30.0, 5.0), (10.0, 30.0));
    }

    #[test]
    fn ranges_hold_what_they_are_given_and_nothing_is_no_range() {
        assert_eq!(range(std::iter::empty()), None);
        assert_eq!(range([f64::NAN].into_iter()), None);
        let (lo, hi) = range([2.0, 3.0].into_iter()).expect("values");
        assert!(lo < 2.0 && hi > 3.0);
        assert_eq!(range([0.0, 1.0].into_iter()).expect("values").0, 0.0);
    }
}
