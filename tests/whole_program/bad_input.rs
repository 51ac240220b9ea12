//! What users get wrong, and what machines do to them: one clear sentence each, the right exit code, nothing half-written.

use std::{fs, os::unix::fs::PermissionsExt, os::unix::process::CommandExt, path::Path, process::Command};

use steadypass::{
    recording::{Reader, part_path},
    simulation::{Behaviour, Scenario},
};
use tempfile::TempDir;

use crate::support::*;

#[test]
fn ports_that_are_none() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "run.mcap"));
    let file = at(&folder, "file");
    fs::write(&file, "x").expect("write");
    let record = |port: &str, expected: &[&str]| expect(&["record", "--port", port, "--out", &out], 1, expected);
    record("/dev/steadypass-none", &["no such port", "steadypass ports"]);
    record(&text(&file), &["is not a serial port but a file"]);
    record(&text(folder.path()), &["is not a serial port but a folder"]);
    record("/dev/null", &["is not a serial port"]);
    assert_eq!(files(folder.path()), ["file"], "nothing half-written");
}

#[test]
fn devices_that_are_no_sensor() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "run.mcap"));
    let port = virtual_port(&folder, &Scenario::demo(), 1.0);
    let name = text(port.path());
    for (behaviour, words) in [
        (Behaviour::Mute, "is silent"),
        (Behaviour::Garbage, "not a Steadypass sensor's"),
        (Behaviour::Version(7), "speaks protocol version 7, this program speaks 1"),
    ] {
        port.with(|s| s.behave(behaviour));
        expect(&["record", "--port", &name, "--out", &out], 1, &[words]);
    }
    assert_eq!(files(folder.path()), ["port"], "nothing half-written");
}

#[test]
fn a_busy_port_and_a_taken_name() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 1.0);
    let first = start_record(&port, &at(&folder, "first.mcap"), &[]);
    let part = part_path(&at(&folder, "first.mcap"));
    wait_for("recording", || Reader::open(&part).ok().and_then(last_sample_us).is_some());
    let name = text(port.path());
    expect(
        &["record", "--port", &name, "--out", &text(&at(&folder, "second.mcap"))],
        1,
        &["in use by another program"],
    );
    let output = interrupt(first);
    assert!(output.status.success(), "{}", stderr(&output));
    expect(&["record", "--port", &name, "--out", &text(&at(&folder, "first.mcap"))], 1, &["exists already"]);
}

#[test]
fn a_recording_stopped_before_any_samples_came_leaves_nothing() {
    let folder = TempDir::new().expect("temp");
    // A sensor whose first block of samples takes a minute.
    let port = virtual_port(&folder, &Scenario::demo(), 1e-4);
    let out = at(&folder, "run.mcap");
    let child = start_record(&port, &out, &[]);
    wait_for("streaming", || port.with(|s| s.is_streaming()));
    let output = interrupt(child);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let told = stderr(&output);
    assert!(told.contains("stopped before the sensor sent any samples; nothing was recorded"), "{told}");
    assert_eq!(files(folder.path()), ["port"]);
}

#[test]
fn a_practice_beside_an_earlier_ones_result() {
    let folder = TempDir::new().expect("temp");
    // Its recording was moved away.
    let (out, result) = (at(&folder, "a.mcap"), at(&folder, "a.drill.json"));
    fs::write(&result, "{}").expect("written");
    expect(&["drill", "--port", "/dev/null", "--out", &text(&out)], 1, &["a.drill.json exists already"]);
    assert_eq!(fs::read_to_string(&result).expect("still there"), "{}");
}

/// Permission is not checked for root, so the program runs as another user; the group is named.
#[test]
fn a_port_that_may_not_be_opened_names_its_group() {
    if !nix::unistd::geteuid().is_root() {
        println!("not root: cannot play another user; the message itself is tested below the code");
        return;
    }
    let folder = TempDir::new().expect("temp");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).expect("own folder");
    let port = virtual_port(&folder, &Scenario::demo(), 1.0);
    let program = at(&folder, "steadypass");
    fs::copy(env!("CARGO_BIN_EXE_steadypass"), &program).expect("copy");
    let terminal = fs::canonicalize(port.path()).expect("the terminal behind the link");
    fs::set_permissions(&terminal, fs::Permissions::from_mode(0o620)).expect("own terminal");
    let output = Command::new(program)
        .args(["record", "--port", &text(port.path()), "--out", "/tmp/never.mcap"])
        .uid(65534)
        .gid(65534)
        .output()
        .expect("starts");
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("permission denied; it belongs to group `"), "{}", stderr(&output));
}

#[test]
fn tables_that_cannot_be_imported_leave_nothing() {
    let folder = TempDir::new().expect("temp");
    let table = at(&folder, "half.csv");
    let header = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n";
    let out = text(&at(&folder, "half.mcap"));
    for (content, words) in [
        ("t_s,accel_x_mps2\n0,1\n".to_owned(), "no column `accel_y_mps2`, `accel_z_mps2`"),
        (format!("{header}0,0,0,9.8\n0.001,0,0,NaN\n"), "line 3, column `accel_z_mps2`"),
        (
            format!("{header}0,0,0,9.8\n0.002,0,0,9.8\n0.001,0,0,9.8\n"),
            "line 4, column `t_s`: 0.001 does not come after 0.002",
        ),
        (format!("{header}0,0,0,9.8\n0.001,0,0\n0.002,0,0,9.8\n"), "line 3: 3 cells"),
        (header.to_owned(), "no rows"),
        (header.replace(',', ";") + "0;0;0;9,8\n", "semicolons; expected commas"),
        (header.replace(',', "\t") + "0\t0\t0\t9.8\n", "tabs; expected commas"),
        ("\u{1b}[2J\u{7},x\n1,2\n".to_owned(), "it is not a text table"),
    ] {
        fs::write(&table, content).expect("write");
        expect(&["import", &text(&table), "--out", &out], 1, &["half.csv", words]);
        assert_eq!(files(folder.path()), ["half.csv"]);
    }
    expect(&["import", &text(&at(&folder, "none.csv"))], 1, &["none.csv", "no such file"]);
    fs::write(&table, b"\x89MCAP0\r\n\x01rest").expect("write");
    expect(&["import", &text(&table), "--out", &out], 1, &["half.csv", "a recording already", "steadypass review"]);
    for (name, found) in [("R".repeat(81), "a longer text"), ("Ro\nbin".to_owned(), "control characters")] {
        expect(&["import", &text(&table), "--technician", &name], 2, &["--technician", "up to 80 characters", found]);
    }
    for (started, found) in [("yesterday", "YYYY-MM-DDTHH:MM"), ("2999-01-01T09:30", "still to come")] {
        expect(&["import", &text(&table), "--started", started], 2, &["--started", found]);
    }
}

#[test]
fn a_file_in_the_place_of_a_folder_is_called_one() {
    let folder = TempDir::new().expect("temp");
    let file = at(&folder, "file");
    fs::write(&file, "x").expect("write");
    let table = at(&folder, "table.csv");
    fs::write(&table, "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n0,0,0,9.8\n0.001,0,0,9.8\n").expect("write");
    let out = text(&file.join("out.mcap"));
    expect(&["import", &text(&table), "--out", &out], 1, &["out.mcap", "a part of its path is a file, not a folder"]);
    assert_eq!(files(folder.path()), ["file", "table.csv"]);
}

#[test]
fn a_recording_damaged_throughout_is_said_to_be() {
    let folder = TempDir::new().expect("temp");
    let path = recording(&folder, "Robin");
    let mut bytes = fs::read(&path).expect("read");
    for byte in bytes.iter_mut().skip(2000).step_by(50) {
        *byte ^= 0x55;
    }
    fs::write(&path, bytes).expect("write");
    let out = text(&at(&folder, "review"));
    expect(&["review", &text(&path), "--out", &out], 1, &["holds no sensor data that could be read: it is damaged"]);
}

#[test]
fn a_full_standard_output_is_named() {
    let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("a full device");
    let output = steadypass().args(["simulate", "--kind", "list"]).stdout(full).output().expect("starts");
    assert_eq!(output.status.code(), Some(1));
    let said = stderr(&output);
    assert!(said.contains("cannot write the result to standard output: the disk is full"), "{said}");
}

#[test]
fn a_table_in_g_is_imported_with_a_word_about_its_unit() {
    let folder = TempDir::new().expect("temp");
    let (table, out) = (at(&folder, "g.csv"), text(&at(&folder, "g.mcap")));
    let with_z = |z: f64| {
        let rows: String = (0..300).map(|i| format!("{:.2},0,0,{z}\n", f64::from(i) * 0.01)).collect();
        fs::write(&table, format!("t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2\n{rows}")).expect("write");
        stderr(&run(&["import", &text(&table), "--out", &out]))
    };
    let said = with_z(1.0);
    assert!(said.contains("averages 1.00 m/s²") && said.contains("multiply by 9.80665"), "{said}");
    // Whoever reviews it later is told, too.
    let review = at(&folder, "review");
    let output = run(&["--json", "review", &out, "--out", &text(&review)]);
    let result: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let page = fs::read_to_string(review.join("index.html")).expect("a page");
    for words in ["multiply by 9.80665", "low-pass filter", "No gyro readings", "No surface temperatures"] {
        let remarks = result["remarks"].as_array().expect("remarks");
        assert!(remarks.iter().any(|r| r.as_str().is_some_and(|r| r.contains(words))), "{words}: {result}");
        assert!(stderr(&output).contains(words) && page.contains(words), "{words}");
    }
    assert!(page.contains("No section pass was found: there are no gyro readings"), "{page}");
    fs::remove_file(&out).expect("it was imported");
    let said = with_z(9.8);
    assert!(!said.contains("averages"), "{said}");
}

#[test]
fn recordings_that_cannot_be_reviewed() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "review"));
    let file = at(&folder, "x.mcap");
    fs::write(&file, "t_s,accel").expect("write");
    expect(&["review", &text(&file), "--out", &out], 1, &["is not a Steadypass recording", "steadypass import"]);
    expect(&["review", &text(&at(&folder, "y.mcap")), "--out", &out], 1, &["no such file"]);
    let facts = steadypass::recording::Facts::default();
    let empty = at(&folder, "empty.mcap");
    steadypass::recording::RecordingWriter::create(&empty, &facts)
        .expect("created")
        .finish(0, "stopped")
        .expect("finished");
    expect(&["review", &text(&empty), "--out", &out], 1, &["holds no sensor data"]);
    // Of several, each is told, and the good one is reviewed wherever it stands.
    let (good, none) = (recording(&folder, "Robin"), at(&folder, "none.mcap"));
    let several = at(&folder, "several");
    let said =
        ["x.mcap is not a Steadypass recording", "none.mcap: no such file", "2 of 3 recordings could not be reviewed"];
    let [file, none, good] = [&file, &none, &good].map(|path| text(path));
    expect(&["review", "--no-sheets", &file, &none, &good, "--out", &text(&several)], 1, &said);
    assert!(several.join("door/passes.csv").exists() && !several.join("x/passes.csv").exists());
    let told = run(&["--json", "review", "--no-sheets", &file, &none, &good, "--out", &text(&several)]);
    let told: serde_json::Value = serde_json::from_slice(&told.stdout).expect("one document");
    assert_eq!(told["reviews"].as_array().map(Vec::len), Some(1), "{told}");
    assert_eq!([&told["failed"][0]["recording"], &told["failed"][1]["recording"]], [&file, &none], "{told}");
    assert!(!at(&folder, "review").exists() || files(&at(&folder, "review")).is_empty(), "nothing half-written");
}

#[test]
fn a_review_in_the_place_of_another_recordings_is_said() {
    let folder = TempDir::new().expect("temp");
    let out = text(&at(&folder, "out"));
    let first = recording(&folder, "Robin");
    let second = at(&folder, "roof.mcap");
    fs::copy(&first, &second).expect("copied");
    let review = |recording: &Path| {
        let output = run(&["review", &text(recording), "--no-sheets", "--out", &out]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        stderr(&output)
    };
    for own in [&first, &first, &second] {
        let said = review(own);
        assert!(!said.contains("another recording"), "{said}");
    }
    let started = "2026-03-02T09:30";
    fs::remove_file(&second).expect("removed");
    succeeds(&["import", &text(&at(&folder, "demo-1.csv")), "--out", &text(&second), "--started", started]);
    let said = review(&second);
    assert!(
        said.contains("the review of another recording (roof.mcap, begun ") && said.contains("was replaced"),
        "{said}"
    );
    let [now] = &rows(&at(&folder, "out").join("reviewed.csv"))[..] else { panic!("one row") };
    assert!(now["recording"] == "roof.mcap" && now["started"].starts_with(started), "{now:?}");
    assert!(!review(&second).contains("another recording"));
}

#[test]
fn arguments_that_make_no_sense_are_code_two() {
    expect(&["review"], 2, &["Usage"]);
    expect(&["record", "--seconds", "-1"], 2, &["--seconds -1: must be more than zero"]);
    let folder = TempDir::new().expect("temp");
    // What to do is said when there is somebody to do it with.
    let gone = run(&["drill", "--port", &text(&at(&folder, "no-port")), "--out", &text(&at(&folder, "gone.mcap"))]);
    assert!(gone.status.code() == Some(1) && !stderr(&gone).contains("Practice"), "{}", stderr(&gone));
    expect(&["drill", "--rehearse", "--strokes", "101"], 2, &["--strokes 101: up to 100 can be rehearsed"]);
    expect(&["drill", "--rehearse", "--port", "x"], 2, &["cannot be used with"]);
    expect(&["drill", "--pace-mm-s", "-4"], 2, &["a pace of -4 mm/s: more than 0"]);
    expect(&["review", "a.mcap", "--out", "b", "--stroke-length-m", "-0.4"], 2, &["0.05 to 3 m"]);
    expect(
        &["review", "a.mcap", "--out", "b", "--stroke-length-m", "0,4"],
        2,
        &["--stroke-length-m", "write 0.4 with a point"],
    );
    let length = |typed: &str, words: &str| {
        expect(&["review", "a.mcap", "--out", "b", "--stroke-length", typed], 2, &["--stroke-length", words]);
        expect(&["drill", "--stroke-length", typed], 2, &[words]);
    };
    length("18", "in which unit? Write 18in, 18mm or 18m");
    length("18yd", "such as 18in, 450mm or 0.45m");
    length("18m", "0.05 to 3 m (2 to 118 in)");
    expect(&["drill", "--pace", "20"], 2, &["--pace", "in which unit? Write 20in/s or 20mm/s"]);
    expect(&["drill", "--stroke-length", "16in", "--stroke-m", "0.4"], 2, &["cannot be used with"]);
    expect(&["record", "--listen", "999"], 2, &["--listen", "an address of this computer", "192.168.1.20"]);
    expect(&["demo", "--volume", "101"], 2, &["--volume", "expected 0 to 100"]);
    expect(&["review", "a.mcap", "--out", "b", "--stroke-length-m", "40"], 2, &["0.05 to 3 m"]);
    expect(&["review", "a/x.mcap", "b/x.mcap", "--out", "c"], 2, &["two recordings are called x.mcap"]);
    expect(&["demo", "--speed", "100"], 2, &["0.5 to 20"]);
    expect(&["import", "x.csv", "--out", "x.txt"], 2, &["ends in .mcap"]);
    for folder in [".", ".."] {
        expect(&["import", folder], 2, &[&format!("{folder}: this is a folder; name the table in it")]);
    }
    expect(&["--units", "cubits", "ports"], 2, &["si"]);
}

#[test]
fn a_plan_with_a_slip_is_refused_with_the_nearest_key() {
    let folder = TempDir::new().expect("temp");
    let plan = at(&folder, "plan.toml");
    fs::write(&plan, "heat_rise_limit = 3\n").expect("write");
    let args = ["record", "--plan", &text(&plan), "--port", "/dev/null"];
    expect(&args, 1, &["plan.toml", "heat_rise"]);
}

#[test]
fn plans_and_folders_that_are_none_are_told_in_plain_words() {
    let folder = TempDir::new().expect("temp");
    let file = at(&folder, "file");
    fs::write(&file, b"\x1b\x00\xff\xfe").expect("write");
    let with_plan = |plan: &str, expected: &[&str]| {
        let output = run(&["record", "--port", "/dev/null", "--plan", plan]);
        let said = stderr(&output).split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(output.status.code(), Some(1), "{said}");
        assert!(expected.iter().all(|words| said.contains(words)) && !said.contains("os error"), "{said}");
    };
    with_plan(&text(&at(&folder, "none.toml")), &["no such file or folder", "check the path"]);
    with_plan(&text(&file), &["it is no text file in TOML", "key = value"]);
    for verb in ["simulate", "demo"] {
        let output = run(&[verb, "--out", &text(&file.join("in"))]);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(1), "{said}");
        assert!(said.contains("a part of its path is a file") && !said.contains("os error"), "{said}");
    }
}

/// A file system of a few hundred kilobytes fills up: the program says so and keeps what it had. Needs a mount of its own.
#[test]
fn a_full_disk_is_named_and_what_was_recorded_stays() {
    let folder = TempDir::new().expect("temp");
    let small = at(&folder, "small");
    fs::create_dir(&small).expect("folder");
    let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=200k", "tmpfs", &text(&small)]).status();
    if !mounted.is_ok_and(|s| s.success()) {
        println!("cannot mount a small file system here (needs root): a full disk is not tried");
        return;
    }
    let port = virtual_port(&folder, &Scenario::demo(), 5.0);
    let child = start_record(&port, &small.join("run.mcap"), &[]);
    let output = child.wait_with_output().expect("ends by itself");
    let review =
        run(&["review", &text(&small.join("run.mcap.part")), "--no-sheets", "--out", &text(&at(&folder, "review"))]);
    // Results do not fit either, and leave nothing behind.
    let crammed =
        run(&["review", &text(&small.join("run.mcap.part")), "--no-sheets", "--out", &text(&small.join("review"))]);
    let left = files(&small);
    let unmounted = Command::new("umount").arg(&small).status();
    assert!(unmounted.is_ok_and(|s| s.success()));
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    assert!(stderr(&output).contains("the disk is full"), "{}", stderr(&output));
    assert_eq!(review.status.code(), Some(3), "what was recorded reviews: {}", stderr(&review));
    assert_eq!(crammed.status.code(), Some(1), "{}", stderr(&crammed));
    assert!(stderr(&crammed).contains("the disk is full"), "{}", stderr(&crammed));
    assert!(left.contains(&"run.mcap.part".to_owned()), "{left:?}");
}

/// Names of files are bytes here; JSON is Unicode.
#[test]
fn paths_that_are_no_unicode_are_told_in_json_all_the_same() {
    use std::{ffi::OsStr, os::unix::ffi::OsStrExt, path::Path};
    let folder = TempDir::new().expect("temp");
    let odd = |name: &[u8]| folder.path().join(OsStr::from_bytes(name));
    let told = |args: &[&dyn AsRef<OsStr>], key: &str| {
        let output =
            steadypass().arg("--json").args(args.iter().map(|a| a.as_ref())).output().expect("the program starts");
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let all: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let path = all[key].as_str().unwrap_or_else(|| panic!("no {key} in {all}")).to_owned();
        assert!(path.contains("\u{fffd}"), "{path}");
    };
    let is_there = |path: &Path| assert!(path.exists(), "{}", path.display());
    let [made, run, reviewed, shop] = [odd(b"m\xff"), odd(b"r\xff.mcap"), odd(b"v\xff"), odd(b"s\xff")];
    let [compared, page, day] = [odd(b"c\xff"), odd(b"p\xff.html"), odd(b"d\xff.html")];
    told(&[&"simulate", &"--out", &made], "table");
    let table = made.join("demo-1.csv");
    let import: [&dyn AsRef<OsStr>; 8] =
        [&"import", &table, &"--out", &run, &"--technician", &"Robin", &"--started", &"2026-03-02T10:00"];
    told(&import, "recording");
    let init = steadypass().args(["shop", "init", "--shop"]).arg(&shop).output().expect("the program starts");
    assert_eq!(init.status.code(), Some(0), "{}", stderr(&init));
    let mut add = steadypass();
    add.args(["shop", "add", "--shop"]).arg(&shop).args(["vehicle", "saloon A"]);
    assert_eq!(add.output().expect("the program starts").status.code(), Some(0));
    told(&[&"review", &run, &"--out", &reviewed], "page");
    // The shop keeps where a recording lies as text.
    let door = at(&folder, "door.mcap");
    fs::copy(&run, &door).expect("copied");
    let filed: [&dyn AsRef<OsStr>; 7] = [&"review", &door, &"--out", &reviewed, &"--no-sheets", &"--shop", &shop];
    told(&filed, "folder");
    told(&[&"shop", &"status", &"--shop", &shop], "folder");
    told(&[&"compare", &"--shop", &shop, &"--out", &compared], "page");
    told(&[&"report", &"--shop", &shop, &"--vehicle", &"saloon A", &"--out", &page], "page");
    told(&[&"day", &"--shop", &shop, &"--technician", &"Robin", &"--day", &"2026-03-02", &"--out", &day], "page");
    for path in [&run, &reviewed, &page, &day, &compared.join("index.html")] {
        is_there(path);
    }
}
