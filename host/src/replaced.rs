//! What a file that is written may take the place of: nothing, or an earlier one of its own kind. A plan, a picture, a table of
//! somebody else, a pipe or a device that stands there is left alone.

use std::{
    fs::{self, File},
    io::{self, Read as _},
    path::Path,
};

/// How every page of this program begins.
pub(crate) const PAGE_BEGINS: &str = "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n\
     <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
     <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:";

/// How pictures begin: PNG, JPEG.
pub(crate) const PICTURES_BEGIN: [&[u8]; 2] = [b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"];

/// As much of a file as tells its kind.
const BEGINNING: u64 = 4096;

/// Columns that two tables must begin with alike to be of one kind; later ones are added from time to time.
const COLUMNS_ALIKE: usize = 2;

/// Refuses to put a file that begins with `new` in the place of what is no earlier one of its kind.
///
/// # Errors
/// In words for [`crate::recording::describe_io`], with what stands there and what to do.
pub fn refuse_other(path: &Path, new: &[u8]) -> io::Result<()> {
    let refused =
        |what: &str| Err(io::Error::other(format!("{what} stands there; choose another name, or move it away")));
    if stands_for_a_stream(path) {
        return Err(io::Error::other(
            "it stands for another program's input, not for a file; choose the name of a file",
        ));
    }
    let Ok(there) = fs::metadata(path) else { return Ok(()) };
    if there.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    if !there.is_file() {
        return refused("a device or a pipe");
    }
    let old = beginning(path)?;
    if old.is_empty() || is_alike(&old, new) {
        Ok(())
    } else {
        refused("another file, not an earlier one of its kind,")
    }
}

/// The same for a file that is written already, and lies elsewhere.
///
/// # Errors
/// As for [`refuse_other`].
pub fn refuse_other_than(path: &Path, written: &Path) -> io::Result<()> {
    refuse_other(path, &beginning(written)?)
}

fn beginning(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(BEGINNING).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Whether a name leads to what a program has open, as `/dev/stdout` does.
fn stands_for_a_stream(path: &Path) -> bool {
    let folder = path.parent().and_then(|folder| fs::canonicalize(folder).ok());
    [folder, fs::read_link(path).ok()].into_iter().flatten().any(|to| to.starts_with("/proc"))
}

/// Whether two files, by how they begin, are of one kind.
fn is_alike(old: &[u8], new: &[u8]) -> bool {
    let page = PAGE_BEGINS.as_bytes();
    let both = |begins: &[u8]| old.starts_with(begins) && new.starts_with(begins);
    if PICTURES_BEGIN.into_iter().any(both) || both(page) {
        return true;
    }
    let is_other = |bytes: &[u8]| bytes.starts_with(page) || PICTURES_BEGIN.into_iter().any(|b| bytes.starts_with(b));
    if is_other(old) || is_other(new) {
        return false;
    }
    let first_line = |bytes: &[u8]| -> Vec<Vec<u8>> {
        let line = bytes.split(|b| *b == b'\n').next().unwrap_or_default();
        line.trim_ascii().split(|b| *b == b',').take(COLUMNS_ALIKE).map(<[u8]>::to_vec).collect()
    };
    first_line(old) == first_line(new)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_file_of_its_kind_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        let page = format!("{PAGE_BEGINS}; style-src 'unsafe-inline'\"><title>A day</title>");
        let kinds: [&[u8]; 4] =
            [page.as_bytes(), b"\x89PNG\r\n\x1a\n1", b"t_s,state,orbit_opm\n0,still,\n", b"{\n \"a\": 1}\n"];
        for new in kinds {
            let _ = fs::remove_file(&path);
            assert!(refuse_other(&path, new).is_ok());
            fs::write(&path, "").unwrap();
            assert!(refuse_other(&path, new).is_ok());
            for old in kinds.into_iter().chain([b"pace_mm_s = [10, 20]\n".as_slice(), b"<!DOCTYPE html>\n<html>"]) {
                fs::write(&path, old).unwrap();
                let refused = refuse_other(&path, new);
                assert_eq!(refused.is_ok(), old == new, "{old:?} for {new:?}");
                if let Err(error) = refused {
                    assert!(error.to_string().contains("stands there; choose another name"), "{error}");
                }
            }
        }
        let earlier_version = b"t_s,state\n";
        fs::write(&path, earlier_version).unwrap();
        assert!(refuse_other(&path, kinds[2]).is_ok());
        fs::write(&path, "t_s,accel_x_mps2\n").unwrap();
        assert!(refuse_other(&path, kinds[2]).is_err(), "a sensor's table");
    }

    #[cfg(unix)]
    #[test]
    fn what_is_no_file_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        nix::unistd::mkfifo(&pipe, nix::sys::stat::Mode::S_IRWXU).unwrap();
        for path in
            [pipe.as_path(), Path::new("/dev/null"), Path::new("/dev/stdout"), Path::new("/dev/fd/1"), folder.path()]
        {
            assert!(refuse_other(path, b"{").is_err(), "{}", path.display());
        }
    }
}
