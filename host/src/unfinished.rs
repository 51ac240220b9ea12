//! What is not whole yet lies in a hidden folder beside its place, and is moved there once it is whole: so no file is ever half
//! written. What is given up goes again, and so does all of it when the program is stopped ([`discard_all`]). A program that is
//! killed leaves its hidden folder behind; whoever next writes beside it sweeps it away once it is old.

use std::{
    fs::{self, File},
    io, mem,
    path::{Path, PathBuf},
    sync::{Mutex, MutexGuard, PoisonError},
    thread,
    time::Duration,
};

use tempfile::TempPath;

/// What the names of hidden folders begin with.
const PREFIX: &str = ".unfinished-";

/// File in a hidden folder that its program keeps locked: as long as it runs, the folder is in use.
const LOCK: &str = ".in-use";

/// A hidden folder of this age that nobody has locked belongs to a program that was killed.
const FORGOTTEN: Duration = Duration::from_secs(3600);

/// Hidden folders of this program.
static ALL: Mutex<Vec<Hidden>> = Mutex::new(Vec::new());

fn all() -> MutexGuard<'static, Vec<Hidden>> {
    ALL.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A hidden folder for what is not whole yet. It goes with all that is still in it when this is dropped.
#[derive(Debug)]
pub struct Unfinished(PathBuf);

/// A hidden folder in use.
struct Hidden {
    folder: PathBuf,
    lock: File,
    /// The folder it lies in.
    made: Made,
}

impl Hidden {
    /// Removes it with all that is in it, by `remove`.
    fn remove<T>(self, remove: impl FnOnce(&Path) -> T) -> T {
        drop(self.lock); // A file that is open would keep it there on Windows.
        let removed = remove(&self.folder);
        drop(self.made);
        removed
    }
}

/// A folder that was made for what shall lie in it: it goes again if nothing comes to.
#[derive(Debug)]
struct Made(Option<PathBuf>);

impl Drop for Made {
    fn drop(&mut self) {
        if let Some(folder) = &self.0 {
            // Refused where anything lies in it, as it should be.
            let _ = fs::remove_dir(folder);
        }
    }
}

impl Unfinished {
    /// For what shall lie in `folder`, which is made when it is not there.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn within(folder: &Path) -> io::Result<Self> {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        if folder.exists() && !folder.is_dir() {
            return Err(io::ErrorKind::NotADirectory.into());
        }
        let mut all = all();
        let made = Made((!folder.exists()).then(|| folder.to_owned()));
        fs::create_dir_all(folder)?;
        sweep(folder, FORGOTTEN);
        let hidden = tempfile::Builder::new().prefix(PREFIX).tempdir_in(folder).map_err(without_path)?;
        let lock = File::create(hidden.path().join(LOCK))?;
        // Where a disk knows no locks, no sweep gets one either, and leaves the folder alone.
        let _ = lock.try_lock();
        let hidden = hidden.keep();
        all.push(Hidden { folder: hidden.clone(), lock, made });
        Ok(Self(hidden))
    }

    /// For a file that shall be called `path`.
    ///
    /// # Errors
    /// As for [`Unfinished::within`].
    pub fn beside(path: &Path) -> io::Result<Self> {
        Self::within(path.parent().unwrap_or(Path::new("")))
    }

    /// The hidden folder.
    pub fn folder(&self) -> &Path {
        &self.0
    }

    /// Moves the file `name`, which is whole now, to `path`; what was there before is replaced.
    ///
    /// # Errors
    /// When the disk fails.
    pub fn place(&self, name: &str, path: &Path) -> io::Result<()> {
        self.rename(name, path)?;
        name_to_disk(path);
        Ok(())
    }

    fn rename(&self, name: &str, path: &Path) -> io::Result<()> {
        let whole = self.folder().join(name);
        to_disk(&whole).and_then(|()| fs::rename(whole, path))
    }

    /// Moves the file `name`, which is whole now, to `path`, where nothing may be.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] when something is there; when the disk fails.
    pub fn place_new(&self, name: &str, path: &Path) -> io::Result<()> {
        let whole = self.folder().join(name);
        to_disk(&whole)?;
        match TempPath::try_from_path(whole)?.persist_noclobber(path) {
            Ok(()) => {}
            Err(_) if path.exists() => return Err(io::ErrorKind::AlreadyExists.into()),
            Err(refused) if refused.error.kind() == io::ErrorKind::AlreadyExists => return Err(refused.error),
            // Some memory sticks and network drives know no such move; having looked must do there.
            Err(refused) => fs::rename(refused.path.keep().map_err(|e| e.error)?, path)?,
        }
        name_to_disk(path);
        Ok(())
    }

    /// Moves these files, which are whole now, into `folder`, and returns their paths there. A program that is stopped meanwhile
    /// ends when all are there.
    ///
    /// # Errors
    /// When the disk fails: some may be there then, each of them whole.
    pub fn place_all(&self, names: &[String], folder: &Path) -> io::Result<Vec<PathBuf>> {
        let _all = all();
        let moved = |name: &String| self.rename(name, &folder.join(name)).map(|()| folder.join(name));
        let paths: Vec<PathBuf> = names.iter().map(moved).collect::<io::Result<_>>()?;
        paths.last().into_iter().for_each(|path| name_to_disk(path)); // They are all in one folder.
        Ok(paths)
    }
}

/// The same error without the hidden folder's path, which tells nobody anything.
fn without_path(error: io::Error) -> io::Error {
    let words = error.to_string();
    let said = words.split(" at path ").next().unwrap_or(&words);
    io::Error::new(error.kind(), said.to_owned())
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        let mut all = all();
        if let Some(at) = all.iter().position(|hidden| hidden.folder == self.0) {
            // One that will not go is no reason to fail.
            let _ = all.remove(at).remove(|folder| fs::remove_dir_all(folder));
        }
    }
}

/// What became of everything that was not whole.
#[derive(Debug, PartialEq, Eq)]
pub enum Discarded {
    /// There was nothing.
    Nothing,
    /// It is gone.
    All,
    /// These hidden folders would not go.
    Left(Vec<PathBuf>),
}

/// Removes everything of this program that is not whole. For whoever ends the program next thing: whatever else would begin, move
/// or give up something unfinished waits from now on, so that it cannot say that this failed.
pub fn discard_all() -> Discarded {
    let mut all = all();
    let any = !all.is_empty();
    let left: Vec<PathBuf> = all
        .drain(..)
        .filter_map(|hidden| {
            let folder = hidden.folder.clone();
            (!hidden.remove(remove)).then_some(folder)
        })
        .collect();
    mem::forget(all);
    match (any, left.is_empty()) {
        (false, _) => Discarded::Nothing,
        (true, true) => Discarded::All,
        (true, false) => Discarded::Left(left),
    }
}

/// Removes a hidden folder, and says whether it is gone.
fn remove(hidden: &Path) -> bool {
    // Another thread may put a file in while it is being emptied.
    for _ in 0..100 {
        if fs::remove_dir_all(hidden).is_ok() || !hidden.exists() {
            return true;
        }
        thread::sleep(Duration::from_millis(10));
    }
    false
}

/// Removes hidden folders that no file has been added to for so long and that no program is using: one may add nothing for hours, or
/// be suspended. One that will not go is no reason to fail.
fn sweep(folder: &Path, untouched: Duration) {
    let old = |entry: &fs::DirEntry| {
        let hidden = entry.file_name().to_string_lossy().starts_with(PREFIX);
        let age = entry.metadata().ok().filter(fs::Metadata::is_dir).and_then(|m| m.modified().ok()?.elapsed().ok());
        hidden && age.is_some_and(|age| age >= untouched)
    };
    for entry in fs::read_dir(folder).into_iter().flatten().flatten().filter(old) {
        if !in_use(&entry.path()) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Whether a program is using a hidden folder, or nobody can tell.
fn in_use(hidden: &Path) -> bool {
    // Open for writing: some network drives lock nothing else.
    match fs::OpenOptions::new().write(true).open(hidden.join(LOCK)) {
        Ok(lock) => lock.try_lock().is_err(),
        Err(e) => e.kind() != io::ErrorKind::NotFound,
    }
}

/// Waits until a file's content is on the disk. A name may get there sooner, and a power cut in between would leave the name of
/// an empty file.
fn to_disk(path: &Path) -> io::Result<()> {
    // Open for writing: some systems refuse to flush what is open for reading.
    fs::OpenOptions::new().write(true).open(path)?.sync_all()
}

/// Brings a file's new name to the disk, which is in its folder. Not every system can, and the file is whole without it.
pub(crate) fn name_to_disk(path: &Path) {
    if let Some(folder) = path.parent() {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        if let Ok(folder) = File::open(folder) {
            let _ = folder.sync_all();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_killed_program_left_is_swept_away_when_it_is_old() {
        let folder = tempfile::tempdir().unwrap();
        let (hidden, own) = (folder.path().join(".unfinished-x"), folder.path().join("own"));
        for made in [&hidden, &own] {
            fs::create_dir(made).unwrap();
            fs::write(made.join("series.csv"), "half").unwrap();
        }
        sweep(folder.path(), FORGOTTEN);
        assert!(hidden.exists(), "it may be in use");
        sweep(folder.path(), Duration::ZERO);
        assert!(!hidden.exists() && own.join("series.csv").exists());
    }

    #[test]
    fn what_is_in_use_is_not_swept_away_however_old_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let unfinished = Unfinished::within(folder.path()).unwrap();
        sweep(folder.path(), Duration::ZERO);
        assert!(unfinished.folder().exists());
        // As a program that is killed leaves it.
        let hidden = folder.path().join(".unfinished-x");
        fs::create_dir(&hidden).unwrap();
        let lock = File::create(hidden.join(LOCK)).unwrap();
        lock.lock().unwrap();
        sweep(folder.path(), Duration::ZERO);
        assert!(hidden.exists());
        drop(lock);
        sweep(folder.path(), Duration::ZERO);
        assert!(!hidden.exists() && unfinished.folder().exists());
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_is_said_to_be_one() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        fs::write(&file, "x").unwrap();
        for within in [file.clone(), file.join("deeper")] {
            let error = Unfinished::within(&within).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::NotADirectory, "{}", within.display());
        }
        let inner = io::Error::new(
            io::ErrorKind::ReadOnlyFilesystem,
            "Read-only file system (os error 30) at path \"/a/.unfinished-x\"",
        );
        assert_eq!(without_path(inner).to_string(), "Read-only file system (os error 30)");
    }

    #[test]
    fn a_folder_made_for_nothing_goes_again_and_one_that_was_there_stays() {
        let folder = tempfile::tempdir().unwrap();
        let new = folder.path().join("new");
        drop(Unfinished::within(&new).unwrap());
        assert!(!new.exists());
        fs::create_dir(&new).unwrap();
        drop(Unfinished::within(&new).unwrap());
        assert!(new.exists());
        assert_eq!(fs::read_dir(&new).unwrap().count(), 0);
    }

    #[test]
    fn what_is_whole_gets_to_its_place_and_the_rest_goes() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("there"), "before").unwrap();
        let unfinished = Unfinished::beside(&at("there")).unwrap();
        for name in ["a", "b", "half"] {
            fs::write(unfinished.folder().join(name), name).unwrap();
        }
        assert!(unfinished.place_new("a", &at("there")).is_err());
        assert_eq!(fs::read_to_string(at("there")).unwrap(), "before");
        unfinished.place("b", &at("there")).unwrap();
        drop(unfinished);
        assert_eq!(fs::read_to_string(at("there")).unwrap(), "b");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
