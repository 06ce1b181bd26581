//! Measures one scan of a batch in a process of its own, which may not take more memory than its share.

use std::path::PathBuf;
use std::process::Command;

use shutline::files::{BatchEntry, FoundScan, results_folder};

use super::command::BatchTerms;
use super::queue::Attempt;
use crate::cli::messages::{Failure, Talk};
use crate::cli::progress::Progress;

/// What all measurings of a batch have in common.
pub struct Runner<'a> {
    pub program: PathBuf,
    pub terms: &'a BatchTerms,
    pub plan_sha256: String,
    pub threads: usize,
    pub progress: &'a Progress,
}

/// An entry, or the name of a scan that had to be left out and why.
type Entered = Result<BatchEntry, (String, Failure)>;

impl Runner<'_> {
    /// Measures a scan unless it is known already; its failure to be measured is part of its entry.
    pub fn measure_entry(&self, scan: &FoundScan, bytes: u64, talk: Talk) -> Attempt<Entered> {
        let out = &self.terms.out;
        let left_out = |error| (scan.name.clone(), Failure::from(error));
        let presentation = self.terms.presentation.arguments().join(" ");
        let mut entry = match BatchEntry::of(scan, &self.plan_sha256, &presentation) {
            Ok(entry) => entry,
            // The scan went away or may not be read: that is this scan's failure, not the batch's.
            Err(error) => return Attempt::Done(Err(left_out(error))),
        };
        if !self.terms.force && entry.is_done_in(out) {
            self.progress.make_way(|| talk.line(format!("{}: unchanged", scan.name)));
            return Attempt::Done(Ok(entry));
        }
        let ended = self.measure(scan, &entry.folder, bytes);
        let may_come_again = matches!(ended, Ended::ForWantOfMemory) && bytes < self.limit_bytes();
        entry.failure = match ended {
            Ended::Measured => None,
            Ended::Failed(reason) => Some(reason),
            Ended::ForWantOfMemory => Some(format!(
                "the measuring took more than {} MB, or was ended from outside; give more with --memory",
                bytes >> 20
            )),
        };
        if may_come_again {
            return Attempt::Outgrown(Ok(entry));
        }
        self.progress.make_way(|| match &entry.failure {
            Some(reason) => talk.warning(format!("{}: {reason}", scan.name)),
            None => talk.line(format!("{}: measured", scan.name)),
        });
        Attempt::Done(entry.write(out).map_err(left_out).map(|()| entry))
    }

    const fn limit_bytes(&self) -> u64 {
        self.terms.memory.saturating_mul(1 << 20)
    }

    /// Runs `shutline measure` on one scan.
    fn measure(&self, scan: &FoundScan, folder: &str, bytes: u64) -> Ended {
        let output = Command::new(&self.program)
            .args(["--quiet", "measure", "--no-time"])
            .arg(&scan.path)
            .arg("--plan")
            .arg(&self.terms.plan)
            .arg("--out")
            .arg(results_folder(&self.terms.out, folder))
            .args(self.terms.presentation.arguments())
            .args(["--threads", &self.threads.to_string()])
            .args(["--memory-bytes", &bytes.to_string()])
            .env("NO_COLOR", "1")
            .output();
        let output = match output {
            Ok(output) => output,
            Err(error) => return Ended::Failed(format!("could not start the measuring: {error}")),
        };
        match output.status.code() {
            Some(0 | 1) => Ended::Measured,
            Some(_) => {
                let said = String::from_utf8_lossy(&output.stderr);
                let said = said.trim();
                Ended::Failed(said.strip_prefix("error:").unwrap_or(said).trim().to_owned())
            }
            // An allocation that fails aborts the process, and so does the system where memory is short.
            None => Ended::ForWantOfMemory,
        }
    }
}

/// How a measuring ended.
enum Ended {
    Measured,
    Failed(String),
    ForWantOfMemory,
}
