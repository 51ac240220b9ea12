//! Panels whose film the shop's own limit stands against, for whatever comes next on them: a try, a recording, a review.

use super::{Caution, Gauge, Panel, film, panels, typed, typed_apart};
use crate::guidance::Units;
use crate::name;
use crate::shop::{FilmReading, Id, Listed, Result, Setting, Shop, ShopError};

/// A panel that reads below the shop's limit, or so near it that the gauge cannot tell.
#[derive(Clone, Debug, PartialEq)]
pub struct ThinFilm {
    /// The panel.
    pub panel: String,
    thinnest_um: f64,
    floor_um: f64,
    /// One standard deviation of the gauge, µm, where that is all that stands between the two.
    gauge_um: Option<f64>,
}

impl ThinFilm {
    /// Of a panel; `None` where nothing stands against it.
    fn of(panel: &Panel) -> Option<Self> {
        panel.cautions.iter().find_map(|caution| {
            let (thinnest_um, floor_um, gauge_um) = match *caution {
                Caution::BelowFloor { thinnest_um, floor_um } => (thinnest_um, floor_um, None),
                Caution::NearFloor { thinnest_um, floor_um, gauge_um } => (thinnest_um, floor_um, Some(gauge_um)),
                _ => return None,
            };
            Some(Self { panel: panel.name.clone(), thinnest_um, floor_um, gauge_um })
        })
    }

    /// Of readings of one place, judged by themselves.
    pub(in crate::shop) fn of_readings(readings: &[FilmReading], limits: Limits) -> Option<Self> {
        panels(readings, limits.gauge, limits.floor_um).iter().find_map(Self::of)
    }

    /// Whether it reads below the limit, and not only near it.
    pub fn is_below(&self) -> bool {
        self.gauge_um.is_none()
    }

    /// Thinnest reading and limit, µm.
    pub fn thinnest_and_floor_um(&self) -> (f64, f64) {
        (self.thinnest_um, self.floor_um)
    }

    /// In one line, for whoever is about to work on the panel.
    pub fn words(&self, units: Units) -> String {
        let on = if self.panel.is_empty() { String::new() } else { format!(" on the {}", self.panel) };
        self.judged(&on, "your", units)
    }

    /// The same beside the readings themselves, on paper.
    pub fn words_beside(&self, units: Units) -> String {
        self.judged("", "the shop's", units)
    }

    fn judged(&self, on: &str, whose: &str, units: Units) -> String {
        let [thinnest, floor] = typed_apart(self.thinnest_um, self.floor_um, units);
        match self.gauge_um {
            None => format!("{thinnest}{on}, below {whose} {floor}: stop"),
            Some(gauge_um) => format!(
                "{}{on}, within the gauge's spread ({}) of {whose} {}: read again before any cut",
                typed(self.thinnest_um, units),
                film(gauge_um, 1, units),
                typed(self.floor_um, units)
            ),
        }
    }
}

/// What film is judged by.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// The gauge, where its spread is known.
    pub gauge: Option<Gauge>,
    /// The shop's own limit for the whole build, µm.
    pub floor_um: Option<f64>,
}

impl Shop {
    /// All readings, and what they are judged by.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn film(&self) -> Result<(Vec<FilmReading>, Limits)> {
        let readings = self.film_readings()?;
        let gauge = Gauge::of(self.number(Setting::GaugeSdUm)?, &readings);
        Ok((readings, Limits { gauge, floor_um: self.number(Setting::FilmFloorUm)? }))
    }

    /// Panels of a vehicle that the shop's limit stands against, those below it first; of the one named, or of all.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn thin_film(&self, vehicle: Id, panel: Option<&str>) -> Result<Vec<ThinFilm>> {
        let panel = panel.map(str::trim).filter(|panel| !panel.is_empty());
        let (readings, limits) = self.film()?;
        let panels = panels(&readings, limits.gauge, limits.floor_um);
        let asked = |p: &&Panel| p.vehicle == vehicle && panel.is_none_or(|panel| name::same(panel, &p.name));
        let mut thin: Vec<ThinFilm> = panels.iter().filter(asked).filter_map(ThinFilm::of).collect();
        thin.sort_by_key(|thin| !thin.is_below());
        Ok(thin)
    }

    /// The same of a vehicle that may not be on file yet, by its label.
    ///
    /// # Errors
    /// When the store cannot be read, or the label can be either of two.
    pub fn thin_film_of(&self, vehicle: &str, panel: Option<&str>) -> Result<Vec<ThinFilm>> {
        match self.find(Listed::Vehicle, vehicle) {
            Ok(id) => self.thin_film(id, panel),
            Err(ShopError::Unknown { .. }) => Ok(Vec::new()),
            Err(error) => Err(error),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::Phase;
    use crate::shop::demo::{Extent, STYLES, generate};
    use crate::shop::film::reading;

    /// A limit set as 3.9 mil is 99.06 µm, by definition of the mil.
    #[test]
    fn a_panel_below_the_limit_is_told_by_name_and_one_near_it_too() {
        let limits = |sd_um| Limits { gauge: Gauge::of(sd_um, &[]), floor_um: Some(99.06) };
        let said = |um: f64, units| {
            let thin = ThinFilm::of_readings(&[reading("1", Phase::After, um)], limits(Some(1.0)));
            thin.map(|thin| (thin.is_below(), thin.words(units)))
        };
        assert_eq!(said(95.0, Units::Si), Some((true, "95 µm on the left door, below your 99 µm: stop".into())));
        assert_eq!(said(95.0, Units::Us), Some((true, "3.74 mil on the left door, below your 3.90 mil: stop".into())));
        let near =
            "100 µm on the left door, within the gauge's spread (1.0 µm) of your 99 µm: read again before any cut";
        assert_eq!(said(100.0, Units::Si), Some((false, near.into())));
        assert_eq!(said(104.0, Units::Si), None);
        let none = Limits { floor_um: None, ..limits(None) };
        assert_eq!(
            ThinFilm::of_readings(&[reading("1", Phase::After, 40.0)], none),
            None,
            "there is no built-in limit"
        );
    }

    #[test]
    fn the_panel_asked_for_is_told_or_all_of_the_vehicle() {
        let shop = Shop::in_memory();
        let cast = generate(&shop, &STYLES[..1], Extent { days: 1, sections: 1 }, 4).expect("generated");
        shop.set(Setting::FilmFloorUm, "99.06").expect("set");
        for (panel, phase, film_um) in [
            ("Wing", Phase::Before, 98.0),
            ("Bonnet", Phase::Before, 120.0),
            ("Bonnet", Phase::After, 95.0),
            ("Roof", Phase::Before, 121.0),
        ] {
            let own = FilmReading { vehicle: cast.vehicles[0], panel: panel.into(), ..reading("1", phase, film_um) };
            shop.add_film_reading(&own).expect("added");
        }
        let panels = |vehicle: usize, panel| -> Vec<String> {
            let thin = shop.thin_film(cast.vehicles[vehicle], panel).expect("read");
            thin.into_iter().map(|thin| thin.panel).collect()
        };
        assert_eq!(panels(0, None), ["Bonnet", "Wing"]);
        assert_eq!(panels(0, Some("")), ["Bonnet", "Wing"]);
        assert_eq!(panels(0, Some("bonnet ")), ["Bonnet"]);
        assert_eq!(panels(0, Some("roof")), [""; 0]);
        assert_eq!(panels(1, None), [""; 0]);
        assert_eq!(shop.thin_film_of("no such car", None).expect("not on file yet"), []);
        assert_eq!(shop.thin_film_of("saloon a", Some("bonnet")).expect("read").len(), 1);
    }
}
