//! What an account says once its bursts are known: its strokes, with the starts and ends that nobody noticed when they came.

use super::{
    ASKEW, Account, Event, MIN_STROKE_S, Mode, RawStroke, Role, STARTS_AFTER_S, STEP_MPS, STROKE_SCATTER, SUM_ASKEW,
    UNSEEN_COST, USUAL_S, USUAL_SCATTER, across, along, fits, is_noise,
};
use crate::analysis::traverse::UNEVEN;

/// Two starts this close, relative to the stroke's time, make the same stroke of it.
const SAME_START: f64 = 0.15;
/// Strokes that must be known for the usual time of one, and the share of it that the motor must have run for a stroke to have
/// ended unnoticed.
const USUAL_OF: usize = 2;
const MOST: f64 = 0.7;

impl Account {
    /// The strokes; `heard` are all bursts, taken for something or not.
    pub(super) fn told(&self, heard: &[Event]) -> Vec<RawStroke> {
        let (mut out, mut open, mut joined) = (Vec::new(), None, false);
        // Strokes whose starts were not noticed: before which stroke each stands, since when it can have begun, its end.
        let mut unnoticed: Vec<(usize, f64, Ended)> = Vec::new();
        let begins = |role| matches!(role, Role::Start | Role::StartAcross | Role::MoveThenStart);
        let elsewhere = |role| matches!(role, Role::Move | Role::StartAcross | Role::MoveThenStart);
        let bursts = self.bursts();
        for (n, &(role, event)) in bursts.iter().enumerate() {
            if role == Role::EndUnnoticed {
                let since_s = n.checked_sub(1).map_or(f64::NEG_INFINITY, |n| bursts[n].1.t_s);
                unnoticed.push((out.len(), since_s, Ended::by_turns(&bursts[n..])));
                joined = false;
                continue;
            }
            if !begins(role)
                && let Some((start, unseen)) = open.take()
            {
                let next = bursts.get(n + 1).filter(|_| role == Role::EndTurning);
                let moved = next.filter(|b| elsewhere(b.0)).map(|b| b.1);
                let masked = [unseen, role == Role::EndLifted];
                let turned =
                    self.turned_into().filter(|_| n + 1 + usize::from(role == Role::EndTurning) == bursts.len());
                out.push(RawStroke {
                    start,
                    end: event,
                    masked,
                    supposed: [false; 2],
                    by_load: [false; 2],
                    joined,
                    aside: None,
                    moved,
                    turned,
                });
                joined = matches!(role, Role::EndTurning | Role::Reversal) && moved.is_none();
            }
            if begins(role) || role == Role::Reversal {
                open = Some((event, role == Role::MoveThenStart));
            }
        }
        let usual_s = usual_s(&out);
        for (at, since_s, ended) in unnoticed.into_iter().rev() {
            let Some(next) = out.get(at).copied() else { continue };
            let seen = ended.began(heard, since_s, usual_s);
            let supposed = usual_s.map(|usual| unseen_at(ended.end.t_s - usual));
            if let Some(start) = seen.or(supposed.filter(|start| start.t_s > since_s + STARTS_AFTER_S)) {
                let supposed = [seen.is_none(), false];
                let stroke = RawStroke {
                    start,
                    end: ended.end,
                    masked: [false; 2],
                    supposed,
                    by_load: [false; 2],
                    joined: false,
                    aside: None,
                    moved: None,
                    turned: None,
                };
                out[at] = RawStroke { joined: true, ..next };
                out.insert(at, stroke);
            }
        }
        out
    }

    /// The start of the stroke under way, if it began with a turn.
    pub(super) fn turned_into(&self) -> Option<Event> {
        let last = self.past.as_ref().filter(|_| self.mode == Mode::Stroke)?;
        let turned = match last.role {
            Role::Start => last.before.as_ref().is_some_and(|p| p.role == Role::EndTurning),
            Role::Reversal => true,
            _ => false,
        };
        turned.then_some(last.event)
    }

    /// Whether the recording ended, or the motor stopped, at `until_s` in a stroke that had only just begun with a turn: too soon
    /// to tell how long it would have lasted.
    pub(super) fn had_just_turned(&self, until_s: f64) -> bool {
        let before = self.turned_into().zip(self.told(&[]).pop());
        before.is_some_and(|(start, last)| until_s - start.t_s <= MOST * (last.end.t_s - last.start.t_s))
    }

    /// Whether a stroke is under way at `until_s`, and no longer than strokes last.
    pub(super) fn is_under_way(&self, until_s: f64) -> bool {
        let usual_s = usual_s(&self.told(&[])).unwrap_or(USUAL_S);
        self.mode == Mode::Stroke && until_s - self.since_s <= (1.0 + STROKE_SCATTER) * usual_s
    }

    /// The last stroke, if it began with a turn and has not been seen to end by `until_s`. Either it is in that stroke still:
    /// then as if it had lasted as long as the others. Or what ended it was half of a turn whose other half never came: the
    /// motor's run-down, most likely, that hid the end.
    pub(super) fn ended_unnoticed(&self, until_s: f64) -> Option<RawStroke> {
        match self.mode {
            Mode::Sidestep => {
                let stroke = self.told(&[]).pop().filter(|s| s.joined)?;
                Some(RawStroke { supposed: [stroke.supposed[0], true], moved: None, turned: None, ..stroke })
            }
            Mode::Stroke => {
                let start = self.turned_into()?;
                let usual_s = usual_s(&self.told(&[]))?;
                let end_s = (start.t_s + usual_s).min(until_s);
                (end_s - start.t_s > MOST * usual_s).then_some(RawStroke {
                    start,
                    end: unseen_at(end_s),
                    masked: [false; 2],
                    supposed: [false, true],
                    by_load: [false; 2],
                    joined: true,
                    aside: None,
                    moved: None,
                    turned: None,
                })
            }
            Mode::Rest | Mode::Move => None,
        }
    }
}

/// Stands for an end of a stroke that was not seen: its step says nothing.
fn unseen_at(t_s: f64) -> Event {
    Event { t_s, step: [0.0; 2], blur: 0.0 }
}

/// How long strokes last, s, where enough are known.
fn usual_s(strokes: &[RawStroke]) -> Option<f64> {
    let mut times: Vec<f64> = strokes.iter().map(|s| s.end.t_s - s.start.t_s).collect();
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().filter(|_| times.len() >= USUAL_OF)
}

/// The end of a stroke whose start was not noticed.
struct Ended {
    end: Event,
    /// Its velocity, m/s, and one standard deviation of that per axis.
    velocity: [f64; 2],
    sd: f64,
}

impl Ended {
    /// `bursts` begin with its end: the turn there and those that follow without a rest, to and fro, all say how fast it went.
    fn by_turns(bursts: &[(Role, Event)]) -> Self {
        let (mut sum, mut size, mut turns, mut way) = ([0.0; 2], 0.0, 0.0, -0.5);
        for pair in bursts.chunks_exact(2) {
            let [(end, first), (start, second)] = [pair[0], pair[1]];
            if !matches!(end, Role::EndUnnoticed | Role::EndTurning) || start != Role::Start {
                break;
            }
            let [x, y] = [0, 1].map(|i| first.step[i] - second.step[i]);
            sum = [0, 1].map(|i| sum[i] + way * (first.step[i] + second.step[i]));
            size += 0.5 * x.hypot(y);
            turns += 1.0;
            way = -way;
        }
        let sd = STEP_MPS.hypot(SUM_ASKEW * size / turns) / turns.sqrt();
        Self { end: bursts[0].1, velocity: sum.map(|v| v / turns), sd }
    }

    /// Which burst after `since_s` was its start: now that turns tell its velocity and the other strokes how long they last,
    /// one may stand out that was as well taken for noise when it came.
    fn began(&self, heard: &[Event], since_s: f64, usual_s: Option<f64>) -> Option<Event> {
        let end = self.end;
        let speed = self.velocity[0].hypot(self.velocity[1]);
        let d = self.velocity.map(|v| v / speed);
        let candidates: Vec<Event> = heard
            .iter()
            .copied()
            .filter(|e| e.t_s > since_s + STARTS_AFTER_S && e.t_s < end.t_s - MIN_STROKE_S)
            .collect();
        let first_s = candidates.first()?.t_s;
        let rate_hz = candidates.len() as f64 / (end.t_s - first_s);
        // Odds that it was this burst, against that none was the start.
        let odds = candidates.into_iter().map(|e| {
            let time_s = end.t_s - e.t_s;
            let (usual, scatter) = usual_s.map_or((USUAL_S, USUAL_SCATTER), |usual| (usual, STROKE_SCATTER));
            let lasts = fits((time_s / usual).ln(), scatter) - time_s.ln() - 0.5 * core::f64::consts::TAU.ln();
            let sd = self.sd.hypot(STEP_MPS.hypot(e.blur)).hypot(UNEVEN * speed);
            let fits = fits(along(d, e.step) - speed, sd) + fits(across(d, e.step), sd.hypot(ASKEW * speed));
            let odds = fits - is_noise(e) + lasts - rate_hz.ln();
            (e, (odds + UNSEEN_COST).exp())
        });
        let odds: Vec<(Event, f64)> = odds.collect();
        let all = 1.0 + odds.iter().map(|o| o.1).sum::<f64>();
        // Bursts close to each other say the same of the stroke.
        let close = |a: Event, b: Event| (a.t_s - b.t_s).abs() < SAME_START * (end.t_s - a.t_s);
        let around = |e: Event| odds.iter().filter(|o| close(e, o.0)).map(|o| o.1).sum::<f64>();
        let (best, _) = odds.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
        (around(best) > 0.5 * all).then_some(best)
    }
}
