//! Live and review run the same code on the same bytes: the same tables, byte for byte.

use std::{fs, thread, time::Duration};

use steadypass::simulation::{Scenario, Trouble};
use steadypass_protocol::ResetCause;
use tempfile::TempDir;

use crate::support::*;

#[test]
fn live_and_review_give_the_same_tables() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 10.0);
    let (out, live, review) = (at(&folder, "run.mcap"), at(&folder, "live"), at(&folder, "review"));
    let child = start_record(&port, &out, &["--tables", &text(&live)]);
    wait_for("the end of the scenario", || port.with(|s| s.is_over()));
    let output = interrupt(child);
    assert!(output.status.success(), "{}", stderr(&output));
    let reviewed = run(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
    assert!(reviewed.status.success(), "{}", stderr(&reviewed));
    same_tables(&live, &review);
    assert!(rows(&review.join("strokes.csv")).len() >= 8, "the scenario's strokes are there");
    assert!(rows(&review.join("warnings.csv")).iter().any(|w| w["kind"] == "heat-over"));
}

/// Through an unplugging, a restart and damaged frames, too; and the loss is told by exit code 3.
#[test]
fn they_agree_through_every_trouble() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 4.0);
    let (out, live, review) = (at(&folder, "run.mcap"), at(&folder, "live"), at(&folder, "review"));
    let child = start_record(&port, &out, &["--tables", &text(&live)]);
    wait_for("streaming", || port.with(|s| s.is_streaming()));
    thread::sleep(Duration::from_secs(4));
    port.with(|s| s.suffer(Trouble::BitError));
    port.with(|s| s.suffer(Trouble::Overrun { samples: 400 }));
    thread::sleep(Duration::from_secs(1));
    port.unplug();
    thread::sleep(Duration::from_millis(800));
    port.replug(true).expect("plugs in");
    thread::sleep(Duration::from_secs(3));
    port.with(|s| s.suffer(Trouble::Restart(ResetCause::Watchdog)));
    thread::sleep(Duration::from_secs(3));
    let output = interrupt(child);
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("Some data is missing"), "{}", stderr(&output));
    let reviewed = run(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
    assert_eq!(reviewed.status.code(), Some(3), "{}", stderr(&reviewed));
    assert!(stderr(&reviewed).contains("1 sensor restarts"), "{}", stderr(&reviewed));
    same_tables(&live, &review);
}

fn same_tables(live: &std::path::Path, review: &std::path::Path) {
    for name in ["series.csv", "strokes.csv", "passes.csv", "warnings.csv"] {
        let [a, b] = [live, review].map(|folder| fs::read(folder.join(name)).expect(name));
        assert!(a == b, "{name} differs between live and review");
    }
}
