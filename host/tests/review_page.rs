//! The review's page: what it says, that nothing in it can run or ask for anything outside, and its size.

#[path = "support/invented_pass.rs"]
mod invented_pass;

use std::sync::Arc;

use invented_pass::{Invented, Recipe};
use steadypass::drawing::section_pass_png;
use steadypass::guidance::{Units, Warning, WarningKind};
use steadypass::recording::{Damage, Losses};
use steadypass::report::{EMBED_LIMIT_BYTES, PassSheets, RecordingPart, ReviewPage, index_html};
use steadypass::session::Rates;

struct Made {
    sheets: Vec<Invented>,
    pngs: Vec<Vec<u8>>,
    name: String,
    losses: Losses,
    damage: Damage,
    has_gyro: bool,
    is_table: bool,
    remarks: Vec<String>,
    notes: Vec<(f64, Arc<str>)>,
}

impl Made {
    fn of(recipes: &[Recipe]) -> Self {
        let sheets: Vec<Invented> = recipes.iter().map(Invented::of).collect();
        let pngs = sheets.iter().map(|s| section_pass_png(&s.input()).unwrap()).collect();
        Self {
            sheets,
            pngs,
            name: "morning.mcap".into(),
            losses: Losses::default(),
            damage: Damage::default(),
            has_gyro: true,
            is_table: false,
            remarks: vec![],
            notes: vec![],
        }
    }

    fn page(&self) -> String {
        let mut passes = PassSheets::default();
        for (s, png) in self.sheets.iter().zip(&self.pngs) {
            passes.push(&s.input(), &format!("pass-{:02}.png", s.pass.pass), png.clone());
        }
        let mut warnings: Vec<Warning> = self.sheets.iter().flat_map(|s| s.warnings.iter().copied()).collect();
        let none = Default::default();
        warnings.push(Warning { t_s: 5.0, kind: WarningKind::SignalLost, value: Some(1.2), limit: Some(1.0) });
        index_html(&ReviewPage {
            recordings: &[RecordingPart {
                name: &self.name,
                session: self.sheets.first().map_or(&none, |s| &s.session),
                seconds: 1200.0,
                passes: &passes,
                warnings: &warnings,
                notes: &self.notes,
                losses: self.losses,
                rates: Rates::default(),
                damage: self.damage,
                has_gyro: self.has_gyro,
                is_table: self.is_table,
                remarks: &self.remarks,
            }],
            files: &["series.csv", "strokes.csv"],
            version: "0.1.0",
        })
    }
}

/// The page without the pictures' bytes and without its style.
fn words(html: &str) -> String {
    let (before, rest) = html.split_once("<style>").unwrap();
    let mut out = before.to_owned();
    let mut parts = rest.split_once("</style>").unwrap().1.split("data:image/png;base64,");
    out.push_str(parts.next().unwrap());
    parts.for_each(|p| out.push_str(&p[p.find('"').unwrap()..]));
    out
}

#[test]
fn figures_warnings_and_cautions_are_all_there() {
    let html = Made::of(&[Recipe::hot(), Recipe::good()]).page();
    let said = words(&html);
    for want in [
        "Review of morning.mcap",
        "Invented data",
        "Stroke 3 too fast; 11 s over the heat limit",
        "All 8 strokes kept to the target pace",
        "3 of 4",
        "Lift and let it cool",
        "between passes",
        "Switch the machine off",
        "Nothing was lost.",
        "Preston 1927",
        "None of it has been tried on a physical machine yet",
        "never reach for the sensor with the motor running",
        "not an ISO 8041-1 measurement",
        "local law and\nqualified advice come first",
        "series.csv",
    ] {
        assert!(said.contains(want), "{want:?} is missing in {said}");
    }
    assert_eq!(html.matches("src=\"data:image/png;base64,iVBOR").count(), 2);
}

#[test]
fn what_became_of_the_heat_expected_stands_behind_the_warning() {
    let said = |heat: f64| words(&Made::of(&[Recipe { heat, ..Recipe::hot() }]).page());
    assert!(said(1.2).contains("It came after 3 s."));
    let late = said(Recipe::hot().heat);
    assert!(!late.contains("It came") && !late.contains("It did not come"), "the spot did not see");
}

#[test]
fn what_the_strokes_were_stands_behind_a_warning_of_the_pace() {
    let said = words(&Made::of(&[Recipe::hot()]).page());
    assert!(said.contains("limit 25.4 mm/s. <span class=\"soft\">Stroke 3 was too fast: "), "{said}");
    assert!(said.contains(" mm/s as a whole.</span>"), "{said}");
    // As after a stroke length told wrong, that was gone by until the turns contradicted it.
    let mut made = Made::of(&[Recipe::good()]);
    let stroke = made.sheets[0].strokes[1];
    let warning =
        Warning { t_s: stroke.start_s + 4.0, kind: WarningKind::PaceFast, value: Some(0.034), limit: Some(0.0254) };
    made.sheets[0].warnings.push(warning);
    let said = words(&made.page());
    assert!(
        said.contains("34 mm/s, limit 25.4 mm/s. <span class=\"soft\">With hindsight no stroke was too fast then: "),
        "{said}"
    );
}

#[test]
fn nothing_runs_and_nothing_is_fetched() {
    let html = Made::of(&[Recipe::hot()]).page();
    let all = format!("{}{}", words(&html), html.split_once("<style>").unwrap().1.split_once("</style>").unwrap().0);
    for bad in ["<script", "http:", "https:", "//", "@import", "url(", " onload", " onclick", "<iframe", "<object"] {
        assert!(!all.contains(bad), "{bad} is in the page");
    }
    assert!(all.contains("default-src 'none'"));
}

#[test]
fn hostile_text_stays_text() {
    let evil = "\"><script>alert(1)</script><img src=x onerror='alert(1)'>&\u{202e}\u{0}";
    let mut made = Made::of(&[Recipe::hot()]);
    made.name = evil.to_owned();
    made.remarks = vec![evil.to_owned()];
    made.notes = vec![(3.0, evil.into())];
    let session = &mut made.sheets[0].session;
    (session.technician, session.machine, session.panel, session.date) =
        (evil.to_owned(), evil.to_owned(), evil.to_owned(), "z".repeat(1_000_000));
    let said = words(&made.page());
    assert!(
        !said.contains("<script") && !said.contains("<img src=x") && !said.contains('\u{202e}') && !said.contains('\0')
    );
    assert!(said.contains("&lt;script&gt;alert(1)"));
    assert!(said.len() < 40_000, "{}", said.len());
    // Every element that is opened is closed, in order.
    let mut open: Vec<&str> = Vec::new();
    for tag in said.split('<').skip(1) {
        let name = tag.split(|c: char| !c.is_ascii_alphanumeric() && c != '/' && c != '!').next().unwrap();
        match name.strip_prefix('/') {
            Some("style" | "head") | None if ["meta", "img", "!DOCTYPE", "head", "style"].contains(&name) => {}
            Some("head" | "style") => {}
            Some(closed) => assert_eq!(open.pop(), Some(closed), "at <{tag}"),
            None => open.push(name),
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn notes_stand_at_their_times() {
    let mut made = Made::of(&[Recipe::hot()]);
    assert!(!words(&made.page()).contains("Notes taken"));
    let in_pass_s = made.sheets[0].pass.start_s + 10.0;
    made.notes = vec![(5.0, "pad changed".into()), (in_pass_s, "haze left of the handle".into())];
    let said = words(&made.page());
    assert!(said.contains(r#"<th scope="row">0:05</th><td>between passes</td><td>pad changed</td>"#), "{said}");
    assert!(said.contains("</th><td>pass 1</td><td>haze left of the handle</td>"), "{said}");
}

#[test]
fn losses_are_told_with_their_counts() {
    let mut made = Made::of(&[Recipe::hot()]);
    made.losses = Losses { accel_samples: 412, surface_failed: 7, clipped: 3, ..Losses::default() };
    made.damage = Damage { cut: false, bad_chunks: 1, bad_messages: 1, missing: 150 };
    made.remarks = vec!["No gyro column: arm speed and strokes are left blank.".into()];
    let said = words(&made.page());
    for want in [
        "412 accelerometer samples lost",
        "2 damaged places in the file, 150 messages lost",
        "7 thermometer",
        "No gyro column",
    ] {
        assert!(said.contains(want), "{want}");
    }
    assert!(!said.contains("not closed properly"));
    made.damage = Damage { cut: true, bad_chunks: 1, ..Damage::default() };
    let said = words(&made.page());
    for want in ["1 damaged place in the file, how many messages were lost there is not known", "not closed properly"] {
        assert!(said.contains(want), "{want}");
    }
    assert!(!said.contains("Nothing was lost"));
}

#[test]
fn a_table_has_holes_and_no_lead() {
    let losses = Losses { accel_samples: 33_340, interruptions: 1, ..Losses::default() };
    let of_sensor = words(&Made { losses, ..Made::of(&[]) }.page());
    assert!(
        of_sensor.contains("Switch the machine off, then check")
            && of_sensor.contains("On the way from the sensor: 33")
    );
    let said = words(&Made { losses, is_table: true, ..Made::of(&[]) }.page());
    assert!(
        !said.contains("Switch the machine off, then check") && !said.contains("On the way from the sensor: "),
        "{said}"
    );
    assert!(said.contains("The table has a hole here of 1.2 s or more"), "{said}");
    assert!(said.contains("In the table: 33\u{202f}340 accelerometer samples lost, 1 interruption."), "{said}");
}

#[test]
fn many_sheets_are_linked_not_carried() {
    let mut made = Made::of(&[Recipe::busy()]);
    made.pngs[0].resize(EMBED_LIMIT_BYTES + 1, 0);
    let html = made.page();
    assert!(html.len() < 100_000, "{}", html.len());
    assert!(html.contains("src=\"./pass-14.png\""));
}

#[test]
fn a_recording_without_passes_says_why() {
    let said = words(&Made::of(&[]).page());
    assert!(said.contains("No section pass was found: the motor did not run"), "{said}");
    let said = words(&Made { has_gyro: false, ..Made::of(&[]) }.page());
    assert!(
        said.contains("No section pass was found: there are no gyro readings") && !said.contains("motor did not run"),
        "{said}"
    );
    assert!(said.contains("<td>not known: no gyro</td>") && !said.contains("between passes"), "{said}");
}

#[test]
fn units_follow_the_user() {
    let mut made = Made::of(&[Recipe::hot()]);
    made.sheets[0].units = Units::Us;
    let said = words(&made.page());
    assert!(said.contains("0.93 in/s") && said.contains("30 °F") && !said.contains("mm/s"), "{said}");
}

#[test]
fn what_puts_figures_in_doubt_is_told_whole_and_before_them() {
    let mut made = Made::of(&[Recipe::good()]);
    let long =
        format!("The stroke length told does not fit: {}and so to its end.", "one thing and another, ".repeat(20));
    made.remarks = vec![long.clone()];
    let said = words(&made.page());
    let (before, after) = said.split_once("To know before reading on:").expect("remarks");
    assert!(!before.contains("<strong>Section"), "{before}");
    assert!(after.contains(&long) && after.contains("<li>Nothing was lost.</li>"));
    made.remarks.clear();
    assert!(!words(&made.page()).contains("To know before"));
}

#[test]
fn a_pass_of_a_later_section_says_what_its_number_counts() {
    let said = words(&Made::of(&[Recipe::busy(), Recipe::good()]).page());
    for want in [
        "<strong>Section 1, pass 14:</strong>",
        "<strong>Section 3, pass 2 of the recording:</strong>",
        "<figcaption>Section 3 · pass 2 of the recording ",
        "<th scope=\"row\">Section 3 · pass 2<small>of the recording</small></th>",
        "<th scope=\"row\">Section 1 · pass 14</th>",
    ] {
        assert!(said.contains(want), "{want} is missing");
    }
}

#[test]
fn no_line_is_broken_inside_a_number_or_a_range() {
    let said = words(&Made::of(&[Recipe::good()]).page());
    let table = said.split_once("<tbody>").and_then(|(_, rest)| rest.split_once("</tbody>")).expect("a table").0;
    assert!(table.contains("\u{202f}") && !table.contains('\u{2009}'));
    assert!(table.contains('–') && !table.replace("–\u{2060}", "").contains('–'), "{table}");
}

#[test]
fn a_long_day_begins_with_its_totals_and_its_trend() {
    let of = |passes: u32| {
        let mut made = Made::of(&[Recipe::good()]);
        let png = made.pngs[0].clone();
        for pass in 2..=passes {
            let mut sheet = Invented::of(&if pass == 5 { Recipe::hot() } else { Recipe::good() });
            sheet.pass.pass = pass;
            sheet.strokes.iter_mut().for_each(|stroke| stroke.pass = pass);
            made.sheets.push(sheet);
            made.pngs.push(png.clone());
        }
        made
    };
    let few = words(&of(8).page());
    for missing in ["class=\"totals\"", "<svg", "<details>", "Worth looking at first"] {
        assert!(!few.contains(missing), "{missing} on a page of eight passes");
    }
    let many = words(&of(9).page());
    for want in [
        "<dt>Time in passes</dt>",
        "<small>9 passes on ",
        "<dt>Strokes in the band</dt><dd>67 of 68<small>every one in 8 passes</small>",
        "in pass 5; 11 s over the limit, in 1 of 9 passes",
        "<dt>Warnings</dt>",
        " × Lift and let it cool",
        "<strong>Longest over the heat limit:</strong> <a href=\"#pass-1-5\">section ",
        "All 9 passes in words",
    ] {
        assert!(many.contains(want), "{want:?} is missing in {many}");
    }
    assert!(many.contains("<figure id=\"pass-1-5\">"), "what is linked is there");
    let place = |what: &str| many.find(what).unwrap_or_else(|| panic!("no {what}"));
    assert!(place("class=\"totals\"") < place("<svg") && place("<svg") < place("Worth looking at first"));
    assert!(place("Worth looking at first") < place("<strong>Section 3, pass") && place("<details>") < place("<table"));
    assert_eq!(many.matches("<circle").count(), 18, "a dot in either strip for each pass");
    assert_eq!(many.matches("<circle class=\"out\"").count(), 1, "only the hot one was outside");
    let mut us = of(9);
    us.sheets.iter_mut().for_each(|sheet| sheet.units = Units::Us);
    let said = words(&us.page());
    assert!(said.contains("Mean arm speed, in/s") && said.contains(">1.00</text>") && !said.contains("mm/s"), "{said}");
    let mut unknown = of(9);
    for sheet in &mut unknown.sheets {
        sheet.pass.traverse_mean_mps = None;
        sheet.pass.surface_rise_k = None;
        sheet.rows.iter_mut().for_each(|row| row.surface_rise_k = None);
        sheet.strokes.iter_mut().for_each(|stroke| stroke.traverse_mps = None);
    }
    let said = words(&unknown.page());
    assert_eq!(said.matches(">not known</text>").count(), 2);
    assert!(!said.contains("NaN") && !said.contains("<circle"), "{said}");
}
