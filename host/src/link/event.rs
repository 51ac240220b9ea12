//! What a link tells: each event as it comes, and at the end how it went.

use steadypass_protocol::{Health, Hello};

/// What happened on the cable, in order. `log_ns` is ns since 1970 (UTC) on a clock that never steps back.
#[derive(Clone, Debug, PartialEq)]
pub enum LinkEvent {
    /// The sensor has introduced itself (again).
    Connected {
        /// Host time, ns.
        log_ns: u64,
        /// Port name.
        port: String,
        /// Who it is.
        hello: Hello,
    },
    /// A good frame, without its zeros.
    Frame {
        /// Host time, ns.
        log_ns: u64,
        /// The bytes.
        raw: Vec<u8>,
    },
    /// Frames that could not be used since the last such event.
    BadFrames {
        /// Host time, ns.
        log_ns: u64,
        /// How many.
        count: u64,
    },
    /// The port went away or fell silent.
    Lost {
        /// Host time, ns.
        log_ns: u64,
        /// Why, in words.
        reason: String,
    },
    /// The same sensor is back.
    Resumed {
        /// Host time, ns.
        log_ns: u64,
        /// How long it was gone, s.
        gap_s: f64,
    },
    /// Another sensor was plugged in and refused.
    Stranger {
        /// Host time, ns.
        log_ns: u64,
        /// Its id, hexadecimal.
        sensor: String,
    },
}

/// How it went, when it is over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LinkReport {
    /// Good frames.
    pub frames: u64,
    /// Frames that could not be used.
    pub bad_frames: u64,
    /// Times the sensor was lost.
    pub losses: u64,
    /// Shortest round trip in the last minute, µs.
    pub round_trip_us: Option<u64>,
    /// What the sensor said last of its own health.
    pub health: Option<Health>,
}
