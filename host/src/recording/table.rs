//! Import: a sensor table (RFC 4180 CSV) of another logger becomes a recording, streamed with constant memory.
//!
//! Columns: `t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c`.
//! One row per accelerometer sample; a cell is empty where that sensor has nothing new. Gyro and temperature columns may be
//! missing, and there may be one more, `mark`, see [`MARK`]; extra columns are ignored. Rows become runs of evenly spaced samples, as
//! the sensor itself sends them.
//!
//! A last row that is empty or cut, as a logger leaves one that lost its power, is left out.

mod bursts;
mod extremes;
mod steady;
mod turning;

use std::{collections::VecDeque, path::Path};

use bursts::Bursts;
use extremes::Extremes;
pub use extremes::Largest;
use mcap::MAGIC;
use steady::Steady;
use turning::Turning;

use super::{Error, Facts, RecordingWriter, Result, TableEntry, TableRun, write::refuse_taken};
use crate::analysis::Run;
use crate::csv_lines::CsvLines;
use crate::guidance::units::count;
use crate::unfinished::Unfinished;

/// Rows in one run: about the sensor's own block length at its own rate, and little to lose at any.
const RUN_ROWS: usize = 72;
/// A time step this much larger than the usual one is a hole.
const HOLE: f64 = 1.5;
/// Times that are rounded make steps longer or shorter by as much as they are rounded to; how much of that a step may be over.
const ROUNDING: f64 = 1.01;
/// Larger numbers than these are a wrong unit or a broken file, not a measurement.
const MAX_ACCEL_MPS2: f64 = 5e3; // 500 g, the widest chips for shocks
const MAX_GYRO_RADPS: f64 = 1e4;
const CELSIUS_RANGE: std::ops::RangeInclusive<f64> = -100.0..=1000.0;

/// Characters of a cell that a message quotes.
const MOST_QUOTED: usize = 40;

/// What an import found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ImportSummary {
    /// Rows read.
    pub rows: u64,
    /// Time from the first row to the last, s.
    pub seconds: f64,
    /// Accelerometer samples missing, judged by time steps.
    pub lost: u64,
    /// Times are rounded to so much, s, that a single missing row looks like none; `None` where it shows.
    pub hiding_s: Option<f64>,
    /// Accelerometer samples a second, holes aside; `None` where that cannot be told.
    pub rate_hz: Option<f64>,
    /// The longest hole among them: where it begins, s after the first row, and how long it is, s.
    pub longest_hole: Option<(f64, f64)>,
    /// Size of the acceleration averaged over a second, m/s², the mean of all seconds: 9.8 where gravity is in it and the unit
    /// is right, because vibration averages out and an arm adds little. `None` for less than a second of ten samples.
    pub steady_mps2: Option<f64>,
    /// The acceleration averaged over all these seconds, m/s², by axis: which way gravity lies.
    pub mean_mps2: Option<[f64; 3]>,
    /// The value at which an axis of the accelerometer stands as it does beyond its range.
    pub largest: Option<Largest>,
    /// Whether all acceleration in the table is one and the same.
    pub is_frozen: bool,
    /// The line of the last row, where it was empty or cut and was left out.
    pub left_out_line: Option<u64>,
    /// The same of the turn rate, rad/s: a hand turns a machine by some hundredths.
    pub steady_radps: Option<f64>,
    /// Whether gravity clearly turns otherwise in the accelerations than the turn rates say.
    pub turns_astray: bool,
    /// First surface temperature, °C.
    pub first_surface_c: Option<f64>,
    /// Sections marked.
    pub marks: u64,
    /// Whether the table has gyro readings.
    pub has_gyro: bool,
    /// Whether the table has surface temperatures.
    pub has_surface: bool,
}

/// Reads `table` and writes it as the recording `out`. `progress` is told bytes read now and then.
///
/// * `marks_s`: when sections were marked, s after the first row, besides those that the table itself marks.
///
/// Nothing is left at `out` when it fails.
///
/// # Errors
/// Names the line and column of what is wrong, and what was expected.
pub fn import_table(
    table: &Path,
    out: &Path,
    facts: &Facts,
    marks_s: &[f64],
    progress: impl FnMut(u64),
) -> Result<ImportSummary> {
    let file = std::fs::File::open(table).map_err(|e| Error::io("open", table, e))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        return Err(Error::io("open", table, std::io::ErrorKind::IsADirectory.into()));
    }
    let mut rows = csv::ReaderBuilder::new().flexible(true).from_reader(CsvLines::new(file));
    let columns = Columns::find(table, rows.byte_headers().map_err(|e| csv_error(table, &e))?)?;
    refuse_taken(out)?;
    let failed = |source| Error::io("write", out, source);
    // Not as OUT.part: whoever finds such a file must take it for a recording from a sensor, which nobody can make again.
    let unfinished = Unfinished::beside(out).map_err(failed)?;
    let named = |error| match error {
        Error::Io { path, source, .. } if path.starts_with(unfinished.folder()) => failed(source),
        other => other,
    };
    let mut writer = RecordingWriter::create(&unfinished.folder().join(NAME), facts).map_err(named)?;
    match import_rows(table, &mut rows, &columns, &mut writer, marks_s, progress) {
        Ok(summary) => {
            writer.finish_import(&summary).map_err(named)?;
            refuse_taken(out)?;
            unfinished.place_new(NAME, out).map_err(|e| match e.kind() {
                // It came there since.
                std::io::ErrorKind::AlreadyExists => Error::Exists { path: out.to_owned() },
                _ => failed(e),
            })?;
            Ok(summary)
        }
        Err(error) => {
            writer.abandon();
            Err(named(error))
        }
    }
}

/// Name of a recording that is not whole yet.
const NAME: &str = "imported.mcap";

const NAMES: [&str; 9] = [
    "t_s",
    "accel_x_mps2",
    "accel_y_mps2",
    "accel_z_mps2",
    "gyro_x_radps",
    "gyro_y_radps",
    "gyro_z_radps",
    "surface_c",
    "ambient_c",
];

/// A column that tells in which rows the button was pressed that begins a new section: 1 there (true, x), and in all others 0
/// (false) or nothing. Rows of a button that is held follow each other and are one press.
const MARK: &str = "mark";

/// Where each known column stands in the file.
struct Columns {
    at: [Option<usize>; NAMES.len()],
    mark: Option<usize>,
    width: usize,
}

impl Columns {
    fn find(table: &Path, header: &csv::ByteRecord) -> Result<Self> {
        let (mut at, mut mark) = ([None; NAMES.len()], None);
        for (i, cell) in header.iter().enumerate() {
            let name = String::from_utf8_lossy(cell.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(cell)).trim().to_owned();
            let place = match NAMES.iter().position(|n| n.eq_ignore_ascii_case(&name)) {
                Some(k) => &mut at[k],
                None if name.eq_ignore_ascii_case(MARK) => &mut mark,
                None => continue,
            };
            if place.replace(i).is_some() {
                return Err(problem(table, format!("line 1: column `{name}` stands there twice; keep one")));
            }
        }
        let groups: [&[usize]; 3] = [&[0], &[1, 2, 3], &[4, 5, 6]];
        for (g, group) in groups.iter().enumerate() {
            let missing: Vec<&str> = group.iter().filter(|&&k| at[k].is_none()).map(|&k| NAMES[k]).collect();
            let left_out = g == 2 && missing.len() == group.len();
            if !missing.is_empty() && !left_out {
                if header.as_slice().starts_with(MAGIC.trim_ascii_end()) {
                    return Err(problem(
                        table,
                        "it is a recording already; `steadypass review` takes it as it is".into(),
                    ));
                }
                if !is_text(header.as_slice()) {
                    let how = "it is not a text table: line 1 holds signs that no text in UTF-8 has. Export it from the other \
                               program as CSV (UTF-8)";
                    return Err(problem(table, how.to_owned()));
                }
                let found: Vec<String> = header.iter().take(12).map(quoted).collect();
                if header.len() == 1 && header.as_slice().contains(&b';') {
                    let how = "line 1: its cells stand between semicolons; expected commas between cells and points in numbers";
                    return Err(problem(table, how.to_owned()));
                }
                if header.len() == 1 && header.as_slice().contains(&b'\t') {
                    let how = "line 1: its cells stand between tabs; expected commas between cells";
                    return Err(problem(table, how.to_owned()));
                }
                return Err(problem(
                    table,
                    format!(
                        "line 1: no column `{}`. Expected the header {}; found {}. Rename the columns, and convert to m/s², rad/s \
                         and °C if need be",
                        missing.join("`, `"),
                        NAMES.join(","),
                        if found.is_empty() { "nothing".into() } else { found.join(",") },
                    ),
                ));
            }
        }
        Ok(Self { at, mark, width: header.len() })
    }
}

fn import_rows(
    table: &Path,
    rows: &mut csv::Reader<CsvLines<std::fs::File>>,
    columns: &Columns,
    writer: &mut RecordingWriter,
    marks_s: &[f64],
    mut progress: impl FnMut(u64),
) -> Result<ImportSummary> {
    let mut summary = ImportSummary::default();
    let mut marks = Marks::told(marks_s);
    let (mut accel, mut gyro) = (RunBuilder::default(), RunBuilder::default());
    let mut extremes = Extremes::default();
    // What is wrong with a row that only the last one may be.
    let mut unfinished = None;
    let mut unusable = None;
    let mut digits = 0;
    let (mut first_s, mut last_s) = (None, f64::NEG_INFINITY);
    let (mut steady, mut hands, mut turning) = (Steady::default(), Steady::default(), Turning::default());
    let mut record = csv::ByteRecord::new();
    let mut done = Vec::new();
    loop {
        let more = rows.read_byte_record(&mut record).map_err(|e| csv_error(table, &e))?;
        if !more {
            break;
        }
        let line = rows.get_mut().line_at(record.position());
        let is_empty = record.iter().all(|cell| cell.trim_ascii().is_empty());
        match unfinished {
            Some((_, error)) if !is_empty => return Err(error),
            None if is_empty => unfinished = Some((line, no_time(table, line))),
            None if record.len() != columns.width => {
                let cells = count(record.len() as u64, "cell", "cells");
                let found = format!("line {line}: {cells}, but the header has {}", columns.width);
                let error = problem(table, format!("{found}; the row is cut or has a stray comma"));
                if record.len() > columns.width {
                    return Err(error);
                }
                unfinished = Some((line, error));
            }
            _ => {}
        }
        if unfinished.is_some() {
            continue;
        }
        let cell = |k: usize, range: std::ops::RangeInclusive<f64>| {
            number(table, &record, columns.at[k], line, NAMES[k], &range)
        };
        let t_s = cell(0, -1e12..=1e12)?.ok_or_else(|| no_time(table, line))?;
        digits = digits.max(columns.at[0].and_then(|i| record.get(i)).map_or(MOST_DIGITS, digits_of));
        let grain_us = 1e6 * 10_f64.powi(-digits);
        if t_s == last_s {
            let what = format!("line {line}, column `t_s`: {t_s} once more; every row needs a time of its own");
            return Err(problem(
                table,
                format!(
                    "{what}. Give the times to the microsecond; where the logger does not have them so, number the rows and divide \
                     by its rows a second. A row that stands there twice must go"
                ),
            ));
        }
        if t_s < last_s {
            return Err(problem(
                table,
                format!(
                    "line {line}, column `t_s`: {t_s} does not come after {last_s}; times must increase. Sort the table, or cut it where the clock was set back"
                ),
            ));
        }
        let zero_s = *first_s.get_or_insert(t_s);
        last_s = t_s;
        summary.rows += 1;
        summary.seconds = t_s - zero_s;
        let t_us = (t_s - zero_s) * 1e6;
        let log_ns = (t_us * 1e3) as u64;
        let is_pressed = pressed(table, &record, columns.mark, line)?;
        for mark_s in marks.until(summary.seconds, is_pressed) {
            writer.table(log_ns, &TableEntry::Mark { t_us: mark_s * 1e6 })?;
            summary.marks += 1;
        }
        let triple = |first: usize, limit: f64, what: &str| -> Result<Option<[f32; 3]>> {
            let v = [cell(first, -limit..=limit)?, cell(first + 1, -limit..=limit)?, cell(first + 2, -limit..=limit)?];
            match v {
                [Some(x), Some(y), Some(z)] => Ok(Some([x as f32, y as f32, z as f32])),
                [None, None, None] => Ok(None),
                _ => Err(problem(
                    table,
                    format!("line {line}: only some of the three {what} cells are filled; give all three or none"),
                )),
            }
        };
        let (acceleration, turn_rate) =
            (triple(1, MAX_ACCEL_MPS2, "acceleration")?, triple(4, MAX_GYRO_RADPS, "turn rate")?);
        turning.push(t_us, acceleration, turn_rate);
        if let Some(sample) = acceleration {
            steady.push(t_us, sample);
            extremes.push(sample);
            accel.push((t_us, grain_us), sample, &mut done);
            summary.lost += done.iter().map(|run| u64::from(run.lost_before)).sum::<u64>();
            store(&mut unusable, writer, log_ns, &mut done, TableEntry::Accel)?;
        }
        if let Some(sample) = turn_rate {
            summary.has_gyro = true;
            hands.push(t_us, sample);
            gyro.push((t_us, grain_us), sample, &mut done);
            store(&mut unusable, writer, log_ns, &mut done, TableEntry::Gyro)?;
        }
        let (surface_c, ambient_c) = (cell(7, CELSIUS_RANGE)?, cell(8, CELSIUS_RANGE)?);
        if surface_c.is_some() || ambient_c.is_some() {
            summary.has_surface |= surface_c.is_some();
            summary.first_surface_c = summary.first_surface_c.or(surface_c);
            let entry = TableEntry::Surface {
                t_us,
                surface_c: surface_c.map(|c| c as f32),
                ambient_c: ambient_c.map(|c| c as f32),
            };
            writer.table(log_ns, &entry)?;
        }
        if summary.rows.is_multiple_of(20_000) {
            progress(record.position().map_or(0, csv::Position::byte));
        }
    }
    summary.left_out_line = unfinished.map(|(line, _)| line);
    (summary.steady_mps2, summary.steady_radps) = (steady.mean(), hands.mean());
    summary.turns_astray = turning.is_astray();
    (summary.mean_mps2, summary.largest, summary.is_frozen) =
        (steady.mean_vector(), extremes.largest(), extremes.is_frozen());
    for (stream, what) in [(&accel, "acceleration"), (&gyro, "turn rate")] {
        if let Some(found) = stream.bursts.describe() {
            return Err(problem(table, format!("column `t_s`: the times of the {what} {found}")));
        }
    }
    let log_ns = (summary.seconds * 1e9) as u64;
    let mut rest = accel.finish();
    (summary.rate_hz, summary.longest_hole) =
        (accel.rate_hz(), accel.longest_hole_us.map(|(at, us)| (at * 1e-6, us * 1e-6)));
    summary.hiding_s = accel.hides_a_loss().then_some(accel.grain_us * 1e-6);
    summary.lost += rest.iter().map(|run| u64::from(run.lost_before)).sum::<u64>();
    store(&mut unusable, writer, log_ns, &mut rest, TableEntry::Accel)?;
    store(&mut unusable, writer, log_ns, &mut gyro.finish(), TableEntry::Gyro)?;
    if let Some(TableRun { first_us, spacing_us, .. }) = unusable {
        return Err(problem(
            table,
            format!(
                "column `t_s`: from {:.6} s after the first row on samples come {:.7} s apart; expected 0.000001 to 10 s. If the \
                 times are not in seconds, convert them",
                first_us * 1e-6,
                spacing_us * 1e-6,
            ),
        ));
    }
    if let (Some(late_s), 2..) = (marks.told_s.pop_front(), summary.rows) {
        return Err(problem(
            table,
            format!(
                "a section marked {late_s} s after the first row: the last row is {:.3} s after it. Such times count from the first \
                 row, whatever its own time is",
                summary.seconds
            ),
        ));
    }
    if summary.rows < 2 {
        let rows = if summary.rows == 0 { "no rows" } else { "only one row" };
        return Err(problem(table, format!("the table has a header but {rows}; there is nothing to import")));
    }
    Ok(summary)
}

/// When sections were marked, in order.
struct Marks {
    /// Told apart from the table and not reached yet, s after the first row.
    told_s: VecDeque<f64>,
    /// Whether the button was down in the row before.
    is_down: bool,
}

impl Marks {
    fn told(marks_s: &[f64]) -> Self {
        let mut told_s = marks_s.to_vec();
        told_s.sort_unstable_by(f64::total_cmp);
        Self { told_s: told_s.into(), is_down: false }
    }

    /// Those up to a row, its own last; what is marked twice at once counts once.
    fn until(&mut self, row_s: f64, is_down: bool) -> Vec<f64> {
        let mut due = Vec::new();
        while let Some(mark_s) = self.told_s.pop_front_if(|mark_s| *mark_s <= row_s) {
            due.push(mark_s);
        }
        let was_down = std::mem::replace(&mut self.is_down, is_down);
        if is_down && !was_down {
            due.push(row_s);
        }
        due.dedup();
        due
    }
}

/// Whether a row says that the button was pressed.
fn pressed(table: &Path, record: &csv::ByteRecord, at: Option<usize>, line: u64) -> Result<bool> {
    let Some(text) = at.and_then(|i| record.get(i)).map(<[u8]>::trim_ascii) else { return Ok(false) };
    let is = |words: &[&str]| words.iter().any(|word| text.eq_ignore_ascii_case(word.as_bytes()));
    if is(&["", "0", "0.0", "false"]) {
        Ok(false)
    } else if is(&["1", "1.0", "true", "x"]) {
        Ok(true)
    } else {
        Err(problem(
            table,
            format!(
                "line {line}, column `{MARK}`: `{}`; expected 1 in the row at which the button was pressed and 0 or an empty cell in \
                 all others. If the column holds something else, rename it",
                quoted(text)
            ),
        ))
    }
}

/// Nothing is written that a review could not use: a run that is of that kind goes to `unusable`.
fn store(
    unusable: &mut Option<TableRun>,
    writer: &mut RecordingWriter,
    log_ns: u64,
    runs: &mut Vec<TableRun>,
    entry: impl Fn(TableRun) -> TableEntry,
) -> Result<()> {
    runs.drain(..).try_for_each(|run| {
        let TableRun { first_us, spacing_us, lost_before, ref samples } = run;
        if !(Run { first_us, spacing_us, lost_before, clipped: 0, samples }).has_usable_times() {
            unusable.get_or_insert(run);
            return Ok(());
        }
        writer.table(log_ns, &entry(run))
    })
}

fn no_time(table: &Path, line: u64) -> Error {
    problem(table, format!("line {line}, column `t_s`: empty; every row needs its time"))
}

/// One cell: `None` when empty or when the column is missing.
fn number(
    table: &Path,
    record: &csv::ByteRecord,
    at: Option<usize>,
    line: u64,
    name: &str,
    range: &std::ops::RangeInclusive<f64>,
) -> Result<Option<f64>> {
    let Some(text) = at.and_then(|i| record.get(i)).map(<[u8]>::trim_ascii).filter(|t| !t.is_empty()) else {
        return Ok(None);
    };
    let value: Option<f64> = std::str::from_utf8(text).ok().and_then(|t| t.parse().ok());
    match value {
        Some(v) if range.contains(&v) => Ok(Some(v)),
        Some(v) if v.is_finite() => Err(problem(
            table,
            format!(
                "line {line}, column `{name}`: {v} is outside {} to {}; check the unit",
                range.start(),
                range.end()
            ),
        )),
        Some(_) => Err(problem(
            table,
            format!(
                "line {line}, column `{name}`: `{}` is not a finite number; leave the cell empty where there is no reading",
                quoted(text)
            ),
        )),
        None => Err(problem(
            table,
            format!(
                "line {line}, column `{name}`: `{}` is not a number (decimal point, no unit, no thousands mark)",
                quoted(text)
            ),
        )),
    }
}

/// So many digits after the point are no rounding any more.
const MOST_DIGITS: i32 = 9;

/// Digits of a time after the point, noughts at its end aside.
fn digits_of(cell: &[u8]) -> i32 {
    let text = cell.trim_ascii();
    if text.iter().any(|c| matches!(c, b'e' | b'E')) {
        return MOST_DIGITS;
    }
    let Some(point) = text.iter().position(|c| *c == b'.') else { return 0 };
    let part = &text[point + 1..];
    part.iter().rposition(|c| *c != b'0').map_or(0, |last| (last as i32 + 1).min(MOST_DIGITS))
}

/// Whether it is UTF-8 without control characters but tabs.
fn is_text(bytes: &[u8]) -> bool {
    std::str::from_utf8(bytes).is_ok_and(|text| text.chars().all(|c| c == '\t' || !c.is_control()))
}

/// A cell as it can be shown: not too long, and with nothing in it that a terminal would obey.
fn quoted(cell: &[u8]) -> String {
    let text = String::from_utf8_lossy(cell);
    let mut shown: String =
        text.chars().take(MOST_QUOTED).map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect();
    if text.chars().nth(MOST_QUOTED).is_some() {
        shown.push('…');
    }
    shown
}

/// Gathers samples of one stream into evenly spaced runs.
#[derive(Debug, Default)]
struct RunBuilder {
    times_us: Vec<f64>,
    samples: Vec<[f32; 3]>,
    bursts: Bursts,
    /// What the times are rounded to, as far as seen, µs.
    grain_us: f64,
    /// Usual time step, µs, once known.
    step_us: Option<f64>,
    lost_before: u32,
    /// Steps that are no holes, and the time that they take, µs.
    steps: u64,
    stepped_us: f64,
    /// The longest hole: where it begins and how long it is, µs.
    longest_hole_us: Option<(f64, f64)>,
}

impl RunBuilder {
    /// Adds a sample; runs that are complete with it go to `done`.
    ///
    /// * `t_us`, `grain_us`: its time, and what the table's times are rounded to.
    fn push(&mut self, (t_us, grain_us): (f64, f64), sample: [f32; 3], done: &mut Vec<TableRun>) {
        self.grain_us = grain_us;
        self.bursts.push(t_us);
        self.place(t_us, sample, done);
    }

    fn place(&mut self, t_us: f64, sample: [f32; 3], done: &mut Vec<TableRun>) {
        match (self.times_us.last(), self.step_us) {
            (Some(&last), Some(step)) if t_us - last > self.hole_from_us(step) => {
                done.extend(self.take());
                self.lost_before = (((t_us - last) / step).round() - 1.0).clamp(1.0, f64::from(u32::MAX)) as u32;
                if self.longest_hole_us.is_none_or(|(_, longest)| t_us - last > longest) {
                    self.longest_hole_us = Some((last, t_us - last));
                }
            }
            (_, Some(_)) if self.times_us.len() >= RUN_ROWS => done.extend(self.take()),
            (_, None) if self.times_us.len() >= RUN_ROWS => self.learn_step(done),
            _ => {}
        }
        self.times_us.push(t_us);
        self.samples.push(sample);
    }

    /// Longer steps than this are holes, µs.
    fn hole_from_us(&self, step_us: f64) -> f64 {
        (HOLE * step_us).max(step_us + ROUNDING * self.grain_us)
    }

    /// Whether one missing sample looks like none, for what the times are rounded to.
    fn hides_a_loss(&self) -> bool {
        self.step_us.is_some_and(|step| self.hole_from_us(step) > HOLE * step)
    }

    /// Samples a second, holes aside.
    fn rate_hz(&self) -> Option<f64> {
        (self.stepped_us > 0.0).then(|| self.steps as f64 / self.stepped_us * 1e6)
    }

    /// The rows so far tell the usual step; only with it do holes among them show, so they go through once more.
    fn learn_step(&mut self, done: &mut Vec<TableRun>) {
        self.step_us = usual_step(&self.times_us, self.grain_us);
        if self.step_us.is_some() {
            let (times, samples) = (std::mem::take(&mut self.times_us), std::mem::take(&mut self.samples));
            for (t_us, sample) in times.into_iter().zip(samples) {
                self.place(t_us, sample, done);
            }
        }
    }

    fn take(&mut self) -> Option<TableRun> {
        let (first_us, last_us) = (*self.times_us.first()?, *self.times_us.last()?);
        let steps = self.times_us.len() - 1;
        let spacing_us = if steps > 0 { (last_us - first_us) / steps as f64 } else { self.step_us? };
        if steps >= RUN_ROWS / 2 {
            self.step_us = Some(spacing_us);
        }
        self.steps += steps as u64;
        self.stepped_us += last_us - first_us;
        self.times_us.clear();
        let lost_before = std::mem::take(&mut self.lost_before);
        Some(TableRun { first_us, spacing_us, lost_before, samples: std::mem::take(&mut self.samples) })
    }

    fn finish(&mut self) -> Vec<TableRun> {
        let mut done = Vec::new();
        if self.step_us.is_none() {
            self.learn_step(&mut done);
        }
        done.extend(self.take());
        done
    }
}

/// The mean of those steps that are no holes, by the middle one: rounded times have steps of two lengths, neither of them the usual one.
fn usual_step(times: &[f64], grain_us: f64) -> Option<f64> {
    let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    let most = (HOLE * median).max(median + ROUNDING * grain_us);
    let (sum, count) =
        steps.iter().filter(|step| **step <= most).fold((0.0, 0.0), |(sum, n), step| (sum + step, n + 1.0));
    Some(sum / count)
}

fn problem(table: &Path, problem: String) -> Error {
    Error::Table { path: table.to_owned(), problem }
}

fn csv_error(table: &Path, error: &csv::Error) -> Error {
    match error.kind() {
        csv::ErrorKind::Io(e) => Error::io("read", table, std::io::Error::new(e.kind(), e.to_string())),
        _ => problem(table, error.to_string()),
    }
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
