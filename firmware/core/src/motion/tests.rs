//! Motion against a chip model whose samples carry their own true numbers.

use super::*;
use crate::design::poll_time_us;
use proptest::prelude::*;
use std::collections::VecDeque;

/// A chip that samples every `spacing_us` and keeps the newest `depth` words.
struct Chip {
    spacing_us: f64,
    taken: u32,
    gyro_taken: u32,
    fifo: VecDeque<Sample>,
    depth: usize,
    overrun: bool,
    accel_first: bool,
    counter: u8,
    on_since_us: f64,
}

impl Chip {
    fn new(spacing_us: f64) -> Self {
        Self {
            spacing_us,
            taken: 0,
            gyro_taken: 0,
            fifo: VecDeque::new(),
            depth: 512,
            overrun: false,
            accel_first: false,
            counter: 0,
            on_since_us: 1_000_000.0,
        }
    }

    fn run_to(&mut self, t_us: u64) {
        while self.on_since_us + self.spacing_us <= t_us as f64 {
            self.on_since_us += self.spacing_us;
            self.counter = (self.counter + 1) & 3;
            let word = |stream, number: u32| Sample {
                stream,
                slot: self.counter,
                counts: [&number.to_le_bytes()[..], &[0, 0]].concat().try_into().expect("six bytes"),
            };
            let accel = word(Stream::Accel, self.taken);
            let gyro = self.taken.is_multiple_of(8).then(|| word(Stream::Gyro, self.gyro_taken));
            self.gyro_taken += u32::from(gyro.is_some());
            self.taken += 1;
            let words = if self.accel_first { [Some(accel), gyro] } else { [gyro, Some(accel)] };
            for word in words.into_iter().flatten() {
                if self.fifo.len() == self.depth {
                    self.fifo.pop_front();
                    self.overrun = true;
                }
                self.fifo.push_back(word);
            }
        }
    }

    /// Set up anew: buffer and counters are gone, sampling starts again at `t_us`; the truth counts on by time.
    fn restart(&mut self, t_us: u64) {
        let missed = ((t_us as f64 - self.on_since_us) / self.spacing_us).round() as u32;
        self.taken += missed;
        self.gyro_taken = self.taken.div_ceil(8);
        self.on_since_us = t_us as f64;
        self.counter = 0;
        self.fifo.clear();
        self.overrun = false;
    }
}

#[derive(Clone, Debug, PartialEq)]
struct Seen {
    gyro: bool,
    first_index: u32,
    first_us: u64,
    spacing_ns: u32,
    flags: u8,
    numbers: Vec<u32>,
}

fn record(into: &mut Vec<Seen>) -> impl FnMut(ToHost<'_>) {
    |message| {
        let (gyro, block) = match message {
            ToHost::Accel(block) => (false, block),
            ToHost::Gyro(block) => (true, block),
            other => panic!("not a block: {other:?}"),
        };
        let number = |b: &[u8]| u32::from_le_bytes([b[0], b[1], b[2], b[3]]);
        into.push(Seen {
            gyro,
            first_index: block.first_index,
            first_us: block.first_us,
            spacing_ns: block.spacing_ns,
            flags: block.flags,
            numbers: block.samples.as_bytes().chunks(SAMPLE_BYTES).map(number).collect(),
        });
    }
}

/// One whole poll, as the board does it; `fail_after` words of the burst are read and the rest of it is lost.
fn poll(motion: &mut Motion, chip: &mut Chip, t_us: u64, fail_after: Option<usize>, seen: &mut Vec<Seen>) {
    chip.run_to(t_us);
    let words = chip.fifo.len();
    motion.begin_poll(t_us, words as u16, std::mem::take(&mut chip.overrun), &mut record(seen));
    for k in 0..words {
        if fail_after == Some(k) {
            for _ in 0..(words - k).min(7) {
                chip.fifo.pop_front();
            }
            motion.unsure();
            return;
        }
        let word = chip.fifo.pop_front().expect("the level said so");
        motion.push(word, &mut record(seen));
    }
    motion.end_poll();
}

fn tick(k: u64) -> u64 {
    1_000_000 + poll_time_us(k)
}

/// Every block must hold consecutive samples, number them as the chip did, and both streams must go forward.
fn assert_true_numbers(seen: &[Seen]) {
    for gyro in [false, true] {
        let mut next = 0;
        for block in seen.iter().filter(|b| b.gyro == gyro) {
            let truth = block.numbers[0];
            assert!(block.numbers.iter().enumerate().all(|(i, &n)| n == truth + i as u32), "hole inside {block:?}");
            assert_eq!(block.first_index, truth, "{block:?}");
            assert!(block.first_index >= next, "{block:?} goes back");
            next = block.first_index + block.numbers.len() as u32;
        }
    }
}

#[test]
fn a_quiet_run_is_contiguous_and_stamped_true() {
    for accel_first in [false, true] {
        let mut chip = Chip::new(613.0);
        chip.accel_first = accel_first;
        let (mut motion, mut seen) = (Motion::new(), Vec::new());
        for k in 0..2000 {
            poll(&mut motion, &mut chip, tick(k), None, &mut seen);
        }
        assert_true_numbers(&seen);
        assert_eq!((motion.samples_lost(), motion.overruns()), (0, 0));
        let accel: Vec<_> = seen.iter().filter(|b| !b.gyro).collect();
        assert!(accel.iter().all(|b| b.numbers.len() == ACCEL_BLOCK));
        assert!(accel.windows(2).all(|w| w[0].first_index + 72 == w[1].first_index), "no number is left out");
        assert!(seen.iter().filter(|b| b.gyro).all(|b| b.numbers.len() == GYRO_BLOCK));
        assert_eq!(seen[0].flags, Block::NOMINAL_SPACING);
        for block in seen.iter().filter(|b| b.flags == 0) {
            let slot = if block.gyro { block.first_index * 8 } else { block.first_index };
            let truth_us = 1_000_000.0 + 613.0 * f64::from(slot + 1);
            assert!((block.first_us as f64 - truth_us).abs() < 100.0, "{block:?} {truth_us}");
            let spacing = if block.gyro { 8.0 * 613_000.0 } else { 613_000.0 };
            assert!((f64::from(block.spacing_ns) / spacing - 1.0).abs() < 5e-4, "{block:?}");
        }
    }
}

#[test]
fn an_overrun_is_counted_to_the_sample_and_flagged_once() {
    for (stall_polls, spacing) in [(40, 600.0), (77, 571.3), (400, 632.1)] {
        let mut chip = Chip::new(spacing);
        let (mut motion, mut seen) = (Motion::new(), Vec::new());
        let polls = (0..400).chain(400 + stall_polls..900 + stall_polls);
        for k in polls {
            poll(&mut motion, &mut chip, tick(k), None, &mut seen);
        }
        assert_true_numbers(&seen);
        assert_eq!(motion.overruns(), 1);
        let holes = |gyro: bool| {
            let blocks: Vec<_> = seen.iter().filter(|b| b.gyro == gyro).collect();
            blocks.windows(2).map(|w| w[1].first_index - w[0].first_index - w[0].numbers.len() as u32).sum::<u32>()
        };
        assert!(holes(false) > 100);
        assert_eq!(motion.samples_lost(), holes(false) + holes(true));
        for gyro in [false, true] {
            let flagged = seen.iter().filter(|b| b.gyro == gyro && b.flags & Block::AFTER_OVERRUN != 0).count();
            assert_eq!(flagged, 1);
        }
    }
}

#[test]
fn a_failed_burst_costs_its_words_and_no_others() {
    for fail_after in 0..12 {
        let mut chip = Chip::new(617.7);
        let (mut motion, mut seen) = (Motion::new(), Vec::new());
        for k in 0..800 {
            let fail = (k % 100 == 70).then_some(fail_after);
            poll(&mut motion, &mut chip, tick(k), fail, &mut seen);
        }
        assert_true_numbers(&seen);
        let lost = motion.samples_lost();
        assert!((40..=56).contains(&lost), "8 failures of 7 words, lost {lost}");
    }
}

/// Polls until the numbers have to be found again and the buffer begins with a gyro word; returns the next poll.
fn unsure_before_a_gyro_word(motion: &mut Motion, chip: &mut Chip, seen: &mut Vec<Seen>) -> u64 {
    for k in 0..300 {
        poll(motion, chip, tick(k), None, seen);
    }
    motion.unsure();
    chip.run_to(tick(300));
    while chip.fifo.front().is_some_and(|word| word.stream == Stream::Accel) {
        chip.fifo.pop_front();
    }
    301
}

#[test]
fn a_gyro_word_whose_burst_fails_is_lost_and_not_sent_in_another_ones_place() {
    let mut chip = Chip::new(617.7);
    let (mut motion, mut seen) = (Motion::new(), Vec::new());
    let next = unsure_before_a_gyro_word(&mut motion, &mut chip, &mut seen);
    poll(&mut motion, &mut chip, tick(next), Some(1), &mut seen);
    for k in next + 1..next + 200 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    assert_true_numbers(&seen);
}

#[test]
fn a_gyro_word_from_before_a_restart_is_not_sent_after_it() {
    let mut chip = Chip::new(617.7);
    let (mut motion, mut seen) = (Motion::new(), Vec::new());
    let next = unsure_before_a_gyro_word(&mut motion, &mut chip, &mut seen);
    chip.fifo.truncate(1);
    motion.begin_poll(tick(next), 1, false, &mut record(&mut seen));
    let gyro = chip.fifo.pop_front().expect("the gyro word");
    let stale = u32::from_le_bytes([gyro.counts[0], gyro.counts[1], gyro.counts[2], gyro.counts[3]]);
    motion.push(gyro, &mut record(&mut seen));
    motion.end_poll();
    chip.restart(tick(next + 10));
    motion.restarted(Restart::OnCommand);
    for k in next + 11..next + 400 {
        if k == next + 200 {
            motion.unsure();
        }
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    assert!(seen.iter().filter(|b| b.gyro).all(|b| !b.numbers.contains(&stale)), "{stale} came late");
}

#[test]
fn a_chip_set_up_anew_is_numbered_by_time() {
    let mut chip = Chip::new(605.0);
    let (mut motion, mut seen) = (Motion::new(), Vec::new());
    for k in 0..500 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    let blocks_before = seen.len();
    chip.restart(tick(700));
    motion.restarted(Restart::AfterFault);
    for k in 702..1200 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    let after = &seen[blocks_before + 2];
    assert_eq!(after.flags, Block::AFTER_RESTART, "flagged, and its spacing stays a measured one");
    // The hole is 2 s: the count by time may be off by one, never more.
    let error = i64::from(after.first_index) - i64::from(after.numbers[0]);
    assert!(error.abs() <= 2, "{error}");
    let lost = f64::from(motion.samples_lost());
    assert!((lost / (2.0e6 / 605.0 * 1.125) - 1.0).abs() < 0.02, "{lost}");
}

/// The chip falls silent in the middle of a block: what it took is sent soon, not when it is back.
#[test]
fn a_begun_block_does_not_wait_for_a_silent_chip() {
    let mut chip = Chip::new(600.0);
    let (mut motion, mut seen) = (Motion::new(), Vec::new());
    for k in 0..305 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
        motion.tick(tick(k), &mut record(&mut seen));
    }
    let before = seen.len();
    assert!(seen.iter().filter(|b| !b.gyro).all(|b| b.numbers.len() == 72), "no block is cut short while samples come");
    motion.unsure();
    motion.tick(tick(304) + WAITING_BLOCK_US - 1, &mut record(&mut seen));
    assert_eq!(seen.len(), before, "the chip's buffer may bridge this");
    motion.tick(tick(304) + WAITING_BLOCK_US, &mut record(&mut seen));
    assert_eq!(seen.len(), before + 2, "one of each stream");
    motion.tick(tick(304) + 2 * WAITING_BLOCK_US, &mut record(&mut seen));
    assert_eq!(seen.len(), before + 2, "nothing is left");
    // It had run on: the hole is counted as ever.
    for k in 500..900 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    assert_true_numbers(&seen);
}

#[test]
fn a_commanded_restart_is_no_loss() {
    let mut chip = Chip::new(600.0);
    let (mut motion, mut seen) = (Motion::new(), Vec::new());
    for k in 0..300 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    chip.restart(tick(320));
    motion.restarted(Restart::OnCommand);
    motion.discard();
    for k in 322..600 {
        poll(&mut motion, &mut chip, tick(k), None, &mut seen);
    }
    assert_eq!(motion.samples_lost(), 0);
    assert!(seen.iter().all(|b| b.flags & !Block::NOMINAL_SPACING == 0));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// Stalls and failed bursts in any order: numbers stay true, blocks whole.
    #[test]
    fn numbers_stay_true_whatever_happens(
        spacing in 570.0..632.0f64,
        accel_first: bool,
        faults in proptest::collection::vec((0usize..6, 1u64..60, 0usize..20), 1..8),
    ) {
        let mut chip = Chip::new(spacing);
        chip.accel_first = accel_first;
        let (mut motion, mut seen, mut k) = (Motion::new(), Vec::new(), 0);
        for _ in 0..150 {
            poll(&mut motion, &mut chip, tick(k), None, &mut seen);
            k += 1;
        }
        for (kind, wait, after) in faults {
            match kind {
                0..3 => k += wait,
                _ => poll(&mut motion, &mut chip, tick(k), Some(after), &mut seen),
            }
            for _ in 0..40 {
                k += 1;
                poll(&mut motion, &mut chip, tick(k), None, &mut seen);
            }
        }
        assert_true_numbers(&seen);
    }
}
