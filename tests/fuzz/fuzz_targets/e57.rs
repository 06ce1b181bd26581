//! What follows the mark of an E57 file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"ASTM-E57", bytes));
