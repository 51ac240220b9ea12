//! How warm the panel is beyond what the spot sees, and how warm it will be.
//!
//! # What the spot sees
//!
//! The thermometer looks at the paint a hand's breadth from the pad's centre. In strokes one way it *trails*: it sees paint
//! just worked. In the other it *leads* and sees paint not yet touched. Within one pass its readings swing by ten kelvin
//! between neighbouring strokes while the panel itself only gets warmer. So:
//!
//! * the **hot side** is the highest rise of the section, cooling by Newton's law from the moment it was seen; a leading
//!   spot does not pull it down;
//! * **look-ahead** follows *warming runs*: the stretch in which the spot moves from untouched onto worked paint. The paint
//!   under a pad of diameter `d` moving at `v` is heated for `d/v`, and a trailing spot needs that same time to travel from
//!   the edge of the worked strip to where the pad has passed over completely. So a run lasts about `d/v`, and its rate is
//!   the pad's heating rate: the run's length times its rate is what will be added, less the loss to the air. A young run is
//!   fitted with its shape (`warming`), an older one with lines.
//! * After two strokes the spot may cross the pattern that earlier ones left; a steep run there can be an edge of that pattern
//!   that soon ends, so nothing is foreseen from it alone (a wide interval says so). But in the first pass a trailing stroke gets
//!   about as warm as the last trailing one did, and what the third stroke of a crosshatch's second pass brings is told from the
//!   warmest of the strokes before (`crests`).
//! * A spot that lies **beside** the first pass's strokes jumps onto the lane before at each turn, or sees none. A jump leads nowhere
//!   (`warming` tells it from a run), but says how warm the third stroke will be (`crests`); and the second pass is then the one in
//!   which it trails, with runs to follow.
//!
//! In the first pass it cannot see a rise that begins at the turn ahead. On a panel that jumps over its limit within four
//! seconds of a stroke's begin, the warning comes two to three seconds before; where the first worked paint seen is already too
//! warm, it comes with the crossing.
//!
//! What is missing is the path, not the physics. A sheet like the simulation's, heated along the true path and run ten seconds
//! ahead, foresees twice as many crossings with fewer needless warnings. But a stroke is known three seconds after its begin
//! and its length to a few percent; fed with that, the sheet did no better than these runs, and neither did a classifier
//! trained on the live figures (both tried on drawn recordings, and left out).

use super::crests::Crests;
use super::opening::Opening;
use super::panel::{SHEET_TAU_S, decay_time_s, rise_after_k};
use super::warming::{Expected, Onset, Warming};
use super::{Measured, State};

/// The look-ahead, s.
pub(crate) const AHEAD_S: f64 = 10.0;

/// A panel within this of its start is cool again, K.
pub(crate) const COOL_K: f64 = 2.0;

/// On the pattern of earlier strokes a slope may go on for about this long, s; it only widens the interval.
const PATTERN_S: f64 = 3.0;

/// From this many strokes on the spot may cross the edge of a strip worked before, and such a slope leads nowhere.
const OF_A_KIND: u32 = 2;

/// How far such strokes' runs lead astray besides, one standard deviation, relative; chosen on drawn recordings that no published
/// table uses, for both more crossings foreseen and no more than one needless warning in ten minutes.
const ASTRAY_REL_SD: f64 = 0.15;

/// From this share of its crest on a climb is one.
const CLIMB_SHARE: f64 = 0.4;

/// Length of a run in pad diameters: a little more than one, because the turn and the strip beside add to it.
const RUN_DIAMETERS: f64 = 1.15;

/// Arm speed when it is not known, m/s: the middle of half an inch to one inch a second (common practice).
pub(crate) const USUAL_ARM_MPS: f64 = 0.019;

/// Relative standard deviation of a foreseen gain: heating along a run is not even.
const GAIN_REL_SD: f64 = 0.1;

/// Relative standard deviation of the usual arm speed.
const USUAL_ARM_REL_SD: f64 = 0.4;

/// Up to this age a run is known by its fitted shape, s; after, by lines.
const YOUNG_S: f64 = 3.0;

/// Slope below which a run does not count at the moment, K/s: it has reached its top, or turned.
const CLIMBING_K_S: f64 = 0.3;

/// Relative standard deviation, from run to run, of a heating rate that has been seen: pressure and overlap change.
const SEEN_REL_SD: f64 = 0.3;

/// A run that ended sooner than this says nothing of the heating rate, s.
const ENDED_S: f64 = 1.5;

/// A run that climbed less says nothing of the heating rate: it may be noise, K.
const LEARNED_FROM_K: f64 = 1.0;

/// A run ends when the slope over the short window falls below zero and that over the long one below this, K/s.
const RUN_OVER_K_S: f64 = 0.15;

/// A straight line through the last readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Trend {
    /// Value at the end, K above the start, lag of the chip included.
    pub(crate) rise_k: f64,
    /// Slope, K/s.
    pub(crate) slope_k_s: f64,
    /// Its standard deviation, K/s.
    pub(crate) slope_sd_k_s: f64,
}

/// What the look-ahead needs besides the readings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Motion {
    /// What the machine is doing.
    pub(crate) state: State,
    /// Arm speed, m/s: of the last stroke, or as the strokes begin; `None` when not known.
    pub(crate) arm_mps: Option<Measured>,
    /// End of the last stroke known, s.
    pub(crate) stroke_end_s: Option<f64>,
    /// How many finished strokes lie along the axis of now, after others across it; `None` while there were no others.
    pub(crate) strokes_across: Option<u32>,
}

/// The warming run that the spot is in, as last seen young.
#[derive(Clone, Copy, Debug)]
struct Run {
    from_s: f64,
    from_k: f64,
}

/// Heat state of one section.
#[derive(Clone, Debug)]
pub(crate) struct Heat {
    pad_diameter_m: f64,
    hot_side_k: Option<f64>,
    hot_side_s: f64,
    tau_s: f64,
    /// Since when, and from which rise, the machine has stood still with a surface that cools.
    cooling: Option<(f64, f64)>,
    run: Option<Run>,
    crests: Crests,
    /// Heating rate of the runs so far, K/s; with the same hand, pad and liquid it is much the same in the next section.
    seen_k_s: Option<f64>,
    opening: Opening,
}

/// Over how much cooling the time constant is measured, K: large against the noise of a trend, small against a section's
/// rise.
const COOLING_SPAN_K: f64 = 1.0;

/// A time constant outside this is not a panel cooling, s.
const TAU_RANGE_S: std::ops::RangeInclusive<f64> = 30.0..=600.0;

impl Heat {
    pub(crate) fn new(pad_diameter_m: f64) -> Self {
        Self {
            pad_diameter_m,
            hot_side_k: None,
            hot_side_s: 0.0,
            tau_s: SHEET_TAU_S,
            cooling: None,
            run: None,
            crests: Crests::default(),
            seen_k_s: None,
            opening: Opening::default(),
        }
    }

    /// A new section: the panel is another. How fast it warms and cools is likely the same.
    pub(crate) fn new_section(&mut self) {
        *self = Self { tau_s: self.tau_s, seen_k_s: self.seen_k_s, ..Self::new(self.pad_diameter_m) };
    }

    /// Brings the hot side up to `t_s`. `rise_k` is the spot's, where known.
    pub(crate) fn hot_side(&mut self, t_s: f64, rise_k: Option<f64>) -> Option<f64> {
        let cooled = self.hot_side_k.map(|hot| rise_after_k(hot, 0.0, self.tau_s, t_s - self.hot_side_s));
        self.hot_side_k = match (cooled, rise_k) {
            (Some(hot), Some(rise)) => Some(hot.max(rise)),
            (hot, rise) => hot.or(rise),
        };
        self.hot_side_s = t_s;
        self.hot_side_k
    }

    /// Follows the crests of the strokes. `rise_k` is the spot's, where known.
    pub(crate) fn see(&mut self, t_s: f64, rise_k: Option<f64>, motion: Motion) {
        self.opening.see(t_s, motion.state);
        if let Some(rise_k) = rise_k {
            self.crests.see(t_s, rise_k, motion.stroke_end_s, motion.strokes_across.is_some());
        }
    }

    /// Nothing was seen for a while, and the spot may be elsewhere.
    pub(crate) fn interrupted(&mut self) {
        self.crests.interrupted();
        self.opening.interrupted();
    }

    /// Learns how fast the panel cools while the machine stands on it.
    pub(crate) fn watch_cooling(&mut self, t_s: f64, trend: Option<Trend>, state: State) {
        let Some(trend) = trend.filter(|trend| {
            // Standing on a panel that is warm, and nothing jumps (lifting the machine does).
            state == State::Still && trend.rise_k > COOL_K && trend.slope_k_s.abs() < 1.0
        }) else {
            self.cooling = None;
            return;
        };
        match self.cooling {
            Some((from_s, from_k)) if from_k - trend.rise_k >= COOLING_SPAN_K => {
                let tau_s = (t_s - from_s) / (from_k / trend.rise_k).ln();
                if TAU_RANGE_S.contains(&tau_s) {
                    self.tau_s = tau_s;
                }
                self.cooling = Some((t_s, trend.rise_k));
            }
            Some((_, from_k)) if trend.rise_k <= from_k => {}
            _ => self.cooling = Some((t_s, trend.rise_k)),
        }
    }

    /// The heating rate to expect of the next run.
    fn expected(&self) -> Expected {
        match self.seen_k_s {
            Some(rate_k_s) => Expected { rate_k_s, sd_k_s: SEEN_REL_SD * rate_k_s },
            None => Expected::usual(self.pad_diameter_m),
        }
    }

    /// Seconds until the hot side is within 2 K of the start.
    pub(crate) fn cool_in_s(&self) -> Option<f64> {
        self.hot_side_k.map(|hot| decay_time_s(hot, COOL_K, self.tau_s))
    }

    /// The highest rise expected within ten seconds, or in the stroke to come.
    ///
    /// `short` and `long` are lines through the last readings; `warming` fits a young run to the rises (K above the
    /// start) when asked with an arm speed and an expected rate.
    pub(crate) fn ahead(
        &mut self,
        t_s: f64,
        short: Trend,
        long: Trend,
        motion: Motion,
        warming: impl FnOnce(f64, Expected) -> Option<Onset>,
    ) -> Measured {
        let flat = Measured { value: short.rise_k, sd: short.slope_sd_k_s * SHORT_S / 2.0 };
        if motion.state == State::Still {
            self.run = None;
            return flat;
        }
        let pattern = Measured { sd: flat.sd.hypot(long.slope_k_s * PATTERN_S), ..flat };
        // Known after two strokes at the soonest.
        let crest = self.crests.same_way().filter(|_| motion.strokes_across.is_none());
        let run = if crest.is_none() && self.crests.strokes() >= OF_A_KIND && !self.crests.is_beside() {
            self.run = None;
            pattern
        } else {
            let run = self.along_run(t_s, short, long, flat, motion, warming);
            let climbs = |crest: Measured| {
                let within = short.rise_k > CLIMB_SHARE * crest.value && short.rise_k < crest.value;
                within && short.slope_k_s > CLIMBING_K_S
            };
            match crest {
                None => run,
                Some(crest) if run.value > flat.value => {
                    Measured { sd: run.sd.hypot(ASTRAY_REL_SD * run.value), ..run }.and(crest)
                }
                Some(crest) if climbs(crest) => crest,
                Some(_) => pattern,
            }
        };
        let next = match motion.strokes_across {
            None => self.opening.jump_s(t_s).and_then(|jump_s| self.crests.over_jump(jump_s, short.rise_k)),
            Some(_) => self.crests.next(short.rise_k, motion.strokes_across),
        };
        next.filter(|crest| crest.value > run.value).unwrap_or(run)
    }

    /// Whether a run will go on. One that begins at once soon ends where the spot sees the lane beside; where it sees no lane of the
    /// first pass, or in the second one, that was the edge of what was worked before, and the pad is what heats beyond.
    fn goes_on(&self, run: &Warming, motion: Motion) -> bool {
        !run.at_once || motion.strokes_across.is_some() || self.crests.sees_untouched()
    }

    /// A run that is young still: as long as it is, its begin is what the newest fit says. What climbs and is no run ends the one
    /// that was.
    fn young_run(
        &mut self,
        t_s: f64,
        arm_mps: f64,
        motion: Motion,
        warming: impl FnOnce(f64, Expected) -> Option<Onset>,
    ) -> Option<Warming> {
        match warming(arm_mps, self.expected())? {
            Onset::Run(run) if self.goes_on(&run, motion) => {
                self.run = Some(Run { from_s: t_s - run.age_s, from_k: run.from });
                return Some(run);
            }
            Onset::Jump { age_s, by } => self.opening.jumped(t_s - age_s, by),
            Onset::Run(_) => {}
        }
        self.run = None;
        None
    }

    /// The rise to which the warming run leads that the spot is in; `flat` where it is in none.
    fn along_run(
        &mut self,
        t_s: f64,
        short: Trend,
        long: Trend,
        flat: Measured,
        motion: Motion,
        warming: impl FnOnce(f64, Expected) -> Option<Onset>,
    ) -> Measured {
        let usual = Measured { value: USUAL_ARM_MPS, sd: USUAL_ARM_REL_SD * USUAL_ARM_MPS };
        let arm = motion.arm_mps.filter(|arm| arm.value > 0.0).unwrap_or(usual);
        let (arm_mps, rel_sd) = (arm.value, GAIN_REL_SD.hypot(arm.sd / arm.value));
        let length_s = RUN_DIAMETERS * self.pad_diameter_m / arm_mps;
        // A run that ends, or is near its end, tells the heating rate best.
        let over = short.slope_k_s < 0.0 && long.slope_k_s < RUN_OVER_K_S;
        if let Some(run) = self.run
            && t_s - run.from_s >= if over { ENDED_S } else { YOUNG_S.max(0.7 * length_s) }
        {
            let climbed_k = short.rise_k - run.from_k;
            let rate_k_s = climbed_k / (t_s - run.from_s).min(length_s);
            self.seen_k_s = Some(rate_k_s).filter(|_| climbed_k > LEARNED_FROM_K).or(self.seen_k_s);
        }
        if over {
            self.run = None;
        }
        let is_old = self.run.is_some_and(|run| t_s - run.from_s >= YOUNG_S);
        let young = if is_old || short.slope_k_s <= 0.0 { None } else { self.young_run(t_s, arm_mps, motion, warming) };
        let Some(run) = self.run.filter(|_| short.slope_k_s > CLIMBING_K_S) else { return flat };

        let left_s = (length_s - (t_s - run.from_s)).max(0.0);
        let (top_k, rate_k_s, rate_sd_k_s) = match young {
            Some(Warming { rate_k_s, rate_sd_k_s, .. }) => {
                (run.from_k + rise_after_k(0.0, rate_k_s, self.tau_s, length_s), rate_k_s, rate_sd_k_s)
            }
            None => {
                // The slope swings with turns and overlap, the mean of the run lags: the middle errs least.
                let mean = (short.rise_k - run.from_k) / (t_s - run.from_s).max(LONG_S);
                let rate = 0.5 * (long.slope_k_s + mean);
                (rise_after_k(short.rise_k, rate, f64::INFINITY, left_s), rate, long.slope_sd_k_s)
            }
        };
        let gain = (top_k - short.rise_k).min(rate_k_s * AHEAD_S);
        if gain <= 0.0 {
            return flat;
        }
        Measured { value: short.rise_k + gain, sd: (rel_sd * gain).hypot(rate_sd_k_s * left_s.min(AHEAD_S)) }
    }
}

/// Length of the short window, s.
pub(crate) const SHORT_S: f64 = 0.8;

/// Length of the long window, s.
pub(crate) const LONG_S: f64 = 1.2;

#[cfg(test)]
mod tests {
    use super::super::crests::{OVER_JUMP, OVER_JUMP_SD};
    use super::*;

    const WORKING: Motion = Motion {
        state: State::Working,
        arm_mps: Some(Measured { value: 0.02, sd: 0.001 }),
        stroke_end_s: None,
        strokes_across: None,
    };

    fn trend(rise_k: f64, slope_k_s: f64) -> Trend {
        Trend { rise_k, slope_k_s, slope_sd_k_s: 0.15 }
    }

    #[test]
    fn the_hot_side_outlasts_a_leading_stroke_and_cools_as_a_panel() {
        let mut heat = Heat::new(0.13);
        assert_eq!(heat.hot_side(0.0, None), None);
        assert_eq!(heat.hot_side(0.0, Some(8.0)), Some(8.0));
        let after = heat.hot_side(12.0, Some(0.5)).unwrap();
        assert!((after - 8.0 * (-12.0 / SHEET_TAU_S).exp()).abs() < 1e-12);
        assert_eq!(heat.hot_side(12.1, Some(9.0)), Some(9.0));
        let wait = heat.cool_in_s().unwrap();
        assert!((heat.hot_side(12.1 + wait, None).unwrap() - COOL_K).abs() < 1e-9);
        heat.new_section();
        assert_eq!(heat.cool_in_s(), None);
    }

    #[test]
    fn it_learns_how_fast_this_panel_cools() {
        let mut heat = Heat::new(0.13);
        heat.hot_side(0.0, Some(12.0));
        for i in 0..600 {
            let t = f64::from(i) * 0.1;
            let rise = 12.0 * (-t / 80.0).exp();
            heat.watch_cooling(t, Some(trend(rise, -rise / 80.0)), State::Still);
        }
        assert!((heat.tau_s - 80.0).abs() < 1e-6, "{}", heat.tau_s);
        // Lifted off: a jump is not cooling.
        heat.watch_cooling(60.1, Some(trend(5.0, -20.0)), State::Still);
        assert_eq!(heat.cooling, None);
    }

    fn run(rate_k_s: f64, rate_sd_k_s: f64, age_s: f64) -> Option<Onset> {
        Some(Onset::Run(Warming { rate_k_s, rate_sd_k_s, age_s, from: 0.0, at_once: false }))
    }

    fn line(t: f64) -> Trend {
        trend(2.0 * t, 2.0)
    }

    #[test]
    fn a_run_is_foreseen_to_its_end() {
        let mut heat = Heat::new(0.13);
        // 2 K/s for d/v = 6.5 s, a little more for turns and overlap: about 14 K in the end.
        let young = |age_s| run(2.0, 0.2, age_s);
        let early = heat.ahead(1.5, line(1.5), line(1.5), WORKING, |_, _| young(1.5));
        assert!((early.value - 14.0).abs() < 1.5 && early.sd < 2.5, "{early:?}");
        let mid = heat.ahead(4.6, line(4.6), line(4.6), WORKING, |_, _| panic!("the run is not young any more"));
        assert!((mid.value - 14.5).abs() < 1.5 && mid.sd < early.sd, "{mid:?}");
        // The end of the run leaves what is there.
        let over = heat.ahead(7.0, trend(13.0, -0.1), trend(13.0, 0.1), WORKING, |_, _| None);
        assert_eq!(over.value, 13.0);
        assert!(heat.run.is_none());
    }

    #[test]
    fn an_arm_speed_that_is_not_known_widens_the_interval() {
        let young = |_, _| run(1.0, 0.1, 1.0);
        let known = Heat::new(0.13).ahead(1.0, line(1.0), line(1.0), WORKING, young);
        let unknown = Motion { arm_mps: None, ..WORKING };
        let guessed = Heat::new(0.13).ahead(1.0, line(1.0), line(1.0), unknown, young);
        assert!(guessed.sd > 2.0 * known.sd, "{known:?} {guessed:?}");
    }

    #[test]
    fn with_the_motor_off_or_after_two_strokes_a_slope_foretells_little() {
        let still = Motion { state: State::Still, ..WORKING };
        let never = |_: f64, _: Expected| -> Option<Onset> { panic!("not asked for") };
        assert_eq!(Heat::new(0.13).ahead(1.0, trend(3.0, 2.0), trend(3.0, 2.0), still, never).value, 3.0);
        let mut heat = Heat::new(0.13);
        heat.see(0.0, Some(0.0), WORKING);
        for end_s in [8.0, 17.0] {
            heat.see(end_s + 3.0, Some(8.0), Motion { stroke_end_s: Some(end_s), ..WORKING });
        }
        let ahead = heat.ahead(21.0, trend(8.0, 4.0), trend(8.0, 4.0), WORKING, never);
        assert!(ahead.value == 8.0 && ahead.sd >= 12.0, "{ahead:?}");
    }

    #[test]
    fn in_the_first_pass_a_run_leads_about_as_far_as_that_of_the_last_trailing_stroke() {
        let after_three = || {
            let mut heat = Heat::new(0.13);
            // The second climbs to 10 K, the others fall away.
            for (t_s, rise_k, end_s) in [
                (0.0, 0.0, None),
                (8.0, 0.0, Some(8.0)),
                (17.0, 10.0, None),
                (17.1, 9.9, Some(17.0)),
                (26.0, 0.0, None),
                (29.0, 4.5, Some(26.0)),
            ] {
                heat.see(t_s, Some(rise_k), Motion { stroke_end_s: end_s, ..WORKING });
            }
            heat
        };
        let none = |_: f64, _: Expected| None;
        let climbing = trend(4.5, 1.5);
        let crest = after_three().ahead(29.0, climbing, climbing, WORKING, none);
        assert!((crest.value - 10.3).abs() < 1e-9 && (crest.sd - 1.0).abs() < 1e-9, "{crest:?}");
        // A run that seems to lead to 21 K is held back by it, and says something itself.
        let run = |_, _| run(3.0, 0.2, 1.5);
        let both = after_three().ahead(29.0, climbing, climbing, WORKING, run);
        assert!(both.value > 10.6 && both.value < 15.0 && both.sd < crest.sd, "{both:?}");
        // Not across, and not before it climbs.
        let across = Motion { strokes_across: Some(1), ..WORKING };
        assert_eq!(after_three().ahead(29.0, climbing, climbing, across, run).value, 4.5);
        let level = trend(4.5, 0.0);
        assert_eq!(after_three().ahead(29.0, level, level, WORKING, run).value, 4.5);
    }

    /// Three strokes of nine seconds whose spot sees `crest_k` from half a second after each turn on.
    fn three_strokes_beside(crest_k: [f64; 3]) -> Heat {
        let mut heat = Heat::new(0.13);
        for i in 0..300 {
            let t_s = f64::from(i) * 0.1;
            let (stroke, into_s) = ((t_s / 9.0) as usize, t_s % 9.0);
            let rise_k = if into_s < 0.5 { 0.0 } else { crest_k.get(stroke).copied().unwrap_or(0.0) };
            let stroke_end_s = (into_s > 2.5 && stroke > 0).then_some(9.0 * stroke as f64);
            heat.see(t_s, Some(rise_k), Motion { stroke_end_s, ..WORKING });
        }
        heat
    }

    #[test]
    fn beside_the_strokes_a_jump_leads_nowhere_and_a_run_after_three_strokes_does() {
        let trend = trend(3.0, 2.0);
        let jump = |_, _| Some(Onset::Jump { age_s: 1.0, by: 3.0 });
        assert_eq!(Heat::new(0.13).ahead(9.0, trend, trend, WORKING, jump).value, 3.0);
        let after_jump = |_, _| {
            let run = Warming { rate_k_s: 2.0, rate_sd_k_s: 0.2, age_s: 1.5, from: 0.0, at_once: true };
            Some(Onset::Run(run))
        };
        let none_seen = || three_strokes_beside([0.0; 3]);
        let leads = |mut heat: Heat, motion, onset: fn(f64, Expected) -> Option<Onset>| {
            heat.ahead(30.0, trend, trend, motion, onset).value > 11.0
        };
        assert!(leads(none_seen(), WORKING, |_, _| run(2.0, 0.2, 1.5)));
        assert!(leads(none_seen(), WORKING, after_jump), "the edge of what was worked before");
        // A run that was under way before a jump is over.
        let mut heat = Heat::new(0.13);
        assert!(heat.ahead(8.0, trend, trend, WORKING, |_, _| run(2.0, 0.2, 1.5)).value > 11.0);
        assert_eq!(heat.ahead(8.5, trend, trend, WORKING, jump).value, 3.0);
        let lanes_seen = || three_strokes_beside([0.0, 5.0, 6.0]);
        assert!(!leads(lanes_seen(), WORKING, after_jump), "the lane beside");
        assert!(leads(lanes_seen(), Motion { strokes_across: Some(0), ..WORKING }, after_jump));
    }

    /// What is foreseen of a spot that is on 8 K as the second stroke begins, 9 s after the first, and slowly falls from there: from
    /// when on more than 9 K, and what. The motor ran alone for `alone_s`; the stream may break at `broken_s`.
    fn told_of_the_third_stroke(alone_s: f64, broken_s: Option<f64>) -> Option<(f64, Measured)> {
        let mut heat = Heat::new(0.13);
        (0..400).map(|i| f64::from(i) * 0.1).find_map(|t_s| {
            let turn_s = alone_s + 9.0;
            let rise_k = if t_s < turn_s { 0.0 } else { 8.0 - 0.2 * (t_s - turn_s) };
            let state = if t_s < alone_s { State::Running } else { State::Working };
            let motion = Motion { state, stroke_end_s: (t_s > turn_s + 2.5).then_some(turn_s - 0.2), ..WORKING };
            heat.see(t_s, Some(rise_k), motion);
            if (turn_s + 0.4..turn_s + 0.6).contains(&t_s) {
                let jump = |_, _| Some(Onset::Jump { age_s: 0.5, by: 8.0 });
                heat.ahead(t_s, trend(8.0, 2.0), trend(8.0, 2.0), motion, jump);
            }
            if broken_s.is_some_and(|at_s| (t_s - at_s).abs() < 0.05) {
                heat.interrupted();
            }
            let level = trend(rise_k, 0.0);
            let ahead = heat.ahead(t_s, level, level, motion, |_, _| None);
            (ahead.value > 9.0).then_some((t_s, ahead))
        })
    }

    #[test]
    fn the_third_stroke_beside_is_foreseen_from_the_jump_into_the_second() {
        let (from_s, ahead) = told_of_the_third_stroke(0.0, None).expect("it is foreseen");
        assert!((14.0..14.3).contains(&from_s), "a kelvin below the crest: {from_s}");
        assert!(
            (ahead.value - OVER_JUMP * 8.0).abs() < 0.1 && (ahead.sd - OVER_JUMP_SD * 8.0).abs() < 0.1,
            "{ahead:?}"
        );
        // A motor that ran long before makes no long first stroke.
        let (from_s, _) = told_of_the_third_stroke(20.0, None).expect("it is foreseen");
        assert!((34.0..34.3).contains(&from_s), "{from_s}");
        // What the stream hid may have been another place.
        assert_eq!(told_of_the_third_stroke(0.0, Some(12.0)), None);
    }

    #[test]
    fn noise_teaches_no_heating_rate() {
        let mut heat = Heat::new(0.13);
        let flat = trend(0.05, 0.31);
        heat.ahead(1.0, flat, flat, WORKING, |_, _| run(0.02, 0.02, 1.0));
        heat.ahead(9.0, trend(0.05, -0.1), trend(0.05, 0.0), WORKING, |_, _| None);
        assert_eq!(heat.expected(), Expected::usual(0.13));
    }
}
