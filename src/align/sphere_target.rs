//! Fits the centre of a target sphere of known diameter in the scan, past its stand and stray points.
//!
//! In: the points near a rough centre, the diameter. Out: the centre with what it leaves. Units: mm, Scanner frame.
//! Method: random triples give a centre each at the known radius (M. Fischler, R. Bolles, Comm. ACM 24(6), 1981); the one with
//! most points in its shell is made exact by least squares of the distances over the points within three robust standard
//! deviations, repeated until the set stands still. A free radius far from the stated one is refused.
//! Does not search the whole scan: the rough centre must be within a diameter.

use nalgebra::{Point3, Vector3};
use rand::SeedableRng;
use rand::seq::index::sample;
use rand_chacha::ChaCha8Rng;

use super::align_error::AlignError;
use crate::geometry::fits::{SphereFit, fit_sphere, fit_sphere_of_radius};
use crate::plan::PointPair;
use crate::scan::{PointBlock, PointSink, ScanSource};

/// Points are gathered out to this many diameters from the rough centre.
const GATHER_DIAMETERS: f64 = 1.5;
/// Most points that are fitted to; beyond it every second, fourth … is taken.
const MOST_POINTS: usize = 40_000;
/// Triples tried: with 30 % of the points on the sphere, the chance to miss it is below 1e-8.
const TRIPLES: usize = 700;
/// First half-width of the shell, as a share of the radius: terrestrial scanners reach 1 % on a 50 mm sphere.
const SHELL_SHARE: f64 = 0.03;
/// Fewest points on a sphere: ten for each coordinate of its centre.
const LEAST_POINTS: usize = 30;
/// Radius that the points prefer may differ by this share; more is another sphere, or another unit.
const RADIUS_SLACK: f64 = 0.05;

/// Replaces the rough centres of pairs with a sphere by fitted ones.
///
/// # Errors
/// The scan cannot be read, or shows no such sphere at a pair.
pub fn with_fitted_spheres(
    source: &dyn ScanSource,
    pairs: &[PointPair],
) -> Result<Vec<PointPair>, AlignError> {
    let balls: Vec<(Point3<f64>, f64)> = pairs
        .iter()
        .filter_map(|pair| Some((pair.scan, pair.sphere_diameter_mm? * GATHER_DIAMETERS)))
        .collect();
    if balls.is_empty() {
        return Ok(pairs.to_vec());
    }
    let mut sink = BallSink { balls, points: vec![Vec::new(); pairs.len()] };
    for part in 0..source.part_count() {
        source.read_points(part, &mut sink)?;
    }
    let mut gathered = sink.points.into_iter();
    pairs
        .iter()
        .map(|pair| {
            let Some(diameter_mm) = pair.sphere_diameter_mm else { return Ok(pair.clone()) };
            let points = gathered.next().unwrap_or_default();
            let fit = fit_target_sphere(&points, diameter_mm).map_err(|reason| AlignError::NoSphere {
                id: pair.id.clone(),
                diameter_mm,
                reason,
            })?;
            Ok(PointPair { scan: fit.centre, ..pair.clone() })
        })
        .collect()
}

struct BallSink {
    balls: Vec<(Point3<f64>, f64)>,
    points: Vec<Vec<Point3<f64>>>,
}

impl PointSink for BallSink {
    fn take(&mut self, block: &PointBlock<'_>) {
        for (ball, points) in self.balls.iter().zip(&mut self.points) {
            for index in 0..block.len() {
                let point = block.point(index);
                // False for points that are not finite.
                if (point - ball.0).norm_squared() < ball.1 * ball.1 {
                    points.push(point);
                }
            }
        }
    }
}

/// Finds the sphere among points; the reason in words where there is none.
///
/// # Errors
/// Too few points, none of them on such a sphere, or on one of another size.
pub fn fit_target_sphere(points: &[Point3<f64>], diameter_mm: f64) -> Result<SphereFit, String> {
    let step = points.len().div_ceil(MOST_POINTS).max(1);
    let points: Vec<Point3<f64>> = points.iter().step_by(step).copied().collect();
    let radius_mm = diameter_mm / 2.0;
    if points.len() < LEAST_POINTS {
        return Err(format!("{} points lie near it, and {LEAST_POINTS} are needed", points.len()));
    }
    let shell_mm = SHELL_SHARE * radius_mm;
    let centre = most_popular_centre(&points, radius_mm, shell_mm)
        .ok_or_else(|| "no three of the points lie on such a sphere".to_owned())?;
    let mut on_sphere = within_shell(&points, &centre, radius_mm, shell_mm);
    for _ in 0..20 {
        if on_sphere.len() < LEAST_POINTS {
            return Err(format!(
                "only {} points lie on such a sphere; check diameter, unit and place",
                on_sphere.len()
            ));
        }
        let fit = fit_sphere_of_radius(&on_sphere, radius_mm)
            .ok_or_else(|| "its points lie in a plane".to_owned())?;
        let next = within_shell(&points, &fit.centre, radius_mm, three_sigma_mm(&on_sphere, &fit, shell_mm));
        if next == on_sphere {
            break;
        }
        on_sphere = next;
    }
    // Points chosen by a wrong radius agree with it: the free sphere chooses its own, a few times over.
    let in_plane = || "its points lie in a plane".to_owned();
    let mut free = fit_sphere(&on_sphere).ok_or_else(in_plane)?;
    for _ in 0..10 {
        let own = within_shell(&points, &free.centre, free.radius_mm, shell_mm);
        free = fit_sphere(&own).ok_or_else(in_plane)?;
    }
    if (free.radius_mm / radius_mm - 1.0).abs() > RADIUS_SLACK {
        return Err(format!("the points there prefer a diameter of {:.2} mm", 2.0 * free.radius_mm));
    }
    fit_sphere_of_radius(&on_sphere, radius_mm).ok_or_else(|| "its points lie in a plane".to_owned())
}

fn within_shell(
    points: &[Point3<f64>],
    centre: &Point3<f64>,
    radius_mm: f64,
    shell_mm: f64,
) -> Vec<Point3<f64>> {
    points.iter().filter(|point| ((*point - centre).norm() - radius_mm).abs() < shell_mm).copied().collect()
}

fn three_sigma_mm(points: &[Point3<f64>], fit: &SphereFit, most_mm: f64) -> f64 {
    let mut sizes: Vec<f64> =
        points.iter().map(|point| ((point - fit.centre).norm() - fit.radius_mm).abs()).collect();
    sizes.sort_by(f64::total_cmp);
    (3.0 * 1.4826 * sizes.get(sizes.len() / 2).copied().unwrap_or(most_mm)).clamp(1e-4, most_mm)
}

fn most_popular_centre(points: &[Point3<f64>], radius_mm: f64, shell_mm: f64) -> Option<Point3<f64>> {
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let step = (points.len() / 2000).max(1);
    let mut best: Option<(usize, Point3<f64>)> = None;
    for _ in 0..TRIPLES {
        let drawn = sample(&mut random, points.len(), 3);
        let corners = [points[drawn.index(0)], points[drawn.index(1)], points[drawn.index(2)]];
        for centre in centres_of(&corners, radius_mm).into_iter().flatten() {
            let votes = points
                .iter()
                .step_by(step)
                .filter(|point| ((*point - centre).norm() - radius_mm).abs() < shell_mm)
                .count();
            if best.is_none_or(|(most, _)| votes > most) {
                best = Some((votes, centre));
            }
        }
    }
    best.map(|(_, centre)| centre)
}

/// The two centres of spheres of a radius through three points.
fn centres_of(corners: &[Point3<f64>; 3], radius_mm: f64) -> Option<[Point3<f64>; 2]> {
    let (a, b) = (corners[1] - corners[0], corners[2] - corners[0]);
    let normal: Vector3<f64> = a.cross(&b);
    let doubled_sq = normal.norm_squared();
    if doubled_sq < 1e-12 * radius_mm.powi(4) {
        return None;
    }
    let to_middle =
        (normal.cross(&a) * b.norm_squared() + b.cross(&normal) * a.norm_squared()) / (2.0 * doubled_sq);
    let height_sq = radius_mm.powi(2) - to_middle.norm_squared();
    if height_sq < 0.0 {
        return None;
    }
    let up = normal * (height_sq / doubled_sq).sqrt();
    Some([corners[0] + to_middle + up, corners[0] + to_middle - up])
}
