//! Reading: whole chunks, each checked before any of it is handed out, from finished, cut and damaged files alike.
//!
//! We walk from record to record ourselves: the library's readers end at the first length that does not fit, and one damaged
//! byte would cost the rest of the file. Where a record's lengths do not agree with each other, the next chunk or metadata
//! record whose lengths do is looked for, so that only what is damaged is lost.

use std::{
    collections::BTreeMap,
    fs::File,
    io::{BufReader, Read, Seek, SeekFrom},
    path::{Path, PathBuf},
};

use mcap::{
    MAGIC,
    records::{Record, op},
};

use super::{
    Body, Closing, Entry, Error, Facts, INTRODUCTION_FRAME, METADATA_CLOSING, METADATA_INTRODUCTION, METADATA_SESSION,
    PROFILE, Result, TOPIC_LINK, TOPIC_NOTE, TOPIC_SENSOR, TOPIC_TABLE, TableEntry, facts::from_map, write::CHANNELS,
    write::is_introduction,
};
use crate::guidance::units::count;

/// Largest chunk that is believed. Ours are 64 kB; a damaged length must not make us ask for exabytes.
pub(super) const MAX_CHUNK: u64 = 64 << 20;
/// An opcode byte and a 64-bit little-endian length stand before every record: MCAP specification, "Records".
pub(super) const HEAD: usize = 9;
/// What of a chunk record stands before its records when it is not compressed: two times and a size of 8 bytes, a checksum of
/// 4, the length of the compression's name (0) of 4, the length of the records of 8.
const CHUNK_FIELDS: usize = 40;

/// What was wrong with a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Damage {
    /// The file ends in the middle: the recording was not finished.
    pub cut: bool,
    /// Chunks whose checksum was wrong, and stretches that could not be walked.
    pub bad_chunks: u64,
    /// Messages and records that could not be read.
    pub bad_messages: u64,
    /// Messages that were written and are not there any more. Only a finished recording tells: 0 in others.
    pub missing: u64,
}

impl Damage {
    /// Whether anything that had been recorded may be missing. A file that was only cut has lost nothing that was flushed.
    pub fn lost_data(&self) -> bool {
        self.bad_chunks > 0 || self.bad_messages > 0 || self.missing > 0
    }

    /// What is missing, in words; empty when nothing is.
    pub fn describe(&self) -> String {
        if !self.lost_data() {
            return String::new();
        }
        let places = count(self.bad_chunks.saturating_add(self.bad_messages), "damaged place", "damaged places");
        let messages = count(self.missing, "message", "messages");
        match (self.bad_chunks + self.bad_messages, self.cut) {
            (0, _) => format!("{messages} missing from the file"),
            (_, false) => format!("{places} in the file, {messages} lost there"),
            (_, true) => format!("{places} in the file, how many messages were lost there is not known"),
        }
    }
}

/// A recording, read from start to end with constant memory.
pub struct Reader {
    path: PathBuf,
    file: BufReader<File>,
    size: u64,
    position: u64,
    facts: Facts,
    /// The file says that it is a recording of ours, outside its chunks.
    is_ours: bool,
    /// The sensor's introduction, until the first frame has been handed out.
    introduction: Option<Vec<u8>>,
    closing: Option<Closing>,
    damage: Damage,
    /// Messages on our channels so far.
    messages: u64,
    topics: Topics,
    /// The first chunk, met while looking for the facts in front of it.
    pending: Option<Chunk>,
}

/// Which channel id carries which topic.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Topics {
    sensor: Option<u16>,
    table: Option<u16>,
    link: Option<u16>,
    note: Option<u16>,
}

impl Topics {
    /// The ids that our writer gives. The records that say so all stand in one chunk, the first: these stand in for them when
    /// that chunk is damaged.
    const OURS: Self = Self {
        sensor: Some(CHANNELS.sensor),
        table: Some(CHANNELS.table),
        link: Some(CHANNELS.link),
        note: Some(CHANNELS.note),
    };

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

enum Chunk {
    /// The whole record; its own records begin after [`CHUNK_FIELDS`].
    Whole(Vec<u8>),
    /// Its checksum is wrong.
    Bad,
}

/// What stands between the magic bytes.
enum Piece {
    Record {
        opcode: u8,
        body: Vec<u8>,
    },
    /// No record of a believable length begins here.
    Unwalkable,
    End,
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
            file: BufReader::with_capacity(128 * 1024, file),
            size: meta.len(),
            position: MAGIC.len() as u64,
            facts: Facts::default(),
            is_ours: false,
            introduction: None,
            closing: None,
            damage: Damage::default(),
            messages: 0,
            topics: Topics::default(),
            pending: None,
        };
        // The facts stand before the first chunk; the channels are repeated inside it.
        reader.pending = reader.read_chunk()?;
        if let Some(Chunk::Whole(chunk)) = &reader.pending {
            for record in records(&chunk[CHUNK_FIELDS..]) {
                if let Ok(Some(Record::Channel(channel))) = record {
                    reader.topics.learn(&channel);
                }
            }
        }
        if reader.topics == Topics::default() && reader.is_ours {
            reader.topics = Topics::OURS;
        }
        if reader.topics.sensor.is_none() && reader.topics.table.is_none() && !reader.is_ours {
            return Err(Error::Foreign { path: path.to_owned() });
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

    /// How it ended, looked up at the file's end before that is read; `None` where it cannot be found so, though reading may.
    pub fn closing_ahead(&self) -> Option<Closing> {
        super::ahead::closing(&self.path)
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
        let chunk = match next {
            Some(Chunk::Whole(chunk)) => chunk,
            Some(Chunk::Bad) => {
                self.damage.bad_chunks += 1;
                return Ok(true);
            }
            None => {
                // What the closing says was written, against what was there.
                let written = self.closing.as_ref().map_or(0, |closing| closing.messages);
                self.damage.missing = written.saturating_sub(self.messages);
                return Ok(false);
            }
        };
        for record in records(&chunk[CHUNK_FIELDS..]) {
            match record {
                Ok(Some(Record::Channel(channel))) => self.topics.learn(&channel),
                Ok(Some(Record::Message { header, data })) => match self.topics.body(header.channel_id, &data) {
                    Some(Ok(body)) => {
                        self.messages += 1;
                        // The introduction is the first frame; where another is, it was lost with its chunk.
                        if let Body::Frame(raw) = body
                            && let Some(lost) = self.introduction.take().filter(|introduction| introduction != raw)
                        {
                            sink(Entry { log_ns: header.log_time, body: Body::Frame(&lost) });
                        }
                        sink(Entry { log_ns: header.log_time, body });
                    }
                    Some(Err(Unreadable)) => self.damage.bad_messages += 1,
                    None => {}
                },
                Ok(_) => {}
                Err(_) => self.damage.bad_messages += 1,
            }
        }
        Ok(true)
    }

    /// Walks the file to the next chunk, taking up what stands between chunks. `None` at the end.
    fn read_chunk(&mut self) -> Result<Option<Chunk>> {
        loop {
            let start = self.position;
            let (opcode, body) = match self.read_record()? {
                Piece::Record { opcode, body } => (opcode, body),
                Piece::Unwalkable => {
                    self.find_next(start)?;
                    continue;
                }
                Piece::End => {
                    self.damage.cut |= self.closing.is_none();
                    return Ok(None);
                }
            };
            // What a record is, its lengths and its checksum say more surely than its opcode, which is a single byte.
            if is_whole_chunk(&body) {
                return Ok(Some(Chunk::Whole(body)));
            }
            if let Some(facts) = metadata(&body, METADATA_SESSION) {
                (self.facts, self.is_ours) = (from_map(&facts), true);
            } else if let Some(map) = metadata(&body, METADATA_INTRODUCTION) {
                self.introduction = map
                    .get(INTRODUCTION_FRAME)
                    .and_then(|text| hex::decode(text).ok())
                    .filter(|frame| is_introduction(frame));
            } else if let Some(closing) = metadata(&body, METADATA_CLOSING) {
                self.closing = Some(from_map(&closing));
            } else if let Some(how) = compression(&body).filter(|_| opcode == op::CHUNK) {
                return Err(Error::Compressed { path: self.path.clone(), how: how.to_owned() });
            } else if !lengths_agree(opcode, &body) {
                self.find_next(start)?;
            } else if opcode == op::CHUNK {
                return Ok(Some(Chunk::Bad));
            } else if opcode == op::DATA_END {
                // Only a summary follows, which repeats what has been read.
                self.seek(self.size.max(self.position))?;
            } else {
                match parse(opcode, &body) {
                    Ok(Some(Record::Header(header))) => self.is_ours |= header.profile == PROFILE,
                    Ok(Some(Record::Channel(channel))) => self.topics.learn(&channel),
                    Ok(_) => {}
                    Err(Unreadable) => self.damage.bad_messages += 1,
                }
            }
        }
    }

    /// The record at the current position.
    fn read_record(&mut self) -> Result<Piece> {
        let mut head = Vec::with_capacity(HEAD);
        self.read_up_to(HEAD as u64, &mut head)?;
        if head.is_empty() || head == MAGIC {
            return Ok(Piece::End);
        }
        let Some((&opcode, length)) = head.split_first_chunk::<HEAD>().and_then(|(head, _)| head.split_first()) else {
            return Ok(Piece::Unwalkable);
        };
        let length = u64_at(length, 0).unwrap_or(u64::MAX);
        if length > MAX_CHUNK.min(self.size.saturating_sub(self.position)) {
            return Ok(Piece::Unwalkable);
        }
        let mut body = Vec::new();
        self.read_up_to(length, &mut body)?;
        Ok(if body.len() as u64 == length { Piece::Record { opcode, body } } else { Piece::Unwalkable })
    }

    /// Goes to the first chunk or metadata record after `start` whose lengths agree, so that only what stands before it is lost;
    /// to the end where there is none.
    fn find_next(&mut self, start: u64) -> Result<()> {
        // Long enough for every beginning that is looked for; no beginning is missed between two windows.
        const WINDOW: usize = 64 * 1024;
        const OVERLAP: usize = 64;
        let mut at = start + 1;
        loop {
            self.seek(at)?;
            let mut window = Vec::with_capacity(WINDOW);
            self.read_up_to(WINDOW as u64, &mut window)?;
            let fits = |i: usize, length: u64| at + (i + HEAD) as u64 + length <= self.size;
            let begins = |i: &usize| beginning(&window[*i..]).is_some_and(|length| fits(*i, length));
            if let Some(found) = (0..window.len()).find(begins) {
                self.damage.bad_chunks += 1;
                return self.seek(at + found as u64);
            }
            if window.len() < WINDOW {
                // A file that was cut ends in the middle of a record, a finished one in the magic bytes.
                if window.ends_with(MAGIC) {
                    self.damage.bad_chunks += 1;
                }
                return Ok(());
            }
            at += (WINDOW - OVERLAP) as u64;
        }
    }

    /// Reads at most `length` bytes, which must have been held against what is believable.
    fn read_up_to(&mut self, length: u64, into: &mut Vec<u8>) -> Result<()> {
        into.reserve(length as usize);
        let got = self.file.by_ref().take(length).read_to_end(into).map_err(|e| Error::io("read", &self.path, e))?;
        self.position += got as u64;
        Ok(())
    }

    fn seek(&mut self, to: u64) -> Result<()> {
        self.file.seek(SeekFrom::Start(to)).map_err(|e| Error::io("read", &self.path, e))?;
        self.position = to;
        Ok(())
    }
}

/// Length of a chunk record that begins like this.
fn chunk_length(body: &[u8]) -> Option<usize> {
    let is_plain = *body.get(28..32)? == [0; 4];
    usize::try_from(u64_at(body, 32)?).ok().filter(|_| is_plain)?.checked_add(CHUNK_FIELDS)
}

/// How the records of a chunk record are compressed, where its lengths agree with that; ours never are.
fn compression(body: &[u8]) -> Option<&str> {
    let (how, records) = prefixed(body.get(28..)?)?;
    let how = std::str::from_utf8(how).ok()?;
    let is_name = !how.is_empty() && how.bytes().all(|b| b.is_ascii_alphanumeric());
    (is_name && u64_at(records, 0)? == records.len() as u64 - 8).then_some(how)
}

/// Whether this is a chunk record with the records that were written. Ours are never compressed, and always carry a checksum.
fn is_whole_chunk(body: &[u8]) -> bool {
    chunk_length(body) == Some(body.len()) && body[24..28] == crc32fast::hash(&body[CHUNK_FIELDS..]).to_le_bytes()
}

/// The map of a metadata record of this name.
pub(super) fn metadata(body: &[u8], name: &str) -> Option<BTreeMap<String, String>> {
    match parse(op::METADATA, body) {
        Ok(Some(Record::Metadata(m))) if m.name == name && lengths_agree(op::METADATA, body) => Some(m.metadata),
        _ => None,
    }
}

/// Length of the record that begins here, when it is one of those that we look for: by its opcode, and by lengths that agree with
/// each other.
fn beginning(data: &[u8]) -> Option<u64> {
    let (&opcode, length, body) = (data.first()?, u64_at(data, 1)?, data.get(HEAD..)?);
    let expected = match opcode {
        op::CHUNK => chunk_length(body)?,
        op::METADATA => {
            let (name, rest) = prefixed(body)?;
            let ours = [METADATA_SESSION, METADATA_INTRODUCTION, METADATA_CLOSING];
            let is_ours = ours.iter().any(|ours| name == ours.as_bytes());
            let map = u32::from_le_bytes(*rest.first_chunk().filter(|_| is_ours)?);
            8 + name.len() + usize::try_from(map).ok()?
        }
        _ => return None,
    };
    (length <= MAX_CHUNK && length == expected as u64).then_some(length)
}

/// Whether the lengths inside a record agree with its own; `true` for kinds that our writer does not write before the end of
/// the data.
fn lengths_agree(opcode: u8, body: &[u8]) -> bool {
    match opcode {
        op::CHUNK => chunk_length(body) == Some(body.len()),
        // Profile and library.
        op::HEADER => after_texts(body, 0, 2).is_some_and(<[u8]>::is_empty),
        // A name and a map.
        op::METADATA => after_texts(body, 0, 2).is_some_and(<[u8]>::is_empty),
        // A channel's id of 2 bytes, and its messages' places.
        op::MESSAGE_INDEX => after_texts(body, 2, 1).is_some_and(<[u8]>::is_empty),
        // A checksum.
        op::DATA_END => body.len() == 4,
        _ => true,
    }
}

fn u64_at(data: &[u8], at: usize) -> Option<u64> {
    data.get(at..)?.first_chunk().map(|bytes| u64::from_le_bytes(*bytes))
}

/// The records inside a chunk. Ends early where a length does not fit.
fn records(mut data: &[u8]) -> impl Iterator<Item = std::result::Result<Option<Record<'_>>, Unreadable>> {
    std::iter::from_fn(move || {
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
        op::HEADER => after_texts(body, 0, 2).is_some(),
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
    fn a_chunk_that_another_program_compressed_is_not_called_damaged() {
        let folder = tempfile::tempdir().expect("temp");
        let path = folder.path().join("packed.mcap");
        let chunk = |how: &str| {
            let mut body = vec![0; 28];
            body.extend((how.len() as u32).to_le_bytes());
            body.extend(how.as_bytes());
            body.extend(5u64.to_le_bytes());
            body.extend(b"bytes");
            body
        };
        let record = |opcode: u8, body: &[u8]| [&[opcode], &(body.len() as u64).to_le_bytes()[..], body].concat();
        let header = [&10u32.to_le_bytes()[..], b"steadypass", &0u32.to_le_bytes()].concat();
        for how in ["zstd", "lz4"] {
            let file = [MAGIC, &record(op::HEADER, &header), &record(op::CHUNK, &chunk(how)), MAGIC].concat();
            std::fs::write(&path, file).expect("written");
            let said = Reader::open(&path).map(|_| ()).expect_err("not read").to_string();
            assert!(said.contains(&format!("compressed it ({how}); it is not read so")), "{said}");
        }
        assert_eq!(compression(&chunk("")), None);
        let mut longer = chunk("zstd");
        longer.push(0);
        assert_eq!(compression(&longer), None, "damaged");
    }

    #[test]
    fn a_length_beyond_its_record_is_refused_before_memory_is_asked_for() {
        assert!(matches!(parse(op::CHANNEL, &channel(7)), Ok(Some(Record::Channel(c))) if c.topic == "/sensor"));
        for claimed in [100, 2_168_528_959, u32::MAX] {
            assert!(parse(op::CHANNEL, &channel(claimed)).is_err(), "{claimed}");
        }
        assert!(parse(op::METADATA, &channel(u32::MAX)[4..]).is_err());
        assert!(parse(op::HEADER, &[9; 30]).is_err());
        assert!(matches!(parse(op::FOOTER, &[]), Ok(None)), "kinds we do not use are not looked into");
    }
}
