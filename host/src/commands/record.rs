//! `record`: from the sensor to a recording, with live warnings.
//!
//! ```text
//! Link (async task) ─► event ─► RecordingWriter (own thread) ─ then ─► analysis (own thread) ─► status, warnings, patterns
//! ```
//!
//! A frame is handed to the recorder before the analysis sees it, and nothing the analysis does can stop the recording.

use std::{
    path::{Path, PathBuf},
    sync::mpsc as std_mpsc,
    thread,
    time::Duration,
};

use steadypass::{
    calibration::{self, Calibration},
    link::{Link, LinkError, LinkEvent, LinkReport},
    recording::{self, Body, Entry, Facts, LinkNote, RecordingWriter, part_path},
};
use steadypass_protocol::ToSensor;
use tokio::{
    sync::{mpsc, watch},
    time::sleep,
};

use super::{
    Console, Done, Failure, Outcome, facts,
    live::Live,
    review::{Request, review},
};
use crate::cli::RecordArgs;

/// Frames that may wait between link and recorder: ten seconds of stream.
const EVENTS: usize = 512;
/// Patterns that may wait for the sensor; a newer one replaces them anyway.
const COMMANDS: usize = 8;

pub(super) fn run(console: &Console, args: &RecordArgs) -> Outcome {
    if let Some(seconds) = args.seconds
        && !(seconds > 0.0 && seconds.is_finite())
    {
        return Err(Failure::Usage(format!("--seconds {seconds}: must be more than zero")));
    }
    let plan = facts::load_plan(args.facts.plan.as_deref())?;
    let out = args.out.clone().unwrap_or_else(default_name);
    if out.extension().is_none_or(|e| e != "mcap") {
        return Err(Failure::Usage(format!("--out {}: a recording's name ends in .mcap", out.display())));
    }
    let facts = facts::facts(&args.facts, &plan, recording::Source::Sensor, args.port.as_deref().unwrap_or_default());
    let until = args.seconds.map_or(Until::Told, Until::Seconds);
    let job = Job { port: args.port.as_deref(), out: &out, facts, until, calibration: args.calibration.as_deref() };
    let recorded = record(console, job, Live::new(console, plan, args.tables.as_deref())?)?;
    console.result(&format!("{}: {:.0} s recorded", recorded.path.display(), recorded.seconds))?;
    if args.no_review && args.file.shop.is_some() {
        console.remark("Not filed in the shop, because of --no-review; `steadypass review` with --shop files it.");
    }
    if recorded.seconds > 0.0 && !args.no_review {
        let folder = out.with_extension("review");
        let about = args.file.about(None, None);
        let filing = args.file.shop.as_deref().map(|shop| (shop, &about));
        let request = Request {
            recording: &recorded.path,
            folder: &folder,
            plan: None,
            stroke_length_m: None,
            sheets: true,
            filing,
        };
        let summary = review(console, &request)?;
        summary.print(console, &folder)?;
    }
    Ok(recorded.done)
}

fn default_name() -> PathBuf {
    let now = jiff::ZonedDateTime::now();
    PathBuf::from("recordings").join(format!("{}.mcap", now.strftime("%Y-%m-%d_%H%M%S")))
}

/// What to record.
pub(super) struct Job<'a> {
    pub(super) port: Option<&'a str>,
    pub(super) out: &'a Path,
    pub(super) facts: Facts,
    pub(super) until: Until<'a>,
    /// Folder with the sensors' calibrations; the user's own when not given.
    pub(super) calibration: Option<&'a Path>,
}

/// When to stop, besides Ctrl-C.
#[derive(Clone, Copy)]
pub(super) enum Until<'a> {
    /// Only then.
    Told,
    /// After so many seconds.
    Seconds(f64),
    /// When this turns true.
    Holds(&'a (dyn Fn() -> bool + Sync)),
}

impl Until<'_> {
    async fn reached(self) {
        match self {
            Self::Told => std::future::pending().await,
            Self::Seconds(seconds) => sleep(Duration::from_secs_f64(seconds)).await,
            Self::Holds(condition) => {
                while !condition() {
                    sleep(Duration::from_millis(50)).await;
                }
            }
        }
    }
}

/// What came of it.
pub(super) struct Recorded {
    pub(super) path: PathBuf,
    pub(super) seconds: f64,
    pub(super) done: Done,
}

/// Records until told to stop.
pub(super) fn record(console: &Console, job: Job<'_>, live: Live<'_>) -> Result<Recorded, Failure> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let result = thread::scope(|scope| runtime.block_on(record_async(console, job, live, scope)));
    // A read that hangs in the kernel must not keep the program from ending.
    runtime.shutdown_timeout(Duration::from_millis(200));
    result
}

/// An entry on its way to the analysis.
enum Owned {
    Frame(u64, Vec<u8>),
    Link(u64, LinkNote),
}

async fn record_async<'scope, 'env>(
    console: &'env Console,
    mut job: Job<'_>,
    mut live: Live<'env>,
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
    let mut writer = RecordingWriter::create(job.out, &job.facts)?;
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

    let deadline = job.until.reached();
    tokio::pin!(deadline);
    let interrupted = tokio::signal::ctrl_c();
    tokio::pin!(interrupted);
    let (mut reason, mut disk) = ("stopped", Ok(()));
    let mut stopping = false;
    loop {
        tokio::select! {
            event = events.recv() => {
                let Some(event) = event else { break };
                disk = store(console, &mut writer, event, &to_analysis);
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
        }
    }
    drop((events, to_analysis));
    let report = link.await.unwrap_or(Ok(LinkReport::default()));
    let seconds = match analysis.join() {
        Ok(seconds) => seconds,
        // Whatever went wrong there, the raw data is safe and can be reviewed.
        Err(_) => {
            Err(Failure::failed(format!("the live analysis broke down; {} is whole, review it", job.out.display())))
        }
    };
    if let Err(error) = disk {
        return Err(Failure::failed(format!(
            "{error}. What was recorded before is in {}",
            part_path(job.out).display()
        )));
    }
    finish(console, writer, report, seconds, reason)
}

fn finish(
    console: &Console,
    writer: RecordingWriter,
    report: Result<LinkReport, LinkError>,
    seconds: Result<f64, Failure>,
    reason: &str,
) -> Result<Recorded, Failure> {
    let (report, reason) = match &report {
        Ok(report) => (*report, reason.to_owned()),
        Err(error) => (LinkReport::default(), error.to_string()),
    };
    let path = writer.finish(report.bad_frames, &reason)?;
    let seconds = seconds?;
    if let Some(round_trip) = report.round_trip_us {
        console.detail(&format!("{} frames, shortest round trip {:.1} ms", report.frames, round_trip as f64 / 1000.0));
    }
    if report.frames == 0 {
        return Err(Failure::failed(reason));
    }
    let mut lost = Vec::new();
    if report.losses > 0 {
        lost.push(format!("the sensor was lost {} times", report.losses));
    }
    if report.bad_frames > 0 {
        lost.push(format!("{} frames came damaged", report.bad_frames));
    }
    if !lost.is_empty() {
        console.remark(&format!("Some data is missing: {}.", lost.join(", ")));
    }
    Ok(Recorded { path, seconds, done: if lost.is_empty() { Done::Fine } else { Done::WithLosses } })
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
    console: &Console,
    writer: &mut RecordingWriter,
    event: LinkEvent,
    to_analysis: &std_mpsc::Sender<Owned>,
) -> recording::Result<()> {
    let (log_ns, note) = match event {
        LinkEvent::Frame { log_ns, raw } => {
            writer.frame(log_ns, &raw)?;
            // The analysis being gone is reported when it is joined.
            let _ = to_analysis.send(Owned::Frame(log_ns, raw));
            return Ok(());
        }
        LinkEvent::Connected { log_ns, port, hello } => {
            let sensor = hello.unique_id.iter().map(|b| format!("{b:02x}")).collect();
            (log_ns, LinkNote::Connected { port, sensor })
        }
        LinkEvent::BadFrames { log_ns, count } => (log_ns, LinkNote::BadFrames { count }),
        LinkEvent::Lost { log_ns, reason } => {
            console.remark(&format!("Sensor lost: {reason}. Waiting for it to come back; the recording goes on."));
            (log_ns, LinkNote::Lost { reason })
        }
        LinkEvent::Resumed { log_ns, gap_s } => {
            console.remark(&format!("The sensor is back after {gap_s:.1} s."));
            (log_ns, LinkNote::Resumed { gap_s })
        }
        LinkEvent::Stranger { sensor, .. } => {
            console.remark(&format!("That is another sensor ({sensor}); this recording waits for its own."));
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
) -> Result<f64, Failure> {
    while let Ok(owned) = entries.recv() {
        let entry = match &owned {
            Owned::Frame(log_ns, raw) => Entry { log_ns: *log_ns, body: Body::Frame(raw) },
            Owned::Link(log_ns, note) => Entry { log_ns: *log_ns, body: Body::Link(note.clone()) },
        };
        if let Some(pattern) = live.push(&entry) {
            // A full queue holds older patterns; this one comes again with the next change.
            let _ = commands.try_send(ToSensor::Indicate(pattern));
        }
    }
    live.finish()
}
