//! The figures of a recording into the store: one session for each technician who held the machine.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use super::{About, Figures, Replaced};
use crate::name;
use crate::recording::{Facts, Source, moment_at, start_of, start_text};
use crate::shop::{Filed, NewSession, ProductKind, Result, Shop, ShopError};

/// What filing a recording came to, for the user.
#[derive(Clone, Debug, PartialEq)]
pub struct Filing {
    /// New, or again: a session for each technician who held the machine, in order of appearance.
    pub filed: Vec<Filed>,
    /// What was replaced in each that was filed again.
    pub replaced: Vec<Replaced>,
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
    /// * `fingerprint`: the recording's, see [`fingerprint`].
    /// * `lost`: what is missing from it, in words; empty when nothing is.
    ///
    /// # Errors
    /// When nobody says who worked, when a name is nearly but not quite known, when the store cannot be written. The recording
    /// is not touched.
    pub fn file_review(
        &self,
        recording: &Path,
        fingerprint: &str,
        facts: &Facts,
        mut figures: Figures,
        about: &About,
        lost: &str,
    ) -> Result<Filing> {
        let plan = figures.plan.clone();
        figures.parts.iter_mut().for_each(|part| part.close_section(&plan));
        let place = std::path::absolute(recording).unwrap_or_else(|_| recording.to_owned());
        let place = std::fs::canonicalize(&place).unwrap_or(place);
        let mut remarks = Vec::new();
        self.whole(|| {
            let parts = self.parts_of_recording(fingerprint, &facts.sensor, &facts.started)?;
            let earlier = parts.iter().find(|session| session.part == 1).cloned();
            let before = parts.into_iter().map(|part| self.outline(part)).collect::<Result<Vec<_>>>()?;
            if let Some(earlier) = &earlier {
                self.rename_parts(earlier.id, fingerprint)?;
            }
            let technician = self.technician_of(facts, about, earlier.as_ref(), &mut remarks)?;
            let machine = self.machine_of(&plan, about, earlier.as_ref(), &mut remarks)?;
            let product = |kind, name: &Option<String>| name.as_ref().map(|n| self.product(kind, n)).transpose();
            let panel = name::composed(&self.panel_of(facts, about, earlier.as_ref(), &mut remarks));
            let meant = self.panel_meant(&panel)?;
            let whole = NewSession {
                fingerprint: fingerprint.to_owned(),
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
                    let before = self.session_of_recording(fingerprint, &facts.sensor, &facts.started, number)?;
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
            self.drop_parts_after(filed[0].id(), fingerprint, filed.len() as u32)?;
            let after = self.parts_of_recording(fingerprint, &facts.sensor, &facts.started)?;
            let mut replaced = Vec::new();
            for before in before {
                match after.iter().find(|session| session.id == before.session()) {
                    Some(after) => replaced.push(Replaced::new(before, self.outline(after.clone())?)),
                    None => remarks.push(format!(
                        "Session {} is gone: by this filing the machine changed hands less often. What was typed about it is with \
                         session {} now.",
                        before.session(),
                        filed[0].id()
                    )),
                }
            }
            if let Some(meant) = meant {
                remarks.push(self.panel_doubt(whole.vehicle, &whole.panel, &meant)?);
            }
            // Filed under the wrong machine before: that one was never used with this pad.
            if let Some(before) =
                earlier.and_then(|e| e.machine).filter(|before| machine.is_some_and(|now| now != *before))
            {
                self.drop_pad_sizes(before)?;
            }
            let mut filing = Filing { filed, replaced, remarks };
            let cautions = self.overlap_cautions(&filing)?;
            filing.remarks.extend(cautions);
            Ok(filing)
        })
    }
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
