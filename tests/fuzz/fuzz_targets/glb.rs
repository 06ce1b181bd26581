//! What follows the mark of a GLB file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"glTF", bytes));
