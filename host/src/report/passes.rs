//! Passes as the page shows them, and the key-figure table: one row per pass, a card per pass on a phone.

use std::fmt::Write as _;

use super::{EMBED_LIMIT_BYTES, foreign::shown, told_length};
use crate::analysis::Interval;
use crate::drawing::canvas::escape;
use crate::drawing::section_pass::facts::{Facts, Pace, Speeds};
use crate::drawing::section_pass::pass_words;
use crate::drawing::units::{duration, number};
use crate::drawing::{SheetInput, finding};
use crate::guidance::{Band, Units, Warning, WarningKind};

/// The passes of a recording as the page shows them.
///
/// Words and figures only: series, track and map of a pass are let go once its sheet is drawn, so that a long day costs the page
/// a few hundred bytes a pass. The pictures' bytes are kept while all of them together stay under [`EMBED_LIMIT_BYTES`].
#[derive(Clone, Debug, Default)]
pub struct PassSheets {
    pub(super) sheets: Vec<PassSheet>,
    bytes: usize,
}

/// One pass.
#[derive(Clone, Debug)]
pub(super) struct PassSheet {
    pub(super) pass: u32,
    pub(super) section: u32,
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// Whose work it is; empty when not told.
    technician: String,
    /// What it was like, in one sentence.
    pub(super) finding: String,
    cells: Vec<Cell>,
    pub(super) kept: Kept,
    /// What became of what its warnings said.
    afterwards: Vec<(f64, WarningKind, String)>,
    pub(super) units: Units,
    pub(super) rate_unit: &'static str,
    /// Name of the PNG file beside the page.
    pub(super) file_name: String,
    /// The PNG, when it shall be carried inside the page.
    pub(super) png: Option<Vec<u8>>,
}

impl PassSheets {
    /// Adds a pass with its sheet: what it was drawn from, the name of its file beside the page, and the PNG.
    pub fn push(&mut self, input: &SheetInput<'_>, file_name: &str, png: Vec<u8>) {
        self.bytes += png.len();
        if self.bytes > EMBED_LIMIT_BYTES {
            self.sheets.iter_mut().for_each(|sheet| sheet.png = None);
        }
        let facts = Facts::of(input);
        self.sheets.push(PassSheet {
            pass: input.pass.pass,
            section: input.pass.section,
            start_s: input.pass.start_s,
            end_s: input.pass.end_s,
            technician: input.session.technician.clone(),
            finding: finding(input),
            cells: cells(input),
            kept: Kept::of(input, &facts),
            afterwards: facts
                .warnings
                .iter()
                .filter_map(|w| Some((w.t_s, w.kind, afterwards(input, &facts, w)?)))
                .collect(),
            units: input.units,
            rate_unit: input.rate_words().1,
            file_name: file_name.to_owned(),
            png: (self.bytes <= EMBED_LIMIT_BYTES).then_some(png),
        });
    }
}

/// What became of what a warning in a pass said, and what it may have gone by wrongly; `None` where neither is known.
fn afterwards(input: &SheetInput<'_>, facts: &Facts<'_>, warning: &Warning) -> Option<String> {
    let doubt = input.pass.length_doubt.filter(|_| warning.kind.is_of_pace()).map(told_length::of_warning);
    let said: Vec<String> =
        facts.afterwards(warning, Speeds::told_in(input)).into_iter().chain(doubt.map(str::to_owned)).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

impl PassSheet {
    /// "Section 1 · pass 2", "Section 2 · pass 3 of the recording".
    pub(super) fn name(&self) -> String {
        format!("Section {} · {}", self.section, pass_words(self.section, self.pass))
    }

    /// What became of what a warning in it said, where that is known.
    pub(super) fn afterwards(&self, warning: &Warning) -> Option<&str> {
        let mut known = self.afterwards.iter();
        known.find(|(t_s, kind, _)| (*t_s, *kind) == (warning.t_s, warning.kind)).map(|(_, _, said)| said.as_str())
    }
}

/// How a pass kept to its plan, in figures for the page's totals and its trend.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Kept {
    pub(super) seconds: f64,
    /// Strokes in the band, and how many were judged.
    pub(super) strokes: Option<(usize, usize)>,
    /// Mean arm speed, m/s.
    pub(super) speed_mps: Option<Interval>,
    pub(super) band_mps: Option<Band>,
    /// Highest rise, K.
    pub(super) peak_rise_k: Option<f64>,
    pub(super) limit_k: Option<f64>,
    /// Time over the limit, s.
    pub(super) over_s: Option<f64>,
}

impl Kept {
    fn of(input: &SheetInput<'_>, facts: &Facts<'_>) -> Self {
        let is_finite = |i: &Interval| [i.lo, i.value, i.hi].iter().all(|v| v.is_finite());
        Self {
            seconds: facts.span_s.1 - facts.span_s.0,
            strokes: facts.in_band(),
            speed_mps: input.pass.traverse_mean_mps.filter(is_finite),
            band_mps: input.bands.pace_mps.filter(|band| band.lo.is_finite() && band.hi.is_finite()),
            peak_rise_k: facts.peak_rise_k.filter(|k| k.is_finite()),
            limit_k: input.bands.rise_limit_k.filter(|k| k.is_finite()),
            over_s: facts.over_s,
        }
    }

    /// How far the mean arm speed is outside the band, m/s.
    pub(super) fn off_band_mps(&self) -> Option<f64> {
        let (speed, band) = (self.speed_mps?.value, self.band_mps?);
        Some((speed - band.hi).max(band.lo - speed)).filter(|off| *off > 0.0)
    }
}

/// A cell: its heading, the figure, what stands under it in small type, and whether it is outside the plan.
#[derive(Clone, Debug)]
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
pub(super) fn table(passes: &PassSheets) -> String {
    let Some(first) = passes.sheets.first() else { return String::new() };
    let mut html = String::from("<div class=\"wide\"><table class=\"cards\"><thead><tr><th scope=\"col\">Pass</th>");
    // Said of each pass only where it differs; otherwise it stands above the table.
    let several = passes.sheets.iter().any(|sheet| sheet.technician != first.technician);
    if several {
        html.push_str("<th scope=\"col\">Technician</th>");
    }
    for cell in &first.cells {
        let _ = write!(html, "<th scope=\"col\">{}</th>", escape(cell.label));
    }
    html.push_str("</tr></thead><tbody>\n");
    for sheet in &passes.sheets {
        // In the table, what the number counts stands under it: a column as wide as the whole would push figures off the page.
        let name = sheet.name();
        let (name, counts) = name
            .split_once(" of ")
            .map_or((&*name, String::new()), |(name, whole)| (name, format!("<small>of {whole}</small>")));
        let _ = write!(html, "<tr><th scope=\"row\">{name}{counts}</th>");
        if several {
            let who = if sheet.technician.is_empty() { "not named" } else { &sheet.technician };
            let _ = write!(html, "<td data-label=\"Technician\">{}</td>", escape(&shown(who)));
        }
        for cell in &sheet.cells {
            let class = if cell.outside { " class=\"outside\"" } else { "" };
            let _ = write!(html, "<td{class} data-label=\"{}\">{}", escape(cell.label), unbroken(&cell.value));
            if !cell.detail.is_empty() {
                let _ = write!(html, "<small>{}</small>", unbroken(&cell.detail));
            }
            html.push_str("</td>");
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody></table></div>\n");
    html
}

/// A cell's words for the page: no line ends inside a number, nor between a range's ends.
fn unbroken(words: &str) -> String {
    escape(words).replace('\u{2009}', "\u{202f}").replace('–', "\u{2060}–\u{2060}")
}

fn cells(input: &SheetInput<'_>) -> Vec<Cell> {
    let (pass, u, facts) = (input.pass, input.scale(), Facts::of(input));
    let (_, rate_unit) = input.rate_words();
    let speed = pass.traverse_mean_mps;
    let told = speed.map(|mps| u.arm_speed_and_interval(mps, input.bands.pace_mps));
    let arm = Cell::new(
        "Mean arm speed",
        told.as_ref().map(|(speed, _)| format!("{speed} {}", u.arm_speed_unit())),
        told.as_ref().map(|(_, interval)| {
            let by = if input.goes_by_turns() { " by the turns, length told in doubt" } else { "" };
            format!("({interval}){by}")
        }),
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
        facts.peak_rise_k.map(|k| {
            format!("{}{} {}", facts.at_least(), u.rise_number_beside(k, input.bands.rise_limit_k), u.rise_unit())
        }),
        match (facts.over_s, facts.unseen()) {
            (Some(s), _) if s > 0.0 => Some(format!("{} over the limit", duration(s.max(1.0)))),
            (Some(_), Some(unseen)) => Some(unseen.beside_figure()),
            (Some(_), None) => Some("under the limit".to_owned()),
            (None, _) => None,
        },
    )
    .outside_if(over > 0.0);
    let start = Cell::new(
        "Panel at the start",
        pass.surface_start_c.map(|c| format!("{} {}", number(u.temperature(c), 1), u.temperature_unit())),
        None,
    );
    let map = input.map();
    let even = map.and_then(|map| map.unevenness());
    let rubbing = Cell::new(
        "Unevenness",
        even.map(|cv| format!("{} %", number(100.0 * cv, 0))),
        map.and_then(|map| map.covered_share()).map(|s| format!("{} % reached", number((100.0 * s).floor(), 0))),
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
    vec![time, arm, kept, rate, pad, rise, start, rubbing, vibration]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_ends_inside_a_number() {
        assert_eq!(unbroken("3\u{2009}072–3\u{2009}132"), "3\u{202f}072\u{2060}–\u{2060}3\u{202f}132");
        assert_eq!(unbroken("a < b"), "a &lt; b");
    }
}
