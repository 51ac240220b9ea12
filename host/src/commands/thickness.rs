//! `thickness`: gauge readings, removal, and what a metre of rubbing cost.

use std::collections::BTreeMap;

use steadypass::{
    compare::draw::{LedgerRow, ledger_png},
    guidance::units::{count, decimals_of_interval},
    shop::{
        FilmReading, Id, Phase, Place, Setting,
        film::{FACTORY_UM, Gauge, panels},
        ledger::ledger,
    },
};

use super::{Console, Done, Failure, Outcome, store, today, write_whole};
use crate::cli::work::{SortArg, ThicknessArgs, ThicknessVerb};

pub(super) fn run(console: &Console, args: &ThicknessArgs) -> Outcome {
    match &args.what {
        ThicknessVerb::Add { shop: folder, at, section, at_m, day, readings } => {
            let place = match (section, at_m.as_slice()) {
                (Some(section), &[along_m, across_m]) => Some(Place { section: *section, along_m, across_m }),
                (None, []) => None,
                _ => return Err(Failure::Usage("--at-m: expected two distances in metres, as in 0.12,0.30".into())),
            };
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let id = store.vehicle(&at.vehicle).map_err(&failed)?;
            let phase = phase_of(&at.phase)?;
            let day = day.unwrap_or_else(today).to_string();
            store
                .whole(|| {
                    for &film_um in readings {
                        store.add_film_reading(&FilmReading {
                            vehicle: id,
                            panel: at.panel.clone(),
                            point: at.point.clone(),
                            phase,
                            day: day.clone(),
                            film_um,
                            place,
                            note: String::new(),
                        })?;
                    }
                    Ok(())
                })
                .map_err(&failed)?;
            show(console, &folder.folder, Some(&at.vehicle))
        }
        ThicknessVerb::Remove { shop: folder, at, day } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let id = store.vehicle(&at.vehicle).map_err(&failed)?;
            let day = day.map(|day| day.to_string());
            let gone = store
                .remove_film_readings(id, [&at.panel, &at.point], phase_of(&at.phase)?, day.as_deref())
                .map_err(&failed)?;
            let list: Vec<String> = gone.iter().map(f64::to_string).collect();
            console.remark(&format!("{} removed: {} µm.", count(gone.len(), "reading", "readings"), list.join(" ")));
            show(console, &folder.folder, Some(&at.vehicle))
        }
        ThicknessVerb::Show { shop: folder, vehicle } => show(console, &folder.folder, vehicle.as_deref()),
        ThicknessVerb::Ledger { shop: folder, sort, out } => write_ledger(console, &folder.folder, *sort, out),
    }
}

fn phase_of(word: &str) -> Result<Phase, Failure> {
    Phase::of(word).ok_or_else(|| Failure::Usage(format!("--phase {word}: choose before or after")))
}

fn show(console: &Console, folder: &std::path::Path, vehicle: Option<&str>) -> Outcome {
    let store = store::open(folder)?;
    let failed = store::of(folder);
    let only = vehicle.map(|v| store.vehicle(v)).transpose().map_err(&failed)?;
    let readings = store.film_readings().map_err(&failed)?;
    let gauge = Gauge::of(store.number(Setting::GaugeSdUm).map_err(&failed)?, &readings);
    let floor = store.number(Setting::FilmFloorUm).map_err(&failed)?;
    let names: BTreeMap<Id, String> =
        store.vehicles().map_err(&failed)?.into_iter().map(|v| (v.id, v.entry.label)).collect();
    let mut any = false;
    for panel in panels(&readings, gauge, floor).iter().filter(|p| only.is_none_or(|id| p.vehicle == id)) {
        any = true;
        let name = names.get(&panel.vehicle).map_or("?", String::as_str);
        let removal = match panel.removal {
            Some(r) if r.grew() => "reads thicker than before, no removal is derived".to_owned(),
            Some(r) => {
                let points = count(panel.pairs, "point", "points");
                format!("removed {:.1} ± {:.1} µm (90 %, {points})", r.value, r.half_width())
            }
            None if panel.pairs > 0 => {
                "removal not given, for the gauge's spread is not known: set it with `steadypass shop set gauge-sd-um N --shop DIR`, \
                 or read more points twice, five repeats in all"
                    .into()
            }
            None => "not read before and after yet".into(),
        };
        console.result(&format!("{name}, {}: {removal}", panel.name))?;
        for (point, p) in &panel.points {
            let list = |v: &[f64]| v.iter().map(|f| f.to_string()).collect::<Vec<_>>().join(" ");
            let odd = p.odd.as_ref().map_or(String::new(), |odd| format!("   odd: {odd}"));
            console.result(&format!("  {point}: before {}  after {}{odd}", list(&p.before), list(&p.after)))?;
        }
        for caution in &panel.cautions {
            console.remark(&format!("  Caution: {caution}"));
        }
    }
    if !any {
        console.result("No readings yet.")?;
    }
    if floor.is_none() {
        console.remark(
            "This shop has set no limit for the film; `steadypass shop set film-floor-um N --shop DIR` sets one.",
        );
    }
    console.remark(&format!(
        "A gauge reads the whole build, not the clear coat. For context, factories put on about {:.0} to {:.0} µm in all (public \
         trade pages and car FAQs). How much may be taken is for gauge and paint makers and local practice to say.",
        FACTORY_UM.0, FACTORY_UM.1
    ));
    Ok(Done::Fine)
}

fn write_ledger(console: &Console, folder: &std::path::Path, sort: SortArg, out: &std::path::Path) -> Outcome {
    let store = store::open(folder)?;
    let failed = store::of(folder);
    let readings = store.film_readings().map_err(&failed)?;
    let gauge = Gauge::of(store.number(Setting::GaugeSdUm).map_err(&failed)?, &readings);
    let (vehicles, products) = (store.vehicles().map_err(&failed)?, store.products().map_err(&failed)?);
    let sessions = store.sessions().map_err(&failed)?;
    let invented = sessions.iter().any(|s| matches!(s.source.as_str(), "simulation" | "generated"));
    let rubbed = store.rubbed_m().map_err(&failed)?;
    let maps = store.section_maps().map_err(&failed)?;
    let wear = ledger(&panels(&readings, gauge, None), gauge, &sessions, &rubbed, &maps);
    let product = |id: Id| products.iter().find(|p| p.id == id).map_or("?", |p| p.entry.name.as_str());
    let mut rows: Vec<LedgerRow> = wear
        .iter()
        .map(|w| {
            let vehicle = vehicles.iter().find(|v| v.id == w.vehicle).map(|v| &v.entry);
            LedgerRow {
                paint: vehicle.map_or("?".into(), |v| format!("{} ({}, hardness {})", v.label, v.paint, v.hardness)),
                panel: w.panel.clone(),
                product: w
                    .product
                    .map_or("several or not told".into(), |(p, l)| format!("{} with {}", product(p), product(l))),
                removal_um: w.removal.value,
                removal_sd_um: w.removal.sd,
                rubbed_m: w.rubbed_m,
                wear_um_per_m: w.wear,
                interval: w.interval,
                basis: w.basis.words(),
            }
        })
        .collect();
    match sort {
        SortArg::Wear => {}
        SortArg::Paint => rows.sort_by(|a, b| a.paint.cmp(&b.paint)),
        SortArg::Product => rows.sort_by(|a, b| a.product.cmp(&b.product)),
    }
    if rows.is_empty() {
        let spread = if gauge.is_none() && !readings.is_empty() {
            ". Nor is the gauge's own spread known: set it with `steadypass shop set gauge-sd-um N --shop DIR`, or repeat five \
             readings on the same spots"
        } else {
            ""
        };
        return Err(Failure::failed(format!(
            "no panel has readings before and after together with filed sessions whose rubbing distance is known (give --vehicle \
             and --panel when filing, and take readings on the same panel){spread}"
        )));
    }
    let put = |name: &str, bytes: &[u8]| write_whole(&out.join(name), bytes);
    put("ledger.csv", &steadypass::compare::tables::ledger_csv(&rows).map_err(Failure::failed)?)?;
    put("ledger.png", &ledger_png(&rows, invented).map_err(Failure::failed)?)?;
    for row in &rows {
        let (lo, hi) = row.interval;
        let decimals = decimals_of_interval(lo, hi, 3);
        console.result(&format!(
            "{}, {}, {}: {:.decimals$} µm per metre rubbed (90 % interval {lo:.decimals$} to {hi:.decimals$}; {})",
            row.paint, row.panel, row.product, row.wear_um_per_m, row.basis
        ))?;
    }
    for caution in wear.iter().filter_map(|w| w.caution.as_ref()) {
        console.remark(&format!("Caution: {caution}"));
    }
    console.remark(
        "Pressure is not measured: the figures compare paints, pads and liquids as this shop works (Preston 1927). Sections of one \
         number in several recordings of a panel are taken for one place.",
    );
    console.result(&out.join("ledger.png").display().to_string())?;
    Ok(Done::Fine)
}
