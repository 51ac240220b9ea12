//! The owner's report on a vehicle: what was found, what was done, how warm it got, what film is left.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{embedded, head, paragraphs};
use crate::drawing::canvas::escape;
use crate::guidance::{Units, units::count};
use crate::shop::film::{Gauge, Um, panels};
use crate::shop::{Id, Result, Setting, Shop, ShopError};

/// A picture the user adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What it shows.
    pub caption: String,
    /// PNG or JPEG.
    pub bytes: Vec<u8>,
}

/// What was done on one panel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PanelWork {
    /// Panel.
    pub name: String,
    /// Days worked.
    pub days: Vec<String>,
    /// Sections.
    pub sections: usize,
    /// Passes.
    pub passes: usize,
    /// Minutes with the motor running.
    pub minutes: f64,
    /// Pads and liquids.
    pub products: Vec<String>,
    /// Largest surface rise, K; `None` where it was not measured.
    pub rise_k: Option<f64>,
    /// Whether every pass with a known rise stayed under its plan's limit.
    pub within: bool,
    /// The plan's limit, K.
    pub limit_k: f64,
    /// Mean film before and after, µm: of the points read at both times, if there are any.
    pub film_um: (Option<f64>, Option<f64>),
    /// What was taken off, where the gauge's spread is known or three points tell it.
    pub removal: Option<Um>,
}

/// Everything on the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnerReport {
    /// The shop's name.
    pub shop: String,
    /// Its logo.
    pub logo: Option<Vec<u8>>,
    /// The vehicle, in words.
    pub vehicle: String,
    /// Its paint, in words.
    pub paint: String,
    /// What was found, typed by the shop.
    pub found: String,
    /// The panels.
    pub panels: Vec<PanelWork>,
    /// Care advice, typed by the shop.
    pub care: String,
    /// Pictures.
    pub pictures: Vec<Picture>,
    /// Whether any figure is invented.
    pub invented: bool,
}

/// Gathers the report on a vehicle.
///
/// # Errors
/// When the vehicle is not known or the store cannot be read.
pub fn owner_report(shop: &Shop, vehicle: Id) -> Result<OwnerReport> {
    let entry = shop
        .vehicles()?
        .into_iter()
        .find(|v| v.id == vehicle)
        .ok_or_else(|| ShopError::Value(format!("there is no vehicle {vehicle}")))?
        .entry;
    let products: BTreeMap<Id, String> = shop.products()?.into_iter().map(|p| (p.id, p.entry.name)).collect();
    let mut report = OwnerReport {
        shop: shop.setting(Setting::Name)?.unwrap_or_default(),
        vehicle: entry.label.clone(),
        paint: paint_words(&entry.paint, &entry.colour, entry.paint_year),
        care: shop.setting(Setting::Care)?.unwrap_or_default(),
        ..OwnerReport::default()
    };
    if let Some(logo) = shop.setting(Setting::Logo)? {
        let path = shop.folder().join(&logo);
        report.logo = Some(std::fs::read(&path).map_err(|e| ShopError::io("read the logo", path, e))?);
    }
    let mut works: BTreeMap<String, PanelWork> = BTreeMap::new();
    let passes = shop.pass_figures()?;
    for session in shop.sessions()?.iter().filter(|s| s.vehicle == Some(vehicle)) {
        report.invented |= matches!(session.source.as_str(), "simulation" | "generated");
        let name = if session.panel.is_empty() { "not named" } else { &session.panel };
        let work = works.entry(name.to_lowercase()).or_insert_with(|| PanelWork {
            name: name.to_owned(),
            within: true,
            limit_k: session.heat_limit_k,
            ..PanelWork::default()
        });
        if !work.days.contains(&session.day) {
            work.days.push(session.day.clone());
        }
        work.minutes += session.running_s / 60.0;
        work.limit_k = work.limit_k.min(session.heat_limit_k);
        let used = [session.pad, session.liquid].map(|id| id.and_then(|id| products.get(&id)).cloned());
        if let [Some(pad), Some(liquid)] = used {
            let words = format!("{pad} with {liquid}");
            if !work.products.contains(&words) {
                work.products.push(words);
            }
        }
        let own: Vec<_> = passes.iter().filter(|p| p.session == session.id).collect();
        work.passes += own.len();
        work.sections += own.chunk_by(|a, b| a.section == b.section).count();
        for rise in own.iter().filter_map(|p| p.surface_rise_k) {
            work.within &= rise <= session.heat_limit_k;
            work.rise_k = Some(work.rise_k.map_or(rise, |r| r.max(rise)));
        }
    }
    let readings = shop.film_readings()?;
    let gauge = Gauge::of(shop.number(Setting::GaugeSdUm)?, &readings);
    for panel in panels(&readings, gauge, None).into_iter().filter(|p| p.vehicle == vehicle) {
        let work = works.entry(panel.name.to_lowercase()).or_insert_with(|| PanelWork {
            name: panel.name.clone(),
            within: true,
            ..PanelWork::default()
        });
        work.film_um = panel.film_um();
        work.removal = panel.removal;
    }
    report.panels = works.into_values().collect();
    Ok(report)
}

fn paint_words(paint: &str, colour: &str, year: Option<i64>) -> String {
    let kind = match paint {
        "clear-coat" => "clear-coated paint",
        "single-stage" => "single-stage paint",
        "respray" => "resprayed paint",
        _ => "paint",
    };
    let colour = if colour == "unknown" { String::new() } else { format!("{colour} ") };
    let year = year.map_or(String::new(), |y| format!(" of {y}"));
    format!("{colour}{kind}{year}")
}

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
        html.push_str("<p class=\"invented\">Invented data, not measured</p>\n");
    }
    if !report.found.trim().is_empty() {
        html.push_str("<h2>What we found</h2>\n");
        paragraphs(&mut html, &report.found);
    }
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
        html.push_str(
            "<p><small>Warmest: how far the surface rose above where it started, read beside the pad; the hottest place may have \
             been a little warmer. Paint thickness: mean of the gauge readings of all layers together; how much was taken holds \
             within ± in nine of ten cases, by the spread of the gauge and of the points.</small></p>\n",
        );
    }
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

/// What the readings say was taken off, after the two means.
fn taken(removal: Um) -> String {
    if removal.grew() {
        "; the readings do not fit together".into()
    } else if removal.value < removal.half_width() {
        "; less taken than the gauge can tell".into()
    } else {
        format!("; {:.1}\u{a0}±\u{a0}{:.1}\u{a0}µm taken", removal.value, removal.half_width())
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
            panel.days.iter().map(|day| format!("<span class=\"day\">{}</span>", escape(day))).collect();
        format!("{sections}, {:.0} min, {}", panel.minutes, days.join(", "))
    };
    let warm = match panel.rise_k {
        None => "not measured".to_owned(),
        Some(rise) => {
            let limit = units.rise(panel.limit_k);
            let word = if panel.within { "within our limit of" } else { "above our limit of" };
            format!("{}, {word} {limit}", units.rise(rise))
        }
    };
    let film = match panel.film_um {
        (Some(before), Some(after)) => {
            format!(
                "{before:.0}\u{a0}µm before, {after:.0}\u{a0}µm after{}",
                panel.removal.map_or(String::new(), taken)
            )
        }
        (Some(before), None) => format!("{before:.0}\u{a0}µm before"),
        (None, Some(after)) => format!("{after:.0}\u{a0}µm after"),
        (None, None) => "not read".to_owned(),
    };
    let _ = writeln!(
        html,
        "<tr><th>{}</th><td data-label=\"Polished with\">{}</td><td>{}</td><td data-label=\"Warmest\">{}</td>\
         <td data-label=\"Paint thickness\">{film}</td></tr>",
        escape(&panel.name),
        escape(&products),
        much,
        escape(&warm)
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::{FilmReading, Phase};

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
            "our limit of +11.1 K",
        ] {
            assert!(page.contains(words), "{words:?} not in {page}");
        }
        for style in STYLES {
            assert!(!page.contains(style.name), "{} is on the owner's page", style.name);
        }
        assert!(!page.contains("onload"), "only pictures are embedded");
    }

    #[test]
    fn what_was_taken_off_is_told_no_better_than_the_readings_know() {
        let um = |value| Um { value, sd: 1.0, df: f64::INFINITY };
        // 1.645: the normal distribution's 95th percentile, NIST/SEMATECH e-Handbook, 1.3.6.7.1.
        assert_eq!(taken(um(3.0)), "; 3.0\u{a0}±\u{a0}1.6\u{a0}µm taken");
        assert_eq!(taken(um(1.6)), "; less taken than the gauge can tell");
        assert_eq!(taken(um(-1.9)), "; less taken than the gauge can tell");
        assert_eq!(taken(um(-2.0)), "; the readings do not fit together");
    }
}
