//! The trainer's session, and another beside it.

use super::draw::ReferenceSection;
use super::gather::Names;
use super::{FIGURES, Figure};
use crate::guidance::{Band, Units};
use crate::shop::{Id, PassFigures, Session, Shop};

/// A session's sections in order, each figure the mean over its passes.
///
/// # Errors
/// When the store cannot be read.
pub fn sections(shop: &Shop, session: Id) -> crate::shop::Result<Vec<ReferenceSection>> {
    let passes: Vec<PassFigures> = shop.pass_figures()?.into_iter().filter(|p| p.session == session).collect();
    let section = |passes: &[PassFigures]| {
        let mut means = [None; FIGURES];
        for figure in Figure::ALL {
            let values: Vec<f64> = passes.iter().filter_map(|p| figure.of(p)).collect();
            means[figure.index()] = (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
        }
        means[Figure::PassesPerSection.index()] = Some(passes.len() as f64);
        means
    };
    Ok(passes.chunk_by(|a, b| a.section == b.section).map(section).collect())
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
