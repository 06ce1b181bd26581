//! Edges and curves of an exchange file as points.
//!
//! In: the instance number of an edge or curve. Out: points in order, in the frame of its representation, the file's unit.
//! Method: ISO 10303-42 for the curves; an edge runs from its first vertex to its second, whatever its curve's sense.
//! Does not place curves in an assembly: `assembly` does.

use std::f64::consts::TAU;

use nalgebra::Point3;

use super::basis::Basis;
use super::exchange::{Exchange, Problem};
use super::placement::{direction, placement, point};
use super::record::{Record, Value};
use crate::files::nurbs::{Nurbs, size_of};

/// Curves that consist of curves that consist of curves.
const DEEPEST: u32 = 8;
/// A vertex may lie this share of the curve's size off its curve; exchange files are written to 1e-6 or better.
const OFF_SHARE: f64 = 1e-3;

/// Types that stand for a curve by themselves; splines may also be complex.
pub(super) const CURVE_KINDS: [&[u8]; 16] = [
    b"LINE",
    b"CIRCLE",
    b"ELLIPSE",
    b"PARABOLA",
    b"HYPERBOLA",
    b"POLYLINE",
    b"TRIMMED_CURVE",
    b"COMPOSITE_CURVE",
    b"B_SPLINE_CURVE_WITH_KNOTS",
    b"BEZIER_CURVE",
    b"UNIFORM_CURVE",
    b"QUASI_UNIFORM_CURVE",
    b"SURFACE_CURVE",
    b"SEAM_CURVE",
    b"INTERSECTION_CURVE",
    b"BOUNDED_SURFACE_CURVE",
];

/// Reads curves with one fineness.
#[derive(Clone, Copy)]
pub(super) struct Curves<'a> {
    pub file: &'a Exchange,
    /// Radians in the file's unit of angle.
    pub angle_rad: f64,
    /// Chords leave curves by at most this share of the curve's size.
    pub sag_share: f64,
}

impl Curves<'_> {
    /// The points of an edge or of a curve with ends.
    pub fn points(&self, id: u32) -> Result<Vec<Point3<f64>>, Problem> {
        self.points_at(id, 0)
    }

    fn points_at(&self, id: u32, depth: u32) -> Result<Vec<Point3<f64>>, Problem> {
        if depth > DEEPEST {
            return Err(Problem::at(id, "curves are nested too deep"));
        }
        let record = self.file.record(id)?;
        let points = match record.simple() {
            Some((
                b"EDGE_CURVE",
                [_, Value::Reference(from), Value::Reference(to), Value::Reference(curve), sense],
            )) => self.edge(id, [*from, *to], *curve, sense.is_true().unwrap_or(true), depth)?,
            Some((
                b"TRIMMED_CURVE",
                [_, Value::Reference(basis), Value::List(first), Value::List(second), sense, master],
            )) => {
                let basis = self.basis(*basis, depth + 1)?;
                let ends = [self.trim(id, &basis, first, master)?, self.trim(id, &basis, second, master)?];
                self.between(&basis, ends, sense.is_true().unwrap_or(true))?
            }
            _ => {
                let basis = self.basis(id, depth)?;
                let (start, end) = basis.range().ok_or_else(|| Problem::at(id, "this curve has no ends"))?;
                self.file.spend(basis.cost())?;
                basis.sample(start, end, self.sag_share)
            }
        };
        if points.iter().all(|point| point.iter().all(|number| number.is_finite())) {
            Ok(points)
        } else {
            Err(Problem::at(id, "its numbers are too large"))
        }
    }

    fn vertex(&self, id: u32) -> Result<Point3<f64>, Problem> {
        match self.file.record(id)?.simple() {
            Some((b"VERTEX_POINT", [_, Value::Reference(place)])) => point(self.file, *place),
            _ => Err(Problem::at(id, "it is no vertex")),
        }
    }

    fn edge(
        &self,
        id: u32,
        [from, to]: [u32; 2],
        curve: u32,
        is_along: bool,
        depth: u32,
    ) -> Result<Vec<Point3<f64>>, Problem> {
        let (start, end) = (self.vertex(from)?, self.vertex(to)?);
        let basis = self.basis(curve, depth + 1)?;
        self.file.spend(basis.cost())?;
        let size = basis.size().max((end - start).norm());
        let ends = [start, end].map(|vertex| (basis.parameter_of(&vertex), vertex));
        if ends.iter().any(|(place, vertex)| (basis.at(*place) - vertex).norm() > OFF_SHARE * size) {
            return Err(Problem::at(id, "a vertex lies off the edge's curve"));
        }
        let [(first, _), (second, _)] = ends;
        if from == to || (start - end).norm() <= 1e-9 * size {
            return self.between(&basis, [first, first], is_along);
        }
        self.between(&basis, [first, second], is_along)
    }

    /// From one parameter to another, along the curve or against it; round a closed curve where needed.
    fn between(
        &self,
        basis: &Basis,
        [from, to]: [f64; 2],
        is_along: bool,
    ) -> Result<Vec<Point3<f64>>, Problem> {
        self.file.spend(basis.cost())?;
        let (low, high) = if is_along { (from, to) } else { (to, from) };
        let mut points = match (basis, basis.range()) {
            (Basis::Conic { .. }, _) => {
                let turn = (high - low).rem_euclid(TAU);
                let turn = if (1e-9..=TAU - 1e-9).contains(&turn) { turn } else { TAU };
                basis.sample(low, low + turn, self.sag_share)
            }
            (_, Some((start, end))) if high <= low && basis.is_closed() => {
                let mut round = if low < end { basis.sample(low, end, self.sag_share) } else { Vec::new() };
                if high > start {
                    round.extend(
                        basis.sample(start, high, self.sag_share).into_iter().skip(usize::from(low < end)),
                    );
                }
                round
            }
            _ if high < low => {
                let mut back = basis.sample(high, low, self.sag_share);
                back.reverse();
                back
            }
            _ => basis.sample(low, high, self.sag_share),
        };
        if !is_along {
            points.reverse();
        }
        Ok(points)
    }

    /// One end of a trimmed curve, by its parameter or its point as the file prefers; by its point where the two are not the
    /// same place, since writers are known that count parameters by rules of their own.
    fn trim(&self, id: u32, basis: &Basis, given: &[Value<'_>], master: &Value<'_>) -> Result<f64, Problem> {
        let (mut number, mut place) = (None, None);
        for value in given {
            match value {
                Value::Reference(point_id) => place = Some(point(self.file, *point_id)?),
                value => number = value.number(),
            }
        }
        let number = number.map(|number| self.parameter(id, basis, number)).transpose();
        let Some(place) = place else {
            return number?.ok_or_else(|| Problem::at(id, "an end is missing, or neither point nor number"));
        };
        self.file.spend(basis.cost())?;
        let wants_point = *master == Value::Word(b"CARTESIAN");
        match number.ok().flatten().filter(|_| !wants_point) {
            Some(number) if (basis.at(number) - place).norm() <= OFF_SHARE * basis.size() => Ok(number),
            _ => Ok(basis.parameter_of(&place)),
        }
    }

    /// A parameter as the file gives it, in this reader's terms.
    fn parameter(&self, id: u32, basis: &Basis, number: f64) -> Result<f64, Problem> {
        match (basis, basis.range()) {
            (Basis::Conic { .. }, _) => Ok(number * self.angle_rad),
            (Basis::Chain(_), _) => Err(Problem::at(id, "a chain of curves is cut by a number")),
            (_, Some((start, end))) => Ok(number.clamp(start, end)),
            _ => Ok(number),
        }
    }

    fn basis(&self, id: u32, depth: u32) -> Result<Basis, Problem> {
        let file = self.file;
        let record = file.record(id)?;
        if depth > DEEPEST {
            return Err(Problem::at(id, "curves are nested too deep"));
        }
        match record.simple() {
            Some((b"LINE", [_, Value::Reference(start), Value::Reference(along)])) => {
                self.line(id, *start, *along)
            }
            Some((b"CIRCLE", [_, Value::Reference(place), Value::Number(radius)])) => {
                let radii = above_zero(id, [*radius; 2])?;
                Ok(Basis::Conic { placement: placement(file, *place)?, radii })
            }
            Some((b"ELLIPSE", [_, Value::Reference(place), Value::Number(first), Value::Number(second)])) => {
                let radii = above_zero(id, [*first, *second])?;
                Ok(Basis::Conic { placement: placement(file, *place)?, radii })
            }
            Some((b"PARABOLA", [_, Value::Reference(place), Value::Number(focus)])) => {
                let focus = above_zero(id, [*focus])?[0];
                Ok(Basis::Parabola { placement: placement(file, *place)?, focus })
            }
            Some((
                b"HYPERBOLA",
                [_, Value::Reference(place), Value::Number(first), Value::Number(second)],
            )) => {
                let radii = above_zero(id, [*first, *second])?;
                Ok(Basis::Hyperbola { placement: placement(file, *place)?, radii })
            }
            Some((b"POLYLINE", [_, Value::List(points)])) => Ok(Basis::Chain(self.point_list(id, points)?)),
            Some((b"COMPOSITE_CURVE", [_, Value::List(segments), ..])) => self.composite(id, segments, depth),
            Some((
                b"SURFACE_CURVE" | b"SEAM_CURVE" | b"INTERSECTION_CURVE" | b"BOUNDED_SURFACE_CURVE",
                [_, Value::Reference(curve), ..],
            )) => self.basis(*curve, depth + 1),
            Some((b"TRIMMED_CURVE", _)) => Ok(Basis::Chain(self.points_at(id, depth + 1)?)),
            _ => self.spline(&record),
        }
    }

    fn line(&self, id: u32, start: u32, along: u32) -> Result<Basis, Problem> {
        let start = point(self.file, start)?;
        match self.file.record(along)?.simple() {
            Some((b"VECTOR", [_, Value::Reference(towards), Value::Number(length)])) if *length > 0.0 => {
                let along = direction(self.file, *towards)? * *length;
                Ok(Basis::Line { start, along })
            }
            _ => Err(Problem::at(id, "this line has no direction")),
        }
    }

    fn point_list(&self, id: u32, list: &[Value<'_>]) -> Result<Vec<Point3<f64>>, Problem> {
        let places = list.iter().map(|value| match value.reference() {
            Some(place) => point(self.file, place),
            None => Err(Problem::at(id, "a corner is no reference to a point")),
        });
        let points = places.collect::<Result<Vec<_>, _>>()?;
        if points.len() < 2 { Err(Problem::at(id, "it has fewer than two points")) } else { Ok(points) }
    }

    fn composite(&self, id: u32, segments: &[Value<'_>], depth: u32) -> Result<Basis, Problem> {
        let mut chain: Vec<Point3<f64>> = Vec::new();
        for segment in segments {
            let segment = segment.reference().ok_or_else(|| Problem::at(id, "a segment is no reference"))?;
            let record = self.file.record(segment)?;
            let Some((_, [_, sense, Value::Reference(curve), ..])) = record.simple() else {
                return Err(Problem::at(segment, "it is no segment of a curve"));
            };
            let mut points = self.points_at(*curve, depth + 1)?;
            if sense.is_true() == Some(false) {
                points.reverse();
            }
            let off = chain.last().zip(points.first()).map(|(end, start)| (end - start).norm());
            if off.is_some_and(|off| off > OFF_SHARE * size_of(&points)) {
                return Err(Problem::at(segment, "this segment does not begin where the one before it ends"));
            }
            chain.extend(points.into_iter().skip(usize::from(off.is_some())));
            self.file.spend(8 * chain.len() as u64)?;
        }
        if chain.len() < 2 { Err(Problem::at(id, "it has no segments")) } else { Ok(Basis::Chain(chain)) }
    }

    /// Simple and complex B-splines; the knots of those without are in ISO 10303-42, 4.4.
    fn spline(&self, record: &Record<'_>) -> Result<Basis, Problem> {
        let bad = |text: &str| Problem::at(record.id, text);
        let (kind, shape, knots) = match record.simple() {
            Some((kind, values)) if kind == b"B_SPLINE_CURVE_WITH_KNOTS" || kind.ends_with(b"_CURVE") => {
                (kind, values.get(1..), values.get(6..))
            }
            Some(_) => return Err(bad("this kind of curve is not known here")),
            None => {
                let kinds: [&[u8]; 4] =
                    [b"B_SPLINE_CURVE_WITH_KNOTS", b"BEZIER_CURVE", b"QUASI_UNIFORM_CURVE", b"UNIFORM_CURVE"];
                let kind = kinds.into_iter().find(|kind| record.part(kind).is_some()).unwrap_or_default();
                (kind, record.part(b"B_SPLINE_CURVE"), record.part(kind))
            }
        };
        let Some([Value::Number(degree), Value::List(poles), ..]) = shape else {
            return Err(bad("this kind of curve is not known here"));
        };
        let (degree, poles) = (*degree as usize, self.point_list(record.id, poles)?);
        let knots = match (kind, knots) {
            (b"B_SPLINE_CURVE_WITH_KNOTS", Some([Value::List(counts), Value::List(values), ..])) => {
                given_knots(counts, values, poles.len() + degree + 1)
            }
            _ => made_knots(kind, degree, poles.len()),
        };
        let weights = record.part(b"RATIONAL_B_SPLINE_CURVE").and_then(|values| values.first()?.list());
        let weights: Option<Vec<f64>> =
            weights.map(|weights| weights.iter().map(|weight| weight.number().unwrap_or(0.0)).collect());
        let spline = knots.and_then(|knots| Nurbs::new(degree, knots, &poles, weights.as_deref()));
        spline
            .map(Basis::Spline)
            .ok_or_else(|| bad("knots, points and weights of this spline do not fit together"))
    }
}

fn above_zero<const N: usize>(id: u32, lengths: [f64; N]) -> Result<[f64; N], Problem> {
    if lengths.iter().all(|length| *length > 0.0) {
        Ok(lengths)
    } else {
        Err(Problem::at(id, "a radius or focal length is not above zero"))
    }
}

/// Knots written with how often each comes; `count` in all, or nothing.
fn given_knots(counts: &[Value<'_>], values: &[Value<'_>], count: usize) -> Option<Vec<f64>> {
    let mut knots = Vec::new();
    for (times, value) in counts.iter().zip(values) {
        let times = times.number()?;
        if !(0.0..=count as f64).contains(&times) || knots.len() > count {
            return None;
        }
        knots.extend(std::iter::repeat_n(value.number()?, times as usize));
    }
    Some(knots)
}

/// Knots of the kinds that have them by definition.
fn made_knots(kind: &[u8], degree: usize, pole_count: usize) -> Option<Vec<f64>> {
    if !(1..=pole_count).contains(&degree) {
        return None;
    }
    let count = pole_count + degree + 1;
    let knot = |place: usize| match kind {
        b"UNIFORM_CURVE" => Some(place as f64 - degree as f64),
        b"QUASI_UNIFORM_CURVE" => Some(place.clamp(degree, pole_count) as f64 - degree as f64),
        // Pieces of Bezier curves: each inner knot as often as the degree.
        b"BEZIER_CURVE" if (pole_count - 1).is_multiple_of(degree) => {
            Some((place.saturating_sub(1) / degree).min((pole_count - 1) / degree) as f64)
        }
        _ => None,
    };
    (0..count).map(knot).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_without_knots_have_those_of_the_standard() {
        assert_eq!(made_knots(b"BEZIER_CURVE", 3, 4).unwrap(), [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0]);
        assert_eq!(made_knots(b"BEZIER_CURVE", 2, 5).unwrap(), [0.0, 0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 2.0]);
        assert_eq!(made_knots(b"UNIFORM_CURVE", 2, 3).unwrap(), [-2.0, -1.0, 0.0, 1.0, 2.0, 3.0]);
        assert_eq!(made_knots(b"QUASI_UNIFORM_CURVE", 2, 4).unwrap(), [0.0, 0.0, 0.0, 1.0, 2.0, 2.0, 2.0]);
        assert_eq!(made_knots(b"BEZIER_CURVE", 3, 5), None);
    }
}
