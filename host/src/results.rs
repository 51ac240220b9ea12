//! The folder of a review, or of other work that writes several files: tables, drawings, page. All of it is written beside its
//! final place, and moved there only when all of it is whole; what earlier work left over goes last. So no file is ever half
//! written, and nothing of an earlier review is lost before the new one is there. A program that is killed in the middle of the
//! moving (some renames, no more) may leave files of both, each of them whole; later reviews put that right.

use std::{
    fs::{self, File},
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};

use crate::{
    recording::describe_io,
    replaced::{PAGE_BEGINS, refuse_other},
    reviewed::COLUMNS,
    session::Event,
    tables::{MARKS, NOTES, PASSES, SERIES, STROKES, Table, WARNINGS},
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

/// Files being written into a folder together.
pub struct Together {
    folder: PathBuf,
    unfinished: Unfinished,
    names: Vec<String>,
}

impl Together {
    /// Starts files for `folder`, which is created when it is not there.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn create(folder: &Path) -> Result<Self, ResultsError> {
        let unfinished = Unfinished::within(folder).map_err(|e| ResultsError::new(folder, e))?;
        Ok(Self { folder: folder.to_owned(), unfinished, names: Vec::new() })
    }

    /// Adds a file.
    ///
    /// # Errors
    /// When something else than an earlier file of its kind stands in its place; when the disk fails.
    pub fn file(&mut self, name: &str, bytes: &[u8]) -> Result<(), ResultsError> {
        refuse(&self.folder.join(name), bytes)?;
        fs::write(self.unfinished.folder().join(name), bytes).map_err(|e| self.failed(e))?;
        self.names.push(name.to_owned());
        Ok(())
    }

    /// Adds a file that is written little by little.
    fn open(&mut self, name: &str) -> Result<BufWriter<File>, ResultsError> {
        let file = File::create(self.unfinished.folder().join(name)).map_err(|e| self.failed(e))?;
        self.names.push(name.to_owned());
        Ok(BufWriter::new(file))
    }

    /// Moves everything to its place and returns the paths. Whatever else in the folder `ours` says is of earlier work of this
    /// kind, by its name, goes: it would otherwise stay beside the new files as if it were of them.
    ///
    /// # Errors
    /// When the disk fails; what was there before is then still whole, file by file, and nothing of it is gone.
    pub fn finish(self, ours: impl Fn(&str) -> bool) -> Result<Vec<PathBuf>, ResultsError> {
        let paths = self.unfinished.place_all(&self.names, &self.folder).map_err(|e| self.failed(e))?;
        let stale = |name: &str| ours(name) && !self.names.iter().any(|new| new == name);
        for entry in fs::read_dir(&self.folder).map_err(|e| self.failed(e))? {
            let entry = entry.map_err(|e| self.failed(e))?;
            if stale(&entry.file_name().to_string_lossy()) {
                fs::remove_file(entry.path()).map_err(|e| self.failed(e))?;
            }
        }
        Ok(paths)
    }

    fn failed(&self, source: io::Error) -> ResultsError {
        ResultsError::new(&self.folder, source)
    }
}

/// A folder of results being written.
pub struct Results {
    files: Together,
    series: Table<BufWriter<File>>,
    strokes: Table<BufWriter<File>>,
    passes: Table<BufWriter<File>>,
    warnings: Table<BufWriter<File>>,
    marks: Table<BufWriter<File>>,
    marks_given: u32,
    notes: Table<BufWriter<File>>,
    rate_unit: &'static str,
    of_table: bool,
}

impl Results {
    /// Starts results for `folder`, which is created when it is not there. `rate_unit` is the plan's.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn create(folder: &Path, rate_unit: &'static str) -> Result<Self, ResultsError> {
        // Before the work, not after it.
        for (name, header) in [SERIES, STROKES, PASSES, WARNINGS, MARKS, NOTES] {
            refuse(&folder.join(name), header.join(",").as_bytes())?;
        }
        refuse(&folder.join(PAGE), PAGE_BEGINS.as_bytes())?;
        refuse(&folder.join(ORIGIN), COLUMNS.join(",").as_bytes())?;
        let mut files = Together::create(folder)?;
        let mut open = |(name, header): (&str, &[&str])| {
            Table::new(files.open(name)?, header).map_err(|e| ResultsError::new(folder, e.into()))
        };
        Ok(Self {
            series: open(SERIES)?,
            strokes: open(STROKES)?,
            passes: open(PASSES)?,
            warnings: open(WARNINGS)?,
            marks: open(MARKS)?,
            marks_given: 0,
            notes: open(NOTES)?,
            files,
            rate_unit,
            of_table: false,
        })
    }

    /// The same for a recording that was imported from a table, where `of_table`.
    #[must_use]
    pub fn of_table(self, of_table: bool) -> Self {
        Self { of_table, ..self }
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
            Event::Placed(placed) => self.warnings.warning(placed, self.rate_unit, self.of_table),
            Event::Mark { t_s } => {
                self.marks_given += 1;
                self.marks.mark(self.marks_given, *t_s)
            }
            Event::Note { t_s, text } => self.notes.note(*t_s, text),
            Event::Tick(_) | Event::Warning(_) | Event::HandedTo { .. } | Event::ToAndFro(_) => Ok(()),
        };
        written.map_err(|e| self.files.failed(e.into()))
    }

    /// Adds another file.
    ///
    /// # Errors
    /// When the disk fails.
    pub fn file(&mut self, name: &str, bytes: &[u8]) -> Result<(), ResultsError> {
        self.files.file(name, bytes)
    }

    /// Moves everything to its place and returns the paths.
    ///
    /// # Errors
    /// When the disk fails; what was there before is then still whole, file by file, and nothing of it is gone.
    pub fn finish(self) -> Result<Vec<PathBuf>, ResultsError> {
        for table in [self.series, self.strokes, self.passes, self.warnings, self.marks, self.notes] {
            table.finish().and_then(|mut out| out.flush()).map_err(|e| self.files.failed(e))?;
        }
        // Sheets of an earlier review with more passes, its page, and what it says it is of.
        self.files.finish(|name| is_sheet(name) || name == PAGE || name == ORIGIN)
    }
}

/// Name of the table that says which recording a review is of, see [`crate::reviewed`].
pub const ORIGIN: &str = "reviewed.csv";

/// Name of a review's page.
const PAGE: &str = "index.html";

fn refuse(path: &Path, new: &[u8]) -> Result<(), ResultsError> {
    refuse_other(path, new).map_err(|e| ResultsError::new(path, e))
}

/// Writes a file whole or not at all: beside its place first. Its folder is made when it is not there.
///
/// # Errors
/// When something else than an earlier file of its kind stands there; when the disk fails. What was there before is then still whole.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), ResultsError> {
    const NAME: &str = "file";
    refuse(path, bytes)?;
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

fn is_sheet(name: &str) -> bool {
    name.strip_prefix("section-").and_then(|n| n.strip_suffix(".png")).is_some_and(|n| n.contains("-pass-"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_review_without_page_leaves_no_page_of_an_earlier_one() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Results::create(folder.path(), "OPM").unwrap();
        first.file("index.html", format!("{PAGE_BEGINS} old figures").as_bytes()).unwrap();
        first.finish().unwrap();
        assert!(folder.path().join("index.html").exists());
        Results::create(folder.path(), "OPM").unwrap().finish().unwrap();
        assert!(!folder.path().join("index.html").exists());
    }

    /// As where live tables are written over a review: what they are of it does not say.
    #[test]
    fn what_an_earlier_review_was_of_goes_with_it() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = Results::create(folder.path(), "OPM").unwrap();
        first.file(ORIGIN, b"recording,started\r\n").unwrap();
        first.finish().unwrap();
        Results::create(folder.path(), "OPM").unwrap().finish().unwrap();
        assert!(!folder.path().join(ORIGIN).exists());
    }

    fn review_with(folder: &Path, sheets: &[&str]) -> Result<Vec<PathBuf>, ResultsError> {
        let mut results = Results::create(folder, "OPM")?;
        for name in sheets {
            results.file(name, b"\x89PNG\r\n\x1a\n")?;
        }
        results.finish()
    }

    #[test]
    fn marks_and_the_holes_of_a_table_are_written_as_what_they_are() {
        use crate::guidance::{Warning, WarningKind};
        let folder = tempfile::tempdir().unwrap();
        let warning = Warning { t_s: 3.0, kind: WarningKind::SignalLost, value: Some(1.0), limit: Some(1.0) };
        let placed = Event::Placed(crate::session::PlacedWarning { warning, pass: None, length_doubt: None });
        for (of_table, said) in
            [(true, "The table has a hole here of 1.0 s or more"), (false, "Switch the machine off")]
        {
            let mut results = Results::create(folder.path(), "OPM").unwrap().of_table(of_table);
            for event in [Event::Mark { t_s: 1.5 }, placed.clone(), Event::Mark { t_s: 61.25 }] {
                results.event(&event).unwrap();
            }
            results.finish().unwrap();
            let read = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
            assert_eq!(read("marks.csv"), "mark,t_s\r\n1,1.500\r\n2,61.250\r\n");
            assert!(read("warnings.csv").contains(said), "{}", read("warnings.csv"));
        }
    }

    #[test]
    fn a_warning_by_a_length_in_doubt_is_written_with_how_clear_the_doubt_is() {
        use crate::analysis::{Interval, LengthDoubt};
        use crate::guidance::{Warning, WarningKind};
        let folder = tempfile::tempdir().unwrap();
        let warning = Warning { t_s: 3.0, kind: WarningKind::PaceFast, value: Some(0.03), limit: Some(0.0254) };
        let by_turns_m = Interval { lo: 0.3, value: 0.35, hi: 0.4 };
        let mut results = Results::create(folder.path(), "OPM").unwrap();
        for clear in [None, Some(false), Some(true)] {
            let length_doubt = clear.map(|clear| LengthDoubt { by_turns_m, clear });
            let placed = crate::session::PlacedWarning { warning, pass: Some(1), length_doubt };
            results.event(&Event::Placed(placed)).unwrap();
        }
        results.finish().unwrap();
        let table = fs::read_to_string(folder.path().join("warnings.csv")).unwrap();
        let doubts: Vec<&str> = table.lines().filter_map(|row| row.rsplit(',').next()).collect();
        assert_eq!(doubts, ["length_doubt", "", "slight", "clear"], "{table}");
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn what_is_no_review_is_left_alone_and_said_before_the_work() {
        for (name, foreign) in [
            ("series.csv", "date,price\n1,2\n"),
            ("index.html", "<html>my own page</html>"),
            ("reviewed.csv", "book,stars\n1,2\n"),
        ] {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join(name);
            fs::write(&path, foreign).unwrap();
            let refused = Results::create(folder.path(), "OPM").map(|_| ()).unwrap_err().to_string();
            assert!(refused.contains(name) && refused.contains("move it away"), "{refused}");
            assert_eq!(fs::read_to_string(&path).unwrap(), foreign);
            assert_eq!(names(folder.path()), [name]);
        }
    }

    #[test]
    fn sheets_of_an_earlier_review_go_and_other_files_stay() {
        let folder = tempfile::tempdir().unwrap();
        review_with(folder.path(), &["section-01-pass-01.png", "section-01-pass-02.png"]).unwrap();
        fs::write(folder.path().join("section-plan.png"), "the user's own").unwrap();
        review_with(folder.path(), &["section-01-pass-01.png"]).unwrap();
        let expected = [
            "marks.csv",
            "notes.csv",
            "passes.csv",
            "section-01-pass-01.png",
            "section-plan.png",
            "series.csv",
            "strokes.csv",
            "warnings.csv",
        ];
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
