//! What follows the first point of a curve in text.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::curve(b"0,0,0\n", bytes));
