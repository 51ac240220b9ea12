//! When samples were lost, so that a pass can be told how much of it is missing.

use std::collections::VecDeque;

use crate::analysis::{Reading, Run};

/// Holes are kept for as long as a pass may be worked, s.
const KEPT_S: f64 = 20.0 * 60.0;

/// Holes of both motion streams.
#[derive(Clone, Debug, Default)]
pub(super) struct Missing {
    accel: Stream,
    gyro: Stream,
}

#[derive(Clone, Debug, Default)]
struct Stream {
    /// When the next sample is due, s.
    due_s: Option<f64>,
    /// The stream was interrupted since then.
    broken: bool,
    /// From and to, s.
    holes: VecDeque<(f64, f64)>,
}

impl Missing {
    /// Takes the next reading.
    pub(super) fn push(&mut self, reading: &Reading<'_>) {
        match reading {
            Reading::Accel(run) => self.accel.run(run),
            Reading::Gyro(run) => self.gyro.run(run),
            Reading::Break { .. } => (self.accel.broken, self.gyro.broken) = (true, true),
            Reading::Surface(_) | Reading::Mark { .. } => {}
        }
    }

    /// Seconds between two moments of which samples are missing, in the stream that misses more.
    pub(super) fn within(&self, from_s: f64, to_s: f64) -> f64 {
        self.accel.within(from_s, to_s).max(self.gyro.within(from_s, to_s))
    }
}

impl Stream {
    fn run(&mut self, run: &Run<'_>) {
        let first_s = run.first_us * 1e-6;
        let missing = run.lost_before > 0 || std::mem::take(&mut self.broken);
        let due_s = self.due_s.replace(run.end_us() * 1e-6);
        if let Some(due_s) = due_s.filter(|due_s| missing && *due_s < first_s) {
            self.holes.push_back((due_s, first_s));
        }
        while self.holes.pop_front_if(|(_, to_s)| *to_s < first_s - KEPT_S).is_some() {}
    }

    fn within(&self, from_s: f64, to_s: f64) -> f64 {
        self.holes.iter().map(|(a, b)| (b.min(to_s) - a.max(from_s)).max(0.0)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_is_told_by_when_it_was() {
        let mut missing = Missing::default();
        let samples = [[0.0; 3]; 100];
        // A tenth of a second each.
        let run = |t_s: f64, lost_before| Run {
            first_us: t_s * 1e6,
            spacing_us: 1000.0,
            lost_before,
            clipped: 0,
            samples: &samples,
        };
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
        missing.push(&Reading::Accel(run(0.0, 0)));
        missing.push(&Reading::Gyro(run(0.0, 0)));
        missing.push(&Reading::Accel(run(0.15, 50)));
        missing.push(&Reading::Gyro(run(0.13, 30)));
        close(missing.within(0.0, 9.0), 0.05);
        close(missing.within(0.12, 9.0), 0.03);
        close(missing.within(0.2, 9.0), 0.0);
        // An interruption: nobody knows how many samples.
        missing.push(&Reading::Break { from_us: 250_000.0, to_us: 2e6 });
        missing.push(&Reading::Accel(run(2.0, 0)));
        close(missing.within(0.0, 9.0), 0.05 + 1.75);
        // Late by a step, with none missing.
        missing.push(&Reading::Accel(run(2.102, 0)));
        close(missing.within(2.0, 9.0), 0.0);
        // Holes are let go once no pass can hold them.
        missing.push(&Reading::Accel(run(5000.0, 1)));
        missing.push(&Reading::Accel(run(9000.0, 1)));
        assert_eq!(missing.accel.holes.len(), 1);
    }
}
