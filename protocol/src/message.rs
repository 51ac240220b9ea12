//! Every message, in both directions, with units, ranges and scaling.
//!
//! Times ending in `_us` are microseconds of the sensor's own clock since it started, unless the name says `host`.
//! They never wrap in practice (u64), and go back to zero when the sensor restarts: that is how a restart is noticed.

use serde::{Deserialize, Serialize};

/// Samples in one full accelerometer block. 72 samples at 1.67 kHz are 43 ms: short enough for live warnings, long enough
/// to keep the bytes that are not samples under a tenth of the stream.
pub const ACCEL_BLOCK: usize = 72;

/// Samples in one full gyro block (86 ms at 208 Hz).
pub const GYRO_BLOCK: usize = 18;

/// The sensor stops streaming when no good frame has come from the host for this long.
pub const HOST_SILENCE_US: u64 = 3_000_000;

/// What the sensor tells the host.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToHost<'a> {
    /// Kind 0. Who is speaking; the answer to [`ToSensor::Identify`], also sent when the host opens the port.
    Hello(Hello),
    /// Kind 1. Accelerometer samples.
    #[serde(borrow)]
    Accel(Block<'a>),
    /// Kind 2. Gyro samples.
    #[serde(borrow)]
    Gyro(Block<'a>),
    /// Kind 3. One look of the infrared thermometer.
    Surface(Surface),
    /// Kind 4. Counters, once a second while a host is there (heard within [`HOST_SILENCE_US`]), streaming or not: a refused
    /// start is then explained.
    Health(Health),
    /// Kind 5. The mark button was pressed.
    Mark(Mark),
    /// Kind 6. Answer to [`ToSensor::Ping`].
    Pong(Pong),
    /// Kind 7. Answer to every other command but [`ToSensor::Identify`].
    Reply(Reply),
}

/// What the host tells the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ToSensor {
    /// Kind 0. Asks for [`ToHost::Hello`].
    Identify,
    /// Kind 1. Starts streaming.
    Start,
    /// Kind 2. Stops streaming.
    Stop,
    /// Kind 3. Changes settings; refused as a whole when one of them is out of range or while streaming.
    Configure(Settings),
    /// Kind 4. Clock mapping and sign of life.
    Ping(Ping),
    /// Kind 5. What the sensor's light and buzzer show.
    Indicate(Pattern),
    /// Kind 6. Restarts the sensor.
    Restart(RestartInto),
}

/// Who the sensor is and how to read its counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// Protocol version the sensor speaks; the first field in every version of this message.
    pub protocol: u8,
    /// Firmware version: major, minor, patch.
    pub firmware: [u8; 3],
    /// Unique id of the sensor (the flash chip's, on the reference board).
    pub unique_id: [u8; 8],
    /// Chips that answered: bit 0 IMU, bit 1 infrared thermometer.
    pub chips: u8,
    /// Why the sensor last started.
    pub reset: ResetCause,
    /// Time since then, µs.
    pub uptime_us: u64,
    /// How to read accelerometer counts; `nano_per_count` in nm/s².
    pub accel: Scale,
    /// How to read gyro counts; `nano_per_count` in nrad/s.
    pub gyro: Scale,
    /// Nominal time between two looks of the thermometer, ms.
    pub surface_period_ms: u16,
    /// How the chip sits in the machine's axes.
    pub mounting: Mounting,
    /// Whether the sensor is streaming.
    pub streaming: bool,
}

impl Hello {
    /// Bit of [`Hello::chips`]: the IMU answered.
    pub const CHIP_IMU: u8 = 1;
    /// Bit of [`Hello::chips`]: the infrared thermometer answered.
    pub const CHIP_IR: u8 = 2;
}

/// How to read the counts of one motion stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Scale {
    /// Nominal sample rate, mHz. The chip's true rate is up to a few percent off and drifts: use the blocks' spacing.
    pub nominal_mhz: u32,
    /// Nano-units per count: nm/s² for the accelerometer, nrad/s for the gyro.
    pub nano_per_count: u32,
    /// Largest count before the chip clips; a sample at or beyond it is not a measurement.
    pub full_scale: i16,
}

/// Axes of the chip in machine axes. Machine axes: x and y in the pad's plane, z along the spindle, away from the pad.
///
/// Machine axis `i` is chip axis `abs(axis[i])` (1 = x, 2 = y, 3 = z), negated when `axis[i]` is negative. `[1, 2, 3]`
/// is a chip that sits straight.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mounting {
    /// Signed chip axis for machine x, y and z.
    pub axis: [i8; 3],
}

impl Mounting {
    /// Chip axes equal machine axes.
    pub const STRAIGHT: Self = Self { axis: [1, 2, 3] };

    /// Whether the map is a proper rotation: each chip axis once, right-handed.
    pub fn is_rotation(self) -> bool {
        let mut m = [[0i32; 3]; 3];
        for (row, &a) in m.iter_mut().zip(&self.axis) {
            let Some(cell) = usize::from(a.unsigned_abs()).checked_sub(1).and_then(|c| row.get_mut(c)) else {
                return false;
            };
            *cell = i32::from(a.signum());
        }
        let [a, b, c] = m;
        let determinant = a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0])
            + a[2] * (b[0] * c[1] - b[1] * c[0]);
        determinant == 1
    }

    /// A chip vector in machine axes. Axes outside ±1..=3 give zero; check with [`Mounting::is_rotation`] first.
    pub fn apply(self, chip: [f32; 3]) -> [f32; 3] {
        self.axis.map(|a| {
            let value = usize::from(a.unsigned_abs()).checked_sub(1).and_then(|c| chip.get(c)).copied().unwrap_or(0.0);
            if a < 0 { -value } else { value }
        })
    }
}

/// Why the sensor last started.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ResetCause {
    /// Power came on, or the reset pin was used.
    PowerOn,
    /// The watchdog found the firmware stuck.
    Watchdog,
    /// The host asked for it, or the chip's loader restarted it with a new firmware.
    Commanded,
}

/// A run of evenly spaced samples of one motion stream.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Block<'a> {
    /// Number of the first sample, counted per stream since the sensor started; wraps at 2³². A step larger than the
    /// samples sent says how many were lost.
    pub first_index: u32,
    /// Time of the first sample, µs, from the microcontroller's clock.
    pub first_us: u64,
    /// Measured time between samples, ns. Never the nominal one once [`Block::NOMINAL_SPACING`] is clear.
    pub spacing_ns: u32,
    /// See the constants of this type.
    pub flags: u8,
    /// The samples.
    #[serde(borrow)]
    pub samples: Samples<'a>,
}

impl Block<'_> {
    /// Flag: the chip's buffer overran before this block; samples were lost.
    pub const AFTER_OVERRUN: u8 = 1;
    /// Flag: the spacing is not measured yet. It is the chip's nominal one at first (up to a few percent off), a first
    /// estimate a few tenths of a second later, and good to 0.05 % once this flag is clear.
    pub const NOMINAL_SPACING: u8 = 2;
    /// Flag: the chip was set up anew before this block (it had stopped answering).
    pub const AFTER_RESTART: u8 = 4;
}

/// Sample counts as they came from the chip: x, y, z as little-endian 16-bit numbers, six bytes a sample.
///
/// Raw bytes rather than varints: the length is fixed, so buffers and link budget do not depend on the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Samples<'a>(&'a [u8]);

/// Bytes of one sample.
pub const SAMPLE_BYTES: usize = 6;

impl<'a> Samples<'a> {
    /// Takes raw bytes; `None` unless their number is a multiple of six.
    pub fn from_bytes(bytes: &'a [u8]) -> Option<Self> {
        bytes.len().is_multiple_of(SAMPLE_BYTES).then_some(Self(bytes))
    }

    /// The bytes.
    pub fn as_bytes(&self) -> &'a [u8] {
        self.0
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        self.0.len() / SAMPLE_BYTES
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The samples, oldest first, as x, y, z counts.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = [i16; 3]> + use<'a> {
        self.0.chunks_exact(SAMPLE_BYTES).map(|b| {
            [i16::from_le_bytes([b[0], b[1]]), i16::from_le_bytes([b[2], b[3]]), i16::from_le_bytes([b[4], b[5]])]
        })
    }
}

impl Serialize for Samples<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_bytes(self.0)
    }
}

impl<'de: 'a, 'a> Deserialize<'de> for Samples<'a> {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let bytes = <&'a [u8]>::deserialize(deserializer)?;
        Self::from_bytes(bytes).ok_or_else(|| serde::de::Error::custom("sample bytes are not a multiple of six"))
    }
}

/// One look of the infrared thermometer. Words as the chip gave them: 0.02 K per count, absolute temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Surface {
    /// Number of the look, wraps at 256; a step larger than one says how many frames were lost.
    pub index: u8,
    /// When it was read, µs.
    pub t_us: u64,
    /// Object word; meaningless when [`Surface::flags`] is not zero.
    pub object_raw: u16,
    /// Ambient word (the chip's own temperature); meaningless when [`Surface::flags`] is not zero.
    pub ambient_raw: u16,
    /// Zero for a good reading; see the constants of this type.
    pub flags: u8,
}

impl Surface {
    /// Flag: the chip did not answer in time.
    pub const NO_ANSWER: u8 = 1;
    /// Flag: the checksum of an answer was wrong.
    pub const BAD_CHECKSUM: u8 = 2;
    /// Flag: the chip itself marked its word as invalid.
    pub const CHIP_ERROR: u8 = 4;
}

/// Counters since the sensor started; they only grow (and stop at their largest value).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Health {
    /// Time since start, µs.
    pub uptime_us: u64,
    /// Frames thrown away because the host did not read.
    pub frames_dropped: u32,
    /// Samples lost inside the IMU (its buffer overran or it had to be set up anew).
    pub samples_lost: u32,
    /// Times the IMU's buffer overran.
    pub fifo_overruns: u16,
    /// Faults on the IMU's bus (no answer, timeout).
    pub imu_bus_faults: u16,
    /// Faults on the thermometer's bus (no answer, timeout).
    pub ir_bus_faults: u16,
    /// Thermometer words with a wrong checksum.
    pub ir_checksum_errors: u16,
    /// Thermometer words that the chip marked as invalid.
    pub ir_chip_errors: u16,
    /// Frames from the host that could not be used.
    pub bad_commands: u16,
    /// Watchdog resets since power came on.
    pub watchdog_resets: u16,
    /// Temperature of the IMU's die, 0.01 °C, where it could be read.
    pub imu_centi_c: Option<i16>,
    /// Share of the last second in which the processor slept, in thousandths.
    pub idle_permille: u16,
}

/// The mark button was pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    /// When the button closed, µs.
    pub t_us: u64,
    /// Number of the press since start, from 1.
    pub index: u16,
}

/// Sign of life and clock mapping, host to sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ping {
    /// Repeated in the answer.
    pub token: u32,
    /// The host's own clock when it sent this, µs; repeated in the answer.
    pub host_us: u64,
}

/// Answer to a ping.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pong {
    /// Token of the ping.
    pub token: u32,
    /// Host time of the ping, µs.
    pub host_us: u64,
    /// Sensor time when the ping was handled, µs.
    pub sensor_us: u64,
}

/// Answer to a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reply {
    /// Kind number of the command that is answered (its place in [`ToSensor`]).
    pub command: u8,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outcome {
    /// Done.
    Accepted,
    /// Not done, and why.
    Refused(Refusal),
}

/// Why a command was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// This firmware does not know the command.
    UnknownCommand,
    /// A setting is outside its range.
    OutOfRange(SettingName),
    /// The IMU does not answer.
    NoImu,
    /// Not while streaming: stop first.
    Streaming,
}

/// Names a field of [`Settings`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum SettingName {
    /// [`Settings::surface_period_ms`].
    SurfacePeriod,
    /// [`Settings::accel_range_g`].
    AccelRange,
    /// [`Settings::light_percent`].
    Light,
}

/// What the host may change; it lasts until the sensor restarts. Of these [`Hello`] tells the range (in [`Hello::accel`]) and the
/// period back, the other two only the host knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Time between two looks of the thermometer, 50 to 1000 ms. Default 64.
    pub surface_period_ms: u16,
    /// Accelerometer range: 4, 8 or 16 g. Default 16.
    pub accel_range_g: u8,
    /// Brightness of the light, 0 to 100 %. Default 60.
    pub light_percent: u8,
    /// Whether the buzzer may sound. Default true.
    pub buzzer: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { surface_period_ms: 64, accel_range_g: 16, light_percent: 60, buzzer: true }
    }
}

impl Settings {
    /// The first setting outside its range, if any.
    pub fn out_of_range(&self) -> Option<SettingName> {
        if !(50..=1000).contains(&self.surface_period_ms) {
            Some(SettingName::SurfacePeriod)
        } else if !matches!(self.accel_range_g, 4 | 8 | 16) {
            Some(SettingName::AccelRange)
        } else if self.light_percent > 100 {
            Some(SettingName::Light)
        } else {
            None
        }
    }
}

/// What the sensor's light and buzzer show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Pattern {
    /// Dark and silent.
    Off,
    /// All well.
    Steady,
    /// The arm is too fast.
    SlowDown,
    /// The arm or the pad is too slow.
    SpeedUp,
    /// The panel is too warm.
    TooHot,
    /// Nobody watches: no host (the sensor chooses this by itself), or a host that does not get what it needs.
    LostHost,
}

/// Where a restart leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum RestartInto {
    /// Back into the firmware.
    Firmware,
    /// Into the chip's USB loader, to copy a new firmware onto it.
    Loader,
}

/// Why a payload with a good checksum could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// A kind of message from a newer program; skip it.
    #[error("message kind {0} is not known to this program")]
    UnknownKind(u32),
    /// The sensor speaks another version of the protocol.
    #[error("the sensor speaks protocol version {sensor}, this program speaks {host}")]
    Version {
        /// Version the sensor speaks.
        sensor: u8,
        /// Version this program speaks.
        host: u8,
    },
    /// The payload ended early, had bytes left over, or a field was not valid.
    #[error("message kind {kind} is malformed")]
    Malformed {
        /// Kind of the message.
        kind: u32,
    },
    /// There was nothing in it.
    #[error("the message is empty")]
    Empty,
}

/// Number of kinds in [`ToHost`].
pub const TO_HOST_KINDS: u32 = 8;
/// Number of kinds in [`ToSensor`].
pub const TO_SENSOR_KINDS: u32 = 7;

impl<'a> ToHost<'a> {
    /// Reads one payload.
    ///
    /// # Errors
    /// See [`DecodeError`]. A `Hello` of another protocol version is [`DecodeError::Version`] whatever follows it.
    pub fn decode(payload: &'a [u8]) -> Result<Self, DecodeError> {
        let kind = kind_of(payload)?;
        // The version comes right behind the one-byte kind and is looked at before anything that may have changed.
        if let [0, version, ..] = *payload
            && version != crate::PROTOCOL_VERSION
        {
            return Err(DecodeError::Version { sensor: version, host: crate::PROTOCOL_VERSION });
        }
        decode_all(payload, kind, TO_HOST_KINDS)
    }
}

impl ToSensor {
    /// Reads one payload.
    ///
    /// # Errors
    /// See [`DecodeError`].
    pub fn decode(payload: &[u8]) -> Result<Self, DecodeError> {
        decode_all(payload, kind_of(payload)?, TO_SENSOR_KINDS)
    }

    /// Kind number, as repeated in [`Reply::command`].
    pub fn kind(&self) -> u8 {
        match self {
            Self::Identify => 0,
            Self::Start => 1,
            Self::Stop => 2,
            Self::Configure(_) => 3,
            Self::Ping(_) => 4,
            Self::Indicate(_) => 5,
            Self::Restart(_) => 6,
        }
    }
}

fn kind_of(payload: &[u8]) -> Result<u32, DecodeError> {
    if payload.is_empty() {
        return Err(DecodeError::Empty);
    }
    postcard::take_from_bytes::<u32>(payload)
        .map(|(kind, _)| kind)
        .map_err(|_| DecodeError::Malformed { kind: u32::MAX })
}

fn decode_all<'a, M: Deserialize<'a>>(payload: &'a [u8], kind: u32, kinds: u32) -> Result<M, DecodeError> {
    if kind >= kinds {
        return Err(DecodeError::UnknownKind(kind));
    }
    match postcard::take_from_bytes(payload) {
        // Bytes left over would be a field that this program does not know: postcard would drop it without a word.
        Ok((message, [])) => Ok(message),
        _ => Err(DecodeError::Malformed { kind }),
    }
}
