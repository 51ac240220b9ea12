//! A virtual sensor behind a path, to try the program with by hand or from a script:
//!
//! ```text
//! cargo run --release --example virtual_sensor -- /tmp/sensor demo 1
//! steadypass record --port /tmp/sensor
//! ```
//!
//! Lines on its input make things happen: `unplug`, `replug`, `mark`, `quit`. Its data is invented.

use std::io::{BufRead, stdin};

use steadypass::simulation::{Scenario, SensorOptions, VirtualPort, VirtualSensor};
use steadypass_protocol::HOST_SILENCE_US;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [path, name, speed] = words.as_slice() else {
        return Err("usage: virtual_sensor PATH demo|level|hour|hasty|hot SPEED".into());
    };
    let speed: f64 = speed.parse()?;
    let scenario = match name.as_str() {
        "demo" => Scenario::demo(),
        "level" => Scenario::default(),
        "hour" => Scenario::hour(),
        // Work that begins at once and soon goes wrong, for tests that cannot wait.
        "hasty" => early(|scenario| scenario.arm.pace = vec![2.2]),
        "hot" => early(|scenario| scenario.heat.pad_power_w = 150.0),
        other => return Err(format!("no scenario {other}: demo, level, hour, hasty or hot").into()),
    };
    let options = SensorOptions { silence_us: (HOST_SILENCE_US as f64 * speed.max(1.0)) as u64, ..Default::default() };
    let port = VirtualPort::open(VirtualSensor::new(&scenario, options)?, path, speed)?;
    for line in stdin().lock().lines() {
        match line?.trim() {
            "unplug" => port.unplug(),
            "replug" => port.replug(true)?,
            "mark" => port.with(VirtualSensor::press_mark),
            "quit" => break,
            other => return Err(format!("no command {other}: unplug, replug, mark or quit").into()),
        }
    }
    Ok(())
}

/// The demo's panel and machine, with ten strokes that start as soon as the motor is up to speed.
fn early(change: impl FnOnce(&mut Scenario)) -> Scenario {
    let mut scenario = Scenario::demo();
    scenario.arm.lead_in_s = 2.5;
    scenario.arm.motor_before_s = 2.5;
    change(&mut scenario);
    scenario
}
