//! `sensor`: what the sensor says of itself; setting it; starting it anew.

use std::fmt::Write as _;

use serde::Serialize;
use steadypass::link::{Link, LinkError, accel_range_g};
use steadypass_protocol::{Hello, ResetCause, Settings};

use super::{Console, Done, Failure, Outcome};
use crate::cli::SensorArgs;

/// What the sensor says of itself.
#[derive(Serialize)]
struct Told {
    port: String,
    sensor: String,
    firmware: String,
    motion_chip: bool,
    thermometer: bool,
    up_s: f64,
    last_start: &'static str,
    accel_hz: f64,
    accel_range_g: u8,
    gyro_hz: f64,
    surface_period_ms: u16,
    /// Not told by the sensor: what it has just accepted.
    #[serde(skip_serializing_if = "Option::is_none")]
    light_percent: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    buzzer: Option<bool>,
}

pub(super) fn run(console: &Console, args: &SensorArgs) -> Outcome {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (link, accepted) = runtime.block_on(talk(console, args))?;
    let Some(link) = link else {
        console.result(if console.json {
            r#"{"loader":true}"#
        } else {
            "The sensor goes into its loader and then shows itself as a drive: copy the firmware's UF2 file onto it."
        })?;
        return Ok(Done::Fine);
    };
    let told = told(&link, accepted);
    let text =
        if console.json { serde_json::to_string_pretty(&told).map_err(Failure::failed)? } else { in_words(&told) };
    console.result(&text)?;
    if accepted.is_some() {
        console.remark("Settings last until the sensor restarts or is unplugged.");
    }
    Ok(Done::Fine)
}

/// Does what was asked for; gives the sensor as it is then (none in its loader), and the settings it accepted.
async fn talk(console: &Console, args: &SensorArgs) -> Result<(Option<Link>, Option<Settings>), LinkError> {
    let mut link = Link::open(args.port.as_deref()).await?;
    if args.loader {
        link.restart_into_loader().await?;
        return Ok((None, None));
    }
    if args.restart {
        link = link.restart().await?;
        console.remark("The sensor has restarted.");
        return Ok((Some(link), None));
    }
    let changes = &args.settings;
    if !changes.any() {
        return Ok((Some(link), None));
    }
    let usual = Settings::default();
    let settings = Settings {
        surface_period_ms: changes.surface_period_ms.unwrap_or(link.hello().surface_period_ms),
        accel_range_g: changes.accel_range_g.unwrap_or_else(|| accel_range_g(link.hello())),
        light_percent: changes.light_percent.unwrap_or(usual.light_percent),
        buzzer: changes.buzzer.map_or(usual.buzzer, |switch| switch.is_on()),
    };
    link.configure(settings).await?;
    Ok((Some(link), Some(settings)))
}

fn told(link: &Link, accepted: Option<Settings>) -> Told {
    let hello = link.hello();
    let [major, minor, patch] = hello.firmware;
    Told {
        port: link.port().to_owned(),
        sensor: link.sensor_id(),
        firmware: format!("{major}.{minor}.{patch}"),
        motion_chip: hello.chips & Hello::CHIP_IMU != 0,
        thermometer: hello.chips & Hello::CHIP_IR != 0,
        up_s: hello.uptime_us as f64 * 1e-6,
        last_start: match hello.reset {
            ResetCause::PowerOn => "power came on",
            ResetCause::Watchdog => "the firmware was stuck",
            ResetCause::Commanded => "it was told to, or has a new firmware",
        },
        accel_hz: f64::from(hello.accel.nominal_mhz) * 1e-3,
        accel_range_g: accel_range_g(hello),
        gyro_hz: f64::from(hello.gyro.nominal_mhz) * 1e-3,
        surface_period_ms: hello.surface_period_ms,
        light_percent: accepted.map(|s| s.light_percent),
        buzzer: accepted.map(|s| s.buzzer),
    }
}

fn in_words(told: &Told) -> String {
    let answers = |there: bool| if there { "answers" } else { "does not answer; check its wiring" };
    let mut lines = vec![
        ("sensor", format!("{} at {}, firmware {}", told.sensor, told.port, told.firmware)),
        ("motion chip", answers(told.motion_chip).to_owned()),
        ("thermometer", answers(told.thermometer).to_owned()),
        ("started", format!("{:.0} s ago: {}", told.up_s, told.last_start)),
        ("accelerometer", format!("{:.0} samples a second, range {} g", told.accel_hz, told.accel_range_g)),
        ("gyro", format!("{:.0} samples a second", told.gyro_hz)),
        ("surface", format!("a look every {} ms", told.surface_period_ms)),
    ];
    lines.extend(told.light_percent.map(|percent| ("light", format!("{percent} %"))));
    lines.extend(told.buzzer.map(|on| ("buzzer", if on { "on" } else { "off" }.to_owned())));
    let mut text = String::new();
    for (name, value) in lines {
        let _ = writeln!(text, "{name:<14} {value}");
    }
    text.trim_end().to_owned()
}
