//! Where a panel stands off its nominal place, shape errors apart.
//!
//! In: the rows of its seams. Out: a [`Standing`]: shift and turn with covariance. Units: mm, rad; frame: Car.
//! What *the* place is when the panel is also misshapen: the rigid move of the panel as designed, to which the shape errors
//! of its rim are added. A shape error that looks like a move along all seams together cannot be told from one.
//! Method: the fit of rigid moves that `summarise::compare` uses for changes, here for deviations from nominal. Shape is
//! carried as uncertainty: in each seam's gaps and flushes a wave of unknown size and length, learnt from what they show
//! (`summarise::compare`'s `error_model` and `variance_components`), and robust weights for dents. The readings
//! are then read again exactly with the panel put back (Gauss–Newton), so that the place does not suffer from the linear form.
//! Does not say where the panel should go: that is `minimax`'s, which knows the tolerances.

use nalgebra::{Rotation3, Vector3};

use super::advice::SettingSource;
use super::exact::PanelPose;
use super::predict::exact_changes_mm;
use super::rows::Row;
use super::work::Work;
use crate::judge::Measurand;
use crate::plan::{AdjusterSetting, Plan};
use crate::summarise::{ExpectedErrors, FitRow, Motion, Mover, fit_as_stated, fit_doubting, learn_errors};

/// Least local uncertainty of a row, mm, so that an exact reading does not weigh infinitely.
const LEAST_U_MM: f64 = 1.0e-3;
/// What is expected of errors and shape before they are learnt: a panel's shape may be off by a tenth of a millimetre, give
/// or take a factor of ten (common practice, no source). The length over which shape hangs together was chosen on training
/// seeds, so that a local fault is not taken for one of the whole seam.
const EXPECTED: ExpectedErrors = ExpectedErrors {
    shape_mm2: 0.01,
    wave_length_mm: 60.0,
    log_sd: [0.5, 2.0, 2.3, 0.5, 0.7],
    is_by_group: true,
};
/// Times that the readings are read again with the panels put back (the linear form is then off by less than a micrometre).
const EXACT_ROUNDS: usize = 2;

/// A panel's place against its nominal one.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// How far it stands off; its covariance holds what the readings leave open.
    pub motion: Motion,
}

impl Standing {
    /// Standard uncertainty of where a setting's place should be, mm; `None` where the readings do not tell it.
    #[must_use]
    pub fn setting_u_mm(&self, plan: &Plan, source: SettingSource) -> Option<f64> {
        let u_mm = match source {
            SettingSource::Free { axis } if axis < 3 => self.motion.covariance[(axis, axis)].max(0.0).sqrt(),
            SettingSource::Free { .. } => return None,
            SettingSource::Way { adjuster, way } => {
                let AdjusterSetting::Ways { place, ways } = &plan.advice.adjusters.get(adjuster)?.setting
                else {
                    return None;
                };
                self.motion.displacement_along(place, &ways.get(way)?.direction).1
            }
        };
        let is_told = self.motion.unseen_share.iter().all(|share| *share < 0.5);
        (u_mm > 0.0 && is_told).then_some(u_mm)
    }

    /// The rotation about each axis, rad.
    #[must_use]
    pub fn rotation_rad(&self) -> Vector3<f64> {
        self.motion.rotation_rad
    }
}

/// The standings of all panels asked about, in the order of the frames.
pub(super) fn standings(work: &Work<'_>) -> Vec<Standing> {
    let mut rows: Vec<FitRow> = fit_rows(&work.rows);
    let movers: Vec<Mover> = work
        .knobs
        .frames
        .iter()
        .map(|frame| Mover { panel: frame.panel, pivot: frame.pivot, lever_mm: frame.lever_mm })
        .collect();
    let expected = EXPECTED;
    let deviations_mm: Vec<f64> = rows.iter().map(|row| row.change_mm).collect();
    let mut found = fit_as_stated(&rows, &movers, &expected).motions;
    // The sizes of the errors are learnt once, from rows that a move of millimetres no longer bends.
    let mut learnt = None;
    for _ in 0..EXACT_ROUNDS {
        for (row, put_back_mm) in rows.iter_mut().zip(put_back(work, &deviations_mm, &movers, &found)) {
            row.change_mm = put_back_mm;
        }
        let model = learnt.get_or_insert_with(|| learn_errors(&rows, &movers, &expected));
        let more = fit_doubting(&rows, &movers, model).motions;
        found = found.iter().zip(more).map(|(first, then)| composed(first, then)).collect();
    }
    found.into_iter().map(|motion| Standing { motion }).collect()
}

/// Deviations as they would be read with the panels moved back from where they stand.
fn put_back(work: &Work<'_>, deviations_mm: &[f64], movers: &[Mover], stand: &[Motion]) -> Vec<f64> {
    let mut poses = vec![None; work.plan.panels.len()];
    for (mover, motion) in movers.iter().zip(stand) {
        let back = Rotation3::from_scaled_axis(-motion.rotation_rad);
        poses[mover.panel] = Some(PanelPose {
            pivot: motion.pivot,
            shift_mm: -(back * motion.shift_mm),
            rotation_rad: -motion.rotation_rad,
        });
    }
    let linear = |row: &Row| -> f64 {
        let of = |pose: &PanelPose, panel| {
            row.sign_and_point(panel)
                .map(|(sign, point)| sign * pose.displacement_mm(point).dot(&row.direction))
        };
        poses.iter().enumerate().filter_map(|(panel, pose)| of(pose.as_ref()?, panel)).sum()
    };
    exact_changes_mm(work, &poses)
        .iter()
        .zip(&work.rows)
        .zip(deviations_mm)
        .map(|((exact_mm, row), deviation_mm)| deviation_mm + exact_mm.unwrap_or_else(|| linear(row)))
        .collect()
}

/// `first` after `then`: what moves a panel to its place when `then` is what was left to find.
fn composed(first: &Motion, then: Motion) -> Motion {
    let turn = Rotation3::from_scaled_axis(first.rotation_rad);
    let turned = turn * Rotation3::from_scaled_axis(then.rotation_rad);
    Motion { shift_mm: first.shift_mm + turn * then.shift_mm, rotation_rad: turned.scaled_axis(), ..then }
}

fn fit_rows(rows: &[Row]) -> Vec<FitRow> {
    let mut groups: Vec<(usize, Measurand)> = Vec::new();
    rows.iter()
        .map(|row| {
            let key = (row.seam, row.measurand);
            let group = groups.iter().position(|known| *known == key).unwrap_or_else(|| {
                groups.push(key);
                groups.len() - 1
            });
            FitRow {
                group,
                kind: usize::from(row.measurand == Measurand::Flush),
                along_mm: row.along_mm,
                change_mm: row.value_mm - row.tolerance.nominal_mm,
                local_u_mm: row.local_u_mm.max(LEAST_U_MM),
                common_u_mm: (row.u_mm.powi(2) - row.local_u_mm.powi(2)).max(0.0).sqrt(),
                direction: row.direction,
                ends: row.ends,
            }
        })
        .collect()
}
