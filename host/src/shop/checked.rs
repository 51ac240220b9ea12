//! What was typed, refused where it cannot be.

use super::{Result, ShopError};
use crate::name::{self, MOST_CHARS};

/// A day in the one form that sorts and that everybody reads the same way: YYYY-MM-DD.
pub fn day_of(text: &str) -> Option<jiff::civil::Date> {
    text.parse().ok().filter(|_| text.len() == 10)
}

/// A day as it is stored.
pub(super) fn checked_day(day: &str) -> Result<&str> {
    match day_of(day) {
        Some(_) => Ok(day),
        None => Err(ShopError::OutOfRange(format!("{day:?}: expected a day as YYYY-MM-DD"))),
    }
}

/// A name as it is stored, without the blanks around it; `what` says of what it is one.
pub(super) fn checked_name(what: &str, text: &str) -> Result<String> {
    name::checked(text).map(name::composed).map_err(|_| {
        ShopError::OutOfRange(format!("{what} {text:?}: a name has 1 to {MOST_CHARS} characters and no line breaks"))
    })
}

/// The same of a panel; an empty one means it was not told.
pub(super) fn checked_panel(panel: &str) -> Result<String> {
    if panel.trim().is_empty() { Ok(String::new()) } else { checked_name("panel", panel) }
}
