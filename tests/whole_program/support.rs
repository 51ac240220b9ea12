//! What the whole-program tests share.

use std::{
    collections::HashMap,
    fs,
    path::{Path, PathBuf},
    process::{Child, Command, Output, Stdio},
    time::{Duration, Instant},
};

use steadypass::{
    recording::{Body, Entry, Reader, RecordingWriter, TableEntry, UserNote},
    simulation::{Scenario, SensorOptions, VirtualPort, VirtualSensor},
};
use steadypass_protocol::{MAX_FRAME, ToHost, decode_frame};
use tempfile::TempDir;

/// Names of a review's tables, sorted.
pub(crate) const TABLES: [&str; 6] =
    ["marks.csv", "notes.csv", "passes.csv", "series.csv", "strokes.csv", "warnings.csv"];

/// The program.
pub(crate) fn steadypass() -> Command {
    let program = env!("CARGO_BIN_EXE_steadypass");
    let mut command = Command::new(program);
    if is_signal_ignored() {
        // The tests run behind a script or under `nohup`; what they start must heed signals all the same.
        command = Command::new("env");
        command.args(["--default-signal=INT,HUP,TERM", program]);
    }
    command.env_remove("STEADYPASS_SHOP").stdin(Stdio::null());
    command
}

/// Whether whoever started the tests has one of the signals ignored that end the program. Asked of Linux only, where that counts.
fn is_signal_ignored() -> bool {
    use nix::sys::signal::Signal::{SIGHUP, SIGINT, SIGTERM};
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:")).unwrap_or("0").trim();
    let mask = u64::from_str_radix(mask, 16).unwrap_or(0);
    [SIGHUP, SIGINT, SIGTERM].iter().any(|signal| mask >> (*signal as i32 - 1) & 1 == 1)
}

/// Runs it to its end.
pub(crate) fn run(args: &[&str]) -> Output {
    steadypass().args(args).output().expect("the program starts")
}

/// Runs it to its good end; what it wrote to stdout.
pub(crate) fn succeeds(args: &[&str]) -> String {
    let output = run(args);
    assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Runs the program and checks its exit code and that stderr says all of `expected`, without a panic.
pub(crate) fn expect(args: &[&str], code: i32, expected: &[&str]) {
    let output = run(args);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {said}");
    for words in expected {
        assert!(said.contains(words), "{args:?} should say {words:?}, said: {said}");
    }
    assert!(!said.contains("panicked"), "{said}");
}

/// What it said on stderr.
pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A virtual sensor behind a path in `folder`, `speed` times as fast as real time.
pub(crate) fn virtual_port(folder: &TempDir, scenario: &Scenario, speed: f64) -> VirtualPort {
    let silence_us = (steadypass_protocol::HOST_SILENCE_US as f64 * speed.max(1.0)) as u64;
    let options = SensorOptions { silence_us, ..SensorOptions::default() };
    let sensor = VirtualSensor::new(scenario, options).expect("a valid scenario");
    VirtualPort::open(sensor, folder.path().join("port"), speed).expect("a pseudo-terminal")
}

/// A path as an argument.
pub(crate) fn text(path: &Path) -> String {
    path.to_str().expect("utf-8").to_owned()
}

/// Starts `record` from `port` into `out`, with `more` arguments.
pub(crate) fn start_record(port: &VirtualPort, out: &Path, more: &[&str]) -> Child {
    let mut command = steadypass();
    command.args(["record", "--no-review", "--port", &text(port.path()), "--out", &text(out)]).args(more);
    command.stderr(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program starts")
}

/// Asks a child to stop, as Ctrl-C does, and waits for it.
pub(crate) fn interrupt(child: Child) -> Output {
    signalled(child, nix::sys::signal::Signal::SIGINT)
}

/// Sends a child a signal and waits for it to end.
pub(crate) fn signalled(child: Child, signal: nix::sys::signal::Signal) -> Output {
    send(&child, signal);
    child.wait_with_output().expect("ends")
}

/// Sends a child a signal.
pub(crate) fn send(child: &Child, signal: nix::sys::signal::Signal) {
    let pid = nix::unistd::Pid::from_raw(i32::try_from(child.id()).expect("a process id"));
    nix::sys::signal::kill(pid, signal).expect("the child is running");
}

/// Waits until `condition` holds.
pub(crate) fn wait_for(what: &str, mut condition: impl FnMut() -> bool) {
    let deadline = Instant::now() + Duration::from_secs(60);
    while !condition() {
        assert!(Instant::now() < deadline, "{what} did not happen within a minute");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Sensor time of the last accelerometer sample of a recording; `None` where there is none.
pub(crate) fn last_sample_us(mut recording: Reader) -> Option<u64> {
    let mut last = None;
    let mut look = |entry: Entry<'_>| {
        let Body::Frame(raw) = entry.body else { return };
        let mut scratch = [0; MAX_FRAME];
        let frame = decode_frame(raw, &mut scratch).expect("stored frames are whole");
        if let Ok(ToHost::Accel(block)) = ToHost::decode(frame.payload) {
            last = Some(block.first_us + block.samples.len() as u64 * u64::from(block.spacing_ns) / 1000);
        }
    };
    while recording.next_chunk(&mut look).expect("reads") {}
    last
}

/// A CSV file as one map a row.
pub(crate) fn rows(path: &Path) -> Vec<HashMap<String, String>> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    reader.deserialize().map(|row| row.expect("a whole row")).collect()
}

/// Files in a folder, sorted.
pub(crate) fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("a folder")
        .map(|f| f.expect("an entry").file_name().to_string_lossy().into())
        .collect();
    names.sort();
    names
}

/// A file in a folder.
pub(crate) fn at(folder: &TempDir, name: &str) -> PathBuf {
    folder.path().join(name)
}

/// A recording of invented data, by `technician`.
pub(crate) fn recording(folder: &TempDir, technician: &str) -> PathBuf {
    let here = text(folder.path());
    succeeds(&["simulate", "--out", &here]);
    let out = at(folder, "door.mcap");
    succeeds(&["import", &text(&at(folder, "demo-1.csv")), "--out", &text(&out), "--technician", technician]);
    out
}

/// A copy of an imported recording in which the user did something at some moments, s.
pub(crate) fn with_notes(recording: &Path, to: &Path, mut notes: Vec<(f64, UserNote)>) {
    let mut reader = Reader::open(recording).expect("a recording");
    let mut writer = RecordingWriter::create(to, reader.facts()).expect("creates");
    let mut copy = |entry: Entry<'_>| {
        let Body::Table(piece) = &entry.body else { panic!("an imported table") };
        if let TableEntry::Accel(run) = piece {
            while let Some((_, note)) = notes.pop_if(|(t_s, _)| *t_s < run.first_us * 1e-6) {
                writer.note(entry.log_ns, &note).expect("stored");
            }
        }
        writer.table(entry.log_ns, piece).expect("stored");
    };
    while reader.next_chunk(&mut copy).expect("reads") {}
    writer.finish(0, "stopped").expect("finishes");
    assert!(notes.is_empty(), "the recording is long enough");
}

/// An exported shop without row numbers, which change when figures are replaced.
pub(crate) fn without_rows(shop: &str) -> serde_json::Value {
    let mut shop: serde_json::Value = serde_json::from_str(shop).expect("JSON");
    for table in ["sections", "passes", "prints"] {
        for row in shop[table]["rows"].as_array_mut().expect("rows") {
            let cells = row.as_array_mut().expect("a row");
            cells.drain(..if table == "prints" { 1 } else { 2 });
        }
    }
    shop
}
