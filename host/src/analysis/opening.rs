//! How a section begins for a spot beside the strokes: when its work began and when the spot jumped onto the lane before, which tell
//! when the turn after the second stroke is near.

use super::State;
use super::warming::FIT_S;

/// What the next stroke will bring is told this long before it, s: sooner there is nothing to be done about it.
const NEAR_TURN_S: f64 = 15.0;

/// A smaller jump says nothing of the lane beside: it may be noise, K.
const JUMPED_K: f64 = 1.0;

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Opening {
    /// When the section's work began, s, and whether it was a stroke or the motor alone that did.
    began_s: Option<(f64, State)>,
    /// When the spot last jumped, s.
    jump_s: Option<f64>,
}

impl Opening {
    /// What the machine does now.
    pub(super) fn see(&mut self, t_s: f64, state: State) {
        match (self.began_s, state) {
            (None, State::Running | State::Working) => self.began_s = Some((t_s, state)),
            // The motor may have run long before the first stroke, if that was seen to begin.
            (Some((_, State::Running)), State::Working) if self.jump_s.is_none() => {
                self.began_s = Some((t_s, State::Working));
            }
            _ => {}
        }
    }

    /// Nothing was seen for a while, and the spot may be elsewhere.
    pub(super) fn interrupted(&mut self) {
        self.jump_s = None;
    }

    /// The spot has jumped by so many kelvin. When it did is told best while that is new.
    pub(super) fn jumped(&mut self, at_s: f64, by_k: f64) {
        if by_k > JUMPED_K && self.jump_s.is_none_or(|before_s| at_s > before_s + FIT_S) {
            self.jump_s = Some(at_s);
        }
    }

    /// When the spot jumped, s, if the turn is near after a second stroke that began with that: it takes about as long as the first.
    pub(super) fn jump_s(&self, t_s: f64) -> Option<f64> {
        let jump_s = self.jump_s?;
        let first_s = self.began_s.map_or(0.0, |(began_s, _)| jump_s - began_s);
        (t_s >= jump_s + first_s - NEAR_TURN_S).then_some(jump_s)
    }
}
