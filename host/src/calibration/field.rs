//! Field results to verdicts: what an independent instrument said beside what Steadypass said, against stated targets. The
//! rule is the one in `hardware/calibration.md`; `hardware/verdicts.py` is the same as a program.

use std::str::FromStr;

use super::CalibrationError;
use crate::csv_lines::CsvLines;

/// The targets, the very table of the field procedure.
const TARGETS: &str = include_str!("../../../hardware/field-targets.csv");
/// Columns of a results sheet, in order.
const COLUMNS: [&str; 11] = [
    "figure",
    "run",
    "condition",
    "reference",
    "reference_u",
    "sensor",
    "sensor_lo",
    "sensor_hi",
    "unit",
    "method",
    "note",
];

/// How a figure stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit, whatever the reference's uncertainty.
    Met,
    /// Outside it, whatever the reference's uncertainty.
    NotMet,
    /// The reference is too coarse to tell, or a value is missing.
    Undecided,
    /// Fewer runs than it takes.
    TooFew,
    /// No run at all.
    NotTried,
}

impl Verdict {
    /// In words.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::Undecided => "undecided",
            Self::TooFew => "too few",
            Self::NotTried => "not tried",
        }
    }
}

/// The verdict on one target.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldVerdict {
    /// Name of the figure.
    pub figure: String,
    /// The figure in words.
    pub what: String,
    /// Statistic over the runs.
    pub statistic: String,
    /// Runs with a reference.
    pub runs: usize,
    /// Runs it takes.
    pub wanted_runs: usize,
    /// Smallest and largest value of the statistic that the reference's uncertainty allows.
    pub bounds: Option<(f64, f64)>,
    /// "at most" or "at least".
    pub sense: String,
    /// The limit.
    pub limit: f64,
    /// Its unit; `1` for a plain number.
    pub limit_unit: String,
    /// The verdict.
    pub verdict: Verdict,
}

struct Target {
    verdict: FieldVerdict,
    unit: String,
    error: String,
}

struct Line {
    figure: String,
    reference: f64,
    uncertainty: f64,
    sensor: Option<f64>,
    interval: Option<(f64, f64)>,
}

/// Judges a results sheet (RFC 4180, UTF-8). `name` is the file's, for errors.
///
/// # Errors
/// [`CalibrationError::Sheet`], with line, column, what was found and what was expected.
pub fn judge(text: &str, name: &str) -> Result<Vec<FieldVerdict>, CalibrationError> {
    let targets = targets()?;
    let lines = read(text, name, &targets)?;
    let verdicts = targets.into_iter().map(|target| {
        let mine: Vec<&Line> = lines.iter().filter(|l| l.figure == target.verdict.figure).collect();
        decide(target, &mine)
    });
    Ok(verdicts.collect())
}

fn targets() -> Result<Vec<Target>, CalibrationError> {
    let broken = |e: &dyn std::fmt::Display| CalibrationError::Sheet(format!("field targets: {e}"));
    let mut targets = Vec::new();
    for row in csv::Reader::from_reader(TARGETS.as_bytes()).records() {
        let row = row.map_err(|e| broken(&e))?;
        let cell = |i: usize| row.get(i).unwrap_or_default().to_owned();
        targets.push(Target {
            verdict: FieldVerdict {
                figure: cell(0),
                what: cell(1),
                statistic: cell(4),
                runs: 0,
                wanted_runs: cell(8).parse().map_err(|e| broken(&e))?,
                bounds: None,
                sense: cell(5),
                limit: cell(6).parse().map_err(|e| broken(&e))?,
                limit_unit: cell(7),
                verdict: Verdict::NotTried,
            },
            unit: cell(2),
            error: cell(3),
        });
    }
    Ok(targets)
}

fn read(text: &str, name: &str, targets: &[Target]) -> Result<Vec<Line>, CalibrationError> {
    let fail = |what: String| CalibrationError::Sheet(format!("{name}, {what}"));
    let mut reader = csv::Reader::from_reader(CsvLines::new(text.trim_start_matches('\u{feff}').as_bytes()));
    let header = reader.headers().map_err(|e| fail(format!("line 1: {e}")))?.clone();
    if header.iter().ne(COLUMNS) {
        let found: Vec<&str> = header.iter().collect();
        return Err(fail(format!("line 1: the header is {}, expected {}", found.join(","), COLUMNS.join(","))));
    }
    let (mut lines, mut row) = (Vec::new(), csv::StringRecord::new());
    loop {
        let more = reader.read_record(&mut row);
        let at = reader.get_mut().line_at(more.as_ref().map_or_else(csv::Error::position, |_| row.position()));
        let more = more.map_err(|e| match e.kind() {
            csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
                fail(format!("line {at}: {len} cells, but the header has {expected_len}"))
            }
            _ => fail(format!("line {at}: {e}")),
        })?;
        if !more {
            break;
        }
        let fail = |column: &str, what: String| fail(format!("line {at}, {column}: {what}"));
        let cell =
            |column: &str| COLUMNS.iter().position(|c| *c == column).and_then(|i| row.get(i)).unwrap_or_default();
        let number = |column: &str| -> Result<Option<f64>, CalibrationError> {
            let text = cell(column).trim();
            if text.is_empty() {
                return Ok(None);
            }
            f64::from_str(text)
                .ok()
                .filter(|v| v.is_finite())
                .map(Some)
                .ok_or_else(|| fail(column, format!("found {text:?}, expected a number")))
        };
        let figure = cell("figure");
        let Some(target) = targets.iter().find(|t| t.verdict.figure == figure) else {
            let mut names: Vec<&str> = targets.iter().map(|t| t.verdict.figure.as_str()).collect();
            names.dedup();
            return Err(fail("figure", format!("found {figure:?}, expected one of {}", names.join(", "))));
        };
        if cell("unit") != target.unit {
            return Err(fail("unit", format!("found {:?}, but {figure} is given in {}", cell("unit"), target.unit)));
        }
        let (reference, uncertainty) = (number("reference")?, number("reference_u")?);
        let (sensor, lo, hi) = (number("sensor")?, number("sensor_lo")?, number("sensor_hi")?);
        // Without a reference the run has not been done yet.
        let Some(reference) = reference else { continue };
        let Some(uncertainty) = uncertainty.filter(|u| *u >= 0.0) else {
            return Err(fail(
                "reference_u",
                "every reference needs its uncertainty, 0 or more, in the same unit".into(),
            ));
        };
        if reference == 0.0 && targets.iter().any(|t| t.verdict.figure == figure && t.error == "percent") {
            return Err(fail("reference", format!("found 0, but the error of {figure} is a share of the reference")));
        }
        lines.push(Line { figure: figure.to_owned(), reference, uncertainty, sensor, interval: lo.zip(hi) });
    }
    Ok(lines)
}

fn decide(target: Target, lines: &[&Line]) -> FieldVerdict {
    let Target { mut verdict, error, .. } = target;
    verdict.runs = lines.len();
    if lines.is_empty() {
        return verdict;
    }
    let bounds: Vec<(f64, f64)> = lines.iter().filter_map(|line| error_bounds(&error, line)).collect();
    if lines.len() < verdict.wanted_runs || bounds.is_empty() {
        verdict.verdict = Verdict::TooFew;
        return verdict;
    }
    let low = statistic(&verdict.statistic, bounds.iter().map(|b| b.0));
    let high = statistic(&verdict.statistic, bounds.iter().map(|b| b.1));
    let (met, missed) = if verdict.sense == "at most" {
        (high <= verdict.limit, low > verdict.limit)
    } else {
        (low >= verdict.limit, high < verdict.limit)
    };
    verdict.bounds = Some((low, high));
    // A figure that was sometimes left blank has not been met.
    verdict.verdict = match (met && bounds.len() == lines.len(), missed) {
        (true, _) => Verdict::Met,
        (false, true) => Verdict::NotMet,
        (false, false) => Verdict::Undecided,
    };
    verdict
}

/// Smallest and largest size of a run's error that the reference's uncertainty allows; `None` where the sensor showed nothing.
fn error_bounds(error: &str, line: &Line) -> Option<(f64, f64)> {
    let (sensor, u, reference) = (line.sensor?, line.uncertainty, line.reference);
    let flag = |inside: bool| f64::from(u8::from(inside));
    Some(match error {
        "value" => (sensor - u, sensor + u),
        "inside" => {
            let (lo, hi) = line.interval?;
            (flag(lo + u <= reference && reference <= hi - u), flag(lo - u <= reference && reference <= hi + u))
        }
        _ => {
            let scale = if error == "percent" { 100.0 / reference.abs() } else { 1.0 };
            let (size, u) = ((sensor - reference).abs() * scale, u * scale);
            ((size - u).max(0.0), size + u)
        }
    })
}

fn statistic(name: &str, values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match name {
        "rms" => (values.iter().map(|v| v * v).sum::<f64>() / n as f64).sqrt(),
        "mean" => values.iter().sum::<f64>() / n as f64,
        "median" => f64::midpoint(values[(n - 1) / 2], values[n / 2]),
        "p90" => values[(0.9 * n as f64).ceil() as usize - 1],
        "min" => values[0],
        _ => values[n - 1],
    }
}

/// A figure to four significant digits, the shortest way.
pub fn four_digits(value: f64) -> String {
    let size = if value == 0.0 { 0 } else { value.abs().log10().floor() as i32 };
    let decimals = usize::try_from(3 - size).unwrap_or(0).min(12);
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXAMPLE: &str = include_str!("../../../hardware/field-results-example.csv");

    #[test]
    fn the_worked_example_gives_its_verdicts() {
        let verdicts = judge(EXAMPLE, "example").unwrap();
        let expected = include_str!("../../../hardware/field-verdicts-example.csv");
        let mut reader = csv::Reader::from_reader(expected.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), verdicts.len());
        for (row, v) in rows.iter().zip(&verdicts) {
            let (low, high) = v.bounds.map_or_else(Default::default, |(l, h)| (four_digits(l), four_digits(h)));
            let got = [
                &v.figure,
                &v.statistic,
                &v.runs.to_string(),
                &low,
                &high,
                &format!("{}", v.limit),
                v.verdict.as_str(),
            ]
            .map(str::to_owned);
            assert_eq!(row.iter().map(str::to_owned).collect::<Vec<_>>(), got);
        }
    }

    #[test]
    fn the_blank_sheet_has_not_been_tried() {
        let verdicts = judge(include_str!("../../../hardware/field-results.csv"), "blank").unwrap();
        assert!(verdicts.iter().all(|v| v.verdict == Verdict::NotTried));
    }

    #[test]
    fn a_wrong_cell_is_named_with_its_place() {
        for (from, to, said) in [
            ("figure,run", "what,run", "example, line 1: the header is what,run"),
            ("surface,1,cup,0.2,0.2,", "surface,1,cup,0.2,,", "reference_u"),
            ("surface,1,cup,0.2,0.2,0.5", "surface,1,cup,0.2,0.2,warm", "sensor: found \"warm\", expected a number"),
            ("still_orbit,1", "stil_orbit,1", "found \"stil_orbit\", expected one of still_accel"),
            ("3146.8,,,opm", "3146.8,,,rpm", "found \"rpm\", but orbit is given in opm"),
            ("orbit,1,dial,3150", "orbit,1,dial,0", "share of the reference"),
        ] {
            let sheet = EXAMPLE.replacen(from, to, 1);
            assert_ne!(sheet, EXAMPLE, "{from}");
            let message = judge(&sheet, "example").unwrap_err().to_string();
            assert!(message.contains(said), "{message}");
        }
        assert!(judge("", "empty").unwrap_err().to_string().contains("line 1"));
    }

    #[test]
    fn a_wrong_cell_stands_on_the_line_that_an_editor_shows() {
        let wrong = EXAMPLE.lines().position(|line| line.starts_with("surface,1,cup")).unwrap() + 1;
        for (to, said) in [("warm", "sensor: found"), ("0.5,0.5", "12 cells, but the header has 11")] {
            let sheet = EXAMPLE.replacen("surface,1,cup,0.2,0.2,0.5", &format!("surface,1,cup,0.2,0.2,{to}"), 1);
            for end in ["\n", "\r\n"] {
                let message = judge(&sheet.replace('\n', end), "example").unwrap_err().to_string();
                assert!(message.contains(&format!("line {wrong}")) && message.contains(said), "{message}");
            }
        }
    }
}
