//! The readings that a panel's moves can change, one row each.
//!
//! In: the plan, judged seams, the panels that may move. Out: [`Row`]s in plan order, gap before flush. Units: mm; Car frame.
//! Method: the deviation counts in units of the tolerance's half width, from its middle; 1 is a limit.
//! Does not hold readings that were not made: what is unseen cannot be advised on.

use nalgebra::{Point3, Vector3};

use crate::judge::{JudgedSeam, Measurand};
use crate::plan::{PanelId, Plan, Tolerance};
use crate::summarise::{acting_points, datum_to_other, local_u_mm};

/// Least half width of a tolerance, mm, so that a tolerance of nothing does not divide by zero.
const LEAST_HALF_MM: f64 = 1.0e-3;

/// Larger readings are no gap of a car, whatever file they come from, mm; they are out for every verdict, but no move
/// is sought for them.
const BELIEVED_MM: f64 = 200.0;

/// One gap or flush.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// Place in the list of judged seams, and of its stations.
    pub seam: usize,
    pub station: usize,
    /// Distance along the seam, mm.
    pub along_mm: f64,
    pub measurand: Measurand,
    pub value_mm: f64,
    pub u_mm: f64,
    /// The part of u that is this station's alone.
    pub local_u_mm: f64,
    pub tolerance: Tolerance,
    /// How much this seam counts.
    pub weight: f64,
    /// Unit vector that a displacement of the other panel is seen along.
    pub direction: Vector3<f64>,
    /// Place in the plan's panels and where a move acts: the datum panel, then the other.
    pub ends: [(usize, Point3<f64>); 2],
}

impl Row {
    pub fn half_mm(&self) -> f64 {
        (0.5 * (self.tolerance.minus_mm + self.tolerance.plus_mm)).max(LEAST_HALF_MM)
    }

    pub fn middle_mm(&self) -> f64 {
        f64::midpoint(self.tolerance.lower_mm(), self.tolerance.upper_mm())
    }

    /// The sign with which a panel's displacement counts, and where it acts; `None` where it is not one of the two.
    pub fn sign_and_point(&self, panel: usize) -> Option<(f64, &Point3<f64>)> {
        let [(datum, datum_point), (other, other_point)] = &self.ends;
        if *other == panel {
            Some((1.0, other_point))
        } else {
            (*datum == panel).then_some((-1.0, datum_point))
        }
    }
}

/// Rows of every seam that touches one of `panels` (places in the plan).
pub(super) fn rows_of(plan: &Plan, seams: &[JudgedSeam], panels: &[usize]) -> Vec<Row> {
    let place = |id: &PanelId| plan.panels.iter().position(|panel| panel.id == *id);
    let mut rows = Vec::new();
    for (index, judged) in seams.iter().enumerate() {
        let Some(seam) = plan.seam(&judged.seam) else { continue };
        let (Some(datum), Some(other)) = (place(&seam.datum_panel), place(&seam.other_panel)) else {
            continue;
        };
        if !panels.contains(&datum) && !panels.contains(&other) {
            continue;
        }
        for measurand in Measurand::BOTH {
            for (station, reading) in judged.stations.iter().enumerate() {
                let value = reading.value(measurand);
                let Ok(estimate) = value.measured else { continue };
                if !(estimate.value_mm.abs() <= BELIEVED_MM && estimate.u_mm <= BELIEVED_MM) {
                    continue;
                }
                let frame = &reading.reading.frame;
                let [datum_point, other_point] = acting_points(seam, reading, measurand);
                rows.push(Row {
                    seam: index,
                    station,
                    along_mm: reading.reading.station.along_mm,
                    measurand,
                    value_mm: estimate.value_mm,
                    u_mm: estimate.u_mm,
                    local_u_mm: local_u_mm(estimate),
                    tolerance: value.tolerance,
                    weight: plan.advice.weight(&seam.id),
                    direction: match measurand {
                        Measurand::Gap => datum_to_other(seam.datum_side, frame),
                        Measurand::Flush => frame.outward,
                    },
                    ends: [(datum, datum_point), (other, other_point)],
                });
            }
        }
    }
    rows
}
