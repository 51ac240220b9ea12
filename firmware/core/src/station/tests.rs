//! The sensor from the host's side: what goes in as frames, what comes out as frames.

use super::*;
use crate::motion::Stream;
use steadypass_protocol::{
    ACCEL_BLOCK, Block, FrameReader, Outcome, Pattern, Ping, Refusal, Reply, Samples, ToSensor, encode,
};

const IDENTITY: Identity = Identity {
    unique_id: [1, 2, 3, 4, 5, 6, 7, 8],
    reset: ResetCause::Watchdog,
    watchdog_resets: 3,
    mounting: Mounting::STRAIGHT,
    gyro: Scale { nominal_mhz: 208_000, nano_per_count: 1_221_730, full_scale: i16::MAX },
};

fn station() -> Station {
    let mut station = Station::new(IDENTITY, |g| f64::from(g) * 0.0305);
    station.imu_started(Restart::OnCommand);
    station
}

fn say(station: &mut Station, now_us: u64, command: ToSensor) {
    let mut buffer = [0; MAX_FRAME];
    feed(station, now_us, encode(&command, &mut buffer).expect("fits"));
}

fn feed(station: &mut Station, now_us: u64, bytes: &[u8]) {
    let mut reader: FrameReader = FrameReader::new();
    reader.feed(bytes, |event| station.received(Link::Usb, event, now_us));
}

/// Everything that waits for USB, with sample bytes put away.
fn drain(station: &mut Station) -> Vec<ToHost<'static>> {
    drain_over(Link::Usb, station)
}

fn drain_over(link: Link, station: &mut Station) -> Vec<ToHost<'static>> {
    let (mut out, mut buffer) = (Vec::new(), [0; MAX_FRAME]);
    let mut reader: FrameReader = FrameReader::new();
    while let Some(frame) = station.next_frame(link, &mut buffer) {
        reader.feed(frame, |event| {
            let none = Samples::from_bytes(&[]).expect("no bytes are no samples");
            out.push(match ToHost::decode(event.expect("good frame").payload).expect("known message") {
                ToHost::Accel(block) => ToHost::Accel(Block { samples: none, ..block }),
                ToHost::Gyro(block) => ToHost::Gyro(Block { samples: none, ..block }),
                ToHost::Hello(m) => ToHost::Hello(m),
                ToHost::Surface(m) => ToHost::Surface(m),
                ToHost::Health(m) => ToHost::Health(m),
                ToHost::Mark(m) => ToHost::Mark(m),
                ToHost::Pong(m) => ToHost::Pong(m),
                ToHost::Reply(m) => ToHost::Reply(m),
            });
        });
    }
    out
}

/// `samples` accelerometer samples in one poll at `t_us`.
fn accel(station: &mut Station, t_us: u64, samples: u16) {
    station.poll(t_us, samples, false);
    for k in 0..samples {
        station.sample(Sample { stream: Stream::Accel, slot: (k & 3) as u8, counts: [0; 6] });
    }
    station.poll_done();
}

#[test]
fn who_are_you() {
    let mut station = station();
    station.looked(5, Ok((0x3AD2, 0x39E1)));
    say(&mut station, 77, ToSensor::Identify);
    let [ToHost::Hello(hello)] = drain(&mut station)[..] else { panic!("one hello") };
    assert_eq!((hello.protocol, hello.unique_id, hello.uptime_us), (PROTOCOL_VERSION, IDENTITY.unique_id, 77));
    assert_eq!((hello.chips, hello.reset, hello.streaming), (3, ResetCause::Watchdog, false));
    assert_eq!(hello.accel.nano_per_count, 4_785_645);
    station.looked(6, Err(IrFault::NoAnswer));
    station.opened(Link::Usb, 78);
    let [ToHost::Hello(hello)] = drain(&mut station)[..] else { panic!("one hello") };
    assert_eq!(hello.chips, Hello::CHIP_IMU);
}

#[test]
fn nothing_streams_unasked_and_the_first_block_starts_fresh() {
    let mut station = station();
    accel(&mut station, 10_000, 60);
    station.looked(10_000, Ok((1, 2)));
    assert_eq!(drain(&mut station), []);
    say(&mut station, 20_000, ToSensor::Start);
    accel(&mut station, 50_000, 72);
    let out = drain(&mut station);
    assert_eq!(out[0], ToHost::Reply(Reply { command: 1, outcome: Outcome::Accepted }));
    let ToHost::Accel(block) = out[1] else { panic!("a block: {out:?}") };
    assert_eq!(block.first_index, 60, "what was taken before is numbered but not sent");
    say(&mut station, 60_000, ToSensor::Stop);
    accel(&mut station, 100_000, 144);
    assert_eq!(drain(&mut station).len(), 1, "the reply alone");
}

/// The chip is asked for another range only once the poll under way is over, and takes a tenth of a second to change.
#[test]
fn no_sample_of_the_old_range_is_sent_under_the_scale_of_the_new_one() {
    let configure = |range_g| ToSensor::Configure(Settings { accel_range_g: range_g, ..Settings::default() });
    let mut station = station();
    accel(&mut station, 10_000, 60);
    // In the middle of a poll.
    station.poll(50_000, 60, false);
    station.sample(Sample { stream: Stream::Accel, slot: 0, counts: [0; 6] });
    say(&mut station, 50_000, configure(4));
    say(&mut station, 50_000, ToSensor::Start);
    for slot in 1..60 {
        station.sample(Sample { stream: Stream::Accel, slot: slot & 3, counts: [0; 6] });
    }
    station.poll_done();
    accel(&mut station, 60_000, 144);
    assert!(station.take_range_change());
    accel(&mut station, 70_000, 144);
    drain(&mut station);
    station.tick(600_000, 900);
    assert_eq!(drain(&mut station), [], "nothing of the old range");

    station.imu_started(Restart::OnCommand);
    accel(&mut station, 700_000, 72);
    assert!(matches!(drain(&mut station)[..], [ToHost::Accel(_)]), "and all of the new one");
    assert_eq!(station.health(700_000, 900).samples_lost, 0);
}

#[test]
fn a_poll_cut_off_by_a_change_of_range_tells_the_clock_nothing() {
    let mut station = station();
    say(&mut station, 0, ToSensor::Start);
    let (mut taken, mut spacing_ns) = (0, None);
    let mut last_spacing = |station: &mut Station| {
        for message in drain(station) {
            if let ToHost::Accel(block) = message {
                spacing_ns = Some(block.spacing_ns);
            }
        }
        spacing_ns
    };
    for t_us in (10_000..=2_500_000u64).step_by(10_000) {
        accel(&mut station, t_us, (t_us / 600) as u16 - taken);
        taken = (t_us / 600) as u16;
    }
    let before = last_spacing(&mut station);
    assert!(before.is_some_and(|ns| ns.abs_diff(600_000) < 300), "{before:?}");
    say(&mut station, 2_500_000, ToSensor::Stop);
    station.poll(2_700_000, 333, false);
    say(&mut station, 2_700_000, ToSensor::Configure(Settings { accel_range_g: 4, ..Settings::default() }));
    station.poll_done();
    assert!(station.take_range_change());
    station.imu_started(Restart::OnCommand);
    say(&mut station, 2_800_000, ToSensor::Start);
    accel(&mut station, 2_900_000, 72);
    let after = last_spacing(&mut station);
    assert!(after.zip(before).is_some_and(|(a, b)| a.abs_diff(b) < 100), "{before:?} before, {after:?} after");
}

#[test]
fn a_range_changed_back_while_the_chip_is_set_up_is_waited_for_too() {
    let configure = |range_g| ToSensor::Configure(Settings { accel_range_g: range_g, ..Settings::default() });
    let mut station = station();
    say(&mut station, 0, configure(4));
    assert!(station.take_range_change());
    say(&mut station, 10_000, configure(8));
    say(&mut station, 20_000, ToSensor::Start);
    drain(&mut station);
    station.imu_started(Restart::OnCommand);
    accel(&mut station, 100_000, 144);
    assert_eq!(drain(&mut station), [], "the chip was set up for 4 g");
    assert!(station.take_range_change());
    station.imu_started(Restart::OnCommand);
    accel(&mut station, 300_000, 72);
    assert!(matches!(drain(&mut station)[..], [ToHost::Accel(_)]));
}

#[test]
fn a_silent_host_ends_the_stream() {
    let mut station = station();
    say(&mut station, 0, ToSensor::Start);
    station.tick(2_999_999, 900);
    assert!(station.is_streaming());
    station.tick(3_000_000, 900);
    assert!(!station.is_streaming());
    assert_eq!(station.look(3_000_000).rgb_percent, [36, 36, 36], "white at 60 %");
}

#[test]
fn each_fault_has_its_own_count_and_flag() {
    let mut station = station();
    say(&mut station, 0, ToSensor::Start);
    drain(&mut station);
    station.looked(1, Err(IrFault::NoAnswer));
    station.looked(2, Err(IrFault::BadChecksum));
    station.looked(3, Err(IrFault::BadChecksum));
    station.looked(4, Err(IrFault::ChipError));
    station.looked(5, Ok((100, 200)));
    station.imu_fault();
    feed(&mut station, 6, &[0, 1, 2, 3, 0, 0xFF, 7, 0]);
    station.imu_temperature(2512);
    station.tick(1_500_000, 960);
    let out = drain(&mut station);
    let expected = Health {
        uptime_us: 1_500_000,
        imu_bus_faults: 1,
        ir_bus_faults: 1,
        ir_checksum_errors: 2,
        ir_chip_errors: 1,
        bad_commands: 2,
        watchdog_resets: 3,
        imu_centi_c: Some(2512),
        idle_permille: 960,
        ..Health::default()
    };
    assert_eq!(out[0], ToHost::Health(expected), "before the stream that waits");
    let looks: Vec<_> = out[1..]
        .iter()
        .map(|m| match m {
            ToHost::Surface(s) => (s.index, s.flags, s.object_raw, s.ambient_raw),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(looks, [(0, 1, 0, 0), (1, 2, 0, 0), (2, 2, 0, 0), (3, 4, 0, 0), (4, 0, 100, 200)]);
}

#[test]
fn health_comes_once_a_second_while_a_host_is_there() {
    let mut station = station();
    let mut reports = Vec::new();
    for k in 0..800u64 {
        let now_us = k * 10_000;
        if (200..450).contains(&k) && k.is_multiple_of(50) {
            say(&mut station, now_us, ToSensor::Ping(Ping { token: 0, host_us: 0 }));
        }
        station.tick(now_us, 900);
        reports.extend(drain(&mut station).iter().filter(|m| matches!(m, ToHost::Health(_))).map(|_| now_us / 10_000));
    }
    assert_eq!(reports, [200, 300, 400, 500, 600]);
}

#[test]
fn a_host_that_does_not_read_costs_blocks_not_replies() {
    let mut station = station();
    say(&mut station, 0, ToSensor::Start);
    let blocks = 200;
    for k in 0..blocks {
        accel(&mut station, k * 43_000, ACCEL_BLOCK as u16);
    }
    say(&mut station, 1, ToSensor::Ping(Ping { token: 5, host_us: 6 }));
    station.marked(7);
    let dropped = station.health(0, 0).frames_dropped;
    let out = drain(&mut station);
    assert!(dropped > 100, "{dropped}");
    assert_eq!(out.len() as u64, 1 + blocks - u64::from(dropped) + 2);
    assert!(matches!(out[1], ToHost::Pong(_)) && matches!(out[2], ToHost::Mark(_)), "replies first");
    let numbers: Vec<_> =
        out.iter().filter_map(|m| if let ToHost::Accel(b) = m { Some(b.first_index) } else { None }).collect();
    assert!(numbers.windows(2).all(|w| w[1] == w[0] + 72), "what was kept is the oldest, without holes");
}

/// A program on USB is killed while it streams, and another one asks over the UART.
#[test]
fn what_waits_for_one_host_does_not_reach_another() {
    let mut station = station();
    say(&mut station, 0, ToSensor::Start);
    for k in 1..20 {
        accel(&mut station, k * 43_000, ACCEL_BLOCK as u16);
    }
    let waiting = 1 + 19;
    let mut buffer = [0; MAX_FRAME];
    let say_over_uart = |station: &mut Station, bytes: &[u8]| {
        let mut reader: FrameReader = FrameReader::new();
        reader.feed(bytes, |event| station.received(Link::Uart, event, 900_000));
    };
    say_over_uart(&mut station, &[0, 1, 2, 3, 0]);
    assert_eq!((station.link(), station.health(0, 0).frames_dropped), (Link::Usb, 0), "noise is no host");
    say_over_uart(&mut station, encode(&ToSensor::Identify, &mut buffer).expect("fits"));
    accel(&mut station, 943_000, ACCEL_BLOCK as u16);
    assert_eq!(drain(&mut station), [], "USB is not in use");
    let out = drain_over(Link::Uart, &mut station);
    let [ToHost::Hello(hello), ToHost::Accel(block)] = out[..] else { panic!("a hello and the stream: {out:?}") };
    assert_eq!((hello.streaming, block.first_index), (true, 19 * 72));
    assert_eq!(station.health(0, 0).frames_dropped, waiting);
    say_over_uart(&mut station, encode(&ToSensor::Start, &mut buffer).expect("fits"));
    say_over_uart(&mut station, encode(&ToSensor::Identify, &mut buffer).expect("fits"));
    assert_eq!(drain_over(Link::Uart, &mut station).len(), 2, "the same link clears nothing");

    accel(&mut station, 986_000, ACCEL_BLOCK as u16);
    station.opened(Link::Usb, 990_000);
    assert_eq!(drain_over(Link::Uart, &mut station), []);
    assert!(matches!(drain(&mut station)[..], [ToHost::Hello(_)]));
}

#[test]
fn a_restart_waits_for_its_reply() {
    let mut station = station();
    say(&mut station, 1000, ToSensor::Restart(RestartInto::Firmware));
    assert!(station.has_frames());
    assert_eq!(station.due_restart(100_000), None);
    assert_eq!(station.due_restart(101_000), Some(RestartInto::Firmware));
}

#[test]
fn marks_count_and_patterns_show() {
    let mut station = station();
    station.marked(1);
    say(&mut station, 0, ToSensor::Indicate(Pattern::TooHot));
    station.marked(2);
    assert_eq!(
        drain(&mut station)[1],
        ToHost::Mark(Mark { t_us: 2, index: 2 }),
        "numbered since start, told when heard"
    );
    assert_eq!(station.look(0), Look { rgb_percent: [60, 0, 0], plain: true, tone_hz: Some(2637) });
}

#[test]
fn without_a_motion_chip_a_start_is_refused_and_the_rest_works() {
    let mut station = Station::new(IDENTITY, |_| 0.488);
    station.imu_fault();
    say(&mut station, 0, ToSensor::Start);
    say(&mut station, 1, ToSensor::Ping(Ping { token: 1, host_us: 2 }));
    let out = drain(&mut station);
    assert_eq!(out[0], ToHost::Reply(Reply { command: 1, outcome: Outcome::Refused(Refusal::NoImu) }));
    assert!(matches!(out[1], ToHost::Pong(_)));
}

/// After a restart the host may be back before the chip is set up, which takes a tenth of a second.
#[test]
fn a_start_that_comes_before_the_motion_chip_is_up_waits_for_it() {
    let mut station = Station::new(IDENTITY, |_| 0.488);
    say(&mut station, 0, ToSensor::Start);
    assert_eq!(drain(&mut station)[0], ToHost::Reply(Reply { command: 1, outcome: Outcome::Accepted }));
    station.imu_started(Restart::OnCommand);
    accel(&mut station, 150_000, 72);
    assert!(matches!(drain(&mut station)[..], [ToHost::Accel(_)]));
}
