//! Any bytes from the port: the reader neither panics nor tells two stories about one stream cut in two ways.

#![no_main]

use libfuzzer_sys::fuzz_target;
use steadypass_protocol::{FrameReader, ToHost, ToSensor};

fn read<'a>(pieces: impl Iterator<Item = &'a [u8]>) -> Vec<String> {
    let mut reader: FrameReader = FrameReader::new();
    let mut seen = Vec::new();
    for piece in pieces {
        reader.feed(piece, |event| {
            seen.push(match event {
                Ok(frame) => format!("{:?} {:?}", ToHost::decode(frame.payload), ToSensor::decode(frame.payload)),
                Err(error) => error.to_string(),
            });
        });
    }
    seen
}

fuzz_target!(|bytes: &[u8]| {
    let step = usize::from(bytes.first().copied().unwrap_or(1)).max(1);
    assert_eq!(read(bytes.chunks(step)), read(std::iter::once(bytes)));
});
