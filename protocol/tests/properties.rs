//! What must hold for every message and every stream, tried on random ones.

use proptest::collection::vec;
use proptest::prelude::*;
use steadypass_protocol::*;

/// An owned stand-in for [`ToHost`], since the real one borrows its samples.
#[derive(Clone, Debug)]
enum Owned {
    Plain(ToHost<'static>),
    Block { gyro: bool, first_index: u32, first_us: u64, spacing_ns: u32, flags: u8, bytes: Vec<u8> },
}

impl Owned {
    fn with<R>(&self, f: impl FnOnce(&ToHost) -> R) -> R {
        match self {
            Owned::Plain(message) => f(message),
            Owned::Block { gyro, first_index, first_us, spacing_ns, flags, bytes } => {
                let block = Block {
                    first_index: *first_index,
                    first_us: *first_us,
                    spacing_ns: *spacing_ns,
                    flags: *flags,
                    samples: Samples::from_bytes(bytes).expect("whole samples"),
                };
                f(&if *gyro { ToHost::Gyro(block) } else { ToHost::Accel(block) })
            }
        }
    }

    fn frame(&self) -> Vec<u8> {
        let mut buffer = [0; MAX_FRAME];
        self.with(|message| encode(message, &mut buffer).expect("every message fits").to_vec())
    }
}

fn scale() -> impl Strategy<Value = Scale> {
    any::<(u32, u32, i16)>().prop_map(|(nominal_mhz, nano_per_count, full_scale)| Scale {
        nominal_mhz,
        nano_per_count,
        full_scale,
    })
}

fn hello() -> impl Strategy<Value = Hello> {
    let reset = prop_oneof![Just(ResetCause::PowerOn), Just(ResetCause::Watchdog), Just(ResetCause::Commanded)];
    (any::<([u8; 3], [u8; 8], u8, u64, u16, [i8; 3], bool)>(), reset, scale(), scale()).prop_map(
        |((firmware, unique_id, chips, uptime_us, surface_period_ms, axis, streaming), reset, accel, gyro)| Hello {
            protocol: PROTOCOL_VERSION,
            firmware,
            unique_id,
            chips,
            reset,
            uptime_us,
            accel,
            gyro,
            surface_period_ms,
            mounting: Mounting { axis },
            streaming,
        },
    )
}

fn health() -> impl Strategy<Value = Health> {
    any::<((u64, u32, u32), [u16; 7], Option<i16>, u16)>().prop_map(
        |((uptime_us, frames_dropped, samples_lost), n, imu_centi_c, idle_permille)| Health {
            uptime_us,
            frames_dropped,
            samples_lost,
            fifo_overruns: n[0],
            imu_bus_faults: n[1],
            ir_bus_faults: n[2],
            ir_checksum_errors: n[3],
            ir_chip_errors: n[4],
            bad_commands: n[5],
            watchdog_resets: n[6],
            imu_centi_c,
            idle_permille,
        },
    )
}

fn message() -> impl Strategy<Value = Owned> {
    let block = (any::<(bool, u32, u64, u32, u8)>(), vec(any::<[u8; 6]>(), 0..=ACCEL_BLOCK)).prop_map(
        |((gyro, first_index, first_us, spacing_ns, flags), samples)| Owned::Block {
            gyro,
            first_index,
            first_us,
            spacing_ns,
            flags,
            bytes: samples.concat(),
        },
    );
    let refusal = prop_oneof![
        Just(Refusal::UnknownCommand),
        Just(Refusal::OutOfRange(SettingName::SurfacePeriod)),
        Just(Refusal::OutOfRange(SettingName::Light)),
        Just(Refusal::NoImu),
        Just(Refusal::Streaming),
    ];
    let outcome = prop_oneof![Just(Outcome::Accepted), refusal.prop_map(Outcome::Refused)];
    prop_oneof![
        3 => block,
        1 => hello().prop_map(|m| Owned::Plain(ToHost::Hello(m))),
        1 => health().prop_map(|m| Owned::Plain(ToHost::Health(m))),
        1 => any::<(u8, u64, u16, u16, u8)>().prop_map(|(index, t_us, object_raw, ambient_raw, flags)| {
            Owned::Plain(ToHost::Surface(Surface { index, t_us, object_raw, ambient_raw, flags }))
        }),
        1 => any::<(u64, u16)>().prop_map(|(t_us, index)| Owned::Plain(ToHost::Mark(Mark { t_us, index }))),
        1 => any::<(u32, u64, u64)>().prop_map(|(token, host_us, sensor_us)| {
            Owned::Plain(ToHost::Pong(Pong { token, host_us, sensor_us }))
        }),
        1 => (any::<u8>(), outcome).prop_map(|(command, outcome)| Owned::Plain(ToHost::Reply(Reply { command, outcome }))),
    ]
}

/// Payloads of the good frames in `stream`, fed in pieces of `step` bytes.
fn payloads(stream: &[u8], step: usize) -> Vec<Vec<u8>> {
    let mut reader: FrameReader = FrameReader::new();
    let mut found = Vec::new();
    for piece in stream.chunks(step.max(1)) {
        reader.feed(piece, |event| found.extend(event.map(|f| f.payload.to_vec())));
    }
    found
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]

    #[test]
    fn every_message_round_trips(message in message(), step in 1usize..600) {
        let frame = message.frame();
        prop_assert!(frame.len() <= MAX_FRAME);
        prop_assert_eq!(frame.iter().filter(|&&b| b == 0).count(), 2);
        let found = payloads(&frame, step);
        prop_assert_eq!(found.len(), 1);
        message.with(|m| {
            assert_eq!(ToHost::decode(&found[0]).as_ref(), Ok(m));
        });
    }

    /// Whatever one byte of a frame turns into, no wrong message comes out, and the next frame is untouched. (A damaged
    /// zero in front can only hide the frame's start; the frame itself then still reads, as it should.)
    #[test]
    fn a_single_damaged_byte_is_caught(message in message(), at in any::<prop::sample::Index>(), flip in 1u8..=255) {
        let good = message.frame();
        let mut stream = good.clone();
        let at = at.index(stream.len());
        stream[at] ^= flip;
        let mut follower = [0; MAX_FRAME];
        stream.extend_from_slice(encode(&ToHost::Mark(Mark { t_us: 5, index: 1 }), &mut follower).unwrap());
        let original = payloads(&good, 1000).remove(0);
        let found = payloads(&[&[0][..], &stream].concat(), 1000);
        prop_assert_eq!(found.last().map(Vec::as_slice), Some(&[5u8, 5, 1][..]));
        for payload in &found[..found.len() - 1] {
            prop_assert_eq!(payload, &original);
        }
        if at != 0 && at != good.len() - 1 {
            prop_assert_eq!(found.len(), 1, "the damaged frame is gone");
        }
    }

    #[test]
    fn garbage_between_frames_costs_no_good_frame(
        pieces in vec((vec(any::<u8>(), 0..700), message()), 1..6),
        step in 1usize..2000,
    ) {
        let mut stream = Vec::new();
        for (garbage, message) in &pieces {
            stream.extend_from_slice(garbage);
            stream.extend_from_slice(&message.frame());
        }
        let found = payloads(&stream, step);
        let expected: Vec<_> = pieces.iter().map(|(_, m)| payloads(&m.frame(), 1000).remove(0)).collect();
        // Random garbage forms a valid frame by chance once in 2³² tries; the good ones must all be there, in order.
        prop_assert_eq!(found, expected);
    }

    #[test]
    fn no_payload_makes_decoding_panic(payload in vec(any::<u8>(), 0..600)) {
        let _ = ToHost::decode(&payload);
        let _ = ToSensor::decode(&payload);
        let _ = decode_frame(&payload, &mut [0; MAX_FRAME]);
    }
}

#[test]
fn a_join_in_the_middle_is_no_error_and_a_runaway_frame_is_one() {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(&ToSensor::Stop, &mut buffer).unwrap();
    let mut events = Vec::new();
    let mut reader: FrameReader = FrameReader::new();
    reader.feed(&frame[3..], |e| events.push(e.is_ok()));
    assert!(events.is_empty(), "half a frame at the start is nobody's fault");
    reader.feed(&vec![7; 2 * MAX_FRAME], |e| events.push(e.is_ok()));
    reader.feed(frame, |e| events.push(e.is_ok()));
    assert_eq!(events, [false, true], "the runaway is one error, the frame behind it is good");
}

#[test]
fn a_message_that_does_not_fit_is_refused() {
    let long = vec![1u8; 6 * 90];
    let block =
        Block { first_index: 0, first_us: 0, spacing_ns: 1, flags: 0, samples: Samples::from_bytes(&long).unwrap() };
    assert_eq!(encode(&ToHost::Accel(block), &mut [0; 2000]), Err(EncodeError::TooLong));
    assert_eq!(encode(&ToSensor::Start, &mut [0; 4]), Err(EncodeError::TooLong));
    assert_eq!(encode(&ToSensor::Start, &mut []), Err(EncodeError::TooLong));
}

#[test]
fn mounting_maps_are_checked() {
    assert!(Mounting::STRAIGHT.is_rotation());
    assert!(Mounting { axis: [2, -1, 3] }.is_rotation());
    for axis in [[1, 1, 3], [0, 2, 3], [1, 2, 4], [-1, 2, 3], [i8::MIN, 2, 3]] {
        assert!(!Mounting { axis }.is_rotation(), "{axis:?}");
    }
    assert_eq!(Mounting { axis: [2, -1, 3] }.apply([1.0, 2.0, 3.0]), [2.0, -1.0, 3.0]);
}
