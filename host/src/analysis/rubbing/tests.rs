use super::*;
use core::f64::consts::PI;

const R: f64 = 0.0625;
const SETUP: RubbingSetup = RubbingSetup { pad_radius_m: R, section_m: None };

/// A straight run at a steady pace, ten points a second.
fn run(from: (f64, f64), to: (f64, f64), mps: f64, start_s: f64, pad_mps: Option<f64>) -> Vec<TrackPoint> {
    let seconds = (to.0 - from.0).hypot(to.1 - from.1) / mps;
    let n = (seconds * 10.0).ceil() as usize;
    (0..=n)
        .map(|i| {
            let part = i as f64 / n as f64;
            TrackPoint {
                t_s: start_s + part * seconds,
                x_m: from.0 + part * (to.0 - from.0),
                y_m: from.1 + part * (to.1 - from.1),
                pad_speed_mps: pad_mps,
            }
        })
        .collect()
}

fn at(map: &RubbingMap, x: f64, y: f64) -> usize {
    let column = ((x - map.origin_m.0) / map.cell_m).round() as usize;
    let row = ((y - map.origin_m.1) / map.cell_m).round() as usize;
    row * map.nx + column
}

#[test]
fn a_straight_stroke_leaves_the_chord_profile() {
    let (v, pad) = (0.025, 3.4);
    let track = run((-0.2, 0.0), (0.2, 0.0), v, 0.0, Some(pad));
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    let mut worst = 0f64;
    for row in 0..map.ny {
        let y = map.origin_m.1 + row as f64 * map.cell_m;
        let cell = row * map.nx + map.nx / 2;
        // Closed form: the chord of the disc at y, over the pace.
        let want = 2.0 * (R * R - y * y).max(0.0).sqrt() / v;
        worst = worst.max((map.dwell_s[cell] - want).abs());
        worst = worst.max((map.distance_m.as_ref().unwrap()[cell] - pad * want).abs());
    }
    // Exact but for rounding: 7e-14 measured.
    assert!(worst < 2e-13, "worst {worst:.1e}");
}

#[test]
fn two_strokes_one_radius_apart_add_up() {
    let mut track = run((-0.2, -R / 2.0), (0.2, -R / 2.0), 0.02, 0.0, Some(1.0));
    track.extend(run((0.2, R / 2.0), (-0.2, R / 2.0), 0.02, 100.0, Some(1.0)));
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    for row in 0..map.ny {
        let y = map.origin_m.1 + row as f64 * map.cell_m;
        let chord = |c: f64| 2.0 * (R * R - (y - c) * (y - c)).max(0.0).sqrt() / 0.02;
        let got = map.dwell_s[row * map.nx + map.nx / 2];
        assert!((got - chord(-R / 2.0) - chord(R / 2.0)).abs() < 1e-12, "y {y}: {got}");
    }
}

#[test]
fn maps_laid_on_top_of_each_other_are_the_map_of_all_tracks() {
    let mut one = run((-0.2, -0.1), (0.17, 0.03), 0.05, 0.0, Some(2.0));
    one[40..44].iter_mut().for_each(|point| point.pad_speed_mps = None);
    let two = run((0.31, -0.02), (-0.1, 0.28), 0.03, 50.0, Some(3.0));
    for section_m in [None, Some((0.5, 0.4))] {
        let setup = RubbingSetup { section_m, ..SETUP };
        let map = |tracks: &[&[TrackPoint]]| RubbingMap::of(tracks, &setup).unwrap();
        let (a, b, both) = (map(&[&one]), map(&[&two]), map(&[&one, &two]));
        let sum = RubbingMap::stack(&[&a, &b]).unwrap();
        assert_eq!((sum.nx, sum.ny, sum.origin_m), (both.nx, both.ny, both.origin_m));
        assert_eq!((sum.worked, sum.filled), (both.worked, both.filled));
        let worst = |x: &[f64], y: &[f64]| x.iter().zip(y).fold(0f64, |m, (a, b)| m.max((a - b).abs()));
        let (left, right) = (sum.distance_m.as_ref().unwrap(), both.distance_m.as_ref().unwrap());
        assert!(worst(left, right) < 1e-12 && worst(&sum.dwell_s, &both.dwell_s) < 1e-12);
        // Only within reach of a step, two cells beyond the face, is the nearest way kept; the same places on both sides.
        assert!(sum.nearest_m.iter().zip(&both.nearest_m).all(|(a, b)| a == b || (a - b).abs() < 1e-12));
        assert_eq!(sum.covered_share(), both.covered_share());
    }
    let blind = RubbingMap::of(&[&run((0.0, 0.0), (0.1, 0.0), 0.05, 0.0, None)], &SETUP).unwrap();
    let seen = RubbingMap::of(&[&one], &SETUP).unwrap();
    assert_eq!(RubbingMap::stack(&[&seen, &blind]).unwrap().distance_m, None);
    assert_eq!(RubbingMap::stack(&[]), None);
    let coarse = RubbingMap { cell_m: 0.01, ..seen.clone() };
    assert_eq!(RubbingMap::stack(&[&seen, &coarse]), None);
}

#[test]
fn a_place_lies_between_its_cells() {
    let map = RubbingMap::of(&[&run((-0.2, 0.0), (0.2, 0.0), 0.025, 0.0, Some(3.0))], &SETUP).unwrap();
    let want = |y: f64| 2.0 * (R * R - y * y).max(0.0).sqrt() / 0.025 * 3.0;
    for y in [0.0, 0.013, -0.03, 0.05] {
        // Between cells of 4 mm the chord's bend costs 0.06 m of 15 at worst here.
        assert!((map.at(0.0137, y) - want(y)).abs() < 0.06, "{} against {}", map.at(0.0137, y), want(y));
    }
    assert_eq!(map.at(9.0, 0.0), 0.0);
    assert_eq!(map.at(f64::NAN, 0.0), 0.0);
}

#[test]
fn the_area_integral_is_face_area_times_time_and_speed() {
    let mut track = run((-0.2, -0.1), (0.17, 0.03), 0.05, 0.0, Some(2.0));
    track.extend(run((0.17, 0.03), (-0.1, 0.08), 0.03, track.last().unwrap().t_s, Some(2.0)));
    let seconds = track.last().unwrap().t_s - track[0].t_s;
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    let area = map.cell_m * map.cell_m;
    let dwell = map.dwell_s.iter().sum::<f64>() * area / (PI * R * R * seconds);
    let rubbing = map.distance_m.as_ref().unwrap().iter().sum::<f64>() * area / (PI * R * R * seconds * 2.0);
    // The cells' own error: 2e-4 measured.
    assert!((dwell - 1.0).abs() < 5e-4, "{dwell}");
    assert!((rubbing - dwell).abs() < 1e-12);
}

#[test]
fn pace_does_not_show_up_as_steps() {
    // At 0.5 m/s and ten points a second the centre jumps by most of a radius; the profile must stay flat along the way.
    let track = run((-0.5, 0.0), (0.5, 0.0), 0.5, 0.0, None);
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    let middle: Vec<f64> = (-60..60).map(|i| map.dwell_s[at(&map, f64::from(i) * 0.005, 0.0)]).collect();
    let spread = middle.iter().fold(0f64, |m, v| m.max((v - middle[0]).abs()));
    assert!(spread < 1e-12, "{spread:.1e}");
    assert!(map.distance_m.is_none(), "no pad speed, no rubbing distance");
}

#[test]
fn a_moment_without_a_pad_speed_does_not_look_thin() {
    // Three seconds of a minute, at 20 mm/s: 60 mm of the way.
    let mut track = run((-0.6, 0.0), (0.6, 0.0), 0.02, 0.0, Some(3.0));
    track.iter_mut().filter(|p| (30.0..33.0).contains(&p.t_s)).for_each(|p| p.pad_speed_mps = None);
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    for (distance_m, dwell_s) in map.distance_m.as_ref().unwrap().iter().zip(&map.dwell_s) {
        assert!((distance_m - 3.0 * dwell_s).abs() < 1e-9, "{distance_m} m in {dwell_s} s");
    }
    // The mean is that over time: a third of it at 2 m/s, the rest at 5 m/s.
    track.iter_mut().for_each(|p| p.pad_speed_mps = p.pad_speed_mps.map(|_| if p.t_s < 19.0 { 2.0 } else { 5.0 }));
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    let within = at(&map, 0.03, 0.0);
    let speed_mps = map.distance_m.as_ref().unwrap()[within] / map.dwell_s[within];
    // 58 mm of the pad's 125 at 4 m/s, the others at 5 m/s.
    assert!((speed_mps - (5.0 - 0.058 / 0.125)).abs() < 0.01, "{speed_mps}");
    // A pass of which it was never known has no rubbing distance, however short it is.
    let seen = run((-0.6, 0.0), (0.6, 0.0), 0.02, 0.0, Some(3.0));
    let blind = run((0.0, 0.1), (0.01, 0.1), 0.02, 90.0, None);
    assert_eq!(RubbingMap::of(&[&seen, &blind], &SETUP).unwrap().distance_m, None);
}

#[test]
fn a_resting_pad_is_a_disc() {
    let track: Vec<TrackPoint> =
        (0..=20).map(|i| TrackPoint { t_s: f64::from(i) / 10.0, x_m: 0.0, y_m: 0.0, pad_speed_mps: None }).collect();
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    assert!((map.dwell_s[at(&map, 0.0, 0.0)] - 2.0).abs() < 1e-12);
    assert!((map.dwell_s[at(&map, 0.9 * R, 0.0)] - 2.0).abs() < 1e-12);
    assert_eq!(map.dwell_s[at(&map, 0.8 * R, 0.8 * R)], 0.0);
}

#[test]
fn covered_share_is_the_stadium_over_the_section() {
    let section = RubbingSetup { pad_radius_m: R, section_m: Some((0.5, 0.5)) };
    let track = run((-0.15, 0.0), (0.15, 0.0), 0.03, 0.0, Some(1.0));
    let map = RubbingMap::of(&[&track], &section).unwrap();
    let want = (0.3 * 2.0 * R + PI * R * R) / 0.25;
    let got = map.covered_share().unwrap();
    assert!((got - want).abs() < 2e-3, "{got} against {want}");
    assert_eq!(RubbingMap::of(&[&track], &SETUP).unwrap().covered_share(), None);
}

#[test]
fn close_strokes_are_more_even_than_wide_ones() {
    let pass = |pitch: f64| {
        let mut track = Vec::new();
        for i in 0..=(0.4 / pitch) as i32 {
            let (y, side) = (-0.2 + f64::from(i) * pitch, if i % 2 == 0 { 1.0 } else { -1.0 });
            track.extend(run((-0.25 * side, y), (0.25 * side, y), 0.05, f64::from(i) * 20.0, Some(3.0)));
        }
        RubbingMap::of(&[&track], &SETUP).unwrap().unevenness().unwrap()
    };
    let (close, half, apart) = (pass(R / 2.0), pass(R), pass(2.0 * R));
    assert!(close < half && half < apart, "{close:.3} {half:.3} {apart:.3}");
    // Strokes a full width apart over an endless area: chords 2·sqrt(R²-y²), mean πR/2, mean square 8R²/3, so the
    // coefficient of variation is sqrt(32/(3π²) - 1) = 0.284; ends and borders of this small area add to it.
    assert!(apart > 0.28, "{apart:.3}");
}

#[test]
fn a_taped_section_is_as_even_and_rubbed_as_one_whose_size_nobody_told() {
    // No border on a row of cells.
    let track = run((-0.151, 0.101), (0.149, 0.131), 0.03, 0.0, Some(1.0));
    let map = |section_m| RubbingMap::of(&[&track], &RubbingSetup { section_m, ..SETUP }).unwrap();
    let (taped, untaped) = (map(Some((0.5, 0.5))), map(None));
    let close = |a: Option<f64>, b: Option<f64>| (a.unwrap() / b.unwrap() - 1.0).abs() < 1e-9;
    assert!(close(taped.mean(), untaped.mean()) && close(taped.unevenness(), untaped.unevenness()));
    assert!(taped.covered_share().is_some_and(|share| share < 0.3) && untaped.covered_share().is_none());
}

#[test]
fn zones_tell_where_it_is_thin() {
    let section = RubbingSetup { pad_radius_m: R, section_m: Some((0.4, 0.4)) };
    let track = run((-0.15, 0.13), (0.15, 0.13), 0.03, 0.0, Some(1.0));
    let zones = RubbingMap::of(&[&track], &section).unwrap().zones().unwrap();
    assert!(zones.iter().filter(|z| z.row == 2).all(|z| z.mean > 1.0));
    assert!(zones.iter().filter(|z| z.row == 0).all(|z| z.mean == 0.0));
}

#[test]
fn holes_and_nonsense_are_left_out() {
    let mut track = run((-0.2, 0.0), (0.0, 0.0), 0.05, 0.0, Some(1.0));
    track.push(TrackPoint { t_s: 4.05, x_m: f64::NAN, y_m: 0.0, pad_speed_mps: None });
    track.extend(run((0.3, 0.0), (0.5, 0.0), 0.05, 30.0, Some(1.0)));
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    assert_eq!(map.dwell_s[at(&map, 0.15, 0.0)], 0.0, "nothing is known about the way across the hole");
    assert!(RubbingMap::of(&[&track[..1]], &SETUP).is_none());
    assert!(RubbingMap::of(&[&track], &RubbingSetup { pad_radius_m: 0.0, section_m: None }).is_none());
}

#[test]
fn a_runaway_track_costs_resolution_not_memory() {
    let track = run((0.0, 0.0), (40_000.0, 0.0), 1000.0, 0.0, Some(1.0));
    let map = RubbingMap::of(&[&track], &SETUP).unwrap();
    assert!(map.nx * map.ny < 1_000_000, "{} x {}", map.nx, map.ny);
}
