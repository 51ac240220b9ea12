//! What machines do to a shop's store: cut short, of another program, locked, on a disk that is full or may not be written. One
//! clear sentence each, nothing lost and nothing half-written.

use std::{fs, path::PathBuf, process::Command};

use rusqlite::Connection;
use tempfile::TempDir;

use crate::{small_shop::Small, support::*};

#[test]
fn a_store_that_is_cut_short_is_called_damaged_and_other_files_are_not() {
    let small = Small::new();
    let whole = fs::read(small.store()).expect("read");
    fs::write(small.store(), &whole[..whole.len() / 4]).expect("cut");
    small.fails(&["shop", "status"], &[], 1, &["damaged", "backup"]);
    fs::write(small.store(), vec![b'x'; 5000]).expect("replaced");
    small.fails(&["shop", "status"], &[], 1, &["is not a shop's store"]);
}

#[test]
fn a_store_of_another_program_or_a_newer_one_is_left_alone() {
    let s = Small::new();
    Connection::open(s.store()).and_then(|db| db.pragma_update(None, "user_version", 99)).expect("changed");
    let before = fs::read(s.store()).expect("read");
    let newer = ["written by a newer Steadypass", "schema 99", "update the program", "Nothing was changed"];
    s.fails(&["shop", "status"], &[], 1, &newer);
    s.fails(&["shop", "add"], &["technician", "Kim"], 1, &newer);
    s.fails(&["shop", "rebuild"], &[], 1, &newer);
    let recording = s.recording("door.mcap", "");
    let out = text(&at(&s.folder, "out"));
    s.fails(&["review", &text(&recording), "--out", &out], &["--no-sheets"], 1, &newer);
    assert!(!at(&s.folder, "out").exists(), "said before the work");
    assert_eq!(fs::read(s.store()).expect("read"), before);
    fs::write(s.store(), "not a database, but long enough that its header is looked at: ".repeat(20)).expect("written");
    s.fails(&["shop", "status"], &[], 1, &["is not a shop's store", "move it away"]);
    s.fails(&["shop", "init"], &[], 1, &["holds a shop already"]);
}

/// The review is whole all the same, and can be filed when the store is free again.
#[test]
fn a_locked_store_is_waited_for_and_then_said() {
    let s = Small::new();
    let recording = s.recording("door.mcap", "");
    let other = Connection::open(s.store()).expect("opened");
    other.execute_batch("BEGIN IMMEDIATE").expect("locked");
    let out = text(&at(&s.folder, "out"));
    let recording = text(&recording);
    let review = ["review", &recording, "--out", &out, "--no-sheets", "--shop", &s.shop];
    expect(&review, 1, &["another program is writing to the store", "try again", "only the filing is missing"]);
    assert!(files(&at(&s.folder, "out")).contains(&"passes.csv".to_owned()));
    s.fails(
        &["shop", "add"],
        &["technician", "Kim"],
        1,
        &["another program is writing to the store", "Nothing was changed"],
    );
    // Reading goes on beside the writer.
    let listed = succeeds(&s.with(&["shop", "status"], &["--all"]));
    assert!(listed.contains("1 technician") && listed.contains("0 sessions"), "{listed}");
    other.execute_batch("ROLLBACK").expect("free");
    succeeds(&review);
    assert!(succeeds(&s.with(&["shop", "status"], &[])).contains("1 session"));
}

/// A file system of a few hundred kilobytes fills up under the store. Needs a mount of its own.
#[test]
fn a_full_disk_under_the_store_loses_nothing() {
    let folder = TempDir::new().expect("temp");
    let small = at(&folder, "small");
    fs::create_dir(&small).expect("folder");
    let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=900k", "tmpfs", &text(&small)]).status();
    if !mounted.is_ok_and(|s| s.success()) {
        println!("cannot mount a small file system here (needs root): a full disk is not tried");
        return;
    }
    let unmount = Unmount(small.clone());
    let s = Small { shop: text(&small.join("shop")), folder };
    succeeds(&["shop", "init", "--shop", &s.shop]);
    s.fill();
    let recording = text(&s.recording("door.mcap", ""));
    let (out, shop) = (text(&at(&s.folder, "out")), s.shop.clone());
    succeeds(&["review", &recording, "--out", &out, "--no-sheets", "--shop", &shop]);
    let before = s.holds();
    // A file that takes all that is left.
    let _ = fs::write(small.join("ballast"), vec![1u8; 2 << 20]);
    let note = "n".repeat(3900);
    let full = ["the disk is full", "free some space"];
    let mut kept = 0;
    let refused = (0..200).any(|_| {
        let output = run(&["note", "add", "--shop", &s.shop, "--vehicle", "saloon A", &note]);
        kept += usize::from(output.status.success());
        let said = stderr(&output);
        assert!(output.status.success() || full.iter().all(|words| said.contains(words)), "{said}");
        !output.status.success()
    });
    assert!(refused, "a megabyte of notes fits into 900 kB");
    s.fails(&["shop", "backup"], &["--to", &text(&small.join("copy.db"))], 1, &full);
    s.fails(&["shop", "export"], &["--out", &text(&small.join("tables"))], 1, &full);
    s.fails(&["compare"], &["--out", &text(&small.join("comparison"))], 1, &full);
    let half: Vec<String> = files(&small).into_iter().filter(|f| f.starts_with('.') || f == "copy.db").collect();
    assert!(half.is_empty(), "nothing half-written: {half:?}");
    fs::remove_file(small.join("ballast")).expect("removed");
    let status = succeeds(&["shop", "status", "--shop", &s.shop]);
    assert!(status.contains("1 technician, 1 machine, 2 pads and liquids, 1 vehicle, 1 session"), "{status}");
    let notes = succeeds(&["-q", "note", "list", "--shop", &s.shop]);
    assert_eq!(notes.lines().filter(|l| l.contains(&note)).count(), kept, "what was acknowledged is there, no more");
    if kept == 0 {
        assert_eq!(s.holds(), before);
    }
    succeeds(&["note", "add", "--shop", &s.shop, "--vehicle", "saloon A", &note]);
    drop(unmount);
}

/// A shop on a disk that may not be written is shown; what would change it says so. Needs a mount of its own.
#[test]
fn a_shop_that_may_not_be_written_is_shown() {
    let folder = TempDir::new().expect("temp");
    let disk = at(&folder, "disk # 1");
    fs::create_dir(&disk).expect("folder");
    let mount = |args: &[&str]| Command::new("mount").args(args).arg(text(&disk)).status().is_ok_and(|s| s.success());
    if !mount(&["-t", "tmpfs", "-o", "size=4m", "tmpfs"]) {
        println!("cannot mount a file system here (needs root): a shop that may not be written is not tried");
        return;
    }
    let unmount = Unmount(disk.clone());
    let s = Small { shop: text(&disk.join("shop")), folder };
    succeeds(&["shop", "init", "--shop", &s.shop]);
    s.fill();
    let recording = text(&s.recording("door.mcap", ""));
    let (out, page) = (text(&at(&s.folder, "out")), text(&at(&s.folder, "page.html")));
    let file = s.with(&["review", &recording, "--out", &out, "--no-sheets"], &["--vehicle", "saloon A"]);
    succeeds(&file);
    let before = s.holds();
    assert!(mount(&["-o", "remount,ro"]), "remounted");
    let listed = succeeds(&s.with(&["shop", "status"], &["--all"]));
    assert!(listed.contains("1 session") && listed.contains("saloon A"), "{listed}");
    assert_eq!(s.holds(), before);
    succeeds(&s.with(&["report"], &["--vehicle", "saloon A", "--out", &page]));
    succeeds(&s.with(&["thickness", "show"], &[]));
    succeeds(&s.with(&["note", "list"], &[]));
    succeeds(&s.with(&["trial", "propose"], &["--vehicle", "saloon A"]));
    let no = ["the store may not be written", "Nothing was changed"];
    s.fails(&["note", "add"], &["text"], 1, &no);
    s.fails(&["shop", "add"], &["technician", "Kim"], 1, &no);
    // Before the work, too, where a recording or a table that is not there would be said otherwise.
    fs::rename(&recording, at(&s.folder, "elsewhere.mcap")).expect("moved");
    s.fails(&["shop", "rebuild"], &[], 1, &no);
    s.fails(&["shop", "import"], &[&text(&at(&s.folder, "vehicles.csv"))], 1, &no);
    fs::rename(at(&s.folder, "elsewhere.mcap"), &recording).expect("moved");
    fs::remove_dir_all(&out).expect("removed");
    expect(&file, 1, &no);
    assert!(!PathBuf::from(&out).exists(), "said before the work");
    assert!(mount(&["-o", "remount,rw"]), "remounted");
    // One of an earlier program cannot be brought up to date there, and is shown all the same.
    Connection::open(disk.join("shop/shop.db"))
        .and_then(|db| db.execute_batch("ALTER TABLE machine_pads DROP COLUMN filed; PRAGMA user_version = 2"))
        .expect("changed");
    assert!(mount(&["-o", "remount,ro"]), "remounted");
    let old = fs::read(disk.join("shop/shop.db")).expect("read");
    assert_eq!(succeeds(&s.with(&["shop", "status"], &["--all"])), listed);
    let status: serde_json::Value =
        serde_json::from_str(&succeeds(&s.with(&["--json", "shop", "status"], &[]))).expect("JSON");
    assert_eq!(status["schema"], 2, "the file's, not its copy's");
    assert_eq!(s.holds(), before);
    succeeds(&s.with(&["report"], &["--vehicle", "saloon A", "--out", &page]));
    let backup = at(&s.folder, "backup.db");
    succeeds(&s.with(&["shop", "backup"], &["--to", &text(&backup)]));
    assert!(backup.is_file());
    s.fails(&["note", "add"], &["text"], 1, &no);
    s.fails(&["shop", "rename"], &["vehicle", "saloon A", "saloon B"], 1, &no);
    expect(&file, 1, &no);
    assert_eq!(fs::read(disk.join("shop/shop.db")).expect("read"), old, "as it was");
    drop(unmount);
}

/// Unmounts, whatever became of the test.
struct Unmount(PathBuf);

impl Drop for Unmount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}
