//! What a sheet holds already, and where a label can still stand: none goes over a curve, a box or another label.

use super::super::canvas::{Anchor, Canvas, Frame, Type};

/// A label keeps this far from everything else, px.
const GAP: f64 = 3.0;

/// What is drawn already.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawn {
    boxes: Vec<Frame>,
    lines: Vec<[(f64, f64); 2]>,
}

impl Drawn {
    /// Something with an area is drawn.
    pub(super) fn add(&mut self, frame: Frame) {
        self.boxes.push(frame);
    }

    /// A label may stand on it after all.
    pub(super) fn remove(&mut self, frame: &Frame) {
        self.boxes.retain(|other| other != frame);
    }

    /// A line through points is drawn.
    pub(super) fn add_line(&mut self, points: &[(f64, f64)]) {
        self.lines.extend(points.windows(2).map(|pair| [pair[0], pair[1]]));
    }

    /// Free room around a frame, px: how far it is to the nearest thing, nought where something runs through it.
    pub(super) fn room(&self, frame: &Frame) -> f64 {
        let boxes = self.boxes.iter().map(|other| between(frame, other));
        let nearest = boxes.fold(f64::INFINITY, f64::min);
        self.lines.iter().fold(nearest, |nearest, line| {
            // Most lines are far away: their own frame tells that.
            if between(frame, &around(line)) >= nearest { nearest } else { nearest.min(to_line(frame, line)) }
        })
    }

    /// Whether a label can stand there.
    pub(super) fn is_free(&self, frame: &Frame) -> bool {
        self.room(frame) >= GAP
    }

    /// Writes the first wording that finds a free spot inside `within`, longest wordings first; gives its place in the list.
    /// Spots are baselines, from the best to the worst, for a text of a given width.
    pub(super) fn label(
        &mut self,
        canvas: &mut Canvas,
        within: Frame,
        wordings: &[String],
        set: Type,
        spots: impl Fn(f64) -> Vec<(f64, f64)>,
    ) -> Option<usize> {
        let inside = |f: &Frame| {
            f.x >= within.x && f.right() <= within.right() && f.y >= within.y && f.bottom() <= within.bottom()
        };
        wordings.iter().enumerate().filter(|(_, words)| !words.is_empty()).find_map(|(i, words)| {
            let free = |at: &(f64, f64)| {
                let frame = lettered(*at, words, &set);
                (inside(&frame) && self.is_free(&frame)).then_some((*at, frame))
            };
            let ((x, y), frame) = spots(set.width(words)).iter().find_map(free)?;
            canvas.text(x, y, words, set);
            self.add(frame);
            Some(i)
        })
    }
}

/// What a text covers: figures and capitals above its baseline, tails below it.
pub(super) fn lettered((x, y): (f64, f64), text: &str, set: &Type) -> Frame {
    let w = set.width(text);
    let x = match set.anchor {
        Anchor::Start => x,
        Anchor::Middle => x - w / 2.0,
        Anchor::End => x - w,
    };
    Frame { x, y: y - 0.75 * set.size, w, h: 0.95 * set.size }
}

/// Between two frames, px.
pub(super) fn between(a: &Frame, b: &Frame) -> f64 {
    let dx = (b.x - a.right()).max(a.x - b.right()).max(0.0);
    let dy = (b.y - a.bottom()).max(a.y - b.bottom()).max(0.0);
    dx.hypot(dy)
}

fn around([a, b]: &[(f64, f64); 2]) -> Frame {
    Frame { x: a.0.min(b.0), y: a.1.min(b.1), w: (a.0 - b.0).abs(), h: (a.1 - b.1).abs() }
}

/// From a frame to a straight line, px.
fn to_line(frame: &Frame, line: &[(f64, f64); 2]) -> f64 {
    let [a, b] = *line;
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    // The part of the line inside the frame (Liang and Barsky 1984).
    let mut part = (0.0_f64, 1.0_f64);
    for (d, lo, hi) in [(dx, frame.x - a.0, frame.right() - a.0), (dy, frame.y - a.1, frame.bottom() - a.1)] {
        if d.abs() > f64::EPSILON {
            let (from, to) = (lo / d, hi / d);
            part = (part.0.max(from.min(to)), part.1.min(from.max(to)));
        } else if lo > 0.0 || hi < 0.0 {
            part.0 = f64::INFINITY;
        }
    }
    if part.0 <= part.1 {
        return 0.0;
    }
    let corner = |x: f64, y: f64| {
        let along = (((x - a.0) * dx + (y - a.1) * dy) / (dx * dx + dy * dy).max(f64::EPSILON)).clamp(0.0, 1.0);
        (x - a.0 - along * dx).hypot(y - a.1 - along * dy)
    };
    let end = |(x, y): (f64, f64)| between(frame, &Frame { x, y, w: 0.0, h: 0.0 });
    let corners =
        [(frame.x, frame.y), (frame.right(), frame.y), (frame.x, frame.bottom()), (frame.right(), frame.bottom())];
    corners.map(|(x, y)| corner(x, y)).into_iter().chain([end(a), end(b)]).fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const FRAME: Frame = Frame { x: 10.0, y: 10.0, w: 20.0, h: 10.0 };

    #[test]
    fn room_is_the_way_to_the_nearest_thing() {
        let room = |points: &[(f64, f64)]| {
            let mut drawn = Drawn::default();
            drawn.add_line(points);
            drawn.room(&FRAME)
        };
        assert_eq!(room(&[]), f64::INFINITY);
        assert_eq!(room(&[(0.0, 15.0), (99.0, 15.0)]), 0.0, "through it");
        assert_eq!(room(&[(12.0, 12.0), (13.0, 13.0)]), 0.0, "inside it");
        assert_eq!(room(&[(0.0, 5.0), (99.0, 5.0)]), 5.0, "above it");
        assert!((room(&[(30.0, 4.0), (36.0, 10.0)]) - 18f64.sqrt()).abs() < 1e-9, "past its corner");
        let mut drawn = Drawn::default();
        drawn.add(Frame { x: 33.0, y: 24.0, w: 5.0, h: 5.0 });
        assert_eq!(drawn.room(&FRAME), 5.0);
    }

    #[test]
    fn a_label_moves_then_shortens_then_is_left_out() {
        let set = Type::of(20.0);
        let page = Frame { x: 0.0, y: 0.0, w: 300.0, h: 100.0 };
        let words = ["a long label".to_owned(), "short".to_owned()];
        let spots = |_: f64| vec![(10.0, 50.0), (10.0, 90.0)];
        let mut canvas = Canvas::new(300, 100);
        let mut drawn = Drawn::default();
        let mut write = |drawn: &mut Drawn| drawn.label(&mut canvas, page, &words, set, spots);
        assert_eq!(write(&mut drawn), Some(0));
        assert_eq!(write(&mut drawn), Some(0), "at its second spot");
        assert_eq!(write(&mut drawn), None, "both are taken");
        let mut drawn = Drawn::default();
        let x = 10.0 + set.width("short") + 10.0;
        drawn.add_line(&[(x, 0.0), (x, 100.0)]);
        assert_eq!(write(&mut drawn), Some(1), "only the shorter one ends before the line");
    }

    proptest! {
        /// Against the smallest of many small steps along the line.
        #[test]
        fn lines_are_as_far_as_their_nearest_point(a in (0.0..60.0f64, 0.0..60.0f64), b in (0.0..60.0f64, 0.0..60.0f64)) {
            let steps = (0..=2000).map(|i| f64::from(i) / 2000.0);
            let points = steps.map(|k| (a.0 + k * (b.0 - a.0), a.1 + k * (b.1 - a.1)));
            let nearest = points.map(|(x, y)| between(&FRAME, &Frame { x, y, w: 0.0, h: 0.0 })).fold(f64::INFINITY, f64::min);
            prop_assert!((to_line(&FRAME, &[a, b]) - nearest).abs() < 0.05);
        }
    }
}
