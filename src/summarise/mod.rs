//! From judged stations to seams, comparisons, batches and advice.
//!
//! In: judged readings. Out: summaries. Units: mm.
//! Does not re-measure and does not re-judge.
//!
//! # What a seam's summary holds
//! [`summarise_seam`] makes a [`SeamSummary`]: for gap and for flush a [`MeasurandSummary`] (counts of verdicts, mean
//! with its own uncertainty, least and greatest, worst places, contiguous [`OutRun`]s, the [`Budget`]), and the
//! [`Taper`] where the plan asks for one. [`summarise_scan`] gathers the seams of a scan and says whether all is good.

mod batch;
mod budget;
mod compare;
mod control_chart;
mod gauge_study;
mod lineup_change;
mod lineup_rows;
mod measurand_summary;
mod out_runs;
mod reading_rows;
mod repeat;
mod scan_summary;
mod seam_summary;
mod taper;
#[cfg(test)]
mod test_seams;

pub use batch::{BatchCell, BatchLine, BatchOverview, BatchScan, Drift, LineupLine, TaperRow, overview_of};
pub use budget::{Budget, BudgetLine};
pub use compare::{
    ChangeVerdict, CompareError, CompareSettings, Comparison, ComparisonKind, Leftover, MeasurandChange,
    MirrorError, MirrorPlane, MirroredLineups, MirroredScan, Motion, PanelMove, SeamChange, StationChange,
    TaperChange, Trend, compare, compare_mirrored, plane_for_lineups,
};
pub(crate) use compare::{
    ExpectedErrors, FitRow, Mover, acting_points, datum_to_other, fit_as_stated, fit_doubting, learn_errors,
};
pub use control_chart::{
    Capability, ChartKind, ChartLimits, ControlChart, capability, chart_individuals, chart_subgroups,
};
pub use gauge_study::{
    Cells, GaugeStudy, POOL_ABOVE, StudyLines, add_lines, study_by_analysis_of_variance,
    study_by_average_and_range, study_lines,
};
pub use lineup_change::{LineupChange, lineup_changes, mirrored_lineup_changes};
pub use lineup_rows::{LineupRow, parse_lineup_rows};
pub use measurand_summary::{MeasurandSummary, Place, VerdictCounts};
pub use out_runs::OutRun;
pub use reading_rows::{Quantity, ReadingRow, ReadingRowsError, RowValue, parse_reading_rows, reading_unit};
pub use repeat::{QuantityStudy, RepeatError, RepeatScan, RepeatStudy, ScanLabels, SeamStudy, study_repeats};
pub use scan_summary::{ScanSummary, summarise_scan};
pub use seam_summary::{SeamSummary, summarise_seam};
pub use taper::Taper;
pub(crate) use taper::local_u_mm;
