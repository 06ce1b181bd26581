//! What follows the first row of a cloud in text.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"1 2 3\n", bytes));
