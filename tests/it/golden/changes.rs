//! Change strips of the hand-made seams and the comparison's files, as last accepted.

use super::accepted::check;
use super::made_seams::{judged, plan};
use shutline::judge::{JudgedReading, JudgedSeam, judge_reading};
use shutline::plan::Plan;
use shutline::render::{Language, change_strip_picture, changes_csv, comparison_json, comparison_page, png};
use shutline::summarise::{CompareSettings, Comparison, LineupChange, compare};
use shutline::units::LengthUnit;

/// The made seams, and the same with the hood raised by 0.4 mm and 0.6 mm to the right: hood is the other panel.
pub fn pair(plan: &Plan) -> [Vec<JudgedSeam>; 2] {
    let before = judged(plan);
    let raised = |seam: &JudgedSeam, gap_mm: f64| {
        let moved = |station: &JudgedReading| {
            let mut reading = station.reading.clone();
            if let (Ok(gap), Ok(flush)) = (&mut reading.gap, &mut reading.flush) {
                // Most at the front: the hood is turned a little as well.
                gap.value_mm += gap_mm * (1.0 - station.reading.station.along_mm / 2400.0);
                flush.value_mm += 0.4;
            }
            judge_reading(reading, [station.gap_tolerance, station.flush_tolerance], &plan.decision)
        };
        JudgedSeam { stations: seam.stations.iter().map(moved).collect(), ..seam.clone() }
    };
    let after = before.iter().zip([0.6, -0.6, 0.0, 0.0]).map(|(seam, gap_mm)| raised(seam, gap_mm)).collect();
    [before, after]
}

fn compared(plan: &Plan, [before, after]: &[Vec<JudgedSeam>; 2]) -> Comparison {
    compare(plan, before, after, &CompareSettings::default()).unwrap()
}

#[test]
fn strips_stand_above_each_other_with_the_change_below() {
    let plan = plan(LengthUnit::Millimetre);
    let scans = pair(&plan);
    let found = compared(&plan, &scans);
    for (index, name) in [(0, "left"), (1, "right")] {
        let seams = [&scans[0][index], &scans[1][index]];
        let picture =
            change_strip_picture(&plan, seams, &found.seams[index], found.kind, Language::English).unwrap();
        check(&format!("change-hood-fender-{name}.png"), &png(&picture, 2.0).unwrap());
    }
}

#[test]
fn the_files_of_a_comparison_are_as_accepted() {
    let plan = plan(LengthUnit::Inch);
    let scans = pair(&plan);
    let found = compared(&plan, &scans);
    check("changes-inch.csv", changes_csv(&plan, &found).unwrap().as_bytes());
    let json = comparison_json(&plan, &found, &lineups(), ["before.ply", "after.ply"]).unwrap();
    // Stations are in the CSV; the head and the moves are what this file adds.
    let mut value: serde_json::Value = serde_json::from_str(&json).unwrap();
    for seam in value["seams"].as_array_mut().unwrap() {
        seam["gap"]["stations"] = serde_json::Value::Null;
        seam["flush"]["stations"] = serde_json::Value::Null;
    }
    let rounded = rounded(&value);
    check("comparison.json", serde_json::to_string_pretty(&rounded).unwrap().as_bytes());
    let names = [("before.ply", scans[0].as_slice()), ("after.ply", scans[1].as_slice())];
    let page = comparison_page(&plan, names, &found, &[], Language::English).unwrap();
    check("comparison.html", page.as_bytes());
    let page = comparison_page(&plan, names, &found, &lineups(), Language::German).unwrap();
    check("comparison-german.html", page.as_bytes());
}

/// A shift that really changed, and a step that may have.
fn lineups() -> Vec<LineupChange> {
    let change = |quantity, [first_mm, second_mm]: [f64; 2]| LineupChange {
        lineup: "body-line".to_owned(),
        quantity,
        bar: None,
        side: None,
        first_mm: Some(first_mm),
        second_mm: Some(second_mm),
        change_mm: Some((second_mm - first_mm, 0.05)),
    };
    vec![change("step", [0.1, 0.15]), change("shift", [-0.2, 0.6])]
}

/// Numbers to nine digits: the last ones of an eigenvector depend on the machine.
fn rounded(value: &serde_json::Value) -> serde_json::Value {
    match value {
        serde_json::Value::Array(items) => items.iter().map(rounded).collect(),
        serde_json::Value::Object(items) => items
            .iter()
            .map(|(key, item)| (key.clone(), rounded(item)))
            .collect::<serde_json::Map<_, _>>()
            .into(),
        serde_json::Value::Number(number) if number.is_f64() => {
            let number = number.as_f64().unwrap();
            let rounded: f64 = format!("{number:.8e}").parse().unwrap();
            if rounded.abs() < 1e-9 { 0.0.into() } else { rounded.into() }
        }
        other => other.clone(),
    }
}
