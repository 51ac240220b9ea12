//! Text from outside, made fit for the page.

/// Text from outside at a length that does not drown the page; letters stay as they are, a browser has fonts for them.
pub(super) fn shown(text: &str) -> String {
    const MOST: usize = 160;
    // Direction controls would turn the sentence around them.
    let plain = |c: &char| !matches!(u32::from(*c), 0x200E | 0x200F | 0x202A..=0x202E | 0x2066..=0x2069 | 0xFEFF);
    let mut letters = text.trim().chars().filter(plain);
    let mut out: String = letters.by_ref().take(MOST).collect();
    if letters.next().is_some() {
        out.push('…');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foreign_text_is_kept_short_and_in_line() {
        assert_eq!(shown(" 山田 \u{202e}x "), "山田 x");
        assert_eq!(shown(&"y".repeat(10_000)).chars().count(), 161);
    }
}
