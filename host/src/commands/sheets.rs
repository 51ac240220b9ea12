//! Drawings and page of a review: a sheet as soon as its pass is settled, the page at the end.

use steadypass::{
    analysis::rubbing::RubbingMap,
    drawing::{PlanBands, SessionFacts, SheetInput, rubbing_setup, section_pass_png},
    guidance::{Plan, Units, Warning},
    recording::{Damage, Facts, Losses, Source},
    report::{PassSheet, RecordingPart, ReviewPage, index_html},
    results::{Results, sheet_name},
    session::{Event, JudgedPass},
    tables::{PASSES, SERIES, STROKES, WARNINGS},
};

use super::{Failure, facts::machine_text};

/// Sheets of one recording.
pub(super) struct Sheets {
    session: SessionFacts,
    plan: Plan,
    units: Units,
    drawn: Vec<Drawn>,
    warnings: Vec<Warning>,
}

struct Drawn {
    judged: Box<JudgedPass>,
    rubbing: Option<RubbingMap>,
    file_name: String,
    png: Vec<u8>,
}

impl Sheets {
    pub(super) fn new(units: Units, facts: &Facts, plan: Plan) -> Self {
        let named = |text: &str, other: String| if text.is_empty() { other } else { text.to_owned() };
        let session = SessionFacts {
            technician: facts.technician.clone(),
            machine: named(&facts.machine, machine_text(&plan)),
            panel: facts.panel.clone(),
            date: date_text(&facts.started),
            invented: facts.source == Source::Simulation,
        };
        Self { session, plan, units, drawn: Vec::new(), warnings: Vec::new() }
    }

    /// Draws what is due.
    pub(super) fn take(&mut self, event: Event, results: &mut Results) -> Result<(), Failure> {
        match event {
            Event::Warning(warning) => self.warnings.push(warning),
            Event::Pass(judged) => return self.draw(judged, results),
            _ => {}
        }
        Ok(())
    }

    /// Writes the page.
    pub(super) fn page(
        &self,
        name: &str,
        seconds: f64,
        losses: Losses,
        damage: Damage,
        results: &mut Results,
    ) -> Result<(), Failure> {
        let passes: Vec<PassSheet<'_>> = self
            .drawn
            .iter()
            .map(|d| PassSheet {
                input: self.input(&d.judged, d.rubbing.as_ref()),
                file_name: d.file_name.clone(),
                png: &d.png,
            })
            .collect();
        let recording = RecordingPart {
            name,
            session: &self.session,
            seconds,
            passes: &passes,
            warnings: &self.warnings,
            losses,
            damage,
            remarks: &[],
        };
        let page = ReviewPage {
            recordings: &[recording],
            files: &[SERIES.0, STROKES.0, PASSES.0, WARNINGS.0],
            version: env!("CARGO_PKG_VERSION"),
        };
        results.file("index.html", index_html(&page).as_bytes())?;
        Ok(())
    }

    fn draw(&mut self, judged: Box<JudgedPass>, results: &mut Results) -> Result<(), Failure> {
        let rubbing = RubbingMap::of(&[&judged.pass.track], &rubbing_setup(&self.plan));
        let png = section_pass_png(&self.input(&judged, rubbing.as_ref())).map_err(Failure::failed)?;
        let file_name = sheet_name(judged.pass.section, judged.pass.pass);
        results.file(&file_name, &png)?;
        self.drawn.push(Drawn { judged, rubbing, file_name, png });
        Ok(())
    }

    fn input<'a>(&'a self, judged: &'a JudgedPass, rubbing: Option<&'a RubbingMap>) -> SheetInput<'a> {
        SheetInput {
            session: &self.session,
            pass: &judged.pass,
            strokes: &judged.strokes,
            rows: &judged.rows,
            warnings: &judged.warnings,
            bands: PlanBands::from(&self.plan),
            rubbing,
            machine: self.plan.machine.kind,
            units: self.units,
        }
    }
}

/// "25 November 2026, 10:41" from the stored time; the text itself when it does not read as one.
fn date_text(started: &str) -> String {
    started
        .get(..19)
        .and_then(|local| local.parse::<jiff::civil::DateTime>().ok())
        .map_or_else(|| started.to_owned(), |at| at.strftime("%-d %B %Y, %H:%M").to_string())
}
