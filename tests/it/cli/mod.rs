//! The program as its user runs it: stdout, stderr, exit status, files.

mod advise;
mod align;
mod batch;
mod compare;
mod find;
mod finish;
#[cfg(unix)]
mod interrupt;
mod lineup;
mod measure;
pub mod program;
mod view;
