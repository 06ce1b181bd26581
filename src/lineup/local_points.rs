//! The points near a crossing, in the section frame there.
//!
//! In: a seam's band and readings, a place along the seam. Out: the frame, and points (across, along, outward), mm, of each
//! panel's outer surface. The frame is straight: along it the seam's bend shows as height, as it is in space.
//! Method: the frame's place and directions are the plan curve's, corrected by what the measured stations nearby say together
//! (medians, and medians of the slopes between them: Theil 1950, Sen 1968), since single stations beside a bar may be off.
//! Of points that lie over one another the outermost layer is kept: what shows through the gap lies deeper.
//! Does not find features.

use std::collections::BTreeMap;

use super::reading::{LinePlace, LineupReason};
use crate::geometry::{CurveFrame, median_in_place};
use crate::measure::{SeamReadings, StationReading};
use crate::plan::{Seam, Side};
use crate::seam::SeamBand;

/// Measured stations no further off than this make the frame, mm: over it a seam of 1 m radius turns by 2°.
const FRAME_REACH_MM: f64 = 45.0;
/// The outer surface is used up to here from mid-gap, mm: what the seam's corridor (45 mm) holds of it, less 3 mm of curve error
/// and the gap.
const REACH_MM: f64 = 41.0;
/// Left out beyond the hem's tangent point, mm.
const HEM_MARGIN_MM: f64 = 1.5;
/// Where the hem ends if nobody knows, mm from mid-gap: half a gap of 8 mm and a hem of 4 mm.
const UNKNOWN_HEM_MM: f64 = 8.0;
/// Cells in which layers are told apart, across and along, mm, and how thick a layer may be: a bar's flank within a cell.
const LAYER_CELL_MM: [f64; 2] = [4.0, 2.0];
const LAYER_MM: f64 = 5.0;

/// A crossing's frame and where each panel's outer surface begins in it.
pub(super) struct Place {
    pub frame: CurveFrame,
    /// The outer surface lies between these distances from mid-gap, left panel and right panel.
    pub near_mm: [f64; 2],
    pub reach_mm: f64,
}

/// How a station's section frame lies in the frame of the plan's curve at the same distance along it.
struct Offset {
    along_mm: f64,
    across_mm: f64,
    outward_mm: f64,
    tilt_rad: f64,
}

/// The frame at a crossing.
pub(super) fn place_at(seam: &Seam, readings: &SeamReadings, at_mm: f64) -> Result<Place, LineupReason> {
    let is_near = |station: &&StationReading| {
        station.gap.is_ok() && (station.station.along_mm - at_mm).abs() <= FRAME_REACH_MM
    };
    let stations: Vec<&StationReading> = readings.stations.iter().filter(is_near).collect();
    if stations.is_empty() {
        if !seam.curve.has_given_normals() {
            return Err(LineupReason::SeamUnseen);
        }
        let near_mm = [UNKNOWN_HEM_MM + HEM_MARGIN_MM; 2];
        return Ok(Place { frame: seam.curve.frame_at(at_mm), near_mm, reach_mm: REACH_MM });
    }
    let first = seam.curve.frame_at(at_mm);
    // Without given normals the curve's own frame may stand on its head: the stations' outward decides.
    let outward = stations.iter().map(|station| station.frame.outward).sum::<nalgebra::Vector3<f64>>();
    let base_at = |along_mm: f64| levelled(&seam.curve.frame_at(along_mm), &outward);
    let offsets: Vec<Offset> = stations
        .iter()
        .map(|station| {
            let base = base_at(station.station.along_mm);
            let origin = base.local(&station.frame.origin);
            let own = station.frame.outward;
            Offset {
                along_mm: station.station.along_mm - at_mm,
                across_mm: origin.x,
                outward_mm: origin.z,
                tilt_rad: own.dot(&base.across()).atan2(own.dot(&base.outward)),
            }
        })
        .collect();
    let frame = corrected(&levelled(&first, &outward), &offsets);
    Ok(Place { frame, near_mm: near_mm(seam, &stations), reach_mm: REACH_MM })
}

/// The same frame with its outward axis turned about the curve towards a direction.
fn levelled(frame: &CurveFrame, outward: &nalgebra::Vector3<f64>) -> CurveFrame {
    let across_curve = outward - frame.along * outward.dot(&frame.along);
    CurveFrame { outward: across_curve.try_normalize(1e-9).unwrap_or(frame.outward), ..*frame }
}

fn corrected(base: &CurveFrame, offsets: &[Offset]) -> CurveFrame {
    let [(across_mm, yaw), (outward_mm, pitch), (tilt_rad, _)] = [
        trend(offsets, |offset| offset.across_mm),
        trend(offsets, |offset| offset.outward_mm),
        trend(offsets, |offset| offset.tilt_rad),
    ];
    let origin = base.origin + base.across() * across_mm + base.outward * outward_mm;
    let along = (base.along + base.across() * yaw + base.outward * pitch).try_normalize(1e-9);
    let along = along.unwrap_or(base.along);
    let outward = base.outward * tilt_rad.cos() + base.across() * tilt_rad.sin();
    levelled(&CurveFrame { origin, along, outward }, &outward)
}

/// Value at the crossing and change a millimetre along: medians.
fn trend(offsets: &[Offset], of: impl Fn(&Offset) -> f64) -> (f64, f64) {
    let mut slopes = Vec::new();
    for (index, one) in offsets.iter().enumerate() {
        for other in &offsets[index + 1..] {
            let apart_mm = other.along_mm - one.along_mm;
            if apart_mm.abs() > 15.0 {
                slopes.push((of(other) - of(one)) / apart_mm);
            }
        }
    }
    let slope = median_in_place(&mut slopes).unwrap_or(0.0);
    let mut levels: Vec<f64> = offsets.iter().map(|offset| of(offset) - slope * offset.along_mm).collect();
    (median_in_place(&mut levels).unwrap_or(0.0), slope)
}

/// Half the gap, the hem's radius and a margin, for the left and the right panel: medians of the stations.
fn near_mm(seam: &Seam, stations: &[&StationReading]) -> [f64; 2] {
    let of_edge = |index: usize| {
        let mut reaches_mm: Vec<f64> = stations
            .iter()
            .filter_map(|station| {
                let half_gap_mm = station.gap.as_ref().ok()?.value_mm.max(0.0) / 2.0;
                Some(half_gap_mm + station.edges[index]?.hem_radius_mm)
            })
            .collect();
        median_in_place(&mut reaches_mm).unwrap_or(UNKNOWN_HEM_MM).min(REACH_MM / 2.0) + HEM_MARGIN_MM
    };
    match seam.datum_side {
        Side::Left => [of_edge(0), of_edge(1)],
        Side::Right => [of_edge(1), of_edge(0)],
    }
}

/// The points of both panels' outer surfaces within `half_mm` of the crossing along the seam: left panel, right panel.
pub(super) fn points_near(
    band: &SeamBand,
    seam_at_mm: f64,
    place: &Place,
    half_mm: f64,
) -> [Vec<LinePlace>; 2] {
    let mut sides = [Vec::new(), Vec::new()];
    // The band's own distance along is that of the plan's curve, off by a few millimetres.
    for point in band.between(seam_at_mm - half_mm - 5.0, seam_at_mm + half_mm + 5.0) {
        let local = place.frame.local(&band.position(point));
        let side = usize::from(local.x > 0.0);
        let is_on_surface = (place.near_mm[side]..=place.reach_mm).contains(&local.x.abs());
        if is_on_surface && local.y.abs() <= half_mm {
            sides[side].push(LinePlace { x_mm: local.x, s_mm: local.y, z_mm: local.z });
        }
    }
    sides.map(outermost)
}

/// Leaves out what lies further than a layer from the upper points of its cell.
fn outermost(points: Vec<LinePlace>) -> Vec<LinePlace> {
    let key = |point: &LinePlace| {
        ((point.x_mm / LAYER_CELL_MM[0]).floor() as i64, (point.s_mm / LAYER_CELL_MM[1]).floor() as i64)
    };
    let mut heights: BTreeMap<(i64, i64), Vec<f64>> = BTreeMap::new();
    for point in &points {
        heights.entry(key(point)).or_default().push(point.z_mm);
    }
    let uppers: BTreeMap<(i64, i64), f64> = heights
        .into_iter()
        .filter_map(|(cell, mut heights)| {
            heights.sort_by(f64::total_cmp);
            // The upper tenth is the panel's; a stray or two above it do not count.
            Some((cell, *heights.get(heights.len() * 9 / 10)?))
        })
        .collect();
    points
        .into_iter()
        .filter(|point| uppers.get(&key(point)).is_some_and(|upper| (point.z_mm - upper).abs() <= LAYER_MM))
        .collect()
}
