//! The panel as one lump of sheet: warmed by the pad, cooled by the air. Closed forms, for the look-ahead and for waiting.
//!
//! With heat capacity `C`, power `P` and loss `h·A` the rise over the surroundings follows `C·dT/dt = P - h·A·T`. Divided by
//! `C`: a rate of heating `P/C` in K/s, and a time constant `τ = C/(h·A)`. Power into the panel and its capacity are never
//! known by themselves; their ratio shows in the readings.

/// Time constant of a painted steel sheet in still air, s. 0.7-0.8 mm of steel cooled on both sides with 10 W/m²K: 119 to
/// 136 s; on one side twice that (lumped model, carbon steel 7854 kg/m³, 434 J/kgK). A spot also cools into its
/// neighbourhood, so the short side of that range.
pub(super) const SHEET_TAU_S: f64 = 120.0;

/// Rise, K, `t_s` seconds after a rise of `rise_k`, heated at `heating_k_s` (K/s, without loss) with time constant `tau_s`
/// (infinite: no loss).
pub(super) fn rise_after_k(rise_k: f64, heating_k_s: f64, tau_s: f64, t_s: f64) -> f64 {
    // -expm1(-t/tau)·tau is the time without loss that heats as much; it tends to t as tau grows.
    let effective_s = if tau_s.is_finite() { -(-t_s / tau_s).exp_m1() * tau_s } else { t_s };
    let left = if tau_s.is_finite() { (-t_s / tau_s).exp() } else { 1.0 };
    rise_k * left + heating_k_s * effective_s
}

/// Seconds for a difference of `from_k` to shrink to `to_k` by Newton's law of cooling; 0 when it is that small already.
/// Both positive.
pub(super) fn decay_time_s(from_k: f64, to_k: f64, tau_s: f64) -> f64 {
    if from_k > to_k { tau_s * (from_k / to_k).ln() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0.36 m² of carbon steel, recomputed from the lumped model; last column printed to three decimals.
    const SCENARIOS: &str = include_str!("../../../data/reference/panel_rise_scenarios.csv");
    const EXAMPLES: &str = include_str!("../../../data/reference/heat_worked_examples.csv");

    fn table(text: &str) -> csv::Reader<&[u8]> {
        csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes())
    }

    #[test]
    fn meets_the_panel_scenarios() {
        #[derive(serde::Deserialize)]
        struct Scenario {
            sheet_mm: f64,
            power_w: f64,
            cooled_sides: f64,
            h_w_m2k: f64,
            time_s: f64,
            capacity_j_k: f64,
            tau_s: f64,
            steady_rise_k: f64,
            rise_k: f64,
        }
        let mut rows = 0;
        for row in table(SCENARIOS).deserialize() {
            let s: Scenario = row.unwrap();
            let area_m2 = 0.36;
            let capacity = s.sheet_mm * 1e-3 * area_m2 * 7854.0 * 434.0;
            assert!((capacity - s.capacity_j_k).abs() <= 0.05);
            let loss_w_k = s.cooled_sides * s.h_w_m2k * area_m2;
            let tau = if loss_w_k > 0.0 { capacity / loss_w_k } else { f64::INFINITY };
            assert!(tau == s.tau_s || (tau - s.tau_s).abs() <= 0.05);
            let rise = rise_after_k(0.0, s.power_w / capacity, tau, s.time_s);
            assert!((rise - s.rise_k).abs() <= 0.5e-3 + 1e-9, "{rise} {}", s.rise_k);
            if tau.is_finite() {
                let steady = rise_after_k(0.0, s.power_w / capacity, tau, 1e6);
                assert!((steady - s.steady_rise_k).abs() <= 0.5e-3 + 1e-9);
            }
            rows += 1;
        }
        assert_eq!(rows, 54);
    }

    #[test]
    fn meets_the_textbook_examples_of_lumped_cooling() {
        let published = |id: &str| {
            let mut examples = table(EXAMPLES);
            let row = examples.records().map(Result::unwrap).find(|row| &row[0] == id).unwrap();
            row[3].to_owned() + &row[4]
        };
        // Incropera example 5.1: thermocouple of time constant 1 s, 25 °C to 199 °C in gas of 200 °C: 5.16 s.
        let seconds = decay_time_s(200.0 - 25.0, 200.0 - 199.0, 1.0);
        assert!(published("incropera_5_1_t").contains("5.1648"));
        assert!((seconds - 5.1648).abs() <= 0.5e-4);
        // Çengel example 4-1: sphere of 1 mm, 8500 kg/m³, 320 J/kgK, 210 W/m²K, 99 % of the way: 9.941 s.
        let tau = 8500.0 * 320.0 * (1e-3 / 6.0) / 210.0;
        assert!(published("cengel_4_1").contains("9.941"));
        assert!((decay_time_s(1.0, 0.01, tau) - 9.941).abs() <= 0.5e-3);
    }

    #[test]
    fn cooling_and_waiting_agree() {
        let wait = decay_time_s(9.0, 2.0, SHEET_TAU_S);
        assert!((rise_after_k(9.0, 0.0, SHEET_TAU_S, wait) - 2.0).abs() < 1e-12);
        assert_eq!(decay_time_s(1.5, 2.0, SHEET_TAU_S), 0.0);
    }
}
