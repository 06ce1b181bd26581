//! The plane that halves the car: from the plan, or fitted to pairs of seams.
//!
//! In: the plan's `[car]` terms, or curves in pairs. Out: a [`MirrorPlane`] whose normal points to the driver's left.
//! Units: mm; frame: Car.
//! Method: for matched points p and q with middle c, Σ |q − mirrored(p)|² is a constant + 4 nᵀ Σ ½(a bᵀ + b aᵀ) n with
//! a = p − c, b = q − c (expand the reflection a − 2 n (n·a)), so the normal n is the eigenvector of the least
//! eigenvalue, and the plane runs through the mean of the middles. Points are matched by their share of the longest
//! pair's length, either way round, then by nearest points in turn with the fit (Besl and McKay, IEEE PAMI 14(2), 1992).
//! Does not tell which seams are pairs, and does not look at readings: a panel that sits askew must not bend the plane.

use nalgebra::{Matrix3, Point3, Unit, Vector3};

use crate::geometry::Curve;
use crate::plan::CarTerms;

/// Points taken from each curve: enough to follow its shape.
const POINTS_PER_CURVE: usize = 64;
/// Rounds of matching; seams that are nearly mirrored come to rest in a few.
const ROUNDS: usize = 20;

/// A plane with a unit normal to the driver's left: the points with `normal · x = offset_mm`.
#[derive(Debug, Clone, PartialEq)]
pub struct MirrorPlane {
    pub normal: Unit<Vector3<f64>>,
    pub offset_mm: f64,
    /// True where it was fitted, false where the plan states it.
    pub is_fitted: bool,
    /// Root mean square distance of mirrored points of the left from the curves of the right, mm.
    pub unevenness_mm: f64,
}

impl MirrorPlane {
    /// The plan's plane, where it says both where the middle is and which way left is; otherwise fitted to the pairs.
    ///
    /// `None` where no pair tells a plane.
    pub(super) fn of(car: Option<&CarTerms>, pairs: &[[&Curve; 2]]) -> Option<Self> {
        let stated = car.and_then(|car| {
            let normal = Unit::new_unchecked(car.axes.left());
            Some(Self { normal, offset_mm: car.middle_mm?, is_fitted: false, unevenness_mm: 0.0 })
        });
        let mut plane = stated.or_else(|| fitted(pairs))?;
        plane.unevenness_mm = plane.unevenness(pairs);
        Some(plane)
    }

    /// How far a point lies to the left of the plane, mm.
    #[must_use]
    pub fn left_of_mm(&self, point: &Point3<f64>) -> f64 {
        self.normal.dot(&point.coords) - self.offset_mm
    }

    /// The point on the other side.
    #[must_use]
    pub fn mirrored(&self, point: &Point3<f64>) -> Point3<f64> {
        point - self.normal.scale(2.0 * self.left_of_mm(point))
    }

    /// The direction on the other side.
    #[must_use]
    pub fn mirrored_direction(&self, direction: &Vector3<f64>) -> Vector3<f64> {
        direction - self.normal.scale(2.0 * self.normal.dot(direction))
    }

    fn unevenness(&self, pairs: &[[&Curve; 2]]) -> f64 {
        let squares: Vec<f64> = pairs
            .iter()
            .flat_map(|[left, right]| {
                samples(left).map(|point| right.nearest(&self.mirrored(&point)).distance_mm.powi(2))
            })
            .collect();
        (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt()
    }
}

fn samples(curve: &Curve) -> impl Iterator<Item = Point3<f64>> + '_ {
    let step_mm = curve.length_mm() / (POINTS_PER_CURVE - 1) as f64;
    (0..POINTS_PER_CURVE).map(move |index| curve.frame_at(index as f64 * step_mm).origin)
}

fn fitted(pairs: &[[&Curve; 2]]) -> Option<MirrorPlane> {
    let longest = pairs.iter().max_by(|one, other| one[0].length_mm().total_cmp(&other[0].length_mm()))?;
    let left: Vec<Point3<f64>> = samples(longest[0]).collect();
    let right: Vec<Point3<f64>> = samples(longest[1]).collect();
    let along: Vec<[Point3<f64>; 2]> =
        left.iter().copied().zip(right.iter().copied()).map(<[_; 2]>::from).collect();
    let against: Vec<[Point3<f64>; 2]> =
        left.iter().copied().zip(right.iter().rev().copied()).map(<[_; 2]>::from).collect();
    let starts = [plane_between(&along)?, plane_between(&against)?];
    let mut plane = starts.into_iter().min_by(|one, other| {
        one.unevenness(std::slice::from_ref(longest))
            .total_cmp(&other.unevenness(std::slice::from_ref(longest)))
    })?;
    for _ in 0..ROUNDS {
        let matched: Vec<[Point3<f64>; 2]> = pairs
            .iter()
            .flat_map(|[left, right]| {
                let plane = &plane;
                samples(left).map(move |point| {
                    let foot = right.nearest(&plane.mirrored(&point));
                    [point, right.frame_at(foot.along_mm).origin]
                })
            })
            .collect();
        plane = plane_between(&matched)?;
    }
    Some(plane)
}

/// The plane that mirrors the first points onto the second ones best, its normal towards the first.
fn plane_between(matched: &[[Point3<f64>; 2]]) -> Option<MirrorPlane> {
    let count = matched.len() as f64;
    let middle = matched.iter().map(|[p, q]| (p.coords + q.coords) / 2.0).sum::<Vector3<f64>>() / count;
    let apart = matched.iter().map(|[p, q]| p - q).sum::<Vector3<f64>>();
    let sum: Matrix3<f64> = matched
        .iter()
        .map(|[p, q]| {
            let (a, b) = (p.coords - middle, q.coords - middle);
            (a * b.transpose() + b * a.transpose()) / 2.0
        })
        .sum();
    let eigen = sum.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    let normal: Vector3<f64> = eigen.eigenvectors.column(least).into_owned();
    let normal = if normal.dot(&apart) < 0.0 { -normal } else { normal };
    let normal = Unit::try_new(normal, 0.5).filter(|normal| normal.iter().all(|part| part.is_finite()))?;
    Some(MirrorPlane { offset_mm: normal.dot(&middle), normal, is_fitted: true, unevenness_mm: 0.0 })
}

#[cfg(test)]
mod tests {
    use nalgebra::{Rotation3, Translation3};

    use super::*;

    fn curve(side: f64, backwards: bool, place: impl Fn(Point3<f64>) -> Point3<f64>) -> Curve {
        let mut points: Vec<Point3<f64>> = (0..=30)
            .map(|step| f64::from(step) * 40.0)
            .map(|x| place(Point3::new(x, side * (600.0 + 1e-4 * x * x), 100.0 + 0.1 * x)))
            .collect();
        if backwards {
            points.reverse();
        }
        Curve::through(&points, None).unwrap()
    }

    #[test]
    fn a_plane_in_any_place_is_found_whichever_way_the_curves_run() {
        // Exact by construction: the plane y = 0, carried along by a rotation and a shift.
        let turn = Rotation3::from_scaled_axis(Vector3::new(0.4, -0.7, 1.1));
        let shift = Translation3::new(100.0, -2000.0, 30.0);
        let place = |point: Point3<f64>| shift * (turn * point);
        for backwards in [false, true] {
            let (left, right) = (curve(1.0, false, place), curve(-1.0, backwards, place));
            let plane = MirrorPlane::of(None, &[[&left, &right]]).unwrap();
            let normal = turn * Vector3::y();
            // Curves are resampled at 1 mm, so matched points are good to far less than 1e-3 mm over 1 m.
            assert!((plane.normal.into_inner() - normal).norm() < 1e-6, "{plane:?}");
            assert!((plane.offset_mm - normal.dot(&shift.vector)).abs() < 1e-3, "{plane:?}");
            assert!(plane.unevenness_mm < 1e-3 && plane.is_fitted, "{plane:?}");
        }
    }
}
