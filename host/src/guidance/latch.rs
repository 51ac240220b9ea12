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
//! Evidence in between neither raises nor clears; it starts both waits anew. A fault that is on is raised once more when
//!
//! * it has not been seen for `again_s` and comes back clearly: who heard the first warning has done what it asked, and must hear
//!   that it was not enough; what only hovers at its limit is the same fault still;
//! * it is still there `remind_s` after the last word about it;
//! * it has grown since the last word ([`Evidence::Grown`]), which was not heeded then.
//!
//! Whatever the evidence does, two warnings of one kind are at least `hold_s` apart.

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
    /// Seconds after the last word about it when an active fault that is still there is raised once more; infinite for never.
    pub(super) remind_s: f64,
    /// Seconds without evidence of it after which an active fault is not spoken of any more, until there is some again; infinite for
    /// never.
    pub(super) fade_s: f64,
}

/// What one look says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Evidence {
    /// Clearly at fault, and so much more so than at the last word that it is worth another.
    Grown,
    /// Clearly at fault.
    Outside,
    /// At fault, by so little that its coming back would be no news.
    Barely,
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
    /// The evidence as it has been, without a break, since when; what is barely at fault counts as at fault.
    lasting: Option<(Evidence, f64)>,
    raised_s: Option<f64>,
    /// When it was last seen at fault.
    outside_s: Option<f64>,
    /// Active, it went away and came back.
    returned: bool,
    /// Active, to be raised once more.
    due: bool,
}

impl Latch {
    pub(super) fn new(timing: Timing) -> Self {
        Self { timing, active: false, lasting: None, raised_s: None, outside_s: None, returned: false, due: false }
    }

    /// Whether the fault is on.
    pub(super) fn active(&self) -> bool {
        self.active
    }

    /// Whether the fault is on and to be spoken of at time `t_s`.
    pub(super) fn speaks(&self, t_s: f64) -> bool {
        self.active && self.outside_s.is_some_and(|outside| t_s - outside < self.timing.fade_s)
    }

    /// Takes one look at time `t_s`; true when the warning begins, or is said once more.
    pub(super) fn step(&mut self, t_s: f64, evidence: Evidence) -> bool {
        // Ticks come at multiples of 0.1 s, which binary numbers only come near.
        const ROUNDING_S: f64 = 1e-6;
        let at_fault = matches!(evidence, Evidence::Grown | Evidence::Outside | Evidence::Barely);
        let kind = if at_fault { Evidence::Outside } else { evidence };
        let since = match self.lasting {
            Some((lasting, since)) if lasting == kind => since,
            _ => t_s,
        };
        self.lasting = Some((kind, since));
        let lasted = |wait_s: f64| t_s - since >= wait_s - ROUNDING_S;
        let raised_for = |wait_s: f64| self.raised_s.is_none_or(|raised| t_s - raised >= wait_s - ROUNDING_S);
        if at_fault {
            let away_s = self.outside_s.map_or(0.0, |outside| t_s - outside);
            self.returned |= self.active && away_s >= self.timing.again_s;
            self.due |= self.returned && evidence != Evidence::Barely;
            self.due |= self.active && raised_for(self.timing.remind_s);
            self.outside_s = Some(t_s);
        }
        // What has fallen again before it could be said is no news any more.
        let due = self.due || evidence == Evidence::Grown;
        if at_fault && (!self.active || due) && lasted(self.timing.raise_s) && raised_for(self.timing.hold_s) {
            (self.active, self.returned, self.due) = (true, false, false);
            self.raised_s = Some(t_s);
            return true;
        }
        if evidence == Evidence::Inside && lasted(self.timing.clear_s) {
            (self.active, self.returned, self.due) = (false, false, false);
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const TIMING: Timing = Timing {
        raise_s: 0.3,
        clear_s: 1.0,
        hold_s: 5.0,
        again_s: f64::INFINITY,
        remind_s: f64::INFINITY,
        fade_s: f64::INFINITY,
    };

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
    fn what_hovers_at_its_limit_is_one_fault_until_it_comes_back_clearly() {
        let again = Timing { again_s: 3.0, ..TIMING };
        let came = |back: Evidence| {
            let visit = [vec![Evidence::Between; 40], vec![back; 40]].concat();
            raises_with(again, [vec![Evidence::Barely; 40], visit.repeat(3)].concat()).len()
        };
        assert_eq!(came(Evidence::Barely), 1);
        assert_eq!(came(Evidence::Outside), 4);
        // Barely back, then clearly: said when it is clear.
        let late = [vec![Evidence::Outside; 40], vec![Evidence::Between; 40], vec![Evidence::Barely; 10]].concat();
        let times = raises_with(again, [late, vec![Evidence::Outside; 40]].concat());
        assert_eq!(times.len(), 2);
        assert!((times[1] - 9.1).abs() < 1e-9, "{times:?}");
    }

    #[test]
    fn a_fault_that_lasts_is_said_again_after_a_while_and_one_that_grows_as_soon_as_the_hold_allows() {
        let times = raises_with(Timing { remind_s: 8.0, ..TIMING }, [Evidence::Barely; 250]);
        assert_eq!(times.len(), 4, "{times:?}");
        assert!(times.windows(2).all(|pair| (pair[1] - pair[0] - 8.0).abs() < 1e-6), "{times:?}");

        let grown = [vec![Evidence::Outside; 20], vec![Evidence::Grown; 60], vec![Evidence::Outside; 80]];
        let times = raises(grown.concat());
        assert_eq!(times.len(), 2);
        assert!((times[0] - 0.4).abs() < 1e-9 && (times[1] - 5.4).abs() < 1e-9, "not within the hold time: {times:?}");
        let fallen = [vec![Evidence::Outside; 20], vec![Evidence::Grown; 20], vec![Evidence::Outside; 80]];
        assert_eq!(raises(fallen.concat()).len(), 1, "it had fallen again when it could be said");
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
        fn never_twice_within_the_hold_time(looks in proptest::collection::vec(0..5u8, 0..2000)) {
            let times = raises_with(Timing { again_s: 0.2, remind_s: 1.0, ..TIMING }, looks.into_iter().map(|look| match look {
                0 => Evidence::Outside,
                1 => Evidence::Grown,
                2 => Evidence::Barely,
                3 => Evidence::Between,
                _ => Evidence::Inside,
            }));
            for pair in times.windows(2) {
                prop_assert!(pair[1] - pair[0] >= TIMING.hold_s - 1e-6);
            }
        }
    }
}
