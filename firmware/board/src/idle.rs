//! How much the processor sleeps: all tasks run [`metered`], and what is left of a second is sleep.
//!
//! Interrupt handlers that run while no task does, and the executor's own few instructions, count as sleep.

use crate::shared::now_us;
use core::future::poll_fn;
use core::pin::pin;
use portable_atomic::{AtomicU32, Ordering::Relaxed};

/// Time spent in tasks, µs, modulo 2³².
static BUSY_US: AtomicU32 = AtomicU32::new(0);

/// Runs `task` and adds up the time it takes.
pub async fn metered<F: Future>(task: F) -> F::Output {
    let mut task = pin!(task);
    poll_fn(|cx| {
        let start_us = now_us();
        let poll = task.as_mut().poll(cx);
        BUSY_US.add((now_us() - start_us) as u32, Relaxed);
        poll
    })
    .await
}

/// Turns the time spent into a share of each second.
#[derive(Default)]
pub struct IdleShare {
    at_us: u64,
    busy_us: u32,
    permille: u16,
}

impl IdleShare {
    /// Share of the last whole second that was sleep, in thousandths.
    pub fn permille(&mut self) -> u16 {
        let (now, busy_us) = (now_us(), BUSY_US.load(Relaxed));
        let span = now - self.at_us;
        if span >= 1_000_000 {
            let busy = u64::from(busy_us.wrapping_sub(self.busy_us)) * 1000 / span;
            *self = Self { at_us: now, busy_us, permille: 1000 - busy.min(1000) as u16 };
        }
        self.permille
    }
}
