//! What has been heard since streaming began, and whether the sensor's clock started anew meanwhile.

use std::time::Instant;

use steadypass_protocol::Block;

use crate::sensor_clock::{Life, Queue, SensorClock};

/// What has been heard since streaming began.
pub(super) struct Heard {
    clock: SensorClock,
    /// Number of the next accelerometer sample; a block that goes on from there is of the same [`Life`].
    next_index: Option<u32>,
    pub(super) last_block: Instant,
    pub(super) last_frame: Instant,
}

impl Heard {
    pub(super) fn since(now: Instant) -> Self {
        Self { clock: SensorClock::default(), next_index: None, last_block: now, last_frame: now }
    }

    /// An answer or an introduction: whether the clock started anew.
    pub(super) fn clock_went_back(&mut self, sensor_us: u64) -> bool {
        self.clock.went_back(sensor_us, Queue::First, Life::Unknown)
    }

    /// A block has come: whether the clock started anew before it.
    pub(super) fn block(&mut self, block: &Block<'_>) -> bool {
        self.last_block = Instant::now();
        let life = if self.next_index == Some(block.first_index) { Life::Same } else { Life::Unknown };
        self.next_index = Some(block.first_index.wrapping_add(block.samples.len() as u32));
        self.clock.went_back(block.first_us, Queue::Data, life)
    }
}
