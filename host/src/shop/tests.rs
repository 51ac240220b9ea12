//! The store under good and bad conditions.

use std::{fs, time::Duration};

use rusqlite::Connection;

use super::ledger::Rubbed;
use super::*;
use crate::analysis::MachineKind;
use crate::guidance::{Band, MachineProfile, Plan};

fn shop() -> (tempfile::TempDir, Shop) {
    let folder = tempfile::tempdir().expect("a folder");
    let shop = Shop::create(folder.path()).expect("a shop");
    (folder, shop)
}

fn technician(shop: &Shop, name: &str) -> Result<Id> {
    shop.add_technician(&Technician { name: name.into(), note: String::new() })
}

pub(super) fn session(technician: Id, fingerprint: &str) -> NewSession {
    let pass = NewPass {
        number: 1,
        end_s: 40.0,
        strokes: 8,
        arm_speed_mps: Some(0.0213),
        orbit_median_opm: Some(4500.0),
        orbit_free_opm: Some(5000.0),
        print: Print { stroke_mps: vec![0.02, f64::NAN, 0.0225], rise_k: vec![Some(1.0), None], rubbing: None },
        ..NewPass::default()
    };
    NewSession {
        fingerprint: fingerprint.into(),
        recording: Some("door.mcap".into()),
        started: "2026-03-02T08:00:00+01:00".into(),
        day: "2026-03-02".into(),
        technician,
        machine: None,
        vehicle: None,
        pad: None,
        liquid: None,
        panel: String::new(),
        trainer: false,
        source: "sensor",
        sensor: String::new(),
        program: "0".into(),
        plan: String::new(),
        part: 1,
        seconds: 100.0,
        running_s: 90.0,
        lost: String::new(),
        pace_mps: (0.0127, 0.0254),
        heat_limit_k: 11.1,
        sections: vec![NewSection { number: 1, passes: vec![pass], ..NewSection::default() }],
        notes: Vec::new(),
    }
}

fn says(result: Result<impl std::fmt::Debug>, words: &[&str]) {
    let text = result.expect_err("an error").to_string();
    for word in words {
        assert!(text.contains(word), "{text:?} does not say {word:?}");
    }
}

#[test]
fn a_session_comes_back_and_the_same_recording_is_not_counted_twice() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let first = shop.file(&session(robin, "a")).expect("filed");
    assert!(matches!(first, Filed::New(_)));
    assert_eq!(shop.file(&session(robin, "a")).expect("filed"), Filed::Again(first.id()));
    let passes = shop.pass_figures().expect("read");
    assert_eq!(passes.len(), 1);
    assert_eq!(passes[0].arm_speed_mps, Some(0.0213));
    // Closed form: 1 - 4500 / 5000.
    assert!((passes[0].orbit_droop.expect("known") - 0.1).abs() < 1e-12);
    let prints = shop.prints(PrintsOf::Session(first.id()), 10).expect("read");
    assert_eq!(prints[0].print.stroke_mps, [0.02, 0.0225], "a figure that is not a number is left out");
    assert_eq!(prints[0].print.rise_k, [Some(1.0), None]);
}

/// As they were measured the passes of a section may lie beside each other; exactly upon each other they add up.
#[test]
fn what_a_session_rubbed_lies_between_two_bounds() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let mut new = session(robin, "a");
    let pass = new.sections[0].passes[0].clone();
    let section = |number, mean_m, passes: &[Option<f64>]| NewSection {
        number,
        rubbing_mean_m: Some(mean_m),
        passes: (1..)
            .zip(passes)
            .map(|(number, mean_m)| NewPass { number, rubbing_mean_m: *mean_m, ..pass.clone() })
            .collect(),
        ..NewSection::default()
    };
    // Known of both passes; and of one only, which says nothing of the sum.
    new.sections = vec![section(1, 30.0, &[Some(18.0), Some(22.0)]), section(2, 10.0, &[Some(4.0), None])];
    let id = shop.file(&new).expect("filed").id();
    let rubbed = Rubbed { least_m: 20.0, most_m: 25.0 };
    assert_eq!(shop.rubbed_m().expect("read"), [(id, rubbed)].into());
}

#[test]
fn a_shop_that_cannot_be_filled_is_not_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path().join("shop");
    let filled = Shop::create_with(&at, |shop| technician(shop, "Robin").and(Err(ShopError::Full)));
    says(filled, &["the disk is full"]);
    assert!(!at.exists());
}

#[test]
fn the_passes_of_a_day_head_the_live_list() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    for (print, day) in [("a", "2026-03-01"), ("b", "2026-03-02"), ("c", "2026-03-02")] {
        let new = NewSession { day: day.into(), started: format!("{day}T08:00:00+01:00"), ..session(robin, print) };
        shop.file(&new).expect("filed");
    }
    let day = jiff::civil::date(2026, 3, 2);
    let rows = crate::live::earlier::passes_of(&shop, day, crate::guidance::Units::Si).expect("read");
    assert_eq!(rows.len(), 2);
    let row = &rows[0];
    assert_eq!((row.section, row.pass, row.start_s, row.strokes), (1, 1, None, 8));
    assert_eq!((row.took.as_str(), row.warmest.as_str()), ("0:40", "not known"));
    assert!(row.arm.starts_with("21"), "{}", row.arm);
}

#[test]
fn sessions_come_in_the_order_of_their_starts_whatever_the_clock_showed() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    // In the night that daylight saving ends, the later of these shows the earlier time.
    for (print, time) in [("later", "02:10:00+01:00"), ("earlier", "02:40:00+02:00")] {
        let started = format!("2026-10-25T{time}");
        shop.file(&NewSession { day: "2026-10-25".into(), started, ..session(robin, print) }).expect("filed");
    }
    let starts = shop.sessions().expect("read").into_iter().map(|s| s.started);
    assert!(starts.eq(["2026-10-25T02:40:00+02:00", "2026-10-25T02:10:00+01:00"]));
}

#[test]
fn an_unfinished_recording_and_its_finished_file_are_one_session_and_keep_what_was_typed() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let pad = Product { kind: ProductKind::Pad, name: "white".into(), aggressiveness: 1, note: String::new() };
    let pad = shop.add_product(&pad).expect("added");
    let part = NewSession { sensor: "5eed".into(), pad: Some(pad), trainer: true, ..session(robin, "part") };
    let whole = NewSession { sensor: "5eed".into(), ..session(robin, "whole") };
    let first = shop.file(&part).expect("filed");
    assert_eq!(shop.file(&whole).expect("filed"), Filed::Again(first.id()));
    let sessions = shop.sessions().expect("read");
    assert_eq!((sessions.len(), sessions[0].pad, sessions[0].trainer), (1, Some(pad), true));
}

#[test]
fn two_technicians_with_one_name_are_refused_whatever_the_case() {
    let (_folder, shop) = shop();
    technician(&shop, "Robin").expect("added");
    says(technician(&shop, " robin "), &["already a technician", "tells the two apart"]);
    assert_eq!(shop.technicians().expect("read").len(), 1);
}

#[test]
fn a_slip_of_the_keys_is_answered_with_the_name_that_was_meant() {
    let (_folder, shop) = shop();
    says(shop.technician("Robin"), &["none yet", "shop add technician"]);
    technician(&shop, "Robin").expect("added");
    says(shop.technician("Robni"), &["did you mean \"Robin\""]);
    says(shop.technician("Kim"), &["shop status"]);
}

#[test]
fn what_cannot_be_is_refused_with_the_range() {
    let (_folder, shop) = shop();
    let machine = |kind: &str, throw_mm, pad| MachineEntry {
        name: "machine 2".into(),
        kind: kind.into(),
        throw_mm,
        pad_diameters_mm: vec![pad],
        note: String::new(),
    };
    says(shop.add_machine(&machine("orbital", Some(150.0), 125.0)), &["throw", "150", "1 to 40"]);
    says(shop.add_machine(&machine("rotary", Some(15.0), 125.0)), &["rotary has no throw"]);
    says(shop.add_machine(&machine("saw", None, 125.0)), &["orbital, rotary"]);
    says(shop.add_machine(&machine("orbital", Some(15.0), f64::NAN)), &["pad diameter"]);
    assert!(shop.machines().expect("read").is_empty(), "nothing half-added");
    says(shop.set(Setting::GaugeSdUm, "two"), &["two", "0.01 to 50 µm"]);
    says(technician(&shop, "line\nbreak"), &["1 to 80 characters"]);
}

#[test]
fn a_machine_goes_into_a_plan_that_tells_none() {
    let machine = |kind: &str, throw_mm, pads: &[f64]| MachineEntry {
        name: "machine 2".into(),
        kind: kind.into(),
        throw_mm,
        pad_diameters_mm: pads.to_vec(),
        note: String::new(),
    };
    let completed = |mut plan: Plan, machine: &MachineEntry| {
        let said = machine.complete(&mut plan).join(" ");
        (plan, said)
    };
    let (plan, said) = completed(Plan::default(), &machine("orbital", Some(21.0), &[150.0]));
    assert_eq!((plan.machine.throw_mm, plan.machine.pad_diameter_mm, plan.machine_told), (Some(21.0), 150.0, true));
    assert_eq!((plan.machine.name.as_deref(), said.as_str()), (Some("machine 2"), ""));
    let band = Some(Band { lo: 3800.0, hi: 5200.0 });
    let (plan, said) = completed(Plan { orbit_per_min: band, ..Plan::default() }, &machine("rotary", None, &[150.0]));
    assert_eq!((plan.machine.kind, plan.machine.throw_mm), (MachineKind::Rotary, None));
    assert_eq!((plan.orbit_per_min, plan.machine_told), (None, true));
    assert_eq!(said, "machine 2 is a rotary: the plan's band of the orbit rate is left out.");
    let (plan, said) = completed(Plan::default(), &machine("orbital", None, &[]));
    assert_eq!(
        (&plan.machine, plan.machine_told),
        (&MachineProfile { name: plan.machine.name.clone(), ..Plan::default().machine }, false)
    );
    assert!(said.contains("all of machine 2: a throw of 15 mm and a pad of 125 mm is assumed."), "{said}");
    // A plan that tells it goes before the shop.
    let told = Plan { machine_told: true, orbit_per_min: band, ..Plan::default() };
    let (plan, said) = completed(told.clone(), &machine("rotary", None, &[150.0]));
    let named = MachineProfile { name: Some("machine 2".into()), ..told.machine.clone() };
    assert_eq!((plan, said.as_str()), (Plan { machine: named, ..told }, ""));
}

#[test]
fn no_shop_a_strange_file_and_a_newer_store_each_get_a_sentence_and_are_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    says(Shop::open(folder.path()), &["holds no shop", "shop init"]);
    let store = folder.path().join(STORE);
    fs::write(&store, "just some text, longer than the header of a database, so that it is looked at in full ........")
        .expect("written");
    says(Shop::open(folder.path()), &["is not a shop's store"]);
    says(Shop::create(folder.path()), &["holds a shop already"]);
    fs::remove_file(&store).expect("removed");
    drop(Shop::create(folder.path()).expect("a shop"));
    Connection::open(&store).and_then(|db| db.pragma_update(None, "user_version", 99)).expect("changed");
    let before = fs::read(&store).expect("read");
    says(Shop::open(folder.path()), &["newer Steadypass", "99", "update the program"]);
    assert_eq!(fs::read(&store).expect("read"), before);
}

#[test]
fn a_locked_store_is_said_and_nothing_is_lost() {
    let (folder, shop) = shop();
    let impatient = Shop::open_within(folder.path(), Duration::from_millis(20)).expect("opened");
    let result = shop.whole(|| {
        technician(&shop, "Robin")?;
        says(technician(&impatient, "Kim"), &["another program", "try again"]);
        Ok(())
    });
    result.expect("stored");
    technician(&impatient, "Kim").expect("now it works");
    assert_eq!(shop.technicians().expect("read").len(), 2);
}

#[test]
fn a_full_disk_keeps_what_was_stored_and_stores_nothing_half() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    shop.file(&session(robin, "a")).expect("filed");
    // SQLite answers a reached page limit with SQLITE_FULL, the same as a full disk.
    let pages: i64 = shop.db.pragma_query_value(None, "page_count", |row| row.get(0)).expect("read");
    shop.db.pragma_update(None, "max_page_count", pages).expect("set");
    let mut large = session(robin, "b");
    let pass = large.sections[0].passes[0].clone();
    large.sections[0].passes = (1..=2000).map(|number| NewPass { number, ..pass.clone() }).collect();
    says(shop.file(&large), &["disk is full", "is whole"]);
    assert_eq!(shop.sessions().expect("read").len(), 1);
    assert_eq!(shop.pass_figures().expect("read").len(), 1);
    assert_eq!(shop.health().expect("checked").faults, Vec::<String>::new());
}

#[test]
fn a_change_that_fails_midway_leaves_nothing() {
    let (_folder, shop) = shop();
    let failed = shop.whole(|| {
        technician(&shop, "Robin")?;
        technician(&shop, "Robin")
    });
    says(failed, &["already"]);
    assert!(shop.technicians().expect("read").is_empty());
}

#[test]
fn a_backup_is_whole_and_never_overwrites() {
    let (folder, shop) = shop();
    technician(&shop, "Robin").expect("added");
    let copy = folder.path().join("copies").join(STORE);
    shop.back_up(&copy).expect("backed up");
    technician(&shop, "Kim").expect("added");
    says(shop.back_up(&copy), &["shop.db", "exists"]);
    let restored = Shop::open(copy.parent().expect("a folder")).expect("opened");
    assert_eq!(restored.technicians().expect("read").len(), 1);
    assert_eq!(
        fs::read_dir(copy.parent().expect("a folder"))
            .expect("read")
            .filter(|e| { e.as_ref().is_ok_and(|e| e.file_name().to_string_lossy().starts_with('.')) })
            .count(),
        0
    );
}

#[test]
fn a_word_where_a_number_belongs_is_refused_by_the_store_itself() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let id = shop.file(&session(robin, "a")).expect("filed").id();
    let result = shop.db.execute("UPDATE sessions SET seconds = 'long' WHERE id = ?1", [id]);
    assert!(result.is_err());
    let orphan = shop.db.execute("INSERT INTO sections (session_id, number, passes) VALUES (999, 1, 1)", []);
    assert!(orphan.is_err(), "foreign keys are on");
}

#[test]
fn an_exported_shop_can_be_made_again_without_its_owners_names() {
    let (folder, shop) = shop();
    demo::generate(&shop, &demo::STYLES, demo::Extent { days: 2, sections: 2 }, 5).expect("generated");
    shop.add_vehicle(&Vehicle {
        label: "=cmd".into(),
        paint: "clear-coat".into(),
        paint_year: Some(2019),
        colour: "dark".into(),
        hardness: "soft".into(),
        owner: Some("Somebody Private".into()),
        note: String::new(),
    })
    .expect("added");
    let out = folder.path().join("tables");
    let files = shop.export(&out).expect("exported");
    for file in &files {
        let text = fs::read_to_string(file).expect("text");
        assert!(!text.contains("Somebody"), "{}", file.display());
    }
    let vehicles = fs::read_to_string(out.join("vehicles.csv")).expect("text");
    assert!(vehicles.contains("'=cmd"), "a formula for a spreadsheet is made text: {vehicles}");
    let again = Shop::in_memory();
    again.import_json(&out.join("shop.json")).expect("imported");
    assert!(again.pass_figures().expect("read") == shop.pass_figures().expect("read"), "bit for bit");
    assert_eq!(again.sessions().expect("read"), shop.sessions().expect("read"));
    let id = shop.technician("Ash").expect("known");
    let prints = |s: &Shop| s.prints(PrintsOf::Technician(id), 99).expect("read");
    assert!(prints(&again) == prints(&shop));
    says(again.import_json(&out.join("shop.json")), &["an empty one only"]);
}

#[test]
fn tables_go_in_whole_or_not_at_all() {
    let (folder, shop) = shop();
    let put = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).expect("written");
        path
    };
    let good = put("products.csv", "\u{feff}kind,name,aggressiveness\npad,white,1\nliquid,finishing,1\n");
    assert_eq!(shop.import_tables(&[good]).expect("imported").rows, 2);
    let bad = put("technicians.csv", "name,note\nRobin,\nKim,\nrobin,twice\n");
    says(shop.import_tables(&[bad]), &["technicians.csv", "line 4", "already a technician"]);
    assert!(shop.technicians().expect("read").is_empty());
    says(shop.import_tables(&[put("other.csv", "a\n1\n")]), &["the file's name says what it holds"]);
    let film =
        put("film_readings.csv", "vehicle,panel,point,phase,day,film_um\nvan B,door,1,before,2026-03-02,thick\n");
    says(shop.import_tables(&[film]), &["line 2", "no vehicle called \"van B\""]);
    says(shop.import_json(&put("shop.json", "{\"format\": \"other\"}")), &["expected an exported shop"]);
}

/// Schemas as they were released: a store made by one opens, with all it holds, in every later program.
#[test]
fn a_store_of_every_released_schema_opens_and_is_kept_as_it_was_beside() {
    let released = [
        (&[include_str!("schema/v1.sql")][..], include_str!("fixtures/schema-1.sql")),
        (&[include_str!("schema/v1.sql"), include_str!("schema/v2.sql")], include_str!("fixtures/schema-2.sql")),
        (
            &[include_str!("schema/v1.sql"), include_str!("schema/v2.sql"), include_str!("schema/v3.sql")],
            include_str!("fixtures/schema-3.sql"),
        ),
    ];
    assert_eq!(released.len() as i64, Shop::in_memory().health().expect("checked").schema, "each has its rows");
    for ((steps, rows), interrupted) in released.into_iter().flat_map(|of| [(of, false), (of, true)]) {
        let schema = steps.len() as i64;
        let folder = tempfile::tempdir().expect("a folder");
        let db = Connection::open(folder.path().join(STORE)).expect("made");
        steps.iter().for_each(|step| db.execute_batch(step).expect("a schema"));
        db.execute_batch(rows).expect("its rows");
        db.pragma_update(None, "application_id", 0x5350_7368).expect("ours");
        db.pragma_update(None, "user_version", schema).expect("its number");
        drop(db);
        // What an attempt that was interrupted left behind stands in nobody's way, and stays.
        let left = folder.path().join(format!("shop-before-schema-{}.db", released.len()));
        let is_interrupted = interrupted && schema < released.len() as i64;
        if is_interrupted {
            std::fs::write(&left, "an earlier copy").expect("written");
        }
        let shop = Shop::open(folder.path()).expect("opened");
        assert_eq!(shop.health().expect("checked").faults, Vec::<String>::new());
        assert_eq!(shop.technician("robin").expect("known"), 1);
        assert_eq!(shop.vehicles().expect("read")[0].entry.owner.as_deref(), Some("not exported"));
        assert_eq!(shop.pass_figures().expect("read")[0].arm_speed_mps, Some(0.0213));
        assert_eq!(shop.trials().expect("read")[0].haze, 1);
        assert_eq!(shop.film_readings().expect("read").len(), 2);
        assert_eq!(shop.notes().expect("read")[0].text, "a note");
        assert_eq!(shop.sessions().expect("read")[0].part, 1);
        let rubbed = Rubbed { least_m: 12.5, most_m: 12.5 };
        assert_eq!(shop.rubbed_m().expect("read"), [(1, rubbed)].into());
        assert_eq!(shop.setting(Setting::Name).expect("read").as_deref(), Some("Corner Shop"));
        let (placed, recorded) = (schema >= 2, schema >= 2);
        assert_eq!(shop.film_readings().expect("read")[0].place.is_some(), placed);
        assert_eq!(shop.notes().expect("read")[0].recorded_s.is_some(), recorded);

        let known = shop.health().expect("checked").schema;
        let copy = if is_interrupted {
            assert_eq!(std::fs::read(&left).expect("still there"), b"an earlier copy");
            folder.path().join(format!("shop-before-schema-{known}-2.db"))
        } else {
            left
        };
        assert_eq!(copy.exists(), schema < known, "a copy as it was, where anything was changed");
        if schema < known {
            let db = Connection::open(copy).expect("opened");
            let kept: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0)).expect("read");
            assert_eq!(kept, schema);
        }
    }
}

/// A second account on the shop's computer opens what the first has made.
#[cfg(unix)]
#[test]
fn the_store_has_the_rights_of_any_new_file() {
    use std::os::unix::fs::PermissionsExt as _;
    let (folder, _shop) = shop();
    let rights = |path: &std::path::Path| fs::metadata(path).expect("a file").permissions().mode() & 0o777;
    let any = folder.path().join("any");
    fs::write(&any, "x").expect("written");
    assert_eq!(rights(&folder.path().join(STORE)), rights(&any));
}

#[test]
fn a_session_goes_with_all_that_was_filed_of_its_recording() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let file = |new: &NewSession| shop.file(new).expect("filed").id();
    let first = file(&session(robin, "a"));
    let note = NewNote { t_s: 3.0, section: None, text: "Marked.".into() };
    let handed = NewSession { part: 2, notes: vec![note], ..session(robin, "a/2") };
    let second = file(&handed);
    let other = file(&NewSession { started: "2026-03-02T09:00:00+01:00".into(), ..session(robin, "b") });
    assert_eq!(shop.remove_session(second).expect("removed"), [first, second]);
    assert_eq!(shop.sessions().expect("read").iter().map(|s| s.id).collect::<Vec<_>>(), [other]);
    assert_eq!(shop.pass_figures().expect("read").iter().map(|p| p.session).collect::<Vec<_>>(), [other]);
    assert_eq!(shop.notes().expect("read"), []);
    says(shop.remove_session(second), &["there is no session 2"]);
}

#[test]
fn a_session_that_something_typed_is_on_stays() {
    let (_folder, shop) = shop();
    let robin = technician(&shop, "Robin").expect("added");
    let (first, second) = (session(robin, "a"), NewSession { part: 2, ..session(robin, "a/2") });
    let [first, second] = [first, second].map(|new| shop.file(&new).expect("filed").id());
    let typed = Note { day: "2026-03-02".into(), session: Some(second), text: "Haze.".into(), ..Note::default() };
    let note = shop.add_note(&typed).expect("added");
    says(shop.remove_session(first), &["session 2 is used by 1 note", "nothing was changed", "note remove"]);
    assert_eq!(shop.sessions().expect("read").len(), 2);
    shop.remove_note(note).expect("removed");
    shop.remove_session(first).expect("removed");
}
