//! Seams whose `datum_side` contradicts the rest of the plan.
//!
//! In: a plan. Out: seams and panels that lie on the other side than the plan says, by the panel's other seams.
//! Method: the seams of a panel lie round it, so that from each of them the middle of all lies on the panel's side. A few that say
//! otherwise are in doubt; where many do the panel lies round its seams, as a body round a door, and nothing is said.
//! Does not see a plan in which all sides are wrong.

use nalgebra::{Point3, Vector3};

use super::types::{PanelId, Plan, Seam, SeamId, Side};

/// Fewest seams of a panel that say where it lies.
const FEWEST_SEAMS: usize = 3;
/// One seam in so many may be in doubt; of more, none is.
const SEAMS_PER_DOUBT: usize = 3;
/// The middle must lie sideways of a seam, not before or behind it: least sine of the angle between them.
const LEAST_SIDEWAYS: f64 = 0.5;

/// A seam at which a panel seems to lie on the other side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoubtfulSide {
    pub seam: SeamId,
    pub panel: PanelId,
}

impl Plan {
    /// Seams whose `datum_side` the other seams of one of their panels contradict; see the head of `plan/side_check.rs`.
    #[must_use]
    pub fn doubtful_sides(&self) -> Vec<DoubtfulSide> {
        let mut doubts: Vec<DoubtfulSide> = Vec::new();
        let mut panels: Vec<&PanelId> =
            self.seams.iter().flat_map(|seam| [&seam.datum_panel, &seam.other_panel]).collect();
        panels.sort();
        panels.dedup();
        for panel in panels {
            let seams: Vec<(&Seam, Side)> =
                self.seams.iter().filter_map(|seam| Some((seam, side_of(seam, panel)?))).collect();
            for seam in contradicted(&seams) {
                if doubts.iter().all(|doubt| doubt.seam != seam.id) {
                    doubts.push(DoubtfulSide { seam: seam.id.clone(), panel: panel.clone() });
                }
            }
        }
        doubts
    }
}

/// The side of a seam on which the plan says a panel lies.
fn side_of(seam: &Seam, panel: &PanelId) -> Option<Side> {
    if seam.datum_panel == *panel {
        Some(seam.datum_side)
    } else if seam.other_panel == *panel {
        Some(if seam.datum_side == Side::Left { Side::Right } else { Side::Left })
    } else {
        None
    }
}

/// The seams of one panel from which the middle of all lies on the other side than stated, if they are few.
fn contradicted<'a>(seams: &[(&'a Seam, Side)]) -> Vec<&'a Seam> {
    let middle_of = |seam: &Seam| {
        let places = seam.curve.positions();
        places.iter().map(|place| place.coords).sum::<Vector3<f64>>() / places.len().max(1) as f64
    };
    let middle =
        seams.iter().map(|(seam, _)| middle_of(seam)).sum::<Vector3<f64>>() / seams.len().max(1) as f64;
    let telling: Vec<(&Seam, bool)> = seams
        .iter()
        .filter(|(seam, _)| seam.curve.has_given_normals())
        .filter_map(|(seam, side)| {
            let frame = seam.curve.frame_at(seam.curve.length_mm() / 2.0);
            let towards = (Point3::from(middle) - frame.origin).try_normalize(1e-6)?;
            // From the left-hand panel to the right-hand one.
            let sideways = towards.dot(&frame.across());
            (sideways.abs() >= LEAST_SIDEWAYS).then_some((*seam, (sideways > 0.0) == (*side == Side::Right)))
        })
        .collect();
    let doubtful: Vec<&Seam> = telling.iter().filter(|(_, holds)| !holds).map(|(seam, _)| *seam).collect();
    let are_few = telling.len() >= FEWEST_SEAMS && doubtful.len() * SEAMS_PER_DOUBT <= telling.len();
    if are_few { doubtful } else { Vec::new() }
}
