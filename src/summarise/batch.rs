//! Many scans side by side: seams against scans, and how each seam drifts.
//!
//! In: the readings and lineups of each scan that could be measured, and the reason for each that could not. Out: a
//! [`BatchOverview`] with its scans in order of time, then of name. Units: mm, drift in mm a day.
//! Method: per seam and scan the verdict counts, the mean and the value furthest from its seam's mean; the drift is a robust
//! line through the seam's means (Tukey's biweight, `statistics`), with an expanded uncertainty from Student's t.
//! Does not judge drift against a tolerance.

use nalgebra::{DMatrix, DVector};

use super::lineup_rows::LineupRow;
use super::measurand_summary::VerdictCounts;
use super::reading_rows::{Quantity, ReadingRow};
use crate::judge::Verdict;
use crate::statistics::{biweight_regression, mean, student_t_quantile};
use crate::units::LengthUnit;

/// Scans that a drift needs: a line through three leaves only one degree of freedom.
const FEWEST_FOR_DRIFT: usize = 4;
const SECONDS_PER_DAY: f64 = 86_400.0;
/// Two-sided 95 %.
const COVERAGE: f64 = 0.975;

/// One scan of a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchScan {
    /// Path inside the batch's folder.
    pub name: String,
    /// When it was taken, seconds since 1970-01-01 UTC.
    pub taken_s: i64,
    /// Unit in which its plan wants results; the readings here are mm all the same.
    pub units: LengthUnit,
    /// Its readings, or why there are none.
    pub readings: Result<Vec<ReadingRow>, String>,
    /// What runs across its seams; empty where its plan says nothing of that.
    pub lineups: Vec<LineupRow>,
    /// The largest change of each seam's gap; empty where its plan says nothing of that.
    pub tapers: Vec<TaperRow>,
}

/// A seam's taper in one scan.
#[derive(Debug, Clone, PartialEq)]
pub struct TaperRow {
    pub seam: String,
    /// Good, undecided or unseen; `wide` stands for out.
    pub verdict: Verdict,
    /// Change of the gap over the plan's length, mm.
    pub change_mm: Option<f64>,
}

/// One seam of one scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatchCell {
    pub counts: VerdictCounts,
    pub mean_mm: Option<f64>,
    pub least_mm: Option<f64>,
    pub most_mm: Option<f64>,
}

/// Change of a seam's mean with time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    pub mm_per_day: f64,
    /// Expanded uncertainty (95 %), mm a day.
    pub expanded_mm_per_day: f64,
}

impl Drift {
    /// True where the drift is more than its uncertainty.
    #[must_use]
    pub fn is_real(&self) -> bool {
        self.mm_per_day.abs() > self.expanded_mm_per_day
    }
}

/// Gap or flush of one seam over all scans.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchLine {
    pub seam: String,
    pub quantity: Quantity,
    /// As many as [`BatchOverview::scans`]; `None` where the scan was not measured or lacks the seam.
    pub cells: Vec<Option<BatchCell>>,
    /// `None` with fewer than four scans at different times.
    pub drift: Option<Drift>,
}

/// One value of a lineup over all scans.
#[derive(Debug, Clone, PartialEq)]
pub struct LineupLine {
    /// The first scan's row: what the line is of.
    pub of: LineupRow,
    /// As many as [`BatchOverview::scans`]; `None` where the scan does not have it.
    pub cells: Vec<Option<LineupRow>>,
}

impl TaperRow {
    /// As a cell: one window, counted by its verdict.
    #[must_use]
    pub fn cell(&self) -> BatchCell {
        let mut counts = VerdictCounts::default();
        counts.add(self.verdict);
        BatchCell { counts, mean_mm: self.change_mm, least_mm: self.change_mm, most_mm: self.change_mm }
    }
}

/// A batch at a glance.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchOverview {
    /// Inches where every scan that was measured wants them.
    pub units: LengthUnit,
    /// In order of time, then of name.
    pub scans: Vec<BatchScan>,
    /// Seams in the readings' order, gap before flush.
    pub lines: Vec<BatchLine>,
    /// What runs across seams, in the tables' order.
    pub lineups: Vec<LineupLine>,
}

impl BatchOverview {
    /// A seam's taper in each scan, or `None` where no scan's plan asks for it.
    #[must_use]
    pub fn tapers_of(&self, seam: &str) -> Option<Vec<Option<&TaperRow>>> {
        let of_scan = |scan: &'_ BatchScan| scan.tapers.iter().position(|row| row.seam == seam);
        let rows: Vec<Option<&TaperRow>> =
            self.scans.iter().map(|scan| of_scan(scan).map(|place| &scan.tapers[place])).collect();
        rows.iter().any(Option::is_some).then_some(rows)
    }

    /// True where every scan was measured and every verdict, tapers included, is good.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        !self.scans.is_empty()
            && self.scans.iter().all(|scan| {
                scan.readings.as_ref().is_ok_and(|rows| {
                    !rows.is_empty()
                        && rows
                            .iter()
                            .all(|row| row.gap.verdict == Verdict::Good && row.flush.verdict == Verdict::Good)
                }) && scan
                    .lineups
                    .iter()
                    .all(|row| row.verdict.is_none_or(|verdict| verdict == Verdict::Good))
                    && scan.tapers.iter().all(|row| row.verdict == Verdict::Good)
            })
    }
}

/// Lays scans side by side. The order in which they are given does not matter.
#[must_use]
pub fn overview_of(mut scans: Vec<BatchScan>) -> BatchOverview {
    scans.sort_by(|a, b| a.taken_s.cmp(&b.taken_s).then_with(|| a.name.cmp(&b.name)));
    let mut seams: Vec<&str> = Vec::new();
    for row in scans.iter().filter_map(|scan| scan.readings.as_ref().ok()).flatten() {
        if !seams.contains(&row.seam.as_str()) {
            seams.push(&row.seam);
        }
    }
    let lines =
        seams.iter().flat_map(|seam| Quantity::ALL.map(|quantity| line_of(&scans, seam, quantity))).collect();
    let mut measured = scans.iter().filter(|scan| scan.readings.is_ok()).peekable();
    let is_inch = measured.peek().is_some() && measured.all(|scan| scan.units == LengthUnit::Inch);
    let units = if is_inch { LengthUnit::Inch } else { LengthUnit::Millimetre };
    BatchOverview { units, lines, lineups: lineup_lines(&scans), scans }
}

fn lineup_lines(scans: &[BatchScan]) -> Vec<LineupLine> {
    let mut things: Vec<&LineupRow> = Vec::new();
    for row in scans.iter().flat_map(|scan| &scan.lineups) {
        if !things.iter().any(|known| known.is_same_thing(row)) {
            things.push(row);
        }
    }
    let cells = |thing: &LineupRow| {
        let of_scan = |scan: &BatchScan| scan.lineups.iter().find(|row| row.is_same_thing(thing)).cloned();
        scans.iter().map(of_scan).collect()
    };
    things.into_iter().map(|thing| LineupLine { of: thing.clone(), cells: cells(thing) }).collect()
}

fn line_of(scans: &[BatchScan], seam: &str, quantity: Quantity) -> BatchLine {
    let cells: Vec<Option<BatchCell>> = scans
        .iter()
        .map(|scan| {
            let rows: Vec<&ReadingRow> =
                scan.readings.as_ref().ok()?.iter().filter(|row| row.seam == seam).collect();
            (!rows.is_empty()).then(|| cell_of(&rows, quantity))
        })
        .collect();
    let points: Vec<(f64, f64)> = scans
        .iter()
        .zip(&cells)
        .filter_map(|(scan, cell)| Some((scan.taken_s as f64 / SECONDS_PER_DAY, cell.as_ref()?.mean_mm?)))
        .collect();
    BatchLine { seam: seam.to_owned(), quantity, cells, drift: drift_of(&points) }
}

fn cell_of(rows: &[&ReadingRow], quantity: Quantity) -> BatchCell {
    let mut counts = VerdictCounts::default();
    for row in rows {
        counts.add(row.of(quantity).verdict);
    }
    let values: Vec<f64> = rows.iter().filter_map(|row| row.of(quantity).value_mm).collect();
    BatchCell {
        counts,
        mean_mm: mean(&values),
        least_mm: values.iter().copied().min_by(f64::total_cmp),
        most_mm: values.iter().copied().max_by(f64::total_cmp),
    }
}

/// Slope of a robust line through (day, mean).
fn drift_of(points: &[(f64, f64)]) -> Option<Drift> {
    if points.len() < FEWEST_FOR_DRIFT {
        return None;
    }
    let middle = mean(&points.iter().map(|point| point.0).collect::<Vec<_>>())?;
    let design = DMatrix::from_fn(
        points.len(),
        2,
        |row, column| {
            if column == 0 { 1.0 } else { points[row].0 - middle }
        },
    );
    let observed = DVector::from_iterator(points.len(), points.iter().map(|point| point.1));
    let fit = biweight_regression(&design, &observed)?;
    let factor = student_t_quantile(COVERAGE, fit.degrees_of_freedom as f64)?;
    Some(Drift {
        mm_per_day: *fit.coefficients.get(1)?,
        expanded_mm_per_day: factor * fit.standard_errors.get(1)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::summarise::reading_rows::RowValue;

    fn scan(name: &str, day: i64, gap_mm: f64) -> BatchScan {
        let row = |station, gap_mm| ReadingRow {
            seam: "hood-cowl".to_owned(),
            station,
            gap: RowValue { value_mm: Some(gap_mm), verdict: Verdict::Good },
            flush: RowValue { value_mm: None, verdict: Verdict::Unseen },
        };
        let readings = Ok(vec![row(0, gap_mm - 0.1), row(1, gap_mm + 0.1)]);
        BatchScan {
            name: name.to_owned(),
            taken_s: day * 86_400,
            units: LengthUnit::Millimetre,
            readings,
            lineups: Vec::new(),
            tapers: Vec::new(),
        }
    }

    #[test]
    fn a_steady_drift_is_found_and_told_from_noise() {
        let noise = [0.002, -0.001, 0.0, 0.001, -0.002, 0.001];
        let drifting: Vec<_> = noise
            .iter()
            .enumerate()
            .map(|(day, e)| scan("x", day as i64, 4.0 + 0.05 * day as f64 + e))
            .collect();
        let drift = overview_of(drifting).lines[0].drift.unwrap();
        // Three standard errors: 3 × 0.0015 / sqrt(17.5).
        assert!((drift.mm_per_day - 0.05).abs() < 1.1e-3 && drift.is_real(), "{drift:?}");
        let still: Vec<_> = noise.iter().enumerate().map(|(day, e)| scan("x", day as i64, 4.0 + e)).collect();
        assert!(!overview_of(still).lines[0].drift.unwrap().is_real());
    }

    #[test]
    fn order_of_arrival_does_not_matter_and_failures_keep_their_column() {
        let failed = BatchScan {
            name: "b.ply".to_owned(),
            taken_s: 86_400,
            units: LengthUnit::Millimetre,
            readings: Err("cut off".to_owned()),
            lineups: Vec::new(),
            tapers: Vec::new(),
        };
        let one = overview_of(vec![scan("c.ply", 2, 4.0), failed.clone(), scan("a.ply", 0, 4.1)]);
        let other = overview_of(vec![scan("a.ply", 0, 4.1), scan("c.ply", 2, 4.0), failed]);
        assert_eq!(one, other);
        assert_eq!(one.lines[0].cells.iter().map(Option::is_some).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!((one.lines[0].drift, one.is_all_good()), (None, false));
    }

    #[test]
    fn scans_all_taken_at_once_have_no_drift() {
        let scans: Vec<_> = (0..5).map(|at| scan(&format!("{at}"), 3, 4.0 + 0.01 * f64::from(at))).collect();
        assert_eq!(overview_of(scans).lines[0].drift, None);
    }
}
