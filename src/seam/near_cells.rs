//! Which coarse cells of space lie near which seam: the filter that most points of a scan do not pass.
//!
//! In: samples of the seam curves (Scanner frame, mm) and a reach. Out: for a point, nothing at once (one bit), or the
//! seams that it may be near, each with a curve sample close to it.
//! Method: a dense bitmap over the bounding box of all corridors; a cell's bit is set where its centre lies within reach
//! plus half a cell's diagonal of a sample, found with a k-d tree over each seam's samples.
//! Does not decide whether a point is near: it only never says no to one that is.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Point3;

use crate::scan::Sieve;

/// Edge of a cell, mm: small against the corridor, yet a car-sized bitmap stays in the second-level cache.
const CELL_MM: f64 = 16.0;
/// Most cells of a grid; a plan over hundreds of metres gets coarser cells instead of more memory.
const CELL_COUNT_LIMIT: f64 = 32e6;

/// A seam that passes near a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Candidate {
    pub(super) seam: u32,
    /// The sample of the seam's curve that is nearest to the cell's centre.
    pub(super) sample: u32,
}

/// The grid; see the module head.
#[derive(Debug)]
pub(super) struct NearCells {
    sieve: Sieve,
    /// For cells whose bit is set: the start of their candidates; other cells are not listed.
    ranks: Vec<u32>,
    starts: Vec<u32>,
    candidates: Vec<Candidate>,
}

impl NearCells {
    /// Builds the grid. Shape: one list of curve samples per seam, steps of at most about 1 mm.
    pub(super) fn new(seams: &[Vec<Point3<f64>>], reach_mm: f64) -> Self {
        let (low, high) = bounds(seams, reach_mm);
        let volume_mm3: f64 = (0..3).map(|axis| high[axis] - low[axis] + CELL_MM).product();
        let cell_mm = CELL_MM.max((volume_mm3 / CELL_COUNT_LIMIT).cbrt());
        let counts: [usize; 3] =
            std::array::from_fn(|axis| ((high[axis] - low[axis]) / cell_mm).ceil().max(1.0) as usize);
        let mut grid = Self {
            sieve: Sieve::new(low, cell_mm, counts),
            ranks: Vec::new(),
            starts: vec![0],
            candidates: Vec::new(),
        };
        let mut entries = grid.near_entries(seams, reach_mm, cell_mm);
        entries.sort_unstable_by_key(|(cell, candidate)| (*cell, candidate.seam));
        grid.fill(&entries);
        grid
    }

    /// The marked cells.
    pub(super) const fn sieve(&self) -> &Sieve {
        &self.sieve
    }

    /// The seams near a marked cell.
    pub(super) fn candidates(&self, cell: usize) -> &[Candidate] {
        let before = self.sieve.words()[cell >> 6] & ((1_u64 << (cell & 63)) - 1);
        let rank = self.ranks[cell >> 6] as usize + before.count_ones() as usize;
        &self.candidates[self.starts[rank] as usize..self.starts[rank + 1] as usize]
    }

    /// True where any cell of a triangle's bounding box is near a seam.
    pub(super) fn touches_box(&self, corners: &[Point3<f64>; 3]) -> bool {
        let (low_mm, cells_per_mm, counts) = self.sieve.grid();
        let place = |axis: usize, value_mm: f64| (value_mm - low_mm[axis]) * cells_per_mm;
        let range = |axis: usize| {
            let low = corners.iter().map(|corner| place(axis, corner[axis])).fold(f64::INFINITY, f64::min);
            let high =
                corners.iter().map(|corner| place(axis, corner[axis])).fold(f64::NEG_INFINITY, f64::max);
            let is_apart = high < 0.0 || low >= counts[axis] as f64;
            if is_apart { 0..0 } else { low.max(0.0) as usize..(high as usize + 1).min(counts[axis]) }
        };
        range(2).any(|deep| {
            range(1)
                .any(|up| range(0).any(|across| self.sieve.is_marked(self.sieve.number([across, up, deep]))))
        })
    }

    /// Visits only cells around samples: the box of cells within reach of each stretch of the curve.
    fn near_entries(
        &self,
        seams: &[Vec<Point3<f64>>],
        reach_mm: f64,
        cell_mm: f64,
    ) -> Vec<(usize, Candidate)> {
        let limit_mm = reach_mm + cell_mm * 3.0_f64.sqrt() / 2.0;
        let mut entries = Vec::new();
        for (seam, samples) in seams.iter().enumerate() {
            let coordinates: Vec<[f64; 3]> = samples.iter().map(|sample| (*sample).into()).collect();
            let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&coordinates) else { continue };
            let mut visited = vec![0_u64; self.sieve.words().len()];
            let stride = (cell_mm / 2.0) as usize;
            for sample in samples.iter().step_by(stride.max(1)).chain(samples.last()) {
                self.visit_box(sample, limit_mm + cell_mm, |cell, centre| {
                    if visited[cell >> 6] >> (cell & 63) & 1 == 1 {
                        return;
                    }
                    visited[cell >> 6] |= 1 << (cell & 63);
                    let nearest = tree.query(&centre).nearest_one::<SquaredEuclidean<f64>>().execute();
                    if nearest.distance <= limit_mm * limit_mm {
                        entries.push((cell, Candidate { seam: seam as u32, sample: nearest.item }));
                    }
                });
            }
        }
        entries
    }

    fn visit_box(&self, middle: &Point3<f64>, reach_mm: f64, mut visit: impl FnMut(usize, [f64; 3])) {
        let (low_mm, cells_per_mm, counts) = self.sieve.grid();
        let range = |axis: usize| {
            let place =
                |offset_mm: f64| ((middle[axis] + offset_mm - low_mm[axis]) * cells_per_mm).max(0.0) as usize;
            place(-reach_mm)..(place(reach_mm) + 1).min(counts[axis])
        };
        for deep in range(2) {
            for up in range(1) {
                for across in range(0) {
                    let indices = [across, up, deep];
                    let centre = std::array::from_fn(|axis| {
                        low_mm[axis] + (indices[axis] as f64 + 0.5) / cells_per_mm
                    });
                    visit(self.sieve.number(indices), centre);
                }
            }
        }
    }

    fn fill(&mut self, sorted: &[(usize, Candidate)]) {
        for run in sorted.chunk_by(|left, right| left.0 == right.0) {
            let cell = run[0].0;
            self.sieve.mark(cell);
            self.candidates.extend(run.iter().map(|(_, candidate)| *candidate));
            self.starts.push(self.candidates.len() as u32);
        }
        let mut rank = 0;
        for word in self.sieve.words() {
            self.ranks.push(rank);
            rank += word.count_ones();
        }
    }
}

fn bounds(seams: &[Vec<Point3<f64>>], reach_mm: f64) -> ([f64; 3], [f64; 3]) {
    let mut low = [f64::INFINITY; 3];
    let mut high = [f64::NEG_INFINITY; 3];
    for sample in seams.iter().flatten() {
        for axis in 0..3 {
            low[axis] = low[axis].min(sample[axis] - reach_mm);
            high[axis] = high[axis].max(sample[axis] + reach_mm);
        }
    }
    if low[0] > high[0] { ([0.0; 3], [0.0; 3]) } else { (low, high) }
}
