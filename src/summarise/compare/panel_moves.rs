//! Which panels moved: the fewest rigid moves that explain the changes, and what they leave over.
//!
//! In: the plan and the seams' changes. Out: [`PanelMove`]s and [`Leftover`]s. Units: mm; frame: Car.
//! Method: forward selection. Of all panels that the plan does not call fixed, the one whose move explains most is
//! taken, then the next together with it, as long as the gain is more than chance (likelihood ratio against χ², 1 %
//! over all candidates). How far rows err together, and by how much more than stated, is learnt with all candidates free to move.
//! A panel whose seams would be explained about as well by another one's move is named with it.
//! Does not say what to turn or shim.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::changes::{MeasurandChange, SeamChange, StationChange, datum_to_other};
use super::error_model::{ErrorModel, Expected};
use super::motion::{Motion, Mover, Row};
use super::move_fit::{Fit, fit, fit_doubting, learn};
use crate::judge::Measurand;
use crate::measure::Estimate;
use crate::plan::{PanelId, Plan, Seam, SeamId};
use crate::summarise::taper::local_u_mm;

/// Chance that panels which did not move are said to have moved.
const FALSE_MOVE_CHANCE: f64 = 0.01;
/// Another panel explains "about as well" when it brings this share of the gain.
const AS_WELL_SHARE: f64 = 0.9;
/// Least local uncertainty of a row, mm, so that an exact reading does not weigh infinitely.
const LEAST_U_MM: f64 = 1.0e-3;
/// What is expected of errors before they are learnt. The stated common variance is believed to a factor e^0.5. Of what a
/// scanner's views get wrong, some stays the same along a seam and some changes from view to view and with the warp of the
/// surface, over 100 to 200 mm (common practice, no source); how much of which differs from scanner to scanner.
const EXPECTED: Expected =
    Expected { shape_mm2: 0.0, wave_length_mm: 150.0, log_sd: [0.5, 2.0, 0.0, 0.5, 0.7], is_by_group: false };
/// Fewest rows on a panel from which a move is looked for.
const FEWEST_ROWS: usize = 6;

/// A panel that moved.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelMove {
    pub panel: PanelId,
    pub motion: Motion,
    /// Panels whose opposite move would explain the changes about as well: the scans cannot tell them apart.
    pub could_also_be: Vec<PanelId>,
    /// The panel's places on its seams. Car frame, mm.
    pub places: Vec<nalgebra::Point3<f64>>,
}

/// What the moves do not explain of one measurand of one seam.
#[derive(Debug, Clone, PartialEq)]
pub struct Leftover {
    pub seam: SeamId,
    pub measurand: Measurand,
    /// Station index, distance along the seam in mm, change minus the moves' part in mm.
    pub stations: Vec<(usize, f64, f64)>,
    /// Root mean square of the changes, and of what is left over, mm.
    pub change_rms_mm: f64,
    pub leftover_rms_mm: f64,
}

/// Finds the moves.
pub(super) fn explain(plan: &Plan, seams: &[SeamChange]) -> (Vec<PanelMove>, Vec<Leftover>) {
    let rows = rows_of(plan, seams);
    let candidates: Vec<Mover> = (0..plan.panels.len())
        .filter(|panel| !plan.panels[*panel].is_fixed)
        .filter(|panel| rows.iter().filter(|row| touches(row, *panel)).count() >= FEWEST_ROWS)
        .filter_map(|panel| Mover::of(panel, &rows))
        .collect();
    let model = learn(&rows, &candidates, &EXPECTED);
    let mut chosen: Vec<Mover> = Vec::new();
    let mut rivals: Vec<Vec<usize>> = Vec::new();
    let mut best = fit(&rows, &chosen, &model);
    while let Some((mover, better, also)) = next_mover((&rows, &model), &candidates, &chosen, &best) {
        chosen.push(mover);
        rivals.push(also);
        best = better;
    }
    let best = fit_doubting(&rows, &chosen, &model);
    let id = |panel: &usize| plan.panels[*panel].id.clone();
    let moves = chosen
        .iter()
        .zip(&rivals)
        .zip(&best.motions)
        .map(|((mover, also), motion)| PanelMove {
            panel: id(&mover.panel),
            motion: motion.clone(),
            could_also_be: also.iter().map(id).collect(),
            places: places_of(&rows, mover.panel),
        })
        .collect();
    (moves, leftovers(seams, &best.leftover_mm))
}

/// The panel whose move gains most, with the fit that has it and its near rivals; `None` where none gains enough.
fn next_mover(
    (rows, model): (&[Row], &ErrorModel),
    candidates: &[Mover],
    chosen: &[Mover],
    so_far: &Fit,
) -> Option<(Mover, Fit, Vec<usize>)> {
    let limit = 1.0 - FALSE_MOVE_CHANCE / candidates.len().max(1) as f64;
    let mut trials: Vec<(f64, &Mover, Fit)> = candidates
        .iter()
        .filter(|mover| chosen.iter().all(|taken| taken.panel != mover.panel))
        .map(|mover| {
            let with: Vec<Mover> = chosen.iter().chain([mover]).cloned().collect();
            let fitted = fit(rows, &with, model);
            (so_far.cost - fitted.cost, mover, fitted)
        })
        .collect();
    trials.sort_by(|one, other| other.0.total_cmp(&one.0));
    let (gain, mover, fitted) = trials.first()?;
    let new_directions = fitted.rank.saturating_sub(so_far.rank).max(1) as f64;
    let needed = ChiSquared::new(new_directions).ok()?.inverse_cdf(limit);
    if *gain <= needed {
        return None;
    }
    let also = trials
        .iter()
        .skip(1)
        .filter(|(other, ..)| *other >= AS_WELL_SHARE * gain)
        .map(|(_, rival, _)| rival.panel)
        .collect();
    Some(((*mover).clone(), fitted.clone(), also))
}

fn touches(row: &Row, panel: usize) -> bool {
    row.ends.iter().any(|(end, _)| *end == panel)
}

fn places_of(rows: &[Row], panel: usize) -> Vec<nalgebra::Point3<f64>> {
    rows.iter()
        .flat_map(|row| row.ends.iter().filter(|(end, _)| *end == panel).map(|(_, point)| *point))
        .collect()
}

/// One row for each change, seam by seam, gap before flush, stations in order.
fn rows_of(plan: &Plan, seams: &[SeamChange]) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut group = 0;
    for changes in seams {
        let Some(seam) = plan.seam(&changes.seam) else { continue };
        let panel = |id: &PanelId| plan.panels.iter().position(|panel| panel.id == *id);
        let (Some(datum), Some(other)) = (panel(&seam.datum_panel), panel(&seam.other_panel)) else {
            continue;
        };
        for measurand in Measurand::BOTH {
            let change = changes.measurand(measurand);
            for (station, estimate) in seen(change) {
                rows.push(Row {
                    group,
                    kind: usize::from(measurand == Measurand::Flush),
                    along_mm: station.along_mm,
                    change_mm: estimate.value_mm,
                    local_u_mm: local_u_mm(estimate).max(LEAST_U_MM),
                    common_u_mm: (estimate.u_mm.powi(2) - local_u_mm(estimate).powi(2)).max(0.0).sqrt(),
                    direction: direction_of(seam, station, measurand),
                    ends: [(datum, station.datum_point), (other, station.other_point)],
                });
            }
            group += 1;
        }
    }
    rows
}

fn seen(change: &MeasurandChange) -> impl Iterator<Item = (&StationChange, &Estimate)> {
    change.stations.iter().filter_map(|station| Some((station, station.change.as_ref()?)))
}

fn direction_of(seam: &Seam, station: &StationChange, measurand: Measurand) -> nalgebra::Vector3<f64> {
    match measurand {
        Measurand::Gap => datum_to_other(seam.datum_side, &station.frame),
        Measurand::Flush => station.frame.outward,
    }
}

fn leftovers(seams: &[SeamChange], leftover_mm: &[f64]) -> Vec<Leftover> {
    let mut rest = leftover_mm.iter();
    let mut all = Vec::new();
    for changes in seams {
        for measurand in Measurand::BOTH {
            let change = changes.measurand(measurand);
            let stations: Vec<(usize, f64, f64)> = seen(change)
                .zip(rest.by_ref())
                .map(|((station, _), left)| (station.station_index, station.along_mm, *left))
                .collect();
            if stations.is_empty() {
                continue;
            }
            all.push(Leftover {
                seam: changes.seam.clone(),
                measurand,
                change_rms_mm: root_mean_square(seen(change).map(|(_, estimate)| estimate.value_mm)),
                leftover_rms_mm: root_mean_square(stations.iter().map(|(.., left)| *left)),
                stations,
            });
        }
    }
    all
}

fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value * value, count + 1.0));
    f64::sqrt(sum / f64::max(count, 1.0))
}

/// Median size of what is left over, all stations together, mm.
pub(super) fn median_leftover_mm(leftovers: &[Leftover]) -> f64 {
    let mut sizes: Vec<f64> =
        leftovers.iter().flat_map(|one| one.stations.iter().map(|(.., left)| left.abs())).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).copied().unwrap_or(0.0)
}
