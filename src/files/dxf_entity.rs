//! One entity of a DXF file and the points of its curve.
//!
//! In: group codes. Out: points in the drawing's axes and unit; nothing where the entity is no curve.
//! Method: group codes as in the DXF reference of 2024; object planes by the arbitrary-axis rule. A spline that has only points
//! to go through is taken as those points. Does not know blocks: `dxf_blocks` places them.

use std::f64::consts::TAU;

use nalgebra::{Point3, Vector3};

use super::curve_file::Fineness;
use super::number_table::parse_number;
use super::nurbs::Nurbs;

/// Largest turn between two points of an arc, radians: 5°.
const LARGEST_TURN: f64 = TAU / 72.0;

/// One entity: its kind and its group codes.
#[derive(Default)]
pub(super) struct Entity<'a> {
    pub kind: &'a [u8],
    pub groups: Vec<(i32, &'a [u8])>,
}

impl Entity<'_> {
    fn all(&self, code: i32) -> impl Iterator<Item = f64> {
        self.groups
            .iter()
            .filter(move |(found, _)| *found == code)
            .filter_map(|(_, value)| parse_number(value))
    }

    pub fn number(&self, code: i32) -> f64 {
        self.all(code).next().unwrap_or(0.0)
    }

    /// The text of the first group with a code.
    pub fn text(&self, code: i32) -> Option<&[u8]> {
        self.groups.iter().find(|(found, _)| *found == code).map(|(_, value)| *value)
    }

    pub fn layer(&self) -> String {
        String::from_utf8_lossy(self.text(8).unwrap_or(b"0")).into_owned()
    }

    /// True for what is drawn on the sheet and not in space.
    pub fn is_on_paper(&self) -> bool {
        const PAPER_SPACE: i32 = 67;
        self.number(PAPER_SPACE) == 1.0
    }

    pub fn flags(&self) -> i64 {
        self.number(70) as i64
    }

    fn is_closed(&self) -> bool {
        self.flags() & 1 == 1
    }

    pub fn is_curve(&self) -> bool {
        let kinds: [&[u8]; 6] = [b"LINE", b"ARC", b"CIRCLE", b"ELLIPSE", b"LWPOLYLINE", b"SPLINE"];
        kinds.contains(&self.kind)
    }

    pub fn vector(&self, code: i32) -> Vector3<f64> {
        Vector3::new(self.number(code), self.number(code + 10), self.number(code + 20))
    }

    /// The axes of the object's plane: the arbitrary-axis rule.
    pub fn plane(&self) -> [Vector3<f64>; 3] {
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

    pub fn points(&self, fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
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
    pub fn polyline(&self, corners: &[[f64; 4]], fineness: &Fineness) -> Option<Vec<Point3<f64>>> {
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
