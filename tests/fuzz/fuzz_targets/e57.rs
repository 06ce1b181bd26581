//! What follows the mark of an E57 file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::e57(bytes));
