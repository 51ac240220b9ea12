//! What the shop compares.

use std::{fs, path::Path};

use tempfile::TempDir;

use crate::support::*;

#[test]
fn the_demo_shop_prints_what_was_built_in_and_what_was_found() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "shop"));
    let said = succeeds(&["shop", "demo", "--out", &out]);
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
    // The figure is called what it is where it stands.
    assert!(said.contains("Peak surface rise, mean of passes K "), "{said}");
    let page = fs::read_to_string(at(&folder, "shop").join("comparison").join("index.html")).expect("written");
    assert!(page.contains("warmest moment of each pass, averaged over the passes"), "{page}");
    let beside = text(&at(&folder, "lesson"));
    expect(&["compare", "--shop", &out, "--out", &beside, "--session", "3"], 1, &["no session is marked"]);
    succeeds(&["shop", "trainer", "--shop", &out, "2"]);
    let itself = ["compare", "--shop", &out, "--out", &beside, "--session", "3", "--reference", "3"];
    expect(&itself, 2, &["--session 3 --reference 3", "not beside itself"]);
    succeeds(&["compare", "--shop", &out, "--out", &beside, "--session", "3"]);
    assert_eq!(files(&at(&folder, "lesson")), ["session-3-beside-2.png"]);
}

/// What is written of technicians only would otherwise stay beside machines as if it were of them.
#[test]
fn a_comparison_leaves_nothing_of_an_earlier_one_of_something_else() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &shop]);
    let compare = |out: &Path, by: &str| succeeds(&["compare", "--shop", &shop, "--out", &text(out), "--by", by]);
    let out = at(&folder, "compared");
    compare(&out, "technician");
    let technicians = files(&out);
    fs::write(out.join("progress-of-mine.png"), "the user's own").expect("written");
    compare(&out, "machine");
    let machines = files(&out);
    assert_eq!(
        machines,
        ["comparison.csv", "days.csv", "differences.csv", "index.html", "intervals.png", "progress-of-mine.png"]
    );
    compare(&out, "technician");
    assert_eq!(files(&out).len(), technicians.len() + 1);
    // In a folder where nothing was compared before, a file of such a name is the user's own.
    let other = at(&folder, "other");
    fs::create_dir(&other).expect("made");
    fs::write(other.join("progress.png"), "the user's own").expect("written");
    compare(&other, "machine");
    assert_eq!(fs::read_to_string(other.join("progress.png")).expect("still there"), "the user's own");
}
