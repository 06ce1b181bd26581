//! What can be typed: the commands, one struct each in its own file.

use clap::{Parser, Subcommand};

use super::{
    advise, align, batch, check, compare, find, look, measure, merge, rehearse, repeat, schema, trace, view,
};

/// Panel gaps and flush from a 3D scan of a car, seam by seam.
#[derive(Debug, Parser)]
#[command(name = "shutline", version, propagate_version = true, arg_required_else_help = true)]
#[command(after_help = "Exit status: 0 every verdict is good; 1 measured, and not every verdict is good; \
2 the job could not be done.\n\nExample:\n  shutline measure sample-scans/gannet-before.ply \
--plan sample-scans/gannet.seams.toml --out out/before")]
pub struct Arguments {
    /// Say only what went wrong
    #[arg(long, short, global = true)]
    pub quiet: bool,
    #[command(subcommand)]
    pub command: Command,
}

/// The commands, in the order of the help text.
#[derive(Debug, Subcommand)]
pub enum Command {
    Measure(measure::Measure),
    Compare(compare::Compare),
    Advise(advise::Advise),
    Align(align::Align),
    Trace(trace::Trace),
    Find(find::Find),
    Look(look::Look),
    Merge(merge::Merge),
    Repeat(repeat::Repeat),
    Rehearse(rehearse::Rehearse),
    Batch(batch::Batch),
    View(view::View),
    Check(check::Check),
    Schema(schema::Schema),
}
