//! Work that seems to be in the shop already: a session of the same time, by whoever or whatever can be in one place only.

use std::fmt::Display;

use super::Filing;
use crate::guidance::units::duration;
use crate::shop::{Id, Result, Shop};

/// Overlaps up to this long are none: starts are kept to the second, s.
const OVERLAP_S: f64 = 2.0;

/// A session at the time of another.
struct Other {
    id: Id,
    seconds: f64,
    shared_s: f64,
    /// Nothing that a recording tells of its origin tells the two apart.
    is_same_start: bool,
    is_same_technician: bool,
    /// Either comes from a table.
    is_of_table: bool,
}

impl Shop {
    /// What to know about each session that is new by this filing and lies at the time of another recording's.
    pub(super) fn overlap_cautions(&self, filing: &Filing) -> Result<Vec<String>> {
        let own: Vec<Id> = filing.filed.iter().map(|filed| filed.id()).collect();
        let is_new = |id: &&Id| !filing.replaced.iter().any(|replaced| replaced.session == **id);
        let mut cautions = Vec::new();
        for &id in own.iter().filter(is_new) {
            let mut others = self.at_the_time_of(id)?;
            others.retain(|(_, other)| !own.contains(&other.id));
            let (same, others): (Vec<_>, Vec<_>) =
                others.into_iter().partition(|(_, other)| other.is_same_start && other.is_same_technician);
            cautions.extend(same.into_iter().map(|(seconds, other)| same_start(id, seconds, &other)));
            let (by_technician, by_sensor): (Vec<_>, Vec<_>) =
                others.into_iter().map(|(_, other)| other).partition(|other| other.is_same_technician);
            cautions.extend(overlap(id, "technician", &by_technician));
            cautions.extend(overlap(id, "sensor", &by_sensor));
        }
        Ok(cautions)
    }

    /// The sessions of the same technician or sensor that lie at the time of this one, each with this one's length, s.
    fn at_the_time_of(&self, session: Id) -> Result<Vec<(f64, Other)>> {
        let mut query = self.db.prepare_cached(
            "WITH spans AS (SELECT *, unixepoch(started) AS from_s, unixepoch(started) + seconds AS to_s FROM sessions)
             SELECT n.seconds, o.id, o.seconds, min(n.to_s, o.to_s) - max(n.from_s, o.from_s) AS shared_s,
             n.from_s = o.from_s AND n.sensor = o.sensor AND n.source = o.source, n.technician_id = o.technician_id,
             n.sensor = '' OR o.sensor = ''
             FROM spans n JOIN spans o ON o.id <> n.id
             AND (o.technician_id = n.technician_id OR (n.sensor <> '' AND o.sensor = n.sensor))
             WHERE n.id = ?1 AND shared_s > ?2 ORDER BY o.from_s, o.id",
        )?;
        let others = query.query_map(rusqlite::params![session, OVERLAP_S], |row| {
            let other = Other {
                id: row.get(1)?,
                seconds: row.get(2)?,
                shared_s: row.get(3)?,
                is_same_start: row.get(4)?,
                is_same_technician: row.get(5)?,
                is_of_table: row.get(6)?,
            };
            Ok((row.get(0)?, other))
        })?;
        Ok(others.collect::<rusqlite::Result<_>>()?)
    }
}

fn remove(id: impl Display) -> String {
    format!("`steadypass shop remove --shop DIR session {id}`")
}

fn same_start(new: Id, seconds: f64, other: &Other) -> String {
    let id = other.id;
    let began = format!("Session {new} began when session {id} did, with the same technician, and");
    if (seconds - other.seconds).abs() <= OVERLAP_S {
        return format!("{began} is as long: the same work twice? Then take one away: {}.", remove(new));
    }
    let shorter = if seconds < other.seconds { new } else { id };
    format!(
        "{began} lasts {}, that one {}: the same recording cut short? Then take the shorter away: {}.",
        duration(seconds),
        duration(other.seconds),
        remove(shorter)
    )
}

/// What to know about the others that are of the same technician, or of the same sensor; `None` where none are.
fn overlap(new: Id, whose: &str, others: &[Other]) -> Option<String> {
    let told: Vec<String> =
        others.iter().map(|other| format!("session {} (by {})", other.id, duration(other.shared_s))).collect();
    let table = if others.iter().any(|other| other.is_of_table) {
        " A table's time of day is that of its import, unless `import --started` told it."
    } else {
        ""
    };
    (!told.is_empty()).then(|| {
        format!(
            "Session {new} overlaps with {}, of the same {whose}: the same work twice? Then take one away: {}.{table}",
            told.join(", "),
            remove("N")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::{Filed, NewSession, tests::session};

    const START: &str = "2026-04-02T08:00:00+02:00";

    fn new(technician: Id, fingerprint: &str, sensor: &str, started: &str, seconds: f64) -> NewSession {
        NewSession {
            started: started.into(),
            day: "2026-04-02".into(),
            source: if sensor.is_empty() { "table" } else { "sensor" },
            sensor: sensor.into(),
            seconds,
            running_s: seconds,
            ..session(technician, fingerprint)
        }
    }

    /// Files what is told after a session of four minutes from [`START`] on by the first technician; what is said, "FIRST" and "NEW"
    /// for the numbers.
    fn said(sensors: [&str; 2], is_same_technician: bool, started: &str, seconds: f64) -> Vec<String> {
        let shop = Shop::in_memory();
        generate(&shop, &STYLES, Extent { days: 1, sections: 1 }, 3).expect("generated");
        let technicians = shop.technicians().expect("read");
        let who = [technicians[0].id, technicians[usize::from(!is_same_technician)].id];
        let first = shop.file(&new(who[0], "a", sensors[0], START, 240.0)).expect("filed").id();
        let filed = shop.file(&new(who[1], "b", sensors[1], started, seconds)).expect("filed");
        assert!(matches!(filed, Filed::New(_)));
        let filing = Filing { filed: vec![filed], replaced: Vec::new(), remarks: Vec::new() };
        let cautions = shop.overlap_cautions(&filing).expect("read");
        let numbers = [(first, "FIRST"), (filed.id(), "NEW")];
        let told = |said: String, (id, word): (Id, &str)| {
            said.replace(&format!("ession {id} "), &format!("ession {word} "))
                .replace(&format!("session {id}`"), &format!("session {word}`"))
        };
        cautions.into_iter().map(|said| numbers.into_iter().fold(said, told)).collect()
    }

    #[test]
    fn a_recording_cut_short_is_told_from_the_whole_one() {
        let cut = said(["", ""], true, START, 100.0);
        assert!(
            matches!(&cut[..], [cut] if cut.starts_with("Session NEW began when session FIRST did")
                && cut.contains("lasts 1 min 40 s, that one 4 min 00 s: the same recording cut short?")
                && cut.contains("shop remove --shop DIR session NEW`")),
            "{cut:?}"
        );
        // The whole one comes second; however its zone is written.
        let whole = said(["", ""], true, "2026-04-02T06:00:00+00:00", 400.0);
        assert!(whole[0].contains("cut short?") && whole[0].contains("DIR session FIRST`"), "{whole:?}");
        let twice = said(["", ""], true, START, 241.0);
        assert!(twice[0].contains("the same work twice?") && twice[0].contains("DIR session NEW`"), "{twice:?}");
    }

    #[test]
    fn who_and_what_can_be_in_one_place_only_is_asked_about() {
        let later = "2026-04-02T08:03:00+02:00";
        let sensor = said(["a1", "a1"], false, later, 300.0);
        assert!(
            matches!(&sensor[..], [said] if said.starts_with("Session NEW overlaps with session FIRST (by 1 min 00 s), of the same \
                sensor: the same work twice?") && said.contains("session N`") && !said.contains("table")),
            "{sensor:?}"
        );
        let technician = said(["a1", ""], true, later, 300.0);
        assert!(
            technician[0].contains("of the same technician") && technician[0].contains("--started"),
            "{technician:?}"
        );
        for (sensors, is_same_technician, started) in [
            // Two machines in two hands.
            (["a1", "b2"], false, later),
            (["", ""], false, START),
            // Starts are kept to the second.
            (["a1", "a1"], true, "2026-04-02T08:03:59+02:00"),
        ] {
            assert_eq!(said(sensors, is_same_technician, started, 300.0), [""; 0]);
        }
    }
}
