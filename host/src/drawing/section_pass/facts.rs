//! What the sheet asserts about a pass, worked out once and used by strips, map, words and key figures alike.

use super::super::SheetInput;
use super::super::units::Scale;
use super::unseen::Unseen;
use super::words;
use crate::analysis::{Interval, Measured, ROW_S, SeriesRow, State, Stroke, Warmth};
use crate::guidance::watch::{RATE_LASTS_S, rate_is_clear};
use crate::guidance::{Band, Warning, WarningKind};

/// Rows further apart than this leave a hole; they come every [`ROW_S`].
const HOLE_S: f64 = 0.25;

/// A stroke's arm speed against the target band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pace {
    /// Speed or band not known.
    Unknown,
    /// Whole interval inside the band.
    Inside,
    /// Best estimate inside, interval reaches beyond the band.
    PerhapsInside,
    /// Best estimate above, interval reaches into the band.
    PerhapsFast,
    /// Best estimate below, interval reaches into the band.
    PerhapsSlow,
    /// Whole interval above the band.
    Fast,
    /// Whole interval below the band.
    Slow,
}

impl Pace {
    pub(crate) fn of(speed: Option<Interval>, band: Option<Band>) -> Self {
        let (Some(speed), Some(Band { lo, hi })) = (speed, band) else { return Self::Unknown };
        match speed {
            s if !(s.value.is_finite() && s.lo.is_finite() && s.hi.is_finite()) => Self::Unknown,
            s if s.lo > hi => Self::Fast,
            s if s.hi < lo => Self::Slow,
            s if s.value > hi => Self::PerhapsFast,
            s if s.value < lo => Self::PerhapsSlow,
            s if s.lo < lo || s.hi > hi => Self::PerhapsInside,
            _ => Self::Inside,
        }
    }

    /// The whole interval lies outside.
    pub(crate) fn is_outside(self) -> bool {
        matches!(self, Self::Fast | Self::Slow)
    }
}

/// That every stroke kept to the band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kept {
    /// Their intervals lie inside.
    Surely,
    /// Their best estimates do; of many such strokes some were outside.
    AsFarAsKnown,
}

/// How arm speeds are told: in which units, beside which band.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Speeds {
    scale: Scale,
    band_mps: Option<Band>,
}

impl Speeds {
    pub(crate) fn told_in(input: &SheetInput<'_>) -> Self {
        Self { scale: input.scale(), band_mps: input.bands.pace_mps }
    }

    /// "32 (27–38) and 31 (26–37) mm/s", of strokes whose speeds are known.
    fn of(self, strokes: &[&Stroke]) -> String {
        let each = strokes.iter().filter_map(|s| s.traverse_mps).map(|speed| {
            let (speed, interval) = self.scale.arm_speed_and_interval(speed, self.band_mps);
            format!("{speed} ({interval})")
        });
        format!("{} {}", each.collect::<Vec<_>>().join(" and "), self.scale.arm_speed_unit())
    }
}

fn numbers(strokes: &[&Stroke]) -> Vec<u32> {
    strokes.iter().map(|s| s.stroke).collect()
}

/// How far ahead the heat warning looks at least, s.
pub(crate) const LOOK_AHEAD_S: f64 = 10.0;
/// Without a reading for longer than this it is not known whether the limit was passed, s.
const BLIND_S: f64 = 3.0;
/// Nor where the spot looked at worked paint for less than this, s.
const SEEN_S: f64 = 5.0;

/// What became of the heat that a warning expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Came {
    /// The spot was over the limit so many seconds later.
    After(f64),
    /// It was not, though the work went on for as long as the warning looked ahead.
    Not,
    /// It was not, but the pass ended before that.
    Ended,
}

impl Came {
    /// Beside the warning's mark.
    pub(crate) fn words(self) -> String {
        match self {
            Self::After(seconds) if seconds < 0.5 => "came at once".to_owned(),
            Self::After(seconds) => format!("came after {seconds:.0} s"),
            Self::Not => "did not come".to_owned(),
            Self::Ended => "the pass ended first".to_owned(),
        }
    }

    /// As a sentence behind the warning's own.
    pub(crate) fn sentence(self) -> String {
        match self {
            Self::After(_) => format!("It {}.", self.words()),
            Self::Not => "It did not come, as far as the spot saw.".to_owned(),
            Self::Ended => "The pass ended first.".to_owned(),
        }
    }
}

/// Time with the machine's rate clear of its band on one side, in stretches long enough to be warned of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RateOff {
    /// Above the band, not below.
    pub(crate) high: bool,
    /// The end of the band that it was beyond, per minute.
    pub(crate) limit_opm: f64,
    /// Altogether, s.
    pub(crate) seconds: f64,
    /// When it began first, s.
    pub(crate) first_s: f64,
    /// Nearly all the time that the rate is known.
    pub(crate) throughout: bool,
}

/// The rate counts as off throughout from this share of the time on.
const THROUGHOUT: f64 = 0.95;

impl RateOff {
    /// Both sides of a band. Judged by the rows, not by the warnings: one that began in the pass before is not given anew.
    fn of(rows: &[&SeriesRow], band: Option<Band>) -> Vec<Self> {
        let Some(band) = band else { return Vec::new() };
        let known: Vec<(f64, Measured)> = rows
            .iter()
            .filter(|r| r.state == State::Working)
            .filter_map(|r| Some((r.t_s, r.orbit_opm.filter(|rate| rate.value.is_finite())?)))
            .collect();
        let off = |limit_opm: f64, side: f64| {
            let is_clear = |(_, rate): &(f64, Measured)| rate_is_clear(*rate, limit_opm, side);
            let stretches = known
                .chunk_by(|a, b| b.0 - a.0 <= HOLE_S && is_clear(a) == is_clear(b))
                .filter(|s| is_clear(&s[0]) && s.len() as f64 * ROW_S >= RATE_LASTS_S);
            let (rows, first_s) = stretches.fold((0, None), |(n, first), s| (n + s.len(), first.or(Some(s[0].0))));
            let throughout = rows as f64 >= THROUGHOUT * known.len() as f64;
            Some(Self { high: side > 0.0, limit_opm, seconds: rows as f64 * ROW_S, first_s: first_s?, throughout })
        };
        [off(band.lo, -1.0), off(band.hi, 1.0)].into_iter().flatten().collect()
    }
}

/// What is asserted about a pass.
#[derive(Debug)]
pub(crate) struct Facts<'a> {
    /// Strokes with finite times, each with its verdict.
    pub(crate) strokes: Vec<(&'a Stroke, Pace)>,
    /// Rows inside the pass.
    pub(crate) rows: Vec<&'a SeriesRow>,
    /// Warnings inside the pass.
    pub(crate) warnings: Vec<&'a Warning>,
    /// Whether the turns do not agree with the stroke length that warnings of the pace may have gone by.
    pub(crate) is_length_doubted: bool,
    /// Notes inside the pass: when, s, and what.
    pub(crate) notes: Vec<(f64, &'a str)>,
    /// Stretches without rows, s.
    pub(crate) holes: Vec<(f64, f64)>,
    /// Time with the spot's own rise over the limit, s; `None` when rise or limit is not known.
    pub(crate) over_s: Option<f64>,
    /// First moment over the limit, s.
    pub(crate) first_over_s: Option<f64>,
    /// Where the rate was clear of its band.
    pub(crate) rate_off: Vec<RateOff>,
    /// Highest rise: the pass's own figure, else the rows', K.
    pub(crate) peak_rise_k: Option<f64>,
    /// How warm the worked paint got, as far as the spot tells.
    pub(crate) warmth: Warmth,
    /// Whether the thermometer gave one and the same reading throughout.
    pub(crate) stuck: bool,
    /// Start and end of the time axis, s.
    pub(crate) span_s: (f64, f64),
}

/// Whether the readings never change: a thermometer's own noise does not let that be.
fn is_stuck(rows: &[&SeriesRow]) -> bool {
    /// Fewer say nothing, on a display that shows whole degrees.
    const ENOUGH: usize = 100;
    let readings: Vec<f64> = rows.iter().filter_map(|r| r.surface_c).collect();
    readings.len() > ENOUGH && readings.iter().all(|c| (c - readings[0]).abs() < 1e-6)
}

impl<'a> Facts<'a> {
    pub(crate) fn of(input: &SheetInput<'a>) -> Self {
        let pass = input.pass;
        let start = if pass.start_s.is_finite() { pass.start_s } else { 0.0 };
        let end = if pass.end_s.is_finite() && pass.end_s > start { pass.end_s } else { start + 1.0 };
        let inside = |t: f64| t >= start - 1e-6 && t <= end + 1e-6;
        let rows: Vec<_> = input.rows.iter().filter(|r| inside(r.t_s)).collect();
        let strokes: Vec<_> = input
            .strokes
            .iter()
            .filter(|s| s.pass == pass.pass && s.end_s > s.start_s && inside(s.start_s) && inside(s.end_s))
            .map(|s| (s, Pace::of(s.traverse_mps, input.bands.pace_mps)))
            .collect();
        let mut holes: Vec<_> =
            rows.windows(2).filter(|w| w[1].t_s - w[0].t_s > HOLE_S).map(|w| (w[0].t_s, w[1].t_s)).collect();
        if let (Some(first), Some(last)) = (rows.first(), rows.last()) {
            if first.t_s - start > 2.0 * HOLE_S {
                holes.insert(0, (start, first.t_s));
            }
            if end - last.t_s > 2.0 * HOLE_S {
                holes.push((last.t_s, end));
            }
        }
        let rises = || rows.iter().filter_map(|r| Some((r.t_s, r.surface_rise_k.filter(|k| k.is_finite())?)));
        let limit = input.bands.rise_limit_k.filter(|k| k.is_finite());
        let over = || limit.into_iter().flat_map(|limit| rises().filter(move |(_, k)| *k > limit));
        Self {
            over_s: limit.filter(|_| rises().next().is_some()).map(|_| over().count() as f64 * ROW_S),
            first_over_s: over().next().map(|(t, _)| t),
            rate_off: RateOff::of(&rows, input.bands.orbit_opm),
            warmth: pass.warmth(),
            stuck: is_stuck(&rows),
            peak_rise_k: pass.surface_rise_k.or_else(|| rises().map(|(_, k)| k).reduce(f64::max)),
            is_length_doubted: pass.length_doubt.is_some(),
            notes: input.notes.iter().filter(|(t, _)| inside(*t)).map(|(t, note)| (*t, &**note)).collect(),
            warnings: input.warnings.iter().filter(|w| inside(w.t_s)).collect(),
            strokes,
            rows,
            holes,
            span_s: (start, end),
        }
    }

    /// The rise that the pass began with: the most in its first seconds, K.
    pub(crate) fn brought_k(&self) -> Option<f64> {
        const FIRST_S: f64 = 3.0;
        let first = self.rows.iter().take_while(|row| row.t_s - self.span_s.0 < FIRST_S);
        first.filter_map(|row| row.surface_rise_k.filter(|k| k.is_finite())).reduce(f64::max)
    }

    /// Before the highest rise that was read, where the paint may have got warmer.
    pub(crate) fn at_least(&self) -> &'static str {
        if matches!(self.unseen(), Some(Unseen::InPart { .. })) { "≥ " } else { "" }
    }

    /// Why how warm the paint got is not known, though the spot looked; `None` where it is known, and where there is no rise at all.
    pub(crate) fn unseen(&self) -> Option<Unseen> {
        match self.warmth {
            Warmth::Unknown | Warmth::Seen(_) => None,
            _ if self.stuck => Some(Unseen::Stuck),
            Warmth::Beside => Some(Unseen::Beside),
            Warmth::InPart { share, .. } => {
                let all_s = self.span_s.1 - self.span_s.0;
                Some(Unseen::InPart { read_s: share * all_s, all_s })
            }
        }
    }

    /// Numbers of the strokes with a verdict.
    pub(crate) fn numbers(&self, pace: Pace) -> Vec<u32> {
        self.strokes.iter().filter(|(_, p)| *p == pace).map(|(s, _)| s.stroke).collect()
    }

    /// Strokes whose best estimate lies in the band, of how many that can be judged.
    pub(crate) fn in_band(&self) -> Option<(usize, usize)> {
        let judged = self.strokes.iter().filter(|(_, p)| *p != Pace::Unknown).count();
        let inside = |p: &Pace| matches!(p, Pace::Inside | Pace::PerhapsInside);
        (judged > 0).then(|| (self.strokes.iter().filter(|(_, p)| inside(p)).count(), judged))
    }

    /// How the pace was kept; `None` where a stroke's best estimate lies outside the band, and where none can be judged.
    pub(crate) fn pace_kept(&self) -> Option<Kept> {
        self.in_band().filter(|(n, all)| n == all)?;
        Some(if self.numbers(Pace::PerhapsInside).is_empty() { Kept::Surely } else { Kept::AsFarAsKnown })
    }

    /// Number of the stroke under way at a moment, or the last one before it.
    pub(crate) fn stroke_at(&self, t_s: f64) -> Option<u32> {
        self.strokes.iter().rev().find(|(s, _)| s.start_s <= t_s).map(|(s, _)| s.stroke)
    }

    /// Warnings of some kinds.
    pub(crate) fn warned(&self, kinds: &[WarningKind]) -> impl Iterator<Item = &'a Warning> + '_ {
        let kinds = kinds.to_vec();
        self.warnings.iter().copied().filter(move |w| kinds.contains(&w.kind))
    }

    /// What became of the heat that a warning expected; `None` where the recording does not tell, and for any other warning.
    pub(crate) fn came(&self, warning: &Warning) -> Option<Came> {
        let (from_s, limit) = (warning.t_s, warning.limit.filter(|_| warning.kind == WarningKind::HeatSoon)?);
        // It looked ahead for ten seconds, and to the end of the stroke to come; what happens later bears nothing out.
        let due_s =
            self.strokes.iter().find(|(s, _)| s.start_s >= from_s).map(|(s, _)| s.end_s.max(from_s + LOOK_AHEAD_S));
        let end_s = self.span_s.1;
        let until_s = due_s.unwrap_or(end_s).min(end_s);
        let seen: Vec<(f64, f64)> = self
            .rows
            .iter()
            .filter(|r| r.t_s >= from_s && r.t_s <= until_s)
            .filter_map(|r| Some((r.t_s, r.surface_rise_k.filter(|k| k.is_finite())?)))
            .collect();
        if let Some((t_s, _)) = seen.iter().find(|(_, rise)| *rise > limit) {
            return Some(Came::After(t_s - from_s));
        }
        let times = || core::iter::once(from_s).chain(seen.iter().map(|(t, _)| *t)).chain([until_s]);
        let blind = times().zip(times().skip(1)).any(|(a, b)| b - a > BLIND_S);
        // A spot that leads sees nothing of the paint that was worked.
        let saw = self.strokes.iter().filter(|(s, _)| s.spot_trails != Some(false));
        let saw_s: f64 = saw.map(|(s, _)| (s.end_s.min(until_s) - s.start_s.max(from_s)).max(0.0)).sum();
        if blind || saw_s < SEEN_S {
            return None;
        }
        Some(if due_s.is_some_and(|due| due <= end_s + 1e-6) { Came::Not } else { Came::Ended })
    }

    /// What became of what a warning said, as a sentence behind its own; `None` where the recording does not tell.
    pub(crate) fn afterwards(&self, warning: &Warning, speeds: Speeds) -> Option<String> {
        match warning.kind {
            WarningKind::HeatSoon => self.came(warning).map(Came::sentence),
            WarningKind::PaceFast => self.pace_then(warning, [Pace::Fast, Pace::PerhapsFast], "too fast", speeds),
            WarningKind::PaceSlow => self.pace_then(warning, [Pace::Slow, Pace::PerhapsSlow], "too slow", speeds),
            _ => None,
        }
    }

    /// How fast the strokes were that a warning can have spoken of: the one under way, and the one before, which is known only
    /// after its end. With their own speeds, for the one that was said is of a moment.
    fn pace_then(&self, w: &Warning, [sure, perhaps]: [Pace; 2], how: &str, speeds: Speeds) -> Option<String> {
        let until = self.strokes.iter().take_while(|(s, _)| s.start_s <= w.t_s).count();
        let meant = &self.strokes[until.saturating_sub(2)..until];
        let with = |pace: Pace| -> Vec<&Stroke> { meant.iter().filter(|(_, p)| *p == pace).map(|(s, _)| *s).collect() };
        let (sure, perhaps, unknown) = (with(sure), with(perhaps), with(Pace::Unknown));
        let (told, verdict) = match (&sure[..], &perhaps[..]) {
            ([], []) if meant.is_empty() || !unknown.is_empty() => return None,
            ([], []) => {
                let all: Vec<&Stroke> = meant.iter().map(|(s, _)| *s).collect();
                let (which, had) = (words::strokes(&numbers(&all)).to_lowercase(), speeds.of(&all));
                return Some(format!("With hindsight no stroke was {how} then: {which} had {had} as a whole."));
            }
            ([], perhaps) => (perhaps, format!("perhaps {how}")),
            (sure, _) => (sure, how.to_owned()),
        };
        // What was said is of a moment in one of them; only where it fits none was it beside the mark.
        let speed = |s: &&Stroke| s.traverse_mps;
        let differs = |differs: fn(f64, Interval) -> bool| {
            w.value.is_some_and(|said| told.iter().filter_map(speed).all(|speed| differs(said, speed)))
        };
        let but = match (differs(|said, speed| said > speed.hi), differs(|said, speed| said < speed.lo)) {
            (true, _) => ", but not as fast as was said",
            (_, true) => ", but not as slow as was said",
            _ => "",
        };
        let (which, had) = (words::strokes(&numbers(told)), speeds.of(told));
        Some(format!("{which} {} {verdict}{but}: {had} as a whole.", if told.len() > 1 { "were" } else { "was" }))
    }

    /// Whether the thermometer's side is known for at least one stroke.
    pub(crate) fn side_known(&self) -> bool {
        self.strokes.iter().any(|(s, _)| s.spot_trails.is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guidance::Units;

    #[test]
    fn outside_means_the_whole_interval() {
        let band = Some(Band { lo: 0.0127, hi: 0.0254 });
        let pace = |lo, value, hi| Pace::of(Some(Interval { lo, value, hi }), band);
        assert_eq!(pace(0.018, 0.020, 0.022), Pace::Inside);
        assert_eq!(pace(0.016, 0.020, 0.030), Pace::PerhapsInside);
        assert_eq!(pace(0.012, 0.014, 0.016), Pace::PerhapsInside);
        assert_eq!(pace(0.024, 0.027, 0.030), Pace::PerhapsFast);
        assert_eq!(pace(0.026, 0.029, 0.031), Pace::Fast);
        assert_eq!(pace(0.010, 0.012, 0.014), Pace::PerhapsSlow);
        assert_eq!(pace(0.008, 0.010, 0.012), Pace::Slow);
        assert_eq!(pace(f64::NAN, 0.02, 0.03), Pace::Unknown);
        assert_eq!(Pace::of(None, band), Pace::Unknown);
        assert_eq!(Pace::of(Some(Interval { lo: 0.0, value: 0.0, hi: 0.0 }), None), Pace::Unknown);
    }

    /// Four strokes of ten seconds from zero; the spot trails in every other one.
    fn strokes() -> Vec<Stroke> {
        let stroke = |n: u32| Stroke {
            stroke: n + 1,
            start_s: 10.0 * f64::from(n),
            end_s: 10.0 * f64::from(n) + 9.5,
            spot_trails: Some(n.is_multiple_of(2)),
            ..Stroke::untold()
        };
        (0..4).map(stroke).collect()
    }

    /// Of their pass, with these verdicts and rows.
    fn facts<'a>(strokes: &'a [Stroke], paces: [Pace; 4], rows: &'a [SeriesRow]) -> Facts<'a> {
        Facts {
            strokes: strokes.iter().zip(paces).collect(),
            rows: rows.iter().collect(),
            warnings: Vec::new(),
            is_length_doubted: false,
            notes: Vec::new(),
            holes: Vec::new(),
            over_s: None,
            first_over_s: None,
            rate_off: Vec::new(),
            peak_rise_k: None,
            warmth: Warmth::Unknown,
            stuck: false,
            span_s: (0.0, 39.5),
        }
    }

    /// What became of a warning at `t_s` in a pass with these strokes and a rise that `rise` tells.
    fn came(t_s: f64, strokes: &[Stroke], rise: impl Fn(f64) -> Option<f64>) -> Option<Came> {
        let row = |i: u32| SeriesRow {
            t_s: f64::from(i) * 0.1,
            surface_rise_k: rise(f64::from(i) * 0.1),
            ..SeriesRow::default()
        };
        let rows: Vec<SeriesRow> = (0..=395).map(row).collect();
        facts(strokes, [Pace::Unknown; 4], &rows).came(&Warning {
            t_s,
            kind: WarningKind::HeatSoon,
            value: Some(12.0),
            limit: Some(11.0),
        })
    }

    #[test]
    fn a_warning_of_the_pace_is_held_against_the_strokes_it_can_have_spoken_of() {
        let mut strokes = strokes();
        for (stroke, [lo, value, hi]) in
            strokes.iter_mut().zip([[27, 32, 38], [18, 20, 22], [19, 21, 23], [22, 26, 30]])
        {
            let [lo, value, hi] = [lo, value, hi].map(|mm| 1e-3 * f64::from(mm));
            stroke.traverse_mps = Some(Interval { lo, value, hi });
        }
        let speeds = Speeds { scale: Scale(Units::Si), band_mps: Some(Band { lo: 0.0127, hi: 0.0254 }) };
        let paces = [Pace::Fast, Pace::Inside, Pace::PerhapsInside, Pace::PerhapsFast];
        let said = |t_s: f64, kind: WarningKind, value: f64, paces: [Pace; 4]| {
            let warning = Warning { t_s, kind, value: Some(value), limit: Some(0.0254) };
            facts(&strokes, paces, &[]).afterwards(&warning, speeds)
        };
        let fast = |t_s: f64| said(t_s, WarningKind::PaceFast, 0.03, paces);
        assert_eq!(fast(4.0).as_deref(), Some("Stroke 1 was too fast: 32 (27–38) mm/s as a whole."));
        assert_eq!(fast(12.0), fast(4.0), "known only after its end");
        let none = "With hindsight no stroke was too fast then: strokes 2 and 3 had 20 (18–22) and 21 (19–23) mm/s as a whole.";
        assert_eq!(fast(24.0).as_deref(), Some(none));
        assert_eq!(fast(34.0).as_deref(), Some("Stroke 4 was perhaps too fast: 26 (22–30) mm/s as a whole."));
        let both = said(12.0, WarningKind::PaceFast, 0.03, [Pace::Fast; 4]);
        let want = "Strokes 1 and 2 were too fast: 32 (27–38) and 20 (18–22) mm/s as a whole.";
        assert_eq!(both.as_deref(), Some(want), "either can have been meant");
        // What was said of a stroke's first second, beside what the whole of it had.
        let high = said(4.0, WarningKind::PaceFast, 0.041, paces);
        let want = "Stroke 1 was too fast, but not as fast as was said: 32 (27–38) mm/s as a whole.";
        assert_eq!(high.as_deref(), Some(want));
        let low = said(4.0, WarningKind::PaceSlow, 0.02, [Pace::Slow; 4]);
        let want = "Stroke 1 was too slow, but not as slow as was said: 32 (27–38) mm/s as a whole.";
        assert_eq!(low.as_deref(), Some(want));
        let slow = said(4.0, WarningKind::PaceSlow, 0.03, paces);
        let none = "With hindsight no stroke was too slow then: stroke 1 had 32 (27–38) mm/s as a whole.";
        assert_eq!(slow.as_deref(), Some(none));
        assert_eq!(said(4.0, WarningKind::PaceFast, 0.03, [Pace::Unknown; 4]), None);
        assert_eq!(fast(-1.0), None);
        assert_eq!(said(4.0, WarningKind::OrbitLow, 0.03, paces), None);
    }

    #[test]
    fn what_became_of_the_heat_expected_is_read_from_the_recording() {
        let strokes = strokes();
        let crossing = |at_s: f64| move |t: f64| Some(if t >= at_s { 11.5 } else { 9.0 });
        assert_eq!(came(4.0, &strokes, crossing(9.95)).map(Came::words).as_deref(), Some("came after 6 s"));
        assert_eq!(came(4.0, &strokes, crossing(3.0)).map(Came::words).as_deref(), Some("came at once"));
        assert_eq!(came(4.0, &strokes, |_| Some(9.0)), Some(Came::Not));
        // The stroke to come was never worked, or not for ten seconds.
        assert_eq!(came(31.0, &strokes, |_| Some(9.0)), None, "the spot led from then on");
        assert_eq!(came(24.0, &strokes, |_| Some(9.0)), Some(Came::Not));
        assert_eq!(came(24.0, &strokes[..3], |_| Some(9.0)), Some(Came::Ended));
        assert_eq!(
            came(4.0, &strokes, |t| (!(12.0..=16.0).contains(&t)).then_some(9.0)),
            None,
            "blind for four seconds"
        );
        assert_eq!(came(4.0, &strokes, |_| None), None);
        // Ten seconds, or to the end of the stroke to come: what is seen or missed after 19.5 s was not promised.
        assert_eq!(came(4.0, &strokes, crossing(19.4)).map(Came::words).as_deref(), Some("came after 15 s"));
        assert_eq!(came(4.0, &strokes, crossing(20.0)), Some(Came::Not), "too late to bear the warning out");
        assert_eq!(came(4.0, &strokes, |t| (t < 21.0).then_some(9.0)), Some(Came::Not), "blind long after");
        assert_eq!(came(8.0, &strokes, crossing(25.0)), None, "1.5 s of worked paint before it was due");
        let leading: Vec<Stroke> = strokes.iter().map(|s| Stroke { spot_trails: Some(false), ..*s }).collect();
        assert_eq!(came(4.0, &leading, |_| Some(9.0)), None);
    }
}
