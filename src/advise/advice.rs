//! The whole of an advice, and how it is put together.
//!
//! In: plan, judged seams, which panels may move. Out: an [`Advice`]. Units: mm, rad; deviations in half widths; Car frame.
//! Method: settings from the linear form, exact re-reading of the moved edges, settings again with what the linear form
//! missed, twice; then the fewest panels that reach as much (`order`), and the test whether the gain is worth making.
//! Does not say it in words: `render` does.

use thiserror::Error;

use super::edges::{SeamEdges, edges_to_change};
use super::effect::{effect_matrix, unseen_directions};
use super::exact::PanelPose;
use super::knobs::Knobs;
use super::minimax::{MinimaxError, MoveSolution};
use super::order::{fewest_frames, order_of_work};
use super::predict::{beyond_linear, predicted_seams};
use super::rows::{Row, rows_of};
use super::settings::{panel_advice, score, unseen_of};
pub use super::solve::Aim;
use super::solve::uncertainty;
use super::standing::{Standing, standings};
use super::work::Work;
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::{PanelId, Plan, SeamId};

/// Coverage factor of "worth making": about 95 % for a normal distribution (JCGM 100:2008, 6.3.3).
const COVERAGE_FACTOR: f64 = 2.0;
/// Settings smaller than this are not made, mm: no spanner sets finer (common practice, no source).
pub(super) const LEAST_SETTING_MM: f64 = 0.05;

/// What to advise on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AdviseSettings {
    /// Panels that may move.
    pub panels: Vec<PanelId>,
    pub aim: Aim,
}

/// Why there is no advice.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum AdviseError {
    #[error("there is no panel `{panel}` in the plan; its panels are {known}")]
    UnknownPanel { panel: String, known: String },
    #[error("no seam of the plan touches {panel}; add its seams to the plan")]
    NoSeam { panel: String },
    #[error("no station of the seams of {panel} was measured; scan them again before moving anything")]
    NothingSeen { panel: String },
    #[error("no panel was named; give at least one")]
    NoPanel,
    #[error(transparent)]
    Settings(#[from] MinimaxError),
}

/// Whether anything should be moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Everything is proved to be in tolerance.
    NothingOut,
    /// What a move would gain is less than its uncertainty.
    NotWorthIt,
    Move,
}

/// How good a state is.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// Largest weighted deviation from the tolerance's middle, in half widths: above 1 is out.
    pub worst: f64,
    /// Where it is.
    pub worst_place: Option<(SeamId, usize, Measurand)>,
    /// Sum of the weighted parts that lie outside.
    pub sum: f64,
    pub good: usize,
    pub undecided: usize,
    /// Proved to be out.
    pub out: usize,
}

/// Which end of its travel a setting has come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TravelEnd {
    Minus,
    Plus,
}

/// What is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SettingSource {
    /// A free shift (0, 1, 2 for x, y, z) or turn (3, 4, 5); a turn's amount is in mm at the panel's lever.
    Free { axis: usize },
    /// Places in the plan's adjusters and in the adjuster's ways.
    Way { adjuster: usize, way: usize },
}

/// One setting to make.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    pub source: SettingSource,
    /// mm along the way's direction.
    pub amount_mm: f64,
    /// What the readings leave open, mm (standard uncertainty); `None` where they do not tell it.
    pub u_mm: Option<f64>,
    /// Whole steps, where the way has them.
    pub steps: Option<i64>,
    /// True where the panel is held by others and this one is set to where it then is.
    pub follows: bool,
    pub at_limit: Option<TravelEnd>,
}

/// What to do with one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelAdvice {
    pub panel: PanelId,
    pub pose: PanelPose,
    /// Settings that are not zero or are at their limit, in the plan's order.
    pub settings: Vec<Setting>,
    /// Where the panel stands off its nominal place now, shape errors apart.
    pub standing: Option<Standing>,
    /// True where the advice moves it.
    pub is_moved: bool,
    /// How many of the six freedoms its adjusters hold.
    pub held_freedoms: usize,
}

/// A direction that the readings do not tell, and that was therefore not moved: the panels' parts in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Unseen {
    pub parts: Vec<(PanelId, PanelPose)>,
}

/// Everything advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    pub need: Need,
    /// The aim in force: most places also where the worst-first move would put more out than it cures.
    pub aim: Aim,
    /// The panels to move in the order of work, then the others that were asked about.
    pub panels: Vec<PanelAdvice>,
    pub before: Score,
    pub after: Score,
    /// Expanded uncertainty (k = 2) of the gain in the worst deviation.
    pub gain_expanded: f64,
    /// What the other aim would reach.
    pub other_aim: Option<Score>,
    /// The seams of these panels as they are and as they are expected to be, in plan order.
    pub seams_before: Vec<JudgedSeam>,
    pub seams_after: Vec<JudgedSeam>,
    pub unseen: Vec<Unseen>,
    /// Largest difference between the linear and the exact reading at the settings, mm.
    pub linear_error_mm: f64,
    /// What no move cures.
    pub edges: Vec<SeamEdges>,
}

impl Advice {
    /// True where nothing is to be moved and nothing to be reshaped.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        self.need == Need::NothingOut
    }
}

/// Advises on moving some panels.
///
/// # Errors
/// A panel that the plan does not have, that has no seam, or of whose seams nothing was measured.
pub fn advise(plan: &Plan, seams: &[JudgedSeam], settings: &AdviseSettings) -> Result<Advice, AdviseError> {
    let panels = asked_panels(plan, settings)?;
    let rows = rows_of(plan, seams, &panels);
    check_seen(plan, &panels, &rows)?;
    let knobs = Knobs::of(plan, &rows, &panels);
    let effect = effect_matrix(&rows, &knobs);
    let unseen = unseen_directions(&effect);
    let work = Work { plan, seams, rows, knobs, effect, unseen };
    let (aim, solution, frames) = best_aim(&work, settings.aim)?;
    let nothing = vec![0.0; work.knobs.knobs.len()];
    let none_beyond = vec![0.0; work.rows.len()];
    let is_proved_good = work.rows.iter().all(|row| verdict_of(&work, row) == Verdict::Good);
    let made = worth_making(&solution.settings_mm);
    let (now, then) = (
        work.problem(&none_beyond).score(nothing.clone()),
        work.problem(&beyond_linear(&work, &made)).score(made.clone()),
    );
    let u_now = uncertainty(&work.rows, &work.deviations(&nothing, &none_beyond));
    let u_then = uncertainty(&work.rows, &work.deviations(&made, &none_beyond));
    let gain_expanded = COVERAGE_FACTOR * u_now.worst.hypot(u_then.worst);
    let excess_expanded = COVERAGE_FACTOR * u_now.excess.hypot(u_then.excess);
    let is_worth = now.worst - then.worst > gain_expanded || now.excess - then.excess > excess_expanded;
    let need = if is_proved_good {
        Need::NothingOut
    } else if is_worth {
        Need::Move
    } else {
        Need::NotWorthIt
    };
    let settings_mm = if need == Need::Move { made } else { nothing };
    put_together(&work, aim, need, settings_mm, (gain_expanded, frames))
}

/// The solution for an aim; where bettering the worst place would put more out than it cures, that for most places.
fn best_aim(work: &Work<'_>, aim: Aim) -> Result<(Aim, MoveSolution, Vec<usize>), MinimaxError> {
    let (solution, frames) = fewest_frames(work, aim)?;
    let none = vec![0.0; work.rows.len()];
    let now = work.problem(&none).score(vec![0.0; work.knobs.knobs.len()]);
    let outside = |settings_mm: &[f64], beyond_mm: &[f64]| {
        work.deviations(settings_mm, beyond_mm).iter().filter(|deviation| deviation.abs() > 1.0).count()
    };
    let (was, is) = (
        outside(&now.settings_mm, &none),
        outside(&solution.settings_mm, &beyond_linear(work, &solution.settings_mm)),
    );
    if aim == Aim::Most || (solution.excess <= now.excess && is <= was) {
        return Ok((aim, solution, frames));
    }
    let (solution, frames) = fewest_frames(work, Aim::Most)?;
    Ok((Aim::Most, solution, frames))
}

/// Without settings that nobody would make.
fn worth_making(settings_mm: &[f64]) -> Vec<f64> {
    settings_mm.iter().map(|one| if one.abs() < LEAST_SETTING_MM { 0.0 } else { *one }).collect()
}

fn put_together(
    work: &Work<'_>,
    aim: Aim,
    need: Need,
    settings_mm: Vec<f64>,
    (gain_expanded, frames): (f64, Vec<usize>),
) -> Result<Advice, AdviseError> {
    let poses = work.poses(&settings_mm);
    let (seams_before, seams_after) = predicted_seams(work, &poses);
    let beyond_mm = beyond_linear(work, &settings_mm);
    let standings = standings(work);
    let order = order_of_work(work, &frames);
    let rest = (0..work.knobs.frames.len()).filter(|frame| !order.contains(frame));
    let panels: Vec<PanelAdvice> = order
        .iter()
        .copied()
        .chain(rest)
        .map(|frame| panel_advice(work, frame, &settings_mm, &poses, standings.get(frame)))
        .collect();
    let other = match aim {
        Aim::Worst => Aim::Most,
        Aim::Most => Aim::Worst,
    };
    let other_aim = if need == Need::Move {
        let (found, _) = work.settle(other, &|frame| frames.contains(&frame))?;
        let other_poses = work.poses(&found.settings_mm);
        Some(score(work, &predicted_seams(work, &other_poses).1))
    } else {
        None
    };
    Ok(Advice {
        need,
        aim,
        before: score(work, &seams_before),
        after: score(work, &seams_after),
        gain_expanded,
        other_aim,
        edges: edges_to_change(work, &panels, &seams_before, &seams_after),
        panels,
        seams_before,
        seams_after,
        unseen: work.unseen.iter().map(|direction| unseen_of(work, direction)).collect(),
        linear_error_mm: beyond_mm.iter().fold(0.0, |most, beyond| beyond.abs().max(most)),
    })
}

fn asked_panels(plan: &Plan, settings: &AdviseSettings) -> Result<Vec<usize>, AdviseError> {
    let mut panels = Vec::new();
    for id in &settings.panels {
        let Some(place) = plan.panels.iter().position(|panel| panel.id == *id) else {
            let known: Vec<&str> = plan.panels.iter().map(|panel| panel.id.0.as_str()).collect();
            return Err(AdviseError::UnknownPanel { panel: id.0.clone(), known: known.join(", ") });
        };
        if !plan.seams.iter().any(|seam| seam.datum_panel == *id || seam.other_panel == *id) {
            return Err(AdviseError::NoSeam { panel: id.0.clone() });
        }
        if !panels.contains(&place) {
            panels.push(place);
        }
    }
    if panels.is_empty() { Err(AdviseError::NoPanel) } else { Ok(panels) }
}

fn check_seen(plan: &Plan, panels: &[usize], rows: &[Row]) -> Result<(), AdviseError> {
    let is_unseen = |panel: &&usize| !rows.iter().any(|row| row.sign_and_point(**panel).is_some());
    panels
        .iter()
        .find(is_unseen)
        .map_or(Ok(()), |panel| Err(AdviseError::NothingSeen { panel: plan.panels[*panel].id.0.clone() }))
}

fn verdict_of(work: &Work<'_>, row: &Row) -> Verdict {
    work.seams[row.seam].stations[row.station].value(row.measurand).verdict
}
