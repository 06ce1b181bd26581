//! `shutline measure`: the main job.

use std::path::PathBuf;

use clap::Args;
use shutline::files::{OutputFolder, PlanFile, content_hash, open_scan, read_plan_files};
use shutline::pipeline::{MeasuredScan, measure_scan};
use shutline::render::{Language, RunFacts, RunWarning};
use shutline::scan::ScanSource;

use super::align::open_reference;
use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;
use super::results::{Presentation, input_file, plan_inputs, write_results};
use super::summary_table::summary_table;

/// Measure gap and flush of every seam, judge them, and write tables and pictures
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline measure sample-scans/gannet-before.ply \
--plan sample-scans/gannet.seams.toml --out out/before")]
pub struct Measure {
    /// The scan file, or - for standard input
    scan: PathBuf,
    /// The seam plan (TOML)
    #[arg(long)]
    plan: PathBuf,
    /// Folder for the results; made if missing
    #[arg(long)]
    out: PathBuf,
    /// Print the record as JSON instead of the table
    #[arg(long)]
    json: bool,
    /// How many worst sections to draw for each seam, besides one of what was not read
    #[arg(long, default_value_t = 3)]
    sections: usize,
    /// Threads to use, 1 to 256; all cores by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=MOST_THREADS.into()))]
    threads: Option<u16>,
    /// Say on standard error how long each stage took
    #[arg(long)]
    timings: bool,
    /// Leave the scan's SHA-256 out of the record, which for a very large scan takes longer than measuring it
    #[arg(long)]
    no_hash: bool,
    /// Leave the time out of the results, so that equal inputs give equal bytes
    #[arg(long)]
    no_time: bool,
    #[command(flatten)]
    presentation: Presentation,
    /// Most memory that may be taken, bytes; held on Linux
    #[arg(long, hide = true)]
    memory_bytes: Option<u64>,
}

/// Most threads that may be asked for: thousands would look for work in each other for ever.
pub(super) const MOST_THREADS: u16 = 256;
/// Where fewer than one reading in so many could be taken, something is wrong with the scan or its place.
const LITTLE_SHARE: usize = 10;

impl Measure {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        if let Some(bytes) = self.memory_bytes {
            hold_memory(bytes);
        }
        if let Some(threads) = self.threads {
            rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build_global()?;
        }
        let progress = Progress::start(talk.is_quiet);
        progress.begin_named("open");
        let read = read_plan_files(&self.plan)?;
        let plan = &read.plan;
        let folder = OutputFolder::begin(&self.out)?;
        let source = open_scan(&self.scan, plan.scan.units)?;
        progress.expect_bytes(source.facts().byte_count);
        let reference = open_reference(plan, &self.plan)?;
        let (measured, hash) = rayon::join(
            || measure_scan(source.as_ref(), plan, reference.as_deref(), &progress),
            || progress.time_beside("hash", || self.scan_hash()),
        );
        let measured = measured?;
        progress.begin_named("report");
        let run = self.run_facts(&read, &measured, source.as_ref(), hash?);
        for warning in &run.warnings {
            talk.warning(warning.words(Language::English));
        }
        let record = write_results(&folder, plan, &measured, &run, self.sections, self.presentation)?;
        folder.finish()?;
        progress.finish();
        if self.json {
            print_data(&record)?;
        } else {
            print_data(&summary_table(plan, &measured.summary, &measured.lineups))?;
        }
        talk.line(format!("written to {}", self.out.display()));
        if self.timings {
            talk.asked_for(progress.timings().trim_end());
        }
        Ok(Outcome::of(measured.is_all_good()))
    }

    fn run_facts(
        &self,
        read: &PlanFile,
        measured: &MeasuredScan,
        source: &dyn ScanSource,
        scan_sha256: Option<String>,
    ) -> RunFacts {
        let mut inputs = plan_inputs(&self.plan, read);
        inputs.extend(scan_sha256.map(|sha256| input_file("scan", &self.scan, sha256)));
        let mut warnings: Vec<RunWarning> =
            measured.alignment.warnings.iter().cloned().map(RunWarning::Alignment).collect();
        if measured.points_not_finite > 0 {
            warnings.push(RunWarning::PointsLeftOut {
                left_out: measured.points_not_finite,
                of: measured.points_seen,
            });
        }
        warnings.extend(read.plan.doubtful_sides().into_iter().map(RunWarning::DoubtfulSide));
        let counts = measured.summary.counts();
        let taken = counts.total() - counts.unseen;
        if taken == 0 {
            warnings.push(RunWarning::NothingMeasured);
        } else if LITTLE_SHARE * taken < counts.total() {
            warnings.push(RunWarning::LittleMeasured { measured: taken, of: counts.total() });
        }
        RunFacts {
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            measured_at: (!self.no_time).then(|| jiff::Timestamp::now().to_string()),
            scan_format: source.facts().format.clone(),
            scan_point_count: Some(measured.points_seen),
            skipped_point_count: measured.points_not_finite,
            smoothing: Some(measured.smoothing),
            inputs,
            settings: Vec::new(),
            warnings,
        }
    }

    /// `None` where it was not wanted or the scan came through a pipe.
    fn scan_hash(&self) -> Result<Option<String>, shutline::files::ReadError> {
        if self.no_hash || self.scan.as_os_str() == "-" {
            Ok(None)
        } else {
            content_hash(&self.scan).map(Some)
        }
    }
}

/// From now on an allocation beyond this many bytes fails, which ends the process.
#[cfg(target_os = "linux")]
fn hold_memory(bytes: u64) {
    // Data is all memory that is the process's own and can be written (getrlimit(2), Linux 4.7 on). Where the system
    // does not let a process hold itself, the batch's reckoning is all there is.
    let _ = rlimit::setrlimit(rlimit::Resource::DATA, bytes, bytes);
}

#[cfg(not(target_os = "linux"))]
const fn hold_memory(_: u64) {}
