//! A panel's move in the words of the shop: "Hood went 1.2 ± 0.1 mm up at the left rear corner".
//!
//! In: a [`PanelMove`], the panel's title, which way the car faces, the unit. Out: sentences.
//! Units: the plan's, two decimals for mm and three for inches.
//! Method: the place of the panel's seams that went furthest is named, then the opposite end where it went otherwise.
//! Says what moved, not what to turn.

use nalgebra::{Point3, Vector3};

use super::panel_moves::PanelMove;
use crate::frames::CarAxes;
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
    moves: [[&'static str; 2]; 3],
    ends: [[&'static str; 2]; 3],
}

impl Words {
    /// The words of a car; where nobody knows which way it faces, the axes by their letters.
    fn of(axes: Option<&CarAxes>) -> Self {
        match axes {
            Some(car) => Self {
                axes: [car.forward(), car.left(), car.up()],
                moves: [["forward", "back"], ["to the left", "to the right"], ["up", "down"]],
                ends: [["front", "rear"], ["left", "right"], ["upper", "lower"]],
            },
            None => Self {
                axes: [Vector3::x(), Vector3::y(), Vector3::z()],
                moves: [
                    ["towards +x", "towards -x"],
                    ["towards +y", "towards -y"],
                    ["towards +z", "towards -z"],
                ],
                ends: [["+x", "-x"], ["+y", "-y"], ["+z", "-z"]],
            },
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
) -> String {
    let axes = &Words::of(axes);
    let distance = |point: &&Point3<f64>| panel_move.motion.displacement_mm(point).norm();
    let by_distance = |one: &&Point3<f64>, other: &&Point3<f64>| distance(one).total_cmp(&distance(other));
    let Some(furthest) = panel_move.places.iter().max_by(by_distance) else {
        return format!("{title} moved.");
    };
    let first = went_at(panel_move, furthest, axes, units);
    let opposite = panel_move
        .places
        .iter()
        .max_by(|one, other| (*one - furthest).norm().total_cmp(&(*other - furthest).norm()));
    let second = opposite
        .map_or_else(String::new, |point| format!(", and {}", went_at(panel_move, point, axes, units)));
    format!("{title} {first}{second}.{}{}", unseen_words(panel_move, axes), rival_words(panel_move))
}

/// "went 1.20 ± 0.10 mm up at the left rear corner", or "stayed where it was at …".
fn went_at(panel_move: &PanelMove, point: &Point3<f64>, axes: &Words, units: LengthUnit) -> String {
    let place = place_words(panel_move, point, axes);
    match parts_at(panel_move, point, axes, units) {
        Some(parts) => format!("went {parts} {place}"),
        None => format!("stayed where it was, as far as can be told, {place}"),
    }
}

/// "1.20 ± 0.10 mm up and 0.40 ± 0.08 mm forward".
fn parts_at(panel_move: &PanelMove, point: &Point3<f64>, axes: &Words, units: LengthUnit) -> Option<String> {
    let decimals = if units == LengthUnit::Inch { 3 } else { 2 };
    let mut parts: Vec<(f64, f64, &str)> = axes
        .axes
        .iter()
        .zip(&axes.moves)
        .map(|(axis, words)| {
            let (along_mm, u_mm) = panel_move.motion.displacement_along(point, axis);
            let word = if along_mm >= 0.0 { words[0] } else { words[1] };
            (along_mm.abs() / units.mm(), 2.0 * u_mm / units.mm(), word)
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
    (!named.is_empty()).then(|| named.join(" and "))
}

/// "at the left rear corner", "at the front", "in the middle".
fn place_words(panel_move: &PanelMove, point: &Point3<f64>, axes: &Words) -> String {
    let mut ends: Vec<&str> = Vec::new();
    // Left or right comes first, as people say it; up and down only tell where the others do not.
    for index in [1, 0, 2] {
        let along = |place: &Point3<f64>| place.coords.dot(&axes.axes[index]);
        let least = panel_move.places.iter().map(along).fold(f64::INFINITY, f64::min);
        let most = panel_move.places.iter().map(along).fold(f64::NEG_INFINITY, f64::max);
        let half = f64::midpoint(most, -least);
        let from_middle = along(point) - f64::midpoint(least, most);
        if half > 1.0 && from_middle.abs() > END_SHARE * half && (index != 2 || ends.is_empty()) {
            ends.push(axes.ends[index][usize::from(from_middle < 0.0)]);
        }
    }
    match ends.as_slice() {
        [] => "in the middle".to_owned(),
        [one] => format!("at the {one} end"),
        several => format!("at the {} corner", several.join(" ")),
    }
}

fn unseen_words(panel_move: &PanelMove, axes: &Words) -> String {
    let shares = &panel_move.motion.unseen_share;
    let unseen_along = |axis: &Vector3<f64>, first: usize| {
        let total: f64 = (0..3).map(|index| axis[index].powi(2) * shares[first + index]).sum();
        total > UNSEEN_SHARE
    };
    let mut words: Vec<String> = Vec::new();
    for (axis, moves) in axes.axes.iter().zip(&axes.moves) {
        if unseen_along(axis, 0) {
            words.push(format!("whether it went {} or {}", moves[0], moves[1]));
        }
    }
    for (axis, moves) in axes.axes.iter().zip(&axes.ends) {
        if unseen_along(axis, 3) {
            words.push(format!("whether it turned about the {}–{} line", moves[0], moves[1]));
        }
    }
    if words.is_empty() { String::new() } else { format!(" Its seams do not tell {}.", words.join(", nor ")) }
}

fn rival_words(panel_move: &PanelMove) -> String {
    if panel_move.could_also_be.is_empty() {
        return String::new();
    }
    let names: Vec<&str> = panel_move.could_also_be.iter().map(|panel| panel.0.as_str()).collect();
    format!(" An opposite move of {} would explain it about as well.", names.join(" or "))
}
