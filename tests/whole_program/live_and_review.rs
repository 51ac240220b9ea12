//! Live and review run the same code on the same bytes: the same tables, byte for byte.

use std::{collections::HashMap, fs, thread, time::Duration};

use resvg::tiny_skia::Pixmap;
use steadypass::{
    recording::{Body, Entry, Reader, RecordingWriter, TableEntry, UserNote},
    simulation::{Scenario, Trouble},
};
use steadypass_protocol::ResetCause;
use tempfile::TempDir;

use crate::support::*;

#[test]
fn live_and_review_give_the_same_tables() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 10.0);
    let (out, live, review) = (at(&folder, "run.mcap"), at(&folder, "live"), at(&folder, "review"));
    let child = start_record(&port, &out, &["--tables", &text(&live)]);
    wait_for("the end of the scenario", || port.with(|s| s.is_over()));
    let output = interrupt(child);
    assert!(output.status.success(), "{}", stderr(&output));
    let reviewed = run(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
    assert!(reviewed.status.success(), "{}", stderr(&reviewed));
    same_tables(&live, &review);
    assert!(rows(&review.join("strokes.csv")).len() >= 8, "the scenario's strokes are there");
    assert!(rows(&review.join("warnings.csv")).iter().any(|w| w["kind"] == "heat-over"));

    // A stroke length that the turns contradict is not gone by: the passes are as though none had been told, which is said.
    assert!(!stderr(&reviewed).contains("stroke length told"), "{}", stderr(&reviewed));
    let told = at(&folder, "told");
    let doubted = run(&["--json", "review", &text(&out), "--stroke-length-m", "0.65", "--out", &text(&told)]);
    let want = "The stroke length told, 0.65 m, does not fit any of the 2 passes: their turns say 0.3";
    assert!(stderr(&doubted).contains(want), "{}", stderr(&doubted));
    assert!(fs::read_to_string(told.join("index.html")).expect("the page").contains(want));
    let said: serde_json::Value = serde_json::from_slice(&doubted.stdout).expect("JSON");
    assert_eq!(said["told_length_m"], 0.65);
    let doubts = said["length_doubts"].as_array().expect("a list");
    assert_eq!(doubts.iter().map(|d| d["pass"].as_u64()).collect::<Vec<_>>(), [Some(1), Some(2)], "{said}");
    for doubt in doubts {
        let [lo, value, hi] = ["by_turns_lo_m", "by_turns_m", "by_turns_hi_m"].map(|key| doubt[key].as_f64().unwrap());
        assert!(doubt["section"].is_u64() && 0.2 < lo && lo < value && value < hi && hi < 0.65, "{said}");
    }
    for name in ["strokes.csv", "passes.csv"] {
        let [untold, doubted] = [&review, &told].map(|folder| rows(&folder.join(name)));
        assert_eq!(untold, doubted, "{name}");
    }
    // Whoever was warned of the pace may have been warned by that length.
    let doubt_of = |folder: &std::path::Path| {
        let warnings = rows(&folder.join("warnings.csv"));
        assert!(warnings.iter().any(|w| w["kind"].starts_with("pace")), "{warnings:?}");
        let of = |w: &HashMap<String, String>| (w["kind"].starts_with("pace"), w["length_doubt"].clone());
        warnings.iter().map(of).collect::<Vec<_>>()
    };
    let clear = |pace: bool| if pace { "clear" } else { "" };
    assert!(doubt_of(&told).iter().all(|(pace, doubt)| doubt == clear(*pace)), "{:?}", doubt_of(&told));
    assert!(doubt_of(&review).iter().all(|(_, doubt)| doubt.is_empty()), "{:?}", doubt_of(&review));
    let page = fs::read_to_string(told.join("index.html")).expect("the page");
    let paces = doubt_of(&told).iter().filter(|(pace, _)| *pace).count();
    let words = "It may have gone by the stroke length told, which the turns of this pass contradict.";
    assert_eq!(page.matches(words).count(), paces);
    assert_eq!(page.matches("by the turns, length told in doubt").count(), 2, "beside the speed of each pass");
    assert!(page.contains("; stroke length told in doubt"), "in the finding");
}

/// Through an unplugging, a restart and damaged frames, too; and the loss is told by exit code 3.
#[test]
fn they_agree_through_every_trouble() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 4.0);
    let (out, live, review) = (at(&folder, "run.mcap"), at(&folder, "live"), at(&folder, "review"));
    let child = start_record(&port, &out, &["--tables", &text(&live)]);
    wait_for("streaming", || port.with(|s| s.is_streaming()));
    thread::sleep(Duration::from_secs(4));
    port.with(|s| s.suffer(Trouble::BitError));
    port.with(|s| s.suffer(Trouble::Overrun { samples: 400 }));
    thread::sleep(Duration::from_secs(1));
    port.unplug();
    thread::sleep(Duration::from_millis(800));
    port.replug(true).expect("plugs in");
    thread::sleep(Duration::from_secs(3));
    port.with(|s| s.suffer(Trouble::Restart(ResetCause::Watchdog)));
    thread::sleep(Duration::from_secs(3));
    let output = interrupt(child);
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("Some data is missing"), "{}", stderr(&output));
    let reviewed = run(&["review", &text(&out), "--no-sheets", "--out", &text(&review)]);
    assert_eq!(reviewed.status.code(), Some(3), "{}", stderr(&reviewed));
    assert!(stderr(&reviewed).contains("1 sensor restart,"), "{}", stderr(&reviewed));
    same_tables(&live, &review);
}

/// A hand-over during a recording is kept in it with its time, and what is worked from then on is the new hands' work.
#[test]
fn a_handed_over_machine_is_the_other_technicians_work() {
    let folder = TempDir::new().expect("temp");
    let here = text(folder.path());
    let [table, first, second, review] = ["demo-1.csv", "first.mcap", "second.mcap", "review"].map(|n| at(&folder, n));
    for args in [
        &["simulate", "--out", &here][..],
        &["import", &text(&table), "--out", &text(&first), "--technician", "Technician A", "--invented"],
        &["review", &text(&first), "--no-sheets", "--out", &text(&review)],
    ] {
        let output = run(args);
        assert!(output.status.success(), "{}", stderr(&output));
    }
    let alone = rows(&review.join("passes.csv"));
    assert!(alone.len() >= 2, "the scenario has two passes");
    assert!(alone.iter().all(|pass| pass["technician"] == "Technician A"));

    // The same again, handed over between the first pass and the second.
    let seconds =
        |row: &std::collections::HashMap<String, String>, name: &str| -> f64 { row[name].parse().expect("s") };
    let handed_s = 0.5 * (seconds(&alone[0], "end_s") + seconds(&alone[1], "start_s"));
    let mut reader = Reader::open(&first).expect("a recording");
    let mut writer = RecordingWriter::create(&second, reader.facts()).expect("creates");
    let mut handed = false;
    let mut copy = |entry: Entry<'_>| {
        let Body::Table(piece) = &entry.body else { panic!("an imported table") };
        if let TableEntry::Accel(run) = piece
            && run.first_us * 1e-6 > handed_s
            && !std::mem::replace(&mut handed, true)
        {
            writer.note(entry.log_ns, &UserNote::Technician { name: "Technician B".into() }).expect("stored");
        }
        writer.table(entry.log_ns, piece).expect("stored");
    };
    while reader.next_chunk(&mut copy).expect("reads") {}
    writer.finish(0, "stopped").expect("finishes");

    let output = run(&["review", &text(&second), "--out", &text(&review)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let shared = rows(&review.join("passes.csv"));
    for (i, (pass, before)) in shared.iter().zip(&alone).enumerate() {
        assert_eq!(pass["technician"], if i == 0 { "Technician A" } else { "Technician B" });
        assert_eq!(pass["start_s"], before["start_s"], "nothing else changes");
        assert_eq!(pass["traverse_mean_mps"], before["traverse_mean_mps"]);
    }
    let page = fs::read_to_string(review.join("index.html")).expect("a page");
    assert!(page.contains("nvented data"), "what was imported as invented is called so");
    assert!(
        page.contains("Technician A, Technician B")
            && page.contains(r#"<td data-label="Technician">Technician B</td>"#)
    );

    // Who began it can be said better afterwards; the hand-over stays.
    let output =
        run(&["review", &text(&second), "--no-sheets", "--technician", "Technician C", "--out", &text(&review)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let named: Vec<String> = rows(&review.join("passes.csv")).iter().map(|pass| pass["technician"].clone()).collect();
    assert_eq!(named[..2], ["Technician C", "Technician B"]);
}

#[test]
fn marks_are_told_with_their_times() {
    let folder = TempDir::new().expect("temp");
    let (marked, review) = (at(&folder, "marked.mcap"), at(&folder, "review"));
    with_notes(&recording(&folder, "Robin"), &marked, vec![(90.0, UserNote::NewSection), (30.0, UserNote::NewSection)]);
    let output = run(&["--json", "review", &text(&marked), "--no-sheets", "--out", &text(&review)]);
    let said: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let told: Vec<f64> = said["marks_s"].as_array().expect("marks").iter().filter_map(|t| t.as_f64()).collect();
    assert!(told.len() == 2 && (told[0] - 30.0).abs() < 0.1 && (told[1] - 90.0).abs() < 0.1, "{said}");
    let table = rows(&review.join("marks.csv"));
    assert_eq!(table.iter().map(|row| &row["mark"]).collect::<Vec<_>>(), ["1", "2"]);
    assert!(table.iter().zip(told).all(|(row, t_s)| row["t_s"] == format!("{t_s:.3}")), "{table:?}");
}

/// Otherwise all warming of an hour's table counts from where its first section began.
#[test]
fn a_mark_told_with_a_table_begins_a_section_and_its_warming() {
    let folder = TempDir::new().expect("temp");
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let (table, door, out) = (at(&folder, "demo-1.csv"), at(&folder, "door.mcap"), at(&folder, "out"));
    let passes = |marks: &[&str]| {
        let _ = fs::remove_file(&door);
        let told = succeeds(&[&["--json", "import", &text(&table), "--out", &text(&door)], marks].concat());
        let told: serde_json::Value = serde_json::from_str(&told).expect("JSON");
        succeeds(&["review", &text(&door), "--no-sheets", "--out", &text(&out)]);
        let start_c = |row: &HashMap<String, String>| row["surface_start_c"].parse::<f64>().expect("a number");
        let passes = rows(&out.join("passes.csv"));
        let sections: Vec<String> = passes.iter().map(|row| row["section"].clone()).collect();
        (told["marks"].as_u64(), sections, passes.iter().map(start_c).collect::<Vec<_>>())
    };
    let (marks, sections, starts_c) = passes(&[]);
    assert_eq!((marks, &sections[..]), (Some(0), &["1".to_owned(), "1".to_owned()][..]));
    assert_eq!(starts_c[0], starts_c[1]);
    // Between the demo's two passes: the second begins on a panel that the first has warmed.
    let (marks, sections, starts_c) = passes(&["--mark-at", "1:32"]);
    assert_eq!((marks, &sections[..]), (Some(1), &["1".to_owned(), "2".to_owned()][..]));
    assert!(starts_c[1] > starts_c[0] + 1.0, "{starts_c:?}");
    assert_eq!(rows(&out.join("marks.csv"))[0]["t_s"], "92.000");
    expect(
        &["import", &text(&table), "--out", "no.mcap", "--mark-at", "soon"],
        2,
        &["--mark-at", "such as 754, 12:34"],
    );
}

#[test]
fn notes_are_told_with_their_times() {
    let folder = TempDir::new().expect("temp");
    let (noted, review) = (at(&folder, "noted.mcap"), at(&folder, "review"));
    let note = |text: &str| UserNote::Text { text: text.into() };
    with_notes(&recording(&folder, "Robin"), &noted, vec![(90.0, note("=haze & all")), (30.0, note("soft spot"))]);
    let output = run(&["--json", "review", &text(&noted), "--out", &text(&review)]);
    let said: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let told: Vec<(f64, &str)> = said["notes"]
        .as_array()
        .expect("notes")
        .iter()
        .map(|n| (n["t_s"].as_f64().expect("s"), n["text"].as_str().expect("text")))
        .collect();
    let [(first_s, "soft spot"), (second_s, "=haze & all")] = told[..] else { panic!("{said}") };
    assert!((first_s - 30.0).abs() < 0.1 && (second_s - 90.0).abs() < 0.1, "{said}");
    let table = rows(&review.join("notes.csv"));
    assert_eq!(table[0]["t_s"], format!("{first_s:.3}"));
    // A spreadsheet shall not compute it.
    assert_eq!([&table[0]["text"], &table[1]["text"]], ["soft spot", "'=haze & all"]);
    let page = fs::read_to_string(review.join("index.html")).expect("a page");
    assert!(page.contains("<td>soft spot</td>") && page.contains("<td>=haze &amp; all</td>"));
    // Over the key figures of the sheet of the pass in which they fall, and of no other.
    let over_figures = |pass: &HashMap<String, String>| {
        let sheet = format!("section-{:0>2}-pass-{:0>2}.png", pass["section"], pass["pass"]);
        ink(&review.join(sheet), (60, 1009, 400, 13)) > 100
    };
    for pass in rows(&review.join("passes.csv")) {
        let [start_s, end_s] = ["start_s", "end_s"].map(|key| pass[key].parse::<f64>().expect("s"));
        let noted = [first_s, second_s].iter().any(|t_s| (start_s..=end_s).contains(t_s));
        assert_eq!(over_figures(&pass), noted, "{pass:?}");
    }
}

#[test]
fn what_the_import_found_wrong_stands_on_every_sheet() {
    let folder = TempDir::new().expect("temp");
    assert!(run(&["simulate", "--out", &text(folder.path())]).status.success());
    let table = fs::read_to_string(at(&folder, "demo-1.csv")).expect("a table");
    let turned: Vec<String> = table
        .lines()
        .map(|line| {
            let cells = line.split(',').enumerate().map(|(i, cell)| match cell.parse::<f64>() {
                Ok(value) if i == 4 => (-value).to_string(),
                _ => cell.to_owned(),
            });
            cells.collect::<Vec<_>>().join(",")
        })
        .collect();
    fs::write(at(&folder, "turned.csv"), turned.join("\n")).expect("written");
    for (name, is_wrong) in [("demo-1", false), ("turned", true)] {
        let (recording, review) = (at(&folder, &format!("{name}.mcap")), at(&folder, name));
        let output = run(&["import", &text(&at(&folder, &format!("{name}.csv"))), "--out", &text(&recording)]);
        assert_eq!(stderr(&output).contains("Gravity does not turn"), is_wrong, "{}", stderr(&output));
        assert!(run(&["review", &text(&recording), "--out", &text(&review)]).status.success());
        let files = fs::read_dir(&review).expect("a folder").map(|entry| entry.expect("an entry").path());
        let sheets: Vec<_> = files.filter(|path| path.extension().is_some_and(|end| end == "png")).collect();
        assert!(!sheets.is_empty());
        for sheet in sheets {
            // Between the headline and the strips.
            assert_eq!(ink(&sheet, (90, 195, 900, 6)) > 100, is_wrong, "{}", sheet.display());
        }
    }
}

/// Dark pixels inside x, y, width, height of a picture.
fn ink(png: &std::path::Path, (x, y, w, h): (u32, u32, u32, u32)) -> usize {
    let pixels = Pixmap::decode_png(&fs::read(png).expect("a picture")).expect("decodes");
    let places = (y..y + h).flat_map(|row| (x..x + w).map(move |column| (column, row)));
    places.filter(|(column, row)| pixels.pixel(*column, *row).is_some_and(|p| p.red() < 110 && p.green() < 110)).count()
}

#[test]
fn a_drill_is_rehearsed_without_a_sensor_and_leaves_nothing() {
    let folder = TempDir::new().expect("temp");
    let words =
        ["drill", "--rehearse", "--pace-mm-s", "60", "--within-mm-s", "15", "--stroke-m", "0.3", "--strokes", "3"];
    let output = steadypass().args(words).current_dir(folder.path()).output().expect("runs");
    let (said, told) = (stderr(&output), String::from_utf8_lossy(&output.stdout));
    assert!(output.status.success(), "{said}");
    assert!(said.contains("Rehearsal: 3 strokes at 60 ± 15 mm/s") && said.contains("nothing is kept"), "{said}");
    // The third is hurried.
    assert!(told.starts_with("2 of 3 strokes within 60 ± 15 mm/s"), "{told}");
    assert!(!told.contains("compared"), "nothing is kept to compare with: {told}");
    assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 0);
}

fn same_tables(live: &std::path::Path, review: &std::path::Path) {
    for name in TABLES {
        let [a, b] = [live, review].map(|folder| fs::read(folder.join(name)).expect(name));
        assert!(a == b, "{name} differs between live and review");
    }
}

#[test]
fn a_table_keeps_the_day_on_which_the_work_was_done() {
    let folder = TempDir::new().expect("temp");
    let (table, out) = (at(&folder, "old.csv"), at(&folder, "old.mcap"));
    let rows: String = (0..300).map(|i| format!("{:.2},0,0,9.8\n", f64::from(i) * 0.01)).collect();
    fs::write(&table, format!("t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n{rows}")).expect("write");
    succeeds(&["import", &text(&table), "--out", &text(&out), "--started", "2026-03-04T09:30"]);
    let reader = steadypass::recording::Reader::open(&out).expect("a recording");
    assert!(reader.facts().started.starts_with("2026-03-04T09:30:00"), "{}", reader.facts().started);
}

/// Figures go by the machine of the plan that a review is given, so it names that one.
#[test]
fn a_review_names_the_machine_that_its_figures_go_by() {
    let folder = TempDir::new().expect("temp");
    let (run, plan) = (recording(&folder, "Robin"), at(&folder, "plan.toml"));
    let told = |more: &[&str]| {
        let out = at(&folder, "review");
        succeeds(&[&["review", &text(&run), "--out", &text(&out)], more].concat());
        fs::read_to_string(out.join("index.html")).expect("a page")
    };
    let page = told(&[]);
    assert!(page.contains("machine not told: orbital 15 mm, 125 mm pad assumed"));
    let orbital = "kind = \"orbital\"\nthrow_mm = 15\npad_diameter_mm = 125";
    for (machine, text_of) in
        [(orbital, "orbital 15 mm, 125 mm pad"), ("kind = \"rotary\"\npad_diameter_mm = 150", "rotary, 150 mm pad")]
    {
        fs::write(&plan, format!("[machine]\n{machine}\n")).expect("write");
        let page = told(&["--plan", &text(&plan)]);
        assert!(page.contains(text_of) && !page.contains("not told"), "{text_of}");
    }
}

#[test]
fn a_recording_and_its_review_are_told_as_one_json_document() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 10.0);
    let record = |name: &str, more: &[&str]| -> serde_json::Value {
        let (port, out) = (text(port.path()), text(&at(&folder, name)));
        let said = succeeds(&[&["--json", "record", "--seconds", "4", "--port", &port, "--out", &out], more].concat());
        let told: serde_json::Value = serde_json::from_str(&said).unwrap_or_else(|e| panic!("{e}: {said}"));
        assert_eq!(told["recording"], out.as_str());
        assert!(told["seconds"].as_f64() > Some(3.0), "{told}");
        told
    };
    assert!(record("a.mcap", &["--no-review"])["review"].is_null());
    let reviewed = record("b.mcap", &[]);
    assert!(std::path::Path::new(reviewed["review"]["page"].as_str().expect("a path")).is_file(), "{reviewed}");
}
