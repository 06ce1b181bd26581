//! `readings.csv`: one row for every station of every seam.
//!
//! In: the plan's unit and judged seams. Out: UTF-8 CSV with the header of the published table.
//! Units: the plan's (`_mm` or `_in`); station points in the Car frame; `gap_u`, `flush_u` are standard uncertainties.
//! What was not measured is an empty cell, never zero. `reason` says why in one token; where gap and flush are both unseen
//! for different reasons it holds both, as `gap:edge-not-seen flush:no-points`.
//! Where film is still to come, values are as scanned and verdicts are of the state that the plan judges: `finished.csv`
//! has both states whole.
//! Does not round away: five decimals in mm, seven in inches.

use super::error::RenderError;
use crate::judge::{JudgedReading, JudgedSeam, Measurand};
use crate::measure::{Estimate, Reason, StationReading};
use crate::plan::Plan;
use crate::units::LengthUnit;

/// The table of readings.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn readings_csv(plan: &Plan, seams: &[JudgedSeam]) -> Result<String, RenderError> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(header(plan.units))?;
    for seam in seams {
        for station in &seam.stations {
            table.write_record(row(&seam.seam.0, station, plan.units))?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The ending of columns that hold lengths.
pub(super) const fn unit_suffix(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Inch => "in",
        _ => "mm",
    }
}

fn header(unit: LengthUnit) -> Vec<String> {
    let suffix = unit_suffix(unit);
    let with_unit = |name: &str| format!("{name}_{suffix}");
    let mut names = vec!["seam".to_owned(), "station".to_owned()];
    names.extend(["along", "x", "y", "z", "gap", "gap_u"].map(with_unit));
    names.push("gap_verdict".to_owned());
    names.extend(["flush", "flush_u"].map(with_unit));
    names.extend(["flush_verdict", "reason"].map(str::to_owned));
    names
}

fn row(seam: &str, station: &JudgedReading, unit: LengthUnit) -> Vec<String> {
    let reading = &station.reading;
    let (gap, gap_u) = cells(reading.gap.as_ref(), unit);
    let (flush, flush_u) = cells(reading.flush.as_ref(), unit);
    vec![
        seam.to_owned(),
        reading.station.index.to_string(),
        number(reading.station.along_mm, unit),
        number(reading.point.x, unit),
        number(reading.point.y, unit),
        number(reading.point.z, unit),
        gap,
        gap_u,
        station.value(Measurand::Gap).verdict.word().to_owned(),
        flush,
        flush_u,
        station.value(Measurand::Flush).verdict.word().to_owned(),
        reason_cell(reading),
    ]
}

/// One token; both, each with its measurand, where they differ.
pub(super) fn reason_cell(reading: &StationReading) -> String {
    reason_words(reading.gap.as_ref().err().copied(), reading.flush.as_ref().err().copied())
}

fn reason_words(gap: Option<Reason>, flush: Option<Reason>) -> String {
    match (gap, flush) {
        (Some(gap), Some(flush)) if gap != flush => format!("gap:{} flush:{}", gap.token(), flush.token()),
        (reason, None) | (None, reason) | (reason, Some(_)) => {
            reason.map_or_else(String::new, |reason| reason.token().to_owned())
        }
    }
}

/// Value and standard uncertainty, or two empty cells.
pub(super) fn cells<E>(value: Result<&Estimate, E>, unit: LengthUnit) -> (String, String) {
    value.map_or_else(
        |_| (String::new(), String::new()),
        |estimate| (number(estimate.value_mm, unit), number(estimate.u_mm, unit)),
    )
}

/// The plan's unit; never `-0`.
pub(super) fn number(value_mm: f64, unit: LengthUnit) -> String {
    if unit == LengthUnit::Inch {
        let rounded = (value_mm / 25.4 * 1e7).round() / 1e7;
        format!("{:.7}", rounded + 0.0)
    } else {
        let rounded = (value_mm * 1e5).round() / 1e5;
        format!("{:.5}", rounded + 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_is_one_token_unless_gap_and_flush_differ() {
        let (edge, points) = (Reason::EdgeNotSeen, Reason::NoPoints);
        let cases = [
            (None, None, ""),
            (Some(edge), None, "edge-not-seen"),
            (None, Some(points), "no-points"),
            (Some(edge), Some(edge), "edge-not-seen"),
            (Some(edge), Some(points), "gap:edge-not-seen flush:no-points"),
        ];
        for (gap, flush, expected) in cases {
            assert_eq!(reason_words(gap, flush), expected);
        }
    }
}
