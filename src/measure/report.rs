//! From fitted stations to readings: what may be reported, with what warning and what uncertainty.
//!
//! In: a seam's fitted stations. Out: [`StationReading`]s in order. Units: mm.
//! Refuses rather than guesses: an edge that is not seen turning, a corner, a surface that goes on across the seam.

use nalgebra::Point3;

use super::flush::flush_mm;
use super::gap::gap_mm;
use super::locate::Node;
use super::profile::profile_of;
use super::reading::{EdgeReading, Estimate, Profile, Reason, StationReading, Warning};
use super::seam::reason_near;
use super::settings::MeasureSettings;
use super::shared::Shared;
use super::smoothing::Smoothing;
use super::station::{Fitted, FittedSide, SIGNS};
use super::surface_noise::height_u_mm;
use super::uncertainty::{Evidence, LocalNoise, flush_components, gap_components, noise_from_differences};
use crate::geometry::Curve;
use crate::plan::{Seam, Station};
use crate::section::FlatSeam;

/// Arcs seen less far round than this do not give an edge, rad (45°).
const EDGE_NEEDS_RAD: f64 = 45.0 * std::f64::consts::PI / 180.0;
/// Arcs seen less far round than this are continued by their fit, rad (95°).
const EDGE_SURE_RAD: f64 = 94.9 * std::f64::consts::PI / 180.0;
/// An edge that runs off by more than this along the seam is a corner.
const CORNER_SLOPE: f64 = 0.15;
/// Surfaces that differ by more than this make the flush depend on where it is read, rad (3°).
const PARALLEL_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
/// Bands shorter than this are worth a warning, mm; shorter than the other, no flush is given.
const SHORT_BAND_MM: f64 = 15.0;
/// Less covered bands have a hole.
const HOLE_COVER: f64 = 0.7;
/// Robust deviations by which a value is unlike its neighbours.
const UNLIKE_SIGMAS: f64 = 5.0;

/// What does not change from station to station.
pub(super) struct Context<'a> {
    pub(super) seam: &'a Seam,
    pub(super) flat: &'a FlatSeam,
    pub(super) datum: usize,
    pub(super) settings: &'a MeasureSettings,
    pub(super) nodes: &'a [Node],
    pub(super) bands_mm: [Option<f64>; 2],
    /// Radius of each side at each station, as far as known beforehand.
    pub(super) radii: Vec<[Option<Shared>; 2]>,
    pub(super) smoothing: Smoothing,
}

/// A station that could not be measured at all.
pub(super) fn unmeasured(curve: &Curve, station: &Station, reason: Reason) -> StationReading {
    let frame = curve.frame_at(station.along_mm);
    StationReading {
        station: *station,
        point: frame.origin,
        frame,
        gap: Err(reason),
        flush: Err(reason),
        edges: [None, None],
        warnings: Vec::new(),
        profile: Profile::default(),
    }
}

/// Makes the readings of a seam.
pub(super) fn report_stations(context: &Context<'_>, fitted: &[Fitted]) -> Vec<StationReading> {
    let stations = context.seam.stations();
    let refusals: Vec<Option<Reason>> =
        fitted.iter().zip(&stations).map(|(fit, station)| refusal(context, fit, station)).collect();
    let refusals = without_loners(&refusals);
    let values = |read: &dyn Fn(&Fitted) -> Result<f64, Reason>| -> Vec<Result<f64, Reason>> {
        let of = |(fit, refusal): (&Fitted, &Option<Reason>)| refusal.map_or_else(|| read(fit), Err);
        fitted.iter().zip(&refusals).map(of).collect()
    };
    let reach_mm = context.settings.hem_reach_mm;
    let gaps = values(&|fit| gap_mm(fit, context.flat, context.datum, context.seam.gap.method, reach_mm));
    let flushes = values(&|fit| flush_mm(fit, context.datum, context.seam.flush.method));
    let noises = [noise_of(context, &gaps, 2.0 * reach_mm), flush_noise(context, fitted, &flushes)];
    let mut readings: Vec<StationReading> = stations
        .iter()
        .enumerate()
        .map(|(index, station)| {
            let values = [gaps[index], flushes[index]];
            report_one(context, &fitted[index], station, values, noises)
        })
        .collect();
    mark_unlike_neighbours(&mut readings);
    readings
}

fn noise_of(context: &Context<'_>, values: &[Result<f64, Reason>], apart_mm: f64) -> Option<LocalNoise> {
    let values: Vec<Option<f64>> = values.iter().map(|value| value.ok()).collect();
    let lag = (apart_mm / context.seam.station_spacing_mm - 1e-6).ceil().max(1.0) as usize;
    noise_from_differences(&values, lag)
}

/// What the surfaces' residuals say, or else what differences between stations show.
fn flush_noise(
    context: &Context<'_>,
    fitted: &[Fitted],
    flushes: &[Result<f64, Reason>],
) -> Option<LocalNoise> {
    let heights = [0, 1].map(|side| height_u_mm(context.flat, fitted, side, context.settings));
    match heights {
        [Some(left_mm), Some(right_mm)] => {
            Some(LocalNoise { u_mm: left_mm.hypot(right_mm), degrees_of_freedom: 50.0 })
        }
        _ => noise_of(context, flushes, 2.0 * context.settings.surface_reach_mm),
    }
}

/// Why a fitted station must not be reported, if so.
fn refusal(context: &Context<'_>, fit: &Fitted, station: &Station) -> Option<Reason> {
    match &fit.sides {
        [None, None] => Some(Reason::NoPoints),
        [None, _] | [_, None] => Some(Reason::OnePanelMissing),
        [Some(left), Some(right)] => {
            let node_reason = nearest_reason(context.nodes, station.along_mm);
            match (&left.arc, &right.arc) {
                (Some(left), Some(right)) => {
                    let is_corner = [left, right].iter().any(|arc| arc.edge_slope.abs() > CORNER_SLOPE);
                    let is_seen = [left, right].iter().all(|arc| arc.seen_rad >= EDGE_NEEDS_RAD);
                    match (is_seen, is_corner) {
                        (false, _) => Some(Reason::EdgeNotSeen),
                        (true, true) => Some(Reason::Junction),
                        (true, false) => None,
                    }
                }
                _ => Some(node_reason.unwrap_or(Reason::EdgeNotSeen)),
            }
        }
    }
}

/// Refuses stations that stand alone: where fewer than half of a station and its two neighbours to each side show both
/// edges, a stray arc was fitted to the rim of a surface that does not turn.
fn without_loners(refusals: &[Option<Reason>]) -> Vec<Option<Reason>> {
    let of = |(index, refusal): (usize, &Option<Reason>)| {
        let around = &refusals[index.saturating_sub(2)..(index + 3).min(refusals.len())];
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

fn report_one(
    context: &Context<'_>,
    fit: &Fitted,
    station: &Station,
    [gap, flush]: [Result<f64, Reason>; 2],
    [gap_noise, flush_noise]: [Option<LocalNoise>; 2],
) -> StationReading {
    let track_frame = context.flat.track.frame_at(fit.s_mm);
    let order = [context.datum, 1 - context.datum];
    let frame = fit.tilt.frame(&track_frame);
    let mut reading = StationReading {
        station: *station,
        point: context.seam.station_point(station),
        frame,
        gap: gap.map(|value| Estimate::from_components(value, Vec::new())),
        flush: flush.map(|value| Estimate::from_components(value, Vec::new())),
        edges: order
            .map(|side| fit.sides[side].as_ref().and_then(|fitted| edge_of(context, fit, fitted, side))),
        warnings: Vec::new(),
        profile: profile_of(fit, context.flat, context.datum),
    };
    let [Some(left), Some(right)] = &fit.sides else { return reading };
    let radius_u_mm = context.radii[station.index].map(|shared| shared.map_or(0.1, |known| known.u));
    let evidence = Evidence {
        sides: [left, right],
        gap_noise,
        flush_noise,
        accuracy_mm: context.settings.accuracy_mm,
        smoothing_u_mm2: context.smoothing.u_mm2,
        radius_u_mm,
    };
    reading.gap = gap.map(|value| Estimate::from_components(value, gap_components(&evidence)));
    reading.flush = flush.map(|value| Estimate::from_components(value, flush_components(&evidence)));
    if gap.is_ok() || flush.is_ok() {
        reading.warnings = warnings(context, fit, [left, right], station.index);
    }
    reading
}

fn edge_of(context: &Context<'_>, fit: &Fitted, fitted: &FittedSide, side: usize) -> Option<EdgeReading> {
    let arc = fitted.arc.as_ref()?;
    let frame = fit.tilt.frame(&context.flat.track.frame_at(fit.s_mm));
    let across = frame.across() * (SIGNS[side] * arc.edge_mm);
    let point: Point3<f64> = frame.origin + across + frame.outward * arc.centre_z_mm;
    Some(EdgeReading {
        point,
        hem_radius_mm: arc.radius_mm,
        hem_radius_u_mm: arc.sigma_mm * arc.radius_cofactor,
        arc_seen_rad: arc.seen_rad,
        flange_depth_mm: flange_depth_mm(context, fit, fitted, side),
        surface_height_mm: fitted.skin.height_mm(0.0),
        surface_slope_rad: (SIGNS[side] * fitted.skin.slope(0.0)).atan(),
    })
}

/// Depth under the outer surface to which points follow the edge without a break of a millimetre, mm.
fn flange_depth_mm(context: &Context<'_>, fit: &Fitted, fitted: &FittedSide, side: usize) -> f64 {
    let Some(arc) = &fitted.arc else { return 0.0 };
    let mut counts = [0_u32; 60];
    for point in context.flat.slab(fit.s_mm, context.settings.hem_reach_mm) {
        let (u, v) = fit.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
        let q_mm = SIGNS[side] * u;
        let depth_mm = fitted.skin.height_mm(arc.centre_q_mm) - v;
        if (arc.edge_mm - 0.5..arc.centre_q_mm).contains(&q_mm)
            && depth_mm >= 0.0
            && let Some(count) = counts.get_mut((depth_mm / 0.5) as usize)
        {
            *count += 1;
        }
    }
    let reached = counts.windows(2).position(|pair| pair.iter().all(|count| *count < 2)).unwrap_or(58);
    reached as f64 * 0.5
}

fn warnings(context: &Context<'_>, fit: &Fitted, sides: [&FittedSide; 2], index: usize) -> Vec<Warning> {
    let arcs: Vec<_> = sides.iter().filter_map(|side| side.arc.as_ref()).collect();
    let seen: Vec<f64> = arcs.iter().map(|arc| arc.seen_rad).collect();
    let mut found = Vec::new();
    let mut warn = |is_so: bool, warning: Warning| {
        if is_so {
            found.push(warning);
        }
    };
    warn(seen.iter().any(|seen_rad| *seen_rad < EDGE_SURE_RAD), Warning::EdgeExtrapolated);
    let is_borrowed = |side: usize| context.radii[index][side].is_some() && seen[side] < 75_f64.to_radians();
    warn(seen.len() == 2 && (0..2).any(is_borrowed), Warning::RadiusBorrowed);
    let is_short = |side: usize| context.bands_mm[side].is_none_or(|band_mm| band_mm < SHORT_BAND_MM);
    warn((0..2).any(is_short), Warning::SurfaceShortened);
    warn(sides.iter().any(|side| side.covered < HOLE_COVER), Warning::HoleInBand);
    let slopes = sides.map(|side| side.skin.slope(0.0));
    warn((slopes[0] + slopes[1]).atan().abs() > PARALLEL_RAD, Warning::SurfacesNotParallel);
    let _ = fit;
    found
}

/// Marks values that stand off the line through their four neighbours by far more than such values do here.
fn mark_unlike_neighbours(readings: &mut [StationReading]) {
    for pick in [
        |reading: &StationReading| reading.gap.as_ref().ok().cloned(),
        |reading: &StationReading| reading.flush.as_ref().ok().cloned(),
    ] {
        let values: Vec<Option<Estimate>> = readings.iter().map(pick).collect();
        for index in 2..values.len().saturating_sub(2) {
            let around = [index - 2, index - 1, index + 1, index + 2].map(|near| values[near].as_ref());
            let ([Some(a), Some(b), Some(c), Some(d)], Some(here)) = (around, &values[index]) else {
                continue;
            };
            // The parabola through four evenly spaced neighbours (Savitzky and Golay 1964, without the middle).
            let expected_mm = (4.0 * (b.value_mm + c.value_mm) - (a.value_mm + d.value_mm)) / 6.0;
            if (here.value_mm - expected_mm).abs() > UNLIKE_SIGMAS * here.u_mm
                && !readings[index].warnings.contains(&Warning::UnlikeNeighbours)
            {
                readings[index].warnings.push(Warning::UnlikeNeighbours);
            }
        }
    }
}
