//! The panel's temperature when a section is started: what every rise is measured against.
//!
//! The machine is set down, then started, then moved. While the motor is off the spot rests on the paint; those readings
//! count, the last two seconds of them. If the machine was started in the air and set down running, they saw something else:
//! then the steady readings of the first seconds with the motor running count (later ones may be of warmed paint, since
//! travel is noticed only at the first turn). Without either (the recording began in the middle of
//! work) the lower half of the first second's readings must do, since in half of the strokes the spot runs ahead of the pad.

use std::collections::VecDeque;

use super::State;

/// Readings this old still count, s.
const WINDOW_S: f64 = 2.0;

/// Fewest readings that make a start.
const ENOUGH: usize = 5;

/// Readings before and after the motor's start that differ by more than this were of two different things, K.
const OTHER_PLACE_K: f64 = 1.5;

/// Readings whose two halves differ by less than this are steady, K: several standard deviations of a mean of ten, and
/// less than a warming pad does in a second.
const STEADY_K: f64 = 0.4;

/// Readings this long after the motor's start may still be of the panel as it was, s.
const UNTOUCHED_S: f64 = 3.0;

/// Time from first movement after which a late start is settled, s.
const LATE_S: f64 = 1.0;

/// The start of one section.
#[derive(Clone, Debug, Default)]
pub(crate) struct Start {
    /// Time and reading while the motor was off, °C.
    resting: VecDeque<(f64, f64)>,
    /// While it ran and did not travel.
    running: VecDeque<(f64, f64)>,
    /// In the first second of work, when there was nothing before.
    late: Vec<f64>,
    /// When the motor started, as far as it was seen.
    running_since_s: Option<f64>,
    working_since_s: Option<f64>,
    start_c: Option<f64>,
}

impl Start {
    /// Takes a reading, °C, corrected.
    pub(crate) fn read(&mut self, t_s: f64, reading_c: f64, state: State) {
        if self.working_since_s.is_some_and(|since| t_s - since > LATE_S || self.late.is_empty() && self.known()) {
            return;
        }
        match state {
            State::Working => {
                self.working_since_s.get_or_insert(t_s);
                if self.resting.len() < ENOUGH && self.running.len() < ENOUGH {
                    self.late.push(reading_c);
                    self.late.sort_by(f64::total_cmp);
                    let half = self.late.len().div_ceil(2);
                    self.start_c = self.late.get(half / 2).copied().filter(|_| self.late.len() >= ENOUGH);
                }
            }
            State::Still | State::Running if self.working_since_s.is_some() => {}
            State::Still => {
                self.running.clear();
                self.running_since_s = None;
                keep(&mut self.resting, t_s, reading_c);
                self.settle();
            }
            State::Running => {
                if t_s - *self.running_since_s.get_or_insert(t_s) <= UNTOUCHED_S {
                    keep(&mut self.running, t_s, reading_c);
                    self.settle();
                }
            }
        }
    }

    fn known(&self) -> bool {
        self.start_c.is_some()
    }

    fn settle(&mut self) {
        let resting = median(&self.resting);
        let running = median(&self.running).filter(|_| steady(&self.running));
        self.start_c = match (resting, running) {
            (Some(resting), Some(running)) if (resting - running).abs() > OTHER_PLACE_K => Some(running),
            (resting, running) => resting.or(running),
        };
    }

    /// The temperature at the start, °C, as far as it is known now.
    pub(crate) fn celsius(&self) -> Option<f64> {
        self.start_c
    }
}

fn keep(readings: &mut VecDeque<(f64, f64)>, t_s: f64, reading_c: f64) {
    readings.push_back((t_s, reading_c));
    while readings.front().is_some_and(|(old, _)| t_s - old > WINDOW_S) {
        readings.pop_front();
    }
}

fn median(readings: &VecDeque<(f64, f64)>) -> Option<f64> {
    let mut sorted: Vec<f64> = readings.iter().map(|(_, c)| *c).collect();
    sorted.sort_by(f64::total_cmp);
    (sorted.len() >= ENOUGH).then(|| 0.5 * (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2]))
}

fn steady(readings: &VecDeque<(f64, f64)>) -> bool {
    let half = readings.len() / 2;
    let mean = |from: usize, to: usize| readings.range(from..to).map(|(_, c)| c).sum::<f64>() / (to - from) as f64;
    half >= 3 && (mean(0, half) - mean(half, readings.len())).abs() < STEADY_K
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings at 10 Hz: (seconds, state, °C).
    fn start(parts: &[(f64, State, f64)]) -> Option<f64> {
        let (mut start, mut t) = (Start::default(), 0.0);
        for (i, &(seconds, state, c)) in parts.iter().enumerate() {
            for k in 0..(seconds * 10.0) as usize {
                // Noise of a known pattern with mean 0.
                start.read(t, c + [0.1, -0.15, 0.05][(i + k) % 3], state);
                t += 0.1;
            }
        }
        start.celsius()
    }

    #[test]
    fn the_resting_panel_counts_and_warming_does_not() {
        let parts = [(4.0, State::Still, 17.5), (2.0, State::Running, 18.2), (30.0, State::Working, 25.0)];
        assert!((start(&parts).unwrap() - 17.5).abs() < 0.1);
    }

    #[test]
    fn what_was_seen_before_it_was_set_down_does_not_count() {
        // In the hand over a floor of 14 °C, on the panel of 28 °C for the last two seconds.
        let parts = [(5.0, State::Still, 14.0), (2.1, State::Still, 28.0), (1.0, State::Running, 28.2)];
        assert!((start(&parts).unwrap() - 28.0).abs() < 0.15);
        // Started in the air, set down running.
        let parts = [(5.0, State::Still, 14.0), (2.5, State::Running, 28.0), (9.0, State::Working, 33.0)];
        assert!((start(&parts).unwrap() - 28.0).abs() < 0.15);
    }

    #[test]
    fn warmed_paint_seen_before_travel_is_noticed_does_not_count() {
        let parts = [(4.0, State::Still, 17.5), (3.0, State::Running, 17.6), (20.0, State::Running, 23.0)];
        assert!((start(&parts).unwrap() - 17.5).abs() < 0.1);
    }

    #[test]
    fn a_recording_that_begins_at_work_still_has_a_start() {
        let parts = [(0.5, State::Working, 21.0), (0.5, State::Working, 22.0), (9.0, State::Working, 31.0)];
        assert!((start(&parts).unwrap() - 21.0).abs() < 0.2);
    }

    #[test]
    fn a_pause_does_not_move_the_start() {
        let parts = [(4.0, State::Still, 17.5), (20.0, State::Working, 25.0), (20.0, State::Still, 24.0)];
        assert!((start(&parts).unwrap() - 17.5).abs() < 0.1);
        assert_eq!(start(&[(0.3, State::Still, 17.5)]), None);
    }
}
