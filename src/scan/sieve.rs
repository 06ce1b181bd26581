//! Which coarse cells of space somebody wants points from: what lets a reader drop a point before decoding it.
//!
//! In: a box and a cell size; cells are then marked. Out: for a point, its cell's number if that cell is marked.
//! Frame: the scan's own; units: mm. Method: one bit a cell in a dense bitmap, x fastest.
//! Does not know why a cell is wanted, and says yes to points that turn out not to be.

/// A bitmap of cells over a box; see the module head.
#[derive(Debug, Clone, PartialEq)]
pub struct Sieve {
    low_mm: [f64; 3],
    cells_per_mm: f64,
    counts: [usize; 3],
    extent: [f64; 3],
    bits: Vec<u64>,
}

impl Sieve {
    /// Nothing is wanted yet. The box reaches from `low_mm` over `counts` cells of `cell_mm`.
    #[must_use]
    pub fn new(low_mm: [f64; 3], cell_mm: f64, counts: [usize; 3]) -> Self {
        Self {
            low_mm,
            cells_per_mm: 1.0 / cell_mm,
            counts,
            extent: counts.map(|count| count as f64),
            bits: vec![0; (counts[0] * counts[1] * counts[2]).div_ceil(64)],
        }
    }

    /// The number of the cell at three places.
    #[must_use]
    pub const fn number(&self, places: [usize; 3]) -> usize {
        (places[2] * self.counts[1] + places[1]) * self.counts[0] + places[0]
    }

    /// Wants a cell by its number.
    pub fn mark(&mut self, cell: usize) {
        self.bits[cell >> 6] |= 1 << (cell & 63);
    }

    /// True where a cell is wanted.
    #[inline]
    #[must_use]
    pub fn is_marked(&self, cell: usize) -> bool {
        self.bits.get(cell >> 6).is_some_and(|word| word >> (cell & 63) & 1 == 1)
    }

    /// The cell of a point, mm, if it is wanted. Points that are not finite are in no cell.
    #[inline]
    #[must_use]
    pub fn cell(&self, point_mm: [f64; 3]) -> Option<usize> {
        let places = self.places(point_mm);
        if !self.is_in_box(places) {
            return None;
        }
        let cell = self.number(places.map(|place| place as usize));
        self.is_marked(cell).then_some(cell)
    }

    /// Places of a point, mm, counted in cells from the box's low corner; may lie outside the box.
    #[inline]
    #[must_use]
    pub fn places(&self, point_mm: [f64; 3]) -> [f64; 3] {
        let [x_mm, y_mm, z_mm] = point_mm;
        [
            (x_mm - self.low_mm[0]) * self.cells_per_mm,
            (y_mm - self.low_mm[1]) * self.cells_per_mm,
            (z_mm - self.low_mm[2]) * self.cells_per_mm,
        ]
    }

    /// True where places lie in the box, without a branch. Not true for what is not a number.
    #[inline]
    #[must_use]
    pub fn is_in_box(&self, places: [f64; 3]) -> bool {
        let [x, y, z] = places;
        let [x_end, y_end, z_end] = self.extent;
        (x >= 0.0) & (x < x_end) & (y >= 0.0) & (y < y_end) & (z >= 0.0) & (z < z_end)
    }

    /// Low corner, mm; cells per mm; how many cells each way.
    #[must_use]
    pub const fn grid(&self) -> ([f64; 3], f64, [usize; 3]) {
        (self.low_mm, self.cells_per_mm, self.counts)
    }

    /// The bitmap, 64 cells a word.
    #[must_use]
    pub fn words(&self) -> &[u64] {
        &self.bits
    }
}
