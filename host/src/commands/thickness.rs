//! `thickness`: gauge readings, removal, and what a metre of rubbing cost.

use steadypass::{
    compare::draw::{LedgerRow, ledger_png, wear_unit},
    guidance::{
        Units,
        units::{count, decimals_supported},
    },
    shop::{
        FilmReading, Id, Phase, Place,
        film::{FACTORY_UM, Gauge, Limits, Panel, Point, UM_PER_MIL, Um, as_known, panels, span},
        ledger::{Used, ledger, left_out},
    },
};

use super::{Console, Done, Failure, Outcome, path_text, store, today, write_whole};
use crate::cli::work::{SortArg, ThicknessArgs, ThicknessVerb};

pub(super) fn run(console: &Console, args: &ThicknessArgs) -> Outcome {
    match &args.what {
        ThicknessVerb::Add { shop: folder, at, section, at_m, at_lengths, day, readings } => {
            let (option, place_m) = if at_lengths.is_empty() { ("--at-m", at_m) } else { ("--at", at_lengths) };
            let place = match (section, place_m.as_slice()) {
                (Some(section), &[along_m, across_m]) => Some(Place { section: *section, along_m, across_m }),
                (None, []) => None,
                (Some(section), []) => {
                    return Err(Failure::Usage(format!(
                        "--section {section}: where on it did the gauge stand? Give --at-m ALONG,ACROSS too, in metres from the corner \
                         where its first stroke starts, as in --at-m 0.12,0.30, or --at with units, as in --at 5in,12in; or leave --section out"
                    )));
                }
                (None, [..]) => {
                    return Err(Failure::Usage(format!(
                        "{option}: on which section? Give --section NUMBER too, as in the recording; or leave {option} out"
                    )));
                }
                _ => {
                    return Err(Failure::Usage(format!(
                        "{option}: expected two distances, as in --at-m 0.12,0.30 (metres) or --at 5in,12in"
                    )));
                }
            };
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let id = store.vehicle(&at.vehicle).map_err(&failed)?;
            let phase = phase_of(&at.phase)?;
            let day = day.unwrap_or_else(today).to_string();
            store::doubt_panel(console, &store, Some(id), &at.panel)?;
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
        ThicknessVerb::Remove { shop: folder, at, day, readings } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let id = store.vehicle(&at.vehicle).map_err(&failed)?;
            let day = day.map(|day| day.to_string());
            let gone = store
                .remove_film_readings(id, [&at.panel, &at.point], phase_of(&at.phase)?, day.as_deref(), readings)
                .map_err(&failed)?;
            let list: Vec<String> = gone.iter().map(|um| as_known(*um).to_string()).collect();
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
    let (readings, Limits { gauge, floor_um: floor }) = store.film().map_err(&failed)?;
    let names = store::labels(&store)?;
    let units = console.units(Units::Si);
    let all = panels(&readings, gauge, floor);
    let shown: Vec<(&str, &Panel)> = all
        .iter()
        .filter(|p| only.is_none_or(|id| p.vehicle == id))
        .map(|p| (names.get(&p.vehicle).map_or("?", String::as_str), p))
        .collect();
    if console.json {
        let result = serde_json::json!({
            "gauge_sd_um": gauge.map(|g| g.sd_um), "film_floor_um": floor, "factory_um": [FACTORY_UM.0, FACTORY_UM.1],
            "panels": shown.iter().map(|(vehicle, panel)| json(vehicle, panel)).collect::<Vec<_>>(),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    for (name, panel) in &shown {
        console.result(&format!("{name}, {}: {}", panel.name, removal(panel, units)))?;
        for (point, p) in &panel.points {
            console.result(&format!("  {point}: {}", point_words(p, units)))?;
        }
        for caution in &panel.cautions {
            console.remark(&format!("  Caution: {}", caution.words(units)));
        }
    }
    if shown.is_empty() {
        console.result("No readings yet.")?;
    }
    if let Some(gauge) = gauge.filter(|_| !shown.is_empty()) {
        console.remark(&gauge_words(gauge, units));
    }
    if floor.is_none() {
        console.remark(
            "This shop has set no limit for the film; `steadypass shop set film-floor-um N --shop DIR` sets one, in µm or \
             as in 3.9mil.",
        );
    }
    console.remark(&format!(
        "A gauge reads the whole build, not the clear coat. For context, factories put on about {} in all (public \
         trade pages and car FAQs). How much may be taken is for gauge and paint makers and local practice to say.",
        span(FACTORY_UM, units)
    ));
    Ok(Done::Fine)
}

/// How far the gauge's readings of one spot lie apart, and where that is from.
fn gauge_words(gauge: Gauge, units: Units) -> String {
    let sd = both(units, |um, digits| format!("{:.digits$}", gauge.sd_um / um));
    if gauge.df.is_infinite() {
        return format!("The gauge's spread, one standard deviation: {sd}, as the shop set it.");
    }
    let repeats = count(gauge.df as usize, "repeat", "repeats");
    let left_out = match gauge.left_out {
        0 => String::new(),
        n => format!(" {n} of them do not fit the others of their spot and are no part of it."),
    };
    format!(
        "The gauge's spread, one standard deviation: {sd}, from {repeats} among all readings of the shop.{left_out}"
    )
}

/// What was taken off a panel, in words.
fn removal(panel: &Panel, units: Units) -> String {
    let points = count(panel.pairs, "point", "points");
    match panel.removal {
        Some(r) if r.grew() => "reads thicker than before, no removal is derived".to_owned(),
        Some(r) if r.measurable() => {
            format!("removed {} (90 %, {points})", both(units, |um, digits| {
                format!("{:.digits$} ± {:.digits$}", r.value / um, r.half_width() / um)
            }))
        }
        Some(r) => {
            let (lo, hi) = r.interval();
            let interval = both(units, |um, digits| format!("{:.digits$} to {:.digits$}", lo / um, hi / um));
            format!("no removal measurable (90 % interval {interval}, {points})")
        }
        None if panel.pairs > 0 && panel.has_misfit() => {
            "removal not given, for readings of one point do not fit together: measure there again".to_owned()
        }
        None if panel.pairs > 0 => {
            "removal not given, for the gauge's spread is not known: set it with `steadypass shop set gauge-sd-um N --shop DIR`, \
             or read more points twice, five repeats in all"
                .into()
        }
        None => "not read before and after yet".into(),
    }
}

/// A film figure with its unit: µm, and mil before it where the user has US units. The figure is given the size of the unit in µm,
/// and the digits it is told with.
fn both(units: Units, figure: impl Fn(f64, usize) -> String) -> String {
    let um = format!("{} µm", figure(1.0, 1));
    match units {
        Units::Si => um,
        Units::Us => format!("{} mil, which is {um}", figure(UM_PER_MIL, 2)),
    }
}

/// The readings of a point, and what is odd about them.
fn point_words(p: &Point, units: Units) -> String {
    let um = |v: &[f64]| v.iter().map(|um| as_known(*um).to_string()).collect::<Vec<_>>().join(" ");
    let mil = |v: &[f64]| v.iter().map(|um| format!("{:.2}", um / UM_PER_MIL)).collect::<Vec<_>>().join(" ");
    let mut words = format!("before {}  after {}", um(&p.before), um(&p.after));
    if units == Units::Us {
        words.push_str(&format!("   in mil: before {}  after {}", mil(&p.before), mil(&p.after)));
    }
    if !p.left_out.is_empty() {
        let left_out: Vec<String> = p.left_out.iter().map(|(phase, um)| format!("{} {um}", phase.as_str())).collect();
        words.push_str(&format!("   left out: {}", left_out.join(", ")));
    }
    if let Some(odd) = &p.odd {
        words.push_str(&format!("   odd: {}", odd.words(units)));
    }
    words
}

/// A panel as JSON: all in µm, what was taken off with its sign.
fn json(vehicle: &str, panel: &Panel) -> serde_json::Value {
    let point = |(name, p): (&String, &Point)| {
        let left_out: Vec<_> = p
            .left_out
            .iter()
            .map(|(phase, um)| serde_json::json!({ "phase": phase.as_str(), "film_um": um }))
            .collect();
        serde_json::json!({
            "point": name, "before_um": p.before, "after_um": p.after, "left_out": left_out,
            "odd": p.odd.map(|odd| odd.words(Units::Si)),
        })
    };
    let interval = panel.removal.map(|r| r.interval());
    serde_json::json!({
        "vehicle": vehicle, "panel": panel.name, "points": panel.points.iter().map(point).collect::<Vec<_>>(),
        "removal_um": panel.removal.map(|r| r.value), "lo90_um": interval.map(|i| i.0), "hi90_um": interval.map(|i| i.1),
        "removal_measurable": panel.removal.as_ref().map(Um::measurable), "points_before_and_after": panel.pairs,
        "thinnest_um": panel.thinnest_um, "cautions": panel.caution_words(Units::Si),
    })
}

fn write_ledger(console: &Console, folder: &std::path::Path, sort: SortArg, out: &std::path::Path) -> Outcome {
    let store = store::open(folder)?;
    let failed = store::of(folder);
    let (readings, Limits { gauge, .. }) = store.film().map_err(&failed)?;
    let (vehicles, products) = (store.vehicles().map_err(&failed)?, store.products().map_err(&failed)?);
    let sessions = store.sessions().map_err(&failed)?;
    let invented = sessions.iter().any(|s| matches!(s.source.as_str(), "simulation" | "generated"));
    let rubbed = store.rubbed_m().map_err(&failed)?;
    let maps = store.section_maps().map_err(&failed)?;
    let panels = panels(&readings, gauge, None);
    let wear = ledger(&panels, gauge, &sessions, &rubbed, &maps);
    let product = |id: Id| products.iter().find(|p| p.id == id).map_or("?", |p| p.entry.name.as_str());
    let mut rows: Vec<LedgerRow> = wear
        .iter()
        .map(|w| {
            let vehicle = vehicles.iter().find(|v| v.id == w.vehicle).map(|v| &v.entry);
            LedgerRow {
                paint: vehicle.map_or("?".into(), |v| format!("{} ({}, hardness {})", v.label, v.paint, v.hardness)),
                panel: w.panel.clone(),
                product: match w.used {
                    Used::One(pad, liquid) => format!("{} with {}", product(pad), product(liquid)),
                    Used::Several => "several pads or liquids".into(),
                    Used::NotTold => "pad and liquid not told".into(),
                    Used::PartlyTold => "pad and liquid told of some sessions only".into(),
                },
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
    let named = |id: Id| vehicles.iter().find(|v| v.id == id).map_or("?", |v| v.entry.label.as_str());
    let left_out = left_out(&panels, &wear, &sessions);
    if rows.is_empty() {
        let why: String =
            left_out.iter().map(|l| format!(". {}, {}: {}", named(l.vehicle), l.panel, l.why.words())).collect();
        let spread = if gauge.is_none() && !readings.is_empty() {
            ". Nor is the gauge's own spread known: set it with `steadypass shop set gauge-sd-um N --shop DIR`, or repeat five \
             readings on the same spots"
        } else {
            ""
        };
        return Err(Failure::failed(format!(
            "no panel has readings before and after together with filed sessions whose rubbing distance is known (give --vehicle \
             and --panel when filing, and take readings on the same panel){why}{spread}"
        )));
    }
    let units = console.units(Units::Si);
    let put = |name: &str, bytes: &[u8]| write_whole(&out.join(name), bytes);
    put("ledger.csv", &steadypass::compare::tables::ledger_csv(&rows).map_err(Failure::failed)?)?;
    put("ledger.png", &ledger_png(&rows, invented, units).map_err(Failure::failed)?)?;
    let mut cautions: Vec<String> = wear.iter().filter_map(|w| w.caution_words(units)).collect();
    for w in &wear {
        let panel = panels.iter().find(|p| p.vehicle == w.vehicle && p.name == w.panel);
        if panel.is_some_and(|p| p.left_out() > 0) {
            cautions
                .push(format!("{}: readings that no coat gives are left out; `thickness show` tells which.", w.panel));
        }
    }
    if console.json {
        let row = |r: &LedgerRow| {
            serde_json::json!({
                "paint": r.paint, "panel": r.panel, "pad_and_liquid": r.product, "removal_um": r.removal_um,
                "removal_sd_um": r.removal_sd_um, "rubbed_m": r.rubbed_m, "wear_um_per_m": r.wear_um_per_m,
                "lo90": r.interval.0, "hi90": r.interval.1, "basis": r.basis,
            })
        };
        let result = serde_json::json!({
            "table": path_text(&out.join("ledger.csv")), "drawing": path_text(&out.join("ledger.png")), "invented": invented,
            "rows": rows.iter().map(row).collect::<Vec<_>>(), "cautions": cautions,
            "left_out": left_out.iter().map(|l| {
                serde_json::json!({ "vehicle": named(l.vehicle), "panel": l.panel, "why": l.why.words() })
            }).collect::<Vec<_>>(),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    for row in &rows {
        let (per_um_per_m, unit) = wear_unit(units);
        let [value, lo, hi] = [row.wear_um_per_m, row.interval.0, row.interval.1].map(|wear| wear * per_um_per_m);
        let decimals = decimals_supported(lo, hi, 3);
        // Film that reads a little thicker is no wear with a minus.
        let interval = format!("90 % interval {lo:.decimals$} to {hi:.decimals$}");
        let wear = if lo < 0.0 {
            format!("no wear measurable ({interval} {unit}; {})", row.basis)
        } else {
            format!("{value:.decimals$} {unit} ({interval}; {})", row.basis)
        };
        console.result(&format!("{}, {}, {}: {wear}", row.paint, row.panel, row.product))?;
    }
    for left_out in &left_out {
        let vehicle = named(left_out.vehicle);
        console.remark(&format!("Not in the ledger: {vehicle}, {}: {}.", left_out.panel, left_out.why.words()));
    }
    for caution in cautions {
        console.remark(&format!("Caution: {caution}"));
    }
    console.remark(
        "Pressure is not measured: the figures compare paints, pads and liquids as this shop works (Preston 1927). Sections of one \
         number in several recordings of a panel are taken for one place. A section's mean is the middle between what its passes \
         rubbed as they were measured to lie and exactly upon each other; the interval holds both.",
    );
    console.result(&out.join("ledger.png").display().to_string())?;
    Ok(Done::Fine)
}
