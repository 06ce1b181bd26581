//! A sparse grid of cubic cells that numbers the cells it meets.
//!
//! In: points (mm). Out: the number of the cell that holds each, in order of first meeting. Shape: edge length in mm.
//! Method: integer cell address packed into 64 bits, hashed; numbers, not hash order, are walked, so that results do
//! not depend on the hash.
//! Does not hold the points themselves: see [`PointCells`] for cells with point lists.

use nalgebra::Point3;
use rustc_hash::FxHashMap;

/// Cells are addressed by 21 bits an axis.
const HALF_RANGE: i64 = 1 << 20;

/// Address of a cell: whole cell steps from the origin.
pub type CellAddress = [i64; 3];

/// Numbers the cells of a grid.
#[derive(Debug, Clone)]
pub struct Cells {
    pub cell_mm: f64,
    numbers: FxHashMap<u64, u32>,
    addresses: Vec<CellAddress>,
}

impl Cells {
    #[must_use]
    pub fn new(cell_mm: f64) -> Self {
        Self { cell_mm, numbers: FxHashMap::default(), addresses: Vec::new() }
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
        fits.then(|| [steps.x.floor() as i64, steps.y.floor() as i64, steps.z.floor() as i64])
    }

    /// Number of a cell, counted on when it is new.
    pub fn number_or_new(&mut self, address: CellAddress) -> u32 {
        let next = self.addresses.len() as u32;
        let number = *self.numbers.entry(packed(address)).or_insert(next);
        if number == next {
            self.addresses.push(address);
        }
        number
    }

    /// Number of a cell, if it was met.
    #[must_use]
    pub fn number(&self, address: CellAddress) -> Option<usize> {
        self.numbers.get(&packed(address)).map(|number| *number as usize)
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
    pub fn around(&self, [x, y, z]: CellAddress, reach: i64) -> impl Iterator<Item = usize> + '_ {
        let side = move || -reach..=reach;
        side()
            .flat_map(move |dx| side().flat_map(move |dy| side().map(move |dz| [x + dx, y + dy, z + dz])))
            .filter_map(|address| self.number(address))
    }
}

fn packed([x, y, z]: CellAddress) -> u64 {
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
        let mut cells = Cells::new(cell_mm);
        let numbers: Vec<Option<u32>> = points
            .iter()
            .map(|point| cells.address_of(point).map(|address| cells.number_or_new(address)))
            .collect();
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
        Self { cells, starts, members }
    }

    /// Calls `visit` with the index of every point in the cells that a ball touches (some lie outside the ball).
    pub fn near(&self, centre: &Point3<f64>, radius_mm: f64, mut visit: impl FnMut(usize)) {
        let reach = nalgebra::Vector3::repeat(radius_mm);
        let (Some(low), Some(high)) =
            (self.cells.address_of(&(centre - reach)), self.cells.address_of(&(centre + reach)))
        else {
            return;
        };
        for x in low[0]..=high[0] {
            for y in low[1]..=high[1] {
                for z in low[2]..=high[2] {
                    let Some(cell) = self.cells.number([x, y, z]) else { continue };
                    let range = self.starts[cell] as usize..self.starts[cell + 1] as usize;
                    self.members[range].iter().for_each(|member| visit(*member as usize));
                }
            }
        }
    }
}
