//! Plain statistics of a handful of figures.

/// Quantile by the nearest rank; reorders the figures.
pub(super) fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let at = ((values.len() - 1) as f64 * q).round() as usize;
    Some(*values.select_nth_unstable_by(at, f64::total_cmp).1)
}

/// Arithmetic mean.
pub(super) fn mean_of(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Coefficient of variation, of at least two.
pub(super) fn variation(values: &[f64]) -> Option<f64> {
    let mean = mean_of(values)?;
    let n = values.len();
    (n >= 2).then(|| (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt() / mean)
}
