//! The page itself.

use std::fmt::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::foreign::{in_line, remark, shown};
use super::passes::PassSheet;
use super::{RecordingPart, ReviewPage, long_day, passes};
use crate::drawing::canvas::escape;
use crate::drawing::section_pass::pass_words;
use crate::drawing::units::{clock, duration, number};
use crate::drawing::{SHEET_HEIGHT, SHEET_WIDTH};
use crate::guidance::Units;
use crate::replaced::PAGE_BEGINS;

const STYLE: &str = include_str!("style.css");
const CAUTIONS: &str = include_str!("cautions.html");
const HOW: &str = include_str!("how.html");
const UNTRIED: &str = include_str!("untried.html");

/// The page as HTML, UTF-8. Pure; the caller writes it as `index.html` beside the sheets.
#[must_use]
pub fn index_html(page: &ReviewPage<'_>) -> String {
    let sheets = || page.recordings.iter().flat_map(|r| &r.passes.sheets);
    let title = match page.recordings {
        [one] => format!("Review of {}", shown(one.name)),
        many => format!("Review of {} recordings", many.len()),
    };
    let mut html = format!(
        "{PAGE_BEGINS} 'self' file:; \
         style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n\
         <title>{0}</title>\n<style>\n{STYLE}</style></head>\n<body>\n<h1>{0}</h1>\n",
        escape(&title)
    );
    if page.recordings.iter().any(|r| r.session.invented) {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    html.push_str(
        "<nav><a href=\"#figures\">Figures</a><a href=\"#sheets\">Sheets</a><a href=\"#warnings\">Warnings</a>\
         <a href=\"#lost\">What was lost</a><a href=\"#how\">How the figures come about</a>\
         <a href=\"#untried\">Not yet tried</a><a href=\"#cautions\">Cautions</a></nav>\n",
    );
    html.push_str("<h2 id=\"figures\">Figures</h2>\n");
    for (number, recording) in page.recordings.iter().enumerate() {
        session(&mut html, recording, page.recordings.len() > 1, number);
        if recording.passes.sheets.is_empty() {
            let why = if recording.has_gyro {
                "the motor did not run, or the machine did not travel to and fro for long enough, or too quickly (then <a \
                 href=\"#lost\">What was lost</a> says so)"
            } else {
                "there are no gyro readings, without which neither arm speed nor strokes can be told"
            };
            let _ = writeln!(
                html,
                "<p>No section pass was found: {why}. <code>series.csv</code> shows what was measured.</p>"
            );
        }
        html.push_str(&passes::table(recording.passes));
    }
    html.push_str("<h2 id=\"sheets\">Sheets</h2>\n");
    if sheets().next().is_none() {
        html.push_str("<p>None, because there is no pass.</p>\n");
    }
    for (number, recording) in page.recordings.iter().enumerate() {
        recording.passes.sheets.iter().for_each(|sheet| figure(&mut html, sheet, number));
    }
    html.push_str("<div class=\"after\">\n<h2 id=\"warnings\">Warnings given</h2>\n");
    page.recordings.iter().for_each(|r| warnings(&mut html, r, page.recordings.len() > 1));
    if page.recordings.iter().any(|r| !r.notes.is_empty()) {
        html.push_str("<h2 id=\"notes\">Notes taken</h2>\n");
        page.recordings.iter().for_each(|r| notes(&mut html, r, page.recordings.len() > 1));
    }
    html.push_str("<h2 id=\"lost\">What was lost</h2>\n");
    page.recordings.iter().for_each(|r| lost(&mut html, r, page.recordings.len() > 1));
    let _ = write!(
        html,
        "<h2 id=\"how\">How the figures come about</h2>\n{HOW}\
         <h2 id=\"untried\">What has only been tried on synthetic data</h2>\n{UNTRIED}\
         <h2 id=\"cautions\">Cautions</h2>\n<div class=\"caution\">{CAUTIONS}</div>\n</div>\n<footer>"
    );
    if !page.files.is_empty() {
        let names: Vec<String> = page.files.iter().map(|f| format!("<code>{}</code>", escape(&shown(f)))).collect();
        let _ = write!(html, "<p>Beside this page: {}, SI units throughout.</p>", names.join(", "));
    }
    let _ = write!(html, "<p>Made by Steadypass {}.</p></footer>\n</body></html>\n", escape(page.version));
    html
}

/// * `number`: its place on the page, from 0.
fn session(html: &mut String, recording: &RecordingPart<'_>, named: bool, number: usize) {
    if named {
        let _ = writeln!(html, "<h3>{}</h3>", escape(&shown(recording.name)));
    }
    let s = recording.session;
    let known = |text: &str, missing: &str| {
        let text = shown(text);
        if text.is_empty() { missing.to_owned() } else { text }
    };
    let mut parts = vec![known(&s.technician, "technician not named"), known(&s.machine, "machine not named")];
    parts.extend([shown(&s.panel), shown(&s.date)].into_iter().filter(|p| !p.is_empty()));
    parts.push(format!("{} recorded", duration(recording.seconds)));
    let _ = writeln!(html, "<p class=\"soft\">{}</p>", escape(&parts.join(" · ")));
    // What puts figures in doubt stands before them.
    if !recording.remarks.is_empty() {
        html.push_str("<div class=\"caution\"><p>To know before reading on:</p>\n");
        let remarks: Vec<String> = recording.remarks.iter().map(|r| remark(r)).collect();
        list(html, "", &remarks);
        html.push_str("</div>\n");
    }
    match &recording.passes.sheets[..] {
        [] => {}
        few if few.len() <= long_day::FEW => findings(html, few.iter()),
        many => {
            long_day::overview(html, recording, number);
            let _ = writeln!(html, "<details><summary>All {} passes in words</summary>", many.len());
            findings(html, many.iter());
            html.push_str("</details>\n");
        }
    }
}

fn findings<'a>(html: &mut String, sheets: impl Iterator<Item = &'a PassSheet>) {
    html.push_str("<ul>\n");
    for sheet in sheets {
        let _ = writeln!(
            html,
            "<li><strong>Section {}, {}:</strong> {}.</li>",
            sheet.section,
            pass_words(sheet.section, sheet.pass),
            escape(&sheet.finding)
        );
    }
    html.push_str("</ul>\n");
}

fn figure(html: &mut String, sheet: &PassSheet, recording: usize) {
    let source = match &sheet.png {
        Some(png) => format!("data:image/png;base64,{}", STANDARD.encode(png)),
        None => escape(&percent_encoded(&sheet.file_name)),
    };
    let name = sheet.name();
    let _ = writeln!(
        html,
        "<figure id=\"{}\"><figcaption>{name} <span class=\"soft\">({})</span>\
         <span class=\"soft sideways\"> swipe it sideways</span></figcaption><div class=\"sheet\" tabindex=\"0\" \
         role=\"group\" aria-label=\"{name}, scrolls sideways on a narrow screen\"><img src=\"{source}\" \
         width=\"{SHEET_WIDTH}\" height=\"{SHEET_HEIGHT}\" alt=\"Section pass sheet. {}\"></div></figure>",
        long_day::anchor(recording, sheet),
        escape(&sheet.file_name),
        escape(&sheet.finding),
    );
}

fn warnings(html: &mut String, recording: &RecordingPart<'_>, named: bool) {
    if named {
        let _ = writeln!(html, "<h3>{}</h3>", escape(&shown(recording.name)));
    }
    if recording.warnings.is_empty() {
        html.push_str("<p>None.</p>\n");
        return;
    }
    let (units, rate_unit) =
        recording.passes.sheets.first().map_or((Units::Si, "OPM"), |sheet| (sheet.units, sheet.rate_unit));
    let rows = recording.warnings.iter().map(|w| {
        let afterwards = pass_of(recording, w.t_s).and_then(|sheet| sheet.afterwards(w));
        let afterwards =
            afterwards.map_or(String::new(), |said| format!(". <span class=\"soft\">{}</span>", escape(said)));
        let said = if recording.is_table { w.text_of_table(units, rate_unit) } else { w.text(units, rate_unit) };
        (w.t_s, format!("{}{afterwards}", escape(&said)))
    });
    by_time(html, recording, "What was said", &rows.collect::<Vec<_>>());
}

fn notes(html: &mut String, recording: &RecordingPart<'_>, named: bool) {
    if recording.notes.is_empty() {
        return;
    }
    if named {
        let _ = writeln!(html, "<h3>{}</h3>", escape(&shown(recording.name)));
    }
    let rows: Vec<(f64, String)> =
        recording.notes.iter().map(|(t_s, text)| (*t_s, escape(&remark(text)).to_string())).collect();
    by_time(html, recording, "What was noted", &rows);
}

/// A table of what happened when, in which pass; `rows` are in HTML.
fn by_time(html: &mut String, recording: &RecordingPart<'_>, what: &str, rows: &[(f64, String)]) {
    let clock_form = if rows.iter().any(|(t_s, _)| *t_s >= 3599.5) { "(h:)min:s" } else { "min:s" };
    let _ = writeln!(
        html,
        "<div class=\"wide\"><table class=\"rows\"><thead><tr><th scope=\"col\">At, {clock_form}</th>\
         <th scope=\"col\">Pass</th><th scope=\"col\">{what}</th></tr></thead><tbody>",
    );
    for (t_s, text) in rows {
        // Without turn rates no pass is found, and nobody knows whether one was under way.
        let outside = if recording.has_gyro { "between passes" } else { "not known: no gyro" };
        let pass = pass_of(recording, *t_s).map_or(outside.to_owned(), |sheet| format!("pass {}", sheet.pass));
        let _ = writeln!(html, "<tr><th scope=\"row\">{}</th><td>{pass}</td><td>{text}</td></tr>", clock(*t_s));
    }
    html.push_str("</tbody></table></div>\n");
}

fn pass_of<'a>(recording: &RecordingPart<'a>, t_s: f64) -> Option<&'a PassSheet> {
    recording.passes.sheets.iter().find(|s| (s.start_s..=s.end_s).contains(&t_s))
}

fn lost(html: &mut String, recording: &RecordingPart<'_>, named: bool) {
    if named {
        let _ = writeln!(html, "<h3>{}</h3>", escape(&shown(recording.name)));
    }
    let (losses, damage) = (&recording.losses, &recording.damage);
    let mut items: Vec<String> = Vec::new();
    if losses.any() {
        let where_lost = if recording.is_table { "In the table" } else { "On the way from the sensor" };
        let parts: Vec<String> = losses.parts().map(|(n, words)| format!("{} {words}", whole(n))).collect();
        items.push(format!("{where_lost}: {}. Nothing is invented in their place.", parts.join(", ")));
    }
    if damage.lost_data() {
        items.push(format!("In the recording itself: {}.", damage.describe()));
    }
    if damage.cut {
        items.push("The recording was not closed properly. If the program was stopped, at most its last second is missing; if the file was copied \
             in part, everything after what is shown here.".to_owned());
    }
    if losses.surface_failed > 0 {
        items.push(format!(
            "{} thermometer readings came marked as failed and were left out.",
            whole(losses.surface_failed)
        ));
    }
    if losses.clipped > 0 {
        items.push(format!(
            "{} acceleration samples reached the sensor's full scale: the vibration was stronger than it can tell.",
            whole(losses.clipped)
        ));
    }
    if losses.unknown_frames > 0 {
        items.push(format!("{} messages of a kind that only a newer program knows.", whole(losses.unknown_frames)));
    }
    if items.is_empty() {
        items.push("Nothing was lost.".to_owned());
    }
    if let Some(rates) = recording.rates.describe(losses) {
        let clock = if recording.is_table { "the table's times" } else { "the sensor's clock" };
        items.push(format!("Samples a second, by {clock}: {rates}."));
    }
    list(html, " class=\"lost\"", &items);
}

/// A count as the page shows it.
fn whole(count: u64) -> String {
    number(count as f64, 0)
}

/// Sentences of our own; what they hold of foreign names is kept in line, but no sentence is cut.
fn list(html: &mut String, class: &str, items: &[String]) {
    let _ = writeln!(html, "<ul{class} style=\"list-style-position:inside\">");
    for item in items {
        let _ = writeln!(html, "<li>{}</li>", escape(&in_line(item)));
    }
    html.push_str("</ul>\n");
}

/// A file name as a relative reference: everything but unreserved letters percent-encoded (RFC 3986, section 2.3).
fn percent_encoded(name: &str) -> String {
    let mut out = String::from("./");
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_cannot_leave_their_place() {
        assert_eq!(percent_encoded("pass-01.png"), "./pass-01.png");
        assert_eq!(percent_encoded("javascript:x"), "./javascript%3Ax");
        assert_eq!(percent_encoded("a \"b\"é?#.png"), "./a%20%22b%22%C3%A9%3F%23.png");
    }
}
