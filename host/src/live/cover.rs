//! The section filling in: which part of it the pad has gone over, drawn while working.
//!
//! Nothing measures position. While a pass is being worked, its strokes are laid side by side as far as their lengths, and the
//! steps between them, are known; the first one along the section's edge. When a pass is settled, its track (with all that
//! hindsight gives) takes their place. So the picture says what share is done and where work goes on, to about a pad's radius;
//! it is no survey.

use crate::{
    analysis::{LiveTick, Pass, State, StrokePlace, TrackPoint},
    guidance::Plan,
};

/// Cells along each side.
pub const SIDE: usize = 20;
/// Section drawn when the plan does not tell its size: as wide as common practice works, m.
const USUAL_SECTION_M: f64 = 0.5;
/// Step between strokes while it is not known, in pad diameters: half a pad of overlap, as is commonly taught.
const USUAL_STEP: f64 = 0.5;
/// More often than this a cell need not be counted.
const MOST: u8 = 9;
/// Track points further apart are not joined, s.
const LONGEST_STEP_S: f64 = 0.5;
/// Passes kept apart; older ones are let go.
const LAYERS: usize = 12;

/// A straight piece of the pad's way, section coordinates, m.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    from: [f64; 2],
    to: [f64; 2],
}

/// One pass over the section.
#[derive(Clone, Debug, Default)]
struct Layer {
    pieces: Vec<Piece>,
    /// From the settled track; else from the strokes as they came.
    settled: bool,
}

/// How often each cell has been gone over, row by row from the top (largest y), each from the left.
pub type Cells = [u8; SIDE * SIDE];

/// The section's picture.
#[derive(Clone, Debug)]
pub struct Cover {
    size_m: [f64; 2],
    pad_radius_m: f64,
    stroke_m: Option<f64>,
    /// Settled passes and, last, those being worked.
    layers: Vec<Layer>,
    /// The last layer is being worked.
    open: bool,
    /// Cells of all finished pieces.
    done: Cells,
    last: Lane,
    strokes: u32,
    /// Where the pad is on the present stroke, m from its start.
    along_m: f64,
    last_tick_s: f64,
}

/// The lane worked last.
#[derive(Clone, Copy, Debug, Default)]
struct Lane {
    across_m: f64,
    length_m: f64,
    direction_deg: f64,
}

impl Cover {
    /// An untouched section.
    pub fn new(plan: &Plan) -> Self {
        let pad_radius_m = plan.machine.pad_diameter_mm / 2e3;
        let side = plan.stroke_length_m.map_or(USUAL_SECTION_M, |stroke| stroke + 2.0 * pad_radius_m);
        Self {
            size_m: plan.section_m.unwrap_or([side, side]),
            pad_radius_m,
            stroke_m: plan.stroke_length_m,
            layers: Vec::new(),
            open: false,
            done: [0; SIDE * SIDE],
            last: Lane::default(),
            strokes: 0,
            along_m: 0.0,
            last_tick_s: f64::NAN,
        }
    }

    /// A new section begins.
    pub fn clear(&mut self) {
        self.layers.clear();
        (self.open, self.strokes, self.along_m) = (false, 0, 0.0);
        self.done = [0; SIDE * SIDE];
    }

    /// Whether anything has been worked.
    pub fn is_touched(&self) -> bool {
        !self.layers.is_empty()
    }

    /// Follows the work.
    pub fn tick(&mut self, tick: &LiveTick) {
        let before = std::mem::replace(&mut self.strokes, tick.strokes);
        if tick.stroke_ended && tick.strokes > 0 {
            self.stroke_done(tick.last_stroke_place, tick.strokes <= before);
        } else if tick.strokes == 0 && before > 0 {
            self.open = false;
            self.along_m = 0.0;
        } else if tick.strokes > 0 && before == 0 {
            // Not a new stroke: what was taken back is there again.
            self.open = self.layers.last().is_some_and(|layer| !layer.settled);
        }
        let seconds = tick.t_s - self.last_tick_s;
        self.last_tick_s = tick.t_s;
        if let (State::Working, Some(speed), true) = (tick.state, tick.traverse_mps, (0.0..1.0).contains(&seconds)) {
            self.along_m = (self.along_m + speed.value * seconds).min(self.next_length());
        }
    }

    /// A pass over this section is settled: its track takes the place of what was drawn while working.
    pub fn settle(&mut self, pass: &Pass) {
        let near = |pair: &&[TrackPoint]| pair[1].t_s - pair[0].t_s < LONGEST_STEP_S;
        let at = |point: TrackPoint| [point.x_m, point.y_m];
        let pieces: Vec<Piece> =
            pass.track.windows(2).filter(near).map(|pair| Piece { from: at(pair[0]), to: at(pair[1]) }).collect();
        if pieces.is_empty() {
            return;
        }
        let layer = Layer { pieces, settled: true };
        // Passes are settled in the order in which they were worked.
        match self.layers.iter().position(|layer| !layer.settled) {
            Some(first) => {
                self.open &= first + 1 < self.layers.len();
                self.layers[first] = layer;
            }
            None => self.layers.push(layer),
        }
        self.redraw();
    }

    /// The cells as they stand, the present stroke included.
    pub fn cells(&self) -> Cells {
        let mut cells = self.done;
        if self.along_m > 0.0 {
            let lane = self.next_lane();
            let piece = self.lay(lane, self.strokes, self.along_m / lane.length_m.max(1e-3));
            // The present stroke belongs to the pass being worked: where it overlaps that, nothing is counted twice.
            let mut now = [0; SIDE * SIDE];
            self.draw(&[piece], &mut now);
            let mut pass = [0; SIDE * SIDE];
            if let Some(layer) = self.layers.last().filter(|_| self.open) {
                self.draw(&layer.pieces, &mut pass);
            }
            for (cell, (now, pass)) in cells.iter_mut().zip(now.into_iter().zip(pass)) {
                *cell = (*cell + u8::from(now > pass)).min(MOST);
            }
        }
        cells
    }

    /// Share of the section gone over at least once.
    pub fn share(cells: &Cells) -> f64 {
        cells.iter().filter(|count| **count > 0).count() as f64 / cells.len() as f64
    }

    fn stroke_done(&mut self, place: Option<StrokePlace>, anew: bool) {
        let was = self.last;
        let across = match place {
            Some(place) => place.across_m.abs(),
            None if self.strokes <= 1 => 0.0,
            None => was.across_m + 2.0 * self.pad_radius_m * USUAL_STEP,
        };
        let turned = self.open && !anew;
        let direction_deg = match place.and_then(|place| place.direction_deg) {
            Some(direction) => direction,
            // A further pass over the same section crosses the one before.
            None if !turned && self.is_touched() => was.direction_deg + 90.0,
            None => was.direction_deg,
        };
        let length_m = place.map(|place| place.length_m).or(self.stroke_m).unwrap_or(self.room_along());
        self.last = Lane { across_m: across, length_m, direction_deg };
        self.along_m = 0.0;
        if !turned {
            if self.layers.len() == LAYERS {
                self.layers.remove(0);
            }
            self.layers.push(Layer::default());
            self.open = true;
        }
        let piece = self.lay(self.last, self.strokes - 1, 1.0);
        if let Some(layer) = self.layers.last_mut() {
            // The step from the stroke before.
            if let Some(before) = layer.pieces.last() {
                layer.pieces.push(Piece { from: before.to, to: piece.from });
            }
            layer.pieces.push(piece);
        }
        self.redraw();
    }

    fn room_along(&self) -> f64 {
        (self.size_m[0] - 2.0 * self.pad_radius_m).max(self.pad_radius_m)
    }

    fn next_length(&self) -> f64 {
        if self.strokes > 0 { self.last.length_m } else { self.stroke_m.unwrap_or(self.room_along()) }
    }

    fn next_lane(&self) -> Lane {
        if self.strokes == 0 {
            let direction_deg = if self.is_touched() { self.last.direction_deg + 90.0 } else { 0.0 };
            return Lane { across_m: 0.0, length_m: self.next_length(), direction_deg };
        }
        Lane { across_m: self.last.across_m + 2.0 * self.pad_radius_m * USUAL_STEP, ..self.last }
    }

    /// A stroke along the section's x or y, whichever its direction is nearer to, from the lower or left edge inwards.
    fn lay(&self, lane: Lane, number: u32, share: f64) -> Piece {
        let upright = (lane.direction_deg.rem_euclid(180.0) - 90.0).abs() < 45.0;
        let across_room = self.size_m[usize::from(!upright)];
        let edge = 0.5 * across_room - self.pad_radius_m;
        let across = (lane.across_m - edge).clamp(-0.5 * across_room, 0.5 * across_room);
        let half = 0.5 * lane.length_m;
        let (from, to) = if number.is_multiple_of(2) { (-half, half) } else { (half, -half) };
        let to = from + share.clamp(0.0, 1.0) * (to - from);
        if upright {
            Piece { from: [across, from], to: [across, to] }
        } else {
            Piece { from: [from, across], to: [to, across] }
        }
    }

    fn redraw(&mut self) {
        let mut done = [0; SIDE * SIDE];
        for layer in &self.layers {
            self.draw(&layer.pieces, &mut done);
        }
        self.done = done;
    }

    /// Counts one pass over every cell that the pad touched along `pieces`.
    fn draw(&self, pieces: &[Piece], cells: &mut Cells) {
        for (i, count) in cells.iter_mut().enumerate() {
            let middle = [
                ((i % SIDE) as f64 + 0.5) / SIDE as f64 * self.size_m[0] - 0.5 * self.size_m[0],
                0.5 * self.size_m[1] - ((i / SIDE) as f64 + 0.5) / SIDE as f64 * self.size_m[1],
            ];
            if pieces.iter().any(|piece| distance(*piece, middle) <= self.pad_radius_m) {
                *count = (*count + 1).min(MOST);
            }
        }
    }
}

/// From a point to the nearest point of a piece, m.
fn distance(piece: Piece, point: [f64; 2]) -> f64 {
    let along = [piece.to[0] - piece.from[0], piece.to[1] - piece.from[1]];
    let reach = [point[0] - piece.from[0], point[1] - piece.from[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 { ((reach[0] * along[0] + reach[1] * along[1]) / square).clamp(0.0, 1.0) } else { 0.0 };
    (reach[0] - share * along[0]).hypot(reach[1] - share * along[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Interval;

    fn plan() -> Plan {
        Plan { section_m: Some([0.5, 0.5]), stroke_length_m: Some(0.4), ..Plan::default() }
    }

    fn tick(t_s: f64, strokes: u32) -> LiveTick {
        let pace = Interval { lo: 0.019, value: 0.020, hi: 0.021 };
        LiveTick { t_s, state: State::Working, strokes, traverse_mps: Some(pace), ..LiveTick::default() }
    }

    /// With a count that rises a stroke has ended.
    fn see(cover: &mut Cover, tick: LiveTick) {
        let stroke_ended = tick.strokes > cover.strokes;
        cover.tick(&LiveTick { stroke_ended, ..tick });
    }

    /// Ten ticks a second at 20 mm/s: a stroke of 0.4 m takes twenty seconds.
    fn work(cover: &mut Cover, from_s: f64, to_s: f64) {
        for i in (from_s * 10.0) as u32..(to_s * 10.0) as u32 {
            let t_s = f64::from(i) * 0.1;
            see(cover, tick(t_s, ((t_s - from_s) / 20.0) as u32));
        }
    }

    #[test]
    fn it_fills_as_work_goes_on_and_a_second_pass_crosses_the_first() {
        let mut cover = Cover::new(&plan());
        let mut shares = Vec::new();
        for step in 0..7 {
            for i in 0..200 {
                let t_s = f64::from(step * 200 + i) * 0.1;
                see(&mut cover, tick(t_s, step as u32));
            }
            shares.push(Cover::share(&cover.cells()));
        }
        assert!(shares.windows(2).all(|pair| pair[1] >= pair[0]), "{shares:?}");
        assert!(shares[0] > 0.15 && shares[0] < 0.3, "one stroke of a 125 mm pad on half a metre: {}", shares[0]);
        // Seven lanes of half a pad's step are 0.0625 * 6 + 0.125 = 0.5 m; the rounded ends leave the corners out.
        assert!(shares[6] > 0.93, "{}", shares[6]);
        assert_eq!(cover.layers.len(), 1);
        see(&mut cover, tick(200.0, 0));
        see(&mut cover, tick(220.0, 1));
        assert_eq!(cover.layers.len(), 2);
        let cells = cover.cells();
        assert!(cells.contains(&2) && cells.contains(&1));
        // The second pass stands upright: its first stroke goes along the left edge.
        assert_eq!(cells[10 * SIDE], 2);
        cover.clear();
        assert!(!cover.is_touched() && Cover::share(&cover.cells()) == 0.0);
    }

    #[test]
    fn a_settled_track_takes_the_place_of_the_guess() {
        let mut cover = Cover::new(&plan());
        work(&mut cover, 0.0, 100.0);
        let track = (0..=100)
            .map(|i| TrackPoint {
                t_s: f64::from(i) * 0.1,
                x_m: f64::from(i) * 0.002 - 0.1,
                y_m: 0.0,
                pad_speed_mps: None,
            })
            .collect();
        let pass = Pass { track, ..Pass::untold() };
        see(&mut cover, tick(101.0, 0));
        cover.settle(&pass);
        let cells = cover.done;
        let row = |y: usize| cells[y * SIDE..(y + 1) * SIDE].iter().filter(|n| **n > 0).count();
        assert_eq!((row(0), row(19)), (0, 0), "the track stays in the middle");
        assert!(row(9) > 8 && cover.layers.len() == 1);
        cover.settle(&Pass { track: Vec::new(), ..Pass::untold() });
        assert_eq!(cover.layers.len(), 1, "a pass without a track leaves the picture as it is");
    }

    #[test]
    fn lanes_lie_where_the_steps_between_them_say() {
        let mut cover = Cover::new(&plan());
        let place = |across_m| Some(StrokePlace { length_m: 0.4, across_m, direction_deg: Some(0.0) });
        see(&mut cover, LiveTick { last_stroke_place: place(0.0), ..tick(0.0, 1) });
        see(&mut cover, LiveTick { last_stroke_place: place(-0.375), ..tick(20.0, 2) });
        let cells = cover.done;
        // First lane at the lower edge, second 0.375 m further in: at the upper one.
        assert!(cells[19 * SIDE + 10] == 1 && cells[10] == 1);
        assert_eq!(cells[10 * SIDE + 5], 0, "between them nothing has been worked");
    }

    #[test]
    fn a_pass_is_new_when_a_stroke_ends_and_the_count_does_not_rise_and_a_revised_count_is_none() {
        let mut cover = Cover::new(&plan());
        let mut after = |strokes: u32, stroke_ended: bool| {
            cover.tick(&LiveTick { stroke_ended, ..tick(0.0, strokes) });
            (cover.layers.len(), cover.layers.last().map_or(0, |layer| layer.pieces.len()))
        };
        for strokes in 1..=3 {
            after(strokes, true);
        }
        assert_eq!(after(2, false), (1, 5), "three strokes and two steps");
        assert_eq!(after(3, false), (1, 5));
        assert_eq!(after(1, true), (2, 1), "a crosshatch goes on in one go");
        assert_eq!(after(0, false), (2, 1));
        assert_eq!(after(1, false), (2, 1));
        assert_eq!(after(2, true), (2, 3), "the stroke that was taken back was one after all");
        assert_eq!(after(1, true), (3, 1));
        assert_eq!(after(1, true), (4, 1), "a pass of one stroke, and the next one");
    }
}
