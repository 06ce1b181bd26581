//! From fitted stations to readings: what may be reported, with what warning and what uncertainty.
//!
//! In: a seam's fitted stations. Out: [`StationReading`]s in order. Units: mm.
//! Refuses rather than guesses: an edge that is not seen turning, a corner, a surface that goes on across the seam.

use nalgebra::Point3;

use super::flange::{Flange, OpenFlange, follow_flange, lean_doubt_mm, open_flanges};
use super::flush::flush_mm;
use super::gap::gap_mm;
use super::local_band::LocalBand;
use super::locate::Node;
use super::profile::{bare_profile, profile_of};
use super::reading::{EdgeReading, Estimate, Reason, StationReading, Warning};
use super::refusal::{Refusal, refusals};
use super::settings::MeasureSettings;
use super::shared::Shared;
use super::smoothing::Smoothing;
use super::station::{Fitted, FittedSide, SIGNS};
use super::surface_noise::{height_u_at, height_u_mm, median_over_few, togetherness_mm};
use super::uncertainty::{
    Evidence, LocalNoise, fit_ratios, flush_components, gap_components, is_noisier, noise_error_of_flush,
    noise_error_of_gap, noise_from_differences,
};
use crate::geometry::Curve;
use crate::plan::{FlushMethod, GapMethod, Seam, Station};
use crate::section::{CELL_ACROSS_MM, FlatSeam};

/// Arcs seen less far round than this are continued by their fit, rad (95°).
const EDGE_SURE_RAD: f64 = 94.9 * std::f64::consts::PI / 180.0;
/// Surfaces that differ by more than this make the flush depend on where it is read, rad (3°).
const PARALLEL_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
/// Bands shorter than this are worth a warning, mm; shorter than the other, no flush is given.
pub const SHORT_BAND_MM: f64 = 15.0;
/// Bands filled less than by this share of what is usual along the seam have a hole.
const HOLE_COVER: f64 = 0.7;
/// A flush that is less certain than this says nothing: its surfaces are too short for how far they are continued, mm.
const FLUSH_LARGEST_U_MM: f64 = 0.5;
/// A gap that is less certain than this says nothing: its edge was not seen, mm.
const GAP_LARGEST_U_MM: f64 = 2.0;
/// A flange that may reach further by more than this is worth a warning, mm.
const FLANGE_DOUBT_MM: f64 = 0.005;
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
    /// Stations beside which a surface is uneven, and what that leaves in the flush, mm.
    pub(super) local: Vec<LocalBand>,
    pub(super) local_u_mm: Vec<f64>,
    /// Radius of each side at each station, as far as known beforehand.
    pub(super) radii: Vec<[Option<Shared>; 2]>,
    /// What the surfaces' form leaves open in each station's flush, mm.
    pub(super) form_u_mm: Vec<f64>,
    /// How far each side's hems pass the arcs that were fitted to them, mm.
    pub(super) hem_form_mm: [f64; 2],
    /// How densely each side's bands are filled with points at most stations.
    pub(super) usual_fill: [f64; 2],
    pub(super) smoothing: Smoothing,
    /// Distance between neighbouring points, mm.
    pub(super) spacing_mm: f64,
}

/// One station's values, before their uncertainty.
struct Draft<'a> {
    fit: &'a Fitted,
    gap: Result<f64, Reason>,
    flush: Result<f64, Reason>,
    flanges: [Option<Flange>; 2],
    open: [Option<OpenFlange>; 2],
    /// What flanges may reach further than was seen, both together, mm.
    flange_u_mm: f64,
}

/// A station that could not be measured at all.
pub(super) fn unmeasured(
    curve: &Curve,
    plan_flat: &FlatSeam,
    station: &Station,
    reason: Reason,
) -> StationReading {
    let frame = curve.frame_at(station.along_mm);
    StationReading {
        station: *station,
        point: frame.origin,
        frame,
        gap: Err(reason),
        flush: Err(reason),
        edges: [None, None],
        warnings: Vec::new(),
        profile: bare_profile(plan_flat, station.along_mm),
    }
}

/// Makes the readings of a seam.
pub(super) fn report_stations(context: &Context<'_>, fitted: &[Fitted]) -> Vec<StationReading> {
    let stations = context.seam.stations();
    let drafts = drafts(context, fitted);
    let gaps: Vec<Option<f64>> = drafts.iter().map(|draft| draft.gap.ok()).collect();
    let flushes: Vec<Option<f64>> = drafts.iter().map(|draft| draft.flush.ok()).collect();
    let ratios_of = |error_of: &dyn Fn(&[&FittedSide; 2]) -> Option<f64>| {
        fit_ratios(&fitted.iter().map(|fit| error_of(&both(fit)?)).collect::<Vec<_>>())
    };
    let ratios = hung_together(context, fitted, ratios_of(&noise_error_of_gap));
    let gap_noise = noise_of(context, &gaps, &ratios, 2.0 * context.settings.hem_reach_mm);
    let gap_noises = ratios.iter().map(|ratio| gap_noise.map(|noise| noise.times(*ratio)));
    let ratios = ratios_of(&noise_error_of_flush);
    let flush_noise = flush_noise(context, fitted, &flushes, &ratios);
    let flush_noises = ratios.iter().map(|ratio| flush_noise.map(|noise| noise.times(*ratio)));
    let mut readings: Vec<StationReading> = stations
        .iter()
        .zip(&drafts)
        .zip(gap_noises.zip(flush_noises))
        .map(|((station, draft), (gap, flush))| report_one(context, fitted, (draft, station), [gap, flush]))
        .collect();
    mark_unlike_neighbours(&mut readings);
    readings
}

/// Ratios of the fits' errors, with what they do not see: where a station is noisier, its noise may also hang together over more of the
/// hem than elsewhere.
fn hung_together(context: &Context<'_>, fitted: &[Fitted], ratios: Vec<f64>) -> Vec<f64> {
    let at = |station: &Fitted| togetherness_mm(context.flat, station, context.settings);
    let is_any_noisier = ratios.iter().copied().any(is_noisier);
    let Some(usual) = is_any_noisier.then(|| median_over_few(fitted, at)).flatten() else { return ratios };
    let with_own = |(ratio, station): (f64, &Fitted)| {
        let more = if is_noisier(ratio) { at(station).map_or(1.0, |own| own / usual) } else { 1.0 };
        ratio * more.max(1.0)
    };
    ratios.into_iter().zip(fitted).map(with_own).collect()
}

/// Both sides of a station, where both were fitted.
fn both(fit: &Fitted) -> Option<[&FittedSide; 2]> {
    let [left, right] = &fit.sides;
    Some([left.as_ref()?, right.as_ref()?])
}

fn drafts<'a>(context: &Context<'_>, fitted: &'a [Fitted]) -> Vec<Draft<'a>> {
    let reach_mm = context.settings.hem_reach_mm;
    let flanges = [0, 1].map(|side| -> Vec<Option<Flange>> {
        let follow = |fit| follow_flange(context.flat, fit, side, reach_mm, context.spacing_mm);
        fitted.iter().map(follow).collect()
    });
    let open = [0, 1].map(|side| open_flanges(fitted, &flanges[side], side));
    let leans_mm = [0, 1].map(|side| lean_doubt_mm(&flanges[side]));
    let method = context.seam.gap.method;
    let draft = |(index, (fit, refusal)): (usize, (&'a Fitted, Refusal))| {
        let open = [open[0][index], open[1][index]];
        let gap = || gap_mm(fit, context.flat, context.datum, method, reach_mm);
        let opened = |value_mm: f64| match method {
            GapMethod::Edge => value_mm - open_by_mm(fit, &open),
            GapMethod::Shortest | GapMethod::Depth { .. } => value_mm,
        };
        Draft {
            fit,
            gap: refusal.gap.map_or_else(|| gap().map(opened), Err),
            flush: refusal.flush.map_or_else(|| flush_mm(fit, context.datum, context.seam.flush.method), Err),
            flanges: [flanges[0][index], flanges[1][index]],
            flange_u_mm: open
                .iter()
                .zip(leans_mm)
                .map(|(open, lean_mm)| open.map_or(lean_mm, |open| open.unseen_u_mm))
                .fold(0.0, f64::hypot),
            open,
        }
    };
    fitted.iter().zip(refusals(context, fitted)).enumerate().map(draft).collect()
}

/// How much further than the hems' arcs open flanges reach, both together, mm.
fn open_by_mm(fit: &Fitted, open: &[Option<OpenFlange>; 2]) -> f64 {
    let of_side = |(side, open): (&Option<FittedSide>, &Option<OpenFlange>)| {
        Some(side.as_ref()?.arc.as_ref()?.edge_mm - open.as_ref()?.edge_mm)
    };
    fit.sides.iter().zip(open).filter_map(of_side).sum()
}

fn noise_of(
    context: &Context<'_>,
    values: &[Option<f64>],
    ratios: &[f64],
    apart_mm: f64,
) -> Option<LocalNoise> {
    let lag = (apart_mm / context.seam.station_spacing_mm - 1e-6).ceil().max(1.0) as usize;
    noise_from_differences(values, ratios, lag)
}

/// What the surfaces' residuals say, or else what differences between stations show.
fn flush_noise(
    context: &Context<'_>,
    fitted: &[Fitted],
    flushes: &[Option<f64>],
    ratios: &[f64],
) -> Option<LocalNoise> {
    let heights = [0, 1].map(|side| height_u_mm(context.flat, fitted, side, context.settings));
    match heights {
        [Some(left_mm), Some(right_mm)] => {
            Some(LocalNoise { u_mm: left_mm.hypot(right_mm), degrees_of_freedom: 50.0, fit_ratio: 1.0 })
        }
        _ => noise_of(context, flushes, ratios, 2.0 * context.settings.surface_reach_mm),
    }
}

fn report_one(
    context: &Context<'_>,
    fitted: &[Fitted],
    (draft, station): (&Draft<'_>, &Station),
    [gap_noise, flush_noise]: [Option<LocalNoise>; 2],
) -> StationReading {
    let fit = draft.fit;
    let order = [context.datum, 1 - context.datum];
    let bare = |value: Result<f64, Reason>| value.map(|value| Estimate::from_components(value, Vec::new()));
    let mut reading = StationReading {
        station: *station,
        point: context.seam.station_point(station),
        frame: fit.tilt.frame(&context.flat.track.frame_at(fit.s_mm)),
        gap: bare(draft.gap),
        flush: bare(draft.flush),
        edges: order.map(|side| edge_of(context, draft, side, station.index)),
        warnings: Vec::new(),
        profile: profile_of(fit, context.flat, context.datum),
    };
    let Some([left, right]) = both(fit) else { return reading };
    let is_middle_seen = draft.gap.is_ok();
    let is_shortened = context.local[station.index].bands_mm != [None, None];
    let is_flush_noisier = flush_noise.is_some_and(|noise| is_noisier(noise.fit_ratio));
    let evidence = Evidence {
        sides: [left, right],
        gap_noise,
        flush_noise: if is_shortened {
            // The fit of another band is no measure of the seam's noise.
            own_flush_noise(context, fitted, fit, flush_noise.map(LocalNoise::of_seam))
        } else if is_middle_seen && !is_flush_noisier {
            flush_noise
        } else {
            own_flush_noise(context, fitted, fit, flush_noise)
        },
        accuracy_mm: context.settings.accuracy_mm,
        smoothing: context.smoothing,
        radii: context.radii[station.index],
        unseen_flange_u_mm: draft.flange_u_mm,
        // A straightedge rests where points are: nothing is continued.
        form_u_mm: match context.seam.flush.method {
            FlushMethod::MidGap => context.form_u_mm[station.index].hypot(context.local_u_mm[station.index]),
            FlushMethod::Straightedge { .. } => context.local_u_mm[station.index],
        },
        hem_form_mm: context.hem_form_mm,
        is_middle_seen,
    };
    reading.gap = draft
        .gap
        .map(|value| Estimate::from_components(value, gap_components(&evidence)))
        .and_then(|gap| if gap.u_mm > GAP_LARGEST_U_MM { Err(Reason::EdgeNotSeen) } else { Ok(gap) });
    reading.flush =
        draft.flush.map(|value| Estimate::from_components(value, flush_components(&evidence))).and_then(
            |flush| if flush.u_mm > FLUSH_LARGEST_U_MM { Err(Reason::SurfaceTooShort) } else { Ok(flush) },
        );
    if reading.gap.is_ok() || reading.flush.is_ok() {
        reading.warnings = warnings(context, draft, [left, right], station.index);
    }
    reading
}

/// Noise of a flush whose surfaces are noisier, or continued further, than elsewhere: this station's own, where it is larger.
fn own_flush_noise(
    context: &Context<'_>,
    fitted: &[Fitted],
    fit: &Fitted,
    usual: Option<LocalNoise>,
) -> Option<LocalNoise> {
    let heights = [0, 1].map(|side| height_u_at(context.flat, fitted, fit, side, context.settings));
    let [Some(left_mm), Some(right_mm)] = heights else { return usual };
    let own_mm = left_mm.hypot(right_mm);
    match usual {
        Some(usual) if usual.u_mm > own_mm => Some(usual),
        _ => Some(LocalNoise { u_mm: own_mm, degrees_of_freedom: 10.0, fit_ratio: 1.0 }),
    }
}

fn edge_of(context: &Context<'_>, draft: &Draft<'_>, side: usize, index: usize) -> Option<EdgeReading> {
    let fit = draft.fit;
    let fitted = fit.sides[side].as_ref()?;
    let arc = fitted.arc.as_ref()?;
    let frame = fit.tilt.frame(&context.flat.track.frame_at(fit.s_mm));
    let (edge_mm, height_mm) =
        draft.open[side].map_or((arc.edge_mm, arc.centre_z_mm), |open| (open.edge_mm, open.height_mm));
    let point: Point3<f64> =
        frame.origin + frame.across() * (SIGNS[side] * edge_mm) + frame.outward * height_mm;
    let own_u_mm = arc.sigma_mm * arc.radius_cofactor;
    Some(EdgeReading {
        point,
        hem_radius_mm: arc.radius_mm,
        hem_radius_u_mm: context.radii[index][side].map_or(own_u_mm, |shared| shared.u),
        arc_seen_rad: arc.seen_rad,
        flange_depth_mm: draft.flanges[side].map_or(0.0, |flange| flange.depth_mm),
        surface_height_mm: fitted.skin.height_mm(0.0),
        surface_slope_rad: (SIGNS[side] * fitted.skin.slope(0.0)).atan(),
    })
}

fn warnings(context: &Context<'_>, draft: &Draft<'_>, sides: [&FittedSide; 2], index: usize) -> Vec<Warning> {
    let arcs: Vec<_> = sides.iter().filter_map(|side| side.arc.as_ref()).collect();
    let seen: Vec<f64> = arcs.iter().map(|arc| arc.seen_rad).collect();
    let mut found = Vec::new();
    let mut warn = |is_so: bool, warning: Warning| {
        if is_so {
            found.push(warning);
        }
    };
    let is_part_seen = seen.iter().any(|seen_rad| *seen_rad < EDGE_SURE_RAD);
    warn(draft.gap.is_ok() && is_part_seen, Warning::EdgeExtrapolated);
    let is_borrowed = |side: usize| context.radii[index][side].is_some() && seen[side] < 75_f64.to_radians();
    warn(draft.gap.is_ok() && seen.len() == 2 && (0..2).any(is_borrowed), Warning::RadiusBorrowed);
    let is_short = |side: usize| {
        let band_mm = context.local[index].bands_mm[side].or(context.bands_mm[side]);
        // Points may end before the band does; the last of them lie somewhere in the last cell.
        let seen_mm = sides[side].band_to_mm - sides[side].band_from_mm + CELL_ACROSS_MM;
        band_mm.is_none_or(|band_mm| band_mm.min(seen_mm) < SHORT_BAND_MM)
    };
    warn((0..2).any(is_short), Warning::SurfaceShortened);
    // A scan that is thin everywhere has no hole.
    let has_hole = |side: usize| sides[side].filled < HOLE_COVER * context.usual_fill[side];
    warn((0..2).any(has_hole), Warning::HoleInBand);
    let slopes = sides.map(|side| side.skin.slope(0.0));
    warn((slopes[0] + slopes[1]).atan().abs() > PARALLEL_RAD, Warning::SurfacesNotParallel);
    warn(draft.flange_u_mm > FLANGE_DOUBT_MM, Warning::OpenFlange);
    warn(draft.gap.is_err(), Warning::MiddleAssumed);
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
