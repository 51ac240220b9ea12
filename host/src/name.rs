//! What may be a name, of a technician, a machine, a panel, a pad: the same on the command line, in a plan and in the shop.

/// Most characters of a name: something, but not a novel.
pub const MOST_CHARS: usize = 80;

/// Why a text is no name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotAName {
    /// Nothing, or blanks only.
    Empty,
    /// More than [`MOST_CHARS`].
    Long,
    /// Line breaks, escape sequences and the like.
    Control,
}

impl NotAName {
    /// What was found in its place.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Empty => "an empty text",
            Self::Long => "a longer text",
            Self::Control => "control characters",
        }
    }
}

/// A name without the blanks around it.
///
/// # Errors
/// When the text is none.
pub fn checked(text: &str) -> Result<&str, NotAName> {
    let text = text.trim();
    match text.chars().count() {
        0 => Err(NotAName::Empty),
        n if n > MOST_CHARS => Err(NotAName::Long),
        _ if text.chars().any(char::is_control) => Err(NotAName::Control),
        _ => Ok(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_short_and_on_one_line() {
        assert_eq!(checked("  Robin \u{fc} "), Ok("Robin \u{fc}"));
        assert_eq!(checked(&"\u{fc}".repeat(MOST_CHARS)).map(str::len), Ok(2 * MOST_CHARS));
        assert_eq!(checked(&"y".repeat(MOST_CHARS + 1)), Err(NotAName::Long));
        assert_eq!(checked(" \t"), Err(NotAName::Empty));
        assert_eq!(checked("a\nb"), Err(NotAName::Control));
        assert_eq!(checked("a\u{1b}[2Jb"), Err(NotAName::Control));
    }
}
