//! From rough edges at nodes to a centre line that the seam is laid out along anew.
//!
//! In: nodes and the plan's curve. Out: a curve through mid-gap on the datum surface, its normals the datum panel's, and the
//! half-gaps along it. Units: mm; Car frame.
//! Method: robust straight fits over ±32 mm of neighbouring nodes, those that turned down before those that did not.
//! Does not need to be exact: readings do not depend on where this line runs, to first order.

use nalgebra::{Point3, Vector3};

use super::locate::{Node, NodeSide};
use crate::geometry::{Curve, NormalEquations, median_in_place, tukey_weight};
use crate::plan::Side;
use crate::section::Track;

/// Neighbours within this distance steady a node, mm.
const STEADY_REACH_MM: f64 = 32.0;

/// The centre line with what the nodes said along it.
#[derive(Debug, Clone)]
pub(super) struct CentreLine {
    pub(super) curve: Curve,
    /// Place along the plan's curve of each point of the line, and the half-gaps (left, right) there, mm.
    knots: Vec<Knot>,
}

#[derive(Debug, Clone, Copy)]
struct Knot {
    plan_s_mm: f64,
    line_s_mm: f64,
    half_gap_mm: f64,
}

impl CentreLine {
    /// Turns a distance along the plan's curve into one along the line.
    pub(super) fn line_s_mm(&self, plan_s_mm: f64) -> f64 {
        let last = self.knots.len() - 1;
        let upper = self.knots.partition_point(|knot| knot.plan_s_mm < plan_s_mm).clamp(1, last);
        let (low, high) = (&self.knots[upper - 1], &self.knots[upper]);
        let share = (plan_s_mm - low.plan_s_mm) / (high.plan_s_mm - low.plan_s_mm);
        low.line_s_mm + share * (high.line_s_mm - low.line_s_mm)
    }

    /// Half of the rough gap at a distance along the line, mm.
    pub(super) fn half_gap_mm(&self, line_s_mm: f64) -> f64 {
        let last = self.knots.len() - 1;
        let upper = self.knots.partition_point(|knot| knot.line_s_mm < line_s_mm).clamp(1, last);
        let (low, high) = (&self.knots[upper - 1], &self.knots[upper]);
        let share = ((line_s_mm - low.line_s_mm) / (high.line_s_mm - low.line_s_mm)).clamp(0.0, 1.0);
        low.half_gap_mm + share * (high.half_gap_mm - low.half_gap_mm)
    }
}

/// Lays the line; `None` where fewer than two nodes saw both edges.
pub(super) fn lay_centre_line(nodes: &[Node], track: &Track, datum_side: Side) -> Option<CentreLine> {
    let mut points: Vec<Point3<f64>> = Vec::new();
    let mut normals: Vec<Vector3<f64>> = Vec::new();
    let mut knots = Vec::new();
    for node in nodes {
        let Some(steady) = steady(nodes, node.s_mm, datum_side) else { continue };
        let frame = track.frame_at(node.s_mm);
        let across = frame.across();
        points.push(frame.origin + across * steady.mid_mm + frame.outward * steady.height_mm);
        normals.push(frame.outward - across * steady.slope);
        knots.push(Knot { plan_s_mm: node.s_mm, line_s_mm: 0.0, half_gap_mm: steady.half_gap_mm });
    }
    let curve = Curve::through(&points, Some(&normals)).ok()?;
    for (knot, point) in knots.iter_mut().zip(&points) {
        knot.line_s_mm = curve.nearest(point).along_mm;
    }
    Some(CentreLine { curve, knots })
}

/// Steadied values at one node, in the plan curve's axes.
struct Steady {
    mid_mm: f64,
    half_gap_mm: f64,
    height_mm: f64,
    slope: f64,
}

fn steady(nodes: &[Node], s_mm: f64, datum_side: Side) -> Option<Steady> {
    let near: Vec<(f64, [NodeSide; 2])> = nodes
        .iter()
        .filter(|node| (node.s_mm - s_mm).abs() <= STEADY_REACH_MM)
        .filter_map(|node| Some((node.s_mm - s_mm, node.finding.ok()?)))
        .collect();
    let sides = [0, 1].map(|side| {
        let pick = |wants_turned: bool| -> Vec<(f64, f64)> {
            let chosen = near.iter().filter(|(_, sides)| sides[side].has_turned || !wants_turned);
            chosen.map(|(ds, sides)| (*ds, sides[side].edge_mm)).collect()
        };
        let turned = pick(true);
        let chosen = if turned.len() >= 2 { turned } else { pick(false) };
        robust_at_zero(&chosen)
    });
    let [Some(left_mm), Some(right_mm)] = sides.map(|side| side) else { return None };
    let mid_mm = (right_mm - left_mm) / 2.0;
    let (side, sign) = match datum_side {
        Side::Left => (0, -1.0),
        Side::Right => (1, 1.0),
    };
    let q = sign * mid_mm;
    let of_datum = |value: &dyn Fn(&[f64; 3]) -> f64| {
        let values: Vec<(f64, f64)> =
            near.iter().map(|(ds, sides)| (*ds, value(&sides[side].surface))).collect();
        robust_at_zero(&values)
    };
    Some(Steady {
        mid_mm,
        half_gap_mm: (right_mm + left_mm) / 2.0,
        height_mm: of_datum(&|surface| surface[0] + surface[1] * q + surface[2] * q * q)?,
        slope: sign * of_datum(&|surface| surface[1] + 2.0 * surface[2] * q)?,
    })
}

/// The value at 0 of a robust straight line (a robust mean for fewer than four values).
fn robust_at_zero(values: &[(f64, f64)]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
    let median = median_in_place(&mut sorted)?;
    if values.len() < 4 {
        return Some(median);
    }
    let mut line = [median, 0.0];
    for _ in 0..6 {
        let residual = |(ds, value): &(f64, f64)| value - line[0] - line[1] * ds / 20.0;
        let mut sizes: Vec<f64> = values.iter().map(|pair| residual(pair).abs()).collect();
        let limit = (6.0 * median_in_place(&mut sizes)?).max(1e-3);
        let mut equations = NormalEquations::<2>::default();
        for pair in values {
            equations.add([1.0, pair.0 / 20.0], pair.1, tukey_weight(residual(pair), limit));
        }
        // A weak pull to level, for nodes that lie on one place.
        equations.hold(1, 0.0, 1e-6);
        line = equations.solve().unwrap_or(line);
    }
    Some(line[0])
}
