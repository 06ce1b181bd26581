//! What follows the mark of a gzip file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"\x1f\x8b", bytes));
