//! What one technician did on one day, on one sheet.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::{Known, head, long_day};
use crate::drawing::canvas::escape;
use crate::exposure::Running;
use crate::guidance::{Units, units::count};
use crate::name;
use crate::recording::{moment_at, start_of};
use crate::shop::film::{ThinFilm, typed};
use crate::shop::{FilmReading, Id, PassFigures, Phase, Place, Result, SectionPlace, Shop, Trial};

/// One row of a recording's series, s: its length is known no better.
const TENTH_S: f64 = 0.1;

/// One session of the day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DayWork {
    /// Its row.
    pub session: Id,
    /// Day and clock time of the start, as recorded.
    pub started: [String; 2],
    /// Vehicle and panel, in words.
    pub place: String,
    /// Sections.
    pub sections: usize,
    /// Passes.
    pub passes: usize,
    /// Minutes with the motor running; of a session that went over midnight only its recording tells the day's share, see
    /// [`DaySheet::count`].
    pub minutes: Option<f64>,
    /// Largest rise, K.
    pub rise_k: Option<f64>,
    /// Passes whose rise is known.
    pub passes_with_rise: usize,
    /// The largest that its plan allowed, K.
    pub heat_limit_k: f64,
    /// Warnings in its passes.
    pub warnings: u32,
    /// Whether it went over midnight.
    pub over_midnight: bool,
    /// What is missing from the recording.
    pub lost: String,
    /// Where the recording lies.
    pub recording: Option<String>,
}

/// One try on a test spot.
#[derive(Clone, Debug, PartialEq)]
pub struct DayTry {
    /// Vehicle and panel, in words.
    pub place: String,
    /// Pad and liquid.
    pub name: String,
    /// What was tried and what came of it.
    pub trial: Trial,
}

/// Readings of the film gauge of one panel, before or after the work.
#[derive(Clone, Debug, PartialEq)]
pub struct DayReadings {
    /// Vehicle and panel, in words.
    pub place: String,
    /// Before or after.
    pub phase: Phase,
    /// By point, in the order these were first read.
    pub points: Vec<DayPoint>,
    /// What the shop's own limit says of them.
    pub thin: Option<ThinFilm>,
}

/// Readings of the film gauge at one point.
#[derive(Clone, Debug, PartialEq)]
pub struct DayPoint {
    /// As the shop names it.
    pub point: String,
    /// Where on a section, where it was told.
    pub at: Option<Place>,
    /// In the order they were written down, µm.
    pub film_um: Vec<f64>,
}

impl DayPoint {
    /// The points of readings of one panel, in the order these were first read.
    fn each_of(readings: Vec<FilmReading>) -> Vec<Self> {
        let mut points: Vec<Self> = Vec::new();
        for reading in readings {
            match points.iter_mut().find(|point| point.is_of(&reading)) {
                Some(point) => point.film_um.push(reading.film_um),
                None => {
                    let FilmReading { point, place: at, film_um, .. } = reading;
                    points.push(Self { point, at, film_um: vec![film_um] });
                }
            }
        }
        points
    }

    fn is_of(&self, reading: &FilmReading) -> bool {
        name::same(&self.point, &reading.point) && self.at == reading.place
    }

    /// "121 µm, 122 µm at point 1".
    fn words(&self, units: Units) -> String {
        let film: Vec<String> = self.film_um.iter().map(|um| typed(*um, units)).collect();
        let at = self.at.map_or(String::new(), |at| {
            let (along, across) = (units.length(at.along_m), units.length(at.across_m));
            format!(" (section {}, {along} along, {across} across)", at.section)
        });
        format!("{} at point {}{at}", film.join(", "), self.point)
    }
}

impl DayReadings {
    /// Each with its point, µm.
    pub fn each(&self) -> impl Iterator<Item = (&str, f64)> {
        self.points.iter().flat_map(|point| point.film_um.iter().map(|um| (point.point.as_str(), *um)))
    }
}

/// The day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DaySheet {
    /// Who.
    pub technician: String,
    /// When, `YYYY-MM-DD`.
    pub day: String,
    /// The sessions, by start.
    pub works: Vec<DayWork>,
    /// Sections, each once, in however many sessions it was worked.
    pub sections: usize,
    /// Tries on test spots, in the order they were written down.
    pub tries: Vec<DayTry>,
    /// Gauge readings of the day on the vehicles that the technician worked or tried on: by whom is not written down. Where these
    /// are none, on those that nobody worked or tried on, for readings that nobody has shown would be lost.
    pub readings: Vec<DayReadings>,
    /// Notes of the day on the technician's sessions and on vehicles as above; on a day without work or tries also those on no
    /// vehicle.
    pub notes: Vec<String>,
    /// Vibration exposure in words, where somebody worked it out from the recordings.
    pub exposure: Option<String>,
    /// Whether any figure is invented.
    pub invented: bool,
}

impl DayWork {
    /// The largest rise beside its limit, as HTML.
    fn warmest(&self, units: Units) -> String {
        let Some(rise_k) = self.rise_k else { return "not known".to_owned() };
        let (rise, limit) = (units.rise(rise_k), units.rise(self.heat_limit_k));
        let known = Known { with: self.passes_with_rise, passes: self.passes };
        let head = if known.in_all() { String::new() } else { format!("{}: ", known.words()) };
        if rise_k > self.heat_limit_k {
            return format!("{head}<strong>{rise}, above the limit of {limit}</strong>");
        }
        // Of a pass whose rise nobody knows nobody can say that it stayed within.
        let against = if known.in_all() { "within the limit of" } else { "with the limit at" };
        format!("{head}{rise}, {against} {limit}")
    }
}

impl DaySheet {
    /// What was tried, read and noted: lines under their headings, those that have any.
    pub fn lists(&self, units: Units) -> Vec<(&'static str, Vec<String>)> {
        let tried = |t: &DayTry| format!("{}: {}, {}", t.place, t.name, t.trial.outcome(units));
        let read = |r: &DayReadings| {
            let points: Vec<String> = r.points.iter().map(|point| point.words(units)).collect();
            let thin = r.thin.as_ref().map_or(String::new(), |thin| format!(" ({})", thin.words_beside(units)));
            format!("{}, {} the work: {}{thin}", r.place, r.phase.as_str(), points.join("; "))
        };
        let lists = [
            ("Tried on test spots", self.tries.iter().map(tried).collect()),
            ("Film read, by whom is not written down", self.readings.iter().map(read).collect()),
            ("Notes", self.notes.clone()),
        ];
        lists.into_iter().filter(|(_, lines): &(_, Vec<String>)| !lines.is_empty()).collect()
    }

    /// Minutes with the motor running, where that of each session is known.
    pub fn minutes(&self) -> Option<f64> {
        self.works.iter().map(|w| w.minutes).sum()
    }

    /// Tells the day's share of sessions that went over midnight, `read` being those whose recordings could be read and `own` the
    /// technician's stretches in these. What has no share in the day is no work of it.
    pub fn count(&mut self, read: &[Id], own: &[(Id, Running)]) {
        let day = &self.day;
        let on_day = |s: &Running| s.start.as_ref().is_some_and(|start| start.date().to_string() == *day);
        self.works.retain_mut(|work| {
            if work.minutes.is_none() && read.contains(&work.session) {
                let stretches = own.iter().filter(|(session, stretch)| *session == work.session && on_day(stretch));
                work.minutes = Some(stretches.map(|(_, stretch)| stretch.running_s).sum::<f64>() / 60.0);
            }
            work.started[0] == *day || work.passes > 0 || work.minutes != Some(0.0)
        });
    }

    /// What is to be known where a session went over midnight.
    pub fn over_midnight(&self) -> Option<&'static str> {
        self.works.iter().any(|w| w.over_midnight).then_some(
            "A session went past midnight: a pass counts on the day it began on, running time and vibration on the day they fell on.",
        )
    }

    /// Whether the technician neither worked nor tried anything on the day.
    fn is_idle(&self) -> bool {
        self.works.is_empty() && self.tries.is_empty()
    }

    /// Whether nothing that may be the technician's is filed on the day.
    pub fn is_empty(&self) -> bool {
        self.is_idle() && self.readings.is_empty() && self.notes.is_empty()
    }

    /// What is to be known where a section was worked in several sessions.
    pub fn sections_again(&self) -> Option<&'static str> {
        (self.works.iter().map(|w| w.sections).sum::<usize>() > self.sections)
            .then_some("Sections of one number on a panel are one section, in however many recordings.")
    }

    /// The day in one line: sections, passes, minutes, warnings.
    pub fn summary(&self) -> String {
        let tries =
            (!self.tries.is_empty()).then(|| count(self.tries.len(), "try on a test spot", "tries on test spots"));
        if self.works.is_empty() {
            let read: usize = self.readings.iter().map(|r| r.each().count()).sum();
            let read = (tries.is_none() && read > 0).then(|| count(read, "film reading", "film readings"));
            let noted = (tries.is_none() && !self.notes.is_empty()).then(|| count(self.notes.len(), "note", "notes"));
            let filed: Vec<String> = [tries, read, noted].into_iter().flatten().collect();
            let filed = if filed.is_empty() { "nothing".to_owned() } else { filed.join(", ") };
            return format!("{filed}, no recording is filed");
        }
        let tries = tries.map_or(String::new(), |tries| format!(", {tries}"));
        let sum = |of: fn(&DayWork) -> usize| self.works.iter().map(of).sum::<usize>();
        format!(
            "{}, {}, {}, {}{tries}",
            count(self.sections, "section", "sections"),
            count(sum(|w| w.passes), "pass", "passes"),
            self.minutes().map_or_else(
                || "how long the motor ran is not known".to_owned(),
                |minutes| format!("{} with the motor running", time_words(minutes))
            ),
            count(sum(|w| w.warnings as usize), "warning during passes", "warnings during passes")
        )
    }
}

/// Whole minutes; what is less than half of one in seconds, for it is not nothing.
fn time_words(minutes: f64) -> String {
    if minutes > 0.0 && minutes < 0.5 {
        return format!("{:.0} s", (minutes * 60.0).max(1.0));
    }
    format!("{minutes:.0} min")
}

/// Gathers a technician's day. A session that goes over midnight is on both days, on each with the passes that began on it.
///
/// # Errors
/// When the store cannot be read.
pub fn day_sheet(shop: &Shop, technician: Id, day: &str) -> Result<DaySheet> {
    let name = shop.technicians()?.into_iter().find(|t| t.id == technician).map(|t| t.entry.name).unwrap_or_default();
    let vehicles = shop.vehicles()?;
    let (passes, recordings) = (shop.pass_figures()?, shop.recordings()?);
    let mut sheet = DaySheet { technician: name, day: day.to_owned(), ..DaySheet::default() };
    let place = |vehicle: Option<Id>, panel: &str| {
        let vehicle = vehicles.iter().find(|v| Some(v.id) == vehicle).map(|v| v.entry.label.as_str());
        let parts: Vec<&str> = vehicle.into_iter().chain([panel]).filter(|p| !p.is_empty()).collect();
        if parts.is_empty() { "not named".to_owned() } else { parts.join(", ") }
    };
    // Vehicles of the technician's day, and of others'.
    let (mut on, mut of_others) = (BTreeSet::new(), BTreeSet::new());
    let mut places = BTreeSet::new();
    let sessions = shop.sessions()?;
    for session in &sessions {
        let recording = recordings.get(&session.id).and_then(|(started, s)| Some((start_of(started)?, *s)));
        let day_at = |t_s: f64| {
            let moment = recording.as_ref().and_then(|(start, _)| moment_at(start, t_s));
            moment.map_or_else(|| session.day.clone(), |moment| moment.date().to_string())
        };
        // Days sort as they are written. An end at midnight itself is no work after it.
        let last = day_at(recording.as_ref().map_or(0.0, |(_, seconds)| seconds - TENTH_S)).max(session.day.clone());
        if !(session.day.as_str()..=last.as_str()).contains(&day) {
            continue;
        }
        if session.technician != technician {
            of_others.extend(session.vehicle);
            continue;
        }
        on.extend(session.vehicle);
        sheet.invented |= matches!(session.source.as_str(), "simulation" | "generated");
        let on_day = |p: &PassFigures| session.day == last || day_at(p.start_s) == day;
        let own: Vec<_> = passes.iter().filter(|p| p.session == session.id && on_day(p)).collect();
        places.extend(own.iter().map(|p| SectionPlace::of(session, p.section_number)));
        sheet.works.push(DayWork {
            session: session.id,
            started: [session.day.clone(), session.started.get(11..16).unwrap_or_default().to_owned()],
            place: place(session.vehicle, &session.panel),
            sections: own.chunk_by(|a, b| a.section == b.section).count(),
            passes: own.len(),
            minutes: (session.day == last).then_some(session.running_s / 60.0),
            rise_k: own.iter().filter_map(|p| p.surface_rise_k).reduce(f64::max),
            passes_with_rise: own.iter().filter(|p| p.surface_rise_k.is_some()).count(),
            heat_limit_k: session.heat_limit_k,
            warnings: own.iter().map(|p| p.warnings).sum(),
            over_midnight: session.day != last,
            lost: session.lost.clone(),
            recording: session.recording.clone(),
        });
    }
    sheet.sections = places.len();
    let products = shop.products()?;
    let product = |id: Id| products.iter().find(|p| p.id == id).map_or("?", |p| p.entry.name.as_str());
    for trial in shop.trials()?.into_iter().filter(|t| t.day == day) {
        if trial.technician != technician {
            of_others.insert(trial.vehicle);
            continue;
        }
        on.insert(trial.vehicle);
        sheet.tries.push(DayTry {
            place: place(Some(trial.vehicle), &trial.panel),
            name: format!("{} with {}", product(trial.pad), product(trial.liquid)),
            trial,
        });
    }
    let idle = sheet.is_idle();
    let shown = |vehicle: Id| if idle { !of_others.contains(&vehicle) } else { on.contains(&vehicle) };
    let (readings, limits) = shop.film()?;
    let mut groups: Vec<(String, Vec<FilmReading>)> = Vec::new();
    for reading in readings.into_iter().filter(|r| shown(r.vehicle) && r.day == day) {
        let place = place(Some(reading.vehicle), &reading.panel);
        match groups.iter_mut().find(|(of, own)| name::same(of, &place) && own[0].phase == reading.phase) {
            Some((_, own)) => own.push(reading),
            None => groups.push((place, vec![reading])),
        }
    }
    sheet.readings.extend(groups.into_iter().map(|(place, own)| {
        let (phase, thin) = (own[0].phase, ThinFilm::of_readings(&own, limits));
        DayReadings { place, phase, points: DayPoint::each_of(own), thin }
    }));
    for note in shop.notes()?.into_iter().filter(|n| n.day == day) {
        let about = match note.session {
            Some(id) => {
                let own = sessions.iter().find(|s| s.id == id && s.technician == technician);
                let Some(own) = own else { continue };
                place(own.vehicle, &own.panel)
            }
            None if note.vehicle.is_none() && idle => {
                sheet.notes.push(note.text);
                continue;
            }
            None if note.vehicle.is_some_and(shown) => place(note.vehicle, &note.panel),
            None => continue,
        };
        let section = note.section.map_or(String::new(), |number| format!(", section {number}"));
        sheet.notes.push(format!("{about}{section}: {}", note.text));
    }
    Ok(sheet)
}

/// The page, UTF-8.
pub fn day_html(sheet: &DaySheet, units: Units) -> String {
    let day = long_day(&sheet.day);
    let mut html = head(&format!("{}, {day}", sheet.technician));
    let _ = writeln!(html, "<h1>{}</h1><p class=\"soft\">{}</p>", escape(&sheet.technician), escape(&day));
    if sheet.invented {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    let _ = writeln!(html, "<p><strong>{}.</strong></p>", sheet.summary());
    works(&mut html, sheet, units);
    for words in sheet.sections_again().into_iter().chain(sheet.over_midnight()) {
        let _ = writeln!(html, "<p><small>{words}</small></p>");
    }
    let exposure = sheet.exposure.as_deref().unwrap_or("Vibration exposure is not known for this day.");
    let _ = writeln!(html, "<p>{}</p>", escape(exposure));
    for (heading, lines) in sheet.lists(units) {
        let _ = writeln!(html, "<h2>{heading}</h2>\n<ul>");
        lines.iter().for_each(|line| html.push_str(&format!("<li>{}</li>\n", escape(line))));
        html.push_str("</ul>\n");
    }
    html.push_str(
        "<footer><p>Numbness, tingling or white fingers: stop and see a doctor, whatever a figure says.</p></footer>\n</body></html>\n",
    );
    html
}

/// The table of sessions, where there are any.
fn works(html: &mut String, sheet: &DaySheet, units: Units) {
    if sheet.works.is_empty() {
        return;
    }
    let _ = writeln!(
        html,
        "<table><thead><tr><th>Start</th><th>Where</th><th>Worked</th><th>Warmest</th><th>Warnings during passes</th></tr></thead><tbody>"
    );
    for w in &sheet.works {
        let [day, time] = &w.started;
        let started = if *day == sheet.day { time.clone() } else { format!("{}, {time}", long_day(day)) };
        let lost =
            if w.lost.is_empty() { String::new() } else { format!("<br><small>missing: {}</small>", escape(&w.lost)) };
        let _ = writeln!(
            html,
            "<tr><th>{}</th><td>{}{lost}</td><td data-label=\"Worked\">{}, {}, {}</td>\
             <td data-label=\"Warmest\">{}</td><td data-label=\"Warnings during passes\">{}</td></tr>",
            escape(&started),
            escape(&w.place),
            count(w.sections, "section", "sections"),
            count(w.passes, "pass", "passes"),
            w.minutes.map_or("time not known".to_owned(), time_words),
            w.warmest(units),
            w.warnings
        );
    }
    html.push_str("</tbody></table>\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};
    use crate::shop::{FilmReading, Note};

    #[test]
    fn a_day_adds_up_and_an_empty_day_is_empty() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 2, sections: 3 }, 4).expect("generated");
        let sheet = day_sheet(&shop, cast.technicians[0], "2026-03-03").expect("read");
        assert_eq!((sheet.works.len(), sheet.works[0].sections), (1, 3));
        assert!(sheet.summary().starts_with("3 sections, "), "{}", sheet.summary());
        let session = shop.sessions().expect("read").into_iter().find(|s| s.id == 2).expect("filed");
        assert!((sheet.minutes().expect("known") - session.running_s / 60.0).abs() < 1e-9);
        let page = day_html(&sheet, Units::Us);
        assert!(page.contains("Invented data") && page.contains("°F"));
        assert!(page.contains("<p class=\"soft\">3 March 2026</p>") && !page.contains("2026-03-03"), "{page}");
        assert!(day_sheet(&shop, cast.technicians[0], "2026-04-01").expect("read").works.is_empty());
    }

    /// As on the owner's page: the number is the place on the panel.
    #[test]
    fn a_section_of_two_recordings_is_one_section_of_the_day() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let file = |n: u32, panel: &str, sections| {
            let mut new = one_session(&cast, 0, &STYLES[0], 3);
            (new.fingerprint, new.panel) = (format!("again-{n}"), panel.into());
            new.vehicle = Some(cast.vehicles[0]);
            new.sections.truncate(sections);
            shop.file(&new).expect("filed");
            day_sheet(&shop, cast.technicians[0], "2026-03-05").expect("read")
        };
        let one = file(1, "Roof", 2);
        assert_eq!((one.sections, one.sections_again()), (2, None));
        let two = file(2, "roof", 2);
        assert_eq!((two.works.len(), two.sections), (2, 2));
        assert!(two.summary().starts_with("2 sections, "), "{}", two.summary());
        assert!(day_html(&two, Units::Si).contains("are one section"));
        // On another panel it is another; and where none was named nobody knows.
        assert_eq!(file(3, "Bonnet", 1).sections, 3);
        file(4, "", 1);
        assert_eq!(file(5, "", 1).sections, 5);
    }

    /// Begun two minutes before midnight, with its passes after it.
    #[test]
    fn seconds_before_midnight_are_not_nothing() {
        let mut sheet = DaySheet { day: "2026-03-02".into(), ..DaySheet::default() };
        sheet.works.push(DayWork { over_midnight: true, minutes: Some(9.0 / 60.0), ..DayWork::default() });
        assert_eq!(sheet.summary(), "0 sections, 0 passes, 9 s with the motor running, 0 warnings during passes");
        let page = day_html(&sheet, Units::Si);
        assert!(page.contains("0 passes, 9 s") && page.contains("A session went past midnight"), "{page}");
        sheet.works[0] = DayWork { minutes: Some(0.0), ..DayWork::default() };
        assert!(sheet.summary().contains(" 0 min ") && !day_html(&sheet, Units::Si).contains("midnight"));
    }

    #[test]
    fn what_was_tried_read_and_noted_is_on_the_sheet() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 1, sections: 1 }, 4).expect("generated");
        let (day, vehicle) = ("2026-03-09", cast.vehicles[0]);
        let of = |technician: usize| day_sheet(&shop, cast.technicians[technician], day).expect("read");
        assert!(of(0).is_empty());
        let trial = Trial {
            vehicle,
            panel: "Bonnet".into(),
            day: day.into(),
            technician: cast.technicians[0],
            machine: None,
            pad: cast.pads[0],
            liquid: cast.liquids[0],
            session: None,
            passes: 4,
            finish_reached: true,
            haze: 1,
            holograms: 0,
            film_taken_um: Some(1.5),
            note: String::new(),
        };
        shop.add_trial(&trial).expect("added");
        shop.add_trial(&Trial { day: "2026-03-10".into(), ..trial.clone() }).expect("added");
        let in_section = Some(Place { section: 2, along_m: 0.1, across_m: 0.25 });
        for (phase, point, film_um, place) in [
            (Phase::Before, "1", 121.0, None),
            (Phase::Before, "edge", 130.0, in_section),
            (Phase::Before, "1", 122.0, None),
            (Phase::After, "1", 119.5, None),
        ] {
            let (panel, point, note) = ("Bonnet".into(), point.into(), String::new());
            let reading = FilmReading { vehicle, panel, point, phase, day: day.into(), film_um, place, note };
            shop.add_film_reading(&reading).expect("added");
        }
        for vehicle in [Some(vehicle), Some(cast.vehicles[1]), None] {
            let text = format!("Note of <{vehicle:?}>");
            shop.add_note(&Note { day: day.into(), vehicle, text, ..Note::default() }).expect("added");
        }
        let sheet = of(0);
        assert_eq!(sheet.summary(), "1 try on a test spot, no recording is filed");
        let lines: Vec<String> = sheet.lists(Units::Si).into_iter().flat_map(|(_, lines)| lines).collect();
        assert_eq!(
            lines,
            [
                "saloon A, Bonnet: soft foam with finishing, 4 passes: reached the finish, slight haze left, 1.5 µm taken",
                "saloon A, Bonnet, before the work: 121 µm, 122 µm at point 1; 130 µm at point edge (section 2, 0.10 m along, \
                 0.25 m across)",
                "saloon A, Bonnet, after the work: 119.5 µm at point 1",
                "saloon A: Note of <Some(1)>",
            ]
        );
        let page = day_html(&sheet, Units::Us);
        assert!(
            page.contains("Tried on test spots") && page.contains("4.76 mil") && page.contains("&lt;Some(1)"),
            "{page}"
        );
        // Nobody worked on the second vehicle, so what is noted of it may be anybody's; the rest is another's.
        let idle = of(1);
        assert!(idle.works.is_empty() && idle.tries.is_empty() && idle.readings.is_empty());
        assert_eq!(idle.notes, ["van B: Note of <Some(2)>", "Note of <None>"]);
        assert_eq!(idle.summary(), "2 notes, no recording is filed");
    }

    /// Gauged on the day before its work, by a technician who did nothing else: the sheet has no other place for it.
    #[test]
    fn readings_and_notes_alone_make_a_day() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 1, sections: 1 }, 4).expect("generated");
        let of = |technician: usize, day: &str| day_sheet(&shop, cast.technicians[technician], day).expect("read");
        let read = |day: &str, film_um| {
            let (vehicle, panel, point) = (cast.vehicles[0], "Bonnet".into(), "1".into());
            let (phase, place, note, day) = (Phase::Before, None, String::new(), day.into());
            let reading = FilmReading { vehicle, panel, point, phase, day, film_um, place, note };
            shop.add_film_reading(&reading).expect("added");
        };
        read("2026-03-09", 121.0);
        read("2026-03-09", 122.0);
        assert_eq!(of(0, "2026-03-09").summary(), "2 film readings, no recording is filed");
        // A note on an earlier session is of who worked it.
        let session = shop.sessions().expect("read").into_iter().find(|s| s.technician == cast.technicians[0]);
        let note = Note { day: "2026-03-10".into(), session: session.map(|s| s.id), ..Note::default() };
        shop.add_note(&Note { text: "Deep scratch left.".into(), ..note }).expect("added");
        let noted = of(0, "2026-03-10");
        assert!(!noted.is_empty() && noted.notes[0].ends_with(": Deep scratch left."), "{:?}", noted.notes);
        assert!(of(1, "2026-03-10").is_empty(), "the session is another's");
        assert!(of(0, "2026-03-11").is_empty());
    }

    #[test]
    fn a_rise_over_its_limit_is_marked() {
        let work =
            |rise_k| DayWork { rise_k, heat_limit_k: 11.1, passes: 2, passes_with_rise: 2, ..DayWork::default() };
        assert_eq!(work(Some(18.6)).warmest(Units::Si), "<strong>+18.6 K, above the limit of +11.1 K</strong>");
        assert_eq!(work(Some(8.0)).warmest(Units::Si), "+8.0 K, within the limit of +11.1 K");
        assert_eq!(work(None).warmest(Units::Si), "not known");
    }

    /// As where the thermometer gave up during a session.
    #[test]
    fn within_the_limit_is_said_only_where_every_pass_has_a_rise() {
        let page = |rises: [Option<f64>; 2]| {
            let shop = Shop::in_memory();
            let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
            let mut new = one_session(&cast, 0, &STYLES[0], 1);
            new.heat_limit_k = 11.1;
            new.sections.truncate(1);
            let passes = &mut new.sections[0].passes;
            passes.truncate(2);
            passes.iter_mut().zip(rises).for_each(|(pass, rise_k)| pass.surface_rise_k = rise_k);
            let day = new.day.clone();
            shop.file(&new).expect("filed");
            day_html(&day_sheet(&shop, cast.technicians[0], &day).expect("read"), Units::Si)
        };
        let whole = page([Some(8.9), Some(8.0)]);
        assert!(whole.contains(">+8.9 K, within the limit of +11.1 K<"), "{whole}");
        let in_part = page([Some(8.9), None]);
        assert!(in_part.contains(">known in 1 of 2 passes: +8.9 K, with the limit at +11.1 K<"), "{in_part}");
        let above = page([None, Some(13.0)]);
        assert!(above.contains(">known in 1 of 2 passes: <strong>+13.0 K, above the limit"), "{above}");
    }
}
