//! The QIF document of the hand-made seams: well formed, counted right, references that lead somewhere.

use std::collections::{BTreeMap, BTreeSet};

use super::made_seams::{judged, plan};
use super::pages::run;
use shutline::render::{Results, results_qif};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

fn document(units: LengthUnit) -> String {
    let plan = plan(units);
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    results_qif(&Results {
        plan: &plan,
        judged: &judged,
        summary: &summary,
        lineups: &[],
        alignment: None,
        run: &run,
    })
}

/// Every tag is closed in turn; gives the elements as (name, attributes, text before the next tag).
fn elements(xml: &str) -> Vec<(String, String, String)> {
    let mut open = Vec::new();
    let mut found = Vec::new();
    for piece in xml.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap();
        assert!(!text.contains(['>', '"']), "{text}");
        if tag.starts_with('?') {
            continue;
        }
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name.to_owned()));
        } else {
            let (name, attributes) = tag.split_once(' ').unwrap_or((tag, ""));
            open.push(name.to_owned());
            found.push((name.to_owned(), attributes.to_owned(), text.to_owned()));
        }
    }
    assert!(open.is_empty(), "{open:?}");
    found
}

fn attribute<'a>(attributes: &'a str, name: &str) -> Option<&'a str> {
    let start = attributes.find(&format!("{name}=\""))? + name.len() + 2;
    attributes[start..].split('"').next()
}

#[test]
fn the_document_is_well_formed_with_unique_identifiers_and_references_that_lead_somewhere() {
    let xml = document(LengthUnit::Millimetre);
    let elements = elements(&xml);
    let ids: Vec<&str> = elements
        .iter()
        .filter(|one| one.0 != "QIFDocument")
        .filter_map(|one| attribute(&one.1, "id"))
        .collect();
    let unique: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), unique.len());
    let largest = ids.iter().map(|id| id.parse::<u32>().unwrap()).max().unwrap();
    assert_eq!(attribute(&elements[0].1, "idMax"), Some(largest.to_string().as_str()));
    for (name, _, text) in &elements {
        if name.ends_with("Id") && name.starts_with("Characteristic") {
            assert!(unique.contains(text.as_str()), "{name} {text}");
        }
    }
    for list in ["Definitions", "Nominals", "Items", "Measurements"] {
        let stated = elements.iter().find(|one| one.0 == format!("Characteristic{list}")).unwrap();
        let kind = format!("UserDefinedLinearCharacteristic{}", &list[..list.len() - 1]);
        let count = elements.iter().filter(|one| one.0 == kind).count();
        assert_eq!(attribute(&stated.1, "n"), Some(count.to_string().as_str()), "{list}");
    }
}

#[test]
fn every_reading_is_there_with_value_uncertainty_and_status() {
    let plan = plan(LengthUnit::Inch);
    let judged = judged(&plan);
    let xml = document(LengthUnit::Inch);
    assert!(xml.contains("<UnitName>inch</UnitName><UnitConversion><Factor>0.0254</Factor>"));
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for (name, _, text) in elements(&xml) {
        if name == "CharacteristicStatusEnum" {
            *counts.entry(text).or_default() += 1;
        }
    }
    let summary = summarise_scan(&plan, &judged);
    let expected = summary.counts();
    let found = |word: &str| counts.get(word).copied().unwrap_or(0);
    assert_eq!(
        [found("PASS"), found("FAIL"), found("UNKNOWN"), found("NOT_MEASURED")],
        [expected.good, expected.out(), expected.undecided, expected.unseen]
    );
    let seen = judged[0].stations[40].reading.gap.as_ref().unwrap();
    let value = format!(
        "<Value combinedUncertainty=\"{:.6}\" meanError=\"0\">{:.6}</Value>",
        seen.u_mm / 25.4,
        seen.value_mm / 25.4
    );
    assert!(xml.contains(&value), "{value}");
}

#[test]
fn the_document_has_the_same_name_only_for_the_same_content() {
    let name = |xml: &str| xml.split("<QPId>").nth(1).unwrap()[..36].to_owned();
    let [one, again, other] =
        [LengthUnit::Millimetre, LengthUnit::Millimetre, LengthUnit::Inch].map(|unit| name(&document(unit)));
    assert_eq!(one, again);
    assert_ne!(one, other);
    assert_eq!(&one[14..15], "8", "RFC 9562, version 8: {one}");
}
