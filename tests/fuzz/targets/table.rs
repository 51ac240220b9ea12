//! Any bytes as a sensor table: imported or refused, never half; what was imported reads back whole.

#![no_main]

use libfuzzer_sys::fuzz_target;
use steadypass::recording::{Facts, Reader, import_table};

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (table, out) = (folder.path().join("t.csv"), folder.path().join("t.mcap"));
    std::fs::write(&table, bytes).expect("written");
    match import_table(&table, &out, &Facts::default(), &[], |_| {}) {
        Ok(_) => {
            let mut reader = Reader::open(&out).expect("what was written can be opened");
            while reader.next_chunk(|_| {}).expect("and read") {}
            assert!(!reader.damage().lost_data() && !reader.damage().cut);
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 1, "nothing half is left");
        }
    }
});
