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
use super::cells::{CellAddress, Cells, Neighbours, PointCells};
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
/// Blocks whose cells are described in one go: some thousand cells.
const BLOCKS_IN_A_RUN: usize = 128;
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
    /// Their sums, block by block.
    blocks: Vec<BlockCells>,
}

fn count_points(source: &dyn ScanSource, hands: &Hands<'_>) -> Result<Counted, ScanFailure> {
    let add = |_, state: &mut BlockCells, points: &[&[BlockPoint]]| {
        points.iter().copied().flatten().for_each(|point| state.add(point));
    };
    let (addresses, mut blocks): (Vec<BlockAddress>, Vec<BlockCells>) =
        by_blocks(source, (Look::Survey, hands), None, add)?.into_iter().unzip();
    let mut places: Vec<Vec<u16>> = vec![Vec::new(); blocks.len()];
    let mut both: Vec<(&mut BlockCells, &mut Vec<u16>)> = blocks.iter_mut().zip(&mut places).collect();
    hands.change(&mut both, |_, (block, places)| {
        block.table = Vec::new();
        block.cells.sort_unstable_by_key(|(place, _)| *place);
        **places = block.cells.iter().map(|(place, _)| *place).collect();
    });
    let mut cells = Cells::new(CELL_MM);
    for (address, places) in addresses.iter().zip(&places) {
        for place in places {
            cells.number_or_new(cell_address(*address, *place));
        }
    }
    Ok(Counted { cells, blocks })
}

impl Counted {
    /// Writes what `describe` makes of each cell's sums, by cell number.
    fn describe<T: Send>(
        &self,
        places: &mut [T],
        hands: &Hands<'_>,
        describe: impl Fn(&CellSums, &mut T) + Sync,
    ) {
        let mut rest = places;
        let runs: Vec<&[BlockCells]> = self.blocks.chunks(BLOCKS_IN_A_RUN).collect();
        let mut mine: Vec<&mut [T]> = Vec::with_capacity(runs.len());
        for run in &runs {
            let (first, others) = rest.split_at_mut(run.iter().map(|block| block.cells.len()).sum());
            mine.push(first);
            rest = others;
        }
        hands.change_each(&mut mine, |number, places| {
            let sums = runs[number].iter().flat_map(|block| &block.cells);
            sums.zip(places.iter_mut()).for_each(|((_, sums), place)| describe(sums, place));
        });
    }

    fn given_normals(&self, hands: &Hands<'_>) -> Vec<Vector3<f64>> {
        let mut cells = self.blocks.iter().flat_map(|block| &block.cells);
        if cells.all(|(_, sums)| sums.normal == [0; 3]) {
            return Vec::new();
        }
        let mut normals = vec![Vector3::zeros(); self.cells.len()];
        self.describe(&mut normals, hands, |sums, normal| {
            *normal = sums.normal.map(|total| total as f64).into()
        });
        normals
    }
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
    let blank =
        SurveyCell { centre: Point3::origin(), count: 0, plane: None, is_skin: false, skin_normal: None };
    let mut data = vec![blank; counted.cells.len()];
    counted.describe(&mut data, hands, |sums, cell| {
        let moments = sums.moments();
        cell.centre = moments.centre(&Point3::origin());
        cell.count = moments.count;
        cell.plane = moments.plane();
    });
    let given_normals = counted.given_normals(hands);
    let cells = counted.cells;
    drop(counted.blocks);
    hands.change(&mut data, |number, cell| cell.centre += cells.corner(number).coords);
    check_size(&data, hands)?;
    Ok(describe_cells(cells, data, given_normals, hands))
}

fn check_size(data: &[SurveyCell], hands: &Hands<'_>) -> Result<(), TraceError> {
    if data.is_empty() {
        return Err(TraceError::Empty);
    }
    let none = [Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY)];
    let wider = |one: [Vector3<f64>; 2], two: [Vector3<f64>; 2]| [one[0].inf(&two[0]), one[1].sup(&two[1])];
    let boxes = hands.by_runs(data.len(), |run| {
        data[run].iter().fold(none, |all, cell| wider(all, [cell.centre.coords; 2]))
    });
    let [low, high] = boxes.into_iter().fold(none, wider);
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
fn point_spacing_mm(data: &[SurveyCell], hands: &Hands<'_>) -> f64 {
    let spacing_mm = |cell: &SurveyCell| {
        if cell.count < 3 {
            return CELL_MM / f64::from(cell.count).sqrt();
        }
        // A rectangle with sides a and b has variances a²/12 and b²/12.
        let [_, middle, largest] = cell.plane.map_or([0.0; 3], |plane| plane.variance_mm2);
        let area_mm2 = 12.0 * (middle * largest).sqrt();
        (area_mm2 / f64::from(cell.count)).sqrt().max(1e-6)
    };
    let mut spacings = hands.in_runs(data.len(), |run| data[run].iter().map(spacing_mm).collect());
    median(&mut spacings).unwrap_or(CELL_MM)
}

fn describe_cells(
    cells: Cells,
    mut data: Vec<SurveyCell>,
    given_normals: Vec<Vector3<f64>>,
    hands: &Hands<'_>,
) -> Survey {
    let spacing_mm = point_spacing_mm(&data, hands);
    hands.change(&mut data, |_, cell| cell.plane = cell.plane.filter(|_| cell.count >= LEAST_POINTS));
    let mut spreads = hands.in_runs(data.len(), |run| data[run].iter().filter_map(spread_mm).collect());
    let roughness_mm = median(&mut spreads).unwrap_or(0.0);
    let limit_mm = ROUGH_FACTOR * roughness_mm + ROUGH_EXTRA_MM;
    let is_flat = |cell: &SurveyCell| spread_mm(cell).is_some_and(|spread| spread < limit_mm);
    let is_flat = hands.in_runs(data.len(), |run| data[run].iter().map(is_flat).collect());
    set_skin_directions(&mut data, &is_flat, hands);
    let touching = Neighbours::touching(&cells, hands);
    let wanted = wanted_cells(&touching, &data, hands);
    // Slivers beside edges have few points, too, and lie near another panel's.
    let is_sparse: Vec<bool> =
        data.iter().zip(&wanted).map(|(cell, wanted)| cell.plane.is_none() && !wanted).collect();
    let near = touching.widened(&cells, &is_sparse, SPARSE_REACH, hands);
    let point_count = data.iter().map(|cell| u64::from(cell.count)).sum();
    Survey { cells, data, near, is_sparse, wanted, spacing_mm, roughness_mm, point_count, given_normals }
}

impl Survey {
    /// Numbers of the cells round a place: its own and those near that, or, where it lies in none, those that touch.
    pub fn cells_round(&self, place: &Point3<f64>) -> impl Iterator<Item = usize> + '_ {
        let address = self.cells.address_of(place);
        let own = address.and_then(|address| self.cells.number(address));
        let touching = address.filter(|_| own.is_none()).into_iter();
        let near = own.into_iter().flat_map(|cell| self.near.cells(cell));
        own.into_iter().chain(near).chain(touching.flat_map(|address| self.cells.around(address, 1)))
    }
}

fn spread_mm(cell: &SurveyCell) -> Option<f64> {
    cell.plane.filter(|plane| plane.variance_mm2[1] > 0.02).map(|plane| plane.variance_mm2[0].sqrt())
}

fn set_skin_directions(data: &mut [SurveyCell], is_flat: &[bool], hands: &Hands<'_>) {
    let (grouped, block_of) = PointCells::with_numbers(data.iter().map(|cell| &cell.centre), BLOCK_MM);
    let blocks = grouped.cells();
    for _round in 0..2 {
        let normals_of = |block: usize| {
            let mut sum = Matrix3::zeros();
            for number in grouped.members(block).iter().map(|cell| *cell as usize) {
                let cell = &data[number];
                let Some(plane) = cell.plane.filter(|_| is_flat[number]) else { continue };
                if cell.skin_normal.is_none_or(|skin| skin.dot(&plane.normal).abs() > SKIN_COSINE) {
                    let weight = 12.0 * (plane.variance_mm2[1] * plane.variance_mm2[2]).sqrt();
                    sum += plane.normal * plane.normal.transpose() * weight;
                }
            }
            sum
        };
        let sums = hands.in_runs(blocks.len(), |run| run.map(normals_of).collect());
        let direction = |block: usize| {
            let near: Matrix3<f64> = blocks.around(blocks.address(block), 1).map(|other| sums[other]).sum();
            principal_axis(&near)
        };
        let directions = hands.in_runs(blocks.len(), |run| run.map(direction).collect());
        hands.change(data, |number, cell| {
            cell.skin_normal = block_of[number].and_then(|block| directions[block as usize]);
        });
    }
    hands.change(data, |number, cell| {
        let along =
            cell.skin_normal.zip(cell.plane).map_or(0.0, |(skin, plane)| skin.dot(&plane.normal).abs());
        cell.is_skin = is_flat[number] && along > SKIN_COSINE;
    });
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
fn wanted_cells(touching: &Neighbours, data: &[SurveyCell], hands: &Hands<'_>) -> Vec<bool> {
    let may_be_hem = |number: &usize| {
        let cell = &data[*number];
        // Slivers of surface in a cell's corner say nothing; a hem fills the cells beside them, too.
        let known = cell.skin_normal.zip(cell.plane).filter(|_| spread_mm(cell).is_some());
        known.is_some_and(|(skin, plane)| !cell.is_skin || plane.normal.dot(&skin).abs() < HEM_CELL_COSINE)
    };
    let mut wanted = vec![false; data.len()];
    for number in hands.in_runs(data.len(), |run| run.filter(may_be_hem).collect()) {
        wanted[number] = true;
        touching.cells(number).for_each(|near| wanted[near] = true);
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
