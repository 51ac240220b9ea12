//! The whole analysis: readings in, live ticks and settled findings out.
//!
//! # Data flow
//!
//! ```text
//! accel ─┬─► orbit ──────────► orbit ticks ──┐
//!        └─► 50 Hz grid ─┐                   ├─► LiveTick (when both streams have passed the tick)
//! gyro ────► 50 Hz grid ─┴─► motion ─────────┤
//!                            (turns, strokes)├─► rows wait ─► settled with the passes ─► Finding
//! looks ─────────────────────► surface ──────┘
//! ```
//!
//! Everything is driven by the times of the samples, never by when or in what portions they arrived.
//!
//! Rows of the series wait until the stretch of work they belong to is settled: when the motor has been off, or the arm
//! at rest, for a while, at the mark button, at an interruption, or after [`motion::LONGEST_S`] at the latest.

use super::findings::{Finding, LiveTick, Measured, Pass, SeriesRow, State, Stroke, StrokePlace};
use super::grid::{Gridder, STEP_US};
use super::motion::{self, Motion};
use super::orbit::{HINDSIGHT_S, Orbit, OrbitTick, TICK_US};
use super::pad_speed::pad_speed_mps;
use super::passes::{SECTION_PAUSE_S, SettledPass};
use super::reading::{Reading, Run};
use super::setup::Setup;
use super::strokes::Mode;
use super::surface::{SETTLE_S, Surface, SurfaceCounts, SurfaceSettled};
use super::traverse::{STEP_SD_MPS, UNEVEN, Z90};
use super::{Interval, heat, track};
use std::collections::VecDeque;

/// From the pad's centre to the chip, m, machine axes: a clip on the housing sits some 0.1 m above the face.
const LEVER_M: [f64; 3] = [0.0, 0.0, 0.1];
/// A gyro that has been silent for this long is not waited for, µs.
const GYRO_PATIENCE_US: f64 = 1e6;
/// Arm at rest for this long with the motor running: the strokes before are settled, s.
const REST_S: f64 = 45.0;
/// With the motor running and nothing going on, motion this old is let go, s.
const IDLE_S: f64 = 120.0;
/// Vibration that only a motor makes, m/s² rms over three axes.
const MOTOR_VIBRATION: f64 = 1.0;
/// Motor off for this long ends a pass, s.
const OFF_CUT_S: f64 = 0.5;
/// A motor gathering speed shakes slowly enough to look like a push of the arm: while it shakes without a rate, nothing is
/// believed so soon after it started, s.
const SPIN_UP_S: f64 = 0.8;

/// Rows are not handed out before their figures have settled, s.
const ROW_HINDSIGHT_S: f64 = if HINDSIGHT_S > SETTLE_S { HINDSIGHT_S } else { SETTLE_S } + 0.1;

/// What the motor did at a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Motor {
    Off,
    /// Vibration, but no rate: gathering speed, running down.
    Shaking,
    AtSpeed,
}

/// What the motor did, tick by tick; nothing where the stream is too slow to tell.
#[derive(Debug, Default)]
struct MotorLog {
    /// Tick of the front.
    first: i64,
    on: VecDeque<Option<Motor>>,
    /// Ticks since it last ran.
    off_ticks: i64,
    /// Times that end a pass, s.
    cuts_s: Vec<f64>,
}

impl MotorLog {
    fn push(&mut self, index: i64, on: Option<Motor>) {
        if self.on.is_empty() || index != self.first + self.on.len() as i64 {
            self.on.clear();
            self.first = index;
        }
        self.on.push_back(on);
        if on == Some(Motor::Off) {
            self.off_ticks += 1;
            if self.off_ticks as f64 * TICK_US == OFF_CUT_S * 1e6 {
                self.cuts_s.push(index as f64 * TICK_US * 1e-6 - OFF_CUT_S);
            }
        } else {
            self.off_ticks = 0;
        }
        let longest = ((motion::LONGEST_S + 60.0) * 1e6 / TICK_US) as usize;
        if self.on.len() > longest {
            self.on.pop_front();
            self.first += 1;
        }
    }

    /// Notes that a rate was found at a tick, with hindsight.
    fn note_rate(&mut self, index: i64) {
        if let Some(on) = usize::try_from(index - self.first).ok().and_then(|i| self.on.get_mut(i)) {
            *on = Some(Motor::AtSpeed);
        }
    }

    /// Whether it ran, and had gathered speed, at a time; a stream too slow to tell counts as running.
    fn ran_at(&self, t_s: f64) -> bool {
        let at = |t: f64| {
            let at = (t * 1e6 / TICK_US).round() as i64 - self.first;
            usize::try_from(at).ok().and_then(|i| self.on.get(i)).copied()
        };
        match at(t_s) {
            Some(Some(Motor::AtSpeed) | None) => true,
            Some(Some(Motor::Shaking)) => !matches!(at(t_s - SPIN_UP_S), Some(Some(Motor::Off)) | None),
            Some(Some(Motor::Off)) | None => false,
        }
    }
}

/// A row waiting to be settled.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    index: i64,
    orbit: OrbitTick,
    row: SeriesRow,
    /// Panel temperature at the section's start, °C.
    start_c: Option<f64>,
}

/// The analysis of one recording or one live session.
pub struct Pipeline {
    setup: Setup,
    orbit: Orbit,
    accel_grid: Gridder,
    gyro_grid: Gridder,
    motion: Motion,
    motor: MotorLog,
    surface: Surface,
    next_grid: i64,
    first_accel_us: Option<f64>,
    marks_us: VecDeque<f64>,
    live: VecDeque<LiveTick>,
    findings: VecDeque<Finding>,
    ticks: VecDeque<OrbitTick>,
    waiting: VecDeque<Waiting>,
    settled_orbit: VecDeque<OrbitTick>,
    /// Ticks at which hindsight found a rate, not yet in the motor log.
    rates_seen: VecDeque<i64>,
    /// Live figures of the strokes so far.
    last_stroke: Option<Interval>,
    /// When the motor was last switched on, s.
    running_since_s: Option<f64>,
    last_place: Option<StrokePlace>,
    strokes_in_pass: u32,
    strokes_seen: u32,
    /// Passes of the current stretch so far, and those of the section before it.
    passes_in_stretch: u32,
    passes_in_section: u32,
    /// When the section began, s.
    section_begun_s: f64,
    /// When the arm last travelled, s; `None` before a section's first work.
    travelled_s: Option<f64>,
    pass_count: u32,
    section: u32,
    section_heading: Option<f64>,
    last_work_s: f64,
    last_sample_us: f64,
    settle_at_s: Option<f64>,
    /// Marks not yet used to split sections, s.
    section_marks_s: Vec<f64>,
}

impl Pipeline {
    /// Starts an analysis.
    pub fn new(setup: Setup) -> Self {
        Self {
            setup,
            orbit: Orbit::new(),
            accel_grid: Gridder::new(),
            gyro_grid: Gridder::new(),
            motion: Motion::new(LEVER_M),
            motor: MotorLog::default(),
            surface: Surface::new(&setup),
            next_grid: 0,
            first_accel_us: None,
            marks_us: VecDeque::new(),
            live: VecDeque::new(),
            findings: VecDeque::new(),
            ticks: VecDeque::new(),
            waiting: VecDeque::new(),
            settled_orbit: VecDeque::new(),
            rates_seen: VecDeque::new(),
            last_stroke: None,
            running_since_s: None,
            last_place: None,
            strokes_in_pass: 0,
            strokes_seen: 0,
            passes_in_stretch: 0,
            passes_in_section: 0,
            section_begun_s: f64::NEG_INFINITY,
            travelled_s: None,
            pass_count: 0,
            section: 0,
            section_heading: None,
            last_work_s: f64::NEG_INFINITY,
            last_sample_us: f64::NEG_INFINITY,
            settle_at_s: None,
            section_marks_s: Vec::new(),
        }
    }

    /// Next live tick, oldest first.
    pub fn pop_live(&mut self) -> Option<LiveTick> {
        self.live.pop_front()
    }

    /// Next settled finding.
    pub fn pop_finding(&mut self) -> Option<Finding> {
        self.findings.pop_front()
    }

    /// Takes one reading. Samples that go back in time, or whose time is no number, are left out.
    pub fn push(&mut self, reading: Reading<'_>) {
        match reading {
            Reading::Accel(run) => self.push_accel(run),
            Reading::Gyro(run) => self.push_gyro(run),
            Reading::Surface(look) => {
                if look.t_us.is_finite() {
                    self.surface.look(&look);
                }
            }
            Reading::Mark { t_us } => {
                if t_us.is_finite() {
                    self.marks_us.push_back(t_us);
                }
            }
            Reading::Break { from_us: _, to_us } => {
                self.advance(f64::INFINITY);
                self.settle(true);
                self.orbit.interrupt(if to_us.is_finite() { to_us } else { 0.0 });
                self.release(f64::INFINITY);
                self.restart_motion();
                self.surface.interrupted();
                if to_us.is_finite() {
                    let index = (to_us / STEP_US).ceil() as i64 + 1;
                    self.next_grid = self.next_grid.max(index);
                    self.accel_grid.restart(self.next_grid);
                    self.gyro_grid.restart(self.next_grid);
                }
                self.section_heading = None;
            }
        }
        self.advance(self.watermark_us());
    }

    /// What became of the thermometer's looks.
    pub fn surface_counts(&self) -> SurfaceCounts {
        self.surface.counts()
    }

    /// Nothing more comes: settles everything.
    pub fn finish(&mut self) {
        self.advance(f64::INFINITY);
        self.settle(true);
        self.orbit.flush();
        self.release(f64::INFINITY);
    }

    fn push_accel(&mut self, run: Run<'_>) {
        let Some(spacing_us) = usable_spacing(&run) else { return };
        for (i, sample) in run.samples.iter().enumerate() {
            let t_us = run.first_us + i as f64 * spacing_us;
            if t_us <= self.accel_grid.last_us() {
                continue;
            }
            self.orbit.push(t_us, spacing_us, *sample);
            self.accel_grid.push(t_us, spacing_us, *sample);
            self.first_accel_us.get_or_insert(t_us);
            self.last_sample_us = t_us;
        }
    }

    fn push_gyro(&mut self, run: Run<'_>) {
        let Some(spacing_us) = usable_spacing(&run) else { return };
        for (i, sample) in run.samples.iter().enumerate() {
            let t_us = run.first_us + i as f64 * spacing_us;
            if t_us > self.gyro_grid.last_us() {
                self.gyro_grid.push(t_us, spacing_us, *sample);
            }
        }
    }

    /// Time up to which all streams have been heard, µs.
    fn watermark_us(&self) -> f64 {
        let (accel, gyro) = (self.accel_grid.last_us(), self.gyro_grid.last_us());
        let since = gyro.max(self.first_accel_us.unwrap_or(f64::NEG_INFINITY));
        if accel - since > GYRO_PATIENCE_US { accel } else { accel.min(gyro) }
    }

    /// Works through all ticks up to a time.
    fn advance(&mut self, limit_us: f64) {
        while let Some(tick) = self.orbit.pop_live() {
            self.ticks.push_back(tick);
        }
        while let Some(tick) = self.orbit.pop_settled() {
            if tick.rate_hz.is_some() {
                self.rates_seen.push_back(tick.index);
            }
            self.settled_orbit.push_back(tick);
        }
        while let Some(&tick) = self.ticks.front() {
            let tick_us = tick.index as f64 * TICK_US;
            if tick_us > limit_us {
                break;
            }
            self.ticks.pop_front();
            self.step_motion(tick_us);
            self.tick(tick);
        }
    }

    fn step_motion(&mut self, limit_us: f64) {
        // A silence too long to be bridged is not walked through point by point.
        let behind = (limit_us / STEP_US) as i64 - self.next_grid;
        if behind > 3000 {
            self.restart_motion();
            self.next_grid = (limit_us / STEP_US) as i64 - 100;
        }
        while (self.next_grid + 2) as f64 * STEP_US <= limit_us {
            let k = self.next_grid;
            self.next_grid += 1;
            let accel = self.accel_grid.take(k);
            let gyro = self.gyro_grid.take(k);
            let motor = &self.motor;
            let ended = self.motion.step(k, accel, gyro, &|t| motor.ran_at(t));
            if ended {
                self.settle(true);
                self.restart_motion();
            }
        }
    }

    fn restart_motion(&mut self) {
        self.motion.interrupt();
        self.begin_stretch();
        // Headings of before and after cannot be compared.
        self.section_heading = None;
    }

    /// Strokes are counted from nothing again.
    fn begin_stretch(&mut self) {
        self.strokes_seen = 0;
        self.strokes_in_pass = 0;
        self.passes_in_stretch = 0;
    }

    /// Another panel, or the same one after it has been left alone.
    fn begin_section(&mut self, t_s: f64) {
        self.section_begun_s = t_s;
        self.surface.new_section();
        self.passes_in_section = 0;
        self.passes_in_stretch = 0;
        self.travelled_s = None;
    }

    fn tick(&mut self, tick: OrbitTick) {
        let t_s = tick.index as f64 * TICK_US * 1e-6;
        let motor = self.orbit.is_measurable().unwrap_or(false).then_some(match tick {
            OrbitTick { rate_hz: Some(_), .. } => Motor::AtSpeed,
            OrbitTick { vibration_mps2: Some(v), .. } if v > MOTOR_VIBRATION => Motor::Shaking,
            _ => Motor::Off,
        });
        let on = motor.map(|m| m != Motor::Off);
        self.motor.push(tick.index, motor);
        while self.rates_seen.front().is_some_and(|i| *i <= tick.index) {
            self.rates_seen.pop_front().into_iter().for_each(|i| self.motor.note_rate(i));
        }
        while self.marks_us.front().is_some_and(|m| *m <= t_s * 1e6) {
            let Some(mark_us) = self.marks_us.pop_front() else { break };
            let mark_s = mark_us * 1e-6;
            self.motor.cuts_s.push(mark_s);
            self.section_marks_s.push(mark_s);
            self.settle_at_s = Some(mark_s + motion::MEASURED_S);
            self.begin_section(mark_s);
        }
        if self.travelled_s.is_some_and(|last| t_s - last > SECTION_PAUSE_S) {
            self.begin_section(t_s);
        }
        let now = self.motion.now();
        if now.strokes != self.strokes_seen {
            self.strokes_seen = now.strokes;
            let passes = self.motion.preview(&self.motor.cuts_s, self.setup.stroke_length_m);
            let last = passes.last();
            self.passes_in_stretch = passes.len() as u32;
            self.strokes_in_pass = last.map_or(0, |p| p.strokes.len() as u32);
            self.last_stroke = last.and_then(|p| p.strokes.last()).map(|s| s.traverse.interval());
            let heading = self.section_heading.or(passes.first().map(|p| p.axis[1].atan2(p.axis[0])));
            self.last_place = last.and_then(|p| place_of(p, heading));
        }
        let working = now.mode != Mode::Rest && self.motor.off_ticks == 0;
        let state = state_of(on, working);
        if state == State::Working {
            self.travelled_s = Some(t_s);
        }
        let arm_mps = self.arm_mps(t_s, state);
        let earlier_passes = self.passes_in_section + self.passes_in_stretch.saturating_sub(1);
        let (surface, settled) = self.surface.tick(t_s * 1e6, heat::Motion { state, arm_mps, earlier_passes });
        let spin = tick.spin_hz;
        let pad_speed = tick.rate_hz.and_then(|r| pad_speed_mps(&self.setup.machine, r.value, spin));
        self.live.push_back(LiveTick {
            t_s,
            state,
            orbit_opm: tick.rate_hz.map(per_minute),
            pad_speed_mps: pad_speed,
            pad_spin_hz: spin,
            spin_lost: tick.spin_lost,
            traverse_mps: (state == State::Working).then(|| now.speed_mps.map(running_estimate)).flatten(),
            last_stroke_mps: self.last_stroke,
            last_stroke_place: self.last_place,
            strokes: self.strokes_in_pass,
            surface_c: surface.surface_c,
            surface_rise_k: surface.rise_k,
            rise_in_10s_k: surface.rise_in_10s_k,
            hot_side_rise_k: surface.hot_side_rise_k,
            cool_in_s: surface.cool_in_s,
            ambient_c: surface.ambient_c,
            vibration_mps2: tick.vibration_mps2,
            silent_s: (t_s - self.last_sample_us * 1e-6).max(0.0),
        });
        let row = SeriesRow { t_s, vibration_mps2: tick.vibration_mps2, ..SeriesRow::default() };
        self.waiting.push_back(Waiting {
            index: tick.index,
            orbit: OrbitTick { index: tick.index, ..OrbitTick::default() },
            row,
            start_c: None,
        });
        if let Some(settled) = settled {
            self.fill_surface(settled);
        }
        self.decide(t_s, now.mode, now.since_s, now.strokes);
    }

    /// Arm speed, as well as it can be told now.
    ///
    /// A finished stroke says it best, but is known only seconds after its end. Until then: whoever comes to the end of the
    /// first stroke has taken the time since the motor started for it, less what it took to set off.
    fn arm_mps(&mut self, t_s: f64, state: State) -> Option<Measured> {
        /// From switching on to the first movement, and for the first turn, s.
        const SET_OFF_S: f64 = 3.0;
        /// A stroke shorter than this is not one, s.
        const SHORTEST_S: f64 = 4.0;
        /// Travel of one stroke across a usual section (0.4-0.6 m square, common practice) less the pad, m.
        const USUAL_STROKE_M: f64 = 0.35;
        self.running_since_s = match state {
            State::Still => None,
            State::Running | State::Working => self.running_since_s.or(Some(t_s)),
        };
        if let Some(stroke) = self.last_stroke {
            return Some(Measured { value: stroke.value, sd: (stroke.hi - stroke.lo) / (2.0 * Z90) });
        }
        let took_s = t_s - self.running_since_s? - SET_OFF_S;
        let (length_m, rel_sd) = match self.setup.stroke_length_m {
            Some(length) => (length, 0.2),
            None => (USUAL_STROKE_M, 0.35),
        };
        let arm_mps = length_m / took_s;
        (took_s > SHORTEST_S).then_some(Measured { value: arm_mps, sd: rel_sd * arm_mps })
    }

    /// Settles the stretch of work when it has come to an end.
    fn decide(&mut self, t_s: f64, mode: Mode, since_s: f64, strokes: u32) {
        let off_s = self.motor.off_ticks as f64 * TICK_US * 1e-6;
        let off = off_s >= motion::MEASURED_S;
        let just_off = off && off_s < motion::MEASURED_S + TICK_US * 1e-6;
        let marked = self.settle_at_s.is_some_and(|at| t_s >= at);
        let rested = mode == Mode::Rest && strokes > 0 && t_s - since_s > REST_S;
        let too_long = self.motion.kept_s() >= motion::LONGEST_S;
        if just_off || marked || rested || too_long {
            self.settle(false);
            self.motion.begin_anew();
            self.begin_stretch();
            self.settle_at_s = None;
            self.release(t_s - ROW_HINDSIGHT_S);
        } else if off || self.motion.kept_s() == 0.0 {
            if self.motion.kept_s() > 10.0 {
                self.motion.begin_anew();
            }
            self.release(t_s - ROW_HINDSIGHT_S);
        } else if mode == Mode::Rest && strokes == 0 && self.motion.kept_s() > IDLE_S {
            self.motion.begin_anew();
            self.release(t_s - ROW_HINDSIGHT_S);
        }
    }

    /// Works out the passes of the current stretch and hands them out.
    fn settle(&mut self, at_end: bool) {
        if at_end {
            self.orbit.flush();
            while let Some(tick) = self.orbit.pop_settled() {
                self.settled_orbit.push_back(tick);
            }
            while let Some(settled) = self.surface.settle() {
                self.fill_surface(settled);
            }
        }
        self.fill_orbit();
        let motor = &self.motor;
        let passes = self.motion.settle(&motor.cuts_s, self.setup.stroke_length_m, at_end, &|t| motor.ran_at(t));
        for pass in passes {
            self.hand_out(&pass);
        }
        self.motor.cuts_s.clear();
    }

    /// Puts settled orbit figures into the waiting rows.
    fn fill_orbit(&mut self) {
        let Some(first) = self.waiting.front().map(|w| w.index) else { return };
        while let Some(&tick) = self.settled_orbit.front() {
            let at = usize::try_from(tick.index - first);
            if let Ok(at) = at {
                // Indices may skip after an interruption; look from the place it would have without.
                let from = at.min(self.waiting.len().saturating_sub(1));
                let Some(place) = (0..=from).rev().find(|i| self.waiting[*i].index <= tick.index) else { break };
                if tick.index > self.waiting[self.waiting.len() - 1].index {
                    break;
                }
                if self.waiting[place].index == tick.index {
                    self.waiting[place].orbit = tick;
                }
            }
            self.settled_orbit.pop_front();
        }
        let machine = self.setup.machine;
        let measurable = self.orbit.is_measurable().unwrap_or(false);
        for w in &mut self.waiting {
            let rate = w.orbit.rate_hz;
            let spin = w.orbit.spin_hz;
            w.row.orbit_opm = rate.map(per_minute);
            w.row.pad_spin_hz = spin;
            w.row.pad_speed_mps = rate.and_then(|r| pad_speed_mps(&machine, r.value, spin));
            if w.row.state != State::Working {
                let on =
                    measurable.then(|| rate.is_some() || w.row.vibration_mps2.is_some_and(|v| v > MOTOR_VIBRATION));
                w.row.state = state_of(on, false);
            }
        }
    }

    /// Puts a settled surface figure into its waiting row.
    fn fill_surface(&mut self, settled: SurfaceSettled) {
        let index = (settled.t_us / TICK_US).round() as i64;
        let at = self.waiting.partition_point(|w| w.index < index);
        if let Some(w) = self.waiting.get_mut(at).filter(|w| w.index == index) {
            w.row.surface_c = settled.surface_c;
            w.row.surface_rise_k = settled.rise_k;
            w.row.ambient_c = settled.ambient_c;
            w.start_c = settled.start_c;
        }
    }

    fn hand_out(&mut self, pass: &SettledPass) {
        let (Some(first), Some(last)) = (pass.strokes.first(), pass.strokes.last()) else { return };
        let (start_s, end_s) = (first.start_s, last.end_s);
        let marked = self.section_marks_s.iter().any(|m| *m <= start_s && *m >= self.last_work_s - 1.0);
        if self.section == 0 || marked || start_s - self.last_work_s > SECTION_PAUSE_S {
            self.section += 1;
            self.section_heading = None;
        }
        self.section_marks_s.retain(|m| *m > start_s);
        self.last_work_s = end_s;
        self.pass_count += 1;
        // Passes from before a mark are settled after it.
        self.passes_in_section += u32::from(start_s >= self.section_begun_s);
        let heading = pass.axis[1].atan2(pass.axis[0]);
        let section_heading = *self.section_heading.get_or_insert(heading);
        let rises: Vec<Option<f64>> = pass
            .strokes
            .iter()
            .map(|s| {
                mean_of(&self.rows_between(s.start_s, s.end_s).filter_map(|w| w.row.surface_rise_k).collect::<Vec<_>>())
            })
            .collect();
        let trails = heat::trailing(&rises);
        for (n, s) in pass.strokes.iter().enumerate() {
            let interval = s.traverse.interval();
            let measured = Measured { value: interval.value, sd: interval.value * s.traverse.spread };
            let (mut orbit, mut surface) = (Vec::new(), Vec::new());
            for w in self.rows_between(s.start_s, s.end_s) {
                w.row.traverse_mps = Some(measured);
                orbit.extend(w.row.orbit_opm.map(|m| m.value));
                surface.extend(w.row.surface_c);
            }
            let mid_s = 0.5 * (s.start_s + s.end_s);
            let travel = s.direction[1].atan2(s.direction[0]);
            self.findings.push_back(Finding::Stroke(Stroke {
                pass: self.pass_count,
                stroke: n as u32 + 1,
                start_s: s.start_s,
                end_s: s.end_s,
                direction_deg: Some(degrees(travel - section_heading)),
                machine_deg: self.motion.heading_at(mid_s).map(|h| degrees(travel - h)),
                length_m: Some(s.traverse.length_m),
                traverse_mps: Some(interval),
                orbit_opm: quantile(&mut orbit, 0.5),
                surface_c: mean_of(&surface),
                spot_trails: trails.get(n).copied().flatten(),
            }));
        }
        let (mut orbit, mut pad, mut rise, mut surface, mut start, mut power) =
            (vec![], vec![], vec![], vec![], None, vec![]);
        for w in self.rows_between(start_s, end_s) {
            w.row.state = State::Working;
            orbit.extend(w.row.orbit_opm.map(|m| m.value));
            pad.extend(w.row.pad_speed_mps);
            rise.extend(w.row.surface_rise_k);
            surface.extend(w.row.surface_c);
            start = start.or(w.start_c);
            power.extend(w.row.vibration_mps2.map(|v| v * v));
        }
        let free: Vec<f64> =
            self.rows_between(start_s - 1.5, start_s - 0.3).filter_map(|w| w.row.orbit_opm.map(|m| m.value)).collect();
        let (mut points, track_sd_m) = track::lay(pass, heading - section_heading);
        for p in &mut points {
            p.pad_speed_mps = self.row_at(p.t_s).and_then(|r| r.pad_speed_mps);
        }
        let speeds: Vec<f64> = pass.strokes.iter().map(|s| s.traverse.speed_mps).collect();
        let peak = |v: &[f64]| v.iter().copied().reduce(f64::max);
        self.findings.push_back(Finding::Pass(Box::new(Pass {
            pass: self.pass_count,
            section: self.section,
            start_s,
            end_s,
            direction_deg: Some(degrees(heading - section_heading)),
            strokes: pass.strokes.len() as u32,
            traverse_mean_mps: Some(pass.mean_mps),
            traverse_cv: variation(&speeds),
            orbit_median_opm: quantile(&mut orbit, 0.5),
            orbit_p05_opm: quantile(&mut orbit, 0.05),
            orbit_p95_opm: quantile(&mut orbit, 0.95),
            orbit_free_opm: quantile(&mut free.clone(), 0.5),
            pad_speed_mean_mps: mean_of(&pad),
            surface_start_c: start,
            surface_peak_c: peak(&surface),
            surface_rise_k: peak(&rise),
            vibration_mps2: mean_of(&power).map(f64::sqrt),
            track: points,
            track_sd_m: Some(track_sd_m),
        })));
    }

    fn rows_between(&mut self, from_s: f64, to_s: f64) -> impl Iterator<Item = &mut Waiting> {
        let (a, b) =
            (self.waiting.partition_point(|w| w.row.t_s < from_s), self.waiting.partition_point(|w| w.row.t_s <= to_s));
        self.waiting.range_mut(a..b.max(a))
    }

    fn row_at(&self, t_s: f64) -> Option<SeriesRow> {
        let i = self.waiting.partition_point(|w| w.row.t_s + 0.5e-6 * TICK_US < t_s);
        self.waiting.get(i).map(|w| w.row)
    }

    /// Hands out the rows before a time.
    fn release(&mut self, before_s: f64) {
        self.fill_orbit();
        while self.waiting.front().is_some_and(|w| w.row.t_s < before_s) {
            if let Some(w) = self.waiting.pop_front() {
                self.findings.push_back(Finding::Row(w.row));
            }
        }
    }
}

fn usable_spacing(run: &Run<'_>) -> Option<f64> {
    let plausible = run.first_us.is_finite()
        && run.first_us.abs() < 1e15
        && run.spacing_us.is_finite()
        && (1.0..1e7).contains(&run.spacing_us);
    plausible.then_some(run.spacing_us)
}

/// Where the pass's last stroke lay; `heading` is that of the section's first stroke, rad.
fn place_of(pass: &SettledPass, heading: Option<f64>) -> Option<StrokePlace> {
    let last = pass.strokes.last()?;
    let steps = pass.strokes.windows(2).map(|pair| pair[1].sideways_mps * (pair[1].start_s - pair[0].end_s));
    let direction = last.direction[1].atan2(last.direction[0]);
    Some(StrokePlace {
        length_m: last.traverse.length_m,
        across_m: steps.sum(),
        direction_deg: heading.map(|heading| degrees(direction - heading)),
    })
}

fn state_of(motor_on: Option<bool>, working: bool) -> State {
    match (working, motor_on) {
        (true, _) => State::Working,
        (false, Some(true)) => State::Running,
        (false, _) => State::Still,
    }
}

fn per_minute(hz: Measured) -> Measured {
    Measured { value: hz.value * 60.0, sd: hz.sd * 60.0 }
}

/// The current stroke as its start alone tells it.
fn running_estimate(speed_mps: f64) -> Interval {
    let spread = (STEP_SD_MPS / speed_mps).hypot(1.5 * UNEVEN);
    let k = (Z90 * spread).exp();
    Interval { lo: speed_mps / k, value: speed_mps, hi: speed_mps * k }
}

/// Degrees from -180 to 180.
fn degrees(radians: f64) -> f64 {
    let d = radians.to_degrees().rem_euclid(360.0);
    if d > 180.0 { d - 360.0 } else { d }
}

fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let at = ((values.len() - 1) as f64 * q).round() as usize;
    Some(*values.select_nth_unstable_by(at, f64::total_cmp).1)
}

fn mean_of(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn variation(values: &[f64]) -> Option<f64> {
    let mean = mean_of(values)?;
    let n = values.len();
    (n >= 2).then(|| (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt() / mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    // Whole microseconds between samples, so that a sample's time is the same number however runs are cut.
    const RATE_HZ: f64 = 1e6 / 600.0;
    const GYRO_HZ: f64 = 1e6 / 4800.0;

    /// A short day: motor on at 2 s, two passes at right angles, motor off two seconds after.
    struct Day {
        accel: Vec<[f32; 3]>,
        gyro: Vec<[f32; 3]>,
        strokes: Vec<(f64, f64)>,
        passes: Vec<(f64, f64)>,
        speed: f64,
    }

    fn day(seed: u64) -> Day {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let speed = rng.random_range(0.025..0.07);
        let length = rng.random_range(0.35..0.55);
        let sideways = rng.random_range(0.03..0.07);
        let (mut events, mut strokes, mut passes) = (Vec::<(f64, [f64; 2])>::new(), Vec::new(), Vec::new());
        let (mut t, mut way) = (4.0, 1.0);
        for pass in 0..2 {
            let turned = |v: [f64; 2]| if pass == 0 { v } else { [v[1], v[0]] };
            let start = t;
            for n in 0..4 {
                let time = length / speed * rng.random_range(0.93..1.07);
                let aside = |there: bool| if there { sideways } else { 0.0 };
                events.push((t, turned([way * speed, -aside(n > 0)])));
                events.push((t + time, turned([-way * speed, aside(n < 3)])));
                strokes.push((t, t + time));
                t += time + 1.0;
                way = -way;
            }
            passes.push((start, t - 1.0));
            t += 1.0;
        }
        let off = t + 1.0;
        let end = off + 3.0;
        let gauss = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
        let width = 0.1_f64;
        let tau = core::f64::consts::TAU;
        // A hand that tips the tool by half a degree, slowly.
        let tip = |t: f64| [0.009 * (tau * 0.31 * t).sin(), 0.008 * (tau * 0.23 * t + 1.0).sin()];
        let tip_rate =
            |t: f64| [0.009 * tau * 0.31 * (tau * 0.31 * t).cos(), 0.008 * tau * 0.23 * (tau * 0.23 * t + 1.0).cos()];
        let accel = (0..(end * RATE_HZ) as usize)
            .map(|i| {
                let t = i as f64 / RATE_HZ;
                let mut a = [0.0, 0.0];
                let near = events.partition_point(|e| e.0 < t - 6.0 * width);
                for (at, step) in events[near..].iter().take_while(|e| e.0 < t + 6.0 * width) {
                    let g = (-0.5 * ((t - at) / width).powi(2)).exp() / (width * tau.sqrt());
                    a[0] += step[0] * g;
                    a[1] += step[1] * g;
                }
                let on = if t > 2.0 && t < off { 12.0 } else { 0.0 };
                let (s, c) = (tau * 63.0 * t).sin_cos();
                let [x, y] = tip(t);
                [
                    (a[0] - 9.81 * y.sin() + on * c + 0.05 * gauss(&mut rng) + 0.1) as f32,
                    (a[1] + 9.81 * x.sin() + 0.8 * on * s + 0.05 * gauss(&mut rng) - 0.1) as f32,
                    (9.81 * x.cos() * y.cos() + 0.3 * on * c + 0.05 * gauss(&mut rng)) as f32,
                ]
            })
            .collect();
        let gyro = (0..(end * GYRO_HZ) as usize)
            .map(|i| {
                let [x, y] = tip_rate(i as f64 / GYRO_HZ);
                [x + 0.01, y - 0.012, 0.005].map(|w| (w + 0.0007 * gauss(&mut rng)) as f32)
            })
            .collect();
        Day { accel, gyro, strokes, passes, speed }
    }

    /// Plays a day in runs of the given lengths.
    fn play(day: &Day, with_gyro: bool, accel_run: usize, gyro_run: usize) -> (Vec<LiveTick>, Vec<Finding>) {
        let mut pipeline = Pipeline::new(Setup::default());
        let (da, dg) = (600.0, 4800.0);
        let run = |first: usize, spacing_us: f64, samples| Run {
            first_us: first as f64 * spacing_us,
            spacing_us,
            lost_before: 0,
            clipped: 0,
            samples,
        };
        let mut g = 0;
        let (mut live, mut findings) = (Vec::new(), Vec::new());
        for (n, samples) in day.accel.chunks(accel_run).enumerate() {
            pipeline.push(Reading::Accel(run(n * accel_run, da, samples)));
            let until = ((n + 1) * accel_run) as f64 * da;
            while with_gyro && g < day.gyro.len() && (g + gyro_run) as f64 * dg < until {
                let to = (g + gyro_run).min(day.gyro.len());
                pipeline.push(Reading::Gyro(run(g, dg, &day.gyro[g..to])));
                g = to;
            }
            live.extend(core::iter::from_fn(|| pipeline.pop_live()));
            findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
        }
        if with_gyro {
            pipeline.push(Reading::Gyro(run(g, dg, &day.gyro[g..])));
        }
        pipeline.finish();
        live.extend(core::iter::from_fn(|| pipeline.pop_live()));
        findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
        (live, findings)
    }

    #[test]
    fn two_passes_at_right_angles_are_found_with_their_strokes() {
        for seed in 0..6 {
            let day = day(seed);
            let (_, findings) = play(&day, true, 32, 8);
            let strokes: Vec<Stroke> =
                findings.iter().filter_map(|f| if let Finding::Stroke(s) = f { Some(*s) } else { None }).collect();
            let passes: Vec<&Pass> =
                findings.iter().filter_map(|f| if let Finding::Pass(p) = f { Some(&**p) } else { None }).collect();
            assert_eq!(strokes.len(), day.strokes.len(), "seed {seed}");
            for (found, truth) in strokes.iter().zip(&day.strokes) {
                assert!((found.start_s - truth.0).abs() < 0.1 && (found.end_s - truth.1).abs() < 0.1, "seed {seed}");
                let i = found.traverse_mps.expect("estimated");
                assert!((i.value / day.speed - 1.0).abs() < 0.15, "seed {seed}: {} for {}", i.value, day.speed);
            }
            assert_eq!(passes.len(), 2, "seed {seed}");
            for (found, truth) in passes.iter().zip(&day.passes) {
                assert!((found.start_s - truth.0).abs() < 0.1 && (found.end_s - truth.1).abs() < 0.1, "seed {seed}");
                assert_eq!((found.strokes, found.section), (4, 1));
                let wide = found.track.iter().map(|p| p.x_m.abs().max(p.y_m.abs())).fold(0.0, f64::max);
                assert!((0.1..0.4).contains(&wide), "seed {seed}: the track reaches {wide} m from the middle");
            }
            let across = passes[1].direction_deg.expect("known").abs();
            assert!((across - 90.0).abs() < 12.0, "seed {seed}: {across}°");
        }
    }

    #[test]
    fn portions_and_interleaving_change_nothing() {
        let day = day(3);
        let (live, findings) = play(&day, true, 32, 8);
        for (accel_run, gyro_run) in [(1, 1), (500, 32), (33, 100)] {
            let (l, f) = play(&day, true, accel_run, gyro_run);
            assert_eq!(f.len(), findings.len());
            for (a, b) in f.iter().zip(&findings) {
                assert_eq!(a, b, "runs of {accel_run} and {gyro_run}");
            }
            assert_eq!(l.len(), live.len());
            for (a, b) in l.iter().zip(&live) {
                // How long ago the last sample came depends on what has come.
                assert_eq!(LiveTick { silent_s: 0.0, ..*a }, LiveTick { silent_s: 0.0, ..*b });
            }
        }
    }

    #[test]
    fn without_a_gyro_the_arm_stays_blank_and_the_orbit_does_not() {
        let day = day(1);
        let (live, findings) = play(&day, false, 32, 8);
        let rows: Vec<SeriesRow> =
            findings.iter().filter_map(|f| if let Finding::Row(r) = f { Some(*r) } else { None }).collect();
        assert_eq!(rows.len(), findings.len(), "no strokes, no passes");
        assert!(rows[60..200].iter().all(|r| r.orbit_opm.is_some_and(|o| (o.value / 3780.0 - 1.0).abs() < 1e-3)));
        assert!(live.iter().all(|l| l.traverse_mps.is_none()));
    }

    #[test]
    fn every_tenth_of_a_second_gets_one_row_in_order() {
        let (live, findings) = play(&day(2), true, 32, 8);
        let times: Vec<f64> =
            findings.iter().filter_map(|f| if let Finding::Row(r) = f { Some(r.t_s) } else { None }).collect();
        assert_eq!(times.len(), live.len());
        for (i, t) in times.iter().enumerate() {
            assert!((t - 0.1 * i as f64).abs() < 1e-6, "row {i} at {t}");
        }
    }

    #[test]
    fn outside_data_never_panics() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for _ in 0..60 {
            let mut pipeline = Pipeline::new(Setup { stroke_length_m: Some(f64::NAN), ..Setup::default() });
            let mut t_us: f64 = 0.0;
            for _ in 0..60 {
                let wild = [0.0, 1.0, -1.0, 9.81, 1e30, f32::NAN, f32::INFINITY, f32::MIN];
                let samples: Vec<[f32; 3]> = (0..rng.random_range(0..400))
                    .map(|_| core::array::from_fn(|_| wild[rng.random_range(0..wild.len())]))
                    .collect();
                let spacing_us = [600.0, 4800.0, 0.0, -5.0, f64::NAN, 20_000.0, 1e9][rng.random_range(0..7)];
                let run = Run { first_us: t_us, spacing_us, lost_before: 3, clipped: 1, samples: &samples };
                pipeline.push(match rng.random_range(0..8) {
                    0..3 => Reading::Accel(run),
                    3..6 => Reading::Gyro(run),
                    6 => Reading::Mark { t_us },
                    _ => Reading::Break { from_us: t_us, to_us: t_us + 1e6 },
                });
                t_us += [1e3, 2e5, 1e6, -1e6, 1e10, f64::NAN][rng.random_range(0..6)];
                if !t_us.is_finite() {
                    t_us = 0.0;
                }
            }
            pipeline.finish();
        }
    }
}
