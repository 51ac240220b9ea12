//! Every threshold of the warnings in one place, with its unit and the reason.
//!
//! The *limits* themselves (heat rise, pace, orbit rate) are the plan's. What stands here is how sure and how long a fault
//! must be before it is spoken of, and when it is over.

use super::latch::Timing;

/// Heat: raised within 0.2 s, since a hand reacts in about a second and paint warms up to 10 K in one; one noisy tick is
/// not enough. Cleared after 3 s below, because the spot may look at cool paint for a moment. Said again
/// when the spot crosses the limit once more after 3 s under it, though the hot side it left has not cooled meanwhile: the next
/// stroke is another chance to lift. And said again when it is still so after half a minute, two strokes, for whoever did not hear.
pub(super) const HEAT_OVER: Timing =
    Timing { raise_s: 0.2, clear_s: 3.0, hold_s: 10.0, again_s: 3.0, remind_s: 30.0, fade_s: f64::INFINITY };

/// Heat that goes on rising after the word is said again with every further half of the limit: who did not react the first time
/// hears how far it has come.
pub(super) const HEAT_MORE: f64 = 0.5;

/// A rise that never came further over the limit than this share of it hovers there: its next crossing is no news.
pub(super) const HEAT_HOVERS: f64 = 0.25;

/// How far the hot side must fall below the limit before the panel counts as cooler again, K. About eight standard
/// deviations of the thermometer's filtered noise.
pub(super) const HEAT_CLEAR_K: f64 = 1.0;

/// Heat ahead: speaks early or not at all, so it speaks at once (the forecast has weighed its noise already); then quiet for
/// 20 s, twice the time it looks ahead.
pub(super) const HEAT_SOON: Timing = Timing {
    raise_s: 0.0,
    clear_s: 3.0,
    hold_s: 20.0,
    again_s: f64::INFINITY,
    remind_s: f64::INFINITY,
    fade_s: f64::INFINITY,
};

/// Standard deviations by which the expected rise must pass the limit: a little likelier over it than not. A late warning of
/// heat costs paint, a needless one a pause. In drawn recordings that no published table uses (seeds 300, 340 and 700, 24 of each
/// kind) 0.5 loses a sixth of the early warnings and saves three in ten of the needless ones. One more word wherever the rise
/// comes within 0.6 K of the limit would be early for 6 % more of the crossings, and needless warnings two in five more.
pub(super) const HEAT_SOON_SDS: f64 = 0.05;

/// Thermometer: certain as soon as it has lasted [`HEAT_BLIND_S`]; readings that come and go are one fault.
pub(super) const HEAT_BLIND: Timing = Timing {
    raise_s: 0.0,
    clear_s: 1.0,
    hold_s: 30.0,
    again_s: f64::INFINITY,
    remind_s: f64::INFINITY,
    fade_s: f64::INFINITY,
};

/// Without a usable reading for this long nobody knows how warm the panel is, s: paint warms a few kelvin in it.
pub(super) const HEAT_BLIND_S: f64 = 3.0;

/// Gyro: certain as soon as it has lasted [`TURNS_BLIND_S`]; rates that come and go are one fault.
pub(super) const TURNS_BLIND: Timing = HEAT_BLIND;

/// Without turn rates for this long the arm is not watched, s: as long as the live figures wait for them.
pub(super) const TURNS_BLIND_S: f64 = 1.0;

/// Pace: the interval must be clear of the band for 0.3 s; no second word about it for 10 s, about the time of a stroke, so
/// that there is time to follow the first. Between a stroke's figure and the next one the arm may have done as it was told, and its
/// running estimate be too wide to say so: five seconds after the last evidence, time to hear it, look up and read, nothing is
/// said any more.
pub(super) const PACE: Timing =
    Timing { raise_s: 0.3, clear_s: 1.0, hold_s: 10.0, again_s: f64::INFINITY, remind_s: f64::INFINITY, fade_s: 5.0 };

/// A finished stroke's rate speaks for the pace for this long, s; then only the running estimate does.
pub(super) const STROKE_FRESH_S: f64 = 1.0;

/// Orbit rate: load swings at every turn, so it must last 1.5 s.
pub(super) const ORBIT: Timing = Timing {
    raise_s: 1.5,
    clear_s: 1.0,
    hold_s: 15.0,
    again_s: f64::INFINITY,
    remind_s: f64::INFINITY,
    fade_s: f64::INFINITY,
};

/// Standard deviations by which the orbit rate must be clear of the band.
pub(super) const ORBIT_SDS: f64 = 2.0;

/// And this share of the band's end: below it nobody would turn the dial.
pub(super) const ORBIT_MARGIN: f64 = 0.01;

/// Spin: the analysis has already waited to be sure.
pub(super) const SPIN: Timing = Timing {
    raise_s: 0.5,
    clear_s: 1.0,
    hold_s: 15.0,
    again_s: f64::INFINITY,
    remind_s: f64::INFINITY,
    fade_s: f64::INFINITY,
};

/// Signal: the loss is certain as soon as it has lasted [`SIGNAL_LOST_S`]; the wait before the all-clear lets a bad plug
/// settle.
pub(super) const SIGNAL: Timing = Timing {
    raise_s: 0.0,
    clear_s: 1.0,
    hold_s: 5.0,
    again_s: f64::INFINITY,
    remind_s: f64::INFINITY,
    fade_s: f64::INFINITY,
};

/// Without a good sample of the accelerometer for this long the signal is lost, s: some ten missing blocks of the sensor.
pub(super) const SIGNAL_LOST_S: f64 = 1.0;

/// With gaps shorter than this it is back, s.
pub(super) const SIGNAL_BACK_S: f64 = 0.5;

/// A panel within this rise of its start is ready for the next pass, K.
pub(super) const READY_RISE_K: f64 = 2.0;
