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
        (fs::read_to_string(out.join("index.html")).expect("written"), tables)
    };
    let (us, us_tables) = page(&s.shop, &[]);
    assert!(us.contains("in/s") && us.contains("°F") && !us.contains("mm/s"), "{us}");
    let (si, si_tables) = page(&s.shop, &["--units", "si"]);
    assert!(si.contains("mm/s") && !si.contains("in/s"), "{si}");
    assert_eq!(us_tables, si_tables);
    let (plan, _) = page("", &[]);
    assert!(plan.contains("mm/s") && !plan.contains("in/s"), "without a shop the plan's");
}
