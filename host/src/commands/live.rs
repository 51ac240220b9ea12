//! What the technician sees while recording. The board has it for screen, page and sound; without a full screen there is one
//! calm status line, and a line for each warning and pass.

use std::{
    io::{IsTerminal as _, stderr},
    path::Path,
    sync::Arc,
};

use steadypass::{
    analysis::{Interval, LiveTick, State, Stroke},
    calibration::Calibration,
    drawing::{section_pass::pass_words, units::Scale},
    guidance::{Plan, Units, units::count},
    link,
    live::{Board, Model, terminal},
    recording::{Body, Entry, LinkNote, Losses},
    results::Results,
    session::{Event, JudgedPass, Session},
};
use steadypass_protocol::Pattern;

use super::{Console, Failure, console::StatusLine};

/// The status line is redrawn this often, ticks: twice a second is calm and still current.
const REDRAW_TICKS: u32 = 5;
/// The pattern is repeated this often, ticks, in case one was lost on the way.
const REPEAT_TICKS: u32 = 20;

/// Longest status line: one that wraps could not be redrawn in place, and a narrow terminal has 80 columns.
const STATUS_CHARS: usize = 79;

/// What a live session leaves.
#[derive(Debug, Default)]
pub(super) struct Ended {
    /// Seconds of data seen.
    pub(super) seconds: f64,
    /// What is missing of it.
    pub(super) losses: Losses,
    /// Settled strokes, where they were kept.
    pub(super) strokes: Vec<Stroke>,
}

/// A live session on screen.
pub(super) struct Live<'a> {
    console: &'a Console,
    units: Units,
    session: Session,
    results: Option<Results>,
    status: StatusLine,
    /// Said on a terminal that has no letters beyond ASCII.
    ascii: bool,
    ticks: u32,
    seconds: f64,
    pattern: Option<Pattern>,
    failure: Option<Failure>,
    model: Model,
    board: Option<Board>,
    /// Kept when somebody wants them at the end.
    strokes: Option<Vec<Stroke>>,
}

impl<'a> Live<'a> {
    pub(super) fn new(console: &'a Console, plan: Plan, tables: Option<&Path>) -> Result<Self, Failure> {
        let units = console.units(plan.units);
        Ok(Self {
            console,
            units,
            model: Model::new(&plan, units, plan.technician.as_deref().unwrap_or_default()),
            board: None,
            strokes: None,
            results: tables.map(|folder| Results::create(folder, plan.rate_unit())).transpose()?,
            session: Session::new(plan),
            status: console.status(),
            ascii: stderr().is_terminal() && !terminal::has_unicode(),
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

    /// The plan in force.
    pub(super) fn plan(&self) -> &Plan {
        self.session.plan()
    }

    /// Units to show.
    pub(super) fn units(&self) -> Units {
        self.units
    }

    /// Lets the model start otherwise.
    pub(super) fn with_model(mut self, change: impl FnOnce(Model) -> Model, technician: &str) -> Self {
        self.session.begin_with(technician);
        self.model = change(Model::new(self.session.plan(), self.units, technician));
        self
    }

    /// Keeps the settled strokes for the end.
    pub(super) fn keep_strokes(mut self) -> Self {
        self.strokes = Some(Vec::new());
        self
    }

    /// What there is to show now.
    pub(super) fn model(&self) -> &Model {
        &self.model
    }

    /// Shows on a board; with `full_screen` nothing is written line by line.
    pub(super) fn on_board(mut self, board: Board, full_screen: bool) -> Self {
        self.board = Some(board);
        if full_screen {
            self.status.off();
        }
        self
    }

    /// Takes the next entry; a pattern for the sensor's light comes back when it is due.
    pub(super) fn push(&mut self, entry: &Entry<'_>) -> Option<Pattern> {
        let mut events = Vec::new();
        self.session.push(entry, &mut |event| events.push(event));
        let mut due = None;
        for event in &events {
            due = self.take(event).or(due);
        }
        match &entry.body {
            Body::Link(note) => {
                self.model.link(note);
                // Without samples no tick tells the sensor anything, and its light would go on saying that all is well.
                if matches!(note, LinkNote::Lost { .. }) {
                    self.pattern = Some(Pattern::LostHost);
                    due = self.pattern;
                }
            }
            Body::Note(note) => self.model.note(note),
            Body::Frame(_) | Body::Table(_) => {}
        }
        let ticked = events.iter().any(|event| matches!(event, Event::Tick(_)));
        if let Some(board) = &self.board
            && (ticked || !matches!(entry.body, Body::Frame(_)))
        {
            let read = ticked.then(|| link::moment_of(entry.log_ns)).flatten();
            board.show(self.model.view().clone(), read, ticked);
        }
        due
    }

    /// Says something that is no entry.
    pub(super) fn remark(&mut self, text: String) {
        self.console.remark(&text);
        self.model.remark(text);
        if let Some(board) = &self.board {
            board.show(self.model.view().clone(), None, false);
        }
    }

    /// Ends it.
    pub(super) fn finish(mut self) -> Result<Ended, Failure> {
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
        Ok(Ended { seconds: self.seconds, losses: self.session.losses(), strokes: self.strokes.unwrap_or_default() })
    }

    fn take(&mut self, event: &Event) -> Option<Pattern> {
        if let Some(results) = &mut self.results
            && let Err(error) = results.event(event)
        {
            self.failure.get_or_insert(error.into());
            self.results = None;
        }
        self.model.event(event, self.session.guidance());
        match event {
            Event::Warning(warning) => {
                self.status.clear();
                let words = warning.text(self.units, self.session.plan().rate_unit());
                self.console.remark(&self.spelt(format!("{:>7.1} s  {words}", warning.t_s)));
                None
            }
            Event::Pass(judged) => {
                self.status.clear();
                self.console.remark(&self.spelt(pass_line(judged, self.units)));
                if let Some(board) = &self.board {
                    board.show_pass(Arc::new((**judged).clone()));
                }
                None
            }
            Event::Tick(tick) => {
                self.seconds = tick.t_s;
                self.ticks += 1;
                if self.status.is_on() && self.ticks.is_multiple_of(REDRAW_TICKS) {
                    let text = self.spelt(self.status_text(tick));
                    self.status.draw(&text);
                }
                // A pause is quiet at the sensor, too.
                let wanted = if self.model.view().paused { Pattern::Off } else { self.session.guidance().pattern() };
                let repeat = self.ticks.is_multiple_of(REPEAT_TICKS);
                (self.pattern.replace(wanted) != Some(wanted) || repeat).then_some(wanted)
            }
            Event::Stroke(stroke) => {
                if let Some(strokes) = &mut self.strokes {
                    strokes.push(*stroke);
                }
                None
            }
            Event::Row(_)
            | Event::Placed(_)
            | Event::Mark { .. }
            | Event::HandedTo { .. }
            | Event::Note { .. }
            | Event::ToAndFro(_) => None,
        }
    }

    /// As the terminal can show it.
    fn spelt(&self, text: String) -> String {
        if self.ascii { terminal::ascii::line(&text) } else { text }
    }

    fn status_text(&self, tick: &LiveTick) -> String {
        let rate_unit = self.session.plan().rate_unit();
        let guidance = self.session.guidance();
        status_text(tick, guidance.pace(), guidance.advice().sentence(), self.units, rate_unit)
    }
}

fn state_word(state: State) -> &'static str {
    match state {
        State::Still => "motor off",
        State::Running => "running",
        State::Working => "working",
    }
}

/// The figures of a moment in one line; where not all of them fit, the last are left out whole: what to do comes first.
fn status_text(
    tick: &LiveTick,
    pace: Option<Interval>,
    sentence: Option<String>,
    units: Units,
    rate_unit: &str,
) -> String {
    let mut text = format!("{:>5.0} s  {}", tick.t_s, state_word(tick.state));
    let arm = pace.or(tick.last_stroke_mps).map(|rate| arm_text(rate, units));
    let panel = tick.surface_rise_k.map(|rise| format!("panel {}", units.rise(rise)));
    let orbit = tick.orbit_opm.map(|orbit| format!("{:.0} {rate_unit}", orbit.value));
    for part in [sentence, arm, panel, orbit].into_iter().flatten() {
        if text.chars().count() + 2 + part.chars().count() > STATUS_CHARS {
            break;
        }
        text = format!("{text}  {part}");
    }
    text
}

/// Arm speed and its 90 % interval.
fn arm_text(rate: Interval, units: Units) -> String {
    let scale = Scale(units);
    let (speed, interval) = scale.arm_speed_and_interval(rate, None);
    format!("arm {speed} {} ({interval})", scale.arm_speed_unit())
}

fn pass_line(judged: &JudgedPass, units: Units) -> String {
    let pass = &judged.pass;
    let mut parts = vec![format!(
        "Section {}, {}: {} in {:.0} s",
        pass.section,
        pass_words(pass.section, pass.pass),
        count(judged.strokes.len(), "stroke", "strokes"),
        pass.end_s - pass.start_s
    )];
    if let Some(rate) = pass.traverse_mean_mps {
        parts.push(arm_text(rate, units));
    }
    if let Some(rise) = pass.surface_rise_k {
        parts.push(format!("warmest {}", units.rise(rise)));
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use steadypass::analysis::Measured;

    fn tick() -> LiveTick {
        LiveTick {
            t_s: 1234.0,
            state: State::Working,
            traverse_mps: Some(Interval { lo: 0.0224, value: 0.0254, hi: 0.0284 }),
            orbit_opm: Some(Measured { value: 4200.0, sd: 20.0 }),
            surface_rise_k: Some(10.0),
            ..LiveTick::default()
        }
    }

    #[test]
    fn the_status_line_has_the_arm_speed_with_its_interval() {
        assert_eq!(
            status_text(&tick(), tick().traverse_mps, None, Units::Si, "OPM"),
            " 1234 s  working  arm 25 mm/s (22–28)  panel +10.0 K  4200 OPM"
        );
        assert_eq!(
            status_text(&tick(), tick().traverse_mps, None, Units::Us, "OPM"),
            " 1234 s  working  arm 1.00 in/s (0.88–1.12)  panel +18.0 °F  4200 OPM"
        );
    }

    #[test]
    fn what_does_not_fit_into_80_columns_is_left_out_whole_and_what_to_do_is_said_first() {
        let said = status_text(&tick(), tick().traverse_mps, Some("Slow the arm".into()), Units::Us, "OPM");
        assert_eq!(said, " 1234 s  working  Slow the arm  arm 1.00 in/s (0.88–1.12)  panel +18.0 °F");
        assert!(said.chars().count() < 80);
    }
}
