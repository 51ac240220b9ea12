//! The section pass sheet: what is drawn, that it decodes, and that neither missing nor hostile input spoils it.

#[path = "support/invented_pass.rs"]
mod invented_pass;

use invented_pass::{Invented, Recipe};
use resvg::tiny_skia::{Pixmap, Rect};
use resvg::usvg;
use steadypass::analysis::{Interval, LengthDoubt, MachineKind, Measured};
use steadypass::drawing::{SHEET_HEIGHT, SHEET_WIDTH, section_pass_png, section_pass_svg};
use steadypass::guidance::{Band, Units, Warning, WarningKind};

fn pixels(sheet: &Invented) -> Pixmap {
    let png = section_pass_png(&sheet.input()).expect("a sheet");
    let pixels = Pixmap::decode_png(&png).expect("a PNG that decodes");
    assert_eq!((pixels.width(), pixels.height()), (SHEET_WIDTH, SHEET_HEIGHT));
    pixels
}

/// Pixels darker than mid grey inside x, y, width, height.
fn ink(pixels: &Pixmap, (x, y, w, h): (u32, u32, u32, u32)) -> usize {
    (y..y + h)
        .flat_map(|row| (x..x + w).map(move |column| (column, row)))
        .filter(|(column, row)| pixels.pixel(*column, *row).is_some_and(|p| p.green() < 110 && p.red() < 110))
        .count()
}

/// Pixels of the colour of what was measured.
fn blue(pixels: &Pixmap, (x, y, w, h): (u32, u32, u32, u32)) -> usize {
    (y..y + h)
        .flat_map(|row| (x..x + w).map(move |column| (column, row)))
        .filter(|(column, row)| pixels.pixel(*column, *row).is_some_and(|p| p.red() < 40 && p.blue() > 150))
        .count()
}

fn texts(svg: &str) -> Vec<String> {
    let bodies = svg.split("<text ").skip(1).filter_map(|t| Some(t.split_once('>')?.1.split_once("</text>")?.0));
    bodies.map(str::to_owned).collect()
}

const TITLE: (u32, u32, u32, u32) = (50, 30, 500, 60);
const ABOVE_LIMIT: (u32, u32, u32, u32) = (136, 715, 950, 70);

#[test]
fn the_sheet_decodes_and_its_lettering_is_there() {
    let sheet = pixels(&Invented::of(&Recipe::hot()));
    // Measured 5500; a font that is not found leaves none.
    assert!(ink(&sheet, TITLE) > 3000, "title {}", ink(&sheet, TITLE));
    for (name, area) in [("finding", (50, 135, 700, 45)), ("key figures", (50, 1050, 1690, 100))] {
        assert!(ink(&sheet, area) > 2000, "{name} {}", ink(&sheet, area));
    }
}

#[test]
fn every_series_is_drawn() {
    let sheet = Invented::of(&Recipe::hot());
    let svg = section_pass_svg(&sheet.input()).unwrap();
    let said = texts(&svg);
    // Each stroke's own pace, and the one outside with a word beside the colour.
    for want in ["21", "▲ 31 too fast", "24", "stroke 3 →", "spot trails", "spot leads", "heat soon", "over the limit"]
    {
        assert!(said.iter().any(|t| t == want), "{want} is missing in {said:?}");
    }
    // A leading spot may look at what was worked a stroke or a pass before, and be warm there.
    assert!(said.iter().any(|t| t.ends_with("it leads, sees paint not just worked")), "{said:?}");
    let orbit_and_surface = svg.matches("<polyline").count();
    assert!(orbit_and_surface >= 8, "lines in charts: {orbit_and_surface}");
    assert!(svg.contains("url(#outside)"), "what is outside is hatched");
    // Above the limit line there is the reading's blue in a hot pass, and none in one that stays cold.
    let mut cold = Invented::of(&Recipe::hot());
    cold.rows.iter_mut().for_each(|r| r.surface_rise_k = r.surface_rise_k.map(|k| k.min(3.0)));
    let (hot, cold) = (blue(&pixels(&sheet), ABOVE_LIMIT), blue(&pixels(&cold), ABOVE_LIMIT));
    assert!(hot > 400 && cold == 0, "hot {hot}, cold {cold}");
}

#[test]
fn beside_heat_soon_stands_what_became_of_it() {
    let label = |sheet: &Invented| {
        let said = texts(&section_pass_svg(&sheet.input()).unwrap());
        said.into_iter().find(|t| t.starts_with("heat soon")).unwrap()
    };
    // Over the limit two strokes later: too late, and the spot led in the stroke between.
    let mut sheet = Invented::of(&Recipe::hot());
    assert_eq!(label(&sheet), "heat soon");
    sheet.strokes.iter_mut().for_each(|s| s.spot_trails = Some(true));
    assert_eq!(label(&sheet), "heat soon: did not come");
    assert_eq!(label(&Invented::of(&Recipe { heat: 1.2, ..Recipe::hot() })), "heat soon: came after 3 s");
}

type Segment = [(f32, f32); 2];

/// Frames of all texts, and the lines of what was measured, as the finished picture has them.
fn layout(svg: &str) -> (Vec<(String, Rect)>, Vec<Segment>) {
    let mut options = usvg::Options { font_family: "Inter".into(), ..usvg::Options::default() };
    for face in ["Inter-Regular.ttf", "Inter-SemiBold.ttf"] {
        let file = format!("{}/assets/fonts/{face}", env!("CARGO_MANIFEST_DIR"));
        options.fontdb_mut().load_font_data(std::fs::read(file).expect("the font"));
    }
    let tree = usvg::Tree::from_str(svg, &options).expect("a drawing");
    let (mut texts, mut lines) = (Vec::new(), Vec::new());
    let mut groups = vec![tree.root()];
    while let Some(group) = groups.pop() {
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => groups.push(inner),
                usvg::Node::Text(text) => {
                    let words: String = text.chunks().iter().map(|chunk| chunk.text()).collect();
                    // Without the rim of paper.
                    texts.push((words, text.abs_bounding_box()));
                }
                usvg::Node::Path(path) => {
                    let blue = usvg::Paint::Color(usvg::Color::new_rgb(0, 0x72, 0xb2));
                    let measured = path.stroke().is_some_and(|s| *s.paint() == blue && s.dasharray().is_none());
                    if !measured {
                        continue;
                    }
                    let mut points = path.data().points().to_vec();
                    path.abs_transform().map_points(&mut points);
                    lines.extend(points.windows(2).map(|pair| [(pair[0].x, pair[0].y), (pair[1].x, pair[1].y)]));
                }
                usvg::Node::Image(_) => {}
            }
        }
    }
    (texts, lines)
}

/// Texts over one another or over a measured line, in words.
fn overprints(sheet: &Invented) -> Vec<String> {
    let (texts, lines) = layout(&section_pass_svg(&sheet.input()).unwrap());
    let mut out = Vec::new();
    for (i, (a, frame)) in texts.iter().enumerate() {
        for (b, other) in &texts[i + 1..] {
            // A text's frame has room for tails and accents.
            let apart = frame.right() < other.left()
                || other.right() < frame.left()
                || frame.bottom() - 4.0 < other.top() + 4.0
                || other.bottom() - 4.0 < frame.top() + 4.0;
            if !apart {
                out.push(format!("{a:?} and {b:?}"));
            }
        }
        let crossed = lines.iter().any(|[p, q]| {
            (0..=40).map(|k| k as f32 / 40.0).any(|k| {
                let (x, y) = (p.0 + k * (q.0 - p.0), p.1 + k * (q.1 - p.1));
                x > frame.left() && x < frame.right() && y > frame.top() + 5.0 && y < frame.bottom() - 5.0
            })
        });
        if crossed {
            out.push(format!("{a:?} on a line"));
        }
    }
    out
}

#[test]
fn no_label_is_written_over_another_or_over_a_curve() {
    let mut sheet = Invented::of(&Recipe::hot());
    sheet.rows.iter_mut().for_each(|r| r.surface_rise_k = Some(14.0));
    let (start_s, limit) = (sheet.pass.start_s, sheet.bands.rise_limit_k);
    let at = |t_s: f64, kind| Warning { t_s: start_s + t_s, kind, value: Some(14.0), limit };
    sheet.warnings = vec![at(30.0, WarningKind::HeatSoon), at(32.0, WarningKind::HeatOver)];
    let said = texts(&section_pass_svg(&sheet.input()).unwrap());
    for want in ["heat soon: came at once", "over the limit"] {
        assert!(said.iter().any(|t| t == want), "{want} is missing in {said:?}");
    }
    let mut sheets = vec![sheet];
    // Warnings all along the curve, and strokes of which one reaches over the next one's figure.
    for recipe in [Recipe::hot(), Recipe::good(), Recipe::busy(), Recipe { upright: true, ..Recipe::busy() }] {
        for shift_s in [0.0, 2.0, 4.0, 6.0, 8.0] {
            let mut sheet = Invented::of(&recipe);
            let times = (0..12).map(|i| sheet.pass.start_s + shift_s + 9.0 * f64::from(i));
            let kinds = [WarningKind::HeatSoon, WarningKind::HeatOver, WarningKind::PaceFast, WarningKind::OrbitLow];
            sheet.warnings = times
                .enumerate()
                .map(|(i, t_s)| Warning { t_s, kind: kinds[i % 4], value: Some(12.0), limit: Some(11.1) })
                .collect();
            for (i, s) in sheet.strokes.iter_mut().enumerate() {
                let value = if i % 2 == 0 { 0.039 } else { 0.047 };
                s.traverse_mps = Some(Interval { lo: value - 0.006, value, hi: value + 0.007 });
            }
            sheets.push(sheet);
        }
    }
    for sheet in &sheets {
        assert_eq!(overprints(sheet), [""; 0], "pass {} of section {}", sheet.pass.pass, sheet.pass.section);
    }
}

#[test]
fn units_change_figures_not_facts() {
    let mut sheet = Invented::of(&Recipe::hot());
    sheet.units = Units::Us;
    let said = texts(&section_pass_svg(&sheet.input()).unwrap());
    // 11.1 K of rise are 20 °F; the target 12.7 to 25.4 mm/s is 0.50 to 1.00 in/s.
    for want in ["in/s", "20", "0.50", "1.00", "°F"] {
        assert!(said.iter().any(|t| t == want), "{want} is missing in {said:?}");
    }
    assert!(!said.iter().any(|t| t.contains("mm") && !t.contains("orbital")), "{said:?}");
}

#[test]
fn a_rotary_has_its_own_words() {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.machine = MachineKind::Rotary;
    let all = texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ");
    assert!(
        all.contains("Machine speed RPM") && !all.contains("OPM") && !all.to_lowercase().contains("orbit rate"),
        "{all}"
    );
}

#[test]
fn the_headline_keeps_its_last_words() {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.machine = MachineKind::Rotary;
    sheet.bands.rise_limit_k = Some(99.0);
    sheet.bands.orbit_opm = Some(Band { lo: 600.0, hi: 1000.0 });
    let headline = |sheet: &Invented| {
        let svg = section_pass_svg(&sheet.input()).unwrap();
        // Between who and what, and the heads of the strips.
        let (mut frames, _) = layout(&svg);
        frames.retain(|(_, rect)| rect.top() > 126.0 && rect.bottom() < 208.0);
        frames.sort_by(|a, b| a.1.top().total_cmp(&b.1.top()));
        let lines: Vec<String> = frames.into_iter().map(|(text, _)| text).collect();
        let over = overprints(sheet);
        assert!(!over.iter().any(|text| lines.iter().any(|line| text.contains(line))), "{over:?}");
        lines
    };
    let said = headline(&sheet).join(" ");
    assert!(said.contains("throughout; ") && said.ends_with(" of 99.0 K)"), "{said}");
    // All that can be wrong at once.
    sheet.bands.pace_mps = Some(Band { lo: 0.0205, hi: 0.0206 });
    for (i, s) in sheet.strokes.iter_mut().enumerate() {
        s.traverse_mps = s.traverse_mps.map(|v| Interval { lo: 0.99 * v.value, hi: 1.01 * v.value, ..v });
        s.stroke = 11 + 2 * i as u32;
    }
    let by_turns = Interval { lo: 0.35, value: 0.4, hi: 0.45 };
    (sheet.bands.stroke_length_m, sheet.pass.length_doubt) =
        (Some(0.6), Some(LengthDoubt { by_turns_m: by_turns, clear: true }));
    let t_s = sheet.pass.start_s + 30.0;
    sheet.warnings.push(Warning { t_s, kind: WarningKind::SpinLost, value: None, limit: None });
    let lines = headline(&sheet);
    assert!(lines.len() == 2 && lines[1].ends_with("of 99.0 K); the pad stopped spinning"), "{lines:?}");
    assert!(lines.iter().all(|line| !line.contains('…')), "{lines:?}");
}

#[test]
fn the_headline_names_the_strokes_that_may_be_off_too() {
    let mut sheet = Invented::of(&Recipe::good());
    let mut told = |doubtful_hi: f64| {
        for (s, value) in sheet.strokes.iter_mut().zip([0.03, 0.026, 0.02, 0.012, 0.02, 0.02, 0.02, 0.02]) {
            let hi = if value > 0.025 { value * 1.05 } else { value * 1.1 };
            let lo = if value == 0.026 { doubtful_hi } else { value * 0.95 };
            s.traverse_mps = Some(Interval { lo, value, hi });
        }
        steadypass::drawing::section_pass::finding(&sheet.input())
    };
    let said = told(0.024);
    let want = "Stroke 1 too fast, stroke 2 perhaps too fast, stroke 4 perhaps too slow; ";
    assert!(said.starts_with(want), "{said}");
    assert!(told(0.0258).starts_with("Strokes 1 and 2 too fast, stroke 4 perhaps too slow; "));
    sheet.strokes[0].traverse_mps = None;
    sheet.strokes[1].traverse_mps = None;
    let said = steadypass::drawing::section_pass::finding(&sheet.input());
    assert!(said.starts_with("Stroke 4 perhaps too slow; "), "{said}");
}

/// A best estimate in the band is not a stroke in the band: of many whose intervals reach beyond it some were outside.
#[test]
fn the_pace_was_kept_plainly_only_where_the_intervals_lie_inside() {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.rows.iter_mut().for_each(|r| r.surface_rise_k = r.surface_rise_k.map(|k| k.min(3.0)));
    sheet.pass.surface_rise_k = Some(3.0);
    let mut told = |share: f64, on: usize| {
        for (i, s) in sheet.strokes.iter_mut().enumerate() {
            let share = if i == on { share } else { 0.05 };
            s.traverse_mps = Some(Interval { lo: 0.020 * (1.0 - share), value: 0.020, hi: 0.020 * (1.0 + share) });
        }
        let all = texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ");
        (steadypass::drawing::section_pass::finding(&sheet.input()), all)
    };
    let (said, all) = told(0.2, 2);
    assert!(said.starts_with("All 8 strokes kept to the target pace; "), "{said}");
    assert!(all.contains("The pace, and the warmth as the spot saw it: all inside the plan."), "{all}");
    for share in [0.3, 0.4] {
        let (said, all) = told(share, 2);
        assert!(said.starts_with("All 8 strokes kept to the target pace, as far as it is known; "), "{said}");
        assert!(all.contains("The pace as far as it is known, and the warmth as the spot saw it: all inside"), "{all}");
        assert!(all.contains("8 of 8"), "by their best estimates: {all}");
    }
}

#[test]
fn what_to_do_about_heat_goes_by_where_it_came_from() {
    let said = |brought_k: f64| {
        let mut sheet = Invented::of(&Recipe::hot());
        let start_s = sheet.pass.start_s;
        for row in &mut sheet.rows {
            let k = brought_k + 0.2 * (row.t_s - start_s);
            row.surface_rise_k = Some(k);
        }
        texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ")
    };
    assert!(said(0.5).contains("Lift earlier: the limit was crossed at"), "{}", said(0.5));
    let brought = said(7.0);
    assert!(brought.contains("Let the panel cool before a pass: this one began at +7."), "{brought}");
    assert!(!brought.contains("Lift earlier"), "{brought}");
}

#[test]
fn a_hot_panel_cools_before_the_arm_is_slowed() {
    let said = |recipe: &Recipe, heat_limit_k: Option<f64>| {
        let mut sheet = Invented::of(recipe);
        for stroke in &mut sheet.strokes {
            stroke.traverse_mps = Some(Interval { lo: 0.04, value: 0.042, hi: 0.044 });
        }
        let mut input = sheet.input();
        input.bands.rise_limit_k = heat_limit_k.or(input.bands.rise_limit_k);
        texts(&section_pass_svg(&input).unwrap()).join(" ")
    };
    let hot = said(&Recipe::hot(), Some(5.0));
    assert!(hot.contains("Once the panel has cooled, slow the arm: "), "{hot}");
    assert!(!hot.contains("Slow the arm: "), "{hot}");
    let cool = said(&Recipe::good(), Some(80.0));
    assert!(cool.contains("Slow the arm: ") && !cool.contains("has cooled"), "{cool}");
}

#[test]
fn invented_data_are_called_so() {
    let mut sheet = Invented::of(&Recipe::good());
    let said = |s: &Invented| texts(&section_pass_svg(&s.input()).unwrap()).contains(&"Invented data".to_owned());
    assert!(said(&sheet));
    sheet.session.invented = false;
    assert!(!said(&sheet));
}

#[test]
fn only_what_is_worth_going_over_is_told_and_where_it_is() {
    type Place = fn(f64, f64) -> bool;
    // The lines of the map are of points: a part's mean beside them would contradict them.
    let said = |sheet: &Invented| texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ");
    // Multiplies what the map holds where a place, as shares of the worked area, is meant.
    let thinned = |place: Place, factor: f64| {
        let mut sheet = Invented::of(&Recipe::good());
        let map = sheet.rubbing.as_mut().unwrap();
        let (nx, cell, origin, area) = (map.nx, map.cell_m, map.origin_m, map.worked);
        for (i, d) in map.distance_m.as_mut().unwrap().iter_mut().enumerate() {
            let x = (origin.0 + (i % nx) as f64 * cell - area.x0_m) / (area.x1_m - area.x0_m);
            let y = (origin.1 + (i / nx) as f64 * cell - area.y0_m) / (area.y1_m - area.y0_m);
            *d *= if place(x, y) { factor } else { 1.0 };
        }
        sheet
    };
    let even = said(&Invented::of(&Recipe::good()));
    assert!(even.contains("To keep The pace") && !even.contains("ubbed:") && !even.contains("Give "), "{even}");
    // Beyond what lies between the strokes.
    let parts: [(Place, &str); 5] = [
        (|x, _| x < 0.27, "the left side"),
        (|_, y| (y - 0.5).abs() > 0.27, "the lower and the upper side"),
        (|x, y| (x - 0.5).abs() > 0.23 || (y - 0.5).abs() > 0.27, "the whole rim"),
        (|x, y| (x - 0.5).abs() > 0.2 && (y - 0.5).abs() > 0.2, "the four corners"),
        (|x, y| x > 0.7 && y > 0.7, "the upper right"),
    ];
    for (place, want) in parts {
        let said = said(&thinned(place, 0.01));
        assert!(said.contains(&format!("Give {want} more: on average")), "{want}: {said}");
    }
    let strip = said(&thinned(|x, _| (x - 0.5).abs() < 0.06, 0.3));
    assert!(strip.contains("Give the strip down the middle more: on average"), "{strip}");
    let strip = said(&thinned(|_, y| (y - 0.5).abs() < 0.06, 0.3));
    assert!(strip.contains("Give the strip across the middle more: on average"), "{strip}");
    let square = said(&thinned(|x, y| (x - 0.6).abs() < 0.1 && (y - 0.6).abs() < 0.1, 0.3));
    assert!(square.contains("Give a place in the middle more: on average"), "{square}");
    // Guessed lanes leave guessed gaps.
    let mut guessed = thinned(|_, y| (y - 0.5).abs() < 0.06, 0.3);
    guessed.pass.track_sd_m = Some(0.05);
    assert!(!said(&guessed).contains("Give "), "{}", said(&guessed));
}

#[test]
fn what_is_only_good_to_know_is_not_to_be_kept() {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.lost_s = 0.4;
    let said = texts(&section_pass_svg(&sheet.input()).unwrap());
    let at = |text: &str| said.iter().position(|t| t.starts_with(text)).unwrap_or_else(|| panic!("{text}: {said:?}"));
    let order = [at("To keep"), at("The pace"), at("To know"), at("Samples of this pass")];
    assert!(order.is_sorted(), "{said:?}");
}

#[test]
fn what_is_missing_is_said_in_words() {
    let says = |change: fn(&mut Invented), want: &str| {
        let mut sheet = Invented::of(&Recipe::good());
        change(&mut sheet);
        let all = texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ");
        assert!(all.contains(want), "{want:?} is missing in {all}");
        pixels(&sheet);
    };
    says(|s| s.rows.iter_mut().for_each(|r| r.orbit_opm = None), "Orbit rate Not known");
    says(|s| s.rows.iter_mut().for_each(|r| r.surface_rise_k = None), "Surface rise Not known");
    let without_start = |s: &mut Invented| {
        s.rows.iter_mut().for_each(|r| r.surface_rise_k = None);
        s.pass.surface_start_c = None;
    };
    let without_looks = |s: &mut Invented| {
        s.rows.iter_mut().for_each(|r| (r.surface_rise_k, r.surface_c) = (None, None));
        (s.pass.surface_start_c, s.session.no_looks) = (None, true);
    };
    says(without_looks, "Surface rise Not known: no temperature was recorded, as in a table without that column.");
    says(without_start, "temperature at the start was seen too seldom to judge heat");
    says(|s| s.strokes.clear(), "no stroke could be told apart");
    says(|s| s.strokes.iter_mut().for_each(|x| x.traverse_mps = None), "length could not be found");
    says(|s| s.rubbing = None, "Where the pad went is not known");
    says(|s| s.pass.track_sd_m = Some(0.077), "true to ±127\u{a0}mm only, as much as the pad is wide or more");
    says(|s| s.pass.track_sd_m = Some(0.075), "Sideways true to ±123\u{a0}mm.");
    says(|s| s.strokes.iter_mut().for_each(|x| x.spot_trails = None), "need not be cooling");
    says(|s| s.strokes.iter_mut().for_each(|x| x.spot_trails = Some(false)), "The spot trailed in no stroke");
    says(|s| s.rows.retain(|r| (r.t_s - 900.0).abs() > 8.0), "no data");
    says(|s| s.lost_s = 0.34, "Samples of this pass are missing, 0.3\u{a0}s in all.");
    says(|s| s.lost_s = 0.02, "are missing, less than 0.1\u{a0}s in all.");
    says(|s| s.session.technician.clear(), "technician not named");
    says(
        |s| {
            let track = s.pass.track.iter().map(|p| steadypass::analysis::TrackPoint { pad_speed_mps: None, ..*p });
            let track: Vec<_> = track.collect();
            let setup =
                steadypass::analysis::rubbing::RubbingSetup { pad_radius_m: 0.0625, section_m: Some((0.45, 0.45)) };
            s.rubbing = steadypass::analysis::rubbing::RubbingMap::of(&[&track], &setup);
        },
        "pad speed not known",
    );
}

#[test]
fn a_stroke_length_in_doubt_is_said_wherever_the_arm_speed_stands() {
    let said = |told_m: f64, length_doubt: Option<LengthDoubt>| {
        let mut sheet = Invented::of(&Recipe::good());
        sheet.bands.stroke_length_m = Some(told_m);
        sheet.pass.length_doubt = length_doubt;
        let t_s = sheet.pass.start_s + 30.0;
        sheet.warnings = vec![Warning { t_s, kind: WarningKind::PaceFast, value: Some(0.03), limit: Some(0.0254) }];
        pixels(&sheet);
        texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ")
    };
    let by_turns_m = Interval { lo: 0.35, value: 0.4, hi: 0.45 };
    let by_turns = Some(LengthDoubt { by_turns_m, clear: true });
    let doubted = said(0.6, by_turns);
    for want in [
        "; stroke length told in doubt",
        "by the turns, length told in doubt",
        ") by the turns, target",
        "warned, by the length told?",
        "Check the stroke length: 0.60 m was told, the turns say 0.35 to 0.45 m.",
    ] {
        assert!(doubted.contains(want), "{want:?} is missing in {doubted}");
    }
    let beside = said(0.44, by_turns);
    assert!(
        beside.contains("0.44 m was told, which does not fit the pass worked in one go with this one."),
        "{beside}"
    );
    let slight = said(0.52, Some(LengthDoubt { by_turns_m, clear: false }));
    assert!(slight.contains("Check the stroke length: 0.52 m was told, the turns say 0.35 to 0.45 m."), "{slight}");
    assert!(!slight.contains("by the turns") && !slight.contains("told in doubt"), "the figures go by it: {slight}");
    let right = said(0.44, None);
    assert!(!right.contains("told") && !right.contains("by the turns"), "{right}");
}

#[test]
fn what_the_import_found_and_what_was_noted_stands_on_the_sheet() {
    let gravity = "Gravity does not turn in the accelerations as the turn rates say: an axis of these has the wrong sign or is another's, \
                   and arm speeds, strokes and passes are wrong.";
    let said = |sheet: &Invented| texts(&section_pass_svg(&sheet.input()).unwrap()).join(" ");
    // Beside a map, and where the strokes stand in a table.
    for has_map in [true, false] {
        let mut sheet = Invented::of(&Recipe::hot());
        if !has_map {
            sheet.rubbing = None;
        }
        assert!(!said(&sheet).contains("Found by the import") && !said(&sheet).contains("Noted while recording"));
        sheet.session.table_remarks =
            vec![format!("{gravity} Turn rates are right-handed: change them and import again.")];
        let (start_s, end_s) = (sheet.pass.start_s, sheet.pass.end_s);
        let note = |t_s: f64, text: &str| (t_s, text.into());
        sheet.notes = vec![
            note(start_s - 5.0, "before it"),
            note(start_s + 24.0, "pad \u{202e}cleaned"),
            note(end_s + 5.0, "after it"),
        ];
        let all = said(&sheet);
        assert!(
            all.contains("Found by the import: Gravity does not turn") && all.contains("passes are wrong."),
            "{all}"
        );
        assert!(!all.contains("right-handed"), "what to do about it is for the page: {all}");
        assert!(all.contains("Noted while recording: 0:24\u{a0}pad cleaned"), "{all}");
        assert!(!all.contains("before it") && !all.contains("after it"), "{all}");
        assert_eq!(overprints(&sheet), [""; 0]);
    }
    // More than there is room for is counted, never cut off in silence.
    let mut sheet = Invented::of(&Recipe::hot());
    sheet.session.table_remarks = vec![gravity.to_owned(); 9];
    sheet.notes = vec![(sheet.pass.start_s + 24.0, "pad cleaned".into())];
    let all = said(&sheet);
    assert!(all.contains(" · and 6 more on the review page") && all.contains("pad cleaned"), "{all}");
    assert_eq!(overprints(&sheet), [""; 0]);
    // Figures in doubt are not praised.
    let mut good = Invented::of(&Recipe::good());
    assert!(said(&good).contains("To keep"));
    good.session.table_remarks = vec![gravity.to_owned()];
    assert!(!said(&good).contains("To keep"));
}

#[test]
fn what_has_no_room_beside_the_map_is_counted() {
    let left_out = |sheet: &Invented| {
        let all = texts(&section_pass_svg(&sheet.input()).unwrap());
        let said = all.iter().find_map(|t| t.strip_suffix(" more, for which there is no room"));
        let shown = all.iter().filter(|t| t.starts_with("The start of stroke ")).count();
        (shown, said.map(|said| said.trim_start_matches("and ").parse::<usize>().unwrap()))
    };
    let mut sheet = Invented::of(&Recipe::hot());
    assert_eq!(left_out(&sheet), (0, None));
    sheet.strokes.iter_mut().for_each(|s| s.supposed[0] = true);
    let (shown, more) = left_out(&sheet);
    assert_eq!(shown + more.expect("these sentences have no room"), 4);
    assert_eq!(overprints(&sheet), overprints(&Invented::of(&Recipe::hot())));
}

#[test]
fn the_columns_of_the_stroke_table_never_meet() {
    for units in [Units::Si, Units::Us] {
        // The last so long that no size would do.
        for (value, half) in [(0.031, 0.006), (0.025_51, 0.000_02), (0.25, 0.04), (12.3, 0.000_2), (1e7, 1e3)] {
            let mut sheet = Invented::of(&Recipe::hot());
            sheet.rubbing = None;
            sheet.units = units;
            sheet
                .strokes
                .iter_mut()
                .for_each(|s| s.traverse_mps = Some(Interval { lo: value - half, value, hi: value + half }));
            let (texts, _) = layout(&section_pass_svg(&sheet.input()).unwrap());
            let mut row: Vec<_> = texts.iter().filter(|(_, f)| f.left() > 1200.0 && f.right() < 1750.0).collect();
            let at = row.iter().find(|(words, _)| words.starts_with('(') && words != "(90 %)");
            let (_, interval) = at.expect("an interval");
            let middle = (interval.top() + interval.bottom()) / 2.0;
            row.retain(|(_, f)| f.top() < middle && middle < f.bottom());
            row.sort_by(|a, b| a.1.left().total_cmp(&b.1.left()));
            assert_eq!(row.len(), 5, "{row:?}");
            for pair in row.windows(2) {
                assert!(pair[1].1.left() - pair[0].1.right() > 5.0, "{:?} {:?}", pair[0], pair[1]);
            }
        }
    }
}

#[test]
fn nothing_known_at_all_is_still_a_sheet() {
    let mut sheet = Invented::of(&Recipe::good());
    sheet.rows.clear();
    sheet.strokes.clear();
    sheet.warnings.clear();
    sheet.rubbing = None;
    sheet.bands = Default::default();
    sheet.session = Default::default();
    let pass = &mut sheet.pass;
    pass.track.clear();
    (pass.traverse_mean_mps, pass.orbit_median_opm, pass.pad_speed_mean_mps, pass.surface_rise_k) =
        (None, None, None, None);
    (pass.surface_start_c, pass.orbit_free_opm, pass.strokes) = (None, None, 0);
    let all = texts(&section_pass_svg(&sheet.input()).unwrap());
    assert_eq!(all.iter().filter(|t| *t == "not known").count(), 5, "{all:?}");
    assert!(ink(&pixels(&sheet), TITLE) > 3000);
}

#[test]
fn hostile_names_do_no_harm() {
    let names = [
        "<script>alert(1)</script>&amp;\"'",
        "\u{0}\u{1}\u{b}\u{c}\u{1f}\u{7f}\u{9f}\u{fffe}\u{202e}drawkcab",
        "]]></text></svg><!-- ",
        "山田太郎 محمد",
        "",
    ];
    for name in names.iter().map(|n| (*n).to_owned()).chain(["x".repeat(100_000), "word ".repeat(50_000)]) {
        let mut sheet = Invented::of(&Recipe::hot());
        sheet.session.technician.clone_from(&name);
        sheet.session.machine.clone_from(&name);
        sheet.session.panel.clone_from(&name);
        sheet.session.date.clone_from(&name);
        let svg = section_pass_svg(&sheet.input()).unwrap();
        assert!(svg.len() < 1_500_000 && !svg.contains("<script") && !svg.contains("<!--"));
        let drawn = pixels(&sheet);
        assert!(
            ink(&drawn, TITLE) > 3000,
            "the title is there in spite of {:?}",
            name.chars().take(30).collect::<String>()
        );
        // Nothing may run out of the sheet's right margin.
        assert_eq!(ink(&drawn, (1760, 90, 40, 40)), 0);
    }
}

#[test]
fn odd_figures_do_not_stop_the_drawing() {
    let odd = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -1.0, 1e300, 1e-300];
    for value in odd {
        let mut sheet = Invented::of(&Recipe::hot());
        for (i, row) in sheet.rows.iter_mut().enumerate().filter(|(i, _)| i % 50 == 0) {
            row.orbit_opm = Some(Measured { value, sd: value });
            row.surface_rise_k = Some(value);
            if i == 0 {
                row.t_s = value;
            }
        }
        sheet.strokes[1].traverse_mps = Some(Interval { lo: value, value, hi: value });
        sheet.strokes[2].direction_deg = Some(value);
        sheet.pass.traverse_mean_mps = Some(Interval { lo: value, value, hi: value });
        sheet.pass.orbit_free_opm = Some(value);
        sheet.pass.track[7].x_m = value;
        sheet.warnings[0].value = Some(value);
        sheet.warnings[0].t_s = sheet.pass.start_s + value;
        section_pass_svg(&sheet.input()).unwrap();
        sheet.bands.pace_mps = Some(Band { lo: value, hi: value });
        sheet.bands.orbit_opm = Some(Band { lo: value, hi: 2.0 });
        sheet.bands.rise_limit_k = Some(value);
        pixels(&sheet);
        sheet.pass.end_s = value;
        section_pass_svg(&sheet.input()).unwrap();
        sheet.pass.start_s = value;
        pixels(&sheet);
    }
}

#[test]
fn a_long_pass_stays_small() {
    let mut recipe = Recipe::busy();
    recipe.paces_mps = vec![0.02; 200];
    recipe.pitch_m = 0.002;
    let sheet = Invented::of(&recipe);
    assert!(sheet.rows.len() > 40_000, "{}", sheet.rows.len());
    let started = std::time::Instant::now();
    let svg = section_pass_svg(&sheet.input()).unwrap();
    println!(
        "{} rows, {} strokes: {} kB of SVG in {:.0?}",
        sheet.rows.len(),
        sheet.strokes.len(),
        svg.len() / 1000,
        started.elapsed()
    );
    // Measured 1.4 MB, most of it 200 strokes of a way; the 50 000 rows cost a few points per column.
    assert!(svg.len() < 2_000_000, "{}", svg.len());
    pixels(&sheet);
}
