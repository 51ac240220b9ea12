//! Arm speeds of a recording that no table of `review` has: those with ever more of the estimate's parts in use, and those that
//! the live view had while the work was going on.
//!
//! usage: `arm_speeds RECORDING.mcap [STROKE_LENGTH_M]`; prints `what,start_s,end_s,traverse_mps,traverse_lo_mps,traverse_hi_mps`.
//! Where `what` is `timing`, `steps` or `all` ([`ArmParts`]), a row is a stroke. Where it is `running`, a row is a tenth of a
//! second (start and end are the same moment) and holds the running estimate of then, empty where there was none. Where it is `last`,
//! a row is a moment at which the speed of the last stroke that is on show became another.

#![allow(clippy::print_stdout)] // the table

use std::{error::Error, path::Path};

use steadypass::{
    analysis::{ArmParts, Finding, Interval, Pipeline, Setup},
    recording::{Reader, Timeline},
    replay::Replay,
};

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let recording = args.next().ok_or("usage: arm_speeds RECORDING.mcap [STROKE_LENGTH_M]")?;
    let stroke_length_m = args.next().map(|l| l.parse()).transpose()?;
    let recording = Path::new(&recording);
    let setup = Setup { stroke_length_m, ..Replay::open(recording)?.plan()?.setup() };
    println!("what,start_s,end_s,traverse_mps,traverse_lo_mps,traverse_hi_mps");
    for (name, arm_parts) in [("timing", ArmParts::Timing), ("steps", ArmParts::Steps), ("all", ArmParts::All)] {
        each_speed(recording, Setup { arm_parts, ..setup }, |of, speed| match of {
            Of::Stroke { start_s, end_s } => line(name, start_s, end_s, speed),
            // The running estimate takes no part of what the parts tell apart.
            Of::Moment { t_s } if arm_parts == ArmParts::All => line("running", t_s, t_s, speed),
            Of::Last { t_s } if arm_parts == ArmParts::All => line("last", t_s, t_s, speed),
            Of::Moment { .. } | Of::Last { .. } => {}
        })?;
    }
    Ok(())
}

/// What a speed belongs to.
enum Of {
    Stroke { start_s: f64, end_s: f64 },
    Moment { t_s: f64 },
    Last { t_s: f64 },
}

fn line(what: &str, start_s: f64, end_s: f64, speed: Option<Interval>) {
    let [v, lo, hi] = speed.map_or([const { String::new() }; 3], |s| [s.value, s.lo, s.hi].map(|v| format!("{v:.6}")));
    println!("{what},{start_s:.4},{end_s:.4},{v},{lo},{hi}");
}

fn each_speed(
    recording: &Path,
    setup: Setup,
    mut sink: impl FnMut(Of, Option<Interval>),
) -> Result<(), Box<dyn Error>> {
    let mut reader = Reader::open(recording)?;
    let mut timeline = Timeline::calibrated(reader.facts().sensor_calibration()?);
    let mut pipeline = Pipeline::new(setup);
    let mut last = None;
    let mut take = |pipeline: &mut Pipeline| {
        while let Some(finding) = pipeline.pop_finding() {
            if let Finding::Stroke(stroke) = finding {
                sink(Of::Stroke { start_s: stroke.start_s, end_s: stroke.end_s }, stroke.traverse_mps);
            }
        }
        while let Some(tick) = pipeline.pop_live() {
            sink(Of::Moment { t_s: tick.t_s }, tick.traverse_mps);
            if last != tick.last_stroke_mps {
                last = tick.last_stroke_mps;
                sink(Of::Last { t_s: tick.t_s }, last);
            }
        }
    };
    while reader.next_chunk(|entry| {
        timeline.push(&entry, &mut |reading| pipeline.push(reading));
        take(&mut pipeline);
    })? {}
    pipeline.finish();
    take(&mut pipeline);
    Ok(())
}
