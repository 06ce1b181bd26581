//! The result of an alignment: the pose and what is needed to doubt it.
//!
//! In and out: data only. Units: mm, rad. Frame: residuals and covariance in the Car frame.
//! The covariance belongs to a small turn `ω` about `pivot` and a shift `τ`, in the order `(ω, τ)`: a point `p` of the
//! car moves by `ω × (p − pivot) + τ`.
//! How it enters a reading: gap and flush are taken between two panels of the same scan, so a rigid displacement
//! cancels in them but for one thing: the station slides along the seam. On a seam whose gap changes by `g′` per mm the
//! reading's component [`crate::measure::UncertaintySource::Alignment`] is `|g′| · u` with `u` from
//! [`Alignment::uncertainty_mm`] at the station along the seam's tangent. Deviations of an edge from its nominal
//! place take the whole of it.

use nalgebra::{Matrix6, Point3, Vector3, Vector6};

use crate::frames::{Car, Scanner};
use crate::geometry::RigidTransform;
use crate::plan::PanelId;

/// Where the scan stands on the car.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    pub car_from_scanner: RigidTransform<Car, Scanner>,
    /// The plan's word for the way it was found.
    pub way: &'static str,
    /// Over everything used; for surfaces the robustly weighted root mean square.
    pub rms_residual_mm: f64,
    /// Largest absolute residual among what was used.
    pub worst_residual_mm: f64,
    pub points_used: u64,
    pub iterations: u32,
    pub converged: bool,
    /// Of `(ω, τ)`, rad² and mm²; see the module head. Zero for `none`.
    pub covariance: Matrix6<f64>,
    /// Car frame, mm.
    pub pivot: Point3<f64>,
    /// Ratio of the best to the worst determined of six directions of movement, turns measured by the shift they cause
    /// at the mean distance from the pivot. 1 is ideal; infinite is undetermined.
    pub condition: f64,
    /// For targets and pairs, in the plan's order.
    pub targets: Vec<TargetResidual>,
    /// For surfaces, in the plan's order, moved panels too.
    pub panels: Vec<PanelResidual>,
    /// For surfaces: some of the scan's points with what is left at each, for drawing.
    pub residual_points: Vec<ResidualPoint>,
    pub warnings: Vec<AlignWarning>,
}

/// What is left at one target or pair.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetResidual {
    pub id: String,
    /// Scan minus car, Car frame, mm; along the direction only for datum targets.
    pub residual: Vector3<f64>,
    /// Signed along the direction for datum targets, the length of `residual` for pairs.
    pub residual_mm: f64,
    /// False for an outlier, which did not take part.
    pub is_used: bool,
}

/// What is left on one panel after registration to a surface.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelResidual {
    pub panel: PanelId,
    pub point_count: u64,
    /// Positive: the scan lies outside the reference.
    pub median_mm: f64,
    pub rms_mm: f64,
    /// True where the plan calls it fixed, so that it carried the alignment.
    pub is_used: bool,
}

/// What is left at one point of the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResidualPoint {
    /// Car frame, mm.
    pub point: Point3<f64>,
    /// Of the reference there.
    pub normal: Vector3<f64>,
    /// Positive: the scan lies outside the reference.
    pub residual_mm: f64,
    /// The panel's place in the plan, where it is known.
    pub panel: Option<usize>,
    /// True where the point could carry the alignment.
    pub is_used: bool,
}

/// Worth knowing about an alignment that was made all the same.
#[derive(Debug, Clone, PartialEq)]
pub enum AlignWarning {
    /// A pair or sphere that disagrees with the others.
    OutlierPair { id: String, residual_mm: f64, limit_mm: f64 },
    /// A fixed panel that stands off the others.
    FixedPanelMoved { panel: PanelId, median_mm: f64 },
    /// Only a part of the fixed panels is in the scan.
    LittleOverlap { fraction: f64 },
    /// The start pose was so far off that a search was made from scratch.
    StartPoseUseless,
    /// The fit does not say how it may slide.
    WeakDirection { direction: String, condition: f64 },
}

impl std::fmt::Display for AlignWarning {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::OutlierPair { id, residual_mm, limit_mm } => write!(
                formatter,
                "pair `{id}` is {residual_mm:.3} mm off the others (limit {limit_mm:.3} mm) and was left out; \
                 look whether it was moved or mixed up"
            ),
            Self::FixedPanelMoved { panel, median_mm } => write!(
                formatter,
                "panel `{panel}` is called fixed but stands {median_mm:+.2} mm off the reference while the others fit; \
                 look whether it was moved, and take `fixed` away if so"
            ),
            Self::LittleOverlap { fraction } => write!(
                formatter,
                "only {:.0} % of the scanned points lie on the fixed panels; scan more of them for a surer alignment",
                fraction * 100.0
            ),
            Self::StartPoseUseless => formatter.write_str(
                "the start pose led nowhere and the scan was searched for from scratch; correct `start`, or use way = \"coarse\"",
            ),
            Self::WeakDirection { direction, condition } => write!(
                formatter,
                "the fixed panels hardly hold {direction} (condition {condition:.0}); add a panel that does"
            ),
        }
    }
}

impl Alignment {
    /// Frames that agree: nothing to find, nothing uncertain.
    #[must_use]
    pub fn none() -> Self {
        Self {
            car_from_scanner: RigidTransform::identity(),
            way: "none",
            rms_residual_mm: 0.0,
            worst_residual_mm: 0.0,
            points_used: 0,
            iterations: 0,
            converged: true,
            covariance: Matrix6::zeros(),
            pivot: Point3::origin(),
            condition: 1.0,
            targets: Vec::new(),
            panels: Vec::new(),
            residual_points: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Standard uncertainty of a point's place along a direction, mm. Car frame; the direction need not be of length 1.
    #[must_use]
    pub fn uncertainty_mm(&self, point: &Point3<f64>, direction: &Vector3<f64>) -> f64 {
        let Some(unit) = direction.try_normalize(1e-12) else { return 0.0 };
        let row = moment_row(&(point - self.pivot), &unit);
        (row.transpose() * self.covariance * row)[(0, 0)].max(0.0).sqrt()
    }
}

/// How far a point at `arm` from the pivot moves along `direction` for `(ω, τ)`: the row `(arm × direction, direction)`.
pub(super) fn moment_row(arm: &Vector3<f64>, direction: &Vector3<f64>) -> Vector6<f64> {
    let turn = arm.cross(direction);
    Vector6::new(turn.x, turn.y, turn.z, direction.x, direction.y, direction.z)
}
