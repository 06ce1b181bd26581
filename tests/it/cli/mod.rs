//! The program as its user runs it: stdout, stderr, exit status, files.

mod measure;
mod program;
