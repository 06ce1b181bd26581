//! Directions and turns in words: by the car's axes where the plan has them, by the frame's letters where not.
//!
//! In: vectors of the Car frame. Out: short words in a language. Units: none.
//! Does not guess which way a car faces.

use nalgebra::Vector3;

use super::advice_texts::AdviceTexts;
use crate::frames::CarAxes;
use crate::plan::Plan;

/// A direction within about 18° of an axis is called by it.
const NEAR_COSINE: f64 = 0.95;

/// The three axes that words are about.
pub(super) fn word_axes(plan: &Plan) -> [Vector3<f64>; 3] {
    car_axes(plan).map_or_else(
        || [Vector3::x(), Vector3::y(), Vector3::z()],
        |axes| [axes.forward(), axes.left(), axes.up()],
    )
}

fn car_axes(plan: &Plan) -> Option<&CarAxes> {
    plan.car.as_ref().map(|car| &car.axes)
}

/// Moving along (or against) one of the three axes: "up", or "towards +z".
pub(super) fn move_words(plan: &Plan, axis: usize, is_against: bool, texts: &AdviceTexts) -> String {
    if car_axes(plan).is_some() {
        return texts.moves[axis][usize::from(is_against)].to_owned();
    }
    let sign = if is_against { "−" } else { "+" };
    format!("{} {sign}{}", texts.towards, ["x", "y", "z"][axis])
}

/// The line that a turn is about: "the upright line", or "z".
pub(super) fn line_words(plan: &Plan, axis: usize, texts: &AdviceTexts) -> &'static str {
    if car_axes(plan).is_some() { texts.lines[axis] } else { ["x", "y", "z"][axis] }
}

/// A direction by the axis that it is near to, or by its three parts.
pub(super) fn direction_words(plan: &Plan, direction: &Vector3<f64>, texts: &AdviceTexts) -> String {
    for (index, axis) in word_axes(plan).iter().enumerate() {
        let along = direction.dot(axis);
        if along.abs() > NEAR_COSINE {
            return move_words(plan, index, along < 0.0, texts);
        }
    }
    format!("{} [{:.2}, {:.2}, {:.2}]", texts.towards, direction.x, direction.y, direction.z)
}
