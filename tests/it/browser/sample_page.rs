//! The report of the hand-made seams, with a made-up surface, in a folder of its own.

use crate::golden::made_seams::{judged, plan};
use nalgebra::Point3;
use shutline::render::{InputFile, ReportSettings, Results, RunFacts, report_html};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

pub struct SamplePage {
    _folder: tempfile::TempDir,
    pub address: String,
}

pub fn sample_page() -> SamplePage {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    std::fs::write(&path, sample_text()).unwrap();
    SamplePage { address: format!("file://{}", path.display()), _folder: folder }
}

pub fn sample_text() -> String {
    let plan = plan(LengthUnit::Millimetre);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let input = InputFile {
        role: "scan".to_owned(),
        name: "before <b>.ply".to_owned(),
        sha256: "00".repeat(32),
        byte_count: 1,
    };
    let run = RunFacts { program_version: "0.0.0".to_owned(), inputs: vec![input], ..RunFacts::default() };
    let results =
        Results { plan: &plan, judged: &judged, summary: &summary, lineups: &[], alignment: None, run: &run };
    let settings = ReportSettings { surface: surface(), ..ReportSettings::default() };
    report_html(&results, &settings).unwrap()
}

/// A low arch under the seams.
fn surface() -> Vec<Point3<f64>> {
    (0..100)
        .flat_map(|row| (0..100).map(move |column| (f64::from(row) * 12.0, f64::from(column) * 15.0 - 750.0)))
        .map(|(x_mm, y_mm)| Point3::new(x_mm, y_mm, 0.13 * x_mm - 10.0 - 6e-5 * y_mm * y_mm))
        .collect()
}
