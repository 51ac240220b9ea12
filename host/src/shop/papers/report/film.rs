//! The film in the owner's words: its means, what was taken off, and what must be known about it.

use std::fmt::Write as _;

use super::{OwnerReport, PanelWork};
use crate::drawing::canvas::escape;
use crate::guidance::Units;
use crate::shop::film::{self, REMOVAL_ALLOWED_UM, Um};

impl PanelWork {
    /// What the owner must know about its film.
    pub fn to_know(&self, units: Units) -> Vec<String> {
        let thick = self.thick_um.map(|um| {
            format!(
                "The paint reads up to {}, more than the {} of a factory film: the part may have been painted again. (Common practice to \
                 think so, with no published source.)",
                film::film(um, 0, units),
                film::span(film::FACTORY_UM, units)
            )
        });
        self.cautions.iter().filter_map(|c| c.owner_words(units)).chain(thick).collect()
    }
}

impl OwnerReport {
    /// What the owner must know about the film, panel by panel.
    pub fn to_know(&self, units: Units) -> Vec<(&str, String)> {
        self.panels.iter().flat_map(|p| p.to_know(units).into_iter().map(|words| (p.name.as_str(), words))).collect()
    }
}

pub(super) fn to_know(html: &mut String, report: &OwnerReport, units: Units) {
    let to_know = report.to_know(units);
    if to_know.is_empty() {
        return;
    }
    html.push_str("<h2>What to know about the paint</h2>\n<ul>\n");
    for (panel, words) in to_know {
        let _ = writeln!(html, "<li><strong>{}:</strong> {}</li>", escape(panel), escape(&words));
    }
    html.push_str("</ul>\n");
}

/// A mean that stands alone.
pub(super) fn one_mean(um: f64, units: Units) -> String {
    let (unit_um, _, unit) = film::unit(units);
    format!("{:.*}\u{a0}{unit}", least_digits(units), um / unit_um)
}

/// Digits of a mean that needs no more: whole µm; of a mil the hundredths that gauges read, for a tenth is 2.5 µm, as much as a
/// whole polish takes.
fn least_digits(units: Units) -> usize {
    if units == Units::Us { 2 } else { 0 }
}

/// The two means, and what the readings say was taken off. What is shown adds up: whoever subtracts finds what was taken.
pub(super) fn before_and_after(before: f64, after: f64, removal: Option<Um>, units: Units) -> String {
    let (unit_um, digits, unit) = film::unit(units);
    let steps = 10f64.powi(digits as i32);
    let shown = |um: f64| (um / unit_um * steps).round() / steps;
    let told = removal.filter(Um::measurable);
    let before = shown(before);
    let after = told.map_or(shown(after), |um| before - shown(um.value));
    // More digits than needed are only shown where one of the means has one.
    let least = least_digits(units);
    let in_least = 10f64.powi(least as i32);
    let spare = [before, after].iter().all(|v| (v * in_least - (v * in_least).round()).abs() < 0.05);
    let decimals = if spare { least } else { digits };
    let taken = match (told, removal) {
        (Some(um), _) => {
            let [value, half] = [um.value, um.half_width()].map(|um| um / unit_um);
            format!("; {value:.digits$}\u{a0}±\u{a0}{half:.digits$}\u{a0}{unit} taken")
        }
        (None, Some(um)) if um.grew() => "; the readings do not fit together".into(),
        (None, Some(um)) if um.interval().1 > REMOVAL_ALLOWED_UM.1 => {
            "; the readings do not tell how much was taken".into()
        }
        (None, Some(um)) if um.value > 0.0 => "; less taken than the gauge can tell".into(),
        // Thicker by no more than the gauge may be off: nobody took less than nothing.
        (None, Some(_)) => "; no difference that the gauge can tell".into(),
        (None, None) => String::new(),
    };
    format!("{before:.decimals$}\u{a0}{unit} before, {after:.decimals$}\u{a0}{unit} after{taken}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::papers::{owner_report, report_html};
    use crate::shop::{FilmReading, Phase, Setting, Shop};

    #[test]
    fn the_owner_reads_of_film_thicker_than_a_factory_s() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let to_know = |point: &str, film_um: f64| {
            let reading = FilmReading {
                vehicle: cast.vehicles[0],
                panel: "Roof".into(),
                point: point.into(),
                phase: Phase::Before,
                day: "2026-03-02".into(),
                film_um,
                place: None,
                note: String::new(),
            };
            shop.add_film_reading(&reading).expect("added");
            let report = owner_report(&shop, cast.vehicles[0]).expect("known");
            report.to_know(Units::Si).into_iter().map(|(_, words)| words).collect::<Vec<_>>().join(" ")
        };
        // 100 to 180 µm: `data/reference`, as listed where FACTORY_UM is.
        assert_eq!(to_know("1", 175.0), "");
        let said = to_know("2", 308.0);
        assert!(
            said.starts_with("The paint reads up to 308 µm, more than the 100 to 180 µm of a factory film"),
            "{said}"
        );
        assert!(said.contains("may have been painted again") && said.contains("no published source"), "{said}");
        // One slip among the readings of a point does not make it resprayed.
        let slip = to_know("3", 120.0) + &to_know("3", 121.0) + &to_know("3", 900.0);
        assert!(!slip.contains("up to 900") && slip.contains("One reading, 900 µm"), "{slip}");
    }

    #[test]
    fn what_was_taken_off_is_told_no_better_than_the_readings_know() {
        let words = |value| {
            let um = Um { value, sd: 1.0, df: f64::INFINITY };
            before_and_after(120.0, 120.0 - value, Some(um), Units::Si).replace('\u{a0}', " ")
        };
        // 1.645: the normal distribution's 95th percentile, NIST/SEMATECH e-Handbook, 1.3.6.7.1.
        assert_eq!(words(3.0), "120 µm before, 117 µm after; 3.0 ± 1.6 µm taken");
        assert_eq!(words(1.6), "120.0 µm before, 118.4 µm after; less taken than the gauge can tell");
        assert_eq!(words(-1.9), "120.0 µm before, 121.9 µm after; no difference that the gauge can tell");
        assert_eq!(words(-2.0), "120 µm before, 122 µm after; the readings do not fit together");
        let apart = Um { value: 14.7, sd: 12.7, df: 2.0 };
        let words = before_and_after(120.0, 105.3, Some(apart), Units::Si);
        assert!(words.ends_with("; the readings do not tell how much was taken"), "{words}");
    }

    #[test]
    fn who_subtracts_the_shown_means_finds_what_was_taken() {
        let words = |before: f64, after: f64| {
            let um = Um { value: before - after, sd: 0.5, df: f64::INFINITY };
            before_and_after(before, after, Some(um), Units::Si).replace('\u{a0}', " ")
        };
        assert_eq!(words(121.5, 118.5), "121.5 µm before, 118.5 µm after; 3.0 ± 0.8 µm taken");
        // Rounded each for itself, thirds would read 121.3, 118.7 and 2.7.
        assert_eq!(words(364.0 / 3.0, 356.0 / 3.0), "121.3 µm before, 118.6 µm after; 2.7 ± 0.8 µm taken");
        assert_eq!(words(121.0, 118.5), "121.0 µm before, 118.5 µm after; 2.5 ± 0.8 µm taken");
        // 1 mil = 25.4 µm by definition: 4.76, 4.67 and 0.10 mil, each rounded for itself, would not add up.
        let um = Um { value: 2.5, sd: 0.5, df: f64::INFINITY };
        let mil = before_and_after(121.0, 118.5, Some(um), Units::Us).replace('\u{a0}', " ");
        assert_eq!(mil, "4.76 mil before, 4.66 mil after; 0.10 ± 0.03 mil taken");
        assert_eq!(one_mean(121.0, Units::Us), "4.76\u{a0}mil");
        assert_eq!(one_mean(121.3, Units::Si), "121\u{a0}µm");
        let round = before_and_after(4.8 * 25.4, 4.7 * 25.4, None, Units::Us).replace('\u{a0}', " ");
        assert_eq!(round, "4.80 mil before, 4.70 mil after");
    }

    #[test]
    fn the_owner_reads_what_must_be_known_about_the_film() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let reading = |panel: &str, film_um: f64| FilmReading {
            vehicle: cast.vehicles[0],
            panel: panel.into(),
            point: "1".into(),
            phase: Phase::Before,
            day: "2026-03-02".into(),
            film_um,
            place: None,
            note: String::new(),
        };
        let page = |units| report_html(&owner_report(&shop, cast.vehicles[0]).expect("known"), units);
        shop.add_film_reading(&reading("Bonnet", 121.0)).expect("added");
        shop.add_film_reading(&reading("<Roof>", 95.0)).expect("added");
        assert!(!page(Units::Si).contains("What to know"), "the shop has set no limit");
        shop.set(Setting::FilmFloorUm, "100").expect("set");
        let said = page(Units::Si);
        assert!(said.contains("<h2>What to know about the paint</h2>"), "{said}");
        assert!(said.contains("<strong>&lt;Roof&gt;:</strong> The thinnest reading is 95 µm"), "{said}");
        assert!(!said.contains("<strong>Bonnet:</strong>"), "{said}");
        let said = page(Units::Us);
        assert!(said.contains("The thinnest reading is 3.74 mil") && said.contains("below 3.94 mil"), "{said}");
    }
}
