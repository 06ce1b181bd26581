//! A seam's uncertainty budget: the contributions of its stations in one table.
//!
//! In: the estimates of a seam's seen stations. Out: a [`Budget`]. Units: mm.
//! Method: each line is the root of the mean square of that source's `u` over the stations, so that the lines add up
//! to the root mean square of the stations' own `u`; degrees of freedom by Welch–Satterthwaite (JCGM 100:2008, G.4.1).
//! Does not give the uncertainty of the seam's mean: see `measurand_summary`.

use crate::judge::reported_coverage_factor;
use crate::measure::{Component, Estimate, UncertaintySource};
use crate::plan::DecisionRule;

/// One source of uncertainty over a seam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BudgetLine {
    pub source: UncertaintySource,
    /// Root mean square over the stations, mm.
    pub u_mm: f64,
    /// Infinite where the value is stated rather than estimated.
    pub degrees_of_freedom: f64,
    /// Share of the variance, 0 to 1.
    pub share: f64,
}

/// What a typical station's uncertainty in a seam is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// In the order of [`UncertaintySource::ALL`], without those that contribute nothing.
    pub lines: Vec<BudgetLine>,
    /// Combined standard uncertainty of a typical station, mm.
    pub u_mm: f64,
    pub degrees_of_freedom: f64,
    /// Coverage factor.
    pub k: f64,
    /// Expanded uncertainty U = k u, mm.
    pub expanded_mm: f64,
}

/// Sums up the budgets of stations; `None` without any.
pub(super) fn budget_of(estimates: &[&Estimate], rule: &DecisionRule) -> Option<Budget> {
    if estimates.is_empty() {
        return None;
    }
    let components: Vec<Component> =
        UncertaintySource::ALL.iter().filter_map(|source| pooled(estimates, *source)).collect();
    let combined = Estimate::from_components(0.0, components);
    let variance_mm2 = combined.u_mm.powi(2);
    let lines = combined
        .components
        .iter()
        .map(|component| BudgetLine {
            source: component.source,
            u_mm: component.u_mm,
            degrees_of_freedom: component.degrees_of_freedom,
            share: if variance_mm2 > 0.0 { component.u_mm.powi(2) / variance_mm2 } else { 0.0 },
        })
        .collect();
    let k = reported_coverage_factor(combined.degrees_of_freedom, rule);
    Some(Budget {
        lines,
        u_mm: combined.u_mm,
        degrees_of_freedom: combined.degrees_of_freedom,
        k,
        expanded_mm: k * combined.u_mm,
    })
}

/// Root mean square of one source, with the variance-weighted harmonic mean of its degrees of freedom: what a single
/// station of that size would have.
fn pooled(estimates: &[&Estimate], source: UncertaintySource) -> Option<Component> {
    let mut variance_mm2 = 0.0;
    let mut spread = 0.0;
    let of_source = estimates
        .iter()
        .flat_map(|estimate| &estimate.components)
        .filter(|component| component.source == source);
    for component in of_source {
        let own_mm2 = component.u_mm.powi(2);
        variance_mm2 += own_mm2;
        spread += own_mm2 / component.degrees_of_freedom;
    }
    if variance_mm2 <= 0.0 {
        return None;
    }
    let degrees_of_freedom = if spread > 0.0 { variance_mm2 / spread } else { f64::INFINITY };
    Some(Component { source, u_mm: (variance_mm2 / estimates.len() as f64).sqrt(), degrees_of_freedom })
}
