//! What a terminal without letters beyond ASCII is sent in their place: as near as ASCII comes.

use deunicode::deunicode_with_tofu;

/// A line of words and figures; a letter may become two.
#[must_use]
pub fn line(text: &str) -> String {
    deunicode_with_tofu(&text.replace('°', ""), "?")
}

/// One place on the screen, where there is room for one letter.
pub(super) fn letter(symbol: &str) -> String {
    match symbol {
        "°" => " ".to_owned(),
        _ => deunicode_with_tofu(symbol, "?").chars().next().unwrap_or(' ').to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_units_and_intervals_stay_readable() {
        assert_eq!(line("Müller, Łukasz, Groß, Søren, Ångström"), "Muller, Lukasz, Gross, Soren, Angstrom");
        assert_eq!(line("Mu\u{308}ller"), "Muller");
        assert_eq!(line("arm 25 mm/s (22–28)  panel 20 °F"), "arm 25 mm/s (22-28)  panel 20 F");
        for beyond in ["山田", "\u{1f9fd}", "\u{e000}", "·×µ…"] {
            assert!(line(beyond).is_ascii(), "{beyond}");
        }
    }

    #[test]
    fn a_place_on_the_screen_keeps_its_width() {
        for (symbol, want) in [("ü", "u"), ("u\u{308}", "u"), ("ß", "s"), ("–", "-"), ("°", " "), ("\u{e000}", "?")]
        {
            assert_eq!(letter(symbol), want);
        }
    }
}
