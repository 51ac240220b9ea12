//! The shop's memory through the program: filed by `review`, rebuilt, compared, and what happens when things are not there.

use std::{fs, path::Path};

use steadypass::{
    recording::{Reader, UserNote},
    simulation::Scenario,
};
use tempfile::TempDir;

use crate::support::*;

#[test]
fn a_review_is_filed_once_and_rebuilt_from_the_recording() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop, "--name", "Corner Shop"]);
    let recording = recording(&folder, "Robin");
    let review = ["review", &text(&recording), "--out", &text(&at(&folder, "out")), "--no-sheets", "--shop", &shop];
    let first = run(&review);
    assert!(stderr(&first).contains("Robin is new to this shop"), "{}", stderr(&first));
    assert!(stderr(&run(&review)).contains("filed again"));
    let with_panel = run(&[&review[..], &["--panel", "Bonnet"]].concat());
    let said = stderr(&with_panel);
    assert!(said.contains("its earlier figures replaced: panel not told before, Bonnet now."), "{said}");
    assert!(
        succeeds(&["shop", "status", "--shop", &shop])
            .contains("1 technician, 0 machines, 0 pads and liquids, 0 vehicles, 1 session")
    );
    let figures = || {
        succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&at(&folder, "tables"))]);
        fs::read_to_string(at(&folder, "tables").join("passes.csv")).expect("a table")
    };
    let columns = |table: &str| -> Vec<String> {
        table.lines().map(|l| l.split(',').skip(2).collect::<Vec<_>>().join(",")).collect()
    };
    let before = figures();
    assert!(before.lines().count() > 1, "the demo has passes: {before}");
    assert!(succeeds(&["-q", "shop", "rebuild", "--shop", &shop]).contains("1 session computed again"));
    assert_eq!(columns(&figures()), columns(&before), "the same figures again");
    let listed = succeeds(&["shop", "status", "--shop", &shop, "--all"]);
    let day = listed
        .lines()
        .find_map(|l| l.strip_prefix("session   1 "))
        .and_then(|l| l.get(..10))
        .expect("a session")
        .to_owned();
    let said = succeeds(&["day", "--shop", &shop, "--technician", "Robin", "--day", &day]);
    assert!(said.contains("Vibration exposure A(8)") && said.contains("Screening figure"), "{said}");

    // The recording deleted under the store: said, and nothing lost.
    fs::remove_file(&recording).expect("removed");
    expect(&["shop", "rebuild", "--shop", &shop], 3, &["no such file", "filed earlier are kept"]);
    let of_day = ["day", "--shop", &shop, "--technician", "Robin", "--day", &day];
    expect(&of_day, 3, &["door.mcap", "no such file", "Put the recording back"]);
    assert_eq!(columns(&figures()), columns(&before));
    assert!(stderr(&run(&["shop", "status", "--shop", &shop])).contains("is gone; its figures are kept"));
    let said = succeeds(&["-q", "compare", "--shop", &shop, "--out", &text(&at(&folder, "comparison"))]);
    assert!(said.starts_with("Too few days to compare"), "{said}");
    let page = fs::read_to_string(at(&folder, "comparison").join("index.html")).expect("a page");
    assert!(page.contains("Robin has 1 working day: too few"));
}

#[test]
fn a_panel_told_to_review_is_on_its_page_and_in_the_shop_alike() {
    let folder = TempDir::new().expect("temp");
    let (shop, out) = (text(&at(&folder, "shop")), at(&folder, "out"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let door = text(&at(&folder, "door.mcap"));
    let table = text(&at(&folder, "demo-1.csv"));
    succeeds(&["import", &table, "--out", &door, "--technician", "Robin", "--panel", "left door"]);
    let to = text(&out);
    let review = |rest: &[&str]| {
        let said = stderr(&run(&[&["review", &door, "--out", &to, "--shop", &shop], rest].concat()));
        (fs::read_to_string(out.join("index.html")).expect("a page"), said)
    };
    let (page, _) = review(&["--panel", "roof"]);
    assert!(page.contains("roof") && !page.contains("left door"), "the page says what was told");
    assert!(
        succeeds(&["shop", "status", "--shop", &shop, "--all"]).contains(" Robin, no vehicle told, roof, no pad told")
    );
    let (page, said) = review(&[]);
    assert!(
        page.contains("left door") && said.contains("names left door; this session stays filed under roof"),
        "{said}"
    );
}

#[test]
fn who_is_not_known_is_asked_for_before_and_after() {
    let folder = TempDir::new().expect("temp");
    let recording = recording(&folder, "");
    let out = text(&at(&folder, "out"));
    let shop = text(&at(&folder, "shop"));
    let review = ["review", &text(&recording), "--out", &out, "--no-sheets", "--shop", &shop];
    expect(&review, 1, &["holds no shop", "shop init"]);
    let spaced = text(&at(&folder, "my shop"));
    expect(&["shop", "status", "--shop", &spaced], 1, &[&format!("`steadypass shop init --shop '{spaced}'`")]);
    succeeds(&["shop", "init", "--shop", &shop]);
    expect(&review, 1, &["nobody says who worked", "--technician"]);
    succeeds(&["shop", "add", "--shop", &shop, "technician", "Robin"]);
    expect(&[&review[..], &["--technician", "Robni"]].concat(), 1, &["did you mean \"Robin\""]);
    expect(&["shop", "add", "--shop", &shop, "technician", "ROBIN"], 1, &["already a technician"]);
    expect(&["compare", "--shop", &shop, "--out", &out], 1, &["no filed session fits"]);
    succeeds(&[&review[..], &["--technician", "Robin"]].concat());
}

#[test]
fn a_recording_that_is_filed_beside_the_whole_one_is_asked_about() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let whole = at(&folder, "demo-1.csv");
    let table = fs::read_to_string(&whole).expect("a table");
    let lines: Vec<&str> = table.lines().collect();
    let half = at(&folder, "half.csv");
    fs::write(&half, lines[..lines.len() / 2].join("\n")).expect("written");
    let said = |table: &Path| {
        let recording = text(&table.with_extension("mcap"));
        let facts = ["--technician", "Robin", "--started", "2026-03-02T09:00:00+01:00"];
        succeeds(&[&["import", &text(table), "--out", &recording], &facts[..]].concat());
        let review = ["review", &recording, "--no-sheets", "--out", &text(&at(&folder, "out")), "--shop", &shop];
        let first = stderr(&run(&review));
        assert!(!stderr(&run(&review)).contains("cut short?"), "said once");
        first
    };
    assert!(!said(&half).contains("cut short?"));
    let said = said(&whole);
    assert!(said.contains("the same recording cut short?") && said.contains("--shop DIR session 1`"), "{said}");
}

#[test]
fn a_plan_told_to_review_names_who_worked_where_the_recording_does_not() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let plan = at(&folder, "plan.toml");
    fs::write(&plan, "technician = \"Kim\"\npanel = \"roof\"\n").expect("written");
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let (table, recording) = (text(&at(&folder, "demo-1.csv")), text(&at(&folder, "a.mcap")));
    let said = |[technician, panel]: [&str; 2], rest: &[&str]| {
        let facts = ["--technician", technician, "--panel", panel];
        succeeds(&[&["import", &table, "--out", &recording], &facts[..]].concat());
        let out = text(&at(&folder, "out"));
        let review = ["review", &recording, "--no-sheets", "--out", &out, "--shop", &shop, "--plan", &text(&plan)];
        let output = run(&[&review[..], rest].concat());
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        fs::remove_file(&recording).expect("removed");
        stderr(&output)
    };
    let by_recording = said(["Robin", "left door"], &[]);
    assert!(by_recording.contains("names Robin as its technician, "), "{by_recording}");
    assert!(by_recording.contains("plan.toml Kim: the recording goes before the plan"), "{by_recording}");
    assert!(
        by_recording.contains("--technician") && by_recording.contains("names left door as its panel"),
        "{by_recording}"
    );
    let told = said(["Robin", "left door"], &["--technician", "Sam", "--panel", "wing"]);
    assert!(!told.contains("before the plan"), "{told}");
    let by_plan = said(["", ""], &[]);
    assert!(!by_plan.contains("before the plan"), "{by_plan}");
    let listed = succeeds(&["shop", "status", "--shop", &shop, "--all"]);
    assert!(listed.lines().any(|line| line.contains(" Kim, ") && line.contains(", roof, ")), "{listed}");
}

#[test]
fn the_demo_shop_prints_what_was_built_in_and_what_was_found() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "shop"));
    let said = succeeds(&["shop", "demo", "--out", &out]);
    assert!(said.contains("Ash moves the arm faster than Birch"), "{said}");
    assert_eq!(
        files(&at(&folder, "shop").join("comparison")),
        [
            "comparison.csv",
            "days.csv",
            "differences.csv",
            "index.html",
            "intervals.png",
            "progress.png",
            "technique.png",
            "trends.csv"
        ]
    );
    // The figure is called what it is where it stands.
    assert!(said.contains("Peak surface rise, mean of passes K "), "{said}");
    let page = fs::read_to_string(at(&folder, "shop").join("comparison").join("index.html")).expect("written");
    assert!(page.contains("warmest moment of each pass, averaged over the passes"), "{page}");
    let beside = text(&at(&folder, "lesson"));
    expect(&["compare", "--shop", &out, "--out", &beside, "--session", "3"], 1, &["no session is marked"]);
    succeeds(&["shop", "trainer", "--shop", &out, "2"]);
    let itself = ["compare", "--shop", &out, "--out", &beside, "--session", "3", "--reference", "3"];
    expect(&itself, 2, &["--session 3 --reference 3", "not beside itself"]);
    succeeds(&["compare", "--shop", &out, "--out", &beside, "--session", "3"]);
    assert_eq!(files(&at(&folder, "lesson")), ["session-3-beside-2.png"]);
}

/// What `review` was told is what a rebuild goes by, long after the plan's file is gone.
#[test]
fn a_rebuild_goes_by_the_plan_and_the_stroke_length_that_were_told() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["shop", "add", "--shop", &shop, "technician", "Kim"]);
    succeeds(&["shop", "add", "--shop", &shop, "machine", "machine 4", "--kind", "orbital", "--throw-mm", "21"]);
    let recording = text(&recording(&folder, "Robin"));
    let plan = at(&folder, "narrow.toml");
    fs::write(&plan, "pace_mm_s = [18, 19]\nheat_rise_k = 2\nsection_m = [0.5, 0.4]\n[machine]\nkind = \"orbital\"\nthrow_mm = 21\npad_diameter_mm = 150\n")
        .expect("written");
    let tables = |what: &str| {
        let out = at(&folder, what);
        succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&out)]);
        fs::read_to_string(out.join("shop.json")).expect("a whole shop")
    };
    let out = text(&at(&folder, "out"));
    let review = ["review", &recording, "--out", &out, "--no-sheets", "--shop", &shop];
    succeeds(&review);
    let plain = tables("plain");
    succeeds(
        &[
            &review[..],
            &["--plan", &text(&plan), "--stroke-length-m", "0.4", "--technician", "Kim", "--machine", "machine 4"],
            &["--panel", "bonnet", "--trainer"],
        ]
        .concat(),
    );
    let told = tables("told");
    assert_ne!(told, plain);
    fs::remove_file(&plan).expect("removed");
    assert!(succeeds(&["-q", "shop", "rebuild", "--shop", &shop]).contains("1 session computed again"));
    assert_eq!(without_rows(&tables("rebuilt")), without_rows(&told), "figures and what was typed, bit for bit");
    // Another recording at its place is not taken for it.
    let other = at(&folder, "other.mcap");
    let table = text(&at(&folder, "demo-1.csv"));
    succeeds(&["import", &table, "--out", &text(&other), "--technician", "Robin", "--panel", "door"]);
    fs::rename(&other, &recording).expect("moved");
    expect(&["shop", "rebuild", "--shop", &shop], 3, &["another recording stands at this place now", "are kept"]);
    assert_eq!(without_rows(&tables("kept")), without_rows(&told));
}

/// Where neither plan nor recording tells the machine, the one that the work is filed with does.
#[test]
fn a_review_goes_by_the_machine_that_it_is_filed_with() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let add = |rest: &[&str]| succeeds(&[&["shop", "add", "--shop", &shop, "machine"], rest].concat());
    add(&["machine 4", "--kind", "orbital", "--throw-mm", "21", "--pad-mm", "150"]);
    add(&["machine 5", "--kind", "orbital", "--throw-mm", "8", "--pad-mm", "80", "--pad-mm", "125"]);
    let recording = text(&recording(&folder, "Robin"));
    let out = at(&folder, "out");
    let reviewed = |more: &[&str]| {
        let output = run(&[&["review", &recording, "--out", &text(&out)], more].concat());
        assert!(output.status.success(), "{}", stderr(&output));
        let page = fs::read_to_string(out.join("index.html")).expect("a page");
        let speed: f64 = rows(&out.join("passes.csv"))[0]["pad_speed_mean_mps"].parse().expect("m/s");
        (page, speed, stderr(&output))
    };
    let (page, assumed_mps, _) = reviewed(&[]);
    assert!(page.contains("machine not told: orbital 15 mm, 125 mm pad assumed"));

    let (page, speed_mps, said) = reviewed(&["--shop", &shop, "--machine", "machine 4"]);
    assert!(page.contains("machine 4 (orbital 21 mm, 150 mm pad)") && !page.contains("assumed"));
    assert!((speed_mps / assumed_mps - 21.0 / 15.0).abs() < 0.05, "{speed_mps} from {assumed_mps}");
    assert!(!said.contains("the shop knows"), "nothing contradicts: {said}");
    // Filed once, known from then on.
    let (page, again_mps, _) = reviewed(&["--shop", &shop]);
    assert!(page.contains("machine 4 (orbital 21 mm, 150 mm pad)") && again_mps == speed_mps);
    let exported = |what: &str| {
        let to = at(&folder, what);
        succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&to)]);
        fs::read_to_string(to.join("shop.json")).expect("a whole shop")
    };
    let filed = exported("filed");
    assert!(succeeds(&["-q", "shop", "rebuild", "--shop", &shop]).contains("1 session computed again"));
    assert_eq!(without_rows(&exported("rebuilt")), without_rows(&filed));

    // What the shop does not know stays assumed, and is said to be.
    let (page, _, said) = reviewed(&["--shop", &shop, "--machine", "machine 5"]);
    assert!(page.contains("machine 5 (orbital 8 mm, 125 mm pad assumed)"));
    assert!(said.contains("machine 5, or which of its pads it was: a pad of 125 mm is assumed"), "{said}");

    // A plan that tells the machine goes before the shop; where they differ, that is said.
    let plan = at(&folder, "plan.toml");
    fs::write(&plan, "[machine]\nkind = \"orbital\"\nthrow_mm = 12\npad_diameter_mm = 150\n").expect("written");
    let (page, _, said) = reviewed(&["--shop", &shop, "--machine", "machine 4", "--plan", &text(&plan)]);
    assert!(page.contains("machine 4 (orbital 12 mm, 150 mm pad)"));
    assert!(said.contains("12 mm throw, the shop knows machine 4 as orbital with 21 mm throw"), "{said}");

    // A name that the shop does not know is said before the work, not after it.
    fs::remove_dir_all(&out).expect("removed");
    expect(
        &["review", &recording, "--out", &text(&out), "--shop", &shop, "--machine", "machin 4"],
        1,
        &["did you mean \"machine 4\""],
    );
    assert!(!out.exists());
}

/// What is told when it is recorded is in the recording, for the live view and whoever reviews it without the shop.
#[test]
fn a_recording_made_with_a_machine_of_the_shop_carries_it() {
    let folder = TempDir::new().expect("temp");
    let (shop, out) = (text(&at(&folder, "shop")), at(&folder, "run.mcap"));
    succeeds(&["shop", "init", "--shop", &shop]);
    let machine = ["machine", "machine 4", "--kind", "orbital", "--throw-mm", "21", "--pad-mm", "150"];
    succeeds(&[&["shop", "add", "--shop", &shop], &machine[..]].concat());
    let port = virtual_port(&folder, &Scenario::demo(), 4.0);
    let record = |name: &str| {
        start_record(&port, &out, &["--seconds", "2", "--shop", &shop, "--machine", name])
            .wait_with_output()
            .expect("ends")
    };
    let mistyped = record("machin 4");
    assert_eq!(mistyped.status.code(), Some(1));
    assert!(stderr(&mistyped).contains("did you mean \"machine 4\"") && !out.exists(), "{}", stderr(&mistyped));
    let output = record("machine 4");
    assert!(output.status.success(), "{}", stderr(&output));
    let facts = Reader::open(&out).expect("opens").facts().clone();
    assert_eq!(facts.machine, "machine 4 (orbital 21 mm, 150 mm pad)");
    assert!(facts.plan.contains("throw_mm = 21\n"), "{}", facts.plan);
}

/// An exported shop without row numbers, which change when figures are replaced.
fn without_rows(shop: &str) -> serde_json::Value {
    let mut shop: serde_json::Value = serde_json::from_str(shop).expect("JSON");
    for table in ["sections", "passes", "prints"] {
        for row in shop[table]["rows"].as_array_mut().expect("rows") {
            let cells = row.as_array_mut().expect("a row");
            cells.drain(..if table == "prints" { 1 } else { 2 });
        }
    }
    shop
}

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

/// A drive that is not there costs no recording and no review; what was to be filed is refused as ever.
#[test]
fn a_shop_that_only_the_environment_names_may_be_missing_unless_something_is_to_be_filed() {
    let folder = TempDir::new().expect("temp");
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let (door, table) = (text(&at(&folder, "door.mcap")), text(&at(&folder, "demo-1.csv")));
    succeeds(&["import", &table, "--out", &door]);
    let (gone, out) = (text(&at(&folder, "gone")), text(&at(&folder, "out")));
    let review = |more: &[&str]| {
        let mut command = steadypass();
        command.env("STEADYPASS_SHOP", &gone).args(["review", &door, "--no-sheets", "--out", &out]).args(more);
        command.output().expect("the program starts")
    };
    let output = review(&[]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    for words in ["STEADYPASS_SHOP: ", "gone holds no shop", "nothing is filed", "--shop DIR` files it later"] {
        assert!(stderr(&output).contains(words), "{words}: {}", stderr(&output));
    }
    for more in [&["--shop", &gone][..], &["--vehicle", "saloon A"], &["--trainer"]] {
        let output = review(more);
        assert_eq!(output.status.code(), Some(1), "{more:?}");
        assert!(stderr(&output).contains("gone holds no shop") && output.stdout.is_empty(), "{}", stderr(&output));
    }
    // No sensor is there, either, but the shop is no reason any more.
    let mut record = steadypass();
    record.env("STEADYPASS_SHOP", &gone).args([
        "record",
        "--port",
        &text(&at(&folder, "no-port")),
        "--out",
        &text(&at(&folder, "a.mcap")),
    ]);
    let said = stderr(&record.output().expect("the program starts"));
    assert!(said.contains("nothing is filed") && said.contains("no-port"), "{said}");
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

/// What is worked after a hand-over is filed under the new technician, and notes marked in the recording with whose they are.
#[test]
fn a_handed_over_machine_is_filed_as_two_sessions_with_their_notes() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["shop", "add", "--shop", &shop, "technician", "Birch"]);
    succeeds(&["shop", "add", "--shop", &shop, "vehicle", "saloon A"]);
    let alone = recording(&folder, "Ash");
    let out = at(&folder, "out");
    succeeds(&["review", &text(&alone), "--no-sheets", "--out", &text(&out)]);
    let passes = rows(&out.join("passes.csv"));
    let seconds = |row: usize, name: &str| -> f64 { passes[row][name].parse().expect("s") };
    let handed_s = 0.5 * (seconds(0, "end_s") + seconds(1, "start_s"));
    let shared = at(&folder, "shared.mcap");
    let note = |text: &str| UserNote::Text { text: text.into() };
    // The last comes first: they are taken from the end. The name is typed with a slip.
    let notes = vec![
        (seconds(1, "end_s") - 2.0, note("Still a haze.")),
        (handed_s, UserNote::Technician { name: "Brich".into() }),
        (seconds(0, "start_s") + 5.0, note("New pad.")),
    ];
    with_notes(&alone, &shared, notes);

    let review = ["review", &text(&shared), "--no-sheets", "--out", &text(&out), "--shop", &shop];
    let output = run(&[&review[..], &["--vehicle", "saloon A", "--panel", "bonnet"]].concat());
    let said = stderr(&output);
    assert!(output.status.success() && said.contains("Brich, as typed at the hand-over, is taken for Birch"), "{said}");
    assert!(said.contains("The machine changed hands"), "{said}");
    let tables = |what: &str| {
        let out = at(&folder, what);
        succeeds(&["-q", "shop", "export", "--shop", &shop, "--out", &text(&out)]);
        out
    };
    let check = |tables: &Path| {
        let sessions = rows(&tables.join("sessions.csv"));
        let column = |name: &str| sessions.iter().map(|s| s[name].as_str()).collect::<Vec<_>>();
        assert_eq!(column("technician"), ["Ash", "Birch"]);
        assert_eq!((column("part"), column("panel")), (vec!["1", "2"], vec!["bonnet", "bonnet"]));
        assert_eq!(column("vehicle"), ["saloon A", "saloon A"]);
        let held: Vec<f64> = sessions.iter().map(|s| s["seconds"].parse().expect("s")).collect();
        assert!((held[0] - handed_s).abs() < 1.0 && held[1] > seconds(1, "end_s") - seconds(1, "start_s"), "{held:?}");
        assert!(sessions[1]["started"] > sessions[0]["started"]);
        let filed = rows(&tables.join("passes.csv"));
        for (i, pass) in filed.iter().enumerate() {
            assert_eq!(pass["session"], sessions[usize::from(i > 0)]["session"]);
            assert_eq!(pass["pass"], passes[i]["pass"]);
        }
        let notes = rows(&tables.join("notes.csv"));
        assert_eq!(notes.iter().map(|n| n["text"].as_str()).collect::<Vec<_>>(), ["New pad.", "Still a haze."]);
        for (note, session) in notes.iter().zip(&sessions) {
            assert_eq!((note["session"].as_str(), note["recorded"].as_str()), (session["session"].as_str(), "yes"));
            assert_eq!(note["section"], passes[0]["section"]);
        }
    };
    check(&tables("first"));
    succeeds(&review);
    check(&tables("again"));
    assert!(succeeds(&["-q", "shop", "rebuild", "--shop", &shop]).contains("2 sessions computed again"));
    check(&tables("rebuilt"));
    assert!(succeeds(&["note", "list", "--shop", &shop, "--vehicle", "saloon A"]).contains("Still a haze."));
    succeeds(&["note", "add", "--shop", &shop, "--session", "2", "Typed."]);

    // Somebody else after all: told once, kept by every later filing.
    succeeds(&["shop", "add", "--shop", &shop, "technician", "Brich"]);
    succeeds(&["shop", "assign", "--shop", &shop, "2", "Brich"]);
    succeeds(&review);
    let sessions = rows(&tables("assigned").join("sessions.csv"));
    assert_eq!(sessions[1]["technician"], "Brich");

    // The same recording without the hand-over, as a table that was imported anew would be: what was typed is not lost.
    succeeds(&[&review[..], &["--technician", "Brich"]].concat());
    let merged = tables("merged");
    assert_eq!(rows(&merged.join("sessions.csv")).len(), 1);
    let notes = rows(&merged.join("notes.csv"));
    assert!(notes.iter().any(|n| n["text"] == "Typed." && n["recorded"] == "no"), "{notes:?}");
}

/// Who did it was put right in the shop: a later review says the same, and that the recording does not.
#[test]
fn a_review_names_whom_the_shop_has_on_file() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    for name in ["Ash", "Cedar"] {
        succeeds(&["shop", "add", "--shop", &shop, "technician", name]);
    }
    let recording = text(&recording(&folder, "Ash"));
    let out = at(&folder, "out");
    let review = |more: &[&str]| {
        let _ = fs::remove_dir_all(&out);
        let output = run(&[&["review", &recording, "--out", &text(&out)], more].concat());
        assert!(output.status.success(), "{}", stderr(&output));
        let passes = rows(&out.join("passes.csv"));
        assert!(!passes.is_empty());
        let named: std::collections::BTreeSet<String> = passes.iter().map(|p| p["technician"].clone()).collect();
        (named.into_iter().collect::<Vec<_>>().join(" "), stderr(&output))
    };
    let filing = ["--shop", shop.as_str()];
    assert_eq!(review(&[&filing[..], &["--no-sheets"]].concat()).0, "Ash");
    succeeds(&["shop", "assign", "--shop", &shop, "1", "Cedar"]);
    let (named, said) = review(&filing);
    assert_eq!(named, "Cedar");
    let remark = "The recording names Ash; the shop has this work on file as Cedar's, and so it is shown.";
    assert_eq!(said.matches(remark).count(), 1, "{said}");
    let page = fs::read_to_string(out.join("index.html")).expect("written");
    assert!(page.contains("as Cedar&#39;s") || page.contains("as Cedar's"), "said on the page, too");
    assert!(page.contains("Cedar · machine not told"), "and in its title line");
    // Without a shop the recording is all there is; what is said now goes before both.
    assert_eq!(review(&["--no-sheets"]).0, "Ash");
    let (named, said) = review(&["--no-sheets", "--shop", &shop, "--technician", "Ash"]);
    assert!(named == "Ash" && !said.contains("on file"), "{said}");
}

/// What is written of technicians only would otherwise stay beside machines as if it were of them.
#[test]
fn a_comparison_leaves_nothing_of_an_earlier_one_of_something_else() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &shop]);
    let compare = |out: &Path, by: &str| succeeds(&["compare", "--shop", &shop, "--out", &text(out), "--by", by]);
    let out = at(&folder, "compared");
    compare(&out, "technician");
    let technicians = files(&out);
    fs::write(out.join("progress-of-mine.png"), "the user's own").expect("written");
    compare(&out, "machine");
    let machines = files(&out);
    assert_eq!(
        machines,
        ["comparison.csv", "days.csv", "differences.csv", "index.html", "intervals.png", "progress-of-mine.png"]
    );
    compare(&out, "technician");
    assert_eq!(files(&out).len(), technicians.len() + 1);
    // In a folder where nothing was compared before, a file of such a name is the user's own.
    let other = at(&folder, "other");
    fs::create_dir(&other).expect("made");
    fs::write(other.join("progress.png"), "the user's own").expect("written");
    compare(&other, "machine");
    assert_eq!(fs::read_to_string(other.join("progress.png")).expect("still there"), "the user's own");
}
