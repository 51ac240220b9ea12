//! What really happened: strokes, passes, rates, temperatures, as the estimators are judged by.

use std::io::Write;

use serde::Serialize;

use super::path::Doing;
use super::scenario::Scenario;

/// One stroke: the run at speed between two turns.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TrueStroke {
    /// Number of its pass, from 0.
    pub pass_index: u32,
    /// 0 along the section's u, 1 along its v.
    pub axis: u8,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Way made along the axis, m.
    pub length_m: f64,
    /// Length over time, m/s.
    pub traverse_mps: f64,
}

/// One pass, from the start of its first stroke to the end of its last.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TruePass {
    /// Number, from 0.
    pub index: u32,
    /// Axis of its strokes.
    pub axis: u8,
    /// Number of its section, from 0.
    pub section: u32,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
}

/// Ten values a second of what changes all the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueMoment {
    /// Time, s.
    pub t_s: f64,
    /// Orbit rate (rotary: rate), Hz.
    pub rate_hz: f64,
    /// Pad spin, Hz.
    pub spin_hz: f64,
    /// Speed of the pad's middle on the panel, without tremor, m/s along u and v.
    pub velocity_mps: [f64; 2],
    /// Place of the pad's middle, m along u and v from the first section's middle.
    pub place_m: [f64; 2],
    /// Temperature of the thermometer's spot, °C.
    pub spot_c: f64,
    /// Hottest place of the section, °C.
    pub hottest_c: f64,
}

/// Everything that is known about a finished scenario.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Truth {
    /// Strokes in order.
    pub strokes: Vec<TrueStroke>,
    /// Passes in order.
    pub passes: Vec<TruePass>,
    /// When the motor was switched on and off, s; the last one may still run.
    pub motor_s: Vec<(f64, Option<f64>)>,
    /// Ten moments a second.
    pub moments: Vec<TrueMoment>,
    /// Sections' starts (the mark button), s.
    pub marks_s: Vec<f64>,
    last: Option<Doing>,
    stroke_from: (f64, [f64; 2]),
    section: u32,
}

impl Truth {
    /// The path is at `pad_m` and does `doing`; called for every sample, in order of time.
    pub(super) fn note(&mut self, t_s: f64, doing: Doing, pad_m: [f64; 2], section: u32) {
        if self.last == Some(doing) {
            return;
        }
        if let Some(Doing::Stroke { pass, axis, last, .. }) = self.last {
            let (start_s, from) = self.stroke_from;
            let length_m = (pad_m[usize::from(axis)] - from[usize::from(axis)]).abs();
            let traverse_mps = length_m / (t_s - start_s);
            self.strokes.push(TrueStroke { pass_index: pass, axis, start_s, end_s: t_s, length_m, traverse_mps });
            if last {
                let first = self.strokes.iter().rev().take_while(|s| s.pass_index == pass).last();
                let start_s = first.map_or(start_s, |s| s.start_s);
                self.passes.push(TruePass { index: pass, axis, section: self.section, start_s, end_s: t_s });
            }
        }
        let was_on = !matches!(self.last, None | Some(Doing::Still));
        match (was_on, doing != Doing::Still) {
            (false, true) => self.motor_s.push((t_s, None)),
            (true, false) => {
                if let Some((_, off)) = self.motor_s.last_mut() {
                    *off = Some(t_s);
                }
            }
            _ => {}
        }
        if matches!(doing, Doing::Stroke { .. }) {
            self.stroke_from = (t_s, pad_m);
            self.section = section;
        }
        self.last = Some(doing);
    }

    /// Highest rise of the thermometer's spot and of the panel over the panel's start, K.
    pub fn highest_rise_k(&self, panel_start_c: f64) -> (f64, f64) {
        let top = |f: fn(&TrueMoment) -> f64| self.moments.iter().map(f).fold(panel_start_c, f64::max) - panel_start_c;
        (top(|m| m.spot_c), top(|m| m.hottest_c))
    }

    /// First moment at which the spot's rise exceeds `limit_k`, s.
    pub fn first_over_s(&self, panel_start_c: f64, limit_k: f64) -> Option<f64> {
        self.moments.iter().find(|m| m.spot_c - panel_start_c > limit_k).map(|m| m.t_s)
    }

    /// Writes the truth as JSON: `cfg` (what a scorer needs of the scenario), `strokes`, `passes`, `orbit`, `speed`, `ir`,
    /// `spin` as columns over time, the highest rises, and the whole scenario.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write_json(&self, scenario: &Scenario, mut out: impl Write) -> std::io::Result<()> {
        let column = |f: fn(&TrueMoment) -> f64| self.moments.iter().map(f).collect::<Vec<_>>();
        let (rise, panel_rise) = self.highest_rise_k(scenario.heat.panel_start_c);
        let t = column(|m| m.t_s);
        let value = serde_json::json!({
            "cfg": {
                "panel_start_c": scenario.heat.panel_start_c,
                "ambient_c": scenario.heat.ambient_c,
                "stroke_m": scenario.arm.stroke_m,
                "traverse_mps": scenario.arm.traverse_mps,
                "strokes_per_pass": scenario.arm.strokes_per_pass,
                "pass_axes": scenario.arm.pass_axes,
                "panel_tilt_deg": scenario.panel.tilt_deg,
                "orbit_hz": scenario.motor.rate_hz,
                "pad_radius_m": scenario.heat.pad_radius_m,
                "emissivity": scenario.thermometer.emissivity,
            },
            "name": scenario.name,
            "seed": scenario.seed,
            "motor_on_s": self.motor_s.first().map(|m| m.0),
            "motor_off_s": self.motor_s.last().and_then(|m| m.1),
            "motor": self.motor_s,
            "marks": self.marks_s,
            "strokes": self.strokes,
            "passes": self.passes,
            "orbit": { "t": &t, "hz": column(|m| m.rate_hz) },
            "speed": { "t": &t, "vx": column(|m| m.velocity_mps[0]), "vy": column(|m| m.velocity_mps[1]) },
            "place": { "t": &t, "x": column(|m| m.place_m[0]), "y": column(|m| m.place_m[1]) },
            "ir": { "t": &t, "true_c": column(|m| m.spot_c), "panel_max_c": column(|m| m.hottest_c) },
            "spin": { "t": &t, "hz": column(|m| m.spin_hz) },
            "rise_true_c": rise,
            "panel_rise_max_c": panel_rise,
            "scenario": scenario,
        });
        serde_json::to_writer(&mut out, &value)?;
        out.flush()
    }
}
