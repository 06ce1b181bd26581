//! `shutline schema`: the published shapes of the JSON files.

use clap::{Args, ValueEnum};
use shutline::render::{advice_schema, comparison_schema, record_schema, repeat_schema};

use super::exit_code::Outcome;
use super::messages::{Failure, print_data};

/// Print the JSON Schema of a JSON file that the program writes
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  shutline schema > record.schema.json\n  shutline schema comparison > comparison.schema.json"
)]
pub struct Schema {
    /// Which file
    #[arg(value_enum, default_value_t = Which::Record)]
    which: Which,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Which {
    /// record.json of 'measure' and 'batch'
    Record,
    /// comparison.json of 'compare'
    Comparison,
    /// repeat.json of 'repeat'
    Repeat,
    /// advice.json of 'advise'
    Advice,
}

impl Schema {
    pub fn run(&self) -> Result<Outcome, Failure> {
        print_data(&match self.which {
            Which::Record => record_schema()?,
            Which::Comparison => comparison_schema()?,
            Which::Repeat => repeat_schema()?,
            Which::Advice => advice_schema()?,
        })?;
        Ok(Outcome::AllGood)
    }
}
