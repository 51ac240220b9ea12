use super::super::turns::Event;
use super::group::PAUSE_S;
use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Strokes of `speed` to and fro along the direction `angle`, joined by sideways steps of `side` m/s whose bursts come out
/// askew, oppositely in each pair; each burst is measured with noise.
fn pass(rng: &mut ChaCha8Rng, count: usize, speed: f64, side: f64, angle: f64) -> Vec<RawStroke> {
    let mut gauss = |sd: f64| -> f64 {
        let g: f64 = StandardNormal.sample(rng);
        sd * g
    };
    let (s, c) = angle.sin_cos();
    let mut event = |t_s: f64, x: f64, y: f64| {
        let (x, y) = (x + gauss(0.004), y + gauss(0.004));
        Event { t_s, step: [c * x - s * y, s * x + c * y], blur: 0.0 }
    };
    let mut spoil = 0.0;
    (0..count)
        .map(|n| {
            let (way, t) = (if n % 2 == 0 { 1.0 } else { -1.0 }, 10.0 + 12.0 * n as f64);
            let (first, last) = (n == 0, n + 1 == count);
            let start = event(t, way * speed - spoil, if first { 0.0 } else { -side });
            spoil = if last { 0.0 } else { 0.3 * side * (n as f64 * 2.3).sin() };
            let end = event(t + 11.2, -way * speed + spoil, if last { 0.0 } else { side });
            RawStroke {
                start,
                end,
                masked: [false; 2],
                supposed: [false; 2],
                by_load: [false; 2],
                joined: !first,
                aside: None,
                moved: None,
                turned: None,
            }
        })
        .collect()
}

#[test]
fn strokes_go_to_and_fro_though_the_sideways_step_is_far_quicker() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for n in 0..200 {
        let angle = 0.031 * f64::from(n);
        let side = if n % 2 == 0 { 0.2 } else { 0.05 };
        let strokes = pass(&mut rng, 3 + n as usize % 5, 0.025, side, angle);
        let passes = preview(&strokes, &[], Known::default());
        assert_eq!(passes.len(), 1, "{n}");
        for (k, s) in passes[0].strokes.iter().enumerate() {
            let way = if k % 2 == 0 { 1.0 } else { -1.0 };
            let along = way * (s.direction[0] * angle.cos() + s.direction[1] * angle.sin());
            assert!(along > 0.8, "pass {n}, stroke {k}: {along}");
        }
    }
}

#[test]
fn a_turn_into_a_stroke_that_is_not_told_says_the_speed_by_half() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let (speed, side) = (0.025, 0.2);
    let mut off = |told: bool| {
        let mut errors: Vec<f64> = (0..200)
            .map(|_| {
                let mut strokes = pass(&mut rng, 3, speed, side, 0.4);
                let third = strokes.pop().expect("three");
                strokes[1].turned = told.then_some(third.start);
                let passes = preview(&strokes, &[], Known::default());
                (passes[0].strokes[1].traverse.interval().value / speed - 1.0).abs()
            })
            .collect();
        errors.sort_by(f64::total_cmp);
        errors[100]
    };
    let (told, untold) = (off(true), off(false));
    assert!(told < 0.1 && told < 0.5 * untold, "median errors {told:.3} and {untold:.3}");
}

#[test]
fn a_told_length_that_the_turns_contradict_is_not_gone_by() {
    let mut rng = ChaCha8Rng::seed_from_u64(13);
    let (speed_mps, length_m) = (0.03, 0.03 * 11.2);
    let mut doubted = |told_m: f64| {
        let known = Known { told_length_m: Some(told_m), ..Known::default() };
        let (mut doubted, mut held) = (0, 0);
        for _ in 0..200 {
            let strokes = pass(&mut rng, 6, speed_mps, 0.05, 0.4);
            let pass = preview(&strokes, &[], known).remove(0);
            let Interval { lo, value, hi } = pass.mean_mps;
            let Some(LengthDoubt { by_turns_m, clear: true }) = pass.length_doubt else {
                // The turns pull a little at each stroke, as ever.
                assert!((value / (told_m / 11.2) - 1.0).abs() < 0.15, "what was told goes: {value}");
                continue;
            };
            let untold = preview(&strokes, &[], Known::default()).remove(0);
            assert_eq!((untold.mean_mps, untold.length_doubt), (pass.mean_mps, None), "as though nothing was told");
            assert!((by_turns_m.value / length_m - 1.0).abs() < 0.3, "{by_turns_m:?}");
            doubted += 1;
            held += u32::from((lo..=hi).contains(&speed_mps));
        }
        assert!(f64::from(held) >= 0.85 * f64::from(doubted), "{held} of {doubted}");
        doubted
    };
    assert!(doubted(length_m) <= 2, "right");
    assert!(doubted(1.6 * length_m) > 190 && doubted(0.6 * length_m) > 190, "wrong");
}

#[test]
fn a_told_length_that_hardly_fits_is_gone_by_with_intervals_that_take_in_the_turns() {
    let mut rng = ChaCha8Rng::seed_from_u64(15);
    let (speed_mps, length_m) = (0.03, 0.03 * 11.2);
    let told = Known { told_length_m: Some(1.35 * length_m), ..Known::default() };
    let (mut slight, mut held) = (0, 0);
    for _ in 0..200 {
        let strokes = pass(&mut rng, 6, speed_mps, 0.05, 0.4);
        let [doubted, untold] = [told, Known::default()].map(|known| preview(&strokes, &[], known).remove(0));
        if doubted.length_doubt.is_none_or(|doubt| doubt.clear) {
            continue;
        }
        let intervals = |pass: &SettledPass| -> Vec<Interval> {
            pass.strokes.iter().map(|s| s.traverse.interval()).chain([pass.mean_mps]).collect()
        };
        for (by_told, by_turns) in intervals(&doubted).into_iter().zip(intervals(&untold)) {
            assert!(by_told.lo <= by_turns.lo * (1.0 + 1e-9) && by_told.value > by_turns.hi.min(1.2 * speed_mps));
        }
        slight += 1;
        held += u32::from((doubted.mean_mps.lo..=doubted.mean_mps.hi).contains(&speed_mps));
    }
    assert!(slight > 20 && f64::from(held) >= 0.85 * f64::from(slight), "{held} of {slight}");
}

#[test]
fn a_told_length_that_one_pass_doubts_is_doubted_in_those_beside_it() {
    let mut rng = ChaCha8Rng::seed_from_u64(14);
    let told = |told_m: f64| Known { told_length_m: Some(told_m), ..Known::default() };
    let known = told(0.6);
    // By itself the second pass, of one stroke, does not know better.
    let second = pass(&mut rng, 1, 0.03, 0.0, 0.4);
    assert_eq!(preview(&second, &[], known)[0].length_doubt.filter(|d| d.clear), None);
    let mut strokes = pass(&mut rng, 6, 0.03, 0.05, 0.4);
    let by_s = strokes[5].end.t_s + PAUSE_S;
    let later = |e: Event| Event { t_s: e.t_s + by_s, ..e };
    strokes.extend(second.iter().map(|s| RawStroke { start: later(s.start), end: later(s.end), ..*s }));
    let passes = preview(&strokes, &[], known);
    assert_eq!(passes.iter().map(|p| p.strokes.len()).collect::<Vec<_>>(), [6, 1]);
    let alone = preview(&second, &[], Known::default());
    assert!(passes.iter().all(|p| p.length_doubt.is_some_and(|d| d.clear)));
    assert!((passes[1].mean_mps.value / alone[0].mean_mps.value - 1.0).abs() < 1e-9);
    // A little longer only, and the first one finds it hardly fits; alone, the second would not.
    let [slight, untold] = [told(0.44), Known::default()].map(|known| preview(&strokes, &[], known));
    assert_eq!(preview(&second, &[], told(0.44))[0].length_doubt, None);
    for (pass, by_turns) in slight.iter().zip(untold) {
        assert!(pass.length_doubt.is_some_and(|d| !d.clear), "{:?}", pass.length_doubt);
        assert!(pass.mean_mps.lo <= by_turns.mean_mps.lo && pass.mean_mps.hi >= by_turns.mean_mps.hi);
    }
}

#[test]
fn quick_sideways_steps_widen_the_interval() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let variance = |rng: &mut ChaCha8Rng, side: f64| {
        let i = preview(&pass(rng, 6, 0.025, side, 0.4), &[], Known::default())[0].mean_mps;
        (0.5 / Z90 * (i.hi / i.lo).ln()).powi(2)
    };
    let (slow, quick) = (variance(&mut rng, 0.0), variance(&mut rng, 0.2));
    let ratio = (0.2_f64 / 0.025).powi(2);
    let due = (SHAPE_SPREAD * ratio / (ratio + SHAPE_RATIO * SHAPE_RATIO)).powi(2);
    assert!(((quick - slow) / due - 1.0).abs() < 0.2, "{slow} {quick}, due {due}");
}

#[test]
fn what_swings_faster_than_any_arm_polishes_is_no_pass() {
    let mut rng = ChaCha8Rng::seed_from_u64(10);
    assert_eq!(preview(&pass(&mut rng, 3, 0.2, 0.05, 0.4), &[], Known::default()).len(), 1);
    assert_eq!(preview(&pass(&mut rng, 3, 4.5, 0.05, 0.4), &[], Known::default()).len(), 0);
}

#[test]
fn after_a_rest_a_clear_stroke_may_go_the_same_way_and_a_faint_one_goes_back() {
    let stroke = |t_s: f64, v: f64| RawStroke {
        start: Event { t_s, step: [v, 0.0], blur: 0.0 },
        end: Event { t_s: t_s + 9.0, step: [-v, 0.0], blur: 0.0 },
        masked: [false; 2],
        supposed: [false; 2],
        by_load: [false; 2],
        joined: false,
        aside: None,
        moved: None,
        turned: None,
    };
    let second =
        |v: f64| preview(&[stroke(5.0, 0.04), stroke(16.0, v)], &[], Known::default())[0].strokes[1].direction[0];
    assert!(second(0.04) > 0.9, "clear");
    assert!(second(-0.04) < -0.9, "back");
    assert!(second(0.002) < -0.9, "faint");
    // Of a stroke with neither end told, to and fro is all that can be said.
    let before = pass(&mut ChaCha8Rng::seed_from_u64(7), 3, 0.04, 0.05, 0.0);
    let silent = RawStroke { masked: [true; 2], ..stroke(before[2].end.t_s + 2.0, 0.04) };
    let passes = preview(&[&before[..], &[silent]].concat(), &[], Known::default());
    let last = passes[0].strokes[3];
    assert!(last.direction[0] < -0.9 && last.traverse.speed_mps.is_finite(), "{last:?}");
}

#[test]
fn a_start_that_was_not_seen_says_nothing_of_the_strokes_speed_or_way() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    let mut strokes = pass(&mut rng, 5, 0.03, 0.05, 0.4);
    // What stands there is the end of a quick move.
    strokes[0].start.step = [-0.2, 0.15];
    strokes[0].masked[0] = true;
    let passes = preview(&strokes, &[], Known::default());
    assert_eq!(passes.len(), 1);
    let first = &passes[0].strokes[0];
    assert!(first.direction[0] * 0.4_f64.cos() + first.direction[1] * 0.4_f64.sin() > 0.95, "{:?}", first.direction);
    assert!((first.traverse.speed_mps / 0.03 - 1.0).abs() < 0.2, "{}", first.traverse.speed_mps);
}

#[test]
fn work_across_without_a_rest_is_another_pass() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for _ in 0..20 {
        let mut strokes = pass(&mut rng, 5, 0.03, 0.1, 0.4);
        let from_s = strokes[4].end.t_s + 0.5;
        let later = |e: Event| Event { t_s: e.t_s + from_s, ..e };
        strokes.extend(
            pass(&mut rng, 5, 0.03, 0.1, 0.4 + core::f64::consts::FRAC_PI_2).into_iter().map(|s| RawStroke {
                start: later(s.start),
                end: later(s.end),
                joined: true,
                aside: None,
                ..s
            }),
        );
        let passes = preview(&strokes, &[], Known::default());
        assert_eq!(passes.iter().map(|p| p.strokes.len()).collect::<Vec<_>>(), [5, 5]);
        let same = preview(&pass(&mut rng, 10, 0.03, 0.1, 0.4), &[], Known::default());
        assert_eq!(same.len(), 1);
    }
}

#[test]
fn a_stroke_between_rests_that_says_nothing_belongs_where_the_quick_step_to_it_lies_square() {
    use core::f64::consts::FRAC_PI_2;
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let add = |strokes: &mut Vec<RawStroke>, more: Vec<RawStroke>| {
        let by_s = strokes.last().map_or(0.0, |s| s.end.t_s - 7.0);
        let later = |e: Event| Event { t_s: e.t_s + by_s, ..e };
        strokes.extend(more.into_iter().map(|s| RawStroke { start: later(s.start), end: later(s.end), ..s }));
    };
    for (step, lengths) in [(0.4 + FRAC_PI_2, [6, 5]), (0.4, [5, 6])] {
        let mut strokes = Vec::new();
        add(&mut strokes, pass(&mut rng, 5, 0.03, 0.1, 0.4));
        // The end of the quick step hides its start, and it ended by lifting off.
        let mut hidden = pass(&mut rng, 1, 0.03, 0.0, 0.4)[0];
        hidden.start.step = [0.15 * f64::cos(step), 0.15 * f64::sin(step)];
        hidden.masked = [true; 2];
        add(&mut strokes, vec![hidden]);
        add(&mut strokes, pass(&mut rng, 5, 0.03, 0.1, 0.4 + FRAC_PI_2));
        let found: Vec<usize> = preview(&strokes, &[], Known::default()).iter().map(|p| p.strokes.len()).collect();
        assert_eq!(found, lengths);
    }
}

#[test]
fn a_single_stroke_after_a_short_rest_belongs_to_the_pass_whatever_its_bursts_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let mut strokes = pass(&mut rng, 4, 0.03, 0.1, 0.4);
    let mut single = pass(&mut rng, 1, 0.03, 0.0, 1.7)[0];
    for rest_s in [2.0, 20.0] {
        let from_s = strokes[3].end.t_s + rest_s - single.start.t_s;
        single.start.t_s += from_s;
        single.end.t_s += from_s;
        strokes.truncate(4);
        strokes.push(single);
        let lengths = |cuts: &[f64], ended: bool| -> Vec<usize> {
            let passes = passes_of(&strokes, &as_measured(&strokes), cuts, Known::default(), ended);
            passes.iter().map(|p| p.strokes.len()).collect()
        };
        assert_eq!(lengths(&[], true), if rest_s < PAUSE_S { vec![5] } else { vec![4, 1] });
        assert_eq!(lengths(&[strokes[3].end.t_s + 1.0], true), [4, 1], "a mark or the motor off always cuts");
        assert_eq!(lengths(&[], false), [4, 1], "while work goes on it is the next pass's first");
    }
}
