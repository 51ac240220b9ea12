//! Following one rotation: sums over whole revolutions, their phases, and a straight line through the phases.

use super::super::comb::{MAX_HZ, MIN_HZ};

/// Shortest and longest revolution sums, s: short follows a jump in rate, long averages noise.
pub(super) const SEGMENT_S: f64 = 0.022;
/// A line that has sunk below this share of its recent amplitude is gone.
const GONE_SHARE: f64 = 0.25;
/// Time constant of "recent", s.
const RECENT_S: f64 = 1.5;
/// Least amplitude followed, m/s².
const MIN_AMPLITUDE: f64 = 0.25;

/// Sums that a pattern remembers: fewer take more of the noise for phase, more follow a turning sensor later.
const PATTERN_SUMS: f32 = 8.0;

/// One whole-revolution sum.
#[derive(Clone, Copy, Debug)]
pub(in crate::analysis) struct Segment {
    /// Middle, µs.
    pub(in crate::analysis) mid_us: f64,
    /// Phase, cycles, unwrapped from one to the next.
    pub(super) cycles: f64,
    /// Amplitude, m/s², root-sum-square over the axes.
    pub(in crate::analysis) amplitude: f64,
    /// Length, µs.
    pub(super) long_us: f64,
    /// Which lock it belongs to; phases of different locks have nothing in common.
    pub(super) chain: u32,
}

/// Per axis: what is in phase with the oscillator, and what is a quarter turn off. Four lanes, the last always zero: so the
/// three axes are one operation of the processor, read and written in one width.
#[derive(Clone, Copy, Default)]
struct Sums {
    in_phase: [f32; 4],
    quarter: [f32; 4],
}

/// How the axes go with each other, from the sums so far, each turned back to phase zero.
///
/// A sum's phase is taken against it and not against the sum before: the product of the noise in two sums does not cancel from one
/// advance to the next, and adds up. At 0 dB a steady rate came 1.8 dB over its bound so, and comes 0.3 dB over it now
/// (`tests/tone`).
#[derive(Clone, Copy, Default)]
struct Pattern {
    mean: Sums,
    sums: f32,
}

impl Pattern {
    /// By how much a sum's rotation is ahead of the oscillator, cycles, -1/2 to 1/2; the axes weigh by their power.
    fn ahead(&self, sum: &Sums) -> f64 {
        let Sums { in_phase, quarter } = self.mean;
        let (mut re, mut im) = (0.0_f32, 0.0_f32);
        for i in 0..3 {
            re += sum.in_phase[i] * in_phase[i] + sum.quarter[i] * quarter[i];
            im += sum.quarter[i] * in_phase[i] - sum.in_phase[i] * quarter[i];
        }
        f64::from(im.atan2(re)) / core::f64::consts::TAU
    }

    fn learn(&mut self, sum: &Sums, ahead_cycles: f64) {
        self.sums = (self.sums + 1.0).min(PATTERN_SUMS);
        let gain = 1.0 / self.sums;
        let (s, c) = (core::f64::consts::TAU * ahead_cycles).sin_cos();
        let (s, c) = (s as f32, c as f32);
        let Sums { in_phase, quarter } = &mut self.mean;
        for i in 0..3 {
            in_phase[i] += gain * (sum.in_phase[i] * c + sum.quarter[i] * s - in_phase[i]);
            quarter[i] += gain * (sum.quarter[i] * c - sum.in_phase[i] * s - quarter[i]);
        }
    }
}

/// Middle of a sum: when, and where the oscillator and the rotation were, cycles.
#[derive(Clone, Copy)]
struct Middle {
    t_us: f64,
    oscillator: f64,
    rotation: f64,
}

/// A rotation being followed.
pub(super) struct Lock {
    /// Oscillator, Hz.
    pub(super) hz: f64,
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
    pattern: Pattern,
    /// The segment before.
    before: Option<Middle>,
    cycles: f64,
    recent_amplitude: f64,
    bad: u32,
    chain: u32,
    /// When it began, µs.
    pub(super) began_us: f64,
    pub(super) disagree: u32,
    pub(super) missed: u32,
}

impl Lock {
    /// Begins with the sample at `first_us`, at a rate of `hz`, in samples `work_us` apart.
    pub(super) fn new(chain: u32, first_us: f64, hz: f64, work_us: f64) -> Self {
        let mut lock = Self {
            hz,
            start_cycles: 0.0,
            start_us: first_us,
            turns: 1.0,
            phasor: (1.0, 0.0),
            step: (1.0, 0.0),
            sum: Sums::default(),
            count: 0,
            wanted: 1,
            power: 0.0,
            pattern: Pattern::default(),
            before: None,
            cycles: 0.0,
            recent_amplitude: 0.0,
            bad: 0,
            chain,
            began_us: first_us,
            disagree: 0,
            missed: 0,
        };
        lock.begin(first_us, work_us);
        lock
    }

    /// Samples that the sum still takes; at zero [`Lock::close`] is due.
    pub(super) fn room(&self) -> usize {
        (self.wanted - self.count) as usize
    }

    /// Adds samples to the sum, at most as many as it has room for.
    pub(super) fn add(&mut self, samples: &[[f32; 3]]) {
        // In locals, which stay in registers.
        let (Sums { mut in_phase, mut quarter }, (mut c, mut s), mut power) = (self.sum, self.phasor, self.power);
        for &[x, y, z] in samples {
            for (i, v) in [x, y, z, 0.0].into_iter().enumerate() {
                in_phase[i] += v * c;
                quarter[i] -= v * s;
            }
            power += x * x + y * y + z * z;
            (c, s) = (c * self.step.0 - s * self.step.1, c * self.step.1 + s * self.step.0);
        }
        (self.sum, self.phasor, self.power) = (Sums { in_phase, quarter }, (c, s), power);
        self.count += samples.len() as u32;
    }

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
        self.sum = Sums::default();
        self.count = 0;
        self.power = 0.0;
    }

    /// Ends a sum with the sample at `t_us`; `None` when the rotation is gone.
    pub(super) fn close(&mut self, t_us: f64, work_us: f64) -> Option<Segment> {
        let n = f64::from(self.count);
        let mid_us = 0.5 * (self.start_us + t_us);
        let mid_cycles = self.start_cycles + self.hz * (mid_us - self.start_us) * 1e-6;
        let Sums { in_phase, quarter } = self.sum;
        let square: f32 = in_phase.iter().zip(quarter).map(|(c, s)| c * c + s * s).sum();
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
        let ahead = self.pattern.ahead(&self.sum);
        let middle = Middle { t_us: mid_us, oscillator: mid_cycles, rotation: mid_cycles + ahead };
        self.pattern.learn(&self.sum, ahead);
        let mut advance_cycles = 0.0;
        if let Some(before) = self.before.replace(middle) {
            let expected = middle.oscillator - before.oscillator;
            let beyond = middle.rotation - before.rotation - expected;
            advance_cycles = expected + beyond - beyond.round();
            self.hz = advance_cycles / ((mid_us - before.t_us) * 1e-6);
        }
        self.cycles += advance_cycles;
        let long_us = t_us - self.start_us + work_us;
        let segment = Segment { mid_us, cycles: self.cycles, amplitude, long_us, chain: self.chain };
        let end_us = t_us + work_us;
        // Any oscillator phase will do here, because phases are always taken relative to the oscillator.
        self.start_cycles = mid_cycles + self.hz * (end_us - mid_us) * 1e-6;
        self.begin(end_us, work_us);
        (self.bad < 3 && (MIN_HZ * 0.8..MAX_HZ * 1.1).contains(&self.hz)).then_some(segment)
    }
}
