//! Draws section pass sheets and a review page from invented figures: `cargo run --example draw_sheets -- OUT_DIR`.

#![allow(clippy::print_stderr)] // says how long each sheet took

#[path = "../tests/support/invented_pass.rs"]
mod invented_pass;

use invented_pass::{Invented, Recipe};
use steadypass::analysis::rubbing::{RubbingMap, RubbingSetup};
use steadypass::analysis::{Interval, LengthDoubt, Measured};
use steadypass::drawing::section_pass_png;
use steadypass::guidance::{Units, Warning, WarningKind};
use steadypass::recording::{Damage, Losses};
use steadypass::report::{PassSheets, RecordingPart, ReviewPage, index_html};
use steadypass::session::Rates;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let out = std::path::PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| ".".to_owned()));
    std::fs::create_dir_all(&out)?;
    let mut sheets = vec![
        ("hot", Invented::of(&Recipe::hot())),
        ("good", Invented::of(&Recipe::good())),
        ("busy", Invented::of(&Recipe::busy())),
    ];
    let mut us = Invented::of(&Recipe::hot());
    us.units = Units::Us;
    sheets.push(("us", us));
    let mut no_track = Invented::of(&Recipe::hot());
    no_track.rubbing = None;
    no_track.pass.track.clear();
    no_track.strokes.iter_mut().for_each(|s| s.spot_trails = None);
    sheets.push(("no-track", no_track));
    let mut no_heat = Invented::of(&Recipe::good());
    no_heat.rows.iter_mut().for_each(|r| (r.surface_c, r.surface_rise_k) = (None, None));
    (no_heat.pass.surface_start_c, no_heat.pass.surface_rise_k, no_heat.pass.surface_peak_c) = (None, None, None);
    no_heat.warnings.clear();
    no_heat.rows.retain(|r| r.t_s < 880.0 || r.t_s > 893.0);
    sheets.push(("no-heat", no_heat));
    let mut guessed = Invented::of(&Recipe::busy());
    guessed.pass.track_sd_m = Some(0.12);
    guessed.bands.stroke_length_m = Some(0.7);
    let by_turns_m = Interval { lo: 0.41, value: 0.49, hi: 0.58 };
    guessed.pass.length_doubt = Some(LengthDoubt { by_turns_m, clear: true });
    sheets.push(("guessed", guessed));
    sheets.push(("troubled", troubled()));
    sheets.push(("bare", bare()));
    let mut table = Invented::of(&Recipe::hot());
    let remark = |text: &str| format!("{text}, and arm speeds, strokes and passes are wrong. Import again.");
    table.session.table_remarks = vec![
        remark(
            "Gravity does not turn in the accelerations as the turn rates say: an axis of these has the wrong sign or is another's",
        ),
        "1204 samples stand at the end of the range: the peaks are cut off. Import again.".to_owned(),
    ];
    let note = |after_s: f64, text: &str| (table.pass.start_s + after_s, text.into());
    table.notes = vec![note(12.0, "haze at the upper edge"), note(41.0, "pad cleaned, a new drop of liquid")];
    sheets.push(("doubted-table", table));
    let mut pngs = Vec::new();
    for (name, sheet) in &sheets {
        let started = std::time::Instant::now();
        pngs.push(section_pass_png(&sheet.input())?);
        eprintln!("{name}: {:.0?}", started.elapsed());
        std::fs::write(out.join(format!("{name}.png")), &pngs[pngs.len() - 1])?;
    }
    let mut passes = PassSheets::default();
    for ((name, sheet), png) in sheets.iter().zip(pngs).take(3) {
        passes.push(&sheet.input(), &format!("{name}.png"), png);
    }
    let warnings: Vec<Warning> = sheets.iter().take(3).flat_map(|(_, s)| s.warnings.iter().copied()).collect();
    let page = index_html(&ReviewPage {
        recordings: &[RecordingPart {
            name: "invented.mcap",
            session: &sheets[0].1.session,
            seconds: 1210.0,
            passes: &passes,
            warnings: &warnings,
            notes: &[],
            losses: Losses { accel_samples: 96, ..Losses::default() },
            rates: Rates::default(),
            damage: Damage::default(),
            has_gyro: true,
            is_table: false,
            remarks: &[],
        }],
        files: &["series.csv", "strokes.csv", "passes.csv", "warnings.csv", "marks.csv", "notes.csv"],
        version: env!("CARGO_PKG_VERSION"),
    });
    std::fs::write(out.join("index.html"), &page)?;
    eprintln!("index.html: {} kB", page.len() / 1000);
    Ok(())
}

/// A sagging orbit rate, lost spin, a silent sensor, wide intervals, no section size, a long foreign name.
fn troubled() -> Invented {
    let mut sheet = Invented::of(&Recipe::busy());
    sheet.session.technician = "Łukasz Ångström-Δημητρίου of the very long name in the morning shift, 山田".to_owned();
    sheet.session.machine =
        "orbital 21 mm with the long handle and the blue lead, 150 mm pad, second backing plate".to_owned();
    let start = sheet.pass.start_s;
    for row in &mut sheet.rows {
        let sag = 500.0 * (-((row.t_s - start - 100.0) / 25.0).powi(2)).exp();
        row.orbit_opm = row.orbit_opm.map(|m| Measured { value: m.value - sag, sd: 60.0 });
        row.pad_speed_mps = None;
    }
    sheet.rows.retain(|r| r.t_s < start + 150.0 || r.t_s > start + 171.0);
    let at = |t_s: f64, kind| Warning { t_s: start + t_s, kind, value: None, limit: None };
    sheet.warnings.push(at(90.0, WarningKind::OrbitLow));
    sheet.warnings.push(at(112.0, WarningKind::SpinLost));
    sheet.warnings.push(at(151.0, WarningKind::SignalLost));
    for s in &mut sheet.strokes {
        s.traverse_mps = s.traverse_mps.map(|i| Interval { lo: 0.72 * i.value, hi: 1.36 * i.value, ..i });
    }
    sheet.strokes[4].traverse_mps = None;
    sheet.pass.track.iter_mut().for_each(|p| p.pad_speed_mps = None);
    sheet.rubbing = RubbingMap::of(&[&sheet.pass.track], &RubbingSetup { pad_radius_m: 0.075, section_m: None });
    sheet
}

/// Nothing known but that a pass took place.
fn bare() -> Invented {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.rows.clear();
    sheet.strokes.clear();
    sheet.warnings.clear();
    sheet.rubbing = None;
    sheet.bands = Default::default();
    sheet.session = Default::default();
    let pass = &mut sheet.pass;
    pass.track.clear();
    (pass.traverse_mean_mps, pass.orbit_median_opm, pass.pad_speed_mean_mps) = (None, None, None);
    (pass.surface_rise_k, pass.surface_start_c, pass.orbit_free_opm, pass.strokes) = (None, None, None, 0);
    sheet
}
