//! Tests of the virtual sensor's wire behaviour.

use steadypass_protocol::{
    ACCEL_BLOCK, Block, DecodeError, FrameError, Mark, Outcome, PROTOCOL_VERSION, Ping, Pong, Refusal, Reply,
    SettingName, Settings, ToSensor,
};

use super::*;

/// A block: number and time of its first sample, spacing, flags, samples.
type Seen = (u32, u64, u32, u8, Vec<[i16; 3]>);

/// What came over the wire, told apart.
#[derive(Debug, Default)]
struct Heard {
    hellos: Vec<Hello>,
    accel: Vec<Seen>,
    gyro: Vec<Seen>,
    surface: Vec<Surface>,
    health: Vec<Health>,
    marks: Vec<Mark>,
    pongs: Vec<Pong>,
    replies: Vec<Reply>,
    frame_errors: Vec<FrameError>,
    decode_errors: Vec<DecodeError>,
}

fn hear(bytes: &[u8]) -> Heard {
    let mut heard = Heard::default();
    let mut reader: FrameReader = FrameReader::new();
    reader.feed(bytes, |event| match event.map(|frame| ToHost::decode(frame.payload)) {
        Ok(Ok(message)) => match message {
            ToHost::Hello(m) => heard.hellos.push(m),
            ToHost::Accel(b) => {
                heard.accel.push((b.first_index, b.first_us, b.spacing_ns, b.flags, b.samples.iter().collect()))
            }
            ToHost::Gyro(b) => {
                heard.gyro.push((b.first_index, b.first_us, b.spacing_ns, b.flags, b.samples.iter().collect()))
            }
            ToHost::Surface(m) => heard.surface.push(m),
            ToHost::Health(m) => heard.health.push(m),
            ToHost::Mark(m) => heard.marks.push(m),
            ToHost::Pong(m) => heard.pongs.push(m),
            ToHost::Reply(m) => heard.replies.push(m),
        },
        Ok(Err(error)) => heard.decode_errors.push(error),
        Err(error) => heard.frame_errors.push(error),
    });
    heard
}

fn sensor() -> VirtualSensor {
    VirtualSensor::new(&Scenario::default(), SensorOptions::default()).unwrap()
}

fn tell(sensor: &mut VirtualSensor, command: ToSensor) {
    let mut buffer = [0; MAX_FRAME];
    sensor.feed(encode(&command, &mut buffer).unwrap());
}

fn ping(token: u32) -> ToSensor {
    ToSensor::Ping(Ping { token, host_us: 77 })
}

/// All bytes that wait.
fn waiting(sensor: &mut VirtualSensor) -> Vec<u8> {
    let (mut read, now_us) = (Vec::new(), sensor.now_us());
    sensor.play(now_us, &mut read);
    read
}

/// Plays `seconds` more with a host that reads and pings ten times a second.
fn play(sensor: &mut VirtualSensor, seconds: f64) -> Vec<u8> {
    let (mut read, begin_us) = (Vec::new(), sensor.now_us());
    for tenth in 1..=(seconds * 10.0) as u64 {
        sensor.play(begin_us + tenth * 100_000, &mut read);
        tell(sensor, ping(tenth as u32));
    }
    sensor.play(begin_us + (seconds * 1e6) as u64, &mut read);
    read
}

#[test]
fn it_is_silent_until_asked_and_streams_whole_blocks_at_the_design_rate() {
    let mut sensor = sensor();
    assert!(play(&mut sensor, 1.0).len() < 300, "pongs only");
    tell(&mut sensor, ToSensor::Identify);
    tell(&mut sensor, ToSensor::Start);
    let bytes = play(&mut sensor, 10.0);
    let heard = hear(&bytes);
    assert!(heard.frame_errors.is_empty() && heard.decode_errors.is_empty());
    assert_eq!(heard.hellos.len(), 1);
    assert_eq!(heard.hellos[0].accel.nano_per_count, 4_785_645);
    assert_eq!(heard.replies, [Reply { command: 1, outcome: Outcome::Accepted }]);
    let samples: usize = heard.accel.iter().map(|b| b.4.len()).sum();
    let due = 10.0 * 1667.0 * 1.012;
    assert!((samples as f64 - due).abs() < 100.0, "{samples} of {due}");
    assert!(heard.accel.iter().all(|b| b.4.len() == ACCEL_BLOCK));
    assert!(heard.accel.windows(2).all(|w| w[1].0 == w[0].0 + 72));
    assert!(heard.gyro.windows(2).all(|w| w[1].0 == w[0].0 + 18));
    assert!((155..=158).contains(&heard.surface.len()), "{}", heard.surface.len());
    assert_eq!((heard.health.len(), heard.health[9].frames_dropped), (10, 0));
    assert_eq!(heard.marks.len(), 1, "the scenario's section starts at 4 s");
    // Bytes per second: the design's 12 kB/s and some.
    assert!((10_000..13_500).contains(&(bytes.len() / 10)), "{}", bytes.len() / 10);
    // The firmware's own sample clock: within a spacing at first, and close once it has measured. True times are those of
    // the scenario, which began at 1 s.
    for block in &heard.accel {
        let true_us = 1e6 + f64::from(block.0) / (1667.0 * 1.012) * 1e6;
        let error_us = block.1 as f64 - true_us;
        assert!(error_us.abs() < if block.1 > 8_000_000 { 100.0 } else { 700.0 }, "{} {error_us}", block.0);
        let spacing_error = f64::from(block.2) * 1667.0 * 1.012 * 1e-9 - 1.0;
        assert!(
            spacing_error.abs() < if block.3 & Block::NOMINAL_SPACING != 0 { 0.0125 } else { 1e-3 },
            "{spacing_error}"
        );
    }
    assert!(heard.accel[0].3 & Block::NOMINAL_SPACING != 0 && heard.accel[40].3 == 0);
    // At rest, face down on a panel sloped by 4 degrees: gravity along z, with the chip's offset of 20 mg.
    let z: f64 = heard.accel[10].4.iter().map(|s| f64::from(s[2]) * 4.785_645e-3).sum::<f64>() / 72.0;
    assert!((z - 9.81).abs() < 0.4, "{z}");
}

#[test]
fn bytes_do_not_depend_on_slicing() {
    let run = |slice_us: u64| {
        let mut sensor = sensor();
        tell(&mut sensor, ToSensor::Start);
        let mut read = Vec::new();
        for second in 1..=9u64 {
            while sensor.now_us() < second * 1_000_000 {
                sensor.play((sensor.now_us() + slice_us).min(second * 1_000_000), &mut read);
            }
            tell(&mut sensor, ping(second as u32));
        }
        read
    };
    let whole = run(1_000_000);
    assert_eq!(whole, run(7_777));
    assert_eq!(whole, run(333));
    assert!(whole.len() > 90_000);
}

#[test]
fn it_stops_after_three_seconds_of_silence_and_shows_the_lost_host() {
    let mut sensor = sensor();
    tell(&mut sensor, ToSensor::Start);
    sensor.play(2_900_000, &mut Vec::new());
    assert!(sensor.is_streaming());
    tell(&mut sensor, ping(1));
    sensor.play(5_800_000, &mut Vec::new());
    assert!(sensor.is_streaming(), "a ping is a sign of life");
    sensor.play(6_000_000, &mut Vec::new());
    assert!(!sensor.is_streaming());
    assert_eq!(sensor.pattern(), Pattern::LostHost);
    let mut after = Vec::new();
    sensor.play(9_000_000, &mut after);
    assert!(after.is_empty());
}

#[test]
fn it_refuses_what_is_out_of_range_or_out_of_turn() {
    let mut sensor = sensor();
    let settings = Settings { surface_period_ms: 100, accel_range_g: 8, ..Settings::default() };
    tell(&mut sensor, ToSensor::Configure(Settings { surface_period_ms: 49, ..settings }));
    tell(&mut sensor, ToSensor::Configure(Settings { accel_range_g: 5, ..settings }));
    tell(&mut sensor, ToSensor::Configure(settings));
    tell(&mut sensor, ToSensor::Start);
    tell(&mut sensor, ToSensor::Configure(settings));
    tell(&mut sensor, ToSensor::Stop);
    tell(&mut sensor, ToSensor::Indicate(Pattern::TooHot));
    tell(&mut sensor, ToSensor::Identify);
    // A command from a newer host, and one that is cut short.
    sensor.feed(encode(&99u32, &mut [0; 64]).unwrap());
    sensor.feed(encode(&[3u8, 1], &mut [0; 64]).unwrap());
    let heard = hear(&waiting(&mut sensor));
    let refused = |command, refusal| Reply { command, outcome: Outcome::Refused(refusal) };
    let accepted = |command| Reply { command, outcome: Outcome::Accepted };
    assert_eq!(
        heard.replies,
        [
            refused(3, Refusal::OutOfRange(SettingName::SurfacePeriod)),
            refused(3, Refusal::OutOfRange(SettingName::AccelRange)),
            accepted(3),
            accepted(1),
            refused(3, Refusal::Streaming),
            accepted(2),
            accepted(5),
            refused(99, Refusal::UnknownCommand),
        ]
    );
    assert_eq!((heard.hellos[0].surface_period_ms, heard.hellos[0].accel.nano_per_count), (100, 2_392_823));
    assert_eq!((sensor.pattern(), sensor.health().bad_commands), (Pattern::TooHot, 2));

    let chips = SensorOptions { chips: Hello::CHIP_IR, ..SensorOptions::default() };
    let mut lame = VirtualSensor::new(&Scenario::default(), chips).unwrap();
    tell(&mut lame, ToSensor::Start);
    assert_eq!(hear(&waiting(&mut lame)).replies, [refused(1, Refusal::NoImu)]);
}

#[test]
fn a_host_that_does_not_read_costs_whole_frames_and_they_are_counted() {
    let mut sensor = sensor();
    tell(&mut sensor, ToSensor::Start);
    sensor.advance(2_900_000);
    tell(&mut sensor, ping(0));
    sensor.advance(4_000_000);
    let dropped = sensor.health().frames_dropped;
    assert!(dropped > 30, "{dropped}");
    let kept = hear(&waiting(&mut sensor));
    assert!(kept.frame_errors.is_empty());
    let later = hear(&play(&mut sensor, 1.0));
    let (last, next) = (kept.accel.last().unwrap(), later.accel.first().unwrap());
    assert!(next.0 > last.0 + 72, "the numbers show the hole");
    // Time and number agree across the hole, to within one spacing.
    let by_time = (next.1 - last.1) as f64 / f64::from(next.2) * 1e3;
    assert!((by_time - f64::from(next.0 - last.0)).abs() < 1.0, "{by_time}");
    assert_eq!(later.health[0].frames_dropped, dropped);
}

#[test]
fn a_restart_begins_anew_and_the_work_goes_on() {
    let mut sensor = sensor();
    tell(&mut sensor, ToSensor::Start);
    play(&mut sensor, 6.5);
    sensor.suffer(Trouble::Restart(ResetCause::Watchdog));
    let heard = hear(&waiting(&mut sensor));
    let hello = heard.hellos[0];
    assert_eq!((hello.reset, hello.uptime_us, hello.streaming), (ResetCause::Watchdog, 0, false));
    sensor.discard();
    tell(&mut sensor, ToSensor::Start);
    let heard = hear(&play(&mut sensor, 2.0));
    assert_eq!((heard.accel[0].0, heard.gyro[0].0, heard.surface[0].index), (0, 0, 0));
    assert!(heard.accel[0].1 < 2_000);
    assert_eq!(heard.health[0].watchdog_resets, 1);
    // The motor went on at 4 s and still runs.
    let spread = heard.accel[20].4.iter().map(|s| i32::from(s[0])).max().unwrap()
        - heard.accel[20].4.iter().map(|s| i32::from(s[0])).min().unwrap();
    assert!(spread > 2_000, "{spread}");

    tell(&mut sensor, ToSensor::Restart(RestartInto::Firmware));
    let heard = hear(&play(&mut sensor, 0.3));
    assert_eq!(heard.replies, [Reply { command: 6, outcome: Outcome::Accepted }]);
    assert_eq!(heard.hellos[0].reset, ResetCause::Commanded);
    tell(&mut sensor, ToSensor::Restart(RestartInto::Loader));
    play(&mut sensor, 0.3);
    tell(&mut sensor, ToSensor::Identify);
    assert!(waiting(&mut sensor).is_empty(), "its loader does not answer");
}

#[test]
fn troubles_are_flagged_and_counted() {
    let mut sensor = sensor();
    tell(&mut sensor, ToSensor::Start);
    play(&mut sensor, 2.0);
    sensor.suffer(Trouble::Overrun { samples: 100 });
    sensor.suffer(Trouble::Thermometer { flags: Surface::BAD_CHECKSUM, looks: 3 });
    sensor.suffer(Trouble::BitError);
    let heard = hear(&play(&mut sensor, 2.0));
    assert_eq!(heard.frame_errors.len(), 1);
    let health = heard.health.last().unwrap();
    assert_eq!((health.fifo_overruns, health.ir_checksum_errors), (1, 3));
    assert!((112..=135).contains(&health.samples_lost), "{}", health.samples_lost);
    let after = heard.accel.iter().position(|b| b.3 & Block::AFTER_OVERRUN != 0).expect("a flagged block");
    let (before, flagged) = (&heard.accel[after - 1], &heard.accel[after]);
    let hole = flagged.0 - before.0 - before.4.len() as u32;
    assert!((100..=120).contains(&hole), "{hole}");
    let bad = heard.surface.iter().filter(|s| s.flags == Surface::BAD_CHECKSUM).count();
    // One of the failed looks may have been the frame with the bit error.
    assert!((2..=3).contains(&bad), "{bad}");
    sensor.suffer(Trouble::ImuRestart { samples: 8 });
    let heard = hear(&play(&mut sensor, 1.0));
    assert!(heard.accel.iter().any(|b| b.3 & Block::AFTER_RESTART != 0));
}

#[test]
fn another_range_waits_for_a_chip_that_is_off_its_lead() {
    let mut sensor = sensor();
    tell(&mut sensor, ToSensor::Start);
    play(&mut sensor, 1.0);
    tell(&mut sensor, ToSensor::Stop);
    sensor.suffer(Trouble::ImuLead(false));
    tell(&mut sensor, ToSensor::Configure(Settings { accel_range_g: 8, ..Settings::default() }));
    tell(&mut sensor, ToSensor::Identify);
    tell(&mut sensor, ToSensor::Start);
    let heard = hear(&waiting(&mut sensor));
    assert_eq!(heard.hellos.last().unwrap().chips & Hello::CHIP_IMU, 0, "no chip answers");
    assert_eq!(heard.replies.last().unwrap().outcome, Outcome::Refused(Refusal::NoImu));

    sensor.suffer(Trouble::ImuLead(true));
    tell(&mut sensor, ToSensor::Identify);
    tell(&mut sensor, ToSensor::Start);
    let mut read = waiting(&mut sensor);
    read.extend(play(&mut sensor, 2.0));
    let heard = hear(&read);
    let hello = heard.hellos.first().unwrap();
    assert_ne!(hello.chips & Hello::CHIP_IMU, 0);
    // Gravity, as the range that is told makes it of the counts: the chip was set up for that range.
    let samples: Vec<_> = heard.accel.iter().flat_map(|(_, _, _, _, samples)| samples.clone()).collect();
    let mean_z = samples.iter().map(|s| f64::from(s[2])).sum::<f64>() / samples.len() as f64;
    let z = mean_z * accel_sensitivity(8) * 1e-3;
    assert!((z - 1.0).abs() < 0.1, "{z} g from {} samples", samples.len());
}

#[test]
fn it_can_be_mute_noisy_or_of_another_version() {
    let mut sensor = sensor();
    sensor.behave(Behaviour::Mute);
    tell(&mut sensor, ToSensor::Identify);
    tell(&mut sensor, ToSensor::Start);
    assert!(sensor.advance(2_000_000).is_empty());

    sensor.behave(Behaviour::Garbage);
    let mut noise = Vec::new();
    sensor.play(4_000_000, &mut noise);
    tell(&mut sensor, ToSensor::Identify);
    assert!((23_000..25_000).contains(&noise.len()), "{}", noise.len());
    let heard = hear(&noise);
    assert!(!heard.frame_errors.is_empty() && heard.hellos.is_empty() && heard.accel.is_empty());

    sensor.behave(Behaviour::Version(9));
    tell(&mut sensor, ToSensor::Identify);
    let heard = hear(&waiting(&mut sensor));
    assert_eq!(heard.decode_errors, [DecodeError::Version { sensor: 9, host: PROTOCOL_VERSION }]);

    sensor.behave(Behaviour::Normal);
    sensor.discard();
    tell(&mut sensor, ping(5));
    assert_eq!(hear(&waiting(&mut sensor)).pongs, [Pong { token: 5, host_us: 77, sensor_us: 4_000_000 }]);
}

#[test]
fn any_bytes_from_the_host_do_no_harm() {
    let mut sensor = sensor();
    let mut rng = stream(5, Subject::Wire);
    for round in 0..200u64 {
        let mut noise = [0; 300];
        rng.fill_bytes(&mut noise);
        sensor.feed(&noise);
        sensor.advance(round * 10_000);
    }
    assert!(sensor.health().bad_commands > 50);
    tell(&mut sensor, ToSensor::Identify);
    assert_eq!(hear(&waiting(&mut sensor)).hellos.len(), 1, "it still answers");
}
