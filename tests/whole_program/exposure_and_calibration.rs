//! `exposure` and `calibrate` as their users run them, on recordings of a virtual sensor whose faults are known.

use std::{f64::consts::TAU, fs, path::Path};

use steadypass::{
    calibration::{Calibration, Gyro, save},
    recording::{Facts, Reader, RecordingWriter, Source},
    simulation::Scenario,
};
use steadypass_protocol::{
    ACCEL_BLOCK, Block, GYRO_BLOCK, Hello, MAX_FRAME, Mounting, ResetCause, Samples, Scale, Surface, ToHost, encode,
};
use tempfile::TempDir;

use crate::support::*;

pub(crate) const SENSOR: &str = "0102030405060708";
const NOTICE: &str = "Screening figure, not an ISO 8041-1 measurement";
/// nm/s² and nrad/s per count.
const ACCEL_NANO: u32 = 4_785_645;
const GYRO_NANO: u32 = 1_221_730;

/// What the sensor says at a time, s: specific force, m/s², turn rate, rad/s, and apparent temperature, °C.
pub(crate) struct Story<'a> {
    pub(crate) seconds: f64,
    pub(crate) technician: &'a str,
    pub(crate) says: &'a dyn Fn(f64) -> ([f64; 3], [f64; 3], f64),
}

fn raw(message: &ToHost<'_>) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(message, &mut buffer).expect("fits");
    frame[1..frame.len() - 1].to_vec()
}

fn counts(values: [f64; 3], nano: u32) -> impl Iterator<Item = u8> {
    // Rounding to counts averages out over the hiss, as it does over a chip's noise.
    values.into_iter().flat_map(move |v| ((v / (f64::from(nano) * 1e-9)).round() as i16).to_le_bytes())
}

pub(crate) fn write(path: &Path, story: &Story<'_>) {
    write_at(path, story, "2026-03-02T09:00:00+01:00", 600.0);
}

/// Begun at a time, with so many microseconds from one acceleration to the next.
fn write_at(path: &Path, story: &Story<'_>, started: &str, accel_us: f64) {
    let facts = Facts {
        technician: story.technician.into(),
        machine: "orbital".into(),
        source: Source::Sensor,
        sensor: SENSOR.into(),
        started: started.into(),
        ..Facts::default()
    };
    let mut writer = RecordingWriter::create(path, &facts).expect("created");
    // Gyro blocks last twice as long as accelerometer blocks.
    let gyro_us = accel_us * 8.0;
    let hello = ToHost::Hello(Hello {
        protocol: 1,
        firmware: [0, 1, 0],
        unique_id: [1, 2, 3, 4, 5, 6, 7, 8],
        chips: 3,
        reset: ResetCause::PowerOn,
        uptime_us: 0,
        accel: Scale { nominal_mhz: (1e9 / accel_us) as u32, nano_per_count: ACCEL_NANO, full_scale: 32_767 },
        gyro: Scale { nominal_mhz: (1e9 / gyro_us) as u32, nano_per_count: GYRO_NANO, full_scale: 32_767 },
        surface_period_ms: 64,
        mounting: Mounting::STRAIGHT,
        streaming: true,
    });
    writer.frame_at_rest(1, &raw(&hello)).expect("stored");
    for pair in 0..(story.seconds * 1e6 / (2.0 * ACCEL_BLOCK as f64 * accel_us)) as u32 {
        let mut t_us = 0.0;
        for half in 0..2 {
            let index = (pair * 2 + half) * ACCEL_BLOCK as u32;
            t_us = f64::from(index) * accel_us;
            let bytes: Vec<u8> = (0..ACCEL_BLOCK)
                .flat_map(|i| counts((story.says)((t_us + i as f64 * accel_us) * 1e-6).0, ACCEL_NANO))
                .collect();
            let samples = Samples::from_bytes(&bytes).expect("whole samples");
            let block = Block {
                first_index: index,
                first_us: t_us as u64,
                spacing_ns: (accel_us * 1e3) as u32,
                flags: 0,
                samples,
            };
            writer.frame_at_rest((t_us * 1e3) as u64 + 1, &raw(&ToHost::Accel(block))).expect("stored");
        }
        let index = pair * GYRO_BLOCK as u32;
        let first_us = f64::from(index) * gyro_us;
        let bytes: Vec<u8> = (0..GYRO_BLOCK)
            .flat_map(|i| counts((story.says)((first_us + i as f64 * gyro_us) * 1e-6).1, GYRO_NANO))
            .collect();
        let samples = Samples::from_bytes(&bytes).expect("whole samples");
        let block = Block {
            first_index: index,
            first_us: first_us as u64,
            spacing_ns: (gyro_us * 1e3) as u32,
            flags: 0,
            samples,
        };
        writer.frame_at_rest((t_us * 1e3) as u64 + 2, &raw(&ToHost::Gyro(block))).expect("stored");
        let word = |c: f64| ((c + 273.15) / 0.02).round() as u16;
        let look = Surface {
            index: pair as u8,
            t_us: t_us as u64,
            object_raw: word((story.says)(t_us * 1e-6).2),
            ambient_raw: word(24.0),
            flags: 0,
        };
        writer.frame_at_rest((t_us * 1e3) as u64 + 3, &raw(&ToHost::Surface(look))).expect("stored");
    }
    writer.finish(0, "stopped").expect("finished");
}

/// A little noise that needs no generator: the fraction of a large multiple of time.
fn hiss(t: f64, k: f64) -> f64 {
    ((t * 7_919.0 * k).sin() * 43_758.545_3).fract() * 0.02
}

const BIAS: [f64; 3] = [0.012, -0.009, 0.004];

pub(crate) fn still(path: &Path, force: &dyn Fn(f64) -> [f64; 3], seconds: f64, apparent_c: f64) {
    let says = |t: f64| {
        let f = force(t);
        let gyro = BIAS.map(|b| b + hiss(t, b) * 0.1);
        ([f[0] + hiss(t, 1.1), f[1] + hiss(t, 1.3), f[2] + hiss(t, 1.7)], gyro, apparent_c)
    };
    write(path, &Story { seconds, technician: "", says: &says });
}

fn json(args: &[&str]) -> serde_json::Value {
    let output = run(args);
    assert!(output.status.success(), "{args:?}: {}", stderr(&output));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn running_time_and_magnitude_come_out_right_and_every_output_says_what_it_is() {
    let folder = TempDir::new().expect("temp");
    let (path, out) = (at(&folder, "day.mcap"), at(&folder, "out"));
    // Motor on from 20 to 80 s of 100: 4500 orbits a minute, 20 m/s² in x and y.
    let says = |t: f64| {
        let a = if (20.0..80.0).contains(&t) { 20.0 } else { 0.0 };
        let (sin, cos) = (TAU * 75.0 * t).sin_cos();
        ([a * cos + hiss(t, 1.1), a * sin + hiss(t, 1.3), 9.81 + hiss(t, 1.7)], [0.001; 3], 24.0)
    };
    write(&path, &Story { seconds: 100.0, technician: "Robin", says: &says });
    let (path, out_text) = (text(&path), text(&out));
    let found = json(&["--json", "exposure", &path, "--declared", "sander=5:60", "--out", &out_text]);
    assert_eq!(found["notice"], NOTICE);
    let day = &found["days"][0];
    assert_eq!((day["technician"].as_str(), day["date"].as_str()), (Some("Robin"), Some("2026-03-02")));
    let measured = &day["tools"][0];
    // Wh at 75 Hz is 0.21459 (data/reference/orbit_kinematics.csv); both axes together give amplitude times weighting.
    let a = measured["a_hv_mps2"].as_f64().expect("a figure");
    assert!((a / (20.0 * 0.214_59) - 1.0).abs() < 0.01, "{a}");
    let seconds = measured["running_s"].as_f64().expect("a time");
    assert!((seconds - 60.0).abs() < 1.5, "{seconds}");
    assert_eq!(day["tools"][1]["basis"], "declared");
    let points = day["points"].as_f64().expect("points");
    assert!((points - (50.0 + 2.0 * a * a * seconds / 3600.0)).abs() < 1e-6, "{points}");
    assert_eq!(files(&out), ["exposure-2026-03-02-robin.png", "exposure.csv"]);
    let table = rows(&out.join("exposure.csv"));
    assert!(table.len() == 2 && table.iter().all(|row| row["note"] == NOTICE), "{table:?}");
    let asked = json(&["--json", "exposure", "--technician", " robin", &path]);
    assert_eq!(asked["days"].as_array().map(Vec::len), Some(1), "a name is one however it is typed");
    let said = run(&["exposure", &path]);
    assert!(String::from_utf8_lossy(&said.stdout).contains(NOTICE));
    let others = run(&["exposure", "--technician", "Sam", &path]);
    assert!(stderr(&others).contains("left out, as asked, is work of others"), "{}", stderr(&others));
}

/// Motor on from the first second to the last but one: 20 m/s² in x and y.
pub(crate) fn working(seconds: f64) -> impl Fn(f64) -> ([f64; 3], [f64; 3], f64) {
    move |t: f64| {
        let a = if (1.0..seconds - 1.0).contains(&t) { 20.0 } else { 0.0 };
        let (sin, cos) = (TAU * 75.0 * t).sin_cos();
        ([a * cos + hiss(t, 1.1), a * sin + hiss(t, 1.3), 9.81 + hiss(t, 1.7)], [0.001; 3], 24.0)
    }
}

#[test]
fn work_with_the_motor_on_is_no_noise() {
    let folder = TempDir::new().expect("temp");
    let [work, later, rest] = ["work.mcap", "later.mcap", "rest.mcap"].map(|name| at(&folder, name));
    write(&work, &Story { seconds: 20.0, technician: "", says: &working(20.0) });
    expect(&["calibrate", "--noise", &text(&work)], 1, &["work.mcap", "rested for", "motor off"]);
    // Fifteen seconds of rest before it make no better of it.
    let says = |t: f64| working(30.0)(if t < 15.0 { 0.0 } else { t - 14.0 });
    write(&later, &Story { seconds: 40.0, technician: "", says: &says });
    expect(&["calibrate", "--noise", &text(&later)], 1, &["later.mcap", "moved for", "of 40 s", "motor off"]);
    still(&rest, &|_| [0.0, 0.0, 9.81], 20.0, 24.0);
    let said = succeeds(&["calibrate", "--noise", &text(&rest)]);
    assert!(said.contains("gyro: longest unbroken stretch 20 s"), "{said}");
}

#[test]
fn vibration_that_was_not_measured_does_not_reassure() {
    let folder = TempDir::new().expect("temp");
    let (path, out) = (text(&at(&folder, "slow.mcap")), at(&folder, "out"));
    // 350 accelerations a second are too few for the weighting.
    let says = working(30.0);
    let story = Story { seconds: 30.0, technician: "Robin", says: &says };
    write_at(Path::new(&path), &story, "2026-03-02T09:00:00+01:00", 1e6 / 350.0);
    let said = succeeds(&["exposure", &path, "--out", &text(&out)]);
    assert!(said.contains("A(8) is not known") && said.contains("not measured"), "{said}");
    assert!(said.contains("points not known"), "{said}");
    assert!(!said.contains("under the") && !said.contains("0.0 ("), "{said}");
    for row in rows(&out.join("exposure.csv")) {
        assert_eq!(
            (row["day_a8_mps2"].as_str(), row["day_points"].as_str(), row["day_points_hi"].as_str()),
            ("", "", "")
        );
    }
    let found = json(&["--json", "exposure", &path]);
    assert!(found["days"][0]["a8_mps2"].is_null() && found["days"][0]["points_hi"].is_null(), "{found}");

    // The sheet of the day says the same.
    let shop = text(&at(&folder, "shop"));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["review", &path, "--no-sheets", "--out", &text(&at(&folder, "review")), "--shop", &shop]);
    let said = succeeds(&["day", "--shop", &shop, "--technician", "Robin", "--day", "2026-03-02"]);
    assert!(said.contains("Vibration exposure A(8) is not known"), "{said}");
}

#[test]
fn a_day_says_what_is_missing_from_its_recordings() {
    let folder = TempDir::new().expect("temp");
    let (path, shop) = (text(&at(&folder, "day.mcap")), text(&at(&folder, "shop")));
    let says = working(30.0);
    write(Path::new(&path), &Story { seconds: 30.0, technician: "Robin", says: &says });
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["review", &path, "--no-sheets", "--out", &text(&at(&folder, "review")), "--shop", &shop]);
    let day = ["day", "--shop", &shop, "--technician", "Robin", "--day", "2026-03-02"];
    assert!(!succeeds(&day).contains("missing"), "{}", succeeds(&day));

    let mut bytes = fs::read(&path).expect("read");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0xff;
    fs::write(&path, bytes).expect("written");
    expect(&day, 3, &["day.mcap: some data is missing: ", "What was lost does not count."]);
    let said = run(&day).stdout;
    assert!(String::from_utf8_lossy(&said).contains("Data is missing from its recordings"));

    // What is not the filed recording says nothing about the day.
    fs::remove_file(&path).expect("removed");
    write_at(
        Path::new(&path),
        &Story { seconds: 30.0, technician: "Robin", says: &says },
        "2026-03-02T10:00:00+01:00",
        600.0,
    );
    expect(&day, 3, &["day.mcap: another recording stands at this place now"]);
    let said = run(&day).stdout;
    let unknown = "Vibration exposure is not known: not all recordings of this day can be read.";
    assert!(String::from_utf8_lossy(&said).contains(unknown));
    fs::remove_file(&path).expect("removed");
    expect(&day, 3, &["day.mcap", "no such file"]);
}

#[test]
fn a_recording_given_again_counts_once_and_overlaps_are_said() {
    let folder = TempDir::new().expect("temp");
    let path = |name: &str| text(&at(&folder, name));
    let says = working(30.0);
    let story = Story { seconds: 30.0, technician: "Robin", says: &says };
    write_at(Path::new(&path("a.mcap")), &story, "2026-03-02T09:00:00+01:00", 600.0);
    fs::copy(path("a.mcap"), path("copy.mcap")).expect("copied");
    // Cut short, it has other bytes: sensor and start tell it.
    let whole = fs::read(path("a.mcap")).expect("read");
    fs::write(path("cut.mcap.part"), &whole[..whole.len() / 2]).expect("written");
    write_at(Path::new(&path("later.mcap")), &story, "2026-03-02T09:00:15+01:00", 600.0);

    let seconds = |output: &std::process::Output| -> f64 {
        let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        found["days"][0]["tools"][0]["running_s"].as_f64().expect("a time")
    };
    let once = run(&["--json", "exposure", &path("a.mcap")]);
    let cut = path("cut.mcap.part");
    let again = run(&["--json", "exposure", &cut, &path("a.mcap"), &path("a.mcap"), &path("copy.mcap")]);
    assert_eq!(again.status.code(), Some(0), "{}", stderr(&again));
    assert!((seconds(&again) - seconds(&once)).abs() < 1e-9, "{} {}", seconds(&again), seconds(&once));
    let said = stderr(&again);
    assert!(said.contains("a.mcap: given more than once, counted once."), "{said}");
    for name in ["cut.mcap.part", "copy.mcap"] {
        assert!(said.contains(&format!("{name}: left out, is the same recording as")), "{said}");
    }

    let two = ["exposure", &path("a.mcap"), &path("later.mcap")];
    let said = succeeds(&two);
    assert!(said.contains("overlap by 13 s and may count twice"), "{said}");
    let found = json(&[&["--json"], &two[..]].concat());
    assert!((found["days"][0]["overlap_s"].as_f64().expect("a time") - 13.0).abs() < 1.0, "{found}");
}

/// The import is long ago when its recording is looked at.
#[test]
fn what_import_said_of_a_table_is_said_of_its_exposure_too() {
    let folder = TempDir::new().expect("temp");
    succeeds(&["simulate", "--out", &text(folder.path())]);
    let table = fs::read_to_string(at(&folder, "demo-1.csv")).expect("a table");
    let found = |name: &str, change: &dyn Fn(f64) -> f64| {
        let changed: Vec<String> = table
            .lines()
            .map(|line| {
                let cells = line.split(',').enumerate().map(|(i, cell)| match cell.parse() {
                    Ok(value) if (1..=3).contains(&i) => change(value).to_string(),
                    _ => cell.to_owned(),
                });
                cells.collect::<Vec<_>>().join(",")
            })
            .collect();
        let [csv, recording] = ["csv", "mcap"].map(|ending| at(&folder, &format!("{name}.{ending}")));
        fs::write(&csv, changed.join("\n")).expect("written");
        succeeds(&["import", &text(&csv), "--out", &text(&recording), "--technician", "Robin"]);
        let args = ["exposure", &text(&recording)];
        (json(&[&["--json"], &args[..]].concat()), succeeds(&args), stderr(&run(&args)))
    };
    let (whole, _, _) = found("whole", &|value| value);
    assert!(whole["days"][0]["a8_mps2"].is_number() && whole["days"][0]["tools"][0]["cut_off"] == false, "{whole}");

    let (in_g, _, said) = found("g", &|value| value / 9.80665);
    assert!(said.contains("g.mcap: Over a second the acceleration averages"), "{said}");
    assert!(in_g["remarks"].to_string().contains("If the table is in g"), "{in_g}");

    let (cut, printed, said) = found("cut", &|value| value.clamp(-20.0, 20.0));
    assert!(said.contains("cut.mcap: ") && said.contains("its peaks are cut off"), "{said}");
    assert!(printed.contains("but at least") && printed.contains("the truth is larger"), "{printed}");
    assert!(!printed.contains("under the action value") && !printed.contains("alone, "), "{printed}");
    let (day, tool) = (&cut["days"][0], &cut["days"][0]["tools"][0]);
    assert!(day["a8_hi_mps2"].is_null() && tool["a_hv_hi_mps2"].is_null() && tool["a_hv_mps2"].is_number(), "{day}");
    assert_eq!(tool["cut_off"], true);

    let [shop, out] = ["shop", "out"].map(|name| text(&at(&folder, name)));
    succeeds(&["shop", "init", "--shop", &shop]);
    succeeds(&["review", &text(&at(&folder, "cut.mcap")), "--no-sheets", "--out", &out, "--shop", &shop]);
    let of_day = succeeds(&["day", "--technician", "Robin", "--shop", &shop]);
    assert!(of_day.contains("but at least") && of_day.contains("cut off: the truth is larger"), "{of_day}");
}

/// The environment names a shop for every verb; a recording tells its own without one.
#[test]
fn a_shop_that_only_the_environment_names_may_be_missing() {
    let folder = TempDir::new().expect("temp");
    let (recording, gone) = (at(&folder, "a.mcap"), at(&folder, "gone"));
    let says = working(30.0);
    write(&recording, &Story { seconds: 30.0, technician: "Robin", says: &says });
    let with_usual = |more: &[&str]| {
        let mut command = steadypass();
        command.env("STEADYPASS_SHOP", &gone).args(["exposure", &text(&recording)]).args(more);
        command.output().expect("the program starts")
    };
    let output = with_usual(&[]);
    let remarks = stderr(&output);
    assert_eq!(output.status.code(), Some(0), "{remarks}");
    assert!(String::from_utf8_lossy(&output.stdout).starts_with("Robin, 2026-03-02"));
    for words in ["STEADYPASS_SHOP: ", "gone holds no shop", "goes on without a shop"] {
        assert!(remarks.contains(words), "{words}: {remarks}");
    }
    // Set to nothing, it is not set.
    let mut command = steadypass();
    let output = command.env("STEADYPASS_SHOP", "").args(["exposure", &text(&recording)]).output().expect("starts");
    assert_eq!((output.status.code(), stderr(&output).contains("SHOP")), (Some(0), false), "{}", stderr(&output));
    let asked_for = with_usual(&["--shop", &text(&gone)]);
    assert_eq!(asked_for.status.code(), Some(1));
    assert!(asked_for.stdout.is_empty() && stderr(&asked_for).contains("gone holds no shop"), "{}", stderr(&asked_for));
}

#[test]
fn typed_in_values_alone_are_a_calculator_and_nonsense_is_a_usage_error() {
    let found = json(&["--json", "exposure", "--technician", "Sam", "--declared", "sander=5:120"]);
    let a8 = found["days"][0]["a8_mps2"].as_f64().expect("a figure");
    assert!((a8 - 2.5).abs() < 1e-9, "{a8}");
    for (args, says) in [
        (vec!["exposure"], "--declared NAME=A_HV:MINUTES"),
        (vec!["exposure", "--declared", "sander=fast:3"], "`fast` is not a number"),
        (
            vec!["exposure", "--declared", "a=4:1400", "--declared", "b@left=4:1400"],
            "together 46 h 40 min in the left hand in one day, which has 24 h",
        ),
        (vec!["exposure", "--declared", "sander=5:3", "--action-value", "9"], "not above the limit"),
        (vec!["exposure", "--declared", "sander=5:3", "--day", "monday"], "monday"),
        (vec!["calibrate"], "required"),
        (vec!["calibrate", "--faces", "x.mcap", "--latitude", "95"], "-90 to 90"),
        (vec!["calibrate", "--thermometer", "x.mcap"], "RECORDING=CELSIUS"),
    ] {
        let output = run(&args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(stderr(&output).contains(says), "{args:?}: {}", stderr(&output));
    }
}

#[test]
fn three_checks_build_one_calibration() {
    let folder = TempDir::new().expect("temp");
    let kept = text(&at(&folder, "kept"));
    let calibrate = |args: &[&str]| json(&[&["--json", "calibrate", "--calibration", &kept], args].concat());
    let path = |name: &str| text(&at(&folder, name));

    still(Path::new(&path("table.mcap")), &|_| [0.0, 0.0, 9.81], 40.0, 24.0);
    let known = calibrate(&["--still", &path("table.mcap")]);
    for (i, bias) in BIAS.into_iter().enumerate() {
        let got = known["gyro"]["bias_radps"][i].as_f64().expect("a bias");
        assert!((got - bias).abs() < 2e-4, "{got} {bias}");
    }

    // Each face for six seconds, with two seconds of turning over in between.
    let (offset, gain, g) = ([0.12, -0.1, 0.07], [1.008, 0.994, 1.003], 9.8112);
    let says = |t: f64| {
        let (step, within) = ((t / 8.0) as usize, t % 8.0);
        let mut f = [0.0; 3];
        f[step / 2 % 3] = if step % 2 == 0 { g } else { -g };
        let turning = if within < 2.0 { 2.0 * (t * 9.0).sin() } else { 0.0 };
        let axes = std::array::from_fn(|i| f[i] * gain[i] + offset[i] + turning + hiss(t, 1.1 + i as f64));
        (axes, [turning * 0.3; 3], 24.0)
    };
    write(Path::new(&path("faces.mcap")), &Story { seconds: 48.0, technician: "", says: &says });
    let known = calibrate(&["--faces", &path("faces.mcap"), "--latitude", "50.59", "--height-m", "0"]);
    for i in 0..3 {
        let (o, s) = (&known["accel"]["offset_mps2"][i], &known["accel"]["scale"][i]);
        assert!((o.as_f64().expect("an offset") - offset[i]).abs() < 0.005, "{known}");
        assert!((s.as_f64().expect("a scale") * gain[i] - 1.0).abs() < 5e-4, "{known}");
    }
    assert!(known["gyro"].is_object(), "earlier parts stay");
    calibrate(&["--faces", &path("faces.mcap"), "--shown", "x,-x,y,-y,z,-z"]);
    // From the readings alone a turned chip looks straight: the order of the arrows tells.
    for (shown, says) in [
        ("-x,x,-y,y,z,-z", "is turned"),
        ("y,-y,x,-x,z,-z", "mirrored"),
        ("x,-x,y", "told +x, -x, +y"),
        ("x,up", "expected arrows in order"),
    ] {
        let refused = run(&["calibrate", "--faces", &path("faces.mcap"), "--shown", shown, "--calibration", &kept]);
        assert!(!refused.status.success() && stderr(&refused).contains(says), "{shown}: {}", stderr(&refused));
    }

    let kelvin = |c: f64| c + 273.15;
    let apparent = |c: f64| (0.95 * kelvin(c).powi(4) + 0.05 * kelvin(24.0).powi(4)).powf(0.25) - 273.15 + 0.4;
    still(Path::new(&path("cold.mcap")), &|_| [0.0, 0.0, 9.81], 12.0, apparent(4.0));
    still(Path::new(&path("warm.mcap")), &|_| [0.0, 0.0, 9.81], 12.0, apparent(50.0));
    let (cold, warm) = (format!("{}=4.0", path("cold.mcap")), format!("{}=50.0", path("warm.mcap")));
    let known = calibrate(&["--thermometer", &cold, "--thermometer", &warm, "--valid-days", "30"]);
    let thermometer = &known["thermometer"];
    assert!((thermometer["offset_k"].as_f64().expect("an offset") - 0.4).abs() < 0.02, "{known}");
    assert!((thermometer["target_emissivity"].as_f64().expect("an emissivity") - 0.95).abs() < 0.002, "{known}");

    assert_eq!(files(Path::new(&kept)), [format!("{SENSOR}.toml")]);
    // Made in March with thirty days of validity: by now it is old, and says so.
    let shown = run(&["calibrate", "--calibration", &kept, "--show", SENSOR]);
    assert!(stderr(&shown).contains("days old (limit 30)"), "{}", stderr(&shown));
}

#[test]
fn a_recording_carries_the_calibration_it_was_made_with() {
    let folder = TempDir::new().expect("temp");
    let (kept, out) = (at(&folder, "kept"), at(&folder, "run.mcap"));
    let port = virtual_port(&folder, &Scenario::demo(), 4.0);
    let record = |out: &Path| {
        let output = start_record(&port, out, &["--seconds", "2", "--calibration", &text(&kept)])
            .wait_with_output()
            .expect("ends");
        assert!(output.status.success(), "{}", stderr(&output));
        Reader::open(out).expect("opens").facts().clone()
    };
    let plain = record(&out);
    assert_eq!(plain.calibration, "");
    let gyro = Gyro {
        when: "2020-01-01T00:00:00+00:00".into(),
        bias_radps: [0.01, 0.0, 0.0],
        sd_radps: [1e-5; 3],
        seconds: 30.0,
    };
    let calibration = Calibration { gyro: Some(gyro), ..Calibration::of(&plain.sensor) };
    save(&kept, &calibration).expect("kept");
    let corrected = record(&at(&folder, "second.mcap"));
    assert_eq!(corrected.sensor_calibration(), Ok(Some(calibration)));
}

#[test]
fn a_hand_held_sensor_a_missing_face_and_a_stranger_are_refused() {
    let folder = TempDir::new().expect("temp");
    let (path, kept) = (text(&at(&folder, "held.mcap")), text(&at(&folder, "kept")));
    let shaking = |t: f64| [(TAU * 9.0 * t).sin(), 0.3, 9.7];
    still(Path::new(&path), &shaking, 30.0, 24.0);
    for (flag, says) in [("--still", "rested for 0.0 s at most, expected 10 s"), ("--faces", "+x, -x, +y, -y, +z, -z")]
    {
        let output = run(&["calibrate", flag, &path, "--calibration", &kept]);
        assert_eq!(output.status.code(), Some(1));
        assert!(stderr(&output).contains(says) && stderr(&output).contains("held.mcap"), "{}", stderr(&output));
    }
    // What cannot be kept is not printed as if it were.
    let (rest, taken) = (text(&at(&folder, "rest.mcap")), text(&at(&folder, "taken")));
    still(Path::new(&rest), &|_| [0.0, 0.0, 9.81], 30.0, 24.0);
    fs::write(&taken, "a file").expect("written");
    let output = run(&["--json", "calibrate", "--still", &rest, "--calibration", &taken]);
    assert!(output.status.code() == Some(1) && output.stdout.is_empty(), "{output:?}");
    let output = run(&["calibrate", "--show", "../../etc", "--calibration", &kept]);
    assert!(stderr(&output).contains("no sensor id"), "{}", stderr(&output));
    assert!(!Path::new(&kept).exists(), "nothing half-written");
}

#[test]
fn field_results_get_their_verdicts() {
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware/field-results-example.csv");
    let verdicts = json(&["--json", "calibrate", "--field-results", sheet]);
    let expected = rows(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware/field-verdicts-example.csv")));
    let verdicts = verdicts.as_array().expect("a list");
    assert_eq!(verdicts.len(), expected.len());
    for (got, wanted) in verdicts.iter().zip(&expected) {
        for key in ["figure", "statistic", "verdict"] {
            assert_eq!(got[key].as_str(), Some(wanted[key].as_str()));
        }
        for key in ["low", "high"] {
            assert_eq!(got[key].as_f64(), wanted[key].parse().ok(), "{got}");
        }
    }
    let folder = TempDir::new().expect("temp");
    let broken = at(&folder, "broken.csv");
    fs::write(&broken, "figure\n").expect("written");
    let output = run(&["calibrate", "--field-results", &text(&broken)]);
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("broken.csv, line 1"), "{}", stderr(&output));
}
