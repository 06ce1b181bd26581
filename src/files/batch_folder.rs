//! A batch's folder of results: what is remembered of each scan, its readings, and copying them.
//!
//! In: the folder that `shutline batch` writes into. Out: [`BatchEntry`]s in order of scan name, and readings as text.
//! Layout: `entries/NAME.json`, one small file for each scan, so that shards never share a file; `scans/NAME/` with
//! everything that the scan's measuring wrote.
//! Does not measure and does not read the tables: `summarise` does.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::content_hash::{content_hash, text_hash};
use super::output_folder::{WriteError, write_file};
use super::read_error::ReadError;
use super::scan_folder::FoundScan;
use crate::plan::Plan;

/// Layout of the entry files; another number is measured afresh.
const ENTRY_VERSION: u32 = 3;

/// Why a batch's folder cannot be used.
#[derive(Debug, Error)]
pub enum BatchFolderError {
    #[error("could not read {}: {source}; give folders that 'shutline batch' has written", path.display())]
    Unreadable { path: PathBuf, source: std::io::Error },
    #[error("{} is damaged: {message}; run the batch again", path.display())]
    Damaged { path: PathBuf, message: String },
    #[error("{} was not written by this version; run the batch again", path.display())]
    OtherVersion { path: PathBuf },
    #[error("could not copy {} to {}: {source}; check that the disk has room", from.display(), to.display())]
    Copy { from: PathBuf, to: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// One scan of a batch and what it was measured with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BatchEntry {
    pub version: u32,
    /// Path inside the batch's folder.
    pub scan: String,
    /// Folder of the results inside `scans/`.
    pub folder: String,
    pub taken_s: i64,
    pub scan_sha256: String,
    pub plan_sha256: String,
    pub program: String,
    /// Language and paper of its report, as they were asked for.
    pub presentation: String,
    /// Why it could not be measured.
    pub failure: Option<String>,
}

/// What a plan measures by, as one hash: all that it says, its curves, and the content of its reference surface.
///
/// # Errors
/// The reference surface cannot be read.
pub fn plan_hash(plan: &Plan, plan_path: &Path) -> Result<String, ReadError> {
    let mut text = format!("{plan:?}");
    if let Some(reference) = plan.align.reference() {
        let folder = plan_path.parent().unwrap_or(Path::new(""));
        text.push_str(&content_hash(&folder.join(reference))?);
    }
    Ok(text_hash(&text))
}

impl BatchEntry {
    /// The entry of a scan before it is measured.
    ///
    /// # Errors
    /// The scan cannot be read.
    pub fn of(scan: &FoundScan, plan_sha256: &str, presentation: &str) -> Result<Self, BatchFolderError> {
        Ok(Self {
            version: ENTRY_VERSION,
            scan: scan.name.clone(),
            folder: folder_name(&scan.name),
            taken_s: scan.taken_s,
            scan_sha256: content_hash(&scan.path)?,
            plan_sha256: plan_sha256.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            presentation: presentation.to_owned(),
            failure: None,
        })
    }

    /// True where the results on disk were made from the same scan, plan and program, for the same reader.
    ///
    /// A scan that failed is tried again: the cause may have lain outside the file.
    #[must_use]
    pub fn is_done_in(&self, out: &Path) -> bool {
        let known = fs::read_to_string(entry_path(out, &self.folder))
            .ok()
            .and_then(|text| serde_json::from_str::<Self>(&text).ok());
        known.is_some_and(|known| known == Self { taken_s: known.taken_s, ..self.clone() })
            && self.readings_path(out).is_file()
    }

    /// Remembers this scan.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn write(&self, out: &Path) -> Result<(), BatchFolderError> {
        let path = entry_path(out, &self.folder);
        let text = serde_json::to_string_pretty(self)
            .map_err(|error| BatchFolderError::Damaged { path: path.clone(), message: error.to_string() })?;
        Ok(write_file(&path, (text + "\n").as_bytes())?)
    }

    /// The scan's `readings.csv` as text.
    ///
    /// # Errors
    /// It is not there or cannot be read.
    pub fn readings_text(&self, out: &Path) -> Result<String, BatchFolderError> {
        let path = self.readings_path(out);
        fs::read_to_string(&path).map_err(|source| BatchFolderError::Unreadable { path, source })
    }

    /// The scan's `lineups.csv` as text; `None` where its plan has no lineups.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn lineups_text(&self, out: &Path) -> Result<Option<String>, BatchFolderError> {
        let path = results_folder(out, &self.folder).join("lineups.csv");
        match fs::read_to_string(&path) {
            Ok(text) => Ok(Some(text)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(source) => Err(BatchFolderError::Unreadable { path, source }),
        }
    }

    /// The scan's `record.json` as text.
    ///
    /// # Errors
    /// It is not there or cannot be read.
    pub fn record_text(&self, out: &Path) -> Result<String, BatchFolderError> {
        let path = results_folder(out, &self.folder).join("record.json");
        fs::read_to_string(&path).map_err(|source| BatchFolderError::Unreadable { path, source })
    }

    /// Copies everything that is known of this scan from one batch's folder to another's; a scan that failed has no
    /// results.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn copy(&self, from: &Path, to: &Path) -> Result<(), BatchFolderError> {
        copy_folder(&results_folder(from, &self.folder), &results_folder(to, &self.folder))?;
        self.write(to)
    }

    fn readings_path(&self, out: &Path) -> PathBuf {
        results_folder(out, &self.folder).join("readings.csv")
    }
}

/// Where a scan's results lie.
#[must_use]
pub fn results_folder(out: &Path, folder: &str) -> PathBuf {
    out.join("scans").join(folder)
}

fn entry_path(out: &Path, folder: &str) -> PathBuf {
    out.join("entries").join(format!("{folder}.json"))
}

/// A folder name for a scan; a mark of the full name is added where plain letters do not tell it apart.
fn folder_name(scan: &str) -> String {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || ['.', '-', '_'].contains(&letter);
    let plain: String = scan.chars().map(|letter| if is_plain(letter) { letter } else { '-' }).collect();
    if plain == scan && plain == plain.to_ascii_lowercase() {
        return plain;
    }
    let mark: String = text_hash(scan).chars().take(8).collect();
    format!("{plain}-{mark}")
}

/// All entries of a batch's results, in order of scan name.
///
/// # Errors
/// The folder is none of a batch, or an entry is damaged or of another version.
pub fn read_entries(out: &Path) -> Result<Vec<BatchEntry>, BatchFolderError> {
    let folder = out.join("entries");
    let unreadable = |path: &Path| {
        let path = path.to_owned();
        move |source| BatchFolderError::Unreadable { path, source }
    };
    let mut entries = Vec::new();
    for item in fs::read_dir(&folder).map_err(unreadable(&folder))? {
        let path = item.map_err(unreadable(&folder))?.path();
        if path.extension().is_some_and(|ending| ending == "json") {
            let text = fs::read_to_string(&path).map_err(unreadable(&path))?;
            let entry: BatchEntry = serde_json::from_str(&text).map_err(|error| {
                BatchFolderError::Damaged { path: path.clone(), message: error.to_string() }
            })?;
            if entry.version != ENTRY_VERSION || entry.folder != folder_name(&entry.scan) {
                return Err(BatchFolderError::OtherVersion { path });
            }
            entries.push(entry);
        }
    }
    entries.sort_by(|a, b| a.scan.cmp(&b.scan));
    Ok(entries)
}

/// Copies a folder with its subfolders; nothing where it is not there, or is the target.
fn copy_folder(from: &Path, to: &Path) -> Result<(), BatchFolderError> {
    if !from.is_dir() || from.canonicalize().ok() == to.canonicalize().ok() {
        return Ok(());
    }
    let failed = |source| BatchFolderError::Copy { from: from.to_owned(), to: to.to_owned(), source };
    fs::create_dir_all(to).map_err(failed)?;
    for item in fs::read_dir(from).map_err(failed)? {
        let item = item.map_err(failed)?;
        let target = to.join(item.file_name());
        if item.file_type().map_err(failed)?.is_dir() {
            copy_folder(&item.path(), &target)?;
        } else {
            fs::copy(item.path(), target).map_err(failed)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_is_another_one_when_its_curve_or_its_reference_surface_changes() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let plan_text = "title = 'x'\nunits = 'mm'\n[align]\nway = 'coarse'\nreference = 'front.ply'\n[scan]\n\
            units = 'mm'\n[panels.hood]\n[panels.fender]\nfixed = true\n[[seam]]\nid = 'a'\ndatum_panel = 'fender'\n\
            other_panel = 'hood'\ndatum_side = 'left'\ncurve = 'a.csv'\nstation_spacing = 10\nskip_ends = 5\n\
            gap = { nominal = 4, minus = 1, plus = 1 }\nflush = { nominal = 0, minus = 1, plus = 1 }\n";
        let hash = || plan_hash(&crate::files::read_plan(&at("p.toml")).unwrap(), &at("p.toml"));
        fs::write(at("p.toml"), plan_text).unwrap();
        fs::write(at("a.csv"), "0,0,0,0,0,1\n100,0,0,0,0,1\n").unwrap();
        assert!(hash().is_err(), "the reference is missing");
        fs::write(at("front.ply"), "one").unwrap();
        let first = hash().unwrap();
        assert_eq!(hash().unwrap(), first);
        fs::write(at("front.ply"), "another").unwrap();
        let second = hash().unwrap();
        assert_ne!(second, first);
        fs::write(at("a.csv"), "0,0,0,0,0,1\n101,0,0,0,0,1\n").unwrap();
        assert_ne!(hash().unwrap(), second);
    }

    #[test]
    fn different_scans_get_different_folders() {
        let names = ["a.ply", "A.ply", "x/a.ply", "x-a.ply", "x a.ply", "ä.ply", "../a.ply"];
        let folders: Vec<String> = names.iter().map(|name| folder_name(name).to_ascii_lowercase()).collect();
        for (at, folder) in folders.iter().enumerate() {
            assert!(!folders[..at].contains(folder) && !folder.contains('/'), "{folder}");
        }
        assert_eq!(folder_name("a.ply"), "a.ply");
    }
}
