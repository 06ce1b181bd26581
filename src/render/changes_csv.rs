//! `changes.csv`: one row for every station that two scans, or the two sides of one, share.
//!
//! In: the plan's unit and a [`Comparison`]. Out: UTF-8 CSV. Units: the plan's (`_mm` or `_in`).
//! `change_u` is the standard uncertainty of the change. What one of the scans does not show is an empty cell.
//! Does not round away: five decimals in mm, seven in inches.

use super::error::RenderError;
use super::format::unit_name;
use crate::measure::Estimate;
use crate::plan::Plan;
use crate::summarise::{Comparison, ComparisonKind, StationChange};
use crate::units::LengthUnit;

/// The table of changes.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn changes_csv(plan: &Plan, comparison: &Comparison) -> Result<String, RenderError> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(header(comparison.kind, plan.units))?;
    for seam in &comparison.seams {
        for (gap, flush) in seam.gap.stations.iter().zip(&seam.flush.stations) {
            let mut row =
                vec![seam.seam.0.clone(), gap.station_index.to_string(), number(gap.along_mm, plan.units)];
            row.extend(cells(gap, plan.units));
            row.extend(cells(flush, plan.units));
            table.write_record(row)?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn header(kind: ComparisonKind, unit: LengthUnit) -> Vec<String> {
    let suffix = unit_name(unit);
    let mut names = vec!["seam".to_owned(), "station".to_owned(), format!("along_{suffix}")];
    for measurand in ["gap", "flush"] {
        let ([first, second], change) = (kind.sides(), kind.change());
        for column in [first, second, change] {
            names.push(format!("{measurand}_{column}_{suffix}"));
        }
        names.push(format!("{measurand}_{change}_u_{suffix}"));
        names.push(format!("{measurand}_{change}_verdict"));
        names.push(format!("{measurand}_trend"));
    }
    names
}

fn cells(station: &StationChange, unit: LengthUnit) -> Vec<String> {
    let value = |estimate: &Option<Estimate>, pick: fn(&Estimate) -> f64| {
        estimate.as_ref().map_or_else(String::new, |estimate| number(pick(estimate), unit))
    };
    vec![
        value(&station.before, |estimate| estimate.value_mm),
        value(&station.after, |estimate| estimate.value_mm),
        value(&station.change, |estimate| estimate.value_mm),
        value(&station.change, |estimate| estimate.u_mm),
        station.verdict.word().to_owned(),
        station.trend.word().to_owned(),
    ]
}

fn number(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 7 } else { 5 };
    format!("{:.decimals$}", value_mm / unit.mm())
}
