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
            let told = settled(events, times[7].1 + 1.0);
            let told: Vec<(f64, f64)> = told.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
            assert_eq!(told, times, "speed {speed}, sideways {side}");
        }
    }
}

/// Times of what is told after the bursts, the motor running until `until_s`.
fn settled(events: impl IntoIterator<Item = Event>, until_s: f64) -> Vec<RawStroke> {
    tracker(events).settled(until_s, false).strokes
}

fn tracker(events: impl IntoIterator<Item = Event>) -> StrokeTracker {
    let mut tracker = StrokeTracker::new();
    events.into_iter().for_each(|e| tracker.push(e));
    tracker
}

#[test]
fn a_stroke_that_had_just_begun_leaves_its_turn_to_the_one_before() {
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    for (speed, side) in [(0.03, 0.03), (0.045, 0.06), (0.025, 0.2)] {
        for _ in 0..40 {
            // Two strokes, and the start of the third, in which the recording ends.
            let (events, times) = day(&mut rng, speed, side);
            let third = events[4];
            let told = settled(events[..5].iter().copied(), third.t_s + 2.0);
            let found: Vec<(f64, f64)> = told.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
            assert_eq!(found, times[..2], "speed {speed}, sideways {side}");
            assert_eq!((told[0].turned, told[1].turned), (None, Some(third)));
            // Where it may have lasted as long as the others, it is told, and the turn is one between two strokes.
            let told = settled(events[..5].iter().copied(), third.t_s + 9.0);
            assert!(told.len() == 3 && told[2].supposed[1] && told.iter().all(|s| s.turned.is_none()));
            // Cut off while the motor ran on, it is under way: none yet.
            let cut = tracker(events[..5].iter().copied()).settled(third.t_s + 9.0, true).strokes;
            let found: Vec<(f64, f64)> = cut.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
            assert_eq!((found, cut[1].turned), (times[..2].to_vec(), Some(third)));
        }
    }
}

#[test]
fn a_start_hidden_by_the_move_before_it_is_told_from_the_moves_end() {
    let mut rng = ChaCha8Rng::seed_from_u64(22);
    for (speed, side) in [(0.03, 0.03), (0.045, 0.06), (0.025, 0.2)] {
        for _ in 0..40 {
            let (mut events, mut times) = day(&mut rng, speed, side);
            // The second pass begins at once.
            let hidden = events.iter().position(|e| e.t_s == times[4].0).expect("there");
            let arrival_s = events[hidden - 1].t_s;
            events.remove(hidden);
            times[4].0 = arrival_s;
            let strokes = settled(events, times[7].1 + 1.0);
            let told: Vec<(f64, f64)> = strokes.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
            assert_eq!(told, times, "speed {speed}, sideways {side}");
            let unseen: Vec<usize> = (0..strokes.len()).filter(|i| strokes[*i].masked[0]).collect();
            assert_eq!(unseen, [4]);
        }
    }
}

#[test]
fn strokes_across_those_before_are_counted_once_they_have_turned() {
    let mut rng = ChaCha8Rng::seed_from_u64(24);
    for hidden in [false, true] {
        for _ in 0..40 {
            let (mut events, times) = day(&mut rng, 0.03, 0.06);
            if hidden {
                events.retain(|e| e.t_s != times[4].0);
            }
            let mut tracker = StrokeTracker::new();
            let mut counted = Vec::new();
            for stroke in &times {
                // Up to the start of the next: a turn's second burst says what its first began.
                while let Some(event) = events.first().filter(|e| e.t_s <= stroke.1 + 0.7) {
                    tracker.push(*event);
                    events.remove(0);
                }
                counted.push(tracker.now().strokes_across);
            }
            assert_eq!(counted[..4], [None; 4]);
            assert_eq!(counted[4..], [1, 2, 3, 4].map(Some), "hidden: {hidden}");
        }
    }
}

#[test]
fn ends_that_do_not_lie_square_still_make_a_turn() {
    // Each stroke ends 4 cm from where the next begins along them: a step aside of 0.6 s goes 0.07 m/s along, too.
    let (mut events, mut times, mut t) = (Vec::new(), Vec::new(), 5.0);
    for n in 0..5 {
        let way = if n % 2 == 0 { 1.0 } else { -1.0 };
        let (first, last) = (n == 0, n == 4);
        let (aside, slant) = (0.06, 0.07);
        let from = if first { [way * 0.02, 0.0] } else { [way * 0.02 - slant, -aside] };
        let to = if last { [-way * 0.02, 0.0] } else { [-way * 0.02 + slant, aside] };
        events.push(Event { t_s: t, step: from, blur: 0.0 });
        events.push(Event { t_s: t + 14.0, step: to, blur: 0.0 });
        times.push((t, t + 14.0));
        t += 14.6;
    }
    let told: Vec<(f64, f64)> = settled(events, t).iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
    assert_eq!(told, times);
}

#[test]
fn with_the_motor_running_a_faint_last_end_is_likelier_than_a_long_rest() {
    // Three strokes of 18 mm/s; the last one's end comes out at two thirds.
    let bursts = [
        (5.0, 0.018, 0.0),
        (19.0, -0.018, 0.19),
        (19.5, -0.018, -0.19),
        (33.5, 0.018, 0.19),
        (34.0, 0.018, -0.19),
        (48.0, -0.012, -0.002),
    ];
    let events = || bursts.into_iter().map(|(t_s, x, y)| Event { t_s, step: [x, y], blur: 0.0 });
    assert_eq!(settled(events(), 49.5).len(), 3);
    let mut tracker = StrokeTracker::new();
    events().for_each(|e| tracker.push(e));
    let resting = tracker.accounts.iter().find(|a| a.mode == Mode::Rest && a.since_s < 40.0).expect("kept");
    assert!(resting.rest_cost(49.5) > 2.0 && resting.rest_cost(490.0) <= LONG_REST_COST);
    assert_eq!(StrokeTracker::new().accounts[0].rest_cost(100.0), 0.0, "before the first stroke nothing is known");
}

#[test]
fn a_stroke_may_stop_half_way_but_not_last_several_times_as_long_as_the_others() {
    assert_eq!(lasting(3.5, 12.0), lasting(5.0, 12.0), "whoever stops half way may stop anywhere");
    assert!(lasting(2.0, 12.0) < lasting(3.5, 12.0), "what is over at once was a quick move");
    assert!(lasting(40.0, 12.0) < -LONG_REST_COST - UNSEEN_COST, "a long rest is likelier, even if it hid a start");
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

#[test]
fn a_burst_beyond_all_measure_is_passed_over() {
    let burst = |t_s: f64, x: f64| Event { t_s, step: [x, 0.0], blur: 0.0 };
    let events = [burst(5.0, 0.03), burst(8.0, 1e200), burst(9.0, -1e200), burst(14.0, -0.03)];
    let told: Vec<(f64, f64)> = settled(events, 15.0).iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
    assert_eq!(told, [(5.0, 14.0)]);
}

#[test]
fn following_never_comes_to_a_dead_end() {
    // A far stronger pair of knocks than any arm gives, once without its second half: whatever it is taken for, work goes on.
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    let (events, times) = day(&mut rng, 0.03, 0.03);
    let mut tracker = StrokeTracker::new();
    for event in events {
        tracker.push(event);
        if event.t_s == times[1].0 {
            tracker.push(Event { t_s: event.t_s + 3.0, step: [0.9, -0.7], blur: 0.0 });
        }
        assert!(tracker.accounts.iter().any(|a| a.mode == Mode::Rest));
        assert!(tracker.accounts.iter().all(|a| !a.has_lapsed(event.t_s)));
    }
    let told = tracker.settled(times[7].1 + 1.0, false).strokes;
    let found = |t: &(f64, f64)| told.iter().any(|s| s.start.t_s == t.0 && s.end.t_s == t.1);
    assert!(times[4..].iter().all(found), "the second pass is told");
}

#[test]
fn a_first_start_that_passed_for_noise_is_found_once_the_turns_tell_its_speed() {
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    for _ in 0..40 {
        let (mut events, times) = day(&mut rng, 0.03, 0.12);
        // As weak as noise, and among some.
        events[0].step = [0.016, 0.003];
        for (t_s, x, y) in [(2.0, -0.01, 0.006), (8.0, 0.004, -0.01), (11.0, -0.008, 0.0)] {
            events.push(Event { t_s, step: [x, y], blur: 0.0 });
        }
        events.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        let strokes = settled(events, times[7].1 + 1.0);
        let told: Vec<(f64, f64)> = strokes.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
        assert_eq!(told, times);
        assert!(strokes.iter().all(|s| s.supposed == [false; 2] && s.masked == [false; 2]));
        assert!(strokes[1].joined);
    }
}

#[test]
fn a_first_start_that_nothing_shows_is_supposed_from_the_other_strokes() {
    let mut rng = ChaCha8Rng::seed_from_u64(24);
    for _ in 0..40 {
        let (mut events, times) = day(&mut rng, 0.03, 0.12);
        events.remove(0);
        let strokes = settled(events, times[7].1 + 1.0);
        assert_eq!(strokes.len(), times.len());
        assert!((strokes[0].start.t_s - times[0].0).abs() < 0.01, "{}", strokes[0].start.t_s);
        assert!(strokes[0].supposed == [true, false] && strokes[0].says_nothing(0) && !strokes[0].says_nothing(1));
    }
}

#[test]
fn a_last_end_that_the_motor_running_down_hides_is_supposed() {
    let mut rng = ChaCha8Rng::seed_from_u64(25);
    for _ in 0..40 {
        let (mut events, times) = day(&mut rng, 0.03, 0.12);
        // The last stroke's end, and the way from there.
        events.truncate(events.len() - 3);
        let end_s = times[7].1;
        for (run_down, most) in [(None, 0.3), (Some(Event { t_s: end_s + 1.0, step: [0.06, -0.01], blur: 0.0 }), 1.1)] {
            let strokes = settled(events.iter().copied().chain(run_down), end_s + 1.5);
            assert_eq!(strokes.len(), times.len());
            let last = strokes[7];
            assert!((last.end.t_s - end_s).abs() < most, "{} {end_s}", last.end.t_s);
            assert!(last.supposed == [false, true] && last.says_nothing(1));
        }
    }
}

#[test]
fn a_last_stroke_that_ends_in_a_lift_is_told_with_its_end_and_no_speed_from_there() {
    let mut rng = ChaCha8Rng::seed_from_u64(27);
    for _ in 0..40 {
        let (mut events, times) = day(&mut rng, 0.03, 0.12);
        events.truncate(events.len() - 3);
        let end_s = times[7].1;
        // What lifting does to the chip has nothing to do with the stroke's speed, and may even point along it.
        let lift = [(0.0, [0.02, 0.13]), (0.2, [-0.06, 0.03]), (1.0, [0.09, -0.11])];
        let lift = lift.map(|(after_s, step)| Event { t_s: end_s + after_s, step, blur: 0.0 });
        let strokes = settled(events.into_iter().chain(lift), end_s + 2.5);
        assert_eq!(strokes.len(), times.len());
        let last = strokes[7];
        assert!((last.end.t_s - end_s).abs() < 0.3, "{} {end_s}", last.end.t_s);
        assert!(last.says_nothing(1) && !last.says_nothing(0));
    }
}

#[test]
fn no_stroke_is_thought_to_have_begun_and_ended_within_a_second() {
    // A stroke that rests at its end; a second later two bursts that, alone, would be the turn of one whose start was not seen.
    let supposed = |after_s: f64| {
        let t = 14.0 + after_s;
        let bursts =
            [(5.0, 0.03, 0.0), (14.0, -0.03, 0.0), (t, 0.03, 0.1), (t + 0.5, 0.03, -0.1), (t + 9.5, -0.03, 0.0)];
        let mut tracker = StrokeTracker::new();
        bursts.into_iter().for_each(|(t_s, x, y)| tracker.push(Event { t_s, step: [x, y], blur: 0.0 }));
        let accounts = tracker.accounts.iter().map(Account::bursts);
        accounts.filter(|b| b.windows(2).any(|p| p[1].0 == Role::EndUnnoticed && p[0].1.t_s == 14.0)).count()
    };
    assert_eq!(supposed(MIN_STROKE_S + STARTS_AFTER_S - 0.1), 0);
    assert!(supposed(9.5) > 0, "where there is time for one, it may have been");
}

#[test]
fn setting_the_machine_down_is_no_start() {
    let mut rng = ChaCha8Rng::seed_from_u64(26);
    for _ in 0..40 {
        let (events, times) = day(&mut rng, 0.03, 0.15);
        let down = Event { t_s: 2.5, step: [-0.07, -0.19], blur: 0.0 };
        let strokes = settled([down].into_iter().chain(events), times[7].1 + 1.0);
        let told: Vec<(f64, f64)> = strokes.iter().map(|s| (s.start.t_s, s.end.t_s)).collect();
        assert_eq!(told, times);
    }
}
