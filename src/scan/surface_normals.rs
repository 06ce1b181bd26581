//! The direction of the surface at each of a few thousand points, for shading a picture of the scan.
//!
//! In: points, any frame, mm. Out: unit normals, as many; which of the two sides they point to is not decided.
//! Method: the direction of least spread of the nearest neighbours (a plane fitted by principal components); its accuracy
//! is that of shading, a few degrees.
//! Does not smooth, and is not used for measuring.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};

/// Neighbours in a fit.
const NEIGHBOURS: usize = 9;

/// Normals of a thinned surface; z where a point has too few neighbours.
#[must_use]
pub fn surface_normals(points: &[Point3<f64>]) -> Vec<Vector3<f64>> {
    let Some(count) = std::num::NonZeroUsize::new(NEIGHBOURS.min(points.len())) else { return Vec::new() };
    let entries: Vec<[f64; 3]> = points.iter().map(|point| [point.x, point.y, point.z]).collect();
    let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&entries) else {
        return vec![Vector3::z(); points.len()];
    };
    entries
        .iter()
        .map(|entry| {
            let near = tree.query(entry).nearest_n::<SquaredEuclidean<f64>>(count).execute();
            normal_of(near.iter().filter_map(|found| points.get(found.item as usize)))
        })
        .collect()
}

fn normal_of<'a>(near: impl Iterator<Item = &'a Point3<f64>> + Clone) -> Vector3<f64> {
    let count = near.clone().count().max(1) as f64;
    let mean = near.clone().fold(Vector3::zeros(), |sum, point| sum + point.coords) / count;
    let spread = near.fold(Matrix3::zeros(), |sum, point| {
        let away = point.coords - mean;
        sum + away * away.transpose()
    });
    let eigen = SymmetricEigen::new(spread);
    let least = eigen.eigenvalues.imin();
    eigen.eigenvectors.column(least).try_normalize(1e-9).unwrap_or_else(Vector3::z)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: on a sphere the normal is the radius.
    #[test]
    fn normals_of_a_sphere_are_its_radii() {
        let points: Vec<Point3<f64>> = (0..4000)
            .map(|index| {
                let height = 1.0 - 2.0 * (f64::from(index) + 0.5) / 4000.0;
                let turn = f64::from(index) * 2.399_963;
                let ring = (1.0 - height * height).sqrt();
                Point3::new(ring * turn.cos(), ring * turn.sin(), height) * 300.0
            })
            .collect();
        let normals = surface_normals(&points);
        for (point, normal) in points.iter().zip(&normals) {
            // Neighbours lie within some 30 mm, that is 6°; their plane leans by much less.
            assert!((point.coords / 300.0).dot(normal).abs() > 0.998, "{point} {normal}");
        }
        assert!(surface_normals(&[]).is_empty());
    }
}
