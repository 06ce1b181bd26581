//! What the outside knows about a run and the report repeats: files, versions, times.
//!
//! In and out: data only. Who calls fills it in: rendering reads no disk and no clock.

use crate::align::{AlignWarning, Alignment};
use crate::judge::{JudgedLineup, JudgedSeam};
use crate::measure::Smoothing;
use crate::plan::{DoubtfulSide, Plan};
use crate::summarise::ScanSummary;

/// One input file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputFile {
    /// "scan", "plan", "curve", "reference".
    pub role: String,
    /// The file's name as given, or relative to the plan.
    pub name: String,
    /// 64 lower-case hexadecimal digits.
    pub sha256: String,
    pub byte_count: u64,
}

/// A setting in force, as the record and the report list it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    pub name: String,
    pub value: String,
}

/// What the outside knows about a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RunFacts {
    pub program_version: String,
    /// When the measuring was started, RFC 3339; `None` to keep the output the same at every run.
    pub measured_at: Option<String>,
    /// Format of the scan as a person would say it.
    pub scan_format: String,
    pub scan_point_count: Option<u64>,
    /// Points that were not finite numbers, counted and skipped.
    pub skipped_point_count: u64,
    /// What the scanner smoothed, as the measuring took it; `None` where nothing was measured.
    pub smoothing: Option<Smoothing>,
    pub inputs: Vec<InputFile>,
    /// Settings that are not in the plan, such as those of the command line.
    pub settings: Vec<Setting>,
    /// About the run as a whole.
    pub warnings: Vec<RunWarning>,
}

/// Worth knowing about a run.
#[derive(Debug, Clone, PartialEq)]
pub enum RunWarning {
    Alignment(AlignWarning),
    /// Points that were not finite numbers.
    PointsLeftOut {
        left_out: u64,
        of: u64,
    },
    /// A panel seems to lie on the other side of a seam than the plan says.
    DoubtfulSide(DoubtfulSide),
    NothingMeasured,
    /// Hardly any reading could be taken.
    LittleMeasured {
        measured: usize,
        of: usize,
    },
}

/// Everything that a record or a report is made of.
#[derive(Debug, Clone, Copy)]
pub struct Results<'a> {
    pub plan: &'a Plan,
    pub judged: &'a [JudgedSeam],
    pub summary: &'a ScanSummary,
    /// In plan order; empty where the plan has none.
    pub lineups: &'a [JudgedLineup],
    pub alignment: Option<&'a Alignment>,
    pub run: &'a RunFacts,
}
