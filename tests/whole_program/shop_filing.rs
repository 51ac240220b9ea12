//! Recordings filed in the shop's memory by `review`, and computed again.

use std::{fs, path::Path};

use steadypass::recording::UserNote;
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
