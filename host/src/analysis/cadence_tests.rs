use super::super::chance::too_many;
use super::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Acceleration, m/s², and turn rate, rad/s, of a moment.
type Motion = (Vec3, Vec3);

const UP: Vec3 = [0.0, 0.0, GRAVITY];

fn play(seconds: f64, motor_on: impl Fn(f64) -> bool, mut motion: impl FnMut(f64) -> Option<Motion>) -> Vec<ToAndFro> {
    let mut cadence = Cadence::default();
    for k in 0..(seconds / STEP_S) as i64 {
        let (accel, gyro) = motion(k as f64 * STEP_S).unzip();
        cadence.step(k, accel, gyro, &motor_on);
    }
    cadence.end(&motor_on);
    core::iter::from_fn(|| cadence.pop_before(f64::INFINITY)).collect()
}

/// Acceleration along `way` of a hand whose place is `Σ travel/2·sin(2π·multiple·cycles + turn)`; `cycles` is even in time.
fn rub(way: Vec3, hz: f64, t: f64, parts: &[(f64, f64, f64)]) -> Vec3 {
    let a: f64 = parts
        .iter()
        .map(|(multiple, travel_m, turn)| {
            let w = TAU * hz * multiple;
            -0.5 * travel_m * w * w * (w * t + turn).sin()
        })
        .sum();
    core::array::from_fn(|i| UP[i] + a * way[i])
}

fn direction(rng: &mut ChaCha8Rng) -> Vec3 {
    let v = gauss3(rng, 1.0);
    v.map(|x| x / super::super::attitude::norm(v))
}

fn gauss3(rng: &mut ChaCha8Rng, sd: f64) -> Vec3 {
    core::array::from_fn(|_| {
        let g: f64 = StandardNormal.sample(rng);
        sd * g
    })
}

#[test]
fn an_even_rhythm_is_counted_at_every_rate() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let (mut worst, mut held) = (0.0_f64, 0);
    for n in 0..120 {
        let hz = 0.35 * (1.95_f64 / 0.35).powf(f64::from(n) / 119.0);
        let (seconds, way, travel_m) = (rng.random_range(20.0..70.0), direction(&mut rng), rng.random_range(0.06..0.3));
        // Half as much unrhythmic motion as rhythm, with a swing of the wrist along.
        let noise = 0.25 * travel_m * (TAU * hz).powi(2);
        let found = play(
            seconds,
            |_| true,
            |t| {
                let (a, b) = (rub(way, hz, t, &[(1.0, travel_m, 0.3)]), gauss3(&mut rng, noise));
                Some((core::array::from_fn(|i| a[i] + b[i]), [0.3 * (TAU * hz * t).cos(), 0.01, -0.02]))
            },
        );
        assert_eq!(found.len(), 1, "{hz} Hz: {found:?}");
        let error = found[0].rate_hz.value / hz - 1.0;
        worst = worst.max(error.abs());
        held += u32::from((found[0].rate_hz.lo..found[0].rate_hz.hi).contains(&hz));
        assert!(found[0].start_s < 0.2 && found[0].end_s > seconds - 0.2, "{hz} Hz: {found:?}");
        assert!((found[0].cycles - hz * (found[0].end_s - found[0].start_s)).abs() < 1.0, "{hz} Hz: {found:?}");
    }
    println!("worst error {:.2} %, {held} of 120 intervals hold", 100.0 * worst);
    assert!(worst < 0.01, "{worst}");
    // Noise without unevenness: the interval is wider than it need be.
    assert!(held >= 108, "{held}");
}

#[test]
fn a_second_harmonic_stronger_than_the_fundamental_is_not_the_rate() {
    for hz in [0.4, 0.55, 0.8, 0.95] {
        for turn in [0.0, 0.8, 1.6] {
            // Of acceleration the second harmonic has twice the amplitude: the fundamental keeps 20 % of the power.
            let found = play(
                40.0,
                |_| true,
                |t| Some((rub([1.0, 0.0, 0.0], hz, t, &[(1.0, 0.1, 0.0), (2.0, 0.05, turn)]), [0.0; 3])),
            );
            assert_eq!(found.len(), 1, "{hz} Hz, {turn}");
            assert!((found[0].rate_hz.value / hz - 1.0).abs() < 0.01, "{hz} Hz, {turn}: {:?}", found[0].rate_hz);
            // Of the documented limit of 8 % it has 2 %: nobody could say that to is not like fro.
            let alike = play(
                40.0,
                |_| true,
                |t| Some((rub([1.0, 0.0, 0.0], hz, t, &[(1.0, 0.1, 0.0), (2.0, 0.175, turn)]), [0.0; 3])),
            );
            assert!((alike[0].rate_hz.value / hz - 2.0).abs() < 0.02, "{hz} Hz, {turn}: {:?}", alike[0].rate_hz);
        }
    }
}

/// Noise between two rates, along one axis, rms 3 m/s²: sums of sines, as many as the windows can tell apart and more.
fn noise(rng: &mut ChaCha8Rng, band_hz: Range<f64>) -> impl Fn(f64) -> f64 + use<> {
    let parts: Vec<(f64, f64, f64)> = (0..60)
        .map(|_| {
            let [a, b, _] = gauss3(rng, 3.0 / 60.0_f64.sqrt());
            (TAU * rng.random_range(band_hz.clone()), a, b)
        })
        .collect();
    move |t| parts.iter().map(|(w, a, b)| a * (w * t).cos() + b * (w * t).sin()).sum()
}

#[test]
fn noise_is_seldom_a_rhythm() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for (axes, band_hz, chance) in [(1, 0.3..2.0, 0.01), (3, 0.3..2.0, 0.001), (1, 0.3..5.0, 0.001)] {
        let (mut seen, windows) = (0, 6000);
        for _ in 0..windows {
            let each: [_; 3] = core::array::from_fn(|_| noise(&mut rng, band_hz.clone()));
            let window: Vec<Sample> = (0..SPAN)
                .map(|k| core::array::from_fn(|i| if i < axes { each[i](k as f64 * SAMPLE_S) } else { 0.0 }))
                .collect();
            seen += u64::from(rhythm(&window).is_some_and(|r| r.least >= CLEAR));
        }
        println!("{axes} axes, {band_hz:?} Hz: {seen} of {windows} windows");
        assert!(!too_many(seen, windows, chance), "{axes} axes, {band_hz:?} Hz: {seen} of {windows}");
    }
}

#[test]
fn uneven_periods_are_counted_and_the_interval_says_how_uneven() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let (mut held, mut told, mut off) = (0, 0, Vec::new());
    for _ in 0..200 {
        let hz = rng.random_range(0.5..1.5);
        // Each period lasts 5 % more or less; the mean rate of the whole is not exactly `hz`, and what counts is `hz`.
        let mut phase = 0.0;
        let found = play(
            40.0,
            |_| true,
            |_| {
                let g: f64 = StandardNormal.sample(&mut rng);
                phase += hz * STEP_S + 0.05 * (hz * STEP_S).sqrt() * g;
                let w = TAU * hz;
                Some(([UP[0] - 0.05 * w * w * (TAU * phase).sin(), UP[1], UP[2]], [0.0; 3]))
            },
        );
        let [one] = found[..] else { continue };
        told += 1;
        held += u32::from((one.rate_hz.lo..one.rate_hz.hi).contains(&hz));
        if one.end_s - one.start_s > 39.0 {
            off.push((one.cycles - phase).abs());
        }
    }
    off.sort_by(f64::total_cmp);
    println!("{told} of 200 told, {held} intervals hold, count off by {:.2} in the median", off[off.len() / 2]);
    assert!(told >= 190, "{told}");
    assert!((0.85..=0.97).contains(&(f64::from(held) / f64::from(told))), "{held} of {told}");
    assert!(off[off.len() * 9 / 10] < 1.0, "{off:?}");
}

#[test]
fn what_is_no_quick_travel_stays_blank() {
    let x = |travel_m: f64, hz: f64| {
        play(60.0, |_| true, |t| Some((rub([1.0, 0.0, 0.0], hz, t, &[(1.0, travel_m, 0.0)]), [0.0; 3])))
    };
    assert_eq!(x(0.2, 0.2), [], "slow strokes");
    assert_eq!(x(0.1, 2.4), [], "too quick");
    assert_eq!(x(0.1, 3.5), [], "nor at half of its rate");
    assert_eq!(x(0.04, 1.5), [], "a pad that wobbles as it spins");
    assert_eq!(x(0.0, 1.0), [], "rest");
    assert_eq!(x(f64::NAN, 1.0), []);
    assert_eq!(x(f64::INFINITY, 1.0), []);
    // A turn of work: two bursts of the same direction, a second apart, every eight seconds.
    let turns = play(
        120.0,
        |_| true,
        |t| {
            let near = |at: f64| (-0.5 * ((t.rem_euclid(8.0) - at) / 0.1).powi(2)).exp();
            Some(([3.0 * (near(3.0) + near(4.0)), 0.0, GRAVITY], [0.0; 3]))
        },
    );
    assert_eq!(turns, []);
}

#[test]
fn nothing_is_counted_across_holes_or_with_the_motor_off() {
    let rubbing = |t: f64| Some((rub([0.0, 1.0, 0.0], 1.0, t, &[(1.0, 0.1, 0.0)]), [0.0; 3]));
    let found = play(70.0, |t| !(30.0..40.0).contains(&t), rubbing);
    let ends: Vec<(f64, f64)> = found.iter().map(|s| (s.start_s.round(), s.end_s.round())).collect();
    assert_eq!(ends, [(0.0, 30.0), (40.0, 70.0)]);
    assert_eq!(found.iter().map(|s| s.cycles.round()).sum::<f64>(), 60.0);
    let found = play(70.0, |_| true, |t| rubbing(t).filter(|_| !(30.0..31.0).contains(&t)));
    let ends: Vec<(f64, f64)> = found.iter().map(|s| (s.start_s.round(), s.end_s.round())).collect();
    assert_eq!(ends, [(0.0, 30.0), (31.0, 70.0)]);
    assert_eq!(play(70.0, |_| false, rubbing), []);
}

#[test]
fn where_strokes_were_found_nothing_is_said() {
    // To and fro takes 2.5 s: a stroke of 1.25 s is one way, of 2.5 s it is a mistake, of 8 s it is ordinary work.
    for (stroke_s, count, said) in [(1.25, 11, 1), (1.25, 13, 0), (2.5, 11, 1), (7.0, 2, 1), (8.0, 2, 0)] {
        let mut cadence = Cadence::default();
        for k in 0..1500 {
            let accel = rub([1.0, 0.0, 0.0], 0.4, k as f64 * STEP_S, &[(1.0, 0.3, 0.0)]);
            cadence.step(k, Some(accel), Some([0.0; 3]), &|_| true);
        }
        for n in 0..count {
            let start_s = 2.0 + f64::from(n) * stroke_s;
            cadence.stroke(start_s, start_s + stroke_s);
        }
        cadence.end(&|_| true);
        assert!(cadence.pop_before(20.0).is_none(), "its strokes are not known yet");
        assert_eq!(core::iter::from_fn(|| cadence.pop_before(31.0)).count(), said);
    }
}

#[test]
fn a_long_stretch_is_handed_out_in_parts() {
    let found = play(2000.0, |_| true, |t| Some((rub([1.0, 0.0, 0.0], 0.7, t, &[(1.0, 0.1, 0.0)]), [0.0; 3])));
    assert_eq!(found.len(), 3);
    assert!(found.windows(2).all(|w| (w[1].start_s - w[0].end_s).abs() < 0.01), "{found:?}");
    let cycles: f64 = found.iter().map(|s| s.cycles).sum();
    println!("{cycles:.1} cycles of 1400");
    assert!((cycles / 1400.0 - 1.0).abs() < PEAK_ERROR, "{cycles}");
}
