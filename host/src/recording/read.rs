//! Reading: whole chunks, each checked before any of it is handed out, from finished, cut and damaged files alike.

use std::{
    fs::File,
    io::{Read, Seek, SeekFrom},
    path::{Path, PathBuf},
};

use mcap::{
    MAGIC,
    records::{Record, op},
    sans_io::{LinearReadEvent, LinearReader, LinearReaderOptions},
};

use crate::guidance::units::count;

use super::{
    Body, Closing, Entry, Error, Facts, LINK, METADATA_CLOSING, METADATA_SESSION, NOTE, Result, SENSOR, TABLE,
    TOPIC_LINK, TOPIC_NOTE, TOPIC_SENSOR, TOPIC_TABLE, TableEntry, facts::from_map,
};

/// Largest chunk that is believed. Ours are 64 kB; a damaged length must not make us ask for exabytes.
const MAX_CHUNK: usize = 64 << 20;

/// What was wrong with a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Damage {
    /// The file ends in the middle: the recording was not finished.
    pub cut: bool,
    /// Places where a chunk, or what stands around it, was damaged; each loses at most the half second of a chunk or two.
    pub bad_chunks: u64,
    /// Messages that could not be read.
    pub bad_messages: u64,
    /// Messages that had been written, as the end of a finished file says, and were not found.
    pub missing: u64,
}

impl Damage {
    /// Whether anything that had been recorded is missing. A file that was only cut has lost nothing that was flushed.
    pub fn lost_data(&self) -> bool {
        self.bad_chunks > 0 || self.bad_messages > 0 || self.missing > 0
    }

    /// What was wrong, in words.
    pub fn describe(&self) -> String {
        let parts = [
            (
                self.bad_chunks,
                "damaged place in the file, up to a second lost",
                "damaged places in the file, up to a second lost at each",
            ),
            (self.bad_messages, "unreadable message", "unreadable messages"),
            (self.missing, "message missing of those written", "messages missing of those written"),
        ];
        let parts = parts.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, many)| count(n as usize, one, many));
        parts.collect::<Vec<_>>().join(", ")
    }
}

/// A recording, read from start to end with constant memory.
pub struct Reader {
    path: PathBuf,
    file: File,
    size: u64,
    position: u64,
    facts: Facts,
    closing: Option<Closing>,
    damage: Damage,
    topics: Topics,
    container: LinearReader,
    /// Where the record after the latest one begins.
    walked: u64,
    /// Messages of our channels met so far.
    met: u64,
    /// The first chunk, met while looking for the facts in front of it.
    pending: Option<Chunk>,
}

/// Which channel id carries which topic.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Topics {
    sensor: Option<u16>,
    table: Option<u16>,
    link: Option<u16>,
    note: Option<u16>,
}

impl Topics {
    /// As our writer numbers them.
    fn ours() -> Self {
        Self { sensor: Some(SENSOR), table: Some(TABLE), link: Some(LINK), note: Some(NOTE) }
    }

    fn learn(&mut self, channel: &mcap::records::Channel) {
        match channel.topic.as_str() {
            TOPIC_SENSOR => self.sensor = Some(channel.id),
            TOPIC_TABLE => self.table = Some(channel.id),
            TOPIC_LINK => self.link = Some(channel.id),
            TOPIC_NOTE => self.note = Some(channel.id),
            _ => {}
        }
    }

    /// `None` for channels that are not ours to read (a newer program's, or another tool's); an error for our own
    /// channels when the message does not read.
    fn body<'a>(&self, channel: u16, data: &'a [u8]) -> Option<std::result::Result<Body<'a>, Unreadable>> {
        let channel = Some(channel);
        if channel == self.sensor {
            Some(Ok(Body::Frame(data)))
        } else if channel == self.table {
            Some(TableEntry::read(data).map(Body::Table).map_err(|_| Unreadable))
        } else if channel == self.link {
            Some(serde_json::from_slice(data).map(Body::Link).map_err(|_| Unreadable))
        } else if channel == self.note {
            Some(serde_json::from_slice(data).map(Body::Note).map_err(|_| Unreadable))
        } else {
            None
        }
    }
}

struct Unreadable;

#[derive(Debug)]
struct Chunk {
    crc: u32,
    compressed: bool,
    data: Vec<u8>,
}

impl Chunk {
    /// Ours are never compressed, and always carry a checksum.
    fn is_whole(&self) -> bool {
        !self.compressed && crc32fast::hash(&self.data) == self.crc
    }
}

impl Reader {
    /// Opens a recording, finished (`.mcap`) or not (`.mcap.part`).
    ///
    /// # Errors
    /// When it cannot be read or is no recording of Steadypass.
    pub fn open(path: &Path) -> Result<Self> {
        let mut file = File::open(path).map_err(|e| Error::io("open", path, e))?;
        let meta = file.metadata().map_err(|e| Error::io("open", path, e))?;
        if meta.is_dir() {
            return Err(Error::io("open", path, std::io::ErrorKind::IsADirectory.into()));
        }
        let mut start = Vec::new();
        file.by_ref().take(MAGIC.len() as u64).read_to_end(&mut start).map_err(|e| Error::io("read", path, e))?;
        if start != MAGIC {
            return Err(Error::NotARecording { path: path.to_owned(), found: describe_start(&start) });
        }
        let mut reader = Self {
            path: path.to_owned(),
            file,
            size: meta.len(),
            position: MAGIC.len() as u64,
            facts: Facts::default(),
            closing: None,
            damage: Damage::default(),
            topics: Topics::default(),
            container: container(),
            walked: MAGIC.len() as u64,
            met: 0,
            pending: None,
        };
        // The facts stand before the first chunk; the channels are repeated inside it.
        reader.pending = reader.read_chunk()?;
        if let Some(chunk) = reader.pending.as_ref().filter(|chunk| chunk.is_whole()) {
            for record in records(&chunk.data) {
                if let Ok(Some(Record::Channel(channel))) = record {
                    reader.topics.learn(&channel);
                }
            }
        }
        if reader.topics.sensor.is_none() && reader.topics.table.is_none() {
            if reader.facts == Facts::default() {
                return Err(Error::Foreign { path: path.to_owned() });
            }
            reader.topics = Topics::ours();
        }
        Ok(reader)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Session facts; defaults where the recording has none.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// How it ended; `None` before the end was read, and for a file that was not finished.
    pub fn closing(&self) -> Option<&Closing> {
        self.closing.as_ref()
    }

    /// What was wrong with the part read so far.
    pub fn damage(&self) -> Damage {
        self.damage
    }

    /// Bytes read so far and in all, for progress bars.
    pub fn progress(&self) -> (u64, u64) {
        (self.position.min(self.size), self.size)
    }

    /// Reads the next chunk and hands its entries to `sink`, in order. `false` at the end.
    ///
    /// # Errors
    /// Only when the operating system cannot read; damage is counted, not an error.
    pub fn next_chunk(&mut self, mut sink: impl FnMut(Entry<'_>)) -> Result<bool> {
        let next = match self.pending.take() {
            Some(chunk) => Some(chunk),
            None => self.read_chunk()?,
        };
        let Some(chunk) = next else { return Ok(false) };
        if !chunk.is_whole() {
            self.damage.bad_chunks += 1;
            return Ok(true);
        }
        for record in records(&chunk.data) {
            match record {
                Ok(Some(Record::Channel(channel))) => self.topics.learn(&channel),
                Ok(Some(Record::Message { header, data })) => {
                    let body = self.topics.body(header.channel_id, &data);
                    self.met += u64::from(body.is_some());
                    match body {
                        Some(Ok(body)) => sink(Entry { log_ns: header.log_time, body }),
                        Some(Err(Unreadable)) => self.damage.bad_messages += 1,
                        None => {}
                    }
                }
                Ok(_) => {}
                Err(_) => self.damage.bad_messages += 1,
            }
        }
        Ok(true)
    }

    /// Walks the file to the next chunk, taking up what stands between chunks.
    fn read_chunk(&mut self) -> Result<Option<Chunk>> {
        loop {
            match self.container.next_event() {
                None => {
                    self.settle();
                    return Ok(None);
                }
                Some(Ok(LinearReadEvent::ReadRequest(want))) => {
                    let room = self.container.insert(want);
                    let got = self.file.read(room).map_err(|e| Error::io("read", &self.path, e))?;
                    self.position += got as u64;
                    self.container.notify_read(got);
                }
                Some(Ok(LinearReadEvent::Record { data, opcode })) => {
                    let start = self.walked;
                    self.walked += RECORD_HEAD as u64 + data.len() as u64;
                    // A chunk is one whatever its mark says: that may be damaged, too.
                    let opcode = if is_chunk(data) { op::CHUNK } else { opcode };
                    match parse(opcode, data) {
                        // One that another tool has compressed is counted as damaged by itself.
                        Ok(Some(Record::Chunk { header, data: inside }))
                            if is_chunk(data) || !header.compression.is_empty() =>
                        {
                            let compressed = !header.compression.is_empty();
                            let crc = header.uncompressed_crc;
                            return Ok(Some(Chunk { crc, compressed, data: inside.into_owned() }));
                        }
                        Ok(Some(Record::Metadata(m))) if m.name == METADATA_SESSION => {
                            self.facts = from_map(&m.metadata);
                        }
                        Ok(Some(Record::Metadata(m))) if m.name == METADATA_CLOSING => {
                            self.closing = Some(from_map(&m.metadata));
                        }
                        Ok(Some(Record::Channel(channel))) => self.topics.learn(&channel),
                        Ok(Some(Record::Chunk { .. })) | Err(Unreadable) => self.go_on_behind(start)?,
                        Ok(_) => {}
                    }
                }
                Some(Err(_)) => self.go_on_behind(self.walked)?,
            }
        }
    }

    /// The file cannot be walked past the record at `start`: it ends there, or a length is damaged. Goes on at the next record
    /// that is plainly one of ours.
    fn go_on_behind(&mut self, start: u64) -> Result<()> {
        let next = self.find_record(start + 1)?;
        // A record of ours that runs past the end of the file was being written when the writing stopped.
        if next.is_some() || !self.is_cut_at(start)? {
            self.damage.bad_chunks += 1;
        }
        self.walked = next.unwrap_or(self.size);
        self.position = self.walked;
        self.file.seek(SeekFrom::Start(self.walked)).map_err(|e| Error::io("read", &self.path, e))?;
        self.container = container();
        Ok(())
    }

    /// Where the first record of ours from `from` on begins.
    fn find_record(&mut self, from: u64) -> Result<Option<u64>> {
        const WINDOW: usize = 1 << 20;
        let mut at = from;
        loop {
            let window = self.bytes_at(at, WINDOW)?;
            let ours =
                |i: &usize| starts_record(&window[*i..]).is_some_and(|length| at + *i as u64 + length <= self.size);
            if let Some(i) = (0..window.len()).find(ours) {
                return Ok(Some(at + i as u64));
            }
            if window.len() < WINDOW {
                return Ok(None);
            }
            at += (WINDOW - LONGEST_HEAD) as u64;
        }
    }

    fn is_cut_at(&mut self, start: u64) -> Result<bool> {
        let head = self.bytes_at(start, LONGEST_HEAD)?;
        Ok(head.len() < LONGEST_HEAD || starts_record(&head).is_some_and(|length| start + length > self.size))
    }

    fn bytes_at(&mut self, at: u64, most: usize) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.file
            .seek(SeekFrom::Start(at))
            .and_then(|_| self.file.by_ref().take(most as u64).read_to_end(&mut bytes))
            .map_err(|e| Error::io("read", &self.path, e))?;
        Ok(bytes)
    }

    /// At the end: what had been written is held against what was met.
    fn settle(&mut self) {
        match &self.closing {
            Some(closing) => self.damage.missing = closing.messages.saturating_sub(self.met),
            None => self.damage.cut = true,
        }
    }
}

/// A reader of the container that stands at the beginning of a record.
fn container() -> LinearReader {
    let options = LinearReaderOptions::default()
        .with_skip_start_magic(true)
        .with_skip_end_magic(true)
        .with_emit_chunks(true)
        .with_record_length_limit(MAX_CHUNK);
    LinearReader::new_with_options(options)
}

/// Opcode and length in front of a record: MCAP specification, "Records".
const RECORD_HEAD: usize = 9;

/// In front of the records of a chunk that is not compressed: two times and a size of 8 bytes, a checksum of 4, an empty text
/// of 4, a size of 8.
const CHUNK_HEAD: usize = 40;

/// As many bytes tell every record of ours.
const LONGEST_HEAD: usize = RECORD_HEAD + CHUNK_HEAD;

/// Whether the body of a record, whole, is that of a chunk of ours.
fn is_chunk(body: &[u8]) -> bool {
    chunk_length(body) == Some(body.len() as u64)
}

/// Length of the body of a chunk of ours, as its own header says it twice; `None` where that is none.
fn chunk_length(body: &[u8]) -> Option<u64> {
    let number = |at: usize| body.get(at..at + 8)?.first_chunk().map(|bytes| u64::from_le_bytes(*bytes));
    let (size, inside) = (number(16)?, number(32)?);
    let plain = body.get(28..32)? == [0; 4];
    (plain && size == inside && size <= MAX_CHUNK as u64).then_some(CHUNK_HEAD as u64 + size)
}

/// Length of the record that begins here, if it is plainly one of ours: a chunk, the facts, or what closes a recording.
fn starts_record(data: &[u8]) -> Option<u64> {
    let (&opcode, rest) = data.split_first()?;
    let (length, body) = rest.split_first_chunk::<8>()?;
    let length = u64::from_le_bytes(*length);
    let ours = match opcode {
        op::CHUNK => chunk_length(body) == Some(length),
        op::METADATA => {
            let (says, text) = body.split_first_chunk::<4>()?;
            let named =
                |name: &str| u32::from_le_bytes(*says) as usize == name.len() && text.starts_with(name.as_bytes());
            length <= MAX_CHUNK as u64 && (named(METADATA_SESSION) || named(METADATA_CLOSING))
        }
        _ => false,
    };
    ours.then_some(RECORD_HEAD as u64 + length)
}

/// The records inside a chunk. Ends early where a length does not fit.
fn records(mut data: &[u8]) -> impl Iterator<Item = std::result::Result<Option<Record<'_>>, Unreadable>> {
    std::iter::from_fn(move || {
        // One opcode byte, a 64-bit little-endian length, the body: MCAP specification, "Records".
        let (&opcode, rest) = data.split_first()?;
        let (length, rest) = rest.split_first_chunk::<8>()?;
        let (body, tail) = rest.split_at_checked(usize::try_from(u64::from_le_bytes(*length)).ok()?)?;
        data = tail;
        Some(parse(opcode, body))
    })
}

/// A record of the kinds we use; `None` for others. The library asks for as much memory as the lengths inside a record say,
/// up to 4 GB each, before it sees whether so much is there: they are held against the record first.
fn parse(opcode: u8, body: &[u8]) -> std::result::Result<Option<Record<'_>>, Unreadable> {
    let fits = match opcode {
        // Two texts, and no more: what stands behind a header whose length is damaged must not be passed over with it.
        op::HEADER => after_texts(body, 0, 2).is_some_and(<[u8]>::is_empty),
        // Two times and a size of 8 bytes, a checksum of 4, the name of the compression.
        op::CHUNK => after_texts(body, 28, 1).is_some(),
        // Two ids of 2 bytes, topic, encoding, metadata.
        op::CHANNEL => after_texts(body, 4, 2).and_then(prefixed).is_some_and(|(map, _)| only_texts(map)),
        op::METADATA => after_texts(body, 0, 1).and_then(prefixed).is_some_and(|(map, _)| only_texts(map)),
        op::MESSAGE => true,
        _ => return Ok(None),
    };
    if !fits {
        return Err(Unreadable);
    }
    mcap::parse_record(opcode, body).map(Some).map_err(|_| Unreadable)
}

/// Splits off a piece that stands behind its 32-bit little-endian length.
fn prefixed(data: &[u8]) -> Option<(&[u8], &[u8])> {
    let (length, rest) = data.split_first_chunk::<4>()?;
    rest.split_at_checked(usize::try_from(u32::from_le_bytes(*length)).ok()?)
}

/// What follows `count` texts that start at `from`.
fn after_texts(body: &[u8], from: usize, count: usize) -> Option<&[u8]> {
    (0..count).try_fold(body.get(from..)?, |rest, _| prefixed(rest).map(|(_, rest)| rest))
}

fn only_texts(mut data: &[u8]) -> bool {
    while !data.is_empty() {
        let Some((_, rest)) = prefixed(data) else { return false };
        data = rest;
    }
    true
}

fn describe_start(start: &[u8]) -> String {
    if start.is_empty() {
        "an empty file".into()
    } else if start.iter().all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace()) {
        format!("text starting with {:?}", String::from_utf8_lossy(start))
    } else {
        "other bytes".into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A channel record: ids, topic with the length it claims, encoding, no metadata.
    fn channel(claimed: u32) -> Vec<u8> {
        let mut body = vec![1, 0, 0, 0];
        body.extend(claimed.to_le_bytes());
        body.extend(b"/sensor");
        body.extend(0u32.to_le_bytes());
        body.extend(0u32.to_le_bytes());
        body
    }

    #[test]
    fn a_length_beyond_its_record_is_refused_before_memory_is_asked_for() {
        assert!(matches!(parse(op::CHANNEL, &channel(7)), Ok(Some(Record::Channel(c))) if c.topic == "/sensor"));
        for claimed in [100, 2_168_528_959, u32::MAX] {
            assert!(parse(op::CHANNEL, &channel(claimed)).is_err(), "{claimed}");
        }
        assert!(parse(op::METADATA, &channel(u32::MAX)[4..]).is_err());
        assert!(parse(op::CHUNK, &[0; 30]).is_err());
        assert!(matches!(parse(op::FOOTER, &[]), Ok(None)), "kinds we do not use are not looked into");
    }
}
