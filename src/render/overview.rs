//! The car from several sides with its seams numbered and coloured, all views to one scale.
//!
//! In: seam lines in coloured pieces, and thinned scan points or panels as backdrop. Out: a [`Picture`].
//! Units: mm in the Car frame. What faces away from the eye is left out.
//! Does not project in perspective and does not hide lines behind surfaces.

use nalgebra::{Point3, Vector3};

use super::car_axes::FlatView;
use super::ink::{Ink, severity};
use super::picture::{Anchor, Picture, Place, Stroke, Weight};
use super::raster::text_width;
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
}

/// Points behind the seams, in one ink (a panel's tint, or the whole scan).
#[derive(Debug, Clone, PartialEq)]
pub struct Backdrop {
    pub points: Vec<Point3<f64>>,
    pub ink: Ink,
}

/// Room round each view, and for its title.
const VIEW_MARGIN: f64 = 16.0;
const VIEW_HEAD: f64 = 18.0;
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
            OverviewSeam { label: (index + 1).to_string(), pieces: pieces.collect() }
        })
        .collect()
}

/// The ink of a station's worse verdict: out, undecided, unseen, good, in this order.
fn station_ink(station: &JudgedReading) -> (Ink, bool) {
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

/// Draws the views one after another, wrapped to the width.
#[must_use]
pub fn overview_picture(
    seams: &[OverviewSeam],
    backdrop: &[Backdrop],
    views: &[FlatView],
    width: f64,
    description: &str,
) -> Picture {
    let spans: Vec<Option<[f64; 4]>> = views.iter().map(|view| span_mm(seams, backdrop, view)).collect();
    let widest_mm = spans.iter().flatten().map(|span| span[2] - span[0]).fold(1.0, f64::max);
    let per_mm = (width * 0.58f64.max(340.0 / width).min(1.0) - 2.0 * VIEW_MARGIN).max(10.0) / widest_mm;
    let mut picture = Picture::new(width, 0.0, description);
    let (mut left, mut top, mut row_height) = (0.0, 0.0, 0.0f64);
    for (view, span) in views.iter().zip(spans) {
        let Some([low_x, low_y, high_x, high_y]) = span else { continue };
        let view_width = (high_x - low_x) * per_mm + 2.0 * VIEW_MARGIN;
        let view_height = (high_y - low_y) * per_mm + 2.0 * VIEW_MARGIN + VIEW_HEAD;
        if left > 0.0 && left + view_width > width {
            (left, top, row_height) = (0.0, top + row_height, 0.0);
        }
        let origin = [left + VIEW_MARGIN - low_x * per_mm, top + VIEW_MARGIN + VIEW_HEAD - low_y * per_mm];
        picture.text([left + VIEW_MARGIN, top + 14.0], 11.0, Anchor::Start, Ink::Muted, view.title.clone());
        let place = |point: &Point3<f64>| {
            let [x, y] = view.flat(point);
            [origin[0] + x * per_mm, origin[1] + y * per_mm]
        };
        draw_view(&mut picture, seams, backdrop, view, &place);
        left += view_width;
        row_height = row_height.max(view_height);
    }
    picture.height = top + row_height.max(20.0);
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
        let dots = group.points.iter().map(place).map(|[x, y]| [[x - 0.4, y], [x + 0.4, y]]).collect();
        picture.segments(dots, Stroke::new(group.ink, 0.8));
    }
    for seam in seams {
        let facing: Vec<&OverviewPiece> = seam.pieces.iter().filter(|piece| faces(piece, view)).collect();
        for piece in &facing {
            let is_quiet = matches!(piece.ink, Ink::GoodLine | Ink::Unseen | Ink::Undecided);
            let stroke = Stroke::new(piece.ink, if is_quiet { 2.2 } else { 5.0 });
            let stroke = if piece.is_broken { stroke.dashed(2.5, 2.0) } else { stroke };
            picture.polyline(piece.points.iter().map(place).collect(), stroke);
        }
        let Some(middle) = facing.get(facing.len() / 2).and_then(|piece| piece.points.first()) else {
            continue;
        };
        draw_number(picture, place(middle), &seam.label);
    }
}

fn draw_number(picture: &mut Picture, centre: Place, label: &str) {
    let radius = (text_width(label, 10.5, Weight::Bold) / 2.0 + 3.0).max(7.5);
    picture.ring(centre, radius, Stroke::new(Ink::Text, 0.9));
    picture.bold([centre[0], centre[1] + 3.7], 10.5, Anchor::Middle, Ink::Text, label);
}
