//! Results are written beside their final place and moved there when all of them are complete.
//!
//! In: a folder's path and named bytes. Out: the folder with all of the files, or as it was before.
//! Method: everything goes into a hidden staging folder next to the target, is flushed to the disk and only then renamed
//! into place (rename is atomic on one file system: POSIX.1-2017, `rename`). Subfolders are swapped whole, so that
//! pictures of an earlier run do not linger; other files of the folder are left alone. What a killed run has left beside the folder
//! goes with the next run into it (`left_behind`).
//! Does not make the set of renames one atomic act: a kill within those few milliseconds can leave some files new and some old,
//! each of them whole.

use std::fs::{self, File, TryLockError};
use std::io::Write;
use std::path::{Component, Path, PathBuf};

use tempfile::TempDir;
use thiserror::Error;

use super::left_behind::{LeftBehind, lock_staging};
use super::unfinished::{Unfinished, pass_gate};

/// Folder inside the staging folder for what the new results take the place of.
pub(super) const REPLACED: &str = ".replaced";

/// Why results could not be written; nothing of the earlier results has changed then.
#[derive(Debug, Error)]
pub enum WriteError {
    #[error("could not write into {}: {source}; check that the folder exists, is writable and the disk has room", path.display())]
    Disk { path: PathBuf, source: std::io::Error },
    #[error("could not write into {}: it is a file; give a folder", path.display())]
    NotAFolder { path: PathBuf },
    #[error("could not write into {}: another run is writing there; wait for it, or give another folder", path.display())]
    InUse { path: PathBuf },
    #[error("{} is what is read here, and would be lost; write to another name", path.display())]
    IsInput { path: PathBuf },
    #[error("could not write {name:?}: a result's name must stay inside its folder")]
    BadName { name: String },
}

/// A folder of results in the making.
#[derive(Debug)]
pub struct OutputFolder {
    target: PathBuf,
    staging: TempDir,
    unfinished: Unfinished,
    left_behind: LeftBehind,
    /// Both held until the end, where the system lets folders be locked.
    lock: Option<File>,
    _staging_lock: Option<File>,
}

impl OutputFolder {
    /// Starts a set of results for a folder, which need not exist yet (its parents are made).
    ///
    /// # Errors
    /// The place is a file, is not writable, or another run is writing there.
    pub fn begin(target: &Path) -> Result<Self, WriteError> {
        if target.is_file() {
            return Err(WriteError::NotAFolder { path: target.to_owned() });
        }
        let parent = match target.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        fs::create_dir_all(&parent).map_err(|source| disk(&parent, source))?;
        let lock = if target.is_dir() { lock_folder(target)? } else { None };
        let name = target.file_name().map_or_else(|| "results".into(), |name| name.to_string_lossy());
        let prefix = format!(".{name}-unfinished-");
        let beside = if target.file_name().is_some() { parent } else { target.to_owned() };
        let staging = tempfile::Builder::new()
            .prefix(&prefix)
            .tempdir_in(&beside)
            .map_err(|source| disk(target, source))?;
        let staging_lock = lock_staging(staging.path());
        let unfinished = Unfinished::new(staging.path());
        let left_behind = LeftBehind { beside, prefix };
        left_behind.remove_never_moved();
        Ok(Self {
            target: target.to_owned(),
            staging,
            unfinished,
            left_behind,
            lock,
            _staging_lock: staging_lock,
        })
    }

    /// Writes one file of the set, such as `strips/hood-cowl.png`.
    ///
    /// # Errors
    /// The name leaves the folder, or the disk refuses.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), WriteError> {
        let relative = Path::new(name);
        let is_inside = relative.components().all(|part| matches!(part, Component::Normal(_)));
        if !is_inside || relative.components().count() > 2 || name.is_empty() {
            return Err(WriteError::BadName { name: name.to_owned() });
        }
        let path = self.staging.path().join(relative);
        let _gate = pass_gate();
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(|source| disk(&self.target, source))?;
        }
        let mut file = File::create(&path).map_err(|source| disk(&self.target, source))?;
        file.write_all(bytes).and_then(|()| file.sync_all()).map_err(|source| disk(&self.target, source))
    }

    /// Moves everything into place.
    ///
    /// # Errors
    /// The disk refuses a rename.
    pub fn finish(mut self) -> Result<(), WriteError> {
        let gate = pass_gate();
        let result = self.move_into_place().map_err(|source| disk(&self.target, source));
        if result.is_ok() {
            self.left_behind.remove_all();
        }
        drop((gate, self.unfinished, self.lock));
        result
    }

    fn move_into_place(&mut self) -> std::io::Result<()> {
        fs::create_dir_all(&self.target)?;
        // Two runs that both found no folder come one after the other here.
        if self.lock.is_none()
            && let Ok(folder) = File::open(&self.target)
            && folder.lock().is_ok()
        {
            self.lock = Some(folder);
        }
        let trash = self.staging.path().join(REPLACED);
        fs::create_dir(&trash)?;
        let mut made: Vec<PathBuf> = fs::read_dir(self.staging.path())?
            .map(|entry| entry.map(|entry| entry.path()))
            .collect::<Result<_, _>>()?;
        made.sort();
        for from in made.into_iter().filter(|path| *path != trash) {
            let Some(name) = from.file_name() else { continue };
            let to = self.target.join(name);
            if from.is_dir() && to.exists() {
                fs::rename(&to, trash.join(name))?;
            }
            fs::rename(&from, &to)?;
        }
        Ok(())
    }
}

/// Refuses a place for a result where one of the files lies that the result is made from.
///
/// # Errors
/// The place is one of the inputs, by whatever name.
pub fn spare_inputs<'a>(output: &Path, inputs: impl IntoIterator<Item = &'a Path>) -> Result<(), WriteError> {
    // What cannot be found is not there, and cannot be lost.
    let Ok(place) = output.canonicalize() else { return Ok(()) };
    let is_lost = inputs.into_iter().any(|input| input.canonicalize().is_ok_and(|input| input == place));
    if is_lost { Err(WriteError::IsInput { path: output.to_owned() }) } else { Ok(()) }
}

/// Writes one file beside its place and renames it over what was there.
///
/// # Errors
/// The disk refuses; the earlier file is then as it was.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    fs::create_dir_all(folder).map_err(|source| disk(folder, source))?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(".unfinished-");
    // Temporary files are private to their maker; results are for everybody.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
    let mut file = builder.tempfile_in(folder).map_err(|source| disk(path, source))?;
    let _unfinished = Unfinished::new(file.path());
    file.write_all(bytes).and_then(|()| file.as_file().sync_all()).map_err(|source| disk(path, source))?;
    let _gate = pass_gate();
    file.persist(path).map_err(|error| disk(path, error.error))?;
    Ok(())
}

fn lock_folder(target: &Path) -> Result<Option<File>, WriteError> {
    // Some systems cannot open a folder; results are then written without the lock.
    let Ok(folder) = File::open(target) else { return Ok(None) };
    match folder.try_lock() {
        Ok(()) => Ok(Some(folder)),
        Err(TryLockError::WouldBlock) => Err(WriteError::InUse { path: target.to_owned() }),
        Err(TryLockError::Error(_)) => Ok(None),
    }
}

fn disk(path: &Path, source: std::io::Error) -> WriteError {
    WriteError::Disk { path: path.to_owned(), source }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn earlier_results_stay_until_all_is_done_and_pictures_do_not_linger() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        let first = OutputFolder::begin(&target).unwrap();
        first.write("readings.csv", b"old").unwrap();
        first.write("sections/a-1.png", b"old").unwrap();
        first.finish().unwrap();
        fs::write(target.join("mine.txt"), "kept").unwrap();

        let abandoned = OutputFolder::begin(&target).unwrap();
        abandoned.write("readings.csv", b"half").unwrap();
        drop(abandoned);
        assert_eq!(fs::read(target.join("readings.csv")).unwrap(), b"old");

        let second = OutputFolder::begin(&target).unwrap();
        second.write("readings.csv", b"new").unwrap();
        second.write("sections/b-2.png", b"new").unwrap();
        second.finish().unwrap();
        assert_eq!(fs::read(target.join("readings.csv")).unwrap(), b"new");
        assert!(!target.join("sections/a-1.png").exists());
        assert!(target.join("sections/b-2.png").exists());
        assert!(target.join("mine.txt").exists());
        assert_eq!(fs::read_dir(home.path()).unwrap().count(), 1, "nothing half-written is left");
    }

    #[test]
    fn what_a_killed_run_has_left_goes_and_a_living_runs_stays() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        let living = OutputFolder::begin(&target).unwrap();
        living.write("readings.csv", b"half").unwrap();
        let left = |name: &str, inside: &str| {
            let folder = home.path().join(name);
            fs::create_dir_all(folder.join(inside)).unwrap();
            fs::write(folder.join(inside).join("readings.csv"), b"left").unwrap();
            folder
        };
        let killed = left(".out-unfinished-aaaaaa", "");
        let killed_while_moving = left(".out-unfinished-bbbbbb", REPLACED);
        let of_another = left(".other-unfinished-aaaaaa", "");
        let just_begun = home.path().join(".out-unfinished-cccccc");
        fs::create_dir(&just_begun).unwrap();

        let next = OutputFolder::begin(&target).unwrap();
        assert!(!killed.exists(), "left by a killed run");
        assert!(
            killed_while_moving.exists(),
            "may hold the only copy of earlier pictures until new ones are there"
        );
        assert!(just_begun.exists(), "may not have come to its lock yet");
        next.write("readings.csv", b"new").unwrap();
        next.finish().unwrap();
        assert!(!killed_while_moving.exists());
        assert!(of_another.exists());
        assert!(living.staging.path().join("readings.csv").exists());
        living.finish().unwrap();
        assert_eq!(fs::read(target.join("readings.csv")).unwrap(), b"half");
    }

    #[test]
    fn two_runs_into_one_folder_do_not_mix() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        OutputFolder::begin(&target).unwrap().finish().unwrap();
        let first = OutputFolder::begin(&target).unwrap();
        assert!(matches!(OutputFolder::begin(&target), Err(WriteError::InUse { .. })));
        first.finish().unwrap();
        assert!(OutputFolder::begin(&target).is_ok());
    }

    #[test]
    fn names_that_leave_the_folder_are_refused() {
        let home = tempfile::tempdir().unwrap();
        let folder = OutputFolder::begin(&home.path().join("out")).unwrap();
        for name in ["../x", "/x", "", "a/b/c", "a/../../x"] {
            assert!(matches!(folder.write(name, b""), Err(WriteError::BadName { .. })), "{name}");
        }
        let file = home.path().join("file");
        write_file(&file, b"1").unwrap();
        assert!(matches!(OutputFolder::begin(&file), Err(WriteError::NotAFolder { .. })));
    }
}
