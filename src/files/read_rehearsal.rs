//! Reads the settings of a rehearsal from TOML.
//!
//! In: a path. Out: [`Rehearsal`]; keys that are left out take their defaults, unknown keys are errors.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::rehearse::Rehearsal;

/// Largest settings file that is read, bytes.
const LARGEST_BYTES: u64 = 4 << 20;

/// Why there are no settings.
#[derive(Debug, Error)]
pub enum ReadRehearsalError {
    #[error("could not read the rehearsal's settings {}: {source}; give the path of a TOML file", path.display())]
    Unreadable { path: PathBuf, source: std::io::Error },
    #[error("could not understand the rehearsal's settings {}: {source}", path.display())]
    NotSettings { path: PathBuf, source: Box<toml::de::Error> },
}

/// Reads rehearsal settings.
///
/// # Errors
/// The file cannot be read, is not UTF-8, is not TOML, or has a key that is not known.
pub fn read_rehearsal(path: &Path) -> Result<Rehearsal, ReadRehearsalError> {
    let mut text = String::new();
    File::open(path)
        .and_then(|file| file.take(LARGEST_BYTES).read_to_string(&mut text))
        .map_err(|source| ReadRehearsalError::Unreadable { path: path.to_owned(), source })?;
    toml::from_str(&text)
        .map_err(|source| ReadRehearsalError::NotSettings { path: path.to_owned(), source: Box::new(source) })
}
