//! What can go wrong with a recording or a table, said so that the reader knows what to do.

use std::path::PathBuf;

use super::Damage;

/// Result of this module.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a recording or table could not be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
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
    /// Not an MCAP file at all.
    #[error(
        "{} is not a Steadypass recording: expected an MCAP file, found {found}. For a sensor table (CSV) use `steadypass import`",
        path.display()
    )]
    NotARecording {
        /// The file.
        path: PathBuf,
        /// What its first bytes look like.
        found: String,
    },
    /// An MCAP file of somebody else.
    #[error("{} is an MCAP file, but not one of Steadypass: it has no `sensor` or `table` channel", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Packed anew by another program.
    #[error(
        "{} was written anew by another program, which compressed it ({how}); it is not read so. Take the recording as \
         Steadypass wrote it, or have that program write it uncompressed, in chunks with checksums",
        path.display()
    )]
    Compressed {
        /// The file.
        path: PathBuf,
        /// What the file calls the compression.
        how: String,
    },
    /// There is nothing in it to analyse.
    #[error("{} holds no sensor data{}; there is nothing to review", path.display(), nothing_left(damage))]
    Empty {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        damage: Damage,
    },
    /// Another file stands where this one should go.
    #[error(
        "{} exists already{}. Choose another name with --out, or move it away",
        path.display(),
        if path.extension().is_some_and(|e| e == "part") {
            ": a recording that is being written, or one that was cut short; `steadypass review` takes it as it is"
        } else {
            ""
        }
    )]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The container's writer gave up (after an I/O error it does not go on).
    #[error("cannot write {}: {message}", path.display())]
    Container {
        /// The file.
        path: PathBuf,
        /// What the library said.
        message: String,
    },
    /// A table that cannot be imported.
    #[error("{}: {problem}", path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// What is wrong, where, and what to do.
        problem: String,
    },
}

impl Error {
    pub(crate) fn io(what: &'static str, path: impl Into<PathBuf>, source: std::io::Error) -> Self {
        Self::Io { what, path: path.into(), source }
    }

    /// An error of the MCAP library, with I/O errors kept as such.
    pub(crate) fn container(path: impl Into<PathBuf>, error: mcap::McapError) -> Self {
        match error {
            mcap::McapError::Io(source) => Self::io("write", path, source),
            other => Self::Container { path: path.into(), message: other.to_string() },
        }
    }
}

/// Why a file may hold no data.
fn nothing_left(damage: &Damage) -> String {
    match (damage.lost_data(), damage.cut) {
        (true, _) => format!(
            " that could be read: it is damaged ({}). If there is a copy of it, as on the stick it came on, take that",
            damage.describe()
        ),
        (false, true) => " (the file was cut off)".into(),
        (false, false) => String::new(),
    }
}

/// The operating system's words, with what to do where that is known.
pub fn describe_io(error: &std::io::Error) -> String {
    use std::io::ErrorKind as K;
    match error.kind() {
        K::StorageFull => "the disk is full; free some space and try again".into(),
        K::PermissionDenied => "permission denied; choose a folder you may write to, or change its owner".into(),
        K::NotFound => "no such file or folder".into(),
        K::IsADirectory => "it is a folder".into(),
        K::ReadOnlyFilesystem => "it can only be read there; choose a folder you may write to".into(),
        K::AlreadyExists => "it exists already; choose another name, or move it away".into(),
        K::NotADirectory => "a part of its path is a file, not a folder; choose another folder".into(),
        _ => error.to_string(),
    }
}
