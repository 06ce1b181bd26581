//! What can be set, and how each setting moves its panel.
//!
//! In: the plan's adjusters and the rows (for each panel's middle). Out: [`Knobs`]: settings with limits and steps, the
//! panel's pose for each, and what follows. Units: mm; a turn is given in mm at the panel's lever. Frame: Car.
//! Method: a small move of a stiff panel, d(e) = t + w × (e − pivot), has six freedoms. In the plan's order each way takes
//! one (displacement at its place · direction = setting) until all are taken or no way adds one; the move is the least
//! one that meets them, so that a freedom which nothing holds is not used. A way that adds none follows: where it must be
//! set is found from the move, and its travel limits the move. A bump stop that follows is turned until it just touches.
//! Does not know clearances: a slot's play is not a setting.

use nalgebra::{DMatrix, DVector, Point3, Vector3, Vector6};

use super::rows::Row;
use crate::plan::{AdjusterSetting, Plan};

/// Share of a way that must be new for it to hold the panel; below, it follows.
const HOLDS_SHARE: f64 = 0.05;
/// Limits of a panel for which the plan names no adjuster: enough for any fit that is still called a small move.
const DEFAULT_SHIFT_MM: f64 = 5.0;
const DEFAULT_TURN_RAD: f64 = 0.5 * std::f64::consts::PI / 180.0;
/// Travel that counts as a whole number of steps in spite of rounding, as a share of a step.
const STEP_SLACK: f64 = 1e-6;

/// A panel's middle and the lever that turns radians into mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PanelFrame {
    /// Place in the plan's panels.
    pub panel: usize,
    pub pivot: Point3<f64>,
    pub lever_mm: f64,
}

impl PanelFrame {
    /// The middle of the panel's rows; `None` where it has none.
    pub fn of(panel: usize, rows: &[Row]) -> Option<Self> {
        let points: Vec<&Point3<f64>> =
            rows.iter().filter_map(|row| row.sign_and_point(panel)).map(|(_, point)| point).collect();
        if points.is_empty() {
            return None;
        }
        let count = points.len() as f64;
        let pivot = Point3::from(points.iter().map(|point| point.coords).sum::<Vector3<f64>>() / count);
        let square_mm2 = points.iter().map(|point| (*point - pivot).norm_squared()).sum::<f64>() / count;
        Some(Self { panel, pivot, lever_mm: square_mm2.sqrt().max(1.0) })
    }

    /// How a displacement at a point along a direction depends on the pose.
    pub fn gradient(&self, point: &Point3<f64>, direction: &Vector3<f64>) -> Vector6<f64> {
        let turning = (point - self.pivot).cross(direction) / self.lever_mm;
        Vector6::new(direction.x, direction.y, direction.z, turning.x, turning.y, turning.z)
    }
}

/// Where a setting comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum KnobSource {
    /// A free shift (0, 1, 2 for x, y, z) or turn (3, 4, 5).
    Free { axis: usize },
    /// Places in the plan's adjusters and in the adjuster's ways.
    Way { adjuster: usize, way: usize },
}

/// Something that is set.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Knob {
    /// Place in the list of panel frames.
    pub frame: usize,
    pub source: KnobSource,
    pub lower_mm: f64,
    pub upper_mm: f64,
    pub step_mm: Option<f64>,
    /// The panel's pose for a setting of 1 mm.
    pub pose: Vector6<f64>,
}

/// A way that has no freedom left to hold.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Follower {
    pub frame: usize,
    pub adjuster: usize,
    pub way: usize,
    pub lower_mm: f64,
    pub upper_mm: f64,
    pub step_mm: Option<f64>,
    /// Its setting is this times the pose.
    pub gradient: Vector6<f64>,
}

/// All settings of all panels.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Knobs {
    pub frames: Vec<PanelFrame>,
    pub knobs: Vec<Knob>,
    pub followers: Vec<Follower>,
}

impl Knobs {
    /// The knobs of panels that have rows.
    pub fn of(plan: &Plan, rows: &[Row], panels: &[usize]) -> Self {
        let mut all = Self::default();
        for frame in panels.iter().filter_map(|panel| PanelFrame::of(*panel, rows)) {
            all.add(plan, frame);
        }
        all
    }

    fn add(&mut self, plan: &Plan, frame: PanelFrame) {
        let place = self.frames.len();
        self.frames.push(frame);
        let id = &plan.panels[frame.panel].id;
        let own: Vec<usize> =
            (0..plan.advice.adjusters.len()).filter(|at| plan.advice.adjusters[*at].panel == *id).collect();
        let free = own.first().map_or(Some((DEFAULT_SHIFT_MM, DEFAULT_TURN_RAD)), |at| {
            match plan.advice.adjusters[*at].setting {
                AdjusterSetting::Free { shift_mm, turn_rad } => Some((shift_mm, turn_rad)),
                AdjusterSetting::Ways { .. } => None,
            }
        });
        match free {
            Some((shift_mm, turn_rad)) => self.add_free(place, shift_mm, turn_rad * frame.lever_mm),
            None => self.add_ways(plan, place, &own),
        }
    }

    fn add_free(&mut self, frame: usize, shift_mm: f64, turn_mm: f64) {
        for axis in 0..6 {
            let most_mm = if axis < 3 { shift_mm } else { turn_mm };
            let mut pose = Vector6::zeros();
            pose[axis] = 1.0;
            let source = KnobSource::Free { axis };
            self.knobs.push(Knob {
                frame,
                source,
                lower_mm: -most_mm,
                upper_mm: most_mm,
                step_mm: None,
                pose,
            });
        }
    }

    fn add_ways(&mut self, plan: &Plan, place: usize, own: &[usize]) {
        let frame = self.frames[place];
        let mut held: Vec<Follower> = Vec::new();
        let mut directions: Vec<Vector6<f64>> = Vec::new();
        for adjuster in own {
            let AdjusterSetting::Ways { place: at, ways } = &plan.advice.adjusters[*adjuster].setting else {
                continue;
            };
            for (index, way) in ways.iter().enumerate() {
                let gradient = frame.gradient(at, &way.direction);
                let one = Follower {
                    frame: place,
                    adjuster: *adjuster,
                    way: index,
                    lower_mm: -way.minus_mm,
                    upper_mm: way.plus_mm,
                    step_mm: way.step.step_mm(),
                    gradient,
                };
                match new_direction(&gradient, &directions) {
                    Some(direction) => {
                        directions.push(direction);
                        held.push(one);
                    }
                    None => self.followers.push(one),
                }
            }
        }
        let poses = least_poses(&held);
        for (one, pose) in held.iter().zip(poses) {
            self.knobs.push(Knob {
                frame: place,
                source: KnobSource::Way { adjuster: one.adjuster, way: one.way },
                lower_mm: whole_steps(one.lower_mm, one.step_mm),
                upper_mm: whole_steps(one.upper_mm, one.step_mm),
                step_mm: one.step_mm,
                pose,
            });
        }
    }

    /// The pose of a panel for these settings.
    pub fn pose(&self, frame: usize, settings_mm: &[f64]) -> Vector6<f64> {
        self.knobs
            .iter()
            .zip(settings_mm)
            .filter(|(knob, _)| knob.frame == frame)
            .map(|(knob, setting_mm)| knob.pose * *setting_mm)
            .sum()
    }
}

/// A limit in whole steps, towards zero.
fn whole_steps(limit_mm: f64, step_mm: Option<f64>) -> f64 {
    step_mm.map_or(limit_mm, |step_mm| {
        let count = (limit_mm.abs() / step_mm + STEP_SLACK).floor();
        count * step_mm * limit_mm.signum()
    })
}

/// The part of a gradient that is square to the others, as a unit vector; `None` where little is left.
fn new_direction(gradient: &Vector6<f64>, directions: &[Vector6<f64>]) -> Option<Vector6<f64>> {
    let mut rest = gradient.normalize();
    // Twice, so that what rounding left of the first pass goes too.
    for direction in directions.iter().chain(directions) {
        rest -= direction * direction.dot(&rest);
    }
    (rest.norm() > HOLDS_SHARE).then(|| rest.normalize())
}

/// For each held way the least pose that sets it to 1 mm and leaves the others where they are.
fn least_poses(held: &[Follower]) -> Vec<Vector6<f64>> {
    let rows = DMatrix::from_fn(held.len(), 6, |row, column| held[row].gradient[column]);
    // The ways are independent, so the pseudo-inverse exists; its tolerance is far below HOLDS_SHARE.
    let inverse = rows.pseudo_inverse(1e-9).unwrap_or_else(|_| DMatrix::zeros(6, held.len()));
    (0..held.len())
        .map(|index| {
            let column: DVector<f64> = inverse.column(index).into_owned();
            Vector6::from_fn(|row, _| column[row])
        })
        .collect()
}
