//! What the shop's verbs tell and change, as JSON.

use std::{fs, path::Path};

use tempfile::TempDir;

use crate::support::*;

#[test]
fn every_verb_that_tells_of_the_shop_tells_it_as_json() {
    let folder = TempDir::new().expect("temp");
    let shop = text(&at(&folder, "shop"));
    succeeds(&["-q", "shop", "demo", "--out", &shop]);
    let json = |args: &[&str]| -> serde_json::Value {
        let said = succeeds(&[&["--json"], args].concat());
        serde_json::from_str(&said).unwrap_or_else(|e| panic!("{args:?}: {e}: {said}"))
    };
    let page = text(&at(&folder, "page.html"));
    let day = json(&["day", "--shop", &shop, "--technician", "Ash", "--day", "2026-03-02", "--out", &page]);
    assert_eq!(
        (&day["technician"], &day["page"], &day["invented"]),
        (&"Ash".into(), &page.as_str().into(), &true.into())
    );
    assert!(day["sessions"][0]["passes"].as_u64() > Some(0) && day["minutes"].as_f64() > Some(0.0), "{day}");
    assert!(
        day["vibration"].is_null() && day["vibration_finding"].as_str().is_some_and(|s| s.contains("not known")),
        "{day}"
    );
    let gauge = ["--shop", &shop, "--vehicle", "saloon A", "--panel", "bonnet", "--point", "1"];
    let film = json(&[&["thickness", "add"], &gauge[..], &["--phase", "before", "121"]].concat());
    assert_eq!(film["panels"][0]["points"][0]["before_um"], serde_json::json!([121.0]));
    assert_eq!(json(&["thickness", "show", "--shop", &shop]), film);
    let report = json(&["report", "--shop", &shop, "--vehicle", "saloon A", "--out", &page]);
    let bonnet = report["panels"].as_array().expect("panels").iter().find(|p| p["panel"] == "bonnet").expect("read");
    assert_eq!((&report["page"], &bonnet["film_before_um"]), (&page.as_str().into(), &121.0.into()));
    // A try on quite another paint: the chance is not known, and is no number.
    let tried = ["--technician", "Ash", "--pad", "short wool", "--liquid", "cutting", "--passes", "4", "--reached"];
    json(&[&["trial", "add", "--shop", &shop, "--vehicle", "van B"], &tried[..]].concat());
    let proposed = json(&["trial", "propose", "--shop", &shop, "--vehicle", "estate C"]);
    let group = proposed["group"].as_array().expect("a group");
    assert!(group.iter().all(|c| c["chance"].is_null()), "{proposed}");
    let simulated = json(&["simulate", "--out", &text(folder.path())]);
    for file in ["table", "truth"] {
        assert!(Path::new(simulated[file].as_str().expect("a path")).is_file(), "{simulated}");
    }
    let kinds = json(&["simulate", "--kind", "list"]);
    assert!(kinds["kinds"].as_array().is_some_and(|k| k.contains(&"demo".into())), "{kinds}");
}

/// One document each, whatever the verb does; with what was asked for, in the words it was asked in.
#[test]
fn every_verb_that_changes_the_shop_tells_it_as_json() {
    let folder = TempDir::new().expect("temp");
    let path = |name: &str| text(&at(&folder, name));
    let shop = path("shop");
    let json = |args: &[&str], more: &[&str]| -> serde_json::Value {
        let said = succeeds(&[&["--json"], args, &["--shop", &shop], more].concat());
        serde_json::from_str(&said).unwrap_or_else(|e| panic!("{args:?}: {e}: {said}"))
    };
    let is = |found: &serde_json::Value, expected: serde_json::Value| assert_eq!(*found, expected);
    is(
        &json(&["shop", "init"], &["--name", "Corner Shop"]),
        serde_json::json!({ "folder": shop, "name": "Corner Shop" }),
    );
    is(&json(&["shop", "add"], &["technician", "Robni"]), serde_json::json!({ "what": "technician", "name": "Robni" }));
    json(&["shop", "add"], &["vehicle", "saloon A"]);
    json(&["shop", "add"], &["technician", "Kim"]);
    let renamed = json(&["shop", "rename"], &["technician", "Robni", "Robin"]);
    is(
        &renamed,
        serde_json::json!({ "what": "technician", "old": "Robni", "new": "Robin", "merged": false, "moved": null }),
    );
    let described = json(&["shop", "describe"], &["saloon A", "--hardness", "hard"]);
    assert_eq!((&described["label"], &described["hardness"]), (&"saloon A".into(), &"hard".into()));
    is(&json(&["shop", "set"], &["gauge-sd-um", "1.2"]), serde_json::json!({ "key": "gauge-sd-um", "value": "1.2" }));
    is(&json(&["shop", "set"], &["gauge-sd-um", ""]), serde_json::json!({ "key": "gauge-sd-um", "value": null }));

    let recording = text(&recording(&folder, "Robin"));
    let reviewed = json(
        &["review"],
        &[&recording, "--out", &path("out"), "--no-sheets", "--vehicle", "saloon A", "--panel", "bonnet"],
    );
    assert!(reviewed["passes"].as_u64() > Some(0), "{reviewed}");
    is(&json(&["shop", "trainer"], &["1"]), serde_json::json!({ "session": 1, "trainer": true }));
    is(&json(&["shop", "trainer"], &["1", "--not"]), serde_json::json!({ "session": 1, "trainer": false }));
    is(&json(&["shop", "assign"], &["1", "Kim"]), serde_json::json!({ "session": 1, "technician": "Kim" }));
    // A health figure goes with whom the shop has for the work, and that is said.
    let exposed = succeeds(&["--json", "exposure", &recording]);
    assert!(exposed.contains("\"technician\":\"Robin\"") && !exposed.contains("Kim"), "{exposed}");
    let exposed = json(&["exposure"], &[&recording]);
    let days = exposed["days"].as_array().expect("days");
    assert!(!days.is_empty() && days.iter().all(|day| day["technician"] == "Kim"), "{exposed}");
    let said = stderr(&run(&["exposure", &recording, "--shop", &shop]));
    assert!(said.contains("told to be Robin's in the recording, Kim's in the shop; it counts as Kim's"), "{said}");
    let of_robin = json(&["exposure"], &[&recording, "--technician", "Robin"]);
    assert_eq!(of_robin["days"], serde_json::json!([]));
    let merged = json(&["shop", "rename"], &["technician", "Kim", "Robin", "--merge"]);
    assert_eq!((&merged["merged"], &merged["moved"]["sessions"]), (&true.into(), &serde_json::json!([1])));
    is(&json(&["shop", "rebuild"], &[])["done"], 1.into());
    assert!(json(&["shop", "status"], &[])["listed"].is_null(), "only where all is asked for");
    let all = json(&["shop", "status"], &["--all"]);
    is(&all["listed"][0]["session"], 1.into());
    is(&all["listed"][0]["technician"], "Robin".into());
    is(&all["listed"][0]["vehicle"], "saloon A".into());
    is(&all["listed"][0]["pad"], serde_json::Value::Null);
    assert!(all["listed"][0]["started"].as_str() > all["listed"][0]["day"].as_str(), "{all}");

    let note = json(&["note", "add"], &["--vehicle", "saloon A", "--panel", "bonnet", "Deep scratch left."]);
    assert_eq!(note, json(&["note", "list"], &[])[0]);
    let session_note = json(&["note", "add"], &["--session", "1", "New pad."]);
    assert_eq!(session_note["vehicle"], "saloon A", "the session's, as it is listed");
    json(&["shop", "rename"], &["panel", "bonnet", "left door", "--vehicle", "saloon A"]);
    is(&json(&["note", "remove"], &["Deep scratch left."]), serde_json::json!({ "removed": 1 }));

    for (point, phase, film_um) in [("1", "before", "121"), ("1", "after", "118"), ("2", "before", "120")] {
        let at = ["--vehicle", "saloon A", "--panel", "left door", "--point", point, "--phase", phase, film_um];
        json(&["thickness", "add"], &at);
    }
    json(&["shop", "set"], &["gauge-sd-um", "0.5"]);
    let ledger = json(&["thickness", "ledger"], &["--out", &path("ledger")]);
    let row = &ledger["rows"][0];
    assert_eq!((&row["panel"], &row["removal_um"]), (&"left door".into(), &3.0.into()), "{ledger}");
    assert!(row["lo90"].as_f64() < row["wear_um_per_m"].as_f64() && row["rubbed_m"].as_f64() > Some(0.0), "{ledger}");
    for file in ["table", "drawing"] {
        assert!(Path::new(ledger[file].as_str().expect("a path")).is_file(), "{ledger}");
    }

    let exported = json(&["shop", "export"], &["--out", &path("tables")]);
    let files = exported["files"].as_array().expect("files");
    assert!(files.iter().all(|file| Path::new(file.as_str().expect("a path")).is_file()), "{exported}");
    is(&json(&["shop", "backup"], &["--to", &path("copy.db")]), serde_json::json!({ "backup": path("copy.db") }));
    fs::write(at(&folder, "technicians.csv"), "name\nAsh\n").expect("written");
    let imported = json(&["shop", "import"], &[&path("technicians.csv")]);
    is(&imported, serde_json::json!({ "files": [path("technicians.csv")], "rows": 1, "left_out": [] }));
    is(&json(&["shop", "remove"], &["technician", "Ash"]), serde_json::json!({ "what": "technician", "name": "Ash" }));

    let said = succeeds(&["--json", "shop", "demo", "--out", &path("demo")]);
    let demo: serde_json::Value = serde_json::from_str(&said).expect("one document");
    assert_eq!((&demo["folder"], &demo["invented"], &demo["seed"]), (&path("demo").into(), &true.into(), &1.into()));
    let found = demo["found"].as_array().expect("rows");
    assert!(found.iter().any(|row| row["figure"] == "arm_speed_mps" && row["stands_out"] == true), "{demo}");
    assert!(found.iter().all(|row| row["lo90"].as_f64() <= row["value"].as_f64()), "{demo}");
    assert!(Path::new(demo["comparison"]["page"].as_str().expect("a path")).is_file());

    let demo = path("demo");
    let beside = ["--json", "compare", "--shop", &demo, "--out", &path("beside"), "--session", "2", "--reference", "1"];
    let beside: serde_json::Value = serde_json::from_str(&succeeds(&beside)).expect("one document");
    assert_eq!((&beside["session"], &beside["reference"]), (&2.into(), &1.into()));
    assert!(Path::new(beside["drawing"].as_str().expect("a path")).is_file());
    assert!(beside["lesson"].as_array().is_some_and(|lines| !lines.is_empty()), "{beside}");
}
