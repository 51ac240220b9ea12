//! One TOML table, read key by key with range checks and exact places for errors.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::Band;
use super::error::{Place, PlanError, Problem, Source};
use super::keys::NumberKey;
use crate::name;

/// How alike two keys must be (Jaro-Winkler, 0 to 1) for one to be offered in place of the other. At 0.8 `pace_mms` finds
/// `pace_mm_s` and `colour` finds nothing.
const ALIKE: f64 = 0.8;

/// A table whose keys are all known.
pub(super) struct Table<'a> {
    source: &'a Source,
    entries: &'a DeTable<'a>,
    span: std::ops::Range<usize>,
}

/// A value and where it stands.
#[derive(Clone)]
pub(super) struct Found<T> {
    pub(super) value: T,
    pub(super) place: Place,
}

impl<'a> Table<'a> {
    /// Takes a table and refuses keys that are not `known`.
    pub(super) fn new(
        source: &'a Source,
        entries: &'a DeTable<'a>,
        span: std::ops::Range<usize>,
        known: &[&'static str],
    ) -> Result<Self, PlanError> {
        for key in entries.keys() {
            let written = key.get_ref().as_ref();
            if !known.contains(&written) {
                let nearest = nearest(written, known);
                let problem = Problem::UnknownKey { key: written.to_owned(), nearest, known: known.to_vec() };
                return Err(wrong(source.at(key.span()), problem));
            }
        }
        Ok(Self { source, entries, span })
    }

    fn get(&self, name: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.entries.iter().find(|(key, _)| key.get_ref() == name).map(|(_, value)| value)
    }

    /// Where the table begins.
    pub(super) fn place(&self) -> Place {
        self.source.at(self.span.clone())
    }

    fn found<T>(&self, value: T, span: std::ops::Range<usize>) -> Found<T> {
        Found { value, place: self.source.at(span) }
    }

    /// A table inside this one.
    pub(super) fn table(&self, name: &'static str, known: &[&'static str]) -> Result<Option<Table<'a>>, PlanError> {
        let Some(value) = self.get(name) else { return Ok(None) };
        match value.get_ref() {
            DeValue::Table(entries) => Table::new(self.source, entries, value.span(), known).map(Some),
            other => Err(self.wrong_type(name, "a table, written [machine]", other, value.span())),
        }
    }

    /// A name or other free text, trimmed.
    pub(super) fn text(&self, key: &'static str) -> Result<Option<Found<String>>, PlanError> {
        const EXPECTED: &str = "a text of 1 to 80 characters in quotes";
        const { assert!(name::MOST_CHARS == 80) };
        let Some(value) = self.get(key) else { return Ok(None) };
        let DeValue::String(text) = value.get_ref() else {
            return Err(self.wrong_type(key, EXPECTED, value.get_ref(), value.span()));
        };
        match name::checked(text) {
            Ok(text) => Ok(Some(self.found(text.to_owned(), value.span()))),
            Err(why) => {
                let problem = Problem::WrongType { key, expected: EXPECTED, found: why.as_str() };
                Err(wrong(self.source.at(value.span()), problem))
            }
        }
    }

    /// One of a few words.
    pub(super) fn word<T: Copy>(
        &self,
        name: &'static str,
        known: &[(&'static str, T)],
    ) -> Result<Option<Found<T>>, PlanError> {
        let Some(text) = self.text(name)? else { return Ok(None) };
        match known.iter().find(|(word, _)| *word == text.value) {
            Some((_, value)) => Ok(Some(Found { value: *value, place: text.place })),
            None => {
                let known = known.iter().map(|(word, _)| *word).collect();
                Err(wrong(text.place, Problem::UnknownWord { key: name, value: text.value, known }))
            }
        }
    }

    /// A number in its range.
    pub(super) fn number(&self, key: NumberKey) -> Result<Option<Found<f64>>, PlanError> {
        let Some(value) = self.get(key.name) else { return Ok(None) };
        self.checked(key, "a number", value).map(|number| Some(self.found(number, value.span())))
    }

    /// Two numbers in their range, in any order.
    pub(super) fn pair(&self, key: NumberKey) -> Result<Option<Found<[f64; 2]>>, PlanError> {
        const EXPECTED: &str = "two numbers, written [a, b]";
        let Some(value) = self.get(key.name) else { return Ok(None) };
        let DeValue::Array(items) = value.get_ref() else {
            return Err(self.wrong_type(key.name, EXPECTED, value.get_ref(), value.span()));
        };
        match &items[..] {
            [a, b] => {
                let pair = [self.checked(key, EXPECTED, a)?, self.checked(key, EXPECTED, b)?];
                Ok(Some(self.found(pair, value.span())))
            }
            _ => {
                let found = "a list of another length";
                let problem = Problem::WrongType { key: key.name, expected: EXPECTED, found };
                Err(wrong(self.source.at(value.span()), problem))
            }
        }
    }

    /// Two numbers in their range, the lower first.
    pub(super) fn band(&self, key: NumberKey) -> Result<Option<Found<Band>>, PlanError> {
        match self.pair(key)? {
            None => Ok(None),
            Some(Found { value: [lo, hi], place }) if lo < hi => Ok(Some(Found { value: Band { lo, hi }, place })),
            Some(Found { value: [lo, hi], place }) => Err(wrong(place, Problem::BandOrder { key: key.name, lo, hi })),
        }
    }

    /// Of two keys for the same thing at most one: the first as it is, the second times `factor`.
    pub(super) fn either<T>(
        &self,
        keys: (NumberKey, NumberKey),
        read: impl Fn(&Self, NumberKey) -> Result<Option<Found<T>>, PlanError>,
        scale: impl Fn(T) -> T,
    ) -> Result<Option<T>, PlanError> {
        match (read(self, keys.0)?, read(self, keys.1)?) {
            (Some(_), Some(second)) => {
                Err(wrong(second.place, Problem::Twice { first: keys.0.name, second: keys.1.name }))
            }
            (Some(first), None) => Ok(Some(first.value)),
            (None, second) => Ok(second.map(|second| scale(second.value))),
        }
    }

    fn checked(&self, key: NumberKey, expected: &'static str, value: &Spanned<DeValue<'a>>) -> Result<f64, PlanError> {
        let number = match value.get_ref() {
            // Underscores and signs are already in the form `f64` reads; hexadecimal and the like are not, on purpose.
            DeValue::Integer(digits) if digits.radix() == 10 => digits.as_str().parse::<f64>().ok(),
            DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let Some(number) = number else {
            return Err(self.wrong_type(key.name, expected, value.get_ref(), value.span()));
        };
        if (key.min..=key.max).contains(&number) {
            return Ok(number);
        }
        let NumberKey { name, min, max, unit } = key;
        Err(wrong(self.source.at(value.span()), Problem::OutOfRange { key: name, value: number, min, max, unit }))
    }

    fn wrong_type(
        &self,
        key: &'static str,
        expected: &'static str,
        found: &DeValue<'_>,
        span: std::ops::Range<usize>,
    ) -> PlanError {
        let found = match found {
            DeValue::String(_) => "a text",
            DeValue::Integer(digits) if digits.radix() != 10 => "a number that is not plain decimal",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        wrong(self.source.at(span), Problem::WrongType { key, expected, found })
    }
}

/// The known key that looks most like `written`, if any is near.
fn nearest(written: &str, known: &[&'static str]) -> Option<&'static str> {
    let written = written.to_lowercase().replace('-', "_");
    known
        .iter()
        .map(|key| (strsim::jaro_winkler(&written, key), *key))
        .filter(|(alike, _)| *alike >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, key)| key)
}

/// An error at a place.
pub(super) fn wrong(place: Place, problem: Problem) -> PlanError {
    PlanError::Content { place: Box::new(place), problem }
}
