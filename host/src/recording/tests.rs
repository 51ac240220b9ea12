//! The container under stress, and the time axis.

use std::{fs, path::PathBuf};

use steadypass_protocol::{
    Block, Hello, MAX_FRAME, Mark, Mounting, ResetCause, Samples, Scale, Surface, ToHost, encode,
};
use tempfile::TempDir;

use super::*;
use crate::analysis::Reading;

fn hello(uptime_us: u64) -> ToHost<'static> {
    ToHost::Hello(Hello {
        protocol: 1,
        firmware: [0, 1, 0],
        unique_id: [1; 8],
        chips: 3,
        reset: ResetCause::PowerOn,
        uptime_us,
        accel: Scale { nominal_mhz: 1_667_000, nano_per_count: 4_785_645, full_scale: 32_767 },
        gyro: Scale { nominal_mhz: 208_000, nano_per_count: 1_221_730, full_scale: 32_767 },
        surface_period_ms: 64,
        mounting: Mounting { axis: [2, -1, 3] },
        streaming: false,
    })
}

fn raw(message: &ToHost<'_>) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(message, &mut buffer).expect("fits");
    frame[1..frame.len() - 1].to_vec()
}

fn accel(first_index: u32, first_us: u64, counts: &[[i16; 3]]) -> Vec<u8> {
    spaced_accel(first_index, first_us, 600_000, 0, counts)
}

fn spaced_accel(first_index: u32, first_us: u64, spacing_ns: u32, flags: u8, counts: &[[i16; 3]]) -> Vec<u8> {
    let bytes: Vec<u8> = counts.iter().flatten().flat_map(|c| c.to_le_bytes()).collect();
    let samples = Samples::from_bytes(&bytes).expect("whole samples");
    raw(&ToHost::Accel(Block { first_index, first_us, spacing_ns, flags, samples }))
}

/// A finished recording of `blocks` blocks, some 150 to a chunk.
fn recording(folder: &TempDir, blocks: u32) -> PathBuf {
    let path = folder.path().join("run.mcap");
    let facts = Facts { technician: "Robin".into(), ..Facts::default() };
    let mut writer = RecordingWriter::create(&path, &facts).expect("created");
    writer.frame(1, &raw(&hello(0))).expect("stored");
    for i in 0..blocks {
        let value = i16::try_from(i % 1000).expect("small");
        writer.frame(u64::from(i) + 2, &accel(i * 72, u64::from(i) * 43_200, &[[value, 1, 2]; 72])).expect("stored");
    }
    writer.link(9, &LinkNote::BadFrames { count: 3 }).expect("stored");
    writer.note(9, &UserNote::Text { text: "haze left of the handle".into() }).expect("stored");
    assert_eq!(writer.finish(3, "stopped").expect("finished"), path);
    path
}

/// Payload of every frame that reads, and the damage.
fn read(path: &std::path::Path) -> (Vec<Vec<u8>>, Damage, Option<Closing>) {
    let mut reader = Reader::open(path).expect("opens");
    let mut frames = Vec::new();
    while reader
        .next_chunk(|entry| {
            if let Body::Frame(raw) = entry.body {
                frames.push(raw.to_vec());
            }
        })
        .expect("reads")
    {}
    (frames, reader.damage(), reader.closing().cloned())
}

#[test]
fn what_is_written_is_read_and_the_file_gets_its_name_only_when_finished() {
    let folder = TempDir::new().expect("temp");
    let path = recording(&folder, 40);
    assert!(!part_path(&path).exists());
    let (frames, damage, closing) = read(&path);
    assert_eq!(frames.len(), 41);
    assert_eq!(frames[1], accel(0, 0, &[[0, 1, 2]; 72]));
    assert_eq!(damage, Damage::default());
    assert_eq!(closing, Some(Closing { messages: 43, bad_frames: 3, reason: "stopped".into(), ..Closing::default() }));
    assert_eq!(Reader::open(&path).expect("opens").facts().technician, "Robin");
    assert!(matches!(RecordingWriter::create(&path, &Facts::default()), Err(Error::Exists { .. })));
}

/// Every cut of a file opens (once the header is there), loses nothing but its tail, and says that it was cut.
#[test]
fn a_cut_file_keeps_every_whole_chunk() {
    let folder = TempDir::new().expect("temp");
    let whole = recording(&folder, 600); // several chunks of 64 kB
    let bytes = fs::read(&whole).expect("read");
    let (all, ..) = read(&whole);
    let cut_path = folder.path().join("cut.mcap");
    let mut longest = 0;
    for cut in (0..bytes.len()).step_by(997) {
        fs::write(&cut_path, &bytes[..cut]).expect("write");
        assert_eq!(super::ahead::closing(&cut_path), None, "{cut}");
        let Ok(mut reader) = Reader::open(&cut_path) else {
            assert!(cut < 2000, "a file of {cut} bytes has its header and opens");
            continue;
        };
        let mut count = 0;
        while reader
            .next_chunk(|entry| {
                if let Body::Frame(raw) = entry.body {
                    assert_eq!(raw, all[count], "frames come in order and unharmed");
                    count += 1;
                }
            })
            .expect("reads")
        {}
        assert!(count >= longest, "a longer file never gives less");
        assert!(!reader.damage().lost_data(), "cut at {cut}: what is there is whole");
        longest = count;
        if reader.closing().is_none() {
            assert!(reader.damage().cut, "cut at {cut} of {}", bytes.len());
        }
    }
    assert!(longest > 400, "chunks before the cut survive, {longest}");
}

/// A recording's records: opcode, and where each begins and ends (MCAP specification, "Records": an opcode byte, a 64-bit
/// little-endian length, the body).
fn records(bytes: &[u8]) -> Vec<(u8, std::ops::Range<usize>)> {
    let (mut found, mut at) = (Vec::new(), 8);
    while at + 9 <= bytes.len() {
        let length = u64::from_le_bytes(bytes[at + 1..at + 9].try_into().expect("eight bytes"));
        let end = at + 9 + usize::try_from(length).expect("small");
        found.push((bytes[at], at..end));
        at = end;
    }
    found
}

const CHUNK: u8 = 0x06;
/// Opcode, length, two times, size, checksum, name of the compression (empty), length of the records.
const CHUNK_HEADER: usize = 9 + 40;

/// How many messages a chunk's records hold.
fn messages(mut chunk: &[u8]) -> usize {
    let mut count = 0;
    while let Some((head, rest)) = chunk.split_first_chunk::<9>() {
        count += usize::from(head[0] == 0x05);
        chunk = &rest[u64::from_le_bytes(head[1..].try_into().expect("eight bytes")) as usize..];
    }
    count
}

/// A damaged byte anywhere, in every record header, in all of the first chunk, gives no wrong frame, costs no more than the
/// chunk it hits, and what it costs is counted.
#[test]
fn a_damaged_byte_costs_one_chunk_at_most_and_is_told() {
    let folder = TempDir::new().expect("temp");
    let whole = recording(&folder, 400);
    let bytes = fs::read(&whole).expect("read");
    let (all, ..) = read(&whole);
    let records = records(&bytes);
    let chunks: Vec<_> = records.iter().filter(|(opcode, _)| *opcode == CHUNK).map(|(_, at)| at.clone()).collect();
    assert!(chunks.len() >= 4, "several chunks, {}", chunks.len());
    let most = chunks.iter().map(|at| messages(&bytes[at.start + CHUNK_HEADER..at.end])).max().expect("chunks");
    let headers = records.iter().flat_map(|(opcode, at)| {
        (at.start..at.end.min(at.start + if *opcode == CHUNK { CHUNK_HEADER } else { 15 })).collect::<Vec<_>>()
    });
    let mut places: Vec<(usize, u8)> = headers.flat_map(|at| (0..8).map(move |bit| (at, 1 << bit))).collect();
    places.extend(chunks[0].clone().map(|at| (at, 0xFF)));
    places.extend((8..bytes.len()).step_by(1499).map(|at| (at, 1 << (at % 8))));
    let path = folder.path().join("damaged.mcap");
    for (at, flip) in places {
        let mut damaged = bytes.clone();
        damaged[at] ^= flip;
        fs::write(&path, &damaged).expect("write");
        let (frames, damage, _) = read(&path);
        let mut left = all.iter();
        let place = format!("{flip:#04x} at {at}");
        assert!(frames.iter().all(|frame| left.any(|good| good == frame)), "{place}: a wrong frame, or out of order");
        let lost = all.len() - frames.len();
        assert!(lost <= most, "{place}: {lost} of {} frames lost", all.len());
        assert!(lost == 0 || damage.lost_data(), "{place}: {lost} frames lost without a word");
    }
}

/// The chunk with the introduction is lost: the rest can still be read.
#[test]
fn a_lost_introduction_costs_no_more_than_its_chunk() {
    let folder = TempDir::new().expect("temp");
    let path = recording(&folder, 400);
    let mut bytes = fs::read(&path).expect("read");
    let holds_frames = |at: &std::ops::Range<usize>| messages(&bytes[at.start + CHUNK_HEADER..at.end]) > 0;
    let mut chunks = records(&bytes).into_iter().filter(|(opcode, _)| *opcode == CHUNK).map(|(_, at)| at);
    let first = chunks.find(holds_frames).expect("a chunk with frames");
    bytes[first.end - 1] ^= 1;
    fs::write(&path, &bytes).expect("write");
    let (mut timeline, mut reader) = (Timeline::new(), Reader::open(&path).expect("opens"));
    let mut runs = 0;
    while reader
        .next_chunk(|entry| {
            timeline.push(&entry, &mut |reading| runs += usize::from(matches!(reading, Reading::Accel(_))));
        })
        .expect("reads")
    {}
    assert!(runs > 200, "{runs} blocks were read");
    assert_eq!(timeline.losses(), Losses { bad_frames: 3, ..Losses::default() }, "none is unusable");
    assert_eq!(reader.damage().missing, 401 - runs as u64);
}

/// A length that is damaged in a recording that was not finished is not taken for its end.
#[test]
fn a_damaged_length_is_no_end() {
    let folder = TempDir::new().expect("temp");
    let whole = recording(&folder, 600);
    let mut bytes = fs::read(&whole).expect("read");
    let chunks: Vec<_> = records(&bytes).into_iter().filter(|(opcode, _)| *opcode == CHUNK).collect();
    let (_, last) = chunks.last().expect("chunks");
    bytes.truncate(last.start + 1000);
    let path = folder.path().join("run.mcap.part");
    fs::write(&path, &bytes).expect("write");
    let (all, cut, _) = read(&path);
    assert!(cut.cut && !cut.lost_data(), "{cut:?}");
    bytes[chunks[2].1.start + 5] ^= 1; // 4 GB
    fs::write(&path, &bytes).expect("write");
    let (frames, damage, _) = read(&path);
    let hit = messages(&bytes[chunks[2].1.start + CHUNK_HEADER..chunks[2].1.end]);
    assert_eq!(all.len() - frames.len(), hit);
    assert!(damage.cut && damage.lost_data(), "{damage:?}");
}

#[test]
fn what_is_no_recording_is_named() {
    let folder = TempDir::new().expect("temp");
    let path = folder.path().join("x");
    let said = |path: &std::path::Path| Reader::open(path).err().expect("refused").to_string();
    assert!(said(&path).contains("no such file"));
    assert!(said(folder.path()).contains("folder"));
    fs::write(&path, "t_s,accel").expect("write");
    assert!(said(&path).contains("steadypass import"), "{}", said(&path));
    fs::write(&path, "").expect("write");
    assert!(said(&path).contains("an empty file"));
}

// ---- the time axis ----

fn readings(frames: &[(u64, Vec<u8>)]) -> (Vec<String>, Losses) {
    let (mut timeline, mut said) = (Timeline::new(), Vec::new());
    for (log_ns, raw) in frames {
        timeline.push(&Entry { log_ns: *log_ns, body: Body::Frame(raw) }, &mut |reading| {
            said.push(match reading {
                Reading::Accel(r) => format!("accel {:.0} lost {} {:.3?}", r.first_us, r.lost_before, r.samples[0]),
                Reading::Break { from_us, to_us } => format!("break {from_us:.0} {to_us:.0}"),
                Reading::Surface(s) => {
                    format!("surface {:.0} {:?}", s.t_us, s.apparent_c.map(|c| (c * 100.0).round() / 100.0))
                }
                other => format!("{other:?}"),
            });
        });
    }
    (said, timeline.losses())
}

#[test]
fn counts_become_machine_axes_in_si_from_time_zero() {
    let look = |index, object_raw, flags| {
        raw(&ToHost::Surface(Surface { index, t_us: 5_000_000, object_raw, ambient_raw: 0x39E1, flags }))
    };
    let (said, losses) = readings(&[
        (0, raw(&hello(4_000_000))),
        (0, accel(7, 5_000_000, &[[100, 200, 2048]; 2])),
        (1, look(0, 0x3AD2, 0)),
        (2, look(2, 0xFFFF, Surface::CHIP_ERROR)),
    ]);
    // Mounting [2, -1, 3]: machine x is chip y, machine y is minus chip x. 2048 counts at 0.488 mg are 9.801 m/s².
    // 0x3AD2 is 28.01 °C: worked example of the chip's data sheet.
    assert_eq!(said, ["accel 0 lost 0 [0.957, -0.479, 9.801]", "surface 0 Some(28.01)", "surface 0 None"]);
    assert_eq!((losses.surface_looks, losses.surface_failed), (1, 1));
}

#[test]
fn time_zero_is_the_first_accelerometer_sample_whatever_comes_first() {
    let look =
        |index, t_us| raw(&ToHost::Surface(Surface { index, t_us, object_raw: 0x3AD2, ambient_raw: 0x39E1, flags: 0 }));
    let (said, losses) = readings(&[
        (0, raw(&hello(9_000_000))),
        (1, look(0, 9_500_000)), // of a life before a restart
        (2, raw(&hello(4_990_000))),
        (3, look(0, 4_990_000)),
        (4, look(1, 5_040_000)),
        (5, accel(0, 5_000_000, &[[0, 0, 2048]; 72])),
        (6, look(2, 5_090_000)),
    ]);
    assert_eq!(
        said,
        [
            "accel 0 lost 0 [0.000, -0.000, 9.801]",
            "surface -10000 Some(28.01)",
            "surface 40000 Some(28.01)",
            "surface 90000 Some(28.01)"
        ]
    );
    assert_eq!(losses, Losses::default());
}

#[test]
fn a_restart_continues_on_host_time_and_a_hole_is_counted() {
    let second = 1_000_000_000;
    let (said, losses) = readings(&[
        (0, raw(&hello(0))),
        (10 * second, accel(0, 10_000_000, &[[0, 0, 10]; 72])),
        (10 * second, accel(72 + 72, 10_086_400, &[[0, 0, 10]; 72])),
        // The sensor restarts and is back 1.5 s later; its clock says 0.2 s.
        (11 * second + second / 2, raw(&hello(200_000))),
        (11 * second + second / 2, accel(0, 210_000, &[[0, 0, 10]; 72])),
    ]);
    assert_eq!(said[1], "accel 86400 lost 72 [0.000, -0.000, 0.048]");
    assert_eq!(said[2], "break 86400 1586400");
    assert_eq!(said[3], "accel 1596400 lost 0 [0.000, -0.000, 0.048]");
    assert_eq!((losses.accel_samples, losses.restarts), (72, 1));
    assert!(losses.any() && losses.describe().contains("1 sensor restart"), "{}", losses.describe());
    assert!(!losses.describe().contains("restarts"), "{}", losses.describe());
}

/// After a restart the sensor does not know its chip's rate yet, and says so; the recording does. Stamps and spacings as the
/// emulated image gave them (`tests/bench-rig`) with a chip 2.1 % faster than its name.
#[test]
fn after_a_restart_samples_are_spaced_as_they_were_before() {
    let second = 1_000_000_000;
    let block = |index, t_us, spacing_ns, flags| spaced_accel(index, t_us, spacing_ns, flags, &[[0, 0, 10]; 72]);
    let mut frames = vec![(0, raw(&hello(0))), (0, block(0, 10_000_000, 587_640, 0)), (second, raw(&hello(130_000)))];
    for (index, t_us, spacing_ns, flags) in [
        (48, 140_689, 599_880, Block::NOMINAL_SPACING),
        (120, 183_444, 599_880, Block::NOMINAL_SPACING),
        (192, 226_259, 599_880, Block::NOMINAL_SPACING),
        (264, 267_922, 588_410, Block::NOMINAL_SPACING),
        (336, 310_214, 587_640, 0),
        (408, 352_524, 587_640, 0),
    ] {
        frames.push((second, block(index, t_us, spacing_ns, flags)));
    }
    let (said, losses) = readings(&frames);
    let starts: Vec<f64> = said
        .iter()
        .filter_map(|s| s.strip_prefix("accel ")?.split(' ').next()?.parse().ok())
        .skip(1) // before the restart
        .collect();
    assert_eq!(starts.len(), 6);
    for pair in starts.windows(2) {
        let spacing_us = (pair[1] - pair[0]) / 72.0;
        assert!((spacing_us / 587.64 - 1.0).abs() < 1e-4, "{starts:?}");
    }
    assert_eq!((losses.restarts, losses.accel_samples), (1, 0));
}

/// The motion chip falls silent for three seconds with a block begun; the thermometer goes on. That is a hole, not a restart.
#[test]
fn a_block_that_waited_for_the_chip_is_no_restart() {
    let look =
        |index, t_us| raw(&ToHost::Surface(Surface { index, t_us, object_raw: 0x3AD2, ambient_raw: 0x39E1, flags: 0 }));
    let second = 1_000_000_000;
    let (said, losses) = readings(&[
        (0, raw(&hello(0))),
        (0, accel(0, 1_000_000, &[[0, 0, 10]; 72])),
        (3 * second, look(0, 4_000_000)),
        (3 * second, accel(72, 1_043_200, &[[0, 0, 10]; 3])),
        (3 * second, accel(5_072, 4_043_200, &[[0, 0, 10]; 72])),
        (3 * second, look(1, 4_064_000)),
    ]);
    assert_eq!(
        said,
        [
            "accel 0 lost 0 [0.000, -0.000, 0.048]",
            "surface 3000000 Some(28.01)",
            "accel 43200 lost 0 [0.000, -0.000, 0.048]",
            "break 45000 3043200",
            "accel 3043200 lost 4997 [0.000, -0.000, 0.048]",
            "surface 3064000 Some(28.01)"
        ]
    );
    assert_eq!((losses.restarts, losses.interruptions, losses.accel_samples), (0, 1, 4997));
}

/// The sensor sends marks before the data that waits, up to two seconds of it when the laptop stalls.
#[test]
fn a_mark_that_overtakes_data_is_no_restart() {
    let block = |i: u32| accel(i * 72, 1_000_000 + u64::from(i) * 43_200, &[[0, 0, 10]; 72]);
    let stamped = |t_us| ToHost::Surface(Surface { index: 0, t_us, object_raw: 0x3AD2, ambient_raw: 0x39E1, flags: 0 });
    let mark = raw(&ToHost::Mark(Mark { index: 1, t_us: 2_900_000 }));
    let second = 1_000_000_000;
    let mut frames = vec![(0, raw(&hello(0)))];
    frames.extend((0..10).map(|i| (0, block(i))));
    frames.push((2 * second, mark));
    frames.extend((10..12).map(|i| (2 * second, block(i))));
    frames.push((2 * second, raw(&stamped(1_500_000))));
    let (said, losses) = readings(&frames);
    assert_eq!(losses, Losses::default());
    let after_blocks: Vec<_> = said.iter().filter(|s| !s.starts_with("accel")).collect();
    assert_eq!(after_blocks, ["Mark { t_us: 1900000.0 }", "surface 500000 Some(28.01)"]);
    // A restart right after it is still one, whether the introduction or the data tells of it.
    for restarted in [raw(&hello(200_000)), raw(&stamped(210_000))] {
        let mut frames = frames.clone();
        frames.extend([(3 * second, restarted), (3 * second, accel(0, 220_000, &[[0, 0, 10]; 72]))]);
        let (said, losses) = readings(&frames);
        assert_eq!(losses.restarts, 1, "{said:?}");
    }
}

/// After a restart that a message of the first queue told of, the data behind it is not another one.
#[test]
fn data_behind_the_introduction_of_a_restarted_sensor_is_no_second_restart() {
    let second = 1_000_000_000;
    let (said, losses) = readings(&[
        (0, raw(&hello(0))),
        (0, accel(0, 20_000_000, &[[0, 0, 10]; 72])),
        (10 * second, raw(&hello(3_000_000))),
        (10 * second, accel(0, 1_100_000, &[[0, 0, 10]; 72])),
    ]);
    assert_eq!(losses.restarts, 1, "{said:?}");
    assert_eq!(said[2], "accel 8100000 lost 0 [0.000, -0.000, 0.048]");
}

#[test]
fn counts_from_outside_do_not_overflow() {
    let mut timeline = Timeline::new();
    for _ in 0..2 {
        let body = Body::Link(LinkNote::BadFrames { count: u64::MAX });
        timeline.push(&Entry { log_ns: 0, body }, &mut |_| {});
    }
    let losses = timeline.losses();
    assert_eq!(losses.bad_frames, u64::MAX);
    let more = Losses { accel_samples: 1, ..losses };
    assert!(more.any());
}

/// Table runs with times that jump or are no times: the jump is an interruption whatever the run says was lost, and the rest is
/// refused. Neither costs time or memory by the length of the jump (these would take minutes and gigabytes).
#[test]
fn times_that_jump_cost_nothing() {
    use crate::{guidance::Plan, session::Session};
    let run =
        |first_us, spacing_us| TableRun { first_us, spacing_us, lost_before: 0, samples: vec![[0.0, 0.0, 9.81]; 8] };
    let accel = |first_us, spacing_us| TableEntry::Accel(run(first_us, spacing_us));
    let gyro = |first_us, spacing_us| TableEntry::Gyro(run(first_us, spacing_us));
    for pieces in [
        vec![accel(0.0, 600.0), accel(1e12, 600.0)],
        vec![accel(f64::NAN, 600.0), accel(1e13, 600.0)],
        vec![accel(0.0, 600.0), accel(1e6, f64::INFINITY), accel(1e13, 600.0)],
        vec![accel(0.0, 600.0), accel(1e6, 1e14), accel(1e13, 600.0)],
        vec![accel(0.0, 600.0), gyro(0.0, 600.0), gyro(1e13, 600.0), accel(4800.0, 600.0)],
    ] {
        let mut session = Session::new(Plan::default());
        let mut events = 0u32;
        for piece in pieces {
            session.push(&Entry { log_ns: 0, body: Body::Table(piece) }, &mut |_| events += 1);
        }
        session.finish(&mut |_| events += 1);
        assert!(events < 1000, "{events} events for twenty samples");
    }
    let mut timeline = Timeline::new();
    let mut said = Vec::new();
    for piece in [accel(0.0, 600.0), accel(f64::NAN, 600.0), accel(1e12, 600.0)] {
        timeline.push(&Entry { log_ns: 0, body: Body::Table(piece) }, &mut |reading| said.push(format!("{reading:?}")));
    }
    assert!(said[1].starts_with("Break { from_us: 4800.0, to_us: 1000000000000.0 }"), "{said:?}");
    assert_eq!((timeline.losses().interruptions, timeline.losses().unusable_frames), (1, 1));
}

#[test]
fn the_calibration_in_the_facts_is_applied_to_what_the_sensor_said() {
    use crate::calibration::{Accel, Calibration, Gyro, Thermometer};
    let when = "2026-03-02T09:00:00+01:00".to_owned();
    let calibration = Calibration {
        gyro: Some(Gyro { when: when.clone(), bias_radps: [0.01; 3], sd_radps: [0.0; 3], seconds: 60.0 }),
        accel: Some(Accel {
            when: when.clone(),
            offset_mps2: [0.1, 0.0, -0.1],
            scale: [1.0, 1.01, 0.99],
            gravity_mps2: 9.81,
            poses: 6,
            left_over_mps2: 0.0,
        }),
        thermometer: Some(Thermometer { when, offset_k: 0.5, target_emissivity: 0.97, points: 1, left_over_k: 0.0 }),
        ..Calibration::of("0101010101010101")
    };
    let facts = Facts { calibration: calibration.to_toml(), ..Facts::default() };
    let look = raw(&ToHost::Surface(Surface { index: 0, t_us: 10, object_raw: 15_000, ambient_raw: 14_900, flags: 0 }));
    let frames = [raw(&hello(0)), accel(0, 0, &[[1000, 2000, 1500]; 4]), look];
    let values = |mut timeline: Timeline| {
        let mut values = Vec::new();
        for frame in &frames {
            timeline.push(&Entry { log_ns: 1, body: Body::Frame(frame) }, &mut |reading| match reading {
                Reading::Accel(run) => values.extend(run.samples[0]),
                Reading::Surface(look) => values.extend([look.apparent_c.unwrap(), look.ambient_c.unwrap()]),
                _ => {}
            });
        }
        values
    };
    let before = values(Timeline::calibrated(Facts::default().sensor_calibration().unwrap()));
    let after = values(Timeline::calibrated(facts.sensor_calibration().unwrap()));
    let expected = [before[0] - 0.1, before[1] * 1.01, (before[2] + 0.1) * 0.99, before[3] - 0.5, before[4]];
    for (a, e) in after.iter().zip(expected) {
        assert!((a - e).abs() < 1e-4, "{after:?} {expected:?}");
    }
    assert!(Facts { calibration: "sensor = 3".into(), ..Facts::default() }.sensor_calibration().is_err());
}
