//! Lengths of strides from a foot's motion sensor, with the analysis' own way of carrying directions along with the gyro.
//!
//! usage: `stride_lengths SAMPLES.csv STRIDES.csv`; prints one length in metres per stride.
//!
//! A foot stands still once a stride. From one stillness to the next the three axes of the room are carried along
//! (`attitude::carried`, what the arm's motion is found with), the acceleration is taken along them, gravity off, and summed
//! twice; the velocity that is left at the end is spread evenly over the stride, as a constant error of the acceleration
//! would have made it. Horizontal distance is the length.
//!
//! * SAMPLES: header, then `t_s,ax,ay,az,gx,gy,gz` (m/s², rad/s), evenly spaced; STRIDES: header, then first and last sample.

#![allow(clippy::print_stdout)] // the lengths

#[path = "../../host/src/analysis/attitude.rs"]
#[allow(dead_code, unreachable_pub)]
mod attitude;
#[path = "../../host/src/analysis/grid.rs"]
#[allow(dead_code, unreachable_pub)]
mod grid;

use std::{error::Error, path::Path};

use attitude::{GRAVITY, Vec3, carried, cross, norm};

struct Sample {
    accel: Vec3,
    gyro: Vec3,
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let (samples, strides) = args.next().zip(args.next()).ok_or("usage: stride_lengths SAMPLES.csv STRIDES.csv")?;
    let table = numbers(Path::new(&samples))?;
    let step_s = (table[table.len() - 1][0] - table[0][0]) / (table.len() - 1) as f64;
    let samples: Vec<Sample> =
        table.iter().map(|r| Sample { accel: [r[1], r[2], r[3]], gyro: [r[4], r[5], r[6]] }).collect();
    for stride in numbers(Path::new(&strides))? {
        println!("{:.4}", length_m(&samples[stride[0] as usize - 3..=stride[1] as usize], step_s));
    }
    Ok(())
}

fn numbers(path: &Path) -> Result<Vec<Vec<f64>>, Box<dyn Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    reader.records().map(|row| row?.iter().map(|cell| Ok(cell.parse()?)).collect()).collect()
}

fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(a: Vec3) -> Vec3 {
    a.map(|v| v / norm(a))
}

/// `stride` starts three samples before the stride, so that "still" is a mean of seven around its start.
fn length_m(stride: &[Sample], step_s: f64) -> f64 {
    let still = [0, 1, 2].map(|i| stride[..7].iter().map(|s| s.accel[i]).sum::<f64>() / 7.0);
    let up = unit(still);
    let across = unit(cross(up, if up[0].abs() < 0.8 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] }));
    let mut room = [across, cross(up, across), up];
    let mut velocity = [0.0; 2];
    let mut way = Vec::new();
    for pair in stride[3..].windows(2) {
        let rate = [0, 1, 2].map(|i| 0.5 * (pair[0].gyro[i] + pair[1].gyro[i]));
        room = room.map(|axis| carried(axis, rate, step_s));
        for (v, axis) in velocity.iter_mut().zip(room) {
            *v += dot(pair[1].accel, axis) * step_s;
        }
        way.push(velocity);
    }
    debug_assert!(norm(room[2].map(|v| v * GRAVITY)) > 9.0, "carried axes keep their length");
    let n = way.len() as f64;
    let sums = [0, 1].map(|i| {
        let left = way.last().map_or(0.0, |v| v[i]);
        way.iter().enumerate().map(|(k, v)| v[i] - (k + 1) as f64 / n * left).sum::<f64>() * step_s
    });
    sums[0].hypot(sums[1])
}
