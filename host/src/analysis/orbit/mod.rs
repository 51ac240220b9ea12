//! Orbit rate (a rotary's speed): how often the pad goes round, ten times a second, with its uncertainty.
//!
//! # Data flow
//!
//! ```text
//! accelerometer ─► (averaged down to about 1.7 kHz) ─┬─► CombSearch: is a machine running, and at what rate?
//!                                                    ├─► demodulation by whole revolutions ─► phases ─► rate by least squares
//!                                                    └─► FaintSearch, while none is found: seconds of vibration ─► mean rate
//! ```
//!
//! # How
//!
//! Once the comb search has found a rotation, all three axes are mixed down with an oscillator near its rate and summed
//! over whole revolutions. Whole revolutions make the sums blind to gravity and to every harmonic. A sum's phase is taken over
//! all axes together, against their mean pattern so far (weights by power come by themselves). The slope of a straight line
//! through the phases of a short window is the rate: for a steady tone and good signal this is the efficient estimator
//! (Tretter, IEEE Trans. Inf. Theory 31 (1985) 832; from memory), checked against the Cramér-Rao bound in the tests.
//! The scatter about the line gives the standard deviation; it includes what the rate really did inside the window.
//!
//! Live figures look back over the window, settled ones look [`HINDSIGHT_S`] ahead, too, and are centred.

mod faint;
mod lock;
mod phases;
#[cfg(test)]
mod tests;

use super::comb::CombSearch;
use super::findings::Measured;
use super::setup::MachineKind;
use super::spin::SpinWatch;
use faint::{FaintSearch, PAUSE_S, SHAKING, SPAN_S};
use lock::Lock;
use phases::{Phases, half_window_us};
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
pub const LEAST_STREAM_HZ: f64 = 300.0;
/// A tick this far beyond the first or last sum still gets a rate, µs.
const REACH_US: f64 = 40_000.0;
/// Time constant of the mean that is taken off before mixing, s.
const MEAN_S: f64 = 0.25;
/// Time between searches while no machine is known to run, and while one is being followed, s.
const SEARCH_IDLE_S: f64 = 0.2;
const SEARCH_LOCKED_S: f64 = 1.0;
/// A machine followed for less than this may be a harmonic of one that gathers speed, s.
const YOUNG_S: f64 = 2.0;
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
    /// Samples at work, without their mean.
    changing: Vec<[f32; 3]>,
    /// Latest of them, as a ring.
    ring: Vec<[f32; 3]>,
    head: usize,
    filled: usize,
    last_us: f64,
    /// Per axis; four lanes, as in [`lock`].
    mean: [f32; 4],
    mean_gain: f32,
    least_gain: f32,
    next_search_us: f64,
    lock: Option<Lock>,
    phases: Phases,
    chains: u32,
    spin: SpinWatch,
    kind: MachineKind,
    faint: Option<FaintSearch>,
    next_faint_us: f64,
    /// What the latest searches for a faint line gave, by the middle of their windows, µs.
    faint_rates: VecDeque<(f64, Option<Measured>)>,
    power_sum: f64,
    power_count: u32,
    vibration: VecDeque<(i64, f64)>,
    next_live: i64,
    next_settled: i64,
    live: VecDeque<OrbitTick>,
    settled: VecDeque<OrbitTick>,
}

impl Orbit {
    /// The kind of machine says where a faint rotation may lie; a plain one is found wherever it is.
    pub(super) fn new(kind: MachineKind) -> Self {
        Self {
            spacing_us: 0.0,
            every: 1,
            partial: [0.0; 3],
            partial_count: 0,
            work_us: 0.0,
            search: None,
            changing: Vec::new(),
            ring: Vec::new(),
            head: 0,
            filled: 0,
            last_us: f64::NEG_INFINITY,
            mean: [0.0; 4],
            mean_gain: 1.0,
            least_gain: 0.0,
            next_search_us: 0.0,
            lock: None,
            phases: Phases::default(),
            chains: 0,
            spin: SpinWatch::new(),
            kind,
            faint: None,
            next_faint_us: 0.0,
            faint_rates: VecDeque::new(),
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
        self.hear_anew();
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

    /// Takes evenly spaced samples (m/s²), the first at `first_us`; times rise.
    pub(super) fn push(&mut self, first_us: f64, spacing_us: f64, samples: &[[f32; 3]]) {
        if (spacing_us - self.spacing_us).abs() > 0.1 * self.spacing_us {
            self.tune(spacing_us);
        } else if spacing_us != self.spacing_us {
            self.retune(spacing_us);
        }
        let time_us = |i: usize| first_us + i as f64 * spacing_us;
        let is_number = |sample: &[f32; 3]| sample.iter().all(|v| v.is_finite());
        if self.every == 1 {
            let mut i = 0;
            while i < samples.len() {
                let n = samples[i..].iter().take_while(|s| is_number(s)).count();
                self.work(time_us(i), spacing_us, &samples[i..i + n]);
                i += n + 1;
            }
            return;
        }
        for (i, sample) in samples.iter().enumerate().filter(|(_, s)| is_number(s)) {
            for (p, s) in self.partial.iter_mut().zip(sample) {
                *p += s;
            }
            self.partial_count += 1;
            if self.partial_count == self.every {
                let k = 1.0 / self.every as f32;
                let mid_us = time_us(i) - 0.5 * f64::from(self.every - 1) * spacing_us;
                let mean = self.partial.map(|p| p * k);
                self.partial = [0.0; 3];
                self.partial_count = 0;
                self.work(mid_us, self.work_us, &[mean]);
            }
        }
    }

    /// Sets up for a new sample rate.
    fn tune(&mut self, spacing_us: f64) {
        self.unlock();
        let rate_hz = 1e6 / spacing_us;
        self.every = ((rate_hz / WORK_RATE_HZ) as u32).max(1);
        self.space(spacing_us);
        self.partial = [0.0; 3];
        self.partial_count = 0;
        self.search = (rate_hz >= LEAST_STREAM_HZ).then(|| CombSearch::new(1e6 / self.work_us));
        self.faint = self.search.is_some().then(|| FaintSearch::new(self.kind, 1e6 / self.work_us));
        self.ring = vec![[0.0; 3]; self.search.as_ref().map_or(0, CombSearch::len)];
        self.head = 0;
        self.filled = 0;
        self.mean_gain = 1.0;
    }

    /// The same stream, its spacing known better: a sensor's first block has the chip's nominal one, which may be some percent off.
    /// What is remembered was taken at the true spacing all along.
    fn retune(&mut self, spacing_us: f64) {
        self.space(spacing_us);
        let work_hz = 1e6 / self.work_us;
        self.search.iter_mut().for_each(|search| search.retune(work_hz));
        self.faint.iter_mut().for_each(|faint| faint.retune(work_hz));
    }

    fn space(&mut self, spacing_us: f64) {
        self.spacing_us = spacing_us;
        self.work_us = spacing_us * f64::from(self.every);
        self.least_gain = (self.work_us / (MEAN_S * 1e6)) as f32;
    }

    /// Takes samples of the working rate. What is due at a tick, at the end of a sum or at a search is done between samples; the
    /// stretches without any of these are taken in one go.
    fn work(&mut self, first_us: f64, spacing_us: f64, samples: &[[f32; 3]]) {
        let time_us = |i: usize| first_us + i as f64 * spacing_us;
        let mut i = 0;
        while i < samples.len() {
            self.arrive(time_us(i));
            // The tick is due before the first sample at its time or after, the search after such a sample.
            let (tick_us, search_us) = (self.next_live as f64 * TICK_US, self.next_search_us);
            let before = |due_us: f64| ((due_us - time_us(i)) / spacing_us).ceil() as usize;
            let in_sum = self.lock.as_ref().map_or(usize::MAX, Lock::room);
            let in_ring = if self.filled < self.ring.len() { self.ring.len() - self.filled } else { self.ring.len() };
            let most = (samples.len() - i).min(in_sum).min(in_ring).max(1);
            let mut n = before(tick_us).min(before(search_us).saturating_add(1)).clamp(1, most);
            // The division rounds; the times decide.
            while n > 1 && (time_us(i + n - 1) >= tick_us || time_us(i + n - 2) >= search_us) {
                n -= 1;
            }
            self.take(time_us(i), spacing_us, &samples[i..i + n]);
            i += n;
        }
    }

    /// What is due before a sample at `t_us`.
    fn arrive(&mut self, t_us: f64) {
        if t_us - self.last_us > 5.0 * self.work_us {
            // A hole: phases cannot be carried across.
            self.unlock();
            self.hear_anew();
            self.filled = 0;
            self.mean_gain = 1.0;
        }
        if t_us - self.last_us.max(self.next_live as f64 * TICK_US) > SKIP_US {
            self.interrupt(t_us);
        }
        while t_us >= self.next_live as f64 * TICK_US {
            self.tick(t_us);
        }
    }

    fn take(&mut self, first_us: f64, spacing_us: f64, samples: &[[f32; 3]]) {
        let last_us = first_us + (samples.len() - 1) as f64 * spacing_us;
        self.last_us = last_us;
        let mut changing = std::mem::take(&mut self.changing);
        self.without_mean(samples, &mut changing);
        for x in &changing {
            self.power_sum += f64::from(x[0] * x[0] + x[1] * x[1] + x[2] * x[2]);
        }
        self.power_count += samples.len() as u32;
        if !self.ring.is_empty() {
            self.remember(&changing);
            if let Some(lock) = &mut self.lock {
                lock.add(&changing);
                self.close_full_sum(last_us);
            } else {
                for (i, x) in changing.iter().enumerate() {
                    self.listen(first_us + i as f64 * spacing_us, *x);
                }
            }
            if last_us >= self.next_search_us && self.filled == self.ring.len() {
                self.look(last_us);
            }
        }
        self.changing = changing;
    }

    /// The samples without what stays: a cumulative mean at first, then an exponential one.
    ///
    /// The loop that every sample goes through: its state stays in registers only where the function is one of its own.
    #[inline(never)]
    fn without_mean(&mut self, samples: &[[f32; 3]], changing: &mut Vec<[f32; 3]>) {
        let (mut mean, mut gain) = (self.mean, self.mean_gain);
        changing.clear();
        changing.resize(samples.len(), [0.0; 3]);
        for (changing, sample) in changing.iter_mut().zip(samples) {
            let [x, y, z] = *sample;
            let sample = [x, y, z, 0.0];
            mean = core::array::from_fn(|k| mean[k] + gain * (sample[k] - mean[k]));
            *changing = core::array::from_fn(|k| sample[k] - mean[k]);
            if gain > self.least_gain {
                gain = (gain / (1.0 + gain)).max(self.least_gain);
            }
        }
        (self.mean, self.mean_gain) = (mean, gain);
    }

    fn remember(&mut self, changing: &[[f32; 3]]) {
        let (to_end, from_start) = changing.split_at(changing.len().min(self.ring.len() - self.head));
        self.ring[self.head..self.head + to_end.len()].copy_from_slice(to_end);
        self.ring[..from_start.len()].copy_from_slice(from_start);
        self.head = (self.head + changing.len()) % self.ring.len();
        self.filled = (self.filled + changing.len()).min(self.ring.len());
    }

    /// Looks for a faint line while nothing is followed.
    #[inline]
    fn listen(&mut self, t_us: f64, x: [f32; 3]) {
        let Some(faint) = &mut self.faint else { return };
        faint.push(x);
        if t_us >= self.next_faint_us && faint.is_full() {
            self.next_faint_us = t_us + PAUSE_S * 1e6;
            self.faint_rates.push_back((t_us - 0.5e6 * SPAN_S, faint.search()));
            let horizon = t_us - (SPAN_S + HINDSIGHT_S) * 1e6;
            while self.faint_rates.front().is_some_and(|f| f.0 < horizon) {
                self.faint_rates.pop_front();
            }
        }
    }

    /// What was heard so far does not belong to what comes.
    fn hear_anew(&mut self) {
        self.faint.iter_mut().for_each(FaintSearch::clear);
    }

    /// Rate of a faint rotation at a time, by the window that lies best around it.
    fn faint_hz(&self, t_us: f64) -> Option<Measured> {
        let near = |f: &&(f64, Option<Measured>)| (f.0 - t_us).abs() <= 0.5e6 * SPAN_S;
        self.faint_rates.iter().filter(near).min_by(|a, b| (a.0 - t_us).abs().total_cmp(&(b.0 - t_us).abs()))?.1
    }

    fn look(&mut self, t_us: f64) {
        let young = self.lock.as_ref().is_some_and(|lock| t_us - lock.began_us < YOUNG_S * 1e6);
        let pause_s = if self.lock.is_some() && !young { SEARCH_LOCKED_S } else { SEARCH_IDLE_S };
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
                let ratio = (found.hz / lock.hz).max(lock.hz / found.hz);
                let whole = ratio.round() >= 2.0 && (ratio / ratio.round() - 1.0).abs() < 0.1;
                if ratio < 1.1 {
                    lock.disagree = 0;
                } else if whole || !young {
                    // While it gathers speed the search looks back on a slower machine; only a harmonic is told apart then.
                    lock.disagree += 1;
                    if lock.disagree >= 2 {
                        if young {
                            // A harmonic was followed since it started: what it said is not true of any time.
                            self.phases.forget();
                        }
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
        self.phases.restart();
        let replay = self.ring.len() * 3 / 4;
        let first_us = t_us - (replay - 1) as f64 * self.work_us;
        self.lock = Some(Lock::new(self.chains, first_us, hz, self.work_us));
        for i in 0..replay {
            let x = self.ring[(self.head + self.ring.len() - replay + i) % self.ring.len()];
            let Some(lock) = &mut self.lock else { return };
            lock.add(&[x]);
            self.close_full_sum(first_us + i as f64 * self.work_us);
        }
        if self.lock.is_some() {
            self.hear_anew();
        }
    }

    fn unlock(&mut self) {
        if self.lock.take().is_some() {
            self.spin.restart();
        }
    }

    /// Ends the sum over whole revolutions when the sample at `t_us` was its last.
    fn close_full_sum(&mut self, t_us: f64) {
        let Some(lock) = self.lock.as_mut().filter(|lock| lock.room() == 0) else { return };
        match lock.close(t_us, self.work_us) {
            Some(segment) => {
                self.spin.push(segment.mid_us, segment.amplitude);
                self.phases.push(segment, (HINDSIGHT_S + 1.5) * 1e6);
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
        if !vibration.is_some_and(|v| v >= SHAKING) {
            self.hear_anew();
        }
        let rate = match self.phases.last() {
            _ if !fresh => None,
            Some(last) if self.lock.is_some() => {
                self.phases.fit(last.chain, tick_us - 2.0 * half_window_us(&last), tick_us)
            }
            _ if self.faint.as_ref().is_some_and(FaintSearch::is_full) => self.faint_rates.back().and_then(|f| f.1),
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
        let rate = match self.phases.nearest(tick_us) {
            Some(near) if (near.mid_us - tick_us).abs() < 0.6 * near.long_us + REACH_US => {
                let half = half_window_us(&near);
                self.phases.fit(near.chain, tick_us - half, tick_us + half)
            }
            _ => self.faint_hz(tick_us),
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
}
