//! A sparse grid of cubic cells that numbers the cells it meets.
//!
//! In: points (mm). Out: the number of the cell that holds each, in order of first meeting. Shape: edge length in mm.
//! Method: integer cell address; blocks of 4 × 4 × 4 cells packed into 64 bits and hashed, a table of numbers in each, so that a
//! neighbourhood costs a few look-ups (hashed blocks of voxels as in Nießner et al., ACM TOG 32(6), 2013). Numbers, not hash
//! order, are walked, so that results do not depend on the hash.
//! Does not hold the points themselves: see [`PointCells`] for cells with point lists.

use nalgebra::Point3;
use rustc_hash::FxHashMap;

use super::hands::{Hands, RUN};

/// Cells are addressed by 21 bits an axis.
const HALF_RANGE: i64 = 1 << 20;

/// Address of a cell: whole cell steps from the origin.
pub type CellAddress = [i64; 3];

/// Cells along a block's edge, as a power of two; with that, cells in a block.
const BLOCK_BITS: u32 = 2;
const BLOCK_EDGE: i64 = 1 << BLOCK_BITS;
const BLOCK_CELLS: usize = 1 << (3 * BLOCK_BITS);
/// Stands for a cell or block that was not met; addresses have 63 bits.
const NONE: u32 = u32::MAX;
const NO_BLOCK: u64 = u64::MAX;
/// Blocks along an axis of a neighbourhood up to which they are looked up together.
const MOST_BLOCKS: usize = 3;

/// Numbers the cells of a grid.
#[derive(Debug, Clone)]
pub struct Cells {
    pub cell_mm: f64,
    blocks: FxHashMap<u64, u32>,
    /// The block that was met last: the next cell mostly lies in it, too.
    last_block: (u64, u32),
    /// Number of each cell of each block.
    numbers: Vec<[u32; BLOCK_CELLS]>,
    addresses: Vec<CellAddress>,
}

impl Cells {
    #[must_use]
    pub fn new(cell_mm: f64) -> Self {
        Self {
            cell_mm,
            blocks: FxHashMap::default(),
            last_block: (NO_BLOCK, NONE),
            numbers: Vec::new(),
            addresses: Vec::new(),
        }
    }

    /// How many cells were met.
    #[must_use]
    pub fn len(&self) -> usize {
        self.addresses.len()
    }

    /// Address of the cell that holds a point; `None` far outside of what 21 bits reach, and for non-finite points.
    #[must_use]
    pub fn address_of(&self, point: &Point3<f64>) -> Option<CellAddress> {
        let steps = point.coords / self.cell_mm;
        let limit = HALF_RANGE as f64 - 8.0;
        let fits = steps.iter().all(|step| step.abs() < limit);
        fits.then(|| [floor(steps.x), floor(steps.y), floor(steps.z)])
    }

    /// Number of a cell, counted on when it is new.
    pub fn number_or_new(&mut self, address: CellAddress) -> u32 {
        let key = packed(block_of(address));
        if key != self.last_block.0 {
            let next_block = self.numbers.len() as u32;
            let block = *self.blocks.entry(key).or_insert(next_block);
            if block == next_block {
                self.numbers.push([NONE; BLOCK_CELLS]);
            }
            self.last_block = (key, block);
        }
        let block = self.last_block.1;
        let number = &mut self.numbers[block as usize][place_in_block(address)];
        if *number == NONE {
            *number = self.addresses.len() as u32;
            self.addresses.push(address);
        }
        *number
    }

    /// Number of a cell, if it was met.
    #[must_use]
    pub fn number(&self, address: CellAddress) -> Option<usize> {
        let block = *self.blocks.get(&packed(block_of(address)))?;
        let number = self.numbers[block as usize][place_in_block(address)];
        (number != NONE).then_some(number as usize)
    }

    /// Number of the cell that holds a point, if it was met.
    #[must_use]
    pub fn number_at(&self, point: &Point3<f64>) -> Option<usize> {
        self.number(self.address_of(point)?)
    }

    /// Address of a cell by its number.
    #[must_use]
    pub fn address(&self, number: usize) -> CellAddress {
        self.addresses[number]
    }

    /// Corner of a cell with the lowest coordinates, mm.
    #[must_use]
    pub fn corner(&self, number: usize) -> Point3<f64> {
        let [x, y, z] = self.addresses[number];
        Point3::new(x as f64, y as f64, z as f64) * self.cell_mm
    }

    /// Numbers of the met cells within `reach` steps of an address, itself included, in address order.
    pub fn around(&self, [x, y, z]: CellAddress, reach: i64) -> impl Iterator<Item = usize> + use<> {
        let mut found = Found { first: [0; NEXT_CELLS], count: 0, more: Vec::new() };
        self.visit([x - reach, y - reach, z - reach], [x + reach, y + reach, z + reach], |number| {
            found.push(number);
        });
        found.into_iter()
    }

    /// Calls `each` with the numbers of the met cells within `reach` steps of an address, in address order.
    pub fn visit_around(
        &self,
        window: &mut Window,
        at: CellAddress,
        reach: i64,
        mut each: impl FnMut(usize),
    ) {
        let (low, high) = (at.map(|step| step - reach), at.map(|step| step + reach));
        self.visit_from(window, low, high, |number| each(number as usize));
    }

    /// Calls `each` with the numbers of the met cells between two addresses, both included, in address order.
    #[inline]
    fn visit(&self, low: CellAddress, high: CellAddress, each: impl FnMut(u32)) {
        self.visit_from(&mut Window::default(), low, high, each);
    }

    /// The same where one visit follows another near by: the blocks that both lie in are looked up once.
    #[inline]
    fn visit_from(
        &self,
        window: &mut Window,
        low: CellAddress,
        high: CellAddress,
        mut each: impl FnMut(u32),
    ) {
        let (first, last) = (block_of(low), block_of(high));
        let is_small = (0..3).all(|axis| last[axis] - first[axis] < MOST_BLOCKS as i64);
        if is_small && window.reaches != Some([first, last]) {
            self.look_up(window, first, last);
        }
        for x in low[0]..=high[0] {
            for y in low[1]..=high[1] {
                let row = ((x >> BLOCK_BITS) - first[0]) as usize * MOST_BLOCKS
                    + ((y >> BLOCK_BITS) - first[1]) as usize;
                for z_block in first[2]..=last[2] {
                    let block = if is_small {
                        window.blocks[row * MOST_BLOCKS + (z_block - first[2]) as usize]
                    } else {
                        self.block(&[x >> BLOCK_BITS, y >> BLOCK_BITS, z_block])
                    };
                    let Some(numbers) = self.numbers.get(block as usize) else { continue };
                    let begin = z_block << BLOCK_BITS;
                    let from = place_in_block([x, y, low[2].max(begin)]);
                    let to = place_in_block([x, y, high[2].min(begin + BLOCK_EDGE - 1)]);
                    numbers[from..=to]
                        .iter()
                        .filter(|number| **number != NONE)
                        .for_each(|number| each(*number));
                }
            }
        }
    }

    fn block(&self, at: &[i64; 3]) -> u32 {
        self.blocks.get(&packed(*at)).copied().unwrap_or(NONE)
    }

    /// Looks up the blocks between two.
    fn look_up(&self, window: &mut Window, first: [i64; 3], last: [i64; 3]) {
        window.reaches = Some([first, last]);
        for x in first[0]..=last[0] {
            for y in first[1]..=last[1] {
                let row = (x - first[0]) as usize * MOST_BLOCKS + (y - first[1]) as usize;
                for z in first[2]..=last[2] {
                    window.blocks[row * MOST_BLOCKS + (z - first[2]) as usize] = self.block(&[x, y, z]);
                }
            }
        }
    }
}

/// Blocks of cells that a visit looked up; for visits to the same [`Cells`] only.
#[derive(Debug, Clone)]
pub struct Window {
    reaches: Option<[[i64; 3]; 2]>,
    /// Those between the first and the last; others as they were.
    blocks: [u32; MOST_BLOCKS.pow(3)],
}

impl Default for Window {
    fn default() -> Self {
        Self { reaches: None, blocks: [NONE; MOST_BLOCKS.pow(3)] }
    }
}

/// Which cells lie round each cell, looked up once for all who walk over them.
#[derive(Debug, Clone)]
pub struct Neighbours {
    runs: Vec<NeighboursOfRun>,
}

/// The same for a run of cells.
#[derive(Debug, Clone, Default)]
struct NeighboursOfRun {
    /// Where in `members` each cell's begin.
    starts: Vec<u32>,
    /// For each cell how many lie round it, and their numbers in address order.
    members: Vec<u32>,
}

impl Neighbours {
    /// Looks up the cells that touch each.
    #[must_use]
    pub fn touching(cells: &Cells, hands: &Hands<'_>) -> Self {
        let runs = hands.by_runs(cells.len(), |cell_run| {
            let mut run = NeighboursOfRun::default();
            let mut window = Window::default();
            for cell in cell_run {
                run.starts.push(run.members.len() as u32);
                push_around((cells, &mut window), cell, 1, &mut run.members);
            }
            run
        });
        Self { runs }
    }

    /// The same with those within so many steps of some cells.
    #[must_use]
    pub fn widened(mut self, cells: &Cells, is_wide: &[bool], reach: i64, hands: &Hands<'_>) -> Self {
        hands.change_each(&mut self.runs, |number, run| {
            let first = number * RUN;
            let mut window = Window::default();
            for place in (0..run.starts.len()).filter(|place| is_wide[first + place]) {
                // What touches it stays behind, unused.
                run.starts[place] = run.members.len() as u32;
                push_around((cells, &mut window), first + place, reach, &mut run.members);
            }
        });
        self
    }

    /// Numbers of the cells round one, itself left out, in address order.
    pub fn cells(&self, cell: usize) -> impl Iterator<Item = usize> + '_ {
        let run = &self.runs[cell / RUN];
        let members = &run.members[run.starts[cell % RUN] as usize..];
        members[1..=members[0] as usize].iter().map(|near| *near as usize)
    }
}

/// Adds how many lie round a cell, and which.
fn push_around((cells, window): (&Cells, &mut Window), cell: usize, reach: i64, members: &mut Vec<u32>) {
    let count_at = members.len();
    members.push(0);
    cells.visit_around(window, cells.address(cell), reach, |near| {
        if near != cell {
            members.push(near as u32);
        }
    });
    members[count_at] = (members.len() - count_at - 1) as u32;
}

/// Cells next to one another, itself included.
const NEXT_CELLS: usize = 27;

/// Numbers of cells, the first of them in place: most neighbourhoods are small.
struct Found {
    first: [u32; NEXT_CELLS],
    count: usize,
    more: Vec<u32>,
}

impl Found {
    fn push(&mut self, number: u32) {
        match self.first.get_mut(self.count) {
            Some(place) => *place = number,
            None => self.more.push(number),
        }
        self.count += 1;
    }

    fn into_iter(self) -> impl Iterator<Item = usize> {
        let first = self.first.into_iter().take(self.count);
        first.chain(self.more).map(|number| number as usize)
    }
}

fn block_of(address: CellAddress) -> [i64; 3] {
    address.map(|step| step >> BLOCK_BITS)
}

fn place_in_block(address: CellAddress) -> usize {
    let [x, y, z] = address.map(|step| (step & (BLOCK_EDGE - 1)) as usize);
    (x << (2 * BLOCK_BITS)) | (y << BLOCK_BITS) | z
}

/// The whole number below; the processor has no such instruction where the oldest must do, and a call costs more.
fn floor(value: f64) -> i64 {
    let cut = value as i64;
    cut - i64::from((cut as f64) > value)
}

fn packed([x, y, z]: [i64; 3]) -> u64 {
    let part = |step: i64| ((step + HALF_RANGE) as u64) & 0x1f_ffff;
    part(x) << 42 | part(y) << 21 | part(z)
}

/// Points sorted into cells, for questions about a neighbourhood of known radius.
#[derive(Debug, Clone)]
pub struct PointCells {
    cells: Cells,
    /// Place in `members` where each cell starts; one more than there are cells.
    starts: Vec<u32>,
    members: Vec<u32>,
}

impl PointCells {
    /// Sorts points into cells. Shape: N finite points within 500 m; answers are indices into them.
    #[must_use]
    pub fn of(points: &[Point3<f64>], cell_mm: f64) -> Self {
        Self::with_numbers(points.iter(), cell_mm).0
    }

    /// The same for points that lie anywhere in memory, and the number of the cell of each.
    #[must_use]
    pub fn with_numbers<'a>(
        points: impl Iterator<Item = &'a Point3<f64>>,
        cell_mm: f64,
    ) -> (Self, Vec<Option<u32>>) {
        let mut cells = Cells::new(cell_mm);
        let numbers: Vec<Option<u32>> =
            points.map(|point| cells.address_of(point).map(|address| cells.number_or_new(address))).collect();
        let mut starts = vec![0_u32; cells.len() + 1];
        for number in numbers.iter().flatten() {
            starts[*number as usize + 1] += 1;
        }
        for cell in 0..cells.len() {
            starts[cell + 1] += starts[cell];
        }
        let mut fill = starts.clone();
        let mut members = vec![0_u32; starts[cells.len()] as usize];
        for (index, number) in numbers.iter().enumerate() {
            if let Some(number) = number {
                let place = &mut fill[*number as usize];
                members[*place as usize] = index as u32;
                *place += 1;
            }
        }
        (Self { cells, starts, members }, numbers)
    }

    /// The cells that hold points.
    #[must_use]
    pub const fn cells(&self) -> &Cells {
        &self.cells
    }

    /// Points of a cell, in their own order.
    #[must_use]
    pub fn members(&self, cell: usize) -> &[u32] {
        &self.members[self.starts[cell] as usize..self.starts[cell + 1] as usize]
    }

    /// Calls `visit` with the index of every point in the cells that a ball touches (some lie outside the ball).
    pub fn near(&self, centre: &Point3<f64>, radius_mm: f64, visit: impl FnMut(usize)) {
        self.near_from(&mut Window::default(), centre, radius_mm, visit);
    }

    /// The same where one ball follows another near by; `window` for balls in these cells only.
    pub fn near_from(
        &self,
        window: &mut Window,
        centre: &Point3<f64>,
        radius_mm: f64,
        mut visit: impl FnMut(usize),
    ) {
        let reach = nalgebra::Vector3::repeat(radius_mm);
        let (Some(low), Some(high)) =
            (self.cells.address_of(&(centre - reach)), self.cells.address_of(&(centre + reach)))
        else {
            return;
        };
        self.cells.visit_from(window, low, high, |cell| {
            self.members(cell as usize).iter().for_each(|member| visit(*member as usize));
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_around_an_address_are_those_met_within_reach_in_address_order() {
        let mut cells = Cells::new(2.0);
        // Cells on both sides of the origin, some left out.
        let all = (-7..8_i64).flat_map(|x| (-7..8).flat_map(move |y| (-7..8).map(move |z| [x, y, z])));
        let met: Vec<CellAddress> =
            all.filter(|[x, y, z]| (3 * x + 5 * y + 7 * z).rem_euclid(4) != 1).collect();
        for (number, address) in met.iter().enumerate() {
            assert_eq!(cells.number_or_new(*address) as usize, number);
            assert_eq!(cells.number_or_new(*address) as usize, number);
        }
        assert_eq!(cells.len(), met.len());
        for reach in 0..7 {
            for centre in [[0, 0, 0], [-3, 3, 4], [7, -8, -1], [40, 0, 0]] {
                let is_near =
                    |address: &&CellAddress| (0..3).all(|axis| (address[axis] - centre[axis]).abs() <= reach);
                let expected: Vec<CellAddress> = met.iter().filter(is_near).copied().collect();
                let got: Vec<CellAddress> =
                    cells.around(centre, reach).map(|number| cells.address(number)).collect();
                assert_eq!(got, expected, "{centre:?} {reach}");
            }
        }
        let wide: Vec<bool> = (0..cells.len()).map(|cell| cell % 3 == 1).collect();
        let neighbours = Neighbours::touching(&cells, &Hands::one()).widened(&cells, &wide, 2, &Hands::one());
        for cell in 0..cells.len() {
            let reach = 1 + i64::from(cell % 3 == 1);
            let mut around: Vec<usize> = cells.around(cells.address(cell), reach).collect();
            around.retain(|near| *near != cell);
            assert_eq!(neighbours.cells(cell).collect::<Vec<_>>(), around);
        }
        assert_eq!(cells.number([-1, -1, -1]), met.iter().position(|address| *address == [-1, -1, -1]));
        assert_eq!(cells.number([100, 0, 0]), None);
    }

    #[test]
    fn points_near_a_place_are_all_seen() {
        let points: Vec<Point3<f64>> = (0..4000)
            .map(|index| {
                let part = |step: f64| (f64::from(index) * step).rem_euclid(1.0) * 40.0 - 20.0;
                Point3::new(part(0.618_034), part(0.414_214), part(0.732_051))
            })
            .collect();
        for cell_mm in [0.4, 3.0, 50.0] {
            let grid = PointCells::of(&points, cell_mm);
            for centre in &points[..20] {
                let inside = |index: &usize| (points[*index] - centre).norm() < 5.0;
                let mut seen = Vec::new();
                grid.near(centre, 5.0, |index| seen.push(index));
                seen.retain(inside);
                seen.sort_unstable();
                assert_eq!(seen, (0..points.len()).filter(inside).collect::<Vec<_>>());
            }
        }
    }
}
