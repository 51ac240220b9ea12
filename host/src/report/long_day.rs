//! A recording of many passes: totals and the trend over its passes before any single one, and those worth looking at first.

use std::cmp::Reverse;
use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::RecordingPart;
use super::passes::PassSheet;
use crate::drawing::canvas::escape;
use crate::drawing::section_pass::pass_words;
use crate::drawing::units::{Scale, duration};
use crate::guidance::WarningKind;
use crate::guidance::units::count;

/// So many passes are read one by one.
pub(super) const FEW: usize = 8;
/// So many are named for each reason.
const NAMED: usize = 3;

/// Where a pass's sheet is on the page.
pub(super) fn anchor(recording: usize, sheet: &PassSheet) -> String {
    format!("pass-{}-{}", recording + 1, sheet.pass)
}

/// What the whole recording came to. `number`: its place on the page.
pub(super) fn overview(html: &mut String, recording: &RecordingPart<'_>, number: usize) {
    let sheets = &recording.passes.sheets;
    let Some(first) = sheets.first() else { return };
    totals(html, recording, Scale(first.units));
    trend(html, sheets, Scale(first.units));
    worth_a_look(html, sheets, number);
}

/// The pass with the most of something that is known, and how much.
fn most(sheets: &[PassSheet], of: impl Fn(&PassSheet) -> Option<f64>) -> Option<(&PassSheet, f64)> {
    sheets.iter().filter_map(|s| Some((s, of(s)?))).max_by(|(_, a), (_, b)| a.total_cmp(b))
}

fn passes(n: usize) -> String {
    count(n as u64, "pass", "passes")
}

fn totals(html: &mut String, recording: &RecordingPart<'_>, u: Scale) {
    let sheets = &recording.passes.sheets;
    let work: f64 = sheets.iter().map(|s| s.kept.seconds).sum();
    let sections: BTreeSet<u32> = sheets.iter().map(|s| s.section).collect();
    let on = count(sections.len() as u64, "section", "sections");
    let mut items = vec![("Time in passes", duration(work), format!("{} on {on}", passes(sheets.len())))];
    let judged: Vec<(usize, usize)> = sheets.iter().filter_map(|s| s.kept.strokes).collect();
    let (kept, all) = judged.iter().fold((0, 0), |(n, all), (a, b)| (n + a, all + b));
    items.push(if all == 0 {
        ("Strokes in the band", "not known".to_owned(), String::new())
    } else {
        let whole = judged.iter().filter(|(n, all)| n == all).count();
        ("Strokes in the band", format!("{kept} of {all}"), format!("every one in {}", passes(whole)))
    });
    let over: Vec<f64> = sheets.iter().filter_map(|s| s.kept.over_s).collect();
    let hot = over.iter().filter(|s| **s > 0.0).count();
    items.push(match most(sheets, |s| s.kept.peak_rise_k) {
        None => ("Highest surface rise", "not known".to_owned(), String::new()),
        Some((sheet, rise_k)) => {
            let rise = format!("{} {}", u.rise_number_beside(rise_k, sheet.kept.limit_k), u.rise_unit());
            let seconds = over.iter().sum::<f64>().max(1.0);
            let excess = match hot {
                0 => String::new(),
                n => format!("; {} over the limit, in {n} of {}", duration(seconds), passes(over.len())),
            };
            ("Highest surface rise", rise, format!("in pass {}{excess}", sheet.pass))
        }
    });
    let of_kind = |kind: WarningKind| recording.warnings.iter().filter(|w| w.kind == kind).count();
    let mut kinds: Vec<(WarningKind, usize)> = WarningKind::ALL.into_iter().map(|kind| (kind, of_kind(kind))).collect();
    kinds.retain(|(_, n)| *n > 0);
    kinds.sort_by_key(|(_, n)| Reverse(*n));
    let told: Vec<String> = kinds.iter().map(|(kind, n)| format!("{n} × {}", kind.action())).collect();
    items.push(("Warnings", recording.warnings.len().to_string(), told.join("; ")));
    html.push_str("<dl class=\"totals\">\n");
    for (what, value, detail) in items {
        let (value, detail) = (escape(&value), escape(&detail));
        let _ = writeln!(html, "<div><dt>{what}</dt><dd>{value}<small>{detail}</small></dd></div>");
    }
    html.push_str("</dl>\n");
}

/// Passes that were most over the limit, and those furthest off the band, with what each was like.
fn worth_a_look(html: &mut String, sheets: &[PassSheet], number: usize) {
    let worst = |of: &dyn Fn(&PassSheet) -> Option<f64>| {
        let mut known: Vec<(&PassSheet, f64)> = sheets.iter().filter_map(|s| Some((s, of(s)?))).collect();
        known.sort_by(|(_, a), (_, b)| b.total_cmp(a));
        known.truncate(NAMED);
        known
    };
    let hot = worst(&|s| s.kept.over_s.filter(|s| *s > 0.0));
    let off = worst(&|s| s.kept.off_band_mps());
    if hot.is_empty() && off.is_empty() {
        return;
    }
    html.push_str("<p>Worth looking at first:</p>\n<ul>\n");
    for (what, named) in [("Longest over the heat limit", hot), ("Furthest off the arm speed band", off)] {
        for (i, (sheet, _)) in named.iter().enumerate() {
            let lead = if i == 0 { format!("<strong>{what}:</strong> ") } else { "then ".to_owned() };
            let _ = writeln!(
                html,
                "<li>{lead}<a href=\"#{}\">section {}, {}</a>: {}.</li>",
                anchor(number, sheet),
                sheet.section,
                pass_words(sheet.section, sheet.pass),
                escape(&sheet.finding)
            );
        }
    }
    html.push_str("</ul>\n");
}

/// Of the drawing, in its own units.
const WIDTH: f64 = 1000.0;
const LEFT: f64 = 110.0;
const STRIP: f64 = 120.0;
const TOPS: [f64; 2] = [34.0, 210.0];
const BELOW: f64 = 362.0;

/// One strip of the trend: a figure of each pass, and what the plan asks of it.
struct Strip {
    head: String,
    top: f64,
    most: f64,
    /// Ends with their words.
    lines: Vec<(f64, String)>,
}

impl Strip {
    fn y(&self, value: f64) -> f64 {
        self.top + STRIP * (1.0 - (value / self.most).clamp(0.0, 1.0))
    }

    /// Its head, its band or its limit, and its floor.
    fn draw(&self, html: &mut String) {
        let right = WIDTH - 20.0;
        let _ = writeln!(html, "<text class=\"head\" x=\"{LEFT}\" y=\"{:.1}\">{}</text>", self.top - 12.0, self.head);
        if let [(lo, _), (hi, _)] = &self.lines[..] {
            let (y, low) = (self.y(*hi), self.y(*lo));
            let _ = writeln!(
                html,
                "<rect class=\"band\" x=\"{LEFT}\" y=\"{y:.1}\" width=\"{:.1}\" height=\"{:.1}\"></rect>",
                right - LEFT,
                low - y
            );
        }
        let floor = self.top + STRIP;
        let mut line = |y: f64, class: &str| {
            let _ = writeln!(
                html,
                "<line class=\"{class}\" x1=\"{LEFT}\" x2=\"{right:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"></line>"
            );
        };
        line(floor, "bar");
        self.lines.iter().for_each(|(value, _)| line(self.y(*value), "edge"));
        let mut lowest = f64::INFINITY;
        for (value, words) in &self.lines {
            // Two ends that lie close are still two lines of text.
            let y = (self.y(*value) + 5.0).min(lowest - 17.0);
            lowest = y;
            let _ = writeln!(html, "<text x=\"{:.1}\" y=\"{y:.1}\" text-anchor=\"end\">{words}</text>", LEFT - 10.0);
        }
    }

    fn nothing(&self, html: &mut String) {
        let y = self.top + STRIP / 2.0;
        let _ = writeln!(html, "<text x=\"{LEFT}\" y=\"{y:.1}\">not known</text>");
    }
}

/// Arm speed and highest rise from pass to pass, against band and limit. Open is inside the plan, filled is outside.
fn trend(html: &mut String, sheets: &[PassSheet], u: Scale) {
    let n = sheets.len() as f64;
    let x = |i: usize| LEFT + (i as f64 + 0.5) / n * (WIDTH - 20.0 - LEFT);
    let dot = |html: &mut String, x: f64, y: f64, is_out: bool| {
        let class = if is_out { "out" } else { "in" };
        let _ = writeln!(html, "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\"></circle>");
    };
    let _ = writeln!(
        html,
        "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"The trend over the passes, scrolls sideways on a narrow screen\">\
         <svg class=\"trend\" viewBox=\"0 0 {WIDTH} {BELOW}\" role=\"img\" aria-label=\"Mean arm speed and highest surface rise of \
         each of {} passes; the table below has the figures.\">",
        sheets.len()
    );
    let known = |of: &dyn Fn(&PassSheet) -> Option<f64>| sheets.iter().filter_map(of).fold(0.0, f64::max);
    let band = sheets.iter().find_map(|s| s.kept.band_mps);
    let fastest = known(&|s| s.kept.speed_mps.map(|i| i.value)).max(band.map_or(0.0, |b| b.hi));
    // A very wide interval may leave the strip; the values decide the scale.
    let speeds = Strip {
        head: format!("Mean arm speed, {} · bar: 90 % interval · shaded: the band", u.arm_speed_unit()),
        top: TOPS[0],
        most: known(&|s| s.kept.speed_mps.map(|i| i.hi)).clamp(fastest, 1.5 * fastest) * 1.05,
        lines: band.map_or(vec![], |b| [b.lo, b.hi].map(|end| (end, u.arm_speed_limit_number(end))).to_vec()),
    };
    speeds.draw(html);
    if sheets.iter().all(|s| s.kept.speed_mps.is_none()) {
        speeds.nothing(html);
    }
    for (i, sheet) in sheets.iter().enumerate() {
        let Some(speed) = sheet.kept.speed_mps else { continue };
        let (x, hi, lo) = (x(i), speeds.y(speed.hi), speeds.y(speed.lo));
        let _ = writeln!(html, "<line class=\"bar\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{hi:.1}\" y2=\"{lo:.1}\"></line>");
        dot(html, x, speeds.y(speed.value), sheet.kept.off_band_mps().is_some());
    }
    let limit = sheets.iter().find_map(|s| s.kept.limit_k);
    let rises = Strip {
        head: format!("Highest surface rise, {} · dashed: the limit", u.rise_unit()),
        top: TOPS[1],
        most: known(&|s| s.kept.peak_rise_k).max(limit.unwrap_or(0.0)) * 1.08,
        lines: limit.map_or(vec![], |k| vec![(k, u.rise_limit_number(k))]),
    };
    rises.draw(html);
    if sheets.iter().all(|s| s.kept.peak_rise_k.is_none()) {
        rises.nothing(html);
    }
    for (i, sheet) in sheets.iter().enumerate() {
        let Some(rise_k) = sheet.kept.peak_rise_k else { continue };
        dot(html, x(i), rises.y(rise_k), sheet.kept.over_s.is_some_and(|s| s > 0.0));
    }
    // So many numbers as have room.
    let step = (sheets.len() / 12).max(1);
    for (i, sheet) in sheets.iter().enumerate().filter(|(i, _)| i % step == 0) {
        let lead = if i == 0 { "pass " } else { "" };
        let _ = writeln!(
            html,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{lead}{}</text>",
            x(i),
            TOPS[1] + STRIP + 22.0,
            sheet.pass
        );
    }
    html.push_str("</svg></div>\n");
}
