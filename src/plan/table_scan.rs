//! The plan's table `[scan]`: the unit of the scan's coordinates and what is known of the scanner.
//!
//! In: the table. Out: [`ScanTerms`], mm.
//! Defaults: accuracy 0.03 mm, the order of a hand-held structured-light scanner over a gap (common practice, no
//! source; `shutline repeat` finds the true figure for a scanner); smoothing unknown.

use super::fields::Fields;
use super::plan_error::PlanError;
use super::types::ScanTerms;
use crate::units::LengthUnit;

pub(super) const KEYS: &[&str] = &["units", "accuracy", "smoothing"];

/// Standard uncertainty taken where the plan states none, mm; see the module head.
const DEFAULT_ACCURACY_MM: f64 = 0.03;

pub(super) fn read(fields: &Fields<'_>) -> Result<ScanTerms, PlanError> {
    let choices = LengthUnit::ALL.map(|unit| (unit.symbol(), unit));
    let units = fields.choice("units", &choices)?.ok_or_else(|| fields.missing("units", "units = \"mm\""))?;
    Ok(ScanTerms {
        units: units.value,
        accuracy_mm: fields.width_mm("accuracy")?.unwrap_or(DEFAULT_ACCURACY_MM),
        smoothing_mm: fields.width_mm("smoothing")?,
    })
}
