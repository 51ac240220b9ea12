//! How an account goes on: for every burst it may be, what it would mean and how likely that is.

use super::pair::{Pair, across, along, goes_anywhere};
use super::{
    ASKEW, Account, LONGEST_TURN_S, MIN_STROKE_S, MOVE_COST, MOVE_S, Mode, Past, Role, SPEEDS_MPS, STARTS_AFTER_S,
    STEP_MPS, STROKE_SCATTER, SUM_ASKEW, UNSEEN_ACROSS_COST, UNSEEN_BACK_COST, UNSEEN_COST, USUAL_S, USUAL_SCATTER,
    fits, lasting, rest_cost,
};
use crate::analysis::findings::Measured;
use crate::analysis::traverse::UNEVEN;
use crate::analysis::turns::Event;
use std::sync::Arc;

/// What calling a burst real costs, natural log.
const REAL_COST: f64 = 3.0;
/// What a stroke in the same direction as the one before costs, natural log.
const SAME_WAY_COST: f64 = 5.0;
/// What a new direction costs, across the strokes before and at most aslant to them, natural log.
const ACROSS_COST: f64 = 1.0;
const ASLANT_COST: f64 = 4.0;
/// Strokes whose directions' cosine is smaller are across each other.
const ACROSS_COSINE: f64 = 0.7;
/// What going elsewhere without a stop at the stroke's end costs, natural log.
const NO_STOP_COST: f64 = 2.5;
/// What setting off across at once, without a rest, costs, natural log.
const AT_ONCE_COST: f64 = 5.0;
/// Shortest and longest sideways step between two strokes, s.
const SIDESTEP_S: (f64, f64) = (0.15, LONGEST_TURN_S);
/// Speed of an arm's quick movements, m/s, one standard deviation per axis.
const QUICK_MPS: f64 = 0.12;
/// What ending a stroke by lifting the machine off costs, natural log.
const LIFTED_COST: f64 = 4.0;
/// How far the speed of one stroke may lie from that of the ones before, one standard deviation, relative: strokes of one length
/// scatter in speed as they do in time, the one before as much as this one.
const HURRY: f64 = core::f64::consts::SQRT_2 * STROKE_SCATTER;
/// A start quicker than this is not told as a stroke's speed, m/s: nobody corrects paint that fast, but steps aside are quicker.
/// Common practice, no published source.
const QUICKEST_TOLD_MPS: f64 = 0.1;
/// Share of the speed's old value that a well measured burst replaces.
const LEARN: f64 = 0.3;

impl Account {
    /// What each real burst was taken for, in order.
    pub(super) fn bursts(&self) -> Vec<(Role, Event)> {
        let mut bursts = Vec::new();
        let mut at = self.past.as_ref();
        while let Some(p) = at {
            bursts.push((p.role, p.event));
            at = p.before.as_ref();
        }
        bursts.reverse();
        bursts
    }

    /// Whether a stroke this way lies across the one before.
    fn is_across(&self, way: [f64; 2]) -> bool {
        self.direction.is_some_and(|before| (before[0] * way[0] + before[1] * way[1]).abs() < ACROSS_COSINE)
    }

    /// The next stroke goes this way. Where that is another axis, so many of the finished strokes lay along it already.
    fn heads(&mut self, way: [f64; 2], already: u32) {
        if self.is_across(way) {
            self.axis_from = Some(self.strokes.saturating_sub(already));
        }
        self.direction = Some(way);
    }

    fn after(&self, score: f64, mode: Mode, role: Role, event: Event) -> Self {
        let past = Some(Arc::new(Past { role, event, before: self.past.clone() }));
        Self { score: self.score + score, mode, since_s: event.t_s, past, passed_over: None, ..self.clone() }
    }

    /// The two last bursts were a turn of a stroke whose start was too gentle to be seen. Their sum is twice the new
    /// stroke's velocity, their difference twice the sideways speed; only that the two stand at right angles can be checked.
    pub(super) fn turned_unseen(&self, event: Event) -> Option<Self> {
        let (first, refund) = self.passed_over?;
        let time_s = event.t_s - first.t_s;
        // It began after the last burst that was one.
        let longest_s = first.t_s - self.since_s - STARTS_AFTER_S;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 || longest_s < MIN_STROKE_S {
            return None;
        }
        let sum: [f64; 2] = [0, 1].map(|i| 0.5 * (first.step[i] + event.step[i]));
        let speed: f64 = sum[0].hypot(sum[1]);
        if speed < SPEEDS_MPS.0 || speed > SPEEDS_MPS.1 {
            return None;
        }
        let d = sum.map(|v| v / speed);
        let pair = Pair::of(first, event, d);
        let sd = STEP_MPS.hypot(SUM_ASKEW * pair.size());
        let (begins, usual_s) = self.begins(sum.map(|v| -v), sd);
        let hurried = usual_s.map_or(0.0, |usual| lasting(longest_s.min(usual), usual));
        let score = begins + hurried + pair.steps_aside(None, speed) - 2.0 * REAL_COST - UNSEEN_COST - refund;
        let score = score - self.rest_cost(event.t_s);
        let before = self.after(0.0, Mode::Sidestep, Role::EndUnnoticed, first);
        let mut next = before.after(score, Mode::Stroke, Role::Start, event);
        next.heads(d, 0);
        next.speed = Some(speed);
        next.current = self.by_itself(speed, sd);
        next.sidestep_m = Some(pair.aside_m());
        next.stroke_s = None;
        Some(next)
    }

    /// A quick move to where the work goes on, between two rests; one after a stroke's end, or the turns of slow strokes with a
    /// quick sideways step would all pass for moves.
    pub(super) fn moves_off(&self, event: Event, size: f64) -> Option<Self> {
        // Slower than the strokes it would be no quick move, and a stroke too gentle at its end would be taken for one.
        let slow = 0.7 * self.speed?;
        let after_stroke = self.past.as_ref().is_some_and(|p| p.role == Role::EndResting);
        if !after_stroke || event.t_s - self.since_s < 0.2 || size < slow {
            return None;
        }
        let score = goes_anywhere(event.step) - REAL_COST - MOVE_COST - self.rest_cost(event.t_s);
        Some(self.after(score, Mode::Move, Role::Move, event))
    }

    pub(super) fn arrives(&self, event: Event, out: &mut Vec<Self>) {
        let Some(past) = &self.past else { return };
        let first = past.event;
        let time_s = event.t_s - self.since_s;
        if time_s < MOVE_S.0 || time_s > MOVE_S.1 {
            return;
        }
        let sd = STEP_MPS.hypot(ASKEW * first.step[0].hypot(first.step[1]));
        let score = fits(event.step[0] + first.step[0], sd) + fits(event.step[1] + first.step[1], sd);
        let arrived = self.after(score - REAL_COST, Mode::Rest, Role::Move, event);
        arrived.sets_off_unseen(event, out);
        out.push(arrived);
    }

    /// Having just arrived somewhere, a stroke may begin so soon or so gently that the move's far stronger burst hides it: back
    /// along the strokes before, or across them. When it ends, its time and the speed taken away tell whether there was one.
    fn sets_off_unseen(&self, event: Event, out: &mut Vec<Self>) {
        let Some(d) = self.direction else { return };
        for (direction, cost, back) in [
            ([-d[0], -d[1]], UNSEEN_BACK_COST, true),
            ([-d[1], d[0]], UNSEEN_ACROSS_COST, false),
            ([d[1], -d[0]], UNSEEN_ACROSS_COST, false),
        ] {
            let mut next = Self {
                score: self.score - UNSEEN_COST - cost,
                mode: Mode::Stroke,
                current: None,
                stroke_s: self.stroke_s.filter(|_| back),
                past: self
                    .past
                    .as_ref()
                    .map(|p| Arc::new(Past { role: Role::MoveThenStart, event, before: p.before.clone() })),
                ..self.clone()
            };
            next.heads(direction, 0);
            out.push(next);
        }
    }

    /// Whether the second burst of a pair has not come in time: the account can never go on.
    pub(super) fn has_lapsed(&self, t_s: f64) -> bool {
        let longest_s = match self.mode {
            Mode::Sidestep => SIDESTEP_S.1,
            Mode::Move => MOVE_S.1,
            Mode::Rest | Mode::Stroke => return false,
        };
        t_s - self.since_s > longest_s
    }

    /// What resting until `t_s` costs, natural log.
    pub(super) fn rest_cost(&self, t_s: f64) -> f64 {
        if self.past.is_none() {
            // Before the first stroke nobody knows when the work began.
            return 0.0;
        }
        rest_cost(t_s - self.since_s)
    }

    /// The speed after a burst said `said`, m/s, with standard deviation `sd`: the less it says, the less is learned.
    pub(super) fn learned(speed: f64, said: f64, sd: f64) -> f64 {
        let usual = STEP_MPS.hypot(0.15 * speed);
        let gain = LEARN * (usual / sd).powi(2).min(1.0);
        (1.0 - gain) * speed + gain * said.max(0.3 * speed)
    }

    /// How likely a stroke begins with velocity `v`, measured to `sd`: natural log of a density in the plane of velocities; and
    /// the usual time of a stroke, where it still counts.
    fn begins(&self, v: [f64; 2], sd: f64) -> (f64, Option<f64>) {
        let size = v[0].hypot(v[1]);
        let direction = v.map(|v| v / size);
        // Any direction, any usual speed; a density in the plane of velocity steps.
        let anyhow = -(0.08_f64).ln() - (core::f64::consts::TAU * size).ln();
        let mut score = anyhow;
        if let Some(speed) = self.speed {
            let like_before = fits(size - speed, sd.hypot(0.2 * speed)) - (core::f64::consts::TAU * size).ln();
            score = like_before.max(anyhow - 2.5);
        }
        let mut stroke_s = self.stroke_s;
        if let Some(d) = self.direction {
            // Along the strokes before, or across them, more likely than aslant.
            let along = direction[0] * d[0] + direction[1] * d[1];
            let across = direction[0] * d[1] - direction[1] * d[0];
            let quarter = core::f64::consts::FRAC_PI_2;
            let off = (across.atan2(along) + 0.5 * quarter).rem_euclid(quarter) - 0.5 * quarter;
            score += (-0.5 * (off / 0.2).powi(2)).max(-ASLANT_COST) + 0.7;
            if self.is_across(direction) {
                stroke_s = None;
                score -= ACROSS_COST;
            } else if along > 0.0 {
                // Strokes run to and fro; one more the same way needs a way back that was not seen.
                score -= SAME_WAY_COST;
            }
        }
        (score, stroke_s)
    }

    /// Speed of a stroke whose start said `said`, m/s, with standard deviation `sd`: mostly as the ones before, but anyone may
    /// hurry for once. Nothing where that is as quick as steps aside are: the stroke's end will tell which it was.
    fn by_itself(&self, said: f64, sd: f64) -> Option<Measured> {
        let sd = sd.hypot(UNEVEN * said.max(0.0));
        let said = Measured { value: said, sd };
        let speed = self.speed.map_or(said, |usual| said.and(Measured { value: usual, sd: HURRY * usual }));
        (speed.value < QUICKEST_TOLD_MPS).then_some(speed)
    }

    /// The same over a turn that changed the speed by `both`, m/s: what the stroke before had is taken off.
    fn after_turn(&self, both: f64, sd: f64) -> Option<Measured> {
        let Some(before) = self.current else {
            return self.by_itself(0.5 * both, 0.5 * sd.hypot(HURRY * both));
        };
        self.by_itself(both - before.value, sd.hypot(before.sd))
    }

    pub(super) fn starts(&self, event: Event, size: f64) -> Option<Self> {
        if event.t_s - self.since_s < STARTS_AFTER_S || size < SPEEDS_MPS.0 || size > SPEEDS_MPS.1 {
            return None;
        }
        let direction = [event.step[0] / size, event.step[1] / size];
        let (score, stroke_s) = self.begins(event.step, STEP_MPS.hypot(event.blur));
        let score = score - REAL_COST - 1.0 - self.rest_cost(event.t_s);
        let mut next = self.after(score, Mode::Stroke, Role::Start, event);
        next.heads(direction, 0);
        next.speed = Some(self.speed.map_or(size, |v| 0.5 * (v + size)));
        next.current = self.by_itself(size, STEP_MPS.hypot(event.blur));
        next.stroke_s = stroke_s;
        Some(next)
    }

    pub(super) fn ends(&self, event: Event, out: &mut Vec<Self>) {
        let (Some(d), Some(speed)) = (self.direction, self.speed) else { return };
        let time_s = event.t_s - self.since_s;
        if time_s < MIN_STROKE_S {
            return;
        }
        let (taken, side) = (-along(d, event.step), across(d, event.step));
        let blurred = STEP_MPS.hypot(event.blur);
        let sd = blurred.hypot(0.15 * speed).hypot(ASKEW * side.abs());
        let lasts = match self.stroke_s {
            Some(usual) => lasting(time_s, usual),
            None => -0.5 * ((time_s / USUAL_S).ln() / USUAL_SCATTER).powi(2),
        };
        let ended = |mut next: Self| {
            next.stroke_s = Some(self.stroke_s.map_or(time_s, |u| 0.6 * u + 0.4 * time_s));
            next.strokes += 1;
            next
        };
        let put = |next: Self| Self { speed: Some(Self::learned(speed, taken, sd)), ..ended(next) };
        let stopping = fits(taken - speed, sd);
        let score = stopping + fits(side, blurred.hypot(0.2 * speed)) + lasts - REAL_COST - 1.0;
        out.push(put(self.after(score, Mode::Rest, Role::EndResting, event)));

        // Lifted off, or the motor running down: when it ended is told, and no more. One whose start was not seen either would be
        // a stroke that nothing shows.
        let seen = self.past.as_ref().is_some_and(|p| p.role != Role::MoveThenStart);
        let score = goes_anywhere(event.step) + lasts - REAL_COST - LIFTED_COST;
        if seen {
            out.push(ended(self.after(score, Mode::Rest, Role::EndLifted, event)));
        }

        // Half of a turn says little by itself: what it leaks along the stroke may exceed the stroke's own speed.
        let lent = fits(event.step[0], QUICK_MPS) + fits(event.step[1], QUICK_MPS);
        let next = self.after(lent + lasts - REAL_COST, Mode::Sidestep, Role::EndTurning, event);
        out.push(Self { lent, ..ended(next) });

        let score = fits(taken - 2.0 * speed, 2.0 * sd) + fits(side, (2.0 * blurred).hypot(0.25 * speed)) + lasts;
        let mut next = put(self.after(score - REAL_COST - 3.0, Mode::Stroke, Role::Reversal, event));
        next.speed = Some(Self::learned(speed, 0.5 * taken, sd));
        next.current = self.after_turn(taken, blurred);
        next.direction = Some([-d[0], -d[1]]);
        out.push(next);
    }

    /// The second burst of a pair that began at a stroke's end: a turn with a sideways step, or the way to another place,
    /// where a stroke across begins at once or the arm rests.
    pub(super) fn turns(&self, event: Event, out: &mut Vec<Self>) {
        let (Some(d), Some(speed), Some(past)) = (self.direction, self.speed, &self.past) else { return };
        let time_s = event.t_s - self.since_s;
        if time_s < SIDESTEP_S.0 || time_s > SIDESTEP_S.1 {
            return;
        }
        let pair = Pair::of(past.event, event, d);
        let sd = STEP_MPS.hypot(SUM_ASKEW * pair.size());
        // A turn takes away the speed and gives it anew, the other way.
        let turn_sd = sd.hypot(0.15 * speed);
        let score = fits(pair.along + 2.0 * speed, 2.0 * turn_sd)
            + fits(pair.across, (2.0 * sd).hypot(0.2 * speed))
            + pair.steps_aside(self.sidestep_m, speed);
        let mut next = self.after(score - self.lent - REAL_COST, Mode::Stroke, Role::Start, event);
        next.speed = Some(Self::learned(speed, -0.5 * pair.along, turn_sd));
        next.current = self.after_turn(-pair.along, 2.0 * sd);
        let aside = pair.aside_m();
        next.sidestep_m = Some(self.sidestep_m.map_or(aside, |m| 0.6 * m + 0.4 * aside));
        // Over the turn the sideways parts cancel: the sum of its two steps says where the new stroke goes, and the one it turned
        // from came along the same axis.
        next.heads(pair.turned(d, speed), 1);
        out.push(next);

        let anywhere = pair.goes_anywhere() - self.lent - REAL_COST - MOVE_COST - NO_STOP_COST;
        // Or it takes the speed away and no more.
        let score = fits(pair.along + speed, turn_sd.hypot(sd)) + fits(pair.across, sd.hypot(0.2 * speed));
        let mut next = self.after(score + anywhere, Mode::Rest, Role::Move, event);
        next.speed = Some(Self::learned(speed, -pair.along, 2.0 * turn_sd));
        next.sets_off_unseen(event, out);
        out.push(next);

        // Or a stroke across begins at once.
        let way = 1.0_f64.copysign(pair.across);
        let score = fits(pair.along + speed, turn_sd.hypot(sd)) + fits(pair.across - way * speed, turn_sd.hypot(sd));
        let mut next =
            self.after(score + anywhere - AT_ONCE_COST - (2.0_f64).ln(), Mode::Stroke, Role::StartAcross, event);
        next.heads([-way * d[1], way * d[0]], 0);
        next.current = self.by_itself(pair.across.abs(), sd);
        next.stroke_s = None;
        out.push(next);
    }
}
