//! Second look: the points that lie on hems, thinned, with the direction of their own small patch of surface.
//!
//! In: a scan and its survey. Out: thinned points of the interesting cells, and which of them turn away from the skin.
//! Units: mm. Shape: one more streaming pass over the scan.
//! Method: the plane through a point's neighbours at hem scale against the skin's direction at panel scale, the
//! two-scale comparison of Pauly, Keiser, Gross (Computer Graphics Forum 22(3), 2003).
//! Does not decide what is a gap.

use nalgebra::{Point3, Vector3};

use super::cells::{Cells, PointCells};
use super::hands::{Hands, Look};
use super::plane_fit::Moments;
use super::settings::TraceError;
use super::survey::{CELL_MM, Survey, median};
use crate::scan::{PointBlock, PointSink, ScanSource, Sieve};

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

struct Thinner<'a> {
    survey: &'a Survey,
    sieve: Option<&'a Sieve>,
    cells: Cells,
    sums: Vec<(Vector3<f64>, u32)>,
    last: Option<([i64; 3], bool)>,
}

impl Thinner<'_> {
    /// Takes over what a later part of the scan gave.
    fn add(&mut self, part: Self) {
        if self.sums.is_empty() {
            *self = part;
            return;
        }
        for (other, (sum, count)) in part.sums.iter().enumerate() {
            let cell = self.cells.number_or_new(part.cells.address(other)) as usize;
            self.sums.resize(self.sums.len().max(cell + 1), (Vector3::zeros(), 0));
            self.sums[cell].0 += sum;
            self.sums[cell].1 += count;
        }
    }
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

impl PointSink for Thinner<'_> {
    fn sieve(&self) -> Option<&Sieve> {
        self.sieve
    }

    fn wants_normals(&self) -> bool {
        false
    }

    fn take(&mut self, block: &PointBlock<'_>) {
        for index in 0..block.len() {
            let point = block.point(index);
            let Some(coarse) = self.survey.cells.address_of(&point) else { continue };
            let wanted = match self.last {
                Some((address, wanted)) if address == coarse => wanted,
                _ => self.survey.cells.number(coarse).is_some_and(|cell| self.survey.wanted[cell]),
            };
            self.last = Some((coarse, wanted));
            if !wanted {
                continue;
            }
            let Some(address) = self.cells.address_of(&point) else { continue };
            let cell = self.cells.number_or_new(address) as usize;
            if cell == self.sums.len() {
                self.sums.push((Vector3::zeros(), 0));
            }
            self.sums[cell].0 += point.coords;
            self.sums[cell].1 += 1;
        }
    }
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
    let sieve = sieve_of(survey);
    let new = || Thinner {
        survey,
        sieve: sieve.as_ref(),
        cells: Cells::new(THIN_MM),
        sums: Vec::new(),
        last: None,
    };
    let read = |part| {
        let mut thinner = new();
        source.read_points(part, &mut thinner).map(|()| thinner)
    };
    let thinner = hands.read_parts((Look::CloseUp, source.part_count()), new(), read, Thinner::add)?;
    let points: Vec<Point3<f64>> =
        thinner.sums.iter().map(|(sum, count)| Point3::from(sum / f64::from(*count))).collect();
    let counts: Vec<u32> = thinner.sums.iter().map(|(_, count)| *count).collect();
    drop(thinner);
    let spacing_mm = edge_spacing_mm(&points, &counts);
    let radius_mm = PATCH_STEPS * spacing_mm.unwrap_or(THIN_MM).max(THIN_MM);
    let grid = PointCells::of(&points, radius_mm);
    let hem = |index: usize| hem_point(&points[index], &points, &grid, radius_mm, survey);
    let hems = hands.in_runs(points.len(), |run| run.filter_map(hem).collect());
    Ok(CloseUp { points, grid, hems, spacing_mm })
}

/// Median over some of the thinned points of the root of a ball's section over the scan's points in it.
fn edge_spacing_mm(points: &[Point3<f64>], counts: &[u32]) -> Option<f64> {
    let grid = PointCells::of(points, SPACING_BALL_MM);
    let step = points.len().div_ceil(SPACING_PLACES).max(1);
    let mut spacings_mm: Vec<f64> = points
        .iter()
        .step_by(step)
        .map(|point| {
            let mut count = 0_u32;
            grid.near(point, SPACING_BALL_MM, |index| {
                let is_inside = (points[index] - point).norm_squared() < SPACING_BALL_MM * SPACING_BALL_MM;
                count += if is_inside { counts[index] } else { 0 };
            });
            SPACING_BALL_MM * (std::f64::consts::PI / f64::from(count.max(1))).sqrt()
        })
        .collect();
    median(&mut spacings_mm)
}

fn hem_point(
    point: &Point3<f64>,
    points: &[Point3<f64>],
    grid: &PointCells,
    radius_mm: f64,
    survey: &Survey,
) -> Option<HemPoint> {
    let skin = survey.data[survey.cells.number_at(point)?].skin_normal?;
    let mut patch = Moments::default();
    grid.near(point, radius_mm, |index| {
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
