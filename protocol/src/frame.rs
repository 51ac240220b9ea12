//! Frames: `0x00 · COBS(payload · CRC-32) · 0x00`, written in one go and read from any slicing of the stream.

use crc::{CRC_32_ISCSI, Crc, Table};
use serde::Serialize;

/// Longest frame in bytes, both zeros included.
pub const MAX_FRAME: usize = 512;

/// Longest payload: what is left of [`MAX_FRAME`] after both zeros, the checksum and three bytes of COBS.
pub const MAX_PAYLOAD: usize = MAX_FRAME - 2 - CRC_BYTES - 3;

const CRC_BYTES: usize = 4;

// CRC-32/ISCSI: 32 bits because a damaged COBS code byte moves zeros about, which is no short burst; a 16-bit checksum
// would let one such frame in 65 536 through. One 1 kB table: the sensor has flash to spare, not cycles.
const CRC: Crc<u32, Table<1>> = Crc::<u32, Table<1>>::new(&CRC_32_ISCSI);

/// Why a message could not be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EncodeError {
    /// The message does not fit [`MAX_PAYLOAD`], or the frame not the buffer.
    #[error("the message does not fit a frame of {MAX_FRAME} bytes or the buffer given")]
    TooLong,
}

/// Why bytes between two zeros were not a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FrameError {
    /// No end within the longest frame: an end marker was lost, or this is not our sensor.
    #[error("more than {max} bytes without an end marker")]
    TooLong {
        /// Longest frame that the reader takes.
        max: usize,
    },
    /// Not a COBS sequence, or too short to hold a message and its checksum.
    #[error("not a frame ({len} bytes)")]
    NotAFrame {
        /// Bytes between the two zeros.
        len: usize,
    },
    /// The checksum is wrong.
    #[error("checksum {found:#010x}, expected {expected:#010x}")]
    Checksum {
        /// Checksum that came with the frame.
        found: u32,
        /// Checksum of the payload that came.
        expected: u32,
    },
}

/// Writes `message` as one frame into `buffer` and returns the frame.
///
/// # Errors
/// [`EncodeError::TooLong`] when it does not fit; nothing useful is in `buffer` then.
pub fn encode<'b, M: Serialize>(message: &M, buffer: &'b mut [u8]) -> Result<&'b [u8], EncodeError> {
    let mut payload = [0u8; MAX_PAYLOAD + CRC_BYTES];
    let used = postcard::to_slice(message, &mut payload[..MAX_PAYLOAD]).map_err(|_| EncodeError::TooLong)?.len();
    let crc = CRC.checksum(&payload[..used]);
    payload[used..used + CRC_BYTES].copy_from_slice(&crc.to_le_bytes());
    let body = &payload[..used + CRC_BYTES];
    let room = buffer.get_mut(1..).ok_or(EncodeError::TooLong)?;
    let len = cobs::try_encode(body, room).map_err(|_| EncodeError::TooLong)?;
    *room.get_mut(len).ok_or(EncodeError::TooLong)? = 0;
    buffer[0] = 0;
    Ok(&buffer[..len + 2])
}

/// One good frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The bytes as they came, without the zeros around them. Recordings keep these, checksum and all.
    pub raw: &'a [u8],
    /// The message's bytes.
    pub payload: &'a [u8],
}

/// Undoes COBS and checks the checksum of one frame's bytes (without the zeros), using `scratch` for the payload.
///
/// # Errors
/// See [`FrameError`].
pub fn decode_frame<'a>(raw: &'a [u8], scratch: &'a mut [u8]) -> Result<Frame<'a>, FrameError> {
    let bad = FrameError::NotAFrame { len: raw.len() };
    // `cobs::decode` wants room for the whole input and may stop early at a zero: a zero inside is no frame of ours.
    if raw.len() > scratch.len() || raw.contains(&0) {
        return Err(bad);
    }
    let len = cobs::decode(raw, scratch).map_err(|_| bad)?.frame_size();
    let body: &'a [u8] = scratch;
    let (payload, crc) = body[..len].split_last_chunk::<CRC_BYTES>().ok_or(bad)?;
    let (found, expected) = (u32::from_le_bytes(*crc), CRC.checksum(payload));
    if payload.is_empty() {
        Err(bad)
    } else if found == expected {
        Ok(Frame { raw, payload })
    } else {
        Err(FrameError::Checksum { found, expected })
    }
}

/// Finds frames in a byte stream that arrives in pieces of any size. `N` is the longest frame it takes.
///
/// Bytes before the first zero belong to a frame whose start was missed (the port was opened in its middle): they are
/// dropped without an error.
#[derive(Clone, Debug)]
pub struct FrameReader<const N: usize = MAX_FRAME> {
    raw: [u8; N],
    scratch: [u8; N],
    len: usize,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No zero seen yet.
    Joining,
    /// Collecting a frame.
    Inside,
    /// The frame grew too long; waiting for a zero.
    TooLong,
}

impl<const N: usize> Default for FrameReader<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> FrameReader<N> {
    /// A reader that has seen nothing.
    pub const fn new() -> Self {
        Self { raw: [0; N], scratch: [0; N], len: 0, state: State::Joining }
    }

    /// Forgets what it holds, as after the port was opened again.
    pub fn reset(&mut self) {
        (self.len, self.state) = (0, State::Joining);
    }

    /// Takes the next bytes and calls `sink` for every frame that ends in them, good or bad, in order.
    pub fn feed(&mut self, bytes: &[u8], mut sink: impl FnMut(Result<Frame<'_>, FrameError>)) {
        for &byte in bytes {
            if byte != 0 {
                match self.state {
                    State::Inside if self.len < N => {
                        self.raw[self.len] = byte;
                        self.len += 1;
                    }
                    State::Inside => self.state = State::TooLong,
                    State::Joining | State::TooLong => {}
                }
                continue;
            }
            match self.state {
                State::TooLong => sink(Err(FrameError::TooLong { max: N })),
                State::Inside if self.len > 0 => sink(decode_frame(&self.raw[..self.len], &mut self.scratch)),
                State::Joining | State::Inside => {}
            }
            (self.len, self.state) = (0, State::Inside);
        }
    }
}
