//! How a recording ended, known before it is played: the closing stands at its end, and whoever draws while playing needs what it
//! says of the table from the first sheet on.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use mcap::sans_io::summary_reader::{SummaryReadEvent, SummaryReader, SummaryReaderOptions};

use super::facts::from_map;
use super::read::{HEAD, MAX_CHUNK, metadata};
use super::{Closing, METADATA_CLOSING};

/// The closing of a finished recording, found by the summary at its end; `None` where there is none or it cannot be read. Playing
/// the recording still finds it then, and says what is damaged.
pub(super) fn closing(path: &Path) -> Option<Closing> {
    let mut file = File::open(path).ok()?;
    let size = file.metadata().ok()?.len();
    let longest = usize::try_from(MAX_CHUNK).ok()?;
    let options = SummaryReaderOptions::default().with_file_size(size).with_record_length_limit(longest);
    let mut reader = SummaryReader::new_with_options(options);
    while let Some(event) = reader.next_event() {
        match event.ok()? {
            SummaryReadEvent::ReadRequest(bytes) => {
                let read = file.read(reader.insert(bytes)).ok()?;
                reader.notify_read(read);
            }
            SummaryReadEvent::SeekRequest(to) => reader.notify_seeked(file.seek(to).ok()?),
        }
    }
    let summary = reader.finish()?;
    let index = summary.metadata_indexes.iter().rfind(|index| index.name == METADATA_CLOSING)?;
    if index.length > MAX_CHUNK.min(size) {
        return None;
    }
    file.seek(SeekFrom::Start(index.offset)).ok()?;
    let mut record = Vec::new();
    file.take(index.length).read_to_end(&mut record).ok()?;
    metadata(record.get(HEAD..)?, METADATA_CLOSING).map(|map| from_map(&map))
}
