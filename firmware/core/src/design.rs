//! Every constant of the sensor, with its unit and the sum behind it.

use steadypass_protocol::{MAX_FRAME, Scale};

/// Firmware version as told to the host: major, minor, patch.
pub const FIRMWARE: [u8; 3] = [
    version_part(env!("CARGO_PKG_VERSION_MAJOR")),
    version_part(env!("CARGO_PKG_VERSION_MINOR")),
    version_part(env!("CARGO_PKG_VERSION_PATCH")),
];

/// Nominal accelerometer rate, mHz (1667 Hz: the fundamental of an orbit is below 120 Hz, its harmonics fit).
pub const ACCEL_RATE_MHZ: u32 = 1_667_000;

/// Nominal gyro rate, mHz. A hand turns a machine slowly; the pad's own spin is not seen by the housing's gyro.
pub const GYRO_RATE_MHZ: u32 = 208_000;

/// Accelerometer slots per gyro sample. Both rates are divided from one oscillator in the chip (application note AN5272,
/// from memory); 1667/208 are the rounded names of 6667/4 and 6667/32.
pub const SLOTS_PER_GYRO: u32 = 8;

/// Nominal accelerometer spacing, ns: 1e12 / [`ACCEL_RATE_MHZ`].
pub const NOMINAL_SPACING_NS: u32 = (1_000_000_000_000 / ACCEL_RATE_MHZ as u64) as u32;

/// Samples a fit must span before its spacing counts as measured: a poll knows the newest sample only to one spacing, so
/// even the unluckiest fit over this many is good to 1/2000 = 0.05 %.
pub const MEASURED_SAMPLES: u32 = 2000;

/// Polls over which an observation fades to 1/e. At 100 polls a second this is 5 s: the unluckiest error of one sample is
/// then 1 in 8000 = 0.012 %, and a warming chip is followed.
pub const CLOCK_MEMORY_POLLS: f64 = 500.0;

/// Time between two polls of the IMU, µs. The buffer holds 273 ms; 10 ms keep latency low and bursts short.
pub const POLL_US: u64 = 10_000;

/// Polls are moved by multiples of this, µs, over one sample spacing, so that a poll period that is a whole number of
/// samples does not always catch the same phase.
const POLL_STEP_US: u64 = 75;

/// Steps in one sample spacing.
const POLL_STEPS: u64 = 8;

/// When poll `k` is due, µs since poll 0.
pub const fn poll_time_us(k: u64) -> u64 {
    k * POLL_US + k % POLL_STEPS * POLL_STEP_US
}

/// Room for motion blocks and looks, bytes: 2 s of the stream (13 kB/s), so that a laptop may stall that long.
pub const DATA_ROOM: usize = 26_000;

/// Room that only replies, marks and health reports may use, bytes: more than two dozen pongs.
pub const REPLY_ROOM: usize = 2 * MAX_FRAME;

/// How long after a commanded restart is accepted it happens, µs: the reply must get out.
pub const RESTART_DELAY_US: u64 = 100_000;

/// A block whose last sample is older than this is sent as it is: the motion chip has fallen silent for longer than its buffer
/// bridges (273 ms), and what it took before must not reach the host seconds later, behind what the thermometer has said since.
pub const WAITING_BLOCK_US: u64 = 400_000;

/// Standard gravity, m/s² (exact, CGPM 1901).
const STANDARD_GRAVITY_MPS2: f64 = 9.806_65;

/// Part of a version that the wire's one byte holds.
const fn version_part(digits: &str) -> u8 {
    match u8::from_str_radix(digits, 10) {
        Ok(part) => part,
        Err(_) => panic!("each part of the version must be a number up to 255"),
    }
}

/// Wire scale of the accelerometer. `mg_per_count` is the chip's sensitivity in thousandths of standard gravity.
pub fn accel_scale(mg_per_count: f64) -> Scale {
    let nano_per_count = (mg_per_count * 1e-3 * STANDARD_GRAVITY_MPS2 * 1e9 + 0.5) as u32;
    Scale { nominal_mhz: ACCEL_RATE_MHZ, nano_per_count, full_scale: i16::MAX }
}

/// Wire scale of the gyro. `mdps_per_count` is the chip's sensitivity in thousandths of a degree per second.
pub fn gyro_scale(mdps_per_count: f64) -> Scale {
    let nano_per_count = (mdps_per_count * 1e-3 * core::f64::consts::PI / 180.0 * 1e9 + 0.5) as u32;
    Scale { nominal_mhz: GYRO_RATE_MHZ, nano_per_count, full_scale: i16::MAX }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_host_is_told_the_version_that_is_built() {
        let [major, minor, patch] = FIRMWARE;
        let version = env!("CARGO_PKG_VERSION").split(['-', '+']).next();
        assert_eq!(version, Some(format!("{major}.{minor}.{patch}").as_str()));
    }

    /// The image is a workspace of its own: what it is made of must be of the house's one version, and it has none beside.
    #[test]
    fn the_image_is_of_the_one_version() {
        let manifest = include_str!("../../board/Cargo.toml");
        let package = manifest.split("[dependencies]").next().unwrap_or_default();
        assert!(!package.lines().any(|line| line.starts_with("version")), "{package}");
        let parts: Vec<_> = include_str!("../../board/Cargo.lock")
            .split("[[package]]")
            .filter(|part| part.contains("name = \"steadypass-") && !part.contains("steadypass-board\"\nversion"))
            .collect();
        assert_eq!(parts.len(), 3, "protocol, core and drivers");
        for part in parts {
            assert!(part.contains(concat!("\nversion = \"", env!("CARGO_PKG_VERSION"), "\"")), "{part}");
        }
    }

    #[test]
    fn scales_are_si() {
        // 0.488 mg x 9.80665 m/s² = 4.7856452 mm/s²; 70 mdps x pi/180 = 1.22173048 mrad/s.
        assert_eq!(accel_scale(0.488).nano_per_count, 4_785_645);
        assert_eq!(accel_scale(0.122).nano_per_count, 1_196_411);
        assert_eq!(gyro_scale(70.0).nano_per_count, 1_221_730);
        assert_eq!(NOMINAL_SPACING_NS, 599_880);
    }

    #[test]
    fn polls_are_spread_evenly_over_one_sample_spacing() {
        for k in 0..3 * POLL_STEPS {
            let moved_ns = 1000.0 * (poll_time_us(k) - k * POLL_US) as f64;
            let share = (k % POLL_STEPS) as f64 / POLL_STEPS as f64;
            let off = moved_ns / f64::from(NOMINAL_SPACING_NS) - share;
            assert!(off.abs() < 0.01, "poll {k} is off by {off} of a spacing");
        }
    }
}
