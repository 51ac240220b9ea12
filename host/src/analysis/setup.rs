//! What has to be told to the analysis, because no sensor can see it: the machine's geometry, the paint's emissivity, and,
//! where it is known, the travel of one stroke.

/// How the machine moves its pad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MachineKind {
    /// Random orbital (dual action): the pad orbits, and spins freely.
    Orbital,
    /// Rotary: the pad turns about the spindle.
    Rotary,
}

/// The machine's geometry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Machine {
    /// How it moves its pad.
    pub kind: MachineKind,
    /// Diameter of the orbit, m; not used for a rotary.
    pub throw_m: f64,
    /// Diameter of the pad's face, m.
    pub pad_diameter_m: f64,
}

/// What the estimate of the arm's speed may use: all of it, but for tables that show what each part adds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ArmParts {
    /// The turns' times alone: a told length, or the usual one, over each stroke's time.
    Timing,
    /// And the velocity steps at each stroke's own ends, every stroke by itself.
    Steps,
    /// And what the strokes of a pass share: their length.
    #[default]
    All,
}

/// Everything the analysis is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// The machine.
    pub machine: Machine,
    /// Travel of one stroke of the machine's centre, m, where it is known (a taped section).
    pub stroke_length_m: Option<f64>,
    /// Emissivity of the paint in the thermometer's band, 0.1 to 1.
    pub emissivity: f64,
    /// What the estimate of the arm's speed may use.
    pub arm_parts: ArmParts,
}

impl Default for Setup {
    /// A 15 mm orbital with a 125 mm pad on clear-coated paint, stroke length not known.
    fn default() -> Self {
        Self {
            machine: Machine { kind: MachineKind::Orbital, throw_m: 0.015, pad_diameter_m: 0.125 },
            stroke_length_m: None,
            // Mid value for lacquers in 8-14 um, 0.92-0.94: published emissivity tables, `data/reference/emissivity.csv`.
            emissivity: 0.93,
            arm_parts: ArmParts::All,
        }
    }
}
