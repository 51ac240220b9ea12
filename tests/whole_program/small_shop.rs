//! A small shop for the tests of what goes wrong with one.

use std::{fs, path::PathBuf};

use tempfile::TempDir;

use crate::support::*;

/// A shop with one name of each kind.
pub(crate) struct Small {
    pub(crate) folder: TempDir,
    pub(crate) shop: String,
}

impl Small {
    pub(crate) fn new() -> Self {
        let folder = TempDir::new().expect("temp");
        let shop = text(&at(&folder, "shop"));
        succeeds(&["shop", "init", "--shop", &shop, "--name", "Corner Shop"]);
        let small = Self { folder, shop };
        small.fill();
        small
    }

    pub(crate) fn fill(&self) {
        let add = |rest: &[&str]| succeeds(&[&["shop", "add", "--shop", &self.shop], rest].concat());
        add(&["technician", "Robin"]);
        add(&["machine", "machine 2", "--kind", "orbital", "--throw-mm", "15", "--pad-mm", "125"]);
        add(&["pad", "white foam", "--place", "1"]);
        add(&["liquid", "finishing", "--place", "1"]);
        add(&["vehicle", "saloon A", "--paint", "clear-coat", "--owner", "Somebody Private"]);
    }

    /// `VERB SUBVERB --shop SHOP REST`.
    pub(crate) fn with<'a>(&'a self, verb: &[&'a str], rest: &[&'a str]) -> Vec<&'a str> {
        [verb, &["--shop", &self.shop], rest].concat()
    }

    pub(crate) fn fails(&self, verb: &[&str], rest: &[&str], code: i32, words: &[&str]) {
        expect(&self.with(verb, rest), code, words);
    }

    pub(crate) fn file(&self, name: &str, content: &str) -> String {
        let path = at(&self.folder, name);
        fs::write(&path, content).expect("written");
        text(&path)
    }

    pub(crate) fn store(&self) -> PathBuf {
        at(&self.folder, "shop").join("shop.db")
    }

    /// Everything in the store that is exported.
    pub(crate) fn holds(&self) -> String {
        let out = TempDir::new().expect("temp");
        succeeds(&["-q", "shop", "export", "--shop", &self.shop, "--out", &text(out.path())]);
        fs::read_to_string(at(&out, "shop.json")).expect("a whole shop")
    }

    /// A recording of invented data by Robin, with the plan given, if any.
    pub(crate) fn recording(&self, name: &str, plan: &str) -> PathBuf {
        succeeds(&["simulate", "--out", &text(self.folder.path())]);
        let table = text(&at(&self.folder, "demo-1.csv"));
        let out = at(&self.folder, name);
        let plan = self.file("plan.toml", plan);
        succeeds(&["import", &table, "--out", &text(&out), "--technician", "Robin", "--plan", &plan]);
        out
    }
}
