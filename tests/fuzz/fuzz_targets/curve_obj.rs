//! What follows the first line of an OBJ file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::curve(b"v 0 0 0\nl 1 1\n", bytes));
