//! Out of the store and into one: the whole shop as one JSON file, beside the CSV tables. Owners' names stay in the store.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::types::Value;
use serde_json::{Map, Value as Json};

use super::{Result, Shop, ShopError};
use crate::results::write_whole;

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
    /// Writes `TABLE.csv` for every table, names standing where the store has row numbers, and `shop.json` with everything needed to make the shop again.
    /// Returns the files.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn export(&self, folder: &Path) -> Result<Vec<PathBuf>> {
        fs::create_dir_all(folder).map_err(|e| ShopError::io("make", folder, e))?;
        let mut files = Vec::new();
        for (name, bytes) in self.tables()? {
            files.push(write(folder, &format!("{name}.csv"), &bytes)?);
        }
        let mut whole = Map::new();
        whole.insert("format".into(), FORMAT.into());
        for table in TABLES.into_iter().chain(["prints"]) {
            let (columns, rows) = self.dump(table)?;
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
            "SELECT (SELECT count(*) FROM technicians) + (SELECT count(*) FROM machines) + (SELECT count(*) FROM products)
             + (SELECT count(*) FROM vehicles) + (SELECT count(*) FROM sessions) + (SELECT count(*) FROM notes)",
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
}

fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf> {
    let path = folder.join(name);
    write_whole(&path, bytes)?;
    Ok(path)
}

fn json(value: Value) -> Json {
    match value {
        Value::Null => Json::Null,
        Value::Integer(i) => i.into(),
        Value::Real(r) => r.into(),
        Value::Text(t) => t.into(),
        Value::Blob(b) => serde_json::json!({ "hex": hex::encode(&b) }),
    }
}

fn sql(value: &Json) -> Value {
    match value {
        Json::Null => Value::Null,
        Json::Bool(b) => Value::Integer(i64::from(*b)),
        Json::Number(n) => n.as_i64().map_or_else(|| Value::Real(n.as_f64().unwrap_or(f64::NAN)), Value::Integer),
        Json::String(s) => Value::Text(s.clone()),
        other => hex::decode(other["hex"].as_str().unwrap_or_default()).map_or(Value::Null, Value::Blob),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;
    use crate::shop::{
        FilmReading, Id, MachineEntry, NewNote, Note, Phase, Place, Product, ProductKind, Setting, Technician, Trial,
        Vehicle, demo,
    };

    /// A shop in which everything that can be typed is typed once, with `odd` wherever free text goes.
    fn typed(odd: &str, film_um: f64) -> Shop {
        let shop = Shop::in_memory();
        let note = odd.to_owned();
        let cast = demo::generate(&shop, &demo::STYLES[..2], demo::Extent { days: 1, sections: 2 }, 7).expect("made");
        shop.set(Setting::Care, odd).expect("set");
        shop.add_technician(&Technician { name: "=Robin, \"R\"".into(), note: note.clone() }).expect("added");
        let machine = |name: &str, kind: &str, throw_mm, pads: &[f64]| MachineEntry {
            name: name.into(),
            kind: kind.into(),
            throw_mm,
            pad_diameters_mm: pads.to_vec(),
            note: note.clone(),
        };
        let orbital = shop.add_machine(&machine("'21 mm", "orbital", Some(21.1), &[150.0, 75.5])).expect("added");
        shop.add_machine(&machine("rotary", "rotary", None, &[])).expect("added");
        for kind in [ProductKind::Pad, ProductKind::Liquid] {
            let name = "-odd; name".into();
            shop.add_product(&Product { kind, name, aggressiveness: 9, note: note.clone() }).expect("added");
        }
        let vehicle = shop
            .add_vehicle(&Vehicle {
                label: "@caf\u{e9} racer".into(),
                paint: "single-stage".into(),
                paint_year: None,
                colour: "light".into(),
                hardness: "hard".into(),
                owner: Some("Somebody Private".into()),
                note: note.clone(),
            })
            .expect("added");
        let sessions = shop.sessions().expect("read");
        let trial = |session: Option<Id>, machine| Trial {
            vehicle,
            panel: "bonnet, left".into(),
            day: "2026-03-02".into(),
            technician: cast.technicians[0],
            machine,
            pad: cast.pads[0],
            liquid: cast.liquids[2],
            session,
            passes: 3,
            finish_reached: session.is_some(),
            haze: 1,
            holograms: 2,
            film_taken_um: session.map(|_| 0.1 - film_um / 70.0),
            note: note.clone(),
        };
        shop.add_trial(&trial(Some(sessions[0].id), Some(orbital))).expect("added");
        shop.add_trial(&trial(None, None)).expect("added");
        for place in [None, Some(Place { section: 2, along_m: 0.1 + 0.2, across_m: 0.05 })] {
            let reading = FilmReading {
                vehicle,
                panel: "bonnet".into(),
                point: "1".into(),
                phase: Phase::After,
                day: "2026-03-02".into(),
                film_um,
                place,
                note: note.clone(),
            };
            shop.add_film_reading(&reading).expect("added");
        }
        let on = |session, section, vehicle| Note {
            day: "2026-03-03".into(),
            session,
            section,
            vehicle,
            panel: "roof".into(),
            text: format!("{odd}."),
            recorded_s: None,
        };
        shop.add_note(&on(Some(sessions[0].id), Some(2), None)).expect("added");
        shop.add_note(&on(None, None, Some(vehicle))).expect("added");
        let mut recorded = demo::one_session(&cast, 0, &demo::STYLES[0], 3);
        recorded.notes = vec![NewNote { t_s: 12.25, section: Some(1), text: format!("{odd}, live") }];
        recorded.plan = "pace_mm_s = [18.5, 19]\n[machine]\nname = \"m\"\n".into();
        shop.file(&recorded).expect("filed");
        shop
    }

    fn exported(shop: &Shop) -> (tempfile::TempDir, BTreeMap<String, String>) {
        let folder = tempfile::tempdir().expect("a folder");
        let files = shop.export(folder.path()).expect("exported");
        let name = |path: &PathBuf| path.file_name().expect("a name").to_string_lossy().into_owned();
        let texts = files.iter().map(|path| (name(path), fs::read_to_string(path).expect("text"))).collect();
        (folder, texts)
    }

    fn goes_round(shop: &Shop) {
        let (folder, first) = exported(shop);
        assert!(first.values().all(|text| !text.contains("Somebody")), "an owner's name left the store");

        let again = Shop::in_memory();
        again.import_json(&folder.path().join("shop.json")).expect("imported");
        assert_eq!(exported(&again).1, first, "the whole shop as JSON");

        let again = Shop::in_memory();
        let tables: Vec<PathBuf> =
            first.keys().filter(|name| name.ends_with(".csv")).map(|name| folder.path().join(name)).collect();
        let imported = again.import_tables(&tables).expect("imported");
        assert_eq!(imported.derived.len(), 2, "sections and passes are computed");
        let second = exported(&again).1;
        for (name, text) in first.iter().filter(|(name, _)| name.ends_with(".csv")) {
            if !["sections.csv", "passes.csv"].contains(&name.as_str()) {
                assert_eq!(&second[name], text, "{name}");
            }
        }
    }

    #[test]
    fn everything_typed_goes_out_and_comes_back_the_same() {
        goes_round(&typed("plain", 121.5));
        goes_round(&typed("=1+1\nsecond, \"line\"; 'quoted'\r\nthird\t", 0.1 + 0.2));
        goes_round(&typed("'tis an apostrophe", 4_999.999_999_999));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn any_text_and_reading_goes_out_and_comes_back_the_same(odd in "[^\\p{C}]{1,40}|[-+=@' \t\n\r,;\"x]{1,12}", film_um in 20.0..5000.0f64) {
            goes_round(&typed(&odd, film_um));
        }
    }
}
