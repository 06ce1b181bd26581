//! Analysis of variance: one way (any group sizes) and two ways crossed (same number in each cell).
//!
//! In: values by group or by cell. Out: sums of squares (unit squared) with degrees of freedom.
//! Method: deviations from group and grand means, all taken about a common origin so that large values lose nothing
//! (Montgomery, Design and Analysis of Experiments, chapters 3 and 5; NIST/SEMATECH e-Handbook, 7.4.3).
//! Does not handle empty or unequal cells in the crossed layout.

use super::distribution::f_upper_tail;
use super::moments::{mean, sum_of_squares_about_mean};

/// One line of an analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VarianceLine {
    pub sum_of_squares: f64,
    pub degrees_of_freedom: f64,
}

impl VarianceLine {
    /// Sum of squares over degrees of freedom; 0 where there are none.
    #[must_use]
    pub fn mean_square(&self) -> f64 {
        if self.degrees_of_freedom > 0.0 { self.sum_of_squares / self.degrees_of_freedom } else { 0.0 }
    }

    /// Ratio of this mean square to another; infinite over zero.
    #[must_use]
    pub fn f_ratio(&self, to: &Self) -> f64 {
        if to.mean_square() > 0.0 { self.mean_square() / to.mean_square() } else { f64::INFINITY }
    }

    /// Probability of a larger ratio to another mean square if this effect did not exist.
    #[must_use]
    pub fn significance(&self, to: &Self) -> Option<f64> {
        f_upper_tail(self.f_ratio(to), self.degrees_of_freedom, to.degrees_of_freedom)
    }

    /// Both lines as one.
    #[must_use]
    pub fn pooled_with(&self, other: &Self) -> Self {
        Self {
            sum_of_squares: self.sum_of_squares + other.sum_of_squares,
            degrees_of_freedom: self.degrees_of_freedom + other.degrees_of_freedom,
        }
    }
}

/// Between and within groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    pub between: VarianceLine,
    pub within: VarianceLine,
    /// What takes the place of a common group size in the expected mean squares (equal to it where sizes are equal).
    pub effective_group_size: f64,
}

/// Two crossed factors with their interaction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWay {
    pub first: VarianceLine,
    pub second: VarianceLine,
    pub interaction: VarianceLine,
    pub error: VarianceLine,
}

/// Splits the scatter of grouped values.
///
/// `None` with fewer than two groups, an empty group, or no group with more than one value.
#[must_use]
pub fn one_way(groups: &[Vec<f64>]) -> Option<OneWay> {
    let total: usize = groups.iter().map(Vec::len).sum();
    if groups.len() < 2 || total <= groups.len() {
        return None;
    }
    let origin = *groups.first()?.first()?;
    let shifted: Vec<Vec<f64>> =
        groups.iter().map(|group| group.iter().map(|value| value - origin).collect()).collect();
    let means: Vec<f64> = shifted.iter().map(|group| mean(group)).collect::<Option<_>>()?;
    let sizes = || groups.iter().map(|group| group.len() as f64);
    let count = total as f64;
    let grand = means.iter().zip(sizes()).map(|(value, size)| value * size).sum::<f64>() / count;
    let between = means.iter().zip(sizes()).map(|(value, size)| size * (value - grand).powi(2)).sum();
    let within = shifted.iter().map(|group| sum_of_squares_about_mean(group)).sum();
    let freedom = groups.len() as f64 - 1.0;
    Some(OneWay {
        between: VarianceLine { sum_of_squares: between, degrees_of_freedom: freedom },
        within: VarianceLine { sum_of_squares: within, degrees_of_freedom: count - freedom - 1.0 },
        effective_group_size: (count - sizes().map(|size| size * size).sum::<f64>() / count) / freedom,
    })
}

/// Splits the scatter of values in a balanced crossed layout: `cells[i][j]` holds the repetitions at level `i` of the
/// first factor and level `j` of the second.
///
/// `None` unless both factors have two levels or more and every cell the same number of values, two or more.
#[must_use]
pub fn two_way_crossed(cells: &[Vec<Vec<f64>>]) -> Option<TwoWay> {
    let (first_count, second_count) = (cells.len(), cells.first()?.len());
    let repetitions = cells.first()?.first()?.len();
    let is_balanced =
        cells.iter().all(|row| row.len() == second_count && row.iter().all(|cell| cell.len() == repetitions));
    if first_count < 2 || second_count < 2 || repetitions < 2 || !is_balanced {
        return None;
    }
    let origin = cells[0][0][0];
    let cell_means: Vec<Vec<f64>> =
        cells.iter().map(|row| row.iter().map(|cell| mean_from(cell, origin)).collect()).collect();
    let first_means: Vec<f64> = cell_means.iter().map(|row| mean_from(row, 0.0)).collect();
    let second_means: Vec<f64> = (0..second_count)
        .map(|column| cell_means.iter().map(|row| row[column]).sum::<f64>() / first_count as f64)
        .collect();
    let grand = mean_from(&first_means, 0.0);
    let (a, b, r) = (first_count as f64, second_count as f64, repetitions as f64);
    let scatter = |means: &[f64]| means.iter().map(|value| (value - grand).powi(2)).sum::<f64>();
    let mut interaction = 0.0;
    for (row, first_mean) in cell_means.iter().zip(&first_means) {
        for (cell, second_mean) in row.iter().zip(&second_means) {
            interaction += (cell - first_mean - second_mean + grand).powi(2);
        }
    }
    let error = cells.iter().flatten().map(|cell| sum_of_squares_about_mean(cell)).sum();
    let line = |sum_of_squares, degrees_of_freedom| VarianceLine { sum_of_squares, degrees_of_freedom };
    Some(TwoWay {
        first: line(b * r * scatter(&first_means), a - 1.0),
        second: line(a * r * scatter(&second_means), b - 1.0),
        interaction: line(r * interaction, (a - 1.0) * (b - 1.0)),
        error: line(error, a * b * (r - 1.0)),
    })
}

fn mean_from(values: &[f64], origin: f64) -> f64 {
    values.iter().map(|value| value - origin).sum::<f64>() / values.len() as f64
}
