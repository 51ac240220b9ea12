//! What users get wrong around the shop's memory: one clear sentence each, the right exit code, nothing lost.

use std::{fs, path::PathBuf, process::Command};

use rusqlite::Connection;

use crate::{small_shop::Small, support::*};

#[test]
fn a_logo_is_looked_at_when_it_is_set_and_kept_in_the_shop() {
    let small = Small::new();
    let nope = text(&at(&small.folder, "nope.png"));
    small.fails(&["shop", "set"], &["logo", &nope], 1, &["read the logo", "nope.png", "no such file"]);
    let noise = small.file("noise.png", "not a picture");
    small.fails(&["shop", "set"], &["logo", &noise], 1, &["noise.png", "PNG or a JPEG"]);
    let report = text(&at(&small.folder, "report.html"));
    let reports = || succeeds(&small.with(&["report"], &["--vehicle", "saloon A", "--out", &report]));
    reports();
    assert!(!fs::read_to_string(&report).expect("written").contains("<img"), "none was set");
    let picture = at(&small.folder, "ours.png");
    fs::write(&picture, b"\x89PNG\r\n\x1a\n rest").expect("written");
    succeeds(&small.with(&["shop", "set"], &["logo", &text(&picture)]));
    fs::remove_file(&picture).expect("removed");
    reports();
    assert!(fs::read_to_string(&report).expect("written").contains("data:image/png"));
    // Taken away behind the shop's back, and then properly.
    fs::remove_file(at(&small.folder, "shop").join("logo.png")).expect("removed");
    small.fails(&["report"], &["--vehicle", "saloon A", "--out", &report], 1, &["logo", "shop set"]);
    succeeds(&small.with(&["shop", "set"], &["logo", ""]));
    reports();
    // One of another kind takes the place of the first, and the first goes; so does the last one.
    let logos = || {
        let mut names = files(&at(&small.folder, "shop"));
        names.retain(|name| name.starts_with("logo"));
        names
    };
    for (begin, kept) in [(&b"\x89PNG\r\n\x1a\n"[..], "logo.png"), (b"\xff\xd8\xff", "logo.jpeg")] {
        fs::write(&picture, begin).expect("written");
        succeeds(&small.with(&["shop", "set"], &["logo", &text(&picture)]));
        assert_eq!(logos(), [kept]);
    }
    succeeds(&small.with(&["shop", "set"], &["logo", ""]));
    assert!(logos().is_empty());
}

#[test]
fn names_and_values_that_cannot_be_leave_the_shop_as_it_was() {
    let s = Small::new();
    let before = s.holds();
    let add = ["shop", "add"];
    s.fails(&add, &["technician", "robin"], 1, &["already a technician called \"robin\"", "tells the two apart"]);
    s.fails(&add, &["technician", " "], 2, &["up to 80 characters", "an empty text"]);
    s.fails(&add, &["machine", "machine 3"], 2, &["--kind orbital or --kind rotary is needed"]);
    s.fails(&add, &["machine", "machine 3", "--kind", "saw"], 2, &["\"saw\"", "orbital, rotary"]);
    s.fails(&add, &["machine", "machine 3", "--kind", "orbital", "--throw-mm", "150"], 2, &["150", "1 to 40"]);
    s.fails(&add, &["pad", "grey foam"], 2, &["--place N is needed", "1 = mildest"]);
    s.fails(&add, &["machine", "machine 3", "--kind", "orbital", "--throw-mm", "-3"], 2, &["-3", "1 to 40"]);
    s.fails(&add, &["pad", "grey foam", "--place", "0"], 2, &["0", "1 to 99"]);
    s.fails(&add, &["pad", "grey foam", "--place", "-1"], 2, &["-1", "1 to 99"]);
    s.fails(
        &add,
        &["vehicle", "van B", "--paint", "matt"],
        2,
        &["\"matt\"", "clear-coat, single-stage, respray, unknown"],
    );
    s.fails(&add, &["vehicle", "van B", "--year", "2999"], 2, &["'2999'", "still to come", "next model year"]);
    s.fails(&["shop", "describe"], &["saloon A", "--year", "2999"], 2, &["'2999'", "next model year"]);
    s.fails(
        &["shop", "describe"],
        &["saloon A", "--hardness", "rock"],
        2,
        &["\"rock\"", "soft, medium, hard, unknown"],
    );
    s.fails(&["shop", "describe"], &["saloon A"], 2, &["nothing is told to change", "--hardness"]);
    s.fails(&["shop", "describe"], &["saloon B", "--year", "2019"], 1, &["did you mean \"saloon A\""]);
    s.fails(&["shop", "set"], &["colour", "red"], 2, &["colour", "gauge-sd-um"]);
    s.fails(&["shop", "set"], &["gauge-sd-um", "a lot"], 2, &["a lot", "0.01 to 50 µm"]);
    s.fails(&["shop", "set"], &["gauge-sd-um", "-1"], 2, &["-1", "0.01 to 50 µm"]);
    s.fails(&["shop", "set"], &["units", "inches"], 2, &["units are `si` or `us`, not `inches`"]);
    s.fails(&["shop", "set"], &["film-floor-um", "99mil"], 2, &["1 to 2000 µm"]);
    s.fails(&["shop", "trainer"], &["7"], 1, &["no session 7", "shop status --all"]);
    s.fails(&["day"], &["--technician", "Robin", "--day", "2999-01-01"], 2, &["'2999-01-01'", "still to come"]);
    expect(&["exposure", "--declared", "sander=5:60", "--day", "2999-01-01"], 2, &["'2999-01-01'", "still to come"]);

    let trial = |rest: &[&str], code: i32, words: &[&str]| {
        let good = ["--vehicle", "saloon A", "--technician", "Robin", "--pad", "white foam", "--liquid", "finishing"];
        s.fails(&["trial", "add"], &[&good, rest].concat(), code, words);
    };
    trial(&["--passes", "0"], 2, &["passes 0", "1 to 50"]);
    trial(&["--passes", "-4"], 2, &["passes -4", "1 to 50"]);
    trial(&["--passes", "four"], 2, &["--passes", "not a whole number"]);
    trial(&["--passes", "2", "--haze", "7"], 2, &["haze 7", "0 none, 1 slight, 2 plain, 3 heavy"]);
    trial(&["--passes", "2", "--film-um", "NaN"], 2, &["film taken NaN", "-100 to 1000"]);
    trial(&["--passes", "2", "--session", "9"], 1, &["no session 9", "shop status --all"]);
    trial(&["--passes", "2", "--day", "yesterday"], 2, &["'yesterday'", "a day as YYYY-MM-DD"]);
    trial(&["--passes", "2", "--day", "2999-01-01"], 2, &["'2999-01-01'", "still to come", "today is"]);
    trial(&["--passes", "2", "--machine", "machine 9"], 1, &["did you mean \"machine 2\""]);
    trial(&["--passes", "many"], 2, &["many"]);
    s.fails(&["trial", "propose"], &["--vehicle", "saloon B"], 1, &["did you mean \"saloon A\""]);
    s.fails(&["trial", "verdict"], &["--vehicle", "coupe"], 1, &["no vehicle called \"coupe\"", "shop status --all"]);

    let film = |rest: &[&str], code: i32, words: &[&str]| {
        let good = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1"];
        s.fails(&["thickness", "add"], &[&good, rest].concat(), code, words);
    };
    film(&["--phase", "during", "120"], 2, &["during", "before or after"]);
    // One wrong reading of two: neither is stored.
    film(&["--phase", "before", "120", "9000"], 2, &["9000 µm", "up to 5000"]);
    film(&["--phase", "before", "nan"], 2, &["NaN µm", "up to 5000"]);
    film(&["--phase", "before", "120", "-5"], 2, &["-5 µm", "more than 0"]);
    film(&["--phase", "before", "121,122"], 2, &["several readings stand apart, 121 122", "121.122 with a point"]);
    film(&["--phase", "before", "120", "0"], 2, &["0 µm", "more than 0"]);
    film(&["--phase", "before", "--day", "2026-02-30", "120"], 2, &["2026-02-30", "YYYY-MM-DD"]);
    film(&["--phase", "before", "--day", "2999-01-01", "120"], 2, &["'2999-01-01'", "still to come"]);
    film(&["--phase", "before", "--at-m", "0.1,0.2", "120"], 2, &["--section"]);
    film(&["--phase", "before", "--section", "1", "--at-m", "0.1", "120"], 2, &["two distances", "0.12,0.30"]);
    film(&["--phase", "before", "--section", "1", "--at", "5in,12", "120"], 2, &["--at", "Write 12in, 12mm or 12m"]);
    film(&["--phase", "before", "--at", "5in,12in", "120"], 2, &["--at: on which section?"]);
    film(&["--phase", "before", "--section", "1", "--at-m", "0.1,20", "120"], 2, &["20 m across", "0 to 3 m"]);
    film(&["--phase", "before"], 2, &["READINGS"]);
    film(&["--phase", "before", "4.8", "mil"], 2, &["'mil'", "right behind its number"]);
    film(&["--phase", "before", "4.8in"], 2, &["'4.8in'", "4.8mil"]);
    s.fails(&["thickness", "ledger"], &["--out", "never"], 1, &["no panel has readings before and after"]);

    s.fails(
        &["thickness", "remove"],
        &["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1", "--phase", "before"],
        1,
        &["no reading before", "point 1 on bonnet", "thickness show"],
    );
    let what = ["--vehicle", "saloon A", "--pad", "white foam", "--liquid", "finishing"];
    s.fails(&["trial", "remove"], &what, 1, &["no such try", "trial verdict"]);
    s.fails(&["note", "remove"], &["never said"], 1, &["just these words", "note list"]);

    let note = ["note", "add"];
    s.fails(&note, &[" "], 2, &["0 characters", "1 to 4000"]);
    s.fails(&note, &["--session", "3", "text"], 1, &["no session 3"]);
    s.fails(&note, &["--day", "2999-01-01", "text"], 2, &["'2999-01-01'", "still to come"]);
    s.fails(&note, &["--section", "1", "text"], 2, &["--session"]);
    s.fails(&["note", "list"], &["--session", "3"], 1, &["no session 3", "shop status --all"]);
    s.fails(&["compare"], &["--out", "never", "--from", "1 March"], 2, &["1 March", "YYYY-MM-DD"]);
    s.fails(&["compare"], &["--out", "never"], 1, &["none is filed yet", "steadypass review"]);
    s.fails(
        &["report"],
        &["--vehicle", "saloon A", "--picture", "none.jpg", "--out", "never"],
        1,
        &["none.jpg", "no such file"],
    );
    expect(&["review", "x.mcap", "--out", "never", "--machine", "machine 2"], 2, &["--shop"]);
    assert_eq!(s.holds(), before, "nothing was changed");
    assert!(!PathBuf::from("never").exists());
}

/// Every verb takes names by the same rule, and says which argument is none before it does anything.
#[test]
fn what_is_no_name_is_refused_by_every_verb_alike() {
    let s = Small::new();
    let before = s.holds();
    for (no_name, found) in
        [("n".repeat(81), "a longer text"), ("a\u{7}b".into(), "control characters"), (" ".into(), "an empty text")]
    {
        let n = no_name.as_str();
        let out = text(&at(&s.folder, "never"));
        for (verb, rest) in [
            (vec!["shop", "add"], vec!["pad", n, "--place", "1"]),
            (vec!["shop", "rename"], vec!["pad", "white foam", n]),
            (vec!["shop", "rename"], vec!["panel", n, "roof", "--vehicle", "saloon A"]),
            (vec!["shop", "remove"], vec!["pad", n]),
            (vec!["shop", "assign"], vec!["1", n]),
            (vec!["trial", "propose"], vec!["--vehicle", n]),
            (vec!["trial", "verdict"], vec!["--vehicle", "saloon A", "--panel", n]),
            (vec!["trial", "remove"], vec!["--vehicle", "saloon A", "--pad", n, "--liquid", "finishing"]),
            (vec!["note", "add"], vec!["--vehicle", "saloon A", "--panel", n, "text"]),
            (vec!["note", "list"], vec!["--vehicle", n]),
            (
                vec!["thickness", "add"],
                vec!["--vehicle", "saloon A", "--panel", "bonnet", "--point", n, "--phase", "before", "120"],
            ),
            (vec!["compare"], vec!["--out", &out, "--machine", n]),
            (vec!["report"], vec!["--vehicle", n, "--out", &out]),
            (vec!["day"], vec!["--technician", n]),
            (vec!["review", "door.mcap"], vec!["--out", &out, "--liquid", n]),
        ] {
            s.fails(&verb, &rest, 2, &["up to 80 characters on one line", found]);
        }
    }
    // A panel of a try need not be told, but is a name where it is.
    let trial = ["--vehicle", "saloon A", "--technician", "Robin", "--pad", "white foam", "--liquid", "finishing"];
    let long = "n".repeat(81);
    s.fails(&["trial", "add"], &[&trial[..], &["--passes", "2", "--panel", &long]].concat(), 2, &["a longer text"]);
    assert_eq!(s.holds(), before, "nothing was changed");
}

#[test]
fn what_was_typed_wrongly_can_be_taken_back_and_nothing_else_goes() {
    let s = Small::new();
    let before = s.holds();
    let film = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1"];
    let tried = ["--vehicle", "saloon A", "--pad", "white foam", "--liquid", "finishing"];
    let do_it = |verb: &[&str], rest: &[&str]| succeeds(&s.with(verb, rest));
    do_it(&["thickness", "add"], &[&film[..], &["--phase", "after", "118"]].concat());
    do_it(&["trial", "add"], &[&tried[..], &["--technician", "Robin", "--passes", "3"]].concat());
    do_it(&["note", "add"], &["kept"]);
    let kept = s.holds();
    // One of a point's, however its unit is written; of equal ones one.
    let rest: [&[&str]; 2] = [&["--phase", "after", "122"], &["--phase", "after", "4.8mil", "122", "1220"]];
    do_it(&["thickness", "add"], &[&film[..], rest[0]].concat());
    let with_one = s.holds();
    do_it(&["thickness", "add"], &[&film[..], rest[1]].concat());
    let all = s.holds();
    let after = [&film[..], &["--phase", "after"]].concat();
    for (missing, words) in [(["122", "77"], "no reading of 77 µm after"), (["1220", "1220"], "no reading of 1220 µm")]
    {
        s.fails(&["thickness", "remove"], &[&after[..], &missing].concat(), 1, &[words, "thickness show"]);
        assert_eq!(s.holds(), all, "all of them, or none");
    }
    do_it(&["thickness", "remove"], &[&after[..], &["1220", "122", "121.92"]].concat());
    assert_eq!(s.holds(), with_one);
    do_it(&["thickness", "remove"], &[&after[..], &["122"]].concat());
    assert_eq!(s.holds(), kept);
    do_it(&["thickness", "add"], &[&film[..], &["--phase", "before", "12", "1220"]].concat());
    do_it(&["trial", "add"], &[&tried[..], &["--technician", "Robin", "--passes", "4", "--panel", "Roof"]].concat());
    do_it(&["note", "add"], &["slip"]);
    assert_ne!(s.holds(), kept);
    // A panel is one however it is typed.
    let film = ["--vehicle", "saloon A", "--panel", "BONNET", "--point", "1"];
    do_it(&["thickness", "remove"], &[&film[..], &["--phase", "before"]].concat());
    do_it(&["trial", "remove"], &[&tried[..], &["--panel", "roof"]].concat());
    do_it(&["note", "remove"], &["slip"]);
    assert_eq!(s.holds(), kept);
    do_it(&["thickness", "remove"], &[&film[..], &["--phase", "after"]].concat());
    do_it(&["trial", "remove"], &tried);
    do_it(&["note", "remove"], &["kept"]);
    assert_eq!(s.holds(), before);
}

/// Notes of the same words are told apart by where they are; one about a session is about its vehicle, as a try is.
#[test]
fn a_note_goes_where_it_belongs_and_one_at_a_time() {
    let s = Small::new();
    succeeds(&s.with(&["shop", "add"], &["vehicle", "saloon B", "--paint", "clear-coat"]));
    let recording = text(&s.recording("a.mcap", ""));
    let filed = ["--shop", &s.shop, "--vehicle", "saloon A", "--panel", "bonnet"];
    succeeds(&[&["review", &recording, "--out", &text(&at(&s.folder, "r"))], &filed[..]].concat());
    let before = s.holds();
    let elsewhere = ["--session", "1", "--section", "1", "--vehicle", "saloon B", "--panel", "roof", "x"];
    let refused = ["session 1", "\"saloon A\"", "\"saloon B\"", "--vehicle"];
    s.fails(&["note", "add"], &elsewhere, 1, &refused);
    let tried =
        ["--session", "1", "--vehicle", "saloon B", "--technician", "Robin", "--pad", "white foam", "--passes", "3"];
    s.fails(&["trial", "add"], &[&tried[..], &["--liquid", "finishing"]].concat(), 1, &refused);
    assert_eq!(s.holds(), before);
    let add = |rest: &[&str]| succeeds(&s.with(&["note", "add"], &[rest, &["Stone chips"]].concat()));
    add(&["--vehicle", "saloon B", "--panel", "roof"]);
    let one = s.holds();
    add(&["--session", "1", "--vehicle", "saloon A"]);
    let two = s.holds();
    let remove = ["note", "remove"];
    let told = ["2 notes", "saloon A, bonnet, session 1: Stone chips", "saloon B, roof: Stone chips", "--vehicle"];
    s.fails(&remove, &["Stone chips"], 1, &told);
    s.fails(&remove, &["--session", "1", "--vehicle", "saloon B", "Stone chips"], 1, &["just these words"]);
    s.fails(&remove, &["--day", "2020-01-01", "Stone chips"], 1, &["just these words"]);
    assert_eq!(s.holds(), two);
    succeeds(&s.with(&remove, &["--vehicle", "saloon A", "Stone chips"]));
    assert_eq!(s.holds(), one);
    // Typed twice: which of the two goes does not matter, and one stays.
    add(&["--vehicle", "saloon B", "--panel", "roof"]);
    succeeds(&s.with(&remove, &["Stone chips"]));
    assert_eq!(s.holds(), one);
}

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
    assert!(grown.contains("bonnet: no removal measurable (90 % interval -3.3 to 0.5 µm, 1 point)"), "{grown}");
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

#[test]
fn a_panel_that_looks_like_a_slip_is_asked_about_and_taken_all_the_same() {
    let s = Small::new();
    let film = |panel: &str| {
        let at = ["--vehicle", "saloon A", "--panel", panel, "--point", "1", "--phase", "before", "120"];
        let output = run(&s.with(&["thickness", "add"], &at));
        assert!(output.status.success(), "{}", stderr(&output));
        stderr(&output)
    };
    assert!(film("hod").contains("hod is a new panel; did you mean hood?"), "{}", film("hod"));
    assert!(!film("hod").contains("did you mean"), "known by now");
    assert!(!film("left door").contains("did you mean"));
    // What is told to be typed does it: where the vehicle has the panel that was meant, and where it does not.
    let put_right = |said: &str, merges: bool| {
        let command = said
            .split_once("right with `")
            .and_then(|(_, rest)| rest.split('`').next())
            .unwrap_or_else(|| panic!("no command in {said}"));
        assert_eq!(command.contains("--merge"), merges, "{command}");
        let command = command.replace("steadypass", env!("CARGO_BIN_EXE_steadypass")).replace("DIR", &s.shop);
        let output = Command::new("sh").args(["-c", &command]).output().expect("a shell");
        assert!(output.status.success(), "{command}: {}", stderr(&output));
    };
    put_right(&film("left wign"), false);
    put_right(&film("left wnig"), true);
    film("driver's 'B' $HOME");
    put_right(&film("drver's 'B' $HOME"), true);
    let recording = text(&s.recording("door.mcap", ""));
    let (out, trial) = (text(&at(&s.folder, "out")), ["--vehicle", "saloon A", "--technician", "Robin"]);
    let asks = |args: &[&str], asked: bool| {
        let output = run(args);
        let said = stderr(&output);
        assert!(output.status.success() && said.contains("did you mean") == asked, "{args:?}: {said}");
    };
    let filed = s.with(&["review", &recording, "--out", &out, "--no-sheets"], &["--panel", "left dor"]);
    asks(&filed, true);
    asks(&filed, false);
    let filed = s.with(&["review", &recording, "--out", &out, "--no-sheets"], &["--panel", "left doro"]);
    // The session was the only one of that panel, and is not any more.
    put_right(&stderr(&run(&filed)), false);
    let trial =
        [&trial[..], &["--pad", "white foam", "--liquid", "finishing", "--passes", "2", "--panel", "rof"]].concat();
    asks(&s.with(&["trial", "add"], &trial), true);
    asks(&s.with(&["note", "add"], &["--vehicle", "saloon A", "--panel", "bumber", "Chipped."]), true);
}

#[test]
fn a_vehicle_is_described_anew_and_what_is_not_told_stays() {
    let s = Small::new();
    let said = succeeds(&s.with(&["shop", "describe"], &["Saloon a", "--hardness", "hard", "--year", "2019"]));
    assert_eq!(said.trim(), "saloon A (clear-coat of 2019, unknown, hardness hard)");
    let kept = |column: &str| -> Option<String> {
        let store = Connection::open(s.store()).expect("opened");
        store.query_row(&format!("SELECT {column} FROM vehicles"), [], |row| row.get(0)).expect("one")
    };
    assert_eq!(kept("owner").as_deref(), Some("Somebody Private"));
    succeeds(
        &s.with(&["shop", "describe"], &["saloon A", "--owner", "", "--colour", "dark", "--note", "resprayed roof"]),
    );
    assert_eq!((kept("owner"), kept("note").as_deref()), (None, Some("resprayed roof")));
    assert!(
        succeeds(&s.with(&["shop", "status"], &["--all"]))
            .contains("saloon A (clear-coat of 2019, dark, hardness hard)")
    );
    // A year that was a guess is taken back.
    for none in ["", "unknown"] {
        succeeds(&s.with(&["shop", "describe"], &["saloon A", "--year", "2019"]));
        let said = succeeds(&s.with(&["shop", "describe"], &["saloon A", "--year", none]));
        assert_eq!(said.trim(), "saloon A (clear-coat, dark, hardness hard)");
    }
}

/// A pad belongs to the machine it was filed with; one that was typed stays whatever is filed.
#[test]
fn a_pad_goes_with_its_recording_from_the_wrong_machine() {
    let s = Small::new();
    let plan = |name: &str, pad_mm: u32| {
        format!("[machine]\n{name}kind = \"orbital\"\nthrow_mm = 15\npad_diameter_mm = {pad_mm}\n")
    };
    let out = text(&at(&s.folder, "out"));
    let file = |recording: &str, machine: &[&str]| {
        let output = run(&s.with(&["review", recording, "--out", &out, "--no-sheets"], machine));
        assert!(output.status.success(), "{}", stderr(&output));
        stderr(&output)
    };
    let pads = |machine: &str| -> Vec<f64> {
        let said: serde_json::Value =
            serde_json::from_str(&succeeds(&s.with(&["shop", "status"], &["--json"]))).expect("JSON");
        let machines = said["machines"].as_array().expect("machines");
        let pads = machines.iter().find(|m| m["name"] == machine).expect("known")["pad_diameters_mm"].as_array();
        pads.expect("sizes").iter().filter_map(serde_json::Value::as_f64).collect()
    };
    succeeds(&s.with(&["shop", "add"], &["machine", "machine 3", "--kind", "orbital", "--throw-mm", "15"]));
    let nameless = text(&s.recording("nameless.mcap", &plan("", 75)));
    file(&nameless, &["--machine", "machine 2"]);
    assert_eq!(pads("machine 2"), [75.0, 125.0]);
    file(&nameless, &["--machine", "machine 3"]);
    assert_eq!((pads("machine 2"), pads("machine 3")), (vec![125.0], vec![75.0]), "the typed one stays");
    // A plan of another machine says nothing of this one's pads.
    let named = text(&s.recording("named.mcap", &plan("name = \"big one\"\n", 150)));
    file(&named, &[]);
    assert_eq!(pads("big one"), [150.0]);
    let said = file(&named, &["--machine", "machine 2"]);
    assert!(said.contains("The plan has a pad of 150 mm, the shop knows machine 2 with 125 mm"), "{said}");
    assert_eq!((pads("machine 2"), pads("big one")), (vec![125.0], vec![]));
}

#[test]
fn tables_with_a_bad_row_go_in_not_at_all_and_name_the_line() {
    let s = Small::new();
    let before = s.holds();
    let trials = "vehicle,technician,pad,liquid,day,passes,finish_reached,haze";
    let good = "saloon A,Robin,white foam,finishing,2026-03-02,4,yes,1";
    let film = "vehicle,panel,point,phase,day,film_um,section,along_m,across_m";
    for (name, content, words) in [
        ("technicians.csv", "name\nKim\nROBIN\n".to_owned(), vec!["line 3", "already a technician"]),
        ("technicians.csv", "name,note\nKim\n".to_owned(), vec!["line 2", "1 cells where the header has 2"]),
        ("technicians.csv", "name;note\nKim;\n".to_owned(), vec!["no column \"name;note\"", "separated by commas"]),
        ("machines.csv", "name,kind\nmachine 3,\n".to_owned(), vec!["line 2", "column kind is empty or missing"]),
        ("machines.csv", "name,kind,pad_diameters_mm\nm,orbital,125;big\n".to_owned(), vec!["line 2", "\"big\""]),
        ("products.csv", "kind,name,aggressiveness\npad,grey,1.5\n".to_owned(), vec!["line 2", "whole number", "1.5"]),
        ("trials.csv", format!("{trials}\n{good}\n{}\n", good.replace(",1", ",2.7")), vec!["line 3", "haze", "2.7"]),
        ("trials.csv", format!("{trials}\n{}\n", good.replace("yes", "perhaps")), vec!["line 2", "yes or no"]),
        (
            "trials.csv",
            format!("{trials}\n{}\n", good.replace("foam", "foan")),
            vec!["line 2", "did you mean \"white foam\""],
        ),
        ("trials.csv", format!("{}\n{good}\n", trials.replace("haze", "hase")), vec!["no column \"hase\"", "haze"]),
        (
            "trials.csv",
            format!("{trials},session\n{good},1-abc\n"),
            vec!["line 2", "1-abc is not filed", "sessions.csv"],
        ),
        (
            "film_readings.csv",
            format!("{film}\nsaloon A,door,1,before,2026-03-02,thick,,,\n"),
            vec!["line 2", "\"thick\""],
        ),
        (
            "film_readings.csv",
            format!("{film}\nsaloon A,door,1,before,2026-03-02,120,1,0.1,\n"),
            vec!["line 2", "all of section"],
        ),
        ("notes.csv", "day,text\n2026-03-02,\n".to_owned(), vec!["line 2", "column text is empty"]),
        ("prices.csv", "a\n1\n".to_owned(), vec!["says what it holds", "trials.csv"]),
    ] {
        let file = s.file(name, &content);
        // A good table beside it does not go in either.
        let other = s.file("settings.csv", "key,value\ncare,Wash by hand.\n");
        s.fails(&["shop", "import"], &[&other, &file], 1, &[&[name], &words[..]].concat());
    }
    let crlf = s.file("technicians.csv", "name,note\r\nWren,\r\n\r\n,none\r\n");
    s.fails(&["shop", "import"], &[&crlf], 1, &["technicians.csv", "line 4", "column name"]);
    let latin = at(&s.folder, "vehicles.csv");
    fs::write(&latin, b"label\nk\xfcbelwagen\n").expect("written");
    s.fails(&["shop", "import"], &[&text(&latin)], 1, &["vehicles.csv", "line 2", "UTF-8"]);
    s.fails(&["shop", "import"], &[&text(&at(&s.folder, "machines2/machines.csv"))], 1, &["no such file"]);
    s.fails(&["shop", "import"], &[&s.file("shop.json", "{\"format\":\"else\"}")], 1, &["expected an exported shop"]);
    assert_eq!(s.holds(), before, "nothing was changed");
}

#[test]
fn machine_data_that_is_missing_or_differs_is_said() {
    let s = Small::new();
    let out = text(&at(&s.folder, "out"));
    let file = |recording: &PathBuf, rest: &[&str]| {
        let recording = text(recording);
        let output = run(&[&["review", &recording, "--out", &out, "--no-sheets", "--shop", &s.shop], rest].concat());
        assert!(output.status.success(), "{}", stderr(&output));
        stderr(&output)
    };
    let nameless = s.recording("nameless.mcap", "");
    let said = file(&nameless, &[]);
    assert!(said.contains("Nobody says which machine it was") && said.contains("--machine NAME"), "{said}");
    s.fails(&["compare"], &["--out", &out, "--by", "machine"], 1, &["says which machine it was", "--machine NAME"]);
    s.fails(&["compare"], &["--out", &out, "--by", "product"], 1, &["says which pad and liquid", "--pad NAME"]);
    s.fails(
        &["compare"],
        &["--out", &out, "--machine", "machine 2"],
        1,
        &["none of the 1 that are filed", "ask for less"],
    );
    let review = ["review", &text(&nameless), "--out", &out, "--no-sheets"];
    s.fails(&review, &["--machine", "machin 2"], 1, &["did you mean \"machine 2\""]);
    file(&nameless, &["--machine", "machine 2"]);
    succeeds(&s.with(&["compare"], &["--out", &out, "--by", "machine"]));
    // Told once, known from then on.
    assert!(!file(&nameless, &[]).contains("which machine"));

    let other = s.recording(
        "other.mcap",
        "[machine]\nname = \"machine 7\"\nkind = \"orbital\"\nthrow_mm = 21\npad_diameter_mm = 125\n",
    );
    let said = file(&other, &["--machine", "machine 2"]);
    for words in [
        "plan names machine 7; this session is filed under machine 2, as told",
        "orbital with 21 mm throw, the shop knows machine 2 as orbital with 15 mm throw: pad speeds follow the plan",
    ] {
        assert!(said.contains(words), "{words:?} not in {said}");
    }
}

#[test]
fn a_page_replaces_an_earlier_page_and_nothing_else() {
    let small = Small::new();
    let report = |out: &str| run(&small.with(&["report"], &["--vehicle", "saloon A", "--out", out]));
    let refused = |out: &str, word: &str| {
        let output = report(out);
        assert_eq!(output.status.code(), Some(1), "{out}");
        let said = stderr(&output);
        assert!(said.contains(out) && said.contains(word), "{said}");
    };
    let page = text(&at(&small.folder, "page.html"));
    assert!(report(&page).status.success() && report(&page).status.success(), "a page again");
    for (name, content) in
        [("plan.toml", "pace_mm_s = [10, 20]\n"), ("door.png", "\u{89}PNG"), ("own.html", "<html>my own</html>")]
    {
        let path = small.file(name, content);
        refused(&path, "move it away");
        assert_eq!(fs::read_to_string(&path).expect("still there"), content);
    }
    let pipe = at(&small.folder, "pipe");
    nix::unistd::mkfifo(&pipe, nix::sys::stat::Mode::S_IRWXU).expect("a pipe");
    refused(&text(&pipe), "a device or a pipe");
    refused("/dev/stdout", "choose the name of a file");
    refused("/dev/full", "a device or a pipe");
    assert!(!fs::metadata("/dev/full").expect("still there").is_file());
    let file = small.file("a file", "x");
    refused(&text(&PathBuf::from(&file).join("page.html")), "a part of its path is a file");
}
