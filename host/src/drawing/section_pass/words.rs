//! What the sheet says in words: the finding in one sentence, and what to do next time.

use super::super::SheetInput;
use super::super::lettering::{Weight, safe, wrap};
use super::super::theme::size;
use super::super::units::{duration, number};
use super::facts::{Facts, Kept, Pace, RateOff};
use super::into_pass;
use crate::analysis::LengthDoubt;
use crate::analysis::rubbing::{RubbingMap, Zone};
use crate::analysis::thin::{Shape, Thin};
use crate::guidance::{Band, WarningKind};

/// Weight of a remark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    /// Do something differently.
    Act,
    /// Go on like that.
    Keep,
    /// Good to know.
    Note,
}

/// One remark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Taking {
    pub(super) mark: Mark,
    pub(super) text: String,
}

/// Over the limit this soon after a pass began, nobody could have lifted earlier in it, s.
const AT_ONCE_S: f64 = 1.0;
/// A pass that began with this share of the limit had most of its heat from what was before it; lifting earlier would not have helped.
const BROUGHT: f64 = 0.5;

/// The finding in one sentence.
pub(super) fn finding(input: &SheetInput<'_>, facts: &Facts) -> String {
    let mut parts = Vec::new();
    match facts.in_band() {
        None if facts.strokes.is_empty() => parts.push("No strokes could be told apart".to_owned()),
        None => parts.push("Arm speed not judged".to_owned()),
        Some((n, all)) if n == all => {
            let who = match all {
                1 => "The stroke".to_owned(),
                2 => "Both strokes".to_owned(),
                all => format!("All {all} strokes"),
            };
            let doubt = match facts.pace_kept() {
                Some(Kept::AsFarAsKnown) => ", as far as it is known",
                _ => "",
            };
            parts.push(format!("{who} kept to the target pace{doubt}"));
        }
        Some(_) => {
            let off = [
                (Pace::Fast, "too fast"),
                (Pace::Slow, "too slow"),
                (Pace::PerhapsFast, "perhaps too fast"),
                (Pace::PerhapsSlow, "perhaps too slow"),
            ];
            let off = off.map(|(pace, how)| (facts.numbers(pace), how));
            let off = off.iter().filter(|(numbers, _)| !numbers.is_empty());
            let off: Vec<String> = off.map(|(numbers, how)| format!("{} {how}", strokes(numbers))).collect();
            // One sentence: only its first word is capital.
            let (first, rest) = off.split_at(off.len().min(1));
            let rest = rest.iter().map(|more| format!(", {}", more.to_lowercase()));
            parts.push(first.iter().cloned().chain(rest).collect());
        }
    }
    if input.goes_by_turns() {
        parts.push("stroke length told in doubt".to_owned());
    }
    let (rate, _) = input.rate_words();
    for off in &facts.rate_off {
        let side = if off.high { "over" } else { "under" };
        parts.push(format!("{rate} {side} the band {}", how_long(off)));
    }
    match (facts.over_s, facts.unseen(), facts.peak_rise_k, input.bands.rise_limit_k) {
        (Some(over), ..) if over > 0.0 => parts.push(format!("{} over the heat limit", duration(over.max(1.0)))),
        (Some(_), Some(unseen), ..) => parts.push(unseen.finding()),
        (Some(_), _, Some(peak), Some(limit)) => parts.push(format!(
            "the spot stayed under the heat limit ({} of {} {})",
            input.scale().rise_number_beside(peak, Some(limit)),
            input.scale().rise_limit_number(limit),
            input.scale().rise_unit()
        )),
        (None, _, None, _) => parts.push("surface temperature not known".to_owned()),
        _ => {}
    }
    if facts.warned(&[WarningKind::SpinLost]).next().is_some() {
        parts.push("the pad stopped spinning".to_owned());
    }
    parts.join("; ")
}

/// "throughout", or "for 12 s".
fn how_long(off: &RateOff) -> String {
    if off.throughout { "throughout".to_owned() } else { format!("for {}", duration(off.seconds)) }
}

/// What to do next time, most pressing first, and what the reader must know to judge the sheet.
pub(super) fn takings(input: &SheetInput<'_>, facts: &Facts) -> Vec<Taking> {
    let mut out = Vec::new();
    let act = |text: String| Taking { mark: Mark::Act, text };
    let note = |text: String| Taking { mark: Mark::Note, text };
    let brought_k = facts.brought_k().filter(|k| input.bands.rise_limit_k.is_some_and(|limit| *k >= BROUGHT * limit));
    if let Some(t) = facts.first_over_s.filter(|t| t - facts.span_s.0 < AT_ONCE_S) {
        out.push(act(format!(
            "Let the panel cool before a pass: at {} this one was over the limit already.",
            into_pass(input, t)
        )));
    } else if let Some((t, k)) = facts.first_over_s.zip(brought_k) {
        out.push(act(format!(
            "Let the panel cool before a pass: this one began at {} and was over the limit at {}.",
            input.units.rise(k),
            into_pass(input, t)
        )));
    } else if let Some(t) = facts.first_over_s {
        let during = facts.stroke_at(t).map_or(String::new(), |n| format!(", in stroke {n}"));
        out.push(act(format!(
            "Lift earlier: the limit was crossed at {}{during}. Let the panel cool before going on.",
            into_pass(input, t)
        )));
    }
    if let Some((told_m, LengthDoubt { by_turns_m: by_turns, .. })) = input.doubted_length_m() {
        let told = input.units.length(told_m);
        let against = if (by_turns.lo..=by_turns.hi).contains(&told_m) {
            "which does not fit the pass worked in one go with this one".to_owned()
        } else {
            format!("the turns say {}", input.units.length_range(by_turns.lo, by_turns.hi))
        };
        out.push(act(format!("Check the stroke length: {told} was told, {against}.")));
    }
    if let Some(Band { lo, hi }) = input.bands.pace_mps {
        let u = input.scale();
        let (fast, slow) = (facts.numbers(Pace::Fast), facts.numbers(Pace::Slow));
        if !fast.is_empty() {
            let (hi, unit) = (u.arm_speed_limit_number(hi), u.arm_speed_unit());
            // A slower arm makes hotter paint.
            let slow =
                if facts.first_over_s.is_some() { "Once the panel has cooled, slow the arm" } else { "Slow the arm" };
            out.push(act(format!("{slow}: {} above {hi}\u{a0}{unit}.", strokes(&fast).to_lowercase())));
        }
        if !slow.is_empty() {
            let (lo, unit) = (u.arm_speed_limit_number(lo), u.arm_speed_unit());
            out.push(act(format!("Keep the arm moving: {} below {lo}\u{a0}{unit}.", strokes(&slow).to_lowercase())));
        }
    }
    if let Some(w) = facts.warned(&[WarningKind::SpinLost]).next() {
        out.push(act(format!(
            "Ease the pressure or level the pad: it had stopped spinning shortly before {}.",
            into_pass(input, w.t_s)
        )));
    }
    for off in &facts.rate_off {
        let (rate, unit) = input.rate_words();
        let (side, dial) = if off.high { ("over", "down") } else { ("under", "up") };
        let first =
            if off.throughout { String::new() } else { format!(", first at {}", into_pass(input, off.first_s)) };
        out.push(act(format!(
            "Turn the dial {dial} or check the load: {rate} {side} {}\u{a0}{unit} {}{first}.",
            number(off.limit_opm, 0),
            how_long(off),
        )));
    }
    // Where it is not known which side the spot was on, it may have looked beside the strokes all the time.
    let trailed = facts.strokes.iter().any(|(s, _)| s.spot_trails == Some(true));
    if let Some(unseen) = facts.unseen() {
        out.push(note(unseen.advice()));
    } else if facts.side_known() && !trailed && facts.over_s.is_some() {
        out.push(note("The spot trailed in no stroke: worked paint was never in view.".to_owned()));
    }
    // Before what there may be no room for: whoever reads figures must know what they rest on.
    if !facts.holes.is_empty() {
        let lost: f64 = facts.holes.iter().map(|(a, b)| b - a).sum();
        out.push(note(format!("{} s of data are missing; nothing is drawn there.", number(lost, 1))));
    } else if input.lost_s > 0.0 {
        let lost = match input.lost_s {
            short if short < 0.1 => "less than 0.1\u{a0}s".to_owned(),
            long => format!("{}\u{a0}s", number(long, 1)),
        };
        out.push(note(format!("Samples of this pass are missing, {lost} in all.")));
    }
    if let Some(map) = input.map() {
        out.extend(coverage(input, map));
    }
    for (i, end) in ["start", "end"].into_iter().enumerate() {
        out.extend(facts.strokes.iter().filter(|(s, _)| s.supposed[i]).map(|(s, _)| {
            note(format!(
                "The {end} of stroke {} was not seen: it is taken to have lasted as long as the others.",
                s.stroke
            ))
        }));
    }
    let pace_kept = facts.pace_kept();
    let warmth_kept = facts.over_s == Some(0.0) && trailed && facts.unseen().is_none();
    // No praise for figures in doubt.
    let in_doubt = !input.session.table_remarks.is_empty();
    if !in_doubt && out.iter().all(|t| t.mark == Mark::Note) && (pace_kept.is_some() || warmth_kept) {
        let kept = match (pace_kept, warmth_kept) {
            (Some(Kept::Surely), true) => "The pace, and the warmth as the spot saw it: all inside the plan.",
            (Some(Kept::AsFarAsKnown), true) => {
                "The pace as far as it is known, and the warmth as the spot saw it: all inside the plan."
            }
            (Some(Kept::Surely), false) => "The pace: every stroke inside the plan.",
            (Some(Kept::AsFarAsKnown), false) => "The pace, as far as it is known: every stroke inside the plan.",
            (None, _) => "The warmth: under the limit wherever the spot looked.",
        };
        out.insert(0, Taking { mark: Mark::Keep, text: kept.to_owned() });
    }
    out
}

/// What the import found wrong with the table, in at most so many lines.
pub(super) fn doubts(input: &SheetInput<'_>, most: usize, room: f64) -> Vec<String> {
    let found = input.session.table_remarks.iter().map(|remark| safe(first_sentence(remark), LONGEST_REMARK));
    in_few_lines("Found by the import:", &found.collect::<Vec<_>>(), " ", most, room)
}

/// What was written down during the pass, in at most so many lines.
pub(super) fn notes(input: &SheetInput<'_>, facts: &Facts, most: usize, room: f64) -> Vec<String> {
    let noted = |(t_s, note): &(f64, &str)| format!("{}\u{a0}{}", into_pass(input, *t_s), safe(note, LONGEST_REMARK));
    let noted: Vec<String> = facts.notes.iter().map(noted).collect();
    in_few_lines("Noted while recording:", &noted, " · ", most, room)
}

/// As many of the parts as have room, and how many more there are; nothing of none.
fn in_few_lines(head: &str, parts: &[String], between: &str, most: usize, room: f64) -> Vec<String> {
    let lines = |shown: usize| {
        let more = match parts.len() - shown {
            0 => String::new(),
            more => format!(" · and {more} more on the review page"),
        };
        wrap(&format!("{head} {}{more}", parts[..shown].join(between)), size::NOTE, Weight::Regular, room)
    };
    let fitting = (1..=parts.len()).rev().map(lines).find(|lines| lines.len() <= most);
    let all_too_long = || if parts.is_empty() { Vec::new() } else { lines(0) };
    fitting.unwrap_or_else(all_too_long)
}

/// Letters of a remark or note that a sheet shows; the page has them whole.
const LONGEST_REMARK: usize = 200;

/// What is wrong, without what to do about it.
fn first_sentence(text: &str) -> &str {
    text.find(". ").map_or(text, |end| &text[..=end])
}

/// Where a part of the whole is rubbed less than this share of the most rubbed one, it is worth going over: a faultless serpentine
/// leaves a corner of a taped square with about half of the middle's rubbing.
const LITTLE: f64 = 0.4;

/// Where the section wants more; nothing where no difference is worth acting on.
fn coverage(input: &SheetInput<'_>, map: &RubbingMap) -> Vec<Taking> {
    // Where lanes are only guessed, as after a rest, no part of the section can be called rubbed less.
    if input.pass.track_sd_m.is_some_and(|sd| sd >= 0.5 * map.pad_radius_m) {
        return Vec::new();
    }
    let (decimals, unit) = if map.distance_m.is_some() { (0, input.scale().long_length_unit()) } else { (1, "s") };
    let value = |v: f64| number(if map.distance_m.is_some() { input.scale().long_length(v) } else { v }, decimals);
    let act = |text: String| Taking { mark: Mark::Act, text };
    let mut out = Vec::new();
    let thin = map.thin();
    if let Some(thin) = thin {
        let (mean, usual) = (value(thin.mean), value(thin.usual));
        out.push(act(format!(
            "Give {} more: on average {mean}\u{a0}{unit} there, where {usual}\u{a0}{unit} is usual.",
            thin_place(&thin)
        )));
    }
    if let Some(zones) = map.zones() {
        let least = zones.iter().copied().reduce(|a, b| if b.mean < a.mean { b } else { a }).unwrap_or(zones[0]);
        let most = zones.iter().copied().reduce(|a, b| if b.mean > a.mean { b } else { a }).unwrap_or(zones[0]);
        let little = little_rubbed(&zones, least, most);
        let told = thin.is_some_and(|thin| thin.reaches(least.column, least.row));
        if least.mean < LITTLE * most.mean && !told {
            // The lines of the map are of points, these of whole parts of it: said, so that nobody reads the two as one.
            out.push(act(format!(
                "Give {} more: on average {}\u{a0}{unit} there, {}\u{a0}{unit} at the {}.",
                little.0,
                value(little.1),
                value(most.mean),
                place(most.column, most.row)
            )));
        }
    }
    out
}

/// So many times as much as the least rubbed part is as little: which of them is the least is then chance.
const AS_LITTLE: f64 = 1.3;

/// The parts that are worth going over, or were rubbed as little as the least, in words with their article, and the mean over them:
/// short strokes leave two sides, a small pattern the whole rim.
fn little_rubbed(zones: &[Zone; 9], least: Zone, most: Zone) -> (String, f64) {
    type Within = fn(&Zone) -> bool;
    let groups: [(&str, Within); 8] = [
        ("the whole rim", |z| (z.column, z.row) != (1, 1)),
        ("the left and the right side", |z| z.column != 1),
        ("the lower and the upper side", |z| z.row != 1),
        ("the four corners", |z| z.column != 1 && z.row != 1),
        ("the left side", |z| z.column == 0),
        ("the right side", |z| z.column == 2),
        ("the lower side", |z| z.row == 0),
        ("the upper side", |z| z.row == 2),
    ];
    let up_to = (LITTLE * most.mean).max(AS_LITTLE * least.mean);
    let found = groups.into_iter().find_map(|(name, within)| {
        let parts = || zones.iter().filter(|zone| within(zone));
        let all = within(&least) && parts().all(|zone| zone.mean <= up_to);
        all.then(|| (name.to_owned(), parts().map(|zone| zone.mean).sum::<f64>() / parts().count() as f64))
    });
    found.unwrap_or_else(|| (format!("the {}", place(least.column, least.row)), least.mean))
}

/// A thin place in words, with its article.
fn thin_place(thin: &Thin) -> String {
    match thin.shape {
        Shape::Across => format!("the strip across the {}", ["lower part", "middle", "upper part"][thin.row.min(2)]),
        Shape::Down => format!("the strip down the {}", ["left", "middle", "right"][thin.column.min(2)]),
        Shape::Square => format!("a place in the {}", place(thin.column, thin.row)),
    }
}

/// What stands under the map: how much was reached, how evenly, and what the map is not.
pub(super) fn caption(input: &SheetInput<'_>, map: &RubbingMap) -> String {
    let percent = |share: f64| format!("{}\u{a0}%", number(100.0 * share, 0));
    let uneven = map.unevenness().map(|cv| format!("{} uneven between the strokes", percent(cv)));
    let covered = map.covered_share().map(|share| match percent(share) {
        all if all.starts_with("100") && share < 1.0 => "Reached over 99\u{a0}%".to_owned(),
        some => format!("Reached {some}"),
    });
    let extent = match (covered, uneven) {
        (Some(c), Some(u)) => format!("{c}, {u}. "),
        (None, Some(u)) => format!("{u} (0 is even). "),
        (Some(c), None) => format!("{c}. "),
        (None, None) => String::new(),
    };
    let way = input.pass.sideways_m().map_or(String::new(), |off| {
        format!(" Sideways true to ±{}\u{a0}{}.", input.scale().length_number(off), input.scale().length_unit())
    });
    format!("{extent}Not removal: pressure is unknown.{way}")
}

/// A ninth of the section in words.
fn place(column: usize, row: usize) -> &'static str {
    const PLACES: [[&str; 3]; 3] = [
        ["lower left", "lower middle", "lower right"],
        ["left", "middle", "right"],
        ["upper left", "upper middle", "upper right"],
    ];
    PLACES[row.min(2)][column.min(2)]
}

/// "Stroke 3", "Strokes 3 and 5", "Strokes 1 to 4", "9 strokes".
pub(super) fn strokes(numbers: &[u32]) -> String {
    match numbers {
        [] => "No stroke".to_owned(),
        [one] => format!("Stroke {one}"),
        [one, two] => format!("Strokes {one} and {two}"),
        [first, .., last] if (last - first) as usize + 1 == numbers.len() => format!("Strokes {first} to {last}"),
        [first @ .., last] if numbers.len() <= 5 => {
            let list: Vec<String> = first.iter().map(u32::to_string).collect();
            format!("Strokes {} and {last}", list.join(", "))
        }
        many => format!("{} strokes", many.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::{PlanBands, SessionFacts};
    use super::*;
    use crate::analysis::{MachineKind, Measured, Pass, SeriesRow, State, Stroke};
    use crate::guidance::Units;

    /// What is said of a pass of one stroke that stayed cool, whose spot trailed or did not.
    fn said(spot_trails: Option<bool>, rise_k: f64) -> Vec<String> {
        told(spot_trails, Pass { surface_rise_k: Some(rise_k), ..Pass::untold() }, None).1
    }

    /// The finding and what is said of a pass of one stroke with that highest rise all the time, and readings of the thermometer.
    fn told(spot_trails: Option<bool>, pass: Pass, surface_c: Option<f64>) -> (String, Vec<String>) {
        let session = SessionFacts::default();
        let rise_k = pass.surface_rise_k;
        let stroke = Stroke { spot_trails, ..Stroke::untold() };
        let row =
            |i: u32| SeriesRow { t_s: f64::from(i) * 0.1, surface_rise_k: rise_k, surface_c, ..SeriesRow::default() };
        let rows: Vec<SeriesRow> = (0..=101).map(row).collect();
        let input = SheetInput {
            session: &session,
            pass: &pass,
            strokes: &[stroke],
            rows: &rows,
            warnings: &[],
            notes: &[],
            lost_s: 0.0,
            bands: PlanBands { rise_limit_k: Some(11.0), ..PlanBands::default() },
            rubbing: None,
            machine: MachineKind::Orbital,
            units: Units::Si,
        };
        let facts = Facts::of(&input);
        (finding(&input, &facts), takings(&input, &facts).into_iter().map(|taking| taking.text).collect())
    }

    #[test]
    fn heat_is_not_called_under_the_limit_where_the_thermometer_was_not_read_all_the_time_or_is_stuck() {
        let part = Pass { surface_rise_k: Some(8.9), surface_seen_share: 0.2, ..Pass::untold() };
        let (headline, said) = told(Some(true), part, None);
        assert!(headline.ends_with("temperature read for 2 s of 10 s: heat not known"), "{headline}");
        let [said] = &said[..] else { panic!("no praise: {said:?}") };
        assert!(
            said.starts_with("The temperature was read for 2\u{a0}s of 10\u{a0}s only: check the thermometer."),
            "{said}"
        );
        let (headline, said) = told(None, Pass { surface_rise_k: Some(0.0), ..Pass::untold() }, Some(0.0));
        assert!(headline.ends_with("the thermometer's reading never changed: heat not known"), "{headline}");
        assert!(
            said[0].starts_with("The thermometer gave one and the same reading all the time: check it"),
            "{said:?}"
        );
        // Over the limit it went, whatever came after.
        let over = Pass { surface_rise_k: Some(12.0), surface_seen_share: 0.2, ..Pass::untold() };
        assert!(told(Some(true), over, None).0.ends_with("over the heat limit"));
    }

    #[test]
    fn warmth_is_praised_only_where_worked_paint_was_seen() {
        assert_eq!(said(Some(true), 4.0), ["The warmth: under the limit wherever the spot looked."]);
        assert_eq!(said(Some(false), 4.0), ["The spot trailed in no stroke: worked paint was never in view."]);
        assert_eq!(said(None, 4.0), [""; 0], "it may have looked beside");
        let [beside] = &said(None, 0.3)[..] else { panic!("one thing is to be said") };
        assert!(beside.starts_with("The spot saw no warming, so it looked beside the worked paint:"), "{beside}");
    }

    #[test]
    fn the_rate_is_judged_by_the_rows_of_the_pass() {
        let (session, pass) = (SessionFacts::default(), Pass::untold());
        let said = |rate: fn(f64) -> f64| {
            let row = |i: u32| {
                let t_s = f64::from(i) * 0.1;
                let orbit_opm = Some(Measured { value: rate(t_s), sd: 10.0 });
                SeriesRow { t_s, state: State::Working, orbit_opm, ..SeriesRow::default() }
            };
            let rows: Vec<SeriesRow> = (0..=400).map(row).collect();
            let pass = Pass { start_s: 0.0, end_s: 40.0, ..pass.clone() };
            let input = SheetInput {
                session: &session,
                pass: &pass,
                strokes: &[],
                rows: &rows,
                // Warned of once, in the pass before.
                warnings: &[],
                notes: &[],
                lost_s: 0.0,
                bands: PlanBands { orbit_opm: Some(Band { lo: 3800.0, hi: 5200.0 }), ..PlanBands::default() },
                rubbing: None,
                machine: MachineKind::Orbital,
                units: Units::Si,
            };
            let facts = Facts::of(&input);
            (finding(&input, &facts), takings(&input, &facts).into_iter().map(|t| t.text).collect::<Vec<_>>().join(" "))
        };
        let (head, advice) = said(|_| 5500.0);
        assert!(head.contains("; orbit rate over the band throughout"), "{head}");
        let want = "Turn the dial down or check the load: orbit rate over 5\u{202f}200\u{a0}OPM throughout.";
        assert!(advice.contains(want), "{advice}");
        let (head, advice) = said(|t| if (10.0..22.0).contains(&t) { 3600.0 } else { 4500.0 });
        assert!(head.contains("; orbit rate under the band for 12 s"), "{head}");
        assert!(advice.contains("dial up") && advice.contains("for 12 s, first at 0:10."), "{advice}");
        // Neither what is within the doubt nor what lasts for a moment.
        for (head, advice) in [said(|_| 5230.0), said(|t| if t % 10.0 < 1.0 { 5500.0 } else { 5000.0 })] {
            assert!(!head.contains("orbit rate") && !advice.contains("dial"), "{head} {advice}");
        }
    }

    #[test]
    fn strokes_are_named_the_way_people_do() {
        assert_eq!(strokes(&[3]), "Stroke 3");
        assert_eq!(strokes(&[3, 5]), "Strokes 3 and 5");
        assert_eq!(strokes(&[2, 3, 4]), "Strokes 2 to 4");
        assert_eq!(strokes(&[1, 3, 6]), "Strokes 1, 3 and 6");
        assert_eq!(strokes(&[1, 3, 5, 7, 9, 11]), "6 strokes");
    }
}
