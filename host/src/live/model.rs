//! What there is to show, from what happened. Pure: no clock, no screen, no port.

use std::sync::Arc;

use super::{
    cover::{Cover, SIDE},
    level::Levels,
    view::{Cue, PassRow, Urgency, View, clock},
};
use crate::{
    analysis::{LengthDoubt, LiveTick, MEASURED_S, ROW_S, State},
    guidance::{Advice, Guidance, Plan, Units, WarningKind},
    recording::{LinkNote, UserNote},
    session::{Event, JudgedPass},
};

/// A fault of heat that lasts is sounded again after this long, s: about as long as it takes to lift and look.
const HEAT_AGAIN_S: f64 = 5.0;
/// The same for the pace: about half a stroke.
const PACE_AGAIN_S: f64 = 10.0;
/// A mark ends the strokes before it, and the analysis tells of them, and of the one under way, for so long yet, s; what it tells
/// then is not the new section's. The tick that settles them is one of those still.
const OF_BEFORE_S: f64 = MEASURED_S + 2.0 * ROW_S;
/// What was last done stays on screen for this long, s.
const NOTICE_S: f64 = 8.0;
/// Passes kept in the list.
const PASSES: usize = 200;

/// See the module's documentation.
#[derive(Debug)]
pub struct Model {
    levels: Levels,
    cover: Cover,
    units: Units,
    view: View,
    rose_s: f64,
    /// When a section was marked last, s.
    marked_s: f64,
    /// Begins of sections, as the analysis counts them, that are shown.
    sections_begun: u32,
    /// Passes of the recording so far.
    passes: u32,
    notice_s: f64,
    advice: Advice,
}

/// Travel for one beat: what common practice counts by, m.
pub fn beat_travel_m(units: Units) -> f64 {
    match units {
        Units::Si => 0.025,
        Units::Us => 0.0254,
    }
}

impl Model {
    /// Before anything has come.
    pub fn new(plan: &Plan, units: Units, technician: &str) -> Self {
        let levels = Levels::new(plan, units);
        let pace = plan.pace_mps();
        let view = View {
            t_s: 0.0,
            elapsed: clock(0.0),
            doing: "waiting for the sensor",
            running: false,
            paused: false,
            lost: false,
            sentence: None,
            urgency: Urgency::None,
            levels: levels.at(&LiveTick::default(), None),
            section: 1,
            pass: None,
            strokes: 0,
            strokes_done: 0,
            strokes_aim: None,
            covered: 0.0,
            cells: [0; SIDE * SIDE],
            technician: technician.to_owned(),
            notice: None,
            cue: None,
            cues: 0,
            beat_s: beat_travel_m(units) / (0.5 * (pace.lo + pace.hi)),
            passes: Arc::default(),
            settled: 0,
        };
        Self {
            levels,
            cover: Cover::new(plan),
            units,
            view,
            rose_s: f64::NEG_INFINITY,
            marked_s: f64::NEG_INFINITY,
            sections_begun: 0,
            passes: 0,
            notice_s: f64::NEG_INFINITY,
            advice: Advice::Nothing,
        }
    }

    /// Counts strokes towards an aim, in a drill.
    #[must_use]
    pub fn with_aim(mut self, strokes: u32) -> Self {
        self.view.strokes_aim = Some(strokes);
        self
    }

    /// Lists passes of earlier recordings first.
    #[must_use]
    pub fn with_earlier(mut self, passes: Vec<PassRow>) -> Self {
        self.view.passes = Arc::new(passes);
        self
    }

    /// What there is to show.
    pub fn view(&self) -> &View {
        &self.view
    }

    /// Takes what the session hands out. `guidance` as it stands after it.
    pub fn event(&mut self, event: &Event, guidance: &Guidance) {
        match event {
            Event::Tick(tick) => self.tick(tick, guidance),
            Event::Warning(warning) => match warning.kind {
                WarningKind::HeatSoon | WarningKind::HeatOver | WarningKind::HeatBlind => {
                    self.sound(Cue::Heat, warning.t_s)
                }
                WarningKind::PaceFast => self.sound(Cue::SlowDown, warning.t_s),
                WarningKind::TurnsBlind => {
                    self.notice("No turn rates come: arm speed, strokes and directions are not known.".into());
                }
                _ => {}
            },
            Event::Mark { t_s } => {
                self.marked_s = *t_s;
                // The analysis counts it, too, a moment later.
                self.sections_begun += 1;
                self.new_section();
            }
            Event::Pass(judged) => self.settled(judged),
            // The note itself says so, at once.
            Event::Row(_)
            | Event::Stroke(_)
            | Event::Placed(_)
            | Event::HandedTo { .. }
            | Event::Note { .. }
            | Event::ToAndFro(_) => {}
        }
    }

    /// Takes what happened on the cable.
    pub fn link(&mut self, note: &LinkNote) {
        match note {
            LinkNote::Lost { reason } => {
                self.view.lost = true;
                self.view.doing = "sensor lost";
                self.notice(format!("Sensor lost: {reason}. The recording goes on and waits for it."));
                self.speak();
            }
            LinkNote::Connected { .. } => {
                self.view.lost = false;
                self.speak();
            }
            LinkNote::Resumed { gap_s } => {
                self.view.lost = false;
                self.notice(format!("The sensor is back after {gap_s:.1} s."));
                self.speak();
            }
            LinkNote::BadFrames { .. } => {}
        }
    }

    /// Takes what the user did.
    pub fn note(&mut self, note: &UserNote) {
        match note {
            // The mark that comes of it begins the section; without any data there is nothing to mark.
            UserNote::NewSection => self.notice("New section.".into()),
            UserNote::Text { text } => self.notice(format!("Noted: {text}")),
            UserNote::Technician { name } => {
                self.view.technician.clone_from(name);
                self.notice(format!("{name} has the machine."));
            }
            UserNote::Paused => {
                self.view.paused = true;
                self.speak();
            }
            UserNote::Resumed => {
                self.view.paused = false;
                self.notice("Guidance speaks again.".into());
                self.speak();
            }
        }
    }

    /// Something else worth a line on screen.
    pub fn remark(&mut self, text: String) {
        self.notice(text);
    }

    fn tick(&mut self, tick: &LiveTick, guidance: &Guidance) {
        let view = &mut self.view;
        view.t_s = tick.t_s;
        view.elapsed = clock(tick.t_s);
        view.running = tick.state != State::Still;
        view.doing = match tick.state {
            State::Still => "motor off",
            State::Running => "running, no stroke seen",
            State::Working => "working",
        };
        view.levels = self.levels.at(tick, guidance.pace());
        view.strokes_done = tick.strokes_in_all;
        self.passes = tick.passes;
        let of_before = tick.t_s < self.marked_s + OF_BEFORE_S;
        view.strokes = if of_before { 0 } else { tick.strokes };
        if tick.t_s - self.notice_s > NOTICE_S {
            view.notice = None;
        }
        // What was covered stays to be looked at until the next work.
        if tick.state == State::Working && tick.sections_begun > self.sections_begun {
            self.sections_begun = tick.sections_begun;
            self.new_section();
        }
        if !of_before {
            self.cover.tick(tick);
        }
        self.picture();
        self.advice = guidance.advice();
        self.speak();
        self.sound_again(tick);
    }

    /// The sentence: what guidance advises, unless the sensor is gone or guidance is to be quiet.
    fn speak(&mut self) {
        let signal = Advice::Fault { kind: WarningKind::SignalLost, ready_in_s: None };
        let advice = if self.view.lost { signal } else { self.advice };
        let view = &mut self.view;
        if view.paused {
            view.sentence = Some("Paused".into());
            view.urgency = Urgency::Wait;
            return;
        }
        view.sentence = advice.sentence();
        view.urgency = match advice {
            Advice::Nothing => Urgency::None,
            Advice::LetItCool { .. } => Urgency::Wait,
            Advice::Fault { kind, .. } => match kind {
                WarningKind::SignalLost | WarningKind::TurnsBlind => Urgency::Signal,
                WarningKind::HeatOver | WarningKind::HeatSoon | WarningKind::HeatBlind => Urgency::Heat,
                _ => Urgency::Pace,
            },
        };
    }

    fn sound(&mut self, cue: Cue, t_s: f64) {
        // Heat drowns the pace out.
        let fresh = self.view.cue == Some(Cue::Heat) && t_s - self.rose_s < 1.0;
        if self.view.paused || (fresh && cue == Cue::SlowDown) {
            return;
        }
        self.view.cue = Some(cue);
        self.view.cues += 1;
        self.rose_s = t_s;
    }

    fn sound_again(&mut self, tick: &LiveTick) {
        let Advice::Fault { kind, .. } = self.advice else { return };
        // Lifted and switched off, all is done that can be done.
        if tick.state == State::Still || self.view.lost {
            return;
        }
        let since_s = tick.t_s - self.rose_s;
        match kind {
            WarningKind::HeatOver if since_s >= HEAT_AGAIN_S => self.sound(Cue::Heat, tick.t_s),
            WarningKind::PaceFast if since_s >= PACE_AGAIN_S => self.sound(Cue::SlowDown, tick.t_s),
            _ => {}
        }
    }

    fn new_section(&mut self) {
        // A mark before any work begins the section that is begun already.
        if self.cover.is_touched() {
            self.view.section += 1;
        }
        self.cover.clear();
        self.picture();
    }

    fn settled(&mut self, judged: &JudgedPass) {
        let pass = &judged.pass;
        self.view.settled = pass.pass;
        let of_before = 0.5 * (pass.start_s + pass.end_s) < self.marked_s;
        if of_before {
            // It may have been marked before anything of it was known.
            self.view.section = self.view.section.max(pass.section + 1);
        } else {
            // The analysis decides with hindsight where a section begins; what it has settled is so.
            if pass.section > self.view.section {
                self.view.section = pass.section;
                self.cover.clear();
            }
            if pass.section == self.view.section {
                self.cover.settle(pass);
            }
        }
        if let Some(LengthDoubt { by_turns_m, clear }) = pass.length_doubt {
            let length = self.units.length_range(by_turns_m.lo, by_turns_m.hi);
            let by = if clear { "them" } else { "it all the same" };
            self.notice(format!("Stroke length told in doubt: the turns say {length}. Speeds go by {by}."));
        }
        let passes = Arc::make_mut(&mut self.view.passes);
        if passes.len() == PASSES {
            passes.remove(0);
        }
        passes.push(PassRow::of(judged, self.units));
        self.picture();
    }

    fn picture(&mut self) {
        self.view.cells = self.cover.cells();
        self.view.covered = Cover::share(&self.view.cells);
        self.view.pass = self.cover.is_touched().then_some(self.passes);
    }

    fn notice(&mut self, text: String) {
        self.view.notice = Some(text);
        self.notice_s = self.view.t_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Interval, Pass, TrackPoint};

    struct Stand {
        model: Model,
        guidance: Guidance,
        t_s: f64,
        strokes: u32,
    }

    impl Stand {
        fn new() -> Self {
            let plan = Plan { section_m: Some([0.5, 0.5]), ..Plan::default() };
            let model = Model::new(&plan, Units::Si, "Technician A");
            Self { model, guidance: Guidance::new(&plan), t_s: 0.0, strokes: 0 }
        }

        /// Feeds it as a session would; with a count that rises a stroke has ended.
        fn run(&mut self, seconds: f64, change: impl Fn(&mut LiveTick)) {
            for _ in 0..(seconds * 10.0).round() as u32 {
                self.t_s += 0.1;
                let mut tick = LiveTick { t_s: self.t_s, state: State::Working, ..LiveTick::default() };
                change(&mut tick);
                tick.stroke_ended |= tick.strokes > self.strokes;
                self.strokes = tick.strokes;
                let mut begun = Vec::new();
                self.guidance.tick(&tick, |warning| begun.push(warning));
                for warning in begun {
                    self.model.event(&Event::Warning(warning), &self.guidance);
                }
                self.model.event(&Event::Tick(tick), &self.guidance);
            }
        }

        fn says(&self) -> (Option<&str>, Urgency) {
            (self.model.view().sentence.as_deref(), self.model.view().urgency)
        }
    }

    fn pace(mm_s: f64) -> impl Fn(&mut LiveTick) {
        move |tick| {
            let v = mm_s * 1e-3;
            tick.traverse_mps = Some(Interval { lo: 0.95 * v, value: v, hi: 1.05 * v });
        }
    }

    fn rise(k: f64) -> impl Fn(&mut LiveTick) {
        move |tick| {
            tick.surface_rise_k = Some(k);
            tick.hot_side_rise_k = Some(k);
        }
    }

    #[test]
    fn it_says_nothing_when_all_is_well_and_sounds_nothing() {
        let mut stand = Stand::new();
        stand.run(30.0, pace(20.0));
        assert_eq!(stand.says(), (None, Urgency::None));
        assert_eq!(stand.model.view().cues, 0);
        assert_eq!(stand.model.view().elapsed, "0:30");
    }

    #[test]
    fn a_fast_arm_gets_a_low_tone_and_heat_a_rising_pair_that_comes_again() {
        let mut stand = Stand::new();
        stand.run(2.0, pace(50.0));
        assert_eq!(stand.says(), (Some("Slow the arm"), Urgency::Pace));
        assert_eq!((stand.model.view().cue, stand.model.view().cues), (Some(Cue::SlowDown), 1));
        stand.run(11.0, rise(14.0));
        assert_eq!(stand.says(), (Some("Lift and let it cool"), Urgency::Heat));
        assert_eq!(stand.model.view().cue, Some(Cue::Heat));
        assert_eq!(stand.model.view().cues, 4, "at once, after five seconds, after ten");
        stand.run(20.0, |tick| {
            rise(14.0)(tick);
            tick.state = State::Still;
        });
        assert_eq!(stand.model.view().cues, 4, "with the motor off it is silent");
    }

    #[test]
    fn the_level_shows_the_arm_speed_that_the_warning_names() {
        let mut stand = Stand::new();
        stand.run(1.0, pace(20.0));
        // A stroke that was too fast is known while the next one has begun well.
        let after_a_fast_one = |tick: &mut LiveTick| {
            pace(20.0)(tick);
            (tick.strokes, tick.last_stroke_mps) = (1, Some(Interval { lo: 0.028, value: 0.030, hi: 0.032 }));
        };
        stand.run(0.5, after_a_fast_one);
        assert_eq!(stand.says(), (Some("Slow the arm"), Urgency::Pace));
        let level =
            |stand: &Stand| (stand.model.view().levels[0].reading.clone().unwrap(), stand.model.view().levels[0].word);
        assert_eq!(level(&stand), ("30 mm/s".to_owned(), "too fast"));
        stand.run(1.0, after_a_fast_one);
        assert_eq!(level(&stand), ("20 mm/s".to_owned(), "in band"));
    }

    #[test]
    fn a_stroke_counts_once_whether_a_pass_ends_with_it_or_its_account_is_revised() {
        let mut stand = Stand::new();
        let mut done_after = |strokes: u32, in_all: u32| {
            stand.run(1.0, |tick| (tick.strokes, tick.strokes_in_all) = (strokes, in_all));
            stand.model.view().strokes_done
        };
        assert_eq!(done_after(6, 6), 6);
        assert_eq!(done_after(1, 7), 7, "the first one of a pass that goes on from the one before");
        assert_eq!(done_after(0, 6), 6, "it turns out to be none");
        assert_eq!(done_after(1, 7), 7, "and to be one after all");
    }

    #[test]
    fn a_pass_has_the_number_that_the_list_and_the_sheet_will_give_it() {
        let mut stand = Stand::new();
        assert_eq!(stand.model.view().pass, None);
        stand.run(1.0, |tick| (tick.strokes, tick.passes) = (1, 2));
        assert_eq!((stand.model.view().section, stand.model.view().pass), (1, Some(2)));
        stand.model.event(&Event::Mark { t_s: 1.0 }, &stand.guidance.clone());
        assert_eq!((stand.model.view().section, stand.model.view().pass), (2, None));
        stand.run(4.0, |tick| (tick.strokes, tick.passes) = (0, 2));
        stand.run(1.0, |tick| (tick.strokes, tick.passes) = (1, 3));
        assert_eq!((stand.model.view().section, stand.model.view().pass), (2, Some(3)));
    }

    #[test]
    fn a_slow_arm_is_told_but_not_sounded() {
        let mut stand = Stand::new();
        stand.run(5.0, pace(5.0));
        assert_eq!(stand.says(), (Some("Move the arm faster"), Urgency::Pace));
        assert_eq!(stand.model.view().cues, 0);
    }

    #[test]
    fn a_pause_is_quiet_and_ends() {
        let mut stand = Stand::new();
        stand.model.note(&UserNote::Paused);
        stand.run(5.0, pace(50.0));
        assert_eq!(stand.says(), (Some("Paused"), Urgency::Wait));
        assert_eq!(stand.model.view().cues, 0);
        stand.model.note(&UserNote::Resumed);
        assert_eq!(stand.says(), (Some("Slow the arm"), Urgency::Pace));
    }

    #[test]
    fn a_lost_sensor_is_told_at_once_and_over_everything_else() {
        let mut stand = Stand::new();
        stand.run(3.0, rise(14.0));
        stand.model.link(&LinkNote::Lost { reason: "it was unplugged".into() });
        let (sentence, urgency) = stand.says();
        assert!(sentence.unwrap().contains("check the sensor's lead"), "{sentence:?}");
        assert_eq!(urgency, Urgency::Signal);
        stand.model.link(&LinkNote::Resumed { gap_s: 2.0 });
        assert_eq!(stand.says().1, Urgency::Heat);
        assert!(stand.model.view().notice.as_deref().unwrap().contains("2.0 s"));
    }

    #[test]
    fn a_pass_of_before_a_mark_is_not_the_new_sections_though_nothing_of_it_was_known() {
        let mut stand = Stand::new();
        stand.run(30.0, pace(20.0));
        stand.model.event(&Event::Mark { t_s: 30.0 }, &stand.guidance.clone());
        stand.run(3.5, pace(20.0));
        let track = (0..200).map(|i| TrackPoint {
            t_s: f64::from(i) * 0.1,
            x_m: f64::from(i) * 1e-3,
            y_m: 0.0,
            pad_speed_mps: None,
        });
        let pass = Pass { section: 1, pass: 1, start_s: 5.0, end_s: 29.5, track: track.collect(), ..Pass::untold() };
        stand.model.event(&Event::Pass(Box::new(JudgedPass::of(pass))), &stand.guidance.clone());
        assert_eq!((stand.model.view().section, stand.model.view().covered), (2, 0.0));
    }

    #[test]
    fn a_silent_gyro_is_told_with_what_is_lost_by_it() {
        let mut stand = Stand::new();
        stand.guidance.turns_until(1.0);
        stand.run(5.0, |tick| tick.state = State::Running);
        assert_eq!(stand.says(), (Some("Switch off, replug the sensor: arm is not watched"), Urgency::Signal));
        let notice = stand.model.view().notice.as_deref().expect("what is lost");
        assert!(notice.contains("arm speed, strokes and directions"), "{notice}");
        assert_eq!(stand.model.view().cues, 0);
    }

    #[test]
    fn a_section_begins_by_mark_or_when_the_analysis_says_so_and_shows_with_the_next_work() {
        let mut stand = Stand::new();
        stand.model.event(&Event::Mark { t_s: 0.0 }, &stand.guidance.clone());
        assert_eq!(stand.model.view().section, 1, "a mark before any work");
        stand.run(4.0, |tick| tick.strokes = 0);
        stand.run(5.0, |tick| tick.strokes = 1);
        assert!(stand.model.view().covered > 0.1);
        stand.model.event(&Event::Mark { t_s: 9.0 }, &stand.guidance.clone());
        assert_eq!((stand.model.view().section, stand.model.view().covered), (2, 0.0));
        // The analysis counts the second mark only while the next stroke is being laid.
        stand.run(4.0, |tick| (tick.strokes, tick.sections_begun) = (0, 1));
        stand.run(1.0, |tick| (tick.strokes, tick.sections_begun) = (1, 1));
        stand.run(1.0, |tick| (tick.strokes, tick.sections_begun) = (1, 2));
        assert_eq!(stand.model.view().section, 2);
        stand.run(5.0, |tick| (tick.strokes, tick.sections_begun) = (1, 2));
        // The arm rests for long with the motor running: the same section.
        stand.run(90.0, |tick| (tick.state, tick.strokes, tick.sections_begun) = (State::Running, 1, 2));
        stand.run(0.1, |tick| (tick.strokes, tick.sections_begun) = (1, 2));
        assert_eq!(stand.model.view().section, 2);
        stand.run(61.0, |tick| (tick.state, tick.strokes, tick.sections_begun) = (State::Still, 0, 3));
        assert_eq!(stand.model.view().section, 2);
        stand.run(0.1, |tick| (tick.strokes, tick.sections_begun) = (0, 3));
        assert_eq!(stand.model.view().section, 3);
    }

    #[test]
    fn who_works_and_what_was_noted_is_shown_for_a_while() {
        let mut stand = Stand::new();
        stand.model.note(&UserNote::Technician { name: "Technician B".into() });
        assert_eq!(stand.model.view().technician, "Technician B");
        stand.model.note(&UserNote::Text { text: "soft spot".into() });
        stand.run(1.0, pace(20.0));
        assert_eq!(stand.model.view().notice.as_deref(), Some("Noted: soft spot"));
        stand.run(9.0, pace(20.0));
        assert_eq!(stand.model.view().notice, None);
    }
}
