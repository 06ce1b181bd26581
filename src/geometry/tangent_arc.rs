//! A circular arc that is tangent to a known outer surface: the shape of a hem.
//!
//! In: points (q, ds, z) round the edge, the surface as a [`SkinPatch`], a start, and what is already known. Units: mm.
//! Out: edge position `e` (least q of the circle), radius, slope of the edge along the seam, how far round the points go.
//! Method: Gauss-Newton on the distances from the circle, with Tukey weights; the centre lies one radius under the surface
//! at q = e + r, so that only e and r are free. A free circle through the same points blows up on short arcs (Al-Sharadqah
//! and Chernov, Electronic Journal of Statistics 3, 2009, on the covariance of circle fits); the tangency is the cure.
//! Scanner smoothing is modelled as a Gaussian along the profile: see `smoothing_offset`.
//! Does not find where the hem is: give a start within about a millimetre.

use super::normal_equations::{NormalEquations, median_in_place, tukey_weight};
use super::skin_patch::{SkinPatch, SkinSample};
use super::smoothing_offset::{SETTLED_SHARE, smoothing_offset_mm};

/// What a fit starts from and what it holds fixed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArcTask {
    pub edge_mm: f64,
    pub radius_mm: f64,
    /// The radius is known (from the neighbours or the plan) and stays.
    pub is_radius_fixed: bool,
    /// Width of the scanner's smoothing along the profile, mm; 0 for none.
    pub smoothing_mm: f64,
    /// Distance between neighbouring points, mm: a row of them leaves breaks this long on the arc.
    pub spacing_mm: f64,
}

/// A fitted hem.
#[derive(Debug, Clone, PartialEq)]
pub struct TangentArc {
    /// Least q of the circle at the station: the edge point's distance from mid-gap, mm.
    pub edge_mm: f64,
    pub radius_mm: f64,
    /// Change of the edge per mm along the seam.
    pub edge_slope: f64,
    pub centre_q_mm: f64,
    pub centre_z_mm: f64,
    /// Robust standard deviation of the distances from the arc, mm.
    pub sigma_mm: f64,
    /// Points that the last round used.
    pub used: usize,
    /// Standard deviation of edge and radius for distances of unit variance.
    pub edge_cofactor: f64,
    pub radius_cofactor: f64,
    /// How far round from the surface's normal the points go without a break, rad; whole steps of 5°.
    pub seen_rad: f64,
}

/// Bins of 5° in which points are counted to see how far round they go: up to 130°.
const ANGLE_BINS: usize = 26;
const ANGLE_BIN_RAD: f64 = std::f64::consts::PI / 36.0;
/// Points that make a bin seen.
const SEEN_POINTS: u32 = 2;
/// The fit uses directions from 0.21 to 1.66 rad off the surface normal: the sine of the first, the cosine of the other.
const LEAST_SINE: f64 = 0.208_459_899_846_099_56;
const LEAST_COSINE: f64 = -0.089_085_416_936_458_97;
/// Points further than this from the arc belong to something else, mm.
const GATE_MM: f64 = 0.25;
const LEAST_SIGMA_MM: f64 = 5e-4;
const ROUNDS: usize = 14;
/// Fewest points for a fit of three unknowns.
const FEWEST_POINTS: usize = 12;
/// Radii of hems that exist, mm; the fit stays between them.
const RADIUS_RANGE_MM: (f64, f64) = (0.2, 9.0);

/// Directions that tell where the edge is: sine of 15° off the one in which it is read.
const EDGE_OFF_SINE: f64 = 0.258_819_045_102_520_76;
/// Points further off the arc there belong to something else, mm.
const PASSED_GATE_MM: f64 = 0.5;
const PASSED_FEWEST: usize = 5;

impl TangentArc {
    /// How far the points round the edge lie beyond the arc, mm (median; negative: short of it), with smoothing allowed for; `None` where
    /// there are too few.
    #[must_use]
    pub fn passed_mm(&self, points: &[SkinSample], skin: &SkinPatch, smoothing_mm: f64) -> Option<f64> {
        let seat = Seat::new(self, skin, smoothing_mm);
        let mut passed: Vec<f64> = points
            .iter()
            .filter_map(|point| {
                let offsets = seat.offsets(point);
                let polar = seat.polar(offsets);
                let is_at_edge = offsets.0 < 0.0 && offsets.1.abs() < EDGE_OFF_SINE * polar.distance_mm;
                let passed_mm = polar.distance_mm - self.radius_mm + seat.offset_mm(&polar);
                (is_at_edge && passed_mm.abs() < PASSED_GATE_MM).then_some(passed_mm)
            })
            .collect();
        if passed.len() < PASSED_FEWEST { None } else { median_in_place(&mut passed) }
    }
}

/// A direction and distance from the arc's centre.
struct Polar {
    distance_mm: f64,
    sine: f64,
    cosine: f64,
}

/// Fits an arc; `None` where there are too few points near it or the fit runs away.
#[must_use]
pub fn fit_tangent_arc(points: &[SkinSample], skin: &SkinPatch, task: &ArcTask) -> Option<TangentArc> {
    let mut arc = start(skin, task);
    let mut near: Vec<Near> = Vec::with_capacity(points.len());
    let mut residuals: Vec<f64> = Vec::with_capacity(points.len());
    for round in 0..ROUNDS {
        let gate_mm = (1.0 / (round as f64 + 1.0)).max(GATE_MM);
        near.clear();
        residuals.clear();
        let seat = Seat::new(&arc, skin, task.smoothing_mm);
        near.extend(points.iter().filter_map(|point| seat.near(point, gate_mm)));
        residuals.extend(near.iter().map(|point| point.residual_mm.abs()));
        if residuals.len() < FEWEST_POINTS {
            return None;
        }
        arc.used = residuals.len();
        arc.sigma_mm = 1.4826 * median_in_place(&mut residuals)?;
        let limit_mm = 5.0 * arc.sigma_mm.max(LEAST_SIGMA_MM);
        let moved_mm = step(&mut arc, &near, skin, task, gate_mm.min(limit_mm))?;
        if round >= 4 && moved_mm < 1e-6 {
            break;
        }
    }
    arc.seen_rad = seen_rad(&arc, points, skin, task);
    Some(arc)
}

fn start(skin: &SkinPatch, task: &ArcTask) -> TangentArc {
    let mut arc = TangentArc {
        edge_mm: task.edge_mm,
        radius_mm: task.radius_mm,
        edge_slope: 0.0,
        centre_q_mm: 0.0,
        centre_z_mm: 0.0,
        sigma_mm: 0.0,
        used: 0,
        edge_cofactor: 0.0,
        radius_cofactor: 0.0,
        seen_rad: 0.0,
    };
    place_centre(&mut arc, skin);
    arc
}

fn place_centre(arc: &mut TangentArc, skin: &SkinPatch) {
    arc.centre_q_mm = arc.edge_mm + arc.radius_mm;
    let stretch = skin.slope(arc.centre_q_mm).hypot(1.0);
    arc.centre_z_mm = skin.height_mm(arc.centre_q_mm) - arc.radius_mm * stretch;
}

/// What does not change from point to point while the arc stands still.
struct Seat<'a> {
    arc: &'a TangentArc,
    skin: &'a SkinPatch,
    /// Slope of the surface at the arc's centre, and the length of (1, slope).
    slope: f64,
    stretch: f64,
    smoothing_mm: f64,
    /// Directions with a smaller cosine lie so far past the joint that smoothing moves all points alike.
    settled_cosine: f64,
}

/// A point near the arc: its distance from the (smoothed) arc, and its direction.
struct Near {
    plain_mm: f64,
    residual_mm: f64,
    sine: f64,
    cosine: f64,
    ds_mm: f64,
    weight: f64,
}

impl<'a> Seat<'a> {
    fn new(arc: &'a TangentArc, skin: &'a SkinPatch, smoothing_mm: f64) -> Self {
        let slope = skin.slope(arc.centre_q_mm);
        let settled_rad = SETTLED_SHARE * smoothing_mm / arc.radius_mm;
        let settled_cosine = if settled_rad < std::f64::consts::PI { settled_rad.cos() } else { -2.0 };
        Self { arc, skin, slope, stretch: slope.hypot(1.0), smoothing_mm, settled_cosine }
    }

    /// The point's offsets from the centre, along and off the section's axes, mm.
    #[inline]
    fn offsets(&self, point: &SkinSample) -> (f64, f64) {
        let across = point.q_mm - self.arc.centre_q_mm - self.arc.edge_slope * point.ds_mm;
        let along_term_mm = self.skin.along_term_mm(self.arc.centre_q_mm, point.ds_mm);
        (across, point.z_mm - self.arc.centre_z_mm - along_term_mm)
    }

    #[inline]
    fn polar(&self, (across, up): (f64, f64)) -> Polar {
        let distance_mm = (across * across + up * up).sqrt();
        let length = (distance_mm * self.stretch).max(1e-12);
        Polar {
            distance_mm,
            cosine: (up - across * self.slope) / length,
            sine: (-across - up * self.slope) / length,
        }
    }

    /// How far smoothing has moved a point in this direction, mm.
    #[inline]
    fn offset_mm(&self, polar: &Polar) -> f64 {
        if self.smoothing_mm <= 0.0 {
            0.0
        } else if polar.sine > 0.0 && polar.cosine < self.settled_cosine {
            self.smoothing_mm * self.smoothing_mm / (2.0 * self.arc.radius_mm)
        } else {
            let angle_rad = polar.sine.atan2(polar.cosine).max(0.0);
            smoothing_offset_mm(angle_rad * self.arc.radius_mm, self.arc.radius_mm, self.smoothing_mm)
        }
    }

    /// Looks at a point, if it lies within the gate and the angles of the fit.
    #[inline]
    fn near(&self, point: &SkinSample, gate_mm: f64) -> Option<Near> {
        let offsets = self.offsets(point);
        let polar = self.polar(offsets);
        let plain_mm = polar.distance_mm - self.arc.radius_mm;
        if plain_mm.abs() > gate_mm || polar.sine < LEAST_SINE || polar.cosine < LEAST_COSINE {
            return None;
        }
        let residual_mm = plain_mm + self.offset_mm(&polar);
        let Polar { sine, cosine, .. } = polar;
        Some(Near { plain_mm, residual_mm, sine, cosine, ds_mm: point.ds_mm, weight: point.weight })
    }
}

/// One Gauss-Newton step over the points within the limit; says how far the arc moved, mm.
fn step(arc: &mut TangentArc, near: &[Near], skin: &SkinPatch, task: &ArcTask, limit_mm: f64) -> Option<f64> {
    let slope = skin.slope(arc.centre_q_mm);
    let stretch = slope.hypot(1.0);
    let mut equations = NormalEquations::<3>::default();
    let mut total = 0.0;
    for point in near.iter().filter(|point| point.plain_mm.abs() <= limit_mm) {
        let weight = point.weight * tukey_weight(point.residual_mm, limit_mm);
        // The centre moves by (1, slope) with e, and by (1, slope - stretch) with r.
        let by_edge = point.sine * stretch;
        let by_radius = by_edge + point.cosine - slope * point.sine - 1.0;
        equations.add([by_edge, by_radius, by_edge * point.ds_mm * 0.2], -point.residual_mm, weight);
        total += weight;
    }
    if task.is_radius_fixed {
        equations.hold(1, 0.0, 1e9 * (total + 1.0));
    }
    let [edge, radius, edge_slope] = equations.solve()?;
    let cofactors = equations.cofactors()?;
    arc.edge_cofactor = cofactors[(0, 0)].sqrt();
    arc.radius_cofactor = cofactors[(1, 1)].sqrt();
    arc.edge_mm += edge.clamp(-0.7, 0.7);
    arc.radius_mm = (arc.radius_mm + radius.clamp(-0.7, 0.7)).clamp(RADIUS_RANGE_MM.0, RADIUS_RANGE_MM.1);
    arc.edge_slope = (arc.edge_slope + edge_slope * 0.2).clamp(-0.5, 0.5);
    place_centre(arc, skin);
    let moved_mm = edge.abs().max(radius.abs());
    ((arc.edge_mm - task.edge_mm).abs() < 6.0).then_some(moved_mm)
}

/// How far round the points go before a break of more than 10°, or of more than half as much again as their spacing.
fn seen_rad(arc: &TangentArc, points: &[SkinSample], skin: &SkinPatch, task: &ArcTask) -> f64 {
    let gate_mm = (6.0 * arc.sigma_mm).clamp(0.03, GATE_MM);
    let mut counts = [0_u32; ANGLE_BINS];
    let seat = Seat::new(arc, skin, task.smoothing_mm);
    // Smoothing never moves a point by more than this.
    let most_offset_mm = task.smoothing_mm * task.smoothing_mm / (2.0 * arc.radius_mm);
    for point in points {
        let polar = seat.polar(seat.offsets(point));
        let plain_mm = polar.distance_mm - arc.radius_mm;
        if polar.sine < 0.0 || plain_mm.abs() > gate_mm + most_offset_mm {
            continue;
        }
        let angle_rad = polar.sine.atan2(polar.cosine);
        if (plain_mm + seat.offset_mm(&polar)).abs() < gate_mm
            && let Some(count) = counts.get_mut((angle_rad / ANGLE_BIN_RAD) as usize)
        {
            *count += 1;
        }
    }
    let break_rad = (2.0 * ANGLE_BIN_RAD).max(1.5 * task.spacing_mm / arc.radius_mm);
    let break_bins = (break_rad / ANGLE_BIN_RAD).ceil() as usize;
    let mut seen = 0;
    for (bin, count) in counts.iter().enumerate() {
        if *count >= SEEN_POINTS {
            seen = bin + 1;
        } else if bin >= seen + break_bins {
            break;
        }
    }
    seen as f64 * ANGLE_BIN_RAD
}

#[cfg(test)]
mod tests {
    use super::*;

    const SKIN: SkinPatch =
        SkinPatch { c0: 0.0, c1: 0.0, c2: 0.0, c3: 0.0, c4: 0.0, cubic: 0.0, sigma_mm: 0.0, used: 0 };

    /// Points round a hem of 2 mm whose edge lies at 1.5 mm, under a flat surface; `past_mm` further out at the edge itself.
    fn hem(past_mm: f64) -> Vec<SkinSample> {
        (0..=110)
            .map(|degrees| {
                let (sine, cosine) = f64::from(degrees).to_radians().sin_cos();
                let radius_mm = 2.0 + past_mm * sine.powi(40);
                let (q_mm, z_mm) = (3.5 - radius_mm * sine, radius_mm * cosine - 2.0);
                SkinSample { q_mm, ds_mm: 0.0, z_mm, weight: 1.0 }
            })
            .collect()
    }

    #[test]
    fn what_passes_an_arc_at_the_edge_is_told() {
        let task = ArcTask {
            edge_mm: 1.7,
            radius_mm: 1.8,
            is_radius_fixed: false,
            smoothing_mm: 0.0,
            spacing_mm: 0.1,
        };
        // Half of a patch would let the edge's slope along the seam go free.
        let along = |points: Vec<SkinSample>| -> Vec<SkinSample> {
            [-1.0, 1.0]
                .iter()
                .flat_map(|ds| points.iter().map(|one| SkinSample { ds_mm: *ds, ..*one }))
                .collect()
        };
        let arc = fit_tangent_arc(&along(hem(0.0)), &SKIN, &task).unwrap();
        assert!((arc.edge_mm - 1.5).abs() < 1e-6 && (arc.radius_mm - 2.0).abs() < 1e-6, "{arc:?}");
        assert!(arc.passed_mm(&hem(0.0), &SKIN, 0.0).unwrap().abs() < 1e-6);
        // Within 15° of the edge sin^40 lies between 0.25 and 1, its median, at 7.5°, is 0.71.
        let passed_mm = arc.passed_mm(&hem(0.1), &SKIN, 0.0).unwrap();
        assert!((passed_mm - 0.071).abs() < 0.005, "{passed_mm}");
        assert!(arc.passed_mm(&hem(0.0)[..60], &SKIN, 0.0).is_none(), "the edge is not among them");
    }
}
