//! The shop's tables as CSV: written by `export`, read by `import`, so that what was typed can be edited in a spreadsheet or
//! taken into another shop.
//!
//! Names stand where the store has row numbers; a session is told by its recording's fingerprint. Sections and passes are
//! written for other programs only: they are computed from recordings, and `shop rebuild` computes them again.
//!
//! RFC 4180, UTF-8, header required, `.` decimal, empty cell = not told. A text that a spreadsheet would take for a formula has
//! an apostrophe in front, which is taken away again on the way in.

mod row;

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension as _, params, types::Value};

use row::Row;

use super::checked::checked_day;
use super::{
    FilmReading, Id, MachineEntry, Note, Phase, Place, Product, ProductKind, Result, Setting, Shop, ShopError,
    Technician, Trial, Vehicle,
};
use crate::csv_lines::CsvLines;
use crate::tables::{guarded, unguarded};

/// What a table is called, and how its rows are read from the store. Each refers only to those before it.
const TABLES: [(&str, &str); 11] = [
    ("settings", "SELECT key, value FROM settings ORDER BY key"),
    ("technicians", "SELECT name, note FROM technicians ORDER BY id"),
    (
        "machines",
        "SELECT name, kind, throw_mm, (SELECT group_concat(pad_diameter_mm, ';' ORDER BY pad_diameter_mm) FROM machine_pads
         WHERE machine_id = machines.id) AS pad_diameters_mm, note FROM machines ORDER BY id",
    ),
    ("products", "SELECT kind, name, aggressiveness, note FROM products ORDER BY id"),
    ("vehicles", "SELECT label, paint, paint_year, colour, hardness, note FROM vehicles ORDER BY id"),
    (
        "sessions",
        "SELECT s.fingerprint AS session, s.recording, s.started, s.day, t.name AS technician, m.name AS machine,
         v.label AS vehicle, p.name AS pad, l.name AS liquid, s.panel, iif(s.trainer, 'yes', 'no') AS trainer, s.source,
         s.sensor, s.program, s.part, s.seconds, s.running_s, s.lost, s.pace_lo_mps, s.pace_hi_mps, s.heat_limit_k, s.plan
         FROM sessions s JOIN technicians t ON t.id = s.technician_id LEFT JOIN machines m ON m.id = s.machine_id
         LEFT JOIN vehicles v ON v.id = s.vehicle_id LEFT JOIN products p ON p.id = s.pad_id
         LEFT JOIN products l ON l.id = s.liquid_id ORDER BY s.id",
    ),
    (
        "sections",
        "SELECT e.fingerprint AS session, s.number AS section, s.passes, s.rubbing_mean_m, s.rubbing_cv
         FROM sections s JOIN sessions e ON e.id = s.session_id ORDER BY e.id, s.number",
    ),
    (
        "passes",
        "SELECT e.fingerprint AS session, s.number AS section, p.number AS pass, p.start_s, p.end_s, p.strokes,
         p.arm_speed_mps, p.arm_speed_lo_mps, p.arm_speed_hi_mps, p.arm_speed_cv, p.in_band_share, p.orbit_median_opm,
         p.orbit_free_opm, p.pad_speed_mps, p.surface_start_c, p.surface_peak_c, p.surface_rise_k, p.seconds_over_limit,
         p.rubbing_mean_m, p.rubbing_cv, p.pause_s, p.vibration_mps2, p.warnings
         FROM passes p JOIN sections s ON s.id = p.section_id JOIN sessions e ON e.id = s.session_id
         ORDER BY e.id, s.number, p.number",
    ),
    (
        "trials",
        "SELECT v.label AS vehicle, r.panel, r.day, t.name AS technician, m.name AS machine, p.name AS pad, l.name AS liquid,
         e.fingerprint AS session, r.passes, iif(r.finish_reached, 'yes', 'no') AS finish_reached, r.haze, r.holograms,
         r.film_taken_um, r.note
         FROM trials r JOIN vehicles v ON v.id = r.vehicle_id JOIN technicians t ON t.id = r.technician_id
         LEFT JOIN machines m ON m.id = r.machine_id JOIN products p ON p.id = r.pad_id JOIN products l ON l.id = r.liquid_id
         LEFT JOIN sessions e ON e.id = r.session_id ORDER BY r.id",
    ),
    (
        "film_readings",
        "SELECT v.label AS vehicle, r.panel, r.point, r.phase, r.day, r.film_um, r.section, r.along_m, r.across_m, r.note
         FROM film_readings r JOIN vehicles v ON v.id = r.vehicle_id ORDER BY r.id",
    ),
    (
        "notes",
        "SELECT n.day, e.fingerprint AS session, n.section, v.label AS vehicle, n.panel, n.text,
         iif(n.recorded, 'yes', 'no') AS recorded, n.t_s
         FROM notes n LEFT JOIN sessions e ON e.id = n.session_id LEFT JOIN vehicles v ON v.id = n.vehicle_id ORDER BY n.id",
    ),
];
/// Computed from recordings.
const DERIVED: [&str; 2] = ["sections", "passes"];
/// Taken in, never written out: whose a vehicle is; and one pad size under the name of several.
const TAKEN: [(&str, &str); 2] = [("vehicles", "owner"), ("machines", "pad_diameter_mm")];

/// What came in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Rows added.
    pub rows: usize,
    /// Files left out because their figures are computed from recordings.
    pub derived: Vec<PathBuf>,
}

impl Shop {
    /// Every table, by name.
    pub(super) fn tables(&self) -> Result<Vec<(&'static str, Vec<u8>)>> {
        let broken = |e: csv::Error| ShopError::Value(e.to_string());
        let mut tables = Vec::new();
        for (name, sql) in TABLES {
            let mut query = self.db.prepare(sql)?;
            let columns: Vec<String> = query.column_names().map(str::to_owned).collect();
            let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
            table.write_record(&columns).map_err(broken)?;
            let mut rows = query.query([])?;
            while let Some(row) = rows.next()? {
                let cells = (0..columns.len()).map(|i| Ok(text(&row.get::<_, Value>(i)?)));
                table.write_record(cells.collect::<rusqlite::Result<Vec<String>>>()?).map_err(broken)?;
            }
            tables.push((name, table.into_inner().map_err(|e| ShopError::Value(e.to_string()))?));
        }
        Ok(tables)
    }

    /// Adds the rows of CSV tables, in an order in which each finds the names it needs; a file's name says which table it is.
    /// All rows of all files, or none.
    ///
    /// # Errors
    /// Names file, line and value of the first row that does not fit.
    pub fn import_tables(&self, files: &[PathBuf]) -> Result<Imported> {
        let mut imported = Imported::default();
        let mut found: Vec<(usize, &PathBuf)> = Vec::new();
        for file in files {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy().to_lowercase();
            let Some(place) = TABLES.iter().position(|(name, _)| *name == stem) else {
                let names: Vec<String> = TABLES
                    .iter()
                    .filter(|(name, _)| !DERIVED.contains(name))
                    .map(|(name, _)| format!("{name}.csv"))
                    .collect();
                return Err(ShopError::Value(format!(
                    "{}: the file's name says what it holds, one of {}",
                    file.display(),
                    names.join(", ")
                )));
            };
            if DERIVED.contains(&TABLES[place].0) {
                imported.derived.push(file.clone());
            } else {
                found.push((place, file));
            }
        }
        found.sort_by_key(|(place, _)| *place);
        self.whole(|| {
            for (place, file) in &found {
                imported.rows += self.import_table_file(TABLES[*place].0, TABLES[*place].1, file)?;
            }
            Ok(imported)
        })
    }

    fn import_table_file(&self, table: &str, sql: &str, file: &Path) -> Result<usize> {
        let bad = |why: String| ShopError::Value(format!("{}: {why}", file.display()));
        let bytes = fs::read(file).map_err(|e| ShopError::io("read", file, e))?;
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::Headers).from_reader(CsvLines::new(bytes));
        let headers = reader.headers().map_err(|e| bad(readable(&e, 1)))?.clone();
        let known: Vec<String> = self.db.prepare(sql)?.column_names().map(str::to_owned).collect();
        let taken = |column: &str| known.iter().any(|k| k == column) || TAKEN.contains(&(table, column));
        // A misspelt column would otherwise be lost without a word.
        if let Some(strange) = headers.iter().find(|column| !taken(column)) {
            return Err(bad(format!(
                "there is no column {strange:?}; expected {}, separated by commas",
                known.join(",")
            )));
        }
        let (mut count, mut record) = (0, csv::StringRecord::new());
        loop {
            let more = reader.read_record(&mut record);
            let line = reader.get_mut().line_at(more.as_ref().map_or_else(csv::Error::position, |_| record.position()));
            if !more.map_err(|e| bad(readable(&e, line)))? {
                break;
            }
            let row = Row(headers.iter().zip(record.iter()).map(|(h, v)| (h, unguarded(v))).collect());
            self.import_row(table, &row).map_err(|e| bad(format!("line {line}: {e}")))?;
            count += 1;
        }
        Ok(count)
    }

    fn import_row(&self, table: &str, row: &Row<'_>) -> Result<()> {
        match table {
            "settings" => {
                let key = row.needed("key")?;
                let setting =
                    Setting::of(key).ok_or_else(|| ShopError::Value(format!("there is no setting {key:?}")))?;
                self.set(setting, row.text("value"))
            }
            "technicians" => {
                let (name, note) = (row.needed("name")?.to_owned(), row.text("note").to_owned());
                self.add_technician(&Technician { name, note }).map(drop)
            }
            "machines" => self.add_machine(&machine(row)?).map(drop),
            "products" => {
                let product = Product {
                    kind: ProductKind::of(row.needed("kind")?)?,
                    name: row.needed("name")?.to_owned(),
                    aggressiveness: row
                        .number("aggressiveness")?
                        .ok_or_else(|| ShopError::Value("column aggressiveness is empty or missing".into()))?,
                    note: row.text("note").to_owned(),
                };
                self.add_product(&product).map(drop)
            }
            "vehicles" => {
                let or_unknown = |key| if row.word(key).is_empty() { "unknown" } else { row.word(key) }.to_owned();
                let vehicle = Vehicle {
                    label: row.needed("label")?.to_owned(),
                    paint: or_unknown("paint"),
                    paint_year: row.number("paint_year")?,
                    colour: or_unknown("colour"),
                    hardness: or_unknown("hardness"),
                    owner: Some(row.text("owner").to_owned()).filter(|o| !o.is_empty()),
                    note: row.text("note").to_owned(),
                };
                self.add_vehicle(&vehicle).map(drop)
            }
            "sessions" => self.import_session(row),
            "trials" => self.keep_trial(&self.trial(row)?).map(drop),
            "film_readings" => self.add_film_reading(&self.film_reading(row)?).map(drop),
            _ => self.import_note(row),
        }
    }

    fn trial(&self, row: &Row<'_>) -> Result<Trial> {
        Ok(Trial {
            vehicle: self.vehicle(row.needed("vehicle")?)?,
            panel: row.word("panel").to_owned(),
            day: row.needed("day")?.to_owned(),
            technician: self.technician(row.needed("technician")?)?,
            machine: row.maybe("machine").map(|m| self.machine(m)).transpose()?,
            pad: self.product(ProductKind::Pad, row.needed("pad")?)?,
            liquid: self.product(ProductKind::Liquid, row.needed("liquid")?)?,
            session: self.session_told(row)?,
            passes: row.number("passes")?.unwrap_or(1),
            finish_reached: row.yes("finish_reached")?.ok_or_else(|| row.missing("finish_reached"))?,
            haze: row.number("haze")?.unwrap_or(0),
            holograms: row.number("holograms")?.unwrap_or(0),
            film_taken_um: row.real("film_taken_um")?,
            note: row.text("note").to_owned(),
        })
    }

    fn film_reading(&self, row: &Row<'_>) -> Result<FilmReading> {
        let phase = row.needed("phase")?;
        let place = match (row.number::<u32>("section")?, row.real("along_m")?, row.real("across_m")?) {
            (None, None, None) => None,
            (Some(section), Some(along_m), Some(across_m)) => Some(Place { section, along_m, across_m }),
            _ => {
                return Err(ShopError::Value(
                    "a place needs all of section, along_m and across_m; leave all three empty where it was not told"
                        .into(),
                ));
            }
        };
        Ok(FilmReading {
            vehicle: self.vehicle(row.needed("vehicle")?)?,
            panel: row.needed("panel")?.to_owned(),
            point: row.needed("point")?.to_owned(),
            phase: Phase::of(phase)
                .ok_or_else(|| ShopError::Value(format!("phase {phase:?}: choose before or after")))?,
            day: row.needed("day")?.to_owned(),
            film_um: row.real("film_um")?.ok_or_else(|| row.missing("film_um"))?,
            place,
            note: row.text("note").to_owned(),
        })
    }

    fn import_note(&self, row: &Row<'_>) -> Result<()> {
        let id = self.add_note(&Note {
            day: row.needed("day")?.to_owned(),
            session: self.session_told(row)?,
            // Its sections come back with the recording.
            section: None,
            vehicle: row.maybe("vehicle").map(|v| self.vehicle(v)).transpose()?,
            panel: row.word("panel").to_owned(),
            text: row.needed_text("text")?.to_owned(),
            recorded_s: None,
        })?;
        self.db.execute(
            "UPDATE notes SET section = ?2, recorded = ?3, t_s = ?4 WHERE id = ?1",
            params![id, row.number::<u32>("section")?, row.yes("recorded")?.unwrap_or(false), row.real("t_s")?],
        )?;
        Ok(())
    }

    /// Who, what with and on what a session was; its figures come with `shop rebuild` from the recording.
    fn import_session(&self, row: &Row<'_>) -> Result<()> {
        let real = |key: &str| row.real(key)?.ok_or_else(|| row.missing(key));
        let fingerprint = row.needed("session")?;
        if self.session_by_fingerprint(fingerprint)?.is_some() {
            return Err(ShopError::Value(format!("session {fingerprint} is filed already")));
        }
        let source = row.needed("source")?;
        if !["sensor", "table", "simulation", "generated"].contains(&source) {
            return Err(ShopError::Value(format!("source {source:?}: choose sensor, table, simulation or generated")));
        }
        let seconds = (real("seconds")?, real("running_s")?);
        if seconds.0 < 0.0 || seconds.1 < 0.0 {
            return Err(ShopError::Value(format!(
                "seconds {} and running_s {}: expected 0 or more",
                seconds.0, seconds.1
            )));
        }
        let product = |kind: ProductKind| row.maybe(kind.as_str()).map(|name| self.product(kind, name)).transpose();
        self.db.execute(
            "INSERT INTO sessions (fingerprint, recording, started, day, technician_id, machine_id, vehicle_id, pad_id,
             liquid_id, panel, trainer, source, sensor, program, part, seconds, running_s, lost, pace_lo_mps, pace_hi_mps,
             heat_limit_k, plan)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22)",
            params![
                fingerprint,
                Some(row.text("recording")).filter(|path| !path.is_empty()),
                row.needed("started")?,
                checked_day(row.needed("day")?)?,
                self.technician(row.needed("technician")?)?,
                row.maybe("machine").map(|m| self.machine(m)).transpose()?,
                row.maybe("vehicle").map(|v| self.vehicle(v)).transpose()?,
                product(ProductKind::Pad)?,
                product(ProductKind::Liquid)?,
                row.text("panel"),
                row.yes("trainer")?.unwrap_or(false),
                source,
                row.word("sensor"),
                row.word("program"),
                row.number::<u32>("part")?.unwrap_or(1),
                seconds.0,
                seconds.1,
                row.text("lost"),
                real("pace_lo_mps")?,
                real("pace_hi_mps")?,
                real("heat_limit_k")?,
                row.text("plan"),
            ],
        )?;
        Ok(())
    }

    fn session_told(&self, row: &Row<'_>) -> Result<Option<Id>> {
        let Some(fingerprint) = row.maybe("session") else { return Ok(None) };
        self.session_by_fingerprint(fingerprint)?.map(Some).ok_or_else(|| {
            ShopError::Value(format!(
                "session {fingerprint} is not filed in this shop; import sessions.csv too, or leave the cell empty"
            ))
        })
    }

    fn session_by_fingerprint(&self, fingerprint: &str) -> Result<Option<Id>> {
        let mut query = self.db.prepare_cached("SELECT id FROM sessions WHERE fingerprint = ?1")?;
        Ok(query.query_row([fingerprint], |row| row.get(0)).optional()?)
    }
}

fn machine(row: &Row<'_>) -> Result<MachineEntry> {
    let mut pads: Vec<f64> = row.real("pad_diameter_mm")?.into_iter().collect();
    for part in row.word("pad_diameters_mm").split(';').map(str::trim).filter(|p| !p.is_empty()) {
        pads.push(part.parse().map_err(|_| {
            ShopError::Value(format!("column pad_diameters_mm: expected numbers with ; between, found {part:?}"))
        })?);
    }
    Ok(MachineEntry {
        name: row.needed("name")?.to_owned(),
        kind: row.needed("kind")?.to_owned(),
        throw_mm: row.real("throw_mm")?,
        pad_diameters_mm: pads,
        note: row.text("note").to_owned(),
    })
}

/// What the CSV reader says, without its own words for records and bytes.
fn readable(error: &csv::Error, line: u64) -> String {
    match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("line {line}: {len} cells where the header has {expected_len}")
        }
        csv::ErrorKind::Utf8 { .. } => format!("line {line}: not UTF-8 text; save the table as CSV in UTF-8"),
        _ => error.to_string(),
    }
}

fn text(value: &Value) -> String {
    match value {
        Value::Integer(i) => i.to_string(),
        Value::Real(r) => r.to_string(),
        Value::Text(t) => guarded(t),
        // No table has bytes.
        Value::Null | Value::Blob(_) => String::new(),
    }
}
