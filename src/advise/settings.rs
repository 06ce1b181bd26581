//! The settings to make, and how good a state is.
//!
//! In: solved settings, predicted seams. Out: [`PanelAdvice`], [`Score`], [`Unseen`]. Units: mm; deviations in half widths.
//! Does not decide anything.

use nalgebra::DVector;

use super::advice::{LEAST_SETTING_MM, PanelAdvice, Score, Setting, SettingSource, TravelEnd, Unseen};
use super::exact::PanelPose;
use super::knobs::KnobSource;
use super::standing::Standing;
use super::work::Work;
use crate::judge::{JudgedSeam, Measurand, Verdict};

/// A setting this near to the end of its travel is at its limit, mm.
const AT_LIMIT_MM: f64 = 1e-4;

/// The score of seams in the order of the seams before the move.
pub(super) fn score(work: &Work<'_>, seams: &[JudgedSeam]) -> Score {
    let mut score = Score { worst: 0.0, worst_place: None, sum: 0.0, good: 0, undecided: 0, out: 0 };
    for judged in seams {
        let weight = work.plan.advice.weight(&judged.seam);
        for station in &judged.stations {
            for measurand in Measurand::BOTH {
                let value = station.value(measurand);
                let Ok(estimate) = value.measured else { continue };
                let middle_mm = f64::midpoint(value.tolerance.lower_mm(), value.tolerance.upper_mm());
                let half_mm = (value.tolerance.upper_mm() - value.tolerance.lower_mm()) / 2.0;
                let deviation = (estimate.value_mm - middle_mm).abs() / half_mm.max(1e-3);
                if weight * deviation > score.worst {
                    score.worst = weight * deviation;
                    score.worst_place = Some((judged.seam.clone(), station.reading.station.index, measurand));
                }
                score.sum += weight * (deviation - 1.0).max(0.0);
                match value.verdict {
                    Verdict::Good => score.good += 1,
                    Verdict::Undecided => score.undecided += 1,
                    verdict if verdict.is_out() => score.out += 1,
                    _ => {}
                }
            }
        }
    }
    score
}

pub(super) fn panel_advice(
    work: &Work<'_>,
    frame: usize,
    settings_mm: &[f64],
    poses: &[Option<PanelPose>],
    standing: Option<&Standing>,
) -> PanelAdvice {
    let own = &work.knobs.frames[frame];
    let pose = poses[own.panel].unwrap_or(PanelPose {
        pivot: own.pivot,
        shift_mm: nalgebra::Vector3::zeros(),
        rotation_rad: nalgebra::Vector3::zeros(),
    });
    let mut settings: Vec<Setting> = Vec::new();
    let mut held_freedoms = 0;
    for (knob, amount_mm) in work.knobs.knobs.iter().zip(settings_mm).filter(|(knob, _)| knob.frame == frame)
    {
        held_freedoms += 1;
        let source = match knob.source {
            KnobSource::Free { axis } => SettingSource::Free { axis },
            KnobSource::Way { adjuster, way } => SettingSource::Way { adjuster, way },
        };
        settings.push(setting(source, *amount_mm, knob.step_mm, [knob.lower_mm, knob.upper_mm]));
    }
    let reached = work.knobs.pose(frame, settings_mm);
    for follower in work.knobs.followers.iter().filter(|follower| follower.frame == frame) {
        let exact_mm = follower.gradient.dot(&reached);
        let amount_mm = follower.step_mm.map_or(exact_mm, |step_mm| (exact_mm / step_mm).round() * step_mm);
        let source = SettingSource::Way { adjuster: follower.adjuster, way: follower.way };
        let one = setting(source, amount_mm, follower.step_mm, [follower.lower_mm, follower.upper_mm]);
        settings.push(Setting { follows: true, ..one });
    }
    for one in &mut settings {
        one.u_mm = standing.and_then(|standing| standing.setting_u_mm(work.plan, one.source));
    }
    settings.retain(|one| one.amount_mm.abs() >= LEAST_SETTING_MM || one.at_limit.is_some());
    settings.sort_by_key(|one| match one.source {
        SettingSource::Free { axis } => (0, axis),
        SettingSource::Way { adjuster, way } => (adjuster, way),
    });
    PanelAdvice {
        panel: work.plan.panels[own.panel].id.clone(),
        pose,
        is_moved: settings.iter().any(|one| one.amount_mm.abs() >= LEAST_SETTING_MM),
        settings,
        standing: standing.cloned(),
        held_freedoms,
    }
}

fn setting(
    source: SettingSource,
    amount_mm: f64,
    step_mm: Option<f64>,
    [lower_mm, upper_mm]: [f64; 2],
) -> Setting {
    // A way that cannot move at all is not "at its limit": nothing was asked of it.
    let is_at = |limit_mm: f64| limit_mm != 0.0 && (amount_mm - limit_mm).abs() < AT_LIMIT_MM;
    let at_limit =
        if is_at(upper_mm) { Some(TravelEnd::Plus) } else { is_at(lower_mm).then_some(TravelEnd::Minus) };
    Setting {
        source,
        amount_mm,
        u_mm: None,
        steps: step_mm.map(|step_mm| (amount_mm / step_mm).round() as i64),
        follows: false,
        at_limit,
    }
}

pub(super) fn unseen_of(work: &Work<'_>, direction: &DVector<f64>) -> Unseen {
    let poses = work.poses(direction.as_slice());
    let parts = work
        .plan
        .panels
        .iter()
        .zip(poses)
        .filter_map(|(panel, pose)| Some((panel.id.clone(), pose?)))
        .collect();
    Unseen { parts }
}
