//! What can go wrong on the cable, each with what to do.

use steadypass_protocol::{Refusal, SettingName};

/// Why there is no link.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum LinkError {
    /// No port that looks like the sensor.
    #[error("no sensor found: {}. Plug it in, or name its port with --port (`steadypass ports` lists them)", match .ports { 0 => "there is no serial port".into(), 1 => "the one serial port does not look like one".into(), n => format!("none of the {n} serial ports looks like one") })]
    NoSensor {
        /// Ports that were looked at.
        ports: usize,
    },
    /// More than one.
    #[error("several sensors are plugged in ({}); choose one with --port", .ports.join(", "))]
    Several {
        /// Their ports.
        ports: Vec<String>,
    },
    /// The name leads nowhere.
    #[error("{port}: there is no such port. Is the sensor plugged in? `steadypass ports` lists the ports there are")]
    Missing {
        /// Port name.
        port: String,
    },
    /// The name leads to something that is no port.
    #[error("{port} is not a serial port but {what}")]
    NotAPort {
        /// Name.
        port: String,
        /// What it is.
        what: &'static str,
    },
    /// Somebody else has it open.
    #[error(
        "{port} is in use by another program; close that (another `steadypass record`, a serial monitor) and try again"
    )]
    Busy {
        /// Port name.
        port: String,
    },
    /// The user may not open it.
    #[error(
        "{port}: permission denied; it belongs to group `{group}`. Add yourself to it (`sudo usermod -aG {group} $USER`), log out and in again"
    )]
    Permission {
        /// Port name.
        port: String,
        /// Group that may open it.
        group: String,
    },
    /// Another error of the operating system.
    #[error("{port}: {message}")]
    Os {
        /// Port name.
        port: String,
        /// What it said.
        message: String,
    },
    /// Not a byte in three seconds.
    #[error("{port} is silent: no answer in 3 s. Is this the sensor's port, and does the sensor have power?")]
    Silent {
        /// Port name.
        port: String,
    },
    /// Bytes, but not ours.
    #[error(
        "{port} sends data ({bytes} bytes in 3 s), but not a Steadypass sensor's: another device, or a wrong baud rate"
    )]
    NotOurs {
        /// Port name.
        port: String,
        /// Bytes that came.
        bytes: usize,
    },
    /// Another protocol version.
    #[error("the sensor at {port} speaks protocol version {sensor}, this program speaks {host}: update the {}", if .sensor > .host { "program" } else { "sensor's firmware" })]
    Version {
        /// Port name.
        port: String,
        /// Version of the sensor.
        sensor: u8,
        /// Version of this program.
        host: u8,
    },
    /// The sensor is there but will not do what it was asked.
    #[error("the sensor at {port} refused {what}: {reason}")]
    Refused {
        /// Port name.
        port: String,
        /// What it was asked for.
        what: &'static str,
        /// Why.
        reason: String,
    },
    /// The sensor has introduced itself, but does not answer a command.
    #[error("the sensor at {port} did not answer the command in 3 s; unplug it, plug it in and try again")]
    NoAnswer {
        /// Port name.
        port: String,
    },
    /// It accepted to start anew, and has not been heard since.
    #[error(
        "the sensor that was at {port} was told to restart and has not come back in 10 s; unplug it and plug it in again"
    )]
    NotBack {
        /// Port name.
        port: String,
    },
}

/// Why the sensor will not, in words, with what to do.
pub(super) fn refusal_text(refusal: Refusal) -> String {
    match refusal {
        Refusal::NoImu => "its motion chip does not answer; check the wiring (hardware/) and plug it in again".into(),
        Refusal::UnknownCommand => "its firmware does not know the command; update it".into(),
        Refusal::OutOfRange(setting) => format!("its firmware does not take that value of {}", setting_text(setting)),
        Refusal::Streaming => "it is streaming already".into(),
    }
}

/// A setting in words, with what it may be.
fn setting_text(setting: SettingName) -> &'static str {
    match setting {
        SettingName::SurfacePeriod => "the time between two looks of the thermometer, 50 to 1000 ms",
        SettingName::AccelRange => "the accelerometer's range, 4, 8 or 16 g",
        SettingName::Light => "the light's brightness, 0 to 100 %",
    }
}
