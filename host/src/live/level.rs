//! A level, in the manner of a carpenter's: a bubble between two marks.
//!
//! ```text
//!   slow  ├─────────┃──────(====)──────┃─────────┤  fast
//!        -1       -0.5        0       0.5        1
//! ```
//!
//! The marks are the plan's band. The bubble is where the figure stands, its width how well that is known (90 %). It drifts to
//! the left for slow or cool, to the right for fast or hot, and stops at the ends: a level says *which way and how far*, the
//! reading beside it says *how much*.

use serde::Serialize;

use crate::{
    analysis::{Interval, LiveTick, Measured, State, Z90},
    guidance::{Band, Plan, Units},
};

/// Where the marks are.
pub const MARK: f64 = 0.5;
/// Narrowest bubble, half its width: it must be seen from two metres.
const NARROWEST: f64 = 0.05;
/// The hot side is spoken of where it is this much warmer than the spot, K.
const UNSEEN_K: f64 = 2.0;

/// What a level shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// How fast the arm moves the machine.
    ArmPace,
    /// How fast the pad orbits; a rotary's speed.
    OrbitRate,
    /// How much the panel has warmed since the section's start.
    SurfaceRise,
}

impl Quantity {
    /// Words at the left and the right end.
    pub fn ends(self) -> (&'static str, &'static str) {
        match self {
            Self::ArmPace | Self::OrbitRate => ("slow", "fast"),
            Self::SurfaceRise => ("cool", "hot"),
        }
    }
}

/// Where the figure stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Zone {
    /// Not known, or there is nothing to compare it with.
    Unknown,
    /// Left of the band.
    Low,
    /// In the band.
    Within,
    /// Beside the band, but its interval reaches into it.
    Unsure,
    /// Right of the band.
    High,
}

/// The bubble.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bubble {
    /// Its middle, -1 to 1.
    pub at: f64,
    /// Half its width.
    pub half_width: f64,
    /// It would lie beyond the end.
    pub beyond: bool,
}

/// One level, ready to draw.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Level {
    /// What it shows.
    pub quantity: Quantity,
    /// Its name.
    pub name: &'static str,
    /// Word at the left end.
    pub left: &'static str,
    /// Word at the right end.
    pub right: &'static str,
    /// The figure with its unit; `None` when it is not known.
    pub reading: Option<String>,
    /// The band in words; `None` when the plan has none.
    pub band: Option<String>,
    /// The bubble; `None` when there is nothing to show.
    pub bubble: Option<Bubble>,
    /// Where the figure is expected to be soon, -1 to 1.
    pub ahead: Option<f64>,
    /// Where it stands.
    pub zone: Zone,
    /// The zone in a word or two, or why there is no bubble.
    pub word: &'static str,
    /// The figure is where it ought not to be.
    pub fault: bool,
}

/// A figure with half its 90 % interval.
#[derive(Clone, Copy, Debug)]
struct Figure {
    value: f64,
    half: f64,
}

impl From<Interval> for Figure {
    fn from(interval: Interval) -> Self {
        Self { value: interval.value, half: 0.5 * (interval.hi - interval.lo) }
    }
}

impl From<Measured> for Figure {
    fn from(measured: Measured) -> Self {
        Self { value: measured.value, half: Z90 * measured.sd }
    }
}

/// Makes the three levels from ticks.
#[derive(Clone, Debug)]
pub struct Levels {
    pace_mps: Band,
    orbit_per_min: Option<Band>,
    rise_limit_k: f64,
    units: Units,
    rate_unit: &'static str,
}

impl Levels {
    /// Levels for a plan.
    pub fn new(plan: &Plan, units: Units) -> Self {
        Self {
            pace_mps: plan.pace_mps(),
            orbit_per_min: plan.orbit_per_min,
            rise_limit_k: plan.heat_rise_k,
            units,
            rate_unit: plan.rate_unit(),
        }
    }

    /// How the levels stand at a tick; `pace` is the arm speed that the warnings go by, so that the two cannot disagree.
    pub fn at(&self, tick: &LiveTick, pace: Option<Interval>) -> [Level; 3] {
        [self.arm_pace(tick.state, pace), self.orbit_rate(tick), self.surface_rise(tick)]
    }

    fn arm_pace(&self, state: State, pace: Option<Interval>) -> Level {
        let figure = pace.filter(|_| state == State::Working);
        let band = self.pace_mps;
        let level = blank(Quantity::ArmPace, "Arm speed", Some(self.units.arm_speed_band(band)));
        match figure {
            Some(figure) => level.at(figure.into(), band, self.units.arm_speed_told(figure, band)),
            None => level.because(match state {
                State::Still => "motor off",
                // A stroke may be under way that has not been seen yet, a section's first one above all.
                State::Running => "no stroke seen",
                State::Working => "not known yet",
            }),
        }
    }

    fn orbit_rate(&self, tick: &LiveTick) -> Level {
        let unit = self.rate_unit;
        let name = if unit == "RPM" { "Machine speed" } else { "Orbit rate" };
        let ends = self.orbit_per_min.map(|band| format!("{:.0} to {:.0} {unit}", band.lo, band.hi));
        let mut level = blank(Quantity::OrbitRate, name, ends);
        // Figures that change in the last digit ten times a second cannot be read.
        let words = |value: f64| format!("{:.0} {unit}", (value / 10.0).round() * 10.0);
        match (tick.orbit_opm, self.orbit_per_min) {
            (Some(rate), Some(band)) => level.at(rate.into(), band, words(rate.value)),
            (Some(rate), None) => {
                level.reading = Some(words(rate.value));
                level.because("no target in the plan")
            }
            (None, _) => level.because(if tick.state == State::Still { "motor off" } else { "not known yet" }),
        }
    }

    fn surface_rise(&self, tick: &LiveTick) -> Level {
        let limit = format!("up to {}", self.units.rise(self.rise_limit_k));
        let level = blank(Quantity::SurfaceRise, "Surface rise", Some(limit));
        let band = Band { lo: 0.0, hi: self.rise_limit_k };
        let Some(rise) = tick.surface_rise_k else {
            return level.because(if tick.surface_c.is_some() { "section not begun" } else { "no reading" });
        };
        // The spot's rise is known to a few tenths of a kelvin: less than the narrowest bubble shows.
        let mut level = level.at(Figure { value: rise, half: 0.0 }, band, self.units.rise_beside(rise, band.hi));
        level.ahead = tick.rise_in_10s_k.map(|ahead| place(ahead.value, band).clamp(-1.0, 1.0));
        // The order to let it cool goes by the side just worked, which the spot may not be looking at.
        let unseen = tick.hot_side_rise_k.filter(|hot| hot - rise > UNSEEN_K && level.zone == Zone::Within);
        if let Some(hot) = unseen {
            let over = hot > band.hi;
            level.zone = if over { Zone::Unsure } else { level.zone };
            level.word = if over { "hot side over limit" } else { "hot side warmer" };
        }
        level
    }
}

/// -0.5 at the band's lower end, 0.5 at its upper.
fn place(value: f64, band: Band) -> f64 {
    (value - band.lo) / (band.hi - band.lo) - MARK
}

fn blank(quantity: Quantity, name: &'static str, band: Option<String>) -> Level {
    let (left, right) = quantity.ends();
    Level {
        quantity,
        name,
        left,
        right,
        reading: None,
        band,
        bubble: None,
        ahead: None,
        zone: Zone::Unknown,
        word: "not known",
        fault: false,
    }
}

impl Level {
    fn because(mut self, word: &'static str) -> Self {
        self.word = word;
        self
    }

    fn at(mut self, figure: Figure, band: Band, reading: String) -> Self {
        let at = place(figure.value, band);
        if !at.is_finite() {
            return self;
        }
        self.reading = Some(reading);
        let half_width = (figure.half / (band.hi - band.lo)).clamp(NARROWEST, 1.0);
        let end = 1.0 - NARROWEST;
        self.bubble = Some(Bubble { at: at.clamp(-end, end), half_width, beyond: at.abs() > 1.0 });
        // Heat is a fault where the figure is, an arm where its whole interval is: as the warnings have it.
        let sure = if self.quantity == Quantity::SurfaceRise { 0.0 } else { figure.half };
        self.zone = if figure.value + sure < band.lo {
            Zone::Low
        } else if figure.value - sure > band.hi {
            Zone::High
        } else if at.abs() > MARK + 1e-9 {
            Zone::Unsure
        } else {
            Zone::Within
        };
        // A panel cooler than at the start is no fault.
        let cool = self.quantity == Quantity::SurfaceRise && self.zone == Zone::Low;
        self.fault = matches!(self.zone, Zone::Low | Zone::High) && !cool;
        self.word = match (self.zone, self.quantity) {
            (Zone::Low, Quantity::SurfaceRise) => "cool",
            (Zone::Low, _) => "too slow",
            (Zone::High, Quantity::SurfaceRise) => "too hot",
            (Zone::High, _) => "too fast",
            (_, Quantity::SurfaceRise) => "within limit",
            (Zone::Unsure, _) if at < 0.0 => "may be slow",
            (Zone::Unsure, _) => "may be fast",
            _ => "in band",
        };
        self
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn levels() -> Levels {
        let plan = Plan {
            pace_mm_s: Band { lo: 10.0, hi: 30.0 },
            orbit_per_min: Some(Band { lo: 3000.0, hi: 5000.0 }),
            heat_rise_k: 10.0,
            ..Plan::default()
        };
        Levels::new(&plan, Units::Si)
    }

    /// With the running estimate as the pace.
    fn levels_at(tick: &LiveTick) -> [Level; 3] {
        levels().at(tick, tick.traverse_mps)
    }

    fn working(mm_s: f64) -> LiveTick {
        let v = mm_s * 1e-3;
        LiveTick {
            state: State::Working,
            traverse_mps: Some(Interval { lo: v - 2e-3, value: v, hi: v + 2e-3 }),
            orbit_opm: Some(Measured { value: 4000.0, sd: 10.0 }),
            surface_rise_k: Some(mm_s / 4.0),
            rise_in_10s_k: Some(Measured { value: 20.0, sd: 0.5 }),
            ..LiveTick::default()
        }
    }

    #[test]
    fn the_bands_ends_are_at_the_marks_and_its_middle_in_the_middle() {
        for (mm_s, at, word) in [
            (20.0, 0.0, "in band"),
            (10.0, -0.5, "in band"),
            (30.0, 0.5, "in band"),
            (9.0, -0.55, "may be slow"),
            (31.0, 0.55, "may be fast"),
            (7.0, -0.65, "too slow"),
            (36.0, 0.8, "too fast"),
        ] {
            let [pace, ..] = levels_at(&working(mm_s));
            let bubble = pace.bubble.unwrap();
            assert!((bubble.at - at).abs() < 1e-9, "{mm_s} mm/s is at {}", bubble.at);
            assert!((bubble.half_width - 0.1).abs() < 1e-9, "2 mm/s of a band of 20: {}", bubble.half_width);
            assert_eq!((pace.word, pace.fault), (word, word.starts_with("too")));
        }
    }

    #[test]
    fn a_hot_side_that_the_spot_does_not_see_is_named() {
        let tick = |hot| LiveTick { surface_rise_k: Some(1.0), hot_side_rise_k: Some(hot), ..working(20.0) };
        for (hot, word, zone) in [
            (2.0, "within limit", Zone::Within),
            (6.0, "hot side warmer", Zone::Within),
            (11.0, "hot side over limit", Zone::Unsure),
        ] {
            let [.., surface] = levels_at(&tick(hot));
            assert_eq!((surface.word, surface.zone), (word, zone), "{hot}");
        }
    }

    #[test]
    fn far_out_it_stops_at_the_end_and_says_so() {
        let [pace, _, surface] = levels_at(&working(90.0));
        assert!(pace.bubble.unwrap().beyond && pace.bubble.unwrap().at < 1.0);
        assert_eq!(surface.word, "too hot");
        assert_eq!(surface.ahead, Some(1.0));
    }

    #[test]
    fn what_is_not_known_has_no_bubble_and_a_reason() {
        let words = |tick: &LiveTick| levels_at(tick).map(|level| (level.bubble.is_some(), level.word));
        assert_eq!(words(&LiveTick::default()), [(false, "motor off"), (false, "motor off"), (false, "no reading")]);
        let running = LiveTick { state: State::Running, surface_c: Some(20.0), ..LiveTick::default() };
        assert_eq!(
            words(&running),
            [(false, "no stroke seen"), (false, "not known yet"), (false, "section not begun")]
        );
        let without_target = Levels::new(&Plan::default(), Units::Us);
        let [_, orbit, _] = without_target.at(&working(20.0), None);
        assert_eq!((orbit.reading.as_deref(), orbit.word), (Some("4000 OPM"), "no target in the plan"));
    }

    #[test]
    fn a_panel_cooler_than_at_the_start_is_no_fault() {
        let tick = LiveTick { surface_rise_k: Some(-1.0), ..LiveTick::default() };
        let [_, _, surface] = levels_at(&tick);
        assert_eq!((surface.zone, surface.word, surface.fault), (Zone::Low, "cool", false));
    }

    proptest! {
        #[test]
        fn a_bubble_stays_on_its_level_and_goes_the_right_way(a in -1e3..1e3f64, b in -1e3..1e3f64, half in 0.0..1e3f64) {
            let at = |v: f64| {
                let mut tick = working(0.0);
                tick.traverse_mps = Some(Interval { lo: v - half, value: v, hi: v + half });
                levels_at(&tick)[0].bubble.unwrap()
            };
            let (first, second) = (at(a.min(b) * 1e-3), at(a.max(b) * 1e-3));
            prop_assert!(first.at <= second.at);
            for bubble in [first, second] {
                prop_assert!(bubble.at.abs() <= 1.0 && (NARROWEST..=1.0).contains(&bubble.half_width));
            }
        }
    }
}
