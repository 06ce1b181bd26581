//! What follows the first word of an STL text.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"solid ", bytes));
