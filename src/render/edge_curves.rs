//! Measured and wanted edges for CAD and for marking out: CSV, DXF and OBJ.
//!
//! In: the plan and an [`Advice`]. Out: text. Units: the plan's; frame: Car, each panel where it stood when it was scanned,
//! so that the lines can be laid on the scan and marked on the panel before it is moved.
//! Shape: two lines for each seam whose edge was seen at two stations or more: `measured` and `wanted`; they are the same
//! where nothing is to change.
//! Method: DXF of release 12 (POLYLINE of VERTEX, flag 8: in space; `$INSUNITS` says the unit), which every CAD reads; OBJ
//! with one object and one `l` line each.
//! Does not smooth: stations are joined by straight pieces.

use std::fmt::Write;

use nalgebra::Point3;

use super::error::RenderError;
use crate::advise::{Advice, EdgeChange, SeamEdges};
use crate::plan::Plan;
use crate::units::LengthUnit;

/// Longest layer name of DXF release 12.
const LONGEST_LAYER: usize = 31;

/// `edges.csv`: what to do at every station.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn edges_csv(plan: &Plan, advice: &Advice) -> Result<String, RenderError> {
    let unit = plan.units;
    let suffix = if unit == LengthUnit::Inch { "in" } else { "mm" };
    let mut table = csv::Writer::from_writer(Vec::new());
    let mut header = vec!["seam".to_owned(), "panel".to_owned(), "station".to_owned()];
    let lengths = [
        "along",
        "take_off",
        "raise",
        "measured_x",
        "measured_y",
        "measured_z",
        "wanted_x",
        "wanted_y",
        "wanted_z",
    ];
    header.extend(lengths.map(|name| format!("{name}_{suffix}")));
    table.write_record(&header)?;
    for edges in &advice.edges {
        for change in &edges.changes {
            let mut row = vec![edges.seam.0.clone(), edges.panel.0.clone(), change.station.to_string()];
            row.extend(
                [change.along_mm, change.take_off_mm, change.raise_mm].map(|value| number(value, unit)),
            );
            for point in [change.measured, change.wanted] {
                row.extend(point.map_or_else(<[String; 3]>::default, |point| {
                    [point.x, point.y, point.z].map(|value| number(value, unit))
                }));
            }
            table.write_record(&row)?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn number(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 6 } else { 4 };
    format!("{:.decimals$}", value_mm / unit.mm())
}

/// One line of points in space.
struct Polyline {
    name: String,
    points: Vec<Point3<f64>>,
}

fn polylines(advice: &Advice) -> Vec<Polyline> {
    let mut all = Vec::new();
    for edges in &advice.edges {
        for (kind, pick) in KINDS {
            let points: Vec<Point3<f64>> = edges.changes.iter().filter_map(pick).collect();
            if points.len() >= 2 {
                all.push(Polyline { name: line_name(edges, kind), points });
            }
        }
    }
    all
}

type Pick = fn(&EdgeChange) -> Option<Point3<f64>>;
const KINDS: [(&str, Pick); 2] = [("measured", |change| change.measured), ("wanted", |change| change.wanted)];

fn line_name(edges: &SeamEdges, kind: &str) -> String {
    format!("{}-{kind}", edges.seam)
}

/// `edges.dxf`: one layer for each line.
#[must_use]
pub fn edges_dxf(plan: &Plan, advice: &Advice) -> String {
    let unit = plan.units;
    let unit_code = if unit == LengthUnit::Inch { 1 } else { 4 };
    let mut text = format!(
        "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n{unit_code}\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n"
    );
    for (index, line) in polylines(advice).iter().enumerate() {
        let layer = layer_name(&line.name, index);
        let _ = write!(text, "0\nPOLYLINE\n8\n{layer}\n66\n1\n10\n0.0\n20\n0.0\n30\n0.0\n70\n8\n");
        for point in &line.points {
            let [x, y, z] = [point.x, point.y, point.z].map(|value| number(value, unit));
            let _ = write!(text, "0\nVERTEX\n8\n{layer}\n10\n{x}\n20\n{y}\n30\n{z}\n70\n32\n");
        }
        let _ = write!(text, "0\nSEQEND\n8\n{layer}\n");
    }
    text.push_str("0\nENDSEC\n0\nEOF\n");
    text
}

/// The line's name, or its end with a number where it is too long for a layer.
fn layer_name(name: &str, index: usize) -> String {
    if name.len() <= LONGEST_LAYER {
        return name.to_owned();
    }
    let number = format!("{index}-");
    // Names are ASCII: ids are lower case, digits and hyphens.
    let tail = name.get(name.len() - (LONGEST_LAYER - number.len())..).unwrap_or(name);
    format!("{number}{}", tail.trim_start_matches('-'))
}

/// `edges.obj`: one object for each line.
#[must_use]
pub fn edges_obj(plan: &Plan, advice: &Advice) -> String {
    let unit = plan.units;
    let mut text = format!("# measured and wanted edges, {}\n", unit.symbol());
    let mut next = 1;
    for line in polylines(advice) {
        let _ = writeln!(text, "o {}", line.name);
        for point in &line.points {
            let [x, y, z] = [point.x, point.y, point.z].map(|value| number(value, unit));
            let _ = writeln!(text, "v {x} {y} {z}");
        }
        let places: Vec<String> = (next..next + line.points.len()).map(|place| place.to_string()).collect();
        let _ = writeln!(text, "l {}", places.join(" "));
        next += line.points.len();
    }
    text
}
