//! The command line: the only place that prints.
//!
//! To add a command: one file with a clap `Args` struct and `run(&self, talk: Talk) -> Result<Outcome, Failure>`, one
//! line in `args.rs`, one arm below. Any library error turns into a [`messages::Failure`] with `?`.

mod advise;
mod align;
mod args;
mod batch;
mod check;
mod compare;
mod exit_code;
mod find;
mod look;
mod measure;
mod merge;
mod messages;
mod progress;
mod rehearse;
mod rehearse_gannet;
mod repeat;
mod results;
mod schema;
mod summary_table;
mod trace;
mod view;

use std::process::ExitCode;

use clap::Parser;
use shutline::files::remove_unfinished;

use args::{Arguments, Command};
use exit_code::Outcome;
use messages::{Failure, Talk};

/// Runs the program.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return explain_usage(&error),
    };
    let talk = Talk { is_quiet: arguments.quiet };
    // Without a handler a run can still be ended; it may then leave a file whose name says that it is unfinished.
    let _ = ctrlc::set_handler(stop);
    let result = match &arguments.command {
        Command::Measure(command) => command.run(talk),
        Command::Compare(command) => command.run(talk),
        Command::Advise(command) => command.run(talk),
        Command::Align(command) => command.run(talk),
        Command::Trace(command) => command.run(talk),
        Command::Find(command) => command.run(talk),
        Command::Look(command) => command.run(talk),
        Command::Merge(command) => command.run(talk),
        Command::Repeat(command) => command.run(talk),
        Command::Rehearse(command) => command.run(talk),
        Command::Batch(command) => command.run(talk),
        Command::View(command) => command.run(talk),
        Command::Check(command) => command.run(talk),
        Command::Schema(command) => command.run(),
    };
    result
        .unwrap_or_else(|failure| {
            failure.say();
            Outcome::Failed
        })
        .into()
}

/// Ctrl-C: leaves nothing half-written. It is how a watch ends, so that writes its overview first.
fn stop() {
    if batch::ask_watch_to_end() {
        return;
    }
    remove_unfinished();
    Failure::new("stopped before the end; earlier results are as they were").say();
    std::process::exit(Outcome::Failed as i32);
}

/// Help and version are no failures; anything else typed wrongly is.
fn explain_usage(error: &clap::Error) -> ExitCode {
    // Nobody is left to tell if the stream is closed.
    let _ = error.print();
    if error.use_stderr() { Outcome::Failed.into() } else { Outcome::AllGood.into() }
}
