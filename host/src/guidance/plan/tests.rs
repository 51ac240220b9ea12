//! Tests of reading and writing plans.

use std::io;

use proptest::prelude::*;

use super::keys::*;
use super::*;
use crate::analysis::Setup;

const EXAMPLE: &str = include_str!("../../../../data/plans/example.toml");
const DEMO: &str = include_str!("../../../../data/plans/demo.toml");

fn read(text: &str) -> Result<Plan, PlanError> {
    Plan::from_toml(&Source::new("plan.toml", text))
}

fn refused(text: &str) -> (String, String) {
    let error = read(text).expect_err("this plan must be refused");
    (error.to_string(), error.help())
}

/// A line of the example that sets a key, in force or not.
fn key_of(line: &str) -> Option<&str> {
    let (key, _) = line.strip_prefix('#').unwrap_or(line).split_once(" = ")?;
    (!key.contains(' ')).then_some(key)
}

#[test]
fn the_example_means_the_defaults() {
    assert_eq!(read(EXAMPLE).unwrap(), Plan { machine_told: true, ..Plan::default() });
    assert_eq!(read("").unwrap(), Plan::default());
    assert_eq!(Plan::default().setup(), Setup::default());
}

#[test]
fn the_example_names_every_key_and_no_other() {
    let mut shown: Vec<&str> = EXAMPLE.lines().filter_map(key_of).collect();
    shown.push("machine");
    shown.sort_unstable();
    let mut known: Vec<&str> = PLAN_KEYS.iter().chain(MACHINE_KEYS).copied().collect();
    known.sort_unstable();
    assert_eq!(shown, known);
}

#[test]
fn the_example_states_every_range() {
    let comment = |until: &str| -> String {
        let at = EXAMPLE.lines().position(|line| key_of(line) == Some(until)).unwrap();
        let mut above: Vec<&str> = EXAMPLE.lines().take(at).collect();
        above.reverse();
        let block = above.iter().take_while(|line| !line.is_empty() && *line != &"[machine]");
        block
            .map(|line| line.trim_start_matches("# "))
            .collect::<Vec<_>>()
            .into_iter()
            .rev()
            .collect::<Vec<_>>()
            .join(" ")
    };
    for key in NUMBER_KEYS {
        let text = comment(key.name);
        assert!(text.contains(&key.range()), "{}: {:?} is not in {text:?}", key.name, key.range());
    }
}

#[test]
fn every_optional_line_of_the_example_can_be_put_in_force() {
    let off: Vec<&str> = EXAMPLE.lines().filter(|line| line.starts_with('#') && key_of(line).is_some()).collect();
    assert!(off.len() >= 12);
    for line in off {
        let key = key_of(line).unwrap();
        // The same quantity in another unit must go.
        let stem = key.split('_').next().unwrap();
        let text: String = EXAMPLE
            .lines()
            .filter(|other| key_of(other).is_none_or(|other| other == key || !other.starts_with(stem)))
            .map(|other| if other == line { &line[1..] } else { other })
            .flat_map(|line| [line, "\n"])
            .collect();
        let text = if key == "speed_rpm" {
            text.replace("kind = \"orbital\"", "kind = \"rotary\"").replace("\nthrow_mm = 15", "")
        } else {
            text
        };
        let plan = read(&text).unwrap_or_else(|error| panic!("{line}: {error}"));
        if !matches!(key, "heat_rise_k" | "pace_in_s" | "profile") {
            assert_ne!(plan, Plan::default(), "{line} changes nothing");
        }
    }
}

#[test]
fn the_demo_plan_is_complete() {
    let plan = read(DEMO).unwrap();
    assert_eq!(plan.machine.throw_mm, Some(15.0));
    assert_eq!(plan.setup().stroke_length_m, Some(0.4));
    assert!(plan.orbit_per_min.is_some());
}

#[test]
fn fahrenheit_degrees_have_no_offset() {
    // 1 °F difference is 5/9 K: 18 °F are 10 K, never -7.8.
    assert_eq!(read("heat_rise_degf = 18").unwrap().heat_rise_k, 10.0);
    assert!((read("heat_rise_degf = 20").unwrap().heat_rise_k - 11.111_111).abs() < 1e-6);
    assert_eq!(read("pace_in_s = [0.5, 1]").unwrap().pace_mm_s, Band { lo: 12.7, hi: 25.4 });
    assert_eq!(read("[machine]\nkind=\"rotary\"\npad_diameter_in = 6").unwrap().machine.pad_diameter_mm, 6.0 * 25.4);
}

#[test]
fn a_wrong_key_names_the_nearest() {
    let (says, help) = refused("units = \"si\"\npace_mms = [10, 20]\n");
    assert_eq!(says, "plan.toml, line 2: `pace_mms` is not a key here");
    assert_eq!(help, "did you mean `pace_mm_s`?");
    let (says, help) = refused("[machine]\nkind = \"rotary\"\npad_diameter_mm = 150\ncolour = \"red\"");
    assert_eq!(says, "plan.toml, line 4: `colour` is not a key here");
    assert!(help.starts_with("keys that may stand here: profile, name, kind"));
}

#[test]
fn a_wrong_value_says_file_line_key_value_and_range() {
    let cases = [
        ("emissivity = 1.3", "plan.toml, line 1: `emissivity` is 1.3, allowed is 0.3 to 1"),
        ("\nheat_rise_k = -7.8", "plan.toml, line 2: `heat_rise_k` is -7.8, allowed is 1 to 40 K"),
        ("heat_rise_k = nan", "plan.toml, line 1: `heat_rise_k` is NaN, allowed is 1 to 40 K"),
        ("pace_mm_s = [25, 12]", "plan.toml, line 1: `pace_mm_s` runs from 25 to 12: the lower end comes first"),
        ("pace_mm_s = 25", "plan.toml, line 1: `pace_mm_s` must be two numbers, written [a, b], found a number"),
        (
            "pace_mm_s = [1,2,3]",
            "plan.toml, line 1: `pace_mm_s` must be two numbers, written [a, b], found a list of another length",
        ),
        ("pace_mm_s = [10, inf]", "plan.toml, line 1: `pace_mm_s` is inf, allowed is 2 to 508 mm/s"),
        ("units = \"imperial\"", "plan.toml, line 1: `units` is \"imperial\""),
        (
            "technician = \"  \"",
            "plan.toml, line 1: `technician` must be a text of 1 to 80 characters in quotes, found an empty text",
        ),
        ("machine = 3", "plan.toml, line 1: `machine` must be a table, written [machine], found a number"),
        (
            "heat_rise_k = 10\nheat_rise_degf = 18",
            "plan.toml, line 2: `heat_rise_k` and `heat_rise_degf` say the same thing twice",
        ),
        (
            "speed_rpm = [600, 900]",
            "plan.toml, line 1: `speed_rpm` does not fit here: the machine is an orbital; its key is `orbit_opm`",
        ),
        ("[machine]\nkind = \"orbital\"\npad_diameter_mm = 125", "plan.toml, line 1: `throw_mm` is missing"),
        (
            "[machine]\nkind = \"rotary\"\nthrow_mm = 15\npad_diameter_mm = 125",
            "plan.toml, line 3: `throw_mm` does not fit here: a rotary has no orbit",
        ),
        ("[machine]\nprofile = \"orbital\"", "plan.toml, line 2: `profile` is \"orbital\""),
        (
            "[machine]\nprofile = \"a.toml\"",
            "plan.toml, line 2: cannot read the machine profile a.toml: this plan has no folder to look in",
        ),
        (
            "emissivity = 0x1",
            "plan.toml, line 1: `emissivity` must be a number, found a number that is not plain decimal",
        ),
    ];
    for (text, says) in cases {
        let (said, help) = refused(text);
        assert_eq!(said, says);
        assert!(!help.is_empty());
    }
    let (said, _) = refused("units = \"si\"\npace_mm_s = [1, \n");
    assert!(said.starts_with("plan.toml, line ") && said.contains("is not valid TOML"), "{said}");
}

#[test]
fn the_span_points_at_the_value() {
    let text = "units = \"si\"\nemissivity = 1.3 # too high";
    let error = read(text).unwrap_err();
    let place = error.place().unwrap();
    assert_eq!(&text[place.span.clone()], "1.3");
    assert_eq!(&*place.source.text, text);
}

#[test]
fn a_profile_is_resolved_and_can_be_overridden() {
    for name in profile_names() {
        let plan = read(&format!("[machine]\nprofile = \"{name}\"")).unwrap();
        assert!(plan.machine.name.is_some(), "{name}");
    }
    let plan = read("[machine]\nprofile = \"rotary-150\"\npad_diameter_mm = 130").unwrap();
    assert_eq!(plan.machine.pad_diameter_mm, 130.0);
    assert_eq!(plan.orbit_per_min, Some(Band { lo: 600.0, hi: 1000.0 }));
    let plan = read("speed_rpm = [700, 900]\n[machine]\nprofile = \"rotary-150\"").unwrap();
    assert_eq!(plan.orbit_per_min, Some(Band { lo: 700.0, hi: 900.0 }));

    let source = Source::new("plan.toml", "[machine]\nprofile = \"ours.toml\"");
    let lookup = |name: &str| match name {
        "ours.toml" => Ok("kind = \"orbital\"\nthrow_mm = 12\npad_diameter_mm = 1\n".to_owned()),
        _ => Err(io::Error::other("no such file")),
    };
    let error = Plan::parse(&source, &lookup).unwrap_err();
    assert_eq!(error.to_string(), "ours.toml, line 3: `pad_diameter_mm` is 1, allowed is 20 to 305 mm");
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let error = Plan::load(std::path::Path::new("no/such/plan.toml")).unwrap_err();
    assert!(error.to_string().starts_with("cannot read the plan no/such/plan.toml: "), "{error}");
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../data/plans/demo.toml");
    assert_eq!(Plan::load(std::path::Path::new(folder)).unwrap(), read(DEMO).unwrap());
}

/// A recording keeps its plan in SI, whatever unit it was written in.
#[test]
fn every_key_at_both_ends_of_its_range_comes_back_from_a_recording() {
    const PAIRS: [NumberKey; 2] = [SECTION_M, SECTION_IN];
    const BANDS: [NumberKey; 4] = [PACE_MM_S, PACE_IN_S, ORBIT_OPM, SPEED_RPM];
    let is_in = |keys: &[NumberKey], key: NumberKey| keys.iter().any(|other| other.name == key.name);
    for key in NUMBER_KEYS.iter().copied() {
        let NumberKey { name, min, max, .. } = key;
        let values = if is_in(&BANDS, key) || is_in(&PAIRS, key) {
            vec![format!("[{min}, {max}]")]
        } else {
            vec![min.to_string(), max.to_string()]
        };
        for value in values {
            let line = format!("{name} = {value}\n");
            let of_the_machine = MACHINE_KEYS.contains(&name);
            let kind = if name == SPEED_RPM.name { "rotary" } else { "orbital" };
            let mut text = if of_the_machine { String::new() } else { line.clone() };
            text += &format!("[machine]\nkind = \"{kind}\"\n");
            if kind == "orbital" && name != THROW_MM.name {
                text += "throw_mm = 15\n";
            }
            if !name.starts_with("pad_diameter") {
                text += "pad_diameter_mm = 125\n";
            }
            if of_the_machine {
                text += &line;
            }
            let plan = read(&text).unwrap_or_else(|error| panic!("{line}: {error}"));
            let again = read(&plan.to_toml()).unwrap_or_else(|error| panic!("{line} comes back as: {error}"));
            assert_eq!(again, plan, "{line}");
        }
    }
}

prop_compose! {
    fn plans()(
        names in (proptest::option::of("[ -~äß\"\\\\]{0,20}x"), proptest::option::of("[a-z'\"#=]{1,30}")),
        us in any::<bool>(),
        pace in (2.0..250.0f64, 1e-6..250.0f64),
        orbit in proptest::option::of((500.0..2000.0f64, 1e-6..4000.0f64)),
        heat in 1.0..40.0f64,
        length in proptest::option::of(0.05..2.0f64),
        section in proptest::option::of((0.1..2.5f64, 0.1..2.5f64)),
        emissivity in 0.3..1.0f64,
        throw in proptest::option::of(1.0..40.0f64),
        pad in 20.0..300.0f64,
    ) -> Plan {
        Plan {
            technician: names.0.map(|name| name.trim().to_owned()),
            panel: names.1.clone(),
            units: if us { Units::Us } else { Units::Si },
            pace_mm_s: Band { lo: pace.0, hi: pace.0 + pace.1 },
            orbit_per_min: orbit.map(|(lo, more)| Band { lo, hi: lo + more }),
            heat_rise_k: heat,
            stroke_length_m: length,
            section_m: section.map(|(w, h)| [w, h]),
            emissivity,
            machine: MachineProfile {
                name: names.1,
                kind: if throw.is_some() { MachineKind::Orbital } else { MachineKind::Rotary },
                throw_mm: throw,
                pad_diameter_mm: pad,
            },
            machine_told: true,
        }
    }
}

proptest! {
    #[test]
    fn writing_and_reading_gives_the_same_bits(plan in plans()) {
        prop_assert_eq!(read(&plan.to_toml()).unwrap(), plan);
    }

    #[test]
    fn no_text_makes_it_panic(text in "[ -~\n]{0,200}") {
        let _ = read(&text);
    }

    #[test]
    fn no_value_makes_it_panic(key in proptest::sample::select(PLAN_KEYS), value in "[-+0-9eE.,\\[\\]\"a-z_ ]{0,20}") {
        let _ = read(&format!("{key} = {value}"));
    }
}

#[test]
fn figures_that_cannot_both_be_meant_are_refused_where_they_stand() {
    let machine = |throw: &str| format!("[machine]\nkind = \"orbital\"\n{throw}\npad_diameter_mm = 20\n");
    let section = |stroke: &str| format!("units = \"si\"\n{stroke}\nsection_m = [0.3, 0.3]\n");
    for (text, line, said) in [
        (machine("throw_mm = 40"), 3, "an orbit of 40 mm is as wide as the pad of 20 mm, or wider"),
        (section("stroke_length_m = 2.0"), 2, "no stroke is 2.00 m long, the longest has 0.55 m"),
        (section("stroke_length_in = 78"), 2, "no stroke is 1.98 m long"),
        ("pace_mm_s = [20, 20]\n".to_owned(), 1, "the upper end must lie above the lower"),
    ] {
        let source = Source::new("a.toml", &text);
        let error = Plan::parse(&source, &|_| Err(std::io::Error::other("none"))).expect_err("refused");
        assert!(error.to_string().contains(said) && error.place().expect("in the text").line == line, "{error}");
        assert!(!error.help().contains("[20, 20]"), "{}", error.help());
    }
    // As in an old recording.
    assert!(Plan::from_toml(&Source::new("a.mcap", &section("stroke_length_m = 2.0"))).is_ok());
    for good in [machine("throw_mm = 19"), section("stroke_length_m = 0.45")] {
        assert!(Plan::parse(&Source::new("a.toml", &good), &|_| Err(std::io::Error::other("none"))).is_ok(), "{good}");
    }
}
