//! The trainer's session, and another beside it.

use super::draw::ReferenceSection;
use super::{FIGURES, Figure};
use crate::shop::{Id, PassFigures, Shop};

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
