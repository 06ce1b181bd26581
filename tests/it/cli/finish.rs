//! `measure` on a car that was scanned in bare metal and is judged as it will be when painted.

use std::path::Path;

use super::program::{run, talk, write_plan};

/// Rehearses a gap of 4.57 mm, of which 4.5 is allowed, and measures it by a plan with these lines.
fn measured(finish: &str) -> (tempfile::TempDir, std::process::Output) {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), finish);
    let made =
        run(folder.path(), &["rehearse", "--plan", "one.seams.toml", "--out", "scan.ply", "--gap", "4.57"]);
    assert!(made.status.success(), "{}", talk(&made));
    let output = run(folder.path(), &["measure", "scan.ply", "--plan", "one.seams.toml", "--out", "out"]);
    (folder, output)
}

fn column(path: &Path, name: &str) -> Vec<String> {
    let mut table = csv::Reader::from_path(path).unwrap();
    let place = table.headers().unwrap().iter().position(|heading| heading == name).unwrap();
    table.records().map(|row| row.unwrap()[place].to_owned()).collect()
}

#[test]
fn a_gap_that_is_wide_in_bare_metal_is_good_when_painted() {
    let (folder, output) = measured("finish = { judge = 'finished', panels = 'bare' }");
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    let shown = String::from_utf8_lossy(&output.stdout);
    // Both edges get 0.8 x 0.1175 mm; both faces get the same, so the flush stays.
    assert!(shown.contains("judged as finished"), "{shown}");
    assert!(shown.contains("gap by -0.19, flush by 0.00 mm"), "{shown}");
    let table = folder.path().join("out/finished.csv");
    assert!(column(&table, "gap_scanned_verdict").iter().all(|word| word == "wide"));
    assert!(column(&table, "gap_finished_verdict").iter().all(|word| word == "good"));
    let pairs = column(&table, "gap_scanned_mm").into_iter().zip(column(&table, "gap_finished_mm"));
    for (scanned, finished) in pairs {
        let change_mm = finished.parse::<f64>().unwrap() - scanned.parse::<f64>().unwrap();
        assert!((change_mm + 0.188).abs() < 2e-5, "{change_mm}");
    }
    let record = std::fs::read_to_string(folder.path().join("out/record.json")).unwrap();
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    assert_eq!(record["finish"]["judged"], "finished");
    let station = &record["seams"][0]["stations"][0];
    assert_eq!(station["gap"]["verdict"], "wide");
    assert_eq!(station["finished"]["gap"]["verdict"], "good");
    // The film's doubt is among the components: 0.2 of 0.188 mm.
    let components = station["finished"]["gap"]["value"]["components"].as_array().unwrap();
    let film = components.iter().find(|part| part["source"] == "finish").unwrap();
    assert!((film["u_mm"].as_f64().unwrap() - 0.0376).abs() < 1e-9);
}

#[test]
fn the_scanned_state_is_judged_unless_the_plan_says_otherwise() {
    let (folder, output) = measured("finish = { panels = 'bare' }");
    assert_eq!(output.status.code(), Some(1), "{}", talk(&output));
    assert!(String::from_utf8_lossy(&output.stdout).contains("judged as scanned"));
    let verdicts = column(&folder.path().join("out/readings.csv"), "gap_verdict");
    assert!(verdicts.iter().all(|word| word == "wide"));
}
