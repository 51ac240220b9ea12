//! The units a shop is shown its figures in.

use std::fs;

use crate::{small_shop::Small, support::*};

#[test]
fn a_shop_is_shown_its_own_units_unless_others_are_asked_for() {
    let s = Small::new();
    let point = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1", "--phase"];
    for (phase, reading) in [("before", "127"), ("after", "124")] {
        succeeds(&s.with(&["thickness", "add"], &[&point[..], &[phase, reading]].concat()));
    }
    let shown = |more: &[&str]| succeeds(&s.with(&["thickness", "show"], more));
    let json = shown(&["--json"]);
    assert!(!shown(&[]).contains("mil"));
    assert_eq!(succeeds(&s.with(&["shop", "set"], &["units", "us"])).trim(), "units: us");
    // 1 mil = 25.4 µm by definition.
    assert!(shown(&[]).contains("before 5.00  after 4.88"), "{}", shown(&[]));
    assert!(!shown(&["--units", "si"]).contains("mil"), "what is asked for wins");
    assert_eq!(shown(&["--json"]), json, "what programs read stays as it is");
    assert!(s.holds().contains("\"units\""), "an export takes it along");
    succeeds(&s.with(&["shop", "set"], &["units", ""]));
    assert!(!shown(&[]).contains("mil"));
}

/// Also where the shop is named for every verb; before the plan's units, which a recording carries along from wherever it was made.
#[test]
fn a_review_is_in_the_units_of_its_shop() {
    let s = Small::new();
    let recording = text(&s.recording("door.mcap", "units = \"si\"\n"));
    succeeds(&s.with(&["shop", "set"], &["units", "us"]));
    let out = at(&s.folder, "out");
    let page = |shop: &str, more: &[&str]| {
        let mut review = steadypass();
        review.env("STEADYPASS_SHOP", shop).args(["review", &recording, "--out", &text(&out)]).args(more);
        let output = review.output().expect("the program starts");
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let tables = TABLES.map(|name| fs::read_to_string(out.join(name)).expect("written"));
        let page = fs::read_to_string(out.join("index.html")).expect("written").replace(['\u{a0}', '\u{202f}'], " ");
        // With a space in front: the pictures within the page have such letters by chance.
        ([" mm/s", " in/s"].map(|unit| page.contains(unit)), tables)
    };
    let (us, us_tables) = page(&s.shop, &[]);
    let (si, si_tables) = page(&s.shop, &["--units", "si"]);
    assert_eq!((us, si), ([false, true], [true, false]), "the shop's, and what is asked for");
    assert_eq!(us_tables, si_tables);
    assert_eq!(page("", &[]).0, [true, false], "without a shop the plan's");
}

#[test]
fn lengths_in_inches_are_the_same_lengths() {
    let s = Small::new();
    let recording = text(&s.recording("door.mcap", ""));
    let strokes = |told: &[&str]| {
        let out = at(&s.folder, "out");
        succeeds(&[&["review", &recording, "--no-sheets", "--out", &text(&out)], told].concat());
        fs::read_to_string(out.join("strokes.csv")).expect("written")
    };
    // 14 in = 0.3556 m by definition of the inch.
    let in_metres = strokes(&["--stroke-length-m", "0.3556"]);
    assert_eq!(strokes(&["--stroke-length", "14in"]), in_metres);
    assert_eq!(strokes(&["--stroke-length", "355.6mm"]), in_metres);
    assert_ne!(strokes(&[]), in_metres);

    // 5 in = 0.127 m, 12 in = 0.3048 m.
    let point = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1", "--phase", "before", "--section", "1"];
    succeeds(&s.with(&["thickness", "add"], &[&point[..], &["--at", "5in,12in", "120"]].concat()));
    let holds = s.holds();
    assert!(holds.contains("0.127") && holds.contains("0.3048"), "{holds}");
}
