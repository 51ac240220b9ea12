//! What was typed, refused where it cannot be.

use super::{Result, ShopError};
use crate::name::{self, MOST_CHARS};

/// A day as it is stored.
pub(super) fn checked_day(day: &str) -> Result<&str> {
    match day.parse::<jiff::civil::Date>() {
        Ok(_) if day.len() == 10 => Ok(day),
        _ => Err(ShopError::Value(format!("{day:?}: expected a day as YYYY-MM-DD"))),
    }
}

/// A name without the blanks around it; `what` says of what it is one.
pub(super) fn checked_name<'a>(what: &str, text: &'a str) -> Result<&'a str> {
    name::checked(text).map_err(|_| {
        ShopError::Value(format!("{what} {text:?}: a name has 1 to {MOST_CHARS} characters and no line breaks"))
    })
}

/// The same of a panel; an empty one means it was not told.
pub(super) fn checked_panel(panel: &str) -> Result<&str> {
    if panel.trim().is_empty() { Ok("") } else { checked_name("panel", panel) }
}
