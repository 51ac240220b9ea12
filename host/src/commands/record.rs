//! `record`: from the sensor to a recording, with live warnings.
//!
//! ```text
//! Link (async task) ─► event ─► RecordingWriter (own thread) ─ then ─► analysis (own thread) ─► status, warnings, patterns
//! ```
//!
//! A frame is handed to the recorder before the analysis sees it, and nothing the analysis does can stop the recording.

use std::{
    fs,
    path::{Path, PathBuf},
    sync::mpsc as std_mpsc,
    thread,
    time::Duration,
};

use steadypass::{
    analysis::Stroke,
    calibration::{self, Calibration},
    guidance::units::count,
    link::{self, Link, LinkError, LinkEvent, LinkReport},
    live::{self, Ask, Board, Shown},
    recording::{self, Body, Entry, Facts, LinkNote, Losses, RecordingWriter, UserNote, part_path},
};
use steadypass_protocol::{Health, ToSensor};
use tokio::{
    sync::{mpsc, watch},
    time::sleep,
};

use super::{
    Console, Done, Failure, Outcome,
    ending::{self, Interruptible},
    facts,
    live::{Ended, Live},
    path_text,
    review::{Request, review},
    store, today,
    watchers::Watchers,
};
use crate::cli::{RecordArgs, WatchArgs};

/// Frames that may wait between link and recorder: ten seconds of stream.
const EVENTS: usize = 512;
/// A turn is settled with this much hindsight.
const LAST_TURN: Duration = Duration::from_secs(3);
/// Patterns that may wait for the sensor; a newer one replaces them anyway.
const COMMANDS: usize = 8;

pub(super) fn run(console: &Console, args: &RecordArgs) -> Outcome {
    if let Some(seconds) = args.seconds
        && !(seconds > 0.0 && seconds.is_finite())
    {
        return Err(Failure::Usage(format!("--seconds {seconds}: must be more than zero")));
    }
    let mut plan = facts::load_plan(args.facts.plan.as_deref())?;
    let out = args.out.clone().unwrap_or_else(|| default_name(""));
    if out.extension().is_none_or(|e| e != "mcap") {
        return Err(Failure::Usage(format!("--out {}: a recording's name ends in .mcap", out.display())));
    }
    let about = args.file.about(None, None);
    let folder = store::to_file_in(console, &args.file)?;
    let shop = folder.map(store::open_for_filing).transpose()?;
    if let Some(shop) = &shop {
        facts::machine_on_file(console, shop, &about, None, &mut plan)?;
    }
    let facts = facts::facts(&args.facts, &plan, recording::Source::Sensor, args.port.as_deref().unwrap_or_default());
    let thin = match (&shop, &about.vehicle) {
        (Some(shop), Some(vehicle)) => {
            let panel = Some(facts.panel.as_str());
            shop.thin_film_of(vehicle, panel).map_err(store::of(shop.folder()))?
        }
        _ => Vec::new(),
    };
    store::say_thin(console, &thin, console.units(plan.units));
    let until = args.seconds.map_or(Until::Told, Until::Seconds);
    let job = Job {
        port: args.port.as_deref(),
        out: &out,
        facts,
        until,
        calibration: args.calibration.as_deref(),
        then: REVIEWED,
        to_do: "",
    };
    let earlier = match shop {
        Some(shop) => {
            live::earlier::passes_of(&shop, today(), console.units(plan.units)).map_err(store::of(shop.folder()))?
        }
        None => Vec::new(),
    };
    let live = Live::new(console, plan, args.tables.as_deref())?
        .with_model(|model| model.with_earlier(earlier), &job.facts.technician);
    let recorded = record(console, job, live, &args.watch)?;
    if !console.json {
        console.result(&format!("{}: {:.0} s recorded", recorded.path.display(), recorded.seconds))?;
    }
    let mut reviewed = None;
    if args.no_review && folder.is_some() {
        console.remark("Not filed in the shop, because of --no-review; `steadypass review` with --shop files it.");
    }
    if recorded.seconds > 0.0 && !args.no_review && !recorded.hurried {
        let filing = folder.map(|shop| (shop, &about));
        let folder = out.with_extension("review");
        let request = Request {
            recording: &recorded.path,
            folder: &folder,
            plan: None,
            stroke_length_m: None,
            sheets: true,
            technician: None,
            panel: None,
            filing,
        };
        let summary = review(console, &request)?;
        if console.json {
            summary.remark(console);
            reviewed = Some(summary.json(&folder));
        } else {
            summary.print(console, &folder)?;
        }
    }
    if console.json {
        let result = serde_json::json!({
            "recording": path_text(&recorded.path), "seconds": recorded.seconds, "review": reviewed,
            "thin_film": store::thin_json(&thin),
        });
        console.result(&result.to_string())?;
    }
    Ok(recorded.done)
}

/// Name for a recording that was given none.
pub(super) fn default_name(what: &str) -> PathBuf {
    let now = jiff::ZonedDateTime::now();
    PathBuf::from("recordings").join(format!("{}{what}.mcap", now.strftime("%Y-%m-%d_%H%M%S")))
}

/// What to record.
pub(super) struct Job<'a> {
    pub(super) port: Option<&'a str>,
    pub(super) out: &'a Path,
    pub(super) facts: Facts,
    pub(super) until: Until<'a>,
    /// Folder with the sensors' calibrations; the user's own when not given.
    pub(super) calibration: Option<&'a Path>,
    /// The command that does with the recording what is done with it next.
    pub(super) then: &'static str,
    /// What whoever holds the machine is to do; said once the sensor has answered, empty for nothing.
    pub(super) to_do: &'a str,
}

/// What is done with a recording of work.
pub(super) const REVIEWED: &str = "steadypass review";

/// When to stop, besides Ctrl-C.
#[derive(Clone, Copy)]
pub(super) enum Until<'a> {
    /// Only then.
    Told,
    /// After so many seconds.
    Seconds(f64),
    /// When this turns true.
    #[cfg_attr(not(unix), expect(dead_code, reason = "only the demo ends so, which needs a pseudo-terminal"))]
    Holds(&'a (dyn Fn() -> bool + Sync)),
    /// After so many strokes, and a moment for the last turn to be seen.
    Strokes(u32),
}

impl Until<'_> {
    async fn reached(self, board: Board) {
        match self {
            Self::Told => std::future::pending().await,
            Self::Seconds(seconds) => sleep(Duration::from_secs_f64(seconds)).await,
            Self::Holds(condition) => {
                while !condition() {
                    sleep(Duration::from_millis(50)).await;
                }
            }
            Self::Strokes(count) => strokes_done(&board, count, LAST_TURN).await,
        }
    }
}

/// Waits for so many strokes that still are as many a moment later: the last one may turn out to be none.
async fn strokes_done(board: &Board, count: u32, moment: Duration) {
    let enough = |shown: &Shown| shown.view.strokes_done >= count;
    let mut shown = board.watch();
    loop {
        // The board outlives the recording, so waiting cannot fail.
        let _ = shown.wait_for(enough).await;
        sleep(moment).await;
        if enough(&shown.borrow()) {
            return;
        }
    }
}

/// What came of it.
pub(super) struct Recorded {
    pub(super) path: PathBuf,
    pub(super) seconds: f64,
    /// Settled strokes, where they were kept.
    pub(super) strokes: Vec<Stroke>,
    pub(super) done: Done,
    /// The system or a closed terminal ended it: there is no time for anything more.
    pub(super) hurried: bool,
    /// Ctrl-C ends the program as long as this lives.
    _interruptible: Option<Interruptible>,
}

/// Records until told to stop.
pub(super) fn record(console: &Console, job: Job<'_>, live: Live<'_>, watch: &WatchArgs) -> Result<Recorded, Failure> {
    let watchers = Watchers::prepare(console, watch, live.model(), (live.plan(), live.units()), &job.facts)?;
    let live = live.on_board(watchers.board.clone(), watchers.full_screen());
    let then = job.then;
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let result = thread::scope(|scope| runtime.block_on(record_async(console, job, live, watchers, scope)));
    // A read that hangs in the kernel must not keep the program from ending.
    runtime.shutdown_timeout(Duration::from_millis(200));
    let recorded = result?;
    let interruptible = Interruptible::after_recording(console, &recorded.path, then)?;
    Ok(Recorded { _interruptible: Some(interruptible), ..recorded })
}

/// An entry on its way to the analysis.
enum Owned {
    Frame(u64, Vec<u8>),
    Link(u64, LinkNote),
    Note(u64, UserNote),
    Remark(String),
}

async fn record_async<'scope, 'env>(
    console: &'env Console,
    mut job: Job<'_>,
    mut live: Live<'env>,
    watchers: Watchers,
    scope: &'scope thread::Scope<'scope, 'env>,
) -> Result<Recorded, Failure> {
    let link = tokio::select! {
        link = Link::open(job.port) => link?,
        _ = tokio::signal::ctrl_c() => return Err(Failure::failed("stopped before the sensor answered; nothing was recorded")),
    };
    let [major, minor, patch] = link.hello().firmware;
    (job.facts.sensor, job.facts.firmware) = (link.sensor_id(), format!("{major}.{minor}.{patch}"));
    if job.facts.origin.is_empty() {
        link.port().clone_into(&mut job.facts.origin);
    }
    let calibration = known_calibration(console, job.calibration, &job.facts.sensor)?;
    job.facts.calibration = calibration.as_ref().map(Calibration::to_toml).unwrap_or_default();
    live.calibrate(calibration);
    if let Some(folder) = job.out.parent() {
        fs::create_dir_all(folder).map_err(|source| recording::Error::Io {
            what: "create the folder",
            path: folder.to_owned(),
            source,
        })?;
    }
    let mut writer = RecordingWriter::create(job.out, &job.facts)?;
    if !job.to_do.is_empty() {
        console.remark(job.to_do);
    }
    console.remark(&format!(
        "Recording {} from sensor {} at {}. Ctrl-C stops.",
        job.out.display(),
        link.sensor_id(),
        link.port()
    ));

    let (event_sender, mut events) = mpsc::channel(EVENTS);
    let (command_sender, commands) = mpsc::channel::<ToSensor>(COMMANDS);
    let (stop, stopped) = watch::channel(false);
    let (to_analysis, from_recorder) = std_mpsc::channel::<Owned>();
    let analysis = scope.spawn(move || analyse(live, &from_recorder, &command_sender));
    let link = tokio::spawn(link.run(event_sender, commands, stopped));

    let (watching, mut asks) = watchers.start(console);
    let deadline = job.until.reached(watching.board.clone());
    tokio::pin!(deadline);
    // Listened to even where a script has it ignored for what runs behind it: a recording ends only when told to, and it is told so.
    let interrupted = tokio::signal::ctrl_c();
    tokio::pin!(interrupted);
    let hurried_on = ending::hurried()?;
    tokio::pin!(hurried_on);
    let (mut reason, mut disk, mut hurried) = ("stopped", Ok(()), false);
    let (mut stopping, mut unwatched, mut noted) = (false, false, false);
    loop {
        tokio::select! {
            event = events.recv() => {
                let Some(event) = event else { break };
                if analysis.is_finished() && !unwatched {
                    unwatched = true;
                    console.remark(
                        "The live analysis broke down: nothing is watched any more. The recording goes on; review it when it ends.",
                    );
                }
                disk = store(&mut writer, event, &to_analysis);
                if disk.is_err() {
                    let _ = stop.send(true);
                    break;
                }
            }
            () = &mut deadline, if !stopping => {
                (stopping, reason) = (true, "the time was up");
                let _ = stop.send(true);
            }
            _ = &mut interrupted, if !stopping => {
                stopping = true;
                let _ = stop.send(true);
            }
            ending = &mut hurried_on, if !stopping => {
                (stopping, hurried, reason) = (true, true, ending.why);
                let _ = stop.send(true);
            }
            Some(ask) = asks.recv(), if !stopping => match note_of(ask) {
                None => {
                    stopping = true;
                    let _ = stop.send(true);
                }
                Some(note) => {
                    noted = true;
                    let log_ns = link::now_ns();
                    disk = writer.note(log_ns, &note);
                    let _ = to_analysis.send(Owned::Note(log_ns, note));
                    if disk.is_err() {
                        let _ = stop.send(true);
                        break;
                    }
                }
            },
        }
    }
    drop((events, to_analysis));
    let report = link.await.unwrap_or(Ok(LinkReport::default()));
    let ended = match analysis.join() {
        Ok(ended) => ended,
        // Whatever went wrong there, the raw data is safe and can be reviewed.
        Err(_) => {
            Err(Failure::failed(format!("the live analysis broke down; {} is whole, review it", job.out.display())))
        }
    };
    watching.end(console).await;
    if let Err(error) = disk {
        return Err(Failure::failed(format!(
            "{error}. What was recorded before is in {}",
            part_path(job.out).display()
        )));
    }
    let came = Came::of(&report, ended.as_ref().ok(), noted);
    let recorded = finish(console, writer, report, ended, came, reason)?;
    Ok(Recorded { hurried, ..recorded })
}

/// What the recording keeps of a wish; `None` for the wish to stop.
fn note_of(ask: Ask) -> Option<UserNote> {
    Some(match ask {
        Ask::NewSection => UserNote::NewSection,
        Ask::Note(text) => UserNote::Text { text },
        Ask::Technician(name) => UserNote::Technician { name },
        Ask::Pause(true) => UserNote::Paused,
        Ask::Pause(false) => UserNote::Resumed,
        Ask::Stop => return None,
    })
}

/// What came of a recording: whether its file is kept, and whether recording failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Came {
    /// Not a tenth of a second of data, and nothing else to tell: nobody would know what to do with the file.
    Nothing,
    /// The sensor would not start, or never said a word: failed, but the file tells why, and what was noted.
    OnlyWhy,
    /// A recording, however short.
    Recording,
}

impl Came {
    /// * `ended`: what the analysis made of it; `None` where that broke down, and nobody knows how little there is.
    /// * `noted`: somebody typed something.
    fn of(report: &Result<LinkReport, LinkError>, ended: Option<&Ended>, noted: bool) -> Self {
        match report {
            Ok(LinkReport { losses: 0, .. }) if !noted && ended.is_some_and(|ended| ended.seconds == 0.0) => {
                Self::Nothing
            }
            Err(_) | Ok(LinkReport { frames: 0, .. }) => Self::OnlyWhy,
            Ok(_) => Self::Recording,
        }
    }
}

/// Closes the file, or leaves none where nothing came of it, and says what is missing.
fn finish(
    console: &Console,
    writer: RecordingWriter,
    report: Result<LinkReport, LinkError>,
    ended: Result<Ended, Failure>,
    came: Came,
    reason: &str,
) -> Result<Recorded, Failure> {
    if came == Came::Nothing {
        writer.abandon();
        return Err(Failure::failed(format!("{reason} before the sensor sent any samples; nothing was recorded")));
    }
    let (report, reason, error) = match report {
        Ok(report) => (report, reason.to_owned(), None),
        Err(error) => (LinkReport::default(), error.to_string(), Some(error)),
    };
    let path = writer.finish(report.bad_frames, &reason)?;
    let Ended { seconds, losses, strokes } = ended?;
    if came == Came::OnlyWhy {
        return Err(error.map_or_else(|| Failure::failed(without_samples(&report, &reason, &path)), Failure::from));
    }
    if seconds == 0.0 {
        console.remark(&format!("{}.", without_samples(&report, &reason, &path)));
    }
    if let Some(round_trip) = report.round_trip_us {
        console.detail(&format!("{} frames, shortest round trip {:.1} ms", report.frames, round_trip as f64 / 1000.0));
    }
    if let Some(health) = &report.health {
        console.detail(&health_text(health));
    }
    let lost = lost_words(&report, &losses);
    if let Some(lost) = &lost {
        console.remark(&format!("Some data is missing: {lost}."));
    }
    let done = if lost.is_none() { Done::Fine } else { Done::WithLosses };
    Ok(Recorded { path, seconds, strokes, done, hurried: false, _interruptible: None })
}

/// What is missing, in words; `None` when nothing is.
fn lost_words(report: &LinkReport, losses: &Losses) -> Option<String> {
    let away = (report.losses > 0).then(|| format!("the sensor was lost {}", count(report.losses, "time", "times")));
    let parts: Vec<String> = away.into_iter().chain(losses.any().then(|| losses.describe())).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// What a recording without samples is good for.
fn without_samples(report: &LinkReport, reason: &str, path: &Path) -> String {
    let kept = if report.losses > 0 { "any notes, and when the sensor was lost" } else { "the notes" };
    format!("{reason} before the sensor sent any samples: nothing to review; {} keeps {kept}", path.display())
}

/// The sensor's own counters since it was switched on, in words.
fn health_text(health: &Health) -> String {
    let faults = |n: u16, what: &str| format!("{} {what}", count(u64::from(n), "fault", "faults"));
    format!(
        "The sensor of itself: its processor slept {:.0} % of the last second; {} thrown away because nobody read, {} lost in the \
         motion chip, {}, {}, {}.",
        f64::from(health.idle_permille) / 10.0,
        count(u64::from(health.frames_dropped), "frame", "frames"),
        count(u64::from(health.samples_lost), "sample", "samples"),
        faults(health.imu_bus_faults, "on the motion chip's bus"),
        faults(health.ir_bus_faults, "on the thermometer's"),
        count(u64::from(health.watchdog_resets), "watchdog reset", "watchdog resets"),
    )
}

/// What is known about the sensor. A folder that was named must be readable; without one, and without a home, nothing is known.
fn known_calibration(console: &Console, folder: Option<&Path>, sensor: &str) -> Result<Option<Calibration>, Failure> {
    let folder = match folder.map(Path::to_owned).map_or_else(calibration::default_folder, Ok) {
        Ok(folder) => folder,
        Err(_) => return Ok(None),
    };
    let known = calibration::load(&folder, sensor)?;
    match &known {
        Some(known) => known.remarks(&jiff::ZonedDateTime::now()).iter().for_each(|remark| console.remark(remark)),
        None => console.detail(&format!(
            "No calibration of sensor {sensor} in {}; `steadypass calibrate` makes one.",
            folder.display()
        )),
    }
    Ok(known)
}

/// Stores an event, then hands it to the analysis. The order matters: raw data is safe before anything is derived from it.
fn store(
    writer: &mut RecordingWriter,
    event: LinkEvent,
    to_analysis: &std_mpsc::Sender<Owned>,
) -> recording::Result<()> {
    // The analysis being gone is reported when it is joined.
    let remark = |text| drop(to_analysis.send(Owned::Remark(text)));
    let (log_ns, note) = match event {
        LinkEvent::Frame { log_ns, raw } => {
            writer.frame(log_ns, &raw)?;
            // The analysis being gone is reported when it is joined.
            let _ = to_analysis.send(Owned::Frame(log_ns, raw));
            return Ok(());
        }
        LinkEvent::Connected { log_ns, port, hello } => {
            (log_ns, LinkNote::Connected { port, sensor: hex::encode(hello.unique_id) })
        }
        LinkEvent::BadFrames { log_ns, count } => (log_ns, LinkNote::BadFrames { count }),
        LinkEvent::Lost { log_ns, reason } => {
            remark(format!("Sensor lost: {reason}. Waiting for it to come back; the recording goes on."));
            (log_ns, LinkNote::Lost { reason })
        }
        LinkEvent::Resumed { log_ns, gap_s } => {
            remark(format!("The sensor is back after {gap_s:.1} s."));
            (log_ns, LinkNote::Resumed { gap_s })
        }
        LinkEvent::Stranger { sensor, .. } => {
            remark(format!("That is another sensor ({sensor}); this recording waits for its own."));
            return Ok(());
        }
    };
    writer.link(log_ns, &note)?;
    let _ = to_analysis.send(Owned::Link(log_ns, note));
    Ok(())
}

fn analyse(
    mut live: Live<'_>,
    entries: &std_mpsc::Receiver<Owned>,
    commands: &mpsc::Sender<ToSensor>,
) -> Result<Ended, Failure> {
    while let Ok(owned) = entries.recv() {
        let entry = match &owned {
            Owned::Frame(log_ns, raw) => Entry { log_ns: *log_ns, body: Body::Frame(raw) },
            Owned::Link(log_ns, note) => Entry { log_ns: *log_ns, body: Body::Link(note.clone()) },
            Owned::Note(log_ns, note) => Entry { log_ns: *log_ns, body: Body::Note(note.clone()) },
            Owned::Remark(text) => {
                live.remark(text.clone());
                continue;
            }
        };
        if let Some(pattern) = live.push(&entry) {
            // A full queue holds older patterns; this one comes again with the next change.
            let _ = commands.try_send(ToSensor::Indicate(pattern));
        }
    }
    live.finish()
}

#[cfg(test)]
mod tests {
    use steadypass::{
        guidance::{Plan, Units},
        live::{Model, View},
    };
    use tokio::time::timeout;

    use super::*;

    #[test]
    fn who_noted_something_without_samples_hears_what_became_of_it() {
        let path = Path::new("run.mcap");
        let said = |losses| without_samples(&LinkReport { losses, ..LinkReport::default() }, "stopped", path);
        assert_eq!(said(0), "stopped before the sensor sent any samples: nothing to review; run.mcap keeps the notes");
        assert!(said(1).ends_with("run.mcap keeps any notes, and when the sensor was lost"), "{}", said(1));
    }

    #[tokio::test]
    async fn a_stroke_that_turns_out_to_be_none_does_not_end_a_drill() {
        let view = Model::new(&Plan::default(), Units::Si, "").view().clone();
        let (board, _asks) = Board::new(view.clone());
        let done = |strokes_done| board.show(View { strokes_done, ..view.clone() }, None, true);
        let mut waiting = std::pin::pin!(strokes_done(&board, 3, Duration::from_millis(400)));
        let mut ended_within = async |ms| timeout(Duration::from_millis(ms), &mut waiting).await.is_ok();
        done(3);
        assert!(!ended_within(1).await);
        done(2);
        assert!(!ended_within(1000).await);
        done(3);
        assert!(ended_within(60_000).await);
    }

    #[test]
    fn only_what_tells_nothing_leaves_no_file() {
        let with = |frames, losses| Ok(LinkReport { frames, losses, ..LinkReport::default() });
        let refused = || Err(LinkError::NoAnswer { port: "port".into() });
        let ended = |seconds| Ended { seconds, ..Ended::default() };
        let (none, some) = (ended(0.0), ended(0.1));
        for (report, ended, noted, came) in [
            (with(0, 0), Some(&none), false, Came::Nothing),
            (with(3, 0), Some(&none), false, Came::Nothing),
            (with(0, 0), Some(&none), true, Came::OnlyWhy),
            (with(0, 1), Some(&none), false, Came::OnlyWhy),
            (with(0, 0), None, false, Came::OnlyWhy),
            (refused(), Some(&none), false, Came::OnlyWhy),
            (with(3, 0), Some(&none), true, Came::Recording),
            (with(3, 1), Some(&none), false, Came::Recording),
            (with(3, 0), None, false, Came::Recording),
            (with(3, 0), Some(&some), false, Came::Recording),
        ] {
            assert_eq!(Came::of(&report, ended, noted), came, "{report:?} {ended:?} {noted}");
        }
    }
}
