//! How long it takes from a sample to what is shown, and what that costs.
//!
//! ```text
//! virtual sensor (real time) ─ pseudo-terminal ─► steadypass record ─┬─ pseudo-terminal ─► screen (drawn to the end)
//!                                                                    └─ events ─► page (read here)
//! ```
//!
//! `cargo bench -p steadypass --bench live_latency` takes a minute. A figure's *age* is the time from the sample it speaks of to
//! its coming in at the page; the *host's share* is the time from the bytes having been read to the screen having been written,
//! as the program itself counts it. Fails when a bound is passed.

#![allow(clippy::print_stdout, reason = "a benchmark prints what it has measured")]

use std::{
    fs::File,
    io::{BufRead, BufReader, Read, Write},
    net::{TcpListener, TcpStream},
    os::fd::OwnedFd,
    process::{Command, Stdio},
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

use nix::pty::{Winsize, openpty};
use steadypass::{
    recording::{Body, Reader},
    simulation::{Scenario, SensorOptions, VirtualPort, VirtualSensor},
};
use steadypass_protocol::{MAX_FRAME, ToHost, decode_frame};

/// Seconds recorded.
const SECONDS: u64 = 60;
/// Starting up is not what is measured, s.
const WARM_UP_S: f64 = 5.0;
/// Age of a figure at the page, 99 %, ms; with the time a block of samples takes to fill.
const AGE_MS: f64 = 150.0;
/// The host's share of it, 99 %, ms.
const HOST_MS: f64 = 20.0;
/// Processor share with screen and page, percent of one core.
const PROCESSOR: f64 = 3.0;
/// Clock ticks a second in /proc (USER_HZ; fixed for programs on Linux).
const TICKS_PER_S: f64 = 100.0;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let sensor = VirtualSensor::new(&Scenario::demo(), SensorOptions::default()).expect("a valid scenario");
    let port = VirtualPort::open(sensor, folder.path().join("sensor"), 1.0).expect("a pseudo-terminal");
    let zero = sensor_zero(&port);
    let page = TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a free port");
    let recording = folder.path().join("run.mcap");
    let size = Winsize { ws_row: 24, ws_col: 80, ws_xpixel: 0, ws_ypixel: 0 };
    let screen = openpty(Some(&size), None).expect("a terminal");
    let end = |fd: &OwnedFd| Stdio::from(fd.try_clone().expect("a copy"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_steadypass"))
        .args(["record", "-v", "--no-review", "--no-sound", "--seconds", &SECONDS.to_string()])
        .args(["--port", &port.path().display().to_string(), "--out", &recording.display().to_string()])
        .arg(format!("--page={}", page.port()))
        .env("TERM", "xterm-256color")
        .env("LANG", "C.UTF-8")
        .stdin(end(&screen.slave))
        .stdout(end(&screen.slave))
        .stderr(end(&screen.slave))
        .spawn()
        .expect("the program starts");
    drop(screen.slave);
    let drawn = Arc::new(Mutex::new(Vec::new()));
    let drawing = thread::spawn({
        let drawn = Arc::clone(&drawn);
        move || {
            let (mut screen, mut bytes) = (File::from(screen.master), [0; 4096]);
            while let Ok(count @ 1..) = screen.read(&mut bytes) {
                drawn.lock().expect("no panic").extend_from_slice(&bytes[..count]);
            }
        }
    });
    let stat = format!("/proc/{}/stat", child.id());
    let processor = thread::spawn(move || {
        thread::sleep(Duration::from_secs_f64(WARM_UP_S));
        let (from, begin) = (busy_s(&stat), Instant::now());
        thread::sleep(Duration::from_secs(SECONDS - 2 * WARM_UP_S as u64));
        100.0 * (busy_s(&stat) - from) / begin.elapsed().as_secs_f64()
    });
    let arrivals = arrivals(page.port());
    child.wait().expect("it ends");
    drawing.join().expect("no panic");
    let processor = processor.join().expect("no panic");

    let first_us = first_sample_us(&recording);
    let mut ages: Vec<f64> = arrivals
        .iter()
        .filter(|(t_s, _)| *t_s > WARM_UP_S)
        .map(|(t_s, at)| {
            let sampled = zero + Duration::from_secs_f64(t_s + first_us * 1e-6);
            1e3 * (at.saturating_duration_since(sampled)).as_secs_f64()
        })
        .collect();
    ages.sort_by(f64::total_cmp);
    let age = |q: f64| ages[((ages.len() - 1) as f64 * q) as usize];
    let text = String::from_utf8_lossy(&drawn.lock().expect("no panic")).into_owned();
    let said = text.lines().find(|line| line.contains("From port to screen")).expect("the program counts its delays");
    let host: f64 = said
        .split("99 % within ")
        .nth(1)
        .and_then(|rest| rest.split(' ').next())
        .and_then(|number| number.parse().ok())
        .expect("a number");
    println!("figures at the page: {}", ages.len());
    println!(
        "age, sample to page: half {:.1} ms, 99 % {:.1} ms, worst {:.1} ms (bound {AGE_MS} ms)",
        age(0.5),
        age(0.99),
        age(1.0)
    );
    println!("{} (bound {HOST_MS} ms)", said.trim());
    println!("processor: {processor:.2} % of one core with screen and page (bound {PROCESSOR} %)");
    let well = ages.len() > 400 && age(0.99) <= AGE_MS && host <= HOST_MS && processor <= PROCESSOR;
    println!("{}", if well { "within all bounds" } else { "NOT within all bounds" });
    std::process::exit(i32::from(!well));
}

/// The moment at which the sensor's clock stood at zero, to within a round of the virtual port (2 ms).
fn sensor_zero(port: &VirtualPort) -> Instant {
    (0..50)
        .filter_map(|_| {
            thread::sleep(Duration::from_millis(3));
            let us = port.with(|sensor| sensor.now_us());
            Instant::now().checked_sub(Duration::from_micros(us))
        })
        .min()
        .expect("the clock runs")
}

/// Times of figures and when each came in at the page first, until the recording ends.
fn arrivals(port: u16) -> Vec<(f64, Instant)> {
    let deadline = Instant::now() + Duration::from_secs(20);
    let mut stream = loop {
        match TcpStream::connect(("127.0.0.1", port)) {
            Ok(stream) => break stream,
            Err(error) => assert!(Instant::now() < deadline, "no page: {error}"),
        }
        thread::sleep(Duration::from_millis(50));
    };
    write!(stream, "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n").expect("sent");
    let mut all: Vec<(f64, Instant)> = Vec::new();
    for line in BufReader::new(stream).lines() {
        let at = Instant::now();
        let Ok(line) = line else { break };
        if line.starts_with("event: end") {
            break;
        }
        let Some(t_s) =
            line.split("\"t_s\":").nth(1).and_then(|rest| rest.split(',').next()).and_then(|t| t.parse().ok())
        else {
            continue;
        };
        if all.last().is_none_or(|(last, _)| t_s > *last) {
            all.push((t_s, at));
        }
    }
    all
}

/// Processor time of a process so far, s (proc(5): fields 14 and 15 of stat).
fn busy_s(stat: &str) -> f64 {
    let text = std::fs::read_to_string(stat).unwrap_or_default();
    let after = text.rsplit(')').next().unwrap_or_default();
    let ticks: f64 = after.split_whitespace().skip(11).take(2).filter_map(|field| field.parse::<f64>().ok()).sum();
    ticks / TICKS_PER_S
}

/// Sensor time of a recording's first sample, µs: where its figures' times count from.
fn first_sample_us(recording: &std::path::Path) -> f64 {
    let mut reader = Reader::open(recording).expect("a recording");
    let (mut first, mut scratch) = (None, [0; MAX_FRAME]);
    while first.is_none() {
        let more = reader.next_chunk(|entry| {
            if let Body::Frame(raw) = entry.body
                && let Ok(frame) = decode_frame(raw, &mut scratch)
                && let Ok(ToHost::Accel(block) | ToHost::Gyro(block)) = ToHost::decode(frame.payload)
            {
                first.get_or_insert(block.first_us as f64);
            }
        });
        if !matches!(more, Ok(true)) {
            break;
        }
    }
    first.expect("samples")
}
