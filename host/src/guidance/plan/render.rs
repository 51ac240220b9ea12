//! From a plan to TOML.

use crate::analysis::MachineKind;

use super::Plan;

impl Plan {
    /// The plan in force as TOML, complete in itself: reading it gives the same plan, bit for bit, with
    /// its machine told.
    pub fn to_toml(&self) -> String {
        let (kind, rate_key) = match self.machine.kind {
            MachineKind::Orbital => ("orbital", "orbit_opm"),
            MachineKind::Rotary => ("rotary", "speed_rpm"),
        };
        let machine = &self.machine;
        let lines = [
            ("technician", self.technician.as_deref().map(quoted)),
            ("panel", self.panel.as_deref().map(quoted)),
            ("units", Some(quoted(self.units.as_str()))),
            ("pace_mm_s", Some(pair(self.pace_mm_s.lo, self.pace_mm_s.hi))),
            (rate_key, self.orbit_per_min.map(|band| pair(band.lo, band.hi))),
            ("heat_rise_k", Some(number(self.heat_rise_k))),
            ("stroke_length_m", self.stroke_length_m.map(number)),
            ("section_m", self.section_m.map(|[width, height]| pair(width, height))),
            ("emissivity", Some(number(self.emissivity))),
        ];
        let machine_lines = [
            ("name", machine.name.as_deref().map(quoted)),
            ("kind", Some(quoted(kind))),
            ("throw_mm", machine.throw_mm.map(number)),
            ("pad_diameter_mm", Some(number(machine.pad_diameter_mm))),
        ];
        format!(
            "# The plan in force, written by Steadypass. Every key is explained in the example plan.\n{}\n[machine]\n{}",
            block(&lines),
            block(&machine_lines)
        )
    }
}

fn block(lines: &[(&str, Option<String>)]) -> String {
    lines.iter().filter_map(|(key, value)| value.as_ref().map(|value| format!("{key} = {value}\n"))).collect()
}

/// `f64` prints as the shortest text that reads back to the same bits.
fn number(value: f64) -> String {
    value.to_string()
}

fn pair(a: f64, b: f64) -> String {
    format!("[{a}, {b}]")
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
