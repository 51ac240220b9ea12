//! What a sensor's readings are off by, and how that was found.
//!
//! # Data flow
//!
//! ```text
//! recording of a resting sensor ─► Stillness ─► Pose ─┬─► still::check  gyro bias, level
//!                                                     └─► faces::fit    accelerometer offset and scale
//! looks at a known temperature ──────────────────────────► thermometer::fit
//!                                                              │
//! calibration folder, one TOML per sensor ◄─ store ◄───────────┘
//!         └─► Facts of a recording ─► recording::Timeline applies it to every reading
//! ```
//!
//! Raw counts are recorded as they come; the calibration in force is written beside them, so that a review gives the same
//! figures whatever the folder holds later. Axes are machine axes.
//!
//! Limits of what is plausible follow the chips' data sheets, from memory where said.

mod allan;
mod error;
mod faces;
mod field;
mod gravity;
mod still;
mod store;
mod thermometer;

use jiff::ZonedDateTime;
use serde::{Deserialize, Serialize};

pub use allan::{Noise, NoiseRecorder, overlapping_deviation};
pub use error::CalibrationError;
pub use faces::{FACES, check_order, faces_up, fit as fit_faces, told_faces};
pub use field::{FieldVerdict, Verdict, four_digits, judge as judge_field_results};
pub use gravity::{STANDARD_GRAVITY_MPS2, normal_gravity_mps2};
pub use still::{Pose, StillCheck, Stillness, check as check_still};
pub use store::{default_folder, load, save};
pub use thermometer::{Look, LookRecorder, fit as fit_thermometer};

/// Days after which a calibration is called old, unless told otherwise: once a year is common practice, no published source.
pub const DEFAULT_VALID_DAYS: u32 = 365;

/// What is known about one sensor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// The sensor's id, hexadecimal.
    pub sensor: String,
    /// Days after which a part is called old.
    #[serde(default = "default_valid_days")]
    pub valid_days: u32,
    /// The gyro, where it was checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gyro: Option<Gyro>,
    /// The accelerometer, where it was checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accel: Option<Accel>,
    /// The thermometer, where it was checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thermometer: Option<Thermometer>,
}

fn default_valid_days() -> u32 {
    DEFAULT_VALID_DAYS
}

/// Gyro: true = reading - bias.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gyro {
    /// When, RFC 3339.
    pub when: String,
    /// Reading at rest, rad/s.
    pub bias_radps: [f64; 3],
    /// One standard deviation of the bias then, rad/s; it wanders with temperature beyond that.
    pub sd_radps: [f64; 3],
    /// Length of the rest, s.
    pub seconds: f64,
}

/// Accelerometer: true = (reading - offset) · scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accel {
    /// When, RFC 3339.
    pub when: String,
    /// Reading without any force, m/s².
    pub offset_mps2: [f64; 3],
    /// Factor on what remains.
    pub scale: [f64; 3],
    /// Gravity it was held against, m/s².
    pub gravity_mps2: f64,
    /// Poses it was found from.
    pub poses: u32,
    /// Largest difference to gravity left over, m/s²; zero by construction with six poses.
    pub left_over_mps2: f64,
}

/// Thermometer: true apparent temperature = reading - offset.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thermometer {
    /// When, RFC 3339.
    pub when: String,
    /// Reading minus truth, K.
    pub offset_k: f64,
    /// Emissivity of the target: found when `points` allow it, otherwise assumed. Not applied to paint.
    pub target_emissivity: f64,
    /// Temperatures it was found from.
    pub points: u32,
    /// Largest difference left over, K; zero by construction with one point, or two and the emissivity found.
    pub left_over_k: f64,
}

/// Zero-rate level of a new LSM6DSOX, rad/s: ±1 dps, data sheet, from memory.
const GYRO_BIAS_RADPS: f64 = 0.0175;
/// Zero-g offset of a new LSM6DSOX, m/s²: ±20 mg, data sheet, from memory.
const ACCEL_OFFSET_MPS2: f64 = 0.196;
/// Sensitivity tolerance of a new LSM6DSOX: ±1 %, data sheet, from memory.
const ACCEL_SCALE: f64 = 0.01;
/// Accuracy of an MLX90614, K: ±0.5 for 0 to 50 °C, data sheet.
const THERMOMETER_K: f64 = 0.5;
/// Beyond this many times the data sheet's figure, somebody should look.
const DOUBTFUL: f64 = 3.0;
/// Beyond this many times it, it is not a calibration but a fault: it is not believed.
const FAULT: f64 = 15.0;

impl Calibration {
    /// Nothing known about a sensor.
    pub fn of(sensor: &str) -> Self {
        Self { sensor: sensor.to_owned(), valid_days: DEFAULT_VALID_DAYS, gyro: None, accel: None, thermometer: None }
    }

    /// From TOML.
    ///
    /// # Errors
    /// What cannot be read, with its place, and figures no working sensor can have.
    pub fn from_toml(text: &str) -> Result<Self, CalibrationError> {
        let calibration: Self =
            toml::from_str(text).map_err(|e| CalibrationError::Unreadable { problem: in_a_line(&e, text) })?;
        calibration.check()?;
        Ok(calibration)
    }

    /// As TOML; reading it gives the same calibration, bit for bit.
    pub fn to_toml(&self) -> String {
        let body = toml::to_string(self).unwrap_or_default();
        format!(
            "# Written by `steadypass calibrate`. Machine axes; accelerations m/s², turn rates rad/s, temperatures K.\n{body}"
        )
    }

    /// Refuses figures that no working sensor can have.
    ///
    /// # Errors
    /// [`CalibrationError::Implausible`], with the figure and its limit.
    pub fn check(&self) -> Result<(), CalibrationError> {
        for (what, value, usual, unit) in self.figures() {
            // Not a number is no figure either.
            if value.is_nan() || value.abs() > FAULT * usual {
                return Err(CalibrationError::Implausible { what, value, limit: FAULT * usual, unit });
            }
        }
        Ok(())
    }

    /// What the user should know before relying on it: parts that are old, undated or unusual.
    pub fn remarks(&self, now: &ZonedDateTime) -> Vec<String> {
        let mut remarks = Vec::new();
        for (part, when) in self.dates() {
            match when.parse::<jiff::Timestamp>() {
                Err(_) => {
                    remarks.push(format!("The calibration of the {part} has no readable date ({when}); repeat it."))
                }
                Ok(then) => {
                    let days = now.timestamp().duration_since(then).as_hours() / 24;
                    if days > i64::from(self.valid_days) {
                        remarks.push(format!(
                            "The calibration of the {part} is {days} days old (limit {}); repeat it with `steadypass calibrate`.",
                            self.valid_days
                        ));
                    }
                }
            }
        }
        for (what, value, usual, unit) in self.figures() {
            if value.abs() > DOUBTFUL * usual {
                remarks.push(format!(
                    "{what} is {value:.3} {unit}, more than {DOUBTFUL} times what the data sheet gives ({usual} {unit}); check \
                     how it was measured, and the sensor."
                ));
            }
        }
        remarks
    }

    /// An accelerometer reading, m/s², as it should have been.
    pub fn accel_mps2(&self, reading: [f32; 3]) -> [f32; 3] {
        let Some(accel) = &self.accel else { return reading };
        std::array::from_fn(|i| ((f64::from(reading[i]) - accel.offset_mps2[i]) * accel.scale[i]) as f32)
    }

    /// A gyro reading, rad/s, as it should have been.
    pub fn gyro_radps(&self, reading: [f32; 3]) -> [f32; 3] {
        let Some(gyro) = &self.gyro else { return reading };
        std::array::from_fn(|i| (f64::from(reading[i]) - gyro.bias_radps[i]) as f32)
    }

    /// An apparent temperature, °C, as it should have been.
    pub fn apparent_c(&self, reading: f32) -> f32 {
        self.thermometer.as_ref().map_or(reading, |t| (f64::from(reading) - t.offset_k) as f32)
    }

    fn dates(&self) -> impl Iterator<Item = (&'static str, &str)> {
        let gyro = self.gyro.as_ref().map(|p| ("gyro", p.when.as_str()));
        let accel = self.accel.as_ref().map(|p| ("accelerometer", p.when.as_str()));
        let thermometer = self.thermometer.as_ref().map(|p| ("thermometer", p.when.as_str()));
        gyro.into_iter().chain(accel).chain(thermometer)
    }

    /// What, how large, how large it usually is, unit.
    fn figures(&self) -> Vec<(&'static str, f64, f64, &'static str)> {
        let mut figures = Vec::new();
        if let Some(gyro) = &self.gyro {
            figures.extend(gyro.bias_radps.map(|v| ("the gyro's bias", v, GYRO_BIAS_RADPS, "rad/s")));
        }
        if let Some(accel) = &self.accel {
            figures.extend(accel.offset_mps2.map(|v| ("the accelerometer's offset", v, ACCEL_OFFSET_MPS2, "m/s²")));
            figures.extend(accel.scale.map(|v| ("the accelerometer's scale error", v - 1.0, ACCEL_SCALE, "")));
        }
        if let Some(thermometer) = &self.thermometer {
            figures.push(("the thermometer's offset", thermometer.offset_k, THERMOMETER_K, "K"));
        }
        figures
    }
}

/// What a parser says, with its place, in one line: it stands in the middle of a sentence.
fn in_a_line(error: &toml::de::Error, text: &str) -> String {
    let message = error.message().split_whitespace().collect::<Vec<_>>().join(" ");
    match error.span().and_then(|span| text.get(..span.start)) {
        Some(before) => format!("line {}: {message}", before.matches('\n').count() + 1),
        None => message,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn whole() -> Calibration {
        Calibration {
            gyro: Some(Gyro {
                when: "2026-03-02T09:00:00+01:00".into(),
                bias_radps: [0.01, -0.004, 0.000_123_456_789],
                sd_radps: [1e-5; 3],
                seconds: 61.5,
            }),
            accel: Some(Accel {
                when: "2026-03-02T09:10:00+01:00".into(),
                offset_mps2: [0.1, -0.05, 0.2],
                scale: [1.003, 0.998, 1.0],
                gravity_mps2: 9.812,
                poses: 7,
                left_over_mps2: 0.003,
            }),
            thermometer: Some(Thermometer {
                when: "2026-03-02T09:30:00+01:00".into(),
                offset_k: 0.31,
                target_emissivity: 0.96,
                points: 2,
                left_over_k: 0.0,
            }),
            ..Calibration::of("00aa")
        }
    }

    fn day(text: &str) -> ZonedDateTime {
        crate::recording::start_of(text).unwrap()
    }

    #[test]
    fn it_survives_the_file_bit_for_bit() {
        assert_eq!(Calibration::from_toml(&whole().to_toml()), Ok(whole()));
        assert_eq!(Calibration::from_toml(&Calibration::of("x").to_toml()), Ok(Calibration::of("x")));
    }

    #[test]
    fn readings_come_out_right() {
        let calibration = whole();
        let accel = calibration.accel_mps2([0.1, -0.05, 10.2]);
        assert!((accel[2] - 10.0).abs() < 1e-6 && accel[0].abs() < 1e-6, "{accel:?}");
        assert!(calibration.gyro_radps([0.01, -0.004, 0.0])[0].abs() < 1e-9);
        assert!((calibration.apparent_c(25.31) - 25.0).abs() < 1e-5);
        let none = Calibration::of("x");
        assert_eq!((none.accel_mps2([1.0, 2.0, 3.0]), none.apparent_c(25.0)), ([1.0, 2.0, 3.0], 25.0));
    }

    #[test]
    fn an_old_one_is_called_old() {
        assert_eq!(whole().remarks(&day("2026-12-24T00:00:00+01:00")), Vec::<String>::new());
        let remarks = whole().remarks(&day("2027-04-01T00:00:00+01:00"));
        assert_eq!(remarks.len(), 3);
        assert!(remarks[0].contains("gyro is 394 days old (limit 365)"), "{}", remarks[0]);
    }

    #[test]
    fn an_unusual_one_is_remarked_on_and_an_impossible_one_refused() {
        let mut odd = whole();
        odd.thermometer.as_mut().unwrap().offset_k = -1.9;
        let remarks = odd.remarks(&day("2026-03-03T00:00:00+01:00"));
        assert!(remarks[0].contains("thermometer's offset is -1.900 K"), "{remarks:?}");
        for broken in
            ["[gyro]\nwhen=\"\"\nbias_radps=[9.0,0,0]\nsd_radps=[0,0,0]\nseconds=1", "colour = 3", "sensor = 1"]
        {
            let text = format!("sensor = \"x\"\n{broken}");
            assert!(Calibration::from_toml(&text).is_err(), "{broken}");
        }
        let nan = whole().to_toml().replace("0.31", "nan");
        assert!(matches!(Calibration::from_toml(&nan), Err(CalibrationError::Implausible { .. })));
    }
}
