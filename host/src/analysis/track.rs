//! Where the pad's centre was over the section, good enough for a rubbing-distance map.
//!
//! # How
//!
//! Nothing measures position. What is known: each stroke's length and direction, the sideways speed and time of each turn,
//! and that strokes of one pass cover the same section, so that their middles lie above each other. Strokes are laid with
//! even speed about a common middle, shifted sideways by what the turns say; in a turn the pad goes straight from one
//! stroke's end to the next one's start. The frame is the section's: x along its first stroke, y to the left of it, origin
//! in the middle of the worked area.

use super::findings::TrackPoint;
use super::passes::SettledPass;

/// Time between points, s.
const EVERY_S: f64 = 0.1;
/// Most points kept of one pass; longer passes get fewer per second.
const MOST: usize = 6000;
/// Sideways position: relative error of one step, and of the wander inside a stroke, m.
const STEP_SPREAD: f64 = 0.15;
const WANDER_M: f64 = 0.01;

/// Points of a pass whose first stroke runs at `angle` (rad) in the section's frame; pad speed is left blank. Also one
/// standard deviation of a point across the strokes, m.
pub(super) fn lay(pass: &SettledPass, angle: f64) -> (Vec<TrackPoint>, f64) {
    let axis = pass.axis;
    let mut corners: Vec<(f64, [f64; 2])> = Vec::with_capacity(2 * pass.strokes.len());
    let (mut y, mut variance) = (0.0_f64, WANDER_M * WANDER_M);
    let mut before_s: Option<f64> = None;
    for s in &pass.strokes {
        if let Some(end_s) = before_s {
            let step: f64 = s.sideways_mps * (s.start_s - end_s);
            // Sideways is counted across the pass's axis, which may point against its first stroke.
            y += step;
            variance += (STEP_SPREAD * step).powi(2) / 4.0;
        }
        let sign = (s.direction[0] * axis[0] + s.direction[1] * axis[1]).signum();
        let half = 0.5 * s.traverse.length_m * sign;
        corners.push((s.start_s, [-half, y]));
        corners.push((s.end_s, [half, y]));
        before_s = Some(s.end_s);
    }
    let (Some(first), Some(last)) = (corners.first().copied(), corners.last().copied()) else {
        return (Vec::new(), 0.0);
    };
    let middle = 0.5
        * (corners.iter().map(|c| c.1[1]).fold(f64::INFINITY, f64::min)
            + corners.iter().map(|c| c.1[1]).fold(f64::NEG_INFINITY, f64::max));
    let count = (((last.0 - first.0) / EVERY_S) as usize + 1).clamp(2, MOST);
    let every = (last.0 - first.0) / (count - 1) as f64;
    let (sin, cos) = angle.sin_cos();
    let mut points = Vec::with_capacity(count);
    let mut at = 0;
    for i in 0..count {
        let t = first.0 + i as f64 * every;
        while at + 2 < corners.len() && corners[at + 1].0 < t {
            at += 1;
        }
        let ((t0, p0), (t1, p1)) = (corners[at], corners[at + 1]);
        let share = if t1 > t0 { ((t - t0) / (t1 - t0)).clamp(0.0, 1.0) } else { 0.0 };
        let x = p0[0] + share * (p1[0] - p0[0]);
        let y = p0[1] + share * (p1[1] - p0[1]) - middle;
        points.push(TrackPoint { t_s: t, x_m: cos * x - sin * y, y_m: sin * x + cos * y, pad_speed_mps: None });
    }
    (points, variance.sqrt())
}
