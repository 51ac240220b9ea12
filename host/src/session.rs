//! One recording under one plan: entries in, everything that is shown or kept out. Live and review run this same code on the
//! same entries, so they cannot disagree.
//!
//! ```text
//! Entry ─► Timeline ─► Pipeline ─┬─ LiveTick ─► Guidance ─► Warning, advice
//!                                └─ Finding ──► rows, strokes, judged passes (with their warnings)
//! ```

mod hands;
mod missing;
mod rates;

use std::{collections::VecDeque, sync::Arc};

pub use hands::Hands;
use missing::Missing;
use rates::Counters;
pub use rates::Rates;

use crate::{
    analysis::{
        Finding, LengthDoubt, LiveTick, Pass, Pipeline, ROW_S, Reading, SeriesRow, Stroke, SurfaceCounts, ToAndFro,
        Warmth,
    },
    calibration::Calibration,
    guidance::{Guidance, Plan, Warning},
    recording::{Body, Entry, Losses, Timeline, UserNote},
};

/// Series rows kept for the pass they may belong to: twenty minutes, longer than any pass is worked.
const KEPT_ROWS: usize = 20 * 60 * 10;

/// What a session hands out, in order.
#[derive(Clone, Debug)]
pub enum Event {
    /// Ten times a second: the present, as far as it is known.
    Tick(LiveTick),
    /// A warning begins.
    Warning(Warning),
    /// A section was marked: by the sensor's button, a key or the page.
    Mark {
        /// When, s since the first sample.
        t_s: f64,
    },
    /// The machine went into other hands: by a key or the page.
    HandedTo {
        /// When, s since the first sample.
        t_s: f64,
        /// Whose.
        technician: Arc<str>,
    },
    /// Something was written down: by a key or the page.
    Note {
        /// When, s since the first sample.
        t_s: f64,
        /// What.
        text: Arc<str>,
    },
    /// A row of the series, settled.
    Row(SeriesRow),
    /// A stroke, settled.
    Stroke(Stroke),
    /// A pass with all that belongs to it.
    Pass(Box<JudgedPass>),
    /// A warning, once it is known which pass it fell into.
    Placed(PlacedWarning),
    /// Work too quick for strokes, settled.
    ToAndFro(ToAndFro),
}

/// A pass, what happened in it, and how it stands against the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedPass {
    /// The pass.
    pub pass: Pass,
    /// Whose work it is: who held the machine for the largest part of it; `None` when not told.
    pub technician: Option<Arc<str>>,
    /// Its strokes.
    pub strokes: Vec<Stroke>,
    /// The series during it.
    pub rows: Vec<SeriesRow>,
    /// Warnings that began during it.
    pub warnings: Vec<Warning>,
    /// Seconds of it of which samples were lost.
    pub lost_s: f64,
    /// Whether a thermometer has looked at all up to its end, however well.
    pub has_looks: bool,
    /// Share of stroke time inside the plan's pace band, 0 to 1.
    pub in_pace_share: Option<f64>,
    /// Seconds over the plan's heat limit.
    pub seconds_over_limit: Option<f64>,
}

impl JudgedPass {
    /// Highest rise of worked paint, K: what can be held against the limit and against other passes. `None` where the spot may have
    /// missed it; over the limit it went in any case where it was seen to.
    pub fn told_rise_k(&self) -> Option<f64> {
        match self.pass.warmth() {
            Warmth::Seen(rise_k) => Some(rise_k),
            Warmth::InPart { rise_k, .. } => self.seconds_over_limit.filter(|s| *s > 0.0).map(|_| rise_k),
            Warmth::Beside | Warmth::Unknown => None,
        }
    }

    /// A pass of which nothing else is known.
    #[cfg(test)]
    pub(crate) fn of(pass: Pass) -> Self {
        Self {
            pass,
            technician: None,
            strokes: Vec::new(),
            rows: Vec::new(),
            warnings: Vec::new(),
            lost_s: 0.0,
            has_looks: true,
            in_pace_share: None,
            seconds_over_limit: None,
        }
    }
}

/// A warning and the pass it fell into, if any.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedWarning {
    /// The warning.
    pub warning: Warning,
    /// Number of the pass.
    pub pass: Option<u32>,
    /// Of a warning of the pace, what the turns of its pass say against the stroke length that it may have gone by.
    pub length_doubt: Option<LengthDoubt>,
}

/// See the module's documentation.
pub struct Session {
    plan: Plan,
    timeline: Timeline,
    pipeline: Pipeline,
    guidance: Guidance,
    hands: Hands,
    rows: VecDeque<SeriesRow>,
    strokes: Vec<Stroke>,
    /// Passes whose rows are still to come, with their strokes.
    open: VecDeque<(Pass, Vec<Stroke>)>,
    unplaced: VecDeque<Warning>,
    readings: u64,
    has_gyro: bool,
    has_looks: bool,
    /// Turn rates are there up to this time, s; `None` while there are none to be expected.
    turns_s: Option<f64>,
    missing: Missing,
    counters: Counters,
}

impl Session {
    /// At the start of a recording.
    pub fn new(plan: Plan) -> Self {
        Self {
            timeline: Timeline::new(),
            pipeline: Pipeline::new(plan.setup()),
            guidance: Guidance::new(&plan),
            hands: Hands::new(plan.technician.as_deref().unwrap_or_default()),
            plan,
            rows: VecDeque::new(),
            strokes: Vec::new(),
            open: VecDeque::new(),
            unplaced: VecDeque::new(),
            readings: 0,
            has_gyro: false,
            has_looks: false,
            turns_s: None,
            missing: Missing::default(),
            counters: Counters::default(),
        }
    }

    /// Corrects the sensor's readings from here on. Before the first entry, or figures would change in the middle.
    pub fn calibrate(&mut self, calibration: Option<Calibration>) {
        self.timeline = Timeline::calibrated(calibration);
    }

    /// Who holds the machine at the start; an empty name leaves it to the plan. Hand-overs among the entries follow from there.
    pub fn begin_with(&mut self, technician: &str) {
        if !technician.trim().is_empty() {
            self.hands = Hands::new(technician);
        }
    }

    /// The plan in force.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// What became of the thermometer's looks.
    pub fn surface_counts(&self) -> SurfaceCounts {
        self.pipeline.surface_counts()
    }

    /// What is missing so far.
    pub fn losses(&self) -> Losses {
        self.timeline.losses()
    }

    /// Samples a second so far, by the clock that stamped them.
    pub fn rates(&self) -> Rates {
        self.counters.rates()
    }

    /// Whether any sensor data has come.
    pub fn has_data(&self) -> bool {
        self.readings > 0
    }

    /// Whether any turn rates have come: without them no arm speed, stroke or pass can be told.
    pub fn has_gyro(&self) -> bool {
        self.has_gyro
    }

    /// Guidance as it stands, for the live view.
    pub fn guidance(&self) -> &Guidance {
        &self.guidance
    }

    /// Takes the next entry.
    pub fn push(&mut self, entry: &Entry<'_>, sink: &mut impl FnMut(Event)) {
        if let Body::Note(note) = &entry.body {
            let t_s = self.timeline.now_us().unwrap_or(0.0) * 1e-6;
            match note {
                UserNote::Technician { name } => {
                    self.hands.pass_to(t_s, name);
                    sink(Event::HandedTo { t_s, technician: name.as_str().into() });
                }
                UserNote::Text { text } => sink(Event::Note { t_s, text: text.as_str().into() }),
                UserNote::NewSection | UserNote::Paused | UserNote::Resumed => {}
            }
        }
        let (pipeline, readings, has_gyro) = (&mut self.pipeline, &mut self.readings, &mut self.has_gyro);
        let (missing, turns_s, counters) = (&mut self.missing, &mut self.turns_s, &mut self.counters);
        let has_looks = &mut self.has_looks;
        let looks_lost = self.timeline.losses().surface_looks;
        // The sensor has a gyro; whose table has no turn rates knows it.
        let gyro_due = matches!(entry.body, Body::Frame(_));
        self.timeline.push(entry, &mut |reading| {
            *readings += 1;
            *has_gyro |= matches!(reading, Reading::Gyro(_));
            *has_looks |= matches!(reading, Reading::Surface(_));
            if let Reading::Mark { t_us } = reading {
                sink(Event::Mark { t_s: t_us * 1e-6 });
            }
            match &reading {
                Reading::Gyro(run) => *turns_s = Some(run.end_us() * 1e-6),
                Reading::Accel(run) if gyro_due => _ = turns_s.get_or_insert(run.first_us * 1e-6),
                // The wait begins anew with what comes after.
                Reading::Break { to_us, .. } => *turns_s = turns_s.map(|_| to_us * 1e-6),
                _ => {}
            }
            missing.push(&reading);
            counters.push(&reading);
            pipeline.push(reading);
        });
        self.counters.looks_lost(self.timeline.losses().surface_looks - looks_lost);
        self.settle(sink);
    }

    /// Ends the recording: what was still open is settled and handed out.
    pub fn finish(&mut self, sink: &mut impl FnMut(Event)) {
        self.pipeline.finish();
        self.settle(sink);
        while let Some((pass, strokes)) = self.open.pop_front() {
            self.judge(pass, strokes, sink);
        }
        for warning in self.unplaced.drain(..) {
            sink(Event::Placed(PlacedWarning { warning, pass: None, length_doubt: None }));
        }
    }

    /// Live ticks first: a warning is known before the pass that it fell into is settled.
    fn settle(&mut self, sink: &mut impl FnMut(Event)) {
        if let Some(t_s) = self.turns_s {
            self.guidance.turns_until(t_s);
        }
        while let Some(tick) = self.pipeline.pop_live() {
            let unplaced = &mut self.unplaced;
            self.guidance.tick(&tick, |warning| {
                unplaced.push_back(warning);
                sink(Event::Warning(warning));
            });
            sink(Event::Tick(tick));
        }
        while let Some(finding) = self.pipeline.pop_finding() {
            match finding {
                Finding::Row(row) => {
                    if self.rows.len() == KEPT_ROWS {
                        self.rows.pop_front();
                    }
                    self.rows.push_back(row);
                    sink(Event::Row(row));
                    while let Some((pass, strokes)) = self.open.pop_front_if(|(pass, _)| row.t_s > pass.end_s) {
                        self.judge(pass, strokes, sink);
                    }
                }
                Finding::Stroke(stroke) => {
                    self.strokes.push(stroke);
                    sink(Event::Stroke(stroke));
                }
                Finding::Pass(pass) => self.open.push_back((*pass, std::mem::take(&mut self.strokes))),
                Finding::ToAndFro(stretch) => sink(Event::ToAndFro(stretch)),
            }
        }
    }

    fn judge(&mut self, pass: Pass, strokes: Vec<Stroke>, sink: &mut impl FnMut(Event)) {
        let within = |t_s: f64| (pass.start_s..=pass.end_s).contains(&t_s);
        let mut warnings = Vec::new();
        while let Some(warning) = self.unplaced.pop_front_if(|w| w.t_s <= pass.end_s) {
            let number = within(warning.t_s).then_some(pass.pass);
            if number.is_some() {
                warnings.push(warning);
            }
            let length_doubt = pass.length_doubt.filter(|_| number.is_some() && warning.kind.is_of_pace());
            sink(Event::Placed(PlacedWarning { warning, pass: number, length_doubt }));
        }
        let rows: Vec<SeriesRow> = self.rows.iter().filter(|r| within(r.t_s)).copied().collect();
        self.rows.retain(|r| r.t_s > pass.end_s);
        let judged = JudgedPass {
            in_pace_share: in_pace_share(&strokes, &self.plan),
            seconds_over_limit: seconds_over_limit(&rows, self.plan.heat_rise_k),
            technician: self.hands.mostly(pass.start_s, pass.end_s).cloned(),
            lost_s: self.missing.within(pass.start_s, pass.end_s),
            has_looks: self.has_looks,
            warnings,
            rows,
            strokes,
            pass,
        };
        sink(Event::Pass(Box::new(judged)));
    }
}

/// Share of stroke time whose speed lies in the plan's band.
fn in_pace_share(strokes: &[Stroke], plan: &Plan) -> Option<f64> {
    let band = plan.pace_mps();
    let (mut inside_s, mut all_s) = (0.0, 0.0);
    for stroke in strokes {
        let Some(rate) = stroke.traverse_mps else { continue };
        let seconds = stroke.end_s - stroke.start_s;
        all_s += seconds;
        inside_s += if band.contains(rate.value) { seconds } else { 0.0 };
    }
    (all_s > 0.0).then(|| inside_s / all_s)
}

/// Time over the limit, from rows a tenth of a second apart; `None` where no rise is known.
fn seconds_over_limit(rows: &[SeriesRow], limit_k: f64) -> Option<f64> {
    let rises: Vec<f64> = rows.iter().filter_map(|r| r.surface_rise_k).collect();
    (!rises.is_empty()).then(|| rises.iter().filter(|&&rise| rise > limit_k).count() as f64 * ROW_S)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        guidance::{Units, WarningKind},
        live::Model,
        recording::{TableEntry, TableRun},
        simulation::{Scenario, SensorOptions, VirtualSensor},
    };
    use steadypass_protocol::{FrameReader, MAX_FRAME, Ping, ToHost, ToSensor, encode};

    /// What the demo's sensor sends in so many seconds; its button is pressed after `mark_s`.
    fn demo_bytes(seconds: u32, mark_s: Option<u32>) -> Vec<u8> {
        let mut sensor = VirtualSensor::new(&Scenario::demo(), SensorOptions::default()).expect("a valid scenario");
        let (mut bytes, mut buffer) = (Vec::new(), [0; MAX_FRAME]);
        sensor.opened();
        sensor.feed(encode(&ToSensor::Start, &mut buffer).expect("fits"));
        for second in 1..=seconds {
            // It stops for a host that is not heard.
            let ping = ToSensor::Ping(Ping { token: second, host_us: 0 });
            sensor.feed(encode(&ping, &mut buffer).expect("fits"));
            sensor.play(u64::from(second) * 1_000_000, &mut bytes);
            if Some(second) == mark_s {
                sensor.press_mark();
            }
        }
        bytes
    }

    /// The demo's frames, without those of the gyro that `lost` says, and the times of the warnings about it.
    fn blind_to_turns(lost: impl Fn(f64) -> bool) -> Vec<f64> {
        let (mut session, mut told) = (Session::new(Plan::default()), Vec::new());
        let mut reader: FrameReader = FrameReader::new();
        reader.feed(&demo_bytes(30, None), |frame| {
            let frame = frame.expect("whole frames");
            if let Ok(ToHost::Gyro(block)) = ToHost::decode(frame.payload)
                && lost(block.first_us as f64 * 1e-6)
            {
                return;
            }
            session.push(&Entry { log_ns: 0, body: Body::Frame(frame.raw) }, &mut |event| match event {
                Event::Warning(warning) if warning.kind == WarningKind::TurnsBlind => told.push(warning.t_s),
                _ => {}
            });
        });
        told
    }

    #[test]
    fn a_gyro_that_falls_silent_or_never_speaks_is_told_and_a_short_hole_is_not() {
        let near = |told: Vec<f64>, s: f64| assert!(told.len() == 1 && (told[0] - s).abs() < 1.5, "{told:?} {s}");
        assert!(blind_to_turns(|_| false).is_empty());
        assert!(blind_to_turns(|t_s| (15.0..15.7).contains(&t_s)).is_empty());
        near(blind_to_turns(|t_s| t_s > 15.0), 16.0);
        // It is told once the motor runs.
        near(blind_to_turns(|_| true), 4.0);
    }

    #[test]
    fn what_was_worked_before_a_mark_is_not_drawn_into_the_new_section() {
        // Into the third stroke of the demo, and into its first, of which nothing is known yet.
        for mark_s in [60, 20] {
            let plan = Plan::default();
            let (mut model, mut session) = (Model::new(&plan, Units::Si, ""), Session::new(plan));
            let mut reader: FrameReader = FrameReader::new();
            let (mut ticks, mut marked_s) = (0, f64::INFINITY);
            reader.feed(&demo_bytes(mark_s + 10, Some(mark_s)), |frame| {
                let entry = Entry { log_ns: 0, body: Body::Frame(frame.expect("whole frames").raw) };
                let mut events = Vec::new();
                session.push(&entry, &mut |event| events.push(event));
                for event in &events {
                    model.event(event, session.guidance());
                    match event {
                        // The demo marks its own beginning.
                        Event::Mark { t_s } if *t_s > 10.0 => marked_s = *t_s,
                        Event::Tick(tick) if tick.t_s > marked_s => {
                            let view = model.view();
                            ticks += 1;
                            // Drawn from 4 s on: what 6 s of work can cover besides a pad.
                            let most = if tick.t_s < marked_s + 4.0 { 0.0 } else { 0.2 };
                            let drawn = (view.strokes, view.covered);
                            assert!(view.strokes == 0 && view.covered <= most, "{mark_s}: {drawn:?} at {}", tick.t_s);
                        }
                        _ => {}
                    }
                }
            });
            assert!(ticks > 80, "{ticks}");
        }
    }

    #[test]
    fn a_pass_knows_what_was_lost_of_it() {
        let mut session = Session::new(Plan::default());
        for (t_s, lost_before) in [(0.0, 0), (1.25, 250), (2.25, 0)] {
            let samples = vec![[0.0, 0.0, 9.81]; 1000];
            let run = TableRun { first_us: t_s * 1e6, spacing_us: 1000.0, lost_before, samples };
            session.push(&Entry { log_ns: 0, body: Body::Table(TableEntry::Accel(run)) }, &mut |_| ());
        }
        let mut lost = Vec::new();
        for (start_s, end_s) in [(0.0, 1.1), (1.1, 3.0), (3.0, 3.2)] {
            let pass = Pass { start_s, end_s, ..Pass::untold() };
            session.judge(pass, Vec::new(), &mut |event| {
                if let Event::Pass(judged) = event {
                    lost.push((judged.lost_s * 1000.0).round());
                }
            });
        }
        assert_eq!(lost, [100.0, 150.0, 0.0]);
    }

    #[test]
    fn a_pass_knows_whether_a_thermometer_looked() {
        let mut session = Session::new(Plan::default());
        let mut has_looks = |entry: TableEntry| {
            session.push(&Entry { log_ns: 0, body: Body::Table(entry) }, &mut |_| ());
            let mut told = None;
            session.judge(Pass::untold(), Vec::new(), &mut |event| {
                if let Event::Pass(judged) = event {
                    told = Some(judged.has_looks);
                }
            });
            told
        };
        let run = TableRun { first_us: 0.0, spacing_us: 1000.0, lost_before: 0, samples: vec![[0.0, 0.0, 9.81]; 1000] };
        assert_eq!(has_looks(TableEntry::Accel(run)), Some(false));
        // One that failed is a look.
        assert_eq!(has_looks(TableEntry::Surface { t_us: 1e6, surface_c: None, ambient_c: None }), Some(true));
    }
}
