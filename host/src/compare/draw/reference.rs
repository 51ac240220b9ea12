//! A session beside the trainer's, section by section, on one sheet.

use super::{MARGIN, Scale, WIDTH, head, ticks};
use crate::compare::Figure;
use crate::drawing::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Line, Type};
use crate::drawing::lettering::{self, Weight};
use crate::drawing::theme::{self, size};
use crate::guidance::Units;

const FIGURES: [Figure; 6] = [
    Figure::ArmSpeed,
    Figure::Evenness,
    Figure::InBand,
    Figure::SurfaceRise,
    Figure::RubbingEvenness,
    Figure::PassesPerSection,
];
const ROW: f64 = 64.0;
/// From a row's dots up to the figures' baseline, px.
const FIGURES_UP: f64 = 17.0;
const NAMES: f64 = 170.0;
/// Of the cautions below, px.
const LEADING: f64 = 27.0;

/// One section's figures, mean over its passes, by place in [`Figure::ALL`].
pub type ReferenceSection = [Option<f64>; crate::compare::FIGURES];

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
    /// What else differs than the hands.
    pub cautions: &'a [String],
    /// Whether any figure is invented.
    pub invented: bool,
}

/// The sheet as PNG.
///
/// # Errors
/// When the picture cannot be made.
pub fn reference_png(sheet: &ReferenceSheet<'_>, units: Units) -> Result<Vec<u8>, DrawingError> {
    drawn(sheet, units).png()
}

fn drawn(sheet: &ReferenceSheet<'_>, units: Units) -> Canvas {
    let count = sheet.sections.len().max(sheet.reference.len()).max(1);
    let cautions: Vec<String> = sheet
        .cautions
        .iter()
        .flat_map(|caution| {
            lettering::wrap(&lettering::safe(caution, 600), size::NOTE, Weight::Regular, WIDTH - 2.0 * MARGIN)
        })
        .collect();
    let below = if cautions.is_empty() { 0.0 } else { 30.0 + LEADING * cautions.len() as f64 };
    let mut canvas = Canvas::new(WIDTH as u32, (350.0 + ROW * count as f64 + 60.0 + below) as u32);
    let top = head(
        &mut canvas,
        &format!("{} beside {}", sheet.shown, sheet.trainer),
        &format!(
            "Section by section. The open ring is the reference ({}), the full dot the session shown; the line between them is the \
             difference; over it both figures as they lie, the arrow from the reference's to the session's. The green strip spans \
             all sections of the reference. Figures are means over a section's passes; of the surface rise, over their warmest moments.",
            sheet.trainer
        ),
        sheet.invented,
    );
    let width = (WIDTH - 2.0 * MARGIN - NAMES) / FIGURES.len() as f64;
    let y0 = top + 70.0;
    for number in 0..count {
        let y = y0 + ROW * (number as f64 + 0.5);
        canvas.text(MARGIN, y + 8.0, &format!("Section {}", number + 1), Type::of(size::LABEL));
    }
    for (column, figure) in FIGURES.into_iter().enumerate() {
        let frame = Frame { x: MARGIN + NAMES + column as f64 * width, y: y0, w: width - 44.0, h: ROW * count as f64 };
        draw_figure(&mut canvas, sheet, figure, units, frame);
    }
    // Under the scales and their units.
    canvas.lines(MARGIN, y0 + ROW * count as f64 + 110.0, &cautions, Type::of(size::NOTE), LEADING);
    canvas
}

fn draw_figure(canvas: &mut Canvas, sheet: &ReferenceSheet<'_>, figure: Figure, units: Units, frame: Frame) {
    let i = figure.index();
    let title = lettering::wrap(figure.title(), size::LABEL, Weight::SemiBold, frame.w + 30.0);
    let title: Vec<String> = title.into_iter().take(2).collect();
    let y = frame.y - 14.0 - 25.0 * (title.len().max(1) - 1) as f64;
    canvas.lines(frame.x, y, &title, Type::of(size::LABEL).bold(), 25.0);
    let shown = |section: &ReferenceSection| section[i].map(|v| figure.shown(v, units));
    let all = sheet.reference.iter().chain(sheet.sections).filter_map(shown);
    let Some(scale) = Scale::of(figure, all, 3.0) else {
        canvas.text(frame.x, frame.y + 40.0, "not known", Type::of(size::NOTE).fill(theme::SOFT));
        return;
    };
    let scale = scale.at_least(figure.shown(figure.usual_scatter(), units));
    let axes = Axes { frame, x: scale.range, y: (0.0, 1.0) };
    let reference: Vec<f64> = sheet.reference.iter().filter_map(shown).collect();
    let lo = reference.iter().copied().fold(f64::INFINITY, f64::min);
    let hi = reference.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if lo <= hi {
        let (a, b) = (axes.px(lo), axes.px(hi).max(axes.px(lo) + 3.0));
        canvas.rect(Frame { x: a, w: b - a, ..frame }, Fill::Plain(theme::BAND), None);
    }
    let (marks, decimals) = ticks(scale.range.0, scale.range.1, scale.marks);
    let rows = sheet.reference.len().max(sheet.sections.len());
    for mark in &marks {
        let x = axes.px(*mark);
        // Not through the figures, which stand over each row's dots.
        for row in 0..rows {
            let middle = frame.y + ROW * (row as f64 + 0.5);
            canvas.polyline(&[(x, middle - FIGURES_UP + 5.0), (x, middle + ROW / 2.0)], Line::of(theme::HAIR, 1.5));
        }
        let text = crate::drawing::units::number(*mark, decimals);
        canvas.text(x, frame.bottom() + 26.0, &text, Type::of(size::NOTE).fill(theme::SOFT).middle());
    }
    canvas.text(frame.x, frame.bottom() + 54.0, figure.unit(units), Type::of(size::NOTE).fill(theme::SOFT));
    for row in 0..rows {
        let y = frame.y + ROW * (row as f64 + 0.5);
        let of = |sections: &[ReferenceSection]| sections.get(row).and_then(shown);
        let numbers = [of(sheet.reference), of(sheet.sections)];
        let [theirs, ours] = numbers.map(|v| v.map(|v| axes.px(v)));
        let text = numbers_words(figure, numbers, units);
        canvas.text(frame.x, y - FIGURES_UP, &text, Type::of(size::NOTE).tabular().halo());
        if let (Some(a), Some(b)) = (theirs, ours) {
            canvas.polyline(&[(a, y), (b, y)], Line::of(theme::DATA, 3.0));
        }
        if let Some(x) = theirs {
            super::dot(canvas, x, y, 9.0, Fill::Plain(theme::PAPER), Some(Line::of(theme::INK, 3.0)));
        }
        if let Some(x) = ours {
            super::dot(canvas, x, y, 9.0, Fill::Plain(theme::DATA), None);
        }
    }
}

/// "8.3 → 8.5" or "8.1 ← 8.3": from the reference's figure to the session's as they lie, the smaller one left.
fn numbers_words(figure: Figure, numbers: [Option<f64>; 2], units: Units) -> String {
    // Passes of one section are whole ones.
    let decimals = if figure.counts() { 0 } else { figure.decimals(units) };
    let told = |value: f64| crate::drawing::units::number(value, decimals);
    match numbers {
        [Some(theirs), Some(ours)] if ours < theirs => format!("{} ← {}", told(ours), told(theirs)),
        [Some(theirs), Some(ours)] => format!("{} → {}", told(theirs), told(ours)),
        [Some(theirs), None] => format!("{} →", told(theirs)),
        [None, Some(ours)] => format!("→ {}", told(ours)),
        [None, None] => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In the order they were drawn: where hairlines run from and to, px down the sheet, and the baselines of the rows' figures.
    fn down_the_sheet(svg: &str) -> (Vec<(f64, f64)>, Vec<f64>) {
        let number = |text: &str| text.parse::<f64>().expect("a number");
        let hair = format!("stroke=\"{}\"", theme::HAIR);
        let lines = svg.lines().filter(|line| line.starts_with("<path") && line.contains(&hair)).map(|line| {
            let data = line.split('"').nth(1).expect("its data");
            let ends: Vec<f64> = data.split(['M', 'L', ' ']).filter(|part| !part.is_empty()).map(number).collect();
            (ends[1], ends[3])
        });
        let figures =
            svg.lines().filter(|line| line.starts_with("<text") && (line.contains('←') || line.contains('→')));
        let figures =
            figures.map(|line| number(line.split(" y=\"").nth(1).expect("y").split('"').next().expect("its end")));
        (lines.collect(), figures.collect())
    }

    #[test]
    fn no_line_of_the_scale_runs_through_a_figure() {
        let section = |value: f64| [Some(value); crate::compare::FIGURES];
        let sheet = ReferenceSheet {
            trainer: "Technician A".into(),
            shown: "Technician B".into(),
            reference: &[section(0.02), section(0.024), section(0.021)],
            sections: &[section(0.031), section(0.018)],
            cautions: &[],
            invented: true,
        };
        let (lines, figures) = down_the_sheet(&drawn(&sheet, Units::Si).svg());
        assert!(lines.len() >= 18 && figures.len() == 18, "{} {}", lines.len(), figures.len());
        for baseline in figures {
            // Capital height, and the tails below.
            let crosses =
                |(from, to): &&(f64, f64)| *to > baseline - 0.73 * size::NOTE && *from < baseline + 0.2 * size::NOTE;
            assert_eq!(lines.iter().find(crosses), None, "{baseline}");
        }
    }

    #[test]
    fn both_figures_are_told_as_far_as_they_are_known() {
        let words = |figure, numbers| numbers_words(figure, numbers, Units::Si);
        assert_eq!(words(Figure::Evenness, [Some(8.31), Some(8.52)]), "8.3 → 8.5");
        assert_eq!(words(Figure::ArmSpeed, [Some(67.4), Some(16.5)]), "16.5 ← 67.4", "the dot lies left of the ring");
        assert_eq!(words(Figure::PassesPerSection, [Some(2.0), Some(3.0)]), "2 → 3");
        assert_eq!(words(Figure::ArmSpeed, [Some(20.0), None]), "20.0 →");
        assert_eq!(words(Figure::ArmSpeed, [None, Some(20.0)]), "→ 20.0");
        assert_eq!(words(Figure::ArmSpeed, [None, None]), "");
    }
}
