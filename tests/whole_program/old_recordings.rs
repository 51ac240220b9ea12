//! Recordings are for ever: what an earlier version wrote must still read and give its figures.

use std::path::Path;

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

/// Tenths of a second in the recording.
const ROWS: usize = 200;
