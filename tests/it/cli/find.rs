//! `find` and `trace` on the sample scans: what they write, names that stay, and what they say of bad input.

use std::fmt::Write;
use std::path::Path;

use super::program::{run, talk};

fn sample(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans").join(name).display().to_string()
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn find_writes_a_plan_that_measures_and_keeps_names_in_later_scans() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let first = run(folder.path(), &["find", &sample("gannet-before.ply"), "--out", "found"]);
    assert_eq!(first.status.code(), Some(0), "{}", talk(&first));
    let listed = String::from_utf8_lossy(&first.stdout).into_owned();
    assert_eq!(listed.lines().count(), 7, "a heading and six seams: {listed}");
    assert_eq!(listed.matches("mirrors").count(), 4, "two pairs: {listed}");

    let picture = std::fs::read(at("found/overview.png")).unwrap();
    assert!(picture.starts_with(b"\x89PNG"));
    assert!(text(&at("found/curves/seam-1.csv")).starts_with("x,y,z,nx,ny,nz\n"));
    assert_eq!(text(&at("found/curves.dxf")).matches("\nPOLYLINE\n").count(), 6);
    assert_eq!(text(&at("found/curves.obj")).lines().filter(|line| line.starts_with("o ")).count(), 6);
    assert!(text(&at("found/junctions.csv")).starts_with("x_mm,y_mm,z_mm,known_to_mm,seams"));
    assert!(text(&at("found/panels.csv")).starts_with("panel,x_mm"));

    let named = run(
        folder.path(),
        &[
            "find",
            &sample("gannet-before.ply"),
            "--out",
            "found",
            "--name",
            "1=hood-rear",
            "--name",
            "2=hood-front",
        ],
    );
    assert_eq!(named.status.code(), Some(0), "{}", talk(&named));
    let later = run(folder.path(), &["find", &sample("gannet-after.ply"), "--out", "found"]);
    let plan = text(&at("found/found.seams.toml"));
    for name in ["hood-rear", "hood-front"] {
        assert!(plan.contains(&format!("id = \"{name}\"")), "{}\n{plan}", talk(&later));
        assert!(at(&format!("found/curves/{name}.csv")).is_file());
    }
    assert!(!at("found/curves/seam-1.csv").exists(), "curves of an earlier run do not linger");

    let arguments =
        ["measure", &sample("gannet-after.ply"), "--plan", "found/found.seams.toml", "--out", "measured"];
    let measured = run(folder.path(), &arguments);
    assert!(matches!(measured.status.code(), Some(0 | 1)), "{}", talk(&measured));
    let readings = text(&at("measured/readings.csv"));
    let seen = readings.lines().skip(1).filter(|line| line.ends_with(',')).count();
    let all = readings.lines().count() - 1;
    assert!(all > 350 && seen as f64 > 0.97 * all as f64, "{seen} of {all} stations measured");
}

#[test]
fn names_that_cannot_be_given_are_refused_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let refused = |name: &str| {
        let output =
            run(folder.path(), &["find", &sample("gannet-before.ply"), "--out", "found", "--name", name]);
        assert_eq!(output.status.code(), Some(2));
        assert!(!folder.path().join("found").exists());
        talk(&output)
    };
    assert!(refused("9=hood").contains("only seams 1 to 6 were found"));
    assert!(refused("1=Hood!").contains("lower-case letters"));
    assert!(refused("hood").contains("3=hood-fender-left"));
}

/// A sheet of points with nothing in it.
fn write_sheet(path: &Path, step_mm: f64, unit_mm: f64) {
    let count = (200.0 / step_mm) as i32;
    let mut lines = String::new();
    for place in 0..count * count {
        let [x, y] = [place % count, place / count].map(|step| f64::from(step) * step_mm);
        let z = -x * x / 3000.0;
        writeln!(lines, "{:.6} {:.6} {:.6}", x / unit_mm, y / unit_mm, z / unit_mm).unwrap();
    }
    std::fs::write(path, lines).unwrap();
}

#[test]
fn a_scan_without_seams_is_said_to_have_none() {
    let folder = tempfile::tempdir().unwrap();
    write_sheet(&folder.path().join("sheet.xyz"), 0.6, 1.0);
    let output = run(folder.path(), &["find", "sheet.xyz", "--out", "found"]);
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    assert!(talk(&output).contains("no seams"), "{}", talk(&output));
    assert!(!folder.path().join("found/found.seams.toml").exists());
}

#[test]
fn sparse_scans_and_wrong_units_are_told_what_is_needed() {
    let folder = tempfile::tempdir().unwrap();
    write_sheet(&folder.path().join("sparse.xyz"), 2.0, 1.0);
    write_sheet(&folder.path().join("metres.xyz"), 0.6, 1000.0);
    let refused = |arguments: &[&str]| {
        let output = run(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(2), "{}", talk(&output));
        assert!(!folder.path().join("found").exists());
        talk(&output)
    };
    let sparse = refused(&["find", "sparse.xyz", "--out", "found"]);
    let said = sparse.split("points lie ").nth(1).and_then(|rest| rest.split(' ').next());
    let spacing_mm: f64 = said.unwrap().parse().unwrap();
    // Counted in balls that hold few points, some of them at the sheet's border: good to a fifth.
    assert!((1.6..2.4).contains(&spacing_mm) && sparse.contains("0.68 mm or closer"), "{sparse}");
    let unit = refused(&["find", "metres.xyz", "--out", "found"]);
    assert!(unit.contains("metres or inches read as millimetres"), "{unit}");
    assert!(refused(&["find", "nowhere.ply", "--out", "found"]).contains("nowhere.ply"));
}

#[test]
fn trace_adds_a_seam_to_a_plan_and_leaves_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let scan = sample("gannet-before.ply");
    let trace = |id: &str, from: &str, to: &str| {
        let (from, to) = (format!("--from={from}"), format!("--to={to}"));
        run(
            folder.path(),
            &[
                "trace",
                &scan,
                &from,
                &to,
                "--id",
                id,
                "--left-panel",
                "hood",
                "--right-panel",
                "fender-left",
                "--plan",
                "traced.seams.toml",
            ],
        )
    };
    let first = trace("hood-fender-left", "266,-491,68", "933,-507,120");
    assert_eq!(first.status.code(), Some(0), "{}", talk(&first));
    assert!(talk(&first).contains("traced 6"), "{}", talk(&first));
    let path = folder.path().join("traced.seams.toml");
    std::fs::write(&path, format!("# A person's note.\n{}", text(&path))).unwrap();

    let second = trace("hood-nose", "204.6,-303.5,89", "204.6,303.5,89");
    assert_eq!(second.status.code(), Some(0), "{}", talk(&second));
    let plan = text(&path);
    assert!(plan.starts_with("# A person's note.\n") && plan.matches("[[seam]]").count() == 2, "{plan}");
    assert_eq!(plan.matches("[panels.hood]").count(), 1, "panels are not made twice");
    for ending in ["csv", "dxf", "obj"] {
        assert!(folder.path().join(format!("curves/hood-nose.{ending}")).is_file());
    }
    let again = trace("hood-nose", "204.6,-303.5,89", "204.6,303.5,89");
    assert_eq!(again.status.code(), Some(2));
    assert!(talk(&again).contains("already"), "{}", talk(&again));
    let astray = trace("astray", "600,0,100", "700,0,100");
    assert_eq!(astray.status.code(), Some(2));
    assert!(talk(&astray).contains("pick a point nearer to the gap"), "{}", talk(&astray));
    assert_eq!(text(&path), plan, "a failed trace changes nothing");
}
