//! Panel gaps and flush from a 3D scan of a car, seam by seam.
//!
//! ```text
//! scan file ─ files ─▶ ScanSource ─ align ─▶ car_from_scanner
//!                          │                        │
//!                          └─ seam (gather) ◀───────┘      one streaming pass, points near seams only
//!                                │
//!                             section ─▶ measure ─▶ judge ─▶ summarise ─▶ render ─▶ files
//! ```
//!
//! Inside everything is millimetres and radians. Gap and flush, their signs and the alternatives are defined in
//! [`measure`]. Stages are functions from plain structs to plain structs; only `files` touches the disk.

#![forbid(unsafe_code)]
#![deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, clippy::print_stderr)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod advise;
pub mod align;
pub mod files;
pub mod frames;
pub mod geometry;
pub mod judge;
pub mod lineup;
pub mod measure;
pub mod pipeline;
pub mod plan;
pub mod rehearse;
pub mod render;
pub mod scan;
pub mod seam;
pub mod section;
pub mod statistics;
pub mod summarise;
pub mod trace;
pub mod units;
