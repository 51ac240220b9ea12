//! The report as one page.

use std::fmt::Write as _;

use super::film::{before_and_after, one_mean, to_know};
use super::heat::warmest;
use super::spots::spots;
use super::{OwnerReport, PanelWork};
use crate::drawing::canvas::escape;
use crate::guidance::{Units, units::count};
use crate::shop::papers::{embedded, head, long_day, paragraphs};

/// The page, UTF-8. Pictures that are neither PNG nor JPEG are left out.
pub fn report_html(report: &OwnerReport, units: Units) -> String {
    let shop = if report.shop.is_empty() { "Paint correction" } else { &report.shop };
    let mut html = head(&format!("{shop}: {}", report.vehicle));
    let logo = report.logo.as_deref().and_then(embedded);
    let logo = logo.map_or(String::new(), |data| format!("<img alt=\"{}\" src=\"{data}\">", escape(shop)));
    let _ = writeln!(
        html,
        "<header><div><p class=\"soft\">{}</p><h1>Work on your {}</h1><p class=\"soft\">{}</p></div>{logo}</header>",
        escape(shop),
        escape(&report.vehicle),
        escape(&report.paint)
    );
    if report.invented {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    if !report.found.trim().is_empty() {
        html.push_str("<h2>What we found</h2>\n");
        paragraphs(&mut html, &report.found);
    }
    spots(&mut html, report);
    html.push_str("<h2>What we did</h2>\n");
    if report.panels.is_empty() {
        html.push_str("<p>No work on this vehicle is filed yet.</p>\n");
    } else {
        html.push_str(
            "<table><thead><tr><th>Part</th><th>Polished with</th><th>How much</th><th>Warmest</th><th>Paint thickness</th></tr>\
             </thead><tbody>\n",
        );
        report.panels.iter().for_each(|p| row(&mut html, p, units));
        html.push_str("</tbody></table>\n");
        notes(&mut html, report);
    }
    to_know(&mut html, report, units);
    let pictures: Vec<(&str, String)> =
        report.pictures.iter().filter_map(|p| Some((p.caption.as_str(), embedded(&p.bytes)?))).collect();
    if !pictures.is_empty() {
        html.push_str("<h2>Pictures</h2>\n<div class=\"pictures\">\n");
        for (caption, data) in pictures {
            let caption = escape(caption);
            let _ = writeln!(
                html,
                "<figure><img alt=\"{caption}\" src=\"{data}\"><figcaption>{caption}</figcaption></figure>"
            );
        }
        html.push_str("</div>\n");
    }
    if !report.care.trim().is_empty() {
        html.push_str("<h2>How to keep it so</h2>\n");
        paragraphs(&mut html, &report.care);
    }
    html.push_str("<footer><p>Temperatures and times come from a sensor on the machine and are aids, not a certificate.</p></footer>\n");
    html.push_str("</body></html>\n");
    html
}

/// What the figures of the table are; of those that are in it.
fn notes(html: &mut String, report: &OwnerReport) {
    let mut notes = Vec::new();
    if report.panels.iter().any(|p| p.warmest.is_some()) {
        notes.push(
            "Warmest: how far the surface rose above where it started, at the spot that was read beside the pad; our limit is for that \
             spot. The hottest place of the part was not measured and may have been much warmer.",
        );
    }
    let read = |p: &PanelWork| p.film_um.0.is_some() || p.film_um.1.is_some();
    let taken = |p: &PanelWork| p.film_um.0.and(p.film_um.1).and(p.removal).is_some_and(|um| um.measurable());
    if report.panels.iter().any(taken) {
        notes.push(
            "Paint thickness: mean of the gauge readings of all layers together; how much was taken holds within ± in nine of ten \
             cases, by the spread of the gauge and of the points.",
        );
    } else if report.panels.iter().any(read) {
        notes.push("Paint thickness: mean of the gauge readings of all layers together.");
    }
    if !notes.is_empty() {
        let _ = writeln!(html, "<p><small>{}</small></p>", notes.join(" "));
    }
}

fn row(html: &mut String, panel: &PanelWork, units: Units) {
    let products = if panel.products.is_empty() { "not noted".to_owned() } else { panel.products.join("; ") };
    let much = if panel.passes == 0 {
        "not polished".to_owned()
    } else {
        let sections = count(panel.sections, "section", "sections");
        // A date broken over two lines reads as two numbers.
        let days: Vec<String> =
            panel.days.iter().map(|day| format!("<span class=\"day\">{}</span>", escape(&long_day(day)))).collect();
        format!("{sections}, {:.0} min, {}", panel.minutes, days.join(", "))
    };
    // A thermometer that looked aside or gave up has measured, too.
    let unknown = if panel.passes == 0 { "not measured" } else { "not known" };
    let warm = panel.warmest.map_or(unknown.to_owned(), |warm| warmest(warm, panel.above, panel.rise_known(), units));
    let film = match panel.film_um {
        (Some(before), Some(after)) => before_and_after(before, after, panel.removal, units),
        (Some(before), None) => format!("{} before", one_mean(before, units)),
        (None, Some(after)) => format!("{} after", one_mean(after, units)),
        (None, None) => "not read".to_owned(),
    };
    let _ = writeln!(
        html,
        "<tr><th>{}</th><td data-label=\"Polished with\">{}</td><td>{}</td><td data-label=\"Warmest\">{}</td>\
         <td data-label=\"Paint thickness\">{film}</td></tr>",
        escape(&panel.name),
        escape(&products),
        much,
        // A line between a number and its unit reads as two figures.
        escape(&warm).replace(" K", "\u{a0}K").replace(" °F", "\u{a0}°F")
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::film::Um;
    use crate::shop::papers::owner_report;
    use crate::shop::papers::report::{Picture, Warm};
    use crate::shop::{FilmReading, Phase, Setting, Shop};

    #[test]
    fn the_owner_s_page_tells_the_work_and_names_no_technician() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 8, sections: 2 }, 4).expect("generated");
        shop.set(Setting::Name, "Corner <Shop>").expect("set");
        shop.set(Setting::Care, "Wash by hand.\nNo brushes.").expect("set");
        for (phase, film_um) in [(Phase::Before, 121.0), (Phase::After, 118.0)] {
            let reading = FilmReading {
                vehicle: cast.vehicles[0],
                panel: "Bonnet".into(),
                point: "1".into(),
                phase,
                day: "2026-03-02".into(),
                film_um,
                place: None,
                note: String::new(),
            };
            shop.add_film_reading(&reading).expect("added");
        }
        let mut report = owner_report(&shop, cast.vehicles[0]).expect("known");
        report.pictures = vec![
            Picture { caption: "bonnet".into(), bytes: b"\xff\xd8\xff picture".to_vec() },
            Picture { caption: "a script".into(), bytes: b"<svg onload=1>".to_vec() },
        ];
        let page = report_html(&report, Units::Si);
        for words in [
            "Corner &lt;Shop&gt;",
            "121\u{a0}µm before, 118\u{a0}µm after",
            "<p>No brushes.</p>",
            "our limit of +11.1\u{a0}K",
        ] {
            assert!(page.contains(words), "{words:?} not in {page}");
        }
        for style in STYLES {
            assert!(!page.contains(style.name), "{} is on the owner's page", style.name);
        }
        assert!(!page.contains("onload"), "only pictures are embedded");
    }

    #[test]
    fn the_notes_below_the_table_speak_of_what_is_in_it() {
        let page = |film_um, removal: Option<f64>, rise_k: Option<f64>| {
            let panel = PanelWork {
                days: vec!["2026-03-02".into()],
                passes: 1,
                film_um,
                removal: removal.map(|value| Um { value, sd: 1.0, df: f64::INFINITY }),
                left_out: 1,
                warmest: rise_k.map(|rise_k| Warm { rise_k, limit_k: 11.1 }),
                passes_with_rise: usize::from(rise_k.is_some()),
                ..PanelWork::default()
            };
            report_html(&OwnerReport { panels: vec![panel], ..OwnerReport::default() }, Units::Si)
        };
        let both = (Some(120.0), Some(117.0));
        let whole = page(both, Some(3.0), Some(8.0));
        assert!(whole.contains("holds within ±") && whole.contains("Warmest: how far"), "{whole}");
        assert!(whole.contains(">2 March 2026<") && !whole.contains("2026-03-02"), "{whole}");
        assert!(!whole.contains("left out"), "{whole}");
        for (film_um, removal) in [(both, None), (both, Some(1.0)), ((Some(120.0), None), Some(3.0))] {
            let some = page(film_um, removal, None);
            assert!(!some.contains('±') && !some.contains("Warmest:"), "{some}");
            assert!(some.contains("Paint thickness: mean of the gauge"), "{some}");
        }
        assert!(!page((None, None), None, None).contains("<small>"));
    }
}
