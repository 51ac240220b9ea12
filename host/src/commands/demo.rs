//! `demo`: the whole job with no hardware. A virtual polisher and sensor behind a pseudo-terminal, opened, recorded and reviewed
//! by the same code that serves a real one.

use std::{env, fs, io, path::Path};

use steadypass::{
    guidance::{Plan, plan::Source as PlanSource},
    recording::{Source, describe_io, part_path},
    results::ORIGIN,
    simulation::{Scenario, SensorOptions, VirtualPort, VirtualSensor},
    tables::WARNINGS,
    unfinished::Unfinished,
};
use steadypass_protocol::HOST_SILENCE_US;

use super::{
    Console, Done, Failure, Outcome, facts,
    live::Live,
    record::{Job, REVIEWED, Until, record},
    review::{Request, review},
};
use crate::cli::{DemoArgs, FactArgs};

/// The plan of the invented shop, in the program so that the demo runs anywhere.
const PLAN: &str = include_str!("../../../data/plans/demo.toml");

pub(super) fn run(console: &Console, args: &DemoArgs) -> Outcome {
    if !(0.5..=20.0).contains(&args.speed) {
        return Err(Failure::Usage(format!("--speed {}: 0.5 to 20 times real time", args.speed)));
    }
    let plan = Plan::from_toml(&PlanSource::new("the demo's plan", PLAN)).map_err(|e| facts::plan_failure(&e))?;
    let recording = args.out.join("demo.mcap");
    if recording.exists() {
        // Its review would be of a recording that is no more, were this demo stopped half way.
        remove(&args.out.join("index.html"))?;
        remove(&args.out.join(ORIGIN))?;
    }
    for old in [recording.clone(), part_path(&recording)] {
        remove(&old)?;
    }
    fs::create_dir_all(&args.out)
        .map_err(|e| Failure::failed(format!("cannot create {}: {}", args.out.display(), describe_io(&e))))?;
    let stand = Stand::of(&Scenario::demo(), args.speed)?;
    console.remark(&format!(
        "Demo: an invented technician works one section of an invented car, twice over, {} times as fast as in life.\n\
         Everything below is computed from the bytes of a virtual sensor; no figure is from a real machine.\n",
        args.speed
    ));

    let name = stand.name();
    let facts = facts::facts(&FactArgs::default(), &plan, Source::Simulation, "the virtual sensor");
    let live_tables = stand.folder().join("live");
    let over = || stand.port.with(|sensor| sensor.is_over());
    let until = Until::Holds(&over);
    let job = Job { port: Some(&name), out: &recording, facts, until, calibration: None, then: REVIEWED, to_do: "" };
    let recorded = record(console, job, Live::new(console, plan, Some(&live_tables))?, &args.watch)?;
    if recorded.hurried {
        return Ok(recorded.done);
    }

    console.remark("\nReviewing the recording, from the raw bytes on.");
    let request = Request {
        recording: &recorded.path,
        folder: &args.out,
        plan: None,
        stroke_length_m: None,
        sheets: true,
        technician: None,
        panel: None,
        filing: None,
    };
    let summary = review(console, &request)?;
    same_warnings(&live_tables, &args.out)?;
    summary.print(console, &args.out)?;
    if !console.json {
        // A demo that is stopped early may end before its first pass does.
        let sheets = match summary.passes {
            0 => "; no section pass was finished, so there is no sheet of one",
            1 => ", and the PNG of the section pass",
            _ => ", and the PNG of each section pass",
        };
        console.remark(&format!("Live and review gave the same warnings. Open index.html in a browser{sheets}."));
    }
    Ok(if recorded.done == Done::Fine && summary.lost.is_none() { Done::Fine } else { Done::WithLosses })
}

/// A virtual sensor at a port of its own, and a folder for what is not kept; both go with it.
pub(super) struct Stand {
    port: VirtualPort,
    scratch: Unfinished,
}

impl Stand {
    /// `speed`: so many times as fast as in life.
    pub(super) fn of(scenario: &Scenario, speed: f64) -> Result<Self, Failure> {
        let scratch = Unfinished::within(&env::temp_dir())?;
        let options =
            SensorOptions { silence_us: (HOST_SILENCE_US as f64 * speed.max(1.0)) as u64, ..Default::default() };
        let sensor = VirtualSensor::new(scenario, options).map_err(Failure::failed)?;
        let port = VirtualPort::open(sensor, scratch.folder().join("sensor"), speed).map_err(Failure::failed)?;
        Ok(Self { port, scratch })
    }

    /// The port's name.
    pub(super) fn name(&self) -> String {
        self.port.path().display().to_string()
    }

    pub(super) fn folder(&self) -> &Path {
        self.scratch.folder()
    }
}

fn remove(path: &Path) -> Result<(), Failure> {
    match fs::remove_file(path) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => {
            Err(Failure::failed(format!("cannot replace {}: {}", path.display(), describe_io(&e))))
        }
        _ => Ok(()),
    }
}

/// What was said while working must be what the review says.
fn same_warnings(live: &Path, review: &Path) -> Result<(), Failure> {
    let read = |folder: &Path| fs::read(folder.join(WARNINGS.0));
    if read(live)? == read(review)? {
        Ok(())
    } else {
        Err(Failure::failed(
            "the live warnings differ from those of the review; this is a fault of the program, please report it",
        ))
    }
}
