//! Sections of the panel: where one begins, and which a pass belongs to.

use crate::analysis::findings::State;

/// Longest time that the motor stands inside a section, s. A stream that stays away as long counts as standing: nobody knows.
const SECTION_PAUSE_S: f64 = 60.0;
/// A section's begin and the end of the work before it are told to about this, s.
const ABOUT_S: f64 = 1.0;

/// Follows the sections, live as they begin, and counts passes to them once these are settled.
#[derive(Debug)]
pub(super) struct Sections {
    /// When the one of now began, s.
    begun_s: f64,
    /// Begins in all.
    begun: u32,
    /// Begins that no pass has been counted to yet, s.
    uncounted_s: Vec<f64>,
    /// When the machine was last at work, s; `None` before a section's first stroke.
    worked_s: Option<f64>,
    /// Of the last settled pass; zero before the first.
    number: u32,
    /// Heading of its first pass, rad; `None` before that, and once the stream has broken: headings of before and after cannot be
    /// compared.
    heading: Option<f64>,
    /// End of the last settled pass, s.
    last_pass_s: f64,
}

impl Default for Sections {
    fn default() -> Self {
        Self {
            begun_s: f64::NEG_INFINITY,
            begun: 0,
            uncounted_s: Vec::new(),
            worked_s: None,
            number: 0,
            heading: None,
            last_pass_s: f64::NEG_INFINITY,
        }
    }
}

impl Sections {
    /// Another panel, or the same one after it has been left alone.
    pub(super) fn begin(&mut self, t_s: f64) {
        self.begun_s = t_s;
        self.begun += 1;
        self.uncounted_s.push(t_s);
        self.worked_s = None;
    }

    /// Since when the panel has been left alone, s, where that was so long ago that what comes is another section.
    pub(super) fn left_alone_s(&self, t_s: f64) -> Option<f64> {
        self.worked_s.filter(|last| t_s - last > SECTION_PAUSE_S)
    }

    /// Notes what goes on. With the motor running the arm may work unseen; a start taken from paint that is warm by now would hide
    /// its heat.
    pub(super) fn see(&mut self, t_s: f64, state: State, motor_runs: bool) {
        if state == State::Working || self.worked_s.is_some() && motor_runs {
            self.worked_s = Some(t_s);
        }
    }

    /// When the one of now began, s.
    pub(super) fn begun_s(&self) -> f64 {
        self.begun_s
    }

    /// How many have begun.
    pub(super) fn begun(&self) -> u32 {
        self.begun
    }

    /// Section of the last settled pass; zero before the first.
    pub(super) fn number(&self) -> u32 {
        self.number
    }

    /// Heading of its first pass, rad.
    pub(super) fn heading(&self) -> Option<f64> {
        self.heading
    }

    /// The stream has broken: headings of before and after cannot be compared.
    pub(super) fn forget_heading(&mut self) {
        self.heading = None;
    }

    /// Counts a settled pass, s, with its heading, rad, to a section. Hands out the end of the pass before, s.
    pub(super) fn count_pass(&mut self, (start_s, end_s): (f64, f64), heading: f64) -> f64 {
        let begun = self.uncounted_s.iter().any(|at| *at <= start_s && *at >= self.last_pass_s - ABOUT_S);
        if self.number == 0 || begun {
            self.number += 1;
            self.heading = Some(heading);
        }
        self.uncounted_s.retain(|at| *at > start_s);
        std::mem::replace(&mut self.last_pass_s, end_s)
    }
}
