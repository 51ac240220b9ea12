//! What technicians, machines and products are compared on, and the words for it.

use crate::guidance::Units;
use crate::guidance::units::{K_PER_FAHRENHEIT_DEGREE, MM_PER_INCH, decimals_supported};
use crate::shop::PassFigures;

/// A figure of comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Figure {
    /// Mean arm speed of a pass.
    ArmSpeed,
    /// Coefficient of variation of the strokes' speeds in a pass.
    Evenness,
    /// Share of stroke time inside the plan's band.
    InBand,
    /// Share of the free orbit rate that load takes away.
    OrbitDroop,
    /// Largest surface rise of a pass.
    SurfaceRise,
    /// Coefficient of variation of the rubbing distance between the outermost strokes.
    RubbingEvenness,
    /// Share of a pass in which the motor ran and the machine did not travel.
    Pauses,
    /// Passes worked on a section.
    PassesPerSection,
}

/// How many there are.
pub const FIGURES: usize = 8;

impl Figure {
    /// All of them, in the order shown.
    pub const ALL: [Self; FIGURES] = [
        Self::ArmSpeed,
        Self::Evenness,
        Self::InBand,
        Self::OrbitDroop,
        Self::SurfaceRise,
        Self::RubbingEvenness,
        Self::Pauses,
        Self::PassesPerSection,
    ];

    /// Its place in [`Self::ALL`].
    pub fn index(self) -> usize {
        self as usize
    }

    /// Its value in a pass, SI; `None` where it is not known, and for what counts sections.
    pub fn of(self, pass: &PassFigures) -> Option<f64> {
        match self {
            Self::ArmSpeed => pass.arm_speed_mps,
            Self::Evenness => pass.arm_speed_cv,
            Self::InBand => pass.in_band_share,
            Self::OrbitDroop => pass.orbit_droop,
            Self::SurfaceRise => pass.surface_rise_k,
            Self::RubbingEvenness => pass.rubbing_cv,
            Self::Pauses => pass.pause_s.filter(|_| pass.duration_s > 0.0).map(|s| s / pass.duration_s),
            Self::PassesPerSection => None,
        }
        .filter(|v| v.is_finite())
    }

    /// The column in CSV files, with its SI unit.
    pub fn column(self) -> &'static str {
        match self {
            Self::ArmSpeed => "arm_speed_mps",
            Self::Evenness => "arm_speed_cv",
            Self::InBand => "in_band_share",
            Self::OrbitDroop => "orbit_droop_share",
            Self::SurfaceRise => "surface_rise_k",
            Self::RubbingEvenness => "rubbing_cv",
            Self::Pauses => "pause_share",
            Self::PassesPerSection => "passes_per_section",
        }
    }

    /// Its heading.
    pub fn title(self) -> &'static str {
        match self {
            Self::ArmSpeed => "Arm speed",
            Self::Evenness => "Arm speed, unevenness",
            Self::InBand => "Time in the band",
            Self::OrbitDroop => "Orbit droop under load",
            Self::SurfaceRise => "Peak surface rise, mean of passes",
            Self::RubbingEvenness => "Rubbing, unevenness",
            Self::Pauses => "Standing with the motor on",
            Self::PassesPerSection => "Passes per section",
        }
    }

    /// Whether it counts something: between one and two there is nothing to mark.
    pub(super) fn counts(self) -> bool {
        matches!(self, Self::PassesPerSection)
    }

    /// What one technician's own passes commonly differ by, SI: this program's choice. Axes that show single differences span no less,
    /// so that a difference of nothing looks like nothing.
    pub(super) fn usual_scatter(self) -> f64 {
        match self {
            Self::ArmSpeed => 0.005,
            Self::Evenness | Self::OrbitDroop | Self::Pauses => 0.05,
            Self::RubbingEvenness => 0.1,
            Self::InBand => 0.2,
            Self::SurfaceRise => 5.0,
            Self::PassesPerSection => 1.0,
        }
    }

    /// Its name within a sentence.
    pub(super) fn spoken(self) -> &'static str {
        match self {
            Self::ArmSpeed => "arm speed",
            Self::Evenness => "unevenness of the arm speed",
            Self::InBand => "time in the band",
            Self::OrbitDroop => "orbit droop under load",
            Self::SurfaceRise => "peak surface rise, on average over the passes,",
            Self::RubbingEvenness => "unevenness of the rubbing",
            Self::Pauses => "standing with the motor on",
            Self::PassesPerSection => "passes per section",
        }
    }

    /// What it is made of, for those who ask.
    pub fn meaning(self) -> &'static str {
        match self {
            Self::ArmSpeed => "length of a pass's strokes over their time",
            Self::Evenness => "spread of the strokes' speeds over their mean; smaller is more even",
            Self::InBand => "share of stroke time inside the plan's arm speed band, each stroke by its best estimate",
            Self::OrbitDroop => {
                "share of the free orbit rate that is lost under load; more means more pressure or a fuller pad"
            }
            Self::SurfaceRise => {
                "how far the panel was over the section's start at the warmest moment of each pass, averaged over the passes; a \
                 single pass can have been warmer"
            }
            Self::RubbingEvenness => {
                "spread of the rubbing distance between the outermost strokes over its mean; smaller is more even"
            }
            Self::Pauses => "share of a pass in which the motor ran and the machine did not travel",
            Self::PassesPerSection => {
                "passes worked on one section in a day; sections of one number on a panel are one, in however many recordings"
            }
        }
    }

    /// The unit shown behind numbers.
    pub fn unit(self, units: Units) -> &'static str {
        match (self, units) {
            (Self::ArmSpeed, Units::Si) => "mm/s",
            (Self::ArmSpeed, Units::Us) => "in/s",
            (Self::SurfaceRise, Units::Si) => "K",
            (Self::SurfaceRise, Units::Us) => "°F",
            (Self::PassesPerSection, _) => "",
            _ => "%",
        }
    }

    /// The nearest value that can be: no figure here is below zero, and a share is at most one.
    pub fn possible(self, value: f64) -> f64 {
        value.clamp(0.0, self.most())
    }

    /// The nearest difference between two values that can be.
    pub fn possible_difference(self, difference: f64) -> f64 {
        difference.clamp(-self.most(), self.most())
    }

    fn most(self) -> f64 {
        if matches!(self, Self::InBand | Self::OrbitDroop | Self::Pauses) { 1.0 } else { f64::INFINITY }
    }

    /// From SI to the number shown. Every figure here has a true zero, so the same factor serves differences.
    pub fn shown(self, value: f64, units: Units) -> f64 {
        match (self, units) {
            (Self::ArmSpeed, Units::Si) => value * 1e3,
            (Self::ArmSpeed, Units::Us) => value * 1e3 / MM_PER_INCH,
            (Self::SurfaceRise, Units::Si) | (Self::PassesPerSection, _) => value,
            (Self::SurfaceRise, Units::Us) => value / K_PER_FAHRENHEIT_DEGREE,
            _ => value * 100.0,
        }
    }

    /// Digits after the point.
    pub fn decimals(self, units: Units) -> usize {
        match (self, units) {
            (Self::ArmSpeed, Units::Us) => 2,
            _ => 1,
        }
    }

    /// The number shown, without its unit.
    pub fn number(self, value: f64, units: Units) -> String {
        crate::drawing::units::number(self.shown(value, units), self.decimals(units))
    }

    /// A value and the ends of its interval as numbers, without their unit: to one count of digits, those that the
    /// interval supports.
    pub fn with_interval(self, value: f64, (lo, hi): (f64, f64), units: Units) -> [String; 3] {
        let shown = [value, lo, hi].map(|v| self.shown(v, units));
        let decimals = decimals_supported(shown[1], shown[2], self.decimals(units));
        shown.map(|v| crate::drawing::units::number(v, decimals))
    }

    /// The number with its unit.
    pub fn words(self, value: f64, units: Units) -> String {
        format!("{} {}", self.number(value, units), self.unit(units)).trim_end().to_owned()
    }

    /// Says that `high` has more of it than `low`, of people.
    pub(super) fn people(self, high: &str, low: &str) -> String {
        match self {
            Self::ArmSpeed => format!("{high} moves the arm faster than {low}"),
            Self::Evenness => format!("{high} keeps the arm speed less even than {low}"),
            Self::InBand => format!("{high} stays in the arm speed band more than {low}"),
            Self::OrbitDroop => format!("{high} slows the machine down more than {low}"),
            Self::SurfaceRise => format!("{high} warms the panel more than {low}"),
            Self::RubbingEvenness => format!("{high} rubs the section less evenly than {low}"),
            Self::Pauses => format!("{high} stands still with the motor on more than {low}"),
            Self::PassesPerSection => format!("{high} makes more passes on a section than {low}"),
        }
    }

    /// Says that work with `high` has more of it than work with `low`.
    pub(super) fn things(self, high: &str, low: &str) -> String {
        let what = match self {
            Self::ArmSpeed => "the arm moves faster",
            Self::Evenness => "the arm speed is less even",
            Self::InBand => "the arm stays in its band more",
            Self::OrbitDroop => "the machine slows down more",
            Self::SurfaceRise => "the panel warms more",
            Self::RubbingEvenness => "the section is rubbed less evenly",
            Self::Pauses => "the machine stands still with the motor on more",
            Self::PassesPerSection => "a section takes more passes",
        };
        format!("With {high} {what} than with {low}")
    }
}
