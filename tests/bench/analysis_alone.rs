//! How long the analysis of a recording takes by itself, its samples in memory, as the SciPy script has its table:
//! `cargo run --release --example analysis_alone -- RECORDING`. Prints the seconds of processor time, the best of three runs.
//!
//! Reading the file and its clock is done before, tables and warnings come after: everything from samples to ticks, strokes and
//! passes is in it.

#![allow(clippy::print_stdout)] // the figure

use std::{path::Path, time::Duration};

use nix::time::{ClockId, clock_gettime};
use steadypass::{
    analysis::{Pipeline, Reading, Run, Setup},
    recording::{Reader, Timeline},
};

/// A reading with its samples beside it.
struct Kept {
    reading: Reading<'static>,
    samples: Vec<[f32; 3]>,
}

impl Kept {
    fn new(reading: Reading<'_>) -> Self {
        let empty = |run: Run<'_>| Run { samples: &[], ..run };
        match reading {
            Reading::Accel(run) => Self { reading: Reading::Accel(empty(run)), samples: run.samples.to_vec() },
            Reading::Gyro(run) => Self { reading: Reading::Gyro(empty(run)), samples: run.samples.to_vec() },
            Reading::Surface(look) => Self { reading: Reading::Surface(look), samples: Vec::new() },
            Reading::Mark { t_us } => Self { reading: Reading::Mark { t_us }, samples: Vec::new() },
            Reading::Break { from_us, to_us } => {
                Self { reading: Reading::Break { from_us, to_us }, samples: Vec::new() }
            }
        }
    }

    fn reading(&self) -> Reading<'_> {
        match self.reading {
            Reading::Accel(run) => Reading::Accel(Run { samples: &self.samples, ..run }),
            Reading::Gyro(run) => Reading::Gyro(Run { samples: &self.samples, ..run }),
            other => other,
        }
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("usage: analysis_alone RECORDING")?;
    let (mut reader, mut timeline, mut kept) = (Reader::open(Path::new(&path))?, Timeline::new(), Vec::new());
    while reader.next_chunk(|entry| timeline.push(&entry, &mut |reading| kept.push(Kept::new(reading))))? {}

    let mut best = Duration::MAX;
    for _ in 0..3 {
        let start = Duration::from(clock_gettime(ClockId::CLOCK_PROCESS_CPUTIME_ID)?);
        let mut pipeline = Pipeline::new(Setup::default());
        let (mut ticks, mut findings) = (0, 0);
        let mut take = |pipeline: &mut Pipeline| {
            ticks += std::iter::from_fn(|| pipeline.pop_live()).count();
            findings += std::iter::from_fn(|| pipeline.pop_finding()).count();
        };
        for kept in &kept {
            pipeline.push(kept.reading());
            take(&mut pipeline);
        }
        pipeline.finish();
        take(&mut pipeline);
        best = best.min(Duration::from(clock_gettime(ClockId::CLOCK_PROCESS_CPUTIME_ID)?) - start);
        if ticks == 0 || findings == 0 {
            return Err("nothing was found in the recording".into());
        }
    }
    println!("{:.3}", best.as_secs_f64());
    Ok(())
}
