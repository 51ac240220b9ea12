//! Draws section pass sheets from invented figures: `cargo run --example draw_sheets -- OUT_DIR`.

#![allow(clippy::print_stderr)] // says how long each sheet took

#[path = "../tests/support/invented_pass.rs"]
mod invented_pass;

use invented_pass::{Invented, Recipe};
use steadypass::drawing::section_pass_png;
use steadypass::guidance::Units;

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
    for (name, sheet) in &sheets {
        let started = std::time::Instant::now();
        std::fs::write(out.join(format!("{name}.png")), section_pass_png(&sheet.input())?)?;
        eprintln!("{name}: {:.0?}", started.elapsed());
    }
    Ok(())
}
