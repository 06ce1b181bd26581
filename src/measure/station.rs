//! Fits one station: both outer surfaces, both hems, and the axes in which they are read.
//!
//! In: a flat seam, a place on it, and what neighbours already know of each side. Out: [`Fitted`]. Units: mm.
//! Method: the section is re-centred on the measured mid-gap and levelled on the measured datum surface until both stand
//! still; in each round each side's surface is fitted past its hem and its hem as an arc tangent to that surface.
//! Does not decide what may be reported.

use super::settings::MeasureSettings;
use crate::geometry::{ArcTask, SkinPatch, SkinSample, TangentArc, fit_skin_patch, fit_tangent_arc};
use crate::section::{FlatPoint, FlatSeam, Tilt};

/// Rounds of re-centring and levelling; both stand still to a tenth of a micrometre after three.
const ROUNDS: usize = 3;
/// Points within this distance beyond the arc are offered to the fit, mm.
const HEM_MARGIN_MM: f64 = 0.6;
/// The surface band starts this far past the hem's tangent point, mm: half a cell, and what smoothing rounds.
pub(super) const BAND_MARGIN_MM: f64 = 1.3;
/// A hem's radius until it is known, where the plan does not say that it is larger: points of larger hems must not count as surface, mm.
pub(super) const RADIUS_UNKNOWN_MM: f64 = 3.5;
/// Points further under or over the datum surface than this belong to no hem, mm.
const DEEPEST_MM: f64 = 14.0;
/// How far the rounds may move mid-gap and turn the section before the whole slab is looked at again, mm.
const CORE_MARGIN_MM: f64 = 4.0;
/// Start of the arc fit, mm.
const RADIUS_START_MM: f64 = 2.0;

/// What is known of one side beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SideKnowledge {
    /// Rough distance of the edge from the centre line, mm.
    pub(super) edge_mm: f64,
    pub(super) radius_mm: Option<f64>,
    /// Where the outer surface begins while the radius is not known: past a hem of this radius, mm.
    pub(super) largest_radius_mm: f64,
    /// c2 of the outer surface, 1/mm.
    pub(super) curvature: Option<f64>,
    /// Length of the surface band, mm.
    pub(super) window_mm: f64,
    /// Scanner smoothing, mm.
    pub(super) smoothing_mm: f64,
    /// Distance between neighbouring points, mm.
    pub(super) spacing_mm: f64,
}

/// One fitted side; `q` counts from mid-gap into its panel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FittedSide {
    pub(super) skin: SkinPatch,
    /// The hem's radius was at most taken for this.
    pub(super) largest_radius_mm: f64,
    pub(super) band_from_mm: f64,
    pub(super) band_to_mm: f64,
    /// Share of the band's area that has points.
    pub(super) covered: f64,
    /// The same of the band as far as points go: what lies beyond them is a panel's end, not a hole.
    pub(super) filled: f64,
    pub(super) arc: Option<TangentArc>,
}

/// A fitted station: the left side, then the right one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fitted {
    pub(super) s_mm: f64,
    pub(super) tilt: Tilt,
    pub(super) sides: [Option<FittedSide>; 2],
}

/// The sign of `u` on a side: the left side's `q` runs against it.
pub(super) const SIGNS: [f64; 2] = [-1.0, 1.0];

/// Fits a station.
pub(super) fn fit_station(
    flat: &FlatSeam,
    s_mm: f64,
    datum: usize,
    knowledge: &[SideKnowledge; 2],
    settings: &MeasureSettings,
) -> Fitted {
    let mut fitted = Fitted { s_mm, tilt: Tilt::default(), sides: [None, None] };
    let mut edges_mm = knowledge.map(|side| side.edge_mm);
    let core = SlabCore::round(flat, s_mm, knowledge, settings);
    for round in 0..ROUNDS {
        for side in 0..2 {
            let known = SideKnowledge { edge_mm: edges_mm[side], ..knowledge[side] };
            fitted.sides[side] = fit_side((flat, &core), &fitted, side, &known, settings);
            if let Some(arc) = fitted.sides[side].as_ref().and_then(|fit| fit.arc.as_ref()) {
                edges_mm[side] = arc.edge_mm;
            }
        }
        let Some(skin) = fitted.sides[datum].as_ref().map(|side| side.skin) else { break };
        if round + 1 < ROUNDS {
            let mid_mm = (edges_mm[1] - edges_mm[0]) / 2.0;
            let q_mm = SIGNS[datum] * mid_mm;
            fitted.tilt.refine(mid_mm, skin.height_mm(q_mm), SIGNS[datum] * skin.slope(q_mm));
            edges_mm = [edges_mm[0] + mid_mm, edges_mm[1] - mid_mm];
        }
    }
    fitted
}

fn fit_side(
    (flat, core): (&FlatSeam, &SlabCore<'_>),
    so_far: &Fitted,
    side: usize,
    known: &SideKnowledge,
    settings: &MeasureSettings,
) -> Option<FittedSide> {
    let band_from_mm = known.edge_mm + known.radius_mm.unwrap_or(known.largest_radius_mm) + BAND_MARGIN_MM;
    let band_to_mm = band_from_mm + known.window_mm;
    let samples = band_samples(flat, so_far, side, (band_from_mm, band_to_mm), settings);
    let skin = fit_skin_patch(&samples, known.curvature)?;
    let possible = known.window_mm * settings.surface_reach_mm;
    let reached_mm = samples.iter().map(|sample| sample.q_mm).fold(band_from_mm, f64::max);
    let hem = hem_samples(core, so_far, side, known);
    let start_mm =
        if known.largest_radius_mm > RADIUS_UNKNOWN_MM { known.largest_radius_mm } else { RADIUS_START_MM };
    let task = ArcTask {
        edge_mm: known.edge_mm,
        radius_mm: known.radius_mm.unwrap_or(start_mm),
        is_radius_fixed: known.radius_mm.is_some(),
        smoothing_mm: known.smoothing_mm,
        spacing_mm: known.spacing_mm,
    };
    Some(FittedSide {
        arc: fit_tangent_arc(&hem, &skin, &task),
        skin,
        largest_radius_mm: known.largest_radius_mm,
        band_from_mm,
        band_to_mm: reached_mm.min(band_to_mm),
        covered: samples.len() as f64 / possible,
        filled: samples.len() as f64 / (settings.surface_reach_mm * (reached_mm - band_from_mm).max(1.0)),
    })
}

/// Cells of one side's outer surface between two distances from mid-gap, in level axes.
pub(super) fn band_samples(
    flat: &FlatSeam,
    so_far: &Fitted,
    side: usize,
    band_mm: (f64, f64),
    settings: &MeasureSettings,
) -> Vec<SkinSample> {
    flat.cells
        .near(so_far.s_mm, settings.surface_reach_mm)
        .iter()
        .filter_map(|cell| {
            let (u, v) = so_far.tilt.level(cell.x_mm, cell.z_mm);
            let q_mm = SIGNS[side] * u;
            let count = f64::from(cell.count);
            // Points of a cell share most of their noise: more of them add less and less.
            (band_mm.0 <= q_mm && q_mm <= band_mm.1).then(|| SkinSample {
                q_mm,
                ds_mm: cell.s_mm - so_far.s_mm,
                z_mm: v,
                weight: count / (count + 4.0),
            })
        })
        .collect()
}

/// The points of a slab, and those of them near the gap, which is where all rounds look for hems.
struct SlabCore<'a> {
    slab: &'a [FlatPoint],
    /// In the slab's order.
    near: Vec<FlatPoint>,
    half_mm: f64,
}

impl<'a> SlabCore<'a> {
    fn round(
        flat: &'a FlatSeam,
        s_mm: f64,
        knowledge: &[SideKnowledge; 2],
        settings: &MeasureSettings,
    ) -> Self {
        let slab = flat.slab(s_mm, settings.hem_reach_mm);
        let half_mm = knowledge.iter().map(|side| side.edge_mm + hem_reach_mm(side)).fold(0.0, f64::max);
        let half_mm = half_mm + CORE_MARGIN_MM;
        let is_near = |point: &&FlatPoint| f64::from(point.x_mm).abs() <= half_mm;
        Self { slab, near: slab.iter().filter(is_near).copied().collect(), half_mm }
    }

    /// The points among which all are that lie within `reach_mm` of mid-gap in level axes, down to the deepest of interest.
    fn within(&self, reach_mm: f64, tilt: &Tilt) -> &[FlatPoint] {
        if tilt.farthest_across_mm(reach_mm, DEEPEST_MM) <= self.half_mm { &self.near } else { self.slab }
    }
}

/// How far past its edge a side's hem is looked for, mm.
fn hem_reach_mm(known: &SideKnowledge) -> f64 {
    known.radius_mm.unwrap_or(known.largest_radius_mm.max(RADIUS_UNKNOWN_MM)) + HEM_MARGIN_MM
}

/// Points round one side's edge, in level axes.
fn hem_samples(core: &SlabCore<'_>, so_far: &Fitted, side: usize, known: &SideKnowledge) -> Vec<SkinSample> {
    let to_mm = known.edge_mm + hem_reach_mm(known);
    let from_mm = (known.edge_mm - 1.2).max(-0.5 * known.edge_mm);
    core.within(to_mm.abs().max(from_mm.abs()), &so_far.tilt)
        .iter()
        .filter_map(|point| {
            let (u, v) = so_far.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
            let q_mm = SIGNS[side] * u;
            (from_mm <= q_mm && q_mm <= to_mm && v > -DEEPEST_MM && v < DEEPEST_MM).then(|| SkinSample {
                q_mm,
                ds_mm: f64::from(point.s_mm) - so_far.s_mm,
                z_mm: v,
                weight: 1.0,
            })
        })
        .collect()
}
