//! `calibrate`: what a sensor's readings are off by, and how a field check went.

use std::path::{Path, PathBuf};

use steadypass::{
    analysis::Reading,
    calibration::{
        self, Calibration, CalibrationError, FACES, Gyro, LookRecorder, Noise, NoiseRecorder, STANDARD_GRAVITY_MPS2,
        StillCheck, Stillness, check_order, check_still, default_folder, faces_up, fit_faces, fit_thermometer,
        four_digits, judge_field_results, normal_gravity_mps2, told_faces,
    },
    guidance::Plan,
    recording::{self, Facts, Reader, Source, Timeline},
};

use super::{
    Console, Done, Failure, Outcome, facts,
    live::Live,
    record::{Job, Recorded, Until, record},
};
use crate::cli::{CalibrateArgs, FactArgs, WatchArgs};

/// How long a rest is recorded from a port, s.
const STILL_S: f64 = 30.0;

pub(super) fn run(console: &Console, args: &CalibrateArgs) -> Outcome {
    if let Some(latitude) = args.latitude.filter(|l| !(-90.0..=90.0).contains(l)) {
        return Err(Failure::Usage(format!("--latitude {latitude}: expected -90 to 90 degrees")));
    }
    if !(-500.0..=9000.0).contains(&args.height_m) {
        return Err(Failure::Usage(format!("--height-m {}: expected -500 to 9000 m", args.height_m)));
    }
    if let Some(emissivity) = args.emissivity.filter(|e| !(0.3..=1.0).contains(e)) {
        return Err(Failure::Usage(format!("--emissivity {emissivity}: expected 0.3 to 1")));
    }
    if let Some(path) = &args.still {
        return still(console, args, path);
    }
    if let Some(port) = &args.still_from {
        let recorded = record_still(console, args, port)?;
        return if recorded.hurried { Ok(recorded.done) } else { still(console, args, &recorded.path) };
    }
    if let Some(path) = &args.faces {
        return faces(console, args, path);
    }
    if !args.thermometer.is_empty() {
        return thermometer(console, args);
    }
    if let Some(path) = &args.noise {
        return noise(console, path);
    }
    if let Some(path) = &args.field_results {
        return field_results(console, path);
    }
    show(console, args, args.show.as_deref().unwrap_or_default())
}

/// Reads a recording as the sensor said it: without the calibration it may carry.
fn read(console: &Console, path: &Path, mut sink: impl FnMut(&Reading<'_>)) -> Result<Facts, Failure> {
    let mut reader = Reader::open(path)?;
    let (mut timeline, mut readings) = (Timeline::new(), 0_u64);
    let bar = console.progress("reading", reader.progress().1);
    while reader.next_chunk(|entry| {
        timeline.push(&entry, &mut |reading| {
            readings += 1;
            sink(&reading);
        });
    })? {
        bar.set_position(reader.progress().0);
    }
    bar.finish_and_clear();
    if readings == 0 {
        return Err(recording::Error::Empty { path: path.to_owned(), damage: reader.damage() }.into());
    }
    Ok(reader.facts().clone())
}

fn in_file(path: &Path) -> impl Fn(CalibrationError) -> Failure {
    move |error| Failure::failed(format!("{}: {error}", path.display()))
}

fn gravity(args: &CalibrateArgs) -> f64 {
    args.latitude.map_or(STANDARD_GRAVITY_MPS2, |latitude| normal_gravity_mps2(latitude, args.height_m))
}

fn folder(args: &CalibrateArgs) -> Result<PathBuf, Failure> {
    Ok(args.calibration.clone().map_or_else(default_folder, Ok)?)
}

/// Changes what is known about the sensor of a recording, shows it and keeps it.
fn keep(
    console: &Console,
    args: &CalibrateArgs,
    facts: &Facts,
    lines: &[String],
    change: impl FnOnce(&mut Calibration),
) -> Outcome {
    let folder = folder(args)?;
    let mut known = if facts.sensor.is_empty() {
        Calibration::of("")
    } else {
        calibration::load(&folder, &facts.sensor)?.unwrap_or_else(|| Calibration::of(&facts.sensor))
    };
    change(&mut known);
    known.valid_days = args.valid_days.unwrap_or(known.valid_days);
    known.check()?;
    // Kept first: what is printed is then so.
    let kept = if args.dry_run || facts.sensor.is_empty() { None } else { Some(calibration::save(&folder, &known)?) };
    if console.json {
        let value = serde_json::to_value(&known).map_err(Failure::failed)?;
        console.result(&value.to_string())?;
    } else {
        for line in lines {
            console.result(line)?;
        }
    }
    for remark in known.remarks(&jiff::ZonedDateTime::now()) {
        console.remark(&remark);
    }
    if facts.source == Source::Simulation {
        console.remark("Invented data, from a virtual sensor.");
    }
    console.remark(&match kept {
        Some(path) => format!("Kept in {}. Recordings from now on use it.", path.display()),
        None if args.dry_run => "Nothing kept (--dry-run).".to_owned(),
        None => "Nothing kept: the recording comes from a table and names no sensor.".to_owned(),
    });
    Ok(Done::Fine)
}

fn still(console: &Console, args: &CalibrateArgs, path: &Path) -> Outcome {
    let mut stillness = Stillness::new();
    let facts = read(console, path, |reading| stillness.push(reading))?;
    let StillCheck { pose, gyro, tilt_deg, size_mps2 } =
        check_still(&stillness.poses(), &facts.started).map_err(in_file(path))?;
    let g = gravity(args);
    let mut lines = vec![format!("At rest for {:.1} s, from {:.1} s on.", pose.seconds, pose.start_s)];
    if let Some(Gyro { bias_radps, sd_radps, .. }) = &gyro {
        lines.push(format!(
            "Gyro bias x {}, y {}, z {} mrad/s; noise {} mrad/s rms.",
            milli(bias_radps[0], sd_radps[0]),
            milli(bias_radps[1], sd_radps[1]),
            milli(bias_radps[2], sd_radps[2]),
            three(pose.gyro_noise_radps.map(|v| v * 1e3), 2),
        ));
    }
    lines.push(format!(
        "Level: the spindle stands {tilt_deg:.1}° from upright. On a table known to be level that is the chip's seat and the clip's."
    ));
    lines.push(format!(
        "Specific force {size_mps2:.3} m/s², gravity {g:.3} (off by {:+.3}); noise {} m/s² rms.",
        size_mps2 - g,
        three(pose.accel_noise_mps2, 3),
    ));
    if tilt_deg > 90.0 {
        console.remark(
            "The spindle axis points down: the sensor lay upside down, or its chip is mounted the other way up.",
        );
    }
    let Some(gyro) = gyro else {
        console.remark("The recording has no gyro readings; there is nothing to keep.");
        console.told(&lines.join("\n"), &serde_json::Value::Null)?;
        return Ok(Done::Fine);
    };
    keep(console, args, &facts, &lines, |known| known.gyro = Some(gyro))
}

/// "1.23 ± 0.01", thousandths.
fn milli(value: f64, sd: f64) -> String {
    format!("{:+.3} ± {:.3}", value * 1e3, sd * 1e3)
}

fn three(values: [f64; 3], digits: usize) -> String {
    values.map(|v| format!("{v:.digits$}")).join(", ")
}

/// Half a minute of rest from a port, kept as a recording like any other.
fn record_still(console: &Console, args: &CalibrateArgs, port: &str) -> Result<Recorded, Failure> {
    let now = jiff::ZonedDateTime::now();
    let out = PathBuf::from("recordings").join(format!("{}-still.mcap", now.strftime("%Y-%m-%d_%H%M%S")));
    let plan = Plan::default();
    let facts = facts::facts(&FactArgs::default(), &plan, Source::Sensor, port);
    let job = Job {
        port: Some(port),
        out: &out,
        facts,
        until: Until::Seconds(STILL_S),
        calibration: args.calibration.as_deref(),
        then: "steadypass calibrate --still",
        to_do: "Motor off, sensor on a table, hands off.",
    };
    record(console, job, Live::new(console, plan, None)?, &WatchArgs::nobody())
}

fn faces(console: &Console, args: &CalibrateArgs, path: &Path) -> Outcome {
    let told = args.shown.as_deref().map(|text| {
        told_faces(text)
            .ok_or_else(|| Failure::Usage(format!("--shown {text}: expected arrows in order, such as x,-x,y,-y,z,-z")))
    });
    let told = told.transpose()?;
    let mut stillness = Stillness::new();
    let facts = read(console, path, |reading| stillness.push(reading))?;
    let poses = stillness.poses();
    if let Some(told) = &told {
        check_order(&poses, told).map_err(in_file(path))?;
    }
    let accel = fit_faces(&poses, gravity(args), &facts.started).map_err(in_file(path))?;
    let mut lines = vec![
        format!("{} poses at rest, held against gravity {:.4} m/s².", accel.poses, accel.gravity_mps2),
        format!("Offset x, y, z: {} m/s².", three(accel.offset_mps2, 3)),
        format!("Scale x, y, z: {}.", three(accel.scale, 4)),
    ];
    let up: Vec<&str> = faces_up(&poses).into_iter().map(|face| FACES[face]).collect();
    lines.push(match told {
        Some(_) => format!("Up were {}, as told: the chip sits as it ought to.", up.join(", ")),
        None => format!(
            "Up were, in this order: {}. If the arrows on the case say otherwise, the chip sits turned; --shown tells.",
            up.join(", ")
        ),
    });
    lines.push(if accel.poses > 6 {
        format!("Left over: {:.3} m/s² at most.", accel.left_over_mps2)
    } else {
        "Six poses determine six figures and leave nothing to check by; hold some faces twice for that.".to_owned()
    });
    if args.latitude.is_none() {
        console.remark("Standard gravity was taken, up to 0.3 % off; give --latitude (and --height-m).");
    }
    keep(console, args, &facts, &lines, |known| known.accel = Some(accel))
}

fn thermometer(console: &Console, args: &CalibrateArgs) -> Outcome {
    let mut looks = Vec::new();
    let mut first: Option<Facts> = None;
    for text in &args.thermometer {
        let point = text.rsplit_once('=').and_then(|(path, c)| Some((Path::new(path), c.trim().parse::<f64>().ok()?)));
        let Some((path, truth_c)) = point.filter(|(_, c)| (-40.0..=150.0).contains(c)) else {
            return Err(Failure::Usage(format!(
                "--thermometer {text}: expected RECORDING=CELSIUS with -40 to 150, for example warm.mcap=48.0"
            )));
        };
        let mut recorder = LookRecorder::new();
        let facts = read(console, path, |reading| recorder.push(reading))?;
        looks.push(recorder.look(truth_c).map_err(in_file(path))?);
        if let Some(other) = first.as_ref().filter(|f| f.sensor != facts.sensor) {
            return Err(Failure::failed(format!(
                "{} is from sensor {}, the first recording from {}; calibrate one sensor at a time",
                path.display(),
                facts.sensor,
                other.sensor
            )));
        }
        first.get_or_insert(facts);
    }
    let facts = first.unwrap_or_default();
    let found = fit_thermometer(&looks, args.emissivity, &facts.started)?;
    let mut lines: Vec<String> = looks
        .iter()
        .map(|l| {
            format!("Read {:.2} °C at {:.2} °C, surroundings {:.1} °C.", l.apparent_c, l.truth_c, l.surroundings_c)
        })
        .collect();
    lines.push(format!(
        "Offset {:+.2} K with an emissivity of the target of {:.3}.",
        found.offset_k, found.target_emissivity
    ));
    lines.push(found.check_words(&looks, args.emissivity));
    keep(console, args, &facts, &lines, |known| known.thermometer = Some(found))
}

fn noise(console: &Console, path: &Path) -> Outcome {
    let (mut gyro, mut accel) = (NoiseRecorder::new(true), NoiseRecorder::new(false));
    let mut stillness = Stillness::new();
    read(console, path, |reading| {
        stillness.push(reading);
        gyro.push(reading);
        accel.push(reading);
    })?;
    stillness.rests_throughout().map_err(in_file(path))?;
    let streams = [("gyro", "rad/s", gyro.finish()), ("accelerometer", "m/s²", accel.finish())];
    if console.json {
        let value: serde_json::Map<String, serde_json::Value> = streams
            .iter()
            .map(|(name, unit, (axes, seconds))| {
                let axes: Vec<_> = axes
                    .iter()
                    .map(|n| {
                        serde_json::json!({ "curve": n.curve, "density": n.density, "bias_instability": n.bias_instability })
                    })
                    .collect();
                ((*name).to_owned(), serde_json::json!({ "unit": unit, "seconds": seconds, "axes": axes }))
            })
            .collect();
        console.result(&serde_json::Value::Object(value).to_string())?;
        return Ok(Done::Fine);
    }
    for (name, unit, (axes, seconds)) in &streams {
        if axes.iter().all(|a| a.curve.is_empty()) {
            console.result(&format!("{name}: too little unbroken data"))?;
            continue;
        }
        console.result(&format!("{name}: longest unbroken stretch {seconds:.0} s; Allan deviation in {unit}"))?;
        console.result(&format!("  {:>9} {:>12} {:>12} {:>12}", "tau, s", "x", "y", "z"))?;
        for (i, (tau_s, _)) in axes[0].curve.iter().enumerate() {
            let cells = [0, 1, 2].map(|a| axes[a].curve.get(i).map_or_else(String::new, |p| format!("{:.3e}", p.1)));
            console.result(&format!("  {tau_s:>9.3} {:>12} {:>12} {:>12}", cells[0], cells[1], cells[2]))?;
        }
        let each = |pick: fn(&Noise) -> Option<f64>| {
            [0, 1, 2]
                .map(|a| pick(&axes[a]).map_or_else(|| "not reached".to_owned(), |v| format!("{v:.3e}")))
                .join(", ")
        };
        console.result(&format!("  noise density {} {unit}/√Hz", each(|n| n.density)))?;
        console.result(&format!("  bias instability {} {unit}", each(|n| n.bias_instability)))?;
    }
    console.remark(
        "Overlapping Allan deviation (NIST SP 1065). Only as still as the table was: hours, at night, tell most.",
    );
    Ok(Done::Fine)
}

fn field_results(console: &Console, path: &Path) -> Outcome {
    let text = std::fs::read_to_string(path)
        .map_err(|e| Failure::failed(format!("cannot read {}: {e}; it must be UTF-8 text", path.display())))?;
    let verdicts = judge_field_results(&text, &path.file_name().unwrap_or_default().to_string_lossy())?;
    if console.json {
        let records: Vec<_> = verdicts
            .iter()
            .map(|v| {
                // To four significant digits, as the procedure's own table has them.
                let shown = |value: f64| four_digits(value).parse::<f64>().ok();
                serde_json::json!({
                    "figure": v.figure, "statistic": v.statistic, "runs": v.runs, "low": v.bounds.and_then(|b| shown(b.0)),
                    "high": v.bounds.and_then(|b| shown(b.1)), "limit": v.limit, "verdict": v.verdict.as_str(),
                })
            })
            .collect();
        console.result(&serde_json::Value::Array(records).to_string())?;
        return Ok(Done::Fine);
    }
    for v in &verdicts {
        let unit = if v.limit_unit == "1" { String::new() } else { format!(" {}", v.limit_unit) };
        let bounds = v.bounds.map_or_else(
            || "-".to_owned(),
            |(low, high)| format!("{} to {}{unit}", four_digits(low), four_digits(high)),
        );
        console.result(&format!(
            "{:<10} {}: {} {bounds} ({} {}{unit}, {} of {} runs)",
            v.verdict.as_str(),
            v.what,
            v.statistic,
            v.sense,
            v.limit,
            v.runs,
            v.wanted_runs
        ))?;
    }
    Ok(Done::Fine)
}

fn show(console: &Console, args: &CalibrateArgs, sensor: &str) -> Outcome {
    let folder = folder(args)?;
    let Some(known) = calibration::load(&folder, sensor)? else {
        return Err(Failure::failed(format!("no calibration of sensor {sensor} in {}", folder.display())));
    };
    if console.json {
        console.result(&serde_json::to_value(&known).map_err(Failure::failed)?.to_string())?;
    } else {
        console.result(known.to_toml().trim_end())?;
    }
    for remark in known.remarks(&jiff::ZonedDateTime::now()) {
        console.remark(&remark);
    }
    Ok(Done::Fine)
}
