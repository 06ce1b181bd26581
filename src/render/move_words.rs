//! A panel's move in the words of the shop: "Hood went 1.2 ± 0.1 mm up at the left rear corner".
//!
//! In: a [`PanelMove`], the panel's title, which way the car faces, the unit, the language. Out: sentences.
//! Units: the plan's, two decimals for mm and three for inches.
//! Method: the place of the panel's seams that went furthest is named, then the opposite end where it went otherwise.
//! Says what moved, not what to turn.

use nalgebra::{Point3, Vector3};

use super::texts::{ComparisonTexts, Language};
use crate::frames::CarAxes;
use crate::summarise::PanelMove;
use crate::units::LengthUnit;

/// A part of a displacement is named when it is at least this share of the largest part.
const NAMED_SHARE: f64 = 0.3;
/// Smaller displacements are not worth a word, mm: half the last digit shown.
const LEAST_NAMED_MM: f64 = 0.005;
/// A place is at an end where it is further than this share of the half extent from the middle.
const END_SHARE: f64 = 0.5;
/// Of an unknown that the seams do not tell, this share makes it worth naming.
const UNSEEN_SHARE: f64 = 0.5;

/// Three unit axes, the words for moving along and against them, and for their ends.
struct Words {
    axes: [Vector3<f64>; 3],
    moves: [[String; 2]; 3],
    ends: [[&'static str; 2]; 3],
    units: LengthUnit,
    texts: &'static ComparisonTexts,
}

impl Words {
    /// The words of a car; where nobody knows which way it faces, the axes by their letters.
    fn of(axes: Option<&CarAxes>, units: LengthUnit, language: Language) -> Self {
        let texts = language.comparison_texts();
        match axes {
            Some(car) => Self {
                axes: [car.forward(), car.left(), car.up()],
                moves: texts.car_moves.map(|pair| pair.map(str::to_owned)),
                ends: texts.car_ends,
                units,
                texts,
            },
            None => {
                let ends = [["+x", "−x"], ["+y", "−y"], ["+z", "−z"]];
                let towards = |axis: &str| texts.axis_move.replace("{axis}", axis);
                Self {
                    axes: [Vector3::x(), Vector3::y(), Vector3::z()],
                    moves: ends.map(|pair| pair.map(towards)),
                    ends,
                    units,
                    texts,
                }
            }
        }
    }
}

/// Sentences for one panel's move: the furthest place, the opposite one, and what the seams cannot tell.
#[must_use]
pub fn describe_move(
    panel_move: &PanelMove,
    title: &str,
    axes: Option<&CarAxes>,
    units: LengthUnit,
    language: Language,
) -> String {
    let words = &Words::of(axes, units, language);
    let distance = |point: &&Point3<f64>| panel_move.motion.displacement_mm(point).norm();
    let by_distance = |one: &&Point3<f64>, other: &&Point3<f64>| distance(one).total_cmp(&distance(other));
    let Some(furthest) = panel_move.places.iter().max_by(by_distance) else {
        return words.texts.moved.replace("{panel}", title);
    };
    let first = went_at(panel_move, furthest, words);
    let opposite = panel_move
        .places
        .iter()
        .max_by(|one, other| (*one - furthest).norm().total_cmp(&(*other - furthest).norm()));
    let second = opposite.map_or_else(String::new, |point| {
        format!(", {} {}", words.texts.and, went_at(panel_move, point, words))
    });
    let doubts = [unseen_words(panel_move, words), rival_words(panel_move, words.texts)].concat();
    format!("{title} {first}{second}.{doubts}")
}

/// "went 1.20 ± 0.10 mm up at the left rear corner", or "stayed where it was at …".
fn went_at(panel_move: &PanelMove, point: &Point3<f64>, words: &Words) -> String {
    let place = place_words(panel_move, point, words);
    match parts_at(panel_move, point, words) {
        Some(parts) => words.texts.went.replace("{parts}", &parts).replace("{place}", &place),
        None => words.texts.stayed.replace("{place}", &place),
    }
}

/// "1.20 ± 0.10 mm up and 0.40 ± 0.08 mm forward".
fn parts_at(panel_move: &PanelMove, point: &Point3<f64>, words: &Words) -> Option<String> {
    let units = words.units;
    let decimals = if units == LengthUnit::Inch { 3 } else { 2 };
    let mut parts: Vec<(f64, f64, &str)> = words
        .axes
        .iter()
        .zip(&words.moves)
        .map(|(axis, moves)| {
            let (along_mm, u_mm) = panel_move.motion.displacement_along(point, axis);
            let word = if along_mm >= 0.0 { &moves[0] } else { &moves[1] };
            (along_mm.abs() / units.mm(), 2.0 * u_mm / units.mm(), word.as_str())
        })
        .collect();
    parts.sort_by(|one, other| other.0.total_cmp(&one.0));
    let largest = parts[0].0;
    let unit = units.symbol();
    let named: Vec<String> = parts
        .iter()
        .filter(|(size, expanded, _)| {
            *size >= (NAMED_SHARE * largest).max(LEAST_NAMED_MM / units.mm()) && size > expanded
        })
        .map(|(size, expanded, word)| format!("{size:.decimals$} ± {expanded:.decimals$} {unit} {word}"))
        .collect();
    (!named.is_empty()).then(|| named.join(&format!(" {} ", words.texts.and)))
}

/// "at the left rear corner", "at the front", "in the middle".
fn place_words(panel_move: &PanelMove, point: &Point3<f64>, words: &Words) -> String {
    let mut ends: Vec<&str> = Vec::new();
    // Left or right comes first, as people say it; up and down only tell where the others do not.
    for index in [1, 0, 2] {
        let along = |place: &Point3<f64>| place.coords.dot(&words.axes[index]);
        let least = panel_move.places.iter().map(along).fold(f64::INFINITY, f64::min);
        let most = panel_move.places.iter().map(along).fold(f64::NEG_INFINITY, f64::max);
        let half = f64::midpoint(most, -least);
        let from_middle = along(point) - f64::midpoint(least, most);
        if half > 1.0 && from_middle.abs() > END_SHARE * half && (index != 2 || ends.is_empty()) {
            ends.push(words.ends[index][usize::from(from_middle < 0.0)]);
        }
    }
    match ends.as_slice() {
        [] => words.texts.middle.to_owned(),
        [one] => words.texts.end.replace("{end}", one),
        several => words.texts.corner.replace("{ends}", &several.join(" ")),
    }
}

fn unseen_words(panel_move: &PanelMove, words: &Words) -> String {
    let shares = &panel_move.motion.unseen_share;
    let is_unseen = |axis: &Vector3<f64>, first: usize| {
        let total: f64 = (0..3).map(|index| axis[index].powi(2) * shares[first + index]).sum();
        total > UNSEEN_SHARE
    };
    let between = |text: &str, [one, other]: [&str; 2]| text.replace("{one}", one).replace("{other}", other);
    let mut unseen: Vec<String> = Vec::new();
    for (axis, [one, other]) in words.axes.iter().zip(&words.moves) {
        if is_unseen(axis, 0) {
            unseen.push(between(words.texts.which_way, [one, other]));
        }
    }
    for (axis, ends) in words.axes.iter().zip(words.ends) {
        if is_unseen(axis, 3) {
            unseen.push(between(words.texts.which_turn, ends));
        }
    }
    if unseen.is_empty() {
        return String::new();
    }
    format!(" {}", words.texts.not_told.replace("{what}", &unseen.join(words.texts.nor)))
}

fn rival_words(panel_move: &PanelMove, texts: &ComparisonTexts) -> String {
    if panel_move.could_also_be.is_empty() {
        return String::new();
    }
    let names: Vec<&str> = panel_move.could_also_be.iter().map(|panel| panel.0.as_str()).collect();
    format!(" {}", texts.rivals.replace("{panels}", &names.join(&format!(" {} ", texts.or))))
}

#[cfg(test)]
mod tests {
    use nalgebra::Matrix6;

    use super::*;
    use crate::plan::PanelId;
    use crate::summarise::Motion;

    fn hood() -> PanelMove {
        let place = |x: f64, y: f64| Point3::new(x, y, 0.0);
        PanelMove {
            panel: PanelId("hood".to_owned()),
            motion: Motion {
                pivot: place(500.0, 0.0),
                shift_mm: Vector3::new(0.0, 0.0, 0.6),
                // Turns the rear (large x) up: 0.6 mm more over 500 mm.
                rotation_rad: Vector3::new(0.0, -0.0012, 0.0),
                covariance: Matrix6::from_diagonal_element(0.0),
                unseen_share: [0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
            },
            could_also_be: Vec::new(),
            places: vec![place(0.0, -700.0), place(0.0, 700.0), place(1000.0, -700.0), place(1000.0, 700.0)],
        }
    }

    #[test]
    fn a_move_is_said_in_words_of_the_shop() {
        let car = CarAxes::x_rearward();
        let words = describe_move(&hood(), "Hood", Some(&car), LengthUnit::Millimetre, Language::English);
        assert!(words.starts_with("Hood went 1.20 ± 0.00 mm up at the "), "{words}");
        assert!(
            words.contains("rear corner")
                && words.contains("and stayed where it was, as far as can be told, at the "),
            "{words}"
        );
        assert!(
            words.ends_with("Its seams do not tell whether it went to the left or to the right."),
            "{words}"
        );
        let plain = describe_move(&hood(), "Hood", None, LengthUnit::Inch, Language::English);
        assert!(plain.contains("0.047 ± 0.000 inch towards +z"), "{plain}");
    }

    #[test]
    fn the_same_is_said_in_german() {
        let car = CarAxes::x_rearward();
        let words = describe_move(&hood(), "Haube", Some(&car), LengthUnit::Millimetre, Language::German);
        assert!(words.starts_with("Haube ging an der Ecke "), "{words}");
        assert!(words.contains("1.20 ± 0.00 mm nach oben, und blieb an der Ecke "), "{words}");
        assert!(words.ends_with("nicht, ob es nach links oder nach rechts ging."), "{words}");
    }
}
