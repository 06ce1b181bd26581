//! Ends of seams and flat views of the car, so that pictures can say front and rear.
//!
//! In: the car's axes, where they are known. Out: names of ends and flat views. Units: mm.
//! Does not guess: without axes, ends are "start" and "end" and views are named by the frame's axes.

use nalgebra::{Point3, Vector3};

use super::texts::Texts;
use crate::frames::CarAxes;
use crate::geometry::Curve;

/// What lies at the first and the last point of a curve: the pair of words for the direction in which it runs most.
#[must_use]
pub fn seam_ends(curve: &Curve, axes: Option<&CarAxes>, texts: &Texts) -> [String; 2] {
    let (Some(axes), Some(first), Some(last)) = (axes, curve.positions().first(), curve.positions().last())
    else {
        return [String::new(), String::new()];
    };
    let step: Vector3<f64> = last - first;
    let pairs = [
        (step.dot(&-axes.forward()), [texts.front, texts.rear]),
        (step.dot(&axes.left()), [texts.right, texts.left]),
        (step.dot(&axes.up()), [texts.bottom, texts.top]),
    ];
    let mut most = pairs[0];
    for pair in pairs {
        if pair.0.abs() > most.0.abs() {
            most = pair;
        }
    }
    let [from, to] = most.1.map(str::to_owned);
    if most.0 < 0.0 { [to, from] } else { [from, to] }
}

/// A flat view of the car: where picture right and down point, and from where one looks.
#[derive(Debug, Clone, PartialEq)]
pub struct FlatView {
    pub title: String,
    pub right: Vector3<f64>,
    pub down: Vector3<f64>,
    /// From the car towards the eye.
    pub towards_eye: Vector3<f64>,
}

impl FlatView {
    /// A point in the view, mm right and down.
    #[must_use]
    pub fn flat(&self, point: &Point3<f64>) -> [f64; 2] {
        [point.coords.dot(&self.right), point.coords.dot(&self.down)]
    }
}

/// The car from above, from both sides and from the front; the front of the car lies to the left from above.
#[must_use]
pub fn flat_views(axes: Option<&CarAxes>, texts: &Texts) -> Vec<FlatView> {
    let known = axes.copied().unwrap_or_else(CarAxes::x_rearward);
    let (rear, left, up) = (-known.forward(), known.left(), known.up());
    let name = |words: &str, axis: &str| {
        if axes.is_some() { words.to_owned() } else { format!("{} {axis}", texts.seen_from) }
    };
    vec![
        FlatView { title: name(texts.from_above, "+z"), right: rear, down: left, towards_eye: up },
        FlatView { title: name(texts.from_left, "−y"), right: rear, down: -up, towards_eye: left },
        FlatView { title: name(texts.from_right, "+y"), right: -rear, down: -up, towards_eye: -left },
        FlatView { title: name(texts.from_front, "−x"), right: left, down: -up, towards_eye: -rear },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::texts::Language;

    /// Right times up points to the eye; otherwise the car would be seen in a mirror.
    #[test]
    fn no_view_is_a_mirror_image() {
        for view in flat_views(None, Language::English.texts()) {
            let to_eye = view.right.cross(&-view.down);
            assert!((to_eye - view.towards_eye).norm() < 1e-12, "{}", view.title);
        }
    }
}
