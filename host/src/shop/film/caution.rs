//! What the user must know about a panel's film, and what its owner.

use super::odd::{CLEAR_COAT_MOST_UM, Odd};
use super::{Gauge, Panel, Point, REMOVAL_ALLOWED_UM, Um, film, typed, typed_apart};
use crate::guidance::Units;
use crate::shop::{Phase, Trial};

/// Something to know about a panel before going on.
#[derive(Clone, Debug, PartialEq)]
pub enum Caution {
    /// Readings that no coat can give: point, phase, µm.
    LeftOut(Vec<(String, Phase, f64)>),
    /// Readings far off the others of their point, and in its mean: point, phase, what is odd.
    Misfit(Vec<(String, Phase, Odd)>),
    /// The thinnest reading lies below the shop's own limit.
    BelowFloor {
        /// µm.
        thinnest_um: f64,
        /// µm.
        floor_um: f64,
    },
    /// The gauge cannot tell the thinnest reading from the shop's own limit.
    NearFloor {
        /// µm.
        thinnest_um: f64,
        /// µm.
        floor_um: f64,
        /// One standard deviation of the gauge, µm.
        gauge_um: f64,
    },
    /// It reads thicker than before: a point by itself, or all of them together.
    Grew {
        /// Which; `None` for all together.
        point: Option<String>,
        /// µm.
        by_um: f64,
        /// A reading in its mean does not fit the others of its point.
        has_misfit: bool,
    },
    /// More is gone than a clear coat can give: no limit, but what public sources tell of one.
    MuchTaken {
        /// Where most is gone.
        point: String,
        /// How much, µm.
        taken_um: f64,
        /// How many other points lost more than that, too.
        others: usize,
    },
}

impl Caution {
    /// For whoever works on the panel.
    pub fn words(&self, units: Units) -> String {
        match self {
            Self::LeftOut(readings) => {
                // As they are on record, for they may have been typed in another unit than the record's.
                let told: Vec<String> = readings
                    .iter()
                    .map(|(point, phase, um)| format!("{um} µm {} at point {point}", phase.as_str()))
                    .collect();
                let (is, it) = if told.len() == 1 { ("is", "it") } else { ("are", "them") };
                format!(
                    "{} {is} left out of all figures, for no coat is so thin. To mend {it}, take {it} away with `steadypass thickness \
                     remove`, and type what the gauge read; mil are typed as in 4.8mil.",
                    told.join(", ")
                )
            }
            Self::Misfit(readings) => {
                let told: Vec<String> = readings
                    .iter()
                    .map(|(point, phase, odd)| {
                        format!("{} ({} the work, point {point})", far_off(*odd, units), phase.as_str())
                    })
                    .collect();
                format!(
                    "{}. All readings are in the means, so these are off if one of them is a slip, and what was taken there is not known: measure \
                     that place again, and take what was a slip away with `steadypass thickness remove`.",
                    told.join("; ")
                )
            }
            Self::BelowFloor { thinnest_um, floor_um } => {
                let [thinnest, floor] = typed_apart(*thinnest_um, *floor_um, units);
                format!(
                    "{thinnest} is its thinnest reading, below the {floor} this shop set itself: stop and decide with the makers' \
                     advice."
                )
            }
            Self::NearFloor { thinnest_um, floor_um, gauge_um } => format!(
                "{}, its thinnest reading, is within the gauge's spread ({}) of the limit of {}.",
                typed(*thinnest_um, units),
                film(*gauge_um, 1, units),
                typed(*floor_um, units)
            ),
            Self::Grew { point, by_um, has_misfit } => {
                let what = point.as_ref().map_or("Reads".to_owned(), |point| format!("Point {point} reads"));
                let why = if *has_misfit {
                    "with a reading in its mean that does not fit the others. Measure that place again first."
                } else {
                    "other points, filler residue or a gauge not zeroed. Clean the panel, zero the gauge, read again."
                };
                format!("{what} {} thicker than before: {why}", film(*by_um, 1, units))
            }
            Self::MuchTaken { point, taken_um, others } => {
                let others = match others {
                    0 => String::new(),
                    n => format!(", and {n} more with much less than before"),
                };
                let context = much(*taken_um, units);
                let taken = film(*taken_um, 0, units);
                format!("Point {point} reads {taken} less than before{others}, {context}. Read again before going on.")
            }
        }
    }

    /// The same for the panel's owner, who has seen neither gauge nor points; `None` where
    /// it is for the shop to mend.
    pub fn owner_words(&self, units: Units) -> Option<String> {
        match self {
            Self::LeftOut(_) => None,
            Self::Misfit(readings) => {
                let told: Vec<String> = readings.iter().map(|(_, _, odd)| far_off(*odd, units)).collect();
                Some(format!(
                    "{}. The thickness shown is not sure, and how much was taken there is not known: that place needs to be measured again.",
                    told.join("; ")
                ))
            }
            Self::BelowFloor { thinnest_um, floor_um } => {
                let [thinnest, floor] = typed_apart(*thinnest_um, *floor_um, units);
                Some(format!(
                    "The thinnest reading is {thinnest}, of all layers together. That is below {floor}, the limit we set ourselves: \
                     ask us before it is polished again."
                ))
            }
            Self::NearFloor { thinnest_um, floor_um, .. } => Some(format!(
                "The thinnest reading is {}, of all layers together. Our gauge cannot tell that from {}, the limit we set \
                 ourselves: ask us before it is polished again.",
                typed(*thinnest_um, units),
                typed(*floor_um, units)
            )),
            Self::Grew { point, by_um, .. } => {
                let place = if point.is_some() { "One place reads" } else { "The paint reads" };
                Some(format!(
                    "{place} {} thicker than before, which polishing cannot do: the gauge or its place was not the same. How much \
                     was taken there is not known.",
                    film(*by_um, 1, units)
                ))
            }
            Self::MuchTaken { taken_um, others, .. } => {
                let place = match others {
                    0 => "One place reads".to_owned(),
                    n => format!("{} places read up to", n + 1),
                };
                let taken = film(*taken_um, 0, units);
                let context = if *taken_um > CLEAR_COAT_MOST_UM {
                    "more than a clear coat is thick. Either the readings are not of the same place, or the clear coat is gone there"
                        .to_owned()
                } else {
                    format!("more than the {} that car makers are quoted with as all that may come off", allowed(units))
                };
                Some(format!("{place} {taken} less than before, {context}. It needs to be read again."))
            }
        }
    }
}

/// How far a reading lies off the others of its place.
fn far_off(odd: Odd, units: Units) -> String {
    match odd {
        Odd::OffPoint(read, middle) => format!(
            "One reading, {}, lies {} {} the others of its place",
            typed(read, units),
            film((read - middle).abs(), 0, units),
            if read > middle { "above" } else { "below" }
        ),
        Odd::Apart(one, other) => format!(
            "Two readings of one place, {} and {}, lie {} apart",
            typed(one, units),
            typed(other, units),
            film((one - other).abs(), 0, units)
        ),
        other => other.words(units),
    }
}

/// What is to be said of so much taken off at one point.
fn much(taken_um: f64, units: Units) -> String {
    if taken_um > CLEAR_COAT_MOST_UM {
        format!(
            "more than the thickest clear coat that public sources tell of ({}): a slip, another point, or paint that is gone",
            typed(CLEAR_COAT_MOST_UM, units)
        )
    } else {
        format!("and trade pages quote car makers with {} as all that may come off", allowed(units))
    }
}

/// More passes than this on one test spot are asked about: common practice is 4 to 8, no published source.
const MOST_USUAL_PASSES: i64 = 20;

impl Trial {
    /// What is odd about what was put down of it, and taken all the same.
    pub fn cautions(&self, units: Units) -> Vec<String> {
        let taken = self.film_taken_um.filter(|um| *um > REMOVAL_ALLOWED_UM.1).map(|um| {
            format!("{} taken from a test spot, {}. Read again before going on.", typed(um, units), much(um, units))
        });
        let grew = self.film_taken_um.filter(|um| *um < 0.0).map(|um| {
            format!("{} taken: film that reads thicker than before. Clean the spot and read again.", typed(um, units))
        });
        let passes = (self.passes > MOST_USUAL_PASSES)
            .then(|| format!("{} passes on a test spot are many: a slip?", self.passes));
        [taken, grew, passes].into_iter().flatten().collect()
    }
}

/// Removal in all that car makers are quoted with.
fn allowed(units: Units) -> String {
    let (low, high) = REMOVAL_ALLOWED_UM;
    super::span((low, high), units)
}

impl Panel {
    /// Its cautions, for whoever works on it.
    pub fn caution_words(&self, units: Units) -> Vec<String> {
        self.cautions.iter().map(|caution| caution.words(units)).collect()
    }

    /// What must be known about it, the most pressing after what is in no figure.
    pub(super) fn judge(&self, gauge: Option<Gauge>, floor_um: Option<f64>) -> Vec<Caution> {
        let floor = floor_um.zip(self.thinnest_um).and_then(|(floor_um, thinnest_um)| {
            if thinnest_um < floor_um {
                return Some(Caution::BelowFloor { thinnest_um, floor_um });
            }
            let gauge_um = gauge?.sd_um;
            (thinnest_um - 2.0 * gauge_um < floor_um).then_some(Caution::NearFloor { thinnest_um, floor_um, gauge_um })
        });
        [self.no_film(), self.misfit(), floor, self.grown(gauge), self.much_taken()].into_iter().flatten().collect()
    }

    fn no_film(&self) -> Option<Caution> {
        let of_point = |(name, point): (&String, &Point)| {
            point.left_out.iter().map(|(phase, um)| (name.clone(), *phase, *um)).collect::<Vec<_>>()
        };
        let readings: Vec<_> = self.points.iter().flat_map(of_point).collect();
        (!readings.is_empty()).then_some(Caution::LeftOut(readings))
    }

    fn misfit(&self) -> Option<Caution> {
        let of_point = |(name, point): (&String, &Point)| {
            point.misfits().into_iter().map(|(phase, odd)| (name.clone(), phase, odd)).collect::<Vec<_>>()
        };
        let readings: Vec<_> = self.points.iter().flat_map(of_point).collect();
        (!readings.is_empty()).then_some(Caution::Misfit(readings))
    }

    fn grown(&self, gauge: Option<Gauge>) -> Option<Caution> {
        let by_point = self.points.iter().filter_map(|(point, p)| {
            let (value, gauge_part) = p.pair()?;
            let Gauge { sd_um, df, .. } = gauge?;
            let sd = sd_um * gauge_part.sqrt();
            Um { value, sd: sd.max(2f64.sqrt() * self.rounding_um), df }
                .grew_among(self.pairs)
                .then_some((point, -value))
        });
        let most = by_point.max_by(|a, b| a.1.total_cmp(&b.1));
        let has_misfit = |point: Option<&String>| {
            self.points.iter().any(|(name, p)| point.is_none_or(|point| point == name) && !p.misfits().is_empty())
        };
        let (point, by_um) = match (most, self.removal.filter(Um::grew)) {
            (Some((point, by_um)), _) => (Some(point), by_um),
            (None, removal) => (None, -removal?.value),
        };
        Some(Caution::Grew { point: point.cloned(), by_um, has_misfit: has_misfit(point) })
    }

    fn much_taken(&self) -> Option<Caution> {
        let much: Vec<(&String, f64)> = self
            .points
            .iter()
            .filter_map(|(point, p)| Some((point, p.pair()?.0)))
            .filter(|(_, taken)| *taken > REMOVAL_ALLOWED_UM.1)
            .collect();
        let (point, taken_um) = much.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Caution::MuchTaken { point: point.clone(), taken_um, others: much.len() - 1 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::film::{panels, reading};

    fn cautions(readings: &[(&str, Phase, f64)], floor_um: Option<f64>) -> Vec<Caution> {
        let readings: Vec<_> = readings.iter().map(|(point, phase, um)| reading(point, *phase, *um)).collect();
        panels(&readings, Gauge::of(Some(1.0), &[]), floor_um).remove(0).cautions
    }

    const B: Phase = Phase::Before;
    const A: Phase = Phase::After;

    /// 1 mil = 25.4 µm by definition: 95 µm are 3.74 mil, 100 are 3.94, 12 are 0.47.
    #[test]
    fn cautions_speak_in_the_user_s_unit() {
        let below = cautions(&[("1", B, 95.0)], Some(100.0));
        let said = below[0].words(Units::Us);
        assert!(said.starts_with("3.74 mil is its thinnest reading, below the 3.94 mil this shop set"), "{said}");
        // A limit set in mil: 3.94 mil are 100.076 µm.
        let just_below = cautions(&[("1", B, 100.0)], Some(100.076));
        let said = just_below[0].words(Units::Us);
        assert!(said.starts_with("3.937 mil") && said.contains("below the 3.940 mil"), "{said}");
        assert!(just_below[0].words(Units::Si).contains("below the 100.1 µm"), "{just_below:?}");
        let near = cautions(&[("1", B, 101.6)], Some(100.0));
        let said = near[0].words(Units::Us);
        assert!(said.starts_with("4.00 mil") && said.contains("spread (0.04 mil)"), "{said}");
        let grown = cautions(&[("1", B, 110.0), ("1", A, 135.4)], None);
        assert!(grown[0].words(Units::Us).starts_with("Point 1 reads 1.00 mil thicker"), "{grown:?}");
        let much = cautions(&[("1", B, 140.0), ("1", A, 114.6)], None);
        let said = much[0].words(Units::Us);
        assert!(said.starts_with("Point 1 reads 1.00 mil less") && said.contains("0.28 to 0.47 mil"), "{said}");
        let gone = cautions(&[("1", B, 160.0), ("1", A, 95.0)], None);
        let said = gone[0].words(Units::Us);
        assert!(said.contains("(2.36 mil)") && !said.contains("µm"), "{said}");
        // What is on record in µm is told as it stands there, so that it is found.
        let left_out = cautions(&[("1", B, 4.8)], None);
        assert!(left_out[0].words(Units::Us).starts_with("4.8 µm before at point 1 is left out"), "{left_out:?}");
    }

    /// Of a try as of a panel: 12 µm is what car makers are quoted with, 60 µm the thickest clear coat in `data/reference`.
    #[test]
    fn a_try_that_cannot_be_is_asked_about() {
        let said = |passes, film_taken_um: Option<f64>, units| {
            let trial = Trial {
                vehicle: 1,
                panel: String::new(),
                day: "2026-03-02".into(),
                technician: 1,
                machine: None,
                pad: 1,
                liquid: 2,
                session: None,
                passes,
                finish_reached: true,
                haze: 0,
                holograms: 0,
                film_taken_um,
                note: String::new(),
            };
            trial.cautions(units).join(" ")
        };
        assert_eq!(said(20, Some(12.0), Units::Si), "");
        assert_eq!(said(4, None, Units::Si), "");
        let much = said(4, Some(13.0), Units::Si);
        assert!(much.starts_with("13 µm taken") && much.contains("7 to 12 µm"), "{much}");
        let gone = said(50, Some(400.0), Units::Si);
        assert!(gone.contains("400 µm taken") && gone.contains("thickest clear coat"), "{gone}");
        assert!(gone.contains("50 passes on a test spot are many"), "{gone}");
        let us = said(4, Some(254.0), Units::Us);
        assert!(us.starts_with("10.00 mil taken") && !us.contains("µm"), "{us}");
        assert!(said(4, Some(-8.0), Units::Si).contains("thicker than before"));
    }

    /// A slip of the gauge may hide a second polish: it stays in the mean, is told, and nothing else is made to explain it.
    #[test]
    fn a_reading_far_off_its_point_is_told_with_the_mean_that_it_is_in() {
        let readings = [("1", B, 120.0), ("1", B, 121.0), ("1", A, 118.0), ("1", A, 180.0), ("1", A, 119.0)];
        let found = cautions(&readings, None);
        let [Caution::Misfit(_), Caution::Grew { has_misfit: true, .. }] = &found[..] else { panic!("{found:?}") };
        let said = found[0].words(Units::Si);
        assert!(
            said.starts_with(
                "One reading, 180 µm, lies 61 µm above the others of its place (after the work, point 1)."
            ),
            "{said}"
        );
        assert!(said.contains("in the means") && said.contains("measure that place again"), "{said}");
        // (118 + 180 + 119) / 3 - 120.5 = 18.5
        let grew = found[1].words(Units::Si);
        assert!(grew.starts_with("Point 1 reads 18.5 µm thicker") && !grew.contains("residue"), "{grew}");
        let owner = found[0].owner_words(Units::Us).expect("told");
        assert!(owner.starts_with("One reading, 7.09 mil, lies 2.40 mil above") && !owner.contains("point"), "{owner}");
        // What grew without such a reading is still asked about residue.
        let grew = cautions(&[("1", B, 120.0), ("1", A, 140.0), ("2", B, 120.0), ("2", B, 160.0)], None);
        assert!(
            grew[0].words(Units::Si).starts_with("Two readings of one place, 120 µm and 160 µm, lie 40 µm apart"),
            "{grew:?}"
        );
        assert!(grew[1].words(Units::Si).contains("residue"), "{grew:?}");
    }

    #[test]
    fn the_owner_is_told_in_plain_words_and_of_no_point() {
        let told = |readings: &[(&str, Phase, f64)], floor_um| -> String {
            let cautions = cautions(readings, floor_um);
            cautions.iter().filter_map(|c| c.owner_words(Units::Si)).collect::<Vec<_>>().join(" ")
        };
        let below = told(&[("1", B, 95.0)], Some(100.0));
        assert!(below.starts_with("The thinnest reading is 95 µm") && below.contains("below 100 µm"), "{below}");
        assert!(told(&[("1", B, 101.5)], Some(100.0)).contains("cannot tell that from 100 µm"));
        assert!(told(&[("x9", B, 110.0), ("x9", A, 130.0)], None).starts_with("One place reads 20.0 µm thicker"));
        let much = [("x9", B, 140.0), ("x9", A, 120.0), ("x8", B, 140.0), ("x8", A, 125.0)];
        let said = told(&much, None);
        assert!(said.starts_with("2 places read up to 20 µm less than before"), "{said}");
        assert!(said.contains("7 to 12 µm") && !said.contains("x9"), "{said}");
        assert!(told(&[("1", B, 160.0), ("1", A, 95.0)], None).contains("more than a clear coat is thick"));
        assert_eq!(told(&[("1", B, 4.8)], None), "", "a slip is the shop's to mend");
        assert_eq!(told(&[("1", B, 121.0), ("1", A, 118.0)], Some(100.0)), "");
    }
}
