//! Printing: data on standard output, talk on standard error, colour only where a person sees it.

use std::fmt::Display;
use std::io::Write;

/// What went wrong, ready to be said. Any error of the library turns into one.
#[derive(Debug)]
pub struct Failure(String);

impl<E: std::error::Error> From<E> for Failure {
    fn from(error: E) -> Self {
        Self(error.to_string())
    }
}

impl Failure {
    /// A failure in the program's own words: what, and what to do.
    pub fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }

    /// What it says, for messages that go on after it.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Says it on standard error: the first sentence marked, what to do after a semicolon on its own line.
    pub fn say(&self) {
        let mut talk = anstream::stderr().lock();
        let bold = "\u{1b}[1m";
        let plain = "\u{1b}[0m";
        // Nobody is left to tell if standard error is closed.
        let _ = writeln!(talk, "{bold}error:{plain} {}", self.0.trim_end());
    }
}

/// Talk that `--quiet` silences.
#[derive(Debug, Clone, Copy)]
pub struct Talk {
    pub is_quiet: bool,
}

impl Talk {
    /// One line to standard error.
    pub fn line(self, text: impl Display) {
        if !self.is_quiet {
            let _ = writeln!(anstream::stderr().lock(), "{text}");
        }
    }

    /// Lines to standard error that were asked for by an option, and so are said even when quiet.
    pub fn asked_for(self, text: impl Display) {
        let _ = writeln!(anstream::stderr().lock(), "{text}");
    }

    /// Something worth knowing that does not stop the work; said even when quiet.
    pub fn warning(self, text: impl Display) {
        let _ = writeln!(anstream::stderr().lock(), "\u{1b}[1mnote:\u{1b}[0m {text}");
    }
}

/// Data for standard output; a closed pipe (`| head`) is no failure.
pub fn print_data(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}
