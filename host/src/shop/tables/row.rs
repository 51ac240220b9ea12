//! One row of a table that is read: its cells by column, as what they should be; a cell that is not is named.

use std::collections::BTreeMap;
use std::str::FromStr;

use crate::shop::{Result, ShopError};

/// One row, by column.
pub(super) struct Row<'a>(pub(super) BTreeMap<&'a str, &'a str>);

impl<'a> Row<'a> {
    /// A text as it stands; empty where there is none.
    pub(super) fn text(&self, key: &str) -> &'a str {
        self.0.get(key).copied().unwrap_or_default()
    }

    /// A name, a word, a number: without outer spaces.
    pub(super) fn word(&self, key: &str) -> &'a str {
        self.text(key).trim()
    }

    pub(super) fn maybe(&self, key: &str) -> Option<&'a str> {
        Some(self.word(key)).filter(|word| !word.is_empty())
    }

    pub(super) fn needed(&self, key: &str) -> Result<&'a str> {
        self.maybe(key).ok_or_else(|| self.missing(key))
    }

    pub(super) fn needed_text(&self, key: &str) -> Result<&'a str> {
        self.needed(key).map(|_| self.text(key))
    }

    pub(super) fn missing(&self, key: &str) -> ShopError {
        ShopError::Value(format!("column {key} is empty or missing"))
    }

    pub(super) fn real(&self, key: &str) -> Result<Option<f64>> {
        self.parsed(key, "a number").and_then(|value: Option<f64>| match value {
            Some(value) if !value.is_finite() => Err(self.wrong(key, "a number")),
            value => Ok(value),
        })
    }

    /// A whole number.
    pub(super) fn number<T: FromStr>(&self, key: &str) -> Result<Option<T>> {
        self.parsed(key, "a whole number")
    }

    fn parsed<T: FromStr>(&self, key: &str, what: &str) -> Result<Option<T>> {
        self.maybe(key).map(|word| word.parse().map_err(|_| self.wrong(key, what))).transpose()
    }

    fn wrong(&self, key: &str, what: &str) -> ShopError {
        ShopError::Value(format!("column {key}: expected {what}, found {:?}", self.word(key)))
    }

    pub(super) fn yes(&self, key: &str) -> Result<Option<bool>> {
        match self.word(key).to_lowercase().as_str() {
            "" => Ok(None),
            "yes" | "1" | "true" => Ok(Some(true)),
            "no" | "0" | "false" => Ok(Some(false)),
            other => Err(ShopError::Value(format!("{key} {other:?}: choose yes or no"))),
        }
    }
}
