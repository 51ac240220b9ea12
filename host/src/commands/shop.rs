//! `shop`: the shop's memory, looked after.

use std::path::{Path, PathBuf};

use serde_json::json;
use steadypass::{
    compare::{By, Comparison, Figure, Question, gather},
    guidance::{Units, units::count},
    shop::{
        Session, Setting, Shop,
        demo::{Extent, STYLES, create},
        film,
        papers::{set_logo, unset_logo},
    },
};

use super::{
    Console, Done, Failure, Outcome, names, path_text,
    store::{of, open, open_for_filing},
};
use crate::cli::{
    film_um,
    shop::{ShopArgs, ShopVerb},
};

pub(super) fn run(console: &Console, args: &ShopArgs) -> Outcome {
    match &args.what {
        ShopVerb::Init { shop, name } => {
            let made = Shop::create(&shop.folder).map_err(of(&shop.folder))?;
            if let Some(name) = name {
                made.set(Setting::Name, name).map_err(of(&shop.folder))?;
            }
            let folder = made.folder();
            console.told(
                &format!("{}: a new shop", folder.display()),
                &json!({ "folder": path_text(folder), "name": name }),
            )?;
            console.remark(
                "Next: `steadypass shop add technician NAME --shop DIR`, then give `--shop` to record and review. Keep the folder on this \
                 machine's own disk, and copies elsewhere with `steadypass shop backup`.",
            );
            Ok(Done::Fine)
        }
        ShopVerb::Status { shop, all } => status(console, &shop.folder, *all),
        ShopVerb::Add(args) => names::add(console, args),
        ShopVerb::Rename(args) => names::rename(console, args),
        ShopVerb::Describe(args) => names::describe(console, args),
        ShopVerb::Remove { shop, what, name } => names::remove(console, &shop.folder, *what, name),
        ShopVerb::Set { shop, key, value } => {
            let Some(setting) = Setting::of(key) else {
                let keys: Vec<&str> = Setting::ALL.iter().map(|s| s.as_str()).collect();
                return Err(Failure::Usage(format!("{key}: choose one of {}", keys.join(", "))));
            };
            let value = &match setting {
                // The store keeps µm. What is no reading it refuses in its own words.
                Setting::GaugeSdUm | Setting::FilmFloorUm => film_um(value).map_or(value.clone(), |um| um.to_string()),
                Setting::Name | Setting::Units | Setting::Logo | Setting::Care => value.clone(),
            };
            let store = open(&shop.folder)?;
            let set = match (setting, value.trim()) {
                (Setting::Logo, "") => unset_logo(&store),
                (Setting::Logo, file) => set_logo(&store, Path::new(file)),
                (_, value) => store.set(setting, value),
            };
            set.map_err(of(&shop.folder))?;
            let now = Some(value).filter(|value| !value.trim().is_empty());
            console.told(
                &format!("{key}: {}", now.map_or("not set", String::as_str)),
                &json!({ "key": key, "value": now }),
            )?;
            let limit_um = now.filter(|_| setting == Setting::FilmFloorUm).and_then(|um| um.trim().parse().ok());
            if let Some(doubt) = limit_um.and_then(|um| film::doubt(um, console.units(Units::Si))) {
                console.remark(&format!(
                    "{doubt}. A limit in mil is typed with its unit, as in `steadypass shop set film-floor-um 3.9mil --shop DIR`."
                ));
            }
            Ok(Done::Fine)
        }
        ShopVerb::Trainer { shop, session, not } => {
            open(&shop.folder)?.set_trainer(*session, !not).map_err(of(&shop.folder))?;
            let what = if *not { "no longer the trainer's" } else { "the trainer's" };
            console.told(&format!("session {session}: {what}"), &json!({ "session": session, "trainer": !not }))?;
            Ok(Done::Fine)
        }
        ShopVerb::Assign { shop, session, technician } => {
            let store = open(&shop.folder)?;
            let id = store.technician(technician).map_err(of(&shop.folder))?;
            store.assign(*session, id).map_err(of(&shop.folder))?;
            console.told(
                &format!("session {session}: {technician}'s"),
                &json!({ "session": session, "technician": technician }),
            )?;
            Ok(Done::Fine)
        }
        ShopVerb::Import { shop, files } => import(console, &shop.folder, files),
        ShopVerb::Export { shop, out } => {
            let files: Vec<String> =
                open(&shop.folder)?.export(out).map_err(of(&shop.folder))?.iter().map(|file| path_text(file)).collect();
            console.told(&files.join("\n"), &json!({ "files": files }))?;
            console.remark("Owners' names are left out; a backup has them.");
            Ok(Done::Fine)
        }
        ShopVerb::Backup { shop, to } => {
            open(&shop.folder)?.back_up(to).map_err(of(&shop.folder))?;
            let copy = path_text(to);
            console.told(&copy, &json!({ "backup": copy }))?;
            Ok(Done::Fine)
        }
        ShopVerb::Rebuild { shop } => rebuild(console, &shop.folder),
        ShopVerb::Demo { out, seed } => demo(console, out, *seed),
    }
}

fn status(console: &Console, folder: &Path, all: bool) -> Outcome {
    let shop = open(folder)?;
    let failed = of(folder);
    let health = shop.health().map_err(&failed)?;
    let (technicians, machines) = (shop.technicians().map_err(&failed)?, shop.machines().map_err(&failed)?);
    let (products, vehicles) = (shop.products().map_err(&failed)?, shop.vehicles().map_err(&failed)?);
    let sessions = shop.sessions().map_err(&failed)?;
    let gone: Vec<&str> =
        sessions.iter().filter_map(|s| s.recording.as_deref()).filter(|path| !Path::new(path).is_file()).collect();
    let who = |id| technicians.iter().find(|t| t.id == id).map_or("?", |t| t.entry.name.as_str());
    let label = |id| vehicles.iter().find(|v| Some(v.id) == id).map(|v| v.entry.label.as_str());
    let machine = |id| machines.iter().find(|m| Some(m.id) == id).map(|m| m.entry.name.as_str());
    let product = |id| products.iter().find(|p| Some(p.id) == id).map(|p| p.entry.name.as_str());
    if console.json {
        let listed = |s: &Session| {
            json!({
                "session": s.id, "day": s.day, "started": s.started, "technician": who(s.technician), "vehicle": label(s.vehicle),
                "panel": s.panel, "machine": machine(s.machine), "pad": product(s.pad), "liquid": product(s.liquid),
                "trainer": s.trainer,
            })
        };
        let result = json!({
            "folder": path_text(folder), "schema": health.schema, "bytes": health.bytes, "faults": health.faults,
            "technicians": technicians, "machines": machines, "products": products, "vehicles": vehicles,
            "sessions": sessions.len(), "listed": all.then(|| sessions.iter().map(listed).collect::<Vec<_>>()),
            "recordings_gone": gone,
        });
        console.result(&result.to_string())?;
    } else {
        let name = shop.setting(Setting::Name).map_err(&failed)?.unwrap_or_else(|| "a shop without a name".into());
        console.result(&format!("{name} ({}), {:.1} MB", folder.display(), health.bytes as f64 / 1e6))?;
        console.result(&format!(
            "{}, {}, {}, {}, {}",
            count(technicians.len(), "technician", "technicians"),
            count(machines.len(), "machine", "machines"),
            count(products.len(), "pad or liquid", "pads and liquids"),
            count(vehicles.len(), "vehicle", "vehicles"),
            count(sessions.len(), "session", "sessions"),
        ))?;
        if all {
            let mut lines: Vec<String> = technicians.iter().map(|t| format!("technician  {}", t.entry.name)).collect();
            lines.extend(machines.iter().map(|m| {
                let throw = m.entry.throw_mm.map_or(String::new(), |t| format!(", throw {t} mm"));
                format!("machine     {} ({}{throw})", m.entry.name, m.entry.kind)
            }));
            lines.extend(
                products.iter().map(|p| {
                    format!("{:<11} {} (place {})", p.entry.kind.as_str(), p.entry.name, p.entry.aggressiveness)
                }),
            );
            lines.extend(vehicles.iter().map(|v| format!("vehicle     {}", v.entry.words())));
            lines.extend(sessions.iter().map(|s| {
                let or_not = |name: Option<&str>, what: &str| name.map_or(format!("no {what} told"), str::to_owned);
                let panel = Some(s.panel.as_str()).filter(|panel| !panel.is_empty());
                // RFC 3339: the day, a T, and the time to the minute.
                let time = s.started.get(11..16).unwrap_or_default();
                let mark = if s.trainer { ", the trainer's" } else { "" };
                format!(
                    "session {:>3} {} {time} {}, {}, {}, {}, {}, {}{mark}",
                    s.id,
                    s.day,
                    who(s.technician),
                    or_not(label(s.vehicle), "vehicle"),
                    or_not(panel, "panel"),
                    or_not(product(s.pad), "pad"),
                    or_not(product(s.liquid), "liquid"),
                    or_not(machine(s.machine), "machine")
                )
            }));
            for line in lines {
                console.result(line.trim_end())?;
            }
        }
    }
    for path in &gone {
        console.remark(&format!("{path} is gone; its figures are kept, but cannot be computed again."));
    }
    if health.faults.is_empty() {
        return Ok(Done::Fine);
    }
    Err(Failure::failed(format!(
        "shop {}: the store is damaged: {}. Restore the last backup, then run `steadypass shop rebuild`",
        folder.display(),
        health.faults.join("; ")
    )))
}

fn import(console: &Console, folder: &Path, files: &[PathBuf]) -> Outcome {
    let store = open_for_filing(folder)?;
    let is_json = |file: &PathBuf| file.extension().is_some_and(|e| e.eq_ignore_ascii_case("json"));
    let (rows, what, derived) = match files {
        [file] if is_json(file) => {
            (store.import_json(file).map_err(of(folder))?, file.display().to_string(), Vec::new())
        }
        _ if files.iter().any(is_json) => {
            return Err(Failure::Usage("an exported shop (JSON) goes in alone, without tables beside it".into()));
        }
        _ => {
            let imported = store.import_tables(files).map_err(of(folder))?;
            for file in &imported.derived {
                console.remark(&format!(
                    "{} is left out: its figures come from recordings, with `steadypass shop rebuild`.",
                    file.display()
                ));
            }
            (imported.rows, count(files.len() - imported.derived.len(), "table", "tables"), imported.derived)
        }
    };
    let paths = |files: &[PathBuf]| files.iter().map(|file| path_text(file)).collect::<Vec<_>>();
    console.told(
        &format!("{what}: {} added", count(rows, "row", "rows")),
        &json!({ "files": paths(files), "rows": rows, "left_out": paths(&derived) }),
    )?;
    Ok(Done::Fine)
}

fn rebuild(console: &Console, folder: &Path) -> Outcome {
    let shop = open_for_filing(folder)?;
    let bar = console.progress("rebuilding", shop.sessions().map_err(of(folder))?.len() as u64);
    let rebuilt = shop.rebuild(|at, _| bar.set_position(at as u64)).map_err(of(folder))?;
    bar.finish_and_clear();
    for kept in &rebuilt.kept {
        console.remark(&format!("{kept}. The figures filed earlier are kept."));
    }
    console.told(
        &format!(
            "{} computed again, {} kept as filed, {} without a recording",
            count(rebuilt.done, "session", "sessions"),
            rebuilt.kept.len(),
            rebuilt.without
        ),
        &json!({ "done": rebuilt.done, "kept_as_filed": rebuilt.kept, "without_recording": rebuilt.without }),
    )?;
    Ok(if rebuilt.kept.is_empty() { Done::Fine } else { Done::WithLosses })
}

/// A difference between two, or a change over time, that was put into the invented shop, and what was found of it; SI.
struct Found {
    figure: Figure,
    /// Who: two technicians, or one over time.
    who: String,
    /// What was put in; `None` where it follows from another figure.
    built_in: Option<f64>,
    found: f64,
    /// 90 %, as far as it can be.
    interval: [f64; 2],
    stands_out: bool,
}

/// What was put in, beside what was found.
fn demo(console: &Console, out: &Path, seed: u64) -> Outcome {
    let failed = of(out);
    let shop = create(out, &STYLES, Extent::default(), seed).map_err(&failed)?;
    console.remark(
        "An invented shop: three technicians over ten working days, drawn from a seed by a statistical generator, not measured. \
         Ash works fast and hot, Birch slowly and evenly, Cedar learns.\n",
    );
    let groups = gather(&shop, &Question::default()).map_err(&failed)?;
    let comparison = Comparison::of(By::Technician, groups);
    let units = console.units(Units::Si);
    let found = found(&comparison);
    let written = super::compare::write(&shop, &comparison, units, &out.join("comparison"))?;
    if console.json {
        let row = |f: &Found| {
            json!({
                "figure": f.figure.column(), "who": f.who, "built_in": f.built_in, "value": f.found, "lo90": f.interval[0],
                "hi90": f.interval[1], "stands_out": f.stands_out,
            })
        };
        let result = json!({
            "folder": path_text(out), "seed": seed, "invented": true, "found": found.iter().map(row).collect::<Vec<_>>(),
            "comparison": written.json(),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    console.result(&format!(
        "{:<36} {:<16} {:>9} {:>9}   {:<17} {}",
        "figure", "who", "built in", "found", "90 % interval", "stands out"
    ))?;
    for row in &found {
        console.result(&row.words(units))?;
    }
    console.remark("");
    written.say(console)?;
    Ok(Done::Fine)
}

/// Every difference and every change of a comparison of the invented shop.
fn found(comparison: &Comparison) -> Vec<Found> {
    let mean = |ends: [f64; 2]| (ends[0] + ends[1]) / 2.0;
    let built = |figure: Figure, who: usize| {
        let style = &STYLES[who];
        match figure {
            Figure::ArmSpeed => Some(style.arm_speed_mps),
            Figure::Evenness => Some(style.speed_cv),
            Figure::OrbitDroop => Some([style.orbit_droop; 2]),
            Figure::SurfaceRise => Some(style.rise_k),
            Figure::RubbingEvenness => Some(style.rubbing_cv),
            // The same for everybody; time in the band follows from the arm speed.
            Figure::Pauses | Figure::PassesPerSection => Some([0.0; 2]),
            Figure::InBand => None,
        }
    };
    let possible = |figure: Figure, (lo, hi): (f64, f64)| [lo, hi].map(|end| figure.possible_difference(end));
    let name = |group: usize| &comparison.groups[group].data.name;
    let differences = comparison.contrasts.iter().map(|c| Found {
        figure: c.figure,
        who: format!("{} - {}", name(c.a), name(c.b)),
        built_in: built(c.figure, c.a).zip(built(c.figure, c.b)).map(|(a, b)| mean(a) - mean(b)),
        found: c.difference.value,
        interval: possible(c.figure, c.difference.interval()),
        stands_out: c.stands_out,
    });
    let changes = comparison.changes.iter().map(|c| {
        let steps = (c.trend.days - 1) as f64;
        let half = c.trend.error.half_width(steadypass::compare::model::LEVEL) * steps;
        let change = c.trend.slope * steps;
        Found {
            figure: c.figure,
            who: format!("{} over time", name(c.group)),
            built_in: built(c.figure, c.group).map(|ends| ends[1] - ends[0]),
            found: change,
            interval: possible(c.figure, (change - half, change + half)),
            stands_out: c.stands_out,
        }
    });
    differences.chain(changes).collect()
}

impl Found {
    /// A row of the table.
    fn words(&self, units: Units) -> String {
        let [found, lo, hi] = self.figure.with_interval(self.found, self.interval.into(), units);
        let title = format!("{} {}", self.figure.title(), self.figure.unit(units));
        format!(
            "{:<36} {:<16} {:>9} {:>9}   {:<17} {}",
            title.trim(),
            self.who,
            self.built_in.map_or("follows".to_owned(), |v| self.figure.number(v, units)),
            found,
            format!("{lo} to {hi}"),
            if self.stands_out { "yes" } else { "" }
        )
        .trim_end()
        .to_owned()
    }
}
