//! Invented section passes for tests and examples: a serpentine over a square with wandering paces, a thermometer that looks at
//! one side of the pad, and warnings where the figures call for them. All from a seed; nothing here was measured.

use std::sync::Arc;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use steadypass::analysis::rubbing::{RubbingMap, RubbingSetup};
use steadypass::analysis::{Interval, MachineKind, Measured, Pass, SeriesRow, State, Stroke, TrackPoint};
use steadypass::drawing::{PlanBands, SessionFacts, SheetInput};
use steadypass::guidance::{Band, Units, Warning, WarningKind};

/// What a pass is made of.
pub(crate) struct Recipe {
    pub(crate) seed: u64,
    pub(crate) section: u32,
    pub(crate) pass: u32,
    pub(crate) start_s: f64,
    pub(crate) square_m: f64,
    pub(crate) pad_m: f64,
    /// Sideways step between strokes, m.
    pub(crate) pitch_m: f64,
    /// Pace of each stroke, m/s.
    pub(crate) paces_mps: Vec<f64>,
    /// Second pass of a crosshatch.
    pub(crate) upright: bool,
    /// Heat the work puts in, K/s under the pad.
    pub(crate) heat: f64,
}

impl Recipe {
    /// Four strokes, one of them too fast, and too much heat.
    pub(crate) fn hot() -> Self {
        Self {
            seed: 1,
            section: 3,
            pass: 1,
            start_s: 725.3,
            square_m: 0.45,
            pad_m: 0.125,
            pitch_m: 0.105,
            paces_mps: vec![0.0212, 0.0185, 0.0305, 0.0238],
            upright: false,
            heat: 0.85,
        }
    }

    /// Eight even strokes, second pass of a crosshatch.
    pub(crate) fn good() -> Self {
        Self {
            seed: 2,
            section: 3,
            pass: 2,
            start_s: 850.0,
            square_m: 0.45,
            pad_m: 0.125,
            pitch_m: 0.047,
            paces_mps: vec![0.021, 0.0195, 0.0225, 0.0205, 0.0198, 0.0231, 0.0214, 0.0202],
            upright: true,
            heat: 0.42,
        }
    }

    /// Many strokes, quick and uneven, with a slow one.
    pub(crate) fn busy() -> Self {
        Self {
            seed: 3,
            section: 1,
            pass: 14,
            start_s: 12.4,
            square_m: 0.6,
            pad_m: 0.15,
            pitch_m: 0.035,
            paces_mps: (0..14).map(|i| [0.055, 0.062, 0.071, 0.031, 0.011, 0.024, 0.02][i % 7]).collect(),
            upright: false,
            heat: 0.7,
        }
    }
}

/// An invented pass with everything a sheet can show.
pub(crate) struct Invented {
    pub(crate) session: SessionFacts,
    pub(crate) pass: Pass,
    pub(crate) strokes: Vec<Stroke>,
    pub(crate) rows: Vec<SeriesRow>,
    pub(crate) warnings: Vec<Warning>,
    pub(crate) notes: Vec<(f64, Arc<str>)>,
    pub(crate) lost_s: f64,
    pub(crate) bands: PlanBands,
    pub(crate) rubbing: Option<RubbingMap>,
    pub(crate) machine: MachineKind,
    pub(crate) units: Units,
}

impl Invented {
    pub(crate) fn input(&self) -> SheetInput<'_> {
        SheetInput {
            session: &self.session,
            pass: &self.pass,
            strokes: &self.strokes,
            rows: &self.rows,
            warnings: &self.warnings,
            notes: &self.notes,
            lost_s: self.lost_s,
            bands: self.bands,
            rubbing: self.rubbing.as_ref(),
            machine: self.machine,
            units: self.units,
        }
    }

    pub(crate) fn of(recipe: &Recipe) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(recipe.seed);
        let mut noise = move |sd: f64| sd * (0..12).map(|_| rng.random_range(-0.5..0.5)).sum::<f64>();
        let limit_k = 100.0 / 9.0;
        let n = recipe.paces_mps.len();
        let travel = recipe.square_m - recipe.pad_m * 0.75;
        let base_orbit = 4260.0;
        let (mut t, mut track, mut strokes) = (recipe.start_s, Vec::new(), Vec::new());
        let mut y = -recipe.pitch_m * (n as f64 - 1.0) / 2.0;
        let place = |x: f64, y: f64| if recipe.upright { (-y, x) } else { (x, y) };
        for (i, pace) in recipe.paces_mps.iter().enumerate() {
            let side = if i % 2 == 0 { 1.0 } else { -1.0 };
            let length = travel * (1.0 + noise(0.03));
            let (bow, tilt) = (noise(0.006), noise(0.004));
            let seconds = length / pace;
            let steps = (seconds * 10.0) as usize;
            let start = t;
            for k in 0..steps {
                let part = k as f64 / steps as f64;
                let sway = bow * (part * 3.1).sin() + tilt * (part - 0.5) + 0.0015 * (part * 21.0 + i as f64).sin();
                let (x_m, y_m) = place(side * length * (part - 0.5), y + sway);
                track.push(TrackPoint { t_s: t, x_m, y_m, pad_speed_mps: Some(3.35 + noise(0.03)) });
                t += 0.1;
            }
            let value = length / (t - start);
            strokes.push(Stroke {
                pass: recipe.pass,
                stroke: i as u32 + 1,
                start_s: start,
                end_s: t,
                direction_deg: Some(if side > 0.0 { 0.0 } else { 180.0 } + if recipe.upright { 90.0 } else { 0.0 }),
                machine_deg: None,
                length_m: Some(length),
                traverse_mps: Some(Interval { lo: value * 0.92, value, hi: value * 1.085 }),
                orbit_opm: Some(base_orbit + noise(40.0)),
                surface_c: Some(31.0 + noise(2.0)),
                spot_trails: Some(i % 2 == 0),
                supposed: [false; 2],
            });
            if i + 1 < n {
                for k in 0..8 {
                    let part = f64::from(k) / 8.0;
                    let (x_m, y_m) = place(side * length / 2.0, y + recipe.pitch_m * part);
                    track.push(TrackPoint { t_s: t, x_m, y_m, pad_speed_mps: Some(3.35) });
                    t += 0.1;
                }
                y += recipe.pitch_m;
            }
        }
        let end = t;
        let (mut rows, mut warnings) = (Vec::new(), Vec::new());
        let (mut worked_k, mut seen_k, mut wander) = (0.0f64, 0.0f64, 0.0);
        let (mut soon, mut over) = (false, false);
        let mut now = recipe.start_s;
        while now < end {
            let stroke: Option<&Stroke> = strokes.iter().find(|s| now >= s.start_s && now < s.end_s);
            let trails = stroke.is_some_and(|s| s.spot_trails == Some(true));
            worked_k += 0.1 * (recipe.heat - worked_k / 22.0);
            let target = if trails { worked_k } else { 0.22 * worked_k };
            seen_k += (target - seen_k) * 0.1 / 0.9;
            wander = 0.985 * wander + noise(9.0);
            let rise = seen_k + noise(0.12);
            if !soon && rise > limit_k - 2.2 {
                soon = true;
                warnings.push(Warning {
                    t_s: now,
                    kind: WarningKind::HeatSoon,
                    value: Some(limit_k + 0.7),
                    limit: Some(limit_k),
                });
            }
            if !over && rise > limit_k {
                over = true;
                warnings.push(Warning {
                    t_s: now,
                    kind: WarningKind::HeatOver,
                    value: Some(rise),
                    limit: Some(limit_k),
                });
            }
            let load = if now - recipe.start_s < 0.8 { 220.0 } else { 0.0 };
            rows.push(SeriesRow {
                t_s: now,
                state: State::Working,
                orbit_opm: Some(Measured { value: base_orbit + load + wander, sd: 11.0 }),
                pad_speed_mps: Some(3.35),
                pad_spin_hz: Some(5.2 + noise(0.1)),
                traverse_mps: stroke.and_then(|s| s.traverse_mps).map(|i| Measured { value: i.value, sd: 0.002 }),
                surface_c: Some(24.0 + rise),
                surface_rise_k: Some(rise),
                ambient_c: Some(23.0),
                vibration_mps2: Some(9.0 + noise(0.4)),
            });
            now += 0.1;
        }
        let band = (0.0127, 0.0254);
        for s in &strokes {
            if let Some(i) = s.traverse_mps.filter(|i| i.lo > band.1) {
                warnings.push(Warning {
                    t_s: s.start_s + 0.45 * (s.end_s - s.start_s),
                    kind: WarningKind::PaceFast,
                    value: Some(i.value),
                    limit: Some(band.1),
                });
            }
        }
        let mut orbits: Vec<f64> = rows.iter().filter_map(|r| r.orbit_opm).map(|m| m.value).collect();
        orbits.sort_by(f64::total_cmp);
        let quantile = |q: f64| Some(orbits[((orbits.len() - 1) as f64 * q) as usize]);
        let speeds: Vec<f64> = strokes.iter().filter_map(|s| s.traverse_mps).map(|i| i.value).collect();
        let mean = speeds.iter().sum::<f64>() / n as f64;
        let sd = (speeds.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64).sqrt();
        let peak = rows.iter().filter_map(|r| r.surface_rise_k).fold(0.0, f64::max);
        let setup =
            RubbingSetup { pad_radius_m: recipe.pad_m / 2.0, section_m: Some((recipe.square_m, recipe.square_m)) };
        let rubbing = RubbingMap::of(&[&track], &setup);
        let pass = Pass {
            pass: recipe.pass,
            section: recipe.section,
            start_s: recipe.start_s,
            end_s: end,
            direction_deg: Some(if recipe.upright { 90.0 } else { 0.0 }),
            strokes: n as u32,
            traverse_mean_mps: Some(Interval { lo: mean * 0.95, value: mean, hi: mean * 1.05 }),
            length_doubt: None,
            traverse_cv: Some(sd / mean),
            orbit_median_opm: quantile(0.5),
            orbit_p05_opm: quantile(0.05),
            orbit_p95_opm: quantile(0.95),
            orbit_free_opm: Some(4490.0),
            pad_speed_mean_mps: Some(3.35),
            surface_start_c: Some(24.0),
            surface_peak_c: Some(24.0 + peak),
            surface_rise_k: Some(peak),
            surface_seen_share: 1.0,
            vibration_mps2: Some(9.1),
            track,
            track_sd_m: Some(0.018),
        };
        Self {
            session: SessionFacts {
                technician: "Technician B".into(),
                machine: format!("orbital 15 mm, {:.0} mm pad", recipe.pad_m * 1000.0),
                panel: "left front door, upper half".into(),
                date: "12 March 2026, 10:41".into(),
                invented: true,
                no_looks: false,
                table_remarks: Vec::new(),
            },
            pass,
            strokes,
            rows,
            warnings,
            notes: Vec::new(),
            lost_s: 0.0,
            bands: PlanBands {
                pace_mps: Some(Band { lo: band.0, hi: band.1 }),
                orbit_opm: Some(Band { lo: 4000.0, hi: 4600.0 }),
                rise_limit_k: Some(limit_k),
                stroke_length_m: Some(travel),
            },
            rubbing,
            machine: MachineKind::Orbital,
            units: Units::Si,
        }
    }
}
