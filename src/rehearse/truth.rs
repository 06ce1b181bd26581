//! The true reading of every station, and its table.
//!
//! In: plan, settings, true curves, holes. Out: [`TruthRow`]s in plan order, and CSV text with the columns of
//! `readings.csv`. Units: mm; frame: Car.
//! Where a truth is taken: at the place of the true curve that is nearest to the station's point on the plan's curve, in
//! the plane across the true curve's tangent there. `along_mm` and the point remain the plan's own.
//! Verdicts in the table compare the true value with its tolerance, without any uncertainty.

use std::fmt::Write as _;

use nalgebra::Point3;

use super::holes::Holes;
use super::settings::{Scanner, SeamShape};
use super::sight::Sight;
use super::true_section::TrueSection;
use crate::geometry::Curve;
use crate::plan::{Plan, Seam, SeamId, Station, Tolerance};
use crate::units::LengthUnit;

/// What is true at one station. Pairs: datum panel, other panel.
#[derive(Debug, Clone, PartialEq)]
pub struct TruthRow {
    pub seam: SeamId,
    pub station: usize,
    /// Distance along the plan's curve.
    pub along_mm: f64,
    /// Distance along the true curve of the section that the truth belongs to.
    pub true_along_mm: f64,
    /// The station's point on the plan's curve.
    pub point: Point3<f64>,
    /// By the plan's method; `None` where the method has no value (a panel that is not deep enough).
    pub gap_mm: Option<f64>,
    pub flush_mm: f64,
    pub gap_tolerance: Tolerance,
    pub flush_tolerance: Tolerance,
    pub hem_radius_mm: [f64; 2],
    /// How far round each hem some view sees, from the hem's tangent point, rad; holes not counted.
    pub arc_seen_rad: [f64; 2],
    /// True where some view sees the edge point itself and no drop-out covers it.
    pub edge_is_visible: [bool; 2],
    pub is_in_dropout: bool,
}

impl TruthRow {
    /// True where both edges are visible, so that the gap can be measured without extrapolation.
    #[must_use]
    pub fn is_visible(&self) -> bool {
        self.edge_is_visible[0] && self.edge_is_visible[1]
    }
}

/// The truth of every station of a seam.
#[must_use]
pub fn seam_truth(
    seam: &Seam,
    shape: &SeamShape,
    scanner: &Scanner,
    curve: &Curve,
    holes: &Holes,
) -> Vec<TruthRow> {
    let row = |station: &Station| {
        let point = seam.station_point(station);
        let true_along_mm = curve.nearest(&point).along_mm;
        let section = TrueSection::new(seam, shape, true_along_mm);
        let sight = Sight::new(&section, scanner);
        let in_dropout = [0, 1].map(|panel| holes.cover_edge(panel, true_along_mm));
        TruthRow {
            seam: seam.id.clone(),
            station: station.index,
            along_mm: station.along_mm,
            true_along_mm,
            point,
            gap_mm: section.gap_mm(seam.gap.method),
            flush_mm: section.flush_mm(seam.flush.method) + shape.lift_mm(1, 0.0, true_along_mm)
                - shape.lift_mm(0, 0.0, true_along_mm),
            gap_tolerance: seam.gap_tolerance_at(station.along_mm),
            flush_tolerance: seam.flush_tolerance_at(station.along_mm),
            hem_radius_mm: [0, 1].map(|panel| section.profiles[panel].hem_radius_mm()),
            arc_seen_rad: [0, 1].map(|panel| sight.arc_seen_rad(&section, panel)),
            edge_is_visible: [0, 1].map(|panel| {
                let edge_q_mm = section.profiles[panel].edge().0;
                !in_dropout[panel] && sight.sees_profile(&section, panel, edge_q_mm)
            }),
            is_in_dropout: in_dropout[0] || in_dropout[1],
        }
    };
    seam.stations().iter().map(row).collect()
}

/// The truth as a table with exactly the columns of `readings.csv`, in the plan's unit.
///
/// Values are given even where the scan does not show the edge; the last column then says `edge-not-seen`.
#[must_use]
pub fn truth_csv(plan: &Plan, rows: &[TruthRow]) -> String {
    let unit = if plan.units == LengthUnit::Inch { "in" } else { "mm" };
    let columns = ["along", "x", "y", "z"].map(|name| format!("{name}_{unit}")).join(",");
    let mut table = format!(
        "seam,station,{columns},gap_{unit},gap_u_{unit},gap_verdict,flush_{unit},flush_u_{unit},flush_verdict,reason\n"
    );
    let scaled = |value_mm: f64| format!("{:.6}", value_mm / plan.units.mm());
    for row in rows {
        let gap = match row.gap_mm {
            Some(gap_mm) => {
                let word = word(gap_mm, &row.gap_tolerance, ["tight", "wide"]);
                format!("{},0,{word}", scaled(gap_mm))
            }
            None => ",,unseen".to_owned(),
        };
        let flush_word = word(row.flush_mm, &row.flush_tolerance, ["low", "high"]);
        let reason = if row.is_visible() { "" } else { "edge-not-seen" };
        let place = [row.along_mm, row.point.x, row.point.y, row.point.z].map(scaled).join(",");
        // Writing to a String cannot fail.
        let _ = writeln!(
            table,
            "{},{},{place},{gap},{},0,{flush_word},{reason}",
            row.seam,
            row.station,
            scaled(row.flush_mm)
        );
    }
    table
}

fn word(value_mm: f64, tolerance: &Tolerance, [below, above]: [&'static str; 2]) -> &'static str {
    if value_mm < tolerance.lower_mm() {
        below
    } else if value_mm > tolerance.upper_mm() {
        above
    } else {
        "good"
    }
}
