//! All integration tests in one binary, one folder for each kind.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod architecture;
mod browser;
mod check_values;
mod cli;
mod golden;
mod hostile;
mod memory;
mod properties;
mod reading;
mod recovery;
