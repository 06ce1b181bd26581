//! `results.qif`: readings, tolerances and verdicts as a results document of QIF 3.0 (ISO 23952:2020), for programs that read
//! that standard.
//!
//! In: [`Results`]. Out: XML. Units: the plan's, named in `FileUnits` with their factor to metres.
//! For each seam, measurand and tolerance one definition and one nominal of a user-defined linear characteristic; for each
//! station one item, which says where it lies, and one measurement with its combined standard uncertainty. The same for
//! a seam's taper, where the plan asks for one, and for each value of a lineup; without a tolerance in the plan its definition
//! says so (`NonTolerance`).
//! good is `PASS`, out is `FAIL`, undecided `INDETERMINATE`; unseen, or without a tolerance, `NOT_ANALYZED` (unseen without a
//! value, the reason in the description).
//! The document's UUID is made from its content (RFC 9562, version 8), so the same input gives the same bytes.
//!
//! Names, order, nesting and the words of enumerations were compared by hand with the published schema of QIF 3.0; units,
//! results and the base types from its own text, tolerances and status words in part from code made from it.
//! The schema files themselves are in no package registry, so no schema validator was run over the document.

use std::fmt::Write;

use sha2::{Digest, Sha256};

use super::lineups_csv;
use super::run_facts::Results;
use super::svg::escape;
use crate::judge::{JudgedLineup, JudgedReading, JudgedSeam, Measurand, Verdict};
use crate::measure::{Estimate, Reason};
use crate::plan::{Lineup, Plan, Seam, Tolerance};
use crate::summarise::SeamSummary;
use crate::units::LengthUnit;

/// The document.
#[must_use]
pub fn results_qif(results: &Results<'_>) -> String {
    let mut lists = Lists::new(results.plan);
    for judged in results.judged {
        if let Some(seam) = results.plan.seam(&judged.seam) {
            lists.add_seam(seam, judged);
            lists.add_taper(seam, results.summary.seams.iter().find(|summary| summary.seam == seam.id));
        }
    }
    for judged in results.lineups {
        if let Some(lineup) = results.plan.lineups.iter().find(|lineup| lineup.id == judged.reading.id) {
            lists.add_lineup(lineup, judged);
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
    } else if results.summary.counts().plus(&results.summary.taper_counts()).out() > 0 {
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
            let what = match measurand {
                Measurand::Gap => "distance between the two edges, along the datum panel's tangent",
                Measurand::Flush => {
                    "height of the other panel over the datum panel at mid-gap, along the datum panel's outward normal"
                }
            };
            let name = format!("{} {}", seam.id, measurand.word());
            for stretch in judged.stations.chunk_by(same) {
                let Some(first) = stretch.first() else { continue };
                let nominal = self.add_nominal(&name, what, Some(&first.value(measurand).tolerance));
                for station in stretch {
                    self.add_station(&name, measurand, station, nominal);
                }
            }
        }
    }

    fn add_station(&mut self, name: &str, measurand: Measurand, station: &JudgedReading, nominal: u32) {
        let unit = self.plan.units;
        let at = station.reading.station;
        let point = station.reading.point;
        let [x, y, z] = [point.x, point.y, point.z].map(|value_mm| length(value_mm, unit));
        let place = format!("{} along the seam, at {x} {y} {z}", length(at.along_mm, unit));
        let item = self.add_item(&format!("{name} {}", at.index), &place, nominal);
        let value = station.value(measurand);
        self.add_measurement(item, value.measured.map_err(Reason::token), Some(value.verdict));
    }

    /// One characteristic where the plan asks for a taper: the largest change of the gap.
    fn add_taper(&mut self, seam: &Seam, summary: Option<&SeamSummary>) {
        let (Some(spec), Some(summary)) = (seam.taper, summary) else { return };
        let unit = self.plan.units;
        let name = format!("{} taper", seam.id);
        let tolerance = Tolerance { nominal_mm: 0.0, minus_mm: spec.limit_mm, plus_mm: spec.limit_mm };
        let what = format!(
            "largest change of the gap over {} {}, or over the whole of a shorter seam, along the seam",
            length(spec.length_mm, unit),
            unit.symbol()
        );
        let nominal = self.add_nominal(&name, &what, Some(&tolerance));
        let taper = summary.taper.as_ref();
        let place = taper.map_or_else(
            || "no stretch is seen well enough".to_owned(),
            |taper| {
                format!("{} to {} along the seam", length(taper.from_mm, unit), length(taper.to_mm, unit))
            },
        );
        let item = self.add_item(&name, &place, nominal);
        self.add_measurement(item, taper.map(|taper| &taper.change).ok_or("unseen"), summary.taper_verdict);
    }

    fn add_lineup(&mut self, lineup: &Lineup, judged: &JudgedLineup) {
        for row in lineups_csv::rows(self.plan, lineup, judged) {
            let (tolerance, what) = lineup_terms(lineup, row.quantity);
            let bar = row.bar.map_or_else(String::new, |bar| format!(" {bar}"));
            let panel = if row.panel.is_empty() { String::new() } else { format!(" {}", row.panel) };
            let name = format!("{} {}{panel}{bar}", lineup.id, row.quantity);
            let nominal = self.add_nominal(&name, what, tolerance.as_ref());
            let place = row.at_mm.map_or_else(
                || format!("on seam {}", lineup.seam),
                |at_mm| format!("{} along seam {}", length(at_mm, self.plan.units), lineup.seam),
            );
            let item = self.add_item(&name, &place, nominal);
            self.add_measurement(item, row.value.as_ref().map_err(|reason| reason.token()), row.verdict);
        }
    }

    /// A definition and its nominal; gives the nominal's identifier.
    fn add_nominal(&mut self, name: &str, what: &str, tolerance: Option<&Tolerance>) -> u32 {
        let unit = self.plan.units;
        let (definition, nominal) = (self.next_id(), self.next_id());
        let name = escape(name);
        let limits = tolerance.map_or_else(
            || "<NonTolerance>MEASURED</NonTolerance>".to_owned(),
            |tolerance| {
                format!(
                    "<Tolerance><MaxValue>{}</MaxValue><MinValue>{}</MinValue><DefinedAsLimit>true</DefinedAsLimit></Tolerance>",
                    length(tolerance.upper_mm(), unit),
                    length(tolerance.lower_mm(), unit),
                )
            },
        );
        self.definitions.push(format!(
            "<UserDefinedLinearCharacteristicDefinition id=\"{definition}\"><Name>{name}</Name>{limits}\
             <WhatToMeasure>{what}</WhatToMeasure></UserDefinedLinearCharacteristicDefinition>\n",
        ));
        let target = tolerance.map_or_else(String::new, |tolerance| {
            format!("<TargetValue>{}</TargetValue>", length(tolerance.nominal_mm, unit))
        });
        self.nominals.push(format!(
            "<UserDefinedLinearCharacteristicNominal id=\"{nominal}\">\
             <CharacteristicDefinitionId>{definition}</CharacteristicDefinitionId><Name>{name}</Name>\
             {target}</UserDefinedLinearCharacteristicNominal>\n",
        ));
        nominal
    }

    /// Gives the item's identifier.
    fn add_item(&mut self, name: &str, place: &str, nominal: u32) -> u32 {
        let item = self.next_id();
        self.items.push(format!(
            "<UserDefinedLinearCharacteristicItem id=\"{item}\"><Description>{}</Description>\
             <Name>{}</Name><CharacteristicNominalId>{nominal}</CharacteristicNominalId></UserDefinedLinearCharacteristicItem>\n",
            escape(place),
            escape(name),
        ));
        item
    }

    fn add_measurement(&mut self, item: u32, measured: Result<&Estimate, &str>, verdict: Option<Verdict>) {
        let unit = self.plan.units;
        let measurement = self.next_id();
        let status = match verdict {
            Some(Verdict::Good) => "PASS",
            Some(Verdict::Undecided) => "INDETERMINATE",
            Some(Verdict::Unseen) | None => "NOT_ANALYZED",
            Some(_) => "FAIL",
        };
        let number = measured.map_or_else(
            |_| String::new(),
            |seen| {
                format!(
                    "<Value combinedUncertainty=\"{}\" meanError=\"0\">{}</Value>",
                    length(seen.u_mm, unit),
                    length(seen.value_mm, unit)
                )
            },
        );
        let why =
            measured.err().map_or_else(String::new, |reason| format!("<Description>{reason}</Description>"));
        self.measurements.push(format!(
            "<UserDefinedLinearCharacteristicMeasurement id=\"{measurement}\">{why}\
             <Status><CharacteristicStatusEnum>{status}</CharacteristicStatusEnum></Status>\
             <CharacteristicItemId>{item}</CharacteristicItemId>{number}</UserDefinedLinearCharacteristicMeasurement>\n"
        ));
    }
}

/// Tolerance of a lineup's quantity, where the plan gives one, and what is measured.
fn lineup_terms(lineup: &Lineup, quantity: &str) -> (Option<Tolerance>, &'static str) {
    match quantity {
        "step" | "step-finished" => (
            lineup.step,
            "outward distance of the other panel's line from the datum panel's, both continued to mid-gap",
        ),
        "shift" => (
            lineup.shift,
            "distance of the other panel's line from the datum panel's across the line, both continued to mid-gap",
        ),
        "pitch" => (lineup.bars.map(|bars| bars.pitch), "mean distance from bar to bar of a row"),
        "evenness" => (
            lineup.bars.and_then(|bars| bars.evenness_mm).map(|limit_mm| Tolerance {
                nominal_mm: 0.0,
                minus_mm: limit_mm,
                plus_mm: limit_mm,
            }),
            "furthest that a bar lies off its place in an even row",
        ),
        _ => (None, "pitch of the other panel's row less the datum panel's"),
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
