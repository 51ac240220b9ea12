//! What has been heard since streaming began, and whether the sensor's clock started anew meanwhile.

use std::time::Instant;

use steadypass_protocol::Block;

/// What has been heard since streaming began.
pub(super) struct Heard {
    /// Latest time on the sensor's clock, µs, and of its blocks, which answers overtake; `None` before the first block.
    latest_us: u64,
    block_us: Option<u64>,
    /// Number of the next accelerometer sample. A block that goes on from there is of the same life, however old: one that was
    /// begun before the motion chip fell silent is sent when the chip is back.
    next_index: Option<u32>,
    pub(super) last_block: Instant,
    pub(super) last_frame: Instant,
}

/// The streams reach us up to a tenth of a second out of order; a second back means that the clock started anew.
const RESTART_US: u64 = 1_000_000;
/// Answers and introductions overtake this much data at most: all that waits in the sensor when nobody reads.
const OVERTAKE_US: u64 = 2_000_000;

impl Heard {
    pub(super) fn since(now: Instant) -> Self {
        Self { latest_us: 0, block_us: None, next_index: None, last_block: now, last_frame: now }
    }

    /// An answer or an introduction: whether the clock started anew.
    pub(super) fn clock_went_back(&mut self, sensor_us: u64) -> bool {
        let back = sensor_us.saturating_add(RESTART_US) < self.latest_us;
        if back {
            (self.latest_us, self.block_us) = (sensor_us, None);
        }
        self.latest_us = self.latest_us.max(sensor_us);
        back
    }

    /// A block has come: whether the clock started anew before it.
    pub(super) fn block(&mut self, block: &Block<'_>) -> bool {
        self.last_block = Instant::now();
        let continues = self.next_index == Some(block.first_index);
        self.next_index = Some(block.first_index.wrapping_add(block.samples.len() as u32));
        self.clock_went_back_at_block(block.first_us, continues)
    }

    /// One that goes on from the last is of the same life of the sensor, however old.
    fn clock_went_back_at_block(&mut self, first_us: u64, continues: bool) -> bool {
        let before_us = self.block_us.unwrap_or(self.latest_us.saturating_sub(OVERTAKE_US));
        let back = !continues && first_us.saturating_add(RESTART_US) < before_us;
        if back {
            (self.latest_us, self.block_us) = (first_us, None);
        }
        self.latest_us = self.latest_us.max(first_us);
        self.block_us = Some(self.block_us.map_or(first_us, |block_us| block_us.max(first_us)));
        back
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_behind_an_answer_are_no_restart() {
        let mut heard = Heard::since(Instant::now());
        assert!(!heard.clock_went_back_at_block(10_000_000, false));
        assert!(!heard.clock_went_back(12_000_000), "the answer overtakes two seconds of data");
        assert!(!heard.clock_went_back_at_block(10_100_000, false), "some of which found no room in the sensor");
        assert!(heard.clock_went_back_at_block(200_000, false));
        assert!(!heard.clock_went_back(2_100_000));
        assert!(heard.clock_went_back(300_000));
        assert!(!heard.clock_went_back_at_block(310_000, false));
        assert!(!heard.clock_went_back(9_000_000) && !heard.clock_went_back_at_block(310_000, true));
    }

    #[test]
    fn times_from_outside_do_not_overflow() {
        let mut heard = Heard::since(Instant::now());
        assert!(!heard.clock_went_back(u64::MAX));
        assert!(!heard.clock_went_back(u64::MAX));
        assert!(heard.clock_went_back_at_block(0, false));
        assert!(!heard.clock_went_back_at_block(u64::MAX, false));
    }
}
