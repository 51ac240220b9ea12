//! The sheet of a day.

use std::fs;

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
