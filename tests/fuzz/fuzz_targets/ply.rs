//! What follows the first word of a PLY file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"ply\n", bytes));
