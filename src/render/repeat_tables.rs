//! A repeat study as `repeat.csv` and `repeat.json`.
//!
//! In: a [`RepeatStudy`] and the plan's unit. Out: CSV, one row a seam, quantity and method, in the plan's unit; JSON with a
//! version number and a schema (`shutline schema repeat`), in mm. What is not known is an empty cell or `null`.
//! Does not decide anything.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::RenderError;
use super::format::unit_name;
use crate::summarise::{ChartKind, ControlChart, GaugeStudy, QuantityStudy, RepeatStudy};
use crate::units::LengthUnit;

/// Rises when a field changes its meaning or goes away; new fields do not raise it.
pub const REPEAT_VERSION: u32 = 1;

/// The whole study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "shutline repeat study")]
pub struct RepeatRecord {
    /// Version of this format.
    pub repeat_version: u32,
    pub program_version: String,
    /// The plan's title.
    pub plan: String,
    /// In order of name.
    pub cars: Vec<String>,
    pub operator_count: usize,
    /// Scans of each car by each operator.
    pub repetition_count: usize,
    /// What all gaps of a scan share: the `[scan] accuracy` that this study supports.
    pub accuracy_mm: Option<f64>,
    pub seams: Vec<SeamStudyRecord>,
    /// All seams together.
    pub overall: Vec<QuantityStudyRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeamStudyRecord {
    pub seam: String,
    pub studies: Vec<QuantityStudyRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct QuantityStudyRecord {
    /// "gap" or "flush".
    pub quantity: String,
    /// Stations seen in every scan.
    pub stations_used: usize,
    pub stations_left_out: usize,
    pub tolerance_width_mm: Option<f64>,
    /// Standard deviation that all readings of a scan share along a seam.
    pub common_mm: f64,
    /// By analysis of variance with interaction, pooled where it is not significant.
    pub by_variance: GaugeRecord,
    /// By average and range.
    pub by_range: GaugeRecord,
    /// Over cars, in order of name; three cars or more.
    pub chart: Option<ChartRecord>,
    pub capability: Option<CapabilityRecord>,
}

/// Standard deviations by cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GaugeRecord {
    pub repeatability_mm: f64,
    pub reproducibility_mm: Option<f64>,
    pub gauge_mm: f64,
    pub part_mm: Option<f64>,
    pub percent_of_study: Option<f64>,
    pub percent_of_tolerance: Option<f64>,
    pub distinct_categories: Option<f64>,
    pub interaction_significance: Option<f64>,
    pub is_pooled: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChartRecord {
    /// "individuals", "mean-and-range" or "mean-and-sd".
    pub kind: String,
    /// Lower limit, centre and upper limit, mm.
    pub level_limits_mm: [f64; 3],
    pub spread_limits_mm: [f64; 3],
    pub levels_mm: Vec<f64>,
    pub spreads_mm: Vec<f64>,
    /// Places of levels beyond their limits, from 0.
    pub levels_out: Vec<usize>,
    pub spreads_out: Vec<usize>,
    pub sigma_within_mm: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CapabilityRecord {
    pub cp: f64,
    pub cpk: f64,
    pub pp: f64,
    pub ppk: f64,
}

/// `repeat.json`.
///
/// # Errors
/// None in practice: every number is finite or `null`.
pub fn repeat_json(title: &str, study: &RepeatStudy) -> Result<String, RenderError> {
    let [_, operator_count, repetition_count] = study.layout;
    let record = RepeatRecord {
        repeat_version: REPEAT_VERSION,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        plan: title.to_owned(),
        cars: study.cars.clone(),
        operator_count,
        repetition_count,
        accuracy_mm: study.accuracy_mm(),
        seams: study
            .seams
            .iter()
            .map(|seam| SeamStudyRecord {
                seam: seam.seam.clone(),
                studies: seam.studies.iter().map(quantity_record).collect(),
            })
            .collect(),
        overall: study.overall.iter().map(quantity_record).collect(),
    };
    Ok(serde_json::to_string_pretty(&record)? + "\n")
}

/// The JSON Schema of [`RepeatRecord`].
///
/// # Errors
/// None in practice.
pub fn repeat_schema() -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&schemars::schema_for!(RepeatRecord))? + "\n")
}

fn quantity_record(study: &QuantityStudy) -> QuantityStudyRecord {
    let gauge = |gauge: &GaugeStudy| GaugeRecord {
        repeatability_mm: gauge.repeatability,
        reproducibility_mm: gauge.reproducibility,
        gauge_mm: gauge.gauge,
        part_mm: gauge.part,
        percent_of_study: gauge.percent_of_study(gauge.gauge),
        percent_of_tolerance: percent_of_tolerance(study, gauge),
        distinct_categories: gauge.distinct_categories(),
        interaction_significance: gauge.interaction_significance,
        is_pooled: gauge.is_pooled,
    };
    QuantityStudyRecord {
        quantity: study.quantity.word().to_owned(),
        stations_used: study.stations_used,
        stations_left_out: study.stations_left_out,
        tolerance_width_mm: study.tolerance_width_mm,
        common_mm: study.common_mm,
        by_variance: gauge(&study.by_variance),
        by_range: gauge(&study.by_range),
        chart: study.chart.as_ref().map(chart_record),
        capability: study.capability.map(|found| CapabilityRecord {
            cp: found.cp,
            cpk: found.cpk,
            pp: found.pp,
            ppk: found.ppk,
        }),
    }
}

fn percent_of_tolerance(study: &QuantityStudy, gauge: &GaugeStudy) -> Option<f64> {
    GaugeStudy::percent_of_tolerance(gauge.gauge, study.tolerance_width_mm?)
}

fn chart_record(chart: &ControlChart) -> ChartRecord {
    let kind = match chart.kind {
        ChartKind::MeanAndRange => "mean-and-range",
        ChartKind::MeanAndSd => "mean-and-sd",
        ChartKind::IndividualAndMovingRange => "individuals",
    };
    ChartRecord {
        kind: kind.to_owned(),
        level_limits_mm: [chart.level.lower, chart.level.centre, chart.level.upper],
        spread_limits_mm: [chart.spread.lower, chart.spread.centre, chart.spread.upper],
        levels_mm: chart.levels.clone(),
        spreads_mm: chart.spreads.clone(),
        levels_out: chart.levels_out(),
        spreads_out: chart.spreads_out(),
        sigma_within_mm: chart.sigma_within,
    }
}

/// `repeat.csv`; "all" stands for all seams together.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn repeat_csv(study: &RepeatStudy, unit: LengthUnit) -> Result<String, RenderError> {
    let suffix = unit_name(unit);
    let mut table = csv::Writer::from_writer(Vec::new());
    let lengths =
        ["repeatability", "reproducibility", "gauge", "part"].map(|name| format!("{name}_{suffix}"));
    let shares =
        ["percent_of_study", "percent_of_tolerance", "distinct_categories", "cp", "cpk", "pp", "ppk"];
    let start = ["seam", "quantity", "method", "stations"];
    table.write_record(start.into_iter().chain(lengths.iter().map(String::as_str)).chain(shares))?;
    let seams = study.seams.iter().flat_map(|seam| seam.studies.iter().map(|one| (seam.seam.as_str(), one)));
    for (seam, one) in seams.chain(study.overall.iter().map(|one| ("all", one))) {
        for (method, gauge) in [("variance", &one.by_variance), ("range", &one.by_range)] {
            table.write_record(row(seam, one, method, gauge, unit))?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn row(seam: &str, study: &QuantityStudy, method: &str, gauge: &GaugeStudy, unit: LengthUnit) -> Vec<String> {
    let optional = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.4}"));
    let decimals = if unit == LengthUnit::Inch { 7 } else { 5 };
    let sized = |value_mm: Option<f64>| {
        value_mm.map_or_else(String::new, |value_mm| format!("{:.decimals$}", value_mm / unit.mm()))
    };
    let mut cells = vec![
        seam.to_owned(),
        study.quantity.word().to_owned(),
        method.to_owned(),
        study.stations_used.to_string(),
    ];
    let lengths = [Some(gauge.repeatability), gauge.reproducibility, Some(gauge.gauge), gauge.part];
    cells.extend(lengths.map(sized));
    let capability = study.capability.map(|found| [found.cp, found.cpk, found.pp, found.ppk]);
    let shares = [
        gauge.percent_of_study(gauge.gauge),
        percent_of_tolerance(study, gauge),
        gauge.distinct_categories(),
    ];
    cells.extend(shares.map(optional));
    cells.extend((0..4).map(|index| optional(capability.map(|four| four[index]))));
    cells
}
