//! A name typed wrongly, put right through the program: everywhere it stands, and nothing else changes.

use std::{fs, process::Command};

use rusqlite::Connection;
use steadypass::recording::UserNote;
use tempfile::TempDir;

use crate::{small_shop::Small, support::*};

/// The store as it is exported, for comparing.
fn holds(shop: &str) -> String {
    let out = TempDir::new().expect("temp");
    succeeds(&["-q", "shop", "export", "--shop", shop, "--out", &text(out.path())]);
    fs::read_to_string(at(&out, "shop.json")).expect("a whole shop")
}

#[test]
fn a_mistyped_name_is_renamed_put_together_or_removed() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let shop_does = |verb: &str, rest: &[&str]| succeeds(&[&["shop", verb, "--shop", &shop], rest].concat());
    let refuses =
        |rest: &[&str], code: i32, words: &[&str]| expect(&[&["shop"], rest, &["--shop", &shop]].concat(), code, words);
    shop_does("add", &["technician", "Jrög"]);
    shop_does("add", &["vehicle", "saloon A"]);
    let door = text(&recording(&folder, "JRÖG"));
    let out = text(&at(&folder, "out"));
    let review = ["review", &door, "--no-sheets", "--out", &out, "--shop", &shop];
    succeeds(&[&review[..], &["--vehicle", "saloon A", "--panel", "bonet"]].concat());
    let gauge = ["--vehicle", "saloon A", "--panel", "bonnet", "--point", "1", "--phase", "before", "120"];
    succeeds(&[&["thickness", "add", "--shop", &shop], &gauge[..]].concat());
    let listed = || shop_does("status", &["--all"]);

    let before = holds(&shop);
    refuses(&["remove", "technician", "jrög"], 1, &["is used by 1 session (1)", "nothing was changed", "--merge"]);
    refuses(&["remove", "vehicle", "saloon A"], 1, &["1 session (1), 1 reading", "shop rename --merge"]);
    refuses(&["rename", "technician", "Jorg", "Jörg"], 1, &["no technician called \"Jorg\""]);
    refuses(&["rename", "technician", "Jrög", " "], 2, &["NEW"]);
    refuses(&["rename", "panel", "bonet", "hood"], 1, &["work without a vehicle has no panel", "add --vehicle LABEL"]);
    refuses(&["rename", "pad", "a", "b", "--vehicle", "saloon A"], 2, &["--vehicle is for panels"]);
    let panel = ["rename", "panel", "BONET", "bonnet", "--vehicle", "saloon A"];
    refuses(&panel, 1, &["already a panel of saloon A called \"bonnet\"", "--merge"]);
    assert_eq!(holds(&shop), before, "nothing was changed");

    assert_eq!(shop_does("rename", &["technician", "jrög", "Jörg"]).trim(), "jrög is Jörg now");
    let said = shop_does("rename", &[&panel[1..], &["--merge"]].concat());
    assert_eq!(said.trim(), "BONET of saloon A is bonnet now: 1 session (1)");
    assert!(listed().contains("Jörg, saloon A, bonnet") && !listed().contains("Jrög"), "{}", listed());
    // The recording still says what was typed; its filing goes by the shop.
    succeeds(&review);
    assert!(shop_does("rebuild", &[]).contains("1 session computed again"));
    assert!(listed().contains("1 technician,") && listed().contains("Jörg, saloon A, bonnet"), "{}", listed());

    shop_does("add", &["technician", "Kim"]);
    refuses(&["rename", "technician", "Jörg", "KIM"], 1, &["already a technician called \"KIM\"", "--merge"]);
    refuses(&["rename", "technician", "Jörg", "Sam", "--merge"], 1, &["no technician called \"Sam\""]);
    let said = shop_does("rename", &["technician", "Jörg", "KIM", "--merge"]);
    assert_eq!(said.trim(), "Jörg went into KIM: 1 session (1)");
    assert!(listed().contains("Kim, saloon A, bonnet") && listed().contains("1 technician,"), "{}", listed());
    shop_does("add", &["technician", "Robni"]);
    assert_eq!(shop_does("remove", &["technician", "robni"]).trim(), "robni removed");
    assert!(!listed().contains("Robni"));
}

#[test]
fn a_session_filed_by_mistake_is_taken_back() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let out = text(&at(&folder, "out"));
    let review = ["review", &text(&recording(&folder, "Robin")), "--no-sheets", "--out", &out, "--shop", &shop];
    succeeds(&review);
    let filed = holds(&shop);
    let note = |verb: &'static str| ["note", verb, "--shop", &shop, "--session", "1", "Haze."];
    succeeds(&note("add"));
    let remove = |number: &'static str| ["shop", "remove", "--shop", &shop, "session", number];
    expect(&remove("one"), 2, &["session one: that is not a whole number"]);
    expect(&remove("2"), 1, &["there is no session 2", "status --all"]);
    expect(&remove("1"), 1, &["session 1 is used by 1 note", "nothing was changed", "note remove"]);
    succeeds(&note("remove"));
    assert_eq!(succeeds(&remove("1")).trim(), "session 1 removed");
    assert!(succeeds(&["shop", "status", "--shop", &shop]).contains("0 sessions"));
    succeeds(&review);
    assert_eq!(holds(&shop), filed, "filed anew, as it was");
}

/// Whoever began is called otherwise in the shop than in the recording now, and comes back in it under the old name.
#[test]
fn a_renamed_technician_who_got_the_machine_back_stays_one_in_a_rebuild() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let alone = recording(&folder, "Alder");
    let shared = at(&folder, "shared.mcap");
    let to = |name: &str| UserNote::Technician { name: name.into() };
    with_notes(&alone, &shared, vec![(60.0, to("alder")), (30.0, to("Birch"))]);
    let out = text(&at(&folder, "out"));
    succeeds(&["review", &text(&shared), "--no-sheets", "--out", &out, "--shop", &shop]);
    let before = rows_of_sessions(&folder, &shop);
    assert_eq!(before.len(), 2, "{before:?}");
    succeeds(&["shop", "rename", "--shop", &shop, "technician", "Alder", "Robin"]);
    let renamed: Vec<(String, String)> =
        before.iter().map(|(who, s)| (who.replace("Alder", "Robin"), s.clone())).collect();
    assert_eq!(rows_of_sessions(&folder, &shop), renamed);
    succeeds(&["-q", "shop", "rebuild", "--shop", &shop]);
    assert_eq!(rows_of_sessions(&folder, &shop), renamed, "the same two parts, as long as before");
}

/// Technician and length of each session.
fn rows_of_sessions(folder: &TempDir, shop: &str) -> Vec<(String, String)> {
    let tables = at(folder, "tables");
    succeeds(&["-q", "shop", "export", "--shop", shop, "--out", &text(&tables)]);
    rows(&tables.join("sessions.csv")).iter().map(|s| (s["technician"].clone(), s["seconds"].clone())).collect()
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
