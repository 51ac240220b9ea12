//! The file: made, opened, brought up to date, backed up. Nothing here knows what the tables mean.
//!
//! Write-ahead log with `synchronous=FULL`: a change that was acknowledged survives a power cut. The folder must lie on a disk
//! of this machine; SQLite's log does not work on network drives.
//!
//! A store that may not be written is opened for reading; whatever would change it says so then. One of an earlier schema, which
//! cannot be brought up to date where it lies, is read from a copy in memory that is.

use std::{
    fs::{self, File},
    io::Read as _,
    path::{Path, PathBuf},
    time::Duration,
};

use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior, backup::Backup};

use super::{Result, ShopError};
use crate::{guidance::Units, unfinished::Unfinished};

/// Name of the store in the shop's folder.
pub const STORE: &str = "shop.db";
/// Its log, while it is open.
const LOG: &str = "shop.db-wal";

/// Marks the file as ours: "SPsh" in ASCII.
const APPLICATION_ID: i32 = i32::from_be_bytes(*b"SPsh");

/// Steps from one schema to the next; the first makes schema 1 out of nothing.
const MIGRATIONS: &[&str] =
    &[include_str!("schema/v1.sql"), include_str!("schema/v2.sql"), include_str!("schema/v3.sql")];

/// How long a busy store is waited for.
const PATIENCE: Duration = Duration::from_secs(5);

/// Pages of a store that are copied into memory in one step; all that counts is that a copy ends.
const COPIED_AT_ONCE: i32 = 1024;

/// A shop's memory: one folder, one store.
#[derive(Debug)]
pub struct Shop {
    folder: PathBuf,
    pub(super) db: Connection,
    may_write: bool,
    /// Schema of the file, where this is a copy of another.
    schema_of_file: Option<i64>,
}

/// What `status` tells about the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Health {
    /// Schema of the file; one that may not be written may have an earlier one than this program's.
    pub schema: i64,
    /// Size with its log, bytes.
    pub bytes: u64,
    /// What SQLite's own check found; empty when all is well.
    pub faults: Vec<String>,
}

impl Shop {
    /// Makes a shop in `folder`, which is created when it is not there.
    ///
    /// # Errors
    /// [`ShopError::Exists`] when it holds one already; when the folder cannot be written.
    pub fn create(folder: &Path) -> Result<Self> {
        Self::create_with(folder, |_| Ok(()))
    }

    /// Makes a shop that holds already what `fill` puts in; none where that fails.
    pub(super) fn create_with(folder: &Path, fill: impl FnOnce(&Self) -> Result<()>) -> Result<Self> {
        let path = folder.join(STORE);
        if path.exists() {
            return Err(ShopError::Exists { folder: folder.to_owned() });
        }
        // Beside its place first: an interrupted start never leaves half a shop.
        let unfinished = Unfinished::within(folder).map_err(|e| ShopError::io("write into", folder, e))?;
        {
            let db = Connection::open(unfinished.folder().join(STORE))?;
            db.pragma_update(None, "application_id", APPLICATION_ID)?;
            migrate(&db)?;
        }
        // Closed before it is moved, and with nothing left in its log, which stays behind.
        {
            let shop = Self::open(unfinished.folder())?;
            fill(&shop)?;
            shop.empty_log()?;
        }
        unfinished.place_new(STORE, &path).map_err(|e| match e.kind() {
            std::io::ErrorKind::AlreadyExists => ShopError::Exists { folder: folder.to_owned() },
            _ => ShopError::io("write", &path, e),
        })?;
        Self::open(folder)
    }

    /// Opens the shop in `folder` and brings its store up to date; a copy of the store as it was is kept beside it then. One that may
    /// not be written is opened for reading, [`Shop::may_write`].
    ///
    /// # Errors
    /// See [`ShopError`]; a store of a newer program is left as it is.
    pub fn open(folder: &Path) -> Result<Self> {
        Self::open_within(folder, PATIENCE)
    }

    pub(super) fn open_within(folder: &Path, patience: Duration) -> Result<Self> {
        let path = folder.join(STORE);
        if !path.is_file() {
            return Err(ShopError::Missing { folder: folder.to_owned() });
        }
        match Self::open_writing(folder, &path, patience) {
            Err(Refused::Writing) => Self::open_reading(folder, &path),
            opened => opened.map_err(ShopError::from),
        }
    }

    fn open_writing(folder: &Path, path: &Path, patience: Duration) -> std::result::Result<Self, Refused> {
        let db =
            Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
        db.busy_timeout(patience)?;
        if db.is_readonly("main")? {
            return Err(Refused::Writing);
        }
        let found = schema_of(&db, path)?;
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "FULL")?;
        let shop = Self::of(folder, db, true)?;
        let known = MIGRATIONS.len() as i64;
        if found < known {
            // One that an interrupted attempt left stays, too: nobody can tell which of the two is needed.
            let mut copy = folder.join(format!("shop-before-schema-{known}.db"));
            let mut n = 1;
            while copy.exists() {
                n += 1;
                copy = folder.join(format!("shop-before-schema-{known}-{n}.db"));
            }
            shop.back_up(&copy)?;
            migrate(&shop.db)?;
        }
        Ok(shop)
    }

    fn open_reading(folder: &Path, path: &Path) -> Result<Self> {
        // Where nobody has it open and nothing is left in its log, SQLite needs no files beside it.
        let left = fs::metadata(folder.join(LOG)).is_ok_and(|log| log.len() > 0);
        let still = !left && !folder.join("shop.db-shm").exists();
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let whole = fs::canonicalize(path).map_err(|e| ShopError::io("open", path, e))?;
        let db = Connection::open_with_flags(address(&whole, still)?, flags)?;
        let found = schema_of(&db, path).map_err(|refused| match refused {
            Refused::Writing => ShopError::Value(
                "the store was not closed, and may not be written: its log cannot be taken in. Open it once where it may be written"
                    .into(),
            ),
            Refused::Because(error) => error,
        })?;
        if found == MIGRATIONS.len() as i64 {
            return Self::of(folder, db, false);
        }
        let mut copy = Connection::open_in_memory()?;
        Backup::new(&db, &mut copy)?.run_to_completion(COPIED_AT_ONCE, Duration::ZERO, None)?;
        let shop = Self { schema_of_file: Some(found), ..Self::of(folder, copy, false)? };
        migrate(&shop.db)?;
        // What would change it must not change the copy alone.
        shop.db.pragma_update(None, "query_only", true)?;
        Ok(shop)
    }

    fn of(folder: &Path, db: Connection, may_write: bool) -> Result<Self> {
        db.pragma_update(None, "foreign_keys", true)?;
        db.set_prepared_statement_cache_capacity(64);
        Ok(Self { folder: folder.to_owned(), db, may_write, schema_of_file: None })
    }

    /// Refuses a store that was opened for reading only, where a change is to come after long work.
    ///
    /// # Errors
    /// [`ShopError::ReadOnly`].
    pub fn may_write(&self) -> Result<()> {
        if self.may_write { Ok(()) } else { Err(ShopError::ReadOnly) }
    }

    /// Brings all of the log into the store. Closing does so, too, but does not say when it fails.
    fn empty_log(&self) -> Result<()> {
        match self.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))? {
            0 => Ok(()),
            _busy => Err(ShopError::Locked),
        }
    }

    /// A shop that lives in memory only.
    #[cfg(test)]
    pub(crate) fn in_memory() -> Self {
        let db = Connection::open_in_memory().expect("memory");
        db.pragma_update(None, "foreign_keys", true).expect("memory");
        db.set_prepared_statement_cache_capacity(64);
        migrate(&db).expect("a good schema");
        Self { folder: PathBuf::new(), db, may_write: true, schema_of_file: None }
    }

    /// The shop's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// State of the file.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn health(&self) -> Result<Health> {
        let of_this = || self.db.pragma_query_value(None, "user_version", |row| row.get(0));
        let schema = self.schema_of_file.map_or_else(of_this, Ok)?;
        let mut check = self.db.prepare("PRAGMA integrity_check(5)")?;
        let lines = check.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
        let mut faults: Vec<String> = lines.into_iter().filter(|line| line != "ok").collect();
        let loose: i64 = self.db.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| row.get(0))?;
        if loose > 0 {
            faults.push(format!("{loose} rows refer to rows that are gone"));
        }
        let size = |name: &str| fs::metadata(self.folder.join(name)).map_or(0, |m| m.len());
        Ok(Health { schema, bytes: size(STORE) + size(LOG), faults })
    }

    /// Writes a whole copy of the store to `to`, while others may go on working.
    ///
    /// # Errors
    /// When `to` exists already or cannot be written; nothing half-written is left behind.
    pub fn back_up(&self, to: &Path) -> Result<()> {
        if to.exists() {
            let taken = std::io::ErrorKind::AlreadyExists.into();
            return Err(ShopError::io("write the backup", to, taken));
        }
        let unfinished = Unfinished::beside(to).map_err(|e| ShopError::io("write", to, e))?;
        let copy = unfinished.folder().join(STORE);
        let name = copy.to_str().ok_or_else(|| ShopError::Value(format!("{}: not a UTF-8 path", to.display())))?;
        // To SQLite a copy elsewhere is a change, too.
        self.db.pragma_update(None, "query_only", false)?;
        let copied = self.db.execute("VACUUM INTO ?1", [name]);
        self.db.pragma_update(None, "query_only", !self.may_write)?;
        copied?;
        unfinished.place_new(STORE, to).map_err(|e| ShopError::io("write the backup", to, e))
    }

    /// Makes several changes as one: all of them are stored, or none.
    ///
    /// # Errors
    /// What `change` or the store says.
    pub fn whole<T>(&self, change: impl FnOnce() -> Result<T>) -> Result<T> {
        if !self.db.is_autocommit() {
            return change(); // Inside another whole; that one decides.
        }
        let all = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate)?;
        let value = change()?;
        all.commit()?;
        Ok(value)
    }

    /// A setting; `None` when it was never set.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn setting(&self, key: Setting) -> Result<Option<String>> {
        use rusqlite::OptionalExtension as _;
        let mut query = self.db.prepare_cached("SELECT value FROM settings WHERE key = ?1")?;
        Ok(query.query_row([key.as_str()], |row| row.get(0)).optional()?)
    }

    /// Sets it; to nothing, it is not set any more.
    ///
    /// # Errors
    /// When the value makes no sense for it.
    pub fn set(&self, key: Setting, value: &str) -> Result<()> {
        if value.trim().is_empty() {
            self.db.execute("DELETE FROM settings WHERE key = ?1", [key.as_str()])?;
            return Ok(());
        }
        key.check(value)?;
        self.db.execute(
            "INSERT INTO settings (key, value) VALUES (?1, ?2) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            [key.as_str(), value.trim()],
        )?;
        Ok(())
    }

    /// The units that it is shown its figures in, where it has set them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn units(&self) -> Result<Option<Units>> {
        Ok(self.setting(Setting::Units)?.and_then(|text| text.parse().ok()))
    }

    /// A setting that is a number.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn number(&self, key: Setting) -> Result<Option<f64>> {
        Ok(self.setting(key)?.and_then(|text| text.parse().ok()))
    }
}

/// Why a store was not opened for writing.
enum Refused {
    /// It may not be written.
    Writing,
    /// Anything else.
    Because(ShopError),
}

impl From<rusqlite::Error> for Refused {
    fn from(error: rusqlite::Error) -> Self {
        // A log that cannot be made beside the store is a file that cannot be opened.
        match error.sqlite_error_code() {
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => Self::Writing,
            _ => Self::Because(error.into()),
        }
    }
}

impl From<ShopError> for Refused {
    fn from(error: ShopError) -> Self {
        if matches!(error, ShopError::ReadOnly) { Self::Writing } else { Self::Because(error) }
    }
}

impl From<Refused> for ShopError {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::Writing => Self::ReadOnly,
            Refused::Because(error) => error,
        }
    }
}

/// The schema of a store; refused where it is none, or of a newer program.
fn schema_of(db: &Connection, path: &Path) -> std::result::Result<i64, Refused> {
    let number = |pragma: &str| db.pragma_query_value(None, pragma, |row| row.get::<_, i64>(0));
    let application = number("application_id").map_err(|e| match Refused::from(e) {
        // Other files are no stores; one that begins as a store does was one.
        Refused::Because(ShopError::Damaged(_)) if !begins_as_store(path) => {
            ShopError::Foreign { path: path.into() }.into()
        }
        other => other,
    })?;
    if application != i64::from(APPLICATION_ID) {
        return Err(ShopError::Foreign { path: path.into() }.into());
    }
    let (found, known) = (number("user_version")?, MIGRATIONS.len() as i64);
    if found > known { Err(ShopError::Newer { found, known }.into()) } else { Ok(found) }
}

/// A store's address for reading (SQLite, URI filenames); `still`: nobody changes it, so that no lock and no log are needed.
fn address(whole: &Path, still: bool) -> Result<String> {
    let text = whole.to_str().ok_or_else(|| ShopError::Value(format!("{}: not a UTF-8 path", whole.display())))?;
    // Windows writes a whole path with a prefix of its own.
    let text = if cfg!(windows) { text.trim_start_matches(r"\\?\").replace('\\', "/") } else { text.to_owned() };
    let text = text.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    let root = if text.starts_with('/') { "" } else { "/" };
    Ok(format!("file:{root}{text}?mode=ro{}", if still { "&immutable=1" } else { "" }))
}

/// Whether a file's first bytes are those of a database (SQLite file format, section 1.3).
fn begins_as_store(path: &Path) -> bool {
    const MAGIC: &[u8] = b"SQLite format 3\0";
    let mut begin = [0; MAGIC.len()];
    File::open(path).and_then(|mut file| file.read_exact(&mut begin)).is_ok() && begin == MAGIC
}

/// What a shop can set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// The shop's name, for reports.
    Name,
    /// Units in which it is shown what it has. What it keeps stays SI.
    Units,
    /// Its logo, a PNG or JPEG in the shop's folder.
    Logo,
    /// What it tells owners about care after the work.
    Care,
    /// One standard deviation of its film gauge on one spot, µm.
    GaugeSdUm,
    /// The film the shop wants to keep at least, µm of the whole build. No built-in value.
    FilmFloorUm,
}

impl Setting {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Name, Self::Units, Self::Logo, Self::Care, Self::GaugeSdUm, Self::FilmFloorUm];

    /// The key.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Units => "units",
            Self::Logo => "logo",
            Self::Care => "care",
            Self::GaugeSdUm => "gauge-sd-um",
            Self::FilmFloorUm => "film-floor-um",
        }
    }

    /// The setting of a key.
    pub fn of(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.as_str() == key)
    }

    fn check(self, value: &str) -> Result<()> {
        let range = match self {
            Self::Name | Self::Logo | Self::Care => return Ok(()),
            Self::Units => {
                return match value.trim().parse::<Units>() {
                    Ok(_) => Ok(()),
                    Err(unknown) => Err(ShopError::OutOfRange(unknown.to_string())),
                };
            }
            Self::GaugeSdUm => 0.01..=50.0,
            Self::FilmFloorUm => 1.0..=2000.0,
        };
        match value.trim().parse::<f64>() {
            Ok(number) if range.contains(&number) => Ok(()),
            _ => Err(ShopError::OutOfRange(format!(
                "{} {value:?}: expected a number of {} to {} µm",
                self.as_str(),
                range.start(),
                range.end()
            ))),
        }
    }
}

/// Applies the missing migrations, each whole or not at all.
fn migrate(db: &Connection) -> Result<()> {
    loop {
        let step = Transaction::new_unchecked(db, TransactionBehavior::Immediate)?;
        let at: i64 = step.pragma_query_value(None, "user_version", |row| row.get(0))?;
        let Some(sql) = usize::try_from(at).ok().and_then(|at| MIGRATIONS.get(at)) else { return Ok(()) };
        step.execute_batch(sql)?;
        step.pragma_update(None, "user_version", at + 1)?;
        step.commit()?;
    }
}
