//! The two sides of a car in the words of the shop: "gap: the right is 0.40 ± 0.06 mm wider than the left".
//!
//! In: the plan of a mirrored scan, its comparison, the language. Out: a sentence for each seam and measurand that really differs.
//! Units: the plan's, two decimals for mm and three for inches.
//! Does not say which side is right: the tolerances do.

use super::format::along;
use super::texts::{ComparisonTexts, Language};
use crate::judge::{Measurand, expanded_u_mm};
use crate::measure::Estimate;
use crate::plan::Plan;
use crate::summarise::{ChangeVerdict, Comparison, MeasurandChange};
use crate::units::LengthUnit;

/// Sentences for the seams whose sides really differ, in the plan's order.
#[must_use]
pub fn describe_sides(plan: &Plan, comparison: &Comparison, language: Language) -> Vec<String> {
    let mut sentences = Vec::new();
    for seam in &comparison.seams {
        let title = plan.seam(&seam.seam).map_or(seam.seam.0.as_str(), |found| found.title.as_str());
        for measurand in Measurand::BOTH {
            let change = seam.measurand(measurand);
            if change.verdict == ChangeVerdict::Real {
                let word = language.texts().measurand(measurand);
                let words = words(plan, change, language.comparison_texts());
                sentences.push(format!("{title}, {word}: {words}."));
            }
        }
    }
    sentences
}

/// The mean where it is proved; otherwise, or where a place differs much more, the place that differs most.
fn words(plan: &Plan, change: &MeasurandChange, texts: &ComparisonTexts) -> String {
    let unit = plan.units;
    let decimals = if unit == LengthUnit::Inch { 3 } else { 2 };
    let sized = |estimate: &Estimate| {
        let expanded_mm = expanded_u_mm(estimate, &plan.decision);
        let [more, less] = texts.differs[change.measurand as usize];
        let word = if estimate.value_mm > 0.0 { more } else { less };
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
        .map_or_else(String::new, |mean| texts.on_average.replace("{size}", &sized(mean)));
    match most {
        Some((along_mm, most)) => {
            let place = along(along_mm, unit);
            format!("{mean}{}", texts.most.replace("{place}", &place).replace("{size}", &sized(most)))
        }
        None => mean,
    }
}
