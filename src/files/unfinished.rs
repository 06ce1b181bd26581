//! What is being written, so that a run that is told to stop can take it away.
//!
//! In: paths of temporary files and folders. Out: nothing; [`remove_unfinished`] removes what was not finished by then.
//! Method: whoever writes announces the path, and passes a gate for each write and for the move into place; the removal
//! shuts the gate, so that nothing is half-moved and nothing comes back after it.
//! Does not catch signals: the program does.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError, RwLock, RwLockReadGuard};

static PATHS: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());
static GATE: RwLock<()> = RwLock::new(());

/// A path that is unfinished as long as this lives.
#[derive(Debug)]
pub(super) struct Unfinished(PathBuf);

impl Unfinished {
    pub fn new(path: &Path) -> Self {
        PATHS.lock().unwrap_or_else(PoisonError::into_inner).push(path.to_owned());
        Self(path.to_owned())
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        PATHS.lock().unwrap_or_else(PoisonError::into_inner).retain(|path| *path != self.0);
    }
}

/// Holds off [`remove_unfinished`] while it lives; waits for ever once that has begun.
pub(super) fn pass_gate() -> RwLockReadGuard<'static, ()> {
    GATE.read().unwrap_or_else(PoisonError::into_inner)
}

/// Removes everything that is not finished, for a process that is about to end: whoever writes then waits for ever.
/// Earlier results are as they were, or wholly replaced.
pub fn remove_unfinished() {
    let gate = GATE.write().unwrap_or_else(PoisonError::into_inner);
    for path in PATHS.lock().unwrap_or_else(PoisonError::into_inner).iter() {
        // Nobody is left to tell if the disk refuses; the names say that they are unfinished.
        let _ = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
    }
    // Never opened again.
    std::mem::forget(gate);
}
