//! Recognises left and right: seams that mirror one another in the car's middle plane.
//!
//! In: middle points and ends of seams (mm). Out: for each seam its twin on the other side, or none.
//! Method: every pair of seams of like length proposes the plane half-way between them; the plane under which most
//! length finds a twin wins (a consensus search as in Fischler and Bolles, CACM 24(6), 1981; symmetry by voting: Mitra,
//! Guibas, Pauly, ACM TOG 25(3), 2006).
//! Does not assume the scan is lined up with the car's axes. A seam in the plane itself has no twin.

use nalgebra::{Point3, Unit, Vector3};

/// Mirrored places may be off by this much: cars are not that even, and ends are cut by the scan.
const LIKE_MM: f64 = 12.0;
/// Lengths of twins differ by no more than this share.
const LENGTH_SHARE: f64 = 0.1;

/// What is compared: the two ends, the middle and the length of a seam.
#[derive(Debug, Clone, Copy)]
pub struct Outline {
    pub ends: [Point3<f64>; 2],
    pub middle: Point3<f64>,
    pub length_mm: f64,
}

/// For each seam the number of its twin.
#[must_use]
pub fn find_twins(seams: &[Outline]) -> Vec<Option<usize>> {
    let mut best = (0.0, vec![None; seams.len()]);
    for first in 0..seams.len() {
        for second in first + 1..seams.len() {
            if !is_like_length(&seams[first], &seams[second]) {
                continue;
            }
            let Some(plane) = plane_between(&seams[first], &seams[second]) else { continue };
            let twins = twins_under(seams, &plane);
            let matched_mm: f64 = seams
                .iter()
                .zip(&twins)
                .filter(|(_, twin)| twin.is_some())
                .map(|(seam, _)| seam.length_mm)
                .sum();
            if matched_mm > best.0 {
                best = (matched_mm, twins);
            }
        }
    }
    best.1
}

struct MirrorPlane {
    normal: Unit<Vector3<f64>>,
    through: Point3<f64>,
}

impl MirrorPlane {
    fn mirrored(&self, place: &Point3<f64>) -> Point3<f64> {
        place - self.normal.into_inner() * (2.0 * self.normal.dot(&(place - self.through)))
    }
}

fn is_like_length(first: &Outline, second: &Outline) -> bool {
    (first.length_mm - second.length_mm).abs() < LENGTH_SHARE * first.length_mm.max(second.length_mm)
}

fn plane_between(first: &Outline, second: &Outline) -> Option<MirrorPlane> {
    let normal = Unit::try_new(second.middle - first.middle, 2.0 * LIKE_MM)?;
    Some(MirrorPlane { normal, through: nalgebra::center(&first.middle, &second.middle) })
}

fn twins_under(seams: &[Outline], plane: &MirrorPlane) -> Vec<Option<usize>> {
    let partner = |seam: &Outline| {
        let ends = seam.ends.map(|end| plane.mirrored(&end));
        let middle = plane.mirrored(&seam.middle);
        let near = |left: &Point3<f64>, right: &Point3<f64>| (left - right).norm() < LIKE_MM;
        seams.iter().position(|other| {
            let straight = near(&ends[0], &other.ends[0]) && near(&ends[1], &other.ends[1]);
            let turned = near(&ends[0], &other.ends[1]) && near(&ends[1], &other.ends[0]);
            near(&middle, &other.middle) && is_like_length(seam, other) && (straight || turned)
        })
    };
    let chosen: Vec<Option<usize>> = seams.iter().map(partner).collect();
    // Twins choose one another; a seam that mirrors onto itself has none.
    (0..seams.len())
        .map(|seam| chosen[seam].filter(|twin| *twin != seam && chosen[*twin] == Some(seam)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline(points: [[f64; 3]; 3]) -> Outline {
        let [first, middle, last] = points.map(Point3::from);
        Outline { ends: [first, last], middle, length_mm: (middle - first).norm() + (last - middle).norm() }
    }

    #[test]
    fn left_and_right_are_twins_and_the_middle_is_not() {
        // Two fender seams, mirrored in x = 10 and walked in opposite directions, and a cross seam through the middle.
        let left = outline([[-500.0, 0.0, 0.0], [-520.0, 300.0, 10.0], [-560.0, 600.0, 0.0]]);
        let right = outline([[580.0, 600.0, 0.0], [541.0, 300.0, 10.0], [520.0, 0.0, 0.0]]);
        let cross = outline([[-500.0, 0.0, 0.0], [10.0, -30.0, 0.0], [520.0, 0.0, 0.0]]);
        assert_eq!(find_twins(&[left, cross, right]), [Some(2), None, Some(0)]);
        assert_eq!(find_twins(&[left, cross]), [None, None]);
    }
}
