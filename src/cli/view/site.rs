//! The folder that is shown: which file an address means, and whether anything changed.
//!
//! In: names from a request. Out: files below the folder, and nothing else: links that lead out of it are not followed.

use std::fs::{self, File};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

use crate::cli::messages::Failure;

/// Pages that stand for the whole folder, first one first.
const FRONT_PAGES: [&str; 3] = ["overview.html", "report.html", "comparison.html"];
/// How deep and how many files are looked at for changes.
const DEEPEST: usize = 6;
const MOST_FILES: usize = 20_000;

/// A folder of results.
#[derive(Debug, Clone)]
pub struct Site {
    root: PathBuf,
}

impl Site {
    pub fn open(folder: &Path) -> Result<Self, Failure> {
        let root = fs::canonicalize(folder).map_err(|error| {
            Failure::new(format!(
                "could not open the folder {}: {error}; give one that measure wrote",
                folder.display()
            ))
        })?;
        if !root.is_dir() {
            return Err(Failure::new(format!(
                "{} is a file; give the folder that it is in",
                folder.display()
            )));
        }
        let site = Self { root };
        if site.front_page().is_none() {
            return Err(Failure::new(format!(
                "{} holds no report.html, comparison.html or overview.html; give the folder that measure, compare or \
                 batch wrote",
                folder.display()
            )));
        }
        Ok(site)
    }

    /// The page to begin with.
    pub fn front_page(&self) -> Option<&'static str> {
        FRONT_PAGES.into_iter().find(|page| self.root.join(page).is_file())
    }

    /// The file that these names lead to, with its size; `None` where there is none or it lies elsewhere.
    pub fn file(&self, names: &[String]) -> Option<(File, u64)> {
        let wanted = names.iter().fold(self.root.clone(), |path, name| path.join(name));
        let real = fs::canonicalize(wanted).ok()?;
        if !real.starts_with(&self.root) || !real.is_file() {
            return None;
        }
        let file = File::open(real).ok()?;
        let size = file.metadata().ok()?.len();
        Some((file, size))
    }

    /// A number that changes when a file comes, goes or is written.
    pub fn state(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        let mut left = MOST_FILES;
        note(&self.root, DEEPEST, &mut left, &mut hasher);
        hasher.finish()
    }
}

fn note(folder: &Path, depth: usize, left: &mut usize, hasher: &mut DefaultHasher) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    let mut entries: Vec<fs::DirEntry> = entries.flatten().take(*left).collect();
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        // Of the link itself: where it leads is not shown.
        let Ok(facts) = entry.metadata() else { continue };
        *left = left.saturating_sub(1);
        if *left == 0 {
            return;
        }
        entry.file_name().hash(hasher);
        if facts.is_dir() {
            if depth > 0 {
                note(&entry.path(), depth - 1, left, hasher);
            }
        } else {
            (facts.len(), facts.modified().ok()).hash(hasher);
        }
    }
}
