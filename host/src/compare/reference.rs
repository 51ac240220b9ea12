//! The trainer's session, and another beside it.

use super::gather::Names;
use super::{FIGURES, Figure};
use crate::guidance::{Band, Units};
use crate::shop::{Id, PassFigures, Session, Shop};

/// One section's figures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReferenceSection {
    /// Means over its passes, SI, by place in [`Figure::ALL`].
    pub means: [Option<f64>; FIGURES],
    /// The 90 % interval of the mean arm speed, m/s.
    pub arm_speed_90_mps: Option<(f64, f64)>,
    /// The warmest moment of all its passes, K.
    pub highest_rise_k: Option<f64>,
    /// Over the limit of its session's own plan in all its passes, s.
    pub over_limit_s: Option<f64>,
}

/// A session's sections in order.
///
/// # Errors
/// When the store cannot be read.
pub fn sections(shop: &Shop, session: Id) -> crate::shop::Result<Vec<ReferenceSection>> {
    let passes: Vec<PassFigures> = shop.pass_figures()?.into_iter().filter(|p| p.session == session).collect();
    Ok(passes.chunk_by(|a, b| a.section == b.section).map(section).collect())
}

fn section(passes: &[PassFigures]) -> ReferenceSection {
    let known = |of: &dyn Fn(&PassFigures) -> Option<f64>| -> Vec<f64> { passes.iter().filter_map(of).collect() };
    let mean = |values: &[f64]| (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
    let mut means = [None; FIGURES];
    for figure in Figure::ALL {
        means[figure.index()] = mean(&known(&|p| figure.of(p)));
    }
    means[Figure::PassesPerSection.index()] = Some(passes.len() as f64);
    // The stroke length is told or found once for all passes, so their errors go together: the ends are averaged, not narrowed.
    let has_all = passes.iter().all(|p| Figure::ArmSpeed.of(p).is_none() || p.arm_speed_90_mps.is_some());
    let ends = |end: &dyn Fn((f64, f64)) -> f64| mean(&known(&|p| p.arm_speed_90_mps.map(end)));
    let over = known(&|p| p.seconds_over_limit);
    ReferenceSection {
        means,
        arm_speed_90_mps: ends(&|(lo, _)| lo).zip(ends(&|(_, hi)| hi)).filter(|_| has_all),
        highest_rise_k: known(&|p| Figure::SurfaceRise.of(p)).into_iter().reduce(f64::max),
        over_limit_s: (!over.is_empty()).then(|| over.iter().sum()),
    }
}

/// What differs between two sessions besides the hands, in words, as [`super::Comparison::cautions`] has it of groups.
///
/// # Errors
/// When the store cannot be read.
pub fn cautions(shop: &Shop, sessions: [&Session; 2], units: Units) -> crate::shop::Result<Vec<String>> {
    let names = Names::of(shop)?;
    let machine = |s: &Session| s.machine.map_or(String::new(), |m| names.machine(m));
    let product = |s: &Session| names.product(s).unwrap_or_default();
    let paint = |s: &Session| names.paint(s);
    let band = |s: &Session| units.arm_speed_band(Band { lo: s.pace_mps.0, hi: s.pace_mps.1 });
    let limit = |s: &Session| units.rise(s.heat_limit_k);
    let between = |what: &str| format!(": what looks like a difference between hands may be one between {what}");
    let differences: [(&str, [String; 2], String); 5] = [
        ("The machines differ", sessions.map(machine), between("machines")),
        ("The pads and liquids differ", sessions.map(product), between("pads and liquids")),
        ("The paints differ", sessions.map(paint), between("paints")),
        (
            "The plans asked for other arm speed bands",
            sessions.map(band),
            ", so time in the band is not the same question".into(),
        ),
        (
            "The plans had other limits of the surface rise",
            sessions.map(limit),
            ", so each was warned at another".into(),
        ),
    ];
    let of = |s: &Session, name: &str| format!("session {}: {}", s.id, if name.is_empty() { "not told" } else { name });
    let differ = differences.into_iter().filter(|(_, [a, b], _)| a != b);
    let words = |(what, [a, b], so): (&str, [String; 2], String)| {
        format!("{what} ({}; {}){so}.", of(sessions[0], &a), of(sessions[1], &b))
    };
    Ok(differ.map(words).collect())
}
