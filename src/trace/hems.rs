//! Second look: the points that lie on hems, thinned, with the direction of their own small patch of surface.
//!
//! In: a scan and its survey. Out: thinned points of the interesting cells, and which of them turn away from the skin.
//! Units: mm. Shape: one more streaming pass over the scan.
//! Method: the plane through a point's neighbours at hem scale against the skin's direction at panel scale, the
//! two-scale comparison of Pauly, Keiser, Gross (Computer Graphics Forum 22(3), 2003).
//! Does not decide what is a gap.

use nalgebra::{Point3, Vector3};

use super::cells::{Cells, PointCells};
use super::plane_fit::Moments;
use super::settings::TraceError;
use super::survey::Survey;
use crate::scan::{PointBlock, PointSink, ScanSource};

/// Finest thinning, mm; coarser where the scan is.
const THIN_MM: f64 = 0.5;
/// Radius of the patch whose plane is the narrow normal, in thinning steps.
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
}

struct Thinner<'a> {
    survey: &'a Survey,
    cells: Cells,
    sums: Vec<(Vector3<f64>, u32)>,
    last: Option<([i64; 3], bool)>,
}

impl PointSink for Thinner<'_> {
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
pub fn look_closer(source: &dyn ScanSource, survey: &Survey) -> Result<CloseUp, TraceError> {
    let thin_mm = THIN_MM.max(survey.spacing_mm);
    let mut thinner = Thinner { survey, cells: Cells::new(thin_mm), sums: Vec::new(), last: None };
    for part in 0..source.part_count() {
        source.read_points(part, &mut thinner)?;
    }
    let points: Vec<Point3<f64>> =
        thinner.sums.iter().map(|(sum, count)| Point3::from(sum / f64::from(*count))).collect();
    drop(thinner);
    let radius_mm = PATCH_STEPS * thin_mm;
    let grid = PointCells::of(&points, radius_mm);
    let hems =
        points.iter().filter_map(|point| hem_point(point, &points, &grid, radius_mm, survey)).collect();
    Ok(CloseUp { points, grid, hems })
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
