//! The rubbing map of a taped section, as it is kept: coarse, small, with a corner that can be found again on the panel.
//!
//! Places are metres along and across from the section's corner: the corner at the side where the first stroke starts, to its
//! right (lower left on the section's sheet, where strokes run to the right first). Only a section whose size the plan gives
//! has such a corner; the worked area of any other is known from the strokes alone, and nothing on the panel marks it.

use crate::analysis::rubbing::RubbingMap;

/// Cells each way: 16 mm on half a metre. The pad's face, some 125 mm, smooths anything finer away.
pub const MAP_CELLS: usize = 32;

/// Rubbing distance over one section.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionMap {
    /// Size of the section along its first stroke, m.
    pub along_m: f64,
    /// Size across it, m.
    pub across_m: f64,
    /// Largest rubbing distance, m.
    pub most_m: f64,
    /// [`MAP_CELLS`] each way, row by row from the corner, each row along the first stroke; 255 = `most_m`.
    pub cells: Vec<u8>,
}

impl SectionMap {
    /// Of a section's map; `None` where the section's size or the pad's speed is not known, or where nothing was rubbed.
    pub fn of(map: &RubbingMap) -> Option<Self> {
        map.distance_m.as_ref().filter(|_| map.worked_is_section)?;
        let area = map.worked;
        let (along_m, across_m) = (area.x1_m - area.x0_m, area.y1_m - area.y0_m);
        let share = |k: usize| (k as f64 + 0.5) / MAP_CELLS as f64;
        let values: Vec<f64> = (0..MAP_CELLS * MAP_CELLS)
            .map(|i| map.at(area.x0_m + along_m * share(i % MAP_CELLS), area.y0_m + across_m * share(i / MAP_CELLS)))
            .collect();
        let most_m = values.iter().copied().fold(0.0, f64::max);
        let cells = values.iter().map(|v| (v / most_m * 255.0).round() as u8).collect();
        (most_m > 0.0 && most_m.is_finite()).then_some(Self { along_m, across_m, most_m, cells })
    }

    /// Rubbing distance at a place, m, between the four nearest cells; `None` outside the section.
    pub fn at(&self, along_m: f64, across_m: f64) -> Option<f64> {
        let inside = (0.0..=self.along_m).contains(&along_m) && (0.0..=self.across_m).contains(&across_m);
        if !inside || self.cells.len() != MAP_CELLS * MAP_CELLS {
            return None;
        }
        let last = (MAP_CELLS - 1) as f64;
        let place = |m: f64, side_m: f64| (m / side_m * MAP_CELLS as f64 - 0.5).clamp(0.0, last);
        let (x, y) = (place(along_m, self.along_m), place(across_m, self.across_m));
        let (column, row) = ((x as usize).min(MAP_CELLS - 2), (y as usize).min(MAP_CELLS - 2));
        let (fx, fy) = (x - column as f64, y - row as f64);
        let cell = |r: usize, c: usize| f64::from(self.cells[r * MAP_CELLS + c]);
        let below = cell(row, column) * (1.0 - fx) + cell(row, column + 1) * fx;
        let above = cell(row + 1, column) * (1.0 - fx) + cell(row + 1, column + 1) * fx;
        Some((below * (1.0 - fy) + above * fy) / 255.0 * self.most_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{TrackPoint, rubbing::RubbingSetup};

    /// Strokes to and fro over a section of 0.5 m, ten points a second: pad of 125 mm, 25 mm/s, pad speed 3 m/s.
    fn strokes(lines_m: &[f64]) -> RubbingMap {
        let mut track = Vec::new();
        for (i, &y_m) in lines_m.iter().enumerate() {
            let side = if i % 2 == 0 { 1.0 } else { -1.0 };
            let start_s = i as f64 * 100.0;
            track.extend((0..=240).map(|k| {
                let t = f64::from(k) * 0.1;
                TrackPoint { t_s: start_s + t, x_m: side * (0.025 * t - 0.3), y_m, pad_speed_mps: Some(3.0) }
            }));
        }
        let setup = RubbingSetup { pad_radius_m: 0.0625, section_m: Some((0.5, 0.4)) };
        RubbingMap::of(&[&track], &setup).expect("a map")
    }

    #[test]
    fn a_place_on_the_section_gets_what_the_strokes_left_there() {
        let lines = [-0.15, -0.09, -0.03, 0.03, 0.09, 0.15];
        let map = SectionMap::of(&strokes(&lines)).expect("a taped section");
        assert_eq!((map.along_m, map.across_m), (0.5, 0.4));
        let mut worst = 0f64;
        for i in 0..=40 {
            for (along, across) in [(0.25, 0.01 * f64::from(i)), (0.1, 0.01 * f64::from(i))] {
                // Closed form: chords of the pad's disc at this distance from each line, over the arm speed, times pad speed.
                let off = |line: f64| (0.0625f64.powi(2) - (across - 0.2 - line).powi(2)).max(0.0).sqrt();
                let want: f64 = lines.iter().map(|&line| 2.0 * off(line) / 0.025 * 3.0).sum();
                worst = worst.max((map.at(along, across).expect("inside") - want).abs() / map.most_m);
            }
        }
        println!("worst {worst:.4} of the largest");
        assert!(worst < 0.12, "worst {worst:.4} of the largest");
        assert_eq!(map.at(0.51, 0.2), None);
        assert_eq!(map.at(0.2, f64::NAN), None);
    }

    #[test]
    fn the_corner_is_where_the_first_stroke_starts_at_its_right() {
        // One line near the right-hand border of strokes that run along x: smallest y.
        let map = SectionMap::of(&strokes(&[-0.15])).expect("a taped section");
        assert!(map.at(0.25, 0.05).expect("inside") > 10.0);
        assert_eq!(map.at(0.25, 0.35), Some(0.0));
    }

    #[test]
    fn an_area_nobody_taped_has_no_corner() {
        let map = RubbingMap { worked_is_section: false, ..strokes(&[0.0]) };
        assert_eq!(SectionMap::of(&map), None);
        let map = RubbingMap { distance_m: None, ..strokes(&[0.0]) };
        assert_eq!(SectionMap::of(&map), None, "dwell is no rubbing distance");
    }
}
