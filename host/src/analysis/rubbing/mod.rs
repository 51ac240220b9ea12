//! Rubbing distance and dwell per point of the panel: where the pad was, for how long, and how far it rubbed there.
//!
//! ```text
//! TrackPoint (pad centre, pad speed) ─► RubbingMap: dwell, rubbing distance, reach ─► evenness, covered share, zones
//! ```
//!
//! Terms: *dwell* at a point is the time the pad's face lay over it, s; *rubbing distance* is the path length of pad against
//! paint there, m; *worked area* is the taped section where its size is known, else the rectangle the pad's centre filled. How far it
//! reached is told of the worked area; how evenly and how much on average always between the outermost strokes, in the rectangle
//! that the centre filled, so that figures of taped and untaped sections compare.
//!
//! # Model
//!
//! With `c(t)` the pad's centre, `R` the radius of its face and `v(t)` the mean speed of pad against paint over that face,
//!
//! ```text
//! dwell(p)    = ∫ [|p − c(t)| ≤ R] dt
//! distance(p) = ∫ [|p − c(t)| ≤ R] v(t) dt
//! ```
//!
//! After Preston (The theory and design of plate glass polishing machines, J. Soc. Glass Technol. 11 (1927) 214-256)
//! material goes at a rate k · pressure · speed, so under one steady pressure `distance` is proportional to what was removed.
//! What is assumed: where `v` is not known for a moment, it is the pass's mean over time; the face is a full disc that lies
//! flat; every point under it rubs at the face's mean speed (an orbital's centre and rim differ by its spin, a rotary's by
//! the radius); the orbit itself, a few millimetres, is averaged out; pressure is **not measured**. The map is therefore
//! rubbing, not removal.
//!
//! # Method
//!
//! Between two track points the centre runs straight and evenly, so the time a disc lies over a cell's middle is a chord's
//! share of the step, in closed form: no sampling steps show up however fast the arm moves.

mod figures;
mod rect;
mod steps;
#[cfg(test)]
mod tests;

pub use figures::Zone;
pub use rect::Rect;

use super::TrackPoint;
use steps::{Step, fill_speeds, steps_of};

/// Side of a cell unless the area asks for coarser ones, m.
const CELL_M: f64 = 0.004;
/// Upper bound on cells: a track that runs away costs resolution, not memory.
const MAX_CELLS: f64 = 250_000.0;
/// Least share of the time with a known pad speed for a rubbing map; below it only the dwell is told. The rest lies in one place,
/// which a speed of nought would make look thin.
const MIN_SPEED_SHARE: f64 = 0.95;

/// What has to be known besides the track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RubbingSetup {
    /// Radius of the pad's face, m.
    pub pad_radius_m: f64,
    /// Size of the taped section along and across its first stroke, m, where known; centred on the track's origin.
    pub section_m: Option<(f64, f64)>,
}

/// Dwell and rubbing distance on a grid of square cells, row by row from the smallest y, each row from the smallest x.
#[derive(Clone, Debug, PartialEq)]
pub struct RubbingMap {
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
    /// Side of a cell, m.
    pub cell_m: f64,
    /// Middle of the first cell, m.
    pub origin_m: (f64, f64),
    /// Time the pad lay over each cell's middle, s.
    pub dwell_s: Vec<f64>,
    /// Rubbing distance at each cell's middle, m; `None` where the pad's speed is not known for nearly all of the time.
    pub distance_m: Option<Vec<f64>>,
    /// Distance from each cell's middle to the nearest place of the pad's centre, m; infinite outside the pad's way.
    pub nearest_m: Vec<f64>,
    /// Radius of the pad's face, m.
    pub pad_radius_m: f64,
    /// The section if its size is known, else the same as `filled`.
    pub worked: Rect,
    /// The rectangle that the pad's centre filled: what evenness and mean refer to.
    pub filled: Rect,
    /// Whether `worked` is a section of known size.
    pub worked_is_section: bool,
}

impl RubbingMap {
    /// Map of one pass, or of several passes over one section laid on top of each other.
    ///
    /// * `tracks`: each in order of time; places in m in one section's axes; speeds in m/s. Points with a time or place that is
    ///   not finite are left out, and nothing is assumed between points more than half a second apart.
    ///
    /// `None` when no two points can be joined or the pad's radius is not a positive number. Cost: steps times cells under a
    /// pad, about 1000 of the default size.
    #[must_use]
    pub fn of(tracks: &[&[TrackPoint]], setup: &RubbingSetup) -> Option<Self> {
        let radius = setup.pad_radius_m;
        if !(radius.is_finite() && radius > 0.0) {
            return None;
        }
        let (mut steps, mut known_s): (Vec<Step>, f64) = (Vec::new(), 0.0);
        for track in tracks {
            let from = steps.len();
            steps.extend(steps_of(track));
            known_s += fill_speeds(&mut steps[from..]);
        }
        let first = steps.first()?;
        let mut centres = Rect { x0_m: first.a.0, y0_m: first.a.1, x1_m: first.a.0, y1_m: first.a.1 };
        for step in &steps {
            centres.include(step.a.0, step.a.1);
            centres.include(step.b.0, step.b.1);
        }
        let section = setup.section_m.filter(|(x, y)| x.is_finite() && y.is_finite() && *x > 0.0 && *y > 0.0);
        let worked = section.map_or(centres, |(along, across)| Rect {
            x0_m: -along / 2.0,
            y0_m: -across / 2.0,
            x1_m: along / 2.0,
            y1_m: across / 2.0,
        });
        let mut map = Self::empty(radius, &centres, &worked, section.is_some());
        let mut distance = vec![0.0; map.nx * map.ny];
        for step in &steps {
            map.add(step, &mut distance);
        }
        map.nearest_m.iter_mut().for_each(|d| *d = d.sqrt());
        let total_s: f64 = steps.iter().map(|s| s.seconds).sum();
        let is_known = known_s >= MIN_SPEED_SHARE * total_s && steps.iter().all(|s| s.speed_mps.is_some());
        map.distance_m = is_known.then_some(distance);
        Some(map)
    }

    /// Maps of passes over one section laid on top of each other: the same as [`Self::of`] of their tracks, without going over
    /// the tracks again.
    ///
    /// `None` for no maps at all, and for maps whose cells do not fit each other (areas so large that their cells were made
    /// coarser); the tracks have to be gone over then. Without a rubbing distance where any of them has none.
    #[must_use]
    pub fn stack(maps: &[&Self]) -> Option<Self> {
        let (first, rest) = maps.split_first()?;
        let same = |m: &&Self| {
            m.cell_m == first.cell_m
                && m.pad_radius_m == first.pad_radius_m
                && m.worked_is_section == first.worked_is_section
        };
        if !rest.iter().all(same) {
            return None;
        }
        let cell_m = first.cell_m;
        let index = |m: f64| (m / cell_m).round() as i64;
        let corner = |m: &Self| (index(m.origin_m.0), index(m.origin_m.1));
        let (mut lo, mut hi) = ((i64::MAX, i64::MAX), (i64::MIN, i64::MIN));
        let (mut worked, mut filled) = (first.worked, first.filled);
        for m in maps {
            let (x, y) = corner(m);
            lo = (lo.0.min(x), lo.1.min(y));
            hi = (hi.0.max(x + m.nx as i64), hi.1.max(y + m.ny as i64));
            worked.include_all(&m.worked);
            filled.include_all(&m.filled);
        }
        let (nx, ny) = ((hi.0 - lo.0) as usize, (hi.1 - lo.1) as usize);
        let mut sum = Self {
            nx,
            ny,
            origin_m: (lo.0 as f64 * cell_m, lo.1 as f64 * cell_m),
            dwell_s: vec![0.0; nx * ny],
            distance_m: maps.iter().all(|m| m.distance_m.is_some()).then(|| vec![0.0; nx * ny]),
            nearest_m: vec![f64::INFINITY; nx * ny],
            worked,
            filled,
            ..(*first).clone()
        };
        for m in maps {
            let (x, y) = corner(m);
            let (x, y) = ((x - lo.0) as usize, (y - lo.1) as usize);
            for row in 0..m.ny {
                let (from, to) = (row * m.nx, (row + y) * nx + x);
                for i in 0..m.nx {
                    sum.dwell_s[to + i] += m.dwell_s[from + i];
                    sum.nearest_m[to + i] = sum.nearest_m[to + i].min(m.nearest_m[from + i]);
                }
                if let (Some(all), Some(one)) = (&mut sum.distance_m, &m.distance_m) {
                    all[to..to + m.nx].iter_mut().zip(&one[from..from + m.nx]).for_each(|(a, b)| *a += b);
                }
            }
        }
        Some(sum)
    }

    fn empty(radius: f64, centres: &Rect, worked: &Rect, worked_is_section: bool) -> Self {
        let side = |lo: f64, hi: f64| hi - lo + 2.0 * radius;
        let (w, h) = (side(centres.x0_m, centres.x1_m), side(centres.y0_m, centres.y1_m));
        let (w, h) = (w.max(worked.x1_m - worked.x0_m), h.max(worked.y1_m - worked.y0_m));
        let cell_m = CELL_M.min(radius / 10.0).max((w * h / MAX_CELLS).sqrt()).max(w.max(h) / MAX_CELLS.sqrt());
        // On whole multiples of the cell from the section's middle, so that maps of several passes can be laid on top of each
        // other cell by cell. One free cell all round, so that every contour closes.
        let span = |lo: f64, hi: f64| {
            let (first, last) = ((lo / cell_m).floor() - 1.0, (hi / cell_m).ceil() + 1.0);
            (first * cell_m, (last - first) as usize + 1)
        };
        let (x0_m, nx) = span((centres.x0_m - radius).min(worked.x0_m), (centres.x1_m + radius).max(worked.x1_m));
        let (y0_m, ny) = span((centres.y0_m - radius).min(worked.y0_m), (centres.y1_m + radius).max(worked.y1_m));
        Self {
            nx,
            ny,
            cell_m,
            origin_m: (x0_m, y0_m),
            dwell_s: vec![0.0; nx * ny],
            distance_m: None,
            nearest_m: vec![f64::INFINITY; nx * ny],
            pad_radius_m: radius,
            worked: *worked,
            filled: *centres,
            worked_is_section,
        }
    }

    fn add(&mut self, step: &Step, distance: &mut [f64]) {
        let (dx, dy) = (step.b.0 - step.a.0, step.b.1 - step.a.1);
        let length = dx.hypot(dy);
        let (ux, uy) = if length > 0.0 { (dx / length, dy / length) } else { (1.0, 0.0) };
        let radius2 = self.pad_radius_m * self.pad_radius_m;
        // Two cells more than the face, so that `nearest_m` runs smoothly across the reach's edge.
        let reach = self.pad_radius_m + 2.0 * self.cell_m;
        let range = |lo: f64, hi: f64, origin: f64, n: usize| {
            let first = ((lo - reach - origin) / self.cell_m).ceil().max(0.0) as usize;
            let last = ((hi + reach - origin) / self.cell_m).floor().min(n as f64 - 1.0) as usize;
            first..=last
        };
        let columns = range(step.a.0.min(step.b.0), step.a.0.max(step.b.0), self.origin_m.0, self.nx);
        for row in range(step.a.1.min(step.b.1), step.a.1.max(step.b.1), self.origin_m.1, self.ny) {
            let py = self.origin_m.1 + row as f64 * self.cell_m - step.a.1;
            for column in columns.clone() {
                let px = self.origin_m.0 + column as f64 * self.cell_m - step.a.0;
                let along = px * ux + py * uy;
                let off = py * ux - px * uy;
                let beyond = along - along.clamp(0.0, length);
                let cell = row * self.nx + column;
                // Squared until all steps are in.
                self.nearest_m[cell] = self.nearest_m[cell].min(off * off + beyond * beyond);
                let half2 = radius2 - off * off;
                if half2 < 0.0 {
                    continue;
                }
                let half = half2.sqrt();
                let share = if length > 0.0 {
                    (((along + half).min(length) - (along - half).max(0.0)) / length).max(0.0)
                } else {
                    f64::from(u8::from(along.abs() <= half))
                };
                self.dwell_s[cell] += share * step.seconds;
                distance[cell] += share * step.seconds * step.speed_mps.unwrap_or(0.0);
            }
        }
    }
}
