//! `report` for the owner, `day` for the technician.

use std::{collections::BTreeMap, fs, path::Path};

use steadypass::{
    exposure::{Limits, NOTICE, Running, days},
    guidance::{Units, units::count},
    recording::describe_io,
    shop::{
        Id, Shop, ShopError,
        fill::fingerprint,
        papers::{DaySheet, Picture, day_html, day_sheet, filed_stretches, owner_report, report_html},
    },
};

use super::{Console, Done, Failure, Outcome, exposure::read, store, today, write_whole};
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
    put(console, &args.out, &report_html(&report, console.units(Units::Si)))
}

pub(super) fn day(console: &Console, args: &DayArgs) -> Outcome {
    let store = store::open(&args.shop.folder)?;
    let failed = store::of(&args.shop.folder);
    let technician = store.technician(&args.technician).map_err(&failed)?;
    let day = args.day.unwrap_or_else(today).to_string();
    let mut sheet = day_sheet(&store, technician, &day).map_err(&failed)?;
    let (said, lost) = exposure(console, &store, technician, &mut sheet).map_err(&failed)?;
    if sheet.works.is_empty() {
        return Err(Failure::failed(format!("nothing is filed for {} on {day}", sheet.technician)));
    }
    console.result(&format!("{}, {day}: {}", sheet.technician, sheet.summary()))?;
    console.result(&said)?;
    sheet.exposure = Some(said);
    if let Some(out) = &args.out {
        put(console, out, &day_html(&sheet, console.units(Units::Si)))?;
    }
    Ok(if lost { Done::WithLosses } else { Done::Fine })
}

/// The day's vibration from its recordings; blank in words where any of them cannot be read, for the rest would be too little. With
/// it, whether data is missing: from any, or whole recordings. Sessions over midnight get their share of the day on the way.
fn exposure(
    console: &Console,
    store: &Shop,
    technician: Id,
    sheet: &mut DaySheet,
) -> Result<(String, bool), ShopError> {
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
        match stretches(console, store, (technician, &sheet.technician), Path::new(&path), &sessions)? {
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
        return Ok(("Vibration exposure is not known: not all recordings of this day can be read.".to_owned(), lost));
    }
    if without > 0 {
        let without = count(without, "session of this day was", "sessions of this day were");
        return Ok((format!("Vibration exposure is not known: {without} filed without a recording."), lost));
    }
    let day = days(own.into_iter().map(|(_, stretch)| stretch));
    let day = day.into_iter().find(|day| day.date.is_some_and(|date| date.to_string() == sheet.day));
    let Some(day) = day else { return Ok(("Vibration exposure is not known for this day.".to_owned(), lost)) };
    let mut said = format!("Vibration exposure {} {NOTICE}.", day.finding(Limits::default()));
    if lost {
        said.push_str(" Data is missing from its recordings; what was lost does not count.");
    }
    if let Some(caution) = day.overlap_caution() {
        said = format!("{said} {caution}");
    }
    Ok((said, lost))
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
    technician: (Id, &str),
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
    let names = store.technicians()?;
    let began = filed.iter().find(|session| session.part == 1).map(|session| session.technician);
    let began = names.iter().find(|known| Some(known.id) == began).map_or("", |known| known.entry.name.as_str());
    let first = [began, &read.began];
    let stretches = filed_stretches(read.stretches, &read.hands, &first, &filed, technician);
    Ok(Some(Told { stretches, lost: read.lost }))
}

fn put(console: &Console, path: &std::path::Path, page: &str) -> Outcome {
    write_whole(path, page.as_bytes())?;
    console.result(&path.display().to_string())?;
    Ok(Done::Fine)
}
