//! The entry: aligns as the plan's `[align]` says.
//!
//! In: a scan, the plan, and for surfaces a reference scan. Out: an [`Alignment`] or why there is none. Units: mm.
//! Does not move the scan: the plan is carried into the scanner's frame by whoever gathers points.

use super::align_error::AlignError;
use super::alignment::Alignment;
use super::datum_targets::align_datum_targets;
use super::point_pairs::align_point_pairs;
use super::sphere_target::with_fitted_spheres;
use super::surface_fit::{Reference, align_to_surface};
use crate::plan::{AlignTerms, Plan};
use crate::scan::ScanSource;

/// How much work an alignment may do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AlignSettings {
    /// Points of the scan that find the pose; three times as many take part in the last step.
    pub scan_points: usize,
    /// Seed of the search for a pose.
    pub seed: u64,
}

impl Default for AlignSettings {
    fn default() -> Self {
        Self { scan_points: 30_000, seed: 1 }
    }
}

/// Finds `car_from_scanner`. `reference` is the surface named by [`AlignTerms::reference`], in the car's frame.
///
/// # Errors
/// See [`AlignError`]: too little, too ambiguous or contradictory to stand on.
pub fn align(
    source: &dyn ScanSource,
    plan: &Plan,
    reference: Option<&dyn ScanSource>,
    settings: &AlignSettings,
) -> Result<Alignment, AlignError> {
    match &plan.align {
        AlignTerms::None => Ok(Alignment::none()),
        AlignTerms::DatumTargets { targets } => align_datum_targets(targets),
        AlignTerms::PointPairs { pairs, limit_mm } => {
            align_point_pairs(&with_fitted_spheres(source, pairs)?, *limit_mm)
        }
        AlignTerms::BestFit { start, .. } => {
            let reference = Reference::prepare(given(reference, plan)?, plan)?;
            align_to_surface(source, plan, &reference, Some(start), settings)
        }
        AlignTerms::Coarse { .. } => {
            let reference = Reference::prepare(given(reference, plan)?, plan)?;
            align_to_surface(source, plan, &reference, None, settings)
        }
    }
}

fn given<'s>(reference: Option<&'s dyn ScanSource>, plan: &Plan) -> Result<&'s dyn ScanSource, AlignError> {
    reference.ok_or(AlignError::NoReference { way: plan.align.way() })
}
