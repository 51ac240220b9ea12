//! Round trips of pings.
//!
//! A ping that took long sat somewhere in a queue and says little; the one with the shortest round trip in the last minute tells
//! how quick the cable is.

use std::collections::VecDeque;

/// Pings older than this no longer count.
const WINDOW_US: u64 = 60_000_000;
/// Most pings that are kept (twice a second for a minute, with room to spare).
const MOST: usize = 256;

/// The round trips of the last minute: when the answer came and how long it had taken, both µs of the host's clock.
#[derive(Clone, Debug, Default)]
pub(super) struct RoundTrips {
    trips: VecDeque<(u64, u64)>,
}

impl RoundTrips {
    /// Takes one answered ping, sent and received on the host's clock, µs.
    pub(super) fn pong(&mut self, sent_us: u64, received_us: u64) {
        let Some(trip_us) = received_us.checked_sub(sent_us) else { return };
        self.trips.push_back((received_us, trip_us));
        let old_us = received_us.saturating_sub(WINDOW_US);
        while self.trips.len() > MOST || self.trips.front().is_some_and(|(at_us, _)| *at_us < old_us) {
            self.trips.pop_front();
        }
    }

    /// Shortest round trip in the last minute, µs.
    pub(super) fn shortest_us(&self) -> Option<u64> {
        self.trips.iter().map(|(_, trip_us)| *trip_us).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_pings_fade_and_a_clock_set_back_is_ignored() {
        let mut trips = RoundTrips::default();
        assert_eq!(trips.shortest_us(), None);
        trips.pong(1_000, 1_010);
        trips.pong(1_000, 1_500);
        assert_eq!(trips.shortest_us(), Some(10));
        trips.pong(WINDOW_US * 2, WINDOW_US * 2 + 500);
        assert_eq!(trips.shortest_us(), Some(500));
        trips.pong(2_000, 1_000);
        assert_eq!(trips.shortest_us(), Some(500));
    }
}
