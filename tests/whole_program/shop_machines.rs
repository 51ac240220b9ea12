//! The shop's machines: what a recording's figures go by, and what does not fit it.

use std::{fs, path::PathBuf};

use steadypass::{recording::Reader, simulation::Scenario};
use tempfile::TempDir;

use crate::{small_shop::Small, support::*};

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
