//! Arm speeds of a recording with ever more of the estimate's parts in use.
//!
//! usage: `arm_parts RECORDING.mcap [STROKE_LENGTH_M]`; prints `parts,start_s,end_s,traverse_mps` for each stroke, where parts
//! is `timing`, `steps` or `all` ([`ArmParts`]).

#![allow(clippy::print_stdout)] // the table

use std::{error::Error, path::Path};

use steadypass::{
    analysis::{ArmParts, Finding, Pipeline, Setup},
    recording::{Reader, Timeline},
    replay::Replay,
};

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let recording = args.next().ok_or("usage: arm_parts RECORDING.mcap [STROKE_LENGTH_M]")?;
    let stroke_length_m = args.next().map(|l| l.parse()).transpose()?;
    let recording = Path::new(&recording);
    let setup = Setup { stroke_length_m, ..Replay::open(recording)?.plan()?.setup() };
    println!("parts,start_s,end_s,traverse_mps");
    for (name, arm_parts) in [("timing", ArmParts::Timing), ("steps", ArmParts::Steps), ("all", ArmParts::All)] {
        each_stroke(recording, Setup { arm_parts, ..setup }, |start_s, end_s, traverse_mps| {
            println!("{name},{start_s:.4},{end_s:.4},{traverse_mps:.6}");
        })?;
    }
    Ok(())
}

fn each_stroke(recording: &Path, setup: Setup, mut sink: impl FnMut(f64, f64, f64)) -> Result<(), Box<dyn Error>> {
    let mut reader = Reader::open(recording)?;
    let mut timeline = Timeline::calibrated(reader.facts().sensor_calibration()?);
    let mut pipeline = Pipeline::new(setup);
    let mut take = |pipeline: &mut Pipeline| {
        while let Some(finding) = pipeline.pop_finding() {
            if let Finding::Stroke(stroke) = finding {
                sink(stroke.start_s, stroke.end_s, stroke.traverse_mps.map_or(f64::NAN, |v| v.value));
            }
        }
        while pipeline.pop_live().is_some() {}
    };
    while reader.next_chunk(|entry| {
        timeline.push(&entry, &mut |reading| pipeline.push(reading));
        take(&mut pipeline);
    })? {}
    pipeline.finish();
    take(&mut pipeline);
    Ok(())
}
