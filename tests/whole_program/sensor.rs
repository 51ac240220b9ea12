//! `sensor` against the virtual sensor: what it says, sets and restarts, and how it says that it cannot.

use steadypass::simulation::{Behaviour, Scenario};
use tempfile::TempDir;

use crate::support::{at, expect, interrupt, run, start_record, succeeds, text, virtual_port, wait_for};

#[test]
fn it_says_who_is_there_and_what_was_set() {
    let folder = TempDir::new().expect("temp");
    let sensor = virtual_port(&folder, &Scenario::demo(), 1.0);
    let port = text(sensor.path());
    let said = succeeds(&["sensor", "--port", &port]);
    for words in ["range 16 g", "a look every 64 ms", "motion chip    answers", "power came on"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(!said.contains("light"), "the sensor does not tell: {said}");

    let said = succeeds(&["sensor", "--port", &port, "--json", "--accel-range-g", "8", "--buzzer", "off"]);
    let said: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!((&said["accel_range_g"], &said["surface_period_ms"]), (&8.into(), &64.into()));
    assert_eq!((&said["buzzer"], &said["light_percent"]), (&false.into(), &60.into()));
    // What is not named stays, where the sensor tells it.
    let said = succeeds(&["sensor", "--port", &port, "--surface-period-ms", "200"]);
    assert!(said.contains("range 8 g") && said.contains("every 200 ms"), "{said}");

    let said = succeeds(&["sensor", "--port", &port, "--restart"]);
    assert!(said.contains("it was told to") && said.contains("range 16 g"), "{said}");
    let said = succeeds(&["sensor", "--port", &port, "--loader"]);
    assert!(said.contains("UF2"), "{said}");
    // A tenth of a second after its answer.
    wait_for("the loader", || !run(&["sensor", "--port", &port]).status.success());
    expect(&["sensor", "--port", &port], 1, &[&port, "silent"]);
}

#[test]
fn it_says_what_is_wrong_with_values_and_ports() {
    for (option, value, says) in [
        ("--accel-range-g", "2", "expected 4, 8 or 16"),
        ("--surface-period-ms", "10", "50 to 1000"),
        ("--light-percent", "101", "0 to 100"),
        ("--buzzer", "loud", "--buzzer"),
    ] {
        expect(&["sensor", option, value], 2, &[option, says]);
    }
    expect(&["sensor", "--restart", "--light-percent", "5"], 2, &["--restart"]);
    expect(&["sensor", "--loader", "--restart"], 2, &["--loader"]);
    expect(&["sensor", "--port", "/dev/no-such-port"], 1, &["/dev/no-such-port", "no such port"]);

    let folder = TempDir::new().expect("temp");
    let sensor = virtual_port(&folder, &Scenario::demo(), 1.0);
    sensor.with(|s| s.behave(Behaviour::Garbage));
    expect(&["sensor", "--port", &text(sensor.path())], 1, &["not a Steadypass sensor's"]);
}

#[test]
fn a_sensor_that_is_recording_is_left_alone() {
    let folder = TempDir::new().expect("temp");
    let sensor = virtual_port(&folder, &Scenario::demo(), 1.0);
    let record = start_record(&sensor, &at(&folder, "a.mcap"), &[]);
    wait_for("streaming", || sensor.with(|s| s.is_streaming()));
    expect(&["sensor", "--port", &text(sensor.path()), "--restart"], 1, &["in use by another program"]);
    assert!(sensor.with(|s| s.is_streaming()));
    interrupt(record);
}
