//! Where the pad's centre was over the section, good enough for a rubbing-distance map.
//!
//! # How
//!
//! Nothing measures position. What is known: each stroke's length and direction, the sideways speed and time of each turn,
//! and that strokes of one pass cover the same section, so that their middles lie above each other. Strokes are laid with
//! even speed about a common middle, shifted sideways by what the turns say; in a turn the pad goes straight from one
//! stroke's end to the next one's start. After a rest nothing tells where the next lane is: it is laid one usual step further, and
//! one standard deviation says that this is a guess. The angle between two passes is measured poorly and known better: passes run
//! square to each other or along ([`likely_angle`]). The frame is the section's: x along its first stroke, y to the left of it, origin
//! in the middle of the worked area.

use super::findings::TrackPoint;
use super::passes::{SettledPass, SettledStroke};

/// Time between points, s.
const EVERY_S: f64 = 0.1;
/// Most points kept of one pass; longer passes get fewer per second.
const MOST: usize = 6000;
/// Sideways position: relative error of one step, and of the wander inside a stroke, m.
const STEP_SPREAD: f64 = 0.15;
const WANDER_M: f64 = 0.01;
/// Where the lane after a rest lies, beside what the usual step says, one standard deviation, m: about half a pad. Common
/// practice, no published source.
const REST_SPREAD_M: f64 = 0.05;

/// Angle between the axes of two passes as measured, one standard deviation, rad: 6.5 degrees over drawn recordings of all kinds.
const ANGLE_SD: f64 = 0.113;
/// How far the passes of a crosshatch are from square, one standard deviation, rad; how many are one at all. Common practice, no
/// published source.
const SQUARE_SD: f64 = 0.07;
const SQUARE_SHARE: f64 = 0.9;

/// The angle of a pass to the section's first, rad, best guess from the measured one.
pub(super) fn likely_angle(measured: f64) -> f64 {
    use core::f64::consts::{FRAC_PI_2, TAU};
    let square = (measured / FRAC_PI_2).round() * FRAC_PI_2;
    let off = measured - square;
    let spread = ANGLE_SD.hypot(SQUARE_SD);
    let if_square = SQUARE_SHARE * (-0.5 * (off / spread).powi(2)).exp() / (spread * TAU.sqrt());
    let if_aslant = (1.0 - SQUARE_SHARE) / FRAC_PI_2;
    let is_square = if_square / (if_square + if_aslant);
    let kept = (SQUARE_SD / spread).powi(2);
    square + off * (is_square * kept + 1.0 - is_square)
}

/// Where each stroke of a pass lies across it, counted from the first, m; and the variance of the last one's, m².
pub(super) fn lanes(pass: &SettledPass) -> (Vec<f64>, f64) {
    let step = |pair: &[SettledStroke]| pair[1].sideways_mps.map(|v| v * (pair[1].start_s - pair[0].end_s));
    let known: Vec<f64> = pass.strokes.windows(2).filter_map(step).collect();
    let usual = if known.is_empty() { 0.0 } else { known.iter().sum::<f64>() / known.len() as f64 };
    let (mut at, mut variance) = (0.0, 0.0);
    let mut lanes = vec![0.0];
    for pair in pass.strokes.windows(2) {
        let (step, spread) =
            step(pair).map_or((usual, usual.hypot(REST_SPREAD_M)), |step| (step, 0.5 * STEP_SPREAD * step));
        at += step;
        variance += spread * spread;
        lanes.push(at);
    }
    (lanes, variance)
}

/// Points of a pass whose first stroke runs at `angle` (rad) in the section's frame; pad speed is left blank. Also one
/// standard deviation of a point across the strokes, m.
pub(super) fn lay(pass: &SettledPass, angle: f64) -> (Vec<TrackPoint>, f64) {
    let axis = pass.axis;
    let mut corners: Vec<(f64, [f64; 2])> = Vec::with_capacity(2 * pass.strokes.len());
    // Sideways is counted across the pass's axis, which may point against its first stroke.
    let (lanes, spread) = lanes(pass);
    let length_m = pass.strokes.iter().map(|s| s.traverse.length_m).fold(0.0, f64::max);
    // Over a stroke that lies askew, about its middle.
    let askew = SQUARE_SD * SQUARE_SD * length_m * length_m / 12.0;
    let variance = WANDER_M * WANDER_M + spread + askew;
    for (s, y) in pass.strokes.iter().zip(lanes) {
        let sign = (s.direction[0] * axis[0] + s.direction[1] * axis[1]).signum();
        let half = 0.5 * s.traverse.length_m * sign;
        corners.push((s.start_s, [-half, y]));
        corners.push((s.end_s, [half, y]));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::findings::Interval;
    use crate::analysis::traverse::Traverse;

    #[test]
    fn nearly_square_is_taken_for_square_and_aslant_stays() {
        let likely = |degrees: f64| likely_angle(degrees.to_radians()).to_degrees();
        assert_eq!(likely(0.0), 0.0);
        for (measured, least, most) in
            [(79.5, 85.0, 89.0), (-100.0, -96.0, -91.0), (8.0, 1.0, 4.0), (45.0, 44.9, 45.1), (60.0, 60.0, 63.0)]
        {
            assert!((least..=most).contains(&likely(measured)), "{measured}: {}", likely(measured));
        }
    }

    /// Strokes of 20 s with a second between them, led to by these sideways speeds, m/s.
    fn pass(sideways_mps: &[Option<f64>]) -> SettledPass {
        let strokes = sideways_mps.iter().enumerate().map(|(i, sideways_mps)| SettledStroke {
            start_s: 21.0 * i as f64,
            end_s: 21.0 * i as f64 + 20.0,
            direction: if i % 2 == 0 { [1.0, 0.0] } else { [-1.0, 0.0] },
            traverse: Traverse { length_m: 0.4, speed_mps: 0.02, spread: [0.1; 2] },
            sideways_mps: *sideways_mps,
            supposed: [false; 2],
        });
        let mean_mps = Interval { lo: 0.019, value: 0.02, hi: 0.021 };
        SettledPass { strokes: strokes.collect(), mean_mps, length_doubt: None, axis: [1.0, 0.0] }
    }

    #[test]
    fn the_lane_after_a_rest_is_guessed_and_said_to_be() {
        let sure = pass(&[Some(0.0), Some(0.05), Some(0.05), Some(0.05)]);
        let (lanes_m, variance) = lanes(&sure);
        assert!(lanes_m.iter().zip([0.0, 0.05, 0.10, 0.15]).all(|(a, b)| (a - b).abs() < 1e-12), "{lanes_m:?}");
        let rested = pass(&[Some(0.0), Some(0.05), None, Some(0.05)]);
        let (guessed_m, more) = lanes(&rested);
        assert_eq!(guessed_m, lanes_m, "one usual step further");
        assert!(more.sqrt() > 0.05 && variance.sqrt() < 0.01, "{more} {variance}");
        // A turn on the spot is known to lead nowhere.
        assert_eq!(lanes(&pass(&[Some(0.0), Some(0.0)])).0, [0.0, 0.0]);
        assert!(lay(&rested, 0.0).1 > lay(&sure, 0.0).1);
    }
}
