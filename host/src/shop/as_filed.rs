//! The running time of a recording, as the shop has its sessions filed.

use std::collections::BTreeMap;

use super::{Id, Result, Session, Shop};
use crate::exposure::Running;
use crate::session::Hands;

/// Each stretch of a recording with the session that it is filed in, if it is in any.
///
/// * `filed`: the sessions of the recording.
/// * `first`: names by which its filing may have known whoever began, likelier ones first; the last where none fits.
fn by_session<'a>(
    stretches: Vec<Running>,
    hands: &Hands,
    first: &[&str],
    filed: &'a [Session],
) -> Vec<(Option<&'a Session>, Running)> {
    let most = filed.iter().map(|s| s.part).max().unwrap_or(1);
    // Under another name for whoever began, whoever came back would be a part more, or less.
    let ways: Vec<Vec<u32>> = first.iter().map(|name| hands.parts(name)).collect();
    let fitting = ways.iter().find(|parts| parts.iter().max() == Some(&most)).or(ways.last());
    let parts = fitting.map_or(&[][..], Vec::as_slice);
    let session = |stretch: &Running| filed.iter().find(|s| Some(&s.part) == parts.get(stretch.turn));
    stretches.into_iter().map(|stretch| (session(&stretch), stretch)).collect()
}

impl Shop {
    /// Stretches of a recording, each with its session, under the technician's and the machine's names in the shop: whose they are
    /// and what with, the shop knows better than a recording that was not told, or told wrongly. What is filed in no session, or
    /// without a machine, stays as it is.
    ///
    /// * `began`: who began it, by the recording.
    /// * `filed`: its sessions, as [`Self::parts_of_recording`] gives them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn as_filed(
        &self,
        stretches: Vec<Running>,
        hands: &Hands,
        began: &str,
        filed: &[Session],
    ) -> Result<Vec<(Option<Id>, Running)>> {
        let technicians: BTreeMap<Id, String> =
            self.technicians()?.into_iter().map(|known| (known.id, known.entry.name)).collect();
        let machines: BTreeMap<Id, String> =
            self.machines()?.into_iter().map(|known| (known.id, known.entry.name)).collect();
        let first = filed.iter().find(|s| s.part == 1).and_then(|s| technicians.get(&s.technician));
        let first = [first.map_or("", String::as_str), began];
        let named = |(session, mut stretch): (Option<&Session>, Running)| {
            if let Some(name) = session.and_then(|s| technicians.get(&s.technician)) {
                stretch.technician.clone_from(name);
            }
            if let Some(name) = session.and_then(|s| machines.get(&s.machine?)) {
                stretch.tool.clone_from(name);
            }
            (session.map(|s| s.id), stretch)
        };
        Ok(by_session(stretches, hands, &first, filed).into_iter().map(named).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate};

    #[test]
    fn stretches_go_to_whom_their_part_is_filed_under() {
        let session = |part: u32, technician: Id| Session { part, technician, ..session() };
        // Begun by one who was handed it back later; the second was typed with a slip.
        let mut hands = Hands::new("Cedr");
        hands.pass_to(10.0, "Brich");
        hands.pass_to(20.0, "cedr");
        let turns = |first: &[&str], filed: &[Session], technician: Id| -> Vec<usize> {
            let all = by_session(stretches(), &hands, first, filed);
            let own = all.iter().filter(|(session, _)| session.is_some_and(|s| s.technician == technician));
            own.map(|(_, s)| s.turn).collect()
        };
        // Filed under the shop's spelling; the recording's decides that whoever came back is who began.
        let filed = [session(1, 7), session(2, 8)];
        assert_eq!(turns(&["Cedar", "Cedr"], &filed, 7), [0, 2]);
        assert_eq!(turns(&["Cedar", "Cedr"], &filed, 8), [1]);
        // Both parts given to one: each stretch once.
        assert_eq!(turns(&["Cedar", "Cedr"], &[session(1, 7), session(2, 7)], 7), [0, 1, 2]);
        // Filed as begun by somebody else than the recording says, who then got it.
        let filed = [session(1, 9), session(2, 8), session(3, 7)];
        assert_eq!(turns(&["Alder", "Cedr"], &filed, 9), [0]);
        assert_eq!(turns(&["Alder", "Cedr"], &filed, 7), [2]);
    }

    #[test]
    fn stretches_are_called_as_in_the_shop() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES, Extent { days: 1, sections: 1 }, 4).expect("generated");
        let hands = Hands::new("Cedr");
        let filed = [Session { technician: cast.technicians[1], ..shop.sessions().expect("read").remove(0) }];
        let one = || stretches().into_iter().take(1).collect();
        let named = |filed: &[Session]| shop.as_filed(one(), &hands, "Cedr", filed).expect("read").remove(0);
        let (session, stretch) = named(&filed);
        assert_eq!((session, stretch.technician.as_str()), (Some(filed[0].id), STYLES[1].name));
        assert_eq!(stretch.tool, "orbital 15");
        let (_, stretch) = named(&[Session { machine: None, ..filed[0].clone() }]);
        assert_eq!(stretch.tool, "not told");
        let (session, stretch) = named(&[]);
        assert_eq!((session, stretch.technician.as_str()), (None, "Cedr"));
    }

    fn stretches() -> Vec<Running> {
        let names = ["Cedr", "Brich", "Cedr"];
        let stretch = |(turn, name): (usize, &&str)| Running {
            technician: (*name).into(),
            turn,
            tool: "not told".into(),
            ..Running::default()
        };
        names.iter().enumerate().map(stretch).collect()
    }

    fn session() -> Session {
        let shop = Shop::in_memory();
        generate(&shop, &STYLES, Extent { days: 1, sections: 1 }, 4).expect("generated");
        shop.sessions().expect("read").remove(0)
    }
}
