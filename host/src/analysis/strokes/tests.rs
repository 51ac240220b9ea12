use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Two passes at right angles, four strokes each, with a quick move between them; gives the bursts and the strokes' times.
fn day(rng: &mut ChaCha8Rng, speed: f64, side: f64) -> (Vec<Event>, Vec<(f64, f64)>) {
    let mut gauss = |sd: f64| -> f64 {
        let g: f64 = StandardNormal.sample(rng);
        sd * g
    };
    let (mut events, mut times, mut t) = (Vec::new(), Vec::new(), 5.0);
    for pass in 0..2 {
        let mut put = |t_s: f64, x: f64, y: f64| {
            let (x, y) = (x + gauss(0.003), y + gauss(0.003));
            events.push(Event { t_s, step: if pass == 0 { [x, y] } else { [y, x] }, blur: 0.0 });
        };
        for n in 0..4 {
            let way = if n % 2 == 0 { 1.0 } else { -1.0 };
            put(t, way * speed, if n == 0 { 0.0 } else { -side });
            put(t + 9.0, -way * speed, if n == 3 { 0.0 } else { side });
            times.push((t, t + 9.0));
            t += if n == 3 { 9.0 } else { 9.6 };
        }
        put(t + 1.2, 0.13, -0.1);
        put(t + 1.7, -0.13, 0.1);
        t += 4.0;
    }
    (events, times)
}

#[test]
fn every_stroke_is_told_and_a_quick_move_is_none() {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    for (speed, side) in [(0.03, 0.03), (0.045, 0.06), (0.025, 0.2)] {
        for _ in 0..40 {
            let (events, times) = day(&mut rng, speed, side);
            let mut tracker = StrokeTracker::new();
            events.into_iter().for_each(|e| tracker.push(e));
            let told: Vec<(f64, f64)> = tracker.settled().iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
            assert_eq!(told, times, "speed {speed}, sideways {side}");
        }
    }
}

#[test]
fn what_is_as_quick_as_a_step_aside_is_not_told_as_a_strokes_speed() {
    let told = |speed: f64| {
        let mut tracker = StrokeTracker::new();
        tracker.push(Event { t_s: 5.0, step: [speed, 0.0], blur: 0.0 });
        tracker.now()
    };
    let usual = told(0.045);
    assert_eq!(usual.mode, Mode::Stroke);
    assert!((usual.speed_mps.expect("told").value - 0.045).abs() < 1e-9);
    assert_eq!(told(0.19).speed_mps, None);
}

#[test]
fn after_a_start_that_told_nothing_a_turn_tells_the_speed_by_its_half() {
    let mut tracker = StrokeTracker::new();
    for (t_s, x, y) in [(5.0, 0.105, 0.0), (14.0, -0.08, 0.1), (14.6, -0.06, -0.1)] {
        tracker.push(Event { t_s, step: [x, y], blur: 0.0 });
    }
    let now = tracker.now();
    assert_eq!(now.mode, Mode::Stroke);
    let speed = now.speed_mps.expect("told");
    assert!((0.06..0.09).contains(&speed.value) && speed.sd > 0.01, "{speed:?}");
}

#[test]
fn a_badly_measured_burst_teaches_little() {
    let well = Account::learned(0.03, 0.05, 0.005);
    let badly = Account::learned(0.03, 0.05, 0.05);
    assert!(well > 0.035 && badly < 0.0305 && badly > 0.03, "{well} {badly}");
}
