//! The test spot: from what the shop has tried on paint like this, a small group and the two to try; afterwards, which one to
//! keep. Least aggressive first, always.
//!
//! # Data flow
//!
//! ```text
//! Trials + vehicles ─► cells (paint × combination) ─► chance (Beta-binomial) ─► Proposal with its evidence
//! tries on this vehicle ─┬─ what is left open between too mild and enough ──────────┘
//!                        └──────────────────────────────────────────────────────────► Verdict
//! ```
//!
//! A combination is one pad with one liquid. Its aggressiveness is the sum of the places of both in the shop's own orders, each
//! scaled to 0..1; equal sums are ordered by the pad, then by the film that tries took, then by the heat of their sessions, so that
//! the milder comes first. What was never measured comes after what was. A try that left heavy haze or holograms reached no finish.

mod chance;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

pub use chance::{Cell, Chance, chance};

use super::{Id, Known, Product, ProductKind, Result, Shop, Trial, Vehicle};
use crate::guidance::units::{count, decimals_of_interval};
use crate::name;

/// A pad with a liquid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Combination {
    /// The pad's row.
    pub pad: Id,
    /// The liquid's row.
    pub liquid: Id,
}

impl Trial {
    /// What was tried.
    fn combination(&self) -> Combination {
        Combination { pad: self.pad, liquid: self.liquid }
    }
}

/// What is known of a combination on paint like this.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Pad and liquid.
    pub combination: Combination,
    /// Names of both.
    pub name: String,
    /// 0 mildest to 2 most aggressive, in the shop's own order.
    pub aggressiveness: f64,
    /// Chance that it reaches the finish on this paint; `None` when it was never tried anywhere.
    pub chance: Option<Chance>,
    /// Tries on this class of paint, and how many reached the finish; none where not all of the class is known.
    pub here: (u32, u32),
    /// Tries on all paints, and how many reached the finish.
    pub all: (u32, u32),
    /// The latest try on paint like this: day, and by whom.
    pub latest: Option<(String, String)>,
}

impl Candidate {
    /// The chance, where the tries say anything about this paint: a chance of about anything is none.
    pub fn known_chance(&self) -> Option<Chance> {
        self.chance.filter(|c| c.lo > ANYTHING.0 || c.hi < ANYTHING.1)
    }
}

/// What to try.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The paint, in words.
    pub paint: String,
    /// Combinations around these, mildest first.
    pub group: Vec<Candidate>,
    /// Places in the group of the one or two to try, mildest first; none where the tries on the vehicle leave nothing open.
    pub two: Vec<usize>,
    /// Why these.
    pub why: Vec<String>,
    /// Whether any try says something about this paint.
    pub any_evidence: bool,
}

/// What the tries on a panel came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Panel, as one of them names it; empty where none does.
    pub panel: String,
    /// The tries, mildest first, with their names.
    pub tries: Vec<(Trial, String)>,
    /// Place in `tries` of the least aggressive one that reached the finish.
    pub keep: Option<usize>,
    /// In words.
    pub words: String,
}

/// A combination is worth a try as the mild one from this chance on: one in three.
const MILD_CHANCE: f64 = 1.0 / 3.0;
/// And as the sure one from this: three in four.
const SURE_CHANCE: f64 = 0.75;
/// A 90 % interval that reaches beyond both says nothing: this program's choice.
const ANYTHING: (f64, f64) = (0.1, 0.9);
/// A combination whose 90 % interval ends below this fails more often than not: this program's choice.
const UNLIKELY: f64 = 0.5;
/// How many a small group has.
const GROUP: usize = 5;

/// The word for a trait that is not known.
const UNKNOWN: &str = "unknown";

/// Paint in the classes that tries are pooled by. What is not known is no class.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PaintClass {
    kind: String,
    age: &'static str,
    colour: String,
    hardness: String,
}

impl PaintClass {
    /// Of a vehicle, in a year.
    pub fn of(vehicle: &Vehicle, year: i64) -> Self {
        let age = match vehicle.paint_year.map(|y| year - y) {
            None => UNKNOWN,
            Some(..=4) => "up to 4 years",
            Some(5..=11) => "5 to 11 years",
            Some(_) => "12 years or more",
        };
        Self { kind: vehicle.paint.clone(), age, colour: vehicle.colour.clone(), hardness: vehicle.hardness.clone() }
    }

    /// Whether every trait is known: else two paints that read alike may differ in all that is not.
    fn is_known(&self) -> bool {
        [&self.kind, self.age, &self.colour, &self.hardness].iter().all(|word| *word != UNKNOWN)
    }

    /// How much a try on the other paint says about this one: 1 for the same class, all of it known. Each trait that differs takes
    /// a factor; a trait not known on either side, or on both, takes half of it. The factors are this program's choice, no
    /// published source: hardness and kind decide most, age and colour less.
    pub fn likeness(&self, other: &Self) -> f64 {
        let factor = |a: &str, b: &str, other: f64| {
            if a == UNKNOWN || b == UNKNOWN {
                (1.0 + other) / 2.0
            } else if a == b {
                1.0
            } else {
                other
            }
        };
        factor(&self.kind, &other.kind, 0.3)
            * factor(&self.hardness, &other.hardness, 0.3)
            * factor(self.age, other.age, 0.7)
            * factor(&self.colour, &other.colour, 0.8)
    }

    fn words(&self) -> String {
        let known =
            |word: &str, what: &str| if word == UNKNOWN { format!("{what} not known") } else { word.to_owned() };
        let hardness = if self.hardness == UNKNOWN { "hardness not known".to_owned() } else { self.hardness.clone() };
        [known(&self.kind, "kind"), known(self.age, "age"), known(&self.colour, "colour"), hardness].join(", ")
    }
}

/// Everything a proposal is made from.
#[derive(Clone, Debug, Default)]
pub struct History {
    /// Tries, oldest first.
    pub trials: Vec<Trial>,
    /// Vehicles.
    pub vehicles: Vec<Known<Vehicle>>,
    /// Pads and liquids.
    pub products: Vec<Known<Product>>,
    /// Names of technicians.
    pub technicians: BTreeMap<Id, String>,
    /// Largest surface rise in the sessions of tries, K, where it was measured.
    pub rise_k: BTreeMap<Id, f64>,
    /// The year paint ages are counted to.
    pub year: i64,
}

impl History {
    /// Of a shop.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn of(shop: &Shop, year: i64) -> Result<Self> {
        Ok(Self {
            trials: shop.trials()?,
            vehicles: shop.vehicles()?,
            products: shop.products()?,
            technicians: shop.technicians()?.into_iter().map(|t| (t.id, t.entry.name)).collect(),
            rise_k: shop.rises_of_tries()?,
            year,
        })
    }

    fn class(&self, vehicle: Id) -> Option<PaintClass> {
        self.vehicles.iter().find(|v| v.id == vehicle).map(|v| PaintClass::of(&v.entry, self.year))
    }

    fn name(&self, c: Combination) -> String {
        let of = |id: Id| self.products.iter().find(|p| p.id == id).map_or("?", |p| p.entry.name.as_str());
        format!("{} with {}", of(c.pad), of(c.liquid))
    }

    fn place(&self, id: Id) -> f64 {
        let Some(product) = self.products.iter().find(|p| p.id == id) else { return 0.0 };
        let same = self.products.iter().filter(|p| p.entry.kind == product.entry.kind).map(|p| p.entry.aggressiveness);
        let (lo, hi) = same.fold((i64::MAX, i64::MIN), |(lo, hi), a| (lo.min(a), hi.max(a)));
        if hi > lo { (product.entry.aggressiveness - lo) as f64 / (hi - lo) as f64 } else { 0.0 }
    }

    /// Mean of a figure over the tries of a combination that have it.
    fn mean(&self, c: Combination, figure: impl Fn(&Trial) -> Option<f64>) -> f64 {
        let tries = self.trials.iter().filter(|t| t.combination() == c);
        let (sum, n) = tries.filter_map(figure).fold((0.0, 0), |(sum, n), value| (sum + value, n + 1));
        if n > 0 { sum / f64::from(n) } else { f64::INFINITY }
    }

    /// All combinations the shop can make, mildest first.
    pub fn combinations(&self) -> Vec<(Combination, f64)> {
        let taken_um = |c| self.mean(c, |t| t.film_taken_um);
        let rise_k = |c| self.mean(c, |t| self.rise_k.get(&t.session?).copied());
        let of = |kind| self.products.iter().filter(move |p| p.entry.kind == kind).map(|p| p.id);
        let mut all: Vec<(Combination, f64)> = of(ProductKind::Pad)
            .flat_map(|pad| of(ProductKind::Liquid).map(move |liquid| Combination { pad, liquid }))
            .map(|c| (c, self.place(c.pad) + self.place(c.liquid)))
            .collect();
        all.sort_by(|a, b| {
            a.1.total_cmp(&b.1)
                .then_with(|| self.place(a.0.pad).total_cmp(&self.place(b.0.pad)))
                .then_with(|| taken_um(a.0).total_cmp(&taken_um(b.0)))
                .then_with(|| rise_k(a.0).total_cmp(&rise_k(b.0)))
                .then(a.0.cmp(&b.0))
        });
        all
    }

    fn candidate(&self, combination: Combination, aggressiveness: f64, class: &PaintClass, vehicle: Id) -> Candidate {
        let mut cells: BTreeMap<PaintClass, (u32, u32)> = BTreeMap::new();
        let mut latest = None;
        // Tries on this very vehicle are the question, not the history.
        let tries = self.trials.iter().filter(|t| t.vehicle != vehicle);
        for t in tries.filter(|t| t.combination() == combination) {
            let Some(other) = self.class(t.vehicle) else { continue };
            let name = self.technicians.get(&t.technician).cloned().unwrap_or_default();
            if class.likeness(&other) >= 0.5 {
                latest = Some((t.day.clone(), name));
            }
            let cell = cells.entry(other).or_default();
            *cell = (cell.0 + 1, cell.1 + u32::from(t.finished()));
        }
        let same = |other: &PaintClass| other == class && class.is_known();
        let here = cells.get(class).copied().filter(|_| same(class)).unwrap_or_default();
        let all = cells.values().fold((0, 0), |sum, c| (sum.0 + c.0, sum.1 + c.1));
        let others: Vec<Cell> = cells
            .iter()
            .filter(|(other, _)| !same(other))
            .map(|(other, c)| Cell { tries: c.0, reached: c.1, weight: class.likeness(other) })
            .collect();
        let chance = (all.0 > 0).then(|| chance(here, &others));
        Candidate { combination, name: self.name(combination), aggressiveness, chance, here, all, latest }
    }

    /// The tries on a vehicle; `panel` narrows them to one part.
    fn tries_on(&self, vehicle: Id, panel: Option<&str>) -> impl Iterator<Item = &Trial> {
        self.trials.iter().filter(move |t| t.vehicle == vehicle && panel.is_none_or(|p| name::same(&t.panel, p)))
    }

    /// What to try on a vehicle, above what was tried on it already and failed, below what did; `panel` narrows those tries to one
    /// part. `None` when the vehicle is not known.
    pub fn propose(&self, vehicle: Id, panel: Option<&str>) -> Option<Proposal> {
        let class = self.class(vehicle)?;
        let all: Vec<Candidate> =
            self.combinations().into_iter().map(|(c, a)| self.candidate(c, a, &class, vehicle)).collect();
        let place = |t: &Trial| all.iter().position(|c| c.combination == t.combination());
        let own: Vec<(usize, &Trial)> = self.tries_on(vehicle, panel).filter_map(|t| Some((place(t)?, t))).collect();
        let did = own.iter().filter(|(_, t)| t.finished()).map(|(i, _)| *i).min();
        // What left heavy haze was not too mild; it is only not tried again.
        let too_mild = |i: usize, t: &Trial| !t.finish_reached && did.is_none_or(|did| i < did);
        let failed = own.iter().filter(|(i, t)| too_mild(*i, t)).map(|(i, _)| *i).max();
        let between = failed.map_or(0, |i| i + 1)..did.unwrap_or(all.len());
        let is_open = |i: &usize| between.contains(i) && own.iter().all(|(tried, _)| tried != i);
        let open: Vec<Candidate> = (0..all.len()).filter(is_open).map(|i| all[i].clone()).collect();
        let named = |i: Option<usize>| i.map(|i| all[i].name.as_str());
        let here = panel.map_or("this vehicle", str::trim);
        let begin = match (named(did), named(failed), open.is_empty()) {
            (Some(did), _, true) => Some(format!(
                "{did} reached the finish on {here}, and nothing milder is left to try: `steadypass trial verdict` tells what \
                 came of it."
            )),
            (Some(did), _, false) => {
                Some(format!("{did} reached the finish on {here}; what is milder may do as well."))
            }
            (None, Some(failed), true) => Some(format!(
                "{failed} did not reach the finish on {here}, and nothing more aggressive is left to try: more passes, or \
                 another pad or liquid."
            )),
            (None, Some(failed), false) => {
                Some(format!("{failed} did not reach the finish on {here}: it goes on one step above."))
            }
            (None, None, true) if !all.is_empty() => {
                Some("Nothing is left to try: `steadypass trial verdict` tells what came of the tries.".to_owned())
            }
            (None, None, _) => None,
        };
        let is_known = |c: &Candidate| c.known_chance().is_some();
        let any_evidence = all.iter().any(is_known);
        let (later, likely): (Vec<_>, Vec<_>) =
            open.iter().cloned().partition(|c| self.fails_stronger(c, &all).is_some());
        let has_later = !later.is_empty() && !likely.is_empty();
        let behind = self.behind(&later, &all, has_later);
        // Where all are unlikely, they are what is left.
        let open = if has_later { likely } else { open };
        let (group, two, mut why) = if open.is_empty() {
            let last = did.or(failed).map_or(all.len(), |i| (i + 2).min(all.len()));
            (all[last.saturating_sub(GROUP)..last].to_vec(), Vec::new(), Vec::new())
        } else if open.iter().any(is_known) {
            by_evidence(open, has_later)
        } else {
            by_order(open)
        };
        why.splice(0..0, begin.into_iter().chain(behind));
        Some(Proposal { paint: class.words(), group, two, why, any_evidence })
    }

    /// What is stronger than a combination never tried on this class of paint, in neither of its parts milder, and hardly ever does
    /// on this class: then the combination will hardly, either.
    fn fails_stronger<'a>(&self, c: &Candidate, all: &'a [Candidate]) -> Option<&'a Candidate> {
        let is_unlikely = |other: &Candidate| other.here.0 > 0 && other.chance.is_some_and(|c| c.hi < UNLIKELY);
        let is_stronger = |other: &Candidate| {
            let (this, that) = (c.combination, other.combination);
            self.place(this.pad) <= self.place(that.pad)
                && self.place(this.liquid) <= self.place(that.liquid)
                && c.aggressiveness < other.aggressiveness
        };
        all.iter().filter(|_| c.here.0 == 0).find(|other| is_unlikely(other) && is_stronger(other))
    }

    /// Why these are tried last, if any are; `has_others`: there are others, that go before them.
    fn behind(&self, later: &[Candidate], all: &[Candidate], has_others: bool) -> Option<String> {
        let mut failed: Vec<String> = Vec::new();
        for other in later.iter().filter_map(|c| self.fails_stronger(c, all)) {
            let words = format!("{} ({})", other.name, evidence(other));
            if !failed.contains(&words) {
                failed.push(words);
            }
        }
        let names: Vec<&str> = later.iter().map(|c| c.name.as_str()).collect();
        (!names.is_empty()).then(|| {
            format!(
                "Unlikely, {}: {}. Neither pad nor liquid is stronger there than in {}.",
                if has_others { "so later" } else { "but nothing else is left open" },
                names.join(", "),
                failed.join("; ")
            )
        })
    }

    /// What the tries on a vehicle came to, on each panel by itself, for painted parts may differ; `panel` narrows them to one.
    pub fn verdicts(&self, vehicle: Id, panel: Option<&str>) -> Vec<Verdict> {
        let mut panels: BTreeMap<String, Vec<Trial>> = BTreeMap::new();
        for t in self.tries_on(vehicle, panel) {
            panels.entry(name::key(&t.panel)).or_default().push(t.clone());
        }
        let order: Vec<Combination> = self.combinations().into_iter().map(|(c, _)| c).collect();
        panels.into_values().map(|tries| self.verdict(&order, tries)).collect()
    }

    /// What the tries on one panel came to.
    fn verdict(&self, order: &[Combination], mut tries: Vec<Trial>) -> Verdict {
        let rank = |t: &Trial| order.iter().position(|c| *c == t.combination()).unwrap_or(usize::MAX);
        tries.sort_by_key(|t| (rank(t), t.passes));
        let too_mild = tries.iter().rfind(|t| !t.finish_reached).map(rank);
        let harsher = too_mild.and_then(|i| order.get(i.saturating_add(1)..)).unwrap_or_default();
        let is_left = harsher.iter().any(|c| tries.iter().all(|t| t.combination() != *c));
        let tries: Vec<(Trial, String)> = tries.into_iter().map(|t| (t.clone(), self.name(t.combination()))).collect();
        let keep = tries.iter().position(|(t, _)| t.finished());
        let said_only = tries.iter().filter(|(t, _)| t.finish_reached && !t.finished()).map(|(_, name)| name.as_str());
        let said_only = said_only.collect::<Vec<_>>().join(", ");
        let mut words = match keep.map(|i| &tries[i]) {
            None => {
                let none = match tries.len() {
                    1 => "The one try did not reach the finish".to_owned(),
                    n => format!("None of the {n} tries reached the finish"),
                };
                let then = match (too_mild, is_left) {
                    // What left heavy haze only was not too mild.
                    (None, _) => "",
                    (Some(_), true) => {
                        " The next step up, or more passes, or another liquid; other painted parts may differ."
                    }
                    (Some(_), false) => {
                        " Nothing more aggressive is on the shelf: more passes, or another pad or liquid; other painted parts may differ."
                    }
                };
                format!("{none}.{then}")
            }
            Some((t, name)) => {
                let left = t.left();
                let left = if left.is_empty() {
                    String::new()
                } else {
                    format!(" It left {}: a finishing step is needed.", left.join(" and "))
                };
                format!(
                    "Keep {name}: the least aggressive that reached the finish, in {}.{left}",
                    count(t.passes, "pass", "passes")
                )
            }
        };
        if !said_only.is_empty() {
            words.push_str(&format!(
                " Not counted: {said_only}, put down as reached with heavy haze or holograms left, which is no finish. Go over the \
                 spot with a finishing step and put that down; a slip is taken back with `steadypass trial remove`."
            ));
        }
        let panel = tries.first().map_or_else(String::new, |(t, _)| t.panel.clone());
        Verdict { panel, tries, keep, words }
    }
}

impl Shop {
    /// Largest surface rise in each session that a try names, K.
    fn rises_of_tries(&self) -> Result<BTreeMap<Id, f64>> {
        let rows = self.rows(
            "SELECT s.session_id, max(p.surface_rise_k) FROM passes p JOIN sections s ON s.id = p.section_id
             WHERE p.surface_rise_k IS NOT NULL AND s.session_id IN (SELECT session_id FROM trials) GROUP BY s.session_id",
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(rows.into_iter().collect())
    }
}

fn by_order(all: Vec<Candidate>) -> (Vec<Candidate>, Vec<usize>, Vec<String>) {
    let mut group = all;
    let rest = group.split_off(GROUP.min(group.len()));
    let two: Vec<usize> = (0..group.len().min(2)).collect();
    let these = if two.len() > 1 { "these are the two mildest left open" } else { "this is the mildest left open" };
    let nothing = if group.iter().chain(&rest).any(|c| c.chance.is_some()) {
        "What was tried on other vehicles says next to nothing about paint like this, so nobody knows"
    } else {
        "None of these was tried on another vehicle yet, so there is no evidence"
    };
    let why = vec![format!(
        "{nothing}: {these}, in the shop's own order, and the test spot \
         decides. What was tried on this vehicle itself, `steadypass trial verdict` tells."
    )];
    (group, two, why)
}

/// `has_later`: others are left out of these for being unlikely.
fn by_evidence(all: Vec<Candidate>, has_later: bool) -> (Vec<Candidate>, Vec<usize>, Vec<String>) {
    let mean = |i: &usize| all[*i].known_chance().map(|c| c.mean);
    let known: Vec<usize> = (0..all.len()).filter(|i| mean(i).is_some()).collect();
    // Of equally likely ones the mildest.
    let by_chance = |a: &usize, b: &usize| mean(a).unwrap_or_default().total_cmp(&mean(b).unwrap_or_default());
    let best = known.iter().copied().rev().max_by(by_chance).unwrap_or(0);
    let is_likely = |i: &usize| mean(i).is_some_and(|m| m >= SURE_CHANCE);
    let sure = known.iter().copied().find(is_likely).unwrap_or(best);
    let fair = known.iter().copied().find(|&i| i < sure && mean(&i) >= Some(MILD_CHANCE));
    // Where even the best of the tried ones hardly does, every one that nobody knows anything about is the better bet.
    let is_poor = mean(&sure) < Some(MILD_CHANCE);
    // What nobody knows anything about may do as well, and takes less.
    let below = fair.unwrap_or(if is_poor { all.len() } else { sure });
    let untried: Vec<usize> = (0..below).filter(|i| mean(i).is_none()).collect();
    let first = fair.or(untried.first().copied());
    // Few successes of something harder are no reason to leave out the steps to it.
    let step = untried.get(1).copied().filter(|_| fair.is_none() && !is_likely(&sure));
    let second = step.or((!is_poor || first.is_none()).then_some(sure));
    let mut why = Vec::new();
    match (first, fair) {
        (Some(i), Some(_)) => {
            why.push(format!("{} first: the mildest with a fair chance ({}).", all[i].name, evidence(&all[i])));
        }
        (Some(i), None) => {
            why.push(format!("{} first: the mildest that is not known to fail ({}).", all[i].name, evidence(&all[i])));
        }
        (None, _) if sure == 0 && !has_later => why.push("No milder combination is left to try.".to_owned()),
        (None, _) => why.push("No milder combination has a fair chance on this paint.".to_owned()),
    }
    if let Some(step) = step {
        why.push(format!("{}: the next step up ({}).", all[step].name, evidence(&all[step])));
    }
    let word = match (is_likely(&sure), is_poor) {
        (true, _) => "the mildest that is likely to do",
        (false, true) => "the best of those that were tried, and hardly enough",
        (false, false) => "the most promising so far",
    };
    let on_the_way = step.is_some() && !is_poor;
    let later = if on_the_way { ". Go up to it step by step: milder ones may do" } else { "" };
    why.push(format!("{}: {word} ({}){later}.", all[sure].name, evidence(&all[sure])));
    if fair.is_some() && !untried.is_empty() {
        let names: Vec<&str> = untried.iter().map(|&i| all[i].name.as_str()).collect();
        why.push(format!("Milder still, with a chance that is not known: {}.", names.join(", ")));
    }
    // Around the two, so that there is a way on either side; tried ones first.
    let mut keep: Vec<usize> = second.into_iter().chain([sure]).chain(first).collect();
    let far = |i: usize| keep.iter().map(|k| k.abs_diff(i)).min();
    let mut rest: Vec<usize> = (0..all.len()).filter(|i| !keep.contains(i)).collect();
    rest.sort_by_key(|&i| (mean(&i).is_none(), far(i), i));
    keep.extend(rest);
    let mut group: Vec<usize> = Vec::new();
    keep.into_iter().for_each(|i| {
        if !group.contains(&i) && group.len() < GROUP {
            group.push(i)
        }
    });
    group.sort_unstable();
    let two = first.into_iter().chain(second).filter_map(|i| group.iter().position(|k| *k == i)).collect();
    (group.into_iter().map(|i| all[i].clone()).collect(), two, why)
}

/// What stands behind a chance, in words.
pub fn evidence(c: &Candidate) -> String {
    let Some(chance) = c.chance else { return "never tried on another vehicle".to_owned() };
    let decimals = decimals_of_interval(chance.lo * 100.0, chance.hi * 100.0, 0);
    let percent = |p: f64| format!("{:.decimals$}", p * 100.0);
    let here = match c.here {
        (0, _) => "never tried on paint known to be of this class".to_owned(),
        (n, reached) => format!("reached the finish in {reached} of {n} tries on this class of paint"),
    };
    let rest = (c.all.0 - c.here.0, c.all.1 - c.here.1);
    let others = if rest.0 > 0 { format!(", {} of {} on others", rest.1, rest.0) } else { String::new() };
    let latest = c.latest.as_ref().map_or(String::new(), |(day, who)| format!(", latest {day} by {who}"));
    let known = c.known_chance().is_some();
    let mean = if known { format!("{} in 100", percent(chance.mean)) } else { "not known".to_owned() };
    format!(
        "chance {mean}, 90 % interval {} to {}{}; {here}{others}{latest}",
        percent(chance.lo),
        percent(chance.hi),
        if known { "" } else { " in 100" }
    )
}
