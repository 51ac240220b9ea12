//! Chances against closed forms, proposals against histories where the right answer is known.

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution as _};

use super::chance::ln_beta_binomial;
use super::*;

#[test]
fn the_likelihood_is_that_of_the_beta_binomial() {
    // Beta(1, 1): every number of successes has probability 1 / (n + 1), so B(1 + y, 1 + n - y) = 1 / ((n + 1) C(n, y)).
    for (y, n, choose) in [(0.0, 4.0, 1.0), (2.0, 4.0, 6.0), (3.0, 10.0, 120.0)] {
        assert!((ln_beta_binomial(y, n, 1.0, 1.0) + f64::ln((n + 1.0) * choose)).abs() < 1e-9);
    }
    // SciPy 1.17.1, stats.betabinom(10, 2.5, 4).logpmf(3); C(10, 3) = 120.
    assert!((ln_beta_binomial(3.0, 10.0, 2.5, 4.0) + f64::ln(120.0) + 1.841_916_511_408_370_6).abs() < 1e-9);
    // By the recurrence B(a + 1, b) = B(a, b) a / (a + b).
    let (a, b) = (2.5, 4.0);
    assert!((ln_beta_binomial(1.0, 1.0, a, b) - f64::ln(a / (a + b))).abs() < 1e-9);
}

/// The same model on a grid of 400 x 201 points with SciPy 1.17.1 (stats.betabinom, special.betainc); worst seen here 0.005.
#[test]
fn the_coarse_grid_agrees_with_a_fine_one() {
    let cell = |tries, reached, weight| Cell { tries, reached, weight };
    for (here, others, mean, lo, hi) in [
        ((4, 3), vec![cell(8, 7, 1.0), cell(6, 2, 0.3)], 0.719_762, 0.440_485, 0.934_418),
        ((0, 0), vec![cell(5, 5, 1.0), cell(4, 3, 1.0)], 0.764_371, 0.215_487, 0.999_611),
    ] {
        let found = chance(here, &others);
        println!("{found:?}");
        for (ours, theirs) in [(found.mean, mean), (found.lo, lo), (found.hi, hi)] {
            assert!((ours - theirs).abs() < 0.01, "{found:?} against {theirs}");
        }
    }
}

#[test]
fn without_any_tries_anything_may_be() {
    let nothing = chance((0, 0), &[]);
    assert!((nothing.mean - 0.5).abs() < 1e-9, "{nothing:?}");
    assert!(nothing.lo < 0.05 && nothing.hi > 0.95, "{nothing:?}");
}

#[test]
fn success_and_failure_are_mirrored_and_more_tries_are_surer() {
    let (good, bad) = (chance((6, 5), &[]), chance((6, 1), &[]));
    assert!((good.mean + bad.mean - 1.0).abs() < 1e-9);
    assert!((good.lo + bad.hi - 1.0).abs() < 2e-3);
    let many = chance((60, 50), &[]);
    assert!(many.hi - many.lo < good.hi - good.lo);
    // Many tries: the closed-form Beta(y + 1, n - y + 1) of a flat prior, mean 51/62.
    assert!((many.mean - 51.0 / 62.0).abs() < 0.01, "{many:?}");
}

#[test]
fn alike_paints_help_and_unlike_ones_hardly() {
    let alone = chance((1, 1), &[]);
    let cells = |weight| [(8, 7), (6, 6), (9, 8)].map(|(tries, reached)| Cell { tries, reached, weight });
    let (alike, unlike) = (chance((1, 1), &cells(1.0)), chance((1, 1), &cells(0.05)));
    assert!(alike.mean > alone.mean && alike.lo > alone.lo + 0.1, "{alike:?} {alone:?}");
    assert!((unlike.mean - alone.mean).abs() < (alike.mean - alone.mean).abs() / 2.0);
}

/// Chances drawn from known populations: the 90 % intervals hold about that share of them.
#[test]
fn intervals_hold_the_chances_they_were_drawn_from() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let (mut held, runs) = (0, 600);
    for run in 0..runs {
        let mu = rng.random_range(0.1..0.9);
        let m = [1.0, 4.0, 16.0][run % 3];
        let population = Beta::new(mu * m, (1.0 - mu) * m).expect("positive");
        let mut tries = |n: u32| {
            let p: f64 = population.sample(&mut rng);
            (p, (0..n).filter(|_| rng.random_bool(p)).count() as u32)
        };
        let others: Vec<Cell> = (0..6)
            .map(|k| {
                let n = 2 + k % 4;
                Cell { tries: n, reached: tries(n).1, weight: 1.0 }
            })
            .collect();
        let (truth, reached) = tries(3);
        let found = chance((3, reached), &others);
        held += i32::from(found.lo <= truth && truth <= found.hi);
    }
    let share = f64::from(held) / runs as f64;
    println!("90 % intervals hold {share:.3} of {runs} chances");
    // Three standard errors of 0.9 in 600 are 0.037.
    assert!((0.863..=0.937).contains(&share), "{share}");
}

fn history() -> (History, Vec<Id>) {
    let shop = Shop::in_memory();
    let cast = crate::shop::demo::generate(
        &shop,
        &crate::shop::demo::STYLES[..1],
        crate::shop::demo::Extent { days: 1, sections: 1 },
        1,
    )
    .expect("generated");
    (History::of(&shop, 2026).expect("read"), cast.vehicles)
}

fn tried(history: &mut History, vehicle: Id, c: Combination, outcomes: &[bool]) {
    let technician = *history.technicians.keys().next().expect("one");
    history.trials.extend(outcomes.iter().map(|&finish_reached| Trial {
        vehicle,
        panel: "bonnet".into(),
        day: "2026-02-03".into(),
        technician,
        machine: None,
        pad: c.pad,
        liquid: c.liquid,
        session: None,
        passes: 4,
        finish_reached,
        haze: 1,
        holograms: 0,
        film_taken_um: None,
        note: String::new(),
    }));
}

fn judged(history: &History, vehicle: Id) -> Verdict {
    history.verdicts(vehicle, None).pop().expect("tried")
}

#[test]
fn a_shop_without_history_says_so_and_starts_mild() {
    let (history, vehicles) = history();
    let proposal = history.propose(vehicles[0], None).expect("known");
    assert!(!proposal.any_evidence);
    assert_eq!(proposal.two, [0, 1]);
    assert_eq!(proposal.group[0].name, "soft foam with finishing");
    assert!(proposal.why[0].contains("no evidence"));
    assert!(proposal.group.len() <= 5);
    assert_eq!(history.propose(999, None), None);
}

/// One try on quite another paint leaves the chance anywhere between nothing and all: that is not "promising".
#[test]
fn what_is_not_known_is_said_to_be_not_known() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let mut other = history.vehicles.iter().find(|v| v.id == vehicles[0]).expect("known").clone();
    (other.id, other.entry.label) = (77, "other".into());
    other.entry.paint = if other.entry.paint == "respray" { "single-stage" } else { "respray" }.into();
    other.entry.hardness = if other.entry.hardness == "soft" { "hard" } else { "soft" }.into();
    history.vehicles.push(other);
    tried(&mut history, 77, order[3], &[true]);
    let proposal = history.propose(vehicles[0], None).expect("known");
    assert!(!proposal.any_evidence, "{proposal:#?}");
    assert_eq!(proposal.two, [0, 1], "the mildest, in the shop's own order");
    assert!(proposal.why[0].contains("nobody knows") && !proposal.why[0].contains("promising"), "{proposal:#?}");
    let tried_one = proposal.group.iter().find(|c| c.combination == order[3]).expect("in the group");
    let words = evidence(tried_one);
    assert!(words.starts_with("chance not known, 90 % interval ") && words.contains("1 of 1 on others"), "{words}");
    // A try on paint of the very class does say something.
    let mut twin = history.vehicles.iter().find(|v| v.id == vehicles[0]).expect("known").clone();
    (twin.id, twin.entry.label) = (78, "twin".into());
    history.vehicles.push(twin);
    tried(&mut history, 78, order[4], &[true]);
    let proposal = history.propose(vehicles[0], None).expect("known");
    assert!(proposal.any_evidence, "{proposal:#?}");
    let tried_one = proposal.group.iter().find(|c| c.combination == order[4]).expect("in the group");
    assert!(
        proposal.why.join("\n").contains(&format!("{}: the most promising so far", tried_one.name)),
        "{proposal:#?}"
    );
}

fn twin(history: &mut History, vehicle: Id, id: Id) {
    let mut twin = history.vehicles.iter().find(|v| v.id == vehicle).expect("known").clone();
    (twin.id, twin.entry.label) = (id, format!("twin {id}"));
    history.vehicles.push(twin);
}

/// One success of the harshest says nothing against the milder ones, which take less.
#[test]
fn untried_milder_ones_come_before_the_harshest_that_once_did() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let harshest = *order.last().expect("some");
    twin(&mut history, vehicles[0], 77);
    tried(&mut history, 77, harshest, &[true]);
    let proposed = |history: &History| {
        let proposal = history.propose(vehicles[0], None).expect("known");
        let two: Vec<Combination> = proposal.two.iter().map(|&i| proposal.group[i].combination).collect();
        (two, proposal.why.join("\n"), proposal)
    };
    let (two, why, proposal) = proposed(&history);
    assert_eq!(two, order[..2], "{why}");
    assert!(!why.contains("No milder") && why.contains("step by step"), "{why}");
    assert!(proposal.group.iter().all(|c| c.known_chance().is_some() == (c.combination == harshest)), "{proposal:#?}");
    // Where it is sure to do it is the other one to try; and milder ones that are known not to do are passed over.
    tried(&mut history, 77, harshest, &[true; 8]);
    assert_eq!(proposed(&history).0, [order[0], harshest]);
    order[..3].iter().for_each(|c| tried(&mut history, 77, *c, &[false; 6]));
    assert_eq!(proposed(&history).0, [order[3], harshest]);
    order[3..8].iter().for_each(|c| tried(&mut history, 77, *c, &[false; 6]));
    let (two, why, _) = proposed(&history);
    assert_eq!(two, [harshest]);
    assert!(why.contains("No milder combination has a fair chance"), "{why}");
}

/// The best of what hardly does is no proposal as long as there is something that nobody tried.
#[test]
fn what_was_never_tried_comes_before_what_is_known_to_fail() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    twin(&mut history, vehicles[0], 77);
    let proposed = |history: &History| {
        let proposal = history.propose(vehicles[0], None).expect("known");
        let two: Vec<Combination> = proposal.two.iter().map(|&i| proposal.group[i].combination).collect();
        (two, proposal.why.join("\n"))
    };
    tried(&mut history, 77, order[1], &[false; 6]);
    let (two, why) = proposed(&history);
    // But not what is milder still, of the same pad.
    assert_eq!(two, order[2..4], "{why}");
    assert!(
        why.contains(&format!("{}: the best of those that were tried, and hardly", history.name(order[1]))),
        "{why}"
    );
    assert!(!why.contains("promising") && !why.contains("step by step"), "{why}");
    tried(&mut history, 77, order[0], &[false, false]);
    assert_eq!(proposed(&history).0, order[2..4]);
    // One success in eight is no better than nobody knows.
    let last = order.len() - 1;
    let one_in_eight = [true, false, false, false, false, false, false, false];
    order[2..last].iter().for_each(|c| tried(&mut history, 77, *c, &one_in_eight));
    assert_eq!(proposed(&history).0, order[last..]);
    // With nothing else left the best of them stays.
    tried(&mut history, 77, order[last], &[false; 6]);
    let (two, why) = proposed(&history);
    assert_eq!(two, [order[2]], "{why}");
    assert!(why.contains("the best of those that were tried, and hardly enough"), "{why}");
}

#[test]
fn history_on_like_paint_decides_and_shows_its_evidence() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    // A second vehicle of the first one's class, so that there is history on the same paint.
    let mut twin = history.vehicles.iter().find(|v| v.id == vehicles[0]).expect("known").clone();
    (twin.id, twin.entry.label) = (77, "twin".into());
    history.vehicles.push(twin);
    tried(&mut history, 77, order[0], &[false; 6]);
    tried(&mut history, 77, order[2], &[true, false, true, false, true, false]);
    tried(&mut history, 77, order[4], &[true; 9]);
    tried(&mut history, 77, order[7], &[true; 9]);
    let proposal = history.propose(vehicles[0], None).expect("known");
    let names: Vec<Combination> = proposal.two.iter().map(|&i| proposal.group[i].combination).collect();
    assert_eq!(names, [order[2], order[4]], "{proposal:#?}");
    let why = proposal.why.join("\n");
    let untried = format!("Milder still, with a chance that is not known: {}.", history.name(order[1]));
    for words in ["3 of 6 tries on this class", "9 of 9 tries", "2026-02-03 by Ash", "90 % interval", &untried] {
        assert!(why.contains(words), "{words:?} not in {why}");
    }
}

#[test]
fn the_least_aggressive_that_reached_the_finish_is_kept() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    assert_eq!(history.verdicts(vehicles[0], None), []);
    tried(&mut history, vehicles[0], order[5], &[true]);
    tried(&mut history, vehicles[0], order[1], &[false]);
    tried(&mut history, vehicles[0], order[3], &[true]);
    let verdict = judged(&history, vehicles[0]);
    let kept = &verdict.tries[verdict.keep.expect("one did")].0;
    assert_eq!((kept.pad, kept.liquid), (order[3].pad, order[3].liquid));
    assert!(verdict.words.contains("slight haze"), "{}", verdict.words);
    assert_eq!(history.verdicts(vehicles[0], Some("boot lid")), []);
    tried(&mut history, vehicles[1], order[0], &[false]);
    assert!(judged(&history, vehicles[1]).words.contains("The next step up"));
}

#[test]
fn each_panel_has_a_verdict_of_its_own_tries() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    tried(&mut history, vehicles[0], order[0], &[true]);
    tried(&mut history, vehicles[0], order[2], &[false]);
    history.trials.last_mut().expect("one").panel = "Roof".into();
    let [bonnet, roof] = &history.verdicts(vehicles[0], None)[..] else { panic!("two panels") };
    assert_eq!((bonnet.panel.as_str(), bonnet.tries.len(), bonnet.keep), ("bonnet", 1, Some(0)));
    assert_eq!((roof.panel.as_str(), roof.tries.len(), roof.keep), ("Roof", 1, None));
    assert!(roof.words.starts_with("The one try did not reach the finish. The next step up"), "{}", roof.words);
    assert_eq!(history.verdicts(vehicles[0], Some("roof")), std::slice::from_ref(roof));
}

#[test]
fn no_step_up_is_named_where_the_shelf_has_none() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let [below, top] = order[order.len() - 2..] else { panic!("two") };
    tried(&mut history, vehicles[0], top, &[false]);
    let words = judged(&history, vehicles[0]).words;
    assert!(words.contains("Nothing more aggressive is on the shelf") && !words.contains("next step up"), "{words}");
    // What is above was tried, too, and left heavy haze.
    history.trials.clear();
    tried(&mut history, vehicles[0], below, &[false]);
    assert!(judged(&history, vehicles[0]).words.contains("The next step up"));
    tried(&mut history, vehicles[0], top, &[true]);
    history.trials.last_mut().expect("one").haze = 3;
    let words = judged(&history, vehicles[0]).words;
    assert!(words.contains("None of the 2 tries") && words.contains("Nothing more aggressive"), "{words}");
}

/// Where the stronger fails nearly always, neither will what is milder in pad and liquid alike.
#[test]
fn what_is_milder_than_what_fails_on_this_class_is_left_for_later() {
    let (mut history, vehicles) = history();
    let all = history.combinations();
    let order: Vec<Combination> = all.iter().map(|c| c.0).collect();
    twin(&mut history, vehicles[0], 77);
    let strong = order.iter().position(|c| c.pad == order[0].pad && *c != order[0]).expect("another liquid");
    let proposed = |history: &History| {
        let proposal = history.propose(vehicles[0], None).expect("known");
        let two: Vec<Combination> = proposal.two.iter().map(|&i| proposal.group[i].combination).collect();
        (two, proposal.why.join("\n"))
    };
    // One failure may be chance.
    tried(&mut history, 77, order[strong], &[false]);
    assert_eq!(proposed(&history).0[0], order[0]);
    tried(&mut history, 77, order[strong], &[false; 4]);
    let (two, why) = proposed(&history);
    assert!(!two.contains(&order[0]), "{two:?} {why}");
    let later = format!("Unlikely, so later: {}. Neither pad nor liquid", history.name(order[0]));
    assert!(why.contains(&later) && why.contains("in 0 of 5 tries on this class"), "{why}");
    // A stronger pad may do what the liquid alone did not.
    assert!(
        two.iter()
            .all(|c| c.pad != order[0].pad || all[strong].1 < all[order.iter().position(|o| o == c).expect("one")].1)
    );
    let other_pad = order.iter().find(|c| c.pad != order[0].pad).expect("one");
    assert_eq!(two[0], *other_pad, "{why}");
    // Where it was tried itself, that tells.
    tried(&mut history, 77, order[0], &[true, true]);
    assert!(proposed(&history).0.contains(&order[0]));
    // Nothing but what hardly does is left.
    history.trials.clear();
    let harshest = order[order.len() - 1];
    tried(&mut history, 77, harshest, &[false; 5]);
    let (two, why) = proposed(&history);
    assert_eq!(two, [harshest], "{why}");
    assert!(why.contains("Unlikely, so later") && why.contains("hardly enough"), "{why}");
    assert!(!why.contains("No milder combination is left"), "{why}");
    // Nor that: it left heavy haze here, so what is unlikely is all there is.
    tried(&mut history, vehicles[0], harshest, &[true]);
    history.trials.last_mut().expect("one").haze = 3;
    let (two, why) = proposed(&history);
    assert_eq!(two, order[..2], "{why}");
    assert!(why.contains("Unlikely, but nothing else is left open: "), "{why}");
}

#[test]
fn heavy_haze_is_no_finish_whatever_was_ticked() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    tried(&mut history, vehicles[0], order[1], &[true]);
    history.trials.last_mut().expect("one").haze = 3;
    let alone = judged(&history, vehicles[0]);
    assert_eq!(alone.keep, None);
    assert!(alone.words.starts_with("The one try did not reach the finish"), "{}", alone.words);
    assert!(alone.words.contains("Not counted:") && alone.words.contains("finishing step"), "{}", alone.words);
    tried(&mut history, vehicles[0], order[3], &[true]);
    let verdict = judged(&history, vehicles[0]);
    assert_eq!(verdict.keep, Some(1));
    assert!(verdict.words.starts_with("Keep ") && verdict.words.contains("Not counted:"), "{}", verdict.words);
    // Nor is it evidence for another vehicle of that paint.
    let mut twin = history.vehicles.iter().find(|v| v.id == vehicles[0]).expect("known").clone();
    (twin.id, twin.entry.label) = (77, "twin".into());
    history.vehicles.push(twin);
    let group = history.propose(77, None).expect("known").group;
    let of = |c: Combination| group.iter().find(|candidate| candidate.combination == c).expect("near").here;
    assert_eq!((of(order[1]), of(order[3])), ((1, 0), (1, 1)));
}

#[test]
fn of_equals_the_milder_is_proposed() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let mut twin = history.vehicles.iter().find(|v| v.id == vehicles[0]).expect("known").clone();
    (twin.id, twin.entry.label) = (77, "twin".into());
    history.vehicles.push(twin);
    // Those below do not do.
    order[..2].iter().for_each(|c| tried(&mut history, 77, *c, &[false; 6]));
    // As likely as each other, none of them surely: the least aggressive.
    for i in [2, 4, 6] {
        tried(&mut history, 77, order[i], &[true, true, false, false, false]);
    }
    let proposal = history.propose(vehicles[0], None).expect("known");
    let sure = proposal.two.last().map(|&i| proposal.group[i].combination);
    assert_eq!(sure, Some(order[2]), "{proposal:#?}");
    // All of one place: what took less film goes first, then what got less warm, then what was never measured.
    history.products.iter_mut().for_each(|p| p.entry.aggressiveness = 5);
    history.trials.clear();
    for (i, (film_um, session)) in
        [(None, None), (Some(3.0), None), (Some(1.5), Some(1)), (Some(1.5), Some(2))].iter().enumerate()
    {
        tried(&mut history, 77, order[i], &[true]);
        let last = history.trials.last_mut().expect("one");
        (last.film_taken_um, last.session) = (*film_um, *session);
    }
    history.rise_k = [(1, 9.0), (2, 4.0)].into();
    let now: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    assert_eq!(now[..3], [order[3], order[2], order[1]]);
    assert!(now.iter().position(|c| *c == order[0]) > Some(2));
}

#[test]
fn a_proposal_begins_above_what_failed_on_this_vehicle_and_ends_below_what_did() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let (own, harshest) = (vehicles[0], order.len() - 1);
    let proposed = |history: &History, panel| {
        let proposal = history.propose(own, panel).expect("known");
        let two: Vec<Combination> = proposal.two.iter().map(|&i| proposal.group[i].combination).collect();
        (two, proposal.why.join("\n"))
    };
    tried(&mut history, own, order[1], &[false]);
    let (two, why) = proposed(&history, None);
    assert_eq!(two, order[2..4], "{why}");
    assert!(why.contains(&format!("{} did not reach the finish on this vehicle", history.name(order[1]))), "{why}");
    // Another part may differ.
    assert_eq!(proposed(&history, Some("boot lid")).0, order[..2]);
    let (two, why) = proposed(&history, Some("Bonnet"));
    assert_eq!(two, order[2..4], "{why}");
    assert!(why.contains("did not reach the finish on Bonnet"), "{why}");
    // Nor with evidence from like paint, for this vehicle has shown otherwise.
    twin(&mut history, own, 77);
    tried(&mut history, 77, order[0], &[true; 9]);
    tried(&mut history, 77, order[5], &[true; 9]);
    assert_eq!(proposed(&history, None).0, [order[2], order[5]]);
    // What left heavy haze is not tried again, and says nothing against milder ones.
    tried(&mut history, own, order[2], &[true]);
    history.trials.last_mut().expect("one").haze = 3;
    assert_eq!(proposed(&history, None).0, [order[3], order[5]]);
    tried(&mut history, own, order[4], &[true]);
    let (two, why) = proposed(&history, None);
    assert_eq!(two, [order[3]], "{why}");
    assert!(
        why.contains(&format!("{} reached the finish on this vehicle; what is milder", history.name(order[4]))),
        "{why}"
    );
    tried(&mut history, own, order[3], &[false]);
    let (two, why) = proposed(&history, None);
    assert!(two.is_empty() && why.contains("nothing milder is left to try"), "{why}");
    history.trials.clear();
    tried(&mut history, own, order[harshest], &[false]);
    let proposal = history.propose(own, None).expect("known");
    assert!(proposal.two.is_empty() && !proposal.group.is_empty(), "{proposal:#?}");
    assert!(proposal.why[0].contains("nothing more aggressive is left"), "{proposal:#?}");
}

/// Of two paints that nobody knows anything about nobody knows whether they are alike.
#[test]
fn paints_that_are_not_known_are_no_class() {
    let (mut history, vehicles) = history();
    let order: Vec<Combination> = history.combinations().into_iter().map(|c| c.0).collect();
    let own = |history: &mut History, id: Id| {
        let vehicle = history.vehicles.iter_mut().find(|v| v.id == id).expect("known");
        vehicle.entry.paint_year = None;
        for word in [&mut vehicle.entry.paint, &mut vehicle.entry.colour, &mut vehicle.entry.hardness] {
            *word = "unknown".into();
        }
    };
    twin(&mut history, vehicles[0], 77);
    tried(&mut history, 77, order[4], &[true, true]);
    let of = |history: &History| {
        let group = history.propose(vehicles[0], None).expect("known").group;
        group.into_iter().find(|c| c.combination == order[4]).expect("in the group")
    };
    let alike = of(&history);
    assert_eq!((alike.here, alike.all), ((2, 2), (2, 2)));
    own(&mut history, vehicles[0]);
    own(&mut history, 77);
    let unknown = of(&history);
    assert_eq!((unknown.here, unknown.all), ((0, 0), (2, 2)));
    assert!(evidence(&unknown).contains("never tried on paint known to be of this class, 2 of 2 on others"));
    let width = |c: &Candidate| c.chance.map_or(0.0, |c| c.hi - c.lo);
    assert!(width(&unknown) > width(&alike) + 0.1, "{unknown:?} {alike:?}");
    let class = |id: Id| history.class(id).expect("known");
    assert!(class(77).likeness(&class(vehicles[0])) < 0.5 && class(77).likeness(&class(vehicles[1])) < 0.5);
    assert_eq!(class(vehicles[1]).likeness(&class(vehicles[1])), 1.0);
}
