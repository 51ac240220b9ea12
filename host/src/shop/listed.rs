//! What the shop keeps names of, and how a name is looked up: by the one rule of [`name::same`]. SQLite's own comparison knows
//! ASCII letters only; the store's UNIQUE is a net below this, never the rule.

use rusqlite::OptionalExtension as _;

use super::{Id, ProductKind, Result, Shop, ShopError};
use crate::name;

/// What has a row of its own with a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Listed {
    /// Somebody who works with the machine.
    Technician,
    /// A polisher.
    Machine,
    /// A pad.
    Pad,
    /// A compound, polish or other liquid.
    Liquid,
    /// A description of paint.
    Vehicle,
}

impl From<ProductKind> for Listed {
    fn from(kind: ProductKind) -> Self {
        match kind {
            ProductKind::Pad => Self::Pad,
            ProductKind::Liquid => Self::Liquid,
        }
    }
}

impl Listed {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Machine => "machine",
            Self::Pad => "pad",
            Self::Liquid => "liquid",
            Self::Vehicle => "vehicle",
        }
    }

    /// Its table, and the column of the name in it.
    pub(super) fn place(self) -> (&'static str, &'static str) {
        match self {
            Self::Technician => ("technicians", "name"),
            Self::Machine => ("machines", "name"),
            Self::Pad | Self::Liquid => ("products", "name"),
            Self::Vehicle => ("vehicles", "label"),
        }
    }

    /// Which rows of the table are of this kind.
    fn only(self) -> &'static str {
        match self {
            Self::Pad => "kind = 'pad'",
            Self::Liquid => "kind = 'liquid'",
            _ => "1",
        }
    }
}

impl Shop {
    /// A row by its name, however that is typed.
    ///
    /// # Errors
    /// [`ShopError::Unknown`], with the closest name.
    pub fn find(&self, what: Listed, name: &str) -> Result<Id> {
        let name = name.trim();
        let (table, column) = what.place();
        let only = what.only();
        // The first comparison is the one that the store has an index for.
        let as_typed =
            format!("SELECT id FROM {table} WHERE {only} AND {column} = ?1 AND {column} = ?1 COLLATE BINARY");
        if let Some(id) = self.db.prepare_cached(&as_typed)?.query_row([name], |row| row.get(0)).optional()? {
            return Ok(id);
        }
        let all = self.names(what)?;
        let same: Vec<&(Id, String)> = all.iter().filter(|(_, known)| name::same(known, name)).collect();
        match same[..] {
            [] => Err(unknown(what, name, &all)),
            [(id, _)] => Ok(*id),
            // Earlier programs told names apart by how an accent is written, and in other letters than ASCII by their case.
            [(_, one), (_, other), ..] => Err(ShopError::Value(format!(
                "{} {name:?} can be {one:?} or {other:?}, which are one name in different letters; write it as one of them is \
                 written, or put them together: steadypass shop rename --merge --shop DIR {0} {1} {2}",
                what.as_str(),
                name::quoted(other),
                name::quoted(one)
            ))),
        }
    }

    /// A technician's row by name.
    ///
    /// # Errors
    /// [`ShopError::Unknown`], with the closest name.
    pub fn technician(&self, name: &str) -> Result<Id> {
        self.find(Listed::Technician, name)
    }

    /// A machine's row by name.
    ///
    /// # Errors
    /// [`ShopError::Unknown`], with the closest name.
    pub fn machine(&self, name: &str) -> Result<Id> {
        self.find(Listed::Machine, name)
    }

    /// A vehicle's row by label.
    ///
    /// # Errors
    /// [`ShopError::Unknown`], with the closest label.
    pub fn vehicle(&self, label: &str) -> Result<Id> {
        self.find(Listed::Vehicle, label)
    }

    /// A pad's or liquid's row by name.
    ///
    /// # Errors
    /// [`ShopError::Unknown`], with the closest name.
    pub fn product(&self, kind: ProductKind, name: &str) -> Result<Id> {
        self.find(kind.into(), name)
    }

    /// Refuses a name that another row has.
    pub(super) fn free(&self, what: Listed, name: &str, own: Option<Id>) -> Result<()> {
        match self.names(what)?.into_iter().find(|(id, known)| Some(*id) != own && name::same(known, name)) {
            None => Ok(()),
            Some(_) => Err(ShopError::NameTaken { what: what.as_str(), name: name.to_owned() }),
        }
    }

    fn names(&self, what: Listed) -> Result<Vec<(Id, String)>> {
        let (table, column) = what.place();
        let sql = format!("SELECT id, {column} FROM {table} WHERE {} ORDER BY id", what.only());
        self.rows(&sql, |row| Ok((row.get(0)?, row.get(1)?)))
    }
}

fn unknown(what: Listed, name: &str, all: &[(Id, String)]) -> ShopError {
    let close = closest(name, all.iter().map(|(_, known)| known.as_str())).map(str::to_owned);
    ShopError::Unknown { what: what.as_str(), name: name.to_owned(), known: all.len(), close }
}

/// The name that one typed looks much like: two slips off in one of six letters or more, one in a shorter one.
pub(super) fn closest<'a>(typed: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let typed = name::key(typed);
    let slips = if typed.chars().count() < 6 { 1 } else { 2 };
    let near = names.map(|known| (strsim::damerau_levenshtein(&name::key(known), &typed), known));
    near.min_by_key(|(distance, _)| *distance).filter(|(distance, _)| *distance <= slips).map(|(_, known)| known)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::film::panels;
    use crate::shop::trial::History;
    use crate::shop::{FilmReading, MachineEntry, Phase, Product, Technician, Trial, Vehicle};

    fn technician(name: &str) -> Technician {
        Technician { name: name.into(), note: String::new() }
    }

    fn vehicle(label: &str) -> Vehicle {
        let unknown = || "unknown".to_owned();
        let (paint, colour, hardness) = (unknown(), unknown(), unknown());
        Vehicle { label: label.into(), paint, paint_year: None, colour, hardness, owner: None, note: String::new() }
    }

    fn product(kind: ProductKind, name: &str) -> Product {
        Product { kind, name: name.into(), aggressiveness: 1, note: String::new() }
    }

    #[test]
    fn a_name_of_any_script_is_found_and_taken_in_whatever_letters() {
        let shop = Shop::in_memory();
        let machine = |name: &str| MachineEntry {
            name: name.into(),
            kind: "rotary".into(),
            throw_mm: None,
            pad_diameters_mm: Vec::new(),
            note: String::new(),
        };
        let add = |what: Listed, name: &str| match what {
            Listed::Technician => shop.add_technician(&technician(name)),
            Listed::Machine => shop.add_machine(&machine(name)),
            Listed::Pad => shop.add_product(&product(ProductKind::Pad, name)),
            Listed::Liquid => shop.add_product(&product(ProductKind::Liquid, name)),
            Listed::Vehicle => shop.add_vehicle(&vehicle(name)),
        };
        for what in [Listed::Technician, Listed::Machine, Listed::Pad, Listed::Liquid, Listed::Vehicle] {
            for (name, typed) in [
                ("J\u{f6}rg", " J\u{d6}RG"),
                ("\u{416}\u{435}\u{43d}\u{44f}", "\u{436}\u{415}\u{41d}\u{42f} "),
                ("Jos\u{e9}", "JOSE\u{301}"),
            ] {
                let id = add(what, name).expect("added");
                assert_eq!(shop.find(what, typed).expect("known"), id, "{what:?}");
                let again = add(what, typed).expect_err("taken");
                assert!(matches!(again, ShopError::NameTaken { .. }), "{again}");
            }
        }
        // What is mistyped is compared by the same rule.
        let said = shop.technician("J\u{d6}RK").expect_err("not known").to_string();
        assert!(said.contains("did you mean \"J\u{f6}rg\""), "{said}");
    }

    #[test]
    fn names_that_an_earlier_program_told_apart_are_found_as_they_are_written() {
        let shop = Shop::in_memory();
        for name in ["J\u{f6}rg", "J\u{d6}RG"] {
            shop.db.execute("INSERT INTO technicians (name) VALUES (?1)", [name]).expect("stored");
        }
        assert_eq!(shop.technician("J\u{f6}rg").expect("known"), 1);
        assert_eq!(shop.technician("J\u{d6}RG").expect("known"), 2);
        let said = shop.technician("j\u{f6}rg").expect_err("either").to_string();
        assert!(said.contains("can be \"J\u{f6}rg\" or \"J\u{d6}RG\"") && said.contains("rename --merge"), "{said}");
    }

    #[test]
    fn an_accent_is_stored_in_one_way_and_found_in_both() {
        let shop = Shop::in_memory();
        let id = shop.add_technician(&technician("Jose\u{301}")).expect("added");
        assert_eq!(shop.technicians().expect("read")[0].entry.name, "Jos\u{e9}");
        assert_eq!(shop.technician("Jos\u{e9}").expect("known"), id);
        assert_eq!(shop.technician("jose\u{301}").expect("known"), id);
        shop.rename(Listed::Technician, "Jose\u{301}", "Rene\u{301}").expect("renamed");
        assert_eq!(shop.technicians().expect("read")[0].entry.name, "Ren\u{e9}");
        // As an earlier program stored two of them: each is still found as it is written, and they can be put together.
        for name in ["Zo\u{eb}", "Zoe\u{308}"] {
            shop.db.execute("INSERT INTO technicians (name) VALUES (?1)", [name]).expect("stored");
        }
        let both = [shop.technician("Zo\u{eb}").expect("known"), shop.technician("Zoe\u{308}").expect("known")];
        assert_eq!(both, [id + 1, id + 2]);
        let said = shop.technician("ZO\u{cb}").expect_err("either").to_string();
        assert!(said.contains("can be \"Zo\u{eb}\" or \"Zoe\\u{308}\"") && said.contains("rename --merge"), "{said}");
        shop.merge(Listed::Technician, "Zoe\u{308}", "Zo\u{eb}").expect("merged");
        assert_eq!(shop.technician("ZOE\u{308}").expect("known"), both[0]);
    }

    #[test]
    fn a_panel_and_a_point_are_one_in_whatever_letters() {
        let shop = Shop::in_memory();
        let who = shop.add_technician(&technician("Robin")).expect("added");
        let pad = shop.add_product(&product(ProductKind::Pad, "white")).expect("added");
        let liquid = shop.add_product(&product(ProductKind::Liquid, "finishing")).expect("added");
        let on = shop.add_vehicle(&vehicle("saloon A")).expect("added");
        let reading = |panel: &str, point: &str, phase| FilmReading {
            vehicle: on,
            panel: panel.into(),
            point: point.into(),
            phase,
            day: "2026-03-02".into(),
            film_um: 120.0,
            place: None,
            note: String::new(),
        };
        shop.add_film_reading(&reading("K\u{fc}hlerhaube", "\u{e4}", Phase::Before)).expect("added");
        shop.add_film_reading(&reading("K\u{dc}HLERHAUBE", "\u{c4}", Phase::After)).expect("added");
        let found = panels(&shop.film_readings().expect("read"), None, None);
        assert_eq!((found.len(), found[0].pairs, found[0].name.as_str()), (1, 1, "K\u{fc}hlerhaube"));
        let gone =
            shop.remove_film_readings(on, ["k\u{fc}hlerhaube", "\u{c4}"], Phase::Before, None, &[]).expect("removed");
        assert_eq!(gone, [120.0]);
        let trial = Trial {
            vehicle: on,
            panel: "K\u{fc}hlerhaube".into(),
            day: "2026-03-02".into(),
            technician: who,
            machine: None,
            pad,
            liquid,
            session: None,
            passes: 2,
            finish_reached: true,
            haze: 0,
            holograms: 0,
            film_taken_um: None,
            note: String::new(),
        };
        shop.add_trial(&trial).expect("added");
        let history = History::of(&shop, 2026).expect("read");
        assert_eq!(history.verdicts(on, Some(" K\u{dc}HLERHAUBE")).len(), 1);
        assert_eq!(history.verdicts(on, Some("ku\u{308}hlerhaube")).len(), 1);
    }
}
