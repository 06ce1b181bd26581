//! The scans in a folder, and when each was taken.
//!
//! In: a folder and patterns of file names. Out: paths inside the folder in order of name, with size and time.
//! Method: subfolders are searched, hidden names and links to folders are not; the time is a date in the file's name
//! (`2026-03-14`, `20260314`, with `T0930` or `-093000` after it) or else that of the file's last change.
//! Does not open the scans.

use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use glob::{MatchOptions, Pattern};
use thiserror::Error;

/// Name endings that count as scans where no pattern is given.
const SCAN_ENDINGS: [&str; 16] = [
    "ply", "stl", "obj", "e57", "las", "laz", "pcd", "xyz", "pts", "asc", "txt", "csv", "ptx", "off", "glb",
    "gz",
];
/// Folders inside folders that are searched.
const DEEPEST: usize = 32;

/// Why a folder cannot be searched.
#[derive(Debug, Error)]
pub enum ScanFolderError {
    #[error("could not read the folder {}: {source}; check its name and that you may read it", path.display())]
    Unreadable { path: PathBuf, source: std::io::Error },
    #[error("'{pattern}' is not a pattern of file names: {reason}; write for example '*.ply'")]
    BadPattern { pattern: String, reason: &'static str },
    #[error("the results would lie among the scans in {}, and their tables would be taken for scans the next time; give --out a folder of its own", path.display())]
    ResultsAmongScans { path: PathBuf },
}

/// A scan file found.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct FoundScan {
    /// Path inside the folder, with `/` on every system.
    pub name: String,
    pub path: PathBuf,
    pub byte_count: u64,
    /// Seconds since 1970-01-01 UTC; a name's date is read as UTC.
    pub taken_s: i64,
}

/// The scans of a folder in order of name; `skip` is a folder left out (the results').
///
/// # Errors
/// The folder cannot be read, lies in the one left out, or a pattern is wrong. A subfolder that cannot be read is an error too: leaving out scans
/// unsaid would be worse.
pub fn find_scans(
    folder: &Path,
    patterns: &[String],
    skip: &Path,
) -> Result<Vec<FoundScan>, ScanFolderError> {
    let patterns: Vec<Pattern> = patterns
        .iter()
        .map(|text| {
            Pattern::new(text)
                .map_err(|error| ScanFolderError::BadPattern { pattern: text.clone(), reason: error.msg })
        })
        .collect::<Result<_, _>>()?;
    let skip = skip.canonicalize().ok();
    let scans = folder.canonicalize().ok();
    if skip.as_ref().zip(scans.as_ref()).is_some_and(|(skip, scans)| scans.starts_with(skip)) {
        return Err(ScanFolderError::ResultsAmongScans { path: folder.to_owned() });
    }
    let mut found = Vec::new();
    search(folder, "", DEEPEST, &|name| is_wanted(name, &patterns), skip.as_deref(), &mut found)?;
    found.sort();
    Ok(found)
}

fn is_wanted(name: &str, patterns: &[Pattern]) -> bool {
    let file = name.rsplit('/').next().unwrap_or(name);
    if patterns.is_empty() {
        let ending = file.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
        return ending.is_some_and(|ending| SCAN_ENDINGS.contains(&ending.as_str()));
    }
    let options = MatchOptions { case_sensitive: false, ..MatchOptions::new() };
    patterns.iter().any(|pattern| pattern.matches_with(file, options) || pattern.matches_with(name, options))
}

fn search(
    folder: &Path,
    prefix: &str,
    depth: usize,
    is_wanted: &dyn Fn(&str) -> bool,
    skip: Option<&Path>,
    found: &mut Vec<FoundScan>,
) -> Result<(), ScanFolderError> {
    let unreadable = |source| ScanFolderError::Unreadable { path: folder.to_owned(), source };
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let file_name = entry.file_name().to_string_lossy().into_owned();
        let name = if prefix.is_empty() { file_name.clone() } else { format!("{prefix}/{file_name}") };
        let kind = entry.file_type().map_err(unreadable)?;
        if file_name.starts_with('.') {
            continue;
        }
        if kind.is_dir() {
            let is_skipped =
                skip.is_some_and(|skip| entry.path().canonicalize().is_ok_and(|path| path == skip));
            if depth > 0 && !is_skipped {
                search(&entry.path(), &name, depth - 1, is_wanted, skip, found)?;
            }
        } else if is_wanted(&name) {
            // A file that went away since the folder was read is no longer a scan.
            let Ok(facts) = std::fs::metadata(entry.path()) else { continue };
            if facts.is_file() {
                let changed = facts.modified().ok().and_then(|time| time.duration_since(UNIX_EPOCH).ok());
                let taken_s = time_in_name(&file_name)
                    .unwrap_or_else(|| changed.map_or(0, |since| since.as_secs() as i64));
                found.push(FoundScan { name, path: entry.path(), byte_count: facts.len(), taken_s });
            }
        }
    }
    Ok(())
}

/// The first date of the years 1990 to 2099 in a name, with the time of day that follows it.
#[must_use]
pub fn time_in_name(name: &str) -> Option<i64> {
    let letters: Vec<char> = name.chars().collect();
    (0..letters.len()).find_map(|start| {
        if start > 0 && letters.get(start - 1).is_some_and(char::is_ascii_digit) {
            return None;
        }
        let rest: String = letters.iter().skip(start).collect();
        time_at_start(&rest)
    })
}

fn time_at_start(text: &str) -> Option<i64> {
    let (year, rest) = digits(text, 4)?;
    let (month, rest) = digits(rest.strip_prefix(['-', '_', '.']).unwrap_or(rest), 2)?;
    let (day, rest) = digits(rest.strip_prefix(['-', '_', '.']).unwrap_or(rest), 2)?;
    if !(1990..2100).contains(&year) || rest.starts_with(|next: char| next.is_ascii_digit()) {
        return None;
    }
    let date = jiff::civil::Date::new(year, month as i8, day as i8).ok()?;
    let clock = time_of_day(rest).unwrap_or(jiff::civil::Time::midnight());
    date.to_datetime(clock).to_zoned(jiff::tz::TimeZone::UTC).ok().map(|time| time.timestamp().as_second())
}

fn time_of_day(text: &str) -> Option<jiff::civil::Time> {
    let rest = text.strip_prefix(['T', 't', '-', '_', ' '])?;
    let (hour, rest) = digits(rest, 2)?;
    let (minute, rest) = digits(rest.strip_prefix(['-', ':', '.']).unwrap_or(rest), 2)?;
    let seconds = digits(rest.strip_prefix(['-', ':', '.']).unwrap_or(rest), 2);
    let second = seconds.map_or(0, |(second, _)| second);
    jiff::civil::Time::new(hour as i8, minute as i8, second as i8, 0).ok()
}

/// The number in exactly the first `count` digits, and what follows.
fn digits(text: &str, count: usize) -> Option<(i16, &str)> {
    let (head, rest) = text.split_at_checked(count)?;
    if !head.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    Some((head.parse().ok()?, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_in_names_are_read_and_other_numbers_are_not() {
        // 2026-03-14 00:00 UTC is day 20526 since 1970.
        let day = 20_526 * 86_400;
        assert_eq!(time_in_name("car7_2026-03-14.ply"), Some(day));
        assert_eq!(time_in_name("20260314T0930_x.ply"), Some(day + 9 * 3600 + 30 * 60));
        assert_eq!(time_in_name("20260314-093015.ply"), Some(day + 9 * 3600 + 30 * 60 + 15));
        assert_eq!(time_in_name("part-120260314.ply"), None);
        assert_eq!(time_in_name("car-2026-13-40.ply"), None);
        assert_eq!(time_in_name("scan-ä-17.ply"), None);
    }

    #[test]
    fn scans_are_found_in_subfolders_and_results_are_not() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for name in ["monday", "out", ".cache"] {
            std::fs::create_dir(at(name)).unwrap();
        }
        for name in ["b.PLY", "monday/a.ply", "notes.md", "out/x.ply", ".cache/y.ply", "c.stl"] {
            std::fs::write(at(name), "x").unwrap();
        }
        let names = |patterns: &[&str]| -> Vec<String> {
            let patterns: Vec<String> = patterns.iter().map(|text| (*text).to_owned()).collect();
            find_scans(folder.path(), &patterns, &at("out"))
                .unwrap()
                .into_iter()
                .map(|scan| scan.name)
                .collect()
        };
        assert_eq!(names(&[]), ["b.PLY", "c.stl", "monday/a.ply"]);
        assert_eq!(names(&["*.ply"]), ["b.PLY", "monday/a.ply"]);
        assert_eq!(names(&["monday/*"]), ["monday/a.ply"]);
        assert!(find_scans(folder.path(), &["[".to_owned()], &at("out")).is_err());
        assert!(find_scans(&at("none"), &[], &at("out")).is_err());
    }
}
