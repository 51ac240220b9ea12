//! Who and what the shop knows by name: technicians, machines, pads and liquids, vehicles.

use rusqlite::{Row, params};
use serde::{Deserialize, Serialize};

use super::checked::checked_name;
use super::{Listed, Result, Shop, ShopError};
use crate::analysis::MachineKind;
use crate::guidance::Plan;

/// A row's number in its table.
pub type Id = i64;

/// A machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MachineEntry {
    /// What the shop calls it.
    pub name: String,
    /// `orbital` or `rotary`.
    pub kind: String,
    /// Diameter of the orbit, mm.
    pub throw_mm: Option<f64>,
    /// Sizes of pads it is used with, mm.
    #[serde(default)]
    pub pad_diameters_mm: Vec<f64>,
    /// Anything else.
    #[serde(default)]
    pub note: String,
}

impl MachineEntry {
    /// Goes into a plan that tells no machine; one that tells it only takes over the name, where it has none. Gives, in words,
    /// what is assumed all the same (what the shop does not know, and which of several pads it was) and what of the plan does not
    /// fit it.
    pub fn complete(&self, plan: &mut Plan) -> Vec<String> {
        let machine = &mut plan.machine;
        if plan.machine_told {
            machine.name.get_or_insert_with(|| self.name.clone());
            return Vec::new();
        }
        machine.name = Some(self.name.clone());
        let kind = if self.kind == kind_word(MachineKind::Rotary) { MachineKind::Rotary } else { MachineKind::Orbital };
        let mut assumed = Vec::new();
        machine.throw_mm = match (kind, self.throw_mm) {
            (MachineKind::Rotary, _) => None,
            (MachineKind::Orbital, Some(throw_mm)) => Some(throw_mm),
            (MachineKind::Orbital, None) => {
                assumed.extend(machine.throw_mm.map(|mm| format!("a throw of {mm} mm")));
                machine.throw_mm
            }
        };
        match self.pad_diameters_mm[..] {
            [one] => machine.pad_diameter_mm = one,
            _ => assumed.push(format!("a pad of {} mm", machine.pad_diameter_mm)),
        }
        let mut said = Vec::new();
        // Another kind's rate is counted in another unit.
        if kind != machine.kind && plan.orbit_per_min.take().is_some() {
            said.push(format!("{} is a {}: the plan's band of the orbit rate is left out.", self.name, self.kind));
        }
        machine.kind = kind;
        plan.machine_told = assumed.is_empty();
        let pads = match self.pad_diameters_mm.len() {
            0 | 1 => "",
            _ => ", or which of its pads it was",
        };
        if !plan.machine_told {
            said.push(format!(
                "The shop does not know all of {}{pads}: {} is assumed. A plan with a [machine] table tells it.",
                self.name,
                assumed.join(" and ")
            ));
        }
        said
    }
}

/// Pad or liquid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProductKind {
    /// A pad.
    Pad,
    /// A compound, polish or other liquid.
    Liquid,
}

impl ProductKind {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Pad => "pad",
            Self::Liquid => "liquid",
        }
    }

    /// The kind of a word.
    pub(super) fn of(word: &str) -> Result<Self> {
        [Self::Pad, Self::Liquid]
            .into_iter()
            .find(|kind| kind.as_str() == word)
            .ok_or_else(|| ShopError::Value(format!("kind {word:?}: choose pad or liquid")))
    }
}

/// A pad or a liquid, as the shop calls it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Product {
    /// Pad or liquid.
    pub kind: ProductKind,
    /// Its name.
    pub name: String,
    /// The shop's own order among its pads or its liquids, 1 = mildest.
    pub aggressiveness: i64,
    /// Anything else.
    #[serde(default)]
    pub note: String,
}

/// A vehicle, as a description of its paint.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Vehicle {
    /// What the shop calls it.
    pub label: String,
    /// `clear-coat`, `single-stage`, `respray` or `unknown`.
    pub paint: String,
    /// Year the paint was put on.
    pub paint_year: Option<i64>,
    /// `dark`, `medium`, `light` or `unknown`.
    pub colour: String,
    /// `soft`, `medium`, `hard` or `unknown`, as the shop found it so far.
    pub hardness: String,
    /// Whose it is. Never exported.
    #[serde(skip)]
    pub owner: Option<String>,
    /// Anything else.
    #[serde(default)]
    pub note: String,
}

impl Vehicle {
    /// In one line.
    pub fn words(&self) -> String {
        let year = self.paint_year.map_or(String::new(), |y| format!(" of {y}"));
        format!("{} ({}{year}, {}, hardness {})", self.label, self.paint, self.colour, self.hardness)
    }

    /// Refuses what cannot be.
    fn check(&self) -> Result<()> {
        one_of("paint", &self.paint, &["clear-coat", "single-stage", "respray", "unknown"])?;
        one_of("colour", &self.colour, &["dark", "medium", "light", "unknown"])?;
        one_of("hardness", &self.hardness, &["soft", "medium", "hard", "unknown"])?;
        self.paint_year.map_or(Ok(()), |year| in_range("paint year", year as f64, 1900.0, 2200.0))
    }
}

/// Something with a row of its own.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Known<T> {
    /// Its row.
    #[serde(skip)]
    pub id: Id,
    /// What it is.
    #[serde(flatten)]
    pub entry: T,
}

/// A technician.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Technician {
    /// Their name.
    pub name: String,
    /// Anything else.
    #[serde(default)]
    pub note: String,
}

fn one_of(what: &str, value: &str, words: &[&str]) -> Result<()> {
    if words.contains(&value) {
        return Ok(());
    }
    Err(ShopError::OutOfRange(format!("{what} {value:?}: choose one of {}", words.join(", "))))
}

fn in_range(what: &str, value: f64, lo: f64, hi: f64) -> Result<()> {
    if (lo..=hi).contains(&value) {
        return Ok(());
    }
    Err(ShopError::OutOfRange(format!("{what} {value}: expected {lo} to {hi}")))
}

impl Shop {
    /// Adds a technician.
    ///
    /// # Errors
    /// [`ShopError::NameTaken`], whatever the case of the letters.
    pub fn add_technician(&self, technician: &Technician) -> Result<Id> {
        let name = checked_name("technician", &technician.name)?;
        self.whole(|| {
            self.free(Listed::Technician, &name, None)?;
            self.db.execute("INSERT INTO technicians (name, note) VALUES (?1, ?2)", params![name, technician.note])?;
            Ok(self.db.last_insert_rowid())
        })
    }

    /// Adds a machine.
    ///
    /// # Errors
    /// [`ShopError::NameTaken`]; [`ShopError::OutOfRange`] for a kind, throw or pad size that cannot be.
    pub fn add_machine(&self, machine: &MachineEntry) -> Result<Id> {
        let name = checked_name("machine", &machine.name)?;
        one_of("kind", &machine.kind, &["orbital", "rotary"])?;
        match machine.throw_mm {
            Some(_) if machine.kind == "rotary" => {
                return Err(ShopError::OutOfRange(format!("machine {name:?}: a rotary has no throw; leave it out")));
            }
            Some(throw) => in_range("throw, mm:", throw, 1.0, 40.0)?,
            None => {}
        }
        for &pad in &machine.pad_diameters_mm {
            in_range("pad diameter, mm:", pad, 20.0, 300.0)?;
        }
        self.whole(|| {
            self.free(Listed::Machine, &name, None)?;
            self.db.execute(
                "INSERT INTO machines (name, kind, throw_mm, note) VALUES (?1, ?2, ?3, ?4)",
                params![name, machine.kind, machine.throw_mm, machine.note],
            )?;
            let id = self.db.last_insert_rowid();
            for pad in &machine.pad_diameters_mm {
                let sql = "INSERT OR IGNORE INTO machine_pads (machine_id, pad_diameter_mm) VALUES (?1, ?2)";
                self.db.execute(sql, params![id, pad])?;
            }
            Ok(id)
        })
    }

    /// Notes that a machine was used with a pad of this size, by the plan of a filed session.
    ///
    /// # Errors
    /// When the size cannot be.
    pub(super) fn add_pad_size(&self, machine: Id, pad_diameter_mm: f64) -> Result<()> {
        in_range("pad diameter, mm:", pad_diameter_mm, 20.0, 300.0)?;
        self.db.execute("INSERT OR IGNORE INTO machine_pads VALUES (?1, ?2, 1)", params![machine, pad_diameter_mm])?;
        Ok(())
    }

    /// Adds a pad or a liquid.
    ///
    /// # Errors
    /// [`ShopError::NameTaken`]; [`ShopError::OutOfRange`] for a place in the order outside 1 to 99.
    pub fn add_product(&self, product: &Product) -> Result<Id> {
        let kind = product.kind.as_str();
        let name = checked_name(kind, &product.name)?;
        in_range("place in the order of aggressiveness", product.aggressiveness as f64, 1.0, 99.0)?;
        self.whole(|| {
            self.free(product.kind.into(), &name, None)?;
            self.db.execute(
                "INSERT INTO products (kind, name, aggressiveness, note) VALUES (?1, ?2, ?3, ?4)",
                params![kind, name, product.aggressiveness, product.note],
            )?;
            Ok(self.db.last_insert_rowid())
        })
    }

    /// Adds a vehicle.
    ///
    /// # Errors
    /// [`ShopError::NameTaken`]; [`ShopError::OutOfRange`] for words that are not in the lists.
    pub fn add_vehicle(&self, vehicle: &Vehicle) -> Result<Id> {
        let label = checked_name("vehicle", &vehicle.label)?;
        vehicle.check()?;
        self.whole(|| {
            self.free(Listed::Vehicle, &label, None)?;
            self.db.execute(
                "INSERT INTO vehicles (label, paint, paint_year, colour, hardness, owner, note)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    label,
                    vehicle.paint,
                    vehicle.paint_year,
                    vehicle.colour,
                    vehicle.hardness,
                    vehicle.owner,
                    vehicle.note
                ],
            )?;
            Ok(self.db.last_insert_rowid())
        })
    }

    /// Changes what is known of a vehicle, but its label, which [`Shop::rename`] does; returns what is known now.
    ///
    /// # Errors
    /// [`ShopError::OutOfRange`] for words that are not in the lists; nothing is changed then.
    pub fn describe_vehicle(&self, id: Id, change: impl FnOnce(&mut Vehicle)) -> Result<Vehicle> {
        self.whole(|| {
            let known = self.vehicles()?.into_iter().find(|v| v.id == id);
            let known = known.ok_or_else(|| ShopError::Value(format!("there is no vehicle {id}")))?.entry;
            let mut now = known.clone();
            change(&mut now);
            now.label = known.label;
            now.check()?;
            self.db.execute(
                "UPDATE vehicles SET paint = ?2, paint_year = ?3, colour = ?4, hardness = ?5, owner = ?6, note = ?7 WHERE id = ?1",
                params![id, now.paint, now.paint_year, now.colour, now.hardness, now.owner, now.note],
            )?;
            Ok(now)
        })
    }

    /// All technicians, by name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn technicians(&self) -> Result<Vec<Known<Technician>>> {
        self.rows("SELECT id, name, note FROM technicians ORDER BY name", |row| {
            Ok(Known { id: row.get(0)?, entry: Technician { name: row.get(1)?, note: row.get(2)? } })
        })
    }

    /// All machines, by name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn machines(&self) -> Result<Vec<Known<MachineEntry>>> {
        let mut machines = self.rows("SELECT id, name, kind, throw_mm, note FROM machines ORDER BY name", |row| {
            let entry = MachineEntry {
                name: row.get(1)?,
                kind: row.get(2)?,
                throw_mm: row.get(3)?,
                pad_diameters_mm: Vec::new(),
                note: row.get(4)?,
            };
            Ok(Known { id: row.get(0)?, entry })
        })?;
        let pads = self.rows("SELECT machine_id, pad_diameter_mm FROM machine_pads ORDER BY 1, 2", |row| {
            Ok((row.get::<_, Id>(0)?, row.get::<_, f64>(1)?))
        })?;
        for (id, pad) in pads {
            if let Some(machine) = machines.iter_mut().find(|m| m.id == id) {
                machine.entry.pad_diameters_mm.push(pad);
            }
        }
        Ok(machines)
    }

    /// All pads and liquids, pads first, mildest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn products(&self) -> Result<Vec<Known<Product>>> {
        self.rows(
            "SELECT id, kind, name, aggressiveness, note FROM products ORDER BY kind DESC, aggressiveness, name",
            |row| {
                let kind = if row.get::<_, String>(1)? == "pad" { ProductKind::Pad } else { ProductKind::Liquid };
                let entry = Product { kind, name: row.get(2)?, aggressiveness: row.get(3)?, note: row.get(4)? };
                Ok(Known { id: row.get(0)?, entry })
            },
        )
    }

    /// All vehicles, by label.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn vehicles(&self) -> Result<Vec<Known<Vehicle>>> {
        self.rows(
            "SELECT id, label, paint, paint_year, colour, hardness, owner, note FROM vehicles ORDER BY label",
            |row| {
                let entry = Vehicle {
                    label: row.get(1)?,
                    paint: row.get(2)?,
                    paint_year: row.get(3)?,
                    colour: row.get(4)?,
                    hardness: row.get(5)?,
                    owner: row.get(6)?,
                    note: row.get(7)?,
                };
                Ok(Known { id: row.get(0)?, entry })
            },
        )
    }

    pub(super) fn rows<T>(&self, sql: &str, read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>) -> Result<Vec<T>> {
        let mut query = self.db.prepare_cached(sql)?;
        let rows = query.query_map([], read)?;
        Ok(rows.collect::<rusqlite::Result<Vec<T>>>()?)
    }
}

/// The word of a machine's kind.
pub(super) fn kind_word(kind: MachineKind) -> &'static str {
    match kind {
        MachineKind::Orbital => "orbital",
        MachineKind::Rotary => "rotary",
    }
}
