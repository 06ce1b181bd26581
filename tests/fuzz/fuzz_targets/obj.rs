//! What follows the first corner of an OBJ file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"v 0 0 0\n", bytes));
