//! Sheets for people outside the comparison: the owner's report on a vehicle, and one technician's day. One self-contained HTML
//! page each, that also prints. No scores of persons.

mod day;
mod report;

pub use day::{DayReadings, DaySheet, DayTry, DayWork, day_html, day_sheet};
pub use report::{OwnerReport, PanelWork, Picture, TestSpot, owner_report, report_html};

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use jiff::civil::Date;

use super::{Result, Setting, Shop, ShopError};
use crate::drawing::canvas::escape;
use crate::guidance::units::count;
use crate::replaced::{PAGE_BEGINS, PICTURES_BEGIN};
use crate::results::write_whole;

const STYLE: &str = include_str!("paper.css");

/// Of how many passes the rise is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Known {
    /// Those of which it is.
    with: usize,
    /// All.
    passes: usize,
}

impl Known {
    fn in_all(self) -> bool {
        self.with >= self.passes
    }

    fn words(self) -> String {
        format!("known in {} of {}", self.with, count(self.passes, "pass", "passes"))
    }
}

/// The start of a page.
fn head(title: &str) -> String {
    format!(
        "{PAGE_BEGINS}; style-src 'unsafe-inline'; \
         base-uri 'none'; form-action 'none'\">\n<title>{0}</title>\n<style>\n{STYLE}</style></head>\n<body>\n",
        escape(title)
    )
}

/// Kinds of pictures that a page can show, as their data links call them.
const PICTURE_KINDS: [&str; 2] = ["png", "jpeg"];

/// What kind of picture it is by its first bytes, PNG or JPEG.
fn picture_kind(bytes: &[u8]) -> Option<&'static str> {
    PICTURE_KINDS.into_iter().zip(PICTURES_BEGIN).find(|(_, begin)| bytes.starts_with(begin)).map(|(kind, _)| kind)
}

/// A picture as a data link; `None` for what is neither PNG nor JPEG.
fn embedded(bytes: &[u8]) -> Option<String> {
    Some(format!("data:image/{};base64,{}", picture_kind(bytes)?, STANDARD.encode(bytes)))
}

/// Takes a picture into the shop's folder as its logo.
///
/// # Errors
/// When it cannot be read or is neither PNG nor JPEG, or the shop cannot be written.
pub fn set_logo(shop: &Shop, picture: &Path) -> Result<()> {
    let bytes = fs::read(picture).map_err(|e| ShopError::io("read the logo", picture, e))?;
    let Some(kind) = picture_kind(&bytes) else {
        return Err(ShopError::Value(format!("{}: the logo must be a PNG or a JPEG", picture.display())));
    };
    let name = format!("logo.{kind}");
    write_whole(&shop.folder().join(&name), &bytes)?;
    shop.set(Setting::Logo, &name)?;
    remove_logos(shop, Some(&name))
}

/// Unsets the shop's logo.
///
/// # Errors
/// When the shop cannot be written.
pub fn unset_logo(shop: &Shop) -> Result<()> {
    shop.set(Setting::Logo, "")?;
    remove_logos(shop, None)
}

/// Removes pictures that were taken into the shop as its logo, all but the one in force.
fn remove_logos(shop: &Shop, kept: Option<&str>) -> Result<()> {
    for kind in PICTURE_KINDS {
        let name = format!("logo.{kind}");
        let old = shop.folder().join(&name);
        if kept != Some(&name) && old.exists() {
            fs::remove_file(&old).map_err(|e| ShopError::io("remove the earlier logo", &old, e))?;
        }
    }
    Ok(())
}

/// A day of the store as the sheets write days; as it stands where it is none.
fn long_day(day: &str) -> String {
    day.parse::<Date>().map_or_else(|_| day.to_owned(), |date| date.strftime("%-d %B %Y").to_string())
}

/// Text of several lines as paragraphs.
fn paragraphs(html: &mut String, text: &str) {
    for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
        let _ = writeln!(html, "<p>{}</p>", escape(line));
    }
}
