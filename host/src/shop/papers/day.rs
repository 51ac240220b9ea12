//! What one technician did on one day, on one sheet.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::head;
use crate::drawing::canvas::escape;
use crate::exposure::Running;
use crate::guidance::{Units, units::count};
use crate::recording::{moment_at, start_of};
use crate::shop::{Id, PassFigures, Result, SectionPlace, Shop};

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
    /// Warnings.
    pub warnings: u32,
    /// Whether it went over midnight.
    pub over_midnight: bool,
    /// What is missing from the recording.
    pub lost: String,
    /// Where the recording lies.
    pub recording: Option<String>,
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
    /// Vibration exposure in words, where somebody worked it out from the recordings.
    pub exposure: Option<String>,
    /// Whether any figure is invented.
    pub invented: bool,
}

impl DaySheet {
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

    /// What is to be known where a section was worked in several sessions.
    pub fn sections_again(&self) -> Option<&'static str> {
        (self.works.iter().map(|w| w.sections).sum::<usize>() > self.sections)
            .then_some("Sections of one number on a panel are one section, in however many recordings.")
    }

    /// The day in one line: sections, passes, minutes, warnings.
    pub fn summary(&self) -> String {
        let sum = |of: fn(&DayWork) -> usize| self.works.iter().map(of).sum::<usize>();
        format!(
            "{}, {}, {}, {}",
            count(self.sections, "section", "sections"),
            count(sum(|w| w.passes), "pass", "passes"),
            self.minutes().map_or_else(
                || "how long the motor ran is not known".to_owned(),
                |minutes| format!("{} with the motor running", time_words(minutes))
            ),
            count(sum(|w| w.warnings as usize), "warning", "warnings")
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
    let mut places = BTreeSet::new();
    for session in shop.sessions()?.into_iter().filter(|s| s.technician == technician) {
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
        sheet.invented |= matches!(session.source.as_str(), "simulation" | "generated");
        let on_day = |p: &PassFigures| session.day == last || day_at(p.start_s) == day;
        let own: Vec<_> = passes.iter().filter(|p| p.session == session.id && on_day(p)).collect();
        places.extend(own.iter().map(|p| SectionPlace::of(&session, p.section_number)));
        let vehicle = vehicles.iter().find(|v| Some(v.id) == session.vehicle).map(|v| v.entry.label.clone());
        let parts: Vec<String> = vehicle.into_iter().chain([session.panel.clone()]).filter(|p| !p.is_empty()).collect();
        sheet.works.push(DayWork {
            session: session.id,
            started: [session.day.clone(), session.started.get(11..16).unwrap_or_default().to_owned()],
            place: if parts.is_empty() { "not named".to_owned() } else { parts.join(", ") },
            sections: own.chunk_by(|a, b| a.section == b.section).count(),
            passes: own.len(),
            minutes: (session.day == last).then_some(session.running_s / 60.0),
            rise_k: own.iter().filter_map(|p| p.surface_rise_k).reduce(f64::max),
            warnings: own.iter().map(|p| p.warnings).sum(),
            over_midnight: session.day != last,
            lost: session.lost.clone(),
            recording: session.recording.clone(),
        });
    }
    sheet.sections = places.len();
    Ok(sheet)
}

/// The page, UTF-8.
pub fn day_html(sheet: &DaySheet, units: Units) -> String {
    let mut html = head(&format!("{}, {}", sheet.technician, sheet.day));
    let _ = writeln!(html, "<h1>{}</h1><p class=\"soft\">{}</p>", escape(&sheet.technician), escape(&sheet.day));
    if sheet.invented {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    let _ = writeln!(
        html,
        "<p><strong>{}.</strong></p>\n\
         <table><thead><tr><th>Start</th><th>Where</th><th>Worked</th><th>Warmest</th><th>Warnings</th></tr></thead><tbody>",
        sheet.summary()
    );
    for w in &sheet.works {
        let [day, time] = &w.started;
        let started = if *day == sheet.day { time.clone() } else { format!("{day} {time}") };
        let lost =
            if w.lost.is_empty() { String::new() } else { format!("<br><small>missing: {}</small>", escape(&w.lost)) };
        let _ = writeln!(
            html,
            "<tr><th>{}</th><td>{}{lost}</td><td data-label=\"Worked\">{}, {}, {}</td>\
             <td data-label=\"Warmest\">{}</td><td data-label=\"Warnings\">{}</td></tr>",
            escape(&started),
            escape(&w.place),
            count(w.sections, "section", "sections"),
            count(w.passes, "pass", "passes"),
            w.minutes.map_or("time not known".to_owned(), time_words),
            w.rise_k.map_or("not measured".to_owned(), |r| units.rise(r)),
            w.warnings
        );
    }
    html.push_str("</tbody></table>\n");
    for words in sheet.sections_again().into_iter().chain(sheet.over_midnight()) {
        let _ = writeln!(html, "<p><small>{words}</small></p>");
    }
    let exposure = sheet.exposure.as_deref().unwrap_or("Vibration exposure is not known for this day.");
    let _ = write!(
        html,
        "<p>{}</p>\n<footer><p>Numbness, tingling or white fingers: stop and see a doctor, whatever a figure \
         says.</p></footer>\n</body></html>\n",
        escape(exposure)
    );
    html
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};

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
        assert_eq!(sheet.summary(), "0 sections, 0 passes, 9 s with the motor running, 0 warnings");
        let page = day_html(&sheet, Units::Si);
        assert!(page.contains("0 passes, 9 s") && page.contains("A session went past midnight"), "{page}");
        sheet.works[0] = DayWork { minutes: Some(0.0), ..DayWork::default() };
        assert!(sheet.summary().contains(" 0 min ") && !day_html(&sheet, Units::Si).contains("midnight"));
    }
}
