//! Orbit rate (a rotary's speed): how often the pad goes round, ten times a second, with its uncertainty.
//!
//! # Data flow
//!
//! ```text
//! accelerometer ─► (averaged down to about 1.7 kHz) ─┬─► CombSearch: is a machine running, and at what rate?
//!                                                    └─► demodulation by whole revolutions ─► phases ─► rate by least squares
//! ```
//!
//! # How
//!
//! Once the comb search has found a rotation, all three axes are mixed down with an oscillator near its rate and summed
//! over whole revolutions. Whole revolutions make the sums blind to gravity and to every harmonic. From one sum to the next
//! the phase advance is taken over all axes together (weights by power come by themselves). The slope of a straight line
//! through the phases of a short window is the rate: for a steady tone and good signal this is the efficient estimator
//! (Tretter, IEEE Trans. Inf. Theory 31 (1985) 832; from memory), checked against the Cramér-Rao bound in the tests.
//! The scatter about the line gives the standard deviation; it includes what the rate really did inside the window.
//!
//! Live figures look back over the window, settled ones look [`HINDSIGHT_S`] ahead, too, and are centred.

use super::comb::{CombSearch, MAX_HZ, MIN_HZ};
use super::findings::Measured;
use super::spin::SpinWatch;
use std::collections::VecDeque;

/// Time between estimates, µs.
pub(super) const TICK_US: f64 = 100_000.0;
/// Longer silences than this get no ticks, µs.
const SKIP_US: f64 = 60e6;
/// How far settled estimates lag behind the stream, s.
pub(super) const HINDSIGHT_S: f64 = 2.2;

/// Rate the stream is averaged down to, Hz, at least.
const WORK_RATE_HZ: f64 = 1500.0;
/// Slowest stream in which the fastest orbit cannot fold, Hz.
const MIN_RATE_HZ: f64 = 300.0;
/// Shortest and longest revolution sums, s: short follows a jump in rate, long averages noise.
const SEGMENT_S: f64 = 0.022;
/// Window of the straight-line fit: at least this long, s, ...
const WINDOW_S: f64 = 0.28;
/// ... and at least this many sums.
const WINDOW_SEGMENTS: f64 = 7.0;
/// A tick this far beyond the first or last sum still gets a rate, µs.
const REACH_US: f64 = 40_000.0;
/// Time constant of the mean that is taken off before mixing, s.
const MEAN_S: f64 = 0.25;
/// Time between searches while no machine is known to run, and while one is being followed, s.
const SEARCH_IDLE_S: f64 = 0.2;
const SEARCH_LOCKED_S: f64 = 1.0;
/// A line that has sunk below this share of its recent amplitude is gone.
const GONE_SHARE: f64 = 0.25;
/// Time constant of "recent", s.
const RECENT_S: f64 = 1.5;
/// Least amplitude followed, m/s².
const MIN_AMPLITUDE: f64 = 0.25;

/// One whole-revolution sum.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    /// Middle, µs.
    pub(super) mid_us: f64,
    /// Phase, cycles, unwrapped from one to the next.
    cycles: f64,
    /// Amplitude, m/s², root-sum-square over the axes.
    pub(super) amplitude: f64,
    /// Length, µs.
    long_us: f64,
    /// Which lock it belongs to; phases of different locks have nothing in common.
    chain: u32,
}

/// What is known at one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct OrbitTick {
    /// Tick number; its time is `index · 0.1 s`.
    pub(super) index: i64,
    /// Rate, Hz.
    pub(super) rate_hz: Option<Measured>,
    /// Pad spin, Hz, where its beat shows in the amplitude.
    pub(super) spin_hz: Option<f64>,
    /// Spin was seen in this run of the motor and is seen no more.
    pub(super) spin_lost: bool,
    /// Root-mean-square of the acceleration's changing part over three axes during the last 0.1 s, m/s².
    pub(super) vibration_mps2: Option<f64>,
}

/// Per axis: what is in phase with the oscillator, and what is a quarter turn off.
type Sums = [(f32, f32); 3];

struct Lock {
    /// Oscillator, Hz.
    hz: f64,
    /// Oscillator's phase at the segment's start, cycles, and advance per sample.
    start_cycles: f64,
    start_us: f64,
    turns: f64,
    /// Running phasor and its step.
    phasor: (f32, f32),
    step: (f32, f32),
    sum: Sums,
    count: u32,
    wanted: u32,
    power: f32,
    /// The segment before: its sums and the oscillator's phase in its middle.
    before: Option<(Sums, f64, f64)>,
    cycles: f64,
    recent_amplitude: f64,
    bad: u32,
    chain: u32,
    disagree: u32,
    missed: u32,
}

/// Follows the rotation of one machine.
pub(super) struct Orbit {
    /// Spacing of the incoming stream, µs; zero before the first sample.
    spacing_us: f64,
    /// Incoming samples averaged into one working sample.
    every: u32,
    partial: [f32; 3],
    partial_count: u32,
    work_us: f64,
    search: Option<CombSearch>,
    /// Latest working samples, as a ring.
    ring: Vec<[f32; 3]>,
    head: usize,
    filled: usize,
    last_us: f64,
    mean: [f32; 3],
    mean_gain: f32,
    next_search_us: f64,
    lock: Option<Lock>,
    segments: VecDeque<Segment>,
    chains: u32,
    /// Smoothed variance of phases about the line, cycles².
    scatter: f64,
    spin: SpinWatch,
    power_sum: f64,
    power_count: u32,
    vibration: VecDeque<(i64, f64)>,
    next_live: i64,
    next_settled: i64,
    live: VecDeque<OrbitTick>,
    settled: VecDeque<OrbitTick>,
}

impl Orbit {
    pub(super) fn new() -> Self {
        Self {
            spacing_us: 0.0,
            every: 1,
            partial: [0.0; 3],
            partial_count: 0,
            work_us: 0.0,
            search: None,
            ring: Vec::new(),
            head: 0,
            filled: 0,
            last_us: f64::NEG_INFINITY,
            mean: [0.0; 3],
            mean_gain: 1.0,
            next_search_us: 0.0,
            lock: None,
            segments: VecDeque::new(),
            chains: 0,
            scatter: 0.0,
            spin: SpinWatch::new(),
            power_sum: 0.0,
            power_count: 0,
            vibration: VecDeque::new(),
            next_live: 0,
            next_settled: 0,
            live: VecDeque::new(),
            settled: VecDeque::new(),
        }
    }

    /// Whether this stream is fast enough to see an orbit at all; `None` before the first sample.
    pub(super) fn is_measurable(&self) -> Option<bool> {
        (self.spacing_us > 0.0).then_some(self.search.is_some())
    }

    /// Next live estimate, once the stream has passed its tick.
    pub(super) fn pop_live(&mut self) -> Option<OrbitTick> {
        self.live.pop_front()
    }

    /// Next settled estimate.
    pub(super) fn pop_settled(&mut self) -> Option<OrbitTick> {
        self.settled.pop_front()
    }

    /// Nothing before continues across: forgets the machine. Ticks go on from `resume_us`.
    pub(super) fn interrupt(&mut self, resume_us: f64) {
        self.flush();
        self.unlock();
        self.filled = 0;
        self.partial_count = 0;
        self.partial = [0.0; 3];
        self.power_sum = 0.0;
        self.power_count = 0;
        self.mean_gain = 1.0;
        self.last_us = f64::NEG_INFINITY;
        let next = (resume_us / TICK_US).ceil() as i64;
        self.next_live = self.next_live.max(next);
        self.next_settled = self.next_settled.max(next);
    }

    /// Hands out the estimates that were waiting for hindsight.
    pub(super) fn flush(&mut self) {
        while self.next_settled < self.next_live {
            self.settle_next();
        }
    }

    /// Takes one sample (m/s²); times rise.
    #[inline]
    pub(super) fn push(&mut self, t_us: f64, spacing_us: f64, sample: [f32; 3]) {
        if (spacing_us - self.spacing_us).abs() > 0.1 * self.spacing_us {
            self.tune(spacing_us);
        }
        if !(sample[0].is_finite() && sample[1].is_finite() && sample[2].is_finite()) {
            return;
        }
        if self.every == 1 {
            self.work(t_us, sample);
            return;
        }
        for (p, s) in self.partial.iter_mut().zip(sample) {
            *p += s;
        }
        self.partial_count += 1;
        if self.partial_count == self.every {
            let k = 1.0 / self.every as f32;
            let mid_us = t_us - 0.5 * f64::from(self.every - 1) * spacing_us;
            let mean = self.partial.map(|p| p * k);
            self.partial = [0.0; 3];
            self.partial_count = 0;
            self.work(mid_us, mean);
        }
    }

    /// Sets up for a new sample rate.
    fn tune(&mut self, spacing_us: f64) {
        self.unlock();
        self.spacing_us = spacing_us;
        let rate_hz = 1e6 / spacing_us;
        self.every = ((rate_hz / WORK_RATE_HZ) as u32).max(1);
        self.work_us = spacing_us * f64::from(self.every);
        self.partial = [0.0; 3];
        self.partial_count = 0;
        self.search = (rate_hz >= MIN_RATE_HZ).then(|| CombSearch::new(1e6 / self.work_us));
        self.ring = vec![[0.0; 3]; self.search.as_ref().map_or(0, CombSearch::len)];
        self.head = 0;
        self.filled = 0;
        self.mean_gain = 1.0;
    }

    #[inline]
    fn work(&mut self, t_us: f64, sample: [f32; 3]) {
        if t_us - self.last_us > 5.0 * self.work_us {
            // A hole: phases cannot be carried across.
            self.unlock();
            self.filled = 0;
            self.mean_gain = 1.0;
        }
        if t_us - self.last_us.max(self.next_live as f64 * TICK_US) > SKIP_US {
            self.interrupt(t_us);
        }
        while t_us >= self.next_live as f64 * TICK_US {
            self.tick(t_us);
        }
        self.last_us = t_us;
        // A cumulative mean at first, then an exponential one.
        let least = (self.work_us / (MEAN_S * 1e6)) as f32;
        for (m, s) in self.mean.iter_mut().zip(sample) {
            *m += self.mean_gain * (s - *m);
        }
        self.mean_gain = (self.mean_gain / (1.0 + self.mean_gain)).max(least);
        let x = [sample[0] - self.mean[0], sample[1] - self.mean[1], sample[2] - self.mean[2]];
        self.power_sum += f64::from(x[0] * x[0] + x[1] * x[1] + x[2] * x[2]);
        self.power_count += 1;
        if self.ring.is_empty() {
            return;
        }
        self.ring[self.head] = x;
        self.head = (self.head + 1) % self.ring.len();
        self.filled = (self.filled + 1).min(self.ring.len());
        if self.lock.is_some() {
            self.follow(t_us, x);
        }
        if t_us >= self.next_search_us && self.filled == self.ring.len() {
            self.look(t_us);
        }
    }

    fn look(&mut self, t_us: f64) {
        let pause_s = if self.lock.is_some() { SEARCH_LOCKED_S } else { SEARCH_IDLE_S };
        self.next_search_us = t_us + pause_s * 1e6;
        let Some(search) = &mut self.search else { return };
        let (newer, older) = self.ring.split_at(self.head);
        let found = search.search(older.iter().chain(newer).copied());
        let Some(lock) = &mut self.lock else {
            if let Some(found) = found {
                self.start(t_us, found.hz);
            }
            return;
        };
        match found {
            None => {
                lock.missed += 1;
                if lock.missed >= 3 {
                    self.unlock();
                }
            }
            Some(found) => {
                lock.missed = 0;
                if (found.hz / lock.hz - 1.0).abs() < 0.1 {
                    lock.disagree = 0;
                } else {
                    lock.disagree += 1;
                    if lock.disagree >= 2 {
                        self.unlock();
                        self.start(t_us, found.hz);
                    } else {
                        self.next_search_us = t_us + 0.3e6;
                    }
                }
            }
        }
    }

    /// Begins to follow a rotation, from the middle of the samples it was found in.
    fn start(&mut self, t_us: f64, hz: f64) {
        self.chains += 1;
        self.spin.restart();
        self.scatter = 0.0;
        let replay = self.ring.len() * 3 / 4;
        let first_us = t_us - (replay - 1) as f64 * self.work_us;
        let mut lock = Lock {
            hz,
            start_cycles: 0.0,
            start_us: first_us,
            turns: 1.0,
            phasor: (1.0, 0.0),
            step: (1.0, 0.0),
            sum: [(0.0, 0.0); 3],
            count: 0,
            wanted: 1,
            power: 0.0,
            before: None,
            cycles: 0.0,
            recent_amplitude: 0.0,
            bad: 0,
            chain: self.chains,
            disagree: 0,
            missed: 0,
        };
        lock.begin(first_us, self.work_us);
        self.lock = Some(lock);
        for i in 0..replay {
            let at = (self.head + self.ring.len() - replay + i) % self.ring.len();
            let x = self.ring[at];
            self.follow(first_us + i as f64 * self.work_us, x);
        }
    }

    fn unlock(&mut self) {
        if self.lock.take().is_some() {
            self.spin.restart();
        }
    }

    #[inline]
    fn follow(&mut self, t_us: f64, x: [f32; 3]) {
        let Some(lock) = &mut self.lock else { return };
        let (c, s) = lock.phasor;
        for (sum, v) in lock.sum.iter_mut().zip(x) {
            sum.0 += v * c;
            sum.1 -= v * s;
        }
        lock.power += x[0] * x[0] + x[1] * x[1] + x[2] * x[2];
        lock.phasor = (c * lock.step.0 - s * lock.step.1, c * lock.step.1 + s * lock.step.0);
        lock.count += 1;
        if lock.count < lock.wanted {
            return;
        }
        let verdict = lock.close(t_us, self.work_us);
        match verdict {
            Some(segment) => {
                self.spin.push(segment.mid_us, segment.amplitude);
                self.segments.push_back(segment);
                let horizon = segment.mid_us - (HINDSIGHT_S + 1.5) * 1e6;
                while self.segments.front().is_some_and(|s| s.mid_us < horizon) {
                    self.segments.pop_front();
                }
            }
            None => self.unlock(),
        }
    }

    fn tick(&mut self, t_us: f64) {
        let index = self.next_live;
        self.next_live += 1;
        let tick_us = index as f64 * TICK_US;
        // After a hole ticks pass without samples: nothing is known for them.
        let fresh = t_us - self.last_us < 5.0 * self.work_us;
        let vibration = (self.power_count > 0 && fresh).then(|| (self.power_sum / f64::from(self.power_count)).sqrt());
        self.power_sum = 0.0;
        self.power_count = 0;
        if let Some(v) = vibration {
            self.vibration.push_back((index, v));
        }
        let rate = match self.segments.back().copied() {
            Some(last) if self.lock.is_some() && fresh => {
                self.fit(last.chain, tick_us - 2.0 * half_window_us(&last), tick_us)
            }
            _ => None,
        };
        self.spin.update(tick_us, rate.map(|r| r.value));
        self.live.push_back(OrbitTick {
            index,
            rate_hz: rate,
            spin_hz: if rate.is_some() { self.spin.spin_hz() } else { None },
            spin_lost: rate.is_some() && self.spin.is_lost(),
            vibration_mps2: vibration,
        });
        while (self.next_settled as f64) * TICK_US + HINDSIGHT_S * 1e6 <= tick_us {
            self.settle_next();
        }
    }

    fn settle_next(&mut self) {
        let index = self.next_settled;
        self.next_settled += 1;
        let tick_us = index as f64 * TICK_US;
        // The nearest sum, of the latest lock if there are two.
        let nearest = self
            .segments
            .iter()
            .rev()
            .copied()
            .min_by(|a, b| (a.mid_us - tick_us).abs().total_cmp(&(b.mid_us - tick_us).abs()));
        let rate = match nearest {
            Some(near) if (near.mid_us - tick_us).abs() < 0.6 * near.long_us + REACH_US => {
                let half = half_window_us(&near);
                self.fit(near.chain, tick_us - half, tick_us + half)
            }
            _ => None,
        };
        let mut vibration = None;
        while let Some(&(at, v)) = self.vibration.front() {
            if at > index {
                break;
            }
            self.vibration.pop_front();
            if at == index {
                vibration = Some(v);
            }
        }
        let spin = if rate.is_some() { self.spin.settled_hz(tick_us) } else { None };
        self.settled.push_back(OrbitTick {
            index,
            rate_hz: rate,
            spin_hz: spin,
            spin_lost: false,
            vibration_mps2: vibration,
        });
    }

    /// Straight line through the phases between two times; its slope is the rate.
    fn fit(&mut self, chain: u32, from_us: f64, to_us: f64) -> Option<Measured> {
        let (mut n, mut st, mut sp) = (0.0, 0.0, 0.0);
        let inside = |s: &&Segment| s.chain == chain && s.mid_us >= from_us && s.mid_us <= to_us;
        let (t0, p0) = self.segments.iter().find(inside).map(|s| (s.mid_us, s.cycles))?;
        for s in self.segments.iter().filter(inside) {
            n += 1.0;
            st += (s.mid_us - t0) * 1e-6;
            sp += s.cycles - p0;
        }
        if n < 3.0 {
            return None;
        }
        let (mt, mp) = (st / n, sp / n);
        let (mut stt, mut stp, mut spp) = (0.0, 0.0, 0.0);
        for s in self.segments.iter().filter(inside) {
            let t = (s.mid_us - t0) * 1e-6 - mt;
            let p = s.cycles - p0 - mp;
            stt += t * t;
            stp += t * p;
            spp += p * p;
        }
        let slope = stp / stt;
        let scatter = ((spp - slope * stp) / (n - 2.0)).max(0.0);
        // Few points tell their scatter badly; lean on the windows before.
        self.scatter = if self.scatter == 0.0 { scatter } else { self.scatter + 0.2 * (scatter - self.scatter) };
        let pooled = ((n - 2.0) * scatter + 4.0 * self.scatter) / (n + 2.0);
        (MIN_HZ * 0.8..MAX_HZ * 1.1)
            .contains(&slope)
            .then(|| Measured { value: slope, sd: (pooled.max(scatter) / stt).sqrt() })
    }
}

/// Half of the fit's window around a sum, µs.
fn half_window_us(segment: &Segment) -> f64 {
    0.5 * (WINDOW_SEGMENTS * segment.long_us).max(WINDOW_S * 1e6)
}

impl Lock {
    /// Sets the oscillator up for the next whole-revolution sum, whose first sample is at `first_us`.
    fn begin(&mut self, first_us: f64, work_us: f64) {
        // As many revolutions as fill the shortest sum.
        self.turns = (SEGMENT_S * self.hz).ceil().max(1.0);
        self.wanted = ((self.turns / self.hz * 1e6 / work_us).round() as u32).max(4);
        let (s, c) = (core::f64::consts::TAU * self.start_cycles.fract()).sin_cos();
        self.phasor = (c as f32, s as f32);
        let (s, c) = (core::f64::consts::TAU * self.hz * work_us * 1e-6).sin_cos();
        self.step = (c as f32, s as f32);
        self.start_us = first_us;
        self.sum = [(0.0, 0.0); 3];
        self.count = 0;
        self.power = 0.0;
    }

    /// Ends a sum with the sample at `t_us`; `None` when the rotation is gone.
    fn close(&mut self, t_us: f64, work_us: f64) -> Option<Segment> {
        let n = f64::from(self.count);
        let mid_us = 0.5 * (self.start_us + t_us);
        let mid_cycles = self.start_cycles + self.hz * (mid_us - self.start_us) * 1e-6;
        let square: f32 = self.sum.iter().map(|c| c.0 * c.0 + c.1 * c.1).sum();
        let amplitude = 2.0 * f64::from(square).sqrt() / n;
        let power = f64::from(self.power) / n;
        if self.recent_amplitude == 0.0 {
            self.recent_amplitude = amplitude;
        }
        let faint = amplitude < GONE_SHARE * self.recent_amplitude
            || amplitude < MIN_AMPLITUDE
            || 0.5 * amplitude * amplitude < 0.015 * power;
        self.bad = if faint { self.bad + 1 } else { 0 };
        self.recent_amplitude += (self.turns / self.hz / RECENT_S).min(1.0) * (amplitude - self.recent_amplitude);
        let mut advance_cycles = 0.0;
        if let Some((sums, before_us, before_cycles)) = self.before {
            let (mut re, mut im) = (0.0_f32, 0.0_f32);
            for (a, b) in self.sum.iter().zip(sums) {
                re += a.0 * b.0 + a.1 * b.1;
                im += a.1 * b.0 - a.0 * b.1;
            }
            let beyond = f64::from(im.atan2(re)) / core::f64::consts::TAU;
            advance_cycles = mid_cycles - before_cycles + beyond;
            let hz = advance_cycles / ((mid_us - before_us) * 1e-6);
            self.hz += 0.5 * (hz - self.hz);
        }
        self.cycles += advance_cycles;
        self.before = Some((self.sum, mid_us, mid_cycles));
        let long_us = t_us - self.start_us + work_us;
        let segment = Segment { mid_us, cycles: self.cycles, amplitude, long_us, chain: self.chain };
        let end_us = t_us + work_us;
        // Any oscillator phase will do here, because phases are always taken relative to the oscillator.
        self.start_cycles = mid_cycles + self.hz * (end_us - mid_us) * 1e-6;
        self.begin(end_us, work_us);
        (self.bad < 3 && (MIN_HZ * 0.8..MAX_HZ * 1.1).contains(&self.hz)).then_some(segment)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::TAU;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    const RATE_HZ: f64 = 1667.0;

    /// Feeds `seconds` of a signal and gives the settled ticks.
    fn settled(rate_hz: f64, seconds: f64, mut signal: impl FnMut(f64) -> [f64; 3]) -> Vec<OrbitTick> {
        let mut orbit = Orbit::new();
        let spacing = 1e6 / rate_hz;
        for i in 0..(seconds * rate_hz) as usize {
            let t_us = i as f64 * spacing;
            orbit.push(t_us, spacing, signal(t_us * 1e-6).map(|v| v as f32));
        }
        orbit.flush();
        core::iter::from_fn(|| orbit.pop_settled()).collect()
    }

    fn turning(amplitude: f64, hz: f64, t: f64) -> [f64; 3] {
        let (s, c) = (TAU * hz * t).sin_cos();
        [amplitude * c, amplitude * s, 9.81]
    }

    fn gauss(rng: &mut ChaCha8Rng) -> f64 {
        StandardNormal.sample(rng)
    }

    #[test]
    fn a_steady_tone_comes_within_1_5_db_of_the_cramer_rao_bound() {
        // A vector that turns in two axes is a complex tone: var(w) >= 6 s²/(A² N(N²-1)) (rad/sample)², s² the noise of both
        // axes together (Rife and Boorstyn 1974; Kay 1993, example 3.14; from memory, recomputed as a Fisher inverse).
        let (amplitude, sigma) = (5.0, 2.0);
        let mut worst = 0.0_f64;
        for (seed, hz) in [(1, 31.7), (2, 47.3), (3, 66.0), (4, 83.9), (5, 111.2)] {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let ticks = settled(RATE_HZ, 120.0, |t| {
                let v = turning(amplitude, hz, t);
                [v[0] + sigma * gauss(&mut rng), v[1] + sigma * gauss(&mut rng), v[2]]
            });
            let errors: Vec<f64> = ticks[15..1180].iter().map(|t| t.rate_hz.expect("running").value - hz).collect();
            let n = errors.len() as f64;
            let bias = errors.iter().sum::<f64>() / n;
            let variance = errors.iter().map(|e| (e - bias).powi(2)).sum::<f64>() / n;
            let segment = (SEGMENT_S * hz).ceil() / hz;
            // Samples that the window's sums take in: their number varies by one as ticks and sums drift past each other.
            let window = (WINDOW_SEGMENTS * segment).max(WINDOW_S);
            let samples = ((window / segment).floor() + 0.5) * segment * RATE_HZ;
            let bound = 6.0 * 2.0 * sigma * sigma / (amplitude * amplitude * samples * (samples * samples - 1.0))
                * (RATE_HZ / TAU).powi(2);
            let db = 10.0 * (variance / bound).log10();
            println!("{hz} Hz: {db:.2} dB, bias {bias:.5} Hz, sd {:.5}", variance.sqrt());
            assert!(bias.abs() < 5.0 * (bound / 20.0).sqrt(), "{hz} Hz: bias {bias}");
            assert!(db > -1.0, "{hz} Hz: {db:.2} dB: better than possible, so the bound is computed wrongly");
            worst = worst.max(db);
            let stated = ticks[15..1180].iter().map(|t| t.rate_hz.expect("running").sd.powi(2)).sum::<f64>() / n;
            let honest = stated / variance;
            assert!((0.6..1.7).contains(&honest), "{hz} Hz: stated variance {honest:.2} of the true one");
        }
        assert!(worst < 1.5, "worst {worst:.2} dB");
    }

    #[test]
    fn strong_harmonics_gear_tones_and_sidebands_do_not_win() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        for case in 0..40 {
            let hz = if case % 3 == 0 { rng.random_range(10.0..40.0) } else { rng.random_range(26.0..114.0) };
            let h: [f64; 3] = [rng.random_range(0.2..1.6), rng.random_range(0.1..0.8), rng.random_range(0.0..0.4)];
            let (gear, ratio) = (rng.random_range(0.0..0.6), rng.random_range(3.1..9.0));
            let (spin, depth) = (rng.random_range(1.5..8.0), rng.random_range(0.0..0.25));
            let p: [f64; 4] = core::array::from_fn(|_| rng.random_range(0.0..TAU));
            let mut noise = ChaCha8Rng::seed_from_u64(100 + case);
            let ticks = settled(RATE_HZ, 6.0, |t| {
                let a = 8.0 * (1.0 + depth * (TAU * spin * t).cos());
                let w = TAU * hz * t;
                let x = w.cos()
                    + h[0] * (2.0 * w + p[0]).cos()
                    + h[1] * (3.0 * w + p[1]).cos()
                    + h[2] * (4.0 * w + p[2]).cos()
                    + gear * (ratio * w + p[3]).cos();
                let y = 0.8 * w.sin() + h[0] * (2.0 * w + p[1]).sin() + gear * (ratio * w).sin();
                [a * x + gauss(&mut noise), a * y + gauss(&mut noise), 9.81 + 0.3 * a * x + gauss(&mut noise)]
            });
            for tick in &ticks[20..] {
                let rate = tick.rate_hz.unwrap_or_else(|| panic!("case {case}: {hz} Hz not found")).value;
                assert!((rate / hz - 1.0).abs() < 0.02, "case {case}: {rate} for {hz}");
            }
        }
    }

    #[test]
    fn a_trembling_hand_is_no_machine() {
        // Normal tremor reaches 0.035 g at its main frequency (Arch Neurol 1982 39:358), 7-12 Hz.
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        for hz in [7.5, 8.4, 9.3, 10.2, 11.4] {
            let mut phase = 0.0_f64;
            let ticks = settled(RATE_HZ, 30.0, |_| {
                phase += TAU * (hz + 1.5 * gauss(&mut rng)) / RATE_HZ;
                let a = 0.035 * 9.81 * std::f64::consts::SQRT_2;
                [a * phase.cos() + 0.03 * gauss(&mut rng), a * phase.sin() + 0.03 * gauss(&mut rng), 9.81]
            });
            assert!(ticks.iter().all(|t| t.rate_hz.is_none()), "{hz} Hz was taken for a machine");
        }
    }

    #[test]
    fn a_load_that_slows_the_machine_is_followed() {
        // 9 % within a third of a second, as when the pad takes load.
        let hz_at = |t: f64| 70.0 * (1.0 - 0.09 / (1.0 + (-(t - 8.0) / 0.07).exp()));
        let mut phase = 0.0;
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        let ticks = settled(RATE_HZ, 14.0, |t| {
            phase += TAU * hz_at(t) / RATE_HZ;
            [12.0 * phase.cos() + gauss(&mut rng), 9.0 * phase.sin() + gauss(&mut rng), 9.81]
        });
        for tick in &ticks[12..] {
            let t = tick.index as f64 * 0.1;
            let error = tick.rate_hz.expect("running").value / hz_at(t) - 1.0;
            assert!(error.abs() < 0.02, "{error:.4} at {t} s");
            assert!((t - 8.0).abs() < 0.6 || error.abs() < 0.002, "{error:.5} at {t} s");
        }
    }

    #[test]
    fn any_logger_rate_is_served_or_left_blank() {
        for rate in [400.0, 1000.0, 6664.0, 48_828.0] {
            let ticks = settled(rate, 5.0, |t| turning(10.0, 62.0, t));
            let rate_hz = ticks[30].rate_hz.expect("found").value;
            assert!((rate_hz - 62.0).abs() < 0.05, "{rate} Hz: {rate_hz}");
        }
        // Too slow a stream folds an orbit to anywhere: nothing is said.
        assert!(settled(104.0, 8.0, |t| turning(10.0, 62.0, t)).iter().all(|t| t.rate_hz.is_none()));
    }

    #[test]
    fn holes_and_nonsense_leave_blanks_and_no_panic() {
        let mut orbit = Orbit::new();
        let spacing = 1e6 / RATE_HZ;
        for i in 0..20_000_u32 {
            let t_us = f64::from(i) * spacing;
            if (4e6..6e6).contains(&t_us) {
                continue;
            }
            let v = match i % 997 {
                0 => [f32::NAN; 3],
                1 => [f32::INFINITY, 0.0, 0.0],
                _ => turning(10.0, 50.0, t_us * 1e-6).map(|v| v as f32),
            };
            orbit.push(t_us, spacing, v);
        }
        orbit.push(1e12, spacing, [0.0; 3]);
        orbit.flush();
        let ticks: Vec<OrbitTick> = core::iter::from_fn(|| orbit.pop_settled()).collect();
        assert!(ticks.iter().filter(|t| (43..58).contains(&t.index)).all(|t| t.rate_hz.is_none()));
        assert!(ticks.iter().filter(|t| (80..110).contains(&t.index)).all(|t| t.rate_hz.is_some()));
        assert!(ticks.len() < 1000, "a jump of days must not be filled with ticks");
    }
}
