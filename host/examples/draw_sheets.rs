//! Draws section pass sheets and a review page from invented figures: `cargo run --example draw_sheets -- OUT_DIR`.

#![allow(clippy::print_stderr)] // says how long each sheet took

#[path = "../tests/support/invented_pass.rs"]
mod invented_pass;

use invented_pass::{Invented, Recipe};
use steadypass::drawing::section_pass_png;
use steadypass::guidance::{Units, Warning};
use steadypass::recording::{Damage, Losses};
use steadypass::report::{PassSheet, RecordingPart, ReviewPage, index_html};

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
    let mut pngs = Vec::new();
    for (name, sheet) in &sheets {
        let started = std::time::Instant::now();
        pngs.push(section_pass_png(&sheet.input())?);
        eprintln!("{name}: {:.0?}", started.elapsed());
        std::fs::write(out.join(format!("{name}.png")), &pngs[pngs.len() - 1])?;
    }
    let shown = sheets.iter().zip(&pngs).take(3);
    let passes: Vec<PassSheet<'_>> = shown
        .map(|((name, sheet), png)| PassSheet { input: sheet.input(), file_name: format!("{name}.png"), png })
        .collect();
    let warnings: Vec<Warning> = sheets.iter().take(3).flat_map(|(_, s)| s.warnings.iter().copied()).collect();
    let page = index_html(&ReviewPage {
        recordings: &[RecordingPart {
            name: "invented.mcap",
            session: &sheets[0].1.session,
            seconds: 1210.0,
            passes: &passes,
            warnings: &warnings,
            losses: Losses { accel_samples: 96, ..Losses::default() },
            damage: Damage::default(),
            remarks: &[],
        }],
        files: &["series.csv", "strokes.csv", "passes.csv", "warnings.csv"],
        version: env!("CARGO_PKG_VERSION"),
    });
    std::fs::write(out.join("index.html"), &page)?;
    eprintln!("index.html: {} kB", page.len() / 1000);
    Ok(())
}
