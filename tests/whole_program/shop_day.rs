//! The sheet of a day.

use std::{fs, path::Path};

use steadypass::recording::UserNote;
use tempfile::TempDir;

use crate::{small_shop::Small, support::*};

/// What is worked between two passes is no pass: the day, which goes by passes, says that it leaves its warnings out, and the review
/// how many they are.
#[test]
fn a_review_and_the_day_say_which_warnings_they_count() {
    let s = Small::new();
    succeeds(&["simulate", "--out", &text(s.folder.path())]);
    // The demo's passes end at 90.5 s and begin at 93.5 s; the hole lies between them.
    let seconds = |row: &str| row.split(',').next().and_then(|t_s| t_s.parse::<f64>().ok());
    let table = fs::read_to_string(at(&s.folder, "demo-1.csv")).expect("written");
    let kept: Vec<&str> =
        table.lines().filter(|row| seconds(row).is_none_or(|t_s| !(91.0..92.8).contains(&t_s))).collect();
    let (holed, door, out) = (s.file("holed.csv", &kept.join("\n")), at(&s.folder, "door.mcap"), at(&s.folder, "out"));
    let imported =
        run(&["import", &holed, "--out", &text(&door), "--technician", "Robin", "--started", "2026-03-02T10:00"]);
    assert_eq!(imported.status.code(), Some(3), "{}", stderr(&imported));
    let review = |more: &[&str]| {
        let review = ["review", &text(&door), "--no-sheets", "--out", &text(&out), "--shop", &s.shop];
        let output = run(&[&review, more].concat());
        assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let told: serde_json::Value = serde_json::from_str(&review(&["--json"])).expect("JSON");
    let warnings = rows(&out.join("warnings.csv"));
    let between = warnings.iter().filter(|row| row["pass"].is_empty()).count();
    let within = warnings.len() - between;
    assert_eq!(between, 1, "{warnings:?}");
    assert!(within > 1, "{warnings:?}");
    assert_eq!((&told["warnings"], &told["warnings_between_passes"]), (&warnings.len().into(), &between.into()));
    let said = review(&[]);
    assert!(said.contains(&format!("{} warnings (1 of them between passes)", warnings.len())), "{said}");
    let day = run(&s.with(&["day"], &["--technician", "Robin", "--day", "2026-03-02"]));
    let said = String::from_utf8_lossy(&day.stdout).into_owned();
    assert!(said.contains(&format!("{within} warnings during passes")), "{said}");
}

/// What never had a recording has lost none: as in a rebuild, that is said and no failure.
#[test]
fn a_day_says_that_its_sessions_were_filed_without_a_recording() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &shop]);
    let said = succeeds(&["day", "--shop", &shop, "--technician", "Ash", "--day", "2026-03-02"]);
    assert!(said.contains("not known: 1 session of this day was filed without a recording."), "{said}");
    assert!(succeeds(&["shop", "rebuild", "--shop", &shop]).contains("30 without a recording"));
}

/// Vibration of a day goes by who each part is filed under, whatever the recording calls them.
#[test]
fn a_day_counts_the_vibration_of_each_part_once_and_for_whom_it_is_filed() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    for name in ["Ash", "Cedar"] {
        succeeds(&["shop", "add", "--shop", &shop, "technician", name]);
    }
    let alone = recording(&folder, "Ash");
    let out = text(&at(&folder, "out"));
    succeeds(&["review", &text(&alone), "--no-sheets", "--out", &out]);
    let passes = rows(&at(&folder, "out").join("passes.csv"));
    let handed_s =
        0.5 * (passes[0]["end_s"].parse::<f64>().expect("s") + passes[1]["start_s"].parse::<f64>().expect("s"));
    let shared = at(&folder, "shared.mcap");
    with_notes(&alone, &shared, vec![(handed_s, UserNote::Technician { name: "Cedr".into() })]);
    succeeds(&["review", &text(&shared), "--no-sheets", "--out", &out, "--shop", &shop]);
    succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&at(&folder, "tables"))]);
    let day = rows(&at(&folder, "tables").join("sessions.csv"))[0]["day"].clone();
    let said = |name: &str| succeeds(&["day", "--shop", &shop, "--technician", name, "--day", &day]);
    // Squares of A(8) add up; it is printed to a digit or two only, so it is compared as printed.
    let points = |of: &[&str]| -> f64 {
        let output = run(&[&["--json", "exposure"], of].concat());
        let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        found["days"].as_array().expect("days").iter().map(|d| d["a8_mps2"].as_f64().expect("a figure").powi(2)).sum()
    };
    let tells = |said: String, points: f64| assert!(says_a8(&said, points.sqrt()), "{said} {points}");
    let (whole, shared) = (text(&alone), text(&shared));
    let cedar = points(&[&shared, "--technician", "Cedr"]);
    tells(said("Cedar"), cedar);
    tells(said("Ash"), points(&[&shared, "--technician", "Ash"]));

    // Both parts are Cedar's after all: the whole recording, once.
    succeeds(&["shop", "assign", "--shop", &shop, "1", "Cedar"]);
    tells(said("Cedar"), points(&[&whole]));
}

/// Whether a text says this A(8), to as many digits as it says.
fn says_a8(text: &str, a8_mps2: f64) -> bool {
    let figure = text.split_once("A(8) is ").and_then(|(_, rest)| rest.split_once(" m/s²")).map(|(figure, _)| figure);
    figure.is_some_and(|figure| {
        let decimals = figure.split_once('.').map_or(0, |(_, part)| part.len());
        figure == format!("{a8_mps2:.decimals$}")
    })
}

/// A session is filed on the day it began; its work counts on the day it was done.
#[test]
fn work_past_midnight_counts_on_the_day_it_falls_on() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let night = at(&folder, "night.mcap");
    let table = text(&at(&folder, "demo-1.csv"));
    // Midnight is a minute into it.
    succeeds(&["import", &table, "--out", &text(&night), "--technician", "Ash", "--started", "2026-03-02T23:59"]);
    let out = at(&folder, "out");
    let review = |recording: &Path| {
        succeeds(&["review", &text(recording), "--no-sheets", "--out", &text(&out), "--shop", &shop]);
        rows(&out.join("passes.csv"))
    };
    let passes = review(&night);
    let starts: Vec<f64> = passes.iter().map(|p| p["start_s"].parse().expect("s")).collect();
    let late = starts.iter().filter(|s| **s >= 60.0).count();
    assert!((1..passes.len()).contains(&late), "the test needs passes on both sides: {starts:?}");
    let day = |who: &str, day: &str| run(&["day", "--shop", &shop, "--technician", who, "--day", day]);
    let exposure: serde_json::Value =
        serde_json::from_str(&succeeds(&["--json", "exposure", &text(&night)])).expect("JSON");
    let days = exposure["days"].as_array().expect("days");
    assert_eq!(days.len(), 2, "{exposure}");
    for (of_day, date, passes) in [(&days[0], "2026-03-02", passes.len() - late), (&days[1], "2026-03-03", late)] {
        assert_eq!(of_day["date"], date);
        let output = day("Ash", date);
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(output.status.code(), Some(0), "{said} {}", stderr(&output));
        let minutes = of_day["tools"][0]["running_s"].as_f64().expect("s") / 60.0;
        assert!(says_a8(&said, of_day["a8_mps2"].as_f64().expect("a figure")), "{said} {of_day}");
        for words in [&format!(" {passes} pass"), &format!("{minutes:.0} min with the motor running")] {
            assert!(said.contains(words.as_str()), "{date}: {words:?} not in {said}");
        }
    }
    expect(&["day", "--shop", &shop, "--technician", "Ash", "--day", "2026-03-04"], 1, &["nothing is filed for Ash"]);
    let page = at(&folder, "day.html");
    let to_page = ["day", "--shop", &shop, "--technician", "Ash", "--day", "2026-03-03", "--out", &text(&page)];
    succeeds(&to_page);
    assert!(fs::read_to_string(&page).expect("a page").contains("<th>2 March 2026, 23:59</th>"));

    // Who gave the machine away before midnight did nothing after it, though the recording went on.
    let shared = at(&folder, "shared.mcap");
    let to = |name: &str| UserNote::Technician { name: name.into() };
    with_notes(&night, &shared, vec![(starts[0] + 20.0, to("Birch")), (starts[0] + 2.0, to("Cedar"))]);
    fs::remove_file(&night).expect("removed");
    review(&shared);
    assert_eq!(day("Cedar", "2026-03-02").status.code(), Some(0));
    let next = ["day", "--shop", &shop, "--technician", "Cedar", "--day", "2026-03-03"];
    expect(&next, 1, &["nothing is filed for Cedar"]);
    for date in ["2026-03-02", "2026-03-03"] {
        let said = String::from_utf8_lossy(&day("Birch", date).stdout).into_owned();
        assert!(said.contains("1 pass,") && said.contains("Vibration exposure A(8) is"), "{date}: {said}");
    }

    // Without its recording nobody knows the share of a day: a loss, and said so.
    let lost = ["Ash", "2026-03-03"];
    let output = day(lost[0], lost[1]);
    let (said, remarks) = (String::from_utf8_lossy(&output.stdout).into_owned(), stderr(&output));
    assert_eq!(output.status.code(), Some(3), "{said} {remarks}");
    assert!(said.contains("how long the motor ran is not known") && said.contains("exposure is not known"), "{said}");
    assert!(remarks.contains("night.mcap") && remarks.contains("Put the recording back"), "{remarks}");
}
