//! `advice.csv`: every reading that the advice touches, as it is, as it is expected to be, and what is left.
//!
//! In: the plan and an [`Advice`]. Out: UTF-8 CSV. Units: the plan's (`_mm` or `_in`).
//! `left` is what is expected to lie beyond the limit, with its sign; 0 inside tolerance. Unseen readings have no row.

use super::error::RenderError;
use super::ink::excess_mm;
use crate::advise::Advice;
use crate::judge::Measurand;
use crate::plan::Plan;
use crate::units::LengthUnit;

/// The table.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn advice_csv(plan: &Plan, advice: &Advice) -> Result<String, RenderError> {
    let unit = plan.units;
    let suffix = if unit == LengthUnit::Inch { "in" } else { "mm" };
    let mut table = csv::Writer::from_writer(Vec::new());
    let with_unit = |name: &str| format!("{name}_{suffix}");
    let mut header =
        vec!["seam".to_owned(), "station".to_owned(), with_unit("along"), "measurand".to_owned()];
    header.extend(["before", "expected", "u", "lower", "upper", "left"].map(with_unit));
    header.extend(["verdict_before", "verdict_expected"].map(str::to_owned));
    table.write_record(&header)?;
    for (before, after) in advice.seams_before.iter().zip(&advice.seams_after) {
        for (first, then) in before.stations.iter().zip(&after.stations) {
            for measurand in Measurand::BOTH {
                let (first_value, then_value) = (first.value(measurand), then.value(measurand));
                let (Ok(was), Ok(will)) = (first_value.measured, then_value.measured) else { continue };
                let station = &first.reading.station;
                let tolerance = then_value.tolerance;
                let inside = (tolerance.lower_mm()..=tolerance.upper_mm()).contains(&will.value_mm);
                let left_mm = if inside { 0.0 } else { excess_mm(will.value_mm, &tolerance) };
                let mut row = vec![
                    before.seam.0.clone(),
                    station.index.to_string(),
                    number(station.along_mm, unit),
                    measurand.word().to_owned(),
                ];
                let lengths = [
                    was.value_mm,
                    will.value_mm,
                    will.u_mm,
                    tolerance.lower_mm(),
                    tolerance.upper_mm(),
                    left_mm,
                ];
                row.extend(lengths.map(|value| number(value, unit)));
                row.extend(
                    [first_value.verdict, then_value.verdict].map(|verdict| verdict.word().to_owned()),
                );
                table.write_record(&row)?;
            }
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn number(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 6 } else { 4 };
    format!("{:.decimals$}", value_mm / unit.mm())
}
