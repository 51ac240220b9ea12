//! Samples on their way into a block.

use steadypass_protocol::SAMPLE_BYTES;

/// Samples of one stream on their way into a block.
#[derive(Clone, Debug, Default)]
pub(super) struct Batch {
    pub(super) bytes: Vec<u8>,
    pub(super) first_us: u64,
    /// Number of the sample that comes next.
    pub(super) next_index: u32,
    pub(super) flags: u8,
}

impl Batch {
    /// Samples.
    pub(super) fn len(&self) -> usize {
        self.bytes.len() / SAMPLE_BYTES
    }

    /// Adds a sample taken at `at_us`.
    pub(super) fn push(&mut self, at_us: f64, counts: [i16; 3]) {
        if self.bytes.is_empty() {
            self.first_us = at_us.max(0.0).round() as u64;
        }
        self.bytes.extend(counts.iter().flat_map(|count| count.to_le_bytes()));
        self.next_index = self.next_index.wrapping_add(1);
    }
}
