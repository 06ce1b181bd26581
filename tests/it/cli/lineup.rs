//! `measure` with a plan that names a crease across its seam, on a rehearsed scan of one.

use super::program::{run, talk, write_plan};

#[test]
fn a_crease_that_stands_proud_across_a_seam_is_named_and_its_values_are_the_rehearsed_ones() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    write_plan(home, "");
    let plan = home.join("one.seams.toml");
    let mut text = std::fs::read_to_string(&plan).unwrap();
    text.push_str(
        "[[lineup]]\nid = 'body-line'\nseam = 'hood-fender'\nat = 102\nkind = 'crease'\n\
         step = { nominal = 0, minus = 0.2, plus = 0.2 }\nshift = { nominal = 0, minus = 1, plus = 1 }\n",
    );
    std::fs::write(&plan, text).unwrap();
    std::fs::write(
        home.join("made.toml"),
        "[[shape.features]]\nat_mm = 100.0\nshift_mm = 0.5\nshape = { crease = { turn_deg = 20.0, rounded_mm = 2.0 } }\n",
    )
    .unwrap();
    let made = run(
        home,
        &[
            "rehearse",
            "--plan",
            "one.seams.toml",
            "--out",
            "scan.ply",
            "--settings",
            "made.toml",
            "--flush",
            "0.3",
        ],
    );
    assert!(made.status.success(), "{}", talk(&made));
    let truth = std::fs::read_to_string(home.join("truth-lineups.csv")).unwrap();
    assert!(truth.contains("hood-fender,0,0,100.00000,0.30000,0.50000"), "{truth}");

    let output = run(home, &["measure", "scan.ply", "--plan", "one.seams.toml", "--out", "out"]);
    assert_eq!(output.status.code(), Some(1), "{}", talk(&output));
    let shown = String::from_utf8_lossy(&output.stdout);
    assert!(shown.contains("lineup body-line") && shown.contains("high"), "{shown}");
    let table = std::fs::read_to_string(home.join("out/lineups.csv")).unwrap();
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("lineup,seam,quantity,bar,panel,at_mm,value_mm,u_mm,verdict,reason"));
    let values: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    for (row, quantity, truth_mm, verdict) in [(0, "step", 0.3, "high"), (1, "shift", 0.5, "good")] {
        assert_eq!((values[row][2], values[row][8]), (quantity, verdict), "{table}");
        // Without noise; the budget for such scans is 0.015 mm rms.
        assert!((values[row][6].parse::<f64>().unwrap() - truth_mm).abs() < 0.03, "{table}");
    }
    assert!(home.join("out/lineups/body-line.png").is_file());
    let record = std::fs::read_to_string(home.join("out/record.json")).unwrap();
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    assert_eq!(record["lineups"][0]["values"][0]["verdict"], "high");
}
