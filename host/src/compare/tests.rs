//! Estimates against closed forms, claims against shops where the truth is known.

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};

use super::model::{Day, Difference, estimate, p_value, stand_out, trend};
use super::*;
use crate::guidance::Units;
use crate::shop::Shop;
use crate::shop::demo::{ALIKE, Extent, STYLES, Style, generate};

fn days(values: &[&[f64]]) -> Vec<Day> {
    values.iter().map(|v| Day::of(v).expect("not empty")).collect()
}

fn comparison(styles: &[Style], extent: Extent, seed: u64) -> Comparison {
    let shop = Shop::in_memory();
    generate(&shop, styles, extent, seed).expect("generated");
    Comparison::of(By::Technician, gather(&shop, &Question::default()).expect("gathered"))
}

#[test]
fn with_equal_days_it_is_the_t_interval_of_the_day_means() {
    // Day means 10, 12, 17: mean 13, standard deviation sqrt(13); t with 2 degrees of freedom at 95 % is 2.919986 (tables of
    // Student's t).
    let found = estimate(&days(&[&[9.0, 11.0], &[11.0, 13.0], &[16.0, 18.0]])).expect("days");
    let half = 2.919_986 * (13.0f64 / 3.0).sqrt();
    let (lo, hi) = found.interval().expect("three days");
    assert!((found.mean - 13.0).abs() < 1e-9);
    assert!((lo - (13.0 - half)).abs() < 1e-4 && (hi - (13.0 + half)).abs() < 1e-4, "{lo} {hi}");
    // Analysis of variance for balanced data: σ² = 2, τ² = 13 − 2/2 = 12.
    assert!((found.within_sd.expect("known").powi(2) - 2.0).abs() < 1e-4);
    assert!((found.between_sd.expect("known").powi(2) - 12.0).abs() < 1e-3);
}

#[test]
fn one_pass_a_day_and_passes_that_never_differ_still_have_an_interval() {
    let single = estimate(&days(&[&[10.0], &[12.0], &[17.0]])).expect("days");
    assert!((single.error.expect("known").se - (13.0f64 / 3.0).sqrt()).abs() < 1e-12);
    assert_eq!(single.within_sd, None);
    let same = estimate(&days(&[&[10.0, 10.0], &[12.0, 12.0, 12.0], &[17.0]])).expect("days");
    assert!((same.error.expect("known").se - (13.0f64 / 3.0).sqrt()).abs() < 1e-12);
}

#[test]
fn too_few_days_have_no_interval_and_no_figures_no_estimate() {
    assert_eq!(estimate(&days(&[&[1.0, 2.0], &[3.0]])).expect("days").error, None);
    assert_eq!(estimate(&[]), None);
    assert_eq!(Day::of(&[f64::NAN]), None);
    assert_eq!(trend(&days(&[&[1.0], &[2.0], &[3.0], &[4.0]]), &[0.0, 1.0, 2.0, 3.0]), None);
}

#[test]
fn a_trend_with_equal_days_is_ordinary_least_squares() {
    // y = 1, 3, 2, 5, 4 at 0..4: slope 0.8, residual sum of squares 3.6, standard error sqrt(3.6 / 3 / 10).
    let found = trend(&days(&[&[1.0], &[3.0], &[2.0], &[5.0], &[4.0]]), &[0.0, 1.0, 2.0, 3.0, 4.0]).expect("five days");
    assert!((found.slope - 0.8).abs() < 1e-12);
    assert!((found.error.se - 0.12f64.sqrt()).abs() < 1e-12);
    assert!((found.ends.0 - 1.4).abs() < 1e-12 && (found.ends.1 - 4.6).abs() < 1e-12);
}

#[test]
fn no_table_names_a_value_that_cannot_be() {
    // Somebody who is nearly never in the band, and then always: the line through it begins below nought.
    let found = comparison(&STYLES, Extent::default(), 1);
    let below = found.changes.iter().any(|c| c.trend.ends.0 < 0.0 || c.trend.ends.1 < 0.0);
    assert!(below, "else this would not test anything");
    let tables = [tables::estimates_csv(&found), tables::trends_csv(&found), tables::differences_csv(&found)];
    // A difference may have either sign.
    let columns = [
        (["mean", "lo90", "hi90"].as_slice(), false),
        (["first", "last"].as_slice(), false),
        (&["lo90", "hi90"], true),
    ];
    for (table, (columns, signed)) in tables.into_iter().zip(columns) {
        let table = table.expect("written");
        let mut reader = csv::Reader::from_reader(table.as_slice());
        let header = reader.headers().expect("a header").clone();
        for row in reader.records().map(|row| row.expect("a row")) {
            let at = |name: &str| header.iter().position(|column| column == name).map(|i| row[i].to_owned());
            for column in columns {
                let value: f64 = at(column).and_then(|v| v.parse().ok()).expect("a number");
                let most = if at("figure").is_some_and(|f| f.ends_with("_share")) { 1.0 } else { f64::INFINITY };
                let least = if signed { -most } else { 0.0 };
                assert!((least..=most).contains(&value), "{column}: {row:?}");
            }
        }
    }
}

#[test]
fn an_interval_prints_apart_from_its_value() {
    let [value, lo, hi] = Figure::InBand.with_interval(0.9987, (0.9986, 0.9988), Units::Si);
    assert_eq!([value.as_str(), &lo, &hi], ["99.87", "99.86", "99.88"]);
    let [value, lo, hi] = Figure::InBand.with_interval(1.0, (1.0, 1.0), Units::Si);
    assert_eq!([value.as_str(), &lo, &hi], ["100.0", "100.0", "100.0"], "nothing ever varied");
}

#[test]
fn holm_goes_on_only_while_each_step_holds() {
    // 0.01 <= 0.05/4, 0.013 <= 0.05/3, 0.03 > 0.05/2: the last two stay silent although 0.04 < 0.05.
    assert_eq!(stand_out(&[0.04, 0.01, 0.03, 0.013], 0.05), [false, true, false, true]);
    assert_eq!(stand_out(&[f64::NAN, 0.001], 0.05), [false, true]);
    assert!(stand_out(&[], 0.05).is_empty());
}

#[test]
fn figures_that_never_vary_claim_nothing() {
    let (two, three) = (estimate(&days(&[&[2.0][..]; 5])), estimate(&days(&[&[3.0][..]; 5])));
    let difference = Difference::of(&two.expect("days"), &three.expect("days")).expect("both known");
    assert_eq!(p_value(difference.value, &difference.error), None);
}

/// Share of intervals that hold the truth: days with 3 to 12 passes each, spread between days twice that between passes. And
/// what a percentile bootstrap of days would have held, which is why it was not chosen.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let normal = |rng: &mut ChaCha8Rng, sd: f64| Normal::new(0.0, sd).expect("a spread").sample(rng);
    for (k, runs) in [(4, 2000), (10, 2000)] {
        let (mut held, mut boot_held) = (0, 0);
        for run in 0..runs {
            let data: Vec<Day> = (0..k)
                .map(|j| {
                    let day = normal(&mut rng, 2.0);
                    let n = 3 + (run * 7 + j * 5) % 10;
                    Day::of(&(0..n).map(|_| day + normal(&mut rng, 1.0)).collect::<Vec<_>>()).expect("passes")
                })
                .collect();
            let (lo, hi) = estimate(&data).and_then(|e| e.interval()).expect("enough days");
            held += i32::from(lo <= 0.0 && 0.0 <= hi);
            let mut means: Vec<f64> =
                (0..200).map(|_| (0..k).map(|_| data[rng.random_range(0..k)].mean).sum::<f64>() / k as f64).collect();
            means.sort_by(f64::total_cmp);
            boot_held += i32::from(means[10] <= 0.0 && 0.0 <= means[189]);
        }
        let (share, boot) = (f64::from(held) / runs as f64, f64::from(boot_held) / runs as f64);
        println!("{k} days: 90 % intervals hold {share:.3}; a percentile bootstrap of days would hold {boot:.3}");
        // Three standard errors of a share of 0.9 in 2000 runs are 0.020.
        assert!((0.88..=0.92).contains(&share), "{k} days: {share}");
    }
}

#[test]
fn the_demo_shop_shows_the_differences_that_were_put_in() {
    let found = comparison(&STYLES, Extent::default(), 1);
    let names: Vec<&str> = found.groups.iter().map(|g| g.data.name.as_str()).collect();
    assert_eq!(names, ["Ash", "Birch", "Cedar"]);
    let pair =
        |figure, a, b| found.contrasts.iter().find(|c| (c.figure, c.a, c.b) == (figure, a, b)).expect("looked at");
    for (figure, truth) in [
        (Figure::ArmSpeed, STYLES[0].arm_speed_mps[0] - STYLES[1].arm_speed_mps[0]),
        (Figure::SurfaceRise, STYLES[0].rise_k[0] - STYLES[1].rise_k[0]),
        (Figure::RubbingEvenness, STYLES[0].rubbing_cv[0] - STYLES[1].rubbing_cv[0]),
    ] {
        let contrast = pair(figure, 0, 1);
        let (off, width) = (contrast.difference.value - truth, contrast.difference.error.se);
        assert!(contrast.stands_out, "{figure:?}");
        assert!(off.abs() < 3.5 * width, "{figure:?}: off by {off} at a standard error of {width}");
    }
    for figure in [Figure::ArmSpeed, Figure::Evenness, Figure::SurfaceRise, Figure::RubbingEvenness] {
        let learns = found.changes.iter().find(|c| c.figure == figure && c.group == 2).expect("looked at");
        assert!(learns.stands_out && learns.trend.slope < 0.0, "{figure:?}: {learns:?}");
    }
    let text = found.findings(Units::Si).join("\n");
    for words in
        ["Ash moves the arm faster than Birch", "Ash warms the panel more than Birch", "Cedar: arm speed has come down"]
    {
        assert!(text.contains(words), "{words:?} not in\n{text}");
    }
}

/// Nothing was put into pauses, passes per section and orbit droop, nor does anybody but Cedar change.
#[test]
fn the_demo_shop_shows_nothing_that_was_not_put_in() {
    let mut wrong = 0;
    const SHOPS: u64 = 40;
    for seed in 0..SHOPS {
        let found = comparison(&STYLES, Extent::default(), seed);
        let nil = [Figure::Pauses, Figure::PassesPerSection, Figure::OrbitDroop];
        wrong += u64::from(
            found.contrasts.iter().any(|c| c.stands_out && nil.contains(&c.figure))
                || found.changes.iter().any(|c| c.stands_out && (c.group != 2 || nil.contains(&c.figure))),
        );
    }
    println!("{wrong} of {SHOPS} shops claimed something that was not put in");
    // At most 5 %: 2 of 40 expected at worst; six or more have probability 0.014 then (binomial).
    assert!(wrong <= 5, "{wrong} of {SHOPS}");
}

#[test]
fn of_200_shops_where_nobody_differs_at_most_the_stated_share_claim_anything() {
    const SHOPS: u64 = 200;
    let claims =
        (0..SHOPS).filter(|&seed| !comparison(&ALIKE, Extent::default(), seed).findings(Units::Si).is_empty()).count();
    println!("{claims} of {SHOPS} shops without any difference claimed one; stated: at most {}", FALSE_RATE);
    // 5 % of 200 are 10; 18 or more have probability 0.013 then (binomial).
    assert!(claims <= 17, "{claims} of {SHOPS}");
}

#[test]
fn few_days_other_machines_and_other_plans_are_said() {
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES[..2], Extent { days: 2, sections: 2 }, 3).expect("generated");
    let mut odd = crate::shop::demo::one_session(&cast, 1, &STYLES[1], 4);
    odd.machine = None;
    odd.pace_mps = (0.02, 0.04);
    shop.file(&odd).expect("filed");
    let found = Comparison::of(By::Technician, gather(&shop, &Question::default()).expect("gathered"));
    let cautions = found.cautions().join("\n");
    for words in [
        "Ash has 2 working days: too few",
        "1 of Birch's 3 sessions names no machine",
        "The machines differ",
        "arm speed band",
    ] {
        assert!(cautions.contains(words), "{words:?} not in\n{cautions}");
    }
    assert!(found.findings(Units::Si).is_empty(), "two days against three claim nothing");
    let question = Question { machine: Some(cast.machine), ..Question::default() };
    let alike = Comparison::of(By::Technician, gather(&shop, &question).expect("gathered"));
    assert!(!alike.cautions().join("\n").contains("machines differ"));
}

/// Rise, droop and arm speed depend on what was worked with, and on what.
#[test]
fn other_pads_and_other_paints_are_said() {
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES[..2], Extent { days: 4, sections: 1 }, 3).expect("generated");
    let cautions = |by| {
        let found = Comparison::of(by, gather(&shop, &Question { by, ..Question::default() }).expect("gathered"));
        found.cautions().join("\n")
    };
    let none = cautions(By::Technician);
    assert!(!none.contains("pads and liquids differ") && !none.contains("paints differ"), "{none}");
    let mut odd = crate::shop::demo::one_session(&cast, 1, &STYLES[1], 4);
    let unknown = crate::shop::Vehicle { label: "hatch E".into(), ..shop.vehicles().expect("read")[0].entry.clone() };
    let unknown = crate::shop::Vehicle { hardness: "unknown".into(), ..unknown };
    odd.vehicle = Some(shop.add_vehicle(&unknown).expect("added"));
    (odd.pad, odd.liquid) = (Some(cast.pads[2]), Some(cast.liquids[2]));
    shop.file(&odd).expect("filed");
    let some = cautions(By::Technician);
    for words in [
        "The pads and liquids differ (Ash: medium foam with one-step; Birch: medium foam with one-step 62 %, short wool with cutting 38 %)",
        "between technicians may be one between pads and liquids. `--pad NAME --liquid NAME`",
        "The paints differ (Ash: hard clear-coat 50 %, soft clear-coat 30 %, soft respray 20 %; Birch: ",
        "that of hatch E, not all known 38 %",
    ] {
        assert!(some.contains(words), "{words:?} not in\n{some}");
    }
    // What is compared by it is no caution.
    let by_product = cautions(By::PadAndLiquid);
    assert!(!by_product.contains("liquids differ") && by_product.contains("The technicians differ"), "{by_product}");
}

/// One pass of many moves no mean; and what both did in quite different shares does, though both did it.
#[test]
fn cautions_go_by_the_share_of_the_work() {
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES[..2], Extent { days: 20, sections: 2 }, 3).expect("generated");
    let cautions = || {
        let found = Comparison::of(By::Technician, gather(&shop, &Question::default()).expect("gathered"));
        found.cautions().into_iter().filter(|c| !c.starts_with("The paints")).collect::<Vec<_>>().join("\n")
    };
    let odd = |who: usize, day: u32, passes: usize| {
        let mut new = crate::shop::demo::one_session(&cast, who, &STYLES[who], day);
        (new.pad, new.liquid, new.machine) = (Some(cast.pads[2]), Some(cast.liquids[2]), None);
        new.pace_mps = (0.02, 0.04);
        new.sections.truncate(1);
        let pass = new.sections[0].passes[0].clone();
        new.sections[0].passes =
            (1..).map(|number| crate::shop::NewPass { number, ..pass.clone() }).take(passes).collect();
        new.sections[0].passes.iter_mut().for_each(|p| p.start_s += f64::from(p.number));
        shop.file(&new).expect("filed");
    };
    odd(1, 30, 1);
    let one = cautions();
    assert!(!one.contains("differ") && !one.contains("band"), "{one}");
    assert!(one.contains("1 of Birch's 21 sessions names no machine"), "{one}");
    odd(1, 31, 200);
    let many = cautions();
    for words in
        ["The machines differ (Ash: orbital 15; Birch: not told ", "The pads and liquids differ", "arm speed band ("]
    {
        assert!(many.contains(words), "{words:?} not in\n{many}");
    }
    odd(0, 30, 1);
    let both = cautions();
    assert!(both.contains("not told 1 %"), "{both}");
}

/// As in the day and on the owner's page: the number is the place on the panel, whatever recordings its passes are of.
#[test]
fn a_section_of_two_recordings_is_one_section_of_the_day() {
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 3).expect("generated");
    let sections = |panel: &str| {
        let mut passes = 0;
        for n in 1..=2 {
            let mut new = crate::shop::demo::one_session(&cast, 0, &STYLES[0], 3);
            (new.fingerprint, new.panel) = (format!("{panel}-{n}"), panel.into());
            new.sections.truncate(1);
            passes += new.sections[0].passes.len();
            shop.file(&new).expect("filed");
        }
        let question = Question { from: Some("2026-03-05".into()), ..Question::default() };
        let groups = gather(&shop, &question).expect("gathered");
        let day = groups[0].days[Figure::PassesPerSection.index()][0].gave;
        (day.n, day.mean * day.n as f64, passes as f64)
    };
    let (n, of_all, passes) = sections("Roof");
    assert_eq!((n, of_all), (1, passes));
    // Where no panel was named nobody knows whether it is the same.
    assert_eq!(sections("").0, 3);
}

#[test]
fn grouping_by_machine_or_product_leaves_out_what_was_not_told() {
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES, Extent { days: 5, sections: 2 }, 3).expect("generated");
    let mut odd = crate::shop::demo::one_session(&cast, 1, &STYLES[1], 9);
    (odd.machine, odd.pad) = (None, None);
    shop.file(&odd).expect("filed");
    for (by, name) in [(By::Machine, "orbital 15"), (By::PadAndLiquid, "medium foam with one-step")] {
        let groups = gather(&shop, &Question { by, ..Question::default() }).expect("gathered");
        assert_eq!(groups.len(), 1);
        assert_eq!((groups[0].name.as_str(), groups[0].sessions), (name, 15));
        // A technician's day and another's are two: 3 technicians, 5 days.
        assert_eq!(groups[0].day_count(), 15);
        assert_eq!(groups[0].days_words(), "15 working days (of 3 technicians)");
        let found = Comparison::of(by, groups);
        let table = String::from_utf8(super::tables::days_csv(&found).expect("written")).expect("text");
        let of_the_first_day: Vec<&str> =
            table.lines().filter(|l| l.contains(",arm_speed_mps,") && l.contains(",2026-03-02,")).collect();
        assert_eq!(of_the_first_day.len(), 3, "{table}");
        for (line, style) in of_the_first_day.iter().zip(&STYLES) {
            assert!(line.contains(&format!(",2026-03-02,{},", style.name)), "{line}");
        }
        assert!(found.rate_words().contains("a date on which three worked counts as three days"));
    }
}

#[test]
fn where_nothing_was_looked_at_nothing_is_said_to_stand_out() {
    let words = |by, styles: &[Style], days| {
        let shop = Shop::in_memory();
        generate(&shop, styles, Extent { days, sections: 2 }, 3).expect("generated");
        let found = Comparison::of(by, gather(&shop, &Question { by, ..Question::default() }).expect("gathered"));
        if found.findings(Units::Si).is_empty() { (found.family, found.nothing_words()) } else { (0, String::new()) }
    };
    for (by, styles, days, said) in [
        (By::Technician, &STYLES[..], 1, "Too few days to compare: two of them need 3 working days each."),
        (By::Technician, &STYLES[..1], 4, "Too few days to compare: a trend needs 5 working days."),
        (By::Machine, &STYLES[..], 5, "Nothing to compare: these sessions are of one machine."),
        (By::PadAndLiquid, &STYLES[..], 5, "Nothing to compare: these sessions are of one pad and liquid."),
    ] {
        assert_eq!(words(by, styles, days), (0, said.to_owned()));
    }
    let (family, said) = words(By::Technician, &ALIKE[..2], 3);
    assert!(family > 0 && said == "Nothing stands out.", "{family} {said}");
}

#[test]
fn a_lesson_tells_what_else_differs_than_the_hands() {
    let shop = Shop::in_memory();
    generate(&shop, &STYLES, Extent { days: 3, sections: 1 }, 1).expect("generated");
    let sessions = shop.sessions().expect("read");
    let same = crate::shop::Session { id: 99, ..sessions[0].clone() };
    assert_eq!(super::reference::cautions(&shop, [&sessions[0], &same], Units::Si).expect("read"), [] as [String; 0]);
    let other = crate::shop::Session {
        machine: None,
        pad: Some(shop.products().expect("read")[0].id),
        vehicle: sessions.iter().map(|s| s.vehicle).find(|v| *v != same.vehicle).expect("another"),
        pace_mps: (0.03, 0.05),
        heat_limit_k: 8.0,
        ..same
    };
    let said = super::reference::cautions(&shop, [&sessions[0], &other], Units::Si).expect("read");
    assert_eq!(said.len(), 5, "{said:#?}");
    for (caution, words) in said.iter().zip([
        "The machines differ (session 1: orbital 15; session 99: not told)",
        "The pads and liquids differ (session 1: medium foam with one-step; session 99: ",
        "The paints differ (session 1: ",
        "arm speed bands (session 1: 12.7 to 25.4 mm/s; session 99: 30 to 50 mm/s), so time in the band is not the same question",
        "limits of the surface rise (session 1: ",
    ]) {
        assert!(caution.contains(words), "{words:?} not in {caution}");
    }
}

/// Draws every picture of the demo shop into the folder named by SHOP_PICTURES, to be looked at; and checks that each is one.
#[test]
fn every_picture_of_a_comparison_can_be_drawn() {
    use super::draw::{ReferenceSheet, TechniquePrint, intervals_png, prints_png, progress_png, reference_png};
    use super::lesson::Target;
    use crate::shop::PrintsOf;
    let shop = Shop::in_memory();
    let cast = generate(&shop, &STYLES, Extent::default(), 1).expect("generated");
    let found = Comparison::of(By::Technician, gather(&shop, &Question::default()).expect("gathered"));
    let prints: Vec<Vec<crate::shop::FiledPrint>> =
        cast.technicians.iter().map(|&id| shop.prints(PrintsOf::Technician(id), 500).expect("read")).collect();
    let rows: Vec<TechniquePrint<'_>> = STYLES
        .iter()
        .zip(&prints)
        .map(|(style, prints)| TechniquePrint {
            name: style.name,
            remark: format!("{} passes", prints.len()),
            prints,
            pace_mps: (0.0127, 0.0254),
            heat_limit_k: 11.1,
        })
        .collect();
    let sessions = shop.sessions().expect("read");
    let sections = |id| super::reference::sections(&shop, id).expect("read");
    let target = Target { pace_mps: crate::guidance::Band { lo: 0.0127, hi: 0.0254 }, heat_limit_k: 11.1 };
    let (theirs, ours) = (sections(sessions[1].id), sections(sessions[2].id));
    let lesson = super::lesson::lesson(&theirs, &ours, target, Units::Si);
    let sheet = ReferenceSheet {
        target,
        lesson: &lesson,
        trainer: "Birch, 2026-03-02".into(),
        shown: "Cedar, 2026-03-02".into(),
        reference: &theirs,
        sections: &ours,
        cautions: &super::reference::cautions(&shop, [&sessions[1], &sessions[2]], Units::Si).expect("read"),
        invented: true,
    };
    let long = |name: &str| format!("{name} of the early shift, at the long bench by the door");
    let mut longer = Comparison::of(By::Technician, gather(&shop, &Question::default()).expect("gathered"));
    for group in &mut longer.groups {
        group.data.name = long(&group.data.name);
        // Three days: their intervals are far wider than what was measured.
        for days in &mut group.data.days {
            days.truncate(3);
        }
    }
    let mut longer = Comparison::of(By::Technician, longer.groups.into_iter().map(|group| group.data).collect());
    longer.contrasts.iter_mut().for_each(|c| c.stands_out = true);
    let long_rows: Vec<String> = STYLES.iter().map(|style| long(style.name)).collect();
    let long_rows: Vec<TechniquePrint<'_>> =
        rows.iter().zip(&long_rows).map(|(row, name)| TechniquePrint { name, ..row.clone() }).collect();
    let long_sheet = ReferenceSheet { trainer: long(&sheet.trainer), shown: long(&sheet.shown), ..sheet.clone() };
    for (name, png) in [
        ("long-intervals", intervals_png(&longer, Units::Si)),
        ("long-progress", progress_png(&longer, Units::Si)),
        ("long-prints", prints_png(&long_rows, true, Units::Us)),
        ("long-reference", reference_png(&long_sheet, Units::Si)),
        ("intervals", intervals_png(&found, Units::Si)),
        ("progress", progress_png(&found, Units::Si)),
        ("prints", prints_png(&rows, true, Units::Us)),
        ("reference", reference_png(&sheet, Units::Si)),
        ("nobody", intervals_png(&Comparison::of(By::Machine, Vec::new()), Units::Us)),
        ("nothing", prints_png(&[TechniquePrint { prints: &[], ..rows[0].clone() }], false, Units::Si)),
    ] {
        let png = png.expect("drawn");
        assert!(png.starts_with(b"\x89PNG\r\n\x1a\n") && png.len() > 5000, "{name}: {} bytes", png.len());
        if let Some(folder) = std::env::var_os("SHOP_PICTURES") {
            std::fs::write(std::path::Path::new(&folder).join(format!("{name}.png")), png).expect("written");
        }
    }
}
