//! What follows the first words of a PCD file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"# .PCD v.7", bytes));
