//! When the sensor's clock started anew, told from the times that its messages bear: one rule, by which the link sees a restart
//! as it happens and the recording's time axis sees it afterwards.
//!
//! The sensor sends from two queues. Marks, answers and introductions overtake the data; within a queue messages keep their order.
//! So a message is held against what its own queue said last.

/// The streams of one queue come up to a tenth of a second out of order; a second back means that the clock started anew.
const RESTART_US: u64 = 1_000_000;
/// What is sent first overtakes this much data at most: all that waits in the sensor when nobody reads.
const OVERTAKE_US: u64 = 2_000_000;

/// Which of the sensor's two queues a message waited in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Queue {
    /// Marks, answers and introductions, which overtake the data.
    First,
    /// Blocks and looks.
    Data,
}

/// Whether a message is known to come from between the same two restarts as the last.
///
/// A block that goes on from the last one's number is, however old it be: one that was begun before the motion chip fell silent
/// is sent when the chip is back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Life {
    /// It is.
    Same,
    /// Its time has to tell.
    Unknown,
}

/// What the sensor's clock has shown in this life of the sensor.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct SensorClock {
    latest_us: u64,
    /// Latest time of the data, which may lie behind; `None` before the first of this life.
    data_us: Option<u64>,
}

impl SensorClock {
    /// Begins a life of the sensor with a message of that time.
    pub(crate) fn begun(sensor_us: u64, queue: Queue) -> Self {
        Self { latest_us: sensor_us, data_us: (queue == Queue::Data).then_some(sensor_us) }
    }

    /// The latest time it has shown, µs.
    pub(crate) fn latest_us(&self) -> u64 {
        self.latest_us
    }

    /// Takes the time of a message and says whether the clock started anew before it.
    pub(crate) fn went_back(&mut self, sensor_us: u64, queue: Queue, life: Life) -> bool {
        let before_us = match queue {
            Queue::First => self.latest_us,
            Queue::Data => self.data_us.unwrap_or(self.latest_us.saturating_sub(OVERTAKE_US)),
        };
        let back = life == Life::Unknown && sensor_us.saturating_add(RESTART_US) < before_us;
        if back {
            *self = Self::begun(sensor_us, queue);
        } else {
            self.latest_us = self.latest_us.max(sensor_us);
            if queue == Queue::Data {
                self.data_us = Some(self.data_us.map_or(sensor_us, |data_us| data_us.max(sensor_us)));
            }
        }
        back
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(clock: &mut SensorClock, sensor_us: u64) -> bool {
        clock.went_back(sensor_us, Queue::First, Life::Unknown)
    }

    fn block(clock: &mut SensorClock, sensor_us: u64) -> bool {
        clock.went_back(sensor_us, Queue::Data, Life::Unknown)
    }

    #[test]
    fn blocks_behind_an_answer_are_no_restart() {
        let mut clock = SensorClock::default();
        assert!(!block(&mut clock, 10_000_000));
        assert!(!answer(&mut clock, 12_000_000), "the answer overtakes two seconds of data");
        assert!(!block(&mut clock, 10_100_000), "some of which found no room in the sensor");
        assert!(block(&mut clock, 200_000));
        assert!(!answer(&mut clock, 2_100_000));
        assert!(answer(&mut clock, 300_000));
        assert!(!block(&mut clock, 310_000));
        assert!(!answer(&mut clock, 9_000_000) && !clock.went_back(310_000, Queue::Data, Life::Same));
    }

    #[test]
    fn times_from_outside_do_not_overflow() {
        let mut clock = SensorClock::default();
        assert!(!answer(&mut clock, u64::MAX));
        assert!(!answer(&mut clock, u64::MAX));
        assert!(block(&mut clock, 0));
        assert!(!block(&mut clock, u64::MAX));
    }
}
