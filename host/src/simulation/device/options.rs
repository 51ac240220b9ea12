//! How a virtual sensor is built, how it may behave, and what may go wrong with it.

use steadypass_protocol::{HOST_SILENCE_US, Hello, ResetCause};

/// How a virtual sensor is built.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorOptions {
    /// Its unique id.
    pub unique_id: [u8; 8],
    /// Chips that answer: [`Hello::CHIP_IMU`], [`Hello::CHIP_IR`].
    pub chips: u8,
    /// Silence of the host after which it stops streaming, µs of sensor time. Longer where time is played faster.
    pub silence_us: u64,
    /// Whether the scenario presses the mark button at each section's start.
    pub marks: bool,
}

impl Default for SensorOptions {
    fn default() -> Self {
        Self {
            unique_id: *b"virtual0",
            chips: Hello::CHIP_IMU | Hello::CHIP_IR,
            silence_us: HOST_SILENCE_US,
            marks: true,
        }
    }
}

/// How the sensor behaves on the wire.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Behaviour {
    /// As it should.
    #[default]
    Normal,
    /// Answers nothing and sends nothing.
    Mute,
    /// Sends noise at the usual rate and understands nothing: the wrong baud rate, or another device.
    Garbage,
    /// Says in its `Hello` that it speaks this version of the protocol.
    Version(u8),
}

/// Something that goes wrong once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// The sensor starts anew: its clock, numbers and settings go back to the beginning.
    Restart(ResetCause),
    /// The motion chip's buffer overruns and the next samples are lost.
    Overrun {
        /// Accelerometer samples; the gyro's of the same time go with them.
        samples: u32,
    },
    /// The motion chip stops answering, and is set up anew when this many samples have been missed.
    ImuRestart {
        /// Accelerometer samples.
        samples: u32,
    },
    /// The motion chip's lead comes off (`false`) or is put back (`true`).
    ImuLead(bool),
    /// The next looks of the thermometer fail.
    Thermometer {
        /// One of the flags of [`Surface`](steadypass_protocol::Surface).
        flags: u8,
        /// How many looks.
        looks: u32,
    },
    /// The next frame arrives with one bit turned over.
    BitError,
}
