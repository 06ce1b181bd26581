//! `finished.csv`: each station as scanned and as it is to be expected once the film still to come is on.
//!
//! In: the plan's unit and judged seams with a finished state. Out: UTF-8 CSV; `readings.csv` keeps its published header.
//! Units: the plan's (`_mm` or `_in`); `_u` are standard uncertainties. Both states carry their own verdicts; `judged` says
//! which of the two counts in summaries, pictures and the exit status.
//! What was not measured is an empty cell, never zero; `reason` says why, as in `readings.csv`.

use super::error::RenderError;
use super::table_csv::{cells, number, reason_cell, unit_suffix};
use crate::judge::{JudgedReading, JudgedSeam, Measurand};
use crate::plan::{JudgedState, Plan};
use crate::units::LengthUnit;

const STATES: [(JudgedState, &str); 2] =
    [(JudgedState::AsScanned, "scanned"), (JudgedState::Finished, "finished")];

/// The table of both states, or `None` where the plan has no film to come.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn finished_csv(plan: &Plan, seams: &[JudgedSeam]) -> Result<Option<String>, RenderError> {
    if !plan.finish.is_to_come() {
        return Ok(None);
    }
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(header(plan.units))?;
    for seam in seams {
        for station in &seam.stations {
            table.write_record(row(&seam.seam.0, station, plan.units))?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(Some(String::from_utf8_lossy(&bytes).into_owned()))
}

fn header(unit: LengthUnit) -> Vec<String> {
    let suffix = unit_suffix(unit);
    let mut names = vec!["seam".to_owned(), "station".to_owned(), format!("along_{suffix}")];
    names.push("judged".to_owned());
    for measurand in Measurand::BOTH {
        for (_, state) in STATES {
            let name = format!("{}_{state}", measurand.word());
            names.extend([
                format!("{name}_{suffix}"),
                format!("{name}_u_{suffix}"),
                format!("{name}_verdict"),
            ]);
        }
    }
    names.push("reason".to_owned());
    names
}

fn row(seam: &str, station: &JudgedReading, unit: LengthUnit) -> Vec<String> {
    let reading = &station.reading;
    let mut row = vec![
        seam.to_owned(),
        reading.station.index.to_string(),
        number(reading.station.along_mm, unit),
        station.judged_state.word().to_owned(),
    ];
    for measurand in Measurand::BOTH {
        for (state, _) in STATES {
            let value = station.value_in(state, measurand);
            let (length, u) = cells(value.measured, unit);
            row.extend([length, u, value.verdict.word().to_owned()]);
        }
    }
    row.push(reason_cell(reading));
    row
}
