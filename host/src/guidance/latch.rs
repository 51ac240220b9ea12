//! A fault that may flicker becomes a warning that does not.
//!
//! ```text
//!          outside for raise_s, and hold_s since it was last raised
//!   quiet ────────────────────────────────────────────────────────► active
//!     ▲                                                               │
//!     └───────────────────────────────────────────────────────────────┘
//!                          inside for clear_s
//! ```
//!
//! Evidence in between neither raises nor clears; it starts both waits anew. A fault that is on, has not been seen for
//! `again_s` and comes back is raised once more: who heard the first warning has done what it asked, and must hear that it was
//! not enough. Whatever the evidence does, two warnings of
//! one kind are at least `hold_s` apart.

/// How long it takes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timing {
    /// Seconds outside before it is raised.
    pub(super) raise_s: f64,
    /// Seconds inside before it is cleared.
    pub(super) clear_s: f64,
    /// Shortest time between two raises, s.
    pub(super) hold_s: f64,
    /// Seconds without evidence of it after which an active fault that comes back is raised once more; infinite for never.
    pub(super) again_s: f64,
    /// Seconds without evidence of it after which an active fault is not spoken of any more, until there is some again; infinite for
    /// never.
    pub(super) fade_s: f64,
}

/// What one look says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Evidence {
    /// Clearly at fault.
    Outside,
    /// Neither, or not known.
    Between,
    /// Clearly well.
    Inside,
}

/// State of one kind of warning.
#[derive(Clone, Copy, Debug)]
pub(super) struct Latch {
    timing: Timing,
    active: bool,
    /// The evidence as it has been, without a break, since when.
    lasting: Option<(Evidence, f64)>,
    raised_s: Option<f64>,
    /// When it was last seen outside.
    outside_s: Option<f64>,
    /// Active, it went away and came back: to be raised once more.
    returned: bool,
}

impl Latch {
    pub(super) fn new(timing: Timing) -> Self {
        Self { timing, active: false, lasting: None, raised_s: None, outside_s: None, returned: false }
    }

    /// Whether the fault is on.
    pub(super) fn active(&self) -> bool {
        self.active
    }

    /// Whether the fault is on and to be spoken of at time `t_s`.
    pub(super) fn speaks(&self, t_s: f64) -> bool {
        self.active && self.outside_s.is_some_and(|outside| t_s - outside < self.timing.fade_s)
    }

    /// Takes one look at time `t_s`; true when the warning begins.
    pub(super) fn step(&mut self, t_s: f64, evidence: Evidence) -> bool {
        // Ticks come at multiples of 0.1 s, which binary numbers only come near.
        const ROUNDING_S: f64 = 1e-6;
        let since = match self.lasting {
            Some((lasting, since)) if lasting == evidence => since,
            _ => t_s,
        };
        self.lasting = Some((evidence, since));
        let lasted = |wait_s: f64| t_s - since >= wait_s - ROUNDING_S;
        if evidence == Evidence::Outside {
            let away_s = self.outside_s.map_or(0.0, |outside| t_s - outside);
            self.returned |= self.active && away_s >= self.timing.again_s;
            self.outside_s = Some(t_s);
        }
        match (self.active, evidence) {
            (active, Evidence::Outside) if (!active || self.returned) && lasted(self.timing.raise_s) => {
                let held = self.raised_s.is_none_or(|raised| t_s - raised >= self.timing.hold_s - ROUNDING_S);
                if held {
                    (self.active, self.returned) = (true, false);
                    self.raised_s = Some(t_s);
                }
                held
            }
            (true, Evidence::Inside) if lasted(self.timing.clear_s) => {
                (self.active, self.returned) = (false, false);
                false
            }
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const TIMING: Timing =
        Timing { raise_s: 0.3, clear_s: 1.0, hold_s: 5.0, again_s: f64::INFINITY, fade_s: f64::INFINITY };

    fn raises(evidence: impl IntoIterator<Item = Evidence>) -> Vec<f64> {
        raises_with(TIMING, evidence)
    }

    fn raises_with(timing: Timing, evidence: impl IntoIterator<Item = Evidence>) -> Vec<f64> {
        let mut latch = Latch::new(timing);
        let times = (1..).map(|i| f64::from(i) * 0.1);
        times.zip(evidence).filter_map(|(t, evidence)| latch.step(t, evidence).then_some(t)).collect()
    }

    #[test]
    fn a_fault_is_spoken_of_once() {
        let evidence = [vec![Evidence::Outside; 200], vec![Evidence::Between; 200], vec![Evidence::Outside; 200]];
        assert_eq!(raises(evidence.concat()).len(), 1);
    }

    #[test]
    fn a_fault_that_went_away_and_came_back_is_spoken_of_again() {
        let again = Timing { again_s: 3.0, ..TIMING };
        let twice = |between: usize| {
            let evidence =
                [vec![Evidence::Outside; 40], vec![Evidence::Between; between], vec![Evidence::Outside; 100]];
            raises_with(again, evidence.concat())
        };
        assert_eq!(twice(20).len(), 1, "two seconds are no absence");
        let times = twice(40);
        assert_eq!(times.len(), 2);
        assert!((times[1] - 8.4).abs() < 1e-9, "as long after its return as after its first coming: {times:?}");
    }

    #[test]
    fn it_waits_before_it_speaks_and_after_it_clears() {
        let evidence = [vec![Evidence::Outside; 4], vec![Evidence::Inside; 11], vec![Evidence::Outside; 100]].concat();
        let times = raises(evidence);
        assert!((times[0] - 0.4).abs() < 1e-9, "{times:?}");
        // Cleared at 1.5 s; outside again, but not before five seconds are over.
        assert!((times[1] - 5.4).abs() < 1e-9, "{times:?}");
        assert_eq!(raises([Evidence::Outside, Evidence::Outside, Evidence::Between].repeat(50)).len(), 0);
    }

    #[test]
    fn what_nothing_speaks_for_any_more_fades_and_is_the_same_fault_when_it_comes_back() {
        let mut latch = Latch::new(Timing { fade_s: 2.05, ..TIMING });
        let mut spoken = |evidence: Evidence, from: u32| {
            (from..from + 50)
                .map(|i| f64::from(i) * 0.1)
                .filter(|t| latch.step(*t, evidence) || latch.speaks(*t))
                .count()
        };
        assert_eq!(spoken(Evidence::Outside, 0), 47, "once it has lasted for 0.3 s");
        assert_eq!(spoken(Evidence::Between, 50), 20, "two seconds from when it was last seen");
        assert_eq!(spoken(Evidence::Outside, 100), 50, "at once, for it was never over");
        assert!(latch.active());
    }

    proptest! {
        #[test]
        fn never_twice_within_the_hold_time(looks in proptest::collection::vec(0..3u8, 0..2000)) {
            let times = raises_with(Timing { again_s: 0.2, ..TIMING }, looks.into_iter().map(|look| match look {
                0 => Evidence::Outside,
                1 => Evidence::Between,
                _ => Evidence::Inside,
            }));
            for pair in times.windows(2) {
                prop_assert!(pair[1] - pair[0] >= TIMING.hold_s - 1e-6);
            }
        }
    }
}
