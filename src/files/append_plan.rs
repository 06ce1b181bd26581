//! Adds tables to a plan that a person may have written.
//!
//! In: the path of a plan and the text of new tables. Out: the plan with the old text as it was and the new one after it.
//! Does not check that the result is a plan: whoever makes the tables has read it.

use std::path::Path;

use thiserror::Error;

use super::output_folder::{WriteError, write_file};
use super::read_plan::{ReadPlanError, read_text};

/// Why nothing was added; the plan is as it was.
#[derive(Debug, Error)]
pub enum AppendPlanError {
    #[error(transparent)]
    Read(#[from] ReadPlanError),
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Adds tables at the end of a plan.
///
/// # Errors
/// The plan cannot be read or is not text, or the disk refuses.
pub fn append_to_plan(path: &Path, tables: &str) -> Result<(), AppendPlanError> {
    let mut text = read_text(path)?;
    text.push_str(tables);
    Ok(write_file(path, text.as_bytes())?)
}
