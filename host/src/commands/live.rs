//! What the technician sees while recording: one calm status line, and a line for each warning and pass.

use std::path::Path;

use steadypass::{
    analysis::{LiveTick, State},
    calibration::Calibration,
    guidance::{Plan, Units},
    recording::Entry,
    results::Results,
    session::{Event, JudgedPass, Session},
};
use steadypass_protocol::Pattern;

use super::{Console, Failure, console::StatusLine, review::count};

/// The status line is redrawn this often, ticks: twice a second is calm and still current.
const REDRAW_TICKS: u32 = 5;
/// The pattern is repeated this often, ticks, in case one was lost on the way.
const REPEAT_TICKS: u32 = 20;

/// A live session on screen.
pub(super) struct Live<'a> {
    console: &'a Console,
    units: Units,
    session: Session,
    results: Option<Results>,
    status: StatusLine,
    ticks: u32,
    seconds: f64,
    pattern: Option<Pattern>,
    failure: Option<Failure>,
}

impl<'a> Live<'a> {
    pub(super) fn new(console: &'a Console, plan: Plan, tables: Option<&Path>) -> Result<Self, Failure> {
        Ok(Self {
            console,
            units: console.units(plan.units),
            results: tables.map(|folder| Results::create(folder, plan.rate_unit())).transpose()?,
            session: Session::new(plan),
            status: console.status(),
            ticks: 0,
            seconds: 0.0,
            pattern: None,
            failure: None,
        })
    }

    /// Corrects readings from the start.
    pub(super) fn calibrate(&mut self, calibration: Option<Calibration>) {
        self.session.calibrate(calibration);
    }

    /// Takes the next entry; a pattern for the sensor's light comes back when it is due.
    pub(super) fn push(&mut self, entry: &Entry<'_>) -> Option<Pattern> {
        let mut events = Vec::new();
        self.session.push(entry, &mut |event| events.push(event));
        let mut due = None;
        for event in &events {
            due = self.take(event).or(due);
        }
        due
    }

    /// Ends it; seconds of data seen.
    pub(super) fn finish(mut self) -> Result<f64, Failure> {
        let mut events = Vec::new();
        self.session.finish(&mut |event| events.push(event));
        for event in &events {
            self.take(event);
        }
        self.status.clear();
        if let Some(failure) = self.failure {
            return Err(failure);
        }
        if let Some(results) = self.results {
            results.finish()?;
        }
        Ok(self.seconds)
    }

    fn take(&mut self, event: &Event) -> Option<Pattern> {
        if let Some(results) = &mut self.results
            && let Err(error) = results.event(event)
        {
            self.failure.get_or_insert(error.into());
            self.results = None;
        }
        match event {
            Event::Warning(warning) => {
                self.status.clear();
                self.console.remark(&format!(
                    "{:>7.1} s  {}",
                    warning.t_s,
                    warning.text(self.units, self.session.plan().rate_unit())
                ));
                None
            }
            Event::Pass(judged) => {
                self.status.clear();
                self.console.remark(&pass_line(judged, self.units));
                None
            }
            Event::Tick(tick) => {
                self.seconds = tick.t_s;
                self.ticks += 1;
                if self.status.is_on() && self.ticks.is_multiple_of(REDRAW_TICKS) {
                    let text = self.status_text(tick);
                    self.status.draw(&text);
                }
                let wanted = self.session.guidance().pattern();
                let repeat = self.ticks.is_multiple_of(REPEAT_TICKS);
                (self.pattern.replace(wanted) != Some(wanted) || repeat).then_some(wanted)
            }
            Event::Row(_) | Event::Stroke(_) | Event::Placed(_) => None,
        }
    }

    fn status_text(&self, tick: &LiveTick) -> String {
        let mut parts = vec![format!("{:>5.0} s", tick.t_s), state_word(tick.state).to_owned()];
        if let Some(orbit) = tick.orbit_opm {
            parts.push(format!("{:.0} {}", orbit.value, self.session.plan().rate_unit()));
        }
        if let Some(rate) = tick.traverse_mps.or(tick.last_stroke_mps) {
            parts.push(format!("arm {}", self.units.arm_speed(rate.value)));
        }
        if let Some(rise) = tick.surface_rise_k {
            parts.push(format!("panel {}", self.units.rise(rise)));
        }
        parts.extend(self.session.guidance().advice().sentence());
        parts.join("  ")
    }
}

fn state_word(state: State) -> &'static str {
    match state {
        State::Still => "motor off",
        State::Running => "running",
        State::Working => "working",
    }
}

fn pass_line(judged: &JudgedPass, units: Units) -> String {
    let pass = &judged.pass;
    let mut parts = vec![format!(
        "Section {} pass {}: {} in {:.0} s",
        pass.section,
        pass.pass,
        count(judged.strokes.len(), "stroke", "strokes"),
        pass.end_s - pass.start_s
    )];
    if let Some(rate) = pass.traverse_mean_mps {
        parts.push(format!("arm {}", units.arm_speed(rate.value)));
    }
    if let Some(rise) = pass.surface_rise_k {
        parts.push(format!("warmest {}", units.rise(rise)));
    }
    parts.join(", ")
}
