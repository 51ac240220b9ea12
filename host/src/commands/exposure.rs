//! `exposure`: hand-arm vibration by technician and day, from recordings and from values typed in.

use std::{
    fmt::Write as _,
    iter,
    path::{Path, PathBuf},
};

use jiff::civil::Date;
use steadypass::{
    drawing::{ExposureSheet, exposure_day_png, lettering::safe, units::duration},
    exposure::{CAUTIONS, Day, Declared, Exposure, Hand, Limits, NOTICE, Range, Running, Source, days, hours_to},
    name,
    recording::{self, Facts, Reader, Source as From},
    replay::describe_losses,
    session::Hands,
    shop::{Shop, ShopError, fill::fingerprint},
    tables::guarded,
};

use super::{Console, Done, Failure, Outcome, facts, store, today, write_whole};
use crate::cli::ExposureArgs;

const HEADER: [&str; 16] = [
    "date",
    "technician",
    "tool",
    "hand",
    "basis",
    "running_min",
    "measured_min",
    "clipped_samples",
    "a_hv_mps2",
    "a_hv_lo_mps2",
    "a_hv_hi_mps2",
    "points",
    "day_a8_mps2",
    "day_points",
    "day_points_hi",
    "note",
];

pub(super) fn run(console: &Console, args: &ExposureArgs) -> Outcome {
    let limits = limits(args)?;
    let declared: Vec<Declared> =
        args.declared.iter().map(|text| text.parse()).collect::<Result<_, _>>().map_err(usage)?;
    if args.recordings.is_empty() && declared.is_empty() {
        return Err(Failure::Usage("give recordings, or values with --declared NAME=A_HV:MINUTES".into()));
    }
    let shop = if args.recordings.is_empty() { None } else { shop(console, args)? };
    let (mut stretches, mut remarks, mut lost, mut invented) = (Vec::new(), Vec::new(), false, false);
    for path in once_each(console, &args.recordings)? {
        let mut read = read(console, path)?;
        if let Some(shop) = &shop {
            read.stretches = named_by_shop(console, shop, path, &read)?;
        }
        lost |= read.lost;
        remarks.append(&mut read.remarks);
        let of_all = read.stretches.len();
        let wanted = asked_for(read.stretches, args);
        if wanted.len() < of_all {
            console.remark(&format!("{}: left out, as asked, is work of others or of other days.", path.display()));
        }
        invented |= read.facts.source == From::Simulation && !wanted.is_empty();
        stretches.extend(wanted);
    }
    let days = with_declared(days(stretches), declared, args)?;
    if days.is_empty() {
        console.remark("In these recordings the motor did not run for this technician on this day.");
    }
    if console.json {
        let days: Vec<_> = days.iter().map(|day| json(day, limits)).collect();
        let all = serde_json::json!({ "notice": NOTICE, "cautions": CAUTIONS, "remarks": remarks, "days": days });
        console.result(&all.to_string())?;
    } else {
        for day in &days {
            console.result(&table(day, limits))?;
        }
        console.result(&format!("{NOTICE}.\n{}", CAUTIONS.join("\n")))?;
    }
    if let Some(folder) = &args.out {
        for file in write(folder, &days, limits, invented)? {
            console.remark(&file);
        }
    }
    Ok(if lost { Done::WithLosses } else { Done::Fine })
}

/// The shop that knows whose the recordings are, if any. A recording tells enough by itself, so one that only the environment names
/// may be missing.
fn shop(console: &Console, args: &ExposureArgs) -> Result<Option<Shop>, Failure> {
    let Some(folder) = &args.shop else { return Ok(None) };
    match Shop::open(folder) {
        Err(error @ ShopError::Missing { .. }) if args.shop_is_usual => {
            console.remark(&format!(
                "STEADYPASS_SHOP: {error}. It goes on without a shop: each recording counts as the work of whom it names."
            ));
            Ok(None)
        }
        opened => opened.map(Some).map_err(store::of(folder)),
    }
}

/// The recordings without those that are another one again, which is said: the same bytes, or the same sensor and start. Of
/// these, one kept from a crash can be shorter than the finished one, so the larger counts.
fn once_each<'a>(console: &Console, recordings: &'a [PathBuf]) -> Result<Vec<&'a Path>, Failure> {
    struct Kept<'a> {
        path: &'a Path,
        print: String,
        facts: Facts,
        size: u64,
    }
    let mut kept: Vec<Kept<'a>> = Vec::new();
    for path in recordings {
        let reader = Reader::open(path)?;
        let print = fingerprint(path).map_err(Failure::failed)?;
        let next = Kept { path, print, facts: reader.facts().clone(), size: reader.progress().1 };
        let same = |other: &&mut Kept<'_>| {
            let sensor_and_start = |of: &Facts| (of.sensor.clone(), of.started.clone());
            let told = !next.facts.sensor.is_empty() && !next.facts.started.is_empty();
            other.print == next.print || (told && sensor_and_start(&other.facts) == sensor_and_start(&next.facts))
        };
        let Some(other) = kept.iter_mut().find(same) else {
            kept.push(next);
            continue;
        };
        if *other.path == *next.path {
            console.remark(&format!("{}: given more than once, counted once.", path.display()));
            continue;
        }
        let left_out = if next.size > other.size { std::mem::replace(other, next) } else { next };
        console.remark(&format!(
            "{}: left out, is the same recording as {}.",
            left_out.path.display(),
            other.path.display()
        ));
    }
    Ok(kept.into_iter().map(|kept| kept.path).collect())
}

/// The stretches of a recording under the names of the shop it is filed in, which is said where they are others.
fn named_by_shop(console: &Console, shop: &Shop, path: &Path, read: &Read) -> Result<Vec<Running>, Failure> {
    let failed = store::of(shop.folder());
    let print = fingerprint(path).map_err(Failure::failed)?;
    let facts = &read.facts;
    let filed = shop.parts_of_recording(&print, &facts.sensor, &facts.started).map_err(&failed)?;
    let named = shop.as_filed(read.stretches.clone(), &read.hands, &read.began, &filed).map_err(&failed)?;
    let named: Vec<Running> = named.into_iter().map(|(_, stretch)| stretch).collect();
    let mut said: Vec<[&str; 2]> = Vec::new();
    for (as_recorded, stretch) in read.stretches.iter().zip(&named) {
        let pair = [as_recorded.technician.as_str(), &stretch.technician];
        if !name::same(pair[0], pair[1]) && !said.contains(&pair) {
            said.push(pair);
        }
    }
    for [recorded, by_shop] in said {
        let recorded =
            if recorded.trim().is_empty() { "not told".to_owned() } else { format!("told to be {recorded}'s") };
        console.remark(&format!(
            "{}: {recorded} in the recording, {by_shop}'s in the shop; it counts as {by_shop}'s.",
            path.display()
        ));
    }
    Ok(named)
}

/// The stretches of the technician and day that were asked for; what does not say whose it is counts as the technician's.
fn asked_for(mut stretches: Vec<Running>, args: &ExposureArgs) -> Vec<Running> {
    if let Some(name) = &args.technician {
        stretches.iter_mut().filter(|s| s.technician.is_empty()).for_each(|s| s.technician.clone_from(name));
        stretches.retain(|s| name::same(name, &s.technician));
    }
    stretches.retain(|s| args.day.is_none_or(|date| s.start.as_ref().is_some_and(|at| at.date() == date)));
    stretches
}

fn usage(error: impl std::fmt::Display) -> Failure {
    Failure::Usage(error.to_string())
}

fn limits(args: &ExposureArgs) -> Result<Limits, Failure> {
    let usual = Limits::default();
    let limits = Limits {
        action_mps2: args.action_value.unwrap_or(usual.action_mps2),
        limit_mps2: args.limit_value.unwrap_or(usual.limit_mps2),
    };
    let sound = limits.action_mps2 > 0.0 && limits.action_mps2 <= limits.limit_mps2 && limits.limit_mps2 <= 100.0;
    sound.then_some(limits).ok_or_else(|| {
        Failure::Usage(format!(
            "--action-value {} --limit-value {}: both are A(8) in m/s², more than 0, the action value not above the limit value",
            limits.action_mps2, limits.limit_mps2
        ))
    })
}

/// What a recording says about exposure.
pub(super) struct Read {
    pub(super) facts: Facts,
    /// Who began it, by the recording or the plan inside; empty when not told.
    pub(super) began: String,
    pub(super) stretches: Vec<Running>,
    /// Who held the machine when, as told in it.
    pub(super) hands: Hands,
    /// Whether some of its data is missing; what, has been said.
    pub(super) lost: bool,
    /// What it says of the table it came from; has been said.
    remarks: Vec<String>,
}

/// Reads one recording; what is missing from it, and what else to know about it, goes to the terminal.
pub(super) fn read(console: &Console, path: &Path) -> Result<Read, Failure> {
    let mut reader = Reader::open(path)?;
    let plan = facts::plan_of(console, path, reader.facts(), "");
    let mut exposure = Exposure::new(reader.facts(), plan.setup())
        .map_err(|e| Failure::failed(format!("calibration inside {}: {e}", path.display())))?;
    if reader.facts().source == From::Table {
        console.remark(&format!(
            "{} comes from a table: its day is the one told to import, else that of the import; its vibration is as good as its logger.",
            path.display()
        ));
    }
    let bar = console.progress("reading", reader.progress().1);
    while reader.next_chunk(|entry| exposure.push(&entry))? {
        bar.set_position(reader.progress().0);
    }
    bar.finish_and_clear();
    if !exposure.has_data() {
        return Err(recording::Error::Empty { path: path.to_owned(), damage: reader.damage() }.into());
    }
    let lost = describe_losses(&exposure.losses(), &reader.damage());
    if let Some(lost) = &lost {
        console.remark(&format!("{}: some data is missing: {lost}. What was lost does not count.", path.display()));
    }
    let hands = exposure.hands().clone();
    let facts = reader.facts().clone();
    let began = Some(facts.technician.clone()).filter(|name| !name.trim().is_empty()).or(plan.technician);
    let closing = reader.closing().cloned().unwrap_or_default();
    let remarks: Vec<String> =
        closing.remarks().into_iter().map(|words| format!("{}: {words}", path.display())).collect();
    remarks.iter().for_each(|remark| console.remark(remark));
    let mut stretches = exposure.finish();
    stretches.iter_mut().for_each(|stretch| stretch.is_cut_off = closing.cut_off_samples > 0);
    Ok(Read { facts, began: began.unwrap_or_default(), hands, stretches, lost: lost.is_some(), remarks })
}

/// Puts typed-in values to the one day they can belong to.
fn with_declared(mut days: Vec<Day>, declared: Vec<Declared>, args: &ExposureArgs) -> Result<Vec<Day>, Failure> {
    let declared: Vec<_> = declared.into_iter().map(|Declared(c)| c).collect();
    if declared.is_empty() {
        return Ok(days);
    }
    for (hand, other) in [(Hand::Left, Hand::Right), (Hand::Right, Hand::Left)] {
        let hours: f64 = declared.iter().filter(|c| c.hand != other).map(|c| c.hours).sum();
        if hours > 24.0 {
            return Err(Failure::Usage(format!(
                "--declared: together {} in the {} hand in one day, which has 24 h; give each tool's minutes of that day alone",
                duration(hours * 3600.0),
                hand.as_str(),
            )));
        }
    }
    match days.as_mut_slice() {
        [] => {
            let technician = args.technician.clone().unwrap_or_default();
            let date = args.day.or_else(|| Some(today()));
            days.push(Day { technician, date, stretches: Vec::new(), declared });
        }
        [day] => day.declared = declared,
        many => {
            let names: Vec<String> = many.iter().map(name_of).collect();
            return Err(Failure::Usage(format!(
                "--declared belongs to one day of one technician, the recordings hold {}; choose with --technician and --day",
                names.join("; ")
            )));
        }
    }
    Ok(days)
}

fn date_of(day: &Day) -> String {
    day.date.as_ref().map_or_else(|| "day not known".to_owned(), Date::to_string)
}

fn name_of(day: &Day) -> String {
    let who = if day.technician.is_empty() { "technician not told" } else { &day.technician };
    format!("{who}, {}", date_of(day))
}

/// Width of the tools' column in the terminal; a longer name is cut, and shows it.
const TOOL_LETTERS: usize = 40;

/// When a tool alone reaches a daily value: after the likely time, with its bounds; `None` where that takes more than a day of running
/// even at the worst.
fn reached_after(a8_mps2: f64, a_hv_mps2: Range) -> Option<String> {
    const DAY_H: f64 = 24.0;
    let Range { lo, value, hi } = a_hv_mps2;
    let [soonest, likely, latest] = [hi, value, lo].map(|a_hv| hours_to(a8_mps2, a_hv));
    let bound = if latest > DAY_H { "more than 24".to_owned() } else { format!("{latest:.1}") };
    (soonest <= DAY_H).then(|| {
        if likely > DAY_H {
            format!("hardly in a whole day of running, at the worst after {soonest:.1} h")
        } else {
            format!("after {likely:.1} h ({soonest:.1} to {bound}) of running a day")
        }
    })
}

fn table(day: &Day, limits: Limits) -> String {
    let mut out = format!("{}\n{}\n", name_of(day), day.finding(limits));
    let _ = writeln!(
        out,
        "  {:<TOOL_LETTERS$} {:<9} {:<6} {:>8} {:>24} {:>8}",
        "tool", "basis", "hand", "min", "a_hv, m/s²", "points"
    );
    for source in day.sources() {
        let Source { tool, hand, basis, running_s, contribution, .. } = &source;
        let (a, points) = source.words();
        // Characters, not bytes, and no control characters from a recording's text.
        let mut letters = tool.chars().map(|c| if c.is_control() { ' ' } else { c });
        let mut tool: String = letters.by_ref().take(TOOL_LETTERS).collect();
        if letters.next().is_some() {
            tool.pop();
            tool.push('…');
        }
        let minutes = running_s / 60.0;
        let _ = writeln!(
            out,
            "  {tool:<TOOL_LETTERS$} {:<9} {:<6} {minutes:>8.1} {a:>24} {points:>8}",
            basis.as_str(),
            hand.as_str()
        );
        if source.is_cut_off {
            let _ = writeln!(out, "    peaks beyond its logger's range were cut off: the truth is larger");
        }
        if let Some(c) = contribution.as_ref().filter(|_| !source.is_cut_off) {
            let after = |a8: f64| reached_after(a8, c.a_hv_mps2);
            let reached = match (after(limits.action_mps2), after(limits.limit_mps2)) {
                (None, _) => "not even the action value is reached in a whole day of running".to_owned(),
                (Some(action), None) => {
                    format!("the action value is reached {action}, the limit value not in a whole day")
                }
                (Some(action), Some(limit)) => {
                    format!("the action value is reached {action}, the limit value {limit}")
                }
            };
            let _ = writeln!(out, "    alone, {reached}");
        }
        if source.measured_s < 0.95 * running_s {
            let share = 100.0 * source.measured_s / running_s.max(f64::MIN_POSITIVE);
            let _ = writeln!(out, "    vibration was measured in {share:.0} % of that time");
        }
        if source.clipped > 0 {
            let _ = writeln!(out, "    {} samples at full scale: the truth is larger there", source.clipped);
        }
    }
    let points = day.dose().points();
    // Few points are told to a tenth: rounded, they would not add up.
    let figure = points.words(usize::from(points.hi < 10.0), " points");
    let total = match day.at_least_mps2() {
        _ if day.is_known() => figure,
        Some(_) => format!("at least {figure}"),
        None => "points not known".to_owned(),
    };
    let _ = writeln!(out, "  {total}; 100 at A(8) 2.5 m/s², 400 at 5 m/s²");
    if let Some(caution) = day.overlap_caution() {
        let _ = writeln!(out, "  {caution}");
    }
    out
}

/// A(8), m/s², and points of a day; `None` where the vibration of part of it is not known: a program that reads the figure
/// would take what was measured for all there was.
fn total(day: &Day) -> Option<(Range, Range)> {
    day.is_known().then(|| (day.dose().a8_mps2(), day.dose().points()))
}

/// A day as JSON.
pub(super) fn json(day: &Day, limits: Limits) -> serde_json::Value {
    let total = total(day);
    let (a8, points) = (total.map(|t| t.0), total.map(|t| t.1));
    let tools: Vec<_> = day
        .sources()
        .iter()
        .map(|s| {
            let range = s.contribution.as_ref().map(|c| c.a_hv_mps2);
            serde_json::json!({
                "tool": s.tool, "hand": s.hand.as_str(), "basis": s.basis.as_str(), "running_s": s.running_s,
                "measured_s": s.measured_s, "clipped_samples": s.clipped, "a_hv_mps2": range.map(|r| r.value),
                "a_hv_lo_mps2": range.map(|r| r.lo), "a_hv_hi_mps2": range.filter(|_| !s.is_cut_off).map(|r| r.hi),
                "cut_off": s.is_cut_off,
                "points": s.contribution.as_ref().map(|c| c.points().value),
            })
        })
        .collect();
    serde_json::json!({
        "technician": day.technician, "date": day.date.map(|d| d.to_string()), "notice": NOTICE,
        "finding": day.finding(limits), "a8_mps2": a8.map(|r| r.value),
        "a8_lo_mps2": a8.map(|r| r.lo), "a8_hi_mps2": a8.map(|r| r.hi), "points": points.map(|r| r.value),
        "points_lo": points.map(|r| r.lo), "points_hi": points.map(|r| r.hi),
        "action_mps2": limits.action_mps2, "limit_mps2": limits.limit_mps2, "overlap_s": day.overlap_s(), "tools": tools,
    })
}

fn csv(days: &[Day]) -> Result<Vec<u8>, Failure> {
    let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    csv.write_record(HEADER).map_err(Failure::failed)?;
    for day in days {
        let total = total(day);
        for s in day.sources() {
            let a = s.contribution.as_ref().map(|c| c.a_hv_mps2);
            let figure =
                |value: Option<f64>, digits: usize| value.map_or_else(String::new, |v| format!("{v:.digits$}"));
            csv.write_record([
                day.date.map_or_else(String::new, |d| d.to_string()),
                guarded(&day.technician),
                guarded(&s.tool),
                s.hand.as_str().to_owned(),
                s.basis.as_str().to_owned(),
                figure(Some(s.running_s / 60.0), 2),
                figure(Some(s.measured_s / 60.0), 2),
                s.clipped.to_string(),
                figure(a.map(|a| a.value), 3),
                figure(a.map(|a| a.lo), 3),
                figure(a.filter(|_| !s.is_cut_off).map(|a| a.hi), 3),
                figure(s.contribution.as_ref().map(|c| c.points().value), 2),
                figure(total.map(|(a8, _)| a8.value), 3),
                figure(total.map(|(_, points)| points.value), 2),
                figure(total.map(|(_, points)| points.hi), 2),
                NOTICE.to_owned(),
            ])
            .map_err(Failure::failed)?;
        }
    }
    csv.into_inner().map_err(|e| Failure::failed(e.error()))
}

/// `exposure.csv` and a drawing for each day; returns each file, a drawing with whose day it is.
fn write(folder: &Path, days: &[Day], limits: Limits, invented: bool) -> Result<Vec<String>, Failure> {
    let mut files = vec![("exposure.csv".to_owned(), csv(days)?, None)];
    for day in days {
        let png = exposure_day_png(&ExposureSheet { day, limits, invented }).map_err(Failure::failed)?;
        let stem = format!("exposure-{}-{}", plain(&date_of(day)), plain(&day.technician));
        // Two names may come to one; which file is whose is said.
        let numbered = (2..).map(|n| format!("{stem}-{n}"));
        let free = |name: &String| files.iter().all(|(other, ..)| *other != format!("{name}.png"));
        let name = iter::once(stem.clone()).chain(numbered).find(free).unwrap_or(stem.clone());
        files.push((format!("{name}.png"), png, Some(name_of(day))));
    }
    let mut written = Vec::new();
    for (name, bytes, whose) in files {
        let path = folder.join(name);
        write_whole(&path, &bytes)?;
        let path = path.display();
        written.push(whose.map_or_else(|| path.to_string(), |whose| format!("{path}: {whose}")));
    }
    Ok(written)
}

/// Text as part of a file name: its letters and digits, and what spells a picture.
fn plain(text: &str) -> String {
    let spell = |c: char| if c.is_alphanumeric() { c.to_string() } else { format!(" {} ", safe(&c.to_string(), 40)) };
    let spelt = text.chars().take(40).map(spell).collect::<String>().to_lowercase();
    let words: Vec<&str> = spelt.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "not-told".to_owned() } else { words.join("-") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_lead_out_of_the_folder() {
        assert_eq!(plain("../Zoë Å/x"), "zoë-å-x");
        assert_eq!(plain(""), "not-told");
        assert_eq!(plain("!?"), "not-told");
    }

    /// The names are told apart by what the pictures in them are called; where that fails, by a number, and each file says whose it is.
    #[test]
    fn files_of_names_with_pictures_in_them_are_named_by_words() {
        assert_eq!(plain("Bo 🧽"), "bo-sponge");
        assert_eq!(plain("Bo 🔧"), "bo-wrench");
        assert_eq!(plain("山田"), "山田");
        let folder = tempfile::tempdir().expect("temp");
        let day = |technician: &str| Day {
            technician: technician.into(),
            date: Some(jiff::civil::date(2026, 3, 2)),
            stretches: Vec::new(),
            declared: Vec::new(),
        };
        let days = ["Bo!", "Bo", "Bo?"].map(day);
        let said = write(folder.path(), &days, Limits::default(), false).unwrap_or_else(|_| panic!("not written"));
        let said: Vec<String> =
            said.iter().map(|line| line.replace(&folder.path().display().to_string(), "")).collect();
        let file = |name: &str, whose: &str| format!("/exposure-2026-03-02-{name}.png: {whose}, 2026-03-02");
        assert_eq!(said[1..], [file("bo", "Bo!"), file("bo-2", "Bo"), file("bo-3", "Bo?")]);
    }
}
