//! Drawings and page of a review: a sheet as soon as its pass is settled, the page at the end.

use std::sync::Arc;

use steadypass::{
    analysis::rubbing::RubbingMap,
    drawing::{PlanBands, SessionFacts, SheetInput, section_pass_png},
    guidance::{Plan, Units, Warning},
    recording::{Facts, Source},
    replay::Ended,
    report::{PassSheets, RecordingPart, ReviewPage, index_html},
    results::{Results, sheet_name},
    session::{Event, JudgedPass},
    tables::{MARKS, NOTES, PASSES, SERIES, STROKES, WARNINGS},
};

use super::{Failure, facts::machine_text};

/// Sheets of one recording. What a pass was drawn from is let go with it: memory does not grow with the day.
pub(super) struct Sheets {
    session: SessionFacts,
    is_table: bool,
    /// Who else worked, in order of appearance.
    names: Vec<String>,
    plan: Plan,
    units: Units,
    passes: PassSheets,
    warnings: Vec<Warning>,
    notes: Vec<(f64, Arc<str>)>,
}

impl Sheets {
    /// * `table_remarks`: what the import found wrong with the table, known before it is played.
    pub(super) fn new(units: Units, facts: &Facts, plan: Plan, table_remarks: Vec<String>) -> Self {
        let named = |text: &str, other: String| if text.is_empty() { other } else { text.to_owned() };
        let session = SessionFacts {
            technician: facts.technician.clone(),
            machine: named(&facts.machine, machine_text(&plan)),
            panel: facts.panel.clone(),
            date: date_text(&facts.started),
            invented: facts.source == Source::Simulation,
            no_looks: false,
            table_remarks,
        };
        Self {
            session,
            is_table: facts.is_table(),
            names: Vec::new(),
            plan,
            units,
            passes: PassSheets::default(),
            warnings: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// Draws what is due; with a pass comes its rubbing map.
    pub(super) fn take(
        &mut self,
        event: &Event,
        rubbing: Option<&RubbingMap>,
        results: &mut Results,
    ) -> Result<(), Failure> {
        match event {
            Event::Warning(warning) => self.warnings.push(*warning),
            Event::Note { t_s, text } => self.notes.push((*t_s, text.clone())),
            Event::Pass(judged) => return self.draw(judged, rubbing, results),
            _ => {}
        }
        Ok(())
    }

    /// Writes the page.
    pub(super) fn page(
        &self,
        name: &str,
        seconds: f64,
        ended: &Ended,
        remarks: &[String],
        results: &mut Results,
    ) -> Result<(), Failure> {
        let session = SessionFacts {
            technician: if self.names.is_empty() { self.session.technician.clone() } else { self.names.join(", ") },
            ..self.session.clone()
        };
        let recording = RecordingPart {
            name,
            session: &session,
            seconds,
            passes: &self.passes,
            warnings: &self.warnings,
            notes: &self.notes,
            losses: ended.losses,
            rates: ended.rates,
            damage: ended.damage,
            has_gyro: ended.has_gyro,
            is_table: self.is_table,
            remarks,
        };
        let page = ReviewPage {
            recordings: &[recording],
            files: &[SERIES.0, STROKES.0, PASSES.0, WARNINGS.0, MARKS.0, NOTES.0],
            version: env!("CARGO_PKG_VERSION"),
        };
        results.file("index.html", index_html(&page).as_bytes())?;
        Ok(())
    }

    fn draw(
        &mut self,
        judged: &JudgedPass,
        rubbing: Option<&RubbingMap>,
        results: &mut Results,
    ) -> Result<(), Failure> {
        let session = session_of(&self.session, judged);
        if !session.technician.is_empty() && !self.names.contains(&session.technician) {
            self.names.push(session.technician.clone());
        }
        let input = SheetInput { notes: &self.notes, ..sheet_of(judged, &session, rubbing, &self.plan, self.units) };
        let png = section_pass_png(&input).map_err(Failure::failed)?;
        let file_name = sheet_name(judged.pass.section, judged.pass.pass);
        results.file(&file_name, &png)?;
        self.passes.push(&input, &file_name, png);
        Ok(())
    }
}

/// What the sheet of a judged pass is drawn from, live and in review; without the notes, which are not for whoever opens the live
/// page.
pub(super) fn sheet_of<'a>(
    judged: &'a JudgedPass,
    session: &'a SessionFacts,
    rubbing: Option<&'a RubbingMap>,
    plan: &Plan,
    units: Units,
) -> SheetInput<'a> {
    SheetInput {
        session,
        pass: &judged.pass,
        strokes: &judged.strokes,
        rows: &judged.rows,
        warnings: &judged.warnings,
        notes: &[],
        lost_s: judged.lost_s,
        bands: PlanBands::from(plan),
        rubbing,
        machine: plan.machine.kind,
        units,
    }
}

/// A pass is its technician's, whoever began the recording; what the thermometer did is known by then.
pub(super) fn session_of(session: &SessionFacts, judged: &JudgedPass) -> SessionFacts {
    let technician = judged.technician.as_deref().unwrap_or(&session.technician);
    SessionFacts { technician: technician.to_owned(), no_looks: !judged.has_looks, ..session.clone() }
}

/// "25 November 2026, 10:41" from the stored time; the text itself when it does not read as one.
fn date_text(started: &str) -> String {
    started
        .get(..19)
        .and_then(|local| local.parse::<jiff::civil::DateTime>().ok())
        .map_or_else(|| started.to_owned(), |at| at.strftime("%-d %B %Y, %H:%M").to_string())
}
