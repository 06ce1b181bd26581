//! A panel's rigid move, the changed readings that tell of it, and which panels may move.
//!
//! In: nothing. Out: plain structs. Units: mm, rad; frame: Car.
//! Does not fit: see `move_fit`.

use nalgebra::{Matrix6, Point3, Vector3, Vector6};

/// A rigid move of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// Car frame, mm.
    pub pivot: Point3<f64>,
    /// Shift of the pivot, mm.
    pub shift_mm: Vector3<f64>,
    /// Rotation vector about the pivot, rad.
    pub rotation_rad: Vector3<f64>,
    /// Of shift (mm) and rotation (rad); nothing for directions that were not seen.
    pub covariance: Matrix6<f64>,
    /// Share of each of the six (shift x, y, z; rotation x, y, z) that the seams do not tell, 0 to 1.
    pub unseen_share: [f64; 6],
}

impl Motion {
    /// Displacement of a point of the panel, mm.
    #[must_use]
    pub fn displacement_mm(&self, point: &Point3<f64>) -> Vector3<f64> {
        self.shift_mm + self.rotation_rad.cross(&(point - self.pivot))
    }

    /// Displacement along a unit direction and its standard uncertainty, mm.
    #[must_use]
    pub fn displacement_along(&self, point: &Point3<f64>, direction: &Vector3<f64>) -> (f64, f64) {
        let turning = (point - self.pivot).cross(direction);
        let gradient = stacked(direction, &turning);
        let variance_mm2 = (gradient.transpose() * self.covariance * gradient)[0];
        (self.displacement_mm(point).dot(direction), variance_mm2.max(0.0).sqrt())
    }
}

/// One changed reading.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    /// Which common error it shares (one for each seam and measurand).
    pub group: usize,
    /// 0 for a gap, 1 for a flush.
    pub kind: usize,
    /// Where along its seam.
    pub along_mm: f64,
    pub change_mm: f64,
    pub local_u_mm: f64,
    pub common_u_mm: f64,
    /// The direction that counts.
    pub direction: Vector3<f64>,
    /// Datum panel and where it acts, then the other one.
    pub ends: [(usize, Point3<f64>); 2],
}

impl Row {
    pub(super) fn sign_and_point(&self, panel: usize) -> Option<(f64, &Point3<f64>)> {
        let [(datum, datum_point), (other, other_point)] = &self.ends;
        if *other == panel {
            Some((1.0, other_point))
        } else {
            (*datum == panel).then_some((-1.0, datum_point))
        }
    }
}

/// A panel that may move: about where, and how long the lever is that turns radians into mm.
#[derive(Debug, Clone)]
pub(crate) struct Mover {
    pub panel: usize,
    pub pivot: Point3<f64>,
    pub lever_mm: f64,
}

impl Mover {
    /// The panel's middle as its rows show it; `None` without rows.
    pub fn of(panel: usize, rows: &[Row]) -> Option<Self> {
        let points: Vec<&Point3<f64>> =
            rows.iter().filter_map(|row| row.sign_and_point(panel)).map(|(_, point)| point).collect();
        let count = points.len() as f64;
        if points.is_empty() {
            return None;
        }
        let pivot = Point3::from(points.iter().map(|point| point.coords).sum::<Vector3<f64>>() / count);
        let square_mm2 = points.iter().map(|point| (*point - pivot).norm_squared()).sum::<f64>() / count;
        Some(Self { panel, pivot, lever_mm: square_mm2.sqrt().max(1.0) })
    }
}

/// Two vectors as one.
pub(super) fn stacked(first: &Vector3<f64>, second: &Vector3<f64>) -> Vector6<f64> {
    Vector6::new(first.x, first.y, first.z, second.x, second.y, second.z)
}
