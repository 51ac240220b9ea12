//! The key-figure table: one row per pass, a card per pass on a phone.

use std::fmt::Write as _;

use super::PassSheet;
use crate::drawing::canvas::escape;
use crate::drawing::section_pass::facts::{Facts, Pace};
use crate::drawing::units::{duration, number};
use crate::guidance::Band;

/// A cell: its heading, the figure, what stands under it in small type, and whether it is outside the plan.
struct Cell {
    label: &'static str,
    value: String,
    detail: String,
    outside: bool,
}

impl Cell {
    fn new(label: &'static str, value: Option<String>, detail: Option<String>) -> Self {
        let value = value.unwrap_or_else(|| "not known".to_owned());
        Self { label, value, detail: detail.unwrap_or_default(), outside: false }
    }

    fn outside_if(self, outside: bool) -> Self {
        Self { outside, ..self }
    }
}

/// The table of some passes; an empty text when there are none.
pub(super) fn table(passes: &[PassSheet<'_>]) -> String {
    let rows: Vec<(String, Vec<Cell>)> = passes.iter().map(row).collect();
    let Some((_, first)) = rows.first() else { return String::new() };
    let mut html = String::from("<div class=\"wide\"><table class=\"cards\"><thead><tr><th scope=\"col\">Pass</th>");
    for cell in first {
        let _ = write!(html, "<th scope=\"col\">{}</th>", escape(cell.label));
    }
    html.push_str("</tr></thead><tbody>\n");
    for (head, cells) in &rows {
        let _ = write!(html, "<tr><th scope=\"row\">{}</th>", escape(head));
        for cell in cells {
            let class = if cell.outside { " class=\"outside\"" } else { "" };
            let _ = write!(html, "<td{class} data-label=\"{}\">{}", escape(cell.label), escape(&cell.value));
            if !cell.detail.is_empty() {
                let _ = write!(html, "<small>{}</small>", escape(&cell.detail));
            }
            html.push_str("</td>");
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody></table></div>\n");
    html
}

fn row(sheet: &PassSheet<'_>) -> (String, Vec<Cell>) {
    let input = &sheet.input;
    let (pass, u, facts) = (input.pass, input.scale(), Facts::of(input));
    let (_, rate_unit) = input.rate_words();
    let speed = pass.traverse_mean_mps;
    let arm = Cell::new(
        "Mean arm speed",
        speed.map(|s| format!("{} {}", u.arm_speed_number(s.value), u.arm_speed_unit())),
        speed.map(|s| format!("({}–{})", u.arm_speed_number(s.lo), u.arm_speed_number(s.hi))),
    )
    .outside_if(Pace::of(speed, input.bands.pace_mps).is_outside());
    let clearly = facts.numbers(Pace::Fast).len() + facts.numbers(Pace::Slow).len();
    let kept = Cell::new(
        "Strokes in the band",
        facts.in_band().map(|(n, all)| format!("{n} of {all}")),
        pass.traverse_cv.map(|cv| format!("pace varies by {} %", number(100.0 * cv, 0))),
    )
    .outside_if(clearly > 0);
    let rate = Cell::new(
        "Median rate",
        pass.orbit_median_opm.map(|v| format!("{} {rate_unit}", number(v, 0))),
        pass.orbit_p05_opm.zip(pass.orbit_p95_opm).map(|(lo, hi)| format!("{}–{}", number(lo, 0), number(hi, 0))),
    )
    .outside_if(input.bands.orbit_opm.zip(pass.orbit_median_opm).is_some_and(|(b, v): (Band, f64)| !b.contains(v)));
    let pad = Cell::new(
        "Mean pad speed",
        pass.pad_speed_mean_mps.map(|v| format!("{} {}", number(u.long_length(v), 1), u.pad_speed_unit())),
        None,
    );
    let over = facts.over_s.unwrap_or(0.0);
    let rise = Cell::new(
        "Peak surface rise",
        facts.peak_rise_k.map(|k| format!("{} {}", u.rise_number(k), u.rise_unit())),
        match facts.over_s {
            Some(s) if s > 0.0 => Some(format!("{} over the limit", duration(s.max(1.0)))),
            Some(_) => Some("under the limit".to_owned()),
            None => None,
        },
    )
    .outside_if(over > 0.0);
    let start = Cell::new(
        "Panel at the start",
        pass.surface_start_c.map(|c| format!("{} {}", number(u.temperature(c), 1), u.temperature_unit())),
        None,
    );
    let even = input.rubbing.and_then(|map| map.unevenness());
    let rubbing = Cell::new(
        "Unevenness",
        even.map(|cv| format!("{} %", number(100.0 * cv, 0))),
        input
            .rubbing
            .and_then(|map| map.covered_share())
            .map(|s| format!("{} % reached", number((100.0 * s).floor(), 0))),
    );
    let vibration =
        Cell::new("Vibration, unweighted", pass.vibration_mps2.map(|v| format!("{} m/s²", number(v, 1))), None);
    let given = facts.warnings.len();
    let time = Cell::new(
        "Time",
        Some(duration(facts.span_s.1 - facts.span_s.0)),
        Some(match given {
            0 => "no warnings".to_owned(),
            1 => "1 warning".to_owned(),
            n => format!("{n} warnings"),
        }),
    );
    let head = format!("Section {} · pass {}", pass.section, pass.pass);
    (head, vec![time, arm, kept, rate, pad, rise, start, rubbing, vibration])
}
