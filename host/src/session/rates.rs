//! How many samples a second there are really, by the clock that stamped them: a chip's own rate is a few percent off its nominal one.

use crate::{
    analysis::{Reading, Run},
    recording::Losses,
};

/// Samples a second, lost ones counted in, interruptions left out; `None` where there are not two to tell it by.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rates {
    /// Of the accelerometer.
    pub accel_hz: Option<f64>,
    /// Of the gyro.
    pub gyro_hz: Option<f64>,
    /// Looks of the thermometer, failed ones counted in.
    pub surface_hz: Option<f64>,
}

impl Rates {
    /// Each stream's rate and how much of it was lost, in words; `None` where no rate is known.
    #[must_use]
    pub fn describe(&self, losses: &Losses) -> Option<String> {
        let streams = [
            ("accelerometer", self.accel_hz, losses.accel_samples),
            ("gyro", self.gyro_hz, losses.gyro_samples),
            ("thermometer", self.surface_hz, losses.surface_looks),
        ];
        let told = streams.into_iter().filter_map(|(name, hz, lost)| Some(format!("{name} {:.1} ({lost} lost)", hz?)));
        Some(told.collect::<Vec<_>>().join(", ")).filter(|words| !words.is_empty())
    }
}

/// Counts them.
#[derive(Clone, Debug, Default)]
pub(super) struct Counters {
    accel: Counter,
    gyro: Counter,
    surface: Counter,
}

#[derive(Clone, Debug, Default)]
struct Counter {
    /// Time of the latest run's first sample, µs, and its samples.
    latest: Option<(f64, u64)>,
    /// Steps from sample to sample, and the time that they took, µs.
    steps: u64,
    us: f64,
}

impl Counters {
    /// Takes the next reading.
    pub(super) fn push(&mut self, reading: &Reading<'_>) {
        match reading {
            Reading::Accel(run) => self.accel.run(run),
            Reading::Gyro(run) => self.gyro.run(run),
            Reading::Surface(look) => self.surface.next(look.t_us, 1, 0),
            Reading::Break { .. } => {
                for counter in [&mut self.accel, &mut self.gyro, &mut self.surface] {
                    counter.latest = None;
                }
            }
            Reading::Mark { .. } => {}
        }
    }

    /// So many looks of the thermometer are missing before the one taken last.
    pub(super) fn looks_lost(&mut self, looks: u64) {
        if self.surface.steps > 0 {
            self.surface.steps += looks;
        }
    }

    pub(super) fn rates(&self) -> Rates {
        Rates { accel_hz: self.accel.hz(), gyro_hz: self.gyro.hz(), surface_hz: self.surface.hz() }
    }
}

impl Counter {
    fn run(&mut self, run: &Run<'_>) {
        if run.has_usable_times() {
            self.next(run.first_us, run.samples.len() as u64, run.lost_before);
        }
    }

    fn next(&mut self, first_us: f64, samples: u64, lost_before: u32) {
        if let Some((before_us, count)) = self.latest.replace((first_us, samples))
            && first_us > before_us
        {
            self.steps += count + u64::from(lost_before);
            self.us += first_us - before_us;
        }
    }

    fn hz(&self) -> Option<f64> {
        (self.us > 0.0).then(|| self.steps as f64 / self.us * 1e6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_those_of_the_stamps_whatever_was_lost_or_interrupted() {
        let mut counters = Counters::default();
        let samples = [[0.0; 3]; 72];
        let run = |first_us: f64, lost_before| Run {
            first_us,
            spacing_us: 600.0,
            lost_before,
            clipped: 0,
            samples: &samples,
        };
        assert_eq!(counters.rates(), Rates::default());
        assert_eq!(counters.rates().describe(&Losses::default()), None);
        // The spacing that a block claims is its nominal one; the stamps say 610 µs.
        let mut first_us = 0.0;
        for i in 0..100 {
            let lost = if i == 50 { 28 } else { 0 };
            first_us += f64::from(lost) * 610.0;
            counters.push(&Reading::Accel(run(first_us, lost)));
            first_us += 72.0 * 610.0;
        }
        counters.push(&Reading::Break { from_us: first_us, to_us: 1e9 });
        counters.push(&Reading::Accel(run(1e9, 9000)));
        let accel_hz = counters.rates().accel_hz.expect("a rate");
        assert!((accel_hz - 1e6 / 610.0).abs() < 1e-6, "{accel_hz}");
        let losses = Losses { accel_samples: 28, ..Losses::default() };
        assert_eq!(counters.rates().describe(&losses).as_deref(), Some("accelerometer 1639.3 (28 lost)"));
    }
}
