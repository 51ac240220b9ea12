//! `host/JSON.md` against what the program prints: every key that it has is printed, and every key that is printed is on it.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs::{self, File},
    io::BufWriter,
    path::Path,
};

use serde_json::Value;
use steadypass::{
    calibration::{Accel, Calibration, Gyro, Thermometer, save},
    link::Port,
    recording::UserNote,
    simulation::{Scenario, write_table},
};
use tempfile::TempDir;

use crate::{
    exposure_and_calibration::{SENSOR, Story, still, working, write},
    small_shop::Small,
    support::*,
};

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/JSON.md");

/// Endings of keys and the unit that they stand for, the longer ones first.
const UNITS: [(&str, &str); 16] = [
    ("_um_per_m", "µm/m"),
    ("_percent", "%"),
    ("_radps", "rad/s"),
    ("_mps2", "m/s²"),
    ("_mm_s", "mm/s"),
    ("seconds", "s"),
    ("minutes", "min"),
    ("_um", "µm"),
    ("_mm", "mm"),
    ("_ms", "ms"),
    ("_hz", "Hz"),
    ("_s", "s"),
    ("_m", "m"),
    ("_k", "K"),
    ("_c", "°C"),
    ("_g", "g"),
];

/// One row of a table.
struct Row {
    /// "text", "number", "list of text"; "object" or "list" where the value is a link.
    kind: String,
    or_null: bool,
    unit: String,
    /// The heading that the value has its keys under.
    link: Option<String>,
}

/// The page, by the anchors of its headings.
struct Page {
    headings: BTreeMap<String, String>,
    rows: BTreeMap<(String, String), Row>,
    /// Rows that were printed.
    seen: BTreeSet<(String, String)>,
    faults: BTreeSet<String>,
}

/// What a heading is linked to by.
fn anchor(heading: &str) -> String {
    let kept = heading.to_lowercase();
    kept.chars().filter(|c| c.is_alphanumeric() || " -".contains(*c)).map(|c| if c == ' ' { '-' } else { c }).collect()
}

impl Page {
    fn read() -> Self {
        let mut page =
            Self { headings: BTreeMap::new(), rows: BTreeMap::new(), seen: BTreeSet::new(), faults: BTreeSet::new() };
        let mut under = String::new();
        for line in fs::read_to_string(PAGE).expect("the page").lines() {
            if let Some(heading) = line.strip_prefix("## ") {
                under = anchor(heading);
                assert!(page.headings.insert(under.clone(), heading.into()).is_none(), "{heading} twice");
            } else if line.starts_with("| `") {
                let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
                let [key, value, unit, _] = cells[..] else { panic!("four columns: {line}") };
                let or_null = value.ends_with(" or null");
                let value = value.trim_end_matches(" or null");
                let link = value.split_once("](#").map(|(_, rest)| rest.trim_end_matches(')').to_owned());
                let kind = match (&link, value.starts_with("list of [")) {
                    (None, _) => value,
                    (Some(_), true) => "list",
                    (Some(_), false) => "object",
                };
                let row = Row { kind: kind.into(), or_null, unit: unit.into(), link };
                let key = key.trim_matches('`').to_owned();
                assert!(page.rows.insert((under.clone(), key), row).is_none(), "twice: {line}");
            }
        }
        page
    }

    /// What a run printed, under the heading that names its verb.
    fn holds(&mut self, verb: &str, printed: &Value) {
        let quoted = format!("`{verb}`");
        let under = self.headings.iter().find(|(_, heading)| heading.split(", ").any(|part| part == quoted));
        let under = under.unwrap_or_else(|| panic!("no heading names {quoted}")).0.clone();
        self.visit(&under, "", printed);
    }

    fn visit(&mut self, under: &str, at: &str, value: &Value) {
        match value {
            Value::Object(keys) => {
                for (key, value) in keys {
                    self.row(under, &if at.is_empty() { key.clone() } else { format!("{at}.{key}") }, value);
                }
            }
            Value::Array(items) => {
                let each = format!("{at}[]");
                for item in items.iter().filter(|item| item.is_object()) {
                    if self.rows.contains_key(&(under.into(), each.clone())) {
                        self.row(under, &each, item);
                    } else {
                        self.visit(under, &each, item);
                    }
                }
            }
            _ => {}
        }
    }

    fn row(&mut self, under: &str, key: &str, value: &Value) {
        let place = (under.to_owned(), key.to_owned());
        let Some(row) = self.rows.get(&place) else {
            self.faults.insert(format!("{under}: `{key}` is printed, and not on the page"));
            return;
        };
        if !is_a(value, row) {
            self.faults.insert(format!("{under}: `{key}` is not a {}: {value}", row.kind));
        }
        let link = row.link.clone();
        self.seen.insert(place);
        match (link, value) {
            (None, _) => self.visit(under, key, value),
            (Some(link), Value::Array(items)) => items.iter().for_each(|item| self.visit(&link, "", item)),
            (Some(link), _) => self.visit(&link, "", value),
        }
    }

    /// Runs the program and holds what it printed against the page. What it says of losses does not matter here.
    fn runs(&mut self, verb: &str, args: &[&str]) -> Value {
        let output = run(&[&["--json"], args].concat());
        assert!(matches!(output.status.code(), Some(0 | 3)), "{args:?}: {}", stderr(&output));
        let printed = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}"));
        self.holds(verb, &printed);
        printed
    }
}

fn is_a(value: &Value, row: &Row) -> bool {
    let all = |is: fn(&Value) -> bool| value.as_array().is_some_and(|items| items.iter().all(is));
    let pair = |item: &Value| item.as_array().is_some_and(|pair| pair.len() == 2 && pair.iter().all(Value::is_number));
    match row.kind.as_str() {
        _ if value.is_null() => row.or_null,
        "text" => value.is_string(),
        "number" => value.is_number(),
        "true/false" => value.is_boolean(),
        "object" => value.is_object(),
        "list" => all(Value::is_object),
        "list of text" => all(Value::is_string),
        "list of numbers" => all(Value::is_number),
        "list of pairs" => all(pair),
        _ => false,
    }
}

#[test]
fn every_key_is_on_the_page_and_every_key_of_the_page_is_printed() {
    let mut page = Page::read();
    of_sensors(&mut page);
    of_recordings(&mut page);
    of_calibrations(&mut page);
    of_names(&mut page);
    of_paint(&mut page);
    of_days(&mut page);
    of_the_invented_shop(&mut page);
    let unseen = page.rows.keys().filter(|row| !page.seen.contains(*row));
    let unseen: Vec<String> = unseen.map(|(under, key)| format!("{under}: `{key}` is never printed")).collect();
    let faults: Vec<String> = page.faults.into_iter().chain(unseen).collect();
    assert!(faults.is_empty(), "host/JSON.md:\n{}", faults.join("\n"));
}

/// A key that ends in a unit has it in its row.
#[test]
fn the_units_are_those_that_the_keys_say() {
    for ((under, key), row) in Page::read().rows {
        let says = UNITS.iter().find(|(ending, _)| key.ends_with(ending) && row.kind.contains("number"));
        if let Some((_, unit)) = says {
            assert_eq!(row.unit, *unit, "{under}: `{key}`");
        }
    }
}

#[test]
fn every_verb_is_on_the_page() {
    let verbs = |above: &[&str]| -> Vec<String> {
        let help = succeeds(&[above, &["--help"]].concat());
        let listed = help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
        // What goes on from the line before is indented further.
        let names =
            listed.filter_map(|line| line.strip_prefix("  ")?.split(' ').next().filter(|name| !name.is_empty()));
        names.filter(|name| *name != "help").map(str::to_owned).collect()
    };
    let page = Page::read();
    let named: BTreeSet<&str> =
        page.headings.values().flat_map(|heading| heading.split('`').skip(1).step_by(2)).collect();
    let all = verbs(&[]);
    assert!(all.len() > 15, "{all:?}");
    for verb in all {
        let below = verbs(&[&verb]);
        let full: Vec<String> = match below.is_empty() {
            true => vec![verb],
            false => below.iter().map(|name| format!("{verb} {name}")).collect(),
        };
        for verb in full {
            assert!(named.contains(verb.as_str()), "host/JSON.md has no heading for `{verb}`");
        }
    }
}

fn of_sensors(page: &mut Page) {
    let folder = TempDir::new().expect("temp");
    // A computer may have no port, and has none that is a pseudo-terminal.
    let port = Port { name: "port".into(), description: String::new(), likely: true };
    page.holds("ports", &serde_json::to_value([port]).expect("JSON"));
    page.runs("ports", &["ports"]);
    let sensor = virtual_port(&folder, &Scenario::demo(), 10.0);
    let port = text(sensor.path());
    page.runs("sensor", &["sensor", "--port", &port, "--buzzer", "off"]);
    let [recording, practice] = ["a.mcap", "b.mcap"].map(|name| text(&at(&folder, name)));
    page.runs("record", &["record", "--port", &port, "--seconds", "4", "--out", &recording]);
    page.runs("drill", &["drill", "--port", &port, "--strokes", "3", "--out", &practice]);
    page.runs("sensor --loader", &["sensor", "--port", &port, "--loader"]);
}

fn of_recordings(page: &mut Page) {
    let folder = TempDir::new().expect("temp");
    let path = |name: &str| text(&at(&folder, name));
    page.runs("simulate", &["simulate", "--out", &text(folder.path())]);
    page.runs("simulate --kind list", &["simulate", "--kind", "list"]);
    page.runs("import", &["import", &path("demo-1.csv"), "--out", &path("demo.mcap")]);
    let review = |page: &mut Page, name: &str, more: &[&str]| {
        page.runs("review", &[&["review", &path(name), "--no-sheets", "--out", &path("out")], more].concat())
    };
    let note = UserNote::Text { text: "soft spot".into() };
    with_notes(Path::new(&path("demo.mcap")), Path::new(&path("noted.mcap")), vec![(30.0, note)]);
    // Twice as long as the strokes are.
    review(page, "noted.mcap", &["--stroke-length-m", "0.65"]);
    let mut quick = Scenario { seed: 3, ..Scenario::default() };
    let arm = &mut quick.arm;
    (arm.traverse_mps, arm.stroke_m, arm.turn_s, arm.step_m) = (0.25, 0.12, 0.3, 0.01);
    (arm.pass_axes, arm.strokes_per_pass) = (vec![0], 40);
    write_table(&quick, BufWriter::new(File::create(path("quick.csv")).expect("created"))).expect("written");
    page.runs("import", &["import", &path("quick.csv"), "--out", &path("quick.mcap")]);
    review(page, "quick.mcap", &[]);
    let several = run(&[
        "--json",
        "review",
        &path("demo.mcap"),
        &path("gone.mcap"),
        &path("quick.mcap"),
        "--no-sheets",
        "--out",
        &path("several"),
    ]);
    let told: Value = serde_json::from_slice(&several.stdout).expect("one document");
    let folders: Vec<&Value> = told["reviews"].as_array().expect("a list").iter().map(|r| &r["folder"]).collect();
    assert_eq!(folders, [&path("several/demo"), &path("several/quick")]);
    page.holds("review A.mcap B.mcap", &told);
}

fn of_calibrations(page: &mut Page) {
    let folder = TempDir::new().expect("temp");
    let rest = text(&at(&folder, "rest.mcap"));
    still(Path::new(&rest), &|_| [0.0, 0.0, 9.81], 20.0, 24.0);
    let kept = text(&at(&folder, "kept"));
    page.runs("calibrate", &["calibrate", "--still", &rest, "--calibration", &kept]);
    let when = || "2026-03-02T09:00:00+01:00".to_owned();
    let all = Calibration {
        gyro: Some(Gyro { when: when(), bias_radps: [0.01; 3], sd_radps: [1e-5; 3], seconds: 30.0 }),
        accel: Some(Accel {
            when: when(),
            offset_mps2: [0.1; 3],
            scale: [1.0; 3],
            gravity_mps2: 9.81,
            poses: 6,
            left_over_mps2: 0.0,
        }),
        thermometer: Some(Thermometer {
            when: when(),
            offset_k: 0.4,
            target_emissivity: 0.95,
            points: 2,
            left_over_k: 0.0,
        }),
        ..Calibration::of(SENSOR)
    };
    save(Path::new(&kept), &all).expect("kept");
    page.runs("calibrate", &["calibrate", "--show", SENSOR, "--calibration", &kept]);
    page.runs("calibrate --noise", &["calibrate", "--noise", &rest]);
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware/field-results-example.csv");
    page.runs("calibrate --field-results", &["calibrate", "--field-results", sheet]);
}

/// Names, settings and the store itself, with one session that is filed.
fn of_names(page: &mut Page) {
    let small = Small::new();
    let path = |name: &str| text(&at(&small.folder, name));
    let recording = text(&small.recording("door.mcap", ""));
    let runs = |page: &mut Page, verb: &str, rest: &[&str]| {
        let words: Vec<&str> = verb.split(' ').collect();
        page.runs(verb, &small.with(&words, rest))
    };
    page.runs("shop init", &["shop", "init", "--shop", &path("another"), "--name", "Another"]);
    let used = ["--pad", "white foam", "--liquid", "finishing", "--machine", "machine 2"];
    let review = ["--out", &path("out"), "--no-sheets", "--vehicle", "saloon A", "--panel", "bonnet"];
    let review = [&review[..], &used].concat();
    runs(page, "review", &[&[recording.as_str()], &review[..]].concat());
    runs(page, "shop status", &["--all"]);
    runs(page, "shop add", &["technician", "Kim"]);
    runs(page, "shop describe", &["saloon A", "--year", "2019"]);
    runs(page, "shop set", &["gauge-sd-um", "1.2"]);
    runs(page, "shop set", &["gauge-sd-um", ""]);
    runs(page, "shop trainer", &["1"]);
    runs(page, "shop assign", &["1", "Kim"]);
    runs(page, "shop rename", &["technician", "Kim", "Kit"]);
    runs(page, "shop rename", &["technician", "Kit", "Robin", "--merge"]);
    runs(page, "shop rename", &["panel", "bonnet", "left door", "--vehicle", "saloon A"]);
    runs(page, "shop rebuild", &[]);
    runs(page, "shop export", &["--out", &path("tables")]);
    runs(page, "shop backup", &["--to", &path("copy.db")]);
    runs(page, "shop import", &[&small.file("technicians.csv", "name\nAsh\n")]);
    runs(page, "note add", &["--session", "1", "--section", "1", "New pad."]);
    runs(page, "note list", &[]);
    runs(page, "note remove", &["New pad."]);
    for (phase, film_um) in [("before", "121"), ("after", "118")] {
        let place = ["--vehicle", "saloon A", "--panel", "left door", "--point", "1", "--phase", phase, film_um];
        runs(page, "thickness add", &place);
    }
    runs(page, "shop set", &["gauge-sd-um", "0.5"]);
    runs(page, "shop set", &["film-floor-um", "119"]);
    // Worked and read, but not both before and after.
    let another = text(&small.recording("roof.mcap", ""));
    runs(
        page,
        "review",
        &[another.as_str(), "--out", &path("out"), "--no-sheets", "--vehicle", "saloon A", "--panel", "roof"],
    );
    let roof = ["--vehicle", "saloon A", "--panel", "roof", "--point", "1", "--phase", "before", "120"];
    runs(page, "thickness add", &roof);
    let tried = ["--vehicle", "saloon A", "--pad", "white foam", "--liquid", "finishing", "--passes", "2", "--reached"];
    runs(page, "trial add", &[&tried[..], &["--technician", "Robin"]].concat());
    runs(page, "day", &["--technician", "Robin"]);
    runs(page, "thickness ledger", &["--out", &path("ledger")]);
    runs(page, "report", &["--vehicle", "saloon A", "--out", &path("page.html")]);
    let unused = ["pad", "grey foam"];
    runs(page, "shop add", &[&unused[..], &["--place", "9"]].concat());
    runs(page, "shop remove", &unused);
    runs(page, "shop remove", &["session", "2"]);
}

/// The test spot and the film gauge.
fn of_paint(page: &mut Page) {
    let small = Small::new();
    let runs = |page: &mut Page, verb: &str, rest: &[&str]| {
        let words: Vec<&str> = verb.split(' ').collect();
        page.runs(verb, &[&small.with(&words, &["--vehicle", "saloon A"]), rest].concat())
    };
    succeeds(&small.with(&["shop", "set"], &["film-floor-um", "120"]));
    succeeds(&small.with(
        &["thickness", "add"],
        &["--vehicle", "saloon A", "--panel", "roof", "--point", "1", "--phase", "before", "118"],
    ));
    runs(page, "trial propose", &[]);
    let tried = ["--pad", "white foam", "--liquid", "finishing"];
    runs(page, "trial add", &[&tried[..], &["--technician", "Robin", "--passes", "2", "--reached"]].concat());
    runs(page, "trial verdict", &[]);
    runs(page, "trial remove", &tried);
    let point = ["--panel", "bonnet", "--point", "1", "--phase", "before"];
    // One that no coat gives.
    runs(page, "thickness add", &[&point[..], &["4.8", "121", "122"]].concat());
    runs(page, "thickness show", &[]);
    runs(page, "thickness remove", &[&point[..], &["121"]].concat());
}

/// A day whose vibration was measured.
fn of_days(page: &mut Page) {
    let folder = TempDir::new().expect("temp");
    let [recording, shop, out] = ["day.mcap", "shop", "out"].map(|name| text(&at(&folder, name)));
    let says = working(30.0);
    write(Path::new(&recording), &Story { seconds: 30.0, technician: "Robin", says: &says });
    let exposure = page.runs("exposure", &["exposure", &recording]);
    page.runs("exposure", &["exposure", "--technician", "Robin", "--declared", "sander=4.5:30"]);
    succeeds(&["shop", "init", "--shop", &shop]);
    page.runs("review", &["review", &recording, "--no-sheets", "--out", &out, "--shop", &shop]);
    let day = page.runs("day", &["day", "--shop", &shop, "--technician", "Robin", "--day", "2026-03-02"]);
    assert_eq!(day["vibration"], exposure["days"][0]);
}

fn of_the_invented_shop(page: &mut Page) {
    let folder = TempDir::new().expect("temp");
    let [shop, out] = ["shop", "out"].map(|name| text(&at(&folder, name)));
    page.runs("shop demo", &["shop", "demo", "--out", &shop]);
    page.runs("compare", &["compare", "--shop", &shop, "--out", &out]);
    let beside = ["--session", "2", "--reference", "1"];
    page.runs("compare --session", &[&["compare", "--shop", &shop, "--out", &out], &beside[..]].concat());
}
