//! First look at a scan: flat cells, skin directions, point spacing, and where a second look is worth it.
//!
//! In: a scan (mm). Out: a [`Survey`]: cells of 4 mm with the plane through their points, the direction of the skin
//! round each, and a mark on cells that may hold a hem. Shape: one streaming pass, memory grows with the surface.
//! Method: principal component planes per cell (Hoppe et al., SIGGRAPH 1992); surface variation tells smooth cells
//! from rough (Pauly, Keiser, Gross, Computer Graphics Forum 22(3), 2003); the skin direction is the principal axis of
//! the smooth cells' normals near by, taken twice so that flange walls drop out.
//! Does not know inside from outside: normals have either sign.

use nalgebra::{Matrix3, Point3, Vector3};

use super::cells::Cells;
use super::hands::{Hands, Look};
use super::plane_fit::{Moments, PlaneFit, principal_axis};
use super::settings::TraceError;
use crate::scan::{PointBlock, PointSink, ScanSource};

/// Edge of a survey cell, mm: a few points each at the sparsest scan that is accepted, finer than any panel.
pub const CELL_MM: f64 = 4.0;
/// Edge of a block in which skin directions are gathered; with its neighbours a window of three blocks.
const BLOCK_MM: f64 = 8.0;
/// Edge of a block in which sparse cells lend one another a direction: holds nine points at 6 mm.
const SPARSE_BLOCK_MM: f64 = 20.0;
/// Fewer points than this make no plane worth having.
const LEAST_POINTS: u32 = 5;
/// A cell is rough when its spread off the plane passes this many times the median spread, plus [`ROUGH_EXTRA_MM`].
const ROUGH_FACTOR: f64 = 2.5;
const ROUGH_EXTRA_MM: f64 = 0.04;
/// Cosine of the largest turn from the skin direction at which a flat cell still belongs to the skin (40°).
const SKIN_COSINE: f64 = 0.766;
/// Cosine of the turn from which a flat cell may be part of a hem (18°).
const HEM_CELL_COSINE: f64 = 0.95;
/// Sizes between which something is a car or part of one, mm.
const PLAUSIBLE_SIZE_MM: [f64; 2] = [50.0, 60_000.0];

/// One cell of the survey.
#[derive(Debug, Clone, Copy)]
pub struct SurveyCell {
    pub centre: Point3<f64>,
    pub count: u32,
    pub plane: Option<PlaneFit>,
    /// Lies flat and along the skin.
    pub is_skin: bool,
    /// Direction of the skin round it, unit, either sign; `None` where no smooth cell is near.
    pub skin_normal: Option<Vector3<f64>>,
}

/// What the first pass learned.
#[derive(Debug, Clone)]
pub struct Survey {
    pub cells: Cells,
    pub data: Vec<SurveyCell>,
    /// True for cells whose points are wanted in the second pass; by cell number.
    pub wanted: Vec<bool>,
    /// Between neighbouring points of the whole scan; at the edges points may lie closer.
    pub spacing_mm: f64,
    /// Spread of points off the plane of smooth cells, mm.
    pub roughness_mm: f64,
    pub point_count: u64,
    /// Sum of the source's own normals in each cell, empty where it has none: tells outside from inside.
    pub given_normals: Vec<Vector3<f64>>,
}

struct Counter {
    cells: Cells,
    moments: Vec<Moments>,
    normals: Vec<Vector3<f64>>,
    last: Option<([i64; 3], usize)>,
    point_count: u64,
}

impl Counter {
    fn new() -> Self {
        Self {
            cells: Cells::new(CELL_MM),
            moments: Vec::new(),
            normals: Vec::new(),
            last: None,
            point_count: 0,
        }
    }

    /// Takes over what a later part of the scan gave.
    fn add(&mut self, part: Self) {
        if self.point_count == 0 {
            *self = part;
            return;
        }
        self.point_count += part.point_count;
        for (other, moments) in part.moments.iter().enumerate() {
            let cell = self.cells.number_or_new(part.cells.address(other)) as usize;
            self.moments.resize(self.moments.len().max(cell + 1), Moments::default());
            self.moments[cell].merge(moments);
            if let Some(normal) = part.normals.get(other) {
                self.normals.resize(self.moments.len().max(self.normals.len()), Vector3::zeros());
                self.normals[cell] += normal;
            }
        }
    }
}

impl PointSink for Counter {
    fn take(&mut self, block: &PointBlock<'_>) {
        for index in 0..block.len() {
            let point = block.point(index);
            let Some(address) = self.cells.address_of(&point) else { continue };
            let cell = match self.last {
                Some((known, cell)) if known == address => cell,
                _ => self.cells.number_or_new(address) as usize,
            };
            self.last = Some((address, cell));
            if cell == self.moments.len() {
                self.moments.push(Moments::default());
            }
            self.moments[cell].add(&(point - self.cells.corner(cell)));
            self.point_count += 1;
            if let Some(normal) = block.normal(index) {
                self.normals.resize(self.moments.len().max(self.normals.len()), Vector3::zeros());
                self.normals[cell] += normal;
            }
        }
    }
}

/// Takes the first look.
///
/// # Errors
/// The scan cannot be read, has no points, or has a size that no car has.
pub fn survey(source: &dyn ScanSource, hands: &Hands<'_>) -> Result<Survey, TraceError> {
    let read = |part| {
        let mut counter = Counter::new();
        source.read_points(part, &mut counter).map(|()| counter)
    };
    let parts = (Look::Survey, source.part_count());
    let counter = hands.read_parts(parts, Counter::new(), read, Counter::add)?;
    check_size(&counter)?;
    let spacing_mm = point_spacing_mm(&counter);
    Ok(describe_cells(counter, spacing_mm))
}

fn check_size(counter: &Counter) -> Result<(), TraceError> {
    if counter.point_count == 0 {
        return Err(TraceError::Empty);
    }
    let mut low = Vector3::repeat(f64::INFINITY);
    let mut high = Vector3::repeat(f64::NEG_INFINITY);
    for (cell, moments) in counter.moments.iter().enumerate() {
        let centre = moments.centre(&counter.cells.corner(cell)).coords;
        low = low.inf(&centre);
        high = high.sup(&centre);
    }
    let size_mm = if counter.moments.len() < 2 { CELL_MM } else { (high - low).norm() };
    let advice = if size_mm < PLAUSIBLE_SIZE_MM[0] {
        "were metres or inches read as millimetres?"
    } else if size_mm > PLAUSIBLE_SIZE_MM[1] {
        "is its unit smaller than the one it was read with?"
    } else {
        return Ok(());
    };
    Err(TraceError::WrongUnit { size_mm, advice })
}

/// Median over well-filled cells of the square root of plane area over points.
fn point_spacing_mm(counter: &Counter) -> f64 {
    let mut spacings: Vec<f64> = Vec::with_capacity(counter.moments.len());
    for moments in &counter.moments {
        if moments.count < 3 {
            spacings.push(CELL_MM / f64::from(moments.count).sqrt());
            continue;
        }
        // A rectangle with sides a and b has variances a²/12 and b²/12.
        let [_, middle, largest] = moments.plane().map_or([0.0; 3], |plane| plane.variance_mm2);
        let area_mm2 = 12.0 * (middle * largest).sqrt();
        spacings.push((area_mm2 / f64::from(moments.count)).sqrt().max(1e-6));
    }
    median(&mut spacings).unwrap_or(CELL_MM)
}

fn describe_cells(counter: Counter, spacing_mm: f64) -> Survey {
    let mut data: Vec<SurveyCell> = counter
        .moments
        .iter()
        .enumerate()
        .map(|(cell, moments)| SurveyCell {
            centre: moments.centre(&counter.cells.corner(cell)),
            count: moments.count,
            plane: if moments.count < LEAST_POINTS { None } else { moments.plane() },
            is_skin: false,
            skin_normal: None,
        })
        .collect();
    let mut spreads: Vec<f64> = data.iter().filter_map(spread_mm).collect();
    let roughness_mm = median(&mut spreads).unwrap_or(0.0);
    let limit_mm = ROUGH_FACTOR * roughness_mm + ROUGH_EXTRA_MM;
    let is_flat: Vec<bool> =
        data.iter().map(|cell| spread_mm(cell).is_some_and(|spread| spread < limit_mm)).collect();
    set_skin_directions(&mut data, &is_flat);
    let wanted = wanted_cells(&counter.cells, &data);
    let mut given_normals = counter.normals;
    if !given_normals.is_empty() {
        given_normals.resize(data.len(), Vector3::zeros());
    }
    Survey {
        cells: counter.cells,
        data,
        wanted,
        spacing_mm,
        roughness_mm,
        point_count: counter.point_count,
        given_normals,
    }
}

fn spread_mm(cell: &SurveyCell) -> Option<f64> {
    cell.plane.filter(|plane| plane.variance_mm2[1] > 0.02).map(|plane| plane.variance_mm2[0].sqrt())
}

fn set_skin_directions(data: &mut [SurveyCell], is_flat: &[bool]) {
    let mut blocks = Cells::new(BLOCK_MM);
    let block_of: Vec<Option<u32>> = data
        .iter()
        .map(|cell| blocks.address_of(&cell.centre).map(|address| blocks.number_or_new(address)))
        .collect();
    for _round in 0..2 {
        let mut sums = vec![Matrix3::zeros(); blocks.len()];
        for (index, cell) in data.iter().enumerate() {
            let (Some(block), Some(plane)) = (block_of[index], cell.plane.filter(|_| is_flat[index])) else {
                continue;
            };
            let fits = cell.skin_normal.is_none_or(|skin| skin.dot(&plane.normal).abs() > SKIN_COSINE);
            if fits {
                let weight = 12.0 * (plane.variance_mm2[1] * plane.variance_mm2[2]).sqrt();
                sums[block as usize] += plane.normal * plane.normal.transpose() * weight;
            }
        }
        let directions: Vec<Option<Vector3<f64>>> = (0..blocks.len())
            .map(|block| {
                let near: Matrix3<f64> =
                    blocks.around(blocks.address(block), 1).map(|other| sums[other]).sum();
                principal_axis(&near)
            })
            .collect();
        for (index, cell) in data.iter_mut().enumerate() {
            cell.skin_normal = block_of[index].and_then(|block| directions[block as usize]);
        }
    }
    for (cell, flat) in data.iter_mut().zip(is_flat) {
        let along =
            cell.skin_normal.zip(cell.plane).map_or(0.0, |(skin, plane)| skin.dot(&plane.normal).abs());
        cell.is_skin = *flat && along > SKIN_COSINE;
    }
    set_sparse_directions(data);
}

/// Where a scan is too thin for planes in cells, the plane through the cells' centres over a larger block stands in.
fn set_sparse_directions(data: &mut [SurveyCell]) {
    let mut blocks = Cells::new(SPARSE_BLOCK_MM);
    let mut moments: Vec<Moments> = Vec::new();
    let mut lonely: Vec<(usize, usize)> = Vec::new();
    for (number, cell) in data.iter().enumerate().filter(|(_, cell)| cell.skin_normal.is_none()) {
        let Some(address) = blocks.address_of(&cell.centre) else { continue };
        let block = blocks.number_or_new(address) as usize;
        moments.resize(moments.len().max(block + 1), Moments::default());
        moments[block].add(&(cell.centre - blocks.corner(block)));
        lonely.push((number, block));
    }
    for (number, block) in lonely {
        data[number].skin_normal = moments[block].plane().map(|plane| plane.normal);
    }
}

/// Cells that may hold a hem, and the cells round them.
fn wanted_cells(cells: &Cells, data: &[SurveyCell]) -> Vec<bool> {
    let mut wanted = vec![false; data.len()];
    for (number, cell) in data.iter().enumerate() {
        // Slivers of surface in a cell's corner say nothing; a hem fills the cells beside them, too.
        let known = cell.skin_normal.zip(cell.plane).filter(|_| spread_mm(cell).is_some());
        let Some((skin, plane)) = known else { continue };
        if !cell.is_skin || plane.normal.dot(&skin).abs() < HEM_CELL_COSINE {
            cells.around(cells.address(number), 1).for_each(|near| wanted[near] = true);
        }
    }
    wanted
}

/// Middle value; reorders the slice.
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
