//! From FIFO words to numbered, time-stamped blocks.
//!
//! Duty: every sample gets a number that counts what the chip took, not what arrived, so that a hole in the numbers says
//! how many samples are missing and where. Blocks never contain a hole: one is sent early when a hole follows.
//!
//! # How losses are counted
//!
//! After an overrun, a failed burst or a restart of the chip, the number of the next sample is not known by counting.
//! The sample clock says which number the newest sample must have, the level says how many words lie before it, and the
//! chip's two-bit slot counter settles the last few: the number must step as the counter does, modulo four. What the slot
//! counter counts (accelerometer ticks, the fastest sensor batched) is from memory of the data sheet's register text.

use crate::design::{NOMINAL_SPACING_NS, SLOTS_PER_GYRO, WAITING_BLOCK_US};
use crate::sample_clock::SampleClock;
use steadypass_protocol::{ACCEL_BLOCK, Block, GYRO_BLOCK, SAMPLE_BYTES, Samples, ToHost};

/// Which stream a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stream {
    /// Accelerometer.
    Accel,
    /// Gyro.
    Gyro,
}

/// One sample as it came from the FIFO.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// Its stream.
    pub stream: Stream,
    /// Slot counter of its word, 0 to 3.
    pub slot: u8,
    /// x, y, z, little endian.
    pub counts: [u8; SAMPLE_BYTES],
}

/// Why the chip was set up anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Restart {
    /// It had stopped answering or lost its settings: what it missed is a loss.
    AfterFault,
    /// The host changed a setting: nothing was promised meanwhile.
    OnCommand,
}

/// How the next sample's number is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Numbering {
    /// One more than the last.
    Counted,
    /// Samples may be missing; the chip has run on.
    Unsure,
    /// The chip has started anew.
    Restarted(Restart),
}

/// Samples of a block that is being filled.
#[derive(Clone, Debug)]
struct Filling<const N: usize> {
    samples: [[u8; SAMPLE_BYTES]; N],
    len: usize,
    first_index: u32,
    first_slot: u32,
    flags: u8,
}

impl<const N: usize> Filling<N> {
    const fn new() -> Self {
        Self { samples: [[0; SAMPLE_BYTES]; N], len: 0, first_index: 0, first_slot: 0, flags: 0 }
    }

    /// Adds a sample with its number and slot; the caller empties a full block first.
    fn add(&mut self, index: u32, slot: u32, counts: [u8; SAMPLE_BYTES]) {
        if self.len == 0 {
            (self.first_index, self.first_slot) = (index, slot);
        }
        if let Some(place) = self.samples.get_mut(self.len) {
            *place = counts;
            self.len += 1;
        }
    }

    /// The block so far, if there is one; afterwards it is empty.
    fn finish(&mut self, clock: &SampleClock, slots_per_sample: u32) -> Option<Block<'_>> {
        let (len, flags) = (self.len, self.flags);
        if len == 0 {
            return None;
        }
        (self.len, self.flags) = (0, 0);
        Some(Block {
            first_index: self.first_index,
            first_us: clock.time_us(self.first_slot),
            spacing_ns: clock.spacing_ns().saturating_mul(slots_per_sample),
            flags: if clock.is_measured() { flags } else { flags | Block::NOMINAL_SPACING },
            samples: Samples::from_bytes(self.samples[..len].as_flattened())?,
        })
    }
}

/// Builds both motion streams.
#[derive(Clone, Debug)]
pub struct Motion {
    clock: SampleClock,
    numbering: Numbering,
    /// Number of the next accelerometer sample, which is also its slot.
    next_slot: u32,
    /// Slot counter of the last accelerometer word.
    last_counter: Option<u8>,
    /// Number of the next gyro sample and slot of the last one.
    next_gyro: u32,
    last_gyro_slot: Option<u32>,
    /// Time of the poll that is going on, whether it can tell the clock something (its level was what was read), and the
    /// number it expects its first accelerometer sample to have.
    poll_us: u64,
    /// Time of the last poll that brought a sample.
    sample_us: u64,
    telling: bool,
    expected_first: Option<u32>,
    /// A gyro word that came before the accelerometer word which will settle the numbers, perhaps in the poll before.
    waiting_gyro: Option<Sample>,
    accel: Filling<ACCEL_BLOCK>,
    gyro: Filling<GYRO_BLOCK>,
    lost: u32,
    overruns: u16,
    overran: bool,
}

impl Default for Motion {
    fn default() -> Self {
        Self::new()
    }
}

impl Motion {
    /// No sample yet.
    pub const fn new() -> Self {
        Self {
            clock: SampleClock::new(NOMINAL_SPACING_NS),
            numbering: Numbering::Restarted(Restart::OnCommand),
            next_slot: 0,
            last_counter: None,
            next_gyro: 0,
            last_gyro_slot: None,
            poll_us: 0,
            sample_us: 0,
            telling: false,
            expected_first: None,
            waiting_gyro: None,
            accel: Filling::new(),
            gyro: Filling::new(),
            lost: 0,
            overruns: 0,
            overran: false,
        }
    }

    /// Samples lost inside the chip since the sensor started, both streams.
    pub fn samples_lost(&self) -> u32 {
        self.lost
    }

    /// Overruns of the chip's buffer since the sensor started.
    pub fn overruns(&self) -> u16 {
        self.overruns
    }

    /// The chip was set up anew and its buffer is empty.
    pub fn restarted(&mut self, why: Restart) {
        self.waiting_gyro = None;
        // A fault that has not been settled yet must not be forgotten over a command.
        if self.numbering != Numbering::Restarted(Restart::AfterFault) {
            self.numbering = Numbering::Restarted(why);
        }
    }

    /// A burst failed: words may be gone.
    pub fn unsure(&mut self) {
        // The word that would have told its place is gone.
        self.waiting_gyro = None;
        if self.numbering == Numbering::Counted {
            self.numbering = Numbering::Unsure;
        }
    }

    /// Throws unfinished blocks away, so that the next ones start with the next sample. Their samples keep their numbers.
    pub fn discard(&mut self) {
        (self.accel.len, self.accel.flags) = (0, 0);
        (self.gyro.len, self.gyro.flags) = (0, 0);
    }

    /// A poll found `words` words in the buffer at `t_us`, and whether it had overrun. Blocks before a hole go to `sink`.
    pub fn begin_poll(&mut self, t_us: u64, words: u16, overrun: bool, sink: &mut impl FnMut(ToHost<'_>)) {
        self.poll_us = t_us;
        self.telling = self.numbering == Numbering::Counted && !overrun;
        // Right after an overrun the buffer is still full, and a word or two more are overwritten before it is read: that
        // is the same event, and one count.
        let continued = core::mem::replace(&mut self.overran, overrun);
        if overrun {
            self.overruns = self.overruns.saturating_add(u16::from(!continued));
            self.unsure();
        }
        if words == 0 || self.numbering == Numbering::Counted {
            return;
        }
        self.flush(sink);
        // Words per accelerometer sample: nine words in eight slots.
        let slots = (u32::from(words) * SLOTS_PER_GYRO).div_ceil(SLOTS_PER_GYRO + 1);
        self.expected_first = self.clock.newest_at(t_us).map(|newest| newest.wrapping_sub(slots - 1));
        if overrun && !continued {
            self.accel.flags |= Block::AFTER_OVERRUN;
            self.gyro.flags |= Block::AFTER_OVERRUN;
        }
        if let Numbering::Restarted(why) = self.numbering {
            self.renumber_after_restart(why);
            self.clock.restart();
            self.clock.observe(t_us, self.next_slot.wrapping_add(slots - 1));
        }
    }

    /// One word of the poll, in the chip's order. Full blocks go to `sink`.
    pub fn push(&mut self, sample: Sample, sink: &mut impl FnMut(ToHost<'_>)) {
        self.sample_us = self.poll_us;
        match sample.stream {
            Stream::Accel => self.push_accel(sample, sink),
            Stream::Gyro if self.expected_first.is_some() => self.waiting_gyro = Some(sample),
            Stream::Gyro => self.push_gyro(sample, sink),
        }
    }

    /// All words that the level promised were read: what is in hand is what there was at the poll's time.
    pub fn end_poll(&mut self) {
        if self.telling {
            self.clock.observe(self.poll_us, self.next_slot.wrapping_sub(1));
        }
    }

    /// Time has passed: blocks that have waited too long for their next sample go to `sink`.
    pub fn tick(&mut self, now_us: u64, sink: &mut impl FnMut(ToHost<'_>)) {
        if now_us.saturating_sub(self.sample_us) >= WAITING_BLOCK_US {
            self.flush(sink);
        }
    }

    /// The chip's counters are fresh: only the time says what it missed.
    fn renumber_after_restart(&mut self, why: Restart) {
        let first = self.expected_first.take().map_or(self.next_slot, |expected| self.not_back(expected));
        let missing_accel = first.wrapping_sub(self.next_slot);
        let missing_gyro = self.last_gyro_slot.take().map_or(0, |last| gyro_missing(last, first));
        self.next_slot = first;
        self.next_gyro = self.next_gyro.wrapping_add(missing_gyro);
        self.last_counter = None;
        if why == Restart::AfterFault {
            self.lost = self.lost.saturating_add(missing_accel).saturating_add(missing_gyro);
            self.accel.flags |= Block::AFTER_RESTART;
            self.gyro.flags |= Block::AFTER_RESTART;
        }
    }

    fn push_accel(&mut self, sample: Sample, sink: &mut impl FnMut(ToHost<'_>)) {
        if let Some(expected) = self.expected_first.take() {
            let first = self.settle(expected, sample.slot);
            self.lost = self.lost.saturating_add(first.wrapping_sub(self.next_slot));
            self.next_slot = first;
            if let Some(gyro) = self.waiting_gyro.take() {
                // So that a gyro word of this same slot finds it as the one that comes next.
                self.last_counter = Some(sample.slot.wrapping_sub(1) & 3);
                self.push_gyro(gyro, sink);
            }
        }
        self.numbering = Numbering::Counted;
        self.accel.add(self.next_slot, self.next_slot, sample.counts);
        self.next_slot = self.next_slot.wrapping_add(1);
        self.last_counter = Some(sample.slot);
        if self.accel.len == ACCEL_BLOCK {
            self.accel.finish(&self.clock, 1).map(ToHost::Accel).map(sink);
        }
    }

    fn push_gyro(&mut self, sample: Sample, sink: &mut impl FnMut(ToHost<'_>)) {
        // Words of one slot share its counter: the gyro's may come before or after the accelerometer's.
        let same_slot = self.last_counter == Some(sample.slot);
        let slot = if same_slot { self.next_slot.wrapping_sub(1) } else { self.next_slot };
        let missing = self.last_gyro_slot.map_or(0, |last| gyro_missing(last, slot));
        if missing > 0 {
            self.gyro.finish(&self.clock, SLOTS_PER_GYRO).map(ToHost::Gyro).map(&mut *sink);
            self.next_gyro = self.next_gyro.wrapping_add(missing);
            self.lost = self.lost.saturating_add(missing);
        }
        self.gyro.add(self.next_gyro, slot, sample.counts);
        self.next_gyro = self.next_gyro.wrapping_add(1);
        self.last_gyro_slot = Some(slot);
        if self.gyro.len == GYRO_BLOCK {
            self.gyro.finish(&self.clock, SLOTS_PER_GYRO).map(ToHost::Gyro).map(sink);
        }
    }

    fn flush(&mut self, sink: &mut impl FnMut(ToHost<'_>)) {
        self.accel.finish(&self.clock, 1).map(ToHost::Accel).map(&mut *sink);
        self.gyro.finish(&self.clock, SLOTS_PER_GYRO).map(ToHost::Gyro).map(sink);
    }

    /// The number nearest to `expected` that steps as the slot counter did, and does not go back.
    fn settle(&self, expected: u32, counter: u8) -> u32 {
        let Some(last) = self.last_counter else { return self.not_back(expected) };
        let counted = self.next_slot.wrapping_add(u32::from(counter.wrapping_sub(last).wrapping_sub(1) & 3));
        let beyond = expected.wrapping_sub(counted) & 3;
        let nearest = if beyond < 2 { expected.wrapping_sub(beyond) } else { expected.wrapping_add(4 - beyond) };
        if nearest.wrapping_sub(self.next_slot) as i32 >= 0 { nearest } else { counted }
    }

    /// `expected`, but never before the next number: numbers do not go back.
    fn not_back(&self, expected: u32) -> u32 {
        if expected.wrapping_sub(self.next_slot) as i32 > 0 { expected } else { self.next_slot }
    }
}

/// Gyro samples between one in slot `last` and one in slot `now`.
fn gyro_missing(last: u32, now: u32) -> u32 {
    let steps = (now.wrapping_sub(last) + SLOTS_PER_GYRO / 2) / SLOTS_PER_GYRO;
    steps.saturating_sub(1)
}

#[cfg(test)]
mod tests;
