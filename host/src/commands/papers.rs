//! `report` for the owner, `day` for the technician.

use std::fs;

use steadypass::{
    guidance::Units,
    shop::papers::{Picture, day_html, day_sheet, owner_report, report_html},
};

use super::{Console, Done, Failure, Outcome, shop};
use crate::cli::shop::{DayArgs, ReportArgs};

/// Pictures that still fit on two printed pages.
const MOST_PICTURES: usize = 4;

pub(super) fn report(console: &Console, args: &ReportArgs) -> Outcome {
    if args.picture.len() > MOST_PICTURES {
        return Err(Failure::Usage(format!(
            "--picture: at most {MOST_PICTURES}, so that the report prints on two pages"
        )));
    }
    let store = shop::open(&args.shop.folder)?;
    let failed = shop::of(&args.shop.folder);
    let vehicle = store.vehicle(&args.vehicle).map_err(&failed)?;
    let mut report = owner_report(&store, vehicle).map_err(&failed)?;
    report.found = args.found.clone();
    for path in &args.picture {
        let bytes = fs::read(path).map_err(|e| Failure::failed(format!("cannot read {}: {e}", path.display())))?;
        if !(bytes.starts_with(b"\x89PNG\r\n\x1a\n") || bytes.starts_with(b"\xff\xd8\xff")) {
            return Err(Failure::failed(format!("{}: expected a PNG or JPEG picture", path.display())));
        }
        let caption = path.file_stem().unwrap_or_default().to_string_lossy().replace(['-', '_'], " ");
        report.pictures.push(Picture { caption, bytes });
    }
    put(console, &args.out, &report_html(&report, console.units(Units::Si)))
}

pub(super) fn day(console: &Console, args: &DayArgs) -> Outcome {
    let store = shop::open(&args.shop.folder)?;
    let failed = shop::of(&args.shop.folder);
    let technician = store.technician(&args.technician).map_err(&failed)?;
    let day = args.day.clone().unwrap_or_else(|| jiff::ZonedDateTime::now().strftime("%Y-%m-%d").to_string());
    let sheet = day_sheet(&store, technician, &day).map_err(&failed)?;
    if sheet.works.is_empty() {
        return Err(Failure::failed(format!("nothing is filed for {} on {day}", sheet.technician)));
    }
    let (sections, passes, warnings) = sheet.counts();
    console.result(&format!(
        "{}, {day}: {sections} sections, {passes} passes, {:.0} minutes with the motor running, {warnings} warnings",
        sheet.technician,
        sheet.minutes()
    ))?;
    args.out.as_ref().map_or(Ok(Done::Fine), |out| put(console, out, &day_html(&sheet, console.units(Units::Si))))
}

fn put(console: &Console, path: &std::path::Path, page: &str) -> Outcome {
    fs::write(path, page).map_err(|e| Failure::failed(format!("cannot write {}: {e}", path.display())))?;
    console.result(&path.display().to_string())?;
    Ok(Done::Fine)
}
