//! Any bytes as a scan: the type is told from the content.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| shutline_fuzz::scan(b"", bytes));
