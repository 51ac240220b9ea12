//! Accelerometer offset and scale from six poses.
//!
//! At rest the specific force has the size of gravity, whichever way it points. So the poses need not be true to a degree:
//! offset and scale are those with which every pose reads gravity. What six poses cannot tell is an angle between the axes.

use nalgebra::{SMatrix, SVector};

use steadypass_protocol::Mounting;

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

/// The faces that were up, in order of time; one that was laid down again is one.
pub fn faces_up(poses: &[Pose]) -> Vec<usize> {
    let mut up: Vec<usize> = poses.iter().filter_map(face).collect();
    up.dedup();
    up
}

/// Reads which arrows were up, in order: "x,-x,y,-y,z,-z", indices of [`FACES`]; `None` where it is no such list.
pub fn told_faces(text: &str) -> Option<Vec<usize>> {
    let index = |word: &str| {
        let (negative, axis) = word.trim().strip_prefix('-').map_or((false, word.trim()), |axis| (true, axis));
        let axis = ["x", "y", "z"].iter().position(|name| *name == axis.trim_start_matches('+').to_lowercase())?;
        Some(2 * axis + usize::from(negative))
    };
    text.split(',').map(index).collect()
}

/// Holds the faces that were up against the arrows that were told to be. From the readings alone a turned chip looks like a straight one.
///
/// # Errors
/// [`CalibrationError::Order`] where they cannot be held against each other, [`CalibrationError::Turned`] where an arrow reads as another
/// axis.
pub fn check_order(poses: &[Pose], told: &[usize]) -> Result<(), CalibrationError> {
    let found = faces_up(poses);
    let mut told = told.to_vec();
    told.dedup();
    let names = |faces: &[usize]| faces.iter().map(|face| FACES[*face]).collect::<Vec<_>>().join(", ");
    if told.len() != found.len() {
        return Err(CalibrationError::Order { told: names(&told), found: names(&found) });
    }
    // Signed axis, 1 to 3, that each of the arrows x, y, z reads as.
    let signed = |face: usize| (face / 2 + 1) as i8 * if face.is_multiple_of(2) { 1 } else { -1 };
    let mut reads: [Option<i8>; 3] = [None; 3];
    for (&told_face, &found_face) in told.iter().zip(&found) {
        let axis = signed(found_face) * signed(told_face).signum();
        if *reads[told_face / 2].get_or_insert(axis) != axis {
            return Err(CalibrationError::Order { told: names(&told), found: names(&found) });
        }
    }
    match reads {
        [Some(1) | None, Some(2) | None, Some(3) | None] => Ok(()),
        [Some(x), Some(y), Some(z)] => Err(CalibrationError::Turned { reads: [x, y, z] }),
        _ => Err(CalibrationError::Order { told: names(&told), found: names(&found) }),
    }
}

/// Which way the arrows point really, and what to do.
pub(super) fn describe_turned(reads: [i8; 3]) -> String {
    let name = |axis: i8| FACES[2 * usize::from(axis.unsigned_abs()).clamp(1, 3) - 2 + usize::from(axis < 0)];
    let [x, y, z] = reads.map(name);
    let what = format!("with the x arrow up it reads {x}, with y {y}, with z {z}");
    if (Mounting { axis: reads }).is_rotation() {
        format!(
            "{what}: the motion chip's board is turned. Turn it, or correct MOUNTING in firmware/board/src/main.rs; where that is \
             STRAIGHT now, it becomes `Mounting {{ axis: {reads:?} }}`. Then record anew; nothing is kept"
        )
    } else {
        format!(
            "{what}: that is mirrored, as no board can be turned. Check the order that was told, and the arrows on the case; nothing is \
             kept"
        )
    }
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
    fn a_turned_or_mirrored_chip_is_told_by_the_order_of_the_arrows() {
        let told = told_faces("x,-x, y,-Y,+z,-z").unwrap();
        assert_eq!(told, [0, 1, 2, 3, 4, 5]);
        assert_eq!((told_faces("x,w"), told_faces("")), (None, None));
        // What the chip makes of the six poses, by the signed axis that each arrow reads as.
        let turned = |reads: [i8; 3]| {
            let directions = TILTED.map(|d| {
                let mut out = [0.0; 3];
                for (v, axis) in d.iter().zip(reads) {
                    out[usize::from(axis.unsigned_abs()) - 1] = v * f64::from(axis.signum());
                }
                out
            });
            poses(&directions)
        };
        assert_eq!(check_order(&turned([1, 2, 3]), &told), Ok(()));
        assert_eq!(faces_up(&turned([1, 2, 3])), told);
        let said = |reads| check_order(&turned(reads), &told).unwrap_err().to_string();
        // The board's x points to the machine: hardware/assembly.md, step 2.
        let quarter = said([-2, 1, 3]);
        assert!(quarter.contains("x arrow up it reads -y, with y +x, with z +z"), "{quarter}");
        assert!(quarter.contains("`Mounting { axis: [-2, 1, 3] }`"), "{quarter}");
        assert!(said([-1, -2, 3]).contains("is turned") && said([1, -2, -3]).contains("is turned"));
        assert!(said([2, 1, 3]).contains("mirrored") && said([1, 2, -3]).contains("mirrored"));
        let fewer = check_order(&turned([1, 2, 3]), &told[..4]).unwrap_err().to_string();
        assert!(fewer.contains("+x, -x, +y, -y, +z, -z") && fewer.contains("told +x, -x, +y, -y"), "{fewer}");
        // Shown in another order than told: no turn of the chip makes that.
        let confused = check_order(&turned([1, 2, 3]), &[0, 2, 1, 3, 4, 5]).unwrap_err();
        assert!(matches!(confused, CalibrationError::Order { .. }), "{confused}");
    }

    #[test]
    fn missing_faces_are_named() {
        let error = fit(&poses(&TILTED[..4]), G, "").unwrap_err().to_string();
        assert!(error.contains("no pose was found with +z, -z up") && error.contains("found 4 poses"), "{error}");
        let error = fit(&[], G, "").unwrap_err().to_string();
        assert!(error.contains("+x, -x, +y, -y, +z, -z"), "{error}");
    }
}
