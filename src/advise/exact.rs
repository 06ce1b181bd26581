//! Gap and flush after panels were moved, read from the moved edges and surfaces.
//!
//! In: a judged seam, the rigid motions of its two panels. Out: the change of gap and flush at each station. mm; Car frame.
//! Method: each panel's edge points, and its surface points over mid-gap with their slopes, are moved as they are; where they
//! cross the station's plane again is found on a parabola through the neighbouring stations; the section is levelled on the
//! moved datum surface and gap and flush are read as `measure` defines them (methods `edge` and `mid-gap`), before and after.
//! The difference is the change; it holds for the other methods too as far as hems keep their shape.
//! What it adds to the linear form: sliding along a gap that tapers, and turning about the seam.
//! Where a reading came without edges (a table), they are put half a gap to either side of the station's point.

use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};

use crate::geometry::CurveFrame;
use crate::judge::{JudgedReading, JudgedSeam};
use crate::plan::Seam;
use crate::summarise::datum_to_other;

/// A rigid motion of one panel: turned by the rotation vector about the pivot, then shifted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelPose {
    /// Car frame, mm.
    pub pivot: Point3<f64>,
    pub shift_mm: Vector3<f64>,
    pub rotation_rad: Vector3<f64>,
}

impl PanelPose {
    /// The motion as an isometry of the Car frame.
    #[must_use]
    pub fn isometry(&self) -> Isometry3<f64> {
        let turn = UnitQuaternion::from_scaled_axis(self.rotation_rad);
        let shift = self.pivot.coords - turn * self.pivot.coords + self.shift_mm;
        Isometry3::from_parts(Translation3::from(shift), turn)
    }

    /// Displacement of a point, mm.
    #[must_use]
    pub fn displacement_mm(&self, point: &Point3<f64>) -> Vector3<f64> {
        self.isometry() * point - point
    }
}

/// Stations nearer together than this along the seam tell no direction, mm.
const LEAST_RUN_MM: f64 = 1e-3;

/// One panel at one station.
#[derive(Debug, Clone, Copy)]
struct PanelPlace {
    edge: Point3<f64>,
    /// On the outer surface, continued to mid-gap.
    surface: Point3<f64>,
    /// Direction of the surface across the seam.
    slope: Vector3<f64>,
}

/// Change of gap and of flush at each station of a seam, mm; `None` where the station was not measured.
/// `moves`: the datum panel's motion, then the other's.
#[must_use]
pub fn changes_exactly(
    seam: &Seam,
    judged: &JudgedSeam,
    moves: &[Isometry3<f64>; 2],
) -> Vec<[Option<f64>; 2]> {
    let still: Vec<Option<[PanelPlace; 2]>> =
        judged.stations.iter().map(|station| places(seam, station)).collect();
    let moved: Vec<Option<[PanelPlace; 2]>> = still
        .iter()
        .map(|pair| pair.map(|pair| [shifted(&pair[0], &moves[0]), shifted(&pair[1], &moves[1])]))
        .collect();
    judged
        .stations
        .iter()
        .enumerate()
        .map(|(index, station)| {
            let frame = &station.reading.frame;
            let before = read(seam, frame, frame.outward, &still, index);
            let after = read(seam, frame, moves[0].rotation * frame.outward, &moved, index);
            let seen = [station.reading.gap.is_ok(), station.reading.flush.is_ok()];
            let change =
                before.zip(after).map(|(before, after)| [after[0] - before[0], after[1] - before[1]]);
            [0, 1].map(|kind| change.filter(|_| seen[kind]).map(|change| change[kind]))
        })
        .collect()
}

fn shifted(place: &PanelPlace, motion: &Isometry3<f64>) -> PanelPlace {
    PanelPlace {
        edge: motion * place.edge,
        surface: motion * place.surface,
        slope: motion.rotation * place.slope,
    }
}

/// Both panels at a station as they were measured.
fn places(seam: &Seam, station: &JudgedReading) -> Option<[PanelPlace; 2]> {
    let reading = &station.reading;
    let frame = &reading.frame;
    let towards = datum_to_other(seam.datum_side, frame);
    let gap_mm = reading.gap.as_ref().ok().map(|gap| gap.value_mm);
    let flush_mm = reading.flush.as_ref().ok().map(|flush| flush.value_mm);
    if gap_mm.is_none() && flush_mm.is_none() {
        return None;
    }
    let half_mm = gap_mm.unwrap_or(0.0) / 2.0;
    let place = |side: usize, sign: f64, height_mm: f64| {
        let edge = reading.edges[side].as_ref();
        PanelPlace {
            edge: edge.map_or(frame.origin + towards * (sign * half_mm), |edge| edge.point),
            surface: frame.origin + frame.outward * edge.map_or(height_mm, |edge| edge.surface_height_mm),
            slope: frame.across() + frame.outward * edge.map_or(0.0, |edge| edge.surface_slope_rad.tan()),
        }
    };
    Some([place(0, -1.0, 0.0), place(1, 1.0, flush_mm.unwrap_or(0.0))])
}

/// Gap and flush at a station from panels' places along the seam.
fn read(
    seam: &Seam,
    frame: &CurveFrame,
    outward: Vector3<f64>,
    panels: &[Option<[PanelPlace; 2]>],
    index: usize,
) -> Option<[f64; 2]> {
    let outward = (outward - frame.along * outward.dot(&frame.along)).try_normalize(1e-9)?;
    let towards =
        datum_to_other(seam.datum_side, &CurveFrame { origin: frame.origin, along: frame.along, outward });
    let edge = |side: usize| crossing(frame, panels, index, |place| place[side].edge);
    let (datum, other) = (edge(0)?, edge(1)?);
    let middle = nalgebra::center(&datum, &other);
    let height = |side: usize| -> Option<f64> {
        let surface = crossing(frame, panels, index, |place| place[side].surface)?;
        let slope = panels[index].as_ref()?[side].slope;
        let across_mm = (middle - surface).dot(&towards);
        let rise = slope.dot(&outward) / slope.dot(&towards);
        Some((surface - middle).dot(&outward) + rise * across_mm)
    };
    Some([(other - datum).dot(&towards), height(1)? - height(0)?])
}

/// Where the line through the places of a station and its neighbours crosses the station's plane.
fn crossing(
    frame: &CurveFrame,
    panels: &[Option<[PanelPlace; 2]>],
    index: usize,
    pick: impl Fn(&[PanelPlace; 2]) -> Point3<f64>,
) -> Option<Point3<f64>> {
    let own = pick(panels.get(index)?.as_ref()?);
    let beyond_mm = |point: &Point3<f64>| (point - frame.origin).dot(&frame.along);
    let neighbour = |step: isize| {
        let place = index.checked_add_signed(step)?;
        panels.get(place)?.as_ref().map(&pick)
    };
    let own_mm = beyond_mm(&own);
    // The nearest two others, on both sides where there are some.
    let others: Vec<Point3<f64>> = [-1, 1, 2, -2].into_iter().filter_map(neighbour).take(2).collect();
    match others[..] {
        [one, two] => parabola_at_zero([own_mm, beyond_mm(&one), beyond_mm(&two)], [own, one, two]),
        [one] => straight_at_zero(own_mm, own, one - own, frame),
        _ => straight_at_zero(own_mm, own, frame.along, frame),
    }
}

fn straight_at_zero(
    own_mm: f64,
    own: Point3<f64>,
    direction: Vector3<f64>,
    frame: &CurveFrame,
) -> Option<Point3<f64>> {
    let run_mm = direction.dot(&frame.along);
    (run_mm.abs() > LEAST_RUN_MM).then(|| own - direction * (own_mm / run_mm))
}

/// The point at distance 0 on the parabola through three points at given distances (Lagrange).
fn parabola_at_zero(at_mm: [f64; 3], points: [Point3<f64>; 3]) -> Option<Point3<f64>> {
    let [a, b, c] = at_mm;
    let spans = [(a - b) * (a - c), (b - a) * (b - c), (c - a) * (c - b)];
    if spans.iter().any(|span| span.abs() < LEAST_RUN_MM.powi(2)) {
        return None;
    }
    let shares = [b * c / spans[0], a * c / spans[1], a * b / spans[2]];
    let sum: Vector3<f64> = points.iter().zip(shares).map(|(point, share)| point.coords * share).sum();
    Some(Point3::from(sum))
}
