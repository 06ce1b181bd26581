//! What follows the first word of a PLY file, as edges.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::curve(b"ply\n", bytes));
