//! The picture on terminals of several sizes, with and without colours and letters beyond ASCII.

use ratatui::{Terminal, backend::TestBackend, style::Color};

use super::{
    Delays,
    draw::{self, Look, Prompt, Scene, draw},
};
use crate::{
    analysis::{Interval, LiveTick, Measured, State},
    guidance::{Advice, Band, Guidance, Plan, Units, WarningKind},
    live::{board::Link, model::Model, view::View},
    session::Event,
};

const COLOURS: Look = Look { colour: true, unicode: true };

/// A view as it stands after two seconds of this.
fn view(change: impl Fn(&mut LiveTick)) -> View {
    let plan = Plan {
        section_m: Some([0.5, 0.5]),
        orbit_per_min: Some(Band { lo: 3600.0, hi: 5400.0 }),
        heat_rise_k: 11.0,
        ..Plan::default()
    };
    let (mut model, mut guidance) = (Model::new(&plan, Units::Si, "Technician A"), Guidance::new(&plan));
    for i in 1..=20 {
        let mut tick = LiveTick {
            t_s: f64::from(i) * 0.1,
            state: State::Working,
            stroke_ended: i == 1,
            strokes: 2,
            passes: 3,
            traverse_mps: Some(Interval { lo: 0.017, value: 0.019, hi: 0.021 }),
            orbit_opm: Some(Measured { value: 4200.0, sd: 20.0 }),
            surface_rise_k: Some(4.0),
            hot_side_rise_k: Some(4.0),
            cool_in_s: Some(40.0),
            rise_in_10s_k: Some(Measured { value: 6.0, sd: 0.5 }),
            ..LiveTick::default()
        };
        change(&mut tick);
        guidance.tick(&tick, |_| ());
        model.event(&Event::Tick(tick), &guidance);
    }
    model.view().clone()
}

fn hot(tick: &mut LiveTick) {
    (tick.surface_rise_k, tick.hot_side_rise_k) = (Some(13.0), Some(13.0));
}

struct Drawn {
    rows: Vec<String>,
    colours: Vec<Color>,
}

fn drawn(size: (u16, u16), view: &View, change: impl Fn(&mut Scene<'_>)) -> Drawn {
    let mut scene =
        Scene { view, link: Link::Good, age_s: 0.1, prompt: None, sound: true, page: false, card: None, look: COLOURS };
    change(&mut scene);
    let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
    terminal.draw(|frame| draw(frame, &scene)).unwrap();
    let buffer = terminal.backend().buffer();
    let rows =
        (0..size.1).map(|y| (0..size.0).map(|x| buffer.cell((x, y)).unwrap().symbol()).collect::<String>()).collect();
    Drawn { rows, colours: buffer.content().iter().flat_map(|cell| [cell.fg, cell.bg]).collect() }
}

impl Drawn {
    fn row_with(&self, text: &str) -> &str {
        self.rows
            .iter()
            .find(|row| row.contains(text))
            .unwrap_or_else(|| panic!("no `{text}` in\n{}", self.rows.join("\n")))
    }

    fn has(&self, text: &str) -> bool {
        self.rows.iter().any(|row| row.contains(text))
    }

    /// Rows in which large letters stand.
    fn large(&self) -> usize {
        self.rows.iter().filter(|row| row.chars().any(|c| "▘▝▖▗▀▄▌▐▛▜▙▟▚▞".contains(c))).count()
    }
}

#[test]
fn all_is_well_at_80_by_24_and_nothing_is_said() {
    let picture = drawn((80, 24), &view(|_| ()), |_| ());
    assert!(picture.row_with("Section 1, pass 3, 2 strokes").contains("sensor: good"));
    assert!(picture.row_with("Arm speed").contains("19 mm/s"));
    assert!(picture.row_with("Arm speed").contains("in band"));
    assert!(picture.row_with("Surface rise").contains("+4.0 K"));
    assert!(picture.has("% reached") && picture.has("q stop"));
    assert_eq!(picture.large(), 0);
    // Bubbles lie on their tubes, between the marks.
    let tube = picture.row_with("slow ├");
    let at = |c| tube.chars().position(|t| t == c).unwrap();
    let marks: Vec<usize> = tube.chars().enumerate().filter(|(_, c)| *c == '┃').map(|(i, _)| i).collect();
    assert!(marks[0] < at('█') && at('█') < marks[1], "{tube}");
}

#[test]
fn a_bubble_over_the_edge_of_its_band_leaves_the_edge_to_be_seen() {
    let fast = view(|tick| tick.traverse_mps = Some(Interval { lo: 0.022, value: 0.0255, hi: 0.029 }));
    let picture = drawn((80, 24), &fast, |_| ());
    let tube = picture.row_with("slow ├");
    assert_eq!(tube.matches('┃').count(), 2, "{tube}");
    assert!(tube.contains("█┃█"), "{tube}");
    let warm = view(|tick| {
        tick.surface_rise_k = Some(11.0);
        tick.rise_in_10s_k = None;
    });
    let picture = drawn((80, 24), &warm, |_| ());
    assert!(picture.row_with("cool ├").contains('┃'), "{}", picture.row_with("cool ├"));
    // As narrow as the mark: it is the bubble that must be seen.
    for width in 60..=100 {
        let picture = drawn((width, 24), &fast, |_| ());
        assert!(picture.row_with("slow ├").contains('█'), "{width} columns");
    }
}

#[test]
fn the_sentence_stands_in_large_letters_and_nothing_else_moves() {
    let calm = drawn((80, 24), &view(|_| ()), |_| ());
    let warned = drawn((80, 24), &view(hot), |_| ());
    assert_eq!(warned.large(), 8, "two lines of four rows:\n{}", warned.rows.join("\n"));
    let place = |picture: &Drawn| picture.rows.iter().position(|row| row.contains("Arm speed"));
    assert_eq!(place(&calm), place(&warned));
    assert!(warned.row_with("Surface rise").contains("too hot ►"));
}

#[test]
fn a_pass_with_the_interval_of_its_arm_speed_fits_into_80_columns() {
    use crate::live::PassRow;
    let row = PassRow {
        section: 12,
        pass: 34,
        start_s: Some(100.0),
        took: "59:59".into(),
        strokes: 120,
        arm: Units::Us.arm_speed(0.0254),
        arm_90: Some("0.88–1.12".to_owned()),
        in_band: "100 %".into(),
        warmest: Units::Us.rise(-11.1),
        warnings: 17,
    };
    let unknown = |text: &str| text.to_owned();
    let earlier = PassRow {
        start_s: None,
        took: "1:02:09".into(),
        section: 1,
        pass: 2,
        arm: unknown("not known"),
        arm_90: None,
        in_band: unknown("not known"),
        warmest: unknown("not known"),
        ..row.clone()
    };
    let mut view = view(|_| ());
    view.passes = std::sync::Arc::new(vec![earlier, row]);
    let picture = drawn((80, 30), &view, |_| ());
    let words = |text: &str| picture.row_with(text).split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(
        words("section 12"),
        ["section", "12", "pass", "34", "59:59", "120", "1.00", "in/s", "0.88–1.12", "100", "%", "-20.0", "°F", "17"]
    );
    let ascii = drawn((80, 30), &view, |scene| scene.look.unicode = false);
    assert!(ascii.rows.iter().all(|row| row.is_ascii()), "{}", ascii.rows.join("\n"));
    assert!(ascii.row_with("section 12").contains(" 0.88-1.12 "), "{}", ascii.row_with("section 12"));
    assert_eq!(
        words("earlier 1"),
        ["earlier", "1", "pass", "2", "1:02:09", "120", "not", "known", "not", "known", "not", "known", "17"]
    );
}

#[test]
fn the_list_of_passes_loses_none_when_a_sentence_comes_and_says_when_it_is_cut() {
    use crate::live::PassRow;
    let row = |pass| PassRow {
        section: 1,
        pass,
        start_s: Some(100.0),
        took: "0:59".into(),
        strokes: 7,
        arm: Units::Si.arm_speed(0.02),
        arm_90: None,
        in_band: "100 %".into(),
        warmest: Units::Si.rise(4.0),
        warnings: 0,
    };
    let mut calm = view(|_| ());
    calm.passes = std::sync::Arc::new((1..=5).map(row).collect());
    let lost = Advice::Fault { kind: WarningKind::SignalLost, ready_in_s: None }.sentence();
    let said = View { sentence: lost, ..calm.clone() };
    for height in [28, 30, 32, 40, 60] {
        let [calm, said] = [&calm, &said].map(|view| drawn((80, height), view, |_| ()));
        let listed = |picture: &Drawn| picture.rows.iter().filter(|row| row.starts_with(" section 1 pass ")).count();
        assert_eq!(listed(&calm), listed(&said), "{height} rows:\n{}", said.rows.join("\n"));
        assert!(said.large() >= 11 && said.has("% reached"), "{}", said.rows.join("\n"));
    }
    assert!(
        drawn((80, 30), &calm, |_| ()).has("newest 3 of 5") && drawn((80, 40), &calm, |_| ()).has("today's passes")
    );
}

#[test]
fn the_words_of_a_level_are_whole_at_any_width() {
    let hot_side = |tick: &mut LiveTick| (tick.surface_rise_k, tick.hot_side_rise_k) = (Some(2.0), Some(13.0));
    let mut view = view(hot_side);
    assert_eq!(view.levels[2].word, "hot side over limit");
    (view.levels[2].reading, view.levels[2].band) = (Some("+10.0 °F".into()), Some("up to +20.0 °F".into()));
    for (width, height) in (60..=120).flat_map(|width| [(width, 18), (width, 20), (width, 24), (width, 40)]) {
        let picture = drawn((width, height), &view, |_| ());
        let row = picture.row_with("+10.0 °F");
        let rest = row.split("+10.0 °F").nth(1).unwrap().split_once("hot side over limit").map(|(_, rest)| rest);
        let rest = rest.unwrap_or_else(|| panic!("{width} by {height}: {row}"));
        // The band stands whole and apart, or not at all.
        assert!(rest.starts_with(' ') || rest.is_empty(), "{width} by {height}: {row}");
        assert!(!rest.contains('+') || rest.contains("  up to +20.0 °F"), "{width} by {height}: {row}");
        assert!(picture.row_with("Section 1").contains("working"), "{width} by {height}: {}", picture.rows[0]);
    }
    let wide = drawn((80, 20), &view, |_| ());
    assert!(wide.row_with("+10.0 °F").contains("up to +20.0 °F"), "{}", wide.row_with("+10.0 °F"));
    assert!(wide.row_with("Section 1").contains("Technician A: working"), "{}", wide.rows[0]);
}

#[test]
fn the_share_reached_is_whole_at_any_width() {
    for covered in [0.53, 1.0] {
        let view = View { covered, ..view(|_| ()) };
        let figure = format!("{:.0} % reached", covered * 100.0);
        for width in 60..=120 {
            let picture = drawn((width, 24), &view, |_| ());
            let row = picture.row_with(&figure);
            assert!(width < 70 || row.contains(&format!("section {figure}")), "{width}: {row}");
        }
    }
}

#[test]
fn the_longest_sentence_fits_at_80_by_24() {
    let mut lost = view(|_| ());
    lost.sentence = Some("Switch the machine off, then check the sensor's lead".into());
    let picture = drawn((80, 24), &lost, |scene| scene.link = Link::Lost);
    assert!(picture.large() >= 11, "three lines:\n{}", picture.rows.join("\n"));
    let blind = view(|_| ());
    for advice in WarningKind::ALL.map(|kind| Advice::Fault { kind, ready_in_s: None }) {
        let view = View { sentence: advice.sentence(), ..blind.clone() };
        let lines = draw::wrap(view.sentence.as_deref().unwrap(), 20);
        assert!(lines.len() <= 3 && lines.iter().all(|line| line.chars().count() <= 20), "{lines:?}");
    }
    assert!(picture.has("Arm speed") && picture.has("Surface rise") && picture.has("SENSOR LOST"));
}

#[test]
fn old_figures_are_marked_as_old() {
    let picture = drawn((80, 24), &view(|_| ()), |scene| (scene.link, scene.age_s) = (Link::Lost, 7.2));
    assert!(picture.row_with("Arm speed").contains("7 s old"));
    let tubes: Vec<&String> = picture.rows.iter().filter(|row| row.contains('├')).collect();
    assert!(tubes.len() == 3 && tubes.iter().all(|tube| !tube.contains('█')), "no bubble looks as if it were now");
}

#[test]
fn without_colour_no_colour_is_used_and_all_the_same_is_said() {
    let view = view(hot);
    let plain = drawn((80, 24), &view, |scene| scene.look.colour = false);
    assert!(plain.colours.iter().all(|colour| *colour == Color::Reset));
    let colourful = drawn((80, 24), &view, |_| ());
    assert!(colourful.colours.contains(&Color::LightRed));
    assert_eq!(plain.rows, colourful.rows, "every letter is the same");
}

#[test]
fn with_ascii_alone_it_can_still_be_read() {
    let picture = drawn((80, 24), &view(hot), |scene| scene.look.unicode = false);
    assert!(picture.rows.iter().all(|row| row.is_ascii()), "{}", picture.rows.join("\n"));
    assert!(picture.has("LIFT AND LET IT COOL, READY IN 40 S") && picture.has("too hot >"));
    let mut named = view(hot);
    named.technician = "Müller".into();
    let picture = drawn((80, 24), &named, |scene| scene.look.unicode = false);
    assert!(picture.has("Muller"), "{}", picture.rows.join("\n"));
}

#[test]
fn it_draws_at_any_size_and_says_the_sentence_first() {
    let view = view(hot);
    for width in [1, 2, 10, 39, 59, 60, 61, 79, 120, 250] {
        for height in [1, 2, 5, 17, 18, 19, 23, 24, 40, 90] {
            drawn((width, height), &view, |_| ());
            drawn((width, height), &view, |scene| scene.look.unicode = false);
        }
    }
    let small = drawn((40, 10), &view, |_| ());
    assert!(small.rows[0].contains("Lift and let it cool"), "{}", small.rows.join("\n"));
    assert!(small.has("Arm speed 19 mm/s in band"));
}

#[test]
fn the_key_that_stops_is_readable_at_any_width() {
    let view = view(|_| ());
    for (width, height) in (6..=100).flat_map(|width| [(width, 24), (width, 12)]) {
        for paused in [false, true] {
            let view = View { paused, ..view.clone() };
            assert!(drawn((width, height), &view, |_| ()).has("q stop"), "{width} by {height}");
        }
    }
    let keys = |width, page| drawn((width, 24), &view, |scene| scene.page = page).row_with("q stop").trim().to_owned();
    assert_eq!(keys(60, true), "s new section  n note  t technician  p pause  q stop");
    assert_eq!(keys(80, true), "s new section  n note  t technician  p pause  m sound off  l page  q stop");
    assert_eq!(keys(80, false), "s new section  n note  t technician  p pause  m sound off  q stop", "no page to show");
}

#[test]
fn what_is_typed_is_seen_to_its_end() {
    let prompt = Prompt::Line { label: "Note", text: format!("{}end", "long ".repeat(30)) };
    let picture = drawn((80, 24), &view(|_| ()), |scene| scene.prompt = None);
    assert!(!picture.has("Note:"));
    let view = view(|_| ());
    let mut scene = Scene {
        view: &view,
        link: Link::Good,
        age_s: 0.0,
        prompt: Some(&prompt),
        sound: false,
        page: false,
        card: None,
        look: COLOURS,
    };
    let mut terminal = Terminal::new(TestBackend::new(80, 24)).unwrap();
    terminal.draw(|frame| draw(frame, &scene)).unwrap();
    let text = terminal.backend().to_string();
    assert!(text.contains("end_") && text.contains("Esc leaves it"), "{text}");
    scene.prompt = None;
    terminal.draw(|frame| draw(frame, &scene)).unwrap();
    assert!(terminal.backend().to_string().contains("m sound on"));
}

#[test]
fn delays_are_counted_in_tenths_of_a_millisecond() {
    let mut delays = Delays::default();
    assert_eq!(delays.quantile_ms(0.99), None);
    for ms in 1..=100 {
        delays.add(std::time::Duration::from_micros(ms * 1000 - 50));
    }
    assert_eq!(delays.count(), 100);
    assert!((delays.quantile_ms(0.5).unwrap() - 50.0).abs() < 0.11);
    assert!((delays.quantile_ms(0.99).unwrap() - 99.0).abs() < 0.11);
}
