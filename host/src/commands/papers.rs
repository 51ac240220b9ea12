//! `report` for the owner, `day` for the technician.

use std::fs;

use steadypass::{
    exposure::{Exposure, Limits, NOTICE, days},
    guidance::{Plan, Units, plan::Source as PlanSource},
    recording::{Reader, describe_io},
    shop::papers::{DaySheet, Picture, day_html, day_sheet, owner_report, report_html},
};

use super::{Console, Done, Failure, Outcome, store, today, write_whole};
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
    sheet.exposure = Some(exposure(&sheet));
    console.result(sheet.exposure.as_deref().unwrap_or_default())?;
    args.out.as_ref().map_or(Ok(Done::Fine), |out| put(console, out, &day_html(&sheet, console.units(Units::Si))))
}

/// The day's vibration from its recordings; blank in words where any of them is gone, for the rest would be too little.
fn exposure(sheet: &DaySheet) -> String {
    let mut stretches = Vec::new();
    for work in &sheet.works {
        let Some(mut of) = work.recording.as_ref().and_then(|path| stretches_of(path)) else {
            return "Vibration exposure is not known: not all recordings of this day can be read.".to_owned();
        };
        // Whose it is, the shop knows better than a recording that was not told, or told wrongly. A recording that was handed
        // over says who held the machine when.
        if of.windows(2).all(|pair| pair[0].technician == pair[1].technician) {
            of.iter_mut().for_each(|stretch| stretch.technician.clone_from(&sheet.technician));
        }
        stretches.extend(of);
    }
    let day = days(stretches)
        .into_iter()
        .find(|d| d.technician == sheet.technician && d.date.is_some_and(|date| date.to_string() == sheet.day));
    day.map_or("Vibration exposure is not known for this day.".to_owned(), |day| {
        format!("Vibration exposure {} {NOTICE}.", day.finding(Limits::default()))
    })
}

fn stretches_of(path: &str) -> Option<Vec<steadypass::exposure::Running>> {
    let mut reader = Reader::open(std::path::Path::new(path)).ok()?;
    let plan = Plan::from_toml(&PlanSource::new("plan inside the recording", &reader.facts().plan)).unwrap_or_default();
    let mut exposure = Exposure::new(reader.facts(), plan.setup()).ok()?;
    while reader.next_chunk(|entry| exposure.push(&entry)).ok()? {}
    Some(exposure.finish())
}

fn put(console: &Console, path: &std::path::Path, page: &str) -> Outcome {
    write_whole(path, page.as_bytes())?;
    console.result(&path.display().to_string())?;
    Ok(Done::Fine)
}
