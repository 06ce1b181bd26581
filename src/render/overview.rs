//! The car from several sides with its seams numbered and coloured, all views to one scale.
//!
//! In: seam lines in coloured pieces, and thinned scan points or panels as backdrop. Out: a [`Picture`].
//! Units: mm in the Car frame. Seams that face away from the eye are left out.
//! Does not project in perspective and does not hide anything behind surfaces.

use nalgebra::{Point3, Vector3};

use super::car_axes::FlatView;
use super::ink::{Ink, mark, severity};
use super::packing::pack;
use super::picture::{Anchor, Picture, Place, Stroke, Weight};
use super::raster::text_width;
use super::strip_lane::runs_of_out;
use crate::judge::{JudgedReading, JudgedSeam, Measurand, Verdict};
use crate::plan::Plan;

/// A stretch of a seam in one colour. N points with N outward normals.
#[derive(Debug, Clone, PartialEq)]
pub struct OverviewPiece {
    pub points: Vec<Point3<f64>>,
    pub normals: Vec<Vector3<f64>>,
    pub ink: Ink,
    /// Dashed for what is undecided or unseen.
    pub is_broken: bool,
}

/// A seam with the number it carries in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct OverviewSeam {
    pub label: String,
    pub pieces: Vec<OverviewPiece>,
    /// The worst place of each stretch that is out.
    pub marks: Vec<OverviewMark>,
}

/// A letter at a place that is out.
#[derive(Debug, Clone, PartialEq)]
pub struct OverviewMark {
    pub point: Point3<f64>,
    pub normal: Vector3<f64>,
    pub letter: &'static str,
    pub ink: Ink,
    /// How far beyond its limit, mm: where letters would cover one another, the worse one stays.
    pub excess_mm: f64,
}

/// Points behind the seams, in one ink (a panel's tint, or the whole scan).
#[derive(Debug, Clone, PartialEq)]
pub struct Backdrop {
    pub points: Vec<Point3<f64>>,
    pub ink: Ink,
}

/// Room round each view (a seam's number may stand at its rim), and for its title.
const VIEW_MARGIN: f64 = 12.0;
const VIEW_HEAD: f64 = 16.0;
/// Where along a seam its number may stand, best first, and how far apart numbers are.
const NUMBER_PLACES: [f64; 7] = [0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95];
const NUMBER_APART: f64 = 17.0;
/// Letters stand beside the seam, on the first of these sides that is free.
const MARK_SIDES: [Place; 4] = [[0.0, -1.0], [0.0, 1.0], [1.0, 0.0], [-1.0, 0.0]];
const MARK_AWAY: f64 = 13.0;
const MARK_APART: f64 = 16.0;
const MARK_RADIUS: f64 = 6.5;
/// Places of a line are at least this far apart in the picture, and pieces this near to one another are one line, mm.
const LEAST_STEP: f64 = 1.0;
const TOUCH_MM: f64 = 1e-6;
/// Normals that lean further from the eye than this are not seen (cosine).
const LEAST_FACING: f64 = 0.05;

/// The seams of a scan, each station's stretch in the ink of its worse verdict.
#[must_use]
pub fn overview_seams(plan: &Plan, judged: &[JudgedSeam]) -> Vec<OverviewSeam> {
    judged
        .iter()
        .enumerate()
        .filter_map(|(index, seam)| Some((index, plan.seam(&seam.seam)?, seam)))
        .map(|(index, seam, judged)| {
            let half_mm = seam.station_spacing_mm / 2.0;
            let pieces = judged.stations.iter().map(|station| {
                let at_mm = station.reading.station.along_mm;
                let frames = [-1.0, 0.0, 1.0].map(|side| seam.curve.frame_at(at_mm + side * half_mm));
                let (ink, is_broken) = station_ink(station);
                OverviewPiece {
                    points: frames.iter().map(|frame| frame.origin).collect(),
                    normals: frames.iter().map(|frame| frame.outward).collect(),
                    ink,
                    is_broken,
                }
            });
            OverviewSeam { label: (index + 1).to_string(), pieces: pieces.collect(), marks: marks(judged) }
        })
        .collect()
}

/// The worst place of each stretch that is out, of gap and of flush.
fn marks(judged: &JudgedSeam) -> Vec<OverviewMark> {
    let runs = Measurand::BOTH.map(|measurand| {
        runs_of_out(judged, measurand).into_iter().map(move |(excess_mm, station, value_mm)| {
            let value = station.value(measurand);
            OverviewMark {
                point: station.reading.point,
                normal: station.reading.frame.outward,
                letter: mark(value.verdict),
                ink: Ink::of_verdict(value.verdict, severity(value_mm, &value.tolerance)),
                excess_mm,
            }
        })
    });
    runs.into_iter().flatten().collect()
}

/// The ink of a station's worse verdict: out, undecided, unseen, good, in this order.
pub(super) fn station_ink(station: &JudgedReading) -> (Ink, bool) {
    let values = Measurand::BOTH.map(|measurand| station.value(measurand));
    let out = values
        .iter()
        .filter(|value| value.verdict.is_out())
        .filter_map(|value| Some((severity(value.measured.ok()?.value_mm, &value.tolerance), value.verdict)))
        .max_by_key(|(severity, _)| *severity);
    if let Some((severity, verdict)) = out {
        (Ink::of_verdict(verdict, severity), false)
    } else if values.iter().any(|value| value.verdict == Verdict::Undecided) {
        (Ink::Undecided, true)
    } else if values.iter().any(|value| value.verdict == Verdict::Unseen) {
        (Ink::Unseen, true)
    } else {
        (Ink::GoodLine, false)
    }
}

/// Draws the views to one scale, packed so that they are as large as the width and `most_height` allow.
#[must_use]
pub fn overview_picture(
    seams: &[OverviewSeam],
    backdrop: &[Backdrop],
    views: &[FlatView],
    [width, most_height]: [f64; 2],
    description: &str,
) -> Picture {
    let spans: Vec<(&FlatView, [f64; 4])> =
        views.iter().filter_map(|view| Some((view, span_mm(seams, backdrop, view)?))).collect();
    let sizes: Vec<[f64; 2]> = spans.iter().map(|(_, span)| [span[2] - span[0], span[3] - span[1]]).collect();
    let packing = pack(&sizes, [2.0 * VIEW_MARGIN, 2.0 * VIEW_MARGIN + VIEW_HEAD], [width, most_height]);
    let mut picture = Picture::new(width, packing.height.max(20.0), description);
    let per_mm = packing.per_mm;
    for ((view, span), corner) in spans.into_iter().zip(packing.corners) {
        let origin = [
            corner[0] + VIEW_MARGIN - span[0] * per_mm,
            corner[1] + VIEW_MARGIN + VIEW_HEAD - span[1] * per_mm,
        ];
        let place = |point: &Point3<f64>| {
            let [x, y] = view.flat(point);
            [origin[0] + x * per_mm, origin[1] + y * per_mm]
        };
        draw_view(&mut picture, seams, backdrop, view, &place);
        let head = [corner[0] + VIEW_MARGIN, corner[1] + 14.0];
        picture.text(head, 11.0, Anchor::Start, Ink::Muted, view.title.clone());
    }
    picture
}

/// Left, top, right and bottom of what a view shows, mm; `None` where nothing faces it.
fn span_mm(seams: &[OverviewSeam], backdrop: &[Backdrop], view: &FlatView) -> Option<[f64; 4]> {
    let facing = seams.iter().flat_map(|seam| &seam.pieces).filter(|piece| faces(piece, view));
    let mut span = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    let mut is_any = false;
    for point in facing.flat_map(|piece| &piece.points) {
        is_any = true;
        widen(&mut span, view.flat(point));
    }
    if is_any {
        backdrop.iter().flat_map(|group| &group.points).for_each(|point| widen(&mut span, view.flat(point)));
    }
    is_any.then_some(span)
}

fn widen(span: &mut [f64; 4], [x, y]: [f64; 2]) {
    *span = [span[0].min(x), span[1].min(y), span[2].max(x), span[3].max(y)];
}

fn faces(piece: &OverviewPiece, view: &FlatView) -> bool {
    piece.normals.iter().any(|normal| normal.dot(&view.towards_eye) > LEAST_FACING)
}

fn draw_view(
    picture: &mut Picture,
    seams: &[OverviewSeam],
    backdrop: &[Backdrop],
    view: &FlatView,
    place: &impl Fn(&Point3<f64>) -> Place,
) {
    for group in backdrop {
        picture.dust(group.points.iter().map(place).collect(), Stroke::new(group.ink, 0.9));
    }
    let mut numbers: Vec<(Place, &str)> = Vec::new();
    for seam in seams {
        let facing: Vec<&OverviewPiece> = seam.pieces.iter().filter(|piece| faces(piece, view)).collect();
        for stretch in facing.chunk_by(|one, other| {
            one.ink == other.ink && one.is_broken == other.is_broken && touch(one, other)
        }) {
            let is_quiet = matches!(stretch[0].ink, Ink::GoodLine | Ink::Unseen | Ink::Undecided);
            let stroke = Stroke::new(stretch[0].ink, if is_quiet { 2.2 } else { 5.0 });
            let stroke = if stretch[0].is_broken { stroke.dashed(2.5, 2.0) } else { stroke };
            picture.polyline(line_of(stretch, place), stroke);
        }
        let places: Vec<Place> = facing.iter().filter_map(|piece| piece.points.first()).map(place).collect();
        if let Some(free) = free_place(&places, &numbers) {
            numbers.push((free, &seam.label));
        }
    }
    for (centre, label) in &numbers {
        draw_number(picture, *centre, label);
    }
    let facing_marks = seams.iter().flat_map(|seam| &seam.marks);
    let mut facing_marks: Vec<&OverviewMark> =
        facing_marks.filter(|mark| mark.normal.dot(&view.towards_eye) > LEAST_FACING).collect();
    facing_marks.sort_by(|one, other| other.excess_mm.total_cmp(&one.excess_mm));
    let mut taken: Vec<Place> = numbers.iter().map(|(centre, _)| *centre).collect();
    for mark in facing_marks {
        let [x, y] = place(&mark.point);
        let beside = MARK_SIDES.map(|[dx, dy]| [x + dx * MARK_AWAY, y + dy * MARK_AWAY]);
        let is_free =
            |at: &&Place| taken.iter().all(|other| (other[0] - at[0]).hypot(other[1] - at[1]) > MARK_APART);
        if let Some(free) = beside.iter().find(is_free).copied() {
            picture.badge(free, MARK_RADIUS, mark.ink, mark.letter);
            taken.push(free);
        }
    }
}

/// True where one piece begins where the other ends.
fn touch(one: &OverviewPiece, other: &OverviewPiece) -> bool {
    let ends = one.points.last().zip(other.points.first());
    ends.is_some_and(|(end, start)| (end - start).norm() < TOUCH_MM)
}

/// One line through neighbouring pieces, without places that would lie on one another in the picture.
fn line_of(pieces: &[&OverviewPiece], place: &impl Fn(&Point3<f64>) -> Place) -> Vec<Place> {
    let mut line: Vec<Place> = Vec::new();
    for at in pieces.iter().flat_map(|piece| &piece.points).map(place) {
        let is_near = |before: &Place| (before[0] - at[0]).hypot(before[1] - at[1]) < LEAST_STEP;
        // The first place stays; later ones move the end until it is far enough from the one before.
        match line.len() {
            0 | 1 => line.push(at),
            count if is_near(&line[count - 2]) => line[count - 1] = at,
            _ => line.push(at),
        }
    }
    line
}

/// A place on a seam for its number, the middle if that is free, otherwise the one furthest from the other numbers.
fn free_place(places: &[Place], taken: &[(Place, &str)]) -> Option<Place> {
    let distance = |at: &Place| {
        taken
            .iter()
            .map(|(other, _)| (other[0] - at[0]).hypot(other[1] - at[1]))
            .fold(f64::INFINITY, f64::min)
    };
    let tried = NUMBER_PLACES.map(|share| places.get((share * places.len() as f64) as usize));
    let tried = || tried.iter().flatten().copied();
    tried()
        .find(|at| distance(at) > NUMBER_APART)
        .or_else(|| tried().max_by(|one, other| distance(one).total_cmp(&distance(other))))
        .copied()
}

fn draw_number(picture: &mut Picture, centre: Place, label: &str) {
    let radius = (text_width(label, 10.5, Weight::Bold) / 2.0 + 3.0).max(7.5);
    picture.ring(centre, radius, Stroke::new(Ink::Text, 0.9));
    picture.bold([centre[0], centre[1] + 3.7], 10.5, Anchor::Middle, Ink::Text, label);
}
