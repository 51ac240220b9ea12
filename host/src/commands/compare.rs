//! `compare`: technicians, machines, or pads and liquids against each other; one technician over time; a session beside the
//! trainer's.

use std::path::{Path, PathBuf};

use steadypass::{
    compare::{
        By, Comparison, Question,
        draw::{ReferenceSheet, TechniquePrint, intervals_png, prints_png, progress_png, reference_png},
        gather,
        lesson::{Target, lesson},
        page::{Picture, page_html},
        reference::{cautions, sections},
        tables::{days_csv, differences_csv, estimates_csv, trends_csv},
    },
    guidance::{Band, Units, units::count},
    name,
    results::Together,
    shop::{FiledPrint, Id, PrintsOf, ProductKind, Session, Shop},
};

use super::{Console, Done, Failure, Outcome, path_text, store, write_whole};
use crate::cli::work::{ByArg, CompareArgs};

/// Passes of a technician that a print is drawn from, the newest.
const PRINT_PASSES: usize = 400;

pub(super) fn run(console: &Console, args: &CompareArgs) -> Outcome {
    let folder = &args.shop.folder;
    let failed = store::of(folder);
    let store = store::open(folder)?;
    let units = console.units(Units::Si);
    if let Some(session) = args.session {
        return beside(console, &store, session, args.reference, units, &args.out);
    }
    let product =
        |kind, name: &Option<String>| name.as_ref().map(|n| store.product(kind, n)).transpose().map_err(&failed);
    let question = Question {
        by: match args.by {
            ByArg::Technician => By::Technician,
            ByArg::Machine => By::Machine,
            ByArg::Product => By::PadAndLiquid,
        },
        technician: args.technician.as_ref().map(|n| store.technician(n)).transpose().map_err(&failed)?,
        machine: args.machine.as_ref().map(|n| store.machine(n)).transpose().map_err(&failed)?,
        pad: product(ProductKind::Pad, &args.pad)?,
        liquid: product(ProductKind::Liquid, &args.liquid)?,
        from: args.from.map(|day| day.to_string()),
        to: args.to.map(|day| day.to_string()),
    };
    let comparison = Comparison::of(question.by, gather(&store, &question).map_err(&failed)?);
    if comparison.groups.is_empty() {
        return Err(nothing_fits(&store, &question));
    }
    let written = write(&store, &comparison, units, &args.out)?;
    if console.json {
        console.result(&written.json().to_string())?;
    } else {
        written.say(console)?;
    }
    Ok(Done::Fine)
}

/// Why there is nothing to compare, and what to do.
fn nothing_fits(store: &Shop, question: &Question) -> Failure {
    let folder = store.folder().display();
    let everything = Question { by: By::Technician, ..question.clone() };
    let (sessions, fitting) = match (store.sessions(), gather(store, &everything)) {
        (Ok(sessions), Ok(groups)) => (sessions.len(), groups.iter().map(|g| g.sessions).sum::<usize>()),
        (Err(error), _) | (_, Err(error)) => return store::of(store.folder())(error),
    };
    Failure::failed(match (sessions, fitting, question.by) {
        (0, ..) => format!(
            "shop {folder}: no filed session fits, for none is filed yet; file some with `steadypass review RECORDING --shop {}`",
            name::path_word(store.folder())
        ),
        (all, 0, _) => format!(
            "shop {folder}: no filed session fits: none of the {all} that are filed has this technician, machine, pad, liquid and \
             time; ask for less"
        ),
        (_, fitting, By::Machine) => format!(
            "shop {folder}: none of the {fitting} sessions that fit says which machine it was; file them again with --machine NAME"
        ),
        (_, fitting, _) => format!(
            "shop {folder}: none of the {fitting} sessions that fit says which pad and liquid it was; file them again with --pad \
             NAME and --liquid NAME"
        ),
    })
}

/// What is written of technicians only. In a folder of comparisons it goes when something else is compared there.
const OF_TECHNICIANS: [&str; 3] = ["trends.csv", "progress.png", "technique.png"];

/// A comparison that is written down.
pub(super) struct Written<'a> {
    comparison: &'a Comparison,
    units: Units,
    page: PathBuf,
}

/// Writes tables, drawings and the page.
pub(super) fn write<'a>(
    store: &Shop,
    comparison: &'a Comparison,
    units: Units,
    out: &Path,
) -> Result<Written<'a>, Failure> {
    // Their names alone would not tell them from a user's own.
    let used_before = ["comparison.csv", "differences.csv", "days.csv"].iter().all(|name| out.join(name).is_file());
    let mut files = Together::create(out)?;
    let mut put = |name: &str, bytes: &[u8]| files.file(name, bytes);
    put("comparison.csv", &estimates_csv(comparison).map_err(Failure::failed)?)?;
    put("differences.csv", &differences_csv(comparison).map_err(Failure::failed)?)?;
    put("days.csv", &days_csv(comparison).map_err(Failure::failed)?)?;
    let intervals = intervals_png(comparison, units).map_err(Failure::failed)?;
    put("intervals.png", &intervals)?;
    let mut pictures = vec![("Means over working days with their 90 % intervals", intervals)];
    if comparison.by == By::Technician {
        let [trends_table, progress_drawing, technique_drawing] = OF_TECHNICIANS;
        put(trends_table, &trends_csv(comparison).map_err(Failure::failed)?)?;
        let progress = progress_png(comparison, units).map_err(Failure::failed)?;
        put(progress_drawing, &progress)?;
        pictures.push(("Progress over working days", progress));
        let prints = technique_prints(store, comparison, units)?;
        put(technique_drawing, &prints)?;
        pictures.push(("Technique prints", prints));
    }
    let pictures: Vec<Picture<'_>> = pictures.iter().map(|(caption, png)| Picture { caption, png }).collect();
    let page = page_html(comparison, &pictures, units, env!("CARGO_PKG_VERSION"));
    put("index.html", page.as_bytes())?;
    files.finish(|name| used_before && OF_TECHNICIANS.contains(&name))?;
    Ok(Written { comparison, units, page: out.join("index.html") })
}

impl Written<'_> {
    /// Says what stands out.
    pub(super) fn say(&self, console: &Console) -> std::io::Result<()> {
        for caution in self.comparison.cautions() {
            console.remark(&caution);
        }
        let findings = self.comparison.findings(self.units);
        if findings.is_empty() {
            console.result(&self.comparison.nothing_words())?;
        }
        for finding in findings {
            console.result(&finding)?;
        }
        console.remark(&self.comparison.rate_words());
        console.result(&self.page.display().to_string())
    }

    /// The same as JSON.
    pub(super) fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "page": path_text(&self.page), "findings": self.comparison.findings(self.units),
            "cautions": self.comparison.cautions(), "looked_at": self.comparison.family,
        })
    }
}

fn technique_prints(store: &Shop, comparison: &Comparison, units: Units) -> Result<Vec<u8>, Failure> {
    let failed = store::of(store.folder());
    let sessions = store.sessions().map_err(&failed)?;
    let mut all: Vec<(usize, Vec<FiledPrint>)> = Vec::new();
    for (i, group) in comparison.groups.iter().enumerate().take(6) {
        let prints = store.prints(PrintsOf::Technician(group.data.id), PRINT_PASSES).map_err(&failed)?;
        all.push((i, prints));
    }
    let rows: Vec<TechniquePrint<'_>> = all
        .iter()
        .filter_map(|(i, prints)| {
            let data = &comparison.groups[*i].data;
            let newest = sessions.iter().rev().find(|s| s.technician == data.id)?;
            Some(TechniquePrint {
                name: &data.name,
                remark: if prints.len() < data.passes {
                    format!("the newest {} passes of {}", prints.len(), data.passes)
                } else {
                    count(prints.len() as u64, "pass", "passes")
                },
                prints,
                pace_mps: newest.pace_mps,
                heat_limit_k: newest.heat_limit_k,
            })
        })
        .collect();
    prints_png(&rows, comparison.invented(), units).map_err(Failure::failed)
}

fn beside(console: &Console, store: &Shop, shown: Id, reference: Option<Id>, units: Units, out: &Path) -> Outcome {
    if reference == Some(shown) {
        return Err(Failure::Usage(format!(
            "--session {shown} --reference {shown}: a session is set beside another one, not beside itself"
        )));
    }
    let failed = store::of(store.folder());
    let sessions = store.sessions().map_err(&failed)?;
    let technicians = store.technicians().map_err(&failed)?;
    let find = |id: Id| {
        sessions.iter().find(|s| s.id == id).ok_or_else(|| {
            Failure::failed(format!("there is no session {id}; `steadypass shop status --all` lists them"))
        })
    };
    let theirs = match reference {
        Some(id) => find(id)?,
        None => sessions.iter().rev().find(|s| s.trainer && s.id != shown).ok_or_else(|| {
            Failure::failed("no session is marked as the trainer's; mark one with `steadypass shop trainer NUMBER`")
        })?,
    };
    let ours = find(shown)?;
    let name = |s: &Session| {
        let who = technicians.iter().find(|t| t.id == s.technician).map_or("?", |t| t.entry.name.as_str());
        format!("{who}, {} (session {})", s.day, s.id)
    };
    let invented = |s: &Session| matches!(s.source.as_str(), "simulation" | "generated");
    let cautions = cautions(store, [theirs, ours], units).map_err(&failed)?;
    let (reference, sections) =
        (sections(store, theirs.id).map_err(&failed)?, sections(store, ours.id).map_err(&failed)?);
    let target =
        Target { pace_mps: Band { lo: ours.pace_mps.0, hi: ours.pace_mps.1 }, heat_limit_k: ours.heat_limit_k };
    let lesson = lesson(&reference, &sections, target, units);
    let sheet = ReferenceSheet {
        trainer: name(theirs),
        shown: name(ours),
        reference: &reference,
        sections: &sections,
        target,
        lesson: &lesson,
        cautions: &cautions,
        invented: invented(theirs) || invented(ours),
    };
    let png = reference_png(&sheet, units).map_err(Failure::failed)?;
    let path = out.join(format!("session-{}-beside-{}.png", ours.id, theirs.id));
    write_whole(&path, &png)?;
    lesson.lines().chain(&cautions).for_each(|line| console.remark(line));
    let drawing = path_text(&path);
    let told = serde_json::json!({
        "drawing": drawing, "session": ours.id, "reference": theirs.id, "lesson": lesson.lines().collect::<Vec<_>>(), "cautions": cautions,
    });
    console.told(&drawing, &told)?;
    Ok(Done::Fine)
}
