//! Phases of whole-revolution sums, and the rate as the slope of a straight line through them.

use super::super::comb::{MAX_HZ, MIN_HZ};
use super::super::findings::Measured;
use super::lock::Segment;
use std::collections::VecDeque;

/// Window of the straight-line fit: at least this long, s, ...
pub(super) const WINDOW_S: f64 = 0.28;
/// ... and at least this many sums.
pub(super) const WINDOW_SEGMENTS: f64 = 7.0;

/// A rate less sure than this, one standard deviation, relative, is none: a motor that gathers speed or runs down, whose phases lie on
/// no straight line. In drawn recordings (seeds 300 to 309) nineteen of twenty rates that were off by more than a twentieth are less
/// sure, and while the machine works 99 of 100 are five times as sure.
const UNSURE: f64 = 0.01;

/// The latest sums, oldest first.
#[derive(Debug, Default)]
pub(super) struct Phases {
    segments: VecDeque<Segment>,
    /// Smoothed variance of phases about the line, cycles²; zero while not known.
    scatter: f64,
}

impl Phases {
    /// Another rotation is followed: the scatter of the one before says nothing about it.
    pub(super) fn restart(&mut self) {
        self.scatter = 0.0;
    }

    /// All sums so far were of something else than the rotation.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Takes a sum, and lets go of those older than `kept_us` before it.
    pub(super) fn push(&mut self, segment: Segment, kept_us: f64) {
        self.segments.push_back(segment);
        let horizon = segment.mid_us - kept_us;
        while self.segments.front().is_some_and(|s| s.mid_us < horizon) {
            self.segments.pop_front();
        }
    }

    pub(super) fn last(&self) -> Option<Segment> {
        self.segments.back().copied()
    }

    /// The sum nearest to a time, of the latest lock if there are two.
    pub(super) fn nearest(&self, t_us: f64) -> Option<Segment> {
        let mut best: Option<Segment> = None;
        let mut end = self.segments.len();
        while end > 0 {
            let chain = self.segments[end - 1].chain;
            let (from, at) = (self.first(chain, f64::NEG_INFINITY), self.first(chain, t_us));
            for near in self.segments.range(at.saturating_sub(1).max(from)..(at + 1).min(end)) {
                if best.is_none_or(|b| (near.mid_us - t_us).abs() < (b.mid_us - t_us).abs()) {
                    best = Some(*near);
                }
            }
            end = from;
        }
        best
    }

    /// Place of the first sum of a lock at a time or later. Locks follow each other, and so do the sums of each.
    fn first(&self, chain: u32, from_us: f64) -> usize {
        self.segments.partition_point(|s| s.chain < chain || (s.chain == chain && s.mid_us < from_us))
    }

    /// Straight line through the phases between two times; its slope is the rate, where it is one line.
    pub(super) fn fit(&mut self, chain: u32, from_us: f64, to_us: f64) -> Option<Measured> {
        let from = self.first(chain, from_us);
        let within = |s: &&Segment| s.chain == chain && s.mid_us <= to_us;
        let inside = || self.segments.range(from..).take_while(within);
        let (t0, p0) = inside().next().map(|s| (s.mid_us, s.cycles))?;
        let (mut n, mut st, mut sp) = (0.0, 0.0, 0.0);
        for s in inside() {
            n += 1.0;
            st += (s.mid_us - t0) * 1e-6;
            sp += s.cycles - p0;
        }
        if n < 3.0 {
            return None;
        }
        let (mt, mp) = (st / n, sp / n);
        let (mut stt, mut stp, mut spp) = (0.0, 0.0, 0.0);
        for s in inside() {
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
        let sd = (pooled.max(scatter) / stt).sqrt();
        ((MIN_HZ * 0.8..MAX_HZ * 1.1).contains(&slope) && sd < UNSURE * slope).then_some(Measured { value: slope, sd })
    }
}

/// Half of the fit's window around a sum, µs.
pub(super) fn half_window_us(segment: &Segment) -> f64 {
    0.5 * (WINDOW_SEGMENTS * segment.long_us).max(WINDOW_S * 1e6)
}
