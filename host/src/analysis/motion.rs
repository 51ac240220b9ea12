//! The motion chain: from grid points to candidate events, strokes and passes.
//!
//! Keeps the motion of the current stretch of work (at most [`LONGEST_S`]), so that passes can be settled with hindsight
//! when the work pauses.

use super::attitude::{Attitude, Vec3};
use super::grid::STEP_S;
use super::passes::{self, Found, SettledPass};
use super::strokes::{Now, RawStroke, StrokeTracker};
use super::traverse::Known;
use super::turns::{DETECT_LAG, Detector, Event, MotionPoint, Peak, REACH_S, Stretch, USUAL_WIDTH_S, groups};
use std::collections::VecDeque;

/// Longest stretch of work that is settled as a whole, s.
pub(super) const LONGEST_S: f64 = 900.0;
/// Points kept from before the work, so that its first fit has room.
const LEAD: usize = 250;
/// Grid points a fit reaches to either side.
const REACH: i64 = (REACH_S / STEP_S) as i64;
/// After this long the events of a moment have all been found and measured, s.
pub(crate) const MEASURED_S: f64 = (DETECT_LAG as f64 + 2.0) * STEP_S + REACH_S;
/// An event this close to the end of what is kept cannot be measured, grid points.
const ROOM: i64 = 30;

/// When the pad took load and when it was relieved, s, if it ran free for the first, the last seconds of a stroke: of begin and end
/// of the stroke and of the work, s.
type LoadTimes<'a> = dyn Fn((f64, f64), (f64, f64)) -> [Option<f64>; 2] + 'a;

/// What else is known of a stretch of work when its passes are settled.
#[derive(Clone, Copy)]
pub(super) struct Work<'a> {
    /// Times that end a pass whatever the arm did, s.
    pub(super) cuts_s: &'a [f64],
    /// Whether the motor ran around a time, s.
    pub(super) motor_on: &'a dyn Fn(f64) -> bool,
    pub(super) load_s: &'a LoadTimes<'a>,
}

/// Strokes that do not come out of a turn begin when the pad takes load, and those that lead into none end when it is relieved: a
/// burst before or after that was of carrying the machine. Gives the times of those bursts, s.
fn between_loads(strokes: &mut [RawStroke], load_s: &LoadTimes<'_>) -> Vec<f64> {
    let (Some(first), Some(last)) = (strokes.first(), strokes.last()) else { return Vec::new() };
    let work_s = (first.start.t_s, last.end.t_s);
    let mut carried_s = Vec::new();
    for i in 0..strokes.len() {
        let turns_on = strokes[i].turned.is_some() || strokes.get(i + 1).is_some_and(|next| next.joined);
        let stroke = &mut strokes[i];
        let [taken_s, relieved_s] = load_s((stroke.start.t_s, stroke.end.t_s), work_s);
        for (end, t_s) in [taken_s.filter(|_| !stroke.joined), relieved_s.filter(|_| !turns_on)].into_iter().enumerate()
        {
            let Some(t_s) = t_s else { continue };
            let event = if end == 0 { &mut stroke.start } else { &mut stroke.end };
            carried_s.extend((!stroke.supposed[end]).then_some(event.t_s));
            event.t_s = t_s;
            stroke.supposed[end] = false;
            stroke.by_load[end] = true;
        }
        // The second burst of a move that is now apart from the stroke is told with the others of quick moves.
        stroke.moved = stroke.moved.filter(|_| !stroke.by_load[1]);
    }
    carried_s
}

/// Leaves out strokes that would have had to begin before the motor ran, or before the recording: how long those lasted, nobody
/// knows.
fn within_work(strokes: Vec<RawStroke>, motor_on: &dyn Fn(f64) -> bool) -> Vec<RawStroke> {
    let mut out: Vec<RawStroke> = Vec::with_capacity(strokes.len());
    let mut left_out = false;
    for stroke in strokes {
        let joined = stroke.joined && !left_out;
        left_out = stroke.supposed[0] && !motor_on(stroke.start.t_s);
        if !left_out {
            out.push(RawStroke { joined, ..stroke });
        }
    }
    out
}

/// A motor heard this shortly before the recording's end ran on, s.
const CUT_S: f64 = 0.5;

pub(super) struct Motion {
    lever: Vec3,
    attitude: Attitude,
    detector: Detector,
    tracker: StrokeTracker,
    first: i64,
    points: Vec<MotionPoint>,
    /// Gyro bias once a second, with the grid index.
    biases: VecDeque<(i64, Vec3)>,
    /// Found, not yet measured.
    pending: VecDeque<Peak>,
    /// The group that was not complete at the last look: how many peaks were pending then, and its last one.
    awaited: Option<(usize, i64)>,
    /// All clear ones found lately.
    found: VecDeque<i64>,
    width_s: f64,
    last_acceleration: [f64; 2],
    /// Whether anything is being followed at all.
    running: bool,
}

impl Motion {
    /// `lever`: from the pad's centre to the chip, m, machine axes.
    pub(super) fn new(lever: Vec3) -> Self {
        Self {
            lever,
            attitude: Attitude::new(),
            detector: Detector::new(0),
            tracker: StrokeTracker::new(),
            first: 0,
            points: Vec::new(),
            biases: VecDeque::new(),
            pending: VecDeque::new(),
            awaited: None,
            found: VecDeque::new(),
            width_s: USUAL_WIDTH_S,
            last_acceleration: [0.0; 2],
            running: false,
        }
    }

    pub(super) fn now(&self) -> Now {
        self.tracker.now()
    }

    /// Turn about the spindle at a time of the current stretch, rad.
    pub(super) fn heading_at(&self, t_s: f64) -> Option<f64> {
        let at = (t_s / STEP_S).round() as i64 - self.first;
        usize::try_from(at).ok().and_then(|i| self.points.get(i)).map(|p| f64::from(p.heading))
    }

    /// Passes so far, as first measured.
    pub(super) fn preview(&self, cuts_s: &[f64], known: Known, motor_on: &dyn Fn(f64) -> bool) -> Vec<SettledPass> {
        passes::preview(&within_work(self.tracker.strokes(), motor_on), cuts_s, known)
    }

    /// Seconds of motion kept.
    pub(super) fn kept_s(&self) -> f64 {
        self.points.len() as f64 * STEP_S
    }

    /// Takes one grid point. `motor_on` tells whether the motor ran around a time, s. Gives `true` when a hole ended the
    /// stretch: it is to be settled and restarted.
    pub(super) fn step(
        &mut self,
        index: i64,
        accel: Option<Vec3>,
        gyro: Option<Vec3>,
        motor_on: &dyn Fn(f64) -> bool,
    ) -> bool {
        let (Some(accel), Some(gyro)) = (accel, gyro) else { return self.running };
        if !self.running {
            self.running = true;
            self.first = index;
            self.points.clear();
            self.detector = Detector::new(index);
        }
        let step = self.attitude.step(accel, gyro, self.lever);
        let heading = self.attitude.heading();
        let (s, c) = heading.sin_cos();
        let [x, y, _] = step.acceleration;
        let acceleration = [c * x - s * y, s * x + c * y];
        self.last_acceleration = acceleration;
        let point =
            MotionPoint { accel: accel.map(|v| v as f32), gyro: gyro.map(|v| v as f32), heading: heading as f32 };
        self.keep(index, point, acceleration, motor_on);
        false
    }

    fn keep(&mut self, index: i64, point: MotionPoint, acceleration: [f64; 2], motor_on: &dyn Fn(f64) -> bool) {
        self.points.push(point);
        if index.rem_euclid(50) == 0 {
            self.biases.push_back((index, self.attitude.bias()));
        }
        self.detect(acceleration);
        self.measure(Some(index), motor_on);
        while self.found.front().is_some_and(|at| at + 4 * REACH + (DETECT_LAG as i64) < index) {
            self.found.pop_front();
        }
    }

    fn detect(&mut self, acceleration: [f64; 2]) {
        if let Some(peak) = self.detector.push(acceleration) {
            self.pending.push_back(peak);
            if peak.faint.is_none() {
                self.found.push_back(peak.at);
            }
        }
    }

    /// Measures the groups of events that are complete at grid point `index`; all that wait where nothing more will come.
    fn measure(&mut self, index: Option<i64>, motor_on: &dyn Fn(f64) -> bool) {
        let kept = self.first + ROOM..self.first + self.points.len() as i64 - ROOM;
        while let Some(&front) = self.pending.front() {
            let complete = |last: i64| index.is_none_or(|i| last + REACH + (DETECT_LAG as i64) < i);
            let waits = |(pending, last): (usize, i64)| pending == self.pending.len() && !complete(last);
            if !complete(front.at) || self.awaited.is_some_and(waits) {
                return;
            }
            // Beside a clear peak a faint one is mostly what is left of its shape, and would spoil the fit.
            let alone = |p: &Peak| p.faint.is_none() || self.found.iter().all(|f| (f - p.at).abs() > REACH);
            if !alone(&front) {
                self.pending.pop_front();
                continue;
            }
            // With the last one before, so that what is looked at does not reach into it.
            let real = |f: i64| kept.contains(&f) && motor_on(f as f64 * STEP_S);
            let before = self.found.iter().rfind(|f| **f < front.at && real(**f)).map(|f| Peak { at: *f, faint: None });
            let waiting = self.pending.iter().copied().filter(|p| real(p.at) && alone(p));
            let peaks: Vec<Peak> = before.into_iter().chain(waiting).collect();
            let times: Vec<f64> = peaks.iter().map(|p| p.at as f64 * STEP_S).collect();
            let own = usize::from(before.is_some());
            let group = groups(&times, motor_on).into_iter().find(|(r, _)| r.end > own);
            let Some((range, over_s)) = group else {
                self.pending.clear();
                return;
            };
            let range = range.start.max(own)..range.end;
            let peaks = &peaks[range.clone()];
            let last = peaks[peaks.len() - 1].at;
            if !complete(last) {
                self.awaited = Some((self.pending.len(), last));
                return;
            }
            if let Some(fit) = self.stretch().fit(&times[range], over_s, self.attitude.bias(), self.width_s) {
                for (n, peak) in peaks.iter().enumerate() {
                    let blur = fit.blurs[n].hypot(peak.faint.unwrap_or(0.0));
                    self.tracker.push(Event { t_s: fit.times_s[n], step: fit.steps[n], blur });
                }
            }
            while self.pending.front().is_some_and(|p| p.at <= last) {
                self.pending.pop_front();
            }
        }
    }

    /// Until when the motor ran, as far as motion is kept, s.
    fn worked_until_s(&self, motor_on: &dyn Fn(f64) -> bool) -> f64 {
        let mut times = (0..self.points.len()).rev().step_by(5).map(|i| (self.first + i as i64) as f64 * STEP_S);
        times.find(|t| motor_on(*t)).unwrap_or(f64::NEG_INFINITY)
    }

    fn stretch(&self) -> Stretch<'_> {
        Stretch { first: self.first, points: &self.points, lever: self.lever }
    }

    /// Measures what is still waiting and settles the strokes so far. With `at_end`, nothing more will come: the detector's
    /// lag is bridged with the last value.
    pub(super) fn settle(&mut self, work: &Work<'_>, known: Known, at_end: bool) -> Vec<SettledPass> {
        if at_end {
            for _ in 0..DETECT_LAG {
                self.detect(self.last_acceleration);
            }
        }
        let motor_on = work.motor_on;
        self.measure(None, motor_on);
        let until_s = self.worked_until_s(motor_on);
        let last_s = (self.first + self.points.len() as i64) as f64 * STEP_S;
        let cut = at_end && last_s - until_s < CUT_S;
        let settled = self.tracker.settled(until_s, cut);
        let mut strokes = within_work(settled.strokes, motor_on);
        let mut moves_s = settled.moves_s;
        moves_s.extend(between_loads(&mut strokes, work.load_s));
        let last = self.attitude.bias();
        let bias_at = |t_s: f64| {
            // The bias is learned as time goes on: half a minute later it is better known and hardly another.
            let later = ((t_s + 30.0) / STEP_S) as i64;
            let i = self.biases.partition_point(|b| b.0 < later);
            self.biases.get(i).map_or(last, |b| b.1)
        };
        let found = Found { strokes: &strokes, moves_s: &moves_s, width_s: self.width_s, ended: !cut };
        let (passes, width_s) = passes::settle(self.stretch(), found, bias_at, motor_on, work.cuts_s, known);
        self.width_s = width_s;
        passes
    }

    /// Forgets the stretch but for its last moments; following goes on.
    pub(super) fn begin_anew(&mut self) {
        self.tracker = StrokeTracker::new();
        let drop = self.points.len().saturating_sub(LEAD);
        self.points.drain(..drop);
        self.first += drop as i64;
        while self.biases.front().is_some_and(|b| b.0 < self.first) {
            self.biases.pop_front();
        }
    }

    /// Nothing before continues across but what belongs to the person and to the chip: the attitude starts over.
    pub(super) fn interrupt(&mut self) {
        let (width_s, attitude) = (self.width_s, self.attitude.interrupted());
        *self = Self { width_s, attitude, ..Self::new(self.lever) };
    }
}
