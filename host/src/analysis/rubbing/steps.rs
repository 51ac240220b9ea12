//! A track as the steps of the pad's centre between its points.

use crate::analysis::TrackPoint;

/// Points further apart than this are not joined: the way between is not known. Tracks have about ten points a second.
const MAX_STEP_S: f64 = 0.5;

/// The centre runs from `a` to `b`, m, straight and evenly.
pub(super) struct Step {
    pub(super) a: (f64, f64),
    pub(super) b: (f64, f64),
    pub(super) seconds: f64,
    pub(super) speed_mps: Option<f64>,
}

/// The steps of a track. Points with a time or place that is not finite are left out; nothing is assumed over a gap.
pub(super) fn steps_of(track: &[TrackPoint]) -> impl Iterator<Item = Step> + '_ {
    let mut good = track.iter().filter(|p| p.t_s.is_finite() && p.x_m.is_finite() && p.y_m.is_finite());
    let mut before = good.next();
    good.filter_map(move |now| {
        let was = before.replace(now)?;
        let seconds = now.t_s - was.t_s;
        let known = |p: &TrackPoint| p.pad_speed_mps.filter(|v| v.is_finite() && *v >= 0.0);
        let speed_mps = match (known(was), known(now)) {
            (Some(a), Some(b)) => Some((a + b) / 2.0),
            (one, other) => one.or(other),
        };
        let joined = seconds > 0.0 && seconds <= MAX_STEP_S;
        joined.then_some(Step { a: (was.x_m, was.y_m), b: (now.x_m, now.y_m), seconds, speed_mps })
    })
}

/// Gives steps of one pass without a pad speed the mean of the others over time; how long it was known, s. Where it never was,
/// nothing is filled in.
pub(super) fn fill_speeds(pass: &mut [Step]) -> f64 {
    let known = pass.iter().filter_map(|s| Some((s.seconds, s.seconds * s.speed_mps?)));
    let (known_s, rubbed_m) = known.fold((0.0, 0.0), |(s, m), (seconds, metres)| (s + seconds, m + metres));
    if known_s > 0.0 {
        pass.iter_mut().for_each(|step| _ = step.speed_mps.get_or_insert(rubbed_m / known_s));
    }
    known_s
}
