//! Panels: free names, so that a slip makes a new one. One that looks like a known name, or like the trade's usual words, is told.

use super::listed::closest;
use super::rename::PANELS;
use super::{Id, Result, Shop};
use crate::name;

/// Words that panels are usually called by; common practice, no published source.
const WORDS: [&str; 58] = [
    "apron",
    "arch",
    "back",
    "bonnet",
    "boot",
    "bumper",
    "cap",
    "cover",
    "cowl",
    "deck",
    "door",
    "driver",
    "fender",
    "flap",
    "front",
    "frunk",
    "gate",
    "grille",
    "guard",
    "hatch",
    "header",
    "headlight",
    "hood",
    "lamp",
    "left",
    "lid",
    "lift",
    "liftgate",
    "light",
    "lower",
    "mirror",
    "near",
    "nearside",
    "nose",
    "offside",
    "panel",
    "passenger",
    "pillar",
    "post",
    "quarter",
    "rack",
    "rail",
    "rear",
    "right",
    "rocker",
    "roof",
    "sail",
    "side",
    "sill",
    "skirt",
    "spoiler",
    "strip",
    "tail",
    "tailgate",
    "tank",
    "trunk",
    "upper",
    "wing",
];
/// Shortest word that is taken for a slip of another.
const LEAST_LETTERS: usize = 3;

impl Shop {
    /// The name that a panel's, which nothing here has yet, was probably meant to be.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn panel_meant(&self, typed: &str) -> Result<Option<String>> {
        let known: Vec<String> = self.rows(
            "SELECT panel FROM sessions UNION SELECT panel FROM trials UNION SELECT panel FROM film_readings
             UNION SELECT panel FROM notes",
            |row| row.get(0),
        )?;
        if typed.trim().is_empty() || known.iter().any(|panel| name::same(panel, typed)) {
            return Ok(None);
        }
        if usual(typed) {
            return Ok(None);
        }
        // Door 1 and door 2 are no slip of each other.
        let numbers = |text: &str| text.chars().filter(|c| c.is_numeric()).collect::<String>();
        let alike = known.iter().map(String::as_str).filter(|known| numbers(known) == numbers(typed));
        let meant = closest(typed, alike.filter(|known| !known.is_empty())).map(str::to_owned);
        Ok(meant.or_else(|| respelt(typed)))
    }

    /// What is said of a panel that looks like a slip of another, and what to type to put it right once it is stored.
    ///
    /// * `vehicle`: whose panel it is; `None` for that of work of which no vehicle was told.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn panel_doubt(&self, vehicle: Option<Id>, typed: &str, meant: &str) -> Result<String> {
        let mut command =
            format!("steadypass shop rename --shop DIR panel {} {}", name::quoted(typed), name::quoted(meant));
        if let Some(id) = vehicle {
            let mut query = self.db.prepare_cached("SELECT label FROM vehicles WHERE id = ?1")?;
            let label: String = query.query_row([id], |row| row.get(0))?;
            command.push_str(&format!(" --vehicle {}", name::quoted(&label)));
        }
        for (table, of_vehicle) in PANELS {
            let mut query = self.db.prepare_cached(&format!("SELECT panel FROM {table} WHERE {of_vehicle}"))?;
            let panels = query.query_map([vehicle], |row| row.get::<_, String>(0))?;
            if panels.collect::<rusqlite::Result<Vec<_>>>()?.iter().any(|panel| name::same(panel, meant)) {
                command.push_str(" --merge");
                break;
            }
        }
        Ok(format!("{typed} is a new panel; did you mean {meant}? Then put it right with `{command}`."))
    }
}

/// Whether all its words are usual ones.
fn usual(panel: &str) -> bool {
    name::key(panel).split(' ').all(|word| WORDS.contains(&word))
}

/// The same name with the usual words that were meant, where any word is a slip of one.
fn respelt(typed: &str) -> Option<String> {
    let key = name::key(typed);
    let words: Vec<&str> = key.split(' ').map(|word| meant(word).unwrap_or(word)).collect();
    let words = words.join(" ");
    (words != key).then_some(words)
}

fn meant(word: &str) -> Option<&'static str> {
    let plain = word.chars().all(char::is_alphabetic) && word.chars().count() >= LEAST_LETTERS;
    // Of one in the plural nothing needs saying.
    let known = WORDS.contains(&word) || word.strip_suffix('s').is_some_and(|one| WORDS.contains(&one));
    if plain && !known { closest(word, WORDS.into_iter()) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::Note;

    #[test]
    fn a_slip_in_a_panel_is_told_and_a_name_of_its_own_is_not() {
        let shop = Shop::in_memory();
        let meant = |typed: &str| shop.panel_meant(typed).expect("read").unwrap_or_default();
        for (typed, said) in
            [("hod", "hood"), ("Bonet", "bonnet"), ("left dor", "left door"), ("rear left dooor", "rear left door")]
        {
            assert_eq!(meant(typed), said, "{typed}");
        }
        for free in ["hood", "Left Door", "wings", "test spot", "door 2", "K\u{fc}hlerhaube", "B-pillar", "", "C1"] {
            assert_eq!(meant(free), "", "{free}");
        }
        for free in ["front lid", "frunk", "A post", "sail panel", "cowl", "rear deck", "fuel cap", "front apron"] {
            assert_eq!(meant(free), "", "{free}");
        }
        for panel in ["K\u{fc}hlerhaube", "door 2", "blade"] {
            let note = Note { day: "2026-03-02".into(), panel: panel.into(), text: "kept".into(), ..Note::default() };
            shop.add_note(&note).expect("noted");
        }
        let meant = |typed: &str| shop.panel_meant(typed).expect("read").unwrap_or_default();
        assert_eq!(meant("K\u{fc}lerhaube"), "K\u{fc}hlerhaube");
        assert_eq!(meant("door 3"), "", "another number is another door");
        assert_eq!(meant("BLADE"), "", "known in other letters");
        assert_eq!(meant("blad"), "blade");
    }
}
