//! Staging folders of runs that were killed before they could take them away.
//!
//! In: the folder in which results are staged and the name that staging folders of one target begin with. Out: nothing; what
//! was left is removed. Method: a run holds a lock on its staging folder as long as it lives, and the system ends the lock with the
//! process; what is not locked is nobody's. An empty folder is left for a while: its run may not have come to the lock yet.
//! Where the system cannot lock folders nothing is removed.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::output_folder::REPLACED;

/// A run locks its folder long before it is this old.
const SURELY_LOCKED_AFTER: Duration = Duration::from_secs(60);

/// Where staging folders of one target may have been left.
#[derive(Debug)]
pub(super) struct LeftBehind {
    pub beside: PathBuf,
    /// What their names begin with.
    pub prefix: String,
}

/// Says that a staging folder's run is alive, as long as the file is held; `None` where the system cannot.
pub(super) fn lock_staging(staging: &Path) -> Option<File> {
    let folder = File::open(staging).ok()?;
    folder.try_lock().ok()?;
    Some(folder)
}

impl LeftBehind {
    /// Removes what was left before its results began to be moved into place.
    pub fn remove_never_moved(&self) {
        self.remove(|folder| !folder.join(REPLACED).exists());
    }

    /// Removes all that was left; for when new results are in place, since a run killed while moving may have put earlier
    /// pictures aside.
    pub fn remove_all(&self) {
        self.remove(|_| true);
    }

    fn remove(&self, is_wanted: impl Fn(&Path) -> bool) {
        let Ok(entries) = fs::read_dir(&self.beside) else { return };
        for entry in entries.flatten() {
            let is_named_so = entry.file_name().to_string_lossy().starts_with(&self.prefix);
            if is_named_so && entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                let folder = entry.path();
                if let Some(_lock) =
                    lock_staging(&folder).filter(|_| is_abandoned(&folder) && is_wanted(&folder))
                {
                    // Nothing depends on it; the name says that it is unfinished.
                    let _ = fs::remove_dir_all(&folder);
                }
            }
        }
    }
}

/// True for a folder that nobody has locked, unless it may just have been made.
fn is_abandoned(folder: &Path) -> bool {
    let is_empty = fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none());
    let age =
        fs::metadata(folder).and_then(|facts| facts.modified()).ok().and_then(|made| made.elapsed().ok());
    !is_empty || age.is_some_and(|age| age > SURELY_LOCKED_AFTER)
}
