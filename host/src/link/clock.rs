//! The computer's clock, as recordings are stamped: wall time that never steps back.
//!
//! It is read once and carried on by the monotonic clock, so that setting the wall clock in the middle of a recording moves no
//! stamp. But the monotonic clock stands still while the computer sleeps. Time the wall clock alone says has passed is taken for
//! sleep where it is more than [`SLEPT`]; less is a correction.

use std::{
    sync::{Mutex, PoisonError},
    time::{Duration, Instant, SystemTime},
};

/// Corrections over the network are shorter, and a sleep shorter than this is an interruption like any other.
const SLEPT: Duration = Duration::from_secs(10);

/// The one clock of the process: stamps of all threads can be compared.
static CLOCK: Mutex<Option<HostClock>> = Mutex::new(None);

#[derive(Clone, Copy, Debug)]
struct HostClock {
    at: Instant,
    wall: SystemTime,
    now_ns: u64,
}

impl HostClock {
    fn starting(at: Instant, wall: SystemTime) -> Self {
        let since_1970 = wall.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        Self { at, wall, now_ns: nanoseconds(since_1970) }
    }

    fn now_ns(&mut self, at: Instant, wall: SystemTime) -> u64 {
        let awake = at.saturating_duration_since(self.at);
        let passed = wall.duration_since(self.wall).unwrap_or_default();
        let passed = if passed.saturating_sub(awake) > SLEPT { passed } else { awake };
        *self = Self { at, wall, now_ns: self.now_ns.saturating_add(nanoseconds(passed)) };
        self.now_ns
    }
}

fn nanoseconds(duration: Duration) -> u64 {
    u64::try_from(duration.as_nanos()).unwrap_or(u64::MAX)
}

/// Now, ns since 1970.
pub fn now_ns() -> u64 {
    let (at, wall) = (Instant::now(), SystemTime::now());
    // A clock has no state that a panic could leave half changed.
    let mut clock = CLOCK.lock().unwrap_or_else(PoisonError::into_inner);
    clock.get_or_insert_with(|| HostClock::starting(at, wall)).now_ns(at, wall)
}

/// The moment of the stamp `log_ns`, if that is not too long ago to be told.
pub fn moment_of(log_ns: u64) -> Option<Instant> {
    Instant::now().checked_sub(Duration::from_nanos(now_ns().saturating_sub(log_ns)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn setting_the_wall_clock_moves_no_stamp_and_sleep_is_counted() {
        let (at, wall) = (Instant::now(), SystemTime::UNIX_EPOCH + Duration::from_secs(1_000_000_000));
        let s = Duration::from_secs;
        let mut clock = HostClock::starting(at, wall);
        let start_ns = clock.now_ns(at, wall);
        let mut seconds = |awake: u64, wall_s: i64| {
            let wall = if wall_s < 0 { wall - s(wall_s.unsigned_abs()) } else { wall + s(wall_s.unsigned_abs()) };
            (clock.now_ns(at + s(awake), wall) - start_ns) / 1_000_000_000
        };
        assert_eq!(seconds(1, 1), 1);
        assert_eq!(seconds(2, 4), 2, "set forward by two seconds");
        assert_eq!(seconds(3, -3600), 3, "set back by an hour");
        assert_eq!(seconds(4, -3599), 4);
        assert_eq!(seconds(5, -1799), 1804, "half an hour asleep");
        assert_eq!(seconds(6, -1798), 1805);
    }

    #[test]
    fn a_stamp_just_taken_is_of_now() {
        let before = Instant::now();
        let moment = moment_of(now_ns()).expect("not long ago");
        assert!(moment >= before - Duration::from_millis(1) && moment <= Instant::now());
    }
}
