//! How often the sensor hears from the host, and when one that sends no samples is asked to start again.

use std::time::{Duration, Instant};

/// The sensor stops after three seconds without a word from the host; this leaves room for a few lost ones.
pub(super) const PING_EVERY: Duration = Duration::from_millis(500);
/// Longest pause before a sensor without samples is asked to start again.
const LONGEST_PAUSE: Duration = Duration::from_secs(4);

/// The sensor is there, but no samples come: it is asked to start again and again, ever less often.
pub(super) struct Waiting {
    pub(super) since: Instant,
    pub(super) is_told: bool,
    pub(super) refusals: u32,
    ask_at: Instant,
    pause: Duration,
}

impl Default for Waiting {
    fn default() -> Self {
        let now = Instant::now();
        Self { since: now, is_told: false, refusals: 0, ask_at: now, pause: PING_EVERY }
    }
}

impl Waiting {
    /// Samples are missing since then.
    pub(super) fn since(since: Instant) -> Self {
        Self { since, ..Self::default() }
    }

    /// Whether to ask now; moves the next time on.
    pub(super) fn is_due(&mut self) -> bool {
        let now = Instant::now();
        let due = now >= self.ask_at;
        if due {
            self.ask_at = now + self.pause;
            self.pause = (self.pause * 2).min(LONGEST_PAUSE);
        }
        due
    }
}
