//! The record, its schema and the report of the hand-made seams.

use super::accepted::check;
use super::made_seams::{judged, plan, tapering};
use shutline::measure::Smoothing;
use shutline::render::{
    InputFile, Language, Record, ReportSettings, Results, RunFacts, Setting, record_json, record_schema,
    report_html,
};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

pub fn run() -> RunFacts {
    RunFacts {
        program_version: "0.0.0".to_owned(),
        measured_at: Some("2026-01-02T03:04:05Z".to_owned()),
        scan_format: "PLY, binary little endian".to_owned(),
        scan_point_count: Some(1_234_567),
        skipped_point_count: 3,
        smoothing: Some(Smoothing {
            variance_mm2: 0.0625,
            u_mm2: 0.005,
            degrees_of_freedom: 17.0,
            is_stated: false,
        }),
        inputs: vec![InputFile {
            role: "scan".to_owned(),
            name: "before <script>alert(1)</script>.ply".to_owned(),
            sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad".to_owned(),
            byte_count: 987_654,
        }],
        settings: vec![Setting { name: "threads".to_owned(), value: "2".to_owned() }],
        warnings: Vec::new(),
    }
}

fn report(units: LengthUnit, language: Language) -> String {
    let plan = plan(units);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    let results =
        Results { plan: &plan, judged: &judged, summary: &summary, lineups: &[], alignment: None, run: &run };
    let settings = ReportSettings { language, ..ReportSettings::default() };
    report_html(&results, &settings).unwrap()
}

#[test]
fn the_published_schema_is_that_of_the_record() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/render/record.schema.json");
    let schema = record_schema().unwrap();
    if std::env::var_os("ACCEPT").is_some() && std::fs::read_to_string(&path).unwrap_or_default() != schema {
        std::fs::write(&path, &schema).unwrap();
        panic!("the schema is written as it is now; run again without ACCEPT");
    }
    assert_eq!(std::fs::read_to_string(&path).unwrap_or_default(), schema, "accept with ACCEPT=1");
}

#[test]
fn a_record_reads_back_as_it_was_written_and_holds_every_station() {
    let plan = plan(LengthUnit::Millimetre);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    let results =
        Results { plan: &plan, judged: &judged, summary: &summary, lineups: &[], alignment: None, run: &run };
    let text = record_json(&results).unwrap();
    let record: Record = serde_json::from_str(&text).unwrap();
    assert_eq!(serde_json::to_string_pretty(&record).unwrap() + "\n", text);
    for (seam, judged) in record.seams.iter().zip(&judged) {
        assert_eq!(seam.stations.len(), judged.stations.len());
        for (written, station) in seam.stations.iter().zip(&judged.stations) {
            assert_eq!(
                written.gap.value.as_ref().map(|value| value.u_mm),
                station.reading.gap.as_ref().ok().map(|gap| gap.u_mm)
            );
            assert_eq!(written.gap.value.is_none(), written.gap.reason.is_some());
        }
    }
}

#[test]
fn the_report_is_as_accepted_in_english_and_german() {
    check("report.html", report(LengthUnit::Millimetre, Language::English).as_bytes());
    check("report-german-inch.html", report(LengthUnit::Inch, Language::German).as_bytes());
}

#[test]
fn a_taper_that_is_out_is_told_where_every_reading_is_good() {
    let page = |limit_mm: f64, language: Language| {
        let (plan, judged) = tapering(limit_mm);
        let summary = summarise_scan(&plan, &judged);
        assert_eq!(summary.counts().good, summary.counts().total());
        let run = run();
        let results = Results {
            plan: &plan,
            judged: &judged,
            summary: &summary,
            lineups: &[],
            alignment: None,
            run: &run,
        };
        report_html(&results, &ReportSettings { language, ..ReportSettings::default() }).unwrap()
    };
    let [english, german] = [Language::English, Language::German].map(|language| page(0.2, language));
    for words in [
        "<li class=\"out\"><b>1</b>out<small>1 of them a taper</small>",
        "<b>taper out</b>",
        "<b>the gap changes by 0.43 ±0.04 mm</b>. Allowed: 0.20 mm; 0.23 mm beyond the limit.",
        "<b>taper out: the gap changes by 0.43 ±0.04 mm between 215 mm and 515 mm along (0.20 mm allowed)</b>",
    ] {
        assert!(english.contains(words), "{words}");
    }
    for words in [
        "<b>1</b>außerhalb<small>davon 1 Spaltverlauf</small>",
        "der Spalt ändert sich um 0.43 ±0.04 mm zwischen 215 mm und 515 mm entlang (0.20 mm erlaubt)",
    ] {
        assert!(german.contains(words), "{words}");
    }
    for nothing in ["Nothing is proved out of tolerance", "Every station is good", "Nichts ist nachweislich"]
    {
        assert!(!english.contains(nothing) && !german.contains(nothing), "{nothing}");
    }
    let inside = page(0.9, Language::English);
    assert!(inside.contains("<b>0</b>out</li>") && inside.contains("Every station is good"));
    assert!(inside.contains("<p class=\"note\">taper good: the gap changes by 0.43 ±0.04 mm between"));
}

#[test]
fn warnings_of_readings_are_told_for_each_seam_and_station() {
    let english = report(LengthUnit::Millimetre, Language::English);
    let line = "<p class=\"note\">3 of 59 stations: the surface beside an edge is used for less than 15 mm; \
                3 of 59 stations: a part of the surface is not seen</p>";
    assert!(english.contains(line));
    assert!(english.contains("1 of 59 stations: a flange reaches past its edge, or may do so</p>"));
    // Where the made seams have a hole.
    assert!(
        english.contains("<p class=\"note\">gap, flush unseen · 4 of 59 stations: the edge is not seen</p>")
    );
    // The second seam's stations 56 to 58 carry the third and the fourth warning.
    assert!(english.contains("\"warned\":{\"56\":[2,3],\"57\":[2,3],\"58\":[2,3]}"));
    let german = report(LengthUnit::Inch, Language::German);
    assert!(
        german.contains("3 von 59 Stellen: die Fläche neben einer Kante ist auf weniger als 0.6 in genutzt")
    );
}

#[test]
fn the_report_needs_no_network_and_escapes_what_files_say() {
    let page = report(LengthUnit::Millimetre, Language::English);
    assert!(page.contains("&lt;script&gt;alert(1)"), "a file's name is escaped");
    assert!(!page.contains("<script>alert"));
    let without_namespace = page.replace("http://www.w3.org/2000/svg", "");
    for word in ["http://", "https://", "@import", "<link", "src=\"/"] {
        assert!(!without_namespace.contains(word), "{word}");
    }
    assert!(page.len() < 5_000_000, "{} bytes", page.len());
}

/// A front end with 2,000 stations and the thinned scan: the page stays under 5 MB.
#[test]
fn a_page_of_two_thousand_stations_stays_small() {
    let mut plan = plan(LengthUnit::Millimetre);
    let spacing_mm = plan.seams.iter().map(|seam| seam.curve.length_mm()).sum::<f64>() / 2050.0;
    for seam in &mut plan.seams {
        seam.station_spacing_mm = spacing_mm;
    }
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let count: usize = summary.seams.iter().map(|seam| seam.station_count).sum();
    assert!((1900..2200).contains(&count), "{count}");
    let run = run();
    let results =
        Results { plan: &plan, judged: &judged, summary: &summary, lineups: &[], alignment: None, run: &run };
    let surface = (0..60_000)
        .map(f64::from)
        .map(|index| {
            nalgebra::Point3::new(
                (index * 0.731) % 1200.0,
                (index * 1.373) % 1500.0,
                (index * 0.01).sin() * 90.0,
            )
        })
        .collect();
    let settings = ReportSettings { surface, ..ReportSettings::default() };
    let page = report_html(&results, &settings).unwrap();
    assert!(page.len() < 5_000_000, "{} bytes for {count} stations", page.len());
}
