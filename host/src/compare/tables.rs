//! A comparison as CSV (RFC 4180, SI, empty cell = not known).
//!
//! The model takes no notice of what can be: an interval may reach below zero, or over a share of one. It ends there at the
//! bound, as in the drawings and words: nothing possible is left out, so it holds the truth as often as before. So does the
//! line of a trend. A change per day or a difference may have either sign.

use super::Comparison;
use super::Figure;
use super::model::p_value;
use crate::tables::guarded;

/// `comparison.csv`: every group on every figure.
pub fn estimates_csv(comparison: &Comparison) -> csv::Result<Vec<u8>> {
    let mut table = writer();
    table.write_record([
        "group",
        "figure",
        "mean",
        "lo90",
        "hi90",
        "between_days_sd",
        "within_day_sd",
        "days",
        "passes",
    ])?;
    for group in &comparison.groups {
        for figure in Figure::ALL {
            let Some(e) = &group.estimates[figure.index()] else { continue };
            let interval = e.interval().map(|(lo, hi)| (figure.possible(lo), figure.possible(hi)));
            table.write_record([
                guarded(&group.data.name),
                figure.column().to_owned(),
                cell(Some(e.mean)),
                cell(interval.map(|i| i.0)),
                cell(interval.map(|i| i.1)),
                cell(e.between_sd),
                cell(e.within_sd),
                e.days.to_string(),
                e.passes.to_string(),
            ])?;
        }
    }
    finish(table)
}

/// `differences.csv`: every pair on every figure; `p` is for one difference alone, `stands_out` for the whole family.
pub fn differences_csv(comparison: &Comparison) -> csv::Result<Vec<u8>> {
    let mut table = writer();
    table.write_record(["figure", "a", "b", "a_minus_b", "lo90", "hi90", "p", "stands_out"])?;
    for c in &comparison.contrasts {
        let (lo, hi) = c.difference.interval();
        let possible = |v| c.figure.possible_difference(v);
        table.write_record([
            c.figure.column().to_owned(),
            guarded(&comparison.groups[c.a].data.name),
            guarded(&comparison.groups[c.b].data.name),
            cell(Some(c.difference.value)),
            cell(Some(possible(lo))),
            cell(Some(possible(hi))),
            chance(p_value(c.difference.value, &c.difference.error)),
            yes(c.stands_out),
        ])?;
    }
    finish(table)
}

/// `trends.csv`: every technician on every figure, per working day.
pub fn trends_csv(comparison: &Comparison) -> csv::Result<Vec<u8>> {
    let mut table = writer();
    table.write_record([
        "technician",
        "figure",
        "per_working_day",
        "lo90",
        "hi90",
        "first",
        "last",
        "days",
        "p",
        "stands_out",
    ])?;
    for c in &comparison.changes {
        let half = c.trend.error.half_width(super::model::LEVEL);
        table.write_record([
            guarded(&comparison.groups[c.group].data.name),
            c.figure.column().to_owned(),
            cell(Some(c.trend.slope)),
            cell(Some(c.trend.slope - half)),
            cell(Some(c.trend.slope + half)),
            cell(Some(c.figure.possible(c.trend.ends.0))),
            cell(Some(c.figure.possible(c.trend.ends.1))),
            c.trend.days.to_string(),
            chance(p_value(c.trend.slope, &c.trend.error)),
            yes(c.stands_out),
        ])?;
    }
    finish(table)
}

/// `days.csv`: what each working day of each technician gave, the data behind the estimates.
pub fn days_csv(comparison: &Comparison) -> csv::Result<Vec<u8>> {
    let mut table = writer();
    table.write_record(["group", "figure", "day", "technician", "passes", "mean", "within_sum_of_squares"])?;
    for group in &comparison.groups {
        for figure in Figure::ALL {
            for day in &group.data.days[figure.index()] {
                table.write_record([
                    guarded(&group.data.name),
                    figure.column().to_owned(),
                    day.date.clone(),
                    guarded(&day.technician),
                    day.gave.n.to_string(),
                    exact(day.gave.mean),
                    exact(day.gave.scatter),
                ])?;
            }
        }
    }
    finish(table)
}

/// `ledger.csv`: removal per metre rubbed.
pub fn ledger_csv(rows: &[super::draw::LedgerRow]) -> csv::Result<Vec<u8>> {
    let mut table = writer();
    table.write_record([
        "paint",
        "panel",
        "pad_and_liquid",
        "removal_um",
        "removal_sd_um",
        "rubbed_m",
        "wear_um_per_m",
        "lo90",
        "hi90",
        "basis",
    ])?;
    for row in rows {
        table.write_record([
            guarded(&row.paint),
            guarded(&row.panel),
            guarded(&row.product),
            cell(Some(row.removal_um)),
            cell(Some(row.removal_sd_um)),
            cell(Some(row.rubbed_m)),
            cell(Some(row.wear_um_per_m)),
            cell(Some(row.interval.0)),
            cell(Some(row.interval.1)),
            row.basis.clone(),
        ])?;
    }
    finish(table)
}

fn writer() -> csv::Writer<Vec<u8>> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new())
}

fn finish(table: csv::Writer<Vec<u8>>) -> csv::Result<Vec<u8>> {
    table.into_inner().map_err(|e| e.into_error().into())
}

fn cell(value: Option<f64>) -> String {
    // Six significant digits are more than any figure here carries.
    value.filter(|v| v.is_finite()).map_or(String::new(), |v| {
        // Nought is nought to any digit, and has no sign.
        if v.abs() < 0.5e-12 {
            return "0".to_owned();
        }
        let digits = (5 - v.abs().max(1e-9).log10().floor() as i32).clamp(0, 12) as usize;
        format!("{v:.digits$}")
    })
}

/// A probability: one so small that decimals would show it as nought is written with a power of ten.
fn chance(p: Option<f64>) -> String {
    match p {
        Some(p) if p > 0.0 && p < 1e-4 => format!("{p:.5e}"),
        p => cell(p),
    }
}

fn exact(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { String::new() }
}

fn yes(yes: bool) -> String {
    if yes { "yes" } else { "no" }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::unguarded;

    #[test]
    fn numbers_keep_six_digits_and_formulas_are_text() {
        assert_eq!(cell(Some(0.021_345_678)), "0.0213457");
        assert_eq!(cell(Some(12.0)), "12.0000");
        assert_eq!(cell(Some(f64::INFINITY)), "");
        assert_eq!(cell(Some(0.0)), "0");
        assert_eq!(cell(Some(-1e-14)), "0");
        assert_eq!(cell(Some(1e-9)), "0.000000001000");
        assert_eq!(chance(Some(0.021_345_678)), "0.0213457");
        assert_eq!(chance(Some(2.134_567_8e-15)), "2.13457e-15");
        assert_eq!(chance(None), "");
        assert_eq!(guarded("=SUM(A1)"), "'=SUM(A1)");
        assert_eq!(guarded("Robin"), "Robin");
        for text in ["=1", "'tis", "''", "-", "Robin", ""] {
            assert_eq!(unguarded(&guarded(text)), text);
        }
        assert_eq!(unguarded("'tis"), "'tis", "an apostrophe that guards nothing is the user's own");
    }
}
