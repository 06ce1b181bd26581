//! `batch`, sharded and whole, and `merge`: the program as separate processes.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::{Duration, Instant};

use super::program::{run, start, talk, write_plan};

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
    #[cfg(feature = "parquet")]
    assert!(whole["readings.parquet"].starts_with(b"PAR1"));
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
fn a_batch_speaks_german_on_letter_paper_and_is_measured_again_for_another_reader() {
    let folder = prepared();
    let said = talk(&batch(folder.path(), "out", &["--language", "de", "--paper", "letter"]));
    assert_eq!(said.matches(": measured").count(), 3, "{said}");
    let read = |name: &str| std::fs::read(folder.path().join("out").join(name)).unwrap();
    let overview = String::from_utf8(read("overview.html")).unwrap();
    assert!(overview.contains("lang=\"de\"") && overview.contains("Fugen und Scans"));
    assert!(overview.contains("@font-face"), "the font is in the page");
    let page = String::from_utf8(read("scans/car_2026-03-01.ply/report.html")).unwrap();
    assert!(page.contains("lang=\"de\"") && page.contains("Bündigkeit"));
    let pdf = String::from_utf8_lossy(&read("scans/car_2026-03-01.ply/report.pdf")).into_owned();
    assert!(pdf.contains("/MediaBox [0 0 612 792]") && pdf.contains("/Lang (de)"));
    let again = talk(&batch(folder.path(), "out", &["--language", "de", "--paper", "letter"]));
    assert_eq!(again.matches("unchanged").count(), 3, "{again}");
    let english = talk(&batch(folder.path(), "out", &[]));
    assert_eq!(english.matches("unchanged").count(), 0, "{english}");
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

#[test]
fn results_among_the_scans_are_refused() {
    let folder = prepared();
    for out in ["scans", "."] {
        let output = batch(folder.path(), out, &[]);
        assert_eq!(output.status.code(), Some(2), "{out}: {}", talk(&output));
        assert!(talk(&output).contains("a folder of its own"), "{out}: {}", talk(&output));
    }
    // A folder of its own may lie inside: it is not searched.
    for _ in 0..2 {
        let said = talk(&batch(folder.path(), "scans/results", &[]));
        assert!(said.contains("4 scans, 1 could not be measured"), "{said}");
    }
}

#[test]
fn a_measuring_that_outgrows_the_memory_limit_is_ended_and_said() {
    let folder = prepared();
    // 12 MB hold the program and no scan of 150,000 points, whose seam alone is copied several times over.
    let tight = batch(folder.path(), "tight", &["--memory", "12"]);
    if cfg!(target_os = "linux") {
        assert_eq!(tight.status.code(), Some(2), "{}", talk(&tight));
        assert_eq!(talk(&tight).matches("took more than 12 MB").count(), 3, "{}", talk(&tight));
    }
    let roomy = batch(folder.path(), "roomy", &["--memory", "2048"]);
    assert_eq!(talk(&roomy).matches(": measured").count(), 3, "{}", talk(&roomy));
}

/// Waits until something holds, a minute at most.
fn wait_for(what: &str, holds: &dyn Fn() -> bool) {
    let since = Instant::now();
    while !holds() {
        assert!(since.elapsed() < Duration::from_secs(60), "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
#[cfg(unix)]
fn a_watched_folder_is_measured_as_it_fills_and_an_interrupt_ends_it_cleanly() {
    let folder = prepared();
    let home = folder.path();
    std::fs::create_dir(home.join("inbox")).unwrap();
    let whole = std::fs::read(home.join("scans/car_2026-03-01.ply")).unwrap();
    let growing = home.join("inbox/new.ply");
    std::fs::write(&growing, &whole[..whole.len() / 2]).unwrap();
    let child = start(home, &["batch", "inbox", "--plan", "one.seams.toml", "--out", "out", "--watch"]);
    // It grows at every look for a while: a scan cut short must not be measured.
    for share in 5..10 {
        std::thread::sleep(Duration::from_millis(700));
        assert!(!home.join("out/entries/new.ply.json").exists(), "measured while it grew");
        std::fs::write(&growing, &whole[..whole.len() * share / 10]).unwrap();
    }
    std::fs::write(&growing, &whole).unwrap();
    let overview = home.join("out/overview.csv");
    wait_for("the first overview", &|| overview.exists());
    let table = std::fs::read_to_string(&overview).unwrap();
    assert!(table.contains("hood-fender,gap,new.ply,"), "{table}");
    // A second scan arrives.
    std::fs::copy(home.join("scans/car_2026-03-02.ply"), home.join("inbox/second.ply")).unwrap();
    let has_second = || std::fs::read_to_string(&overview).is_ok_and(|table| table.contains("second.ply"));
    wait_for("the second scan", &has_second);
    let interrupt =
        std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(interrupt.success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    assert!(talk(&output).contains("2 scans, 0 could not be measured"), "{}", talk(&output));
    let left: Vec<String> =
        files_below(home).into_keys().filter(|name| name.contains("unfinished")).collect();
    assert!(left.is_empty(), "{left:?}");
}

/// Every gap is inside its tolerance, but it changes by 0.3 mm over 100 mm.
#[test]
fn a_taper_that_is_out_is_in_the_overview_and_in_the_exit_status() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    write_plan(home, "");
    let plan = std::fs::read_to_string(home.join("one.seams.toml")).unwrap();
    std::fs::create_dir(home.join("scans")).unwrap();
    std::fs::write(home.join("set.toml"), "[shape]\ngap_mm = { at_mm = [0, 200], value_mm = [3.7, 4.3] }\n")
        .unwrap();
    let rehearse = [
        "rehearse",
        "--plan",
        "one.seams.toml",
        "--settings",
        "set.toml",
        "--out",
        "scans/car.ply",
        "--truth",
        "truth.csv",
    ];
    let made = run(home, &rehearse);
    assert!(made.status.success(), "{}", talk(&made));
    for (limit, status, row, cell) in [
        ("0.5", 0, "hood-fender,taper,car.ply,1,1,0,0,0,0,0.3", "good · 0.30"),
        ("0.2", 1, "hood-fender,taper,car.ply,1,0,0,1,0,0,0.3", "out · 0.30"),
    ] {
        let with_taper = format!("{plan}gap_taper = {limit}\ntaper_length = 100\n");
        std::fs::write(home.join("one.seams.toml"), with_taper).unwrap();
        let out = batch(home, "out", &[]);
        assert_eq!(out.status.code(), Some(status), "{limit}: {}", talk(&out));
        let table = std::fs::read_to_string(home.join("out/overview.csv")).unwrap();
        // The change of 0.3 mm to some micrometres: the scan has no noise.
        assert!(table.contains(row) || table.contains(&row.replace("0.3", "0.29")), "{table}");
        assert!(std::fs::read_to_string(home.join("out/overview.html")).unwrap().contains(cell), "{limit}");
    }
}

#[test]
fn a_batch_in_inches_has_its_overview_in_inches_with_trends() {
    let folder = prepared();
    let home = folder.path();
    let curve: String =
        (0..=20).map(|index| format!("{},0,0,0,0,1\n", f64::from(index) * 10.0 / 25.4)).collect();
    std::fs::write(home.join("seam.csv"), curve).unwrap();
    let plan = std::fs::read_to_string(home.join("one.seams.toml")).unwrap();
    let inches = plan
        .replace("units = 'mm'\n\n[scan]", "units = 'inch'\n\n[scan]")
        .replace("accuracy = 0.02", "accuracy = 0.001")
        .replace("station_spacing = 10\nskip_ends = 10", "station_spacing = 0.4\nskip_ends = 0.4")
        .replace("nominal = 4, minus = 0.5, plus = 0.5", "nominal = 0.16, minus = 0.02, plus = 0.02")
        .replace("nominal = 0, minus = 0.5, plus = 0.5", "nominal = 0, minus = 0.02, plus = 0.02");
    assert!(inches.contains("units = 'inch'"), "{inches}");
    std::fs::write(home.join("one.seams.toml"), inches).unwrap();
    batch(home, "out", &["--pattern", "car*"]);
    let table = std::fs::read_to_string(home.join("out/overview.csv")).unwrap();
    assert!(
        table.starts_with("seam,quantity,scan,") && table.lines().next().unwrap().ends_with("most_in"),
        "{table}"
    );
    let mean: f64 = table.lines().nth(1).unwrap().split(',').nth(9).unwrap().parse().unwrap();
    // 3.9 mm rehearsed without noise.
    assert!((mean - 3.9 / 25.4).abs() < 0.01 / 25.4, "{table}");
    let page = std::fs::read_to_string(home.join("out/overview.html")).unwrap();
    assert!(
        page.contains("Drift, in a day") && page.contains("2026-03-01") && page.contains("<svg"),
        "no trend"
    );
}

#[test]
fn a_repeat_study_writes_its_tables_and_charts() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    write_plan(home, "");
    std::fs::create_dir(home.join("scans")).unwrap();
    for (car, gap) in [("a", "3.9"), ("b", "4.1"), ("c", "4.0")] {
        for repetition in 1..=2 {
            let out = format!("scans/{car}_{repetition}.ply");
            let seed = format!("{car}{repetition}").bytes().map(u64::from).sum::<u64>().to_string();
            let made = run(
                home,
                &[
                    "rehearse",
                    "--plan",
                    "one.seams.toml",
                    "--out",
                    &out,
                    "--truth",
                    "t.csv",
                    "--gap",
                    gap,
                    "--seed",
                    &seed,
                ],
            );
            assert!(made.status.success(), "{}", talk(&made));
        }
    }
    let output = run(home, &["repeat", "scans", "--plan", "one.seams.toml", "--out", "rep", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    let study: shutline::render::RepeatRecord = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((study.cars.len(), study.operator_count, study.repetition_count), (3, 1, 2));
    let gap = &study.seams[0].studies[0];
    let chart = gap.chart.as_ref().unwrap();
    for (level, truth) in chart.levels_mm.iter().zip([3.9, 4.1, 4.0]) {
        assert!((level - truth).abs() < 0.02, "{chart:?}");
    }
    assert!(gap.capability.is_some());
    let table = std::fs::read_to_string(home.join("rep/repeat.csv")).unwrap();
    assert!(table.starts_with("seam,quantity,method,stations,repeatability_mm,"), "{table}");
    assert!(table.lines().last().unwrap().starts_with("all,flush,range,"), "{table}");
    let page = std::fs::read_to_string(home.join("rep/repeat.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("Cpk"), "no chart");
    let schema = run(home, &["schema", "repeat"]);
    let schema: serde_json::Value = serde_json::from_slice(&schema.stdout).unwrap();
    assert_eq!(schema["title"], "shutline repeat study");
}
