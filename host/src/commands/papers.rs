//! `report` for the owner, `day` for the technician.

use std::{collections::BTreeMap, fs, path::Path};

use steadypass::{
    exposure::{Day, Limits, NOTICE, Running, days},
    guidance::{Units, units::count},
    recording::describe_io,
    shop::{
        Id, Shop, ShopError, Trial,
        fill::fingerprint,
        film::ThinFilm,
        papers::{
            DayReadings, DaySheet, DayTry, DayWork, OwnerReport, PanelWork, Picture, TestSpot, day_html, day_sheet,
            owner_report, report_html,
        },
    },
};

use super::{
    Console, Done, Failure, Outcome,
    exposure::{json as exposure_json, read},
    path_text, store, today, write_whole,
};
use crate::cli::work::{DayArgs, ReportArgs};

/// Pictures that still fit on two printed pages.
const MOST_PICTURES: usize = 4;

pub(super) fn report(console: &Console, args: &ReportArgs) -> Outcome {
    if args.picture.len() > MOST_PICTURES {
        return Err(Failure::Usage(format!(
            "--picture: at most {MOST_PICTURES}, so that the report prints on two pages"
        )));
    }
    let store = store::open(&args.shop.folder)?;
    let failed = store::of(&args.shop.folder);
    let vehicle = store.vehicle(&args.vehicle).map_err(&failed)?;
    let mut report = owner_report(&store, vehicle).map_err(&failed)?;
    report.found = args.found.clone();
    for path in &args.picture {
        let bytes = fs::read(path)
            .map_err(|e| Failure::failed(format!("cannot read {}: {}", path.display(), describe_io(&e))))?;
        if !(bytes.starts_with(b"\x89PNG\r\n\x1a\n") || bytes.starts_with(b"\xff\xd8\xff")) {
            return Err(Failure::failed(format!("{}: expected a PNG or JPEG picture", path.display())));
        }
        let caption = path.file_stem().unwrap_or_default().to_string_lossy().replace(['-', '_'], " ");
        report.pictures.push(Picture { caption, bytes });
    }
    let units = console.units(Units::Si);
    write_whole(&args.out, report_html(&report, units).as_bytes())?;
    for (panel, words) in report.to_know(units) {
        console.remark(&format!("The owner reads of {panel}: {words}"));
    }
    for panel in report.panels.iter().filter(|p| p.left_out > 0) {
        let left_out = count(panel.left_out, "reading is", "readings are");
        console.remark(&format!(
            "{}: {left_out} left out, for no coat is so thin; the page does not tell of it, `steadypass thickness show` does.",
            panel.name
        ));
    }
    if console.json {
        console.result(&report_json(&report, &args.out).to_string())?;
    } else {
        console.result(&args.out.display().to_string())?;
    }
    Ok(Done::Fine)
}

/// What stands on the owner's page, in SI; what was taken with its sign.
fn report_json(report: &OwnerReport, page: &Path) -> serde_json::Value {
    let panel = |p: &PanelWork| {
        serde_json::json!({
            "panel": p.name, "days": p.days, "sections": p.sections, "passes": p.passes, "minutes": p.minutes,
            "products": p.products, "warmest_rise_k": p.warmest.map(|w| w.rise_k), "heat_limit_k": p.warmest.map(|w| w.limit_k),
            "rise_above_limit_k": p.above.map(|w| w.rise_k), "passes_with_rise": p.passes_with_rise, "film_before_um": p.film_um.0, "film_after_um": p.film_um.1,
            "removal_um": p.removal.map(|r| r.value), "removal_lo90_um": p.removal.map(|r| r.interval().0),
            "removal_hi90_um": p.removal.map(|r| r.interval().1), "readings_left_out": p.left_out,
            "to_know": p.to_know(Units::Si),
        })
    };
    let spot = |s: &TestSpot| {
        let tried = |(name, trial): &(String, Trial)| {
            serde_json::json!({
                "name": name, "passes": trial.passes, "counts_as_finished": trial.finished(), "haze": trial.haze,
                "holograms": trial.holograms,
            })
        };
        serde_json::json!({
            "panel": s.panel, "tries": s.tries.iter().map(tried).collect::<Vec<_>>(),
            "mildest_finished": s.chosen.map(|i| &s.tries[i].0),
        })
    };
    serde_json::json!({
        "page": path_text(page), "vehicle": report.vehicle, "paint": report.paint, "invented": report.invented,
        "test_spots": report.spots.iter().map(spot).collect::<Vec<_>>(),
        "panels": report.panels.iter().map(panel).collect::<Vec<_>>(),
    })
}

pub(super) fn day(console: &Console, args: &DayArgs) -> Outcome {
    let store = store::open(&args.shop.folder)?;
    let failed = store::of(&args.shop.folder);
    let technician = store.technician(&args.technician).map_err(&failed)?;
    let day = args.day.unwrap_or_else(today).to_string();
    let mut sheet = day_sheet(&store, technician, &day).map_err(&failed)?;
    let vibration = exposure(console, &store, technician, &mut sheet).map_err(&failed)?;
    if sheet.is_empty() {
        return Err(Failure::failed(format!("nothing is filed for {} on {day}", sheet.technician)));
    }
    sheet.exposure = Some(vibration.said.clone());
    if let Some(out) = &args.out {
        write_whole(out, day_html(&sheet, console.units(Units::Si)).as_bytes())?;
    }
    if console.json {
        console.result(&day_json(&sheet, &vibration, args.out.as_deref()).to_string())?;
    } else {
        console.result(&format!("{}, {day}: {}", sheet.technician, sheet.summary()))?;
        for words in sheet.sections_again().into_iter().chain(sheet.over_midnight()) {
            console.result(words)?;
        }
        console.result(&vibration.said)?;
        for (heading, lines) in sheet.lists(console.units(Units::Si)) {
            console.result(&format!("{heading}:"))?;
            lines.iter().try_for_each(|line| console.result(&format!("  {line}")))?;
        }
        if let Some(out) = &args.out {
            console.result(&out.display().to_string())?;
        }
    }
    Ok(if vibration.lost { Done::WithLosses } else { Done::Fine })
}

fn day_json(sheet: &DaySheet, vibration: &Vibration, page: Option<&Path>) -> serde_json::Value {
    let work = |w: &DayWork| {
        serde_json::json!({
            "session": w.session, "day": w.started[0], "time": w.started[1], "place": w.place, "sections": w.sections,
            "passes": w.passes, "minutes": w.minutes, "warmest_rise_k": w.rise_k, "passes_with_rise": w.passes_with_rise, "heat_limit_k": w.heat_limit_k, "warnings": w.warnings,
            "lost": w.lost, "recording": w.recording,
        })
    };
    let tried = |t: &DayTry| {
        serde_json::json!({
            "place": t.place, "name": t.name, "passes": t.trial.passes, "reached": t.trial.finish_reached,
            "counts_as_finished": t.trial.finished(), "haze": t.trial.haze, "holograms": t.trial.holograms,
            "film_taken_um": t.trial.film_taken_um,
        })
    };
    let read = |r: &DayReadings| {
        let (points, film_um): (Vec<&str>, Vec<f64>) = r.each().unzip();
        let thin = r.thin.as_ref().map(|thin| thin.words_beside(Units::Si));
        let is_below = r.thin.as_ref().is_some_and(ThinFilm::is_below);
        serde_json::json!({
            "place": r.place, "phase": r.phase.as_str(), "points": points, "film_um": film_um,
            "is_below_floor": is_below, "limit_words": thin,
        })
    };
    serde_json::json!({
        "technician": sheet.technician, "day": sheet.day, "page": page.map(path_text), "invented": sheet.invented,
        "sessions": sheet.works.iter().map(work).collect::<Vec<_>>(), "sections": sheet.sections,
        "tries": sheet.tries.iter().map(tried).collect::<Vec<_>>(), "readings": sheet.readings.iter().map(read).collect::<Vec<_>>(),
        "notes": sheet.notes, "minutes": sheet.minutes(),
        "summary": sheet.summary(), "data_lost": vibration.lost, "vibration_finding": vibration.said,
        "vibration": vibration.day.as_ref().map(|day| exposure_json(day, Limits::default())),
    })
}

/// The vibration of a day's recordings.
struct Vibration {
    /// In words.
    said: String,
    /// In figures; `None` where they are not known, for what could be read would be too little.
    day: Option<Day>,
    /// Whether data is missing: from any recording, or whole ones.
    lost: bool,
}

impl Vibration {
    fn unknown(said: String, lost: bool) -> Self {
        Self { said, day: None, lost }
    }
}

/// The day's vibration from its recordings; blank in words where any of them cannot be read, for the rest would be too little.
/// Sessions over midnight get their share of the day on the way.
fn exposure(console: &Console, store: &Shop, technician: Id, sheet: &mut DaySheet) -> Result<Vibration, ShopError> {
    // One recording holds several sessions where the machine changed hands.
    let mut works: BTreeMap<Option<String>, Vec<Id>> = BTreeMap::new();
    for work in &sheet.works {
        works.entry(work.recording.clone()).or_default().push(work.session);
    }
    let (mut own, mut read, mut without, mut whole, mut lost) = (Vec::new(), Vec::new(), 0, true, false);
    for (path, sessions) in works {
        // Figures that never had one here, as in an invented shop: nothing is lost.
        let Some(path) = path else {
            without = sessions.len();
            continue;
        };
        match stretches(console, store, technician, Path::new(&path), &sessions)? {
            Some(told) => {
                lost |= told.lost;
                own.extend(told.stretches);
                read.extend(sessions);
            }
            None => (whole, lost) = (false, true),
        }
    }
    sheet.count(&read, &own);
    if !whole {
        let said = "Vibration exposure is not known: not all recordings of this day can be read.";
        return Ok(Vibration::unknown(said.to_owned(), lost));
    }
    if without > 0 {
        let without = count(without, "session of this day was", "sessions of this day were");
        let said = format!("Vibration exposure is not known: {without} filed without a recording.");
        return Ok(Vibration::unknown(said, lost));
    }
    let day = days(own.into_iter().map(|(_, stretch)| stretch));
    let day = day.into_iter().find(|day| day.date.is_some_and(|date| date.to_string() == sheet.day));
    let Some(day) = day else {
        return Ok(Vibration::unknown("Vibration exposure is not known for this day.".to_owned(), lost));
    };
    let mut said = format!("Vibration exposure {} {NOTICE}.", day.finding(Limits::default()));
    if lost {
        said.push_str(" Data is missing from its recordings; what was lost does not count.");
    }
    if day.sources().iter().any(|source| source.is_cut_off) {
        said.push_str(" Peaks beyond a logger's range were cut off: the truth is larger.");
    }
    if let Some(caution) = day.overlap_caution() {
        said = format!("{said} {caution}");
    }
    Ok(Vibration { said, day: Some(day), lost })
}

/// What a recording says of a technician's sessions.
struct Told {
    /// What ran, by session.
    stretches: Vec<(Id, Running)>,
    /// Whether data is missing from it.
    lost: bool,
}

/// What the recording of these sessions says of a technician; `None` where it cannot be read, which has been said.
fn stretches(
    console: &Console,
    store: &Shop,
    technician: Id,
    path: &Path,
    sessions: &[Id],
) -> Result<Option<Told>, ShopError> {
    let of_file = fingerprint(path).map_err(Failure::failed).and_then(|print| Ok((print, read(console, path)?)));
    let (print, read) = match of_file {
        Ok(of_file) => of_file,
        Err(failure) => {
            if let Failure::Failed(report) = failure {
                console
                    .remark(&format!("{report}. Put the recording back, or review it with --shop where it lies now."));
            }
            return Ok(None);
        }
    };
    let filed = store.parts_of_recording(&print, &read.facts.sensor, &read.facts.started)?;
    if !sessions.iter().all(|id| filed.iter().any(|session| session.id == *id)) {
        console.remark(&format!(
            "{}: another recording stands at this place now; review the one that was filed again, with --shop.",
            path.display()
        ));
        return Ok(None);
    }
    let own = |session: &Id| filed.iter().any(|s| s.id == *session && s.technician == technician);
    let stretches = store.as_filed(read.stretches, &read.hands, &read.began, &filed)?;
    let stretches =
        stretches.into_iter().filter_map(|(session, stretch)| Some((session.filter(own)?, stretch))).collect();
    Ok(Some(Told { stretches, lost: read.lost }))
}
