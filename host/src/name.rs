//! What may be a name, of a technician, a machine, a panel, a pad, and when two texts are the same one: alike on the command line,
//! in a plan, in a recording and in the shop.

use std::path::{MAIN_SEPARATOR, Path};

use unicode_normalization::UnicodeNormalization as _;

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
    // In either way to write an accent it is as long.
    match text.nfc().count() {
        0 => Err(NotAName::Empty),
        n if n > MOST_CHARS => Err(NotAName::Long),
        _ if text.chars().any(char::is_control) => Err(NotAName::Control),
        _ => Ok(text),
    }
}

/// A name as it is stored: an accent is one with its letter, not a character after it, as some systems write it.
pub fn composed(name: &str) -> String {
    name.nfc().collect()
}

/// A name as one word of a command that is told to be typed.
pub(crate) fn quoted(name: &str) -> String {
    format!("'{}'", name.replace('\'', r"'\''"))
}

/// A file or folder as one word of a command that is told to be typed: as it is where every shell takes it so.
pub fn path_word(path: &Path) -> String {
    let path = path.to_string_lossy();
    let plain = |c: char| c.is_alphanumeric() || c == MAIN_SEPARATOR || "/:._-+,@%=".contains(c);
    if !path.is_empty() && path.chars().all(plain) { path.into_owned() } else { quoted(&path) }
}

/// Whether two names, as typed, mean the same: in whatever letters, however accents are written, with whatever blanks
/// around.
pub fn same(a: &str, b: &str) -> bool {
    key(a) == key(b)
}

/// A name as one sorts by it: all ways to type it give the same.
pub fn key(name: &str) -> String {
    // Lower-casing alone leaves apart what only upper case brings together: the two small sigmas, or a sharp s and its double s;
    // and upper case has a sharp s of its own, so that goes first. By character, for a sigma at the end of a word is one, too.
    let small = |text: &str| text.chars().flat_map(char::to_lowercase).collect::<String>();
    // Letters that have no capital of their own leave their accents behind, so these are put together again.
    composed(&small(&small(&composed(name.trim())).to_uppercase()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_the_same_in_whatever_letters_of_any_script() {
        for (a, b) in [
            ("Robin", "  rOBIN\t"),
            ("J\u{f6}rg", "J\u{d6}RG"),
            ("\u{416}\u{435}\u{43d}\u{44f}", "\u{436}\u{415}\u{41d}\u{42f}"),
            ("\u{39f}\u{394}\u{39f}\u{3a3}", "\u{3bf}\u{3b4}\u{3bf}\u{3c2}"),
            ("\u{3bf}\u{3b4}\u{3bf}\u{3c3}", "\u{3bf}\u{3b4}\u{3bf}\u{3c2}"),
            ("wei\u{df}er Schaum", "WEISSER SCHAUM"),
            ("wei\u{df}er Schaum", "WEI\u{1e9e}ER SCHAUM"),
            ("\u{53f3}\u{30c9}\u{30a2}", "\u{3000}\u{53f3}\u{30c9}\u{30a2} "),
            ("Jos\u{e9}", "JOSE\u{301} "),
            ("\u{390}", "\u{3aa}\u{301}"),
            ("\u{3b1}\u{345}\u{301}", "\u{391}\u{301}\u{345}"),
            ("\u{30c9}\u{30a2}", "\u{30c8}\u{3099}\u{30a2}"),
        ] {
            assert!(same(a, b), "{a:?} {b:?}");
        }
        for (a, b) in
            [("Robin", "Rob in"), ("Jorg", "J\u{f6}rg"), ("Jorg", "Jo\u{308}rg"), ("a", ""), ("\u{53f3}", "\u{5de6}")]
        {
            assert!(!same(a, b), "{a:?} {b:?}");
        }
    }

    #[test]
    fn a_path_with_a_blank_is_one_word_all_the_same() {
        assert_eq!(path_word(Path::new("/x/caf\u{e9}/shop-2.1")), "/x/caf\u{e9}/shop-2.1");
        assert_eq!(path_word(Path::new("my shop")), "'my shop'");
        assert_eq!(path_word(Path::new("robin's/$HOME")), r"'robin'\''s/$HOME'");
        assert_eq!(path_word(Path::new("")), "''");
    }

    #[test]
    fn a_name_is_short_and_on_one_line() {
        assert_eq!(checked("  Robin \u{fc} "), Ok("Robin \u{fc}"));
        assert_eq!(checked(&"\u{fc}".repeat(MOST_CHARS)).map(str::len), Ok(2 * MOST_CHARS));
        assert_eq!(checked(&"u\u{308}".repeat(MOST_CHARS)).map(str::len), Ok(3 * MOST_CHARS));
        assert_eq!(checked(&"u\u{308}".repeat(MOST_CHARS + 1)), Err(NotAName::Long));
        assert_eq!(checked(&"y".repeat(MOST_CHARS + 1)), Err(NotAName::Long));
        assert_eq!(checked(" \t"), Err(NotAName::Empty));
        assert_eq!(checked("a\nb"), Err(NotAName::Control));
        assert_eq!(checked("a\u{1b}[2Jb"), Err(NotAName::Control));
    }
}
