//! Any bytes as a recording: read to its end and analysed without a panic, without asking for memory the file cannot fill.

#![no_main]

use std::io::Write;

use libfuzzer_sys::fuzz_target;
use steadypass::{guidance::Plan, recording::Reader, session::Session};

fuzz_target!(|bytes: &[u8]| {
    let mut file = tempfile::Builder::new().suffix(".mcap").tempfile().expect("a temporary file");
    file.write_all(bytes).expect("written");
    let Ok(mut reader) = Reader::open(file.path()) else { return };
    let mut session = Session::new(Plan::default());
    while let Ok(true) = reader.next_chunk(|entry| session.push(&entry, &mut |_| {})) {}
    session.finish(&mut |_| {});
});
