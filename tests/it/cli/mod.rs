//! The program as its user runs it: stdout, stderr, exit status, files.

mod batch;
mod finish;
mod measure;
mod program;
mod view;
