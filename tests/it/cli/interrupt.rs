//! Ctrl-C in the middle of the work leaves nothing half-written.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::program::{run, talk, write_plan};

fn start(folder: &Path, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args(arguments)
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn unfinished(folder: &Path) -> Vec<String> {
    let names = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    names.map(|name| name.to_string_lossy().into_owned()).filter(|name| name.contains("unfinished")).collect()
}

/// Sends Ctrl-C as soon as something unfinished lies in the folder; gives the exit status.
fn interrupt_when_writing(folder: &Path, mut child: Child) -> Option<i32> {
    let patience = Instant::now();
    while unfinished(folder).is_empty() && patience.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(child.try_wait().unwrap().is_none(), "the run must still be at work");
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    child.wait().unwrap().code()
}

#[test]
fn a_stopped_rehearsal_leaves_no_scan() {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "");
    let endless = "400000000";
    let child = start(
        folder.path(),
        &["rehearse", "--plan", "one.seams.toml", "--out", "scan.ply", "--points", endless],
    );
    assert_eq!(interrupt_when_writing(folder.path(), child), Some(2));
    assert_eq!(unfinished(folder.path()), Vec::<String>::new());
    assert!(!folder.path().join("scan.ply").exists() && !folder.path().join("truth.csv").exists());
}

#[test]
fn a_stopped_measuring_leaves_the_earlier_results() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    write_plan(home, "");
    for (scan, gap, points) in [("small.ply", "4.1", "0"), ("large.ply", "5.2", "4000000")] {
        let arguments =
            ["rehearse", "--plan", "one.seams.toml", "--out", scan, "--gap", gap, "--points", points];
        let made = run(home, &arguments);
        assert!(made.status.success(), "{}", talk(&made));
    }
    let measure = |scan| ["measure", scan, "--plan", "one.seams.toml", "--out", "out", "--threads", "1"];
    assert!(run(home, &measure("small.ply")).status.success());
    let earlier = std::fs::read(home.join("out/readings.csv")).unwrap();
    let child = start(home, &measure("large.ply"));
    assert_eq!(interrupt_when_writing(home, child), Some(2));
    assert_eq!(unfinished(home), Vec::<String>::new());
    assert!(std::fs::read(home.join("out/readings.csv")).unwrap() == earlier);
}
