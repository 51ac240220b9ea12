//! What users get wrong around the shop's memory: one clear sentence each, the right exit code, nothing lost.

use std::{fs, path::PathBuf};

use crate::{small_shop::Small, support::*};

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
