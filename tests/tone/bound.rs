//! The orbit rate of a steady machine comes near the Cramér-Rao bound, and never below it.

mod steady_tone;

use steady_tone::efficiency;

/// 1.5 dB is the target. 400 estimates tell the ratio to about 0.3 dB (one standard deviation, from the chi-squared law).
#[test]
fn a_steady_rate_is_told_within_one_and_a_half_db_of_the_bound() {
    for snr_db in [0.0, 10.0, 25.0] {
        let found = efficiency(snr_db, 27, 11);
        println!("{found:?}, {:.2} dB", found.ratio_db());
        assert!(found.count >= 400, "{found:?}");
        assert!(found.known > 0.999, "{found:?}");
        assert!(found.ratio_db() < 1.5, "{:.2} dB over the bound at {} dB", found.ratio_db(), found.snr_db);
        assert!(found.ratio > 0.8, "below the bound: the window is not what is believed, {found:?}");
        assert!(found.bias.abs() < 0.2, "{found:?}");
        assert!((0.8..1.25).contains(&found.stated), "the stated standard deviation is honest, {found:?}");
    }
}
