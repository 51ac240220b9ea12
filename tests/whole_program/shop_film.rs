//! Film readings: slips among them, their units, the shop's limit.

use std::fs;

use crate::{small_shop::Small, support::*};

/// A gauge is told by its repeats over the whole shop: readings that do not fit together are no part of it, and that is said.
#[test]
fn a_slip_on_one_vehicle_spoils_no_removal_of_another() {
    let s = Small::new();
    succeeds(&s.with(&["shop", "add"], &["vehicle", "saloon B", "--paint", "clear-coat"]));
    let add = |vehicle: &str, point: &str, phase: &str, readings: &[&str]| {
        let at = ["--vehicle", vehicle, "--panel", "roof", "--point", point, "--phase", phase];
        run(&s.with(&["thickness", "add"], &[&at, readings].concat()))
    };
    add("saloon A", "1", "before", &["121", "122", "120"]);
    add("saloon A", "1", "after", &["117", "118", "116"]);
    add("saloon A", "2", "before", &["118", "117", "119"]);
    let told = add("saloon A", "2", "after", &["114", "115", "113"]);
    assert!(!stderr(&told).contains("no part of it"), "{told:?}");
    let show = ["thickness", "show"];
    let a = ["--vehicle", "saloon A"];
    let taken = succeeds(&s.with(&show, &a));
    assert!(taken.contains("removed 4.0 ± "), "{taken}");
    let slip = add("saloon B", "1", "before", &["240", "260"]);
    assert!(String::from_utf8_lossy(&slip.stdout).contains("do not fit together: a slip?"), "{slip:?}");
    assert!(stderr(&slip).contains("2 of them do not fit") && stderr(&slip).contains("no part of it"), "{slip:?}");
    assert_eq!(succeeds(&s.with(&show, &a)), taken);
}

#[test]
fn a_limit_that_was_meant_in_mil_is_asked_about() {
    let small = Small::new();
    let set = |value: &str| {
        let output = run(&small.with(&["shop", "set"], &["film-floor-um", value]));
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        stderr(&output)
    };
    let said = set("3.9");
    assert!(said.contains("3.9 µm is less than any coat: in mil? That would be 99 µm"), "{said}");
    assert!(said.contains("film-floor-um 3.9mil"), "{said}");
    for plain in ["3.9mil", "100", ""] {
        assert_eq!(set(plain), "", "{plain}");
    }
}

/// A reading that cannot be is kept, and in no figure; more gone than a clear coat has is said; a growth is no removal with a minus.
#[test]
fn readings_that_cannot_be_are_told_and_in_no_figure() {
    let s = Small::new();
    succeeds(&s.with(&["shop", "set"], &["gauge-sd-um", "1"]));
    let add = |point: &str, phase: &str, readings: &[&str]| {
        let at = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", point, "--phase", phase];
        let output = run(&s.with(&["thickness", "add"], &[&at[..], readings].concat()));
        assert!(output.status.success(), "{}", stderr(&output));
        (String::from_utf8_lossy(&output.stdout).into_owned(), stderr(&output))
    };
    add("1", "before", &["121", "4.8"]);
    // 4.65 mil = 118.11 µm by definition of the mil.
    let (said, remarks) = add("1", "after", &["4.65mil"]);
    assert!(said.contains("removed 2.9 ± 2.3 µm"), "{said}");
    assert!(
        said.contains("before 121  after 118.1   left out: before 4.8   odd: 4.8 µm is less than any coat: in mil?"),
        "{said}"
    );
    assert!(remarks.contains("4.8 µm before at point 1 is left out of all figures"), "{remarks}");
    let page = at(&s.folder, "page.html");
    let report = |units: &str| {
        succeeds(&s.with(&["report"], &["--units", units, "--vehicle", "saloon A", "--out", &text(&page)]));
        fs::read_to_string(&page).expect("written").replace('\u{a0}', " ")
    };
    let words = "121.0 µm before, 118.1 µm after; 2.9 ± 2.3 µm taken<";
    assert!(report("si").contains(words), "{}", report("si"));
    assert!(report("us").contains("4.76 mil before, 4.65 mil after; 0.11 ± 0.09 mil taken"), "{}", report("us"));
    let shown = |more: &[&str]| succeeds(&s.with(&["thickness", "show"], more));
    let us = shown(&["--units", "us"]);
    assert!(us.contains("removed 0.11 ± 0.09 mil, which is 2.9 ± 2.3 µm"), "{us}");
    assert!(us.contains("in mil: before 4.76  after 4.65"), "{us}");
    // 3.9 mil = 99.06 µm by definition of the mil.
    assert_eq!(succeeds(&s.with(&["shop", "set"], &["film-floor-um", "3.9mil"])).trim(), "film-floor-um: 99.06");
    add("9", "before", &["98"]);
    let cautioned = run(&s.with(&["thickness", "show"], &["--units", "us"]));
    let said = stderr(&cautioned);
    assert!(said.contains("3.86 mil is its thinnest reading, below the 3.90 mil this shop set itself"), "{said}");
    assert!(said.contains("about 3.94 to 7.09 mil in all"), "{said}");
    let told = run(&s.with(&["report"], &["--vehicle", "saloon A", "--out", &text(&page)]));
    assert!(stderr(&told).contains("The owner reads of bonnet: The thinnest reading is 98 µm"), "{}", stderr(&told));
    assert!(stderr(&told).contains("bonnet: 1 reading is left out, for no coat is so thin"), "{}", stderr(&told));
    assert!(fs::read_to_string(&page).expect("written").contains("The thinnest reading is 98 µm"));
    let told = succeeds(&s.with(&["report"], &["--json", "--vehicle", "saloon A", "--out", &text(&page)]));
    let told: serde_json::Value = serde_json::from_str(&told).expect("JSON");
    assert!(told["panels"][0]["to_know"][0].as_str().is_some_and(|w| w.starts_with("The thinnest")), "{told}");
    let point_9 = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "9", "--phase", "before"];
    succeeds(&s.with(&["thickness", "remove"], &point_9));
    let tried = ["--vehicle", "saloon A", "--pad", "white foam", "--liquid", "finishing", "--technician", "Robin"];
    let verdict = ["--units", "us", "--passes", "3", "--film-um", "2.54"];
    assert!(succeeds(&s.with(&["trial", "add"], &[&tried[..], &verdict].concat())).contains("0.10 mil taken"));
    let in_mil = ["--units", "us", "--passes", "3", "--film-um", "0.2mil"];
    assert!(succeeds(&s.with(&["trial", "add"], &[&tried[..], &in_mil].concat())).contains("0.20 mil taken"));
    let at_8 = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "8", "--phase", "before", "118"];
    for (place, words) in
        [(["--section", "1"], "Give --at-m ALONG,ACROSS too"), (["--at-m", "0.1,0.2"], "on which section?")]
    {
        expect(&s.with(&["thickness", "add"], &[&at_8[..], &place].concat()), 2, &[words]);
    }

    add("1", "after", &["124", "125"]);
    let grown = shown(&[]);
    // The three lie further apart than the gauge's 1 µm: 13.86 µm² on 13.86² / (12.86² / 2) = 2.32 degrees (t = 2.661), for 1 + 1/3.
    assert!(grown.contains("bonnet: no removal measurable (90 % interval -12.8 to 10.1 µm, 1 point)"), "{grown}");
    let found: serde_json::Value = serde_json::from_str(&shown(&["--json"])).expect("JSON");
    let panel = &found["panels"][0];
    assert!((panel["removal_um"].as_f64().expect("signed") + 1.37).abs() < 1e-6, "{panel}");
    assert_eq!(
        (&panel["removal_measurable"], &panel["points"][0]["left_out"][0]["film_um"]),
        (&false.into(), &4.8.into())
    );
    let (_, much) = add("2", "before", &["140"]);
    assert!(!much.contains("car makers"), "{much}");
    let (_, much) = add("2", "after", &["115"]);
    assert!(
        much.contains("Point 2 reads 25 µm less than before, and trade pages quote car makers with 7 to 12 µm"),
        "{much}"
    );
}
