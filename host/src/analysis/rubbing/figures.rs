//! What a map says: evenness, mean, covered share, zones.

use super::{Rect, RubbingMap};
use crate::analysis::Pass;

/// One of the nine fields of a worked area cut in three both ways.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zone {
    /// 0 left, 1 middle, 2 right.
    pub column: usize,
    /// 0 lower, 1 middle, 2 upper.
    pub row: usize,
    /// Mean of the mapped quantity in it.
    pub mean: f64,
}

impl RubbingMap {
    /// Whether the places of a pass's strokes beside each other are known at least as well as the pad is wide: worse than that, as
    /// after several rests, its map is one guess among many, and so is every figure of it.
    #[must_use]
    pub fn is_known_for(&self, pass: &Pass) -> bool {
        pass.sideways_m().is_none_or(|off| off <= 2.0 * self.pad_radius_m)
    }

    /// The mapped quantity at a place in section coordinates, between the four nearest cells' middles; 0 off the map.
    #[must_use]
    pub fn at(&self, x_m: f64, y_m: f64) -> f64 {
        let (x, y) = ((x_m - self.origin_m.0) / self.cell_m, (y_m - self.origin_m.1) / self.cell_m);
        let inside = |v: f64, n: usize| v >= 0.0 && v < n as f64 - 1.0;
        if !(inside(x, self.nx) && inside(y, self.ny)) {
            return 0.0;
        }
        let (fx, fy, corner) = (x.fract(), y.fract(), y as usize * self.nx + x as usize);
        let v = self.shown();
        let (below, above) = (&v[corner..=corner + 1], &v[corner + self.nx..=corner + self.nx + 1]);
        (below[0] * (1.0 - fx) + below[1] * fx) * (1.0 - fy) + (above[0] * (1.0 - fx) + above[1] * fx) * fy
    }

    /// Share of the section that the pad's face reached, 0 to 1; `None` when the section's size is not known.
    #[must_use]
    pub fn covered_share(&self) -> Option<f64> {
        if !self.worked_is_section {
            return None;
        }
        let (mut reached, mut all) = (0u32, 0u32);
        for (_, _, cell) in self.cells_in(&self.worked) {
            all += 1;
            reached += u32::from(self.nearest_m[cell] <= self.pad_radius_m);
        }
        (all > 0).then(|| f64::from(reached) / f64::from(all))
    }

    /// Coefficient of variation (standard deviation over mean) of the rubbing distance between the outermost strokes, untouched
    /// places counted as zero; of the dwell when the pad's speed is not known. 0 is perfectly even. Even a faultless pass is above
    /// zero, because the pad's edge thins out towards the border.
    #[must_use]
    pub fn unevenness(&self) -> Option<f64> {
        let values = self.shown();
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for (_, _, cell) in self.cells_in(&self.filled) {
            n += 1.0;
            sum += values[cell];
            squares += values[cell] * values[cell];
        }
        if n < 4.0 || sum <= 0.0 {
            return None;
        }
        let mean: f64 = sum / n;
        Some(((squares / n - mean * mean).max(0.0)).sqrt() / mean)
    }

    /// Mean of the mapped quantity between the outermost strokes, m of rubbing (s of dwell when the pad's speed is not known).
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        let (sum, n) =
            self.cells_in(&self.filled).fold((0.0, 0.0), |(sum, n), (_, _, c)| (sum + self.shown()[c], n + 1.0));
        (n > 0.0).then(|| sum / n)
    }

    /// The worked area cut in three both ways; `None` when it is too small for that.
    #[must_use]
    pub fn zones(&self) -> Option<[Zone; 9]> {
        let mut sums = [(0.0, 0u32); 9];
        let (w, h) = (self.worked.x1_m - self.worked.x0_m, self.worked.y1_m - self.worked.y0_m);
        for (x, y, cell) in self.cells_in(&self.worked) {
            let third = |part: f64| if part < 1.0 / 3.0 { 0 } else { 1 + usize::from(part >= 2.0 / 3.0) };
            let slot = &mut sums[third((y - self.worked.y0_m) / h) * 3 + third((x - self.worked.x0_m) / w)];
            slot.0 += self.shown()[cell];
            slot.1 += 1;
        }
        if sums.iter().any(|(_, n)| *n < 4) {
            return None;
        }
        Some(core::array::from_fn(|i| Zone { column: i % 3, row: i / 3, mean: sums[i].0 / f64::from(sums[i].1) }))
    }

    /// The rubbing distance, or the dwell when the pad's speed is not known.
    #[must_use]
    pub fn shown(&self) -> &[f64] {
        self.distance_m.as_deref().unwrap_or(&self.dwell_s)
    }

    /// Middle and index of each cell whose middle lies in an area.
    fn cells_in<'a>(&'a self, area: &'a Rect) -> impl Iterator<Item = (f64, f64, usize)> + 'a {
        (0..self.nx * self.ny).filter_map(|cell| {
            let x = self.origin_m.0 + (cell % self.nx) as f64 * self.cell_m;
            let y = self.origin_m.1 + (cell / self.nx) as f64 * self.cell_m;
            area.contains(x, y).then_some((x, y, cell))
        })
    }
}
