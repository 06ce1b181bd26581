//! The values of all lineups as rows, for page and paper; where lineups mirror one another, left against right.
//!
//! In: [`Results`]. Out: a heading and rows of text. Units: the plan's. Differences of sides are one lineup's less its
//! mirror's, uncertainties combined as independent; "real" where it is more than twice its standard uncertainty.
//! Does not set the table.

use super::format::{length, signed, unit_name};
use super::lineup_picture::lineup_value_words;
use super::lineups_csv::rows;
use super::run_facts::Results;
use super::texts::Language;
use crate::judge::JudgedLineup;
use crate::plan::{Lineup, Plan};
use crate::summarise::{LineupChange, MirroredLineups, mirrored_lineup_changes};

/// Heading and rows: what, which quantity, whose, the value.
pub(super) fn lineup_table(results: &Results<'_>, language: Language) -> ([String; 4], Vec<[String; 4]>) {
    let (plan, texts) = (results.plan, language.texts());
    let head = [texts.lineups, "", texts.panel, unit_name(plan.units)].map(str::to_owned);
    let mut table = Vec::new();
    for judged in results.lineups {
        let Some(lineup) = plan.lineups.iter().find(|lineup| lineup.id == judged.reading.id) else {
            continue;
        };
        for row in rows(plan, lineup, judged) {
            let bar = row.bar.map_or_else(String::new, |bar| format!(" {}", bar + 1));
            table.push([
                format!("{}{bar}", lineup.title),
                texts.lineup_quantity(row.quantity).to_owned(),
                row.panel.clone(),
                lineup_value_words(row.value, row.verdict, plan, texts),
            ]);
        }
        table.extend(against_mirror(plan, results.lineups, lineup, language));
    }
    (head, table)
}

/// This lineup less the one that mirrors it; nothing where the plan names none.
fn against_mirror(
    plan: &Plan,
    lineups: &[JudgedLineup],
    lineup: &Lineup,
    language: Language,
) -> Vec<[String; 4]> {
    let (texts, words) = (language.texts(), language.comparison_texts());
    let Some(mirror) = plan.lineups.iter().find(|other| Some(&other.id) == lineup.mirror.as_ref()) else {
        return Vec::new();
    };
    let sign = shift_sign(plan, [lineup, mirror]);
    let pair = MirroredLineups {
        left: mirror.id.clone(),
        right: lineup.id.clone(),
        shift_sign: sign.unwrap_or(1.0),
    };
    let is_told = |change: &LineupChange| change.quantity != "shift" || sign.is_some();
    mirrored_lineup_changes(lineups, &[pair])
        .into_iter()
        .filter(is_told)
        .filter_map(|change| {
            let (change_mm, u_mm) = change.change_mm?;
            let bar = change.bar.map_or_else(String::new, |bar| format!(" {}", bar + 1));
            Some([
                format!("{}{bar} − {}", lineup.title, mirror.id),
                texts.lineup_quantity(change.quantity).to_owned(),
                String::new(),
                format!(
                    "{} ±{}, {}",
                    signed(change_mm, plan.units),
                    length(2.0 * u_mm, plan.units),
                    words.verdict(change.verdict())
                ),
            ])
        })
        .collect()
}

/// 1 where both seams' curves run the same way in the car's mirror at the crossings, −1 where they run against each other;
/// `None` where nobody knows which way is left, or the curves do not mirror one another there.
fn shift_sign(plan: &Plan, lineups: [&Lineup; 2]) -> Option<f64> {
    /// Cosine of the angle up to which two curves count as mirror images.
    const ALIKE: f64 = 0.8;
    let left = plan.axes()?.left();
    let mut tangents = Vec::new();
    for lineup in lineups {
        tangents.push(plan.seam(&lineup.seam)?.curve.frame_at(lineup.at_mm).along);
    }
    let mirrored = tangents[1] - 2.0 * tangents[1].dot(&left) * left;
    let cosine = tangents[0].dot(&mirrored);
    (cosine.abs() > ALIKE).then(|| cosine.signum())
}
