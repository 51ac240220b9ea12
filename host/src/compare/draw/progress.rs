//! Each technician's days in a row, figure by figure, with the line through them where the change stands out.

use super::{MARGIN, MOST_GROUPS, Scale, WIDTH, dot, head, name, y_axis};
use crate::compare::{Comparison, Figure, Group, WorkingDay};
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;

const ROW: f64 = 190.0;
const AXIS: f64 = 74.0;
const GAP: f64 = 26.0;

/// Progress over working days as PNG: a row per figure, a column per technician, one scale along a row.
///
/// # Errors
/// When the picture cannot be made.
pub fn progress_png(comparison: &Comparison, units: Units) -> Result<Vec<u8>, DrawingError> {
    drawn(comparison, units).png()
}

fn drawn(comparison: &Comparison, units: Units) -> Canvas {
    // Four columns are as narrow as a row of days can still be read.
    let groups: Vec<&Group> = comparison.groups.iter().take(MOST_GROUPS.min(4)).collect();
    let figures: Vec<Figure> =
        Figure::ALL.into_iter().filter(|f| groups.iter().any(|g| g.data.days[f.index()].len() > 1)).collect();
    let mut canvas = Canvas::new(WIDTH as u32, (300.0 + figures.len() as f64 * (ROW + 62.0)) as u32);
    let mut under =
        "One dot is a working day, first to last, in every row at the same place; days off are not counted. A line is drawn \
                     where the change stands out."
            .to_owned();
    if comparison.groups.len() > groups.len() {
        under.push_str(&format!(" The first {} of {} are shown.", groups.len(), comparison.groups.len()));
    }
    if figures.is_empty() {
        under = "None of these has two working days yet: there is no progress to show.".to_owned();
    }
    let top = head(&mut canvas, "Progress over working days", &under, comparison.invented());
    let width = (WIDTH - 2.0 * MARGIN - AXIS) / groups.len().max(1) as f64;
    let progress = Progress { comparison, groups: &groups, units, width };
    for (column, group) in groups.iter().enumerate() {
        let x = MARGIN + AXIS + column as f64 * width;
        name(&mut canvas, (x, top + 30.0), &group.data.name, size::FINDING, width - GAP);
        if let Some((first, last)) = group.data.span() {
            let span = if first == last { first.to_owned() } else { format!("{first} to {last}") };
            canvas.text(x, top + 60.0, &span, Type::of(size::NOTE).fill(theme::SOFT));
        }
    }
    for (row, figure) in figures.iter().enumerate() {
        let y = top + 84.0 + row as f64 * (ROW + 62.0);
        let unit = figure.unit(units);
        let title = if unit.is_empty() { figure.title().to_owned() } else { format!("{}, {unit}", figure.title()) };
        canvas.text(MARGIN, y + 26.0, &title, Type::of(size::HEAD).bold());
        progress.row(&mut canvas, *figure, y + 42.0);
    }
    canvas
}

/// What makes a working day one and not another.
fn key(day: &WorkingDay) -> (&str, &str) {
    (&day.date, &day.technician)
}

/// A group's working days in order, with whatever figure: the places along each of its rows.
fn working_days(group: &Group) -> Vec<(&str, &str)> {
    let mut days: Vec<_> = group.data.days.iter().flatten().map(key).collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// What all rows show.
struct Progress<'a> {
    comparison: &'a Comparison,
    /// One a column.
    groups: &'a [&'a Group],
    units: Units,
    /// Of a column.
    width: f64,
}

impl Progress<'_> {
    fn row(&self, canvas: &mut Canvas, figure: Figure, y: f64) {
        let Self { comparison, groups, units, width } = *self;
        let i = figure.index();
        let shown = |v: f64| figure.shown(v, units);
        let days = groups.iter().flat_map(|g| g.data.days[i].iter().map(|d| shown(d.gave.mean)));
        let Some(scale) = Scale::of(figure, days, 3.0) else { return };
        for (column, group) in groups.iter().enumerate() {
            let frame = Frame { x: MARGIN + AXIS + column as f64 * width, y, w: width - GAP, h: ROW - 40.0 };
            let all_days = working_days(group);
            let place = |day: &WorkingDay| all_days.partition_point(|other| *other < key(day)) as f64;
            let most = all_days.len().max(2) as f64;
            let axes = Axes { frame, x: (-0.5, most - 0.5), y: scale.range };
            if column == 0 {
                y_axis(canvas, &axes, scale.marks);
            } else {
                let (marks, _) = super::ticks(scale.range.0, scale.range.1, scale.marks);
                for mark in marks {
                    let at = axes.py(mark);
                    canvas.polyline(&[(frame.x, at), (frame.right(), at)], Line::of(theme::HAIR, 1.5));
                }
            }
            let change = comparison.changes.iter().find(|c| c.figure == figure && c.group == column && c.stands_out);
            if let Some(change) = change {
                let ends = (figure.possible(change.trend.ends.0), figure.possible(change.trend.ends.1));
                // Straight over the days with this figure, which the trend counts.
                let days = &group.data.days[i];
                let steps = days.len().max(2) as f64 - 1.0;
                let at = |j: usize| ends.0 + (ends.1 - ends.0) * j as f64 / steps;
                let point = |(j, day): (usize, &WorkingDay)| (axes.px(place(day)), axes.py(shown(at(j))));
                let line: Vec<(f64, f64)> = days.iter().enumerate().map(point).collect();
                canvas.polyline(&line, Line::of(theme::DATA_INTERVAL, 9.0));
                let words = format!("{} → {}", figure.number(ends.0, units), figure.words(ends.1, units));
                let set = Type::of(size::NOTE).bold().fill(theme::ACCENT_INK).end();
                canvas.text(frame.right(), y + ROW - 14.0, &words, set);
            }
            // Many days: smaller dots, so that they stay apart.
            let radius = (frame.w / most * 0.35).clamp(2.0, 6.5);
            for day in &group.data.days[i] {
                dot(canvas, axes.px(place(day)), axes.py(shown(day.gave.mean)), radius, Fill::Plain(theme::DATA), None);
            }
            if group.data.days[i].is_empty() {
                canvas.text(frame.x, y + 40.0, "not known", Type::of(size::NOTE).fill(theme::SOFT));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::model::Day;
    use crate::compare::{By, GroupDays};

    #[test]
    fn a_day_stands_at_one_place_in_every_row() {
        let mut data = GroupDays { name: "Technician A".into(), ..GroupDays::default() };
        let days = |known: &[u32]| {
            let day = |d: &u32| WorkingDay {
                date: format!("2026-03-{d:02}"),
                technician: "Technician A".into(),
                gave: Day::of(&[f64::from(*d)]).unwrap(),
            };
            known.iter().map(day).collect::<Vec<_>>()
        };
        data.days[Figure::ArmSpeed.index()] = days(&[2, 3, 4, 5, 9, 10]);
        // The thermometer was off on one day.
        data.days[Figure::SurfaceRise.index()] = days(&[2, 3, 5, 9, 10]);
        let mut comparison = Comparison::of(By::Technician, vec![data]);
        comparison.changes.iter_mut().for_each(|change| change.stands_out = true);
        let svg = drawn(&comparison, Units::Si).svg();
        let starts = |d: &&str| d.contains("a6.50 6.50 0 1 0").then(|| d[1..].split(' ').next().unwrap().to_owned());
        let mut places: Vec<String> = svg.split("d=\"").skip(1).filter_map(|d| starts(&d)).collect();
        assert_eq!(places.len(), 11, "{places:?}");
        places.sort_unstable();
        places.dedup();
        assert_eq!(places.len(), 6, "{places:?}");
    }
}
