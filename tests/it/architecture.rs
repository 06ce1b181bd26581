//! The house rules that a test can hold: who may import whom, where the disk and threads are, how long files get.

use std::fs;
use std::path::{Path, PathBuf};

/// Module, and the library modules that it may name. The table of DEVELOPERS.md.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("frames", &[]),
    ("statistics", &[]),
    ("geometry", &["units", "statistics"]),
    ("scan", &["units", "frames", "geometry", "statistics"]),
    ("plan", &["units", "frames", "geometry", "statistics"]),
    ("align", &["units", "frames", "geometry", "statistics", "scan", "plan"]),
    ("seam", &["units", "frames", "geometry", "statistics", "scan", "plan"]),
    ("section", &["units", "frames", "geometry", "statistics", "scan", "plan", "seam"]),
    ("measure", &["units", "frames", "geometry", "statistics", "scan", "plan", "seam", "section"]),
    ("lineup", &["units", "geometry", "statistics", "plan", "seam", "measure"]),
    ("judge", &["units", "geometry", "statistics", "plan", "measure", "lineup"]),
    ("summarise", &["units", "frames", "geometry", "statistics", "plan", "measure", "judge"]),
    ("advise", &["units", "frames", "geometry", "statistics", "plan", "measure", "judge", "summarise"]),
    ("trace", &["units", "frames", "geometry", "statistics", "scan", "plan"]),
    ("rehearse", &["units", "frames", "geometry", "statistics", "scan", "plan"]),
    (
        "render",
        &[
            "units",
            "frames",
            "geometry",
            "statistics",
            "scan",
            "plan",
            "align",
            "measure",
            "lineup",
            "judge",
            "summarise",
            "advise",
            "trace",
            "rehearse",
        ],
    ),
    ("files", &["units", "frames", "geometry", "scan", "plan", "rehearse"]),
    (
        "pipeline",
        &[
            "units",
            "frames",
            "geometry",
            "statistics",
            "scan",
            "plan",
            "align",
            "seam",
            "section",
            "measure",
            "lineup",
            "judge",
            "summarise",
            "trace",
        ],
    ),
];

/// Production lines that a file may have before it must be split.
const LONGEST_FILE: usize = 400;

fn source_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut entries: Vec<PathBuf> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            found.extend(source_files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found
}

/// The file without its tests, comments and doc text.
fn production_lines(path: &Path) -> Vec<String> {
    if path.file_stem().is_some_and(|stem| stem == "tests" || stem.to_string_lossy().starts_with("test_")) {
        return Vec::new();
    }
    let text = fs::read_to_string(path).unwrap();
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default().to_owned();
    code.lines().filter(|line| !line.trim_start().starts_with("//")).map(str::to_owned).collect()
}

fn source_root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The module that a file belongs to: the first folder or file name under `src`.
fn module_of(path: &Path) -> String {
    let inside = path.strip_prefix(source_root()).unwrap();
    let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

#[test]
fn imports_point_one_way() {
    let mut broken = Vec::new();
    for path in source_files(&source_root()) {
        let module = module_of(&path);
        let Some((_, allowed)) = MAY_IMPORT.iter().find(|(name, _)| *name == module) else {
            continue;
        };
        for line in production_lines(&path) {
            for piece in line.split("crate::").skip(1) {
                let named: String =
                    piece.chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect();
                if named != module && !allowed.contains(&named.as_str()) {
                    broken.push(format!("{}: {module} may not import {named}", path.display()));
                }
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn every_module_stands_in_the_table() {
    let exempt = ["lib", "main", "cli"];
    let missing: Vec<String> = source_files(&source_root())
        .iter()
        .map(|path| module_of(path))
        .filter(|module| !exempt.contains(&module.as_str()))
        .filter(|module| !MAY_IMPORT.iter().any(|(name, _)| name == module))
        .collect();
    assert!(missing.is_empty(), "add to the table: {missing:?}");
}

#[test]
fn only_files_and_the_program_touch_the_disk() {
    let broken: Vec<String> = source_files(&source_root())
        .iter()
        .filter(|path| !["files", "cli"].contains(&module_of(path).as_str()))
        .filter(|path| {
            production_lines(path).iter().any(|line| line.contains("std::fs") || line.contains("File::"))
        })
        .map(|path| path.display().to_string())
        .collect();
    assert!(broken.is_empty(), "disk access outside files: {broken:?}");
}

#[test]
fn files_stay_short() {
    let long: Vec<String> = source_files(&source_root())
        .iter()
        .map(|path| (path, production_lines(path).len()))
        .filter(|(_, count)| *count > LONGEST_FILE)
        .map(|(path, count)| format!("{}: {count}", path.display()))
        .collect();
    assert!(long.is_empty(), "split these: {long:?}");
}

#[test]
fn every_file_says_what_it_is_for() {
    let silent: Vec<String> = source_files(&source_root())
        .iter()
        .filter(|path| !path.ends_with("tests.rs"))
        .filter(|path| !fs::read_to_string(path).unwrap().starts_with("//!"))
        .map(|path| path.display().to_string())
        .collect();
    assert!(silent.is_empty(), "no module text: {silent:?}");
}
