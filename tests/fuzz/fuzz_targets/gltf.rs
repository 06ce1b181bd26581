//! What follows the first bracket of a glTF file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"{", bytes));
