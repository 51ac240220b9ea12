//! The print of a pass: how it went, small enough to be kept for every pass and laid beside others.

use crate::analysis::rubbing::RubbingMap;
use crate::session::JudgedPass;
use crate::shop::{PRINT_CELLS, Print};

/// Moments of a pass at which a print keeps the rise.
const RISE_POINTS: usize = 21;

/// The print of a pass; its rubbing is left out where no map of it is known.
pub(super) fn of(judged: &JudgedPass, map: Option<&RubbingMap>) -> Print {
    Print {
        stroke_mps: judged.strokes.iter().filter_map(|s| s.traverse_mps.map(|i| i.value)).collect(),
        rise_k: rise_profile(judged),
        rubbing: map.and_then(cells),
    }
}

/// Rise at evenly spaced moments of a pass: the reading next to each, where there is one within its share of the time.
fn rise_profile(judged: &JudgedPass) -> Vec<Option<f64>> {
    if judged.told_rise_k().is_none() {
        return vec![None; RISE_POINTS];
    }
    let (start, length) = (judged.pass.start_s, judged.pass.end_s - judged.pass.start_s);
    let mut sums = [(0.0, 0u32); RISE_POINTS];
    for row in &judged.rows {
        let Some(rise) = row.surface_rise_k.filter(|r| r.is_finite()) else { continue };
        let place = (row.t_s - start) / length * (RISE_POINTS - 1) as f64;
        if let Some(sum) = sums.get_mut(place.round().max(0.0) as usize) {
            *sum = (sum.0 + rise, sum.1 + 1);
        }
    }
    sums.iter().map(|(sum, n)| (*n > 0).then(|| sum / f64::from(*n))).collect()
}

/// What the pad's centre filled in [`PRINT_CELLS`] cells each way, by the map's value at each cell's middle.
fn cells(map: &RubbingMap) -> Option<Vec<u8>> {
    let distance = map.distance_m.as_ref()?;
    let area = map.filled;
    let at = |i: usize| {
        let share = |k: usize| (k as f64 + 0.5) / PRINT_CELLS as f64;
        let x = area.x0_m + (area.x1_m - area.x0_m) * share(i % PRINT_CELLS);
        let y = area.y0_m + (area.y1_m - area.y0_m) * share(i / PRINT_CELLS);
        let column = ((x - map.origin_m.0) / map.cell_m).round();
        let row = ((y - map.origin_m.1) / map.cell_m).round();
        let inside = (0.0..map.nx as f64).contains(&column) && (0.0..map.ny as f64).contains(&row);
        if inside { distance.get(row as usize * map.nx + column as usize).copied().unwrap_or(0.0) } else { 0.0 }
    };
    let values: Vec<f64> = (0..PRINT_CELLS * PRINT_CELLS).map(at).collect();
    let most = values.iter().copied().fold(0.0, f64::max);
    (most > 0.0).then(|| values.iter().map(|v| (v / most * 255.0).round() as u8).collect())
}
