//! What is remembered of a measured scan: one small JSON file each in `entries/`, so that shards never share a file.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use shutline::files::{FoundScan, content_hash, text_hash, write_file};
use shutline::summarise::{BatchScan, parse_reading_rows};

use crate::cli::messages::Failure;

/// Layout of the entry files; another number is measured afresh.
const ENTRY_VERSION: u32 = 1;

/// One scan of a batch and what it was measured with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    pub version: u32,
    /// Path inside the batch's folder.
    pub scan: String,
    /// Folder of the results inside `scans/`.
    pub folder: String,
    pub taken_s: i64,
    pub scan_sha256: String,
    pub plan_sha256: String,
    pub program: String,
    /// Why it could not be measured.
    pub failure: Option<String>,
}

impl Entry {
    /// The entry of a scan before it is measured.
    pub fn of(scan: &FoundScan, plan_sha256: &str) -> Result<Self, Failure> {
        Ok(Self {
            version: ENTRY_VERSION,
            scan: scan.name.clone(),
            folder: folder_name(&scan.name),
            taken_s: scan.taken_s,
            scan_sha256: content_hash(&scan.path)?,
            plan_sha256: plan_sha256.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            failure: None,
        })
    }

    /// True where the results on disk were made from the same scan, plan and program.
    ///
    /// A scan that failed is tried again: the cause may have lain outside the file.
    pub fn is_done_in(&self, out: &Path) -> bool {
        let known = std::fs::read_to_string(entry_path(out, &self.folder))
            .ok()
            .and_then(|text| serde_json::from_str::<Self>(&text).ok());
        known.is_some_and(|known| known == Self { taken_s: known.taken_s, ..self.clone() })
            && results_folder(out, &self.folder).join("readings.csv").is_file()
    }

    /// Remembers this scan.
    pub fn write(&self, out: &Path) -> Result<(), Failure> {
        std::fs::create_dir_all(out.join("entries"))?;
        let text = serde_json::to_string_pretty(self)? + "\n";
        Ok(write_file(&entry_path(out, &self.folder), text.as_bytes())?)
    }

    /// This scan with its readings from disk.
    pub fn load(&self, out: &Path) -> BatchScan {
        let readings = match &self.failure {
            Some(failure) => Err(failure.clone()),
            None => {
                let path = results_folder(out, &self.folder).join("readings.csv");
                std::fs::read_to_string(&path)
                    .map_err(|error| format!("could not read {}: {error}", path.display()))
                    .and_then(|text| parse_reading_rows(&text).map_err(|error| error.to_string()))
            }
        };
        BatchScan { name: self.scan.clone(), taken_s: self.taken_s, readings }
    }
}

/// Where a scan's results lie.
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
pub fn read_entries(out: &Path) -> Result<Vec<Entry>, Failure> {
    let folder = out.join("entries");
    let listing = std::fs::read_dir(&folder).map_err(|error| {
        Failure::new(format!(
            "could not read {}: {error}; give folders that 'shutline batch' has written",
            folder.display()
        ))
    })?;
    let mut entries = Vec::new();
    for item in listing {
        let path = item?.path();
        if path.extension().is_some_and(|ending| ending == "json") {
            let text = std::fs::read_to_string(&path)?;
            let entry: Entry = serde_json::from_str(&text).map_err(|error| {
                Failure::new(format!("{} is damaged: {error}; run the batch again", path.display()))
            })?;
            if entry.version != ENTRY_VERSION || entry.folder != folder_name(&entry.scan) {
                return Err(Failure::new(format!(
                    "{} was not written by this version; run the batch again",
                    path.display()
                )));
            }
            entries.push(entry);
        }
    }
    entries.sort_by(|a, b| a.scan.cmp(&b.scan));
    Ok(entries)
}

#[cfg(test)]
mod tests {
    use super::*;

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
