//! Which strokes of a pass the spot trailed in, told with hindsight.

/// Which strokes of a pass the spot trailed in, from their mean rises over the section's start (K), in order. Strokes of a
/// pass alternate in direction, so every other one trails: the warmer half. `None` where the halves do not differ clearly,
/// or the spot looks sideways.
pub(super) fn trailing(mean_rises_k: &[Option<f64>]) -> Vec<Option<bool>> {
    /// Least difference of the halves, K.
    const CLEAR_K: f64 = 1.0;
    /// And in standard errors of it.
    const CLEAR_SES: f64 = 2.0;

    let half = |parity: usize| -> Option<(f64, f64)> {
        let values: Vec<f64> = mean_rises_k.iter().skip(parity).step_by(2).flatten().copied().collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        (!values.is_empty()).then_some((mean, variance / n))
    };
    let trails = match (half(0), half(1)) {
        (Some((first, first_var)), Some((second, second_var))) => {
            let difference = first - second;
            let clear = difference.abs() > CLEAR_K.max(CLEAR_SES * (first_var + second_var).sqrt());
            clear.then_some(if difference > 0.0 { 0 } else { 1 })
        }
        _ => None,
    };
    (0..mean_rises_k.len()).map(|stroke| trails.map(|parity| stroke % 2 == parity)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_warmer_half_of_the_strokes_trails() {
        let rises = [0.2, 6.5, 1.0, 6.0, 0.5].map(Some);
        assert_eq!(trailing(&rises), [false, true, false, true, false].map(Some));
        assert_eq!(trailing(&[Some(6.0), None, Some(5.0)]), [None; 3]);
        assert_eq!(trailing(&[2.0, 2.4, 2.2, 2.1].map(Some)), [None; 4]);
        // Rising by as much within the halves as between them.
        assert_eq!(trailing(&[1.0, 3.0, 5.0, 7.0].map(Some)), [None; 4]);
        assert_eq!(trailing(&[]), []);
    }
}
