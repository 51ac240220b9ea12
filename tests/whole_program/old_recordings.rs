//! Recordings are for ever: what an earlier version wrote must still read and give its figures.

use std::{fs, path::Path};

use tempfile::TempDir;

use crate::support::*;

/// Twenty seconds of the virtual sensor, protocol version 1: every kind of message of that version, invented data.
#[test]
fn a_recording_of_protocol_1_still_reads() {
    let folder = TempDir::new().expect("temp");
    let recording = Path::new(env!("CARGO_MANIFEST_DIR")).join("../data/recordings/protocol-1.mcap");
    let out = at(&folder, "review");
    let output = run(&["review", &text(&recording), "--no-sheets", "--out", &text(&out)]);
    assert!(output.status.success(), "{}", stderr(&output));
    let rows = rows(&out.join("series.csv"));
    assert!((ROWS - 2..=ROWS + 2).contains(&rows.len()), "{} rows", rows.len());
    // From the first stroke on (6.8 s): before it the motor gathers speed, and then runs free.
    let loaded = rows.iter().filter(|r| r["t_s"].parse::<f64>().is_ok_and(|t_s| t_s >= 7.0));
    let rates: Vec<f64> = loaded.filter_map(|r| r["orbit_opm"].parse().ok()).collect();
    // Bounds of the scenario's own rate (66 Hz, 1.2 % wander, 6 % droop under load), not of any one version's figures.
    assert!(rates.len() > 50 && rates.iter().all(|r| (3600.0..4100.0).contains(r)), "{rates:?}");
    let warm = rows.iter().filter(|r| !r["surface_c"].is_empty()).count();
    assert!(warm > ROWS / 2, "{warm} rows with a temperature");
}

/// One damaged byte in it costs the chunk it hits, and the review says so: in the first chunk, which names the channels and holds
/// nothing else, and in the length of the third, which holds three seconds.
#[test]
fn a_recording_of_protocol_1_with_a_damaged_byte_is_reviewed_and_the_loss_told() {
    let folder = TempDir::new().expect("temp");
    let whole = Path::new(env!("CARGO_MANIFEST_DIR")).join("../data/recordings/protocol-1.mcap");
    let bytes = fs::read(&whole).expect("read");
    // Records (MCAP specification): an opcode, a 64-bit little-endian length, the body; 0x06 is a chunk.
    let (mut chunks, mut at_byte) = (Vec::new(), 8);
    while let Some(head) = bytes.get(at_byte..).and_then(<[u8]>::first_chunk::<9>) {
        if head[0] == 0x06 {
            chunks.push(at_byte);
        }
        at_byte += 9 + u64::from_le_bytes(head[1..].try_into().expect("eight bytes")) as usize;
    }
    for (byte, words) in [
        (chunks[0] + 200, "1 damaged place in the file, 0 messages lost there"),
        (chunks[2] + 2, "1 damaged place in the file, "),
        (chunks[2] + 5, "1 damaged place in the file, "),
    ] {
        let mut damaged = bytes.clone();
        damaged[byte] ^= 0x01;
        let recording = at(&folder, "damaged.mcap");
        fs::write(&recording, damaged).expect("write");
        let out = at(&folder, "review");
        let output = run(&["review", &text(&recording), "--no-sheets", "--out", &text(&out)]);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(3), "byte {byte}: {said}");
        assert!(said.contains(words) && said.contains("messages lost there"), "byte {byte}: {said}");
        assert!(!said.contains("not closed"), "byte {byte}: {said}");
        let rows = rows(&out.join("series.csv"));
        assert!(rows.len() > ROWS * 3 / 4, "byte {byte}: {} rows", rows.len());
    }
}

/// Tenths of a second in the recording.
const ROWS: usize = 200;
