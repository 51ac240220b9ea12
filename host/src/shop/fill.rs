//! From a recording to a filed session: the figures of a review, with what the user adds.
//!
//! ```text
//! Event (from live or review) ─► Figures ─┐
//! Facts, About (who, what with, on what) ─┴─► NewSession ─► Shop::file
//! ```

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use super::names::kind_word;
use super::{
    Filed, Id, MachineEntry, NewNote, NewPass, NewSection, NewSession, PRINT_CELLS, Print, ProductKind, Result,
    SectionMap, Session, Shop, ShopError, Technician,
};
use crate::analysis::rubbing::RubbingMap;
use crate::analysis::{State, TrackPoint};
use crate::drawing::rubbing_setup;
use crate::guidance::{Plan, plan::Source as PlanSource};
use crate::recording::{Facts, Source};
use crate::replay::{Replay, ReplayError};
use crate::session::{Event, JudgedPass};

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

/// Takes up what a review hands out.
#[derive(Clone, Debug)]
pub struct Figures {
    plan: Plan,
    sections: Vec<NewSection>,
    notes: Vec<NewNote>,
    /// Passes of the section that is still open: the way of the pad, and its map.
    open: Vec<(Vec<TrackPoint>, Option<RubbingMap>)>,
    seconds: f64,
    running_s: f64,
}

impl Figures {
    /// Under the plan of the review.
    pub fn new(plan: Plan) -> Self {
        Self { plan, sections: Vec::new(), notes: Vec::new(), open: Vec::new(), seconds: 0.0, running_s: 0.0 }
    }

    /// Takes the next event; with a pass comes its rubbing map, [`rubbing`], where it has one.
    pub fn event(&mut self, event: &Event, map: Option<RubbingMap>) {
        match event {
            Event::Row(row) => {
                self.seconds = row.t_s;
                self.running_s += if row.state == State::Still { 0.0 } else { 0.1 };
            }
            Event::Pass(judged) => self.pass(judged, map),
            _ => {}
        }
    }

    fn pass(&mut self, judged: &JudgedPass, map: Option<RubbingMap>) {
        let pass = &judged.pass;
        if self.sections.last().is_none_or(|s| s.number != pass.section) {
            self.close_section();
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
            pause_s: (!judged.rows.is_empty()).then_some(standing as f64 * 0.1),
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
    fn close_section(&mut self) {
        let open = std::mem::take(&mut self.open);
        let Some(section) = self.sections.last_mut() else { return };
        // A pass whose way is not known would be missing from the sum.
        let maps: Option<Vec<&RubbingMap>> = open.iter().map(|(_, map)| map.as_ref()).collect();
        let Some(maps) = maps.filter(|maps| !maps.is_empty()) else { return };
        let stacked = RubbingMap::stack(&maps).or_else(|| {
            let tracks: Vec<&[TrackPoint]> = open.iter().map(|(track, _)| track.as_slice()).collect();
            RubbingMap::of(&tracks, &rubbing_setup(&self.plan))
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
    /// New, or again.
    pub filed: Filed,
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
        figures.close_section();
        let fingerprint = fingerprint(recording)?;
        let place = std::path::absolute(recording).unwrap_or_else(|_| recording.to_owned());
        let place = std::fs::canonicalize(&place).unwrap_or(place);
        let mut remarks = Vec::new();
        self.whole(|| {
            let earlier = self.session_of_recording(&fingerprint, &facts.sensor, &facts.started)?;
            let technician = self.technician_of(facts, about, earlier.as_ref(), &mut remarks)?;
            let machine = self.machine_of(&figures.plan, about, earlier.as_ref(), &mut remarks)?;
            let product = |kind, name: &Option<String>| name.as_ref().map(|n| self.product(kind, n)).transpose();
            let panel = about.panel.clone().or_else(|| earlier.as_ref().map(|e| e.panel.clone()));
            let new = NewSession {
                fingerprint,
                recording: Some(place.to_string_lossy().into_owned()),
                started: facts.started.clone(),
                day: day_of(&facts.started)?,
                technician,
                machine,
                vehicle: about.vehicle.as_ref().map(|v| self.vehicle(v)).transpose()?,
                pad: product(ProductKind::Pad, &about.pad)?,
                liquid: product(ProductKind::Liquid, &about.liquid)?,
                panel: panel.filter(|p| !p.is_empty()).unwrap_or_else(|| facts.panel.clone()),
                trainer: about.trainer,
                source: match facts.source {
                    Source::Sensor => "sensor",
                    Source::Table => "table",
                    Source::Simulation => "simulation",
                },
                sensor: facts.sensor.clone(),
                program: env!("CARGO_PKG_VERSION").to_owned(),
                plan: figures.plan.to_toml(),
                part: 1,
                seconds: figures.seconds,
                running_s: figures.running_s,
                lost: lost.to_owned(),
                pace_mps: (figures.plan.pace_mps().lo, figures.plan.pace_mps().hi),
                heat_limit_k: figures.plan.heat_rise_k,
                sections: figures.sections,
                notes: figures.notes,
            };
            self.file(&new)
        })
        .map(|filed| Filing { filed, remarks })
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
                if let Some(planned) = planned.as_ref().filter(|p| p.to_lowercase() != name.trim().to_lowercase()) {
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
        for (i, session) in sessions.iter().enumerate() {
            progress(i, sessions.len());
            let Some(recording) = &session.recording else {
                rebuilt.without += 1;
                continue;
            };
            match self.rebuild_one(session, Path::new(recording)) {
                Ok(()) => rebuilt.done += 1,
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

    fn rebuild_one(&self, session: &Session, path: &Path) -> Result<()> {
        let unreadable = |e: ReplayError| ShopError::Value(e.to_string());
        File::open(path).map_err(|e| ShopError::io("open", path, e))?;
        let mut replay = Replay::open(path).map_err(unreadable)?;
        let facts = replay.facts().clone();
        let filed = self.session_of_recording(&fingerprint(path)?, &facts.sensor, &facts.started)?;
        if filed.is_none_or(|filed| filed.id != session.id) {
            return Err(ShopError::Value("another recording stands at this place now".to_owned()));
        }
        // Sessions filed by a program that did not keep the plan were judged by the one inside, or by common practice.
        let plan = match self.plan_of(session.id)? {
            plan if plan.is_empty() => replay.plan().unwrap_or_default(),
            plan => Plan::from_toml(&PlanSource::new("plan of the filed session", &plan))
                .map_err(|e| ShopError::Value(e.to_string()))?,
        };
        let mut figures = Figures::new(plan.clone());
        let ended = replay
            .run(plan.clone(), |_| {}, |event| figures.event(&event, rubbing(&event, &plan)))
            .map_err(unreadable)?;
        let lost = ended.lost().unwrap_or_default();
        self.file_review(path, &facts, figures, &About::default(), &lost)?;
        Ok(())
    }
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

/// The shop's day: the date as written, in the zone the recording was made in.
fn day_of(started: &str) -> Result<String> {
    started
        .get(..10)
        .and_then(|day| day.parse::<jiff::civil::Date>().ok())
        .map(|day| day.to_string())
        .ok_or_else(|| ShopError::Value(format!("the recording was started at {started:?}, which is no date")))
}
