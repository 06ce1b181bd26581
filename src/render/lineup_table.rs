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
use crate::summarise::{MirrorPlane, MirroredLineups, mirrored_lineup_changes, plane_for_lineups};

/// Heading and rows: what, which quantity, whose, the value.
pub(super) fn lineup_table(results: &Results<'_>, language: Language) -> ([String; 4], Vec<[String; 4]>) {
    let (plan, texts) = (results.plan, language.texts());
    let head = [texts.lineups, "", texts.panel, unit_name(plan.units)].map(str::to_owned);
    let plane = plane_for_lineups(plan);
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
        if let Some(plane) = &plane {
            table.extend(against_mirror(plan, plane, results.lineups, lineup, language));
        }
    }
    (head, table)
}

/// This lineup less the one that mirrors it, signs as the mirror's; nothing where the plan names none.
fn against_mirror(
    plan: &Plan,
    plane: &MirrorPlane,
    lineups: &[JudgedLineup],
    lineup: &Lineup,
    language: Language,
) -> Vec<[String; 4]> {
    let (texts, words) = (language.texts(), language.comparison_texts());
    let Some(mirror) = plan.lineups.iter().find(|other| Some(&other.id) == lineup.mirror.as_ref()) else {
        return Vec::new();
    };
    let pair = MirroredLineups::of(plan, plane, [mirror, lineup]);
    mirrored_lineup_changes(lineups, pair.as_slice())
        .into_iter()
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
