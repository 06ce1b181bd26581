//! Writes the plan's tables `[[adjuster]]` and `[advice]`.
//!
//! In: [`AdviceTerms`] and the plan's unit. Out: TOML that `table_adjuster` reads as the same terms; empty where there are
//! none. Units: the plan's own, to a millionth.

use std::fmt::Write;

use super::table_adjuster::{Adjuster, AdjusterSetting, AdjusterWay, AdviceTerms, WayStep};
use super::write_plan::{in_units, quoted};
use crate::units::LengthUnit;

/// All adjusters, then the weights.
pub(super) fn advice_text(terms: &AdviceTerms, units: LengthUnit) -> String {
    let mut text = String::new();
    for adjuster in &terms.adjusters {
        text.push_str(&adjuster_text(adjuster, units));
    }
    if !terms.weights.is_empty() {
        let weights: Vec<String> =
            terms.weights.iter().map(|(seam, weight)| format!("{seam} = {weight:?}")).collect();
        // Writing to a string cannot fail.
        let _ = write!(text, "\n[advice]\nweights = {{ {} }}\n", weights.join(", "));
    }
    text
}

fn adjuster_text(adjuster: &Adjuster, units: LengthUnit) -> String {
    let number = |length_mm: f64| in_units(length_mm, units);
    let mut text = format!(
        "\n[[adjuster]]\nid = {}\ntitle = {}\npanel = {}\nkind = \"{}\"\n",
        quoted(&adjuster.id),
        quoted(&adjuster.title),
        quoted(&adjuster.panel.0),
        adjuster.kind.word()
    );
    match &adjuster.setting {
        AdjusterSetting::Free { shift_mm, turn_rad } => {
            let turn_deg = (turn_rad.to_degrees() * 1e6).round() / 1e6;
            let _ = write!(text, "shift = {}\nturn_deg = {turn_deg:?}\n", number(*shift_mm));
        }
        AdjusterSetting::Ways { place, ways } => {
            let place = [place.x, place.y, place.z].map(number).join(", ");
            let _ = writeln!(text, "place = [{place}]\nway = [");
            for way in ways {
                let _ = writeln!(text, "  {{ {} }},", way_text(way, units));
            }
            text.push_str("]\n");
        }
    }
    text
}

fn way_text(way: &AdjusterWay, units: LengthUnit) -> String {
    let number = |length_mm: f64| in_units(length_mm, units);
    let [x, y, z]: [f64; 3] = way.direction.into();
    let mut text = format!(
        "direction = [{x:?}, {y:?}, {z:?}], minus = {}, plus = {}",
        number(way.minus_mm),
        number(way.plus_mm)
    );
    let step = match way.step {
        WayStep::Any => String::new(),
        WayStep::Whole { step_mm } => format!(", step = {}", number(step_mm)),
        WayStep::Shims { thickness_mm } => format!(", shim = {}", number(thickness_mm)),
        WayStep::Turns { pitch_mm, part_turn } => {
            format!(", pitch = {}, part_turn = {part_turn:?}", number(pitch_mm))
        }
    };
    text.push_str(&step);
    if let Some([along, against]) = &way.words {
        let _ = write!(text, ", words = [{}, {}]", quoted(along), quoted(against));
    }
    text
}
