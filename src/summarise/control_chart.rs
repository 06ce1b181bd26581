//! Control charts and capability of a run of cars.
//!
//! In: values in time order, alone or in subgroups. Out: limits at three σ, points beyond them, capability.
//! Method: charts of means with ranges or with standard deviations, and of individuals with moving ranges (ISO
//! 7870-2:2013); capability from the spread within subgroups, performance from that of all values (ISO 22514-2;
//! Montgomery, Introduction to Statistical Quality Control, chapters 6 and 8).
//! Does not look for runs and trends inside the limits, and does not test for normality.

use super::gauge_study::range;
use crate::statistics::{chart_constants, mean, standard_deviation};

/// Which pair of charts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChartKind {
    MeanAndRange,
    MeanAndSd,
    IndividualAndMovingRange,
}

/// Centre line and three-sigma limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartLimits {
    pub lower: f64,
    pub centre: f64,
    pub upper: f64,
}

impl ChartLimits {
    const fn holds(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }
}

/// A chart of levels and the chart of spread that its limits come from.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlChart {
    pub kind: ChartKind,
    pub level: ChartLimits,
    pub spread: ChartLimits,
    /// Subgroup means, or the values themselves.
    pub levels: Vec<f64>,
    /// Ranges or standard deviations of the subgroups; moving ranges are one fewer than the values.
    pub spreads: Vec<f64>,
    /// Standard deviation within subgroups, from the mean spread.
    pub sigma_within: f64,
}

impl ControlChart {
    /// Places of the levels beyond their limits, from 0.
    #[must_use]
    pub fn levels_out(&self) -> Vec<usize> {
        outside(&self.levels, &self.level)
    }

    /// Places of the spreads beyond their limits, from 0.
    #[must_use]
    pub fn spreads_out(&self) -> Vec<usize> {
        outside(&self.spreads, &self.spread)
    }
}

fn outside(values: &[f64], limits: &ChartLimits) -> Vec<usize> {
    values.iter().enumerate().filter(|(_, value)| !limits.holds(**value)).map(|(index, _)| index).collect()
}

/// Charts subgroups of one size; `None` with fewer than two subgroups or sizes that differ or lie outside 2 to 100.
#[must_use]
pub fn chart_subgroups(subgroups: &[Vec<f64>], kind: ChartKind) -> Option<ControlChart> {
    let size = subgroups.first()?.len();
    if subgroups.len() < 2 || subgroups.iter().any(|group| group.len() != size) {
        return None;
    }
    let constants = chart_constants(size)?;
    let levels: Vec<f64> = subgroups.iter().map(|group| mean(group)).collect::<Option<_>>()?;
    let uses_range = match kind {
        ChartKind::MeanAndRange => true,
        ChartKind::MeanAndSd => false,
        ChartKind::IndividualAndMovingRange => return None,
    };
    let spreads: Vec<f64> = if uses_range {
        subgroups.iter().map(|group| range(group)).collect()
    } else {
        subgroups.iter().map(|group| standard_deviation(group)).collect::<Option<_>>()?
    };
    let typical = mean(&spreads)?;
    let (reach, [low, high], divisor) = if uses_range {
        (constants.mean_from_range(size), constants.range_limits(), constants.d2)
    } else {
        (constants.mean_from_sd(size), constants.sd_limits(), constants.c4)
    };
    let centre = mean(&levels)?;
    Some(ControlChart {
        kind,
        level: ChartLimits { lower: centre - reach * typical, centre, upper: centre + reach * typical },
        spread: ChartLimits { lower: low * typical, centre: typical, upper: high * typical },
        levels,
        spreads,
        sigma_within: typical / divisor,
    })
}

/// Charts single values with the ranges between neighbours; `None` with fewer than three.
#[must_use]
pub fn chart_individuals(values: &[f64]) -> Option<ControlChart> {
    if values.len() < 3 {
        return None;
    }
    let constants = chart_constants(2)?;
    let spreads: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let typical = mean(&spreads)?;
    let sigma_within = typical / constants.d2;
    let [low, high] = constants.range_limits();
    let centre = mean(values)?;
    Some(ControlChart {
        kind: ChartKind::IndividualAndMovingRange,
        level: ChartLimits { lower: centre - 3.0 * sigma_within, centre, upper: centre + 3.0 * sigma_within },
        spread: ChartLimits { lower: low * typical, centre: typical, upper: high * typical },
        levels: values.to_vec(),
        spreads,
        sigma_within,
    })
}

/// How a spread fits a tolerance: `c` with the spread within subgroups, `p` with that of all values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// Width of the tolerance over six σ within subgroups.
    pub cp: f64,
    /// Distance of the mean from the nearer limit over three σ within subgroups.
    pub cpk: f64,
    pub pp: f64,
    pub ppk: f64,
}

/// Capability against two limits; `None` where a spread is zero, or the limits are not in order.
#[must_use]
pub fn capability(
    centre: f64,
    sigma_within: f64,
    sigma_overall: f64,
    limits: [f64; 2],
) -> Option<Capability> {
    let [lower, upper] = limits;
    if !(sigma_within > 0.0 && sigma_overall > 0.0 && lower < upper) {
        return None;
    }
    let nearest = (upper - centre).min(centre - lower);
    Some(Capability {
        cp: (upper - lower) / (6.0 * sigma_within),
        cpk: nearest / (3.0 * sigma_within),
        pp: (upper - lower) / (6.0 * sigma_overall),
        ppk: nearest / (3.0 * sigma_overall),
    })
}
