//! `report.pdf` of the hand-made seams: its sheets and its text, whatever the packing.

use std::io::Read;

use super::made_seams::{judged, plan, tapering};
use super::pages::run;
use shutline::render::{Block, ExtraSection, Language, Paper, ReportSettings, Results, report_pdf};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

fn pdf(paper: Paper, settings: &ReportSettings) -> Vec<u8> {
    let plan = plan(LengthUnit::Millimetre);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    let results =
        Results { plan: &plan, judged: &judged, summary: &summary, lineups: &[], alignment: None, run: &run };
    report_pdf(&results, settings, paper).unwrap()
}

/// The unpacked streams, and what stands between them.
fn parts(pdf: &[u8]) -> (Vec<Vec<u8>>, String) {
    let find = |from: usize, word: &[u8]| {
        pdf[from..].windows(word.len()).position(|window| window == word).map(|at| from + at)
    };
    let (mut streams, mut outside, mut at) = (Vec::new(), String::new(), 0);
    while let Some(start) = find(at, b"stream\n") {
        outside.push_str(&String::from_utf8_lossy(&pdf[at..start]));
        let start = start + 7;
        let end = find(start, b"\nendstream").unwrap();
        let mut bytes = Vec::new();
        match flate2::read::ZlibDecoder::new(&pdf[start..end]).read_to_end(&mut bytes) {
            Ok(_) => streams.push(bytes),
            Err(_) => streams.push(pdf[start..end].to_vec()),
        }
        at = end + 10;
    }
    outside.push_str(&String::from_utf8_lossy(&pdf[at..]));
    (streams, outside)
}

#[test]
fn sheets_have_the_size_of_the_paper_and_every_page_its_number() {
    for (paper, size) in [(Paper::A4, "595.276 841.89"), (Paper::Letter, "612 792")] {
        let pdf = pdf(paper, &ReportSettings::default());
        assert!(pdf.starts_with(b"%PDF-1.7"));
        let (_, outside) = parts(&pdf);
        let sheets = outside.matches("/Type /Page\n").count();
        assert!(sheets >= 5, "{sheets} sheets");
        assert_eq!(outside.matches(&format!("/MediaBox [0 0 {size}]")).count(), sheets, "{paper:?}");
        assert!(outside.contains(&format!("/Count {sheets}")));
        assert!(outside.contains("/Lang (en)"));
    }
}

/// ISO 32000-1, 14.7.2 and 14.8: a structure tree whose marks are those of the sheets, pictures with words, a language.
#[test]
fn the_paper_is_tagged_for_people_who_read_by_ear() {
    let (streams, outside) = parts(&pdf(Paper::A4, &ReportSettings::default()));
    assert!(outside.contains("/MarkInfo") && outside.contains("/Marked true"));
    assert!(outside.contains("/StructTreeRoot") && outside.contains("/ParentTree"));
    for role in
        ["/S /Document", "/S /H1", "/S /H2", "/S /P", "/S /Figure", "/S /Table", "/S /TR", "/S /TH", "/S /TD"]
    {
        assert!(outside.contains(role), "{role}");
    }
    let elements = outside.split("/StructElem").skip(1);
    let figures: Vec<&str> = elements.filter(|one| one.contains("/S /Figure")).collect();
    assert!(figures.len() > 5 && figures.iter().all(|one| one.contains("/Alt")), "{}", figures.len());
    // Every mark of the sheets is in the tree, and the tree has no others.
    let drawn: usize =
        streams.iter().map(|bytes| String::from_utf8_lossy(bytes).matches("/MCID ").count()).sum();
    assert_eq!(outside.matches("/MCID ").count(), drawn);
    assert!(drawn > 1000, "{drawn}");
    for bytes in streams.iter().filter(|bytes| bytes.windows(3).any(|window| window == b"BDC")) {
        let text = String::from_utf8_lossy(bytes);
        let [begun, ended] =
            [text.matches(" BDC").count() + text.matches(" BMC").count(), text.matches("EMC").count()];
        assert_eq!(begun, ended);
    }
}

#[test]
fn a_taper_that_is_out_is_on_paper_too() {
    let words = |limit_mm: f64| {
        let (plan, judged) = tapering(limit_mm);
        let summary = summarise_scan(&plan, &judged);
        let run = run();
        let results = Results {
            plan: &plan,
            judged: &judged,
            summary: &summary,
            lineups: &[],
            alignment: None,
            run: &run,
        };
        parts(&report_pdf(&results, &ReportSettings::default(), Paper::A4).unwrap()).1
    };
    let (out, inside) = (words(0.2), words(0.9));
    assert!(out.contains(", 1 out (1 of them a taper), "), "the figures in words");
    assert!(inside.contains(" good (1 of them a taper), 0 out, "));
    // "Every station is good." gives way to a sentence about the taper.
    let sentences = |text: &str| text.matches("/S /P\n").count();
    assert_eq!(sentences(&out), sentences(&inside));
}

#[test]
fn lineups_are_on_paper_too() {
    let (plan, lineups) = super::lineups::made(LengthUnit::Millimetre);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    let results = |lineups| Results {
        plan: &plan,
        judged: &judged,
        summary: &summary,
        lineups,
        alignment: None,
        run: &run,
    };
    let figures = |lineups| {
        let pdf = report_pdf(&results(lineups), &ReportSettings::default(), Paper::A4).unwrap();
        parts(&pdf).1.matches("/S /Figure").count()
    };
    assert_eq!(figures(&lineups) - figures(&[]), lineups.len());
}

#[test]
fn the_same_input_gives_the_same_bytes_and_text_can_be_copied() {
    let settings = ReportSettings { language: Language::German, ..ReportSettings::default() };
    let one = pdf(Paper::A4, &settings);
    assert_eq!(one, pdf(Paper::A4, &settings));
    let (streams, outside) = parts(&one);
    assert!(outside.contains("/ToUnicode") && outside.contains("/Identity-H"));
    let maps: Vec<String> = streams
        .iter()
        .map(|bytes| String::from_utf8_lossy(bytes).into_owned())
        .filter(|text| text.contains("beginbfchar"))
        .collect();
    assert_eq!(maps.len(), 2, "one map back to Unicode for each weight");
    // ü of "Bündigkeit" is U+00FC.
    assert!(maps.iter().all(|map| map.contains("<00FC>")), "{}", maps[0]);
}

#[test]
fn sections_of_other_stages_are_set_too_however_long() {
    let rows = (0..300).map(|row| vec![format!("row {row}"), format!("{row}.5")]).collect();
    let blocks = vec![
        Block::Words("word ".repeat(900)),
        Block::Table { head: vec!["what".to_owned(), "mm".to_owned()], rows },
        Block::Caution("Support the panel first.".to_owned()),
    ];
    let extra = ExtraSection { id: "more".to_owned(), title: "More".to_owned(), blocks };
    let with = ReportSettings { extras: vec![extra], ..ReportSettings::default() };
    let sheets =
        |settings: &ReportSettings| parts(&pdf(Paper::A4, settings)).1.matches("/Type /Page\n").count();
    let added = sheets(&with) - sheets(&ReportSettings::default());
    assert!(
        (5..=9).contains(&added),
        "300 rows of 11.6 points and 900 words are six or seven sheets: {added}"
    );
}
