//! What follows the first lines of a DXF file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::curve(b"0\nSECTION\n", bytes));
