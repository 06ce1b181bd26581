//! Which side of a seam is outside, where the plan does not say.
//!
//! In: a band and a curve without normals. Out: the curve with outward normals, and whether they were assumed. Frame: Car.
//! Method: at nodes along the seam the direction of least spread of the surface beside the gap, perpendicular to the
//! curve, is the normal but for its sign; the sign comes from the scan's normals, or else from a vote: hems, flanges and
//! structure lie behind the surface, so that most points off it near the gap lie inwards.
//! Does not work on a seam with nothing behind its surface and no normals; the vote is then close and the sign arbitrary.

use nalgebra::{Matrix2, Point3, SymmetricEigen, Vector3};

use crate::geometry::Curve;
use crate::seam::SeamBand;

const NODE_STEP_MM: f64 = 20.0;
const NODE_REACH_MM: f64 = 5.0;
/// The surface whose spread is looked at lies this far from the curve, mm.
const SURFACE_FROM_MM: f64 = 12.0;
const SURFACE_TO_MM: f64 = 40.0;
/// Points nearer to the curve than this vote if they lie off the surface by more than the least depth, mm.
const VOTE_WITHIN_MM: f64 = 10.0;
const VOTE_DEPTH_MM: f64 = 0.7;

/// A normal (sign not known), and the weight of evidence that it points outwards.
struct Opinion {
    point: Point3<f64>,
    normal: Vector3<f64>,
    vote: f64,
}

/// The curve with outward normals; `None` where the scan does not show a surface.
pub(super) fn find_outward(band: &SeamBand, curve: &Curve) -> Option<Curve> {
    let count = (curve.length_mm() / NODE_STEP_MM).floor().max(1.0) as usize + 1;
    let step_mm = curve.length_mm() / (count - 1) as f64;
    let mut opinions: Vec<Opinion> =
        (0..count).filter_map(|index| opinion(band, curve, index as f64 * step_mm)).collect();
    // One sign for the whole seam: each normal is first turned to agree with the one before it.
    for index in 1..opinions.len() {
        if opinions[index].normal.dot(&opinions[index - 1].normal) < 0.0 {
            opinions[index].normal = -opinions[index].normal;
            opinions[index].vote = -opinions[index].vote;
        }
    }
    let total: f64 = opinions.iter().map(|opinion| opinion.vote).sum();
    let sign = if total < 0.0 { -1.0 } else { 1.0 };
    match opinions.as_slice() {
        [] => None,
        [only] => curve.with_first_outward(&(only.normal * sign)).ok(),
        _ => {
            // The given points stay the curve; its samples take the nearest opinions' normals.
            let normals: Vec<Vector3<f64>> =
                curve.positions().iter().map(|place| blended(&opinions, place) * sign).collect();
            Curve::through(curve.positions(), Some(&normals)).ok()
        }
    }
}

fn blended(opinions: &[Opinion], place: &Point3<f64>) -> Vector3<f64> {
    opinions
        .iter()
        .map(|opinion| opinion.normal / ((opinion.point - place).norm_squared() + 25.0).powi(2))
        .sum()
}

fn opinion(band: &SeamBand, curve: &Curve, along_mm: f64) -> Option<Opinion> {
    let frame = curve.frame_at(along_mm);
    let across = frame.across();
    let flat: Vec<(f64, f64)> = band
        .between(along_mm - NODE_REACH_MM, along_mm + NODE_REACH_MM)
        .iter()
        .map(|point| {
            let offset = band.position(point) - frame.origin;
            (offset.dot(&across), offset.dot(&frame.outward))
        })
        .collect();
    let surface: Vec<(f64, f64)> = flat
        .iter()
        .copied()
        .filter(|(x, z)| (SURFACE_FROM_MM..SURFACE_TO_MM).contains(&x.hypot(*z)))
        .collect();
    if surface.len() < 30 {
        return None;
    }
    let count = surface.len() as f64;
    let mean_x = surface.iter().map(|(x, _)| x).sum::<f64>() / count;
    let mean_z = surface.iter().map(|(_, z)| z).sum::<f64>() / count;
    let mut spread = Matrix2::zeros();
    for (x, z) in &surface {
        let (dx, dz) = (x - mean_x, z - mean_z);
        spread += Matrix2::new(dx * dx, dx * dz, dx * dz, dz * dz);
    }
    let eigen = SymmetricEigen::new(spread);
    let least = if eigen.eigenvalues[0] < eigen.eigenvalues[1] { 0 } else { 1 };
    let (nx, nz) = (eigen.eigenvectors[(0, least)], eigen.eigenvectors[(1, least)]);
    let normal = across * nx + frame.outward * nz;
    let scan_normal = band.normals.near(along_mm);
    let vote = if scan_normal.norm() > 1.0 {
        1e3 * scan_normal.normalize().dot(&normal)
    } else {
        let heights = flat
            .iter()
            .filter(|(x, z)| x.hypot(*z) < VOTE_WITHIN_MM)
            .map(|(x, z)| (x - mean_x) * nx + (z - mean_z) * nz);
        heights.filter(|height| height.abs() > VOTE_DEPTH_MM).map(|height| -height.signum()).sum()
    };
    Some(Opinion { point: frame.origin, normal, vote })
}
