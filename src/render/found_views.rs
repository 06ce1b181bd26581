//! From where the seams that were found are looked at.
//!
//! In: where the surface looks, and what each view would show of each seam. Out: the views, the most telling first. Units: mm.
//! Method: the side to which most of the surface looks; then of eight slanted views, one after the other, that which adds
//! most of what the ones before it do not show.
//! Titles name the scan's axes, since nothing says where the front is.

use nalgebra::Vector3;

use super::car_axes::FlatView;

/// How many views, and how steeply the slanted ones look down.
const VIEWS: usize = 4;
const SLANT_RAD: f64 = 0.6;
/// Axes of the scan within this cosine (20°) of a direction stand in for it.
const SNAP_COSINE: f64 = 0.94;
/// What a view shows of seams that another shows as well counts this much.
const SHOWN_AGAIN: f64 = 0.05;

/// The views, and the length of all seams that they show, each where it is seen best.
pub(super) struct Chosen {
    pub views: Vec<FlatView>,
    pub seen_mm: f64,
}

/// Chooses views of a surface that looks to `mean` on the whole; `seen_mm` tells what a view shows of each seam.
pub(super) fn choose_views(
    mean: &Vector3<f64>,
    seam_count: usize,
    seen_mm: impl Fn(&FlatView) -> Vec<f64>,
) -> Chosen {
    let up = snapped(&mean.try_normalize(1e-9).unwrap_or_else(Vector3::z));
    let side = [Vector3::x(), Vector3::y(), Vector3::z()]
        .into_iter()
        .min_by(|one, two| one.dot(&up).abs().total_cmp(&two.dot(&up).abs()))
        .unwrap_or_else(Vector3::x);
    let right = snapped(&(side - up * side.dot(&up)).normalize());
    let ahead = up.cross(&right);
    let slanted = (0..8).map(|step| {
        let turn = std::f64::consts::FRAC_PI_4 * f64::from(step);
        let level = right * turn.cos() + ahead * turn.sin();
        view_from(&(level * SLANT_RAD.cos() + up * SLANT_RAD.sin()), &up)
    });
    let mut open: Vec<(FlatView, Vec<f64>)> = slanted
        .map(|view| {
            let seen = seen_mm(&view);
            (view, seen)
        })
        .collect();
    let first = view_along(&up, &right);
    let mut best_seen = seen_mm(&first);
    best_seen.resize(seam_count, 0.0);
    let mut views = vec![first];
    while views.len() < VIEWS {
        let gain = |(_, seen): &(FlatView, Vec<f64>)| -> f64 {
            seen.iter().zip(&best_seen).map(|(seen, best)| (seen - best).max(0.0) + SHOWN_AGAIN * seen).sum()
        };
        let best = (0..open.len()).max_by(|one, two| gain(&open[*one]).total_cmp(&gain(&open[*two])));
        let Some(best) = best else { break };
        let (view, seen) = open.remove(best);
        best_seen.iter_mut().zip(seen).for_each(|(best, seen)| *best = best.max(seen));
        views.push(view);
    }
    Chosen { views, seen_mm: best_seen.iter().sum() }
}

/// A frame axis in place of a direction that is near to it.
fn snapped(direction: &Vector3<f64>) -> Vector3<f64> {
    let axes = [Vector3::x(), Vector3::y(), Vector3::z()];
    let near = axes.into_iter().find(|axis| axis.dot(direction).abs() > SNAP_COSINE);
    near.map_or(*direction, |axis| axis * axis.dot(direction).signum())
}

fn view_along(towards_eye: &Vector3<f64>, right: &Vector3<f64>) -> FlatView {
    FlatView {
        title: title(towards_eye),
        right: *right,
        down: -towards_eye.cross(right),
        towards_eye: *towards_eye,
    }
}

/// A view with `up` upright in it.
fn view_from(towards_eye: &Vector3<f64>, up: &Vector3<f64>) -> FlatView {
    view_along(towards_eye, &up.cross(towards_eye).normalize())
}

/// "+z" or "−x +y +z", the largest parts.
fn title(towards_eye: &Vector3<f64>) -> String {
    let parts = ["x", "y", "z"].into_iter().zip(towards_eye.iter()).filter(|(_, part)| part.abs() > 0.3);
    let words: Vec<String> =
        parts.map(|(axis, part)| format!("{}{axis}", if *part < 0.0 { "−" } else { "+" })).collect();
    words.join(" ")
}
