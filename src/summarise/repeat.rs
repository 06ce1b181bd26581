//! Repeated scans: how far readings scatter when nothing has changed.
//!
//! In: readings of each scan with its car, operator and repetition. Out: per seam and over all, the gauge study by both
//! methods, and what of the scatter is common to a whole scan. Units: mm.
//! Method: each station is a characteristic of its own; the lines of the analysis of variance are added up over the
//! stations seen in every scan (see `gauge_study`). What is common to a scan: analysis of variance of the deviations from
//! each cell's station means, between scans against within scans (Searle, Casella, McCulloch, Variance Components, 1992,
//! chapter 3).
//! Does not invent what was not repeated: with uneven cells or without repetitions it says so.

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;

use super::control_chart::{Capability, ControlChart, capability, chart_individuals};
use super::gauge_study::{
    Cells, GaugeStudy, POOL_ABOVE, StudyLines, add_lines, study_by_analysis_of_variance,
    study_by_average_and_range, study_lines,
};
use super::reading_rows::{Quantity, ReadingRow};
use crate::plan::{Seam, Tolerance};
use crate::statistics::{mean, standard_deviation};

/// Which car a scan shows, who made it, and the how-manieth it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ScanLabels {
    pub car: String,
    pub operator: String,
    pub repetition: String,
}

/// One scan of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct RepeatScan {
    pub labels: ScanLabels,
    pub rows: Vec<ReadingRow>,
}

/// Why there is no study.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum RepeatError {
    #[error("there are no scans to study; at least two scans of one car are needed")]
    NoScans,
    #[error(
        "no car was scanned twice by the same operator, so nothing can be said about repeatability; scan a car again \
         without touching it, and label both scans with the same car and operator"
    )]
    NothingRepeated,
    #[error(
        "car '{car}' by operator '{operator}' has {found} scans where others have {expected}; an analysis of variance \
         needs as many of each: add or leave out scans"
    )]
    Uneven { car: String, operator: String, found: usize, expected: usize },
    #[error("two scans are both labelled car '{car}', operator '{operator}', repetition '{repetition}'")]
    SameLabels { car: String, operator: String, repetition: String },
    #[error("no station of any seam was seen in every scan; nothing can be compared")]
    NoCommonStation,
}

/// Gap or flush of one seam, or of all.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantityStudy {
    pub quantity: Quantity,
    /// Stations seen in every scan, and those left out because they were not.
    pub stations_used: usize,
    pub stations_left_out: usize,
    pub by_variance: GaugeStudy,
    pub by_range: GaugeStudy,
    /// Standard deviation that all readings of a scan share along a seam.
    pub common_mm: f64,
    /// Width of the tolerance, where it is one and the same.
    pub tolerance_width_mm: Option<f64>,
    /// Seam means by car in order of name, three cars or more.
    pub chart: Option<ControlChart>,
    pub capability: Option<Capability>,
}

/// One seam's studies.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamStudy {
    pub seam: String,
    pub studies: Vec<QuantityStudy>,
}

/// The whole study.
#[derive(Debug, Clone, PartialEq)]
pub struct RepeatStudy {
    /// Cars, operators, repetitions.
    pub layout: [usize; 3],
    /// In order of name, as in the charts.
    pub cars: Vec<String>,
    /// In the plan's order.
    pub seams: Vec<SeamStudy>,
    /// Over all seams; no chart.
    pub overall: Vec<QuantityStudy>,
}

impl RepeatStudy {
    /// The plan's `[scan] accuracy` that this study supports, mm: what all gaps of a scan share; `None` without gaps.
    ///
    /// The local part of the scatter is estimated inside each scan and must not be counted twice.
    #[must_use]
    pub fn accuracy_mm(&self) -> Option<f64> {
        self.overall.iter().find(|study| study.quantity == Quantity::Gap).map(|study| study.common_mm)
    }
}

/// Studies repeated scans of a plan's seams.
///
/// # Errors
/// Nothing was repeated, labels clash, cells are uneven, or no station was seen in every scan.
pub fn study_repeats(seams_of_plan: &[Seam], scans: &[RepeatScan]) -> Result<RepeatStudy, RepeatError> {
    let grid = arrange(scans)?;
    let layout = [grid.len(), grid[0].len(), grid[0][0].len()];
    let mut seams = Vec::new();
    let mut all: BTreeMap<Quantity, Vec<StationStudy>> = BTreeMap::new();
    let mut left_out: BTreeMap<Quantity, usize> = BTreeMap::new();
    for seam in seams_of_plan {
        let mut studies = Vec::new();
        for quantity in Quantity::ALL {
            let (stations, missing) = common_stations(&grid, &seam.id.0, quantity);
            *left_out.entry(quantity).or_default() += missing;
            let width = tolerance_of(seam, quantity);
            if let Some(study) = pool(quantity, &stations, missing, width) {
                studies.push(with_chart(study, &stations, width));
            }
            all.entry(quantity).or_default().extend(stations);
        }
        if !studies.is_empty() {
            seams.push(SeamStudy { seam: seam.id.0.clone(), studies });
        }
    }
    let overall: Vec<QuantityStudy> = all
        .iter()
        .filter_map(|(quantity, stations)| {
            let study = pool(*quantity, stations, left_out.get(quantity).copied().unwrap_or(0), None)?;
            Some(QuantityStudy { common_mm: average_common(&seams, *quantity), ..study })
        })
        .collect();
    if overall.is_empty() {
        return Err(RepeatError::NoCommonStation);
    }
    let cars: BTreeSet<&String> = scans.iter().map(|scan| &scan.labels.car).collect();
    Ok(RepeatStudy { layout, cars: cars.into_iter().cloned().collect(), seams, overall })
}

/// Scans by car, operator, repetition, each in order of name.
type Grid<'a> = Vec<Vec<Vec<&'a RepeatScan>>>;

fn arrange(scans: &[RepeatScan]) -> Result<Grid<'_>, RepeatError> {
    let mut sorted: Vec<&RepeatScan> = scans.iter().collect();
    sorted.sort_by(|a, b| a.labels.cmp(&b.labels));
    if let Some(pair) = sorted.windows(2).find(|pair| pair[0].labels == pair[1].labels) {
        let ScanLabels { car, operator, repetition } = pair[0].labels.clone();
        return Err(RepeatError::SameLabels { car, operator, repetition });
    }
    let cars: BTreeSet<&str> = scans.iter().map(|scan| scan.labels.car.as_str()).collect();
    let operators: BTreeSet<&str> = scans.iter().map(|scan| scan.labels.operator.as_str()).collect();
    let cell = |car: &str, operator: &str| -> Vec<&RepeatScan> {
        let is_here = |scan: &&&RepeatScan| scan.labels.car == car && scan.labels.operator == operator;
        sorted.iter().filter(is_here).copied().collect()
    };
    let grid: Grid<'_> =
        cars.iter().map(|car| operators.iter().map(|operator| cell(car, operator)).collect()).collect();
    let expected = grid.iter().flatten().map(Vec::len).max().ok_or(RepeatError::NoScans)?;
    if expected < 2 {
        return Err(RepeatError::NothingRepeated);
    }
    for (car, row) in cars.iter().zip(&grid) {
        for (operator, scans) in operators.iter().zip(row) {
            if scans.len() != expected {
                let (car, operator) = ((*car).to_owned(), (*operator).to_owned());
                return Err(RepeatError::Uneven { car, operator, found: scans.len(), expected });
            }
        }
    }
    Ok(grid)
}

/// One station in every scan.
struct StationStudy {
    cells: Cells,
    lines: StudyLines,
}

/// The stations of a seam that every scan saw, and how many others at least one scan saw.
fn common_stations(grid: &Grid<'_>, seam: &str, quantity: Quantity) -> (Vec<StationStudy>, usize) {
    let values: Vec<Vec<Vec<BTreeMap<usize, f64>>>> = grid
        .iter()
        .map(|row| {
            row.iter()
                .map(|scans| scans.iter().map(|scan| values_of(scan, seam, quantity)).collect())
                .collect()
        })
        .collect();
    let known: BTreeSet<usize> =
        values.iter().flatten().flatten().flat_map(|scan| scan.keys().copied()).collect();
    let stations: Vec<StationStudy> = known
        .iter()
        .filter_map(|station| {
            let cells: Cells = values
                .iter()
                .map(|row| {
                    row.iter()
                        .map(|scans| {
                            scans.iter().map(|scan| scan.get(station).copied()).collect::<Option<_>>()
                        })
                        .collect::<Option<_>>()
                })
                .collect::<Option<_>>()?;
            let lines = study_lines(&cells)?;
            Some(StationStudy { cells, lines })
        })
        .collect();
    let missing = known.len() - stations.len();
    (stations, missing)
}

fn values_of(scan: &RepeatScan, seam: &str, quantity: Quantity) -> BTreeMap<usize, f64> {
    scan.rows
        .iter()
        .filter(|row| row.seam == seam)
        .filter_map(|row| Some((row.station, row.of(quantity).value_mm?)))
        .collect()
}

/// The seam's tolerance where no zone changes it.
fn tolerance_of(seam: &Seam, quantity: Quantity) -> Option<Tolerance> {
    let (base, is_zoned) = match quantity {
        Quantity::Gap => (seam.gap.tolerance, seam.zones.iter().any(|zone| zone.gap.is_some())),
        Quantity::Flush => (seam.flush.tolerance, seam.zones.iter().any(|zone| zone.flush.is_some())),
    };
    (!is_zoned).then_some(base)
}

fn pool(
    quantity: Quantity,
    stations: &[StationStudy],
    missing: usize,
    tolerance: Option<Tolerance>,
) -> Option<QuantityStudy> {
    let lines = add_lines(&stations.iter().map(|station| station.lines).collect::<Vec<_>>())?;
    let ranges: Vec<GaugeStudy> =
        stations.iter().map(|station| study_by_average_and_range(&station.cells)).collect::<Option<_>>()?;
    let by_variance = study_by_analysis_of_variance(&lines, POOL_ABOVE);
    Some(QuantityStudy {
        quantity,
        stations_used: stations.len(),
        stations_left_out: missing,
        by_variance,
        by_range: GaugeStudy::averaged(&ranges)?,
        common_mm: common_part(stations, &lines),
        tolerance_width_mm: tolerance.map(|limits| limits.minus_mm + limits.plus_mm),
        chart: None,
        capability: None,
    })
}

/// The part of the repeatability that all stations of a scan share, mm.
fn common_part(stations: &[StationStudy], lines: &StudyLines) -> f64 {
    let [cars, operators, repetitions] = lines.layout;
    let station_count = stations.len() as f64;
    let scan_freedom = (cars * operators * (repetitions - 1)) as f64;
    let mut between = 0.0;
    for car in 0..cars {
        for operator in 0..operators {
            for repetition in 0..repetitions {
                let sum: f64 = stations
                    .iter()
                    .map(|station| {
                        let cell = &station.cells[car][operator];
                        cell[repetition] - cell.iter().sum::<f64>() / cell.len() as f64
                    })
                    .sum();
                between += sum * sum / station_count;
            }
        }
    }
    if stations.len() < 2 {
        return (between / scan_freedom).sqrt();
    }
    let within = (lines.repeatability.sum_of_squares - between) / (scan_freedom * (station_count - 1.0));
    ((between / scan_freedom - within) / station_count).max(0.0).sqrt()
}

/// Root mean square of the seams' common parts: places on a car err together only as far as one view reaches.
fn average_common(seams: &[SeamStudy], quantity: Quantity) -> f64 {
    let squares: Vec<f64> = seams
        .iter()
        .flat_map(|seam| &seam.studies)
        .filter(|study| study.quantity == quantity)
        .map(|study| study.common_mm.powi(2))
        .collect();
    mean(&squares).unwrap_or(0.0).sqrt()
}

/// Adds the chart of seam means over cars, and the capability, where there are cars enough.
fn with_chart(
    study: QuantityStudy,
    stations: &[StationStudy],
    tolerance: Option<Tolerance>,
) -> QuantityStudy {
    let cars = stations.first().map_or(0, |station| station.cells.len());
    let means: Vec<f64> = (0..cars)
        .filter_map(|car| {
            mean(&stations.iter().flat_map(|station| station.cells[car].concat()).collect::<Vec<_>>())
        })
        .collect();
    let chart = chart_individuals(&means);
    let capability = chart.as_ref().zip(tolerance).and_then(|(chart, limits)| {
        let overall = standard_deviation(&means)?;
        capability(chart.level.centre, chart.sigma_within, overall, [limits.lower_mm(), limits.upper_mm()])
    });
    QuantityStudy { chart, capability, ..study }
}

#[cfg(test)]
mod tests;
