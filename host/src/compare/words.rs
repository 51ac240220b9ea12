//! Sentences: one for what stands out, none for what does not, and cautions about what the figures cannot tell.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::model::{FEWEST_DAYS, FEWEST_TREND_DAYS, LEVEL};
use super::{By, Change, Comparison, Contrast, FALSE_RATE, Group, GroupDays};
use crate::guidance::Units;

/// Names of what a group worked with, by passes.
type Names = fn(&GroupDays) -> &BTreeMap<String, usize>;

/// Work that differs less between two groups than by this share of their passes is no caution: it moves a mean by no more than a
/// tenth of what lies between the two kinds of work. This program's choice.
const LITTLE: f64 = 0.1;

impl Comparison {
    /// A sentence for each difference and each trend that stands out, largest evidence first within each kind.
    pub fn findings(&self, units: Units) -> Vec<String> {
        let evidence = |value: f64, se: f64| (value / se).abs();
        let mut contrasts: Vec<&Contrast> = self.contrasts.iter().filter(|c| c.stands_out).collect();
        contrasts.sort_by(|x, y| {
            let of = |c: &Contrast| evidence(c.difference.value, c.difference.error.se);
            of(y).total_cmp(&of(x))
        });
        let mut changes: Vec<&Change> = self.changes.iter().filter(|c| c.stands_out).collect();
        changes.sort_by(|x, y| {
            let of = |c: &Change| evidence(c.trend.slope, c.trend.error.se);
            of(y).total_cmp(&of(x))
        });
        let differences = contrasts.iter().map(|c| self.contrast_words(c, units));
        differences.chain(changes.iter().map(|c| self.change_words(c, units))).collect()
    }

    fn contrast_words(&self, contrast: &Contrast, units: Units) -> String {
        let figure = contrast.figure;
        let (mut high, mut low) = (contrast.a, contrast.b);
        let (mut value, (mut lo, mut hi)) = (contrast.difference.value, contrast.difference.interval());
        if value < 0.0 {
            std::mem::swap(&mut high, &mut low);
            (value, lo, hi) = (-value, -hi, -lo);
        }
        let (high, low) = (&self.groups[high], &self.groups[low]);
        let claim = match self.by {
            By::Technician => figure.people(&high.data.name, &low.data.name),
            By::Machine | By::PadAndLiquid => figure.things(&high.data.name, &low.data.name),
        };
        let mean = |group: &Group| group.estimates[figure.index()].map_or(f64::NAN, |e| e.mean);
        let days = |group: &Group| group.estimates[figure.index()].map_or(0, |e| e.days);
        let ends = (figure.possible_difference(lo), figure.possible_difference(hi));
        let [value, lo, hi] = figure.with_interval(value, ends, units);
        let points = if figure.unit(units) == "%" { "points" } else { figure.unit(units) };
        format!(
            "{claim}: {} against {}, {value} {points} more ({:.0} % interval {lo} to {hi}; {} and {} working days).",
            figure.words(mean(high), units),
            figure.words(mean(low), units),
            LEVEL * 100.0,
            days(high),
            days(low),
        )
        .replace("  ", " ")
    }

    fn change_words(&self, change: &Change, units: Units) -> String {
        let (figure, trend) = (change.figure, &change.trend);
        let way = if trend.slope > 0.0 { "has gone up" } else { "has come down" };
        format!(
            "{}: {} {way} from about {} to about {} over {} working days.",
            self.groups[change.group].data.name,
            figure.spoken(),
            figure.words(figure.possible(trend.ends.0), units),
            figure.words(figure.possible(trend.ends.1), units),
            trend.days,
        )
    }

    /// What the figures cannot tell.
    pub fn cautions(&self) -> Vec<String> {
        let mut cautions = Vec::new();
        for group in &self.groups {
            let (name, days) = (&group.data.name, group.data.days_words());
            if group.too_few() {
                cautions.push(format!(
                    "{name} has {days}: too few to say how the figures vary from day to day. From {FEWEST_DAYS} days \
                     on there are intervals, and ten days make them useful."
                ));
            }
            if let Some(n) = Some(group.data.without_machine).filter(|n| *n > 0 && self.by == By::Technician) {
                cautions.push(format!(
                    "{n} of {name}'s {} sessions {} no machine (`name` under [machine] in the plan), so they cannot be told \
                     apart by machine.",
                    group.data.sessions,
                    if n == 1 { "names" } else { "name" }
                ));
            }
        }
        for (i, group) in self.groups.iter().enumerate() {
            if self.changes.iter().any(|c| c.group == i && c.stands_out) {
                cautions.push(format!(
                    "{} changed over these days: a mean lies between how it was and how it is. `--from YYYY-MM-DD` looks at the \
                     latest days only.",
                    group.data.name
                ));
            }
        }
        cautions.extend(self.unlike_work());
        let other = self.passes_by_other_bands();
        if other > LITTLE {
            cautions.push(format!(
                "Not all plans asked for the same arm speed band ({} of the passes had another than most), so time in the band is \
                 not the same question.",
                percent(other)
            ));
        }
        cautions
    }

    /// The share of passes that went by another band than most did.
    fn passes_by_other_bands(&self) -> f64 {
        let mut bands: BTreeMap<(i64, i64), usize> = BTreeMap::new();
        for (band, passes) in self.groups.iter().flat_map(|g| &g.data.bands) {
            *bands.entry(*band).or_default() += passes;
        }
        let (all, most) = (bands.values().sum::<usize>(), bands.values().max().copied().unwrap_or(0));
        if all == 0 { 0.0 } else { 1.0 - most as f64 / all as f64 }
    }

    /// What else differs between the groups than what they are compared by.
    fn unlike_work(&self) -> Vec<String> {
        let compared = match self.by {
            By::Technician => "technicians",
            By::Machine => "machines",
            By::PadAndLiquid => "pads and liquids",
        };
        let like = |options: &str| format!(" `{options}` compares like with like.");
        let others: [(&str, &str, String, Names); 4] = [
            ("machines", "machines", like("--machine NAME"), |g| &g.machines),
            ("technicians", "hands", like("--technician NAME"), |g| &g.technicians),
            ("pads and liquids", "pads and liquids", like("--pad NAME --liquid NAME"), |g| &g.products),
            ("paints", "paints", String::new(), |g| &g.paints),
        ];
        let differ = |pick: Names| {
            let from_earlier = |(i, a): (usize, &Group)| {
                self.groups[..i].iter().any(|b| unlike(pick(&a.data), pick(&b.data)) > LITTLE)
            };
            self.groups.iter().enumerate().any(from_earlier)
        };
        let list = |pick: Names| {
            let of = |g: &Group| format!("{}: {}", g.data.name, few(pick(&g.data)));
            self.groups.iter().map(of).collect::<Vec<_>>().join("; ")
        };
        others
            .into_iter()
            .filter(|(what, _, _, pick)| *what != compared && differ(*pick))
            .map(|(what, between, like, pick)| {
                format!(
                    "The {what} differ ({}): what looks like a difference between {compared} may be one between {between}.{like}",
                    list(pick)
                )
            })
            .collect()
    }

    /// What is said where there is no finding: that nothing stands out only where something was looked at.
    pub fn nothing_words(&self) -> String {
        if self.family > 0 {
            return "Nothing stands out.".into();
        }
        match (self.by, self.groups.len()) {
            (By::Technician, 0 | 1) => {
                format!("Too few days to compare: a trend needs {FEWEST_TREND_DAYS} working days.")
            }
            (By::Machine, 0 | 1) => "Nothing to compare: these sessions are of one machine.".into(),
            (By::PadAndLiquid, 0 | 1) => "Nothing to compare: these sessions are of one pad and liquid.".into(),
            _ => format!("Too few days to compare: two of them need {FEWEST_DAYS} working days each."),
        }
    }

    /// How often a claim would be wrong, and what a day is.
    pub fn rate_words(&self) -> String {
        let unit = if self.days_of_several() {
            "The working day of one technician is the unit, not the stroke: a date on which three worked counts as three days"
        } else {
            "The working day is the unit, not the stroke"
        };
        if self.family == 0 {
            return format!("{unit}.");
        }
        format!(
            "{} differences and trends were looked at together; where nobody differs and nothing changes, at most {:.0} in 100 \
             such comparisons claim anything. {unit}; a difference that is not listed is not thereby nil, its interval says how \
             large it may be.",
            self.family,
            FALSE_RATE * 100.0
        )
    }
}

/// The share of passes that would have to be of another kind for two groups to have worked alike (total variation distance); none
/// where one has no passes.
fn unlike(a: &BTreeMap<String, usize>, b: &BTreeMap<String, usize>) -> f64 {
    let all = |of: &BTreeMap<String, usize>| of.values().sum::<usize>() as f64;
    if all(a) == 0.0 || all(b) == 0.0 {
        return 0.0;
    }
    let share = |of: &BTreeMap<String, usize>, name: &str| of.get(name).map_or(0.0, |n| *n as f64 / all(of));
    let names: BTreeSet<&str> = a.keys().chain(b.keys()).map(String::as_str).collect();
    names.into_iter().map(|name| (share(a, name) - share(b, name)).max(0.0)).sum()
}

/// "12 %"; what is not nothing is shown as no less than one.
fn percent(share: f64) -> String {
    format!("{:.0} %", (share * 100.0).clamp(1.0, 100.0))
}

/// The names that most passes have, with their shares where there are several, and how many more there are.
fn few(names: &BTreeMap<String, usize>) -> String {
    const MOST: usize = 4;
    let all: usize = names.values().sum();
    let mut by_passes: Vec<(&str, usize)> =
        names.iter().filter(|(_, n)| **n > 0).map(|(name, n)| (name.as_str(), *n)).collect();
    by_passes.sort_by_key(|(_, n)| Reverse(*n));
    let alone = by_passes.len() == 1;
    let told = by_passes.iter().take(MOST).map(|(name, n)| {
        let name = if name.is_empty() { "not told" } else { name };
        if alone { name.to_owned() } else { format!("{name} {}", percent(*n as f64 / all as f64)) }
    });
    let mut words = told.collect::<Vec<_>>().join(", ");
    if by_passes.len() > MOST {
        let _ = write!(words, " and {} more", by_passes.len() - MOST);
    }
    words
}
