//! `measure` from a rehearsed scan to files, and what it says when it cannot.

use std::path::Path;

use super::program::{run, talk, write_plan};

const HEADER: &str = "seam,station,along_mm,x_mm,y_mm,z_mm,gap_mm,gap_u_mm,gap_verdict,flush_mm,flush_u_mm,\
                      flush_verdict,reason";

/// A folder with a plan and a rehearsed scan of this gap.
fn prepared(gap: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "");
    let made =
        run(folder.path(), &["rehearse", "--plan", "one.seams.toml", "--out", "scan.ply", "--gap", gap]);
    assert!(made.status.success(), "{}", talk(&made));
    folder
}

fn measure(folder: &Path, scan: &str) -> std::process::Output {
    run(folder, &["measure", scan, "--plan", "one.seams.toml", "--out", "out"])
}

/// The column of a CSV file as numbers.
fn column(path: &Path, name: &str) -> Vec<f64> {
    let mut table = csv::Reader::from_path(path).unwrap();
    let place = table.headers().unwrap().iter().position(|heading| heading == name).unwrap();
    table.records().map(|row| row.unwrap()[place].parse().unwrap()).collect()
}

#[test]
fn a_good_car_ends_with_0_and_all_the_files() {
    let folder = prepared("4.1");
    let output = measure(folder.path(), "scan.ply");
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    let out = folder.path().join("out");
    for file in ["readings.csv", "record.json", "report.html", "strips/hood-fender.png"] {
        assert!(out.join(file).is_file(), "{file} is missing");
    }
    assert_eq!(std::fs::read_dir(out.join("sections")).unwrap().count(), 3);
    let table = std::fs::read_to_string(out.join("readings.csv")).unwrap();
    assert_eq!(table.lines().next(), Some(HEADER));
    let (measured, truth) =
        (column(&out.join("readings.csv"), "gap_mm"), column(&folder.path().join("truth.csv"), "gap_mm"));
    assert_eq!(measured.len(), truth.len());
    for (measured, truth) in measured.iter().zip(&truth) {
        // Without noise; the budget for such scans is 0.004 mm rms.
        assert!((measured - truth).abs() < 0.01, "{measured} for {truth}");
    }
    let record: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(out.join("record.json")).unwrap()).unwrap();
    let inputs = record["inputs"].as_array().unwrap();
    for (role, name) in [("plan", "one.seams.toml"), ("curve", "seam.csv"), ("scan", "scan.ply")] {
        let input = inputs.iter().find(|input| input["role"] == role).unwrap();
        let hash = shutline::files::content_hash(&folder.path().join(name)).unwrap();
        assert!(input["name"] == name && input["sha256"] == hash.as_str(), "{input}");
    }
}

#[test]
fn a_wide_gap_ends_with_1_and_is_named() {
    let folder = prepared("5.2");
    let output = measure(folder.path(), "scan.ply");
    assert_eq!(output.status.code(), Some(1), "{}", talk(&output));
    assert!(String::from_utf8_lossy(&output.stdout).contains("gap wide"));
}

#[test]
fn what_is_read_is_not_written_over() {
    let folder = prepared("4.1");
    let home = folder.path();
    let rehearse = |out: &str| {
        vec!["rehearse", "--plan", "one.seams.toml", "--out"]
            .into_iter()
            .chain([out])
            .map(String::from)
            .collect()
    };
    let align = |out: &str| {
        vec!["align", "scan.ply", "--plan", "one.seams.toml", "--out"]
            .into_iter()
            .chain([out])
            .map(String::from)
            .collect()
    };
    let runs: [(Vec<String>, &str); 3] = [
        (rehearse("./one.seams.toml"), "one.seams.toml"),
        (align("scan.ply"), "scan.ply"),
        (align("one.seams.toml"), "one.seams.toml"),
    ];
    for (arguments, input) in runs {
        let before = std::fs::read(home.join(input)).unwrap();
        let output = run(home, &arguments.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", talk(&output));
        assert!(talk(&output).contains("would be lost"), "{arguments:?}: {}", talk(&output));
        assert!(std::fs::read(home.join(input)).unwrap() == before, "{arguments:?} wrote over {input}");
    }
}

#[test]
fn a_rehearsal_takes_lengths_that_a_car_may_have() {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "");
    for (option, value) in [
        ("--gap", "nan"),
        ("--gap", "1e9"),
        ("--flush", "inf"),
        ("--spacing", "0"),
        ("--noise", "two"),
        ("--points", "99999999999999"),
    ] {
        let output =
            run(folder.path(), &["rehearse", "--plan", "one.seams.toml", "--out", "a.ply", option, value]);
        assert_eq!(output.status.code(), Some(2), "{option} {value}: {}", talk(&output));
        assert!(talk(&output).contains(option) && !folder.path().join("a.ply").exists());
    }
}

#[test]
fn threads_are_a_number_that_a_machine_has() {
    let folder = prepared("4.1");
    let with_threads = |count: &str| {
        let arguments =
            ["measure", "scan.ply", "--plan", "one.seams.toml", "--out", "out", "--threads", count];
        run(folder.path(), &arguments)
    };
    for count in ["0", "99999", "two"] {
        let output = with_threads(count);
        assert_eq!(output.status.code(), Some(2), "{count}: {}", talk(&output));
        assert!(talk(&output).contains("--threads"), "{count}: {}", talk(&output));
        assert!(!folder.path().join("out").exists(), "{count}");
    }
    assert_eq!(with_threads("3").status.code(), Some(0));
}

#[test]
fn a_second_run_gives_the_same_tables_and_pictures() {
    let folder = prepared("4.1");
    let read = |name: &str| std::fs::read(folder.path().join("out").join(name)).unwrap();
    measure(folder.path(), "scan.ply");
    let first = (read("readings.csv"), read("strips/hood-fender.png"));
    measure(folder.path(), "scan.ply");
    assert!(first == (read("readings.csv"), read("strips/hood-fender.png")));
}

#[test]
fn what_cannot_be_done_ends_with_2_says_what_to_do_and_leaves_earlier_results() {
    let folder = prepared("4.1");
    let home = folder.path();
    measure(home, "scan.ply");
    let earlier = std::fs::read(home.join("out/readings.csv")).unwrap();

    let scan = std::fs::read(home.join("scan.ply")).unwrap();
    std::fs::write(home.join("cut.ply"), &scan[..scan.len() - 1000]).unwrap();
    std::fs::write(home.join("empty.ply"), "").unwrap();
    std::fs::write(home.join("words.ply"), "dear sir or madam, this is no scan at all\n").unwrap();
    std::fs::write(home.join("far.xyz"), "9000 0 0\n9001 0 0\n9002 1 0\n9003 0 1\n").unwrap();
    let cases = [
        ("none.ply", "check the name"),
        ("cut.ply", "cut off"),
        ("empty.ply", "empty"),
        ("words.ply", "export"),
        ("far.xyz", "unit"),
    ];
    for (name, hint) in cases {
        let output = measure(home, name);
        assert_eq!(output.status.code(), Some(2), "{name}: {}", talk(&output));
        assert!(talk(&output).contains(hint), "{name}: {}", talk(&output));
        assert_eq!(
            std::fs::read(home.join("out/readings.csv")).unwrap(),
            earlier,
            "{name} changed the results"
        );
    }
    let names: Vec<_> = std::fs::read_dir(home).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(!names.iter().any(|name| name.to_string_lossy().contains("unfinished")), "{names:?}");
}

#[test]
fn an_impossible_plan_is_shown_at_its_line() {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), "colour = 'red'");
    let output = run(folder.path(), &["check", "one.seams.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(talk(&output).contains("one.seams.toml:3:1") && talk(&output).contains('^'), "{}", talk(&output));
}

#[test]
fn a_file_in_the_place_of_the_folder_is_refused() {
    let folder = prepared("4.1");
    std::fs::write(folder.path().join("out"), "mine").unwrap();
    let output = measure(folder.path(), "scan.ply");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(std::fs::read(folder.path().join("out")).unwrap(), b"mine");
}

#[test]
fn help_names_every_command_and_gives_an_example() {
    let folder = tempfile::tempdir().unwrap();
    let output = run(folder.path(), &["--help"]);
    assert_eq!(output.status.code(), Some(0));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for command in [
        "measure", "advise", "compare", "batch", "merge", "repeat", "align", "trace", "find", "look",
        "rehearse", "check", "schema",
    ] {
        assert!(text.contains(command), "{command}");
        let help = run(folder.path(), &[command, "--help"]);
        assert!(String::from_utf8_lossy(&help.stdout).contains("Example"), "{command} has no example");
    }
}

#[test]
fn the_schema_is_printed_as_published() {
    let folder = tempfile::tempdir().unwrap();
    let output = run(folder.path(), &["schema"]);
    let published = include_str!("../../../src/render/record.schema.json");
    assert_eq!(String::from_utf8_lossy(&output.stdout), published);
}
