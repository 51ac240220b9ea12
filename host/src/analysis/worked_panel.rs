//! For tests: a panel that is worked, as the thermometer sees it, and what the analysis makes of it.

use rand::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};

use super::emissivity::apparent_c;
use super::heat::Motion;
use super::spot::LAG_S;
use super::surface::{Surface, SurfaceNow, SurfaceSettled};
use super::{Measured, State, SurfaceLook};

/// A pass as the spot sees it: at rest to 6 s, then strokes of 8 s and turns of 1 s; from the second on every other one
/// trails, and climbs at `rate` for the 6.5 s that a 130 mm pad takes at 20 mm/s, once its 36 mm are on worked paint. Returns K
/// above the start.
pub(super) fn seen(t: f64, rate: f64) -> f64 {
    let stroke = ((t - 6.0) / 9.0).floor();
    if t < 6.0 || stroke % 2.0 == 0.0 {
        return 0.0;
    }
    let into = t - 6.0 - 9.0 * stroke;
    let edge_s = 1.8;
    let since = (into - 1.0 + 0.5 * edge_s).clamp(0.0, 6.5 + 0.5 * edge_s);
    let climbed = if since < edge_s { 0.5 * since * since / edge_s } else { since - 0.5 * edge_s };
    rate * climbed * if into > 8.0 { (9.0 - into).max(0.0) } else { 1.0 }
}

pub(crate) fn motion(t: f64) -> Motion {
    let state = if t < 4.0 {
        State::Still
    } else if t < 6.0 {
        State::Running
    } else {
        State::Working
    };
    let arm_mps = (t > 15.0).then_some(Measured { value: 0.02, sd: 0.001 });
    Motion { state, arm_mps, ..Motion::default() }
}

/// Looks at 16 Hz of a chip with lag, noise and steps of 0.02 K, in surroundings of 22 °C.
pub(crate) fn looks(seconds: f64, start_c: f64, rate: f64, emissivity: f64, seed: u64) -> Vec<SurfaceLook> {
    const FINE_S: f64 = 1e-3;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut shown = start_c;
    let mut looks = Vec::new();
    for i in 0..(seconds / FINE_S) as usize {
        let t = i as f64 * FINE_S;
        shown += (start_c + seen(t, rate) - shown) * (1.0 - (-FINE_S / LAG_S).exp());
        if i % 62 == 0 {
            let noise: f64 = StandardNormal.sample(&mut random);
            let apparent = apparent_c(shown, 22.0, emissivity) + 0.12 * noise;
            looks.push(SurfaceLook {
                t_us: t * 1e6,
                apparent_c: Some(((apparent / 0.02).round() * 0.02) as f32),
                ambient_c: Some(22.0),
                corrected: false,
            });
        }
    }
    looks
}

/// Feeds looks and ticks in order of time.
pub(crate) fn run(
    surface: &mut Surface,
    looks: &[SurfaceLook],
    seconds: f64,
) -> (Vec<SurfaceNow>, Vec<SurfaceSettled>) {
    let (mut live, mut settled, mut looks) = (Vec::new(), Vec::new(), looks.iter().peekable());
    for i in 1..=(seconds * 10.0) as usize {
        let t = i as f64 * 0.1;
        while let Some(look) = looks.next_if(|look| look.t_us <= t * 1e6) {
            surface.look(look);
        }
        let (now, row) = surface.tick(t * 1e6, motion(t));
        live.push(now);
        settled.extend(row);
    }
    settled.extend(std::iter::from_fn(|| surface.settle()));
    (live, settled)
}
