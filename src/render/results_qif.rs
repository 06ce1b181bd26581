//! `results.qif`: readings, tolerances and verdicts as a results document of QIF 3.0 (ISO 23952:2020), for programs that read
//! that standard.
//!
//! In: [`Results`]. Out: XML. Units: the plan's, named in `FileUnits` with their factor to metres.
//! For each seam, measurand and tolerance one definition and one nominal of a user-defined linear characteristic; for each
//! station one item, which says where it lies, and one measurement with its combined standard uncertainty.
//! good is `PASS`, out is `FAIL`, undecided `UNKNOWN`, unseen `NOT_MEASURED` (then without a value).
//! The document's UUID is made from its content (RFC 9562, version 8), so the same input gives the same bytes.
//!
//! Order and names of elements were compared by hand with the published schema text of QIF 3.0 (QIFDocument, QIFResults,
//! Characteristics, Units). What stands inside `Tolerance` and the words of both status enumerations are from memory, and no
//! validator was run over the document.

use std::fmt::Write;

use sha2::{Digest, Sha256};

use super::run_facts::Results;
use super::svg::escape;
use crate::judge::{JudgedReading, JudgedSeam, Measurand, Verdict};
use crate::plan::{Plan, Seam, Tolerance};
use crate::units::LengthUnit;

/// The document.
#[must_use]
pub fn results_qif(results: &Results<'_>) -> String {
    let mut lists = Lists::new(results.plan);
    for judged in results.judged {
        if let Some(seam) = results.plan.seam(&judged.seam) {
            lists.add_seam(seam, judged);
        }
    }
    let body = body(results, &lists);
    let unique = uuid(&body);
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<QIFDocument xmlns=\"http://qifstandards.org/xsd/qif3\" \
         versionQIF=\"3.0.0\" idMax=\"{}\">\n<QPId>{unique}</QPId>\n{body}</QIFDocument>\n",
        lists.last_id
    )
}

fn body(results: &Results<'_>, lists: &Lists<'_>) -> String {
    let unit = results.plan.units;
    let [definitions, nominals, items, measurements] =
        [&lists.definitions, &lists.nominals, &lists.items, &lists.measurements];
    let list = |name: &str, entries: &Vec<String>| {
        format!("<{name} n=\"{}\">\n{}</{name}>\n", entries.len(), entries.concat())
    };
    let status = if results.summary.is_all_good() {
        "PASS"
    } else if results.summary.counts().out() > 0 {
        "FAIL"
    } else {
        "UNKNOWN"
    };
    format!(
        "<Header><Description>{}</Description><Scope>Results</Scope></Header>\n\
         <FileUnits><PrimaryUnits><LinearUnit><SIUnitName>meter</SIUnitName><UnitName>{}</UnitName>\
         <UnitConversion><Factor>{}</Factor></UnitConversion></LinearUnit></PrimaryUnits></FileUnits>\n\
         <Characteristics>\n{}{}{}</Characteristics>\n\
         <Results><MeasurementResultsSet n=\"1\"><MeasurementResults id=\"1\"><MeasuredCharacteristics>\n{}</MeasuredCharacteristics>\n\
         <InspectionStatus><InspectionStatusEnum>{status}</InspectionStatusEnum></InspectionStatus>\
         </MeasurementResults></MeasurementResultsSet></Results>\n",
        escape(&format!("{}, measured by shutline {}", results.plan.title, results.run.program_version)),
        unit.symbol(),
        decimal(unit.mm() / 1000.0),
        list("CharacteristicDefinitions", definitions),
        list("CharacteristicNominals", nominals),
        list("CharacteristicItems", items),
        list("CharacteristicMeasurements", measurements),
    )
}

/// The four lists of a document, as they grow together.
struct Lists<'a> {
    plan: &'a Plan,
    /// Identifiers count up from 1, which the results have.
    last_id: u32,
    definitions: Vec<String>,
    nominals: Vec<String>,
    items: Vec<String>,
    measurements: Vec<String>,
}

impl<'a> Lists<'a> {
    const fn new(plan: &'a Plan) -> Self {
        Self {
            plan,
            last_id: 1,
            definitions: Vec::new(),
            nominals: Vec::new(),
            items: Vec::new(),
            measurements: Vec::new(),
        }
    }

    const fn next_id(&mut self) -> u32 {
        self.last_id += 1;
        self.last_id
    }

    fn add_seam(&mut self, seam: &Seam, judged: &JudgedSeam) {
        for measurand in Measurand::BOTH {
            let same = |one: &JudgedReading, other: &JudgedReading| {
                one.value(measurand).tolerance == other.value(measurand).tolerance
            };
            for stretch in judged.stations.chunk_by(same) {
                let Some(first) = stretch.first() else { continue };
                let nominal = self.add_nominal(seam, measurand, &first.value(measurand).tolerance);
                stretch.iter().for_each(|station| self.add_station(seam, measurand, station, nominal));
            }
        }
    }

    /// A definition and its nominal; gives the nominal's identifier.
    fn add_nominal(&mut self, seam: &Seam, measurand: Measurand, tolerance: &Tolerance) -> u32 {
        let unit = self.plan.units;
        let (definition, nominal) = (self.next_id(), self.next_id());
        let name = escape(&format!("{} {}", seam.id, measurand.word()));
        let what = match measurand {
            Measurand::Gap => "distance between the two edges, along the datum panel's tangent",
            Measurand::Flush => {
                "height of the other panel over the datum panel at mid-gap, along the datum panel's outward normal"
            }
        };
        self.definitions.push(format!(
            "<UserDefinedLinearCharacteristicDefinition id=\"{definition}\"><Name>{name}</Name>\
             <Tolerance><MaxValue>{}</MaxValue><MinValue>{}</MinValue><DefinedAsLimit>true</DefinedAsLimit></Tolerance>\
             <WhatToMeasure>{what}</WhatToMeasure></UserDefinedLinearCharacteristicDefinition>\n",
            length(tolerance.upper_mm(), unit),
            length(tolerance.lower_mm(), unit),
        ));
        self.nominals.push(format!(
            "<UserDefinedLinearCharacteristicNominal id=\"{nominal}\">\
             <CharacteristicDefinitionId>{definition}</CharacteristicDefinitionId><Name>{name}</Name>\
             <TargetValue>{}</TargetValue></UserDefinedLinearCharacteristicNominal>\n",
            length(tolerance.nominal_mm, unit)
        ));
        nominal
    }

    fn add_station(&mut self, seam: &Seam, measurand: Measurand, station: &JudgedReading, nominal: u32) {
        let unit = self.plan.units;
        let (item, measurement) = (self.next_id(), self.next_id());
        let at = station.reading.station;
        let point = station.reading.point;
        let [x, y, z] = [point.x, point.y, point.z].map(|value_mm| length(value_mm, unit));
        self.items.push(format!(
            "<UserDefinedLinearCharacteristicItem id=\"{item}\"><Description>{} along the seam, at {x} {y} {z}</Description>\
             <Name>{}</Name><CharacteristicNominalId>{nominal}</CharacteristicNominalId></UserDefinedLinearCharacteristicItem>\n",
            length(at.along_mm, unit),
            escape(&format!("{} {} {}", seam.id, measurand.word(), at.index)),
        ));
        let value = station.value(measurand);
        let status = match value.verdict {
            Verdict::Good => "PASS",
            Verdict::Undecided => "UNKNOWN",
            Verdict::Unseen => "NOT_MEASURED",
            _ => "FAIL",
        };
        let number = match value.measured {
            Ok(seen) => format!(
                "<Value combinedUncertainty=\"{}\" meanError=\"0\">{}</Value>",
                length(seen.u_mm, unit),
                length(seen.value_mm, unit)
            ),
            Err(_) => String::new(),
        };
        let why = value
            .measured
            .err()
            .map_or_else(String::new, |reason| format!("<Description>{}</Description>", reason.token()));
        self.measurements.push(format!(
            "<UserDefinedLinearCharacteristicMeasurement id=\"{measurement}\">{why}\
             <Status><CharacteristicStatusEnum>{status}</CharacteristicStatusEnum></Status>\
             <CharacteristicItemId>{item}</CharacteristicItemId>{number}</UserDefinedLinearCharacteristicMeasurement>\n"
        ));
    }
}

/// A length in the plan's unit; six decimals are a nanometre, or 25.
fn length(value_mm: f64, unit: LengthUnit) -> String {
    let rounded = (value_mm / unit.mm() * 1e6).round() / 1e6;
    format!("{:.6}", rounded + 0.0)
}

/// A number as XML Schema's `decimal` writes it: without an exponent.
fn decimal(value: f64) -> String {
    format!("{value:.6}").trim_end_matches('0').to_owned()
}

/// RFC 9562, version 8: the first bytes of the content's SHA-256.
fn uuid(content: &str) -> String {
    let digest = Sha256::digest(content.as_bytes());
    let mut text = String::with_capacity(36);
    for (index, byte) in digest.iter().take(16).enumerate() {
        let byte = match index {
            6 => (byte & 0x0f) | 0x80,
            8 => (byte & 0x3f) | 0x80,
            _ => *byte,
        };
        if [4, 6, 8, 10].contains(&index) {
            text.push('-');
        }
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}
