//! The two sides of a car in the words of the shop: "gap: the right is 0.40 ± 0.06 mm wider than the left".
//!
//! In: the plan of a mirrored scan and its comparison. Out: a sentence for each seam and measurand that really differs.
//! Units: the plan's, two decimals for mm and three for inches.
//! Does not say which side is right: the tolerances do.

use super::Comparison;
use super::change_verdict::ChangeVerdict;
use super::changes::MeasurandChange;
use crate::judge::{Measurand, expanded_u_mm};
use crate::measure::Estimate;
use crate::plan::Plan;

/// Sentences for the seams whose sides really differ, in the plan's order.
#[must_use]
pub fn describe_sides(plan: &Plan, comparison: &Comparison) -> Vec<String> {
    let mut sentences = Vec::new();
    for seam in &comparison.seams {
        let title = plan.seam(&seam.seam).map_or(seam.seam.0.as_str(), |found| found.title.as_str());
        for measurand in Measurand::BOTH {
            let change = seam.measurand(measurand);
            if change.verdict == ChangeVerdict::Real {
                sentences.push(format!("{title}, {}: {}.", measurand.word(), words(plan, change)));
            }
        }
    }
    sentences
}

/// The mean where it is proved; otherwise, or where a place differs much more, the place that differs most.
fn words(plan: &Plan, change: &MeasurandChange) -> String {
    let unit = plan.units;
    let decimals = if unit == crate::units::LengthUnit::Inch { 3 } else { 2 };
    let sized = |estimate: &Estimate| {
        let expanded_mm = expanded_u_mm(estimate, &plan.decision);
        let word = match (change.measurand, estimate.value_mm > 0.0) {
            (Measurand::Gap, true) => "wider",
            (Measurand::Gap, false) => "tighter",
            (Measurand::Flush, true) => "higher",
            (Measurand::Flush, false) => "lower",
        };
        format!(
            "{:.decimals$} ± {:.decimals$} {} {word}",
            estimate.value_mm.abs() / unit.mm(),
            expanded_mm / unit.mm(),
            unit.symbol()
        )
    };
    let most = change
        .stations
        .iter()
        .filter(|station| station.verdict == ChangeVerdict::Real)
        .filter_map(|station| Some((station.along_mm, station.change.as_ref()?)))
        .max_by(|(_, one), (_, other)| one.value_mm.abs().total_cmp(&other.value_mm.abs()));
    let mean = change
        .mean
        .as_ref()
        .map_or_else(String::new, |mean| format!("the right is {} on average", sized(mean)));
    match most {
        Some((along_mm, most)) => format!(
            "{mean}, most at {:.0} {} along the left one, where it is {} than the left",
            along_mm / unit.mm(),
            unit.symbol(),
            sized(most)
        ),
        None => mean,
    }
}
