//! A comparison on one HTML page, self-contained, for a screen, a phone and paper.

use std::fmt::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::{Comparison, Figure};
use crate::drawing::canvas::escape;
use crate::guidance::{Units, units::count};
use crate::replaced::PAGE_BEGINS;

const STYLE: &str = include_str!("../report/style.css");
const CAUTIONS: &str = include_str!("../report/cautions.html");

/// A picture for the page.
#[derive(Clone, Debug)]
pub struct Picture<'a> {
    /// What it shows, also for those who cannot see it.
    pub caption: &'a str,
    /// The PNG.
    pub png: &'a [u8],
}

/// The page, UTF-8.
pub fn page_html(comparison: &Comparison, pictures: &[Picture<'_>], units: Units, version: &str) -> String {
    let mut html = format!(
        "{PAGE_BEGINS}; style-src 'unsafe-inline'; \
         base-uri 'none'; form-action 'none'\">\n<title>Comparison</title>\n<style>\n{STYLE}</style></head>\n<body>\n\
         <h1>Comparison</h1>\n"
    );
    if comparison.invented() {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    let names: Vec<&str> = comparison.groups.iter().map(|g| g.data.name.as_str()).collect();
    let _ = writeln!(html, "<p class=\"soft\">{}</p>", escape(&names.join(" · ")));
    html.push_str("<h2>What stands out</h2>\n");
    let findings = comparison.findings(units);
    if findings.is_empty() {
        let _ = writeln!(html, "<p>{}</p>", escape(&comparison.nothing_words()));
    }
    list(&mut html, &findings);
    let _ = writeln!(html, "<p class=\"soft\">{}</p>", escape(&comparison.rate_words()));
    let cautions = comparison.cautions();
    if !cautions.is_empty() {
        html.push_str("<div class=\"caution\"><h2>Before reading more into it</h2>\n");
        list(&mut html, &cautions);
        html.push_str("</div>\n");
    }
    html.push_str("<h2>Figures</h2>\n<p class=\"soft\">Mean over working days with its 90 % interval.</p>\n");
    table(&mut html, comparison, units);
    for picture in pictures {
        let _ = writeln!(
            html,
            "<figure><figcaption>{0}</figcaption><div class=\"sheet\"><img alt=\"{0}\" src=\"data:image/png;base64,{1}\"></div>\
             </figure>",
            escape(picture.caption),
            STANDARD.encode(picture.png)
        );
    }
    html.push_str("<h2>What the figures are</h2>\n<dl>\n");
    for figure in Figure::ALL {
        let _ = writeln!(html, "<dt>{}</dt><dd>{}</dd>", figure.title(), figure.meaning());
    }
    let _ = write!(
        html,
        "</dl>\n<p>The figures describe what was measured; they are no marks for persons. Intervals take the working day as the \
         unit (random-effects model, restricted maximum likelihood, intervals after Hartung and Knapp); differences by Welch's t, \
         held together by Holm's procedure.</p>\n<h2>Cautions</h2>\n<div class=\"caution\">{CAUTIONS}</div>\n\
         <footer><p>Made by Steadypass {}.</p></footer>\n</body></html>\n",
        escape(version)
    );
    html
}

/// What stands between backticks, for a terminal, as code that does not break.
fn with_code(text: &str) -> String {
    let mut html = String::with_capacity(text.len());
    for (n, part) in text.split('`').enumerate() {
        if n > 0 {
            html.push_str(if n % 2 == 1 { "<code style=\"white-space:nowrap\">" } else { "</code>" });
        }
        html.push_str(part);
    }
    if text.matches('`').count() % 2 == 1 {
        html.push_str("</code>"); // a name with a backtick in it
    }
    html
}

fn list(html: &mut String, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    html.push_str("<ul>\n");
    for line in lines {
        let _ = writeln!(html, "<li>{}</li>", with_code(&escape(line)));
    }
    html.push_str("</ul>\n");
}

/// A row per group; on a phone each becomes a card.
fn table(html: &mut String, comparison: &Comparison, units: Units) {
    html.push_str("<div class=\"wide\"><table class=\"cards\"><thead><tr><th></th>");
    for figure in Figure::ALL {
        let _ = write!(html, "<th>{} <small>{}</small></th>", figure.title(), figure.unit(units));
    }
    html.push_str("</tr></thead><tbody>\n");
    for group in &comparison.groups {
        let data = &group.data;
        let _ = write!(
            html,
            "<tr><th scope=\"row\"><span class=\"name\">{}</span><br><small>{}, {}, {}</small></th>",
            escape(&data.name),
            data.days_words(),
            count(data.sessions, "session", "sessions"),
            count(data.passes, "pass", "passes")
        );
        for figure in Figure::ALL {
            let label = format!("{} {}", figure.title(), figure.unit(units));
            let _ = write!(html, "<td data-label=\"{}\">", escape(label.trim()));
            match &group.estimates[figure.index()] {
                None => html.push_str("not known"),
                Some(e) => {
                    let (mean, interval) = match e.interval() {
                        None => (figure.number(e.mean, units), "too few days".to_owned()),
                        Some((lo, hi)) => {
                            let ends = (figure.possible(lo), figure.possible(hi));
                            let [mean, lo, hi] = figure.with_interval(e.mean, ends, units);
                            (mean, format!("{lo} to {hi}"))
                        }
                    };
                    let _ = write!(html, "{mean}<small>{interval}</small>");
                }
            }
            html.push_str("</td>");
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody></table></div>\n");
}
