//! In whose hands the machine was, and from when on.
//!
//! A recording begins in somebody's hands, told or not, and every note of a hand-over moves it on. Times are seconds since the
//! first sample, so a name can be looked up for anything the analysis finds, however late it settles it.

use std::sync::Arc;

use crate::name;

/// Hands, in order of time. Hand-overs are typed by people, so there are few.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hands {
    first: Option<Arc<str>>,
    later: Vec<(f64, Arc<str>)>,
}

impl Hands {
    /// In the hands of `first`; an empty name is nobody that was told.
    pub fn new(first: &str) -> Self {
        Self { first: told(first), later: Vec::new() }
    }

    /// Handed over at `t_s`. Call in order of time; an empty name changes nothing. Whoever comes back is called as before.
    pub fn pass_to(&mut self, t_s: f64, to: &str) {
        let mut known = self.first.iter().chain(self.later.iter().map(|(_, name)| name));
        if let Some(to) = known.find(|known| name::same(known, to)).cloned().or_else(|| told(to)) {
            self.later.push((t_s, to));
        }
    }

    /// Who held it at `t_s`; `None` when not told.
    pub fn at(&self, t_s: f64) -> Option<&Arc<str>> {
        self.later.iter().rev().find(|(from_s, _)| *from_s <= t_s).map(|(_, name)| name).or(self.first.as_ref())
    }

    /// How many hand-overs there were up to `t_s`.
    pub fn turn_at(&self, t_s: f64) -> usize {
        self.later.iter().filter(|(from_s, _)| *from_s <= t_s).count()
    }

    /// Whose part of the recording each turn is, from 1 in order of appearance, had it begun with `first`: parts as they are
    /// filed, whatever name the filing was told for whoever began.
    pub fn parts(&self, first: &str) -> Vec<u32> {
        let mut known = vec![name::key(first)];
        let mut part = |name: &str| {
            let key = name::key(name);
            let at = known.iter().position(|other| *other == key).unwrap_or_else(|| {
                known.push(key);
                known.len() - 1
            });
            at as u32 + 1
        };
        std::iter::once(1).chain(self.later.iter().map(|(_, name)| part(name))).collect()
    }

    /// Who held it for the largest part of `from_s..to_s`: the one a pass belongs to. Of equals, the earlier.
    pub fn mostly(&self, from_s: f64, to_s: f64) -> Option<&Arc<str>> {
        let changes = self.later.iter().map(|(t_s, _)| *t_s).filter(|t_s| (from_s..to_s).contains(t_s));
        let mut held: Vec<(Option<&Arc<str>>, f64)> = Vec::new();
        let mut since_s = from_s;
        for until_s in changes.chain([to_s]) {
            let holder = self.at(since_s);
            match held.iter_mut().find(|(other, _)| *other == holder) {
                Some((_, seconds)) => *seconds += until_s - since_s,
                None => held.push((holder, until_s - since_s)),
            }
            since_s = until_s;
        }
        held.into_iter().reduce(|best, next| if next.1 > best.1 { next } else { best }).and_then(|(holder, _)| holder)
    }
}

fn told(text: &str) -> Option<Arc<str>> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_held_it_longest_did_the_work() {
        let mut hands = Hands::new("Technician A");
        hands.pass_to(100.0, "Technician B");
        hands.pass_to(110.0, " ");
        hands.pass_to(120.0, "Technician A");
        let mostly = |from_s, to_s| hands.mostly(from_s, to_s).map(|name| &**name);
        assert_eq!(mostly(0.0, 90.0), Some("Technician A"));
        assert_eq!(mostly(90.0, 119.0), Some("Technician B"));
        assert_eq!(mostly(81.0, 101.0), Some("Technician A"));
        // Two shorter stretches together are longer than the one between.
        assert_eq!(mostly(85.0, 130.0), Some("Technician A"));
        assert_eq!(mostly(100.0, 100.0), Some("Technician B"));
        assert_eq!(hands.at(99.9).map(|name| &**name), Some("Technician A"));
        assert_eq!(hands.at(119.9).map(|name| &**name), Some("Technician B"));
    }

    #[test]
    fn whoever_comes_back_in_other_letters_is_the_same() {
        let mut hands = Hands::new("Technician A");
        hands.pass_to(10.0, "Technician B");
        hands.pass_to(20.0, " technician a ");
        assert_eq!(hands.at(25.0), hands.at(0.0));
        assert_eq!(hands.at(25.0).map(|name| &**name), Some("Technician A"));
    }

    #[test]
    fn not_told_stays_not_told() {
        let mut hands = Hands::new("");
        assert_eq!(hands.mostly(0.0, 60.0), None);
        hands.pass_to(50.0, "Technician B");
        assert_eq!(hands.mostly(0.0, 60.0), None);
        assert_eq!(hands.mostly(45.0, 60.0).map(|name| &**name), Some("Technician B"));
    }

    #[test]
    fn parts_follow_who_is_told_to_have_begun() {
        let mut hands = Hands::new("Technician A");
        for (t_s, to) in [(10.0, "Technician B"), (20.0, "technician a"), (30.0, "Technician C")] {
            hands.pass_to(t_s, to);
        }
        assert_eq!([0.0, 10.0, 25.0, 99.0].map(|t_s| hands.turn_at(t_s)), [0, 1, 2, 3]);
        assert_eq!(hands.parts(" technician A"), [1, 2, 1, 3]);
        assert_eq!(hands.parts("Technician B"), [1, 1, 2, 3]);
        assert_eq!(hands.parts(""), [1, 2, 3, 4]);
    }
}
