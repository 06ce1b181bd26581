//! Second look: the points that lie on hems, thinned, with the direction of their own small patch of surface.
//!
//! In: a scan and its survey. Out: thinned points of the interesting cells, and which of them turn away from the skin.
//! Units: mm. Shape: one more streaming pass over the scan.
//! Method: the plane through a point's neighbours at hem scale against the skin's direction at panel scale, the
//! two-scale comparison of Pauly, Keiser, Gross (Computer Graphics Forum 22(3), 2003).
//! Does not decide what is a gap.

use nalgebra::{Point3, Vector3};

use super::blocks::{BlockAddress, BlockPoint, STEPS_PER_MM, by_blocks};
use super::cells::{PointCells, Window};
use super::hands::{Hands, Look};
use super::plane_fit::Moments;
use super::settings::TraceError;
use super::survey::{CELL_MM, Survey, cell_address, median};
use crate::scan::{ScanFailure, ScanSource, Sieve};

/// Thinning, mm.
const THIN_MM: f64 = 0.5;
/// Cells of the largest sieve: a bitmap of 32 MB.
const MOST_SIEVE_CELLS: usize = 1 << 28;
/// Balls of this radius are counted out for the spacing at the edges, at so many places.
const SPACING_BALL_MM: f64 = 2.0;
const SPACING_PLACES: usize = 20_000;
/// Radius of the patch whose plane is the narrow normal, in spacings of the thinned points.
const PATCH_STEPS: f64 = 2.2;
/// Cosine of the turn from the skin at which a point counts as part of a hem (35°).
const HEM_COSINE: f64 = 0.82;
/// Fewer neighbours than this give no direction.
const LEAST_NEIGHBOURS: u32 = 5;

/// A thinned point on a hem or flange.
#[derive(Debug, Clone, Copy)]
pub struct HemPoint {
    pub point: Point3<f64>,
    /// Across its own patch, unit, either sign.
    pub normal: Vector3<f64>,
    /// Across the skin near by, unit, either sign.
    pub skin: Vector3<f64>,
}

/// The second look's result.
#[derive(Debug, Clone)]
pub struct CloseUp {
    /// All thinned points of the interesting cells, hem or not.
    pub points: Vec<Point3<f64>>,
    pub grid: PointCells,
    pub hems: Vec<HemPoint>,
    /// Between neighbouring points of the scan where hems may be; `None` where nothing turns away.
    pub spacing_mm: Option<f64>,
}

/// Steps along a thinned cell's edge, and thinned cells along a survey cell's, as powers of two.
const THIN_BITS: u32 = 10;
const THIN_IN_CELL_BITS: u32 = 3;
/// Points of one thinned cell that are summed; the sums have 32 bits.
const MOST_SUMMED: u32 = 1 << 21;

/// The points of a thinned cell, in steps from its corner.
#[derive(Debug, Clone, Copy)]
struct ThinSum {
    /// Place of the survey cell in the block, then of the thinned cell in that.
    key: u32,
    sum: [u32; 3],
    count: u32,
}

/// A point by its thinned cell and its place in it, in one number that sorts.
fn keyed(point: &BlockPoint) -> u64 {
    let bits = |shift: u32, count: u32| {
        point
            .place
            .iter()
            .fold(0, |all, steps| (all << count) | (u64::from(*steps) >> shift & ((1 << count) - 1)))
    };
    let cell = bits(THIN_BITS + THIN_IN_CELL_BITS, THIN_IN_CELL_BITS);
    let thin = bits(THIN_BITS, THIN_IN_CELL_BITS);
    (cell << (3 * THIN_IN_CELL_BITS) | thin) << (3 * THIN_BITS) | bits(0, THIN_BITS)
}

/// Adds points that are sorted to sums that are.
fn add_sorted(sums: &mut Vec<ThinSum>, sorted: &[u64]) {
    let earlier = std::mem::take(sums);
    let mut earlier = earlier.into_iter().peekable();
    for run in sorted.chunk_by(|one, two| one >> (3 * THIN_BITS) == two >> (3 * THIN_BITS)) {
        let key = (run[0] >> (3 * THIN_BITS)) as u32;
        while let Some(before) = earlier.next_if(|sum| sum.key < key) {
            sums.push(before);
        }
        let mut all = earlier.next_if(|sum| sum.key == key).unwrap_or(ThinSum { key, sum: [0; 3], count: 0 });
        for point in run.iter().take(MOST_SUMMED.saturating_sub(all.count) as usize) {
            for (axis, total) in (0..).zip(&mut all.sum) {
                *total += (point >> ((2 - axis) * THIN_BITS)) as u32 & ((1 << THIN_BITS) - 1);
            }
            all.count += 1;
        }
        sums.push(all);
    }
    sums.extend(earlier);
}

impl ThinSum {
    /// The middle of the points.
    fn point(&self, block: BlockAddress) -> Point3<f64> {
        let cell = cell_address(block, (self.key >> (3 * THIN_IN_CELL_BITS)) as u16);
        let place = |axis: usize| {
            let shift = (2 - axis as u32) * THIN_IN_CELL_BITS;
            let thin = self.key >> shift & ((1 << THIN_IN_CELL_BITS) - 1);
            let steps = f64::from(self.sum[axis]) / f64::from(self.count) + 0.5;
            cell[axis] as f64 * CELL_MM + f64::from(thin) * THIN_MM + steps / STEPS_PER_MM
        };
        Point3::new(place(0), place(1), place(2))
    }
}

/// Thinned points of the wanted cells, and how many points of the scan each stands for.
fn thin(
    source: &dyn ScanSource,
    survey: &Survey,
    hands: &Hands<'_>,
) -> Result<(Vec<Point3<f64>>, Vec<u32>), ScanFailure> {
    let sieve = sieve_of(survey);
    let add = |block: BlockAddress, sums: &mut Vec<ThinSum>, points: &[&[BlockPoint]]| {
        let mut is_wanted = [None; 1 << (3 * THIN_IN_CELL_BITS)];
        let mut sorted: Vec<u64> = points.iter().copied().flatten().map(keyed).collect();
        sorted.retain(|point| {
            let cell = (point >> (3 * (THIN_BITS + THIN_IN_CELL_BITS))) as u16;
            *is_wanted[usize::from(cell)].get_or_insert_with(|| {
                survey.cells.number(cell_address(block, cell)).is_some_and(|cell| survey.wanted[cell])
            })
        });
        sorted.sort_unstable();
        add_sorted(sums, &sorted);
    };
    let blocks = by_blocks(source, (Look::CloseUp, hands), sieve.as_ref(), add)?;
    let sums = || blocks.iter().flat_map(|(block, sums)| sums.iter().map(|sum| (*block, sum)));
    let points = sums().map(|(block, sum)| sum.point(block)).collect();
    Ok((points, sums().map(|(_, sum)| sum.count).collect()))
}

/// The survey's wanted cells as readers understand them; `None` for a scan so wide that the bitmap would be large.
fn sieve_of(survey: &Survey) -> Option<Sieve> {
    let wanted =
        || (0..survey.data.len()).filter(|cell| survey.wanted[*cell]).map(|cell| survey.cells.address(cell));
    let first = wanted().next()?;
    let (low, high) = wanted().fold((first, first), |(low, high), at| {
        ([0, 1, 2].map(|axis| low[axis].min(at[axis])), [0, 1, 2].map(|axis| high[axis].max(at[axis])))
    });
    let counts = [0, 1, 2].map(|axis| (high[axis] - low[axis] + 1) as usize);
    if counts.iter().product::<usize>() > MOST_SIEVE_CELLS {
        return None;
    }
    let mut sieve = Sieve::new(low.map(|step| step as f64 * CELL_MM), CELL_MM, counts);
    for at in wanted() {
        sieve.mark(sieve.number([0, 1, 2].map(|axis| (at[axis] - low[axis]) as usize)));
    }
    Some(sieve)
}

/// Takes the second look.
///
/// # Errors
/// The scan cannot be read.
pub fn look_closer(
    source: &dyn ScanSource,
    survey: &Survey,
    hands: &Hands<'_>,
) -> Result<CloseUp, TraceError> {
    let (points, counts) = thin(source, survey, hands)?;
    let grid = PointCells::of(&points, PATCH_STEPS * THIN_MM);
    let spacing_mm = edge_spacing_mm(&points, &grid, &counts, hands);
    let radius_mm = PATCH_STEPS * spacing_mm.unwrap_or(THIN_MM).max(THIN_MM);
    let hems = hands.in_runs(points.len(), |run| {
        let mut window = Window::default();
        run.filter_map(|index| hem_point(&points[index], &points, (&grid, &mut window), radius_mm, survey))
            .collect()
    });
    Ok(CloseUp { points, grid, hems, spacing_mm })
}

/// Median over some of the thinned points of the root of a ball's section over the scan's points in it.
fn edge_spacing_mm(
    points: &[Point3<f64>],
    grid: &PointCells,
    counts: &[u32],
    hands: &Hands<'_>,
) -> Option<f64> {
    let step = points.len().div_ceil(SPACING_PLACES).max(1);
    let spacing_mm = |place: usize| {
        let point = &points[place * step];
        let mut count = 0_u32;
        grid.near(point, SPACING_BALL_MM, |index| {
            let is_inside = (points[index] - point).norm_squared() < SPACING_BALL_MM * SPACING_BALL_MM;
            count += if is_inside { counts[index] } else { 0 };
        });
        SPACING_BALL_MM * (std::f64::consts::PI / f64::from(count.max(1))).sqrt()
    };
    let mut spacings_mm = hands.in_runs(points.len().div_ceil(step), |run| run.map(spacing_mm).collect());
    median(&mut spacings_mm)
}

fn hem_point(
    point: &Point3<f64>,
    points: &[Point3<f64>],
    (grid, window): (&PointCells, &mut Window),
    radius_mm: f64,
    survey: &Survey,
) -> Option<HemPoint> {
    let skin = survey.data[survey.cells.number_at(point)?].skin_normal?;
    let mut patch = Moments::default();
    grid.near_from(window, point, radius_mm, |index| {
        let offset = points[index] - point;
        if offset.norm_squared() < radius_mm * radius_mm {
            patch.add(&offset);
        }
    });
    if patch.count < LEAST_NEIGHBOURS {
        return None;
    }
    let normal = patch.plane()?.normal;
    (normal.dot(&skin).abs() < HEM_COSINE).then_some(HemPoint { point: *point, normal, skin })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinned_points_are_the_middles_of_small_cells_however_the_points_come() {
        let block: BlockAddress = [-1, 0, 2];
        let place = |index: u32| [index * 7919, index * 104_729, index * 1_299_709].map(|steps| steps as u16);
        let points: Vec<BlockPoint> =
            (0..5000).map(|index| BlockPoint { place: place(index % 1500), normal: [0; 3] }).collect();
        let mut sums = Vec::new();
        for some in points.chunks(1700) {
            let mut sorted: Vec<u64> = some.iter().map(keyed).collect();
            sorted.sort_unstable();
            add_sorted(&mut sums, &sorted);
        }
        let mut expected = std::collections::BTreeMap::<[i64; 3], (Vector3<f64>, u32)>::new();
        for point in &points {
            let at =
                |axis: usize| block[axis] as f64 * 32.0 + (f64::from(point.place[axis]) + 0.5) / STEPS_PER_MM;
            let place = Vector3::new(at(0), at(1), at(2));
            let cell = [0, 1, 2].map(|axis| (place[axis] / THIN_MM).floor() as i64);
            let (sum, count) = expected.entry(cell).or_insert((Vector3::zeros(), 0));
            *sum += place;
            *count += 1;
        }
        assert_eq!(sums.len(), expected.len());
        let total: u32 = sums.iter().map(|sum| sum.count).sum();
        assert_eq!(total, 5000);
        for sum in &sums {
            let point = sum.point(block);
            let cell = [0, 1, 2].map(|axis| (point[axis] / THIN_MM).floor() as i64);
            let (place, count) = expected[&cell];
            assert_eq!(count, sum.count);
            assert!((point.coords - place / f64::from(count)).norm() < 1e-9);
        }
    }
}
