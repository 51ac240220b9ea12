//! `report` for the owner, `day` for the technician.

use std::{collections::BTreeMap, fs, path::Path};

use steadypass::{
    exposure::{Limits, NOTICE, days},
    guidance::Units,
    recording::describe_io,
    shop::{
        Id, Shop, ShopError,
        fill::fingerprint,
        papers::{DaySheet, Picture, day_html, day_sheet, filed_stretches, owner_report, report_html},
    },
};

use super::{Console, Done, Failure, Outcome, exposure::read, store, today, write_whole};
use crate::cli::shop::{DayArgs, ReportArgs};

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
    if sheet.works.is_empty() {
        return Err(Failure::failed(format!("nothing is filed for {} on {day}", sheet.technician)));
    }
    console.result(&format!("{}, {day}: {}", sheet.technician, sheet.summary()))?;
    let (said, lost) = exposure(console, &store, technician, &sheet).map_err(&failed)?;
    console.result(&said)?;
    sheet.exposure = Some(said);
    if let Some(out) = &args.out {
        put(console, out, &day_html(&sheet, console.units(Units::Si)))?;
    }
    Ok(if lost { Done::WithLosses } else { Done::Fine })
}

/// The day's vibration from its recordings; blank in words where any of them is gone, for the rest would be too little. With it,
/// whether data is missing from any.
fn exposure(console: &Console, store: &Shop, technician: Id, sheet: &DaySheet) -> Result<(String, bool), ShopError> {
    let unknown = "Vibration exposure is not known: not all recordings of this day can be read.";
    let names = store.technicians()?;
    let (mut stretches, mut lost) = (Vec::new(), false);
    // One recording holds several sessions where the machine changed hands.
    let mut works: BTreeMap<Option<&str>, Vec<Id>> = BTreeMap::new();
    for work in &sheet.works {
        works.entry(work.recording.as_deref()).or_default().push(work.session);
    }
    for (path, sessions) in works {
        let Some(path) = path.map(Path::new) else { return Ok((unknown.to_owned(), lost)) };
        let of_file = fingerprint(path).map_err(Failure::failed).and_then(|print| Ok((print, read(console, path)?)));
        let (print, read) = match of_file {
            Ok(of_file) => of_file,
            Err(failure) => {
                if let Failure::Failed(report) = failure {
                    console.remark(&report.to_string());
                }
                return Ok((unknown.to_owned(), lost));
            }
        };
        let filed = store.parts_of_recording(&print, &read.facts.sensor, &read.facts.started)?;
        if !sessions.iter().all(|id| filed.iter().any(|session| session.id == *id)) {
            console.remark(&format!(
                "{}: another recording stands at this place now; review the one that was filed again, with --shop.",
                path.display()
            ));
            return Ok((unknown.to_owned(), lost));
        }
        lost |= read.lost;
        let began = filed.iter().find(|session| session.part == 1).map(|session| session.technician);
        let began = names.iter().find(|known| Some(known.id) == began).map_or("", |known| known.entry.name.as_str());
        let first = [began, &read.began];
        stretches.extend(filed_stretches(read.stretches, &read.hands, &first, &filed, (technician, &sheet.technician)));
    }
    let day = days(stretches).into_iter().find(|day| day.date.is_some_and(|date| date.to_string() == sheet.day));
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

fn put(console: &Console, path: &std::path::Path, page: &str) -> Outcome {
    write_whole(path, page.as_bytes())?;
    console.result(&path.display().to_string())?;
    Ok(Done::Fine)
}
