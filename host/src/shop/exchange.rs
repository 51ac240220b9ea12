//! Out of the store and into one: CSV tables and one JSON file. Owners' names stay in the store.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::types::Value;
use serde_json::{Map, Value as Json};

use super::{MachineEntry, Product, Result, Shop, ShopError, Technician, Vehicle};
use crate::compare::tables::guarded;

/// Tables in an order in which each refers only to those before it. Columns are all but these.
const TABLES: [&str; 12] = [
    "settings",
    "technicians",
    "machines",
    "machine_pads",
    "products",
    "vehicles",
    "sessions",
    "sections",
    "passes",
    "trials",
    "film_readings",
    "notes",
];
/// Never exported.
const PRIVATE: [(&str, &str); 1] = [("vehicles", "owner")];
/// What an export says it is.
const FORMAT: &str = "steadypass-shop-1";

impl Shop {
    /// Writes `TABLE.csv` for every table, with names where the store has row numbers, and `shop.json` with everything needed
    /// to make the shop again. Returns the files.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn export(&self, folder: &Path) -> Result<Vec<PathBuf>> {
        fs::create_dir_all(folder).map_err(|e| ShopError::io("make", folder, e))?;
        let mut files = Vec::new();
        let mut whole = Map::new();
        whole.insert("format".into(), FORMAT.into());
        for table in TABLES.into_iter().chain(["prints"]) {
            let (columns, rows) = self.dump(table)?;
            if table != "prints" {
                let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
                let broken = |e: csv::Error| ShopError::Value(e.to_string());
                csv.write_record(&columns).map_err(broken)?;
                for row in &rows {
                    csv.write_record(row.iter().map(text)).map_err(broken)?;
                }
                let bytes = csv.into_inner().map_err(|e| ShopError::Value(e.to_string()))?;
                files.push(write(folder, &format!("{table}.csv"), &bytes)?);
            }
            let rows: Vec<Json> = rows.into_iter().map(|row| row.into_iter().map(json).collect()).collect();
            whole.insert(table.into(), serde_json::json!({ "columns": columns, "rows": rows }));
        }
        let bytes = serde_json::to_vec(&whole).map_err(|e| ShopError::Value(e.to_string()))?;
        files.push(write(folder, "shop.json", &bytes)?);
        Ok(files)
    }

    fn dump(&self, table: &str) -> Result<(Vec<String>, Vec<Vec<Value>>)> {
        let mut query = self.db.prepare(&format!("SELECT * FROM {table} ORDER BY 1"))?;
        let names: Vec<String> = query.column_names().map(str::to_owned).collect();
        let kept: Vec<usize> = (0..names.len()).filter(|&i| !PRIVATE.contains(&(table, names[i].as_str()))).collect();
        let mut rows = Vec::new();
        let mut cursor = query.query([])?;
        while let Some(row) = cursor.next()? {
            let value = |&i: &usize| row.get::<_, Value>(i);
            rows.push(kept.iter().map(value).collect::<rusqlite::Result<Vec<_>>>()?);
        }
        Ok((kept.iter().map(|&i| names[i].clone()).collect(), rows))
    }

    /// Makes an exported shop again; this one must be empty. All of it, or nothing.
    ///
    /// # Errors
    /// When the file is not such an export, or this shop knows anything already.
    pub fn import_json(&self, file: &Path) -> Result<usize> {
        let bytes = fs::read(file).map_err(|e| ShopError::io("read", file, e))?;
        let bad = |why: String| ShopError::Value(format!("{}: {why}", file.display()));
        let whole: Map<String, Json> =
            serde_json::from_slice(&bytes).map_err(|e| bad(format!("expected an exported shop (JSON): {e}")))?;
        if whole.get("format").and_then(Json::as_str) != Some(FORMAT) {
            return Err(bad(format!("expected an exported shop of format {FORMAT}")));
        }
        let known: i64 = self.db.query_row(
            "SELECT (SELECT count(*) FROM technicians) + (SELECT count(*) FROM sessions) + (SELECT count(*) FROM vehicles)",
            [],
            |row| row.get(0),
        )?;
        if known > 0 {
            return Err(bad("a whole shop goes into an empty one only; make one with `steadypass shop init`".into()));
        }
        self.whole(|| {
            let mut count = 0;
            for table in TABLES.into_iter().chain(["prints"]) {
                let Some(part) = whole.get(table) else { continue };
                count += self.import_table(table, part).map_err(|e| bad(format!("table {table}: {e}")))?;
            }
            Ok(count)
        })
    }

    fn import_table(&self, table: &str, part: &Json) -> Result<usize> {
        let shape = || ShopError::Value("expected columns and rows".to_owned());
        let columns: Vec<&str> =
            part["columns"].as_array().ok_or_else(shape)?.iter().filter_map(Json::as_str).collect();
        // Column names go into the statement: only those the store has.
        let (known, _) = self.dump(table)?;
        if let Some(strange) = columns.iter().find(|c| !known.iter().any(|k| k == *c)) {
            return Err(ShopError::Value(format!("there is no column {strange:?}")));
        }
        let marks = vec!["?"; columns.len()].join(", ");
        let verb = if table == "settings" { "INSERT OR REPLACE" } else { "INSERT" };
        let mut insert = self.db.prepare(&format!("{verb} INTO {table} ({}) VALUES ({marks})", columns.join(", ")))?;
        let rows = part["rows"].as_array().ok_or_else(shape)?;
        for row in rows {
            let row = row.as_array().filter(|r| r.len() == columns.len()).ok_or_else(shape)?;
            insert.execute(rusqlite::params_from_iter(row.iter().map(sql)))?;
        }
        Ok(rows.len())
    }

    /// Adds the rows of a CSV table; its file name says which: technicians, machines, products, vehicles. All rows, or none.
    ///
    /// # Errors
    /// Names line and value of the first row that does not fit.
    pub fn import_csv(&self, file: &Path) -> Result<usize> {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let bad = |why: String| ShopError::Value(format!("{}: {why}", file.display()));
        if !matches!(stem.as_str(), "technicians" | "machines" | "products" | "vehicles" | "trials" | "film_readings") {
            return Err(bad(
                "the file's name says what it holds: technicians.csv, machines.csv, products.csv, vehicles.csv, trials.csv or \
                 film_readings.csv"
                    .into(),
            ));
        }
        let bytes = fs::read(file).map_err(|e| ShopError::io("read", file, e))?;
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
        let mut table = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes);
        let headers = table.headers().map_err(|e| bad(e.to_string()))?.clone();
        self.whole(|| {
            let mut count = 0;
            for record in table.records() {
                let record = record.map_err(|e| bad(e.to_string()))?;
                let line = record.position().map_or(0, csv::Position::line);
                let row: BTreeMap<&str, &str> =
                    headers.iter().zip(record.iter()).map(|(h, v)| (h, v.strip_prefix('\'').unwrap_or(v))).collect();
                self.import_row(&stem, &row).map_err(|e| bad(format!("line {line}: {e}")))?;
                count += 1;
            }
            Ok(count)
        })
    }

    fn import_row(&self, table: &str, row: &BTreeMap<&str, &str>) -> Result<()> {
        let word = |key: &str| row.get(key).copied().unwrap_or_default().to_owned();
        let needed = |key: &str| match word(key) {
            empty if empty.is_empty() => Err(ShopError::Value(format!("column {key} is empty or missing"))),
            value => Ok(value),
        };
        let or = |key: &str, other: &str| if word(key).is_empty() { other.to_owned() } else { word(key) };
        let number = |key: &str| -> Result<Option<f64>> {
            let text = word(key);
            let parsed = text.parse::<f64>().ok().filter(|v| v.is_finite());
            match (text.is_empty(), parsed) {
                (true, _) => Ok(None),
                (false, Some(value)) => Ok(Some(value)),
                (false, None) => Err(ShopError::Value(format!("column {key}: expected a number, found {text:?}"))),
            }
        };
        match table {
            "technicians" => self.add_technician(&Technician { name: needed("name")?, note: word("note") }).map(drop),
            "machines" => self
                .add_machine(&MachineEntry {
                    name: needed("name")?,
                    kind: needed("kind")?,
                    throw_mm: number("throw_mm")?,
                    pad_diameters_mm: number("pad_diameter_mm")?.into_iter().collect(),
                    note: word("note"),
                })
                .map(drop),
            "products" => {
                let kind = match needed("kind")?.as_str() {
                    "pad" => super::ProductKind::Pad,
                    "liquid" => super::ProductKind::Liquid,
                    other => return Err(ShopError::Value(format!("kind {other:?}: choose pad or liquid"))),
                };
                let place = number("aggressiveness")?
                    .ok_or_else(|| ShopError::Value("column aggressiveness is empty or missing".into()))?;
                let product = Product { kind, name: needed("name")?, aggressiveness: place as i64, note: word("note") };
                self.add_product(&product).map(drop)
            }
            "vehicles" => self
                .add_vehicle(&Vehicle {
                    label: needed("label")?,
                    paint: or("paint", "unknown"),
                    paint_year: number("paint_year")?.map(|y| y as i64),
                    colour: or("colour", "unknown"),
                    hardness: or("hardness", "unknown"),
                    owner: None,
                    note: word("note"),
                })
                .map(drop),
            other => self.import_work(other, &needed, &number, &word),
        }
    }
}

fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf> {
    let path = folder.join(name);
    let failed = |e| ShopError::io("write", &path, e);
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
    std::io::Write::write_all(&mut file, bytes).map_err(failed)?;
    file.persist(&path).map_err(|e| failed(e.error))?;
    Ok(path)
}

fn text(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::Integer(i) => i.to_string(),
        Value::Real(r) => r.to_string(),
        Value::Text(t) => guarded(t),
        Value::Blob(b) => hex(b),
    }
}

fn json(value: Value) -> Json {
    match value {
        Value::Null => Json::Null,
        Value::Integer(i) => i.into(),
        Value::Real(r) => r.into(),
        Value::Text(t) => t.into(),
        Value::Blob(b) => serde_json::json!({ "hex": hex(&b) }),
    }
}

fn sql(value: &Json) -> Value {
    match value {
        Json::Null => Value::Null,
        Json::Bool(b) => Value::Integer(i64::from(*b)),
        Json::Number(n) => n.as_i64().map_or_else(|| Value::Real(n.as_f64().unwrap_or(f64::NAN)), Value::Integer),
        Json::String(s) => Value::Text(s.clone()),
        other => unhex(other["hex"].as_str().unwrap_or_default()).map_or(Value::Null, Value::Blob),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits = text.as_bytes();
    digits.len().is_multiple_of(2).then_some(())?;
    digits.chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()).collect()
}
