//! What is in a scan: how much, how large, how dense, how noisy, how full of holes, and whether the unit can be right.
//!
//! In: a [`ScanSource`], mm. Out: a [`ScanLook`]. Units: mm.
//! Method: one streaming pass. Extent and counts come from every point; spacing, noise and borders from cubes of space that a
//! hash picks, with all of their points, so that the sample is as dense as the scan and does not depend on the points' order.
//! Memory: at most [`MOST_SAMPLED`] points. Spacing is the median distance to the nearest other point, the same share of each
//! cube asked, so that it speaks of surface and not of points; scans are often denser along seams, so its finest and coarsest
//! tenths are given too. Noise is the median over the sample of the spread about a local plane, with a reach that follows each
//! cube's own spacing; a point is on a border where its neighbours leave a third of the turn free.
//! Does not see noise that is alike over more than some spacings: the true noise can be several times larger.

use std::collections::HashMap;
use std::f64::consts::TAU;

use nalgebra::{Matrix3, Point3, Vector3};

use super::{PointBlock, PointSink, ScanFailure, ScanSource};
use crate::units::LengthUnit;

/// Side of a cube of the sample, mm: some tens of spacings of any scanner for car bodies.
const CUBE_MM: f64 = 24.0;
/// Most points that are kept.
const MOST_SAMPLED: usize = 200_000;
/// Points looked at in each cube.
const ASKED_PER_CUBE: usize = 24;
/// Points asked in all.
const MOST_ASKED: usize = 3000;
/// Reach of a neighbourhood in spacings: some 25 points of an even scan.
const REACH_IN_SPACINGS: f64 = 3.0;
/// Fewest neighbours that make a plane with something left to tell its spread.
const FEWEST_NEIGHBOURS: usize = 6;
/// Share of the turn that a border leaves free.
const BORDER_TURN: f64 = TAU / 3.0;
/// A car, or a good part of one, is between these, mm.
const CAR_MM: [f64; 2] = [300.0, 8000.0];
/// A whole car is between these, mm: from a microcar to a long van.
const WHOLE_CAR_MM: [f64; 2] = [2000.0, 8000.0];

/// What one pass over a scan shows.
#[derive(Debug, Clone, PartialEq)]
pub struct ScanLook {
    pub format: String,
    pub point_count: u64,
    pub triangle_count: u64,
    /// Points that are not three finite numbers.
    pub non_finite_count: u64,
    /// Points with a normal that has a direction.
    pub with_normal_count: u64,
    /// Least and greatest corner, mm.
    pub extent_mm: Option<[[f64; 3]; 2]>,
    pub spacing_mm: Option<f64>,
    /// The spacing that a tenth of the surface goes below, and the one that a tenth exceeds.
    pub spacing_range_mm: Option<[f64; 2]>,
    pub noise_mm: Option<f64>,
    /// Share of points on a border of the scan or of a hole in it.
    pub border_fraction: Option<f64>,
    pub unit_warning: Option<UnitWarning>,
}

/// The scan is too small or too large for a car.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitWarning {
    pub longest_side_mm: f64,
    /// The unit in which it would be the size of a car.
    pub likely: Option<LengthUnit>,
}

/// Looks at a scan whose numbers were taken as being in `unit`.
///
/// # Errors
/// A part of the scan cannot be read.
pub fn look(scan: &dyn ScanSource, unit: LengthUnit) -> Result<ScanLook, ScanFailure> {
    let mut gathered = Gathered::default();
    for part in 0..scan.part_count() {
        scan.read_points(part, &mut gathered)?;
    }
    let facts = scan.facts();
    let finite_count = gathered.point_count - gathered.non_finite_count;
    let extent_mm = (finite_count > 0).then_some([gathered.least_mm, gathered.greatest_mm]);
    let local = gathered.sample.local_figures();
    Ok(ScanLook {
        format: facts.format.clone(),
        point_count: gathered.point_count,
        triangle_count: facts.triangle_count.unwrap_or(0),
        non_finite_count: gathered.non_finite_count,
        with_normal_count: gathered.with_normal_count,
        extent_mm,
        spacing_mm: local.spacing_mm,
        spacing_range_mm: local.spacing_range_mm,
        noise_mm: local.noise_mm,
        border_fraction: local.border_fraction,
        unit_warning: extent_mm.and_then(|extent_mm| unit_warning(&extent_mm, unit)),
    })
}

fn unit_warning([least, greatest]: &[[f64; 3]; 2], unit: LengthUnit) -> Option<UnitWarning> {
    let sides = least.iter().zip(greatest).map(|(least, greatest)| greatest - least);
    let longest_side_mm = sides.fold(0.0, f64::max);
    let is_between = |[low, high]: [f64; 2], value: f64| low <= value && value <= high;
    if is_between(CAR_MM, longest_side_mm) {
        return None;
    }
    let in_other = |other: &LengthUnit| longest_side_mm / unit.mm() * other.mm();
    let fits = |range: [f64; 2]| LengthUnit::ALL.into_iter().find(|other| is_between(range, in_other(other)));
    Some(UnitWarning { longest_side_mm, likely: fits(WHOLE_CAR_MM).or_else(|| fits(CAR_MM)) })
}

/// Figures from every point, and the sample.
struct Gathered {
    point_count: u64,
    non_finite_count: u64,
    with_normal_count: u64,
    least_mm: [f64; 3],
    greatest_mm: [f64; 3],
    sample: Sample,
}

impl Default for Gathered {
    fn default() -> Self {
        Self {
            point_count: 0,
            non_finite_count: 0,
            with_normal_count: 0,
            least_mm: [f64::INFINITY; 3],
            greatest_mm: [f64::NEG_INFINITY; 3],
            sample: Sample::default(),
        }
    }
}

impl PointSink for Gathered {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.point_count += block.len() as u64;
        for index in 0..block.len() {
            self.with_normal_count += u64::from(block.normal(index).is_some());
            let point = block.point(index);
            if !point.iter().all(|value| value.is_finite()) {
                self.non_finite_count += 1;
                continue;
            }
            for axis in 0..3 {
                self.least_mm[axis] = self.least_mm[axis].min(point[axis]);
                self.greatest_mm[axis] = self.greatest_mm[axis].max(point[axis]);
            }
            self.sample.offer(&point);
        }
    }
}

/// All points of some cubes of space.
#[derive(Default)]
struct Sample {
    cubes: HashMap<[i64; 3], Vec<Point3<f64>>>,
    kept: usize,
    /// A cube is kept where this many of the lowest bits of its hash are zero.
    zero_bits: u32,
}

#[derive(Default)]
struct LocalFigures {
    spacing_mm: Option<f64>,
    spacing_range_mm: Option<[f64; 2]>,
    noise_mm: Option<f64>,
    border_fraction: Option<f64>,
}

/// Mixes the numbers of a cube so that every bit depends on all of them (multipliers of splitmix64: Steele, Lea, Flood,
/// OOPSLA 2014).
fn hash(cube: &[i64; 3]) -> u64 {
    cube.iter().fold(0x9e37_79b9_7f4a_7c15, |state, number| {
        let mixed = (state ^ number.cast_unsigned()).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    })
}

impl Sample {
    const fn keeps(&self, hash: u64) -> bool {
        hash.trailing_zeros() >= self.zero_bits
    }

    fn offer(&mut self, point: &Point3<f64>) {
        let cube = [point.x, point.y, point.z].map(|value| (value / CUBE_MM).floor() as i64);
        if !self.keeps(hash(&cube)) {
            return;
        }
        self.cubes.entry(cube).or_default().push(*point);
        self.kept += 1;
        while self.kept > MOST_SAMPLED && self.cubes.len() > 1 {
            self.zero_bits += 1;
            let zero_bits = self.zero_bits;
            self.cubes.retain(|cube, _| hash(cube).trailing_zeros() >= zero_bits);
            self.kept = self.cubes.values().map(Vec::len).sum();
        }
    }

    /// The cubes to ask about, in an order that does not depend on the file's; together some [`MOST_ASKED`] points.
    fn asked(&self) -> Vec<Cube<'_>> {
        let mut cubes: Vec<_> = self.cubes.iter().collect();
        cubes.sort_by_key(|(cube, _)| (hash(cube), **cube));
        cubes.truncate(MOST_ASKED.div_ceil(ASKED_PER_CUBE));
        cubes.into_iter().filter_map(|(_, points)| Cube::of(points)).collect()
    }

    fn local_figures(&self) -> LocalFigures {
        let cubes = self.asked();
        let mut spacings: Vec<f64> = cubes.iter().flat_map(|cube| cube.nearest_mm.iter().copied()).collect();
        spacings.sort_by(f64::total_cmp);
        let shapes: Vec<(f64, bool)> = cubes.iter().flat_map(Cube::shapes).collect();
        let border_count = shapes.iter().filter(|(_, is_border)| *is_border).count();
        let at = |share: f64| spacings.get((share * spacings.len() as f64) as usize).copied();
        LocalFigures {
            spacing_mm: at(0.5),
            spacing_range_mm: at(0.1).zip(at(0.9)).map(|(finest, coarsest)| [finest, coarsest]),
            noise_mm: median(shapes.iter().map(|(spread_mm, _)| *spread_mm).collect()),
            border_fraction: (!shapes.is_empty()).then(|| border_count as f64 / shapes.len() as f64),
        }
    }
}

/// One cube's points, some of them asked for their neighbours.
struct Cube<'a> {
    points: &'a [Point3<f64>],
    asked: Vec<Point3<f64>>,
    /// Of the asked points that have another point in the cube.
    nearest_mm: Vec<f64>,
    reach_mm: f64,
}

impl<'a> Cube<'a> {
    /// `None` where no point has another beside it.
    fn of(points: &'a [Point3<f64>]) -> Option<Self> {
        let count = points.len().min(ASKED_PER_CUBE);
        let mut asked: Vec<_> = (0..count).map(|number| points[spread_index(number, points.len())]).collect();
        let mut nearest_mm: Vec<f64> = asked.iter().filter_map(|point| nearest_mm(point, points)).collect();
        let spacing_mm = median(nearest_mm.clone())?;
        // A cube with little surface in it, such as a corner of the scan, counts for as little.
        let filled = (points.len() as f64 * (spacing_mm / CUBE_MM).powi(2)).min(1.0);
        let heard = ((filled * ASKED_PER_CUBE as f64).ceil() as usize).max(1);
        asked.truncate(heard);
        nearest_mm.truncate(heard);
        Some(Self { points, asked, nearest_mm, reach_mm: REACH_IN_SPACINGS * spacing_mm })
    }

    /// Spread and border of the asked points whose neighbourhood lies in the cube as a whole.
    fn shapes(&self) -> impl Iterator<Item = (f64, bool)> + '_ {
        let inside = |point: &&Point3<f64>| {
            point.iter().all(|value| {
                let within = value - (value / CUBE_MM).floor() * CUBE_MM;
                self.reach_mm <= within && within <= CUBE_MM - self.reach_mm
            })
        };
        self.asked.iter().filter(inside).filter_map(|point| local_shape(point, self.points, self.reach_mm))
    }
}

/// Indices below `len` of which every first few are spread over all of it; equal steps would follow the rows of an even scan
/// (additive recurrence of the golden ratio).
fn spread_index(number: usize, len: usize) -> usize {
    let share = (number as f64 * 0.618_033_988_75 + 0.5).fract();
    ((share * len as f64) as usize).min(len - 1)
}

/// Distance to the nearest other point at another place, mm.
fn nearest_mm(point: &Point3<f64>, others: &[Point3<f64>]) -> Option<f64> {
    let distances_sq =
        others.iter().map(|other| (other - point).norm_squared()).filter(|square| *square > 0.0);
    distances_sq.min_by(f64::total_cmp).map(f64::sqrt)
}

/// Spread about the plane through the neighbours, mm, and whether they leave a wide sector free.
fn local_shape(point: &Point3<f64>, others: &[Point3<f64>], reach_mm: f64) -> Option<(f64, bool)> {
    let offsets: Vec<Vector3<f64>> = others
        .iter()
        .map(|other| other - point)
        .filter(|offset| offset.norm_squared() <= reach_mm * reach_mm)
        .collect();
    if offsets.len() < FEWEST_NEIGHBOURS {
        return None;
    }
    let count = offsets.len() as f64;
    let mean: Vector3<f64> = offsets.iter().sum::<Vector3<f64>>() / count;
    let scatter: Matrix3<f64> =
        offsets.iter().map(|offset| (offset - mean) * (offset - mean).transpose()).sum();
    let axes = scatter.symmetric_eigen();
    let flattest = axes.eigenvalues.imin();
    let spread_mm = (axes.eigenvalues[flattest].max(0.0) / (count - 3.0)).sqrt();
    let first = axes.eigenvectors.column((flattest + 1) % 3);
    let second = axes.eigenvectors.column((flattest + 2) % 3);
    let mut angles: Vec<f64> = offsets
        .iter()
        .filter(|offset| offset.norm_squared() > 0.0)
        .map(|offset| offset.dot(&second).atan2(offset.dot(&first)))
        .collect();
    angles.sort_by(f64::total_cmp);
    let around = angles.last().zip(angles.first()).map_or(TAU, |(last, first)| first + TAU - last);
    let widest = angles.windows(2).map(|pair| pair[1] - pair[0]).fold(around, f64::max);
    Some((spread_mm, widest > BORDER_TURN))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::VecSource;

    /// A flat square of `side` by `side` points, spacing 0.5 mm, with heights ±`step_mm` like a chessboard.
    fn square(side: i32, step_mm: f64) -> Vec<Point3<f64>> {
        let height = |x: i32, y: i32| if (x + y) % 2 == 0 { step_mm } else { -step_mm };
        (0..side)
            .flat_map(|x| {
                (0..side)
                    .map(move |y| Point3::new(f64::from(x) * 0.5, f64::from(y) * 0.5, 8.0 + height(x, y)))
            })
            .collect()
    }

    fn look_at(points: &[Point3<f64>]) -> ScanLook {
        look(&VecSource::from_points(points, None), LengthUnit::Millimetre).unwrap()
    }

    #[test]
    fn spacing_noise_and_extent_are_those_of_the_made_square() {
        let seen = look_at(&square(200, 0.02));
        // Neighbours are 0.5 apart in plan and 0.04 in height: 0.5016.
        assert!((seen.spacing_mm.unwrap() - 0.5_f64.hypot(0.04)).abs() < 1e-9);
        // A chessboard of ±0.02 has a standard deviation of 0.02; the plane takes 3 of 29 degrees of freedom.
        assert!((seen.noise_mm.unwrap() - 0.02).abs() < 0.003, "{:?}", seen.noise_mm);
        assert_eq!(seen.extent_mm, Some([[0.0, 0.0, 7.98], [99.5, 99.5, 8.02]]));
        assert!(seen.border_fraction.unwrap() < 0.05, "{:?}", seen.border_fraction);
    }

    #[test]
    fn a_scan_that_is_finer_along_a_seam_shows_both_spacings_and_its_noise() {
        let fine = square(200, 0.02);
        let coarse = square(60, 0.02);
        // Five times coarser, beside the fine part: two thirds of the surface.
        let beside = coarse.iter().map(|point| Point3::new(200.0 + 5.0 * point.x, 5.0 * point.y, point.z));
        let seen = look_at(&fine.iter().copied().chain(beside).collect::<Vec<_>>());
        let [finest, coarsest] = seen.spacing_range_mm.unwrap();
        assert!((finest - 0.5016).abs() < 1e-3, "{finest}");
        assert!((coarsest - 2.5).abs() < 1e-2, "{coarsest}");
        assert!((seen.noise_mm.unwrap() - 0.02).abs() < 0.003, "{:?}", seen.noise_mm);
    }

    #[test]
    fn the_order_of_the_points_does_not_matter_for_the_spacing() {
        let mut points = square(150, 0.01);
        let forward = look_at(&points);
        points.reverse();
        assert_eq!(forward.spacing_mm, look_at(&points).spacing_mm);
    }

    #[test]
    fn holes_show_as_borders() {
        let holed: Vec<_> =
            square(200, 0.0).into_iter().filter(|point| (point.x % 5.0).hypot(point.y % 5.0) > 2.0).collect();
        let (whole, holed) = (look_at(&square(200, 0.0)), look_at(&holed));
        assert!(holed.border_fraction.unwrap() > whole.border_fraction.unwrap() + 0.02, "{holed:?}");
    }

    #[test]
    fn a_car_of_four_millimetres_is_said_to_be_in_metres() {
        let car = [Point3::origin(), Point3::new(4.2, 1.8, 1.4), Point3::new(f64::NAN, 0.0, 0.0)];
        let seen = look_at(&car);
        assert_eq!(seen.non_finite_count, 1);
        assert_eq!(seen.unit_warning.unwrap().likely, Some(LengthUnit::Metre));
        assert_eq!(look_at(&[Point3::origin(), Point3::new(4200.0, 0.0, 0.0)]).unit_warning, None);
        let long = look_at(&[Point3::origin(), Point3::new(100_000.0, 0.0, 0.0)]);
        assert_eq!(long.unit_warning.unwrap().likely, None);
    }
}
