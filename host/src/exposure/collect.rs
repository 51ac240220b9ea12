//! From the tenths of seconds of a recording to stretches of running time.
//!
//! Exposure time is the time the motor ran (trigger time), found from the vibration itself: people asked how long they used a
//! sander overstate it several times over (median 6.3 times for eight users of hand-held sanders, Occup Environ Med, table
//! 4). A running machine is taken to be in somebody's hands; one left running on a bench counts too, on the careful side.

use jiff::ZonedDateTime;

use crate::{
    analysis::WeightedEnergy,
    recording::{Facts, moment_at, start_of},
    session::Hands,
};

/// A pause shorter than this does not end a stretch, s. Only for the drawing's sake: the pause itself never counts.
const JOIN_S: f64 = 5.0;
/// A stretch with less measured time than this takes its tool's magnitude of the day, s.
const ENOUGH_S: f64 = 1.0;
/// One tenth, s.
const TENTH_S: f64 = 0.1;

/// A stretch in which a machine ran.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Running {
    /// Who held it; empty when not told.
    pub technician: String,
    /// How many times the machine had changed hands in its recording.
    pub turn: usize,
    /// The tool, in the recording's words.
    pub tool: String,
    /// When it began, by the clock of the shop, where that is known.
    pub start: Option<ZonedDateTime>,
    /// From the beginning to the end, short pauses included, s.
    pub span_s: f64,
    /// Time the motor ran, s.
    pub running_s: f64,
    /// Weighted vibration while it ran, as far as it was measured.
    pub energy: WeightedEnergy,
    /// Whether its logger's range was too small: what was measured is the least that it can have been.
    pub is_cut_off: bool,
}

impl Running {
    /// Whether enough of it was measured to stand for itself.
    pub fn is_measured(&self) -> bool {
        self.energy.seconds >= ENOUGH_S
    }
}

/// Collects one recording.
#[derive(Debug)]
pub struct Collector {
    tool: String,
    started: Option<ZonedDateTime>,
    hands: Hands,
    done: Vec<Running>,
    /// Start of the open stretch, s, and the stretch.
    open: Option<(f64, Running)>,
    /// Midnight after that start, s: a stretch belongs to one day. Infinite where the clock is not known.
    midnight_s: f64,
}

impl Collector {
    /// At the start of a recording.
    pub fn new(facts: &Facts) -> Self {
        Self {
            tool: if facts.machine.is_empty() { "polisher".to_owned() } else { facts.machine.clone() },
            started: start_of(&facts.started),
            hands: Hands::new(&facts.technician),
            done: Vec::new(),
            open: None,
            midnight_s: f64::INFINITY,
        }
    }

    /// The machine went into other hands at `t_s`. Call in order of time.
    pub fn handed_to(&mut self, t_s: f64, technician: &str) {
        self.hands.pass_to(t_s, technician);
    }

    /// In whose hands the machine was, so far.
    pub fn hands(&self) -> &Hands {
        &self.hands
    }

    /// Takes a tenth of a second that begins at `t_s`, s since the first sample. Call in order of time.
    pub fn tenth(&mut self, t_s: f64, running: bool, energy: &WeightedEnergy) {
        if !running {
            return;
        }
        let turn = self.hands.turn_at(t_s);
        let goes_on = self.open.as_ref().is_some_and(|(start_s, stretch)| {
            stretch.turn == turn && t_s < self.midnight_s && t_s - (start_s + stretch.span_s) <= JOIN_S
        });
        if !goes_on {
            let start = self.started.as_ref().and_then(|started| moment_at(started, t_s));
            self.midnight_s = start.as_ref().and_then(midnight_after).map_or(f64::INFINITY, |to_go_s| t_s + to_go_s);
            let stretch = Running {
                technician: self.hands.at(t_s).map_or("", |name| &**name).to_owned(),
                turn,
                tool: self.tool.clone(),
                start,
                span_s: 0.0,
                running_s: 0.0,
                energy: WeightedEnergy::default(),
                is_cut_off: false,
            };
            self.done.extend(self.open.replace((t_s, stretch)).map(|(_, stretch)| stretch));
        }
        if let Some((start_s, stretch)) = &mut self.open {
            stretch.span_s = t_s + TENTH_S - *start_s;
            stretch.running_s += TENTH_S;
            stretch.energy += *energy;
        }
    }

    /// All stretches, in order of time.
    pub fn finish(mut self) -> Vec<Running> {
        self.done.extend(self.open.map(|(_, stretch)| stretch));
        self.done
    }
}

/// From a moment to the midnight after it, s.
fn midnight_after(moment: &ZonedDateTime) -> Option<f64> {
    let midnight = moment.tomorrow().ok()?.start_of_day().ok()?;
    Some(midnight.duration_since(moment).as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts() -> Facts {
        Facts {
            technician: "Robin".into(),
            machine: "orbital".into(),
            started: "2026-03-02T09:15:00+01:00".into(),
            ..Facts::default()
        }
    }

    fn tenth(a: f64) -> WeightedEnergy {
        WeightedEnergy { square_integral: [a * a * 0.1, 0.0, 0.0], seconds: 0.1, clipped: 0 }
    }

    #[test]
    fn only_running_time_counts_and_short_pauses_do_not_split() {
        let mut collector = Collector::new(&facts());
        for i in 0..1_000 {
            // 20 s on, 2 s off, 18 s on, 30 s off, 30 s on.
            let t_s = f64::from(i) * 0.1;
            let on = t_s < 19.95 || (21.95..39.95).contains(&t_s) || t_s > 69.95;
            collector.tenth(t_s, on, &tenth(4.0));
        }
        let stretches = collector.finish();
        assert_eq!(stretches.len(), 2);
        assert!((stretches[0].running_s - 38.0).abs() < 0.11, "{}", stretches[0].running_s);
        assert!((stretches[0].span_s - 40.0).abs() < 0.11);
        assert!((stretches[1].running_s - 30.0).abs() < 0.11);
        assert_eq!(stretches[0].energy.total_mps2().map(|a| (a * 1e6).round()), Some(4e6));
        assert_eq!(stretches[1].start.as_ref().unwrap().strftime("%H:%M:%S%:z").to_string(), "09:16:10+01:00");
    }

    #[test]
    fn a_hand_over_splits_the_stretch() {
        let mut collector = Collector::new(&facts());
        collector.handed_to(10.0, "Sam");
        for i in 0..200 {
            collector.tenth(f64::from(i) * 0.1, true, &tenth(4.0));
        }
        let holders: Vec<String> = collector.finish().into_iter().map(|s| s.technician).collect();
        assert_eq!(holders, ["Robin", "Sam"]);
    }

    #[test]
    fn midnight_splits_the_stretch_and_each_part_counts_on_its_own_day() {
        let mut collector = Collector::new(&Facts { started: "2026-03-02T23:59:30+01:00".into(), ..facts() });
        for i in 0..1_000 {
            collector.tenth(f64::from(i) * 0.1, true, &tenth(4.0));
        }
        let stretches = collector.finish();
        let days: Vec<(String, f64)> = stretches
            .iter()
            .map(|s| (s.start.as_ref().expect("known").strftime("%d %H:%M:%S").to_string(), s.running_s.round()))
            .collect();
        assert_eq!(days, [("02 23:59:30".to_owned(), 30.0), ("03 00:00:00".to_owned(), 70.0)]);
        assert!(stretches.iter().all(|s| (s.span_s - s.running_s).abs() < 0.01 && s.technician == "Robin"));
    }

    #[test]
    fn a_start_that_cannot_be_read_is_not_known() {
        let mut collector = Collector::new(&Facts { started: "yesterday".into(), ..facts() });
        collector.tenth(0.0, true, &tenth(4.0));
        assert_eq!(collector.finish()[0].start, None);
    }
}
