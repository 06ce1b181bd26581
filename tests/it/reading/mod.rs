//! Scans and curves in every format: by hand, by general-purpose libraries, and hostile ones.

mod by_hand;
mod by_libraries;
mod collect;
mod curves;
mod large;
mod mutated;
mod packed;
mod same_readings;
mod step;
