//! Repeatability and reproducibility from repeated measurements of one thing, or of many alike.
//!
//! In: values by car, operator and repetition. Out: standard deviations of each cause, in the values' unit.
//! Method: analysis of variance with interaction, pooled where it is not significant; and average and range, with
//! constants worked out here (both as in the AIAG reference manual Measurement Systems Analysis, 4th ed., 2010,
//! chapter III-B). The two give different answers on the same data: a figure is nothing without its method.
//! Does not judge a gauge as fit or unfit: shares of tolerance and of study are given, limits are the plan maker's.

use crate::statistics::{
    VarianceLine, chart_constants, d2_star, f_upper_tail, mean, one_way, sum_of_squares_about_mean,
    two_way_crossed,
};

/// An interaction less significant than this is pooled with the repeatability (common practice; no source).
pub const POOL_ABOVE: f64 = 0.05;
/// Width, in σ, that counts as the whole spread of a process (AIAG, 4th ed., III-B: 6 σ, 99.73 %).
const WHOLE_SPREAD: f64 = 6.0;
/// Categories told apart per ratio of part to gauge spread (same source: 1.41).
const CATEGORY_FACTOR: f64 = 1.41;

/// Values of one station: `cells[car][operator]` holds the repetitions.
pub type Cells = Vec<Vec<Vec<f64>>>;

/// An analysis of variance of one or, added up, of many stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StudyLines {
    /// Cars, operators, repetitions.
    pub layout: [usize; 3],
    pub parts: Option<VarianceLine>,
    pub operators: Option<VarianceLine>,
    pub interaction: Option<VarianceLine>,
    pub repeatability: VarianceLine,
}

/// Standard deviations by cause; `None` where the study cannot tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeStudy {
    /// Same car, same operator, again.
    pub repeatability: f64,
    /// Other operators, their interaction with the cars included; needs two operators.
    pub reproducibility: Option<f64>,
    /// Repeatability and reproducibility together.
    pub gauge: f64,
    /// Differences between the cars themselves; needs two cars.
    pub part: Option<f64>,
    /// Significance of the interaction; `None` without one or by average and range.
    pub interaction_significance: Option<f64>,
    /// True where the interaction was counted as repeatability.
    pub is_pooled: bool,
}

impl GaugeStudy {
    /// Gauge and parts together.
    #[must_use]
    pub fn total(&self) -> Option<f64> {
        Some(self.gauge.hypot(self.part?))
    }

    /// A cause's share of the study's total variation, percent.
    #[must_use]
    pub fn percent_of_study(&self, cause: f64) -> Option<f64> {
        let total = self.total()?;
        (total > 0.0).then(|| 100.0 * cause / total)
    }

    /// A cause's whole spread against the width of the tolerance, percent.
    #[must_use]
    pub fn percent_of_tolerance(cause: f64, width: f64) -> Option<f64> {
        (width > 0.0).then(|| 100.0 * WHOLE_SPREAD * cause / width)
    }

    /// How many classes of cars the gauge tells apart, unrounded (reports cut it to a whole number).
    #[must_use]
    pub fn distinct_categories(&self) -> Option<f64> {
        let part = self.part?;
        (self.gauge > 0.0).then(|| CATEGORY_FACTOR * part / self.gauge)
    }

    /// The root-mean-square study of many stations; `None` of none.
    #[must_use]
    pub fn averaged(studies: &[Self]) -> Option<Self> {
        let first = *studies.first()?;
        let average = |pick: &dyn Fn(&Self) -> Option<f64>| {
            let squares: Option<Vec<f64>> = studies.iter().map(|study| Some(pick(study)?.powi(2))).collect();
            Some(mean(&squares?)?.sqrt())
        };
        Some(Self {
            repeatability: average(&|study| Some(study.repeatability))?,
            reproducibility: average(&|study| study.reproducibility),
            gauge: average(&|study| Some(study.gauge))?,
            part: average(&|study| study.part),
            ..first
        })
    }
}

/// Splits the scatter of one station; `None` where cells are uneven or nothing was repeated.
#[must_use]
pub fn study_lines(cells: &Cells) -> Option<StudyLines> {
    let (cars, operators) = (cells.len(), cells.first()?.len());
    let repetitions = cells.first()?.first()?.len();
    let is_even =
        cells.iter().all(|row| row.len() == operators && row.iter().all(|cell| cell.len() == repetitions));
    if !is_even || repetitions < 2 {
        return None;
    }
    let layout = [cars, operators, repetitions];
    if cars > 1 && operators > 1 {
        let lines = two_way_crossed(cells)?;
        return Some(StudyLines {
            layout,
            parts: Some(lines.first),
            operators: Some(lines.second),
            interaction: Some(lines.interaction),
            repeatability: lines.error,
        });
    }
    let groups: Vec<Vec<f64>> = cells.iter().flatten().cloned().collect();
    let split = one_way(&groups);
    let within = split.map_or_else(|| alone(&groups), |split| split.within);
    let between = split.map(|split| split.between);
    Some(StudyLines {
        layout,
        parts: between.filter(|_| cars > 1),
        operators: between.filter(|_| operators > 1),
        interaction: None,
        repeatability: within,
    })
}

/// One cell on its own: all of its scatter is repeatability.
fn alone(groups: &[Vec<f64>]) -> VarianceLine {
    let values = groups.first().map_or(&[][..], Vec::as_slice);
    VarianceLine {
        sum_of_squares: sum_of_squares_about_mean(values),
        degrees_of_freedom: values.len().saturating_sub(1) as f64,
    }
}

/// Adds the lines of stations with the same layout; `None` of none or of different ones.
#[must_use]
pub fn add_lines(stations: &[StudyLines]) -> Option<StudyLines> {
    let (first, rest) = stations.split_first()?;
    rest.iter().try_fold(*first, |sum, one| {
        (one.layout == sum.layout).then(|| StudyLines {
            layout: sum.layout,
            parts: sum.parts.zip(one.parts).map(|(a, b)| a.pooled_with(&b)),
            operators: sum.operators.zip(one.operators).map(|(a, b)| a.pooled_with(&b)),
            interaction: sum.interaction.zip(one.interaction).map(|(a, b)| a.pooled_with(&b)),
            repeatability: sum.repeatability.pooled_with(&one.repeatability),
        })
    })
}

/// The study by analysis of variance.
///
/// Significance is judged with the degrees of freedom of one station, because the stations of a scan err together.
#[must_use]
pub fn study_by_analysis_of_variance(lines: &StudyLines, pool_above: f64) -> GaugeStudy {
    let [cars, operators, repetitions] = lines.layout.map(|count| count as f64);
    let significance = lines.interaction.and_then(|line| {
        let freedom = (cars - 1.0) * (operators - 1.0);
        f_upper_tail(line.f_ratio(&lines.repeatability), freedom, cars * operators * (repetitions - 1.0))
    });
    let is_pooled = significance.is_some_and(|share| share > pool_above);
    let repeatability = match lines.interaction {
        Some(line) if is_pooled => lines.repeatability.pooled_with(&line),
        _ => lines.repeatability,
    };
    let against = lines.interaction.filter(|_| !is_pooled).unwrap_or(repeatability);
    // Expected mean squares; an estimate below zero is zero.
    let component = |line: &VarianceLine, base: &VarianceLine, count: f64| {
        ((line.mean_square() - base.mean_square()) / count).max(0.0)
    };
    let interaction = lines
        .interaction
        .filter(|_| !is_pooled)
        .map_or(0.0, |line| component(&line, &repeatability, repetitions));
    let operator = lines.operators.map(|line| component(&line, &against, cars * repetitions));
    let part = lines.parts.map(|line| component(&line, &against, operators * repetitions).sqrt());
    let reproducibility = operator.map(|variance| variance + interaction);
    GaugeStudy {
        repeatability: repeatability.mean_square().sqrt(),
        reproducibility: reproducibility.map(f64::sqrt),
        gauge: (repeatability.mean_square() + reproducibility.unwrap_or(0.0)).sqrt(),
        part,
        interaction_significance: significance,
        is_pooled,
    }
}

/// The study by average and range; `None` as for [`study_lines`], or with more than 100 of anything.
#[must_use]
pub fn study_by_average_and_range(cells: &Cells) -> Option<GaugeStudy> {
    let [cars, operators, repetitions] = study_lines(cells)?.layout;
    let ranges: Vec<f64> = cells.iter().flatten().map(|cell| range(cell)).collect();
    let repeatability = mean(&ranges)? / chart_constants(repetitions)?.d2;
    let operator_means: Vec<f64> = (0..operators)
        .map(|operator| mean(&cells.iter().flat_map(|row| row[operator].iter().copied()).collect::<Vec<_>>()))
        .collect::<Option<_>>()?;
    let part_means: Vec<f64> = cells.iter().map(|row| mean(&row.concat())).collect::<Option<_>>()?;
    let reproducibility = if operators > 1 {
        let raw = range(&operator_means) / d2_star(operators)?;
        let lent = repeatability.powi(2) / (cars * repetitions) as f64;
        Some((raw.powi(2) - lent).max(0.0).sqrt())
    } else {
        None
    };
    let part = if cars > 1 { Some(range(&part_means) / d2_star(cars)?) } else { None };
    Some(GaugeStudy {
        repeatability,
        reproducibility,
        gauge: repeatability.hypot(reproducibility.unwrap_or(0.0)),
        part,
        interaction_significance: None,
        is_pooled: false,
    })
}

/// Greatest minus least; 0 of nothing.
pub(super) fn range(values: &[f64]) -> f64 {
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (most - least).max(0.0)
}
