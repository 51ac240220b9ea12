//! Which line of a file a CSV record stands on. The CSV reader's own count goes by line feeds before the record, and so it is one
//! too small where lines end in CR LF, stands still where they end in CR, and does not know of blank lines before the record.

use std::{collections::VecDeque, io::Read};

/// Passes bytes on and remembers where lines begin that hold something.
#[derive(Debug)]
pub(crate) struct CsvLines<R> {
    inner: R,
    /// Bytes passed on.
    passed: u64,
    /// The line that the next byte belongs to, and whether nothing of it has come yet.
    line: u64,
    is_new: bool,
    after_cr: bool,
    /// Offset and number of lines that have not been asked for: those of one buffer of the CSV reader, more or less.
    begun: VecDeque<(u64, u64)>,
}

impl<R> CsvLines<R> {
    pub(crate) fn new(inner: R) -> Self {
        Self { inner, passed: 0, line: 1, is_new: true, after_cr: false, begun: VecDeque::new() }
    }

    /// The line on which the record stands that the CSV reader begins at `position`. Positions must not go back.
    pub(crate) fn line_at(&mut self, position: Option<&csv::Position>) -> u64 {
        let from = position.map_or(0, csv::Position::byte);
        while self.begun.pop_front_if(|(at, _)| *at < from).is_some() {}
        self.begun.front().map_or(self.line, |(_, line)| *line)
    }
}

impl<R: Read> Read for CsvLines<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let got = self.inner.read(into)?;
        for (at, byte) in (self.passed..).zip(&into[..got]) {
            match byte {
                b'\n' if self.after_cr => {}
                b'\n' | b'\r' => (self.line, self.is_new) = (self.line + 1, true),
                _ if self.is_new => {
                    self.begun.push_back((at, self.line));
                    self.is_new = false;
                }
                _ => {}
            }
            self.after_cr = *byte == b'\r';
        }
        self.passed += got as u64;
        Ok(got)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hands out a few bytes at a time.
    struct Slowly<'a>(&'a [u8]);

    impl Read for Slowly<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let n = into.len().min(3);
            self.0.read(&mut into[..n])
        }
    }

    #[test]
    fn records_stand_where_an_editor_shows_them_however_lines_end() {
        let text = "a,b\n1,2\n\n\n5,\"x\ny\"\n7,8";
        for end in ["\n", "\r\n", "\r"] {
            let text = text.replace('\n', end);
            let mut rows = csv::Reader::from_reader(CsvLines::new(Slowly(text.as_bytes())));
            rows.headers().expect("a header");
            let (mut record, mut lines) = (csv::StringRecord::new(), Vec::new());
            while rows.read_record(&mut record).expect("a row") {
                lines.push(rows.get_mut().line_at(record.position()));
            }
            assert_eq!(lines, [2, 5, 7], "{end:?}");
        }
    }
}
