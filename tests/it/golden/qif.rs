//! The QIF document of the hand-made seams: well formed, counted right, references that lead somewhere, and in the structure of
//! the published schema (QIF 3.0, ISO 23952:2020: QIFDocument, QIFResults, Characteristics, IntermediatesPMI, Units), as far as
//! the document uses it. The schema files are in no package registry; what of them is used here was read in their text.

use std::collections::{BTreeMap, BTreeSet};

use super::lineups::made;
use super::made_seams::{judged, plan, tapering};
use super::pages::run;
use shutline::judge::JudgedLineup;
use shutline::render::{Results, results_qif};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

fn document(units: LengthUnit) -> String {
    document_with(units, &[])
}

fn document_with(units: LengthUnit, lineups: &[JudgedLineup]) -> String {
    let plan = if lineups.is_empty() { plan(units) } else { made(units).0 };
    let judged = judged(&plan);
    let summary = summarise_scan(&plan, &judged);
    let run = run();
    results_qif(&Results {
        plan: &plan,
        judged: &judged,
        summary: &summary,
        lineups,
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
    let expected = summary.counts().plus(&summary.taper_counts());
    assert!(summary.taper_counts().out() > 0);
    let found = |word: &str| counts.get(word).copied().unwrap_or(0);
    assert_eq!(
        [found("PASS"), found("FAIL"), found("INDETERMINATE"), found("NOT_ANALYZED")],
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
fn a_taper_alone_makes_the_document_fail() {
    let document = |limit_mm: f64| {
        let (plan, judged) = tapering(limit_mm);
        let (summary, run) = (summarise_scan(&plan, &judged), run());
        results_qif(&Results {
            plan: &plan,
            judged: &judged,
            summary: &summary,
            lineups: &[],
            alignment: None,
            run: &run,
        })
    };
    let (out, inside) = (document(0.2), document(0.9));
    assert!(out.contains("<InspectionStatusEnum>FAIL<"));
    assert!(inside.contains("<InspectionStatusEnum>PASS<"));
    assert_eq!(out.matches("<CharacteristicStatusEnum>FAIL<").count(), 1);
    assert!(out.contains("<Name>hood-fender-right taper</Name><Tolerance><MaxValue>0.200000</MaxValue>"));
    assert!(out.contains("<Description>215.000000 to 515.000000 along the seam</Description>"));
}

/// Children that an element may have, in the schema's order; those in square brackets may be left out.
const STRUCTURE: [(&str, &[&str]); 24] = [
    ("QIFDocument", &["QPId", "Header", "FileUnits", "Characteristics", "Results"]),
    ("Header", &["Description", "Scope"]),
    ("FileUnits", &["PrimaryUnits"]),
    ("PrimaryUnits", &["LinearUnit"]),
    ("LinearUnit", &["SIUnitName", "UnitName", "UnitConversion"]),
    ("UnitConversion", &["Factor"]),
    ("Characteristics", &["CharacteristicDefinitions", "CharacteristicNominals", "CharacteristicItems"]),
    ("CharacteristicDefinitions", &["UserDefinedLinearCharacteristicDefinition"]),
    ("CharacteristicNominals", &["UserDefinedLinearCharacteristicNominal"]),
    ("CharacteristicItems", &["UserDefinedLinearCharacteristicItem"]),
    (
        "UserDefinedLinearCharacteristicDefinition",
        &["Name", "[Tolerance]", "[NonTolerance]", "WhatToMeasure"],
    ),
    ("Tolerance", &["MaxValue", "MinValue", "DefinedAsLimit"]),
    ("UserDefinedLinearCharacteristicNominal", &["CharacteristicDefinitionId", "Name", "[TargetValue]"]),
    ("UserDefinedLinearCharacteristicItem", &["Description", "Name", "CharacteristicNominalId"]),
    ("Results", &["MeasurementResultsSet"]),
    ("MeasurementResultsSet", &["MeasurementResults"]),
    ("MeasurementResults", &["MeasuredCharacteristics", "InspectionStatus"]),
    ("MeasuredCharacteristics", &["CharacteristicMeasurements"]),
    ("CharacteristicMeasurements", &["UserDefinedLinearCharacteristicMeasurement"]),
    (
        "UserDefinedLinearCharacteristicMeasurement",
        &["[Description]", "Status", "CharacteristicItemId", "[Value]"],
    ),
    ("Status", &["CharacteristicStatusEnum"]),
    ("InspectionStatus", &["InspectionStatusEnum"]),
    ("Name", &[]),
    ("Value", &[]),
];

/// Words of enumerations: CharacteristicStatusEnumType, InspectionStatusEnumType, NonToleranceEnumType.
const ENUMERATIONS: [(&str, &[&str]); 3] = [
    (
        "CharacteristicStatusEnum",
        &["PASS", "FAIL", "REWORK", "SYSERROR", "INDETERMINATE", "NOT_ANALYZED", "BASIC_OR_TED", "UNDEFINED"],
    ),
    (
        "InspectionStatusEnum",
        &["PASS", "FAIL", "REWORK", "SYSERROR", "UNKNOWN", "NOT_CALCULATED", "NOT_MEASURED", "UNDEFINED"],
    ),
    ("NonTolerance", &["MEASURED", "SET"]),
];

/// The children of each element that has any, as (parent, names).
fn families(xml: &str) -> Vec<(String, Vec<String>)> {
    let (mut open, mut done): (Vec<(String, Vec<String>)>, Vec<_>) = (Vec::new(), Vec::new());
    for piece in xml.split('<').skip(1).filter(|piece| !piece.starts_with('?')) {
        let tag = piece.split_once('>').unwrap().0;
        if tag.starts_with('/') {
            done.push(open.pop().unwrap());
        } else {
            let name = tag.split_once(' ').map_or(tag, |(name, _)| name).to_owned();
            if let Some(parent) = open.last_mut() {
                parent.1.push(name.clone());
            }
            open.push((name, Vec::new()));
        }
    }
    done
}

#[test]
fn elements_stand_in_the_order_of_the_published_schema_with_its_words() {
    let xml = document_with(LengthUnit::Millimetre, &made(LengthUnit::Millimetre).1);
    for (parent, children) in families(&xml) {
        let Some((_, allowed)) = STRUCTURE.iter().find(|(name, _)| *name == parent) else {
            assert!(children.is_empty(), "{parent} is not known and has {children:?}");
            continue;
        };
        let is_list = allowed.len() == 1 && children.len() > 1;
        if is_list {
            assert!(children.iter().all(|child| child == allowed[0]), "{parent}: {children:?}");
            continue;
        }
        let mut rest = children.iter().peekable();
        for name in *allowed {
            let plain = name.trim_matches(['[', ']']);
            let is_there = rest.next_if(|child| *child == plain).is_some();
            assert!(is_there || name.starts_with('['), "{parent} lacks {plain}: {children:?}");
        }
        assert!(rest.next().is_none(), "{parent}: {children:?}");
    }
    for (name, _, text) in elements(&xml) {
        if let Some((_, words)) = ENUMERATIONS.iter().find(|(word, _)| *word == name) {
            assert!(words.contains(&text.as_str()), "{name}: {text}");
        }
    }
}

#[test]
fn lineups_are_characteristics_too_with_and_without_tolerance() {
    let lineups = made(LengthUnit::Millimetre).1;
    let (without, with) = (document(LengthUnit::Millimetre), document_with(LengthUnit::Millimetre, &lineups));
    let count = |xml: &str| xml.matches("<UserDefinedLinearCharacteristicMeasurement ").count();
    // Step and shift of one crease and three bars; pitch and evenness of two rows, and the rows' difference.
    assert_eq!(count(&with) - count(&without), 4 * 2 + 2 * 2 + 1);
    assert!(with.contains("<Name>body-line shift</Name>"));
    assert_eq!(with.matches("<NonTolerance>MEASURED</NonTolerance>").count(), 1, "the rows' difference");
    assert!(with.contains("<Description>too-few-bars</Description>"));
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
