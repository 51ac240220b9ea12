//! Ctrl-C and its like: after a recording the review ends and the recording stays; elsewhere nothing half-written does.

use std::{
    fs::{self, OpenOptions},
    io::{BufRead, BufReader, Write},
    os::unix::process::ExitStatusExt,
    path::Path,
    process::{Command, Stdio},
    thread,
    time::Duration,
};

use nix::{
    fcntl::{FcntlArg, OFlag, fcntl},
    sys::{signal::Signal, stat::Mode},
    unistd::mkfifo,
};
use steadypass::{recording::Reader, simulation::Scenario};
use tempfile::TempDir;

use crate::support::*;

#[test]
fn a_signal_during_the_review_after_a_recording_ends_the_program() {
    thread::scope(|scope| {
        for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGHUP] {
            scope.spawn(move || ends_at(signal));
        }
    });
}

fn ends_at(signal: Signal) {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 10.0);
    let out = at(&folder, "run.mcap");
    let mut command = steadypass();
    command.args(["record", "--seconds", "4", "--port", &text(port.path()), "--out", &text(&out)]);
    let mut child = command.stderr(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program starts");
    let mut said = String::new();
    BufReader::new(child.stdout.as_mut().expect("piped")).read_line(&mut said).expect("a line");
    assert!(said.contains("s recorded"), "{said}");

    let output = signalled(child, signal);
    // By the signal itself: only then does a shell leave its loop. It reports 128 and the signal's number.
    assert_eq!(output.status.signal(), Some(signal as i32), "{signal}: {}", stderr(&output));
    let kept = "is whole, `steadypass review` makes the rest of it";
    assert!(stderr(&output).contains(kept), "{signal}: {}", stderr(&output));

    let review = out.with_extension("review");
    assert!(!review.exists(), "{signal}: {:?}", files(&review));
    succeeds(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
}

/// Whether something in `folder` is not whole yet.
fn is_unfinished(folder: &Path) -> bool {
    folder.is_dir() && files(folder).iter().any(|name| name.starts_with(".unfinished-"))
}

#[test]
fn a_stopped_import_leaves_nothing_and_a_killed_one_nothing_in_the_way() {
    for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGKILL] {
        let folder = TempDir::new().expect("temp");
        // A table that never ends: the import waits for the rest of it.
        let table = at(&folder, "table.csv");
        mkfifo(&table, Mode::S_IRWXU).expect("a pipe with a name");
        let out = at(&folder, "recordings").join("run.mcap");
        let mut command = steadypass();
        command.args(["import", &text(&table), "--out", &text(&out)]);
        let child = command.stderr(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program starts");
        let mut rows = OpenOptions::new().write(true).open(&table).expect("somebody reads");
        writeln!(rows, "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2").expect("written");
        wait_for("importing", || is_unfinished(&at(&folder, "recordings")));
        let output = signalled(child, signal);
        if signal == Signal::SIGKILL {
            fs::remove_file(&table).expect("removed");
            fs::write(&table, "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n0,0,0,9.8\n0.01,0,0,9.8\n")
                .expect("written");
            succeeds(&["import", &text(&table), "--out", &text(&out)]);
            continue;
        }
        assert_eq!(output.status.signal(), Some(signal as i32), "{signal}: {}", stderr(&output));
        assert_eq!(stderr(&output), "steadypass: import stopped; nothing half-written is left\n");
        assert_eq!(files(folder.path()), ["table.csv"], "{signal}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn what_a_script_started_behind_it_outlives_ctrl_c() {
    let folder = TempDir::new().expect("temp");
    let table = at(&folder, "table.csv");
    mkfifo(&table, Mode::S_IRWXU).expect("a pipe with a name");
    let out = at(&folder, "recordings").join("run.mcap");
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' INT; exec \"$@\"", "sh", env!("CARGO_BIN_EXE_steadypass")]);
    command.args(["import", &text(&table), "--out", &text(&out)]).stderr(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().expect("a shell");
    let mut rows = OpenOptions::new().write(true).open(&table).expect("somebody reads");
    writeln!(rows, "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2").expect("written");
    wait_for("importing", || is_unfinished(&at(&folder, "recordings")));
    send(&child, Signal::SIGINT);
    thread::sleep(Duration::from_millis(500));
    assert_eq!(child.try_wait().expect("asked"), None, "it goes on");
    writeln!(rows, "0,0,0,9.8\n0.01,0,0,9.8").expect("written");
    drop(rows);
    let output = child.wait_with_output().expect("ended");
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(out.exists());
}

#[test]
fn a_second_signal_ends_a_program_whose_last_words_nobody_takes() {
    let folder = TempDir::new().expect("temp");
    let (_unread, full) = std::io::pipe().expect("a pipe");
    let flags = |flags| fcntl(&full, FcntlArg::F_SETFL(flags)).expect("set");
    flags(OFlag::O_NONBLOCK);
    while (&full).write(&[b' '; 512]).is_ok() {}
    while (&full).write(b" ").is_ok() {}
    flags(OFlag::empty());
    let out = at(&folder, "out");
    let mut command = steadypass();
    command.args(["simulate", "--kind", "hour", "--out", &text(&out)]).stderr(full);
    let mut child = command.spawn().expect("the program starts");
    wait_for("simulating", || is_unfinished(&out));
    send(&child, Signal::SIGINT);
    wait_for("tidying up", || !out.exists());
    thread::sleep(Duration::from_millis(300));
    assert_eq!(child.try_wait().expect("asked"), None, "it waits for somebody to read");
    // Again and again: what comes at once after the first is meant once.
    wait_for("the end", || {
        send(&child, Signal::SIGTERM);
        child.try_wait().expect("asked").is_some()
    });
    assert_eq!(child.wait().expect("ended").signal(), Some(Signal::SIGTERM as i32));
}

#[test]
fn a_stopped_recording_of_rest_is_finished_first() {
    thread::scope(|scope| {
        for signal in [Signal::SIGINT, Signal::SIGTERM] {
            scope.spawn(move || finishes_rest_at(signal));
        }
    });
}

fn finishes_rest_at(signal: Signal) {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 4.0);
    let mut command = steadypass();
    command.current_dir(folder.path()).args(["calibrate", "--still-from", &text(port.path())]);
    command.args(["--calibration", &text(&at(&folder, "sensors"))]).stdout(Stdio::piped()).stderr(Stdio::piped());
    let child = command.spawn().expect("the program starts");
    wait_for("streaming", || port.with(|sensor| sensor.is_streaming()));
    thread::sleep(Duration::from_secs(1));
    let output = signalled(child, signal);
    let said = stderr(&output);
    // Its few seconds are too short a rest, unless there is no time to look at them.
    let expected = if signal == Signal::SIGINT { 1 } else { 0 };
    assert_eq!(output.status.code(), Some(expected), "{signal}: {said}");
    let [name] = &files(&at(&folder, "recordings"))[..] else { panic!("{signal}: one recording: {said}") };
    assert!(name.ends_with("-still.mcap"), "{signal}: {name}");
    let reader = Reader::open(&at(&folder, "recordings").join(name)).expect("opens");
    assert!(last_sample_us(reader).is_some_and(|us| us > 1_000_000), "{signal}");
}

#[test]
fn a_demo_stopped_before_its_first_pass_names_no_picture() {
    let folder = TempDir::new().expect("temp");
    let out = at(&folder, "demo");
    let mut command = steadypass();
    command.args(["demo", "--speed", "5", "--out", &text(&out)]);
    let child = command.stderr(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program starts");
    let part = out.join("demo.mcap.part");
    wait_for("recording", || fs::metadata(&part).is_ok_and(|part| part.len() > 20_000));
    let output = signalled(child, Signal::SIGINT);
    assert!(output.status.success(), "{}", stderr(&output));
    let said = "Open index.html in a browser; no section pass was finished, so there is no sheet of one.";
    assert!(stderr(&output).contains(said), "{}", stderr(&output));
    assert!(!files(&out).iter().any(|name| name.ends_with(".png")), "{:?}", files(&out));
}

#[test]
fn a_stopped_simulation_leaves_nothing() {
    let folder = TempDir::new().expect("temp");
    let out = at(&folder, "out");
    let mut command = steadypass();
    command.args(["simulate", "--kind", "hour", "--out", &text(&out)]);
    let child = command.stderr(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program starts");
    wait_for("simulating", || is_unfinished(&out));
    let output = signalled(child, Signal::SIGINT);
    assert_eq!(output.status.signal(), Some(Signal::SIGINT as i32), "{}", stderr(&output));
    assert!(!out.exists(), "{:?}", files(&out));
}
