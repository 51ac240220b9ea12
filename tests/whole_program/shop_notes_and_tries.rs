//! Notes, and tries on the test spot.

use std::fs;

use tempfile::TempDir;

use crate::{small_shop::Small, support::*};

#[test]
fn notes_are_written_and_listed_by_vehicle_and_session() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &out]);
    let add = |rest: &[&str]| succeeds(&[&["note", "add", "--shop", &out], rest].concat());
    add(&["--vehicle", "saloon A", "--panel", "bonnet", "--day", "2026-03-02", "Deep scratch left as it is."]);
    add(&["--session", "2", "--section", "1", "New pad from here on."]);
    add(&["--day", "2026-03-09", "The lamp over bay 2 flickers."]);
    let all = succeeds(&["note", "list", "--shop", &out]);
    let lines: Vec<&str> = all.lines().collect();
    assert_eq!(lines.len(), 3, "{all}");
    assert_eq!(lines[0], "2026-03-02 saloon A, bonnet: Deep scratch left as it is.");
    assert!(lines[1].ends_with("session 2, section 1: New pad from here on."), "{all}");
    assert_eq!(lines[2], "2026-03-09: The lamp over bay 2 flickers.");
    let of_session = succeeds(&["--json", "note", "list", "--shop", &out, "--session", "2"]);
    let rows: serde_json::Value = serde_json::from_str(&of_session).expect("JSON");
    assert_eq!((rows[0]["section"].as_u64(), rows.as_array().map(Vec::len)), (Some(1), Some(1)));
    let vehicle = rows[0]["vehicle"].as_str().expect("the session's vehicle").to_owned();
    assert!(succeeds(&["note", "list", "--shop", &out, "--vehicle", &vehicle]).contains("New pad"));
    expect(&["note", "add", "--shop", &out, "--session", "2", "--section", "9", "x"], 1, &["no section 9; it has 4"]);
    assert!(stderr(&run(&["note", "list", "--shop", &out])).contains("3 notes"));
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

/// A try belongs to whoever made it: to nobody else's recording, and, once written down, to it whatever becomes of that.
#[test]
fn a_try_of_a_session_is_of_its_day() {
    let small = crate::small_shop::Small::new();
    let recording = text(&small.recording("door.mcap", ""));
    succeeds(&["simulate", "--out", &text(small.folder.path())]);
    let table = text(&at(&small.folder, "demo-1.csv"));
    fs::remove_file(&recording).expect("removed");
    let started = ["--started", "2026-03-02T09:00:00+01:00"];
    succeeds(&[&["import", &table, "--out", &recording, "--technician", "Robin"], &started[..]].concat());
    let out = text(&at(&small.folder, "out"));
    succeeds(&small.with(&["review"], &[&recording, "--out", &out, "--no-sheets", "--vehicle", "saloon A"]));
    let tried = ["--vehicle", "saloon A", "--technician", "Robin", "--pad", "white foam", "--liquid", "finishing"];
    let add = [&tried[..], &["--passes", "2", "--session", "1"]].concat();
    let days = |more: &[&str]| {
        let found = succeeds(&small.with(&["--json", "trial", "add"], &[&add[..], more].concat()));
        let found: serde_json::Value = serde_json::from_str(&found).expect("JSON");
        let [panel] = &found["panels"].as_array().expect("panels")[..] else { panic!("{found}") };
        let tries = panel["tries"].as_array().expect("tries");
        tries.iter().map(|t| t["day"].as_str().expect("a day").to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(days(&[]), ["2026-03-02"]);
    let mut both = days(&["--day", "2026-03-05"]);
    both.sort_unstable();
    assert_eq!(both, ["2026-03-02", "2026-03-05"]);
}

#[test]
fn a_try_is_of_its_own_technicians_session() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &shop]);
    let what = ["--vehicle", "saloon A", "--pad", "soft foam", "--liquid", "finishing", "--passes", "2"];
    let of = |who: &'static str, session: &'static str| {
        [&["trial", "add", "--shop", &shop, "--technician", who, "--session", session], &what[..]].concat()
    };
    let verdict = ["trial", "verdict", "--shop", &shop, "--vehicle", "saloon A"];
    // Sessions 1 to 10 are Ash's, 11 to 20 Birch's; 1 and 14 are work on that vehicle.
    expect(&of("Birch", "1"), 1, &["session 1 is Ash's", "shop status --all", "shop assign 1 NAME"]);
    assert_eq!(succeeds(&verdict).trim(), "Nothing was tried here yet.");
    // A session of something else is taken, and what differs is said.
    let said = stderr(&run(&[&of("Birch", "14")[..], &["--panel", "roof", "--day", "2026-03-06"]].concat()));
    assert!(said.contains("Caution: session 14 is filed with pad medium foam, not soft foam; "), "{said}");
    assert!(
        said.contains("; liquid one-step, not finishing; panel boot lid, not roof; day 2026-03-05, not 2026-03-06"),
        "{said}"
    );
    assert!(said.contains("review its recording again with --pad") && said.contains("trial remove"), "{said}");
    let alike = ["--pad", "medium foam", "--liquid", "one-step", "--panel", "boot lid", "--day", "2026-03-05"];
    let of_birch =
        ["trial", "add", "--shop", &shop, "--technician", "Birch", "--session", "14", "--vehicle", "saloon A"];
    let output = run(&[&of_birch[..], &["--passes", "2"], &alike].concat());
    assert!(output.status.success() && !stderr(&output).contains("is filed with"), "{}", stderr(&output));
    succeeds(&["shop", "assign", "--shop", &shop, "14", "Cedar"]);
    let tables = at(&folder, "tables");
    succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&tables)]);
    let again = text(&at(&folder, "again"));
    succeeds(&["shop", "init", "--shop", &again]);
    let typed = ["technicians", "machines", "products", "vehicles", "sessions", "trials"];
    let files: Vec<String> = typed.iter().map(|name| text(&tables.join(format!("{name}.csv")))).collect();
    let files: Vec<&str> = files.iter().map(String::as_str).collect();
    succeeds(&[&["shop", "import", "--shop", &again], &files[..]].concat());
}
