//! The folder of a review: tables, drawings, page. All of it is written beside its final place, and moved there only when
//! all of it is whole; what an earlier review left over goes last. So no file is ever half written, and nothing of an earlier
//! review is lost before the new one is there. A program that is killed in the middle of the moving (some renames, no more) may
//! leave files of both, each of them whole; later reviews put that right.

use std::{
    fs::{self, File},
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};

use crate::{
    recording::describe_io,
    session::Event,
    tables::{PASSES, SERIES, STROKES, Table, WARNINGS},
    unfinished::Unfinished,
};

/// Why results could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {}: {}", path.display(), describe_io(source))]
pub struct ResultsError {
    path: PathBuf,
    source: io::Error,
}

impl ResultsError {
    pub(crate) fn new(path: &Path, source: io::Error) -> Self {
        Self { path: path.to_owned(), source }
    }

    /// Which file, and what the system said.
    pub(crate) fn into_parts(self) -> (PathBuf, io::Error) {
        (self.path, self.source)
    }
}

/// A folder of results being written.
pub struct Results {
    folder: PathBuf,
    unfinished: Unfinished,
    series: Table<BufWriter<File>>,
    strokes: Table<BufWriter<File>>,
    passes: Table<BufWriter<File>>,
    warnings: Table<BufWriter<File>>,
    files: Vec<String>,
    rate_unit: &'static str,
}

impl Results {
    /// Starts results for `folder`, which is created when it is not there. `rate_unit` is the plan's.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn create(folder: &Path, rate_unit: &'static str) -> Result<Self, ResultsError> {
        let failed = |source| ResultsError { path: folder.to_owned(), source };
        let unfinished = Unfinished::within(folder).map_err(failed)?;
        let open = |(name, header): (&str, &[&str])| {
            let file = File::create(unfinished.folder().join(name)).map_err(failed)?;
            Table::new(BufWriter::new(file), header).map_err(|e| failed(e.into()))
        };
        Ok(Self {
            series: open(SERIES)?,
            strokes: open(STROKES)?,
            passes: open(PASSES)?,
            warnings: open(WARNINGS)?,
            files: [SERIES.0, STROKES.0, PASSES.0, WARNINGS.0].map(str::to_owned).into(),
            folder: folder.to_owned(),
            unfinished,
            rate_unit,
        })
    }

    /// Writes what belongs into the tables.
    ///
    /// # Errors
    /// When the disk fails.
    pub fn event(&mut self, event: &Event) -> Result<(), ResultsError> {
        let written = match event {
            Event::Row(row) => self.series.series(row),
            Event::Stroke(stroke) => self.strokes.stroke(stroke),
            Event::Pass(judged) => self.passes.pass(judged),
            Event::Placed(placed) => self.warnings.warning(placed, self.rate_unit),
            Event::Tick(_)
            | Event::Warning(_)
            | Event::Mark { .. }
            | Event::HandedTo { .. }
            | Event::Note { .. }
            | Event::ToAndFro(_) => Ok(()),
        };
        written.map_err(|e| self.failed(e.into()))
    }

    /// Adds another file.
    ///
    /// # Errors
    /// When the disk fails.
    pub fn file(&mut self, name: &str, bytes: &[u8]) -> Result<(), ResultsError> {
        fs::write(self.unfinished.folder().join(name), bytes).map_err(|e| self.failed(e))?;
        self.files.push(name.to_owned());
        Ok(())
    }

    /// Moves everything to its place and returns the paths.
    ///
    /// # Errors
    /// When the disk fails; what was there before is then still whole, file by file, and nothing of it is gone.
    pub fn finish(self) -> Result<Vec<PathBuf>, ResultsError> {
        let failed = |source| ResultsError { path: self.folder.clone(), source };
        for table in [self.series, self.strokes, self.passes, self.warnings] {
            table.finish().and_then(|mut out| out.flush()).map_err(failed)?;
        }
        let paths = self.unfinished.place_all(&self.files, &self.folder).map_err(failed)?;
        // Sheets of an earlier review with more passes, or its page, would otherwise stay beside the new tables.
        for old in stale_sheets(&self.folder, &self.files).map_err(failed)? {
            fs::remove_file(old).map_err(failed)?;
        }
        Ok(paths)
    }

    fn failed(&self, source: io::Error) -> ResultsError {
        ResultsError { path: self.folder.clone(), source }
    }
}

/// Writes a file whole or not at all: beside its place first. Its folder is made when it is not there.
///
/// # Errors
/// When the disk fails; what was there before is then still whole.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), ResultsError> {
    const NAME: &str = "file";
    let written = Unfinished::beside(path).and_then(|unfinished| {
        fs::write(unfinished.folder().join(NAME), bytes)?;
        unfinished.place(NAME, path)
    });
    written.map_err(|e| ResultsError::new(path, e))
}

/// File name of a pass's sheet.
pub fn sheet_name(section: u32, pass: u32) -> String {
    format!("section-{section:02}-pass-{pass:02}.png")
}

fn stale_sheets(folder: &Path, new: &[String]) -> io::Result<Vec<PathBuf>> {
    let mut stale = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let ours =
            name.strip_prefix("section-").and_then(|n| n.strip_suffix(".png")).is_some_and(|n| n.contains("-pass-"));
        if (ours || name == "index.html") && !new.contains(&name) {
            stale.push(entry.path());
        }
    }
    Ok(stale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_review_without_page_leaves_no_page_of_an_earlier_one() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Results::create(folder.path(), "OPM").unwrap();
        first.file("index.html", b"old figures").unwrap();
        first.finish().unwrap();
        assert!(folder.path().join("index.html").exists());
        Results::create(folder.path(), "OPM").unwrap().finish().unwrap();
        assert!(!folder.path().join("index.html").exists());
    }

    fn review_with(folder: &Path, sheets: &[&str]) -> Result<Vec<PathBuf>, ResultsError> {
        let mut results = Results::create(folder, "OPM")?;
        for name in sheets {
            results.file(name, b"new")?;
        }
        results.finish()
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn sheets_of_an_earlier_review_go_and_other_files_stay() {
        let folder = tempfile::tempdir().unwrap();
        review_with(folder.path(), &["section-01-pass-01.png", "section-01-pass-02.png"]).unwrap();
        fs::write(folder.path().join("section-plan.png"), "the user's own").unwrap();
        review_with(folder.path(), &["section-01-pass-01.png"]).unwrap();
        let expected =
            ["passes.csv", "section-01-pass-01.png", "section-plan.png", "series.csv", "strokes.csv", "warnings.csv"];
        assert_eq!(names(folder.path()), expected);
    }

    #[test]
    fn nothing_of_an_earlier_review_is_gone_before_the_new_one_is_there() {
        let folder = tempfile::tempdir().unwrap();
        review_with(folder.path(), &["section-01-pass-01.png", "section-01-pass-02.png"]).unwrap();
        // No file can be moved over a folder: the new review stops in the middle of the moving.
        let in_the_way = folder.path().join("warnings.csv");
        fs::remove_file(&in_the_way).unwrap();
        fs::create_dir(&in_the_way).unwrap();
        assert!(review_with(folder.path(), &["section-01-pass-01.png"]).is_err());
        assert!(folder.path().join("section-01-pass-02.png").exists());
    }
}
