//! The first moments of a warming run: how fast, and since when.
//!
//! A trailing spot that comes onto worked paint sees a known shape. Nothing until its edge touches the strip; a slope that
//! grows while the rest of it follows; then a straight climb at the pad's heating rate `g`, for as long as the pad takes to
//! pass a point. Near the turn there is a bump on it, for the moment the pad dwelt there. What is not known is `g`, the moment
//! of first touch, and the level before. Readings of the last four seconds are fitted with that shape for every moment of first
//! touch on a grid; each fit counts by its likelihood, and the spread over the grid is part of the uncertainty. Within a second
//! of the first touch this says more than any slope could.
//!
//! A spot that a step aside takes onto the lane beside sees something else: its edge goes by in a third of a second, and what
//! follows is slow. So the readings are fitted with a jump and a line, too. Where that explains them better and the jump is most of
//! it, the spot has jumped, and no run is foreseen from it.
//!
//! An expectation of `g` steadies the fit while there is little to see: a weak one from what usually goes into paint under a
//! polisher, a better one once runs of this recording have been seen.

use super::spot::{LAG_S, READING_SD_K};

/// Readings that are fitted, s.
pub(crate) const FIT_S: f64 = 4.0;

/// First touch of a run between these many seconds ago, in steps of a tenth: later, and it cannot be told from a jump yet;
/// earlier, and the run is old enough for a plain line.
const TOUCH_TENTHS: std::ops::RangeInclusive<u32> = 7..=30;

/// The same of a jump, which shows at once.
const JUMP_TENTHS: std::ops::RangeInclusive<u32> = 1..=30;

/// How long the spot takes over the edge of a lane in a step aside, s: its diameter at a tenth of a metre a second.
const JUMP_S: f64 = 0.35;

/// How high jumps are, one standard deviation, K; how many times as likely as a run one is beforehand. Chosen on drawn recordings
/// with the spot beside the strokes that no published table uses (seeds 300 to 363 and 1000 to 1031).
const JUMP_SD_K: f64 = 5.0;
const JUMP_ODDS: f64 = std::f64::consts::E;

/// Diameter of the spot on the paint, m: 35° of view from about 55 mm.
const SPOT_M: f64 = 0.036;

/// Longest time the spot takes over the edge, s: beyond it the arm stands.
const LONGEST_EDGE_S: f64 = 2.0;

/// How long the pad dwells on the paint near a turn, s: a turn takes about a second, and the pad moves sideways in it.
const DWELL_S: f64 = 0.5;

/// Over how many times its own width the spot comes into the dwell's bump, and from which share of the run on it leaves.
const DWELL_EDGE: f64 = 1.3;
const DWELL_LEAVES: f64 = 0.6;

/// Heat into the panel that is expected, W, and its relative standard deviation. Estimates run from 30 to 150 W.
const POWER_W: f64 = 55.0;
const POWER_REL_SD: f64 = 0.7;

/// Heat capacity of painted sheet, J/m²K: 0.8 mm of steel (7854 kg/m³, 434 J/kgK), and 8 % for the paint.
const SHEET_J_M2K: f64 = 0.8e-3 * 7854.0 * 434.0 * 1.08;

/// By how much a run must explain the readings better than a level does, in units of chi²: six standard deviations, since
/// thirty moments are tried at every tick.
const CLEAR_CHI2: f64 = 36.0;

/// A heating rate that is expected before a run is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Expected {
    /// K/s.
    pub(crate) rate_k_s: f64,
    /// Standard deviation, K/s.
    pub(crate) sd_k_s: f64,
}

impl Expected {
    /// What is usual under a pad of this size.
    pub(crate) fn usual(pad_diameter_m: f64) -> Self {
        let pad_m2 = std::f64::consts::PI * (pad_diameter_m / 2.0).powi(2);
        let rate_k_s = POWER_W / (pad_m2 * SHEET_J_M2K);
        Self { rate_k_s, sd_k_s: POWER_REL_SD * rate_k_s }
    }
}

/// What the fit says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Warming {
    /// Heating rate, K/s, and its standard deviation.
    pub(crate) rate_k_s: f64,
    pub(crate) rate_sd_k_s: f64,
    /// Seconds since the first touch.
    pub(crate) age_s: f64,
    /// Level before it, in the unit of the readings.
    pub(crate) from: f64,
    /// Whether it began at once, with a jump or as a line.
    pub(crate) at_once: bool,
}

/// How the readings began to rise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Onset {
    /// In a run.
    Run(Warming),
    /// In a jump, so long ago (s) and so high (in the unit of the readings).
    Jump { age_s: f64, by: f64 },
}

/// Fits the readings (seconds, K or °C) up to `t_s`; `None` unless a run or a jump is clearly there.
///
/// `pad_diameter_m` and `arm_mps` (both positive) give the time scale of the shape.
pub(crate) fn fit(
    readings: impl Iterator<Item = (f64, f64)> + Clone,
    t_s: f64,
    pad_diameter_m: f64,
    arm_mps: f64,
    expected: Expected,
) -> Option<Onset> {
    const ENOUGH: usize = 8;
    let readings = readings.map(|(t, y)| (t - t_s, y)).filter(|(t, _)| -t <= FIT_S);
    let count = readings.clone().count();
    if count < ENOUGH {
        return None;
    }
    let seen = Seen::new(readings, count as f64, expected);
    let shape = Shape::new(pad_diameter_m, arm_mps);
    let ages = |tenths: std::ops::RangeInclusive<u32>| tenths.map(|tenths| f64::from(tenths) * 0.1);
    let is_clear = |touch: &Touch| touch.gained > CLEAR_CHI2;
    let mut fits: Vec<Touch> = ages(TOUCH_TENTHS).map(|age_s| seen.run(shape, age_s)).collect();
    if !fits.iter().any(is_clear) {
        return None;
    }
    fits.extend(ages(JUMP_TENTHS).map(|age_s| seen.jump(age_s)));

    let best = fits.iter().min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    if let Some(jump) = best.jump
        && jump.by > (best.rate * (best.age_s - JUMP_S)).max(0.0)
        && jump.gained > CLEAR_CHI2
    {
        return Some(Onset::Jump { age_s: best.age_s, by: jump.by });
    }
    let (mut weights, mut rates, mut rate_squares, mut ages, mut levels) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for touch in fits.iter().filter(|touch| touch.jump.is_some() == best.jump.is_some()) {
        let weight = (0.5 * (best.cost - touch.cost)).exp();
        weights += weight;
        rates += weight * touch.rate;
        rate_squares += weight * (touch.rate * touch.rate + 1.0 / touch.information);
        ages += weight * touch.age_s;
        levels += weight * touch.level;
    }
    let rate_k_s = rates / weights;
    (is_clear(best) && rate_k_s > 0.0).then(|| {
        Onset::Run(Warming {
            rate_k_s,
            rate_sd_k_s: (rate_squares / weights - rate_k_s * rate_k_s).max(0.0).sqrt(),
            age_s: ages / weights,
            from: levels / weights,
            at_once: best.jump.is_some(),
        })
    })
}

/// The fit for one moment of first touch.
struct Touch {
    age_s: f64,
    /// Heating rate, K/s, and the inverse of its variance.
    rate: f64,
    information: f64,
    /// -2 ln of the likelihood with all unknowns taken out, but for what is the same for all.
    cost: f64,
    /// What the rate explains, in units of chi².
    gained: f64,
    /// Before the run.
    level: f64,
    /// Where one is thought of.
    jump: Option<Jump>,
}

#[derive(Clone, Copy)]
struct Jump {
    by: f64,
    /// What it explains by itself, in units of chi².
    gained: f64,
}

/// The readings that are fitted, times counted from now.
struct Seen<I> {
    readings: I,
    count: f64,
    mean: f64,
    /// What a level leaves unexplained, in units of chi².
    level_chi2: f64,
    expected: Expected,
}

impl<I: Iterator<Item = (f64, f64)> + Clone> Seen<I> {
    const VARIANCE: f64 = READING_SD_K * READING_SD_K;

    fn new(readings: I, count: f64, expected: Expected) -> Self {
        let mean = readings.clone().map(|(_, y)| y).sum::<f64>() / count;
        let level_chi2 = readings.clone().map(|(_, y)| (y - mean).powi(2)).sum::<f64>() / Self::VARIANCE;
        Self { readings, count, mean, level_chi2, expected }
    }

    /// Seconds since the first touch and what was read, less the mean.
    fn since(&self, age_s: f64) -> impl Iterator<Item = (f64, f64)> + use<'_, I> {
        self.readings.clone().map(move |(t, y)| (t - LAG_S + age_s, y - self.mean))
    }

    /// What is known of the rate beforehand: the inverse of its variance.
    fn trust(&self) -> f64 {
        self.expected.sd_k_s.powi(-2)
    }

    /// A run: least squares for rate and level, with the expectation as one more observation of the rate.
    fn run(&self, shape: Shape, age_s: f64) -> Touch {
        let mut sums = Sums::default();
        self.since(age_s).for_each(|(since_s, y)| sums.add(shape.at(since_s), y));
        let (expected, trust) = (self.expected.rate_k_s, self.trust());
        let square = sums.square(self.count);
        let information = square / Self::VARIANCE + trust;
        let rate = (sums.product / Self::VARIANCE + trust * expected) / information;
        let residual = self.level_chi2 - (2.0 * rate * sums.product - rate * rate * square) / Self::VARIANCE;
        let chi2 = residual + trust * (rate - expected).powi(2);
        Touch {
            age_s,
            rate,
            information,
            cost: chi2 + information.ln(),
            gained: self.level_chi2 - chi2,
            level: self.mean - rate * sums.sum / self.count,
            jump: None,
        }
    }

    /// A jump and a line from its top: the same with the height of the jump besides, of which nothing is expected but a size.
    fn jump(&self, age_s: f64) -> Touch {
        let (mut line, mut jump, mut both) = (Sums::default(), Sums::default(), 0.0);
        for (since_s, y) in self.since(age_s) {
            let (l, j) = ((since_s - JUMP_S).max(0.0), (since_s / JUMP_S).clamp(0.0, 1.0));
            line.add(l, y);
            jump.add(j, y);
            both += l * j;
        }
        let (expected, trust) = (self.expected.rate_k_s, self.trust());
        let rate_rate = line.square(self.count) / Self::VARIANCE + trust;
        let jump_jump = jump.square(self.count) / Self::VARIANCE + JUMP_SD_K.powi(-2);
        let rate_jump = (both - line.sum * jump.sum / self.count) / Self::VARIANCE;
        let (rate_data, jump_data) = (line.product / Self::VARIANCE + trust * expected, jump.product / Self::VARIANCE);
        let determinant = rate_rate * jump_jump - rate_jump * rate_jump;
        let rate = (rate_data * jump_jump - jump_data * rate_jump) / determinant;
        let by = (jump_data * rate_rate - rate_data * rate_jump) / determinant;
        let chi2 = self.level_chi2 + trust * expected * expected - rate_data * rate - jump_data * by;
        let gained = jump_data * jump_data / jump_jump;
        Touch {
            age_s,
            rate,
            information: determinant / jump_jump,
            cost: chi2 + determinant.ln() + 2.0 * (JUMP_SD_K / JUMP_ODDS).ln(),
            gained: self.level_chi2 - gained - chi2,
            level: self.mean - (rate * line.sum + by * jump.sum) / self.count + by,
            jump: Some(Jump { by, gained }),
        }
    }
}

/// Sums over the readings of one function, and of its product with them.
#[derive(Clone, Copy, Default)]
struct Sums {
    sum: f64,
    squares: f64,
    product: f64,
}

impl Sums {
    fn add(&mut self, f: f64, y: f64) {
        self.sum += f;
        self.squares += f * f;
        self.product += f * y;
    }

    /// Sum of the squares about the mean.
    fn square(&self, count: f64) -> f64 {
        self.squares - self.sum * self.sum / count
    }
}

/// Rise over time since first touch, per unit of heating rate.
#[derive(Clone, Copy)]
struct Shape {
    edge_s: f64,
    run_s: f64,
}

impl Shape {
    fn new(pad_diameter_m: f64, arm_mps: f64) -> Self {
        Self { edge_s: (SPOT_M / arm_mps).min(LONGEST_EDGE_S), run_s: pad_diameter_m / arm_mps }
    }

    fn at(self, since_s: f64) -> f64 {
        if since_s <= 0.0 {
            return 0.0;
        }
        let risen = match since_s {
            s if s < self.edge_s => 0.5 * s * s / self.edge_s,
            s => s - 0.5 * self.edge_s,
        };
        let into = (since_s / (DWELL_EDGE * self.edge_s)).clamp(0.0, 1.0);
        let leaving = ((self.run_s - since_s) / ((1.0 - DWELL_LEAVES) * self.run_s)).clamp(0.0, 1.0);
        risen.min(self.run_s) + DWELL_S * into * into * (3.0 - 2.0 * into) * leaving
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_distr::{Distribution as _, StandardNormal};

    use super::*;

    const PAD_M: f64 = 0.13;
    const ARM_MPS: f64 = 0.02;

    /// Readings at 10 Hz for four seconds, the last at t = 0, of a surface that is so much above 18 °C.
    fn readings_of(rise: impl Fn(f64) -> f64, seed: u64) -> Vec<(f64, f64)> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        (0..=40)
            .map(|i| {
                let t = -4.0 + f64::from(i) * 0.1;
                let noise: f64 = StandardNormal.sample(&mut random);
                (t, 18.0 + rise(t - LAG_S) + READING_SD_K * noise)
            })
            .collect()
    }

    /// The same where a run of `rate` touched `age_s` ago.
    fn readings(rate: f64, age_s: f64, seed: u64) -> Vec<(f64, f64)> {
        let shape = Shape::new(PAD_M, ARM_MPS);
        readings_of(|t| rate * shape.at(t + age_s), seed)
    }

    #[test]
    fn rate_and_age_come_out_within_their_spread() {
        let (mut inside, mut at_once, mut age_error) = (0, 0, 0.0);
        for seed in 0..100 {
            let run = readings(2.2, 2.0, seed);
            let Some(Onset::Run(fit)) = fit(run.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)) else {
                panic!("a run of 2.2 K/s shows after 2 s");
            };
            at_once += i32::from(fit.at_once);
            inside += i32::from((fit.rate_k_s - 2.2).abs() < 2.0 * fit.rate_sd_k_s);
            age_error += (fit.age_s - 2.0) / 100.0;
            assert!(fit.rate_sd_k_s < 0.8, "{fit:?}");
            // A line has its level on top of its jump.
            assert!((fit.from - 18.0).abs() < if fit.at_once { 0.6 } else { 0.15 }, "{fit:?}");
        }
        assert!(at_once <= 5, "{at_once} of 100 were taken for a line");
        assert!(inside >= 90, "{inside} of 100");
        assert!(age_error.abs() < 0.1, "{age_error}");
    }

    #[test]
    fn noise_and_cooling_are_no_run() {
        let mut seen = 0;
        for seed in 0..200 {
            let level = readings(0.0, 2.0, seed);
            seen += i32::from(fit(level.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)).is_some());
            let cooling = readings(-1.0, 2.0, seed);
            assert_eq!(fit(cooling.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)), None);
        }
        assert!(seen <= 4, "{seen} of 200");
        assert_eq!(fit(std::iter::empty(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)), None);
    }

    #[test]
    fn a_step_aside_onto_warm_paint_is_a_jump_at_every_age() {
        for seed in 0..30 {
            for tenths in 5..=25 {
                let age_s = f64::from(tenths) * 0.1;
                // Up by 2 K in three tenths of a second, then slowly on as the lane beside is warm.
                let seen =
                    readings_of(|t| 2.0 * ((t + age_s) / 0.3).clamp(0.0, 1.0) + 0.3 * (t + age_s - 0.3).max(0.0), seed);
                match fit(seen.iter().copied(), 0.0, PAD_M, ARM_MPS, Expected::usual(PAD_M)) {
                    Some(Onset::Jump { age_s: found_s, by }) => {
                        assert!((found_s - age_s).abs() < 0.35 && (by - 2.0).abs() < 0.6, "{age_s}: {found_s} {by}");
                    }
                    other => assert!(age_s < 0.7 && other.is_none(), "{age_s}, seed {seed}: {other:?}"),
                }
            }
        }
    }
}
