//! Writing: a thread of its own, fed through a bounded channel, so that a slow disk delays no sample.

use std::{
    collections::BTreeMap,
    fs::{self, File, OpenOptions},
    io::BufWriter,
    path::{Path, PathBuf},
    sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel},
    thread::JoinHandle,
    time::{Duration, Instant},
};

use mcap::{
    WriteOptions, Writer,
    records::{MessageHeader, Metadata},
};

use steadypass_protocol::{MAX_FRAME, ToHost, decode_frame};

use super::{
    Closing, Error, Facts, INTRODUCTION_FRAME, ImportSummary, LinkNote, METADATA_CLOSING, METADATA_INTRODUCTION,
    METADATA_SESSION, PROFILE, Result, TOPIC_LINK, TOPIC_NOTE, TOPIC_SENSOR, TOPIC_TABLE, TableEntry, UserNote,
    facts::to_map,
};
use crate::unfinished::name_to_disk;

/// How often data is brought to the disk. With the time that a disk takes for it, what is older than a second is there, whatever
/// happens to the process or the machine.
pub const FLUSH_EVERY: Duration = Duration::from_millis(500);

/// Messages that may wait for the disk: half a minute of stream. A disk that is further behind fails the recording.
const QUEUE: usize = 2048;

/// Name of a recording while it is being written.
pub fn part_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    name.into()
}

/// Refuses a name that a recording has, or one that is being written or was cut short.
pub(super) fn refuse_taken(path: &Path) -> Result<()> {
    match [path.to_owned(), part_path(path)].into_iter().find(|taken| taken.exists()) {
        Some(taken) => Err(Error::Exists { path: taken }),
        None => Ok(()),
    }
}

enum Item {
    Message { channel: u16, log_ns: u64, bytes: Vec<u8> },
    Finish(Closing),
}

/// A recording that is being written.
///
/// Dropping it without [`RecordingWriter::finish`] leaves `NAME.mcap.part` behind with all that was handed over.
#[derive(Debug)]
pub struct RecordingWriter {
    sender: Option<SyncSender<Item>>,
    thread: Option<JoinHandle<Result<PathBuf>>>,
    messages: u64,
    path: PathBuf,
}

/// Ids of the channels.
pub(super) struct Channels {
    pub(super) sensor: u16,
    pub(super) table: u16,
    pub(super) link: u16,
    pub(super) note: u16,
}

/// The same in every recording there ever was: the library writes the records that name them once only, into the first chunk, and
/// without that chunk the reader goes by these.
pub(super) const CHANNELS: Channels = Channels { sensor: 1, table: 2, link: 3, note: 4 };

impl RecordingWriter {
    /// Starts `path` (ending in `.mcap`); until it is finished it is called `path` + `.part`.
    ///
    /// # Errors
    /// When either name is taken, or the folder is not there or cannot be written.
    pub fn create(path: &Path, facts: &Facts) -> Result<Self> {
        refuse_taken(path)?;
        let part = part_path(path);
        let file =
            OpenOptions::new().write(true).create_new(true).open(&part).map_err(|e| Error::io("create", &part, e))?;
        let started = Disk::start(file, &part, path, facts).and_then(|disk| {
            let (sender, receiver) = sync_channel(QUEUE);
            let thread = std::thread::Builder::new()
                .name("recording".into())
                .spawn(move || disk.run(&receiver))
                .map_err(|e| Error::io("start writing", &part, e))?;
            Ok(Self { sender: Some(sender), thread: Some(thread), messages: 0, path: path.to_owned() })
        });
        if started.is_err() {
            // A file without a header would only puzzle its finder.
            let _ = fs::remove_file(part_path(path));
        }
        started
    }

    /// Stores a wire frame (without its zeros).
    ///
    /// # Errors
    /// When the disk failed or is half a minute behind; the recording then holds what was written so far.
    pub fn frame(&mut self, log_ns: u64, raw: &[u8]) -> Result<()> {
        self.put(CHANNELS.sensor, log_ns, raw.to_vec(), false)
    }

    /// Stores a wire frame that does not come from a live sensor: waits for the disk instead of giving up on it.
    ///
    /// # Errors
    /// When the disk failed.
    pub fn frame_at_rest(&mut self, log_ns: u64, raw: &[u8]) -> Result<()> {
        self.put(CHANNELS.sensor, log_ns, raw.to_vec(), true)
    }

    /// Stores a piece of an imported table; waits for the disk.
    ///
    /// # Errors
    /// When the disk failed.
    pub fn table(&mut self, log_ns: u64, entry: &TableEntry) -> Result<()> {
        let bytes = postcard::to_stdvec(entry).expect("plain numbers always serialise");
        self.put(CHANNELS.table, log_ns, bytes, true)
    }

    /// Stores what happened on the cable.
    ///
    /// # Errors
    /// As for [`RecordingWriter::frame`].
    pub fn link(&mut self, log_ns: u64, note: &LinkNote) -> Result<()> {
        let bytes = serde_json::to_vec(note).expect("plain text always serialises");
        self.put(CHANNELS.link, log_ns, bytes, false)
    }

    /// Stores what the user did.
    ///
    /// # Errors
    /// As for [`RecordingWriter::frame`].
    pub fn note(&mut self, log_ns: u64, note: &UserNote) -> Result<()> {
        let bytes = serde_json::to_vec(note).expect("plain text always serialises");
        self.put(CHANNELS.note, log_ns, bytes, false)
    }

    /// Closes the file, gives it its final name and returns that.
    ///
    /// # Errors
    /// When the disk failed now or earlier.
    pub fn finish(self, bad_frames: u64, reason: &str) -> Result<PathBuf> {
        let messages = self.messages;
        self.close(Closing { messages, bad_frames, reason: reason.into(), ..Closing::default() })
    }

    /// The same after an import, with what whoever reviews it must know of the table.
    pub(super) fn finish_import(self, summary: &ImportSummary) -> Result<PathBuf> {
        let messages = self.messages;
        let (reason, remarks) = ("imported".into(), summary.remarks().join("\n"));
        let cut_off_samples = summary.largest.as_ref().map_or(0, |largest| largest.samples);
        self.close(Closing { messages, reason, remarks, cut_off_samples, ..Closing::default() })
    }

    fn close(mut self, closing: Closing) -> Result<PathBuf> {
        if let Some(sender) = self.sender.take() {
            // A send error means that the thread has ended with an error, which joining hands out.
            let _ = sender.send(Item::Finish(closing));
        }
        self.join()
    }

    /// Stops writing and removes the unfinished file: an import that failed leaves nothing behind.
    pub fn abandon(mut self) {
        drop(self.sender.take());
        let _ = self.join();
        let _ = fs::remove_file(part_path(&self.path));
    }

    fn put(&mut self, channel: u16, log_ns: u64, bytes: Vec<u8>, wait: bool) -> Result<()> {
        let Some(sender) = &self.sender else { return self.join().map(|_| ()) };
        let item = Item::Message { channel, log_ns, bytes };
        let sent = if wait { sender.send(item).is_ok() } else { sender.try_send(item).is_ok() };
        if sent {
            self.messages += 1;
            return Ok(());
        }
        // Either the thread ended with an error, or the disk is too far behind; the thread knows which.
        self.sender = None;
        self.join()?;
        let behind = std::io::Error::other("the disk is too slow: data piled up for half a minute");
        Err(Error::io("write", &self.path, behind))
    }

    fn join(&mut self) -> Result<PathBuf> {
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            _ => Err(Error::Container { path: self.path.clone(), message: "writing had stopped earlier".into() }),
        }
    }
}

const FRAME_SCHEMA: &str =
    "COBS(postcard(ToHost) + CRC-32/ISCSI little endian), without zeros; protocol version 1, see steadypass-protocol";
const TABLE_SCHEMA: &str = "enum TableEntry { Accel(Run), Gyro(Run), Surface { t_us: f64, surface_c: Option<f32>, \
     ambient_c: Option<f32> }, Mark { t_us: f64 } } struct Run { first_us: f64, spacing_us: f64, lost_before: u32, samples: Vec<[f32; 3]> }";
const NOTE_SCHEMA: &str = r#"{"type":"object"}"#;

struct Disk {
    writer: Writer<BufWriter<File>>,
    sync: File,
    part: PathBuf,
    path: PathBuf,
}

impl Disk {
    /// Writes the header and the facts, and flushes them: an empty crashed session is still named.
    fn start(file: File, part: &Path, path: &Path, facts: &Facts) -> Result<Self> {
        let sync = file.try_clone().map_err(|e| Error::io("create", part, e))?;
        let writer = Self::open_container(file, facts).map_err(|e| Error::container(part, e))?;
        let mut disk = Self { writer, sync, part: part.to_owned(), path: path.to_owned() };
        disk.flush()?;
        Ok(disk)
    }

    fn open_container(file: File, facts: &Facts) -> mcap::McapResult<Writer<BufWriter<File>>> {
        let mut writer = WriteOptions::new()
            .compression(None)
            // With seeking, a crashed file ends in a chunk of length 2⁶⁴-1 that readers stumble over.
            .disable_seeking(true)
            .chunk_size(Some(64 * 1024))
            .profile(PROFILE)
            .library(concat!("steadypass ", env!("CARGO_PKG_VERSION")))
            .create(BufWriter::new(file))?;
        // Before any schema: those open a chunk, and the facts shall stand in front of all chunks.
        writer.write_metadata(&Metadata { name: METADATA_SESSION.into(), metadata: to_map(facts) })?;
        let frame = writer.add_schema("steadypass.Frame", "steadypass-protocol", FRAME_SCHEMA.as_bytes())?;
        let table = writer.add_schema("steadypass.TableEntry", "postcard", TABLE_SCHEMA.as_bytes())?;
        let note = writer.add_schema("steadypass.Note", "jsonschema", NOTE_SCHEMA.as_bytes())?;
        let none = BTreeMap::new();
        for (id, schema, topic, encoding) in [
            (CHANNELS.sensor, frame, TOPIC_SENSOR, "cobs"),
            (CHANNELS.table, table, TOPIC_TABLE, "postcard"),
            (CHANNELS.link, note, TOPIC_LINK, "json"),
            (CHANNELS.note, note, TOPIC_NOTE, "json"),
        ] {
            writer.add_channel_with_id(id, schema, topic, encoding, &none)?;
        }
        Ok(writer)
    }

    fn run(mut self, items: &Receiver<Item>) -> Result<PathBuf> {
        let mut flushed = Instant::now();
        let mut dirty = false;
        let mut sequence = 0u32;
        let mut is_introduced = false;
        loop {
            match items.recv_timeout(FLUSH_EVERY.saturating_sub(flushed.elapsed())) {
                Ok(Item::Message { channel, log_ns, bytes }) => {
                    let header =
                        MessageHeader { channel_id: channel, sequence, log_time: log_ns, publish_time: log_ns };
                    sequence = sequence.wrapping_add(1);
                    if !is_introduced && channel == CHANNELS.sensor && is_introduction(&bytes) {
                        self.introduction(&bytes)?;
                        is_introduced = true;
                    }
                    self.writer.write_to_known_channel(&header, &bytes).map_err(|e| Error::container(&self.part, e))?;
                    dirty = true;
                }
                Ok(Item::Finish(closing)) => return self.finish(&closing),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    self.flush()?;
                    return Ok(self.part);
                }
            }
            if flushed.elapsed() >= FLUSH_EVERY {
                if dirty {
                    self.flush()?;
                }
                (flushed, dirty) = (Instant::now(), false);
            }
        }
    }

    fn introduction(&mut self, frame: &[u8]) -> Result<()> {
        let metadata = BTreeMap::from([(INTRODUCTION_FRAME.into(), hex::encode(frame))]);
        self.writer
            .write_metadata(&Metadata { name: METADATA_INTRODUCTION.into(), metadata })
            .map_err(|e| Error::container(&self.part, e))
    }

    fn flush(&mut self) -> Result<()> {
        self.writer.flush().map_err(|e| Error::container(&self.part, e))?;
        self.sync.sync_data().map_err(|e| Error::io("write", &self.part, e))
    }

    fn finish(mut self, closing: &Closing) -> Result<PathBuf> {
        let closing = Metadata { name: METADATA_CLOSING.into(), metadata: to_map(closing) };
        self.writer.write_metadata(&closing).map_err(|e| Error::container(&self.part, e))?;
        self.writer.finish().map_err(|e| Error::container(&self.part, e))?;
        self.sync.sync_all().map_err(|e| Error::io("write", &self.part, e))?;
        fs::rename(&self.part, &self.path).map_err(|e| Error::io("rename", &self.part, e))?;
        name_to_disk(&self.path);
        Ok(self.path)
    }
}

/// Whether a whole frame of this kind is in these bytes.
pub(super) fn is_introduction(raw: &[u8]) -> bool {
    let mut scratch = [0; MAX_FRAME];
    decode_frame(raw, &mut scratch).is_ok_and(|frame| matches!(ToHost::decode(frame.payload), Ok(ToHost::Hello(_))))
}
