//! The wire, to the byte. A failure here means that old recordings and sensors in the field no longer read: do not edit
//! the bytes, add a new kind of message (see the crate documentation).

use steadypass_protocol::*;

fn hello() -> Hello {
    Hello {
        protocol: 1,
        firmware: [0, 1, 0],
        unique_id: [0xE6, 0x61, 1, 2, 3, 4, 5, 6],
        chips: Hello::CHIP_IMU | Hello::CHIP_IR,
        reset: ResetCause::Watchdog,
        uptime_us: 300,
        accel: Scale { nominal_mhz: 1_667_000, nano_per_count: 4_785_645, full_scale: 32_767 },
        gyro: Scale { nominal_mhz: 208_000, nano_per_count: 1_221_730, full_scale: 32_767 },
        surface_period_ms: 64,
        mounting: Mounting { axis: [1, -2, -3] },
        streaming: false,
    }
}

/// postcard: varints for wide integers, zigzag for signed ones, one byte for u8, i8 and bool.
#[test]
fn payloads_are_pinned() {
    let samples = [0x01, 0x00, 0xFF, 0xFF, 0x00, 0x80, 0x34, 0x12, 0x00, 0x00, 0xFE, 0xFF];
    let block = Block {
        first_index: 72,
        first_us: 1_000_000,
        spacing_ns: 599_880,
        flags: Block::AFTER_OVERRUN,
        samples: Samples::from_bytes(&samples).expect("two samples"),
    };
    let health =
        Health { uptime_us: 2, frames_dropped: 128, imu_centi_c: Some(-1), idle_permille: 960, ..Health::default() };
    let cases: Vec<(ToHost, Vec<u8>)> = vec![
        (
            ToHost::Hello(hello()),
            [
                &[0x00, 0x01, 0x00, 0x01, 0x00, 0xE6, 0x61, 1, 2, 3, 4, 5, 6, 0x03, 0x01, 0xAC, 0x02][..],
                &[0xB8, 0xDF, 0x65, 0xED, 0x8B, 0xA4, 0x02, 0xFE, 0xFF, 0x03],
                &[0x80, 0xD9, 0x0C, 0xE2, 0xC8, 0x4A, 0xFE, 0xFF, 0x03],
                &[0x40, 0x01, 0xFE, 0xFD, 0x00],
            ]
            .concat(),
        ),
        (ToHost::Accel(block), [&[0x01, 0x48, 0xC0, 0x84, 0x3D, 0xC8, 0xCE, 0x24, 0x01, 0x0C][..], &samples].concat()),
        (
            ToHost::Gyro(Block { flags: Block::NOMINAL_SPACING, ..block }),
            [&[0x02, 0x48, 0xC0, 0x84, 0x3D, 0xC8, 0xCE, 0x24, 0x02, 0x0C][..], &samples].concat(),
        ),
        (
            ToHost::Surface(Surface { index: 255, t_us: 300, object_raw: 0x3AD2, ambient_raw: 0x39E1, flags: 0 }),
            vec![0x03, 0xFF, 0xAC, 0x02, 0xD2, 0x75, 0xE1, 0x73, 0x00],
        ),
        (ToHost::Health(health), vec![0x04, 0x02, 0x80, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0x01, 0x01, 0xC0, 0x07]),
        (ToHost::Mark(Mark { t_us: 1, index: 2 }), vec![0x05, 0x01, 0x02]),
        (ToHost::Pong(Pong { token: 7, host_us: 128, sensor_us: 1 }), vec![0x06, 0x07, 0x80, 0x01, 0x01]),
        (
            ToHost::Reply(Reply {
                command: 3,
                outcome: Outcome::Refused(Refusal::OutOfRange(SettingName::AccelRange)),
            }),
            vec![0x07, 0x03, 0x01, 0x01, 0x01],
        ),
    ];
    for (message, bytes) in &cases {
        assert_eq!(&postcard_bytes(message), bytes, "{message:?}");
        assert_eq!(ToHost::decode(bytes).as_ref(), Ok(message));
    }
    assert_eq!(cases.len(), TO_HOST_KINDS as usize, "every kind is pinned");
}

#[test]
fn commands_are_pinned() {
    let cases: [(ToSensor, &[u8]); 7] = [
        (ToSensor::Identify, &[0]),
        (ToSensor::Start, &[1]),
        (ToSensor::Stop, &[2]),
        (ToSensor::Configure(Settings::default()), &[3, 64, 16, 60, 1]),
        (ToSensor::Ping(Ping { token: 1, host_us: 300 }), &[4, 1, 0xAC, 0x02]),
        (ToSensor::Indicate(Pattern::TooHot), &[5, 4]),
        (ToSensor::Restart(RestartInto::Loader), &[6, 1]),
    ];
    for (message, bytes) in &cases {
        assert_eq!(postcard_bytes(message), *bytes, "{message:?}");
        assert_eq!(ToSensor::decode(bytes), Ok(*message));
        assert_eq!(u32::from(message.kind()), u32::from(bytes[0]));
    }
    assert_eq!(cases.len(), TO_SENSOR_KINDS as usize, "every kind is pinned");
}

#[test]
fn a_whole_frame_is_pinned() {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(&ToSensor::Start, &mut buffer).expect("fits");
    // CRC-32/ISCSI of the single byte 0x01 is 0xA016D052, sent little endian (recomputed bit by bit from the definition:
    // polynomial 0x1EDC6F41 reflected, start and final xor all ones).
    assert_eq!(frame, [0x00, 0x06, 0x01, 0x52, 0xD0, 0x16, 0xA0, 0x00]);
}

/// Check value of CRC-32/ISCSI for "123456789": 0xE3069283 (RFC 3720 appendix B.4 names the polynomial; the check value is
/// in the public catalogue of parametrised CRC algorithms).
#[test]
fn the_checksum_is_crc32_iscsi() {
    assert_eq!(crc::Crc::<u32>::new(&crc::CRC_32_ISCSI).checksum(b"123456789"), 0xE306_9283);
}

#[test]
fn a_newer_kind_is_named_and_a_longer_message_refused() {
    assert_eq!(ToHost::decode(&[8, 1, 2, 3]), Err(DecodeError::UnknownKind(8)));
    assert_eq!(ToHost::decode(&[0xAC, 0x02]), Err(DecodeError::UnknownKind(300)));
    assert_eq!(ToHost::decode(&[5, 1, 2, 99]), Err(DecodeError::Malformed { kind: 5 }));
    assert_eq!(ToHost::decode(&[5, 1]), Err(DecodeError::Malformed { kind: 5 }));
    assert_eq!(ToHost::decode(&[]), Err(DecodeError::Empty));
    assert_eq!(ToSensor::decode(&[7]), Err(DecodeError::UnknownKind(7)));
}

#[test]
fn another_protocol_version_is_named_whatever_follows() {
    let expected = DecodeError::Version { sensor: 9, host: PROTOCOL_VERSION };
    assert_eq!(ToHost::decode(&[0, 9]), Err(expected));
    assert_eq!(ToHost::decode(&[0, 9, 1, 2, 3, 4]), Err(expected));
    assert!(expected.to_string().contains("version 9"));
}

#[test]
fn block_bytes_must_be_whole_samples() {
    // Five sample bytes announced and given: not a multiple of six.
    assert_eq!(ToHost::decode(&[1, 0, 0, 0, 0, 5, 1, 2, 3, 4, 5]), Err(DecodeError::Malformed { kind: 1 }));
}

/// Design figure: at the nominal rates, after an hour of uptime, everything that is not a sample is under 10 % of the raw
/// stream, and the whole stream is under 25 % of a UART at 921 600 baud (10 bit times a byte).
#[test]
fn the_stream_fits_its_link() {
    let hour_us = 3_600_000_000;
    let frame_len = |message: &ToHost| {
        let mut buffer = [0; MAX_FRAME];
        encode(message, &mut buffer).expect("fits").len() as f64
    };
    let accel_bytes = [0x55; ACCEL_BLOCK * SAMPLE_BYTES];
    let block = |bytes| Block {
        first_index: 6_000_000,
        first_us: hour_us,
        spacing_ns: 600_000,
        flags: 0,
        samples: Samples::from_bytes(bytes).expect("whole samples"),
    };
    let accel = frame_len(&ToHost::Accel(block(&accel_bytes))) * 1667.0 / ACCEL_BLOCK as f64;
    let gyro = frame_len(&ToHost::Gyro(block(&accel_bytes[..GYRO_BLOCK * SAMPLE_BYTES]))) * 208.0 / GYRO_BLOCK as f64;
    let look = Surface { index: 200, t_us: hour_us, object_raw: 0x3AD2, ambient_raw: 0x39E1, flags: 0 };
    let surface_rate = 1000.0 / f64::from(Settings::default().surface_period_ms);
    let surface = frame_len(&ToHost::Surface(look)) * surface_rate;
    let health = frame_len(&ToHost::Health(Health { uptime_us: hour_us, ..Health::default() }));
    let raw = 1667.0 * 6.0 + 208.0 * 6.0 + surface_rate * 4.0;
    let overhead = (accel + gyro + surface + health) / raw - 1.0;
    let busy = (accel + gyro + surface + health) * 10.0 / 921_600.0;
    println!("overhead {:.1} % of {raw:.0} B/s, UART {:.1} % busy", overhead * 100.0, busy * 100.0);
    assert!(overhead < 0.10, "overhead {overhead:.3}");
    assert!(busy < 0.25, "busy {busy:.3}");
}

fn postcard_bytes<M: serde::Serialize>(message: &M) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(message, &mut buffer).expect("fits");
    let mut scratch = [0; MAX_FRAME];
    decode_frame(&frame[1..frame.len() - 1], &mut scratch).expect("own frame").payload.to_vec()
}
