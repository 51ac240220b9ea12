//! What filing a recording again put in the place of what: a session before and after, in words.

use crate::guidance::{
    Band, Units,
    units::{count, duration},
};
use crate::shop::{Id, PassFigures, Result, Session, Shop};

/// A session whose figures were replaced.
#[derive(Clone, Debug, PartialEq)]
pub struct Replaced {
    /// Its row.
    pub session: Id,
    before: Outline,
    after: Outline,
}

/// A session with its names, to be held against itself.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Outline {
    /// What it was filed under, each with what that is.
    names: Vec<(&'static str, String)>,
    session: Session,
    passes: Vec<PassFigures>,
}

impl Replaced {
    pub(super) fn new(before: Outline, after: Outline) -> Self {
        Self { session: after.session.id, before, after }
    }

    /// What changed, each with what it was; or that nothing did.
    pub fn words(&self, units: Units) -> String {
        let (before, after) = (self.before.told(units), self.after.told(units));
        let changed: Vec<String> = before
            .into_iter()
            .zip(after)
            .filter(|(before, after)| before != after)
            .map(|((what, before), (_, after))| format!("{what} {before} before, {after} now"))
            .collect();
        if !changed.is_empty() {
            changed.join("; ")
        } else if self.before.passes == self.after.passes {
            let passes = self.after.passes.len();
            format!("the same figures as before, {}", count(passes, "pass", "passes"))
        } else {
            "figures of its passes changed, none of those that are told here".to_owned()
        }
    }
}

impl Outline {
    /// The row of the session.
    pub(super) fn session(&self) -> Id {
        self.session.id
    }

    /// What is told of it, in the order in which it is told.
    fn told(&self, units: Units) -> Vec<(&'static str, String)> {
        let (session, passes) = (&self.session, &self.passes);
        let mut sections: Vec<u32> = passes.iter().map(|p| p.section_number).collect();
        sections.dedup();
        let sum = |of: fn(&PassFigures) -> u32| passes.iter().map(of).sum::<u32>().to_string();
        let known = |figure: Option<String>| figure.unwrap_or_else(|| "not known".to_owned());
        let paces: Vec<f64> = passes.iter().filter_map(|p| p.arm_speed_mps).collect();
        let pace_mps = (!paces.is_empty()).then(|| paces.iter().sum::<f64>() / paces.len() as f64);
        let rise_k = passes.iter().filter_map(|p| p.surface_rise_k).reduce(f64::max);
        let mut told = self.names.clone();
        told.extend([
            ("sections", sections.len().to_string()),
            ("passes", passes.len().to_string()),
            ("strokes", sum(|p| p.strokes)),
            ("warnings during passes", sum(|p| p.warnings)),
            ("mean arm speed", known(pace_mps.map(|mps| units.arm_speed(mps)))),
            ("largest rise", known(rise_k.map(|k| units.rise(k)))),
            ("length", duration(session.seconds)),
            ("motor on for", duration(session.running_s)),
            ("pace to keep", units.arm_speed_band(Band { lo: session.pace_mps.0, hi: session.pace_mps.1 })),
            ("heat limit", units.rise(session.heat_limit_k)),
            ("missing", if session.lost.is_empty() { "nothing".to_owned() } else { session.lost.clone() }),
        ]);
        told
    }
}

impl Shop {
    /// A session as it is filed now.
    pub(super) fn outline(&self, session: Session) -> Result<Outline> {
        fn name(mut all: impl Iterator<Item = (Id, String)>, id: Option<Id>) -> String {
            id.and_then(|id| all.find(|(other, _)| *other == id))
                .map_or_else(|| "not told".to_owned(), |(_, name)| name)
        }
        let technicians = self.technicians()?.into_iter().map(|t| (t.id, t.entry.name));
        let machines = self.machines()?.into_iter().map(|m| (m.id, m.entry.name));
        let vehicles = self.vehicles()?.into_iter().map(|v| (v.id, v.entry.label));
        let products: Vec<(Id, String)> = self.products()?.into_iter().map(|p| (p.id, p.entry.name)).collect();
        let panel = if session.panel.is_empty() { "not told" } else { &session.panel };
        let names = vec![
            ("technician", name(technicians, Some(session.technician))),
            ("machine", name(machines, session.machine)),
            ("vehicle", name(vehicles, session.vehicle)),
            ("panel", panel.to_owned()),
            ("pad", name(products.iter().cloned(), session.pad)),
            ("liquid", name(products.iter().cloned(), session.liquid)),
        ];
        let mut passes = self.pass_figures_of_session(session.id)?;
        // Rows are new with every filing.
        passes.iter_mut().for_each(|p| (p.id, p.section) = (0, 0));
        Ok(Outline { names, session, passes })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};
    use crate::shop::{Filed, NewSession};

    #[test]
    fn what_a_filing_replaced_is_told() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let mut new = one_session(&cast, 0, &STYLES[0], 1);
        (new.fingerprint, new.panel) = ("again".into(), "Bonnet".into());
        let file = |new: &NewSession| -> (Filed, Outline) {
            let filed = shop.file(new).expect("filed");
            let session = shop.sessions().expect("read").into_iter().find(|s| s.id == filed.id()).expect("filed");
            (filed, shop.outline(session).expect("read"))
        };
        let (first, before) = file(&new);
        let (again, same) = file(&new);
        assert_eq!((first, again), (Filed::New(first.id()), Filed::Again(first.id())));
        let passes = same.passes.len();
        let words = Replaced::new(before.clone(), same).words(Units::Si);
        assert_eq!(words, format!("the same figures as before, {passes} passes"));

        // Too little to be seen in any figure, and no "same" all the same.
        new.sections[0].passes[0].pause_s = Some(77.0);
        let (_, paused) = file(&new);
        assert!(Replaced::new(before.clone(), paused).words(Units::Si).starts_with("figures of its passes changed"));

        new.sections.truncate(1);
        let kept = new.sections[0].passes.len();
        (new.panel, new.heat_limit_k, new.lost) = ("Roof".into(), 5.0, "3 samples".into());
        let (_, after) = file(&new);
        let words = Replaced::new(before, after).words(Units::Us);
        for part in [
            "panel Bonnet before, Roof now; ",
            &format!("passes {passes} before, {kept} now; "),
            "heat limit +20.0 °F before, +9.0 °F now; ",
            "missing nothing before, 3 samples now",
        ] {
            assert!(words.contains(part), "{part}: {words}");
        }
        assert!(!words.contains("technician") && !words.contains("vehicle"), "{words}");
    }
}
