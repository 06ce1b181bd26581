//! The command line: the only place that prints.

use std::process::ExitCode;

/// Runs the program.
pub fn run() -> ExitCode {
    ExitCode::from(2)
}
