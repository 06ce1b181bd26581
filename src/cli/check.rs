//! `shutline check`: is a plan sound, and what does it ask for?

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;
use shutline::files::read_plan;
use shutline::plan::Plan;
use shutline::render::{Language, RunWarning};

use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};

/// Check a seam plan without a scan, and list its seams
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline check sample-scans/gannet.seams.toml")]
pub struct Check {
    /// The seam plan (TOML)
    plan: PathBuf,
}

impl Check {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        for doubt in plan.doubtful_sides() {
            talk.warning(RunWarning::DoubtfulSide(doubt).words(Language::default()));
        }
        print_data(&list_seams(&plan))?;
        Ok(Outcome::AllGood)
    }
}

fn list_seams(plan: &Plan) -> String {
    let mut text = format!("{}\n", plan.title);
    let symbol = plan.units.symbol();
    for seam in &plan.seams {
        let (gap, flush) = (seam.gap.tolerance, seam.flush.tolerance);
        let in_unit = |value_mm: f64| value_mm / plan.units.mm();
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "  {:<28} {:>4} stations over {:>8.1} {symbol}   gap {:.2} -{:.2} +{:.2}   flush {:.2} -{:.2} +{:.2}",
            seam.id.0,
            seam.stations().len(),
            in_unit(seam.curve.length_mm()),
            in_unit(gap.nominal_mm),
            in_unit(gap.minus_mm),
            in_unit(gap.plus_mm),
            in_unit(flush.nominal_mm),
            in_unit(flush.minus_mm),
            in_unit(flush.plus_mm),
        );
    }
    text
}
