//! For tests of how often something happens by chance.

use statrs::distribution::{Binomial, DiscreteCDF};

/// Whether `count` of `trials` is more than chance allows at `probability`: one-sided exact binomial test at one in a
/// thousand (Clopper and Pearson, Biometrika 26 (1934) 404).
pub(super) fn too_many(count: u64, trials: u64, probability: f64) -> bool {
    let below = Binomial::new(probability, trials).expect("a probability").cdf(count.saturating_sub(1));
    count > 0 && 1.0 - below < 0.001
}
