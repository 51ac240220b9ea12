//! Sensor clock against host clock, from pings.
//!
//! A ping that took long sat somewhere in a queue and says little; the one with the shortest round trip in the last minute
//! says most (minimum-delay filter, as network time protocols use it). Half its round trip bounds the error.

use std::collections::VecDeque;

/// Pings older than this no longer count: both clocks drift by up to 100 µs a second or so.
const WINDOW_US: u64 = 60_000_000;
/// Most pings that are kept (twice a second for a minute, with room to spare).
const MOST: usize = 256;

#[derive(Clone, Copy, Debug)]
struct Sample {
    host_us: u64,
    delay_us: u64,
    /// Host time minus sensor time, µs.
    offset_us: i64,
}

/// Maps sensor time to host time.
#[derive(Clone, Debug, Default)]
pub struct ClockMap {
    samples: VecDeque<Sample>,
}

impl ClockMap {
    /// Takes one answered ping: sent and received on the host's clock, handled on the sensor's, all µs.
    pub fn pong(&mut self, sent_us: u64, received_us: u64, sensor_us: u64) {
        let Some(delay_us) = received_us.checked_sub(sent_us) else { return };
        let middle = sent_us + delay_us / 2;
        let offset_us = middle.cast_signed().wrapping_sub(sensor_us.cast_signed());
        self.samples.push_back(Sample { host_us: received_us, delay_us, offset_us });
        let old = received_us.saturating_sub(WINDOW_US);
        while self.samples.len() > MOST || self.samples.front().is_some_and(|s| s.host_us < old) {
            self.samples.pop_front();
        }
    }

    /// Forgets everything: the sensor restarted.
    pub fn reset(&mut self) {
        self.samples.clear();
    }

    /// Host time of a sensor time, µs, and half the round trip that bounds its error; `None` before the first pong.
    pub fn host_time(&self, sensor_us: u64) -> Option<(u64, u64)> {
        let best = self.samples.iter().min_by_key(|s| s.delay_us)?;
        let host = sensor_us.cast_signed().wrapping_add(best.offset_us);
        Some((host.max(0).cast_unsigned(), best.delay_us.div_ceil(2)))
    }

    /// Shortest round trip in the last minute, µs.
    pub fn round_trip_us(&self) -> Option<u64> {
        self.samples.iter().map(|s| s.delay_us).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quickest_ping_decides() {
        let mut map = ClockMap::default();
        assert_eq!(map.host_time(5), None);
        // True offset 1 000 000 µs; the first ping waited 80 ms on its way back.
        map.pong(2_000_000, 2_082_000, 1_001_000);
        map.pong(3_000_000, 3_002_000, 2_001_000);
        let (host, error) = map.host_time(5_000_000).expect("pinged");
        assert_eq!((host, error), (6_000_000, 1_000));
    }

    #[test]
    fn the_error_is_bounded_by_half_the_round_trip_whatever_the_asymmetry() {
        for (there, back) in [(0, 10_000), (10_000, 0), (3_000, 7_000), (1, 0)] {
            let (mut map, offset) = (ClockMap::default(), 123_456_789u64);
            let sent = 1_000_000_000;
            map.pong(sent, sent + there + back, sent + there - offset);
            let (host, bound) = map.host_time(900_000_000).expect("pinged");
            assert!(host.abs_diff(900_000_000 + offset) <= bound, "{there} {back}: {host} ± {bound}");
        }
    }

    #[test]
    fn old_pings_fade_and_a_clock_set_back_is_ignored() {
        let mut map = ClockMap::default();
        map.pong(1_000, 1_010, 500);
        map.pong(WINDOW_US * 2, WINDOW_US * 2 + 500, 0);
        assert_eq!(map.round_trip_us(), Some(500));
        map.pong(2_000, 1_000, 0);
        assert_eq!(map.round_trip_us(), Some(500));
    }
}
