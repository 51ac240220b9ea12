//! The mark button: one press, one mark, at the time the contact first closed.
//!
//! Contacts bounce for a few milliseconds, and a machine that shakes makes them chatter. A press counts when the contact
//! is still closed a while after it first closed; the next one is only possible after it was open for a while.

/// How long the contact must stay closed, and afterwards open, µs.
pub const SETTLE_US: u64 = 20_000;

/// State of the button.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Button {
    /// Open for long enough; armed.
    #[default]
    Open,
    /// Closed since, not yet for long enough.
    Closing {
        /// When it closed, µs.
        since_us: u64,
    },
    /// A counted press that still holds, or its bouncing end.
    Held {
        /// When it was last seen closed, µs.
        closed_us: u64,
    },
}

impl Button {
    /// The contact at `t_us`. Call at every edge and at least every 5 ms while this says [`Button::is_busy`]. Returns when
    /// the contact closed, once per press.
    pub fn seen(&mut self, t_us: u64, closed: bool) -> Option<u64> {
        match (*self, closed) {
            (Self::Open, true) => *self = Self::Closing { since_us: t_us },
            (Self::Closing { since_us }, true) if t_us.saturating_sub(since_us) >= SETTLE_US => {
                *self = Self::Held { closed_us: t_us };
                return Some(since_us);
            }
            // Bouncing while closing: the press is still the same one as long as it closes again soon; if it does not,
            // it was a knock.
            (Self::Closing { since_us }, false) if t_us.saturating_sub(since_us) >= SETTLE_US => *self = Self::Open,
            (Self::Held { .. }, true) => *self = Self::Held { closed_us: t_us },
            (Self::Held { closed_us }, false) if t_us.saturating_sub(closed_us) >= SETTLE_US => *self = Self::Open,
            _ => {}
        }
        None
    }

    /// Whether time alone can change what the button says.
    pub fn is_busy(&self) -> bool {
        *self != Self::Open
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds a contact trace given as closed intervals, ms, with edges and a look every 5 ms while busy.
    fn presses(closed_ms: &[(u64, u64)], until_ms: u64) -> Vec<u64> {
        let mut button = Button::default();
        let mut found = Vec::new();
        let mut last = false;
        for t_us in (0..until_ms * 1000).step_by(100) {
            let closed = closed_ms.iter().any(|&(from, to)| (from * 1000..to * 1000).contains(&t_us));
            if closed != last || (button.is_busy() && t_us.is_multiple_of(5000)) {
                found.extend(button.seen(t_us, closed));
            }
            last = closed;
        }
        found
    }

    #[test]
    fn a_bouncing_press_is_one_mark_at_its_first_contact() {
        assert_eq!(presses(&[(10, 11), (12, 13), (14, 200), (201, 202), (203, 204)], 400), [10_000]);
    }

    #[test]
    fn a_knock_is_no_mark() {
        assert_eq!(presses(&[(10, 14)], 200), []);
    }

    #[test]
    fn two_presses_are_two_marks() {
        assert_eq!(presses(&[(10, 100), (150, 250)], 400), [10_000, 150_000]);
    }

    #[test]
    fn holding_is_one_mark() {
        assert_eq!(presses(&[(10, 5000)], 5100), [10_000]);
    }
}
