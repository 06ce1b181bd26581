//! Pairs of hems that face one another across an empty strip: the evidence for a gap.
//!
//! In: hem points and the thinned points round them. Out: beads, small samples of mid-gap at skin height with the
//! direction across, the outward direction and the width. Units: mm.
//! Method: a pair faces when both patches look along the line that joins them, the line runs along the skin and no
//! point lies round its middle; as in the antipodal pairs of grasp planning (Nguyen, IJRR 7(3), 1988), here across air.
//! The skin behind both must lie above the pair (a gap) and not below (a ridge); which is above is kept in the sign of
//! `outward`, so that ridges show as beads that look inwards.
//! Does not join beads to curves.

use nalgebra::{Matrix3, Point3, Vector3};

use super::cells::{Cells, PointCells, Window};
use super::hands::Hands;
use super::hems::{CloseUp, HemPoint};
use super::plane_fit::principal_axis;
use super::settings::TraceSettings;
use super::survey::Survey;

/// Least cosine between a hem's normal and the line to its partner.
const FACING_COSINE: f64 = 0.72;
/// Greatest cosine between the skin's normal and that line.
const ALONG_SKIN_COSINE: f64 = 0.5;
/// Radius round the middle, as a share of the width, that must be empty.
const EMPTY_SHARE: f64 = 0.28;
/// Most gaps are no wider than this.
const OFTEN_MM: f64 = 6.0;
/// Edge of the boxes into which pairs are gathered to beads.
const BEAD_MM: f64 = 2.0;
/// Fewest pairs in a bead.
const LEAST_PAIRS: u32 = 2;
/// Distances behind a hem point at which the skin is looked up.
const SKIN_STEPS_MM: [f64; 3] = [5.0, 8.0, 11.0];

/// A small sample of a gap.
#[derive(Debug, Clone, Copy)]
pub struct Bead {
    /// Middle of the gap at the height of the skin.
    pub point: Point3<f64>,
    /// Along the gap, unit, either sign.
    pub along: Vector3<f64>,
    /// Away from the side on which the hems lie, unit.
    pub outward: Vector3<f64>,
    pub width_mm: f64,
    pub pair_count: u32,
}

struct Pair {
    middle: Point3<f64>,
    across: Vector3<f64>,
    outward: Vector3<f64>,
    width_mm: f64,
}

/// Finds beads.
#[must_use]
pub fn find_beads(
    close_up: &CloseUp,
    survey: &Survey,
    settings: &TraceSettings,
    hands: &Hands<'_>,
) -> Vec<Bead> {
    let hem_points: Vec<Point3<f64>> = close_up.hems.iter().map(|hem| hem.point).collect();
    let grid = PointCells::of(&hem_points, settings.gap_mm[1] / 2.0);
    let pairs = hands.in_runs(close_up.hems.len(), |run| {
        let mut windows = [Window::default(), Window::default()];
        let pair = |index: usize| {
            let hem = &close_up.hems[index];
            let partner = nearest_facing(index, &close_up.hems, (&grid, &mut windows[0]), settings)?;
            pair_of(hem, &close_up.hems[partner], (close_up, &mut windows[1]), survey)
        };
        run.filter_map(pair).collect()
    });
    gather(&pairs)
}

/// The nearest hem point that faces one: first where most gaps end, then as far as gaps go.
fn nearest_facing(
    index: usize,
    hems: &[HemPoint],
    (grid, window): (&PointCells, &mut Window),
    settings: &TraceSettings,
) -> Option<usize> {
    let [narrowest_mm, widest_mm] = settings.gap_mm;
    let mut within = |widest_mm| facing_within(index, hems, (grid, window), [narrowest_mm, widest_mm]);
    within(widest_mm.min(OFTEN_MM)).or_else(|| within(widest_mm))
}

fn facing_within(
    index: usize,
    hems: &[HemPoint],
    (grid, window): (&PointCells, &mut Window),
    [narrowest_mm, widest_mm]: [f64; 2],
) -> Option<usize> {
    let hem = &hems[index];
    let mut best_sq_mm2 = widest_mm * widest_mm;
    let mut best = None;
    grid.near_from(window, &hem.point, widest_mm, |other| {
        let step = hems[other].point - hem.point;
        let length_sq_mm2 = step.norm_squared();
        if other == index || length_sq_mm2 >= best_sq_mm2 || length_sq_mm2 < narrowest_mm * narrowest_mm {
            return;
        }
        let facing_mm = FACING_COSINE * length_sq_mm2.sqrt();
        let faces =
            hem.normal.dot(&step).abs() > facing_mm && hems[other].normal.dot(&step).abs() > facing_mm;
        let level = hem.skin.dot(&step).abs() < ALONG_SKIN_COSINE * length_sq_mm2.sqrt();
        if faces && level {
            best_sq_mm2 = length_sq_mm2;
            best = Some(other);
        }
    });
    best
}

fn pair_of(
    hem: &HemPoint,
    other: &HemPoint,
    (close_up, window): (&CloseUp, &mut Window),
    survey: &Survey,
) -> Option<Pair> {
    let step = other.point - hem.point;
    let width_mm = step.norm();
    let middle = hem.point + step * 0.5;
    let radius_mm = EMPTY_SHARE * width_mm;
    let mut is_empty = true;
    close_up.grid.near_from(window, &middle, radius_mm, |index| {
        is_empty &= (close_up.points[index] - middle).norm_squared() > radius_mm * radius_mm;
    });
    if !is_empty {
        return None;
    }
    let across = step / width_mm;
    let near_skin = skin_height_mm(hem, &-across, survey)?;
    let far_skin = skin_height_mm(other, &across, survey)?;
    let far_sign = if hem.skin.dot(&other.skin) < 0.0 { -1.0 } else { 1.0 };
    let height_mm = 0.5 * (near_skin + far_sign * far_skin);
    let same_side = near_skin * far_skin * far_sign > 0.0;
    if !same_side && height_mm.abs() < 0.1 {
        return None;
    }
    let both = hem.skin + other.skin * far_sign;
    let level = (both - across * both.dot(&across)).try_normalize(1e-6)?;
    let outward = level * height_mm.signum();
    Some(Pair { middle: middle + level * height_mm, across, outward, width_mm })
}

/// Height of the skin behind a hem point over that point, along the hem's skin normal.
fn skin_height_mm(hem: &HemPoint, away: &Vector3<f64>, survey: &Survey) -> Option<f64> {
    let level = (away - hem.skin * away.dot(&hem.skin)).try_normalize(1e-6)?;
    SKIN_STEPS_MM.iter().find_map(|step_mm| {
        let place = hem.point + level * *step_mm;
        let (cell, distance_mm) = survey
            .cells_round(&place)
            .filter(|cell| survey.data[*cell].is_skin)
            .map(|cell| (cell, (survey.data[cell].centre - place).norm()))
            .min_by(|left, right| left.1.total_cmp(&right.1))?;
        if distance_mm > 5.0 {
            return None;
        }
        // The skin cell's own plane, continued to the hem point.
        let data = &survey.data[cell];
        let plane = data.plane?;
        let slope = plane.normal.dot(&hem.skin);
        (slope.abs() > 0.5).then(|| plane.normal.dot(&(data.centre - hem.point)) / slope)
    })
}

fn gather(pairs: &[Pair]) -> Vec<Bead> {
    let mut cells = Cells::new(BEAD_MM);
    let mut sums: Vec<BeadSum> = Vec::new();
    for pair in pairs {
        let Some(address) = cells.address_of(&pair.middle) else { continue };
        let cell = cells.number_or_new(address) as usize;
        if cell == sums.len() {
            sums.push(BeadSum::default());
        }
        sums[cell].add(pair);
    }
    sums.iter().filter_map(BeadSum::bead).collect()
}

#[derive(Default)]
struct BeadSum {
    count: u32,
    point: Vector3<f64>,
    outward: Vector3<f64>,
    across: Matrix3<f64>,
    width_mm: f64,
}

impl BeadSum {
    fn add(&mut self, pair: &Pair) {
        self.count += 1;
        self.point += pair.middle.coords;
        self.outward += pair.outward;
        self.across += pair.across * pair.across.transpose();
        self.width_mm += pair.width_mm;
    }

    fn bead(&self) -> Option<Bead> {
        if self.count < LEAST_PAIRS {
            return None;
        }
        let count = f64::from(self.count);
        let outward = self.outward.try_normalize(0.3 * count)?;
        let along = outward.cross(&principal_axis(&self.across)?).try_normalize(1e-6)?;
        Some(Bead {
            point: Point3::from(self.point / count),
            along,
            outward,
            width_mm: self.width_mm / count,
            pair_count: self.count,
        })
    }
}
