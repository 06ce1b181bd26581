//! First look at a scan: flat cells, skin directions, point spacing, and where a second look is worth it.
//!
//! In: a scan (mm). Out: a [`Survey`]: cells of 4 mm with the plane through their points, the direction of the skin
//! round each, and a mark on cells that may hold a hem. Shape: one streaming pass, memory grows with the surface.
//! Method: principal component planes per cell (Hoppe et al., SIGGRAPH 1992); surface variation tells smooth cells
//! from rough (Pauly, Keiser, Gross, Computer Graphics Forum 22(3), 2003); the skin direction is the principal axis of
//! the smooth cells' normals near by, taken twice so that flange walls drop out.
//! Does not know inside from outside: normals have either sign.

use nalgebra::{Matrix3, Point3, Vector3};

use super::blocks::{BlockAddress, BlockPoint, STEPS_PER_MM, by_blocks};
use super::cells::{CellAddress, Cells, Neighbours};
use super::hands::{Hands, Look};
use super::plane_fit::{Moments, PlaneFit, principal_axis};
use super::settings::TraceError;
use crate::scan::{ScanFailure, ScanSource};

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
/// How many cells on a cell's neighbours may lie where the scan is sparse: points 5 mm apart leave cells empty.
const SPARSE_REACH: i64 = 2;
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
    /// The cells that touch each, and where the scan is sparse those a cell further.
    pub near: Neighbours,
    /// True for cells where the scan is sparse.
    pub is_sparse: Vec<bool>,
    /// True for cells whose points are wanted in the second pass; by cell number.
    pub wanted: Vec<bool>,
    /// Between neighbouring points of the whole scan; at the edges points may lie closer.
    pub spacing_mm: f64,
    /// Spread of points off the plane of smooth cells, mm.
    pub roughness_mm: f64,
    pub point_count: u64,
    /// Sum of the source's own normals in each cell, of any length, empty where it has none: tells outside from inside.
    pub given_normals: Vec<Vector3<f64>>,
}

/// Cells along a block's edge, as a power of two, and steps along a cell's.
const CELLS_BITS: u32 = 3;
const STEP_BITS: u32 = 13;
/// Cells of a block that are looked for one by one; of more there is a table.
const FEW_CELLS: usize = 8;
/// Stands for a cell without points.
const NO_CELL: u16 = u16::MAX;

/// Sums over the points of a cell, in steps from its corner.
#[derive(Debug, Clone, Copy, Default)]
struct CellSums {
    count: u32,
    sum: [u64; 3],
    square: [u64; 6],
    normal: [i64; 3],
}

impl CellSums {
    fn add(&mut self, point: &BlockPoint) {
        self.count += 1;
        let [x, y, z] = point.place.map(|steps| u32::from(steps) & ((1 << STEP_BITS) - 1));
        for (total, value) in self.sum.iter_mut().zip([x, y, z]) {
            *total += u64::from(value);
        }
        for (total, value) in self.square.iter_mut().zip([x * x, x * y, x * z, y * y, y * z, z * z]) {
            *total += u64::from(value);
        }
        for (total, value) in self.normal.iter_mut().zip(point.normal) {
            *total += i64::from(value);
        }
    }

    fn moments(&self) -> Moments {
        Moments::of_steps(self.count, self.sum, self.square, 1.0 / STEPS_PER_MM)
    }
}

/// The cells of a block that have points.
#[derive(Debug, Default)]
struct BlockCells {
    /// Place of each cell in the block, and its sums.
    cells: Vec<(u16, CellSums)>,
    /// Number in `cells` of each place; empty while there are few.
    table: Vec<u16>,
}

impl BlockCells {
    fn add(&mut self, point: &BlockPoint) {
        let [x, y, z] = point.place.map(|steps| steps >> STEP_BITS);
        let place = (x << (2 * CELLS_BITS)) | (y << CELLS_BITS) | z;
        let number = self.number_of(place);
        self.cells[number].1.add(point);
    }

    fn number_of(&mut self, place: u16) -> usize {
        let known = if self.table.is_empty() {
            self.cells.iter().position(|(other, _)| *other == place)
        } else {
            Some(self.table[place as usize]).filter(|number| *number != NO_CELL).map(usize::from)
        };
        known.unwrap_or_else(|| {
            let number = self.cells.len();
            self.cells.push((place, CellSums::default()));
            if self.table.is_empty() && self.cells.len() > FEW_CELLS {
                self.table = vec![NO_CELL; 1 << (3 * CELLS_BITS)];
                for (number, (place, _)) in (0..).zip(&self.cells) {
                    self.table[*place as usize] = number;
                }
            } else if let Some(slot) = self.table.get_mut(place as usize) {
                *slot = number as u16;
            }
            number
        })
    }
}

/// All cells with points, numbered along space.
struct Counted {
    cells: Cells,
    sums: Vec<CellSums>,
}

fn count_points(source: &dyn ScanSource, hands: &Hands<'_>) -> Result<Counted, ScanFailure> {
    let add = |_, state: &mut BlockCells, points: &[&[BlockPoint]]| {
        points.iter().copied().flatten().for_each(|point| state.add(point));
    };
    let blocks = by_blocks(source, (Look::Survey, hands), None, add)?;
    let count = blocks.iter().map(|(_, block)| block.cells.len()).sum();
    let mut counted = Counted { cells: Cells::new(CELL_MM), sums: Vec::with_capacity(count) };
    for (address, mut block) in blocks {
        block.cells.sort_unstable_by_key(|(place, _)| *place);
        for (place, sums) in block.cells {
            counted.cells.number_or_new(cell_address(address, place));
            counted.sums.push(sums);
        }
    }
    Ok(counted)
}

/// Address of the cell at a place of a block.
pub(super) fn cell_address(block: BlockAddress, place: u16) -> CellAddress {
    let mask = (1 << CELLS_BITS) - 1;
    let inside = [place >> (2 * CELLS_BITS), place >> CELLS_BITS, place].map(|steps| i64::from(steps & mask));
    [0, 1, 2].map(|axis| (block[axis] << CELLS_BITS) + inside[axis])
}

/// Takes the first look.
///
/// # Errors
/// The scan cannot be read, has no points, or has a size that no car has.
pub fn survey(source: &dyn ScanSource, hands: &Hands<'_>) -> Result<Survey, TraceError> {
    let counted = count_points(source, hands)?;
    let describe = |cell: usize| {
        let moments = counted.sums[cell].moments();
        SurveyCell {
            centre: moments.centre(&counted.cells.corner(cell)),
            count: moments.count,
            plane: moments.plane(),
            is_skin: false,
            skin_normal: None,
        }
    };
    let blank =
        SurveyCell { centre: Point3::origin(), count: 0, plane: None, is_skin: false, skin_normal: None };
    let mut data = vec![blank; counted.sums.len()];
    hands.fill(&mut data, describe);
    check_size(&data)?;
    Ok(describe_cells(counted, data, hands))
}

fn check_size(data: &[SurveyCell]) -> Result<(), TraceError> {
    if data.is_empty() {
        return Err(TraceError::Empty);
    }
    let mut low = Vector3::repeat(f64::INFINITY);
    let mut high = Vector3::repeat(f64::NEG_INFINITY);
    for cell in data {
        low = low.inf(&cell.centre.coords);
        high = high.sup(&cell.centre.coords);
    }
    let size_mm = if data.len() < 2 { CELL_MM } else { (high - low).norm() };
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
fn point_spacing_mm(data: &[SurveyCell]) -> f64 {
    let mut spacings: Vec<f64> = data
        .iter()
        .map(|cell| {
            if cell.count < 3 {
                return CELL_MM / f64::from(cell.count).sqrt();
            }
            // A rectangle with sides a and b has variances a²/12 and b²/12.
            let [_, middle, largest] = cell.plane.map_or([0.0; 3], |plane| plane.variance_mm2);
            let area_mm2 = 12.0 * (middle * largest).sqrt();
            (area_mm2 / f64::from(cell.count)).sqrt().max(1e-6)
        })
        .collect();
    median(&mut spacings).unwrap_or(CELL_MM)
}

fn describe_cells(counted: Counted, mut data: Vec<SurveyCell>, hands: &Hands<'_>) -> Survey {
    let spacing_mm = point_spacing_mm(&data);
    for cell in data.iter_mut().filter(|cell| cell.count < LEAST_POINTS) {
        cell.plane = None;
    }
    let mut spreads: Vec<f64> = data.iter().filter_map(spread_mm).collect();
    let roughness_mm = median(&mut spreads).unwrap_or(0.0);
    let limit_mm = ROUGH_FACTOR * roughness_mm + ROUGH_EXTRA_MM;
    let is_flat: Vec<bool> =
        data.iter().map(|cell| spread_mm(cell).is_some_and(|spread| spread < limit_mm)).collect();
    set_skin_directions(&mut data, &is_flat, hands);
    let touching = Neighbours::of(&counted.cells, |_| 1, hands);
    let wanted = wanted_cells(&touching, &data);
    // Slivers beside edges have few points, too, and lie near another panel's.
    let is_sparse: Vec<bool> =
        data.iter().zip(&wanted).map(|(cell, wanted)| cell.plane.is_none() && !wanted).collect();
    let near = Neighbours::of(&counted.cells, |cell| if is_sparse[cell] { SPARSE_REACH } else { 1 }, hands);
    let normals = counted.sums.iter().map(|sums| Vector3::from(sums.normal.map(|total| total as f64)));
    let has_normals = counted.sums.iter().any(|sums| sums.normal != [0; 3]);
    let given_normals = if has_normals { normals.collect() } else { Vec::new() };
    let point_count = counted.sums.iter().map(|sums| u64::from(sums.count)).sum();
    Survey {
        cells: counted.cells,
        data,
        near,
        is_sparse,
        wanted,
        spacing_mm,
        roughness_mm,
        point_count,
        given_normals,
    }
}

fn spread_mm(cell: &SurveyCell) -> Option<f64> {
    cell.plane.filter(|plane| plane.variance_mm2[1] > 0.02).map(|plane| plane.variance_mm2[0].sqrt())
}

fn set_skin_directions(data: &mut [SurveyCell], is_flat: &[bool], hands: &Hands<'_>) {
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
        let direction = |block: usize| {
            let near: Matrix3<f64> = blocks.around(blocks.address(block), 1).map(|other| sums[other]).sum();
            principal_axis(&near)
        };
        let directions = hands.in_runs(blocks.len(), |run| run.map(direction).collect());
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
fn wanted_cells(touching: &Neighbours, data: &[SurveyCell]) -> Vec<bool> {
    let mut wanted = vec![false; data.len()];
    for (number, cell) in data.iter().enumerate() {
        // Slivers of surface in a cell's corner say nothing; a hem fills the cells beside them, too.
        let known = cell.skin_normal.zip(cell.plane).filter(|_| spread_mm(cell).is_some());
        let Some((skin, plane)) = known else { continue };
        if !cell.is_skin || plane.normal.dot(&skin).abs() < HEM_CELL_COSINE {
            wanted[number] = true;
            touching.cells(number).for_each(|near| wanted[near] = true);
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
