//! How long the program takes from a frame's last byte to everything that follows from it, warnings included:
//! `cargo run --release --example frame_latency -- [SEED]` (default 20, the demo: it warns of pace and heat).
//!
//! A virtual sensor's bytes come as they would from the port, a frame at a time. For each frame: checksum, recording (raw data
//! first), analysis, guidance. The clock runs from the frame being handed over to the last event having been handed out. What is
//! not in it: the cable, the kernel, and drawing on screen (`cargo bench --bench live_latency` has those); a block of samples
//! is some 40 ms old when the sensor sends it.

#![allow(clippy::print_stdout)] // the figures

use std::time::Instant;

use steadypass::{
    guidance::Plan,
    recording::{Body, Entry, Facts, RecordingWriter},
    session::{Event, Session},
    simulation::{Scenario, SensorOptions, VirtualSensor},
};
use steadypass_protocol::{FrameReader, MAX_FRAME, Ping, ToSensor, encode};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let seed = std::env::args().nth(1).map_or(Ok(20), |s| s.parse())?;
    let folder = tempfile::tempdir()?;
    let mut writer = RecordingWriter::create(&folder.path().join("latency.mcap"), &Facts::default())?;
    let mut sensor = VirtualSensor::new(&Scenario { seed, ..Scenario::demo() }, SensorOptions::default())?;
    let mut session = Session::new(Plan::default());
    let mut reader: FrameReader = FrameReader::new();
    let (mut all_us, mut warned_us) = (Vec::new(), Vec::new());
    let mut buffer = [0; MAX_FRAME];
    for command in [ToSensor::Identify, ToSensor::Start] {
        sensor.feed(encode(&command, &mut buffer)?);
    }
    let mut at_us = sensor.now_us();
    while !sensor.is_over() {
        at_us += 10_000;
        let mut bytes = Vec::new();
        sensor.play(at_us, &mut bytes);
        let ping = ToSensor::Ping(Ping { token: 1, host_us: at_us });
        sensor.feed(encode(&ping, &mut buffer)?);
        // One frame at a time: from zero to zero.
        for piece in bytes.split_inclusive(|b| *b == 0) {
            let mut warnings = 0;
            let start = Instant::now();
            let mut frame = None;
            reader.feed(piece, |event| frame = event.ok().map(|f| f.raw.to_vec()));
            let Some(raw) = frame else { continue };
            writer.frame(at_us * 1000, &raw)?;
            session.push(&Entry { log_ns: at_us * 1000, body: Body::Frame(&raw) }, &mut |event| {
                warnings += u32::from(matches!(event, Event::Warning(_)));
            });
            let took_us = start.elapsed().as_secs_f64() * 1e6;
            all_us.push(took_us);
            if warnings > 0 {
                warned_us.push(took_us);
            }
        }
    }
    writer.finish(0, "done")?;
    for (what, mut took) in [("all frames", all_us), ("frames that raised a warning", warned_us)] {
        took.sort_by(f64::total_cmp);
        let at = |q: f64| took.get(((took.len() - 1) as f64 * q) as usize).copied().unwrap_or(f64::NAN);
        if took.is_empty() {
            println!("{what}: none");
        } else {
            println!(
                "{what}: {} of them, median {:.0} us, p99 {:.0} us, worst {:.0} us",
                took.len(),
                at(0.5),
                at(0.99),
                at(1.0)
            );
        }
    }
    Ok(())
}
