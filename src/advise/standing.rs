//! Where a panel stands off its nominal place, shape errors apart.
//!
//! In: the rows of its seams. Out: a [`Standing`]: shift and turn with covariance. Units: mm, rad; frame: Car.
//! Method: the robust fit of rigid moves that `summarise::compare` uses for changes, here for deviations from nominal: a
//! local shape error does not turn the panel. Rows that scatter about the fit more than their uncertainty says (a panel
//! that is not shaped like its opening) are given that scatter instead, together with how far along the seam it hangs
//! together, so that the shape is carried as uncertainty of the place.
//! Does not say where the panel should go: that is `minimax`'s, which knows the tolerances.

use nalgebra::Vector3;

use super::advice::SettingSource;
use super::rows::Row;
use super::work::Work;
use crate::judge::Measurand;
use crate::plan::{AdjusterSetting, Plan};
use crate::summarise::{FitRow, Motion, Mover, fit_moves};

/// Least local uncertainty of a row, mm, so that an exact reading does not weigh infinitely.
const LEAST_U_MM: f64 = 1.0e-3;
/// The median absolute deviation of a normal distribution is its standard deviation over this (see `statistics`).
const MAD_TO_SD: f64 = 1.4826;
/// Neighbours that hang together less than this are counted as independent.
const LEAST_CORRELATION: f64 = 0.1;

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
    let first = fit_moves(&rows, &movers);
    raise_to_scatter(&mut rows, &first.leftover_mm);
    fit_moves(&rows, &movers).motions.into_iter().map(|motion| Standing { motion }).collect()
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

/// Raises each group's local uncertainty to what its leftover shows.
fn raise_to_scatter(rows: &mut [FitRow], leftover_mm: &[f64]) {
    let group_count = rows.iter().map(|row| row.group + 1).max().unwrap_or(0);
    for group in 0..group_count {
        let members: Vec<usize> = (0..rows.len()).filter(|index| rows[*index].group == group).collect();
        let left: Vec<f64> = members.iter().map(|index| leftover_mm[*index]).collect();
        let scatter_mm = spread_mm(&left) * together(&left).sqrt();
        for index in members {
            rows[index].local_u_mm = rows[index].local_u_mm.max(scatter_mm);
        }
    }
}

/// Robust standard deviation about the median, mm.
fn spread_mm(values: &[f64]) -> f64 {
    let middle = median(values.to_vec());
    MAD_TO_SD * median(values.iter().map(|value| (value - middle).abs()).collect())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

/// How many neighbours tell the same: 1 + 2 Σ correlation at lag 1, 2, …, while it is above a tenth.
fn together(values: &[f64]) -> f64 {
    let middle = median(values.to_vec());
    // Clipped, so that a local defect does not count as a long wave.
    let reach = 2.0 * spread_mm(values).max(1e-9);
    let clipped: Vec<f64> = values.iter().map(|value| (value - middle).clamp(-reach, reach)).collect();
    let power: f64 = clipped.iter().map(|value| value * value).sum();
    let mut count = 1.0;
    for lag in 1..values.len() / 2 {
        let product: f64 = clipped.iter().zip(&clipped[lag..]).map(|(one, other)| one * other).sum();
        let correlation = product / power.max(1e-12);
        if correlation < LEAST_CORRELATION {
            break;
        }
        count += 2.0 * correlation;
    }
    count
}
