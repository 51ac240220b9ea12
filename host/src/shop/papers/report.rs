//! The owner's report on a vehicle: what was found, what was done, how warm it got, what film is left.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::{embedded, head, long_day, paragraphs};
use crate::drawing::canvas::escape;
use crate::guidance::{Units, units::count};
use crate::name;
use crate::recording::describe_io;
use crate::shop::film::{self, Caution, Gauge, REMOVAL_ALLOWED_UM, Um, panels};
use crate::shop::trial::{History, Verdict};
use crate::shop::{Id, Result, SectionPlace, Setting, Shop, ShopError, Trial};

/// The part of work that names none.
const NOT_NAMED: &str = "not named";

/// A picture the user adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What it shows.
    pub caption: String,
    /// PNG or JPEG.
    pub bytes: Vec<u8>,
}

/// A surface rise, and the limit of the plan it was worked under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warm {
    /// K.
    pub rise_k: f64,
    /// K.
    pub limit_k: f64,
}

impl Warm {
    /// How far above its limit, K; negative below it.
    fn above_k(self) -> f64 {
        self.rise_k - self.limit_k
    }
}

/// What was done on one panel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PanelWork {
    /// Panel.
    pub name: String,
    /// Days worked.
    pub days: Vec<String>,
    /// Sections, each once, on however many days it was worked.
    pub sections: usize,
    /// Passes.
    pub passes: usize,
    /// Minutes with the motor running.
    pub minutes: f64,
    /// Pads and liquids.
    pub products: Vec<String>,
    /// Largest surface rise; `None` where it was not measured.
    pub warmest: Option<Warm>,
    /// The rise that went farthest above its own limit, where any did: not always the largest, for sessions have their own limits.
    pub above: Option<Warm>,
    /// Mean film before and after, µm: of the points read at both times, if there are any.
    pub film_um: (Option<f64>, Option<f64>),
    /// What was taken off, where the gauge's spread is known or three points tell it.
    pub removal: Option<Um>,
    /// Readings that no coat can give: in no figure, and nothing that the owner need know of.
    pub left_out: usize,
    /// What must be known about its film.
    pub cautions: Vec<Caution>,
    /// The thickest point that reads more than factories put on, µm.
    pub thick_um: Option<f64>,
}

impl PanelWork {
    /// What the owner must know about its film.
    pub fn to_know(&self, units: Units) -> Vec<String> {
        let thick = self.thick_um.map(|um| {
            format!(
                "The paint reads up to {}, more than the {} of a factory film: the part may have been painted again. (Common practice to \
                 think so, with no published source.)",
                film::film(um, 0, units),
                film::span(film::FACTORY_UM, units)
            )
        });
        self.cautions.iter().filter_map(|c| c.owner_words(units)).chain(thick).collect()
    }
}

/// What was tried on a part, to choose pad and liquid.
#[derive(Clone, Debug, PartialEq)]
pub struct TestSpot {
    /// The part; empty where it was not named.
    pub panel: String,
    /// Pads with liquids and what came of each, mildest first.
    pub tries: Vec<(String, Trial)>,
    /// Place in `tries` of the mildest that reached the finish.
    pub chosen: Option<usize>,
}

/// Everything on the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnerReport {
    /// The shop's name.
    pub shop: String,
    /// Its logo.
    pub logo: Option<Vec<u8>>,
    /// The vehicle, in words.
    pub vehicle: String,
    /// Its paint, in words.
    pub paint: String,
    /// What was found, typed by the shop.
    pub found: String,
    /// The test spots.
    pub spots: Vec<TestSpot>,
    /// The panels.
    pub panels: Vec<PanelWork>,
    /// Care advice, typed by the shop.
    pub care: String,
    /// Pictures.
    pub pictures: Vec<Picture>,
    /// Whether any figure is invented.
    pub invented: bool,
}

/// Gathers the report on a vehicle.
///
/// # Errors
/// When the vehicle is not known or the store cannot be read.
pub fn owner_report(shop: &Shop, vehicle: Id) -> Result<OwnerReport> {
    let entry = shop
        .vehicles()?
        .into_iter()
        .find(|v| v.id == vehicle)
        .ok_or_else(|| ShopError::Value(format!("there is no vehicle {vehicle}")))?
        .entry;
    let products: BTreeMap<Id, String> = shop.products()?.into_iter().map(|p| (p.id, p.entry.name)).collect();
    let mut report = OwnerReport {
        shop: shop.setting(Setting::Name)?.unwrap_or_default(),
        vehicle: entry.label.clone(),
        paint: paint_words(&entry.paint, &entry.colour, entry.paint_year),
        care: shop.setting(Setting::Care)?.unwrap_or_default(),
        ..OwnerReport::default()
    };
    if let Some(logo) = shop.setting(Setting::Logo)? {
        let path = shop.folder().join(&logo);
        report.logo = Some(std::fs::read(&path).map_err(|e| {
            ShopError::Value(format!(
                "cannot read the shop's logo {}: {}; set it anew with `steadypass shop set --shop DIR logo FILE`, or to \"\" for none",
                path.display(),
                describe_io(&e)
            ))
        })?);
    }
    let mut works: BTreeMap<String, PanelWork> = BTreeMap::new();
    let mut sections: BTreeMap<String, BTreeSet<SectionPlace>> = BTreeMap::new();
    let passes = shop.pass_figures()?;
    for session in shop.sessions()?.iter().filter(|s| s.vehicle == Some(vehicle)) {
        report.invented |= matches!(session.source.as_str(), "simulation" | "generated");
        let name = if session.panel.is_empty() { NOT_NAMED } else { &session.panel };
        let work =
            works.entry(name::key(name)).or_insert_with(|| PanelWork { name: name.to_owned(), ..PanelWork::default() });
        if !work.days.contains(&session.day) {
            work.days.push(session.day.clone());
        }
        work.minutes += session.running_s / 60.0;
        let used = [session.pad, session.liquid].map(|id| id.and_then(|id| products.get(&id)).cloned());
        if let [Some(pad), Some(liquid)] = used {
            let words = format!("{pad} with {liquid}");
            if !work.products.contains(&words) {
                work.products.push(words);
            }
        }
        let own: Vec<_> = passes.iter().filter(|p| p.session == session.id).collect();
        work.passes += own.len();
        let worked = sections.entry(name::key(name)).or_default();
        worked.extend(own.iter().map(|p| SectionPlace::of(session, p.section_number)));
        work.sections = worked.len();
        for rise_k in own.iter().filter_map(|p| p.surface_rise_k) {
            let warm = Warm { rise_k, limit_k: session.heat_limit_k };
            let hotter = |w: Warm| (rise_k, warm.above_k()) > (w.rise_k, w.above_k());
            if work.warmest.is_none_or(hotter) {
                work.warmest = Some(warm);
            }
            if warm.above_k() > work.above.map_or(0.0, Warm::above_k) {
                work.above = Some(warm);
            }
        }
    }
    let readings = shop.film_readings()?;
    let gauge = Gauge::of(shop.number(Setting::GaugeSdUm)?, &readings);
    let floor_um = shop.number(Setting::FilmFloorUm)?;
    for panel in panels(&readings, gauge, floor_um).into_iter().filter(|p| p.vehicle == vehicle) {
        let work = works
            .entry(name::key(&panel.name))
            .or_insert_with(|| PanelWork { name: panel.name.clone(), ..PanelWork::default() });
        work.film_um = panel.film_um();
        work.removal = panel.removal;
        work.left_out = panel.left_out();
        work.thick_um = panel.thick_um();
        work.cautions = panel.cautions;
    }
    report.panels = works.into_values().collect();
    report.spots = test_spots(shop, vehicle)?;
    Ok(report)
}

fn test_spots(shop: &Shop, vehicle: Id) -> Result<Vec<TestSpot>> {
    // The age of paints is asked for by proposals only.
    let history = History::of(shop, 0)?;
    let spot = |verdict: Verdict| TestSpot {
        panel: verdict.panel,
        tries: verdict.tries.into_iter().map(|(trial, name)| (name, trial)).collect(),
        chosen: verdict.keep,
    };
    Ok(history.verdicts(vehicle, None).into_iter().map(spot).collect())
}

impl TestSpot {
    /// For the owner: no grades of the trade beyond what can be seen.
    fn words(&self) -> String {
        let tried = |(name, trial): &(String, Trial)| {
            let left = trial.left();
            let left = if left.is_empty() { String::new() } else { format!(", left {}", left.join(" and ")) };
            let word = if trial.finished() { "brought the finish" } else { "did not bring the finish" };
            format!("{name}, {}: {word}{left}", count(trial.passes, "pass", "passes"))
        };
        let tries = self.tries.iter().map(tried).collect::<Vec<_>>().join("; ");
        match self.chosen() {
            Some((name, _)) => format!("{tries}. The mildest that brought it: {name}."),
            None => format!("{tries}."),
        }
    }

    fn chosen(&self) -> Option<&(String, Trial)> {
        self.tries.get(self.chosen?)
    }

    /// What did not go as a test spot is meant to: tried when work had begun, or polished with something else.
    fn otherwise(&self, report: &OwnerReport) -> Vec<String> {
        let name = if self.panel.is_empty() { NOT_NAMED } else { &self.panel };
        let (own, others): (Vec<&PanelWork>, Vec<_>) =
            report.panels.iter().filter(|p| p.passes > 0).partition(|p| name::same(&p.name, name));
        // A spot on a part that was not polished was tried for the others.
        let (part, works) = if own.is_empty() { ("the vehicle", others) } else { ("the part", own) };
        let begun = works.iter().flat_map(|p| &p.days).min();
        let tried = self.chosen().map(|(_, t)| &t.day).or(self.tries.iter().map(|(_, t)| &t.day).min());
        let late = begun.zip(tried).filter(|(begun, tried)| begun < tried);
        let late = late.map(|_| format!("This was tried when work on {part} had begun."));
        let used: BTreeSet<&str> = works.iter().flat_map(|p| &p.products).map(String::as_str).collect();
        let other = self.chosen().filter(|(name, _)| !used.is_empty() && !used.contains(name.as_str()));
        let other = other.map(|_| {
            let used: Vec<&str> = used.into_iter().collect();
            format!("Noted for {part} is {}.", used.join("; "))
        });
        late.into_iter().chain(other).collect()
    }
}

fn spots(html: &mut String, report: &OwnerReport) {
    if report.spots.is_empty() {
        return;
    }
    let otherwise: Vec<Vec<String>> = report.spots.iter().map(|spot| spot.otherwise(report)).collect();
    html.push_str(if otherwise.iter().all(Vec::is_empty) {
        "<h2>How we chose pad and liquid</h2>\n<p>We tried on a small spot first, so that the mildest that does it is used and no more \
         paint is taken than needed. From the mildest on:</p>\n<ul>\n"
    } else {
        "<h2>What we tried on a small spot</h2>\n<p>To find the mildest pad and liquid that does it, so that no more paint is taken \
         than needed. From the mildest on:</p>\n<ul>\n"
    });
    for (spot, otherwise) in report.spots.iter().zip(&otherwise) {
        let panel = if spot.panel.is_empty() { "part not named" } else { &spot.panel };
        let words = std::iter::once(&spot.words()).chain(otherwise).map(String::as_str).collect::<Vec<_>>().join(" ");
        let _ = writeln!(html, "<li><strong>{}:</strong> {}</li>", escape(panel), escape(&words));
    }
    html.push_str("</ul>\n");
}

fn paint_words(paint: &str, colour: &str, year: Option<i64>) -> String {
    let kind = match paint {
        "clear-coat" => "clear-coated paint",
        "single-stage" => "single-stage paint",
        "respray" => "resprayed paint",
        _ => "paint",
    };
    let colour = if colour == "unknown" { String::new() } else { format!("{colour} ") };
    let year = year.map_or(String::new(), |y| format!(" of {y}"));
    format!("{colour}{kind}{year}")
}

impl OwnerReport {
    /// What the owner must know about the film, panel by panel.
    pub fn to_know(&self, units: Units) -> Vec<(&str, String)> {
        self.panels.iter().flat_map(|p| p.to_know(units).into_iter().map(|words| (p.name.as_str(), words))).collect()
    }
}

fn to_know(html: &mut String, report: &OwnerReport, units: Units) {
    let to_know = report.to_know(units);
    if to_know.is_empty() {
        return;
    }
    html.push_str("<h2>What to know about the paint</h2>\n<ul>\n");
    for (panel, words) in to_know {
        let _ = writeln!(html, "<li><strong>{}:</strong> {}</li>", escape(panel), escape(&words));
    }
    html.push_str("</ul>\n");
}

/// The page, UTF-8. Pictures that are neither PNG nor JPEG are left out.
pub fn report_html(report: &OwnerReport, units: Units) -> String {
    let shop = if report.shop.is_empty() { "Paint correction" } else { &report.shop };
    let mut html = head(&format!("{shop}: {}", report.vehicle));
    let logo = report.logo.as_deref().and_then(embedded);
    let logo = logo.map_or(String::new(), |data| format!("<img alt=\"{}\" src=\"{data}\">", escape(shop)));
    let _ = writeln!(
        html,
        "<header><div><p class=\"soft\">{}</p><h1>Work on your {}</h1><p class=\"soft\">{}</p></div>{logo}</header>",
        escape(shop),
        escape(&report.vehicle),
        escape(&report.paint)
    );
    if report.invented {
        html.push_str(crate::drawing::invented::PARAGRAPH);
    }
    if !report.found.trim().is_empty() {
        html.push_str("<h2>What we found</h2>\n");
        paragraphs(&mut html, &report.found);
    }
    spots(&mut html, report);
    html.push_str("<h2>What we did</h2>\n");
    if report.panels.is_empty() {
        html.push_str("<p>No work on this vehicle is filed yet.</p>\n");
    } else {
        html.push_str(
            "<table><thead><tr><th>Part</th><th>Polished with</th><th>How much</th><th>Warmest</th><th>Paint thickness</th></tr>\
             </thead><tbody>\n",
        );
        report.panels.iter().for_each(|p| row(&mut html, p, units));
        html.push_str("</tbody></table>\n");
        notes(&mut html, report);
    }
    to_know(&mut html, report, units);
    let pictures: Vec<(&str, String)> =
        report.pictures.iter().filter_map(|p| Some((p.caption.as_str(), embedded(&p.bytes)?))).collect();
    if !pictures.is_empty() {
        html.push_str("<h2>Pictures</h2>\n<div class=\"pictures\">\n");
        for (caption, data) in pictures {
            let caption = escape(caption);
            let _ = writeln!(
                html,
                "<figure><img alt=\"{caption}\" src=\"{data}\"><figcaption>{caption}</figcaption></figure>"
            );
        }
        html.push_str("</div>\n");
    }
    if !report.care.trim().is_empty() {
        html.push_str("<h2>How to keep it so</h2>\n");
        paragraphs(&mut html, &report.care);
    }
    html.push_str("<footer><p>Temperatures and times come from a sensor on the machine and are aids, not a certificate.</p></footer>\n");
    html.push_str("</body></html>\n");
    html
}

/// What the figures of the table are; of those that are in it.
fn notes(html: &mut String, report: &OwnerReport) {
    let mut notes = Vec::new();
    if report.panels.iter().any(|p| p.warmest.is_some()) {
        notes.push(
            "Warmest: how far the surface rose above where it started, at the spot that was read beside the pad; our limit is for that \
             spot. The hottest place of the part was not measured and may have been much warmer.",
        );
    }
    let read = |p: &PanelWork| p.film_um.0.is_some() || p.film_um.1.is_some();
    let taken = |p: &PanelWork| p.film_um.0.and(p.film_um.1).and(p.removal).is_some_and(|um| um.measurable());
    if report.panels.iter().any(taken) {
        notes.push(
            "Paint thickness: mean of the gauge readings of all layers together; how much was taken holds within ± in nine of ten \
             cases, by the spread of the gauge and of the points.",
        );
    } else if report.panels.iter().any(read) {
        notes.push("Paint thickness: mean of the gauge readings of all layers together.");
    }
    if !notes.is_empty() {
        let _ = writeln!(html, "<p><small>{}</small></p>", notes.join(" "));
    }
}

/// A mean that stands alone.
fn one_mean(um: f64, units: Units) -> String {
    let (unit_um, _, unit) = film::unit(units);
    format!("{:.*}\u{a0}{unit}", least_digits(units), um / unit_um)
}

/// Digits of a mean that needs no more: whole µm; of a mil the hundredths that gauges read, for a tenth is 2.5 µm, as much as a
/// whole polish takes.
fn least_digits(units: Units) -> usize {
    if units == Units::Us { 2 } else { 0 }
}

/// The two means, and what the readings say was taken off. What is shown adds up: whoever subtracts finds what was taken.
fn before_and_after(before: f64, after: f64, removal: Option<Um>, units: Units) -> String {
    let (unit_um, digits, unit) = film::unit(units);
    let steps = 10f64.powi(digits as i32);
    let shown = |um: f64| (um / unit_um * steps).round() / steps;
    let told = removal.filter(Um::measurable);
    let before = shown(before);
    let after = told.map_or(shown(after), |um| before - shown(um.value));
    // More digits than needed are only shown where one of the means has one.
    let least = least_digits(units);
    let in_least = 10f64.powi(least as i32);
    let spare = [before, after].iter().all(|v| (v * in_least - (v * in_least).round()).abs() < 0.05);
    let decimals = if spare { least } else { digits };
    let taken = match (told, removal) {
        (Some(um), _) => {
            let [value, half] = [um.value, um.half_width()].map(|um| um / unit_um);
            format!("; {value:.digits$}\u{a0}±\u{a0}{half:.digits$}\u{a0}{unit} taken")
        }
        (None, Some(um)) if um.grew() => "; the readings do not fit together".into(),
        (None, Some(um)) if um.interval().1 > REMOVAL_ALLOWED_UM.1 => {
            "; the readings do not tell how much was taken".into()
        }
        (None, Some(um)) if um.value > 0.0 => "; less taken than the gauge can tell".into(),
        // Thicker by no more than the gauge may be off: nobody took less than nothing.
        (None, Some(_)) => "; no difference that the gauge can tell".into(),
        (None, None) => String::new(),
    };
    format!("{before:.decimals$}\u{a0}{unit} before, {after:.decimals$}\u{a0}{unit} after{taken}")
}

/// The largest rise beside its own limit; and the one that went too far, where that is another.
fn warmest(warm: Warm, above: Option<Warm>, units: Units) -> String {
    let words = |warm: Warm| {
        let word = if warm.above_k() > 0.0 { "above" } else { "within" };
        format!("{}, {word} our limit of {}", units.rise(warm.rise_k), units.rise(warm.limit_k))
    };
    match above.filter(|_| warm.above_k() <= 0.0) {
        Some(above) => format!("{}; another time {}", words(warm), words(above)),
        None => words(warm),
    }
}

fn row(html: &mut String, panel: &PanelWork, units: Units) {
    let products = if panel.products.is_empty() { "not noted".to_owned() } else { panel.products.join("; ") };
    let much = if panel.passes == 0 {
        "not polished".to_owned()
    } else {
        let sections = count(panel.sections, "section", "sections");
        // A date broken over two lines reads as two numbers.
        let days: Vec<String> =
            panel.days.iter().map(|day| format!("<span class=\"day\">{}</span>", escape(&long_day(day)))).collect();
        format!("{sections}, {:.0} min, {}", panel.minutes, days.join(", "))
    };
    let warm = panel.warmest.map_or("not measured".to_owned(), |warm| warmest(warm, panel.above, units));
    let film = match panel.film_um {
        (Some(before), Some(after)) => before_and_after(before, after, panel.removal, units),
        (Some(before), None) => format!("{} before", one_mean(before, units)),
        (None, Some(after)) => format!("{} after", one_mean(after, units)),
        (None, None) => "not read".to_owned(),
    };
    let _ = writeln!(
        html,
        "<tr><th>{}</th><td data-label=\"Polished with\">{}</td><td>{}</td><td data-label=\"Warmest\">{}</td>\
         <td data-label=\"Paint thickness\">{film}</td></tr>",
        escape(&panel.name),
        escape(&products),
        much,
        // A line between a number and its unit reads as two figures.
        escape(&warm).replace(" K", "\u{a0}K").replace(" °F", "\u{a0}°F")
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};
    use crate::shop::{FilmReading, Phase};

    #[test]
    fn the_owner_s_page_tells_the_work_and_names_no_technician() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 8, sections: 2 }, 4).expect("generated");
        shop.set(Setting::Name, "Corner <Shop>").expect("set");
        shop.set(Setting::Care, "Wash by hand.\nNo brushes.").expect("set");
        for (phase, film_um) in [(Phase::Before, 121.0), (Phase::After, 118.0)] {
            let reading = FilmReading {
                vehicle: cast.vehicles[0],
                panel: "Bonnet".into(),
                point: "1".into(),
                phase,
                day: "2026-03-02".into(),
                film_um,
                place: None,
                note: String::new(),
            };
            shop.add_film_reading(&reading).expect("added");
        }
        let mut report = owner_report(&shop, cast.vehicles[0]).expect("known");
        report.pictures = vec![
            Picture { caption: "bonnet".into(), bytes: b"\xff\xd8\xff picture".to_vec() },
            Picture { caption: "a script".into(), bytes: b"<svg onload=1>".to_vec() },
        ];
        let page = report_html(&report, Units::Si);
        for words in [
            "Corner &lt;Shop&gt;",
            "121\u{a0}µm before, 118\u{a0}µm after",
            "<p>No brushes.</p>",
            "our limit of +11.1\u{a0}K",
        ] {
            assert!(page.contains(words), "{words:?} not in {page}");
        }
        for style in STYLES {
            assert!(!page.contains(style.name), "{} is on the owner's page", style.name);
        }
        assert!(!page.contains("onload"), "only pictures are embedded");
    }

    #[test]
    fn the_owner_reads_why_this_pad_and_liquid() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let vehicle = cast.vehicles[0];
        let page = || report_html(&owner_report(&shop, vehicle).expect("known"), Units::Si);
        assert!(!page().contains("How we chose"));
        let tries = [("Bonnet", 1, true, 0), ("bonnet", 0, false, 0), ("bonnet", 2, true, 1), ("<Roof>", 0, true, 3)];
        for (panel, product, finish_reached, haze) in tries {
            let trial = Trial {
                vehicle,
                panel: panel.into(),
                day: "2026-03-02".into(),
                technician: cast.technicians[0],
                machine: None,
                pad: cast.pads[product],
                liquid: cast.liquids[product],
                session: None,
                passes: 4,
                finish_reached,
                haze,
                holograms: 0,
                film_taken_um: None,
                note: String::new(),
            };
            shop.add_trial(&trial).expect("added");
        }
        let page = page();
        let bonnet = "<strong>bonnet:</strong> soft foam with finishing, 4 passes: did not bring the finish; medium foam with one-step, 4 passes: brought \
                      the finish; short wool with cutting, 4 passes: brought the finish, left slight haze. The mildest that brought it: medium \
                      foam with one-step.</li>";
        assert!(page.contains(bonnet), "{page}");
        let roof = "<strong>&lt;Roof&gt;:</strong> soft foam with finishing, 4 passes: did not bring the finish, left heavy haze.</li>";
        assert!(page.contains(roof), "{page}");
        assert!(!page.contains(STYLES[0].name), "the page names no technician");
    }

    /// Tried after the work, or polished with something else: then it was not "first", nor the choice.
    #[test]
    fn the_owner_reads_first_only_of_what_came_first_and_was_used() {
        let tried = |day: &str, name: &str| {
            let trial = Trial {
                vehicle: 1,
                panel: "Bonnet".into(),
                day: day.into(),
                technician: 1,
                machine: None,
                pad: 1,
                liquid: 2,
                session: None,
                passes: 4,
                finish_reached: true,
                haze: 0,
                holograms: 0,
                film_taken_um: None,
                note: String::new(),
            };
            TestSpot { panel: "bonnet".into(), tries: vec![(name.into(), trial)], chosen: Some(0) }
        };
        let page = |spot: TestSpot| {
            let bonnet = PanelWork {
                name: "Bonnet".into(),
                days: vec!["2026-03-03".into()],
                passes: 2,
                products: vec!["medium foam with polish".into()],
                ..PanelWork::default()
            };
            report_html(&OwnerReport { spots: vec![spot], panels: vec![bonnet], ..OwnerReport::default() }, Units::Si)
        };
        let used = "medium foam with polish";
        let first = page(tried("2026-03-03", used));
        assert!(
            first.contains("How we chose") && first.contains("small spot first") && !first.contains("had begun"),
            "{first}"
        );
        let late = page(tried("2026-03-04", used));
        assert!(!late.contains("first,") && !late.contains("How we chose"), "{late}");
        assert!(
            late.contains("medium foam with polish. This was tried when work on the part had begun.</li>"),
            "{late}"
        );
        let other = page(tried("2026-03-02", "soft foam with polish"));
        assert!(
            !other.contains("first,") && other.contains("Noted for the part is medium foam with polish.</li>"),
            "{other}"
        );
        let mut elsewhere = tried("2026-03-04", used);
        elsewhere.panel = "roof".into();
        assert!(page(elsewhere).contains("when work on the vehicle had begun"));
    }

    #[test]
    fn the_owner_reads_of_film_thicker_than_a_factory_s() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let to_know = |point: &str, film_um: f64| {
            let reading = FilmReading {
                vehicle: cast.vehicles[0],
                panel: "Roof".into(),
                point: point.into(),
                phase: Phase::Before,
                day: "2026-03-02".into(),
                film_um,
                place: None,
                note: String::new(),
            };
            shop.add_film_reading(&reading).expect("added");
            let report = owner_report(&shop, cast.vehicles[0]).expect("known");
            report.to_know(Units::Si).into_iter().map(|(_, words)| words).collect::<Vec<_>>().join(" ")
        };
        // 100 to 180 µm: `data/reference`, as listed where FACTORY_UM is.
        assert_eq!(to_know("1", 175.0), "");
        let said = to_know("2", 308.0);
        assert!(
            said.starts_with("The paint reads up to 308 µm, more than the 100 to 180 µm of a factory film"),
            "{said}"
        );
        assert!(said.contains("may have been painted again") && said.contains("no published source"), "{said}");
        // One slip among the readings of a point does not make it resprayed.
        let slip = to_know("3", 120.0) + &to_know("3", 121.0) + &to_know("3", 900.0);
        assert!(!slip.contains("up to 900") && slip.contains("One reading, 900 µm"), "{slip}");
    }

    #[test]
    fn the_notes_below_the_table_speak_of_what_is_in_it() {
        let page = |film_um, removal: Option<f64>, rise_k: Option<f64>| {
            let panel = PanelWork {
                days: vec!["2026-03-02".into()],
                passes: 1,
                film_um,
                removal: removal.map(|value| Um { value, sd: 1.0, df: f64::INFINITY }),
                left_out: 1,
                warmest: rise_k.map(|rise_k| Warm { rise_k, limit_k: 11.1 }),
                ..PanelWork::default()
            };
            report_html(&OwnerReport { panels: vec![panel], ..OwnerReport::default() }, Units::Si)
        };
        let both = (Some(120.0), Some(117.0));
        let whole = page(both, Some(3.0), Some(8.0));
        assert!(whole.contains("holds within ±") && whole.contains("Warmest: how far"), "{whole}");
        assert!(whole.contains(">2 March 2026<") && !whole.contains("2026-03-02"), "{whole}");
        assert!(!whole.contains("left out"), "{whole}");
        for (film_um, removal) in [(both, None), (both, Some(1.0)), ((Some(120.0), None), Some(3.0))] {
            let some = page(film_um, removal, None);
            assert!(!some.contains('±') && !some.contains("Warmest:"), "{some}");
            assert!(some.contains("Paint thickness: mean of the gauge"), "{some}");
        }
        assert!(!page((None, None), None, None).contains("<small>"));
    }

    #[test]
    fn what_was_taken_off_is_told_no_better_than_the_readings_know() {
        let words = |value| {
            let um = Um { value, sd: 1.0, df: f64::INFINITY };
            before_and_after(120.0, 120.0 - value, Some(um), Units::Si).replace('\u{a0}', " ")
        };
        // 1.645: the normal distribution's 95th percentile, NIST/SEMATECH e-Handbook, 1.3.6.7.1.
        assert_eq!(words(3.0), "120 µm before, 117 µm after; 3.0 ± 1.6 µm taken");
        assert_eq!(words(1.6), "120.0 µm before, 118.4 µm after; less taken than the gauge can tell");
        assert_eq!(words(-1.9), "120.0 µm before, 121.9 µm after; no difference that the gauge can tell");
        assert_eq!(words(-2.0), "120 µm before, 122 µm after; the readings do not fit together");
        let apart = Um { value: 14.7, sd: 12.7, df: 2.0 };
        let words = before_and_after(120.0, 105.3, Some(apart), Units::Si);
        assert!(words.ends_with("; the readings do not tell how much was taken"), "{words}");
    }

    #[test]
    fn who_subtracts_the_shown_means_finds_what_was_taken() {
        let words = |before: f64, after: f64| {
            let um = Um { value: before - after, sd: 0.5, df: f64::INFINITY };
            before_and_after(before, after, Some(um), Units::Si).replace('\u{a0}', " ")
        };
        assert_eq!(words(121.5, 118.5), "121.5 µm before, 118.5 µm after; 3.0 ± 0.8 µm taken");
        // Rounded each for itself, thirds would read 121.3, 118.7 and 2.7.
        assert_eq!(words(364.0 / 3.0, 356.0 / 3.0), "121.3 µm before, 118.6 µm after; 2.7 ± 0.8 µm taken");
        assert_eq!(words(121.0, 118.5), "121.0 µm before, 118.5 µm after; 2.5 ± 0.8 µm taken");
        // 1 mil = 25.4 µm by definition: 4.76, 4.67 and 0.10 mil, each rounded for itself, would not add up.
        let um = Um { value: 2.5, sd: 0.5, df: f64::INFINITY };
        let mil = before_and_after(121.0, 118.5, Some(um), Units::Us).replace('\u{a0}', " ");
        assert_eq!(mil, "4.76 mil before, 4.66 mil after; 0.10 ± 0.03 mil taken");
        assert_eq!(one_mean(121.0, Units::Us), "4.76\u{a0}mil");
        assert_eq!(one_mean(121.3, Units::Si), "121\u{a0}µm");
        let round = before_and_after(4.8 * 25.4, 4.7 * 25.4, None, Units::Us).replace('\u{a0}', " ");
        assert_eq!(round, "4.80 mil before, 4.70 mil after");
    }

    #[test]
    fn the_owner_reads_what_must_be_known_about_the_film() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let reading = |panel: &str, film_um: f64| FilmReading {
            vehicle: cast.vehicles[0],
            panel: panel.into(),
            point: "1".into(),
            phase: Phase::Before,
            day: "2026-03-02".into(),
            film_um,
            place: None,
            note: String::new(),
        };
        let page = |units| report_html(&owner_report(&shop, cast.vehicles[0]).expect("known"), units);
        shop.add_film_reading(&reading("Bonnet", 121.0)).expect("added");
        shop.add_film_reading(&reading("<Roof>", 95.0)).expect("added");
        assert!(!page(Units::Si).contains("What to know"), "the shop has set no limit");
        shop.set(Setting::FilmFloorUm, "100").expect("set");
        let said = page(Units::Si);
        assert!(said.contains("<h2>What to know about the paint</h2>"), "{said}");
        assert!(said.contains("<strong>&lt;Roof&gt;:</strong> The thinnest reading is 95 µm"), "{said}");
        assert!(!said.contains("<strong>Bonnet:</strong>"), "{said}");
        let said = page(Units::Us);
        assert!(said.contains("The thinnest reading is 3.74 mil") && said.contains("below 3.94 mil"), "{said}");
    }

    /// As in the ledger: the number is the place on the panel. Where no panel was named nobody knows the place.
    #[test]
    fn a_section_worked_on_two_days_is_one_section() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        for (day, panel, sections) in [(0, "Roof", 1), (1, "roof", 2), (2, "", 1), (3, "", 1)] {
            let mut new = one_session(&cast, 0, &STYLES[0], day);
            (new.vehicle, new.panel) = (Some(cast.vehicles[0]), panel.into());
            new.sections.truncate(sections);
            shop.file(&new).expect("filed");
        }
        let report = owner_report(&shop, cast.vehicles[0]).expect("known");
        let of = |name: &str| report.panels.iter().find(|p| p.name == name).expect("worked");
        assert_eq!((of("Roof").sections, of("Roof").days.len()), (2, 2));
        assert_eq!((of("not named").sections, of("not named").days.len()), (2, 2));
    }

    #[test]
    fn a_rise_stands_beside_the_limit_it_was_worked_under() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 2, sections: 1 }, 4).expect("generated");
        let page = |sessions: &[(f64, f64)]| {
            for (day, (rise_k, limit_k)) in sessions.iter().enumerate() {
                let mut new = one_session(&cast, 0, &STYLES[0], day as u32);
                (new.vehicle, new.panel, new.heat_limit_k) = (Some(cast.vehicles[0]), "Roof".into(), *limit_k);
                new.sections.iter_mut().flat_map(|s| &mut s.passes).for_each(|p| p.surface_rise_k = Some(*rise_k));
                shop.file(&new).expect("filed");
            }
            let report = owner_report(&shop, cast.vehicles[0]).expect("known");
            let roof = report.panels.iter().find(|p| p.name == "Roof").expect("worked");
            warmest(roof.warmest.expect("measured"), roof.above, Units::Si)
        };
        assert_eq!(page(&[(13.0, 15.0), (10.0, 11.1)]), "+13.0 K, within our limit of +15.0 K");
        assert_eq!(page(&[(13.0, 11.1), (10.0, 11.1)]), "+13.0 K, above our limit of +11.1 K");
        assert_eq!(
            page(&[(13.0, 15.0), (12.0, 11.1)]),
            "+13.0 K, within our limit of +15.0 K; another time +12.0 K, above our limit of +11.1 K"
        );
    }
}
