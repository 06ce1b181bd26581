//! `compare` from the command line: two rehearsed scans of the front end, and the two sides of one.

use std::path::{Path, PathBuf};

use shutline::render::ComparisonRecord;

use super::program::{run, talk};

/// The sample scans of the Gannet coupe.
fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans")
}

fn compare(folder: &Path, scans: &[&str], more: &[&str]) -> std::process::Output {
    let samples = samples();
    let plan = samples.join("gannet.seams.toml").display().to_string();
    let paths: Vec<String> = scans.iter().map(|scan| samples.join(scan).display().to_string()).collect();
    let mut arguments = vec!["compare", "--plan", &plan, "--out", "out"];
    arguments.extend(paths.iter().map(String::as_str));
    arguments.extend(more);
    run(folder, &arguments)
}

fn record(folder: &Path) -> ComparisonRecord {
    serde_json::from_str(&std::fs::read_to_string(folder.join("out/comparison.json")).unwrap()).unwrap()
}

#[test]
fn the_hoods_move_is_told_in_words_of_the_shop() {
    let folder = tempfile::tempdir().unwrap();
    let output = compare(folder.path(), &["gannet-before.ply", "gannet-after.ply"], &[]);
    assert_eq!(output.status.code(), Some(1), "{}", talk(&output));
    let table = String::from_utf8_lossy(&output.stdout);
    // Rehearsed: the hood was raised by 1.0 mm, shifted 0.3 mm to the right and turned by 0.03 deg (sample-scans/README).
    assert!(table.contains("Hood went ") && table.contains(" mm up"), "{table}");
    assert!(table.contains("corner") && table.contains("to the right"), "{table}");
    let record = record(folder.path());
    assert_eq!((record.kind.as_str(), record.first.side.as_str()), ("before-after", "before"));
    assert_eq!(record.first.scan, "gannet-before.ply", "without the folders of this machine");
    assert_eq!(record.moves.len(), 1, "{:?}", record.moves);
    assert_eq!(record.moves[0].panel, "hood");
    // Rehearsed: the left gap widens by 1 mm within 300 mm of the front corner, and the turn takes hardly any of it away.
    let taper = record.tapers.iter().find(|taper| taper.seam == "hood-fender-left").unwrap();
    assert_eq!((taper.first_verdict.as_str(), taper.second_verdict.as_str()), ("out", "out"), "{taper:?}");
    assert!((taper.first.as_ref().unwrap().value_mm.abs() - 1.0).abs() < 0.1, "{taper:?}");
    assert_eq!(record.tapers.len(), 6);
    assert!(table.contains("before 1.0") && table.contains(" out, after 0.8"), "{table}");
    // Frame: z up, y to the right. The stated move is 1.0 up and 0.3 to the right at the hood's middle.
    let [_, right_mm, up_mm] = record.moves[0].shift_mm;
    assert!((up_mm - 1.0).abs() < 0.1 && (right_mm - 0.3).abs() < 0.1, "{:?}", record.moves[0]);
    for file in ["changes.csv", "comparison.html", "strips/hood-cowl.png"] {
        assert!(folder.path().join("out").join(file).is_file(), "{file} is missing");
    }
}

#[test]
fn two_sides_of_one_scan_are_compared_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let output = compare(folder.path(), &["gannet-before.ply"], &["--mirror"]);
    assert_eq!(output.status.code(), Some(1), "{}", talk(&output));
    let record = record(folder.path());
    assert_eq!((record.kind.as_str(), record.second.side.as_str()), ("left-right", "right"));
    let seams: Vec<&str> = record.seams.iter().map(|seam| seam.seam.as_str()).collect();
    assert_eq!(seams, ["hood-fender-left", "fender-door-left"]);
    // Rehearsed: tight on the left at the front corner, and widening to the rear on the right.
    assert_eq!(record.seams[0].gap.verdict, "real");
    assert!(record.seams[0].gap.mean_change.as_ref().unwrap().value_mm > 0.2, "{:?}", record.seams[0].gap);
    let table = String::from_utf8_lossy(&output.stdout);
    assert!(table.contains("mm wider on average"), "{table}");
    let said = talk(&output);
    assert!(said.contains("from the plan") && said.contains("hood-cowl has no partner"), "{said}");
    let header = std::fs::read_to_string(folder.path().join("out/changes.csv")).unwrap();
    assert!(
        header.starts_with("seam,station,along_mm,gap_left_mm,gap_right_mm,gap_difference_mm,"),
        "{header}"
    );
}

#[test]
fn what_cannot_be_compared_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let both = compare(folder.path(), &["gannet-before.ply", "gannet-after.ply"], &["--mirror"]);
    assert_eq!(both.status.code(), Some(2));
    let one = compare(folder.path(), &["gannet-before.ply"], &[]);
    assert_eq!(one.status.code(), Some(2));
    assert!(!folder.path().join("out").exists());
}

#[test]
fn the_schema_of_a_comparison_is_printed() {
    let folder = tempfile::tempdir().unwrap();
    let printed = run(folder.path(), &["schema", "comparison"]);
    let schema: serde_json::Value = serde_json::from_slice(&printed.stdout).unwrap();
    assert_eq!(schema["title"], "shutline comparison");
    // Every key that a comparison has is described.
    let output = compare(folder.path(), &["gannet-before.ply"], &["--mirror", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    for key in value.as_object().unwrap().keys() {
        assert!(schema["properties"].get(key).is_some(), "{key}");
    }
}
