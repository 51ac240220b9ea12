//! kill -9 at random moments: every recording reviews, and each loses at most a second.

use std::{thread, time::Duration};

use steadypass::{
    recording::{Reader, part_path},
    simulation::Scenario,
};
use tempfile::TempDir;

use crate::support::*;

const KILLS: u64 = 20;

#[test]
fn a_killed_recording_loses_at_most_a_second() {
    // Moments from a fixed sequence (an LCG of Numerical Recipes), so that a failure can be repeated.
    let moments: Vec<u64> = (0..KILLS)
        .scan(20_261_125u32, |s, _| {
            *s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            Some(u64::from(*s >> 16) % 3000)
        })
        .collect();
    let losses: Vec<(u64, f64)> = thread::scope(|scope| {
        let workers: Vec<_> = moments
            .chunks(moments.len().div_ceil(4))
            .map(|share| scope.spawn(move || share.iter().map(|&ms| (ms, kill_after(ms))).collect::<Vec<_>>()))
            .collect();
        workers.into_iter().flat_map(|w| w.join().expect("no panic")).collect()
    });
    let worst = losses.iter().map(|(_, loss)| *loss).fold(0.0, f64::max);
    println!("{} kills, worst loss {worst:.2} s", losses.len());
    assert_eq!(losses.len() as u64, KILLS);
    for (ms, loss) in losses {
        assert!(loss <= 1.0, "killed {ms} ms into streaming: {loss:.2} s lost");
    }
}

/// Kills a recording `ms` after its first data; seconds of sensor data that were sent but are not on the disk.
fn kill_after(ms: u64) -> f64 {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, &Scenario::demo(), 1.0);
    let out = at(&folder, "run.mcap");
    let mut child = start_record(&port, &out, &[]);
    wait_for("streaming", || port.with(|s| s.is_streaming()));
    thread::sleep(Duration::from_millis(ms));
    let sent_us = port.with(|s| s.now_us());
    child.kill().expect("running"); // SIGKILL
    child.wait().expect("ends");

    let part = part_path(&out);
    let last_us = last_sample_us(Reader::open(&part).expect("a killed recording opens"));
    let review = run(&["review", &text(&part), "--no-sheets", "--out", &text(&at(&folder, "review"))]);
    match last_us {
        // Killed before the first flush: there is nothing yet, and the program says so.
        None => assert!(stderr(&review).contains("holds no sensor data"), "{}", stderr(&review)),
        Some(_) => {
            assert_eq!(review.status.code(), Some(3), "its end is missing, and that is said: {}", stderr(&review));
            assert!(stderr(&review).contains("was not closed (at most a second"), "{}", stderr(&review));
            let mut whole = [&TABLES[..], &["reviewed.csv"]].concat();
            whole.sort_unstable();
            assert_eq!(files(&at(&folder, "review")), whole);
        }
    }
    let started_us = sent_us.saturating_sub(ms * 1000);
    sent_us.saturating_sub(last_us.unwrap_or(started_us)) as f64 * 1e-6
}
