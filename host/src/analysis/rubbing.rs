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

use super::{Pass, TrackPoint};

/// Side of a cell unless the area asks for coarser ones, m.
const CELL_M: f64 = 0.004;
/// Upper bound on cells: a track that runs away costs resolution, not memory.
const MAX_CELLS: f64 = 250_000.0;
/// Points further apart than this are not joined: the way between is not known. Tracks have about ten points a second.
const MAX_STEP_S: f64 = 0.5;
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

/// An upright rectangle in section coordinates, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Smallest x.
    pub x0_m: f64,
    /// Smallest y.
    pub y0_m: f64,
    /// Largest x.
    pub x1_m: f64,
    /// Largest y.
    pub y1_m: f64,
}

impl Rect {
    fn contains(&self, x_m: f64, y_m: f64) -> bool {
        x_m >= self.x0_m && x_m <= self.x1_m && y_m >= self.y0_m && y_m <= self.y1_m
    }

    fn include(&mut self, x_m: f64, y_m: f64) {
        self.x0_m = self.x0_m.min(x_m);
        self.y0_m = self.y0_m.min(y_m);
        self.x1_m = self.x1_m.max(x_m);
        self.y1_m = self.y1_m.max(y_m);
    }

    fn include_all(&mut self, other: &Self) {
        self.include(other.x0_m, other.y0_m);
        self.include(other.x1_m, other.y1_m);
    }
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

struct Step {
    a: (f64, f64),
    b: (f64, f64),
    seconds: f64,
    speed_mps: Option<f64>,
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

    /// Middle and index of each cell whose middle lies in an area.
    fn cells_in<'a>(&'a self, area: &'a Rect) -> impl Iterator<Item = (f64, f64, usize)> + 'a {
        (0..self.nx * self.ny).filter_map(|cell| {
            let x = self.origin_m.0 + (cell % self.nx) as f64 * self.cell_m;
            let y = self.origin_m.1 + (cell / self.nx) as f64 * self.cell_m;
            area.contains(x, y).then_some((x, y, cell))
        })
    }
}

fn steps_of(track: &[TrackPoint]) -> impl Iterator<Item = Step> + '_ {
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
fn fill_speeds(pass: &mut [Step]) -> f64 {
    let known = pass.iter().filter_map(|s| Some((s.seconds, s.seconds * s.speed_mps?)));
    let (known_s, rubbed_m) = known.fold((0.0, 0.0), |(s, m), (seconds, metres)| (s + seconds, m + metres));
    if known_s > 0.0 {
        pass.iter_mut().for_each(|step| _ = step.speed_mps.get_or_insert(rubbed_m / known_s));
    }
    known_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;

    const R: f64 = 0.0625;
    const SETUP: RubbingSetup = RubbingSetup { pad_radius_m: R, section_m: None };

    /// A straight run at a steady pace, ten points a second.
    fn run(from: (f64, f64), to: (f64, f64), mps: f64, start_s: f64, pad_mps: Option<f64>) -> Vec<TrackPoint> {
        let seconds = (to.0 - from.0).hypot(to.1 - from.1) / mps;
        let n = (seconds * 10.0).ceil() as usize;
        (0..=n)
            .map(|i| {
                let part = i as f64 / n as f64;
                TrackPoint {
                    t_s: start_s + part * seconds,
                    x_m: from.0 + part * (to.0 - from.0),
                    y_m: from.1 + part * (to.1 - from.1),
                    pad_speed_mps: pad_mps,
                }
            })
            .collect()
    }

    fn at(map: &RubbingMap, x: f64, y: f64) -> usize {
        let column = ((x - map.origin_m.0) / map.cell_m).round() as usize;
        let row = ((y - map.origin_m.1) / map.cell_m).round() as usize;
        row * map.nx + column
    }

    #[test]
    fn a_straight_stroke_leaves_the_chord_profile() {
        let (v, pad) = (0.025, 3.4);
        let track = run((-0.2, 0.0), (0.2, 0.0), v, 0.0, Some(pad));
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        let mut worst = 0f64;
        for row in 0..map.ny {
            let y = map.origin_m.1 + row as f64 * map.cell_m;
            let cell = row * map.nx + map.nx / 2;
            // Closed form: the chord of the disc at y, over the pace.
            let want = 2.0 * (R * R - y * y).max(0.0).sqrt() / v;
            worst = worst.max((map.dwell_s[cell] - want).abs());
            worst = worst.max((map.distance_m.as_ref().unwrap()[cell] - pad * want).abs());
        }
        // Exact but for rounding: 7e-14 measured.
        assert!(worst < 2e-13, "worst {worst:.1e}");
    }

    #[test]
    fn two_strokes_one_radius_apart_add_up() {
        let mut track = run((-0.2, -R / 2.0), (0.2, -R / 2.0), 0.02, 0.0, Some(1.0));
        track.extend(run((0.2, R / 2.0), (-0.2, R / 2.0), 0.02, 100.0, Some(1.0)));
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        for row in 0..map.ny {
            let y = map.origin_m.1 + row as f64 * map.cell_m;
            let chord = |c: f64| 2.0 * (R * R - (y - c) * (y - c)).max(0.0).sqrt() / 0.02;
            let got = map.dwell_s[row * map.nx + map.nx / 2];
            assert!((got - chord(-R / 2.0) - chord(R / 2.0)).abs() < 1e-12, "y {y}: {got}");
        }
    }

    #[test]
    fn maps_laid_on_top_of_each_other_are_the_map_of_all_tracks() {
        let mut one = run((-0.2, -0.1), (0.17, 0.03), 0.05, 0.0, Some(2.0));
        one[40..44].iter_mut().for_each(|point| point.pad_speed_mps = None);
        let two = run((0.31, -0.02), (-0.1, 0.28), 0.03, 50.0, Some(3.0));
        for section_m in [None, Some((0.5, 0.4))] {
            let setup = RubbingSetup { section_m, ..SETUP };
            let map = |tracks: &[&[TrackPoint]]| RubbingMap::of(tracks, &setup).unwrap();
            let (a, b, both) = (map(&[&one]), map(&[&two]), map(&[&one, &two]));
            let sum = RubbingMap::stack(&[&a, &b]).unwrap();
            assert_eq!((sum.nx, sum.ny, sum.origin_m), (both.nx, both.ny, both.origin_m));
            assert_eq!((sum.worked, sum.filled), (both.worked, both.filled));
            let worst = |x: &[f64], y: &[f64]| x.iter().zip(y).fold(0f64, |m, (a, b)| m.max((a - b).abs()));
            let (left, right) = (sum.distance_m.as_ref().unwrap(), both.distance_m.as_ref().unwrap());
            assert!(worst(left, right) < 1e-12 && worst(&sum.dwell_s, &both.dwell_s) < 1e-12);
            // Only within reach of a step, two cells beyond the face, is the nearest way kept; the same places on both sides.
            assert!(sum.nearest_m.iter().zip(&both.nearest_m).all(|(a, b)| a == b || (a - b).abs() < 1e-12));
            assert_eq!(sum.covered_share(), both.covered_share());
        }
        let blind = RubbingMap::of(&[&run((0.0, 0.0), (0.1, 0.0), 0.05, 0.0, None)], &SETUP).unwrap();
        let seen = RubbingMap::of(&[&one], &SETUP).unwrap();
        assert_eq!(RubbingMap::stack(&[&seen, &blind]).unwrap().distance_m, None);
        assert_eq!(RubbingMap::stack(&[]), None);
        let coarse = RubbingMap { cell_m: 0.01, ..seen.clone() };
        assert_eq!(RubbingMap::stack(&[&seen, &coarse]), None);
    }

    #[test]
    fn a_place_lies_between_its_cells() {
        let map = RubbingMap::of(&[&run((-0.2, 0.0), (0.2, 0.0), 0.025, 0.0, Some(3.0))], &SETUP).unwrap();
        let want = |y: f64| 2.0 * (R * R - y * y).max(0.0).sqrt() / 0.025 * 3.0;
        for y in [0.0, 0.013, -0.03, 0.05] {
            // Between cells of 4 mm the chord's bend costs 0.06 m of 15 at worst here.
            assert!((map.at(0.0137, y) - want(y)).abs() < 0.06, "{} against {}", map.at(0.0137, y), want(y));
        }
        assert_eq!(map.at(9.0, 0.0), 0.0);
        assert_eq!(map.at(f64::NAN, 0.0), 0.0);
    }

    #[test]
    fn the_area_integral_is_face_area_times_time_and_speed() {
        let mut track = run((-0.2, -0.1), (0.17, 0.03), 0.05, 0.0, Some(2.0));
        track.extend(run((0.17, 0.03), (-0.1, 0.08), 0.03, track.last().unwrap().t_s, Some(2.0)));
        let seconds = track.last().unwrap().t_s - track[0].t_s;
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        let area = map.cell_m * map.cell_m;
        let dwell = map.dwell_s.iter().sum::<f64>() * area / (PI * R * R * seconds);
        let rubbing = map.distance_m.as_ref().unwrap().iter().sum::<f64>() * area / (PI * R * R * seconds * 2.0);
        // The cells' own error: 2e-4 measured.
        assert!((dwell - 1.0).abs() < 5e-4, "{dwell}");
        assert!((rubbing - dwell).abs() < 1e-12);
    }

    #[test]
    fn pace_does_not_show_up_as_steps() {
        // At 0.5 m/s and ten points a second the centre jumps by most of a radius; the profile must stay flat along the way.
        let track = run((-0.5, 0.0), (0.5, 0.0), 0.5, 0.0, None);
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        let middle: Vec<f64> = (-60..60).map(|i| map.dwell_s[at(&map, f64::from(i) * 0.005, 0.0)]).collect();
        let spread = middle.iter().fold(0f64, |m, v| m.max((v - middle[0]).abs()));
        assert!(spread < 1e-12, "{spread:.1e}");
        assert!(map.distance_m.is_none(), "no pad speed, no rubbing distance");
    }

    #[test]
    fn a_moment_without_a_pad_speed_does_not_look_thin() {
        // Three seconds of a minute, at 20 mm/s: 60 mm of the way.
        let mut track = run((-0.6, 0.0), (0.6, 0.0), 0.02, 0.0, Some(3.0));
        track.iter_mut().filter(|p| (30.0..33.0).contains(&p.t_s)).for_each(|p| p.pad_speed_mps = None);
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        for (distance_m, dwell_s) in map.distance_m.as_ref().unwrap().iter().zip(&map.dwell_s) {
            assert!((distance_m - 3.0 * dwell_s).abs() < 1e-9, "{distance_m} m in {dwell_s} s");
        }
        // The mean is that over time: a third of it at 2 m/s, the rest at 5 m/s.
        track.iter_mut().for_each(|p| p.pad_speed_mps = p.pad_speed_mps.map(|_| if p.t_s < 19.0 { 2.0 } else { 5.0 }));
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        let within = at(&map, 0.03, 0.0);
        let speed_mps = map.distance_m.as_ref().unwrap()[within] / map.dwell_s[within];
        // 58 mm of the pad's 125 at 4 m/s, the others at 5 m/s.
        assert!((speed_mps - (5.0 - 0.058 / 0.125)).abs() < 0.01, "{speed_mps}");
        // A pass of which it was never known has no rubbing distance, however short it is.
        let seen = run((-0.6, 0.0), (0.6, 0.0), 0.02, 0.0, Some(3.0));
        let blind = run((0.0, 0.1), (0.01, 0.1), 0.02, 90.0, None);
        assert_eq!(RubbingMap::of(&[&seen, &blind], &SETUP).unwrap().distance_m, None);
    }

    #[test]
    fn a_resting_pad_is_a_disc() {
        let track: Vec<TrackPoint> = (0..=20)
            .map(|i| TrackPoint { t_s: f64::from(i) / 10.0, x_m: 0.0, y_m: 0.0, pad_speed_mps: None })
            .collect();
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        assert!((map.dwell_s[at(&map, 0.0, 0.0)] - 2.0).abs() < 1e-12);
        assert!((map.dwell_s[at(&map, 0.9 * R, 0.0)] - 2.0).abs() < 1e-12);
        assert_eq!(map.dwell_s[at(&map, 0.8 * R, 0.8 * R)], 0.0);
    }

    #[test]
    fn covered_share_is_the_stadium_over_the_section() {
        let section = RubbingSetup { pad_radius_m: R, section_m: Some((0.5, 0.5)) };
        let track = run((-0.15, 0.0), (0.15, 0.0), 0.03, 0.0, Some(1.0));
        let map = RubbingMap::of(&[&track], &section).unwrap();
        let want = (0.3 * 2.0 * R + PI * R * R) / 0.25;
        let got = map.covered_share().unwrap();
        assert!((got - want).abs() < 2e-3, "{got} against {want}");
        assert_eq!(RubbingMap::of(&[&track], &SETUP).unwrap().covered_share(), None);
    }

    #[test]
    fn close_strokes_are_more_even_than_wide_ones() {
        let pass = |pitch: f64| {
            let mut track = Vec::new();
            for i in 0..=(0.4 / pitch) as i32 {
                let (y, side) = (-0.2 + f64::from(i) * pitch, if i % 2 == 0 { 1.0 } else { -1.0 });
                track.extend(run((-0.25 * side, y), (0.25 * side, y), 0.05, f64::from(i) * 20.0, Some(3.0)));
            }
            RubbingMap::of(&[&track], &SETUP).unwrap().unevenness().unwrap()
        };
        let (close, half, apart) = (pass(R / 2.0), pass(R), pass(2.0 * R));
        assert!(close < half && half < apart, "{close:.3} {half:.3} {apart:.3}");
        // Strokes a full width apart over an endless area: chords 2·sqrt(R²-y²), mean πR/2, mean square 8R²/3, so the
        // coefficient of variation is sqrt(32/(3π²) - 1) = 0.284; ends and borders of this small area add to it.
        assert!(apart > 0.28, "{apart:.3}");
    }

    #[test]
    fn a_taped_section_is_as_even_and_rubbed_as_one_whose_size_nobody_told() {
        // No border on a row of cells.
        let track = run((-0.151, 0.101), (0.149, 0.131), 0.03, 0.0, Some(1.0));
        let map = |section_m| RubbingMap::of(&[&track], &RubbingSetup { section_m, ..SETUP }).unwrap();
        let (taped, untaped) = (map(Some((0.5, 0.5))), map(None));
        let close = |a: Option<f64>, b: Option<f64>| (a.unwrap() / b.unwrap() - 1.0).abs() < 1e-9;
        assert!(close(taped.mean(), untaped.mean()) && close(taped.unevenness(), untaped.unevenness()));
        assert!(taped.covered_share().is_some_and(|share| share < 0.3) && untaped.covered_share().is_none());
    }

    #[test]
    fn zones_tell_where_it_is_thin() {
        let section = RubbingSetup { pad_radius_m: R, section_m: Some((0.4, 0.4)) };
        let track = run((-0.15, 0.13), (0.15, 0.13), 0.03, 0.0, Some(1.0));
        let zones = RubbingMap::of(&[&track], &section).unwrap().zones().unwrap();
        assert!(zones.iter().filter(|z| z.row == 2).all(|z| z.mean > 1.0));
        assert!(zones.iter().filter(|z| z.row == 0).all(|z| z.mean == 0.0));
    }

    #[test]
    fn holes_and_nonsense_are_left_out() {
        let mut track = run((-0.2, 0.0), (0.0, 0.0), 0.05, 0.0, Some(1.0));
        track.push(TrackPoint { t_s: 4.05, x_m: f64::NAN, y_m: 0.0, pad_speed_mps: None });
        track.extend(run((0.3, 0.0), (0.5, 0.0), 0.05, 30.0, Some(1.0)));
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        assert_eq!(map.dwell_s[at(&map, 0.15, 0.0)], 0.0, "nothing is known about the way across the hole");
        assert!(RubbingMap::of(&[&track[..1]], &SETUP).is_none());
        assert!(RubbingMap::of(&[&track], &RubbingSetup { pad_radius_m: 0.0, section_m: None }).is_none());
    }

    #[test]
    fn a_runaway_track_costs_resolution_not_memory() {
        let track = run((0.0, 0.0), (40_000.0, 0.0), 1000.0, 0.0, Some(1.0));
        let map = RubbingMap::of(&[&track], &SETUP).unwrap();
        assert!(map.nx * map.ny < 1_000_000, "{} x {}", map.nx, map.ny);
    }
}
