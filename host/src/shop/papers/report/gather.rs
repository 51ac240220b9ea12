//! Gathers the report from the shop: sessions, passes and film readings, part by part.

use std::collections::{BTreeMap, BTreeSet};

use super::spots::test_spots;
use super::{NOT_NAMED, OwnerReport, PanelWork, Warm};
use crate::name;
use crate::recording::describe_io;
use crate::shop::film::panels;
use crate::shop::{Id, Result, SectionPlace, Setting, Shop, ShopError};

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
        report.logo = Some(std::fs::read(&path).map_err(|e| {
            ShopError::Value(format!(
                "cannot read the shop's logo {}: {}; set it anew with `steadypass shop set --shop DIR logo FILE`, or to \"\" for none",
                path.display(),
                describe_io(&e)
            ))
        })?);
    }
    let mut works: BTreeMap<String, PanelWork> = BTreeMap::new();
    let mut sections: BTreeMap<String, BTreeSet<SectionPlace>> = BTreeMap::new();
    let passes = shop.pass_figures()?;
    for session in shop.sessions()?.iter().filter(|s| s.vehicle == Some(vehicle)) {
        report.invented |= matches!(session.source.as_str(), "simulation" | "generated");
        let name = if session.panel.is_empty() { NOT_NAMED } else { &session.panel };
        let work =
            works.entry(name::key(name)).or_insert_with(|| PanelWork { name: name.to_owned(), ..PanelWork::default() });
        if !work.days.contains(&session.day) {
            work.days.push(session.day.clone());
        }
        work.minutes += session.running_s / 60.0;
        let used = [session.pad, session.liquid].map(|id| id.and_then(|id| products.get(&id)).cloned());
        if let [Some(pad), Some(liquid)] = used {
            let words = format!("{pad} with {liquid}");
            if !work.products.contains(&words) {
                work.products.push(words);
            }
        }
        let own: Vec<_> = passes.iter().filter(|p| p.session == session.id).collect();
        work.passes += own.len();
        let worked = sections.entry(name::key(name)).or_default();
        worked.extend(own.iter().map(|p| SectionPlace::of(session, p.section_number)));
        work.sections = worked.len();
        for rise_k in own.iter().filter_map(|p| p.surface_rise_k) {
            work.passes_with_rise += 1;
            let warm = Warm { rise_k, limit_k: session.heat_limit_k };
            let hotter = |w: Warm| (rise_k, warm.above_k()) > (w.rise_k, w.above_k());
            if work.warmest.is_none_or(hotter) {
                work.warmest = Some(warm);
            }
            if warm.above_k() > work.above.map_or(0.0, Warm::above_k) {
                work.above = Some(warm);
            }
        }
    }
    let (readings, limits) = shop.film()?;
    for panel in panels(&readings, limits.gauge, limits.floor_um).into_iter().filter(|p| p.vehicle == vehicle) {
        let work = works
            .entry(name::key(&panel.name))
            .or_insert_with(|| PanelWork { name: panel.name.clone(), ..PanelWork::default() });
        work.film_um = panel.film_um();
        work.removal = panel.removal;
        work.left_out = panel.left_out();
        work.thick_um = panel.thick_um();
        work.cautions = panel.cautions;
    }
    report.panels = works.into_values().collect();
    report.spots = test_spots(shop, vehicle)?;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};

    /// As in the ledger: the number is the place on the panel. Where no panel was named nobody knows the place.
    #[test]
    fn a_section_worked_on_two_days_is_one_section() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        for (day, panel, sections) in [(0, "Roof", 1), (1, "roof", 2), (2, "", 1), (3, "", 1)] {
            let mut new = one_session(&cast, 0, &STYLES[0], day);
            (new.vehicle, new.panel) = (Some(cast.vehicles[0]), panel.into());
            new.sections.truncate(sections);
            shop.file(&new).expect("filed");
        }
        let report = owner_report(&shop, cast.vehicles[0]).expect("known");
        let of = |name: &str| report.panels.iter().find(|p| p.name == name).expect("worked");
        assert_eq!((of("Roof").sections, of("Roof").days.len()), (2, 2));
        assert_eq!((of("not named").sections, of("not named").days.len()), (2, 2));
    }
}
