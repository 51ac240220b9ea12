//! One recording through the analysis, for what exposure needs of it: whether the motor ran, and the weighted vibration.

use std::collections::BTreeMap;

use super::collect::{Collector, Running};
use crate::{
    analysis::{Finding, Pipeline, Reading, Setup, State, WeightedEnergy, WeightedVibration},
    calibration::CalibrationError,
    recording::{Body, Entry, Facts, Losses, Timeline, UserNote},
    session::Hands,
};

/// Tenths of a second in a second.
const PER_SECOND: f64 = 10.0;

/// Entries of one recording in, stretches of running time out.
pub struct Exposure {
    timeline: Timeline,
    pipeline: Pipeline,
    vibration: WeightedVibration,
    /// Weighted energy of tenths whose state is not settled yet: at most as long as a stretch of work is kept open.
    waiting: BTreeMap<u64, WeightedEnergy>,
    collector: Collector,
    readings: u64,
}

impl Exposure {
    /// At the start of a recording.
    ///
    /// # Errors
    /// When the calibration it carries cannot be read.
    pub fn new(facts: &Facts, setup: Setup) -> Result<Self, CalibrationError> {
        Ok(Self {
            timeline: Timeline::calibrated(facts.sensor_calibration()?),
            pipeline: Pipeline::new(setup),
            vibration: WeightedVibration::new(),
            waiting: BTreeMap::new(),
            collector: Collector::new(facts),
            readings: 0,
        })
    }

    /// Takes the next entry.
    pub fn push(&mut self, entry: &Entry<'_>) {
        if let Body::Note(UserNote::Technician { name }) = &entry.body {
            self.collector.handed_to(self.timeline.now_us().unwrap_or(0.0) * 1e-6, name);
        }
        let (pipeline, vibration, waiting) = (&mut self.pipeline, &mut self.vibration, &mut self.waiting);
        let readings = &mut self.readings;
        self.timeline.push(entry, &mut |reading| {
            *readings += 1;
            match &reading {
                Reading::Accel(run) => vibration.push(run, &mut |tick| {
                    waiting.insert(tick.index, tick.energy);
                }),
                Reading::Break { .. } => vibration.interrupt(),
                _ => {}
            }
            pipeline.push(reading);
        });
        self.settle();
    }

    /// Ends the recording.
    pub fn finish(mut self) -> Vec<Running> {
        let waiting = &mut self.waiting;
        self.vibration.finish(&mut |tick| {
            waiting.insert(tick.index, tick.energy);
        });
        self.pipeline.finish();
        self.settle();
        self.collector.finish()
    }

    /// In whose hands the machine was, so far.
    pub fn hands(&self) -> &Hands {
        self.collector.hands()
    }

    /// Whether any sensor data has come.
    pub fn has_data(&self) -> bool {
        self.readings > 0
    }

    /// What is missing so far.
    pub fn losses(&self) -> Losses {
        self.timeline.losses()
    }

    fn settle(&mut self) {
        // Nobody looks at the present here.
        while self.pipeline.pop_live().is_some() {}
        while let Some(finding) = self.pipeline.pop_finding() {
            let Finding::Row(row) = finding else { continue };
            let index = (row.t_s * PER_SECOND).round().max(0.0) as u64;
            self.waiting = self.waiting.split_off(&index);
            let energy = self.waiting.remove(&index).unwrap_or_default();
            self.collector.tenth(row.t_s, row.state != State::Still, &energy);
        }
    }
}
