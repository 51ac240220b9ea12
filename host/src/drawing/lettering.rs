//! The built-in font: how wide a text is, what it can show, and how foreign text is made safe to draw.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef};
use deunicode::deunicode_char;

/// Inter Regular; licence beside the file.
pub const REGULAR: &[u8] = include_bytes!("../../assets/fonts/Inter-Regular.ttf");
/// Inter SemiBold; licence beside the file.
pub const SEMIBOLD: &[u8] = include_bytes!("../../assets/fonts/Inter-SemiBold.ttf");
/// The family's name as the files give it; font look-up minds the case.
pub const FAMILY: &str = "Inter";

/// Drawn for a letter that the font lacks and nothing spells.
const LACKING: &str = "□";

struct Faces {
    regular: FontRef<'static>,
    semibold: FontRef<'static>,
}

static FACES: LazyLock<Faces> = LazyLock::new(|| Faces {
    regular: FontRef::try_from_slice(REGULAR).expect("the built-in font is whole"),
    semibold: FontRef::try_from_slice(SEMIBOLD).expect("the built-in font is whole"),
});

/// How heavy the lettering is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weight {
    /// Regular.
    #[default]
    Regular,
    /// SemiBold.
    SemiBold,
}

fn face(weight: Weight) -> &'static FontRef<'static> {
    match weight {
        Weight::Regular => &FACES.regular,
        Weight::SemiBold => &FACES.semibold,
    }
}

/// Advance of one letter, px, at a size in px per em. All digits get the width of a zero when `tabular`.
pub fn advance(letter: char, size: f64, weight: Weight, tabular: bool) -> f64 {
    let font = face(weight);
    let letter = if tabular && letter.is_ascii_digit() { '0' } else { letter };
    let units = f64::from(font.units_per_em().unwrap_or(2048.0));
    f64::from(font.h_advance_unscaled(font.glyph_id(letter))) / units * size
}

/// Width of a text, px, without kerning (within two percent of the drawn width for words).
pub fn width(text: &str, size: f64, weight: Weight) -> f64 {
    text.chars().map(|c| advance(c, size, weight, false)).sum()
}

/// Text from outside, fit to be drawn: one line, no control or direction characters, no piles of combining marks, letters the
/// font lacks spelt in Latin ones where that is possible and else as open boxes, at most `most` letters with an ellipsis for the
/// rest.
#[must_use]
pub fn safe(text: &str, most: usize) -> String {
    let mut out = String::new();
    let (mut letters, mut marks, mut gap, mut gap_is_spelt) = (0, 0, false, false);
    let drawn = text.chars().filter(|c| !is_invisible(*c)).flat_map(|c| drawable(c).map(move |letter| (letter, c)));
    for (c, of) in drawn {
        if c.is_whitespace() || c.is_control() {
            (gap, gap_is_spelt) = (!out.is_empty(), c != of);
            continue;
        }
        // A letter that is spelt brings a gap along, which parts it from a word, not from the comma behind it.
        gap &= !(gap_is_spelt && c == of && ",.;:!?)]}'\"’”»".contains(c));
        marks = if is_combining(c) { marks + 1 } else { 0 };
        if marks > 2 {
            continue;
        }
        if letters + usize::from(gap) >= most {
            out.push('…');
            return out;
        }
        if gap {
            out.push(' ');
            letters += 1;
            gap = false;
        }
        out.push(c);
        letters += 1;
    }
    out
}

/// The letter itself where the font has it, else what spells it in Latin letters.
fn drawable(c: char) -> impl Iterator<Item = char> {
    let is_known = c.is_whitespace() || c.is_control() || face(Weight::Regular).glyph_id(c).0 != 0;
    // What is spelt as nothing still stands for something, but for accents of the letter before.
    let nothing = if is_combining(c) { "" } else { LACKING };
    let spelt = if is_known { "" } else { deunicode_char(c).filter(|s| !s.is_empty()).unwrap_or(nothing) };
    is_known.then_some(c).into_iter().chain(spelt.chars())
}

/// The text cut, with an ellipsis, to a width in px.
#[must_use]
pub fn fit(text: &str, size: f64, weight: Weight, room: f64) -> String {
    if width(text, size, weight) <= room {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = advance('…', size, weight, false);
    for c in text.chars() {
        used += advance(c, size, weight, false);
        if used > room {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}

/// The text cut in the middle, with an ellipsis, to a width in px: what differs is often at the end.
#[must_use]
pub fn fit_middle(text: &str, size: f64, weight: Weight, room: f64) -> String {
    if width(text, size, weight) <= room {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    let (mut head, mut tail) = (0, letters.len());
    let mut used = advance('…', size, weight, false);
    while head < tail {
        let at_head = head <= letters.len() - tail;
        let next = letters[if at_head { head } else { tail - 1 }];
        used += advance(next, size, weight, false);
        if used > room {
            break;
        }
        if at_head { head += 1 } else { tail -= 1 }
    }
    // A mark without its letter would sit on the ellipsis.
    while letters.get(tail).is_some_and(|c| is_combining(*c)) {
        tail += 1;
    }
    let text = |part: &[char]| part.iter().collect::<String>();
    format!("{}…{}", text(&letters[..head]).trim_end(), text(&letters[tail..]).trim_start())
}

/// The text in at most two lines no wider than `room` px, what is too long cut in the middle of the second.
#[must_use]
pub fn two_lines(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let lines = wrap(text, size, weight, room);
    if lines.len() <= 2 && !lines.iter().any(|line| line.ends_with('…')) {
        return lines;
    }
    let mut words = text.split(' ').filter(|word| !word.is_empty());
    let mut first = words.next().unwrap_or_default().to_owned();
    let mut rest: Vec<&str> = Vec::new();
    for word in words {
        let longer = format!("{first} {word}");
        if rest.is_empty() && width(&longer, size, weight) <= room {
            first = longer;
        } else {
            rest.push(word);
        }
    }
    [first, rest.join(" ")].iter().filter(|line| !line.is_empty()).map(|l| fit_middle(l, size, weight, room)).collect()
}

/// The text in lines no wider than `room` px, broken between words; a single word that is too long is cut.
#[must_use]
pub fn wrap(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let word = fit(word, size, weight, room);
        match lines.last_mut() {
            Some(line) if width(line, size, weight) + width(&word, size, weight) + size * 0.3 <= room => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Direction controls, zero-width letters, variation selectors, byte-order mark, tags, private use and non-characters.
fn is_invisible(c: char) -> bool {
    matches!(u32::from(c),
        0xAD | 0x34F | 0x61C | 0x115F | 0x1160 | 0x17B4 | 0x17B5 | 0x180B..=0x180F | 0x200B..=0x200F | 0x2028..=0x202E
        | 0x2060..=0x206F | 0x3164 | 0xFE00..=0xFE0F | 0xFEFF | 0xFFA0 | 0xFFF0..=0xFFFB | 0xFFFE | 0xFFFF
        | 0xE0000..=0xE0FFF)
}

fn is_combining(c: char) -> bool {
    matches!(u32::from(c), 0x300..=0x36F | 0x483..=0x489 | 0x1AB0..=0x1AFF | 0x1DC0..=0x1DFF | 0x20D0..=0x20FF | 0xFE20..=0xFE2F)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_of_many_scripts_are_drawn_or_spelt() {
        assert_eq!(safe("Zoë Ångström-Łoś", 40), "Zoë Ångström-Łoś");
        assert_eq!(safe("Ирина Ωμέγα", 40), "Ирина Ωμέγα");
        // As the page and the tables have them, they cannot be drawn: no letter may vanish into a box that can be read.
        assert_eq!(safe("山田", 40), "Shan Tian");
        assert_eq!(safe("hood \"left\" & 日本", 40), "hood \"left\" & Ri Ben");
        assert_eq!(safe("日本", 4), "Ri B…");
        assert_eq!(safe("Bo 🧽, 2026", 40), "Bo sponge, 2026");
        assert_eq!(safe("Bo 🧽 2, a , b", 40), "Bo sponge 2, a , b");
        assert_eq!(safe("a\u{10ffff}\u{10ffff}b", 40), "a□□b");
    }

    #[test]
    fn hostile_names_are_tamed() {
        assert_eq!(safe("a\u{0}b\n\n c\u{202e}d\u{200b}", 40), "a b cd");
        assert_eq!(safe(&format!("e{}x", "\u{301}".repeat(500)), 40), "e\u{301}\u{301}x");
        assert_eq!(safe(&"long ".repeat(10_000), 12), "long long lo…");
        assert_eq!(safe("  \t ", 12), "");
    }

    #[test]
    fn lines_keep_to_the_room() {
        let text =
            "Where the spot trails the pad it sees the paint just worked, and Donaudampfschifffahrtskapitänsmütze";
        let lines = wrap(text, 20.0, Weight::Regular, 240.0);
        assert!(lines.len() > 3);
        for line in &lines {
            assert!(width(line, 20.0, Weight::Regular) <= 240.0, "{line}");
        }
        assert!(lines.last().unwrap().ends_with('…'));
    }

    #[test]
    fn names_that_begin_alike_stay_apart_when_they_are_cut() {
        let (size, weight, room) = (19.0, Weight::Regular, 174.0);
        let names =
            ["white foam with one-step", "white foam with finishing", "white foam with a compound for hard paint"];
        let shown = names.map(|name| two_lines(name, size, weight, room));
        assert_eq!(shown[0], ["white foam with", "one-step"]);
        assert_eq!(shown[2][1], "compound…d paint");
        for lines in [&shown[..], &[two_lines(&"W".repeat(99), size, weight, room)]].concat() {
            assert!(lines.len() <= 2 && lines.iter().all(|line| width(line, size, weight) <= room), "{lines:?}");
        }
        assert_eq!(fit_middle("short", size, weight, room), "short");
    }

    #[test]
    fn digits_share_one_width_when_tabular() {
        let widths: Vec<f64> = ('0'..='9').map(|d| advance(d, 20.0, Weight::SemiBold, true)).collect();
        assert!(widths.iter().all(|w| *w == widths[0] && *w > 5.0));
        assert!(advance('1', 20.0, Weight::Regular, false) < advance('0', 20.0, Weight::Regular, false));
    }

    proptest! {
        #[test]
        fn safe_text_is_short_and_plain(text in any::<String>(), most in 1usize..60) {
            let out = safe(&text, most);
            prop_assert!(out.chars().count() <= most + 1);
            prop_assert!(out.chars().all(|c| !c.is_control() && !is_invisible(c)));
        }
    }
}
