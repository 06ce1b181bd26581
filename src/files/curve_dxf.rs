//! Curves of a DXF file, by layer.
//!
//! In: bytes of a file in text. Out: one curve for each layer, or several named `LAYER-2`, `LAYER-3` where the pieces of a
//! layer do not meet. Units: `$INSUNITS`, where it is one of ours.
//! Method: group codes as in the DXF reference of 2024: LINE, LWPOLYLINE and POLYLINE with bulges (tangent of a quarter of the
//! angle), ARC, CIRCLE, ELLIPSE, SPLINE; object planes by the arbitrary-axis rule. Other entities are skipped.
//! Does not read blocks, nor files in binary.

use std::f64::consts::TAU;
use std::path::Path;

use nalgebra::{Point3, Vector3};

use super::curve_file::RawCurve;
use super::number_table::parse_number;
use super::nurbs;
use super::read_error::ReadError;
use crate::units::LengthUnit;

const FORMAT: &str = "DXF";
/// Chords leave a curve by at most this share of its size: 1 µm for a metre.
const SAG_SHARE: f64 = 1e-6;
/// Turn between two points of an arc, radians: a chord's sagitta is the radius times an eighth of its square.
const ARC_STEP: f64 = 2.83e-3;
/// Ends closer than this share of the piece's size meet.
const MEETING_SHARE: f64 = 1e-4;

/// One entity: its kind and its group codes.
struct Entity<'a> {
    kind: &'a [u8],
    groups: Vec<(i32, &'a [u8])>,
}

/// A run of points on a layer.
struct Piece {
    layer: String,
    points: Vec<Point3<f64>>,
}

/// True for text that looks like DXF.
pub(super) fn is_dxf(bytes: &[u8]) -> bool {
    let mut words = bytes.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    let mut first = words.next();
    while first == Some(b"999") {
        words.next();
        first = words.next();
    }
    first == Some(b"0") && words.next() == Some(b"SECTION")
}

/// Reads the curves of a DXF file.
pub(super) fn read(path: &Path, bytes: &[u8]) -> Result<Vec<RawCurve>, ReadError> {
    let groups: Vec<(i32, &[u8])> = groups_of(bytes);
    let unit = unit_of(&groups);
    let mut pieces = Vec::new();
    let mut polyline: Option<(Entity<'_>, Vec<[f64; 4]>)> = None;
    for entity in entities_of(&groups) {
        match entity.kind {
            b"POLYLINE" => polyline = Some((entity, Vec::new())),
            b"VERTEX" => {
                if let Some((_, corners)) = &mut polyline {
                    corners.push([
                        entity.number(10),
                        entity.number(20),
                        entity.number(30),
                        entity.number(42),
                    ]);
                }
            }
            b"SEQEND" => {
                if let Some((head, corners)) = polyline.take() {
                    pieces.push(Piece { layer: head.layer(), points: head.polyline(&corners) });
                }
            }
            _ => {
                if let Some(points) = entity.points() {
                    pieces.push(Piece { layer: entity.layer(), points });
                }
            }
        }
    }
    if pieces.is_empty() {
        let problem = "it has no lines, arcs, polylines or splines";
        return Err(ReadError::malformed(path, FORMAT, "its entities", problem));
    }
    Ok(join(pieces, unit))
}

/// Pairs of lines: code and value.
fn groups_of(bytes: &[u8]) -> Vec<(i32, &[u8])> {
    let mut lines = bytes.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    let mut groups = Vec::new();
    while let (Some(code), Some(value)) = (lines.next(), lines.next()) {
        let code = std::str::from_utf8(code).ok().and_then(|code| code.parse().ok());
        let Some(code) = code else { break };
        groups.push((code, value));
    }
    groups
}

fn unit_of(groups: &[(i32, &[u8])]) -> Option<LengthUnit> {
    let place = groups.iter().position(|(code, value)| *code == 9 && *value == b"$INSUNITS")?;
    match groups.get(place + 1)? {
        (70, b"1") => Some(LengthUnit::Inch),
        (70, b"4") => Some(LengthUnit::Millimetre),
        (70, b"5") => Some(LengthUnit::Centimetre),
        (70, b"6") => Some(LengthUnit::Metre),
        _ => None,
    }
}

fn entities_of<'a>(groups: &[(i32, &'a [u8])]) -> Vec<Entity<'a>> {
    let is_start = |pair: &[(i32, &[u8])]| matches!(pair, [(0, b"SECTION"), (2, b"ENTITIES")]);
    let start = groups.windows(2).position(is_start).map_or(groups.len(), |place| place + 2);
    let mut entities: Vec<Entity<'a>> = Vec::new();
    for (code, value) in groups.iter().skip(start) {
        match (code, entities.last_mut()) {
            (0, _) if *value == b"ENDSEC" => break,
            (0, _) => entities.push(Entity { kind: value, groups: Vec::new() }),
            (_, Some(entity)) => entity.groups.push((*code, value)),
            _ => {}
        }
    }
    entities
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

    fn is_closed(&self) -> bool {
        self.number(70) as i64 & 1 == 1
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

    fn points(&self) -> Option<Vec<Point3<f64>>> {
        match self.kind {
            b"LINE" => Some(vec![Point3::from(self.vector(10)), Point3::from(self.vector(11))]),
            b"ARC" => Some(self.arc(self.number(50).to_radians(), self.number(51).to_radians())),
            b"CIRCLE" => Some(self.arc(0.0, TAU)),
            b"ELLIPSE" => Some(self.ellipse()),
            b"LWPOLYLINE" => Some(self.light_polyline()),
            b"SPLINE" => self.spline(),
            _ => None,
        }
    }

    fn arc(&self, from: f64, to: f64) -> Vec<Point3<f64>> {
        let (center, radius) = (self.vector(10), self.number(40));
        let place = |angle: f64| {
            self.in_plane([center.x + radius * angle.cos(), center.y + radius * angle.sin(), center.z])
        };
        turn(from, to).into_iter().map(place).collect()
    }

    fn ellipse(&self) -> Vec<Point3<f64>> {
        let (center, major) = (self.vector(10), self.vector(11));
        let [_, _, normal] = self.plane();
        let minor = normal.cross(&major) * self.number(40);
        let place = |angle: f64| Point3::from(center + major * angle.cos() + minor * angle.sin());
        turn(self.number(41), self.number(42)).into_iter().map(place).collect()
    }

    fn light_polyline(&self) -> Vec<Point3<f64>> {
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
        self.polyline(&corners)
    }

    /// Corners x, y, z, bulge to points.
    fn polyline(&self, corners: &[[f64; 4]]) -> Vec<Point3<f64>> {
        const IN_SPACE: i64 = 8;
        if self.kind == b"POLYLINE" && self.number(70) as i64 & IN_SPACE != 0 {
            return corners.iter().map(|[x, y, z, _]| Point3::new(*x, *y, *z)).collect();
        }
        let mut points = Vec::new();
        let closing = if self.is_closed() { corners.first() } else { None };
        let ends = corners.iter().skip(1).chain(closing);
        for ([x, y, z, bulge], [end_x, end_y, ..]) in corners.iter().zip(ends) {
            let half = Vector3::new(end_x - x, end_y - y, 0.0) / 2.0;
            let steps =
                if *bulge == 0.0 { 1.0 } else { 2.0 * (2.0 * bulge.atan().abs() / ARC_STEP).ceil().max(1.0) };
            // The centre lies off the chord's middle by (1 - b²) / 4b chords, to the left for a positive bulge.
            let off = if *bulge == 0.0 { 0.0 } else { (1.0 - bulge * bulge) / (2.0 * bulge) };
            let left = Vector3::new(-half.y, half.x, 0.0);
            let center = Vector3::new(*x, *y, *z) + half + left * off;
            let arm = Vector3::new(*x, *y, *z) - center;
            for step in 0..steps as usize {
                let angle = 4.0 * bulge.atan() * step as f64 / steps;
                let turned = Vector3::new(
                    arm.x * angle.cos() - arm.y * angle.sin(),
                    arm.x * angle.sin() + arm.y * angle.cos(),
                    0.0,
                );
                let place = if *bulge == 0.0 { Vector3::new(*x, *y, *z) } else { center + turned };
                points.push(self.in_plane(place.into()));
            }
        }
        if let Some([x, y, z, _]) = closing.or(corners.last()) {
            points.push(self.in_plane([*x, *y, *z]));
        }
        points
    }

    fn spline(&self) -> Option<Vec<Point3<f64>>> {
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
        let size = nurbs::size_of(&poles);
        nurbs::Nurbs::new(self.number(71) as usize, knots, &poles, weights)
            .map(|spline| {
                let (start, end) = spline.range();
                spline.sample(start, end, SAG_SHARE * size)
            })
            .or_else(|| Some(triples(11).collect()).filter(|through: &Vec<_>| through.len() > 1))
    }
}

/// Angles from `from` up to `to`, at least two.
fn turn(from: f64, to: f64) -> Vec<f64> {
    let angle = if (to - from).rem_euclid(TAU) < 1e-9 { TAU } else { (to - from).rem_euclid(TAU) };
    let steps = (angle / ARC_STEP).ceil().clamp(1.0, 4000.0);
    (0..=steps as usize).map(|step| from + angle * step as f64 / steps).collect()
}

/// Joins pieces of one layer that meet, in the file's order, turning them round where needed.
fn join(pieces: Vec<Piece>, unit: Option<LengthUnit>) -> Vec<RawCurve> {
    let mut curves: Vec<(String, RawCurve)> = Vec::new();
    for mut piece in pieces {
        let ends = piece.points.first().copied().zip(piece.points.last().copied());
        let size = ends.map_or(0.0, |(first, last)| (last - first).norm());
        let meets = |a: &Point3<f64>, b: &Point3<f64>| (a - b).norm() <= MEETING_SHARE * size;
        let open = curves.iter_mut().rev().find(|(layer, _)| *layer == piece.layer);
        if let (Some((_, curve)), Some((first, last))) = (open, ends) {
            let (start, end) = (curve.points.first().copied(), curve.points.last().copied());
            let at_end = |point: &Point3<f64>| end.is_some_and(|end| meets(&end, point));
            let at_start = |point: &Point3<f64>| start.is_some_and(|start| meets(&start, point));
            let is_joined = at_end(&first) || at_end(&last) || at_start(&first) || at_start(&last);
            if !at_end(&first) && !at_end(&last) && is_joined {
                curve.points.reverse();
            }
            if is_joined {
                let is_forward = curve.points.last().is_some_and(|end| meets(end, &first));
                if !is_forward {
                    piece.points.reverse();
                }
                curve.points.extend(piece.points.drain(..).skip(1));
                continue;
            }
        }
        let known = curves.iter().filter(|(layer, _)| *layer == piece.layer).count();
        let name = if known == 0 { piece.layer.clone() } else { format!("{}-{}", piece.layer, known + 1) };
        let curve = RawCurve { name: Some(name), points: piece.points, normals: Vec::new(), unit };
        curves.push((piece.layer, curve));
    }
    curves.into_iter().map(|(_, curve)| curve).collect()
}
