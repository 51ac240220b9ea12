//! What was tried on test spots, and why this pad and liquid were taken.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::{NOT_NAMED, OwnerReport, PanelWork};
use crate::drawing::canvas::escape;
use crate::guidance::units::count;
use crate::name;
use crate::shop::trial::{History, Verdict};
use crate::shop::{Id, Result, Shop, Trial};

/// What was tried on a part, to choose pad and liquid.
#[derive(Clone, Debug, PartialEq)]
pub struct TestSpot {
    /// The part; empty where it was not named.
    pub panel: String,
    /// Pads with liquids and what came of each, mildest first.
    pub tries: Vec<(String, Trial)>,
    /// Place in `tries` of the mildest that reached the finish.
    pub chosen: Option<usize>,
}

pub(super) fn test_spots(shop: &Shop, vehicle: Id) -> Result<Vec<TestSpot>> {
    // The age of paints is asked for by proposals only.
    let history = History::of(shop, 0)?;
    let spot = |verdict: Verdict| TestSpot {
        panel: verdict.panel,
        tries: verdict.tries.into_iter().map(|(trial, name)| (name, trial)).collect(),
        chosen: verdict.keep,
    };
    Ok(history.verdicts(vehicle, None).into_iter().map(spot).collect())
}

impl TestSpot {
    /// For the owner: no grades of the trade beyond what can be seen.
    fn words(&self) -> String {
        let tried = |(name, trial): &(String, Trial)| {
            let left = trial.left();
            let left = if left.is_empty() { String::new() } else { format!(", left {}", left.join(" and ")) };
            let word = if trial.finished() { "brought the finish" } else { "did not bring the finish" };
            format!("{name}, {}: {word}{left}", count(trial.passes, "pass", "passes"))
        };
        let tries = self.tries.iter().map(tried).collect::<Vec<_>>().join("; ");
        match self.chosen() {
            Some((name, _)) => format!("{tries}. The mildest that brought it: {name}."),
            None => format!("{tries}."),
        }
    }

    fn chosen(&self) -> Option<&(String, Trial)> {
        self.tries.get(self.chosen?)
    }

    /// What did not go as a test spot is meant to: tried when work had begun, or polished with something else.
    fn otherwise(&self, report: &OwnerReport) -> Vec<String> {
        let name = if self.panel.is_empty() { NOT_NAMED } else { &self.panel };
        let (own, others): (Vec<&PanelWork>, Vec<_>) =
            report.panels.iter().filter(|p| p.passes > 0).partition(|p| name::same(&p.name, name));
        // A spot on a part that was not polished was tried for the others.
        let (part, works) = if own.is_empty() { ("the vehicle", others) } else { ("the part", own) };
        let begun = works.iter().flat_map(|p| &p.days).min();
        let tried = self.chosen().map(|(_, t)| &t.day).or(self.tries.iter().map(|(_, t)| &t.day).min());
        let late = begun.zip(tried).filter(|(begun, tried)| begun < tried);
        let late = late.map(|_| format!("This was tried when work on {part} had begun."));
        let used: BTreeSet<&str> = works.iter().flat_map(|p| &p.products).map(String::as_str).collect();
        let other = self.chosen().filter(|(name, _)| !used.is_empty() && !used.contains(name.as_str()));
        let other = other.map(|_| {
            let used: Vec<&str> = used.into_iter().collect();
            format!("Noted for {part} is {}.", used.join("; "))
        });
        late.into_iter().chain(other).collect()
    }
}

pub(super) fn spots(html: &mut String, report: &OwnerReport) {
    if report.spots.is_empty() {
        return;
    }
    let otherwise: Vec<Vec<String>> = report.spots.iter().map(|spot| spot.otherwise(report)).collect();
    html.push_str(if otherwise.iter().all(Vec::is_empty) {
        "<h2>How we chose pad and liquid</h2>\n<p>We tried on a small spot first, so that the mildest that does it is used and no more \
         paint is taken than needed. From the mildest on:</p>\n<ul>\n"
    } else {
        "<h2>What we tried on a small spot</h2>\n<p>To find the mildest pad and liquid that does it, so that no more paint is taken \
         than needed. From the mildest on:</p>\n<ul>\n"
    });
    for (spot, otherwise) in report.spots.iter().zip(&otherwise) {
        let panel = if spot.panel.is_empty() { "part not named" } else { &spot.panel };
        let words = std::iter::once(&spot.words()).chain(otherwise).map(String::as_str).collect::<Vec<_>>().join(" ");
        let _ = writeln!(html, "<li><strong>{}:</strong> {}</li>", escape(panel), escape(&words));
    }
    html.push_str("</ul>\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guidance::Units;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::papers::{owner_report, report_html};

    #[test]
    fn the_owner_reads_why_this_pad_and_liquid() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        let vehicle = cast.vehicles[0];
        let page = || report_html(&owner_report(&shop, vehicle).expect("known"), Units::Si);
        assert!(!page().contains("How we chose"));
        let tries = [("Bonnet", 1, true, 0), ("bonnet", 0, false, 0), ("bonnet", 2, true, 1), ("<Roof>", 0, true, 3)];
        for (panel, product, finish_reached, haze) in tries {
            let trial = Trial {
                vehicle,
                panel: panel.into(),
                day: "2026-03-02".into(),
                technician: cast.technicians[0],
                machine: None,
                pad: cast.pads[product],
                liquid: cast.liquids[product],
                session: None,
                passes: 4,
                finish_reached,
                haze,
                holograms: 0,
                film_taken_um: None,
                note: String::new(),
            };
            shop.add_trial(&trial).expect("added");
        }
        let page = page();
        let bonnet = "<strong>bonnet:</strong> soft foam with finishing, 4 passes: did not bring the finish; medium foam with one-step, 4 passes: brought \
                      the finish; short wool with cutting, 4 passes: brought the finish, left slight haze. The mildest that brought it: medium \
                      foam with one-step.</li>";
        assert!(page.contains(bonnet), "{page}");
        let roof = "<strong>&lt;Roof&gt;:</strong> soft foam with finishing, 4 passes: did not bring the finish, left heavy haze.</li>";
        assert!(page.contains(roof), "{page}");
        assert!(!page.contains(STYLES[0].name), "the page names no technician");
    }

    /// Tried after the work, or polished with something else: then it was not "first", nor the choice.
    #[test]
    fn the_owner_reads_first_only_of_what_came_first_and_was_used() {
        let tried = |day: &str, name: &str| {
            let trial = Trial {
                vehicle: 1,
                panel: "Bonnet".into(),
                day: day.into(),
                technician: 1,
                machine: None,
                pad: 1,
                liquid: 2,
                session: None,
                passes: 4,
                finish_reached: true,
                haze: 0,
                holograms: 0,
                film_taken_um: None,
                note: String::new(),
            };
            TestSpot { panel: "bonnet".into(), tries: vec![(name.into(), trial)], chosen: Some(0) }
        };
        let page = |spot: TestSpot| {
            let bonnet = PanelWork {
                name: "Bonnet".into(),
                days: vec!["2026-03-03".into()],
                passes: 2,
                products: vec!["medium foam with polish".into()],
                ..PanelWork::default()
            };
            report_html(&OwnerReport { spots: vec![spot], panels: vec![bonnet], ..OwnerReport::default() }, Units::Si)
        };
        let used = "medium foam with polish";
        let first = page(tried("2026-03-03", used));
        assert!(
            first.contains("How we chose") && first.contains("small spot first") && !first.contains("had begun"),
            "{first}"
        );
        let late = page(tried("2026-03-04", used));
        assert!(!late.contains("first,") && !late.contains("How we chose"), "{late}");
        assert!(
            late.contains("medium foam with polish. This was tried when work on the part had begun.</li>"),
            "{late}"
        );
        let other = page(tried("2026-03-02", "soft foam with polish"));
        assert!(
            !other.contains("first,") && other.contains("Noted for the part is medium foam with polish.</li>"),
            "{other}"
        );
        let mut elsewhere = tried("2026-03-04", used);
        elsewhere.panel = "roof".into();
        assert!(page(elsewhere).contains("when work on the vehicle had begun"));
    }
}
