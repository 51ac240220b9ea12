//! What was taken off is told no surer than its readings are.

use std::fs;

use crate::{small_shop::Small, support::*};

/// Two readings after the work that lie 45 µm apart: whichever is true, the mean of both is not.
#[test]
fn readings_of_a_point_that_contradict_each_other_give_no_removal_anywhere() {
    let s = Small::new();
    succeeds(&s.with(&["shop", "set"], &["gauge-sd-um", "1"]));
    let on = ["--vehicle", "saloon A", "--panel", "driver's door"];
    let recording = text(&s.recording("door.mcap", ""));
    let out = text(&at(&s.folder, "out"));
    succeeds(&s.with(&["review"], &[&[recording.as_str(), "--out", &out, "--no-sheets"], &on[..]].concat()));
    let add = |phase: &str, readings: [&str; 2]| {
        run(&s.with(&["thickness", "add"], &[&on[..], &["--point", "a", "--phase", phase], &readings].concat()))
    };
    add("before", ["4.3mil", "4.2mil"]);
    let told = add("after", ["85", "40"]);
    let said = String::from_utf8_lossy(&told.stdout).into_owned();
    let why = "driver's door: removal not given, for readings of one point do not fit together: measure there again";
    assert!(said.contains(why), "{said}");
    let caution = stderr(&told);
    assert!(caution.contains("and what was taken there is not known: measure that place again"), "{caution}");
    let ledger = ["--out", &text(&at(&s.folder, "ledger"))];
    s.fails(
        &["thickness", "ledger"],
        &ledger,
        1,
        &["saloon A, driver's door: readings of one of its points do not fit together"],
    );
    assert!(!at(&s.folder, "ledger").exists());
    let page = at(&s.folder, "page.html");
    let report = || {
        succeeds(&s.with(&["report"], &["--vehicle", "saloon A", "--out", &text(&page)]));
        fs::read_to_string(&page).expect("written")
    };
    let first = report();
    assert!(first.contains("how much was taken there is not known: that place needs to be measured again"), "{first}");
    assert!(!first.contains('±') && !first.contains("taken</td>"), "{first}");
    // Measured again, and the slip taken away: all of them have it.
    let after = [&on[..], &["--point", "a", "--phase", "after"]].concat();
    succeeds(&s.with(&["thickness", "remove"], &[&after[..], &["40", "85"]].concat()));
    succeeds(&s.with(&["thickness", "add"], &[&after[..], &["105", "104"]].concat()));
    assert!(report().contains('±'));
    // A place that was read before the work only says nothing of what was taken elsewhere.
    let other = [&on[..], &["--point", "b", "--phase", "before", "120", "60"]].concat();
    assert!(stderr(&run(&s.with(&["thickness", "add"], &other))).contains("what was taken there is not known"));
    assert!(report().contains('±'));
    succeeds(&s.with(&["thickness", "ledger"], &ledger));
}
