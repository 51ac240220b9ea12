//! Accelerometer offset and scale from six poses.
//!
//! At rest the specific force has the size of gravity, whichever way it points. So the poses need not be true to a degree:
//! offset and scale are those with which every pose reads gravity. What six poses cannot tell is an angle between the axes.

use nalgebra::{SMatrix, SVector};

use super::{
    Accel, CalibrationError,
    still::{Pose, SHORTEST_S},
};

/// The six directions, in the order x, y, z, up before down.
pub const FACES: [&str; 6] = ["+x", "-x", "+y", "-y", "+z", "-z"];
/// An axis points up when it carries at least this share of the force: within 26°.
const SHARE: f64 = 0.9;
/// Rounds of Gauss-Newton; it converges in three from any start a working chip can give.
const ROUNDS: usize = 12;
/// Step at which it has converged, m/s² and 1.
const CONVERGED: f64 = 1e-12;

/// Which face a pose shows.
fn face(pose: &Pose) -> Option<usize> {
    let size = pose.accel_mps2.iter().map(|a| a * a).sum::<f64>().sqrt();
    (0..3).find(|&i| pose.accel_mps2[i].abs() > SHARE * size).map(|i| 2 * i + usize::from(pose.accel_mps2[i] < 0.0))
}

/// Offset and scale per axis from all poses. `when`: the recording's start, RFC 3339.
///
/// # Errors
/// [`CalibrationError::MissingFaces`], [`CalibrationError::NoFit`].
pub fn fit(poses: &[Pose], gravity_mps2: f64, when: &str) -> Result<Accel, CalibrationError> {
    let used: Vec<(usize, &Pose)> = poses.iter().filter_map(|p| Some((face(p)?, p))).collect();
    let missing: Vec<&str> = (0..6).filter(|f| used.iter().all(|(g, _)| g != f)).map(|f| FACES[f]).collect();
    if !missing.is_empty() {
        let found = match poses.len() {
            0 => "no pose at all".to_owned(),
            1 => "1 pose".to_owned(),
            n => format!("{n} poses"),
        };
        return Err(CalibrationError::MissingFaces { missing, found, wanted_s: SHORTEST_S + 1.0 });
    }
    // Unknowns: three offsets, three scales.
    let mut x = SVector::<f64, 6>::from([0.0, 0.0, 0.0, 1.0, 1.0, 1.0]);
    let corrected =
        |x: &SVector<f64, 6>, a: [f64; 3]| -> [f64; 3] { std::array::from_fn(|i| (a[i] - x[i]) * x[3 + i]) };
    let size = |v: [f64; 3]| v.iter().map(|c| c * c).sum::<f64>().sqrt();
    for _ in 0..ROUNDS {
        let mut normal = SMatrix::<f64, 6, 6>::zeros();
        let mut right = SVector::<f64, 6>::zeros();
        for (_, pose) in &used {
            let v = corrected(&x, pose.accel_mps2);
            let length = size(v);
            let row = SVector::<f64, 6>::from_fn(|k, _| {
                let i = k % 3;
                let slope = if k < 3 { -x[3 + i] } else { pose.accel_mps2[i] - x[i] };
                v[i] / length * slope
            });
            normal += row * row.transpose();
            right += row * (gravity_mps2 - length);
        }
        let step = normal.cholesky().ok_or(CalibrationError::NoFit)?.solve(&right);
        x += step;
        if step.amax() < CONVERGED {
            break;
        }
    }
    if x.iter().any(|v| !v.is_finite()) {
        return Err(CalibrationError::NoFit);
    }
    let left_over =
        used.iter().map(|(_, p)| (size(corrected(&x, p.accel_mps2)) - gravity_mps2).abs()).fold(0.0, f64::max);
    Ok(Accel {
        when: when.to_owned(),
        offset_mps2: [x[0], x[1], x[2]],
        scale: [x[3], x[4], x[5]],
        gravity_mps2,
        poses: used.len() as u32,
        left_over_mps2: left_over,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::still::tests::record;

    const OFFSET: [f64; 3] = [0.15, -0.12, 0.08];
    /// What the chip makes of a true 1 m/s².
    const GAIN: [f64; 3] = [1.01, 0.992, 0.997];
    const G: f64 = 9.812;

    /// What the chip reads when the true force points so.
    fn reading(direction: [f64; 3]) -> [f64; 3] {
        let size = direction.iter().map(|c| c * c).sum::<f64>().sqrt();
        std::array::from_fn(|i| direction[i] / size * G * GAIN[i] + OFFSET[i])
    }

    /// Turning over between poses, by hand.
    const TURN: (f64, [f64; 3], [f64; 3], f64) = (2.0, [3.0, 3.0, 8.0], [0.8, 0.2, 0.1], 1.0);

    fn poses(directions: &[[f64; 3]]) -> Vec<Pose> {
        let mut stretches = vec![TURN];
        for &d in directions {
            stretches.extend([(10.0, reading(d), [0.0; 3], 0.0), TURN]);
        }
        record(&stretches).poses()
    }

    /// Held against a block by eye: every pose tilted by some degrees.
    const TILTED: [[f64; 3]; 6] = [
        [1.0, 0.05, -0.03],
        [-1.0, 0.02, 0.06],
        [0.04, 1.0, 0.02],
        [-0.06, -1.0, 0.03],
        [0.02, -0.05, 1.0],
        [0.07, 0.01, -1.0],
    ];

    #[test]
    fn offset_and_scale_come_out_of_crooked_poses() {
        let poses = poses(&TILTED);
        assert_eq!(poses.len(), 6);
        let accel = fit(&poses, G, "").unwrap();
        for i in 0..3 {
            // Noise 0.025 m/s² over 14 000 samples: 2e-4; half of it in each figure.
            assert!((accel.offset_mps2[i] - OFFSET[i]).abs() < 1e-3, "{accel:?}");
            assert!((accel.scale[i] * GAIN[i] - 1.0).abs() < 1e-4, "{accel:?}");
        }
        assert!(accel.left_over_mps2 < 1e-9);
    }

    #[test]
    fn poses_too_many_leave_something_to_check_by() {
        let mut directions = TILTED.to_vec();
        directions.extend([[1.0, -0.2, 0.1], [0.1, 0.15, -1.0]]);
        let accel = fit(&poses(&directions), G, "").unwrap();
        assert_eq!(accel.poses, 8);
        assert!(accel.left_over_mps2 > 1e-7 && accel.left_over_mps2 < 1e-3, "{accel:?}");
    }

    #[test]
    fn missing_faces_are_named() {
        let error = fit(&poses(&TILTED[..4]), G, "").unwrap_err().to_string();
        assert!(error.contains("no pose was found with +z, -z up") && error.contains("found 4 poses"), "{error}");
        let error = fit(&[], G, "").unwrap_err().to_string();
        assert!(error.contains("+x, -x, +y, -y, +z, -z"), "{error}");
    }
}
