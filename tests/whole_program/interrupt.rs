//! Ctrl-C and its like after a recording: the review ends, the recording stays.

use std::{
    io::{BufRead, BufReader},
    process::Stdio,
    thread,
};

use nix::sys::signal::Signal;
use steadypass::simulation::Scenario;
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
    // 128 and the signal's number: what shells report of a program that a signal ended (POSIX, "Exit Status for Commands").
    assert_eq!(output.status.code(), Some(128 + signal as i32), "{signal}: {}", stderr(&output));
    assert!(stderr(&output).contains("is whole"), "{signal}: {}", stderr(&output));

    let review = out.with_extension("review");
    let left = if review.exists() { files(&review) } else { Vec::new() };
    assert!(left.iter().all(|name| name.starts_with(".unfinished-")), "{signal}: {left:?}");
    succeeds(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
}
