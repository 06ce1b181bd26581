//! What follows the first word of a STEP file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::curve(b"ISO-10303-21;", bytes));
