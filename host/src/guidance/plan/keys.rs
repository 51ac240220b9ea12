//! Every key a plan may have, with unit and allowed range. Reading, error texts and the test that keeps
//! `data/plans/example.toml` in step all use this table.
//!
//! Ranges are wide: they catch a slip of the pen or a wrong unit, not an unusual way to work. What a key in US units allows, the
//! SI key of the same thing allows too: a recording keeps its plan in SI, and must be able to read it back.

/// A number (or a pair of numbers) with its unit and range.
#[derive(Clone, Copy, Debug)]
pub(super) struct NumberKey {
    pub(super) name: &'static str,
    pub(super) min: f64,
    pub(super) max: f64,
    pub(super) unit: &'static str,
}

impl NumberKey {
    const fn new(name: &'static str, min: f64, max: f64, unit: &'static str) -> Self {
        Self { name, min, max, unit }
    }

    /// The range in words, as it must stand in the example.
    #[cfg(test)]
    pub(super) fn range(&self) -> String {
        format!("{} to {} {}", self.min, self.max, self.unit).trim_end().to_owned()
    }
}

pub(super) const PACE_MM_S: NumberKey = NumberKey::new("pace_mm_s", 2.0, 508.0, "mm/s");
pub(super) const PACE_IN_S: NumberKey = NumberKey::new("pace_in_s", 0.1, 20.0, "in/s");
// Below 1 K the thermometer's noise decides, above 40 K paint is long past what the trade allows.
pub(super) const HEAT_RISE_K: NumberKey = NumberKey::new("heat_rise_k", 1.0, 40.0, "K");
pub(super) const HEAT_RISE_DEGF: NumberKey = NumberKey::new("heat_rise_degf", 1.8, 72.0, "degF");
pub(super) const ORBIT_OPM: NumberKey = NumberKey::new("orbit_opm", 500.0, 15_000.0, "per minute");
pub(super) const SPEED_RPM: NumberKey = NumberKey::new("speed_rpm", 100.0, 6_000.0, "per minute");
pub(super) const STROKE_LENGTH_M: NumberKey = NumberKey::new("stroke_length_m", 0.05, 3.0, "m");
pub(super) const STROKE_LENGTH_IN: NumberKey = NumberKey::new("stroke_length_in", 2.0, 118.0, "in");
pub(super) const SECTION_M: NumberKey = NumberKey::new("section_m", 0.1, 2.5, "m");
pub(super) const SECTION_IN: NumberKey = NumberKey::new("section_in", 4.0, 98.0, "in");
// A bare metallic lacquer is near 0.4: published emissivity tables. Below that the correction grows wild.
pub(super) const EMISSIVITY: NumberKey = NumberKey::new("emissivity", 0.3, 1.0, "");
pub(super) const THROW_MM: NumberKey = NumberKey::new("throw_mm", 1.0, 40.0, "mm");
pub(super) const PAD_DIAMETER_MM: NumberKey = NumberKey::new("pad_diameter_mm", 20.0, 305.0, "mm");
pub(super) const PAD_DIAMETER_IN: NumberKey = NumberKey::new("pad_diameter_in", 0.8, 12.0, "in");

/// Keys at the top of a plan.
pub(super) const PLAN_KEYS: &[&str] = &[
    "technician",
    "panel",
    "units",
    PACE_MM_S.name,
    PACE_IN_S.name,
    HEAT_RISE_K.name,
    HEAT_RISE_DEGF.name,
    ORBIT_OPM.name,
    SPEED_RPM.name,
    STROKE_LENGTH_M.name,
    STROKE_LENGTH_IN.name,
    SECTION_M.name,
    SECTION_IN.name,
    EMISSIVITY.name,
    "machine",
];

/// Keys of the `[machine]` table.
pub(super) const MACHINE_KEYS: &[&str] =
    &["profile", "name", "kind", THROW_MM.name, PAD_DIAMETER_MM.name, PAD_DIAMETER_IN.name];

/// Keys of a machine profile, which is a file of its own.
pub(super) const PROFILE_KEYS: &[&str] =
    &["name", "kind", THROW_MM.name, PAD_DIAMETER_MM.name, PAD_DIAMETER_IN.name, ORBIT_OPM.name, SPEED_RPM.name];

/// All keys with a range.
#[cfg(test)]
pub(super) const NUMBER_KEYS: &[NumberKey] = &[
    PACE_MM_S,
    PACE_IN_S,
    HEAT_RISE_K,
    HEAT_RISE_DEGF,
    ORBIT_OPM,
    SPEED_RPM,
    STROKE_LENGTH_M,
    STROKE_LENGTH_IN,
    SECTION_M,
    SECTION_IN,
    EMISSIVITY,
    THROW_MM,
    PAD_DIAMETER_MM,
    PAD_DIAMETER_IN,
];
