//! What must not be reported, and why.
//!
//! In: a seam's fitted stations and what the nodes saw. Out: per station the reason to refuse its gap, and its flush, if any.
//! A gap needs both edges seen turning. A flush needs only both outer surfaces: where an edge is not seen (a hole over it, a lap
//! joint) the step between the surfaces is still there to be read, with the doubt of where the middle is.

use super::locate::Node;
use super::reading::Reason;
use super::report::Context;
use super::seam::reason_near;
use super::station::{Fitted, FittedSide, band_samples};
use crate::geometry::{TangentArc, median_in_place, residual_mm};
use crate::plan::Station;

/// Arcs seen less far round than this do not give an edge, rad (45°).
const EDGE_NEEDS_RAD: f64 = 45.0 * std::f64::consts::PI / 180.0;
/// An edge that runs off by more than this along the seam is a corner.
const CORNER_SLOPE: f64 = 0.15;
/// An outer surface whose parts along the seam stand this far off each other is not one panel's, mm; looked at over this width.
const CORNER_STEP_MM: f64 = 0.25;
const CORNER_BAND_MM: f64 = 20.0;
/// An arc whose place is less certain than this by its own fit is not an edge, mm.
const EDGE_LARGEST_U_MM: f64 = 0.3;
/// Neighbours within this distance, or at least two to each side, must see edges too, mm.
const LONER_REACH_MM: f64 = 10.0;
/// Scans whose points are further apart than this do not show hems of a millimetre, mm: with 0.8 mm they did in practice
/// scans, with 1 mm they did not.
pub(super) const SPARSE_ABOVE_MM: f64 = 0.85;
/// Outer surfaces shorter than this do not say where they go on to, mm.
const LEAST_SURFACE_MM: f64 = 4.0;
/// The same where the edge is not seen either, mm.
const DOUBTFUL_SURFACE_MM: f64 = 6.0;

/// Why a station's gap and its flush must not be reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Refusal {
    pub(super) gap: Option<Reason>,
    pub(super) flush: Option<Reason>,
}

/// The refusals of a seam's stations, in order.
pub(super) fn refusals(context: &Context<'_>, fitted: &[Fitted]) -> Vec<Refusal> {
    let stations = context.seam.stations();
    let gaps: Vec<Option<Reason>> =
        fitted.iter().zip(&stations).map(|(fit, station)| gap_refusal(context, fit, station)).collect();
    let gaps = without_loners(&gaps, context.seam.station_spacing_mm);
    let seen = gaps.iter().filter(|reason| reason.is_none()).count();
    let is_sparse = context.spacing_mm > SPARSE_ABOVE_MM && 2 * seen < gaps.len();
    let of = |(fit, gap): (&Fitted, Option<Reason>)| {
        let gap = if is_sparse && gap == Some(Reason::EdgeNotSeen) { Some(Reason::TooSparse) } else { gap };
        Refusal { gap, flush: flush_refusal(context, fit, gap) }
    };
    fitted.iter().zip(gaps).map(of).collect()
}

fn gap_refusal(context: &Context<'_>, fit: &Fitted, station: &Station) -> Option<Reason> {
    // A feature line so near that no smooth surface lies before it: what lies beyond says nothing of this edge.
    if context.bands_mm.contains(&None) {
        return Some(Reason::SurfaceTooShort);
    }
    let (left, right) = match &fit.sides {
        [None, None] => return Some(Reason::NoPoints),
        [None, _] | [_, None] => return Some(Reason::OnePanelMissing),
        [Some(left), Some(right)] => (left, right),
    };
    let (Some(left), Some(right)) = (&left.arc, &right.arc) else {
        return Some(nearest_reason(context.nodes, station.along_mm).unwrap_or(Reason::EdgeNotSeen));
    };
    let arcs = [left, right];
    let is_edge = |arc: &&TangentArc| {
        arc.seen_rad >= EDGE_NEEDS_RAD && arc.sigma_mm * arc.edge_cofactor <= EDGE_LARGEST_U_MM
    };
    if !arcs.iter().all(is_edge) {
        Some(Reason::EdgeNotSeen)
    } else if arcs.iter().any(|arc| arc.edge_slope.abs() > CORNER_SLOPE)
        || (0..2).any(|side| changes_along(context, fit, side))
    {
        Some(Reason::Junction)
    } else {
        None
    }
}

/// True where a side's outer surface is not one piece along the seam: its quarters, before to behind the station, do not
/// lie on one smooth patch, because a third panel begins or the panel turns a corner.
fn changes_along(context: &Context<'_>, fit: &Fitted, side: usize) -> bool {
    let Some(fitted) = &fit.sides[side] else { return false };
    let band_mm = (fitted.band_from_mm, fitted.band_to_mm.min(fitted.band_from_mm + CORNER_BAND_MM));
    let reach_mm = context.settings.surface_reach_mm;
    let mut quarters: Vec<Vec<f64>> = vec![Vec::new(); 4];
    for sample in band_samples(context.flat, fit, side, band_mm, context.settings) {
        let place = ((sample.ds_mm + reach_mm) / (2.0 * reach_mm) * 4.0).clamp(0.0, 3.0);
        quarters[place as usize].push(residual_mm(&fitted.skin, &sample));
    }
    let fewest = quarters.iter().map(Vec::len).max().unwrap_or(0) / 4;
    quarters.retain(|quarter| quarter.len() > fewest);
    let medians: Vec<f64> = quarters.iter_mut().filter_map(|quarter| median_in_place(quarter)).collect();
    let off = |(quarter, median_mm): (&Vec<f64>, &f64)| -> Vec<f64> {
        quarter.iter().map(|value| (value - median_mm).abs()).collect()
    };
    let mut scatter: Vec<f64> = quarters.iter().zip(&medians).flat_map(off).collect();
    let sigma_mm = median_in_place(&mut scatter).map_or(0.0, |size_mm| 1.4826 * size_mm);
    let low_mm = medians.iter().copied().fold(f64::INFINITY, f64::min);
    let high_mm = medians.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    high_mm - low_mm > CORNER_STEP_MM.max(1.5 * sigma_mm)
}

fn flush_refusal(context: &Context<'_>, fit: &Fitted, gap: Option<Reason>) -> Option<Reason> {
    let is_long = |side: &FittedSide| side.band_to_mm - side.band_from_mm >= LEAST_SURFACE_MM;
    match gap {
        None | Some(Reason::EdgeNotSeen | Reason::TooSparse) => {
            let are_long = fit.sides.iter().all(|side| side.as_ref().is_some_and(is_long));
            // Where an edge is not seen, a very short surface does not say that it belongs to it.
            let is_doubtful = gap.is_some()
                && context.bands_mm.iter().flatten().any(|band_mm| *band_mm < DOUBTFUL_SURFACE_MM);
            if !are_long || is_doubtful {
                Some(Reason::SurfaceTooShort)
            } else if (0..2).any(|side| changes_along(context, fit, side)) {
                Some(Reason::Junction)
            } else {
                None
            }
        }
        other => other,
    }
}

/// Refuses stations that stand alone: where fewer than half of a station and its neighbours show both edges, a stray arc was
/// fitted to the rim of a surface that does not turn.
fn without_loners(refusals: &[Option<Reason>], station_spacing_mm: f64) -> Vec<Option<Reason>> {
    let reach = ((LONER_REACH_MM / station_spacing_mm) as usize).max(2);
    let of = |(index, refusal): (usize, &Option<Reason>)| {
        let around = &refusals[index.saturating_sub(reach)..(index + reach + 1).min(refusals.len())];
        let seen = around.iter().filter(|near| near.is_none()).count();
        refusal.or((2 * seen < around.len()).then_some(Reason::EdgeNotSeen))
    };
    refusals.iter().enumerate().map(of).collect()
}

fn nearest_reason(nodes: &[Node], along_mm: f64) -> Option<Reason> {
    let near = nodes
        .iter()
        .min_by(|left, right| (left.s_mm - along_mm).abs().total_cmp(&(right.s_mm - along_mm).abs()))?;
    near.finding.err().map(|_| reason_near(nodes, along_mm))
}
