//! The CSV files of a review (RFC 4180, decimal point, empty cell = not known). Always SI, whatever the user's units.

use std::io::Write;

use crate::{
    analysis::{Interval, SeriesRow, Stroke},
    guidance::Units,
    session::{JudgedPass, PlacedWarning},
};

/// Rows of one CSV file.
pub struct Table<W: Write> {
    csv: csv::Writer<W>,
}

/// `series.csv`.
pub const SERIES: (&str, &[&str]) = (
    "series.csv",
    &[
        "t_s",
        "state",
        "orbit_opm",
        "orbit_sd_opm",
        "pad_speed_mps",
        "pad_spin_hz",
        "traverse_mps",
        "traverse_sd_mps",
        "surface_c",
        "surface_rise_k",
        "ambient_c",
        "vibration_mps2",
    ],
);
/// `strokes.csv`; lo and hi bound a 90 % interval. `supposed`: `start` or `end` where that was not seen and is set so that the
/// stroke lasted as long as the others.
pub const STROKES: (&str, &[&str]) = (
    "strokes.csv",
    &[
        "pass",
        "stroke",
        "start_s",
        "end_s",
        "direction_deg",
        "length_m",
        "traverse_mps",
        "traverse_lo_mps",
        "traverse_hi_mps",
        "orbit_opm",
        "surface_c",
        "spot_trails",
        "supposed",
    ],
);
/// `passes.csv`.
pub const PASSES: (&str, &[&str]) = (
    "passes.csv",
    &[
        "pass",
        "section",
        "start_s",
        "end_s",
        "duration_s",
        "direction_deg",
        "strokes",
        "traverse_mean_mps",
        "traverse_cv",
        "in_pace_share",
        "orbit_median_opm",
        "orbit_p05_opm",
        "orbit_p95_opm",
        "pad_speed_mean_mps",
        "surface_start_c",
        "surface_peak_c",
        "surface_rise_k",
        "seconds_over_limit",
        "vibration_mps2",
        "warnings",
        "traverse_mean_lo_mps",
        "traverse_mean_hi_mps",
        "orbit_free_opm",
        "technician",
        "surface_seen_share",
    ],
);
/// `warnings.csv`. `length_doubt`: of a pace, how the turns of its pass stand to the stroke length told that it may have gone by:
/// `slight` where it hardly fits them, `clear` where they contradict it.
pub const WARNINGS: (&str, &[&str]) =
    ("warnings.csv", &["t_s", "kind", "value", "limit", "pass", "text", "length_doubt"]);

/// `marks.csv`: when a section was marked, each time beginning a new one.
pub const MARKS: (&str, &[&str]) = ("marks.csv", &["mark", "t_s"]);

/// `notes.csv`: what was written down while recording.
pub const NOTES: (&str, &[&str]) = ("notes.csv", &["t_s", "text"]);

impl<W: Write> Table<W> {
    /// Starts a table with its header.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn new(out: W, header: &[&str]) -> csv::Result<Self> {
        let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
        csv.write_record(header)?;
        Ok(Self { csv })
    }

    /// Writes what is buffered and hands the writer back. A failed last write is an error here, not lost on drop.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn finish(self) -> std::io::Result<W> {
        self.csv.into_inner().map_err(csv::IntoInnerError::into_error)
    }

    /// A row of `series.csv`.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn series(&mut self, row: &SeriesRow) -> csv::Result<()> {
        self.csv.write_record([
            fixed(row.t_s, 1),
            row.state.as_str().to_owned(),
            maybe(row.orbit_opm.map(|m| m.value), 1),
            maybe(row.orbit_opm.map(|m| m.sd), 2),
            maybe(row.pad_speed_mps, 4),
            maybe(row.pad_spin_hz, 2),
            maybe(row.traverse_mps.map(|m| m.value), 5),
            maybe(row.traverse_mps.map(|m| m.sd), 5),
            maybe(row.surface_c, 3),
            maybe(row.surface_rise_k, 3),
            maybe(row.ambient_c, 2),
            maybe(row.vibration_mps2, 3),
        ])
    }

    /// A row of `strokes.csv`.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn stroke(&mut self, stroke: &Stroke) -> csv::Result<()> {
        let [value, lo, hi] = bounds(stroke.traverse_mps);
        self.csv.write_record([
            stroke.pass.to_string(),
            stroke.stroke.to_string(),
            fixed(stroke.start_s, 3),
            fixed(stroke.end_s, 3),
            maybe(stroke.direction_deg, 1),
            maybe(stroke.length_m, 4),
            value,
            lo,
            hi,
            maybe(stroke.orbit_opm, 1),
            maybe(stroke.surface_c, 2),
            stroke.spot_trails.map_or(String::new(), |t| if t { "yes" } else { "no" }.to_owned()),
            match stroke.supposed {
                [true, true] => "start and end",
                [true, false] => "start",
                [false, true] => "end",
                [false, false] => "",
            }
            .to_owned(),
        ])
    }

    /// A row of `passes.csv`.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn pass(&mut self, judged: &JudgedPass) -> csv::Result<()> {
        let pass = &judged.pass;
        let [mean, lo, hi] = bounds(pass.traverse_mean_mps);
        self.csv.write_record([
            pass.pass.to_string(),
            pass.section.to_string(),
            fixed(pass.start_s, 3),
            fixed(pass.end_s, 3),
            fixed(pass.end_s - pass.start_s, 3),
            maybe(pass.direction_deg, 1),
            pass.strokes.to_string(),
            mean,
            maybe(pass.traverse_cv, 4),
            maybe(judged.in_pace_share, 3),
            maybe(pass.orbit_median_opm, 1),
            maybe(pass.orbit_p05_opm, 1),
            maybe(pass.orbit_p95_opm, 1),
            maybe(pass.pad_speed_mean_mps, 4),
            maybe(pass.surface_start_c, 2),
            maybe(pass.surface_peak_c, 2),
            maybe(pass.surface_rise_k, 2),
            maybe(judged.seconds_over_limit, 1),
            maybe(pass.vibration_mps2, 3),
            judged.warnings.len().to_string(),
            lo,
            hi,
            maybe(pass.orbit_free_opm, 1),
            guarded(judged.technician.as_deref().unwrap_or_default()),
            fixed(pass.surface_seen_share, 3),
        ])
    }

    /// A row of `marks.csv`.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn mark(&mut self, mark: u32, t_s: f64) -> csv::Result<()> {
        self.csv.write_record([mark.to_string(), fixed(t_s, 3)])
    }

    /// A row of `notes.csv`.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn note(&mut self, t_s: f64, text: &str) -> csv::Result<()> {
        self.csv.write_record([fixed(t_s, 3), guarded(text)])
    }

    /// A row of `warnings.csv`; `rate_unit` names the machine's rate in the text, `of_table` says that nobody was warned at the time.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn warning(&mut self, placed: &PlacedWarning, rate_unit: &str, of_table: bool) -> csv::Result<()> {
        let warning = &placed.warning;
        self.csv.write_record([
            fixed(warning.t_s, 1),
            warning.kind.as_str().to_owned(),
            maybe(warning.value, 5),
            maybe(warning.limit, 5),
            placed.pass.map_or(String::new(), |p| p.to_string()),
            if of_table { warning.text_of_table(Units::Si, rate_unit) } else { warning.text(Units::Si, rate_unit) },
            placed.length_doubt.map_or("", |doubt| if doubt.clear { "clear" } else { "slight" }).to_owned(),
        ])
    }
}

fn bounds(interval: Option<Interval>) -> [String; 3] {
    [interval.map(|i| i.value), interval.map(|i| i.lo), interval.map(|i| i.hi)].map(|v| maybe(v, 5))
}

/// An empty cell for what is not known, and for what is not a number: a wrong figure must not look like a figure.
fn maybe(value: Option<f64>, decimals: usize) -> String {
    value.filter(|v| v.is_finite()).map_or(String::new(), |v| fixed(v, decimals))
}

fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // A difference of two equal figures must not read "-0.00".
    if text.starts_with('-') && text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        text[1..].to_owned()
    } else {
        text
    }
}

/// What a spreadsheet takes for a formula, and the apostrophe itself.
const GUARDED: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// A text that a spreadsheet would take for a formula gets an apostrophe in front.
pub fn guarded(text: &str) -> String {
    if text.starts_with(GUARDED) { format!("'{text}") } else { text.to_owned() }
}

/// The reverse of [`guarded`].
pub(crate) fn unguarded(text: &str) -> &str {
    text.strip_prefix('\'').filter(|rest| rest.starts_with(GUARDED)).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Measured;

    #[test]
    fn unknown_is_empty_and_minus_zero_is_zero() {
        let mut table = Table::new(Vec::new(), SERIES.1).expect("memory");
        table
            .series(&SeriesRow {
                t_s: 0.1,
                orbit_opm: Some(Measured { value: 4250.04, sd: f64::NAN }),
                surface_rise_k: Some(-0.0001),
                ..SeriesRow::default()
            })
            .expect("memory");
        let text = String::from_utf8(table.finish().expect("memory")).expect("text");
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(lines[0], SERIES.1.join(","));
        assert_eq!(lines[1], "0.1,still,4250.0,,,,,,,0.000,,");
        assert_eq!(lines[1].split(',').count(), SERIES.1.len());
    }
}
