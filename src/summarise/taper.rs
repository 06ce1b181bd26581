//! Taper: how much the gap changes over a given length of the seam.
//!
//! In: a seam's judged stations and the plan's taper terms. Out: the window with the largest change. Units: mm.
//! Method: in each window of `taper_length` that starts at a station, a straight line is fitted to the gap by weighted
//! least squares (weights 1/u² of the parts that differ from station to station); the change is slope × length, its
//! uncertainty that of the slope, widened by the scatter about the line where that is larger than the readings' own u
//! (Birge ratio; JCGM 100:2008, H.3 for the straight line). What is common to the seam cancels in a change.
//! A seam shorter than `taper_length` is one window, and its change is that over the seam, not extrapolated.
//! Does not see steps: a step is a range or a zone, not a taper.

use crate::judge::{JudgedSeam, Measurand, Verdict, judge_value};
use crate::measure::{Component, Estimate, UncertaintySource};
use crate::plan::{DecisionRule, TaperSpec, Tolerance};

/// Fewest stations in a window that say something about a slope.
const FEWEST_STATIONS: usize = 4;
/// Share of a window that its seen stations must span.
const LEAST_SPAN_SHARE: f64 = 0.6;
/// Least standard uncertainty of a station in the fit, mm, so that an exact one does not weigh infinitely.
const LEAST_U_MM: f64 = 1.0e-4;

/// The window of a seam in which the gap changes most.
#[derive(Debug, Clone, PartialEq)]
pub struct Taper {
    pub from_mm: f64,
    pub to_mm: f64,
    /// Change of the gap over the window in the direction of travel, mm; positive where it widens.
    pub change: Estimate,
    pub limit_mm: f64,
    /// Good, undecided, or wide: `wide` stands for a taper that is proved larger than allowed, in either direction.
    pub verdict: Verdict,
}

/// A straight line through readings: slope per mm with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slope {
    pub slope: f64,
    pub u: f64,
    pub degrees_of_freedom: f64,
}

/// The largest taper of a seam, or `None` where no window is seen well enough.
pub(super) fn largest_taper(seam: &JudgedSeam, spec: &TaperSpec, rule: &DecisionRule) -> Option<Taper> {
    let seen: Vec<(f64, f64, f64)> = seam
        .stations
        .iter()
        .filter_map(|station| {
            let estimate = station.value(Measurand::Gap).measured.ok()?;
            Some((station.reading.station.along_mm, estimate.value_mm, local_u_mm(estimate)))
        })
        .collect();
    let first_mm = seam.stations.first()?.reading.station.along_mm;
    let last_mm = seam.stations.last()?.reading.station.along_mm;
    let length_mm = spec.length_mm.min(last_mm - first_mm);
    let starts = seam
        .stations
        .iter()
        .map(|station| station.reading.station.along_mm)
        // The slack lets the window that ends at the last station count in spite of rounding.
        .filter(|start_mm| start_mm + length_mm <= last_mm + 1e-6);
    let mut largest: Option<(f64, Slope)> = None;
    for start_mm in starts {
        let Some(slope) = window_slope(&seen, start_mm, length_mm) else { continue };
        if largest.is_none_or(|(_, best)| slope.slope.abs() > best.slope.abs()) {
            largest = Some((start_mm, slope));
        }
    }
    largest.map(|(start_mm, slope)| judged(start_mm, length_mm, slope, spec, rule))
}

fn judged(start_mm: f64, length_mm: f64, slope: Slope, spec: &TaperSpec, rule: &DecisionRule) -> Taper {
    let component = Component {
        source: UncertaintySource::ScanNoise,
        u_mm: slope.u * length_mm,
        degrees_of_freedom: slope.degrees_of_freedom,
    };
    let change = Estimate::from_components(slope.slope * length_mm, vec![component]);
    let tolerance = Tolerance { nominal_mm: 0.0, minus_mm: spec.limit_mm, plus_mm: spec.limit_mm };
    let verdict = match judge_value(Measurand::Gap, &change, &tolerance, rule) {
        Verdict::Tight => Verdict::Wide,
        other => other,
    };
    Taper { from_mm: start_mm, to_mm: start_mm + length_mm, change, limit_mm: spec.limit_mm, verdict }
}

/// Standard uncertainty of what differs from station to station.
pub(crate) fn local_u_mm(estimate: &Estimate) -> f64 {
    let variance_mm2: f64 = estimate
        .components
        .iter()
        .filter(|component| !component.source.is_common_along_seam())
        .map(|component| component.u_mm.powi(2))
        .sum();
    variance_mm2.sqrt()
}

fn window_slope(seen: &[(f64, f64, f64)], start_mm: f64, length_mm: f64) -> Option<Slope> {
    let slack_mm = 1e-6;
    let first = seen.partition_point(|(along_mm, ..)| *along_mm < start_mm - slack_mm);
    let end = seen.partition_point(|(along_mm, ..)| *along_mm <= start_mm + length_mm + slack_mm);
    let window = seen.get(first..end)?;
    let span_mm = window.last()?.0 - window.first()?.0;
    if window.len() < FEWEST_STATIONS || span_mm < LEAST_SPAN_SHARE * length_mm {
        return None;
    }
    fit_slope(window)
}

/// Weighted straight line through (along, value, u), mm; see the module head. `None` where all lie at one place.
pub(super) fn fit_slope(points: &[(f64, f64, f64)]) -> Option<Slope> {
    let weight = |u_mm: f64| 1.0 / u_mm.max(LEAST_U_MM).powi(2);
    let total: f64 = points.iter().map(|point| weight(point.2)).sum();
    let mean = |pick: fn(&(f64, f64, f64)) -> f64| {
        points.iter().map(|point| weight(point.2) * pick(point)).sum::<f64>() / total
    };
    let (centre_mm, level_mm) = (mean(|point| point.0), mean(|point| point.1));
    let spread: f64 = points.iter().map(|point| weight(point.2) * (point.0 - centre_mm).powi(2)).sum();
    if spread <= 0.0 || points.len() < 3 {
        return None;
    }
    let product: f64 =
        points.iter().map(|point| weight(point.2) * (point.0 - centre_mm) * (point.1 - level_mm)).sum();
    let slope = product / spread;
    let chi_square: f64 = points
        .iter()
        .map(|point| weight(point.2) * (point.1 - level_mm - slope * (point.0 - centre_mm)).powi(2))
        .sum();
    let degrees_of_freedom = (points.len() - 2) as f64;
    let birge = (chi_square / degrees_of_freedom).sqrt();
    // Where the scatter speaks, its degrees of freedom count; stated uncertainties are taken as known.
    let degrees_of_freedom = if birge > 1.0 { degrees_of_freedom } else { f64::INFINITY };
    Some(Slope { slope, u: birge.max(1.0) / spread.sqrt(), degrees_of_freedom })
}
