//! From a recording to a filed session: the figures of a review, with what the user adds.
//!
//! ```text
//! Event (from live or review) ─► Figures ─┐
//! Facts, About (who, what with, on what) ─┴─► NewSession ─► Shop::file
//! ```

use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;

use super::names::kind_word;
use super::{
    Filed, Id, MachineEntry, NewNote, NewPass, NewSection, NewSession, PRINT_CELLS, Print, ProductKind, Result,
    SectionMap, Session, Shop, ShopError, Technician,
};
use crate::analysis::rubbing::RubbingMap;
use crate::analysis::{State, TrackPoint};
use crate::drawing::rubbing_setup;
use crate::guidance::{Plan, plan::Source as PlanSource};
use crate::name;
use crate::recording::{Facts, Source, moment_at, start_of, start_text};
use crate::replay::{Replay, ReplayError};
use crate::session::{Event, Hands, JudgedPass};

/// Length of a row of the series, s.
const ROW_S: f64 = 0.1;
/// Moments of a pass at which a print keeps the rise.
const RISE_POINTS: usize = 21;

/// What the user adds to what the recording says. `None` leaves what the recording, or an earlier filing, says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Who worked.
    pub technician: Option<String>,
    /// With which machine.
    pub machine: Option<String>,
    /// On which vehicle.
    pub vehicle: Option<String>,
    /// With which pad.
    pub pad: Option<String>,
    /// With which liquid.
    pub liquid: Option<String>,
    /// On which panel.
    pub panel: Option<String>,
    /// Whether this is the trainer's session.
    pub trainer: bool,
}

/// Takes up what a review hands out, apart for each technician who held the machine.
#[derive(Clone, Debug)]
pub struct Figures {
    plan: Plan,
    hands: Hands,
    /// In order of appearance; the first is whoever began, told or not.
    parts: Vec<Part>,
    notes: Vec<(f64, String)>,
    end_s: f64,
}

/// What one technician did in a recording.
#[derive(Clone, Debug, Default)]
struct Part {
    /// As typed at the hand-over; `None` for whoever began.
    technician: Option<Arc<str>>,
    from_s: f64,
    held_s: f64,
    running_s: f64,
    sections: Vec<NewSection>,
    /// Passes of the section that is still open: the way of the pad, and its map.
    open: Vec<(Vec<TrackPoint>, Option<RubbingMap>)>,
}

impl Figures {
    /// Under the plan of the review, begun by `technician` (empty: not told).
    pub fn new(plan: Plan, technician: &str) -> Self {
        let first =
            if technician.trim().is_empty() { plan.technician.clone().unwrap_or_default() } else { technician.into() };
        Self { plan, hands: Hands::new(&first), parts: vec![Part::default()], notes: Vec::new(), end_s: 0.0 }
    }

    /// Takes the next event; with a pass comes its rubbing map, [`rubbing`], where it has one.
    pub fn event(&mut self, event: &Event, map: Option<RubbingMap>) {
        match event {
            Event::Row(row) => {
                self.end_s = row.t_s;
                let holder = self.hands.at(row.t_s).cloned();
                let part = self.part(holder);
                let part = &mut self.parts[part];
                part.held_s += ROW_S;
                part.running_s += if row.state == State::Still { 0.0 } else { ROW_S };
            }
            Event::Pass(judged) => {
                let part = self.part(judged.technician.clone());
                self.parts[part].pass(judged, map, &self.plan);
            }
            Event::HandedTo { t_s, technician } => {
                self.hands.pass_to(*t_s, technician);
                let holder = self.hands.at(*t_s).cloned();
                let part = self.part(holder);
                // Known from here on, unless they had it before.
                if part + 1 == self.parts.len() && part > 0 && self.parts[part].held_s == 0.0 {
                    self.parts[part].from_s = *t_s;
                }
            }
            Event::Note { t_s, text } => self.notes.push((*t_s, text.to_string())),
            _ => {}
        }
    }

    /// Index of a technician's part; made when they appear for the first time.
    fn part(&mut self, technician: Option<Arc<str>>) -> usize {
        let Some(name) = technician else { return 0 };
        if self.hands.at(f64::NEG_INFINITY).is_some_and(|first| name::same(first, &name)) {
            return 0;
        }
        let known = |p: &Part| p.technician.as_ref().is_some_and(|n| name::same(n, &name));
        self.parts.iter().position(known).unwrap_or_else(|| {
            self.parts.push(Part { technician: Some(name), ..Part::default() });
            self.parts.len() - 1
        })
    }

    /// Notes of a part, each with the section that was begun last before it.
    fn notes_of(&self, part: usize) -> Vec<NewNote> {
        let first = self.hands.at(f64::NEG_INFINITY);
        let mine = |t_s: f64| match (self.hands.at(t_s), &self.parts[part].technician) {
            (holder, None) => holder == first,
            (holder, name) => holder == name.as_ref(),
        };
        let begun = |t_s: f64| {
            let sections = self.parts[part].sections.iter();
            sections.rev().find(|s| s.passes.first().is_some_and(|p| p.start_s <= t_s)).map(|s| s.number)
        };
        let notes = self.notes.iter().filter(|(t_s, _)| mine(*t_s));
        notes.map(|(t_s, text)| NewNote { t_s: *t_s, section: begun(*t_s), text: text.clone() }).collect()
    }
}

impl Part {
    fn pass(&mut self, judged: &JudgedPass, map: Option<RubbingMap>, plan: &Plan) {
        let pass = &judged.pass;
        if self.sections.last().is_none_or(|s| s.number != pass.section) {
            self.close_section(plan);
            self.sections.push(NewSection { number: pass.section, ..NewSection::default() });
        }
        let standing = judged.rows.iter().filter(|r| r.state == State::Running).count();
        let known = |v: Option<f64>| v.filter(|v| v.is_finite());
        let new = NewPass {
            number: pass.pass,
            start_s: pass.start_s,
            end_s: pass.end_s,
            strokes: pass.strokes,
            arm_speed_mps: known(pass.traverse_mean_mps.map(|i| i.value)),
            arm_speed_90_mps: pass
                .traverse_mean_mps
                .map(|i| (i.lo, i.hi))
                .filter(|i| i.0.is_finite() && i.1.is_finite()),
            arm_speed_cv: known(pass.traverse_cv),
            in_band_share: known(judged.in_pace_share),
            orbit_median_opm: known(pass.orbit_median_opm),
            orbit_free_opm: known(pass.orbit_free_opm),
            pad_speed_mps: known(pass.pad_speed_mean_mps),
            surface_start_c: known(pass.surface_start_c),
            surface_peak_c: known(pass.surface_peak_c),
            surface_rise_k: known(pass.surface_rise_k),
            seconds_over_limit: known(judged.seconds_over_limit),
            rubbing_mean_m: map.as_ref().and_then(mean_rubbing),
            rubbing_cv: map.as_ref().filter(|m| m.distance_m.is_some()).and_then(RubbingMap::unevenness),
            pause_s: (!judged.rows.is_empty()).then_some(standing as f64 * ROW_S),
            vibration_mps2: known(pass.vibration_mps2),
            warnings: judged.warnings.len() as u32,
            print: Print {
                stroke_mps: judged.strokes.iter().filter_map(|s| s.traverse_mps.map(|i| i.value)).collect(),
                rise_k: rise_profile(judged),
                rubbing: map.as_ref().and_then(cells),
            },
        };
        self.open.push((pass.track.clone(), map));
        if let Some(section) = self.sections.last_mut() {
            section.passes.push(new);
        }
    }

    /// Rubbing of a section: all its passes laid on top of each other.
    fn close_section(&mut self, plan: &Plan) {
        let open = std::mem::take(&mut self.open);
        let Some(section) = self.sections.last_mut() else { return };
        // A pass whose way is not known would be missing from the sum.
        let maps: Option<Vec<&RubbingMap>> = open.iter().map(|(_, map)| map.as_ref()).collect();
        let Some(maps) = maps.filter(|maps| !maps.is_empty()) else { return };
        let stacked = RubbingMap::stack(&maps).or_else(|| {
            let tracks: Vec<&[TrackPoint]> = open.iter().map(|(track, _)| track.as_slice()).collect();
            RubbingMap::of(&tracks, &rubbing_setup(plan))
        });
        if let Some(map) = stacked {
            section.rubbing_mean_m = mean_rubbing(&map);
            section.rubbing_cv = if map.distance_m.is_some() { map.unevenness() } else { None };
            section.map = SectionMap::of(&map);
        }
    }
}

/// Rubbing map of a pass under a plan, for whoever draws or files it; `None` for other events.
pub fn rubbing(event: &Event, plan: &Plan) -> Option<RubbingMap> {
    let Event::Pass(judged) = event else { return None };
    RubbingMap::of(&[&judged.pass.track], &rubbing_setup(plan))
}

fn mean_rubbing(map: &RubbingMap) -> Option<f64> {
    map.distance_m.as_ref()?;
    map.mean().filter(|m| m.is_finite())
}

/// Rise at evenly spaced moments of a pass: the reading next to each, where there is one within its share of the time.
fn rise_profile(judged: &JudgedPass) -> Vec<Option<f64>> {
    let (start, length) = (judged.pass.start_s, judged.pass.end_s - judged.pass.start_s);
    let mut sums = [(0.0, 0u32); RISE_POINTS];
    for row in &judged.rows {
        let Some(rise) = row.surface_rise_k.filter(|r| r.is_finite()) else { continue };
        let place = (row.t_s - start) / length * (RISE_POINTS - 1) as f64;
        if let Some(sum) = sums.get_mut(place.round().max(0.0) as usize) {
            *sum = (sum.0 + rise, sum.1 + 1);
        }
    }
    sums.iter().map(|(sum, n)| (*n > 0).then(|| sum / f64::from(*n))).collect()
}

/// The worked area in [`PRINT_CELLS`] cells each way, by the map's value at each cell's middle.
fn cells(map: &RubbingMap) -> Option<Vec<u8>> {
    let distance = map.distance_m.as_ref()?;
    let area = map.worked;
    let at = |i: usize| {
        let share = |k: usize| (k as f64 + 0.5) / PRINT_CELLS as f64;
        let x = area.x0_m + (area.x1_m - area.x0_m) * share(i % PRINT_CELLS);
        let y = area.y0_m + (area.y1_m - area.y0_m) * share(i / PRINT_CELLS);
        let column = ((x - map.origin_m.0) / map.cell_m).round();
        let row = ((y - map.origin_m.1) / map.cell_m).round();
        let inside = (0.0..map.nx as f64).contains(&column) && (0.0..map.ny as f64).contains(&row);
        if inside { distance.get(row as usize * map.nx + column as usize).copied().unwrap_or(0.0) } else { 0.0 }
    };
    let values: Vec<f64> = (0..PRINT_CELLS * PRINT_CELLS).map(at).collect();
    let most = values.iter().copied().fold(0.0, f64::max);
    (most > 0.0).then(|| values.iter().map(|v| (v / most * 255.0).round() as u8).collect())
}

/// What filing a recording came to, for the user.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filing {
    /// New, or again: a session for each technician who held the machine, in order of appearance.
    pub filed: Vec<Filed>,
    /// What the user should know: names that were added, what is not known.
    pub remarks: Vec<String>,
}

/// Size and checksum of a file.
///
/// # Errors
/// When it cannot be read.
pub fn fingerprint(path: &Path) -> Result<String> {
    let mut file = File::open(path).map_err(|e| ShopError::io("open", path, e))?;
    let (mut hash, mut size, mut buffer) = (crc32fast::Hasher::new(), 0u64, vec![0u8; 1 << 16]);
    loop {
        match file.read(&mut buffer).map_err(|e| ShopError::io("read", path, e))? {
            0 => return Ok(format!("{size}-{:08x}", hash.finalize())),
            got => {
                hash.update(&buffer[..got]);
                size += got as u64;
            }
        }
    }
}

impl Shop {
    /// Files what a review of `recording` found. Of what the user does not say now, an earlier filing of the same recording
    /// decides before the recording does.
    ///
    /// * `lost`: what is missing from it, in words; empty when nothing is.
    ///
    /// # Errors
    /// When nobody says who worked, when a name is nearly but not quite known, when the store cannot be written. The recording
    /// is not touched.
    pub fn file_review(
        &self,
        recording: &Path,
        facts: &Facts,
        mut figures: Figures,
        about: &About,
        lost: &str,
    ) -> Result<Filing> {
        let plan = figures.plan.clone();
        figures.parts.iter_mut().for_each(|part| part.close_section(&plan));
        let fingerprint = fingerprint(recording)?;
        let place = std::path::absolute(recording).unwrap_or_else(|_| recording.to_owned());
        let place = std::fs::canonicalize(&place).unwrap_or(place);
        let mut remarks = Vec::new();
        self.whole(|| {
            let earlier = self.session_of_recording(&fingerprint, &facts.sensor, &facts.started, 1)?;
            if let Some(earlier) = &earlier {
                self.rename_parts(earlier.id, &fingerprint)?;
            }
            let technician = self.technician_of(facts, about, earlier.as_ref(), &mut remarks)?;
            let machine = self.machine_of(&plan, about, earlier.as_ref(), &mut remarks)?;
            let product = |kind, name: &Option<String>| name.as_ref().map(|n| self.product(kind, n)).transpose();
            let panel = name::composed(&self.panel_of(facts, about, earlier.as_ref(), &mut remarks));
            let whole = NewSession {
                fingerprint: fingerprint.clone(),
                recording: Some(place.to_string_lossy().into_owned()),
                started: facts.started.clone(),
                day: day_of(&facts.started)?,
                technician,
                machine,
                vehicle: about
                    .vehicle
                    .as_ref()
                    .map(|v| self.vehicle(v))
                    .transpose()?
                    .or(earlier.as_ref().and_then(|e| e.vehicle)),
                pad: product(ProductKind::Pad, &about.pad)?.or(earlier.as_ref().and_then(|e| e.pad)),
                liquid: product(ProductKind::Liquid, &about.liquid)?.or(earlier.as_ref().and_then(|e| e.liquid)),
                panel,
                trainer: about.trainer,
                source: match facts.source {
                    Source::Sensor => "sensor",
                    Source::Table => "table",
                    Source::Simulation => "simulation",
                },
                sensor: facts.sensor.clone(),
                program: env!("CARGO_PKG_VERSION").to_owned(),
                plan: plan.to_toml(),
                part: 1,
                seconds: figures.end_s,
                running_s: 0.0,
                lost: lost.to_owned(),
                pace_mps: (plan.pace_mps().lo, plan.pace_mps().hi),
                heat_limit_k: plan.heat_rise_k,
                sections: Vec::new(),
                notes: Vec::new(),
            };
            let mut filed: Vec<Filed> = Vec::new();
            for (i, part) in figures.parts.iter().enumerate() {
                let mut new = NewSession {
                    running_s: part.running_s,
                    sections: part.sections.clone(),
                    notes: figures.notes_of(i),
                    ..whole.clone()
                };
                if figures.parts.len() > 1 {
                    new.seconds = part.held_s;
                }
                if let Some(name) = &part.technician {
                    let number = i as u32 + 1;
                    let before = self.session_of_recording(&fingerprint, &facts.sensor, &facts.started, number)?;
                    new.technician = match before {
                        Some(before) => before.technician,
                        None => self.technician_handed_to(name, &mut remarks)?,
                    };
                    new.fingerprint = format!("{fingerprint}/{number}");
                    new.started = later(&facts.started, part.from_s);
                    new.day = day_of(&new.started)?;
                    new.part = number;
                    new.trainer = false;
                }
                filed.push(self.file(&new)?);
            }
            self.drop_parts_after(filed[0].id(), &fingerprint, filed.len() as u32)?;
            Ok(Filing { filed, remarks })
        })
    }

    /// A technician as typed at a hand-over. Nobody can type it again, so what is nearly a known name is taken for it, and said.
    fn technician_handed_to(&self, name: &str, remarks: &mut Vec<String>) -> Result<Id> {
        let name = name.trim();
        match self.technician(name) {
            Err(ShopError::Unknown { close: Some(close), .. }) => {
                remarks.push(format!(
                    "{name}, as typed at the hand-over, is taken for {close}; if that is somebody else, add {name} with \
                     `steadypass shop add technician NAME --shop DIR` and give them the session with `steadypass shop assign`."
                ));
                self.technician(&close)
            }
            Err(ShopError::Unknown { close: None, .. }) => {
                remarks.push(format!("{name} is new to this shop and was added."));
                self.add_technician(&Technician { name: name.to_owned(), note: String::new() })
            }
            known => known,
        }
    }

    fn technician_of(
        &self,
        facts: &Facts,
        about: &About,
        earlier: Option<&Session>,
        remarks: &mut Vec<String>,
    ) -> Result<Id> {
        let name = match (about.technician.as_deref(), earlier) {
            (None, Some(earlier)) => return Ok(earlier.technician),
            (told, _) => told.unwrap_or(&facts.technician).trim(),
        };
        if name.is_empty() {
            return Err(ShopError::Value(
                "nobody says who worked; give --technician NAME. The recording itself is whole".to_owned(),
            ));
        }
        match self.technician(name) {
            // Only a name unlike all others is taken for a new one: a slip must not make a second person.
            Err(ShopError::Unknown { close: None, .. }) => {
                remarks.push(format!("{name} is new to this shop and was added."));
                self.add_technician(&Technician { name: name.to_owned(), note: String::new() })
            }
            known => known,
        }
    }

    /// Sheets go by what is said now and by the recording: where an earlier filing says something else, that is told.
    fn panel_of(&self, facts: &Facts, about: &About, earlier: Option<&Session>, remarks: &mut Vec<String>) -> String {
        let told = |panel: &&str| !panel.is_empty();
        if let Some(now) = about.panel.as_deref().filter(told) {
            return now.to_owned();
        }
        let Some(filed) = earlier.map(|e| e.panel.as_str()).filter(told) else { return facts.panel.clone() };
        if !name::same(filed, &facts.panel) {
            let named = if facts.panel.is_empty() { "names no panel" } else { &format!("names {}", facts.panel) };
            remarks.push(format!(
                "The recording {named}; this session stays filed under {filed}, as told earlier. With --panel NAME sheets and shop \
                 say the same."
            ));
        }
        filed.to_owned()
    }

    fn machine_of(
        &self,
        plan: &Plan,
        about: &About,
        earlier: Option<&Session>,
        remarks: &mut Vec<String>,
    ) -> Result<Option<Id>> {
        let profile = &plan.machine;
        let earlier = earlier.and_then(|e| e.machine);
        let id = match (&about.machine, earlier, &profile.name) {
            (Some(name), _, planned) => {
                if let Some(planned) = planned.as_ref().filter(|p| !name::same(p, name)) {
                    remarks.push(format!(
                        "The recording's plan names {planned}; this session is filed under {name}, as told."
                    ));
                }
                self.machine(name)?
            }
            (None, Some(id), _) => id,
            (None, None, None) => {
                remarks.push(
                    "Nobody says which machine it was, so this session cannot be compared by machine; give --machine NAME, or \
                     `name` under [machine] in the plan."
                        .to_owned(),
                );
                return Ok(None);
            }
            (None, None, Some(name)) => match self.machine(name) {
                Err(ShopError::Unknown { close: None, .. }) => {
                    remarks.push(format!("{name} is new to this shop and was added."));
                    self.add_machine(&MachineEntry {
                        name: name.clone(),
                        kind: kind_word(profile.kind).to_owned(),
                        throw_mm: profile.throw_mm,
                        pad_diameters_mm: Vec::new(),
                        note: String::new(),
                    })?
                }
                known => known?,
            },
        };
        self.add_pad_size(id, profile.pad_diameter_mm)?;
        let machines = self.machines()?;
        if let Some(known) = machines.iter().find(|m| m.id == id).map(|m| &m.entry)
            && (known.kind != kind_word(profile.kind)
                || known.throw_mm.zip(profile.throw_mm).is_some_and(|(a, b)| a != b))
        {
            let throw = |mm: Option<f64>| mm.map_or("no throw told".to_owned(), |t| format!("{t} mm throw"));
            remarks.push(format!(
                "The plan says {} with {}, the shop knows {} as {} with {}: pad speeds follow the plan.",
                kind_word(profile.kind),
                throw(profile.throw_mm),
                known.name,
                known.kind,
                throw(known.throw_mm)
            ));
        }
        Ok(Some(id))
    }

    /// Computes the figures of every session again, each from its recording under the plan it was reviewed by. What was typed
    /// stays; the figures of a session whose recording is gone or changed stay as they are, and that is said.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn rebuild(&self, mut progress: impl FnMut(usize, usize)) -> Result<Rebuilt> {
        let sessions = self.sessions()?;
        let mut rebuilt = Rebuilt::default();
        // The other parts of a recording come with its first.
        let sessions: Vec<&Session> = sessions.iter().filter(|s| s.part == 1).collect();
        for (i, session) in sessions.iter().enumerate() {
            progress(i, sessions.len());
            let Some(recording) = &session.recording else {
                rebuilt.without += 1;
                continue;
            };
            match self.rebuild_one(session, Path::new(recording)) {
                Ok(parts) => rebuilt.done += parts,
                Err(ShopError::Value(why)) => rebuilt.kept.push(format!("{recording}: {why}")),
                Err(ShopError::Io { path, source, .. }) => {
                    let why = crate::recording::describe_io(&source);
                    rebuilt.kept.push(format!("{}: {why}", path.display()));
                }
                Err(other) => return Err(other),
            }
        }
        Ok(rebuilt)
    }

    fn rebuild_one(&self, session: &Session, path: &Path) -> Result<usize> {
        let unreadable = |e: ReplayError| ShopError::Value(e.to_string());
        File::open(path).map_err(|e| ShopError::io("open", path, e))?;
        let replay = Replay::open(path).map_err(unreadable)?;
        let facts = replay.facts().clone();
        let filed = self.parts_of_recording(&fingerprint(path)?, &facts.sensor, &facts.started)?;
        if !filed.iter().any(|part| part.id == session.id) {
            return Err(ShopError::Value("another recording stands at this place now".to_owned()));
        }
        // Sessions filed by a program that did not keep the plan were judged by the one inside, or by common practice.
        let plan = match self.plan_of(session.id)? {
            plan if plan.is_empty() => replay.plan().unwrap_or_default(),
            plan => Plan::from_toml(&PlanSource::new("plan of the filed session", &plan))
                .map_err(|e| ShopError::Value(e.to_string()))?,
        };
        let names = self.technicians()?;
        let began = names.iter().find(|t| t.id == session.technician).map_or("", |t| t.entry.name.as_str());
        let (mut figures, mut lost) = figures_of(path, &plan, began).map_err(unreadable)?;
        // Renamed since, whoever began and came back would be somebody else by the name that the recording has.
        if figures.parts.len() != filed.len() {
            let as_recorded = figures_of(path, &plan, &facts.technician).map_err(unreadable)?;
            if as_recorded.0.parts.len() == filed.len() {
                (figures, lost) = as_recorded;
            }
        }
        Ok(self.file_review(path, &facts, figures, &About::default(), &lost)?.filed.len())
    }
}

/// What a recording comes to under a plan, begun by `technician`, with what is missing from it.
fn figures_of(path: &Path, plan: &Plan, technician: &str) -> std::result::Result<(Figures, String), ReplayError> {
    let mut figures = Figures::new(plan.clone(), technician);
    let take = |event: Event| figures.event(&event, rubbing(&event, plan));
    let ended = Replay::open(path)?.run(plan.clone(), technician, |_| {}, take)?;
    Ok((figures, ended.lost().unwrap_or_default()))
}

/// What a rebuild did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rebuilt {
    /// Sessions computed again.
    pub done: usize,
    /// Sessions that never had a recording.
    pub without: usize,
    /// Sessions whose figures were kept as they are, and why.
    pub kept: Vec<String>,
}

/// A start so many seconds later, in the same zone; the start itself where it cannot be read.
fn later(started: &str, seconds: f64) -> String {
    let moment = start_of(started).and_then(|start| moment_at(&start, seconds));
    moment.map_or_else(|| started.to_owned(), |moment| start_text(&moment))
}

/// The shop's day: the date as written, in the zone the recording was made in.
fn day_of(started: &str) -> Result<String> {
    started
        .get(..10)
        .and_then(|day| day.parse::<jiff::civil::Date>().ok())
        .map(|day| day.to_string())
        .ok_or_else(|| ShopError::Value(format!("the recording was started at {started:?}, which is no date")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_belongs_to_whoever_came_back_in_other_letters() {
        let mut figures = Figures::new(Plan::default(), "Technician A");
        for (t_s, name) in [(10.0, "Technician B"), (20.0, " technician a")] {
            figures.event(&Event::HandedTo { t_s, technician: name.into() }, None);
        }
        figures.event(&Event::Note { t_s: 25.0, text: "haze left of the handle".into() }, None);
        assert_eq!(figures.parts.len(), 2);
        assert_eq!(
            figures.notes_of(0).iter().map(|n| n.text.as_str()).collect::<Vec<_>>(),
            ["haze left of the handle"]
        );
        assert!(figures.notes_of(1).is_empty());
    }
}
