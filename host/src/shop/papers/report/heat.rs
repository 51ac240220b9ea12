//! How warm a part got, beside the limit that it was worked under.

use crate::guidance::Units;
use crate::shop::papers::Known;

/// A surface rise, and the limit of the plan it was worked under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warm {
    /// K.
    pub rise_k: f64,
    /// K.
    pub limit_k: f64,
}

impl Warm {
    /// How far above its limit, K; negative below it.
    pub(super) fn above_k(self) -> f64 {
        self.rise_k - self.limit_k
    }
}

/// The largest rise beside its own limit; and the one that went too far, where that is another. Within the limit is said only where
/// the rise of every pass is known: of another it is known by nobody.
pub(super) fn warmest(warm: Warm, above: Option<Warm>, known: Known, units: Units) -> String {
    let words = |warm: Warm| {
        let (rise, limit) = (units.rise(warm.rise_k), units.rise(warm.limit_k));
        match (warm.above_k() > 0.0, known.in_all()) {
            (true, _) => format!("{rise}, above our limit of {limit}"),
            (false, true) => format!("{rise}, within our limit of {limit}"),
            (false, false) => format!("{rise}, with our limit at {limit}"),
        }
    };
    let all = match above.filter(|_| warm.above_k() <= 0.0) {
        Some(above) => format!("{}; another time {}", words(warm), words(above)),
        None => words(warm),
    };
    if known.in_all() { all } else { format!("{}: {all}", known.words()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::Shop;
    use crate::shop::demo::{Extent, STYLES, generate, one_session};
    use crate::shop::papers::{owner_report, report_html};

    #[test]
    fn a_rise_stands_beside_the_limit_it_was_worked_under() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 2, sections: 1 }, 4).expect("generated");
        let page = |sessions: &[(f64, f64)]| {
            for (day, (rise_k, limit_k)) in sessions.iter().enumerate() {
                let mut new = one_session(&cast, 0, &STYLES[0], day as u32);
                (new.vehicle, new.panel, new.heat_limit_k) = (Some(cast.vehicles[0]), "Roof".into(), *limit_k);
                new.sections.iter_mut().flat_map(|s| &mut s.passes).for_each(|p| p.surface_rise_k = Some(*rise_k));
                shop.file(&new).expect("filed");
            }
            let report = owner_report(&shop, cast.vehicles[0]).expect("known");
            let roof = report.panels.iter().find(|p| p.name == "Roof").expect("worked");
            warmest(roof.warmest.expect("measured"), roof.above, roof.rise_known(), Units::Si)
        };
        assert_eq!(page(&[(13.0, 15.0), (10.0, 11.1)]), "+13.0 K, within our limit of +15.0 K");
        assert_eq!(page(&[(13.0, 11.1), (10.0, 11.1)]), "+13.0 K, above our limit of +11.1 K");
        assert_eq!(
            page(&[(13.0, 15.0), (12.0, 11.1)]),
            "+13.0 K, within our limit of +15.0 K; another time +12.0 K, above our limit of +11.1 K"
        );
    }

    /// As where the thermometer gave up during a session: how warm the other passes got nobody knows.
    #[test]
    fn within_the_limit_is_said_only_where_every_pass_has_a_rise() {
        let page = |rises: [Option<f64>; 2]| {
            let shop = Shop::in_memory();
            let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
            let mut new = one_session(&cast, 0, &STYLES[0], 1);
            (new.vehicle, new.panel, new.heat_limit_k) = (Some(cast.vehicles[0]), "Roof".into(), 11.1);
            new.sections.truncate(1);
            let passes = &mut new.sections[0].passes;
            passes.truncate(2);
            passes.iter_mut().zip(rises).for_each(|(pass, rise_k)| pass.surface_rise_k = rise_k);
            shop.file(&new).expect("filed");
            report_html(&owner_report(&shop, cast.vehicles[0]).expect("known"), Units::Si).replace('\u{a0}', " ")
        };
        let whole = page([Some(8.9), Some(8.0)]);
        assert!(whole.contains(">+8.9 K, within our limit of +11.1 K<"), "{whole}");
        let in_part = page([Some(8.9), None]);
        assert!(in_part.contains(">known in 1 of 2 passes: +8.9 K, with our limit at +11.1 K<"), "{in_part}");
        let above = page([Some(13.0), None]);
        assert!(above.contains(">known in 1 of 2 passes: +13.0 K, above our limit of +11.1 K<"), "{above}");
    }
}
