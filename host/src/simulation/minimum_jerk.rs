//! The movement of least jerk between two ends.
//!
//! Hands move so that the mean square of the third derivative is least (T. Flash & N. Hogan, J. Neurosci. 5, 1985,
//! 1688). Its sixth derivative is then zero: a polynomial of degree five, fixed by position, speed and acceleration at both
//! ends. From rest to rest over `D` in `T` it is `x = D (10 τ³ - 15 τ⁴ + 6 τ⁵)` with `τ = t/T`; with equal speeds at the
//! ends and the way that they make in that time, a straight line.

/// Polynomial of degree five in `τ = t / duration`, lowest power first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MinimumJerk([f64; 6]);

impl MinimumJerk {
    /// From position `x0` at speed `v0` to `x1` at `v1` in `duration_s`, no acceleration at either end.
    pub(super) fn between(x0: f64, v0: f64, x1: f64, v1: f64, duration_s: f64) -> Self {
        let (d, a, b) = (x1 - x0, v0 * duration_s, v1 * duration_s);
        Self([x0, a, 0.0, 10.0 * d - 6.0 * a - 4.0 * b, -15.0 * d + 8.0 * a + 7.0 * b, 6.0 * d - 3.0 * a - 3.0 * b])
    }

    /// Position at `tau`, 0 to 1.
    pub(super) fn at(&self, tau: f64) -> f64 {
        self.0.iter().rev().fold(0.0, |sum, c| sum * tau + c)
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference;
    use super::*;

    /// Value of derivative `order` at `tau`, from the coefficients.
    fn derivative(curve: &MinimumJerk, order: usize, tau: f64) -> f64 {
        let mut c = curve.0.to_vec();
        for _ in 0..order {
            c = c.iter().enumerate().skip(1).map(|(power, c)| c * power as f64).collect();
        }
        c.iter().rev().fold(0.0, |sum, c| sum * tau + c)
    }

    fn mean(f: impl Fn(f64) -> f64) -> f64 {
        (0..20_000).map(|i| f((f64::from(i) + 0.5) / 20_000.0)).sum::<f64>() / 20_000.0
    }

    #[test]
    fn the_reach_from_rest_to_rest_has_the_published_figures() {
        // Flash & Hogan 1985; minimum_jerk.csv.
        let reach = MinimumJerk::between(0.0, 0.0, 1.0, 0.0, 1.0);
        assert_eq!(reach.0, [0.0, 0.0, 0.0, 10.0, -15.0, 6.0]);
        // The second half mirrors the first.
        let top = |order: usize| {
            (0..=500)
                .map(|i| f64::from(i) / 1000.0)
                .map(|tau| (tau, derivative(&reach, order, tau).abs()))
                .max_by(|a, b| a.1.total_cmp(&b.1))
                .unwrap()
        };
        let got = |quantity: &str| match quantity {
            "peak speed" => top(1).1,
            "time of peak speed" => top(1).0,
            "peak acceleration" => top(2).1,
            "time of peak acceleration" => top(2).0,
            "peak jerk" => top(3).1,
            "rms speed" => mean(|tau| derivative(&reach, 1, tau).powi(2)).sqrt(),
            "rms acceleration" => mean(|tau| derivative(&reach, 2, tau).powi(2)).sqrt(),
            "integral of jerk squared" => mean(|tau| derivative(&reach, 3, tau).powi(2)),
            other => panic!("no check for {other}"),
        };
        let mut checked = 0;
        for row in reference("minimum_jerk.csv") {
            let Ok(due) = row["value"].parse::<f64>() else { continue };
            let value = got(&row["quantity"]);
            // Times on a grid of 1/1000; the peak acceleration is as far from its grid point as that.
            assert!((value - due).abs() < 6e-4 * due.max(1.0), "{}: {value}", row["quantity"]);
            checked += 1;
        }
        assert_eq!(checked, 8);
    }

    #[test]
    fn no_other_turn_with_the_same_ends_has_less_jerk() {
        let turn = MinimumJerk::between(0.2, 0.03, 0.2, -0.025, 1.1);
        let jerk = |extra: f64| {
            // τ³ (1 - τ)³ has neither value nor speed nor acceleration at the ends: third derivative 6 - 72τ + 180τ² - 120τ³.
            mean(|t| (derivative(&turn, 3, t) + extra * (6.0 - 72.0 * t + 180.0 * t * t - 120.0 * t.powi(3))).powi(2))
        };
        assert!(jerk(0.0) < jerk(1e-4) && jerk(0.0) < jerk(-1e-4));
        assert!((derivative(&turn, 1, 1.0) / 1.1 + 0.025).abs() < 1e-15);
        assert!((turn.at(1.0) - 0.2).abs() < 1e-15 && derivative(&turn, 2, 1.0).abs() < 1e-15);
        let stroke = MinimumJerk::between(0.0, 0.03, 0.3, 0.03, 10.0);
        assert!((stroke.at(0.37) - 0.111).abs() < 1e-15, "a stroke is straight and even");
    }
}
