//! `shutline batch`: every scan in a folder.
//!
//! Each scan is measured by a process of its own, so that a scan that brings it down takes no other with it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use clap::Args;
use shutline::files::{BatchEntry, FoundScan, find_scans, plan_hash, read_plan};

use super::overview::write_overview;
use super::queue::{reckoned_bytes, run_jobs};
use super::runner::Runner;
use crate::cli::exit_code::Outcome;
use crate::cli::measure::MOST_THREADS;
use crate::cli::messages::{Failure, Talk};
use crate::cli::progress::Progress;
use crate::cli::results::Presentation;

/// Time between two looks at a watched folder; a file has stopped growing if two looks find it the same.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// The program alone takes some ten megabytes.
const LEAST_MEMORY_MB: u64 = 12;
/// Time between two questions whether the person has interrupted.
const NAP: Duration = Duration::from_millis(50);

/// Measure every scan in a folder, with one report each and an overview
#[derive(Debug, Args)]
#[command(
    after_help = "Scans already measured with the same plan, program, language and paper are not measured again.\nWrites \
overview.html, overview.csv and readings.parquet (all readings of all scans in one table) beside the scans' own folders.\n\nExample:\n  \
shutline batch scans/ --plan gannet.seams.toml --out out/week-12\n  shutline batch scans/ --plan gannet.seams.toml \
--out out/part-1 --shard 1/2"
)]
pub struct Batch {
    /// Folder of scans; subfolders are searched
    folder: PathBuf,
    #[command(flatten)]
    terms: BatchTerms,
    /// Do only part K of N, counted over the scans in order of name; join the parts with 'shutline merge'
    #[arg(long, value_name = "K/N", value_parser = parse_shard)]
    shard: Option<Shard>,
    /// Keep measuring scans as they arrive, once they have stopped growing; end with Ctrl-C
    #[arg(long, conflicts_with = "shard")]
    watch: bool,
    /// With --watch: stop when nothing new has come for so many seconds
    #[arg(long, value_name = "SECONDS", requires = "watch")]
    until_idle: Option<u64>,
}

/// What a batch and a repeat study have in common.
#[derive(Debug, Clone, Args)]
pub struct BatchTerms {
    /// The seam plan (TOML)
    #[arg(long)]
    pub plan: PathBuf,
    /// Folder for the results; made if missing
    #[arg(long)]
    pub out: PathBuf,
    /// Only files whose name matches, such as '*.ply'; may be given several times
    #[arg(long)]
    pub pattern: Vec<String>,
    /// Measure again even where nothing has changed
    #[arg(long)]
    pub force: bool,
    /// Scans measured at once [default: as many as cores]
    #[arg(long)]
    pub jobs: Option<usize>,
    /// Memory for all scans measured at once, MB, from 12; no measuring may take more than its share
    #[arg(long, default_value_t = 4096, value_parser = clap::value_parser!(u64).range(LEAST_MEMORY_MB..))]
    pub memory: u64,
    #[command(flatten)]
    pub presentation: Presentation,
}

/// Part `k` of `n`, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Shard {
    k: usize,
    n: usize,
}

fn parse_shard(text: &str) -> Result<Shard, String> {
    let parts = text.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
    match parts {
        Some((k, n)) if 1 <= k && k <= n => Ok(Shard { k, n }),
        _ => Err("write K/N with K from 1 to N, such as 2/5".to_owned()),
    }
}

impl Batch {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        if self.watch {
            return self.run_watching(talk);
        }
        let mut scans = scans_of(&self.folder, &self.terms)?;
        if let Some(Shard { k, n }) = self.shard {
            scans = scans.into_iter().skip(k - 1).step_by(n).collect();
        }
        let entries = run_batch(&scans, &self.terms, talk)?;
        finish(&entries, scans.len(), &self.terms, talk)
    }

    fn run_watching(&self, talk: Talk) -> Result<Outcome, Failure> {
        read_plan(&self.terms.plan)?;
        WATCH.store(WATCHING, Ordering::Relaxed);
        let mut seen: BTreeMap<String, FoundScan> = BTreeMap::new();
        let mut done: BTreeMap<String, FoundScan> = BTreeMap::new();
        let mut entries: Vec<BatchEntry> = Vec::new();
        let mut quiet_since = Instant::now();
        loop {
            let found = find_scans(&self.folder, &self.terms.pattern, &self.terms.out)?;
            let still: Vec<FoundScan> =
                found.iter().filter(|scan| seen.get(&scan.name) == Some(scan)).cloned().collect();
            let has_new = still.iter().any(|scan| done.get(&scan.name) != Some(scan));
            let is_growing = still.len() < found.len();
            if has_new {
                entries = run_batch(&still, &self.terms, talk)?;
                write_overview(&entries, &self.terms.out, self.terms.presentation.language())?;
                done = still.into_iter().map(|scan| (scan.name.clone(), scan)).collect();
            }
            if has_new || is_growing {
                quiet_since = Instant::now();
            }
            seen = found.into_iter().map(|scan| (scan.name.clone(), scan)).collect();
            let is_idle =
                self.until_idle.is_some_and(|seconds| quiet_since.elapsed() >= Duration::from_secs(seconds));
            if is_idle || waits_to_be_stopped() {
                return match done.len() {
                    0 => Err(no_scans(&self.folder)),
                    count => finish(&entries, count, &self.terms, talk),
                };
            }
        }
    }
}

/// Whether a watch is on, and whether it has been asked to end.
static WATCH: AtomicU8 = AtomicU8::new(NO_WATCH);
const NO_WATCH: u8 = 0;
const WATCHING: u8 = 1;
const ASKED_TO_END: u8 = 2;

/// Asks a watch to end after the measurings under way; false where none is on, or it has been asked before.
pub fn ask_watch_to_end() -> bool {
    WATCH.compare_exchange(WATCHING, ASKED_TO_END, Ordering::Relaxed, Ordering::Relaxed).is_ok()
}

/// Lets the time between two looks pass; true where the person did not want to wait.
fn waits_to_be_stopped() -> bool {
    let since = Instant::now();
    while since.elapsed() < LOOK_EVERY {
        if WATCH.load(Ordering::Relaxed) == ASKED_TO_END {
            return true;
        }
        std::thread::sleep(NAP);
    }
    false
}

fn no_scans(folder: &Path) -> Failure {
    Failure::new(format!(
        "there are no scans in {}; check the folder, or say which files are scans with --pattern",
        folder.display()
    ))
}

/// The scans of a folder, at least one.
pub fn scans_of(folder: &Path, terms: &BatchTerms) -> Result<Vec<FoundScan>, Failure> {
    let scans = find_scans(folder, &terms.pattern, &terms.out)?;
    if scans.is_empty() { Err(no_scans(folder)) } else { Ok(scans) }
}

/// Measures what is new or changed; gives an entry for every scan, in their order.
pub fn run_batch(scans: &[FoundScan], terms: &BatchTerms, talk: Talk) -> Result<Vec<BatchEntry>, Failure> {
    let plan_sha256 = plan_hash(&read_plan(&terms.plan)?, &terms.plan)?;
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let workers = terms.jobs.unwrap_or(cores).clamp(1, scans.len().max(1));
    let threads = (cores / workers).clamp(1, MOST_THREADS.into());
    let sizes: Vec<u64> = scans.iter().map(|scan| reckoned_bytes(scan.byte_count)).collect();
    let progress = Progress::start(talk.is_quiet);
    let program = std::env::current_exe()?;
    let runner = Runner { program, terms, plan_sha256, threads, progress: &progress };
    progress.wait("measuring scans");
    let done = AtomicU64::new(0);
    let results = run_jobs(&sizes, workers, terms.memory.saturating_mul(1 << 20), &|job, bytes| {
        let attempt = runner.measure_entry(&scans[job], bytes, talk);
        progress.scans_done(1 + done.fetch_add(1, Ordering::Relaxed), scans.len() as u64);
        attempt
    });
    progress.finish();
    let mut entries = Vec::new();
    for result in results {
        match result {
            Ok(entry) => entries.push(entry),
            Err((name, failure)) => talk.warning(format!("{name}: left out; {}", failure.text())),
        }
    }
    Ok(entries)
}

/// Overview, a line for the person, and the exit status.
fn finish(
    entries: &[BatchEntry],
    scan_count: usize,
    terms: &BatchTerms,
    talk: Talk,
) -> Result<Outcome, Failure> {
    let overview = write_overview(entries, &terms.out, terms.presentation.language())?;
    let failed = entries.iter().filter(|entry| entry.failure.is_some()).count();
    talk.line(format!(
        "{} scans, {failed} could not be measured; overview in {}",
        entries.len(),
        terms.out.join("overview.html").display()
    ));
    if failed == entries.len() && failed > 0 {
        return Err(Failure::new(
            "no scan of the folder could be measured; the reasons are above and in the overview",
        ));
    }
    // A scan that was left out has no verdict, and so not every verdict is good.
    Ok(Outcome::of(overview.is_all_good() && entries.len() == scan_count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_counted_from_one() {
        assert_eq!(parse_shard("2/5"), Ok(Shard { k: 2, n: 5 }));
        for wrong in ["0/3", "4/3", "x/3", "3", "1/0", "-1/2"] {
            assert!(parse_shard(wrong).is_err(), "{wrong}");
        }
    }
}
