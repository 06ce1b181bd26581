//! Which lineups are each other's mirror image, and how the values of one are to be counted on the other's side.
//!
//! In: the plan, and the car's middle plane. Out: [`MirroredLineups`]. Units: mm; frame: Car.
//! Method: pairs as the lineups' own `mirror` says, otherwise by their names (`mirror_pairs`). A shift is counted along the seam's
//! curve and a step from the datum panel, so both change their sign where the curves run against each other, or the
//! datum panels are opposite ones, in the mirror.
//! Does not look at readings.

use nalgebra::Vector3;

use super::changes::datum_to_other;
use super::mirror_pairs::{pairs_of, partner_name};
use super::mirror_plane::MirrorPlane;
use crate::geometry::{Curve, CurveFrame};
use crate::plan::{Lineup, Plan, Side};

/// Cosine of the angle up to which two curves count as mirror images of one another.
const ALIKE: f64 = 0.8;

/// Two lineups of one scan that mirror one another; the first is subtracted from the second.
#[derive(Debug, Clone, PartialEq)]
pub struct MirroredLineups {
    pub first: String,
    pub second: String,
    /// 1 where both seams' curves run the same way in the mirror, −1 where they run against each other; `None` where they do
    /// neither, so that nobody can say which way a shift goes.
    pub runs: Option<f64>,
    /// True where the second's datum panel mirrors the first's other panel.
    pub has_opposite_datum: bool,
}

impl MirroredLineups {
    /// How the second of two lineups is to be counted. `None` where a lineup's seam is not in the plan.
    #[must_use]
    pub fn of(plan: &Plan, plane: &MirrorPlane, [first, second]: [&Lineup; 2]) -> Option<Self> {
        let [one, other] = [crossing(plan, first)?, crossing(plan, second)?];
        let image = |direction: &Vector3<f64>| plane.mirrored_direction(direction);
        let cosine = image(&one.0.along).dot(&other.0.along);
        let [from_datum, to_other] = [&one, &other].map(|(frame, side)| datum_to_other(*side, frame));
        Some(Self {
            first: first.id.clone(),
            second: second.id.clone(),
            runs: (cosine.abs() > ALIKE).then(|| cosine.signum()),
            has_opposite_datum: image(&from_datum).dot(&to_other) < 0.0,
        })
    }
}

fn crossing(plan: &Plan, lineup: &Lineup) -> Option<(CurveFrame, Side)> {
    let seam = plan.seam(&lineup.seam)?;
    Some((seam.curve.frame_at(lineup.at_mm), seam.datum_side))
}

/// The car's middle plane for lineups: as for seams; where no seams are pairs, fitted to those that paired lineups cross.
#[must_use]
pub fn plane_for_lineups(plan: &Plan) -> Option<MirrorPlane> {
    let (seams, _) = pairs_of(plan);
    let mut curves: Vec<[&Curve; 2]> = seams.iter().map(|pair| pair.map(|seam| &seam.curve)).collect();
    if curves.is_empty() {
        for [one, other] in pairs(plan) {
            if let (Some(one), Some(other)) = (plan.seam(&one.seam), plan.seam(&other.seam)) {
                curves.push([&one.curve, &other.curve]);
            }
        }
    }
    MirrorPlane::of(plan.car.as_ref(), &curves)
}

/// All pairs of a plan in the order of their left ones, the left one first.
#[must_use]
pub(super) fn mirrored_lineups(plan: &Plan, plane: &MirrorPlane) -> Vec<MirroredLineups> {
    pairs(plan)
        .into_iter()
        .filter_map(|[one, other]| {
            let places = [crossing(plan, one)?, crossing(plan, other)?];
            let [here_mm, there_mm] = places.map(|(frame, _)| plane.left_of_mm(&frame.origin));
            let pair = if here_mm >= there_mm { [one, other] } else { [other, one] };
            MirroredLineups::of(plan, plane, pair)
        })
        .collect()
}

/// Each pair once.
fn pairs(plan: &Plan) -> Vec<[&Lineup; 2]> {
    let find = |id: &str| plan.lineups.iter().find(|lineup| lineup.id == id);
    let mut pairs: Vec<[&Lineup; 2]> = Vec::new();
    for lineup in &plan.lineups {
        let stated = lineup.mirror.as_deref().and_then(find);
        let Some(partner) = stated.or_else(|| find(&partner_name(&lineup.id)?)) else { continue };
        let is_taken = |one: &Lineup| pairs.iter().flatten().any(|taken| taken.id == one.id);
        if partner.id != lineup.id && !is_taken(lineup) && !is_taken(partner) {
            pairs.push([lineup, partner]);
        }
    }
    pairs
}
