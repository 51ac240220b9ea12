//! Where a pass left a gap between its strokes that is worth going over.
//!
//! # Rule
//!
//! Judged is what lies further than the pad's radius inside the outermost strokes: nearer to them even a faultless pass thins out.
//! There the map's median is what is usual. A strip a quarter of the pad wide from one side to the other, or else a square of half
//! the pad's width, is thin when its mean is less than 0.6 of that: strokes 1.9 pad radii apart, which still overlap, leave
//! no such strip, strokes a whole pad apart do. Of several the thinnest is told.

use core::ops::Range;

use super::rubbing::RubbingMap;

/// Less than this share of what is usual is thin.
const THIN: f64 = 0.6;
/// Width of a strip and side of a square, in pad radii.
const STRIP: f64 = 0.5;
const SQUARE: f64 = 1.0;

/// What a thin place looks like, seen from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A strip from left to right.
    Across,
    /// A strip from top to bottom.
    Down,
    /// A square.
    Square,
}

/// A place between the strokes that was rubbed much less than the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thin {
    /// Its shape.
    pub shape: Shape,
    /// Third of the worked area that its middle lies in: 0 left, 1 middle, 2 right.
    pub column: usize,
    /// The same: 0 lower, 1 middle, 2 upper.
    pub row: usize,
    /// Mean of the mapped quantity in it.
    pub mean: f64,
    /// Median of the mapped quantity between the strokes.
    pub usual: f64,
}

impl Thin {
    /// Whether it runs through a ninth of the worked area.
    #[must_use]
    pub fn reaches(&self, column: usize, row: usize) -> bool {
        match self.shape {
            Shape::Across => row == self.row,
            Shape::Down => column == self.column,
            Shape::Square => (column, row) == (self.column, self.row),
        }
    }
}

impl RubbingMap {
    /// The thinnest place between the strokes; `None` where none is worth going over, or there is too little between them.
    #[must_use]
    pub fn thin(&self) -> Option<Thin> {
        let cells = |radii: f64| ((radii * self.pad_radius_m / self.cell_m).round() as usize).max(1);
        let (strip, square) = (cells(STRIP), cells(SQUARE));
        let within = |lo: f64, hi: f64, origin: f64, n: usize| {
            let first = ((lo + self.pad_radius_m - origin) / self.cell_m).ceil().max(0.0) as usize;
            let end = ((hi - self.pad_radius_m - origin) / self.cell_m).floor() as isize + 1;
            first..(end.max(0) as usize).min(n)
        };
        let columns = within(self.filled.x0_m, self.filled.x1_m, self.origin_m.0, self.nx);
        let rows = within(self.filled.y0_m, self.filled.y1_m, self.origin_m.1, self.ny);
        if columns.len() < square || rows.len() < square {
            return None;
        }
        let usual = self.median(&columns, &rows).filter(|usual| *usual > 0.0)?;
        let sums = Sums::of(self, &columns, &rows);
        let (w, h) = (columns.len(), rows.len());
        let across = (0..=h - strip).map(|y| (sums.mean(0..w, y..y + strip), Shape::Across, 0..w, y..y + strip));
        let down = (0..=w - strip).map(|x| (sums.mean(x..x + strip, 0..h), Shape::Down, x..x + strip, 0..h));
        let squares = (0..=h - square).flat_map(|y| (0..=w - square).map(move |x| (x..x + square, y..y + square)));
        let squares = squares.map(|(x, y)| (sums.mean(x.clone(), y.clone()), Shape::Square, x, y));
        let is_thin = |(mean, ..): &(f64, Shape, Range<usize>, Range<usize>)| *mean < THIN * usual;
        let by_mean = |a: &(f64, Shape, Range<usize>, Range<usize>), b: &(f64, Shape, Range<usize>, Range<usize>)| {
            a.0.total_cmp(&b.0)
        };
        let strips = across.chain(down).filter(is_thin).min_by(by_mean);
        let (mean, shape, x, y) = strips.or_else(|| squares.filter(is_thin).min_by(by_mean))?;
        let place = |range: &Range<usize>, all: &Range<usize>, origin: f64| {
            origin + (all.start as f64 + (range.start + range.end - 1) as f64 / 2.0) * self.cell_m
        };
        let third = |at: f64, lo: f64, hi: f64| ((at - lo) / (hi - lo) * 3.0).floor().clamp(0.0, 2.0) as usize;
        Some(Thin {
            shape,
            column: third(place(&x, &columns, self.origin_m.0), self.worked.x0_m, self.worked.x1_m),
            row: third(place(&y, &rows, self.origin_m.1), self.worked.y0_m, self.worked.y1_m),
            mean,
            usual,
        })
    }

    fn median(&self, columns: &Range<usize>, rows: &Range<usize>) -> Option<f64> {
        let shown = self.shown();
        let values = rows.clone().flat_map(|y| &shown[y * self.nx..][columns.clone()]);
        let mut values: Vec<f64> = values.copied().collect();
        let middle = values.len() / 2;
        (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
    }
}

/// Sums over all rectangles from the first cell on, so that any mean costs four look-ups.
struct Sums {
    width: usize,
    sums: Vec<f64>,
}

impl Sums {
    fn of(map: &RubbingMap, columns: &Range<usize>, rows: &Range<usize>) -> Self {
        let (width, shown) = (columns.len() + 1, map.shown());
        let mut sums = vec![0.0; width * (rows.len() + 1)];
        for (y, row) in rows.clone().enumerate() {
            let mut sum = 0.0;
            for (x, column) in columns.clone().enumerate() {
                sum += shown[row * map.nx + column];
                sums[(y + 1) * width + x + 1] = sums[y * width + x + 1] + sum;
            }
        }
        Self { width, sums }
    }

    fn mean(&self, x: Range<usize>, y: Range<usize>) -> f64 {
        let to = |x: usize, y: usize| self.sums[y * self.width + x];
        let sum = to(x.end, y.end) - to(x.start, y.end) - to(x.end, y.start) + to(x.start, y.start);
        sum / (x.len() * y.len()) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::TrackPoint;
    use crate::analysis::rubbing::RubbingSetup;

    const R: f64 = 0.0625;

    /// Strokes to and fro at these places across.
    fn pass(lanes: &[f64], upright: bool) -> RubbingMap {
        let mut track = Vec::new();
        for (i, lane) in lanes.iter().enumerate() {
            for k in 0..=100 {
                let along = (f64::from(k) / 100.0 - 0.5) * if i % 2 == 0 { 0.4 } else { -0.4 };
                let (x_m, y_m) = if upright { (*lane, along) } else { (along, *lane) };
                let t_s = (track.len() as f64) * 0.2;
                track.push(TrackPoint { t_s, x_m, y_m, pad_speed_mps: Some(3.0) });
            }
        }
        let setup = RubbingSetup { pad_radius_m: R, section_m: None };
        RubbingMap::of(&[&track], &setup).expect("a map")
    }

    fn lanes(pitch: f64, count: usize) -> Vec<f64> {
        (0..count).map(|i| (i as f64 - (count - 1) as f64 / 2.0) * pitch).collect()
    }

    #[test]
    fn what_overlaps_is_no_gap_whatever_its_ripple() {
        for pitch in [0.5, 0.75, 1.0, 1.3, 1.6, 1.9] {
            for upright in [false, true] {
                assert_eq!(pass(&lanes(pitch * R, 8), upright).thin(), None, "{pitch} radii");
            }
        }
        assert_eq!(pass(&[0.0], false).thin(), None, "nothing lies between strokes");
        assert_eq!(pass(&[0.0, 0.1], false).thin(), None);
    }

    #[test]
    fn a_stroke_left_out_is_a_strip() {
        let left_out = |missing: usize, upright| {
            let mut lanes = lanes(0.085, 7);
            lanes.remove(missing);
            let thin = pass(&lanes, upright).thin().expect("a gap");
            assert!(thin.mean < 0.6 * thin.usual && thin.usual > 5.0, "{thin:?}");
            (thin.shape, if upright { thin.column } else { thin.row })
        };
        assert_eq!(left_out(3, false), (Shape::Across, 1));
        assert_eq!(left_out(3, true), (Shape::Down, 1));
        assert_eq!(left_out(5, false), (Shape::Across, 2));
        assert_eq!(left_out(1, true), (Shape::Down, 0));
    }

    #[test]
    fn a_place_left_out_is_a_square() {
        let mut map = pass(&lanes(0.047, 9), false);
        let (nx, cell, origin) = (map.nx, map.cell_m, map.origin_m);
        for (i, value) in map.distance_m.as_mut().expect("speeds are known").iter_mut().enumerate() {
            let (x, y) = (origin.0 + (i % nx) as f64 * cell, origin.1 + (i / nx) as f64 * cell);
            if (x - 0.1).abs() < 0.05 && (y + 0.1).abs() < 0.05 {
                *value *= 0.3;
            }
        }
        let thin = map.thin().expect("a gap");
        assert_eq!((thin.shape, thin.column, thin.row), (Shape::Square, 2, 0));
        assert!(thin.reaches(2, 0) && !thin.reaches(2, 1));
        assert!((thin.mean / thin.usual - 0.3).abs() < 0.03, "{thin:?}");
    }
}
