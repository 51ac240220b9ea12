//! What was typed, refused where it cannot be.

use super::{Result, ShopError};

/// A day as it is stored.
pub(super) fn checked_day(day: &str) -> Result<&str> {
    match day.parse::<jiff::civil::Date>() {
        Ok(_) if day.len() == 10 => Ok(day),
        _ => Err(ShopError::Value(format!("{day:?}: expected a day as YYYY-MM-DD"))),
    }
}

/// Refuses a panel's name that is none; an empty one means it was not told.
pub(super) fn checked_panel(panel: &str) -> Result<()> {
    if panel.chars().count() > 80 || panel.chars().any(char::is_control) {
        return Err(ShopError::Value(format!("panel {panel:?}: a name has up to 80 characters and no line breaks")));
    }
    Ok(())
}
