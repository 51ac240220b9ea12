//! The film limit that a shop set itself stands against whatever comes next on the panel.

use serde_json::Value;

use crate::{small_shop::Small, support::*};

/// A bonnet read down to 95 µm under a limit of 3.9 mil (99.06 µm, by definition of the mil), and a sound roof.
fn thin() -> Small {
    let small = Small::new();
    succeeds(&small.with(&["shop", "set"], &["film-floor-um", "3.9mil"]));
    for (panel, phase, readings) in [
        ("bonnet", "before", &["98", "99", "97"][..]),
        ("bonnet", "after", &["96", "96", "95"]),
        ("roof", "before", &["121", "122"]),
    ] {
        let at = ["--vehicle", "saloon A", "--panel", panel, "--point", "1", "--phase", phase];
        succeeds(&small.with(&["thickness", "add"], &[&at[..], readings].concat()));
    }
    small
}

const STOP: &str = "95 µm on the bonnet, below your 99 µm: stop";

#[test]
fn the_next_cut_is_decided_with_the_limit_before_it() {
    let small = thin();
    let trial = |verb: &str, more: &[&str]| {
        succeeds(&small.with(&["trial", verb], &[&["--vehicle", "saloon A"], more].concat()))
    };
    let first = |said: &str| said.lines().next().unwrap_or_default().to_owned();
    for verb in ["propose", "verdict"] {
        assert_eq!(first(&trial(verb, &["--panel", "Bonnet"])), format!("{STOP}."), "{verb}");
        assert_eq!(first(&trial(verb, &[])), format!("{STOP}."), "{verb}");
        assert!(!trial(verb, &["--panel", "roof"]).contains("stop"), "{verb}");
        let told: Value = serde_json::from_str(&trial(verb, &["--json"])).expect("JSON");
        let thin = &told["thin_film"][0];
        assert_eq!((&thin["panel"], &thin["thinnest_um"]), (&"bonnet".into(), &95.0.into()), "{verb}");
        assert_eq!((&thin["film_floor_um"], &thin["is_below"]), (&99.06.into(), &true.into()), "{verb}");
    }
    let tried =
        ["--pad", "white foam", "--liquid", "finishing", "--technician", "Robin", "--passes", "2", "--panel", "bonnet"];
    assert_eq!(first(&trial("add", &tried)), format!("{STOP}."));
}

#[test]
fn a_recording_starts_and_a_review_ends_with_the_limit() {
    let small = thin();
    let stop = format!("steadypass: {STOP}.");
    let of = ["--vehicle", "saloon A", "--panel", "bonnet"];
    let nowhere = text(&at(&small.folder, "no-port"));
    let out = text(&at(&small.folder, "new.mcap"));
    let record =
        |more: &[&str]| stderr(&run(&small.with(&["record"], &[&["--port", &nowhere, "--out", &out], more].concat())));
    // Quiet or not, and before anything is asked of the sensor.
    for more in [&of[..], &[&of[..], &["-q"]].concat()] {
        assert_eq!(record(more).lines().next(), Some(stop.as_str()), "{more:?}");
    }
    assert!(!record(&["--vehicle", "saloon A", "--panel", "roof"]).contains("stop"));
    assert!(!record(&["--vehicle", "a new one", "--panel", "bonnet"]).contains("stop"));
    let recording = text(&small.recording("a.mcap", ""));
    let (folder, own) = (text(&at(&small.folder, "out")), [&["--out"], &of[..]].concat());
    let review = [&[recording.as_str(), own[0], &folder, "--no-sheets"], &own[1..]].concat();
    assert!(stderr(&run(&small.with(&["review"], &review))).lines().any(|line| line == stop));
    // Filed already: of what, the shop knows.
    let again = run(&small.with(&["review"], &[&recording, "--out", &folder, "--no-sheets", "--json"]));
    assert!(stderr(&again).contains(&stop), "{}", stderr(&again));
    let told: Value = serde_json::from_slice(&again.stdout).expect("JSON");
    assert_eq!(told["thin_film"][0]["words"], STOP);
}

#[test]
fn the_day_sheet_marks_readings_below_the_limit() {
    let small = thin();
    let page = at(&small.folder, "day.html");
    let day = ["--technician", "Robin"];
    let said = succeeds(&small.with(&["day"], &[&day[..], &["--out", &text(&page)]].concat()));
    let line = "saloon A, bonnet, after the work: 96 µm, 96 µm, 95 µm at point 1 (95 µm, below the shop's 99 µm: stop)";
    assert!(said.contains(line), "{said}");
    assert!(said.contains("roof, before the work: 121 µm, 122 µm at point 1\n"), "{said}");
    let page = std::fs::read_to_string(page).expect("written");
    assert!(page.contains("99 µm: stop)</li>"), "{page}");
    let told: Value = serde_json::from_str(&succeeds(&small.with(&["day", "--json"], &day))).expect("JSON");
    let below: Vec<_> = told["readings"].as_array().expect("readings").iter().map(|r| &r["is_below_floor"]).collect();
    assert_eq!(below, [&Value::from(true), &Value::from(true), &Value::from(false)], "{told}");
}
