//! Curves of a DXF file, by layer.
//!
//! In: bytes of a file in text, which layer is wanted. Out: one curve for each layer, or several named `LAYER-2`, `LAYER-3`
//! where the pieces of a layer do not meet; other layers by name only. Units: `$INSUNITS`.
//! Method: group codes as in the DXF reference of 2024: LINE, LWPOLYLINE and POLYLINE with bulges (tangent of a quarter of the
//! angle), ARC, CIRCLE, ELLIPSE, SPLINE; object planes by the arbitrary-axis rule; entities one by one, so that memory does not
//! grow with the drawing. A spline that has only points to go through is taken as those points.
//! Does not read blocks, meshes, paper space, nor files in binary.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::path::Path;

use nalgebra::{Point3, Vector3};

use super::curve_file::{Fineness, MOST_CURVE_POINTS, RawCurve};
use super::number_table::parse_number;
use super::nurbs::Nurbs;
use super::read_error::ReadError;
use crate::units::LengthUnit;

const FORMAT: &str = "DXF";
/// Largest turn between two points of an arc, radians: 5°.
const LARGEST_TURN: f64 = TAU / 72.0;
/// Values of one entity: a polyline of some hundred thousand corners.
const MOST_VALUES: usize = 1_000_000;
/// First bytes of a file in binary.
const BINARY_MARK: &[u8] = b"AutoCAD Binary DXF";

/// One entity: its kind and its group codes.
#[derive(Default)]
struct Entity<'a> {
    kind: &'a [u8],
    groups: Vec<(i32, &'a [u8])>,
}

/// The pieces of one layer.
type Pieces = Vec<Vec<Point3<f64>>>;

/// True for text that looks like DXF.
pub(super) fn is_dxf(bytes: &[u8]) -> bool {
    let mut words = bytes.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    let mut first = words.next();
    while first == Some(b"999") {
        words.next();
        first = words.next();
    }
    bytes.starts_with(BINARY_MARK) || (first == Some(b"0") && words.next() == Some(b"SECTION"))
}

/// Reads the curves of a DXF file: those of one layer, or all.
pub(super) fn read(
    path: &Path,
    bytes: &[u8],
    wanted: Option<&str>,
    fineness: &Fineness,
) -> Result<Vec<RawCurve>, ReadError> {
    let bad = |problem: &str| ReadError::malformed(path, FORMAT, "its entities", problem);
    if bytes.starts_with(BINARY_MARK) {
        return Err(bad("it is in binary; save it as text"));
    }
    let mut drawing = Drawing { wanted, fineness, layers: BTreeMap::new(), point_count: 0, polyline: None };
    let mut unit = None;
    let (mut section, mut before): (&[u8], (i32, &[u8])) = (b"", (0, b""));
    let mut entity = Entity::default();
    for (code, value) in groups_of(bytes) {
        if before == (9, b"$INSUNITS".as_slice()) {
            unit = unit_of(path, value, fineness.plan_unit)?;
        }
        if (before, code) == ((0, b"SECTION".as_slice()), 2) {
            section = value;
        }
        before = (code, value);
        if section != b"ENTITIES" {
            continue;
        }
        if code == 0 {
            drawing.take(&std::mem::replace(&mut entity, Entity { kind: value, groups: Vec::new() }));
            if value == b"ENDSEC" {
                section = b"";
            }
        } else if entity.groups.len() < MOST_VALUES {
            entity.groups.push((code, value));
        } else {
            return Err(bad("an entity has too many values"));
        }
        if drawing.point_count > MOST_CURVE_POINTS {
            return Err(bad("its curves have too many points; name a layer of seams only, as FILE#LAYER"));
        }
    }
    if drawing.layers.is_empty() {
        return Err(bad("it has no lines, arcs, polylines or splines"));
    }
    Ok(RawCurve::of_groups(drawing.layers, fineness.join, unit))
}

/// Pairs of lines: code and value.
fn groups_of(bytes: &[u8]) -> impl Iterator<Item = (i32, &[u8])> {
    let mut lines = bytes.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    std::iter::from_fn(move || {
        let (code, value) = (lines.next()?, lines.next()?);
        Some((std::str::from_utf8(code).ok()?.parse().ok()?, value))
    })
}

/// The unit of `$INSUNITS`; none where the drawing says "unitless".
fn unit_of(path: &Path, code: &[u8], plan_unit: LengthUnit) -> Result<Option<LengthUnit>, ReadError> {
    Ok(Some(match code {
        b"0" => return Ok(None),
        b"1" => LengthUnit::Inch,
        b"4" => LengthUnit::Millimetre,
        b"5" => LengthUnit::Centimetre,
        b"6" => LengthUnit::Metre,
        _ => {
            let file_unit =
                format!("the unit number {} of $INSUNITS", String::from_utf8_lossy(code).escape_debug());
            let path = path.to_owned();
            return Err(ReadError::UnitContradiction { path, file_unit, plan_unit: plan_unit.symbol() });
        }
    }))
}

/// What has been drawn so far.
struct Drawing<'a, 'f> {
    wanted: Option<&'f str>,
    fineness: &'f Fineness,
    layers: BTreeMap<String, Pieces>,
    point_count: usize,
    /// A polyline whose corners are still coming.
    polyline: Option<(Entity<'a>, Vec<[f64; 4]>)>,
}

impl<'a> Drawing<'a, '_> {
    fn take(&mut self, entity: &Entity<'a>) {
        const CONTROL_CORNER: i64 = 16;
        match entity.kind {
            b"POLYLINE" => {
                let head = Entity { kind: entity.kind, groups: entity.groups.clone() };
                self.polyline = Some((head, Vec::new()));
            }
            b"VERTEX" => {
                if let Some((_, corners)) = &mut self.polyline
                    && entity.flags() & CONTROL_CORNER == 0
                    && corners.len() <= MOST_CURVE_POINTS
                {
                    corners.push([10, 20, 30, 42].map(|code| entity.number(code)));
                }
            }
            b"SEQEND" => {
                if let Some((head, corners)) = self.polyline.take() {
                    self.add(&head, |head| head.polyline(&corners, self.fineness));
                }
            }
            _ if entity.is_curve() => self.add(entity, |entity| entity.points(self.fineness)),
            _ => {}
        }
    }

    /// Adds a piece to its layer; layers that are not wanted keep their name only.
    fn add(&mut self, entity: &Entity<'_>, points: impl FnOnce(&Entity<'_>) -> Option<Vec<Point3<f64>>>) {
        const PAPER_SPACE: i32 = 67;
        if entity.number(PAPER_SPACE) == 1.0 {
            return;
        }
        let layer = entity.layer();
        if self.wanted.is_some_and(|wanted| !RawCurve::is_name_of(&layer, wanted)) {
            self.layers.entry(layer).or_default();
        } else if let Some(points) = points(entity) {
            self.point_count += points.len();
            self.layers.entry(layer).or_default().push(points);
        }
    }
}

impl Entity<'_> {
    fn all(&self, code: i32) -> impl Iterator<Item = f64> {
        self.groups
            .iter()
            .filter(move |(found, _)| *found == code)
            .filter_map(|(_, value)| parse_number(value))
    }

    fn number(&self, code: i32) -> f64 {
        self.all(code).next().unwrap_or(0.0)
    }

    fn layer(&self) -> String {
        let name = self.groups.iter().find(|(code, _)| *code == 8).map(|(_, value)| *value);
        String::from_utf8_lossy(name.unwrap_or(b"0")).into_owned()
    }

    fn flags(&self) -> i64 {
        self.number(70) as i64
    }

    fn is_closed(&self) -> bool {
        self.flags() & 1 == 1
    }

    fn is_curve(&self) -> bool {
        let kinds: [&[u8]; 6] = [b"LINE", b"ARC", b"CIRCLE", b"ELLIPSE", b"LWPOLYLINE", b"SPLINE"];
        kinds.contains(&self.kind)
    }

    fn vector(&self, code: i32) -> Vector3<f64> {
        Vector3::new(self.number(code), self.number(code + 10), self.number(code + 20))
    }

    /// The axes of the object's plane: the arbitrary-axis rule.
    fn plane(&self) -> [Vector3<f64>; 3] {
        let given = self.groups.iter().any(|(code, _)| *code == 210).then(|| self.vector(210));
        let normal = given.and_then(|normal| normal.try_normalize(1e-9)).unwrap_or_else(Vector3::z);
        let is_steep = normal.x.abs() < 1.0 / 64.0 && normal.y.abs() < 1.0 / 64.0;
        let helper = if is_steep { Vector3::y() } else { Vector3::z() };
        let first = helper.cross(&normal).normalize();
        [first, normal.cross(&first), normal]
    }

    fn in_plane(&self, [x, y, z]: [f64; 3]) -> Point3<f64> {
        let [first, second, normal] = self.plane();
        Point3::from(first * x + second * y + normal * z)
    }

    fn points(&self, fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
        match self.kind {
            b"LINE" => Some(vec![Point3::from(self.vector(10)), Point3::from(self.vector(11))]),
            b"ARC" => Some(self.arc(self.number(50).to_radians(), self.number(51).to_radians(), fineness)),
            b"CIRCLE" => Some(self.arc(0.0, TAU, fineness)),
            b"ELLIPSE" => Some(self.ellipse(fineness)),
            b"LWPOLYLINE" => self.light_polyline(fineness),
            b"SPLINE" => self.spline(fineness),
            _ => None,
        }
    }

    fn arc(&self, from: f64, to: f64, fineness: &Fineness) -> Vec<Point3<f64>> {
        let (center, radius) = (self.vector(10), self.number(40));
        let place = |angle: f64| {
            self.in_plane([center.x + radius * angle.cos(), center.y + radius * angle.sin(), center.z])
        };
        turn(from, to, radius, fineness).into_iter().map(place).collect()
    }

    fn ellipse(&self, fineness: &Fineness) -> Vec<Point3<f64>> {
        let (center, major) = (self.vector(10), self.vector(11));
        let [_, _, normal] = self.plane();
        // The ratio is that of the axes' lengths, also where the axis given is not quite in the plane.
        let sideways = normal.cross(&major).try_normalize(1e-12).unwrap_or_default();
        let minor = sideways * (major.norm() * self.number(40));
        let place = |angle: f64| Point3::from(center + major * angle.cos() + minor * angle.sin());
        turn(self.number(41), self.number(42), major.norm(), fineness).into_iter().map(place).collect()
    }

    fn light_polyline(&self, fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
        let height = self.number(38);
        let mut corners: Vec<[f64; 4]> = Vec::new();
        for (code, value) in &self.groups {
            let value = parse_number(value).unwrap_or(0.0);
            match (code, corners.last_mut()) {
                (10, _) => corners.push([value, 0.0, height, 0.0]),
                (20, Some([_, y, ..])) => *y = value,
                (42, Some([.., bulge])) => *bulge = value,
                _ => {}
            }
        }
        self.polyline(&corners, fineness)
    }

    /// Corners x, y, z, bulge to points; nothing for meshes.
    fn polyline(&self, corners: &[[f64; 4]], fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
        const IN_SPACE: i64 = 8;
        const MESH: i64 = 16 | 64;
        let flags = if self.kind == b"POLYLINE" { self.flags() } else { 0 };
        if flags & MESH != 0 {
            return None;
        }
        let closing = if self.is_closed() { corners.first() } else { None };
        if flags & IN_SPACE != 0 {
            let corners = corners.iter().chain(closing);
            return Some(corners.map(|[x, y, z, _]| Point3::new(*x, *y, *z)).collect());
        }
        let mut points = Vec::new();
        let ends = corners.iter().skip(1).chain(closing);
        for (corner, [end_x, end_y, ..]) in corners.iter().zip(ends) {
            let [x, y, z, _] = *corner;
            points.push(self.in_plane([x, y, z]));
            points.extend(bulge_places(corner, [*end_x, *end_y], fineness).map(|place| self.in_plane(place)));
        }
        points.extend(closing.or(corners.last()).map(|[x, y, z, _]| self.in_plane([*x, *y, *z])));
        Some(points)
    }

    fn spline(&self, fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
        let triples = |code: i32| {
            self.all(code)
                .zip(self.all(code + 10))
                .zip(self.all(code + 20))
                .map(|((x, y), z)| Point3::new(x, y, z))
        };
        let poles: Vec<Point3<f64>> = triples(10).collect();
        let knots: Vec<f64> = self.all(40).collect();
        let weights: Vec<f64> = self.all(41).collect();
        let weights = (weights.len() == poles.len()).then_some(weights.as_slice());
        let spline = Nurbs::new(self.number(71) as usize, knots, &poles, weights).map(|spline| {
            let (start, end) = spline.range();
            spline.sample(start, end, fineness.sag)
        });
        spline.or_else(|| Some(triples(11).collect()).filter(|through: &Vec<_>| through.len() > 1))
    }
}

/// The inner points of the arc from a corner (x, y, z, bulge) to the next, in the object's plane.
fn bulge_places(corner: &[f64; 4], end: [f64; 2], fineness: &Fineness) -> impl Iterator<Item = [f64; 3]> {
    let [x, y, z, bulge] = *corner;
    let half = Vector3::new(end[0] - x, end[1] - y, 0.0) / 2.0;
    let is_arc = bulge != 0.0 && half.norm() > 0.0;
    let bulge = if is_arc { bulge } else { 1.0 };
    // The centre lies off the chord's middle by (1 - b²) / 4b chords, to the left for a positive bulge.
    let left = Vector3::new(-half.y, half.x, 0.0) * ((1.0 - bulge * bulge) / (2.0 * bulge));
    let corner = Vector3::new(x, y, z);
    let center = corner + half + left;
    let arm = corner - center;
    let angle = 4.0 * bulge.atan();
    let steps = if is_arc { steps_of(angle, arm.norm(), fineness) } else { 1 };
    (1..steps).map(move |step| {
        let (sine, cosine) = (angle * step as f64 / steps as f64).sin_cos();
        [center.x + arm.x * cosine - arm.y * sine, center.y + arm.x * sine + arm.y * cosine, z]
    })
}

/// How many chords an arc is cut into: an even number, so that its middle is a point.
fn steps_of(angle: f64, radius: f64, fineness: &Fineness) -> usize {
    let turn = (2.0 * (1.0 - fineness.sag / radius.abs()).clamp(-1.0, 1.0).acos()).min(LARGEST_TURN);
    let pairs = (angle.abs() / turn / 2.0).ceil();
    if pairs.is_finite() { 2 * pairs.clamp(1.0, 5000.0) as usize } else { 2 }
}

/// Angles from `from` up to `to`, with both.
fn turn(from: f64, to: f64, radius: f64, fineness: &Fineness) -> Vec<f64> {
    let angle = if (to - from).rem_euclid(TAU) < 1e-9 { TAU } else { (to - from).rem_euclid(TAU) };
    let steps = steps_of(angle, radius, fineness);
    (0..=steps).map(|step| from + angle * step as f64 / steps as f64).collect()
}
