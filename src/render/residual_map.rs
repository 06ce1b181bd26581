//! What the scan leaves on the reference after alignment, drawn on the car from several sides.
//!
//! In: an [`Alignment`] with its residual points, the plan. Out: a [`Picture`], or none where there is no surface. Units: mm.
//! Method: each point in one of seven inks by its residual; the step is a round number of some three times the fit's own
//! rms, so that what is noise stays quiet; each panel's median is written where it lies, so that colour is never the only sign.
//! Points that carried the alignment are drawn larger than those that did not.
//! Does not hide points behind surfaces beyond leaving out what faces away.

use nalgebra::Point3;

use super::car_axes::{FlatView, flat_views};
use super::format::signed;
use super::ink::{Ink, Severity};
use super::picture::{Anchor, Area, Picture, Place, Stroke};
use super::texts::Texts;
use crate::align::{Alignment, ResidualPoint};
use crate::plan::Plan;
use crate::units::LengthUnit;

const MARGIN: f64 = 16.0;
const HEAD: f64 = 18.0;
const LEGEND: f64 = 44.0;
/// Points that lean further from the eye than this are left out (cosine).
const LEAST_FACING: f64 = 0.2;
/// Steps at which the inks change, in units of the first.
const STEPS: [f64; 3] = [1.0, 3.0, 10.0];
/// The first step over the fit's rms, and its least value, mm.
const STEP_SIGMAS: f64 = 3.0;
const LEAST_STEP_MM: f64 = 0.01;

/// Draws the map; `None` where the alignment left no points on a surface.
#[must_use]
pub fn residual_map(plan: &Plan, alignment: &Alignment, texts: &Texts, width: f64) -> Option<Picture> {
    let points = &alignment.residual_points;
    if points.is_empty() {
        return None;
    }
    let step_mm = round_step(alignment.rms_residual_mm * STEP_SIGMAS);
    let mut picture = Picture::new(width, 0.0, format!("{}: {}", texts.alignment, plan.title));
    let mut top = legend(&mut picture, step_mm, plan.units);
    let views = flat_views(plan.axes(), texts);
    let spans: Vec<Option<[f64; 4]>> = views.iter().map(|view| span_mm(points, view)).collect();
    let widest_mm = spans.iter().flatten().map(|span| span[2] - span[0]).fold(1.0, f64::max);
    // Two views beside each other at the least.
    let per_mm = (width / 2.0 - 2.0 * MARGIN).max(10.0) / widest_mm;
    let (mut left, mut row_height) = (0.0, 0.0_f64);
    for (view, span) in views.iter().zip(spans) {
        let Some(span) = span else { continue };
        let view_width = (span[2] - span[0]) * per_mm + 2.0 * MARGIN;
        if left > 0.0 && left + view_width > width + 0.5 {
            (left, top, row_height) = (0.0, top + row_height, 0.0);
        }
        picture.text([left + MARGIN, top + 14.0], 11.0, Anchor::Start, Ink::Muted, view.title.clone());
        let origin = [left + MARGIN - span[0] * per_mm, top + MARGIN + HEAD - span[1] * per_mm];
        let place = |point: &Point3<f64>| {
            let [x, y] = view.flat(point);
            [origin[0] + x * per_mm, origin[1] + y * per_mm]
        };
        draw_points(&mut picture, points, view, step_mm, &place);
        draw_medians(&mut picture, plan, alignment, view, &place);
        left += view_width;
        row_height = row_height.max((span[3] - span[1]) * per_mm + 2.0 * MARGIN + HEAD);
    }
    picture.height = top + row_height;
    Some(picture)
}

/// 1, 2 or 5 times a power of ten, at least as much.
fn round_step(wanted_mm: f64) -> f64 {
    let wanted_mm = wanted_mm.max(LEAST_STEP_MM);
    let power = 10f64.powf(wanted_mm.log10().floor());
    [1.0, 2.0, 5.0]
        .map(|factor| factor * power)
        .into_iter()
        .find(|step| *step >= wanted_mm)
        .unwrap_or(10.0 * power)
}

fn faces(point: &ResidualPoint, view: &FlatView) -> bool {
    point.normal.dot(&view.towards_eye) > LEAST_FACING
}

/// Left, top, right and bottom of what a view shows, mm.
fn span_mm(points: &[ResidualPoint], view: &FlatView) -> Option<[f64; 4]> {
    let mut flat = points.iter().filter(|point| faces(point, view)).map(|point| view.flat(&point.point));
    let [x, y] = flat.next()?;
    let grown = flat
        .fold([x, y, x, y], |span, [x, y]| [span[0].min(x), span[1].min(y), span[2].max(x), span[3].max(y)]);
    Some(grown)
}

fn ink_of(residual_mm: f64, step_mm: f64) -> Ink {
    let share = residual_mm.abs() / step_mm;
    let severity = match share {
        share if share <= STEPS[0] => return Ink::Good,
        share if share <= STEPS[1] => Severity::Slight,
        share if share <= STEPS[2] => Severity::Clear,
        _ => Severity::Severe,
    };
    if residual_mm < 0.0 { Ink::Below(severity) } else { Ink::Above(severity) }
}

/// The seven inks, from far below to far above, with the span that each stands for.
fn keys(step_mm: f64, unit: LengthUnit) -> [(Ink, String); 7] {
    let at = |share: f64| signed(share * step_mm, unit);
    let plain = |share: f64| at(share).trim_start_matches('+').to_owned();
    [
        (Ink::Below(Severity::Severe), format!("< {}", at(-STEPS[2]))),
        (Ink::Below(Severity::Clear), format!("{} …", at(-STEPS[2]))),
        (Ink::Below(Severity::Slight), format!("{} …", at(-STEPS[1]))),
        (Ink::Good, format!("± {}", plain(STEPS[0]))),
        (Ink::Above(Severity::Slight), format!("… {}", at(STEPS[1]))),
        (Ink::Above(Severity::Clear), format!("… {}", at(STEPS[2]))),
        (Ink::Above(Severity::Severe), format!("> {}", at(STEPS[2]))),
    ]
}

/// Draws the key of the inks; the height that it takes.
fn legend(picture: &mut Picture, step_mm: f64, unit: LengthUnit) -> f64 {
    let room = (picture.width - 2.0 * MARGIN) / 7.0;
    for (index, (ink, words)) in keys(step_mm, unit).into_iter().enumerate() {
        let left = MARGIN + room * index as f64;
        picture.rect(Area::new(left, 8.0, room - 4.0, 10.0), ink);
        picture.text([left, 31.0], 10.0, Anchor::Start, Ink::Text, words);
    }
    let unit_at = [picture.width - MARGIN, 42.0];
    picture.text(unit_at, 10.0, Anchor::End, Ink::Muted, unit.symbol());
    LEGEND
}

fn draw_points(
    picture: &mut Picture,
    points: &[ResidualPoint],
    view: &FlatView,
    step_mm: f64,
    place: &impl Fn(&Point3<f64>) -> Place,
) {
    // Quiet ones first, so that what stands out lies on top.
    let quiet_first = [3, 2, 4, 1, 5, 0, 6];
    let inks = keys(step_mm, LengthUnit::Millimetre).map(|(ink, _)| ink);
    for is_used in [false, true] {
        for index in quiet_first {
            let size = if is_used { 2.0 } else { 1.1 };
            let chosen = points.iter().filter(|point| {
                point.is_used == is_used
                    && faces(point, view)
                    && ink_of(point.residual_mm, step_mm) == inks[index]
            });
            let dots = chosen
                .map(|point| place(&point.point))
                .map(|[x, y]| [[x - size / 2.0, y], [x + size / 2.0, y]])
                .collect();
            picture.segments(dots, Stroke::new(inks[index], size));
        }
    }
}

/// Each panel's median where the middle of its points lies, in the views that show most of it.
fn draw_medians(
    picture: &mut Picture,
    plan: &Plan,
    alignment: &Alignment,
    view: &FlatView,
    place: &impl Fn(&Point3<f64>) -> Place,
) {
    for panel in &alignment.panels {
        let own =
            |point: &&ResidualPoint| point.panel.is_some_and(|index| plan.panels[index].id == panel.panel);
        let all = alignment.residual_points.iter().filter(own).count();
        let mut seen: Vec<Place> = alignment
            .residual_points
            .iter()
            .filter(own)
            .filter(|point| faces(point, view))
            .map(|point| place(&point.point))
            .collect();
        if seen.is_empty() || seen.len() * 2 < all {
            continue;
        }
        let middle = [0, 1].map(|axis| {
            seen.sort_by(|a, b| a[axis].total_cmp(&b[axis]));
            seen[seen.len() / 2][axis]
        });
        let words = format!("{} {}", panel.panel, signed(panel.median_mm, plan.units));
        let half = super::raster::text_width(&words, 11.0, super::picture::Weight::Bold) / 2.0 + 4.0;
        let centre =
            middle[0].clamp(half.min(picture.width / 2.0), (picture.width - half).max(picture.width / 2.0));
        picture.rect(Area::new(centre - half, middle[1] - 10.0, 2.0 * half, 15.0), Ink::Paper);
        picture.bold([centre, middle[1] + 1.5], 11.0, Anchor::Middle, Ink::Text, words);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_inks_follow_sign_and_size() {
        assert!((round_step(0.06) - 0.1).abs() < 1e-12 && (round_step(0.0) - 0.01).abs() < 1e-12);
        assert_eq!(ink_of(-0.09, 0.1), Ink::Good);
        assert_eq!(ink_of(-0.2, 0.1), Ink::Below(Severity::Slight));
        assert_eq!(ink_of(0.5, 0.1), Ink::Above(Severity::Clear));
        assert_eq!(ink_of(3.0, 0.1), Ink::Above(Severity::Severe));
    }
}
