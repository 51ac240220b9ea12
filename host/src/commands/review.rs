//! `review`: everything recomputed from the raw data of recordings.

use std::{
    path::{Path, PathBuf},
    sync::Arc,
};

use steadypass::{
    analysis::{LengthDoubt, ToAndFro},
    drawing::units::duration,
    guidance::{Plan, Units, units::count},
    name,
    recording::{self, Losses},
    replay::Replay,
    report,
    results::{ORIGIN, Results},
    reviewed::Reviewed,
    session::{Event, Rates},
    shop::{
        Shop, ShopError,
        fill::{About, Figures, Filing, fingerprint, rubbing},
        film::ThinFilm,
    },
};

use super::{Console, Done, Failure, Outcome, corrected::Corrected, facts, path_text, sheets::Sheets, store};
use crate::cli::ReviewArgs;

pub(super) fn run(console: &Console, args: &ReviewArgs) -> Outcome {
    let stroke_length_m = args.stroke_length.or(args.stroke_length_m);
    if let Some(length) = stroke_length_m
        && !(0.05..=3.0).contains(&length)
    {
        let option = if args.stroke_length.is_some() { "stroke-length" } else { "stroke-length-m" };
        return Err(Failure::Usage(format!("--{option}: {length} m; a stroke is 0.05 to 3 m (2 to 118 in) long")));
    }
    let folders = folders(args)?;
    let shop = store::to_file_in(console, &args.file)?;
    let about = args.file.about(args.technician.clone(), args.panel.clone());
    let mut done = Done::Fine;
    let several = args.recordings.len() > 1;
    let (mut failed, mut reviewed) = (Vec::new(), Vec::new());
    for (recording, folder) in args.recordings.iter().zip(&folders) {
        let request = Request {
            recording,
            folder,
            plan: args.plan.as_deref(),
            stroke_length_m,
            sheets: !args.no_sheets,
            technician: args.technician.as_deref(),
            panel: args.panel.as_deref().filter(|panel| !panel.is_empty()),
            filing: shop.map(|shop| (shop, &about)),
        };
        let summary = match review(console, &request) {
            Ok(summary) => summary,
            // The others of a day are reviewed all the same.
            Err(Failure::Failed(report)) if several => {
                console.report(&report);
                failed.push((path_text(recording), report.to_string()));
                continue;
            }
            Err(failure) => return Err(failure),
        };
        if several && console.json {
            summary.remark(console);
            reviewed.push(summary.json(folder));
        } else {
            summary.print(console, folder)?;
        }
        if summary.lost.is_some() {
            done = Done::WithLosses;
        }
    }
    if several && console.json {
        let not = |(recording, why): &(String, String)| serde_json::json!({ "recording": recording, "why": why });
        let result = serde_json::json!({ "reviews": reviewed, "failed": failed.iter().map(not).collect::<Vec<_>>() });
        console.result(&result.to_string())?;
    }
    if failed.is_empty() {
        return Ok(done);
    }
    let failed: Vec<String> = failed.into_iter().map(|(recording, _)| recording).collect();
    Err(Failure::failed(format!(
        "{} of {} recordings could not be reviewed: {}",
        failed.len(),
        args.recordings.len(),
        failed.join(", ")
    )))
}

/// One folder each; several recordings go into folders named after them.
fn folders(args: &ReviewArgs) -> Result<Vec<PathBuf>, Failure> {
    if args.recordings.len() == 1 {
        return Ok(vec![args.out.clone()]);
    }
    let mut folders: Vec<PathBuf> = Vec::new();
    for recording in &args.recordings {
        let name = recording.file_name().unwrap_or_default().to_string_lossy();
        let folder = args.out.join(name.trim_end_matches(".part").trim_end_matches(".mcap"));
        if folders.contains(&folder) {
            return Err(Failure::Usage(format!(
                "two recordings are called {name}; review them into different folders"
            )));
        }
        folders.push(folder);
    }
    Ok(folders)
}

/// What to review, and how.
pub(super) struct Request<'a> {
    pub(super) recording: &'a Path,
    pub(super) folder: &'a Path,
    pub(super) plan: Option<&'a Path>,
    pub(super) stroke_length_m: Option<f64>,
    pub(super) sheets: bool,
    /// Who began the work, where the recording does not say or says it wrong.
    pub(super) technician: Option<&'a str>,
    /// What was worked on, where the recording does not say or says it wrong.
    pub(super) panel: Option<&'a str>,
    /// The shop to file the figures in, and what the user says about the session.
    pub(super) filing: Option<(&'a Path, &'a About)>,
}

/// What a review found, for the last lines on screen.
#[derive(Default)]
pub(super) struct Summary {
    pub(super) seconds: f64,
    pub(super) strokes: usize,
    pub(super) passes: usize,
    pub(super) warnings: usize,
    /// Of these, those that fell into no pass.
    pub(super) warnings_between_passes: usize,
    /// When a section was marked, s.
    pub(super) marks_s: Vec<f64>,
    /// What was written down while recording: when, s, and what.
    pub(super) notes: Vec<(f64, Arc<str>)>,
    /// Where the arm went to and fro too quickly for strokes.
    pub(super) to_and_fro: Vec<ToAndFro>,
    /// The stroke length told, m.
    pub(super) told_length_m: Option<f64>,
    /// Passes whose turns do not agree with it, each with its section and what they say.
    pub(super) length_doubts: Vec<(u32, u32, LengthDoubt)>,
    /// What the shop's own limit says of the film that was worked on.
    pub(super) thin: Vec<ThinFilm>,
    /// What else the reader must know.
    pub(super) remarks: Vec<String>,
    pub(super) page: Option<PathBuf>,
    /// What is missing, in words.
    pub(super) lost: Option<String>,
    /// Samples a second, and how many are missing.
    pub(super) rates: Rates,
    pub(super) losses: Losses,
}

impl Summary {
    pub(super) fn print(&self, console: &Console, folder: &Path) -> std::io::Result<()> {
        self.remark(console);
        if console.json {
            return console.result(&self.json(folder).to_string());
        }
        console.result(&format!(
            "{}: {}, {}, {}, {}",
            self.page.as_deref().unwrap_or(folder).display(),
            duration(self.seconds),
            count(self.passes, "pass", "passes"),
            count(self.strokes, "stroke", "strokes"),
            self.warning_words(),
        ))
    }

    /// How many warnings; those between passes, which the shop's figures of passes leave out, apart.
    fn warning_words(&self) -> String {
        let all = count(self.warnings, "warning", "warnings");
        match self.warnings_between_passes {
            0 => all,
            n if n == self.warnings => format!("{all} between passes"),
            n => format!("{all} ({n} of them between passes)"),
        }
    }

    /// Says what the reader must know.
    pub(super) fn remark(&self, console: &Console) {
        if let Some(lost) = &self.lost {
            console.remark(&format!("Some data is missing: {lost}."));
        }
        self.remarks.iter().for_each(|words| console.remark(words));
    }

    pub(super) fn json(&self, folder: &Path) -> serde_json::Value {
        let quick = |q: &ToAndFro| {
            let rate = q.rate_hz;
            serde_json::json!({
                "start_s": q.start_s, "end_s": q.end_s, "cycles": q.cycles,
                "rate_hz": rate.value, "rate_lo_hz": rate.lo, "rate_hi_hz": rate.hi,
            })
        };
        let doubt = |(section, pass, LengthDoubt { by_turns_m: by_turns, clear }): &(u32, u32, LengthDoubt)| {
            serde_json::json!({
                "section": section, "pass": pass,
                "clear": clear, "by_turns_m": by_turns.value, "by_turns_lo_m": by_turns.lo, "by_turns_hi_m": by_turns.hi,
            })
        };
        let note = |(t_s, text): &(f64, Arc<str>)| serde_json::json!({ "t_s": t_s, "text": **text });
        serde_json::json!({
            "folder": path_text(folder), "page": self.page.as_deref().map(path_text), "seconds": self.seconds, "passes": self.passes,
            "strokes": self.strokes, "warnings": self.warnings,
            "warnings_between_passes": self.warnings_between_passes, "marks_s": self.marks_s,
            "notes": self.notes.iter().map(note).collect::<Vec<_>>(), "lost": self.lost,
            "to_and_fro": self.to_and_fro.iter().map(quick).collect::<Vec<_>>(),
            "remarks": self.remarks, "thin_film": store::thin_json(&self.thin),
            "told_length_m": self.told_length_m,
            "rates": {
                "accelerometer_hz": self.rates.accel_hz, "accelerometer_lost": self.losses.accel_samples,
                "gyro_hz": self.rates.gyro_hz, "gyro_lost": self.losses.gyro_samples,
                "thermometer_hz": self.rates.surface_hz, "thermometer_lost": self.losses.surface_looks,
            },
            "length_doubts": self.length_doubts.iter().map(doubt).collect::<Vec<_>>(),
        })
    }
}

/// Reviews one recording into one folder.
pub(super) fn review(console: &Console, request: &Request<'_>) -> Result<Summary, Failure> {
    let mut replay = Replay::open(request.recording)?;
    let mut facts = replay.facts().clone();
    if let Some(panel) = request.panel {
        panel.clone_into(&mut facts.panel);
    }
    let mut plan = plan_for(console, request, &replay)?;
    let not_by_plan = match request.plan {
        Some(path) => take_from_plan(path, &plan, request, &mut facts),
        None => Vec::new(),
    };
    // Opened first: a shop that is not there is said before the work, not after it.
    let filing =
        request.filing.map(|(folder, about)| Ok::<_, Failure>((store::open_for_filing(folder)?, about))).transpose()?;
    // The whole recording is read for it: once.
    let fingerprint = fingerprint(request.recording).map_err(Failure::failed)?;
    let on_file = match &filing {
        Some((store, about)) => facts::machine_on_file(console, store, about, Some((&fingerprint, &facts)), &mut plan)?,
        None => false,
    };
    if request.plan.is_some() || on_file {
        // What the figures go by, whatever was told when it was recorded.
        facts.machine = facts::machine_text(&plan);
    }
    let mut figures = filing.as_ref().map(|_| Figures::new(plan.clone(), who(request, &facts)));
    let mut corrected = match &filing {
        Some((store, _)) => Corrected::on_file(store, &fingerprint, &facts, request.technician.is_some())?,
        None => Corrected::default(),
    };
    let shown = recording::Facts { technician: corrected.began(who(request, &facts)), ..facts.clone() };
    let mut sheets =
        request.sheets.then(|| Sheets::new(console.units(plan.units), &shown, plan.clone(), replay.remarks_ahead()));
    let mut results = Results::create(request.folder, plan.rate_unit())?.of_table(facts.is_table());
    let reviewed = Reviewed::new(request.recording, replay.facts(), fingerprint);
    results.file(ORIGIN, &reviewed.csv().map_err(Failure::failed)?)?;
    let other = Reviewed::in_folder(request.folder).filter(|there| !there.is_same(&reviewed));
    let mut summary = Summary { told_length_m: plan.stroke_length_m, ..Summary::default() };
    let mut failure = None;
    let bar = console.progress("reviewing", replay.size());
    let mut length_doubts = Vec::new();
    let maps_wanted = sheets.is_some() || figures.is_some();
    let take = |mut event: Event| {
        match &event {
            Event::Tick(tick) => summary.seconds = tick.t_s,
            Event::Stroke(_) => summary.strokes += 1,
            Event::Pass(judged) => {
                summary.passes += 1;
                let pass = &judged.pass;
                length_doubts.push(pass.length_doubt);
                summary.length_doubts.extend(pass.length_doubt.map(|doubt| (pass.section, pass.pass, doubt)));
            }
            Event::Placed(placed) => {
                summary.warnings += 1;
                summary.warnings_between_passes += usize::from(placed.pass.is_none());
            }
            Event::ToAndFro(stretch) => summary.to_and_fro.push(*stretch),
            Event::Mark { t_s } => summary.marks_s.push(*t_s),
            Event::Note { t_s, text } => summary.notes.push((*t_s, text.clone())),
            Event::Row(_) | Event::Warning(_) | Event::HandedTo { .. } => {}
        }
        // The dearest figure of all: worked out once, for drawing and filing alike, and only where one of them asks.
        let mut map = if maps_wanted { rubbing(&event, &plan) } else { None };
        if let Some(figures) = &mut figures {
            figures.event(&event, if sheets.is_some() { map.clone() } else { map.take() });
            if let Event::Pass(judged) = &mut event {
                let number = figures.number_of(judged.technician.as_ref());
                corrected.name(number, &mut judged.technician);
            }
        }
        let mut written = results.event(&event).map_err(Failure::from);
        if let (Ok(()), Some(sheets)) = (&written, &mut sheets) {
            written = sheets.take(&event, map.as_ref(), &mut results);
        }
        if let Err(error) = written {
            failure.get_or_insert(error);
        }
    };
    let ended = replay.run(plan.clone(), who(request, &facts), |done| bar.set_position(done), take)?;
    bar.finish_and_clear();
    if let Some(failure) = failure {
        return Err(failure);
    }
    summary.lost = ended.lost();
    (summary.rates, summary.losses) = (ended.rates, ended.losses);
    if let Some(rates) = ended.rates.describe(&ended.losses) {
        console.detail(&format!("Samples a second: {rates}."));
    }
    summary.remarks = replay.remarks();
    summary.remarks.extend(report::quick_work(&summary.to_and_fro));
    summary.remarks.extend(report::told_length(plan.stroke_length_m, &length_doubts, console.units(plan.units)));
    summary.remarks.extend(report::unusable_looks(&ended.looks));
    summary.remarks.extend(report::fell_silent(&ended.looks, summary.seconds));
    summary.remarks.extend(report::slow_looks(&ended.looks));
    summary.remarks.append(&mut corrected.remarks);
    summary.remarks.extend(not_by_plan);
    if let Some(sheets) = sheets {
        let name = request.recording.file_name().unwrap_or_default().to_string_lossy();
        sheets.page(&name, summary.seconds, &ended, &summary.remarks, &mut results)?;
        summary.page = Some(request.folder.join("index.html"));
    }
    for path in results.finish()? {
        console.detail(&path.display().to_string());
    }
    if let Some(other) = other {
        console.remark(&format!(
            "{}: the review of another recording ({}) stood there and was replaced; to have both, review it again into another folder.",
            request.folder.display(),
            other.words()
        ));
    }
    if let (Some((store, about)), Some(figures)) = (filing, figures) {
        let lost = summary.lost.as_deref().unwrap_or_default();
        let filing = store.file_review(request.recording, &reviewed.fingerprint, &facts, figures, about, lost);
        let filing = filing.map_err(|error| not_filed(&store, request, &error))?;
        summary.thin = thin_film(&store, &filing).map_err(store::of(store.folder()))?;
        store::say_thin(console, &summary.thin, console.units(plan.units));
        say_filed(console, console.units(plan.units), &store, &filing);
    }
    Ok(summary)
}

/// What the shop's own limit says of the panels of what was filed, by what is on file now.
fn thin_film(store: &Shop, filing: &Filing) -> Result<Vec<ThinFilm>, ShopError> {
    let ids: Vec<_> = filing.filed.iter().map(|filed| filed.id()).collect();
    let mut all: Vec<ThinFilm> = Vec::new();
    for session in store.sessions()?.iter().filter(|s| ids.contains(&s.id)) {
        let Some(vehicle) = session.vehicle else { continue };
        for thin in store.thin_film(vehicle, Some(&session.panel))? {
            if !all.contains(&thin) {
                all.push(thin);
            }
        }
    }
    Ok(all)
}

/// Who began the work: what is said now goes before what the recording says.
fn who<'a>(request: &'a Request<'_>, facts: &'a recording::Facts) -> &'a str {
    request.technician.unwrap_or(&facts.technician)
}

/// Takes from the plan that is given who worked on what, where nothing else says it; what does not go by the plan is told.
fn take_from_plan(path: &Path, plan: &Plan, request: &Request<'_>, facts: &mut recording::Facts) -> Vec<String> {
    let mut remarks = Vec::new();
    let [technician, panel] = [request.technician, request.panel].map(|typed| typed.is_some());
    for (what, option, by_plan, is_typed, by_recording) in [
        ("technician", "--technician", &plan.technician, technician, &mut facts.technician),
        ("panel", "--panel", &plan.panel, panel, &mut facts.panel),
    ] {
        let Some(by_plan) = by_plan.as_ref().filter(|_| !is_typed) else { continue };
        if by_recording.trim().is_empty() {
            by_recording.clone_from(by_plan);
        } else if !name::same(by_plan, by_recording) {
            remarks.push(format!(
                "The recording names {by_recording} as its {what}, {} {by_plan}: the recording goes before the plan. If it is wrong, \
                 say so with {option}.",
                path.display()
            ));
        }
    }
    remarks
}

/// Why the figures are not in the shop's memory, and what to do.
fn not_filed(store: &Shop, request: &Request<'_>, error: &ShopError) -> Failure {
    Failure::failed(format!(
        "shop {shop}: {error}. The review in {} is whole, only the filing is missing; once that is mended, file it with \
         `steadypass review {} --out {} --shop {}`, with --technician, --machine and the rest as far as you give them",
        request.folder.display(),
        name::path_word(request.recording),
        name::path_word(request.folder),
        name::path_word(store.folder()),
        shop = store.folder().display(),
    ))
}

/// Says what was filed.
fn say_filed(console: &Console, units: Units, store: &Shop, filing: &Filing) {
    filing.remarks.iter().for_each(|remark| console.remark(remark));
    for filed in &filing.filed {
        let (id, shop) = (filed.id(), store.folder().display());
        match filing.replaced.iter().find(|replaced| replaced.session == id) {
            Some(replaced) => console.remark(&format!(
                "Session {id} filed again in {shop}, its earlier figures replaced: {}.",
                replaced.words(units)
            )),
            None => console.remark(&format!("Session {id} filed in {shop}.")),
        }
    }
    if filing.filed.len() > 1 {
        console.remark("The machine changed hands: each technician's passes are a session of their own.");
    }
}

/// The plan on the command line, or the one in the recording, or common practice.
fn plan_for(console: &Console, request: &Request<'_>, replay: &Replay) -> Result<Plan, Failure> {
    let mut plan = if request.plan.is_some() {
        facts::load_plan(request.plan)?
    } else {
        facts::plan_of(console, request.recording, replay.facts(), "; give a plan with --plan")
    };
    if request.stroke_length_m.is_some() {
        plan.stroke_length_m = request.stroke_length_m;
    }
    Ok(plan)
}
