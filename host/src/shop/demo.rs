//! An invented shop: three technicians over ten working days, with differences that are stated, so that one can see whether
//! `compare` finds what is there and leaves alone what is not.
//!
//! Drawn by a statistical generator directly as pass figures, from a seed. No sensor, no recording and no person stands behind
//! them; every session is marked `generated`, and whatever shows them says so.
//!
//! ```text
//! style (mean of a figure) · day factor (one draw a day) · pass factor (one draw a pass) ─► pass figures
//! ```

use std::path::Path;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};

use super::{
    Id, MachineEntry, NewPass, NewSection, NewSession, PRINT_CELLS, Print, Product, ProductKind, Result, Shop,
    Technician, Vehicle,
};

/// How somebody works: means of the figures, on the first and on the last day (equal for those who do not change).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Invented name.
    pub name: &'static str,
    /// Arm speed, m/s.
    pub arm_speed_mps: [f64; 2],
    /// Spread of stroke speeds in a pass, over their mean.
    pub speed_cv: [f64; 2],
    /// Share of the free orbit rate lost under load.
    pub orbit_droop: f64,
    /// Surface rise in a pass, K.
    pub rise_k: [f64; 2],
    /// Spread of the rubbing distance over its mean.
    pub rubbing_cv: [f64; 2],
}

/// Share of a pass in which the machine stands with the motor on: the same for everybody.
pub const PAUSE_SHARE: f64 = 0.06;
/// Probability that a section gets a third pass: the same for everybody.
pub const THIRD_PASS: f64 = 0.35;
/// Standard deviation of a day's factor on a figure.
const DAY_SD: f64 = 0.07;
/// Standard deviation of a pass's factor on a figure.
const PASS_SD: f64 = 0.10;
/// The plan's band, m/s, and limit, K: common practice, no published source.
const BAND_MPS: (f64, f64) = (0.0127, 0.0254);
const LIMIT_K: f64 = 20.0 * 5.0 / 9.0;

/// One works fast and hot, one slowly and evenly, one learns.
pub const STYLES: [Style; 3] = [
    Style {
        name: "Ash",
        arm_speed_mps: [0.034, 0.034],
        speed_cv: [0.14, 0.14],
        orbit_droop: 0.08,
        rise_k: [10.0, 10.0],
        rubbing_cv: [0.24, 0.24],
    },
    Style {
        name: "Birch",
        arm_speed_mps: [0.020, 0.020],
        speed_cv: [0.06, 0.06],
        orbit_droop: 0.08,
        rise_k: [6.0, 6.0],
        rubbing_cv: [0.14, 0.14],
    },
    Style {
        name: "Cedar",
        arm_speed_mps: [0.038, 0.021],
        speed_cv: [0.20, 0.09],
        orbit_droop: 0.08,
        rise_k: [11.0, 6.5],
        rubbing_cv: [0.30, 0.17],
    },
];

/// Nobody differs: for finding out how often something is claimed where there is nothing.
pub const ALIKE: [Style; 3] =
    [Style { name: "Ash", ..MIDDLE }, Style { name: "Birch", ..MIDDLE }, Style { name: "Cedar", ..MIDDLE }];

const MIDDLE: Style = Style {
    name: "",
    arm_speed_mps: [0.024, 0.024],
    speed_cv: [0.10, 0.10],
    orbit_droop: 0.08,
    rise_k: [8.0, 8.0],
    rubbing_cv: [0.20, 0.20],
};

/// How much is generated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    /// Working days, Monday to Friday, from 2 March 2026 on; at most 2000.
    pub days: u32,
    /// Sections a technician works in a day.
    pub sections: u32,
}

impl Default for Extent {
    fn default() -> Self {
        Self { days: 10, sections: 4 }
    }
}

/// What a generated shop consists of besides sessions.
#[derive(Clone, Debug)]
pub struct Cast {
    /// Technicians, in the order of the styles.
    pub technicians: Vec<Id>,
    /// The one machine all of them use.
    pub machine: Id,
    /// Pads, mildest first.
    pub pads: Vec<Id>,
    /// Liquids, mildest first.
    pub liquids: Vec<Id>,
    /// Vehicles.
    pub vehicles: Vec<Id>,
}

/// Makes an invented shop in `folder`, whole or not at all.
///
/// # Errors
/// As for [`Shop::create`].
pub fn create(folder: &Path, styles: &[Style], extent: Extent, seed: u64) -> Result<Shop> {
    Shop::create_with(folder, |shop| generate(shop, styles, extent, seed).map(drop))
}

/// Fills an empty shop.
///
/// # Errors
/// When the store cannot be written; nothing is in it then.
pub fn generate(shop: &Shop, styles: &[Style], extent: Extent, seed: u64) -> Result<Cast> {
    shop.whole(|| {
        let cast = cast(shop, styles)?;
        for (who, style) in styles.iter().enumerate() {
            // Each technician's own stream: more days or sections for one do not change another's.
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            rng.set_stream(who as u64);
            for day in 0..extent.days {
                shop.file(&session(&mut rng, &cast, who, style, day, extent))?;
            }
        }
        Ok(cast)
    })
}

fn cast(shop: &Shop, styles: &[Style]) -> Result<Cast> {
    let note = "invented".to_owned();
    let mut technicians = Vec::new();
    for style in styles {
        technicians.push(shop.add_technician(&Technician { name: style.name.into(), note: note.clone() })?);
    }
    let machine = shop.add_machine(&MachineEntry {
        name: "orbital 15".into(),
        kind: "orbital".into(),
        throw_mm: Some(15.0),
        pad_diameters_mm: vec![125.0],
        note: note.clone(),
    })?;
    let products = |kind, names: [&str; 3]| {
        let mut ids = Vec::new();
        for (name, aggressiveness) in names.into_iter().zip(1..) {
            ids.push(shop.add_product(&Product { kind, name: name.into(), aggressiveness, note: note.clone() })?);
        }
        Ok::<_, super::ShopError>(ids)
    };
    let pads = products(ProductKind::Pad, ["soft foam", "medium foam", "short wool"])?;
    let liquids = products(ProductKind::Liquid, ["finishing", "one-step", "cutting"])?;
    let mut vehicles = Vec::new();
    let paints = [
        ("saloon A", "clear-coat", 2019, "dark", "soft"),
        ("van B", "clear-coat", 2012, "light", "hard"),
        ("estate C", "respray", 2022, "medium", "soft"),
        ("coupé D", "clear-coat", 2021, "dark", "hard"),
    ];
    for (label, paint, year, colour, hardness) in paints {
        vehicles.push(shop.add_vehicle(&Vehicle {
            label: label.into(),
            paint: paint.into(),
            paint_year: Some(year),
            colour: colour.into(),
            hardness: hardness.into(),
            owner: None,
            note: note.clone(),
        })?);
    }
    Ok(Cast { technicians, machine, pads, liquids, vehicles })
}

/// `YYYY-MM-DD` of a working day counted from Monday, 2 March 2026.
fn date(day: u32) -> String {
    let days = i64::from(day / 5 * 7 + day % 5);
    let start = jiff::civil::date(2026, 3, 2);
    start.checked_add(jiff::Span::new().days(days)).map_or_else(|_| start.to_string(), |d| d.to_string())
}

fn session(rng: &mut ChaCha8Rng, cast: &Cast, who: usize, style: &Style, day: u32, extent: Extent) -> NewSession {
    let progress = if extent.days > 1 { f64::from(day) / f64::from(extent.days - 1) } else { 0.0 };
    let today = |rng: &mut ChaCha8Rng, ends: [f64; 2]| (ends[0] + (ends[1] - ends[0]) * progress) * factor(rng, DAY_SD);
    let mut means = [style.arm_speed_mps, style.speed_cv, [style.orbit_droop; 2], style.rise_k, style.rubbing_cv];
    for mean in &mut means {
        *mean = [today(rng, *mean); 2];
    }
    let pause = today(rng, [PAUSE_SHARE; 2]);
    let means = means.map(|m| m[0]);
    let vehicle = (day as usize + who) % cast.vehicles.len();
    let (mut t_s, mut number, mut running_s) = (20.0, 0, 0.0);
    let mut sections = Vec::new();
    for section in 1..=extent.sections {
        let count = if rng.random_bool(THIRD_PASS) { 3 } else { 2 };
        let passes: Vec<NewPass> = (0..count)
            .map(|_| {
                number += 1;
                let pass = pass(rng, means, pause, number, t_s);
                running_s += pass.end_s - pass.start_s;
                t_s = pass.end_s + 8.0;
                pass
            })
            .collect();
        t_s += 60.0;
        let rubbing: Vec<f64> = passes.iter().filter_map(|p| p.rubbing_mean_m).collect();
        sections.push(NewSection {
            number: section,
            rubbing_mean_m: Some(rubbing.iter().sum()),
            // Independent passes even each other out.
            rubbing_cv: Some(means[4] / f64::from(count).sqrt()),
            map: None,
            passes,
        });
    }
    let day_words = date(day);
    NewSession {
        fingerprint: format!("generated-{who}-{day}"),
        recording: None,
        started: format!("{day_words}T08:00:00+01:00"),
        day: day_words,
        technician: cast.technicians[who],
        machine: Some(cast.machine),
        vehicle: Some(cast.vehicles[vehicle]),
        pad: Some(cast.pads[1]),
        liquid: Some(cast.liquids[1]),
        panel: ["bonnet", "left door", "right door", "boot lid"][day as usize % 4].into(),
        trainer: false,
        source: "generated",
        sensor: String::new(),
        program: env!("CARGO_PKG_VERSION").into(),
        plan: String::new(),
        part: 1,
        seconds: t_s,
        running_s,
        lost: String::new(),
        pace_mps: BAND_MPS,
        heat_limit_k: LIMIT_K,
        sections,
        notes: Vec::new(),
    }
}

fn pass(rng: &mut ChaCha8Rng, means: [f64; 5], pause: f64, number: u32, start_s: f64) -> NewPass {
    let [speed, cv, droop, rise, rubbing_cv] = means.map(|m| m * factor(rng, PASS_SD));
    let (stroke_m, strokes) = (0.40, 8);
    let stroke_mps: Vec<f64> = (0..strokes).map(|_| speed * factor(rng, cv)).collect();
    let mean = stroke_mps.iter().sum::<f64>() / f64::from(strokes);
    let variance = stroke_mps.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / f64::from(strokes - 1);
    let (mut inside_s, mut moving_s) = (0.0, 0.0);
    for v in &stroke_mps {
        moving_s += stroke_m / v;
        inside_s += if (BAND_MPS.0..=BAND_MPS.1).contains(v) { stroke_m / v } else { 0.0 };
    }
    let share = (pause * factor(rng, 3.0 * PASS_SD)).clamp(0.0, 0.5);
    let duration_s = moving_s / (1.0 - share);
    let free = 5000.0 * factor(rng, 0.01);
    let pad_speed = std::f64::consts::PI * 0.015 * free * (1.0 - droop) / 60.0;
    // The pad's face over the worked area: what one point gets of the time in motion.
    let rubbing_mean = pad_speed * duration_s * (std::f64::consts::PI * 0.0625f64.powi(2)) / 0.16;
    NewPass {
        number,
        start_s,
        end_s: start_s + duration_s,
        strokes: strokes as u32,
        arm_speed_mps: Some(mean),
        arm_speed_90_mps: Some((mean * 0.96, mean * 1.04)),
        arm_speed_cv: Some(variance.sqrt() / mean),
        in_band_share: Some(inside_s / moving_s),
        orbit_median_opm: Some(free * (1.0 - droop)),
        orbit_free_opm: Some(free),
        pad_speed_mps: Some(pad_speed),
        surface_start_c: Some(22.0),
        surface_peak_c: Some(22.0 + rise),
        surface_rise_k: Some(rise),
        seconds_over_limit: Some(if rise > LIMIT_K { duration_s * (1.0 - LIMIT_K / rise) } else { 0.0 }),
        rubbing_mean_m: Some(rubbing_mean),
        rubbing_cv: Some(rubbing_cv),
        pause_s: Some(share * duration_s),
        vibration_mps2: Some(9.0 * factor(rng, PASS_SD)),
        warnings: u32::from(rise > LIMIT_K),
        print: Print { stroke_mps, rise_k: warming(rise), rubbing: Some(map(rng, rubbing_cv)) },
    }
}

/// A factor near one, never below a fifth.
fn factor(rng: &mut ChaCha8Rng, sd: f64) -> f64 {
    // A spread that is not a number or negative cannot be drawn from; there is none then.
    Normal::new(1.0, sd).map_or(1.0, |normal| normal.sample(rng)).max(0.2)
}

/// Rise over a pass as a lumped panel warms under constant power: 1 − exp(−2 t).
fn warming(peak_k: f64) -> Vec<Option<f64>> {
    let top = 1.0 - (-2.0f64).exp();
    (0..=20).map(|i| Some(peak_k * (1.0 - (-2.0 * f64::from(i) / 20.0).exp()) / top)).collect()
}

fn map(rng: &mut ChaCha8Rng, cv: f64) -> Vec<u8> {
    let middle = (PRINT_CELLS - 1) as f64 / 2.0;
    let cells: Vec<f64> = (0..PRINT_CELLS * PRINT_CELLS)
        .map(|i| {
            let (x, y) = ((i % PRINT_CELLS) as f64 - middle, (i / PRINT_CELLS) as f64 - middle);
            // Less at the edges, more so the less even the work is.
            let edge = (x.abs().max(y.abs()) / middle).powi(4);
            (1.0 - 2.2 * cv * edge) * factor(rng, 0.4 * cv)
        })
        .collect();
    let most = cells.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    cells.iter().map(|c| (c / most * 255.0).round().clamp(0.0, 255.0) as u8).collect()
}

/// One session of a style on a day, as the first of a five-day week.
#[cfg(test)]
pub(crate) fn one_session(cast: &Cast, who: usize, style: &Style, day: u32) -> NewSession {
    let extent = Extent { days: 5, sections: 2 };
    session(&mut ChaCha8Rng::seed_from_u64(u64::from(day)), cast, who, style, day, extent)
}
