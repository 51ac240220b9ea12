use super::*;
use crate::analysis::reading::Run;
use crate::analysis::{Pass, SeriesRow, Stroke, ToAndFro};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

// Whole microseconds between samples, so that a sample's time is the same number however runs are cut.
const RATE_HZ: f64 = 1e6 / 600.0;
const GYRO_HZ: f64 = 1e6 / 4800.0;

/// A short day: motor on at 2 s, two passes at right angles, motor off two seconds after.
struct Day {
    accel: Vec<[f32; 3]>,
    gyro: Vec<[f32; 3]>,
    strokes: Vec<(f64, f64)>,
    passes: Vec<(f64, f64)>,
    speed: f64,
}

fn day(seed: u64) -> Day {
    day_with_rest(seed, 0.0, true)
}

/// The same with a rest of the arm between the two passes, the motor running on, or standing while the machine is once set down.
fn day_with_rest(seed: u64, rest_s: f64, motor_runs_on: bool) -> Day {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let speed = rng.random_range(0.025..0.07);
    let length = rng.random_range(0.35..0.55);
    let sideways = rng.random_range(0.03..0.07);
    let (mut events, mut strokes, mut passes) = (Vec::<(f64, [f64; 2])>::new(), Vec::new(), Vec::new());
    let (mut t, mut way) = (4.0, 1.0);
    for pass in 0..2 {
        let turned = |v: [f64; 2]| if pass == 0 { v } else { [v[1], v[0]] };
        let start = t;
        for n in 0..4 {
            let time = length / speed * rng.random_range(0.93..1.07);
            let aside = |there: bool| if there { sideways } else { 0.0 };
            events.push((t, turned([way * speed, -aside(n > 0)])));
            events.push((t + time, turned([-way * speed, aside(n < 3)])));
            strokes.push((t, t + time));
            t += time + 1.0;
            way = -way;
        }
        passes.push((start, t - 1.0));
        t += 1.0;
        if pass == 0 {
            t += rest_s;
        }
    }
    let rest_ends_s = passes[1].0 - 2.0;
    let stands = |t: f64| !motor_runs_on && t > passes[0].1 + 1.0 && t < rest_ends_s;
    let off = t + 1.0;
    let end = off + 3.0;
    let gauss = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
    let width = 0.1_f64;
    let tau = core::f64::consts::TAU;
    // A hand that tips the tool by half a degree, slowly.
    let tip = |t: f64| [0.009 * (tau * 0.31 * t).sin(), 0.008 * (tau * 0.23 * t + 1.0).sin()];
    let tip_rate =
        |t: f64| [0.009 * tau * 0.31 * (tau * 0.31 * t).cos(), 0.008 * tau * 0.23 * (tau * 0.23 * t + 1.0).cos()];
    let accel = (0..(end * RATE_HZ) as usize)
        .map(|i| {
            let t = i as f64 / RATE_HZ;
            let mut a = [0.0, 0.0];
            let near = events.partition_point(|e| e.0 < t - 6.0 * width);
            for (at, step) in events[near..].iter().take_while(|e| e.0 < t + 6.0 * width) {
                let g = (-0.5 * ((t - at) / width).powi(2)).exp() / (width * tau.sqrt());
                a[0] += step[0] * g;
                a[1] += step[1] * g;
            }
            let on = if t > 2.0 && t < off && !stands(t) { 12.0 } else { 0.0 };
            let (s, c) = (tau * 63.0 * t).sin_cos();
            let set_down = if stands(t) && (t - rest_ends_s + 25.0).abs() < 0.1 { 8.0 } else { 0.0 };
            let [x, y] = tip(t);
            [
                (a[0] - 9.81 * y.sin() + on * c + 0.05 * gauss(&mut rng) + 0.1) as f32,
                (a[1] + 9.81 * x.sin() + 0.8 * on * s + 0.05 * gauss(&mut rng) - 0.1) as f32,
                (9.81 * x.cos() * y.cos() + 0.3 * on * c + set_down * s + 0.05 * gauss(&mut rng)) as f32,
            ]
        })
        .collect();
    let gyro = (0..(end * GYRO_HZ) as usize)
        .map(|i| {
            let [x, y] = tip_rate(i as f64 / GYRO_HZ);
            [x + 0.01, y - 0.012, 0.005].map(|w| (w + 0.0007 * gauss(&mut rng)) as f32)
        })
        .collect();
    Day { accel, gyro, strokes, passes, speed }
}

/// Plays a day in runs of the given lengths.
fn play(day: &Day, with_gyro: bool, accel_run: usize, gyro_run: usize) -> (Vec<LiveTick>, Vec<Finding>) {
    play_broken(day, with_gyro, accel_run, gyro_run, f64::INFINITY)
}

/// The same; the stream breaks at a time, as though a sample were lost there.
fn play_broken(
    day: &Day,
    with_gyro: bool,
    accel_run: usize,
    gyro_run: usize,
    broken_s: f64,
) -> (Vec<LiveTick>, Vec<Finding>) {
    let mut pipeline = Pipeline::new(Setup::default());
    let (da, dg) = (600.0, 4800.0);
    let run = |first: usize, spacing_us: f64, samples| Run {
        first_us: first as f64 * spacing_us,
        spacing_us,
        lost_before: 0,
        clipped: 0,
        samples,
    };
    let (mut g, mut broken) = (0, false);
    let (mut live, mut findings) = (Vec::new(), Vec::new());
    for (n, samples) in day.accel.chunks(accel_run).enumerate() {
        let from_us = (n * accel_run) as f64 * da;
        if from_us > broken_s * 1e6 && !std::mem::replace(&mut broken, true) {
            pipeline.push(Reading::Break { from_us, to_us: from_us });
        }
        pipeline.push(Reading::Accel(run(n * accel_run, da, samples)));
        let until = ((n + 1) * accel_run) as f64 * da;
        while with_gyro && g < day.gyro.len() && (g + gyro_run) as f64 * dg < until {
            let to = (g + gyro_run).min(day.gyro.len());
            pipeline.push(Reading::Gyro(run(g, dg, &day.gyro[g..to])));
            g = to;
        }
        live.extend(core::iter::from_fn(|| pipeline.pop_live()));
        findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
    }
    if with_gyro {
        pipeline.push(Reading::Gyro(run(g, dg, &day.gyro[g..])));
    }
    pipeline.finish();
    live.extend(core::iter::from_fn(|| pipeline.pop_live()));
    findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
    (live, findings)
}

#[test]
fn two_passes_at_right_angles_are_found_with_their_strokes() {
    for seed in 0..6 {
        found_with_their_strokes(seed, &day(seed));
    }
}

#[test]
fn a_block_lost_every_few_seconds_changes_nothing_of_note() {
    for seed in 0..6 {
        let mut day = day(seed);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut lose = |samples: &mut [[f32; 3]], block: usize, rate_hz: f64| {
            let mut at = 0;
            loop {
                at += (rng.random_range(1.5..4.5) * rate_hz) as usize;
                let Some(lost) = samples.get_mut(at..at + block) else { break };
                lost.fill([f32::NAN; 3]);
            }
        };
        lose(&mut day.accel, 72, RATE_HZ);
        lose(&mut day.gyro, 18, GYRO_HZ);
        found_with_their_strokes(seed, &day);
    }
}

#[test]
fn work_called_off_in_the_next_pass_leaves_the_one_before_as_it_was() {
    for seed in 0..6 {
        let whole = day(seed);
        // The second pass's first stroke: under way at the end, or over.
        let (start_s, end_s) = whole.strokes[4];
        let under_way = [0.3, 0.6, 0.8, 0.95].map(|share| (start_s + share * (end_s - start_s), vec![4]));
        for (cut_s, expected) in under_way.into_iter().chain([(end_s + 3.0, vec![4, 1])]) {
            let mut day = day(seed);
            day.accel.truncate((cut_s * RATE_HZ) as usize);
            day.gyro.truncate((cut_s * GYRO_HZ) as usize);
            let (_, findings) = play(&day, true, 32, 8);
            let strokes: Vec<u32> =
                findings.iter().filter_map(|f| if let Finding::Pass(p) = f { Some(p.strokes) } else { None }).collect();
            assert_eq!(strokes, expected, "seed {seed}, stroke from {start_s} to {end_s}, cut at {cut_s}");
        }
    }
}

fn found_with_their_strokes(seed: u64, day: &Day) {
    let (_, findings) = play(day, true, 32, 8);
    let strokes: Vec<Stroke> =
        findings.iter().filter_map(|f| if let Finding::Stroke(s) = f { Some(*s) } else { None }).collect();
    let passes: Vec<&Pass> =
        findings.iter().filter_map(|f| if let Finding::Pass(p) = f { Some(&**p) } else { None }).collect();
    assert_eq!(strokes.len(), day.strokes.len(), "seed {seed}");
    for (found, truth) in strokes.iter().zip(&day.strokes) {
        assert!((found.start_s - truth.0).abs() < 0.1 && (found.end_s - truth.1).abs() < 0.1, "seed {seed}");
        let i = found.traverse_mps.expect("estimated");
        assert!((i.value / day.speed - 1.0).abs() < 0.15, "seed {seed}: {} for {}", i.value, day.speed);
    }
    assert_eq!(passes.len(), 2, "seed {seed}");
    for (found, truth) in passes.iter().zip(&day.passes) {
        assert!((found.start_s - truth.0).abs() < 0.1 && (found.end_s - truth.1).abs() < 0.1, "seed {seed}");
        assert_eq!((found.strokes, found.section), (4, 1));
        let wide = found.track.iter().map(|p| p.x_m.abs().max(p.y_m.abs())).fold(0.0, f64::max);
        assert!((0.1..0.4).contains(&wide), "seed {seed}: the track reaches {wide} m from the middle");
    }
    let across = passes[1].direction_deg.expect("known").abs();
    assert!((across - 90.0).abs() < 12.0, "seed {seed}: {across}°");
}

/// Two passes worked in one go: the count of the pass falls in one tick.
#[test]
fn every_stroke_is_told_of_once_the_first_of_a_later_pass_too() {
    let mut falls = 0;
    for seed in 0..6 {
        let day = day(seed);
        let (live, _) = play(&day, true, 32, 8);
        let told: Vec<&LiveTick> = live.iter().filter(|tick| tick.stroke_ended).collect();
        assert_eq!(told.len(), day.strokes.len(), "seed {seed}: {:?}", told.iter().map(|t| t.t_s).collect::<Vec<_>>());
        for (n, (tick, truth)) in told.iter().zip(&day.strokes).enumerate() {
            assert!((truth.1..truth.1 + 8.0).contains(&tick.t_s), "seed {seed}: {} s for {} s", tick.t_s, truth.1);
            assert!(tick.last_stroke_mps.is_some());
            // That the fifth belongs to another pass may be seen with the sixth only.
            let passes = 1 + u32::from(n > 4)..=1 + u32::from(n > 3);
            assert!(tick.strokes_in_all == n as u32 + 1 && passes.contains(&tick.passes), "seed {seed}: {tick:?}");
        }
        falls += live.windows(2).filter(|pair| pair[1].stroke_ended && pair[1].strokes < pair[0].strokes).count();
    }
    assert_eq!(falls, 6);
    // With the first pass settled before the second begins.
    let (live, _) = play(&day_with_rest(2, 40.0, false), true, 32, 8);
    let told: Vec<u32> = live.iter().filter(|tick| tick.stroke_ended).map(|tick| tick.strokes_in_all).collect();
    assert_eq!(told, [1, 2, 3, 4, 5, 6, 7, 8]);
    assert!(live.windows(2).all(|pair| pair[1].strokes_in_all >= pair[0].strokes_in_all));
    assert!(live.iter().any(|tick| (tick.strokes, tick.strokes_in_all, tick.passes) == (0, 4, 1)), "settled");
}

#[test]
fn after_a_break_nobody_knows_how_a_pass_lies_to_those_before() {
    let day = day_with_rest(0, 8.0, true);
    let of = |broken_s: f64| -> Vec<Pass> {
        let (_, findings) = play_broken(&day, true, 32, 8, broken_s);
        findings.into_iter().filter_map(|f| if let Finding::Pass(p) = f { Some(*p) } else { None }).collect()
    };
    let lost = |pass: &Pass| pass.direction_deg.is_none() && pass.track.is_empty() && pass.track_sd_m.is_none();
    let between = of(day.passes[0].1 + 3.0);
    assert_eq!(between.iter().map(|p| (p.section, p.strokes)).collect::<Vec<_>>(), [(1, 4); 2]);
    assert!(!lost(&between[0]) && lost(&between[1]));
    // Before the first pass it does not matter.
    let before = of(3.0);
    assert!(before.len() == 2 && before.iter().all(|p| !lost(p)));
}

/// A start taken anew from paint that is warm by now would hide its heat.
#[test]
fn a_section_ends_when_the_motor_has_stood_for_a_minute_and_not_while_it_runs() {
    for (rest_s, motor_runs_on, sections) in [(80.0, true, [1, 1]), (80.0, false, [1, 2]), (40.0, false, [1, 1])] {
        let (_, findings) = play(&day_with_rest(2, rest_s, motor_runs_on), true, 32, 8);
        let found: Vec<u32> =
            findings.iter().filter_map(|f| if let Finding::Pass(p) = f { Some(p.section) } else { None }).collect();
        assert_eq!(found, sections, "{rest_s} s, motor runs on: {motor_runs_on}");
    }
}

#[test]
fn portions_and_interleaving_change_nothing() {
    let day = day(3);
    let (live, findings) = play(&day, true, 32, 8);
    for (accel_run, gyro_run) in [(1, 1), (500, 32), (33, 100)] {
        let (l, f) = play(&day, true, accel_run, gyro_run);
        assert_eq!(f.len(), findings.len());
        for (a, b) in f.iter().zip(&findings) {
            assert_eq!(a, b, "runs of {accel_run} and {gyro_run}");
        }
        assert_eq!(l.len(), live.len());
        for (a, b) in l.iter().zip(&live) {
            // How long ago the last sample came depends on what has come.
            assert_eq!(LiveTick { silent_s: 0.0, ..*a }, LiveTick { silent_s: 0.0, ..*b });
        }
    }
}

#[test]
fn without_a_gyro_the_arm_stays_blank_and_the_orbit_does_not() {
    let day = day(1);
    let (live, findings) = play(&day, false, 32, 8);
    let rows: Vec<SeriesRow> =
        findings.iter().filter_map(|f| if let Finding::Row(r) = f { Some(*r) } else { None }).collect();
    assert_eq!(rows.len(), findings.len(), "no strokes, no passes");
    assert!(rows[60..200].iter().all(|r| r.orbit_opm.is_some_and(|o| (o.value / 3780.0 - 1.0).abs() < 1e-3)));
    assert!(live.iter().all(|l| l.traverse_mps.is_none()));
}

#[test]
fn every_tenth_of_a_second_gets_one_row_in_order() {
    let (live, findings) = play(&day(2), true, 32, 8);
    let times: Vec<f64> =
        findings.iter().filter_map(|f| if let Finding::Row(r) = f { Some(r.t_s) } else { None }).collect();
    assert_eq!(times.len(), live.len());
    for (i, t) in times.iter().enumerate() {
        assert!((t - 0.1 * i as f64).abs() < 1e-6, "row {i} at {t}");
    }
}

#[test]
fn outside_data_never_panics() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for _ in 0..60 {
        let mut pipeline = Pipeline::new(Setup { stroke_length_m: Some(f64::NAN), ..Setup::default() });
        let mut t_us: f64 = 0.0;
        for _ in 0..60 {
            let wild = [0.0, 1.0, -1.0, 9.81, 1e30, f32::NAN, f32::INFINITY, f32::MIN];
            let samples: Vec<[f32; 3]> = (0..rng.random_range(0..400))
                .map(|_| core::array::from_fn(|_| wild[rng.random_range(0..wild.len())]))
                .collect();
            let spacing_us = [600.0, 4800.0, 0.0, -5.0, f64::NAN, 20_000.0, 1e9][rng.random_range(0..7)];
            let run = Run { first_us: t_us, spacing_us, lost_before: 3, clipped: 1, samples: &samples };
            pipeline.push(match rng.random_range(0..8) {
                0..3 => Reading::Accel(run),
                3..6 => Reading::Gyro(run),
                6 => Reading::Mark { t_us },
                _ => Reading::Break { from_us: t_us, to_us: t_us + 1e6 },
            });
            t_us += [1e3, 2e5, 1e6, -1e6, 1e10, f64::NAN][rng.random_range(0..6)];
            if !t_us.is_finite() {
                t_us = 0.0;
            }
        }
        pipeline.finish();
    }
}

/// Rubbing to and fro, 10 cm, at `hz`, in the streams' own spacing; the motor runs from 5 to 45 s of 50 s.
fn rubbing(hz: f64, spacing_us: [f64; 2], run: usize) -> Vec<Finding> {
    let tau = core::f64::consts::TAU;
    let mut pipeline = Pipeline::new(Setup::default());
    let mut findings = Vec::new();
    let streams = spacing_us.map(|us| (50e6 / us) as usize);
    let mut next = [0; 2];
    while next[0] < streams[0] || next[1] < streams[1] {
        // Whichever stream is behind.
        let which = usize::from(next[0] as f64 * spacing_us[0] > next[1] as f64 * spacing_us[1]);
        let (first, to) = (next[which], (next[which] + run).min(streams[which]));
        next[which] = to;
        let samples: Vec<[f32; 3]> = (first..to)
            .map(|i| {
                let t = i as f64 * spacing_us[which] * 1e-6;
                if which == 1 {
                    return [0.01, -0.01, (0.1 * (tau * hz * t).cos()) as f32];
                }
                let on = if (5.0..45.0).contains(&t) { 12.0 } else { 0.0 };
                let (s, c) = (tau * 63.0 * t).sin_cos();
                let w = tau * hz;
                [(on * c - 0.05 * w * w * (w * t).sin()) as f32, (0.8 * on * s) as f32, 9.81]
            })
            .collect();
        let run = Run {
            first_us: first as f64 * spacing_us[which],
            spacing_us: spacing_us[which],
            lost_before: 0,
            clipped: 0,
            samples: &samples,
        };
        pipeline.push(if which == 0 { Reading::Accel(run) } else { Reading::Gyro(run) });
        while pipeline.pop_live().is_some() {}
        findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
    }
    pipeline.finish();
    findings.extend(core::iter::from_fn(|| pipeline.pop_finding()));
    findings
}

fn quick(findings: &[Finding]) -> Vec<ToAndFro> {
    findings.iter().filter_map(|f| if let Finding::ToAndFro(s) = f { Some(*s) } else { None }).collect()
}

#[test]
fn rubbing_too_quick_for_strokes_is_counted_while_the_motor_runs() {
    // Quicker than that the arm alone shakes the machine as much as a motor does.
    for hz in [0.5, 0.8, 1.1] {
        let findings = rubbing(hz, [600.0, 4800.0], 32);
        assert!(!findings.iter().any(|f| matches!(f, Finding::Pass(_))), "{hz} Hz: no pass is made of whole cycles");
        let found = quick(&findings);
        assert_eq!(found.len(), 1, "{hz} Hz: {found:?}");
        let ToAndFro { start_s, end_s, cycles, rate_hz } = found[0];
        // So long the motor gathers speed and runs down, and its rate is not known.
        assert!((4.8..6.5).contains(&start_s) && (44.0..45.5).contains(&end_s), "{hz} Hz: {start_s} to {end_s} s");
        assert!((rate_hz.lo..rate_hz.hi).contains(&hz) && (cycles - hz * (end_s - start_s)).abs() < 1.0, "{hz} Hz");
        assert_eq!(found, quick(&rubbing(hz, [600.0, 4800.0], 500)), "however the streams are cut");
        // Fifty samples a second do not tell whether a motor runs. Some loggers send them in runs of several seconds.
        for run in [32, 256] {
            let slow = quick(&rubbing(hz, [20_000.0; 2], run));
            assert!(slow.len() == 1 && slow[0].end_s - slow[0].start_s > 49.0, "{hz} Hz, runs of {run}: {slow:?}");
        }
    }
}

#[test]
fn strokes_are_no_quick_to_and_fro() {
    for seed in 0..6 {
        assert_eq!(quick(&play(&day(seed), true, 32, 8).1), [], "seed {seed}");
    }
}
