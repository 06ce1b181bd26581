//! `batch`, sharded and whole, and `merge`: the program as separate processes.

use std::collections::BTreeMap;
use std::path::Path;

use super::program::{run, talk, write_plan};

/// Every file below a folder with its bytes.
fn files_below(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().display().to_string();
                found.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// A plan and a folder with three scans and a file that is none.
fn prepared() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "");
    std::fs::create_dir(folder.path().join("scans")).unwrap();
    for (index, gap) in ["3.9", "4.1", "4.2"].iter().enumerate() {
        let out = format!("scans/car_2026-03-0{}.ply", index + 1);
        let made = run(
            folder.path(),
            &["rehearse", "--plan", "one.seams.toml", "--out", &out, "--truth", "truth.csv", "--gap", gap],
        );
        assert!(made.status.success(), "{}", talk(&made));
    }
    std::fs::write(folder.path().join("scans/junk.ply"), "junk").unwrap();
    folder
}

fn batch(folder: &Path, out: &str, more: &[&str]) -> std::process::Output {
    let mut arguments = vec!["batch", "scans", "--plan", "one.seams.toml", "--out", out];
    arguments.extend(more);
    run(folder, &arguments)
}

#[test]
fn two_shards_merged_are_the_whole_batch_byte_for_byte() {
    let folder = prepared();
    let home = folder.path();
    let whole = batch(home, "whole", &[]);
    assert_eq!(whole.status.code(), Some(1), "the junk is no good verdict: {}", talk(&whole));
    assert!(talk(&whole).contains("junk.ply"), "{}", talk(&whole));
    batch(home, "first", &["--shard", "1/2"]);
    batch(home, "second", &["--shard", "2/2"]);
    let merged = run(home, &["merge", "first", "second", "--out", "joined"]);
    assert_eq!(merged.status.code(), Some(1), "{}", talk(&merged));
    let (whole, joined) = (files_below(&home.join("whole")), files_below(&home.join("joined")));
    assert!(whole.contains_key("overview.html"), "{:?}", whole.keys());
    assert!(whole.keys().eq(joined.keys()));
    for (name, bytes) in &whole {
        assert!(joined[name] == *bytes, "{name} differs");
    }
}

#[test]
fn what_has_not_changed_is_not_measured_again_unless_forced() {
    let folder = prepared();
    batch(folder.path(), "out", &[]);
    let again = talk(&batch(folder.path(), "out", &[]));
    assert_eq!(again.matches("unchanged").count(), 3, "{again}");
    let forced = talk(&batch(folder.path(), "out", &["--force"]));
    assert_eq!(forced.matches("unchanged").count(), 0, "{forced}");
    let plan = std::fs::read_to_string(folder.path().join("one.seams.toml")).unwrap();
    std::fs::write(folder.path().join("one.seams.toml"), plan.replace("plus = 0.5", "plus = 0.4")).unwrap();
    let changed = talk(&batch(folder.path(), "out", &[]));
    assert_eq!(changed.matches("unchanged").count(), 0, "{changed}");
}

#[test]
fn a_folder_without_scans_and_a_single_repetition_are_said() {
    let folder = prepared();
    std::fs::create_dir(folder.path().join("bare")).unwrap();
    let output = run(folder.path(), &["batch", "bare", "--plan", "one.seams.toml", "--out", "out"]);
    assert_eq!(output.status.code(), Some(2));
    std::fs::remove_file(folder.path().join("scans/junk.ply")).unwrap();
    std::fs::write(
        folder.path().join("labels.csv"),
        "scan,car,operator,repetition\ncar_2026-03-01.ply,a,x,1\ncar_2026-03-02.ply,b,x,1\ncar_2026-03-03.ply,c,x,1\n",
    )
    .unwrap();
    let output = run(
        folder.path(),
        &["repeat", "scans", "--plan", "one.seams.toml", "--out", "rep", "--labels", "labels.csv"],
    );
    assert_eq!(output.status.code(), Some(2), "{}", talk(&output));
}
