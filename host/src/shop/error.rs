//! What can go wrong with the shop's memory, said so that the reader knows what to do.

use std::path::PathBuf;

use rusqlite::ErrorCode;

use crate::{name, recording::describe_io, results::ResultsError};

/// Result of this module.
pub type Result<T> = std::result::Result<T, ShopError>;

/// Why the shop's store could not be used. Whatever the reason, a change is made whole or not at all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ShopError {
    /// There is no store in the folder.
    #[error("{} holds no shop; make one with `steadypass shop init --shop {}`", folder.display(), name::path_word(folder))]
    Missing {
        /// The folder.
        folder: PathBuf,
    },
    /// There is one already.
    #[error("{} holds a shop already; nothing was changed", folder.display())]
    Exists {
        /// The folder.
        folder: PathBuf,
    },
    /// The file is an SQLite database of another program, or none at all.
    #[error("{} is not a shop's store; move it away, or choose another folder", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer program.
    #[error(
        "the store was written by a newer Steadypass (schema {found}; this one knows up to {known}); update the program. Nothing was changed"
    )]
    Newer {
        /// Its schema.
        found: i64,
        /// Ours.
        known: i64,
    },
    /// Another process holds it.
    #[error("another program is writing to the store; wait until it is done, then try again. Nothing was changed")]
    Locked,
    /// No room.
    #[error("the disk is full; free some space and try again. What was stored before is whole")]
    Full,
    /// The disk failed, or is so full that not even reading works.
    #[error(
        "the disk does not do what is asked ({0}); see that it has free space and is sound, then try again. What was stored before is whole"
    )]
    Disk(String),
    /// It may not be written.
    #[error("the store may not be written; check the owner and the rights of the shop's folder. Nothing was changed")]
    ReadOnly,
    /// The file is damaged.
    #[error("the store is damaged ({0}); restore the last backup, then run `steadypass shop rebuild`")]
    Damaged(String),
    /// A name that is taken.
    #[error("there is already a {what} called {name:?}; choose a name that tells the two apart. Nothing was changed")]
    NameTaken {
        /// A technician, a machine, ...
        what: &'static str,
        /// The name.
        name: String,
    },
    /// A name that is not known.
    #[error("this shop knows no {what} called {name:?}{}", hint(what, known, close.as_deref()))]
    Unknown {
        /// A technician, a machine, ...
        what: &'static str,
        /// The name.
        name: String,
        /// How many it knows.
        known: usize,
        /// A known name that looks much like it.
        close: Option<String>,
    },
    /// A value that cannot be, whatever the shop holds: a number outside its range, a word that is none of its list.
    #[error("{0}")]
    OutOfRange(String),
    /// What does not go together with what the shop or a file holds.
    #[error("{0}")]
    Value(String),
    /// The operating system refused.
    #[error("cannot {what} {}: {}", path.display(), describe_io(source))]
    Io {
        /// What was tried, a verb.
        what: &'static str,
        /// On which file.
        path: PathBuf,
        /// What it said.
        source: std::io::Error,
    },
    /// Anything else the database says.
    #[error("the store refused: {0}. Nothing was changed")]
    Database(String),
}

fn hint(what: &str, known: &usize, close: Option<&str>) -> String {
    match (close, known) {
        (Some(close), _) => {
            format!("; did you mean {close:?}? A new one is added with `steadypass shop add {what} NAME --shop DIR`")
        }
        (None, 0) => format!("; it has none yet, add one with `steadypass shop add {what} NAME --shop DIR`"),
        (None, _) => format!(
            "; `steadypass shop status --all --shop DIR` lists them, `steadypass shop add {what} NAME --shop DIR` adds one"
        ),
    }
}

impl ShopError {
    pub(crate) fn io(what: &'static str, path: impl Into<PathBuf>, source: std::io::Error) -> Self {
        Self::Io { what, path: path.into(), source }
    }
}

impl From<ResultsError> for ShopError {
    fn from(error: ResultsError) -> Self {
        let (path, source) = error.into_parts();
        Self::io("write", path, source)
    }
}

impl From<rusqlite::Error> for ShopError {
    fn from(error: rusqlite::Error) -> Self {
        let rusqlite::Error::SqliteFailure(code, text) = &error else { return Self::Database(error.to_string()) };
        let words = text.clone().unwrap_or_else(|| error.to_string());
        // SQLite maps a full disk to its own code only where it writes; its shared memory file meets one as an I/O error.
        if code.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE {
            return Self::Full;
        }
        match code.code {
            ErrorCode::SystemIoFailure => Self::Disk(format!("{words}, code {}", code.extended_code)),
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => Self::Locked,
            ErrorCode::DiskFull => Self::Full,
            ErrorCode::ReadOnly | ErrorCode::PermissionDenied => Self::ReadOnly,
            ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt => Self::Damaged(words),
            _ => Self::Database(words),
        }
    }
}
