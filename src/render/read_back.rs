//! Reads what earlier runs wrote: `record.json` and `readings.csv`, back to judged seams.
//!
//! In: the text and the plan. Out: [`JudgedSeam`]s in plan order, judged by the plan as it is now. Units: mm; Car frame.
//! Method: values, uncertainties and edges are those of the file. The section's frame is the plan curve's at that station,
//! turned to the edges where the record has them. A table has no budget: of its u, what the plan calls the scanner's
//! accuracy counts as common to the scan, the rest as the station's own.
//! Does not measure: what the file does not hold is missing.

use std::collections::BTreeMap;

use nalgebra::Point3;
use thiserror::Error;

use super::record_json::{EdgeRecord, Record, StationRecord, ValueRecord};
use crate::geometry::CurveFrame;
use crate::judge::{JudgedSeam, judge_seam, with_finish};
use crate::measure::{
    Component, EdgeReading, Estimate, Profile, Reason, SeamReadings, StationReading, UncertaintySource,
};
use crate::plan::{Plan, Seam, Side, Station};
use crate::units::LengthUnit;

/// A station of the file may lie so far from the plan's, mm; more means another plan.
const SAME_PLACE_MM: f64 = 0.5;

/// Why a file of results cannot be used with this plan.
#[derive(Debug, Error)]
pub enum ReadBackError {
    #[error("this is not a record of measurements: {0}; measure the scan again")]
    NotARecord(String),
    #[error("the readings have no column {column}; measure the scan again")]
    MissingColumn { column: String },
    #[error("line {line} of the readings: '{found}' is not {expected}; measure the scan again")]
    BadCell { line: u64, found: String, expected: &'static str },
    #[error(
        "station {station} of seam {seam} lies at {found_mm:.1} mm in the readings and is not there in the plan; \
         these readings were made with another plan: measure the scan again with this one"
    )]
    OtherPlan { seam: String, station: usize, found_mm: f64 },
    #[error("no seam of the readings is in the plan; give the plan that they were made with")]
    NothingInCommon,
    #[error(
        "a table of readings does not say which side of seam {seam} is outside, and its curve has no normals; give the \
         scan or its record.json"
    )]
    NoOutside { seam: String },
}

/// Judged seams of a `record.json`.
///
/// # Errors
/// Not a record, or one that was made with another plan.
pub fn read_record(text: &str, plan: &Plan) -> Result<Vec<JudgedSeam>, ReadBackError> {
    let record: Record =
        serde_json::from_str(text).map_err(|error| ReadBackError::NotARecord(error.to_string()))?;
    let mut seams = Vec::new();
    for seam in &plan.seams {
        let Some(found) = record.seams.iter().find(|one| one.seam == seam.id.0) else { continue };
        let planned = seam.stations();
        let mut stations = Vec::with_capacity(found.stations.len());
        for one in &found.stations {
            let station = planned_station(seam, &planned, one.station, one.along_mm)?;
            stations.push(station_of(seam, station, one));
        }
        seams.push(judged(seam, plan, stations, (found.points_used, found.spacing_mm)));
    }
    if seams.is_empty() { Err(ReadBackError::NothingInCommon) } else { Ok(seams) }
}

fn judged(
    seam: &Seam,
    plan: &Plan,
    stations: Vec<StationReading>,
    (points_used, spacing_mm): (u64, Option<f64>),
) -> JudgedSeam {
    let readings = SeamReadings { seam: seam.id.clone(), stations, points_used, spacing_mm };
    with_finish(plan, seam, judge_seam(seam, readings, &plan.decision))
}

fn planned_station(
    seam: &Seam,
    planned: &[Station],
    index: usize,
    along_mm: f64,
) -> Result<Station, ReadBackError> {
    planned
        .get(index)
        .copied()
        .filter(|station| (station.along_mm - along_mm).abs() <= SAME_PLACE_MM)
        .ok_or_else(|| ReadBackError::OtherPlan {
            seam: seam.id.0.clone(),
            station: index,
            found_mm: along_mm,
        })
}

fn station_of(seam: &Seam, station: Station, record: &StationRecord) -> StationReading {
    let point = Point3::from(record.point_mm);
    let curve = seam.station_frame(&station);
    let edges = record.edges.each_ref().map(Option::as_ref);
    let frame = turned_to_edges(seam, CurveFrame { origin: point, ..curve }, edges);
    let value = |one: &Option<ValueRecord>, reason: &Option<String>| match one {
        Some(value) => Ok(estimate(value)),
        None => Err(reason_of(reason.as_deref())),
    };
    let flush = value(&record.flush.value, &record.flush.reason);
    let flush_mm = flush.as_ref().map_or(0.0, |flush: &Estimate| flush.value_mm);
    StationReading {
        station,
        point,
        frame,
        gap: value(&record.gap.value, &record.gap.reason),
        flush,
        edges: [0, 1]
            .map(|side| edges[side].map(|edge| edge_of(edge, if side == 1 { flush_mm } else { 0.0 }))),
        warnings: Vec::new(),
        profile: Profile::default(),
    }
}

/// The frame with its across direction from edge to edge and its origin half-way, where both were seen.
fn turned_to_edges(seam: &Seam, curve: CurveFrame, edges: [Option<&EdgeRecord>; 2]) -> CurveFrame {
    let [Some(datum), Some(other)] = edges else { return curve };
    let datum_radius_mm = datum.hem_radius_mm;
    let (datum, other) = (Point3::from(datum.point_mm), Point3::from(other.point_mm));
    let towards = if seam.datum_side == Side::Left { other - datum } else { datum - other };
    // u = t × n, so n = u × t; where the plan knows the outside, its own normal is better than one from two points.
    let outward = if seam.curve.has_given_normals() {
        Some(curve.outward)
    } else {
        towards.cross(&curve.along).try_normalize(1e-6)
    };
    let middle = nalgebra::center(&datum, &other);
    let outward = outward.unwrap_or(curve.outward);
    // The hem is tangent to the datum's outer surface, so that surface lies its radius above the edge point.
    let height_mm = (datum - middle).dot(&outward) + datum_radius_mm;
    CurveFrame { origin: middle + outward * height_mm, along: curve.along, outward }
}

fn edge_of(edge: &EdgeRecord, surface_height_mm: f64) -> EdgeReading {
    EdgeReading {
        point: Point3::from(edge.point_mm),
        hem_radius_mm: edge.hem_radius_mm,
        hem_radius_u_mm: edge.hem_radius_u_mm,
        arc_seen_rad: edge.arc_seen_rad,
        flange_depth_mm: edge.flange_depth_mm,
        surface_height_mm,
        surface_slope_rad: 0.0,
    }
}

fn estimate(value: &ValueRecord) -> Estimate {
    let freedom = |number: Option<f64>| number.unwrap_or(f64::INFINITY);
    let components = value
        .components
        .iter()
        .filter_map(|component| {
            let source = UncertaintySource::ALL.into_iter().find(|one| one.words() == component.source)?;
            let degrees_of_freedom = freedom(component.degrees_of_freedom);
            Some(Component { source, u_mm: component.u_mm, degrees_of_freedom })
        })
        .collect();
    Estimate {
        value_mm: value.value_mm,
        u_mm: value.u_mm,
        degrees_of_freedom: freedom(value.degrees_of_freedom),
        components,
    }
}

fn reason_of(token: Option<&str>) -> Reason {
    Reason::ALL.into_iter().find(|reason| Some(reason.token()) == token).unwrap_or(Reason::NoPoints)
}

/// Judged seams of a `readings.csv`.
///
/// # Errors
/// Not such a table, one made with another plan, or a curve whose outside is not known.
pub fn read_readings(text: &str, plan: &Plan) -> Result<Vec<JudgedSeam>, ReadBackError> {
    let mut by_seam = read_table(text, plan)?;
    let mut seams = Vec::new();
    for seam in &plan.seams {
        let Some(stations) = by_seam.remove(&seam.id.0) else { continue };
        if !seam.curve.has_given_normals() {
            return Err(ReadBackError::NoOutside { seam: seam.id.0.clone() });
        }
        seams.push(judged(seam, plan, stations, (0, None)));
    }
    if seams.is_empty() { Err(ReadBackError::NothingInCommon) } else { Ok(seams) }
}

fn read_table(text: &str, plan: &Plan) -> Result<BTreeMap<String, Vec<StationReading>>, ReadBackError> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let not_a_table = |error: csv::Error| ReadBackError::NotARecord(error.to_string());
    let heading = reader.headers().map_err(not_a_table)?.clone();
    let unit =
        if heading.iter().any(|name| name == "gap_in") { LengthUnit::Inch } else { LengthUnit::Millimetre };
    let ending = if unit == LengthUnit::Inch { "in" } else { "mm" };
    let place = |name: String| {
        heading.iter().position(|column| column == name).ok_or(ReadBackError::MissingColumn { column: name })
    };
    let length = |name: &str| place(format!("{name}_{ending}"));
    let columns = [length("along")?, length("x")?, length("y")?, length("z")?];
    let pairs = [[length("gap")?, length("gap_u")?], [length("flush")?, length("flush_u")?]];
    let [seam_at, station_at, reason_at] =
        [place("seam".to_owned())?, place("station".to_owned())?, place("reason".to_owned())?];
    let planned: Vec<Vec<Station>> = plan.seams.iter().map(Seam::stations).collect();
    let mut by_seam: BTreeMap<String, Vec<StationReading>> = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(not_a_table)?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |at: usize| record.get(at).unwrap_or_default();
        let bad = |at: usize, expected| ReadBackError::BadCell { line, found: cell(at).to_owned(), expected };
        let number = |at: usize| -> Result<f64, ReadBackError> {
            let value: f64 = cell(at).trim().parse().map_err(|_| bad(at, "a length"))?;
            Some(value * unit.mm()).filter(|value| value.is_finite()).ok_or_else(|| bad(at, "a length"))
        };
        let named = plan.seams.iter().zip(&planned).find(|(seam, _)| seam.id.0 == cell(seam_at));
        let Some((seam, planned)) = named else { continue };
        let index = cell(station_at).parse().map_err(|_| bad(station_at, "a station number"))?;
        let station = planned_station(seam, planned, index, number(columns[0])?)?;
        let value = |[value_at, u_at]: [usize; 2]| -> Result<Result<Estimate, Reason>, ReadBackError> {
            if cell(value_at).is_empty() {
                return Ok(Err(reason_of(Some(cell(reason_at)))));
            }
            let u_mm = number(u_at)?;
            if u_mm < 0.0 {
                return Err(bad(u_at, "an uncertainty"));
            }
            Ok(Ok(split_estimate(number(value_at)?, u_mm, plan.scan.accuracy_mm)))
        };
        let (gap, flush) = (value(pairs[0])?, value(pairs[1])?);
        let point = Point3::new(number(columns[1])?, number(columns[2])?, number(columns[3])?);
        let frame = CurveFrame { origin: point, ..seam.station_frame(&station) };
        by_seam.entry(seam.id.0.clone()).or_default().push(StationReading {
            station,
            point,
            frame,
            gap,
            flush,
            edges: [None, None],
            warnings: Vec::new(),
            profile: Profile::default(),
        });
    }
    Ok(by_seam)
}

/// A value whose u is split into what a scan shares and what is the station's own.
fn split_estimate(value_mm: f64, u_mm: f64, accuracy_mm: f64) -> Estimate {
    let common_mm = u_mm.min(accuracy_mm);
    let own_mm = (u_mm.powi(2) - common_mm.powi(2)).max(0.0).sqrt();
    let component = |source, u_mm| Component { source, u_mm, degrees_of_freedom: f64::INFINITY };
    Estimate::from_components(
        value_mm,
        vec![
            component(UncertaintySource::ScanNoise, own_mm),
            component(UncertaintySource::ScannerAccuracy, common_mm),
        ],
    )
}
