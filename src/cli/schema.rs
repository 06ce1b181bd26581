//! `shutline schema`: the published shape of `record.json`.

use clap::Args;
use shutline::render::record_schema;

use super::exit_code::Outcome;
use super::messages::{Failure, print_data};

/// Print the JSON Schema of record.json
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline schema > record.schema.json")]
pub struct Schema {}

impl Schema {
    pub fn run(&self) -> Result<Outcome, Failure> {
        print_data(&record_schema()?)?;
        Ok(Outcome::AllGood)
    }
}
