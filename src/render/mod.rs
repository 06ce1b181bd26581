//! Results to bytes: tables, pictures, pages.
//!
//! In: judged seams and summaries. Out: bytes of CSV, JSON, PNG, HTML. Units: mm.
//! Does not measure and does not touch the disk.
