//! What the analysis is fed with: readings in SI units on one unbroken time axis.
//!
//! Times are microseconds since the first sample of the recording, on the sensor's clock, as f64 (exact to far below a
//! nanosecond for days; block times of fast loggers fall between whole microseconds). The layer before has already dealt
//! with restarts of the sensor, scale factors and the chip's mounting.

/// One reading, or a run of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading<'a> {
    /// Specific force, m/s², machine axes: x and y in the pad's plane, z along the spindle, away from the pad. At rest, face
    /// down on a level panel, z reads about +9.81.
    Accel(Run<'a>),
    /// Turn rate, rad/s, machine axes, right-handed.
    Gyro(Run<'a>),
    /// One look of the infrared thermometer.
    Surface(SurfaceLook),
    /// The mark button: a new section starts here.
    Mark {
        /// When, µs.
        t_us: f64,
    },
    /// The stream was interrupted (unplugged, sensor restarted); nothing before continues across it.
    Break {
        /// Last moment known before, µs.
        from_us: f64,
        /// First moment after, µs.
        to_us: f64,
    },
}

/// A run of evenly spaced samples of one motion stream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run<'a> {
    /// Time of the first sample, µs.
    pub first_us: f64,
    /// Time between samples, µs.
    pub spacing_us: f64,
    /// Samples lost between the run before and this one: a hole, counted and told whatever is put in for the analysis.
    pub lost_before: u32,
    /// Samples of this run that reached the chip's full scale and are therefore not measurements of the peak.
    pub clipped: u32,
    /// x, y, z per sample, oldest first.
    pub samples: &'a [[f32; 3]],
}

impl Run<'_> {
    /// Longest run that is believed, µs: an hour, several times what 72 rows of the slowest table span.
    const LONGEST_US: f64 = 3600e6;

    /// When the sample after this run is due, µs.
    pub fn end_us(&self) -> f64 {
        self.first_us + self.spacing_us * self.samples.len() as f64
    }

    /// Whether the times are such as a sensor or a table can have: decades at most, up to 10 s from sample to sample.
    pub fn has_usable_times(&self) -> bool {
        self.first_us.abs() < 1e15
            && (1.0..1e7).contains(&self.spacing_us)
            && self.spacing_us * self.samples.len() as f64 <= Self::LONGEST_US
    }
}

/// One look of the infrared thermometer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfaceLook {
    /// When, µs.
    pub t_us: f64,
    /// Apparent temperature of what is in view, °C, as the chip gives it (emissivity 1); `None` when the reading failed.
    pub apparent_c: Option<f32>,
    /// The chip's own temperature, °C; `None` when the reading failed.
    pub ambient_c: Option<f32>,
    /// Whether `apparent_c` is already corrected for emissivity (tables from other loggers).
    pub corrected: bool,
}
