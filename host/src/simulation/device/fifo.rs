//! The motion chip's buffer: words wait in it for the next poll, and get lost in it.

use steadypass_firmware_core::motion::{Sample, Stream};

/// Words that the chip holds (512, LSM6DSOX data sheet, from memory).
const ROOM: usize = 512;

/// The buffer.
#[derive(Clone, Debug, Default)]
pub(super) struct Fifo {
    words: Vec<Sample>,
    /// Two-bit counter of the chip's slots.
    slot: u8,
    /// Samples that will still be lost.
    losing: u32,
    overrun: bool,
    /// The chip stands still until both streams can start together.
    standing: bool,
}

impl Fifo {
    /// The chip has taken a sample.
    pub(super) fn take(&mut self, accel: [i16; 3], gyro: Option<[i16; 3]>) {
        if self.losing > 0 {
            self.losing -= 1;
            self.slot = self.slot.wrapping_add(1);
            return;
        }
        if self.standing && gyro.is_none() {
            return;
        }
        if std::mem::take(&mut self.standing) {
            self.slot = 0;
        }
        let slot = self.slot & 3;
        self.slot = self.slot.wrapping_add(1);
        let bytes = |counts: [i16; 3]| {
            let [x, y, z] = counts.map(i16::to_le_bytes);
            [x[0], x[1], y[0], y[1], z[0], z[1]]
        };
        self.words.extend(gyro.map(|counts| Sample { stream: Stream::Gyro, slot, counts: bytes(counts) }));
        self.words.push(Sample { stream: Stream::Accel, slot, counts: bytes(accel) });
        if self.words.len() > ROOM {
            self.words.drain(..self.words.len() - ROOM);
            self.overrun = true;
        }
    }

    /// What waits, and whether words before it were lost; `None` while words are being lost.
    pub(super) fn poll(&mut self) -> Option<(Vec<Sample>, bool)> {
        (self.losing == 0).then(|| (std::mem::take(&mut self.words), std::mem::take(&mut self.overrun)))
    }

    /// The next `samples` samples overrun.
    pub(super) fn overrun(&mut self, samples: u32) {
        self.words.clear();
        (self.losing, self.overrun) = (samples, true);
    }

    /// The chip is set up anew once it has missed `samples` samples.
    pub(super) fn renew(&mut self, samples: u32) {
        *self = Self { losing: samples, standing: true, ..Self::default() };
    }

    /// Whether the chip gives no samples.
    pub(super) fn is_losing(&self) -> bool {
        self.losing > 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_fetched_in_time_is_overrun_from_its_old_end() {
        let mut fifo = Fifo::default();
        (0..600).for_each(|i: i16| fifo.take([i, 0, 0], (i % 8 == 0).then_some([0; 3])));
        let (words, overrun) = fifo.poll().unwrap();
        assert_eq!((words.len(), overrun), (512, true));
        let last = words.last().unwrap();
        assert_eq!(
            (last.stream, last.slot, last.counts[..2].to_vec()),
            (Stream::Accel, 3, 599i16.to_le_bytes().to_vec())
        );
        assert_eq!(fifo.poll(), Some((vec![], false)));
    }

    #[test]
    fn a_renewed_chip_starts_both_streams_at_once_with_a_fresh_counter() {
        let mut fifo = Fifo::default();
        fifo.renew(5);
        for i in 0..17i16 {
            assert_eq!(fifo.is_losing(), i < 5);
            fifo.take([i, 0, 0], (i % 8 == 0).then_some([0; 3]));
        }
        let (words, _) = fifo.poll().unwrap();
        assert_eq!((words[0].stream, words[0].slot, words[1].counts[0]), (Stream::Gyro, 0, 8));
        assert_eq!(words.len(), 9 + 2);
    }
}
