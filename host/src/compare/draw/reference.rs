//! A session beside the trainer's and what the plan asks for, section by section, on one sheet with what to do next.

use super::{MARGIN, Scale, WIDTH, head, ticks};
use crate::analysis::Interval;
use crate::compare::Figure;
use crate::compare::lesson::{Lesson, Target};
use crate::compare::reference::ReferenceSection;
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::{Band, Units};

/// What a column shows of each section.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    /// The mean over its passes.
    Mean(Figure),
    /// The warmest moment of all its passes: a mean would hide the pass that was too hot.
    HighestRise,
    /// How long it was over the limit in all its passes, s.
    OverLimit,
}

/// With the share of the sheet's width each has: speeds stand there with their intervals.
const COLUMNS: [(Column, f64); 7] = [
    (Column::HighestRise, 1.0),
    (Column::OverLimit, 1.0),
    (Column::Mean(Figure::ArmSpeed), 2.2),
    (Column::Mean(Figure::InBand), 1.0),
    (Column::Mean(Figure::Evenness), 1.0),
    (Column::Mean(Figure::RubbingEvenness), 1.0),
    (Column::Mean(Figure::PassesPerSection), 1.0),
];
/// Between two columns, px.
const APART: f64 = 40.0;
const ROW: f64 = 64.0;
const NAMES: f64 = 130.0;
/// Of a row, what its figures take from its upper edge on, px.
const FIGURES_HIGH: f64 = 19.0;
/// Of the cautions below, px.
const LEADING: f64 = 27.0;
/// No line is broken before one of them.
const UNITS: [&str; 5] = ["%", "mm/s", "in/s", "K", "°F"];
/// Of what to do next, px.
const LESSON_LEADING: f64 = 36.0;

/// What the sheet shows.
#[derive(Clone, Debug)]
pub struct ReferenceSheet<'a> {
    /// Whose session is the reference, and when.
    pub trainer: String,
    /// Whose is shown against it, and when.
    pub shown: String,
    /// The reference's sections.
    pub reference: &'a [ReferenceSection],
    /// The sections shown.
    pub sections: &'a [ReferenceSection],
    /// The plan of the session shown.
    pub target: Target,
    /// What to do next.
    pub lesson: &'a Lesson,
    /// What else differs than the hands.
    pub cautions: &'a [String],
    /// Whether any figure is invented.
    pub invented: bool,
}

impl Column {
    /// The same as a figure of comparison, whose units and digits it has.
    fn figure(self) -> Option<Figure> {
        match self {
            Self::Mean(figure) => Some(figure),
            Self::HighestRise => Some(Figure::SurfaceRise),
            Self::OverLimit => None,
        }
    }

    fn title(self) -> &'static str {
        match self {
            Self::Mean(figure) => figure.title(),
            Self::HighestRise => "Highest surface rise",
            Self::OverLimit => "Over the heat limit",
        }
    }

    fn unit(self, units: Units) -> &'static str {
        self.figure().map_or("s", |figure| figure.unit(units))
    }

    /// Its value in a section, in the unit shown.
    fn of(self, section: &ReferenceSection, units: Units) -> Option<f64> {
        let value = match self {
            Self::Mean(figure) => section.means[figure.index()],
            Self::HighestRise => section.highest_rise_k,
            Self::OverLimit => section.over_limit_s,
        };
        value.map(|v| self.shown(v, units)).filter(|v| v.is_finite())
    }

    fn shown(self, value: f64, units: Units) -> f64 {
        self.figure().map_or(value, |figure| figure.shown(value, units))
    }

    /// The interval of its value, in the unit shown.
    fn interval(self, section: &ReferenceSection, units: Units) -> Option<(f64, f64)> {
        let (lo, hi) = section.arm_speed_90_mps.filter(|_| self == Self::Mean(Figure::ArmSpeed))?;
        Some((self.shown(lo, units), self.shown(hi, units)))
    }

    /// What the plan asks of it, in the unit shown, and how that is named.
    fn asked(self, target: Target, units: Units) -> Option<(Vec<f64>, String)> {
        let scale = crate::drawing::units::Scale(units);
        match self {
            Self::Mean(Figure::ArmSpeed) => {
                let Band { lo, hi } = target.pace_mps;
                let [from, to] = [lo, hi].map(|mps| scale.arm_speed_limit_number(mps));
                Some((vec![self.shown(lo, units), self.shown(hi, units)], format!("target {from}–{to}")))
            }
            Self::HighestRise => {
                let limit = target.heat_limit_k;
                Some((vec![self.shown(limit, units)], format!("limit {}", scale.rise_limit_number(limit))))
            }
            _ => None,
        }
        .filter(|(ends, _)| ends.iter().all(|end| end.is_finite()))
    }

    fn scale(self, values: impl Iterator<Item = f64>, units: Units) -> Option<Scale> {
        match self.figure() {
            Some(figure) => {
                let scatter = figure.shown(figure.usual_scatter(), units);
                Scale::of(figure, values, 3.0).map(|scale| scale.at_least(scatter))
            }
            // From nought, where no limit was passed; ten seconds more or less is no difference between hands.
            None => super::range(values.chain([0.0])).map(|range| Scale { range, marks: 3.0 }.at_least(10.0)),
        }
    }

    /// A section's figure as it stands over its dot, with its interval where there is one and `with_interval`.
    fn words(self, section: &ReferenceSection, target: Target, units: Units, with_interval: bool) -> Option<String> {
        let value = self.of(section, units)?;
        let number = |decimals| crate::drawing::units::number(value, decimals);
        let scale = crate::drawing::units::Scale(units);
        match self {
            Self::Mean(Figure::ArmSpeed) => {
                let speed = section.means[Figure::ArmSpeed.index()]?;
                let Some((lo, hi)) = section.arm_speed_90_mps.filter(|_| with_interval) else {
                    return Some(number(Figure::ArmSpeed.decimals(units)));
                };
                let told = Interval { lo, value: speed, hi };
                let (speed, interval) = scale.arm_speed_and_interval(told, Some(target.pace_mps));
                Some(format!("{speed} ({interval})"))
            }
            Self::HighestRise => Some(scale.rise_number_beside(section.highest_rise_k?, Some(target.heat_limit_k))),
            // What is not nothing is no less than a second.
            Self::OverLimit if value > 0.0 => Some(crate::drawing::units::number(value.max(1.0), 0)),
            Self::OverLimit => Some(number(0)),
            // Passes of one section are whole ones.
            Self::Mean(figure) => Some(number(if figure.counts() { 0 } else { figure.decimals(units) })),
        }
    }
}

/// The sheet as PNG.
///
/// # Errors
/// When the picture cannot be made.
pub fn reference_png(sheet: &ReferenceSheet<'_>, units: Units) -> Result<Vec<u8>, DrawingError> {
    let count = sheet.sections.len().max(sheet.reference.len()).max(1);
    let wrapped = |text: &String, size: f64, weight: Weight| {
        let text = UNITS
            .iter()
            .fold(lettering::safe(text, 600), |text, unit| text.replace(&format!(" {unit}"), &format!("\u{a0}{unit}")));
        lettering::wrap(&text, size, weight, WIDTH - 2.0 * MARGIN)
    };
    let cautions: Vec<String> =
        sheet.cautions.iter().flat_map(|caution| wrapped(caution, size::NOTE, Weight::Regular)).collect();
    let next: Vec<String> =
        sheet.lesson.next.iter().flat_map(|line| wrapped(line, size::HEAD, Weight::SemiBold)).collect();
    let of_reference: Vec<String> =
        sheet.lesson.of_reference.iter().flat_map(|line| wrapped(line, size::BODY, Weight::Regular)).collect();
    let below = if cautions.is_empty() { 0.0 } else { 30.0 + LEADING * cautions.len() as f64 };
    let above = LESSON_LEADING * (next.len() + of_reference.len()) as f64 + 24.0;
    let mut canvas = Canvas::new(WIDTH as u32, (390.0 + above + ROW * count as f64 + 60.0 + below) as u32);
    let top = head(
        &mut canvas,
        &format!("{} beside {}", sheet.shown, sheet.trainer),
        &format!(
            "Section by section: the open ring is the reference ({}), the full dot the session shown; over them both figures, the \
             arrow from the reference's to the session's. The surface rise is the warmest moment of all passes on the section, what \
             stands in s their time over the limit; other figures are means over its passes. Bars under the dots and figures in \
             brackets: 90 % intervals. Dashed: what the plan of the session shown asks for.",
            sheet.trainer
        ),
        sheet.invented,
    );
    let top = canvas.lines(MARGIN, top + 18.0, &next, Type::of(size::HEAD).bold(), LESSON_LEADING);
    let top = canvas.lines(MARGIN, top, &of_reference, Type::of(size::BODY), LESSON_LEADING);
    let y0 = top + 70.0;
    for number in 0..count {
        let y = y0 + ROW * (number as f64 + 0.5);
        canvas.text(MARGIN, y + 8.0, &format!("Section {}", number + 1), Type::of(size::LABEL));
    }
    let share = (WIDTH - 2.0 * MARGIN - NAMES + APART) / COLUMNS.iter().map(|(_, share)| share).sum::<f64>();
    let mut x = MARGIN + NAMES;
    for (column, wide) in COLUMNS {
        let frame = Frame { x, y: y0, w: wide * share - APART, h: ROW * count as f64 };
        draw_column(&mut canvas, sheet, column, units, frame);
        x += wide * share;
    }
    // Under the scales and their units.
    canvas.lines(MARGIN, y0 + ROW * count as f64 + 110.0, &cautions, Type::of(size::NOTE), LEADING);
    canvas.png()
}

fn draw_column(canvas: &mut Canvas, sheet: &ReferenceSheet<'_>, column: Column, units: Units, frame: Frame) {
    let title = lettering::wrap(column.title(), size::LABEL, Weight::SemiBold, frame.w + APART / 2.0);
    let title: Vec<String> = title.into_iter().take(2).collect();
    let y = frame.y - 14.0 - 25.0 * (title.len().max(1) - 1) as f64;
    canvas.lines(frame.x, y, &title, Type::of(size::LABEL).bold(), 25.0);
    let shown = |section: &ReferenceSection| column.of(section, units);
    let asked = column.asked(sheet.target, units);
    let values = || sheet.reference.iter().chain(sheet.sections);
    if values().filter_map(shown).next().is_none() {
        canvas.text(frame.x, frame.y + 40.0, "not known", Type::of(size::NOTE).fill(theme::SOFT));
        return;
    }
    let ends = values().filter_map(|s| column.interval(s, units)).flat_map(|(lo, hi)| [lo, hi]);
    let lines = asked.iter().flat_map(|(ends, _)| ends.iter().copied());
    let Some(scale) = column.scale(values().filter_map(shown).chain(ends).chain(lines), units) else { return };
    let axes = Axes { frame, x: scale.range, y: (0.0, 1.0) };
    furniture(canvas, &axes, &scale, column.unit(units), asked.as_ref());
    for row in 0..sheet.reference.len().max(sheet.sections.len()) {
        let y = frame.y + ROW * (row as f64 + 0.5);
        let both = [sheet.reference.get(row), sheet.sections.get(row)];
        let numbers = both.map(|section| section.and_then(shown));
        let wordings = [true, false].map(|with_interval| {
            let told = |s: Option<&ReferenceSection>| column.words(s?, sheet.target, units, with_interval);
            numbers_words(both.map(told), numbers)
        });
        let room = frame.w + APART - 8.0;
        let fits = |text: &&String| lettering::width(text, size::NOTE, Weight::Regular) <= room;
        let text = wordings.iter().find(fits).unwrap_or(&wordings[1]);
        canvas.text(frame.x, y - 17.0, text, Type::of(size::NOTE).tabular().halo());
        let [theirs, ours] = numbers.map(|v| v.map(|v| axes.px(v)));
        if let (Some(a), Some(b)) = (theirs, ours) {
            canvas.polyline(&[(a, y), (b, y)], Line::of(theme::DATA, 3.0));
        }
        for (section, dy, ink) in [(both[0], 14.0, theme::INK), (both[1], 20.0, theme::DATA)] {
            if let Some((lo, hi)) = section.and_then(|s| column.interval(s, units)) {
                canvas.polyline(&[(axes.px(lo), y + dy), (axes.px(hi), y + dy)], Line::of(ink, 2.4));
            }
        }
        if let Some(x) = theirs {
            super::dot(canvas, x, y, 9.0, Fill::Plain(theme::PAPER), Some(Line::of(theme::INK, 3.0)));
        }
        if let Some(x) = ours {
            super::dot(canvas, x, y, 9.0, Fill::Plain(theme::DATA), None);
        }
    }
}

/// A line down the frame that leaves out where figures stand over their dots.
fn upright(canvas: &mut Canvas, x: f64, frame: Frame, line: Line) {
    let mut y = frame.y;
    while y + 1.0 < frame.bottom() {
        canvas.polyline(&[(x, y + FIGURES_HIGH), (x, y + ROW)], line);
        y += ROW;
    }
}

/// Marks with their numbers, the unit, and what the plan asks for.
fn furniture(canvas: &mut Canvas, axes: &Axes, scale: &Scale, unit: &str, asked: Option<&(Vec<f64>, String)>) {
    let frame = axes.frame;
    let note = Type::of(size::NOTE).fill(theme::SOFT);
    if let Some(([lo, hi], _)) = asked.and_then(|(ends, words)| Some((<[f64; 2]>::try_from(&ends[..]).ok()?, words))) {
        let (a, b) = (axes.px(lo), axes.px(hi));
        canvas.rect(Frame { x: a, w: b - a, ..frame }, Fill::Plain(theme::BAND), None);
    }
    let (marks, decimals) = ticks(scale.range.0, scale.range.1, scale.marks);
    let mut free = f64::NEG_INFINITY;
    for mark in &marks {
        let x = axes.px(*mark);
        upright(canvas, x, frame, Line::of(theme::HAIR, 1.5));
        let text = crate::drawing::units::number(*mark, decimals);
        let half = lettering::width(&text, size::NOTE, Weight::Regular) / 2.0;
        if x - half > free {
            canvas.text(x, frame.bottom() + 26.0, &text, note.middle());
            free = x + half + 10.0;
        }
    }
    canvas.text(frame.x, frame.bottom() + 54.0, unit, note);
    let Some((ends, words)) = asked else { return };
    let ink = if ends.len() == 2 { theme::BAND_EDGE } else { theme::INK };
    for end in ends {
        let x = axes.px(*end);
        upright(canvas, x, frame, Line::of(ink, 2.2).dashed(8.0, 5.0));
    }
    let middle = axes.px(ends.iter().sum::<f64>() / ends.len() as f64);
    let width = lettering::width(words, size::NOTE, Weight::Regular);
    let from = frame.x + lettering::width(unit, size::NOTE, Weight::Regular) + 14.0;
    let x = (middle - width / 2.0).min(frame.right() + APART / 2.0 - width).max(from);
    canvas.text(x, frame.bottom() + 54.0, words, Type::of(size::NOTE));
}

/// "8.3 → 8.5" or "8.1 ← 8.3": from the reference's figure to the session's as they lie, the smaller one left.
fn numbers_words([theirs, ours]: [Option<String>; 2], values: [Option<f64>; 2]) -> String {
    match (theirs, ours) {
        (Some(theirs), Some(ours)) if values[1] < values[0] => format!("{ours} ← {theirs}"),
        (Some(theirs), Some(ours)) => format!("{theirs} → {ours}"),
        (Some(theirs), None) => format!("{theirs} →"),
        (None, Some(ours)) => format!("→ {ours}"),
        (None, None) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TARGET: Target = Target { pace_mps: Band { lo: 0.0127, hi: 0.0254 }, heat_limit_k: 100.0 / 9.0 };

    fn section(figure: Figure, value: f64) -> ReferenceSection {
        let mut section = ReferenceSection::default();
        section.means[figure.index()] = Some(value);
        section
    }

    #[test]
    fn both_figures_are_told_as_far_as_they_are_known() {
        let words = |figure: Figure, values: [Option<f64>; 2]| {
            let column = Column::Mean(figure);
            let sections = values.map(|v| v.map(|v| section(figure, v)));
            let told = sections.each_ref().map(|s| column.words(s.as_ref()?, TARGET, Units::Si, true));
            numbers_words(told, sections.each_ref().map(|s| column.of(s.as_ref()?, Units::Si)))
        };
        assert_eq!(words(Figure::Evenness, [Some(0.0831), Some(0.0852)]), "8.3 → 8.5");
        let left = words(Figure::ArmSpeed, [Some(0.0674), Some(0.0165)]);
        assert_eq!(left, "16.5 ← 67.4", "the dot lies left of the ring");
        assert_eq!(words(Figure::PassesPerSection, [Some(2.0), Some(3.0)]), "2 → 3");
        assert_eq!(words(Figure::ArmSpeed, [Some(0.02), None]), "20.0 →");
        assert_eq!(words(Figure::ArmSpeed, [None, Some(0.02)]), "→ 20.0");
        assert_eq!(words(Figure::ArmSpeed, [None, None]), "");
    }

    #[test]
    fn a_speed_stands_with_its_interval_and_heat_with_its_excess() {
        let fast = ReferenceSection { arm_speed_90_mps: Some((0.0234, 0.0361)), ..section(Figure::ArmSpeed, 0.0288) };
        let told = |with_interval| Column::Mean(Figure::ArmSpeed).words(&fast, TARGET, Units::Si, with_interval);
        assert_eq!((told(true).as_deref(), told(false).as_deref()), (Some("29 (23–36)"), Some("28.8")));
        let hot =
            ReferenceSection { highest_rise_k: Some(44.3), over_limit_s: Some(0.4), ..ReferenceSection::default() };
        let words = |column: Column, units| column.words(&hot, TARGET, units, true).expect("known");
        assert_eq!(words(Column::HighestRise, Units::Si), "44.3");
        assert_eq!(words(Column::HighestRise, Units::Us), "80");
        assert_eq!(words(Column::OverLimit, Units::Si), "1", "what is not nothing");
        assert_eq!(Column::HighestRise.asked(TARGET, Units::Us).expect("a limit").1, "limit 20");
        assert_eq!(Column::Mean(Figure::ArmSpeed).asked(TARGET, Units::Si).expect("a band").1, "target 12.7–25.4");
    }
}
