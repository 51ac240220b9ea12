//! Sheets for people outside the comparison: the owner's report on a vehicle, and one technician's day. One self-contained HTML
//! page each, that also prints. No scores of persons.

mod day;
mod report;

pub use day::{DaySheet, day_html, day_sheet, filed_stretches};
pub use report::{OwnerReport, Picture, owner_report, report_html};

use std::fmt::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::drawing::canvas::escape;

const STYLE: &str = include_str!("paper.css");

/// The start of a page.
fn head(title: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'; \
         base-uri 'none'; form-action 'none'\">\n<title>{0}</title>\n<style>\n{STYLE}</style></head>\n<body>\n",
        escape(title)
    )
}

/// A picture as a data link; `None` for what is neither PNG nor JPEG by its first bytes.
fn embedded(bytes: &[u8]) -> Option<String> {
    let kind = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        "png"
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        "jpeg"
    } else {
        return None;
    };
    Some(format!("data:image/{kind};base64,{}", STANDARD.encode(bytes)))
}

/// Text of several lines as paragraphs.
fn paragraphs(html: &mut String, text: &str) {
    for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
        let _ = writeln!(html, "<p>{}</p>", escape(line));
    }
}
