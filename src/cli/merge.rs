//! `shutline merge`: the parts of a batch as one.

use std::path::PathBuf;

use clap::Args;
use shutline::files::{BatchEntry, read_entries};

use super::batch::write_overview;
use super::exit_code::Outcome;
use super::messages::{Failure, Talk};
use super::results::Presentation;

/// Join the results of sharded batches; the same as one batch over all scans
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline merge out/part-1 out/part-2 --out out/week-12")]
pub struct Merge {
    /// Folders that 'shutline batch --shard' has written
    #[arg(required = true)]
    parts: Vec<PathBuf>,
    /// Folder for the joined results; made if missing
    #[arg(long)]
    out: PathBuf,
    #[command(flatten)]
    presentation: Presentation,
}

impl Merge {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let mut joined: Vec<(PathBuf, BatchEntry)> = Vec::new();
        for part in &self.parts {
            for entry in read_entries(part)? {
                if let Some((other, _)) = joined.iter().find(|(_, known)| known.scan == entry.scan) {
                    return Err(Failure::new(format!(
                        "the scan {} is in {} and in {}; give each part once",
                        entry.scan,
                        other.display(),
                        part.display()
                    )));
                }
                joined.push((part.clone(), entry));
            }
        }
        check_alike(&joined)?;
        for (part, entry) in &joined {
            entry.copy(part, &self.out)?;
        }
        let entries: Vec<BatchEntry> = joined.into_iter().map(|(_, entry)| entry).collect();
        let overview = write_overview(&entries, &self.out, self.presentation.language())?;
        talk.line(format!("{} scans joined in {}", entries.len(), self.out.display()));
        Ok(Outcome::of(overview.is_all_good()))
    }
}

/// Parts measured with different plans or programs do not belong together.
fn check_alike(joined: &[(PathBuf, BatchEntry)]) -> Result<(), Failure> {
    let Some((first_part, first)) = joined.first() else {
        return Err(Failure::new("the parts hold no scans; run 'shutline batch' first"));
    };
    match joined
        .iter()
        .find(|(_, entry)| entry.plan_sha256 != first.plan_sha256 || entry.program != first.program)
    {
        Some((part, entry)) => Err(Failure::new(format!(
            "{} in {} was measured with another plan or program version than {} in {}; run the batch again with one plan",
            entry.scan,
            part.display(),
            first.scan,
            first_part.display()
        ))),
        None => Ok(()),
    }
}
