//! Binary STL files, by their seeds: the type is told by the size.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"", bytes));
