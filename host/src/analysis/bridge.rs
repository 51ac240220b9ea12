//! Short holes of the 50 Hz grid, filled along a straight line once both ends are known.
//!
//! A lost block costs some hundredths of a second; the arm's own acceleration hardly changes over them, while the orbit vibration
//! that is left where a filter lost some of its samples is many times as large. So what is not whole is not used, and the points
//! between wait for the next whole one. Longer holes ([`LONGEST`]) stay what they are: nothing is invented for them.

use super::attitude::Vec3;
use std::collections::VecDeque;

/// Longest hole that is bridged, grid points.
const LONGEST: usize = 10;

/// One grid point, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct GridPoint {
    pub(super) index: i64,
    /// Acceleration and turn rate.
    pub(super) streams: [Option<Vec3>; 2],
}

impl GridPoint {
    fn is_whole(&self) -> bool {
        self.streams.iter().all(Option::is_some)
    }
}

/// Takes grid points in order and hands them out again, holes bridged.
#[derive(Debug, Default)]
pub(super) struct Bridge {
    /// The last whole point; `None` before the first and after a hole too long.
    before: Option<GridPoint>,
    /// Not whole, since then.
    waiting: Vec<GridPoint>,
    ready: VecDeque<GridPoint>,
}

impl Bridge {
    /// Takes the next point.
    pub(super) fn push(&mut self, point: GridPoint) {
        if point.is_whole() {
            if let Some(before) = self.before {
                fill(before, &mut self.waiting, point);
            }
            self.before = Some(point);
        } else if self.before.is_some() && self.waiting.len() < LONGEST {
            self.waiting.push(point);
            return;
        } else {
            self.before = None;
        }
        self.ready.extend(self.waiting.drain(..));
        self.ready.push_back(point);
    }

    /// Next point of which all is known that ever will be.
    pub(super) fn pop(&mut self) -> Option<GridPoint> {
        self.ready.pop_front()
    }

    /// Nothing before continues across; what waits is dropped.
    pub(super) fn restart(&mut self) {
        *self = Self::default();
    }
}

fn fill(before: GridPoint, waiting: &mut [GridPoint], after: GridPoint) {
    for stream in 0..2 {
        let mut known = before;
        for i in 0..waiting.len() {
            if waiting[i].streams[stream].is_none() {
                let next = waiting[i..].iter().find(|p| p.streams[stream].is_some()).unwrap_or(&after);
                let share = (waiting[i].index - known.index) as f64 / (next.index - known.index) as f64;
                let ends = known.streams[stream].zip(next.streams[stream]);
                waiting[i].streams[stream] = ends.map(|(a, b)| core::array::from_fn(|k| a[k] + share * (b[k] - a[k])));
            }
            known = waiting[i];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(index: i64, accel: Option<f64>, gyro: Option<f64>) -> GridPoint {
        GridPoint { index, streams: [accel.map(|v| [v, 0.0, 9.8]), gyro.map(|v| [0.0, v, 0.0])] }
    }

    fn bridged(points: impl IntoIterator<Item = GridPoint>) -> Vec<GridPoint> {
        let mut bridge = Bridge::default();
        points.into_iter().for_each(|p| bridge.push(p));
        core::iter::from_fn(|| bridge.pop()).collect()
    }

    #[test]
    fn a_short_hole_is_a_straight_line_for_each_stream_by_itself() {
        let out = bridged([
            point(0, Some(1.0), Some(8.0)),
            point(1, None, Some(6.0)),
            point(2, None, None),
            point(3, Some(4.0), None),
            point(4, Some(2.0), Some(0.0)),
        ]);
        let line = [(1.0, 8.0), (2.0, 6.0), (3.0, 4.0), (4.0, 2.0), (2.0, 0.0)];
        let line: Vec<_> = (0..).zip(line).map(|(i, (a, g))| point(i, Some(a), Some(g))).collect();
        assert_eq!(out, line);
    }

    #[test]
    fn a_long_hole_stays_one_and_what_comes_after_it_is_as_it_was() {
        let whole = |i| point(i, Some(i as f64), Some(0.0));
        let hole = |i| point(i, None, Some(0.0));
        let long = LONGEST as i64 + 1;
        let points: Vec<_> =
            (0..2).map(whole).chain((2..2 + long).map(hole)).chain((2 + long..20).map(whole)).collect();
        assert_eq!(bridged(points.clone()), points);
        // One point shorter it is bridged.
        let shorter: Vec<_> = points.iter().enumerate().filter(|(i, _)| *i != 2).map(|(_, p)| *p).collect();
        assert!(bridged(shorter).iter().all(GridPoint::is_whole));
    }

    #[test]
    fn points_wait_only_for_a_hole_that_may_still_be_bridged() {
        let mut bridge = Bridge::default();
        bridge.push(point(0, None, None));
        assert!(bridge.pop().is_some_and(|p| p.index == 0), "nothing lies before it");
        bridge.push(point(1, Some(0.0), Some(0.0)));
        assert!(bridge.pop().is_some());
        bridge.push(point(2, None, Some(0.0)));
        assert_eq!(bridge.pop(), None);
        bridge.restart();
        bridge.push(point(3, None, Some(0.0)));
        assert!(bridge.pop().is_some_and(|p| p.index == 3), "after a restart nothing lies before it either");
    }
}
