//! Text from outside, made fit for the page.

/// Text without direction controls, which would turn the sentence around them; whole.
pub(super) fn in_line(text: &str) -> String {
    let plain = |c: &char| !matches!(u32::from(*c), 0x200E | 0x200F | 0x202A..=0x202E | 0x2066..=0x2069 | 0xFEFF);
    text.trim().chars().filter(plain).collect()
}

/// Text from outside at a length that does not drown the page; letters stay as they are, a browser has fonts for them.
pub(super) fn shown(text: &str) -> String {
    cut(text, 160)
}

/// The same for a remark of a sentence or three, which a recording may hold.
pub(super) fn remark(text: &str) -> String {
    cut(text, 800)
}

fn cut(text: &str, most: usize) -> String {
    let text = in_line(text);
    let mut letters = text.chars();
    let mut out: String = letters.by_ref().take(most).collect();
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
        assert_eq!(remark(&"y".repeat(10_000)).chars().count(), 801);
    }
}
