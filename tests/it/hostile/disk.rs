//! Faults of the disk: unreadable, failing reads, no room, read-only, killed half-way, two runs into one folder. Whatever happens,
//! the results of an earlier run are whole.
//!
//! Where the system does not let a fault be made, the test says "skipped" and why.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::cli::program::{run, talk, write_plan};

/// All results below a folder.
type Results = BTreeMap<PathBuf, Vec<u8>>;

fn results(folder: &Path) -> Results {
    let mut found = Results::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(path.strip_prefix(folder).unwrap().to_owned(), std::fs::read(&path).unwrap());
            }
        }
    }
    found
}

const MEASURE: [&str; 6] = ["--plan", "one.seams.toml", "--no-time", "--quiet", "--out", "out"];

fn measure(folder: &Path, scan: &str) -> Output {
    run(folder, &[&["measure", scan], &MEASURE[..]].concat())
}

fn start(folder: &Path, scan: &str, out: &str) -> std::process::Child {
    Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args([&["measure", scan], &MEASURE[..5], &[out]].concat())
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// A folder with two scans whose results differ, and the results of the first.
fn prepared() -> (tempfile::TempDir, Results) {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "");
    for (name, gap) in [("a.ply", "4.1"), ("b.ply", "4.3")] {
        let made = run(folder.path(), &["rehearse", "--plan", "one.seams.toml", "--out", name, "--gap", gap]);
        assert!(made.status.success(), "{}", talk(&made));
    }
    assert_eq!(measure(folder.path(), "a.ply").status.code(), Some(0));
    let earlier = results(&folder.path().join("out"));
    assert!(earlier.len() >= 7, "{:?}", earlier.keys());
    (folder, earlier)
}

/// What the second scan gives.
fn later(folder: &Path) -> Results {
    let output = start(folder, "b.ply", "elsewhere").wait_with_output().unwrap();
    assert!(output.status.success(), "{}", talk(&output));
    results(&folder.join("elsewhere"))
}

fn check_failed(output: &Output, folder: &Path, earlier: &Results, what: &str) {
    assert_eq!(output.status.code(), Some(2), "{what}: {}", talk(output));
    assert!(talk(output).contains("could not"), "{what}: {}", talk(output));
    assert!(results(&folder.join("out")) == *earlier, "{what}: the earlier results have changed");
    let names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(!names.iter().any(|name| name.to_string_lossy().contains("unfinished")), "{what}: {names:?}");
}

#[test]
fn what_cannot_be_read_leaves_earlier_results() {
    let (folder, earlier) = prepared();
    let home = folder.path();
    check_failed(&measure(home, "."), home, &earlier, "a folder as scan");
    std::fs::remove_file(home.join("seam.csv")).unwrap();
    check_failed(&measure(home, "b.ply"), home, &earlier, "a curve that is gone");
    write_plan(home, "");
    if Path::new("/proc/self/mem").exists() {
        // Opens, and fails at the first read.
        let output = measure(home, "/proc/self/mem");
        check_failed(&output, home, &earlier, "a failing read");
    } else {
        println!("skipped: this system has no file whose reads fail");
    }
}

/// Runs the program where it has no more rights than anybody, or says that this cannot be had.
#[cfg(unix)]
fn as_nobody(folder: &Path, closed: &Path, mode: u32) -> Option<Output> {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    const NOBODY: u32 = 65_534;
    let allow =
        |path: &Path, mode| std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    let program = folder.join("program");
    std::fs::copy(env!("CARGO_BIN_EXE_shutline"), &program).unwrap();
    allow(&program, 0o755);
    let before = std::fs::metadata(closed).unwrap().permissions().mode();
    allow(closed, mode);
    let probe = if closed.is_dir() {
        std::fs::write(closed.join("probe"), "").is_ok()
    } else {
        std::fs::read(closed).is_ok()
    };
    if closed.is_dir() && probe {
        std::fs::remove_file(closed.join("probe")).unwrap();
    }
    let mut command = Command::new(&program);
    command.args([&["measure", "b.ply"], &MEASURE[..]].concat()).current_dir(folder);
    if probe {
        // Rights do not bind this user: take them away.
        command.uid(NOBODY).gid(NOBODY);
    }
    let output = command.output();
    allow(closed, before);
    std::fs::remove_file(program).unwrap();
    match output {
        Ok(output) => Some(output),
        Err(error) => {
            println!("skipped: no user without rights can be had ({error})");
            None
        }
    }
}

#[cfg(unix)]
#[test]
fn closed_files_and_folders_leave_earlier_results() {
    use std::os::unix::fs::PermissionsExt;
    let (folder, earlier) = prepared();
    let home = folder.path();
    std::fs::set_permissions(home, std::fs::Permissions::from_mode(0o755)).unwrap();
    if let Some(output) = as_nobody(home, &home.join("b.ply"), 0o000) {
        check_failed(&output, home, &earlier, "a closed scan");
    }
    if let Some(output) = as_nobody(home, home, 0o555) {
        check_failed(&output, home, &earlier, "a read-only folder");
        assert!(talk(&output).contains("writable"), "{}", talk(&output));
    }
}

/// A limit on the size of files makes writes fail half-way, as a full disk does.
#[cfg(unix)]
#[test]
fn no_room_leaves_earlier_results() {
    let (folder, earlier) = prepared();
    let home = folder.path();
    for blocks in ["0", "4", "40"] {
        let limited = format!("trap '' XFSZ; ulimit -f {blocks} || exit 77; exec \"$0\" \"$@\"");
        let output = Command::new("sh")
            .args(["-c", &limited, env!("CARGO_BIN_EXE_shutline"), "measure", "b.ply"])
            .args(MEASURE)
            .current_dir(home)
            .output();
        match output {
            Ok(output) if output.status.code() != Some(77) => {
                check_failed(&output, home, &earlier, &format!("files of at most {blocks} blocks"));
            }
            _ => println!("skipped: this system does not limit the size of files"),
        }
    }
}

#[test]
fn a_killed_run_leaves_earlier_results_or_new_ones_whole() {
    let (folder, earlier) = prepared();
    let home = folder.path();
    let later = later(home);
    let is_begun = || {
        let mut names = std::fs::read_dir(home).unwrap().map(|entry| entry.unwrap().file_name());
        names.any(|name| name.to_string_lossy().contains("unfinished"))
    };
    // Killed at once, and a little later each time; no state in between may be seen.
    for wait_ms in [0, 20, 60, 150] {
        let mut child = start(home, "b.ply", "out");
        let begin = Instant::now();
        while !is_begun() && begin.elapsed() < Duration::from_secs(20) && child.try_wait().unwrap().is_none()
        {
            std::thread::sleep(Duration::from_millis(1));
        }
        std::thread::sleep(Duration::from_millis(wait_ms));
        child.kill().unwrap();
        child.wait().unwrap();
        let found = results(&home.join("out"));
        assert!(found == earlier || found == later, "killed after {wait_ms} ms: results are mixed");
        // What the killed run left beside the folder; it does not disturb.
        for entry in std::fs::read_dir(home).unwrap() {
            let path = entry.unwrap().path();
            if path.file_name().unwrap().to_string_lossy().contains("unfinished") {
                std::fs::remove_dir_all(path).unwrap();
            }
        }
    }
    let output = start(home, "b.ply", "out").wait_with_output().unwrap();
    assert!(output.status.success(), "{}", talk(&output));
    assert!(results(&home.join("out")) == later, "the next run is whole");
}

#[test]
fn two_runs_into_one_folder_do_not_mix() {
    let (folder, earlier) = prepared();
    let home = folder.path();
    let later = later(home);
    for out in ["out", "fresh"] {
        let runs = ["a.ply", "b.ply"].map(|scan| start(home, scan, out));
        let outputs = runs.map(|child| child.wait_with_output().unwrap());
        let is_done = |output: &Output| output.status.code() == Some(0);
        assert!(outputs.iter().any(is_done), "{out}: neither run came through");
        for output in outputs.iter().filter(|output| !is_done(output)) {
            assert_eq!(output.status.code(), Some(2), "{out}: {}", talk(output));
            assert!(talk(output).contains("another run"), "{out}: {}", talk(output));
        }
        let found = results(&home.join(out));
        assert!(found == earlier || found == later, "{out}: results are mixed");
    }
}
