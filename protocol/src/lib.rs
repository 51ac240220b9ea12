//! The wire between the Steadypass sensor and its host: every message, and how messages become bytes.
//!
//! # Data flow
//!
//! ```text
//! sensor                                            host
//! ToHost  ──postcard──► payload ──CRC──COBS──► 0x00 … 0x00 ──► FrameReader ──► payload ──► ToHost
//! ToSensor ◄──────────────────────── the same, the other way ────────────────────────── ToSensor
//! ```
//!
//! * A **payload** is one [`ToHost`] or [`ToSensor`] value in [postcard](https://postcard.jamesmunns.com) form: a varint
//!   that says the kind, then the fields in order. Integers wider than a byte are varints, arrays of bytes are bare, byte
//!   slices carry a varint length.
//! * A **frame** is `0x00 · COBS(payload · crc) · 0x00`, where `crc` is the CRC-32/ISCSI of the payload, little endian.
//!   The zero in front keeps whatever noise came before away from the frame; the one behind ends it. Two zeros in a row
//!   are an empty frame and mean nothing. No frame is longer than [`MAX_FRAME`] bytes, both zeros included.
//! * Damage costs the frame it hits and no other: a reader waits for the next zero and counts what it could not use.
//!
//! This file and [`message`] are the specification. The bytes are pinned by tests: when one of them fails, the protocol
//! has changed and [`PROTOCOL_VERSION`] must follow.
//!
//! # Compatibility
//!
//! * New kinds of message are appended to the enums, never put between others. A reader that meets a kind it does not
//!   know skips that frame and says so ([`DecodeError::UnknownKind`]).
//! * The fields of a kind that has been released are never changed; a new kind is added instead.
//! * `Hello` starts with the protocol version in every version, so two programs that cannot talk can say why.
//!
//! # Example
//!
//! ```
//! use steadypass_protocol::{FrameReader, Mark, ToHost, encode};
//!
//! let mut buffer = [0; steadypass_protocol::MAX_FRAME];
//! let frame = encode(&ToHost::Mark(Mark { t_us: 1_000_000, index: 1 }), &mut buffer).unwrap();
//!
//! let mut reader: FrameReader = FrameReader::new();
//! let mut marks = 0;
//! reader.feed(frame, |event| {
//!     if let Ok(frame) = event {
//!         assert!(matches!(ToHost::decode(frame.payload), Ok(ToHost::Mark(m)) if m.t_us == 1_000_000));
//!         marks += 1;
//!     }
//! });
//! assert_eq!(marks, 1);
//! ```
#![cfg_attr(not(test), no_std)]

pub mod frame;
pub mod message;
pub mod units;

pub use frame::{EncodeError, Frame, FrameError, FrameReader, MAX_FRAME, MAX_PAYLOAD, decode_frame, encode};
pub use message::*;
pub use units::{Celsius, KelvinRise};

/// Version of the protocol that this crate declares.
pub const PROTOCOL_VERSION: u8 = 1;
