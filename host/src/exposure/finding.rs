//! A day's exposure in one sentence, the same wherever it is told.

use super::{
    day::Day,
    dose::{Limits, Range},
};

/// A(8) below this is nothing that "at least" could be said of, m/s².
const SOMETHING_MPS2: f64 = 0.05;

impl Day {
    /// Whether the vibration of everything that ran is known, none of it cut off; only then is the sum of what was measured the day's
    /// exposure.
    pub fn is_known(&self) -> bool {
        self.sources().iter().all(|s| s.contribution.is_some() && !s.is_cut_off)
    }

    /// What was measured of a day that is not known, A(8) in m/s²; `None` where that is nothing.
    pub fn at_least_mps2(&self) -> Option<Range> {
        Some(self.dose().a8_mps2()).filter(|a8| a8.value >= SOMETHING_MPS2)
    }

    /// The exposure against its limits.
    pub fn finding(&self, limits: Limits) -> String {
        let a8 = self.dose().a8_mps2();
        let figure = a8.words(1, " m/s²");
        let (action, limit) = (
            format!("the action value of {} m/s²", limits.action_mps2),
            format!("the limit value of {} m/s²", limits.limit_mps2),
        );
        // Where the bounds leave it open, it is said to be open.
        let known = self.is_known();
        let stand = if a8.lo > limits.limit_mps2 {
            format!("over {limit}")
        } else if a8.lo > limits.action_mps2 {
            // What was not measured comes on top, and nobody knows how much it is.
            let open = a8.hi > limits.limit_mps2 || !known;
            let more = if open { format!(", and may be over {limit}") } else { String::new() };
            format!("over {action}{more}")
        } else if a8.hi > limits.limit_mps2 {
            format!("may be over {limit}")
        } else if a8.hi > limits.action_mps2 || !known {
            format!("may be over {action}")
        } else {
            format!("under {action} by this estimate")
        };
        if known {
            format!("A(8) is {figure}: {stand}.")
        } else if self.at_least_mps2().is_some() {
            format!("A(8) is not known, but at least {figure}: {stand}.")
        } else {
            "A(8) is not known: the vibration was not measured while the motor ran.".to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        analysis::WeightedEnergy,
        exposure::{Contribution, Day, Declared, Running, days},
    };

    /// A day of full shifts, each with a tool of its own; `None` where its vibration was not measured.
    fn finding(shifts: &[Option<f64>]) -> String {
        let seconds = 8.0 * 3600.0;
        let stretches = shifts.iter().enumerate().map(|(i, a)| Running {
            tool: format!("tool {i}"),
            span_s: seconds,
            running_s: seconds,
            energy: a.map_or_else(WeightedEnergy::default, |a| WeightedEnergy {
                square_integral: [a * a * seconds, 0.0, 0.0],
                seconds,
                clipped: 0,
            }),
            ..Running::default()
        });
        days(stretches).remove(0).finding(Limits::default())
    }

    #[test]
    fn what_is_open_is_left_open() {
        for (a, says) in [
            (0.1, "A(8) is 0.10 m/s² (0.08 to 0.12): under the action value of 2.5 m/s² by this estimate."),
            (1.0, "A(8) is 1.0 m/s² (0.8 to 1.2): under the action value of 2.5 m/s² by this estimate."),
            (2.2, "A(8) is 2.2 m/s² (1.8 to 2.6): may be over the action value of 2.5 m/s²."),
            (3.5, "A(8) is 3.5 m/s² (2.8 to 4.2): over the action value of 2.5 m/s²."),
            (
                4.3,
                "A(8) is 4.3 m/s² (3.4 to 5.2): over the action value of 2.5 m/s², and may be over the limit value of 5 m/s².",
            ),
            (9.0, "A(8) is 9.0 m/s² (7.2 to 10.8): over the limit value of 5 m/s²."),
        ] {
            assert_eq!(finding(&[Some(a)]), says);
        }
    }

    /// Where action and limit value lie near each other both may be open: over the limit is over both.
    #[test]
    fn both_values_may_be_open() {
        let day = |a: f64| Declared(Contribution::measured("sander", a, 8.0));
        let limits = Limits { action_mps2: 4.5, limit_mps2: 5.0 };
        let of = |a: f64| Day { declared: vec![day(a).0], ..Day::default() }.finding(limits);
        assert!(of(4.5).ends_with("(3.6 to 5.4): may be over the limit value of 5 m/s²."), "{}", of(4.5));
    }

    #[test]
    fn what_was_cut_off_is_the_least_that_it_was() {
        let seconds = 8.0 * 3600.0;
        let energy = WeightedEnergy { square_integral: [seconds, 0.0, 0.0], seconds, clipped: 0 };
        let whole = Running { span_s: seconds, running_s: seconds, energy, ..Running::default() };
        let cut = Running { is_cut_off: true, ..whole.clone() };
        assert!(days([whole]).remove(0).finding(Limits::default()).contains("under the action value"));
        assert_eq!(
            days([cut]).remove(0).finding(Limits::default()),
            "A(8) is not known, but at least 1.0 m/s² (0.8 to 1.2): may be over the action value of 2.5 m/s²."
        );
    }

    #[test]
    fn what_was_not_measured_never_reassures() {
        assert_eq!(finding(&[None]), "A(8) is not known: the vibration was not measured while the motor ran.");
        // So little that it is as good as nothing.
        assert_eq!(finding(&[None, Some(0.01)]), finding(&[None]));
        let but = "A(8) is not known, but at least";
        for (a, says) in [
            (1.0, "1.0 m/s² (0.8 to 1.2): may be over the action value of 2.5 m/s²."),
            (
                3.5,
                "3.5 m/s² (2.8 to 4.2): over the action value of 2.5 m/s², and may be over the limit value of 5 m/s².",
            ),
            (9.0, "9.0 m/s² (7.2 to 10.8): over the limit value of 5 m/s²."),
        ] {
            assert_eq!(finding(&[Some(a), None]), format!("{but} {says}"));
        }
    }
}
