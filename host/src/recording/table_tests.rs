use std::fs;

use tempfile::TempDir;

use super::*;
use crate::analysis::Reading;
use crate::recording::{Reader, Timeline};

const HEADER: &str =
    "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c";

fn import(text: &str) -> (TempDir, std::result::Result<ImportSummary, String>) {
    import_marked(text, &[])
}

fn import_marked(text: &str, marks_s: &[f64]) -> (TempDir, std::result::Result<ImportSummary, String>) {
    let folder = TempDir::new().expect("temp");
    let table = folder.path().join("table.csv");
    fs::write(&table, text).expect("write");
    let result = import_table(&table, &folder.path().join("out.mcap"), &Facts::default(), marks_s, |_| {});
    (folder, result.map_err(|e| e.to_string()))
}

#[test]
fn what_a_terminal_would_obey_is_not_quoted() {
    for bytes in ["\u{1b}]0;owned\u{7},b\n1,2\n", "\u{0}P\u{0}K\n"] {
        let error = import(bytes).1.expect_err("no table");
        assert!(error.contains("it is not a text table") && !error.chars().any(char::is_control), "{error}");
    }
    let error = import(&format!("{},b\n1,2\n", "a".repeat(5000))).1.expect_err("no such columns");
    assert!(error.contains("found aaaa") && error.contains("a…,b") && error.len() < 500, "{error}");
    let row = format!("{HEADER}\n0,0,0,9.8,,,,,\n0.1,0,0,\u{1b}[31mred{},,,,,\n", "d".repeat(100));
    let error = import(&row).1.expect_err("no number");
    assert!(error.contains("`\u{FFFD}[31mredd") && error.contains("d…`"), "{error}");
    assert!(!error.chars().any(char::is_control), "{error}");
}

#[test]
fn a_good_table_comes_back_sample_by_sample_with_its_hole() {
    let mut text = format!("\u{feff}{HEADER},remark\r\n");
    let times: Vec<usize> = (0..300).filter(|i| !(40..45).contains(i) && !(200..260).contains(i)).collect();
    for i in &times {
        let gyro = if i % 8 == 0 { "0.1,0.2,0.3" } else { ",," };
        let surface = if i % 100 == 0 { "31.5,22" } else { "," };
        text += &format!("{:.6},{i},1.5,9.81,{gyro},{surface},x\r\n", *i as f64 * 0.001);
    }
    let (folder, result) = import(&text);
    let summary = result.expect("imports");
    assert_eq!((summary.rows, summary.lost), (times.len() as u64, 65));
    assert!(summary.has_gyro && summary.has_surface);
    let (mut timeline, mut reader) = (Timeline::new(), Reader::open(&folder.path().join("out.mcap")).expect("opens"));
    let (mut seen, mut looks) = (Vec::new(), 0);
    while reader
        .next_chunk(|entry| {
            timeline.push(&entry, &mut |reading| match reading {
                Reading::Accel(run) => {
                    for (k, sample) in run.samples.iter().enumerate() {
                        let t_us = run.first_us + run.spacing_us * k as f64;
                        assert!((t_us / 1000.0 - f64::from(sample[0])).abs() < 1e-3, "sample {} at {t_us}", sample[0]);
                        seen.push(sample[0] as usize);
                    }
                }
                Reading::Surface(look) => {
                    assert_eq!((look.apparent_c, look.ambient_c, look.corrected), (Some(31.5), Some(22.0), true));
                    looks += 1;
                }
                _ => {}
            });
        })
        .expect("reads")
    {}
    assert_eq!((seen, looks), (times, 2));
    assert_eq!(timeline.losses().accel_samples, 65);
}

#[test]
fn times_rounded_to_milliseconds_are_no_losses() {
    // Three missing rows are, of each.
    for rate_hz in [650.0, 750.0, 800.0, 950.0, 990.0, 999.8] {
        let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
        for i in (0..5000).filter(|i| !(3000..3003).contains(i)) {
            text += &format!("{:.3},0,0,9.81\n", f64::from(i) / rate_hz);
        }
        let summary = import(&text).1.unwrap_or_else(|e| panic!("{rate_hz}: {e}"));
        let told = summary.rate_hz.expect("a rate");
        // A run of 72 rows is rounded at both ends.
        assert!((told / rate_hz - 1.0).abs() < 1e-2, "{rate_hz}: {told}");
        assert!((2..=4).contains(&summary.lost), "{rate_hz} rows a second: {} lost", summary.lost);
        assert!(summary.remarks().iter().any(|said| said.contains("rounded to 1 ms")), "{:?}", summary.remarks());
    }
    // 1000 a second: every step is alike. At 200, and with times to the microsecond, a single missing row shows.
    for (rate_hz, decimals, missing, lost) in
        [(1000.0, 3, 0, 0), (1000.0, 3, 3, 3), (200.0, 3, 1, 1), (800.0, 6, 1, 1), (1660.0, 6, 1, 1)]
    {
        let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
        for i in (0..5000).filter(|i| !(3000..3000 + missing).contains(i)) {
            text += &format!("{:.decimals$},0,0,9.81\n", f64::from(i) / rate_hz);
        }
        let summary = import(&text).1.unwrap_or_else(|e| panic!("{rate_hz}: {e}"));
        assert_eq!(summary.lost, lost, "{rate_hz} rows a second, {decimals} digits");
        assert_eq!(summary.hiding_s.is_some(), rate_hz == 1000.0, "{rate_hz}");
    }
}

#[test]
fn the_rate_of_a_table_is_that_of_its_rows_whatever_hole_it_has() {
    let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
    for i in 0..2000 {
        text += &format!("{:.6},0,0,9.81\n", f64::from(i) / 1660.0 + if i < 1000 { 0.0 } else { 40_000.0 });
    }
    let (folder, summary) = import(&text);
    let summary = summary.expect("imports");
    let rate = summary.rate_hz.expect("a rate");
    assert!((rate - 1660.0).abs() < 2.0, "{rate}");
    let (at_s, seconds) = summary.longest_hole.expect("a hole");
    assert!((at_s - 999.0 / 1660.0).abs() < 1e-3 && (seconds - 40_000.0).abs() < 0.01, "{at_s} {seconds}");
    // What was said stands in the recording.
    let mut reader = Reader::open(&folder.path().join("out.mcap")).expect("opens");
    let ahead = reader.closing_ahead();
    while reader.next_chunk(|_| ()).expect("reads") {}
    assert_eq!(ahead.as_ref(), reader.closing(), "known before it is read");
    let kept = &reader.closing().expect("closed").remarks;
    assert_eq!(*kept, summary.remarks().join("\n"));
    assert!(kept.contains("lasts 11 h 06 min") && kept.contains("No gyro") && !kept.contains("in ms"), "{kept}");
}

#[test]
fn what_acceleration_averages_to_tells_a_table_in_g() {
    // A tool at 50 Hz that turns over after a second: only averages over seconds show one g throughout.
    let table = |seconds: usize| {
        let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
        for i in 0..=seconds * 100 {
            let (swing, up) = (if i % 2 == 0 { 5.0 } else { -5.0 }, if i < 100 { 0.8 } else { -0.8 });
            text += &format!("{:.2},0.6,{swing},{up}\n", i as f64 * 0.01);
        }
        import(&text).1.expect("imports").steady_mps2
    };
    let steady = table(2).expect("two seconds");
    assert!((steady - 1.0).abs() < 0.01, "{steady}");
    // The first second holds nothing but a temperature.
    let late: String = (100..=320).map(|i| format!("{:.2},0,0,9.81,\n", f64::from(i) * 0.01)).collect();
    let late = format!("t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,surface_c\n0.05,,,,21.5\n{late}");
    let steady = import(&late).1.expect("imports").steady_mps2.expect("a second");
    assert!((steady - 9.81).abs() < 1e-3, "{steady}");
    let short = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n0,0,0,9.8\n0.5,0,0,9.8\n";
    assert_eq!(import(short).1.expect("imports").steady_mps2, None);
}

#[test]
fn bad_tables_are_refused_with_line_and_column_and_leave_nothing() {
    let row = |t: &str| format!("{t},0,0,9.8,0,0,0,20,20\n");
    let cases = [
        (String::new(), "no column `t_s`"),
        (format!("{HEADER}\n"), "no rows"),
        (format!("{HEADER}\n{}", row("0")), "only one row"),
        ("t_s,accel_x_mps2,accel_y_mps2\n0,1,2\n".into(), "no column `accel_z_mps2`"),
        (format!("{HEADER},t_s\n"), "stands there twice"),
        (format!("{HEADER}\n{}{}", row("0"), row("NaN")), "line 3, column `t_s`: `NaN` is not a finite number"),
        (
            format!("{HEADER}\n{}0.1,0,abc,9.8,0,0,0,20,20\n", row("0")),
            "line 3, column `accel_y_mps2`: `abc` is not a number",
        ),
        (
            format!("{HEADER}\n{}{}{}", row("0"), row("0.2"), row("0.1")),
            "line 4, column `t_s`: 0.1 does not come after 0.2",
        ),
        (
            format!("{HEADER}\n{}{}{}", row("0"), row("0.2"), row("0.2")),
            "line 4, column `t_s`: 0.2 once more; every row needs a time of its own. Give the times to the microsecond",
        ),
        (format!("{HEADER}\n{}{}", row("0"), row("20")), "samples come 20.0000000 s apart; expected 0.000001 to 10 s"),
        (format!("{HEADER}\n{}0.1,0,0\n{}", row("0"), row("0.2")), "line 3: 3 cells, but the header has 9"),
        (
            format!("{HEADER}\n{}{}0.2,0,0,9.8,0,0,0,20,20,1\n", row("0"), row("0.1")),
            "line 4: 10 cells, but the header",
        ),
        (format!("{HEADER}\n{},,,,,,,,\n{}", row("0"), row("0.2")), "line 3, column `t_s`: empty"),
        (format!("{HEADER}\n{}0.1,0,0\n", row("0")), "only one row"),
        (format!("{HEADER}\n{}0.1,0,,9.8,0,0,0,20,20\n", row("0")), "line 3: only some of the three acceleration"),
        (format!("{HEADER}\n{}0.1,0,0,9.8,0,0,0,2000,20\n", row("0")), "line 3, column `surface_c`: 2000 is outside"),
        (format!("{HEADER}\n{}0.1,0,0,9999,0,0,0,20,20\n", row("0")), "line 3, column `accel_z_mps2`: 9999 is outside"),
        (format!("{HEADER}\n{}0.1,inf,0,9.8,0,0,0,20,20\n", row("0")), "not a finite number"),
        (format!("{HEADER}\n{},0,0,9.8,0,0,0,20,20\n", row("0")), "every row needs its time"),
    ];
    for (text, expected) in cases {
        let with_cr_lf = import(&text.replace('\n', "\r\n")).1.expect_err("refused");
        assert!(with_cr_lf.contains(expected), "{with_cr_lf:?} should say {expected:?}");
        let (folder, result) = import(&text);
        let said = result.expect_err("refused");
        assert!(said.contains(expected), "{said:?} should say {expected:?}");
        let left: Vec<_> = fs::read_dir(folder.path()).expect("list").map(|f| f.expect("entry").file_name()).collect();
        assert_eq!(left, ["table.csv"], "nothing is left behind");
    }
}

/// Rows of a machine at 100 Hz that shakes along x, with what `change` makes of time and acceleration.
fn shaken(rows: u32, change: impl Fn(u32) -> (f64, [f64; 3])) -> String {
    let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
    for i in 0..rows {
        let (t_s, [x, y, z]) = change(i);
        text += &format!("{t_s:.6},{x:.4},{y:.4},{z:.4}\n");
    }
    text
}

#[test]
fn a_last_row_that_is_empty_or_cut_is_left_out_and_said() {
    let whole = shaken(300, |i| (f64::from(i) * 0.01, [f64::from(i % 3), 0.0, 9.8]));
    for end in ["3.00,1", "3.00,1\n", "11", ",,,\n", ",,,\n,,,\n", ",,"] {
        for terminator in ["\n", "\r\n"] {
            let summary = import(&format!("{whole}{end}").replace('\n', terminator)).1.expect(end);
            assert_eq!((summary.rows, summary.left_out_line), (300, Some(302)), "{end:?}");
            assert!(summary.remarks().iter().any(|said| said.contains("line 302")), "{end:?}");
        }
    }
    assert_eq!(import(&whole).1.expect("imports").left_out_line, None);
}

#[test]
fn names_of_columns_may_be_in_capitals() {
    let rows = "0,0,0,9.8\n0.001,0,0,9.8\n";
    let summary = import(&format!("T_S,Accel_X_mps2,accel_Y_MPS2,accel_z_mps2\n{rows}")).1.expect("imports");
    assert_eq!(summary.rows, 2);
    let error = import(&format!("t_s,T_S,accel_x_mps2,accel_y_mps2,accel_z_mps2\n{rows}")).1.expect_err("twice");
    assert!(error.contains("`T_S` stands there twice"), "{error}");
}

#[test]
fn times_in_bursts_are_refused_and_leave_nothing() {
    let burst = |i: u32| (f64::from(i / 16 * 16) * 6e-4 + f64::from(i % 16) * 1e-6, [f64::from(i % 3), 0.0, 9.8]);
    let (folder, result) = import(&shaken(3000, burst));
    let said = result.expect_err("refused");
    assert!(said.contains("come in bursts of about 16.0") && said.contains("number the rows"), "{said}");
    assert_eq!(fs::read_dir(folder.path()).expect("list").count(), 1);
}

#[test]
fn the_table_tells_which_way_gravity_lies_and_where_the_range_ends() {
    let swing = |i: u32| 40.0 * (f64::from(i) * 0.9).sin();
    let table = |z: f64, range: f64| shaken(1000, |i| (f64::from(i) * 0.01, [swing(i).clamp(-range, range), 0.1, z]));
    let summary = import(&table(-9.8, 100.0)).1.expect("imports");
    let mean = summary.mean_mps2.expect("seconds");
    assert!((mean[2] + 9.8).abs() < 1e-3 && mean[0].abs() < 0.5 && summary.largest.is_none(), "{summary:?}");
    assert!(summary.remarks().iter().any(|said| said.contains("z points the wrong way")));
    let largest = import(&table(9.8, 19.613)).1.expect("imports").largest.expect("cut off");
    assert!(largest.axis == "x" && (largest.value_mps2.abs() - 19.613).abs() < 1e-3 && largest.samples > 200);
    assert!(import(&shaken(300, |i| (f64::from(i) * 0.01, [0.0, 0.0, 9.8]))).1.expect("imports").is_frozen);
}

/// Times of a recording's marks, s.
fn marks_of(folder: &TempDir) -> Vec<f64> {
    let (mut timeline, mut reader) = (Timeline::new(), Reader::open(&folder.path().join("out.mcap")).expect("opens"));
    let mut marks = Vec::new();
    while reader
        .next_chunk(|entry| {
            timeline.push(&entry, &mut |reading| {
                if let Reading::Mark { t_us } = reading {
                    marks.push(t_us * 1e-6);
                }
            });
        })
        .expect("reads")
    {}
    marks
}

#[test]
fn a_section_is_marked_where_the_button_was_pressed() {
    // From 100 s on by its own clock; the button is down for three rows at 0.5 s and for one at 1.5 s.
    let table = |down: &str, up: &str| {
        let mut text = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,Mark\n".to_owned();
        for i in 0..2000 {
            let cell = if (500..503).contains(&i) || i == 1500 { down } else { up };
            text += &format!("{:.3},0,0,9.81,{cell}\n", 100.0 + f64::from(i) * 1e-3);
        }
        text
    };
    for (down, up) in [("1", "0"), ("1", ""), ("x", ""), ("TRUE", "FALSE"), (" 1.0 ", "0.0")] {
        let (folder, result) = import(&table(down, up));
        assert_eq!(result.expect("imports").marks, 2, "{down} {up}");
        assert_eq!(marks_of(&folder), [0.5, 1.5], "{down} {up}");
    }
    // Told besides, in any order; one of them is the table's own.
    let (folder, result) = import_marked(&table("1", "0"), &[1.8, 0.0, 1.5, 1.0005]);
    assert_eq!(result.expect("imports").marks, 5);
    let marks = marks_of(&folder);
    let expected = [0.0, 0.5, 1.0005, 1.5, 1.8];
    assert!(marks.len() == 5 && marks.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-6), "{marks:?}");

    let error = import(&table("pressed", "0")).1.expect_err("no mark");
    assert!(error.contains("line 502, column `mark`: `pressed`; expected 1 in the row"), "{error}");
    let (folder, result) = import_marked(&table("1", "0"), &[100.5]);
    let error = result.expect_err("over the end");
    assert!(error.contains("marked 100.5 s after the first row: the last row is 1.999 s after it"), "{error}");
    assert!(!folder.path().join("out.mcap").exists());
    let error = import("t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,mark,mark\n").1.expect_err("twice");
    assert!(error.contains("`mark` stands there twice"), "{error}");
}
