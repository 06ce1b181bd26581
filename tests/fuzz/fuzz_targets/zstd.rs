//! What follows the mark of a zstd file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"\x28\xb5\x2f\xfd", bytes));
