//! Technicians, machines, or pads and liquids against each other, and one technician over time, on the same figures.
//!
//! # Data flow
//!
//! ```text
//! Shop ─► gather (groups of working days) ─► model (estimates, differences, trends) ─► Comparison
//!                                                                   ├─► words: a sentence for what stands out, else silence
//!                                                                   └─► tables (CSV), drawings (PNG), one page (HTML)
//! ```
//!
//! # What is claimed, and how often wrongly
//!
//! All differences and trends of one comparison are one family: in a shop where nobody differs and nothing changes, at most
//! [`FALSE_RATE`] of comparisons claim anything at all (Holm's procedure). What does not stand out is not called equal; its
//! interval says how far apart it might be.
//!
//! Figures describe what was measured, not how good somebody is: no ranks, no scores.

pub mod draw;
mod figures;
mod gather;
pub mod lesson;
pub mod model;
pub mod page;
pub mod reference;
pub mod tables;
#[cfg(test)]
mod tests;
mod words;

pub use figures::{FIGURES, Figure};
pub use gather::{GroupDays, Question, WorkingDay, gather};
use model::{Difference, Estimate, FEWEST_DAYS, Trend};

/// Share of comparisons that may claim something where there is nothing.
pub const FALSE_RATE: f64 = 0.05;

/// What makes a group.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum By {
    /// Who worked.
    #[default]
    Technician,
    /// The machine.
    Machine,
    /// Pad and liquid together.
    PadAndLiquid,
}

/// One group, estimated.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What it did.
    pub data: GroupDays,
    /// Per figure.
    pub estimates: [Option<Estimate>; FIGURES],
    /// Per figure, over its working days (first day 0, next working day 1, ...); only for technicians.
    pub trends: [Option<Trend>; FIGURES],
}

/// Two groups on one figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contrast {
    /// The figure.
    pub figure: Figure,
    /// Index of the first group.
    pub a: usize,
    /// Index of the second.
    pub b: usize,
    /// First minus second.
    pub difference: Difference,
    /// Whether it stands out, within [`FALSE_RATE`].
    pub stands_out: bool,
}

/// One group on one figure over time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// The figure.
    pub figure: Figure,
    /// Index of the group.
    pub group: usize,
    /// Per working day.
    pub trend: Trend,
    /// Whether it stands out, within [`FALSE_RATE`].
    pub stands_out: bool,
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What makes a group.
    pub by: By,
    /// The groups, by name.
    pub groups: Vec<Group>,
    /// Every pair on every figure where both have enough days.
    pub contrasts: Vec<Contrast>,
    /// Every technician on every figure with enough days.
    pub changes: Vec<Change>,
    /// Differences and trends that were looked at, all told.
    pub family: usize,
}

impl Comparison {
    /// Estimates, differences and trends.
    pub fn of(by: By, groups: Vec<GroupDays>) -> Self {
        let groups: Vec<Group> = groups.into_iter().map(|data| Group::of(by, data)).collect();
        let mut contrasts = Vec::new();
        let mut changes = Vec::new();
        for figure in Figure::ALL {
            let i = figure.index();
            for (a, first) in groups.iter().enumerate() {
                changes.extend(first.trends[i].map(|trend| Change { figure, group: a, trend, stands_out: false }));
                for (b, second) in groups.iter().enumerate().skip(a + 1) {
                    let both = first.estimates[i].as_ref().zip(second.estimates[i].as_ref());
                    if let Some(difference) = both.and_then(|(a, b)| Difference::of(a, b)) {
                        contrasts.push(Contrast { figure, a, b, difference, stands_out: false });
                    }
                }
            }
        }
        let p: Vec<Option<f64>> = contrasts
            .iter()
            .map(|c| model::p_value(c.difference.value, &c.difference.error))
            .chain(changes.iter().map(|c| model::p_value(c.trend.slope, &c.trend.error)))
            .collect();
        let known: Vec<f64> = p.iter().map(|p| p.unwrap_or(1.0)).collect();
        let out = model::stand_out(&known, FALSE_RATE);
        let split = contrasts.len();
        contrasts.iter_mut().zip(&out).for_each(|(c, &out)| c.stands_out = out);
        changes.iter_mut().zip(&out[split..]).for_each(|(c, &out)| c.stands_out = out);
        Self { by, groups, contrasts, changes, family: out.len() }
    }

    /// Whether several technicians' days are together in any group.
    pub fn days_of_several(&self) -> bool {
        self.groups.iter().any(|g| g.data.technicians.len() > 1)
    }

    /// Whether any figure comes from a virtual sensor or a generator.
    pub fn invented(&self) -> bool {
        self.groups.iter().any(|g| g.data.invented > 0)
    }
}

impl Group {
    fn of(by: By, data: GroupDays) -> Self {
        let mut estimates = [None; FIGURES];
        let mut trends = [None; FIGURES];
        for (i, days) in data.days.iter().enumerate() {
            let only: Vec<model::Day> = days.iter().map(|d| d.gave).collect();
            estimates[i] = model::estimate(&only);
            if by == By::Technician {
                // Only working days count: a holiday is no practice.
                let times: Vec<f64> = (0..only.len()).map(|j| j as f64).collect();
                trends[i] = model::trend(&only, &times);
            }
        }
        Self { data, estimates, trends }
    }

    /// Whether it has too few days for any interval.
    pub fn too_few(&self) -> bool {
        self.data.day_count() < FEWEST_DAYS
    }
}
