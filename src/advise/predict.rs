//! The seams as they are expected to be after the settings were made.
//!
//! In: judged seams and the panels' poses. Out: the same seams with changed readings, judged again by the plan's rule.
//! Units: mm; frame: Car. The readings' uncertainties stay: what the fitter's hand adds is not known here.
//! Does not measure: the change comes from `exact`.

use nalgebra::{DVector, Isometry3};

use super::exact::{PanelPose, changes_exactly};
use super::work::Work;
use crate::judge::{JudgedSeam, Measurand, judge_seam, with_finish};
use crate::measure::{SeamReadings, StationReading};
use crate::plan::{Plan, Seam};

/// Exact change minus linear change of each row at these settings, mm.
pub(super) fn beyond_linear(work: &Work<'_>, settings_mm: &[f64]) -> Vec<f64> {
    let linear = &work.effect * DVector::from_column_slice(settings_mm);
    exact_changes_mm(work, &work.poses(settings_mm))
        .iter()
        .zip(linear.iter())
        .map(|(exact_mm, linear_mm)| exact_mm.map_or(0.0, |exact_mm| exact_mm - linear_mm))
        .collect()
}

/// Exact change of each row when the plan's panels are moved so, mm; `None` where it cannot be told.
pub(super) fn exact_changes_mm(work: &Work<'_>, poses: &[Option<PanelPose>]) -> Vec<Option<f64>> {
    let exact: Vec<Option<Vec<[Option<f64>; 2]>>> = work
        .seams
        .iter()
        .map(|judged| {
            let seam = work.plan.seam(&judged.seam)?;
            Some(changes_exactly(seam, judged, &motions(work.plan, seam, poses)?))
        })
        .collect();
    work.rows
        .iter()
        .map(|row| {
            let kind = usize::from(row.measurand == Measurand::Flush);
            exact[row.seam].as_ref().and_then(|changes| changes[row.station][kind])
        })
        .collect()
}

/// Motions of a seam's datum and other panel; `None` where neither may move.
fn motions(plan: &Plan, seam: &Seam, poses: &[Option<PanelPose>]) -> Option<[Isometry3<f64>; 2]> {
    let pose = |id: &crate::plan::PanelId| {
        let place = plan.panels.iter().position(|panel| panel.id == *id)?;
        poses[place]
    };
    let (datum, other) = (pose(&seam.datum_panel), pose(&seam.other_panel));
    if datum.is_none() && other.is_none() {
        return None;
    }
    let isometry = |pose: Option<PanelPose>| pose.map_or_else(Isometry3::identity, |pose| pose.isometry());
    Some([isometry(datum), isometry(other)])
}

/// The seams that the poses can change, before and after.
pub(super) fn predicted_seams(
    work: &Work<'_>,
    poses: &[Option<PanelPose>],
) -> (Vec<JudgedSeam>, Vec<JudgedSeam>) {
    let mut before = Vec::new();
    let mut after = Vec::new();
    for judged in work.seams {
        let Some(seam) = work.plan.seam(&judged.seam) else { continue };
        let Some(motions) = motions(work.plan, seam, poses) else { continue };
        let changes = changes_exactly(seam, judged, &motions);
        let stations = judged
            .stations
            .iter()
            .zip(&changes)
            .map(|(station, change)| changed(&station.reading, change, &motions))
            .collect();
        let readings = SeamReadings {
            seam: judged.seam.clone(),
            stations,
            points_used: judged.points_used,
            spacing_mm: judged.spacing_mm,
        };
        before.push(judged.clone());
        after.push(with_finish(work.plan, seam, judge_seam(seam, readings, &work.plan.decision)));
    }
    (before, after)
}

fn changed(
    station: &StationReading,
    change: &[Option<f64>; 2],
    motions: &[Isometry3<f64>; 2],
) -> StationReading {
    let mut new = station.clone();
    for (estimate, change_mm) in [(&mut new.gap, change[0]), (&mut new.flush, change[1])] {
        if let (Ok(estimate), Some(change_mm)) = (estimate, change_mm) {
            estimate.value_mm += change_mm;
        }
    }
    for (edge, motion) in new.edges.iter_mut().zip(motions) {
        if let Some(edge) = edge {
            edge.point = motion * edge.point;
        }
    }
    new
}
