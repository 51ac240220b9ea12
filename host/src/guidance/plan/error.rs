//! What can be wrong with a plan, and where. Every error of content knows file, line and the span in the text, so that the
//! program can underline the spot.

use std::ops::Range;
use std::sync::Arc;
use std::{fmt, io};

use crate::recording::describe_io;

/// A named text that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// File name, as shown in errors.
    pub name: Arc<str>,
    /// The whole text.
    pub text: Arc<str>,
}

impl Source {
    /// Takes a name and the text.
    pub fn new(name: &str, text: &str) -> Self {
        Self { name: name.into(), text: text.into() }
    }

    /// Points at a span of the text.
    pub(super) fn at(&self, span: Range<usize>) -> Place {
        let before = self.text.get(..span.start).unwrap_or(&self.text);
        Place { source: self.clone(), line: before.matches('\n').count() + 1, span }
    }
}

/// A spot in a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The text it is in.
    pub source: Source,
    /// Line, from 1.
    pub line: usize,
    /// Bytes in the text, for underlining.
    pub span: Range<usize>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, line {}", self.source.name, self.line)
    }
}

/// Why a plan cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The file could not be read.
    #[error("cannot read the plan {file}: {}", unread(source))]
    Read {
        /// The file.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// Something in it is wrong.
    #[error("{place}: {problem}")]
    Content {
        /// Where.
        place: Box<Place>,
        /// What.
        problem: Problem,
    },
}

impl PlanError {
    /// Where it is, if it is in the text.
    pub fn place(&self) -> Option<&Place> {
        match self {
            Self::Read { .. } => None,
            Self::Content { place, .. } => Some(place),
        }
    }

    /// What it is, if it is in the text.
    pub fn problem(&self) -> Option<&Problem> {
        match self {
            Self::Read { .. } => None,
            Self::Content { problem, .. } => Some(problem),
        }
    }

    /// What to do next.
    pub fn help(&self) -> String {
        match self {
            Self::Read { source, .. } if source.kind() == io::ErrorKind::InvalidData => NO_TOML.to_owned(),
            Self::Read { .. } => "check the path, and that you may read the file".to_owned(),
            Self::Content { problem, .. } => problem.help(),
        }
    }
}

/// What to do about what is no plan at all.
const NO_TOML: &str = "a plan is lines of `key = value`; see data/plans/example.toml";

/// Why a plan or a machine profile could not be read.
pub(super) fn unread(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::InvalidData => "it is no text file in TOML (UTF-8)".to_owned(),
        io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        _ => describe_io(error),
    }
}

/// What is wrong with the text of a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// Not TOML.
    #[error("this is not valid TOML: {message}")]
    Syntax {
        /// What the reader of TOML says.
        message: String,
    },
    /// A key that no plan has.
    #[error("`{key}` is not a key here")]
    UnknownKey {
        /// As written.
        key: String,
        /// The key that looks most like it, when one does.
        nearest: Option<&'static str>,
        /// All keys that may stand here.
        known: Vec<&'static str>,
    },
    /// A value of the wrong kind.
    #[error("`{key}` must be {expected}, found {found}")]
    WrongType {
        /// The key.
        key: &'static str,
        /// What it must be.
        expected: &'static str,
        /// What it is.
        found: &'static str,
    },
    /// A number outside its range.
    #[error("`{key}` is {value}, allowed is {min} to {max}{space}{unit}", space = if unit.is_empty() { "" } else { " " })]
    OutOfRange {
        /// The key.
        key: &'static str,
        /// As written.
        value: f64,
        /// Smallest allowed value.
        min: f64,
        /// Largest allowed value.
        max: f64,
        /// Unit of all three; empty for a pure number.
        unit: &'static str,
    },
    /// The ends of a band in the wrong order.
    #[error("`{key}` runs from {lo} to {hi}: {}", if lo > hi { "the lower end comes first" } else { "the upper end must lie above the lower" })]
    BandOrder {
        /// The key.
        key: &'static str,
        /// First number.
        lo: f64,
        /// Second number.
        hi: f64,
    },
    /// A word that is not one of a few.
    #[error("`{key}` is \"{value}\"")]
    UnknownWord {
        /// The key.
        key: &'static str,
        /// As written.
        value: String,
        /// What may be written.
        known: Vec<&'static str>,
    },
    /// The same thing in two units.
    #[error("`{first}` and `{second}` say the same thing twice")]
    Twice {
        /// One key.
        first: &'static str,
        /// The other.
        second: &'static str,
    },
    /// A key that does not fit the rest.
    #[error("`{key}` does not fit here: {why}")]
    DoesNotFit {
        /// The key.
        key: &'static str,
        /// Why not.
        why: &'static str,
    },
    /// Two values that cannot both be meant.
    #[error("`{key}` and `{other}` contradict each other: {why}")]
    Contradiction {
        /// One key.
        key: &'static str,
        /// The other.
        other: &'static str,
        /// Why not.
        why: String,
    },
    /// A key that is needed and not there.
    #[error("`{key}` is missing")]
    Missing {
        /// The key.
        key: &'static str,
    },
    /// A machine profile that could not be read.
    #[error("cannot read the machine profile {file}: {message}")]
    Profile {
        /// As written.
        file: String,
        /// What the system said.
        message: String,
    },
}

impl Problem {
    fn help(&self) -> String {
        match self {
            Self::Syntax { .. } => NO_TOML.to_owned(),
            Self::UnknownKey { nearest: Some(nearest), .. } => format!("did you mean `{nearest}`?"),
            Self::UnknownKey { known, .. } => format!("keys that may stand here: {}", known.join(", ")),
            Self::WrongType { key, .. } => format!("see `{key}` in data/plans/example.toml"),
            Self::OutOfRange { key, min, max, .. } => format!("give `{key}` a value from {min} to {max}"),
            Self::BandOrder { key, lo, hi } if lo > hi => format!("write {key} = [{hi}, {lo}]"),
            Self::BandOrder { key, lo, .. } => format!("give `{key}` an upper end above {lo}"),
            Self::Contradiction { key, other, .. } => format!("correct `{key}` or `{other}`"),
            Self::UnknownWord { known, .. } => format!("write one of: {}", known.join(", ")),
            Self::Twice { second, .. } => format!("remove one of them, for example `{second}`"),
            Self::DoesNotFit { key, .. } => format!("remove `{key}`"),
            Self::Missing { key } => format!("add a line `{key} = ...`; see data/plans/example.toml"),
            Self::Profile { .. } => {
                "give a profile's name, or the path of a .toml file as seen from the plan".to_owned()
            }
        }
    }
}
