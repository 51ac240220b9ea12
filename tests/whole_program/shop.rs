//! The shop's memory through the program: filed by `review`, rebuilt, compared, and what happens when things are not there.

use std::{fs, path::PathBuf};

use tempfile::TempDir;

use crate::support::*;

fn ok(args: &[&str]) -> String {
    let output = run(args);
    assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn fails(args: &[&str], code: i32, words: &[&str]) {
    let output = run(args);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {said}");
    for word in words {
        assert!(said.contains(word), "{args:?} should say {word:?}, said: {said}");
    }
}

/// A recording of invented data, by `technician`.
fn recording(folder: &TempDir, technician: &str) -> PathBuf {
    let here = text(folder.path());
    ok(&["simulate", "--out", &here]);
    let out = at(folder, "door.mcap");
    ok(&["import", &text(&at(folder, "demo-1.csv")), "--out", &text(&out), "--technician", technician]);
    out
}

#[test]
fn a_review_is_filed_once_and_rebuilt_from_the_recording() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    ok(&["shop", "init", "--shop", &shop, "--name", "Corner Shop"]);
    let recording = recording(&folder, "Robin");
    let review = ["review", &text(&recording), "--out", &text(&at(&folder, "out")), "--no-sheets", "--shop", &shop];
    let first = run(&review);
    assert!(stderr(&first).contains("Robin is new to this shop"), "{}", stderr(&first));
    assert!(stderr(&run(&review)).contains("filed again"));
    assert!(
        ok(&["shop", "status", "--shop", &shop])
            .contains("1 technician, 0 machines, 0 pads and liquids, 0 vehicles, 1 session")
    );
    let figures = || {
        ok(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&at(&folder, "tables"))]);
        fs::read_to_string(at(&folder, "tables").join("passes.csv")).expect("a table")
    };
    let columns = |table: &str| -> Vec<String> {
        table.lines().map(|l| l.split(',').skip(2).collect::<Vec<_>>().join(",")).collect()
    };
    let before = figures();
    assert!(before.lines().count() > 1, "the demo has passes: {before}");
    assert!(ok(&["-q", "shop", "rebuild", "--shop", &shop]).contains("1 session computed again"));
    assert_eq!(columns(&figures()), columns(&before), "the same figures again");
    let listed = ok(&["shop", "status", "--shop", &shop, "--all"]);
    let day = listed
        .lines()
        .find_map(|l| l.strip_prefix("session   1 "))
        .and_then(|l| l.get(..10))
        .expect("a session")
        .to_owned();
    let said = ok(&["day", "--shop", &shop, "--technician", "Robin", "--day", &day]);
    assert!(said.contains("Vibration exposure A(8)") && said.contains("Screening figure"), "{said}");

    // The recording deleted under the store: said, and nothing lost.
    fs::remove_file(&recording).expect("removed");
    fails(&["shop", "rebuild", "--shop", &shop], 3, &["no such file", "filed earlier are kept"]);
    assert_eq!(columns(&figures()), columns(&before));
    assert!(stderr(&run(&["shop", "status", "--shop", &shop])).contains("is gone; its figures are kept"));
    ok(&["compare", "--shop", &shop, "--out", &text(&at(&folder, "comparison"))]);
    let page = fs::read_to_string(at(&folder, "comparison").join("index.html")).expect("a page");
    assert!(page.contains("Robin has 1 working day: too few"));
}

#[test]
fn who_is_not_known_is_asked_for_before_and_after() {
    let folder = TempDir::new().expect("temp");
    let recording = recording(&folder, "");
    let out = text(&at(&folder, "out"));
    let shop = text(&at(&folder, "shop"));
    let review = ["review", &text(&recording), "--out", &out, "--no-sheets", "--shop", &shop];
    fails(&review, 1, &["holds no shop", "shop init"]);
    ok(&["shop", "init", "--shop", &shop]);
    fails(&review, 1, &["nobody says who worked", "--technician"]);
    ok(&["shop", "add", "--shop", &shop, "technician", "Robin"]);
    fails(&[&review[..], &["--technician", "Robni"]].concat(), 1, &["did you mean \"Robin\""]);
    fails(&["shop", "add", "--shop", &shop, "technician", "ROBIN"], 1, &["already a technician"]);
    fails(&["compare", "--shop", &shop, "--out", &out], 1, &["no filed session fits"]);
    ok(&[&review[..], &["--technician", "Robin"]].concat());
}

#[test]
fn the_demo_shop_prints_what_was_built_in_and_what_was_found() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "shop"));
    let said = ok(&["shop", "demo", "--out", &out]);
    assert!(said.contains("Ash moves the arm faster than Birch"), "{said}");
    assert_eq!(
        files(&at(&folder, "shop").join("comparison")),
        [
            "comparison.csv",
            "days.csv",
            "differences.csv",
            "index.html",
            "intervals.png",
            "progress.png",
            "technique.png",
            "trends.csv"
        ]
    );
    let beside = text(&at(&folder, "lesson"));
    fails(&["compare", "--shop", &out, "--out", &beside, "--session", "3"], 1, &["no session is marked"]);
    ok(&["shop", "trainer", "--shop", &out, "2"]);
    ok(&["compare", "--shop", &out, "--out", &beside, "--session", "3"]);
    assert_eq!(files(&at(&folder, "lesson")), ["session-3-beside-2.png"]);
}
