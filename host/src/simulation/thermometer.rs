//! The infrared thermometer: what its spot emits and mirrors, late and noisy, in the chip's words.
//!
//! Grey body with surroundings, in kelvin: `T_app⁴ = ε T⁴ + (1 - ε) T_r⁴`. The chip follows with a first-order lag and
//! reports words of 0.02 K (MLX90614: `T = 0.02 K · word`; maker's application note 390119061402, p. 14).

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use steadypass_protocol::units::ZERO_CELSIUS_K;

use super::scenario::{Scenario, ThermometerSpec};
use super::unsteady::{Subject, stream};

/// The thermometer.
#[derive(Clone, Debug)]
pub(super) struct Thermometer {
    spec: ThermometerSpec,
    ambient_c: f64,
    noise: ChaCha8Rng,
    /// What the chip has followed to, °C; `None` before the first sight.
    seen_c: Option<f64>,
    t_s: f64,
}

/// Apparent temperature (emissivity 1) of a surface at `surface_c` among surroundings at `reflected_c`, °C.
pub(super) fn apparent_c(surface_c: f64, reflected_c: f64, emissivity: f64) -> f64 {
    let four = |c: f64| (c + ZERO_CELSIUS_K).powi(4);
    (emissivity * four(surface_c) + (1.0 - emissivity) * four(reflected_c)).powf(0.25) - ZERO_CELSIUS_K
}

/// The surface's own temperature from its apparent one; the inverse of [`apparent_c`].
pub(super) fn surface_c(apparent_c: f64, reflected_c: f64, emissivity: f64) -> f64 {
    let four = |c: f64| (c + ZERO_CELSIUS_K).powi(4);
    ((four(apparent_c) - (1.0 - emissivity) * four(reflected_c)) / emissivity).max(0.0).powf(0.25) - ZERO_CELSIUS_K
}

/// °C of a word.
pub(super) fn celsius_of(word: u16) -> f64 {
    0.02 * f64::from(word) - ZERO_CELSIUS_K
}

fn word_of(celsius: f64) -> u16 {
    // The chip's words end at 0x7FFF (382.19 °C); the cast clamps below zero kelvin.
    ((celsius + ZERO_CELSIUS_K) / 0.02).round().min(32_767.0) as u16
}

impl Thermometer {
    pub(super) fn new(scenario: &Scenario) -> Self {
        Self {
            spec: scenario.thermometer.clone(),
            ambient_c: scenario.heat.ambient_c,
            noise: stream(scenario.seed, Subject::Thermometer),
            seen_c: None,
            t_s: 0.0,
        }
    }

    /// The spot is at `spot_c` until `t_s`.
    pub(super) fn advance(&mut self, t_s: f64, spot_c: f64) {
        let now = apparent_c(spot_c, self.spec.reflected_c, self.spec.emissivity);
        let share = 1.0 - (-(t_s - self.t_s) / self.spec.lag_s.max(1e-9)).exp();
        self.t_s = t_s;
        self.seen_c = Some(self.seen_c.map_or(now, |seen| seen + share * (now - seen)));
    }

    /// One look: object word and ambient word. Draws noise.
    pub(super) fn look(&mut self) -> (u16, u16) {
        let noise: f64 = StandardNormal.sample(&mut self.noise);
        // The chip is warmed by its own current and the machine's air within some ten minutes.
        let warmed = self.spec.self_warming_k * (1.0 - (-self.t_s / 600.0).exp());
        let object = self.seen_c.unwrap_or(self.ambient_c) + self.spec.noise_k * noise;
        (word_of(object), word_of(self.ambient_c + warmed))
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference;
    use super::*;

    #[test]
    fn the_grey_body_balance_is_that_of_the_reference_and_turns_back() {
        for row in reference("ir_correction.csv") {
            let field = |name: &str| row[name].parse::<f64>().unwrap();
            let (object, mirror, e) = (field("object_c"), field("reflected_c"), field("emissivity"));
            let seen = apparent_c(object, mirror, e);
            assert!((seen - field("apparent_c")).abs() < 6e-5, "{row:?}: {seen}");
            assert!((surface_c(seen, mirror, e) - object).abs() < 1e-9);
        }
    }

    #[test]
    fn words_are_those_of_the_makers_note() {
        // Maker's application note 390119061402, p. 14; one row from memory, as the file says.
        for row in reference("mlx90614_codes.csv") {
            let word = u16::from_str_radix(&row["code_hex"], 16).unwrap();
            let celsius: f64 = row["temperature_c"].parse().unwrap();
            // The note prints two digits.
            assert!((celsius_of(word) - celsius).abs() < 6e-3, "{word:#x}");
            assert_eq!(word_of(celsius_of(word)), word);
        }
        assert_eq!((word_of(-400.0), word_of(1000.0)), (0, 0x7FFF));
    }

    #[test]
    fn it_is_as_late_and_as_noisy_as_told() {
        let mut scenario = Scenario::default();
        scenario.thermometer =
            ThermometerSpec { lag_s: 0.2, noise_k: 0.1, emissivity: 1.0, self_warming_k: 0.0, ..scenario.thermometer };
        let mut thermometer = Thermometer::new(&scenario);
        thermometer.advance(1.0, 20.0);
        for step in 1..=20 {
            thermometer.advance(1.0 + 0.01 * f64::from(step), 30.0);
        }
        let looks: Vec<f64> = (0..20_000).map(|_| celsius_of(thermometer.look().0)).collect();
        let mean = looks.iter().sum::<f64>() / looks.len() as f64;
        let sd = (looks.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / looks.len() as f64).sqrt();
        // One time constant after a step of 10 K: 1 - 1/e of it.
        assert!((mean - 26.321).abs() < 0.004, "{mean}");
        assert!((sd - 0.1).abs() < 0.003, "{sd}");
        assert_eq!(thermometer.look().1, word_of(scenario.heat.ambient_c));
    }
}
