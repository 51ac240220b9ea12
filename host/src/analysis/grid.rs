//! Motion samples of any rate brought onto one even 50 Hz grid.
//!
//! Every sample is spread over the four nearest grid points with the weights of a cubic B-spline (the fourth-order
//! moving average of the grid step). That is an averaging filter with fourth-order zeros at 50, 100, 150 Hz: the orbit
//! vibration, a thousand times larger than the arm's own acceleration, folds down to almost nothing, whatever the sample
//! rate. Up to 3 Hz, where turns live, the loss is below 3 %.
//!
//! The weights are cubic in a sample's place between two grid points. So the samples between the same two are summed with the
//! powers 0 to 3 of that place, and these sums are spread once: a fraction of the work.
//!
//! A filter that lost samples lets the vibration through: one sample of thirty leaves as much of it as the arm's own acceleration.
//! What could not be put in before (see [`super::interpolator`]) makes a hole.

use std::collections::VecDeque;

/// Time between grid points, s.
pub(super) const STEP_S: f64 = 0.02;
/// Time between grid points, µs.
pub(super) const STEP_US: f64 = STEP_S * 1e6;

/// Weight that may be missing, in samples (one at the middle weighs 2/3), and as a share of the expected weight: a grid point that
/// more is missing of is a hole.
const MISSING: f64 = 0.27;
const MISSING_SHARE: f64 = 0.01;

/// Grid points that are kept waiting, more than an hour of them. Nobody asks any more for those before a longer hole.
const MOST_AHEAD: i64 = 200_000;

#[derive(Clone, Copy, Debug, Default)]
struct Slot {
    sum: [f64; 3],
    weight: f64,
    /// Weight an unbroken stream would have given.
    expected: f64,
}

/// Samples between two neighbouring grid points: sums of 1 and of the samples, times the powers of their place, 0 to 1.
#[derive(Clone, Copy, Debug, Default)]
struct Cell {
    /// Grid index of the point before.
    index: i64,
    moments: [[f64; 4]; 4],
    expected: f64,
}

/// Weights of a place `f` between points k and k + 1 for the points k - 1 to k + 2, as polynomials in `f`.
const WEIGHTS: [[f64; 4]; 4] = [
    [1.0 / 6.0, -0.5, 0.5, -1.0 / 6.0],
    [2.0 / 3.0, 0.0, -1.0, 0.5],
    [1.0 / 6.0, 0.5, 0.5, -0.5],
    [0.0, 0.0, 0.0, 1.0 / 6.0],
];

/// One motion stream on its way to the grid.
#[derive(Clone, Debug)]
pub(super) struct Gridder {
    /// Grid index of the front slot.
    base: i64,
    slots: VecDeque<Slot>,
    /// What is not yet spread over the slots.
    cell: Option<Cell>,
    /// Time of the latest sample, µs.
    last_us: f64,
}

impl Default for Gridder {
    fn default() -> Self {
        Self { base: 0, slots: VecDeque::with_capacity(8), cell: None, last_us: f64::NEG_INFINITY }
    }
}

impl Gridder {
    /// Forgets what was collected; the next point handed out is `index`.
    pub(super) fn restart(&mut self, index: i64) {
        self.base = index;
        self.slots.clear();
        self.cell = None;
    }

    /// Time of the latest sample, µs; minus infinity before the first.
    pub(super) fn last_us(&self) -> f64 {
        self.last_us
    }

    /// Takes evenly spaced samples: the first at `first_us`, the others `spacing_us` after each other; those not after
    /// the latest before are left out. The spacing also tells a hole from a slow stream. A sample with a value that is not a
    /// number only moves the time on.
    pub(super) fn push(&mut self, first_us: f64, spacing_us: f64, samples: &[[f32; 3]]) {
        let time_us = |i: usize| first_us + i as f64 * spacing_us;
        let Some(mut i) = (0..samples.len()).find(|i| time_us(*i) > self.last_us) else { return };
        // All samples between the same two grid points at once: they need to be placed only relative to the first of these.
        while i < samples.len() {
            let before = (time_us(i) / STEP_US).floor();
            let index = before as i64;
            if self.cell.is_some_and(|cell| cell.index != index) {
                self.spread();
            }
            let cell = self.cell.get_or_insert(Cell { index, ..Cell::default() });
            cell.expected = STEP_US / spacing_us;
            let mut moments = cell.moments;
            while let Some(sample) = samples.get(i) {
                let t_us = time_us(i);
                let place = t_us / STEP_US - before;
                if place >= 1.0 {
                    break;
                }
                self.last_us = t_us;
                i += 1;
                if sample.iter().all(|v| v.is_finite()) {
                    let values = [1.0, f64::from(sample[0]), f64::from(sample[1]), f64::from(sample[2])];
                    let mut power = 1.0;
                    for moment in &mut moments {
                        for (sum, v) in moment.iter_mut().zip(values) {
                            *sum += power * v;
                        }
                        power *= place;
                    }
                }
            }
            cell.moments = moments;
        }
    }

    /// Spreads the collected samples over their four grid points.
    fn spread(&mut self) {
        let Some(cell) = self.cell.take() else { return };
        let mut first = cell.index - 1 - self.base;
        if first + 3 < 0 {
            return;
        }
        if first > MOST_AHEAD {
            self.restart(self.base + first);
            first = 0;
        }
        while self.slots.len() < (first + 4) as usize {
            self.slots.push_back(Slot::default());
        }
        for (i, weights) in WEIGHTS.into_iter().enumerate() {
            let Ok(at) = usize::try_from(first + i as i64) else { continue };
            let slot = &mut self.slots[at];
            slot.expected = cell.expected;
            for (w, [weight, sums @ ..]) in weights.into_iter().zip(cell.moments) {
                slot.weight += w * weight;
                for (sum, v) in slot.sum.iter_mut().zip(sums) {
                    *sum += w * v;
                }
            }
        }
    }

    /// Hands out grid point `index` (each once, in order); `None` where it is a hole.
    pub(super) fn take(&mut self, index: i64) -> Option<[f64; 3]> {
        // Only when it is needed: sums must not depend on when they were asked for.
        if self.cell.is_some_and(|cell| cell.index - 1 <= index) {
            self.spread();
        }
        while self.base < index && self.slots.pop_front().is_some() {
            self.base += 1;
        }
        if self.base != index {
            self.base = self.base.max(index + 1);
            return None;
        }
        self.base += 1;
        let slot = self.slots.pop_front()?;
        let missing = slot.expected - slot.weight;
        let whole = slot.weight > 0.0 && missing <= MISSING.max(MISSING_SHARE * slot.expected);
        whole.then(|| slot.sum.map(|s| s / slot.weight))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(rate_hz: f64, seconds: f64, f: impl Fn(f64) -> f64) -> Vec<Option<[f64; 3]>> {
        let mut grid = Gridder::default();
        let spacing = 1e6 / rate_hz;
        let mut out = Vec::new();
        for i in 0..(seconds * rate_hz) as usize {
            let t = i as f64 * spacing;
            grid.push(t, spacing, &[[f(t / 1e6) as f32, 0.0, 1.0]]);
            while t >= (out.len() + 2) as f64 * STEP_US {
                out.push(grid.take(out.len() as i64));
            }
        }
        out
    }

    #[test]
    fn constants_and_ramps_pass_exactly_at_any_rate() {
        let mut worst = 0.0_f64;
        for rate in [50.0, 104.0, 208.0, 1687.658, 97_656.0] {
            for (k, v) in run(rate, 2.0, |t| 3.0 - 2.0 * t).into_iter().enumerate().skip(2) {
                let truth = 3.0 - 2.0 * k as f64 * STEP_S;
                worst = worst.max((v.expect("no holes")[0] - truth).abs());
            }
        }
        assert!(worst < 1e-5, "worst {worst}"); // measured 2e-6, the rounding of f32
    }

    #[test]
    fn orbit_vibration_is_suppressed_where_turns_live() {
        // 18 m/s² at every orbit rate from 25 to 115 Hz: what is left under a 0.1 s Gaussian, the detector's own weight,
        // must be far below the 0.05 m/s² of an arm turning.
        let weights: Vec<f64> = (-20..=20).map(|k| (-0.5 * (f64::from(k) * STEP_S / 0.1).powi(2)).exp()).collect();
        let total: f64 = weights.iter().sum();
        let mut worst = 0.0_f64;
        for tenths in 250..1150 {
            let hz = f64::from(tenths) / 10.0;
            let grid = run(1687.658, 3.0, |t| 18.0 * (core::f64::consts::TAU * hz * t).sin());
            let v: Vec<f64> = grid.into_iter().skip(5).map(|v| v.unwrap()[0]).collect();
            for w in v.windows(weights.len()) {
                worst = worst.max((w.iter().zip(&weights).map(|(v, w)| v * w).sum::<f64>() / total).abs());
            }
        }
        assert!(worst < 1e-4, "worst {worst:.6} m/s²"); // measured 5e-5
    }

    #[test]
    fn a_jump_in_time_costs_no_memory_and_what_comes_after_it_is_read() {
        let mut grid = Gridder::default();
        for (first_us, value) in [(0.0, 1.0), (1e9, 2.0), (1e12, 3.0)] {
            grid.push(first_us, 1000.0, &[[value, 0.0, 0.0]; 200]);
        }
        let index = (1e12 / STEP_US) as i64 + 4;
        assert_eq!(grid.take(10), None, "gone");
        assert!((grid.take(index).expect("known")[0] - 3.0).abs() < 1e-9);
        assert!(grid.slots.len() < 1000, "{} grid points wait", grid.slots.len());
    }

    #[test]
    fn a_hole_stays_a_hole() {
        let mut grid = Gridder::default();
        let mut got = Vec::new();
        for i in 0..1000 {
            let t = f64::from(i) * 1000.0;
            if !(300_000.0..500_000.0).contains(&t) {
                grid.push(t, 1000.0, &[[1.0, 2.0, 3.0]]);
            }
            while t >= (got.len() + 2) as f64 * STEP_US {
                got.push(grid.take(got.len() as i64));
            }
        }
        let holes: Vec<usize> = (0..got.len()).filter(|k| got[*k].is_none()).collect();
        // Where the stream begins; points from 0.30 to 0.50 s, and those that lost a part of their weight to either side.
        assert_eq!(holes, (0..2).chain(14..27).collect::<Vec<_>>());
    }

    #[test]
    fn samples_that_are_missing_let_no_vibration_through() {
        // 18 m/s² of an orbit at 60 Hz on a ramp; a block of 72 samples is missing every second.
        let (mut grid, mut got) = (Gridder::default(), Vec::new());
        let spacing_us = 600.0;
        for i in 0..8000 {
            let t_us = i as f64 * spacing_us;
            if !(1000..1072).contains(&(i % 1667)) {
                let x = 1e-6 * t_us + 18.0 * (core::f64::consts::TAU * 60e-6 * t_us).sin();
                grid.push(t_us, spacing_us, &[[x as f32, 0.0, 0.0]]);
            }
            while t_us >= (got.len() + 2) as f64 * STEP_US {
                got.push(grid.take(got.len() as i64));
            }
        }
        let known = got[2..].iter().flatten().count();
        let error = |(k, v): (usize, &Option<[f64; 3]>)| v.map_or(0.0, |v| (v[0] - k as f64 * STEP_S).abs());
        let worst = got.iter().enumerate().skip(2).map(error).fold(0.0, f64::max);
        println!("{known} of {} known, worst {worst:.4} m/s²", got.len() - 2);
        assert!(worst < 0.05, "{worst:.3} m/s², where an arm's turn has 0.3");
        assert!(known > 200, "{known} known");
    }
}
