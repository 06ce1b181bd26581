//! A wanted value as a function of the distance along a seam.
//!
//! In: a constant, or knots (distance, value), mm. Out: the value at any distance; constant beyond the outer knots.
//! Method: straight lines between knots, or the cubic `3t² − 2t³` between them, which has no kink at a knot.
//! Does not check units; knots that are out of order are put in order.

use serde::{Deserialize, Serialize};

/// A value along a seam; in TOML a number, or `{ at_mm = [0, 500], value_mm = [4, 5], is_smooth = true }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Along {
    Constant(f64),
    Knots(Knots),
}

/// Distances along the seam and the values there. Shape: N of each; what is over in the longer list is left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Knots {
    pub at_mm: Vec<f64>,
    pub value_mm: Vec<f64>,
    /// True for the cubic between knots, false for straight lines.
    #[serde(default)]
    pub is_smooth: bool,
}

impl Along {
    /// Straight lines through knots (distance, value), mm.
    #[must_use]
    pub fn lines(knots: &[(f64, f64)]) -> Self {
        Self::knots(knots, false)
    }

    /// A curve without kinks through knots (distance, value), mm, level at each of them.
    #[must_use]
    pub fn smooth(knots: &[(f64, f64)]) -> Self {
        Self::knots(knots, true)
    }

    fn knots(knots: &[(f64, f64)], is_smooth: bool) -> Self {
        let mut sorted = knots.to_vec();
        sorted.sort_by(|one, two| one.0.total_cmp(&two.0));
        let (at_mm, value_mm) = sorted.into_iter().unzip();
        Self::Knots(Knots { at_mm, value_mm, is_smooth })
    }

    /// The value at a distance along the seam; 0 where no knot was given.
    #[must_use]
    pub fn at(&self, along_mm: f64) -> f64 {
        match self {
            Self::Constant(value) => *value,
            Self::Knots(knots) => knots.at(along_mm),
        }
    }
}

impl Knots {
    fn at(&self, along_mm: f64) -> f64 {
        let count = self.at_mm.len().min(self.value_mm.len());
        let (at_mm, value_mm) = (&self.at_mm[..count], &self.value_mm[..count]);
        let upper = at_mm.partition_point(|knot| *knot <= along_mm);
        match (upper.checked_sub(1), upper < count) {
            (None, false) => 0.0,
            (None, true) => value_mm[0],
            (Some(lower), false) => value_mm[lower],
            (Some(lower), true) => {
                let share = (along_mm - at_mm[lower]) / (at_mm[upper] - at_mm[lower]);
                let share = if self.is_smooth { share * share * (3.0 - 2.0 * share) } else { share };
                value_mm[lower] + (value_mm[upper] - value_mm[lower]) * share
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_pass_through_their_knots_and_stay_level_beyond() {
        let along = Along::lines(&[(100.0, 5.0), (0.0, 3.0)]);
        for (at_mm, expected) in [(-9.0, 3.0), (0.0, 3.0), (25.0, 3.5), (100.0, 5.0), (1e6, 5.0)] {
            assert_eq!(along.at(at_mm), expected);
        }
    }

    #[test]
    fn the_smooth_curve_is_level_at_its_knots() {
        let along = Along::smooth(&[(0.0, 3.0), (100.0, 5.0)]);
        assert_eq!(along.at(50.0), 4.0);
        // 3t² at t = 1e-4 is 3e-8, times the rise of 2.
        assert!((along.at(0.01) - 3.0).abs() < 1e-7);
    }

    #[test]
    fn a_table_reads_as_a_number_or_as_knots() {
        #[derive(Deserialize)]
        struct Table {
            gap: Along,
            flush: Along,
        }
        let table: Table =
            toml::from_str("gap = 4.0\nflush = { at_mm = [0.0, 10.0], value_mm = [0.0, 1.0] }").unwrap();
        assert_eq!((table.gap.at(3.0), table.flush.at(5.0)), (4.0, 0.5));
    }
}
